"""What happened, as frozen values in the past tense.

A fact carries ids and plain values, never a name and never free text: words (a reason, a tracking number) are
kept apart from the record and a fact holds only their digest, so that they can be erased while the chain still
holds. A fact is never refused when it is read: it happened. It refuses only what cannot be a fact at all.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import pairwise
from typing import ClassVar, get_args

from markstead.speech import later

PersonId = str
CopyId = str
WordsId = str
"""SHA-256, in hex, over the salt and the words that are kept apart."""
StopId = str
"""``section-3``, ``check-1`` or ``practice-test``."""

PRACTICE = "practice-test"


class Step(StrEnum):
    """A step for which a learner asks leave."""

    MARK = later("to mark")
    REMARK = later("to re-mark")
    CHECK = later("to open the check")
    PRACTICE_TEST = later("to sit the practice test")
    UNIT_TEST = later("to sit the unit test")


class Presence(StrEnum):
    """How much of a school day a learner was there."""

    FULL = later("full day")
    HALF = later("half day")
    ABSENT = later("absent")


def _whole(name: str, value: int, least: int = 0) -> None:
    if value < least:
        raise ValueError(f"{name} is {value}; it is at least {least}")


def _numbers(name: str, numbers: tuple[int, ...], most: int | None = None) -> None:
    if not numbers:
        return
    if any(a >= b for a, b in pairwise(numbers)):
        raise ValueError(f"{name} are {numbers}; they rise and none stands twice")
    _whole(name, numbers[0], 1)
    if most is not None and numbers[-1] > most:
        raise ValueError(f"{name} name question {numbers[-1]}; there are {most}")


def _mark(right: int, asked: int, needed: int, wrong: tuple[int, ...]) -> None:
    if not 0 <= right <= asked or asked == 0:
        raise ValueError(f"a mark needs 0 <= right <= asked and asked > 0, got {right} of {asked}")
    _whole("needed", needed)
    _numbers("wrong", wrong, asked)
    if wrong and len(wrong) != asked - right:
        raise ValueError(f"{len(wrong)} wrong answers are named, but {right} of {asked} are right")


@dataclass(frozen=True, slots=True)
class CopyOrdered:
    """A copy of a workbook was ordered. `price` in minor units of the programme's currency."""

    KIND: ClassVar[str] = "copy ordered"
    copy: CopyId
    workbook: str
    learner: PersonId | None = None
    supplier: str | None = None
    price: int | None = None
    expected: date | None = None


@dataclass(frozen=True, slots=True)
class CopyReceived:
    """The copy came into the house."""

    KIND: ClassVar[str] = "copy received"
    copy: CopyId


@dataclass(frozen=True, slots=True)
class CopySpoiled:
    """The copy can no longer be worked."""

    KIND: ClassVar[str] = "copy spoiled"
    copy: CopyId
    reason: WordsId


@dataclass(frozen=True, slots=True)
class CopyIssued:
    """The copy was given to a learner."""

    KIND: ClassVar[str] = "copy issued"
    copy: CopyId
    learner: PersonId


@dataclass(frozen=True, slots=True)
class OpeningTalkHeld:
    """The learner read the aims and the word list aloud to the educator."""

    KIND: ClassVar[str] = "opening talk held"
    copy: CopyId


@dataclass(frozen=True, slots=True)
class WorkTakenOver:
    """The copy was worked up to page `last` before this record began; these stops were cleared then.

    It is no evidence of anything: neither of a pace nor of an answer.
    """

    KIND: ClassVar[str] = "work taken over"
    copy: CopyId
    last: int
    stops: tuple[StopId, ...] = ()

    def __post_init__(self) -> None:
        _whole("the last page", self.last, 1)


@dataclass(frozen=True, slots=True)
class GoalSet:
    """Pages, or a test, that the learner means to do on one day; no pages and no step takes the goal away."""

    KIND: ClassVar[str] = "goal set"
    copy: CopyId
    day: date
    first: int | None = None
    last: int | None = None
    step: Step | None = None

    def __post_init__(self) -> None:
        if (self.first is None) != (self.last is None):
            raise ValueError(f"a goal has both its pages or none, got {self.first} to {self.last}")
        if self.first is not None and self.last is not None and not 1 <= self.first <= self.last:
            raise ValueError(f"a goal runs forwards from page 1 on, got {self.first} to {self.last}")


@dataclass(frozen=True, slots=True)
class PagesWorked:
    """Pages `first` to `last` were worked on `day`, in `minutes` (None where nobody looked at the clock)."""

    KIND: ClassVar[str] = "pages worked"
    copy: CopyId
    day: date
    first: int
    last: int
    minutes: int | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.first <= self.last:
            raise ValueError(f"pages run forwards from page 1 on, got {self.first} to {self.last}")
        if self.minutes is not None and not 0 <= self.minutes <= 1440:
            raise ValueError(f"minutes are {self.minutes}; a day has 0 to 1440")


@dataclass(frozen=True, slots=True)
class HelpAsked:
    """The learner asked for help, perhaps at a page."""

    KIND: ClassVar[str] = "help asked"
    copy: CopyId
    page: int | None = None


@dataclass(frozen=True, slots=True)
class HelpGiven:
    """Somebody taught the learner something in this workbook."""

    KIND: ClassVar[str] = "help given"
    copy: CopyId
    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class LeaveAsked:
    """The learner asked leave for a step; `stop` says where."""

    KIND: ClassVar[str] = "leave asked"
    copy: CopyId
    step: Step
    stop: StopId | None = None


@dataclass(frozen=True, slots=True)
class LeaveGiven:
    """The educator gave leave to mark or to re-mark."""

    KIND: ClassVar[str] = "leave given"
    copy: CopyId
    step: Step
    stop: StopId | None = None


@dataclass(frozen=True, slots=True)
class LeaveRefused:
    """The educator sent the learner back, and said why."""

    KIND: ClassVar[str] = "leave refused"
    copy: CopyId
    step: Step
    reason: WordsId
    stop: StopId | None = None


@dataclass(frozen=True, slots=True)
class FirstMarking:
    """A stop was marked against the key for the first time: `asked` questions, these numbers wrong."""

    KIND: ClassVar[str] = "first marking"
    copy: CopyId
    stop: StopId
    asked: int
    wrong: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        _whole("asked", self.asked, 1)
        _numbers("wrong", self.wrong, self.asked)


@dataclass(frozen=True, slots=True)
class Corrected:
    """The wrong answers of a stop were erased, studied again and answered anew."""

    KIND: ClassVar[str] = "corrected"
    copy: CopyId
    stop: StopId


@dataclass(frozen=True, slots=True)
class ReMarked:
    """The corrected answers were marked again; these are still wrong."""

    KIND: ClassVar[str] = "re-marked"
    copy: CopyId
    stop: StopId
    wrong: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        _numbers("wrong", self.wrong)


@dataclass(frozen=True, slots=True)
class OralQuizHeld:
    """The educator asked a few questions aloud: (question number, answered rightly) in the order asked."""

    KIND: ClassVar[str] = "oral quiz held"
    copy: CopyId
    answers: tuple[tuple[int, bool], ...]
    stop: StopId | None = None

    def __post_init__(self) -> None:
        if not self.answers:
            raise ValueError("an oral quiz has at least one answer, got none")


@dataclass(frozen=True, slots=True)
class SpotCheckHeld:
    """The educator marked some ticked answers of a stop again: (question number, still right) in the order drawn."""

    KIND: ClassVar[str] = "spot check held"
    copy: CopyId
    stop: StopId
    answers: tuple[tuple[int, bool], ...]

    def __post_init__(self) -> None:
        if not self.answers:
            raise ValueError("a spot check looks at one answer or more, got none")
        _numbers("questions looked at", tuple(sorted(number for number, _ in self.answers)))


@dataclass(frozen=True, slots=True)
class CheckOpened:
    """The educator opened a progress check."""

    KIND: ClassVar[str] = "check opened"
    copy: CopyId
    stop: StopId


@dataclass(frozen=True, slots=True)
class PracticeTestOpened:
    """The educator opened the practice test; the rest of the workbook is closed until it is marked."""

    KIND: ClassVar[str] = "practice test opened"
    copy: CopyId
    attempt: int


@dataclass(frozen=True, slots=True)
class PracticeTestScored:
    """The practice test was marked, before corrections. `needed` right answers were demanded on that day."""

    KIND: ClassVar[str] = "practice test scored"
    copy: CopyId
    attempt: int
    right: int
    asked: int
    needed: int
    wrong: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        _mark(self.right, self.asked, self.needed, self.wrong)


@dataclass(frozen=True, slots=True)
class ReadinessDecided:
    """The educator decided whether the learner is ready for the unit test."""

    KIND: ClassVar[str] = "readiness decided"
    copy: CopyId
    ready: bool


@dataclass(frozen=True, slots=True)
class UnitTestSat:
    """The learner sat down to the unit test, with these aids, watched by this person."""

    KIND: ClassVar[str] = "unit test sat"
    copy: CopyId
    attempt: int
    day: date
    aids: tuple[str, ...]
    watcher: PersonId


@dataclass(frozen=True, slots=True)
class UnitTestScored:
    """The educator marked the unit test. `needed` right answers were demanded on that day.

    `minutes` is how long the sitting took, from its beginning (None where nobody looked at the clock).
    """

    KIND: ClassVar[str] = "unit test scored"
    copy: CopyId
    right: int
    asked: int
    needed: int
    wrong: tuple[int, ...] = ()
    minutes: int | None = None

    def __post_init__(self) -> None:
        _mark(self.right, self.asked, self.needed, self.wrong)
        if self.minutes is not None and not 0 <= self.minutes <= 1440:
            raise ValueError(f"minutes are {self.minutes}; a sitting has 0 to 1440")


@dataclass(frozen=True, slots=True)
class WorkbookReordered:
    """After a failed unit test a new copy was ordered for the same learner."""

    KIND: ClassVar[str] = "workbook re-ordered"
    copy: CopyId
    new_copy: CopyId


@dataclass(frozen=True, slots=True)
class PaperSent:
    """The test paper of this copy went to the school with a dispatch."""

    KIND: ClassVar[str] = "test paper sent"
    copy: CopyId
    dispatch: str


@dataclass(frozen=True, slots=True)
class DispatchSent:
    """A month's test papers went to the school."""

    KIND: ClassVar[str] = "dispatch sent"
    dispatch: str
    day: date
    papers: int
    tracking: WordsId | None = None


@dataclass(frozen=True, slots=True)
class AttendanceTaken:
    """How long a learner was at school on a day; a later one for the same day stands instead."""

    KIND: ClassVar[str] = "attendance taken"
    learner: PersonId
    day: date
    presence: Presence
    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class GateOverridden:
    """An educator passed these bars of one act on this copy, for the next such act only, and said why."""

    KIND: ClassVar[str] = "gate overridden"
    copy: CopyId
    act: str
    bars: tuple[str, ...]
    reason: WordsId

    def __post_init__(self) -> None:
        if not self.bars:
            raise ValueError("an override names the bars it passes, got none")


@dataclass(frozen=True, slots=True)
class FactReversed:
    """An earlier fact of the same copy (or of none) no longer counts; both stay on the record."""

    KIND: ClassVar[str] = "fact reversed"
    entry: int
    copy: CopyId | None = None


AnyFact = (
    CopyOrdered
    | CopyReceived
    | CopySpoiled
    | CopyIssued
    | OpeningTalkHeld
    | WorkTakenOver
    | GoalSet
    | PagesWorked
    | HelpAsked
    | HelpGiven
    | LeaveAsked
    | LeaveGiven
    | LeaveRefused
    | FirstMarking
    | Corrected
    | ReMarked
    | OralQuizHeld
    | SpotCheckHeld
    | CheckOpened
    | PracticeTestOpened
    | PracticeTestScored
    | ReadinessDecided
    | UnitTestSat
    | UnitTestScored
    | WorkbookReordered
    | PaperSent
    | DispatchSent
    | AttendanceTaken
    | GateOverridden
    | FactReversed
)

KINDS: dict[str, type[AnyFact]] = {fact.KIND: fact for fact in get_args(AnyFact)}
"""Every kind of fact by the word it has on the record."""
