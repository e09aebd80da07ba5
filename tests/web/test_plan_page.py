"""Plans on screen: made, mended around a sick learner, taken or put aside; for educators alone."""

import pytest
from django.test import Client

from markstead.records import plans, queries
from markstead.records.plans import State
from tests.tools.homes import PASSWORD

POSTS = ("/plan/make", "/plan/again", "/plan/away", "/plan/1/take", "/plan/1/aside")


def made(ruth: Client) -> int:
    answer = ruth.post("/plan/make")
    assert answer.status_code == 302
    return int(answer["Location"].strip("/").rsplit("/", 1)[-1])


def in_force() -> int | None:
    return queries.home_of("home").plan


def test_without_a_plan_the_page_says_so_and_offers_to_make_one(ruth: Client, boats: str) -> None:
    page = ruth.get("/plan/").content.decode()
    assert "No plan yet" in page
    assert 'action="/plan/make"' in page


def test_a_plan_that_was_made_changes_nothing_before_it_is_taken(ruth: Client, boats: str) -> None:
    number = made(ruth)
    assert in_force() is None
    assert "Take this plan" in ruth.get(f"/plan/{number}/").content.decode()
    assert ruth.post(f"/plan/{number}/take").status_code == 302
    assert in_force() == number
    assert "The plan in force" in ruth.get("/plan/").content.decode()


def test_a_plan_whose_first_day_is_to_come_leads_to_the_sheet_of_the_term(
    ruth: Client, boats: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert ruth.post(f"/plan/{made(ruth)}/take")["Location"] == "/"
    monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-17T19:00:00+00:00")  # a Saturday
    number = made(ruth)
    assert ruth.post(f"/plan/{number}/take")["Location"] == "/plan/term/"


def test_a_sick_learner_is_planned_around_and_the_absence_is_written_when_the_plan_is_taken(
    ruth: Client, boats: str
) -> None:
    ruth.post(f"/plan/{made(ruth)}/take")
    answer = ruth.post("/plan/away", {"learner": "asa", "first": "2026-01-13", "last": "2026-01-14"})
    assert answer.status_code == 302
    page = ruth.get(answer["Location"]).content.decode()
    assert "Asa is away from Tue 13 Jan to Wed 14 Jan." in page
    assert not queries.home_of("home").calendar.absences
    number = int(answer["Location"].strip("/").rsplit("/", 1)[-1])
    ruth.post(f"/plan/{number}/take")
    asa = queries.home_of("home").person("asa").id
    assert [a.learner for a in queries.home_of("home").calendar.absences] == [asa]


@pytest.mark.parametrize(
    ("posted", "says"),
    [
        ({"learner": "asa", "first": "2026-01-14", "last": "2026-01-13"}, "not before the first"),
        ({"learner": "asa", "first": "soon", "last": "2026-01-13"}, "a day, such as"),
        ({"learner": "zoe", "first": "2026-01-13", "last": "2026-01-13"}, "one of"),
    ],
)
def test_what_cannot_be_meant_is_said_and_kept_in_the_form(
    ruth: Client, boats: str, posted: dict[str, str], says: str
) -> None:
    answer = ruth.post("/plan/away", posted)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert says in page
    assert f'value="{posted["last"]}"' in page


def test_a_plan_put_aside_leaves_the_old_one_in_force(ruth: Client, boats: str) -> None:
    first = made(ruth)
    ruth.post(f"/plan/{first}/take")
    second = int(ruth.post("/plan/again")["Location"].strip("/").rsplit("/", 1)[-1])
    ruth.post(f"/plan/{second}/aside")
    assert in_force() == first
    assert plans.kept_plan("home", second).state is State.ASIDE


def test_a_plan_made_before_the_home_changed_is_refused(ruth: Client, boats: str) -> None:
    first, second = made(ruth), made(ruth)
    ruth.post(f"/plan/{second}/take")
    answer = ruth.post(f"/plan/{first}/take")
    assert answer.status_code == 409
    assert "a plan made since" in answer.content.decode()
    assert in_force() == second


def test_a_plan_that_is_not_there_is_not_found(ruth: Client, boats: str) -> None:
    assert ruth.get("/plan/99/").status_code == 404


def test_plans_are_for_educators_alone(ruth: Client, boats: str) -> None:
    made(ruth)
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    assert {tobi.get(path).status_code for path in ("/plan/", "/plan/1/")} == {403}
    assert {tobi.post(path).status_code for path in POSTS} == {403}
    stranger = Client()
    assert {stranger.post(path).status_code for path in POSTS} == {302}
    assert in_force() is None


def test_a_goal_changed_by_hand_is_planned_around(ruth: Client, boats: str) -> None:
    ruth.post(f"/plan/{made(ruth)}/take")
    asa = queries.home_of("home").person("asa").id
    posted = {"course": "sums-5", "day": "2026-01-13", "last": "4", "tests": ""}
    answer = ruth.post(f"/learners/{asa}/goal", posted)
    assert answer.status_code == 302, answer.content.decode()[:3000]
    number = int(answer["Location"].strip("/").rsplit("/", 1)[-1])
    kept = plans.kept_plan("home", number)
    assert [(g.course, g.steps) for g in kept.by_hand] == [("sums-5", 4)]
    assert ruth.post(f"/learners/{asa}/goal", posted | {"last": "99"}).status_code == 409
