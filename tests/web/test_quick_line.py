"""The quick line on its pages: looked at while it is typed, recorded by Enter, lost by nothing."""

import re
from datetime import datetime, timedelta

import pytest
from django.test import Client

from markstead.ledger.facts import FirstMarking, GateOverridden, LeaveGiven, PagesWorked
from markstead.records import actions as a
from markstead.records import queries
from markstead.records.home import Home
from markstead.records.models import Entry
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY
from tests.web.test_estimates import seat

HTMX = {"HX-Request": "true"}


@pytest.fixture
def at_work(boats: str) -> str:
    """Asa has begun the workbook."""
    early = MONDAY - timedelta(hours=1)
    a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=early)
    a.hold_opening_talk("home", copy=boats, by="ruth", at=early)
    return boats


def kinds() -> list[str]:
    return list(Entry.objects.order_by("seq").values_list("kind", flat=True))


def field(page: str) -> str:
    """What stands in the quick line."""
    found = re.search(r'<input id="quick-text"[^>]* value="([^"]*)"', page)
    assert found is not None
    return found[1]


def test_a_look_tells_what_would_be_recorded_and_writes_nothing(ruth: Client, at_work: str) -> None:
    before = kinds()
    page = ruth.post("/quick/look", {"line": "asa sums 1-4 20 min wrong 2"}, headers=HTMX).content.decode()
    assert "Asa, Counting Boats: Enter records" in page
    assert re.findall(r"<li>(.+?)</li>", page) == [
        "Pages 1-4 worked in 20 min",
        "Leave to mark given, section 1",
        "First marking, section 1: wrong 2, of 10",
    ]
    assert kinds() == before


def test_a_shut_gate_is_named_before_enter(ruth: Client, at_work: str) -> None:
    page = ruth.post("/quick/look", {"line": "asa sums right"}, headers=HTMX).content.decode()
    assert "not yet, nothing would be recorded" in page
    assert "Pages 1-4 are not worked yet." in page


def test_a_word_that_is_not_understood_is_named_with_its_place(ruth: Client, at_work: str) -> None:
    page = ruth.post("/quick/look", {"line": "asa sumz 1-4"}, headers=HTMX).content.decode()
    assert "word 2 (letter 5)" in page
    assert "sumz" in page


def test_the_last_word_is_completed_to_whole_lines(ruth: Client, at_work: str) -> None:
    page = ruth.post("/quick/look", {"line": "asa sums 1-4 wr"}, headers=HTMX).content.decode()
    assert '<option value="asa sums 1-4 wrong">' in page
    assert '<datalist id="quick-words">' in page


def test_an_empty_line_is_looked_at_in_silence(ruth: Client, at_work: str) -> None:
    page = ruth.post("/quick/look", {"line": "  "}, headers=HTMX).content.decode()
    assert "<p" not in page


def test_enter_records_all_of_it_in_one_act_and_offers_to_take_it_back(ruth: Client, at_work: str) -> None:
    before = len(kinds())
    answer = ruth.post("/quick", {"line": "asa sums 1-4 20 min wrong 2", "token": "t-1"}, follow=True)
    page = answer.content.decode()
    assert answer.redirect_chain[0][1] == 302
    assert kinds()[before:] == [PagesWorked.KIND, LeaveGiven.KIND, FirstMarking.KIND]
    assert "Recorded" in page
    assert "First marking, section 1: wrong 2, of 10" in page
    assert field(page) == ""
    undo = re.search(r'action="(/acts/[^"]+/undo)"', page)
    assert undo is not None
    ruth.post(undo[1], {"from": "today"})
    assert queries.copy_page("home", at_work, now=MONDAY).copy.standing.pages == frozenset()
    again = ruth.get(answer.redirect_chain[0][0]).content.decode()
    assert "Taken back" in again


def test_with_htmx_the_inside_of_the_page_and_a_fresh_field_come_back(ruth: Client, at_work: str) -> None:
    answer = ruth.post("/quick", {"line": "asa sums 1-2", "token": "t-1"}, headers=HTMX)
    page = answer.content.decode()
    assert "<html" not in page
    assert "Pages 1-2 worked" in page
    assert 'data-hx-swap-oob="true"' in page
    assert field(page) == ""
    assert re.search(r'data-recorded="[0-9a-f]{32}"', page)


@pytest.mark.parametrize("headers", [{}, HTMX])
def test_what_was_typed_survives_every_refusal(ruth: Client, at_work: str, headers: dict[str, str]) -> None:
    before = kinds()
    for line, says in (("asa sumz 1-4", "sumz"), ("asa sums right", "Pages 1-4 are not worked yet")):
        answer = ruth.post("/quick", {"line": line, "token": "t-2"}, headers=headers)
        page = answer.content.decode()
        assert answer.status_code == (200 if headers else 409)
        assert field(page) == line
        assert says in page
    assert kinds() == before


def test_the_same_line_sent_twice_is_recorded_once_and_meant_twice_it_is_recorded_twice(
    ruth: Client, at_work: str
) -> None:
    before = len(kinds())
    for _ in range(2):
        assert ruth.post("/quick", {"line": "asa sums 1-2", "token": "t-1"}).status_code == 302
    assert len(kinds()) == before + 1
    ruth.post("/quick", {"line": "asa sums 1-2", "token": "t-2"})
    assert len(kinds()) == before + 2


def test_a_gate_that_is_a_rule_is_passed_with_a_reason_from_there(ruth: Client, at_work: str) -> None:
    line = {"line": "asa sums 1-8", "token": "t-1"}
    refused = ruth.post("/quick", line).content.decode()
    assert 'class="override" method="post" action="/quick"' in refused
    assert '<input type="hidden" name="line" value="asa sums 1-8">' in refused
    ruth.post("/quick", line | {"override": "both sections at grandmother's", "token": "t-2"})
    assert GateOverridden.KIND in kinds()


def test_without_javascript_the_second_button_looks_first(ruth: Client, at_work: str) -> None:
    before = kinds()
    page = ruth.post("/quick", {"line": "asa sums 1-2", "do": "look"}).content.decode()
    assert "Asa, Counting Boats: Enter records" in page
    assert field(page) == "asa sums 1-2"
    assert kinds() == before


def test_a_page_of_a_learner_or_a_copy_needs_no_names(ruth: Client, home: Home, at_work: str) -> None:
    asa = home.person("asa").id
    for data, address in (
        ({"back": "copy", "copy": at_work}, f"/copies/{at_work}/"),
        ({"back": "learner", "learner": asa}, f"/learners/{asa}/"),
    ):
        assert 'id="quick-text"' in ruth.get(address).content.decode()
        look = ruth.post("/quick/look", {"line": "2 help", **data}, headers=HTMX).content.decode()
        assert "Asa, Counting Boats: Enter records" in look
        answer = ruth.post("/quick", {"line": "helped 5 min", "token": "t-1", **data})
        assert answer["Location"].startswith(f"{address}?quick=")
        assert "Help given, 5 min" in ruth.get(answer["Location"]).content.decode()


def test_a_refusal_on_a_learners_page_comes_back_to_that_page(ruth: Client, home: Home, at_work: str) -> None:
    asa = home.person("asa").id
    data = {"line": "sums right", "back": "learner", "learner": asa, "token": "t-1"}
    plain = ruth.post("/quick", data)
    assert plain.status_code == 409
    assert field(plain.content.decode()) == "sums right"
    again = ruth.post("/quick", data, headers=HTMX)
    assert again["HX-Reselect"] == "#page"
    done = ruth.post("/quick", data | {"line": "sums 1-2", "token": "t-3"}, headers=HTMX)
    assert done["HX-Redirect"].startswith(f"/learners/{asa}/?quick=")


def test_no_names_of_another_home_are_reached(ruth: Client, at_work: str) -> None:
    answer = ruth.post("/quick/look", {"line": "1-2", "back": "copy", "copy": "c-of-others"}, headers=HTMX)
    assert answer.status_code == 200
    assert "Counting" not in answer.content.decode()
    gone = ruth.post("/quick", {"line": "1-2", "back": "copy", "copy": "c-of-others", "token": "t-1"})
    assert gone.status_code == 404
    lost = ruth.post("/quick", {"line": "1-2", "back": "learner", "learner": "nobody", "token": "t-1"})
    assert lost.status_code == 404
    assert ruth.get("/?quick=no-such-act").status_code == 200


@pytest.mark.parametrize("who", ["ines", "asa"])
def test_it_is_for_the_grown_ups_of_the_home(who: str, home: Home, monday: datetime, at_work: str) -> None:
    client, before = seat(who, home), kinds()
    assert client.post("/quick", {"line": "asa sums 1-2"}).status_code == 403
    assert client.post("/quick/look", {"line": "asa sums 1-2"}).status_code == 403
    assert 'id="quick-text"' not in client.get("/").content.decode()
    assert kinds() == before


def test_a_helper_logs_with_it_and_sees_no_estimate(ruth: Client, at_work: str) -> None:
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    answer = tobi.post("/quick", {"line": "asa sums 1-2", "token": "t-1"}, follow=True)
    assert "Pages 1-2 worked" in answer.content.decode()
    refused = tobi.post("/quick", {"line": "asa sums 3-4 right", "token": "t-2"}).content.decode()
    assert "Leave to mark has not been given." in refused


def test_nobody_reaches_it_without_signing_in_or_by_a_link(ruth: Client) -> None:
    assert Client().post("/quick", {"line": "x"}).status_code == 302
    assert ruth.get("/quick").status_code == 405
    assert ruth.get("/quick/look").status_code == 405
