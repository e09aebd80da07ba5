"""What a person types is read as it is meant, or refused with what may stand there."""

from datetime import UTC, date, datetime, time

import pytest

from markstead.cli import typed
from markstead.errors import InputError


def test_question_numbers_are_read_with_commas_blanks_runs_and_any_dash() -> None:
    assert typed.numbers("3,7", "x") == (3, 7)
    assert typed.numbers("9-11; 3 3", "x") == (3, 9, 10, 11)
    assert typed.numbers("9–11", "x") == (9, 10, 11)


@pytest.mark.parametrize("text", ["", ",", "0", "5-3", "a", "1-", "-2", "1000", "3.5"])
def test_what_is_no_list_of_question_numbers_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="x: found"):
        typed.numbers(text, "x")


def test_pages_are_one_or_a_rising_run() -> None:
    assert typed.pages("14") == (14, 14)
    assert typed.pages("14-19") == (14, 19)
    assert typed.pages(" 14—19 ") == (14, 19)


@pytest.mark.parametrize("text", ["", "0", "19-14", "14-", "p14", "14-19-20", "14,15"])
def test_what_is_no_run_of_pages_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="pages: found"):
        typed.pages(text)


def test_a_quiz_keeps_the_order_in_which_was_asked() -> None:
    assert typed.answers(["7:wrong", "3:Right", "7:right"]) == ((7, False), (3, True), (7, True))


def test_every_answer_that_cannot_be_read_is_named() -> None:
    with pytest.raises(InputError) as caught:
        typed.answers(["7", "3:right", "0:wrong"])
    assert [problem.found for problem in caught.value.problems] == ["'7'", "'0:wrong'"]


def test_a_day_is_one_that_exists() -> None:
    assert typed.day("2028-02-29", "x") == date(2028, 2, 29)
    for text in ("2026-02-29", "29.2.2028", "20280229", "2028-W09-2", ""):
        with pytest.raises(InputError, match="x: found"):
            typed.day(text, "x")


def test_a_moment_is_a_minute_at_home_or_an_instant() -> None:
    assert typed.moment("2026-01-27T10:15", "x") == datetime(2026, 1, 27, 10, 15)  # noqa: DTZ001  # at home
    assert typed.moment("2026-01-27 10:15:30+00:00", "x") == datetime(2026, 1, 27, 10, 15, 30, tzinfo=UTC)
    for text in ("10:15", "2026-01-27", "2026-01-27T24:15", "2026-01-27T"):
        with pytest.raises(InputError, match="x: found"):
            typed.moment(text, "x")


def test_a_time_of_day_is_told_from_everything_else() -> None:
    assert typed.clock_time("9:40") == time(9, 40)
    assert typed.clock_time("24:00") is None
    assert typed.clock_time("9") is None
