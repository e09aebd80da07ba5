"""When to sit: the look-ahead against exact integrals, the sentence that says it, and what must hold for any home."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from markstead.errors import InputError
from markstead.measure.readiness import DEFAULTS, Counts, chance
from markstead.measure.sitting import Advice, SittingAdvice, pass_bounds, when_to_sit

Floats = NDArray[np.float64]

SPREAD, ASKED, NEEDED = 0.45, 40, 32
# .40, and .7 of the review before: what 1, 2, 3 hold days add together.
GAINS = (0.40, 0.68, 0.876)


def advise(
    mean: float, cost: float, hold_day_costs: float = 1, practice: Counts | None = None, needed: int = 26
) -> SittingAdvice:
    return when_to_sit(
        mean,
        SPREAD,
        ASKED,
        NEEDED,
        failed_test_costs=cost,
        hold_day_costs=hold_day_costs,
        practice=practice,
        practice_needed=needed,
    )


def integrals(means: Floats) -> Floats:
    """Chances to pass for ability N(mean, .45^2 + .35^2), by SciPy's binomial tail summed over a fine grid."""
    points = np.linspace(-8, 8, 801)
    answers = 1 / (1 + np.exp(-(means[:, None] + math.hypot(SPREAD, 0.35) * points)))
    exact: Floats = stats.binom.sf(NEEDED - 1, ASKED, answers) @ stats.norm.pdf(points) * 0.02
    return exact


class TestBounds:
    """Between which chances a hold pays, for a spread of .45 and 32 of 40 needed."""

    @pytest.mark.parametrize("ratio", [5, 6, 8, 10, 12, 15])
    def test_they_are_those_of_the_exact_chances(self, ratio: int) -> None:
        """Every ability from -2 to 5 in steps of .005 is tried with exact integrals; the closed form may be off .01."""
        means = np.arange(-2, 5, 0.005)
        now = integrals(means)
        pays = np.any([(integrals(means + g) - now) * ratio > k for k, g in enumerate(GAINS, 1)], axis=0)

        assert pass_bounds(SPREAD, ASKED, NEEDED, ratio) == pytest.approx(
            (now[pays].min(), now[pays].max()), abs=0.01
        )

    @pytest.mark.parametrize(
        ("ratio", "low", "high"),
        [
            (5, 0.208, 0.592),
            (6, 0.137, 0.697),
            (8, 0.075, 0.795),
            (10, 0.047, 0.845),
            (12, 0.032, 0.875),
            (15, 0.021, 0.903),
        ],
    )
    def test_kept_figures(self, ratio: float, low: float, high: float) -> None:
        """A change of the rule must be meant."""
        assert pass_bounds(SPREAD, ASKED, NEEDED, ratio) == pytest.approx((low, high), abs=6e-4)

    @pytest.mark.parametrize("ratio", [0, 1, 3, 4])
    def test_where_failing_is_cheap_no_hold_pays(self, ratio: float) -> None:
        assert pass_bounds(SPREAD, ASKED, NEEDED, ratio) is None

    @pytest.mark.parametrize("needed", [0, 41])
    def test_where_ability_does_not_matter_no_hold_pays(self, needed: int) -> None:
        assert pass_bounds(SPREAD, ASKED, needed, 20) is None

    @given(
        spread=st.floats(0, 1.2), asked=st.integers(5, 80), ratio=st.floats(3, 60), more=st.floats(0.01, 30)
    )
    def test_the_dearer_a_failed_test_the_wider_they_are(
        self, spread: float, asked: int, ratio: float, more: float
    ) -> None:
        needed = -(-asked * 4 // 5)
        narrow = pass_bounds(spread, asked, needed, ratio)
        wide = pass_bounds(spread, asked, needed, ratio + more)

        if narrow is not None:
            assert wide is not None
            assert wide[0] <= narrow[0] < narrow[1] <= wide[1]

    def test_a_spread_that_cannot_be_is_refused(self) -> None:
        with pytest.raises(ValueError, match=r"not negative, got -0\.2"):
            pass_bounds(-0.2, ASKED, NEEDED, 8)


class TestAdvice:
    @given(mean=st.floats(-4, 7), cost=st.floats(0, 60), hold_day=st.floats(0.1, 5))
    def test_it_is_the_plan_with_the_fewest_days_lost(
        self, mean: float, cost: float, hold_day: float
    ) -> None:
        """Days lost by sitting now and after 1, 2, 3 hold days, added up here one plan after the other."""
        lost = [
            days * hold_day + (1 - chance(mean + gain, SPREAD, ASKED, NEEDED)) * cost
            for days, gain in enumerate((0, *GAINS))
        ]

        found = advise(mean, cost, hold_day)

        assert lost[found.days] == pytest.approx(min(lost), abs=1e-9)
        assert found.days_saved == pytest.approx(lost[0] - min(lost), abs=1e-9)
        assert (found.advice is Advice.HOLD) == (found.days > 0)

    @given(mean=st.floats(-4, 7), cost=st.floats(4.7, 60))
    def test_it_follows_the_bounds(self, mean: float, cost: float) -> None:
        bounds = pass_bounds(SPREAD, ASKED, NEEDED, cost)
        assert bounds is not None
        found = advise(mean, cost)

        # At a bound itself rounding decides.
        if found.chance_now < bounds[0] - 1e-9:
            assert found.advice is Advice.MORE
        elif found.chance_now > bounds[1] + 1e-9:
            assert found.advice is Advice.SIT
        elif bounds[0] + 1e-9 < found.chance_now < bounds[1] - 1e-9:
            assert found.advice is Advice.HOLD

    @given(mean=st.floats(-4, 7), cost=st.floats(0, 60), hold_day=st.floats(0.1, 5))
    def test_days_and_costs_may_be_told_in_any_unit(self, mean: float, cost: float, hold_day: float) -> None:
        one, double = advise(mean, cost, hold_day), advise(mean, 2 * cost, 2 * hold_day)

        assert (one.advice, one.days) == (double.advice, double.days)

    def test_the_chances_after_each_hold_day(self) -> None:
        found = advise(1.5, 8)

        assert found.chance_now == chance(1.5, SPREAD, ASKED, NEEDED)
        assert found.chance_after == pytest.approx([chance(1.5 + g, SPREAD, ASKED, NEEDED) for g in GAINS])

    def test_a_hopeless_test_is_not_sat_even_where_failing_is_cheap(self) -> None:
        assert [advise(mean, 3).advice for mean in (-1.0, 0.2, 0.7)] == [Advice.MORE, Advice.MORE, Advice.SIT]

    def test_the_programmes_own_settings_are_heeded(self) -> None:
        no_gain = replace(DEFAULTS, review_gain=0.0)
        found = when_to_sit(1.5, SPREAD, ASKED, NEEDED, failed_test_costs=30, settings=no_gain)

        assert (found.advice, found.chance_after[0]) == (Advice.SIT, found.chance_now)


class TestGate:
    @pytest.mark.parametrize(("right", "below"), [(25, True), (26, False), (27, False)])
    def test_practice_below_the_pass_mark_is_said_first(self, right: int, below: bool) -> None:
        found = advise(1.5, 8, practice=Counts(32, right))

        assert found.below_gate is below
        assert found.sentence.startswith("The practice test has 25 of 32 right where 26 pass: ") is below

    def test_the_look_ahead_says_the_same_with_the_gate_shut(self) -> None:
        shut, open_ = advise(1.5, 8, practice=Counts(32, 20)), advise(1.5, 8, practice=Counts(32, 30))

        assert (shut.advice, shut.days, shut.days_saved) == (open_.advice, open_.days, open_.days_saved)

    def test_without_a_practice_test_no_gate_is_spoken_of(self) -> None:
        assert not advise(1.5, 8).below_gate


class TestSentences:
    def test_to_hold(self) -> None:
        assert advise(1.5, 8).sentence == (
            "Out of 10 children in this position about 6 pass tomorrow (some evidence); a day of review would make it "
            "about 8, and a failed test costs 8 days: hold 1 day."
        )

    def test_to_hold_longer_with_the_gate_shut(self) -> None:
        assert advise(0.9, 12, practice=Counts(32, 24)).sentence == (
            "The practice test has 24 of 32 right where 26 pass: first comes another practice test. "
            "Out of 10 children in this position about 3 pass tomorrow (some evidence); 3 days of review would make it "
            "about 8, and a failed test costs 12 days: hold 3 days."
        )

    def test_to_sit(self) -> None:
        assert advise(2.2, 7.5).sentence == (
            "Out of 20 children in this position about 18 pass tomorrow (some evidence); a day of review would make it "
            "about 19, and a failed test costs 7.5 days: review does not save the days it takes, so sit."
        )

    def test_to_do_more_than_review(self) -> None:
        assert advise(0.1, 1, hold_day_costs=0.125).sentence == (
            "Out of 10 children in this position hardly one passes tomorrow (some evidence); even 3 days of review "
            "would make it about 3, and a failed test costs 1 day: more than review is needed."
        )

    def test_where_review_changes_nothing(self) -> None:
        assert "nearly all pass tomorrow (some evidence); a day of review would hardly change that" in (
            advise(5.0, 8).sentence
        )

    @given(mean=st.floats(-6, 9), spread=st.floats(0, 1.5), cost=st.floats(0, 80))
    def test_what_it_says_of_review_is_never_less_than_now(
        self, mean: float, spread: float, cost: float
    ) -> None:
        """A sentence with two numbers must show a rise between them, and have its evidence word."""
        sentence = when_to_sit(mean, spread, ASKED, NEEDED, failed_test_costs=cost).sentence
        said = [int(part.split()[0].rstrip(",")) for part in sentence.split("about ")[1:]]

        assert said == sorted(set(said))
        assert " evidence)" in sentence
        assert "%" not in sentence


class TestCosts:
    @pytest.mark.parametrize("cost", [-1, math.nan, math.inf])
    def test_a_failed_test_costs_a_number_of_days(self, cost: float) -> None:
        with pytest.raises(InputError) as refused:
            advise(1.5, cost)

        assert str(refused.value) == (
            f"days that a failed unit test costs: found {cost}; allowed is a number of days, 0 or more."
        )

    def test_a_hold_day_costs_something(self) -> None:
        with pytest.raises(
            InputError, match="days that a hold day costs: found 0; allowed is a number of days above 0"
        ):
            advise(1.5, 8, hold_day_costs=0)

    def test_everything_wrong_is_said_at_once(self) -> None:
        with pytest.raises(InputError) as refused:
            advise(1.5, -2, hold_day_costs=-3)

        assert [problem.found for problem in refused.value.problems] == ["-2", "-3"]
