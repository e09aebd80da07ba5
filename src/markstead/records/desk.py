"""The desk: where proposed facts are ruled on and written, all in one transaction.

A writer takes these steps, and a racing writer is met at two of them:
1. lock the household's row (PostgreSQL; SQLite holds its one write lock since BEGIN IMMEDIATE);
2. read the head of the chain, and only then the facts that the ruling rests on;
3. rule; a refusal writes nothing;
4. append with the next place in the chain, which is unique: should anybody have come between in spite of the
   lock, the database refuses, and the whole act is tried again on the newer record.
"""

import secrets
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypeVar

from django.db import IntegrityError, OperationalError, transaction

from markstead.errors import Problem, StaleError, UnknownError
from markstead.ledger.facts import (
    AnyFact,
    CopyIssued,
    CopySpoiled,
    FactReversed,
    GateOverridden,
    SpotCheckHeld,
    UnitTestScored,
)
from markstead.ledger.serial import Entry, body_of, link, read_body, words_id
from markstead.measure.marks import CopyMarks, marks_of, write_marks
from markstead.records.home import Home, Somebody, load_home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Entry as EntryRow
from markstead.records.models import Household, Words
from markstead.records.whole import no_room, nothing_noted
from markstead.rules.ruling import RefusedError, Ruling, Surroundings, ruling
from markstead.rules.standing import CopyStatus, Fold, Standing
from markstead.speech import say

T = TypeVar("T")
TRIES = 12


@dataclass(frozen=True, slots=True)
class Slip:
    """What comes with an act beside its content."""

    act: str | None = None
    """Id of the act: the same id given twice writes once. None: a new one."""
    now: datetime | None = None
    """The clock; None: the act is written down when it happens."""
    seen: int | None = None
    """Place of the latest fact of the copy that the person has seen; None: do not ask."""
    override: str | None = None
    """Reason for which an educator passes the rule bars."""


@dataclass(frozen=True, slots=True)
class Done:
    """What an act wrote."""

    act: str
    entries: tuple[Entry, ...]
    again: bool = False
    """The act had been written before; nothing was added."""


def household_row(household: str, *, lock: bool = False) -> Household:
    rows = Household.objects.select_for_update() if lock else Household.objects
    found = rows.filter(id=household).first()
    if found is None:
        known = ", ".join(Household.objects.values_list("id", flat=True)) or say("none yet")
        raise UnknownError(
            [Problem(say("household"), repr(household), say("one of: {households}", households=known))]
        )
    return found


# What a copy's facts were up to a link of the chain never changes, so it can be remembered by that link.
_MEMO: dict[str, tuple[tuple[Entry, ...], Standing]] = {}
_MOST = 4096


def _remember(key: str, entries: tuple[Entry, ...], standing: Standing) -> None:
    if len(_MEMO) >= _MOST:
        for old in list(_MEMO)[: _MOST // 4]:
            _MEMO.pop(old, None)
    _MEMO[key] = (entries, standing)


# So are its gathered marks, for whoever estimates.
MARKS: OrderedDict[str, CopyMarks] = OrderedDict()


def remember_marks(key: str, marks: CopyMarks) -> CopyMarks:
    """Remember the marks of a copy by the link of its latest fact."""
    MARKS[key] = marks
    while len(MARKS) > _MOST:
        MARKS.popitem(last=False)
    return marks


def facts_and_standings(household: str, rows: Iterable[Any]) -> dict[str, tuple[tuple[Entry, ...], Standing]]:
    """Facts and standing of each of these copies; at most one query, whatever their number.

    Of a row, its `id` and its `last_link` are looked at.
    """
    found: dict[str, tuple[tuple[Entry, ...], Standing]] = {}
    missing: dict[str, str] = {}
    for row in rows:
        kept = _MEMO.get(row.last_link)
        if kept is None:
            missing[row.id] = row.last_link
        else:
            found[row.id] = kept
    if missing:
        folds = {copy: Fold(copy) for copy in missing}
        bodies = (
            EntryRow.objects.filter(household=household, copy__in=list(missing))
            .order_by("seq")
            .values_list("copy", "body")
        )
        for copy, body in bodies:
            folds[copy].take(read_body(body))
        for copy, fold in folds.items():
            kept = (tuple(fold.entries), fold.standing)
            found[copy] = kept
            if kept[0]:
                _remember(missing[copy], *kept)
    return found


def workbook_of(fold: Fold) -> str:
    """The workbook of a copy, even where the order itself was taken back."""
    return str(getattr(fold.entries[0].fact, "workbook", ""))


def mark_values(marks: CopyMarks) -> dict[str, Any]:
    """The columns of the cache that hold what was gathered of a copy's marks."""
    return {"scored_seq": marks.unit.seq if marks.unit is not None else None, "marks": write_marks(marks)}


def row_values(home: Home, standing: Standing) -> dict[str, Any]:
    """The columns of the cache that a standing tells."""
    unit = standing.unit
    scored = unit.scored if unit is not None else None
    return {
        "learner": standing.learner,
        "status": str(standing.status),
        "live": standing.status in (CopyStatus.ON_ORDER, CopyStatus.IN_THE_HOUSE, CopyStatus.ISSUED)
        or (standing.failed and standing.replaced_by is None),
        "passed": standing.passed,
        "sat_on": unit.day if unit is not None else None,
        "scored_on": home.calendar.day_of(scored) if scored is not None else None,
        "last_seq": standing.last_seq,
    }


def new_salt() -> str:
    """A salt by chance."""
    return secrets.token_hex(16)


SETTLING = frozenset({UnitTestScored, SpotCheckHeld, CopySpoiled, FactReversed})
"""Facts after which estimates look anew at copies that are in nobody's hands."""

_FIXED = {"id", "household", "workbook", "ordinal"}
"""Columns of a copy that its first fact settles."""


@dataclass(slots=True)
class Desk:
    """The state of one transaction: what has been read, and what will be written."""

    row: Household
    home: Home
    whole: bool
    """Everything of the home is in memory: for a writer of many acts."""
    copies: dict[str, CopyRow] = field(default_factory=dict)
    folds: dict[str, Fold] = field(default_factory=dict)
    ordinals: dict[str, int] = field(default_factory=dict)
    sat: dict[date, dict[str, str | None]] = field(default_factory=dict)
    issued: dict[str, dict[str, str]] = field(default_factory=dict)
    passed: dict[str, set[str]] = field(default_factory=dict)
    acts: set[str] = field(default_factory=set)
    new: list[EntryRow] = field(default_factory=list)
    touched: set[str] = field(default_factory=set)
    words: list[Words] = field(default_factory=list)
    salt: Callable[[], str] = lambda: secrets.token_hex(16)
    """Gives the salt of words that are kept; nobody may foresee it, but for a demonstration's."""

    def _know(self, row: CopyRow) -> None:
        self.copies[row.id] = row
        if row.sat_on is not None:
            self.sat.setdefault(row.sat_on, {})[row.id] = row.learner
        if row.learner is not None:
            if row.passed:
                self.passed.setdefault(row.learner, set()).add(row.workbook)
            if row.status == CopyStatus.ISSUED:
                self.issued.setdefault(row.learner, {})[row.id] = row.workbook

    def _forget(self, row: CopyRow) -> None:
        if row.sat_on is not None:
            self.sat.get(row.sat_on, {}).pop(row.id, None)
        if row.learner is not None:
            self.issued.get(row.learner, {}).pop(row.id, None)
            if row.passed:
                self.passed.get(row.learner, set()).discard(row.workbook)

    def load_everything(self) -> None:
        """Read the whole home: one query each for copies and acts."""
        for row in CopyRow.objects.filter(household=self.row):
            self._know(row)
            self.ordinals[row.workbook] = max(self.ordinals.get(row.workbook, 0), row.ordinal)
        self.acts = set(EntryRow.objects.filter(household=self.row, part=0).values_list("act", flat=True))

    def _load_around(self, copy: str, learner: str | None, day: date, *, passed: bool) -> None:
        """Read the few copies that a ruling on this one looks at."""
        from django.db.models import Q

        wanted = Q(id=copy) | Q(sat_on=day)
        if learner is not None:
            wanted |= Q(learner=learner, status=CopyStatus.ISSUED)
            if passed:
                wanted |= Q(learner=learner, passed=True)
        for row in CopyRow.objects.filter(wanted, household=self.row):
            if row.id not in self.touched:
                self._know(row)

    def fold(self, copy: str) -> Fold:
        fold = self.folds.get(copy)
        if fold is None:
            row = self.copies.get(copy)
            if row is None and not self.whole:
                row = CopyRow.objects.filter(household=self.row, id=copy).first()
                if row is not None:
                    self._know(row)
            entries: Sequence[Entry] = ()
            if row is not None:
                entries = facts_and_standings(self.row.id, [row])[copy][0]
            fold = self.folds[copy] = Fold(copy, entries)
        return fold

    def known_copy(self, copy: str) -> Standing:
        """Standing of a copy that must be there.

        Raises:
            UnknownError: this home has no such copy.
        """
        standing = self.fold(copy).standing
        if standing.status is CopyStatus.UNKNOWN:
            raise UnknownError([Problem(say("copy"), repr(copy), say("the id of a copy of this home"))])
        return standing

    def surroundings(
        self, proposed: AnyFact, standing: Standing, by: Somebody, now: datetime, at: datetime
    ) -> Surroundings:
        learner_id = proposed.learner if isinstance(proposed, CopyIssued) else standing.learner
        day = self.home.calendar.day_of(at)
        if not self.whole:
            issuing = isinstance(proposed, CopyIssued)
            self._load_around(standing.copy, learner_id, day, passed=issuing)
        learner = self.home.people.get(learner_id or "")
        others = {
            self.home.programme.workbook(code).course
            for copy, code in self.issued.get(learner_id or "", {}).items()
            if copy != standing.copy
        }
        sat = {c: who for c, who in self.sat.get(day, {}).items() if c != standing.copy}
        return Surroundings(
            year=(learner.year or 0) if learner else 0,
            courses=frozenset(learner.courses) if learner else frozenset(),
            passed=frozenset(self.passed.get(learner_id or "", ())),
            courses_in_hand=frozenset(others),
            sat_by_learner=sum(1 for who in sat.values() if who == learner_id),
            sat_that_morning=len(sat),
            watchers=self.home.watchers,
            now=now,
            own_latest=self._own_latest(proposed, by) if isinstance(proposed, FactReversed) else None,
        )

    def _own_latest(self, proposed: FactReversed, by: Somebody) -> datetime | None:
        """When somebody wrote down the fact that is to be taken back, if it is their own and the copy's latest."""
        fold = self.fold(proposed.copy or "")
        standing = [e for e in fold.entries if not (type(e.fact) is FactReversed or fold.is_reversed(e.seq))]
        if not standing or standing[-1].seq != proposed.entry or standing[-1].by != by.id:
            return None
        return standing[-1].written

    def rule(self, proposed: AnyFact, *, by: Somebody, at: datetime, now: datetime) -> Ruling:
        copy = getattr(proposed, "copy", None)
        standing = self.fold(copy).standing if copy else Standing("")
        return ruling(
            standing,
            proposed,
            at=at,
            actor=by.actor,
            around=self.surroundings(proposed, standing, by, now, at) if copy else Surroundings(now=now),
            programme=self.home.programme,
            calendar=self.home.calendar,
        )

    def keep_words(self, text: str) -> str:
        """Keep free text apart from the record; give the digest that a fact carries."""
        salt = self.salt()
        digest = words_id(salt, text)
        self.words.append(Words(household=self.row, digest=digest, salt=salt, text=text))
        return digest

    def propose(self, facts: Sequence[AnyFact], *, by: str, at: datetime, slip: Slip, part: int = 0) -> Done:
        """Rule on the facts of one act, one after the other, and take them up; or refuse them all.

        `part` is how many facts the act has taken up at this desk already, where it is gathered from several.

        Raises:
            RefusedError: a gate is shut.
            StaleError: the copy has moved on since the person looked.
        """
        act = slip.act or secrets.token_hex(10)
        again = self.written(act) if part == 0 else None
        if again is not None:
            return again
        now = slip.now or at
        somebody = self.home.person(by)
        self._check_seen(facts, slip)
        entries: list[Entry] = []
        for fact in facts:
            verdict = self.rule(fact, by=somebody, at=at, now=now)
            if slip.override and verdict.overridable:
                kinds = tuple(sorted({str(b.kind) for b in verdict.bars}))
                reason = self.keep_words(slip.override)
                passing = GateOverridden(fact.copy, fact.KIND, kinds, reason)  # type: ignore[union-attr]
                allowed = self.rule(passing, by=somebody, at=at, now=now)
                if not allowed.allowed:
                    raise RefusedError(allowed)
                entries.append(self._append(passing, act, part + len(entries), somebody.id, at, now))
                verdict = self.rule(fact, by=somebody, at=at, now=now)
            if not verdict.allowed:
                raise RefusedError(verdict)
            entries.append(self._append(fact, act, part + len(entries), somebody.id, at, now))
        self.acts.add(act)
        return Done(act, tuple(entries))

    def written(self, act: str) -> Done | None:
        """What an act of this id wrote before; None: it is new."""
        if self.whole:
            return Done(act, (), again=True) if act in self.acts else None
        bodies = (
            EntryRow.objects.filter(household=self.row, act=act)
            .order_by("part")
            .values_list("body", flat=True)
        )
        entries = tuple(read_body(body) for body in bodies)
        return Done(act, entries, again=True) if entries else None

    def entries_of(self, act: str) -> tuple[Entry, ...]:
        """What an act wrote.

        Raises:
            UnknownError: nothing on this home's record has that act.
        """
        bodies = (
            EntryRow.objects.filter(household=self.row, act=act)
            .order_by("part")
            .values_list("body", flat=True)
        )
        entries = tuple(read_body(body) for body in bodies)
        if not entries:
            raise UnknownError(
                [Problem(say("act"), repr(act), say("the id of an act on the record of this home"))]
            )
        return entries

    def is_reversed(self, entry: Entry) -> bool:
        copy = getattr(entry.fact, "copy", None)
        if copy is not None:
            return self.fold(copy).is_reversed(entry.seq)
        bodies = EntryRow.objects.filter(
            household=self.row, kind=FactReversed.KIND, copy=None, seq__gt=entry.seq
        ).values_list("body", flat=True)
        return any(read_body(b).fact == FactReversed(entry.seq) for b in bodies)

    def _check_seen(self, facts: Sequence[AnyFact], slip: Slip) -> None:
        if slip.seen is None:
            return
        fold = self.fold(getattr(facts[0], "copy", "") or "")
        if fold.entries and fold.entries[-1].seq != slip.seen:
            latest = fold.entries[-1]
            at = self.home.calendar.at_home(latest.at)
            raise StaleError(
                say(
                    "This page is older than the record: since then '{fact}' was written ({time}). Nothing of yours "
                    "was recorded; look again and repeat it if it still holds.",
                    fact=say(latest.fact.KIND),
                    time=f"{at:%H:%M}",
                )
            )

    def _append(self, fact: AnyFact, act: str, part: int, by: str, at: datetime, written: datetime) -> Entry:
        seq = self.row.head_seq + 1
        entry = Entry(seq, act, at.replace(microsecond=0), written.replace(microsecond=0), by, fact)
        body = body_of(entry)
        self.row.head_seq, self.row.head_link = seq, link(self.row.head_link, body)
        if type(fact) in SETTLING:
            self.row.settled_seq = seq
        copy = getattr(fact, "copy", None)
        self.new.append(
            EntryRow(
                household=self.row,
                seq=seq,
                act=act,
                part=part,
                at=entry.at,
                kind=fact.KIND,
                copy=copy,
                body=body.decode(),
                link=self.row.head_link,
            )
        )
        if copy is not None:
            fold = self.fold(copy)
            fold.take(entry)
            self._update(copy, fold)
        return entry

    def _update(self, copy: str, fold: Fold) -> None:
        row = self.copies.get(copy)
        if row is None:
            workbook = workbook_of(fold)
            row = CopyRow(id=copy, household=self.row, workbook=workbook, ordinal=self._ordinal(workbook))
        else:
            self._forget(row)
        for name, value in row_values(self.home, fold.standing).items():
            setattr(row, name, value)
        row.last_link = self.row.head_link
        self.touched.add(copy)
        self._know(row)

    def _ordinal(self, workbook: str) -> int:
        if not self.whole and workbook not in self.ordinals:
            self.ordinals[workbook] = CopyRow.objects.filter(household=self.row, workbook=workbook).count()
        self.ordinals[workbook] = self.ordinals.get(workbook, 0) + 1
        return self.ordinals[workbook]

    def flush(self) -> None:
        """Write everything that was taken up."""
        if not self.new:
            return
        EntryRow.objects.bulk_create(self.new, batch_size=500)
        if self.words:
            Words.objects.bulk_create(self.words, batch_size=500)
        rows = [self.copies[copy] for copy in self.touched]
        gathered = {}  # once, however many acts of a copy are written together
        for row in rows:
            gathered[row.last_link] = marks = marks_of(row.id, self.folds[row.id].entries)
            for name, value in mark_values(marks).items():
                setattr(row, name, value)
        columns = [f.name for f in CopyRow._meta.concrete_fields if f.name not in _FIXED]
        CopyRow.objects.bulk_create(
            rows, update_conflicts=True, unique_fields=["id"], update_fields=columns, batch_size=200
        )
        Household.objects.filter(id=self.row.id).update(
            head_seq=self.row.head_seq, head_link=self.row.head_link, settled_seq=self.row.settled_seq
        )
        for row in rows:
            fold = self.folds[row.id]
            _remember(row.last_link, tuple(fold.entries), fold.standing)
            remember_marks(row.last_link, gathered[row.last_link])
        self.new, self.touched, self.words = [], set(), []


def at_the_desk(household: str, work: Callable[[Desk], T], *, whole: bool = False) -> T:
    """Do work in one transaction; a writer who lost a race tries again on the newer record.

    Raises:
        MarksteadError: the disk is full; nothing was written.
    """
    for again in range(TRIES):
        try:
            with transaction.atomic():
                row = household_row(household, lock=True)
                desk = Desk(row, load_home(row), whole)
                if whole:
                    desk.load_everything()
                result = work(desk)
                desk.flush()
                return result
        except (IntegrityError, OperationalError) as error:
            if no_room(error):
                raise nothing_noted(error) from error
            if again == TRIES - 1 or not _lost_a_race(error):
                raise
    raise AssertionError("unreachable: the last try returns or raises")


def _lost_a_race(error: Exception) -> bool:
    """Another writer took the place in the chain or held the database."""
    text = str(error).lower()
    return any(
        mark in text
        for mark in (
            "one_entry_a_place",
            "an_act_is_written_once",
            "records_entry.household_id, records_entry.seq",
            "records_entry.household_id, records_entry.act",
            "records_copy_pkey",
            "deadlock",
            "could not serialize",
            "database is locked",
        )
    )
