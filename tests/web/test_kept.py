"""Pages that are drawn once and kept: never another person's, never an old one, each with tokens of its own."""

import re
from datetime import timedelta

import pytest
from django.test import Client

from markstead.records import actions, pins, queries, quizzes
from markstead.records.home import Home
from markstead.web import kept
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY
from tests.web.test_estimates import opened


def body(client: Client, address: str) -> str:
    return str(client.get(address).content.decode())


def without_tokens(page: str) -> str:
    page = re.sub(r'name="(token|csrfmiddlewaretoken)" value="\w+', r'name="\1" value="', page)
    return re.sub(r'"X-CSRFToken": "\w+"', "", page)


@pytest.fixture
def begun(boats: str) -> str:
    opened(boats, MONDAY - timedelta(hours=1))
    return boats


def test_a_kept_page_is_the_page_with_tokens_of_its_own(ruth: Client, begun: str) -> None:
    first, second = body(ruth, f"/copies/{begun}/"), body(ruth, f"/copies/{begun}/")

    assert len(kept._PAGES) == 1
    assert without_tokens(first) == without_tokens(second)
    tokens = [set(re.findall(r'name="token" value="([0-9a-f]{10})', page)) for page in (first, second)]
    assert all(tokens)
    assert not tokens[0] & tokens[1]
    assert kept._PAGE not in first + second
    assert kept._FORGERY not in first + second


def test_a_form_of_a_kept_page_is_taken(home: Home, monday: object, begun: str) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.get("/sign-in/")
    sent = {
        "username": "ruth-home",
        "password": PASSWORD,
        "csrfmiddlewaretoken": strict.cookies["markstead_forgery"].value,
    }
    assert strict.post("/sign-in/", sent).status_code == 302
    for _ in range(2):
        page = body(strict, "/copies/")
        (forgery,) = set(re.findall(r'name="csrfmiddlewaretoken" value="(\w+)"', page))
        token = re.findall(r'name="token" value="(\w+)"', page)[0]
        fields = {"workbook": "words-5-01", "learner": home.person("asa").id, "token": token}
        answer = strict.post("/copies/order", {**fields, "csrfmiddlewaretoken": forgery})
        assert answer.status_code == 302
    assert len(queries.copies("home")) == 3  # the one at the beginning, and two with tokens of their own


def test_what_happens_is_on_the_page_at_once(ruth: Client, begun: str) -> None:
    address = f"/copies/{begun}/"
    assert "17 minutes of help" not in body(ruth, address)
    actions.give_help("home", copy=begun, minutes=17, by="ruth", at=MONDAY)
    assert "17 min" in body(ruth, address)


def test_a_page_of_an_educator_is_not_a_helpers(ruth: Client, begun: str) -> None:
    mine = body(ruth, f"/copies/{begun}/")
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    theirs = body(tobi, f"/copies/{begun}/")

    assert "Settings" in mine
    assert "Settings" not in theirs
    assert tobi.get("/settings/calendar/").status_code == 403


def test_the_minute_is_part_of_what_a_page_rests_on(
    ruth: Client, begun: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    body(ruth, f"/copies/{begun}/")
    before = len(kept._PAGES)
    monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + timedelta(minutes=1)).isoformat())
    body(ruth, f"/copies/{begun}/")
    assert len(kept._PAGES) == before + 1


def test_what_is_not_on_the_record_is_seen_too(ruth: Client, home: Home, begun: str) -> None:
    learner = home.person("asa").id
    assert "Take it away" not in body(ruth, f"/learners/{learner}/")
    pins.set_pin(home, learner=learner, pin="2746", by="ruth", now=MONDAY)
    assert "Take it away" in body(ruth, f"/learners/{learner}/")

    assert "/quiz/" not in body(ruth, f"/copies/{begun}/").replace("/quiz/begin", "")
    quiz = quizzes.begin("home", copy=begun, by="ruth", at=MONDAY)
    assert f"/quiz/{quiz.id}/" in body(ruth, f"/copies/{begun}/")


def test_no_more_pages_are_kept_than_there_is_room_for(ruth: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept, "_MOST_PAGES", 3)
    for day in range(1, 8):
        body(ruth, f"/record/?day=2026-01-0{day}")
    assert len(kept._PAGES) == 3
