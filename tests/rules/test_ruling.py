"""Details of rulings that a table of sentences shows badly: words, edges of numbers, what is passed over."""

from dataclasses import replace
from datetime import date, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from markstead.errors import UnknownError
from markstead.ledger.facts import (
    PRACTICE,
    AnyFact,
    CheckOpened,
    CopyIssued,
    CopyOrdered,
    CopyReceived,
    FirstMarking,
    GateOverridden,
    HelpAsked,
    LeaveAsked,
    LeaveGiven,
    OpeningTalkHeld,
    PagesWorked,
    PracticeTestOpened,
    PracticeTestScored,
    ReadinessDecided,
    Step,
    UnitTestSat,
)
from markstead.rules.bars import BarKind
from markstead.rules.programme import MarkingRules, Marks
from markstead.rules.ruling import RefusedError, Ruling, ranges, stop_words
from markstead.speech import day_words
from tests.rules.small_home import ASA, CALENDAR, PROGRAMME, RUTH, Story, at, kinds

MON, TUE = date(2026, 2, 2), date(2026, 2, 3)
TALKED: list[AnyFact] = [
    CopyOrdered("c1", "P1", "asa"),
    CopyReceived("c1"),
    CopyIssued("c1", "asa"),
    OpeningTalkHeld("c1"),
]
CLEARED: list[AnyFact] = [
    *TALKED,
    PagesWorked("c1", MON, 1, 2),
    FirstMarking("c1", "section-1", 5),
    CheckOpened("c1", "check-1"),
    PagesWorked("c1", MON, 3, 3),
    FirstMarking("c1", "check-1", 4),
    PagesWorked("c1", MON, 4, 5),
    FirstMarking("c1", "section-2", 5),
]
READY: list[AnyFact] = [
    *CLEARED,
    PracticeTestOpened("c1", 1),
    PracticeTestScored("c1", 1, 8, 10, 8),
    ReadinessDecided("c1", ready=True),
]


def story_of(facts: list[AnyFact], **changes: object) -> Story:
    story = Story(replace(PROGRAMME, **changes)) if changes else Story()  # type: ignore[arg-type]
    story.tell_all(facts, at(2))
    return story


def sit(day: int) -> UnitTestSat:
    return UnitTestSat("c1", 1, date(2026, 2, day), ("pencil",), "ruth")


def test_a_refusal_reads_as_what_is_the_matter_and_what_lifts_it() -> None:
    answer = story_of(TALKED).ask(LeaveAsked("c1", Step.MARK, "section-1"), at(2, 10), ASA)
    assert str(RefusedError(answer)) == "Pages 1-2 are not worked yet. Work pages 1-2."


def test_every_bar_is_named_and_not_only_the_first() -> None:
    answer = story_of(CLEARED).ask(replace(sit(7), aids=("calculator",), watcher=""), at(7, 14), ASA)
    assert kinds(answer) == {
        "only an educator",
        "practice test below the pass mark",
        "readiness not decided",
        "no school",
        "not in the morning",
        "nobody watches",
        "aid not allowed",
    }


@pytest.mark.parametrize(
    ("when", "says"),
    [
        (at(2, 11), "Wait until Tuesday 3 February 2026."),
        (at(3, 8), "Wait until Tuesday 3 February 2026, 08:30."),
        (at(3, 12), "Wait until Wednesday 4 February 2026, 08:30."),
        (at(5, 13), "Wait until Tuesday 10 February 2026, 08:30."),  # a long weekend with two holidays
        (at(6, 9), "Wait until Tuesday 10 February 2026."),
        (at(20, 13), "Wait until Monday 2 March 2026, 08:30."),  # the holidays between the terms
    ],
)
def test_a_test_that_must_wait_is_told_until_when(when: object, says: str) -> None:
    answer = story_of(READY).ask(sit(when.day), when)  # type: ignore[attr-defined, arg-type]
    assert [b.lifts for b in answer.bars] == [says]


def test_after_the_last_term_nobody_promises_a_day() -> None:
    answer = story_of(READY).ask(sit(20), at(16, month=3))
    assert [b.lifts for b in answer.bars] == ["Wait until a school day (none is entered within a year)."]


def test_two_school_days_between_the_tests_are_counted_in_school_days() -> None:
    """Thursday's practice test, Friday and Monday off: the second school day is Wednesday."""
    rules = replace(PROGRAMME.unit_test, school_days_after_practice=2)
    story = Story(replace(PROGRAMME, unit_test=rules))
    story.tell_all(READY, at(5))
    assert kinds(story.ask(sit(10), at(10))) == {"too soon"}
    assert story.ask(sit(11), at(11)).allowed


def test_a_programme_may_leave_readiness_to_the_mark() -> None:
    rules = replace(PROGRAMME.unit_test, readiness_decision=False)
    assert story_of(READY[:-1], unit_test=rules).ask(sit(3), at(3)).allowed
    assert kinds(story_of(READY[:-1]).ask(sit(3), at(3))) == {"readiness not decided"}


@pytest.mark.parametrize(("ahead", "furthest"), [(0, 2), (1, 3), (2, 5), (9, 5)])
def test_a_learner_works_as_far_ahead_as_the_programme_lets(ahead: int, furthest: int) -> None:
    story = story_of([*TALKED, CheckOpened("c1", "check-1")], marking=MarkingRules(40, ahead))
    reached = [
        last for last in range(1, 6) if story.ask(PagesWorked("c1", MON, 1, last), at(2, 10), ASA).allowed
    ]
    assert reached == list(range(1, furthest + 1))


@pytest.mark.parametrize(
    ("wrong", "asked", "percent", "quiz"),
    [
        (2, 5, 40, True),
        (1, 5, 40, False),
        (2, 5, 41, False),
        (1, 3, 33, True),
        (1, 3, 34, False),
        (0, 5, 0, False),
    ],
)
def test_the_share_that_calls_for_a_quiz_is_reckoned_in_whole_numbers(
    wrong: int, asked: int, percent: int, quiz: bool
) -> None:
    assert MarkingRules(percent, 0).calls_for_quiz(wrong, asked) is quiz


@pytest.mark.parametrize(("asked", "needed"), [(10, 8), (20, 16), (12, 10), (13, 11), (1, 1)])
def test_eighty_per_cent_by_hand(asked: int, needed: int) -> None:
    marks = Marks(practice_test_percent=100, unit_test_percent=80)
    assert marks.unit_needed(asked) == needed
    assert marks.practice_needed(asked) == asked


@given(minute=st.integers(min_value=0, max_value=24 * 60 - 1))
def test_the_morning_runs_from_half_past_eight_to_just_before_noon(minute: int) -> None:
    when = at(3, minute // 60, minute % 60)
    shut = "not in the morning" in kinds(story_of(READY).ask(sit(3), when))
    assert shut is not (time(8, 30) <= when.time() < time(12, 0))


def test_an_override_is_shown_in_what_it_passed_over() -> None:
    story = story_of([*TALKED[:3], GateOverridden("c1", PagesWorked.KIND, (BarKind.NO_OPENING_TALK,), "w")])
    answer = story.ask(PagesWorked("c1", MON, 1, 2), at(2, 10), ASA)
    assert answer.allowed
    assert [b.kind for b in answer.passed_over] == [BarKind.NO_OPENING_TALK]


def test_only_a_gate_shut_by_rules_alone_can_be_passed_with_a_reason() -> None:
    story = story_of(TALKED[:3])
    assert story.ask(PagesWorked("c1", MON, 1, 2), at(2, 10), ASA).overridable
    assert not story.ask(CheckOpened("c1", "check-1"), at(2, 10), RUTH).overridable
    assert not Ruling().overridable


def test_while_the_practice_test_is_open_the_rest_of_the_workbook_is_closed() -> None:
    """Even where a reason let it be opened too early."""
    early = [*TALKED, PagesWorked("c1", MON, 1, 2), PracticeTestOpened("c1", 1)]
    marking = [*early, LeaveGiven("c1", Step.MARK, "section-1")]
    assert kinds(story_of(early).ask(LeaveAsked("c1", Step.MARK, "section-1"), at(2, 10), ASA)) == {
        "workbook closed"
    }
    assert kinds(story_of(marking).ask(FirstMarking("c1", "section-1", 5), at(2, 10), ASA)) == {
        "workbook closed"
    }
    cleared = [*TALKED, FirstMarking("c1", "section-1", 5), PracticeTestOpened("c1", 1)]
    assert kinds(story_of(cleared).ask(CheckOpened("c1", "check-1"), at(2, 10))) == {"workbook closed"}
    assert story_of(early).ask(HelpAsked("c1"), at(2, 10), ASA).allowed


@pytest.mark.parametrize(
    "odd",
    [
        LeaveAsked("c1", Step.MARK, "section-9"),
        FirstMarking("c1", "section-9", 5),
        FirstMarking("c1", PRACTICE, 10),
        CheckOpened("c1", "check-4"),
        CheckOpened("c1", "section-1"),
    ],
    ids=str,
)
def test_a_stop_that_the_workbook_does_not_have_is_named_with_those_it_has(odd: AnyFact) -> None:
    with pytest.raises(UnknownError, match=r"workbook P1.*one of (section-1, )?check-1"):
        story_of([*CLEARED, PracticeTestOpened("c1", 1)]).ask(odd, at(2, 10))


def test_a_workbook_of_no_programme_is_an_unknown_one() -> None:
    story = Story()
    story.tell_all([CopyOrdered("c1", "X9"), CopyReceived("c1")], at(2))
    with pytest.raises(UnknownError, match="'X9'"):
        story.ask(CopyIssued("c1", "asa"), at(2, 10))


@pytest.mark.parametrize(
    ("numbers", "text"),
    [((), ""), ((4,), "4"), ((3, 4, 5, 8), "3-5, 8"), ((8, 3, 4), "3-4, 8"), ((1, 3, 5), "1, 3, 5")],
)
def test_numbers_are_written_shortly(numbers: tuple[int, ...], text: str) -> None:
    assert ranges(numbers) == text


def test_days_and_stops_are_written_as_people_say_them() -> None:
    assert day_words(date(2026, 1, 27)) == "Tuesday 27 January 2026"
    assert [stop_words(s) for s in ("section-3", "check-1", PRACTICE, None)] == [
        "section 3",
        "check 1",
        "the practice test",
        "the workbook",
    ]


def test_a_gate_does_not_look_at_the_watch_of_who_asks() -> None:
    """Eleven at night in London is noon at home: too late in the morning."""
    from zoneinfo import ZoneInfo

    noon = at(3, 12).astimezone(ZoneInfo("Europe/London"))
    assert noon.hour == 23
    assert CALENDAR.day_of(noon) == TUE
    assert kinds(story_of(READY).ask(sit(3), noon)) == {"not in the morning"}
