"""People on screen: added, changed, let go, and signed in with a password that is shown once."""

import re
from html import unescape

import pytest
from django.test import Client

from markstead.records import actions as a
from markstead.records import people, queries
from markstead.records.home import Home
from markstead.rules.ruling import Role
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY


def words(page: bytes) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page.decode())))


def kept() -> Home:
    return queries.home_of("home")


def who(key: str) -> str:
    return kept().person(key).id


def shown_password(page: bytes) -> tuple[str, str]:
    name, password = re.findall(r"<dd><code>([^<]+)</code></dd>", page.decode())
    return name, password


def test_everybody_stands_there_with_their_part(ruth: Client) -> None:
    page = words(ruth.get("/settings/people/").content)
    assert "Ruth Educator · you · signs in as ruth-home" in page
    assert "Tobi Helper · signs in as tobi-home" in page
    assert "Asa year 5 · Sums 5, Words 5" in page
    assert "The only educator: the part stays" in page
    assert "Looks and notes, and does not judge" in page


def test_a_second_educator_is_added_and_signs_in_with_the_password_shown_once(ruth: Client) -> None:
    answer = ruth.post("/settings/people/add", {"name": "Maren", "role": "educator", "year": ""})
    name, password = shown_password(answer.content)
    assert answer["Cache-Control"].startswith("max-age=0, no-cache, no-store")
    maren = Client()
    signed = maren.post("/sign-in/", {"username": name, "password": password})
    assert signed["Location"] == "/"
    own = "four kites over the weir"
    assert maren.post("/password/", {"now": password, "new": own, "again": own}).status_code == 302
    assert maren.get("/settings/people/").status_code == 200
    assert password not in ruth.get("/settings/people/").content.decode()


def test_a_learner_is_added_with_courses(ruth: Client) -> None:
    form = {"name": "Ilse", "role": "learner", "year": "7", "courses": ["words-5"]}
    assert ruth.post("/settings/people/add", form)["Location"] == "/settings/people/?said=added"
    assert kept().person("ilse").courses == ("words-5",)


def test_what_was_typed_of_somebody_new_stays(ruth: Client) -> None:
    form = {"adding": "yes", "name": "Ilse", "role": "learner", "year": "7th", "courses": ["words-5"]}
    answer = ruth.post("/settings/people/add", form)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "school year: found '7th'; allowed is a whole number" in words(answer.content)
    assert 'value="Ilse"' in page
    assert 'value="7th"' in page
    assert 'value="learner" selected' in page
    assert 'value="words-5" checked' in page
    assert len(kept().people) == 4


def test_names_are_escaped(ruth: Client) -> None:
    ruth.post("/settings/people/add", {"name": "<b>Ilse</b>", "role": "learner", "year": "7"})
    page = ruth.get("/settings/people/").content.decode()
    assert "<b>Ilse" not in page
    assert "&lt;b&gt;Ilse" in page


def test_somebody_is_renamed(ruth: Client) -> None:
    asa = who("asa")
    ruth.post("/settings/people/rename", {"person": asa, "name": "Asa Vale", "year": "6"})
    assert (kept().people[asa].name, kept().people[asa].year) == ("Asa Vale", 6)
    answer = ruth.post("/settings/people/rename", {"person": asa, "name": "Noa", "year": "6"})
    assert answer.status_code == 409
    assert 'name="name" value="Noa"' in answer.content.decode()


def test_a_helper_becomes_an_educator(ruth: Client) -> None:
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    assert tobi.get("/settings/").status_code == 403
    ruth.post("/settings/people/role", {"person": who("tobi"), "role": "educator"})
    assert tobi.get("/settings/").status_code == 200


@pytest.mark.parametrize(("do", "more"), [("role", {"role": "helper"}), ("leave", {})])
def test_the_last_educator_cannot_be_removed(ruth: Client, do: str, more: dict[str, str]) -> None:
    answer = ruth.post(f"/settings/people/{do}", {"person": who("ruth"), **more})
    assert answer.status_code == 409
    assert "Ruth, the only educator" in words(answer.content)
    assert kept().person("ruth").role is Role.EDUCATOR


def test_a_new_password_ends_the_old_one(ruth: Client) -> None:
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    name, password = shown_password(ruth.post("/settings/people/password", {"person": who("tobi")}).content)
    assert tobi.get("/").status_code == 302  # signed out
    assert tobi.post("/sign-in/", {"username": name, "password": PASSWORD}).status_code == 200
    assert tobi.post("/sign-in/", {"username": name, "password": password}).status_code == 302


def test_an_own_password_is_not_made_by_whoever_finds_the_screen_open(ruth: Client) -> None:
    answer = ruth.post("/settings/people/password", {"person": who("ruth")})
    assert answer["Location"] == "/password/"
    assert Client().post("/sign-in/", {"username": "ruth-home", "password": PASSWORD}).status_code == 302


def test_a_locked_out_helper_gets_in_again_with_a_new_password(ruth: Client) -> None:
    tobi = Client()
    for _ in range(6):
        last = tobi.post("/sign-in/", {"username": "tobi-home", "password": "wrong"})
    assert last.status_code == 429
    name, password = shown_password(ruth.post("/settings/people/password", {"person": who("tobi")}).content)
    assert tobi.post("/sign-in/", {"username": name, "password": password}).status_code == 302


def test_leaving_is_looked_at_first(ruth: Client, boats: str) -> None:
    a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=MONDAY)
    asa = who("asa")
    page = words(ruth.get(f"/settings/people/?leaves={asa}").content)
    assert "Asa leaves?" in page
    assert "The record keeps everything that Asa did, with the name." in page
    assert "The workbook in hand is written off: Counting Boats." in page
    assert kept().person("asa").role is Role.LEARNER

    ruth.post("/settings/people/leave", {"person": asa})

    assert kept().person("asa").role is Role.LEFT
    page = words(ruth.get("/settings/people/").content)
    assert "Have left Asa was a learner, year 5" in page
    assert "Asa" not in words(ruth.get("/").content)
    assert "Copy issued to Asa" in words(ruth.get(f"/copies/{boats}/").content)

    ruth.post("/settings/people/back", {"person": asa, "role": "learner"})
    assert kept().person("asa").role is Role.LEARNER


def test_a_helper_who_has_left_is_out_at_once(ruth: Client) -> None:
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    ruth.post("/settings/people/leave", {"person": who("tobi")})
    assert tobi.get("/")["Location"].startswith("/sign-in/")
    assert tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD}).status_code == 200
    assert people.sign_in_names(kept()).keys() == {who("ruth")}


def test_nobody_of_another_home_is_touched(ruth: Client) -> None:
    for do in ("rename", "role", "password", "leave", "back"):
        assert (
            ruth.post(
                f"/settings/people/{do}", {"person": "mallory", "name": "x", "role": "helper"}
            ).status_code
            == 404
        )
    assert ruth.get("/settings/people/?leaves=mallory").status_code == 404
