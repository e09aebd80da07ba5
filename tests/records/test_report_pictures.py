"""The rulers of a course: to scale, inked where it was worked, the bracket over the pages that were planned."""

import re
from datetime import date
from xml.etree import ElementTree as ET

import pytest

from markstead.records.report_pictures import GAP, WIDTH, course_rulers
from markstead.records.term_reports import BookState, BookWork
from markstead.rules.load import read_programme
from tests.tools.homes import RULES, WORKBOOKS

FIRST, SECOND = read_programme(RULES, WORKBOOKS).courses["sums-5"].workbooks
SCALE = 9.0
"""Eighteen pages fit at the largest scale."""


def work(
    before: int, done: int, state: BookState = BookState.IN_HAND, *, second: bool = False, again: bool = False
) -> BookWork:
    """A copy with pages 1 to `before` worked before, and on to `done` in the span."""
    return BookWork(
        "c",
        SECOND if second else FIRST,
        frozenset(range(1, before + 1)),
        frozenset(range(before + 1, done + 1)),
        (),
        state,
        date(2026, 1, 14) if state is BookState.FINISHED else None,
        again,
    )


def drawn(*books: BookWork, planned: int | None = None) -> ET.Element:
    found = course_rulers(books, planned)
    assert found is not None
    return ET.fromstring(found.svg)  # well-formed, too


def paths(svg: ET.Element, width: str) -> list[ET.Element]:
    return [e for e in svg.iter("{http://www.w3.org/2000/svg}path") if e.get("stroke-width") == width]


def spans(svg: ET.Element) -> list[tuple[float, str | None]]:
    """Length and strength of each inked run."""
    found = []
    for e in paths(svg, "6"):
        match = re.fullmatch(r"M([\d.]+) [\d.]+H([\d.]+)", e.get("d") or "")
        assert match is not None
        found.append((float(match[2]) - float(match[1]), e.get("stroke-opacity")))
    return found


def test_pages_are_inked_to_scale_and_those_from_before_lightly() -> None:
    assert spans(drawn(work(4, 9))) == [(4 * SCALE, ".28"), (5 * SCALE, "1")]


def test_each_workbook_has_its_stops_and_its_number() -> None:
    svg = drawn(work(0, 9, BookState.FINISHED), work(0, 2, second=True))

    long = [e for e in paths(svg, "1") if "v-11" in (e.get("d") or "")]
    assert [(e.get("d") or "").count("v-11") for e in long] == [2, 2]  # two sections each
    assert [e.text for e in svg.iter("{http://www.w3.org/2000/svg}text")] == ["1", "2"]
    assert [bool(e.get("stroke-dasharray")) for e in svg.iter() if "v-15M" in (e.get("d") or "")] == [
        False,
        True,
    ]


@pytest.mark.parametrize(
    ("planned", "end"),
    [
        (2, 6 * SCALE),  # pages 5 and 6
        (7, 9 * SCALE + GAP + 2 * SCALE),  # five of the first workbook, two of the second
    ],
)
def test_the_bracket_runs_over_the_planned_pages(planned: int, end: float) -> None:
    svg = drawn(work(4, 9, BookState.FINISHED), work(0, 2, second=True), planned=planned)

    ((d,),) = [re.findall(r"^M([\d.]+) [\d.]+v4H([\d.]+)v-4$", e.get("d") or "") for e in paths(svg, "1.2")]
    assert [float(x) for x in d] == pytest.approx([0.5 + 4 * SCALE + 0.7, 0.5 + end - 0.7], abs=0.02)


def test_a_plan_beyond_what_is_drawn_ends_in_an_arrow() -> None:
    (bracket,) = paths(drawn(work(0, 3), planned=99), "1.2")

    assert (bracket.get("d") or "").endswith("l-4-2.5m4 2.5l-4 2.5")


def test_a_new_copy_is_no_part_of_the_bracket() -> None:
    svg = drawn(work(8, 9, BookState.NOT_PASSED), work(0, 3, again=True), planned=2)

    (bracket,) = paths(svg, "1.2")
    assert "l-4-2.5" in (bracket.get("d") or "")  # only page 9 was new here


def test_a_long_course_stays_within_its_width() -> None:
    svg = drawn(*[work(0, 9, BookState.FINISHED) for _ in range(30)])

    numbers = [float(x) for e in svg.iter() for x in re.findall(r"[MH]([\d.]+)", e.get("d") or "")]
    assert max(numbers) <= WIDTH


def test_it_says_in_words_what_it_shows() -> None:
    found = course_rulers((work(4, 9, BookState.FINISHED), work(0, 2, second=True)), 7)

    assert found is not None
    assert found.words == (
        "workbook 1: 9 of 9 pages, finished; workbook 2: 2 of 9 pages, in hand. 7 pages were planned."
    )
    assert course_rulers((), 3) is None
