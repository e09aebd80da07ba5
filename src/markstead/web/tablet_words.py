"""What a tablet says to a learner: short words, the same meaning as the rules have."""

from collections.abc import Iterable

from markstead.errors import InputError
from markstead.ledger.facts import (
    AnyFact,
    Corrected,
    FactReversed,
    FirstMarking,
    HelpAsked,
    LeaveAsked,
    PagesWorked,
    PracticeTestScored,
    ReMarked,
    Step,
)
from markstead.records.home import Home
from markstead.rules.bars import Bar, BarKind
from markstead.rules.ruling import Role, page_words, ranges, stop_words
from markstead.speech import and_words, begun, counted, later, or_words, say

_BARS: dict[BarKind, tuple[str, str]] = {
    BarKind.ONLY_EDUCATOR: (later("Only {teacher} can do this."), later("Ask {teacher}.")),
    BarKind.NOT_THIS_LEARNER: (later("This workbook is not yours."), later("Go back to your own page.")),
    BarKind.NOT_ISSUED: (later("You do not have this workbook in hand."), later("Ask {teacher} for it.")),
    BarKind.ALREADY: (later("That is done already."), later("Go on with the next step.")),
    BarKind.OTHER_STOP_FIRST: (later("{first} comes first."), later("Finish {first}.")),
    BarKind.NO_LEAVE: (later("{teacher} has not given you leave yet."), later("Ask for leave first.")),
    BarKind.NOT_MARKED: (later("There is nothing to correct here."), later("Mark it first.")),
    BarKind.NOT_CORRECTED: (
        later("The wrong answers are not corrected yet."),
        later("Correct them, then ask again."),
    ),
    BarKind.NOT_STILL_WRONG: (later("Question {questions} was not wrong."), later("Look only at {wrong}.")),
    BarKind.PRACTICE_NOT_OPEN: (later("The practice test is not open."), later("{teacher} opens it.")),
    BarKind.CHECK_NOT_OPEN: (later("{check} is not open."), later("{teacher} opens it.")),
    BarKind.TEST_UNDER_WAY: (
        later("You have sat the unit test of this workbook."),
        later("{teacher} marks it."),
    ),
    BarKind.EARLIER_THAN_LAST: (
        later("Something else was written down just now."),
        later("Try it once more."),
    ),
    BarKind.IN_THE_FUTURE: (later("That time has not come yet."), later("Write down only what is done.")),
    BarKind.LATER_FACTS: (later("Something has happened since."), later("Ask {teacher} to take it back.")),
    BarKind.ALREADY_REVERSED: (later("That is taken back already."), later("Write it down anew.")),
    BarKind.NO_OPENING_TALK: (
        later("You have not begun this workbook yet."),
        later("{teacher} begins it with you."),
    ),
    BarKind.STOP_NOT_CLEARED: (later("{stop} is not finished yet."), later("Finish {stop} first.")),
    BarKind.PAGES_LEFT: (later("Pages {pages} are not done yet."), later("Do pages {pages} first.")),
    BarKind.BOOK_CLOSED: (
        later("The practice test is open, so the rest of the workbook is closed."),
        later("Finish the practice test first."),
    ),
    BarKind.QUIZ_FIRST: (
        later("{teacher} goes through it with you first."),
        later("Tell {teacher} that you are here."),
    ),
    BarKind.REVIEW_FIRST: (
        later("The practice test has to be gone over first."),
        later("Correct it, or ask for help."),
    ),
    BarKind.PRACTICE_NOT_PASSED: (
        later("The practice test comes before it."),
        later("Go over it with {teacher}, then do it again."),
    ),
}
"""Every bar that a learner's act can meet. Any other is for the educator to lift."""
_ANY_OTHER = (later("That cannot be done now."), later("Ask {teacher}."))


def teacher_words(home: Home) -> str:
    """Who teaches here, by name: Ruth; Ruth or Ines."""
    names = [p.name for p in home.people.values() if p.role is Role.EDUCATOR]
    return or_words(names) if names else say("your teacher")


def bar_words(bar: Bar, teacher: str) -> tuple[str, str]:
    """What shuts a gate and what opens it, in a learner's words."""
    says, lifts = _BARS.get(bar.kind, _ANY_OTHER)
    values = {"teacher": teacher, **dict(bar.values)}
    return begun(say(says, **values)), begun(say(lifts, **values))


def problem_words(error: InputError) -> tuple[str, ...]:
    """What cannot be taken, a line for each."""
    return tuple(
        say(
            "{where}: {found}. It should be {allowed}.",
            where=begun(p.where),
            found=p.found,
            allowed=p.allowed,
        )
        for p in error.problems
    )


def numbers_words(numbers: Iterable[int]) -> str:
    """Numbers as people say them: 4 and 7; 3-5 and 8."""
    return and_words(ranges(tuple(numbers)).split(", "))


def questions_words(numbers: tuple[int, ...]) -> str:
    return counted(
        len(numbers), "question {questions}", "questions {questions}", questions=numbers_words(numbers)
    )


def done_words(fact: AnyFact, teacher: str) -> str:
    """What was written down, said back to the one who did it."""
    match fact:
        case PagesWorked():
            pages = page_words(fact.first, fact.last)
            if not fact.minutes:
                return say("Written down: {pages}.", pages=pages)
            return say("Written down: {pages}, {minutes} minutes.", pages=pages, minutes=fact.minutes)
        case HelpAsked():
            return say("{teacher} can see now that you need help.", teacher=teacher)
        case LeaveAsked():
            return say("{teacher} can see now that you are waiting.", teacher=teacher)
        case FirstMarking() | ReMarked():
            where = begun(stop_words(fact.stop))
            if not fact.wrong:
                return say("{stop} is finished.", stop=where)
            return say("Written down: {questions} to correct.", questions=questions_words(fact.wrong))
        case Corrected():
            return say("Written down: corrected.")
        case PracticeTestScored():
            return say("Written down: {right} of {asked} right.", right=fact.right, asked=fact.asked)
        case FactReversed():
            return say("Taken back.")
        case _:
            return say("Written down.")


def step_words(step: Step, stop: str | None) -> str:
    """What a learner asked leave for."""
    return {
        Step.MARK: say("to mark {stop}", stop=stop_words(stop)),
        Step.REMARK: say("to re-mark {stop}", stop=stop_words(stop)),
        Step.CHECK: say("to open {stop}", stop=stop_words(stop)),
        Step.PRACTICE_TEST: say("for the practice test"),
        Step.UNIT_TEST: say("for the unit test"),
    }[step]
