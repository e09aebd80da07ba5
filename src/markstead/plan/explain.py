"""Why a target is at risk, and ways out that were each solved before they are named."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

import numpy as np

from markstead.plan.answer import Answer, Outcome, TargetDay, write_out
from markstead.plan.check import check
from markstead.plan.moves import HALF
from markstead.plan.polish import stand
from markstead.plan.problem import Problem, Stream, Target
from markstead.plan.respond import Household, search
from markstead.plan.stream import NEVER, Flags, Ints, Path, Tables, load_cost, minute_prices
from markstead.plan.whatif import Change, ExtraDays, Pages, Sittings, TargetSet, apply

WAYS = 3


class Binding(StrEnum):
    """What keeps a target from being met."""

    COPY = "copy"
    PACE = "pages a day"
    MINUTES = "minutes"
    MORNINGS = "mornings"
    WEIGHED = "weighed"


@dataclass(frozen=True, slots=True)
class Reason:
    """The binding reason of one target at risk, as a sentence with its numbers."""

    target: Target
    binding: Binding
    sentence: str


@dataclass(frozen=True, slots=True)
class WayOut:
    """A change under which a target is met: solved, not guessed."""

    target: Target
    change: Change
    sentence: str
    answer: Answer
    points: float
    """What the whole plan costs more (below nothing: less) than the plan that is explained."""


def at_risk(answer: Answer) -> tuple[TargetDay, ...]:
    """Targets that a plan misses."""
    return tuple(found for found in answer.targets if found.late > 0)


def reasons(problem: Problem, answer: Answer) -> tuple[Reason, ...]:
    """Say of every target at risk what binds, by solving its stream again with one thing made free at a time."""
    if not at_risk(answer):
        return ()
    home = Household(problem)
    stand(home, answer.places)
    return tuple(_reason(home, found) for found in at_risk(answer))


def _reason(home: Household, found: TargetDay) -> Reason:
    problem, target = home.problem, found.target
    n = next(
        i
        for i, stream in enumerate(problem.streams)
        if (stream.learner, stream.course) == (target.learner, target.course)
    )
    stream, due = problem.streams[n], problem.days[target.day]
    goal = problem.goal_place(stream, target)
    name = f"{stream.name}, {target.workbook} by {due}"
    nothing = np.zeros(problem.horizon, dtype=np.int64)
    alone = _soonest(problem, stream, goal, nothing)
    if alone is None or alone > target.day:
        here = replace(stream, workbooks=tuple(replace(book, ready_from=0) for book in stream.workbooks))
        with_copies = _soonest(problem, here, goal, nothing)
        if with_copies is not None and with_copies <= target.day:
            books = stream.workbooks[: (stream.index(target.workbook) or 0) + 1]
            last = max(books, key=lambda book: book.ready_from)
            day = problem.days[min(last.ready_from, problem.horizon - 1)]
            return Reason(target, Binding.COPY, f"{name}: {last.code} is in the house from {day} on.")
        soonest = "not within these days" if alone is None else f"{problem.days[alone]} at the soonest"
        steps = goal - stream.done
        said = f"{steps} steps are left, with at most {stream.most} pages a day: {soonest}, even alone"
        return Reason(target, Binding.PACE, f"{name}: {said}.")
    path = home.take(n)
    assert path is not None
    other, full = home.load[home.learner[n]].copy(), home.full(n)
    home.put(n, path)
    beside = _soonest(problem, stream, goal, other, full)
    if beside is not None and beside <= target.day:
        kept = _keep(problem, stream, target, other, full)
        now = path.own + load_cost(problem, problem.limits(stream.learner).soft, path.halves + other)
        points = max(0, kept - now) / HALF
        said = f"keeping it would cost {points:g} points more than it saves"
        return Reason(target, Binding.WEIGHED, f"{name}: {said}.")
    roomy = _soonest(problem, stream, goal, other)
    if roomy is not None and roomy <= target.day:
        count = int(full[: target.day + 1].sum())
        said = f"no sitting is free in time; {count} of {target.day + 1} mornings are full or not watched"
        return Reason(target, Binding.MORNINGS, f"{name}: {said}.")
    worked = other[: target.day + 1].mean() / HALF
    said = f"the other courses of {stream.learner} take {worked:.0f} minutes a day until then"
    return Reason(target, Binding.MINUTES, f"{name}: {said}.")


def _bare(problem: Problem, stream: Stream, targets: tuple[Target, ...]) -> Tables:
    return Tables(replace(problem, streams=(stream,), targets=targets), stream)


def _closed(tables: Tables, full: Flags | None) -> Ints:
    free = np.where(tables.open, 0, NEVER)
    return free if full is None else np.where(full, NEVER, free)


def _soonest(
    problem: Problem,
    stream: Stream,
    goal: int,
    other: Ints,
    full: Flags | None = None,
) -> int | None:
    """The first day on which a place can be reached within hard limits: every evening before it costs one."""
    tables = _bare(problem, replace(stream, announced=(), line=None), ())
    tables.page_cost = np.where(tables.page_cost >= NEVER, NEVER, 0)
    tables.practice_cost = np.zeros_like(tables.practice_cost)
    tables.unit_cost = np.where(tables.unit_cost >= NEVER, NEVER, 0)
    tables.over_comfortable = np.zeros_like(tables.over_comfortable)
    fixed = tables.end >= NEVER
    tables.end = np.where(fixed, NEVER, (np.arange(tables.places) < goal).astype(np.int64)[None, :])
    minutes = minute_prices(tables, other)
    minutes = np.where(minutes >= NEVER, NEVER, 0)
    path = tables.best(minutes, _closed(tables, full))
    return path.own if path.own < problem.horizon else None


def _keep(problem: Problem, stream: Stream, target: Target, other: Ints, full: Flags) -> int:
    """The least cost of a stream that meets a target, with its minutes beside the others'."""
    tables = _bare(problem, stream, problem.targets_of(stream))
    tables.end[target.day, : problem.goal_place(stream, target)] = NEVER
    path: Path = tables.best(minute_prices(tables, other), _closed(tables, full))
    return path.own + load_cost(problem, tables.limits.soft, path.halves + other)


def ways_out(problem: Problem, answer: Answer, *, seed: int = 0) -> tuple[WayOut, ...]:
    """Find up to three ways out for every target at risk, the cheapest plan first.

    Tried are a page more a day, Saturdays, a later day for the target, and one more sitting a morning. A way is named only
    if the plan solved under it meets the target and makes no other target late that was not.
    """
    found: list[WayOut] = []
    for risk in at_risk(answer):
        mine = [
            way
            for change, sentence in _tries(problem, risk)
            if (way := _try(problem, answer, risk, change, sentence, seed)) is not None
        ]
        found += sorted(mine, key=lambda way: way.points)[:WAYS]
    return tuple(found)


def _tries(problem: Problem, risk: TargetDay) -> Iterator[tuple[Change, str]]:
    target = risk.target
    who = f"{target.learner}, {target.course}"
    for pages in (1, 2):
        yield (
            Pages(target.learner, target.course, pages),
            f"{who}: {pages} page{'s' * (pages > 1)} more a day.",
        )
    saturdays = tuple(_saturdays(problem, target.day))
    if saturdays:
        yield ExtraDays(saturdays), f"School on {len(saturdays)} Saturdays until {problem.days[target.day]}."
    if risk.day is not None:
        day = problem.days[risk.day]
        yield TargetSet(replace(target, day=risk.day)), f"{who}: {target.workbook} by {day} instead."
    yield Sittings(1), "One more sitting watched on every morning."


def _saturdays(problem: Problem, until: int) -> Iterator[date]:
    day = problem.days[0] + timedelta(days=1)
    while day < problem.days[until]:
        if day.weekday() == 5 and day not in problem.days:
            yield day
        day += timedelta(days=1)


def _try(
    problem: Problem, answer: Answer, risk: TargetDay, change: Change, sentence: str, seed: int
) -> WayOut | None:
    changed = apply(problem, change)
    check(changed)
    solved = _again(changed, problem, answer, seed)
    key = risk.target.key
    if not any(found.target.key == key and found.late == 0 for found in solved.targets):
        return None
    late_before = {found.target.key for found in at_risk(answer)}
    if any(found.target.key not in late_before for found in at_risk(solved)):
        return None
    return WayOut(risk.target, change, sentence, solved, solved.cost.points - answer.cost.points)


def _again(changed: Problem, problem: Problem, answer: Answer, seed: int) -> Answer:
    """Solve from the plan that stands, and anew, and keep the better."""
    home = Household(changed)
    tries = [search(home, seed)]
    if changed.days == problem.days:
        stand(home, answer.places)
        tries.append(search(home, seed, [path for path in home.paths if path is not None]))
    _, paths = min(tries, key=lambda found: found[0])
    return write_out(changed, [path.places for path in paths], Outcome.GOOD, seed)
