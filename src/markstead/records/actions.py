"""One function for each thing a person does: keyword-only, `by=` and `at=` always, one transaction.

Each may raise `RefusedError` (a gate is shut: every bar is named), `InputError` and `UnknownError` (what came in
cannot be meant), `StaleError` (the page was older than the record). Nothing is written then.
"""

import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime
from functools import partial

from markstead.errors import InputError, Problem
from markstead.ledger.facts import (
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
    StopId,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
    WorkTakenOver,
)
from markstead.ledger.serial import Entry
from markstead.records.desk import Desk, Done, Slip, at_the_desk
from markstead.rules.bars import BarKind, bar
from markstead.rules.programme import Workbook
from markstead.rules.ruling import RefusedError, Ruling
from markstead.speech import later, say

Proposal = Callable[[Desk], Sequence[AnyFact]]
PLAIN = Slip()
MINUTES_OF_A_DAY = 24 * 60


class Acting:
    """Where an act is done: alone in its own transaction, or as one of many at a desk that is open already."""

    def __init__(self, household: str, desk: Desk | None = None) -> None:
        self.household = household
        self.desk = desk

    def write(self, proposal: Proposal, *, by: str, at: datetime, slip: Slip) -> Done:
        def work(desk: Desk) -> Done:
            return desk.propose(_facts(proposal, desk), by=by, at=at, slip=slip)

        return work(self.desk) if self.desk is not None else at_the_desk(self.household, work)


class Gathering(Acting):
    """Several things that were done, each through its own action, written as one act that is undone as one."""

    def __init__(self, desk: Desk, slip: Slip) -> None:
        super().__init__(desk.row.id, desk)
        self.open_desk = desk
        self.slip = replace(slip, act=slip.act or secrets.token_hex(10))
        self.entries: list[Entry] = []
        self.proposed: Sequence[AnyFact] = ()
        """What was proposed last: where it is refused, this is what the bars are about."""

    def write(self, proposal: Proposal, *, by: str, at: datetime, slip: Slip) -> Done:
        self.proposed = _facts(proposal, self.open_desk)
        slip = replace(self.slip, override=slip.override or self.slip.override)
        done = self.open_desk.propose(self.proposed, by=by, at=at, slip=slip, part=len(self.entries))
        self.entries += done.entries
        return done

    @property
    def done(self) -> Done:
        return Done(self.slip.act or "", tuple(self.entries))


def _facts(proposal: Proposal, desk: Desk) -> Sequence[AnyFact]:
    try:
        return proposal(desk)
    except ValueError as error:  # a fact refuses nonsense where it is made
        raise InputError(
            [Problem(say("what was entered"), str(error), say("what the sentence says"))]
        ) from error


Where = str | Acting
"""A household's id, or an open desk's `Acting`."""


def _write(where: Where, proposal: Proposal, *, by: str, at: datetime, slip: Slip) -> Done:
    acting = Acting(where) if isinstance(where, str) else where
    return acting.write(proposal, by=by, at=at, slip=slip)


def _plain(
    where: Where, fact: Callable[[], AnyFact], *, copy: str, by: str, at: datetime, slip: Slip
) -> Done:
    """Most acts: one fact about a copy that is there."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        desk.known_copy(copy)
        return [fact()]

    return _write(where, proposal, by=by, at=at, slip=slip)


def _workbook(desk: Desk, copy: str) -> Workbook:
    return desk.home.programme.workbook(desk.known_copy(copy).workbook)


def _need(field: str, text: str | None, what: str) -> str:
    kept = (text or "").strip()
    if not kept:
        raise InputError([Problem(say(field), say("nothing"), what, key=field)])
    return kept


def new_copy_id() -> str:
    """An id for a copy, without meaning."""
    return "c" + secrets.token_hex(6)


def _id_for_copy(desk: Desk, wanted: str | None) -> str:
    """The id that is wanted for a copy, or a new one. Ids are one name space for all households."""
    from markstead.records.models import Copy as CopyRow

    if wanted is None:
        return new_copy_id()
    if CopyRow.objects.filter(id=wanted).exclude(household=desk.row).exists():
        raise InputError([Problem(say("copy"), repr(wanted), say("an id that no copy has"))])
    return wanted


# --- copies -----------------------------------------------------------------------------------------------


def order_copy(
    where: Where,
    *,
    workbook: str,
    by: str,
    at: datetime,
    learner: str | None = None,
    expected: date | None = None,
    copy: str | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """Order a copy of a workbook; price and supplier are the programme's."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        book = desk.home.programme.workbook(workbook)
        who = desk.home.learner(learner).id if learner else None
        fresh = _id_for_copy(desk, copy)
        return [CopyOrdered(fresh, book.code, who, book.supplier, book.price, expected)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def receive_copy(where: Where, *, copy: str, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """Book in a copy that came."""
    return _plain(where, partial(CopyReceived, copy), copy=copy, by=by, at=at, slip=slip)


def spoil_copy(where: Where, *, copy: str, reason: str, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """Write off a copy that can no longer be worked."""
    text = _need(later("reason"), reason, say("a few words on what happened to the copy"))

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        desk.known_copy(copy)
        return [CopySpoiled(copy, desk.keep_words(text))]

    return _write(where, proposal, by=by, at=at, slip=slip)


def issue_copy(where: Where, *, copy: str, learner: str, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """Give a copy to a learner."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        desk.known_copy(copy)
        return [CopyIssued(copy, desk.home.person(learner).id)]

    return _write(where, proposal, by=by, at=at, slip=slip)


# --- work -------------------------------------------------------------------------------------------------


def hold_opening_talk(where: Where, *, copy: str, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """Record that the learner read the aims and the word list aloud."""
    return _plain(where, partial(OpeningTalkHeld, copy), copy=copy, by=by, at=at, slip=slip)


def take_over(where: Where, *, copy: str, last: int, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """Write down how far a copy was worked before this home kept its record: every stop up to there is cleared."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        _check_pages(desk, copy, last)
        cleared = tuple(stop.id for stop in _workbook(desk, copy).stops if stop.last <= last)
        return [WorkTakenOver(copy, last, cleared)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def _check_pages(desk: Desk, copy: str, last: int | None, field: str = later("last page")) -> None:
    book = _workbook(desk, copy)
    if last is not None and last > book.pages:
        allowed = say(
            "a page from 1 to {pages}, the last of {workbook}", pages=book.pages, workbook=book.code
        )
        raise InputError([Problem(say(field), str(last), allowed, key=field)])


def set_goal(
    where: Where,
    *,
    copy: str,
    by: str,
    at: datetime,
    day: date | None = None,
    first: int | None = None,
    last: int | None = None,
    step: Step | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """Set what the learner means to do on a day (that of `at` where none is given).

    Without pages and step the goal is taken away.
    """

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        _check_pages(desk, copy, last)
        return [GoalSet(copy, day or desk.home.calendar.day_of(at), first, last, step)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def set_goals(where: Where, *, goals: Sequence[GoalSet], by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """Set what learners mean to do, all of it in one act."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        if not goals:
            raise InputError([Problem(say("goals"), say("none"), say("at least one"))])
        for goal in goals:
            _check_pages(desk, goal.copy, goal.last)
        return goals

    return _write(where, proposal, by=by, at=at, slip=slip)


def work_pages(
    where: Where,
    *,
    copy: str,
    first: int,
    last: int,
    by: str,
    at: datetime,
    minutes: int | None = None,
    day: date | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """Record pages worked; the day is that of `at` where none is given."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        _check_pages(desk, copy, last)
        return [PagesWorked(copy, day or desk.home.calendar.day_of(at), first, last, minutes)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def ask_help(
    where: Where, *, copy: str, by: str, at: datetime, page: int | None = None, slip: Slip = PLAIN
) -> Done:
    """The learner is stuck."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        _check_pages(desk, copy, page, later("page"))
        return [HelpAsked(copy, page)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def give_help(
    where: Where, *, copy: str, by: str, at: datetime, minutes: int | None = None, slip: Slip = PLAIN
) -> Done:
    """Somebody taught the learner."""
    return _plain(where, partial(HelpGiven, copy, minutes), copy=copy, by=by, at=at, slip=slip)


# --- leave and marking ------------------------------------------------------------------------------------


def ask_leave(
    where: Where,
    *,
    copy: str,
    step: Step,
    by: str,
    at: datetime,
    stop: StopId | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """The learner asks leave for a step."""
    return _plain(where, partial(LeaveAsked, copy, step, stop), copy=copy, by=by, at=at, slip=slip)


def give_leave(
    where: Where,
    *,
    copy: str,
    step: Step,
    by: str,
    at: datetime,
    stop: StopId | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """The educator gives leave to mark or to re-mark."""
    if step not in (Step.MARK, Step.REMARK):
        allowed = say("leave to mark or to re-mark; checks and tests are opened instead")
        raise InputError([Problem(say("step"), say(str(step)), allowed, key="step")])
    return _plain(where, partial(LeaveGiven, copy, step, stop), copy=copy, by=by, at=at, slip=slip)


def refuse_leave(
    where: Where,
    *,
    copy: str,
    step: Step,
    reason: str,
    by: str,
    at: datetime,
    stop: StopId | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """The educator sends the learner back and says why."""
    text = _need(later("reason"), reason, say("a few words that tell the learner what to do"))

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        desk.known_copy(copy)
        return [LeaveRefused(copy, step, desk.keep_words(text), stop)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def mark(
    where: Where,
    *,
    copy: str,
    stop: StopId,
    wrong: Sequence[int],
    by: str,
    at: datetime,
    slip: Slip = PLAIN,
) -> Done:
    """First marking of a section or a check: the numbers of the wrong answers."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        asked = _workbook(desk, copy).stop(stop).questions
        numbers = tuple(sorted(set(wrong)))
        if numbers and not 1 <= numbers[0] <= numbers[-1] <= asked:
            found = ", ".join(map(str, numbers))
            raise InputError([_wrong_questions(found, asked)])
        return [FirstMarking(copy, stop, asked, numbers)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def correct(where: Where, *, copy: str, stop: StopId, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """The wrong answers of a stop were corrected."""
    return _plain(where, partial(Corrected, copy, stop), copy=copy, by=by, at=at, slip=slip)


def re_mark(
    where: Where,
    *,
    copy: str,
    stop: StopId,
    wrong: Sequence[int],
    by: str,
    at: datetime,
    slip: Slip = PLAIN,
) -> Done:
    """The corrected answers were marked again: what is still wrong."""
    numbers = tuple(sorted(set(wrong)))
    return _plain(where, partial(ReMarked, copy, stop, numbers), copy=copy, by=by, at=at, slip=slip)


def hold_oral_quiz(
    where: Where,
    *,
    copy: str,
    answers: Sequence[tuple[int, bool]],
    by: str,
    at: datetime,
    stop: StopId | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """A few spoken questions: each one's number and whether the answer was right."""
    kept = tuple((number, right) for number, right in answers)
    return _plain(where, partial(OralQuizHeld, copy, kept, stop), copy=copy, by=by, at=at, slip=slip)


def hold_spot_check(
    where: Where,
    *,
    copy: str,
    answers: Sequence[tuple[int, bool]],
    stop: StopId,
    by: str,
    at: datetime,
    slip: Slip = PLAIN,
) -> Done:
    """The educator marked some ticked answers of a stop again: each one's number, and whether it is right."""
    kept = tuple((number, right) for number, right in answers)
    return _plain(where, partial(SpotCheckHeld, copy, stop, kept), copy=copy, by=by, at=at, slip=slip)


def hold_spot_checks(
    where: Where,
    *,
    looked: Sequence[tuple[str, StopId, int, bool]],
    by: str,
    at: datetime,
    slip: Slip = PLAIN,
) -> Done:
    """One spot check over several stops or copies: copy, stop, question, and whether its tick is right."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        places: dict[tuple[str, StopId], list[tuple[int, bool]]] = {}
        for copy, stop, question, right in looked:
            desk.known_copy(copy)
            places.setdefault((copy, stop), []).append((question, right))
        if not places:
            raise InputError(
                [Problem(say("spot check"), say("no answers"), say("at least one answer that was looked at"))]
            )
        return [SpotCheckHeld(copy, stop, tuple(pairs)) for (copy, stop), pairs in places.items()]

    return _write(where, proposal, by=by, at=at, slip=slip)


# --- checks and tests -------------------------------------------------------------------------------------


def open_check(where: Where, *, copy: str, stop: StopId, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """The educator opens a progress check."""
    return _plain(where, partial(CheckOpened, copy, stop), copy=copy, by=by, at=at, slip=slip)


def open_practice_test(where: Where, *, copy: str, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """The educator opens the practice test."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        return [PracticeTestOpened(copy, len(desk.known_copy(copy).practice) + 1)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def _wrong_questions(found: str, asked: int) -> Problem:
    allowed = say("numbers from 1 to {questions}", questions=asked)
    return Problem(say("wrong questions"), found, allowed, key="wrong questions")


def _right_answers(found: str, allowed: str) -> Problem:
    return Problem(say("right answers"), found, allowed, key="right answers")


def _score(right: int | None, wrong: Sequence[int] | None, asked: int) -> tuple[int, tuple[int, ...]]:
    """A score from the numbers of the wrong answers, or from a total."""
    numbers = tuple(sorted(set(wrong or ())))
    if numbers and not 1 <= numbers[0] <= numbers[-1] <= asked:
        found = ", ".join(map(str, numbers))
        raise InputError([_wrong_questions(found, asked)])
    if right is None:
        if wrong is None:
            allowed = say("a whole number from 0 to {questions}", questions=asked)
            raise InputError([_right_answers(say("nothing"), allowed)])
        right = asked - len(numbers)
    if not 0 <= right <= asked:
        allowed = say("a whole number from 0 to {questions}", questions=asked)
        raise InputError([_right_answers(str(right), allowed)])
    if numbers and asked - right != len(numbers):
        found = say("{right} right and {wrong} wrong", right=right, wrong=len(numbers))
        allowed = say("together {questions}, the questions of the test", questions=asked)
        raise InputError([_right_answers(found, allowed)])
    return right, numbers


def score_practice_test(
    where: Where,
    *,
    copy: str,
    by: str,
    at: datetime,
    right: int | None = None,
    wrong: Sequence[int] | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """Record the score of the practice test, before corrections: a total, or the wrong numbers."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        book = _workbook(desk, copy)
        attempt = desk.known_copy(copy).attempt
        asked = book.practice_questions
        got, numbers = _score(right, wrong, asked)
        needed = desk.home.programme.marks.practice_needed(asked)
        return [PracticeTestScored(copy, attempt.number if attempt else 1, got, asked, needed, numbers)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def decide_readiness(
    where: Where, *, copy: str, ready: bool, by: str, at: datetime, slip: Slip = PLAIN
) -> Done:
    """The educator decides: ready for the unit test, or not yet."""
    return _plain(where, partial(ReadinessDecided, copy, ready), copy=copy, by=by, at=at, slip=slip)


def sit_unit_test(
    where: Where,
    *,
    copy: str,
    watcher: str | None,
    aids: Sequence[str],
    by: str,
    at: datetime,
    slip: Slip = PLAIN,
) -> Done:
    """The learner sits down to the unit test, watched."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        standing = desk.known_copy(copy)
        watching = desk.home.person(watcher).id if watcher else ""
        attempt = 1 + _earlier_sittings(desk, copy)
        day = desk.home.calendar.day_of(at)
        return [UnitTestSat(standing.copy, attempt, day, tuple(aids), watching)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def _earlier_sittings(desk: Desk, copy: str) -> int:
    """How often this learner has sat the unit test of this workbook, in this and in other copies."""
    from markstead.records.models import Copy as CopyRow

    standing = desk.known_copy(copy)
    here = sum(
        1
        for entry in desk.fold(copy).entries
        if isinstance(entry.fact, UnitTestSat) and not desk.fold(copy).is_reversed(entry.seq)
    )
    if desk.whole:
        rows = [r for r in desk.copies.values() if r.workbook == standing.workbook]
        others = sum(1 for r in rows if r.learner == standing.learner and r.id != copy and r.sat_on)
    else:
        others = (
            CopyRow.objects.filter(
                household=desk.row, workbook=standing.workbook, learner=standing.learner, sat_on__isnull=False
            )
            .exclude(id=copy)
            .count()
        )
    return here + others


def score_unit_test(
    where: Where,
    *,
    copy: str,
    by: str,
    at: datetime,
    right: int | None = None,
    wrong: Sequence[int] | None = None,
    minutes: int | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """The educator marks the unit test; it is never corrected. `minutes` is how long the sitting took."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        asked = _workbook(desk, copy).unit_questions
        got, numbers = _score(right, wrong, asked)
        needed = desk.home.programme.marks.unit_needed(asked)
        return [UnitTestScored(copy, got, asked, needed, numbers, minutes)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def reorder_workbook(
    where: Where,
    *,
    copy: str,
    by: str,
    at: datetime,
    expected: date | None = None,
    new_copy: str | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """After a failed unit test, order a new copy for the same learner."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        standing, book = desk.known_copy(copy), _workbook(desk, copy)
        fresh = _id_for_copy(desk, new_copy)
        ordered = CopyOrdered(fresh, book.code, standing.learner, book.supplier, book.price, expected)
        return [WorkbookReordered(copy, fresh), ordered]

    return _write(where, proposal, by=by, at=at, slip=slip)


# --- the month, the day, and taking back ------------------------------------------------------------------


def send_dispatch(
    where: Where,
    *,
    copies: Sequence[str],
    by: str,
    at: datetime,
    tracking: str = "",
    dispatch: str | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """The test papers of these copies went to the school."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        if not copies:
            raise InputError(
                [Problem(say("copies"), say("none"), say("at least one copy with a marked unit test"))]
            )
        for copy in copies:
            desk.known_copy(copy)
        sent = dispatch or "d" + secrets.token_hex(6)
        words = desk.keep_words(tracking.strip()) if tracking.strip() else None
        day = desk.home.calendar.day_of(at)
        papers = [PaperSent(copy, sent) for copy in dict.fromkeys(copies)]
        return [DispatchSent(sent, day, len(papers), words), *papers]

    return _write(where, proposal, by=by, at=at, slip=slip)


def take_attendance(
    where: Where,
    *,
    learner: str,
    day: date,
    presence: Presence,
    by: str,
    at: datetime,
    minutes: int | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """Record how long a learner was at school on a day."""
    if minutes is not None and not 0 <= minutes <= MINUTES_OF_A_DAY:
        allowed = say("a whole number from 0 to {most}, the minutes of a day", most=MINUTES_OF_A_DAY)
        raise InputError([Problem(say("minutes"), str(minutes), allowed)])

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        return [AttendanceTaken(desk.home.person(learner).id, day, presence, minutes)]

    return _write(where, proposal, by=by, at=at, slip=slip)


def undo(where: Where, *, act: str, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """Take back everything that an act wrote; both stay on the record."""

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        written = desk.entries_of(act)
        if any(isinstance(e.fact, FactReversed) or desk.is_reversed(e) for e in written):
            raise RefusedError(Ruling((bar(BarKind.ALREADY_REVERSED),)))
        return [FactReversed(e.seq, getattr(e.fact, "copy", None)) for e in reversed(written)]

    return _write(where, proposal, by=by, at=at, slip=slip)
