"""A household's days as one mixed-integer program for HiGHS (`scipy.optimize.milp`), from rules written a second time.

Moves and their costs come from `tests.plan.trying_everything`; minutes over the limits and mornings are rows of the
program. Nothing is shared with the room's solvers, and the solver is another one than the room's windows use.
"""

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from markstead.plan.problem import Problem
from tests.plan.trying_everything import options


class _Rows:
    def __init__(self) -> None:
        self.cost: list[float] = []
        self.upper: list[float] = []
        self.whole: list[int] = []
        self.entries: list[tuple[int, int, float]] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def column(self, cost: float, upper: float, whole: int) -> int:
        self.cost.append(cost)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.cost) - 1

    def row(self, entries: list[tuple[int, float]], low: float, high: float) -> None:
        self.entries += [(len(self.low), column, value) for column, value in entries]
        self.low.append(low)
        self.high.append(high)


def proved_least(problem: Problem, *, seconds: float = 60) -> float | None:
    """The least cost in half points as HiGHS proves it; None where the time was too short."""
    rows = _Rows()
    work: dict[tuple[str, int], list[tuple[int, float]]] = {}
    mornings: dict[int, list[tuple[int, float]]] = {}
    own: dict[tuple[str, int], list[tuple[int, float]]] = {}
    for stream in problem.streams:
        balance: dict[tuple[int, int], list[tuple[int, float]]] = {}
        reached = {stream.done}
        for day in range(problem.horizon):
            following = set()
            for done in sorted(reached):
                for to, halves, unit, cost in options(problem, stream, day, done):
                    column = rows.column(cost, 1, 1)
                    balance.setdefault((day, done), []).append((column, 1.0))
                    balance.setdefault((day + 1, to), []).append((column, -1.0))
                    if halves:
                        work.setdefault((stream.learner, day), []).append((column, halves))
                    if unit:
                        mornings.setdefault(day, []).append((column, 1.0))
                        own.setdefault((stream.learner, day), []).append((column, 1.0))
                    following.add(to)
            reached = following
        for place in sorted(reached):
            behind = 10 * stream.weight * max(0, stream.line - place) if stream.line is not None else 0
            balance[problem.horizon, place].append((rows.column(behind, 1, 0), 1.0))
        for (day, place), entries in balance.items():
            source = 1.0 if (day, place) == (0, stream.done) else 0.0
            rows.row(entries, source, source)
    limits = {found.learner: found for found in problem.learners}
    for (learner, day), entries in work.items():
        soft, hard = limits[learner].soft[day], limits[learner].hard[day]
        rows.row(entries, -np.inf, hard)
        # One half point a half-minute up to 12 % over the soft limit, four beyond.
        near = rows.column(1, soft * 12 // 100, 0)
        far = rows.column(4, np.inf, 0)
        rows.row([*entries, (near, -1.0), (far, -1.0)], -np.inf, soft)
    for day, entries in mornings.items():
        rows.row(entries, -np.inf, problem.watched[day])
    for entries in own.values():
        rows.row(entries, -np.inf, problem.sittings_a_learner)
    row, column, value = zip(*rows.entries, strict=True)
    matrix = coo_array((value, (row, column)), shape=(len(rows.low), len(rows.cost))).tocsr()
    found = milp(
        np.array(rows.cost),
        integrality=np.array(rows.whole),
        bounds=Bounds(0, np.array(rows.upper)),
        constraints=LinearConstraint(matrix, rows.low, rows.high),
        options={"time_limit": seconds, "mip_rel_gap": 0},
    )
    return None if found.status != 0 else float(found.fun)
