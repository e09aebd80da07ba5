"""What one stream could reach if little or nothing stood in its way: how reasons and ways out are tried."""

from dataclasses import replace

import numpy as np

from markstead.plan.problem import Problem, Stream, Target
from markstead.plan.stream import NEVER, Flags, Ints, Path, Tables, load_cost, minute_prices


def number_of(problem: Problem, learner: str, course: str) -> int:
    """The number of a stream.

    Raises:
        KeyError: no such stream.
    """
    for n, stream in enumerate(problem.streams):
        if (stream.learner, stream.course) == (learner, course):
            return n
    raise KeyError((learner, course))


def soonest(
    problem: Problem,
    stream: Stream,
    goal: int,
    other: Ints | None = None,
    full: Flags | None = None,
) -> int | None:
    """Find the first day by whose end a place can be reached within hard limits; None where no planned day is late enough.

    Nothing is weighed but time: every evening before the place is reached costs one.

    Args:
        problem: days and limits; its other streams do not count.
        stream: whose path is sought.
        goal: the place to reach.
        other: (H,) half-minutes of the learner's other streams; None: there are none.
        full: (H,) mornings without room; None: every watched morning has some.
    """
    other = np.zeros(problem.horizon, dtype=np.int64) if other is None else other
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


def keeping_cost(problem: Problem, stream: Stream, target: Target, other: Ints, full: Flags) -> int:
    """The least cost in half points of a stream that meets a target, with its minutes beside the others'."""
    tables = _bare(problem, stream, problem.targets_of(stream))
    tables.end[target.day, : problem.goal_place(stream, target)] = NEVER
    path: Path = tables.best(minute_prices(tables, other), _closed(tables, full))
    return path.own + load_cost(problem, tables.limits.soft, path.halves + other)


def _bare(problem: Problem, stream: Stream, targets: tuple[Target, ...]) -> Tables:
    return Tables(replace(problem, streams=(stream,), targets=targets), stream)


def _closed(tables: Tables, full: Flags | None) -> Ints:
    free = np.where(tables.open, 0, NEVER)
    return free if full is None else np.where(full, NEVER, free)
