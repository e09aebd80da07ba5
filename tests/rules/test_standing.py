"""Where a copy stands: the fold, told fact by fact."""

from datetime import date
from typing import Any

import pytest

from markstead.ledger.facts import (
    PRACTICE,
    AttendanceTaken,
    CheckOpened,
    CopyIssued,
    CopyOrdered,
    CopyReceived,
    CopySpoiled,
    Corrected,
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
    Step,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
)
from markstead.rules.standing import Attempt, CopyStatus, Cycle, Refusal, Sitting, Standing, standings_of
from tests.rules.small_home import Story, at

MON, TUE = date(2026, 2, 2), date(2026, 2, 3)
IN_HAND = [CopyOrdered("c1", "P1", "asa"), CopyReceived("c1"), CopyIssued("c1", "asa")]


def stand(*facts: Any, when: Any = None) -> Standing:
    """The standing after these, a minute apart from Monday nine o'clock on."""
    story = Story()
    story.tell_all(facts, when or at(2))
    return story.standing()


def test_a_copy_without_facts_is_unknown() -> None:
    assert stand().status is CopyStatus.UNKNOWN


@pytest.mark.parametrize(
    ("facts", "status"),
    [
        (IN_HAND[:1], CopyStatus.ON_ORDER),
        (IN_HAND[:2], CopyStatus.IN_THE_HOUSE),
        (IN_HAND, CopyStatus.ISSUED),
        ([*IN_HAND, CopySpoiled("c1", "w")], CopyStatus.SPOILED),
        ([*IN_HAND, UnitTestSat("c1", 1, MON, (), "ruth")], CopyStatus.ISSUED),
        (
            [*IN_HAND, UnitTestSat("c1", 1, MON, (), "ruth"), UnitTestScored("c1", 3, 10, 8)],
            CopyStatus.FINISHED,
        ),
        (
            [
                *IN_HAND,
                UnitTestSat("c1", 1, MON, (), "ruth"),
                UnitTestScored("c1", 9, 10, 8),
                PaperSent("c1", "d7"),
            ],
            CopyStatus.SENT,
        ),
    ],
)
def test_a_copy_goes_from_order_to_dispatch(facts: list[Any], status: CopyStatus) -> None:
    assert stand(*facts).status is status


def test_the_dates_of_a_copy_are_each_its_own() -> None:
    story = Story()
    story.tell(CopyOrdered("c1", "P1", "noa", expected=date(2026, 1, 30)), at(26, month=1))
    story.tell(CopyReceived("c1"), at(29, month=1))
    story.tell(CopyIssued("c1", "asa"), at(2))
    story.tell(OpeningTalkHeld("c1"), at(3))

    s = story.standing()

    assert (s.workbook, s.learner, s.expected) == ("P1", "asa", date(2026, 1, 30))
    assert (s.ordered, s.received, s.issued) == (at(26, month=1), at(29, month=1), at(2))
    assert (s.opening_talk, s.last_at, s.last_seq) == (at(3), at(3), 4)


def test_pages_count_once_and_minutes_add_up_with_the_latest_day_apart() -> None:
    s = stand(
        *IN_HAND,
        PagesWorked("c1", MON, 1, 3, 20),
        PagesWorked("c1", TUE, 3, 4, 7),
        PagesWorked("c1", TUE, 5, 5, None),
        PagesWorked("c1", TUE, 4, 4, 2),
    )
    assert s.pages == {1, 2, 3, 4, 5}
    assert s.minutes == 29
    assert (s.latest_day, s.latest_day_pages, s.latest_day_minutes) == (TUE, {3, 4, 5}, 9)


def test_the_marking_cycle_goes_round_until_nothing_is_wrong() -> None:
    story = Story()
    story.tell_all([*IN_HAND, FirstMarking("c1", "section-1", 5, (2, 4))], at(2))
    stop = story.standing().stop("section-1")
    assert (stop.cycle, stop.first_wrong, stop.still_wrong, stop.asked) == (
        Cycle.TO_CORRECT,
        (2, 4),
        (2, 4),
        5,
    )

    story.tell(Corrected("c1", "section-1"), at(2, 10))
    assert story.standing().stop("section-1").cycle is Cycle.CORRECTED

    story.tell(ReMarked("c1", "section-1", (4,)), at(2, 11))
    stop = story.standing().stop("section-1")
    assert (stop.cycle, stop.first_wrong, stop.still_wrong, stop.markings) == (
        Cycle.TO_CORRECT,
        (2, 4),
        (4,),
        2,
    )

    story.tell_all([Corrected("c1", "section-1"), ReMarked("c1", "section-1")], at(2, 12))
    stop = story.standing().stop("section-1")
    assert (stop.cycle, stop.first_wrong, stop.still_wrong, stop.markings) == (Cycle.CLEARED, (2, 4), (), 3)


def test_teaching_counts_for_the_wrong_answers_at_hand_and_not_for_later_ones() -> None:
    first, again = FirstMarking("c1", "section-1", 5, (1, 2, 3)), ReMarked("c1", "section-1", (2, 3))
    taught = stand(*IN_HAND, first, HelpGiven("c1"))
    later = stand(*IN_HAND, first, HelpGiven("c1"), Corrected("c1", "section-1"), again)
    other_stop = stand(*IN_HAND, first, OralQuizHeld("c1", ((1, True),), "section-2"))

    assert taught.stop("section-1").talked_over
    assert not later.stop("section-1").talked_over
    assert not other_stop.stop("section-1").talked_over


def test_a_learner_waits_from_asking_until_the_answer() -> None:
    story = Story()
    story.tell_all([*IN_HAND, LeaveAsked("c1", Step.MARK, "section-1")], at(2))
    asked = story.standing().waiting
    assert asked is not None
    assert (asked.step, asked.stop, asked.at) == (Step.MARK, "section-1", at(2, 9, 3))

    story.tell(LeaveRefused("c1", Step.MARK, "w5", "section-1"), at(2, 10))
    refused = story.standing()
    assert (refused.waiting, refused.refusal) == (None, Refusal(at(2, 10), Step.MARK, "section-1", "w5"))

    story.tell(LeaveAsked("c1", Step.MARK, "section-1"), at(2, 11))
    assert story.standing().refusal is None

    story.tell(LeaveGiven("c1", Step.MARK, "section-1"), at(2, 12))
    given = story.standing()
    assert (given.waiting, given.leave, given.leave_given) == (None, (Step.MARK, "section-1"), at(2, 12))

    story.tell(FirstMarking("c1", "section-1", 5), at(2, 13))
    assert story.standing().leave is None


@pytest.mark.parametrize(
    ("step", "answer"),
    [
        (Step.CHECK, CheckOpened("c1", "check-1")),
        (Step.PRACTICE_TEST, PracticeTestOpened("c1", 1)),
        (Step.UNIT_TEST, ReadinessDecided("c1", ready=True)),
        (Step.UNIT_TEST, ReadinessDecided("c1", ready=False)),
        (Step.UNIT_TEST, UnitTestSat("c1", 1, MON, (), "ruth")),
    ],
)
def test_what_a_learner_asked_for_is_answered_by_doing_it(step: Step, answer: Any) -> None:
    assert stand(*IN_HAND, LeaveAsked("c1", step)).waiting is not None
    assert stand(*IN_HAND, LeaveAsked("c1", step), answer).waiting is None


def test_deciding_on_readiness_leaves_another_question_waiting() -> None:
    s = stand(*IN_HAND, LeaveAsked("c1", Step.REMARK, PRACTICE), ReadinessDecided("c1", ready=True))
    assert s.waiting is not None


def test_help_waits_beside_leave_and_is_answered_by_help() -> None:
    story = Story()
    story.tell_all([*IN_HAND, HelpAsked("c1", 7), LeaveAsked("c1", Step.MARK, "section-1")], at(2))
    s = story.standing()
    assert s.help is not None
    assert s.help.page == 7
    assert s.waiting is not None

    story.tell(HelpGiven("c1", 5), at(2, 10))
    s = story.standing()
    assert s.help is None
    assert s.waiting is not None


def test_a_practice_test_is_one_attempt_that_is_opened_and_then_scored() -> None:
    story = Story()
    story.tell_all(IN_HAND, at(2, 8))
    story.tell(PracticeTestOpened("c1", 1), at(2, 9))
    assert story.standing().practice_open

    story.tell(PracticeTestScored("c1", 1, 7, 10, 8, (1, 5, 6)), at(2, 10))
    s = story.standing()
    assert s.practice == (Attempt(1, at(2, 9), at(2, 10), 7, 10, 8, (1, 5, 6)),)
    assert not s.practice_open
    assert not s.practice_passed
    assert s.stop(PRACTICE).cycle is Cycle.TO_CORRECT
    assert not s.practice_reviewed


@pytest.mark.parametrize(
    "review",
    [HelpGiven("c1"), OralQuizHeld("c1", ((3, True),)), Corrected("c1", PRACTICE)],
    ids=lambda f: f.KIND,
)
def test_a_practice_test_is_gone_over_by_help_a_quiz_or_corrections(review: Any) -> None:
    below = [*IN_HAND, PracticeTestOpened("c1", 1), PracticeTestScored("c1", 1, 7, 10, 8, (1, 5, 6))]
    assert not stand(*below).practice_reviewed
    assert stand(*below, review).practice_reviewed


def test_a_second_practice_test_starts_clean_and_keeps_the_first() -> None:
    s = stand(
        *IN_HAND,
        PracticeTestOpened("c1", 1),
        PracticeTestScored("c1", 1, 8, 10, 8),
        ReadinessDecided("c1", ready=True),
        PracticeTestOpened("c1", 2),
    )
    assert [attempt.number for attempt in s.practice] == [1, 2]
    assert s.practice_open
    assert not s.practice_passed
    assert (s.ready, s.decided, s.stop(PRACTICE).cycle) == (None, None, Cycle.UNMARKED)


@pytest.mark.parametrize(("right", "passed"), [(7, False), (8, True), (9, True)])
def test_a_mark_is_judged_by_what_was_needed_on_that_day(right: int, passed: bool) -> None:
    s = stand(*IN_HAND, UnitTestSat("c1", 2, TUE, ("pencil",), "tobi"), UnitTestScored("c1", right, 10, 8))
    assert s.unit == Sitting(2, at(2, 9, 3), TUE, ("pencil",), "tobi", at(2, 9, 4), right, 10, 8)
    assert (s.passed, s.failed) == (passed, not passed)


def test_working_on_in_the_same_copy_opens_it_anew() -> None:
    s = stand(
        *IN_HAND,
        UnitTestSat("c1", 1, MON, (), "ruth"),
        UnitTestScored("c1", 3, 10, 8),
        PaperSent("c1", "d7"),
        PracticeTestOpened("c1", 2),
    )
    assert (s.status, s.unit, s.dispatch) == (CopyStatus.ISSUED, None, None)


def test_a_failed_copy_knows_what_replaces_it() -> None:
    s = stand(
        *IN_HAND,
        UnitTestSat("c1", 1, MON, (), "ruth"),
        UnitTestScored("c1", 3, 10, 8),
        WorkbookReordered("c1", "c9"),
    )
    assert s.replaced_by == "c9"
    assert s.failed


def test_a_goal_stands_until_another_or_none_is_set() -> None:
    goal = GoalSet("c1", TUE, 3, 5)
    assert stand(*IN_HAND, goal).goal == goal
    assert stand(*IN_HAND, goal, GoalSet("c1", TUE, step=Step.UNIT_TEST)).goal == GoalSet(
        "c1", TUE, step=Step.UNIT_TEST
    )
    assert stand(*IN_HAND, goal, GoalSet("c1", TUE)).goal is None


def test_an_override_is_used_up_by_the_next_act_of_its_kind() -> None:
    passing = GateOverridden("c1", PagesWorked.KIND, ("no opening talk",), "w")
    assert stand(*IN_HAND, passing).override == passing
    assert stand(*IN_HAND, passing, HelpAsked("c1")).override == passing
    assert stand(*IN_HAND, passing, PagesWorked("c1", MON, 1, 1)).override is None


def test_taking_back_an_earlier_fact_leaves_the_later_ones() -> None:
    story = Story()
    story.tell_all([*IN_HAND, PagesWorked("c1", MON, 1, 2, 10), PagesWorked("c1", MON, 4, 5, 3)], at(2))
    story.tell(FactReversed(4, "c1"), at(2, 12))

    s = story.standing()

    assert (s.pages, s.minutes, s.last_seq) == ({4, 5}, 3, 6)
    assert story.folds["c1"].is_reversed(4)
    assert not story.folds["c1"].is_reversed(5)


def test_notes_do_not_move_a_copy() -> None:
    moved = stand(*IN_HAND)
    noted = stand(
        *IN_HAND, HelpAsked("c1"), HelpGiven("c1"), GoalSet("c1", MON, 1, 2), OralQuizHeld("c1", ((1, True),))
    )
    assert moved.last_move == noted.last_move == 3
    assert noted.last_seq == 7


def test_facts_about_no_copy_stand_with_no_copy() -> None:
    story = Story()
    story.tell(AttendanceTaken("asa", MON, Presence.FULL), at(2))
    story.tell(CopyOrdered("c1", "P1"), at(2))
    assert set(standings_of(story.entries)) == {"c1"}
