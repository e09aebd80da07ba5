"""A quick line at the desk: told before it is recorded, ruled on like every act, undone as one."""

from datetime import timedelta

import pytest

from markstead.errors import InputError
from markstead.ledger import facts as f
from markstead.ledger.facts import PRACTICE, Presence, Step
from markstead.records import actions as a
from markstead.records import quick, upkeep
from markstead.records.desk import Slip
from markstead.rules.bars import BarKind as B
from markstead.rules.ruling import RefusedError
from markstead.rules.standing import Cycle
from tests.records.house import House, entries, standing


def look(house: House, text: str, by: str = "ruth", **given: str) -> quick.Look:
    return quick.look(house.id, text, by=by, at=house.clock + timedelta(minutes=1), **given)


def record(house: House, text: str, by: str = "ruth", **given: object) -> list[f.AnyFact]:
    house.clock += timedelta(minutes=1)
    done = quick.record(house.id, text, by=by, at=house.clock, **given)  # type: ignore[arg-type]
    return [entry.fact for entry in done.entries]


def test_a_line_records_its_acts_and_the_leave_that_its_educator_gave(house: House) -> None:
    copy = house.bring("begun")
    book = house.home.programme.workbook("maths-5-01")
    last = book.stops[0].last
    found = record(house, f"asa maths 1-{last} 35 min wrong 3 7")
    assert found == [
        f.PagesWorked(copy, house.clock.date(), 1, last, 35),
        f.LeaveGiven(copy, Step.MARK, "section-1"),
        f.FirstMarking(copy, "section-1", book.stops[0].questions, (3, 7)),
    ]
    assert len({entry.act for entry in entries()[-3:]}) == 1
    assert [entry.written for entry in entries()[-3:]] == [house.clock] * 3


def test_what_is_told_before_is_what_is_recorded_after(house: House) -> None:
    house.bring("begun")
    before = entries()
    told = look(house, "asa maths 1-3 20 min")
    assert told.goes
    assert (told.who, told.book) == ("Asa", house.home.programme.workbook("maths-5-01").title)
    assert told.facts == ("Pages 1-3 worked in 20 min",)
    assert entries() == before
    record(house, "asa maths 1-3 20 min")
    assert len(entries()) == len(before) + 1


def test_a_shut_gate_is_named_before_and_refused_after_with_the_same_bars(house: House) -> None:
    house.bring("begun")
    told = look(house, "asa maths 1-2 wrong 3")
    assert told.facts == ("Pages 1-2 worked",)
    assert told.shut == "Leave to mark given, section 1"
    assert [bar.kind for bar in told.bars] == [B.PAGES_LEFT]
    assert not told.goes
    before = entries()
    with pytest.raises(RefusedError) as refused:
        record(house, "asa maths 1-2 wrong 3")
    assert refused.value.ruling.bars == told.bars
    assert entries() == before


def test_re_marking_tells_that_it_was_corrected(house: House) -> None:
    copy = house.bring("marked")
    kinds = [type(fact) for fact in record(house, "asa maths re-mark right")]
    assert kinds == [f.Corrected, f.LeaveGiven, f.ReMarked]
    assert standing(copy).stop("section-1").cycle is Cycle.CLEARED


def test_many_wrong_want_a_quiz_or_help_first_and_help_in_the_same_line_is_enough(house: House) -> None:
    copy = house.bring("worked")
    many = "wrong 1-24"
    assert [bar.kind for bar in look(house, f"asa maths {many} re-mark right").bars] == [B.QUIZ_FIRST]
    record(house, f"asa maths {many} helped re-mark right")
    assert standing(copy).stop("section-1").cycle is Cycle.CLEARED


def test_a_check_that_was_worked_was_opened(house: House) -> None:
    copy = house.bring("check ahead")
    check = house.home.programme.workbook("maths-5-01").checks[0]
    found = record(house, f"asa maths {check.first}-{check.last} right")
    assert found[0] == f.CheckOpened(copy, check.id)
    assert standing(copy).stop(check.id).cycle is Cycle.CLEARED


def test_a_practice_test_is_opened_scored_and_corrected_in_one_line(house: House) -> None:
    copy = house.bring("stops cleared")
    found = record(house, "asa maths practice 27 of 30 wrong 4 9 22 re-mark right")
    assert found[0] == f.PracticeTestOpened(copy, 1)
    assert found[1] == f.PracticeTestScored(copy, 1, 27, 30, 24, (4, 9, 22))
    assert standing(copy).stop(PRACTICE).cycle is Cycle.CLEARED


def test_a_sitting_is_never_taken_as_done(house: House) -> None:
    house.bring("ready")
    assert [bar.kind for bar in look(house, "asa maths unit 24/30").bars] == [B.NOT_SAT]


def test_a_unit_test_that_was_sat_is_scored(house: House) -> None:
    copy = house.bring("sat")
    assert record(house, "asa maths unit 24/30") == [f.UnitTestScored(copy, 24, 30, 24)]


def test_help_talk_corrections_and_a_sick_day(house: House) -> None:
    copy = house.bring("issued")
    assert record(house, "asa maths talk") == [f.OpeningTalkHeld(copy)]
    assert record(house, "asa maths 3 help") == [f.HelpAsked(copy, 3)]
    assert record(house, "asa maths helped 5 min") == [f.HelpGiven(copy, 5)]
    asa = house.person("asa")
    assert record(house, "asa sick") == [f.AttendanceTaken(asa, house.clock.date(), Presence.ABSENT)]


def test_a_second_marking_without_its_word_is_told(house: House) -> None:
    house.bring("marked")
    told = look(house, "asa maths right")
    assert "section 1 was marked already" in str(told.problems[0])
    with pytest.raises(InputError, match="re-mark right"):
        record(house, "asa maths right")


def test_a_helper_logs_but_gives_no_leave(house: House) -> None:
    copy = house.bring("worked")
    told = look(house, "asa maths right", by="tobi")
    assert [bar.kind for bar in told.bars] == [B.NO_LEAVE]
    assert record(house, "asa maths 2 help", by="tobi") == [f.HelpAsked(copy, 2)]


def test_a_line_is_undone_as_one(house: House) -> None:
    copy = house.bring("begun")
    last = house.home.programme.workbook("maths-5-01").stops[0].last
    was = standing(copy)
    house.clock += timedelta(minutes=1)
    done = quick.record(house.id, f"asa maths 1-{last} wrong 2 re-mark right", by="ruth", at=house.clock)
    assert len(done.entries) == 6
    house.do(a.undo, act=done.act)
    now = standing(copy)
    assert (now.pages, now.stops, now.leave) == (was.pages, was.stops, was.leave)
    assert upkeep.verify(house.id).holds


def test_the_same_line_sent_twice_is_recorded_once(house: House) -> None:
    house.bring("begun")
    slip = Slip(act="one-line")
    assert len(record(house, "asa maths 1-2", slip=slip)) == 1
    before = entries()
    again = quick.record(house.id, "asa maths 1-2", by="ruth", at=house.clock, slip=slip)
    assert again.again
    assert entries() == before


def test_a_gate_is_passed_with_a_reason_by_an_educator(house: House) -> None:
    copy = house.bring("worked")
    slip = Slip(override="taught it on the walk")
    found = record(house, "asa maths wrong 1-24 re-mark right", slip=slip)
    assert f.GateOverridden in [type(fact) for fact in found]
    assert standing(copy).stop("section-1").cycle is Cycle.CLEARED
    assert upkeep.verify(house.id).holds


def test_a_page_of_one_copy_or_one_learner_knows_whom_it_is_about(house: House) -> None:
    copy = house.bring("begun")
    assert look(house, "1-3", copy=copy).goes
    assert look(house, "1-3", learner=house.person("asa")).goes
    assert "noa" in str(look(house, "noa 1-3", copy=copy).problems[0])


def test_a_line_that_is_not_understood_writes_nothing_and_names_the_word(house: House) -> None:
    house.bring("begun")
    before = entries()
    with pytest.raises(InputError, match=r"word 2 \(letter 5\): found 'mahts'"):
        record(house, "asa mahts 1-3")
    assert entries() == before
