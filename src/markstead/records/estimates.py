"""Reads that estimate: rows in, readings out. What is known of finished workbooks is remembered until one more is marked."""

import hashlib
import hmac
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.conf import settings

from markstead.errors import Problem, UnknownError
from markstead.ledger.facts import StopId
from markstead.measure.marks import CopyMarks, read_marks
from markstead.measure.readiness import State
from markstead.measure.readings import (
    Costs,
    CopyReading,
    CoursePace,
    Point,
    ReviewReading,
    SpotReading,
    finished_state,
    history,
    quiz_candidates,
    quiz_prior,
    read_copies,
    read_courses,
    read_objectives,
    read_review,
    read_spot,
    state_now,
)
from markstead.records.home import Home, Somebody
from markstead.records.models import Copy as CopyRow
from markstead.rules.standing import CopyStatus

_MOST = 4096
_MARKS: OrderedDict[str, CopyMarks] = OrderedDict()
_STATES: OrderedDict[tuple[str, str, int, int], State] = OrderedDict()


def _trim(kept: OrderedDict[Any, Any]) -> None:
    while len(kept) > _MOST:
        kept.popitem(last=False)


def marks_of_row(row: Any) -> CopyMarks:
    """The gathered marks of a row of the cache; remembered by the link of its latest fact."""
    found = _MARKS.get(row.last_link)
    if found is None:
        found = _MARKS[row.last_link] = read_marks(row.id, row.workbook, row.learner, row.marks)
        _trim(_MARKS)
    return found


def marks_of_learner(household: str, learner: str) -> tuple[CopyMarks, ...]:
    """The marks of every copy that a learner has or had, in the order of issue."""
    rows = CopyRow.objects.filter(household=household, learner=learner).exclude(marks="")
    found = [marks_of_row(row) for row in rows]
    return tuple(sorted(found, key=lambda m: (m.issued is None, m.issued, m.copy)))


def costs_of(home: Home) -> Costs:
    return Costs(home.failed_test_costs, home.hold_day_costs)
