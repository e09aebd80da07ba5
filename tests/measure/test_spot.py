"""Spot checks: how many ticks to mark again, which, when to go on, and when to mark a section together."""

from collections import Counter
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from timeit import repeat

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, chisquare

from markstead.measure.spot import (
    FADE,
    SPAN,
    MarkingDay,
    SpotRecord,
    Together,
    draw,
    e_value,
    mark_together,
    more,
    need,
    needs,
    record_of,
    sentence,
    slip_through,
    too_many,
)
from tests.measure.marking_worlds import (
    CAREFUL,
    DAYS,
    LENIENT,
    MARKERS,
    START,
    TICKS,
    TOLERATED_LIMIT,
    TURNED_CAREFUL,
    TURNED_LENIENT,
    Marker,
    Year,
    spot_year,
)

shapes = st.floats(0.1, 80)
batch_sizes = st.integers(0, 60)
counts = st.integers(0, 200).flatmap(lambda seen: st.tuples(st.integers(0, seen), st.just(seen)))


def days(*rows: tuple[int, int]) -> list[MarkingDay]:
    """Consecutive days with (seen, slips)."""
    return [MarkingDay(START + timedelta(days=n), seen, slips) for n, (seen, slips) in enumerate(rows)]


class TestHowMany:
    """The fewest ticks by which a batch with too many slips is missed at most five times in a hundred."""

    @pytest.mark.parametrize(
        ("ticks", "a", "b", "look"),
        [
            (20, 0.6, 11.4, 9),
            (20, 0.6, 31.4, 4),
            (20, 1.6, 70.4, 5),
            (12, 0.6, 11.4, 4),
            (30, 3.6, 38.4, 13),
        ],
    )
    def test_stays_what_it_was(self, ticks: int, a: float, b: float, look: int) -> None:
        """Own values; test_reference_sampling.py has SciPy's word for the chance behind them."""
        assert need(ticks, a, b) == look

    @pytest.mark.parametrize(
        ("a", "b", "looks"),
        [
            (0.6, 11.4, [2, 4, 7, 9, 9, 9]),
            (0.6, 71.4, [2] * 6),
            (3.6, 38.4, [3, 6, 9, 12, 13, 13]),
        ],
        ids=["first day", "after sixty without a slip", "after three slips in thirty"],
    )
    def test_follows_the_record(self, a: float, b: float, looks: list[int]) -> None:
        assert [need(n, a, b) for n in (8, 12, 16, 20, 30, 40)] == looks

    @given(ticks=batch_sizes, a=shapes, b=shapes, risk=st.floats(0.001, 0.5), least=st.integers(0, 9))
    def test_is_the_first_that_keeps_the_risk(
        self, ticks: int, a: float, b: float, risk: float, least: int
    ) -> None:
        found = need(ticks, a, b, risk, least)

        chances = [slip_through(look, ticks, a, b) for look in range(ticks + 1)]
        assert min(least, ticks) <= found <= ticks
        assert chances[found] <= risk or found == ticks
        assert all(chance > risk for chance in chances[min(least, ticks) : found])

    @pytest.mark.parametrize("look", [3, 5, 8])
    def test_a_risk_that_is_met_exactly_is_kept(self, look: int) -> None:
        assert need(20, 0.6, 11.4, risk=slip_through(look, 20, 0.6, 11.4)) == look

    @given(ticks=batch_sizes, a=shapes, b=shapes)
    def test_looking_further_never_lets_more_slip_through(self, ticks: int, a: float, b: float) -> None:
        chances = [slip_through(look, ticks, a, b) for look in range(ticks + 1)]

        assert all(later <= earlier + 1e-12 for earlier, later in pairwise(chances))
        assert chances[-1] == 0

    @given(ticks=batch_sizes, a=shapes, b=shapes)
    def test_without_a_look_everything_bad_slips_through(self, ticks: int, a: float, b: float) -> None:
        """Where the share of slips is all but known it is binomial."""
        bulk = 1e7
        rate = a / (a + b)

        found = slip_through(0, ticks, bulk * rate, bulk * (1 - rate))

        assert found == pytest.approx(float(binom.sf(too_many(ticks) - 1, ticks, rate)), abs=1e-5)

    @given(ticks=batch_sizes, records=st.lists(st.tuples(shapes, shapes), min_size=1, max_size=5))
    def test_many_records_at_once_are_as_one_by_one(
        self, ticks: int, records: list[tuple[float, float]]
    ) -> None:
        a, b = np.array(records).T

        assert needs(ticks, a, b).tolist() == [need(ticks, *record) for record in records]

    @pytest.mark.parametrize(("ticks", "bad"), [(1, 2), (20, 2), (21, 3), (30, 3), (31, 4)])
    def test_a_tenth_of_the_ticks_but_at_least_two_are_too_many(self, ticks: int, bad: int) -> None:
        assert too_many(ticks) == bad

    def test_takes_less_than_a_millisecond(self) -> None:
        """The best of twenty runs of fifty: what else the machine does can only add. Some .05 ms were measured."""
        assert min(repeat(lambda: need(20, 3.6, 38.4), number=50, repeat=20)) / 50 <= 1e-3

    @pytest.mark.parametrize(
        ("look", "ticks", "a", "b"), [(-1, 5, 1, 1), (6, 5, 1, 1), (2, 5, 0, 1), (2, 5, 1, -1)]
    )
    def test_refuses_what_cannot_be(self, look: int, ticks: int, a: float, b: float) -> None:
        with pytest.raises(ValueError, match="got"):
            slip_through(look, ticks, a, b)


class TestGoingOn:
    """How many more, after some were looked at."""

    NEW = SpotRecord()

    def test_a_whole_draw_without_a_slip_is_enough(self) -> None:
        assert more(20, 9, 0, self.NEW) == 0

    @given(seen=st.integers(0, 9))
    def test_ticks_that_were_right_do_not_shorten_the_draw_that_they_are_part_of(self, seen: int) -> None:
        assert more(20, seen, 0, self.NEW) == 9 - seen

    def test_a_slip_lengthens_it(self) -> None:
        """.6 + 1 and 11.4 + 8: eleven of twenty, and nine are done."""
        assert need(20, 1.6, 19.4) == 11
        assert more(20, 9, 1, self.NEW) == 2

    @given(
        ticks=batch_sizes,
        looked=st.integers(0, 60),
        slips=st.integers(0, 60),
        record=st.tuples(st.floats(0, 20), st.floats(0, 40)),
    )
    def test_never_asks_for_more_than_there_are(
        self, ticks: int, looked: int, slips: int, record: tuple[float, float]
    ) -> None:
        looked = min(looked, ticks)
        slips = min(slips, looked)

        found = more(ticks, looked, slips, SpotRecord(seen=sum(record), slips=record[0]))

        assert 0 <= found <= ticks - looked

    @given(seen=st.integers(0, 20), slips=st.integers(1, 20))
    def test_a_slip_never_makes_a_draw_shorter_than_without_it(self, seen: int, slips: int) -> None:
        """More slips need not lengthen it further: where nearly every tick is wrong, the next look shows one."""
        assert more(20, seen, min(slips, seen), self.NEW) >= more(20, seen, 0, self.NEW)

    def test_the_floor_can_be_raised(self) -> None:
        record = SpotRecord(seen=60)

        assert (more(20, 0, 0, record), more(20, 0, 0, record, least=5)) == (2, 5)

    @pytest.mark.parametrize(("ticks", "seen", "slips"), [(5, 6, 0), (5, 2, 3), (5, -1, 0), (5, 2, -1)])
    def test_refuses_what_cannot_be(self, ticks: int, seen: int, slips: int) -> None:
        with pytest.raises(ValueError, match="got"):
            more(ticks, seen, slips, self.NEW)


class TestRecord:
    """Older days fade."""

    def test_starts_at_one_in_twenty_worth_twelve_ticks(self) -> None:
        assert SpotRecord().beta == (0.6, 11.4)

    def test_every_marking_day_fades_all_before_it(self) -> None:
        record = record_of(days((10, 2), (6, 1)))

        assert record.seen == pytest.approx(10 * FADE**2 + 6 * FADE)
        assert record.slips == pytest.approx(2 * FADE**2 + 1 * FADE)

    def test_remembers_some_thirty_three_days(self) -> None:
        """The sum of all weights, FADE / (1 - FADE), is 32.3: a steady learner's record weighs so many days."""
        assert record_of(days(*[(10, 1)] * 500)).seen == pytest.approx(10 * 32.33, abs=0.1)

    def test_a_day_has_no_more_slips_than_looks(self) -> None:
        with pytest.raises(ValueError, match="3 slips of 2 ticks"):
            MarkingDay(START, 2, 3)


class TestDraw:
    """Which ticks: by lot, from a seed that nobody who marks knows."""

    @given(ticks=st.lists(st.integers(), max_size=40, unique=True), seed=st.binary(min_size=1, max_size=40))
    def test_puts_all_ticks_in_an_order(self, ticks: list[int], seed: bytes) -> None:
        assert sorted(draw(ticks, seed)) == sorted(ticks)

    @given(seed=st.binary(min_size=1, max_size=40))
    def test_the_same_seed_gives_the_same_order(self, seed: bytes) -> None:
        assert draw(range(20), seed) == draw(range(20), seed)

    def test_every_tick_is_as_likely_as_any_other_in_every_place(self) -> None:
        """Pearson's test over 5,000 seeds for the first and the last place; below .0005 would be one in a thousand."""
        orders = [draw(range(10), n.to_bytes(16, "big")) for n in range(5000)]

        for place in (0, -1):
            found = Counter(order[place] for order in orders)
            assert chisquare([found[tick] for tick in range(10)]).pvalue > 0.0005

    def test_refuses_an_empty_seed(self) -> None:
        with pytest.raises(ValueError, match="seed"):
            draw(range(3), b"")


class TestEvidence:
    """The e-value against 'at most 2 in 100 ticks are slips'."""

    @pytest.mark.parametrize(("slips", "seen", "log_e"), [(3, 40, 1.194), (5, 60, 2.721), (0, 100, -5.265)])
    def test_stays_what_it_was(self, slips: int, seen: int, log_e: float) -> None:
        """Own values, three digits."""
        assert np.log(e_value(slips, seen)) == pytest.approx(log_e, abs=5.01e-4)

    def test_is_the_mean_of_three_ratios_of_binomial_probabilities(self) -> None:
        ratios = [binom.pmf(4, 50, rate) / binom.pmf(4, 50, 0.02) for rate in (0.06, 0.12, 0.25)]

        assert e_value(4, 50) == pytest.approx(np.mean(ratios))

    @given(count=counts)
    def test_one_more_tick_leaves_it_the_same_on_average_at_the_tolerated_rate(
        self, count: tuple[int, int]
    ) -> None:
        """A martingale: by Ville 1939 (Etude critique de la notion de collectif) it reaches 60 once in 60 at most."""
        slips, seen = count

        after = 0.02 * e_value(slips + 1, seen + 1) + 0.98 * e_value(slips, seen + 1)

        assert after == pytest.approx(e_value(slips, seen), rel=1e-9)

    @given(count=counts, rate=st.floats(0, 0.02))
    def test_below_the_tolerated_rate_it_falls_on_average(self, count: tuple[int, int], rate: float) -> None:
        slips, seen = count

        after = rate * e_value(slips + 1, seen + 1) + (1 - rate) * e_value(slips, seen + 1)

        assert after <= e_value(slips, seen) * (1 + 1e-9)

    def test_an_empty_record_says_nothing(self) -> None:
        assert e_value(0, 0) == pytest.approx(1)


class TestMarkTogether:
    """When to propose that one section be marked together."""

    def ask(self, *rows: tuple[int, int], first: int = 0) -> Together:
        return mark_together(days(*rows), range(first, first + len(rows)))

    def test_is_shown_when_the_evidence_is_strong(self) -> None:
        """Three and three of ten: ln E is above ln 60 = 4.09."""
        found = self.ask((10, 3), (10, 3))

        assert found.show
        assert (found.seen, found.slips) == (20, 6)
        assert found.e_value == pytest.approx(e_value(6, 20))

    def test_one_bad_day_is_not_enough(self) -> None:
        assert not self.ask((10, 6), (10, 0)).show

    def test_two_slips_are_not_enough_however_few_the_ticks(self) -> None:
        found = self.ask((1, 1), (1, 1))

        assert found.e_value > 60
        assert not found.show

    def test_stands_until_the_span_ends(self) -> None:
        rows = [(10, 3), (10, 3), *[(20, 0)] * (SPAN - 2)]

        assert self.ask(*rows).show
        assert not self.ask(*rows, (20, 0)).show

    def test_counts_anew_in_every_span(self) -> None:
        found = self.ask((10, 3), (10, 3), (8, 1), first=SPAN - 2)

        assert not found.show
        assert (found.seen, found.slips) == (8, 1)

    def test_nothing_marked_yet_shows_nothing(self) -> None:
        assert mark_together([], []) == Together(False, 1.0, 0, 0, "")

    def test_says_what_was_found_and_what_to_do(self) -> None:
        assert self.ask((10, 3), (10, 3)).sentence.startswith(
            "6 of 20 ticks that were marked again were slips. Mark one section together"
        )

    def test_every_day_has_its_number(self) -> None:
        with pytest.raises(ValueError, match="2 days have 1 numbers"):
            mark_together(days((1, 0), (1, 0)), [0])


class TestSentence:
    """What to do, in words."""

    @pytest.mark.parametrize(
        ("more_now", "seen", "slips", "words"),
        [
            (4, 0, 0, "Mark 4 answers again that the learner ticked: a routine, drawn by lot."),
            (1, 3, 0, "Mark 1 more answer again."),
            (6, 5, 1, "One tick was a slip: mark 6 more answers of the same batch again."),
            (6, 5, 2, "2 ticks were slips: mark 6 more answers of the same batch again."),
            (0, 5, 2, "The spot check is done: nothing more to mark again."),
            (0, 0, 0, "Nothing was marked that wants a spot check."),
        ],
    )
    def test_is_plain(self, more_now: int, seen: int, slips: int, words: str) -> None:
        assert sentence(more_now, seen, slips) == words


@cache
def year(marker: Marker, learners: int = 1000) -> Year:
    return spot_year(np.random.default_rng(7), marker, learners)


@pytest.mark.slow
class TestAYear:
    """180 days with 20 ticks, 1,000 learners: standard errors are below .007 of a share and .05 of a look a day."""

    @pytest.mark.parametrize("marker", MARKERS, ids=lambda m: m.name)
    def test_the_simulated_days_are_those_of_the_product(self, marker: Marker) -> None:
        """The simulator goes by whole arrays; here the product does six of its learners day by day."""
        whole = spot_year(np.random.default_rng(5), marker, 6)
        so_far: list[list[MarkingDay]] = [[] for _ in range(6)]
        rng = np.random.default_rng(5)
        for day, rate in enumerate(marker.rates()):
            ticks = rng.random((6, TICKS)) < rate
            for learner, kept in enumerate(so_far):
                seen = slips = 0
                while now := more(TICKS, seen, slips, record_of(kept)):
                    seen += now
                    slips = int(ticks[learner, :seen].sum())
                kept.append(MarkingDay(START + timedelta(days=day), seen, slips))

        for learner, kept in enumerate(so_far):
            assert [d.seen for d in kept] == whole.looked[learner].tolist()
            assert [d.slips for d in kept] == whole.slips[learner].tolist()
            for day in range(0, DAYS, 7):
                found = mark_together(kept[: day + 1], range(day + 1))
                in_span = whole.shown[learner, day - day % SPAN : day + 1]
                assert found.show == in_span.any()

    def test_who_marks_with_care_is_looked_at_little(self) -> None:
        assert year(CAREFUL).looked.mean() <= 3

    def test_who_marks_with_care_is_left_in_peace(self) -> None:
        assert year(CAREFUL).ever_shown().mean() <= 0.01

    def test_at_the_tolerated_limit_the_proposal_is_rare(self) -> None:
        """At most 3/60 by Ville's inequality, with a span for every sixty days."""
        assert year(TOLERATED_LIMIT).ever_shown().mean() <= 0.05

    def test_six_slips_in_a_hundred_are_noticed(self) -> None:
        assert year(LENIENT).ever_shown().mean() >= 0.95

    def test_a_turn_for_the_worse_is_noticed_within_five_weeks(self) -> None:
        assert year(TURNED_LENIENT).median_day(since=80) <= 25

    def test_a_turn_for_the_better_is_rewarded(self) -> None:
        """From day 140 on, eighty days after the turn."""
        assert year(TURNED_CAREFUL).looked[:, 140:].mean() <= 3

    @pytest.mark.parametrize("marker", [m for m in MARKERS if m.rate >= 0.04], ids=lambda m: m.name)
    def test_fewer_bad_days_go_unseen_than_with_five_looks_always(self, marker: Marker) -> None:
        assert year(marker).unseen_a_year() <= 0.7 * year(marker).unseen_a_year(fixed=5)


def test_a_batch_that_is_bad_is_missed_no_more_often_than_the_risk() -> None:
    """Rates drawn from the rule's own belief, 200,000 first days: bad and unseen at most .05, standard error .0005."""
    rng = np.random.default_rng(8)
    rates = rng.beta(0.6, 11.4, 200_000)
    ticks = rng.random((200_000, TICKS)) < rates[:, None]

    looked = ticks[:, : need(TICKS, 0.6, 11.4)]
    missed = (ticks.sum(axis=1) >= too_many(TICKS)) & ~looked.any(axis=1)

    assert missed.mean() == pytest.approx(slip_through(9, TICKS, 0.6, 11.4), abs=0.002)
    assert missed.mean() <= 0.05


def test_dates_do_not_matter_to_the_record_only_their_order() -> None:
    near = [MarkingDay(date(2026, 9, 7), 5, 1), MarkingDay(date(2026, 9, 8), 4, 0)]
    far = [MarkingDay(date(2026, 9, 7), 5, 1), MarkingDay(date(2027, 1, 8), 4, 0)]

    assert record_of(near) == record_of(far)
