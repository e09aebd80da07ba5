"""Mixed-integer programs for HiGHS, filled column by column and row by row.

Huangfu and Hall, *Parallelizing the dual revised simplex method*, Mathematical Programming Computation 10, 2018. One
thread, a fixed seed and a limit on branchings, so that time decides nothing.
"""

from collections.abc import Callable, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import highspy


GoOn = Callable[[], bool]
"""Asked now and then in a long piece of work; False ends it with what is known by then."""
UNSAFE = (1 << 13) | (1 << 16) | (1 << 17)
"""Steps by which HiGHS 1.16 makes programs smaller before it searches, without which no drawn program has lost its best plan: merging
of parallel rows and columns, enumeration (its issue 3216) and the one after. `tests.plan.test_seeking` keeps programs that did."""
NEAR = 0.1
"""Costs are whole numbers: what differs by less is the solver's rounding."""


class Ending(StrEnum):
    """How a program ended."""

    BEST = "best"
    GOOD = "good"
    NONE = "none"
    IMPOSSIBLE = "impossible"


class Program:
    """Columns with costs and bounds, rows with limits; the cost is made small."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.lower: list[float] = []
        self.upper: list[float] = []
        self.whole: list[bool] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self.starts: list[int] = [0]
        self.index: list[int] = []
        self.value: list[float] = []

    def column(self, cost: float, upper: float, *, whole: bool = False, lower: float = 0) -> int:
        """Add a column from `lower` to `upper` and return its number."""
        self.cost.append(cost)
        self.lower.append(lower)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.cost) - 1

    def row(self, entries: Sequence[tuple[int, float]], low: float | None, high: float) -> int:
        """Add a row: the sum of value times column, from `low` to `high`; returns its number."""
        for column, value in entries:
            self.index.append(column)
            self.value.append(value)
        self.starts.append(len(self.index))
        self.low.append(-np.inf if low is None else low)
        self.high.append(high)
        return len(self.low) - 1

    def solve(
        self,
        nodes: int,
        begin: Sequence[float] | None = None,
        go_on: GoOn | None = None,
    ) -> tuple[Ending, Sequence[float], float]:
        """Make the cost small; how it ended, the columns' values (none where none is known), and the bound.

        Args:
            nodes: branchings, at most.
            begin: columns' values that keep all rows, from which the search may begin.
            go_on: asked while it searches.
        """
        import highspy

        solver = self._solver()
        if begin is not None:
            start = highspy.HighsSolution()
            start.col_value = list(begin)
            solver.setSolution(start)
        if go_on is not None:
            # The library's own, which `Quiet` holds back until it is quiet.
            highspy.Highs.enableCallbacks(solver)  # type: ignore[no-untyped-call]
            solver.cbMipInterrupt.subscribe(lambda event: event.interrupt(not go_on()))
        solver.setOptionValue("mip_rel_gap", 0.0)
        solver.setOptionValue("mip_abs_gap", 0.5)  # costs are whole numbers
        solver.setOptionValue("mip_max_nodes", nodes)
        solver.run()
        status, found = solver.getModelStatus(), highspy.HighsModelStatus
        if status in (found.kInfeasible, found.kUnboundedOrInfeasible):
            return Ending.IMPOSSIBLE, (), 0.0
        info = solver.getInfo()
        known = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
        values = solver.getSolution().col_value if known else ()
        if begin is not None and known and abs(self._cost(values) - info.objective_function_value) > NEAR:
            # Where making the program smaller already solves it, HiGHS 1.16 tells the best cost and hands back the beginning.
            return self.solve(nodes, None, go_on)
        bound = float(info.mip_dual_bound) if any(self.whole) else float(info.objective_function_value)
        if status == found.kOptimal:
            return Ending.BEST, values, bound
        return (Ending.GOOD if known else Ending.NONE), values, bound

    def _cost(self, values: Sequence[float]) -> float:
        return sum(cost * value for cost, value in zip(self.cost, values, strict=True))

    def relaxed(self) -> tuple[float, NDArray[np.float64], NDArray[np.float64]]:
        """Solve without asking for whole numbers: the cost, the columns' values and the rows' prices.

        Raises:
            ValueError: there is no solution.
        """
        import highspy

        solver = self._solver(relaxed=True)
        solver.run()
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            raise ValueError(f"the program ended as {solver.getModelStatus()}")
        solution = solver.getSolution()
        return (
            float(solver.getInfo().objective_function_value),
            np.array(solution.col_value),
            np.array(solution.row_dual),
        )

    def _solver(self, *, relaxed: bool = False) -> "highspy.Highs":
        import highspy

        program = highspy.HighsLp()
        program.num_col_, program.num_row_ = len(self.cost), len(self.low)
        program.col_cost_ = np.array(self.cost, dtype=np.float64)
        program.col_lower_ = np.array(self.lower, dtype=np.float64)
        program.col_upper_ = np.array(self.upper, dtype=np.float64)
        program.row_lower_ = np.array(self.low, dtype=np.float64)
        program.row_upper_ = np.array(self.high, dtype=np.float64)
        program.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        program.a_matrix_.start_ = np.array(self.starts, dtype=np.int32)
        program.a_matrix_.index_ = np.array(self.index, dtype=np.int32)
        program.a_matrix_.value_ = np.array(self.value, dtype=np.float64)
        if not relaxed:
            kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
            program.integrality_ = [kinds[whole] for whole in self.whole]

        class Quiet(highspy.Highs):
            def enableCallbacks(self) -> None:  # noqa: N802 - the library's name
                """Say nothing: as made, it writes a banner on the output that commands use."""
                self.setOptionValue("output_flag", False)

        solver = Quiet()  # type: ignore[no-untyped-call]
        solver.setOptionValue("threads", 1)
        solver.setOptionValue("random_seed", 1)
        solver.setOptionValue("presolve_rule_off", UNSAFE)
        solver.passModel(program)
        return solver
