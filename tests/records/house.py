"""The house in which the records are tried, and how far one copy is brought in it.

The standing cast, all invented: Ruth teaches, Tobi helps, Asa (year 5) and Noa (year 9) learn; Mallory teaches in
another household. They follow the sample programme. In the weeks used here the clock in London shows UTC.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

from markstead.ledger.facts import Step
from markstead.ledger.serial import Entry, read_body
from markstead.records import actions as a
from markstead.records import queries
from markstead.records.desk import Done, Slip
from markstead.records.home import Home
from markstead.records.models import Copy
from markstead.records.models import Entry as EntryRow
from markstead.records.setup import Newcomer, Papers, set_up
from markstead.rules.programme import Stop
from markstead.rules.ruling import Role
from markstead.rules.samples import sample_texts
from markstead.rules.standing import Standing, standing_of

CALENDAR = """
zone = "Europe/London"
country = "GB"
region = "ENG"
weekdays = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday"]
[[term]]
name = "spring"
first = 2026-01-05
last = 2026-03-27
"""
PAPERS = Papers(*sample_texts(), CALENDAR)
CAST = (
    Newcomer("ruth", "Ruth", Role.EDUCATOR),
    Newcomer("tobi", "Tobi", Role.HELPER),
    Newcomer("asa", "Asa", Role.LEARNER, 5, ("maths-5", "reading-5")),
    Newcomer("noa", "Noa", Role.LEARNER, 9, ("maths-9",)),
)
STRANGERS = (
    Newcomer("mallory", "Mallory", Role.EDUCATOR),
    Newcomer("trent", "Trent", Role.LEARNER, 5, ("maths-5",)),
)
MOVED_IN = datetime(2026, 1, 5, 8, tzinfo=UTC)
MONDAY = "2026-01-12 08:00"
TUESDAY = "2026-01-13 09:00"
BOOK = "maths-5-01"


def at(text: str) -> datetime:
    """An instant, as the kitchen clock shows it in winter."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def entries(household: str = "home", copy: str | None = None) -> list[Entry]:
    """The record, or the part of one copy, read by nobody's code but the reader of bodies."""
    rows = EntryRow.objects.filter(household=household).order_by("seq")
    if copy is not None:
        rows = rows.filter(copy=copy)
    return [read_body(body) for body in rows.values_list("body", flat=True)]


def standing(copy: str, household: str = "home") -> Standing:
    """Where a copy stands, folded from the bodies that are in the database now."""
    return standing_of(copy, entries(household, copy))


def cache_rows(household: str = "home") -> list[dict[str, Any]]:
    """Every column of every kept copy."""
    return list(Copy.objects.filter(household=household).order_by("id").values())


class House:
    """A home and its kitchen clock: each act takes a minute."""

    def __init__(self, household: str = "home", people: tuple[Newcomer, ...] = CAST) -> None:
        self.id = household
        self.where: a.Where = household
        self.home: Home = set_up(household, name="Tarn End", papers=PAPERS, people=people, at=MOVED_IN)
        self.teacher = people[0].key
        self.clock = at(MONDAY)
        self.copies = 0
        self.acts: Iterator[str] | None = None

    def person(self, key: str) -> str:
        """The id of a person, the only thing of theirs that the record knows."""
        return self.home.person(key).id

    def do(self, act: Callable[..., Done], /, *, by: str | None = None, **given: Any) -> Done:
        """Let somebody act, the educator where nobody is named."""
        self.clock += timedelta(minutes=1)
        if self.acts is not None:
            given.setdefault("slip", Slip(act=next(self.acts)))
        return act(self.where, by=by or self.teacher, at=self.clock, **given)

    def until(self, text: str) -> None:
        """Wait until a time, unless it is later already."""
        self.clock = max(self.clock, at(text))

    def until_next_morning(self) -> None:
        """Wait until nine on the next school day."""
        day = self.home.calendar.next_school_day(self.clock.date())
        self.until(f"{day} 09:00")

    def clear(self, copy: str, there: Stop, learner: str) -> None:
        """Open a stop where it is a check, work it, and mark it with everything right."""
        if there.kind == "check":
            self.do(a.open_check, copy=copy, stop=there.id)
        self.finish(copy, there, learner)

    def finish(self, copy: str, there: Stop, learner: str) -> None:
        """Work a stop that is open, and mark it with everything right."""
        leave = {"copy": copy, "step": Step.MARK, "stop": there.id}
        self.do(a.work_pages, copy=copy, first=there.first, last=there.last, minutes=20, by=learner)
        self.do(a.ask_leave, by=learner, **leave)
        self.do(a.give_leave, **leave)
        self.do(a.mark, copy=copy, stop=there.id, wrong=(), by=learner)

    def road(self, copy: str, learner: str, workbook: str) -> Iterator[str]:
        """Take one copy the whole way; give the name of every place where something was just done."""
        book = self.home.programme.workbook(workbook)
        first, second, check, *others = book.stops
        section = {"copy": copy, "stop": first.id}
        self.do(a.order_copy, workbook=workbook, copy=copy)
        yield "on order"
        self.do(a.receive_copy, copy=copy)
        yield "in the house"
        self.do(a.issue_copy, copy=copy, learner=learner)
        yield "issued"
        self.do(a.hold_opening_talk, copy=copy)
        yield "begun"
        self.do(a.work_pages, copy=copy, first=first.first, last=first.last, minutes=41, by=learner)
        yield "worked"
        self.do(a.ask_leave, step=Step.MARK, by=learner, **section)
        yield "asked"
        self.do(a.give_leave, step=Step.MARK, **section)
        yield "may mark"
        self.do(a.mark, wrong=(7, 3), by=learner, **section)
        yield "marked"
        self.do(a.correct, by=learner, **section)
        yield "corrected"
        self.do(a.ask_leave, step=Step.REMARK, by=learner, **section)
        yield "asked again"
        self.do(a.give_leave, step=Step.REMARK, **section)
        yield "may re-mark"
        self.do(a.re_mark, wrong=(), by=learner, **section)
        yield "section cleared"
        self.clear(copy, second, learner)
        yield "check ahead"
        self.do(a.open_check, copy=copy, stop=check.id)
        yield "check open"
        self.finish(copy, check, learner)
        for stop in others:
            self.clear(copy, stop, learner)
        yield "stops cleared"
        self.do(a.open_practice_test, copy=copy)
        yield "practice open"
        self.do(a.score_practice_test, copy=copy, wrong=(2, 11, 19))
        yield "practice passed"
        self.do(a.decide_readiness, copy=copy, ready=True)
        yield "ready"
        self.until_next_morning()
        self.do(a.sit_unit_test, copy=copy, watcher=self.teacher, aids=("pencil", "ruler"))
        yield "sat"
        self.do(a.score_unit_test, copy=copy, right=self.needed(workbook) + 2)
        yield "passed"

    def needed(self, workbook: str = BOOK) -> int:
        """Right answers that just pass the unit test."""
        programme = self.home.programme
        return programme.marks.unit_needed(programme.workbook(workbook).unit_questions)

    def bring(self, place: str, *, learner: str = "asa", workbook: str = BOOK) -> str:
        """Bring a new copy to a place on the road; give its id."""
        self.copies += 1
        copy = f"{self.id}-{self.copies}"
        for reached in self.road(copy, learner, workbook):
            if reached == place:
                return copy
        raise AssertionError(f"there is no place {place!r} on the road")

    def fail(self, *, learner: str = "asa", workbook: str = BOOK) -> str:
        """Bring a copy to a unit test that was not passed, by one answer."""
        copy = self.bring("sat", learner=learner, workbook=workbook)
        self.do(a.score_unit_test, copy=copy, right=self.needed(workbook) - 1)
        return copy

    def page(self) -> queries.Today:
        """Today's page, a minute after the latest act."""
        return queries.today(self.id, now=self.clock + timedelta(minutes=1))


PLACES = (
    "on order",
    "in the house",
    "issued",
    "begun",
    "worked",
    "asked",
    "may mark",
    "marked",
    "corrected",
    "asked again",
    "may re-mark",
    "section cleared",
    "check ahead",
    "check open",
    "stops cleared",
    "practice open",
    "practice passed",
    "ready",
    "sat",
    "passed",
)
