"""Layouts: every coordinate once, the same for the printer and for the reader."""

import json
from dataclasses import asdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.paper.compose import text_size
from markstead.paper.day import Course, Day, StopToMark, day_sheet
from markstead.paper.layout import (
    Asks,
    Kind,
    Paper,
    Sheet,
    layout_hash,
    marker_corners,
    overlaps,
    qr_place,
    read_sheet,
    second_place,
    write_sheet,
)
from markstead.paper.sitting import Sitting, sitting_sheet
from tests.paper.cast import asa, book, day, marking, noa, road, sitting, week

SHEETS = {
    f"{name} on {paper}": make(paper)
    for name, make in {
        "asa": asa,
        "noa": noa,
        "sitting": sitting,
        "marking": marking,
        "week": week,
        "road": road,
    }.items()
    for paper in Paper
}


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS.keys())
class TestEverySheet:
    def test_a_sheet_reads_back_equal(self, sheet: Sheet) -> None:
        assert read_sheet(write_sheet(sheet)) == sheet

    def test_boxes_do_not_touch(self, sheet: Sheet) -> None:
        assert [pair for page in sheet.pages for pair in overlaps(page)] == []

    def test_every_box_has_an_id_of_its_own(self, sheet: Sheet) -> None:
        ids = [box.id for page in sheet.pages for box in page.boxes]

        assert len(ids) == len(set(ids))

    def test_every_box_belongs_to_a_group_of_the_sheet(self, sheet: Sheet) -> None:
        groups = {group.id for group in sheet.groups}

        assert {box.group for page in sheet.pages for box in page.boxes} == groups

    def test_boxes_stay_clear_of_markers_and_codes(self, sheet: Sheet) -> None:
        """4 modules of white around a QR code (ISO/IEC 18004, 6.3.8, from memory): 4 x 20 / 29 = 2.8 mm."""
        paper = sheet.paper
        kept = [
            (x - 2.8, y - 2.8, x + side + 2.8, y + side + 2.8)
            for x, y, side in (qr_place(paper), second_place(paper))
        ]
        kept += [
            (four[0][0] - 1.4, four[0][1] - 1.4, four[2][0] + 1.4, four[2][1] + 1.4)
            for four in marker_corners(paper).values()
        ]
        boxes = [box for page in sheet.pages for box in page.boxes]

        inside = [
            b.id
            for b in boxes
            for x0, y0, x1, y1 in kept
            if b.x < x1 and b.x + b.side > x0 and b.y < y1 and b.y + b.side > y0
        ]

        assert inside == []

    def test_boxes_stay_where_every_printer_prints(self, sheet: Sheet) -> None:
        """Home printers leave at most 6.4 mm of an edge white (a quarter of an inch, from memory)."""
        for page in sheet.pages:
            for box in page.boxes:
                assert box.x > 6.4
                assert box.x + box.side < sheet.paper.width - 6.4
                assert box.y + box.side < sheet.paper.height - 6.4


def test_a_change_of_one_tenth_of_a_millimetre_changes_the_hash() -> None:
    text = write_sheet(asa())
    moved = text.replace('"x":25.55,', '"x":25.65,', 1)

    assert moved != text
    assert layout_hash(read_sheet(moved)) != layout_hash(asa())


def test_a_layout_of_another_version_is_refused() -> None:
    with pytest.raises(ValueError, match="version 2"):
        read_sheet(write_sheet(asa()).replace('"version":1', '"version":2'))


def test_paper_has_the_sizes_of_its_standards() -> None:
    """A4: ISO 216, area 1/16 m2, sides 1 : sqrt 2. US Letter: 8.5 x 11 inches of 25.4 mm."""
    assert (Paper.A4.width, Paper.A4.height) == (210, 297)
    assert (Paper.LETTER.width, Paper.LETTER.height) == pytest.approx((8.5 * 25.4, 11 * 25.4))


def test_a_day_that_does_not_fit_goes_on_on_the_next_page() -> None:
    assert [page.number for page in noa().pages] == [1, 2]


class TestLinesForChanges:
    """Where a learner writes what was changed by hand."""

    @staticmethod
    def lines(sheet: Sheet) -> dict[str, int]:
        """The page of each line, by the group of its box."""
        boxes = [(box, page.number) for page in sheet.pages for box in page.boxes]
        return {box.group: number for box, number in boxes if box.group.startswith("changed/")}

    @pytest.mark.parametrize("paper", Paper)
    @pytest.mark.parametrize("age", [7, 10, 18])
    def test_no_page_is_printed_for_them_alone(self, paper: Paper, age: int) -> None:
        for courses in range(2, 8):
            for questions in (24, 60, 120):
                days = day(courses, age=age, questions=questions)
                sheet = day_sheet(days, sheet_id="00" * 8, paper=paper)
                for page in sheet.pages:
                    assert any(box.group not in self.lines(sheet) for box in page.boxes)
                    assert list(overlaps(page)) == []
                    assert max(box.y + box.side for box in page.boxes) < second_place(paper)[1] - 2

    @pytest.mark.parametrize(
        ("paper", "age", "courses", "questions", "pages"),
        [
            (Paper.A4, 7, 3, 24, {"changed/1": 1, "changed/2": 1}),
            (Paper.LETTER, 7, 3, 24, {"changed/1": 1}),
            (Paper.A4, 7, 2, 120, {"changed/1": 1}),
            (Paper.LETTER, 10, 7, 24, {"changed/1": 1, "changed/2": 1}),
            (Paper.A4, 18, 5, 96, {"changed/1": 1}),
            (Paper.A4, 7, 3, 60, {}),
        ],
        ids=[
            "two where there is room",
            "one where there is less",
            "one beside its words",
            "two at the foot of an earlier page",
            "one at the foot of an earlier page",
            "none on a full page",
        ],
    )
    def test_they_are_laid_where_there_is_room(
        self, paper: Paper, age: int, courses: int, questions: int, pages: dict[str, int]
    ) -> None:
        sheet = day_sheet(day(courses, age=age, questions=questions), sheet_id="00" * 8, paper=paper)

        assert self.lines(sheet) == pages
        assert {group.id for group in sheet.groups if group.asks is Asks.CHANGED} == set(pages)


def test_a_sheet_is_written_as_the_library_writes_it() -> None:
    """`dataclasses.asdict` copies everything deeply, which takes ten times as long, and says the same."""
    written = json.loads(write_sheet(noa()))

    assert written == json.loads(json.dumps({"version": 1, **asdict(noa())}))


@settings(max_examples=40, deadline=None)
@given(
    counts=st.lists(
        st.tuples(st.integers(0, 25), st.lists(st.integers(1, 70), max_size=3)), min_size=1, max_size=7
    ),
    paper=st.sampled_from(list(Paper)),
    age=st.integers(5, 18),
)
def test_no_day_loses_a_question_or_overlaps(
    counts: list[tuple[int, list[int]]], paper: Paper, age: int
) -> None:
    courses = tuple(
        Course(
            f"C{n}", "Arithmetic", book(), (1, 4), pages=tuple(range(1, pages + 1)),
            stops=tuple(StopToMark(f"section-{m}", "a section", tuple(range(1, asked + 1))) for m, asked in enumerate(stops)),
        )
        for n, (pages, stops) in enumerate(counts)
    )  # fmt: skip
    sheet = day_sheet(Day("asa", "Asa", age, "Tuesday", courses), sheet_id="00" * 8, paper=paper)
    wrong = {group.id for group in sheet.groups if group.asks is Asks.WRONG}

    asked = sum(box.group in wrong for page in sheet.pages for box in page.boxes)
    low = max(box.y + box.side for page in sheet.pages for box in page.boxes)

    assert asked == sum(sum(stops) for _, stops in counts)
    assert low <= paper.height - 9 - 16
    assert [pair for page in sheet.pages for pair in overlaps(page)] == []


@pytest.mark.parametrize(("age", "points"), [(5, 13), (7, 13), (8, 11.5), (10, 11.5), (11, 10), (18, 10)])
def test_the_young_read_larger_letters(age: int, points: float) -> None:
    assert text_size(age) == points


def test_one_copy_twice_on_a_day_is_our_mistake() -> None:
    twice = day(1)
    with pytest.raises(ValueError, match="two groups"):
        day_sheet(Day("asa", "Asa", 7, "Tuesday", twice.courses * 2), sheet_id="00" * 8)


@pytest.mark.parametrize("questions", [0, 100])
def test_a_unit_test_has_from_1_to_99_questions(questions: int) -> None:
    one = Sitting(
        "noa", "Noa", 12, "Tuesday", "Science", "Rivers 7", "SC-07", 1, questions, 1, "in the morning"
    )
    with pytest.raises(ValueError, match="1 to 99"):
        sitting_sheet(one, sheet_id="00" * 8)


def test_what_hangs_on_the_wall_is_not_read() -> None:
    assert {sheet.kind for sheet in SHEETS.values() if not sheet.is_read} == {Kind.WEEK, Kind.ROAD}


@pytest.mark.parametrize(("paper", "least"), [(Paper.A4, 300), (Paper.LETTER, 240)])
def test_a_page_holds_the_questions_of_one_course(paper: Paper, least: int) -> None:
    sheet = asa(paper, courses=1, questions=least)

    assert len(sheet.pages) == 1
