"""The rest of a learner's school year, drawn many times over: when each workbook is begun, sat and finished.

One path is one possible year. It goes from event to event and not from day to day: the school days that a workbook's pages
take are drawn at once, from a log-normal with the mean and the variance of the renewal process of the daily pages. For R
whole pages at m a day with coefficient of variation c the mean is (R - 1/2) / m + (1 + c^2) / 2 and the variance c^2 R / m
(Feller 1968 and 1971, An Introduction to Probability Theory, vol. I, ch. XIII, and vol. II, ch. XI, from memory: by
Wald's identity the mean is R / m and the mean overshoot / m, which for whole pages is (E X^2 / m - 1) / 2). Days that are worked are then turned into days of the
calendar by each path's own days of illness, which strike all courses of the learner together. How many tests are not passed
before one is passed is geometric. So the length of the year does not enter the work, only the number of workbooks.

Every course has dice of its own, made from one seed, and uses them workbook by workbook. The same seed therefore gives
the same luck: what is asked with other pages, another pace or more illness differs by what was changed, not by the dice
(common random numbers: Law, Simulation Modeling and Analysis, 5th ed. 2015, section 11.2, from memory).

It is advice. Whoever reads it should know what is left out: half days count as whole ones, illness does not come in runs,
a failed test says nothing about the next one, and no more than the marks and days written down is known.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from hashlib import blake2s
from typing import Any

import numpy as np
from numpy.typing import NDArray

from markstead.errors import InputError, Problem
from markstead.measure.pace import Pace
from markstead.speech import say

Whole = NDArray[np.int16]
Places = NDArray[np.int64]
Reals = NDArray[np.float32]

ON_SCREEN = 1_000
IN_REPORTS = 10_000
"""How many paths to draw: a chance of one half is then off by .016 or .005 (one standard error) by the dice alone."""
CHUNK = 1_000
"""Paths drawn at a time: their tables stay in a core's own memory."""
MOST_DAYS = 5_000


@dataclass(frozen=True, slots=True)
class YearSettings:
    """What is taken for granted of every course."""

    days_between: int = 1
    """School days from the practice test that was passed to the unit test."""
    review_days: int = 1
    """Days of review after a practice test that was not passed; the next one is the day after."""
    redo_days: int = 10
    """Days of work in the new copy after a unit test that was not passed, its practice test among them."""
    workbook_spread: float = 0.05
    """Standard deviation of how much harder one workbook is than another, as a share of its days."""
    drift: float = 0.03
    """Standard deviation by which ln(pace) wanders in one school day: what is known of it today grows old. Without it the
    ranges of far workbooks hold too rarely in simulated years that drift."""

    def __post_init__(self) -> None:
        if self.days_between < 1:
            raise ValueError(f"{self.days_between} school days to the unit test; it is never on the same day")
        if min(self.review_days, self.redo_days) < 0:
            raise ValueError(f"days of review and of work in a new copy are 0 or more, got {self}")
        if not (0 <= self.workbook_spread < 1 and 0 <= self.drift < 1):
            raise ValueError(f"spread and drift are shares from 0 up, below 1, got {self}")


DEFAULTS = YearSettings()


@dataclass(frozen=True, slots=True)
class WorkbookAhead:
    """A workbook that is not finished yet."""

    code: str
    pages: int
    """Pages still to be done."""
    chance: float
    """Of passing the unit test at one sitting."""
    practice_chance: float
    """Of passing the practice test at one sitting."""
    lead_days: int = 8
    """Calendar days from a failed unit test until another copy is in the house; 0 where one is there already."""
    not_before: date | None = None
    """The first day on which it can be begun: its copy is on order."""

    def __post_init__(self) -> None:
        if self.pages < 0 or self.lead_days < 0:
            raise ValueError(
                f"{self.code}: {self.pages} pages, {self.lead_days} days; neither can be negative"
            )
        for chance in (self.chance, self.practice_chance):
            if not 0 <= chance <= 1:
                raise ValueError(f"{self.code}: a chance of {chance}; wanted is a number from 0 to 1")


@dataclass(frozen=True, slots=True)
class CourseAhead:
    """What is ahead of a learner in one course."""

    course: str
    pace: Pace
    goal: float
    """Pages planned for a usual school day."""
    workbooks: tuple[WorkbookAhead, ...]
    """In their order, at least one."""
    in_hand: bool = False
    """The first one is begun already, in a copy of its own."""
    practice_passed: bool = False
    """Of the first one all pages are done and the practice test is passed: only the unit test is left."""
    planned: tuple[float, ...] | None = None
    """Pages that a plan has for each of the learner's school days, the first first; after its end the goal goes on.
    None: the goal on every school day."""
    due: tuple[int | None, ...] = ()
    """By which of the learner's school days (1 is the first) a plan has each workbook passed; None: it does not say. Who
    begins the next one later is behind the plan, and does at least the goal on every day until it is caught up."""

    def __post_init__(self) -> None:
        codes = [book.code for book in self.workbooks]
        if not codes or len(set(codes)) < len(codes):
            raise ValueError(f"{self.course}: each workbook once, and at least one; got {codes}")
        if not (self.goal > 0 and math.isfinite(self.goal)):
            raise ValueError(f"{self.course}: a goal of {self.goal} pages; wanted is a number above 0")
        if self.practice_passed and (self.workbooks[0].pages or not self.in_hand):
            raise ValueError(
                f"{self.course}: the practice test is passed, yet pages are left or no copy is in hand"
            )
        if self.planned is not None and not all(p >= 0 and math.isfinite(p) for p in self.planned):
            raise ValueError(f"{self.course}: planned pages are numbers from 0 up")
        if len(self.due) > len(codes):
            raise ValueError(f"{self.course}: {len(self.due)} days for {len(codes)} workbooks")


@dataclass(frozen=True, slots=True)
class LearnerYear:
    """What is ahead of one learner."""

    learner: str
    days: tuple[date, ...]
    """The learner's school days to come, in order, as far as the calendar is known (beyond the last target, if it is: what
    ends after them is only said to end later)."""
    courses: tuple[CourseAhead, ...]
    illness: float = 0.03
    """Share of school days on which the learner is ill and does nothing. Days that were written down as absent belong
    here; days without work that were not are in the pace already."""

    def __post_init__(self) -> None:
        if not 0 <= self.illness < 1:
            raise ValueError(f"an illness share of {self.illness}; wanted is a number from 0 up, below 1")
        if any(a >= b for a, b in zip(self.days, self.days[1:], strict=False)):
            raise ValueError("school days are to be in order, each once")
        if len(self.days) > MOST_DAYS:
            raise ValueError(f"{len(self.days)} school days; at most {MOST_DAYS} are looked at")
        names = [course.course for course in self.courses]
        if not names or len(set(names)) < len(names):
            raise ValueError(f"each course once, and at least one; got {names}")
        codes = [book.code for course in self.courses for book in course.workbooks]
        if len(set(codes)) < len(codes):
            raise ValueError("a workbook comes in two courses")
        if not self.days:
            raise InputError(
                [
                    Problem(
                        say("calendar"),
                        say("no school day to come"),
                        say("at least one"),
                        say("Enter the next term first."),
                    )
                ]
            )


@dataclass(frozen=True, slots=True, eq=False)
class PossibleYears:
    """Many possible years of one learner. Days are counted: 1 is the first of `year.days`, 0 the time before it, and
    `later` (one more than there are days) whatever lies beyond the calendar that is known. Arrays are read-only."""

    year: LearnerYear
    seed: int
    """Two answers with the same seed had the same luck, path by path."""
    begun_after: Whole
    """[workbooks, paths]: the workbook is begun on the school day after this one; 0 also for one in hand."""
    finished: Whole
    """[workbooks, paths]: the day on which its unit test is passed."""
    failed_book: Whole
    failed_path: NDArray[np.int32]
    failed_day: Whole
    """[failures]: each unit test that is not passed within the known calendar: which workbook, path and day."""
    books: tuple[WorkbookAhead, ...] = field(default=())
    """The workbooks in the order of the rows: course by course."""

    @property
    def count(self) -> int:
        """How many paths there are."""
        return int(self.finished.shape[1])

    @property
    def later(self) -> int:
        """The day that stands for all that lie beyond the known calendar."""
        return len(self.year.days) + 1

    def rows(self, course: str) -> range:
        """The rows of a course.

        Raises:
            InputError: the learner has no such course.
        """
        first = 0
        for ahead in self.year.courses:
            if ahead.course == course:
                return range(first, first + len(ahead.workbooks))
            first += len(ahead.workbooks)
        known = ", ".join(ahead.course for ahead in self.year.courses)
        raise InputError(
            [
                Problem(
                    say("courses of {learner}", learner=self.year.learner),
                    repr(course),
                    say("one of {courses}", courses=known),
                )
            ]
        )

    def row(self, course: str, workbook: str | None = None) -> int:
        """The row of a workbook, or of the last one of a course.

        Raises:
            InputError: the learner has no such course, or it has no such workbook.
        """
        rows = self.rows(course)
        if workbook is None:
            return rows[-1]
        for row in rows:
            if self.books[row].code == workbook:
                return row
        known = ", ".join(self.books[row].code for row in rows)
        raise InputError(
            [
                Problem(
                    say("workbooks of {course}", course=course),
                    repr(workbook),
                    say("one of {workbooks}", workbooks=known),
                )
            ]
        )


def draw_years(
    year: LearnerYear,
    rng: np.random.Generator,
    paths: int = ON_SCREEN,
    settings: YearSettings = DEFAULTS,
) -> PossibleYears:
    """Draw possible years of a learner.

    Args:
        year: what is ahead.
        rng: gives one number, the seed; ask with generators of the same state where answers are to be compared.
        paths: how many; a longer answer begins with the paths of a shorter one.
        settings: what is taken for granted.

    Raises:
        ValueError: there is not at least one path.
    """
    if paths < 1:
        raise ValueError(f"{paths} paths; at least one is wanted")
    seed = int(rng.integers(2**63))
    books = tuple(book for course in year.courses for book in course.workbooks)
    begun = np.empty((len(books), paths), np.int16)
    finished = np.empty_like(begun)
    failed: list[tuple[Whole, NDArray[np.int32], Whole]] = []
    courses = _sorted_courses(year)
    for chunk, first in enumerate(range(0, paths, CHUNK)):
        count = min(CHUNK, paths - first)
        run = _Chunk(year, courses, settings, (seed, chunk), count)
        for rows, start, end in run.walk():
            begun[rows, first : first + count] = start
            finished[rows, first : first + count] = end
        failed += [(rows, lines + np.int32(first), days) for rows, lines, days in run.failed]
    book = np.concatenate([np.empty(0, np.int16), *(part[0] for part in failed)])
    path = np.concatenate([np.empty(0, np.int32), *(part[1] for part in failed)])
    day = np.concatenate([np.empty(0, np.int16), *(part[2] for part in failed)])
    for array in (begun, finished, book, path, day):
        array.flags.writeable = False
    return PossibleYears(year, seed, begun, finished, book, path, day, books)


# --- the numbers of a course ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Course:
    """A course with what does not change from path to path."""

    ahead: CourseAhead
    row: int
    """Row of its first workbook."""
    unit: float
    """Pages planned for a day with work: the goal, or of a plan the mean as the pages meet it, sum g^2 / sum g."""
    level: float
    """Middle of ln(mean pages of a day for which `unit` is planned)."""
    level_spread: float
    uneven: float
    """Squared coefficient of variation of a day's pages."""
    stretch: float
    """School days to a day for which `unit` is planned: more than 1 where a plan has days without pages."""


def _course(ahead: CourseAhead, row: int) -> _Course:
    pace = ahead.pace
    plan = np.array([ahead.goal] if ahead.planned is None or not sum(ahead.planned) else ahead.planned)
    unit = float(plan @ plan / plan.sum())
    return _Course(
        ahead,
        row,
        unit,
        math.log(unit * pace.share_a_day),
        math.sqrt(pace.spread / pace.weight),
        # Of a log-normal with a share z of zeros the squared coefficient of variation is e^s2 / (1 - z) - 1.
        (math.expm1(pace.spread) + pace.zero_share) / (1 - pace.zero_share),
        unit / float(plan.mean()),
    )


def _sorted_courses(year: LearnerYear) -> list[_Course]:
    """The courses with most workbooks first, so that those still going are always the first ones."""
    found, row = [], 0
    for ahead in year.courses:
        found.append(_course(ahead, row))
        row += len(ahead.workbooks)
    return sorted(found, key=lambda course: -len(course.ahead.workbooks))


# --- one chunk of paths -----------------------------------------------------------------------------------------


def _dice(seed: Sequence[int], *what: str) -> np.random.Generator:
    """Dice of their own for one thing: another course more or less must not move anybody's luck."""
    keys = [int.from_bytes(blake2s(name.encode(), digest_size=8).digest()) for name in what]
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence([*seed, *keys])))


class _Clock:
    """Days of the calendar and healthy days of each path: tables of shape [days + 2, paths], row `later` last."""

    def __init__(self, days: int, illness: float, dice: np.random.Generator, paths: int) -> None:
        self.later, self.paths = days + 1, paths
        # Day by day, so that a calendar known for longer begins with the same days.
        self.well = dice.random((days, paths), np.float32) >= illness
        healthy = np.empty((days + 2, paths), np.int16)
        healthy[0] = 0
        np.cumsum(self.well, axis=0, dtype=np.int16, out=healthy[1:-1])
        healthy[-1] = self.later
        calendar = np.full((days + 2, paths), self.later, np.int16)
        flat = np.flatnonzero(self.well)
        day, path = np.divmod(flat, paths)
        calendar.ravel()[healthy.ravel()[flat + paths].astype(np.int64) * paths + path] = day + 1
        self._healthy, self._calendar = healthy.ravel(), calendar.ravel()

    def healthy(self, day: Places, path: Places) -> Places:
        """Healthy days up to a day."""
        return self._healthy.take(day * self.paths + path).astype(np.int64)

    def day(self, healthy: Places, path: Places) -> Places:
        """The day that is a path's n-th healthy one, n at least 1."""
        place = np.minimum(healthy, self.later) * self.paths + path
        return self._calendar.take(place).astype(np.int64)


class _Plans:
    """Planned pages that a path's healthy days add up to, of all courses that have a plan."""

    def __init__(self, courses: Sequence[_Course], clock: _Clock) -> None:
        self._later = clock.later
        self._due = [course.ahead.due for course in courses]
        planned = np.empty((len(courses), clock.later - 1))
        for row, course in zip(planned, courses, strict=True):
            given = np.asarray(course.ahead.planned, float)[: len(row)]
            row[:] = course.ahead.goal
            row[: len(given)] = given
        self._usual = self._fast = _Sums(clock, planned)
        # Only who has a day to be behind needs the second tables.
        if any(self._due):
            goals = np.array([[course.ahead.goal] for course in courses])
            self._fast = _Sums(clock, np.maximum(planned, goals))

    def reach(self, place: int, day: Places, pages: NDArray[Any]) -> Places:
        """[courses, paths]: the first day after `day` on which so many more planned pages are reached.

        `day` and `pages` are those of the first courses; `place` is the workbook's in its course.
        """
        n, paths = day.shape
        due = np.array([[self._day_due(course, place)] for course in range(n)])
        course, path = np.divmod(np.arange(n * paths), paths)
        wanted = pages.ravel()
        # Nobody who began late is done before they would have been by the plan: then the goal is not needed any more.
        found = self._usual.reach(course, np.minimum(day, due).ravel(), wanted, path)
        behind = np.flatnonzero(day > due)
        if behind.size:
            late = day.ravel()[behind]
            soonest = self._fast.reach(course[behind], late, wanted[behind], path[behind])
            found[behind] = np.maximum(found[behind], soonest)
        return found.reshape(n, paths)

    def _day_due(self, course: int, place: int) -> int:
        due = self._due[course]
        day = due[place - 1] if 0 < place <= len(due) else None
        return self._later if day is None else day


class _Sums:
    """Pages of each day added up, course by course: of all days, and of each path's healthy days.

    Counted in whole crumbs of a page, so that what is equal on paper is equal here, and the tables are half as large.
    """

    def __init__(self, clock: _Clock, planned: NDArray[np.float64]) -> None:
        courses, self._days = planned.shape
        self._paths = clock.paths
        most = float(planned.sum(axis=1).max()) + 1
        self._crumbs = 2.0 ** min(10, math.floor(math.log2(2**30 / most)))
        each = np.rint(planned * self._crumbs).astype(np.int32)
        sums = np.zeros((courses, self._days + 1, clock.paths), np.int32)
        np.multiply(clock.well, each[:, :, None], out=sums[:, 1:])
        np.cumsum(sums, axis=1, out=sums)
        self._sums = sums.ravel()
        # One sorted list for all courses: each one's sums begin above the end of the one before.
        whole = np.zeros((courses, self._days + 1), np.int64)
        np.cumsum(each, axis=1, out=whole[:, 1:])
        whole += (int(whole[:, -1].max()) + 1) * np.arange(courses)[:, None]
        self._whole, self._ends = whole.ravel(), whole[:, -1]

    def reach(self, course: Places, day: Places, pages: NDArray[Any], path: Places) -> Places:
        """The first day after `day` on which so many more pages are reached; the day after the last one where there is none.

        Illness takes pages away and gives none. So the day on which they would be reached without any is never too late;
        what is still missing then gives the next day to look at, until nothing is missing.
        """
        first, end = course * (self._days + 1), self._ends.take(course)
        crumbs = np.maximum(np.ceil(pages * self._crumbs - 0.5), 1).astype(np.int64)
        now = first + np.minimum(day, self._days)
        wanted = self._sums.take(now * self._paths + path) + crumbs
        aim = self._whole.take(now) + crumbs
        found: Places = np.full(len(day), self._days + 1)
        left = np.flatnonzero((aim <= end) & (day <= self._days))
        aim = aim[left]
        while left.size:
            at = np.searchsorted(self._whole, aim)
            missing = wanted[left] - self._sums.take(at * self._paths + path[left])
            there = missing <= 0
            found[left[there]] = (at - first[left])[there]
            left, aim = left[~there], (self._whole.take(at) + missing)[~there]
            within = aim <= end[left]
            left, aim = left[within], aim[within]
        return found


class _Chunk:
    """Some paths of all courses, walked through workbook by workbook."""

    def __init__(
        self,
        year: LearnerYear,
        courses: Sequence[_Course],
        settings: YearSettings,
        seed: tuple[int, int],
        paths: int,
    ) -> None:
        self._year, self._courses, self._settings, self._paths = year, courses, settings, paths
        self._later = len(year.days) + 1
        self._clock = _Clock(len(year.days), year.illness, _dice(seed, year.learner), paths)
        self._planned = np.array([k for k, c in enumerate(courses) if c.ahead.planned is not None], np.int64)
        self._plans = _Plans([courses[k] for k in self._planned], self._clock) if self._planned.size else None
        # Workbook by workbook, so that another workbook at the end of a course begins with the same luck.
        normal = [_dice(seed, year.learner, course.ahead.course, "days") for course in courses]
        even = [_dice(seed, year.learner, course.ahead.course, "tests") for course in courses]
        lengths = [len(course.ahead.workbooks) for course in courses]
        first = [dice.standard_normal(paths, np.float32) for dice in normal]
        self._normals = [
            d.standard_normal((n, 2, paths), np.float32) for d, n in zip(normal, lengths, strict=True)
        ]
        self._evens = [d.random((n, 2, paths), np.float32) for d, n in zip(even, lengths, strict=True)]
        spread = np.array([course.level_spread for course in courses], np.float32)[:, None]
        self._level = np.array([course.level for course in courses], np.float32)[:, None] + spread * first
        self._before = np.zeros_like(self._level)
        self._dates = np.array([day.toordinal() for day in year.days])
        self.failed: list[tuple[Whole, NDArray[np.int32], Whole]] = []

    def walk(self) -> Iterator[tuple[Places, Places, Places]]:
        """Go through the first workbooks of all courses, then the second ones, and so on.

        Gives the rows of the workbooks, and [workbooks, paths] after which day each is begun and when it is finished.
        """
        day = np.zeros((len(self._courses), self._paths), np.int64)
        for place in range(len(self._courses[0].ahead.workbooks)):
            going = [course for course in self._courses if len(course.ahead.workbooks) > place]
            rows = np.array([course.row + place for course in going])
            begun = self._wait_for_copies(going, place, day[: len(going)])
            day = self._work(going, place, begun)
            yield rows, begun, day

    def _wait_for_copies(self, going: Sequence[_Course], place: int, day: Places) -> Places:
        coming = [course.ahead.workbooks[place].not_before for course in going]
        if not any(coming):
            return day
        free = [0 if d is None else int(np.searchsorted(self._dates, d.toordinal())) for d in coming]
        after: Places = np.maximum(day, np.array(free)[:, None])
        return after

    def _work(self, going: Sequence[_Course], place: int, begun: Places) -> Places:
        """Do the pages, then the practice tests, then the unit tests until one is passed."""
        s, books = self._settings, [course.ahead.workbooks[place] for course in going]
        path = np.broadcast_to(np.arange(self._paths), begun.shape)
        healthy = self._clock.healthy(begun, path) + self._page_days(going, place, begun)
        again = self._failures([b.practice_chance for b in books], place, 0)
        skip = np.array([place == 0 and course.ahead.practice_passed for course in going])[:, None]
        healthy += np.where(skip, 0, 1 + again * (1 + s.review_days)) + s.days_between
        day = self._clock.day(healthy, path)
        failures = self._failures([b.chance for b in books], place, 1)
        rows = [course.row + place for course in going]
        return self._sit_again(rows, [b.lead_days for b in books], day, failures)

    def _page_days(self, going: Sequence[_Course], place: int, begun: Places) -> Places:
        """Healthy days that the pages take."""
        n = len(going)
        normal = np.stack([z[place] for z in self._normals[:n]])
        pages = _column([course.ahead.workbooks[place].pages for course in going])
        full = self._wander(going, pages, normal[:, 0])
        uneven = _column([course.uneven for course in going])
        mean = full * (1 - 0.5 / np.maximum(pages, 1)) + 0.5 * (1 + uneven)
        square = (uneven * full + (self._settings.workbook_spread * full) ** 2) / mean**2
        log_square = np.log1p(square)
        days = mean * np.exp(np.sqrt(log_square) * normal[:, 1] - 0.5 * log_square)
        whole: Places = np.minimum(np.maximum(np.rint(days), 1), self._later).astype(np.int64)
        planned = self._planned[self._planned < n]
        if self._plans is not None and planned.size:
            unit = np.array([[going[k].unit] for k in planned])
            whole[planned] = self._planned_days(self._plans, place, unit, begun[planned], days[planned])
        whole[pages[:, 0] == 0] = 0
        return whole

    def _wander(self, going: Sequence[_Course], pages: Reals, normal: Reals) -> Reals:
        """Let the level wander from the middle of the workbook before to that of this one, the first time from today on, and
        tell in how many days of the new level the pages are done.

        How long that is depends on pages and pace alone. Did it depend on illness or tests, a what-if about them would
        change the pace as well, and more illness could end a workbook earlier.
        """
        n, tests = len(going), 1 + self._settings.days_between
        stretch = _column([course.stretch for course in going])
        guess = pages * np.exp(-self._level[:n]) * stretch + tests
        step = self._settings.drift * np.sqrt((self._before[:n] + guess) / 2)
        self._level = self._level[:n] + step * normal
        full: Reals = pages * np.exp(-self._level)
        self._before = full * stretch + tests
        return full

    def _planned_days(
        self, plans: _Plans, place: int, unit: NDArray[np.float64], begun: Places, days: Reals
    ) -> Places:
        """Healthy days until as many planned pages are reached as so many days of `unit` have.

        Rounding up to a whole day adds half a day on the mean, which is therefore taken off before.
        """
        path = np.broadcast_to(np.arange(self._paths), begun.shape)
        end = plans.reach(place, begun, (days.astype(float) - 0.5) * unit)
        return self._clock.healthy(end, path) - self._clock.healthy(begun, path)

    def _failures(self, chances: Sequence[float], place: int, test: int) -> Places:
        """How many sittings are not passed before one is: geometric, by inversion of one uniform number each."""
        uniform = 1 - np.stack([u[place, test] for u in self._evens[: len(chances)]])
        # Where the chance is 0 or 1 the logarithm has no use; some number as small or as large does the same.
        log_fail = _column([math.log(min(max(1 - c, 1e-30), 1 - 1e-15)) for c in chances])
        counts: Places = np.minimum(np.floor(np.log(uniform) / log_fail), self._later).astype(np.int64)
        return counts

    def _sit_again(self, rows: Sequence[int], lead: Sequence[int], day: Places, failures: Places) -> Places:
        """Order a new copy after each failed unit test, work it, and sit again."""
        course, path = np.nonzero((failures > 0) & (day < self._later))
        if not course.size:
            return day
        day, left, free = day.copy(), failures[course, path], self._free_after(lead)
        while course.size:
            now = day[course, path]
            self.failed.append(
                (
                    np.array(rows)[course].astype(np.int16),
                    path.astype(np.int32),
                    now.astype(np.int16),
                )
            )
            arrived = free[course, now]
            healthy = self._clock.healthy(arrived, path) + self._settings.redo_days + 1
            now = self._clock.day(healthy, path)
            day[course, path] = now
            left = left - 1
            more = (left > 0) & (now < self._later)
            course, path, left = course[more], path[more], left[more]
        return day

    def _free_after(self, lead: Sequence[int]) -> Places:
        """[courses, day]: the day after which the copy ordered on a day is in the house."""
        ordered = np.concatenate([[0], self._dates])
        return np.stack([np.searchsorted(self._dates, ordered + days, side="right") for days in lead])


def _column(values: Sequence[float]) -> Reals:
    return np.array(values, np.float32)[:, None]
