"""Goals of the plan on today's page: shown, set in one act, from where the learner stands."""

from datetime import datetime, timedelta

import pytest
from django.test import Client

from markstead.ledger.facts import GoalSet
from markstead.records import actions as a
from markstead.records import plans, queries
from markstead.records.models import Entry
from markstead.records.plans import Effort, KeptPlan
from markstead.rules.ruling import page_words
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY


@pytest.fixture
def at_work(boats: str) -> str:
    """Asa has begun the workbook and done page 1."""
    early = MONDAY - timedelta(hours=1)
    a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=early)
    a.hold_opening_talk("home", copy=boats, by="ruth", at=early)
    a.work_pages("home", copy=boats, first=1, last=1, minutes=5, by="asa", at=early)
    return boats


def plan(now: datetime = MONDAY) -> KeptPlan:
    home = queries.home_of("home")
    kept = plans.plan_now("home", by=home.person("ruth").id, now=now, clock=lambda: now, effort=Effort.ANEW)
    return plans.take("home", kept.number, now=now)


def planned_today(kept: KeptPlan) -> tuple[int, int]:
    asa = queries.home_of("home").person("asa").id
    goal = kept.goals(MONDAY.date())[asa, "sums-5"]
    assert goal.first is not None
    assert goal.last is not None
    return goal.first, goal.last


def written() -> list[str]:
    return list(Entry.objects.filter(kind=GoalSet.KIND).values_list("body", flat=True))


def test_without_a_plan_no_goal_is_spoken_of(ruth: Client, at_work: str) -> None:
    assert "planned" not in ruth.get("/").content.decode()


def test_a_planned_goal_stands_at_its_workbook_and_on_its_ruler(ruth: Client, at_work: str) -> None:
    _, last = planned_today(plan())
    page = ruth.get("/").content.decode()
    assert f"planned: pages 1-{last}" in page
    assert f"planned today: pages 1-{last}" in page
    assert 'class="r-goal is-planned"' in page
    assert (
        "1 goal of today&#x27;s plan is not set yet." in page
        or "1 goal of today's plan is not set yet." in page
    )


def test_setting_the_goals_writes_them_once_however_often_it_is_sent(ruth: Client, at_work: str) -> None:
    _, last = planned_today(plan())
    for _ in range(2):
        answer = ruth.post("/goals/set", {"token": "once-and-only"})
        assert answer.status_code in (200, 302)
    assert len(written()) == 1
    standing = queries.copy_page("home", at_work, now=MONDAY).copy.standing
    assert standing.goal == GoalSet(at_work, MONDAY.date(), 1, last)
    page = ruth.get("/").content.decode()
    assert f"goal: pages 1-{last}" in page
    assert "not set yet" not in page


def test_a_goal_that_is_reached_says_so(ruth: Client, at_work: str) -> None:
    a.set_goal("home", copy=at_work, first=1, last=2, by="ruth", at=MONDAY)
    a.work_pages("home", copy=at_work, first=1, last=2, by="asa", at=MONDAY)
    assert "goal: pages 1-2 ✓ done</span>" in ruth.get("/").content.decode()


def test_a_goal_set_by_hand_is_not_replaced_by_the_planned_one(ruth: Client, at_work: str) -> None:
    plan()
    a.set_goal("home", copy=at_work, first=2, last=2, by="ruth", at=MONDAY)
    page = ruth.get("/").content.decode()
    assert "goal: page 2</span>" in page
    assert "planned:" not in page
    assert "All goals of today are set" in ruth.post("/goals/set", {"token": "t-1"}).content.decode()
    assert len(written()) == 1


def test_what_was_not_done_before_is_part_of_the_goal_and_told_apart(ruth: Client, at_work: str) -> None:
    kept = plan()
    asa = queries.home_of("home").person("asa").id
    tuesday = (MONDAY + timedelta(days=1)).date()
    goal = kept.goals(tuesday)[asa, "sums-5"]
    today = queries.today("home", now=MONDAY + timedelta(days=1))
    held = [(asa, "sums-5", view.standing) for day in today.learners for view in day.copies]
    found = plans.goals_of_day(today.home, today.link, tuesday, held)[at_work]
    assert found.goal == GoalSet(at_work, tuesday, 2, goal.last, found.goal.step)
    assert goal.first is not None
    assert found.behind == goal.first - 2 > 0


def test_a_unit_test_that_is_planned_before_its_practice_test_is_passed_no_longer_holds(
    ruth: Client, at_work: str
) -> None:
    kept = plan()
    asa = queries.home_of("home").person("asa").id
    day = next(d for d in kept.problem.days if (g := kept.goals(d).get((asa, "sums-5"))) and g.unit)
    today = queries.today("home", now=MONDAY)
    held = [(asa, "sums-5", view.standing) for each in today.learners for view in each.copies]
    assert not plans.goals_of_day(today.home, today.link, day, held)[at_work].holds


@pytest.mark.parametrize(("who", "allowed"), [("ruth", True), ("tobi", True), (None, False)])
def test_grown_ups_of_the_home_may_set_goals_and_nobody_else(
    ruth: Client, at_work: str, who: str | None, allowed: bool
) -> None:
    plan()
    client = Client()
    if who is not None:
        client.post("/sign-in/", {"username": f"{who}-home", "password": PASSWORD})
    answer = client.post("/goals/set", {"token": "t-2"})
    assert (answer.status_code, len(written())) == ((302, 1) if allowed else (302, 0))
    assert ("/sign-in/" in answer["Location"]) is not allowed


def test_the_plan_is_not_told_to_a_helper_where_it_slips(ruth: Client, at_work: str) -> None:
    plan()
    client = Client()
    client.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    assert "no longer hold" not in client.get("/").content.decode()


class TestTheEffectOfAGoal:
    """What a goal set by hand would change is told while it is typed."""

    def posted(self, ruth: Client, **typed: str) -> str:
        asa = queries.home_of("home").person("asa").id
        values = {"course": "sums-5", "day": MONDAY.date().isoformat(), "last": "", "tests": ""} | typed
        answer = ruth.post(f"/learners/{asa}/goal/effect", values)
        assert answer.status_code == 200
        return answer.content.decode()

    def test_fewer_pages_are_told_and_nothing_is_written(self, ruth: Client, at_work: str) -> None:
        kept = plan()
        first, last = planned_today(kept)
        said = self.posted(ruth, last=str(last - 1))
        assert f"instead of {page_words(first, last)} of Counting Boats" in said
        assert plans.in_force(queries.home_of("home")) == kept
        assert written() == []

    def test_what_cannot_be_read_is_said(self, ruth: Client, at_work: str) -> None:
        plan()
        assert "last page: found" in self.posted(ruth, last="many")

    def test_a_helper_may_not_ask(self, ruth: Client, at_work: str) -> None:
        plan()
        tobi = Client()
        tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
        asa = queries.home_of("home").person("asa").id
        assert tobi.post(f"/learners/{asa}/goal/effect", {}).status_code == 403
