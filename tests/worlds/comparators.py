"""Plain ways to say who passes, fitted on training homes of the base world, to set the product's forecast against.

Each says a chance for every learner and workbook from the first practice test alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.worlds.generate import PRACTICE_ASKED, PRACTICE_NEEDED, UNIT_NEEDED, Records

Floats = NDArray[np.float64]


def outcome(records: Records) -> Floats:
    """Whether the unit test would have been passed the morning after the first practice test: 1 or 0, one dimension."""
    return (records.unit[..., 0] >= UNIT_NEEDED).ravel().astype(float)


@dataclass(frozen=True, slots=True)
class BaseRate:
    """The same chance for everybody."""

    rate: float

    @classmethod
    def fit(cls, training: Records) -> "BaseRate":
        """Take the share that passed."""
        return cls(float(outcome(training).mean()))

    def say(self, records: Records) -> Floats:
        """Say the rate."""
        return np.full(records.practice[..., 0].size, self.rate)


@dataclass(frozen=True, slots=True)
class TwoRates:
    """One chance below the practice test's pass mark, one from it up."""

    below: float
    reached: float

    @classmethod
    def fit(cls, training: Records) -> "TwoRates":
        """Take the share that passed on both sides of the pass mark."""
        passed, reached = outcome(training), _first(training) >= PRACTICE_NEEDED
        return cls(float(passed[~reached].mean()), float(passed[reached].mean()))

    def say(self, records: Records) -> Floats:
        """Say the rate of the side."""
        return np.where(_first(records) >= PRACTICE_NEEDED, self.reached, self.below)


@dataclass(frozen=True, slots=True)
class Logistic:
    """Logistic regression of pass on the practice test's share right."""

    intercept: float
    slope: float

    @classmethod
    def fit(cls, training: Records) -> "Logistic":
        """Find the most likely line by Newton's method."""
        x = np.stack([np.ones(_first(training).size), _first(training) / PRACTICE_ASKED], axis=1)
        passed, beta = outcome(training), np.zeros(2)
        for _ in range(25):
            p = 1 / (1 + np.exp(-x @ beta))
            beta += np.linalg.solve((x * (p * (1 - p))[:, None]).T @ x, x.T @ (passed - p))
        return cls(float(beta[0]), float(beta[1]))

    def say(self, records: Records) -> Floats:
        """Say the chance on the line."""
        return 1 / (1 + np.exp(-self.intercept - self.slope * _first(records) / PRACTICE_ASKED))


def _first(records: Records) -> NDArray[np.int64]:
    """Count of the first practice test, one dimension."""
    return records.practice[..., 0].ravel()
