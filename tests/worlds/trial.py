"""The trials: which homes live in which world, and what was said about them. Each is run once and kept.

The rules of comparison: baselines are fitted on training homes of the base world only, and then used everywhere; test
homes, training homes and the homes that share difficulties are all different, with the same workbooks.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from markstead.measure.difficulty import shared_difficulties
from markstead.measure.readiness import DEFAULTS
from tests.worlds import policies
from tests.worlds.comparators import BaseRate, Logistic, TwoRates, outcome
from tests.worlds.forecasts import Forecasts, evidence, forecast
from tests.worlds.generate import SUBJECTS, WORKBOOKS, Records, books, live
from tests.worlds.judge import Estimate, brier, mean_by_home
from tests.worlds.world import BASE, World

Floats = NDArray[np.float64]

SHELF, TRAINING_SEED, TEST_SEED, SHARING_SEED = 1, 100, 200, 300
TRAINING_HOMES, TEST_HOMES = 150, 70
COSTS = (3, 5, 8, 12)
"""Days that a failed test costs, a hold day costing one."""

BASE_RATE, TWO_RATES, LOGISTIC = (
    "always the base rate",
    "practice 80 % or not: two rates",
    "logistic on practice",
)
APART, PRODUCT, TRUTH = "one filter for each subject", "readiness", "knows the truth"
NO_LEADS = "readiness without I_o and I_p"

_D = DEFAULTS
WITHOUT_LEADS = replace(
    _D,
    sections=replace(_D.sections, open_book=0.0),
    checks=replace(_D.checks, open_book=0.0),
    practice=replace(_D.practice, own_test=0.0),
)
"""The product's assumptions, except that open books and self-marked practice help every learner alike."""


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """One world's test homes and every predictor's chance; one entry a learner and workbook."""

    records: Records
    home: NDArray[np.int64]
    passed: Floats
    said: dict[str, Floats]
    product: Forecasts

    def worse(self, other: str) -> Estimate:
        """By how much the Brier score of another predictor is above that of readiness, standard error by homes."""
        return mean_by_home(
            (self.said[other] - self.passed) ** 2 - (self.said[PRODUCT] - self.passed) ** 2, self.home
        )


@cache
def tried_homes(world: World, shelf: int = SHELF, homes: int = TEST_HOMES) -> Records:
    """Let the test homes of a world live."""
    return live(world, books(world, shelf), homes, TEST_SEED)


@cache
def baselines() -> tuple[BaseRate, TwoRates, Logistic]:
    """Fit the plain predictors on training homes of the base world."""
    training = live(BASE, books(BASE, SHELF), TRAINING_HOMES, TRAINING_SEED)
    return BaseRate.fit(training), TwoRates.fit(training), Logistic.fit(training)


@cache
def trial(world: World) -> Trial:
    """Forecast the test homes of a world."""
    records = tried_homes(world)
    base, two, logistic = baselines()
    product = forecast(records)
    return Trial(
        records=records,
        home=per_book(records),
        passed=outcome(records),
        said={
            BASE_RATE: base.say(records),
            TWO_RATES: two.say(records),
            LOGISTIC: logistic.say(records),
            APART: forecast(records, pooled=False).chance,
            NO_LEADS: forecast(records, settings=WITHOUT_LEADS).chance,
            PRODUCT: product.chance,
            TRUTH: records.unit_chance[..., 0].ravel(),
        },
        product=product,
    )


def per_book(records: Records) -> NDArray[np.int64]:
    """Home of every learner and workbook, one dimension."""
    return np.repeat(records.home, len(SUBJECTS) * WORKBOOKS)


@dataclass(frozen=True, slots=True, eq=False)
class Days:
    """Days lost a workbook under one rule, its difference to the plain gate, and the share of failed tests."""

    mean: float
    against_gate: Estimate
    failed: float

    @property
    def change(self) -> float:
        """Difference to the plain gate as a share of the gate's days."""
        return self.against_gate.mean / (self.mean - self.against_gate.mean)


@cache
def days(world: World, cost: float, rule: str) -> Days:
    """Try a rule for when to sit on the test homes of a world."""
    records = tried_homes(world)
    attempts = _attempts(records, cost, rule)
    lost = policies.days_lost(records, attempts, cost)
    gate = policies.days_lost(records, policies.gate_attempts(records), cost)
    failed = policies.days_lost(records, attempts, 1) - (attempts - 1)
    return Days(
        float(lost.mean()), mean_by_home((lost - gate).ravel(), per_book(records)), float(failed.mean())
    )


def _attempts(records: Records, cost: float, rule: str) -> NDArray[np.int64]:
    """Practice tests taken before sitting, under a rule by its name."""
    match rule:
        case "gate":
            return policies.gate_attempts(records)
        case "sit at once":
            return policies.sit_at_once(records)
        case "look ahead":
            return policies.look_ahead(records, cost, gate=False)
        case "gate and look ahead":
            return policies.look_ahead(records, cost, gate=True)
        case "knows the truth":
            return policies.knows_the_truth(records, cost)
    raise ValueError(f"no rule {rule!r}")


@dataclass(frozen=True, slots=True, eq=False)
class Sharing:
    """Brier score without and with difficulties that other homes shared, and the gain with its standard error."""

    without: float
    shared: float
    gain: Estimate


@cache
def sharing(form_sd: float, homes: int, shelf: int = SHELF) -> Sharing:
    """Learn the difficulty of the workbooks from some homes, forecast others with it.

    `form_sd` is how far the forms of tests differ in difficulty beyond what their questions bring, in logits.
    """
    world = replace(BASE, form_sd=form_sd)
    records = tried_homes(world, shelf)
    others = live(world, books(world, shelf), homes, SHARING_SEED)
    learnt = shared_difficulties([evidence(others, learner) for learner in range(others.learners)], SUBJECTS)
    passed = outcome(records)
    plain = forecast(records).chance
    informed = forecast(records, harder={name: found.logits for name, found in learnt.items()}).chance
    gain = mean_by_home((plain - passed) ** 2 - (informed - passed) ** 2, per_book(records))
    return Sharing(brier(plain, passed), brier(informed, passed), gain)
