"""Which announced goals a new plan moved, and why each of them."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from markstead.plan.answer import Answer
from markstead.plan.moves import HALF, moves, told, told_test
from markstead.plan.polish import stand
from markstead.plan.problem import Fixed, Problem, Stream
from markstead.plan.respond import Household
from markstead.plan.speech import Speech, book_at, untitled
from markstead.plan.stream import NEVER, Ints, Tables, load_cost, minute_prices
from markstead.speech import plural, say


class Why(StrEnum):
    """What keeps an announced goal from standing."""

    AWAY = "learner away"
    OUT_OF_REACH = "out of reach"
    MORNING = "morning full"
    MINUTES = "minutes"
    WEIGHED = "weighed against the rest"


@dataclass(frozen=True, slots=True)
class MovedGoal:
    """One announced goal that is another now."""

    day: int
    learner: str
    course: str
    told: int
    now: int
    test: bool
    """Whether a unit test was announced for the day and is not held."""
    why: Why
    sentence: str


def moved_goals(problem: Problem, answer: Answer, speech: Speech | None = None) -> tuple[MovedGoal, ...]:
    """Name every announced goal that the plan moved, day by day; a goal done already is not moved.

    The reason is tried, not guessed: the stream is solved again with the goal fixed, beside the others as they are.
    """
    speech = speech or Speech()
    if not answer.places:
        return ()
    home = Household(problem)
    stand(home, answer.places)
    found = [
        moved
        for n, stream in enumerate(problem.streams)
        for moved in _of_stream(home, n, stream, answer.places[n], speech)
    ]
    return tuple(sorted(found, key=lambda moved: (moved.day, moved.learner, moved.course)))


def announced_count(problem: Problem) -> int:
    """How many goals were announced."""
    return sum(min(len(stream.announced), problem.horizon) for stream in problem.streams)


def _of_stream(
    home: Household, n: int, stream: Stream, path: tuple[int, ...], speech: Speech
) -> Iterator[MovedGoal]:
    who = speech.who(stream.learner, stream.course)
    for day, now in enumerate(path):
        goal = told(stream, day)
        if goal is None:
            return
        if goal == now:
            continue
        test = told_test(stream, day)
        why, because = _why(home, n, day, goal, speech)
        was, is_now = speech.place(stream, goal), speech.place(stream, now)
        book, done = book_at(stream, goal)
        if book is book_at(stream, now)[0] is stream.workbooks[stream.at(now)[0]]:
            was = untitled(book, done)
        sentence = say(
            "{who}, {day}: {now}, not {announced} as announced; {because}.",
            who=who,
            day=speech.on(home.problem, day),
            now=is_now,
            announced=was,
            because=because,
        )
        missed = test is not None and not _holds(home, n, day)
        yield MovedGoal(day, stream.learner, stream.course, goal, now, missed, why, sentence)


def _holds(home: Household, n: int, day: int) -> bool:
    """Whether a stream sits a unit test on a day."""
    path = home.paths[n]
    return path is not None and bool(path.units[day])


def _why(home: Household, n: int, day: int, goal: int, speech: Speech) -> tuple[Why, str]:
    """The reason, and the end of a sentence that says it."""
    problem, stream = home.problem, home.problem.streams[n]
    learner, limits = speech.learner(stream.learner), problem.limits(stream.learner)
    away = [d for d in range(day + 1) if not limits.here[d]]
    if goal not in _reached(problem, stream, day):
        if away:
            return Why.AWAY, say(
                "{learner} is away on {day}", learner=learner, day=speech.on(problem, away[-1])
            )
        return Why.OUT_OF_REACH, say(
            "that cannot be reached by then from {place}", place=speech.place(stream, stream.done)
        )
    path = home.take(n)
    assert path is not None
    tables = Tables(problem, replace(stream, fixed=(Fixed(day, goal),)))
    other = home.load[home.learner[n]]
    full = home.full(n)
    home.put(n, path)
    free = np.where(tables.open, 0, NEVER)
    closed = np.where(full, NEVER, free)
    minutes = minute_prices(tables, other)
    kept = tables.best(minutes, closed)
    if kept.value < NEVER:
        more = kept.own + _load(tables, kept.halves, other) - path.own - _load(tables, path.halves, other)
        points = plural(max(0, more) / HALF, "point")
        return Why.WEIGHED, say("keeping it would cost the rest of the plan {points} more", points=points)
    if tables.best(minutes, free).value < NEVER:
        return Why.MORNING, say("no morning before has room for the unit test")
    return Why.MINUTES, say("that does not fit into the minutes of {learner}", learner=learner)


def _load(tables: Tables, halves: Ints, other: Ints) -> int:
    return load_cost(tables.problem, tables.limits.soft, halves + other)


def _reached(problem: Problem, stream: Stream, day: int) -> set[int]:
    """Where the stream alone could stand at the end of a day."""
    reached = {stream.done}
    limits = problem.limits(stream.learner)
    for d in range(day + 1):
        reached = {m.to for place in reached for m in moves(problem, stream, limits, d, place)}
    return reached
