"""A household's folder: its name, its people and its copies.

What a name stands for is declared by one file and used by others, so a fault where it is declared would be told again
in every row that uses it: such rows are blamed on the first fault instead.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Generic, TypeVar

from markstead.calendar import SchoolCalendar
from markstead.errors import InputError, Problem
from markstead.records import sheets
from markstead.records.setup import Newcomer
from markstead.records.sheets import (
    CALENDAR,
    COPIES,
    DAY,
    HOUSEHOLD,
    LABEL,
    PEOPLE,
    Column,
    Fault,
    Faults,
    Row,
    needed,
    parsed,
    shown,
)
from markstead.rules.programme import Programme
from markstead.rules.ruling import Role
from markstead.speech import later, say

T = TypeVar("T")


def _role(text: str) -> Role:
    role = Role(text)
    if role is Role.LEFT:  # who has left is not set up
        raise ValueError(text)
    return role


PEOPLE_COLUMNS = {
    "key": Column(sheets.key_of, later("a short key of letters and digits that nobody else has")),
    "name": Column(sheets.name_of, later("a name of 1 to 200 letters")),
    "role": Column(_role, later("one of educator, helper, learner, coordinator")),
    "year": Column(sheets.whole(0, 20), later("the school year, a whole number from 0 to 20")),
    "courses": Column(sheets.members, later("courses of the programme, with ; between them")),
}
COPIES_COLUMNS = {
    "copy": LABEL,
    "workbook": Column(str, later("the code of a workbook of the programme")),
    "learner": Column(str, later("the key of a learner, or nothing")),
    "ordered": DAY,
    "expected": DAY,
    "received": DAY,
}


def read_name(text: str | None, faults: Faults) -> str:
    """The household's name; a dash where there is none to be had."""
    if text is None:
        return "-"
    from markstead.calendar.load import parse_toml

    try:
        found = parse_toml(text, HOUSEHOLD)
    except InputError as error:
        for problem in error.problems:
            faults.add(HOUSEHOLD, 0, problem)
        return "-"
    for key in found:
        if key != "name":
            faults.file(HOUSEHOLD, say("the key {key}", key=shown(key)), say("the key name alone"))
    name = found.get("name", "")
    if not isinstance(name, str) or not name.strip() or not name.isprintable() or len(name) > 200:
        what = shown(name) if isinstance(name, str) else say("something other than text")
        allowed = say("a name in quotation marks, of 1 to 200 letters")
        faults.add(HOUSEHOLD, 0, Problem(f"{HOUSEHOLD}, name", what, allowed))
        return "-"
    return name.strip()


# --- people and copies ------------------------------------------------------------------------------------


@dataclass(slots=True)
class Known(Generic[T]):
    """The names that a file declares: good ones, faulty ones, and whether any may have been lost."""

    good: dict[str, T] = field(default_factory=dict)
    faulty: dict[str, Fault] = field(default_factory=dict)
    lost: Fault | None = None

    def blame(self, name: str) -> Fault | None:
        """The fault because of which a name is not known; None: it is known, or nothing explains it."""
        if name in self.faulty:
            return self.faulty[name]
        return None if name in self.good else self.lost


@dataclass(frozen=True, slots=True)
class OrderedCopy:
    """A copy as a home writes it down."""

    row: Row
    label: str
    workbook: str
    ordered: date
    learner: str | None = None
    expected: date | None = None
    received: date | None = None


def _taken(row: Row, column: str, names: Collection[str], what: str, faults: Faults) -> Fault | None:
    text = row.text(column)
    return faults.cell(row, column, say("{name} again", name=shown(text)), what) if text in names else None


def read_people(rows: list[Row] | None, programme: Programme | None, faults: Faults) -> Known[Newcomer]:
    """Who lives and helps here, in the order of the file."""
    known: Known[Newcomer] = Known()
    if rows is None:
        known.lost = faults.of(PEOPLE)
        return known
    for row in rows:
        said, fault = parsed(row, PEOPLE_COLUMNS, faults)
        key = said.get("key", "")
        taken = _taken(row, "key", {*known.good, *known.faulty}, say(PEOPLE_COLUMNS["key"].allowed), faults)
        if taken is not None:  # the first row of this key stands
            continue
        learner = said.get("role") is Role.LEARNER
        columns = ("key", "name", "role", "year") if learner else ("key", "name", "role")
        fault = needed(row, columns, PEOPLE_COLUMNS, faults) or fault
        fault = _learners_only(row, said, faults) or fault
        fault = _courses(row, said.get("courses", ()), programme, faults) or fault
        if fault is None:
            year, courses = said.get("year"), said.get("courses", ())
            known.good[key] = Newcomer(key, said["name"], said["role"], year, courses)
        elif key:
            known.faulty[key] = fault
        else:
            known.lost = known.lost or fault
    if not any(p.role is Role.EDUCATOR for p in known.good.values()) and not (known.faulty or known.lost):
        known.lost = faults.file(PEOPLE, say("no educator"), say("at least one row with the role educator"))
    return known


def _learners_only(row: Row, said: Mapping[str, Any], faults: Faults) -> Fault | None:
    if said.get("role", Role.LEARNER) is Role.LEARNER:
        return None
    first: Fault | None = None
    for column in ("year", "courses"):
        if row.text(column):
            fault = faults.cell(
                row,
                column,
                shown(row.text(column)),
                say("nothing for a person who is {role}", role=say(str(said["role"]))),
            )
            first = first or fault
    return first


def _courses(row: Row, courses: Sequence[str], programme: Programme | None, faults: Faults) -> Fault | None:
    first: Fault | None = None
    for n, course in enumerate(courses):
        fault = None
        if programme is not None and course not in programme.courses:
            fault = faults.cell(
                row, "courses", shown(course), say("one of {courses}", courses=", ".join(programme.courses))
            )
        elif course in courses[:n]:
            fault = faults.cell(
                row, "courses", say("{course} twice", course=shown(course)), say("each course once")
            )
        first = first or fault
    return first


def read_copies(
    rows: list[Row] | None,
    people: Known[Newcomer],
    programme: Programme | None,
    today: date | None,
    faults: Faults,
) -> Known[OrderedCopy]:
    """The copies that the home has ordered or has, by its own labels."""
    known: Known[OrderedCopy] = Known()
    if rows is None:
        known.lost = faults.of(COPIES)
        return known
    for row in rows:
        said, fault = parsed(row, COPIES_COLUMNS, faults)
        label = said.get("copy", "")
        if _taken(row, "copy", {*known.good, *known.faulty}, say("a label that no other copy has"), faults):
            continue
        fault = needed(row, ("copy", "workbook", "ordered"), COPIES_COLUMNS, faults) or fault
        if programme is not None and said.get("workbook", "") not in {"", *programme.workbooks}:
            codes = ", ".join(programme.workbooks)
            allowed = (
                say("one of {codes}", codes=codes)
                if len(codes) < 200
                else say("a code such as {code}", code=codes[: codes.index(",")])
            )
            fault = faults.cell(row, "workbook", shown(said["workbook"]), allowed)
        fault = _days_in_order(row, said, today, faults) or fault
        fault = person_fault(row, "learner", said.get("learner"), people, faults) or fault
        if fault is None:
            known.good[label] = OrderedCopy(
                row,
                label,
                said["workbook"],
                said["ordered"],
                said.get("learner"),
                said.get("expected"),
                said.get("received"),
            )
        elif label:
            known.faulty[label] = fault
        else:
            known.lost = known.lost or fault
    return known


def _days_in_order(row: Row, said: Mapping[str, Any], today: date | None, faults: Faults) -> Fault | None:
    first: Fault | None = None
    ordered = said.get("ordered")
    for column in ("ordered", "received"):
        day = said.get(column)
        if day is not None and today is not None and day > today:
            fault = faults.cell(
                row,
                column,
                shown(row.text(column)),
                say("a day up to {day}, the day of the import", day=today),
            )
            first = first or fault
    for column in ("expected", "received"):
        day = said.get(column)
        if day is not None and ordered is not None and day < ordered:
            allowed = say("a day from {day} on, the day of the order", day=ordered)
            first = first or faults.cell(row, column, shown(row.text(column)), allowed)
    return first


def person_fault(
    row: Row, column: str, key: str | None, people: Known[Newcomer], faults: Faults
) -> Fault | None:
    """What is wrong with a person named in a cell; a name not known is told once, then blamed on that."""
    if not key:
        return None
    blame = people.blame(key)
    if blame is not None:
        return blame
    keys = [p.key for p in people.good.values() if column != "learner" or p.role is Role.LEARNER]
    if key in keys:
        return None
    fault = faults.cell(row, column, shown(key), _one_of(keys))
    if key not in people.good:
        people.faulty[key] = fault
    return fault


def _one_of(keys: Sequence[str]) -> str:
    return say("one of {keys}", keys=", ".join(keys) or say("nobody yet"))


def absence_problems(calendar: SchoolCalendar, people: Known[Newcomer]) -> Iterator[Problem]:
    """Keys in the calendar that nobody has."""
    if people.lost is not None:
        return
    for kind, named in (
        ("absence", [("learner", absence.learner) for absence in calendar.absences]),
        ("educator_away", [("educator", away.educator or "") for away in calendar.educator_away]),
    ):
        role = Role.LEARNER if kind == "absence" else Role.EDUCATOR
        keys = [p.key for p in people.good.values() if p.role is role]
        for n, (name, key) in enumerate(named, 1):
            if key and key not in keys and key not in people.faulty:
                where = f"{CALENDAR}, {kind} {n}, {name}"
                yield Problem(where, shown(key), _one_of(keys))
