"""Placements: kept as a document, off the record, until the educator takes a result."""

import json

import pytest

from markstead.errors import InputError, UnknownError
from markstead.records import placements
from markstead.records.models import Document
from markstead.records.openings import Opening, Where
from markstead.records.placements import PlacementNow
from tests.records.house import House, entries, standing


def now(house: House, learner: str = "asa", course: str = "maths-5") -> PlacementNow:
    return placements.find(house.home, learner, course)


def take(house: House, *results: tuple[int, int], course: str = "maths-5") -> PlacementNow:
    for workbook, right in results:
        there = now(house, course=course)
        seen = len(there.kept.results)
        placements.answer(there, workbook=workbook, right=right, asked=6, seen=seen, at=house.clock)
    return now(house, course=course)


def test_before_the_first_test_every_place_is_as_likely_as_any_other(house: House) -> None:
    found = now(house)

    assert len(found.spread) == 13
    assert max(found.spread) == pytest.approx(min(found.spread))
    assert found.next is not None
    assert found.advice.tests == 0


def test_answers_move_the_belief_and_name_the_workbooks(house: House) -> None:
    well, badly = take(house, (6, 6)).advice.begin, 0
    badly = take(house, (6, 0), course="reading-5").advice.begin

    assert badly < 7 <= well
    assert "Begin with" in now(house).advice.words
    title = house.home.programme.course("maths-5").workbooks[well - 1].title
    assert title in now(house).advice.words


def test_a_workbook_failed_below_one_that_went_well_is_told_as_a_gap(house: House) -> None:
    found = take(house, (3, 1), (6, 6), (9, 6), (8, 6))

    assert [gap.workbook for gap in found.advice.gaps] == [3]


def test_it_stops_when_enough_was_asked(house: House) -> None:
    for _ in range(9):
        found = now(house)
        if found.next is None:
            break
        take(house, (found.next.workbook, 6 if found.next.workbook <= 5 else 0))
    found = now(house)

    assert found.next is None
    assert 2 <= len(found.kept.results) <= 8
    assert abs(found.advice.begin - 6) <= 1


def test_nothing_is_on_the_record_before_it_is_taken(house: House) -> None:
    take(house, (6, 6), (9, 1))
    assert entries() == []


def test_what_is_kept_names_nobody(house: House) -> None:
    take(house, (6, 6))

    text = Document.objects.filter(kind=placements.KIND).latest("version").text
    (kept,) = json.loads(text)["placements"]
    assert kept["learner"] == house.person("asa")
    assert "asa" not in text.lower()


def test_a_test_that_is_sent_twice_counts_once(house: House) -> None:
    there = now(house)
    placements.answer(there, workbook=6, right=6, asked=6, seen=0, at=house.clock)
    with pytest.raises(InputError, match="1 results, where your page showed 0"):
        placements.answer(there, workbook=6, right=6, asked=6, seen=0, at=house.clock)
    assert len(now(house).kept.results) == 1


def test_the_latest_test_can_be_struck(house: House) -> None:
    before = take(house, (6, 6))
    take(house, (9, 0))
    placements.take_back(now(house), seen=2, at=house.clock)
    placements.take_back(now(house), seen=2, at=house.clock)  # an old page strikes nothing more

    assert now(house).kept == before.kept


def test_a_guess_counts_without_any_test(house: House) -> None:
    placements.guess(now(house), 9, at=house.clock)

    found = now(house)
    assert found.kept.guess == 9
    assert max(range(13), key=lambda place: found.spread[place]) == 8
    placements.guess(found, None, at=house.clock)
    assert max(now(house).spread) == pytest.approx(min(now(house).spread))


@pytest.mark.parametrize(
    ("workbook", "right", "asked", "says"),
    [
        (13, 3, 6, "workbook"),
        (0, 3, 6, "workbook"),
        (3, 7, 6, "right answers"),
        (3, -1, 6, "right"),
        (3, 0, 0, "questions"),
    ],
)
def test_what_cannot_be_is_refused(house: House, workbook: int, right: int, asked: int, says: str) -> None:
    with pytest.raises(InputError, match=says):
        placements.answer(now(house), workbook=workbook, right=right, asked=asked, seen=0, at=house.clock)
    assert placements.kept_placements("home") == ()


def test_a_result_that_is_taken_is_where_the_learner_stands(house: House) -> None:
    there = take(house, (6, 6))
    opening = Opening("asa", "maths-5", Where.HAND, "maths-5-07", 0)
    placements.take(there, opening, by="ruth", at=house.clock)

    (copy,) = {getattr(e.fact, "copy", "") for e in entries()}
    assert standing(copy).workbook == "maths-5-07"
    assert now(house).kept.taken == "maths-5-07"
    assert len(now(house).kept.results) == 1


def test_a_result_that_cannot_be_taken_leaves_no_trace(house: House) -> None:
    house.bring("begun", learner="asa", workbook="maths-5-01")
    before = len(entries())
    with pytest.raises(InputError, match="on the record already"):
        placements.take(
            now(house), Opening("asa", "maths-5", Where.HERE, "maths-5-07"), by="ruth", at=house.clock
        )
    assert len(entries()) == before
    assert placements.kept_placements("home") == ()


def test_placements_of_two_homes_are_apart(house: House, next_door: House) -> None:
    take(house, (6, 6))
    placements.guess(placements.find(next_door.home, "trent", "maths-5"), 3, at=house.clock)

    assert [p.learner for p in placements.kept_placements("home")] == [house.person("asa")]
    assert [p.learner for p in placements.kept_placements("away")] == [next_door.person("trent")]


def test_only_a_learner_in_a_course_of_theirs_is_placed(house: House) -> None:
    with pytest.raises(InputError, match="a course that Noa takes"):
        now(house, "noa", "maths-5")
    with pytest.raises(InputError, match="who is no learner"):
        now(house, "ruth")
    with pytest.raises(UnknownError):
        now(house, "asa", "latin-5")
