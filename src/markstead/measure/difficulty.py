"""How hard the unit test of each workbook is, learnt from all learners who sat it.

What a workbook's sections, checks and practice tests ask is seen by the filter in their marks: that a workbook is hard as
a whole need not be learnt from others. How much harder its unit test is than those marks make it look can only be learnt
from other learners, siblings or other homes, and it is the one thing worth sharing between homes.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from markstead.measure.passing import logistic
from markstead.measure.readiness import (
    DEFAULTS,
    BookEvidence,
    Counts,
    Kind,
    Settings,
    before_unit,
    observe,
    start,
)

PASSES = 3
"""Times that all learners are gone through: with the difficulties of one pass, their forecasts in the next are better."""


@dataclass(frozen=True, slots=True)
class WorkbookDifficulty:
    """How much harder the unit test of a workbook is than its other marks make it look, in logits."""

    workbook: str
    learners: int
    """Learners whose first unit test in it was counted."""
    logits: float
    """The estimate; positive is harder. This is what `harder` takes in `readiness`."""
    low: float
    high: float
    """90 % range."""


def shared_difficulties(
    learners: Sequence[Sequence[BookEvidence]], subjects: Sequence[str], settings: Settings = DEFAULTS
) -> Mapping[str, WorkbookDifficulty]:
    """Estimate the difficulty of every workbook of which a unit test was sat, by workbook.

    The logit of each unit test, ln((right + 1/2) / (wrong + 1/2)), is held against the filter's forecast on its eve.
    The differences of a workbook are averaged, each weighed by its variance, and shrunk towards 0 as draws from
    N(0, difficulty_sd^2): the normal means of empirical Bayes (Efron and Morris 1975, Data analysis using Stein's
    estimator and its generalizations, J. Am. Stat. Assoc. 70, 311-319; from memory). A copy worked again counts for its
    learner's state and not for the difficulty; nor does a book without the name of its workbook.

    Args:
        learners: the books of each learner, in time order.
        subjects: all subjects of these books.
        settings: of the filter.

    Raises:
        ValueError: a book is of another subject.
    """
    found: dict[str, WorkbookDifficulty] = {}
    for _ in range(PASSES):
        known = {name: difficulty.logits for name, difficulty in found.items()}
        differences: dict[str, list[tuple[float, float]]] = {}
        for books in learners:
            for workbook, difference, variance in _differences(books, subjects, settings, known):
                differences.setdefault(workbook, []).append((difference, variance))
        found = {name: _shrunk(name, seen, settings) for name, seen in sorted(differences.items())}
    return found


def _differences(
    books: Sequence[BookEvidence], subjects: Sequence[str], settings: Settings, known: Mapping[str, float]
) -> Iterator[tuple[str, float, float]]:
    """Workbook, forecast less result, and its variance, for each first unit test of one learner."""
    state = start(subjects, settings)
    for book in books:
        state = before_unit(state, book, settings)
        if book.unit is None or not book.unit.asked:
            continue
        harder = known.get(book.workbook, 0.0)
        if book.workbook and not book.again:
            mean, spread = state.ability(book.subject)
            variance = spread**2 + settings.unit.noise**2 + _of_logit(book.unit.asked, mean - harder)
            yield book.workbook, mean - _logit(book.unit), variance
        state = observe(state, book.subject, Kind.UNIT, book.unit, settings, harder)


def _logit(counts: Counts) -> float:
    return math.log((counts.right + 0.5) / (counts.asked - counts.right + 0.5))


def _of_logit(asked: int, ability: float) -> float:
    """Variance that the drawing of answers puts into the logit of a score."""
    p = logistic(ability)
    return 1 / (asked * p * (1 - p))


def _shrunk(workbook: str, seen: Sequence[tuple[float, float]], settings: Settings) -> WorkbookDifficulty:
    precision = 1 / settings.difficulty_sd**2 + sum(1 / variance for _, variance in seen)
    mean = sum(difference / variance for difference, variance in seen) / precision
    reach = 1.645 / math.sqrt(precision)
    return WorkbookDifficulty(workbook, len(seen), mean, mean - reach, mean + reach)
