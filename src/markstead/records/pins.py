"""The PIN by which a learner enters at a tablet of the house. None of this is on the record.

A PIN keeps brothers and sisters out of each other's pages; it guards nothing that matters more. Only its digest is kept,
and after a few wrong tries it rests for some minutes, so that it cannot be found by trying.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction

from markstead.errors import InputError, Problem
from markstead.records.home import Home
from markstead.records.models import Pin
from markstead.rules.ruling import Role
from markstead.speech import say

SHORTEST, LONGEST = 4, 6
MOST_TRIES = 5
REST = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class Try:
    """What came of a PIN that was typed."""

    right: bool
    left: int = 0
    """Tries that are left before it rests."""
    until: datetime | None = None
    """It rests until then, by the clock of the machine."""
    no_pin: bool = False
    """The learner has none."""


def _problem_of(pin: str) -> Problem | None:
    allowed = say(
        "{shortest} to {longest} digits, such as those of a day that the learner remembers",
        shortest=SHORTEST,
        longest=LONGEST,
    )
    if not pin:
        return Problem(say("PIN"), say("nothing"), allowed)
    if not (pin.isascii() and pin.isdecimal()):
        return Problem(say("PIN"), say("something other than digits"), allowed)
    if not SHORTEST <= len(pin) <= LONGEST:
        return Problem(say("PIN"), say("{n} digits", n=len(pin)), allowed)
    if len(set(pin)) == 1:
        return Problem(
            say("PIN"), say("one digit again and again"), say("one that nobody finds at the first try")
        )
    return None


def set_pin(home: Home, *, learner: str, pin: str, by: str, now: datetime) -> None:
    """Give a learner a PIN, or another one; wrong tries are forgotten.

    Raises:
        UnknownError: nobody of this home has that id or key.
        InputError: no learner, no PIN, or somebody sets it who is no educator; nothing is changed then.
    """
    who = home.learner(learner)
    _only_an_educator(home, by)
    problem = _problem_of(pin)
    if problem is not None:
        raise InputError([problem])
    digest = make_password(pin)
    with transaction.atomic():
        Pin.objects.update_or_create(
            person_id=who.id,
            defaults={
                "digest": digest,
                "set_at": now,
                "set_by": home.person(by).id,
                "tries": 0,
                "shut_until": None,
            },
        )


def take_pin_away(home: Home, *, learner: str, by: str) -> bool:
    """Let a learner enter no more; whether there was a PIN.

    Raises:
        UnknownError: nobody of this home has that id or key.
        InputError: no learner, or somebody takes it away who is no educator.
    """
    who = home.learner(learner)
    _only_an_educator(home, by)
    return bool(Pin.objects.filter(person=who.id).delete()[0])


def _only_an_educator(home: Home, by: str) -> None:
    somebody = home.person(by)
    if somebody.role is not Role.EDUCATOR:
        raise InputError(
            [Problem(say("PIN"), f"{somebody.name}, {say(somebody.role)}", say("an educator, who sets it"))]
        )


def try_pin(home: Home, *, learner: str, pin: str, now: datetime) -> Try:
    """Whether this is the learner's PIN.

    Raises:
        UnknownError: nobody of this home has that id or key.
        InputError: somebody has it who is no learner.
    """
    who = home.learner(learner)
    # The try is counted before the digest is worked out, which takes long on purpose: whoever sends many at the same
    # moment has no more tries for it, and the database waits for nobody.
    with transaction.atomic():
        row = Pin.objects.select_for_update().filter(person=who.id).first()
        if row is None:
            return Try(right=False, no_pin=True)
        if row.shut_until is not None:
            if now < row.shut_until:
                return Try(right=False, until=row.shut_until)
            row.tries, row.shut_until = 0, None
        row.tries += 1
        if row.tries >= MOST_TRIES:
            row.shut_until = now + REST
        row.save(update_fields=["tries", "shut_until"])
    if not check_password(pin, row.digest):
        return Try(right=False, left=MOST_TRIES - row.tries, until=row.shut_until)
    # Another one may have been set at this moment: then this one is right no more.
    still = Pin.objects.filter(person=who.id, digest=row.digest).update(tries=0, shut_until=None)
    return Try(right=bool(still), left=MOST_TRIES - row.tries)


def pins_set(home: Home, learners: Iterable[str] | None = None) -> dict[str, datetime]:
    """When the PIN of each learner was set, by id; whoever has none is not in it."""
    wanted = [p.id for p in home.learners] if learners is None else list(learners)
    return dict(Pin.objects.filter(person__in=wanted).values_list("person_id", "set_at"))
