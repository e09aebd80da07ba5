"""What a programme demands, as plain values. Read from files by `rules.load`; every number comes from there."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time
from enum import StrEnum
from fractions import Fraction
from typing import Literal

from markstead.errors import Problem, UnknownError
from markstead.speech import say


@dataclass(frozen=True, slots=True)
class Marks:
    """Pass marks by kind of test."""

    practice_test_percent: int
    unit_test_percent: int
    exact_mark_passes: bool = True

    def needed(self, asked: int, percent: int) -> int:
        """The least number of right answers that passes.

        Whole numbers throughout: in floats, 16 of 20 is below 80 %.
        """
        if self.exact_mark_passes:
            return -(-asked * percent // 100)
        return asked * percent // 100 + 1

    def practice_needed(self, asked: int) -> int:
        """The least number of right answers that passes a practice test."""
        return self.needed(asked, self.practice_test_percent)

    def unit_needed(self, asked: int) -> int:
        """The least number of right answers that passes a unit test."""
        return self.needed(asked, self.unit_test_percent)


@dataclass(frozen=True, slots=True)
class UnitTestRules:
    """When and how often a unit test may be sat."""

    school_days_after_practice: int
    morning_from: time
    morning_until: time
    most_a_learner_a_day: int
    most_watched_a_morning: int
    readiness_decision: bool


@dataclass(frozen=True, slots=True)
class MarkingRules:
    """How the marking cycle runs."""

    quiz_when_wrong_percent: int
    sections_ahead: int

    def calls_for_quiz(self, wrong: int, asked: int) -> bool:
        """Whether so many wrong answers want an oral quiz or teaching first."""
        return asked > 0 and wrong > 0 and wrong * 100 >= self.quiz_when_wrong_percent * asked

    def calls_for_teaching(self, wrong: int, asked: int) -> bool:
        """Whether so many are wrong that teaching is advised before any quiz: twice the share that calls for one."""
        return self.calls_for_quiz(wrong, asked) and wrong * 100 >= 2 * self.quiz_when_wrong_percent * asked


class Rework(StrEnum):
    """What follows a failed unit test."""

    NEW_COPY = "new copy"
    SAME_COPY = "same copy"


class ResultOf(StrEnum):
    """Which sittings of a workbook's unit test make its result on a transcript."""

    PASSED = "the sitting that passed"
    FIRST = "the first sitting"
    ALL = "all sittings"


class WeighBy(StrEnum):
    """What a course weighs in the mean of a transcript."""

    CREDITS = "credits"
    WORKBOOKS = "workbooks"
    COURSES = "courses"


@dataclass(frozen=True, slots=True)
class Grade:
    """A step of the grade scale: from this percentage on."""

    from_percent: int
    name: str


@dataclass(frozen=True, slots=True)
class TranscriptRules:
    """How passed workbooks become credits, a mean and a grade. Without them a transcript has results alone."""

    workbooks_a_credit: int | None = None
    smallest_credit: Fraction = Fraction(1, 4)
    """Credits are rounded down to whole multiples of this."""
    result_of: ResultOf = ResultOf.PASSED
    weigh_by: WeighBy = WeighBy.CREDITS
    grades: tuple[Grade, ...] = ()
    """The highest first."""

    def grade(self, percent: Fraction) -> str:
        """The grade of a percentage; none where the scale does not reach so far down."""
        return next((grade.name for grade in self.grades if percent >= grade.from_percent), "")


@dataclass(frozen=True, slots=True)
class AidRule:
    """Aids that may be used in a unit test from a school year on."""

    from_year: int
    allowed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """A marking stop: a section or a progress check, with its pages and its number of questions."""

    kind: Literal["section", "check"]
    number: int
    id: str
    first: int
    last: int
    questions: int


@dataclass(frozen=True, slots=True)
class Objective:
    """What one question of a stop is about."""

    stop: str
    question: int
    text: str


@dataclass(frozen=True, slots=True)
class Workbook:
    """A title in a course."""

    code: str
    course: str
    subject: str
    level: int
    number: int
    title: str
    pages: int
    stops: tuple[Stop, ...]
    practice_questions: int
    unit_questions: int
    price: int | None = None
    supplier: str | None = None
    prerequisites: tuple[str, ...] = ()
    objectives: tuple[Objective, ...] = ()
    # Every ruling and every fold asks for these; they are worked out once.
    _by_id: Mapping[str, Stop] = field(init=False, repr=False, compare=False)
    _by_page: Mapping[int, Stop] = field(init=False, repr=False, compare=False)
    _sections: tuple[Stop, ...] = field(init=False, repr=False, compare=False)
    _checks: tuple[Stop, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        by_page = {page: stop for stop in self.stops for page in range(stop.first, stop.last + 1)}
        object.__setattr__(self, "_by_id", {stop.id: stop for stop in self.stops})
        object.__setattr__(self, "_by_page", by_page)
        object.__setattr__(self, "_sections", tuple(s for s in self.stops if s.kind == "section"))
        object.__setattr__(self, "_checks", tuple(s for s in self.stops if s.kind == "check"))

    def stop(self, stop_id: str) -> Stop:
        """Find a marking stop.

        Raises:
            UnknownError: the workbook has no such stop.
        """
        found = self._by_id.get(stop_id)
        if found is None:
            allowed = say("one of {stops}", stops=", ".join(self._by_id))
            where = say("workbook {workbook}, stop", workbook=self.code)
            raise UnknownError([Problem(where, repr(stop_id), allowed, key="stop")])
        return found

    def stop_of_page(self, page: int) -> Stop:
        """The section or check on whose pages a page lies.

        Raises:
            UnknownError: the workbook has no such page.
        """
        found = self._by_page.get(page)
        if found is None:
            allowed = say("a page from 1 to {pages}", pages=self.pages)
            where = say("workbook {workbook}, page", workbook=self.code)
            raise UnknownError([Problem(where, str(page), allowed)])
        return found

    @property
    def sections(self) -> tuple[Stop, ...]:
        """The sections, in page order."""
        return self._sections

    @property
    def checks(self) -> tuple[Stop, ...]:
        """The progress checks, in page order."""
        return self._checks


@dataclass(frozen=True, slots=True)
class Course:
    """One subject at one level: an ordered list of workbooks."""

    id: str
    subject: str
    title: str
    level: int
    workbooks: tuple[Workbook, ...]


@dataclass(frozen=True, slots=True)
class Programme:
    """The rules and the courses that a household follows."""

    id: str
    title: str
    currency: str
    marks: Marks
    unit_test: UnitTestRules
    marking: MarkingRules
    dispatch_day: int
    rework: Rework
    aids: tuple[AidRule, ...]
    courses: Mapping[str, Course]
    transcript: TranscriptRules = field(default_factory=TranscriptRules)
    _workbooks: Mapping[str, Workbook] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        books = {book.code: book for course in self.courses.values() for book in course.workbooks}
        object.__setattr__(self, "_workbooks", books)

    @property
    def workbooks(self) -> Mapping[str, Workbook]:
        """Every workbook by its code."""
        return self._workbooks

    def workbook(self, code: str) -> Workbook:
        """Find a workbook by its code.

        Raises:
            UnknownError: the programme has no such workbook.
        """
        found = self._workbooks.get(code)
        if found is None:
            first = next(iter(self._workbooks), say("none"))
            allowed = say("the code of a workbook of the programme, such as {workbook}", workbook=first)
            raise UnknownError([Problem(say("workbook"), repr(code), allowed, key="workbook")])
        return found

    def course(self, course_id: str) -> Course:
        """Find a course by its id.

        Raises:
            UnknownError: the programme has no such course.
        """
        found = self.courses.get(course_id)
        if found is None:
            allowed = say("one of {courses}", courses=", ".join(self.courses))
            raise UnknownError([Problem(say("course"), repr(course_id), allowed)])
        return found

    def _neighbour(self, workbook: Workbook, step: int) -> Workbook | None:
        books = self.courses[workbook.course].workbooks
        place = workbook.number - 1 + step
        return books[place] if 0 <= place < len(books) else None

    def next_in_course(self, workbook: Workbook) -> Workbook | None:
        """The workbook after this one; None behind the last."""
        return self._neighbour(workbook, 1)

    def previous_in_course(self, workbook: Workbook) -> Workbook | None:
        """The workbook before this one; None before the first."""
        return self._neighbour(workbook, -1)

    def aids_for(self, year: int) -> tuple[str, ...]:
        """Aids allowed in a unit test in a school year: those of the latest rule that has begun."""
        rules = [rule for rule in self.aids if rule.from_year <= year]
        return max(rules, key=lambda rule: rule.from_year).allowed if rules else ()
