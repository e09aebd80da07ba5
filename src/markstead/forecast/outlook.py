"""What the possible years of a learner say: the chance of each target, dates of finish, workbooks done by a day.

A chance is the share of possible years, told with its standard error from the number of paths alone; how far the years
themselves are from life it cannot know. The standard error is that of Agresti and Coull 1998 (The American Statistician 52,
119-126, from memory; two more of either kind), which is not 0 where all paths agree.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from markstead.forecast.year import PossibleYears
from markstead.speech import counted, date_words, say

QUANTILES = (0.05, 0.10, 0.50, 0.90, 0.95)


@dataclass(frozen=True, slots=True)
class Target:
    """A workbook, or a whole course, to be done by a day."""

    course: str
    by: date
    workbook: str | None = None
    """None: the last of the workbooks ahead in the course."""


@dataclass(frozen=True, slots=True)
class Chance:
    """A share of possible years."""

    share: float
    se: float
    """Standard error from the number of paths alone."""
    paths: int

    @property
    def of_ten(self) -> str:
        """The share as it is said, never certain and never impossible."""
        tenths = round(10 * self.share)
        if tenths < 1:
            return say("hardly any of 10")
        return say("nearly all of 10") if tenths > 9 else say("about {n} of 10", n=tenths)


@dataclass(frozen=True, slots=True)
class FinishDates:
    """When a workbook or a course is finished."""

    course: str
    workbook: str
    """Of a course its last one."""
    dates: tuple[date | None, ...]
    """The days by which the shares `QUANTILES` of the years are there; None for later than the known calendar."""
    within: Chance
    """Finished within the known calendar at all."""

    @property
    def early(self) -> date | None:
        """One year of ten is there by then."""
        return self.dates[1]

    @property
    def middle(self) -> date | None:
        """Half of the years are there by then."""
        return self.dates[2]

    @property
    def late(self) -> date | None:
        """Nine of ten years are there by then."""
        return self.dates[3]


@dataclass(frozen=True, slots=True)
class TargetOutlook:
    """How likely a target is."""

    target: Target
    chance: Chance
    finish: FinishDates
    days_known: int
    """School days that the pace of the course rests on."""

    @property
    def sentence(self) -> str:
        """What a parent reads."""
        what = self.target.workbook or self.target.course
        begin = say(
            "In {share} possible years {what} is done by {day}; {half}.",
            share=self.chance.of_ten,
            what=what,
            day=date_words(self.target.by),
            half=_half(self.finish),
        )
        return f"{begin} {_evidence(self.days_known)}"


@dataclass(frozen=True, slots=True)
class DoneBy:
    """How many of the workbooks ahead are done by the end of a day: a row of a fan chart."""

    day: date
    mean: float
    se: float
    done: tuple[int, ...]
    """Quantiles `QUANTILES` over the years."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Everything that is told of a learner's year."""

    targets: tuple[TargetOutlook, ...]
    all_targets: Chance | None
    """All targets in one and the same year; None without targets."""
    workbooks: tuple[FinishDates, ...]
    courses: tuple[FinishDates, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """What a change does to the chance of a target: both asked with the same luck."""

    before: Chance
    after: Chance
    difference: float
    se: float
    """Standard error of the difference, path by path: smaller than with luck of their own."""

    @property
    def sentence(self) -> str:
        """What a parent reads; what the dice alone may have done is not told as a gain."""
        if abs(self.difference) <= 2 * self.se or abs(self.difference) < 0.01:
            return say(
                "It makes hardly any difference: {share} possible years either way.", share=self.after.of_ten
            )
        tenths = round(10 * abs(self.difference))
        count = say("about {n} of 10", n=tenths) if tenths else say("fewer than 1 of 10")
        values = {"count": count, "after": self.after.of_ten, "before": self.before.of_ten}
        if self.difference > 0:
            return say(
                "The target is met in {count} possible years more: {after} instead of {before}.", **values
            )
        return say(
            "The target is met in {count} possible years fewer: {after} instead of {before}.", **values
        )


def outlook(years: PossibleYears, targets: Sequence[Target] = ()) -> Outlook:
    """Tell what the possible years say.

    Raises:
        InputError: the learner has no such course or workbook.
    """
    below = _shares(years)
    finishes = [
        _finish(years, below[row], course.course, row)
        for course in years.year.courses
        for row in years.rows(course.course)
    ]
    known = {course.course: course.pace.days for course in years.year.courses}
    told = []
    for target in targets:
        row = years.row(target.course, target.workbook)
        share = below[row, _place(years, target.by)]
        told.append(TargetOutlook(target, chance_of(share, years.count), finishes[row], known[target.course]))
    return Outlook(
        tuple(told),
        chance_of(float(_met(years, targets).mean()), years.count) if targets else None,
        tuple(finishes),
        tuple(finishes[years.row(course.course)] for course in years.year.courses),
    )


def done_by(years: PossibleYears, days: Sequence[date], course: str | None = None) -> tuple[DoneBy, ...]:
    """Tell how many workbooks are done by the end of each day, in one course or in all.

    Raises:
        InputError: the learner has no such course.
    """
    finished = years.finished if course is None else years.finished[years.rows(course)]
    rows = []
    for day in days:
        counts = np.bincount((finished <= _place(years, day)).sum(axis=0), minlength=len(finished) + 1)
        number, share = np.arange(len(counts)), counts / years.count
        mean = float(number @ share)
        spread = math.sqrt(max(float(number**2 @ share) - mean**2, 0.0))
        done = np.searchsorted(np.cumsum(counts), _ranks(years.count))
        rows.append(DoneBy(day, mean, spread / math.sqrt(years.count), tuple(int(n) for n in done)))
    return tuple(rows)


def compare(before: PossibleYears, after: PossibleYears, targets: Sequence[Target]) -> Change:
    """Tell what a change does to the chance that all the targets are met.

    Raises:
        ValueError: the two were not drawn with the same seed and number of paths, or there is no target.
        InputError: a target that is not in both.
    """
    if before.seed != after.seed or before.count != after.count:
        raise ValueError("only possible years with the same luck and number can be compared")
    if not targets:
        raise ValueError("there is no target to compare")
    one, other = _met(before, targets), _met(after, targets)
    moved = other.astype(float) - one
    n = before.count
    return Change(
        chance_of(float(one.mean()), n),
        chance_of(float(other.mean()), n),
        float(moved.mean()),
        # One more path of either kind, so that it is not 0 where all agree.
        math.sqrt((float(np.square(moved).sum()) + 2) / (n + 2) - (moved.sum() / (n + 2)) ** 2)
        / math.sqrt(n + 2),
    )


def chance_of(share: float, paths: int) -> Chance:
    """A share of paths with its standard error."""
    middle = (share * paths + 2) / (paths + 4)
    return Chance(float(share), math.sqrt(middle * (1 - middle) / (paths + 4)), paths)


def _met(years: PossibleYears, targets: Sequence[Target]) -> NDArray[np.bool_]:
    """[paths]: all targets are met."""
    met = np.ones(years.count, bool)
    for target in targets:
        met &= years.finished[years.row(target.course, target.workbook)] <= _place(years, target.by)
    return met


def _place(years: PossibleYears, day: date) -> int:
    """School days up to the end of a day."""
    return bisect_right(years.year.days, day)


def _ranks(paths: int) -> NDArray[np.int64]:
    """The least number of paths that make up each quantile's share; a hair less, for .05 x 1,000 is above 50 in floats."""
    return np.maximum(np.ceil(np.array(QUANTILES) * paths - 1e-6), 1).astype(np.int64)


def _shares(years: PossibleYears) -> NDArray[np.float64]:
    """[workbooks, days]: share of paths on which a workbook is finished by a day, day 0 first, without `later`."""
    rows, width = len(years.books), years.later + 1
    flat = years.finished + np.arange(rows)[:, None] * width
    counts = np.bincount(flat.ravel(), minlength=rows * width).reshape(rows, width)
    shares: NDArray[np.float64] = np.cumsum(counts[:, :-1], axis=1) / years.count
    return shares


def _finish(years: PossibleYears, below: NDArray[np.float64], course: str, row: int) -> FinishDates:
    places = np.searchsorted(np.rint(below * years.count), _ranks(years.count))
    return FinishDates(
        course,
        years.books[row].code,
        tuple(years.year.days[p - 1] if p < years.later else None for p in places),
        chance_of(float(below[-1]), years.count),
    )


# --- in words ---------------------------------------------------------------------------------------------------


def _half(finish: FinishDates) -> str:
    if finish.middle is None:
        return say("half of them need longer than the calendar that is entered")
    middle = date_words(finish.middle)
    if finish.late is None:
        return say(
            "half of them are there by {day}, and more than 1 of 10 needs longer than the calendar that is entered",
            day=middle,
        )
    return say("half of them are there by {day}, 9 of 10 by {late}", day=middle, late=date_words(finish.late))


def _evidence(days: int) -> str:
    if days == 0:
        return say("No school day of this course is known yet: it is a guess from the usual pace.")
    return counted(
        days, "It rests on {n} school day of this course.", "It rests on {n} school days of this course."
    )
