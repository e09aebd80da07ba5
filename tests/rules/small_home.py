"""A small home for the rules: Ruth teaches, Asa and Noa learn, Tobi helps, Ines coordinates; three short workbooks.

Everything is invented. The clock is that of Auckland (UTC+13 on all these days); the public holiday in the term is
Waitangi Day, 6 February (Waitangi Day Act 1976, New Zealand).
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from markstead.calendar import Absence, Away, NamedSpan, SchoolCalendar, Term
from markstead.ledger.facts import AnyFact, CopyIssued
from markstead.ledger.serial import Entry
from markstead.rules.programme import (
    AidRule,
    Course,
    MarkingRules,
    Marks,
    Programme,
    Rework,
    Stop,
    UnitTestRules,
    Workbook,
)
from markstead.rules.ruling import Actor, Role, Ruling, Surroundings, ruling
from markstead.rules.standing import CopyStatus, Fold, Standing

RUTH = Actor("ruth", Role.EDUCATOR)
TOBI = Actor("tobi", Role.HELPER)
ASA = Actor("asa", Role.LEARNER)
NOA = Actor("noa", Role.LEARNER)
INES = Actor("ines", Role.COORDINATOR)
MARA = Actor("mara", Role.LEFT)
CAST = {actor.id: actor for actor in (RUTH, TOBI, ASA, NOA, INES, MARA)}
YEARS = {"asa": 5, "noa": 8}
COURSES = {"asa": frozenset({"plants", "stars"}), "noa": frozenset({"plants"})}

PLANTS_1 = Workbook(
    code="P1",
    course="plants",
    subject="Plants",
    level=1,
    number=1,
    title="Seeds",
    pages=5,
    stops=(
        Stop("section", 1, "section-1", 1, 2, 5),
        Stop("check", 1, "check-1", 3, 3, 4),
        Stop("section", 2, "section-2", 4, 5, 5),
    ),
    practice_questions=10,
    unit_questions=10,
)
PLANTS_2 = Workbook(
    code="P2",
    course="plants",
    subject="Plants",
    level=1,
    number=2,
    title="Leaves",
    pages=3,
    stops=(Stop("section", 1, "section-1", 1, 3, 4),),
    practice_questions=5,
    unit_questions=5,
)
STARS_1 = Workbook(
    code="S1",
    course="stars",
    subject="Stars",
    level=1,
    number=1,
    title="The night sky",
    pages=4,
    stops=(Stop("section", 1, "section-1", 1, 2, 3), Stop("section", 2, "section-2", 3, 4, 3)),
    practice_questions=5,
    unit_questions=5,
    prerequisites=("P1",),
)

PROGRAMME = Programme(
    id="small",
    title="Small",
    currency="NZD",
    marks=Marks(practice_test_percent=80, unit_test_percent=80),
    unit_test=UnitTestRules(
        school_days_after_practice=1,
        morning_from=time(8, 30),
        morning_until=time(12, 0),
        most_a_learner_a_day=1,
        most_watched_a_morning=2,
        readiness_decision=True,
    ),
    marking=MarkingRules(quiz_when_wrong_percent=40, sections_ahead=0),
    dispatch_day=1,
    rework=Rework.NEW_COPY,
    aids=(
        AidRule(0, ("pencil", "eraser", "ruler")),
        AidRule(7, ("pencil", "eraser", "ruler", "calculator")),
    ),
    courses={
        "plants": Course("plants", "Plants", "Plants, level 1", 1, (PLANTS_1, PLANTS_2)),
        "stars": Course("stars", "Stars", "Stars, level 1", 1, (STARS_1,)),
    },
)
SAME_COPY = replace(PROGRAMME, rework=Rework.SAME_COPY)

CALENDAR = SchoolCalendar(
    zone="Pacific/Auckland",
    country="NZ",
    region=None,
    terms=(
        Term("Summer", date(2026, 1, 26), date(2026, 2, 20)),
        Term("Autumn", date(2026, 3, 2), date(2026, 3, 13)),
    ),
    weekdays=frozenset(range(5)),
    holidays_off=(NamedSpan("apple picking", date(2026, 2, 9), date(2026, 2, 9)),),
    absences=(Absence("asa", date(2026, 2, 17), date(2026, 2, 18), "ill"),),
    educator_away=(Away(date(2026, 2, 12), date(2026, 2, 12)),),
)


def at(day: int, hour: int = 9, minute: int = 0, *, month: int = 2) -> datetime:
    """An instant on the kitchen clock in the spring of 2026; February where no month is given."""
    return datetime(2026, month, day, hour, minute, tzinfo=ZoneInfo("Pacific/Auckland"))


MONDAY, TUESDAY, WEDNESDAY, THURSDAY = 2, 3, 4, 5
"""Days of February 2026; Friday the 6th is Waitangi Day and Monday the 9th the home's own holiday."""


class Story:
    """A home's record in memory, for telling what happened and asking what may be done."""

    def __init__(self, programme: Programme = PROGRAMME, calendar: SchoolCalendar = CALENDAR) -> None:
        self.programme, self.calendar = programme, calendar
        self.entries: list[Entry] = []
        self.folds: dict[str, Fold] = {}

    def tell(self, fact: AnyFact, when: datetime, by: Actor = RUTH) -> Entry:
        """Let a fact happen, unasked."""
        seq = len(self.entries) + 1
        entry = Entry(seq, f"act-{seq}", when, when, by.id, fact)
        self.entries.append(entry)
        copy = getattr(fact, "copy", None)
        if copy is not None:
            self.folds.setdefault(copy, Fold(copy)).take(entry)
        return entry

    def tell_all(self, facts: Iterable[AnyFact], when: datetime) -> None:
        """Let facts happen, a minute apart."""
        for n, fact in enumerate(facts):
            self.tell(fact, when + timedelta(minutes=n))

    def standing(self, copy: str = "c1") -> Standing:
        fold = self.folds.get(copy)
        return fold.standing if fold is not None else Standing(copy)

    def around(self, proposed: AnyFact, when: datetime, **other: Any) -> Surroundings:
        """What a ruling must know of the other copies and of the people."""
        copy = getattr(proposed, "copy", "") or ""
        here = self.standing(copy)
        learner = proposed.learner if isinstance(proposed, CopyIssued) else here.learner
        day = self.calendar.day_of(when)
        rest = [fold.standing for name, fold in self.folds.items() if name != copy]
        sat = [s for s in rest if s.unit is not None and s.unit.day == day]
        every = [*rest, here]
        known = Surroundings(
            year=YEARS.get(learner or "", 0),
            courses=COURSES.get(learner or "", frozenset()),
            passed=frozenset(s.workbook for s in every if s.passed and s.learner == learner),
            courses_in_hand=frozenset(
                self.programme.workbook(s.workbook).course
                for s in rest
                if s.status is CopyStatus.ISSUED and s.learner == learner
            ),
            sat_by_learner=sum(1 for s in sat if s.learner == learner),
            sat_that_morning=len(sat),
            watchers=frozenset({"ruth", "tobi"}),
        )
        return replace(known, **other)

    def ask(self, fact: AnyFact, when: datetime, by: Actor = RUTH, **around: Any) -> Ruling:
        """May this be done?"""
        return ruling(
            self.standing(getattr(fact, "copy", None) or ""),
            fact,
            at=when,
            actor=by,
            around=self.around(fact, when, **around),
            programme=self.programme,
            calendar=self.calendar,
        )

    def act(self, fact: AnyFact, when: datetime, by: Actor = RUTH, **around: Any) -> Ruling:
        """Do it, if it may be done."""
        answer = self.ask(fact, when, by, **around)
        if answer.allowed:
            self.tell(fact, when, by)
        return answer


def kinds(answer: Ruling) -> set[str]:
    """The kinds of a ruling's bars, as words."""
    return {str(b.kind) for b in answer.bars}
