"""A whole day from paper: the grid as it is drawn, and what was typed into it as it is meant."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta

from markstead.errors import InputError
from markstead.ledger.facts import Presence
from markstead.records.home import Home
from markstead.records.paper_day import Held, PaperDay, Refused, Row, StopMarks, Try
from markstead.rules.ruling import ranges, stop_words
from markstead.rules.standing import Cycle
from markstead.speech import day_words, meant, say
from markstead.web import forms
from markstead.web.pages import Choice, new_token

ALL_RIGHT = ("right", "all right", "none", "0", "-", "–")
"""How somebody writes that nothing was wrong; an empty field says nothing."""
MOST_HELPS = 20


@dataclass(frozen=True, slots=True)
class Cell:
    """One field of the grid."""

    name: str
    label: str
    value: str = ""
    wrong: str = ""
    """What is the matter with it."""


@dataclass(frozen=True, slots=True)
class StopCells:
    """The fields of one marking stop."""

    title: str
    until: int
    hint: str
    first: Cell | None
    """None: it was marked before."""
    again: Cell


@dataclass(frozen=True, slots=True)
class GridRow:
    """One workbook of one learner."""

    copy: str
    title: str
    course: str
    at: str
    """Where it stands."""
    first: Cell
    last: Cell
    minutes: Cell
    stops: tuple[StopCells, ...]
    practice: Cell | None
    asked: int
    helps: Cell
    lines: tuple[str, ...] = ()
    """What it would record."""
    refused: bool = False


@dataclass(frozen=True, slots=True)
class GridLearner:
    """A learner with the rows of theirs."""

    id: str
    name: str
    presence: str
    choices: tuple[Choice, ...]
    rows: tuple[GridRow, ...]


@dataclass(frozen=True, slots=True)
class DayPage:
    """Everything that the template of the day from paper may use."""

    day: str
    words: str
    latest: str
    before: str
    after: str
    closed: str | None
    begins: Cell
    learners: tuple[GridLearner, ...]
    refused: tuple[Refused, ...]
    looked: bool
    """It was only looked at."""
    fresh: bool
    """Nothing was typed yet: what the browser kept may be filled in."""
    token: str
    saved: str


Faults = dict[str, str]
"""What is the matter with each field, by its name."""


def reached(data: Mapping[str, str]) -> dict[str, int]:
    """How far the form says that each copy was worked, as far as that can be read."""
    found = {}
    for name, value in data.items():
        text = value.strip()
        if name.startswith(("t-", "f-")) and text.isascii() and text.isdecimal() and len(text) < 5:
            found[name[2:]] = max(found.get(name[2:], 0), int(text))
    return found


def read_day(data: Mapping[str, str], held: Sequence[Held], day: date) -> tuple[PaperDay, Faults]:
    """Read the whole form; all that is the matter is told at once, by field."""
    faults: Faults = {}
    rows = tuple(_read_row(data, one, faults) for one in held)
    presences = {}
    for learner in dict.fromkeys(one.learner.id for one in held) | dict.fromkeys(_told_of(data)):
        text = data.get(f"there-{learner}", "")
        if text:
            try:
                presences[learner] = Presence(text)
            except ValueError:
                faults[f"there-{learner}"] = say(
                    "{text!r}: one of {allowed}", text=text[:20], allowed=", ".join(say(p) for p in Presence)
                )
    begins = _time(data.get("begins", ""), faults)
    return PaperDay(day, begins, rows, presences), faults


def _told_of(data: Mapping[str, str]) -> list[str]:
    return [name.removeprefix("there-") for name in data if name.startswith("there-") and data[name]]


def _time(text: str, faults: Faults) -> time:
    match = re.fullmatch(r"([0-9]{1,2})[:.]([0-9]{2})", text.strip())
    if match is not None and int(match[1]) < 24 and int(match[2]) < 60:
        return time(int(match[1]), int(match[2]))
    faults["begins"] = (
        say("{text!r}: a time of day such as 8:30", text=text[:20])
        if text.strip()
        else say("a time of day such as 8:30")
    )
    return time(0, 0)


def _read_row(data: Mapping[str, str], one: Held, faults: Faults) -> Row:
    copy = one.copy

    def number(kind: str, label: str, least: int, most: int) -> int | None:
        name = f"{kind}-{copy}"
        try:
            found = forms.whole(data, name, label, needed=False)
        except InputError as error:
            faults[name] = _says(error)
            return None
        if found is not None and not least <= found <= most:
            faults[name] = say("{found}: from {least} to {most}", found=found, least=least, most=most)
            return None
        return found

    pages = one.workbook.pages
    first, last = number("f", say("from page"), 1, pages), number("t", say("to page"), 1, pages)
    if first is None and last is not None and f"f-{copy}" not in faults:
        faults[f"f-{copy}"] = say("the first page is missing; it goes to {last}", last=last)
    if first is not None and last is not None and last < first:
        faults[f"t-{copy}"] = say("{last} comes before {first}", last=last, first=first)
    right, wrong = _practice(data, one, faults)
    stops = tuple(
        StopMarks(
            stop.id,
            _wrong(data, f"w-{copy}-{stop.id}", stop.questions, faults),
            _wrong(data, f"r-{copy}-{stop.id}", stop.questions, faults),
        )
        for stop in one.stops
    )
    return Row(
        copy,
        first,
        last,
        number("m", say("minutes"), 0, 1440),
        stops,
        right,
        wrong,
        number("h", say("help"), 0, MOST_HELPS) or 0,
    )


def _says(error: InputError) -> str:
    problem = error.problems[0]
    return f"{problem.found}: {problem.allowed}"


def _wrong(data: Mapping[str, str], name: str, asked: int, faults: Faults) -> tuple[int, ...] | None:
    """Numbers of the wrong questions; nothing written says nothing, and 'right' says that none was."""
    text = data.get(name, "").strip()
    if not text:
        return None
    if text.lower() in ALL_RIGHT or text.lower() == say("right"):
        return ()
    try:
        found = forms.numbers(text, say("wrong questions"))
    except InputError as error:
        faults[name] = _says(error)
        return None
    if found[-1] > asked:
        faults[name] = say("question {question}: there are {asked}", question=found[-1], asked=asked)
        return None
    return found


def _practice(
    data: Mapping[str, str], one: Held, faults: Faults
) -> tuple[int | None, tuple[int, ...] | None]:
    """A score as it stands on paper: 27, 27/30, 27 of 30, wrong 4 9 22, right."""
    name, asked = f"p-{one.copy}", one.workbook.practice_questions
    text = data.get(name, "").strip().lower()
    if not text:
        return None, None
    if text in ("right", "all right", say("right")):
        return None, ()
    of, bad = re.escape(meant("of", "27 of 30")), re.escape(meant("wrong", "a question"))
    score = rf"(?:([0-9]{{1,3}})(?:\s*(?:/|of|{of})\s*([0-9]{{1,3}}))?)?\s*(?:(?:wrong|x|{bad})\s*(.+))?"
    match = re.fullmatch(score, text)
    if match is None or not (match[1] or match[3]):
        faults[name] = say(
            "{text!r}: a score such as 27, 27 of {asked}, or wrong 4 9 22", text=text[:30], asked=asked
        )
        return None, None
    if match[2] is not None and int(match[2]) != asked:
        faults[name] = say("of {found}: the test has {asked} questions", found=match[2], asked=asked)
    right = int(match[1]) if match[1] is not None else None
    if right is not None and right > asked:
        faults[name] = say("{right}: from 0 to {asked}", right=right, asked=asked)
    wrong: tuple[int, ...] | None = None
    if match[3] is not None:
        try:
            wrong = forms.numbers(match[3], say("wrong questions"))
        except InputError as error:
            faults[name] = _says(error)
    return right, wrong


# --- drawing ----------------------------------------------------------------------------------------------


def day_page(
    home: Home,
    held: Sequence[Held],
    day: date,
    today: date,
    data: Mapping[str, str],
    faults: Faults | None = None,
    tries: Sequence[Try] | None = None,
    looked: bool = False,
    saved: str = "",
    recorded: frozenset[str] = frozenset(),
) -> DayPage:
    """The grid of a day; `data` is what was typed, and rows that are recorded already are drawn empty."""
    faults = faults or {}
    told = {found.where: found for found in tries or ()}

    def row_of(one: Held) -> GridRow:
        typed = data if one.copy not in recorded else {}

        def cell(kind: str, label: str) -> Cell:
            name = f"{kind[0]}-{one.copy}{kind[1:]}"
            whose = f"{one.learner.name}, {one.workbook.title}"
            return Cell(name, f"{whose}: {label}", typed.get(name, ""), faults.get(name, ""))

        return _grid_row(one, cell, told.get(one.copy))

    learners = []
    for person in home.learners:
        rows = tuple(row_of(one) for one in held if one.learner.id == person.id)
        presence = data.get(f"there-{person.id}", "") if person.id not in recorded else ""
        choices = (
            Choice("", say("not noted"), not presence),
            *(Choice(str(p), say(p), str(p) == presence) for p in Presence),
        )
        learners.append(GridLearner(person.id, person.name, f"there-{person.id}", choices, rows))
    begins = f"{home.programme.unit_test.morning_from:%H:%M}"
    refused = tuple(found.refused for found in tries or () if found.refused is not None)
    return DayPage(
        day=day.isoformat(),
        words=day_words(day),
        latest=today.isoformat(),
        before=(day - timedelta(days=1)).isoformat(),
        after=(day + timedelta(days=1)).isoformat() if day < today else "",
        closed=home.calendar.why_closed(day),
        begins=Cell("begins", say("The day began at"), data.get("begins", begins), faults.get("begins", "")),
        learners=tuple(learners),
        refused=refused,
        looked=looked,
        fresh=not data,
        token=new_token(),
        saved=saved,
    )


def _grid_row(one: Held, cell: Callable[[str, str], Cell], told: Try | None) -> GridRow:
    copy, book = one.copy, one.workbook
    stops = []
    for stop in one.stops:
        kept, where = one.standing.stop(stop.id), stop_words(stop.id)
        fresh = kept.cycle is Cycle.UNMARKED
        stops.append(
            StopCells(
                title=where.capitalize(),
                until=stop.last,
                hint=say("was wrong: {questions}", questions=ranges(kept.still_wrong))
                if kept.still_wrong
                else "",
                first=cell(f"w-{stop.id}", say("{stop}, wrong questions", stop=where)) if fresh else None,
                again=cell(f"r-{stop.id}", say("{stop}, wrong at re-marking", stop=where)),
            )
        )
    uncleared = [s for s in book.stops if one.standing.stop(s.id).cycle is not Cycle.CLEARED]
    near = len(uncleared) <= len(one.stops) and not one.standing.practice_passed
    at = say("next page {page}", page=one.next_page) if one.next_page is not None else say("all pages worked")
    return GridRow(
        copy=copy,
        title=book.title,
        course=one.course,
        at=at,
        first=cell("f", say("from page")),
        last=cell("t", say("to page")),
        minutes=cell("m", say("minutes")),
        stops=tuple(stops),
        practice=cell("p", say("practice test")) if near else None,
        asked=book.practice_questions,
        helps=cell("h", say("how often helped")),
        lines=told.facts if told is not None else (),
        refused=told is not None and told.refused is not None,
    )


def problems(faults: Faults, page: DayPage) -> tuple[str, ...]:
    """What is the matter, with the name of each field."""
    labels = {page.begins.name: page.begins.label}
    for learner in page.learners:
        labels[learner.presence] = say("{learner}: at school", learner=learner.name)
        for row in learner.rows:
            cells = [row.first, row.last, row.minutes, row.helps, *([row.practice] if row.practice else [])]
            cells += [c for s in row.stops for c in (s.first, s.again) if c is not None]
            labels |= {c.name: c.label for c in cells}
    return tuple(f"{labels.get(name, name)}: {says}" for name, says in faults.items())
