"""Item response curves: against a likelihood written out here, in odd cases, and as a law over many tables.

The judge adds up each learner's likelihood by itself, on 200 Gauss-Legendre points where the code has its own; its
first and second derivatives are differences. Published figures are in test_reference_items.py.
"""

from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.special import expit

from markstead.measure import irt
from markstead.measure.answers import Told
from markstead.measure.marginal import STEEPEST, Outcome
from tests.measure import lsat
from tests.measure.item_worlds import Table, two_pl_draws

Floats = NDArray[np.float64]
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)
NODES: Floats = 8 * _NODES
WEIGHTS: Floats = 8 * _WEIGHTS * np.exp(-(NODES**2) / 2) / np.sqrt(2 * np.pi)


def log_likelihood(table: Table, slope: Floats, intercept: Floats) -> float:
    """The marginal log-likelihood, learner by learner."""
    right = expit(np.multiply.outer(NODES, slope) + intercept)
    return float(
        sum(
            np.log(WEIGHTS @ np.prod(np.where(row == 1, right, np.where(row == 0, 1 - right, 1.0)), axis=1))
            for row in table
        )
    )


def derivatives(table: Table, values: Floats, step: float = 1e-3) -> tuple[Floats, Floats]:
    """First and second derivatives of the judge's log-likelihood in (slopes, intercepts), by central differences."""
    n = values.size
    unit = step * np.eye(n)

    def at(v: Floats) -> float:
        return log_likelihood(table, *np.split(v, 2))

    first = np.array([(at(values + u) - at(values - u)) / (2 * step) for u in unit])
    second = np.empty((n, n))
    for i in range(n):
        for j in range(i, n):
            corners = [at(values + s * unit[i] + t * unit[j]) for s in (1, -1) for t in (1, -1)]
            second[i, j] = second[j, i] = (corners[0] - corners[1] - corners[2] + corners[3]) / (4 * step**2)
    return first, second


def answers(
    seed: int, learners: int, gaps: float = 0.0, slopes: tuple[float, ...] = (1.2, 0.8, 1.5, 0.6, 1.0)
) -> Table:
    rng = np.random.default_rng(seed)
    chance = expit(
        np.multiply.outer(rng.normal(size=learners), np.array(slopes)) + np.linspace(-0.5, 1.5, len(slopes))
    )
    table = (rng.random(chance.shape) < chance).astype(np.int8)
    table[rng.random(chance.shape) < gaps] = -1
    return table


COMPLETE, WITH_GAPS = answers(1, 150), answers(2, 150, gaps=0.2)


@pytest.mark.parametrize("table", [COMPLETE, WITH_GAPS], ids=["complete", "with gaps"])
class TestAgainstTheJudge:
    """150 learners, five questions; the second table lacks a fifth of its answers."""

    @pytest.mark.parametrize("fit", [irt.rasch, irt.one_slope, irt.two_pl])
    def test_the_log_likelihood_is_the_judges(self, fit, table: Table) -> None:  # type: ignore[no-untyped-def]
        """Two quadratures of a smooth integrand: they differ by rounding alone."""
        found = fit(table)
        judged = log_likelihood(table, found.slope, found.intercept)
        assert found.log_likelihood == pytest.approx(judged, abs=1e-6)

    def test_two_parameters_end_where_the_likelihood_is_level_with_the_judges_errors(
        self, table: Table
    ) -> None:
        """Differences of step 1e-3 are good to 1e-5 in the first and 1e-4 of themselves in the second derivatives."""
        fit = irt.two_pl(table)
        first, second = derivatives(table, np.concatenate([fit.slope, fit.intercept]))

        errors = np.sqrt(np.diag(np.linalg.inv(-second)))

        assert fit.converged
        assert np.abs(first).max() < 1e-3
        assert_allclose(np.concatenate([fit.slope_error, fit.intercept_error]), errors, rtol=1e-3)

    def test_the_error_of_a_difficulty_follows_from_the_judges_covariance(self, table: Table) -> None:
        """Delta method: b = -d / a has the derivatives -b / a in a and -1 / a in d."""
        fit = irt.two_pl(table)
        _, second = derivatives(table, np.concatenate([fit.slope, fit.intercept]))
        slope_part = np.diag(-fit.difficulty / fit.slope)
        bend = np.hstack([slope_part, np.diag(-1 / fit.slope)])

        judged = np.sqrt(np.diag(bend @ np.linalg.inv(-second) @ bend.T))

        assert_allclose(fit.difficulty_error, judged, rtol=1e-3)

    def test_one_slope_ends_level_with_the_judges_errors(self, table: Table) -> None:
        fit = irt.one_slope(table)
        first, second = derivatives(table, np.concatenate([fit.slope, fit.intercept]))
        k = table.shape[1]
        common = np.zeros((2 * k, k + 1))
        common[:k, 0], common[k:, 1:] = 1, np.eye(k)

        errors = np.sqrt(np.diag(np.linalg.inv(-common.T @ second @ common)))

        assert np.abs(common.T @ first).max() < 1e-3
        assert_allclose(np.append(fit.slope_error[0], fit.intercept_error), errors, rtol=1e-3)

    def test_slope_one_ends_level_with_the_judges_errors(self, table: Table) -> None:
        fit = irt.rasch(table)
        first, second = derivatives(table, np.concatenate([fit.slope, fit.intercept]))
        k = table.shape[1]

        assert np.abs(first[k:]).max() < 1e-3
        assert_allclose(fit.standard_error, np.sqrt(np.diag(np.linalg.inv(-second[k:, k:]))), rtol=1e-3)

    def test_abilities_are_those_of_the_judges_posterior(self, table: Table) -> None:
        """The mean and the spread on a fine grid of 2,001 abilities, and its highest point."""
        fit = irt.two_pl(table)
        found = irt.abilities(fit, table[:30])
        grid = np.linspace(-6, 6, 2001)
        right = expit(np.multiply.outer(grid, fit.slope) + fit.intercept)

        for i, row in enumerate(table[:30]):
            each = np.where(row == 1, right, np.where(row == 0, 1 - right, 1.0)).prod(axis=1) * np.exp(
                -(grid**2) / 2
            )
            weight = each / each.sum()
            mean = weight @ grid
            assert found.expected[i] == pytest.approx(mean, abs=1e-6)
            assert found.expected_error[i] == pytest.approx((weight @ (grid - mean) ** 2) ** 0.5, abs=1e-6)
            assert found.likeliest[i] == pytest.approx(
                grid[each.argmax()], abs=0.0031
            )  # half a step of the grid


class TestLaws:
    """What must hold of any table, whatever it says."""

    tables = st.tuples(st.integers(1, 30), st.integers(1, 5)).flatmap(
        lambda shape: arrays(np.int8, shape, elements=st.sampled_from([-1, 0, 0, 0, 1, 1, 1]))
    )

    @settings(max_examples=60, deadline=None)
    @given(table=tables, fit=st.sampled_from([irt.one_slope, irt.two_pl]))
    def test_no_value_is_infinite_and_every_gap_is_told(self, table: Table, fit) -> None:  # type: ignore[no-untyped-def]
        found = fit(table)

        assert not np.isinf(np.concatenate([found.slope, found.intercept, found.difficulty])).any()
        assert np.nanmax(np.abs(found.slope), initial=0) <= STEEPEST
        for value, told in zip(found.slope, found.told, strict=True):
            there = told in (Told.ESTIMATED, Told.NO_LIMIT) and found.outcome is not Outcome.TOO_FEW
            assert np.isfinite(value) == there

    @settings(max_examples=60, deadline=None)
    @given(table=tables)
    def test_difficulties_at_slope_one_are_always_settled(self, table: Table) -> None:
        found = irt.rasch(table)

        estimated = np.array([told is Told.ESTIMATED for told in found.told])
        assert found.converged == estimated.any()
        assert (np.isfinite(found.difficulty) == estimated).all()
        assert (np.isfinite(found.standard_error) == estimated).all()

    @settings(max_examples=30, deadline=None)
    @given(seed=st.integers(0, 10**6), order=st.permutations(range(5)))
    def test_the_order_of_questions_does_not_matter(self, seed: int, order: list[int]) -> None:
        table = answers(seed, 200)

        assert_allclose(irt.rasch(table[:, order]).difficulty, irt.rasch(table).difficulty[order], atol=1e-5)

    @settings(max_examples=30, deadline=None)
    @given(seed=st.integers(0, 10**6))
    def test_right_and_wrong_turned_round_turn_the_difficulties(self, seed: int) -> None:
        table = answers(seed, 200)

        assert_allclose(irt.rasch(1 - table).difficulty, -irt.rasch(table).difficulty, atol=1e-5)

    @settings(max_examples=30, deadline=None)
    @given(seed=st.integers(0, 10**6), question=st.integers(0, 4), learner=st.integers(0, 39))
    def test_one_more_right_answer_makes_the_question_easier_and_the_learner_no_weaker(
        self, seed: int, question: int, learner: int
    ) -> None:
        table = answers(seed, 40)
        table[learner, question] = 0
        better = table.copy()
        better[learner, question] = 1
        before, after = irt.rasch(table), irt.rasch(better)

        if before.told[question] is after.told[question] is Told.ESTIMATED:
            assert after.difficulty[question] < before.difficulty[question]
        weak, strong = (irt.abilities(before, t).expected[learner] for t in (table, better))
        assert strong >= weak


class TestSameAnswersTwice:
    """Every learner counted twice: the same values, errors smaller by the root of two."""

    @pytest.mark.parametrize("fit", [irt.one_slope, irt.two_pl])
    def test_values_stay_and_errors_shrink(self, fit) -> None:  # type: ignore[no-untyped-def]
        once, twice = fit(COMPLETE), fit(np.vstack([COMPLETE, COMPLETE]))

        assert_allclose(twice.slope, once.slope, rtol=1e-4)
        assert_allclose(twice.difficulty_error, once.difficulty_error / 2**0.5, rtol=1e-3)


class TestNothingToEstimate:
    """Each case has a name."""

    @pytest.mark.parametrize(
        ("column", "told"),
        [(1, Told.ALL_RIGHT), (0, Told.ALL_WRONG), (-1, Told.NOT_ASKED)],
    )
    @pytest.mark.parametrize("fit", [irt.rasch, irt.one_slope, irt.two_pl])
    def test_a_question_without_two_kinds_of_answers_is_named_and_changes_nothing_else(  # type: ignore[no-untyped-def]
        self, fit, column: int, told: Told
    ) -> None:
        table = np.insert(COMPLETE, 2, column, axis=1)
        found, without = fit(table), fit(COMPLETE)

        assert found.told[2] is told
        assert np.isnan(found.difficulty[2])
        assert_allclose(np.delete(found.difficulty, 2), without.difficulty, rtol=1e-9)
        assert found.log_likelihood == pytest.approx(without.log_likelihood)

    @pytest.mark.parametrize(("fit", "enough"), [(irt.rasch, 1), (irt.one_slope, 2), (irt.two_pl, 3)])
    def test_too_few_questions_are_named(self, fit, enough: int) -> None:  # type: ignore[no-untyped-def]
        few, many = COMPLETE[:, : enough - 1], COMPLETE[:, :enough]
        everyone_right = np.ones((len(COMPLETE), 1), dtype=np.int8)

        assert fit(np.hstack([few, everyone_right])).outcome is Outcome.TOO_FEW
        assert fit(many).outcome is not Outcome.TOO_FEW

    def test_two_questions_that_always_agree_have_no_slope(self) -> None:
        table = np.insert(COMPLETE, 5, COMPLETE[:, 0], axis=1)
        found = irt.two_pl(table)

        assert Told.NO_LIMIT in (found.told[0], found.told[5])
        held = found.told.index(Told.NO_LIMIT)
        assert found.slope[held] == STEEPEST
        assert np.isnan(found.slope_error[held])
        assert np.isfinite(found.slope).all()

    def test_a_learner_of_whom_nothing_is_known_stays_at_the_middle(self) -> None:
        found = irt.abilities(irt.two_pl(COMPLETE), np.full((1, 5), -1))

        assert found.expected[0] == pytest.approx(0, abs=1e-9)
        assert found.likeliest[0] == pytest.approx(0, abs=1e-9)
        assert (found.expected_error[0], found.likeliest_error[0]) == pytest.approx((1, 1), abs=1e-6)

    def test_questions_without_a_curve_are_left_out_of_abilities(self) -> None:
        fit = irt.two_pl(np.insert(COMPLETE, 2, 1, axis=1))
        right, wrong = irt.abilities(fit, [[1, 0, 1, 1, 0, 1], [1, 0, 0, 1, 0, 1]]).expected

        assert right == wrong

    def test_abilities_want_as_many_answers_as_curves(self) -> None:
        with pytest.raises(ValueError, match="4 questions were answered and 5 have curves"):
            irt.abilities(irt.rasch(COMPLETE), COMPLETE[:, :4])


class TestDirection:
    """The scale is turned so that the slopes add up to something positive."""

    def test_a_question_with_a_turned_key_slopes_down(self) -> None:
        table = answers(3, 2000)
        straight = irt.two_pl(table)
        table[:, 2] = 1 - table[:, 2]
        turned = irt.two_pl(table)

        assert_allclose(turned.slope[2], -straight.slope[2], rtol=1e-3)
        assert_allclose(np.delete(turned.slope, 2), np.delete(straight.slope, 2), rtol=1e-3)

    def test_slopes_that_would_add_up_to_less_than_nothing_turn_the_scale(self) -> None:
        """Found by trying: here the climb from slope 1 ends on the other side. With two keys turned back all slopes are
        positive; difficulties change their sign with the scale, and their errors are the same as ever."""
        table = answers(10, 2000, slopes=(1, 1, -2, -2, 1.5))
        mixed = irt.two_pl(table)
        table[:, 2:4] = 1 - table[:, 2:4]
        straight = irt.two_pl(table)

        assert (straight.slope > 0).all()
        assert_allclose(mixed.slope, np.array([-1, -1, 1, 1, -1]) * straight.slope, rtol=1e-3)
        assert_allclose(mixed.difficulty, -straight.difficulty, rtol=1e-3)
        assert_allclose(mixed.difficulty_error, straight.difficulty_error, rtol=1e-3)

    def test_questions_that_tell_nobody_apart_have_no_difficulty(self) -> None:
        """Two questions that go against each other have no common slope but 0."""
        fit = irt.one_slope([[1, 0], [0, 1], [0, 1]] * 8 + [[1, 1]])

        assert_allclose(fit.slope, 0, atol=1e-4)
        assert np.isnan(fit.difficulty).all()
        assert np.isnan(fit.difficulty_error).all()


def test_starts_far_apart_end_at_one_top() -> None:
    """Each LSAT section from four starts, by the judge's own climb: none ends higher than ours."""
    from scipy.optimize import minimize

    for section in (6, 7):
        table = lsat.answers(section)
        count = lsat.counts(section)
        fit = irt.two_pl(table)

        def loss(v: Floats, count: NDArray[np.int64] = count) -> float:
            right = expit(np.multiply.outer(NODES, v[:5]) + v[5:])
            each = np.prod(np.where(lsat.patterns()[:, None, :] == 1, right, 1 - right), axis=2) @ WEIGHTS
            return float(-count @ np.log(each))

        for start in (0.3, 0.7, 1.5, 3.0):
            other = minimize(partial(loss), np.repeat([start, 1.0], 5), method="L-BFGS-B")
            assert -other.fun <= fit.log_likelihood + 1e-6


@pytest.mark.slow
@pytest.mark.parametrize("gaps", [0.0, 0.2])
def test_intervals_hold_the_truth_as_often_as_they_say(gaps: float) -> None:
    """500 learners, eight questions, 300 fits, 4,800 intervals of nominal 95 %.

    The two of a question and those of one fit hang together; counting a fit as four independent intervals, four
    standard errors are 2.5 points.
    """
    inside, far = [], []
    for fit, slope, intercept in two_pl_draws(np.random.default_rng(11), 500, 300, gaps):
        z = np.concatenate(
            [(fit.slope - slope) / fit.slope_error, (fit.intercept - intercept) / fit.intercept_error]
        )
        inside.append(np.abs(z) < 1.959964)
        far.append(not fit.converged)

    assert not any(far)
    assert abs(np.mean(inside) - 0.95) <= 0.025


@pytest.mark.slow
def test_expected_abilities_are_off_by_as_much_as_their_errors_say() -> None:
    """Known curves of 30 questions, 20,000 learners drawn from N(0, 1).

    The square of an error over its variance is 1 on average; four standard errors are 4 * sqrt(2 / 20,000) = .04.
    """
    rng = np.random.default_rng(12)
    slope, intercept = np.exp(rng.normal(0, 0.3, 30)), rng.normal(1, 1, 30)
    ability = rng.normal(size=20_000)
    table = (rng.random((20_000, 30)) < expit(np.multiply.outer(ability, slope) + intercept)).astype(np.int8)
    zero = np.zeros(30)
    curves = irt.TwoPL(
        slope, intercept, zero, zero, zero, zero, 0.0, 0, Outcome.CONVERGED, (Told.ESTIMATED,) * 30
    )

    found = irt.abilities(curves, table)

    assert np.mean(((found.expected - ability) / found.expected_error) ** 2) == pytest.approx(1, abs=0.04)
