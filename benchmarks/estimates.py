"""What estimates cost: one of them beside bare linear algebra, and a household's whole morning.

The household is made by code from a seed: eight learners with eight workbooks each in hand, and a year behind them of
some sixty finished workbooks a learner. The morning goes from the gathered marks to what the pages say.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from hashlib import blake2s
from statistics import median
from time import perf_counter

import numpy as np

from benchmarks.house import seconds
from markstead.calendar import SchoolCalendar, Term
from markstead.ledger.facts import PRACTICE
from markstead.measure.marks import CopyMarks, Looked, Marked, Spoken, UnitMark, Worked
from markstead.measure.readiness import BookEvidence, Counts, State, follow, predict, start, work_through
from markstead.measure.readings import (
    CopyReading,
    Costs,
    Past,
    finished_state,
    read_copies,
    read_courses,
    read_review,
    read_spot,
)
from markstead.rules.programme import (
    Course,
    MarkingRules,
    Marks,
    Programme,
    Rework,
    Stop,
    UnitTestRules,
    Workbook,
)
from markstead.web import memory
from markstead.web.ready import readiness_words

LEARNERS, SUBJECTS, COURSES = 8, 6, 8
"""Six subjects as in most programmes; two of them with two courses each, so that eight workbooks are in hand."""
FINISHED = 60
ROUNDS = 15
FIRST = date(2025, 9, 1)
TODAY = date(2026, 7, 10)
MINUTES = 10
BAR_ONE, BAR_MORNING = 1.0, 150.0
"""Milliseconds: at most."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: medians in milliseconds, and beside them what is compared with or the bar."""

    name: str
    figure: float
    bare: float | None = None
    bar: float | None = None

    @property
    def ratio(self) -> float | None:
        return self.figure / self.bare if self.bare else None


# --- one estimate -----------------------------------------------------------------------------------------------


def _one_estimate(before: State) -> object:
    """Five updates of fifteen numbers, and the forecast of a unit test of thirty questions."""
    book = BookEvidence("s0", Counts(90, 80), Counts(30, 26), Counts(8, 7), (Counts(30, 26),), Counts(30, 27))
    return predict(work_through(before, book), "s0", 30, 24)


def one_estimate() -> Row:
    """Take the estimate and the bare work by turns, many times.

    The bare work is the least that any such filter has to do: six outer products of fifteen numbers, and one binomial
    tail.
    """
    from scipy.stats import binom  # no page loads it: it would be in the way of the mornings

    def bare_work() -> object:
        kept = matrix
        for _ in range(6):
            kept = kept - np.outer(vector, vector)
        return binom.sf(23, 30, 0.9), kept

    subjects = [f"s{n}" for n in range(SUBJECTS)]
    before = follow([BookEvidence(s, Counts(90, 80), unit=Counts(30, 27)) for s in subjects], subjects)
    assert len(start(subjects).mean) == 15
    vector, matrix = np.linspace(0, 0.1, 15), np.eye(15)
    ours, bare = [], []
    for _ in range(2000):
        begun = perf_counter()
        _one_estimate(before)
        middle = perf_counter()
        bare_work()
        ours.append(middle - begun)
        bare.append(perf_counter() - middle)
    return Row(
        "(a) one estimate: five updates and a forecast", 1000 * median(ours), 1000 * median(bare), BAR_ONE
    )


# --- a household's morning --------------------------------------------------------------------------------------


def programme() -> Programme:
    """Eight courses of twelve workbooks, each with six sections and three checks."""
    courses = {}
    for c in range(COURSES):
        subject = f"subject {c % SUBJECTS}"
        books = tuple(_workbook(c, subject, number) for number in range(1, 13))
        courses[f"c{c}"] = Course(f"c{c}", subject, f"Course {c}", 1, books)
    return Programme(
        id="bench",
        title="Bench (invented)",
        currency="EUR",
        marks=Marks(practice_test_percent=80, unit_test_percent=80),
        unit_test=UnitTestRules(1, time(8), time(12), 1, 2, readiness_decision=True),
        marking=MarkingRules(quiz_when_wrong_percent=30, sections_ahead=0),
        dispatch_day=1,
        rework=Rework.NEW_COPY,
        aids=(),
        courses=courses,
    )


def _workbook(course: int, subject: str, number: int) -> Workbook:
    stops = []
    for n in range(6):
        stops.append(Stop("section", n + 1, f"section-{n + 1}", 6 * n + 1, 6 * n + 5 + n % 2, 15))
        if n % 2:
            stops.append(Stop("check", n // 2 + 1, f"check-{n // 2 + 1}", 6 * n + 6, 6 * n + 6, 10))
    return Workbook(
        code=f"c{course}-{number:02}",
        course=f"c{course}",
        subject=subject,
        level=1,
        number=number,
        title=f"Workbook {number} of course {course}",
        pages=36,
        stops=tuple(stops),
        practice_questions=30,
        unit_questions=30,
    )


CALENDAR = SchoolCalendar(
    zone="Europe/London",
    country="GB",
    region="ENG",
    terms=(Term("the year", FIRST, date(2026, 7, 24)),),
    weekdays=frozenset(range(5)),
)


class _Year:
    """One learner's year: the marks of every copy, each course going on at its own pace."""

    def __init__(self, kind: Programme, learner: int) -> None:
        self.kind, self.rng, self.seq = kind, np.random.default_rng([2026, learner]), 0
        self.learner = f"learner{learner}"
        self.days = CALENDAR.school_days(FIRST, TODAY)

    def copies(self) -> list[CopyMarks]:
        """Every course's workbooks one after the other over the year; the last of each is in hand."""
        found = []
        for c, course in enumerate(self.kind.courses.values()):
            done = FINISHED // COURSES + (c < FINISHED % COURSES)
            ends = np.linspace(0, len(self.days), done + 2).astype(int)
            for n in range(done + 1):
                book = course.workbooks[n]
                found.append(self.copy(book, self.days[ends[n] : ends[n + 1]], whole=n < done))
        return found

    def copy(self, book: Workbook, days: list[date], *, whole: bool) -> CopyMarks:
        rows: dict[str, list[object]] = {"marked": [], "worked": [], "spoken": [], "looked": [], "goals": []}
        stops = book.stops if whole else book.stops[:5]
        for n, stop in enumerate(stops):
            day = days[min(n * len(days) // (len(stops) + 2), len(days) - 1)]
            wrong = self.wrong(stop.questions, 0.1)
            marked = Marked(
                self.next(), self.at(day), stop.id, stop.questions, stop.questions - len(wrong), wrong
            )
            rows["marked"].append(marked)
            rows["worked"].append(Worked(day, stop.last - stop.first + 1, stop.last - stop.first + 1, 40))
            ticks = marked.ticks[:4]
            rows["looked"].append(Looked(self.next(), self.at(day), stop.id, tuple((t, True) for t in ticks)))
            if n % 3 == 0:
                seq, at = self.next(), self.at(day)
                rows["spoken"] += [
                    Spoken(seq, at, stop.id, q, bool(self.rng.random() < 0.85)) for q in (1, 2, 3)
                ]
        tests: dict[str, tuple[object, ...]] = {}
        if whole:
            wrong = self.wrong(30, 0.1)
            tests["practice"] = (
                Marked(self.next(), self.at(days[-2]), PRACTICE, 30, 30 - len(wrong), wrong),
            )
            wrong = self.wrong(30, 0.12)
            tests["units"] = (UnitMark(self.next(), self.at(days[-1]), 30 - len(wrong), 30, 24, wrong),)
        kept = {name: tuple(values) for name, values in rows.items()} | tests
        return CopyMarks(
            f"{self.learner}-{book.code}",
            book.code,
            self.learner,
            issued=self.at(days[0], 8),
            **kept,  # type: ignore[arg-type]
        )

    def next(self) -> int:
        self.seq += 1
        return self.seq

    def at(self, day: date, hour: int = 9) -> datetime:
        return datetime.combine(day, time(hour), UTC) + timedelta(seconds=self.seq)

    def wrong(self, asked: int, share: float) -> tuple[int, ...]:
        return tuple(int(n) + 1 for n in np.flatnonzero(self.rng.random(asked) < share))


def _seed(what: str) -> bytes:
    return blake2s(what.encode()).digest()


@dataclass(frozen=True, slots=True)
class Morning:
    """A household as its marks lie in memory."""

    programme: Programme
    copies: list[list[CopyMarks]]

    @classmethod
    def build(cls) -> "Morning":
        kind = programme()
        return cls(kind, [_Year(kind, learner).copies() for learner in range(LEARNERS)])

    def past(self, copies: list[CopyMarks]) -> Past:
        return finished_state([marks for marks in copies if marks.units], self.programme)

    def page_values(self, copies: list[CopyMarks], past: Past) -> tuple[object, ...]:
        """Everything that the pages say of one learner."""
        in_hand = [marks for marks in copies if not marks.units]
        learner = copies[0].learner or ""
        readings: dict[str, CopyReading] = read_copies(past, in_hand, self.programme, Costs())
        return (
            [readiness_words(reading) for reading in readings.values()],
            read_spot(copies, CALENDAR, learner, _seed),
            read_courses(copies, list(self.programme.courses), self.programme, CALENDAR, learner, TODAY),
            read_review(copies, self.programme, CALENDAR, TODAY, MINUTES, np.random.default_rng(1)),
        )

    def warm(self, pasts: list[Past]) -> None:
        """The morning with what is known of finished workbooks remembered."""
        for copies, past in zip(self.copies, pasts, strict=True):
            self.page_values(copies, past)

    def cold(self) -> None:
        """The morning of a process that remembers nothing."""
        for copies in self.copies:
            self.page_values(copies, self.past(copies))


def mornings() -> list[Row]:
    """Time the whole household, with and without what is remembered."""
    home = Morning.build()
    pasts = [home.past(copies) for copies in home.copies]
    readings = [home.page_values(copies, past)[0] for copies, past in zip(home.copies, pasts, strict=True)]
    assert [len(found) for found in readings] == [COURSES] * LEARNERS  # type: ignore[arg-type]
    home.warm(pasts)  # what the first call loads is not timed
    memory.settle()  # as the server does once it has started
    warm = 1000 * median(seconds(lambda: home.warm(pasts)) for _ in range(ROUNDS))
    cold = 1000 * median(seconds(home.cold) for _ in range(ROUNDS))
    size = f"{LEARNERS} learners x {COURSES} workbooks in hand"
    return [
        Row(f"(b) a morning, {size}, finished workbooks remembered", warm, bar=BAR_MORNING),
        Row(f"(b') the same, nothing remembered ({FINISHED} finished workbooks a learner)", cold),
    ]


def measure() -> list[Row]:
    """Everything that this page of the benchmark says."""
    found = mornings()
    return [one_estimate(), *found]


def lines() -> list[str]:
    """The lines of the table."""
    head = "| case | ms | six outer products and a binomial tail, ms | ratio | at most, ms |"
    rows = [
        f"| {r.name} | {r.figure:.3g} | {'' if r.bare is None else f'{r.bare:.3f}'} "
        f"| {'' if r.ratio is None else f'{r.ratio:.1f}'} | {'' if r.bar is None else f'{r.bar:g}'} |"
        for r in measure()
    ]
    return [head, "| --- | --- | --- | --- | --- |", *rows]


if __name__ == "__main__":
    print("\n".join(lines()))
