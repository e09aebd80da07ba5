"""Fields of the set-up: what was typed, what of it cannot be taken, and how a field is shown again."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time

from django.http import QueryDict

from markstead.speech import say

MOST_LETTERS = 200
"""In a field of one line."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Field:
    """A field as the template draws it."""

    name: str
    label: str
    value: str = ""
    type: str = "text"
    """text, whole, password, date, time, list or lines."""
    wrong: str = ""
    hint: str = ""
    choices: tuple[Choice, ...] = ()
    fills: str = "off"
    """What the browser may fill in by itself."""


@dataclass(frozen=True, slots=True)
class Tick:
    """A box to tick, or one of several to choose."""

    name: str
    value: str
    words: str
    on: bool
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Slip:
    """Something that is wrong, and the field at which it stands."""

    name: str
    label: str
    says: str


@dataclass(slots=True)
class Typed:
    """What was typed in one step, and what is wrong with it, field by field."""

    data: Mapping[str, Sequence[str]]
    wrong: dict[str, str] = field(default_factory=dict)

    @property
    def saved(self) -> bool:
        """Whether the step was ever saved: only then does an empty box mean that it was not ticked."""
        return bool(self.data)

    def text(self, name: str) -> str:
        """What stands in a field of one line."""
        values = self.data.get(name) or ("",)
        return values[-1].strip()

    def lines(self, name: str) -> str:
        """What stands in a field of many lines."""
        values = self.data.get(name) or ("",)
        return values[-1]

    def all(self, name: str) -> tuple[str, ...]:
        """Every value of a field: the boxes that are ticked."""
        return tuple(self.data.get(name, ()))

    def fail(self, name: str, says: str) -> None:
        """Say what is wrong with a field; the first word on it stands."""
        self.wrong.setdefault(name, says)

    def words(self, name: str, missing: str) -> str:
        """A name, or a few words, that must be there; `missing` is said where nothing is."""
        text = self.text(name)
        if not text:
            self.fail(name, missing)
        elif len(text) > MOST_LETTERS:
            self.fail(
                name,
                say(
                    "At most {most} letters are wanted here, and these are {there}.",
                    most=MOST_LETTERS,
                    there=len(text),
                ),
            )
        elif not text.isprintable():
            self.fail(name, say("Letters, digits and signs that can be printed are wanted here."))
        return text

    def whole(self, name: str, least: int, most: int, *, otherwise: int | None = None) -> int:
        """A whole number; where the field may be empty, `otherwise` stands for it."""
        text = self.text(name)
        if not text and otherwise is not None:
            return otherwise
        if re.fullmatch(r"[0-9]{1,6}", text) and least <= int(text) <= most:
            return int(text)
        wanted = say("A whole number from {least} to {most} is wanted here.", least=least, most=most)
        self.fail(name, _but_found(wanted, text))
        return least

    def day(self, name: str) -> date | None:
        """A day of the calendar."""
        text = self.text(name)
        try:
            if re.fullmatch(r"(19|20|21)[0-9]{2}-[0-9]{2}-[0-9]{2}", text):
                return date.fromisoformat(text)
        except ValueError:
            pass
        self.fail(name, _but_found(say("A day such as 2026-09-01 is wanted here."), text))
        return None

    def clock(self, name: str, otherwise: time) -> time:
        """A time of day."""
        text = self.text(name)
        if not text:
            return otherwise
        if re.fullmatch(r"([01]?[0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?", text):
            hour, minute = text.split(":")[:2]
            return time(int(hour), int(minute))
        self.fail(name, _but_found(say("A time such as 12:00 is wanted here."), text))
        return otherwise

    def rows(self, name: str, *, least: int, most: int, more: bool = False) -> int:
        """How many rows a table shows: those with something in them, one empty one, and more where they are asked for."""
        places = [int(m[1]) for key in self.data if (m := re.fullmatch(rf"{name}-([0-9]{{1,3}})", key))]
        shown = max(places, default=-1) + 1
        full = [n for n in places if self.text(f"{name}-{n}")]
        wanted = max(least, shown, max(full, default=-1) + 2) + (4 if more else 0)
        return min(wanted, most)


def _but_found(wanted: str, text: str) -> str:
    """What is wanted, and what stands there instead."""
    return say("{wanted} {text!r} is none.", wanted=wanted, text=text[:40]) if text else wanted


def typed_of(data: QueryDict, *, without: frozenset[str] = frozenset()) -> dict[str, list[str]]:
    """What a form sent, as the draft keeps it: without tokens, buttons, and what is nobody's to keep."""
    apart = {"csrfmiddlewaretoken", "do", *without}
    return {name: list(values) for name, values in data.lists() if name not in apart}
