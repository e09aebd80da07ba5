"""The sheets of term, year and mornings through Django's test client; for educators alone."""

import re
from datetime import date, timedelta

import pytest
from django.test import Client

from markstead.forecast.outlook import DoneBy
from markstead.records import plans, queries
from markstead.records.plans import Effort
from markstead.web.sheet_plots import fan_plot, strokes
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY

SHEETS = ("/plan/term/", "/plan/year/", "/plan/load/")


@pytest.fixture
def planned(ruth: Client, boats: str) -> Client:
    """Ruth's browser, with a plan in force."""
    by = queries.home_of("home").person("ruth").id
    kept = plans.plan_now("home", by=by, now=MONDAY, clock=lambda: MONDAY, effort=Effort.ANEW)
    plans.take("home", kept.number, now=MONDAY)
    return ruth


@pytest.mark.parametrize("address", SHEETS)
def test_without_a_plan_a_sheet_says_so_and_offers_to_make_one(ruth: Client, address: str) -> None:
    page = ruth.get(address).content.decode()
    assert "No plan is in force yet." in page
    assert 'action="/plan/make"' in page


@pytest.mark.parametrize("address", SHEETS)
def test_a_helper_may_not_see_a_sheet(planned: Client, address: str) -> None:
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    assert tobi.get(address).status_code == 403


def test_the_term_names_weeks_learners_and_where_their_courses_stand(planned: Client) -> None:
    page = planned.get("/plan/term/").content.decode()
    assert "12 to 16 Jan" in page
    for words in ("Asa", "Noa", "Counting Boats", "unit test", "On time?"):
        assert words in page


def test_a_plan_that_was_not_kept_asks_to_be_made_again(
    planned: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "no longer fits" not in planned.get("/plan/term/").content.decode()
    monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + timedelta(days=3)).isoformat())
    page = planned.get("/plan/term/").content.decode()
    assert "The plan no longer fits where the learners stand" in page
    assert 'action="/plan/again"' in page


def test_the_year_names_every_workbook_with_its_unit_test(planned: Client) -> None:
    page = planned.get("/plan/year/").content.decode()
    for title in ("Counting Boats", "Counting Gulls", "Names of Winds"):
        assert title in page


def test_the_mornings_say_that_their_hours_are_a_guess(planned: Client) -> None:
    page = planned.get("/plan/load/").content.decode()
    assert "The hours are a guess." in page
    assert "Mon 12 Jan" in page or "Tue 13 Jan" in page


def test_a_plan_whose_days_are_over_says_so(planned: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + timedelta(days=90)).isoformat())
    page = planned.get("/plan/term/").content.decode()
    assert "has no day to show here" in page


@pytest.mark.parametrize("address", SHEETS)
def test_no_id_of_a_person_is_read_on_a_sheet(planned: Client, address: str) -> None:
    page = planned.get(address).content.decode()
    assert all(p.id not in page for p in queries.home_of("home").people.values())


@pytest.mark.parametrize(
    ("share", "short", "long"), [(0.0, 0, 0), (0.84, 8, 0), (1.0, 10, 0), (1.24, 10, 2), (9.0, 10, 5)]
)
def test_strokes_are_one_for_each_tenth_and_at_most_fifteen(share: float, short: int, long: int) -> None:
    drawn = strokes(share)
    assert (drawn.path.count("M"), drawn.over.count("M")) == (short, long)


def test_a_day_that_is_none_means_today_s_term(planned: Client) -> None:
    heads = [
        planned.get(address).content.decode().partition("<h1>")[2].partition("</h1>")[0]
        for address in ("/plan/term/", "/plan/term/?on=soon", "/plan/term/?on=2026-01-20")
    ]
    assert "planned days" in heads[0]
    assert len(set(heads)) == 1


def test_a_day_after_the_last_term_has_no_sheet(planned: Client) -> None:
    assert "has no day to show here" in planned.get("/plan/term/?on=2031-01-01").content.decode()


def test_the_year_says_whether_targets_are_met_and_draws_the_fan(planned: Client) -> None:
    page = planned.get("/plan/year/").content.decode()
    assert "On time?" in page
    assert "Workbooks finished from now on, week by week:" in page


def weeks(*done: tuple[int, int, int, int, int]) -> list[DoneBy]:
    return [DoneBy(date(2026, 1, 9) + timedelta(days=7 * n), 0.0, 0.0, row) for n, row in enumerate(done)]


def numbers(path: str) -> list[float]:
    return [float(found) for found in re.findall(r"-?[0-9.]+", path)]


class TestFan:
    """The fan of workbooks, against places worked out by hand: four workbooks over 152 units, so 38 a workbook."""

    def test_strokes_reach_from_the_fewest_to_the_most(self) -> None:
        fan = fan_plot(weeks((0, 1, 2, 3, 4), (1, 2, 3, 4, 4)), [], "")
        assert fan is not None
        assert numbers(fan.nine)[1:3] == [172, 20]
        assert numbers(fan.eight)[1:3] == [172 - 38, 172 - 3 * 38]
        assert numbers(fan.middle)[1] == 172 - 2 * 38
        # The last week stands at the right edge.
        assert numbers(fan.nine)[3] == fan.right

    def test_the_plan_steps_up_at_each_unit_test(self) -> None:
        days = [date(2026, 1, 16), date(2026, 1, 5), date(2026, 3, 2)]
        fan = fan_plot(weeks((0, 0, 1, 1, 4), (0, 1, 2, 3, 4)), days, "")
        assert fan is not None
        # Three days of fourteen lie before 5 January; the third test lies beyond the weeks that are drawn.
        left, right = fan.left, fan.right
        assert numbers(fan.plan) == [
            left,
            172,
            round(left + (right - left) * 3 / 14, 1),
            134,
            right,
            96,
            right,
        ]

    def test_a_single_week_is_no_fan(self) -> None:
        assert fan_plot(weeks((0, 0, 1, 1, 2)), [], "") is None
