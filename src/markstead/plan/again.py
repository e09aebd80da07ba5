"""Mend a plan that stands: keep every path that still holds, solve the others around them, then let all take turns.

It takes a small part of the time of a plan made anew, and the weeks that nothing forces to change stay as they were.
"""

from collections.abc import Sequence

import numpy as np

from markstead.plan.answer import Answer, Outcome, empty, write_out
from markstead.plan.check import check
from markstead.plan.polish import path_of
from markstead.plan.problem import Problem
from markstead.plan.respond import Household, NoWayError, forbid, order
from markstead.plan.solving import solve
from markstead.plan.speech import Speech
from markstead.plan.stream import NEVER, Path, Tables
from markstead.speech import say


def mend(
    problem: Problem,
    standing: Sequence[Sequence[int] | None],
    *,
    seed: int = 0,
    speech: Speech | None = None,
) -> Answer:
    """Plan the days of a problem from a plan that stands.

    Args:
        problem: what is to be planned now.
        standing: for every stream, the steps done at the end of every day as they stood; None where none stood.
        seed: of the order in which streams take turns.
        speech: names in the reason that there is no plan.

    Raises:
        InputError: the problem contradicts itself; every contradiction is named.
    """
    check(problem)
    home = Household(problem)
    for n, places in enumerate(standing):
        path = _kept(home.tables[n], places)
        if path is not None and not _in_the_way(home, n, path):
            home.put(n, path)
    try:
        for n in order(problem, seed, 0):
            if home.paths[n] is None:
                path = home.respond(n)
                if path.value >= NEVER:
                    raise NoWayError(n)
                home.put(n, path)
        forbid(home, seed)
    except NoWayError as error:
        if any(stream.fixed for stream in problem.streams):
            stream = problem.streams[error.stream]
            name = (speech or Speech()).who(stream.learner, stream.course)
            return empty(
                Outcome.OUT_OF_TIME,
                seed,
                say("{stream}: no way was found beside the goals fixed by hand.", stream=name),
            )
        return solve(problem, seed=seed, starts=1, speech=speech)
    return write_out(problem, home.places(), Outcome.GOOD, seed)


def _kept(tables: Tables, places: Sequence[int] | None) -> Path | None:
    """The path of a stream as it stood, where every day's step is still a move that the day allows."""
    if places is None or len(places) != tables.days:
        return None
    if any(places[goal.day] != goal.place for goal in tables.stream.fixed):
        return None
    try:
        return path_of(tables, places)
    except ValueError:
        return None


def _in_the_way(home: Household, n: int, path: Path) -> bool:
    """Whether a path does not fit beside those already put: a morning that is full, or minutes over the hard limit."""
    limits = home.problem.learners[home.learner[n]]
    over = home.load[home.learner[n]] + path.halves > np.array(limits.hard)
    full = home.full(n)
    return bool((over & (path.halves > 0)).any() or (full & path.units).any())
