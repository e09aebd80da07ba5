"""Bars: what shuts a gate, and what lifts each."""

from dataclasses import dataclass
from enum import Enum, StrEnum

from markstead.speech import later, say


class Weight(Enum):
    """Who may pass a bar."""

    WHO = "who may act: nobody passes it"
    ORDER = "there is nothing to do it to: nobody passes it"
    RULE = "a rule of the programme: an educator passes it with a reason"


class BarKind(StrEnum):
    """Every bar by its word on the record."""

    ONLY_EDUCATOR = later("only an educator")
    NOT_THIS_LEARNER = later("another learner's copy")
    MAY_NOT_LOG = later("may not write")
    HAS_LEFT = later("has left")
    NO_WATCHER = later("nobody watches")

    NOT_ON_ORDER = later("not on order")
    NOT_IN_THE_HOUSE = later("not in the house")
    NOT_ISSUED = later("not issued")
    ALREADY = later("already done")
    OTHER_STOP_FIRST = later("another stop first")
    NOT_ASKED = later("leave was not asked")
    NO_LEAVE = later("no leave")
    NOT_MARKED = later("not marked yet")
    NOT_CORRECTED = later("not corrected yet")
    NOT_STILL_WRONG = later("was not wrong")
    NOTHING_TICKED = later("nothing ticked there")
    NOT_TICKED = later("was not ticked")
    PRACTICE_NOT_OPEN = later("practice test not open")
    NOT_SAT = later("unit test not sat")
    NOT_FAILED = later("nothing to re-order")
    NO_PAPER = later("no test paper")
    CHECK_NOT_OPEN = later("check not open")
    COURSE_NOT_TAKEN = later("course not taken")
    TEST_UNDER_WAY = later("test under way")
    EARLIER_THAN_LAST = later("before the latest fact")
    IN_THE_FUTURE = later("in the future")
    LATER_FACTS = later("later facts rest on it")
    ALREADY_REVERSED = later("already reversed")

    ALREADY_PASSED = later("already passed")
    EARLIER_WORKBOOK = later("earlier workbook not passed")
    OTHER_COPY_IN_HAND = later("another copy in hand")
    NO_OPENING_TALK = later("no opening talk")
    STOP_NOT_CLEARED = later("marking stop not cleared")
    PAGES_LEFT = later("pages left")
    BOOK_CLOSED = later("workbook closed")
    QUIZ_FIRST = later("quiz first")
    REVIEW_FIRST = later("review first")
    PRACTICE_NOT_PASSED = later("practice test below the pass mark")
    NOT_READY = later("readiness not decided")
    TOO_SOON = later("too soon")
    NO_SCHOOL = later("no school")
    NOT_MORNING = later("not in the morning")
    EDUCATOR_AWAY = later("educator away")
    AID_NOT_ALLOWED = later("aid not allowed")
    LEARNER_SAT_TODAY = later("learner has sat today")
    MORNING_FULL = later("morning is full")


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
    BarKind.ONLY_EDUCATOR: (
        later("Only an educator may do this."),
        later("An educator of this home does it."),
    ),
    BarKind.NOT_THIS_LEARNER: (
        later("This copy is in another learner's hands."),
        later("Its own learner does it."),
    ),
    BarKind.MAY_NOT_LOG: (
        later("A {role} may look at this home but not write."),
        later("Somebody of this home does it."),
    ),
    BarKind.HAS_LEFT: (
        later("Whoever has left this home notes nothing in it."),
        later("Somebody of this home does it."),
    ),
    BarKind.NO_WATCHER: (
        later("Nobody who may watch is named."),
        later("Name the educator or helper who watches the sitting."),
    ),
    BarKind.NOT_ON_ORDER: (later("This copy is {status}, not on order."), later("Order a copy first.")),
    BarKind.NOT_IN_THE_HOUSE: (
        later("This copy is {status}."),
        later("It is issued once it is in the house."),
    ),
    BarKind.NOT_ISSUED: (later("This copy is {status}, not issued."), later("Issue it to a learner first.")),
    BarKind.ALREADY: (later("That is done already."), later("Go on with the next step, or undo it first.")),
    BarKind.OTHER_STOP_FIRST: (later("{first} comes first."), later("Clear {first}.")),
    BarKind.NOT_ASKED: (later("Nobody is waiting for this leave."), later("The learner asks leave first.")),
    BarKind.NO_LEAVE: (later("Leave {step} has not been given."), later("An educator gives leave {step}.")),
    BarKind.NOT_MARKED: (
        later("There is nothing to correct here."),
        later("Mark it first; only wrong answers are corrected."),
    ),
    BarKind.NOT_CORRECTED: (
        later("The wrong answers are not corrected yet."),
        later("Correct them, then ask again."),
    ),
    BarKind.NOT_STILL_WRONG: (
        later("Question {questions} was not among the wrong ones."),
        later("Re-marking is for the questions {wrong} only."),
    ),
    BarKind.NOTHING_TICKED: (
        later("{stop} has not been marked yet."),
        later("A spot check looks at answers that were marked right; mark it first."),
    ),
    BarKind.NOT_TICKED: (
        later("Question {questions} was not marked right there."),
        later("A spot check looks only at answers that were marked right."),
    ),
    BarKind.PRACTICE_NOT_OPEN: (later("The practice test is not open."), later("An educator opens it.")),
    BarKind.NOT_SAT: (later("The unit test has not been sat."), later("It is sat first, watched.")),
    BarKind.NOT_FAILED: (
        later("There is no failed unit test here that still needs a new copy."),
        later("Order any other copy in the plain way."),
    ),
    BarKind.NO_PAPER: (
        later("There is no marked unit test of this copy to send."),
        later("Send it once it is marked; each paper is sent once."),
    ),
    BarKind.CHECK_NOT_OPEN: (later("{check} is not open."), later("An educator opens {check}.")),
    BarKind.COURSE_NOT_TAKEN: (
        later("The learner does not take the course {course}."),
        later("Add the course to the learner."),
    ),
    BarKind.TEST_UNDER_WAY: (
        later("The unit test of this copy has been sat; nothing else may be done in it."),
        later("The educator marks the unit test."),
    ),
    BarKind.EARLIER_THAN_LAST: (
        later("The latest fact of this copy is of {last}; this would come before it."),
        later("Give a later time, or undo the later facts first."),
    ),
    BarKind.IN_THE_FUTURE: (later("That time has not come yet."), later("Give a time and a day up to now.")),
    BarKind.LATER_FACTS: (
        later("Later facts of this copy rest on this one."),
        later("Undo the later ones first."),
    ),
    BarKind.ALREADY_REVERSED: (
        later("That fact is undone already, or cannot be undone."),
        later("Record it anew instead."),
    ),
    BarKind.ALREADY_PASSED: (
        later("The learner has passed this workbook already."),
        later("Issue the next workbook."),
    ),
    BarKind.EARLIER_WORKBOOK: (later("{workbooks} must be passed before."), later("Pass {workbooks}.")),
    BarKind.OTHER_COPY_IN_HAND: (
        later("The learner has another workbook of this course in hand."),
        later("Finish that one first."),
    ),
    BarKind.NO_OPENING_TALK: (
        later("The opening talk has not been held."),
        later("The learner reads the aims aloud."),
    ),
    BarKind.STOP_NOT_CLEARED: (later("{stop} is not cleared."), later("Mark, correct and re-mark {stop}.")),
    BarKind.PAGES_LEFT: (later("Pages {pages} are not worked yet."), later("Work pages {pages}.")),
    BarKind.BOOK_CLOSED: (
        later("The workbook is closed while the practice test is open."),
        later("Record the score of the practice test."),
    ),
    BarKind.QUIZ_FIRST: (
        later(
            "{wrong} of {asked} were wrong; from {percent} % wrong on, an oral quiz or teaching comes first."
        ),
        later("Hold an oral quiz on it, or teach it and record the help."),
    ),
    BarKind.REVIEW_FIRST: (
        later("The practice test was below the pass mark and nothing has been reviewed since."),
        later("Review first: corrections, an oral quiz or help."),
    ),
    BarKind.PRACTICE_NOT_PASSED: (
        later("No practice test of this copy has reached the pass mark of {percent} %."),
        later("Reach {percent} % in a practice test."),
    ),
    BarKind.NOT_READY: (
        later("No educator has decided that the learner is ready."),
        later("Decide on readiness."),
    ),
    BarKind.TOO_SOON: (
        later("The latest practice test was on {practice}; the unit test comes on a later school day."),
        later("Wait until {until}."),
    ),
    BarKind.NO_SCHOOL: (later("{day} is {why}."), later("Wait until {until}.")),
    BarKind.NOT_MORNING: (
        later("It is {time}; unit tests begin between {start} and {end}."),
        later("Wait until {until}, {start}."),
    ),
    BarKind.EDUCATOR_AWAY: (later("The educator is away on {day}."), later("Wait until {until}.")),
    BarKind.AID_NOT_ALLOWED: (
        later("{aids} may not be used in year {year}."),
        later("Leave to the learner: {allowed}."),
    ),
    BarKind.LEARNER_SAT_TODAY: (
        later("Unit tests that the learner has sat today: {sat}; the programme allows {most} a day."),
        later("Wait until {until}."),
    ),
    BarKind.MORNING_FULL: (
        later("Unit tests begun this morning: {sat}; the programme allows {most}."),
        later("Wait until {until}."),
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
        return self._said(SENTENCES[self.kind][0])

    @property
    def lifts(self) -> str:
        """What lifts it, in a sentence."""
        return self._said(SENTENCES[self.kind][1])

    def _said(self, text: str) -> str:
        # Without values say would leave a gap in braces, where a forgotten value is to be noticed.
        return say(text, **dict(self.values)) if self.values else say(text).format()


def bar(kind: BarKind, **values: object) -> Bar:
    """Make a bar; values, said as people say them, fill its sentences."""
    return Bar(kind, tuple((name, str(value)) for name, value in values.items()))
