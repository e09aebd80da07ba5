"""The chance to pass a test, and the answers that may be right, for a learner of whom ability is known only roughly.

Ability is on the logit scale: it gives each answer the chance 1 / (1 + exp(-ability)) to be right.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from markstead.speech import counted, say

Floats = NDArray[np.float64]


def logistic(x: float) -> float:
    """The chance 1 / (1 + exp(-x)) of a right answer."""
    return 1 / (1 + math.exp(-x)) if x >= 0 else math.exp(x) / (1 + math.exp(x))


def edge_of(asked: int, needed: int, total: float) -> tuple[float, float] | None:
    """Ability at which half pass, and the scale on which the chance to pass rises there (both logits).

    None where nothing is needed, or more than can be had: then ability does not matter.

    Raises:
        ValueError: no question is asked.
    """
    if asked < 1:
        raise ValueError(f"a unit test asks at least one question, got {asked}")
    if not 0 < needed <= asked:
        return None
    c = (needed - 0.5) / asked
    return math.log(c / (1 - c)), math.sqrt(total**2 + 1 / (asked * c * (1 - c)))


def normal_below(z: float) -> float:
    """The standard normal distribution function."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def pass_chance(ability: float, asked: int, needed: int) -> float:
    """Probability of at least `needed` right of `asked` for an ability (logits) that is known: a binomial tail."""
    if needed <= 0:
        return 1.0
    tail = _binomial(np.array([ability]), asked)[0, needed:].sum()
    return min(float(tail), 1.0)


def score_range(mean: float, total: float, asked: int, inside: float = 0.90) -> tuple[int, int]:
    """Quantiles of the answers right for ability N(mean, total^2): the middle `inside` of the distribution.

    The mixture of binomials is summed at the 15 points of Gauss-Hermite quadrature.
    """
    points, weights = _hermite()
    below = np.cumsum(weights @ _binomial(mean + total * points, asked))
    side = (1 - inside) / 2
    low, high = np.searchsorted(below, [side, 1 - side])
    return int(low), min(int(high), asked)


@lru_cache(maxsize=1)
def _hermite() -> tuple[Floats, Floats]:
    """Points and weights for the mean over a standard normal distribution."""
    points, weights = np.polynomial.hermite_e.hermegauss(15)
    return points, weights / weights.sum()


@lru_cache(maxsize=256)
def _log_choose(asked: int) -> Floats:
    """ln of the binomial coefficients of 0..asked right."""
    log_factorials = np.array([math.lgamma(k + 1.0) for k in range(asked + 1)])
    table: Floats = log_factorials[-1] - log_factorials - log_factorials[::-1]
    return table


def _binomial(ability: Floats, asked: int) -> Floats:
    """Probabilities of 0..asked right for each ability (logits): [abilities, asked + 1]."""
    right = np.arange(asked + 1)
    log_p, log_q = -np.logaddexp(0, -ability)[:, None], -np.logaddexp(0, ability)[:, None]
    table: Floats = np.exp(_log_choose(asked) + right * log_p + right[::-1] * log_q)
    return table


# --- in words ---------------------------------------------------------------------------------------------------


def shown_percent(chance: float) -> int:
    """Round a probability to percent, from 2 to 98."""
    return min(max(round(100 * chance), 2), 98)


def of_children(chance: float, children: int) -> str:
    """Say how many of some children pass, without ever saying none or all: 'about 6 pass'."""
    passing = round(children * chance)
    if passing < 1:
        return say("hardly one passes")
    if passing >= children:
        return say("nearly all pass")
    return counted(passing, "about {n} passes", "about {n} pass")


def how_many(chance: float, children: int) -> str:
    """The same without its verb: 'about 6'."""
    passing = round(children * chance)
    if passing < 1:
        return say("hardly one")
    return say("nearly all") if passing >= children else say("about {n}", n=passing)
