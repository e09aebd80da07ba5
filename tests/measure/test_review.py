"""Review: the belief against a telling in plain Python, what is chosen against the rule, the year against simulations."""

import math
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from markstead.measure import review
from markstead.measure.review import Contact, Recall, choose, recall
from tests.measure.review_worlds import (
    GENERATORS,
    OBJECTIVES,
    Policy,
    Year,
    mean_and_error,
    run,
)

TODAY = date(2026, 3, 2)


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def told(name: str, *touches: tuple[int, bool | None]) -> list[Contact]:
    """Contacts of one objective, as days ago and what was answered."""
    return [Contact(name, ago(days), right) for days, right in touches]


def only(contacts: Sequence[Contact], today: date = TODAY) -> Recall:
    (found,) = recall(contacts, today)
    return found


def known(name: str, chance: float, days: int = 10) -> Recall:
    return Recall(name, chance, chance, chance, ago(days))


def in_plain_python(touches: Sequence[tuple[date, bool | None]], today: date) -> float:
    """The same estimate told slowly: ten values of S, each with its weight, walked through contact by contact."""
    values = [1.5 * 2**i for i in range(10)]
    weights = [math.exp(-((math.log(s) - math.log(10)) ** 2) / (2 * 0.9**2)) for s in values]
    before = touches[0][0]
    for day, right in touches[1:]:
        gone = (day - before).days
        before = day
        if right is None:
            continue
        for i, s in enumerate(values):
            r = 0.97 * (1 + gone / s) ** -0.35
            weights[i] *= r if right else 1 - r
            values[i] = min(768, max(1, s * (1 + 1.5 * (1 - r) + 0.15) if right else 0.7 * s))
    gone = (today - before).days
    total = sum(weights)
    return sum(w * 0.97 * (1 + gone / s) ** -0.35 for w, s in zip(weights, values, strict=True)) / total


answers = st.none() | st.booleans()
histories = st.lists(st.tuples(st.integers(0, 300), answers), min_size=1, max_size=12).map(
    lambda rows: sorted(rows, key=lambda row: -row[0])
)
logs = st.lists(
    st.builds(Contact, st.sampled_from("abcdefgh"), st.integers(0, 200).map(ago), answers), max_size=40
)
chances = st.lists(st.floats(0.05, 0.97), max_size=15).map(
    lambda rows: [known(f"objective {i:02}", chance) for i, chance in enumerate(rows)]
)


class TestRecall:
    """How likely an objective is remembered."""

    def test_a_first_contact_starts_at_the_log_normal_prior(self) -> None:
        """SciPy's log-normal (ln 10, .9): its density over ln S is s f(s), at ten values equally far apart in ln S."""
        values = 1.5 * 2.0 ** np.arange(10)
        weights = values * stats.lognorm.pdf(values, 0.9, scale=10)
        expected = (weights / weights.sum() * 0.97 * (1 + 14 / values) ** -0.35).sum()

        assert only(told("a", (14, None))).predicted == pytest.approx(expected, abs=1e-12)

    @given(history=histories, later=st.integers(0, 100))
    def test_it_is_the_estimate_told_in_plain_python(
        self, history: list[tuple[int, bool | None]], later: int
    ) -> None:
        today = TODAY + timedelta(days=later)
        expected = in_plain_python([(ago(days), right) for days, right in history], today)

        assert only(told("a", *history), today).predicted == pytest.approx(expected, abs=1e-10)

    @given(history=histories, gone=st.integers(1, 200))
    def test_right_helps_wrong_hurts_and_no_answer_lies_between(
        self, history: list[tuple[int, bool | None]], gone: int
    ) -> None:
        today = TODAY + timedelta(days=gone)

        wrong, none, right = (
            only(told("a", *history, (0, answer)), today).predicted for answer in (False, None, True)
        )

        assert wrong <= none + 1e-12
        assert none <= right + 1e-12

    @given(history=histories, days=st.integers(0, 300))
    def test_it_fades_from_day_to_day_and_its_range_holds_it(
        self, history: list[tuple[int, bool | None]], days: int
    ) -> None:
        today, tomorrow = (only(told("a", *history), TODAY + timedelta(days=days + more)) for more in (0, 1))

        assert tomorrow.predicted < today.predicted <= 0.97 + 1e-12
        assert 0 < today.low <= today.predicted <= today.high <= 0.97 + 1e-12

    def test_the_range_holds_nine_tenths_of_the_belief(self) -> None:
        """At the first contact: S from 1.5 to 768 with the prior's weights, told by SciPy."""
        values = 1.5 * 2.0 ** np.arange(10)
        weights = values * stats.lognorm.pdf(values, 0.9, scale=10)
        weights = weights / weights.sum()
        chance = 0.97 * (1 + 30 / values) ** -0.35

        found = only(told("a", (30, None)))

        below, above = weights[chance < found.low].sum(), weights[chance > found.high].sum()
        assert below < 0.05 <= weights[chance <= found.low].sum()
        assert above <= 0.05 < weights[chance >= found.high].sum()

    @given(log=logs)
    def test_the_weakest_comes_first_and_each_objective_once(self, log: list[Contact]) -> None:
        found = recall(log, TODAY)

        assert sorted(one.objective for one in found) == sorted({one.objective for one in log})
        assert all(a.predicted <= b.predicted + 1e-12 for a, b in pairwise(found))

    @given(log=logs)
    def test_an_objective_is_read_the_same_whatever_stands_beside_it(self, log: list[Contact]) -> None:
        alone = {one.objective: only([c for c in log if c.objective == one.objective]) for one in log}

        for one in recall(log, TODAY):
            assert one.predicted == pytest.approx(alone[one.objective].predicted, abs=1e-12)

    def test_equals_come_longest_untouched_first_and_then_by_name(self) -> None:
        """Twenty of one history: enough that a vector unit and the loop over the remainder both have their share."""
        names = [f"{i:02}" for i in range(20)]
        log = [contact for name in reversed(names) for contact in told(name, (60, None), (23, True))]

        assert [one.objective for one in recall(log, TODAY)] == names

    def test_what_is_longest_untouched_comes_first_among_equals(self) -> None:
        order = review.weakest_first(np.array([0.8, 0.5, 0.8, 0.8]), np.array([3, 1, 9, 5]))

        assert order.tolist() == [1, 2, 3, 0]

    def test_contacts_after_today_are_left_out(self) -> None:
        log = told("a", (9, None), (3, True))

        assert recall([*log, *told("a", (-1, False)), *told("b", (-2, None))], TODAY) == recall(log, TODAY)

    def test_nothing_met_is_nothing_to_recall(self) -> None:
        assert recall([], TODAY) == ()


class TestChoose:
    """What is asked in the minutes there are."""

    def test_the_minutes_reckon_with_wrong_answers(self) -> None:
        """1 + 1.5 x (1 - .6) = 1.6 and 1 + 1.5 x (1 - .8) = 1.3 minutes."""
        found = choose([known("b", 0.8), known("a", 0.6)], 10, TODAY)

        assert [(item.objective, item.minutes) for item in found.items] == [
            ("a", pytest.approx(1.6)),
            ("b", pytest.approx(1.3)),
        ]
        assert (found.minutes_used, found.left_out) == (pytest.approx(2.9), 0)

    def test_the_last_one_begun_may_run_over(self) -> None:
        found = choose([known(name, 0.5) for name in "abcd"], 2, TODAY)

        assert [item.objective for item in found.items] == ["a", "b"]
        assert (found.minutes_used, found.minutes_given, found.left_out) == (3.5, 2, 2)

    def test_what_is_well_remembered_is_not_asked_however_many_minutes_there_are(self) -> None:
        found = choose([known("a", 0.90), known("b", 0.8999)], 1000, TODAY)

        assert [item.objective for item in found.items] == ["b"]

    @given(recalls=chances, minutes=st.floats(0, 40))
    def test_the_weakest_are_asked_until_the_minutes_are_used(
        self, recalls: list[Recall], minutes: float
    ) -> None:
        """The rule told as a loop."""
        expected, used = [], 0.0
        for one in sorted(recalls, key=lambda one: (round(one.predicted, 12), one.objective)):
            if one.predicted >= 0.9 or used >= minutes:
                break
            expected.append(one.objective)
            used += 1 + 1.5 * (1 - one.predicted)

        found = choose(recalls, minutes, TODAY)

        assert [item.objective for item in found.items] == expected
        assert found.minutes_used == pytest.approx(used)
        assert found.left_out == sum(one.predicted < 0.9 for one in recalls) - len(expected)

    @pytest.mark.parametrize(
        ("recalls", "minutes", "sentence"),
        [
            ([], 5, "Nothing needs going over today: all that was met was touched lately or holds well."),
            (
                [known("a", 0.6)],
                5,
                "Ask about 1 objective, the one most likely forgotten first: about 2 min; that is all that needs going over.",
            ),
            (
                [known(name, 0.6) for name in "abc"],
                3,
                "Ask about 2 objectives, the one most likely forgotten first: about 3 min (3 set aside); 1 more waits its turn.",
            ),
            (
                [known("a", 0.6), known("b", 0.6)],
                0,
                "No minutes are set aside for going back over old work; 2 objectives wait for it.",
            ),
        ],
    )
    def test_a_sentence_says_how_much_there_is(
        self, recalls: list[Recall], minutes: float, sentence: str
    ) -> None:
        assert choose(recalls, minutes, TODAY).sentence == sentence

    @pytest.mark.parametrize("minutes", [-1.0, math.inf, math.nan])
    def test_minutes_that_cannot_be_are_refused(self, minutes: float) -> None:
        with pytest.raises(ValueError, match="minutes"):
            choose([known("a", 0.6)], minutes, TODAY)

    def test_a_reading_of_another_day_is_refused(self) -> None:
        with pytest.raises(ValueError, match="after"):
            choose([known("a", 0.6, days=-1)], 5, TODAY)


class TestSimulatedYears:
    """Three generators unlike the estimate; see review_worlds.py."""

    def test_the_simulation_asks_what_the_product_would_ask(self) -> None:
        """The arrays of the simulation against recall() and choose() on the contacts of one learner, day by day."""
        learner, year = 1, run("activation", Policy.WEAKEST, learners=3, keep=True)
        names = [f"{i:02}" for i in range(OBJECTIVES)]
        first = date(2025, 9, 1)
        log = [
            (day, Contact(names[i], first + timedelta(days=day), bool(right[learner, i]) if a else None))
            for day, touched, right, answered in year.contacts
            for i in np.flatnonzero(touched[learner])
            for a in [answered[learner, i]]
        ]

        for day, asked, minutes in year.sittings[::9]:
            # What was asked on that day itself comes after the choice; lessons come before it.
            here = set(np.flatnonzero(asked[learner]))
            before = [c for d, c in log if d < day or (d == day and names.index(c.objective) not in here)]
            today = first + timedelta(days=day)
            found = choose(recall(before, today), max(float(minutes[learner]), 0.0), today)
            assert {item.objective for item in found.items} == {names[i] for i in here}

    def test_the_same_dice_give_the_same_year(self) -> None:
        one, two = (run("single trace", Policy.WEAKEST, learners=2) for _ in range(2))

        assert_allclose(one.over_the_year, two.over_the_year, rtol=0)

    @pytest.mark.slow
    @pytest.mark.parametrize("generator", GENERATORS)
    def test_weakest_first_beats_a_weekly_quiz_on_what_is_recent_and_keeps_up_with_rotation(
        self, generator: str
    ) -> None:
        """Share remembered over the year, 2 minutes a day, 120 learners, common dice. Standard errors of the
        differences are at most .0025: the first must be above 0 by two of them, the second not below -.015.
        """
        years: dict[Policy, Year] = {
            policy: run(generator, policy, learners=120)
            for policy in (Policy.WEAKEST, Policy.RECENT_WEEKLY, Policy.ROTATION)
        }
        mine = years[Policy.WEAKEST]

        recent, se = mean_and_error(mine.over_the_year - years[Policy.RECENT_WEEKLY].over_the_year)
        rotation, se_rotation = mean_and_error(mine.over_the_year - years[Policy.ROTATION].over_the_year)

        assert max(se, se_rotation) < 0.0025
        assert recent - 2 * se > 0
        assert rotation >= -0.015
        # Nobody is given more of the educator's time; 400 minutes are set aside.
        assert all(abs(year.minutes.mean() - 400) < 10 for year in years.values())
