"""The goals of a learner's next school days, as the plan in force has them, and how full the days are."""

from dataclasses import dataclass
from datetime import date

from markstead.plan.answer import Goal
from markstead.plan.moves import HALF
from markstead.records.home import Home, Somebody
from markstead.records.plans import KeptPlan
from markstead.rules.ruling import page_words
from markstead.speech import day_short, say, weekday_short

DAYS = 5


@dataclass(frozen=True, slots=True)
class GoalCell:
    """What is planned of one course on one day."""

    day: str
    pages: str
    book: str
    """Title of the workbook, where it is another than in the cell before."""
    test: str
    by_hand: bool


@dataclass(frozen=True, slots=True)
class GoalRow:
    """One course."""

    course: str
    title: str
    cells: tuple[GoalCell, ...]


@dataclass(frozen=True, slots=True)
class DayHead:
    """One school day."""

    value: str
    words: str
    load: str
    over: bool
    """More minutes than the learner should work."""


@dataclass(frozen=True, slots=True)
class GoalTable:
    """The goals of the next school days."""

    days: tuple[DayHead, ...]
    rows: tuple[GoalRow, ...]
    number: int
    """Of the plan in force."""


def goal_table(home: Home, plan: KeptPlan | None, learner: Somebody, today: date) -> GoalTable | None:
    """Put the goals of the next school days into words; None where no plan speaks of them."""
    if plan is None or plan.answer is None or not plan.answer.places:
        return None
    days = [day for day in plan.problem.days if day >= today][:DAYS]
    if not days or all(limits.learner != learner.id for limits in plan.problem.learners):
        return None
    return GoalTable(
        tuple(_head(plan, learner, day) for day in days),
        tuple(_row(home, plan, learner, course, days) for course in learner.courses),
        plan.number,
    )


def _head(plan: KeptPlan, learner: Somebody, day: date) -> DayHead:
    index = plan.problem.days.index(day)
    limits = plan.problem.limits(learner.id)
    halves = plan.loads()[learner.id][index]
    soft = limits.soft[index]
    load = (
        say("{minutes} of {wished} min", minutes=halves // HALF, wished=soft // HALF)
        if limits.here[index]
        else say("away")
    )
    return DayHead(day.isoformat(), day_short(day), load, halves > soft)


def _row(home: Home, plan: KeptPlan, learner: Somebody, course: str, days: list[date]) -> GoalRow:
    cells: list[GoalCell] = []
    latest = ""
    for day in days:
        goal = plan.goals(day).get((learner.id, course))
        hand = any((g.learner, g.course, g.day) == (learner.id, course, day) for g in plan.by_hand)
        cells.append(_cell(home, goal, day, latest, by_hand=hand))
        latest = goal.workbook if goal is not None else latest
    return GoalRow(course, home.programme.course(course).title, tuple(cells))


def _cell(home: Home, goal: Goal | None, day: date, latest: str, *, by_hand: bool) -> GoalCell:
    words = f"{weekday_short(day)} {day.day}"
    if goal is None:
        return GoalCell(words, "", "", "", by_hand)
    pages = ""
    if goal.first is not None and goal.last is not None:
        pages = page_words(goal.first, goal.last)
    test = say("practice test") if goal.practice else say("unit test") if goal.unit else ""
    title = home.programme.workbook(goal.workbook).title if goal.workbook != latest else ""
    return GoalCell(words, pages, title, test, by_hand)
