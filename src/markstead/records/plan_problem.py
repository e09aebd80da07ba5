"""What is to be planned, put together from a home: its calendar, its wishes, and where each learner stands."""

import math
from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cache

from markstead.calendar.school import DayKind
from markstead.errors import InputError
from markstead.errors import Problem as Wrong
from markstead.measure.readings import CoursePace
from markstead.plan.problem import Fixed, LearnerLimits, Problem, Stream, Target, WorkbookToDo
from markstead.plan.wishes import CourseWish, TargetWish
from markstead.records.home import Home, Somebody
from markstead.rules.programme import Workbook
from markstead.rules.standing import CopyStatus, Standing
from markstead.speech import date_words, later, say

MOST_DAYS = 260
"""School days that are planned at most."""
DAY = timedelta(days=1)
LOOK_AHEAD = timedelta(days=400)
"""Terms that begin later than this are not planned yet."""
ROOM, STEADY = 1.25, 0.85
"""Pages a day that are comfortable, and the least, over those that would just do."""


@dataclass(frozen=True, slots=True)
class ByHand:
    """A goal that somebody set by hand: so many steps done in a workbook at the end of a day."""

    learner: str
    course: str
    workbook: str
    day: date
    steps: int


Told = Mapping[date, tuple[str, int]]
"""What was announced of one course: workbook and steps done in it, at the end of each school day."""


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything that a problem is made from."""

    home: Home
    now: datetime
    standings: Sequence[Standing]
    """Of every copy that is not over: on order, in the house, issued, or waiting for its new copy."""
    passed: Mapping[str, Set[str]]
    """Codes of the workbooks whose unit test is passed, by learner."""
    paces: Mapping[str, Sequence[CoursePace]]
    """Of each learner."""
    lead_days: Callable[[str | None], int]
    """Days after which a workbook of a supplier can be counted on."""
    sat_today: int = 0
    """Unit tests that were sat this morning already."""
    told: Mapping[tuple[str, str], Told] = field(default_factory=dict)
    by_hand: tuple[ByHand, ...] = ()
    more_sittings: int = 0
    """Sittings a morning beyond those of the programme, where that is tried."""


def first_day(home: Home, now: datetime) -> date:
    """The first day that a plan made now can still arrange: today until noon, then the next school day.

    Raises:
        InputError: there is none.
    """
    local = home.calendar.at_home(now)
    today = local.date()
    days = school_days(home, today)
    later = [day for day in days if day > today or local.hour < 12]
    if not later:
        found = say("no school day after {day}", day=date_words(today))
        raise InputError(
            [Wrong(say("the calendar"), found, say("at least one to plan"), say("Enter the next term."))]
        )
    return later[0]


def school_days(home: Home, first: date) -> list[date]:
    """The school days of the home from a day on, as far as its terms are entered."""
    ends = [term.last for term in home.calendar.terms if term.first <= first + LOOK_AHEAD]
    last = min(max(ends, default=first), first + LOOK_AHEAD)
    return home.calendar.school_days(first, last)[:MOST_DAYS] if last >= first else []


def problem_of(scene: Scene, first: date) -> Problem:
    """Put the problem of a home together, from a day on.

    Raises:
        InputError: no school days, or nothing to plan.
    """
    home = scene.home
    days = school_days(home, first)
    if not days:
        found = say("no school day from {day} on", day=date_words(first))
        raise InputError(
            [Wrong(say("the calendar"), found, say("at least one to plan"), say("Enter the next term."))]
        )
    maker = _Maker(scene, days)
    streams = [
        stream
        for learner in home.learners
        for course in learner.courses
        if (stream := maker.stream(learner, course)) is not None
    ]
    if not streams:
        do = say("Enrol a learner in a course, or add the next workbooks to the programme.")
        raise InputError(
            [Wrong(say("courses"), say("none with a workbook still to do"), say("at least one"), do)]
        )
    learners = {stream.learner for stream in streams}
    return Problem(
        days=tuple(days),
        learners=tuple(maker.limits(learner) for learner in home.learners if learner.id in learners),
        streams=tuple(streams),
        watched=maker.watched(),
        targets=maker.targets(streams),
        reserve=home.wishes.reserve_days,
        sittings_a_learner=home.programme.unit_test.most_a_learner_a_day,
        next_same_day=home.wishes.next_same_day,
        points=home.wishes.points,
    )


class _Maker:
    """One problem being put together."""

    def __init__(self, scene: Scene, days: list[date]) -> None:
        self.scene, self.days, self.home = scene, days, scene.home
        self.today = scene.home.calendar.day_of(scene.now)
        self.begins_today = days[0] == self.today
        self.lead = cache(scene.lead_days)
        self.free: dict[str, list[tuple[date | None, str | None]]] = {}
        """Copies that nobody has begun: the day on which one is there (None: it is), and whose it is."""
        for standing in scene.standings:
            self._unbegun(standing)
        for copies in self.free.values():
            copies.sort(key=lambda copy: (copy[1] is None, copy[0] or date.min))

    def _unbegun(self, standing: Standing) -> None:
        if standing.status is CopyStatus.IN_THE_HOUSE:
            self.free.setdefault(standing.workbook, []).append((None, standing.learner))
        elif standing.status is CopyStatus.ON_ORDER:
            expected = standing.expected
            if expected is None and standing.ordered is not None:
                supplier = self.home.programme.workbook(standing.workbook).supplier
                ordered = self.home.calendar.day_of(standing.ordered)
                expected = ordered + timedelta(days=self.lead(supplier))
            # What should have come is counted on for tomorrow, and no plan rests on today's post.
            there = max(expected or self.today, self.today) + DAY
            self.free.setdefault(standing.workbook, []).append((there, standing.learner))

    def index(self, day: date) -> int:
        """The place of the first planned day that is not before a day."""
        return bisect_left(self.days, day)

    def limits(self, learner: Somebody) -> LearnerLimits:
        calendar = self.home.calendar
        wish = self.home.wishes.learner(learner.id, learner.year)
        kinds = [calendar.kind(day, learner.id) for day in self.days]
        worked = sum(
            s.latest_day_minutes
            for s in self.scene.standings
            if self.begins_today and s.learner == learner.id and s.latest_day == self.today
        )

        def halves(minutes: int) -> tuple[int, ...]:
            whole = [2 * minutes if kind is not DayKind.HALF else minutes for kind in kinds]
            if self.begins_today:
                whole[0] = max(0, whole[0] - 2 * worked)
            return tuple(whole)

        here = tuple(kind in (DayKind.SCHOOL, DayKind.HALF) for kind in kinds)
        return LearnerLimits(learner.id, halves(wish.soft), halves(wish.hard), here)

    def watched(self) -> tuple[int, ...]:
        calendar, rules = self.home.calendar, self.home.programme.unit_test
        most = rules.most_watched_a_morning + self.scene.more_sittings
        educators = [p.id for p in self.home.people.values() if p.role == "educator"]
        watched = [
            most if any(not calendar.educator_is_away(day, educator) for educator in educators) else 0
            for day in self.days
        ]
        if self.begins_today:
            local = calendar.at_home(self.scene.now)
            over = local.time() >= rules.morning_until
            watched[0] = 0 if over else max(0, watched[0] - self.scene.sat_today)
        return tuple(watched)

    # --- one learner in one course ---------------------------------------------------------------------------

    def stream(self, learner: Somebody, course: str) -> Stream | None:
        """What is ahead of a learner in a course; None where nothing is."""
        books, in_hand = self._ahead(learner, course)
        if not books:
            return None
        wish = self.home.wishes.course(learner.id, course)
        minutes = self._minutes(learner, wish)
        todo = tuple(
            self._todo(learner, book, minutes, begun=in_hand is not None and n == 0)
            for n, book in enumerate(books)
        )
        taught = tuple(wish.weekdays is None or day.weekday() in wish.weekdays for day in self.days)
        least, comfortable, most = self._pages(wish, todo, sum(taught))
        done, unit_from = self._place(in_hand, todo[0])
        stream = Stream(
            learner.id,
            course,
            todo,
            taught,
            least,
            comfortable,
            most,
            wish.weight,
            done,
            unit_from,
            line=sum(book.steps for book in todo),
        )
        return replace(stream, announced=self._announced(stream), fixed=self._fixed(stream))

    def _ahead(self, learner: Somebody, course: str) -> tuple[list[Workbook], Standing | None]:
        """The workbooks still to do, and the copy in hand of the first of them."""
        books = self.home.programme.course(course).workbooks
        mine = [
            s
            for s in self.scene.standings
            if s.learner == learner.id and s.workbook and self._course(s) == course
        ]
        passed = self.scene.passed.get(learner.id, ())
        ended = [book.number for book in books if book.code in passed]
        # A unit test that is sat and not marked yet is counted as passed: the plan changes if it is not.
        sat = [s for s in mine if s.in_hand and s.unit is not None and s.unit.scored is None]
        ended += [self.home.programme.workbook(s.workbook).number for s in sat]
        working = next((s for s in mine if s.in_hand and s.unit is None), None)
        again = next((s for s in mine if s.failed and s.replaced_by is None), None)
        start = max(ended, default=0) + 1
        if working is not None:
            start = self.home.programme.workbook(working.workbook).number
        elif again is not None:
            start = self.home.programme.workbook(again.workbook).number
        elif not ended:
            # Somebody who joined the course further on begins with the workbook that lies ready.
            own = [s for s in mine if s.status in (CopyStatus.IN_THE_HOUSE, CopyStatus.ON_ORDER)]
            start = min((self.home.programme.workbook(s.workbook).number for s in own), default=1)
        return [book for book in books if book.number >= start], working

    def _course(self, standing: Standing) -> str:
        return self.home.programme.workbook(standing.workbook).course

    def _todo(self, learner: Somebody, book: Workbook, minutes: float, *, begun: bool) -> WorkbookToDo:
        wishes = self.home.wishes
        return WorkbookToDo(
            book.code,
            book.pages,
            tuple(sorted({stop.last for stop in book.stops if stop.last < book.pages} | {book.pages})),
            max(1, round(2 * minutes)),
            2 * wishes.practice_minutes,
            2 * wishes.unit_minutes,
            0 if begun else self._ready(learner, book),
            self.home.programme.unit_test.school_days_after_practice - 1,
        )

    def _ready(self, learner: Somebody, book: Workbook) -> int:
        """The first planned day on which a copy for a learner is in the house."""
        copies = self.free.get(book.code, [])
        for n, (there, whose) in enumerate(copies):
            if whose in (None, learner.id):
                copies.pop(n)
                return 0 if there is None else self.index(there)
        return self.index(self.today + timedelta(days=self.lead(book.supplier)))

    def _minutes(self, learner: Somebody, wish: CourseWish) -> float:
        paces = self.scene.paces.get(learner.id, ())
        known = {pace.course: pace.pace.minutes_a_page for pace in paces}
        own = known.get(wish.course)
        if own is not None:
            return own
        others = [minutes for minutes in known.values() if minutes is not None]
        if wish.minutes_a_page is not None:
            return wish.minutes_a_page
        return sum(others) / len(others) if others else self.home.wishes.minutes_a_page

    def _pages(self, wish: CourseWish, todo: Sequence[WorkbookToDo], days: int) -> tuple[int, int, int]:
        """Least, comfortable and most pages a day: those that were wished for, or around those that would just do."""
        # On the days of a practice test and of a unit test few pages are done, and on some days somebody is ill.
        left = (days - 2 * len(todo)) * (1 - self.home.wishes.illness)
        would_do = min(sum(book.pages for book in todo) / max(1.0, left), 20.0)
        most = wish.most
        comfortable = wish.comfortable
        if comfortable is None:
            comfortable = max(2, math.ceil(ROOM * would_do), wish.least or 0)
            comfortable = comfortable if most is None else min(comfortable, most)
        if most is None:
            most = max(comfortable + 2, 2 * comfortable)
        # Without a least, a plan would leave a course alone for as long as its end can still be reached.
        least = wish.least if wish.least is not None else max(1, math.floor(STEADY * would_do))
        return min(least, comfortable, most), min(comfortable, most), most

    def _place(self, in_hand: Standing | None, book: WorkbookToDo) -> tuple[int, int]:
        """Steps done in the workbook in hand, and the first day for its unit test."""
        if in_hand is None:
            return 0, 0
        if in_hand.practice_passed:
            attempt = in_hand.attempt
            assert attempt is not None
            assert attempt.scored is not None
            passed_on = self.home.calendar.day_of(attempt.scored)
            distance = self.home.programme.unit_test.school_days_after_practice
            opens = self.home.calendar.next_school_day(passed_on, in_hand.learner, distance)
            return book.steps - 1, self.index(opens)
        return min(len(in_hand.pages), book.pages), 0

    def _announced(self, stream: Stream) -> tuple[int, ...]:
        """Steps done at the end of the first days, as they were told; never less than is done.

        What was told for days on which the learner is away is gone, and does not wait for the day after them.
        """
        told = self.scene.told.get((stream.learner, stream.course))
        if told is None:
            return ()
        places: list[int] = []
        lost, before = 0, stream.done
        for day in self.days[: self.home.wishes.announced_days]:
            if day not in told:
                break
            place = max(before, stream.place(*told[day]) or stream.done)
            if not self.home.calendar.is_school_day(day, stream.learner):
                lost += place - before
            before = place
            places.append(place - lost)
        return tuple(places)

    def _fixed(self, stream: Stream) -> tuple[Fixed, ...]:
        found = []
        for goal in self.scene.by_hand:
            if (goal.learner, goal.course) != (stream.learner, stream.course) or goal.day not in self.days:
                continue
            place = stream.place(goal.workbook, goal.steps)
            if place is not None and place >= stream.done:
                found.append(Fixed(self.days.index(goal.day), place))
        return tuple(sorted(found, key=lambda fixed: fixed.day))

    def targets(self, streams: Sequence[Stream]) -> tuple[Target, ...]:
        """The targets that are still to be met; one whose day is over is met as soon as may be."""
        return tuple(
            Target(stream.learner, stream.course, wish.workbook, max(0, self.index(wish.by + DAY) - 1))
            for stream in streams
            for wish in self.home.wishes.targets_of(stream.learner, stream.course)
            if stream.index(wish.workbook) is not None
        )


def guessed_paces(scene: Scene, problem: Problem) -> tuple[tuple[str, str, float], ...]:
    """Learner, course and minutes a page of every course in which the learner's own pace is not known yet."""
    found = []
    for stream in problem.streams:
        known = {pace.course: pace.pace.minutes_a_page for pace in scene.paces.get(stream.learner, ())}
        if known.get(stream.course) is None:
            found.append((stream.learner, stream.course, stream.workbooks[0].halves_a_page / 2))
    return tuple(found)


def check_room(home: Home, problem: Problem) -> None:
    """Refuse days that are too short for a test or a page.

    Raises:
        InputError: with one entry for every learner whose most minutes are too few.
    """
    wrong = []
    for limits in problem.learners:
        longest = max(
            (most for most, here in zip(limits.hard, limits.here, strict=True) if here), default=None
        )
        books = [book for s in problem.streams if s.learner == limits.learner for book in s.workbooks]
        needed, what = max(
            (max(book.halves_a_page for book in books), later("{minutes:g} or more, which a page takes")),
            (
                max(book.practice_halves for book in books),
                later("{minutes:g} or more, which a practice test takes"),
            ),
            (max(book.unit_halves for book in books), later("{minutes:g} or more, which a unit test takes")),
        )
        if longest is not None and longest < needed:
            where = say("minutes a day of {learner}", learner=home.person(limits.learner).name)
            allowed = say(what, minutes=needed / 2)
            wrong.append(
                Wrong(
                    where,
                    say("{minutes:g} at the most", minutes=longest / 2),
                    allowed,
                    say("Look at the targets and limits."),
                )
            )
    if wrong:
        raise InputError(wrong)


def check_target(home: Home, wish: TargetWish, today: date) -> None:
    """Refuse a target that no plan can be made for.

    Raises:
        InputError: the learner does not take the course, it has no such workbook, or the day is over or not known.
    """
    learner = home.person(wish.learner)
    where = say("target of {learner}", learner=learner.name)
    if wish.course not in learner.courses:
        taken = ", ".join(learner.courses) or say("none")
        raise InputError(
            [
                Wrong(
                    where,
                    say("course {course}", course=wish.course),
                    say("a course that {learner} takes: {courses}", learner=learner.name, courses=taken),
                )
            ]
        )
    codes = [book.code for book in home.programme.course(wish.course).workbooks]
    if wish.workbook not in codes:
        raise InputError(
            [
                Wrong(
                    where,
                    say("workbook {workbook}", workbook=wish.workbook),
                    say("one of {workbooks}", workbooks=", ".join(codes)),
                )
            ]
        )
    days = school_days(home, today)
    last = days[-1] if days else today
    if not today <= wish.by <= last:
        allowed = say(
            "a day from {first} to {last}, the last school day entered",
            first=date_words(today),
            last=date_words(last),
        )
        do = (
            say("Choose a later day.")
            if wish.by < today
            else say("Enter the next term first, or choose an earlier day.")
        )
        raise InputError([Wrong(where, date_words(wish.by), allowed, do)])
