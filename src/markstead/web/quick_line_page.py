"""The quick line on a page: its field, what it would record, and what it has recorded."""

from dataclasses import dataclass

from django.http import HttpRequest

from markstead.records import queries
from markstead.records.home import Home, Somebody
from markstead.records.quick import Look
from markstead.records.words import fact_words
from markstead.rules.bars import Bar
from markstead.rules.ruling import Role
from markstead.speech import begun, say
from markstead.web.pages import Said, new_token
from markstead.web.seat import Seat

MOST_OFFERED = 12


@dataclass(frozen=True, slots=True)
class QuickLook:
    """What a line would record, in the words of the page."""

    title: str
    """For whom, or what is the matter."""
    lines: tuple[str, ...] = ()
    sign: str = ""
    shut: str = ""
    bars: tuple[Bar, ...] = ()
    choices: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()
    """Whole lines: what is typed, its last word completed."""


@dataclass(frozen=True, slots=True)
class QuickField:
    """Everything that the template of the field may use."""

    back: str
    """The page it stands on: today, copy or learner."""
    learner: str
    copy: str
    who: str
    what: str
    """How the first learner and course of the home may be named: for examples."""
    text: str
    token: str
    recorded: str
    """Id of the act that was recorded just now: what was typed for it may be forgotten."""
    look: QuickLook | None
    scope: str
    """Sets what is typed here apart from what is typed on another page."""


def may_write(person: Somebody) -> bool:
    """The quick line is for the grown-ups of the home."""
    return person.role in (Role.EDUCATOR, Role.HELPER)


def quick_field(
    request: HttpRequest, home: Home, *, back: str, learner: str = "", copy: str = ""
) -> QuickField:
    """The field as it stands on a page, with what was typed and could not be taken."""
    text, look = getattr(request, "quick_line", ("", None))
    first = next((p for p in home.learners if p.courses and learner in ("", p.id)), None)
    course = first.courses[0].partition("-")[0] if first is not None else "maths"
    return QuickField(
        back=back,
        learner=learner,
        copy=copy,
        who=first.key.lower() + " " if first is not None and back == "today" else "",
        what=course + " " if back != "copy" else "",
        text=text,
        token=new_token(),
        recorded=getattr(request, "quick_recorded", ""),
        look=quick_look(look) if look is not None else None,
        scope=copy or learner or "today",
    )


def _completed(look: Look, word: str) -> str:
    """The line with its last word completed."""
    text = look.text
    if not text or text[-1] in " \t,;":
        head = text
    else:
        head = text[: -len(text.split()[-1])] if text.split() else ""
    return f"{head}{word}"


def quick_look(look: Look) -> QuickLook:
    """Put a look at a line into words."""
    offered = tuple(_completed(look, word) for word in look.candidates[:MOST_OFFERED])
    whose = f"{look.who}, {look.book}" if look.book else look.who
    if look.problems:
        problem = look.problems[0]
        found = f"{begun(problem.where)}: {problem.found}."
        lines = (say("Allowed is {allowed}.", allowed=problem.allowed),) if not look.choices else ()
        return QuickLook(found, lines, sign="?", choices=look.choices, offered=offered)
    if look.bars:
        return QuickLook(
            say("{whose}: not yet, nothing would be recorded", whose=whose),
            look.facts,
            sign="▮▮",
            shut=look.shut,
            bars=look.bars,
            offered=offered,
        )
    return QuickLook(say("{whose}: Enter records", whose=whose), look.facts, sign="✓", offered=offered)


def recorded_before(request: HttpRequest, seat: Seat) -> Said | None:
    """What the page says where it was come to from an act that was recorded: by a quick line, or by a form that the
    browser sent by itself."""
    line = request.GET.get("quick", "")
    act = line or request.GET.get("act", "")
    if not act or not may_write(seat.person):
        return None
    entries = queries.act_entries(seat.household, act)
    if not entries:
        return None
    if line:
        request.quick_recorded = line  # type: ignore[attr-defined]
    if queries.act_exists(seat.household, f"undo-{act}"[:40]):
        return Said("done", say("Taken back; both stay on the record"))
    lines = tuple(fact_words(entry.fact, seat.home) for entry in entries)
    return Said("done", say("Recorded"), lines, undo=act)
