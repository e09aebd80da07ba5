"""The plan of the demonstration home: it keeps every rule, a sick learner changes only what must, and a target that cannot
be met is told with ways out that hold."""

from collections.abc import Iterator
from datetime import UTC, date, datetime

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from markstead.plan.answer import Outcome, loads
from markstead.plan.breaches import breaches
from markstead.records import demo, plans, queries
from markstead.records.home import Home
from markstead.records.plan_asks import Ask, LearnerAway
from markstead.records.plans import Effort, KeptPlan, State
from markstead.rules.steps import Turn

REAL = datetime(2026, 11, 25, 12, tzinfo=UTC)
pytestmark = pytest.mark.django_db
SICK = (date(2026, 1, 28), date(2026, 1, 30))


class Planned:
    """The demonstration home with its plan in force."""

    def __init__(self) -> None:
        self.now = demo.build(real_now=REAL).now
        self.home: Home = queries.home_of("home")
        found = plans.in_force(self.home)
        assert found is not None
        self.plan: KeptPlan = found
        self.by = self.home.person("ruth").id

    def learner(self, key: str) -> str:
        return self.home.person(key).id

    def try_out(self, *asks: Ask, effort: Effort = Effort.MEND) -> KeptPlan:
        return plans.plan_now("home", by=self.by, now=self.now, clock=lambda: REAL, effort=effort, asks=asks)


@pytest.fixture(scope="module")
def planned(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Planned]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield Planned()
        transaction.set_rollback(True)


def goals(plan: KeptPlan, day: date) -> dict[tuple[str, str], object]:
    return {key: (g.workbook, g.first, g.last, g.practice, g.unit) for key, g in plan.goals(day).items()}


# --- the plan in force ----------------------------------------------------------------------------------------------


def test_the_plan_keeps_every_rule_to_the_end_of_the_school_year(planned: Planned) -> None:
    assert planned.plan.answer is not None
    assert planned.plan.answer.outcome is Outcome.GOOD
    assert planned.plan.problem.days[-1] == date(2026, 7, 17)
    assert breaches(planned.plan.problem, planned.plan.answer) == ()


def test_no_day_passes_the_hard_minutes_of_anybody(planned: Planned) -> None:
    problem = planned.plan.problem
    assert planned.plan.answer is not None
    for learner, halves in loads(problem, planned.plan.answer.places).items():
        limits = problem.limits(learner)
        assert all(n <= most for n, most in zip(halves, limits.hard, strict=True))


def test_every_course_has_its_days_in_every_full_week_until_summer(planned: Planned) -> None:
    """Nothing is put off until its end: in each school week of five days every course has a day, and nearly always more."""
    weeks: dict[tuple[int, int], list[date]] = {}
    for day in planned.plan.problem.days:
        weeks.setdefault(day.isocalendar()[:2], []).append(day)
    courses = [(s.learner, s.course) for s in planned.plan.problem.streams]
    full = [days for days in weeks.values() if len(days) == 5 and days[0] < date(2026, 6, 1)]
    assert len(full) >= 12
    ready = date(2026, 2, 23)  # by then every copy that is late or not ordered yet has come
    found = [
        sum(key in planned.plan.goals(day) for day in days)
        for days in full
        if days[0] >= ready
        for key in courses
    ]
    assert min(found) >= 1
    assert sum(n < 2 for n in found) <= len(found) / 100


def test_today_the_goals_go_on_where_each_learner_stands(planned: Planned) -> None:
    today = queries.today("home", now=planned.now)
    held = [(d.learner.id, v.workbook.course, v.standing) for d in today.learners for v in d.copies]
    found = plans.goals_of_day(today.home, today.link, planned.now.date(), held)
    assert len(found) >= 6
    assert all(goal.holds for goal in found.values())
    assert all(goal.behind == 0 for goal in found.values())
    at_work = {v.id for d in today.learners for v in d.copies if v.next.turn is Turn.LEARNER}
    assert at_work & set(found)


# --- a learner is sick ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sick(planned: Planned) -> KeptPlan:
    """Noa is in bed from Wednesday to Friday."""
    return planned.try_out(LearnerAway("noa", *SICK, "fever"))


def test_only_goals_of_the_sick_learner_change_on_the_days_that_were_announced(
    planned: Planned, sick: KeptPlan
) -> None:
    noa = planned.learner("noa")
    announced = planned.plan.problem.days[: planned.home.wishes.announced_days]
    for day in announced:
        before, after = goals(planned.plan, day), goals(sick, day)
        changed = {key for key in before.keys() | after.keys() if before.get(key) != after.get(key)}
        assert {learner for learner, _ in changed} <= {noa}, day


def test_every_goal_that_falls_is_named_with_its_reason(planned: Planned, sick: KeptPlan) -> None:
    noa = planned.learner("noa")
    announced = planned.plan.problem.days[: planned.home.wishes.announced_days]
    fallen = {
        (day, course)
        for day in announced
        for (learner, course) in planned.plan.goals(day)
        if learner == noa and SICK[0] <= day <= SICK[1]
    }
    assert len(fallen) >= 4
    assert {(line.day, line.course) for line in sick.says.moved} == fallen
    assert {line.because for line in sick.says.moved} == {"the learner is away"}


def test_nothing_is_planned_for_a_sick_learner_and_no_rule_is_broken(
    planned: Planned, sick: KeptPlan
) -> None:
    noa = planned.learner("noa")
    assert sick.answer is not None
    assert breaches(sick.problem, sick.answer) == ()
    for day in sick.problem.days:
        if SICK[0] <= day <= SICK[1]:
            assert not [key for key in sick.goals(day) if key[0] == noa]


def test_the_old_plan_stays_in_force_until_the_new_one_is_taken(planned: Planned, sick: KeptPlan) -> None:
    assert sick.state is State.PROPOSED
    assert queries.home_of("home").plan == planned.plan.number
    assert queries.home_of("home").calendar == planned.home.calendar


# --- a target that cannot be met ------------------------------------------------------------------------------------


def test_a_target_at_risk_is_told_with_its_reason_and_three_ways_out(planned: Planned) -> None:
    risk = planned.plan.says.at_risk
    assert [(planned.home.people[r.learner].key, r.workbook) for r in risk] == [("ilse", "science-9-09")]
    assert "at most 4 pages a day" in risk[0].reason
    assert risk[0].met is not None
    assert risk[0].met > risk[0].due
    assert len(planned.plan.says.ways) == 3


@pytest.mark.parametrize("n", [0, 1, 2])
def test_each_way_out_meets_the_target_when_the_home_is_planned_with_it(planned: Planned, n: int) -> None:
    way = planned.plan.says.ways[n]
    tried = planned.try_out(way.ask, effort=Effort.ANEW)  # as the page tries it
    assert tried.answer is not None
    assert breaches(tried.problem, tried.answer) == ()
    met = {(t.target.learner, t.target.course, t.target.workbook): t.late for t in tried.answer.targets}
    assert met[way.target] == 0
    assert sum(late > 0 for late in met.values()) == way.others_late == 0
