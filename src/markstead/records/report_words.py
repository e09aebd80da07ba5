"""A term report in words: one frozen page that the screen and the paper both show."""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from django.utils.safestring import SafeString

from markstead.measure.pace import Pace
from markstead.records.figures import all_of, day_count, hours, percent
from markstead.records.report_pictures import course_rulers
from markstead.records.term_reports import (
    BookState,
    BookWork,
    CourseReport,
    PlannedBy,
    TermReport,
    TestKind,
    TestTaken,
)
from markstead.records.typeset import file_name, make_pdf
from markstead.rules.attendance import Sum
from markstead.rules.requirements import LOCAL_LAW, Requirements
from markstead.rules.ruling import ranges
from markstead.speech import begun, counted, date_words, ordinal, say, short_day_of_month, span_words


@dataclass(frozen=True, slots=True)
class Told:
    """A figure under its name."""

    name: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class TestLine:
    """One taking of a test."""

    result: str
    when: str


@dataclass(frozen=True, slots=True)
class BookLine:
    """A workbook in the table of a course."""

    number: str
    title: str
    pages: str
    practice: tuple[TestLine, ...]
    unit: tuple[TestLine, ...]
    state: str


@dataclass(frozen=True, slots=True)
class CourseView:
    """A course of a report."""

    id: str
    title: str
    summary: str
    """What was finished and when it was worked, in one line."""
    picture: str
    picture_words: str
    books: tuple[BookLine, ...]
    covered: str
    covered_note: str
    share: float
    """Of what was planned, at most 1: for a bar."""
    pace: str
    explain: str
    """That a written explanation is due, and why; else nothing."""
    narrative: str


@dataclass(frozen=True, slots=True)
class ReportView:
    """Everything that the page and the paper of a report may use."""

    title: str
    household: str
    learner: str
    key: str
    year: str
    programme: str
    span: str
    span_name: str
    as_of: str
    figures: tuple[Told, ...]
    courses: tuple[CourseView, ...]
    planned_note: str
    """On what the planned pages of all courses rest, where it is the same of each."""
    missing: tuple[str, ...]
    """What the figures do not hold."""
    asks: tuple[str, ...]
    asks_of: str
    law: str
    file: str


def report_view(report: TermReport) -> ReportView:
    """Put a report into words."""
    learner = report.learner
    name = report.span.name
    notes = {_covered_note(course) for course in report.courses}
    common = notes.pop() if len(notes) == 1 else ""
    return ReportView(
        title=say("Progress report"),
        household=report.home.name,
        learner=learner.name,
        key=learner.key,
        year=say("year {year}", year=learner.year) if learner.year is not None else "",
        programme=report.home.programme.title,
        span=span_words(report.span.first, report.span.last),
        span_name=begun(name),
        as_of=date_words(report.as_of),
        figures=_figures(report),
        courses=tuple(_course(course, common, report.requirements) for course in report.courses),
        planned_note=common,
        missing=_missing(report),
        asks=tuple(say(line) for line in report.requirements.asks),
        asks_of=say(report.requirements.title) if report.requirements.asks else "",
        law=say(LOCAL_LAW),
        file=file_name("report", learner.key, str(report.span.first), str(report.until)),
    )


def _figures(report: TermReport) -> tuple[Told, ...]:
    found = report.attendance
    days = found.days(report.requirements.half_day_counts)
    halves = counted(found.half, "{n} half day among them", "{n} half days among them") if found.half else ""
    absent = counted(found.absent, "absent on {n} day", "absent on {n} days") if found.absent else ""
    finished = [w for c in report.courses for w in c.books if w.finished]
    units = [t for c in report.courses for w in c.books for t in w.tests if t.kind is TestKind.UNIT]
    marked = [t for t in units if t.right is not None]
    open_tests = len(units) - len(marked)
    pages = sum(len(w.pages) for c in report.courses for w in c.books)
    return (
        Told(say("Days of school"), day_count(days), all_of([halves, absent], ", ")),
        Told(hours_name(found), hours(found.minutes), _hours_note(report)),
        Told(
            say("Workbooks finished"),
            str(len(finished)),
            counted(len(report.courses), "in {n} course", "in {n} courses"),
        ),
        Told(say("Pages worked"), str(pages), ""),
        Told(
            say("Unit tests passed"),
            say("{passed} of {marked}", passed=sum(t.passed for t in marked), marked=len(marked)),
            counted(open_tests, "{n} more sat and not marked", "{n} more sat and not marked")
            if open_tests
            else "",
        ),
    )


def hours_name(found: Sum) -> str:
    """What stands over the hours: a least where nobody wrote down the minutes of some work."""
    return say("Hours, at least") if found.at_least else say("Hours")


def _hours_note(report: TermReport) -> str:
    found = report.attendance
    days = found.full + found.half + found.absent
    if days and found.by_word == days:
        return say("by the attendance that was taken")
    if found.by_word == 0:
        return say("by the minutes written down with pages and unit tests")
    return counted(
        found.by_word,
        "by attendance on {n} day, else by the minutes written down with the work",
        "by attendance on {n} days, else by the minutes written down with the work",
    )


def _missing(report: TermReport) -> tuple[str, ...]:
    found = []
    if report.attendance.unclocked and report.attendance.at_least:
        found.append(
            counted(
                report.attendance.unclocked,
                "Of {n} piece of work nobody wrote down the minutes; the hours are a least.",
                "Of {n} pieces of work nobody wrote down the minutes; the hours are a least.",
            )
        )
    if report.as_of < report.span.last:
        found.append(
            say("The days after {day} are not over or not on the record yet.", day=date_words(report.as_of))
        )
    if not report.courses:
        found.append(say("Nothing was worked in these days."))
    return tuple(found)


# --- one course ---------------------------------------------------------------------------------------------------


def _course(course: CourseReport, common: str, rules: Requirements) -> CourseView:
    covered = course.covered
    planned = int(covered.planned + Fraction(1, 2)) if covered is not None else None
    drawing = course_rulers(course.books, planned)
    finished = sum(work.finished is not None for work in course.books)
    minutes = (
        say("{hours} written down", hours=hours(course.minutes, at_least=course.unclocked > 0))
        if course.minutes
        else ""
    )
    summary = all_of(
        [
            counted(finished, "{n} workbook finished", "{n} workbooks finished"),
            counted(course.days, "worked on {n} day", "worked on {n} days"),
            minutes,
        ],
        ", ",
    )
    return CourseView(
        id=course.course,
        title=course.title,
        summary=summary,
        picture=SafeString(drawing.svg if drawing is not None else ""),  # our own drawing, its words escaped
        picture_words=drawing.words if drawing is not None else "",
        books=tuple(_book(work) for work in course.books),
        covered=_covered(course, planned),
        covered_note="" if common else _covered_note(course),
        share=float(min(covered.share, Fraction(1))) if covered is not None and covered.share else 0.0,
        pace=pace_words(course.pace) if course.pace is not None else "",
        explain=_explain(course, rules),
        narrative=course.narrative,
    )


def _book(work: BookWork) -> BookLine:
    whole = work.book.pages
    if not work.pages:
        pages = say("no pages") if not work.before else say("worked before")
    elif len(work.pages) == whole:
        pages = say("all {pages}", pages=whole)
    else:
        pages = say("{pages} of {whole}", pages=ranges(work.pages), whole=whole)
    if work.state is BookState.IN_HAND and not work.done:
        state = say("in hand, not begun")
    elif work.state is BookState.IN_HAND:
        state = say("in hand, to page {page}", page=max(work.done))
        if len(work.done) == whole:
            state = say("in hand, all pages")
    elif work.state is BookState.FINISHED and work.finished is not None:
        state = say("finished {day}", day=_short(work.finished))
    else:
        state = say(work.state)
    return BookLine(
        str(work.book.number),
        say("{title}, a new copy", title=work.book.title) if work.again else work.book.title,
        pages,
        tuple(_test(t) for t in work.tests if t.kind is TestKind.PRACTICE),
        tuple(_test(t) for t in work.tests if t.kind is TestKind.UNIT),
        state,
    )


def _short(day: date) -> str:
    return short_day_of_month(day)


def _test(test: TestTaken) -> TestLine:
    which = f"{ordinal(test.attempt)}: " if test.attempt > 1 else ""
    if test.right is None:
        return TestLine(which + say("not marked"), say("sat {day}", day=_short(test.day)))
    share = percent(Fraction(test.right, test.asked))
    day = _short(test.day)
    return TestLine(
        which + say("{right} of {asked}, {share}", right=test.right, asked=test.asked, share=share),
        day if test.passed else say("{day}, not passed", day=day),
    )


def _covered(course: CourseReport, planned: int | None) -> str:
    covered = course.covered
    if covered is None or planned is None:
        return counted(
            sum(len(w.pages) for w in course.books),
            "{n} page worked; nothing tells what was planned",
            "{n} pages worked; nothing tells what was planned",
        )
    if covered.share is None:
        return counted(
            covered.done,
            "{n} page of new material done, {planned} planned",
            "{n} pages of new material done, {planned} planned",
            planned=planned,
        )
    return counted(
        covered.done,
        "{n} page of new material done, {planned} planned: {share} of it",
        "{n} pages of new material done, {planned} planned: {share} of it",
        planned=planned,
        share=percent(covered.share),
    )


def _covered_note(course: CourseReport) -> str:
    covered = course.covered
    if covered is None:
        return ""
    if covered.by is PlannedBy.PLAN and covered.plan_taken is not None:
        return say(
            "Planned: by the plan that was in force at the beginning, taken on {day}.",
            day=date_words(covered.plan_taken),
        )
    return say(
        "Planned: an even share, by school days, of what was left of the course when the school year began, or this record within it."
    )


def pace_words(pace: Pace) -> str:
    """A pace with its bands, as a sentence."""
    days = say(
        "Pace: about {pages:.1f} pages a school day on average; {low:.1f} to {high:.1f} in 9 of 10 spells of ten days.",
        pages=pace.pages_a_day,
        low=pace.low,
        high=pace.high,
    )
    if pace.minutes_a_page is None or pace.minutes_low is None or pace.minutes_high is None:
        return days
    minutes = say(
        "About {minutes:.0f} minutes a page; {low:.0f} to {high:.0f} in 9 of 10 pieces of work.",
        minutes=pace.minutes_a_page,
        low=pace.minutes_low,
        high=pace.minutes_high,
    )
    return f"{days} {minutes}"


def _explain(course: CourseReport, rules: Requirements) -> str:
    if not course.explanation_due or course.covered is None or course.covered.share is None:
        return ""
    return say(
        "{share} of what was planned is covered; the chosen profile asks for a written "
        "explanation below {percent} %.",
        share=percent(course.covered.share),
        percent=rules.explain_below_percent,
    )


def as_pdf(view: ReportView, *, day: date, paper: str) -> bytes:
    """The report on paper.

    Raises:
        InputError: there is no such paper.
    """
    return make_pdf("term_report", view, day=day, paper=paper)


def as_values(report: TermReport) -> dict[str, Any]:
    """The report as plain values, for JSON."""
    found = report.attendance
    return {
        "learner": report.learner.key,
        "first": report.span.first.isoformat(),
        "last": report.span.last.isoformat(),
        "as_of": report.as_of.isoformat(),
        "days": float(found.days(report.requirements.half_day_counts)),
        "full_days": found.full,
        "half_days": found.half,
        "absent_days": found.absent,
        "minutes": found.minutes,
        "minutes_are_a_least": found.at_least,
        "school_days": report.school_days,
        "profile": report.requirements.id,
        "courses": [_course_values(course) for course in report.courses],
    }


def _course_values(course: CourseReport) -> dict[str, Any]:
    covered = course.covered
    pace = course.pace
    return {
        "course": course.course,
        "title": course.title,
        "days": course.days,
        "minutes": course.minutes,
        "pieces_without_minutes": course.unclocked,
        "pages_done": covered.done if covered is not None else None,
        "pages_planned": float(covered.planned) if covered is not None else None,
        "planned_by": str(covered.by) if covered is not None else None,
        "explanation_due": course.explanation_due,
        "pages_a_day": [pace.low, pace.pages_a_day, pace.high] if pace is not None else None,
        "minutes_a_page": [pace.minutes_low, pace.minutes_a_page, pace.minutes_high]
        if pace is not None
        else None,
        "narrative": course.narrative,
        "workbooks": [
            {
                "copy": work.copy,
                "workbook": work.book.code,
                "pages": len(work.pages),
                "pages_before": len(work.before),
                "again": work.again,
                "state": str(work.state),
                "finished": work.finished.isoformat() if work.finished else None,
                "tests": [
                    {
                        "test": str(t.kind),
                        "attempt": t.attempt,
                        "day": t.day.isoformat(),
                        "right": t.right,
                        "asked": t.asked,
                        "needed": t.needed,
                        "passed": t.passed,
                    }
                    for t in work.tests
                ],
            }
            for work in course.books
        ],
    }
