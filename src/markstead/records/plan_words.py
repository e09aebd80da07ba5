"""Plans in words: changes that they are tried with, targets and figures beside the plan in force, goals of the next days."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from markstead.plan.answer import Goal, Outcome, TargetDay, loads
from markstead.plan.moves import HALF
from markstead.plan.problem import Problem
from markstead.records import plan_asks as asked
from markstead.records.home import Home
from markstead.records.plan_asks import Ask
from markstead.records.plans import KeptPlan, Way, goal_words
from markstead.speech import and_words, counted, day_short, plural, say

Key = tuple[str, str, str]
"""Learner, course and workbook of a target."""
PROVED = 0.05
"""A gap below so many percent is the rounding of the proof."""


def who_words(home: Home, learner: str, course: str) -> str:
    """Name a learner, by id or key, and a course."""
    return f"{home.person(learner).name}, {home.programme.course(course).title}"


# --- changes ------------------------------------------------------------------------------------------------------


def ask_words(home: Home, ask: Ask) -> str:
    """A change that a plan was tried with, as a sentence."""
    match ask:
        case asked.LearnerAway():
            name, span = home.person(ask.learner).name, _span(ask.first, ask.last)
            if not ask.why:
                return say("{learner} is away {span}.", learner=name, span=span)
            return say("{learner} is away {span} ({why}).", learner=name, span=span, why=ask.why)
        case asked.NoSchool():
            span = _span(ask.first, ask.last)
            if not ask.name:
                return say("No school {span}.", span=span)
            return say("No school {span} ({name}).", span=span, name=ask.name)
        case asked.EducatorAway():
            return say("No unit test is watched {span}.", span=_span(ask.first, ask.last))
        case asked.SchoolToo():
            return say("School also on {days}.", days=", ".join(map(day_short, ask.days)))
        case asked.MinutesADay():
            name = home.person(ask.learner).name
            return say(
                "{learner}: {soft} minutes a day, {hard} at the most.",
                learner=name,
                soft=ask.soft,
                hard=ask.hard,
            )
        case asked.MoreSittings():
            return counted(
                ask.more,
                "{n} more watched sitting every morning.",
                "{n} more watched sittings every morning.",
            )
        case _:
            return _course_words(home, ask)


def _course_words(
    home: Home, ask: asked.TargetBy | asked.PagesADay | asked.CourseTaken | asked.CourseDropped
) -> str:
    who = who_words(home, ask.learner, ask.course)
    match ask:
        case asked.TargetBy():
            title = home.programme.workbook(ask.workbook).title
            if ask.by is None:
                return say("{who}: {title} without a target.", who=who, title=title)
            return say("{who}: {title} by {day}.", who=who, title=title, day=day_short(ask.by))
        case asked.PagesADay():
            comfortable = (
                say("{pages} pages", pages=ask.comfortable)
                if ask.comfortable is not None
                else say("usual pages")
            )
            most = (
                say("{pages} at the most", pages=ask.most) if ask.most is not None else say("the usual most")
            )
            if ask.weight is None:
                return say("{who}: {pages} a day, {most}.", who=who, pages=comfortable, most=most)
            return say(
                "{who}: {pages} a day, {most}, weight {weight}.",
                who=who,
                pages=comfortable,
                most=most,
                weight=ask.weight,
            )
        case asked.CourseTaken():
            return say("{who}: the course is begun.", who=who)
        case asked.CourseDropped():
            return say("{who}: the course is given up.", who=who)


def _span(first: date, last: date) -> str:
    return (
        say("on {day}", day=day_short(first))
        if first == last
        else say("from {first} to {last}", first=day_short(first), last=day_short(last))
    )


def only_tried(asks: Sequence[Ask]) -> bool:
    """Whether a plan with these changes can be tried, and not be taken."""
    return any(isinstance(ask, asked.MoreSittings) for ask in asks)


# --- beside the plan in force ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Met:
    """When a plan meets a target."""

    day: date | None
    """None: not within the days that are planned."""
    late: int
    """School days."""


@dataclass(frozen=True, slots=True)
class TargetBeside:
    """One target under the plan in force and under another; None where there is none on that side."""

    learner: str
    course: str
    workbook: str
    due: date
    before: Met | None
    after: Met | None


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of a plan beside that of the plan in force, where there is one."""

    what: str
    before: int | None
    after: int


def targets_beside(home: Home, kept: KeptPlan, standing: KeptPlan | None) -> tuple[TargetBeside, ...]:
    """The targets of two plans, the earliest first."""
    after = _targets(kept)
    before = _targets(standing) if standing is not None else {}
    due = _due(home, kept)
    rows = []
    for key in {**after, **before}:
        found = after.get(key)
        rows.append(
            TargetBeside(
                *key,
                due.get(key) or _last_day(kept, standing, found, before.get(key)),
                _met(standing, before[key]) if standing is not None and key in before else None,
                _met(kept, found) if found is not None else None,
            )
        )
    return tuple(sorted(rows, key=lambda row: (row.due, row.learner, row.course, row.workbook)))


def _targets(plan: KeptPlan) -> dict[Key, TargetDay]:
    """The targets of a plan that were still to be met when it was made."""
    if plan.answer is None:
        return {}
    every = ((t.target.learner, t.target.course, t.target.workbook, t) for t in plan.answer.targets)
    return {(learner, course, workbook): t for learner, course, workbook, t in every}


def _due(home: Home, kept: KeptPlan) -> dict[Key, date]:
    """The days that were asked for; a day that is over stands in no problem."""
    found = {(w.learner, w.course, w.workbook): w.by for w in home.wishes.targets}
    for ask in kept.asks:
        if isinstance(ask, asked.TargetBy) and ask.by is not None:
            found[home.person(ask.learner).id, ask.course, ask.workbook] = ask.by
    return found


def _last_day(
    kept: KeptPlan, standing: KeptPlan | None, after: TargetDay | None, before: TargetDay | None
) -> date:
    if after is not None:
        return kept.problem.days[after.target.day]
    assert standing is not None
    assert before is not None
    return standing.problem.days[before.target.day]


def _met(plan: KeptPlan, found: TargetDay) -> Met:
    if found.day is None:
        return Met(None, found.late)
    return Met(plan.problem.days[max(0, found.day)], found.late)


def met_words(met: Met | None, *, last: date) -> str:
    """When a target is met, in words; `last` is the last day that is planned."""
    if met is None:
        return say("no target")
    if met.day is None:
        return say("not by {day}", day=day_short(last))
    if not met.late:
        return say("{day}, in time", day=day_short(met.day))
    return counted(
        met.late, "{day}, {n} school day late", "{day}, {n} school days late", day=day_short(met.day)
    )


def figures(home: Home, kept: KeptPlan, standing: KeptPlan | None) -> tuple[Figure, ...]:
    """What a plan gives and costs from its first day on, beside the plan in force over the same days."""
    mine = dict(_figures(home, kept, kept.first))
    others = dict(_figures(home, standing, kept.first)) if standing is not None else {}
    return tuple(Figure(what, others.get(what), n) for what, n in mine.items())


def _figures(home: Home, plan: KeptPlan, first: date) -> Iterator[tuple[str, int]]:
    if plan.answer is None or not plan.answer.places:
        return
    yield say("Targets late"), sum(found.late > 0 for found in plan.answer.targets)
    yield say("School days late, all targets together"), sum(found.late for found in plan.answer.targets)
    done = sum(goal.unit and plan.problem.days[goal.day] >= first for goal in plan.answer.goals)
    yield say("Unit tests by the last school day entered"), done
    for learner, minutes in minutes_over(plan.problem, plan.answer.places, first).items():
        name = home.people[learner].name if learner in home.people else learner
        yield say("{learner}: minutes above the comfortable day", learner=name), minutes


def minutes_over(problem: Problem, places: Sequence[Sequence[int]], first: date) -> dict[str, int]:
    """Minutes above the soft limit of every learner, summed over the days from one on."""
    found = {}
    for learner, halves in loads(problem, places).items():
        soft = problem.limits(learner).soft
        over = sum(
            max(0, n - limit)
            for day, n, limit in zip(problem.days, halves, soft, strict=True)
            if day >= first
        )
        found[learner] = over // HALF
    return found


def effect_words(way: Way) -> str:
    """What a way out gives and costs, as it was solved."""
    late = way.others_late
    others = (
        counted(late, "{n} other target is late", "{n} other targets are late")
        if late
        else say("no target is late")
    )
    points = abs(round(way.points))
    if not points:
        cost = say("It costs the same")
    elif way.points < 0:
        cost = counted(
            points,
            "The plan as a whole costs {n:,} point less",
            "The plan as a whole costs {n:,} points less",
        )
    else:
        cost = counted(
            points,
            "The plan as a whole costs {n:,} point more",
            "The plan as a whole costs {n:,} points more",
        )
    return say("Tried: it is met, and {others}. {cost}.", others=others, cost=cost)


def gap_words(plan: KeptPlan) -> str:
    """How near a plan is to the best that there can be, as far as that was proved; empty where nothing was."""
    answer, gap = plan.answer, plan.says.gap
    if answer is None:
        return ""
    if answer.outcome is Outcome.BEST:
        return say("It is proved that no better plan exists.")
    if gap is not None:
        if gap < PROVED:
            return say("It is proved that no plan within these limits is less late.")
        return say(
            "It is proved that no plan's late targets cost less than {share:.0f} of a hundred of these.",
            share=100 / (1 + gap / 100),
        )
    if answer.within_percent is not None:
        return say(
            "It is proved that no plan costs less than {share:.0f} of a hundred of this one.",
            share=100 / (1 + answer.within_percent / 100),
        )
    return ""


def guess_words(home: Home, plan: KeptPlan) -> tuple[str, ...]:
    """Whose pace in which courses is not known yet, and what was taken instead."""
    courses: dict[tuple[str, float], list[str]] = {}
    for learner, course, minutes in plan.says.guessed:
        if learner in home.people and course in home.programme.courses:
            courses.setdefault((learner, minutes), []).append(home.programme.course(course).title)
    return tuple(
        say(
            "How fast {learner} goes in {courses} is not known yet: {minutes} a page are taken.",
            learner=home.people[learner].name,
            courses=and_words(titles),
            minutes=plural(minutes, "minute"),
        )
        for (learner, minutes), titles in courses.items()
    )


# --- goals --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DayOfGoals:
    """The goals of one learner on one day, in the order of the courses."""

    day: date
    learner: str
    goals: tuple[tuple[str, str, Goal], ...]
    """Course, its goal in words, and the goal."""


def goals_of(home: Home, plan: KeptPlan, first: date, days: int, learner: str = "") -> tuple[DayOfGoals, ...]:
    """The goals of the school days that are planned from one on, learner by learner."""
    found = []
    for day in [day for day in plan.problem.days if day >= first][:days]:
        goals = plan.goals(day)
        for somebody in home.learners:
            mine = tuple(
                (course, goal_words(goal, home.programme.workbook(goal.workbook).title), goal)
                for course in somebody.courses
                if (goal := goals.get((somebody.id, course))) is not None
            )
            if learner in ("", somebody.id):
                found.append(DayOfGoals(day, somebody.id, mine))
    return tuple(found)
