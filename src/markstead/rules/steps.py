"""What comes next for a copy, whose turn it is, and which calls that makes for the educator."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from markstead.ledger.facts import (
    PRACTICE,
    AnyFact,
    CheckOpened,
    CopyIssued,
    CopyReceived,
    CopySpoiled,
    Corrected,
    FirstMarking,
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
    ReadinessDecided,
    ReMarked,
    SpotCheckHeld,
    Step,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
    WorkTakenOver,
)
from markstead.rules.programme import Programme, Rework, Stop, Workbook
from markstead.rules.ruling import first_uncleared, ranges, stop_words
from markstead.rules.standing import Asked, CopyStatus, Cycle, Standing, StopStanding
from markstead.speech import later, say


class Turn(StrEnum):
    """Who can take the next step."""

    LEARNER = later("learner")
    EDUCATOR = later("educator")
    NOBODY = later("nobody")


class CallKind(StrEnum):
    """Why the educator is needed."""

    SITTING = later("unit test this morning")
    LEAVE_TO_MARK = later("leave to mark")
    LEAVE_TO_REMARK = later("leave to re-mark")
    LEAVE_TO_OPEN = later("leave to open a check")
    LEAVE_TO_SIT = later("leave to sit")
    HELP = later("help")
    QUIZ = later("quiz first")
    CHECK = later("open a check")
    PRACTICE_TEST = later("open the practice test")
    REVIEW = later("go over the practice test")
    READINESS = later("decide on readiness")
    OPENING_TALK = later("opening talk")
    ISSUE = later("issue a workbook")
    MARK_UNIT_TEST = later("mark the unit test")
    ORDER_AGAIN = later("order a new copy")
    LATE_COPY = later("copy is late")
    ORDER = later("order the next workbook")
    DISPATCH = later("send the test papers")
    BACKUP = later("make a backup")


URGENCY: dict[CallKind, int] = {
    CallKind.SITTING: 0,
    CallKind.LEAVE_TO_MARK: 1,
    CallKind.LEAVE_TO_REMARK: 1,
    CallKind.LEAVE_TO_OPEN: 1,
    CallKind.LEAVE_TO_SIT: 1,
    CallKind.HELP: 1,
    CallKind.QUIZ: 2,
    CallKind.CHECK: 2,
    CallKind.PRACTICE_TEST: 2,
    CallKind.REVIEW: 2,
    CallKind.READINESS: 2,
    CallKind.OPENING_TALK: 2,
    CallKind.ISSUE: 2,
    CallKind.MARK_UNIT_TEST: 2,
    CallKind.ORDER_AGAIN: 3,
    CallKind.LATE_COPY: 3,
    CallKind.ORDER: 3,
    CallKind.DISPATCH: 4,
    CallKind.BACKUP: 4,
}
"""What a call holds up: 0 a morning that ends, 1 a learner who waits, 2 a course that stands still,
3 a workbook that will be missed, 4 a duty of the month or of the house."""

BLOCKS: dict[CallKind, str] = {
    CallKind.SITTING: later("may sit until the morning ends"),
    CallKind.LEAVE_TO_MARK: later("is waiting at the marking stop"),
    CallKind.LEAVE_TO_REMARK: later("is waiting with corrected answers"),
    CallKind.LEAVE_TO_OPEN: later("is waiting for the check"),
    CallKind.LEAVE_TO_SIT: later("is waiting for the test"),
    CallKind.HELP: later("is stuck"),
    CallKind.QUIZ: later("may not re-mark before it"),
    CallKind.CHECK: later("cannot go on in this course before it"),
    CallKind.PRACTICE_TEST: later("cannot go on in this course before it"),
    CallKind.REVIEW: later("may not repeat the practice test before it"),
    CallKind.READINESS: later("cannot sit the unit test before it"),
    CallKind.OPENING_TALK: later("cannot begin the workbook before it"),
    CallKind.ISSUE: later("has no workbook in this course"),
    CallKind.MARK_UNIT_TEST: later("cannot have the next workbook before it"),
    CallKind.ORDER_AGAIN: later("has nothing to work in this course until it comes"),
    CallKind.LATE_COPY: later("waits for it"),
    CallKind.ORDER: later("will need it"),
    CallKind.DISPATCH: later("the school waits for it"),
    CallKind.BACKUP: later("the record is lost with this disk"),
}

_CALL_OF_STEP = {
    Step.MARK: CallKind.LEAVE_TO_MARK,
    Step.REMARK: CallKind.LEAVE_TO_REMARK,
    Step.CHECK: CallKind.LEAVE_TO_OPEN,
    Step.PRACTICE_TEST: CallKind.LEAVE_TO_SIT,
    Step.UNIT_TEST: CallKind.LEAVE_TO_SIT,
}


@dataclass(frozen=True, slots=True)
class NextStep:
    """The one next step of a copy."""

    turn: Turn
    what: str
    """In words, as a request: Work pages 15-19."""
    act: AnyFact | None = None
    """The fact that it would write, with the values that are known beforehand."""
    call: CallKind | None = None
    since: datetime | None = None
    """Since when it has been possible."""


_ASKS = {
    Step.MARK: later("Asks leave to mark {stop}"),
    Step.REMARK: later("Asks leave to re-mark {stop}"),
    Step.CHECK: later("Asks leave to open {stop}"),
    Step.PRACTICE_TEST: later("Asks leave to sit the practice test"),
    Step.UNIT_TEST: later("Asks leave to sit the unit test"),
}


def answer_to(standing: Standing, asked: Asked) -> AnyFact:
    """The fact by which an educator says yes to what a learner asked leave for."""
    copy, stop = standing.copy, asked.stop
    if asked.step is Step.CHECK:
        return CheckOpened(copy, stop or "")
    if asked.step is Step.PRACTICE_TEST:
        return PracticeTestOpened(copy, len(standing.practice) + 1)
    if asked.step is Step.UNIT_TEST:
        return ReadinessDecided(copy, ready=True)
    return LeaveGiven(copy, asked.step or Step.MARK, stop)


def _questions(numbers: tuple[int, ...]) -> str:
    if len(numbers) == 1:
        return say("question {number}", number=numbers[0])
    return say("questions {numbers}", numbers=ranges(numbers))


def _in_cycle(s: Standing, kept: StopStanding, programme: Programme) -> NextStep:
    """After a first marking with something wrong."""
    name = stop_words(kept.id)
    if kept.cycle is Cycle.TO_CORRECT:
        if programme.marking.calls_for_quiz(len(kept.still_wrong), kept.asked) and not kept.talked_over:
            what = say(
                "Quiz on {stop}: {wrong} of {asked} wrong",
                stop=name,
                wrong=len(kept.still_wrong),
                asked=kept.asked,
            )
            quiz = OralQuizHeld(s.copy, ((1, True),), kept.id)
            return NextStep(Turn.EDUCATOR, what, quiz, CallKind.QUIZ, kept.changed)
        what = say("Correct {stop}", stop=name)
        if kept.still_wrong:
            what = say("Correct {questions} of {stop}", questions=_questions(kept.still_wrong), stop=name)
        return NextStep(Turn.LEARNER, what, Corrected(s.copy, kept.id), since=kept.changed)
    if s.leave == (Step.REMARK, kept.id):
        what = say("Re-mark {stop}", stop=name)
        if kept.still_wrong:
            what = say("Re-mark {stop}: {questions}", stop=name, questions=_questions(kept.still_wrong))
        return NextStep(Turn.LEARNER, what, ReMarked(s.copy, kept.id), since=s.leave_given)
    ask = LeaveAsked(s.copy, Step.REMARK, kept.id)
    what = say("Ask leave to re-mark {stop}", stop=name)
    return NextStep(Turn.LEARNER, what, ask, since=kept.changed)


def _at_stop(s: Standing, stop: Stop, programme: Programme) -> NextStep:
    """Work, ask, mark: the steps up to the first marking of a stop."""
    kept = s.stop(stop.id)
    if kept.cycle is not Cycle.UNMARKED:
        return _in_cycle(s, kept, programme)
    name = stop_words(stop.id)
    if stop.kind == "check" and not kept.opened:
        opened = CheckOpened(s.copy, stop.id)
        return NextStep(Turn.EDUCATOR, say("Open {stop}", stop=name), opened, CallKind.CHECK, _latest(s))
    left = [page for page in range(stop.first, stop.last + 1) if page not in s.pages]
    if left:
        run = ranges(left)
        pages = say("page {number}", number=run) if len(left) == 1 else say("pages {numbers}", numbers=run)
        what = say("Work {pages}", pages=pages)
        if stop.kind == "check":
            what = say("Take {stop}, {pages}", stop=name, pages=pages)
        worked = PagesWorked(s.copy, s.latest_day or date.min, left[0], left[-1])
        return NextStep(Turn.LEARNER, what, worked, since=s.last_at)
    if s.leave == (Step.MARK, stop.id):
        mark = FirstMarking(s.copy, stop.id, stop.questions)
        what = say("Mark {stop} against the key", stop=name)
        return NextStep(Turn.LEARNER, what, mark, since=s.leave_given)
    ask = LeaveAsked(s.copy, Step.MARK, stop.id)
    return NextStep(Turn.LEARNER, say("Ask leave to mark {stop}", stop=name), ask, since=s.last_at)


def _latest(s: Standing) -> datetime | None:
    """When the latest stop changed: since then the step behind it has been open."""
    changes = [kept.changed for kept in s.stops.values() if kept.changed is not None]
    return max(changes, default=s.opening_talk)


def _towards_unit_test(s: Standing) -> NextStep:
    attempt = s.attempt
    if attempt is None or not (attempt.passed or attempt.scored is None):
        number = len(s.practice) + 1
        opened = PracticeTestOpened(s.copy, number)
        if attempt is not None and not s.practice_reviewed:
            what = say(
                "Go over the practice test: {right} of {asked}, {needed} needed",
                right=attempt.right,
                asked=attempt.asked,
                needed=attempt.needed,
            )
            return NextStep(Turn.EDUCATOR, what, HelpGiven(s.copy), CallKind.REVIEW, attempt.scored)
        what = say("Open the practice test")
        if number > 1:
            what = say("Open the practice test, attempt {number}", number=number)
        return NextStep(Turn.EDUCATOR, what, opened, CallKind.PRACTICE_TEST, _latest(s))
    if attempt.scored is None:
        score = PracticeTestScored(s.copy, attempt.number, 1, 1, 1)
        return NextStep(
            Turn.LEARNER, say("Sit the practice test, then have it marked"), score, since=attempt.opened
        )
    if s.ready is None:
        what = say(
            "Decide on readiness: {right} of {asked} in the practice test",
            right=attempt.right,
            asked=attempt.asked,
        )
        ready = ReadinessDecided(s.copy, ready=True)
        return NextStep(Turn.EDUCATOR, what, ready, CallKind.READINESS, attempt.scored)
    if not s.ready:
        ready = ReadinessDecided(s.copy, ready=True)
        what = say("Review, then decide on readiness again")
        return NextStep(Turn.EDUCATOR, what, ready, since=s.decided)
    sit = UnitTestSat(s.copy, 1, date.min, (), "")
    return NextStep(Turn.EDUCATOR, say("Sit the unit test, watched"), sit, CallKind.SITTING, s.decided)


def next_step(s: Standing, programme: Programme) -> NextStep:
    """Tell the next step of a copy, and whose turn it is. Bars are for `ruling` to name."""
    if s.status is CopyStatus.ON_ORDER:
        return NextStep(Turn.NOBODY, say("Wait for the copy"), CopyReceived(s.copy), since=s.ordered)
    if s.status is CopyStatus.IN_THE_HOUSE:
        issue = CopyIssued(s.copy, s.learner or "")
        return NextStep(Turn.EDUCATOR, say("Issue the copy"), issue, since=s.received)
    if s.status is CopyStatus.FINISHED or (s.failed and s.replaced_by is None):
        return _after_unit_test(s, programme)
    if s.status is not CopyStatus.ISSUED:
        return NextStep(Turn.NOBODY, say("Nothing: the copy is {status}", status=say(str(s.status))))
    if s.unit is not None:
        score = UnitTestScored(s.copy, 1, 1, 1)
        return NextStep(Turn.EDUCATOR, say("Mark the unit test"), score, CallKind.MARK_UNIT_TEST, s.unit.at)
    if s.waiting is not None and s.waiting.step is not None:
        step, stop = s.waiting.step, s.waiting.stop
        what = say(_ASKS[step], stop=stop_words(stop))
        return NextStep(Turn.EDUCATOR, what, answer_to(s, s.waiting), _CALL_OF_STEP[step], s.waiting.at)
    if s.opening_talk is None:
        talk = OpeningTalkHeld(s.copy)
        return NextStep(Turn.EDUCATOR, say("Hold the opening talk"), talk, CallKind.OPENING_TALK, s.issued)
    stop_ahead = first_uncleared(s, programme.workbook(s.workbook))
    if stop_ahead is not None:
        return _at_stop(s, stop_ahead, programme)
    return _towards_unit_test(s)


def _after_unit_test(s: Standing, programme: Programme) -> NextStep:
    since = s.unit.scored if s.unit is not None else None
    if s.failed and s.replaced_by is None:
        if programme.rework is Rework.SAME_COPY:
            opened = PracticeTestOpened(s.copy, len(s.practice) + 1)
            what = say("Go over the test, then open the practice test again")
            return NextStep(Turn.EDUCATOR, what, opened, CallKind.PRACTICE_TEST, since)
        reordered = WorkbookReordered(s.copy, "")
        what = say("Go over the test and order a new copy")
        return NextStep(Turn.EDUCATOR, what, reordered, CallKind.ORDER_AGAIN, since)
    return NextStep(
        Turn.NOBODY, say("Send the test paper with the next dispatch"), PaperSent(s.copy, ""), since=since
    )


def ticked(kept: StopStanding) -> tuple[int, ...]:
    """The questions of a stop that were marked right at the latest first marking."""
    if not kept.markings:
        return ()
    return tuple(number for number in range(1, kept.asked + 1) if number not in kept.first_wrong)


def candidates(s: Standing, workbook: Workbook, day: date) -> tuple[AnyFact, ...]:
    """Every act that could be meant on this copy now, as the fact it would write; `ruling` judges each.

    Values that only the person knows (numbers wrong, a score, minutes) are placeholders.
    """
    copy = s.copy
    found: list[AnyFact] = []
    if s.waiting is not None and s.waiting.step is not None:
        found += [answer_to(s, s.waiting), LeaveRefused(copy, s.waiting.step, "", s.waiting.stop)]
    found += [CopyReceived(copy), CopyIssued(copy, s.learner or ""), OpeningTalkHeld(copy)]
    found.append(WorkTakenOver(copy, 1, ()))
    stop = first_uncleared(s, workbook)
    if stop is not None:
        left = [page for page in range(stop.first, stop.last + 1) if page not in s.pages] or [stop.first]
        found += [CheckOpened(copy, stop.id)] if stop.kind == "check" else []
        found += [
            PagesWorked(copy, day, left[0], left[-1]),
            LeaveAsked(copy, Step.MARK, stop.id),
            LeaveGiven(copy, Step.MARK, stop.id),
            FirstMarking(copy, stop.id, stop.questions),
        ]
    in_cycle = [stop.id] if stop is not None else []
    if PRACTICE in s.stops:
        in_cycle.append(PRACTICE)
    for name in in_cycle:
        found += [
            Corrected(copy, name),
            LeaveAsked(copy, Step.REMARK, name),
            LeaveGiven(copy, Step.REMARK, name),
            ReMarked(copy, name),
        ]
    found += [
        SpotCheckHeld(copy, kept.id, ((ticks[0], True),))
        for kept in s.stops.values()
        if (ticks := ticked(kept))
    ]
    attempt = s.attempt.number if s.attempt else 1
    found += [
        PracticeTestOpened(copy, len(s.practice) + 1),
        PracticeTestScored(copy, attempt, 1, 1, 1),
        ReadinessDecided(copy, ready=True),
        UnitTestSat(copy, 1, day, (), ""),
        UnitTestScored(copy, 1, 1, 1),
        WorkbookReordered(copy, ""),
        OralQuizHeld(copy, ((1, True),), stop.id if stop else None),
        HelpAsked(copy),
        HelpGiven(copy),
        GoalSet(copy, day),
        CopySpoiled(copy, ""),
    ]
    return tuple(dict.fromkeys(found))
