"""A home with five school years of record, worked through the real way in: every act is ruled on and appended.

Four learners with six courses each, up to sixteen workbooks a course and year, pages noted one by one. Everybody and
everything here is invented.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import Any

from benchmarks.house import HOUSEHOLD, SIGN_IN
from markstead.ledger.facts import (
    CheckOpened,
    CopyIssued,
    CopyReceived,
    Corrected,
    FirstMarking,
    HelpGiven,
    LeaveAsked,
    LeaveGiven,
    OpeningTalkHeld,
    OralQuizHeld,
    PagesWorked,
    PracticeTestOpened,
    PracticeTestScored,
    Presence,
    ReadinessDecided,
    ReMarked,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
)
from markstead.records import actions
from markstead.records.actions import Acting
from markstead.records.desk import Desk, Slip, at_the_desk
from markstead.records.setup import Newcomer, Papers, give_password, set_up
from markstead.rules.ruling import Role
from markstead.rules.standing import CopyStatus, Standing
from markstead.rules.steps import NextStep, next_step

ACTS_A_DESK = 20_000
FIRST_YEAR = 2021
SCHOOL_YEARS = 6
"""One more than is worked, so that the last day still has a calendar."""
BOOKS = 16
SECTIONS, PAGES = 9, 5
SUBJECTS = {
    "sums": "Sums",
    "words": "Words",
    "stones": "Stones",
    "tides": "Tides",
    "maps": "Maps",
    "tales": "Tales",
}
LEARNERS = {"asa": 2, "noa": 3, "lio": 5, "mika": 7}
"""School years in which the learners begin."""
MOST_A_MORNING = 3


def _rules() -> str:
    subjects = "\n".join(f'[[subject]]\nid = "{key}"\ntitle = "{title}"' for key, title in SUBJECTS.items())
    return f"""
[programme]
id = "bench"
title = "A long programme (invented)"
currency = "EUR"
[marks]
practice_test_percent = 80
unit_test_percent = 80
exact_mark_passes = true
[unit_test]
school_days_after_practice = 1
morning_from = "08:00"
morning_until = "12:00"
most_a_learner_a_day = 1
most_watched_a_morning = {MOST_A_MORNING}
readiness_decision = true
[marking]
quiz_when_wrong_percent = 30
sections_ahead = 0
[dispatch]
day = 1
[rework]
after_failed_unit_test = "new copy"
[[aids]]
from_year = 0
allowed = ["pencil", "eraser", "ruler"]
{subjects}
"""


def _workbooks() -> str:
    """Every workbook alike: nine sections of five pages, a check of one page behind every third."""
    ends, checks, page = [], [], 0
    for section in range(1, SECTIONS + 1):
        page += PAGES
        ends.append(str(page))
        if section % 3 == 0:
            page += 1
            checks.append(str(page))
    shape = f"{page},{';'.join(ends)},{';'.join(['12'] * SECTIONS)},{';'.join(checks)},{';'.join(['9'] * len(checks))}"
    lines = [
        (
            "course,level,number,title,pages,section_ends,section_questions,check_pages,check_questions,"
            "practice_questions,unit_questions,price,supplier"
        )
    ]
    levels = range(min(LEARNERS.values()), max(LEARNERS.values()) + SCHOOL_YEARS)
    lines += [
        f"{key},{level},{number},{title} {level} part {number},{shape},25,30,4.20,Quayside Books"
        for key, title in SUBJECTS.items()
        for level in levels
        for number in range(1, BOOKS + 1)
    ]
    return "\n".join(lines) + "\n"


def _calendar() -> str:
    terms = [
        f'[[term]]\nname = "{name} {year}"\nfirst = {first}\nlast = {last}'
        for year in range(FIRST_YEAR, FIRST_YEAR + SCHOOL_YEARS)
        for name, first, last in (
            ("autumn", f"{year}-09-01", f"{year}-12-18"),
            ("spring", f"{year + 1}-01-05", f"{year + 1}-04-02"),
            ("summer", f"{year + 1}-04-19", f"{year + 1}-07-16"),
        )
    ]
    days = ", ".join(f'"{day}"' for day in ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday"))
    return f'zone = "Europe/London"\ncountry = "GB"\nregion = "ENG"\nweekdays = [{days}]\n' + "\n".join(terms)


@dataclass(slots=True)
class Lane:
    """One learner in one subject: which copy is in hand, and which workbook comes next."""

    learner: str
    subject: str
    level: int
    book: int = 0
    copy: str | None = None
    ahead: str | None = None
    """The copy that was ordered ahead of time."""


@dataclass(slots=True)
class BigHome:
    """A home that grows by school days until its record is as long as is wanted."""

    rng: Random = field(default_factory=lambda: Random(1))  # a seeded home, no secret
    day: date = date(FIRST_YEAR, 9, 1)
    now: datetime = datetime(FIRST_YEAR, 9, 1, 7, tzinfo=UTC)
    facts: int = 0
    school_days: int = 0
    lanes: list[Lane] = field(default_factory=list)
    people: dict[str, str] = field(default_factory=dict)
    sat: dict[str, int] = field(default_factory=dict)
    there: set[str] = field(default_factory=set)
    """Copies ordered ahead of time that have come."""
    papers: list[str] = field(default_factory=list)
    texts: Papers = field(default_factory=lambda: Papers(_rules(), _workbooks(), _calendar()))

    def begin(self) -> None:
        """Set the home up for its first school year, with an educator who can sign in."""
        self._enrol(0)
        give_password(HOUSEHOLD, person="ruth", username=SIGN_IN[0], password=SIGN_IN[1])

    def _enrol(self, years_on: int) -> None:
        """A new school year: everybody moves up by one level in every course."""
        learners = [
            Newcomer(
                key,
                key.capitalize(),
                Role.LEARNER,
                year + years_on,
                tuple(f"{s}-{year + years_on}" for s in SUBJECTS),
            )
            for key, year in LEARNERS.items()
        ]
        people = [Newcomer("ruth", "Ruth", Role.EDUCATOR), *learners]
        home = set_up(HOUSEHOLD, name="Long Acre", papers=self.texts, people=people, at=self.now)
        self.people = {p.key: p.id for p in home.people.values()}
        if not self.lanes:
            self.lanes = [Lane(key, subject, 0) for key in LEARNERS for subject in SUBJECTS]
        for lane in self.lanes:
            lane.level, lane.book = LEARNERS[lane.learner] + years_on, 0

    @property
    def school_years(self) -> int:
        """The school years that have begun."""
        return self.day.year - FIRST_YEAR + (1 if self.day.month >= 8 else 0)

    def grow(self, facts: int) -> None:
        """Go on, school day by school day, until the record holds so many facts."""
        while self.facts < facts:
            year = self.day.year - FIRST_YEAR if self.day.month >= 8 else self.day.year - FIRST_YEAR - 1
            if self.lanes[0].level != LEARNERS[self.lanes[0].learner] + year:
                self._enrol(year)
            at_the_desk(HOUSEHOLD, lambda desk: self._many_days(desk, facts), whole=True)

    def _many_days(self, desk: Desk, facts: int) -> None:
        begun = desk.row.head_seq
        self._clear_the_shelf(desk)
        while desk.row.head_seq < facts and desk.row.head_seq - begun < ACTS_A_DESK:
            if self.day.month == 8:
                self.day = date(self.day.year, 9, 1)
                break  # a new school year wants new enrolments, which are no act
            if desk.home.calendar.is_school_day(self.day):
                self._school_day(desk)
            self.day += timedelta(days=1)
        self.facts = desk.row.head_seq

    def _clear_the_shelf(self, desk: Desk) -> None:
        """Copies of a course that nobody takes any more are written off."""
        for lane in self.lanes:
            if lane.ahead is not None and lane.book == 0:
                where = Acting(HOUSEHOLD, desk)
                if lane.ahead not in self.there:
                    self._do(actions.receive_copy, where, copy=lane.ahead)
                self._do(actions.spoil_copy, where, copy=lane.ahead, reason="given away")
                lane.ahead = None

    def plan(self) -> None:
        """Make a plan for the year and take it, so that the goals of the day stand on the page."""
        from markstead.records import plans
        from markstead.records.queries import home_of

        by = home_of(HOUSEHOLD).person("ruth").id
        kept = plans.plan_now(HOUSEHOLD, by=by, now=self.now, clock=lambda: self.now)
        plans.take(HOUSEHOLD, kept.number, now=self.now)

    def one_morning(self) -> None:
        """A last morning that breaks off anywhere, so that calls are waiting."""
        at_the_desk(HOUSEHOLD, self._morning, whole=True)
        self.now += timedelta(minutes=4)

    def _morning(self, desk: Desk) -> None:
        while not desk.home.calendar.is_school_day(self.day):
            self.day += timedelta(days=1)
        self._begin_day(desk)
        for lane in self.lanes:
            self._work(desk, lane, pages=5, most=self.rng.randint(1, 12))
        self.day += timedelta(days=1)
        self.facts = desk.row.head_seq

    def _begin_day(self, desk: Desk) -> None:
        self.now = desk.home.calendar.instant_of(self.day, time(8, 5))
        self.sat = {}
        self.school_days += 1
        where = Acting(HOUSEHOLD, desk)
        for key in LEARNERS:
            self._do(actions.take_attendance, where, learner=key, day=self.day, presence=Presence.FULL)
        if self.papers and (self.day.day == 1 or self.day.day <= 4):
            self._do(actions.send_dispatch, where, copies=self.papers, tracking=f"parcel of {self.day}")
            self.papers = []

    def _school_day(self, desk: Desk) -> None:
        self._begin_day(desk)
        for lane in self.lanes:  # first in the morning: unit tests
            if lane.copy is not None and isinstance(self._next(desk, lane).act, UnitTestSat):
                self._work(desk, lane, pages=0, most=2)
        for lane in self.lanes:
            self._work(desk, lane, pages=self.rng.choice((3, 4, 4, 4)), most=60)

    def _next(self, desk: Desk, lane: Lane) -> NextStep:
        return next_step(desk.fold(lane.copy or "").standing, desk.home.programme)

    def _do(self, act: Callable[..., Any], where: Acting, *, by: str = "ruth", **what: Any) -> None:
        self.now += timedelta(seconds=self.rng.randint(20, 70))
        act(where, by=by, at=self.now, slip=Slip(), **what)

    def _work(self, desk: Desk, lane: Lane, *, pages: int, most: int) -> None:
        """Take up to `most` steps of one lane: those that fit the day."""
        if lane.copy is None and not self._order(desk, lane):
            return
        left = pages
        where = Acting(HOUSEHOLD, desk)
        standing = desk.fold(lane.copy or "").standing
        reached, end = max(standing.pages, default=0), SECTIONS * PAGES + 3
        if pages and standing.status is CopyStatus.ISSUED and reached < end:
            last = min(reached + pages, end)
            self._do(actions.set_goal, where, copy=lane.copy, first=reached + 1, last=last, by=lane.learner)
            self._order_ahead(where, lane, reached)
        for _ in range(most):
            if lane.copy is None:
                return
            standing = desk.fold(lane.copy).standing
            step = next_step(standing, desk.home.programme)
            if isinstance(step.act, PagesWorked):
                if not left:
                    return
                left -= 1
                first = step.act.first
                minutes = self.rng.randint(4, 14)
                self._do(
                    actions.work_pages,
                    where,
                    copy=lane.copy,
                    first=first,
                    last=first,
                    minutes=minutes,
                    by=lane.learner,
                )
                if self.rng.random() < 0.08:
                    self._do(actions.ask_help, where, copy=lane.copy, page=first, by=lane.learner)
                    self._do(actions.give_help, where, copy=lane.copy, minutes=5)
            elif not self._take(where, lane, standing, step, desk):
                return

    def _order_ahead(self, where: Acting, lane: Lane, reached: int) -> None:
        """Half through a workbook the next one is ordered; it comes some days later."""
        if 2 * reached < SECTIONS * PAGES or lane.book >= BOOKS or lane.book == 0:
            return
        if lane.ahead is None:
            lane.ahead = actions.new_copy_id()
            code = f"{lane.subject}-{lane.level}-{lane.book + 1:02d}"
            self._do(actions.order_copy, where, workbook=code, learner=lane.learner, copy=lane.ahead)
        elif 4 * reached >= 3 * SECTIONS * PAGES and lane.ahead not in self.there:
            self._do(actions.receive_copy, where, copy=lane.ahead)
            self.there.add(lane.ahead)

    def _order(self, desk: Desk, lane: Lane) -> bool:
        """The next workbook of the course, where the year still has one."""
        if lane.book >= BOOKS:
            return False
        lane.book += 1
        if lane.ahead is not None:
            lane.copy, lane.ahead = lane.ahead, None
            return True
        lane.copy = actions.new_copy_id()
        where = Acting(HOUSEHOLD, desk)
        code = f"{lane.subject}-{lane.level}-{lane.book:02d}"
        self._do(actions.order_copy, where, workbook=code, learner=lane.learner, copy=lane.copy)
        return True

    def _wrong(self, asked: int, share: float) -> tuple[int, ...]:
        return tuple(n for n in range(1, asked + 1) if self.rng.random() < share)

    def _take(self, where: Acting, lane: Lane, s: Standing, step: NextStep, desk: Desk) -> bool:
        """One step that is no page; False: it must wait for another day."""
        copy, act, rng = lane.copy, step.act, self.rng
        do, learner = self._do, lane.learner
        match act:
            case CopyReceived():
                do(actions.receive_copy, where, copy=copy)
            case CopyIssued():
                if desk.home.programme.workbook(s.workbook).level != lane.level:
                    # Ordered in a course of last year, which nobody takes any more.
                    do(actions.spoil_copy, where, copy=copy, reason="given away")
                    lane.copy = None
                    return True
                do(actions.issue_copy, where, copy=copy, learner=learner)
            case OpeningTalkHeld():
                do(actions.hold_opening_talk, where, copy=copy)
            case LeaveAsked():
                do(actions.ask_leave, where, copy=copy, step=act.step, stop=act.stop, by=learner)
                if rng.random() < 0.1:
                    reason = "questions are blank"
                    do(actions.refuse_leave, where, copy=copy, step=act.step, stop=act.stop, reason=reason)
            case LeaveGiven():
                do(actions.give_leave, where, copy=copy, step=act.step, stop=act.stop)
            case FirstMarking():
                wrong = self._wrong(act.asked, 0.14)
                do(actions.mark, where, copy=copy, stop=act.stop, wrong=wrong, by=learner)
            case Corrected():
                do(actions.correct, where, copy=copy, stop=act.stop, by=learner)
            case ReMarked():
                still = s.stop(act.stop).still_wrong
                wrong = still[:1] if rng.random() < 0.15 else ()
                do(actions.re_mark, where, copy=copy, stop=act.stop, wrong=wrong, by=learner)
            case OralQuizHeld():
                answers = [(n, rng.random() < 0.8) for n in (1, 2, 3, 4)]
                do(actions.hold_oral_quiz, where, copy=copy, answers=answers, stop=act.stop)
            case CheckOpened():
                do(actions.open_check, where, copy=copy, stop=act.stop)
            case HelpGiven():
                do(actions.give_help, where, copy=copy, minutes=10)
            case PracticeTestOpened():
                do(actions.open_practice_test, where, copy=copy)
            case PracticeTestScored():
                do(actions.score_practice_test, where, copy=copy, wrong=self._wrong(25, 0.1))
            case ReadinessDecided():
                do(actions.decide_readiness, where, copy=copy, ready=True)
            case UnitTestSat():
                return self._sit(where, lane, s, desk)
            case UnitTestScored():
                do(actions.score_unit_test, where, copy=copy, wrong=self._wrong(30, 0.1))
                self._after_test(where, lane, desk)
            case WorkbookReordered():
                return False
            case _:
                return False
        return True

    def _sit(self, where: Acting, lane: Lane, s: Standing, desk: Desk) -> bool:
        passed = s.attempt.scored if s.attempt is not None else None
        calendar = desk.home.calendar
        if (
            passed is None
            or calendar.day_of(passed) >= self.day
            or calendar.at_home(self.now).hour >= 11
            or lane.learner in self.sat
            or len(self.sat) >= MOST_A_MORNING
        ):
            return False
        self.sat[lane.learner] = 1
        self._do(actions.sit_unit_test, where, copy=lane.copy, watcher="ruth", aids=("pencil", "eraser"))
        return True

    def _after_test(self, where: Acting, lane: Lane, desk: Desk) -> None:
        """Passed: the copy is done with. Failed: the same workbook again, in a new copy."""
        copy = lane.copy or ""
        self.papers.append(copy)
        if desk.fold(copy).standing.failed:
            lane.copy = actions.new_copy_id()
            self._do(actions.reorder_workbook, where, copy=copy, new_copy=lane.copy)
        else:
            lane.copy = None
