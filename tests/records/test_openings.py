"""Where learners stand when a record begins: written as it is, and nothing made up."""

import pytest

from markstead.errors import InputError
from markstead.ledger import facts as f
from markstead.measure.marks import marks_of
from markstead.records import actions as a
from markstead.records import queries, upkeep
from markstead.records.openings import REASON, Opening, Where, write_openings
from markstead.rules.ruling import RefusedError
from markstead.rules.standing import CopyStatus, Cycle
from markstead.rules.steps import CallKind
from tests.records.house import House, entries, standing

FOURTH = "maths-5-04"
"""36 pages: sections end on 6, 11, 17, 24, 29, 35, checks stand on 12, 25, 36."""


def open_(house: House, *openings: Opening, by: str = "ruth") -> tuple[str, ...]:
    return write_openings("home", openings, by=by, at=house.clock)


def hand(page: int, workbook: str = FOURTH, learner: str = "asa") -> Opening:
    return Opening(learner, workbook.rsplit("-", 1)[0], Where.HAND, workbook, page)


def test_a_workbook_in_hand_goes_on_where_the_learner_stands(house: House) -> None:
    (copy,) = open_(house, hand(13))

    there = standing(copy)
    assert there.status is CopyStatus.ISSUED
    assert there.learner == house.person("asa")
    assert there.pages == frozenset(range(1, 14))
    assert {stop for stop, kept in there.stops.items() if kept.cycle is Cycle.CLEARED} == {
        "section-1",
        "section-2",
        "check-1",
    }
    today = queries.today("home", now=house.clock)
    (line,) = next(day for day in today.learners if day.learner.key == "asa").copies
    assert line.next.what == "Work pages 14-17"


def test_nothing_is_made_up_for_what_was_worked_before(house: House) -> None:
    (copy,) = open_(house, hand(36))

    marks = marks_of(copy, entries(copy=copy))
    assert marks.marked == ()
    assert marks.worked == ()
    assert {type(e.fact) for e in entries()}.isdisjoint({f.FirstMarking, f.PagesWorked, f.UnitTestScored})
    assert standing(copy).minutes == 0
    # Everything is cleared: the practice test is next, as it would be for anybody.
    house.do(a.open_practice_test, copy=copy)


def test_a_section_that_is_not_done_is_marked_in_the_usual_way(house: House) -> None:
    (copy,) = open_(house, hand(13))

    house.do(a.work_pages, copy=copy, first=14, last=17, by="asa")
    with pytest.raises(RefusedError, match="has not been given"):
        house.do(a.mark, copy=copy, stop="section-3", wrong=(), by="asa")
    with pytest.raises(RefusedError, match="not been marked yet"):
        house.do(a.hold_spot_check, copy=copy, stop="section-1", answers=[(1, True)])


def test_the_gate_of_earlier_workbooks_is_passed_with_a_reason_on_the_record(house: House) -> None:
    (copy,) = open_(house, hand(0))

    kinds = [e.fact.KIND for e in entries(copy=copy)]
    assert kinds == ["copy ordered", "copy received", "gate overridden", "copy issued"]
    notes = queries.history("home", copy=copy)
    assert [n.words for n in notes if n.words] == [REASON]


def test_the_first_workbook_of_a_course_passes_no_gate(house: House) -> None:
    (copy,) = open_(house, hand(0, "maths-5-01"))

    assert [e.fact.KIND for e in entries(copy=copy)] == ["copy ordered", "copy received", "copy issued"]


@pytest.mark.parametrize(
    ("where", "status"), [(Where.HERE, CopyStatus.IN_THE_HOUSE), (Where.ORDERED, CopyStatus.ON_ORDER)]
)
def test_a_copy_that_waits_is_kept_for_its_learner(house: House, where: Where, status: CopyStatus) -> None:
    (copy,) = open_(house, Opening("asa", "maths-5", where, FOURTH))

    assert (standing(copy).status, standing(copy).learner) == (status, house.person("asa"))


def calls(house: House, kind: CallKind) -> list[queries.Call]:
    asa = house.person("asa")
    return [c for c in house.page().calls if c.kind is kind and c.learner is not None and c.learner.id == asa]


def test_who_joins_a_course_further_on_is_called_for_the_copy_that_lies_ready(house: House) -> None:
    (copy,) = open_(house, Opening("asa", "maths-5", Where.HERE, FOURTH))

    (issue,) = calls(house, CallKind.ISSUE)
    assert issue.copy is not None
    assert (issue.copy.id, issue.blocks) == (copy, queries.BEGINS_HERE)
    assert issue.copy.begins_here
    wanted = {c.workbook.code for c in calls(house, CallKind.ORDER) if c.workbook is not None}
    assert not {code for code in wanted if code.startswith("maths-5-")}


def test_after_the_workbook_in_which_the_record_began_comes_the_next(house: House) -> None:
    (copy,) = open_(house, hand(36))
    house.do(a.open_practice_test, copy=copy)
    house.do(a.score_practice_test, copy=copy, wrong=())
    house.do(a.decide_readiness, copy=copy, ready=True)
    house.until_next_morning()
    house.do(a.sit_unit_test, copy=copy, watcher="ruth", aids=("pencil",))
    house.do(a.score_unit_test, copy=copy, right=house.needed(FOURTH))

    wanted = {c.workbook.code for c in calls(house, CallKind.ORDER) if c.workbook is not None}
    assert {code for code in wanted if code.startswith("maths-5-")} == {"maths-5-05"}


@pytest.mark.parametrize("where", [Where.NOTHING, Where.FIND])
def test_what_is_not_begun_leaves_nothing_on_the_record(house: House, where: Where) -> None:
    assert open_(house, Opening("asa", "maths-5", where)) == ()
    assert entries() == []


@pytest.mark.parametrize(
    ("opening", "says"),
    [
        (hand(37), "last page done: found 37; allowed is a whole number from 0 to 36"),
        (hand(-1), "last page done: found -1"),
        (
            Opening("asa", "maths-5", Where.HERE, FOURTH, 3),
            "allowed is 0, for a workbook that is not in hand",
        ),
        (Opening("asa", "maths-5", Where.HAND, "reading-5-01"), "workbook: found 'reading-5-01'"),
        (Opening("asa", "maths-5", Where.HAND), "workbook: found nothing"),
    ],
)
def test_what_cannot_be_meant_is_refused_whole(house: House, opening: Opening, says: str) -> None:
    with pytest.raises(InputError, match=says):
        open_(house, hand(3, "maths-9-01", "noa"), opening)
    assert entries() == []


def test_nobody_begins_twice_in_a_course(house: House) -> None:
    open_(house, hand(3))

    with pytest.raises(InputError, match="a copy of maths-5-04 on the record already"):
        open_(house, hand(0, "maths-5-05"))
    with pytest.raises(InputError, match="on the record already"):
        open_(house, hand(0, "reading-5-01"), hand(0, "reading-5-02"))
    assert len({e.fact.copy for e in entries() if isinstance(e.fact, f.CopyOrdered)}) == 1


def test_only_an_educator_says_where_somebody_stands(house: House) -> None:
    with pytest.raises(RefusedError, match="Only an educator"):
        open_(house, hand(3), by="tobi")
    assert entries() == []


def test_the_record_of_an_opening_holds(house: House) -> None:
    open_(house, hand(13), hand(0, "maths-9-02", "noa"))

    assert upkeep.verify("home").holds
    before = standing(entries()[0].fact.copy)  # type: ignore[union-attr]
    upkeep.rebuild("home")
    assert standing(entries()[0].fact.copy) == before  # type: ignore[union-attr]
