"""Bars: what shuts a gate, and what lifts each."""

from dataclasses import dataclass
from enum import Enum, StrEnum


class Weight(Enum):
    """Who may pass a bar."""

    WHO = "who may act: nobody passes it"
    ORDER = "there is nothing to do it to: nobody passes it"
    RULE = "a rule of the programme: an educator passes it with a reason"


class BarKind(StrEnum):
    """Every bar by its word on the record."""

    ONLY_EDUCATOR = "only an educator"
    NOT_THIS_LEARNER = "another learner's copy"
    MAY_NOT_LOG = "may not write"
    HAS_LEFT = "has left"
    NO_WATCHER = "nobody watches"

    NOT_ON_ORDER = "not on order"
    NOT_IN_THE_HOUSE = "not in the house"
    NOT_ISSUED = "not issued"
    ALREADY = "already done"
    OTHER_STOP_FIRST = "another stop first"
    NOT_ASKED = "leave was not asked"
    NO_LEAVE = "no leave"
    NOT_MARKED = "not marked yet"
    NOT_CORRECTED = "not corrected yet"
    NOT_STILL_WRONG = "was not wrong"
    NOTHING_TICKED = "nothing ticked there"
    NOT_TICKED = "was not ticked"
    PRACTICE_NOT_OPEN = "practice test not open"
    NOT_SAT = "unit test not sat"
    NOT_FAILED = "nothing to re-order"
    NO_PAPER = "no test paper"
    CHECK_NOT_OPEN = "check not open"
    COURSE_NOT_TAKEN = "course not taken"
    TEST_UNDER_WAY = "test under way"
    EARLIER_THAN_LAST = "before the latest fact"
    IN_THE_FUTURE = "in the future"
    LATER_FACTS = "later facts rest on it"
    ALREADY_REVERSED = "already reversed"

    ALREADY_PASSED = "already passed"
    EARLIER_WORKBOOK = "earlier workbook not passed"
    OTHER_COPY_IN_HAND = "another copy in hand"
    NO_OPENING_TALK = "no opening talk"
    STOP_NOT_CLEARED = "marking stop not cleared"
    PAGES_LEFT = "pages left"
    BOOK_CLOSED = "workbook closed"
    QUIZ_FIRST = "quiz first"
    REVIEW_FIRST = "review first"
    PRACTICE_NOT_PASSED = "practice test below the pass mark"
    NOT_READY = "readiness not decided"
    TOO_SOON = "too soon"
    NO_SCHOOL = "no school"
    NOT_MORNING = "not in the morning"
    EDUCATOR_AWAY = "educator away"
    AID_NOT_ALLOWED = "aid not allowed"
    LEARNER_SAT_TODAY = "learner has sat today"
    MORNING_FULL = "morning is full"


_WHO = {
    BarKind.ONLY_EDUCATOR,
    BarKind.NOT_THIS_LEARNER,
    BarKind.MAY_NOT_LOG,
    BarKind.HAS_LEFT,
    BarKind.NO_WATCHER,
}
_RULES = {
    BarKind.ALREADY_PASSED,
    BarKind.EARLIER_WORKBOOK,
    BarKind.OTHER_COPY_IN_HAND,
    BarKind.NO_OPENING_TALK,
    BarKind.STOP_NOT_CLEARED,
    BarKind.PAGES_LEFT,
    BarKind.BOOK_CLOSED,
    BarKind.QUIZ_FIRST,
    BarKind.REVIEW_FIRST,
    BarKind.PRACTICE_NOT_PASSED,
    BarKind.NOT_READY,
    BarKind.TOO_SOON,
    BarKind.NO_SCHOOL,
    BarKind.NOT_MORNING,
    BarKind.EDUCATOR_AWAY,
    BarKind.AID_NOT_ALLOWED,
    BarKind.LEARNER_SAT_TODAY,
    BarKind.MORNING_FULL,
}

SENTENCES: dict[BarKind, tuple[str, str]] = {
    BarKind.ONLY_EDUCATOR: ("Only an educator may do this.", "An educator of this home does it."),
    BarKind.NOT_THIS_LEARNER: ("This copy is in another learner's hands.", "Its own learner does it."),
    BarKind.MAY_NOT_LOG: (
        "A {role} may look at this home but not write.",
        "Somebody of this home does it.",
    ),
    BarKind.HAS_LEFT: ("Whoever has left this home notes nothing in it.", "Somebody of this home does it."),
    BarKind.NO_WATCHER: (
        "Nobody who may watch is named.",
        "Name the educator or helper who watches the sitting.",
    ),
    BarKind.NOT_ON_ORDER: ("This copy is {status}, not on order.", "Order a copy first."),
    BarKind.NOT_IN_THE_HOUSE: ("This copy is {status}.", "It is issued once it is in the house."),
    BarKind.NOT_ISSUED: ("This copy is {status}, not issued.", "Issue it to a learner first."),
    BarKind.ALREADY: ("That is done already.", "Go on with the next step, or undo it first."),
    BarKind.OTHER_STOP_FIRST: ("{first} comes first.", "Clear {first}."),
    BarKind.NOT_ASKED: ("Nobody is waiting for this leave.", "The learner asks leave first."),
    BarKind.NO_LEAVE: ("Leave {step} has not been given.", "An educator gives leave {step}."),
    BarKind.NOT_MARKED: (
        "There is nothing to correct here.",
        "Mark it first; only wrong answers are corrected.",
    ),
    BarKind.NOT_CORRECTED: ("The wrong answers are not corrected yet.", "Correct them, then ask again."),
    BarKind.NOT_STILL_WRONG: (
        "Question {questions} was not among the wrong ones.",
        "Re-marking is for the questions {wrong} only.",
    ),
    BarKind.NOTHING_TICKED: (
        "{stop} has not been marked yet.",
        "A spot check looks at answers that were marked right; mark it first.",
    ),
    BarKind.NOT_TICKED: (
        "Question {questions} was not marked right there.",
        "A spot check looks only at answers that were marked right.",
    ),
    BarKind.PRACTICE_NOT_OPEN: ("The practice test is not open.", "An educator opens it."),
    BarKind.NOT_SAT: ("The unit test has not been sat.", "It is sat first, watched."),
    BarKind.NOT_FAILED: (
        "There is no failed unit test here that still needs a new copy.",
        "Order any other copy in the plain way.",
    ),
    BarKind.NO_PAPER: (
        "There is no marked unit test of this copy to send.",
        "Send it once it is marked; each paper is sent once.",
    ),
    BarKind.CHECK_NOT_OPEN: ("{check} is not open.", "An educator opens {check}."),
    BarKind.COURSE_NOT_TAKEN: (
        "The learner does not take the course {course}.",
        "Add the course to the learner.",
    ),
    BarKind.TEST_UNDER_WAY: (
        "The unit test of this copy has been sat; nothing else may be done in it.",
        "The educator marks the unit test.",
    ),
    BarKind.EARLIER_THAN_LAST: (
        "The latest fact of this copy is of {last}; this would come before it.",
        "Give a later time, or undo the later facts first.",
    ),
    BarKind.IN_THE_FUTURE: ("That time has not come yet.", "Give a time and a day up to now."),
    BarKind.LATER_FACTS: ("Later facts of this copy rest on this one.", "Undo the later ones first."),
    BarKind.ALREADY_REVERSED: (
        "That fact is undone already, or cannot be undone.",
        "Record it anew instead.",
    ),
    BarKind.ALREADY_PASSED: ("The learner has passed this workbook already.", "Issue the next workbook."),
    BarKind.EARLIER_WORKBOOK: ("{workbooks} must be passed before.", "Pass {workbooks}."),
    BarKind.OTHER_COPY_IN_HAND: (
        "The learner has another workbook of this course in hand.",
        "Finish that one first.",
    ),
    BarKind.NO_OPENING_TALK: ("The opening talk has not been held.", "The learner reads the aims aloud."),
    BarKind.STOP_NOT_CLEARED: ("{stop} is not cleared.", "Mark, correct and re-mark {stop}."),
    BarKind.PAGES_LEFT: ("Pages {pages} are not worked yet.", "Work pages {pages}."),
    BarKind.BOOK_CLOSED: (
        "The workbook is closed while the practice test is open.",
        "Record the score of the practice test.",
    ),
    BarKind.QUIZ_FIRST: (
        "{wrong} of {asked} were wrong; from {percent} % wrong on, an oral quiz or teaching comes first.",
        "Hold an oral quiz on it, or teach it and record the help.",
    ),
    BarKind.REVIEW_FIRST: (
        "The practice test was below the pass mark and nothing has been reviewed since.",
        "Review first: corrections, an oral quiz or help.",
    ),
    BarKind.PRACTICE_NOT_PASSED: (
        "No practice test of this copy has reached the pass mark of {percent} %.",
        "Reach {percent} % in a practice test.",
    ),
    BarKind.NOT_READY: (
        "No educator has decided that the learner is ready.",
        "Decide on readiness.",
    ),
    BarKind.TOO_SOON: (
        "The latest practice test was on {practice}; the unit test comes on a later school day.",
        "Wait until {until}.",
    ),
    BarKind.NO_SCHOOL: ("{day} is {why}.", "Wait until {until}."),
    BarKind.NOT_MORNING: (
        "It is {time}; unit tests begin between {start} and {end}.",
        "Wait until {until}, {start}.",
    ),
    BarKind.EDUCATOR_AWAY: ("The educator is away on {day}.", "Wait until {until}."),
    BarKind.AID_NOT_ALLOWED: (
        "{aids} may not be used in year {year}.",
        "Leave to the learner: {allowed}.",
    ),
    BarKind.LEARNER_SAT_TODAY: (
        "The learner has sat {sat} unit test(s) today; the programme allows {most} a day.",
        "Wait until {until}.",
    ),
    BarKind.MORNING_FULL: (
        "{sat} unit test(s) were begun this morning; the programme allows {most}.",
        "Wait until {until}.",
    ),
}


@dataclass(frozen=True, slots=True)
class Bar:
    """One thing that shuts a gate."""

    kind: BarKind
    values: tuple[tuple[str, str], ...] = ()

    @property
    def weight(self) -> Weight:
        if self.kind in _WHO:
            return Weight.WHO
        return Weight.RULE if self.kind in _RULES else Weight.ORDER

    @property
    def says(self) -> str:
        """What is the matter, in a sentence."""
        return SENTENCES[self.kind][0].format(**dict(self.values))

    @property
    def lifts(self) -> str:
        """What lifts it, in a sentence."""
        return SENTENCES[self.kind][1].format(**dict(self.values))


def bar(kind: BarKind, **values: object) -> Bar:
    """Make a bar; values fill its sentences."""
    return Bar(kind, tuple((name, str(value)) for name, value in values.items()))
