"""What exports read: facts of some kinds in their order, those that were taken back left out; and results of tests.

Nothing here keeps more of the record in memory than what it gives.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from markstead.ledger.facts import (
    AnyFact,
    FactReversed,
    PracticeTestOpened,
    PracticeTestScored,
    UnitTestSat,
    UnitTestScored,
)
from markstead.ledger.serial import Entry, read_body
from markstead.records.home import Home
from markstead.records.models import Copy, copy_label
from markstead.records.models import Entry as EntryRow

_CHUNK = 1000


def taken_back(household: str) -> frozenset[int]:
    """The places of the facts that were taken back."""
    bodies = EntryRow.objects.filter(household=household, kind=FactReversed.KIND).values_list(
        "body", flat=True
    )
    found = set()
    for body in bodies.iterator(chunk_size=_CHUNK):
        fact = read_body(body).fact
        if isinstance(fact, FactReversed):
            found.add(fact.entry)
    return frozenset(found)


def entries_of(household: str, *kinds: type[AnyFact]) -> Iterator[Entry]:
    """The facts of these kinds that still count, in the order in which they were written."""
    gone = taken_back(household)
    names = [kind.KIND for kind in kinds]
    rows = EntryRow.objects.filter(household=household, kind__in=names).order_by("seq")
    for seq, body in rows.values_list("seq", "body").iterator(chunk_size=_CHUNK):
        if seq not in gone:
            yield read_body(body)


@dataclass(frozen=True, slots=True)
class KnownCopy:
    """A copy, as exports name it."""

    id: str
    workbook: str
    ordinal: int
    learner: str | None
    status: str

    @property
    def label(self) -> str:
        """What is written on its cover."""
        return copy_label(self.workbook, self.ordinal)


def copies_of(household: str) -> dict[str, KnownCopy]:
    """Every copy of a home by its id, in the order of workbooks."""
    rows = Copy.objects.filter(household=household).order_by("workbook", "ordinal", "id")
    return {row.id: KnownCopy(row.id, row.workbook, row.ordinal, row.learner, row.status) for row in rows}


@dataclass(frozen=True, slots=True)
class Result:
    """A test that was marked."""

    kind: str
    """``practice test`` or ``unit test``."""
    copy: KnownCopy
    attempt: int
    day: date
    """The day at home on which it was sat, or a practice test opened."""
    scored: datetime
    right: int
    asked: int
    needed: int
    minutes: int | None = None

    @property
    def passed(self) -> bool:
        return self.right >= self.needed


def results(home: Home, copies: Mapping[str, KnownCopy]) -> Iterator[Result]:
    """Every test that was marked, in the order of marking; a mark that was set right later comes again."""
    day_of = home.calendar.day_of
    begun: dict[tuple[str, str], tuple[int, date]] = {}
    kinds = (PracticeTestOpened, PracticeTestScored, UnitTestSat, UnitTestScored)
    for entry in entries_of(home.id, *kinds):
        fact = entry.fact
        match fact:
            case PracticeTestOpened():
                begun["practice test", fact.copy] = (fact.attempt, day_of(entry.at))
            case UnitTestSat():
                begun["unit test", fact.copy] = (fact.attempt, fact.day)
            case PracticeTestScored() | UnitTestScored():
                practice = isinstance(fact, PracticeTestScored)
                kind = "practice test" if practice else "unit test"
                attempt, day = begun.get((kind, fact.copy), (1, day_of(entry.at)))
                yield Result(
                    kind,
                    copies[fact.copy],
                    fact.attempt if isinstance(fact, PracticeTestScored) else attempt,
                    day,
                    entry.at,
                    fact.right,
                    fact.asked,
                    fact.needed,
                    fact.minutes if isinstance(fact, UnitTestScored) else None,
                )
            case _:
                pass
