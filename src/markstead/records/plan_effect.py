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
from markstead.speech import and_words, counted, day_short, later, say

TESTS = ("", "practice", "unit")
_THE_TEST = {
    "practice": later("The practice test of {title}"),
    "unit": later("The unit test of {title}"),
}


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
        raise InputError([Wrong(say("goal"), day_short(day), say("a day that is planned"))])
    if tests not in TESTS:
        raise InputError(
            [Wrong(say("goal"), repr(tests[:40]), say("pages, the practice test or the unit test"))]
        )
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
        yield say("{day}: that is the goal already.", day=day_short(day))
        return
    yield say(
        "{day}: {goals} instead of {before}.",
        day=day_short(day),
        goals=_goals(here.after, titles),
        before=_goals(here.before, titles),
    )
    for breach in found.breaches:
        yield say("That breaks a rule. {sentence}", sentence=breach.sentence)
    if found.points is None:
        return
    tests = list(_tests(found.days, days, titles))
    yield from tests
    targets = [line for change in found.targets if (line := _target(change, days, titles))]
    yield from targets
    if not tests and not targets:
        yield say("No test and no target of the course moves.")


def _goals(goals: Sequence[Goal], titles: dict[str, str]) -> str:
    return and_words(goal_words(goal, titles[goal.workbook]) for goal in goals) if goals else say("nothing")


def _tests(changed: Sequence[DayGoals], days: Sequence[date], titles: dict[str, str]) -> Iterator[str]:
    """Tests of the course that are held on another day."""
    was, now = _days_of_tests(changed, after=False), _days_of_tests(changed, after=True)
    for key in sorted({*was, *now}, key=lambda k: now.get(k, was.get(k, 0))):
        test, code = key
        name = say(_THE_TEST[test], title=titles[code])
        if key not in now:
            yield say("{test} is no longer within the days that are planned.", test=name)
        elif key not in was:
            yield say("{test} is on {day}.", test=name, day=day_short(days[now[key]]))
        elif was[key] != now[key]:
            yield say(
                "{test} is on {day} instead of {before}.",
                test=name,
                day=day_short(days[now[key]]),
                before=day_short(days[was[key]]),
            )


def _days_of_tests(changed: Sequence[DayGoals], *, after: bool) -> dict[tuple[str, str], int]:
    found = {}
    for line in changed:
        for goal in line.after if after else line.before:
            if goal.practice:
                found["practice", goal.workbook] = line.day
            if goal.unit:
                found["unit", goal.workbook] = line.day
    return found


def _target(change: TargetChange, days: Sequence[date], titles: dict[str, str]) -> str:
    before, after = change.before, change.after
    if before is None or after is None or before.late == after.late:
        return ""
    name, by = titles[after.target.workbook], day_short(days[after.target.day])
    if not after.late:
        return say("The target {title} by {day} is met then.", title=name, day=by)
    if not before.late:
        return counted(
            after.late,
            "The target {title} by {day} is {n} school day late then.",
            "The target {title} by {day} is {n} school days late then.",
            title=name,
            day=by,
        )
    return counted(
        after.late,
        "The target {title} by {day} is {n} school day late then, {before} without it.",
        "The target {title} by {day} is {n} school days late then, {before} without it.",
        title=name,
        day=by,
        before=before.late,
    )
