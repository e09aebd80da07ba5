"""Laws that hold in every home, whatever happens in it."""

import string
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from markstead.ledger.facts import (
    PRACTICE,
    AnyFact,
    CheckOpened,
    CopyIssued,
    CopyOrdered,
    CopyReceived,
    Corrected,
    FactReversed,
    FirstMarking,
    GateOverridden,
    HelpGiven,
    LeaveAsked,
    LeaveGiven,
    OpeningTalkHeld,
    OralQuizHeld,
    PagesWorked,
    PracticeTestOpened,
    PracticeTestScored,
    ReadinessDecided,
    Step,
    UnitTestSat,
    WorkTakenOver,
)
from markstead.ledger.serial import Entry
from markstead.rules.bars import SENTENCES, BarKind, Weight
from markstead.rules.ruling import Ruling
from markstead.rules.standing import Fold, standing_of, standings_of
from markstead.rules.steps import Turn, next_step
from tests.ledger.samples import ANY_FACT, MONDAY
from tests.properties.naive import RULES_THAT_MAY_BE_PASSED
from tests.properties.wandering import Proposal, Weeks, spend, weeks
from tests.rules.small_home import ASA, CAST, RUTH, Story, at, kinds

SOME_WEEKS = settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
ZONES = ("UTC", "America/St_Johns", "Asia/Kathmandu", "Pacific/Kiritimati", "Pacific/Auckland")
PENCIL = ("pencil", "eraser", "ruler")


def asked(proposal: Proposal) -> Ruling:
    return proposal.story.ask(proposal.fact, proposal.when, proposal.by, now=proposal.now)


# --- more right never shuts a gate ---------------------------------------------------------------------------


def up_to_practice(right: int, wrong: Iterable[int] = ()) -> Story:
    """Asa's P1 with a practice test of ten questions, scored on Tuesday 3 February at half past two."""
    story = Story()
    story.tell_all(
        [
            CopyOrdered("c1", "P1", "asa"),
            CopyReceived("c1"),
            CopyIssued("c1", "asa"),
            OpeningTalkHeld("c1"),
            PagesWorked("c1", at(2).date(), 1, 2),
            FirstMarking("c1", "section-1", 5),
            CheckOpened("c1", "check-1"),
            PagesWorked("c1", at(2).date(), 3, 3),
            FirstMarking("c1", "check-1", 4),
            PagesWorked("c1", at(2).date(), 4, 5),
            FirstMarking("c1", "section-2", 5),
        ],
        at(2),
    )
    story.tell(PracticeTestOpened("c1", 1), at(3, 13))
    story.tell(PracticeTestScored("c1", 1, right, 10, 8, tuple(wrong)), at(3, 14, 30))
    return story


AFTERWARDS = st.lists(
    st.sampled_from(
        [
            HelpGiven("c1"),
            OralQuizHeld("c1", ((1, True),)),
            Corrected("c1", PRACTICE),
            ReadinessDecided("c1", ready=True),
            ReadinessDecided("c1", ready=False),
            GateOverridden("c1", UnitTestSat.KIND, ("practice test below the pass mark",), "w"),
            GateOverridden("c1", UnitTestSat.KIND, ("readiness not decided", "no school"), "w"),
        ]
    ),
    max_size=4,
)
INSTANTS = st.builds(
    lambda day, minutes: at(3, 0) + timedelta(days=day, minutes=minutes),
    st.integers(min_value=0, max_value=40),
    st.integers(min_value=0, max_value=24 * 60 - 1),
).filter(lambda instant: instant > at(3, 15))


@settings(deadline=None)
@given(right=st.integers(min_value=0, max_value=9), afterwards=AFTERWARDS, when=INSTANTS)
def test_one_more_right_in_the_practice_test_never_shuts_the_unit_test(
    right: int, afterwards: list[AnyFact], when: datetime
) -> None:
    sit = UnitTestSat("c1", 1, when.date(), PENCIL, "ruth")
    bars = []
    for score in (right, right + 1):
        story = up_to_practice(score)
        story.tell_all(afterwards, at(3, 14, 40))
        bars.append(kinds(story.ask(sit, when)))
    assert bars[1] <= bars[0]


@settings(deadline=None)
@given(wrong=st.sets(st.integers(min_value=1, max_value=5), min_size=1), taught=st.booleans())
def test_one_less_wrong_at_a_marking_stop_never_shuts_a_gate(wrong: set[int], taught: bool) -> None:
    gates: list[AnyFact] = [LeaveGiven("c1", Step.REMARK, "section-1"), CheckOpened("c1", "check-1")]
    bars = []
    for numbers in (sorted(wrong), sorted(wrong)[1:]):
        story = Story()
        story.tell_all(
            [
                CopyOrdered("c1", "P1", "asa"),
                CopyReceived("c1"),
                CopyIssued("c1", "asa"),
                OpeningTalkHeld("c1"),
                PagesWorked("c1", at(2).date(), 1, 2),
                FirstMarking("c1", "section-1", 5, tuple(numbers)),
                *([HelpGiven("c1")] if taught else []),
                *([Corrected("c1", "section-1")] if numbers else []),
            ],
            at(2),
        )
        bars.append([kinds(story.ask(gate, at(2, 10))) for gate in gates])
    # With nothing wrong there is nothing to re-mark: 'already done' opens the way and shuts nothing.
    assert bars[1][0] - {"already done"} <= bars[0][0]
    assert bars[1][1] <= bars[0][1]


# --- the unit test comes on a later morning -----------------------------------------------------------------


@settings(deadline=None)
@given(
    right=st.integers(min_value=0, max_value=10),
    minutes=st.integers(min_value=1, max_value=9 * 60 + 29),
    passed_over=st.sets(st.sampled_from(sorted(RULES_THAT_MAY_BE_PASSED - {"too soon"})), min_size=1),
)
def test_nobody_sits_the_unit_test_on_the_day_of_the_practice_test(
    right: int, minutes: int, passed_over: set[str]
) -> None:
    """Whatever else an educator passes over; only the day itself, named with a reason, can be passed."""
    story = up_to_practice(right)
    story.tell(ReadinessDecided("c1", ready=True), at(3, 14, 30))
    story.tell(GateOverridden("c1", UnitTestSat.KIND, tuple(sorted(passed_over)), "w"), at(3, 14, 30))
    when = at(3, 14, 30) + timedelta(minutes=minutes)

    answer = story.ask(UnitTestSat("c1", 1, when.date(), PENCIL, "ruth"), when)

    assert "too soon" in kinds(answer)


@SOME_WEEKS
@given(some=weeks(80, 160))
def test_no_home_ever_has_both_tests_of_a_copy_on_one_day_without_a_reason(some: Weeks) -> None:
    for proposal in spend(replace(some, passes=0)):
        fact = proposal.fact
        if not isinstance(fact, UnitTestSat) or not asked(proposal).allowed:
            continue
        attempt = proposal.story.standing(fact.copy).attempt
        calendar = proposal.story.calendar
        assert attempt is not None
        assert attempt.scored is not None
        assert calendar.day_of(attempt.scored) < calendar.day_of(proposal.when), str(proposal)


# --- instants --------------------------------------------------------------------------------------------------


@SOME_WEEKS
@given(some=weeks(60, 120), zone=st.sampled_from(ZONES))
def test_the_same_instant_written_in_another_zone_gets_the_same_ruling(some: Weeks, zone: str) -> None:
    there = ZoneInfo(zone)
    for proposal in spend(some):
        moved = proposal.story.ask(
            proposal.fact, proposal.when.astimezone(there), proposal.by, now=proposal.now.astimezone(there)
        )
        assert moved == asked(proposal), str(proposal)


# --- the fold ----------------------------------------------------------------------------------------------------


@st.composite
def records(draw: st.DrawFn) -> list[Entry]:
    """Any facts in any order about three copies: what happened is never refused, however odd it is."""
    facts = draw(st.lists(ANY_FACT, max_size=25))
    entries = []
    for seq, fact in enumerate(facts, 1):
        told = (
            replace(fact, copy=draw(st.sampled_from(["c1", "c2", "c3"]))) if hasattr(fact, "copy") else fact
        )
        if isinstance(told, FactReversed):
            told = replace(told, entry=draw(st.integers(min_value=1, max_value=seq)))
        if isinstance(
            told, PagesWorked
        ):  # a workbook has a few dozen pages, not the 2**53 that the record could hold
            first = draw(st.integers(min_value=1, max_value=60))
            told = replace(told, first=first, last=first + draw(st.integers(min_value=0, max_value=9)))
        if isinstance(told, WorkTakenOver):
            told = replace(told, last=draw(st.integers(min_value=1, max_value=60)))
        at_ = MONDAY + timedelta(minutes=draw(st.integers(min_value=0, max_value=9000)))
        entries.append(Entry(seq, f"act-{seq}", at_, at_, "ruth", told))
    return entries


def about(copy: str, entries: list[Entry]) -> list[Entry]:
    return [entry for entry in entries if getattr(entry.fact, "copy", None) == copy]


@settings(deadline=None)
@given(record=records(), cut=st.integers(min_value=0, max_value=25))
def test_a_fold_kept_and_read_on_equals_all_read_at_once(record: list[Entry], cut: int) -> None:
    mine = about("c1", record)
    kept = Fold("c1", mine[:cut])
    assert kept.standing == standing_of("c1", mine[:cut])  # to look does not disturb
    for entry in mine[cut:]:
        kept.take(entry)
    assert kept.standing == standing_of("c1", mine)


@settings(deadline=None)
@given(record=records())
def test_copies_folded_together_stand_as_each_folded_alone(record: list[Entry]) -> None:
    together = standings_of(record)
    assert together == {copy: standing_of(copy, about(copy, record)) for copy in together}
    assert set(together) == {e.fact.copy for e in record if getattr(e.fact, "copy", None)}


@settings(deadline=None)
@given(record=records())
def test_a_standing_once_given_is_not_changed_by_later_facts(record: list[Entry]) -> None:
    fold, given_out, said = Fold("c1"), [], []
    for entry in about("c1", record):
        fold.take(entry)
        given_out.append(fold.standing)
        said.append(repr(given_out[-1].pages) + repr(given_out[-1].practice))
    assert [repr(s.pages) + repr(s.practice) for s in given_out] == said


@SOME_WEEKS
@given(some=weeks(40, 100))
def test_taking_back_the_latest_fact_gives_the_standing_before_it(some: Weeks) -> None:
    for proposal in spend(some):
        fact = proposal.fact
        copy = getattr(fact, "copy", None)
        if copy is None or isinstance(fact, FactReversed):
            continue
        entries = proposal.story.folds[copy].entries if copy in proposal.story.folds else []
        before = standing_of(copy, entries)
        fold = Fold(copy, entries)
        seq = len(proposal.story.entries) + 1
        fold.take(Entry(seq, "done", proposal.when, proposal.when, "ruth", fact))
        fold.take(Entry(seq + 1, "undone", proposal.when, proposal.when, "ruth", FactReversed(seq, copy)))
        assert replace(fold.standing, last_seq=before.last_seq) == before, str(proposal)
        assert fold.is_reversed(seq)


# --- overrides ----------------------------------------------------------------------------------------------------


@SOME_WEEKS
@given(some=weeks(60, 120))
def test_a_reason_passes_the_rules_and_never_who_may_act_or_what_there_is_to_do(some: Weeks) -> None:
    every_kind = tuple(str(kind) for kind in BarKind)
    for proposal in spend(replace(some, passes=0)):
        copy = getattr(proposal.fact, "copy", None)
        if copy is None or copy not in proposal.story.folds or isinstance(proposal.fact, GateOverridden):
            continue
        before = asked(proposal)
        story = Story(proposal.story.programme)
        for entry in proposal.story.entries:
            story.tell(entry.fact, entry.at)
        latest = story.standing(copy).last_at or proposal.when
        story.tell(GateOverridden(copy, proposal.fact.KIND, every_kind, "w"), latest)

        after = story.ask(proposal.fact, proposal.when, proposal.by, now=proposal.now)

        assert after.bars == tuple(b for b in before.bars if b.weight is not Weight.RULE), str(proposal)
        assert after.passed_over == tuple(b for b in before.bars if b.weight is Weight.RULE), str(proposal)
        assert after.allowed == (before.allowed or before.overridable)


@SOME_WEEKS
@given(some=weeks(80, 160))
def test_an_override_passes_the_next_act_of_its_kind_and_no_other(some: Weeks) -> None:
    for proposal in spend(replace(some, passes=15)):
        copy = getattr(proposal.fact, "copy", None)
        live = proposal.story.standing(copy).override if copy else None
        answer = asked(proposal)
        if live is None or live.act != proposal.fact.KIND:
            assert answer.passed_over == ()
        if live is None or not answer.allowed:
            continue
        fold = Fold(str(copy), proposal.story.folds[str(copy)].entries)
        fold.take(Entry(10**6, "a", proposal.when, proposal.when, "ruth", proposal.fact))
        if isinstance(proposal.fact, GateOverridden):
            assert fold.standing.override == proposal.fact
        elif live.act == proposal.fact.KIND:
            assert fold.standing.override is None
        elif not isinstance(proposal.fact, FactReversed):
            assert fold.standing.override == live


# --- sentences ----------------------------------------------------------------------------------------------------


def test_every_bar_has_its_two_sentences() -> None:
    assert set(SENTENCES) == set(BarKind)
    for says, lifts in SENTENCES.values():
        assert says.endswith(".")
        assert lifts.endswith(".")


@SOME_WEEKS
@given(some=weeks(100, 200))
def test_every_bar_that_comes_up_says_what_is_the_matter_and_what_lifts_it(some: Weeks) -> None:
    for proposal in spend(some):
        for shut in asked(proposal).bars:
            wanted = {
                name
                for text in SENTENCES[shut.kind]
                for _, name, _, _ in string.Formatter().parse(text)
                if name
            }
            assert wanted <= {name for name, value in shut.values if value}, (shut, str(proposal))
            for text in (shut.says, shut.lifts):
                assert "{" not in text
                assert "None" not in text
                assert "  " not in text


# --- who ------------------------------------------------------------------------------------------------------------


@SOME_WEEKS
@given(some=weeks(60, 120))
def test_whatever_a_learner_may_do_the_educator_may_do_too(some: Weeks) -> None:
    for proposal in spend(some):
        learner = proposal.story.ask(proposal.fact, proposal.when, ASA, now=proposal.now)
        educator = proposal.story.ask(proposal.fact, proposal.when, RUTH, now=proposal.now)
        assert kinds(educator) <= kinds(learner), str(proposal)


@SOME_WEEKS
@given(some=weeks(60, 120))
def test_asking_leave_is_always_for_a_step_that_the_rules_would_then_let_an_educator_grant(
    some: Weeks,
) -> None:
    """Nobody waits for what nothing can give: a learner asks only where the stop itself stands ready."""
    for proposal in spend(some):
        fact = proposal.fact
        if isinstance(fact, LeaveAsked) and fact.step in (Step.MARK, Step.REMARK) and asked(proposal).allowed:
            grant = LeaveGiven(fact.copy, fact.step, fact.stop)
            answer = proposal.story.ask(grant, proposal.when, RUTH, now=proposal.now)
            passed_over = {str(b.kind) for b in asked(proposal).passed_over}
            assert kinds(answer) <= {"quiz first"} | passed_over, str(proposal)


# --- the next step --------------------------------------------------------------------------------------------------

WAITS_FOR_DAY_AND_ROOM = {
    "too soon",
    "no school",
    "not in the morning",
    "educator away",
    "learner has sat today",
    "morning is full",
    "nobody watches",  # the watcher is named by the person
}
WAITS_FOR_ANOTHER_COPY = {
    "course not taken",
    "already passed",
    "earlier workbook not passed",
    "another copy in hand",
}


@SOME_WEEKS
@given(some=weeks(60, 140))
def test_the_next_step_is_one_that_may_be_taken_now_or_only_waits(some: Weeks) -> None:
    """What today's page asks for is never barred by the copy itself; only by the day, or by another copy."""
    for proposal in spend(replace(some, passes=0)):
        story, copy = proposal.story, getattr(proposal.fact, "copy", None)
        standing = story.standing(copy or "")
        if copy is None or not standing.workbook:
            continue
        step = next_step(standing, story.programme)
        if step.act is None or step.turn is Turn.NOBODY:
            continue
        actor = CAST[standing.learner or "asa"] if step.turn is Turn.LEARNER else RUTH
        when = max(proposal.when, standing.last_at or proposal.when)
        shut = kinds(story.ask(step.act, when, actor))
        waits = WAITS_FOR_DAY_AND_ROOM if isinstance(step.act, UnitTestSat) else set()
        waits = WAITS_FOR_ANOTHER_COPY if isinstance(step.act, CopyIssued) else waits
        waits = {"quiz first"} if isinstance(step.act, LeaveGiven) else waits  # the answer to who asked
        # A learner who has sat the practice test has it marked: by an educator, or alone with leave.
        waits = {"no leave"} if isinstance(step.act, PracticeTestScored) else waits
        assert shut <= waits, (shut, step.what, str(proposal))
