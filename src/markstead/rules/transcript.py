"""Credits, results, mean and grade of a learner's courses, by the programme's rules. Exact fractions throughout."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from markstead.rules.programme import Course, Programme, ResultOf, TranscriptRules, WeighBy


@dataclass(frozen=True, slots=True)
class SatOnce:
    """One marked sitting of a unit test."""

    day: date
    right: int
    asked: int
    needed: int

    @property
    def passed(self) -> bool:
        return self.right >= self.needed


@dataclass(frozen=True, slots=True)
class BookResult:
    """A workbook on a transcript: it was passed."""

    workbook: str
    title: str
    passed_on: date
    sittings: int
    right: int
    """Of the sitting that passed."""
    asked: int
    percent: Fraction
    """By the rule of the programme, which may look at other sittings too."""


@dataclass(frozen=True, slots=True)
class CourseResult:
    """A course on a transcript."""

    course: str
    title: str
    workbooks: int
    """Of the whole course."""
    books: tuple[BookResult, ...]
    credits: Fraction | None
    """None: the programme gives none."""
    percent: Fraction | None
    """Mean of its passed workbooks, each alike; None before the first."""
    grade: str

    @property
    def whole(self) -> bool:
        """Every workbook of the course is passed."""
        return len(self.books) == self.workbooks


@dataclass(frozen=True, slots=True)
class Totals:
    """All courses together."""

    credits: Fraction | None
    mean: Fraction | None
    """In percent, weighted by the rule."""
    grade: str
    books: int
    sittings: int


def book_percent(sittings: Sequence[SatOnce], rule: ResultOf) -> Fraction:
    """The result of a workbook in percent.

    Raises:
        ValueError: none of the sittings passed.
    """
    passing = next((s for s in reversed(sittings) if s.passed), None)
    if passing is None:
        raise ValueError("a workbook without a passed sitting has no result")
    counted = {ResultOf.PASSED: [passing], ResultOf.FIRST: list(sittings[:1]), ResultOf.ALL: list(sittings)}[
        rule
    ]
    return Fraction(100 * sum(s.right for s in counted), sum(s.asked for s in counted))


def credits_of(passed: int, rules: TranscriptRules) -> Fraction | None:
    """Credits of so many passed workbooks of one course, rounded down; None where the programme gives none."""
    if rules.workbooks_a_credit is None:
        return None
    earned = Fraction(passed, rules.workbooks_a_credit)
    return earned // rules.smallest_credit * rules.smallest_credit


def course_result(
    course: Course, sat: Mapping[str, Sequence[SatOnce]], rules: TranscriptRules
) -> CourseResult:
    """A course by its marked sittings, which are given by workbook and in the order of their days."""
    books = []
    for book in course.workbooks:
        sittings = sat.get(book.code, ())
        passing = next((s for s in reversed(sittings) if s.passed), None)
        if passing is not None:
            result = book_percent(sittings, rules.result_of)
            books.append(
                BookResult(
                    book.code, book.title, passing.day, len(sittings), passing.right, passing.asked, result
                )
            )
    percent = sum((b.percent for b in books), Fraction()) / len(books) if books else None
    return CourseResult(
        course.id,
        course.title,
        len(course.workbooks),
        tuple(books),
        credits_of(len(books), rules),
        percent,
        rules.grade(percent) if percent is not None else "",
    )


def totals(courses: Sequence[CourseResult], programme: Programme) -> Totals:
    """Sum of credits, and the mean of the courses that have a result.

    Where all weights are nothing (no course has earned its first part of a credit) the mean counts each workbook alike.
    """
    rules = programme.transcript
    counted = [c for c in courses if c.percent is not None]
    weights = [_weight(c, rules.weigh_by) for c in counted]
    if not any(weights):
        weights = [Fraction(len(c.books)) for c in counted]
    whole = sum(weights, Fraction())
    mean = None
    if whole:
        mean = sum((w * (c.percent or 0) for w, c in zip(weights, counted, strict=True)), Fraction()) / whole
    earned = None
    if rules.workbooks_a_credit is not None:
        earned = sum((c.credits or Fraction() for c in courses), Fraction())
    return Totals(
        earned,
        mean,
        rules.grade(mean) if mean is not None else "",
        sum(len(c.books) for c in courses),
        sum(b.sittings for c in courses for b in c.books),
    )


def _weight(course: CourseResult, rule: WeighBy) -> Fraction:
    match rule:
        case WeighBy.CREDITS:
            return course.credits or Fraction()
        case WeighBy.WORKBOOKS:
            return Fraction(len(course.books))
        case WeighBy.COURSES:
            return Fraction(1)
