"""A home as plain values: its people, programme and calendar, read once for each change of them."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from django.db.models import F

from markstead.calendar import SchoolCalendar
from markstead.errors import InputError, Problem, UnknownError
from markstead.plan.wishes import Wishes
from markstead.records.models import Document, Enrolment, Household, Person
from markstead.rules.programme import Programme
from markstead.rules.ruling import Actor, Role
from markstead.speech import say

ERASED = "erased-"
"""How the key begins of somebody who was erased."""


@dataclass(frozen=True, slots=True)
class Somebody:
    """A person of the home."""

    id: str
    key: str
    name: str
    role: Role
    year: int | None = None
    courses: tuple[str, ...] = ()

    @property
    def actor(self) -> Actor:
        return Actor(self.id, self.role)

    @property
    def erased(self) -> bool:
        """Only the id is left."""
        return self.role is Role.LEFT and self.key.startswith(ERASED)


@dataclass(frozen=True, slots=True)
class Home:
    """Everything about a home that is not on the record."""

    id: str
    name: str
    stamp: str
    programme: Programme
    calendar: SchoolCalendar
    people: dict[str, Somebody] = field(default_factory=dict)
    demo_shift: int | None = None
    failed_test_costs: float = 8
    """School days that a failed unit test costs."""
    hold_day_costs: float = 1
    """School days that a day of review and a fresh practice test costs."""
    wishes: Wishes = field(default_factory=Wishes)
    """What the home asks of its plan; learners by id."""
    plan: int | None = None
    """Number of the plan in force."""
    language: str = ""
    """Code of the language that the home chose; empty: as each browser asks, and English elsewhere."""

    @property
    def learners(self) -> tuple[Somebody, ...]:
        return tuple(p for p in self.people.values() if p.role is Role.LEARNER)

    @property
    def watchers(self) -> frozenset[str]:
        """Who may watch a unit test: the grown-ups of the home."""
        return frozenset(p.id for p in self.people.values() if p.role in (Role.EDUCATOR, Role.HELPER))

    def find(self, id_or_key: str) -> Somebody | None:
        """A person by id or key; None where nobody of this home has it."""
        found = self.people.get(id_or_key)
        return found or next((p for p in self.people.values() if p.key == id_or_key), None)

    def person(self, id_or_key: str) -> Somebody:
        """Find a person by id or key.

        Raises:
            UnknownError: nobody of this home has it.
        """
        found = self.find(id_or_key)
        if found is None:
            keys = ", ".join(p.key for p in self.people.values()) or say("nobody yet")
            raise UnknownError([Problem(say("person"), repr(id_or_key), say("one of {keys}", keys=keys))])
        return found

    def learner(self, id_or_key: str) -> Somebody:
        """Find a learner by id or key.

        Raises:
            UnknownError: nobody of this home has it.
            InputError: somebody has it who is no learner.
        """
        found = self.person(id_or_key)
        if found.role is not Role.LEARNER:
            allowed = say("one of {keys}", keys=", ".join(p.key for p in self.learners))
            raise InputError(
                [Problem(say("learner"), say("{key}, who is no learner", key=found.key), allowed)]
            )
        return found


_MEMO: dict[str, Home] = {}
_MOST = 64


def forget(stamp: str) -> None:
    """Remember a home no more: what has this stamp now may be another."""
    _MEMO.pop(stamp, None)


def load_home(row: Household) -> Home:
    """Read a home's settings; remembered until its stamp changes."""
    home = _MEMO.get(row.stamp)
    if home is None:
        home = _read(row)
        if len(_MEMO) >= _MOST:
            _MEMO.clear()
        _MEMO[row.stamp] = home
    return home


def latest_documents(household: str) -> dict[str, Any]:
    """The version in force of each document, by kind."""
    found: dict[str, Any] = {}
    for row in Document.objects.filter(household=household).order_by("version"):
        found[row.kind] = row
    return found


def _calendar(text: str, by_key: Mapping[str, str]) -> SchoolCalendar:
    """The calendar file names people by the key a home uses; facts and rules know only ids."""
    from markstead.calendar.load import read_calendar

    calendar = read_calendar(text)
    return replace(
        calendar,
        absences=tuple(replace(a, learner=by_key.get(a.learner, a.learner)) for a in calendar.absences),
        educator_away=tuple(
            replace(a, educator=by_key.get(a.educator, a.educator) if a.educator else None)
            for a in calendar.educator_away
        ),
    )


def read_home(home: Home, texts: Mapping[str, str]) -> Home:
    """The same home by other versions of its programme and calendar; it is not the one that is remembered."""
    from markstead.rules.load import read_programme

    return replace(
        home,
        programme=read_programme(texts["programme"], texts["workbooks"]),
        calendar=_calendar(texts["calendar"], {p.key: p.id for p in home.people.values()}),
    )


def _read(row: Household) -> Home:
    # Reading files needs pydantic; a page that finds its home remembered does not load it.
    from markstead.rules.load import read_programme

    texts = {kind: document.text for kind, document in latest_documents(row.id).items()}
    programme = read_programme(texts["programme"], texts["workbooks"])
    # Whoever asks for a home may have read a few of its columns only.
    columns = ("failed_test_costs", "hold_day_costs", "plan_in_force", "language")
    *costs, plan, language = Household.objects.values_list(*columns).get(id=row.id)
    courses: dict[str, list[str]] = {}
    for enrolment in Enrolment.objects.filter(learner__household=row.id).order_by("id"):
        courses.setdefault(enrolment.learner_id, []).append(enrolment.course)
    people = {
        p.id: Somebody(p.id, p.key, p.name, Role(p.role), p.year, tuple(courses.get(p.id, ())))
        for p in Person.objects.filter(household=row.id).order_by(F("year").asc(nulls_first=True), "key")
    }
    by_key = {p.key: p.id for p in people.values()}
    here = {p.key: p.id for p in people.values() if p.role is not Role.LEFT}
    calendar = _calendar(texts["calendar"], by_key)
    return Home(
        row.id,
        row.name,
        row.stamp,
        programme,
        calendar,
        people,
        row.demo_shift,
        *costs,
        _wishes(texts.get("plan"), here),
        plan,
        language,
    )


def _wishes(text: str | None, by_key: Mapping[str, str]) -> Wishes:
    """What the home asks of its plan, with learners by id; what is said of somebody who is gone is left out."""
    if text is None:
        return Wishes()
    from markstead.plan.load import read_wishes

    wishes = read_wishes(text)
    return replace(
        wishes,
        learners=tuple(replace(w, learner=by_key[w.learner]) for w in wishes.learners if w.learner in by_key),
        courses=tuple(replace(w, learner=by_key[w.learner]) for w in wishes.courses if w.learner in by_key),
        targets=tuple(replace(w, learner=by_key[w.learner]) for w in wishes.targets if w.learner in by_key),
    )
