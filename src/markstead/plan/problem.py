"""What is to be planned, as plain values: days, learners, courses as streams of workbooks, mornings, targets.

Days are numbers 0..H-1 of the household's school days. Minutes are whole half-minutes, so that sums are exact. A
place in a stream is the number of steps done; a workbook has a step for each page, one for its practice test and one
for its unit test.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, slots=True)
class WorkbookToDo:
    """A workbook of a stream, in pages and half-minutes."""

    code: str
    pages: int
    section_ends: tuple[int, ...]
    """The last page of every section, rising; the last of them is `pages`."""
    halves_a_page: int
    practice_halves: int
    unit_halves: int
    ready_from: int = 0
    """The first day on which the copy is in the house."""
    waits: int = 0
    """School days of the learner that pass between practice test and unit test, beyond the night that always does."""

    def __post_init__(self) -> None:
        if self.pages < 1 or not self.section_ends or self.section_ends[-1] != self.pages:
            raise ValueError(f"workbook {self.code}: sections {self.section_ends} do not end at {self.pages}")
        if list(self.section_ends) != sorted(set(self.section_ends)) or self.section_ends[0] < 1:
            raise ValueError(f"workbook {self.code}: sections {self.section_ends} do not rise")
        if min(self.halves_a_page, self.practice_halves, self.unit_halves, self.waits) < 0:
            raise ValueError(f"workbook {self.code}: minutes or days below nothing")

    @property
    def steps(self) -> int:
        """Pages, practice test, days of waiting and unit test."""
        return self.pages + 2 + self.waits

    def passes(self, done: int) -> bool:
        """Whether the step after so many is a day between the two tests, which passes by itself."""
        return self.pages < done <= self.pages + self.waits

    def half_sections(self) -> frozenset[int]:
        """The pages in the middle of a section: of an odd number of pages, both that come nearest."""
        first = 0
        found = set()
        for last in self.section_ends:
            found |= {first + (last - first) // 2, first + (last - first + 1) // 2}
            first = last
        return frozenset(found - set(self.section_ends) - {0})


@dataclass(frozen=True, slots=True)
class Fixed:
    """A goal that the educator set by hand: the steps done at the end of a day."""

    day: int
    place: int


@dataclass(frozen=True, slots=True)
class Stream:
    """One learner in one course."""

    learner: str
    course: str
    workbooks: tuple[WorkbookToDo, ...]
    taught: tuple[bool, ...]
    """For every day, whether the course is taught."""
    least: int = 0
    comfortable: int = 4
    most: int = 8
    """Pages of one day: least and comfortable are wishes, most is a limit."""
    weight: int = 1
    done: int = 0
    """Steps done when the plan begins."""
    unit_from: int = 0
    """The first day for the unit test whose practice test is already passed."""
    announced: tuple[int, ...] = ()
    """Steps done at the end of days 0, 1, ... as the learner was told."""
    fixed: tuple[Fixed, ...] = ()
    line: int | None = None
    """Steps that the year's line asks for at the end of the last day."""
    _starts: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        starts = [0]
        for book in self.workbooks:
            starts.append(starts[-1] + book.steps)
        object.__setattr__(self, "_starts", tuple(starts))

    @property
    def name(self) -> str:
        """Learner and course, as a person reads it."""
        return f"{self.learner}, {self.course}"

    @property
    def steps(self) -> int:
        """All steps of the stream."""
        return self._starts[-1]

    def start(self, index: int) -> int:
        """The place at which a workbook begins."""
        return self._starts[index]

    def at(self, place: int) -> tuple[int, int]:
        """The workbook in hand at a place, and the steps done in it.

        At the end of the stream it is the last workbook with all its steps done.
        """
        for index in range(len(self.workbooks)):
            if place < self._starts[index + 1]:
                return index, place - self._starts[index]
        return len(self.workbooks) - 1, self.workbooks[-1].steps

    def index(self, code: str) -> int | None:
        """The place of a workbook in the order, if it is in this stream."""
        return next((i for i, book in enumerate(self.workbooks) if book.code == code), None)

    def place(self, code: str, steps: int) -> int | None:
        """The place at which so many steps are done in a workbook, if it is in this stream."""
        index = self.index(code)
        return None if index is None else self.start(index) + steps


@dataclass(frozen=True, slots=True)
class LearnerLimits:
    """How long a learner works, day by day, in half-minutes."""

    learner: str
    soft: tuple[int, ...]
    hard: tuple[int, ...]
    here: tuple[bool, ...]
    """Whether the learner does school at all on that day."""


@dataclass(frozen=True, slots=True)
class Target:
    """A workbook whose unit test is to be done by the end of a day."""

    learner: str
    course: str
    workbook: str
    day: int

    @property
    def key(self) -> tuple[str, str, str]:
        """What tells one target from another: a workbook has one."""
        return self.learner, self.course, self.workbook


@dataclass(frozen=True, slots=True)
class Points:
    """What a plan pays; one point is one minute over the soft limit. Whole numbers, so that sums are exact."""

    missed: int = 200
    day_late: int = 40
    close: int = 0
    """A day of the reserve before a target that passes without the target met, times the course's weight."""
    over: int = 1
    far_over: int = 4
    near_percent: int = 12
    """So far over the soft limit a minute costs `over`, beyond it `far_over`."""
    below_least: int = 3
    above_comfortable: int = 2
    half_section: int = 1
    no_stop: int = 3
    test_waits: int = 0
    """A day that ends with a practice test or a unit test still to be held in a workbook whose pages are done."""
    moved_page: int = 5
    moved_goal: int = 5
    moved_test: int = 40
    behind: int = 5

    def __post_init__(self) -> None:
        if self.over < 0 or self.far_over < self.over:
            raise ValueError(f"a minute far over costs {self.far_over}, less than {self.over} near the limit")


@dataclass(frozen=True, slots=True)
class Problem:
    """A household's days to come."""

    days: tuple[date, ...]
    learners: tuple[LearnerLimits, ...]
    streams: tuple[Stream, ...]
    watched: tuple[int, ...]
    """Sittings that can be watched on each morning; none where the educator is away."""
    targets: tuple[Target, ...] = ()
    sittings_a_learner: int = 1
    """Unit tests of one learner on one day."""
    next_same_day: bool = False
    """Whether the next workbook may be begun on the day of a unit test."""
    points: Points = field(default_factory=Points)
    reserve: int = 0
    """School days before a target's own day by which the plan rather meets it: tests that are not passed and days of illness,
    with which no plan reckons, then cost the reserve first."""

    def __post_init__(self) -> None:
        for what, found in self._day_rows():
            if found != len(self.days):
                raise ValueError(f"{what}: {found} days where the problem has {len(self.days)}")

    def _day_rows(self) -> Iterator[tuple[str, int]]:
        yield "watched mornings", len(self.watched)
        for limits in self.learners:
            for name in ("soft", "hard", "here"):
                yield f"{limits.learner}, {name}", len(getattr(limits, name))
        for stream in self.streams:
            yield f"{stream.name}, days taught", len(stream.taught)

    @property
    def horizon(self) -> int:
        """The number of days."""
        return len(self.days)

    def limits(self, learner: str) -> LearnerLimits:
        """The limits of a learner.

        Raises:
            KeyError: no such learner.
        """
        for limits in self.learners:
            if limits.learner == learner:
                return limits
        raise KeyError(learner)

    def stream(self, learner: str, course: str) -> Stream:
        """The stream of a learner in a course.

        Raises:
            KeyError: no such stream.
        """
        for stream in self.streams:
            if (stream.learner, stream.course) == (learner, course):
                return stream
        raise KeyError((learner, course))

    def targets_of(self, stream: Stream) -> tuple[Target, ...]:
        """The targets of a stream, as they stand."""
        key = (stream.learner, stream.course)
        return tuple(t for t in self.targets if (t.learner, t.course) == key)

    def goal_place(self, stream: Stream, target: Target) -> int:
        """The place at which a target is met: after the unit test of its workbook.

        Raises:
            KeyError: the stream has no such workbook.
        """
        index = stream.index(target.workbook)
        if index is None:
            raise KeyError(target.workbook)
        return stream.start(index + 1)
