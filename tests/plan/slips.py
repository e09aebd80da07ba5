"""A household a day later: some streams short, some tests not passed, or a learner sick; with goals announced."""

from dataclasses import replace

import numpy as np

from markstead.plan.answer import Answer
from markstead.plan.problem import Problem
from tests.plan.trying_everything import options

ANNOUNCED = 3


def announce(problem: Problem, answer: Answer, days: int = ANNOUNCED) -> Problem:
    """The same morning with the first goals of a plan told to the learners."""
    streams = [
        replace(stream, announced=path[:days])
        for stream, path in zip(problem.streams, answer.places, strict=True)
    ]
    return replace(problem, streams=tuple(streams))


def slip(problem: Problem, seed: int) -> Problem:
    """A quarter of the streams stand one or two pages further back than was planned when goals were announced."""
    rng = np.random.default_rng([3, seed])
    streams = []
    for stream in problem.streams:
        first = stream.start(stream.at(stream.done)[0])
        short = int(rng.integers(1, 3)) if rng.random() < 0.25 else 0
        streams.append(replace(stream, done=max(first, stream.done - short)))
    return replace(problem, streams=tuple(streams))


def sick(problem: Problem, learner: str, days: int = 3) -> Problem:
    """A learner does no school on the first days."""
    limits = [
        replace(found, here=(False,) * days + found.here[days:]) if found.learner == learner else found
        for found in problem.learners
    ]
    return replace(problem, learners=tuple(limits))


def under_way(problem: Problem, seed: int) -> Problem:
    """The same household with every course some way into its first workbook."""
    rng = np.random.default_rng([4, seed])
    streams = [replace(s, done=int(rng.integers(4, s.workbooks[0].pages - 6))) for s in problem.streams]
    return replace(problem, streams=tuple(streams))


def forced(problem: Problem) -> int:
    """How many announced goals no plan can keep, whatever it pays: their courses cannot stand there by then, even alone.

    Reckoned from `tests.plan.trying_everything`, beside the room's own reasons.
    """
    count = 0
    for stream in problem.streams:
        reached = {stream.done}
        for day, told in enumerate(stream.announced):
            reached = {o[0] for place in reached for o in options(problem, stream, day, place)}
            count += max(told, stream.done) not in reached
    return count
