"""The year sheet: what each day is, and changes that are looked at before they are saved."""

import re
from collections.abc import Mapping
from datetime import date
from html import unescape

import pytest
from django.test import Client

from markstead.records import queries
from markstead.records.home import Home
from markstead.records.models import Document

WEDNESDAY = date(2026, 1, 14)
FAIR = {"colour": "holiday", "first": "2026-01-14", "last": "2026-01-15", "words": "tide fair"}


def words(page: bytes) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page.decode())))


def kept() -> Home:
    return queries.home_of("home")


def cell(page: bytes, day: str) -> str:
    """What is read aloud of a day's cell."""
    found = re.search(rf'<a class="[^"]*" href="\?first=[^"]*{day}[^"]*" aria-label="([^"]*)"', page.decode())
    assert found is not None, day
    return unescape(found[1])


def hidden(page: bytes) -> dict[str, list[str]]:
    """The hidden fields of the form that saves."""
    text = page.decode()
    part = text[text.index('id="look"') : text.index('name="sure"')]
    found: dict[str, list[str]] = {}
    for name, value in re.findall(r'<input type="hidden" name="([\w.]+)" value="([^"]*)"', part):
        found.setdefault(name, []).append(unescape(value))
    return found


def save(ruth: Client, address: str, form: Mapping[str, object]) -> None:
    """Look at a change and save it, as a person does."""
    looked = ruth.post(address, form)
    assert "What this would change" in words(looked.content), words(looked.content)
    answer = ruth.post(address, hidden(looked.content) | {"sure": "yes"})
    assert answer.status_code == 302, words(answer.content)


def test_twelve_months_with_every_day(ruth: Client) -> None:
    page = ruth.get("/settings/calendar/").content
    months = re.findall(r"<caption>(\w+ \d{4})", page.decode())
    assert months[0] == "September 2025"
    assert months[-1] == "August 2026"
    assert len(months) == 12
    assert len(re.findall(r'href="\?first=', page.decode())) == 365


def test_each_day_says_what_it_is(ruth: Client) -> None:
    page = ruth.get("/settings/calendar/").content
    assert cell(page, "2026-01-14") == "14 January, school day"
    assert cell(page, "2026-01-17") == "17 January, no school on this weekday"
    assert cell(page, "2025-12-25") == "25 December, outside every term, Christmas Day"
    assert re.search(r'aria-label="12 January, school day" aria-current="date"', page.decode())


def test_public_holidays_are_named(ruth: Client) -> None:
    page = words(ruth.get("/settings/calendar/").content)
    assert "25 Christmas Day" in page
    assert "1 New Year" in page


def test_other_years_are_a_link_away(ruth: Client) -> None:
    page = ruth.get("/settings/calendar/").content.decode()
    assert 'href="?from=2024-09-01"' in page
    assert "September 2026 to August 2027" in words(ruth.get("/settings/calendar/?from=2026-09-01").content)
    for odd in ("x", "0001-01-01", "9999-12-31", "2026-02-30"):
        assert ruth.get(f"/settings/calendar/?from={odd}").status_code == 200


def test_a_day_is_tapped_and_a_second_one_makes_a_run(ruth: Client) -> None:
    page = ruth.get("/settings/calendar/?first=2026-01-14").content.decode()
    assert re.search(r'name="first" value="2026-01-14"', page)
    assert "first=2026-01-14&amp;last=2026-01-16" in page
    assert "first=2026-01-13&amp;from" in page  # an earlier day begins anew
    page = ruth.get("/settings/calendar/?first=2026-01-14&last=2026-01-16").content.decode()
    assert page.count(' on" href') == 3
    assert re.search(r'name="last" value="2026-01-16"', page)


def test_a_holiday_is_looked_at_and_then_saved(ruth: Client) -> None:
    looked = ruth.post("/settings/calendar/paint", FAIR)
    page = words(looked.content)
    assert "What this would change Wed 14 Jan to Thu 15 Jan: holiday of this home (tide fair)" in page
    calendar = kept().calendar
    whole = len(calendar.school_days(date(2025, 9, 1), date(2026, 3, 27)))
    ahead = len(calendar.school_days(date(2026, 1, 12), date(2026, 3, 27)))
    assert f"The house {whole} {whole - 2} {ahead} {ahead - 2}" in page
    assert calendar.is_school_day(WEDNESDAY)

    save(ruth, "/settings/calendar/paint", FAIR)

    assert kept().calendar.why_closed(WEDNESDAY) == "a holiday of this home (tide fair)"
    page_now = ruth.get("/settings/calendar/").content
    assert cell(page_now, "2026-01-14") == "14 January, holiday of this home (tide fair)"
    assert "14-15 tide fair" in words(page_now)
    assert Document.objects.filter(kind="calendar").count() == 2


def test_an_absence_shows_the_initial_and_is_counted_apart(ruth: Client) -> None:
    asa = kept().person("asa").id
    form = {"colour": "absence", "first": "2026-01-14", "learner": asa, "words": "a cold"}
    assert "Asa" in words(ruth.post("/settings/calendar/paint", form).content)
    save(ruth, "/settings/calendar/paint", form)
    assert (
        cell(ruth.get("/settings/calendar/").content, "2026-01-14") == "14 January, school day, absent: Asa"
    )


@pytest.mark.parametrize(
    ("colour", "day", "says"),
    [
        ("half day", "2026-01-14", "14 January, half day"),
        ("school too", "2026-01-17", "17 January, school day, school that day too"),
        ("educator away", "2026-01-14", "14 January, school day, an educator is away"),
    ],
)
def test_every_colour(ruth: Client, colour: str, day: str, says: str) -> None:
    before = cell(ruth.get("/settings/calendar/").content, day)
    save(ruth, "/settings/calendar/paint", {"colour": colour, "first": day})
    assert cell(ruth.get("/settings/calendar/").content, day) == says
    save(ruth, "/settings/calendar/paint", {"colour": "as the week has it", "first": day})
    assert cell(ruth.get("/settings/calendar/").content, day) == before


@pytest.mark.parametrize(
    ("form", "says"),
    [
        (FAIR | {"first": ""}, "first day: found nothing; allowed is a day"),
        (FAIR | {"first": "2026-02-30"}, "first day: found '2026-02-30'"),
        (FAIR | {"last": "2026-01-13"}, "a last day that is not before the first"),
        (FAIR | {"colour": "purple"}, "what the days are: found 'purple'"),
        ({"colour": "absence", "first": "2026-01-14"}, "person: found ''"),
        ({"colour": "half day", "first": "2026-01-17"}, "at least one school day"),
        (
            {"colour": "as the week has it", "first": "2026-01-14"},
            "Nothing is different from what holds already.",
        ),
    ],
)
def test_what_cannot_be_is_said_and_stays_typed(ruth: Client, form: dict[str, str], says: str) -> None:
    answer = ruth.post("/settings/calendar/paint", form)
    assert says in words(answer.content)
    if form.get("words"):
        assert 'name="words" value="tide fair"' in answer.content.decode()
    assert Document.objects.filter(kind="calendar").count() == 1


def test_terms_are_edited_in_a_table(ruth: Client) -> None:
    page = ruth.get("/settings/calendar/").content.decode()
    form = dict(re.findall(r'name="(term\.\d\.\w+)" value="([^"]*)"', page))
    assert form["term.1.name"] == "spring"
    form |= {"term.2.name": "summer", "term.2.first": "2026-04-13", "term.2.last": "2026-07-17"}
    save(ruth, "/settings/calendar/terms", form)
    assert kept().calendar.is_school_day(date(2026, 4, 14))


def test_terms_that_overlap_are_refused_and_stay_typed(ruth: Client) -> None:
    form = {"term.0.name": "a", "term.0.first": "2026-01-05", "term.0.last": "2026-02-13"}
    form |= {"term.1.name": "b", "term.1.first": "2026-02-01", "term.1.last": "2026-03-01"}
    answer = ruth.post("/settings/calendar/terms", form)
    assert "term 2, first: found 2026-02-01; allowed is a day after 2026-02-13" in words(answer.content)
    assert 'name="term.1.name" value="b"' in answer.content.decode()
    assert Document.objects.filter(kind="calendar").count() == 1


def test_the_week_is_changed(ruth: Client) -> None:
    form: dict[str, object] = {
        "week": "yes",
        "weekdays": ["Monday", "Tuesday", "Saturday"],
        "half_weekdays": ["Saturday"],
        "public": "yes",
        "half_day_ends": "11:30",
        "country": "gb",
        "region": "SCT",
    }
    save(ruth, "/settings/calendar/week", form)
    calendar = kept().calendar
    assert (sorted(calendar.weekdays), sorted(calendar.half_weekdays)) == ([0, 1, 5], [5])
    assert calendar.region == "SCT"
    assert f"{calendar.half_day_ends:%H:%M}" == "11:30"


def test_a_week_without_a_day_is_refused(ruth: Client) -> None:
    form = {"week": "yes", "half_day_ends": "12:00", "country": "GB"}
    answer = ruth.post("/settings/calendar/week", form)
    assert "weekdays: found []; allowed is at least one of them" in words(answer.content)
    assert 'value="Monday" checked' not in answer.content.decode()


def test_a_change_by_somebody_else_meanwhile_is_looked_at_again(ruth: Client) -> None:
    looked = hidden(ruth.post("/settings/calendar/paint", FAIR).content)
    save(ruth, "/settings/calendar/paint", {"colour": "half day", "first": "2026-01-20"})
    answer = ruth.post("/settings/calendar/paint", looked | {"sure": "yes"})
    assert answer.status_code == 409
    assert "were changed since this page was opened" in words(answer.content)
    again = ruth.post("/settings/calendar/paint", hidden(answer.content) | {"sure": "yes"})
    assert again.status_code == 302
    assert not kept().calendar.is_school_day(WEDNESDAY)


def test_names_are_escaped(ruth: Client) -> None:
    save(ruth, "/settings/calendar/paint", FAIR | {"words": '<b>fair</b> & "more"'})
    page = ruth.get("/settings/calendar/").content.decode()
    assert "<b>fair" not in page
    assert "&lt;b&gt;fair" in page
