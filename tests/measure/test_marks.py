"""What is gathered of a copy's facts, and that the gathering kept as text is the same."""

from datetime import date

import pytest
from hypothesis import given, settings

from markstead.ledger.facts import (
    CopyOrdered,
    FactReversed,
    FirstMarking,
    GoalSet,
    OralQuizHeld,
    PagesWorked,
    PracticeTestScored,
    SpotCheckHeld,
    UnitTestScored,
)
from markstead.ledger.serial import Entry
from markstead.measure.marks import CopyMarks, MarksFold, marks_of, read_marks, write_marks
from tests.properties.test_laws import about, records
from tests.rules.small_home import at


def entries(*facts: object) -> list[Entry]:
    """These facts, an hour apart, from the first place of the record on."""
    return [
        Entry(seq, f"a{seq}", at(2, 8 + seq), at(2, 8 + seq), "ruth", fact)  # type: ignore[arg-type]
        for seq, fact in enumerate(facts, start=1)
    ]


@settings(deadline=None)
@given(record=records())
def test_marks_kept_as_text_read_back_equal(record: list[Entry]) -> None:
    marks = marks_of("c1", about("c1", record))

    again = read_marks("c1", marks.workbook, marks.learner, write_marks(marks))

    assert write_marks(again) == write_marks(marks)
    assert (again.marked, again.units, again.worked) == (marks.marked, marks.units, marks.worked)


@settings(deadline=None)
@given(record=records())
def test_a_reader_who_knows_the_reversals_gathers_the_same(record: list[Entry]) -> None:
    mine = about("c1", record)
    fold = MarksFold("c1", {e.fact.entry for e in mine if isinstance(e.fact, FactReversed)})
    for entry in mine:
        fold.take(entry)

    assert fold.marks == marks_of("c1", mine)


def test_what_was_taken_back_is_not_gathered() -> None:
    marks = marks_of("c1", entries(FirstMarking("c1", "section-1", 5, (2,)), FactReversed(1, "c1")))

    assert marks.marked == ()


def test_a_page_worked_twice_is_new_once() -> None:
    day = date(2026, 2, 2)
    marks = marks_of("c1", entries(PagesWorked("c1", day, 1, 3, 30), PagesWorked("c1", day, 3, 5, 20)))

    assert [(row.new, row.pages, row.minutes) for row in marks.worked] == [(3, 3, 30), (2, 3, 20)]


def test_the_latest_goal_of_a_day_stands_and_one_taken_away_does_not() -> None:
    first, second = date(2026, 2, 2), date(2026, 2, 3)
    told = (
        GoalSet("c1", first, 1, 2),
        GoalSet("c1", first, 1, 5),
        GoalSet("c1", second, 6, 8),
        GoalSet("c1", second),
    )

    assert marks_of("c1", entries(*told)).goals == ((first, 5),)


def test_a_total_has_no_ticks_and_numbers_have() -> None:
    total, numbered = PracticeTestScored("c1", 1, 8, 10, 8), PracticeTestScored("c1", 2, 8, 10, 8, (3, 7))
    marks = marks_of("c1", entries(total, numbered))

    assert [row.ticks for row in marks.practice] == [(), (1, 2, 4, 5, 6, 8, 9, 10)]


def test_the_latest_unit_test_is_the_one_that_stands() -> None:
    marks = marks_of("c1", entries(UnitTestScored("c1", 7, 10, 8), UnitTestScored("c1", 9, 10, 8)))

    assert marks.unit is not None
    assert (marks.unit.right, marks.unit.passed) == (9, True)


def test_quizzes_and_spot_checks_keep_each_answer_in_its_order() -> None:
    quiz = OralQuizHeld("c1", ((4, True), (2, False)), "section-1")
    check = SpotCheckHeld("c1", "section-1", ((5, True), (1, False)))
    marks = marks_of("c1", entries(CopyOrdered("c1", "P1", "asa"), quiz, check))

    assert [(row.question, row.right) for row in marks.spoken] == [(4, True), (2, False)]
    assert marks.looked[0].answers == ((5, True), (1, False))


def test_a_copy_without_marks_is_kept_as_nothing() -> None:
    assert write_marks(CopyMarks("c1", "P1", "asa")) == ""


def test_marks_of_another_version_ask_for_a_rebuild() -> None:
    with pytest.raises(ValueError, match="rebuild"):
        read_marks("c1", "P1", "asa", '{"v":0}')
