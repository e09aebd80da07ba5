"""Erasure: what is personal about somebody is deleted for good, and the chain of facts still holds.

Facts hold ids and stay. Everything else that says who the id is, or says something in words, goes: name, key, way in,
words, plans, absences, and the leavings of all these in the file of the database. What cannot go is named.
"""

import json
import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from axes.models import AccessAttempt, AccessFailureLog, AccessLog  # type: ignore[import-untyped]
from django.contrib.auth.models import User
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.db import connection, models, transaction
from django.db.models import Q

from markstead.errors import InputError, MarksteadError, Problem
from markstead.ledger.facts import AnyFact
from markstead.ledger.serial import read_body
from markstead.records import backups, paper_key, people, samples, triggers
from markstead.records.desk import household_row
from markstead.records.first_evening import DRAFT
from markstead.records.home import ERASED, Home, Somebody, load_home
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
from markstead.records.place import home_folder
from markstead.records.setup import new_stamp
from markstead.records.whole import written_whole
from markstead.rules.ruling import Role
from markstead.speech import language, later, say, spoken

NOBODY = later("Somebody erased")
NO_HOME = later("An erased home")
LOG = "markstead.log"
STRUCK = later("somebody")
"""What stands where a name stood in words that stay."""
_TABLES_OF_DJANGO = (Session, AccessAttempt, AccessFailureLog, AccessLog, User)

COVERED: Mapping[type[models.Model], str] = {
    Household: "its name is struck where it holds the name",
    Document: "absences and wishes of the person go, names in the calendar are struck",
    Person: "name, key, school year and account go; the row keeps its id alone",
    Enrolment: "go",
    Words: "all of the person's copies, and all that hold the name, go",
    Entry: "stay: they hold ids alone",
    Copy: "stay: a cache of the facts",
    QuizUnderWay: "of the person's copies go",
    Plan: "all that speak of the person go",
    OrderCalls: "go; the next order plan makes them anew",
    Pin: "go",
    Device: "names of tablets that hold the name are struck",
    Feed: "calendars of the person alone go, names of calendars are struck",
    Narrative: "of the person go; in those of others the name is struck",
    EarlierYear: "of the person go",
    Sample: "of the person go, with their files; in words about others' the name is struck",
    PaperSheet: "all that speak of the person go, those of several learners, too",
    PaperPage: "of these sheets go, with the pictures; names of other pictures are struck",
}
"""Every table of the record, and what becomes of it: a new one must be given its line here and its code below."""


@dataclass(frozen=True, slots=True)
class Erased:
    """What an erasure did, and what it could not do."""

    gone: Mapping[str, int]
    """How much went, in words."""
    remains: tuple[str, ...]
    """Where the name still stands, in words: in what is no personal data, or cannot be changed."""
    swept: bool
    """The file of the database was written anew, so that no leavings are in it."""
    backups: tuple[str, ...]
    """Backups that were made before and still hold it."""


@dataclass(frozen=True, slots=True)
class Preview:
    """What an erasure would do."""

    who: str
    """What has to be typed to confirm it."""
    will: tuple[str, ...]
    backups: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Whom:
    """Whom an erasure is about, and the words by which they are found."""

    ids: frozenset[str]
    keys: frozenset[str]
    names: tuple[str, ...]
    """Names and given names; the longest first, so that none leaves its rest."""
    everything: bool = False
    """The whole household."""

    @property
    def pattern(self) -> re.Pattern[str]:
        words = sorted({*self.names, *self.keys}, key=len, reverse=True)
        return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, words))})(?!\w)", re.IGNORECASE)

    def in_text(self, text: str | None) -> bool:
        return bool(text) and self.pattern.search(str(text)) is not None

    def struck(self, text: str) -> str:
        return self.pattern.sub(lambda _: say(STRUCK), text)

    def meant(self, text: str) -> bool:
        """Whether a text of a program speaks of one of them, by id, key or name."""
        return any(one in text for one in self.ids) or self.in_text(text)


def _whom(home: Home, chosen: Sequence[Somebody], *, everything: bool = False) -> _Whom:
    others = {
        p.name.split()[0].casefold() for p in home.people.values() if p not in chosen and p.name.split()
    }
    names: list[str] = []
    for one in chosen:
        words = one.name.split()
        names.append(one.name)
        if words and words[0].casefold() not in others and len(words[0]) > 1:
            names.append(words[0])
    if everything:
        names.append(home.name)
    return _Whom(
        frozenset(p.id for p in chosen),
        frozenset(p.key for p in chosen),
        tuple(sorted(dict.fromkeys(names), key=len, reverse=True)),
        everything,
    )


# --- before ---------------------------------------------------------------------------------------------------------


def preview(home: Home, person: str | None) -> Preview:
    """What erasing somebody, or with None the whole household, would do.

    Raises:
        UnknownError: nobody of this home has that id or key.
        InputError: somebody who was erased already, or the only educator.
    """
    kept = tuple(b.file for b in backups.state().kept if b.whole)
    if person is None:
        return Preview(
            home.name,
            (
                say(
                    "Every name, key, school year, account, PIN and tablet of this home goes, and nobody "
                    "can sign in any more."
                ),
                say(
                    "All words go: reasons, tracking numbers, plans, absences, wishes and what was "
                    "written for reports."
                ),
                say("All samples of work go, printed sheets, and photographs of sheets that wait."),
                say("The facts stay, by ids and numbers alone, and still prove each other."),
            ),
            kept,
        )
    one = _chosen(home, person)
    lines = [
        say("The name, key, school year, courses and PIN go.")
        if one.year is not None
        else say("The name, key and way in go.")
    ]
    if one.role is Role.LEARNER:
        held = people.in_hand(home, one.id)
        if held:
            lines.append(
                say(
                    "Copies in hand are written off: {titles}.", titles=", ".join(copy.title for copy in held)
                )
            )
    lines += [
        say(
            "Words written about their workbooks go (reasons), and all other words in which the name stands."
        ),
        say("What was written of them for reports goes, and the samples of their work with their files."),
        say(
            "Printed sheets that speak of them go, those of several learners, too, with "
            "photographs that wait: print them again."
        ),
        say("Plans that speak of them go; the plan in force is made anew."),
        say("Their absences and wishes go from the calendar and the wishes, in every version."),
        say(
            "What happened stays on the record, by an id that nobody can read a name from, and "
            "the record still verifies."
        ),
    ]
    return Preview(one.name, tuple(lines), kept)


def _chosen(home: Home, person: str) -> Somebody:
    one = home.person(person)
    if one.erased:
        raise InputError(
            [
                Problem(
                    say("who is erased"),
                    say("somebody who was erased already"),
                    say("somebody who still has a name"),
                )
            ]
        )
    if [p for p in home.people.values() if p.role is Role.EDUCATOR] == [one]:
        do = say("Add a second educator first, or erase the whole household.")
        raise InputError(
            [
                Problem(
                    say("who is erased"),
                    say("{name}, the only educator", name=one.name),
                    say("somebody else"),
                    do,
                )
            ]
        )
    return one


def check_confirmed(wanted: str, typed: str) -> None:
    """Whether the name was typed as it stands.

    Raises:
        InputError: it was not.
    """
    if " ".join(typed.split()) != " ".join(wanted.split()):
        found = repr(typed[:40]) if typed.strip() else say("nothing")
        raise InputError(
            [Problem(say("confirmation"), found, say("{name!r}, typed as it stands here", name=wanted))]
        )


# --- erasing --------------------------------------------------------------------------------------------------------


def _who(somebody: Somebody) -> str:
    return f"{somebody.name}, {say(str(somebody.role))}"


def erase_person(household: str, *, person: str, by: str, at: datetime) -> Erased:
    """Erase what is personal about one of the home; whoever is still here leaves first.

    Raises:
        UnknownError: nobody has that id or key.
        InputError: oneself, the only educator, a learner whose unit test waits to be marked, or somebody erased before.
    """
    home = load_home(household_row(household))
    one = _chosen(home, person)
    if home.person(by).role is not Role.EDUCATOR:
        raise InputError([Problem(say("erasure"), _who(home.person(by)), say("an educator"))])
    if one.id == home.person(by).id:
        raise InputError([Problem(say("who is erased"), say("yourself"), say("another: let them erase you"))])
    with transaction.atomic():
        if one.role is not Role.LEFT:
            people.let_go(household, person=one.id, by=by, at=at)
        row = household_row(household, lock=True)
        now_home = load_home(row)
        whom = _whom(now_home, [now_home.person(one.id)])
        gone, files = _erase(household, whom)
    return _finish(whom, gone, files)


def erase_household(household: str, *, by: str) -> Erased:
    """Erase what is personal about everybody of a home, and the home itself; only facts by ids stay.

    Raises:
        InputError: somebody asks for it who is no educator.
    """
    home = load_home(household_row(household))
    if home.person(by).role is not Role.EDUCATOR:
        raise InputError([Problem(say("erasure"), _who(home.person(by)), say("an educator"))])
    with transaction.atomic():
        household_row(household, lock=True)
        everybody = [p for p in home.people.values() if not p.erased]
        whom = _whom(home, everybody, everything=True)
        gone, files = _erase(household, whom)
    return _finish(whom, gone, files)


@dataclass(frozen=True, slots=True)
class _Files:
    """Files whose rows went; they go after the transaction, where no row is left that names them."""

    samples: tuple[tuple[str, str], ...]
    """By digest and kind."""
    pictures: tuple[str, ...]


def _erase(household: str, whom: _Whom) -> tuple[dict[str, int], _Files]:
    """All that the database holds, in the transaction of the caller."""
    row = household_row(household, lock=True)
    gone = {
        later("texts"): _words(row, whom),
        later("plans"): _plans(row, whom),
        later("versions of calendar and wishes"): _documents(row, whom),
        later("accounts"): _accounts(whom),
        later("texts for reports"): _narratives(row, whom),
    }
    EarlierYear.objects.filter(person__in=whom.ids).delete()
    files = _Files(_samples(row, whom), _sheets(row, whom))
    gone |= {later("samples"): len(files.samples), later("photographs that waited"): len(files.pictures)}
    copies = Copy.objects.filter(household=row, learner__in=whom.ids).values_list("id", flat=True)
    of_them = Q() if whom.everything else Q(copy__in=list(copies)) | Q(by__in=whom.ids)
    QuizUnderWay.objects.filter(of_them, household=row).delete()
    OrderCalls.objects.filter(household=row).delete()
    devices = Device.objects.filter(household=row)
    if whom.everything:
        devices.delete()
    for device in devices:
        if whom.in_text(device.name):
            Device.objects.filter(id=device.id).update(name=_left(row, later("Tablet")))
    calendars = Feed.objects.filter(household=row)
    (calendars if whom.everything else calendars.filter(learner__in=whom.ids)).delete()
    for calendar in calendars:
        if whom.in_text(calendar.name):
            Feed.objects.filter(id=calendar.id).update(name=_left(row, later("Calendar")))
    Enrolment.objects.filter(learner__in=whom.ids).delete()
    Pin.objects.filter(person__in=whom.ids).delete()
    taken = set(Person.objects.filter(household=row).values_list("key", flat=True))
    for one in sorted(whom.ids):
        number = next(n for n in range(1, len(taken) + 2) if f"{ERASED}{n}" not in taken)
        taken.add(f"{ERASED}{number}")
        Person.objects.filter(id=one).update(
            key=f"{ERASED}{number}", name=_left(row, NOBODY), role=str(Role.LEFT), year=None, user=None
        )
    gone[later("people")] = len(whom.ids)
    if whom.everything:
        row.name = _left(row, NO_HOME)
    elif whom.in_text(row.name):
        row.name = whom.struck(row.name)
    Household.objects.filter(id=row.id).update(
        name=row.name, stamp=new_stamp(), plan_in_force=_plan_left(row)
    )
    return gone, files


def _left(row: Household, name: str) -> str:
    """A name that stays in the place of an erased one: in the language of the home, whoever erases."""
    with spoken(row.language or language().code):
        return say(name)


def _narratives(row: Household, whom: _Whom) -> int:
    every = Narrative.objects.filter(learner__household=row)
    count = (every if whom.everything else every.filter(learner__in=whom.ids)).delete()[0]
    for one in every.exclude(learner__in=whom.ids):
        if whom.in_text(one.text):
            every.filter(id=one.id).update(text=whom.struck(one.text))
    return count


def _samples(row: Household, whom: _Whom) -> tuple[tuple[str, str], ...]:
    every = Sample.objects.filter(household=row)
    own = every if whom.everything else every.filter(learner__in=whom.ids)
    files = tuple(own.values_list("digest", "kind"))
    own.delete()
    for one in every:
        if whom.in_text(one.words):
            every.filter(id=one.id).update(words=whom.struck(one.words))
    return files


def _sheets(row: Household, whom: _Whom) -> tuple[str, ...]:
    """Sheets with everything read of them; the pictures that waited."""
    every = PaperSheet.objects.filter(household=row)
    gone = [
        one.id
        for one in every.iterator(chunk_size=50)
        if whom.everything or one.learner in whom.ids or whom.meant(one.layout)
    ]
    pictures: set[str] = set()
    for some in _some(gone):
        pictures |= set(PaperPage.objects.filter(sheet__in=some).values_list("picture", flat=True))
        every.filter(id__in=some).delete()
    pages = PaperPage.objects.filter(sheet__household=row)
    for number, name in pages.values_list("id", "name"):
        if whom.in_text(name):
            pages.filter(id=number).update(name=whom.struck(name))
    # A picture that shows their sheet beside another's goes, too; what was read of the other waits without it.
    return tuple(sorted(pictures))


def _words(row: Household, whom: _Whom) -> int:
    """Words about the workbooks of the person, and words in which the name stands."""
    if whom.everything:
        return Words.objects.filter(household=row).delete()[0]
    copies = list(Copy.objects.filter(household=row, learner__in=whom.ids).values_list("id", flat=True))
    digests = set()
    bodies = Entry.objects.filter(household=row, copy__in=copies).values_list("body", flat=True)
    for body in bodies.iterator(chunk_size=2000):
        digests |= set(_digests(read_body(body).fact))
    for digest, text in Words.objects.filter(household=row).values_list("digest", "text").iterator():
        if whom.in_text(text):
            digests.add(digest)
    return sum(
        Words.objects.filter(household=row, digest__in=some).delete()[0] for some in _some(sorted(digests))
    )


def _digests(fact: AnyFact) -> Iterator[str]:
    for name in ("reason", "tracking"):
        digest = getattr(fact, name, None)
        if digest:
            yield digest


def _some(every: Sequence[str], most: int = 400) -> Iterator[Sequence[str]]:
    for n in range(0, len(every), most):
        yield every[n : n + most]


def _plans(row: Household, whom: _Whom) -> int:
    count = 0
    for plan in Plan.objects.filter(household=row).iterator(chunk_size=5):
        if whom.everything or any(
            whom.meant(t) for t in (plan.asks, plan.problem, plan.answer, plan.says, plan.by)
        ):
            plan.delete()
            count += 1
    return count


def _plan_left(row: Household) -> int | None:
    """The number of the plan in force, where it is still there."""
    there = Plan.objects.filter(household=row, number=row.plan_in_force).exists()
    return row.plan_in_force if there else None


def _documents(row: Household, whom: _Whom) -> int:
    """Take the person out of every version of calendar and wishes. Nothing of these is in the chain.

    The guard of the database is lifted from documents for the length of this transaction, and from nothing else.
    """
    changed = {
        (kind, version): text
        for kind, version, before in Document.objects.filter(household=row, kind__in=_REWRITE).values_list(
            "kind", "version", "text"
        )
        if (text := _rewritten(kind, before, whom)) != before
    }
    if changed:
        table = Document._meta.db_table
        triggers.drop(connection, [table])
        for (kind, version), text in changed.items():
            Document.objects.filter(household=row, kind=kind, version=version).update(text=text)
        triggers.create(connection, [table])
    return len(changed)


def _rewritten(kind: str, text: str, whom: _Whom) -> str:
    if not (whom.everything or whom.in_text(text)):
        return text
    try:
        return _REWRITE[kind](text, whom)
    except MarksteadError:
        return whom.struck(text)  # a version that this Markstead cannot read: its words at least


def _calendar(text: str, whom: _Whom) -> str:
    from markstead.calendar.load import read_calendar, write_calendar

    kept = read_calendar(text)
    return write_calendar(
        replace(
            kept,
            terms=tuple(replace(term, name=whom.struck(term.name)) for term in kept.terms),
            holidays_off=tuple(replace(span, name=whom.struck(span.name)) for span in kept.holidays_off),
            absences=tuple(
                replace(a, why=whom.struck(a.why)) for a in kept.absences if a.learner not in whom.keys
            ),
            educator_away=tuple(a for a in kept.educator_away if a.educator not in whom.keys),
        )
    )


def _wishes(text: str, whom: _Whom) -> str:
    from markstead.plan.load import read_wishes, write_wishes

    kept = read_wishes(text)
    return write_wishes(
        replace(
            kept,
            learners=tuple(w for w in kept.learners if w.learner not in whom.keys),
            courses=tuple(w for w in kept.courses if w.learner not in whom.keys),
            targets=tuple(w for w in kept.targets if w.learner not in whom.keys),
        )
    )


_REWRITE: Mapping[str, Callable[[str, _Whom], str]] = {"calendar": _calendar, "plan": _wishes}


def _accounts(whom: _Whom) -> int:
    """Accounts, what is kept of tries to sign in, and sessions."""
    users = list(User.objects.filter(person__id__in=whom.ids))
    names = {*(user.username for user in users), *whom.keys, *whom.names}
    for table in (AccessAttempt, AccessFailureLog, AccessLog):
        for found in table.objects.all():
            if found.username in names or whom.in_text(found.username):
                found.delete()
    gone = {str(user.pk) for user in users}
    for session in Session.objects.all().iterator():
        said = session.get_decoded()
        text = json.dumps(said, ensure_ascii=False)
        if said.get("_auth_user_id") in gone:
            session.delete()
        elif whom.meant(text):
            session.session_data = SessionStore().encode(json.loads(whom.struck(text)))
            session.save(update_fields=["session_data"])
    for user in users:
        user.delete()
    return len(users)


# --- afterwards -------------------------------------------------------------------------------------------------------


def _finish(whom: _Whom, gone: Mapping[str, int], files: _Files) -> Erased:
    """What lies outside the transaction: files, the log, the draft, the leavings; then look for what remains."""
    samples.drop_unused(files.samples)
    for name in files.pictures:
        with suppress(OSError):
            paper_key.remove_picture(name)
    file = backups.database()
    if file is not None:
        _files(file.parent, whom)
    swept = sweep()
    kept = tuple(b.file for b in backups.state().kept if b.whole)
    return Erased(gone, (*remains(whom.pattern), *_files_left(files)), swept, kept)


def _files_left(files: _Files) -> Iterator[str]:
    """Files that the disk did not let go."""
    for digest, kind in files.samples:
        path = samples.path_of(digest, kind)
        if path.exists() and not Sample.objects.filter(digest=digest).exists():
            yield say("file {path}", path=path)
    yield from (
        say("file {file} of the waiting photographs", file=name)
        for name in files.pictures
        if paper_key.picture(name)
    )


def _files(home: Path, whom: _Whom) -> None:
    (home / DRAFT).unlink(missing_ok=True)
    log = home / LOG
    with suppress(FileNotFoundError):
        text = log.read_text(encoding="utf-8", errors="replace")
        if whom.in_text(text):
            with written_whole(log, say("log"), replace=True) as into:
                into.write(whom.struck(text).encode())


def sweep() -> bool:
    """Write the file of the database anew without its leavings: deleted rows, free pages, the log of writes.

    False where somebody is in the middle of a transaction, or where the database is not SQLite's and was asked in vain.
    """
    if connection.in_atomic_block:
        return False
    file = backups.database()
    if (
        file is not None and file.parent == home_folder()
    ):  # beside another database these files may be named there
        with suppress(OSError):
            samples.sweep()
    if file is None:
        with connection.cursor() as cursor:
            for table in _tables():
                cursor.execute(f'VACUUM FULL "{table}"')
        return True
    connection.close()
    try:
        with closing(sqlite3.connect(file, timeout=20, isolation_level=None)) as raw:
            raw.execute("PRAGMA secure_delete=ON")
            raw.execute("VACUUM")
            (busy, *_) = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    except sqlite3.OperationalError as error:
        if "full" in str(error) or "disk" in str(error):
            raise MarksteadError(
                say(
                    "Everything is erased from the tables, but the file could not be written anew "
                    "({error}). Make room on the disk and run `markstead erase --sweep`.",
                    error=error,
                )
            ) from error
        return False
    return not busy


def _tables() -> Iterable[str]:
    return [model._meta.db_table for model in (*COVERED, *_TABLES_OF_DJANGO)]


def remains(pattern: re.Pattern[str]) -> Iterator[str]:
    """Every cell of the whole database in which a name still stands, in words."""
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            columns = [c.name for c in connection.introspection.get_table_description(cursor, table)]
            names = ", ".join(f'"{name}"' for name in columns)
            cursor.execute(f'SELECT {names} FROM "{table}"')  # noqa: S608  # names of our own tables
            while rows := cursor.fetchmany(500):
                yield from (_where(table, columns, row) for row in rows if _found(pattern, row))


def _found(pattern: re.Pattern[str], row: Sequence[Any]) -> bool:
    return any(isinstance(cell, str) and pattern.search(cell) for cell in row)


def _where(table: str, columns: Sequence[str], row: Sequence[Any]) -> str:
    said = dict(zip(columns, row, strict=True))
    if table == Entry._meta.db_table:
        return say("fact {number} of the record: a code in it, which the chain holds", number=said["seq"])
    if table == Document._meta.db_table:
        return say(
            "version {number} of the home's {kind} file, which is the programme's",
            number=said["version"],
            kind=said["kind"],
        )
    return say("table {table}", table=table)
