"""First answers and difficulties are gathered over all homes that follow the same programme, and over no others."""

import pytest

from markstead.errors import UnknownError
from markstead.measure.difficulty import shared_difficulties
from markstead.measure.readiness import BookEvidence, Counts
from markstead.measure.readings import subjects_of
from markstead.records import actions as a
from markstead.records.item_reads import UNIT_TEST, difficulties, first_answers, test_of
from markstead.records.setup import Papers, set_up
from tests.records.house import BOOK, CALENDAR, CAST, MOVED_IN, PAPERS, House

# On the road of the tests section 1 is marked first with 3 and 7 wrong, the practice test with 2, 11 and 19.
SECTION_1_WRONG = (3, 7)


def sit(house: House, wrong: tuple[int, ...], learner: str = "asa") -> str:
    """Bring a copy to its unit test, and score it with these answers wrong."""
    copy = house.bring("sat", learner=learner)
    house.do(a.score_unit_test, copy=copy, wrong=wrong)
    return copy


def wrong_of(row: object) -> tuple[int, ...]:
    return tuple(n for n, right in enumerate(row, start=1) if not right)  # type: ignore[call-overload]


def test_the_first_answers_of_both_homes_count_together(house: House, next_door: House) -> None:
    sit(house, (1, 4))
    sit(next_door, (2,), learner="trent")
    found = first_answers(house.home, BOOK, UNIT_TEST)
    assert (len(found.answers), found.homes, found.left_out) == (2, 2, 0)
    assert sorted(wrong_of(row) for row in found.answers) == [(1, 4), (2,)]
    assert found.answers.shape[1] == house.home.programme.workbook(BOOK).unit_questions


def test_only_the_first_of_a_learners_copies_counts(house: House) -> None:
    asked = house.home.programme.workbook(BOOK).unit_questions
    first = sit(house, tuple(range(1, asked - house.needed() + 2)))
    house.do(a.reorder_workbook, copy=first)
    house.until_next_morning()
    house.bring("practice passed")
    found = first_answers(house.home, BOOK, "section-1")
    assert len(found.answers) == 1


def test_of_the_same_stop_the_first_marking_is_read(house: House) -> None:
    house.bring("section cleared")
    (row,) = first_answers(house.home, BOOK, "section-1").answers
    assert wrong_of(row) == SECTION_1_WRONG


def test_a_unit_test_of_which_only_the_total_is_known_is_left_out(house: House) -> None:
    house.bring("passed")
    found = first_answers(house.home, BOOK, UNIT_TEST)
    assert (len(found.answers), found.left_out, found.homes) == (0, 1, 0)


def test_a_home_of_another_programme_is_not_counted(house: House) -> None:
    sit(house, (1,))
    other = PAPERS.programme.replace(f'id = "{house.home.programme.id}"', 'id = "another"')
    assert other != PAPERS.programme
    elsewhere = set_up(
        "elsewhere",
        name="Elsewhere",
        papers=Papers(other, PAPERS.workbooks, CALENDAR),
        people=CAST,
        at=MOVED_IN,
    )
    found = first_answers(elsewhere, BOOK, UNIT_TEST)
    assert (len(found.answers), found.homes, found.left_out) == (0, 0, 0)
    assert not difficulties(elsewhere).workbooks


def test_questions_are_named_by_what_they_are_about(house: House) -> None:
    book = house.home.programme.workbook(BOOK)
    tagged = {(o.stop, o.question): o.text for o in book.objectives}
    found = first_answers(house.home, BOOK, "section-1")
    assert found.about[0] == tagged["section-1", 1]
    assert set(first_answers(house.home, BOOK, UNIT_TEST).about) == {""}


@pytest.mark.parametrize(
    ("typed", "kind"),
    [
        ("unit-test", "unit test"),
        ("Unit test", "unit test"),
        ("practice test", "practice test"),
        ("practice-test", "practice test"),
        ("section 1", "section-1"),
        ("check-1", "check-1"),
    ],
)
def test_a_test_may_be_written_as_people_write_it(house: House, typed: str, kind: str) -> None:
    assert test_of(house.home.programme.workbook(BOOK), typed)[0] == kind


def test_an_unknown_test_is_named_with_those_there_are(house: House) -> None:
    with pytest.raises(
        UnknownError, match="found 'final'; allowed is one of unit-test, practice-test, section-1"
    ):
        first_answers(house.home, BOOK, "final")


def test_difficulties_rest_on_the_marks_of_both_homes(house: House, next_door: House) -> None:
    house.bring("passed")
    next_door.bring("passed", learner="trent")
    found = difficulties(house.home)
    assert (found.learners, found.homes) == (2, 2)
    book = house.home.programme.workbook(BOOK)
    in_sections, in_checks = (sum(s.questions for s in kept) for kept in (book.sections, book.checks))
    evidence = BookEvidence(
        book.subject,
        sections=Counts(in_sections, in_sections - len(SECTION_1_WRONG)),
        checks=Counts(in_checks, in_checks),
        practice=(Counts(book.practice_questions, book.practice_questions - 3),),
        unit=Counts(book.unit_questions, house.needed() + 2),
        workbook=BOOK,
    )
    wanted = shared_difficulties([[evidence], [evidence]], subjects_of(house.home.programme))[BOOK]
    told = found.workbooks[BOOK]
    assert (told.logits, told.low, told.high) == (wanted.logits, wanted.low, wanted.high)
    assert told.learners == 2
