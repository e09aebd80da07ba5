"""Sheets on screen: what was printed, what waits to be confirmed, and the strips of a picture beside what was understood."""

from base64 import b64encode
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time

from django.http import QueryDict

from markstead.paper.boxes import State
from markstead.paper.layout import Asks, Box, Group
from markstead.records import photographs
from markstead.records.home import Home
from markstead.records.paper_day import Refused, Try
from markstead.records.paper_meaning import begins_of
from markstead.records.photographs import KnownSheet, Outlook, SheetRead, Taken, WaitingSheet
from markstead.records.typeset import PAPERS
from markstead.speech import counted, day_words, later, say
from markstead.web import forms
from markstead.web.pages import Choice, new_token

_KINDS = {
    "day": later("Day sheets"),
    "sitting": later("Sittings of the day"),
    "marking": later("Marking sheet"),
    "week": later("The week"),
    "road": later("The road"),
}


@dataclass(frozen=True, slots=True)
class SheetLine:
    """A sheet in a list."""

    id: str
    title: str
    day: str
    note: str
    done: bool = False


@dataclass(frozen=True, slots=True)
class PaperPage:
    """Everything that the template of the page of sheets may use."""

    day: str
    learners: tuple[Choice, ...]
    kinds: tuple[Choice, ...]
    papers: tuple[Choice, ...]
    waiting: tuple[SheetLine, ...]
    printed: tuple[SheetLine, ...]
    token: str


def paper_page(
    home: Home,
    day: date,
    waiting: Iterable[WaitingSheet],
    printed: Iterable[KnownSheet],
    *,
    learner: str = "",
    paper: str = "a4",
) -> PaperPage:
    """Put the page of sheets together."""
    everybody = Choice("", say("all learners"), not learner)
    learners = tuple(Choice(p.id, p.name, p.id == learner) for p in home.learners)
    return PaperPage(
        day.isoformat(),
        (everybody, *learners),
        tuple(Choice(kind, say(words), kind in ("day", "sitting")) for kind, words in _KINDS.items()),
        tuple(Choice(value, say(words), value == paper) for value, words in PAPERS.items()),
        tuple(_waiting_line(one) for one in waiting),
        tuple(_printed_line(home, one) for one in printed),
        new_token(),
    )


def _waiting_line(one: WaitingSheet) -> SheetLine:
    note = (
        counted(one.unsure, "{n} box for you to look at", "{n} boxes for you to look at")
        if one.unsure
        else say("every box is clear")
    )
    return SheetLine(one.id, f"{one.whose}: {one.kind}", day_words(one.day), note)


def _printed_line(home: Home, one: KnownSheet) -> SheetLine:
    if one.recorded is not None:
        at = home.calendar.at_home(one.recorded)
        return SheetLine(
            one.id,
            f"{one.whose}: {one.kind}",
            day_words(one.day),
            say("recorded {at:%H:%M}, {day}", at=at, day=day_words(at.date())),
            True,
        )
    at = home.calendar.at_home(one.printed)
    return SheetLine(
        one.id,
        f"{one.whose}: {one.kind}",
        day_words(one.day),
        say("printed {at:%H:%M}, {day}", at=at, day=day_words(at.date())),
    )


def taken_lines(taken: Sequence[Taken]) -> tuple[str, ...]:
    """What came of pictures, a sentence each."""
    lines = []
    for one in taken:
        lines += [
            say(
                "{file}: {whose}, {kind} for {day}, page {page} was read.",
                file=one.name,
                whose=page.whose,
                kind=say(page.kind),
                day=day_words(page.day),
                page=page.page,
            )
            for page in one.pages
        ]
        lines += [f"{one.name}: {refusal.sentence}" for refusal in one.refusals]
    return tuple(lines)


# --- one sheet that waits -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class UnsureBox:
    """A box that a person has to look at."""

    field: str
    words: str
    why: str
    strip: str
    answer: str


@dataclass(frozen=True, slots=True)
class Chip:
    """A box as it is understood."""

    id: str
    label: str
    marked: bool


@dataclass(frozen=True, slots=True)
class Strip:
    """A question of the sheet: the picture of its boxes, and what was understood."""

    words: str
    picture: str
    chips: tuple[Chip, ...]
    told: bool
    """Something is marked in it."""


@dataclass(frozen=True, slots=True)
class ConfirmPage:
    """Everything that the template of a sheet that waits may use."""

    id: str
    title: str
    day: str
    notes: tuple[str, ...]
    typed: bool
    begins: str
    missing: tuple[tuple[int, bool], ...]
    """Pages without a picture, and whether it was said that nothing stands on them."""
    unsure: tuple[UnsureBox, ...]
    strips: tuple[Strip, ...]
    empty: tuple[Strip, ...]
    """Questions in which nothing is marked."""
    tries: tuple[Try, ...]
    refused: tuple[Refused, ...]
    doubts: tuple[str, ...]
    by_hand: tuple[str, ...]
    nothing: bool
    still: int
    """Boxes that nobody has answered yet."""
    may_keep: bool
    """Its picture may be kept as a sample of work: it is one learner's."""
    keep: bool
    token: str


@dataclass(frozen=True, slots=True)
class Settled:
    """What a person says of a sheet."""

    marked: frozenset[str]
    answers: Mapping[str, str]
    """Of boxes that were unsure, by the name of their field: yes, no or nothing."""
    empty: frozenset[int]
    """Pages on which nothing stands."""
    begins: time | None
    keep: bool = False
    open: int = 0
    """Boxes that nobody has answered yet."""
    missing: tuple[int, ...] = ()
    """Pages without a picture of which nobody said that nothing stands on them."""


def as_read(read: SheetRead) -> Settled:
    """A sheet before anybody has said anything."""
    return Settled(read.marked, {}, frozenset(), None, open=len(read.unsure), missing=read.missing)


def settled(read: SheetRead, data: QueryDict) -> Settled:
    """What the form says.

    Raises:
        InputError: the day's beginning is no time.
    """
    unsure = {f"u-{n}": box.id for n, box in enumerate(read.unsure)}
    answers = {field: data.get(field, "") for field in unsure}
    known = set(read.boxes) - set(unsure.values())
    marked = known & set(data.getlist("box"))
    marked |= {box for field, box in unsure.items() if answers[field] == "yes"}
    empty = frozenset(page for page in read.missing if data.get(f"empty-{page}") == "yes")
    return Settled(
        frozenset(marked),
        answers,
        empty,
        forms.clock_time(data, "begins", say("beginning of school")),
        data.get("keep") == "yes",
        sum(answer not in ("yes", "no") for answer in answers.values()),
        tuple(page for page in read.missing if page not in empty),
    )


def confirm_page(read: SheetRead, said: Settled, outlook: Outlook) -> ConfirmPage:
    """Put a sheet that waits together: what is unsure first, then what is marked, then the rest."""
    groups = [(group, boxes) for group in read.sheet.groups for boxes in _boxes(read, group)]
    wanted = {f"g{n}": [box.id for box in boxes] for n, (_, boxes) in enumerate(groups)}
    unsure = read.unsure
    wanted |= {f"u-{n}": [box.id] for n, box in enumerate(unsure)}
    cut = {name: _address(content) for name, content in photographs.strips(read, wanted).items()}
    doubtful = {box.id for box in unsure}
    found = tuple(
        _strip(read, group, boxes, said, doubtful, cut.get(f"g{n}", ""))
        for n, (group, boxes) in enumerate(groups)
    )
    begins = said.begins or begins_of(read.home, read.sheet)
    return ConfirmPage(
        read.id,
        f"{read.whose}: {say(read.sheet.kind)}",
        day_words(read.day),
        read.notes,
        any(page.typed for page in read.pages),
        f"{begins.hour}:{begins.minute:02d}",
        tuple((page, page in said.empty) for page in read.missing),
        tuple(
            UnsureBox(
                f"u-{n}",
                photographs.box_words(read, box.id),
                say(box.reason),
                cut.get(f"u-{n}", ""),
                said.answers.get(f"u-{n}", ""),
            )
            for n, box in enumerate(unsure)
        ),
        tuple(one for one in found if one.told),
        tuple(one for one in found if not one.told),
        outlook.tries,
        outlook.refused,
        outlook.doubts,
        outlook.by_hand,
        outlook.empty,
        said.open,
        read.is_of_one,
        said.keep,
        new_token(),
    )


def _boxes(read: SheetRead, group: Group) -> Iterable[list[Box]]:
    """The boxes of a question that were read, page by page."""
    known = read.boxes
    for page in read.sheet.pages:
        boxes = [box for box in page.boxes if box.group == group.id and box.id in known]
        if boxes:
            yield boxes


def _strip(
    read: SheetRead, group: Group, boxes: Sequence[Box], said: Settled, doubtful: set[str], picture: str
) -> Strip:
    chips = tuple(
        Chip(box.id, _label(read, group, box), box.id in said.marked)
        for box in boxes
        if box.id not in doubtful
    )
    told = any(chip.marked for chip in chips) or any(read.boxes[b.id].state is State.MARKED for b in boxes)
    return Strip(group.words, picture, chips, told)


def _label(read: SheetRead, group: Group, box: Box) -> str:
    if box.label:
        return box.label
    if group.asks in (Asks.ONE_OF, Asks.ANY_OF):
        found = read.home.people.get(box.value)
        return found.name if found is not None else box.value
    return say("marked")


def _address(content: bytes) -> str:
    return "data:image/jpeg;base64," + b64encode(content).decode()
