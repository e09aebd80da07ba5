"""The record as plain tables: CSV files that open in any sheet, with metadata by CSV on the Web (W3C, 2015) beside them.

A text that a sheet would take for a formula gets an apostrophe before it.
"""

import csv
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from markstead.ledger.facts import AttendanceTaken, CopyOrdered, CopyReceived, GoalSet, PagesWorked
from markstead.ledger.serial import read_body
from markstead.records.exporting import KnownCopy, copies_of, entries_of, results, taken_back
from markstead.records.home import Home
from markstead.records.models import Entry, Words
from markstead.records.queries import home_of
from markstead.records.spreadsheets import guarded
from markstead.records.whole import Package, package
from markstead.speech import language, later, say

METADATA = "csv-metadata.json"
README = "README.txt"
WHAT = later("package of tables")
_CHUNK = 1000

_README = later("""\
Tables of a household out of Markstead. Each opens in any spreadsheet: UTF-8, commas, the first row has the names.
csv-metadata.json says of every column what stands in it (CSV on the Web, https://www.w3.org/TR/tabular-metadata/).
Instants are in UTC, days are days at home. Money is in minor units of the programme's currency.
A text that begins with = + - @ has an apostrophe before it, so that no spreadsheet takes it for a formula.
""")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table."""

    name: str
    says: str
    type: str = "string"
    needed: bool = False
    separator: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its columns, what identifies a row, and which columns name rows of other tables."""

    file: str
    says: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    refers: Mapping[str, tuple[str, str]]
    """Column to file and column."""


_PERSON, _COPY, _BOOK = ("people.csv", "person"), ("copies.csv", "copy"), ("workbooks.csv", "workbook")
_WHO = Column("learner", later("id of the learner; empty: nobody's"))
_WHICH = Column("copy", later("id of the copy"), needed=True)
TABLES = (
    Table(
        "people.csv",
        later("Who lives or helps here"),
        (
            Column("person", later("id by which every other table knows them"), needed=True),
            Column("key", later("short key in the home")),
            Column("name", later("name")),
            Column("role", later("part in the home"), needed=True),
            Column("year", later("school year of a learner"), "integer"),
            Column("courses", later("courses that a learner takes, in their order"), separator=";"),
        ),
        ("person",),
        {},
    ),
    Table(
        "workbooks.csv",
        later("Workbooks of the programme in force"),
        (
            Column("workbook", later("code"), needed=True),
            Column("course", later("course"), needed=True),
            Column("title", later("title"), needed=True),
            Column("level", later("level"), "integer", needed=True),
            Column("number", later("place in its course"), "integer", needed=True),
            Column("pages", later("pages"), "integer", needed=True),
            Column("practice_questions", later("questions of the practice test"), "integer", needed=True),
            Column("unit_questions", later("questions of the unit test"), "integer", needed=True),
            Column("price", later("price, in minor units"), "integer"),
            Column("supplier", later("who sells it")),
        ),
        ("workbook",),
        {},
    ),
    Table(
        "copies.csv",
        later("Every copy that was ever ordered"),
        (
            Column("copy", later("id"), needed=True),
            Column("label", later("what is written on its cover"), needed=True),
            Column("workbook", later("code of its workbook"), needed=True),
            _WHO,
            Column("status", later("where it stands"), needed=True),
        ),
        ("copy",),
        {"workbook": _BOOK, "learner": _PERSON},
    ),
    Table(
        "facts.csv",
        later("The whole record, one fact a row"),
        (
            Column("seq", later("place on the record"), "integer", needed=True),
            Column("act", later("the act that wrote it"), needed=True),
            Column("at", later("when it happened"), "dateTime", needed=True),
            Column("written", later("when it was noted"), "dateTime", needed=True),
            Column("by", later("who noted it"), needed=True),
            Column("kind", later("what it is"), needed=True),
            Column("copy", later("id of the copy that it is about")),
            Column("values", later("its values, as JSON"), "json", needed=True),
            Column("words", later("words that go with it; empty: none, or erased")),
            Column("counts", later("false: it was taken back later"), "boolean", needed=True),
        ),
        ("seq",),
        {"by": _PERSON, "copy": _COPY},
    ),
    Table(
        "results.csv",
        later("Every test that was marked"),
        (
            _WHICH,
            Column("workbook", later("code of its workbook"), needed=True),
            _WHO,
            Column("test", later("practice test or unit test"), needed=True),
            Column("attempt", later("its number"), "integer", needed=True),
            Column("day", later("day on which it was sat"), "date", needed=True),
            Column("marked", later("when it was marked"), "dateTime", needed=True),
            Column("right", later("right answers"), "integer", needed=True),
            Column("asked", later("questions"), "integer", needed=True),
            Column("needed", later("right answers that were needed on that day"), "integer", needed=True),
            Column("passed", later("as many as were needed"), "boolean", needed=True),
            Column("minutes", later("how long the sitting took"), "integer"),
        ),
        (),
        {"copy": _COPY, "workbook": _BOOK, "learner": _PERSON},
    ),
    Table(
        "goals.csv",
        later("Goals as they were set; a later one for the same copy and day stands instead"),
        (
            Column("seq", later("place on the record"), "integer", needed=True),
            _WHICH,
            _WHO,
            Column("day", later("for which day"), "date", needed=True),
            Column("first", later("first page"), "integer"),
            Column("last", later("last page"), "integer"),
            Column("step", later("a test that is meant")),
        ),
        ("seq",),
        {"copy": _COPY, "learner": _PERSON},
    ),
    Table(
        "hours.csv",
        later("Pages worked and the time they took"),
        (
            Column("seq", later("place on the record"), "integer", needed=True),
            _WHICH,
            _WHO,
            Column("day", later("on which day"), "date", needed=True),
            Column("first", later("first page"), "integer", needed=True),
            Column("last", later("last page"), "integer", needed=True),
            Column("minutes", later("minutes; empty: nobody looked at the clock"), "integer"),
        ),
        ("seq",),
        {"copy": _COPY, "learner": _PERSON},
    ),
    Table(
        "attendance.csv",
        later(
            "How long a learner was at school, as it was taken; a later row for the same day stands instead"
        ),
        (
            Column("seq", later("place on the record"), "integer", needed=True),
            Column("learner", later("id of the learner"), needed=True),
            Column("day", later("the day"), "date", needed=True),
            Column("presence", later("full day, half day or absent"), needed=True),
            Column("minutes", later("minutes at school"), "integer"),
        ),
        ("seq",),
        {"learner": _PERSON},
    ),
    Table(
        "orders.csv",
        later("Copies ordered, and when they came"),
        (
            _WHICH,
            Column("workbook", later("code of its workbook"), needed=True),
            _WHO,
            Column("supplier", later("from whom")),
            Column("price", later("price, in minor units"), "integer"),
            Column("ordered", later("day of the order"), "date", needed=True),
            Column("expected", later("day on which it was expected"), "date"),
            Column("received", later("day on which it came into the house"), "date"),
        ),
        ("copy",),
        {"copy": _COPY, "workbook": _BOOK, "learner": _PERSON},
    ),
)


@dataclass(frozen=True, slots=True)
class Written:
    """What was written."""

    rows: Mapping[str, int]
    """By file."""


def write_tables(household: str, path: Path, *, names: bool = True, replace: bool = False) -> Written:
    """Write every table into one package; memory does not grow with the record.

    Without `names`, people are ids alone and no words go with the facts.

    Raises:
        UnknownError: no such household.
        InputError: a file is there already.
        MarksteadError: the file could not be written.
    """
    home = home_of(household)
    copies = copies_of(household)
    counted: dict[str, int] = {}
    with package(path, say(WHAT), replace=replace) as packed:
        packed.put(README, say(_README).encode())
        packed.put(METADATA, _metadata(home).encode())
        for table in TABLES:
            rows = _ROWS[table.file](home, copies)
            counted[table.file] = _write(packed, table, rows, names=names)
    return Written(counted)


def _write(packed: Package, table: Table, rows: Iterator[Sequence[Any]], *, names: bool) -> int:
    hidden = set() if names else {"key", "name", "words"}
    count = 0
    with packed.member(table.file) as into:

        class Lines:
            def write(self, text: str) -> None:
                into.write(text.encode())

        out = csv.writer(Lines(), lineterminator="\r\n")
        out.writerow([column.name for column in table.columns])
        for row in rows:
            cells = zip(table.columns, row, strict=True)
            out.writerow(["" if column.name in hidden else _cell(column, value) for column, value in cells])
            count += 1
    return count


def _cell(column: Column, value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(value, date):
        return value.isoformat()
    if column.separator:
        return column.separator.join(value)
    return guarded(value) if isinstance(value, str) else str(value)


def _metadata(home: Home) -> str:
    """What every column holds, by the W3C's model for tabular data and its metadata vocabulary."""
    tables = [
        {
            "url": table.file,
            "dc:description": say(table.says),
            "tableSchema": {
                "columns": [_described(column) for column in table.columns],
                **({"primaryKey": list(table.key)} if table.key else {}),
                # A reference that may be empty is told in words alone: validators differ about keys that are null.
                "foreignKeys": [
                    {"columnReference": column, "reference": {"resource": file, "columnReference": to}}
                    for column, (file, to) in table.refers.items()
                    if column in {c.name for c in table.columns if c.needed}
                ],
            },
        }
        for table in TABLES
    ]
    whole = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": language().code.split("-")[0]}],
        "dc:title": say("Tables of a household"),
        "dc:creator": "Markstead",
        "dc:description": say("Money is in minor units of {currency}.", currency=home.programme.currency),
        "dialect": {"encoding": "utf-8", "delimiter": ",", "header": True, "lineTerminators": ["\r\n", "\n"]},
        "tables": tables,
    }
    return json.dumps(whole, indent=2, ensure_ascii=False) + "\n"


def _described(column: Column) -> dict[str, Any]:
    said: dict[str, Any] = {
        "name": column.name,
        "titles": column.name,
        "dc:description": say(column.says),
        "datatype": column.type,
        "required": column.needed,
    }
    return said | ({"separator": column.separator} if column.separator else {})


# --- rows ---------------------------------------------------------------------------------------------------------

_Copies = Mapping[str, KnownCopy]
_Rows = Iterator[Sequence[Any]]


def _people(home: Home, _: _Copies) -> _Rows:
    for p in home.people.values():
        yield p.id, p.key, p.name, str(p.role), p.year, p.courses


def _workbooks(home: Home, _: _Copies) -> _Rows:
    for b in home.programme.workbooks.values():
        yield (
            *(b.code, b.course, b.title, b.level, b.number, b.pages),
            *(b.practice_questions, b.unit_questions, b.price, b.supplier),
        )


def _copies(_: Home, copies: _Copies) -> _Rows:
    for c in copies.values():
        yield c.id, c.label, c.workbook, c.learner, c.status


def _facts(home: Home, _: _Copies) -> _Rows:
    gone = taken_back(home.id)
    rows = Entry.objects.filter(household=home.id).order_by("seq").values_list("seq", "copy", "body")
    batch: list[tuple[int, str | None, str]] = []
    for row in rows.iterator(chunk_size=_CHUNK):
        batch.append(row)
        if len(batch) == _CHUNK:
            yield from _facts_of(home, batch, gone)
            batch = []
    yield from _facts_of(home, batch, gone)


def _facts_of(home: Home, batch: Sequence[tuple[int, str | None, str]], gone: frozenset[int]) -> _Rows:
    entries = [(seq, copy, read_body(body)) for seq, copy, body in batch]
    digests = {
        seq: getattr(e.fact, "reason", None) or getattr(e.fact, "tracking", None) for seq, _, e in entries
    }
    wanted = [digest for digest in digests.values() if digest]
    texts = dict(Words.objects.filter(household=home.id, digest__in=wanted).values_list("digest", "text"))
    for seq, copy, e in entries:
        values = json.dumps(asdict(e.fact), sort_keys=True, ensure_ascii=False, default=str)
        words = texts.get(digests[seq] or "")
        yield seq, e.act, e.at, e.written, e.by, e.fact.KIND, copy, values, words, seq not in gone


def _results(home: Home, copies: _Copies) -> _Rows:
    for r in results(home, copies):
        yield (
            *(r.copy.id, r.copy.workbook, r.copy.learner, r.kind, r.attempt, r.day),
            *(r.scored, r.right, r.asked, r.needed, r.passed, r.minutes),
        )


def _goals(home: Home, copies: _Copies) -> _Rows:
    for e in entries_of(home.id, GoalSet):
        fact = e.fact
        if isinstance(fact, GoalSet):
            step = str(fact.step) if fact.step else None
            yield e.seq, fact.copy, copies[fact.copy].learner, fact.day, fact.first, fact.last, step


def _hours(home: Home, copies: _Copies) -> _Rows:
    for e in entries_of(home.id, PagesWorked):
        fact = e.fact
        if isinstance(fact, PagesWorked):
            yield e.seq, fact.copy, copies[fact.copy].learner, fact.day, fact.first, fact.last, fact.minutes


def _attendance(home: Home, _: _Copies) -> _Rows:
    for e in entries_of(home.id, AttendanceTaken):
        fact = e.fact
        if isinstance(fact, AttendanceTaken):
            yield e.seq, fact.learner, fact.day, str(fact.presence), fact.minutes


def _orders(home: Home, copies: _Copies) -> _Rows:
    day_of = home.calendar.day_of
    came = {
        e.fact.copy: day_of(e.at)
        for e in entries_of(home.id, CopyReceived)
        if isinstance(e.fact, CopyReceived)
    }
    for e in entries_of(home.id, CopyOrdered):
        fact = e.fact
        if isinstance(fact, CopyOrdered):
            yield (
                *(fact.copy, fact.workbook, copies[fact.copy].learner, fact.supplier, fact.price),
                *(day_of(e.at), fact.expected, came.get(fact.copy)),
            )


_ROWS: Mapping[str, Callable[[Home, _Copies], _Rows]] = {
    "people.csv": _people,
    "workbooks.csv": _workbooks,
    "copies.csv": _copies,
    "facts.csv": _facts,
    "results.csv": _results,
    "goals.csv": _goals,
    "hours.csv": _hours,
    "attendance.csv": _attendance,
    "orders.csv": _orders,
}
if list(_ROWS) != [table.file for table in TABLES]:
    raise TypeError("every table needs its rows")
