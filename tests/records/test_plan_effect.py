"""What a goal set by hand would change, told in sentences and written nowhere."""

from datetime import timedelta

import pytest

from markstead.errors import InputError
from markstead.records import plans, queries
from markstead.records.home import Home
from markstead.records.models import Entry
from markstead.records.models import Plan as PlanRow
from markstead.records.plan_effect import effect
from markstead.records.plans import KeptPlan
from markstead.speech import day_short
from tests.records.test_plan_sheets import TODAY, begun, planned
from tests.tools.homes import small_home

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan() -> KeptPlan:
    home = small_home()
    begun()
    return planned(home)


@pytest.fixture
def home(plan: KeptPlan) -> Home:
    return queries.home_of("home")


def asa(home: Home) -> str:
    return home.person("asa").id


def goal_of(home: Home, plan: KeptPlan) -> tuple[int, int]:
    """First and last page of Asa's sums on the first planned day."""
    goal = plan.goals(TODAY)[asa(home), "sums-5"]
    assert goal.first is not None
    assert goal.last is not None
    return goal.first, goal.last


def test_the_goal_as_it_is_changes_nothing(home: Home, plan: KeptPlan) -> None:
    lines = effect(home, learner=asa(home), course="sums-5", day=TODAY, last=goal_of(home, plan)[1])
    assert lines == (f"{day_short(TODAY)}: that is the goal already.",)


def test_fewer_pages_are_told_beside_those_that_were_planned(home: Home, plan: KeptPlan) -> None:
    first, last = goal_of(home, plan)
    lines = effect(home, learner=asa(home), course="sums-5", day=TODAY, last=last - 1)
    many = f"pages {first}-{last - 1}" if last - 1 > first else f"page {first}"
    assert lines[0] == (
        f"{day_short(TODAY)}: {many} of Counting Boats instead of pages {first}-{last} of Counting Boats."
    )
    assert not any("breaks a rule" in line for line in lines)


def test_more_pages_than_a_day_may_have_break_a_rule_that_is_named(home: Home, plan: KeptPlan) -> None:
    stream = plan.problem.stream(asa(home), "sums-5")
    first, _ = goal_of(home, plan)
    far = first + stream.most
    assert far <= stream.workbooks[0].pages
    lines = effect(home, learner=asa(home), course="sums-5", day=TODAY, last=far)
    assert any(line.startswith("That breaks a rule.") and str(stream.most) in line for line in lines)


def test_a_test_that_moves_is_told_with_both_days(home: Home, plan: KeptPlan) -> None:
    """Nothing done on the first three days: the unit test of the workbook cannot stay where it was."""
    assert plan.answer is not None
    day = next(
        plan.problem.days[g.day]
        for g in plan.answer.goals
        if g.unit and (g.learner, g.workbook) == (asa(home), "sums-5-01")
    )
    eve = max(d for d in plan.problem.days if d < day)
    lines = effect(home, learner=asa(home), course="sums-5", day=eve, last=None)
    assert any(
        line.startswith("The unit test of Counting Boats is on ")
        and line.endswith(f"instead of {day_short(day)}.")
        for line in lines
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"last": 99}, "last page: found 99"),
        ({"last": 1, "day": TODAY + timedelta(days=400)}, "a day that is planned"),
        ({"last": 1, "course": "sums-9"}, "course of Asa"),
        ({"last": None, "tests": "everything"}, "'everything'"),
    ],
)
def test_what_cannot_be_is_said_with_its_number(home: Home, asked: dict[str, object], said: str) -> None:
    values = {"learner": asa(home), "course": "sums-5", "day": TODAY} | asked
    with pytest.raises(InputError, match=said):
        effect(home, **values)  # type: ignore[arg-type]


def test_without_a_plan_there_is_nothing_to_change(db: None) -> None:
    home = small_home()
    with pytest.raises(InputError, match="a day that is planned"):
        effect(home, learner=asa(home), course="sums-5", day=TODAY, last=1)


def test_nothing_is_written(home: Home, plan: KeptPlan) -> None:
    before = (Entry.objects.count(), PlanRow.objects.count(), plans.in_force(home))
    effect(home, learner=asa(home), course="sums-5", day=TODAY, last=goal_of(home, plan)[1] - 1)
    assert (Entry.objects.count(), PlanRow.objects.count(), plans.in_force(queries.home_of("home"))) == before
