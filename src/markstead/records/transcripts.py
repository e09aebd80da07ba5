"""A learner's transcript: courses, results, credits and mean, by the rules of the programme; as page, PDF and CSV."""

import csv
import io
from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from markstead.ledger.facts import CopyOrdered, FactReversed, UnitTestSat, UnitTestScored
from markstead.records.figures import number, tenths
from markstead.records.home import Home, Somebody
from markstead.records.past import entries_of, past_of
from markstead.records.spreadsheets import guarded
from markstead.records.typeset import file_name, make_pdf
from markstead.rules.programme import ResultOf, TranscriptRules, WeighBy
from markstead.rules.requirements import LOCAL_LAW
from markstead.rules.transcript import CourseResult, SatOnce, Totals, course_result, totals
from markstead.speech import ENGLISH, counted, date_words, later, plural, say, spoken

_KINDS = (CopyOrdered.KIND, UnitTestSat.KIND, UnitTestScored.KIND)
"""Facts that a transcript rests on, beside what tells whose a copy was."""
COLUMNS = (
    "course",
    "course title",
    "workbook",
    "title",
    "passed on",
    "sittings",
    "right",
    "asked",
    "percent",
    "grade",
    "course percent",
    "course credits",
)


@dataclass(frozen=True, slots=True)
class Transcript:
    """Everything that a transcript says, as values."""

    home: Home
    learner: Somebody
    as_of: date
    courses: tuple[CourseResult, ...]
    """Those in which a workbook is passed, in the order of the programme."""
    totals: Totals
    first: date | None
    """The first unit test that passed."""
    last: date | None


def transcript(home: Home, learner: str, *, as_of: date) -> Transcript:
    """Read the transcript of a learner from the record as it stood at the end of a day.

    Raises:
        UnknownError: there is no such learner.
    """
    past = past_of(home, as_of)
    who = past.learner(learner)
    programme, calendar = past.home.programme, past.home.calendar
    entries = entries_of(past, who.id, kinds=_KINDS)
    gone = {e.fact.entry for e in entries if isinstance(e.fact, FactReversed)}
    books: dict[str, str] = {}
    sat_on: dict[str, date] = {}
    sat: dict[str, list[SatOnce]] = defaultdict(list)
    for entry in entries:
        fact = entry.fact
        workbook = getattr(fact, "workbook", None)
        if workbook is not None:
            books.setdefault(str(getattr(fact, "copy", "")), workbook)
        if entry.seq in gone:
            continue
        if isinstance(fact, UnitTestSat):
            sat_on[fact.copy] = fact.day
        elif isinstance(fact, UnitTestScored):
            day = sat_on.get(fact.copy, calendar.day_of(entry.at))
            sat[books.get(fact.copy, "")].append(SatOnce(day, fact.right, fact.asked, fact.needed))
    for rows in sat.values():
        rows.sort(key=lambda s: s.day)
    results = [course_result(course, sat, programme.transcript) for course in programme.courses.values()]
    courses = tuple(r for r in results if r.books)
    days = [b.passed_on for c in courses for b in c.books]
    return Transcript(
        past.home,
        who,
        as_of,
        courses,
        totals(courses, programme),
        min(days, default=None),
        max(days, default=None),
    )


# --- in words -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BookLine:
    """A passed workbook."""

    number: str
    title: str
    passed: str
    result: str
    percent: str
    grade: str
    sittings: str


@dataclass(frozen=True, slots=True)
class CourseLine:
    """A course."""

    title: str
    done: str
    credits: str
    percent: str
    grade: str
    books: tuple[BookLine, ...]


@dataclass(frozen=True, slots=True)
class TranscriptView:
    """Everything that the page and the paper of a transcript may use."""

    title: str
    household: str
    learner: str
    key: str
    year: str
    programme: str
    span: str
    as_of: str
    courses: tuple[CourseLine, ...]
    has_credits: bool
    has_grades: bool
    credits: str
    mean: str
    grade: str
    books: str
    rules: tuple[str, ...]
    """How results, credits, mean and grades come about."""
    law: str
    file: str


_RESULT = {
    ResultOf.PASSED: later("A workbook's result is that of the sitting that passed."),
    ResultOf.FIRST: later("A workbook's result is that of its first sitting, once it is passed."),
    ResultOf.ALL: later(
        "A workbook's result counts the right answers of all its sittings, once it is passed."
    ),
}
_WEIGHT = {
    WeighBy.CREDITS: later("The mean weighs each course by its credits."),
    WeighBy.WORKBOOKS: later("The mean weighs each course by its passed workbooks."),
    WeighBy.COURSES: later("The mean weighs every course alike."),
}


def transcript_view(found: Transcript) -> TranscriptView:
    """Put a transcript into words."""
    who, rules, sums = found.learner, found.home.programme.transcript, found.totals
    span = (
        say("{first} to {last}", first=date_words(found.first), last=date_words(found.last))
        if found.first and found.last
        else ""
    )
    return TranscriptView(
        title=say("Transcript"),
        household=found.home.name,
        learner=who.name,
        key=who.key,
        year=say("year {year}", year=who.year) if who.year is not None else "",
        programme=found.home.programme.title,
        span=span,
        as_of=date_words(found.as_of),
        courses=tuple(_course(course, rules) for course in found.courses),
        has_credits=rules.workbooks_a_credit is not None,
        has_grades=bool(rules.grades),
        credits=number(sums.credits) if sums.credits is not None else "",
        mean=f"{tenths(sums.mean)} %" if sums.mean is not None else "",
        grade=sums.grade,
        books=plural(sums.books, "workbook"),
        rules=_rules(rules),
        law=say(LOCAL_LAW),
        file=file_name("transcript", who.key, str(found.as_of)),
    )


def _course(course: CourseResult, rules: TranscriptRules) -> CourseLine:
    return CourseLine(
        course.title,
        say("{passed} of {workbooks}", passed=len(course.books), workbooks=course.workbooks),
        number(course.credits) if course.credits is not None else "",
        f"{tenths(course.percent)} %" if course.percent is not None else "",
        course.grade,
        tuple(
            BookLine(
                book.workbook.rsplit("-", 1)[-1].lstrip("0"),
                book.title,
                date_words(book.passed_on),
                say("{right} of {asked}", right=book.right, asked=book.asked),
                f"{tenths(book.percent)} %",
                rules.grade(book.percent),
                "" if book.sittings == 1 else plural(book.sittings, "sitting"),
            )
            for book in course.books
        ),
    )


def _rules(rules: TranscriptRules) -> tuple[str, ...]:
    said = [say(_RESULT[rules.result_of]), say("A course's result is the mean of its passed workbooks.")]
    if rules.workbooks_a_credit is not None:
        parts = number(rules.smallest_credit)
        said.append(
            counted(
                rules.workbooks_a_credit,
                "{n} passed workbook of a course make one credit, in parts of {parts}.",
                "{n} passed workbooks of a course make one credit, in parts of {parts}.",
                parts=parts,
            )
        )
    said.append(say(_WEIGHT[rules.weigh_by]))
    if rules.grades:
        scale = ", ".join(
            say("{grade} from {percent} %", grade=grade.name, percent=grade.from_percent)
            for grade in rules.grades
        )
        said.append(say("Grades: {scale}.", scale=scale))
    return tuple(said)


def as_pdf(view: TranscriptView, *, day: date, paper: str) -> bytes:
    """The transcript on paper.

    Raises:
        InputError: there is no such paper.
    """
    return make_pdf("transcript", view, day=day, paper=paper)


def as_csv(found: Transcript) -> bytes:
    """A row for each passed workbook (RFC 4180, UTF-8); numbers with a decimal point.

    A cell that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    text = io.StringIO(newline="")
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(COLUMNS)
    rules = found.home.programme.transcript
    for course in found.courses:
        for book in course.books:
            rows.writerow(
                [
                    guarded(course.course),
                    guarded(course.title),
                    guarded(book.workbook),
                    guarded(book.title),
                    book.passed_on.isoformat(),
                    book.sittings,
                    book.right,
                    book.asked,
                    _plain(book.percent),
                    guarded(rules.grade(book.percent)),
                    _plain(course.percent),
                    _plain(course.credits),
                ]
            )
    return text.getvalue().encode()


def _plain(value: Fraction | None) -> str:
    with spoken(ENGLISH.code):  # other programs read it
        return "" if value is None else number(value)


def as_values(found: Transcript) -> dict[str, Any]:
    """The transcript as plain values, for JSON."""

    def plain(value: Fraction | None) -> float | None:
        return None if value is None else round(float(value), 4)

    sums = found.totals
    return {
        "learner": found.learner.key,
        "as_of": found.as_of.isoformat(),
        "credits": plain(sums.credits),
        "mean": plain(sums.mean),
        "grade": sums.grade or None,
        "courses": [
            {
                "course": c.course,
                "title": c.title,
                "workbooks": c.workbooks,
                "passed": len(c.books),
                "credits": plain(c.credits),
                "percent": plain(c.percent),
                "grade": c.grade or None,
                "books": [
                    {
                        "workbook": b.workbook,
                        "title": b.title,
                        "passed_on": b.passed_on.isoformat(),
                        "sittings": b.sittings,
                        "right": b.right,
                        "asked": b.asked,
                        "percent": plain(b.percent),
                    }
                    for b in c.books
                ],
            }
            for c in found.courses
        ],
    }
