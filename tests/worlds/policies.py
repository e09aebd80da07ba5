"""Rules for when to sit, and the days that each loses: a hold day costs one, a failed unit test `cost` of them.

Days of failure are the cost times the generator's chance to fail on that morning, not the draw: the mean is the same
and the comparison needs fewer homes.
"""

import numpy as np
from numpy.typing import NDArray

from markstead.measure.readiness import Counts, Readiness
from markstead.measure.sitting import Advice, when_to_sit
from tests.worlds.forecasts import Follower, gate_attempts, in_time
from tests.worlds.generate import ATTEMPTS, PRACTICE_ASKED, PRACTICE_NEEDED, Records

__all__ = ["days_lost", "gate_attempts", "knows_the_truth", "look_ahead", "sit_at_once"]

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


def days_lost(records: Records, attempts: Whole, cost: float) -> Floats:
    """Days lost on every book [learner, subject, workbook] when so many practice tests were taken before sitting."""
    failed = 1 - np.take_along_axis(records.unit_chance, attempts[..., None] - 1, axis=-1)[..., 0]
    return (attempts - 1) + cost * failed


def sit_at_once(records: Records) -> Whole:
    """Sit after the first practice test, whatever it says."""
    return np.ones(records.sections.shape, np.int64)


def knows_the_truth(records: Records, cost: float) -> Whole:
    """Take the number of practice tests that loses least, known beforehand: no rule can do better."""
    days = np.stack([days_lost(records, np.full(records.sections.shape, a), cost) for a in (1, 2, 3)])
    best: Whole = 1 + days.argmin(axis=0)
    return best


def look_ahead(records: Records, cost: float, *, gate: bool) -> Whole:
    """Hold as long as the product advises it, at most three practice tests; with `gate` also while practice is below.

    "More than review is needed" counts as sitting: what a home would teach instead, and what it would win, is unknown.
    """
    attempts = np.ones(records.sections.shape, np.int64)
    for learner in range(records.learners):
        follower = Follower(records, learner)
        for subject, workbook in in_time():
            practice, taken = records.practice[learner, subject, workbook], 1
            follower.begin(subject, workbook)
            while taken < ATTEMPTS and _hold(follower.forecast(), int(practice[taken - 1]), cost, gate=gate):
                follower.review_and_practise(taken)
                taken += 1
            follower.sit(taken - 1)
            attempts[learner, subject, workbook] = taken
    return attempts


def _hold(said: Readiness, practised: int, cost: float, *, gate: bool) -> bool:
    """Whether to hold for a day, by the product's advice or by the gate."""
    said_to = when_to_sit(
        said.mean,
        said.spread,
        said.asked,
        said.needed,
        failed_test_costs=cost,
        practice=Counts(PRACTICE_ASKED, practised),
        practice_needed=PRACTICE_NEEDED,
    )
    return said_to.advice is Advice.HOLD or (gate and said_to.below_gate)
