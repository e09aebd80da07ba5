"""The rules of the programme on screen: told in words, looked at before they are saved, nothing typed is lost."""

import re
from html import unescape

import pytest
from django.test import Client

from markstead.records import house_rules, queries
from markstead.records.home import Home
from markstead.records.models import Document
from markstead.web.settings_page import GROUPS, name_of
from tests.tools.homes import PASSWORD

MARK = "marks.unit_test_percent"


def words(page: bytes) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page.decode())))


def fields(page: bytes) -> dict[str, str]:
    """What stands in the fields of the rules' form."""
    text = page.decode()
    form = text[text.index('<form class="rules"') :]
    found = dict(re.findall(r'<input[^>]* name="([\w.]+)" value="([^"]*)"', form))
    for name, inside in re.findall(r'<select[^>]* name="([\w.]+)"[^>]*>(.*?)</select>', form):
        chosen = re.search(r'value="([^"]*)" selected', inside)
        found[name] = chosen[1] if chosen else ""
    return found


def form(ruth: Client, **changed: str) -> dict[str, str]:
    """The form as it is shown, with some fields typed over."""
    kept = fields(ruth.get("/settings/").content)
    assert MARK in kept
    return kept | {name.replace("__", "."): value for name, value in changed.items()}


def percent() -> int:
    return queries.home_of("home").programme.marks.unit_test_percent


def versions() -> int:
    return Document.objects.filter(household="home", kind="programme").count()


def test_every_rule_is_told_with_what_it_changes(ruth: Client) -> None:
    page = words(ruth.get("/settings/").content)
    for _, _, rules in GROUPS:
        for rule in rules:
            assert rule.label in page
            assert rule.changes in page
    assert set(form(ruth)) >= {name_of(key) for key in house_rules.RULES}


def test_the_fields_show_what_holds(ruth: Client) -> None:
    kept = form(ruth)
    assert (kept[MARK], kept["unit_test.morning_from"], kept["marks.exact_mark_passes"]) == (
        "80",
        "08:00",
        "true",
    )
    assert (kept["aids.1.year"], kept["aids.1.allowed"]) == ("7", "pencil, eraser, ruler, calculator")


def test_a_change_is_looked_at_first_and_then_saved(ruth: Client) -> None:
    looked = ruth.post("/settings/", form(ruth, marks__unit_test_percent="90"))
    page = words(looked.content)
    assert "What this would change" in page
    assert "80 of a hundred 90 of a hundred" in page
    assert "the unit test of Counting Boats needs 18 of 20 right answers instead of 16" in page
    assert (percent(), versions()) == (80, 1)

    sent = dict(re.findall(r'<input type="hidden" name="([\w.]+)" value="([^"]*)"', looked.content.decode()))
    answer = ruth.post("/settings/", sent | {"sure": "yes"})

    assert answer["Location"] == "/settings/?saved=rules"
    assert (percent(), versions()) == (90, 2)
    assert "Saved: the rules hold from now on" in words(ruth.get(answer["Location"]).content)
    assert "Version 2, of 12 January 2026; before it 1, of 1 September 2025." in words(
        ruth.get("/settings/").content
    )


def test_saved_without_having_been_looked_at_it_needs_the_stamp(ruth: Client) -> None:
    answer = ruth.post("/settings/", form(ruth, marks__unit_test_percent="90") | {"sure": "yes"})
    assert answer.status_code == 409
    assert "Nothing was saved: look at what it would change now, and save it again." in words(answer.content)
    assert percent() == 80


def test_aids_are_edited_in_rows(ruth: Client, home: Home) -> None:
    typed = form(ruth, aids__1__year="9", aids__2__year="11", aids__2__allowed="pencil; ruler , calculator")
    looked = ruth.post("/settings/", typed)
    assert "from year 9: pencil, eraser, ruler, calculator; from year 11: pencil, ruler, calculator" in words(
        looked.content
    )
    ruth.post("/settings/", typed | {"sure": "yes", "stamp": home.stamp})
    programme = queries.home_of("home").programme
    assert programme.aids_for(8) == ("pencil", "eraser", "ruler")
    assert programme.aids_for(12) == ("pencil", "ruler", "calculator")


def test_a_row_of_aids_that_is_emptied_is_taken_out(ruth: Client, home: Home) -> None:
    typed = form(ruth, aids__0__year="", aids__0__allowed="", aids__1__year="0")
    ruth.post("/settings/", typed | {"sure": "yes", "stamp": home.stamp})
    assert len(queries.home_of("home").programme.aids) == 1


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        (MARK, "eighty", "'eighty' stands here; wanted is a whole number from 1 to 100."),
        (MARK, "", "'' stands here; wanted is a whole number from 1 to 100."),
        (MARK, "0", "0 stands here; wanted is a whole number from 1 to 100."),
        ("unit_test.morning_until", "07:30", "wanted is a time after 08:00, when the morning begins."),
        ("unit_test.morning_from", "eight", "wanted is a time of day, written 12:00."),
        ("marks.exact_mark_passes", "maybe", "'maybe' stands here; wanted is true or false."),
        ("dispatch.day", "31", "31 stands here; wanted is a whole number from 1 to 28."),
        ("aids.1.year", "seven", "'seven' stands here; wanted is a whole number from 0 to 20."),
        ("aids.1.year", "0", "wanted is one that does not stand there already."),
    ],
)
def test_what_the_loader_cannot_take_is_said_at_its_field_and_stays_typed(
    ruth: Client, field: str, typed: str, says: str
) -> None:
    answer = ruth.post("/settings/", form(ruth) | {field: typed, "marking.sections_ahead": "3"})
    assert answer.status_code == 409
    assert says in words(answer.content)
    kept = fields(answer.content)
    assert kept["marking.sections_ahead"] == "3"
    if field != "marks.exact_mark_passes":
        assert kept[field] == typed
        assert re.search(rf'name="{re.escape(field)}"[^>]*aria-invalid="true"', answer.content.decode())
    assert versions() == 1


def test_nobody_needs_more_than_everything_right(ruth: Client) -> None:
    typed = form(ruth, marks__unit_test_percent="100", marks__exact_mark_passes="false")
    assert "nobody has more than everything right" in words(ruth.post("/settings/", typed).content)


def test_the_same_again_is_told(ruth: Client) -> None:
    assert "Nothing is different from what holds already." in words(
        ruth.post("/settings/", form(ruth)).content
    )


def test_costs_are_changed(ruth: Client) -> None:
    answer = ruth.post("/settings/costs", {"failed_test_costs": "12", "hold_day_costs": "1,5"})
    assert answer["Location"] == "/settings/?saved=costs#costs"
    home = queries.home_of("home")
    assert (home.failed_test_costs, home.hold_day_costs) == (12, 1.5)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"failed_test_costs": "a lot", "hold_day_costs": "1"}, "A number of school days is wanted here"),
        (
            {"failed_test_costs": "61", "hold_day_costs": "1"},
            "61 stands here; wanted is more than 0 and at most 60",
        ),
        (
            {"failed_test_costs": "8", "hold_day_costs": "0"},
            "0 stands here; wanted is more than 0 and at most 5",
        ),
        ({"failed_test_costs": "8", "hold_day_costs": "nan"}, "A number of school days is wanted here"),
        ({}, "A number of school days is wanted here"),
    ],
)
def test_costs_that_cannot_be_are_said(ruth: Client, typed: dict[str, str], says: str) -> None:
    answer = ruth.post("/settings/costs", typed)
    assert answer.status_code == 409
    assert says in words(answer.content)
    home = queries.home_of("home")
    assert (home.failed_test_costs, home.hold_day_costs) == (8, 1)


GETS = ("/settings/", "/settings/people/", "/settings/calendar/")
POSTS = (
    "/settings/",
    "/settings/costs",
    *(f"/settings/people/{do}" for do in ("add", "rename", "role", "password", "leave", "back")),
    *(f"/settings/calendar/{do}" for do in ("paint", "terms", "week")),
)


def test_settings_are_for_educators_alone(ruth: Client, home: Home) -> None:
    tobi, stranger = Client(), Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    assert {tobi.get(path).status_code for path in GETS} == {403}
    assert {tobi.post(path, {"name": "x"}).status_code for path in POSTS} == {403}
    assert {stranger.get(path)["Location"].split("?")[0] for path in GETS} == {"/sign-in/"}
    assert {stranger.post(path)["Location"].split("?")[0] for path in POSTS} == {"/sign-in/"}
    assert queries.home_of("home").stamp == home.stamp
    assert "Settings" in ruth.get("/").content.decode()
    assert "/settings/" not in tobi.get("/").content.decode()


def test_what_asks_for_nothing_is_answered(ruth: Client) -> None:
    """An empty form is no crash anywhere."""
    for path in POSTS:
        assert ruth.post(path).status_code in (200, 404, 409), path
    assert {ruth.get(path).status_code for path in POSTS[1:]} == {405}
