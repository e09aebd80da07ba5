"""What a change of the calendar does to the plan in force: the goals that no longer fit are named beforehand."""

from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from markstead.plan.answer import loads
from markstead.records import actions, house_rules, plan_asks, plans, queries
from markstead.records.home import Home
from markstead.records.house_calendar import Colour, Paint, Tried, effect, try_paint
from markstead.records.plans import Effort
from tests.records.house import at
from tests.tools.homes import small_home

MON, LAST = date(2026, 1, 12), date(2026, 3, 27)
NOW = at("2026-01-12 08:00")


@pytest.fixture(scope="module")
def once(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The small home with a plan in force; made once, and given back to every test."""
    with django_db_blocker.unblock(), transaction.atomic():
        small_home()
        early = NOW - timedelta(days=3)
        actions.order_copy("home", copy="boats", workbook="sums-5-01", learner="asa", by="ruth", at=early)
        actions.receive_copy("home", copy="boats", by="ruth", at=early)
        asked = [plan_asks.TargetBy("asa", "sums-5", "sums-5-01", LAST)]
        plan_asks.write_down("home", asked, today=early.date(), at=early)
        by = home().person("ruth").id
        kept = plans.plan_now("home", by=by, now=NOW, clock=lambda: NOW, effort=Effort.ANEW)
        plans.take("home", kept.number, now=NOW)
        yield
        transaction.set_rollback(True)


@pytest.fixture
def planned(once: None, db: None) -> Home:
    """The home as it was planned."""
    return home()


def home() -> Home:
    return queries.home_of("home")


def asa() -> str:
    return home().person("asa").id


def painted(colour: Colour, first: date, last: date | None = None, who: str = "", words: str = "") -> Tried:
    return try_paint(home(), Paint(colour, first, last or first, who, words))


def goals_on(day: date) -> int:
    plan = plans.in_force(home())
    assert plan is not None
    assert plan.answer is not None
    return sum(plan.problem.days[goal.day] == day for goal in plan.answer.goals)


def test_goals_that_no_longer_fit_are_named(planned: Home) -> None:
    day = next(day for day in planned.calendar.school_days(MON, date(2026, 2, 1)) if goals_on(day) > 1)
    found = effect(planned, painted(Colour.HOLIDAY, day, words="fair").calendar, MON)
    assert found.many == goals_on(day)
    assert found.goals
    assert all(line.endswith("(it is a holiday of this home (fair))") for line in found.goals)
    assert found.planned
    mine = effect(planned, painted(Colour.ABSENCE, day, who=asa()).calendar, MON).goals
    assert mine
    assert all("Asa: " in line for line in mine)


def test_a_unit_test_without_anybody_to_watch_is_named(planned: Home) -> None:
    plan = plans.in_force(planned)
    assert plan is not None
    assert plan.answer is not None
    tests = [plan.problem.days[goal.day] for goal in plan.answer.goals if goal.unit]
    assert tests
    found = effect(planned, painted(Colour.AWAY, tests[0]).calendar, MON)
    assert found.many == tests.count(tests[0])
    assert all("(no educator is there to watch)" in line for line in found.goals)


def test_a_half_day_that_is_too_short_is_named_with_its_minutes(planned: Home) -> None:
    found = effect(planned, painted(Colour.HALF, MON, LAST).calendar, MON)
    plan = plans.in_force(planned)
    assert plan is not None
    assert plan.answer is not None
    halves = loads(plan.problem, plan.answer.places)
    too_long = [
        limits.learner
        for limits in plan.problem.learners
        for n in range(plan.problem.horizon)
        if halves[limits.learner][n] // 2 > limits.hard[n] // 4
    ]
    assert found.many == len(too_long)
    limit = plan.problem.limits(asa()).hard[-1] // 4
    assert all(line.endswith(f"(a half day has {limit} at most)") for line in found.goals if "Asa" in line)


def test_days_that_have_passed_move_no_goal(planned: Home) -> None:
    found = effect(planned, painted(Colour.HOLIDAY, MON).calendar, MON + timedelta(days=1))
    assert found.goals == ()
    assert found.counts[0].ahead_before == found.counts[0].ahead_after


def test_rules_name_the_planned_tests_that_break_them(planned: Home) -> None:
    """Two school days between the tests: whatever is planned nearer is told, and nothing where the rule stays."""
    plan = plans.in_force(planned)
    assert plan is not None
    assert plan.answer is not None
    days = plan.problem.days
    practice = {(g.learner, g.workbook): days[g.day] for g in plan.answer.goals if g.practice}
    near = [
        g
        for g in plan.answer.goals
        if g.unit
        and len(planned.calendar.school_days(practice[g.learner, g.workbook], days[g.day], g.learner)) - 1 < 3
    ]
    tried = house_rules.try_rules("home", {("unit_test", "school_days_after_practice"): 3})

    effects = house_rules.effects(planned, tried.programme, NOW)
    told = [line for line in effects if "too soon" in line]
    more = [int(line.split()[1]) for line in effects if line.startswith("And ")]

    assert near
    assert len(told) + sum(more) == len(near)
    same = house_rules.try_rules("home", {("unit_test", "school_days_after_practice"): 1})
    assert not any("Planned" in line for line in house_rules.effects(planned, same.programme, NOW))
