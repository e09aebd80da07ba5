"""The oral quiz as a page for one hand: the question to ask, two large buttons, and when it may end."""

from dataclasses import dataclass

from markstead.measure.oral import Verdict
from markstead.records.estimates import QuizDesk
from markstead.rules.ruling import stop_words
from markstead.speech import later, say
from markstead.web.pages import new_token


@dataclass(frozen=True, slots=True)
class AnswerLine:
    """One answer that was given."""

    where: str
    right: bool


@dataclass(frozen=True, slots=True)
class CardRow:
    """One line of the card: after so many questions, so many right end it, or so many wrong."""

    asked: int
    right: str
    wrong: str
    here: bool


@dataclass(frozen=True, slots=True)
class QuizPage:
    """Everything that the template of the quiz page may use."""

    id: str
    copy: str
    learner: str
    workbook: str
    scope: str
    count: str
    """How many were asked up to now."""
    stop: str
    question: int
    where: str
    """The question to ask, as it is found in the workbook; empty where none is left."""
    about: str
    hint: str
    verdict: str
    """'learnt', 'not yet' or 'go on'."""
    sentence: str
    score: str
    at_most: str
    answers: tuple[AnswerLine, ...]
    card: tuple[CardRow, ...]
    rule: str
    place: int
    skip: int
    can_skip: bool
    token: str
    next_words: str


def where_words(stop: str, question: int) -> str:
    """A question as it is found: Section 2, question 7."""
    return say("{stop}, question {question}", stop=stop_words(stop).capitalize(), question=question)


_AFTER = {
    Verdict.LEARNT: later("Record it, then give leave to go on."),
    Verdict.NOT_YET: later("Record it, then study it again together before the next marking."),
    Verdict.GO_ON: "",
}


def quiz_page(desk: QuizDesk) -> QuizPage:
    """Put a quiz under way into words."""
    quiz, live = desk.quiz, desk.live
    asked = desk.next
    verdict = live.verdict
    none_left = asked is None and verdict is Verdict.GO_ON
    return QuizPage(
        id=quiz.id,
        copy=quiz.copy,
        learner=desk.learner.name,
        workbook=desk.workbook.title,
        scope=stop_words(quiz.stop).capitalize() if quiz.stop else say("Everything marked up to now"),
        count=say("{n} asked", n=len(quiz.answers)) if quiz.answers else say("To begin with, ask"),
        stop=asked.stop if asked else "",
        question=asked.question if asked else 0,
        where=where_words(asked.stop, asked.question) if asked else "",
        about=desk.tagged.get((asked.stop, asked.question), "") if asked else "",
        hint=say("was wrong at first marking") if asked and asked.wrong_at_first else "",
        verdict=str(verdict),
        sentence=(
            say(
                "No further question is left that was not asked in the last two days: decide from "
                "what you heard."
            )
            if none_left
            else live.sentence
        ),
        score=say("{right} right, {wrong} wrong", right=live.right, wrong=live.wrong),
        at_most=say("at most {n} more", n=live.at_most_more)
        if verdict is Verdict.GO_ON and not none_left
        else "",
        answers=tuple(AnswerLine(where_words(a.stop, a.question), a.right) for a in quiz.answers),
        card=tuple(
            CardRow(
                line.asked,
                str(line.right_needed) if line.right_needed is not None else "–",
                str(line.wrong_ends) if line.wrong_ends is not None else "–",
                line.asked == len(quiz.answers),
            )
            for line in desk.card.lines
        ),
        rule=desk.card.sentence,
        place=len(quiz.answers),
        skip=desk.skip + 1,
        can_skip=desk.others > 0,
        token=new_token(),
        next_words=say(_AFTER[verdict]),
    )
