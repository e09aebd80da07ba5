"""Every thing a person does: what it writes, and when it is refused."""

import inspect
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import pytest

from markstead.errors import InputError, MarksteadError, UnknownError
from markstead.ledger import facts as f
from markstead.ledger.facts import Presence, Step
from markstead.records import actions as a
from markstead.records.desk import Slip
from markstead.records.models import Words
from markstead.records.setup import set_up
from markstead.rules.bars import BarKind as B
from markstead.rules.ruling import RefusedError
from markstead.rules.standing import CopyStatus, Cycle, standing_of
from tests.records.house import BOOK, CAST, PAPERS, PLACES, TUESDAY, House, entries, standing

SECTION = {"stop": "section-1"}


@dataclass(frozen=True)
class Try:
    """An act on a copy that was brought to a place; `wants` is the fact without its copy, or the bars."""

    place: str
    act: Callable[..., Any]
    given: dict[str, Any] = field(default_factory=dict)
    by: str = "ruth"
    wants: Any = None
    workbook: str = BOOK
    learner: str = "asa"

    def __str__(self) -> str:
        return f"{self.act.__name__} when {self.place}"

    def on(self, house: House) -> tuple[str, Callable[[], Any]]:
        copy = house.bring(self.place, learner=self.learner, workbook=self.workbook)
        return copy, lambda: house.do(self.act, copy=copy, by=self.by, **self.given)


DAY = date(2026, 1, 12)
DONE = [
    Try("on order", a.receive_copy, by="tobi", wants=f.CopyReceived),
    Try("begun", a.hold_oral_quiz, {"answers": [(4, True), (9, False)]}, wants=lambda c: f.OralQuizHeld(c, ((4, True), (9, False)))),
    Try("marked", a.hold_oral_quiz, {"answers": [(3, True)], **SECTION}, wants=lambda c: f.OralQuizHeld(c, ((3, True),), "section-1")),
    Try("issued", a.hold_opening_talk, wants=f.OpeningTalkHeld),
    Try("issued", a.take_over, {"last": 10}, wants=lambda c: f.WorkTakenOver(c, 10, ("section-1", "section-2", "check-1"))),
    Try("issued", a.take_over, {"last": 3}, wants=lambda c: f.WorkTakenOver(c, 3)),
    Try("begun", a.set_goal, {"first": 2, "last": 3}, by="asa", wants=lambda c: f.GoalSet(c, DAY, 2, 3)),
    Try("begun", a.set_goal, {"day": date(2026, 1, 14), "step": Step.MARK}, wants=lambda c: f.GoalSet(c, date(2026, 1, 14), step=Step.MARK)),
    Try("begun", a.set_goal, {}, wants=lambda c: f.GoalSet(c, DAY)),
    Try("begun", a.work_pages, {"first": 1, "last": 2, "minutes": 17}, by="asa", wants=lambda c: f.PagesWorked(c, DAY, 1, 2, 17)),
    Try("begun", a.work_pages, {"first": 1, "last": 1, "day": date(2026, 1, 9)}, by="tobi", wants=lambda c: f.PagesWorked(c, date(2026, 1, 9), 1, 1)),
    Try("begun", a.ask_help, {"page": 3}, by="asa", wants=lambda c: f.HelpAsked(c, 3)),
    Try("begun", a.give_help, {"minutes": 6}, by="tobi", wants=lambda c: f.HelpGiven(c, 6)),
    Try("worked", a.ask_leave, {"step": Step.MARK, **SECTION}, by="asa", wants=lambda c: f.LeaveAsked(c, Step.MARK, "section-1")),
    Try("check ahead", a.ask_leave, {"step": Step.CHECK, "stop": "check-1"}, by="asa", wants=lambda c: f.LeaveAsked(c, Step.CHECK, "check-1")),
    Try("asked", a.give_leave, {"step": Step.MARK, **SECTION}, wants=lambda c: f.LeaveGiven(c, Step.MARK, "section-1")),
    Try("asked again", a.give_leave, {"step": Step.REMARK, **SECTION}, wants=lambda c: f.LeaveGiven(c, Step.REMARK, "section-1")),
    Try("may mark", a.mark, {"wrong": [9, 2, 9], **SECTION}, by="asa", wants=lambda c: f.FirstMarking(c, "section-1", 24, (2, 9))),
    Try("marked", a.correct, SECTION, by="asa", wants=lambda c: f.Corrected(c, "section-1")),
    Try("may re-mark", a.re_mark, {"wrong": [7], **SECTION}, by="asa", wants=lambda c: f.ReMarked(c, "section-1", (7,))),
    Try("marked", a.hold_spot_check, {"answers": [(8, True), (2, False)], **SECTION}, wants=lambda c: f.SpotCheckHeld(c, "section-1", ((8, True), (2, False)))),
    Try("check ahead", a.open_check, {"stop": "check-1"}, wants=lambda c: f.CheckOpened(c, "check-1")),
    Try("stops cleared", a.open_practice_test, wants=lambda c: f.PracticeTestOpened(c, 1)),
    Try("practice open", a.score_practice_test, {"wrong": [30, 4]}, wants=lambda c: f.PracticeTestScored(c, 1, 28, 30, 24, (4, 30))),
    Try("practice open", a.score_practice_test, {"right": 23}, wants=lambda c: f.PracticeTestScored(c, 1, 23, 30, 24)),
    Try("practice passed", a.decide_readiness, {"ready": False}, wants=lambda c: f.ReadinessDecided(c, ready=False)),
    Try("sat", a.score_unit_test, {"right": 24, "wrong": [1, 2, 3, 4, 5, 6]}, wants=lambda c: f.UnitTestScored(c, 24, 30, 24, (1, 2, 3, 4, 5, 6))),
]  # fmt: skip


@pytest.mark.parametrize("attempt", DONE, ids=str)
def test_an_act_writes_its_one_fact(house: House, attempt: Try) -> None:
    copy, act = attempt.on(house)
    before = len(entries())

    done = act()

    (written,) = entries()[before:]
    assert written == done.entries[0]
    assert written.fact == attempt.wants(copy)
    assert (written.by, written.at, written.act) == (house.person(attempt.by), house.clock, done.act)
    assert written.seq == before + 1


REFUSED = [
    Try("on order", a.receive_copy, by="asa", wants={B.ONLY_EDUCATOR}),
    Try("in the house", a.receive_copy, wants={B.NOT_ON_ORDER}),
    Try("on order", a.spoil_copy, {"reason": "wet"}, wants={B.NOT_IN_THE_HOUSE}),
    Try("sat", a.spoil_copy, {"reason": "wet"}, wants={B.TEST_UNDER_WAY}),
    Try("on order", a.issue_copy, {"learner": "asa"}, wants={B.NOT_IN_THE_HOUSE}),
    Try("in the house", a.issue_copy, {"learner": "noa"}, wants={B.COURSE_NOT_TAKEN}),
    Try("in the house", a.issue_copy, {"learner": "asa"}, workbook="maths-5-02", wants={B.EARLIER_WORKBOOK}),
    Try("in the house", a.issue_copy, {"learner": "asa"}, by="tobi", wants={B.ONLY_EDUCATOR}),
    Try("begun", a.hold_opening_talk, wants={B.ALREADY}),
    Try("in the house", a.set_goal, {"first": 1, "last": 2}, wants={B.NOT_ISSUED}),
    Try("issued", a.work_pages, {"first": 1, "last": 2}, by="asa", wants={B.NO_OPENING_TALK}),
    Try("begun", a.work_pages, {"first": 4, "last": 5}, by="asa", wants={B.STOP_NOT_CLEARED}),
    Try("begun", a.work_pages, {"first": 1, "last": 2}, by="noa", wants={B.NOT_THIS_LEARNER}),
    Try("begun", a.work_pages, {"first": 1, "last": 2, "day": date(2026, 1, 13)}, wants={B.IN_THE_FUTURE}),
    Try("check ahead", a.work_pages, {"first": 10, "last": 10}, by="asa", wants={B.CHECK_NOT_OPEN}),
    Try("practice open", a.work_pages, {"first": 1, "last": 1}, by="asa", wants={B.BOOK_CLOSED}),
    Try("sat", a.ask_help, by="asa", wants={B.TEST_UNDER_WAY}),
    Try("begun", a.give_help, by="asa", wants={B.ONLY_EDUCATOR}),
    Try("begun", a.ask_leave, {"step": Step.MARK, **SECTION}, by="asa", wants={B.PAGES_LEFT}),
    Try("asked", a.ask_leave, {"step": Step.MARK, **SECTION}, by="asa", wants={B.ALREADY}),
    Try("marked", a.ask_leave, {"step": Step.REMARK, **SECTION}, by="asa", wants={B.NOT_CORRECTED}),
    Try("worked", a.ask_leave, {"step": Step.MARK, "stop": "section-2"}, by="asa", wants={B.OTHER_STOP_FIRST, B.PAGES_LEFT}),
    Try("asked", a.give_leave, {"step": Step.MARK, **SECTION}, by="tobi", wants={B.ONLY_EDUCATOR}),
    Try("may mark", a.give_leave, {"step": Step.MARK, **SECTION}, wants={B.ALREADY}),
    Try("worked", a.refuse_leave, {"step": Step.MARK, "reason": "blanks", **SECTION}, wants={B.NOT_ASKED}),
    Try("asked", a.mark, {"wrong": [], **SECTION}, by="asa", wants={B.NO_LEAVE}),
    Try("section cleared", a.mark, {"wrong": [], **SECTION}, by="asa", wants={B.ALREADY, B.NO_LEAVE}),
    Try("worked", a.correct, SECTION, by="asa", wants={B.NOT_MARKED}),
    Try("corrected", a.re_mark, {"wrong": [], **SECTION}, by="asa", wants={B.NO_LEAVE}),
    Try("may re-mark", a.re_mark, {"wrong": [4], **SECTION}, by="asa", wants={B.NOT_STILL_WRONG}),
    Try("begun", a.hold_oral_quiz, {"answers": [(1, True)]}, by="tobi", wants={B.ONLY_EDUCATOR}),
    Try("marked", a.hold_spot_check, {"answers": [(8, True)], **SECTION}, by="tobi", wants={B.ONLY_EDUCATOR}),
    Try("begun", a.hold_spot_check, {"answers": [(8, True)], **SECTION}, wants={B.NOTHING_TICKED}),
    Try("marked", a.hold_spot_check, {"answers": [(3, True)], **SECTION}, wants={B.NOT_TICKED}),
    Try("begun", a.open_check, {"stop": "check-1"}, wants={B.OTHER_STOP_FIRST}),
    Try("check ahead", a.open_check, {"stop": "check-1"}, by="asa", wants={B.ONLY_EDUCATOR}),
    Try("check ahead", a.open_practice_test, wants={B.STOP_NOT_CLEARED}),
    Try("practice passed", a.open_practice_test, wants={B.ALREADY}),
    Try("stops cleared", a.score_practice_test, {"right": 30}, wants={B.PRACTICE_NOT_OPEN}),
    Try("practice open", a.score_practice_test, {"right": 30}, by="asa", wants={B.NO_LEAVE}),
    Try("stops cleared", a.decide_readiness, {"ready": True}, wants={B.PRACTICE_NOT_PASSED}),
    Try("ready", a.sit_unit_test, {"watcher": "tobi", "aids": ()}, wants={B.TOO_SOON}),
    Try("ready", a.sit_unit_test, {"watcher": None, "aids": ("calculator",)}, wants={B.TOO_SOON, B.NO_WATCHER, B.AID_NOT_ALLOWED}),
    Try("practice passed", a.sit_unit_test, {"watcher": "asa", "aids": ()}, by="tobi", wants={B.ONLY_EDUCATOR, B.NOT_READY, B.TOO_SOON, B.NO_WATCHER}),
    Try("ready", a.score_unit_test, {"right": 30}, wants={B.NOT_SAT}),
    Try("passed", a.score_unit_test, {"right": 30}, wants={B.ALREADY}),
    Try("passed", a.reorder_workbook, wants={B.NOT_FAILED}),
]  # fmt: skip


@pytest.mark.parametrize("attempt", REFUSED, ids=str)
def test_an_act_out_of_order_names_every_bar_and_writes_nothing(house: House, attempt: Try) -> None:
    _, act = attempt.on(house)
    before = entries()

    with pytest.raises(RefusedError) as refused:
        act()

    assert {bar.kind for bar in refused.value.ruling.bars} == attempt.wants
    assert entries() == before
    assert not Words.objects.exists()
    for bar in refused.value.ruling.bars:
        assert bar.says in str(refused.value)
        assert bar.lifts in str(refused.value)


NONSENSE = [
    (Try("begun", a.work_pages, {"first": 3, "last": 29}), "last page: found 29; allowed is a page from 1 to 28"),
    (Try("begun", a.work_pages, {"first": 3, "last": 2}), "pages run forwards"),
    (Try("begun", a.work_pages, {"first": 1, "last": 1, "minutes": 1441}), "minutes are 1441"),
    (Try("begun", a.set_goal, {"first": 1, "last": 40}), "last page: found 40"),
    (Try("begun", a.set_goal, {"last": 3}), "both its pages or none"),
    (Try("may mark", a.mark, {"wrong": [0, 25], **SECTION}), "wrong questions: found 0, 25; allowed is numbers from 1 to 24"),
    (Try("may mark", a.mark, {"wrong": [], "stop": "section-9"}), "stop: found 'section-9'"),
    (Try("may mark", a.mark, {"wrong": [], "stop": "practice-test"}), "stop: found 'practice-test'"),
    (Try("may re-mark", a.re_mark, {"wrong": [0], **SECTION}), "wrong is 0"),
    (Try("marked", a.hold_oral_quiz, {"answers": []}), "at least one answer"),
    (Try("marked", a.hold_spot_check, {"answers": [], **SECTION}), "looks at one answer or more"),
    (Try("marked", a.hold_spot_check, {"answers": [(8, True), (8, True)], **SECTION}), "none stands twice"),
    (Try("asked", a.give_leave, {"step": Step.CHECK, "stop": "check-1"}), "checks and tests are opened instead"),
    (Try("asked", a.refuse_leave, {"step": Step.MARK, "reason": " \n", **SECTION}), "reason: found nothing"),
    (Try("issued", a.spoil_copy, {"reason": ""}), "reason: found nothing"),
    (Try("check ahead", a.open_check, {"stop": "section-3"}), "one of check-1, check-2, check-3"),
    (Try("practice open", a.score_practice_test, {"right": 31}), "a whole number from 0 to 30"),
    (Try("practice open", a.score_practice_test, {"right": -1}), "right answers: found -1"),
    (Try("practice open", a.score_practice_test, {}), "right answers: found nothing"),
    (Try("practice open", a.score_practice_test, {"right": 28, "wrong": [1, 2, 3]}), "28 right and 3 wrong; allowed is together 30"),
    (Try("practice open", a.score_practice_test, {"wrong": [31]}), "wrong questions: found 31"),
    (Try("sat", a.score_unit_test, {"right": 300}), "a whole number from 0 to 30"),
    (Try("in the house", a.issue_copy, {"learner": "mallory"}), "person: found 'mallory'"),
    (Try("begun", a.ask_help, {"page": 99}), "page: found 99"),
    (Try("ready", a.sit_unit_test, {"watcher": "mallory", "aids": ()}), "person: found 'mallory'"),
]  # fmt: skip


@pytest.mark.parametrize(("attempt", "sentence"), NONSENSE, ids=lambda v: str(v)[:40])
def test_what_cannot_be_meant_is_answered_by_a_sentence(house: House, attempt: Try, sentence: str) -> None:
    _, act = attempt.on(house)
    before = entries()

    with pytest.raises(InputError) as refused:
        act()

    assert sentence in str(refused.value)
    assert entries() == before


ON_A_COPY = [
    (name, act)
    for name, act in vars(a).items()
    if inspect.isfunction(act) and "copy" in inspect.signature(act).parameters and name[0] != "_" and name != "order_copy"
]  # fmt: skip
FILLED: dict[str, Any] = {
    "reason": "wet",
    "learner": "asa",
    "first": 1,
    "last": 1,
    "step": Step.MARK,
    "stop": "section-1",
    "wrong": (),
    "answers": ((1, True),),
    "ready": True,
    "watcher": "ruth",
    "aids": (),
}


def test_goals_of_several_copies_are_set_in_one_act_or_not_at_all(house: House) -> None:
    begun = house.bring("begun", learner="asa")
    goal = f.GoalSet(begun, DAY, 1, 2)
    done = house.do(a.set_goals, goals=[goal], by="ruth")
    assert [entry.fact for entry in done.entries] == [goal]
    shelf = house.bring("in the house", learner="asa", workbook="maths-5-02")
    before = len(entries())
    with pytest.raises(RefusedError):
        house.do(a.set_goals, goals=[goal, f.GoalSet(shelf, DAY, 1, 2)], by="ruth")
    assert len(entries()) == before


def test_every_act_is_tried_in_this_file() -> None:
    everything = {
        name
        for name, act in vars(a).items()
        if inspect.isfunction(act) and act.__module__ == a.__name__ and {"by", "at"} <= {*inspect.signature(act).parameters}
        and name[0] != "_"
    }  # fmt: skip
    told = {t.act.__name__ for t in DONE}
    text = inspect.getsource(inspect.getmodule(Try) or inspect)
    below = {name for name in everything - told if text.count(f"a.{name},") > 0}
    assert everything == told | below
    assert {name for name, _ in ON_A_COPY} <= everything


@pytest.mark.parametrize("act", [act for _, act in ON_A_COPY], ids=[name for name, _ in ON_A_COPY])
def test_a_copy_of_another_household_is_unknown_here(
    house: House, next_door: House, act: Callable[..., Any]
) -> None:
    theirs = next_door.bring("worked", learner="trent")
    wanted = inspect.signature(act).parameters
    given = {name: value for name, value in FILLED.items() if name in wanted}

    with pytest.raises(UnknownError, match=f"copy: found '{theirs}'"):
        house.do(act, copy=theirs, **given)

    assert entries() == []
    assert standing(theirs, "away").status is CopyStatus.ISSUED


def test_a_neighbour_may_not_act_here(house: House, next_door: House) -> None:
    for somebody in ("mallory", next_door.person("mallory")):
        with pytest.raises(UnknownError, match="person"):
            house.do(a.order_copy, workbook=BOOK, by=somebody)
    assert entries() == []


def test_a_household_that_is_not_there_is_named(house: House) -> None:
    house.where = "nowhere"
    with pytest.raises(UnknownError, match="household: found 'nowhere'; allowed is one of: home"):
        house.do(a.order_copy, workbook=BOOK)


# --- copies -----------------------------------------------------------------------------------------------


def test_an_order_carries_the_price_and_the_supplier_of_the_programme(house: House) -> None:
    done = house.do(a.order_copy, workbook=BOOK, learner="asa", expected=date(2026, 1, 20))

    (entry,) = entries()
    assert isinstance(entry.fact, f.CopyOrdered)
    wanted = f.CopyOrdered(
        entry.fact.copy, BOOK, house.person("asa"), "Quayside Books", 420, date(2026, 1, 20)
    )
    assert entry.fact == wanted
    assert done.entries == (entry,)
    assert not done.again


def test_only_an_educator_orders(house: House) -> None:
    with pytest.raises(RefusedError, match="Only an educator"):
        house.do(a.order_copy, workbook=BOOK, by="tobi")


def test_a_workbook_that_the_programme_has_not_is_not_ordered(house: House) -> None:
    with pytest.raises(UnknownError, match="workbook: found 'maths-5-99'"):
        house.do(a.order_copy, workbook="maths-5-99")


def test_an_id_that_a_copy_has_is_not_given_again(house: House, next_door: House) -> None:
    ours, theirs = house.bring("on order"), next_door.bring("begun", learner="trent")

    for taken in (ours, theirs):
        with pytest.raises(MarksteadError):
            house.do(a.order_copy, workbook=BOOK, copy=taken)

    assert len(entries()) == 1
    assert standing(theirs, "away").opening_talk is not None


def test_a_copy_is_issued_to_the_learner_who_is_named(house: House) -> None:
    copy = house.bring("in the house", workbook="maths-9-01")

    house.do(a.issue_copy, copy=copy, learner="noa")

    assert entries()[-1].fact == f.CopyIssued(copy, house.person("noa"))
    assert standing(copy).learner == house.person("noa")


def test_a_learner_has_one_workbook_of_a_course_in_hand(house: House) -> None:
    house.bring("begun")
    second = house.bring("in the house")

    with pytest.raises(RefusedError, match="another workbook of this course in hand"):
        house.do(a.issue_copy, copy=second, learner="asa")


def test_a_passed_workbook_opens_the_next_one_and_not_itself(house: House) -> None:
    house.bring("passed")
    again, following = house.bring("in the house"), house.bring("in the house", workbook="maths-5-02")

    with pytest.raises(RefusedError, match="has passed this workbook already"):
        house.do(a.issue_copy, copy=again, learner="asa")
    house.do(a.issue_copy, copy=following, learner="asa")

    assert standing(following).in_hand


def test_a_spoiled_copy_keeps_its_reason_apart(house: House) -> None:
    copy = house.bring("begun")

    house.do(a.spoil_copy, copy=copy, reason="  Tea over page 3 ")

    fact = entries()[-1].fact
    assert isinstance(fact, f.CopySpoiled)
    assert Words.objects.get(digest=fact.reason).text == "Tea over page 3"
    assert standing(copy).status is CopyStatus.SPOILED


def test_a_refused_leave_tells_the_learner_why(house: House) -> None:
    copy = house.bring("asked")

    house.do(a.refuse_leave, copy=copy, step=Step.MARK, reason="Two blanks on page 4", **SECTION)

    stands = standing(copy)
    assert stands.waiting is None
    assert stands.refusal is not None
    assert Words.objects.get(digest=stands.refusal.reason).text == "Two blanks on page 4"
    house.do(a.ask_leave, copy=copy, step=Step.MARK, by="asa", **SECTION)
    assert standing(copy).refusal is None


# --- the cycle, tests and the second pass -----------------------------------------------------------------


def test_a_spot_check_over_several_copies_is_one_act_with_a_fact_for_each_stop(house: House) -> None:
    first, second = house.bring("marked"), house.bring("marked", learner="noa", workbook="maths-9-01")
    before = len(entries())
    looked = [(first, "section-1", 8, True), (second, "section-1", 5, False), (first, "section-1", 2, True)]

    done = house.do(a.hold_spot_checks, looked=looked)

    assert [e.fact for e in entries()[before:]] == [
        f.SpotCheckHeld(first, "section-1", ((8, True), (2, True))),
        f.SpotCheckHeld(second, "section-1", ((5, False),)),
    ]
    assert len({e.act for e in done.entries}) == 1


def test_a_copy_is_ordered_for_a_learner_only(house: House) -> None:
    with pytest.raises(InputError, match="tobi, who is no learner; allowed is one of asa, noa"):
        house.do(a.order_copy, workbook="maths-5-01", learner="tobi")


def test_a_spot_check_of_nothing_is_answered_by_a_sentence(house: House) -> None:
    with pytest.raises(InputError, match="at least one answer that was looked at"):
        house.do(a.hold_spot_checks, looked=[])


def test_many_wrong_answers_call_for_a_quiz_before_the_re_marking(house: House) -> None:
    copy = house.bring("may mark")
    house.do(a.mark, copy=copy, wrong=range(1, 9), by="asa", **SECTION)
    house.do(a.correct, copy=copy, by="asa", **SECTION)
    house.do(a.ask_leave, copy=copy, step=Step.REMARK, by="asa", **SECTION)

    with pytest.raises(RefusedError, match="8 of 24 were wrong; from 30 % wrong on"):
        house.do(a.give_leave, copy=copy, step=Step.REMARK, **SECTION)
    house.do(a.hold_oral_quiz, copy=copy, answers=[(1, True), (5, True)], **SECTION)
    house.do(a.give_leave, copy=copy, step=Step.REMARK, **SECTION)
    house.do(a.re_mark, copy=copy, wrong=[8], by="asa", **SECTION)

    stop = standing(copy).stop("section-1")
    assert (stop.cycle, stop.still_wrong, stop.markings) == (Cycle.TO_CORRECT, (8,), 2)


def test_a_practice_test_below_the_mark_is_reviewed_and_repeated(house: House) -> None:
    copy = house.bring("practice open")
    house.do(a.score_practice_test, copy=copy, right=23)

    with pytest.raises(RefusedError, match="nothing has been reviewed since"):
        house.do(a.open_practice_test, copy=copy)
    house.do(a.give_help, copy=copy)
    house.do(a.open_practice_test, copy=copy)
    house.do(a.score_practice_test, copy=copy, right=24)

    assert [(t.number, t.right, t.passed) for t in standing(copy).practice] == [(1, 23, False), (2, 24, True)]


def test_a_sitting_is_on_the_record_with_its_watcher_and_aids(house: House) -> None:
    copy = house.bring("ready")
    house.until(TUESDAY)

    house.do(a.sit_unit_test, copy=copy, watcher="tobi", aids=("pencil", "eraser"))

    wanted = f.UnitTestSat(copy, 1, date(2026, 1, 13), ("pencil", "eraser"), house.person("tobi"))
    assert entries()[-1].fact == wanted


def test_a_calculator_is_for_the_older_learner(house: House) -> None:
    younger = house.bring("ready")
    older = house.bring("ready", learner="noa", workbook="maths-9-01")
    house.until(TUESDAY)

    with pytest.raises(RefusedError, match="Calculator may not be used in year 5"):
        house.do(a.sit_unit_test, copy=younger, watcher="ruth", aids=("calculator",))
    house.do(a.sit_unit_test, copy=older, watcher="ruth", aids=("calculator",))

    assert standing(older).unit is not None


def test_a_learner_sits_one_unit_test_a_day(house: House) -> None:
    first, second = house.bring("ready"), house.bring("ready", workbook="reading-5-01")
    house.until(TUESDAY)
    house.do(a.sit_unit_test, copy=first, watcher="ruth", aids=())

    with pytest.raises(RefusedError, match=r"has sat today: 1;"):
        house.do(a.sit_unit_test, copy=second, watcher="ruth", aids=())
    house.until("2026-01-14 09:00")
    house.do(a.sit_unit_test, copy=second, watcher="ruth", aids=())

    assert standing(second).unit is not None


def test_a_failed_test_is_re_ordered_in_one_act_of_two_facts(house: House) -> None:
    copy = house.fail()

    done = house.do(a.reorder_workbook, copy=copy, expected=date(2026, 1, 21), new_copy="fresh")

    here, there = entries()[-2:]
    assert here.fact == f.WorkbookReordered(copy, "fresh")
    wanted = f.CopyOrdered("fresh", BOOK, house.person("asa"), "Quayside Books", 420, date(2026, 1, 21))
    assert there.fact == wanted
    assert here.act == there.act == done.act
    assert standing(copy).replaced_by == "fresh"
    with pytest.raises(RefusedError, match="no failed unit test"):
        house.do(a.reorder_workbook, copy=copy)


def test_a_re_order_makes_up_an_id_of_its_own(house: House) -> None:
    copy = house.fail()

    house.do(a.reorder_workbook, copy=copy)

    fresh = standing(copy).replaced_by
    assert fresh
    assert fresh != copy
    assert standing(fresh).status is CopyStatus.ON_ORDER


def test_a_re_order_takes_no_id_that_a_copy_has(house: House, next_door: House) -> None:
    theirs = next_door.bring("begun", learner="trent")
    copy = house.fail()
    before = entries()

    for taken in (copy, theirs):
        with pytest.raises(MarksteadError):
            house.do(a.reorder_workbook, copy=copy, new_copy=taken)

    assert entries() == before
    assert standing(theirs, "away").opening_talk is not None


def test_sittings_of_the_same_workbook_are_counted_over_its_copies(house: House) -> None:
    first = house.fail()
    house.do(a.reorder_workbook, copy=first)
    second = house.fail()
    house.do(a.reorder_workbook, copy=second)
    third = house.bring("sat")
    other = house.bring("sat", workbook="reading-5-01")
    elder = house.bring("sat", learner="noa", workbook="maths-9-01")

    counted = {copy: standing(copy).unit.attempt for copy in (first, second, third, other, elder)}  # type: ignore[union-attr]
    assert counted == {first: 1, second: 2, third: 3, other: 1, elder: 1}


def test_sittings_of_the_same_copy_are_counted_where_the_programme_works_it_again(house: House) -> None:
    again = PAPERS.programme.replace('"new copy"', '"same copy"')
    set_up("home", name="Tarn End", papers=replace(PAPERS, programme=again), people=CAST, at=house.clock)
    copy = house.fail()
    house.do(a.open_practice_test, copy=copy)
    house.do(a.score_practice_test, copy=copy, right=30)
    house.do(a.decide_readiness, copy=copy, ready=True)
    house.until_next_morning()

    house.do(a.sit_unit_test, copy=copy, watcher="ruth", aids=())

    unit = standing(copy).unit
    assert unit is not None
    assert unit.attempt == 2


def test_a_sitting_that_was_taken_back_is_not_counted(house: House) -> None:
    copy = house.bring("sat")
    house.do(a.undo, act=entries()[-1].act)

    house.do(a.sit_unit_test, copy=copy, watcher="ruth", aids=())

    unit = standing(copy).unit
    assert unit is not None
    assert unit.attempt == 1


# --- the month and the day --------------------------------------------------------------------------------


def test_a_dispatch_names_its_papers_and_keeps_its_tracking_apart(house: House) -> None:
    one = house.bring("passed")
    two = house.bring("passed", learner="noa", workbook="maths-9-01")

    done = house.do(a.send_dispatch, copies=[one, two, one], tracking=" RX 12 ")

    sent, *papers = [entry.fact for entry in done.entries]
    assert isinstance(sent, f.DispatchSent)
    assert (sent.day, sent.papers) == (house.clock.date(), 2)
    assert Words.objects.get(digest=sent.tracking).text == "RX 12"
    assert papers == [f.PaperSent(copy, sent.dispatch) for copy in (one, two)]
    assert {standing(copy).status for copy in (one, two)} == {CopyStatus.SENT}


def test_a_paper_that_is_not_marked_stops_the_whole_dispatch(house: House) -> None:
    marked, unmarked = house.bring("passed"), house.bring("begun", learner="noa", workbook="maths-9-01")
    before = entries()

    with pytest.raises(RefusedError, match="no marked unit test"):
        house.do(a.send_dispatch, copies=[marked, unmarked], tracking="RX 12")

    assert entries() == before
    assert not Words.objects.exists()
    assert standing(marked).status is CopyStatus.FINISHED


def test_a_paper_is_sent_once(house: House) -> None:
    copy = house.bring("passed")
    house.do(a.send_dispatch, copies=[copy])

    with pytest.raises(RefusedError, match="each paper is sent once"):
        house.do(a.send_dispatch, copies=[copy])


@pytest.mark.parametrize("copies", [(), ("nowhere",)])
def test_a_dispatch_of_nothing_is_refused(house: House, copies: tuple[str, ...]) -> None:
    with pytest.raises(InputError, match=r"copies: found none|copy: found 'nowhere'"):
        house.do(a.send_dispatch, copies=copies)
    assert entries() == []


def test_attendance_is_taken_by_a_grown_up(house: House) -> None:
    day = date(2026, 1, 12)
    house.do(a.take_attendance, learner="asa", day=day, presence=Presence.HALF, minutes=150, by="tobi")

    assert entries()[-1].fact == f.AttendanceTaken(house.person("asa"), day, Presence.HALF, 150)
    with pytest.raises(RefusedError, match="Only an educator"):
        house.do(a.take_attendance, learner="asa", day=day, presence=Presence.FULL, by="asa")
    with pytest.raises(RefusedError, match="has not come yet"):
        house.do(a.take_attendance, learner="asa", day=date(2026, 1, 13), presence=Presence.FULL)
    with pytest.raises(UnknownError, match="person: found 'mallory'"):
        house.do(a.take_attendance, learner="mallory", day=day, presence=Presence.FULL)


# --- taking back ------------------------------------------------------------------------------------------


def taken_back(house: House, act: str) -> None:
    """Undo an act, and see every copy stand where it stood before: only the places move on."""
    copies = {copy for e in entries() if e.act == act and (copy := getattr(e.fact, "copy", None))}
    before = {copy: entries(copy=copy) for copy in copies}

    done = house.do(a.undo, act=act)

    assert all(isinstance(entry.fact, f.FactReversed) for entry in done.entries)
    for copy, was in before.items():
        rest = [entry for entry in was if entry.act != act]
        assert replace(standing(copy), last_seq=0) == replace(standing_of(copy, rest), last_seq=0)
    with pytest.raises(RefusedError) as refused:
        house.do(a.undo, act=act)
    assert [bar.kind for bar in refused.value.ruling.bars] == [B.ALREADY_REVERSED]


@pytest.mark.parametrize("place", PLACES)
def test_every_step_of_the_road_can_be_taken_back_once(house: House, place: str) -> None:
    copy = house.bring(place)
    taken_back(house, entries(copy=copy)[-1].act)


def _goal(house: House) -> str:
    return house.do(a.set_goal, copy=house.bring("begun"), first=1, last=2).act


def _help_asked(house: House) -> str:
    return house.do(a.ask_help, copy=house.bring("begun")).act


def _help_given(house: House) -> str:
    return house.do(a.give_help, copy=house.bring("marked")).act


def _quiz(house: House) -> str:
    return house.do(a.hold_oral_quiz, copy=house.bring("marked"), answers=[(3, True)], **SECTION).act


def _refusal(house: House) -> str:
    return house.do(a.refuse_leave, copy=house.bring("asked"), step=Step.MARK, reason="blanks", **SECTION).act


def _spoiling(house: House) -> str:
    return house.do(a.spoil_copy, copy=house.bring("begun"), reason="Tea").act


def _re_order(house: House) -> str:
    return house.do(a.reorder_workbook, copy=house.fail()).act


def _dispatch(house: House) -> str:
    return house.do(a.send_dispatch, copies=[house.bring("passed")], tracking="RX 12").act


def _override(house: House) -> str:
    slip = Slip(override="The aims were read the day before")
    return house.do(a.work_pages, copy=house.bring("issued"), first=1, last=2, slip=slip).act


@pytest.mark.parametrize(
    "act", [_goal, _help_asked, _help_given, _quiz, _refusal, _spoiling, _re_order, _dispatch, _override]
)
def test_every_other_act_can_be_taken_back_once(house: House, act: Callable[[House], str]) -> None:
    taken_back(house, act(house))


def test_an_undone_re_order_takes_both_copies_back(house: House) -> None:
    first = house.fail()
    act = house.do(a.reorder_workbook, copy=first, new_copy="fresh").act

    done = house.do(a.undo, act=act)

    assert [e.fact for e in done.entries] == [
        f.FactReversed(len(entries()) - 2, "fresh"),
        f.FactReversed(len(entries()) - 3, first),
    ]
    assert standing("fresh").status is CopyStatus.UNKNOWN
    assert standing(first).replaced_by is None
    house.do(a.reorder_workbook, copy=first)
    assert standing(first).replaced_by not in (None, "fresh")


def test_an_undone_attendance_can_be_taken_anew(house: House) -> None:
    taken = house.do(a.take_attendance, learner="asa", day=DAY, presence=Presence.HALF)

    taken_back(house, taken.act)
    house.do(a.take_attendance, learner="asa", day=DAY, presence=Presence.FULL)

    assert [type(entry.fact) for entry in entries()] == [f.AttendanceTaken, f.FactReversed, f.AttendanceTaken]


def test_an_act_on_which_later_ones_rest_stays(house: House) -> None:
    copy = house.bring("asked")
    earlier = [entry.act for entry in entries(copy=copy)][:-1]
    before = entries()

    for act in earlier:
        with pytest.raises(RefusedError) as refused:
            house.do(a.undo, act=act)
        assert [bar.kind for bar in refused.value.ruling.bars] == [B.LATER_FACTS]

    assert entries() == before


def test_a_re_order_whose_copy_has_come_stays(house: House) -> None:
    first = house.fail()
    act = house.do(a.reorder_workbook, copy=first, new_copy="fresh").act
    house.do(a.receive_copy, copy="fresh")
    before = entries()

    with pytest.raises(RefusedError, match="Later facts of this copy rest on this one"):
        house.do(a.undo, act=act)

    assert entries() == before


def test_acts_are_taken_back_one_by_one_from_the_last(house: House) -> None:
    copy = house.bring("may mark")

    for act in [entry.act for entry in entries(copy=copy)][::-1]:
        house.do(a.undo, act=act)

    assert standing(copy).status is CopyStatus.UNKNOWN
    assert len(entries()) == 14


def test_a_note_hinders_no_undo(house: House) -> None:
    copy = house.bring("asked")
    asked = entries(copy=copy)[-1].act
    house.do(a.ask_help, copy=copy, by="asa")

    house.do(a.undo, act=asked)

    assert standing(copy).waiting is None
    assert standing(copy).help is not None


def test_what_was_taken_back_is_still_on_the_record(house: House) -> None:
    copy = house.bring("worked")
    worked = entries(copy=copy)[-1]

    done = house.do(a.undo, act=worked.act)

    assert entries(copy=copy)[-2:] == [worked, done.entries[0]]
    assert done.entries[0].fact == f.FactReversed(worked.seq, copy)


def test_an_undo_is_not_undone(house: House) -> None:
    house.bring("worked")
    undone = house.do(a.undo, act=entries()[-1].act)

    with pytest.raises(RefusedError) as refused:
        house.do(a.undo, act=undone.act)

    assert [bar.kind for bar in refused.value.ruling.bars] == [B.ALREADY_REVERSED]


def test_only_an_educator_undoes(house: House) -> None:
    house.bring("worked")

    for somebody in ("tobi", "asa"):
        with pytest.raises(RefusedError, match="Only an educator"):
            house.do(a.undo, act=entries()[-1].act, by=somebody)


def test_an_act_that_was_never_written_is_unknown(house: House, next_door: House) -> None:
    next_door.bring("on order", learner="trent")
    for act in ("never", entries("away")[-1].act):
        with pytest.raises(UnknownError, match="act: found"):
            house.do(a.undo, act=act)
