"""Facts in words, and the ruler of the terminal."""

from datetime import UTC, date, datetime

import pytest

from markstead.calendar import SchoolCalendar, Term
from markstead.cli import show
from markstead.ledger import facts as f
from markstead.ledger.serial import Entry
from markstead.records.home import Home, Somebody
from markstead.records.words import fact_words
from markstead.rules.load import read_programme
from markstead.rules.ruling import Role
from markstead.rules.standing import Fold
from tests.cli.conftest import PROGRAMME, WORKBOOKS

AT = datetime(2026, 2, 9, 9, tzinfo=UTC)
DAY = date(2026, 2, 9)
HOME = Home(
    "home",
    "The Quays",
    "stamp",
    read_programme(PROGRAMME, WORKBOOKS),
    SchoolCalendar("UTC", "NZ", None, (Term("t", DAY, DAY),), frozenset(range(5))),
    {
        "p1": Somebody("p1", "tui", "Tui", Role.LEARNER, 5),
        "p2": Somebody("p2", "mira", "Mira Quay", Role.EDUCATOR),
    },
)
SAID = [
    (f.CopyOrdered("c", "maths-5-01"), "Copy ordered"),
    (f.CopyReceived("c"), "Copy received"),
    (f.CopySpoiled("c", "w"), "Copy spoiled"),
    (f.CopyIssued("c", "p1"), "Copy issued to Tui"),
    (f.CopyIssued("c", "gone"), "Copy issued to somebody"),
    (f.OpeningTalkHeld("c"), "Opening talk held"),
    (f.GoalSet("c", DAY, 3, 7), "Goal for Mon 9 Feb: pages 3-7"),
    (f.GoalSet("c", DAY, step=f.Step.UNIT_TEST), "Goal for Mon 9 Feb: to sit the unit test"),
    (f.GoalSet("c", DAY), "Goal for Mon 9 Feb taken away"),
    (f.PagesWorked("c", DAY, 3, 3), "Page 3 worked"),
    (f.PagesWorked("c", DAY, 3, 7, 35), "Pages 3-7 worked in 35 min"),
    (f.HelpAsked("c"), "Help asked"),
    (f.HelpAsked("c", 4), "Help asked, page 4"),
    (f.HelpGiven("c", 10), "Help given, 10 min"),
    (f.LeaveAsked("c", f.Step.MARK, "section-2"), "Leave to mark asked, section 2"),
    (f.LeaveGiven("c", f.Step.REMARK, "check-1"), "Leave to re-mark given, check 1"),
    (f.LeaveRefused("c", f.Step.UNIT_TEST, "w"), "Leave to sit the unit test refused"),
    (f.FirstMarking("c", "section-1", 10, (3, 4, 7)), "First marking, section 1: wrong 3-4, 7, of 10"),
    (f.FirstMarking("c", "section-1", 10), "First marking, section 1: all right, of 10"),
    (f.Corrected("c", "practice-test"), "Corrected, the practice test"),
    (f.ReMarked("c", "section-1", (7,)), "Re-marked, section 1: still wrong 7"),
    (f.ReMarked("c", "section-1"), "Re-marked, section 1: cleared"),
    (f.OralQuizHeld("c", ((1, True), (2, False))), "Oral quiz held: 1 of 2 right"),
    (
        f.SpotCheckHeld("c", "section-2", ((8, True), (3, False))),
        "Spot check held, section 2: 1 of 2 ticks are right",
    ),
    (f.WorkTakenOver("c", 9, ("section-1",)), "Work taken over: pages 1-9 worked before this record began"),
    (f.CheckOpened("c", "check-1"), "Check opened, check 1"),
    (f.PracticeTestOpened("c", 1), "Practice test opened"),
    (f.PracticeTestOpened("c", 2), "Practice test opened, attempt 2"),
    (f.PracticeTestScored("c", 1, 8, 10, 8), "Practice test scored: 8 of 10, passed"),
    (f.UnitTestScored("c", 15, 20, 16), "Unit test scored: 15 of 20, below the pass mark, 16 needed"),
    (f.ReadinessDecided("c", ready=True), "Decided: ready for the unit test"),
    (f.ReadinessDecided("c", ready=False), "Decided: not ready yet"),
    (f.UnitTestSat("c", 2, DAY, (), "p2"), "Unit test sat, attempt 2, watched by Mira Quay; no aids"),
    (f.UnitTestSat("c", 1, DAY, ("ruler",), "p2"), "Unit test sat, watched by Mira Quay; ruler"),
    (f.WorkbookReordered("c", "c2"), "Workbook re-ordered"),
    (f.PaperSent("c", "d"), "Test paper sent"),
    (f.DispatchSent("d", DAY, 1), "Dispatch sent: 1 test paper"),
    (f.AttendanceTaken("p1", DAY, f.Presence.ABSENT), "Attendance taken: Tui, Mon 9 Feb, absent"),
    (f.GateOverridden("c", "unit test sat", ("too soon",), "w"), "Gate overridden (unit test sat): too soon"),
    (f.FactReversed(3, "c"), "Taken back: fact 3"),
]


@pytest.mark.parametrize(("fact", "words"), SAID, ids=lambda value: value if isinstance(value, str) else "")
def test_a_fact_is_said_in_words(fact: f.AnyFact, words: str) -> None:
    assert fact_words(fact, HOME) == words


def test_every_kind_of_fact_is_among_those_said() -> None:
    assert {fact.KIND for fact, _ in SAID} == set(f.KINDS)


def ruler_after(*happened: f.AnyFact, width: int = 34) -> str:
    fold = Fold("c")
    fold.take(Entry(1, "a", AT, AT, "p2", f.CopyOrdered("c", "maths-5-01")))
    for number, fact in enumerate(happened, 2):
        fold.take(Entry(number, "a", AT, AT, "p2", fact))
    return show.ruler(fold.standing, HOME.programme.workbook("maths-5-01"), width)


def test_the_ruler_of_a_new_copy_is_bare() -> None:
    # Pages 1-3, check on 4, pages 5-7, check on 8, then the two tests.
    assert ruler_after() == "[>-|v--|v||"


def test_worked_pages_are_inked_and_the_flag_is_behind_them() -> None:
    assert ruler_after(f.PagesWorked("c", DAY, 1, 2)) == "[==>v--|v||"
    assert ruler_after(f.PagesWorked("c", DAY, 1, 5)) == "[==|v=>|v||"


def test_at_the_tests_the_flag_is_at_the_double_end() -> None:
    worked = f.PagesWorked("c", DAY, 1, 8)
    assert ruler_after(worked, f.PracticeTestOpened("c", 1)) == "[==|v==|v>|"


def test_a_long_workbook_is_drawn_to_scale() -> None:
    assert len(ruler_after(f.PagesWorked("c", DAY, 1, 4), width=4)) == 4 + 3


def test_waiting_is_said_in_the_unit_that_counts() -> None:
    assert [show.waited(n) for n in (None, 0, 59, 60, 1439, 1440)] == [
        "",
        "0 min",
        "59 min",
        "1 h",
        "23 h",
        "1 d",
    ]
