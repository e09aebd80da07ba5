"""A home and its record as they were at the end of a past day: facts and files that were there then, and nothing newer.

What was written down later is left out, whatever day it is about, so that a paper of a past day comes out the same again.
Names are those of now: they are kept apart, and may have been mended or erased.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Q

from markstead.ledger.facts import (
    AttendanceTaken,
    CopyIssued,
    FactReversed,
    Presence,
)
from markstead.ledger.serial import Entry, read_body
from markstead.records.home import Home, Somebody, read_home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Document, EarlierYear
from markstead.records.models import Entry as EntryRow
from markstead.rules.ruling import Role
from markstead.rules.standing import CopyStatus

MIDNIGHT = time()


@dataclass(frozen=True, slots=True)
class Past:
    """A home as it was at the end of a day."""

    home: Home
    day: date
    end: datetime
    """The first instant that is left out."""

    def learner(self, id_or_key: str) -> Somebody:
        """A learner of now or of once, in the school year they were in then.

        Raises:
            UnknownError, InputError: as `Home.learner`.
        """
        found = self.home.person(id_or_key)
        if found.role is not Role.LEFT or found.year is None:
            found = self.home.learner(id_or_key)
        earlier = EarlierYear.objects.filter(person=found.id, until__gte=self.end).order_by("until", "id")
        row = earlier.first()
        return replace(found, year=row.year) if row is not None else found


def past_of(home: Home, day: date) -> Past:
    """The home at the end of a day on its own clock; its files in the versions of then."""
    end = home.calendar.instant_of(day + timedelta(days=1), MIDNIGHT)
    texts: dict[str, str] = {}
    newest: dict[str, int] = {}
    for row in Document.objects.filter(household=home.id).order_by("version"):
        newest[row.kind] = row.version
        if (
            row.taken < end or row.kind not in texts
        ):  # before its first version a home went by none: take the first
            texts[row.kind] = row.text
            newest[row.kind] = -row.version
    if all(version < 0 for version in newest.values()):
        return Past(home, day, end)
    return Past(read_home(home, texts), day, end)


def text_then(household: str, kind: str, end: datetime) -> str | None:
    """The text of a home's file as it was before an instant; None: there was none."""
    rows = Document.objects.filter(household=household, kind=kind, taken__lt=end).order_by("-version")
    return rows.values_list("text", flat=True).first()


def _kept(bodies: Iterable[str], end: datetime) -> tuple[Entry, ...]:
    entries = (read_body(body) for body in bodies)
    return tuple(entry for entry in entries if entry.written < end)


def _bodies(rows: Any) -> Iterable[str]:
    return rows.order_by("seq").values_list("body", flat=True).iterator(chunk_size=2000)  # type: ignore[no-any-return]


def entries_of(
    past: Past,
    learner: str,
    *,
    since: date | None = None,
    courses: Collection[str] = (),
    kinds: Sequence[str] = (),
) -> tuple[Entry, ...]:
    """The facts of every copy that a learner was ever given, and of attendance, in the order of the record.

    `since`: courses that were over before this day may be left out whole: nothing was written of any of their copies from
    then on, and none is in hand. `courses` stay whatever is so. `kinds`: facts of other kinds are left out, but for those that
    tell whose a copy was, and what was taken back.
    """
    rows = EntryRow.objects.filter(household=past.home.id, at__lt=past.end)
    # A fact names people by ids of their own; a text that holds one is looked at closely afterwards.
    given = {
        str(entry.fact.copy)
        for entry in _kept(_bodies(rows.filter(kind=CopyIssued.KIND, body__contains=learner)), past.end)
        if isinstance(entry.fact, CopyIssued) and entry.fact.learner == learner
    }
    if since is not None:
        given = _going_on(past, given, since, courses)
    days = Q(copy=None, kind__in=[AttendanceTaken.KIND, FactReversed.KIND])
    of_copies = Q(kind__in=[*kinds, CopyIssued.KIND, FactReversed.KIND]) if kinds else Q()
    wanted = Q(copy__in=given) & of_copies | days if len(given) <= _MOST else days
    found = list(_kept(_bodies(rows.filter(wanted)), past.end))
    if len(given) > _MOST:
        for some in _parts(sorted(given)):
            found += _kept(_bodies(rows.filter(of_copies, copy__in=some)), past.end)
        found.sort(key=lambda entry: entry.seq)
    return _of_learner(found, learner)


def absent_on(home: Home, day: date) -> frozenset[str]:
    """Ids of the learners of whom the latest attendance taken for a day says that they are absent."""
    since = home.calendar.instant_of(day - timedelta(days=7), MIDNIGHT)
    rows = EntryRow.objects.filter(household=home.id, copy=None, at__gte=since)
    kinds = [AttendanceTaken.KIND, FactReversed.KIND]
    entries = [read_body(body) for body in _bodies(rows.filter(kind__in=kinds))]
    gone = {e.fact.entry for e in entries if isinstance(e.fact, FactReversed)}
    latest = {
        e.fact.learner: e.fact.presence
        for e in entries
        if isinstance(e.fact, AttendanceTaken) and e.fact.day == day and e.seq not in gone
    }
    return frozenset(learner for learner, presence in latest.items() if presence is Presence.ABSENT)


def _going_on(past: Past, given: set[str], since: date, courses: Collection[str]) -> set[str]:
    """Those copies whose course goes on: something was written of one of its copies, or one is in hand."""
    books, going = past.home.programme.workbooks, set[str]()
    # What was written after the past day counts too: until then such a copy may have been in hand.
    later = EntryRow.objects.filter(
        household=past.home.id, at__gte=past.home.calendar.instant_of(since, MIDNIGHT)
    )
    of_course: dict[str, set[str]] = {}
    for some in _parts(sorted(given)):
        going |= set(later.filter(copy__in=some).values_list("copy", flat=True))
        for copy, code, status in CopyRow.objects.filter(id__in=some).values_list("id", "workbook", "status"):
            of_course.setdefault(books[code].course if code in books else "", set()).add(copy)
            if status == CopyStatus.ISSUED:
                going.add(copy)
    kept = (copies for course, copies in of_course.items() if copies & going or course in courses)
    return set[str]().union(*kept)


_MOST = 500
"""Copies that one question to the database names."""


def _parts(copies: Sequence[str]) -> Iterable[Sequence[str]]:
    return (copies[n : n + _MOST] for n in range(0, len(copies), _MOST))


def _of_learner(entries: Sequence[Entry], learner: str) -> tuple[Entry, ...]:
    """Leave out copies while they were not the learner's, by the order of the record: another had them then."""
    gone = {e.fact.entry for e in entries if isinstance(e.fact, FactReversed)}
    holder: dict[str, str] = {}
    for entry in entries:
        if isinstance(entry.fact, CopyIssued) and entry.seq not in gone:
            holder[entry.fact.copy] = entry.fact.learner
    return tuple(
        entry
        for entry in entries
        if (copy := getattr(entry.fact, "copy", None)) is None or holder.get(copy) == learner
    )


def facts_of_kinds(past: Past, kinds: Sequence[str]) -> tuple[Entry, ...]:
    """All facts of some kinds, but those that were reversed."""
    rows = EntryRow.objects.filter(household=past.home.id, at__lt=past.end)
    found = _kept(_bodies(rows.filter(kind__in=[*kinds, FactReversed.KIND])), past.end)
    gone = {e.fact.entry for e in found if isinstance(e.fact, FactReversed)}
    return tuple(e for e in found if e.seq not in gone and not isinstance(e.fact, FactReversed))


def entries_of_copies(
    past: Past, copies: Iterable[str], kinds: Sequence[str]
) -> dict[str, tuple[Entry, ...]]:
    """The facts of some kinds of these copies, by copy."""
    found: dict[str, list[Entry]] = {}
    for some in _parts(sorted(set(copies))):
        rows = EntryRow.objects.filter(household=past.home.id, copy__in=some, kind__in=kinds, at__lt=past.end)
        for entry in _kept(_bodies(rows), past.end):
            found.setdefault(str(getattr(entry.fact, "copy", "")), []).append(entry)
    return {copy: tuple(entries) for copy, entries in found.items()}
