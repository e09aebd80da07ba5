"""Whether anything is new at a home: small questions for pages that wait for it."""

from collections.abc import Collection
from dataclasses import dataclass

from django.db import DatabaseError, connections

from markstead.records.models import Copy, Entry, Household

MOST_FACTS = 200
"""Of more new facts than this at once it is not asked whom they concern: everybody."""


@dataclass(frozen=True, slots=True)
class Head:
    """Where the record of a home ends, and everything beside it that a page may show."""

    seq: int
    beside: tuple[object, ...]
    """Its people, documents and names; the clock of a demonstration; the plan in force."""


def heads(households: Collection[str]) -> dict[str, Head]:
    """The head of each of these homes: one query on the primary key."""
    columns = ("id", "head_seq", "stamp", "demo_shift", "plan_in_force")
    rows = Household.objects.filter(id__in=households).values_list(*columns)
    return {home: Head(seq, tuple(beside)) for home, seq, *beside in rows}


def concerned(household: str, after: int, last: int) -> frozenset[str] | None:
    """The learners whose copies the facts after one place and up to another are about; None means everybody.

    Facts that are about no copy, such as a day without school, concern everybody.
    """
    if last - after > MOST_FACTS or last < after:
        return None
    facts = Entry.objects.filter(household=household, seq__gt=after, seq__lte=last)
    copies = set(facts.values_list("copy", flat=True))
    if None in copies:
        return None
    owners = Copy.objects.filter(household=household, id__in=copies).values_list("learner", flat=True)
    return frozenset(learner for learner in owners if learner is not None)


def look_anew() -> None:
    """Let go of a connection that failed, in the thread that asks."""
    connections.close_all()


Unreachable = DatabaseError
"""The database cannot be asked just now."""
