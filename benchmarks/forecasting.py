"""What a forecast of the year costs beside drawing its random numbers alone: ``python -m benchmarks.forecasting``.

One learner, 6 subjects, 14 workbooks each, 200 school days. Both draw the same number of uniform and normal numbers
with the same kind of generator in the same run, by turns; the other side does nothing with them.
"""

import gc
import sys
import tracemalloc
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from time import perf_counter

import numpy as np

from markstead.forecast.outlook import Target, outlook
from markstead.forecast.year import (
    CHUNK,
    IN_REPORTS,
    ON_SCREEN,
    CourseAhead,
    LearnerYear,
    WorkbookAhead,
    draw_years,
)
from markstead.measure.pace import Pace

SUBJECTS, WORKBOOKS, DAYS = 6, 14, 200
ROUNDS = 9
BARS = {ON_SCREEN: 30.0, IN_REPORTS: 300.0}
"""Milliseconds: at most, on an idle core."""
BAR_MEMORY = 50.0
"""Megabytes: at most, for the longer one."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table; milliseconds and megabytes."""

    name: str
    paths: int
    figure: float
    bare: float
    memory: float

    @property
    def ratio(self) -> float:
        """The forecast over its random numbers."""
        return self.figure / self.bare


def learner_year(*, planned: bool = False) -> LearnerYear:
    """The year that is drawn."""
    first = date(2026, 9, 1)
    days = tuple(first + timedelta(days=7 * (n // 5) + n % 5 - 1) for n in range(DAYS))
    pace = Pace(0.9, 0.12, 14.0, 0.08, 3.6, 3.0, 4.2, 40)
    plan = (4.0, 3.0, 5.0, 4.0, 4.0) * (DAYS // 5) if planned else None
    return LearnerYear(
        "learner",
        days,
        tuple(
            CourseAhead(
                f"s{s}",
                pace,
                4.0,
                tuple(WorkbookAhead(f"s{s}-{n}", 36, 0.85, 0.75) for n in range(WORKBOOKS)),
                in_hand=True,
                planned=plan,
                due=tuple(13 * (n + 1) for n in range(WORKBOOKS)) if planned else (),
            )
            for s in range(SUBJECTS)
        ),
    )


def bare(paths: int) -> None:
    """Draw as many numbers and do nothing with them."""
    for first in range(0, paths, CHUNK):
        count = min(CHUNK, paths - first)
        dice = np.random.Generator(np.random.SFC64(first))
        dice.random((DAYS, count), np.float32)
        for _ in range(SUBJECTS):
            dice.standard_normal(count, np.float32)
            dice.standard_normal((WORKBOOKS, 2, count), np.float32)
            dice.random((WORKBOOKS, 2, count), np.float32)


def drawn(year: LearnerYear, paths: int) -> None:
    """Draw the years and tell one target of each subject."""
    years = draw_years(year, np.random.default_rng(1), paths)
    outlook(years, [Target(course.course, year.days[-1]) for course in year.courses])


def megabytes(year: LearnerYear, paths: int) -> float:
    """The most that the forecast held at one time."""
    gc.collect()
    tracemalloc.start()
    drawn(year, paths)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most / 1e6


def measure(name: str, year: LearnerYear, paths: int) -> Row:
    """Take the forecast and the bare numbers by turns; medians."""
    drawn(year, CHUNK)  # what the first call loads is not timed
    ours, theirs = [], []
    for _ in range(ROUNDS):
        begun = perf_counter()
        drawn(year, paths)
        middle = perf_counter()
        bare(paths)
        ours.append(middle - begun)
        theirs.append(perf_counter() - middle)
    return Row(name, paths, 1000 * median(ours), 1000 * median(theirs), megabytes(year, paths))


def rows() -> list[Row]:
    """Everything that is measured."""
    usual, planned = learner_year(), learner_year(planned=True)
    return [
        measure("on screen", usual, ON_SCREEN),
        measure("in reports", usual, IN_REPORTS),
        measure("in reports, with a plan of each day", planned, IN_REPORTS),
    ]


def lines() -> list[str]:
    """The lines of the table."""
    head = "| forecast | paths | ms | random numbers alone, ms | ratio | at most, ms | memory, MB | at most, MB |"
    told = [
        f"| {r.name} | {r.paths:,} | {r.figure:.0f} | {r.bare:.1f} | {r.ratio:.1f} | {BARS[r.paths]:g} "
        f"| {r.memory:.0f} | {BAR_MEMORY:g} |"
        for r in rows()
    ]
    return [head, "| --- | --- | --- | --- | --- | --- | --- | --- |", *told]


if __name__ == "__main__":
    sys.stdout.write("\n".join(lines()) + "\n")
