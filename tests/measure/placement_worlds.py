"""Simulated learners to be placed, and the tables of docs/explanation/placement.md:

    python -m tests.measure.placement_worlds            print the tables
    python -m tests.measure.placement_worlds --write    and write them into the page

Nobody's real answers are in here: the figures are about these worlds. They are not what the product reckons with. A
workbook has eight objectives, each known or not; a question is about one of them, drawn by lot, is easier or harder than
the next, and one in four can be guessed. What a learner knows of a workbook varies around a falling curve; a test has a
good or a bad hour. The truth is taken from the curve alone: the workbooks of which it is at .80 or above.
"""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import log
from pathlib import Path

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from markstead.measure import placement

Floats = NDArray[np.float64]
PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "placement.md"
OBJECTIVES = 8
QUESTIONS = 6
KNOWN = 0.80


@dataclass(frozen=True)
class World:
    """A kind of learner."""

    name: str
    falls_over: float
    """Workbooks from .80 of a workbook known to .50."""
    careless: float = 0.04
    gaps: float = 0.0
    """Share of the workbooks behind the learner that are gaps."""
    unlike: float = 0.5
    """Standard deviation of the logit of what is known of a workbook, around the curve."""
    hour: float = 0.4
    """The same, of one test around its workbook."""


WORLDS = (
    World("steep", 0.6),
    World("middling", 1.5),
    World("flat", 4.0),
    World("with gaps", 0.8, gaps=0.15),
    World("careless", 0.8, careless=0.18),
    World("all at once", 3.0, careless=0.15, gaps=0.12, unlike=0.8, hour=0.6),
)


@dataclass
class Learner:
    """One learner in a course."""

    world: World
    place: int
    known: Floats
    """Each objective of each workbook, known (1) or not: shape (workbooks, OBJECTIVES)."""
    gaps: frozenset[int]
    rng: Generator
    asked: int = 0
    tests: int = 0

    def test(self, workbook: int, questions: int = QUESTIONS) -> int:
        """Right answers in a short test of a workbook, counted from 1."""
        self.asked += questions
        self.tests += 1
        about = self.rng.integers(OBJECTIVES, size=questions)
        knows = self.known[workbook - 1, about]
        harder = self.rng.normal(0, 0.5, questions) + self.rng.normal(0, self.world.hour)
        guess = np.where(self.rng.random(questions) < 0.25, 0.25, 0.02)
        careless = 1 / (1 + np.exp(-(log(self.world.careless / (1 - self.world.careless)) + harder)))
        return int((self.rng.random(questions) < np.where(knows > 0, 1 - careless, guess)).sum())


def learner(world: World, workbooks: int, rng: Generator) -> Learner:
    """Draw a learner whose place is anywhere in the course."""
    edge = rng.uniform(0, workbooks + 1)
    number = np.arange(1, workbooks + 1)
    odds = log(KNOWN / (1 - KNOWN)) * (1 + (edge - number) / world.falls_over)
    place = int(np.floor(min(edge, workbooks)))
    gaps = frozenset(int(j) for j in number[:place] if rng.random() < world.gaps)
    share = 1 / (1 + np.exp(-(odds + rng.normal(0, world.unlike, workbooks))))
    share = np.where([j in gaps for j in number], rng.uniform(0.1, 0.5, workbooks), share)
    known = (rng.random((workbooks, OBJECTIVES)) < share[:, None]).astype(float)
    return Learner(world, place, known, gaps, rng)


@dataclass(frozen=True)
class Placed:
    """What a way of placing came to."""

    place: int
    within: float | None = None
    """What it said of the chance to be at most one workbook off."""
    low: int = 0
    high: int = 0
    gaps: frozenset[int] = frozenset()


Way = Callable[[Learner, int, int | None], Placed]
"""A learner, the number of workbooks, the educator's guess of the workbook to begin with."""


def passes(who: Learner, workbook: int, questions: int) -> bool:
    return who.test(workbook, questions) >= KNOWN * questions - 1e-9


def product(who: Learner, workbooks: int, guess: int | None) -> Placed:
    belief = placement.begin(workbooks, guess)
    while (test := placement.next_test(belief)) is not None:
        belief = placement.answered(
            belief, test.workbook, who.test(test.workbook, test.questions), test.questions
        )
    found = placement.advice(belief)
    gaps = frozenset(gap.workbook for gap in found.gaps)
    return Placed(found.begin - 1, found.within_one, found.low - 1, found.high - 1, gaps)


def bisection(questions: int) -> Way:
    """Believe every test: up after a pass, down after a failure."""

    def way(who: Learner, workbooks: int, guess: int | None) -> Placed:
        low, high, first = 0, workbooks, guess
        while low < high:
            middle = min(max(first, low + 1), high) if first is not None else (low + high + 1) // 2
            first = None
            low, high = (middle, high) if passes(who, middle, questions) else (low, middle - 1)
        return Placed(low)

    return way


def one_by_one(who: Learner, workbooks: int, guess: int | None) -> Placed:
    """From the guess (or the middle) up while it goes well, or down until it does."""
    at = min(max(guess if guess is not None else (workbooks + 1) // 2, 1), workbooks)
    if passes(who, at, QUESTIONS):
        while at < workbooks and passes(who, at + 1, QUESTIONS):
            at += 1
        return Placed(at)
    while at > 1 and not passes(who, at - 1, QUESTIONS):
        at -= 1
    return Placed(at - 1)


def guess_alone(who: Learner, workbooks: int, guess: int | None) -> Placed:
    return Placed((guess if guess is not None else (workbooks + 1) // 2) - 1)


WAYS: dict[str, Way] = {
    "the product": product,
    "plain bisection, 6 questions": bisection(QUESTIONS),
    "plain bisection, 12 questions": bisection(2 * QUESTIONS),
    "one by one": one_by_one,
    "the guess alone": guess_alone,
}


def off_by(rng: Generator, place: int, workbooks: int) -> int:
    """What an educator says: off by an eighth of the course times a Student t with 4 degrees of freedom."""
    wrong = round(rng.standard_t(4) * workbooks / 8)
    return int(min(max(place + 1 + wrong, 1), workbooks + 1))


@dataclass(frozen=True)
class Trial:
    """One learner and what came of placing."""

    who: Learner
    found: Placed

    @property
    def off(self) -> int:
        return self.found.place - self.who.place


def trials(
    world: World, way: Way, workbooks: int = 12, *, guessed: bool = False, learners: int = 400, seed: int = 71
) -> list[Trial]:
    """Place so many learners; the same seed draws the same learners for every way."""
    done = []
    for number in range(learners):
        who = learner(world, workbooks, np.random.default_rng([seed, number]))
        guess = off_by(np.random.default_rng([seed, number, 1]), who.place, workbooks) if guessed else None
        done.append(Trial(who, way(who, workbooks, guess)))
    return done


def within_one(done: list[Trial]) -> float:
    return float(np.mean([abs(t.off) <= 1 for t in done]))


def tests_taken(done: list[Trial]) -> float:
    return float(np.mean([t.who.tests for t in done]))


def questions_asked(done: list[Trial]) -> float:
    return float(np.mean([t.who.asked for t in done]))


def mean_off(done: list[Trial]) -> float:
    return float(np.mean([abs(t.off) for t in done]))


def held(done: list[Trial]) -> float:
    """Share whose place lies in the 90 % range that was said."""
    return float(np.mean([t.found.low <= t.who.place <= t.found.high for t in done]))


def said_within(done: list[Trial]) -> float:
    return float(np.mean([t.found.within for t in done if t.found.within is not None]))


def gaps_told(done: list[Trial]) -> tuple[int, int]:
    """Gaps told, and how many of them were gaps."""
    told = [(workbook, t.who.gaps) for t in done for workbook in t.found.gaps]
    return len(told), sum(workbook in gaps for workbook, gaps in told)


SETTINGS = ((12, False), (12, True), (24, True))


def lines() -> Iterator[str]:
    """The tables."""
    for workbooks, guessed in SETTINGS:
        knows = "with the educator's guess" if guessed else "nothing known before"
        yield f"{workbooks} workbooks, {knows}: share at most one workbook off, (tests taken), mean workbooks off."
        yield ""
        yield "| | " + " | ".join(world.name for world in WORLDS) + " |"
        yield "| --- " * (len(WORLDS) + 1) + "|"
        for name, way in WAYS.items():
            done = [trials(world, way, workbooks, guessed=guessed) for world in WORLDS]
            cells = (f"{within_one(d):.2f} ({tests_taken(d):.1f}) {mean_off(d):.2f}" for d in done)
            yield f"| {name} | " + " | ".join(cells) + " |"
        yield ""
    yield "What the product said of itself, 12 workbooks, with the educator's guess."
    yield ""
    yield "| world | said: at most one off | was | 90 % range held | mean too high | gaps told | of them gaps |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for world in WORLDS:
        done = trials(world, product, guessed=True)
        told, true = gaps_told(done)
        high = float(np.mean([t.off for t in done]))
        yield (
            f"| {world.name} | {said_within(done):.2f} | {within_one(done):.2f} | {held(done):.2f} | {high:+.2f} "
            f"| {told} | {true} |"
        )


if __name__ == "__main__":
    table = "\n".join(lines())
    if "--write" in sys.argv[1:]:
        begin, end = "<!-- placement: begin -->\n", "<!-- placement: end -->\n"
        before, rest = PAGE.read_text(encoding="utf-8").split(begin)
        PAGE.write_text(f"{before}{begin}\n{table}\n\n{end}{rest.split(end)[1]}", encoding="utf-8")
    else:
        sys.stdout.write(table + "\n")
