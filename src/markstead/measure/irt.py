"""How hard each question is and how sharply it tells learners apart: slope 1, one common slope, a slope for each.

All three are item response curves, P(right) = 1 / (1 + exp(-(slope * ability + intercept))), with abilities spread as
N(0, 1) over the learners; the difficulty is -intercept / slope, the ability at which half get it right. They are
fitted by marginal maximum likelihood (see `marginal`).

Arrays run over the questions in the order of the table; a value is nan where `told` says why there is none.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from markstead.measure.answers import Answers, Floats, Told, answers_of, told_of
from markstead.measure.marginal import POINTS, STEEPEST, Maximum, Outcome, Patterns, maximise, posterior

_LEVEL = 1e-3
"""Below this slope a question tells nobody apart, and no ability is its difficulty."""


class Curves(Protocol):
    """Anything with a slope and an intercept for each question."""

    @property
    def slope(self) -> Floats: ...
    @property
    def intercept(self) -> Floats: ...


@dataclass(frozen=True, slots=True, eq=False)
class Rasch:
    """Difficulties at slope 1, with their standard errors."""

    difficulty: Floats
    standard_error: Floats
    log_likelihood: float
    steps: int
    outcome: Outcome
    told: tuple[Told, ...]

    @property
    def converged(self) -> bool:
        """Whether the values are those of the highest likelihood."""
        return self.outcome is Outcome.CONVERGED

    @property
    def slope(self) -> Floats:
        return np.ones_like(self.difficulty)

    @property
    def intercept(self) -> Floats:
        return -self.difficulty


@dataclass(frozen=True, slots=True, eq=False)
class TwoPL:
    """A slope and an intercept for each question, with their standard errors.

    `difficulty_error` is by the delta method; a question with a slope within .001 of 0 has no difficulty. With one
    common slope the slopes are all the same number. Errors are nan unless the fit converged.
    """

    slope: Floats
    intercept: Floats
    difficulty: Floats
    slope_error: Floats
    intercept_error: Floats
    difficulty_error: Floats
    log_likelihood: float
    steps: int
    outcome: Outcome
    told: tuple[Told, ...]

    @property
    def converged(self) -> bool:
        """Whether the values are those of the highest likelihood."""
        return self.outcome is Outcome.CONVERGED


@dataclass(frozen=True, slots=True, eq=False)
class Abilities:
    """The ability of each learner (arrays over the learners) with its standard error.

    `expected` is the mean of the posterior (EAP), `likeliest` its top (MAP).
    """

    expected: Floats
    expected_error: Floats
    likeliest: Floats
    likeliest_error: Floats


def rasch(responses: ArrayLike) -> Rasch:
    """Fit difficulties with every slope 1.

    Args:
        responses: answers (learners, questions) of 1, 0, -1.

    Raises:
        ValueError: see `answers_of`.
    """
    answers, told, kept = _usable(responses)
    k = answers.shape[1]
    spread = np.vstack([np.zeros((k, k)), np.eye(k)])
    top = _climb(answers, np.repeat([1.0, 0.0], k), spread, slopes=0, fewest=1)
    return Rasch(
        difficulty=_placed(-top.values[k:], kept),
        standard_error=_placed(np.sqrt(np.diag(top.covariance)), kept),
        log_likelihood=top.log_likelihood,
        steps=top.steps,
        outcome=top.outcome,
        told=told,
    )


def one_slope(responses: ArrayLike) -> TwoPL:
    """Fit one slope common to all questions, and their intercepts (Thissen 1982, Psychometrika 47, 175-186).

    Args:
        responses: answers (learners, questions) of 1, 0, -1; two questions at least must have been got right by some
            and wrong by others.

    Raises:
        ValueError: see `answers_of`.
    """
    answers, told, kept = _usable(responses)
    k = answers.shape[1]
    spread = np.zeros((2 * k, 1 + k))
    spread[:k, 0] = 1
    spread[k:, 1:] = np.eye(k)
    top = _climb(answers, np.zeros(2 * k), spread, slopes=1, fewest=2)
    return _two_pl(top, [0] * k, list(range(1, k + 1)), kept, told)


def two_pl(responses: ArrayLike) -> TwoPL:
    """Fit a slope and an intercept for each question (Bock and Aitkin 1981, Psychometrika 46, 443-459).

    The scale is turned so that the slopes add up to something positive. A question whose slope grows without limit
    (one of two that always agree, say) is held at `STEEPEST` and told as such, without standard errors.

    Args:
        responses: answers (learners, questions) of 1, 0, -1; three questions at least must have been got right by
            some and wrong by others.

    Raises:
        ValueError: see `answers_of`.
    """
    answers, told, kept = _usable(responses)
    k = answers.shape[1]
    top = _climb(answers, np.zeros(2 * k), np.eye(2 * k), slopes=k, fewest=3)
    return _two_pl(top, list(range(k)), list(range(k, 2 * k)), kept, told)


def abilities(curves: Curves, responses: ArrayLike) -> Abilities:
    """Place each learner on the scale of the curves, with N(0, 1) as the prior.

    Questions without a curve and answers of -1 are left out; a learner of whom nothing is known stays at 0 with the
    standard error 1.

    Args:
        curves: a fit of the same questions.
        responses: answers (learners, questions) of 1, 0, -1.

    Raises:
        ValueError: the curves and the answers have not the same number of questions; see also `answers_of`.
    """
    answers = answers_of(responses)
    if answers.shape[1] != curves.slope.size:
        raise ValueError(f"{answers.shape[1]} questions were answered and {curves.slope.size} have curves")
    kept = np.isfinite(curves.slope) & np.isfinite(curves.intercept)
    slope, intercept, answers = curves.slope[kept], curves.intercept[kept], answers[:, kept]
    weight, _, _ = posterior(Patterns.one_each(answers), slope, intercept)
    expected = weight @ POINTS
    error = np.sqrt(((POINTS - expected[:, None]) ** 2 * weight).sum(axis=1))
    likeliest, bend = _tops(answers, slope, intercept, expected)
    return Abilities(expected, error, likeliest, 1 / np.sqrt(bend))


def _tops(answers: Answers, slope: Floats, intercept: Floats, start: Floats) -> tuple[Floats, Floats]:
    """The top of each posterior and its curvature there, by Newton: the posterior is log-concave."""
    asked, right = answers >= 0, answers == 1
    ability, bend = start.copy(), np.ones_like(start)
    for _ in range(100):
        p = 0.5 * (1 + np.tanh((np.outer(ability, slope) + intercept) / 2))
        bend = np.where(asked, p * (1 - p), 0) @ slope**2 + 1
        # The reach of a step is bounded because the curvature may be far smaller further on.
        move = np.clip((np.where(asked, right - p, 0) @ slope - ability) / bend, -0.5, 0.5)
        if np.abs(move).max(initial=0.0) < 1e-9:
            break
        ability += move
    return ability, bend


def _usable(responses: ArrayLike) -> tuple[Answers, tuple[Told, ...], NDArray[np.bool_]]:
    """The questions whose answers differ, what is told of every question, and which are kept.

    A question that everyone got right fits ever better the easier it is made; in the limit it drops out of the
    likelihood, so that leaving it out changes no other value.
    """
    answers = answers_of(responses)
    told = told_of(answers)
    kept = np.array([t is Told.ESTIMATED for t in told])
    return answers[:, kept], told, kept


def _climb(answers: Answers, base: Floats, spread: Floats, *, slopes: int, fewest: int) -> Maximum:
    """Start at slope 1 and the intercepts that the shares right would have there; the first free values are slopes."""
    k, free = answers.shape[1], spread.shape[1]
    if k < fewest:
        nothing = np.full((free, free), np.nan)
        return Maximum(np.full(2 * k, np.nan), nothing, 0.0, 0, Outcome.TOO_FEW, np.zeros(free, dtype=bool))
    right, wrong = (answers == 1).sum(axis=0), (answers == 0).sum(axis=0)
    # A logistic curve averaged over N(0, 1) is nearly a flatter logistic curve: the factor is sqrt(1 + slope^2 / 2.9).
    start = np.concatenate([np.ones(slopes), 1.16 * np.log(right / wrong)])
    limit = np.repeat([STEEPEST, np.inf], [slopes, k])
    return maximise(Patterns.collapsed(answers), base, spread, start, limit)


def _two_pl(
    top: Maximum, slopes: list[int], intercepts: list[int], kept: NDArray[np.bool_], told: tuple[Told, ...]
) -> TwoPL:
    """Put a maximum into words; `slopes` and `intercepts` say which free value stands for each kept question."""
    a, d = np.split(top.values, 2)
    turn = -1.0 if a.sum() < 0 else 1.0
    a = turn * a
    told = _with_limits(told, kept, top.at_limit[slopes])
    cov = top.covariance
    var_a, var_d, cov_ad = cov[slopes, slopes], cov[intercepts, intercepts], cov[slopes, intercepts]
    steep = np.where(np.abs(a) < _LEVEL, np.nan, a)
    b = -d / steep
    var_b = (var_d + b**2 * var_a + 2 * b * turn * cov_ad) / steep**2
    unsure = top.at_limit[slopes]

    def error(variance: Floats) -> Floats:
        return _placed(np.sqrt(np.where(unsure, np.nan, variance)), kept)

    return TwoPL(
        slope=_placed(a, kept),
        intercept=_placed(d, kept),
        difficulty=_placed(b, kept),
        slope_error=error(var_a),
        intercept_error=error(var_d),
        difficulty_error=error(var_b),
        log_likelihood=top.log_likelihood,
        steps=top.steps,
        outcome=top.outcome,
        told=told,
    )


def _with_limits(
    told: tuple[Told, ...], kept: NDArray[np.bool_], at_limit: NDArray[np.bool_]
) -> tuple[Told, ...]:
    full = np.zeros(kept.size, dtype=bool)
    full[kept] = at_limit
    return tuple(Told.NO_LIMIT if held else one for one, held in zip(told, full, strict=True))


def _placed(values: Floats, kept: NDArray[np.bool_]) -> Floats:
    """Values of the kept questions in their places, nan elsewhere."""
    full = np.full(kept.size, np.nan)
    full[kept] = values
    return full
