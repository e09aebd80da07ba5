"""The wall: what a room may read, and nothing that judges anybody."""

from datetime import datetime, timedelta

import pytest
from django.test import Client

from markstead.records import actions as a
from markstead.records.home import Home
from tests.web.conftest import MONDAY
from tests.web.test_estimates import OF_ESTIMATES, before_the_test, marked, seat, words

__all__ = ["before_the_test", "marked"]


@pytest.fixture
def at_work(boats: str) -> str:
    early = MONDAY - timedelta(hours=1)
    a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=early)
    a.hold_opening_talk("home", copy=boats, by="ruth", at=early)
    return boats


def test_names_goals_with_their_rulers_and_who_waits_for_whom(ruth: Client, at_work: str) -> None:
    a.set_goal("home", copy=at_work, first=1, last=4, by="ruth", at=MONDAY - timedelta(minutes=30))
    a.ask_help("home", copy=at_work, page=2, by="asa", at=MONDAY - timedelta(minutes=7))
    page = ruth.get("/wall/").content.decode()
    text = words(page)
    for name in ("Asa", "Noa", "Sums", "pages 1-4"):
        assert name in text
    assert "goal today: pages 1-4" in page
    assert "Asa waits for Ruth: help, page 2 (7 min)" in text
    assert "Next test morning" in text
    assert "This morning, 08:00 to 12:00" in text


def test_a_goal_that_is_reached_is_told_by_word_and_shape(ruth: Client, at_work: str) -> None:
    a.set_goal("home", copy=at_work, first=1, last=2, by="ruth", at=MONDAY - timedelta(minutes=30))
    assert "✓" not in ruth.get("/wall/").content.decode()
    a.work_pages("home", copy=at_work, first=1, last=2, by="asa", at=MONDAY - timedelta(minutes=5))
    page = ruth.get("/wall/").content.decode()
    assert "✓</span> done" in page


def test_nothing_of_estimates_or_results_is_on_it(ruth: Client, before_the_test: str) -> None:
    """The practice test is scored and readiness is to be decided: neither is for the room."""
    text = words(ruth.get("/wall/").content.decode())
    assert OF_ESTIMATES.search(text) is None
    assert "16 of 20" not in text
    assert "%" not in text


def test_who_is_to_sit_stands_with_the_first_morning_on_which_it_may_be(
    ruth: Client, before_the_test: str
) -> None:
    a.decide_readiness("home", copy=before_the_test, ready=True, by="ruth", at=MONDAY)
    text = words(ruth.get("/wall/").content.decode())
    assert "Asa: Sums" not in text.split("Next test morning")[1]  # the practice test was this morning


def test_after_the_morning_the_next_one_is_told(
    ruth: Client, before_the_test: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    a.decide_readiness("home", copy=before_the_test, ready=True, by="ruth", at=MONDAY)
    monkeypatch.setenv("MARKSTEAD_NOW", MONDAY.replace(hour=13).isoformat())
    text = words(ruth.get("/wall/").content.decode()).split("Next test morning")[1]
    assert "Tomorrow, 08:00 to 12:00" in text
    assert "Asa: Sums" in text


def test_it_refreshes_itself_only_where_something_is_new(ruth: Client, at_work: str) -> None:
    page = ruth.get("/wall/").content.decode()
    seen = page.split("?seen=")[1].split('"')[0]
    again = {"HX-Request": "true"}
    assert ruth.get(f"/wall/?seen={seen}", headers=again).status_code == 204
    a.ask_help("home", copy=at_work, by="asa", at=MONDAY)
    inside = ruth.get(f"/wall/?seen={seen}", headers=again)
    assert inside.status_code == 200
    assert "<html" not in inside.content.decode()
    assert "Asa waits for Ruth: help" in inside.content.decode()


@pytest.mark.parametrize(("who", "status"), [("tobi", 200), ("ines", 403), ("asa", 403)])
def test_it_is_hung_up_by_the_grown_ups(
    who: str, status: int, home: Home, monday: datetime, boats: str
) -> None:
    assert seat(who, home).get("/wall/").status_code == status
