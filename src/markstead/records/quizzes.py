"""Oral quizzes under way: begun, laid aside, taken up again on any screen, and then written on the record."""

import json
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from markstead.errors import InputError, Problem, StaleError, UnknownError
from markstead.ledger.facts import PRACTICE, AnyFact, OralQuizHeld
from markstead.records.desk import Desk, Done, Slip, at_the_desk, household_row
from markstead.records.models import Copy as CopyRow
from markstead.records.models import QuizUnderWay
from markstead.speech import say

MOST_ANSWERS = 60


@dataclass(frozen=True, slots=True)
class Spoken:
    """One answer: where the question stands, its number, and how it went."""

    stop: str
    question: int
    right: bool


@dataclass(frozen=True, slots=True)
class UnderWay:
    """A quiz that has begun. `stop` is None where it goes over the whole workbook."""

    id: str
    copy: str
    stop: str | None
    begun: datetime
    by: str
    answers: tuple[Spoken, ...] = ()


def _value(row: QuizUnderWay) -> UnderWay:
    answers = tuple(Spoken(stop, number, right) for stop, number, right in json.loads(row.answers))
    return UnderWay(row.id, row.copy, row.stop or None, row.begun, row.by, answers)


def _row(household: str, quiz: str, *, lock: bool = False) -> QuizUnderWay:
    rows = QuizUnderWay.objects.select_for_update() if lock else QuizUnderWay.objects
    found = rows.filter(household=household, id=quiz).first()
    if found is None:
        do = say("It was held or put away meanwhile; look at the copy's history.")
        raise UnknownError([Problem(say("oral quiz"), repr(quiz), say("a quiz under way in this home"), do)])
    return found


def under_way(household: str, *, copy: str | None = None) -> tuple[UnderWay, ...]:
    """The quizzes that have begun and are not on the record, oldest first."""
    rows = QuizUnderWay.objects.filter(household=household).order_by("begun", "id")
    if copy is not None:
        rows = rows.filter(copy=copy)
    return tuple(_value(row) for row in rows)


def find(household: str, quiz: str) -> UnderWay:
    """A quiz under way.

    Raises:
        UnknownError: it was held or put away.
    """
    return _value(_row(household, quiz))


def begin(household: str, *, copy: str, by: str, at: datetime, stop: str | None = None) -> UnderWay:
    """Begin a quiz, or take up the one of this copy and stop that was laid aside.

    Raises:
        UnknownError: no such copy.
    """
    row = household_row(household)
    if not CopyRow.objects.filter(household=row, id=copy).exists():
        raise UnknownError([Problem(say("copy"), repr(copy), say("the id of a copy of this home"))])
    wanted = {"household": row, "copy": copy, "stop": stop or ""}
    fresh = {"id": "q" + secrets.token_hex(8), "begun": at, "by": by}
    try:
        kept, _ = QuizUnderWay.objects.get_or_create(**wanted, defaults=fresh)
    except IntegrityError:  # begun on another screen in this moment
        kept = QuizUnderWay.objects.get(**wanted)
    return _value(kept)


def note(household: str, quiz: str, *, place: int, stop: str, question: int, right: bool) -> UnderWay:
    """Note one answer at its place, from 0. The same answer sent again changes nothing.

    Raises:
        UnknownError: the quiz was held or put away.
        StaleError: another answer stands at that place, or one before it is missing.
    """
    with transaction.atomic():
        household_row(household, lock=True)
        row = _row(household, quiz)
        answers = json.loads(row.answers)
        answer = [stop, question, right]
        if place < len(answers) and answers[place] == answer:
            return _value(row)
        if place != len(answers):
            raise StaleError(
                say(
                    "This page is older than the quiz: {n} answers are noted already. "
                    "Nothing was noted twice; go on from there.",
                    n=len(answers),
                )
            )
        if len(answers) >= MOST_ANSWERS:
            raise InputError(
                [
                    Problem(
                        say("oral quiz"),
                        say("{n} answers", n=len(answers)),
                        say("at most {most}", most=MOST_ANSWERS),
                    )
                ]
            )
        row.answers = json.dumps([*answers, answer])
        row.save(update_fields=["answers"])
    return _value(row)


def take_back(household: str, quiz: str, *, place: int) -> UnderWay:
    """Take back the latest answer, which stands at this place; one taken back already changes nothing."""
    with transaction.atomic():
        household_row(household, lock=True)
        row = _row(household, quiz)
        answers = json.loads(row.answers)
        if answers and place == len(answers) - 1:
            row.answers = json.dumps(answers[:-1])
            row.save(update_fields=["answers"])
    return _value(row)


def put_away(household: str, quiz: str) -> None:
    """Put a quiz away without writing it on the record; one that is gone stays gone."""
    QuizUnderWay.objects.filter(household=household, id=quiz).delete()


def facts_of(copy: str, answers: Sequence[Spoken]) -> list[AnyFact]:
    """The facts of a quiz: one for each stop it touched, in the order in which each was first asked."""
    by_stop: dict[str, list[tuple[int, bool]]] = {}
    for answer in answers:
        by_stop.setdefault(answer.stop, []).append((answer.question, answer.right))
    return [OralQuizHeld(copy, tuple(pairs), stop or None) for stop, pairs in by_stop.items()]


def hold(household: str, quiz: str, *, by: str, at: datetime, slip: Slip) -> Done:
    """Write a quiz on the record and take it off the desk, both or neither; the same act twice writes once.

    Raises:
        InputError: no answer was noted yet, or one names a question that the workbook does not have.
        RefusedError, UnknownError, StaleError: as with any act.
    """

    def work(desk: Desk) -> Done:
        before = desk.written(slip.act) if slip.act else None
        if before is not None:
            return before
        kept = _value(_row(household, quiz))
        if not kept.answers:
            raise InputError(
                [
                    Problem(
                        say("oral quiz"), say("no answers"), say("at least one question with right or wrong")
                    )
                ]
            )
        book = desk.home.programme.workbook(desk.known_copy(kept.copy).workbook)
        for answer in kept.answers:
            most = book.practice_questions if answer.stop == PRACTICE else book.stop(answer.stop).questions
            if not 1 <= answer.question <= most:
                found = say("question {number}", number=answer.question)
                raise InputError(
                    [
                        Problem(
                            say("oral quiz, {stop}", stop=answer.stop),
                            found,
                            say("questions 1 to {most}", most=most),
                        )
                    ]
                )
        done = desk.propose(facts_of(kept.copy, kept.answers), by=by, at=at, slip=slip)
        QuizUnderWay.objects.filter(household=household, id=quiz).delete()
        return done

    return at_the_desk(household, work)
