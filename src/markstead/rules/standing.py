"""Where a copy stands now: a pure fold of its facts.

Facts are never refused here: they happened. A fact that was reversed is left out, and so is the reversal.
"""

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from markstead.ledger.facts import (
    KINDS,
    PRACTICE,
    AnyFact,
    AttendanceTaken,
    CheckOpened,
    CopyId,
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
    WordsId,
    WorkbookReordered,
    WorkTakenOver,
)
from markstead.ledger.serial import Entry
from markstead.speech import later


class CopyStatus(StrEnum):
    """What a copy is, in the words of the trade."""

    UNKNOWN = later("unknown")
    ON_ORDER = later("on order")
    IN_THE_HOUSE = later("in the house")
    ISSUED = later("issued")
    FINISHED = later("finished")
    SPOILED = later("spoiled")
    SENT = later("sent")


class Cycle(StrEnum):
    """Where a marking stop is in its cycle."""

    UNMARKED = later("not marked")
    TO_CORRECT = later("to be corrected")
    CORRECTED = later("corrected, to be re-marked")
    CLEARED = later("cleared")


@dataclass(frozen=True, slots=True)
class StopStanding:
    """One marking stop: how far its cycle has come and what was wrong."""

    id: StopId
    cycle: Cycle = Cycle.UNMARKED
    opened: bool = False
    asked: int = 0
    first_wrong: tuple[int, ...] = ()
    still_wrong: tuple[int, ...] = ()
    markings: int = 0
    talked_over: bool = False
    """An oral quiz or teaching came after the latest marking."""
    changed: datetime | None = None


@dataclass(frozen=True, slots=True)
class Attempt:
    """One taking of the practice test."""

    number: int
    opened: datetime
    scored: datetime | None = None
    right: int = 0
    asked: int = 0
    needed: int = 0
    wrong: tuple[int, ...] = ()

    @property
    def passed(self) -> bool:
        return self.scored is not None and self.right >= self.needed


@dataclass(frozen=True, slots=True)
class Sitting:
    """The unit test of this copy."""

    attempt: int
    at: datetime
    day: date
    aids: tuple[str, ...]
    watcher: PersonId
    scored: datetime | None = None
    right: int = 0
    asked: int = 0
    needed: int = 0
    wrong: tuple[int, ...] = ()
    minutes: int | None = None
    """How long it took; None where nobody looked at the clock."""

    @property
    def passed(self) -> bool:
        return self.scored is not None and self.right >= self.needed


@dataclass(frozen=True, slots=True)
class Asked:
    """A learner is waiting: for leave (with a step) or for help (without)."""

    at: datetime
    step: Step | None = None
    stop: StopId | None = None
    page: int | None = None


@dataclass(frozen=True, slots=True)
class Refusal:
    """The latest refusal of leave, until leave is asked again."""

    at: datetime
    step: Step
    stop: StopId | None
    reason: WordsId


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one copy stands."""

    copy: CopyId
    workbook: str = ""
    learner: PersonId | None = None
    status: CopyStatus = CopyStatus.UNKNOWN
    ordered: datetime | None = None
    expected: date | None = None
    received: datetime | None = None
    issued: datetime | None = None
    opening_talk: datetime | None = None
    pages: frozenset[int] = frozenset()
    minutes: int = 0
    latest_day: date | None = None
    latest_day_pages: frozenset[int] = frozenset()
    latest_day_minutes: int = 0
    stops: Mapping[StopId, StopStanding] = field(default_factory=dict)
    practice: tuple[Attempt, ...] = ()
    practice_reviewed: bool = False
    """Since the latest practice test below its mark there was help, a quiz or corrections."""
    ready: bool | None = None
    decided: datetime | None = None
    unit: Sitting | None = None
    waiting: Asked | None = None
    help: Asked | None = None
    leave: tuple[Step, StopId | None] | None = None
    leave_given: datetime | None = None
    refusal: Refusal | None = None
    goal: GoalSet | None = None
    override: GateOverridden | None = None
    replaced_by: CopyId | None = None
    dispatch: str | None = None
    last_seq: int = 0
    last_at: datetime | None = None
    last_move: int = 0
    """The latest fact that moved the copy; notes (help, quizzes, goals) do not."""

    def stop(self, stop: StopId) -> StopStanding:
        return self.stops.get(stop) or StopStanding(stop)

    @property
    def attempt(self) -> Attempt | None:
        """The latest practice test."""
        return self.practice[-1] if self.practice else None

    @property
    def practice_open(self) -> bool:
        return bool(self.practice) and self.practice[-1].scored is None

    @property
    def practice_passed(self) -> bool:
        return bool(self.practice) and self.practice[-1].passed

    @property
    def passed(self) -> bool:
        return self.unit is not None and self.unit.passed

    @property
    def failed(self) -> bool:
        return self.unit is not None and self.unit.scored is not None and not self.unit.passed

    @property
    def in_hand(self) -> bool:
        """The learner has it and its unit test is not marked yet."""
        return self.status is CopyStatus.ISSUED


NOTES = (GoalSet, HelpAsked, HelpGiven, OralQuizHeld, SpotCheckHeld, GateOverridden)
"""Facts that hinder no reversal: an earlier fact may be taken back although one of these follows it."""

_DEFAULTS: dict[str, Any] = {
    name: getattr(Standing("-"), name) for name in Standing.__slots__ if name not in {"copy", "stops"}
}


class _Building:
    """A standing while it is being folded; mutable for speed, seen by nobody outside."""

    def __init__(self, copy: CopyId) -> None:
        self.__dict__.update(_DEFAULTS)
        self.copy = copy
        self.stops: dict[StopId, StopStanding] = {}
        self.worked: set[int] = set()
        self.worked_latest: set[int] = set()

    if TYPE_CHECKING:  # the fields come from _DEFAULTS; at run time plain attributes are quicker

        def __getattr__(self, name: str) -> Any: ...

        def __setattr__(self, name: str, value: Any) -> None: ...

    def frozen(self) -> Standing:
        values = {name: self.__dict__[name] for name in Standing.__slots__}
        values["pages"] = frozenset(self.worked)
        values["latest_day_pages"] = frozenset(self.worked_latest)
        return Standing(**values)


def _ordered(b: _Building, f: CopyOrdered, at: datetime) -> None:
    b.workbook, b.learner, b.ordered, b.expected = f.workbook, f.learner, at, f.expected
    b.status = CopyStatus.ON_ORDER


def _received(b: _Building, _: CopyReceived, at: datetime) -> None:
    b.status, b.received = CopyStatus.IN_THE_HOUSE, at


def _spoiled(b: _Building, _: CopySpoiled, __: datetime) -> None:
    b.status, b.waiting, b.leave = CopyStatus.SPOILED, None, None


def _issued(b: _Building, f: CopyIssued, at: datetime) -> None:
    b.status, b.learner, b.issued = CopyStatus.ISSUED, f.learner, at


def _opening_talk(b: _Building, _: OpeningTalkHeld, at: datetime) -> None:
    b.opening_talk = at


def _taken_over(b: _Building, f: WorkTakenOver, at: datetime) -> None:
    b.opening_talk = b.opening_talk or at
    b.worked.update(range(1, f.last + 1))
    for stop in f.stops:
        b.stops[stop] = StopStanding(stop, Cycle.CLEARED, stop.startswith("check"), changed=at)


def _goal(b: _Building, f: GoalSet, _: datetime) -> None:
    b.goal = f if f.first is not None or f.step is not None else None


def _worked(b: _Building, f: PagesWorked, _: datetime) -> None:
    pages = range(f.first, f.last + 1)
    b.worked.update(pages)
    b.minutes += f.minutes or 0
    if b.latest_day != f.day:
        b.latest_day, b.worked_latest, b.latest_day_minutes = f.day, set(), 0
    b.worked_latest.update(pages)
    b.latest_day_minutes += f.minutes or 0


def _help_asked(b: _Building, f: HelpAsked, at: datetime) -> None:
    b.help = Asked(at=at, page=f.page)


def _talked(b: _Building, stop: StopId | None) -> None:
    for name in (stop,) if stop else tuple(b.stops):
        was = b.stops.get(name)
        if was is not None and was.cycle in (Cycle.TO_CORRECT, Cycle.CORRECTED):
            b.stops[name] = _changed(was, talked_over=True)
    if b.practice and b.practice[-1].scored is not None:
        b.practice_reviewed = True


def _help_given(b: _Building, _: HelpGiven, __: datetime) -> None:
    b.help = None
    _talked(b, None)


def _quiz(b: _Building, f: OralQuizHeld, _: datetime) -> None:
    _talked(b, f.stop)


def _leave_asked(b: _Building, f: LeaveAsked, at: datetime) -> None:
    b.waiting, b.refusal = Asked(at=at, step=f.step, stop=f.stop), None


def _leave_given(b: _Building, f: LeaveGiven, at: datetime) -> None:
    b.waiting, b.refusal, b.leave, b.leave_given = None, None, (f.step, f.stop), at


def _leave_refused(b: _Building, f: LeaveRefused, at: datetime) -> None:
    b.waiting, b.refusal = None, Refusal(at, f.step, f.stop, f.reason)


def _changed(was: StopStanding, **new: Any) -> StopStanding:
    values = {name: getattr(was, name) for name in StopStanding.__slots__}
    values.update(new)
    return StopStanding(**values)


def _first_marking(b: _Building, f: FirstMarking, at: datetime) -> None:
    was = b.stops.get(f.stop)
    cycle = Cycle.TO_CORRECT if f.wrong else Cycle.CLEARED
    b.stops[f.stop] = StopStanding(
        f.stop, cycle, was is not None and was.opened, f.asked, f.wrong, f.wrong, 1, False, at
    )
    b.waiting = b.leave = None


def _corrected(b: _Building, f: Corrected, at: datetime) -> None:
    was = b.stops.get(f.stop) or StopStanding(f.stop)
    b.stops[f.stop] = _changed(was, cycle=Cycle.CORRECTED, changed=at)
    if f.stop == PRACTICE:
        b.practice_reviewed = True


def _re_marked(b: _Building, f: ReMarked, at: datetime) -> None:
    was = b.stops.get(f.stop) or StopStanding(f.stop)
    cycle = Cycle.TO_CORRECT if f.wrong else Cycle.CLEARED
    b.stops[f.stop] = _changed(
        was, cycle=cycle, still_wrong=f.wrong, markings=was.markings + 1, talked_over=False, changed=at
    )
    b.waiting = b.leave = None


def _check_opened(b: _Building, f: CheckOpened, at: datetime) -> None:
    b.stops[f.stop] = StopStanding(f.stop, opened=True, changed=at)
    b.waiting = b.refusal = None


def _practice_opened(b: _Building, f: PracticeTestOpened, at: datetime) -> None:
    if b.unit is not None:  # the same copy is worked towards another sitting
        b.unit, b.status, b.dispatch = None, CopyStatus.ISSUED, None
    b.practice = (*b.practice, Attempt(f.attempt, at))
    b.practice_reviewed, b.waiting, b.refusal, b.ready, b.decided = False, None, None, None, None
    b.stops.pop(PRACTICE, None)


def _practice_scored(b: _Building, f: PracticeTestScored, at: datetime) -> None:
    opened = b.practice[-1].opened if b.practice else at
    attempt = Attempt(f.attempt, opened, at, f.right, f.asked, f.needed, f.wrong)
    b.practice = (*b.practice[:-1], attempt)
    cycle = Cycle.TO_CORRECT if f.right < f.asked else Cycle.CLEARED
    b.stops[PRACTICE] = StopStanding(PRACTICE, cycle, True, f.asked, f.wrong, f.wrong, 1, False, at)
    b.waiting = b.leave = None


def _decided(b: _Building, f: ReadinessDecided, at: datetime) -> None:
    b.ready, b.decided = f.ready, at
    if b.waiting is not None and b.waiting.step is Step.UNIT_TEST:  # the decision answers who asked to sit
        b.waiting = b.refusal = None


def _sat(b: _Building, f: UnitTestSat, at: datetime) -> None:
    b.unit = Sitting(f.attempt, at, f.day, f.aids, f.watcher)
    b.waiting = b.refusal = b.help = None


def _scored(b: _Building, f: UnitTestScored, at: datetime) -> None:
    sat = b.unit or Sitting(1, at, at.date(), (), "")
    b.unit = Sitting(
        sat.attempt,
        sat.at,
        sat.day,
        sat.aids,
        sat.watcher,
        at,
        f.right,
        f.asked,
        f.needed,
        f.wrong,
        f.minutes,
    )
    b.status = CopyStatus.FINISHED


def _reordered(b: _Building, f: WorkbookReordered, _: datetime) -> None:
    b.replaced_by = f.new_copy


def _paper_sent(b: _Building, f: PaperSent, _: datetime) -> None:
    b.dispatch, b.status = f.dispatch, CopyStatus.SENT


def _overridden(b: _Building, f: GateOverridden, _: datetime) -> None:
    b.override = f


def _nothing(_: _Building, __: AnyFact, ___: datetime) -> None:
    """Facts that move no copy, those about none, and reversals, which the fold has taken out before."""


_STEPS: dict[type, Callable[[_Building, Any, datetime], None]] = {
    CopyOrdered: _ordered,
    CopyReceived: _received,
    CopySpoiled: _spoiled,
    CopyIssued: _issued,
    OpeningTalkHeld: _opening_talk,
    WorkTakenOver: _taken_over,
    GoalSet: _goal,
    PagesWorked: _worked,
    HelpAsked: _help_asked,
    HelpGiven: _help_given,
    LeaveAsked: _leave_asked,
    LeaveGiven: _leave_given,
    LeaveRefused: _leave_refused,
    FirstMarking: _first_marking,
    Corrected: _corrected,
    ReMarked: _re_marked,
    OralQuizHeld: _quiz,
    SpotCheckHeld: _nothing,
    CheckOpened: _check_opened,
    PracticeTestOpened: _practice_opened,
    PracticeTestScored: _practice_scored,
    ReadinessDecided: _decided,
    UnitTestSat: _sat,
    UnitTestScored: _scored,
    WorkbookReordered: _reordered,
    PaperSent: _paper_sent,
    GateOverridden: _overridden,
    DispatchSent: _nothing,
    AttendanceTaken: _nothing,
    FactReversed: _nothing,
}
if set(_STEPS) != set(KINDS.values()):  # a new kind of fact must be given a step
    raise TypeError("the fold does not know every kind of fact")


class Fold:
    """A fold in progress over the facts of one copy, for a writer that takes them one by one."""

    def __init__(self, copy: CopyId, entries: Iterable[Entry] = ()) -> None:
        self.copy = copy
        self.entries: list[Entry] = []
        self._building = _Building(copy)
        self._reversed: set[int] = set()
        for entry in entries:
            self.take(entry)

    def take(self, entry: Entry) -> None:
        """Take one more fact of this copy; a reversal folds the others anew without the reversed one."""
        self.entries.append(entry)
        fact = entry.fact
        b = self._building
        kind = type(fact)
        if kind is FactReversed:
            self._reversed.add(fact.entry)  # type: ignore[union-attr]  # the line above says so
            b = self._building = _Building(self.copy)
            for kept in self.entries:
                if kept.seq not in self._reversed and type(kept.fact) is not FactReversed:
                    _step(b, kept)
        else:
            _step(b, entry)
        b.last_seq = entry.seq

    @property
    def standing(self) -> Standing:
        return self._building.frozen()

    def is_reversed(self, seq: int) -> bool:
        return seq in self._reversed


class LeanFold:
    """A fold that keeps no fact, for a reader of a whole record: which facts were reversed is told beforehand."""

    def __init__(self, copy: CopyId, reversed_facts: Container[int] = ()) -> None:
        self._building = _Building(copy)
        self._reversed = reversed_facts
        self.workbook = ""
        """That of the copy's first fact, even where the order itself was reversed."""

    def take(self, entry: Entry) -> None:
        """Take one more fact of this copy, in the order of the record."""
        b = self._building
        if b.last_seq == 0:
            self.workbook = str(getattr(entry.fact, "workbook", ""))
        if type(entry.fact) is not FactReversed and entry.seq not in self._reversed:
            _step(b, entry)
        b.last_seq = entry.seq

    @property
    def standing(self) -> Standing:
        return self._building.frozen()


def _step(b: _Building, entry: Entry) -> None:
    fact = entry.fact
    kind = type(fact)
    b.last_at = entry.at
    if b.override is not None and b.override.act == fact.KIND:
        b.override = None
    _STEPS[kind](b, fact, entry.at)
    if kind not in NOTES:
        b.last_move = entry.seq


def standings_of(entries: Iterable[Entry]) -> dict[CopyId, Standing]:
    """Fold the facts of any number of copies, given in the order of the record."""
    folds: dict[CopyId, Fold] = {}
    for entry in entries:
        copy = getattr(entry.fact, "copy", None)
        if copy is None:
            continue
        fold = folds.get(copy)
        if fold is None:
            fold = folds[copy] = Fold(copy)
        fold.take(entry)
    return {copy: fold.standing for copy, fold in folds.items()}


def standing_of(copy: CopyId, entries: Iterable[Entry]) -> Standing:
    """Fold the facts of one copy; a copy without facts is unknown."""
    return Fold(copy, entries).standing
