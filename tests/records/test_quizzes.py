"""An oral quiz that is laid aside, taken up again, and written on the record once."""

import pytest

from markstead.errors import InputError, StaleError, UnknownError
from markstead.ledger.facts import OralQuizHeld
from markstead.records import quizzes
from markstead.records.desk import Slip
from markstead.records.quizzes import Spoken, UnderWay
from markstead.rules.ruling import RefusedError
from tests.records.house import House, entries

pytestmark = pytest.mark.django_db


def begun(house: House, stop: str | None = None) -> UnderWay:
    return quizzes.begin(
        "home", copy=house.bring("marked"), by=house.person("ruth"), at=house.clock, stop=stop
    )


def answered(house: House, *answers: tuple[str, int, bool]) -> UnderWay:
    quiz = begun(house)
    for place, (stop, question, right) in enumerate(answers):
        quiz = quizzes.note("home", quiz.id, place=place, stop=stop, question=question, right=right)
    return quiz


def held(house: House, quiz: UnderWay, **slip: str) -> quizzes.Done:
    by = house.person("ruth")
    return quizzes.hold("home", quiz.id, by=by, at=house.clock, slip=Slip(now=house.clock, **slip))  # type: ignore[arg-type]


def test_a_quiz_begun_twice_is_one_quiz(house: House) -> None:
    first = begun(house)

    again = quizzes.begin("home", copy=first.copy, by=first.by, at=house.clock)

    assert again == first


def test_an_answer_stays_when_the_screen_is_left(house: House) -> None:
    quiz = answered(house, ("section-1", 4, True), ("section-1", 9, False))

    assert quizzes.find("home", quiz.id).answers == (
        Spoken("section-1", 4, True),
        Spoken("section-1", 9, False),
    )


def test_the_same_answer_sent_twice_is_noted_once(house: House) -> None:
    quiz = answered(house, ("section-1", 4, True))

    again = quizzes.note("home", quiz.id, place=0, stop="section-1", question=4, right=True)

    assert len(again.answers) == 1


def test_an_older_page_does_not_overwrite_an_answer(house: House) -> None:
    quiz = answered(house, ("section-1", 4, True))

    with pytest.raises(StaleError, match="1 answers are noted already"):
        quizzes.note("home", quiz.id, place=0, stop="section-1", question=4, right=False)

    assert quizzes.find("home", quiz.id).answers == (Spoken("section-1", 4, True),)


def test_only_the_latest_answer_is_taken_back_and_only_once(house: House) -> None:
    quiz = answered(house, ("section-1", 4, True), ("section-1", 9, False))

    quizzes.take_back("home", quiz.id, place=1)
    quiz = quizzes.take_back("home", quiz.id, place=1)

    assert [a.question for a in quiz.answers] == [4]


def test_a_quiz_over_several_stops_is_one_act_with_a_fact_for_each(house: House) -> None:
    quiz = answered(house, ("section-2", 1, True), ("section-1", 4, True), ("section-2", 3, False))
    before = len(entries())

    done = held(house, quiz)

    assert [e.fact for e in entries()[before:]] == [
        OralQuizHeld(quiz.copy, ((1, True), (3, False)), "section-2"),
        OralQuizHeld(quiz.copy, ((4, True),), "section-1"),
    ]
    assert len({e.act for e in done.entries}) == 1


def test_a_quiz_that_is_held_is_no_longer_under_way(house: House) -> None:
    quiz = answered(house, ("section-1", 4, True))

    held(house, quiz)

    assert quizzes.under_way("home") == ()
    with pytest.raises(UnknownError, match="held or put away"):
        quizzes.find("home", quiz.id)


def test_a_quiz_held_twice_is_written_once(house: House) -> None:
    quiz = answered(house, ("section-1", 4, True))
    first = held(house, quiz, act="once")

    again = held(house, quiz, act="once")

    assert again.again
    assert again.entries == first.entries


def test_a_quiz_without_answers_is_not_written(house: House) -> None:
    quiz = begun(house)

    with pytest.raises(InputError, match="no answers"):
        held(house, quiz)

    assert quizzes.under_way("home") == (quiz,)


def test_a_question_that_the_workbook_does_not_have_is_not_written(house: House) -> None:
    quiz = answered(house, ("section-1", 25, True))

    with pytest.raises(InputError, match="questions 1 to 24"):
        held(house, quiz)


def test_a_refused_quiz_stays_under_way(house: House) -> None:
    quiz = answered(house, ("section-1", 4, True))
    tobi = house.person("tobi")

    with pytest.raises(RefusedError):
        quizzes.hold("home", quiz.id, by=tobi, at=house.clock, slip=Slip(now=house.clock))

    assert quizzes.find("home", quiz.id).answers == quiz.answers


def test_a_quiz_put_away_leaves_nothing(house: House) -> None:
    quiz = answered(house, ("section-1", 4, True))
    before = entries()

    quizzes.put_away("home", quiz.id)

    assert (quizzes.under_way("home"), entries()) == ((), before)


def test_a_quiz_of_another_home_is_not_found(house: House, next_door: House) -> None:
    quiz = begun(house)

    with pytest.raises(UnknownError, match="a quiz under way in this home"):
        quizzes.find(next_door.id, quiz.id)
