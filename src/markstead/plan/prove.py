"""A sharper lower bound: branch on when targets are met, and bound every branch by column generation.

Mixtures of paths can meet two halves of a target that no whole path meets, so that the bound of `plan.bound` alone stays
low where limits bind. Here the plans are split by whether a target's workbook is done by a day or not, again and again,
the lowest bound first (Land and Doig, *An Automatic Method of Solving Discrete Programming Problems*, Econometrica 28,
1960; with columns: Barnhart et al., *Branch-and-Price*, Operations Research 46, 1998).
"""

from dataclasses import dataclass, replace
from heapq import heappop, heappush
from itertools import count
from math import gcd

import numpy as np
from numpy.typing import NDArray

from markstead.plan.answer import Answer
from markstead.plan.bound import FINE, ROUNDS, Bound, Master, finer, generate
from markstead.plan.check import check
from markstead.plan.moves import HALF
from markstead.plan.polish import stand
from markstead.plan.problem import Points, Problem
from markstead.plan.reach import number_of
from markstead.plan.respond import Household, NoWayError
from markstead.plan.stream import NEVER, Ints, Path

SURE = 1e-6
"""A share of a path below this is the rounding of the linear program."""


@dataclass(frozen=True, slots=True)
class _Split:
    """Whether a stream has come to a place by the end of a day."""

    stream: int
    goal: int
    day: int
    reached: bool


@dataclass(frozen=True, slots=True)
class _Branch:
    """Part of all plans, with its bound and how the targets split it further; no further split: None."""

    splits: tuple[_Split, ...]
    bound: int
    next: _Split | None


def branched_bound(
    problem: Problem, answer: Answer, *, branches: int, within: float = 0.0, rounds: int = ROUNDS
) -> Bound:
    """Prove a lower bound on the cost of every plan, by at most so many branches.

    Args:
        problem: what was planned.
        answer: a plan of it: no branch that cannot be cheaper is followed.
        branches: how many parts are bounded, at most; 1 is the bound without branching.
        within: the share of the plan's cost to which the proof has to come; 0: that no plan is cheaper.
        rounds: of every branch, as `lower_bound`.

    Raises:
        InputError: as `solve`.
        ValueError: the answer has no plan.
    """
    check(problem)
    if not answer.places:
        raise ValueError("an answer without a plan bounds nothing")
    tree = _Tree(problem, answer, rounds)
    step = tree.step
    cost = answer.cost.total * FINE
    # Costs go in steps: what is above the step below the plan's cost cannot be cheaper.
    enough = min(cost - step + 1, round(cost / (1 + within))) if within else cost - step + 1
    order = count()
    open_: list[tuple[int, int, _Branch]] = []
    done, lowest = 1, cost
    _push(open_, order, tree.branch((), enough))
    while open_:
        bound, _, branch = open_[0]
        if bound >= enough or branch.next is None or done + 2 > branches:
            lowest = min(lowest, bound)
            break
        heappop(open_)
        for reached in (True, False):
            split = replace(branch.next, reached=reached)
            _push(open_, order, tree.branch((*branch.splits, split), enough))
            done += 1
    return Bound(max(0.0, lowest / FINE / HALF), done, closed=lowest >= cost - step + 1)


def _push(open_: list[tuple[int, int, _Branch]], order: "count[int]", branch: _Branch | None) -> None:
    if branch is not None:
        heappush(open_, (branch.bound, next(order), branch))


class _Tree:
    """Branches with the paths that they share."""

    def __init__(self, problem: Problem, answer: Answer, rounds: int) -> None:
        self.rounds = rounds
        self.home = Household(replace(problem, points=finer(problem.points)))
        self.ends = [tables.end for tables in self.home.tables]
        stand(self.home, answer.places)
        self.pool = {(n, path.places): path for n, path in enumerate(self.home.paths) if path is not None}
        self.step = cost_step(problem) * FINE
        # Dear enough for most branches, and cheap enough that prices stay far below `NEVER`.
        self.spare = 2 * answer.cost.total * FINE + FINE
        fine = self.home.problem
        self.targets = [
            (n, fine.goal_place(fine.streams[n], t), t.day)
            for t in fine.targets
            for n in (number_of(fine, t.learner, t.course),)
        ]

    def branch(self, splits: tuple[_Split, ...], enough: int) -> _Branch | None:
        """Bound the plans that splits leave; None where they leave none."""
        for n, tables in enumerate(self.home.tables):
            tables.end = self.ends[n].copy()
        for split in splits:
            end = self.home.tables[split.stream].end
            if split.reached:
                end[split.day, : split.goal] = NEVER
            else:
                end[split.day, split.goal :] = NEVER
        for spare in (self.spare, 10 * self.spare, 100 * self.spare):
            master = Master(self.home, spare)
            for (n, _), path in self.pool.items():
                if all(_keeps(path, split) for split in splits if split.stream == n):
                    master.add(n, path)
            try:
                found = generate(master, self.rounds, enough)
            except NoWayError:
                return None
            self.pool |= {(n, path.places): path for n, path in master.paths}
            # A mixture that rather leaves part of a stream without a path says nothing about where to split.
            first = len(master.paths)
            if (
                found.points * FINE * HALF >= enough
                or (master.mix[first : first + len(self.ends)] < SURE).all()
            ):
                break
        bound = -(-round(found.points * FINE * HALF) // self.step) * self.step
        return _Branch(splits, bound, self._split(master))

    def _split(self, master: Master) -> _Split | None:
        """What is least settled in the mixture: the day of a target, or of any unit test, or where a day ends."""
        mixed = _mixed(master)
        best, widest = None, SURE
        for n, goal, due in self.targets:
            late = np.maximum(0, _days_of(mixed[n], goal) - due)
            spread, mean = _spread(late, mixed[n].shares)
            spread *= self.home.problem.streams[n].weight
            if spread > widest:
                # Whether it is met at all weighs most; after that, on which side of the mean.
                day = due if late.min() == 0 else due + min(int(mean), int(late.max()) - 1)
                best, widest = _Split(n, goal, day, reached=True), spread
        return best or self._settle(mixed)

    def _settle(self, mixed: "list[_Mixture]") -> _Split | None:
        """Where every target has its day: the unit test whose day, or else the evening whose place, is least settled."""
        best, widest = None, SURE
        for n, stream in enumerate(self.home.problem.streams):
            for index in range(len(stream.workbooks)):
                days = _days_of(mixed[n], stream.start(index + 1))
                spread, mean = _spread(days, mixed[n].shares)
                if spread > widest:
                    best = _Split(
                        n, stream.start(index + 1), min(int(mean), int(days.max()) - 1), reached=True
                    )
                    widest = spread
        if best is not None:
            return best
        for n, mixture in enumerate(mixed):
            for day in range(mixture.places.shape[1]):
                places = mixture.places[:, day]
                spread, mean = _spread(places, mixture.shares)
                if spread > widest:
                    best, widest = (
                        _Split(n, min(int(mean), int(places.max()) - 1) + 1, day, reached=True),
                        spread,
                    )
        return best


@dataclass(frozen=True, slots=True)
class _Mixture:
    """The paths of one stream in a mixture."""

    places: Ints
    """(paths, H)"""
    shares: NDArray[np.float64]


def _mixed(master: Master) -> list[_Mixture]:
    parts: list[list[tuple[Path, float]]] = [[] for _ in master.home.tables]
    for (n, path), share in zip(master.paths, master.mix, strict=False):
        if share > SURE:
            parts[n].append((path, float(share)))
    days = master.problem.horizon
    return [
        _Mixture(
            np.array([path.places for path, _ in own], dtype=np.int64).reshape(-1, days),
            np.array([share for _, share in own]),
        )
        for own in parts
    ]


def _days_of(mixture: _Mixture, goal: int) -> Ints:
    """(paths,) the day by whose end each path has come to a place."""
    days: Ints = (mixture.places < goal).sum(axis=1)
    return days


def _spread(values: Ints, shares: NDArray[np.float64]) -> tuple[float, float]:
    """How far values lie from their mean in the mean, and that mean."""
    if not len(values) or values.min() == values.max():
        return 0.0, 0.0
    mean = float(np.average(values, weights=shares))
    return float(np.average(np.abs(values - mean), weights=shares)), mean


def _keeps(path: Path, split: _Split) -> bool:
    return (path.places[split.day] >= split.goal) is split.reached


def cost_step(problem: Problem) -> int:
    """Half points of which the cost of every plan is a whole multiple."""
    points = problem.points
    others = [
        getattr(points, name)
        for name in Points.__dataclass_fields__
        if name not in ("missed", "day_late", "near_percent")
    ]
    if any(others):
        return 1
    steps = [HALF * s.weight * price for s in problem.streams for price in (points.missed, points.day_late)]
    return gcd(*steps) or 1
