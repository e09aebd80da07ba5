"""How good forecasts of pass or not were: Brier score, log-loss, calibration, coverage, and paired differences.

Brier 1950, Verification of forecasts expressed in terms of probability; the calibration error is the mean distance of
forecast and outcome over ten bins of equal count (Naeini, Cooper, Hauskrecht 2015, Obtaining well calibrated
probabilities using Bayesian binning, use equal width). Standard errors are of means over homes, as learners of a home
and workbooks of a learner hang together.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
BINS = 10


@dataclass(frozen=True, slots=True)
class Estimate:
    """A mean and its standard error."""

    mean: float
    error: float


def brier(chance: Floats, passed: Floats) -> float:
    """Mean squared distance of forecast and outcome."""
    return float(np.mean((chance - passed) ** 2))


def log_loss(chance: Floats, passed: Floats) -> float:
    """Mean of minus the logarithm of the chance given to what happened, with forecasts clipped to 1e-4."""
    p = np.clip(chance, 1e-4, 1 - 1e-4)
    return float(-np.mean(passed * np.log(p) + (1 - passed) * np.log(1 - p)))


def reliability(chance: Floats, passed: Floats) -> list[tuple[float, float, int]]:
    """Mean forecast, share that passed and count, in ten bins of equal count from the lowest forecast up.

    Equal forecasts stay in one bin, or the order of the learners would make up differences within them.
    """
    edges = np.quantile(chance, np.arange(1, BINS) / BINS)
    bin_of = np.searchsorted(edges, chance, side="left")
    groups = [bin_of == b for b in range(BINS)]
    return [(float(chance[g].mean()), float(passed[g].mean()), int(g.sum())) for g in groups if g.any()]


def calibration_error(chance: Floats, passed: Floats) -> float:
    """Mean distance of forecast and outcome over the bins of `reliability`, by count."""
    return sum(abs(said - was) * n for said, was, n in reliability(chance, passed)) / len(chance)


def covered(low: Floats, high: Floats, value: Floats | NDArray[np.int64]) -> float:
    """Share of values from low to high, ends included."""
    return float(np.mean((low <= value) & (value <= high)))


def mean_by_home(values: Floats, home: NDArray[np.int64]) -> Estimate:
    """Mean of values [n] and its standard error when homes [n] were drawn, not values (ratio estimate)."""
    _, at = np.unique(home, return_inverse=True)
    count = np.bincount(at)
    mean = float(values.mean())
    off = np.bincount(at, weights=values - mean)
    homes = len(count)
    return Estimate(mean, float(np.sqrt(homes / (homes - 1) * (off**2).sum()) / len(values)))
