"""How cheap a plan can be at all: a lower bound by column generation.

Dantzig and Wolfe, *Decomposition Principle for Linear Programs*, Operations Research 8, 1960: a master program mixes paths
of each stream; its prices for minutes and mornings send every stream for a new path. Whatever the prices, streams
solved alone under them bound the cost of every plan from below (Geoffrion, *Lagrangean Relaxation for Integer
Programming*, Mathematical Programming Study 2, 1974), so the bound does not rest on how exactly the master was solved.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from markstead.plan.answer import Answer, Outcome
from markstead.plan.check import check
from markstead.plan.moves import HALF
from markstead.plan.polish import stand
from markstead.plan.problem import Points, Problem
from markstead.plan.program import GoOn, Program
from markstead.plan.respond import Household, NoWayError, search
from markstead.plan.stream import NEVER, Ints, Path

FINE = 1_000
"""Prices are whole thousandths of a half point."""
ROUNDS = 120
SMOOTH = 0.7
"""How much of the best prices so far goes into the next (Wentges, 1997): prices of a young master swing widely."""


Places = Sequence[Sequence[int]]


@dataclass(frozen=True, slots=True)
class Bound:
    """What no plan can go below, in points; `closed` where the master met it."""

    points: float
    rounds: int
    closed: bool


def lower_bound(problem: Problem, *, rounds: int = ROUNDS, seed: int = 0, go_on: GoOn | None = None) -> Bound:
    """Prove a lower bound on the cost of every plan.

    Args:
        problem: what is to be planned.
        rounds: how many times the streams are asked for new paths, at most.
        seed: of the plan that the master begins with.
        go_on: asked before every round.

    Raises:
        InputError: as `solve`.
    """
    check(problem)
    master = Master(Household(replace(problem, points=finer(problem.points))))
    for n, path in enumerate(search(master.home, seed)[1]):
        master.add(n, path)
    return generate(master, rounds, go_on=go_on)


def proved(problem: Problem, answer: Answer, *, rounds: int = ROUNDS) -> Answer:
    """The answer with how far above the best possible cost it can be at most, in percent.

    Where the bound reaches the cost to less than a half point, the answer is the best: costs are whole half points.
    """
    if answer.outcome is not Outcome.GOOD:
        return answer
    bound = lower_bound(problem, rounds=rounds).points
    if answer.cost.points - bound < 1 / HALF:
        return replace(answer, outcome=Outcome.BEST, within_percent=0.0)
    within = 100 * (answer.cost.points / bound - 1) if bound > 0 else None
    return replace(answer, within_percent=within)


def recombine(problem: Problem, plan: Sequence[Sequence[int]], *, rounds: int, nodes: int) -> Places | None:
    """Mix a plan with the paths that a bound calls for, and choose one whole path for each stream.

    Args:
        problem: what is to be planned.
        plan: for every stream, the steps done at the end of every day.
        rounds: as `lower_bound`.
        nodes: branchings of the choice.

    Returns:
        A plan that keeps all limits; None where the choice found none.
    """
    master = Master(Household(replace(problem, points=finer(problem.points))))
    stand(master.home, plan)
    for n, path in enumerate(master.home.paths):
        if path is not None:
            master.add(n, path)
    generate(master, rounds)
    chosen = master.choose(nodes)
    return None if chosen is None else [path.places for path in chosen]


def generate(master: "Master", rounds: int, enough: float = np.inf, go_on: GoOn | None = None) -> Bound:
    """Ask for paths until the master meets the bound, or the bound is enough (in thousandths of half points).

    Raises:
        NoWayError: a stream has no path at all.
    """
    best, kept, done = -(1 << 60), None, 0
    for done in range(1, rounds + 1):
        if go_on is not None and not go_on():
            break
        least, prices = master.prices()
        for mixed in (True, False):
            asked = prices if kept is None or not mixed else prices.toward(kept, SMOOTH)
            bound, new = master.ask(asked)
            if bound > best:
                best, kept = bound, asked
            if new:
                break
        if not new or least - best < FINE // 2 or best >= enough:
            return Bound(max(0.0, best / FINE / HALF), done, closed=True)
    return Bound(max(0.0, best / FINE / HALF), done, closed=False)


def finer(points: Points) -> Points:
    names = [name for name in Points.__dataclass_fields__ if name != "near_percent"]
    return replace(points, **{name: FINE * getattr(points, name) for name in names})


@dataclass(frozen=True, slots=True)
class _Prices:
    """Whole numbers, none below zero."""

    minutes: Ints
    """(L, H) for a half-minute."""
    morning: Ints
    """(H,) for a sitting."""
    sitting: Ints
    """(L, H) for a sitting of a learner."""

    def toward(self, other: "_Prices", share: float) -> "_Prices":
        """A mixture."""

        def mix(one: Ints, two: Ints) -> Ints:
            return np.rint((1 - share) * one + share * two).astype(np.int64)

        return _Prices(
            mix(self.minutes, other.minutes),
            mix(self.morning, other.morning),
            mix(self.sitting, other.sitting),
        )


class Master:
    """Paths found so far, and the program that mixes them."""

    def __init__(self, home: Household, spare: int | None = None) -> None:
        """`spare` is the price of a stream without a path: below it, paths found so far need not fit together."""
        self.home, self.problem, self.spare = home, home.problem, spare
        self.mix: NDArray[np.float64] = np.zeros(0)
        """How much of each path the latest prices came from; then how much of each stream went without."""
        self.paths: list[tuple[int, Path]] = []
        self.known: set[tuple[int, tuple[int, ...]]] = set()
        self.soft = np.array([found.soft for found in self.problem.learners], dtype=np.int64)
        self.hard = np.array([found.hard for found in self.problem.learners], dtype=np.int64)
        self.near = self.soft * self.problem.points.near_percent // 100

    def add(self, n: int, path: Path) -> bool:
        """Take a path; False where it is known."""
        key = (n, path.places)
        if key in self.known:
            return False
        self.known.add(key)
        self.paths.append((n, path))
        return True

    def prices(self) -> tuple[float, _Prices]:
        """Mix the paths as cheaply as can be: the cost, and what minutes and mornings are worth."""
        program, where = self._program(whole=False)
        cost, self.mix, duals = program.relaxed()
        return cost, self._read(where, duals)

    def choose(self, nodes: int) -> list[Path] | None:
        """One whole path for each stream from those found, as cheap together as so many branchings can tell."""
        program, _ = self._program(whole=True)
        _, values, _ = program.solve(nodes)
        if not values:
            return None
        chosen = {n: path for value, (n, path) in zip(values, self.paths, strict=False) if value > 0.5}
        return [chosen[n] for n in range(len(self.home.tables))]

    def _program(self, *, whole: bool) -> tuple[Program, dict[tuple[str, int, int], int]]:
        program, points = Program(), self.problem.points
        columns = [program.column(float(path.own), 1, whole=whole) for _, path in self.paths]
        for n in range(len(self.home.tables)):
            mine = [(c, 1.0) for c, (own, _) in zip(columns, self.paths, strict=True) if own == n]
            if self.spare is not None:
                mine.append((program.column(float(self.spare), 1), 1.0))
            program.row(mine, 1, 1)
        shape = self.soft.shape
        minutes: dict[tuple[int, int], list[tuple[int, float]]] = {}
        mornings: dict[int, list[tuple[int, float]]] = {}
        for column, (n, path) in zip(columns, self.paths, strict=True):
            row = self.home.learner[n]
            for day in np.flatnonzero(path.halves).tolist():
                minutes.setdefault((row, day), []).append((column, float(path.halves[day])))
            for day in np.flatnonzero(path.units).tolist():
                mornings.setdefault(day, []).append((column, 1.0))
        where: dict[tuple[str, int, int], int] = {}
        for (row, day), entries in minutes.items():
            close = program.column(points.over, float(self.near[row, day]))
            far = program.column(points.far_over, np.inf)
            limit = float(self.soft[row, day])
            where["soft", row, day] = program.row([*entries, (close, -1), (far, -1)], None, limit)
            where["hard", row, day] = program.row(entries, None, float(self.hard[row, day]))
        for day, entries in mornings.items():
            where["morning", 0, day] = program.row(entries, None, self.problem.watched[day])
            for row in range(shape[0]):
                own = [(c, v) for c, v in entries if self.home.learner[self.paths[c][0]] == row]
                if len(own) > self.problem.sittings_a_learner:
                    where["own", row, day] = program.row(own, None, self.problem.sittings_a_learner)
        return program, where

    def _read(self, where: dict[tuple[str, int, int], int], duals: NDArray[np.float64]) -> _Prices:
        minutes = np.zeros(self.soft.shape, dtype=np.int64)
        sitting = np.zeros(self.soft.shape, dtype=np.int64)
        morning = np.zeros(self.problem.horizon, dtype=np.int64)
        for (kind, row, day), number in where.items():
            price = max(0, round(-float(duals[number])))
            if kind == "morning":
                morning[day] += price
            elif kind == "own":
                sitting[row, day] += price
            else:
                minutes[row, day] += price
        return _Prices(minutes, morning, sitting)

    def ask(self, prices: _Prices) -> tuple[int, bool]:
        """Solve every stream under prices: the bound that follows, and whether any path is new.

        Raises:
            NoWayError: a stream has no path.
        """
        total, new = self._constant(prices), False
        for n, tables in enumerate(self.home.tables):
            row = self.home.learner[n]
            sitting = np.where(tables.open, prices.morning + prices.sitting[row], NEVER)
            worked = prices.minutes[row][:, None] * tables.halves
            # A move over the hard limit by itself is in no plan.
            worked[(tables.halves > self.hard[row][:, None]) & (tables.halves > 0)] = NEVER
            path = tables.best(worked, sitting)
            if path.value >= NEVER:
                raise NoWayError(n, proved=True)
            total += path.value
            new = self.add(n, path) or new
        return total, new

    def _constant(self, prices: _Prices) -> int:
        """What limits give back: the least of cost less price over all loads that are allowed."""
        points = self.problem.points
        corners: Sequence[Ints] = (
            np.zeros_like(self.soft),
            np.minimum(self.soft, self.hard),
            np.minimum(self.soft + self.near, self.hard),
            self.hard,
        )
        worth = []
        for load in corners:
            over = np.maximum(0, load - self.soft)
            far = np.maximum(0, over - self.near)
            worth.append(points.over * (over - far) + points.far_over * far - prices.minutes * load)
        given = int(np.min(np.stack(worth), axis=0).sum())
        given -= int((prices.morning * np.array(self.problem.watched, dtype=np.int64)).sum())
        return given - int(prices.sitting.sum()) * self.problem.sittings_a_learner
