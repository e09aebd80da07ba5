"""The order sheet: read back as a spreadsheet reads it, and as paper; nobody's name goes to a supplier."""

import csv
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, timedelta

import pypdfium2
import pytest

from markstead.errors import InputError
from markstead.records import ahead, ordering, queries, typeset
from markstead.records import order_papers as papers
from markstead.records.order_papers import OrderSheet, SheetLine, Whose
from markstead.records.setup import Newcomer
from markstead.rules.ruling import Role
from tests.records.house import BOOK, House

MATHS = "Quayside Books"
MM = 25.4 / 72
"""Millimetres of a point."""
SIZES = {"a4": (210.0, 297.0), "us-letter": (215.9, 279.4)}
"""ISO 216 and ANSI/ASME Y14.1 (8 1/2 by 11 inches)."""
TRICKY = "#let x = [*Sums* _in_ $a_1$] <end> @ \\ `raw` ~ -- 'quoted' \"too\""


def sheet(*lines: SheetLine, **given: object) -> OrderSheet:
    kept = lines or (SheetLine(BOOK, "Large Numbers", "Mathematics 5", 2, 420),)
    whose = (Whose(BOOK, "Large Numbers", "Asa", 1, date(2026, 12, 20)),)
    made = OrderSheet("Tarn End", MATHS, date(2026, 12, 3), kept, 395, "EUR", date(2026, 12, 14), whose)
    return replace(made, **given)  # type: ignore[arg-type]


@contextmanager
def opened(content: bytes) -> Iterator[pypdfium2.PdfDocument]:
    document = pypdfium2.PdfDocument(content)
    try:
        yield document
    finally:
        document.close()


def texts(content: bytes) -> list[str]:
    """The text of each page, with spaces as single ones."""
    with opened(content) as document:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def rows(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8"), newline="")))


# --- CSV ----------------------------------------------------------------------------------------------------------


class TestCsv:
    def test_it_reads_back_as_it_was_ordered(self) -> None:
        lines = (
            SheetLine(BOOK, "Large Numbers", "Mathematics 5", 2, 420),
            SheetLine("maths-5-02", 'Angles, "acute" and\nothers', "Mathematics 5", 1, 1005),
        )
        head, *body = rows(papers.as_csv(sheet(*lines)))
        assert head == ["code", "workbook", "copies", "price each", "sum"]
        assert body[:2] == [
            [BOOK, "Large Numbers", "2", "4.20", "8.40"],
            ["maths-5-02", 'Angles, "acute" and\nothers', "1", "10.05", "10.05"],
        ]

    def test_copies_and_postage_make_the_total(self) -> None:
        *_, postage, total = rows(papers.as_csv(sheet()))
        assert (postage, total) == (["", "postage, EUR", "", "", "3.95"], ["", "total, EUR", "", "", "12.35"])

    def test_lines_end_as_rfc_4180_has_it(self) -> None:
        content = papers.as_csv(sheet())
        assert content.count(b"\r\n") == content.count(b"\n") == 4

    @pytest.mark.parametrize("begin", ["=", "+", "-", "@", "\t", "\r", " ="])
    def test_a_title_that_begins_like_a_formula_is_no_formula(self, begin: str) -> None:
        title = f'{begin}HYPERLINK("http://nowhere.invalid")'
        cell = rows(papers.as_csv(sheet(SheetLine(BOOK, title, "Mathematics 5", 1, 420))))[1][1]
        assert cell == f"'{title}"

    def test_letters_of_other_languages_stay(self) -> None:
        title = "Größe, Ελλάδα, Čas"
        assert rows(papers.as_csv(sheet(SheetLine(BOOK, title, "", 1, 420))))[1][1] == title

    def test_without_a_price_the_cell_is_empty(self) -> None:
        assert rows(papers.as_csv(sheet(SheetLine(BOOK, "Large Numbers", "", 1, None))))[1][3] == ""


# --- PDF ----------------------------------------------------------------------------------------------------------


class TestPdf:
    @pytest.mark.parametrize("paper", typeset.PAPERS)
    def test_it_has_the_size_of_its_paper(self, paper: str) -> None:
        with opened(papers.as_pdf(sheet(), paper)) as document:
            sides = [side * MM for side in document[0].get_size()]
        assert sides == pytest.approx(SIZES[paper], abs=0.1)

    def test_it_says_who_orders_what_from_whom(self) -> None:
        (text,) = texts(papers.as_pdf(sheet()))
        for word in ("Order sheet", "Tarn End", MATHS, "3 December 2026", "14 December 2026"):
            assert word in text
        assert f"{BOOK} Large Numbers Mathematics 5 2 4.20 8.40" in text
        assert "Postage 3.95 Total, EUR 12.35" in text

    def test_what_a_person_typed_is_never_markup(self) -> None:
        lines = (SheetLine("x-1", TRICKY, TRICKY, 1, 420),)
        found = texts(papers.as_pdf(sheet(*lines, household=TRICKY, supplier=TRICKY)))
        assert " ".join(found).replace(" ", "").count(TRICKY.replace(" ", "")) >= 4

    def test_a_long_order_goes_on_over_pages_with_its_head_on_each(self) -> None:
        lines = tuple(SheetLine(f"maths-5-{n:03}", f"Book {n}", "Mathematics 5", 1, 420) for n in range(90))
        found = texts(papers.as_pdf(sheet(*lines)))
        assert len(found) >= 3
        assert [f"Page {n} of {len(found)}" in text for n, text in enumerate(found, 1)] == [True] * len(found)
        assert sum("Code Workbook Course Copies Each Sum" in text for text in found) >= len(found) - 1
        whole = " ".join(found)
        assert all(f"maths-5-{n:03} Book {n} " in whole for n in range(90))
        assert "Total, EUR 381.95" in found[-1]

    def test_a_very_long_title_stays_on_its_page(self) -> None:
        title = "Numbers " * 60 + "Unbreakable" * 20
        with opened(papers.as_pdf(sheet(SheetLine(BOOK, title, "Mathematics 5", 1, 420)))) as document:
            width = document[0].get_size()[0]
            text = document[0].get_textpage()
            boxes = [text.get_rect(n) for n in range(text.count_rects())]
        assert boxes
        assert max(right for _, _, right, _ in boxes) <= width

    def test_the_supplier_s_sheet_names_no_child(self) -> None:
        assert "Asa" not in " ".join(texts(papers.as_pdf(sheet())))
        assert b"Asa" not in papers.as_csv(sheet())

    def test_the_educator_s_own_copy_has_a_page_more_with_names(self) -> None:
        first, second = texts(papers.as_pdf(sheet(), for_whom=True))
        assert "Page 1 of 1" in first
        assert "Asa" not in first
        assert f"{BOOK} Large Numbers Asa 1 20 December 2026" in second

    def test_the_same_sheet_is_the_same_file(self) -> None:
        assert papers.as_pdf(sheet()) == papers.as_pdf(sheet())
        assert papers.as_pdf(sheet()) != papers.as_pdf(sheet(day=date(2026, 12, 4)))

    def test_an_unknown_paper_is_refused(self) -> None:
        with pytest.raises(InputError, match="one of a4, us-letter"):
            papers.as_pdf(sheet(), "a5")


@pytest.mark.parametrize(
    ("supplier", "name"),
    [
        ("Tern & Daughters", "order-tern-daughters-2026-12-03.pdf"),
        ("../../x\r\nY", "order-x-y-2026-12-03.pdf"),
        ("Ελλάδα", "order-supplier-2026-12-03.pdf"),
    ],
)
def test_a_file_s_name_is_one_that_every_system_takes(supplier: str, name: str) -> None:
    assert papers.file_name(sheet(supplier=supplier), "pdf") == name


# --- from the order plan ------------------------------------------------------------------------------------------


@pytest.fixture
def two(db: None) -> House:
    """A house in which Asa and Ben take the same course."""
    ahead._AHEAD.clear()
    people = (
        Newcomer("ruth", "Ruth", Role.EDUCATOR),
        Newcomer("asa", "Asa", Role.LEARNER, 5, ("maths-5",)),
        Newcomer("ben", "Ben", Role.LEARNER, 5, ("maths-5",)),
    )
    return House(people=people)


def planned(house: House) -> OrderSheet:
    home = queries.home_of(house.id)
    return papers.sheet_of(ordering.order_reading(home, house.clock.date()), home, MATHS)


def test_copies_of_two_learners_are_one_line(two: House) -> None:
    home, today = queries.home_of(two.id), two.clock.date()
    order = next(k.order for k in ordering.order_reading(home, today).orders)
    made = planned(two)
    line = next(line for line in made.lines if line.workbook == BOOK)
    assert line.quantity == sum(x.quantity for x in order.lines if x.workbook == BOOK) >= 2
    assert {"Asa", "Ben"} <= {row.who for row in made.whose if row.workbook == BOOK}
    assert (made.value, made.postage) == (order.value, order.postage)
    assert made.expected == today + (order.at_the_latest - order.by)


def test_of_a_supplier_with_nothing_to_order_there_is_no_sheet(two: House) -> None:
    home = queries.home_of(two.id)
    with pytest.raises(InputError, match=f"a supplier with something to order: {MATHS}"):
        papers.sheet_of(ordering.order_reading(home, two.clock.date()), home, "Nobody")


def test_an_order_that_is_not_in_the_plan_any_more_has_no_sheet(two: House) -> None:
    home, today = queries.home_of(two.id), two.clock.date()
    with pytest.raises(InputError, match="an order of the plan as it is now"):
        papers.sheet_of(ordering.order_reading(home, today), home, MATHS, by=today - timedelta(1))


def test_what_was_ordered_on_a_day_has_its_sheet_until_it_comes(two: House) -> None:
    home, today = queries.home_of(two.id), two.clock.date()
    order = next(k.order for k in ordering.order_reading(home, today).orders)
    before = planned(two)
    day = today + timedelta(9)
    by = two.person("ruth")
    done = ordering.place(two.id, order, by=by, at=two.clock, expected=day)
    after = papers.sheet_of_parcel(home, MATHS, today, today)
    assert (after.lines, after.postage, after.expected) == (before.lines, before.postage, day)
    copies = [copy for entry in done.entries if (copy := getattr(entry.fact, "copy", None))]
    ordering.receive_all(two.id, copies, by=by, at=two.clock)
    with pytest.raises(InputError, match="a supplier and a day with copies on the way"):
        papers.sheet_of_parcel(home, MATHS, today, today)
