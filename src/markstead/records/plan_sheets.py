"""What the plan in force says of a term, of the year and of the educator's next mornings: plain values for pages and papers.

Everything is read from the plan that is kept, and from the record where something is done already. Nothing is planned here.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from statistics import median_low

from markstead.calendar import DayKind, Term
from markstead.forecast.outlook import Chance, DoneBy, FinishDates
from markstead.plan.answer import Goal
from markstead.plan.moves import HALF
from markstead.records.desk import facts_and_standings
from markstead.records.home import Home, Somebody
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Entry as EntryRow
from markstead.records.outlooks import NeedLine, YearReading, year_of
from markstead.records.planned import planned_by
from markstead.records.plans import KeptPlan
from markstead.rules.standing import Standing
from markstead.speech import later

LOAD_DAYS = 10
"""School days whose mornings are told."""
USUAL_BEGIN = time(9, 0)
"""When school begins where the record does not tell."""
LOOK_BACK = timedelta(days=28)
"""Four weeks of first acts tell when school begins: enough for a middle, and soon new after a change of habit."""
MINUTES_OF_A_DAY = 24 * 60


class MarkKind(StrEnum):
    """What happens in a workbook on a planned day beside pages."""

    BEGUN = later("begun")
    CHECK = later("progress check")
    PRACTICE = later("practice test")
    UNIT = later("unit test")


@dataclass(frozen=True, slots=True)
class Mark:
    """One thing that happens in a workbook on a planned day."""

    day: date
    kind: MarkKind
    learner: str
    course: str
    workbook: str


@dataclass(frozen=True, slots=True)
class Place:
    """Where a learner stands in a course at the end of a planned week."""

    workbook: str
    page: int
    """Pages done of the workbook."""
    pages: int
    tests: int = 0
    """0: none of its tests is held; 1: the practice test is; 2: the unit test too."""


@dataclass(frozen=True, slots=True)
class Off:
    """A weekday of a planned week on which a learner does no school, or half of it."""

    day: date
    kind: DayKind


@dataclass(frozen=True, slots=True)
class Week:
    """How full a week of one learner is."""

    monday: date
    days: int
    """School days that are planned."""
    mean: float | None
    """Share of the minutes that are wished for; None without a school day."""
    fullest: float | None
    fullest_day: date | None
    pages: int
    off: tuple[Off, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class CourseWeeks:
    """One course of a learner, week by week."""

    course: str
    places: tuple[Place | None, ...]


@dataclass(frozen=True, slots=True)
class LearnerTerm:
    """A learner's term."""

    learner: Somebody
    weeks: tuple[Week, ...]
    courses: tuple[CourseWeeks, ...]


@dataclass(frozen=True, slots=True)
class TargetSight:
    """A target under the plan, with the chance that the forecast gives it."""

    learner: str
    course: str
    workbook: str
    due: date
    planned: date | None
    """None: not within the days that are planned, or done already."""
    late: int
    """School days."""
    done: bool
    chance: Chance | None


@dataclass(frozen=True, slots=True)
class TermSheet:
    """A term under the plan in force."""

    term: Term
    first: date
    last: date
    mondays: tuple[date, ...]
    learners: tuple[LearnerTerm, ...]
    targets: tuple[TargetSight, ...]
    """Of this term: due in it, or overdue before it; where there is none, those that are due next. The earliest first."""


@dataclass(frozen=True, slots=True)
class Run:
    """One workbook as it is planned: from its first planned day to its unit test."""

    workbook: str
    begins: date
    goes_on: bool
    """It was begun before the first planned day."""
    practice: date | None
    unit: date | None
    ends: date
    """The last planned day in it."""


@dataclass(frozen=True, slots=True)
class Passed:
    """A unit test that was passed in this school year."""

    workbook: str
    day: date


@dataclass(frozen=True, slots=True)
class CourseYear:
    """One course over the school year."""

    course: str
    passed: tuple[Passed, ...]
    runs: tuple[Run, ...]
    finish: FinishDates | None
    short: int
    """Steps (pages and tests) by which the plan ends before the end of the course."""


@dataclass(frozen=True, slots=True)
class LearnerYearSheet:
    """A learner's school year."""

    learner: Somebody
    courses: tuple[CourseYear, ...]
    by_week: tuple[DoneBy, ...]
    by_month: tuple[DoneBy, ...]
    needs: tuple[NeedLine, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class YearSheet:
    """The school year under the plan in force."""

    first: date
    last: date
    learners: tuple[LearnerYearSheet, ...]
    targets: tuple[TargetSight, ...]


@dataclass(frozen=True, slots=True)
class HourStops:
    """Marking stops that are expected within one hour of a day."""

    hour: int
    stops: int


@dataclass(frozen=True, slots=True)
class Morning:
    """One school day of the educator."""

    day: date
    sittings: tuple[Mark, ...]
    can_watch: int
    """Unit tests that can be watched on that morning; 0 where no grown-up is there."""
    practice: tuple[Mark, ...]
    checks: tuple[Mark, ...]
    hours: tuple[HourStops, ...]

    @property
    def room(self) -> int:
        """Unit tests for which there is still room."""
        return max(0, self.can_watch - len(self.sittings))

    @property
    def stops(self) -> int:
        """Marking stops of the day."""
        return sum(hour.stops for hour in self.hours)


@dataclass(frozen=True, slots=True)
class Load:
    """What the next school days ask of the educator."""

    mornings: tuple[Morning, ...]
    begins: time
    learnt: int
    """School days of the record from which the beginning is known; 0: it is a guess."""


@dataclass(frozen=True, slots=True)
class Slip:
    """A course whose learner stands elsewhere than the plan says."""

    learner: str
    course: str
    steps: int
    """Pages and tests further than planned; below nothing: behind."""


# --- how well the plan fits ---------------------------------------------------------------------------------------


def slips(home: Home, plan: KeptPlan, today: date) -> tuple[Slip, ...]:
    """Courses in which the plan's last day before today and the record differ; none before a planned day is over."""
    before = [n for n, day in enumerate(plan.problem.days) if day < today]
    if plan.answer is None or not plan.answer.places or not before:
        return ()
    rows = list(CopyRow.objects.filter(household=home.id, live=True).order_by("id"))
    standings = [standing for _, standing in facts_and_standings(home.id, rows).values()]
    over = set(CopyRow.objects.filter(household=home.id, passed=True).values_list("learner", "workbook"))
    found = []
    for stream, path in zip(plan.problem.streams, plan.answer.places, strict=True):
        mine = {s.workbook: s for s in standings if s.learner == stream.learner and s.in_hand}
        place = stream.done
        for index, book in enumerate(stream.workbooks):
            if (stream.learner, book.code) in over:
                place = max(place, stream.start(index + 1))
            elif book.code in mine:
                place = max(
                    place, stream.start(index) + _steps(mine[book.code], book.pages, book.steps, today)
                )
        if place != path[before[-1]]:
            found.append(Slip(stream.learner, stream.course, place - path[before[-1]]))
    return tuple(found)


def _steps(standing: Standing, pages: int, steps: int, today: date) -> int:
    """Steps done in the workbook in hand before today: pages of today do not count as ahead of yesterday's plan."""
    if standing.unit is not None:
        return steps
    if standing.practice_passed:
        return steps - 1
    today_pages = standing.latest_day_pages if standing.latest_day == today else frozenset()
    return min(len(standing.pages - today_pages), pages)


# --- the term -----------------------------------------------------------------------------------------------------


def term_of(home: Home, today: date) -> Term | None:
    """The term that holds a day, or the next one."""
    return next(
        (term for term in sorted(home.calendar.terms, key=lambda t: t.first) if term.last >= today), None
    )


def terms_planned(home: Home, plan: KeptPlan) -> tuple[Term, ...]:
    """The terms in which the plan has a day, in their order."""
    days = plan.problem.days
    terms = sorted(home.calendar.terms, key=lambda term: term.first)
    return tuple(term for term in terms if any(term.first <= day <= term.last for day in days))


def term_sheet(home: Home, plan: KeptPlan, today: date, on: date | None = None) -> TermSheet | None:
    """Tell a term; None where the plan has no day in it.

    Args:
        home: whose term.
        plan: what is planned in it.
        today: from this day on chances are told.
        on: a day of the term that is meant, or before it; None: today.
    """
    term = term_of(home, on or today)
    if term is None or plan.answer is None or not plan.answer.places:
        return None
    days = [day for day in plan.problem.days if term.first <= day <= term.last]
    if not days:
        return None
    mondays = tuple(sorted({_monday(day) for day in days}))
    halves = plan.loads()
    planned = {limits.learner for limits in plan.problem.learners}
    learners = tuple(
        LearnerTerm(
            learner,
            tuple(_week(home, plan, learner, monday, days, halves[learner.id]) for monday in mondays),
            tuple(
                _course_weeks(home, plan, learner, course, mondays, days)
                for course in _courses(plan, learner)
            ),
        )
        for learner in home.learners
        if learner.id in planned
    )
    targets = _of_term(target_sights(home, plan, today), term)
    return TermSheet(term, days[0], days[-1], mondays, learners, targets)


def _of_term(targets: Sequence[TargetSight], term: Term) -> tuple[TargetSight, ...]:
    open_ = [t for t in targets if not t.done or t.due >= term.first]
    until = max(term.last, min((t.due for t in open_), default=term.last))
    return tuple(t for t in open_ if t.due <= until)


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _courses(plan: KeptPlan, learner: Somebody) -> list[str]:
    return [s.course for s in plan.problem.streams if s.learner == learner.id]


def _week(
    home: Home, plan: KeptPlan, learner: Somebody, monday: date, days: Sequence[date], halves: Sequence[int]
) -> Week:
    limits = plan.problem.limits(learner.id)
    within = [day for day in days if _monday(day) == monday]
    shares: list[tuple[float, date]] = []
    for day in within:
        n = plan.problem.days.index(day)
        if limits.here[n] and limits.soft[n] > 0:
            shares.append((halves[n] / limits.soft[n], day))
    fullest = max(shares, key=lambda pair: pair[0], default=None)
    goals = [g for day in within for g in plan.every_goal(day) if g.learner == learner.id]
    return Week(
        monday,
        len(shares),
        sum(share for share, _ in shares) / len(shares) if shares else None,
        fullest[0] if fullest else None,
        fullest[1] if fullest else None,
        sum(goal.pages for goal in goals),
        tuple(_off(home, learner, monday, days[0], days[-1])),
        tuple(mark for day in within for mark in _marks(home, plan, day) if mark.learner == learner.id),
    )


def _off(home: Home, learner: Somebody, monday: date, first: date, last: date) -> Iterator[Off]:
    for n in range(7):
        day = monday + timedelta(days=n)
        kind = home.calendar.kind(day, learner.id)
        if first <= day <= last and kind not in (DayKind.SCHOOL, DayKind.NOT_TAUGHT_WEEKDAY):
            yield Off(day, kind)


def _marks(home: Home, plan: KeptPlan, day: date) -> Iterator[Mark]:
    for goal in plan.every_goal(day):
        who = (goal.learner, goal.course, goal.workbook)
        if goal.first is not None and goal.last is not None:
            if goal.first == 1:
                yield Mark(day, MarkKind.BEGUN, *who)
            checks = home.programme.workbook(goal.workbook).checks
            for stop in checks:
                if goal.first <= stop.last <= goal.last:
                    yield Mark(day, MarkKind.CHECK, *who)
        if goal.practice:
            yield Mark(day, MarkKind.PRACTICE, *who)
        if goal.unit:
            yield Mark(day, MarkKind.UNIT, *who)


def _course_weeks(
    home: Home, plan: KeptPlan, learner: Somebody, course: str, mondays: Sequence[date], days: Sequence[date]
) -> CourseWeeks:
    ends = {_monday(day): day for day in days}
    return CourseWeeks(course, tuple(_place(home, plan, learner.id, course, ends[m]) for m in mondays))


def _place(home: Home, plan: KeptPlan, learner: str, course: str, day: date) -> Place | None:
    found = plan.told().get((learner, course), {}).get(day)
    if found is None:
        return None
    stream = next(s for s in plan.problem.streams if (s.learner, s.course) == (learner, course))
    code, steps = found
    if steps == 0 and (index := stream.index(code)):
        # The end of one workbook is the beginning of the next: a parent looks for the test that is just held.
        code, steps = stream.workbooks[index - 1].code, stream.workbooks[index - 1].steps
    pages = home.programme.workbook(code).pages
    book = stream.workbooks[stream.index(code) or 0]
    tests = 2 if steps >= book.steps else 1 if steps > pages else 0
    return Place(code, min(steps, pages), pages, tests)


# --- targets ------------------------------------------------------------------------------------------------------


def reading_of(home: Home, plan: KeptPlan, learner: Somebody, today: date) -> YearReading:
    """The forecast of a learner who works by the plan."""
    return year_of(home, learner, today, planned=planned_by(home, plan, learner, today))


def target_sights(home: Home, plan: KeptPlan, today: date) -> tuple[TargetSight, ...]:
    """Every target of the plan, the earliest first."""
    if plan.answer is None:
        return ()
    due = {(w.learner, w.course, w.workbook): w.by for w in home.wishes.targets}
    chances: dict[tuple[str, str, str], Chance] = {}
    for learner in home.learners:
        if any(key[0] == learner.id for key in due):
            for line in reading_of(home, plan, learner, today).targets:
                if line.told is not None:
                    chances[learner.id, line.target.course, line.target.workbook or ""] = line.told.chance
    found = []
    for met in plan.answer.targets:
        key = (met.target.learner, met.target.course, met.target.workbook)
        day = plan.problem.days[met.day] if met.day is not None and met.day >= 0 else None
        by = due.get(key, plan.problem.days[met.target.day])
        done = met.day is not None and met.day < 0
        found.append(TargetSight(*key, by, day, met.late, done, chances.get(key)))
    return tuple(sorted(found, key=lambda t: (t.due, t.learner, t.course)))


# --- the year -----------------------------------------------------------------------------------------------------


def year_sheet(home: Home, plan: KeptPlan, today: date) -> YearSheet | None:
    """Tell the school year: what is passed, what is planned, and how sure the end of each course is."""
    if plan.answer is None or not plan.answer.places:
        return None
    first = min((term.first for term in home.calendar.terms), default=plan.problem.days[0])
    last = plan.problem.days[-1]
    passed = _passed(home, first)
    planned = {limits.learner for limits in plan.problem.learners}
    learners = tuple(
        _learner_year(home, plan, learner, today, passed)
        for learner in home.learners
        if learner.id in planned
    )
    return YearSheet(min(first, plan.problem.days[0]), last, learners, target_sights(home, plan, today))


def _passed(home: Home, first: date) -> dict[tuple[str, str], list[Passed]]:
    rows = CopyRow.objects.filter(household=home.id, passed=True, scored_on__gte=first).order_by("scored_on")
    found: dict[tuple[str, str], list[Passed]] = defaultdict(list)
    for learner, code, day in rows.values_list("learner", "workbook", "scored_on"):
        if code in home.programme.workbooks:
            found[learner or "", home.programme.workbook(code).course].append(Passed(code, day))
    return found


def _learner_year(
    home: Home,
    plan: KeptPlan,
    learner: Somebody,
    today: date,
    passed: dict[tuple[str, str], list[Passed]],
) -> LearnerYearSheet:
    assert plan.answer is not None
    reading = reading_of(home, plan, learner, today)
    finishes = {line.course: line.finish for line in reading.courses}
    courses = []
    for stream, path in zip(plan.problem.streams, plan.answer.places, strict=True):
        if stream.learner == learner.id:
            courses.append(
                CourseYear(
                    stream.course,
                    tuple(passed.get((learner.id, stream.course), ())),
                    tuple(_runs(plan, learner.id, stream.course)),
                    finishes.get(stream.course),
                    stream.steps - (path[-1] if path else stream.done),
                )
            )
    return LearnerYearSheet(
        learner, tuple(courses), reading.by_week, reading.by_month, reading.needs, reading.notes
    )


def _runs(plan: KeptPlan, learner: str, course: str) -> Iterator[Run]:
    assert plan.answer is not None
    goals: dict[str, list[Goal]] = {}
    for goal in plan.answer.goals:
        if (goal.learner, goal.course) == (learner, course):
            goals.setdefault(goal.workbook, []).append(goal)
    days = plan.problem.days
    for code, own in goals.items():
        yield Run(
            code,
            days[own[0].day],
            own[0].first != 1,
            next((days[g.day] for g in own if g.practice), None),
            next((days[g.day] for g in own if g.unit), None),
            days[own[-1].day],
        )


# --- the educator's load ------------------------------------------------------------------------------------------


def load(home: Home, plan: KeptPlan, today: date, *, days: int = LOAD_DAYS) -> Load:
    """Tell what the next school days ask of the educator.

    The hours are a guess: each learner takes the courses one after another in their usual order, at the plan's minutes a
    page, from the time at which the first act of a day usually is.
    """
    begins, learnt = _usual_begin(home, today)
    coming = [day for day in plan.problem.days if day >= today][:days]
    return Load(tuple(_morning(home, plan, day, begins) for day in coming), begins, learnt)


def _morning(home: Home, plan: KeptPlan, day: date, begins: time) -> Morning:
    marks = list(_marks(home, plan, day))

    def of(kind: MarkKind) -> tuple[Mark, ...]:
        return tuple(mark for mark in marks if mark.kind is kind)

    return Morning(
        day,
        of(MarkKind.UNIT),
        plan.problem.watched[plan.problem.days.index(day)],
        of(MarkKind.PRACTICE),
        of(MarkKind.CHECK),
        _hours(home, plan, day, begins),
    )


def _hours(home: Home, plan: KeptPlan, day: date, begins: time) -> tuple[HourStops, ...]:
    clock: dict[str, float] = defaultdict(lambda: begins.hour * 60.0 + begins.minute)
    books = {(s.learner, b.code): b for s in plan.problem.streams for b in s.workbooks}
    found: dict[int, int] = defaultdict(int)
    for goal in plan.every_goal(day):
        book = books[goal.learner, goal.workbook]
        if goal.unit:
            clock[goal.learner] += book.unit_halves / HALF
        if goal.first is not None and goal.last is not None:
            a_page = book.halves_a_page / HALF
            for stop in home.programme.workbook(goal.workbook).stops:
                if goal.first <= stop.last <= goal.last:
                    at = clock[goal.learner] + (stop.last - goal.first + 1) * a_page
                    found[int(min(at, MINUTES_OF_A_DAY - 1)) // 60] += 1
            clock[goal.learner] += goal.pages * a_page
        if goal.practice:
            clock[goal.learner] += book.practice_halves / HALF
    return tuple(HourStops(hour, found[hour]) for hour in sorted(found))


def _usual_begin(home: Home, today: date) -> tuple[time, int]:
    """The middle of the first acts of the latest school days, to the quarter hour below; and how many days tell it."""
    since = home.calendar.instant_of(today - LOOK_BACK, time(0))
    until = home.calendar.instant_of(today, time(0))
    instants = EntryRow.objects.filter(household=home.id, at__gte=since, at__lt=until)
    firsts: dict[date, datetime] = {}
    for at in instants.order_by("at").values_list("at", flat=True):
        local = home.calendar.at_home(at)
        if local.date() not in firsts and home.calendar.is_school_day(local.date()):
            firsts[local.date()] = local
    if not firsts:
        return USUAL_BEGIN, 0
    middle = median_low(60 * first.hour + first.minute for first in firsts.values()) // 15 * 15
    return time(middle // 60, middle % 60), len(firsts)
