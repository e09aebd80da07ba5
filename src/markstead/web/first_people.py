"""The first two steps of the set-up: who you are, and who learns here."""

import re
from dataclasses import dataclass

from markstead.records.first_evening import keys_for
from markstead.records.setup import Newcomer
from markstead.rules.ruling import Role
from markstead.speech import say
from markstead.web.first_fields import Field, Typed

SECRETS = frozenset({"password", "again"})
"""Fields that are never kept."""
MOST_LEARNERS = 12
LAST_YEAR = 20


@dataclass(frozen=True, slots=True)
class You:
    """The educator who sets the home up."""

    home: str
    name: str
    username: str = ""
    password: str = ""


def read_you(typed: Typed, *, account: bool) -> You | None:
    """Read the first step; with an account there already, only the names."""
    home = typed.words("home", say("What your home is called is wanted here."))
    name = typed.words("name", say("Your name is wanted here."))
    if account:
        return None if typed.wrong else You(home, name)
    username = typed.words("username", say("A name to sign in with is wanted here."))
    if " " in username:
        typed.fail("username", say("A name without blanks is wanted here, such as ruth."))
    password, again = (typed.lines(field) for field in ("password", "again"))
    if not password:
        typed.fail("password", say("A password is wanted here, of at least 10 letters, digits or signs."))
    elif password != again:
        typed.fail("again", say("The two passwords differ. Type the same one twice."))
    return None if typed.wrong else You(home, name, username, password)


def you_fields(typed: Typed, *, account: str) -> tuple[Field, ...]:
    """The fields of the first step. `account` is the name by which somebody signs in already."""

    def one(name: str, label: str, *, type_: str = "text", hint: str = "", fills: str = "off") -> Field:
        value = "" if name in SECRETS else typed.text(name)
        return Field(name, label, value, type_, typed.wrong.get(name, ""), hint, fills=fills)

    names = (
        one("home", say("What your home is called"), hint=say("It stands on pages and papers.")),
        one("name", say("Your name"), hint=say("As learners call you."), fills="name"),
    )
    if account:
        return names
    hint = say(
        "At least 10 letters, digits or signs; three or four words make a good one. Nobody can read it here afterwards."
    )
    return (
        *names,
        one("username", say("Name to sign in with"), hint=say("Short and without blanks."), fills="username"),
        one("password", say("Password"), type_="password", hint=hint, fills="new-password"),
        one("again", say("The same password again"), type_="password", fills="new-password"),
    )


@dataclass(frozen=True, slots=True)
class Pupil:
    """A learner, and the row in which the name was typed: later steps name the row."""

    row: int
    newcomer: Newcomer


def read_learners(typed: Typed) -> tuple[Pupil, ...]:
    """Read the second step: names and school years."""
    names = [typed.text(f"name-{n}") for n in range(MOST_LEARNERS)]
    full = [n for n in range(MOST_LEARNERS) if names[n] or typed.text(f"year-{n}")]
    years: dict[int, int] = {}
    for n in full:
        typed.words(f"name-{n}", say("A name is wanted here."))
        years[n] = _year(typed, f"year-{n}")
    if not full:
        typed.fail("name-0", say("At least one learner is wanted here."))
    if typed.wrong:
        return ()
    keys = keys_for([names[n] for n in full])
    return tuple(
        Pupil(n, Newcomer(key, names[n], Role.LEARNER, years[n])) for key, n in zip(keys, full, strict=True)
    )


def _year(typed: Typed, name: str) -> int:
    """A school year as people write it: 2, 2nd, Year 2, 2.º grado."""
    said = re.fullmatch(
        r"(?:[^\W\d_]+\.? +)?([0-9]{1,2})(?:st|nd|rd|th|\.?[oaºª])?\.?(?: +[^\W\d_]+)?", typed.text(name)
    )
    if said is not None and int(said[1]) <= LAST_YEAR:
        return int(said[1])
    return typed.whole(name, 0, LAST_YEAR)


def learner_rows(typed: Typed, *, more: bool = False) -> tuple[tuple[Field, Field], ...]:
    """The rows of the second step."""
    count = typed.rows("name", least=3, most=MOST_LEARNERS, more=more)
    return tuple(
        (
            Field(
                f"name-{n}",
                say("Name of learner {n}", n=n + 1),
                typed.text(f"name-{n}"),
                wrong=typed.wrong.get(f"name-{n}", ""),
            ),
            Field(
                f"year-{n}",
                say("School year of learner {n}", n=n + 1),
                typed.text(f"year-{n}"),
                "whole",
                typed.wrong.get(f"year-{n}", ""),
            ),
        )
        for n in range(count)
    )
