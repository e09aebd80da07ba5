"""People of a home after its first evening: added, renamed, given another part, a new password, or let go.

Whoever leaves stays known to the record, by name: only the part that they have in the home ends.
"""

import re
import secrets
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from axes.utils import reset as forget_tries  # type: ignore[import-untyped]
from django.contrib.auth.models import User
from django.db import transaction

from markstead.errors import InputError, Problem
from markstead.records import actions
from markstead.records.actions import Acting
from markstead.records.desk import Desk, at_the_desk, facts_and_standings, household_row
from markstead.records.home import Home, Somebody, load_home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import EarlierYear, Household, Person
from markstead.records.setup import new_stamp, set_courses
from markstead.rules.ruling import Role
from markstead.rules.standing import CopyStatus
from markstead.speech import say

GROWN_UP = (Role.EDUCATOR, Role.HELPER, Role.COORDINATOR)
LONGEST = 80
"""Letters of a name."""
_SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Of a password that is made here: no two that look alike."""


@dataclass(frozen=True, slots=True)
class NewPassword:
    """How somebody signs in from now on. It is shown once: nothing but its hash is kept."""

    person: Somebody
    username: str
    password: str


@dataclass(frozen=True, slots=True)
class InHand:
    """A copy that a learner has in hand."""

    copy: str
    title: str
    sat: bool
    """Its unit test was sat and is not marked."""


# --- what was typed -------------------------------------------------------------------------------------------


def _name(text: str) -> str:
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name or not name.isprintable() or len(name) > LONGEST:
        found = repr(name[:40]) if name else say("nothing")
        raise InputError([Problem(say("name"), found, say("a name of 1 to {most} letters", most=LONGEST))])
    return name


def _role(text: str, among: Sequence[Role]) -> Role:
    found = next((role for role in among if role == text), None)
    if found is None:
        allowed = say("one of {words}", words=", ".join(among))
        raise InputError([Problem(say("part in the home"), repr(text[:40]), allowed)])
    return found


def _year(year: int | None) -> int:
    if year is None or not 0 <= year <= 20:
        found = say("nothing") if year is None else str(year)
        raise InputError([Problem(say("school year"), found, say("a whole number from 0 to 20"))])
    return year


def _key(household: Household, name: str) -> str:
    """A short key that nobody of the home has: the first word of the name, and a number where that is taken."""
    plain = unicodedata.normalize("NFKD", name.casefold()).encode("ascii", "ignore").decode()
    words = re.findall(r"[a-z]+", plain)
    stem = (words[0] if words else "person")[:30]
    taken = set(Person.objects.filter(household=household).values_list("key", flat=True))
    number = 1
    while (key := stem if number == 1 else f"{stem}{number}") in taken:
        number += 1
    return key


# --- changes --------------------------------------------------------------------------------------------------


def _changed(household: str, change: Callable[[Household, Home], None]) -> Home:
    """Change people in one transaction, and give the home another stamp."""
    with transaction.atomic():
        row = household_row(household, lock=True)
        change(row, load_home(row))
        row.stamp = new_stamp()
        row.save(update_fields=["stamp"])
    return load_home(household_row(household))


def add(
    household: str, *, name: str, role: str, year: int | None = None, courses: Sequence[str] = ()
) -> tuple[Home, Somebody]:
    """Take somebody into the home; a learner with school year and courses.

    Raises:
        InputError: a name, part, year or course that cannot be; nothing is written then.
    """
    new = {"id": "p" + secrets.token_hex(6)}

    def change(row: Household, home: Home) -> None:
        kept, part = _name(name), _role(role, (*GROWN_UP, Role.LEARNER))
        if any(p.name == kept and p.role is not Role.LEFT for p in home.people.values()):
            raise InputError(
                [Problem(say("name"), kept, say("a name that nobody else here has: add a second name"))]
            )
        learner = part is Role.LEARNER
        person = Person.objects.create(
            id=new["id"],
            household=row,
            key=_key(row, kept),
            name=kept,
            role=str(part),
            year=_year(year) if learner else None,
        )
        if learner:
            for course in courses:
                home.programme.course(course)
            set_courses(person, tuple(dict.fromkeys(courses)))

    home = _changed(household, change)
    return home, home.person(new["id"])


def rename(
    household: str, *, person: str, name: str, year: int | None = None, at: datetime | None = None
) -> Home:
    """Give somebody another name, and a learner another school year; the record shows the new name everywhere.

    With `at`, papers about the time before it go on telling the school year of then.

    Raises:
        InputError: a name or a year that cannot be.
    """

    def change(row: Household, home: Home) -> None:
        somebody = home.person(person)
        kept = _name(name)
        others = (p for p in home.people.values() if p.id != somebody.id and p.role is not Role.LEFT)
        if any(p.name == kept for p in others):
            raise InputError(
                [Problem(say("name"), kept, say("a name that nobody else here has: add a second name"))]
            )
        values: dict[str, object] = {"name": kept}
        if somebody.role is Role.LEARNER:
            values["year"] = _year(year)
            if at is not None and values["year"] != somebody.year:
                EarlierYear.objects.create(person_id=somebody.id, year=somebody.year, until=at)
        Person.objects.filter(household=row, id=somebody.id).update(**values)

    return _changed(household, change)


def _check_last(home: Home, somebody: Somebody, what: str) -> None:
    educators = [p for p in home.people.values() if p.role is Role.EDUCATOR]
    if educators == [somebody]:
        do = say("Add a second educator first.")
        raise InputError(
            [Problem(what, say("{name}, the only educator", name=somebody.name), say("somebody else"), do)]
        )


def change_role(household: str, *, person: str, role: str, by: str) -> Home:
    """Give a grown-up another part in the home.

    Raises:
        InputError: a learner, oneself, or the last educator.
    """

    def change(row: Household, home: Home) -> None:
        somebody, part = home.person(person), _role(role, GROWN_UP)
        if somebody.role not in GROWN_UP:
            allowed = say("a grown-up of this home: what a learner has done stays a learner's")
            raise InputError(
                [Problem(say("part in the home"), f"{somebody.name}, {say(somebody.role)}", allowed)]
            )
        if part is somebody.role:
            return
        _check_last(home, somebody, say("part in the home"))
        if somebody.id == home.person(by).id:
            raise InputError(
                [
                    Problem(
                        say("part in the home"),
                        say("your own"),
                        say("that of another: let them change yours"),
                    )
                ]
            )
        Person.objects.filter(household=row, id=somebody.id).update(role=str(part))

    return _changed(household, change)


def in_hand(home: Home, person: str) -> tuple[InHand, ...]:
    """The copies that a learner has in hand."""
    rows = list(
        CopyRow.objects.filter(household=home.id, learner=person, status=CopyStatus.ISSUED).order_by(
            "workbook"
        )
    )
    known = facts_and_standings(home.id, rows)
    return tuple(
        InHand(row.id, home.programme.workbook(row.workbook).title, known[row.id][1].unit is not None)
        for row in rows
    )


def let_go(household: str, *, person: str, by: str, at: datetime) -> Home:
    """Somebody leaves. What they did stays on the record; copies in a learner's hands are written off in the same breath.

    Raises:
        InputError: oneself, the last educator, somebody who has left, or a learner whose unit test waits to be marked.
    """

    def work(desk: Desk) -> None:
        home = desk.home
        somebody = home.person(person)
        if somebody.role is Role.LEFT:
            raise InputError(
                [
                    Problem(
                        say("who leaves"),
                        say("{name}, who has left", name=somebody.name),
                        say("somebody who is here"),
                    )
                ]
            )
        _check_last(home, somebody, say("who leaves"))
        if somebody.id == home.person(by).id:
            raise InputError(
                [Problem(say("who leaves"), say("yourself"), say("another: let them take you off"))]
            )
        held = in_hand(home, somebody.id)
        if waiting := [one for one in held if one.sat]:
            titles = ", ".join(one.title for one in waiting)
            do = say("Mark it first, or take the sitting back.")
            raise InputError(
                [
                    Problem(
                        say("who leaves"),
                        say("a unit test that is not marked ({titles})", titles=titles),
                        say("none"),
                        do,
                    )
                ]
            )
        for one in held:
            actions.spoil_copy(
                Acting(household, desk), copy=one.copy, reason=say("Left the home."), by=by, at=at
            )
        Person.objects.filter(household=desk.row, id=somebody.id).update(role=str(Role.LEFT))
        User.objects.filter(person__id=somebody.id).update(is_active=False)
        Household.objects.filter(id=household).update(stamp=new_stamp())

    at_the_desk(household, work)
    return load_home(household_row(household))


def take_back(household: str, *, person: str, role: str) -> Home:
    """Somebody who has left comes back: a learner as a learner, a grown-up in any part, without a password.

    Raises:
        InputError: somebody who is here, or a part that this person never had.
    """

    def change(row: Household, home: Home) -> None:
        somebody = home.person(person)
        if somebody.role is not Role.LEFT or somebody.erased:
            raise InputError(
                [
                    Problem(
                        say("who comes back"),
                        say("{name}, who is nobody any more", name=somebody.name)
                        if somebody.erased
                        else say("{name}, who is here", name=somebody.name),
                        say("somebody who has left"),
                    )
                ]
            )
        part = _role(role, (Role.LEARNER,) if somebody.year is not None else GROWN_UP)
        Person.objects.filter(household=row, id=somebody.id).update(role=str(part))

    return _changed(household, change)


# --- signing in -----------------------------------------------------------------------------------------------


def new_password(household: str, *, person: str, real_now: datetime) -> NewPassword:
    """Let a grown-up sign in with a new password, made here; whoever is signed in by the old one is signed out.

    It holds for a week: whoever signs in by it is asked for one of their own.

    Raises:
        InputError: a learner, or somebody who has left.
    """
    home = load_home(household_row(household))
    somebody = home.person(person)
    if somebody.role not in GROWN_UP:
        allowed = say("an educator, a helper or a coordinator")
        raise InputError(
            [
                Problem(
                    say("password"),
                    say("for {name}, {role}", name=somebody.name, role=say(somebody.role)),
                    allowed,
                )
            ]
        )
    password = "-".join("".join(secrets.choice(_SIGNS) for _ in range(4)) for _ in range(4))
    with transaction.atomic():
        row = Person.objects.select_related("user").get(id=somebody.id)
        user = row.user or User(username=_username(somebody.key))
        user.is_active = True
        user.set_password(password)
        user.save()
        row.user, row.password_made = user, real_now
        row.save(update_fields=["user", "password_made"])
    forget_tries(username=user.username)
    return NewPassword(somebody, user.username, password)


def _username(key: str) -> str:
    """A name to sign in with that nobody has, in this home or another."""
    number = 1
    while User.objects.filter(username=(name := key if number == 1 else f"{key}{number}")).exists():
        number += 1
    return name


def sign_in_names(home: Home) -> dict[str, str]:
    """The names with which people of a home sign in, by person; nothing for who cannot."""
    rows = Person.objects.filter(household=home.id, user__is_active=True).values_list("id", "user__username")
    return {person: name for person, name in rows if name}
