"""What the pencil marks of one copy tell, gathered from its facts: the evidence that every estimate starts from.

The gathering is small and can be kept as text beside the copy, so that an estimate need not read a whole record;
it is a cache of the facts, made anew from them at any time.
"""

import json
from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from markstead.ledger.facts import (
    PRACTICE,
    AnyFact,
    CopyId,
    CopyIssued,
    CopyOrdered,
    CopySpoiled,
    FactReversed,
    FirstMarking,
    GoalSet,
    HelpGiven,
    LeaveGiven,
    OralQuizHeld,
    PagesWorked,
    PersonId,
    PracticeTestScored,
    ReadinessDecided,
    SpotCheckHeld,
    Step,
    StopId,
    UnitTestScored,
)
from markstead.ledger.serial import Entry

VERSION = 1


@dataclass(frozen=True, slots=True)
class Marked:
    """A stop or a practice test as it was marked first: so many questions, these wrong.

    `numbered` is False for a test of which only the total is known; then `wrong` holds no numbers.
    """

    seq: int
    at: datetime
    stop: StopId
    asked: int
    right: int
    wrong: tuple[int, ...] = ()
    own: bool = True
    """Marked by the learner against the key, not by the educator."""

    @property
    def numbered(self) -> bool:
        """Whether it is known which answers were wrong."""
        return len(self.wrong) == self.asked - self.right

    @property
    def ticks(self) -> tuple[int, ...]:
        """Numbers of the answers that were marked right; empty where only the total is known."""
        if not self.numbered:
            return ()
        return tuple(n for n in range(1, self.asked + 1) if n not in self.wrong)


@dataclass(frozen=True, slots=True)
class Spoken:
    """One answer of an oral quiz."""

    seq: int
    at: datetime
    stop: StopId | None
    question: int
    right: bool


@dataclass(frozen=True, slots=True)
class Looked:
    """A spot check of one stop: each question that was marked again, and whether its tick was right."""

    seq: int
    at: datetime
    stop: StopId
    answers: tuple[tuple[int, bool], ...]


@dataclass(frozen=True, slots=True)
class UnitMark:
    """A unit test as the educator marked it."""

    seq: int
    at: datetime
    right: int
    asked: int
    needed: int
    wrong: tuple[int, ...] = ()

    @property
    def passed(self) -> bool:
        return self.right >= self.needed


@dataclass(frozen=True, slots=True)
class Worked:
    """Pages of one note: `pages` in all, `new` of them for the first time, in `minutes` where somebody looked."""

    day: date
    new: int
    pages: int
    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class CopyMarks:
    """Everything that estimates use of one copy, in the order of the record."""

    copy: CopyId
    workbook: str = ""
    learner: PersonId | None = None
    issued: datetime | None = None
    ended: bool = False
    """Spoiled: nothing more will come of it."""
    marked: tuple[Marked, ...] = ()
    practice: tuple[Marked, ...] = ()
    spoken: tuple[Spoken, ...] = ()
    units: tuple[UnitMark, ...] = ()
    looked: tuple[Looked, ...] = ()
    worked: tuple[Worked, ...] = ()
    goals: tuple[tuple[date, int], ...] = ()
    """Pages that were set as the goal of a day."""
    helped: tuple[datetime, ...] = ()
    held: tuple[datetime, ...] = ()
    """When an educator decided that the unit test waits."""

    @property
    def unit(self) -> UnitMark | None:
        """The latest unit test."""
        return self.units[-1] if self.units else None

    @property
    def last(self) -> datetime | None:
        """When the latest mark was made."""
        rows: Iterable[Any] = (*self.marked, *self.practice, *self.spoken, *self.units)
        return max((row.at for row in rows), default=self.issued)


class MarksFold:
    """Gathers the marks of one copy, fact by fact.

    `reversed_facts` are known beforehand, or the facts are gathered anew after a reversal.
    """

    def __init__(self, copy: CopyId, reversed_facts: Container[int] = ()) -> None:
        self.copy = copy
        self._reversed = reversed_facts
        self._values: dict[str, Any] = {"workbook": "", "learner": None, "issued": None, "ended": False}
        self._lists: dict[str, list[Any]] = {name: [] for name in _LISTS}
        self._goals: dict[date, int] = {}
        self._pages: set[int] = set()
        self._own = False

    def take(self, entry: Entry) -> None:
        """Take one more fact of this copy, in the order of the record."""
        step = _TAKEN.get(type(entry.fact))
        if step is not None and entry.seq not in self._reversed:
            step(self, entry, entry.fact)

    @property
    def marks(self) -> CopyMarks:
        """What was gathered up to now."""
        values: dict[str, Any] = {name: tuple(rows) for name, rows in self._lists.items()}
        return CopyMarks(self.copy, **self._values, **values, goals=tuple(sorted(self._goals.items())))

    # --- one step a kind of fact ---

    def _ordered(self, _: Entry, fact: CopyOrdered) -> None:
        self._values.update(workbook=fact.workbook, learner=fact.learner)

    def _issued(self, entry: Entry, fact: CopyIssued) -> None:
        self._values.update(learner=fact.learner, issued=entry.at)

    def _spoiled(self, _: Entry, __: CopySpoiled) -> None:
        self._values["ended"] = True

    def _first_marking(self, e: Entry, f: FirstMarking) -> None:
        self._lists["marked"].append(Marked(e.seq, e.at, f.stop, f.asked, f.asked - len(f.wrong), f.wrong))

    def _practice(self, e: Entry, f: PracticeTestScored) -> None:
        self._lists["practice"].append(Marked(e.seq, e.at, PRACTICE, f.asked, f.right, f.wrong, self._own))
        self._own = False

    def _leave(self, _: Entry, f: LeaveGiven) -> None:
        """Without leave to mark it, a practice test is marked by the educator."""
        self._own = self._own or (f.step is Step.MARK and f.stop == PRACTICE)

    def _unit(self, e: Entry, f: UnitTestScored) -> None:
        self._lists["units"].append(UnitMark(e.seq, e.at, f.right, f.asked, f.needed, f.wrong))

    def _quiz(self, e: Entry, f: OralQuizHeld) -> None:
        self._lists["spoken"] += [Spoken(e.seq, e.at, f.stop, number, right) for number, right in f.answers]

    def _spot(self, e: Entry, f: SpotCheckHeld) -> None:
        self._lists["looked"].append(Looked(e.seq, e.at, f.stop, f.answers))

    def _worked(self, _: Entry, f: PagesWorked) -> None:
        before = len(self._pages)
        self._pages.update(range(f.first, f.last + 1))
        new = len(self._pages) - before
        self._lists["worked"].append(Worked(f.day, new, f.last - f.first + 1, f.minutes))

    def _goal(self, _: Entry, f: GoalSet) -> None:
        if f.first is not None and f.last is not None:
            self._goals[f.day] = f.last - f.first + 1
        elif f.step is None:
            self._goals.pop(f.day, None)

    def _help(self, e: Entry, _: HelpGiven) -> None:
        self._lists["helped"].append(e.at)

    def _decided(self, e: Entry, f: ReadinessDecided) -> None:
        if not f.ready:
            self._lists["held"].append(e.at)


_LISTS = ("marked", "practice", "spoken", "units", "looked", "worked", "helped", "held")
_TAKEN: dict[type[AnyFact], Callable[[MarksFold, Entry, Any], None]] = {
    CopyOrdered: MarksFold._ordered,
    CopyIssued: MarksFold._issued,
    CopySpoiled: MarksFold._spoiled,
    FirstMarking: MarksFold._first_marking,
    PracticeTestScored: MarksFold._practice,
    UnitTestScored: MarksFold._unit,
    LeaveGiven: MarksFold._leave,
    OralQuizHeld: MarksFold._quiz,
    SpotCheckHeld: MarksFold._spot,
    PagesWorked: MarksFold._worked,
    GoalSet: MarksFold._goal,
    HelpGiven: MarksFold._help,
    ReadinessDecided: MarksFold._decided,
}


def marks_of(copy: CopyId, entries: Iterable[Entry]) -> CopyMarks:
    """Gather the marks of one copy from all its facts; those that were reversed are left out."""
    kept = tuple(entries)
    fold = MarksFold(copy, {e.fact.entry for e in kept if isinstance(e.fact, FactReversed)})
    for entry in kept:
        fold.take(entry)
    return fold.marks


# --- as text --------------------------------------------------------------------------------------------------


def _second(at: datetime) -> int:
    return int(at.timestamp())


def _instant(second: int) -> datetime:
    return datetime.fromtimestamp(second, UTC)


def write_marks(marks: CopyMarks) -> str:
    """Write the marks of a copy shortly; `read_marks` gives them back equal. One of which there is nothing gives ''."""
    m = marks
    rows = (m.marked, m.practice, m.spoken, m.units, m.looked, m.worked, m.goals, m.helped, m.held)
    if m.issued is None and not any(rows):
        return ""
    whole = {
        "v": VERSION,
        "i": _second(m.issued) if m.issued else None,
        "x": m.ended,
        "m": [[r.seq, _second(r.at), r.stop, r.asked, r.right, r.wrong] for r in m.marked],
        "p": [[r.seq, _second(r.at), r.asked, r.right, r.wrong, r.own] for r in m.practice],
        "o": [[r.seq, _second(r.at), r.stop, r.question, r.right] for r in m.spoken],
        "u": [[r.seq, _second(r.at), r.right, r.asked, r.needed, r.wrong] for r in m.units],
        "l": [[r.seq, _second(r.at), r.stop, r.answers] for r in m.looked],
        "w": [[r.day.toordinal(), r.new, r.pages, r.minutes] for r in m.worked],
        "g": [[day.toordinal(), pages] for day, pages in m.goals],
        "h": [_second(at) for at in m.helped],
        "n": [_second(at) for at in m.held],
    }
    return json.dumps(whole, separators=(",", ":"))


def read_marks(copy: CopyId, workbook: str, learner: PersonId | None, text: str) -> CopyMarks:
    """Read what `write_marks` wrote.

    Raises:
        ValueError: the text is of another version; make the caches anew.
    """
    if not text:
        return CopyMarks(copy, workbook, learner)
    w = json.loads(text)
    if w["v"] != VERSION:
        raise ValueError(f"marks of copy {copy} are of version {w['v']}, this is {VERSION}: run `rebuild`")
    return CopyMarks(
        copy,
        workbook,
        learner,
        issued=_instant(w["i"]) if w["i"] is not None else None,
        ended=w["x"],
        marked=tuple(Marked(q, _instant(at), s, n, c, tuple(wrong)) for q, at, s, n, c, wrong in w["m"]),
        practice=tuple(
            Marked(q, _instant(at), PRACTICE, n, c, tuple(wrong), own) for q, at, n, c, wrong, own in w["p"]
        ),
        spoken=tuple(Spoken(q, _instant(at), s, n, right) for q, at, s, n, right in w["o"]),
        units=tuple(UnitMark(q, _instant(at), c, n, k, tuple(wrong)) for q, at, c, n, k, wrong in w["u"]),
        looked=tuple(Looked(q, _instant(at), s, tuple((n, r) for n, r in a)) for q, at, s, a in w["l"]),
        worked=tuple(Worked(date.fromordinal(d), new, pages, minutes) for d, new, pages, minutes in w["w"]),
        goals=tuple((date.fromordinal(day), pages) for day, pages in w["g"]),
        helped=tuple(_instant(at) for at in w["h"]),
        held=tuple(_instant(at) for at in w["n"]),
    )
