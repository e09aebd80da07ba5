"""The rules of the trade as a table: what is known, who would like to do what and when, and what is answered.

The table is run against the gates by `test_trade_rules.py` and printed as `docs/reference/trade-rules.md`.
The rules are common practice in the trade, no source; their numbers are those of the small home's programme.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from markstead.ledger.facts import (
    PRACTICE,
    AnyFact,
    AttendanceTaken,
    CheckOpened,
    CopyIssued,
    CopyOrdered,
    CopyReceived,
    CopySpoiled,
    Corrected,
    DispatchSent,
    FactReversed,
    FirstMarking,
    GateOverridden,
    GoalSet,
    HelpAsked,
    HelpGiven,
    LeaveAsked,
    LeaveGiven,
    LeaveRefused,
    OpeningTalkHeld,
    OralQuizHeld,
    PagesWorked,
    PaperSent,
    PracticeTestOpened,
    PracticeTestScored,
    Presence,
    ReadinessDecided,
    ReMarked,
    SpotCheckHeld,
    Step,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
    WorkTakenOver,
)
from markstead.rules.bars import BarKind as B
from markstead.rules.programme import Programme
from markstead.rules.ruling import Actor
from tests.rules.small_home import ASA, INES, MARA, NOA, PROGRAMME, RUTH, SAME_COPY, TOBI, at

C = "c1"
MON, TUE, WED, THU = (date(2026, 2, day) for day in (2, 3, 4, 5))
PENCIL = ("pencil", "eraser", "ruler")
MARK_1, REMARK_1 = (Step.MARK, "section-1"), (Step.REMARK, "section-1")


@dataclass(frozen=True, slots=True)
class Given:
    """What is known of the copy before the act."""

    words: str
    facts: tuple[tuple[AnyFact, datetime], ...] = ()

    def then(self, words: str, *facts: AnyFact, when: datetime | None = None) -> "Given":
        """The same and more: on Monday at nine where nothing else is said."""
        return Given(words, (*self.facts, *((fact, when or at(2)) for fact in facts)))


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table."""

    given: Given
    act: str
    fact: AnyFact
    by: Actor = RUTH
    when: datetime = field(default_factory=lambda: at(2, 10))
    bars: tuple[B, ...] = ()
    also: str = ""
    """What else is so, in words; `around` says it to the gates."""
    around: Mapping[str, Any] = field(default_factory=dict)
    programme: Programme = PROGRAMME


# --- what may be given -----------------------------------------------------------------------------------------

NOTHING = Given("no such copy")
ORDERED = NOTHING.then("on order", CopyOrdered(C, "P1", "asa"))
HOUSE = ORDERED.then("in the house", CopyReceived(C))
ISSUED = HOUSE.then("issued to Asa", CopyIssued(C, "asa"))
TALKED = ISSUED.then("opening talk held", OpeningTalkHeld(C))
TAKEN_OVER = ISSUED.then(
    "pages 1-3 worked before the record began", WorkTakenOver(C, 3, ("section-1", "check-1"))
)
STUCK = TALKED.then("help asked", HelpAsked(C))
WORKED = TALKED.then("section 1 worked", PagesWorked(C, MON, 1, 2))
WAITING = WORKED.then("leave to mark section 1 asked", LeaveAsked(C, *MARK_1))
LEAVE = WAITING.then("leave to mark section 1 given", LeaveGiven(C, *MARK_1))
FEW = LEAVE.then("section 1 marked, 1 of 5 wrong", FirstMarking(C, "section-1", 5, (4,)))
MANY = LEAVE.then("section 1 marked, 2 of 5 wrong", FirstMarking(C, "section-1", 5, (2, 4)))
FEW_DONE = FEW.then("1 of 5 wrong, corrected", Corrected(C, "section-1"))
MANY_DONE = MANY.then("2 of 5 wrong, corrected", Corrected(C, "section-1"))
MANY_QUIZZED = MANY_DONE.then("2 of 5 wrong, corrected, quizzed", OralQuizHeld(C, ((2, True),), "section-1"))
MANY_TAUGHT = MANY_DONE.then("2 of 5 wrong, corrected, taught", HelpGiven(C))
RE_LEAVE = FEW_DONE.then("1 of 5 wrong, corrected, leave to re-mark given", LeaveGiven(C, *REMARK_1))
STILL = RE_LEAVE.then("question 4 still wrong at re-marking", ReMarked(C, "section-1", (4,)))
CLEARED_1 = LEAVE.then("section 1 cleared", FirstMarking(C, "section-1", 5))
CHECK = CLEARED_1.then("check 1 open", CheckOpened(C, "check-1"))
CLEARED = CHECK.then(
    "every section and check cleared",
    PagesWorked(C, MON, 3, 3),
    FirstMarking(C, "check-1", 4),
    PagesWorked(C, MON, 4, 5),
    FirstMarking(C, "section-2", 5),
)
TESTING = CLEARED.then("practice test open", PracticeTestOpened(C, 1))
TEST_LEAVE = TESTING.then("practice test open, leave to mark it given", LeaveGiven(C, Step.MARK, PRACTICE))
BELOW = TESTING.then("practice test scored 7 of 10", PracticeTestScored(C, 1, 7, 10, 8, (1, 2, 3)))
REVIEWED = BELOW.then("practice test scored 7 of 10, gone over", HelpGiven(C))
PASSED = TESTING.then("practice test scored 8 of 10 on Monday", PracticeTestScored(C, 1, 8, 10, 8, (1, 2)))
READY = PASSED.then("practice test passed on Monday, found ready", ReadinessDecided(C, ready=True))
NOT_YET = PASSED.then("practice test passed on Monday, found not ready", ReadinessDecided(C, ready=False))
BELOW_READY = BELOW.then(
    "practice test scored 7 of 10 on Monday, the pass mark passed over with a reason",
    GateOverridden(C, UnitTestSat.KIND, (B.PRACTICE_NOT_PASSED, B.NOT_READY), "w"),
)
SAT = READY.then("unit test sat on Tuesday", UnitTestSat(C, 1, TUE, PENCIL, "ruth"), when=at(3, 9))
FAILED = SAT.then("unit test scored 7 of 10", UnitTestScored(C, 7, 10, 8, (1, 2, 3)))
FINISHED = SAT.then("unit test scored 8 of 10", UnitTestScored(C, 8, 10, 8, (1, 2)))
REORDERED = FAILED.then("unit test scored 7 of 10, new copy ordered", WorkbookReordered(C, "c2"))
SENT = FINISHED.then("unit test passed, paper sent", PaperSent(C, "d1"))
FAILED_SENT = FAILED.then("unit test scored 7 of 10, paper sent", PaperSent(C, "d1"))
SPOILED = WORKED.then("spoiled", CopySpoiled(C, "w"))
AWAY = READY.then(
    "practice test passed on Monday, found ready; every rule passed over with a reason",
    GateOverridden(C, UnitTestSat.KIND, tuple(str(kind) for kind in B), "w"),
)
SECOND_BOOK = NOTHING.then(
    "P2, the second of the course, in the house", CopyOrdered(C, "P2", "asa"), CopyReceived(C)
)


def sits(
    day: int, hour: int = 9, minute: int = 0, *, aids: tuple[str, ...] = PENCIL, watcher: str = "ruth"
) -> dict[str, Any]:
    return {
        "act": "sit the unit test",
        "fact": UnitTestSat(C, 1, date(2026, 2, day), aids, watcher),
        "when": at(day, hour, minute),
    }


# --- the table -------------------------------------------------------------------------------------------------

PARTS: dict[str, tuple[Row, ...]] = {
    "The copy": (
        Row(NOTHING, "order a copy", CopyOrdered(C, "P1", "asa")),
        Row(NOTHING, "order a copy", CopyOrdered(C, "P1", "asa"), by=TOBI, bars=(B.ONLY_EDUCATOR,)),
        Row(ORDERED, "order the same copy", CopyOrdered(C, "P1", "asa"), bars=(B.ALREADY,)),
        Row(ORDERED, "book it in", CopyReceived(C)),
        Row(ORDERED, "book it in", CopyReceived(C), by=TOBI),
        Row(ORDERED, "book it in", CopyReceived(C), by=ASA, bars=(B.ONLY_EDUCATOR,)),
        Row(HOUSE, "book it in", CopyReceived(C), bars=(B.NOT_ON_ORDER,)),
        Row(HOUSE, "issue it to Asa", CopyIssued(C, "asa")),
        Row(HOUSE, "issue it to Asa", CopyIssued(C, "asa"), by=ASA, bars=(B.ONLY_EDUCATOR,)),
        Row(ORDERED, "issue it to Asa", CopyIssued(C, "asa"), bars=(B.NOT_IN_THE_HOUSE,)),
        Row(ISSUED, "issue it to Noa", CopyIssued(C, "noa"), bars=(B.NOT_IN_THE_HOUSE,)),
        Row(
            HOUSE,
            "issue it to Asa",
            CopyIssued(C, "asa"),
            bars=(B.ALREADY_PASSED,),
            also="Asa has passed this workbook",
            around={"passed": frozenset({"P1"})},
        ),
        Row(SECOND_BOOK, "issue it to Asa", CopyIssued(C, "asa"), bars=(B.EARLIER_WORKBOOK,)),
        Row(
            SECOND_BOOK,
            "issue it to Asa",
            CopyIssued(C, "asa"),
            also="Asa has passed the first",
            around={"passed": frozenset({"P1"})},
        ),
        Row(
            HOUSE,
            "issue it to Asa",
            CopyIssued(C, "asa"),
            bars=(B.OTHER_COPY_IN_HAND,),
            also="Asa works in another workbook of the course",
            around={"courses_in_hand": frozenset({"plants"})},
        ),
        Row(
            HOUSE,
            "issue it to Asa",
            CopyIssued(C, "asa"),
            bars=(B.COURSE_NOT_TAKEN,),
            also="Asa does not take the course",
            around={"courses": frozenset({"stars"})},
        ),
        Row(WORKED, "write it off as spoiled", CopySpoiled(C, "w")),
        Row(WORKED, "write it off as spoiled", CopySpoiled(C, "w"), by=TOBI, bars=(B.ONLY_EDUCATOR,)),
        Row(ORDERED, "write it off as spoiled", CopySpoiled(C, "w"), bars=(B.NOT_IN_THE_HOUSE,)),
        Row(SAT, "write it off as spoiled", CopySpoiled(C, "w"), when=at(3, 10), bars=(B.TEST_UNDER_WAY,)),
        Row(SPOILED, "work pages 3-4", PagesWorked(C, MON, 3, 4), by=ASA, bars=(B.NOT_ISSUED,)),
    ),
    "Work": (
        Row(ISSUED, "hold the opening talk", OpeningTalkHeld(C)),
        Row(ISSUED, "hold the opening talk", OpeningTalkHeld(C), by=TOBI, bars=(B.ONLY_EDUCATOR,)),
        Row(TALKED, "hold the opening talk", OpeningTalkHeld(C), bars=(B.ALREADY,)),
        Row(HOUSE, "hold the opening talk", OpeningTalkHeld(C), bars=(B.NOT_ISSUED,)),
        Row(ISSUED, "take over pages 1-3, worked before", WorkTakenOver(C, 3, ("section-1", "check-1"))),
        Row(TALKED, "take over pages 1-3, worked before", WorkTakenOver(C, 3, ("section-1", "check-1"))),
        Row(
            ISSUED,
            "take over pages 1-3, worked before",
            WorkTakenOver(C, 3, ("section-1", "check-1")),
            by=ASA,
            bars=(B.ONLY_EDUCATOR,),
        ),
        Row(HOUSE, "take over pages 1-3, worked before", WorkTakenOver(C, 3), bars=(B.NOT_ISSUED,)),
        Row(WORKED, "take over pages 1-3, worked before", WorkTakenOver(C, 3), bars=(B.ALREADY,)),
        Row(TAKEN_OVER, "work page 4", PagesWorked(C, MON, 4, 4), by=ASA),
        Row(TAKEN_OVER, "ask leave to mark section 1", LeaveAsked(C, *MARK_1), by=ASA, bars=(B.ALREADY,)),
        Row(
            TAKEN_OVER,
            "look again at a tick of section 1",
            SpotCheckHeld(C, "section-1", ((1, True),)),
            bars=(B.NOTHING_TICKED,),
        ),
        Row(ISSUED, "work page 1", PagesWorked(C, MON, 1, 1), by=ASA, bars=(B.NO_OPENING_TALK,)),
        Row(TALKED, "work pages 1-2", PagesWorked(C, MON, 1, 2), by=ASA),
        Row(TALKED, "work pages 1-2", PagesWorked(C, MON, 1, 2), by=NOA, bars=(B.NOT_THIS_LEARNER,)),
        Row(TALKED, "work pages 1-2", PagesWorked(C, MON, 1, 2), by=INES, bars=(B.MAY_NOT_LOG,)),
        Row(TALKED, "work pages 1-2", PagesWorked(C, MON, 1, 2), by=MARA, bars=(B.HAS_LEFT,)),
        Row(
            TALKED, "work pages 1-2, of tomorrow", PagesWorked(C, TUE, 1, 2), by=ASA, bars=(B.IN_THE_FUTURE,)
        ),
        Row(
            WORKED,
            "work on into check 1",
            PagesWorked(C, MON, 3, 3),
            by=ASA,
            bars=(B.STOP_NOT_CLEARED, B.CHECK_NOT_OPEN),
        ),
        Row(
            CLEARED_1, "work the page of check 1", PagesWorked(C, MON, 3, 3), by=ASA, bars=(B.CHECK_NOT_OPEN,)
        ),
        Row(CHECK, "work the page of check 1", PagesWorked(C, MON, 3, 3), by=ASA),
        Row(TESTING, "work page 5 again", PagesWorked(C, MON, 5, 5), by=ASA, bars=(B.BOOK_CLOSED,)),
        Row(TALKED, "set a goal of pages 1-2", GoalSet(C, MON, 1, 2), by=ASA),
        Row(HOUSE, "set a goal of pages 1-2", GoalSet(C, MON, 1, 2), bars=(B.NOT_ISSUED,)),
        Row(TALKED, "ask for help", HelpAsked(C, 2), by=ASA),
        Row(STUCK, "ask for help", HelpAsked(C, 2), by=ASA, bars=(B.ALREADY,)),
        Row(STUCK, "help", HelpGiven(C)),
        Row(STUCK, "help", HelpGiven(C), by=TOBI),
        Row(STUCK, "help", HelpGiven(C), by=ASA, bars=(B.ONLY_EDUCATOR,)),
    ),
    "The marking stop": (
        Row(TALKED, "ask leave to mark section 1", LeaveAsked(C, *MARK_1), by=ASA, bars=(B.PAGES_LEFT,)),
        Row(WORKED, "ask leave to mark section 1", LeaveAsked(C, *MARK_1), by=ASA),
        Row(WAITING, "ask leave to mark section 1", LeaveAsked(C, *MARK_1), by=ASA, bars=(B.ALREADY,)),
        Row(
            WORKED,
            "ask leave to mark section 2",
            LeaveAsked(C, Step.MARK, "section-2"),
            by=ASA,
            bars=(B.OTHER_STOP_FIRST, B.PAGES_LEFT),
        ),
        Row(WAITING, "give leave to mark", LeaveGiven(C, *MARK_1)),
        Row(WORKED, "give leave to mark, unasked", LeaveGiven(C, *MARK_1)),
        Row(WAITING, "give leave to mark", LeaveGiven(C, *MARK_1), by=TOBI, bars=(B.ONLY_EDUCATOR,)),
        Row(WAITING, "give leave to mark", LeaveGiven(C, *MARK_1), by=ASA, bars=(B.ONLY_EDUCATOR,)),
        Row(LEAVE, "give leave to mark", LeaveGiven(C, *MARK_1), bars=(B.ALREADY,)),
        Row(WAITING, "send back, and say why", LeaveRefused(C, Step.MARK, "w", "section-1")),
        Row(
            WORKED,
            "send back, and say why",
            LeaveRefused(C, Step.MARK, "w", "section-1"),
            bars=(B.NOT_ASKED,),
        ),
        Row(LEAVE, "mark section 1", FirstMarking(C, "section-1", 5, (4,)), by=ASA),
        Row(WAITING, "mark section 1", FirstMarking(C, "section-1", 5, (4,)), by=ASA, bars=(B.NO_LEAVE,)),
        Row(WAITING, "mark section 1", FirstMarking(C, "section-1", 5, (4,)), bars=(B.NO_LEAVE,)),
        Row(
            FEW, "mark section 1 anew", FirstMarking(C, "section-1", 5), by=ASA, bars=(B.ALREADY, B.NO_LEAVE)
        ),
    ),
    "Corrections": (
        Row(FEW, "correct section 1", Corrected(C, "section-1"), by=ASA),
        Row(WORKED, "correct section 1", Corrected(C, "section-1"), by=ASA, bars=(B.NOT_MARKED,)),
        Row(CLEARED_1, "correct section 1", Corrected(C, "section-1"), by=ASA, bars=(B.ALREADY,)),
        Row(FEW, "ask leave to re-mark", LeaveAsked(C, *REMARK_1), by=ASA, bars=(B.NOT_CORRECTED,)),
        Row(FEW_DONE, "ask leave to re-mark", LeaveAsked(C, *REMARK_1), by=ASA),
        Row(FEW_DONE, "give leave to re-mark", LeaveGiven(C, *REMARK_1)),
        Row(MANY_DONE, "ask leave to re-mark", LeaveAsked(C, *REMARK_1), by=ASA),
        Row(MANY_DONE, "give leave to re-mark", LeaveGiven(C, *REMARK_1), bars=(B.QUIZ_FIRST,)),
        Row(MANY_DONE, "quiz", OralQuizHeld(C, ((2, True),), "section-1")),
        Row(MANY_DONE, "quiz", OralQuizHeld(C, ((2, True),), "section-1"), by=TOBI, bars=(B.ONLY_EDUCATOR,)),
        Row(FINISHED, "quiz", OralQuizHeld(C, ((2, True),), "section-1")),
        Row(SENT, "quiz", OralQuizHeld(C, ((2, True),))),
        Row(
            SAT,
            "quiz",
            OralQuizHeld(C, ((2, True),), "section-1"),
            when=at(3, 10),
            bars=(B.TEST_UNDER_WAY,),
        ),
        Row(HOUSE, "quiz", OralQuizHeld(C, ((2, True),), "section-1"), bars=(B.NOT_ISSUED,)),
        Row(MANY_QUIZZED, "give leave to re-mark", LeaveGiven(C, *REMARK_1)),
        Row(MANY_TAUGHT, "give leave to re-mark", LeaveGiven(C, *REMARK_1)),
        Row(RE_LEAVE, "re-mark: all right", ReMarked(C, "section-1"), by=ASA),
        Row(RE_LEAVE, "re-mark: question 4 still wrong", ReMarked(C, "section-1", (4,)), by=ASA),
        Row(
            RE_LEAVE,
            "re-mark: question 3 wrong",
            ReMarked(C, "section-1", (3,)),
            by=ASA,
            bars=(B.NOT_STILL_WRONG,),
        ),
        Row(FEW_DONE, "re-mark: all right", ReMarked(C, "section-1"), by=ASA, bars=(B.NO_LEAVE,)),
        Row(STILL, "correct section 1 again", Corrected(C, "section-1"), by=ASA),
    ),
    "Spot checks": (
        Row(FEW, "re-mark ticks 1 and 3", SpotCheckHeld(C, "section-1", ((3, True), (1, False)))),
        Row(CLEARED_1, "re-mark ticks 2 and 5", SpotCheckHeld(C, "section-1", ((2, True), (5, True)))),
        Row(SENT, "re-mark tick 2", SpotCheckHeld(C, "section-1", ((2, True),))),
        Row(
            FEW,
            "re-mark tick 1",
            SpotCheckHeld(C, "section-1", ((1, True),)),
            by=TOBI,
            bars=(B.ONLY_EDUCATOR,),
        ),
        Row(WORKED, "re-mark tick 1", SpotCheckHeld(C, "section-1", ((1, True),)), bars=(B.NOTHING_TICKED,)),
        Row(FEW, "re-mark question 4", SpotCheckHeld(C, "section-1", ((4, True),)), bars=(B.NOT_TICKED,)),
        Row(
            FEW, "re-mark question 6 of 5", SpotCheckHeld(C, "section-1", ((6, True),)), bars=(B.NOT_TICKED,)
        ),
    ),
    "Progress checks": (
        Row(CLEARED_1, "ask leave to open check 1", LeaveAsked(C, Step.CHECK, "check-1"), by=ASA),
        Row(CLEARED_1, "open check 1", CheckOpened(C, "check-1")),
        Row(CLEARED_1, "open check 1", CheckOpened(C, "check-1"), by=ASA, bars=(B.ONLY_EDUCATOR,)),
        Row(WORKED, "open check 1", CheckOpened(C, "check-1"), bars=(B.OTHER_STOP_FIRST,)),
        Row(CHECK, "open check 1", CheckOpened(C, "check-1"), bars=(B.ALREADY,)),
    ),
    "The practice test": (
        Row(CLEARED, "ask leave to sit the practice test", LeaveAsked(C, Step.PRACTICE_TEST), by=ASA),
        Row(CLEARED, "open the practice test", PracticeTestOpened(C, 1)),
        Row(CLEARED, "open the practice test", PracticeTestOpened(C, 1), by=TOBI, bars=(B.ONLY_EDUCATOR,)),
        Row(CHECK, "open the practice test", PracticeTestOpened(C, 1), bars=(B.STOP_NOT_CLEARED,)),
        Row(TESTING, "score it", PracticeTestScored(C, 1, 8, 10, 8)),
        Row(TESTING, "score it", PracticeTestScored(C, 1, 8, 10, 8), by=ASA, bars=(B.NO_LEAVE,)),
        Row(TEST_LEAVE, "score it", PracticeTestScored(C, 1, 8, 10, 8), by=ASA),
        Row(CLEARED, "score it", PracticeTestScored(C, 1, 8, 10, 8), bars=(B.PRACTICE_NOT_OPEN,)),
        Row(BELOW, "open it again", PracticeTestOpened(C, 2), bars=(B.REVIEW_FIRST,)),
        Row(REVIEWED, "open it again", PracticeTestOpened(C, 2)),
        Row(PASSED, "open it again", PracticeTestOpened(C, 2), bars=(B.ALREADY,)),
        Row(BELOW, "decide: ready", ReadinessDecided(C, ready=True), bars=(B.PRACTICE_NOT_PASSED,)),
        Row(PASSED, "decide: ready", ReadinessDecided(C, ready=True)),
        Row(PASSED, "decide: ready", ReadinessDecided(C, ready=True), by=ASA, bars=(B.ONLY_EDUCATOR,)),
    ),
    "The unit test": (
        Row(READY, **sits(3)),
        Row(READY, **sits(3), by=TOBI, bars=(B.ONLY_EDUCATOR,)),
        Row(READY, **sits(2, 11), bars=(B.TOO_SOON,)),
        Row(READY, **sits(2, 14), bars=(B.TOO_SOON, B.NOT_MORNING)),
        Row(BELOW_READY, **sits(2, 11), bars=(B.TOO_SOON,)),
        Row(BELOW_READY, **sits(3)),
        Row(READY, **sits(3, 8, 29), bars=(B.NOT_MORNING,)),
        Row(READY, **sits(3, 8, 30)),
        Row(READY, **sits(3, 11, 59)),
        Row(READY, **sits(3, 12, 0), bars=(B.NOT_MORNING,)),
        Row(READY, **sits(6), also="a public holiday", bars=(B.NO_SCHOOL,)),
        Row(READY, **sits(7), also="a Saturday", bars=(B.NO_SCHOOL,)),
        Row(READY, **sits(9), also="the home's own holiday", bars=(B.NO_SCHOOL,)),
        Row(READY, **sits(17), also="Asa is ill", bars=(B.NO_SCHOOL,)),
        Row(READY, **sits(24), also="between two terms", bars=(B.NO_SCHOOL,)),
        Row(READY, **sits(12), also="the educator is away", bars=(B.EDUCATOR_AWAY,)),
        Row(AWAY, **sits(12), also="the educator is away"),
        Row(AWAY, **sits(12), also="the educator is away", by=ASA, bars=(B.ONLY_EDUCATOR,)),
        Row(AWAY, **sits(3, watcher=""), also="nobody watches", bars=(B.NO_WATCHER,)),
        Row(PASSED, **sits(3), bars=(B.NOT_READY,)),
        Row(NOT_YET, **sits(3), bars=(B.NOT_READY,)),
        Row(BELOW, **sits(3), bars=(B.PRACTICE_NOT_PASSED, B.NOT_READY)),
        Row(CHECK, **sits(3), bars=(B.STOP_NOT_CLEARED, B.PRACTICE_NOT_PASSED, B.NOT_READY)),
        Row(READY, **sits(3, watcher="tobi"), also="the helper watches"),
        Row(READY, **sits(3, watcher="noa"), also="another learner watches", bars=(B.NO_WATCHER,)),
        Row(
            READY,
            **sits(3, aids=(*PENCIL, "calculator")),
            also="with a calculator, in year 5",
            bars=(B.AID_NOT_ALLOWED,),
        ),
        Row(
            READY,
            **sits(3, aids=(*PENCIL, "calculator")),
            also="with a calculator, in year 7",
            around={"year": 7},
        ),
        Row(
            READY,
            **sits(3),
            also="Asa has sat another today",
            around={"sat_by_learner": 1, "sat_that_morning": 1},
            bars=(B.LEARNER_SAT_TODAY,),
        ),
        Row(
            READY,
            **sits(3),
            also="two others have sat this morning",
            around={"sat_that_morning": 2},
            bars=(B.MORNING_FULL,),
        ),
        Row(SAT, **sits(3, 10), bars=(B.ALREADY,)),
        Row(SAT, "ask for help", HelpAsked(C), by=ASA, when=at(3, 10), bars=(B.TEST_UNDER_WAY,)),
        Row(SAT, "score it", UnitTestScored(C, 8, 10, 8), when=at(3, 14)),
        Row(SAT, "score it", UnitTestScored(C, 8, 10, 8), by=TOBI, when=at(3, 14), bars=(B.ONLY_EDUCATOR,)),
        Row(READY, "score it", UnitTestScored(C, 8, 10, 8), bars=(B.NOT_SAT,)),
        Row(FINISHED, "score it", UnitTestScored(C, 9, 10, 8), when=at(3, 14), bars=(B.ALREADY,)),
        Row(
            FINISHED,
            "correct question 1 of it",
            Corrected(C, "unit-test"),
            by=ASA,
            when=at(3, 14),
            bars=(B.NOT_ISSUED, B.NOT_MARKED),
        ),
    ),
    "After the unit test": (
        Row(FAILED, "order a new copy", WorkbookReordered(C, "c2"), when=at(3, 14)),
        Row(FINISHED, "order a new copy", WorkbookReordered(C, "c2"), when=at(3, 14), bars=(B.NOT_FAILED,)),
        Row(REORDERED, "order a new copy", WorkbookReordered(C, "c3"), when=at(3, 14), bars=(B.NOT_FAILED,)),
        Row(
            FAILED,
            "open the practice test again",
            PracticeTestOpened(C, 2),
            when=at(3, 14),
            bars=(B.NOT_ISSUED,),
        ),
        Row(
            FAILED,
            "open the practice test again",
            PracticeTestOpened(C, 2),
            when=at(3, 14),
            also="the programme goes on in the same copy",
            programme=SAME_COPY,
        ),
        Row(
            FAILED_SENT,
            "open the practice test again",
            PracticeTestOpened(C, 2),
            when=at(3, 14),
            also="the programme goes on in the same copy",
            programme=SAME_COPY,
        ),
        Row(FINISHED, "send the test paper", PaperSent(C, "d1"), when=at(3, 14)),
        Row(FAILED, "send the test paper", PaperSent(C, "d1"), when=at(3, 14)),
        Row(SAT, "send the test paper", PaperSent(C, "d1"), when=at(3, 14), bars=(B.NO_PAPER,)),
        Row(SENT, "send the test paper", PaperSent(C, "d2"), when=at(3, 14), bars=(B.NO_PAPER,)),
        Row(NOTHING, "send the month's dispatch", DispatchSent("d1", MON, 3)),
        Row(
            NOTHING, "send the month's dispatch", DispatchSent("d1", MON, 3), by=TOBI, bars=(B.ONLY_EDUCATOR,)
        ),
    ),
    "The record": (
        Row(
            TALKED,
            "work pages 1-2, at eight",
            PagesWorked(C, MON, 1, 2),
            by=ASA,
            when=at(2, 8),
            bars=(B.EARLIER_THAN_LAST,),
        ),
        Row(
            TALKED,
            "work pages 1-2, at eleven",
            PagesWorked(C, MON, 1, 2),
            by=ASA,
            when=at(2, 11),
            also="the clock shows ten",
            around={"now": at(2, 10)},
            bars=(B.IN_THE_FUTURE,),
        ),
        Row(
            ISSUED, "pass a bar with a reason", GateOverridden(C, PagesWorked.KIND, (B.NO_OPENING_TALK,), "w")
        ),
        Row(
            ISSUED,
            "pass a bar with a reason",
            GateOverridden(C, PagesWorked.KIND, (B.NO_OPENING_TALK,), "w"),
            by=ASA,
            bars=(B.ONLY_EDUCATOR,),
        ),
        Row(TALKED, "take back the opening talk", FactReversed(4, C)),
        Row(TALKED, "take back the opening talk", FactReversed(4, C), by=TOBI, bars=(B.ONLY_EDUCATOR,)),
        Row(STUCK, "take back the opening talk", FactReversed(4, C), also="asking for help rests on nothing"),
        Row(
            WORKED,
            "take back their own pages",
            FactReversed(5, C),
            by=ASA,
            also="they wrote them a minute ago, as the latest of the copy",
            around={"own_latest": at(2, 9, 59)},
        ),
        Row(
            WORKED,
            "take back their own pages",
            FactReversed(5, C),
            by=ASA,
            also="they wrote them two minutes ago",
            around={"own_latest": at(2, 9, 58)},
            bars=(B.ONLY_EDUCATOR,),
        ),
        Row(WORKED, "take back the opening talk", FactReversed(4, C), bars=(B.LATER_FACTS,)),
        Row(NOTHING, "take attendance of today", AttendanceTaken("asa", MON, Presence.FULL), by=TOBI),
        Row(
            NOTHING,
            "take attendance of today",
            AttendanceTaken("asa", MON, Presence.FULL),
            by=ASA,
            bars=(B.ONLY_EDUCATOR,),
        ),
        Row(
            NOTHING,
            "take attendance of tomorrow",
            AttendanceTaken("asa", TUE, Presence.FULL),
            bars=(B.IN_THE_FUTURE,),
        ),
    ),
}
ROWS = tuple(row for rows in PARTS.values() for row in rows)
