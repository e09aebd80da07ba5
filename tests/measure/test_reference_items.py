"""Item analysis against figures that others published or computed, each with its source beside it.

The answers are those of LSAT sections 6 and 7 (Bock and Lieberman 1970, Psychometrika 35, 179-197). R packages were run
in R 4.2.2: ltm (cran/ltm at commit dbbabfa99fa0), eRm 1.0-2, psychotools 0.7-2. Printed figures are held to their last
digit, except that packages which stop their climb early are allowed what they lack.
"""

import girth
import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from markstead.measure import irt, items
from markstead.measure.conditional import ability_of_scores, rasch_conditional
from tests.measure import lsat

SIX, SEVEN = lsat.answers(6), lsat.answers(7)
# ltm and mirt stop their climbs early: against the top itself that is up to 5e-3 in a slope of its own per question
# and in what hangs on it, 1e-3 with one slope.
EARLY, EARLY_ONE = 5e-3, 1e-3
GIRTH = {"quadrature_bounds": (-6.0, 6.0), "quadrature_n": 61, "max_iteration": 500}


def of_items(name: str, answers: NDArray[np.int64] = SIX) -> list[float]:
    return [getattr(item, name) for item in items.read_items(answers).items]


class TestItemAnalysis:
    """ltm: `descript(LSAT)` and `cronbach.alpha(LSAT)`, run."""

    def test_the_shares_right_of_lsat_6(self) -> None:
        assert of_items("right_share") == [0.924, 0.709, 0.553, 0.763, 0.870]

    def test_the_scores_of_lsat_6_are_spread_as_ltm_counts_them(self) -> None:
        """Guards the data file: 3, 20, 85, 237, 357, 298 persons have 0 to 5 right."""
        assert np.bincount(SIX.sum(axis=1)).tolist() == [3, 20, 85, 237, 357, 298]

    def test_kr_20_of_lsat_6_is_coefficient_alpha(self) -> None:
        """ltm prints 0.2950; with the scores' variance over n - 1 beside p(1 - p) it would be 0.2960."""
        assert items.read_items(SIX).kr20 == pytest.approx(0.2950, abs=5e-5)

    def test_the_rest_correlations_of_lsat_6(self) -> None:
        """ltm, `$bisCorr` without the item: printed to four digits."""
        assert_allclose(
            of_items("rest_correlation"), [0.1128, 0.1532, 0.1728, 0.1444, 0.1216], rtol=0, atol=5.1e-5
        )

    def test_the_correlations_with_the_whole_score_follow_from_those_with_the_rest(self) -> None:
        """ltm prints .3620 .5668 .6184 .5344 .4354 with the item included.

        cov(x, rest + x) = r sd(x) sd(rest) + var(x), so that one figure gives the other; sd(rest) is computed here.
        """
        r = np.array(of_items("rest_correlation"))
        sd = SIX.std(axis=0)
        rest = (SIX.sum(axis=1)[:, None] - SIX).std(axis=0)

        whole = (r * sd * rest + sd**2) / (sd * SIX.sum(axis=1).std())

        assert_allclose(whole, [0.3620, 0.5668, 0.6184, 0.5344, 0.4354], rtol=0, atol=5.1e-5)

    def test_alpha_without_each_question_of_lsat_6(self) -> None:
        assert_allclose(
            of_items("alpha_without"), [0.2754, 0.2376, 0.2168, 0.2459, 0.2663], rtol=0, atol=5.1e-5
        )


class TestReliabilityInterval:
    """Feldt's interval against the output that others show on their pages."""

    def test_twenty_questions_and_873_learners(self) -> None:
        """C. Evans, R code `feldt1.return(0.913, 873, 20)`: .9044024, .9211588.

        Shown with its output by the MRC Cognition and Brain Sciences Unit, statistics wiki, page FAQ/cafun.
        """
        low, high = items._feldt(0.913, 873, 20)

        assert (low, high) == pytest.approx((0.9044024, 0.9211588), abs=5e-8)

    def test_seven_questions_and_89_learners(self) -> None:
        """R package statpsych 1.6.0, `ci.cronbach(.05, .85, 7, 89)`: .7971254, .8931436.

        Its page names Feldt 1965 too, but its figures leave his formula in the fourth digit, for a reason that the page
        does not give; hence the tolerance.
        """
        low, high = items._feldt(0.85, 89, 7)

        assert (low, high) == pytest.approx((0.7971, 0.8931), abs=2e-4)


@pytest.mark.parametrize(
    ("right", "asked", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_the_interval_of_a_share_is_that_of_newcombe(right: int, asked: int, low: float, high: float) -> None:
    """Newcombe 1998, Stat. Med. 17, 857-872, Table I, method 3 (Wilson)."""
    answers = np.zeros((asked, 1), dtype=int)
    answers[:right] = 1

    [item] = items.read_items(answers).items

    assert (item.share_low, item.share_high) == pytest.approx((low, high), abs=5.1e-5)


class TestOneCommonSlope:
    """Thissen 1982, Psychometrika 47, 175-186; the help page of R package mirt for LSAT6; ltm `rasch(LSAT)`."""

    fit = irt.one_slope(SIX)

    def test_slope_and_intercepts(self) -> None:
        """mirt: slope .755, intercepts 2.730 .999 .240 1.307 2.100."""
        assert_allclose(self.fit.slope, 0.755, rtol=0, atol=EARLY_ONE)
        assert_allclose(self.fit.intercept, [2.730, 0.999, 0.240, 1.307, 2.100], rtol=0, atol=EARLY_ONE)

    def test_log_likelihood(self) -> None:
        assert self.fit.log_likelihood == pytest.approx(-2466.938, abs=5.1e-4)

    def test_difficulties(self) -> None:
        """ltm (run); the same in Rizopoulos 2006, J. Stat. Softw. 17(5)."""
        assert_allclose(self.fit.difficulty, [-3.615, -1.322, -0.318, -1.730, -2.780], rtol=0, atol=EARLY_ONE)

    def test_standard_errors(self) -> None:
        """ltm `summary(rasch(LSAT))`, as shown in a public notebook: errors of the difficulties and of the slope."""
        printed = [0.3266, 0.1422, 0.0977, 0.1691, 0.2510]
        assert_allclose(self.fit.difficulty_error, printed, rtol=0, atol=EARLY_ONE)
        assert_allclose(self.fit.slope_error, 0.0694, rtol=0, atol=EARLY_ONE)

    def test_the_patterns_fit_as_mirt_says(self) -> None:
        """mirt: G2 = 21.80 on 25 degrees of freedom."""
        assert g_squared(self.fit.log_likelihood, 6) == pytest.approx(21.80, abs=5.1e-3)


class TestSlopeOne:
    """ltm `rasch(LSAT, constraint = cbind(6, 1))`, run; the example of Rizopoulos 2006, J. Stat. Softw. 17(5)."""

    fit = irt.rasch(SIX)

    def test_difficulties(self) -> None:
        assert_allclose(self.fit.difficulty, [-2.872, -1.063, -0.258, -1.388, -2.219], rtol=0, atol=EARLY_ONE)

    def test_log_likelihood(self) -> None:
        assert self.fit.log_likelihood == pytest.approx(-2473.054, abs=5.1e-4)

    def test_a_common_slope_fits_better_by_the_published_ratio(self) -> None:
        """Rizopoulos 2006 (from memory): likelihood ratio 12.23 on one degree of freedom."""
        ratio = 2 * (irt.one_slope(SIX).log_likelihood - self.fit.log_likelihood)
        assert ratio == pytest.approx(12.23, abs=5.1e-3)


class TestTwoParameters:
    """ltm `ltm(LSAT ~ z1)`, run, and as printed in a public repository on two-parameter models."""

    fit = irt.two_pl(SIX)

    def test_slopes(self) -> None:
        assert_allclose(self.fit.slope, [0.8254, 0.7229, 0.8905, 0.6886, 0.6575], rtol=0, atol=EARLY)

    def test_difficulties(self) -> None:
        assert_allclose(
            self.fit.difficulty, [-3.3597, -1.3696, -0.2799, -1.8659, -3.1236], rtol=0, atol=EARLY
        )

    def test_log_likelihood(self) -> None:
        assert self.fit.log_likelihood == pytest.approx(-2466.653, abs=5.1e-4)

    def test_standard_errors_of_slopes(self) -> None:
        printed = [0.2581, 0.1867, 0.2326, 0.1852, 0.2100]
        assert_allclose(self.fit.slope_error, printed, rtol=0, atol=EARLY)

    def test_standard_errors_of_difficulties(self) -> None:
        printed = [0.8669, 0.3073, 0.0997, 0.4341, 0.8700]
        assert_allclose(self.fit.difficulty_error, printed, rtol=0, atol=EARLY)

    @pytest.mark.parametrize(
        ("pattern", "likeliest", "error"),
        [
            ("00000", -1.895, 0.795),
            ("00001", -1.479, 0.796),
            ("11111", 0.606, 0.855),
            ("10101", -0.373, 0.815),
        ],
    )
    def test_the_likeliest_abilities(self, pattern: str, likeliest: float, error: float) -> None:
        """ltm `factor.scores` by empirical Bayes, printed to three digits; its own top is a little off, see EARLY."""
        found = irt.abilities(self.fit, [[int(digit) for digit in pattern]])

        assert found.likeliest[0] == pytest.approx(likeliest, abs=EARLY)
        assert found.likeliest_error[0] == pytest.approx(error, abs=EARLY)

    @pytest.mark.parametrize(("pattern", "likeliest"), [("00000", -1.8166), ("00001", -1.4947)])
    def test_the_likeliest_abilities_of_lsat_7(self, pattern: str, likeliest: float) -> None:
        """mirt, its own tests of `fscores` on LSAT7 (method MAP)."""
        found = irt.abilities(irt.two_pl(SEVEN), [[int(digit) for digit in pattern]])

        assert found.likeliest[0] == pytest.approx(likeliest, abs=EARLY)

    @pytest.mark.parametrize(("section", "published"), [(6, 21.23), (7, 31.70)])
    def test_the_patterns_fit_as_mirt_says(self, section: int, published: float) -> None:
        fit = irt.two_pl(lsat.answers(section))
        assert g_squared(fit.log_likelihood, section) == pytest.approx(published, abs=5.1e-3)


class TestConditional:
    """eRm `RM` and psychotools `raschmodel`, both run."""

    fit = rasch_conditional(SIX)

    def test_difficulties(self) -> None:
        printed = [-1.25613, 0.47491, 1.23598, 0.16841, -0.62317]
        assert_allclose(self.fit.difficulty, printed, rtol=0, atol=1e-5)

    def test_log_likelihood(self) -> None:
        assert self.fit.log_likelihood == pytest.approx(-1091.5697, abs=5.1e-5)

    def test_the_likeliest_abilities_for_each_number_right(self) -> None:
        """eRm `person.parameter`, which stops a few millionths early."""
        found, _ = ability_of_scores(self.fit.difficulty)
        assert_allclose(found, [-1.60153, -0.47433, 0.48086, 1.59995], rtol=0, atol=2e-5)

    def test_their_standard_errors(self) -> None:
        """eRm; an error bends with the ability, and at the ends eRm's differs in the fourth digit."""
        _, errors = ability_of_scores(self.fit.difficulty)
        assert_allclose(errors, [1.18104, 0.98980, 0.98737, 1.17681], rtol=0, atol=1e-4)


class TestGirth:
    """The Python package girth 0.8.0 on the same answers with the same reach (its `rasch_mml` is off on LSAT 6: unused).

    It climbs one question at a time and stops at a change of 1e-3 in a slope, so that it is held to EARLY.
    """

    @pytest.mark.parametrize("answers", [SIX, SEVEN], ids=["LSAT 6", "LSAT 7"])
    def test_one_common_slope(self, answers: NDArray[np.int64]) -> None:
        theirs = girth.onepl_mml(answers.T, options=GIRTH)
        ours = irt.one_slope(answers)

        assert_allclose(ours.slope, theirs["Discrimination"], rtol=0, atol=EARLY_ONE)
        assert_allclose(ours.difficulty, theirs["Difficulty"], rtol=0, atol=EARLY_ONE)

    @pytest.mark.parametrize("answers", [SIX, SEVEN], ids=["LSAT 6", "LSAT 7"])
    def test_two_parameters(self, answers: NDArray[np.int64]) -> None:
        theirs = girth.twopl_mml(answers.T, options=GIRTH)
        ours = irt.two_pl(answers)

        assert_allclose(ours.slope, theirs["Discrimination"], rtol=0, atol=EARLY)
        assert_allclose(ours.difficulty, theirs["Difficulty"], rtol=0, atol=EARLY)

    @pytest.mark.parametrize("answers", [SIX, SEVEN], ids=["LSAT 6", "LSAT 7"])
    def test_conditional(self, answers: NDArray[np.int64]) -> None:
        theirs = girth.rasch_conditional(answers.T, options=GIRTH)

        assert_allclose(rasch_conditional(answers).difficulty, theirs["Difficulty"], rtol=0, atol=EARLY_ONE)

    @pytest.mark.slow
    def test_ten_thousand_learners_and_sixty_questions(self) -> None:
        """The bar of the benchmark: both converge, and no slope or difficulty differs by more than 5e-3."""
        from benchmarks.items import figures

        found = figures(times=1)

        assert found.converged
        assert max(found.slope_gap, found.difficulty_gap) <= 5e-3


def g_squared(log_likelihood: float, section: int) -> float:
    """Twice how far a fit's likelihood is below that of the patterns' own shares."""
    count = lsat.counts(section)[lsat.counts(section) > 0]
    return float(2 * (count @ np.log(count / count.sum()) - log_likelihood))
