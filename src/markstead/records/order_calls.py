"""What the latest order plan wants done by when, kept for today's page, which has no time to plan orders.

It is a cache: a copy that was ordered or came since it was kept takes the call for it away, and a look at the orders keeps
it anew. One text in one row, so that today's page gets it with its first query.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

from markstead.records.models import Copy as CopyRow
from markstead.records.models import OrderCalls
from markstead.rules.standing import CopyStatus

SOON = timedelta(days=3)
"""An order is called for so many calendar days before its last day: a weekend may lie between."""
AGED = timedelta(days=7)
"""An order plan that is older says its age in every call: the learners have gone on since."""
TOO_OLD = timedelta(days=28)
"""An order plan that is older is not heeded: the plain rule, that the next workbook should lie ready, is safer then."""
UNBEGUN = (CopyStatus.IN_THE_HOUSE, CopyStatus.ON_ORDER)


@dataclass(frozen=True, slots=True)
class DueCall:
    """A copy that is to be ordered now."""

    workbook: str
    learner: str | None
    """None: to spare."""
    supplier: str
    by: date
    needed: date
    made_on: date
    """The day of the order plan that says so."""


@dataclass(frozen=True, slots=True)
class SupplierCall:
    """Everything that is to be ordered now from one supplier."""

    supplier: str
    by: date
    """The earliest last day of its copies."""
    copies: int
    learners: tuple[str, ...]
    """Who waits for one of them."""


@dataclass(frozen=True, slots=True)
class LateParcel:
    """Copies that were ordered from a supplier on one day and should have come."""

    supplier: str
    ordered: date
    due: date
    """The latest of its copies."""
    copies: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Awaited:
    """A copy on the way, and by when it should have come."""

    supplier: str
    ordered: date
    due: date


@dataclass(frozen=True, slots=True)
class KeptCalls:
    """What was kept of an order plan."""

    made_on: date
    counted_on: frozenset[str]
    """Ids of the copies that nobody had begun and that the plan counted on."""
    lines: tuple[DueCall, ...]
    """Every copy of the plan."""
    awaited: Mapping[str, Awaited]
    """By id of the copy."""

    def told_of(self, today: date) -> bool:
        """Whether it is still heeded."""
        return today <= self.made_on + TOO_OLD

    def aged(self, today: date) -> bool:
        """Whether its age has to be said."""
        return today > self.made_on + AGED

    def due(self, copies: Iterable[tuple[str, str, str | None]], today: date) -> tuple[DueCall, ...]:
        """What is to be ordered within three days, from id, workbook and learner of the copies that nobody has begun."""
        since = [(workbook, learner) for copy, workbook, learner in copies if copy not in self.counted_on]
        # What was ordered for somebody goes to that line first, and only what is left to another's.
        open_lines = [line for line in self.lines if not _taken(line, since, own=True)]
        open_lines = [line for line in open_lines if not _taken(line, since, own=False)]
        return tuple(line for line in open_lines if line.by <= today + SOON)

    def late(self, on_order: Iterable[str], today: date) -> tuple[LateParcel, ...]:
        """Parcels that should have come before today, from the ids of the copies on order; the oldest first."""
        parcels: dict[tuple[date, str], list[str]] = {}
        for copy in on_order:
            found = self.awaited.get(copy)
            if found is not None and found.due < today:
                parcels.setdefault((found.ordered, found.supplier), []).append(copy)
        return tuple(
            LateParcel(supplier, ordered, max(self.awaited[c].due for c in copies), tuple(copies))
            for (ordered, supplier), copies in sorted(parcels.items())
        )


def by_supplier(calls: Iterable[DueCall]) -> tuple[SupplierCall, ...]:
    """Gather copies to order into one call for each supplier, the most urgent first."""
    found: dict[str, list[DueCall]] = {}
    for call in calls:
        found.setdefault(call.supplier, []).append(call)
    gathered = [
        SupplierCall(
            supplier,
            min(call.by for call in lines),
            len(lines),
            tuple(dict.fromkeys(call.learner for call in lines if call.learner is not None)),
        )
        for supplier, lines in found.items()
    ]
    return tuple(sorted(gathered, key=lambda call: (call.by, call.supplier)))


def _taken(line: DueCall, since: list[tuple[str, str | None]], *, own: bool) -> bool:
    """Whether a copy that was ordered since is the one of a line; it is then used up."""
    copy = (line.workbook, line.learner if own else None)
    if copy not in since:
        return False
    since.remove(copy)
    return True


# --- keeping and reading ------------------------------------------------------------------------------------------


def keep(
    household: str,
    made_on: date,
    counted_on: Sequence[str],
    lines: Iterable[DueCall],
    awaited: Mapping[str, Awaited],
) -> None:
    """Keep what an order plan says in place of what was kept before; nothing is written where it says the same."""
    text = json.dumps(
        {
            "made_on": made_on.isoformat(),
            "counted_on": counted_on,
            "lines": [
                {
                    "workbook": line.workbook,
                    "learner": line.learner,
                    "supplier": line.supplier,
                    "by": line.by.isoformat(),
                    "needed": line.needed.isoformat(),
                }
                for line in lines
            ],
            "awaited": {
                copy: [of.supplier, of.ordered.isoformat(), of.due.isoformat()]
                for copy, of in awaited.items()
            },
        }
    )
    if kept_text(household) != text:
        OrderCalls.objects.update_or_create(
            household_id=household, defaults={"made_on": made_on, "lines": text}
        )


def kept_text(household: str) -> str | None:
    """The text that is kept for a home; None where nothing is."""
    return OrderCalls.objects.filter(household=household).values_list("lines", flat=True).first()


@lru_cache(maxsize=64)
def read_kept(text: str | None) -> KeptCalls | None:
    """Read what was kept; None where nothing is."""
    kept: dict[str, Any] | None = json.loads(text) if text else None
    if not kept:
        return None
    made_on = date.fromisoformat(kept["made_on"])
    return KeptCalls(
        made_on,
        frozenset(kept["counted_on"]),
        tuple(
            DueCall(
                line["workbook"],
                line["learner"],
                line["supplier"],
                date.fromisoformat(line["by"]),
                date.fromisoformat(line["needed"]),
                made_on,
            )
            for line in kept["lines"]
        ),
        {
            copy: Awaited(supplier, date.fromisoformat(ordered), date.fromisoformat(due))
            for copy, (supplier, ordered, due) in kept["awaited"].items()
        },
    )


def due_calls(household: str, today: date) -> tuple[DueCall, ...]:
    """What is to be ordered within three days by the order plan that was kept; two queries."""
    kept = read_kept(kept_text(household))
    if kept is None:
        return ()
    rows = CopyRow.objects.filter(household=household, live=True, status__in=UNBEGUN).order_by("id")
    return kept.due(rows.values_list("id", "workbook", "learner"), today)
