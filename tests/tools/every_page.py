"""Every page of a home, with values for the parts of its address: for whoever looks at all of them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.urls import get_resolver, reverse

from markstead.errors import MarksteadError
from markstead.records import queries, quizzes
from markstead.rules.standing import CopyStatus, Cycle
from markstead.rules.steps import CallKind
from tests.web.doors import DOORS, For

NO_PAGES = {
    *(
        "refresh",
        "news",
        "tablet-look",
        "tablet-news",
        "tablet-still",
        "orders-sheet",
        "dispatch-sheet",
        "report-sheet",
    ),
    *("attendance-sheet", "transcript-sheet", "portfolio-sheet", "sample-picture", "paper-sheet", "feed"),
    *("take-archive", "take-tables", "take-oneroster"),
}
"""Addresses that are fetched and are no page of their own: parts of one, and a file."""


@dataclass(frozen=True, slots=True)
class Visit:
    """A page: what it is called here, its address, and who may come in."""

    name: str
    address: str
    who: For


def values_for(household: str, *, at: datetime, by: str = "ruth") -> Mapping[str, object]:
    """A value for each part of an address, such that there is something to see. A quiz is begun, and not recorded."""
    home = queries.home_of(household)
    today = queries.today(household, now=at)
    held = [(day.learner, view) for day in today.learners for view in day.copies]
    learner, view = held[0]
    return {
        "act_id": "none",
        "sample": "none",
        "sheet": "none",
        "word": "none",
        "learner": learner.id,
        "course": learner.courses[0],
        "number": 1,
        "quiz": _quiz(household, [v.id for _, v in held], by=by, at=at),
        "copy": view.id,
        "stop": next(
            (s.id for s in view.standing.stops.values() if s.cycle is not Cycle.CLEARED),
            home.programme.workbook(view.standing.workbook).stops[0].id,
        ),
    }


def _quiz(household: str, copies: list[str], *, by: str, at: datetime) -> str:
    there = quizzes.under_way(household)
    if there:
        return there[0].id
    for copy in copies:
        try:
            return quizzes.begin(household, copy=copy, by=by, at=at).id
        except MarksteadError:
            continue
    raise LookupError("no copy of this home can be quizzed")


def visits(values: Mapping[str, object]) -> Iterator[Visit]:
    """Every page that the table of doors lists, but those of the set-up, which want an empty home."""
    patterns = {p.name: p.pattern for p in get_resolver().url_patterns}
    # At a tablet, going to the names ends what was entered: the learner's own pages come first.
    for name, (who, methods) in sorted(DOORS.items(), key=lambda door: door[1][0] is For.HOUSE):
        if "GET" not in methods or name in NO_PAGES or who is For.FIRST:
            continue
        address = reverse(name, kwargs={part: values[part] for part in patterns[name].converters})
        yield Visit(name, address, who)


def more_copies(household: str, *, at: datetime) -> Iterator[Visit]:
    """A copy in each state in which the page looks different: one on order, in the house, each call, finished, passed."""
    today = queries.today(household, now=at)
    for call in today.calls:
        if call.kind is CallKind.MARK_UNIT_TEST and call.copy is not None:
            yield Visit("sitting-to-mark", reverse("sitting", args=[call.copy.id]), For.EDUCATOR)
        if call.copy is not None:
            yield Visit(
                f"copy-{call.kind}".replace(" ", "-"), reverse("copy", args=[call.copy.id]), For.EDUCATOR
            )
    seen = set()
    for view in queries.copies(household):
        status = view.standing.status
        if status not in seen and status is not CopyStatus.ISSUED:
            seen.add(status)
            yield Visit(f"copy-{status}".replace(" ", "-"), reverse("copy", args=[view.id]), For.EDUCATOR)
