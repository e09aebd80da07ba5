"""Answers that do not go together are shown to a person, however clear each box is."""

import pytest

from markstead.paper.boxes import BoxReading, State
from markstead.paper.layout import Sheet
from markstead.paper.read import PageReading, Quality
from markstead.paper.sense import answers, doubts
from tests.paper.cast import asa, noa

ASA = asa()


def page(
    sheet: Sheet, marked: set[str], unsure: frozenset[str] = frozenset(), number: int = 1
) -> PageReading:
    """A reading in which these boxes are marked."""
    import numpy as np

    assert marked | unsure <= {box.id for box in sheet.page(number).boxes}
    boxes = tuple(
        BoxReading(
            box.id,
            State.MARKED if box.id in marked else State.UNSURE if box.id in unsure else State.EMPTY,
            1.0,
            *box.centre,
            1.0,
        )
        for box in sheet.page(number).boxes
    )
    quality = Quality(4, 0.95, 0.0, 0.01, 0.1)
    return PageReading("photo", sheet, number, boxes, quality, False, (), np.zeros((1, 1), np.uint8))


def sentences(marked: set[str], unsure: frozenset[str] = frozenset()) -> list[str]:
    given = answers(ASA, (page(ASA, marked, unsure),))
    return [doubt.sentence for doubt in doubts(ASA, given)]


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
        ({"AR-01/all done/yes", "AR-01/minutes/5"}, "Language: all done is marked, but no page is."),
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
    given = answers(sheet, (page(sheet, set(), number=2),))
    on_second = {box.group for box in sheet.page(2).boxes}

    assert {answer.group.id for answer in given} == on_second
