"""What a plan says: goals for every day and stream, its cost by part, and its targets. Plain Python."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from enum import StrEnum

from markstead.plan.moves import HALF, Move, comfort, minutes, moved, moves, test_waits
from markstead.plan.problem import Problem, Stream, Target


class Outcome(StrEnum):
    """How good an answer is known to be."""

    BEST = "best"
    GOOD = "good"
    IMPOSSIBLE = "impossible"
    OUT_OF_TIME = "out of time"


@dataclass(frozen=True, slots=True)
class Goal:
    """What one learner means to do in one workbook on one day."""

    day: int
    learner: str
    course: str
    workbook: str
    first: int | None = None
    last: int | None = None
    practice: bool = False
    unit: bool = False

    @property
    def pages(self) -> int:
        """The number of pages."""
        return 0 if self.first is None or self.last is None else self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class Cost:
    """Half points by part; `total` is their sum. Divide by two for points."""

    missed: int = 0
    late: int = 0
    close: int = 0
    over: int = 0
    far_over: int = 0
    below_least: int = 0
    above_comfortable: int = 0
    half_section: int = 0
    no_stop: int = 0
    test_waits: int = 0
    moved: int = 0
    behind: int = 0

    @property
    def total(self) -> int:
        """All parts together, in half points."""
        return sum(getattr(self, part.name) for part in fields(self))

    @property
    def targets(self) -> int:
        """What targets alone cost, in half points."""
        return self.missed + self.late

    @property
    def points(self) -> float:
        """All parts together, in points."""
        return self.total / HALF


@dataclass(frozen=True, slots=True)
class TargetDay:
    """A target and the day on which it is met; `day` is None where the plan ends before."""

    target: Target
    day: int | None
    late: int
    """School days late; where the plan ends before, those up to its end."""


@dataclass(frozen=True, slots=True)
class Answer:
    """A plan, or the reason that there is none."""

    outcome: Outcome
    goals: tuple[Goal, ...] = ()
    places: tuple[tuple[int, ...], ...] = ()
    """For every stream, the steps done at the end of every day."""
    cost: Cost = Cost()
    targets: tuple[TargetDay, ...] = ()
    seed: int = 0
    within_percent: float | None = None
    """How far above the best possible cost this plan can be at most; None where that is not known."""
    reason: str = ""


def empty(outcome: Outcome, seed: int, reason: str) -> Answer:
    """An answer without a plan."""
    return Answer(outcome, seed=seed, reason=reason)


def write_out(
    problem: Problem,
    places: Sequence[Sequence[int]],
    outcome: Outcome,
    seed: int,
    within: float | None = None,
) -> Answer:
    """Say what paths of places mean.

    Raises:
        ValueError: a day's step is no move of its stream.
    """
    kept = tuple(tuple(int(place) for place in path) for path in places)
    goals = [
        goal
        for stream, path in zip(problem.streams, kept, strict=True)
        for goal in goals_of(problem, stream, path)
    ]
    order = {(s.learner, s.course): n for n, s in enumerate(problem.streams)}
    goals.sort(key=lambda goal: (goal.day, order[goal.learner, goal.course]))
    met = tuple(meet(problem, target, kept) for target in problem.targets)
    return Answer(outcome, tuple(goals), kept, cost_of(problem, kept), met, seed, within)


def steps_taken(problem: Problem, stream: Stream, path: Sequence[int]) -> Iterator[tuple[int, int, Move]]:
    """Day, place before and move, for every day of a path.

    Raises:
        ValueError: a day's step is no move of the stream.
    """
    limits = problem.limits(stream.learner)
    place = stream.done
    for day, to in enumerate(path):
        move = next((m for m in moves(problem, stream, limits, day, place) if m.to == to), None)
        if move is None:
            raise ValueError(f"{stream.name}, day {day}: no move from step {place} to step {to}")
        yield day, place, move
        place = to


def goals_of(problem: Problem, stream: Stream, path: Sequence[int]) -> Iterator[Goal]:
    """The goals of one stream, day by day."""
    for day, place, move in steps_taken(problem, stream, path):
        index, done = stream.at(place)
        code = stream.workbooks[index].code
        who = (day, stream.learner, stream.course)
        if move.unit:
            yield Goal(*who, code, unit=True)
            if move.pages:
                yield Goal(*who, stream.workbooks[index + 1].code, 1, move.pages)
        elif move.pages:
            yield Goal(*who, code, done + 1, done + move.pages, move.practice)
        elif move.practice:
            yield Goal(*who, code, practice=True)


def loads(problem: Problem, places: Sequence[Sequence[int]]) -> dict[str, tuple[int, ...]]:
    """Half-minutes of every learner on every day."""
    found = {limits.learner: [0] * problem.horizon for limits in problem.learners}
    for stream, path in zip(problem.streams, places, strict=True):
        for day, _, move in steps_taken(problem, stream, path):
            found[stream.learner][day] += move.halves
    return {learner: tuple(halves) for learner, halves in found.items()}


def meet(problem: Problem, target: Target, places: Sequence[Sequence[int]]) -> TargetDay:
    """The day on which a target is met."""
    for stream, path in zip(problem.streams, places, strict=True):
        if (stream.learner, stream.course) == (target.learner, target.course):
            goal = problem.goal_place(stream, target)
            if stream.done >= goal:
                return TargetDay(target, -1, 0)
            day = next((d for d, place in enumerate(path) if place >= goal), None)
            return TargetDay(target, day, max(0, (problem.horizon if day is None else day) - target.day))
    raise KeyError((target.learner, target.course))


def cost_of(problem: Problem, places: Sequence[Sequence[int]]) -> Cost:
    """The cost of a plan by part, in half points; hard limits and mornings are judged elsewhere."""
    points = problem.points
    parts = dict.fromkeys((part.name for part in fields(Cost)), 0)
    load = {limits.learner: [0] * problem.horizon for limits in problem.learners}
    for stream, path in zip(problem.streams, places, strict=True):
        for day, place, move in steps_taken(problem, stream, path):
            load[stream.learner][day] += move.halves
            if problem.limits(stream.learner).here[day]:
                for part, cost in comfort(stream, points, day, place, move).items():
                    parts[part] += cost
            parts["moved"] += moved(stream, points, day, place, move)
            parts["test_waits"] += HALF * points.test_waits * test_waits(stream, move.to)
        last = path[-1] if path else stream.done
        if stream.line is not None:
            parts["behind"] += HALF * points.behind * stream.weight * max(0, stream.line - last)
    for limits in problem.learners:
        for soft, halves in zip(limits.soft, load[limits.learner], strict=True):
            near, far = minutes(points, soft, halves)
            parts["over"] += near
            parts["far_over"] += far
    weights = {(s.learner, s.course): s.weight for s in problem.streams}
    for target in problem.targets:
        met = meet(problem, target, places)
        late, weight = met.late, weights[target.learner, target.course]
        first = max(0, target.day - problem.reserve)
        day = problem.horizon if met.day is None else met.day
        parts["close"] += HALF * points.close * weight * max(0, min(day, target.day) - first)
        parts["missed"] += HALF * points.missed * weight * (late > 0)
        parts["late"] += HALF * points.day_late * weight * late
    return Cost(**parts)
