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
from markstead.speech import and_words

_BARS: dict[BarKind, tuple[str, str]] = {
    BarKind.ONLY_EDUCATOR: ("Only {teacher} can do this.", "Ask {teacher}."),
    BarKind.NOT_THIS_LEARNER: ("This workbook is not yours.", "Go back to your own page."),
    BarKind.NOT_ISSUED: ("You do not have this workbook in hand.", "Ask {teacher} for it."),
    BarKind.ALREADY: ("That is done already.", "Go on with the next step."),
    BarKind.OTHER_STOP_FIRST: ("{first} comes first.", "Finish {first}."),
    BarKind.NO_LEAVE: ("{teacher} has not given you leave yet.", "Ask for leave first."),
    BarKind.NOT_MARKED: ("There is nothing to correct here.", "Mark it first."),
    BarKind.NOT_CORRECTED: ("The wrong answers are not corrected yet.", "Correct them, then ask again."),
    BarKind.NOT_STILL_WRONG: ("Question {questions} was not wrong.", "Look only at {wrong}."),
    BarKind.PRACTICE_NOT_OPEN: ("The practice test is not open.", "{teacher} opens it."),
    BarKind.CHECK_NOT_OPEN: ("{check} is not open.", "{teacher} opens it."),
    BarKind.TEST_UNDER_WAY: ("You have sat the unit test of this workbook.", "{teacher} marks it."),
    BarKind.EARLIER_THAN_LAST: ("Something else was written down just now.", "Try it once more."),
    BarKind.IN_THE_FUTURE: ("That time has not come yet.", "Write down only what is done."),
    BarKind.LATER_FACTS: ("Something has happened since.", "Ask {teacher} to take it back."),
    BarKind.ALREADY_REVERSED: ("That is taken back already.", "Write it down anew."),
    BarKind.NO_OPENING_TALK: ("You have not begun this workbook yet.", "{teacher} begins it with you."),
    BarKind.STOP_NOT_CLEARED: ("{stop} is not finished yet.", "Finish {stop} first."),
    BarKind.PAGES_LEFT: ("Pages {pages} are not done yet.", "Do pages {pages} first."),
    BarKind.BOOK_CLOSED: (
        "The practice test is open, so the rest of the workbook is closed.",
        "Finish the practice test first.",
    ),
    BarKind.QUIZ_FIRST: ("{teacher} goes through it with you first.", "Tell {teacher} that you are here."),
    BarKind.REVIEW_FIRST: ("The practice test has to be gone over first.", "Correct it, or ask for help."),
    BarKind.PRACTICE_NOT_PASSED: (
        "The practice test comes before it.",
        "Go over it with {teacher}, then do it again.",
    ),
}
"""Every bar that a learner's act can meet. Any other is for the educator to lift."""
_ANY_OTHER = ("That cannot be done now.", "Ask {teacher}.")


def teacher_words(home: Home) -> str:
    """Who teaches here, by name: Ruth; Ruth or Ines."""
    names = [p.name for p in home.people.values() if p.role is Role.EDUCATOR]
    return and_words(names).replace(" and ", " or ") if names else "your teacher"


def bar_words(bar: Bar, teacher: str) -> tuple[str, str]:
    """What shuts a gate and what opens it, in a learner's words."""
    says, lifts = _BARS.get(bar.kind, _ANY_OTHER)
    values = {"teacher": teacher, **dict(bar.values)}
    return _sentence(says.format(**values)), _sentence(lifts.format(**values))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def problem_words(error: InputError) -> tuple[str, ...]:
    """What cannot be taken, a line for each."""
    return tuple(f"{_sentence(p.where)}: {p.found}. It should be {p.allowed}." for p in error.problems)


def numbers_words(numbers: Iterable[int]) -> str:
    """Numbers as people say them: 4 and 7; 3-5 and 8."""
    return and_words(ranges(tuple(numbers)).split(", "))


def questions_words(numbers: tuple[int, ...]) -> str:
    return f"question {numbers[0]}" if len(numbers) == 1 else f"questions {numbers_words(numbers)}"


def done_words(fact: AnyFact, teacher: str) -> str:
    """What was written down, said back to the one who did it."""
    match fact:
        case PagesWorked():
            minutes = f", {fact.minutes} minutes" if fact.minutes else ""
            pages = page_words(fact.first, fact.last)
            return f"Written down: {pages}{minutes}."
        case HelpAsked():
            return f"{teacher} can see now that you need help."
        case LeaveAsked():
            return f"{teacher} can see now that you are waiting."
        case FirstMarking() | ReMarked():
            where = _sentence(stop_words(fact.stop))
            if not fact.wrong:
                return f"{where} is finished."
            return f"Written down: {questions_words(fact.wrong)} to correct."
        case Corrected():
            return "Written down: corrected."
        case PracticeTestScored():
            return f"Written down: {fact.right} of {fact.asked} right."
        case FactReversed():
            return "Taken back."
        case _:
            return "Written down."


def step_words(step: Step, stop: str | None) -> str:
    """What a learner asked leave for."""
    return {
        Step.MARK: f"to mark {stop_words(stop)}",
        Step.REMARK: f"to re-mark {stop_words(stop)}",
        Step.CHECK: f"to open {stop_words(stop)}",
        Step.PRACTICE_TEST: "for the practice test",
        Step.UNIT_TEST: "for the unit test",
    }[step]
