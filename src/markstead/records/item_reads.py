"""Reads over all homes of the database: first answers to one test, and how hard the unit tests turned out.

One home has too few learners to say anything of a question; homes that follow the same programme count together.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np

from markstead.errors import Problem, UnknownError
from markstead.ledger.facts import PRACTICE
from markstead.measure.answers import Answers
from markstead.measure.difficulty import WorkbookDifficulty, shared_difficulties
from markstead.measure.evidence import answers_to, books, topics
from markstead.measure.marks import CopyMarks, Marked, UnitMark
from markstead.measure.readiness import BookEvidence
from markstead.measure.readings import subjects_of
from markstead.records.estimates import marks_of_row
from markstead.records.home import Home, load_home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Household
from markstead.rules.programme import Workbook
from markstead.speech import later, say

UNIT_TEST, PRACTICE_TEST = later("unit test"), later("practice test")


@dataclass(frozen=True, slots=True)
class FirstAnswers:
    """The first answers of learners to one test."""

    workbook: Workbook
    test: str
    """'unit test', 'practice test' or the id of a stop."""
    answers: Answers
    """(learners, questions): 1 right, 0 wrong."""
    about: tuple[str, ...]
    """What each question is about; empty where the programme does not say."""
    homes: int
    """Homes of which a learner is counted."""
    left_out: int
    """Learners who took it and are not counted: only their total is known, or their paper had other questions."""


@dataclass(frozen=True, slots=True)
class Difficulties:
    """How much harder each unit test was than the other marks of its workbook make it look."""

    workbooks: Mapping[str, WorkbookDifficulty]
    learners: int
    homes: int


def _same_programme(home: Home) -> list[Home]:
    """Every home of the database that follows the same programme, this one among them."""
    rows = Household.objects.order_by("id")
    return [kept for kept in map(load_home, rows) if kept.programme.id == home.programme.id]


def _by_learner(rows: Any) -> Iterator[tuple[tuple[str, str], list[CopyMarks]]]:
    """The marks of each learner's copies in the order of issue, under household and learner."""
    kept = rows.filter(learner__isnull=False).exclude(marks="").order_by("household_id", "learner", "id")
    for key, group in groupby(kept, key=lambda row: (row.household_id, row.learner)):
        yield key, sorted(map(marks_of_row, group), key=lambda m: (m.issued is None, m.issued, m.copy))


# --- first answers ----------------------------------------------------------------------------------------------


def test_of(workbook: Workbook, wanted: str) -> tuple[str, int]:
    """Name a test as the reads do, and say how many questions it has.

    Raises:
        UnknownError: the workbook has no such test or stop.
    """
    plain = wanted.strip().lower().replace("-", " ")
    if plain == UNIT_TEST:
        return UNIT_TEST, workbook.unit_questions
    if plain == PRACTICE_TEST:
        return PRACTICE_TEST, workbook.practice_questions
    for stop in workbook.stops:
        if stop.id.replace("-", " ") == plain:
            return stop.id, stop.questions
    allowed = ", ".join(["unit-test", PRACTICE, *(stop.id for stop in workbook.stops)])
    where = say("workbook {workbook}, test", workbook=workbook.code)
    raise UnknownError([Problem(where, repr(wanted), say("one of {tests}", tests=allowed))])


test_of.__test__ = False  # type: ignore[attr-defined]


def _attempts(marks: CopyMarks, test: str) -> tuple[Marked | UnitMark, ...]:
    if test == UNIT_TEST:
        return marks.units
    if test == PRACTICE_TEST:
        return marks.practice
    return tuple(row for row in marks.marked if row.stop == test)


def first_answers(home: Home, code: str, test: str) -> FirstAnswers:
    """The answers of every learner's first attempt at a test, over all homes that follow the same programme.

    Raises:
        UnknownError: no such workbook, or it has no such test.
    """
    workbook = home.programme.workbook(code)
    kind, asked = test_of(workbook, test)
    ids = [kept.id for kept in _same_programme(home)]
    table: list[tuple[bool, ...]] = []
    homes: set[str] = set()
    left_out = 0
    for (household, _), copies in _by_learner(CopyRow.objects.filter(household__in=ids, workbook=code)):
        first = next((marks for marks in copies if _attempts(marks, kind)), None)
        if first is None:
            continue
        answers = answers_to(first, kind)
        if answers is None or len(answers) != asked:
            left_out += 1
            continue
        table.append(answers)
        homes.add(household)
    about = topics(workbook)
    return FirstAnswers(
        workbook,
        kind,
        np.array(table, dtype=np.int8).reshape(len(table), asked),
        tuple(about.get((kind, number), "") for number in range(1, asked + 1)),
        len(homes),
        left_out,
    )


# --- difficulties -----------------------------------------------------------------------------------------------


def difficulties(home: Home) -> Difficulties:
    """Learn how hard each unit test is from all learners of all homes that follow the same programme."""
    homes = {kept.id: kept for kept in _same_programme(home)}
    learners: list[list[BookEvidence]] = []
    counted: set[str] = set()
    for (household, _), copies in _by_learner(CopyRow.objects.filter(household__in=list(homes))):
        found = [book.evidence for book in books(copies, homes[household].programme)]
        if any(book.unit is not None for book in found):
            learners.append(found)
            counted.add(household)
    subjects = sorted({subject for kept in homes.values() for subject in subjects_of(kept.programme)})
    return Difficulties(shared_difficulties(learners, subjects), len(learners), len(counted))
