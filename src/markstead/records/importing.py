"""Importing a household from a folder: its settings, and its history replayed through every gate.

All or nothing, in one transaction. An act is known again by a digest of what it says, so that the same folder taken
twice writes nothing, and a log with rows added writes only those.
"""

import json
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from django.db import transaction

from markstead.calendar import SchoolCalendar
from markstead.errors import InputError, Problem
from markstead.ledger import facts
from markstead.records import actions, folder, logbook, sheets
from markstead.records.actions import Acting
from markstead.records.desk import Desk, Done, Slip, at_the_desk
from markstead.records.folder import Known, OrderedCopy
from markstead.records.logbook import Deed
from markstead.records.models import Household
from markstead.records.setup import Newcomer, Papers, set_up
from markstead.records.sheets import CALENDAR, COPIES, LOG, PEOPLE, PROGRAMME, WORKBOOKS, Fault, Faults
from markstead.rules.bars import BarKind
from markstead.rules.programme import Programme
from markstead.rules.ruling import RefusedError, Role
from markstead.speech import say


@dataclass(frozen=True, slots=True)
class Report:
    """What an import did, or would do."""

    written: int
    """Acts that were new."""
    unchanged: int
    """Acts that were on the record already."""
    people: int
    copies: int
    facts: int
    """Facts that the new acts wrote; some acts write more than one."""


def copy_id(household: str, label: str) -> str:
    """The id of a copy from the label that the home gave it."""
    return "c" + sha256(f"{household}\n{label}".encode()).hexdigest()[:12]


def import_folder(household: str, folder: Path, *, at: datetime, dry_run: bool = False) -> Report:
    """Take a household from a folder, whole or not at all; a dry run tells the same and writes nothing.

    Raises:
        InputError: every problem of all files; nothing is written then.
    """
    if not re.fullmatch(r"[\w.-]{1,40}", household):
        raise InputError(
            [Problem(say("household"), repr(household), say("an id of 1 to 40 letters, digits and hyphens"))]
        )
    reading = _read(folder, at)
    with transaction.atomic():
        # Two imports of one home wait for each other here, not in the middle.
        Household.objects.select_for_update().filter(id=household).first()
        report = _take(household, reading, at)
        if dry_run:
            transaction.set_rollback(True)
    return report


# --- reading ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Reading:
    """A folder that was read, with everything that is wrong in it so far."""

    name: str
    papers: Papers
    programme: Programme | None
    calendar: SchoolCalendar | None
    people: Known[Newcomer]
    copies: Known[OrderedCopy]
    deeds: Sequence[Deed]
    faults: Faults


def _read(path: Path, at: datetime) -> _Reading:
    from markstead.calendar.load import read_calendar

    faults = Faults()
    texts = sheets.read_texts(path, faults)
    name = folder.read_name(texts.get(sheets.HOUSEHOLD), faults)
    programme = _read_programme(texts, faults)
    calendar: SchoolCalendar | None = None
    if CALENDAR in texts:
        try:
            calendar = read_calendar(texts[CALENDAR], CALENDAR)
        except InputError as error:
            _add_all(faults, CALENDAR, error.problems)
    tables = {
        file: sheets.read_table(file, texts[file], list(columns), faults) if file in texts else None
        for file, columns in (
            (PEOPLE, folder.PEOPLE_COLUMNS),
            (COPIES, folder.COPIES_COLUMNS),
            (LOG, logbook.LOG_COLUMNS),
        )
    }
    people = folder.read_people(tables[PEOPLE], programme, faults)
    today = calendar.day_of(at) if calendar is not None else None
    copies = folder.read_copies(tables[COPIES], people, programme, today, faults)
    if calendar is not None:
        _add_all(faults, CALENDAR, folder.absence_problems(calendar, people))
    log = logbook.read_log(tables[LOG] or (), people, copies, calendar, at, faults)
    papers = Papers(*(texts.get(file, "") for file in (PROGRAMME, WORKBOOKS, CALENDAR)))
    return _Reading(name, papers, programme, calendar, people, copies, log, faults)


def _read_programme(texts: dict[str, str], faults: Faults) -> Programme | None:
    from markstead.rules.load import read_programme

    if PROGRAMME not in texts or WORKBOOKS not in texts:
        return None
    try:
        return read_programme(texts[PROGRAMME], texts[WORKBOOKS])
    except InputError as error:
        for problem in error.problems:
            file = WORKBOOKS if problem.where.startswith(WORKBOOKS) else PROGRAMME
            _add_all(faults, file, [problem])
        return None


def _add_all(faults: Faults, file: str, problems: Iterable[Problem]) -> None:
    for problem in problems:
        row = re.search(r"row (\d+)", problem.where)
        faults.add(file, problem.row or (int(row[1]) if row else 0), problem)


# --- taking -----------------------------------------------------------------------------------------------


def _take(household: str, reading: _Reading, at: datetime) -> Report:
    """Set the home up and replay; whatever is faulty is left out, so that the rest can be judged."""
    faults, people = reading.faults, list(reading.people.good.values())
    educators = [p for p in people if p.role is Role.EDUCATOR]
    if reading.programme is None or reading.calendar is None or not educators:
        ends = [faults.of(file) for file in (PROGRAMME, WORKBOOKS, CALENDAR, PEOPLE)]
        next(fault for fault in ends if fault is not None).ends_it = True
        raise InputError(faults.problems())
    home = set_up(household, name=reading.name, papers=reading.papers, people=people, at=at)
    ordered = list(_orders(reading.copies, educators[0].key, home.programme, home.calendar, at))
    # Stable: rows of one minute keep the order of the file.
    deeds = sorted([*ordered, *reading.deeds], key=lambda deed: deed.at)

    def work(desk: Desk) -> Report:
        replay = _Replay(household, desk, reading, at)
        for deed in deeds:
            replay.take(deed)
        if faults.found:
            raise InputError(faults.problems())
        labels = {label for deed in deeds for label in (*deed.copies, deed.said.get("new_copy", ""))}
        return Report(replay.written, replay.unchanged, len(people), len(labels - {""}), replay.facts)

    return at_the_desk(household, work, whole=True)


def _orders(
    copies: Known[OrderedCopy], by: str, programme: Programme, calendar: SchoolCalendar, at: datetime
) -> Iterable[Deed]:
    """What the days in copies.csv say happened, each at the opening of the school morning of that day."""
    for copy in copies.good.values():
        days = [
            ("ordered", facts.CopyOrdered.KIND, copy.ordered),
            ("received", facts.CopyReceived.KIND, copy.received),
        ]
        for column, kind, day in days:
            if day is None:
                continue
            opening = calendar.instant_of(day, programme.unit_test.morning_from)
            said: dict[str, Any] = {}
            if column == "ordered":
                said = {"workbook": copy.workbook, "learner": copy.learner, "day": copy.expected}
            yield Deed(copy.row, column, kind, str(day), min(opening, at), by, (copy.label,), said)


_Do = Callable[..., Done]


def _just(act: Callable[..., Done], *columns: str, **otherwise: Any) -> _Do:
    """An action that takes these columns by their own names; those left empty are None, or as given."""

    def do(where: Acting, said: dict[str, Any], common: dict[str, Any]) -> Done:
        kept = {name: said.get(name, otherwise.get(name)) for name in columns}
        return act(where, **kept, **common)

    return do


def _on_pages(act: Callable[..., Done], *columns: str) -> _Do:
    def do(where: Acting, said: dict[str, Any], common: dict[str, Any]) -> Done:
        first, last = said.get("pages", (None, None))
        return act(where, first=first, last=last, **{name: said.get(name) for name in columns}, **common)

    return do


def _order(where: Acting, said: dict[str, Any], common: dict[str, Any]) -> Done:
    learner, expected = said.get("learner"), said.get("day")
    return actions.order_copy(where, workbook=said["workbook"], learner=learner, expected=expected, **common)


def _ask_help(where: Acting, said: dict[str, Any], common: dict[str, Any]) -> Done:
    return actions.ask_help(where, page=said.get("pages", (None,))[0], **common)


def _take_over(where: Acting, said: dict[str, Any], common: dict[str, Any]) -> Done:
    return actions.take_over(where, last=said["pages"][1], **common)


def _reorder(where: Acting, said: dict[str, Any], common: dict[str, Any]) -> Done:
    return actions.reorder_workbook(where, new_copy=said["new_copy"], expected=said.get("day"), **common)


def _send(where: Acting, said: dict[str, Any], common: dict[str, Any]) -> Done:
    return actions.send_dispatch(where, copies=said["copies"], tracking=said.get("reason", ""), **common)


def _attendance(where: Acting, said: dict[str, Any], common: dict[str, Any]) -> Done:
    day = said.get("day") or said["when"].date()
    learner, presence, minutes = said["learner"], said["presence"], said.get("minutes")
    return actions.take_attendance(
        where, learner=learner, day=day, presence=presence, minutes=minutes, **common
    )


_DO: dict[str, _Do] = {
    facts.CopyOrdered.KIND: _order,
    facts.CopyReceived.KIND: _just(actions.receive_copy),
    facts.CopySpoiled.KIND: _just(actions.spoil_copy, "reason"),
    facts.CopyIssued.KIND: _just(actions.issue_copy, "learner"),
    facts.OpeningTalkHeld.KIND: _just(actions.hold_opening_talk),
    facts.WorkTakenOver.KIND: _take_over,
    facts.GoalSet.KIND: _on_pages(actions.set_goal, "day", "step"),
    facts.PagesWorked.KIND: _on_pages(actions.work_pages, "day", "minutes"),
    facts.HelpAsked.KIND: _ask_help,
    facts.HelpGiven.KIND: _just(actions.give_help, "minutes"),
    facts.LeaveAsked.KIND: _just(actions.ask_leave, "step", "stop"),
    facts.LeaveGiven.KIND: _just(actions.give_leave, "step", "stop"),
    facts.LeaveRefused.KIND: _just(actions.refuse_leave, "step", "stop", "reason"),
    facts.FirstMarking.KIND: _just(actions.mark, "stop", "wrong", wrong=()),
    facts.Corrected.KIND: _just(actions.correct, "stop"),
    facts.ReMarked.KIND: _just(actions.re_mark, "stop", "wrong", wrong=()),
    facts.OralQuizHeld.KIND: _just(actions.hold_oral_quiz, "answers", "stop"),
    facts.SpotCheckHeld.KIND: _just(actions.hold_spot_check, "answers", "stop"),
    facts.CheckOpened.KIND: _just(actions.open_check, "stop"),
    facts.PracticeTestOpened.KIND: _just(actions.open_practice_test),
    facts.PracticeTestScored.KIND: _just(actions.score_practice_test, "right", "wrong"),
    facts.ReadinessDecided.KIND: _just(actions.decide_readiness, "ready"),
    facts.UnitTestSat.KIND: _just(actions.sit_unit_test, "watcher", "aids", aids=()),
    facts.UnitTestScored.KIND: _just(actions.score_unit_test, "right", "wrong", "minutes"),
    facts.WorkbookReordered.KIND: _reorder,
    facts.DispatchSent.KIND: _send,
    facts.AttendanceTaken.KIND: _attendance,
}
if set(_DO) - {facts.CopyOrdered.KIND} != set(logbook.USES):
    raise TypeError("the import cannot do every act that the log may tell")

_COLUMN_OF = {
    "wrong questions": "wrong",
    "right answers": "right",
    "last page": "pages",
    "reason": "reason",
    "step": "step",
    "workbook": "copy",
}
"""Where an action says that something is wrong, by the column that it came from."""
_AFTER_OTHERS = {BarKind.EARLIER_WORKBOOK, BarKind.OTHER_COPY_IN_HAND}
"""Bars that may stand only because rows of another copy were passed over."""


class _Replay:
    """Replays act by act; behind the first problem of a copy nothing more of it is judged."""

    def __init__(self, household: str, desk: Desk, reading: _Reading, at: datetime) -> None:
        self.household, self.desk, self.at = household, desk, at
        self.faults = reading.faults
        self.copies = reading.copies.good
        self.workbooks = {label: copy.workbook for label, copy in self.copies.items()}
        self.where = Acting(household, desk)
        self.repeats: Counter[str] = Counter()
        self.spoiled: dict[str, Fault] = {
            label: f for label, f in reading.copies.faulty.items() if _in_copies(f)
        }
        self.blind: Fault | None = None
        self.written = self.unchanged = self.facts = 0

    def take(self, deed: Deed) -> None:
        """Replay one act, or say why not."""
        fresh = deed.said.get("new_copy")
        if fresh and deed.copies and deed.copies[0] in self.workbooks:
            self.workbooks[fresh] = self.workbooks[deed.copies[0]]
        if deed.fault is not None:
            self._spoil(deed, deed.fault, own=deed.own)
            return
        act = self._act(deed)
        if act in self.desk.acts:
            self.unchanged += 1
            return
        blame = next((self.spoiled[label] for label in deed.copies if label in self.spoiled), None)
        if blame is not None:
            self._spoil(deed, blame, own=False)
            return
        problems = self._do(deed, act)
        if not problems:
            return
        if self.blind is not None:
            self._spoil(deed, self.blind, own=False)
            return
        found = [self.faults.cell(deed.row, column, *rest) for column, *rest in problems]
        self._spoil(deed, found[0], own=True)

    def _spoil(self, deed: Deed, fault: Fault, *, own: bool) -> None:
        if not own:
            fault.passed_over += 1
        if deed.lost:
            self.blind = self.blind or fault
        for label in (*deed.copies, deed.said.get("new_copy", "")):
            if label:
                self.spoiled.setdefault(label, fault)

    def _act(self, deed: Deed) -> str:
        """The id of an act: a digest of what it says, free words apart; the same said twice is numbered."""
        said = {
            name: value for name, value in deed.said.items() if name not in logbook.WORDS and name != "when"
        }
        for column in ("by", "learner", "watcher"):  # ids, so that keys can be changed and erased
            if said.get(column):
                said[column] = self.desk.home.person(said[column]).id
        meaning = [
            self.household,
            deed.row.file,
            deed.kind,
            deed.when,
            self.desk.home.person(deed.by).id if deed.row.file == LOG else "",
            deed.copies,
            said,
            "override" in deed.said,
        ]
        text = json.dumps(meaning, sort_keys=True, ensure_ascii=False, default=str)
        self.repeats[text] += 1
        return sha256(f"{text}\n{self.repeats[text]}".encode()).hexdigest()[:40]

    def _do(self, deed: Deed, act: str) -> list[tuple[str, ...]]:
        """Do it; give the problems as (column, found, allowed, do)."""
        unknown_stop = self._unknown_stop(deed)
        if unknown_stop:
            return unknown_stop
        ids = [copy_id(self.household, label) for label in deed.copies]
        said = {**deed.said, "copies": ids}
        if "new_copy" in said:
            said["new_copy"] = copy_id(self.household, said["new_copy"])
        slip = Slip(act=act, now=self.at, override=deed.said.get("override"))
        common: dict[str, Any] = {"by": deed.by, "at": deed.at, "slip": slip}
        if ids and deed.kind != facts.DispatchSent.KIND:
            common["copy"] = ids[0]
        try:
            done = _DO[deed.kind](self.where, said, common)
        except RefusedError as error:
            return self._refused(deed, error)
        except InputError as error:
            return [(_column(p, deed), p.found, p.allowed, p.do) for p in error.problems]
        self.written += 1
        self.facts += len(done.entries)
        return []

    def _unknown_stop(self, deed: Deed) -> list[tuple[str, ...]]:
        stop, code = deed.said.get("stop"), self.workbooks.get(deed.copies[0], "") if deed.copies else ""
        book = self.desk.home.programme.workbooks.get(code)
        if stop is None or book is None or stop in {facts.PRACTICE, *(s.id for s in book.stops)}:
            return []
        known = ", ".join((*(s.id for s in book.stops), facts.PRACTICE))
        allowed = say("a stop of {workbook}: {stops}", workbook=book.code, stops=known)
        return [("stop", sheets.shown(stop), allowed, "")]

    def _refused(self, deed: Deed, error: RefusedError) -> list[tuple[str, ...]]:
        bars = error.ruling.bars
        elsewhere = self._spoiled_before(deed)
        if elsewhere is not None:
            bars = tuple(b for b in bars if b.kind not in _AFTER_OTHERS)
            if not bars:
                self._spoil(deed, elsewhere, own=False)
                return []
        do = " ".join(f"{b.says} {b.lifts}" for b in bars)
        if error.ruling.overridable:
            do += " " + say("Or an educator passes it, with a reason in the column override.")
        found = (
            say("'{act}' of {copies}, which is refused", act=deed.kind, copies=", ".join(deed.copies))
            if deed.copies
            else say("'{act}', which is refused", act=deed.kind)
        )
        return [(deed.column, found, say("an act that no bar shuts"), do)]

    def _spoiled_before(self, deed: Deed) -> Fault | None:
        """The fault of another copy that had to be passed before this one could be issued."""
        if deed.kind != facts.CopyIssued.KIND:
            return None
        programme = self.desk.home.programme
        book = programme.workbooks.get(self.workbooks.get(deed.copies[0], ""))
        for label, fault in self.spoiled.items():
            code = self.workbooks.get(label)
            other = programme.workbooks.get(code or "")
            if book is None or other is None:
                return fault
            if other.course == book.course or other.code in book.prerequisites:
                return fault
        return None


def _in_copies(fault: Fault) -> bool:
    """Known from the start; a label that only the log has is faulty from its first row on."""
    return fault.file != LOG


def _column(problem: Problem, deed: Deed) -> str:
    if problem.key == "stop" or problem.where.endswith(", stop"):
        return "stop"
    return _COLUMN_OF.get(problem.key or problem.where, deed.column)
