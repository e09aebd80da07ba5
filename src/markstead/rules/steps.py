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
    StopId,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
    WorkTakenOver,
)
from markstead.rules.programme import Programme, Rework, Stop, Workbook
from markstead.rules.ruling import first_uncleared, ranges, stop_words
from markstead.rules.standing import Asked, CopyStatus, Cycle, Standing, StopStanding


class Turn(StrEnum):
    """Who can take the next step."""

    LEARNER = "learner"
    EDUCATOR = "educator"
    NOBODY = "nobody"


class CallKind(StrEnum):
    """Why the educator is needed."""

    SITTING = "unit test this morning"
    LEAVE_TO_MARK = "leave to mark"
    LEAVE_TO_REMARK = "leave to re-mark"
    LEAVE_TO_OPEN = "leave to open a check"
    LEAVE_TO_SIT = "leave to sit"
    HELP = "help"
    QUIZ = "quiz first"
    CHECK = "open a check"
    PRACTICE_TEST = "open the practice test"
    REVIEW = "go over the practice test"
    READINESS = "decide on readiness"
    OPENING_TALK = "opening talk"
    ISSUE = "issue a workbook"
    MARK_UNIT_TEST = "mark the unit test"
    ORDER_AGAIN = "order a new copy"
    LATE_COPY = "copy is late"
    ORDER = "order the next workbook"
    DISPATCH = "send the test papers"
    BACKUP = "make a backup"


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
    CallKind.SITTING: "may sit until the morning ends",
    CallKind.LEAVE_TO_MARK: "is waiting at the marking stop",
    CallKind.LEAVE_TO_REMARK: "is waiting with corrected answers",
    CallKind.LEAVE_TO_OPEN: "is waiting for the check",
    CallKind.LEAVE_TO_SIT: "is waiting for the test",
    CallKind.HELP: "is stuck",
    CallKind.QUIZ: "may not re-mark before it",
    CallKind.CHECK: "cannot go on in this course before it",
    CallKind.PRACTICE_TEST: "cannot go on in this course before it",
    CallKind.REVIEW: "may not repeat the practice test before it",
    CallKind.READINESS: "cannot sit the unit test before it",
    CallKind.OPENING_TALK: "cannot begin the workbook before it",
    CallKind.ISSUE: "has no workbook in this course",
    CallKind.MARK_UNIT_TEST: "cannot have the next workbook before it",
    CallKind.ORDER_AGAIN: "has nothing to work in this course until it comes",
    CallKind.LATE_COPY: "waits for it",
    CallKind.ORDER: "will need it",
    CallKind.DISPATCH: "the school waits for it",
    CallKind.BACKUP: "the record is lost with this disk",
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


def _step_words(step: Step, stop: StopId | None) -> str:
    where = stop_words(stop)
    return {
        Step.MARK: f"to mark {where}",
        Step.REMARK: f"to re-mark {where}",
        Step.CHECK: f"to open {where}",
        Step.PRACTICE_TEST: "to sit the practice test",
        Step.UNIT_TEST: "to sit the unit test",
    }[step]


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
    return f"question {numbers[0]}" if len(numbers) == 1 else f"questions {ranges(numbers)}"


def _in_cycle(s: Standing, kept: StopStanding, programme: Programme) -> NextStep:
    """After a first marking with something wrong."""
    name = stop_words(kept.id)
    if kept.cycle is Cycle.TO_CORRECT:
        wrong = f"{_questions(kept.still_wrong)} of {name}" if kept.still_wrong else name
        if programme.marking.calls_for_quiz(len(kept.still_wrong), kept.asked) and not kept.talked_over:
            what = f"Quiz on {name}: {len(kept.still_wrong)} of {kept.asked} wrong"
            quiz = OralQuizHeld(s.copy, ((1, True),), kept.id)
            return NextStep(Turn.EDUCATOR, what, quiz, CallKind.QUIZ, kept.changed)
        return NextStep(Turn.LEARNER, f"Correct {wrong}", Corrected(s.copy, kept.id), since=kept.changed)
    if s.leave == (Step.REMARK, kept.id):
        wrong = f": {_questions(kept.still_wrong)}" if kept.still_wrong else ""
        act = ReMarked(s.copy, kept.id)
        return NextStep(Turn.LEARNER, f"Re-mark {name}{wrong}", act, since=s.leave_given)
    ask = LeaveAsked(s.copy, Step.REMARK, kept.id)
    return NextStep(Turn.LEARNER, f"Ask leave to re-mark {name}", ask, since=kept.changed)


def _at_stop(s: Standing, stop: Stop, programme: Programme) -> NextStep:
    """Work, ask, mark: the steps up to the first marking of a stop."""
    kept = s.stop(stop.id)
    if kept.cycle is not Cycle.UNMARKED:
        return _in_cycle(s, kept, programme)
    name = stop_words(stop.id)
    if stop.kind == "check" and not kept.opened:
        opened = CheckOpened(s.copy, stop.id)
        return NextStep(Turn.EDUCATOR, f"Open {name}", opened, CallKind.CHECK, _latest(s))
    left = [page for page in range(stop.first, stop.last + 1) if page not in s.pages]
    if left:
        run = ranges(left)
        pages = f"page {run}" if len(left) == 1 else f"pages {run}"
        what = f"Take {name}, {pages}" if stop.kind == "check" else f"Work {pages}"
        worked = PagesWorked(s.copy, s.latest_day or date.min, left[0], left[-1])
        return NextStep(Turn.LEARNER, what, worked, since=s.last_at)
    if s.leave == (Step.MARK, stop.id):
        mark = FirstMarking(s.copy, stop.id, stop.questions)
        return NextStep(Turn.LEARNER, f"Mark {name} against the key", mark, since=s.leave_given)
    ask = LeaveAsked(s.copy, Step.MARK, stop.id)
    return NextStep(Turn.LEARNER, f"Ask leave to mark {name}", ask, since=s.last_at)


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
            what = f"Go over the practice test: {attempt.right} of {attempt.asked}, {attempt.needed} needed"
            return NextStep(Turn.EDUCATOR, what, HelpGiven(s.copy), CallKind.REVIEW, attempt.scored)
        what = "Open the practice test" if number == 1 else f"Open the practice test, attempt {number}"
        return NextStep(Turn.EDUCATOR, what, opened, CallKind.PRACTICE_TEST, _latest(s))
    if attempt.scored is None:
        score = PracticeTestScored(s.copy, attempt.number, 1, 1, 1)
        return NextStep(
            Turn.LEARNER, "Sit the practice test, then have it marked", score, since=attempt.opened
        )
    passed = f"{attempt.right} of {attempt.asked} in the practice test"
    if s.ready is None:
        ready = ReadinessDecided(s.copy, ready=True)
        return NextStep(
            Turn.EDUCATOR, f"Decide on readiness: {passed}", ready, CallKind.READINESS, attempt.scored
        )
    if not s.ready:
        ready = ReadinessDecided(s.copy, ready=True)
        return NextStep(Turn.EDUCATOR, "Review, then decide on readiness again", ready, since=s.decided)
    sit = UnitTestSat(s.copy, 1, date.min, (), "")
    return NextStep(Turn.EDUCATOR, "Sit the unit test, watched", sit, CallKind.SITTING, s.decided)


def next_step(s: Standing, programme: Programme) -> NextStep:
    """Tell the next step of a copy, and whose turn it is. Bars are for `ruling` to name."""
    if s.status is CopyStatus.ON_ORDER:
        return NextStep(Turn.NOBODY, "Wait for the copy", CopyReceived(s.copy), since=s.ordered)
    if s.status is CopyStatus.IN_THE_HOUSE:
        issue = CopyIssued(s.copy, s.learner or "")
        return NextStep(Turn.EDUCATOR, "Issue the copy", issue, since=s.received)
    if s.status is CopyStatus.FINISHED or (s.failed and s.replaced_by is None):
        return _after_unit_test(s, programme)
    if s.status is not CopyStatus.ISSUED:
        return NextStep(Turn.NOBODY, f"Nothing: the copy is {s.status}")
    if s.unit is not None:
        score = UnitTestScored(s.copy, 1, 1, 1)
        return NextStep(Turn.EDUCATOR, "Mark the unit test", score, CallKind.MARK_UNIT_TEST, s.unit.at)
    if s.waiting is not None and s.waiting.step is not None:
        step, stop = s.waiting.step, s.waiting.stop
        what = f"Asks leave {_step_words(step, stop)}"
        return NextStep(Turn.EDUCATOR, what, answer_to(s, s.waiting), _CALL_OF_STEP[step], s.waiting.at)
    if s.opening_talk is None:
        talk = OpeningTalkHeld(s.copy)
        return NextStep(Turn.EDUCATOR, "Hold the opening talk", talk, CallKind.OPENING_TALK, s.issued)
    stop_ahead = first_uncleared(s, programme.workbook(s.workbook))
    if stop_ahead is not None:
        return _at_stop(s, stop_ahead, programme)
    return _towards_unit_test(s)


def _after_unit_test(s: Standing, programme: Programme) -> NextStep:
    since = s.unit.scored if s.unit is not None else None
    if s.failed and s.replaced_by is None:
        if programme.rework is Rework.SAME_COPY:
            opened = PracticeTestOpened(s.copy, len(s.practice) + 1)
            what = "Go over the test, then open the practice test again"
            return NextStep(Turn.EDUCATOR, what, opened, CallKind.PRACTICE_TEST, since)
        reordered = WorkbookReordered(s.copy, "")
        what = "Go over the test and order a new copy"
        return NextStep(Turn.EDUCATOR, what, reordered, CallKind.ORDER_AGAIN, since)
    return NextStep(
        Turn.NOBODY, "Send the test paper with the next dispatch", PaperSent(s.copy, ""), since=since
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
