"""Tablets of the house: opened for learners by an educator, and taken back. None of this is on the record."""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from markstead.errors import InputError, Problem, UnknownError
from markstead.records.home import Home, Somebody
from markstead.records.models import Device
from markstead.rules.ruling import Role
from markstead.speech import say

LEAST_IDLE, MOST_IDLE = 1, 60
SEEN_EVERY = timedelta(minutes=1)
"""More often than this it is not written down that a tablet was seen."""


@dataclass(frozen=True, slots=True)
class Tablet:
    """A tablet on which learners enter."""

    id: str
    household: str
    name: str
    opened: datetime
    opened_by: str
    last_seen: datetime
    idle_minutes: int
    revoked: datetime | None

    @property
    def idle(self) -> timedelta:
        """After so long without a touch a learner's page closes."""
        return timedelta(minutes=self.idle_minutes)


def _tablet(row: Device) -> Tablet:
    return Tablet(
        row.id,
        row.household_id,
        row.name,
        row.opened,
        row.opened_by,
        row.last_seen,
        row.idle_minutes,
        row.revoked,
    )


def _educator(home: Home, by: str) -> Somebody:
    somebody = home.person(by)
    if somebody.role is not Role.EDUCATOR:
        found = f"{somebody.name}, {say(str(somebody.role))}"
        raise InputError([Problem(say("tablet"), found, say("an educator, who opens it and takes it back"))])
    return somebody


def _check_name(name: str) -> str:
    kept = " ".join(name.split())
    if not kept or len(kept) > 60 or not kept.isprintable():
        found = repr(kept[:70]) if kept else say("nothing")
        raise InputError(
            [Problem(say("name of the tablet"), found, say("1 to 60 letters, such as Kitchen tablet"))]
        )
    return kept


def _check_minutes(minutes: int) -> int:
    if not LEAST_IDLE <= minutes <= MOST_IDLE:
        allowed = say("{least} to {most} minutes", least=LEAST_IDLE, most=MOST_IDLE)
        raise InputError([Problem(say("minutes"), str(minutes), allowed)])
    return minutes


def open_tablet(home: Home, *, name: str, by: str, now: datetime, idle_minutes: int = 3) -> Tablet:
    """Open a tablet for the learners of a home.

    Raises:
        InputError: no name, minutes that cannot be, or somebody opens it who is no educator.
    """
    row = Device(
        id=secrets.token_urlsafe(24),
        household_id=home.id,
        name=_check_name(name),
        opened=now,
        opened_by=_educator(home, by).id,
        last_seen=now,
        idle_minutes=_check_minutes(idle_minutes),
    )
    row.save(force_insert=True)
    return _tablet(row)


def find(tablet: str) -> Tablet | None:
    """The tablet with this id, if it is opened for learners."""
    row = Device.objects.filter(id=tablet, revoked=None).first()
    return _tablet(row) if row is not None else None


def seen(tablet: Tablet, now: datetime) -> None:
    """Write down that a tablet was used."""
    if now - tablet.last_seen >= SEEN_EVERY:
        Device.objects.filter(id=tablet.id).update(last_seen=now)


def tablets(home: Home) -> tuple[Tablet, ...]:
    """Every tablet of a home that is opened for learners, the latest seen first."""
    rows = Device.objects.filter(household=home.id, revoked=None).order_by("-last_seen", "name")
    return tuple(map(_tablet, rows))


def take_back(home: Home, *, tablet: str, by: str, now: datetime) -> Tablet:
    """Let nobody enter on a tablet any more; whoever is on it is out at the next touch.

    Raises:
        UnknownError: this home has no such tablet, or it was taken back before.
        InputError: somebody takes it back who is no educator.
    """
    _educator(home, by)
    row = _own(home, tablet)
    row.revoked = now
    row.save(update_fields=["revoked"])
    return _tablet(row)


def set_idle(home: Home, *, tablet: str, minutes: int, by: str) -> Tablet:
    """Say after how many minutes without a touch a learner's page closes on a tablet.

    Raises:
        UnknownError: this home has no such tablet, or it was taken back.
        InputError: minutes that cannot be, or somebody sets them who is no educator.
    """
    _educator(home, by)
    row = _own(home, tablet)
    row.idle_minutes = _check_minutes(minutes)
    row.save(update_fields=["idle_minutes"])
    return _tablet(row)


def _own(home: Home, tablet: str) -> Device:
    row = Device.objects.filter(household=home.id, id=tablet, revoked=None).first()
    if row is None:
        raise UnknownError(
            [Problem(say("tablet"), repr(tablet[:40]), say("a tablet of this home that is open"))]
        )
    return row
