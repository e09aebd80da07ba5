"""What the plan in force has for a learner's courses, as a forecast takes it."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

from markstead.plan.answer import Goal
from markstead.plan.problem import Stream
from markstead.records.ahead import school_days
from markstead.records.home import Home, Somebody
from markstead.records.outlooks import Planned, PlannedCourse
from markstead.records.plans import KeptPlan, in_force


def planned_of(home: Home, today: date) -> Mapping[str, Planned]:
    """What the plan in force has for every learner, by learner; nothing without a plan."""
    plan = in_force(home)
    if plan is None:
        return {}
    return {learner.id: planned_by(home, plan, learner, today) for learner in home.learners}


def planned_by(home: Home, plan: KeptPlan, learner: Somebody, today: date) -> Planned:
    """What a plan has for a learner from a day on.

    A forecast adds the days of tests itself, and on other days than the plan does: a day on which the plan has no pages
    because of a test counts like the course's other days. A day that the plan does not know, or that comes after it is done
    with the course, has the comfortable pages, for whoever is behind then goes on.
    """
    days = school_days(home, today, learner.id)
    goals: dict[str, list[Goal]] = defaultdict(list)
    for goal in plan.answer.goals if plan.answer is not None else ():
        if goal.learner == learner.id:
            goals[goal.course].append(goal)
    return {
        stream.course: _planned(plan, stream, goals[stream.course], days)
        for stream in plan.problem.streams
        if stream.learner == learner.id
    }


def _planned(plan: KeptPlan, stream: Stream, goals: Sequence[Goal], days: Sequence[date]) -> PlannedCourse:
    pages: dict[int, int] = defaultdict(int)
    for goal in goals:
        pages[goal.day] += goal.pages
    tests = _days_of_tests(goals)
    done = max(pages, default=-1)
    usual = sum(pages.values()) / max(1, sum(n > 0 for n in pages.values()))
    number = {day: n for n, day in enumerate(plan.problem.days)}

    def on(day: date) -> float:
        n = number.get(day)
        if n is None or n > done:
            return float(stream.comfortable)
        return float(pages[n] or (usual if n in tests else 0))

    passed = {goal.workbook: plan.problem.days[goal.day] for goal in goals if goal.unit}
    due = {workbook: sum(d <= day for d in days) for workbook, day in passed.items()}
    return PlannedCourse(tuple(on(day) for day in days), due)


def _days_of_tests(goals: Sequence[Goal]) -> set[int]:
    """Days of tests, and days between the two tests of a workbook."""
    found: set[int] = set()
    practised = None
    for goal in goals:
        if goal.practice:
            practised = goal.day
        if goal.unit:
            found |= set(range(goal.day if practised is None else practised, goal.day))
            practised = None
        if goal.practice or goal.unit:
            found.add(goal.day)
    return found
