"""A placement on screen: which short test next, what is believed, and the result that is taken or not."""

import re

import pytest
from django.test import Client

from markstead.records import placements, queries
from markstead.records.home import Home
from markstead.records.models import Entry
from tests.tools.homes import PASSWORD


@pytest.fixture
def address(home: Home) -> str:
    return f"/placement/{home.person('asa').id}/sums-5/"


def seen(client: Client, address: str) -> str:
    found = re.search(r'name="seen" value="(\d+)"', client.get(address).content.decode())
    assert found is not None
    return found[1]


def enter(client: Client, address: str, workbook: int, right: int) -> int:
    form = {"do": "enter", "seen": seen(client, address), "workbook": workbook, "right": right, "asked": 6}
    return client.post(address, form).status_code


def test_every_course_that_is_not_begun_is_listed(ruth: Client, home: Home, boats: str) -> None:
    page = ruth.get("/placement/").content.decode()

    asa, noa = (home.person(key).id for key in ("asa", "noa"))
    # A copy of sums-5 lies ready for Asa.
    assert re.findall(r'href="/placement/([^"]+)/"', page) == [f"{asa}/words-5", f"{noa}/sums-5"]


def test_the_page_says_which_test_to_take_and_draws_what_is_believed(ruth: Client, address: str) -> None:
    page = ruth.get(address).content.decode()

    assert re.search(r"Take 6 questions from \d\. Counting (Boats|Gulls)", page)
    assert '<svg class="placeline"' in page
    assert 'aria-label="What is believed of 2 workbooks:' in page
    assert "Nothing was asked yet." in page


def test_a_score_is_kept_and_moves_the_belief_and_nothing_is_on_the_record(
    ruth: Client, home: Home, address: str
) -> None:
    before = ruth.get(address).content.decode()
    assert enter(ruth, address, 2, 6) == 302
    page = ruth.get(address).content.decode()

    assert "2. Counting Gulls: 6 of 6, well" in page
    numbers = r"<tr><th scope=\"row\">([^<]+)</th><td>(\d+) of 100"
    assert dict(re.findall(numbers, page)) != dict(re.findall(numbers, before))
    assert int(dict(re.findall(numbers, page))["All are done"]) > int(
        dict(re.findall(numbers, before))["All are done"]
    )
    assert Entry.objects.count() == 0


def test_a_form_that_is_sent_twice_counts_once(ruth: Client, address: str) -> None:
    form = {"do": "enter", "seen": "0", "workbook": "1", "right": "5", "asked": "6"}
    assert [ruth.post(address, form).status_code for _ in range(2)] == [302, 409]
    assert len(placements.kept_placements("home")[0].results) == 1


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"right": "7"}, "right answers"),
        ({"right": ""}, "right answers: found nothing"),
        ({"right": "six"}, "right answers: found &#x27;six&#x27;"),
        ({"asked": "0"}, "questions"),
        ({"workbook": "3"}, "workbook from 1 to 2"),
        ({"do": "guess", "guess": "9"}, "where the learner stands"),
        ({"do": "take", "where": "hand"}, "one of the three"),
        ({"do": "take", "where": "in hand", "book": "words-5-01"}, "a workbook of Sums 5"),
        ({"do": "take", "where": "in hand", "book": "sums-5-02", "page": "10"}, "from 0 to 9"),
        ({"do": "burn"}, "the form as it was shown"),
    ],
)
def test_what_cannot_be_meant_is_said_and_stays_in_the_form(
    ruth: Client, address: str, changed: dict[str, str], says: str
) -> None:
    form = {"do": "enter", "seen": "0", "workbook": "2", "right": "5", "asked": "6", **changed}
    answer = ruth.post(address, form)
    page = answer.content.decode()

    assert answer.status_code == 409
    assert says in page
    if changed.get("do", "enter") == "enter" and "right" not in changed:
        assert 'name="right" inputmode="numeric" size="4" maxlength="4" value="5"' in page
    assert placements.kept_placements("home") == ()
    assert Entry.objects.count() == 0


def test_the_latest_score_is_struck(ruth: Client, address: str) -> None:
    enter(ruth, address, 1, 6)
    assert ruth.post(address, {"do": "strike", "seen": "1"}).status_code == 302
    assert "Nothing was asked yet." in ruth.get(address).content.decode()


def test_enough_is_said_after_the_last_test(ruth: Client, address: str) -> None:
    for _ in range(8):
        page = ruth.get(address).content.decode()
        if "Enough was asked" in page:
            break
        enter(ruth, address, 1, 0)
        enter(ruth, address, 2, 0)
    assert "Enough was asked" in ruth.get(address).content.decode()


def test_the_result_is_taken_as_the_educator_says(ruth: Client, home: Home, address: str) -> None:
    enter(ruth, address, 1, 6)
    form = {"do": "take", "seen": "1", "book": "sums-5-02", "where": "in hand", "page": "4"}
    assert ruth.post(address, form).status_code == 302

    (copy,) = queries.copies("home", learner=home.person("asa").id)
    assert (copy.label, copy.next.what) == ("sums-5-02", "Work pages 5-8")
    page = ruth.get(address).content.decode()
    assert "Begun with 2. Counting Gulls." in page
    assert 'value="take"' not in page
    assert ruth.post(address, form).status_code == 409


def test_a_course_that_is_begun_offers_nothing_to_take(ruth: Client, boats: str, address: str) -> None:
    assert 'value="take"' not in ruth.get(address).content.decode()


def test_placements_are_for_educators_alone(ruth: Client, home: Home, address: str) -> None:
    tobi, stranger = Client(), Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    form = {"do": "enter", "seen": "0", "workbook": "1", "right": "5", "asked": "6"}
    for path in (address, "/placement/"):
        assert tobi.get(path).status_code == 403
        assert stranger.get(path).status_code == 302
    assert tobi.post(address, form).status_code == 403
    assert stranger.post(address, form).status_code == 302
    assert placements.kept_placements("home") == ()


@pytest.mark.parametrize("path", ["nobody/sums-5", "{asa}/latin-5", "{noa}/words-5", "{ruth}/sums-5"])
def test_nobody_elses_course_is_found(ruth: Client, home: Home, path: str) -> None:
    ids = {key: home.person(key).id for key in ("asa", "noa", "ruth")}
    assert ruth.get(f"/placement/{path.format(**ids)}/").status_code == 404


def test_todays_page_leads_to_it(ruth: Client, home: Home) -> None:
    assert 'href="/placement/">Where to begin' in ruth.get("/").content.decode()
