"""Maximise the marginal likelihood of item response curves, with abilities spread as N(0, 1) over the learners.

The expectation step is that of Bock and Aitkin (1981, Psychometrika 46, 443-459) on fixed points. A few steps use the
information as if abilities were known (one Newton step for each maximisation step: Lange 1995, J. R. Stat. Soc. B 57,
425-437); then Newton's method runs on the marginal likelihood itself, with the observed information by Louis (1982,
J. R. Stat. Soc. B 44, 226-233). So the end is the optimum, and the standard errors come with it.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from markstead.measure.answers import Answers, Floats
from markstead.speech import later

# Equal steps with normal weights: for a smooth integrand that dies out at both ends the error falls exponentially in
# 1/step. Here it stays below 1e-5 as long as no slope passes STEEPEST.
POINTS: Floats = np.linspace(-6.0, 6.0, 61)
_LOG_WEIGHTS: Floats = -(POINTS**2) / 2 - np.log(np.sum(np.exp(-(POINTS**2) / 2)))
_POWERS: Floats = np.stack([np.ones_like(POINTS), POINTS, POINTS**2])

STEEPEST = 8.0
"""The steepest slope that is told; where the answers ask for a steeper one they do not settle it."""
MOST_STEPS = 500
_KNOWN_STEPS = 6
# Newton's decrement is the squared distance from the optimum in standard errors.
_NEAR = 1e-10


class Outcome(StrEnum):
    """How a fit ended."""

    CONVERGED = later("converged")
    RAN_OUT = later("the steps ran out")
    UNSETTLED = later("the answers do not settle the values")
    TOO_FEW = later("too few questions that some got right and some wrong")


@dataclass(frozen=True, slots=True, eq=False)
class Patterns:
    """Patterns of answers (patterns, questions), how often each occurs, and what was asked (None: everything)."""

    right: Floats
    asked: Floats | None
    count: Floats

    @staticmethod
    def one_each(answers: Answers) -> "Patterns":
        """Each learner as a pattern."""
        return Patterns._of(answers, np.ones(len(answers)))

    @staticmethod
    def collapsed(answers: Answers) -> "Patterns":
        """Learners with the same answers as one pattern."""
        # One opaque word a learner sorts far faster than `unique(axis=0)`, which compares column by column.
        words = np.ascontiguousarray(answers).view(np.dtype((np.void, answers.shape[1])))[:, 0]
        _, first, count = np.unique(words, return_index=True, return_counts=True)
        return Patterns._of(answers[first], count.astype(np.float64))

    @staticmethod
    def _of(answers: Answers, count: Floats) -> "Patterns":
        asked = None if (answers >= 0).all() else (answers >= 0).astype(np.float64)
        return Patterns((answers == 1).astype(np.float64), asked, count)


def posterior(patterns: Patterns, slope: Floats, intercept: Floats) -> tuple[Floats, float, Floats]:
    """Weigh each pattern at each point.

    Returns:
        The weights (patterns, points), which add up to the count of the pattern; the log-likelihood; the probability
        of a right answer (questions, points).
    """
    logit = np.outer(slope, POINTS) + intercept[:, None]
    wrong = np.logaddexp(0, logit)
    log_joint = patterns.right @ logit
    log_joint -= wrong.sum(axis=0) if patterns.asked is None else patterns.asked @ wrong
    log_joint += _LOG_WEIGHTS
    top = log_joint.max(axis=1)
    log_joint -= top[:, None]
    weight = np.exp(log_joint)
    total = weight.sum(axis=1)
    weight *= (patterns.count / total)[:, None]
    return weight, float(patterns.count @ (np.log(total) + top)), np.exp(logit - wrong)


class _Place:
    """The likelihood, its gradient and its information at one choice of the free values."""

    def __init__(self, patterns: Patterns, base: Floats, spread: Floats, free: Floats) -> None:
        self.free = free
        self.values = base + spread @ free
        slope, intercept = np.split(self.values, 2)
        self._patterns, self._spread = patterns, spread
        self._weight, self.log_likelihood, self._curve = posterior(patterns, slope, intercept)

    @cached_property
    def _right(self) -> Floats:
        """Expected right answers (questions, points)."""
        return self._patterns.right.T @ self._weight

    @cached_property
    def _asked(self) -> Floats:
        """Expected learners asked, (questions, points) or (points)."""
        asked = self._patterns.asked
        return self._weight.sum(axis=0) if asked is None else asked.T @ self._weight

    @cached_property
    def gradient(self) -> Floats:
        """The first derivative of the log-likelihood."""
        surplus = self._right - self._asked * self._curve
        gradient: Floats = self._spread.T @ np.concatenate([surplus @ POINTS, surplus.sum(axis=1)])
        return gradient

    @cached_property
    def known(self) -> Floats:
        """The information as if the abilities were known."""
        i0, i1, i2 = ((self._asked * self._curve * (1 - self._curve)) @ _POWERS.T).T
        both = np.block([[np.diag(i2), np.diag(i1)], [np.diag(i1), np.diag(i0)]])
        known: Floats = self._spread.T @ both @ self._spread
        return known

    @cached_property
    def observed(self) -> Floats:
        """Minus the second derivative of the log-likelihood (Louis 1982): `known` less what is hidden."""
        k = self._patterns.right.shape[1]
        square = self._squares_complete() if self._patterns.asked is None else self._squares_with_gaps()
        mean = self._mean_score()
        hidden = np.empty((2 * k, 2 * k))
        hidden[:k, :k], hidden[k:, k:] = square[2], square[0]
        hidden[:k, k:] = hidden[k:, :k] = square[1]
        hidden -= (mean.T * self._patterns.count) @ mean
        return self.known - self._spread.T @ hidden @ self._spread

    def _mean_score(self) -> Floats:
        """The mean of the score in the posterior of each pattern (patterns, slopes then intercepts)."""
        weight = self._weight / self._patterns.count[:, None]
        asked = 1.0 if self._patterns.asked is None else self._patterns.asked
        for_slope = self._patterns.right * (weight @ POINTS)[:, None] - asked * (
            weight @ (self._curve * POINTS).T
        )
        return np.hstack([for_slope, self._patterns.right - asked * (weight @ self._curve.T)])

    def _squares_complete(self) -> Floats:
        """Sums of (x_j - P_j)(x_k - P_k) ability^m over patterns and points, (m, questions, questions)."""
        right, curve = self._patterns.right, self._curve
        squares = []
        for power in _POWERS:
            cross = (self._right * power) @ curve.T
            both_right = (right.T * (self._weight @ power)) @ right
            squares.append(both_right - cross - cross.T + (curve * (self._asked * power)) @ curve.T)
        return np.stack(squares)

    def _squares_with_gaps(self) -> Floats:
        """The same where not every question was asked of everyone: it must be added up point by point."""
        asked = self._patterns.asked
        assert asked is not None
        k = asked.shape[1]
        squares = np.zeros((len(_POWERS), k, k))
        for q, powers in enumerate(_POWERS.T):
            score = self._patterns.right - asked * self._curve[:, q]
            squares += powers[:, None, None] * ((score.T * self._weight[:, q]) @ score)
        return squares


@dataclass(frozen=True, slots=True, eq=False)
class Maximum:
    """Where a climb ended: slopes then intercepts, their covariance, and which free values stand at their limit."""

    values: Floats
    covariance: Floats
    log_likelihood: float
    steps: int
    outcome: Outcome
    at_limit: NDArray[np.bool_]


def maximise(patterns: Patterns, base: Floats, spread: Floats, start: Floats, limit: Floats) -> Maximum:
    """Maximise over free values v, where (slopes, intercepts) = base + spread @ v and no |v| passes its limit.

    A step solves (information + damping * information as if abilities were known): plain Newton where the likelihood
    is concave, a cautious expectation-maximisation step where it is not.

    Args:
        patterns: what was answered.
        base: (2 questions).
        spread: (2 questions, free values).
        start: (free values).
        limit: (free values), infinite where there is none.
    """
    place, damping = _Place(patterns, base, spread, start), 0.0
    loose = np.ones(start.size, dtype=bool)
    for step in range(1, MOST_STEPS + 1):
        loose = ~((np.abs(place.free) >= limit) & (place.free * place.gradient > 0))
        newton = step > _KNOWN_STEPS
        target = (place.observed if newton else place.known) + damping * place.known
        root = _inverse_root(target[np.ix_(loose, loose)])
        if root is None:
            damping = max(10 * damping, 1e-3)
            continue
        move = np.zeros_like(start)
        move[loose] = root @ (root.T @ place.gradient[loose])
        if newton and damping <= 1 and place.gradient @ move < _NEAR:
            return _top(place, loose, step)
        trial = _Place(patterns, base, spread, np.clip(place.free + move, -limit, limit))
        if trial.log_likelihood < place.log_likelihood - 1e-11 * abs(place.log_likelihood):
            damping = max(10 * damping, 1e-3)
            continue
        place, damping = trial, damping / 10 if damping > 1e-3 else 0.0
    unknown = np.full((start.size, start.size), np.nan)
    return Maximum(place.values, unknown, place.log_likelihood, MOST_STEPS, Outcome.RAN_OUT, ~loose)


def _top(place: _Place, loose: NDArray[np.bool_], step: int) -> Maximum:
    """The end of a climb; a top that is flat in some direction is none that the answers settle."""
    covariance = np.full((loose.size, loose.size), np.nan)
    root = _inverse_root(place.observed[np.ix_(loose, loose)])
    if root is not None:
        covariance[np.ix_(loose, loose)] = root @ root.T
    outcome = Outcome.UNSETTLED if root is None else Outcome.CONVERGED
    return Maximum(place.values, covariance, place.log_likelihood, step, outcome, ~loose)


def _inverse_root(matrix: Floats) -> Floats | None:
    """Some R with R R' the inverse, or None where the matrix is not positive definite in working precision."""
    scale = np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    try:
        lower = np.linalg.cholesky(matrix / np.outer(scale, scale))
    except np.linalg.LinAlgError:
        return None
    if np.diag(lower).min(initial=1.0) < 1e-6:
        return None
    return np.linalg.inv(lower).T / scale[:, None]
