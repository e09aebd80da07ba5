"""The archive of a household: everything that belongs to it, in one package that can be read without Markstead.

The same home gives the same bytes, wherever it is kept: an archive that is taken into an empty home and archived again
is the same file. `docs/reference/archive.md` describes the format, `README.txt` in every archive does so in short.
Nobody's way in is part of it: no password, no PIN, no tablet, no address of a calendar feed.
"""

import json
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from django.db import models, transaction

from markstead.errors import DamagedRecordError, InputError, MarksteadError, Problem
from markstead.ledger.serial import ROOT, link, read_body
from markstead.records import samples, upkeep
from markstead.records.desk import household_row
from markstead.records.home import forget
from markstead.records.models import (
    Copy,
    Device,
    Document,
    EarlierYear,
    Enrolment,
    Entry,
    Feed,
    Household,
    Narrative,
    OrderCalls,
    PaperPage,
    PaperSheet,
    Person,
    Pin,
    Plan,
    QuizUnderWay,
    Sample,
    Words,
)
from markstead.records.setup import new_stamp
from markstead.records.whole import Package, opened_package, package
from markstead.speech import later, say

FORMAT = "markstead household archive"
VERSION = 1
HEAD, README, RECORD, DOCUMENTS, CONTENTS = (
    "archive.json",
    "README.txt",
    "record.jsonl",
    "documents.jsonl",
    "contents.csv",
)
WHAT = later("archive")
_BATCH = 500
_LONGEST_LINE = 32_000_000
"""Bytes of a line: a plan of a year for a large home, and no more."""
_LARGEST_SAMPLE = 100_000_000
"""Bytes: what is drawn anew of the largest file that is taken, and no more."""

_README = later(
    """\
This is the archive of a household: everything that Markstead kept of it, in files that need no Markstead to be read.
All text is UTF-8. Files that end in .jsonl hold one JSON object on each line. Dates are YYYY-MM-DD; instants are in UTC.

archive.json      what this is, the version of this format, the household, and where its record ends
record.jsonl      what happened: one fact a line, in the order in which the facts were written
words.jsonl       free words (reasons, tracking numbers) that facts point at by their digest
people.jsonl      who lives or helps here; facts know them by "id"
enrolments.jsonl  which learner takes which course, in the learner's order
documents.jsonl   every version of the files that the home goes by; the files themselves are in documents/
earlier_years.jsonl  in which school year a learner was until when
narratives.jsonl  what was written of a learner's course for a report
samples.jsonl     photographs and scans of work: whose, of which day; the files themselves are in samples/, by their SHA-256
plans.jsonl       plans, with the one in force named in archive.json
quizzes.jsonl     oral quizzes that have begun and are not on the record yet
contents.csv      bytes and SHA-256 of every file above

A line of record.jsonl: "seq" its place, "act" the act that wrote it, "at" when it happened, "written" when it was noted,
"by" the person, "kind" what it is, "fact" its values. Words in it ("reason", "tracking") are the SHA-256 of
salt + newline + text in words.jsonl; where there is no such line, the words were erased.

The facts are chained. Begin with 64 zeros; for each line take the SHA-256 of the link so far, as 64 letters, followed by
the bytes of the line without its newline. After the last line it is "link" in archive.json.

It holds the names and the work of children. Nobody's password, PIN or tablet is in it.
"""
)


@dataclass(frozen=True, slots=True)
class Table:
    """A table of which each row becomes one line."""

    file: str
    model: type[models.Model]
    columns: tuple[str, ...]
    order: tuple[str, ...]
    of_home: str = "household"
    """How its rows are found by the household."""

    @property
    def fields(self) -> tuple[Any, ...]:
        return tuple(self.model._meta.get_field(column) for column in self.columns)


TABLES = (
    Table("people.jsonl", Person, ("id", "key", "name", "role", "year"), ("id",)),
    Table("enrolments.jsonl", Enrolment, ("learner", "course"), ("learner_id", "id"), "learner__household"),
    Table("words.jsonl", Words, ("digest", "salt", "text"), ("digest",)),
    Table(
        "earlier_years.jsonl",
        EarlierYear,
        ("person", "year", "until"),
        ("person", "until", "id"),
        "person__household",
    ),
    Table(
        "narratives.jsonl",
        Narrative,
        ("learner", "course", "first", "last", "text", "saved"),
        ("learner", "course", "first", "last"),
        "learner__household",
    ),
    Table(
        "samples.jsonl",
        Sample,
        (
            *("id", "learner", "copy", "entry", "day", "digest", "kind", "size", "width", "height", "pages"),
            *("words", "kept", "kept_by"),
        ),
        ("id",),
    ),
    Table(
        "plans.jsonl",
        Plan,
        (
            *(
                "number",
                "state",
                "begun",
                "by",
                "first",
                "head_seq",
                "stamp",
                "asks",
                "problem",
                "answer",
                "says",
            ),
            *("stop_asked", "beat", "taken"),
        ),
        ("number",),
    ),
    Table("quizzes.jsonl", QuizUnderWay, ("id", "copy", "stop", "begun", "by", "answers"), ("id",)),
)
"""Tables beside household, record and documents, in the order in which they are written and read."""
LEFT_OUT: Mapping[type[models.Model], str] = {
    Copy: "a cache, made anew from the record",
    OrderCalls: "a cache, made anew with the next order plan",
    Pin: "a way in",
    Device: "a way in",
    Feed: "a way in",
    PaperSheet: "can be printed again; its codes are signed with the key of the folder that it was printed in",
    PaperPage: "waits for a sheet that is not taken along",
}
_HOUSEHOLD = (
    "name",
    "stamp",
    "demo_shift",
    "failed_test_costs",
    "hold_day_costs",
    "plan_in_force",
    "language",
)


@dataclass(frozen=True, slots=True)
class Archived:
    """What is in an archive."""

    household: str
    name: str
    facts: int
    link: str
    people: int
    bytes: int = 0


def _line(value: Any) -> bytes:
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode() + b"\n"


def _plain(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else value


# --- writing ------------------------------------------------------------------------------------------------------


def write_archive(household: str, path: Path, *, replace: bool = False) -> Archived:
    """Write the archive of a household, whole or not at all; memory does not grow with the record.

    Raises:
        UnknownError: no such household.
        InputError: a file is there already, or no such folder.
        MarksteadError: the file could not be written.
        DamagedRecordError: the record does not hold; an archive of it would not either.
    """
    with package(path, say(WHAT), replace=replace) as packed:
        found = _write(packed, household)
    return Archived(*found, path.stat().st_size)


def _write(packed: Package, household: str) -> tuple[str, str, int, str, int]:
    # Everything but the record is read in one short transaction; of the record, which only grows, what was there then.
    with transaction.atomic():
        row = household_row(household)
        tables = {table.file: list(_rows(table, household)) for table in TABLES if table.model is not Plan}
        last_plan = Plan.objects.filter(household=household).order_by("-number").values_list("number").first()
        documents = list(
            Document.objects.filter(household=household)
            .order_by("kind", "version")
            .values_list("kind", "version", "taken")
        )
    packed.put(README, say(_README).encode())
    people = len(tables["people.jsonl"])
    head = {
        "format": FORMAT,
        "version": VERSION,
        "household": {"id": row.id, **{name: getattr(row, name) for name in _HOUSEHOLD}},
        "record": {"facts": row.head_seq, "link": row.head_link},
    }
    packed.put(HEAD, json.dumps(head, indent=2, sort_keys=True, ensure_ascii=False).encode() + b"\n")
    _write_record(packed, row)
    for table in TABLES:
        with packed.member(table.file) as into:
            for kept in tables[table.file] if table.file in tables else _rows(table, household):
                if table.model is not Plan or (last_plan is not None and kept["number"] <= last_plan[0]):
                    into.write(_line(kept))
    _write_documents(packed, household, documents)
    _write_samples(packed, tables["samples.jsonl"])
    rows = "".join(f"{name},{size},{digest}\r\n" for name, size, digest in packed.contents)
    packed.put(CONTENTS, f"file,bytes,sha256\r\n{rows}".encode())
    return row.id, row.name, row.head_seq, row.head_link, people


def _rows(table: Table, household: str) -> Iterator[dict[str, Any]]:
    found = table.model._default_manager.filter(**{table.of_home: household}).order_by(*table.order)
    names = [field.attname for field in table.fields]
    for values in found.values_list(*names).iterator(chunk_size=_BATCH):
        yield dict(zip(table.columns, map(_plain, values), strict=True))


def _write_record(packed: Package, row: Household) -> None:
    previous, seq = ROOT, 0
    bodies = (
        Entry.objects.filter(household=row, seq__lte=row.head_seq)
        .order_by("seq")
        .values_list("body", flat=True)
    )
    with packed.member(RECORD) as into:
        for body in bodies.iterator(chunk_size=_BATCH):
            line = body.encode()
            previous, seq = link(previous, line), seq + 1
            into.write(line + b"\n")
    if (seq, previous) != (row.head_seq, row.head_link):
        raise DamagedRecordError(
            say(
                "The record does not hold, so no archive of it was written. `markstead verify` names "
                "the first bad fact."
            )
        )


def _document_file(kind: str, version: int) -> str:
    return f"documents/{kind}-{version:04d}.{'csv' if kind == 'workbooks' else 'toml'}"


def _write_documents(packed: Package, household: str, documents: Sequence[tuple[str, int, datetime]]) -> None:
    with packed.member(DOCUMENTS) as into:
        for kind, version, taken in documents:
            file = _document_file(kind, version)
            into.write(_line({"file": file, "kind": kind, "taken": _plain(taken), "version": version}))
    for kind, version, _ in documents:
        text = Document.objects.get(household=household, kind=kind, version=version).text
        packed.put(_document_file(kind, version), text.encode())


def _sample_files(rows: Iterable[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
    """The files of samples by their names in the package, each with one of its rows."""
    found = {f"{samples.FOLDER}/{samples.file_name(row['digest'], row['kind'])}": row for row in rows}
    return dict(sorted(found.items()))


def _write_samples(packed: Package, rows: Sequence[Mapping[str, Any]]) -> None:
    for name, row in _sample_files(rows).items():
        path = samples.path_of(row["digest"], row["kind"])
        try:
            content = path.read_bytes()
        except OSError:
            content = b""
        if sha256(content).hexdigest() != row["digest"]:
            raise DamagedRecordError(
                say(
                    "The sample of {day}, {path}, is not in the folder any more as it was kept, so no archive was "
                    "written. Restore it from a backup, or take that sample away.",
                    day=row["day"],
                    path=path,
                )
            )
        packed.put(name, content)


# --- reading ------------------------------------------------------------------------------------------------------


def _wrong(where: str, found: str, allowed: str, do: str = "") -> InputError:
    return InputError([Problem(say("archive, {place}", place=where), found, allowed, do)])


def _line_of(file: str, number: int) -> str:
    return say("{file}, line {number}", file=file, number=number)


def is_archive(path: Path) -> bool:
    """Whether a file looks like an archive of a household."""
    try:
        with zipfile.ZipFile(path) as found:
            return HEAD in found.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


def read_head(path: Path) -> dict[str, Any]:
    """What an archive says of itself.

    Raises:
        InputError: no archive, or one of another version.
    """
    with opened_package(path, say(WHAT)) as found:
        return _head(found)


def _head(found: zipfile.ZipFile) -> dict[str, Any]:
    if HEAD not in found.namelist():
        raise _wrong(
            HEAD, say("no such file in it"), say("an archive as `markstead export archive` writes it")
        )
    try:
        head: dict[str, Any] = json.loads(found.read(HEAD))
        if head["format"] != FORMAT:
            raise _wrong(f"{HEAD}, format", repr(head["format"]), repr(FORMAT))
        version = head["version"]
        if version != VERSION:
            newer = isinstance(version, int) and version > VERSION
            allowed, place = say("version {version}", version=VERSION), f"{HEAD}, version"
            raise _wrong(
                place, repr(version), allowed, say("Take it into a newer Markstead.") if newer else ""
            )
        if not {"id", *_HOUSEHOLD} <= set(head["household"]):
            raise KeyError("household")
        int(head["record"]["facts"]), str(head["record"]["link"])
    except (ValueError, KeyError, TypeError) as error:
        raise _wrong(
            HEAD, say("something that cannot be read ({error})", error=error), say("the head of an archive")
        ) from error
    return head


def check_contents(found: zipfile.ZipFile) -> None:
    """Whether every file in the package is there, whole, and as it was written.

    Raises:
        InputError: every file that is not.
    """
    names = found.namelist()
    if CONTENTS not in names:
        raise _wrong(
            CONTENTS, say("no such file in it"), say("an archive as it was written"), say("Fetch it again.")
        )
    problems, listed = [], set()
    for row in found.read(CONTENTS).decode("utf-8", "replace").split("\r\n")[1:-1]:
        name, _, digest = row.split(",") if row.count(",") == 2 else (row, "", "")
        listed.add(name)
        state = "nothing"
        if name in names:
            hashed = sha256()
            try:
                with found.open(name) as file:
                    while block := file.read(1 << 16):
                        hashed.update(block)
                state = say("other bytes")
            except (zipfile.BadZipFile, EOFError, OSError):
                state = say("bytes that cannot be read")
            if hashed.hexdigest() == digest:
                continue
        problems.append(
            Problem(
                say("archive, {place}", place=name),
                state,
                say("what was written"),
                say("Fetch the archive again."),
            )
        )
    problems += [
        Problem(
            say("archive, {place}", place=name), say("a file that contents.csv does not name"), say("nothing")
        )
        for name in names
        if name not in listed | {CONTENTS}
    ]
    if problems:
        raise InputError(problems)


def take_archive(path: Path, *, dry_run: bool = False) -> Archived:
    """Take the household of an archive into this record, whole or not at all; a dry run tells the same and writes nothing.

    Raises:
        InputError: no archive, a damaged one, one of another version, or a household that is here already.
    """
    with opened_package(path, say(WHAT)) as found:
        head = _head(found)
        check_contents(found)
        files: list[Path] = []
        try:
            with transaction.atomic():
                taken = _take(found, head, files)
                if dry_run:
                    transaction.set_rollback(True)
        except BaseException:
            samples.remove(files)
            raise
    if dry_run:
        samples.remove(files)
    return taken


def _take(found: zipfile.ZipFile, head: Mapping[str, Any], files: list[Path]) -> Archived:
    """Take all of it; the files of samples that were not here yet are told in `files`, also where it fails."""
    said = head["household"]
    if Household.objects.filter(id=said["id"]).exists():
        raise _wrong(
            say("household"),
            say("{household!r}, which is here already", household=said["id"]),
            say("a home without it"),
            say("Name another folder with --home."),
        )
    values = {
        name: said[name] for name in _HOUSEHOLD if name in said or name != "language"
    }  # older ones name none
    try:
        # Under a stamp of its own, so that the home is read anew, whatever is remembered under the one in the archive.
        row = Household(id=said["id"], **values | {"stamp": new_stamp()})
        row.clean_fields(exclude=["demo_shift", "plan_in_force", "head_link"])
        row.save(force_insert=True)
        _take_record(found, row, head["record"])
        people = 0
        for table in TABLES:
            count = _take_table(found, table, row)
            people = count if table.model is Person else people
        _take_documents(found, row)
        _take_samples(found, row, files)
        upkeep.rebuild(row.id)
        verdict = upkeep.verify(row.id)
    except MarksteadError:
        raise
    except Exception as error:  # whatever the database or Django says of values that no archive of ours has
        raise _wrong(
            say("rows"),
            say("something that cannot be taken ({error})", error=error),
            say("rows as they were written"),
        ) from error
    if not verdict.holds:
        raise _wrong(say("record"), str(verdict.problem), say("a record that holds"))
    forget(values["stamp"])
    Household.objects.filter(id=row.id).update(stamp=values["stamp"])
    return Archived(row.id, row.name, verdict.facts, verdict.head, people)


def _lines(found: zipfile.ZipFile, name: str) -> Iterator[tuple[int, bytes]]:
    with found.open(name) as file:
        number = 0
        while line := file.readline(_LONGEST_LINE):
            number += 1
            if not line.endswith(b"\n"):
                raise _wrong(_line_of(name, number), say("a line without an end"), say("whole lines"))
            yield number, line[:-1]


def _take_record(found: zipfile.ZipFile, row: Household, said: Mapping[str, Any]) -> None:
    previous, act, part, seq = ROOT, "", 0, 0
    batch: list[Entry] = []
    for number, line in _lines(found, RECORD):
        try:
            entry = read_body(line)
        except DamagedRecordError as error:
            raise _wrong(_line_of(RECORD, number), str(error), say("a fact")) from error
        seq += 1
        if entry.seq != seq:
            raise _wrong(
                _line_of(RECORD, number),
                say("fact {number}", number=entry.seq),
                say("fact {number}", number=seq),
            )
        previous = link(previous, line)
        part = part + 1 if entry.act == act else 0
        act = entry.act
        batch.append(
            Entry(
                household=row,
                seq=seq,
                act=act,
                part=part,
                at=entry.at,
                kind=entry.fact.KIND,
                copy=getattr(entry.fact, "copy", None),
                body=line.decode(),
                link=previous,
            )
        )
        if len(batch) >= _BATCH:
            Entry.objects.bulk_create(batch)
            batch.clear()
    Entry.objects.bulk_create(batch)
    if (seq, previous) != (said["facts"], said["link"]):
        raise _wrong(
            f"{RECORD}",
            say("{n} facts that end in {link}", n=seq, link=previous[:12]),
            say(
                "{n} facts that end in {link}, as {file} says",
                n=said["facts"],
                link=str(said["link"])[:12],
                file=HEAD,
            ),
        )
    row.head_seq, row.head_link = seq, previous
    row.save(update_fields=["head_seq", "head_link"])


def _take_table(found: zipfile.ZipFile, table: Table, row: Household) -> int:
    fields = table.fields
    batch: list[models.Model] = []
    count = 0
    for number, line in _lines(found, table.file):
        said = json.loads(line)
        if set(said) != set(table.columns):
            allowed = say("exactly {columns}", columns=", ".join(table.columns))
            raise _wrong(_line_of(table.file, number), ", ".join(sorted(said)), allowed)
        values = {
            field.attname: field.to_python(said[name])
            for name, field in zip(table.columns, fields, strict=True)
        }
        if table.of_home == "household":
            values["household_id"] = row.id
        batch.append(table.model(**values))
        count += 1
        if len(batch) >= _BATCH:
            table.model._default_manager.bulk_create(batch)
            batch.clear()
    table.model._default_manager.bulk_create(batch)
    return count


def _take_documents(found: zipfile.ZipFile, row: Household) -> None:
    for _, line in _lines(found, DOCUMENTS):
        said = json.loads(line)
        Document.objects.create(
            household=row,
            kind=said["kind"],
            version=said["version"],
            taken=datetime.fromisoformat(said["taken"]),
            text=found.read(_document_file(said["kind"], said["version"])).decode(),
        )


def _take_samples(found: zipfile.ZipFile, row: Household, files: list[Path]) -> None:
    rows = Sample.objects.filter(household=row)
    if rows.exclude(learner__household=row).exists():
        raise _wrong("samples.jsonl", say("a learner of another household"), say("a learner of this one"))
    for name, said in _sample_files(rows.values("digest", "kind")).items():
        if name not in found.namelist():
            raise _wrong(name, say("no such file in it"), say("the file that samples.jsonl names"))
        with found.open(name) as file:
            content = file.read(_LARGEST_SAMPLE)
        files += samples.put_back(said["digest"], said["kind"], content)


def every_table() -> Iterable[type[models.Model]]:
    """Every table that the archive knows of: written, or left out for a reason."""
    return {Household, Entry, Document, *(table.model for table in TABLES), *LEFT_OUT}
