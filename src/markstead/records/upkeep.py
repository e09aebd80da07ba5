"""Proving the record, and making its caches anew."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from markstead.errors import DamagedRecordError
from markstead.ledger.serial import ROOT, Entry, link, read_body, words_id
from markstead.records.desk import household_row, row_values, workbook_of
from markstead.records.home import Home, load_home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Entry as EntryRow
from markstead.records.models import Household, Words
from markstead.rules.standing import Fold

_CHUNK = 5000


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
    columns = ("seq", "part", "act", "at", "kind", "copy", "body", "link")
    rows = EntryRow.objects.filter(household=household).order_by("seq").values_list(*columns)
    return rows.iterator(chunk_size=_CHUNK)


def _check_entry(row: tuple[Any, ...], entry: Entry, part: int) -> str | None:
    """Whether the columns say the same as the body."""
    seq, kept_part, act, at, kind, copy, _, _ = row
    said = (entry.seq, part, entry.act, entry.at, entry.fact.KIND, getattr(entry.fact, "copy", None))
    if said == (seq, kept_part, act, at, kind, copy):
        return None
    return f"fact {seq}: its columns and its body do not say the same"


def verify(household: str) -> Verdict:
    """Read the whole record once: places, bodies, columns, chain, caches and words must all agree."""
    row = household_row(household)
    folds: dict[str, Fold] = {}
    links: dict[str, str] = {}
    previous, expected, act, part = ROOT, 0, "", 0
    problem: str | None = None
    for found in _rows(household):
        expected += 1
        seq, kept_link, body = found[0], found[7], found[6]
        if seq != expected:
            problem = f"fact {expected} is missing: the next one on the record is {seq}"
            break
        try:
            entry = read_body(body)
        except DamagedRecordError as error:
            problem = f"fact {seq}: {error}"
            break
        previous = link(previous, body.encode())
        if previous != kept_link:
            problem = f"fact {seq} ({entry.fact.KIND}) was changed: its link in the chain does not hold"
            break
        part = part + 1 if entry.act == act else 0
        act = entry.act
        problem = _check_entry(found, entry, part)
        if problem:
            break
        copy = found[5]
        if copy is not None:
            fold = folds.get(copy)
            if fold is None:
                fold = folds[copy] = Fold(copy)
            fold.take(entry)
            links[copy] = kept_link
    problem = problem or _check_head(row, expected, previous)
    if problem is None:
        problem = _check_copies(load_home(row), folds, links)
    words, wrong = _check_words(household)
    return Verdict(expected, previous, len(folds), words, problem or wrong)


def _check_head(row: Household, seq: int, last: str) -> str | None:
    if (row.head_seq, row.head_link) == (seq, last):
        return None
    if row.head_seq > seq:
        return f"fact {seq + 1} is missing: the record ends at {seq}, its head says {row.head_seq}"
    return f"the head says fact {row.head_seq}, the record ends at {seq}; `rebuild` mends the head"


def _check_copies(home: Home, folds: dict[str, Fold], links: dict[str, str]) -> str | None:
    kept = {row.id: row for row in CopyRow.objects.filter(household=home.id)}
    for copy in sorted(kept.keys() - folds.keys()):
        return f"copy {copy} stands in the cache but not on the record; `rebuild` mends the cache"
    for copy, fold in folds.items():
        row = kept.get(copy)
        values = row_values(home, fold.standing) | {"workbook": workbook_of(fold), "last_link": links[copy]}
        if row is None or any(getattr(row, name) != value for name, value in values.items()):
            seq = fold.standing.last_seq
            return f"copy {copy} stands otherwise in the cache than fact {seq} left it; `rebuild` mends the cache"
    return None


def _check_words(household: str) -> tuple[int, str | None]:
    count = 0
    for digest, salt, text in Words.objects.filter(household=household).values_list("digest", "salt", "text"):
        count += 1
        if words_id(salt, text) != digest:
            return count, f"words {digest[:12]} were changed: they do not have their digest any more"
    return count, None


def rebuild(household: str) -> int:
    """Make the caches anew from the record; return the number of copies.

    Raises:
        DamagedRecordError: the chain itself does not hold; nothing is changed then.
    """
    with transaction.atomic():
        row = household_row(household, lock=True)
        home = load_home(row)
        folds: dict[str, Fold] = {}
        links: dict[str, str] = {}
        previous, seq = ROOT, 0
        for found in _rows(household):
            seq, copy, body = found[0], found[5], found[6]
            entry = read_body(body)
            previous = link(previous, body.encode())
            if previous != found[7]:
                raise DamagedRecordError(
                    f"fact {seq} does not hold in the chain; run `verify` and restore a backup"
                )
            if copy is not None:
                folds.setdefault(copy, Fold(copy)).take(entry)
                links[copy] = previous
        CopyRow.objects.filter(household=row).delete()
        ordinals: dict[str, int] = {}
        rows = []
        for copy, fold in folds.items():
            workbook = workbook_of(fold)
            ordinals[workbook] = ordinals.get(workbook, 0) + 1
            values = row_values(home, fold.standing) | {"workbook": workbook, "last_link": links[copy]}
            rows.append(CopyRow(id=copy, household=row, ordinal=ordinals[workbook], **values))
        CopyRow.objects.bulk_create(rows, batch_size=500)
        Household.objects.filter(id=row.id).update(head_seq=seq, head_link=previous)
    return len(rows)
