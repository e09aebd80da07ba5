"""Tables and texts as people save them: read cell by cell, with every fault in one list."""

import csv
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from markstead.errors import InputError, Problem
from markstead.ledger.facts import PRACTICE
from markstead.speech import counted, later, say

HOUSEHOLD, PROGRAMME, WORKBOOKS, CALENDAR = (
    "household.toml",
    "programme.toml",
    "workbooks.csv",
    "calendar.toml",
)
PEOPLE, COPIES, LOG = "people.csv", "copies.csv", "log.csv"
FILES = (HOUSEHOLD, PROGRAMME, WORKBOOKS, CALENDAR, PEOPLE, COPIES, LOG)
"""The files of a household's folder, in the order in which their problems are told."""


# --- what is wrong ----------------------------------------------------------------------------------------


@dataclass(slots=True, eq=False)
class Fault:
    """A problem, and how many rows could not be judged because of it."""

    file: str
    row: int
    problem: Problem
    passed_over: int = 0
    ends_it: bool = False
    """Because of it no row at all could be judged by the rules."""

    def told(self) -> Problem:
        p = self.problem
        more = [p.do] if p.do else []
        if self.ends_it:
            more.append(say("The log is held against the rules once this is mended."))
        elif self.passed_over:
            more.append(
                counted(
                    self.passed_over,
                    "{n} row that hangs on it was passed over.",
                    "{n} rows that hang on it were passed over.",
                )
            )
        return Problem(p.where, p.found, p.allowed, " ".join(more))


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table, numbered as a spreadsheet numbers it."""

    file: str
    number: int
    cells: Mapping[str, str]
    fault: Fault | None = None
    """The row does not fit its table at all."""

    def text(self, column: str) -> str:
        return self.cells.get(column, "")


class Faults:
    """Everything that is wrong, gathered while reading."""

    def __init__(self) -> None:
        self.found: list[Fault] = []

    def add(self, file: str, row: int, problem: Problem) -> Fault:
        fault = Fault(file, row, problem)
        self.found.append(fault)
        return fault

    def file(self, file: str, found: str, allowed: str, do: str = "", row: int = 0) -> Fault:
        where = say("{file}, row {number}", file=file, number=row) if row else file
        return self.add(file, row, Problem(where, found, allowed, do))

    def cell(self, row: Row, column: str, found: str, allowed: str, do: str = "") -> Fault:
        where = say("{file}, row {number}, column {column}", file=row.file, number=row.number, column=column)
        return self.add(row.file, row.number, Problem(where, found, allowed, do))

    def of(self, file: str) -> Fault | None:
        """The first fault of a file."""
        return next((fault for fault in self.found if fault.file == file), None)

    def problems(self) -> tuple[Problem, ...]:
        """All of them, file by file and row by row."""
        kept = sorted(self.found, key=lambda fault: (FILES.index(fault.file), fault.row))
        return tuple(fault.told() for fault in kept)


def shown(text: str) -> str:
    """What stands there, short enough for a sentence."""
    return repr(text if len(text) <= 60 else text[:57] + "...") if text else say("nothing")


# --- files and tables -------------------------------------------------------------------------------------


def read_texts(folder: Path, faults: Faults) -> dict[str, str]:
    """The text of each file that can be read, its ends of line made alike."""
    if not folder.is_dir():
        what = say("a file") if folder.exists() else say("no folder there")
        problem = Problem(
            say("folder"),
            f"{folder} ({what})",
            say("a folder with the files {files}", files=", ".join(FILES)),
        )
        raise InputError([problem])
    texts = {}
    for file in FILES:
        text = _read_text(folder / file, file, faults)
        if text is not None:
            texts[file] = text
    return texts


def _read_text(path: Path, file: str, faults: Faults) -> str | None:
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        faults.file(
            file, say("no such file in the folder"), say("one file each: {files}", files=", ".join(FILES))
        )
        return None
    except OSError as error:
        faults.file(
            file,
            say("a file that cannot be read ({why})", why=error.strerror),
            say("a file that may be read"),
        )
        return None
    return text_of(content, file, faults)


def text_of(content: bytes, file: str, faults: Faults) -> str | None:
    """The text of a file, judged by what is in it, its ends of line made alike; None where it is none."""
    allowed = say("text in UTF-8")
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        faults.file(file, say("text in UTF-16"), allowed, say("Save it as CSV UTF-8."))
        return None
    if b"\0" in content:
        faults.file(
            file,
            say("a NUL byte in line {number}", number=content[: content.index(0)].count(10) + 1),
            allowed,
        )
        return None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(10) + 1
        found = say(
            "another encoding (byte {byte:#04x} in line {number})", byte=content[error.start], number=line
        )
        faults.file(file, found, allowed, say("Save it as UTF-8."))
        return None
    if not text.strip():
        faults.file(file, say("an empty file"), say("the file as the reference page shows it"))
        return None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def read_table(file: str, text: str, columns: Sequence[str], faults: Faults) -> list[Row] | None:
    """The rows below the header; None where the columns are not those of this file."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    number = 0
    rows: list[Row] = []
    try:
        for number, cells in enumerate(reader, 1):
            kept = [cell.strip() for cell in cells]
            if number == 1:
                header = _trimmed(kept)
                if not _right_header(file, header, columns, faults):
                    return None
            elif any(kept):
                fault = _too_long(file, number, kept[len(header) :], faults)
                rows.append(Row(file, number, dict(zip(header, kept, strict=False)), fault))
    except csv.Error as error:
        allowed = say("a table as a spreadsheet saves it: commas between cells, quotation marks in pairs")
        faults.file(file, str(error), allowed, row=number + 1)
        return None
    return rows


def _too_long(file: str, number: int, cells: list[str], faults: Faults) -> Fault | None:
    extra = next((cell for cell in cells if cell), None)
    if extra is None:
        return None
    do = say("A cell that holds a comma stands in quotation marks.")
    return faults.file(
        file, say("{cell} behind the last column", cell=shown(extra)), say("nothing"), do, number
    )


def _trimmed(header: list[str]) -> list[str]:
    while header and not header[-1]:
        header.pop()
    return [name.lower() for name in header]


def _right_header(file: str, header: list[str], columns: Sequence[str], faults: Faults) -> bool:
    if len(header) == 1 and re.search(r"[;\t]", header[0]):
        faults.file(
            file, shown(header[0]), say("columns parted by commas"), say("Save it as CSV with commas."), 1
        )
        return False
    allowed = say("the columns {columns}", columns=", ".join(columns))
    missing = [name for name in columns if name not in header]
    other = [name for n, name in enumerate(header) if name not in columns or name in header[:n]]
    for name in missing:
        faults.add(
            file,
            1,
            Problem(
                say("{file}, row {number}, column {column}", file=file, number=1, column=name),
                say("no such column"),
                allowed,
            ),
        )
    for name in dict.fromkeys(other):
        found = say("a column twice") if name in columns else say("a column that this file does not have")
        faults.add(
            file,
            1,
            Problem(
                say(
                    "{file}, row {number}, column {column}",
                    file=file,
                    number=1,
                    column=name or say("(no name)"),
                ),
                found,
                allowed,
            ),
        )
    return not missing and not other


# --- cells ------------------------------------------------------------------------------------------------


def whole(least: int, most: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,6}", text) or not least <= int(text) <= most:
            raise ValueError(text)
        return int(text)

    return read


def day_of(text: str) -> date:
    if not re.fullmatch(r"(19|20|21)[0-9]{2}-[0-9]{2}-[0-9]{2}", text):
        raise ValueError(text)
    return date.fromisoformat(text)


def minute(text: str) -> datetime:
    found = re.fullmatch(r"([0-9-]{10})[ T]([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?", text)
    if found is None:
        raise ValueError(text)
    clock = time(int(found[2]), int(found[3]), int(found[4] or 0))
    return datetime.combine(day_of(found[1]), clock)


def pages(text: str) -> tuple[int, int]:
    # Spreadsheets like to make the hyphen a dash.
    found = re.fullmatch(r"([0-9]{1,4})(?: *[-–—] *([0-9]{1,4}))?", text)
    if found is None or not 1 <= int(found[1]) <= int(found[2] or found[1]):
        raise ValueError(text)
    return int(found[1]), int(found[2] or found[1])


def members(text: str) -> tuple[str, ...]:
    return tuple(member.strip() for member in text.split(";") if member.strip())


def numbers(text: str) -> tuple[int, ...]:
    read = whole(1, 999)
    return tuple(sorted({read(member) for member in members(text)}))


def answers(text: str) -> tuple[tuple[int, bool], ...]:
    answers = []
    for member in members(text):
        found = re.fullmatch(r"([0-9]{1,3})\s+(right|wrong)", member)
        if found is None or int(found[1]) == 0:
            raise ValueError(member)
        answers.append((int(found[1]), found[2] == "right"))
    if not answers:
        raise ValueError(text)
    return tuple(answers)


def yes_or_no(text: str) -> bool:
    return {"yes": True, "no": False}[text.lower()]


def stop(text: str) -> str:
    if not re.fullmatch(rf"(section|check)-[0-9]{{1,3}}|{PRACTICE}", text):
        raise ValueError(text)
    return text


def label_of(text: str) -> str:
    if not re.fullmatch(r"\w[\w .-]{0,39}", text):
        raise ValueError(text)
    return text


def key_of(text: str) -> str:
    if not re.fullmatch(r"\w[\w.-]{0,39}", text):
        raise ValueError(text)
    return text


def name_of(text: str) -> str:
    if not text or not text.isprintable() or len(text) > 200:
        raise ValueError(text)
    return text


@dataclass(frozen=True, slots=True)
class Column:
    """How a cell is read, and what may stand in it."""

    read: Callable[[str], Any]
    allowed: str


DAY = Column(day_of, later("a day of the calendar, written YYYY-MM-DD"))
LABEL = Column(label_of, later("a label of up to 40 letters, digits, spaces, dots, hyphens"))


def parsed(row: Row, columns: Mapping[str, Column], faults: Faults) -> tuple[dict[str, Any], Fault | None]:
    """The filled cells of a row as values, and its first fault."""
    said: dict[str, Any] = {}
    first = row.fault
    for name, column in columns.items():
        text = row.text(name)
        if not text:
            continue
        try:
            said[name] = column.read(text)
        except (ValueError, KeyError):
            first = first or faults.cell(row, name, shown(text), say(column.allowed))
    return said, first


def needed(row: Row, names: Sequence[str], columns: Mapping[str, Column], faults: Faults) -> Fault | None:
    first: Fault | None = None
    for name in names:
        if not row.text(name):
            fault = faults.cell(row, name, say("nothing"), say(columns[name].allowed))
            first = first or fault
    return first
