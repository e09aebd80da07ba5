"""Parts of a home and of its plans, from which the long search is put together: one learner, the first weeks, mornings."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from markstead.plan.answer import meet
from markstead.plan.problem import Fixed, Problem, Stream
from markstead.plan.stream import NEVER, Tables

Places = tuple[tuple[int, ...], ...]


def alone(problem: Problem, name: str, watched: Sequence[int] | None = None) -> Problem:
    """The days of one learner, with the mornings of the home or those that are left."""
    return replace(
        problem,
        learners=tuple(limits for limits in problem.learners if limits.learner == name),
        streams=tuple(stream for stream in problem.streams if stream.learner == name),
        targets=tuple(target for target in problem.targets if target.learner == name),
        watched=problem.watched if watched is None else tuple(watched),
    )


def beginning(problem: Problem, end: int) -> Problem:
    """The first days alone, with the targets that are due in them."""
    return replace(
        problem,
        days=problem.days[:end],
        learners=tuple(
            replace(found, soft=found.soft[:end], hard=found.hard[:end], here=found.here[:end])
            for found in problem.learners
        ),
        streams=tuple(
            replace(
                stream,
                taught=stream.taught[:end],
                announced=stream.announced[:end],
                fixed=tuple(fixed for fixed in stream.fixed if fixed.day < end),
            )
            for stream in problem.streams
        ),
        watched=problem.watched[:end],
        targets=tuple(target for target in problem.targets if target.day < end),
    )


def tied(problem: Problem, places: Places, back: int) -> Problem:
    """The same days where every stream is again where a plan has it, from one day on."""
    streams = []
    for stream, path in zip(problem.streams, places, strict=True):
        kept = tuple(Fixed(day, path[day]) for day in range(back, problem.horizon))
        streams.append(replace(stream, fixed=(*stream.fixed, *kept)))
    return replace(problem, streams=tuple(streams))


def days_met(problem: Problem, places: Places) -> dict[tuple[str, str, str], int]:
    """The day by which a plan meets each target: its own day, or the late one; not those that are not met."""
    found = [meet(problem, target, places) for target in problem.targets]
    return {one.target.key: one.target.day + one.late for one in found if one.day is not None}


def alone_cost(tables: Tables) -> int:
    """What a stream must cost where nothing stands in its way but a day's hard limit."""
    hard = np.array(tables.limits.hard, dtype=np.int64)[:, None]
    minutes = np.where((tables.halves > hard) & (tables.halves > 0), NEVER, 0).astype(np.int64)
    return tables.best(minutes, np.where(tables.open, 0, NEVER).astype(np.int64)).value


def sittings(problem: Problem, paths: Sequence[tuple[Stream, Sequence[int]]]) -> list[int]:
    """Unit tests on each morning."""
    found = [0] * problem.horizon
    for stream, path in paths:
        ends = [stream.start(index + 1) for index in range(len(stream.workbooks))]
        before = stream.done
        for day, place in enumerate(path):
            found[day] += any(before < end <= place for end in ends)
            before = place
    return found


def crowded(problem: Problem, places: Places) -> bool:
    """Whether a plan has more unit tests on a morning than can be watched."""
    sat = sittings(problem, list(zip(problem.streams, places, strict=True)))
    return any(n > free for n, free in zip(sat, problem.watched, strict=True))
