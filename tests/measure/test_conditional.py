"""Rasch difficulties given the number right: against counting all patterns, and where there is no top."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from markstead.measure import irt
from markstead.measure.answers import Told
from markstead.measure.conditional import Ending, ability_of_scores, rasch_conditional

Floats = NDArray[np.float64]


def log_likelihood(table: NDArray[np.int8], difficulty: Floats) -> float:
    """Of each learner's answers among all patterns with as many right, one by one."""
    weights: dict[int, float] = {}
    for pattern in product((0, 1), repeat=difficulty.size):
        weights[sum(pattern)] = weights.get(sum(pattern), 0.0) + np.exp(-np.array(pattern) @ difficulty)
    return float(sum(-row @ difficulty - np.log(weights[int(row.sum())]) for row in table))


def answers(seed: int, learners: int, questions: int = 5) -> NDArray[np.int8]:
    rng = np.random.default_rng(seed)
    chance = 1 / (1 + np.exp(-(rng.normal(size=(learners, 1)) - np.linspace(-1.5, 1, questions))))
    return (rng.random(chance.shape) < chance).astype(np.int8)


TABLE = answers(1, 120)


class TestAgainstAllPatterns:
    """120 learners, five questions."""

    def test_the_log_likelihood_is_that_of_counting(self) -> None:
        fit = rasch_conditional(TABLE)
        assert fit.log_likelihood == pytest.approx(log_likelihood(TABLE, fit.difficulty), abs=1e-8)

    def test_no_small_change_climbs_and_the_errors_are_those_of_the_bend(self) -> None:
        """Differences of step 1e-3 along four directions that keep the sum at zero."""
        fit = rasch_conditional(TABLE)
        turn = np.linalg.qr(np.column_stack([np.ones(5), np.eye(5)[:, :4]]))[0][:, 1:]
        step = 1e-3

        def at(*moves: tuple[int, float]) -> float:
            shift = sum((size * turn[:, i] for i, size in moves), np.zeros(5))
            return log_likelihood(TABLE, fit.difficulty + shift)

        first = [(at((i, step)) - at((i, -step))) / (2 * step) for i in range(4)]
        second = np.array(
            [
                [
                    (
                        at((i, step), (j, step))
                        - at((i, step), (j, -step))
                        - at((i, -step), (j, step))
                        + at((i, -step), (j, -step))
                    )
                    / (4 * step**2)
                    for j in range(4)
                ]
                for i in range(4)
            ]
        )
        errors = np.sqrt(np.diag(turn @ np.linalg.inv(-second) @ turn.T))

        assert_allclose(first, 0, atol=1e-4)
        assert_allclose(fit.standard_error, errors, rtol=1e-4)

    def test_the_difficulties_add_up_to_nothing(self) -> None:
        assert rasch_conditional(TABLE).difficulty.sum() == pytest.approx(0, abs=1e-9)


class TestNoTop:
    """Fischer 1981: no estimate where the questions fall into two groups that the answers never set side by side."""

    def test_everyone_with_a_hard_one_right_has_the_easy_ones_right(self) -> None:
        """Questions 3 and 4 were got right only by those who have 1 and 2 right."""
        table = [[1, 0, 0, 0], [0, 1, 0, 0], [1, 1, 1, 0], [1, 1, 0, 1]]
        fit = rasch_conditional(table)

        assert fit.ending is Ending.SEPARATED
        assert np.isnan(fit.difficulty).all()

    def test_one_learner_who_crosses_settles_it(self) -> None:
        table = [[1, 0, 0, 0], [0, 1, 0, 0], [1, 1, 1, 0], [1, 1, 0, 1], [0, 1, 1, 0], [1, 0, 0, 1]]
        assert rasch_conditional(table).converged

    def test_learners_with_all_or_nothing_right_add_nothing(self) -> None:
        more = np.vstack([TABLE, np.ones((9, 5)), np.zeros((4, 5))])
        assert_allclose(rasch_conditional(more).difficulty, rasch_conditional(TABLE).difficulty, atol=1e-6)

    def test_questions_that_everyone_got_right_are_named(self) -> None:
        fit = rasch_conditional(np.insert(TABLE, 1, 1, axis=1))

        assert fit.told[1] is Told.ALL_RIGHT
        assert_allclose(np.delete(fit.difficulty, 1), rasch_conditional(TABLE).difficulty, atol=1e-6)

    def test_a_single_question_is_too_few(self) -> None:
        assert rasch_conditional(TABLE[:, :1]).ending is Ending.TOO_FEW

    def test_answers_that_were_not_asked_for_are_refused(self) -> None:
        with pytest.raises(ValueError, match="asked of every learner"):
            rasch_conditional([[1, -1], [0, 1]])

    @settings(max_examples=80, deadline=None)
    @given(
        table=st.tuples(st.integers(1, 12), st.integers(1, 6)).flatmap(
            lambda shape: arrays(np.int8, shape, elements=st.integers(0, 1))
        )
    )
    def test_every_table_ends_in_a_name_and_finite_values_come_with_convergence_only(
        self, table: NDArray[np.int8]
    ) -> None:
        fit = rasch_conditional(table)

        assert fit.ending is not Ending.RAN_OUT
        assert np.isfinite(fit.difficulty).any() == fit.converged
        assert not np.isinf(fit.difficulty).any()


def test_it_does_not_care_how_abilities_are_spread_where_the_marginal_fit_does() -> None:
    """20,000 learners in two clumps far from normal: given the number right the difficulties are the true ones.

    Standard errors are about .02; four of them.
    """
    rng = np.random.default_rng(5)
    true = np.array([-1.5, -0.5, 0.0, 0.5, 1.5])
    ability = np.where(rng.random(20_000) < 0.8, -1.0, 4.0)
    table = (rng.random((20_000, 5)) < 1 / (1 + np.exp(-(ability[:, None] - true)))).astype(np.int8)

    given_score, marginal = rasch_conditional(table), irt.rasch(table)

    assert np.abs((given_score.difficulty - true) / given_score.standard_error).max() < 4
    centred = marginal.difficulty - marginal.difficulty.mean()
    assert np.abs((centred - true) / given_score.standard_error).max() > 4


class TestAbilityOfScores:
    """The ability at which so many right are expected."""

    @settings(deadline=None)
    @given(difficulty=arrays(np.float64, st.integers(2, 30), elements=st.floats(-6, 6)))
    def test_at_the_ability_of_a_score_that_score_is_expected(self, difficulty: Floats) -> None:
        ability, error = ability_of_scores(difficulty)
        p = 1 / (1 + np.exp(-(ability[:, None] - difficulty)))

        assert_allclose(p.sum(axis=1), np.arange(1, difficulty.size), atol=1e-8)
        assert_allclose(error, 1 / np.sqrt((p * (1 - p)).sum(axis=1)), rtol=1e-6)

    @pytest.mark.parametrize("difficulty", [np.array([0.0]), np.array([0.0, np.nan])])
    def test_two_finite_difficulties_are_wanted(self, difficulty: Floats) -> None:
        with pytest.raises(ValueError, match="two difficulties"):
            ability_of_scores(difficulty)


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """200 learners, 12 questions, 400 fits of nominal 95 %; counting a fit as four independent intervals, four standard
    errors are 2.2 points."""
    true = np.linspace(-1.5, 1, 12)
    inside = []
    for seed in range(400):
        fit = rasch_conditional(answers(seed, 200, 12))
        assert fit.converged
        inside.append(np.abs(fit.difficulty - (true - true.mean())) < 1.959964 * fit.standard_error)

    assert abs(np.mean(inside) - 0.95) <= 0.022
