"""The requirement profiles to choose from, in words."""

from dataclasses import dataclass

from markstead.records.home import Home
from markstead.records.required import chosen, profile_words
from markstead.rules.requirements import LOCAL_LAW, NONE
from markstead.rules.requirements_load import shipped
from markstead.speech import say


@dataclass(frozen=True, slots=True)
class ProfileLine:
    """One profile."""

    id: str
    title: str
    asks: tuple[str, ...]
    source: str
    note: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class RequiredPage:
    """Everything that the template of the profiles may use."""

    profiles: tuple[ProfileLine, ...]
    own: str
    """The title of the home's own profile, where it has chosen one that does not come with Markstead."""
    stamp: str
    law: str
    problems: tuple[str, ...]
    saved: bool


def _sentence(text: str) -> str:
    return f"{text.rstrip('.')}."


def required_page(home: Home, *, problems: tuple[str, ...] = (), saved: bool = False) -> RequiredPage:
    """The profiles that come with Markstead, and what the home goes by."""
    now = chosen(home.id)
    known = shipped()
    lines = [
        ProfileLine(
            NONE.id,
            say("None"),
            (say("Days and hours are counted; nothing is held against them."),),
            "",
            "",
            now == NONE,
        )
    ]
    lines += [
        ProfileLine(p.id, say(p.title), profile_words(p), _sentence(say(p.source)), say(p.note), p == now)
        for p in known
    ]
    own = now if now != NONE and now not in known else None
    if own is not None:
        lines.append(
            ProfileLine("own", own.title, profile_words(own), _sentence(own.source), own.note, chosen=True)
        )
    return RequiredPage(tuple(lines), own.title if own else "", home.stamp, say(LOCAL_LAW), problems, saved)
