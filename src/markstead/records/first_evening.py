"""The first evening: an empty home is claimed, set up step by step, and made, all of it or nothing.

What is typed before the home is there is kept in a file of the home's folder, so that it can be left and taken up
again. A document of the record would stay for ever, with every name that was tried and changed; this file goes once
the home is made. No password is ever in it.
"""

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from threading import Lock

from django.contrib.auth.models import User
from django.db import transaction

from markstead.errors import InputError, MarksteadError, Problem
from markstead.records import placements, setup
from markstead.records.home import Home
from markstead.records.models import Household, Person
from markstead.records.openings import Opening, Where, write_openings
from markstead.records.passwords import problems_of
from markstead.records.setup import Newcomer, Papers
from markstead.records.whole import whole_file
from markstead.rules.ruling import Role
from markstead.speech import say

HOUSEHOLD = "home"
DRAFT = "first-evening.json"
VERSION = 1
MOST = 2_000_000
"""Letters in a draft: some files of a programme, and no more."""

Fields = Mapping[str, Sequence[str]]
"""What stands in the fields of one step, as it was typed."""


class State(StrEnum):
    """How far the home of this record is."""

    EMPTY = "empty"
    BEGUN = "begun"
    """Somebody has an account; the home itself is not made yet."""
    MADE = "made"


def state() -> State:
    """How far the home is: whether anybody lives there, or at least has the key."""
    if Household.objects.exists():
        return State.MADE
    return State.BEGUN if User.objects.exists() else State.EMPTY


# --- the draft ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Draft:
    """Everything that was typed so far, step by step."""

    steps: Mapping[str, Fields] = field(default_factory=dict)

    def step(self, name: str) -> Fields:
        """What was typed in a step; nothing where it was never saved."""
        return self.steps.get(name, {})


_WRITING = Lock()


def read_draft(folder: Path) -> Draft:
    """Read the draft of a home folder; an empty one where none is kept, or where it cannot be read any more."""
    try:
        whole = json.loads((folder / DRAFT).read_text(encoding="utf-8"))
        if whole["v"] != VERSION:
            return Draft()
        steps = {
            str(step): {str(name): [str(v) for v in values] for name, values in fields.items()}
            for step, fields in whole["steps"].items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Draft()
    return Draft(steps)


def save_step(folder: Path, step: str, fields: Fields) -> Draft:
    """Keep what was typed in one step, right or wrong; the other steps stay as they are.

    Raises:
        MarksteadError: the folder cannot be written, or too much was typed.
    """
    with _WRITING:
        steps = dict(read_draft(folder).steps)
        steps[step] = {name: list(values) for name, values in fields.items()}
        text = json.dumps({"v": VERSION, "steps": steps}, ensure_ascii=False)
        if len(text) > MOST:
            raise MarksteadError(
                say(
                    "Together that is {n} letters; the set-up keeps up to {most}. Give a shorter file.",
                    n=len(text),
                    most=MOST,
                )
            )
        _put(folder / DRAFT, text)
    return Draft(steps)


def _put(path: Path, text: str) -> None:
    """Write a file whole or not at all, for its owner's eyes only."""
    try:
        with whole_file(path) as file:
            file.write(text.encode())
    except OSError as error:
        message = say(
            "What you typed cannot be kept: {folder} ({error}). Make room there, or let it be written.",
            folder=path.parent,
            error=error.strerror,
        )
        raise MarksteadError(message) from error


def forget_draft(folder: Path) -> None:
    """Take the draft away, once the home is made."""
    with suppress(OSError):
        (folder / DRAFT).unlink(missing_ok=True)


# --- the first account -----------------------------------------------------------------------------------------


def first_account(username: str, password: str) -> User:
    """Make the first account, by which the home is claimed; from then on everything wants a sign-in.

    Raises:
        InputError: a name or a password that cannot be taken, or somebody was quicker.
    """
    problems = []
    if not username or len(username) > 150 or not username.isprintable() or " " in username:
        allowed = say("a name without blanks, such as ruth")
        found = repr(username[:40]) if username else say("nothing")
        problems.append(Problem(say("sign-in name"), found, allowed, key="username"))
    problems += problems_of(password, username=username)
    if problems:
        raise InputError(problems)
    with transaction.atomic():
        if state() is not State.EMPTY:
            raise InputError(
                [Problem(say("home"), say("an account already"), say("a home that nobody has claimed yet"))]
            )
        return User.objects.create_user(username=username, password=password)


# --- the home -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NewHome:
    """Everything that the set-up asked for."""

    name: str
    educator: str
    learners: tuple[Newcomer, ...]
    papers: Papers
    openings: tuple[Opening, ...] = ()


def keys_for(names: Sequence[str]) -> tuple[str, ...]:
    """A short key for each person, none twice: the first word of the name in small letters."""
    found: list[str] = []
    for name in names:
        first = next(iter(name.lower().split()), "")
        stem = "".join(c for c in first if c.isalnum())[:30] or "somebody"
        key, n = stem, 1
        while key in found:
            n += 1
            key = f"{stem}{n}"
        found.append(key)
    return tuple(found)


def make_home(new: NewHome, user: int, *, at: datetime) -> Home:
    """Make the home of whoever has the first account: people, files, and where each learner stands.

    Raises:
        InputError: anything at all is wrong, or the home is there already; nothing is written then.
    """
    with transaction.atomic():
        if state() is State.MADE:
            raise InputError([Problem(say("home"), say("a home already"), say("a record without a home"))])
        key = next(
            k for k in (*keys_for([new.educator]), "educator") if k not in {p.key for p in new.learners}
        )
        educator = Newcomer(key, new.educator, Role.EDUCATOR)
        people = [educator, *new.learners]
        home = setup.set_up(HOUSEHOLD, name=new.name, papers=new.papers, people=people, at=at)
        by = home.person(key).id
        Person.objects.filter(id=by).update(user=user)
        write_openings(HOUSEHOLD, new.openings, by=by, at=at)
        asked = [(home.person(o.learner).id, o.course) for o in new.openings if o.where is Where.FIND]
        placements.want(HOUSEHOLD, asked, at=at)
    return home
