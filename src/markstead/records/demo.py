"""The demonstration home: some ninety school days of an invented household, lived through act by act.

Nothing here writes to the record by itself. Learners, educator and post are played by generators that take turns on
one kitchen clock; each act is asked of `records.actions`, so that every gate holds and the order of the record is the
order of time. The last week is steered, so that the page on which a visitor arrives shows a real morning.
"""

import heapq
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from importlib.resources import files
from random import Random  # noqa: TID251  # the build is the caller here: it makes the dice from its seed

from django.db import transaction

from markstead.errors import InputError, Problem
from markstead.ledger.facts import (
    PRACTICE,
    Corrected,
    FirstMarking,
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
    Step,
    UnitTestSat,
)
from markstead.measure.marks import CopyMarks, marks_of
from markstead.measure.readings import read_spot
from markstead.records import actions
from markstead.records.actions import Acting
from markstead.records.desk import Desk, Done, Slip, at_the_desk
from markstead.records.home import Home, Somebody, load_home
from markstead.records.models import Household, Person
from markstead.records.ordering import look
from markstead.records.plan_asks import take_wishes
from markstead.records.plans import Effort, plan_now, take
from markstead.records.setup import Newcomer, Papers, give_password, new_stamp, set_up
from markstead.rules.bars import Bar, BarKind
from markstead.rules.programme import Stop, Workbook
from markstead.rules.ruling import Role, first_uncleared
from markstead.rules.samples import sample_texts
from markstead.rules.standing import CopyStatus, Cycle, Standing
from markstead.rules.steps import CallKind, NextStep, Turn, next_step
from markstead.speech import say

NAME = "The Tarnside household (invented)"
USERNAME = "ruth"
PIN = "3725"
"""Of every invented learner, at a tablet of the demonstration; it is printed like the password."""
PASSWORD = "harbour-lamp-42"  # noqa: S105  # of invented people; it is printed wherever the demonstration is built
SUBJECTS = ("maths", "grammar", "reading", "science", "history", "geography")
ORDERED_ON = date(2025, 8, 18)
FAILS_FROM = date(2026, 1, 13)
"""From this day on, the next unit test is failed, and the new copy is late."""
LAST = date(2026, 1, 27)
NO_POST = {date(2025, 8, 25), *(date(2025, 12, 24) + timedelta(days=n) for n in range(10))}
"""Working days on which no parcel comes: the bank holiday in August, and Christmas to the new year."""

Job = Iterator[int]
"""Something that somebody does; yields the second of the day at which it goes on."""


def _clock(hour: int, minute: int = 0) -> int:
    return hour * 3600 + minute * 60


ENDS_AT = _clock(10, 20)
"""The second of the last day at which the history ends."""


@dataclass(frozen=True, slots=True)
class DemoReport:
    """What was built, and how to sign in."""

    facts: int
    copies: int
    school_days: int
    now: datetime
    """The instant at which the history ends and the clock of the demonstration starts."""
    username: str
    password: str


@dataclass(frozen=True, slots=True)
class _Nature:
    """How a learner works: minutes a page, share of wrong answers, pages a day in a course, end of the day."""

    minutes: float
    wrong: float
    pages: float
    leaves: int
    slips: float
    """Share of the ticks that are on wrong answers."""
    marks_own_tests: bool = False


@dataclass(frozen=True, slots=True)
class _Temper:
    """How a learner gets on in one course."""

    minutes: float
    wrong: float
    pages: float


_NATURES = {
    "asa": _Nature(9.0, 0.10, 3.0, _clock(14, 15), 0.02),
    "noa": _Nature(10.5, 0.12, 3.0, _clock(15, 0), 0.005),
    "ilse": _Nature(12.5, 0.09, 3.0, _clock(15, 30), 0.06, marks_own_tests=True),
}
_PEOPLE = (
    Newcomer("ruth", "Ruth", Role.EDUCATOR),
    Newcomer("tobi", "Tobi", Role.HELPER),
    Newcomer("asa", "Asa", Role.LEARNER, 2, tuple(f"{subject}-2" for subject in SUBJECTS)),
    Newcomer("noa", "Noa", Role.LEARNER, 5, tuple(f"{subject}-5" for subject in SUBJECTS)),
    Newcomer("ilse", "Ilse", Role.LEARNER, 9, tuple(f"{subject}-9" for subject in SUBJECTS)),
)
_SENT_BACK = (
    "Two answers are blank; fill them in first.",
    "Show how you got there, then come again.",
    "Read the instructions on the first page once more: half of it is not done.",
    "I cannot read the last column. Write it again, please.",
    "The map has no labels yet.",
    "You skipped the last three questions.",
)
_NO_QUIZ = "We went through all of it aloud on the way to the shore; a quiz would only repeat that."
_AFTERNOON = "The boiler was mended all morning; after lunch the house was quiet."
_SPOILED = "Left on the garden wall, and it rained in the night."


def build(
    household: str = "home",
    *,
    seed: int = 20260127,
    progress: Callable[[int, int], None] | None = None,
    real_now: datetime,
    planned: bool = True,
) -> DemoReport:
    """Build the demonstration home; the same household and seed give the same record, to the last link.

    With `planned` it has targets, limits and suppliers, a plan of the year in force, and the calls of its order plan.

    Raises:
        InputError: a home of this id has facts already; nothing is written then.
    """
    dice = Random(f"{household} {seed}")  # noqa: S311  # nothing here is a secret
    papers = Papers(*sample_texts("harbour"), calendar_text())
    with transaction.atomic():
        _move_in(household, dice)
        opened = datetime.combine(ORDERED_ON, time(17), UTC)
        set_up(household, name=NAME, papers=papers, people=_PEOPLE, at=opened)
        username = USERNAME if household == "home" else f"{USERNAME}-{household}"
        give_password(household, person="ruth", username=username, password=PASSWORD)

        def live(desk: Desk) -> DemoReport:
            desk.salt = lambda: f"{dice.getrandbits(128):032x}"
            life = _Life(desk, household, dice)
            life.go_by(progress)
            now = life.instant
            return DemoReport(
                desk.row.head_seq, len(desk.copies), len(life.school_days), now, username, PASSWORD
            )

        report = at_the_desk(household, live, whole=True)
        shift = int((real_now - report.now).total_seconds())
        Household.objects.filter(id=household).update(demo_shift=shift, stamp=new_stamp())
        if planned:
            _plan(household, report.now, real_now)
    return report


def _plan(household: str, now: datetime, real_now: datetime) -> None:
    """Tell what the home asks of its plan, make one and take it."""
    home = take_wishes(household, _file("plan.toml"), at=now)
    by = home.person("ruth").id
    kept = plan_now(household, by=by, now=now, clock=lambda: real_now, effort=Effort.ANEW)
    take(household, kept.number, now=now)
    home = load_home(Household.objects.get(id=household))
    look(home, home.calendar.day_of(now))


def calendar_text() -> str:
    """The calendar file of the demonstration home."""
    return _file("calendar.toml")


def _file(name: str) -> str:
    return (files("markstead.records") / "demo_home" / name).read_text(encoding="utf-8")


def _move_in(household: str, dice: Random) -> None:
    """Make the household and its people with ids from the dice; `set_up` fills in the rest."""
    row, made = Household.objects.get_or_create(id=household, defaults={"name": NAME, "stamp": new_stamp()})
    if not made and (row.head_seq or Person.objects.filter(household=row).exists()):
        raise InputError(
            [Problem(say("household"), repr(household), say("the id of a home that is not there yet"))]
        )
    for person in _PEOPLE:
        Person.objects.create(
            id=f"p{dice.getrandbits(48):012x}",
            household=row,
            key=person.key,
            name=person.name,
            role=str(person.role),
            year=person.year,
        )


@dataclass(slots=True)
class _Look:
    """A copy as it stands after so many facts, and its next step."""

    facts: int
    standing: Standing
    next: NextStep


@dataclass(slots=True)
class _Ending:
    """What is steered towards the last morning: which copy is to show what."""

    to_mark: str
    sitting: str
    too_soon: str
    readiness: str
    doubtful: str
    """Its practice test passes by a hair after weak sections: readiness is to be decided, and a hold pays."""
    hurried: set[str] = field(default_factory=set)
    """Copies so near their end that they are finished before."""

    @property
    def copies(self) -> tuple[str, ...]:
        return (self.to_mark, self.sitting, self.too_soon, self.readiness, self.doubtful)


class _Life:
    """The household going about its days."""

    def __init__(self, desk: Desk, household: str, dice: Random) -> None:
        self.desk, self.dice = desk, dice
        self.acting = Acting(household, desk)
        # Dice of their own: whatever is looked at, the days go the same way.
        self.spot_dice = Random(f"spot {household}")  # noqa: S311  # nothing here is a secret
        self.home: Home = desk.home
        self.programme, self.calendar = self.home.programme, self.home.calendar
        self.ruth, self.tobi = self.home.person("ruth"), self.home.person("tobi")
        self.learners = self.home.learners
        self.school_days = self.calendar.school_days(ORDERED_ON, LAST)
        self.settling = self.school_days[-7]
        self.day, self.clock = ORDERED_ON, _clock(19)
        self.tempers: dict[tuple[str, str], _Temper] = {}
        for learner in self.learners:
            nature = _NATURES[learner.key]
            for course in learner.courses:
                self.tempers[learner.id, course] = _Temper(
                    nature.minutes * dice.uniform(0.8, 1.25),
                    nature.wrong * dice.uniform(0.6, 1.5),
                    nature.pages * dice.uniform(0.85, 1.15),
                )
        self.looks: dict[str, _Look] = {}
        self.gathered: dict[str, tuple[int, CopyMarks]] = {}
        self.noticed: dict[tuple[str, int], int] = {}
        self.goals: dict[str, int] = {}
        self.sittings: set[str] = set()
        """Copies whose unit test is planned for today."""
        self.put_off: set[str] = set()
        """Those of them for which the morning went otherwise."""
        self.handed_in: set[str] = set()
        self.due: dict[tuple[str, str], tuple[date, int]] = {}
        """When the educator means to decide on readiness or to mark a unit test."""
        self.arrivals: dict[str, date] = {}
        self.busy: dict[str, int] = {}
        self.fails: str | None = None
        """The copy whose unit test is failed so that a new one is late in the end."""
        self.kept_order: str | None = None
        self.ending: _Ending | None = None
        self.no_quiz_left, self.afternoons_left, self.spoiled = 3, 2, False

    # --- acts and what they stand on ----------------------------------------------------------------------

    @property
    def instant(self) -> datetime:
        hour, rest = divmod(self.clock, 3600)
        return self.calendar.instant_of(self.day, time(hour, rest // 60, rest % 60))

    def do(
        self, act: Callable[..., Done], by: Somebody, /, *, override: str | None = None, **given: object
    ) -> Done:
        slip = Slip(act=f"{self.dice.getrandbits(80):020x}", override=override)
        return act(self.acting, by=by.id, at=self.instant, slip=slip, **given)

    def new_copy(self) -> str:
        return f"c{self.dice.getrandbits(48):012x}"

    def look(self, copy: str) -> _Look:
        entries = self.desk.fold(copy).entries
        kept = self.looks.get(copy)
        if kept is None or kept.facts != len(entries):
            standing = self.desk.fold(copy).standing
            kept = self.looks[copy] = _Look(len(entries), standing, next_step(standing, self.programme))
        return kept

    def book(self, copy: str) -> Workbook:
        return self.programme.workbook(self.desk.copies[copy].workbook)

    def owner(self, copy: str) -> Somebody:
        return self.home.people[self.desk.copies[copy].learner or ""]

    def in_hand(self, learner: Somebody) -> list[str]:
        """The learner's copies, in the order of the courses."""
        found = {self.book(copy).course: copy for copy in self.desk.issued.get(learner.id, {})}
        return [found[course] for course in learner.courses if course in found]

    def everything_in_hand(self) -> list[tuple[Somebody, str]]:
        return [(learner, copy) for learner in self.learners for copy in self.in_hand(learner)]

    def temper(self, copy: str) -> _Temper:
        return self.tempers[self.desk.copies[copy].learner or "", self.book(copy).course]

    def present(self) -> list[Somebody]:
        return [p for p in self.learners if self.calendar.is_school_day(self.day, p.id)]

    @property
    def half_day(self) -> bool:
        return self.day in self.calendar.half_days

    @property
    def educator_here(self) -> bool:
        return not self.calendar.educator_is_away(self.day)

    def leaves(self, learner: Somebody) -> int:
        return _clock(12) if self.half_day else _NATURES[learner.key].leaves

    def after(self, least: float, most: float) -> int:
        """Now and some minutes."""
        return self.clock + round(60 * self.dice.uniform(least, most))

    def chance(self, share: float) -> bool:
        return self.dice.random() < share

    # --- days -----------------------------------------------------------------------------------------------

    def go_by(self, progress: Callable[[int, int], None] | None) -> None:
        """Live from the first order to the last morning."""
        total = len(self.school_days)
        self.play([self.first_orders()])
        done = 0
        while self.day < LAST:
            self.day += timedelta(days=1)
            if self.day in self.school_days:
                done += 1
                if progress is not None:
                    progress(done, total)
            if self.day == LAST:
                self.last_morning()
            elif self.day in self.school_days:
                self.school_day()
            elif self.day.weekday() < 5 and self.day not in NO_POST:
                self.play([self.post()])
        self.clock = ENDS_AT

    def play(self, jobs: Sequence[Job], *, until: int = _clock(24)) -> None:
        """Let jobs take turns on one clock until all are done."""
        waiting = [(0, place, job) for place, job in enumerate(jobs)]
        heapq.heapify(waiting)
        while waiting:
            at, place, job = heapq.heappop(waiting)
            if at > until:
                return
            self.clock = at
            then = next(job, None)
            if then is not None:
                heapq.heappush(waiting, (max(then, at), place, job))

    def school_day(self) -> None:
        self.goals, self.busy, self.noticed, self.sittings = {}, {}, {}, set()
        if self.day == self.settling:
            self.ending = self.choose_ending()
        teacher = self.educator() if self.educator_here else self.helper()
        self.put_off = set()
        self.play([teacher, self.post(), *(self.learner(p) for p in self.present())])

    def first_orders(self) -> Job:
        yield _clock(19)
        for learner in self.learners:
            for course in learner.courses:
                for book in self.programme.course(course).workbooks[:2]:
                    yield self.clock + self.dice.randint(15, 40)
                    self.order(book, learner)

    def post(self) -> Job:
        """Parcels come late in the morning."""
        yield _clock(10, 40) + self.dice.randint(0, 5400)
        for copy in sorted(
            (c for c, due in self.arrivals.items() if due <= self.day), key=self.arrivals.__getitem__
        ):
            del self.arrivals[copy]
            self.do(actions.receive_copy, self.tobi if self.chance(0.5) else self.ruth, copy=copy)
            yield self.clock + self.dice.randint(20, 50)

    def order(self, book: Workbook, learner: Somebody, failed: str | None = None) -> None:
        """Order a copy, and settle when it will come: now and then later than was said."""
        copy = self.new_copy()
        said = self.workday(self.day + timedelta(days=self.dice.randint(5, 8)))
        late = self.dice.choice((-1, 0, 0, 0, 1, 2, 4))
        comes = self.workday(said + timedelta(days=late if self.day < date(2026, 1, 5) else min(late, 0)))
        if failed is None:
            given = {"workbook": book.code, "learner": learner.id, "copy": copy}
            self.do(actions.order_copy, self.ruth, expected=said, **given)
        else:
            if failed == self.fails:
                said, comes = self.workday(self.day + timedelta(days=6)), date.max
            self.do(actions.reorder_workbook, self.ruth, copy=failed, expected=said, new_copy=copy)
        if comes < date.max:
            self.arrivals[copy] = comes

    @staticmethod
    def workday(day: date) -> date:
        return day + timedelta(days=7 - day.weekday()) if day.weekday() > 4 else day

    # --- the educator ---------------------------------------------------------------------------------------

    def educator(self) -> Job:
        """A day at the kitchen table: goals, answers to whoever calls, and the desk in the evening."""
        yield _clock(8, 10)
        yield from self.absent_today(self.ruth)
        yield from self.hand_out()
        yield max(self.clock, _clock(8, 25))
        yield from self.set_goals(self.ruth)
        closes = _clock(12, 45) if self.half_day else _clock(16, 15)
        while True:
            found = self.pressing()
            if found is not None:
                yield from found
            elif self.clock < closes:
                yield self.clock + 60
            else:
                break
        yield from self.evening()

    def helper(self) -> Job:
        """A day on which only the helper is in the house: no leave is given, but nobody stays stuck."""
        yield _clock(8, 15)
        yield from self.absent_today(self.tobi)
        yield from self.set_goals(self.tobi)
        while self.clock < _clock(15, 45):
            for learner in self.present():
                for copy in self.in_hand(learner):
                    if self.look(copy).standing.help is not None:
                        yield from self.help(learner, copy)
            yield self.clock + 300
        yield from self.attendance(self.tobi)

    def absent_today(self, by: Somebody) -> Job:
        for learner in self.learners:
            if not self.calendar.is_school_day(self.day, learner.id):
                given = {"learner": learner.id, "day": self.day, "presence": Presence.ABSENT}
                self.do(actions.take_attendance, by, **given)
                yield self.clock + 20

    def attendance(self, by: Somebody) -> Job:
        for learner in self.present():
            yield self.clock + self.dice.randint(15, 40)
            at_school = (self.leaves(learner) - _clock(8, 45)) // 60
            minutes = at_school - (0 if self.half_day else 45) + self.dice.randint(-10, 15)
            presence = Presence.HALF if self.half_day else Presence.FULL
            given = {"learner": learner.id, "day": self.day, "presence": presence, "minutes": minutes}
            self.do(actions.take_attendance, by, **given)

    def hand_out(self) -> Job:
        """Issue the next workbook wherever a course stands without one."""
        for learner in self.learners:
            held = {self.book(copy).course for copy in self.in_hand(learner)}
            for course in learner.courses:
                book = self.next_book(learner, course)
                if course in held or book is None:
                    continue
                copy = self.shelf(learner, book, CopyStatus.IN_THE_HOUSE)
                if copy is not None:
                    yield self.clock + self.dice.randint(20, 50)
                    self.do(actions.issue_copy, self.ruth, copy=copy, learner=learner.id)

    def next_book(self, learner: Somebody, course: str) -> Workbook | None:
        done = self.desk.passed.get(learner.id, set())
        return next((b for b in self.programme.course(course).workbooks if b.code not in done), None)

    def shelf(self, learner: Somebody, book: Workbook, *statuses: CopyStatus) -> str | None:
        """A copy of the workbook for this learner that is in the house, or on order."""
        rows = self.desk.copies.values()
        mine = (
            r.id for r in rows if r.workbook == book.code and r.learner == learner.id and r.status in statuses
        )
        return next(mine, None)

    def set_goals(self, by: Somebody) -> Job:
        for learner in self.present():
            for copy in self.in_hand(learner):
                s, step = self.look(copy).standing, self.look(copy).next
                if isinstance(step.act, UnitTestSat):
                    yield from self.goal_to_sit(by, learner, copy)
                elif isinstance(step.act, PracticeTestOpened):
                    if not self.held_back(copy):
                        yield self.clock + self.dice.randint(8, 25)
                        self.do(actions.set_goal, by, copy=copy, step=Step.PRACTICE_TEST)
                elif first_uncleared(s, self.book(copy)) is not None:
                    yield from self.goal_of_pages(by, copy, s)

    def goal_to_sit(self, by: Somebody, learner: Somebody, copy: str) -> Job:
        first = not any(self.desk.copies[c].learner == learner.id for c in self.sittings)
        early = any(b.kind is BarKind.TOO_SOON for b in self.rule_on_sitting(copy))
        if early or not first or not (self.chance(0.9) or self.day >= self.settling):
            return
        self.sittings.add(copy)
        if self.afternoons_left and self.ending is None and self.chance(0.04):
            self.put_off.add(copy)
        yield self.clock + self.dice.randint(8, 25)
        self.do(actions.set_goal, by, copy=copy, step=Step.UNIT_TEST)

    def goal_of_pages(self, by: Somebody, copy: str, s: Standing) -> Job:
        left = [page for page in range(1, self.book(copy).pages + 1) if page not in s.pages]
        wanted = self.quota(copy, len(left))
        if not left or wanted < 1:
            return
        last = min(left[0] + wanted - 1, left[-1])
        self.goals[copy] = last
        yield self.clock + self.dice.randint(8, 25)
        self.do(actions.set_goal, by, copy=copy, first=left[0], last=last)

    def quota(self, copy: str, left: int) -> int:
        """Pages for one day: as a rule some three, and in the last week as many as the ending needs."""
        usual = max(0, round(self.dice.gauss(self.temper(copy).pages, 1.1)))
        if self.ending is None:
            return usual
        if copy in self.ending.hurried:
            return left
        if copy in self.ending.copies:
            days = len([d for d in self.school_days if self.day <= d < LAST]) - 2
            return left if days < 1 else -(-left // days)
        return min(usual, max(0, left - 2))

    def pressing(self) -> Job | None:
        """The answer to the call that presses most; None where nobody calls."""
        found: list[tuple[int, int, int, Job]] = []
        for learner in self.learners:
            here = learner in self.present()
            for copy in self.in_hand(learner):
                look = self.look(copy)
                if here and look.standing.help is not None:
                    self.offer(found, 1, copy, look, self.help(learner, copy))
                elif look.next.turn is Turn.EDUCATOR:
                    self.offer_step(found, learner, copy, look, here=here)
                elif here and copy in self.handed_in:
                    self.offer(found, 1, copy, look, self.score_practice(copy))
        return min(found, key=lambda call: call[:3])[3] if found else None

    def offer(
        self, found: list[tuple[int, int, int, Job]], rank: int, copy: str, look: _Look, job: Job
    ) -> None:
        """Put a call in the queue, once the educator has noticed it: a few minutes after it came up."""
        key = (copy, look.facts)
        if key not in self.noticed:
            overnight = self.clock < _clock(8, 50)
            self.noticed[key] = self.clock if overnight else self.after(0.5, 7)
        if self.noticed[key] <= self.clock:
            found.append((rank, self.noticed[key], len(found), job))

    def offer_step(
        self,
        found: list[tuple[int, int, int, Job]],
        learner: Somebody,
        copy: str,
        look: _Look,
        *,
        here: bool,
    ) -> None:
        call, act = look.next.call, look.next.act
        if call is CallKind.MARK_UNIT_TEST:
            if self.is_due("marking", copy):
                self.offer(found, 3, copy, look, self.score_unit(copy))
        elif isinstance(act, ReadinessDecided):
            if self.is_due("readiness", copy):
                self.offer(found, 3, copy, look, self.decide(copy, look.standing))
        elif not here:
            return
        elif call is CallKind.PRACTICE_TEST:
            if not self.held_back(copy) and self.clock < self.leaves(learner) - _clock(0, 55):
                self.offer(found, 2, copy, look, self.open_practice(learner, copy))
        elif call is CallKind.REVIEW:
            self.offer(found, 2, copy, look, self.help(learner, copy, least=9, most=18))
        elif call is CallKind.QUIZ:
            self.offer(found, 2, copy, look, self.quiz(learner, copy, look.standing))
        elif call is CallKind.CHECK:
            self.offer(found, 2, copy, look, self.open_check(copy, look.standing))
        elif call is CallKind.OPENING_TALK:
            self.offer(found, 2, copy, look, self.opening_talk(learner, copy))
        elif look.standing.waiting is not None:
            self.offer(found, 1, copy, look, self.answer(copy, look.standing))

    def is_due(self, what: str, copy: str) -> bool:
        """Whether the educator gets to it now; when she will is settled when she first sees it."""
        key = (what, copy)
        if key not in self.due:
            self.due[key] = self.settle_due(what, copy)
        return self.due[key] <= (self.day, self.clock)

    def settle_due(self, what: str, copy: str) -> tuple[date, int]:
        if self.ending is not None and copy in (self.ending.readiness, self.ending.doubtful):
            return date.max, 0
        later_today = (self.day, max(self.clock, _clock(13, 10)) + self.dice.randint(600, 7200))
        if what == "readiness":
            later_today = (self.day, self.after(4, 60))
        tomorrow = (self.day + timedelta(days=1), _clock(8, 30) if what == "readiness" else _clock(13, 30))
        return later_today if self.ending is not None or self.chance(0.75) else tomorrow

    def held_back(self, copy: str) -> bool:
        """In the last week, practice tests are put off to the day on which the ending wants them."""
        if self.ending is None or copy not in self.ending.copies:
            return False
        if copy == self.ending.too_soon:
            return self.day < LAST
        if self.day < self.school_days[-2]:
            return True
        return copy in (self.ending.readiness, self.ending.doubtful) and self.clock < _clock(11, 40)

    def answer(self, copy: str, s: Standing) -> Job:
        """Look for blanks, then give leave or send the learner back."""
        waiting = s.waiting
        if waiting is None or waiting.step is None:
            return
        yield self.after(0.4, 1.5)
        where = {"copy": copy, "step": waiting.step, "stop": waiting.stop}
        if waiting.stop != PRACTICE and self.chance(0.07 if waiting.step is Step.MARK else 0.03):
            self.do(actions.refuse_leave, self.ruth, reason=self.dice.choice(_SENT_BACK), **where)
        else:
            self.do(actions.give_leave, self.ruth, **where)

    def help(self, learner: Somebody, copy: str, least: float = 3, most: float = 11) -> Job:
        by = self.tobi if not self.educator_here or self.chance(0.35) else self.ruth
        then = self.after(least, most)
        self.busy[learner.id] = then
        minutes = (then - self.clock) // 60
        yield then
        self.do(actions.give_help, by, copy=copy, minutes=minutes)

    def ask_aloud(self, copy: str, questions: Sequence[int], stop: str, knows: float = 0.75) -> None:
        chosen = self.dice.sample(list(questions), min(len(questions), self.dice.randint(3, 5)))
        answers = [(question, self.chance(knows)) for question in chosen]
        self.do(actions.hold_oral_quiz, self.ruth, copy=copy, answers=answers, stop=stop)

    def quiz(self, learner: Somebody, copy: str, s: Standing) -> Job:
        """Much was wrong: ask it aloud, teach it, or (seldom, with a reason) go on without."""
        kept = next(k for k in s.stops.values() if k.cycle is Cycle.TO_CORRECT and k.id != PRACTICE)
        then = self.after(4, 9)
        self.busy[learner.id] = then
        if self.no_quiz_left and self.ending is None and self.chance(0.12):
            self.no_quiz_left -= 1
            yield then
            self.do(actions.correct, learner, copy=copy, stop=kept.id)
            self.do(actions.ask_leave, learner, copy=copy, step=Step.REMARK, stop=kept.id)
            yield self.after(0.5, 2)
            given = {"copy": copy, "step": Step.REMARK, "stop": kept.id}
            self.do(actions.give_leave, self.ruth, override=_NO_QUIZ, **given)
        elif self.chance(0.3):
            minutes = (then - self.clock) // 60
            yield then
            self.do(actions.give_help, self.ruth, copy=copy, minutes=minutes)
        else:
            yield then
            self.ask_aloud(copy, kept.still_wrong, kept.id, 0.65)

    def open_check(self, copy: str, s: Standing) -> Job:
        stop = first_uncleared(s, self.book(copy))
        if stop is None:
            return
        yield self.after(0.3, 1.5)
        self.do(actions.open_check, self.ruth, copy=copy, stop=stop.id)

    def opening_talk(self, learner: Somebody, copy: str) -> Job:
        then = self.after(4, 9)
        self.busy[learner.id] = then
        yield then
        self.do(actions.hold_opening_talk, self.ruth, copy=copy)

    def open_practice(self, learner: Somebody, copy: str) -> Job:
        yield self.after(0.5, 2)
        if self.clock < self.leaves(learner) - _clock(0, 50):
            self.do(actions.open_practice_test, self.ruth, copy=copy)

    def score_practice(self, copy: str) -> Job:
        yield self.after(3, 7)
        self.handed_in.discard(copy)
        self.do(actions.score_practice_test, self.ruth, copy=copy, wrong=self.wrong_in_practice(copy))

    def decide(self, copy: str, s: Standing) -> Job:
        """Ready, unless the practice test was only just passed; then a quiz comes first, on a later day."""
        attempt = s.attempt
        yield self.after(0.3, 1)
        if s.ready is False and attempt is not None:
            self.ask_aloud(copy, attempt.wrong or (1, 2, 3), PRACTICE, 0.85)
            yield self.after(4, 8)
        narrow = attempt is not None and attempt.right == attempt.needed and s.ready is None
        ready = not (narrow and self.ending is None and self.chance(0.6))
        self.do(actions.decide_readiness, self.ruth, copy=copy, ready=ready)
        if not ready:
            self.due["readiness", copy] = (self.day + timedelta(days=1), _clock(13))

    def score_unit(self, copy: str) -> Job:
        yield self.after(6, 14)
        book = self.book(copy)
        most = book.unit_questions - self.programme.marks.unit_needed(book.unit_questions)
        fails = self.day >= FAILS_FROM and self.fails is None
        if fails:
            self.fails = copy
        wrong = self.wrong_in_test(copy, book.unit_questions, most, fails=fails)
        self.do(actions.score_unit_test, self.ruth, copy=copy, wrong=wrong)

    def evening(self) -> Job:
        """The desk: attendance, new copies, the next workbooks, and once a month the dispatch."""
        yield max(self.clock, _clock(12, 50) if self.half_day else _clock(16, 20))
        yield from self.attendance(self.ruth)
        yield from self.spot_checks()
        rows = self.desk.copies.values()
        for row in [r for r in rows if r.live and r.status == CopyStatus.FINISHED]:
            yield self.after(0.5, 2)
            self.order(self.book(row.id), self.owner(row.id), failed=row.id)
        if not self.spoiled and self.day >= date(2025, 10, 7):
            dry = next((r.id for r in rows if r.status == CopyStatus.IN_THE_HOUSE), None)
            if dry is not None:
                self.spoiled = True
                self.do(actions.spoil_copy, self.ruth, copy=dry, reason=_SPOILED)
        yield from self.order_ahead()
        yield from self.hand_out()
        yield from self.dispatch()

    def marks(self, copy: str) -> CopyMarks:
        """The marks of a copy; gathered anew only after its next fact."""
        entries = self.desk.fold(copy).entries
        kept = self.gathered.get(copy)
        if kept is None or kept[0] != len(entries):
            kept = self.gathered[copy] = (len(entries), marks_of(copy, entries))
        return kept[1]

    def spot_checks(self) -> Job:
        """On most days some ticks of each learner are marked again, and more of them where one was a slip."""
        for learner in self.learners:
            if self.spot_dice.random() < 0.2:
                continue
            for _ in range(4):
                copies = [c.id for c in self.desk.copies.values() if c.learner == learner.id]
                marks = [self.marks(copy) for copy in copies]
                found = read_spot(marks, self.calendar, learner.id, str.encode)
                if not found.ticks or found.batch is None or found.batch.day != self.day:
                    break
                yield self.clock + self.spot_dice.randint(60, 150)
                slips = _NATURES[learner.key].slips
                looked = [(t.copy, t.stop, t.question, self.spot_dice.random() >= slips) for t in found.ticks]
                self.do(actions.hold_spot_checks, self.ruth, looked=looked)

    def order_ahead(self) -> Job:
        """Order what will be wanted: the next workbook once two fifths of this one are worked."""
        there = (CopyStatus.ON_ORDER, CopyStatus.IN_THE_HOUSE)
        for learner in self.learners:
            held = {self.book(copy).course: copy for copy in self.in_hand(learner)}
            for course in learner.courses:
                copy = held.get(course)
                if copy is None:
                    book, share = self.next_book(learner, course), 1.0
                else:
                    here = self.book(copy)
                    book = self.programme.next_in_course(here)
                    share = len(self.look(copy).standing.pages) / here.pages
                if book is None or share < 0.4 or self.shelf(learner, book, *there) is not None:
                    continue
                if self.ending is not None and copy is not None:
                    # One order is left for the visitor; until there is one, all wait for half of the workbook.
                    if self.kept_order in (None, book.code) and share >= 0.5:
                        self.kept_order = book.code
                    if self.kept_order in (None, book.code):
                        continue
                yield self.after(0.3, 1.5)
                self.order(book, learner)

    def dispatch(self) -> Job:
        """Send last month's papers on the 1st, or on the first school day after it."""
        first = self.day.replace(day=1)
        if self.day != self.school_days[0] and any(first <= d < self.day for d in self.school_days):
            return
        rows = [
            r for r in self.desk.copies.values() if r.status == CopyStatus.FINISHED and r.scored_on < first
        ]
        rows.sort(key=lambda row: (row.scored_on, row.id))
        if first.year == LAST.year:
            rows = rows[:-2]  # two papers stay behind in the tray: the visitor finds them
        if rows:
            yield self.after(2, 6)
            tracking = f"TS {self.dice.randint(10**8, 10**9 - 1)}"
            given = {"copies": [row.id for row in rows], "dispatch": f"d{self.dice.getrandbits(48):012x}"}
            self.do(actions.send_dispatch, self.ruth, tracking=tracking, **given)

    # --- the learners ---------------------------------------------------------------------------------------

    def learner(self, who: Somebody) -> Job:
        """A day at the own table: always the thing that is furthest along, else the next pages."""
        leaves = self.leaves(who)
        lunch = _clock(12, 15) + 60 * self.dice.randint(-5, 10)
        order = list(who.courses)
        self.dice.shuffle(order)
        eaten = self.half_day
        yield _clock(8, 45) + self.dice.randint(0, 300)
        while self.clock < leaves:
            if not eaten and self.clock >= lunch:
                eaten = True
                yield self.clock + 2700
            if self.busy.get(who.id, 0) > self.clock:
                yield self.busy[who.id]
                continue
            job = self.next_job(who, order)
            if job is None:
                yield self.clock + 120
            else:
                yield from job

    def next_job(self, who: Somebody, order: list[str]) -> Job | None:
        best: tuple[tuple[int, int, int], Job] | None = None
        for copy in self.in_hand(who):
            look = self.look(copy)
            found = self.job_on(who, copy, look)
            if found is not None:
                favoured = self.ending is not None and copy in (*self.ending.copies, *self.ending.hurried)
                rank = (found[0], 0 if favoured else 1, order.index(self.book(copy).course))
                if best is None or rank < best[0]:
                    best = (rank, found[1])
        return best[1] if best is not None else None

    def job_on(self, who: Somebody, copy: str, look: _Look) -> tuple[int, Job] | None:
        s, act = look.standing, look.next.act
        if copy in self.sittings and isinstance(act, UnitTestSat):
            return self.sitting(who, copy)
        if s.help is not None or copy in self.handed_in:
            return None
        if look.next.turn is not Turn.LEARNER:
            return self.correct_practice(who, copy, s)
        match act:
            case PracticeTestScored():
                return 1, self.sit_practice(who, copy, s)
            case FirstMarking():
                return 2, self.mark(who, copy, act)
            case ReMarked():
                return 2, self.re_mark(who, copy, act.stop, s)
            case Corrected():
                return 3, self.correct(who, copy, act.stop)
            case LeaveAsked():
                return 3, self.ask(who, copy, act, s)
            case PagesWorked():
                stop = first_uncleared(s, self.book(copy))
                reach = self.goals.get(copy, 0)
                if stop is None or (stop.kind == "section" and act.first > reach):
                    return None
                reach = stop.last if stop.kind == "check" else min(stop.last, reach)
                return 4, self.work(who, copy, act.first, reach)
            case _:
                return None

    # --- what a learner does ------------------------------------------------------------------------------

    def work(self, who: Somebody, copy: str, first: int, reach: int) -> Job:
        """One to three pages; stuck now and then, and seldom a slip of the pen that is taken back."""
        temper = self.temper(copy)
        last = min(reach, first + self.dice.randint(0, 2))
        minutes = max(2, round((last - first + 1) * temper.minutes * self.dice.lognormvariate(0, 0.22)))
        if self.chance(0.5 * temper.wrong) and self.ending is None:
            yield self.after(2, 6)
            self.do(actions.ask_help, who, copy=copy, page=first)
            return
        yield self.clock + 60 * minutes
        pages = {"copy": copy, "first": first, "last": last}
        if self.chance(0.004):
            slip = self.do(actions.work_pages, who, minutes=10 * minutes, **pages)
            yield self.after(1, 2)
            self.desk.flush()  # an act is taken back from the record, not from the desk
            self.do(actions.undo, self.ruth, act=slip.act)
            yield self.after(0.3, 1)
        self.do(actions.work_pages, who, minutes=minutes, **pages)

    def ask(self, who: Somebody, copy: str, wanted: LeaveAsked, s: Standing) -> Job:
        yield self.after(0.2, 1) if s.refusal is None else self.after(3, 7)
        self.do(actions.ask_leave, who, copy=copy, step=wanted.step, stop=wanted.stop)

    def mark(self, who: Somebody, copy: str, at: FirstMarking) -> Job:
        yield self.after(3, 7)
        self.do(actions.mark, who, copy=copy, stop=at.stop, wrong=self.wrong_in_stop(copy, at.asked))

    def correct(self, who: Somebody, copy: str, stop: str) -> Job:
        yield self.after(4, 11)
        self.do(actions.correct, who, copy=copy, stop=stop)

    def re_mark(self, who: Somebody, copy: str, stop: str, s: Standing) -> Job:
        yield self.after(1.5, 4)
        share = 0.12 if self.ending is None else 0.0
        still = tuple(question for question in s.stop(stop).still_wrong if self.chance(share))
        self.do(actions.re_mark, who, copy=copy, stop=stop, wrong=still)

    def sit_practice(self, who: Somebody, copy: str, s: Standing) -> Job:
        """Sit it, then hand it in; the eldest asks leave and marks it herself."""
        own = _NATURES[who.key].marks_own_tests
        if own and s.leave == (Step.MARK, PRACTICE):
            yield self.after(4, 8)
            self.do(actions.score_practice_test, who, copy=copy, wrong=self.wrong_in_practice(copy))
            return
        yield self.after(0.8 * self.book(copy).practice_questions, 1.3 * self.book(copy).practice_questions)
        if own:
            self.do(actions.ask_leave, who, copy=copy, step=Step.MARK, stop=PRACTICE)
        else:
            self.handed_in.add(copy)

    def correct_practice(self, who: Somebody, copy: str, s: Standing) -> tuple[int, Job] | None:
        """After a practice test that was passed, what was wrong is corrected like any stop."""
        kept = s.stop(PRACTICE)
        steered = self.ending is not None and copy in self.ending.copies
        if steered or not s.practice_passed or s.unit is not None or s.waiting is not None:
            return None
        if kept.cycle is Cycle.TO_CORRECT:
            return 5, self.correct(who, copy, PRACTICE)
        if kept.cycle is not Cycle.CORRECTED:
            return None
        if s.leave == (Step.REMARK, PRACTICE):
            return 2, self.re_mark(who, copy, PRACTICE, s)
        return 3, self.ask(who, copy, LeaveAsked(copy, Step.REMARK, PRACTICE), s)

    def rule_on_sitting(self, copy: str) -> tuple[Bar, ...]:
        sat = UnitTestSat(copy, 1, self.day, (), self.ruth.id)
        return self.desk.rule(sat, by=self.ruth, at=self.instant, now=self.instant).bars

    def sitting(self, who: Somebody, copy: str) -> tuple[int, Job] | None:
        """The unit test, where nothing bars it; a test put off to the afternoon is let through with a reason."""
        bars = self.rule_on_sitting(copy)
        if not bars:
            return None if copy in self.put_off else (0, self.sit(who, copy, self.clock))
        late = [b.kind for b in bars] == [BarKind.NOT_MORNING] and self.clock > _clock(13)
        if late and copy in self.put_off and self.afternoons_left:
            self.afternoons_left -= 1
            return 0, self.sit(who, copy, self.clock, override=_AFTERNOON)
        return None

    def sit(self, who: Somebody, copy: str, at: int, *, override: str | None = None) -> Job:
        yield at
        if any(b.kind is not BarKind.NOT_MORNING for b in self.rule_on_sitting(copy)):
            return  # others sat down first
        aids = self.programme.aids_for(who.year or 0)
        watcher = self.tobi if self.chance(0.3) else self.ruth
        given = {"copy": copy, "watcher": watcher.id, "aids": aids}
        self.do(actions.sit_unit_test, self.ruth, override=override, **given)
        yield self.after(0.8 * self.book(copy).unit_questions, 1.2 * self.book(copy).unit_questions)

    # --- dice -----------------------------------------------------------------------------------------------

    def wrong_in_stop(self, copy: str, asked: int) -> tuple[int, ...]:
        share = min(0.7, self.temper(copy).wrong * self.dice.lognormvariate(0, 0.6) * self.again(copy))
        if self.ending is not None and copy == self.ending.doubtful:
            share = max(share, 0.3)
        elif self.ending is not None and copy in (*self.ending.copies, *self.ending.hurried):
            share *= 0.4
        return tuple(question for question in range(1, asked + 1) if self.chance(share))

    def again(self, copy: str) -> float:
        """Whoever works a workbook a second time gets less wrong."""
        return 0.6 if self.desk.copies[copy].ordinal > 1 else 1.0

    def wrong_in_practice(self, copy: str) -> tuple[int, ...]:
        asked = self.book(copy).practice_questions
        return self.wrong_in_test(copy, asked, asked - self.programme.marks.practice_needed(asked))

    def wrong_in_test(self, copy: str, asked: int, most: int, *, fails: bool = False) -> tuple[int, ...]:
        """Numbers wrong; in the last week every test is passed, and one before it is failed."""
        share = self.temper(copy).wrong * self.dice.lognormvariate(0, 0.35) * self.again(copy)
        wrong = [question for question in range(1, asked + 1) if self.chance(share)]
        if fails:
            right = [question for question in range(1, asked + 1) if question not in wrong]
            wrong += self.dice.sample(right, max(0, most + 2 - len(wrong)))
        elif self.ending is not None and copy == self.ending.doubtful:
            wrong = self.dice.sample(range(1, asked + 1), most)
        elif self.ending is not None and len(wrong) > most:
            wrong = self.dice.sample(wrong, most)
        return tuple(sorted(wrong))

    # --- the ending -----------------------------------------------------------------------------------------

    def choose_ending(self) -> _Ending:
        """Of the copies nearest to their tests, one of each learner and two more: a test in each of its stages."""
        left: dict[str, int] = {}
        for _, copy in self.everything_in_hand():
            s = self.look(copy).standing
            if s.unit is None and not s.practice:
                left[copy] = self.book(copy).pages - len(s.pages)
        chosen: list[str] = []
        for learner in (*self.learners, None, None):
            mine = self.in_hand(learner) if learner is not None else list(left)
            near = [copy for copy in mine if left.get(copy, 0) >= 2 and copy not in chosen]
            chosen.append(min(near, key=left.__getitem__))
        hurried = {copy for copy, pages in left.items() if pages <= 8 and copy not in chosen}
        return _Ending(*chosen, hurried=hurried)

    def last_morning(self) -> None:
        """What the visitor finds at twenty past ten."""
        ending = self.ending
        if ending is None:
            return
        self.goals, self.busy, self.noticed, self.sittings = {}, {}, {}, set()
        self.play([self.dawn()])
        free = [copy for _, copy in self.everything_in_hand() if copy not in ending.copies]
        sits, may_sit, too_soon = (
            self.owner(copy) for copy in (ending.to_mark, ending.sitting, ending.too_soon)
        )
        check = self.pick(free, CallKind.CHECK, sits)
        re_mark = self.pick(free, CallKind.LEAVE_TO_REMARK, sits)
        quiz = self.pick(free, CallKind.QUIZ, may_sit)
        mark = self.pick(free, CallKind.LEAVE_TO_MARK, may_sit)
        mark_later = self.pick(free, CallKind.LEAVE_TO_MARK, too_soon)
        stuck = self.pick(free, CallKind.HELP, too_soon)
        begun = self.pick(free, CallKind.HELP, may_sit)
        start = self.clock + 60

        def first_learner() -> Job:
            yield max(start, _clock(8, 38))
            yield from self.bring(check, CallKind.CHECK, budget=9)
            watched = self.sit(sits, ending.to_mark, max(self.clock, _clock(9, 2)))
            yield next(watched)
            yield min(next(watched), self.clock + 2280)
            yield from self.bring(re_mark, CallKind.LEAVE_TO_REMARK, budget=10, ask_at=_clock(10, 4))

        def second_learner() -> Job:
            yield max(start, _clock(8, 47))
            yield from self.read_on(begun)
            yield max(self.clock, _clock(9, 8))
            yield from self.bring(quiz, CallKind.QUIZ, budget=18)
            yield from self.bring(mark, CallKind.LEAVE_TO_MARK, budget=20, ask_at=_clock(10, 7))

        def third_learner() -> Job:
            yield max(start, _clock(8, 40))
            yield from self.practice_this_morning(too_soon, ending.too_soon)
            yield from self.get_stuck(stuck, _clock(9, 57) + self.dice.randint(0, 240))
            yield from self.bring(mark_later, CallKind.LEAVE_TO_MARK, budget=12, ask_at=_clock(10, 15))

        self.play([first_learner(), second_learner(), third_learner()], until=ENDS_AT)

    def dawn(self) -> Job:
        """Before school: whatever was left over from the day before, then today's goals."""
        yield _clock(8)
        yield from self.hand_out()
        steered = self.ending.copies if self.ending is not None else ()
        for learner, copy in self.everything_in_hand():
            while copy not in steered:
                look = self.look(copy)
                if look.standing.help is not None:
                    yield from self.help(learner, copy, 1, 2)
                elif look.next.turn is Turn.EDUCATOR and not isinstance(
                    look.next.act, PracticeTestOpened | UnitTestSat
                ):
                    yield from self.step(learner, copy, look, 60, 0)
                else:
                    break
        yield max(self.clock, _clock(8, 25))
        yield from self.set_goals(self.ruth)

    def pick(self, free: list[str], want: CallKind, learner: Somebody) -> str:
        """Take the copy, of this learner where it can be, that needs the least work to make this call."""

        def cost(copy: str) -> tuple[int, str]:
            s, book = self.look(copy).standing, self.book(copy)
            stop = first_uncleared(s, book)
            far = 0 if self.desk.copies[copy].learner == learner.id else 12
            if stop is None:
                return 1000, copy
            kept = s.stop(stop.id)
            pages = sum(1 for page in range(stop.first, stop.last + 1) if page not in s.pages)
            begun = kept.cycle is not Cycle.UNMARKED
            shut = stop.kind == "check" and not kept.opened
            if want is CallKind.LEAVE_TO_REMARK:
                far += 0 if begun else 3 + pages
            elif want is CallKind.CHECK:
                far += 0 if shut else pages + 2 + self.pages_to_check(book, stop)
            elif want is CallKind.HELP:
                far += 0 if pages > 1 and not shut and not begun else 30
            else:
                far += 20 if begun else pages + (3 if shut else 0)
            return far, copy

        found = min(free, key=cost)
        free.remove(found)
        return found

    @staticmethod
    def pages_to_check(book: Workbook, stop: Stop) -> int:
        """Pages of the stops between this one and the next progress check."""
        following = book.stops[book.stops.index(stop) + 1 :]
        between = 0
        for later in following:
            if later.kind == "check":
                return between
            between += later.last - later.first + 1
        return 1000

    def bring(self, copy: str, want: CallKind, *, budget: int, ask_at: int = 0) -> Job:
        """Go on in a copy, learner and educator in turn, until it makes the call that is wanted."""
        who = self.owner(copy)
        for _ in range(40):
            look = self.look(copy)
            if look.next.call is want:
                return
            act, wrong = look.next.act, 0
            asks = {CallKind.LEAVE_TO_MARK: Step.MARK, CallKind.LEAVE_TO_REMARK: Step.REMARK}.get(want)
            if isinstance(act, LeaveAsked) and act.step is asks:
                yield max(self.clock, ask_at - 40)
            if isinstance(act, FirstMarking):
                many = -(-act.asked * self.programme.marking.quiz_when_wrong_percent // 100)
                wrong = {CallKind.QUIZ: many, CallKind.LEAVE_TO_REMARK: 2}.get(want, 0)
            yield from self.step(who, copy, look, 60 * budget, wrong)

    def step(self, who: Somebody, copy: str, look: _Look, budget: int, wrong: int) -> Job:
        """Take the one next step of a copy."""
        s, act = look.standing, look.next.act
        match act:
            case PagesWorked():
                pace = round(60 * self.temper(copy).minutes * (act.last - act.first + 1))
                took = min(pace, budget)
                yield self.clock + took
                given = {"first": act.first, "last": act.last, "minutes": max(1, took // 60)}
                self.do(actions.work_pages, who, copy=copy, **given)
            case LeaveAsked():
                yield self.clock + 40
                self.do(actions.ask_leave, who, copy=copy, step=act.step, stop=act.stop)
            case LeaveGiven():
                yield self.after(1, 3)
                self.do(actions.give_leave, self.ruth, copy=copy, step=act.step, stop=act.stop)
            case FirstMarking():
                yield self.after(3, 5)
                numbers = self.dice.sample(range(1, act.asked + 1), wrong)
                self.do(actions.mark, who, copy=copy, stop=act.stop, wrong=numbers)
            case Corrected():
                yield self.after(4, 6)
                self.do(actions.correct, who, copy=copy, stop=act.stop)
            case ReMarked():
                yield self.after(1, 3)
                self.do(actions.re_mark, who, copy=copy, stop=act.stop, wrong=())
            case OralQuizHeld():
                yield self.after(3, 4)
                self.ask_aloud(copy, s.stop(act.stop or "").still_wrong, act.stop or "")
            case OpeningTalkHeld():
                yield self.after(4, 6)
                self.do(actions.hold_opening_talk, self.ruth, copy=copy)
            case ReadinessDecided():
                yield from self.decide(copy, s)
            case _:
                if look.next.call is CallKind.CHECK:
                    yield from self.open_check(copy, s)
                elif look.next.call is CallKind.MARK_UNIT_TEST:
                    yield from self.score_unit(copy)
                else:
                    yield from self.help(who, copy, 4, 6)

    def practice_this_morning(self, who: Somebody, copy: str) -> Job:
        """A practice test passed today: ready, but the unit test is not before tomorrow."""
        self.do(actions.open_practice_test, self.ruth, copy=copy)
        yield min(self.after(0.8 * self.book(copy).practice_questions, 36), self.clock + 2160)
        marker = who if _NATURES[who.key].marks_own_tests else self.ruth
        if marker is who:
            leave = {"copy": copy, "step": Step.MARK, "stop": PRACTICE}
            self.do(actions.ask_leave, who, **leave)
            yield self.after(0.5, 1.5)
            self.do(actions.give_leave, self.ruth, **leave)
        yield self.after(3, 5)
        self.do(actions.score_practice_test, marker, copy=copy, wrong=self.wrong_in_practice(copy))
        yield self.after(2, 4)
        self.do(actions.decide_readiness, self.ruth, copy=copy, ready=True)

    def read_on(self, copy: str) -> Job:
        """Work one page, where that does not come to the marking stop yet."""
        act = self.look(copy).next.act
        if isinstance(act, PagesWorked) and act.last > act.first:
            took = min(round(self.temper(copy).minutes), 14)
            yield self.clock + 60 * took
            given = {"first": act.first, "last": act.first, "minutes": took}
            self.do(actions.work_pages, self.owner(copy), copy=copy, **given)

    def get_stuck(self, copy: str, at: int) -> Job:
        yield from self.read_on(copy)
        yield max(at, self.clock)
        act = self.look(copy).next.act
        page = act.first if isinstance(act, PagesWorked) else None
        self.do(actions.ask_help, self.owner(copy), copy=copy, page=page)
