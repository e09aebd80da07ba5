"""The people of a home in words: what each part may do, how each signs in, who has left."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markstead.records.home import Home, Somebody
from markstead.records.people import GROWN_UP, InHand, NewPassword
from markstead.rules.ruling import Role
from markstead.speech import and_words, counted, later, say
from markstead.web.pages import Choice

PARTS: Mapping[Role, tuple[str, str]] = {
    Role.EDUCATOR: (
        later("Educator"),
        later(
            "Decides and judges: gives leave, opens tests, marks them, changes these settings. "
            "There may be two or more; one always stays."
        ),
    ),
    Role.HELPER: (
        later("Helper"),
        later(
            "Looks and notes, and does not judge: pages worked, help given, goals, parcels; "
            "watches a sitting. Gives no leave, opens and marks no test, takes nothing back."
        ),
    ),
    Role.LEARNER: (
        later("Learner"),
        later(
            "Works, asks leave, marks what leave was given for. Signs in only at a tablet that "
            "was opened for learners."
        ),
    ),
    Role.COORDINATOR: (
        later("Coordinator"),
        later("Looks at this home from a school, and notes nothing in it."),
    ),
}
"""What each part is called, and what it may do."""


@dataclass(frozen=True, slots=True)
class PersonLine:
    """Somebody of the home."""

    id: str
    name: str
    part: str
    role: str
    learner: bool
    year: str
    courses: str
    signs_in: str
    """The name to sign in with; empty where there is none."""
    you: bool
    last: bool
    """The only educator."""
    roles: tuple[Choice, ...]
    open: bool = False
    """Something typed for this person could not be taken."""


@dataclass(frozen=True, slots=True)
class Leaving:
    """What becomes of it when somebody leaves, to be looked at first."""

    id: str
    name: str
    effects: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PeoplePage:
    """Everything that the template of the people's page may use."""

    grown: tuple[PersonLine, ...]
    learners: tuple[PersonLine, ...]
    gone: tuple[PersonLine, ...]
    parts: tuple[tuple[str, str], ...]
    new_parts: tuple[Choice, ...]
    courses: tuple[Choice, ...]
    typed: Mapping[str, str]
    adding: bool
    problems: tuple[str, ...]
    said: str
    shown: NewPassword | None
    leaving: Leaving | None


def _line(
    home: Home, one: Somebody, me: str, names: Mapping[str, str], typed: Mapping[str, str]
) -> PersonLine:
    educators = [p for p in home.people.values() if p.role is Role.EDUCATOR]
    back = (Role.LEARNER,) if one.year is not None else GROWN_UP
    roles = back if one.role is Role.LEFT else GROWN_UP
    titles = [home.programme.course(c).title for c in one.courses if c in home.programme.courses]
    mine = typed.get("person") == one.id
    return PersonLine(
        id=one.id,
        name=typed.get("name", one.name)[:200] if mine else one.name,
        part=say(PARTS[one.role][0]) if one.role in PARTS else say("Has left"),
        role=str(one.role),
        learner=one.year is not None and one.role in (Role.LEARNER, Role.LEFT),
        year=typed.get("year", str(one.year or 0))[:9]
        if mine
        else ("" if one.year is None else str(one.year)),
        courses=", ".join(titles),
        signs_in=names.get(one.id, ""),
        you=one.id == me,
        last=educators == [one],
        roles=tuple(Choice(str(role), say(PARTS[role][0]), role is one.role) for role in roles),
        open=mine,
    )


def leaving_of(one: Somebody, held: Sequence[InHand], signs_in: bool) -> Leaving:
    """What leaving would change, in sentences."""
    effects = [say("The record keeps everything that {person} did, with the name.", person=one.name)]
    if signs_in:
        effects.append(say("The sign-in is closed at once."))
    sat = [h.title for h in held if h.sat]
    if sat:
        effects.append(say("It cannot be yet: the unit test of {books} is not marked.", books=and_words(sat)))
    if held:
        effects.append(
            counted(
                len(held),
                "The workbook in hand is written off: {books}.",
                "The {n} workbooks in hand are written off: {books}.",
                books=and_words(h.title for h in held),
            )
        )
    if one.role is Role.LEARNER:
        effects.append(
            say("Goals and targets are planned no more; copies in the house can be issued to others.")
        )
    if one.role in (Role.EDUCATOR, Role.HELPER):
        effects.append(say("Watches no sitting any more."))
    effects.append(say("Coming back is possible at any time, on this page."))
    return Leaving(one.id, one.name, tuple(effects))


def people_page(
    home: Home,
    me: str,
    names: Mapping[str, str],
    *,
    typed: Mapping[str, str] | None = None,
    chosen: Sequence[str] = (),
    problems: Sequence[str] = (),
    said: str = "",
    shown: NewPassword | None = None,
    leaving: Leaving | None = None,
) -> PeoplePage:
    """Put the people of a home into words."""
    sent = typed or {}
    lines = [_line(home, one, me, names, sent) for one in home.people.values() if not one.erased]
    return PeoplePage(
        grown=tuple(line for line in lines if line.role in GROWN_UP),
        learners=tuple(line for line in lines if line.role == Role.LEARNER),
        gone=tuple(line for line in lines if line.role == Role.LEFT),
        parts=tuple((say(name), say(does)) for name, does in PARTS.values()),
        new_parts=tuple(Choice(str(r), say(PARTS[r][0]), sent.get("role") == r) for r in PARTS),
        courses=tuple(Choice(c.id, c.title, c.id in chosen) for c in home.programme.courses.values()),
        typed=sent,
        adding="adding" in sent,
        problems=tuple(problems),
        said=said,
        shown=shown,
        leaving=leaving,
    )
