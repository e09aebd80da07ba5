"""The progress record of a learner over some days: what was worked, tested, planned and taught, as one frozen value.

It rests on the record as it stood at the end of a day, so that the same report can be made again. The educator's own words
lie beside it and are the only part that somebody may change afterwards.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from fractions import Fraction

from django.db import transaction
from django.db.models import Count

from markstead.errors import InputError, Problem
from markstead.ledger.facts import (
    FactReversed,
    PagesWorked,
    PracticeTestOpened,
    PracticeTestScored,
    UnitTestSat,
    UnitTestScored,
    WorkTakenOver,
)
from markstead.ledger.serial import Entry
from markstead.measure.marks import CopyMarks, marks_of
from markstead.measure.pace import Pace
from markstead.measure.readings import read_courses
from markstead.records.home import Home, Somebody
from markstead.records.models import Narrative, Person
from markstead.records.models import Plan as PlanRow
from markstead.records.past import MIDNIGHT, Past, entries_of, past_of
from markstead.records.plans import KeptPlan, State, kept_plan
from markstead.records.required import chosen
from markstead.rules.attendance import Sum, school_days_of, sum_of
from markstead.rules.programme import Workbook
from markstead.rules.requirements import Requirements
from markstead.rules.spans import Span, periods_of, school_year
from markstead.rules.standing import CopyStatus, Standing, standing_of
from markstead.speech import later, say

MOST_WORDS = 6000
"""Letters of one narrative."""


class TestKind(StrEnum):
    """Which test of a workbook."""

    PRACTICE = later("practice test")
    UNIT = later("unit test")


@dataclass(frozen=True, slots=True)
class TestTaken:
    """One taking of a test; `right` is None as long as it is not marked."""

    kind: TestKind
    attempt: int
    day: date
    right: int | None
    asked: int
    needed: int

    @property
    def passed(self) -> bool:
        return self.right is not None and self.right >= self.needed


class BookState(StrEnum):
    """How far a workbook had come at the end of the span."""

    FINISHED = later("finished")
    NOT_PASSED = later("not passed")
    TO_MARK = later("sat, to be marked")
    IN_HAND = later("in hand")
    SPOILED = later("spoiled")


@dataclass(frozen=True, slots=True)
class BookWork:
    """One copy of a workbook, as far as it was worked in the span."""

    copy: str
    book: Workbook
    before: frozenset[int]
    """Pages worked before the span."""
    pages: frozenset[int]
    """Pages first worked within it."""
    tests: tuple[TestTaken, ...]
    """Taken within it."""
    state: BookState
    finished: date | None
    """The day of the unit test that passed, where it lies in the span."""
    again: bool
    """An earlier copy of the same workbook was worked before: its pages are no new material."""

    @property
    def done(self) -> frozenset[int]:
        return self.before | self.pages


class PlannedBy(StrEnum):
    """What the planned pages rest on."""

    PLAN = "plan"
    SHARE = "even share"


@dataclass(frozen=True, slots=True)
class Covered:
    """Pages of new material done in the span, against those that were planned."""

    done: int
    planned: Fraction
    by: PlannedBy
    plan_taken: date | None = None

    @property
    def share(self) -> Fraction | None:
        """Of what was planned; None where nothing was."""
        return self.done / self.planned if self.planned > 0 else None


@dataclass(frozen=True, slots=True)
class CourseReport:
    """One course of a learner."""

    course: str
    title: str
    books: tuple[BookWork, ...]
    covered: Covered | None
    days: int
    """Days on which pages of it were worked, or a test of it was sat."""
    minutes: int
    unclocked: int
    """Pieces of work of which nobody wrote the minutes."""
    pace: Pace | None
    narrative: str
    explanation_due: bool
    """The home's profile asks for a written explanation: too little of what was planned is covered."""


@dataclass(frozen=True, slots=True)
class TermReport:
    """Everything that a term report says, as values."""

    home: Home
    learner: Somebody
    span: Span
    as_of: date
    """The record as it stood at the end of this day."""
    requirements: Requirements
    courses: tuple[CourseReport, ...]
    attendance: Sum
    school_days: int
    """Of the learner's calendar, up to `until`."""

    @property
    def until(self) -> date:
        """The last day that is reported."""
        return min(self.span.last, self.as_of)


# --- which spans --------------------------------------------------------------------------------------------------


def spans_of(home: Home, today: date) -> tuple[Span, ...]:
    """What a report may be asked for: the terms of this school year, the periods of the home's profile, the year."""
    rules = chosen(home.id)
    year = school_year(home.calendar, today)
    legal = school_year(home.calendar, today, rules.year_begins)
    terms = [
        Span(t.name or "term", t.first, t.last)
        for t in sorted(home.calendar.terms, key=lambda t: t.first)
        if year.holds(t.first)
    ]
    found = [*terms, *periods_of(home.calendar, legal, rules.periods), legal]
    kept: dict[tuple[date, date], Span] = {}
    for span in found:
        kept.setdefault((span.first, span.last), span)
    return tuple(kept.values())


def span_for(home: Home, today: date, first: date | None, last: date | None) -> Span:
    """The span of these days under its name; without days, the term of today or the latest one before.

    Raises:
        InputError: only one of the days is given, or they run backwards.
    """
    if first is None and last is None:
        begun = [t for t in home.calendar.terms if t.first <= today]
        term = max(begun, key=lambda t: t.first, default=None)
        return (
            Span(term.name or say("term"), term.first, term.last)
            if term
            else school_year(home.calendar, today)
        )
    if first is None or last is None or last < first:
        found = say("{first} to {last}", first=first or say("nothing"), last=last or say("nothing"))
        raise InputError(
            [Problem(say("days of the report"), found, say("a first day and a last day, not before it"))]
        )
    if (last - first).days > _LONGEST:
        raise InputError(
            [
                Problem(
                    say("days of the report"),
                    say("{first} to {last}", first=first, last=last),
                    say("two years at most, from first to last"),
                )
            ]
        )
    known = {(s.first, s.last): s for s in spans_of(home, first)}
    return known.get((first, last)) or Span("", first, last)


_LONGEST = 2 * 366


# --- making one ---------------------------------------------------------------------------------------------------


def term_report(home: Home, learner: str, span: Span, *, as_of: date) -> TermReport:
    """Read the report of a learner; the same home, span and day give the same report as long as the narrative stands.

    Raises:
        InputError: the span begins after `as_of`.
        UnknownError: there is no such learner.
    """
    if as_of < span.first:
        allowed = say("a day from {day} on, the first that is reported", day=span.first)
        raise InputError([Problem(say("as of"), str(as_of), allowed)])
    past = past_of(home, as_of)
    somebody = past.learner(learner)
    return _Reader(past, somebody, span).report()


class _Reader:
    """Reads one learner's record and cuts it into courses."""

    def __init__(self, past: Past, learner: Somebody, span: Span) -> None:
        self.past, self.home, self.learner, self.span = past, past.home, learner, span
        self.calendar, self.programme = past.home.calendar, past.home.programme
        self.until = min(span.last, past.day)
        self.narratives = narratives_of(learner.id, span)
        self.entries = entries_of(past, learner.id, since=span.first, courses=self.narratives)
        self.requirements = chosen(past.home.id, past.end)
        self.school_year = school_year(self.calendar, span.first)
        self.year_days = self.calendar.school_days(self.school_year.first, self.school_year.last)
        self.began = self._taken_over_on()
        self.of_copy: dict[str, list[Entry]] = defaultdict(list)
        for entry in self.entries:
            copy = getattr(entry.fact, "copy", None)
            if copy is not None:
                self.of_copy[copy].append(entry)
        self.standings: dict[str, Standing] = {}
        self.marks: dict[str, CopyMarks] = {}
        for copy, kept in self.of_copy.items():
            then = self._then(kept)
            self.standings[copy] = standing_of(copy, then)
            self.marks[copy] = marks_of(copy, then)
        going = self._going_on()
        self.copies = [
            c for c in self.of_copy if self._known(self.standings[c]) and self._course_of(c) in going
        ]
        self.copies.sort(key=lambda c: (self.standings[c].issued or past.end, c))

    def _course_of(self, copy: str) -> str:
        return self.programme.workbook(self.standings[copy].workbook).course

    def _going_on(self) -> set[str]:
        """The courses of the report, and those beside which pace is judged: with a copy in hand at its end, with something
        written since its first day, or with a narrative.

        The record may be read with less left out than that, by what was written after the past day.
        """
        first = self.calendar.instant_of(self.span.first, MIDNIGHT)
        going = set(self.narratives)
        for copy, kept in self.of_copy.items():
            if self._known(self.standings[copy]) and (
                self._in_hand(copy) or any(e.at >= first for e in kept)
            ):
                going.add(self._course_of(copy))
        return going

    def _known(self, standing: Standing) -> bool:
        return standing.issued is not None and standing.workbook in self.programme.workbooks

    def _then(self, entries: Iterable[Entry]) -> list[Entry]:
        """Facts of up to the end of the span; what was taken back later is taken back here too."""
        day_of = self.calendar.day_of
        return [e for e in entries if isinstance(e.fact, FactReversed) or day_of(e.at) <= self.until]

    def report(self) -> TermReport:
        days = school_days_of(self.entries, self.learner.id, self.calendar)
        plan = plan_then(self.past, self.span)
        paces = self._paces()
        by_course: dict[str, list[str]] = defaultdict(list)
        for copy in self.copies:
            by_course[self._course_of(copy)].append(copy)
        courses = []
        for course in self.programme.courses.values():
            copies = by_course.get(course.id)
            if copies:
                found = self._course(course.id, copies, plan, paces.get(course.id), self.narratives)
                if found.books or found.narrative:
                    courses.append(found)
        return TermReport(
            self.home,
            self.learner,
            self.span,
            self.past.day,
            self.requirements,
            tuple(courses),
            sum_of(days, self.span.first, self.until),
            len(self.calendar.school_days(self.span.first, self.until, self.learner.id)),
        )

    def _paces(self) -> dict[str, Pace]:
        marks = [self.marks[copy] for copy in self.copies]
        courses = list(dict.fromkeys(self.programme.workbook(m.workbook).course for m in marks))
        found = read_courses(marks, courses, self.programme, self.calendar, self.learner.id, self.until)
        return {one.course: one.pace for one in found}

    def _course(
        self,
        course: str,
        copies: Sequence[str],
        plan: KeptPlan | None,
        pace: Pace | None,
        narratives: Mapping[str, str],
    ) -> CourseReport:
        known: set[tuple[str, int]] = set()
        before_year: set[tuple[str, int]] = set()
        books, new, days = [], 0, set[date]()
        minutes = unclocked = 0
        worked_books: set[str] = set()
        for copy in copies:
            book = self.programme.workbook(self.standings[copy].workbook)
            pages = self._pages(copy)
            before = frozenset(p for p, day in pages.items() if day is None or day < self.span.first)
            within = frozenset(p for p in pages if p not in before)
            tests = self._tests(copy)
            again = book.code in worked_books
            if pages:
                worked_books.add(book.code)
            fresh = {(book.code, p) for p in within} - known
            new += len(fresh)
            known |= {(book.code, p) for p in pages}
            before_year |= {
                (book.code, p) for p, day in pages.items() if day is None or day < self.school_year.first
            }
            work = self._work(copy)
            days |= {day for day, _ in work} | {t.day for t in tests if t.kind is TestKind.UNIT}
            minutes += sum(m or 0 for _, m in work)
            unclocked += sum(m is None for _, m in work)
            if within or tests or self._in_hand(copy):
                books.append(self._book(copy, book, before, within, tests, again=again))
        covered = self._covered(course, new, plan, before_year)
        due = covered is not None and self.requirements.explanation_due(covered.done, covered.planned)
        return CourseReport(
            course,
            self.programme.course(course).title,
            tuple(books),
            covered,
            len(days),
            minutes,
            unclocked,
            pace,
            narratives.get(course, ""),
            due,
        )

    def _in_hand(self, copy: str) -> bool:
        """The learner had it at the end of the span, and it was not finished before."""
        standing = self.standings[copy]
        return standing.status is CopyStatus.ISSUED

    def _standing_facts(self, copy: str) -> list[Entry]:
        kept = self.of_copy[copy]
        gone = {e.fact.entry for e in kept if isinstance(e.fact, FactReversed)}
        return [e for e in kept if e.seq not in gone]

    def _pages(self, copy: str) -> dict[int, date | None]:
        """Each page worked up to the end of the span, and the day on which it was first; None: taken over."""
        pages: dict[int, date | None] = {}
        for entry in self._standing_facts(copy):
            fact = entry.fact
            if isinstance(fact, WorkTakenOver):
                pages.update((page, None) for page in range(1, fact.last + 1))
            elif isinstance(fact, PagesWorked) and fact.day <= self.until:
                for page in range(fact.first, fact.last + 1):
                    was = pages.get(page, fact.day)
                    pages[page] = was if was is None else min(was, fact.day)
        return pages

    def _work(self, copy: str) -> list[tuple[date, int | None]]:
        """Day and minutes of every piece of work in the span."""
        found = []
        sat: date | None = None
        for entry in self._standing_facts(copy):
            fact = entry.fact
            if isinstance(fact, PagesWorked):
                found.append((fact.day, fact.minutes))
            elif isinstance(fact, PracticeTestOpened):
                found.append((self.calendar.day_of(entry.at), None))
            elif isinstance(fact, UnitTestSat):
                sat = fact.day
            elif isinstance(fact, UnitTestScored):
                found.append((sat or self.calendar.day_of(entry.at), fact.minutes))
        return [(day, minutes) for day, minutes in found if self.span.first <= day <= self.until]

    def _tests(self, copy: str) -> tuple[TestTaken, ...]:
        """Tests taken in the span, in their order; a mark counts although it came later, if it is on the record."""
        found: list[TestTaken] = []
        for entry in self._standing_facts(copy):
            fact = entry.fact
            if isinstance(fact, PracticeTestScored):
                day = self.calendar.day_of(entry.at)
                found.append(
                    TestTaken(TestKind.PRACTICE, fact.attempt, day, fact.right, fact.asked, fact.needed)
                )
            elif isinstance(fact, UnitTestSat):
                found.append(TestTaken(TestKind.UNIT, fact.attempt, fact.day, None, 0, 0))
            elif isinstance(fact, UnitTestScored) and found and found[-1].kind is TestKind.UNIT:
                sat = found[-1]
                found[-1] = TestTaken(
                    TestKind.UNIT, sat.attempt, sat.day, fact.right, fact.asked, fact.needed
                )
        return tuple(t for t in found if self.span.first <= t.day <= self.until)

    def _book(
        self,
        copy: str,
        book: Workbook,
        before: frozenset[int],
        within: frozenset[int],
        tests: tuple[TestTaken, ...],
        *,
        again: bool,
    ) -> BookWork:
        unit = next((t for t in reversed(tests) if t.kind is TestKind.UNIT), None)
        state = self._state(self.standings[copy], unit)
        finished = unit.day if unit is not None and unit.passed else None
        return BookWork(copy, book, before, within, tests, state, finished, again)

    def _state(self, standing: Standing, unit: TestTaken | None) -> BookState:
        if standing.status is CopyStatus.SPOILED:
            return BookState.SPOILED
        if unit is not None and unit.right is not None and standing.unit is not None:
            return BookState.FINISHED if unit.passed else BookState.NOT_PASSED
        if standing.unit is None:
            return BookState.IN_HAND
        if standing.unit.scored is None:
            return BookState.TO_MARK
        return BookState.FINISHED if standing.passed else BookState.NOT_PASSED

    # --- what was planned

    def _covered(
        self, course: str, done: int, plan: KeptPlan | None, before_year: set[tuple[str, int]]
    ) -> Covered | None:
        if plan is not None:
            pages = planned_pages(plan, self.learner.id, course, self.span.first, self.until)
            if pages is not None and plan.taken is not None:
                taken = self.calendar.day_of(plan.taken)
                return Covered(done, Fraction(pages), PlannedBy.PLAN, taken)
        return self._even_share(course, done, before_year)

    def _even_share(self, course: str, done: int, before_year: set[tuple[str, int]]) -> Covered | None:
        """Of what was left of the course when the school year began, so much as of its school days lies in the span.

        Where the record of the learner began within the year, with work that was taken over, it counts from then on.
        """
        began = self.began
        days = [day for day in self.year_days if began is None or day >= began]
        inside = [day for day in days if self.span.first <= day <= self.until]
        if not inside:
            return None
        given = [self.programme.workbook(self.standings[c].workbook) for c in self.copies]
        begins = min(book.number for book in given if book.course == course)
        left = [b for b in self.programme.course(course).workbooks if b.number >= begins]
        pages = sum(b.pages for b in left) - sum(
            (code, page) in before_year for code, page in before_year if code in {b.code for b in left}
        )
        return Covered(done, Fraction(pages * len(inside), len(days)), PlannedBy.SHARE)

    def _taken_over_on(self) -> date | None:
        """The day on which the record of the learner began, where what was worked before was taken over on it."""
        days = [(self.calendar.day_of(entry.at), entry.fact) for entry in self.entries]
        first = min((day for day, _ in days), default=None)
        over = any(day == first and isinstance(fact, WorkTakenOver) for day, fact in days)
        return first if over else None


def plan_then(past: Past, span: Span) -> KeptPlan | None:
    """The plan that was in force on the first school day of a span; None where none was, or it has no day in the span."""
    days = past.home.calendar.school_days(span.first, min(span.last, past.day))
    if not days:
        return None
    end = past.home.calendar.instant_of(days[0] + timedelta(days=1), MIDNIGHT)
    rows = PlanRow.objects.filter(
        household=past.home.id, state__in=[State.IN_FORCE, State.EARLIER], taken__lt=min(end, past.end)
    )
    number = rows.order_by("-taken", "-number").values_list("number", flat=True).first()
    if number is None:
        return None
    plan = kept_plan(past.home.id, number)
    has_days = any(span.first <= day <= span.last for day in plan.problem.days)
    return plan if has_days and plan.answer is not None and plan.answer.places else None


def planned_pages(plan: KeptPlan, learner: str, course: str, first: date, until: date) -> int | None:
    """Pages that a plan has for a course on days from `first` to `until`; None where it does not know the course."""
    if plan.answer is None:
        return None
    for stream, path in zip(plan.problem.streams, plan.answer.places, strict=True):
        if (stream.learner, stream.course) != (learner, course):
            continue

        def pages_at(place: int, stream: object = stream) -> int:
            index, steps = stream.at(place)  # type: ignore[attr-defined]
            books = stream.workbooks  # type: ignore[attr-defined]
            return sum(book.pages for book in books[:index]) + min(steps, books[index].pages)

        days = plan.problem.days
        before = [place for day, place in zip(days, path, strict=True) if day < first]
        up_to = [place for day, place in zip(days, path, strict=True) if day <= until]
        start = before[-1] if before else stream.done
        return pages_at(up_to[-1] if up_to else start) - pages_at(start)
    return None


# --- the educator's words -----------------------------------------------------------------------------------------


def narratives_of(learner: str, span: Span) -> dict[str, str]:
    """What was written of each course of a learner for a span."""
    rows = Narrative.objects.filter(learner=learner, first=span.first, last=span.last)
    return dict(rows.values_list("course", "text"))


def all_narratives(home: Home, learner: str) -> tuple[tuple[str, date, date, str], ...]:
    """Everything that was written of a learner, by id or key: course, first and last day, text."""
    found = home.find(learner)
    rows = Narrative.objects.filter(learner=found.id if found else None).order_by("id")
    return tuple(rows.values_list("course", "first", "last", "text"))


def written_counts(home: Home, span: Span) -> dict[str, int]:
    """Of how many courses of each learner something is written for a span."""
    rows = Narrative.objects.filter(learner__household=home.id, first=span.first, last=span.last)
    return dict(rows.values_list("learner").annotate(n=Count("id")))


def keep_narrative(home: Home, *, learner: str, course: str, span: Span, text: str, at: datetime) -> str:
    """Keep the draft of a narrative; an empty one is taken away. Give it as it is kept.

    Raises:
        InputError: it is too long.
        UnknownError: there is no such learner or course.
    """
    who = home.learner(learner)
    home.programme.course(course)
    kept = text.replace("\r\n", "\n").replace("\r", "\n").strip()
    if len(kept) > MOST_WORDS:
        allowed = say("up to {most} letters", most=MOST_WORDS)
        raise InputError(
            [
                Problem(
                    say("narrative"),
                    say("{n} letters", n=len(kept)),
                    allowed,
                    say("Shorten it; the draft before it is kept."),
                )
            ]
        )
    where = {
        "learner": Person.objects.get(id=who.id),
        "course": course,
        "first": span.first,
        "last": span.last,
    }
    with transaction.atomic():
        if kept:
            Narrative.objects.update_or_create(**where, defaults={"text": kept, "saved": at})
        else:
            Narrative.objects.filter(**where).delete()
    return kept
