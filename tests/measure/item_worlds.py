"""Simulated answers for item analysis: `python -m tests.measure.item_worlds` prints the figures of items.md.

Questions are drawn with slopes exp N(0, .3), difficulties N(centre, 1) and, for one in four, a chance of .25 to guess
right; abilities are N(0, 1). Nobody's real answers are in here: the figures are about these worlds.
"""

import sys
from collections.abc import Iterator
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from markstead.measure import irt, items

Table = NDArray[np.int8]


class World(Enum):
    """Where the difficulties are centred, and the share right that comes of it."""

    MASTERY = -1.3
    MIDDLING = 0.0
    HARD = 1.0


class Slip(Enum):
    """What is wrong with the key of question 1."""

    NONE = "nothing"
    TURNED = "right and wrong are turned round"
    OTHER_CHOICE = "it names another of four choices"


def draw(
    rng: np.random.Generator, learners: int, questions: int, world: World, slip: Slip = Slip.NONE
) -> Table:
    """One test's answers, question 1 marked by a wrong key where `slip` says so."""
    slope = np.exp(rng.normal(0, 0.3, questions))
    difficulty = rng.normal(world.value, 1, questions)
    guess = np.where(rng.random(questions) < 0.25, 0.25, 0.0)
    chance = guess + (1 - guess) / (1 + np.exp(-slope * (rng.normal(size=(learners, 1)) - difficulty)))
    table = (rng.random(chance.shape) < chance).astype(np.int8)
    if slip is Slip.TURNED:
        table[:, 0] = 1 - table[:, 0]
    if slip is Slip.OTHER_CHOICE:
        table[:, 0] = (table[:, 0] == 0) & (rng.random(learners) < 1 / 3)
    return table


def prompts_on_sound_questions(
    rng: np.random.Generator, learners: int, questions: int, world: World, tests: int
) -> tuple[int, int]:
    """How many sound questions looked mis-keyed, of how many."""
    found = [
        item.mis_keyed
        for _ in range(tests)
        for item in items.read_items(draw(rng, learners, questions, world)).items
    ]
    return sum(found), len(found)


def power(
    rng: np.random.Generator, learners: int, questions: int, world: World, slip: Slip, tests: int
) -> float:
    """The share of wrong keys that were noticed."""
    tables = (draw(rng, learners, questions, world, slip) for _ in range(tests))
    return sum(items.read_items(table).items[0].mis_keyed for table in tables) / tests


def two_pl_draws(
    rng: np.random.Generator, learners: int, fits: int, gaps: float = 0.0
) -> Iterator[tuple[irt.TwoPL, NDArray[np.float64], NDArray[np.float64]]]:
    """Fits of eight questions with their true slopes and intercepts; a share of answers may be missing."""
    slope = np.array([0.7, 0.9, 1.0, 1.1, 1.2, 1.4, 1.6, 0.8])
    intercept = np.array([1.5, 0.5, 1.0, 0.0, 1.2, -0.5, 0.8, 2.0])
    for _ in range(fits):
        chance = 1 / (1 + np.exp(-(slope * rng.normal(size=(learners, 1)) + intercept)))
        table = (rng.random(chance.shape) < chance).astype(np.int8)
        table[rng.random(chance.shape) < gaps] = -1
        yield irt.two_pl(table), slope, intercept


def reliability_coverage(rng: np.random.Generator, learners: int, tests: int) -> float:
    """How often the interval of KR-20 holds the reliability of the population, 20 questions of the mastery world."""
    slope, difficulty = np.exp(rng.normal(0, 0.3, 20)), rng.normal(World.MASTERY.value, 1, 20)

    def some(n: int) -> Table:
        chance = 1 / (1 + np.exp(-slope * (rng.normal(size=(n, 1)) - difficulty)))
        return (rng.random(chance.shape) < chance).astype(np.int8)

    truth = items.read_items(some(400_000)).kr20
    assert truth is not None
    held = 0
    for _ in range(tests):
        reading = items.read_items(some(learners))
        assert reading.kr20_low is not None
        assert reading.kr20_high is not None
        held += reading.kr20_low <= truth <= reading.kr20_high
    return held / tests


def two_pl_coverage(rng: np.random.Generator, learners: int, fits: int, gaps: float) -> float:
    """How often the 95 % intervals of slopes and intercepts hold the truth."""
    errors = [
        np.concatenate([(fit.slope - a) / fit.slope_error, (fit.intercept - d) / fit.intercept_error])
        for fit, a, d in two_pl_draws(rng, learners, fits, gaps)
    ]
    return float(np.mean(np.abs(errors) < 1.96))


def lines() -> Iterator[str]:
    """The tables."""
    rng = np.random.default_rng(3)
    yield "| world | questions | learners | sound ones prompted | turned key noticed | other choice noticed |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for world in World:
        for questions in (10, 40):
            for learners in (30, 60, 100, 300):
                wrong, of = prompts_on_sound_questions(rng, learners, questions, world, 8000 // questions)
                turned = power(rng, learners, questions, world, Slip.TURNED, 400)
                other = power(rng, learners, questions, world, Slip.OTHER_CHOICE, 400)
                row = (
                    f"| {world.name.lower()} | {questions} | {learners} | {100 * wrong / of:.2f} % of {of:,}"
                )
                yield f"{row} | {turned:.2f} | {other:.2f} |"
    yield ""
    for learners in (20, 50, 200):
        held = reliability_coverage(rng, learners, 2000)
        yield f"Reliability, {learners} learners: {held:.3f} of the 95 % intervals hold it."
    for gaps in (0.0, 0.2):
        held = two_pl_coverage(rng, 500, 400, gaps)
        yield f"Two parameters, 500 learners, {gaps:.0%} not asked: {held:.3f} of the 95 % intervals hold the truth."


if __name__ == "__main__":
    sys.stdout.write("\n".join(lines()) + "\n")
