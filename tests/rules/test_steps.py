"""What comes next: driven through a whole workbook, step by step."""

import pytest

from markstead.ledger.facts import (
    PRACTICE,
    AnyFact,
    CheckOpened,
    Corrected,
    FirstMarking,
    HelpGiven,
    LeaveAsked,
    LeaveGiven,
    PracticeTestOpened,
    ReadinessDecided,
    Step,
)
from markstead.rules.standing import Asked
from markstead.rules.steps import BLOCKS, URGENCY, CallKind, Turn, answer_to, candidates, next_step
from tests.rules.small_home import PLANTS_1, PROGRAMME, SAME_COPY, Story, at, kinds
from tests.spec import table
from tests.spec.table import Given


def story_of(given: Given) -> Story:
    story = Story()
    for fact, when in given.facts:
        story.tell(fact, when)
    return story


@pytest.mark.parametrize(
    ("given", "turn", "what", "call"),
    [
        (table.ORDERED, Turn.NOBODY, "Wait for the copy", None),
        (table.HOUSE, Turn.EDUCATOR, "Issue the copy", None),
        (table.ISSUED, Turn.EDUCATOR, "Hold the opening talk", CallKind.OPENING_TALK),
        (table.TALKED, Turn.LEARNER, "Work pages 1-2", None),
        (table.WORKED, Turn.LEARNER, "Ask leave to mark section 1", None),
        (table.WAITING, Turn.EDUCATOR, "Asks leave to mark section 1", CallKind.LEAVE_TO_MARK),
        (table.LEAVE, Turn.LEARNER, "Mark section 1 against the key", None),
        (table.FEW, Turn.LEARNER, "Correct question 4 of section 1", None),
        (table.FEW_DONE, Turn.LEARNER, "Ask leave to re-mark section 1", None),
        (table.RE_LEAVE, Turn.LEARNER, "Re-mark section 1: question 4", None),
        (table.STILL, Turn.LEARNER, "Correct question 4 of section 1", None),
        (table.MANY, Turn.EDUCATOR, "Quiz on section 1: 2 of 5 wrong", CallKind.QUIZ),
        (table.CLEARED_1, Turn.EDUCATOR, "Open check 1", CallKind.CHECK),
        (table.CHECK, Turn.LEARNER, "Take check 1, page 3", None),
        (table.CLEARED, Turn.EDUCATOR, "Open the practice test", CallKind.PRACTICE_TEST),
        (table.TESTING, Turn.LEARNER, "Sit the practice test, then have it marked", None),
        (table.BELOW, Turn.EDUCATOR, "Go over the practice test: 7 of 10, 8 needed", CallKind.REVIEW),
        (table.REVIEWED, Turn.EDUCATOR, "Open the practice test, attempt 2", CallKind.PRACTICE_TEST),
        (
            table.PASSED,
            Turn.EDUCATOR,
            "Decide on readiness: 8 of 10 in the practice test",
            CallKind.READINESS,
        ),
        (table.NOT_YET, Turn.EDUCATOR, "Review, then decide on readiness again", None),
        (table.READY, Turn.EDUCATOR, "Sit the unit test, watched", CallKind.SITTING),
        (table.SAT, Turn.EDUCATOR, "Mark the unit test", CallKind.MARK_UNIT_TEST),
        (table.FAILED, Turn.EDUCATOR, "Go over the test and order a new copy", CallKind.ORDER_AGAIN),
        (table.FAILED_SENT, Turn.EDUCATOR, "Go over the test and order a new copy", CallKind.ORDER_AGAIN),
        (table.FINISHED, Turn.NOBODY, "Send the test paper with the next dispatch", None),
        (table.REORDERED, Turn.NOBODY, "Send the test paper with the next dispatch", None),
        (table.SENT, Turn.NOBODY, "Nothing: the copy is sent", None),
        (table.SPOILED, Turn.NOBODY, "Nothing: the copy is spoiled", None),
    ],
    ids=lambda value: value.words if isinstance(value, Given) else None,
)
def test_each_standing_has_one_next_step(given: Given, turn: Turn, what: str, call: CallKind | None) -> None:
    step = next_step(story_of(given).standing(), PROGRAMME)
    assert (step.turn, step.what, step.call) == (turn, what, call)


def test_in_the_same_copy_a_failed_test_leads_back_to_the_practice_test() -> None:
    step = next_step(story_of(table.FAILED_SENT).standing(), SAME_COPY)
    assert step.call is CallKind.PRACTICE_TEST
    assert step.act == PracticeTestOpened("c1", 2)


def test_a_question_once_decided_stops_waiting() -> None:
    """Asa asks to sit; Ruth finds her ready; from then on the call is the sitting itself."""
    story = story_of(table.PASSED)
    story.tell(LeaveAsked("c1", Step.UNIT_TEST), at(2, 10))
    assert next_step(story.standing(), PROGRAMME).call is CallKind.LEAVE_TO_SIT

    story.tell(ReadinessDecided("c1", ready=True), at(2, 11))

    assert next_step(story.standing(), PROGRAMME).call is CallKind.SITTING


@pytest.mark.parametrize(
    ("step", "stop", "answer"),
    [
        (Step.MARK, "section-1", LeaveGiven("c1", Step.MARK, "section-1")),
        (Step.REMARK, PRACTICE, LeaveGiven("c1", Step.REMARK, PRACTICE)),
        (Step.CHECK, "check-1", CheckOpened("c1", "check-1")),
        (Step.PRACTICE_TEST, None, PracticeTestOpened("c1", 1)),
        (Step.UNIT_TEST, None, ReadinessDecided("c1", ready=True)),
    ],
)
def test_yes_to_a_learner_is_the_act_that_was_asked_for(
    step: Step, stop: str | None, answer: AnyFact
) -> None:
    assert answer_to(story_of(table.TALKED).standing(), Asked(at(2), step, stop)) == answer


def test_every_call_says_how_urgent_it_is_and_what_it_holds_up() -> None:
    assert set(URGENCY) == set(BLOCKS) == set(CallKind)


def test_the_acts_offered_hold_every_one_that_is_allowed() -> None:
    """At each place of the table, what the table allows the educator there is among what the page would offer."""
    for row in table.ROWS:
        standing = story_of(row.given).standing()
        if row.bars or row.by.id != "ruth" or not standing.workbook or row.programme is SAME_COPY:
            continue
        offered = {fact.KIND for fact in candidates(standing, PLANTS_1, row.when.date())}
        elsewhere = {
            "gate overridden",
            "fact reversed",
            "test paper sent",
            "work taken over",
        }  # by their own forms, on any copy
        assert row.fact.KIND in offered | elsewhere, row.act


def test_the_practice_test_is_corrected_beside_the_next_step() -> None:
    story = story_of(table.BELOW)
    offered = candidates(story.standing(), PLANTS_1, at(2).date())
    allowed = {type(fact) for fact in offered if not kinds(story.ask(fact, at(2, 10)))}
    assert {Corrected, HelpGiven} <= allowed
    assert FirstMarking not in allowed
