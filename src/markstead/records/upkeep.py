"""Proving the record, and making its caches anew."""

import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection, transaction
from django.db.models import F, TextField
from django.db.models.functions import Cast

from markstead.errors import DamagedRecordError
from markstead.ledger.facts import FactReversed
from markstead.ledger.serial import ROOT, Entry, link, read_body, words_id
from markstead.measure.marks import MarksFold
from markstead.records.desk import SETTLING, household_row, mark_values, row_values
from markstead.records.home import Home, load_home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Entry as EntryRow
from markstead.records.models import Household, Words
from markstead.rules.standing import LeanFold
from markstead.speech import say

_CHUNK = 1000
_AT_ONCE = 200
"""Copies that are compared with their cache by one question to the database."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What `verify` found."""

    facts: int
    head: str
    copies: int
    words: int
    problem: str | None = None
    """The first thing that does not agree, by the place of the fact; None: the record holds."""

    @property
    def holds(self) -> bool:
        return self.problem is None


def _rows(household: str) -> Iterator[tuple[Any, ...]]:
    """Every fact in its order, as its columns; on SQLite the instant as the text that is stored."""
    at: Any = F("at")
    if connection.vendor == "sqlite":
        at = Cast("at", TextField())  # Django would take as long to read the instants as to read the facts
    rows = EntryRow.objects.filter(household=household).order_by("seq").annotate(kept_at=at)
    columns = ("seq", "part", "act", "kept_at", "kind", "copy", "body", "link")
    return rows.values_list(*columns).iterator(chunk_size=_CHUNK)


def _instant(kept: datetime | str | None) -> datetime | None:
    """An instant as the database gave it; None: it is none."""
    if not isinstance(kept, str):
        return kept
    try:
        return datetime.fromisoformat(f"{kept}+00:00")
    except ValueError:
        return None


def _reversals(household: str) -> dict[str, set[int]]:
    """The facts that were reversed, by copy: known beforehand, no fact need be kept for a later reversal."""
    found: dict[str, set[int]] = {}
    bodies = EntryRow.objects.filter(household=household, kind=FactReversed.KIND).values_list(
        "body", flat=True
    )
    for body in bodies.iterator(chunk_size=_CHUNK):
        try:
            fact = read_body(body).fact
        except DamagedRecordError:
            continue  # it is named when its turn comes
        if isinstance(fact, FactReversed) and fact.copy is not None:
            found.setdefault(fact.copy, set()).add(fact.entry)
    return found


def _check_entry(row: tuple[Any, ...], entry: Entry, part: int) -> str | None:
    """Whether the columns say the same as the body."""
    seq, kept_part, act, at, kind, copy, _, _ = row
    fact = entry.fact
    if (
        entry.seq == seq
        and part == kept_part
        and entry.act == act
        and entry.at == _instant(at)
        and kind == fact.KIND
        and getattr(fact, "copy", None) == copy
    ):
        return None
    return say("fact {seq}: its columns and its body do not say the same", seq=seq)


_TRIES = 5


def verify(household: str) -> Verdict:
    """Read the whole record once: places, bodies, columns, chain, caches and words must all agree.

    Head, facts and caches are read one after the other. Where they do not agree and somebody has written meanwhile, all is
    read again; a record that is written to without a pause may be judged after the last try.
    """
    for _ in range(_TRIES):
        before = household_row(household).head_seq
        verdict = _verify(household)
        if verdict.holds or household_row(household).head_seq == before:
            break
    return verdict


def _verify(household: str) -> Verdict:
    row = household_row(household)
    taken_back = _reversals(household)
    seen: dict[str, set[int]] = {}
    caches = _Caches(load_home(row), taken_back)
    previous, expected, act, part = ROOT, 0, "", 0
    settled = 0
    at_head = ROOT
    problem: str | None = None
    for found in _rows(household):
        expected += 1
        seq, kept_link, body = found[0], found[7], found[6]
        if seq != expected:
            problem = say(
                "fact {seq} is missing: the next one on the record is {following}",
                seq=expected,
                following=seq,
            )
            break
        try:
            entry = read_body(body)
        except DamagedRecordError as error:
            problem = say("fact {seq}: {error}", seq=seq, error=error)
            break
        previous = link(previous, body.encode())
        if seq <= row.head_seq:
            at_head = previous
            settled = seq if type(entry.fact) in SETTLING else settled
        if previous != kept_link:
            problem = say(
                "fact {seq} ({kind}) was changed: its link in the chain does not hold",
                seq=seq,
                kind=say(entry.fact.KIND),
            )
            break
        part = part + 1 if entry.act == act else 0
        act = entry.act
        problem = _check_entry(found, entry, part)
        if problem:
            break
        copy = found[5]
        if copy is not None:
            caches.take(copy, entry, kept_link)
            if isinstance(entry.fact, FactReversed):
                seen.setdefault(copy, set()).add(entry.fact.entry)
    if problem is None and seen != taken_back:
        return _verify(household)  # something was taken back while the record was being read
    problem = problem or _check_head(row, expected, at_head)
    if problem is None and settled != row.settled_seq:
        problem = say(
            "finished workbooks changed last with fact {settled}, the cache says {cached}; "
            "`rebuild` mends it",
            settled=settled,
            cached=row.settled_seq,
        )
    if problem is None:
        problem = caches.problem()
    words, wrong = _check_words(household)
    return Verdict(expected, previous, caches.copies, words, problem or wrong)


def _check_head(row: Household, last: int, at_head: str) -> str | None:
    """Whether the kept head is the end of the record; `at_head` is the link of the fact at its place."""
    if row.head_seq > last:
        return say(
            "fact {seq} is missing: the record ends at {last}, its head says {head}",
            seq=last + 1,
            last=last,
            head=row.head_seq,
        )
    if row.head_link != at_head:
        return say("fact {seq} was changed: the head of the record has another link", seq=row.head_seq)
    if row.head_seq < last:
        return say(
            "the head says fact {head}, the record ends at {last}; `rebuild` mends the head",
            head=row.head_seq,
            last=last,
        )
    return None


class _Reader:
    """Folds the facts of one copy into all that its cache says."""

    def __init__(self, copy: str, reversed_facts: set[int]) -> None:
        self.fold, self.marks = LeanFold(copy, reversed_facts), MarksFold(copy, reversed_facts)

    def take(self, entry: Entry) -> None:
        self.fold.take(entry)
        self.marks.take(entry)

    def values(self, home: Home, ordinal: int, last_link: str) -> dict[str, Any]:
        """Every column of the copy."""
        fixed = {"workbook": self.fold.workbook, "ordinal": ordinal, "last_link": last_link}
        return row_values(home, self.fold.standing) | mark_values(self.marks.marks) | fixed


@dataclass(slots=True)
class _Open:
    """A copy of which facts may follow."""

    reader: _Reader
    first_seq: int
    ordinal: int
    """Copies of a workbook are counted in the order of their first facts."""
    link: str = ""


class _Caches:
    """Compares what facts tell of each copy with its cache while the record is read.

    The cache says with which fact a copy ends. There it is compared and let go, so that a record of many years takes no
    more memory than one; if a fact of it follows after all, the cache was wrong.
    """

    def __init__(self, home: Home, taken_back: Mapping[str, set[int]]) -> None:
        self.home, self.taken_back = home, taken_back
        rows = CopyRow.objects.filter(household=home.id).values_list("id", "last_seq")
        self.ends: dict[str, int] = dict(rows.iterator(chunk_size=_CHUNK))
        self.copies = 0
        self.open: dict[str, _Open] = {}
        self.ended: dict[str, _Open] = {}
        self.first_seqs: dict[str, int] = {}
        """Of copies that were compared already."""
        self.ordinals: dict[str, int] = {}
        self.wrong: tuple[int, str, int] | None = None
        """The wrong copy that came first on the record: its first fact, its id, its last fact."""

    def take(self, copy: str, entry: Entry, kept_link: str) -> None:
        """Take the next fact of the record that is about a copy."""
        known = self.open.get(copy) or self._new(copy, entry)
        if known is None:
            self._is_wrong(self.first_seqs[copy], copy, entry.seq)
            return
        known.reader.take(entry)
        known.link = kept_link
        if known.first_seq == entry.seq:
            workbook = known.reader.fold.workbook
            known.ordinal = self.ordinals[workbook] = self.ordinals.get(workbook, 0) + 1
        if self.ends.get(copy) == entry.seq:
            self.ended[copy] = self.open.pop(copy)
            self.first_seqs[copy] = known.first_seq
            if len(self.ended) >= _AT_ONCE:
                self._compare(self.ended)
                self.ended = {}

    def _new(self, copy: str, entry: Entry) -> _Open | None:
        if copy in self.first_seqs:
            return None
        self.copies += 1
        self.open[copy] = _Open(_Reader(copy, self.taken_back.get(copy, set())), entry.seq, 0)
        return self.open[copy]

    def _compare(self, some: Mapping[str, _Open]) -> None:
        ids = list(some)
        for n in range(0, len(ids), _AT_ONCE):
            part = ids[n : n + _AT_ONCE]
            kept = {row.id: row for row in CopyRow.objects.filter(household=self.home.id, id__in=part)}
            for copy in part:
                known, row = some[copy], kept.get(copy)
                values = known.reader.values(self.home, known.ordinal, known.link)
                if row is None or any(getattr(row, name) != value for name, value in values.items()):
                    self._is_wrong(known.first_seq, copy, known.reader.fold.standing.last_seq)

    def _is_wrong(self, first_seq: int, copy: str, last_seq: int) -> None:
        before = self.wrong
        if before is None or (first_seq, -last_seq) < (before[0], -before[2]):
            self.wrong = (first_seq, copy, last_seq)

    def problem(self) -> str | None:
        """What does not agree, once the whole record was read."""
        for copy in sorted(self.ends.keys() - self.first_seqs.keys() - self.open.keys()):
            return say(
                "copy {copy} stands in the cache but not on the record; `rebuild` mends the cache", copy=copy
            )
        self._compare(self.ended)
        self._compare(self.open)
        if self.wrong is None:
            return None
        _, copy, seq = self.wrong
        return say(
            "copy {copy} stands otherwise in the cache than fact {seq} left it; `rebuild` mends the cache",
            copy=copy,
            seq=seq,
        )


def _check_words(household: str) -> tuple[int, str | None]:
    count = 0
    rows = Words.objects.filter(household=household).values_list("digest", "salt", "text")
    for digest, salt, text in rows.iterator(chunk_size=_CHUNK):
        count += 1
        if words_id(salt, text) != digest:
            return count, say(
                "words {digest} were changed: they do not have their digest any more", digest=digest[:12]
            )
    return count, None


def rebuild(household: str) -> int:
    """Make the caches anew from the record; return the number of copies.

    Raises:
        DamagedRecordError: the chain itself does not hold; nothing is changed then.
    """
    with transaction.atomic():
        row = household_row(household, lock=True)
        home = load_home(row)
        taken_back = _reversals(household)
        folds: dict[str, _Reader] = {}
        links: dict[str, str] = {}
        previous = at_head = ROOT
        seq = settled = 0
        for found in _rows(household):
            seq, copy, body = found[0], found[5], found[6]
            entry = read_body(body)
            settled = seq if type(entry.fact) in SETTLING else settled
            previous = link(previous, body.encode())
            if previous != found[7]:
                raise DamagedRecordError(
                    say("fact {seq} does not hold in the chain; run `verify` and restore a backup", seq=seq)
                )
            if seq <= row.head_seq:
                at_head = previous
            if copy is not None:
                fold = folds.get(copy)
                if fold is None:
                    fold = folds[copy] = _Reader(copy, taken_back.get(copy, set()))
                fold.take(entry)
                links[copy] = previous
        # A head that the record does not pass through tells of facts that were removed or changed: to take the
        # record's end for it would hide that for ever.
        if row.head_seq > seq or row.head_link != at_head:
            problem = _check_head(row, seq, at_head)
            raise DamagedRecordError(say("{problem}; restore a backup", problem=problem))
        CopyRow.objects.filter(household=row).delete()
        ordinals: dict[str, int] = {}
        rows = []
        for copy, fold in folds.items():  # counted in the order of their first facts
            workbook = fold.fold.workbook
            ordinals[workbook] = ordinals.get(workbook, 0) + 1
            values = fold.values(home, ordinals[workbook], links[copy])
            rows.append(CopyRow(id=copy, household=row, **values))
        CopyRow.objects.bulk_create(rows, batch_size=500)
        # A new stamp: whoever remembers what the old caches said must read the new ones.
        Household.objects.filter(id=row.id).update(
            head_seq=seq, head_link=previous, settled_seq=settled, stamp=uuid.uuid4().hex
        )
    return len(rows)
