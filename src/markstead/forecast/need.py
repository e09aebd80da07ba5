"""When the next copies are needed, and how many more for unit tests that are not passed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from markstead.forecast.orders import Failures, Need
from markstead.forecast.outlook import QUANTILES, Chance, chance_of
from markstead.forecast.year import PossibleYears

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NeedDates:
    """When a learner needs a copy of a workbook."""

    learner: str
    workbook: str
    dates: tuple[date | None, ...]
    """The days by which it is needed in the shares `QUANTILES` of the years; None for later than the known calendar."""
    within: Chance
    """Needed within the known calendar at all."""


@dataclass(frozen=True, slots=True)
class ExtraCopies:
    """Copies of a workbook that failed unit tests will take, of all learners together."""

    workbook: str
    expected: float
    se: float
    """Standard error of `expected` from the number of paths alone."""
    any: Chance
    """At least one is needed."""
    enough_90: int
    """So many are enough in nine of ten years."""


def needs(years: PossibleYears, today: date) -> tuple[Need, ...]:
    """Tell for each workbook, the one in hand left out, in how many calendar days its copy is needed: an order plan's input.

    A workbook is begun on the first school day after the one before it was passed; `not_before` has its own copy coming
    and is counted like any other.
    """
    days = _calendar_days(years, today, after=True)
    return tuple(
        Need(years.books[row].code, years.year.learner, days[years.begun_after[row]])
        for row in _to_come(years)
    )


def need_dates(years: PossibleYears) -> tuple[NeedDates, ...]:
    """Tell by which dates each workbook is needed, the one in hand left out."""
    school_days, found = years.year.days, []
    for row in _to_come(years):
        begun = years.begun_after[row]
        places = np.quantile(begun, QUANTILES, method="inverted_cdf")
        found.append(
            NeedDates(
                years.year.learner,
                years.books[row].code,
                tuple(school_days[p] if p < len(school_days) else None for p in places),
                chance_of(float((begun < len(school_days)).mean()), years.count),
            )
        )
    return tuple(found)


def failures(household: Sequence[PossibleYears], today: date) -> tuple[Failures, ...]:
    """Gather the failed unit tests of all learners by workbook, in calendar days from today: an order plan's input.

    Path k of one learner and path k of another make up one possible year of the household.

    Raises:
        ValueError: the learners have not the same number of paths.
    """
    return tuple(Failures(code, days) for code, days in _failed_days(household, today).items())


def extra_copies(household: Sequence[PossibleYears]) -> tuple[ExtraCopies, ...]:
    """Tell how many more copies failed unit tests take within the known calendar, by workbook.

    Raises:
        ValueError: the learners have not the same number of paths.
    """
    found = []
    for code, counts in _failed_counts(household).items():
        n = len(counts)
        found.append(
            ExtraCopies(
                code,
                float(counts.mean()),
                float(counts.std()) / math.sqrt(n),
                chance_of(float((counts > 0).mean()), n),
                int(np.quantile(counts, 0.9, method="inverted_cdf")),
            )
        )
    return tuple(found)


def _to_come(years: PossibleYears) -> list[int]:
    """Rows of the workbooks that are not begun."""
    in_hand = {years.rows(course.course)[0] for course in years.year.courses if course.in_hand}
    return [row for row in range(len(years.books)) if row not in in_hand]


def _calendar_days(years: PossibleYears, today: date, *, after: bool) -> Floats:
    """Calendar days from today to a school day, or to the one after it: [day] for day 0 .. later."""
    days = np.array([(day - today).days for day in years.year.days], float)
    if after:
        return np.concatenate([days, [np.inf, np.inf]])
    return np.concatenate([[0.0], days, [np.inf]])


def _same_paths(household: Sequence[PossibleYears]) -> int:
    counts = {years.count for years in household}
    if len(counts) != 1:
        raise ValueError(
            f"all learners want the same number of paths, at least one learner; got {sorted(counts)}"
        )
    return counts.pop()


def _failed_counts(household: Sequence[PossibleYears]) -> dict[str, NDArray[np.int64]]:
    """[paths] by workbook, those without failures too."""
    paths = _same_paths(household)
    found = {book.code: np.zeros(paths, np.int64) for years in household for book in years.books}
    for years in household:
        for row, book in enumerate(years.books):
            found[book.code] += np.bincount(years.failed_path[years.failed_book == row], minlength=paths)
    return found


def _failed_days(household: Sequence[PossibleYears], today: date) -> dict[str, Floats]:
    """[paths, most failures] by workbook, infinity where there is no more failure; at least one column."""
    paths = _same_paths(household)
    parts: dict[str, list[tuple[NDArray[np.int32], Floats]]] = {}
    for years in household:
        days = _calendar_days(years, today, after=False)
        for row, book in enumerate(years.books):
            here = years.failed_book == row
            parts.setdefault(book.code, []).append((years.failed_path[here], days[years.failed_day[here]]))
    return {code: _rows(part, paths) for code, part in parts.items()}


def _rows(parts: Sequence[tuple[NDArray[np.int32], Floats]], paths: int) -> Floats:
    path = np.concatenate([part[0] for part in parts])
    day = np.concatenate([part[1] for part in parts])
    order = np.lexsort((day, path))
    path, day = path[order], day[order]
    counts = np.bincount(path, minlength=paths)
    # The n-th failure of its path goes to column n.
    column = np.arange(len(path)) - np.repeat(np.cumsum(counts) - counts, counts)
    table = np.full((paths, max(int(counts.max()), 1)), np.inf)
    table[path, column] = day
    return table
