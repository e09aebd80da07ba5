"""Answers that do not go together are shown to a person, however clear each box is."""

import pytest

from markstead.paper.boxes import State
from markstead.paper.layout import Sheet
from markstead.paper.sense import answers, doubts
from tests.paper.cast import asa, noa, sitting

ASA = asa()


def states(
    sheet: Sheet, marked: set[str], unsure: frozenset[str] = frozenset(), number: int = 1
) -> dict[str, State]:
    """The boxes of a page, of which these are marked."""
    ids = {box.id for box in sheet.page(number).boxes}
    assert marked | unsure <= ids
    told = dict.fromkeys(marked, State.MARKED) | dict.fromkeys(unsure, State.UNSURE)
    return {box: told.get(box, State.EMPTY) for box in ids}


def sentences(marked: set[str], unsure: frozenset[str] = frozenset(), sheet: Sheet = ASA) -> list[str]:
    return [doubt.sentence for doubt in doubts(sheet, answers(sheet, states(sheet, marked, unsure)))]


GOOD = {"AR-00/pages/13", "AR-00/pages/14", "AR-00/minutes/20", "AR-00/section-2/wrong/3"}


def test_a_day_that_fits_together_raises_no_doubt() -> None:
    assert sentences(GOOD) == []


def test_an_untouched_sheet_raises_no_doubt() -> None:
    assert sentences(set()) == []


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"AR-00/minutes/40"}, "Arithmetic: minutes: more than one box is marked (20, 40)."),
        ({"AR-00/pages/17"}, "Arithmetic: pages done: there is a gap between the pages (13, 14, 17)."),
        ({"AR-01/all done/13-17", "AR-01/minutes/5"}, "Language: all done is marked, but no page is."),
        ({"AR-00/all done/13-17"}, "Arithmetic: all done is marked, but of the goal, pages 13 to 17, only 13, 14 is."),
        ({"AR-01/section-2/cleared/yes"}, "Language, section 2, pages 13 to 23: re-marked, all right, but no question is marked as wrong."),
        ({"AR-02/pages/13"}, "Science: minutes: no box is marked, though pages are done."),
        ({f"AR-00/section-2/wrong/{n}" for n in range(4, 16)}, "Arithmetic, section 2, pages 13 to 23: wrong: 13 of 24, more than half."),
        ({"AR-00/section-2/right/yes"}, "Arithmetic, section 2, pages 13 to 23: all right is marked, and so are wrong questions."),
        ({"AR-01/check-1/tens/2"}, "Language, progress check 1: tens: one digit of two is marked."),
        ({"AR-01/check-1/ones/2"}, "Language, progress check 1: tens: one digit of two is marked."),
        ({"AR-01/check-1/tens/2", "AR-01/check-1/ones/2", "AR-01/check-1/ones/3"}, "Language, progress check 1: ones: more than one box is marked (2, 3)."),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_said(more: set[str], words: str) -> None:
    assert sentences(GOOD | more) == [words]


def test_a_page_that_is_unsure_is_no_gap() -> None:
    assert sentences(GOOD | {"AR-00/pages/16"}, frozenset({"AR-00/pages/15"})) == []


def test_answers_of_a_page_that_was_not_read_are_left_out() -> None:
    sheet = noa()
    given = answers(sheet, states(sheet, set(), number=2))
    on_second = {box.group for box in sheet.page(2).boxes}

    assert {answer.group.id for answer in given} == on_second


def test_a_score_that_does_not_go_with_the_wrong_questions_is_said() -> None:
    """45 questions: 40 right leaves 5 wrong, and 4 are marked."""
    sheet = sitting()
    score = {"SC-07/unit/tens/4", "SC-07/unit/ones/0"}
    wrong = {f"SC-07/unit/wrong/{n}" for n in (1, 2, 3, 4)}
    watched = {"SC-07/watcher/ruth"}

    assert sentences(score | wrong | watched, sheet=sheet) == [
        "Science, unit test: 40 right and 4 wrong, of 45."
    ]
    assert sentences(score | wrong | watched | {"SC-07/unit/wrong/5"}, sheet=sheet) == []
