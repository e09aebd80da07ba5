"""The log of a household's folder: one row an act, read into what the import replays."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from markstead.calendar import SchoolCalendar
from markstead.ledger import facts
from markstead.ledger.facts import Presence, Step
from markstead.records import sheets
from markstead.records.folder import Known, OrderedCopy, person_fault
from markstead.records.setup import Newcomer
from markstead.records.sheets import COPIES, DAY, Column, Fault, Faults, Row, needed, parsed, shown
from markstead.speech import later, say

WORDS = ("reason", "override")
"""Columns of free words; an act is told from another by all the others, so that words can be erased."""

LOG_COLUMNS = {
    "when": Column(sheets.minute, later("a minute on the kitchen clock, written YYYY-MM-DD HH:MM")),
    "by": Column(str, later("the key of a person")),
    "copy": Column(str, later("the label of a copy")),
    "act": Column(str, later("an act")),
    "step": Column(
        Step,
        later(
            "one of to mark, to re-mark, to open the check, to sit the practice test, to sit the unit test"
        ),
    ),
    "stop": Column(sheets.stop, later("a marking stop, such as section-3, check-1 or practice-test")),
    "pages": Column(sheets.pages, later("a page such as 14, or a rising run such as 14-19")),
    "minutes": Column(sheets.whole(0, 1440), later("a whole number from 0 to 1440")),
    "wrong": Column(sheets.numbers, later("the numbers of the wrong questions, such as 3;7")),
    "right": Column(sheets.whole(0, 999), later("how many answers were right, a whole number")),
    "answers": Column(sheets.answers, later("each question and how it went, such as 3 right;7 wrong")),
    "learner": Column(str, later("the key of a learner")),
    "day": DAY,
    "presence": Column(Presence, later("one of full day, half day, absent")),
    "aids": Column(sheets.members, later("aids with ; between them, such as pencil;eraser")),
    "watcher": Column(str, later("the key of the person who watches")),
    "ready": Column(sheets.yes_or_no, later("yes or no")),
    "reason": Column(str, later("a few words")),
    "override": Column(str, later("the reason for which an educator passes the gate")),
    "new_copy": Column(sheets.label_of, later("a label that no other copy has")),
}


@dataclass(frozen=True, slots=True)
class Use:
    """Which columns an act needs beside `when`, `by` and `act`, and which it may have."""

    needs: tuple[str, ...] = ("copy",)
    may: tuple[str, ...] = ()
    one_of: tuple[str, ...] = ()
    """At least one of these."""

    @property
    def all(self) -> set[str]:
        return {"when", "by", "act", "override", *self.needs, *self.may, *self.one_of}


USES: dict[str, Use] = {
    facts.CopyReceived.KIND: Use(),
    facts.CopySpoiled.KIND: Use(("copy", "reason")),
    facts.CopyIssued.KIND: Use(("copy", "learner")),
    facts.OpeningTalkHeld.KIND: Use(),
    facts.WorkTakenOver.KIND: Use(("copy", "pages")),
    facts.GoalSet.KIND: Use(("copy", "day"), ("pages", "step")),
    facts.PagesWorked.KIND: Use(("copy", "pages"), ("minutes", "day")),
    facts.HelpAsked.KIND: Use(("copy",), ("pages",)),
    facts.HelpGiven.KIND: Use(("copy",), ("minutes",)),
    facts.LeaveAsked.KIND: Use(("copy", "step"), ("stop",)),
    facts.LeaveGiven.KIND: Use(("copy", "step"), ("stop",)),
    facts.LeaveRefused.KIND: Use(("copy", "step", "reason"), ("stop",)),
    facts.FirstMarking.KIND: Use(("copy", "stop"), ("wrong",)),
    facts.Corrected.KIND: Use(("copy", "stop")),
    facts.ReMarked.KIND: Use(("copy", "stop"), ("wrong",)),
    facts.OralQuizHeld.KIND: Use(("copy", "answers"), ("stop",)),
    facts.SpotCheckHeld.KIND: Use(("copy", "stop", "answers")),
    facts.CheckOpened.KIND: Use(("copy", "stop")),
    facts.PracticeTestOpened.KIND: Use(),
    facts.PracticeTestScored.KIND: Use(one_of=("right", "wrong")),
    facts.ReadinessDecided.KIND: Use(("copy", "ready")),
    facts.UnitTestSat.KIND: Use(("copy", "watcher"), ("aids",)),
    facts.UnitTestScored.KIND: Use(("copy",), ("minutes",), one_of=("right", "wrong")),
    facts.WorkbookReordered.KIND: Use(("copy", "new_copy"), ("day",)),
    facts.DispatchSent.KIND: Use(("copy",), ("reason",)),
    facts.AttendanceTaken.KIND: Use(("learner", "presence"), ("day", "minutes")),
}
"""Every act that a row of the log may tell, by the word it has on the record."""

ELSEWHERE: dict[str, tuple[str, str]] = {
    facts.CopyOrdered.KIND: (
        later("A copy is ordered by its row in {file}, or by '{act}'."),
        facts.WorkbookReordered.KIND,
    ),
    facts.PaperSent.KIND: (
        later("Name the copies in one row '{act}', with ; between them."),
        facts.DispatchSent.KIND,
    ),
    facts.GateOverridden.KIND: (
        later("Give the reason in the column override of the act that passes the gate."),
        "",
    ),
    facts.FactReversed.KIND: (later("Leave out the row that was taken back."), ""),
}
"""Kinds of facts that no row tells, and what to do instead: a sentence, and the act that it names."""
if set(USES) | set(ELSEWHERE) != set(facts.KINDS):  # a new kind of fact must be given a row, or a reason
    raise TypeError("the log does not know every kind of fact")

# --- the log ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Deed:
    """One act to replay: where it stands, when it was, what it is about."""

    row: Row
    column: str
    """The column that is named when the act is refused."""
    kind: str
    when: str
    """On the kitchen clock, as text."""
    at: datetime
    by: str
    copies: tuple[str, ...]
    said: Mapping[str, Any]
    fault: Fault | None = None
    own: bool = False
    """The fault is this row's own, not one that it is blamed on."""

    @property
    def lost(self) -> bool:
        """The row is faulty and nobody can tell which copy it is about."""
        return self.own and not self.copies and self.kind != facts.AttendanceTaken.KIND


def read_log(
    rows: Sequence[Row],
    people: Known[Newcomer],
    copies: Known[OrderedCopy],
    calendar: SchoolCalendar | None,
    at: datetime,
    faults: Faults,
) -> list[Deed]:
    """Every row as an act to replay, in the order of the file; faulty ones carry their fault."""
    reader = _LogReader(people, copies, calendar, at, faults)
    reader.declare(rows)
    return [reader.read(row) for row in rows]


class _LogReader:
    """Reads row by row; remembers the time of the latest row, for the place of one whose time is not known."""

    def __init__(
        self,
        people: Known[Newcomer],
        copies: Known[OrderedCopy],
        calendar: SchoolCalendar | None,
        at: datetime,
        faults: Faults,
    ) -> None:
        self.people, self.copies, self.calendar, self.at, self.faults = people, copies, calendar, at, faults
        self.declared: dict[str, int] = {}
        self.latest = datetime(1900, 1, 1, tzinfo=UTC)

    def declare(self, rows: Sequence[Row]) -> None:
        """Take up the labels of copies that were ordered again."""
        for row in rows:
            label = row.text("new_copy")
            if label:
                self.declared.setdefault(label, row.number)

    def read(self, row: Row) -> Deed:
        before = len(self.faults.found)
        said, _ = parsed(row, LOG_COLUMNS, self.faults)
        kind = self._kind(row)
        self._when(row, said)
        self._day(row, kind, said)
        blamed = [
            person_fault(row, column, said.get(column), self.people, self.faults)
            for column in ("by", "learner", "watcher")
        ]
        labels, of_labels = self._labels(row, kind)
        self._new_copy(row, said)
        own = [*self.faults.found[before:], *([row.fault] if row.fault else [])]
        blamed = [fault for fault in (*own, *blamed, *of_labels) if fault is not None]
        return Deed(
            row=row,
            column="act",
            kind=kind,
            when=f"{said['when']:%Y-%m-%d %H:%M:%S}" if "when" in said else "",
            at=self.latest,
            by=said.get("by", ""),
            copies=labels,
            said=said,
            fault=blamed[0] if blamed else None,
            own=bool(own),
        )

    def _kind(self, row: Row) -> str:
        kind = row.text("act")
        use = USES.get(kind)
        if use is None:
            sentence, act = ELSEWHERE.get(kind, ("", ""))
            allowed = say("one of: {acts}", acts=", ".join(USES))
            self.faults.cell(row, "act", shown(kind), allowed, say(sentence, file=COPIES, act=act))
            needed(row, ("when", "by"), LOG_COLUMNS, self.faults)
            return kind
        needed(row, ("when", "by", *use.needs), LOG_COLUMNS, self.faults)
        if use.one_of and not any(row.text(name) for name in use.one_of):
            first = use.one_of[0]
            allowed = say(
                "{allowed}, or the numbers in the column {column}",
                allowed=say(LOG_COLUMNS[first].allowed),
                column=use.one_of[1],
            )
            self.faults.cell(row, first, say("nothing"), allowed)
        for name in LOG_COLUMNS:
            if row.text(name) and name not in use.all:
                allowed = say("nothing: '{act}' has no use for this column", act=kind)
                self.faults.cell(row, name, shown(row.text(name)), allowed)
        return kind

    def _when(self, row: Row, said: Mapping[str, Any]) -> None:
        if "when" not in said or self.calendar is None:
            return
        when: datetime = said["when"]
        instant = self.calendar.instant_of(when.date(), when.time())
        if instant > self.at:
            latest = self.calendar.at_home(self.at)
            allowed = say(
                "a minute up to {minute}, the time of the import", minute=f"{latest:%Y-%m-%d %H:%M}"
            )
            self.faults.cell(row, "when", shown(row.text("when")), allowed)
        else:
            self.latest = instant

    def _day(self, row: Row, kind: str, said: Mapping[str, Any]) -> None:
        if "when" not in said or "day" not in said or kind == facts.GoalSet.KIND:
            return
        noted = said["when"].date()
        ahead = kind == facts.WorkbookReordered.KIND
        if said["day"] < noted if ahead else said["day"] > noted:
            allowed = (
                say("a day from {day}, the day of the column when", day=noted)
                if ahead
                else say("a day up to {day}, the day of the column when", day=noted)
            )
            self.faults.cell(row, "day", shown(row.text("day")), allowed)

    def _labels(self, row: Row, kind: str) -> tuple[tuple[str, ...], list[Fault | None]]:
        text = row.text("copy")
        labels = sheets.members(text) if kind == facts.DispatchSent.KIND else ((text,) if text else ())
        if len(set(labels)) < len(labels):
            self.faults.cell(row, "copy", shown(text), say("each copy once"))
        known: list[str] = []
        blamed: list[Fault | None] = []
        for label in labels:
            blame = None if label in self.declared else self.copies.blame(label)
            blamed.append(blame)
            if blame is None and label not in self.declared and label not in self.copies.good:
                allowed = say("the label of a copy of {file}, or a new_copy of this file", file=COPIES)
                self.copies.faulty[label] = self.faults.cell(row, "copy", shown(label), allowed)
            else:
                known.append(label)
        return tuple(known), blamed

    def _new_copy(self, row: Row, said: Mapping[str, Any]) -> None:
        label = said.get("new_copy", "")
        taken = label in self.copies.good or label in self.copies.faulty
        if label and (taken or self.declared[label] != row.number):
            allowed = say(LOG_COLUMNS["new_copy"].allowed)
            self.faults.cell(row, "new_copy", say("{name} again", name=shown(label)), allowed)
