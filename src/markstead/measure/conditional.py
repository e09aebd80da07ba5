"""Rasch difficulties that assume nothing about how abilities are spread: conditional maximum likelihood.

Given how many questions a learner got right, which ones they were depends on the difficulties alone (Rasch 1960;
Andersen 1972, J. R. Stat. Soc. B 34, 42-54). The difficulties add up to zero.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from markstead.measure.answers import Answers, Floats, Told, answers_of, told_of

MOST_STEPS = 100


class Ending(StrEnum):
    """How the fit ended."""

    CONVERGED = "converged"
    RAN_OUT = "the steps ran out"
    SEPARATED = "whoever got one of some questions right got all of the others right"
    TOO_FEW = "fewer than two questions that some got right and some wrong"


@dataclass(frozen=True, slots=True, eq=False)
class Conditional:
    """Difficulties that add up to zero (arrays over the questions; nan where `told` or `ending` says why).

    `log_likelihood` is that of the answers given each learner's number right.
    """

    difficulty: Floats
    standard_error: Floats
    log_likelihood: float
    steps: int
    ending: Ending
    told: tuple[Told, ...]

    @property
    def converged(self) -> bool:
        """Whether the values are those of the highest likelihood."""
        return self.ending is Ending.CONVERGED


def rasch_conditional(responses: ArrayLike) -> Conditional:
    """Fit difficulties given each learner's number right, by Newton's method.

    Args:
        responses: answers (learners, questions) of 1 and 0; every question was asked of every learner.

    Raises:
        ValueError: something was not asked (-1); see also `answers_of`.
    """
    answers = answers_of(responses)
    if (answers < 0).any():
        raise ValueError("given the number right, every question must have been asked of every learner")
    told = told_of(answers)
    kept = np.array([t is Told.ESTIMATED for t in told])
    answers = answers[:, kept]
    difficulty, error = np.full(kept.size, np.nan), np.full(kept.size, np.nan)
    if answers.shape[1] < 2:
        return Conditional(difficulty, error, 0.0, 0, Ending.TOO_FEW, told)
    if _separated(answers):
        return Conditional(difficulty, error, 0.0, 0, Ending.SEPARATED, told)
    difficulty[kept], error[kept], log_likelihood, steps, ending = _newton(answers)
    return Conditional(difficulty, error, log_likelihood, steps, ending, told)


def ability_of_scores(difficulty: Floats) -> tuple[Floats, Floats]:
    """Give the likeliest ability for 1, 2, ... questions right of n, and its standard error.

    None right and all right have no likeliest ability.

    Args:
        difficulty: (n) Rasch difficulties, all finite, two at least.

    Returns:
        Two arrays over the numbers right 1 to n - 1.

    Raises:
        ValueError: fewer than two difficulties, or one that is not finite.
    """
    if difficulty.size < 2 or not np.isfinite(difficulty).all():
        raise ValueError("wanted are two difficulties at least, all finite")
    score = np.arange(1, difficulty.size)
    # The expected score is between those of n equal questions as easy as the easiest and as hard as the hardest.
    logit = np.log(score / (difficulty.size - score))
    low, high = logit + difficulty.min(), logit + difficulty.max()
    ability = (low + high) / 2
    information = np.ones_like(ability)
    for _ in range(200):
        p = 0.5 * (1 + np.tanh((ability[:, None] - difficulty) / 2))
        excess, information = p.sum(axis=1) - score, (p * (1 - p)).sum(axis=1)
        low, high = np.where(excess < 0, ability, low), np.where(excess >= 0, ability, high)
        newton = ability - excess / information
        after = np.where((low <= newton) & (newton <= high), newton, (low + high) / 2)
        if np.abs(after - ability).max() < 1e-12:
            break
        ability = after
    return ability, 1 / np.sqrt(information)


def _separated(answers: Answers) -> bool:
    """Whether the likelihood has no top (Fischer 1981, Psychometrika 46, 59-77).

    It has one exactly if one can go from every question to every other by steps from a question that a learner got
    right to one that the same learner got wrong.
    """
    from scipy.sparse.csgraph import connected_components

    right = answers.astype(np.float64)
    steps = (right.T @ (1 - right)) > 0
    parts, _ = connected_components(steps, directed=True, connection="strong")
    return bool(parts > 1)


def _newton(answers: Answers) -> tuple[Floats, Floats, float, int, Ending]:
    k = answers.shape[1]
    learners = np.bincount(answers.sum(axis=1), minlength=k + 1).astype(np.float64)
    right = answers.sum(axis=0).astype(np.float64)
    wrong = len(answers) - right
    b = np.log(wrong / right)
    b -= b.mean()
    value, expected, information = _at(b, right, learners)
    ending, step = Ending.RAN_OUT, 0
    while step < MOST_STEPS:
        step += 1
        gradient = expected - right
        # The likelihood does not change when all difficulties move together; the ones fix their sum.
        move = np.linalg.solve(information + 1.0, gradient)
        if gradient @ move < 1e-12:
            ending = Ending.CONVERGED
            break
        while True:
            trial = b + move - move.mean()
            found = _at(trial, right, learners)
            # It is concave, so that a short enough step always climbs; the slack is that of rounding.
            if found[0] >= value - 1e-11 * abs(value):
                break
            move /= 2
        b = trial
        value, expected, information = found
    covariance = np.linalg.inv(information + 1.0) - 1.0 / k**2
    return b, np.sqrt(np.diag(covariance)), value, step, ending


def _at(b: Floats, right: Floats, learners: Floats) -> tuple[float, Floats, Floats]:
    """The conditional log-likelihood, the expected numbers right, and the information, at difficulties b."""
    k = b.size
    easy = np.exp(-b)
    whole, pairs = _symmetric(easy)
    given = np.divide(learners, whole, out=np.zeros(k + 1), where=learners > 0)
    # pairs[i, j, r] sums over r right answers without i and j, so that both right makes r + 2.
    both = np.outer(easy, easy)[:, :, None] * pairs[:, :, : k - 1] @ given[2:]
    alone = easy[:, None] * _without_one(easy, pairs)
    np.fill_diagonal(both, alone @ given[1:])
    chance = np.where(learners[1:] > 0, alone / whole[1:], 0.0)
    information = both - (chance * learners[1:]) @ chance.T
    return float(-right @ b - learners @ np.log(whole)), np.diag(both).copy(), information


def _symmetric(easy: Floats) -> tuple[Floats, Floats]:
    """Elementary symmetric functions: of all questions (k + 1), and without each pair (k, k, k + 1).

    Sums of positive terms only, so that nothing cancels (Gustafsson 1980, Br. J. Math. Stat. Psychol. 33, 205-233).
    """
    k = easy.size
    whole = np.zeros(k + 1)
    whole[0] = 1
    pairs = np.zeros((k, k, k + 1))
    pairs[:, :, 0] = 1
    for i, e in enumerate(easy):
        whole[1:] += e * whole[:-1].copy()
        grown = e * pairs[:, :, :-1]
        grown[i, :] = 0
        grown[:, i] = 0
        pairs[:, :, 1:] += grown
    return whole, pairs


def _without_one(easy: Floats, pairs: Floats) -> Floats:
    """Elementary symmetric functions without each question (k, k); on the diagonal a pair is a single question."""
    k = easy.size
    return pairs[np.arange(k), np.arange(k), :k]
