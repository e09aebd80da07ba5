"""What becomes of the plan in force when one goal is changed by hand, in sentences: shown while the educator still types."""

from collections.abc import Iterator, Sequence
from datetime import date

from markstead.errors import InputError
from markstead.errors import Problem as Wrong
from markstead.plan.answer import Goal
from markstead.plan.edit import DayGoals, Edited, edit
from markstead.plan.whatif import TargetChange
from markstead.records.home import Home
from markstead.records.plans import KeptPlan, goal_words, in_force, speech_of
from markstead.speech import day_short

TESTS = {"": "no test", "practice": "practice test", "unit": "unit test"}


def effect(
    home: Home, *, learner: str, course: str, day: date, last: int | None, tests: str = ""
) -> tuple[str, ...]:
    """Tell what a goal set by hand would change; nothing is written.

    Only the course itself is planned around the goal, within a tenth of a second; the plan that is made when the goal is
    taken may move other courses too.

    Args:
        home: whose plan.
        learner: id of the learner.
        course: of the learner.
        day: a day that is planned.
        last: the last page of the day; None: no pages.
        tests: 'practice' where all pages and the practice test are meant, 'unit' for the unit test, else nothing.

    Raises:
        InputError: there is no plan, it does not plan that day or course, or the workbook in hand has no such page.
    """
    plan = in_force(home)
    if plan is None or plan.answer is None or day not in plan.problem.days:
        raise InputError([Wrong("goal", day_short(day), "a day that is planned")])
    if tests not in TESTS:
        raise InputError([Wrong("goal", repr(tests[:40]), "pages, the practice test or the unit test")])
    speech = speech_of(home)
    found = edit(
        plan.problem,
        plan.answer,
        learner,
        course,
        plan.problem.days.index(day),
        last=last if not tests else None,
        practice=tests == "practice",
        unit=tests == "unit",
        speech=speech,
    )
    return tuple(_sentences(home, plan, found, day))


def _sentences(home: Home, plan: KeptPlan, found: Edited, day: date) -> Iterator[str]:
    days = plan.problem.days
    titles = {code: book.title for code, book in home.programme.workbooks.items()}
    here = next((line for line in found.days if days[line.day] == day), None)
    if here is None:
        yield f"{day_short(day)}: that is the goal already."
        return
    yield f"{day_short(day)}: {_goals(here.after, titles)} instead of {_goals(here.before, titles)}."
    for breach in found.breaches:
        yield f"That breaks a rule. {breach.sentence}"
    if found.points is None:
        return
    tests = list(_tests(found.days, days, titles))
    yield from tests
    targets = [line for change in found.targets if (line := _target(change, days, titles))]
    yield from targets
    if not tests and not targets:
        yield "No test and no target of the course moves."


def _goals(goals: Sequence[Goal], titles: dict[str, str]) -> str:
    return " and ".join(goal_words(goal, titles[goal.workbook]) for goal in goals) or "nothing"


def _tests(changed: Sequence[DayGoals], days: Sequence[date], titles: dict[str, str]) -> Iterator[str]:
    """Tests of the course that are held on another day."""
    was, now = _days_of_tests(changed, after=False), _days_of_tests(changed, after=True)
    for key in sorted({*was, *now}, key=lambda k: now.get(k, was.get(k, 0))):
        test, code = key
        name = f"The {test} of {titles[code]}"
        if key not in now:
            yield f"{name} is no longer within the days that are planned."
        elif key not in was:
            yield f"{name} is on {day_short(days[now[key]])}."
        elif was[key] != now[key]:
            yield f"{name} is on {day_short(days[now[key]])} instead of {day_short(days[was[key]])}."


def _days_of_tests(changed: Sequence[DayGoals], *, after: bool) -> dict[tuple[str, str], int]:
    found = {}
    for line in changed:
        for goal in line.after if after else line.before:
            if goal.practice:
                found["practice test", goal.workbook] = line.day
            if goal.unit:
                found["unit test", goal.workbook] = line.day
    return found


def _target(change: TargetChange, days: Sequence[date], titles: dict[str, str]) -> str:
    before, after = change.before, change.after
    if before is None or after is None or before.late == after.late:
        return ""
    name, by = titles[after.target.workbook], day_short(days[after.target.day])
    if not after.late:
        return f"The target {name} by {by} is met then."
    late = f"{after.late} school day{'s' * (after.late != 1)} late"
    return f"The target {name} by {by} is {late} then{f', {before.late} without it' if before.late else ''}."
