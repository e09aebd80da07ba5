"""May this be done? A proposed fact is the act; the ruling names every bar and what lifts each."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any

from markstead.calendar import NoSchoolDayError, SchoolCalendar
from markstead.errors import MarksteadError, Problem, UnknownError
from markstead.ledger.facts import (
    KINDS,
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
    PersonId,
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
from markstead.rules.bars import Bar, BarKind, Weight, bar
from markstead.rules.programme import Programme, Rework, Stop, Workbook
from markstead.rules.standing import Asked, CopyStatus, Cycle, Standing
from markstead.speech import begun, day_words, later, say


class Role(StrEnum):
    """What a person is in this home."""

    EDUCATOR = later("educator")
    HELPER = later("helper")
    LEARNER = later("learner")
    COORDINATOR = later("coordinator")
    LEFT = later("left")
    """Was one of these: the record still knows who it was, and that is all."""


OWN_SLIP = timedelta(minutes=1)
"""So long a learner may take back what they have just written."""


@dataclass(frozen=True, slots=True)
class Actor:
    """Who acts."""

    id: PersonId
    role: Role


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a ruling must know beside the copy itself. The learner is the copy's, or the one it would go to."""

    year: int = 0
    courses: frozenset[str] = frozenset()
    passed: frozenset[str] = frozenset()
    """Codes of the workbooks that the learner has passed."""
    courses_in_hand: frozenset[str] = frozenset()
    """Courses in which the learner has another copy in hand."""
    sat_by_learner: int = 0
    """Unit tests that the learner has sat on that day, this one not counted."""
    sat_that_morning: int = 0
    """Unit tests that anybody of the home has sat on that day, this one not counted."""
    watchers: frozenset[PersonId] = frozenset()
    now: datetime | None = None
    """The clock, where an act is written down later than it happened."""
    own_latest: datetime | None = None
    """When the actor wrote down the fact that is to be taken back, where nobody has written of this copy since."""


@dataclass(frozen=True, slots=True)
class Ruling:
    """The answer to 'may this be done?': allowed, or every bar."""

    bars: tuple[Bar, ...] = ()
    passed_over: tuple[Bar, ...] = ()
    """Bars that an override on the record passes."""

    @property
    def allowed(self) -> bool:
        return not self.bars

    @property
    def overridable(self) -> bool:
        """Every bar left is a rule that an educator may pass with a reason."""
        return bool(self.bars) and all(b.weight is Weight.RULE for b in self.bars)


class RefusedError(MarksteadError):
    """A gate is shut; carries the ruling with every bar."""

    def __init__(self, ruling: Ruling) -> None:
        self.ruling = ruling
        super().__init__("\n".join(f"{b.says} {b.lifts}" for b in ruling.bars))


def stop_words(stop: StopId | None) -> str:
    """Write a stop as people say it: section 3, check 1, the practice test."""
    if stop is None:
        return say("the workbook")
    if stop == PRACTICE:
        return say("the practice test")
    kind, _, number = stop.partition("-")
    named = _STOPS.get(kind)
    return say(named, number=number) if named and number.isdecimal() else stop.replace("-", " ")


_STOPS = {"section": later("section {number}"), "check": later("check {number}")}


def page_words(first: int, last: int) -> str:
    """A run of pages as people say it: page 7, pages 7-9."""
    if first == last:
        return say("page {number}", number=first)
    return say("pages {first}-{last}", first=first, last=last)


_TESTS = {Step.PRACTICE_TEST: later("practice test"), Step.UNIT_TEST: later("unit test")}


def goal_words(goal: GoalSet) -> str:
    """A goal as people say it: pages 7-9; page 30, practice test; unit test."""
    parts = [page_words(goal.first, goal.last)] if goal.first is not None and goal.last is not None else []
    if goal.step is not None:
        parts.append(say(_TESTS.get(goal.step, str(goal.step))))
    return ", ".join(parts)


def ranges(numbers: list[int] | tuple[int, ...] | frozenset[int]) -> str:
    """Write numbers shortly: 3-5, 8."""
    found: list[list[int]] = []
    for number in sorted(numbers):
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in found)


@dataclass(frozen=True, slots=True)
class _Case:
    """Everything one ruling looks at."""

    s: Standing
    at: datetime
    actor: Actor
    around: Surroundings
    programme: Programme
    calendar: SchoolCalendar

    @property
    def workbook(self) -> Workbook:
        return self.programme.workbook(self.s.workbook)

    @property
    def day(self) -> date:
        return self.calendar.day_of(self.at)

    def next_day(self, after: date, distance: int = 1) -> str:
        """The next day that this learner has school, in words."""
        try:
            return day_words(self.calendar.next_school_day(after, self.s.learner, distance))
        except NoSchoolDayError:
            return say("a school day (none is entered within a year)")


def first_uncleared(standing: Standing, workbook: Workbook) -> Stop | None:
    """The first section or check, in page order, that is not cleared."""
    for stop in workbook.stops:
        kept = standing.stops.get(stop.id)
        if kept is None or kept.cycle is not Cycle.CLEARED:
            return stop
    return None


def _educator(c: _Case) -> Iterator[Bar]:
    if c.actor.role is not Role.EDUCATOR:
        yield bar(BarKind.ONLY_EDUCATOR)


def _in_work(c: _Case) -> Iterator[Bar]:
    """The copy is in the learner's hands and its unit test is not sat yet."""
    if c.s.status is not CopyStatus.ISSUED:
        yield bar(BarKind.NOT_ISSUED, status=say(str(c.s.status)))
    elif c.s.unit is not None:
        yield bar(BarKind.TEST_UNDER_WAY)


def _day_to_come(c: _Case, day: date) -> Iterator[Bar]:
    """What was done on a day cannot be told before that day."""
    if day > c.day:
        yield bar(BarKind.IN_THE_FUTURE)


def _before(c: _Case, stop: Stop) -> Iterator[Bar]:
    """Every stop before this one is cleared."""
    first = first_uncleared(c.s, c.workbook)
    if first is not None and first.first < stop.first:
        yield bar(BarKind.OTHER_STOP_FIRST, first=begun(stop_words(first.id)))


def _worked(c: _Case, stop: Stop) -> Iterator[Bar]:
    left = [page for page in range(stop.first, stop.last + 1) if page not in c.s.pages]
    if left:
        yield bar(BarKind.PAGES_LEFT, pages=ranges(left))


def _open(c: _Case, stop: Stop) -> Iterator[Bar]:
    if stop.kind == "check" and not c.s.stop(stop.id).opened:
        yield bar(BarKind.CHECK_NOT_OPEN, check=begun(stop_words(stop.id)))


def _closed(c: _Case, stop_id: StopId | None) -> Iterator[Bar]:
    """While the practice test is open, nothing else of the workbook is."""
    if c.s.practice_open and stop_id != PRACTICE:
        yield bar(BarKind.BOOK_CLOSED)


def _to_mark(c: _Case, stop_id: StopId | None) -> Iterator[Bar]:
    """What stands between the learner and a first marking, leave itself apart."""
    if stop_id == PRACTICE:
        if not c.s.practice_open:
            yield bar(BarKind.PRACTICE_NOT_OPEN)
        return
    stop = c.workbook.stop(stop_id or "")
    if c.s.stop(stop.id).cycle is not Cycle.UNMARKED:
        yield bar(BarKind.ALREADY)
        return
    yield from _closed(c, stop_id)
    yield from _before(c, stop)
    yield from _open(c, stop)
    yield from _worked(c, stop)


def _to_re_mark(c: _Case, stop_id: StopId | None) -> Iterator[Bar]:
    kept = c.s.stop(stop_id or "")
    if kept.cycle is Cycle.CLEARED:
        yield bar(BarKind.ALREADY)
    elif kept.cycle is not Cycle.CORRECTED:
        yield bar(BarKind.NOT_CORRECTED)
    else:
        yield from _closed(c, stop_id)


def _quiz_done(c: _Case, stop_id: StopId | None) -> Iterator[Bar]:
    kept = c.s.stop(stop_id or "")
    wrong = len(kept.still_wrong)
    if kept.asked and not kept.talked_over and c.programme.marking.calls_for_quiz(wrong, kept.asked):
        percent = c.programme.marking.quiz_when_wrong_percent
        yield bar(BarKind.QUIZ_FIRST, wrong=wrong, asked=kept.asked, percent=percent)


def _all_cleared(c: _Case) -> Iterator[Bar]:
    first = first_uncleared(c.s, c.workbook)
    if first is not None:
        yield bar(BarKind.STOP_NOT_CLEARED, stop=begun(stop_words(first.id)))


def _to_sit_practice(c: _Case) -> Iterator[Bar]:
    if c.s.practice_open or c.s.practice_passed:
        yield bar(BarKind.ALREADY)
        return
    yield from _all_cleared(c)
    if c.s.practice and not c.s.practice_reviewed:
        yield bar(BarKind.REVIEW_FIRST)


def _practice_passed(c: _Case) -> Iterator[Bar]:
    if not c.s.practice_passed:
        yield bar(BarKind.PRACTICE_NOT_PASSED, percent=c.programme.marks.practice_test_percent)


def _first_morning(c: _Case, watcher: PersonId) -> Iterator[Bar]:
    """The unit test comes on a later school day than the practice test, in the morning."""
    rules = c.programme.unit_test
    day, calendar = c.day, c.calendar
    attempt = c.s.attempt
    # Passed or not: who passes over the pass mark with a reason has not passed over the day between.
    if attempt is not None:
        practice = calendar.day_of(attempt.scored or attempt.opened)
        try:
            earliest = calendar.next_school_day(practice, c.s.learner, rules.school_days_after_practice)
        except NoSchoolDayError:
            earliest = date.max
        if day < earliest:
            until = c.next_day(practice, rules.school_days_after_practice)
            yield bar(BarKind.TOO_SOON, practice=day_words(practice), until=until)
    closed = calendar.why_closed(day, c.s.learner)
    if closed is not None:
        yield bar(BarKind.NO_SCHOOL, day=day_words(day), why=closed, until=c.next_day(day))
    time = calendar.at_home(c.at).time()
    if not rules.morning_from <= time < rules.morning_until:
        until = c.next_day(day if time >= rules.morning_until else day - timedelta(days=1))
        yield bar(
            BarKind.NOT_MORNING,
            time=f"{time:%H:%M}",
            start=f"{rules.morning_from:%H:%M}",
            end=f"{rules.morning_until:%H:%M}",
            until=until,
        )
    if calendar.educator_is_away(day, watcher):
        yield bar(BarKind.EDUCATOR_AWAY, day=day_words(day), until=c.next_day(day))


def _room_today(c: _Case) -> Iterator[Bar]:
    rules = c.programme.unit_test
    if c.around.sat_by_learner >= rules.most_a_learner_a_day:
        yield bar(
            BarKind.LEARNER_SAT_TODAY,
            sat=c.around.sat_by_learner,
            most=rules.most_a_learner_a_day,
            until=c.next_day(c.day),
        )
    if c.around.sat_that_morning >= rules.most_watched_a_morning:
        yield bar(
            BarKind.MORNING_FULL,
            sat=c.around.sat_that_morning,
            most=rules.most_watched_a_morning,
            until=c.next_day(c.day),
        )


def _ready(c: _Case) -> Iterator[Bar]:
    if c.programme.unit_test.readiness_decision and not c.s.ready:
        yield bar(BarKind.NOT_READY)


def _ordered(c: _Case, _: CopyOrdered) -> Iterator[Bar]:
    yield from _educator(c)
    if c.s.status is not CopyStatus.UNKNOWN:
        yield bar(BarKind.ALREADY)


def _received(c: _Case, _: CopyReceived) -> Iterator[Bar]:
    if c.actor.role is Role.LEARNER:
        yield bar(BarKind.ONLY_EDUCATOR)
    if c.s.status is not CopyStatus.ON_ORDER:
        yield bar(BarKind.NOT_ON_ORDER, status=say(str(c.s.status)))


def _spoiled(c: _Case, _: CopySpoiled) -> Iterator[Bar]:
    yield from _educator(c)
    if c.s.status not in (CopyStatus.IN_THE_HOUSE, CopyStatus.ISSUED):
        yield bar(BarKind.NOT_IN_THE_HOUSE, status=say(str(c.s.status)))
    elif c.s.unit is not None:
        yield bar(BarKind.TEST_UNDER_WAY)


def _issued(c: _Case, _: CopyIssued) -> Iterator[Bar]:
    yield from _educator(c)
    if c.s.status is not CopyStatus.IN_THE_HOUSE:
        yield bar(BarKind.NOT_IN_THE_HOUSE, status=say(str(c.s.status)))
    if c.s.status is CopyStatus.UNKNOWN:
        return
    workbook = c.workbook
    if workbook.course not in c.around.courses:
        yield bar(BarKind.COURSE_NOT_TAKEN, course=workbook.course)
    if workbook.code in c.around.passed:
        yield bar(BarKind.ALREADY_PASSED)
    previous = c.programme.previous_in_course(workbook)
    wanted = [*workbook.prerequisites, *([previous.code] if previous else [])]
    missing = sorted({code for code in wanted if code not in c.around.passed})
    if missing:
        yield bar(BarKind.EARLIER_WORKBOOK, workbooks=", ".join(missing))
    if workbook.course in c.around.courses_in_hand:
        yield bar(BarKind.OTHER_COPY_IN_HAND)


def _opening_talk(c: _Case, _: OpeningTalkHeld) -> Iterator[Bar]:
    yield from _educator(c)
    yield from _in_work(c)
    if c.s.opening_talk is not None:
        yield bar(BarKind.ALREADY)


def _taken_over(c: _Case, _: WorkTakenOver) -> Iterator[Bar]:
    """Only where nothing of the copy is on the record yet."""
    yield from _educator(c)
    yield from _in_work(c)
    if c.s.pages or c.s.stops or c.s.practice:
        yield bar(BarKind.ALREADY)


def _goal(c: _Case, _: GoalSet) -> Iterator[Bar]:
    yield from _in_work(c)


def _pages(c: _Case, f: PagesWorked) -> Iterator[Bar]:
    yield from _in_work(c)
    yield from _day_to_come(c, f.day)
    if c.s.status is not CopyStatus.ISSUED:
        return
    if c.s.opening_talk is None:
        yield bar(BarKind.NO_OPENING_TALK)
    yield from _closed(c, None)
    first = first_uncleared(c.s, c.workbook)
    if first is not None:
        stops = c.workbook.stops
        reach = stops[min(stops.index(first) + c.programme.marking.sections_ahead, len(stops) - 1)]
        if f.last > reach.last:
            yield bar(BarKind.STOP_NOT_CLEARED, stop=begun(stop_words(first.id)))
    for stop in c.workbook.checks:
        if f.first <= stop.last and f.last >= stop.first:
            yield from _open(c, stop)


def _help_asked(c: _Case, _: HelpAsked) -> Iterator[Bar]:
    yield from _in_work(c)
    if c.s.help is not None:
        yield bar(BarKind.ALREADY)


def _help_given(c: _Case, _: HelpGiven) -> Iterator[Bar]:
    if c.actor.role is Role.LEARNER:
        yield bar(BarKind.ONLY_EDUCATOR)
    yield from _in_work(c)


def _step_bars(c: _Case, step: Step, stop: StopId | None) -> Iterator[Bar]:
    """What stands between the learner and leave for a step; the educator's own decisions apart."""
    if step is Step.MARK:
        yield from _to_mark(c, stop)
    elif step is Step.REMARK:
        yield from _to_re_mark(c, stop)
    elif step is Step.CHECK:
        yield from _to_open(c, stop)
    elif step is Step.PRACTICE_TEST:
        yield from _to_sit_practice(c)
    else:
        yield from _practice_passed(c)


def _leave_asked(c: _Case, f: LeaveAsked) -> Iterator[Bar]:
    yield from _in_work(c)
    if c.s.waiting is not None or c.s.leave == (f.step, f.stop):
        yield bar(BarKind.ALREADY)
    if c.s.status is CopyStatus.ISSUED:
        yield from _step_bars(c, f.step, f.stop)


def _leave_given(c: _Case, f: LeaveGiven) -> Iterator[Bar]:
    yield from _educator(c)
    yield from _in_work(c)
    if c.s.leave == (f.step, f.stop):
        yield bar(BarKind.ALREADY)
    if c.s.status is CopyStatus.ISSUED:
        yield from _step_bars(c, f.step, f.stop)
    if f.step is Step.REMARK:
        yield from _quiz_done(c, f.stop)


def _leave_refused(c: _Case, f: LeaveRefused) -> Iterator[Bar]:
    yield from _educator(c)
    waiting = c.s.waiting or Asked(c.at)
    if (waiting.step, waiting.stop) != (f.step, f.stop):
        yield bar(BarKind.NOT_ASKED)


def _has_leave(c: _Case, step: Step, stop: StopId) -> Iterator[Bar]:
    if c.s.leave != (step, stop):
        yield bar(BarKind.NO_LEAVE, step=say(str(step)))


def _first_marking(c: _Case, f: FirstMarking) -> Iterator[Bar]:
    yield from _in_work(c)
    if c.s.status is not CopyStatus.ISSUED:
        return
    # A practice test is no stop of the workbook: it is scored before anything is corrected, never first-marked.
    yield from _to_mark(c, c.workbook.stop(f.stop).id)
    yield from _has_leave(c, Step.MARK, f.stop)


def _corrected(c: _Case, f: Corrected) -> Iterator[Bar]:
    yield from _in_work(c)
    kept = c.s.stop(f.stop)
    if kept.cycle in (Cycle.CORRECTED, Cycle.CLEARED):
        yield bar(BarKind.ALREADY)
    elif kept.cycle is not Cycle.TO_CORRECT:
        yield bar(BarKind.NOT_MARKED)
    else:
        yield from _closed(c, f.stop)


def _re_marked(c: _Case, f: ReMarked) -> Iterator[Bar]:
    yield from _in_work(c)
    yield from _to_re_mark(c, f.stop)
    yield from _has_leave(c, Step.REMARK, f.stop)
    wrong = c.s.stop(f.stop).still_wrong
    others = [question for question in f.wrong if question not in wrong]
    if others and wrong:
        yield bar(BarKind.NOT_STILL_WRONG, questions=ranges(others), wrong=ranges(wrong))


def _quiz(c: _Case, f: OralQuizHeld) -> Iterator[Bar]:
    """On a workbook in hand, or on one that was worked before: old workbooks are reviewed too."""
    yield from _educator(c)
    if c.s.status not in (CopyStatus.FINISHED, CopyStatus.SENT):
        yield from _in_work(c)
    if c.s.status is not CopyStatus.UNKNOWN and f.stop not in (None, PRACTICE):
        c.workbook.stop(f.stop)


def _spot_check(c: _Case, f: SpotCheckHeld) -> Iterator[Bar]:
    yield from _educator(c)
    if c.s.status is not CopyStatus.UNKNOWN and f.stop != PRACTICE:
        c.workbook.stop(f.stop)
    kept = c.s.stop(f.stop)
    if not kept.markings:
        yield bar(BarKind.NOTHING_TICKED, stop=begun(stop_words(f.stop)))
        return
    others = [q for q, _ in f.answers if q in kept.first_wrong or q > kept.asked]
    if others:
        yield bar(BarKind.NOT_TICKED, questions=ranges(others))


def _to_open(c: _Case, stop_id: StopId | None) -> Iterator[Bar]:
    stop = c.workbook.stop(stop_id or "")
    if stop.kind != "check":
        checks = ", ".join(check.id for check in c.workbook.checks)
        allowed = (
            say("one of {checks}", checks=checks) if checks else say("one of none, for it has no checks")
        )
        where = say("workbook {workbook}, check", workbook=c.workbook.code)
        raise UnknownError([Problem(where, repr(stop.id), allowed)])
    if c.s.stop(stop.id).opened:
        yield bar(BarKind.ALREADY)
    yield from _closed(c, stop_id)
    yield from _before(c, stop)


def _check_opened(c: _Case, f: CheckOpened) -> Iterator[Bar]:
    yield from _educator(c)
    yield from _in_work(c)
    if c.s.status is CopyStatus.ISSUED:
        yield from _to_open(c, f.stop)


def _practice_opened(c: _Case, _: PracticeTestOpened) -> Iterator[Bar]:
    yield from _educator(c)
    done = c.s.status in (CopyStatus.FINISHED, CopyStatus.SENT)
    if done and c.s.failed and c.programme.rework is Rework.SAME_COPY:
        if c.s.replaced_by is not None:
            yield bar(BarKind.ALREADY)
        return
    yield from _in_work(c)
    if c.s.status is CopyStatus.ISSUED:
        yield from _to_sit_practice(c)


def _practice_scored(c: _Case, _: PracticeTestScored) -> Iterator[Bar]:
    yield from _in_work(c)
    if not c.s.practice_open:
        yield bar(BarKind.PRACTICE_NOT_OPEN)
    if c.actor.role is not Role.EDUCATOR:
        yield from _has_leave(c, Step.MARK, PRACTICE)


def _decided(c: _Case, _: ReadinessDecided) -> Iterator[Bar]:
    yield from _educator(c)
    yield from _in_work(c)
    yield from _practice_passed(c)


def _sat(c: _Case, f: UnitTestSat) -> Iterator[Bar]:
    yield from _educator(c)
    if c.s.status is not CopyStatus.ISSUED:
        yield bar(BarKind.NOT_ISSUED, status=say(str(c.s.status)))
        return
    if c.s.unit is not None:
        yield bar(BarKind.ALREADY)
    yield from _all_cleared(c)
    yield from _practice_passed(c)
    yield from _ready(c)
    yield from _first_morning(c, f.watcher)
    yield from _room_today(c)
    if f.watcher not in c.around.watchers:
        yield bar(BarKind.NO_WATCHER)
    allowed = c.programme.aids_for(c.around.year)
    extra = [aid for aid in f.aids if aid not in allowed]
    if extra:
        aids, kept = ", ".join(extra).capitalize(), ", ".join(allowed)
        yield bar(BarKind.AID_NOT_ALLOWED, aids=aids, year=c.around.year, allowed=kept)


def _scored(c: _Case, _: UnitTestScored) -> Iterator[Bar]:
    yield from _educator(c)
    if c.s.unit is None:
        yield bar(BarKind.NOT_SAT)
    elif c.s.unit.scored is not None:
        yield bar(BarKind.ALREADY)


def _reordered(c: _Case, _: WorkbookReordered) -> Iterator[Bar]:
    yield from _educator(c)
    if not c.s.failed or c.s.replaced_by is not None:
        yield bar(BarKind.NOT_FAILED)


def _paper_sent(c: _Case, _: PaperSent) -> Iterator[Bar]:
    yield from _educator(c)
    if c.s.unit is None or c.s.unit.scored is None or c.s.dispatch is not None:
        yield bar(BarKind.NO_PAPER)


def _dispatch(c: _Case, _: DispatchSent) -> Iterator[Bar]:
    yield from _educator(c)


def _attendance(c: _Case, f: AttendanceTaken) -> Iterator[Bar]:
    if c.actor.role is Role.LEARNER:
        yield bar(BarKind.ONLY_EDUCATOR)
    yield from _day_to_come(c, f.day)


def _overridden(c: _Case, _: GateOverridden) -> Iterator[Bar]:
    yield from _educator(c)


def _reversed(c: _Case, f: FactReversed) -> Iterator[Bar]:
    """Whether the fact is there and of this copy is for the action to see; here: does anything rest on it?

    A learner takes back only what they have written themselves, just now and as the latest of the copy.
    """
    written = c.around.own_latest
    fresh = written is not None and timedelta(0) <= c.at - written <= OWN_SLIP
    if not (fresh and c.actor.role is Role.LEARNER):
        yield from _educator(c)
    if f.copy is not None and f.entry < c.s.last_move:
        yield bar(BarKind.LATER_FACTS)


_BARS: dict[type, Callable[[_Case, Any], Iterator[Bar]]] = {
    CopyOrdered: _ordered,
    CopyReceived: _received,
    CopySpoiled: _spoiled,
    CopyIssued: _issued,
    OpeningTalkHeld: _opening_talk,
    WorkTakenOver: _taken_over,
    GoalSet: _goal,
    PagesWorked: _pages,
    HelpAsked: _help_asked,
    HelpGiven: _help_given,
    LeaveAsked: _leave_asked,
    LeaveGiven: _leave_given,
    LeaveRefused: _leave_refused,
    FirstMarking: _first_marking,
    Corrected: _corrected,
    ReMarked: _re_marked,
    OralQuizHeld: _quiz,
    SpotCheckHeld: _spot_check,
    CheckOpened: _check_opened,
    PracticeTestOpened: _practice_opened,
    PracticeTestScored: _practice_scored,
    ReadinessDecided: _decided,
    UnitTestSat: _sat,
    UnitTestScored: _scored,
    WorkbookReordered: _reordered,
    PaperSent: _paper_sent,
    DispatchSent: _dispatch,
    AttendanceTaken: _attendance,
    GateOverridden: _overridden,
    FactReversed: _reversed,
}
if set(_BARS) != set(KINDS.values()):  # a new kind of fact must be given a gate
    raise TypeError("the rules do not know every kind of fact")


def _who(c: _Case) -> Iterator[Bar]:
    if c.actor.role is Role.LEFT:
        yield bar(BarKind.HAS_LEFT)
    elif c.actor.role is Role.COORDINATOR:
        yield bar(BarKind.MAY_NOT_LOG, role=say(str(c.actor.role)))
    elif c.actor.role is Role.LEARNER and c.s.learner not in (None, c.actor.id):
        yield bar(BarKind.NOT_THIS_LEARNER)


def _when(c: _Case, proposed: AnyFact) -> Iterator[Bar]:
    if c.around.now is not None and c.at > c.around.now:
        yield bar(BarKind.IN_THE_FUTURE)
    if c.s.last_at is not None and c.at < c.s.last_at and type(proposed) is not FactReversed:
        last = c.calendar.at_home(c.s.last_at)
        yield bar(BarKind.EARLIER_THAN_LAST, last=f"{day_words(last.date())}, {last:%H:%M}")


def ruling(
    standing: Standing,
    proposed: AnyFact,
    *,
    at: datetime,
    actor: Actor,
    around: Surroundings,
    programme: Programme,
    calendar: SchoolCalendar,
) -> Ruling:
    """Rule on one proposed fact at one instant; name every bar, not only the first.

    An override on the record passes the rule bars that it names, for this one act.

    Raises:
        UnknownError: the programme has no such workbook or stop.
    """
    case = _Case(standing, at, actor, around, programme, calendar)
    bars = (*_who(case), *_BARS[type(proposed)](case, proposed), *_when(case, proposed))
    bars = tuple(dict.fromkeys(bars))
    override = standing.override
    if override is None or override.act != proposed.KIND or not bars:
        return Ruling(bars)
    passed = tuple(b for b in bars if b.weight is Weight.RULE and b.kind in override.bars)
    return Ruling(tuple(b for b in bars if b not in passed), passed)
