"""Item curves of 10,000 learners and 60 questions: how long ours take beside girth's, and how far apart they end.

Both fit the same answers in the same run with the same reach and number of points; girth goes on until it has
converged. The two are not one method: girth takes each difficulty from the share right, ours maximises the marginal
likelihood in slopes and difficulties together.
"""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from time import perf_counter, process_time
from typing import Any

import girth
import numpy as np
from numpy.typing import NDArray

from markstead.measure.irt import two_pl

LEARNERS, QUESTIONS = 10_000, 60
SETTINGS = {"quadrature_bounds": (-6.0, 6.0), "quadrature_n": 61, "max_iteration": 500}


@dataclass(frozen=True, slots=True)
class Figures:
    """Seconds by the clock and of the processor (all threads) for each, and the largest differences."""

    ours: float
    ours_cpu: float
    theirs: float
    theirs_cpu: float
    slope_gap: float
    difficulty_gap: float
    converged: bool

    @property
    def ratio(self) -> float:
        """Ours over theirs."""
        return self.ours / self.theirs

    @property
    def ratio_cpu(self) -> float:
        return self.ours_cpu / self.theirs_cpu


def answers() -> NDArray[np.int64]:
    """Answers drawn from curves: slopes exp N(0, .3), difficulties N(-1, 1), abilities N(0, 1)."""
    rng = np.random.default_rng(2026)
    slope, difficulty = np.exp(rng.normal(0, 0.3, QUESTIONS)), rng.normal(-1, 1, QUESTIONS)
    ability = rng.normal(size=(LEARNERS, 1))
    chance = 1 / (1 + np.exp(-slope * (ability - difficulty)))
    return (rng.random(chance.shape) < chance).astype(np.int64)


def _timed(work: Callable[[], Any]) -> tuple[Any, float, float]:
    """What came out, and the seconds by the clock and of the processor (all threads)."""
    begun, cpu = perf_counter(), process_time()
    out = work()
    return out, perf_counter() - begun, process_time() - cpu


def figures(times: int = 3) -> Figures:
    """Fit by turns, so many times each, and take the medians of the seconds.

    girth does not say whether it has converged; it is given 500 rounds and takes eight.
    """
    table = answers()
    two_pl(table[:100])  # what the first call loads is not timed
    ours, theirs = [], []
    for _ in range(times):
        ours.append(_timed(lambda: two_pl(table)))
        theirs.append(_timed(lambda: girth.twopl_mml(table.T, options=SETTINGS)))
    fit, other = ours[0][0], theirs[0][0]
    return Figures(
        ours=median(seconds for _, seconds, _ in ours),
        ours_cpu=median(cpu for _, _, cpu in ours),
        theirs=median(seconds for _, seconds, _ in theirs),
        theirs_cpu=median(cpu for _, _, cpu in theirs),
        slope_gap=float(np.abs(fit.slope - other["Discrimination"]).max()),
        difficulty_gap=float(np.abs(fit.difficulty - other["Difficulty"]).max()),
        converged=fit.converged,
    )


def lines() -> list[str]:
    """The lines of the table."""
    found = figures()
    return [
        f"| two-parameter curves, {LEARNERS:,} learners x {QUESTIONS} questions | ours | girth | ratio |",
        "| --- | --- | --- | --- |",
        f"| seconds | {found.ours:.2f} | {found.theirs:.2f} | {found.ratio:.2f} |",
        f"| seconds of the processor | {found.ours_cpu:.2f} | {found.theirs_cpu:.2f} | {found.ratio_cpu:.2f} |",
        f"| largest difference in a slope, in a difficulty | {found.slope_gap:.4f} | {found.difficulty_gap:.4f} | |",
    ]


def run() -> list[str]:
    """The lines, measured on one core in a process of its own.

    The threads of a matrix product wait for each other by turning round and round; where another program has one of
    the cores, that wait would be what is measured. How many threads there are is settled when numpy is loaded.
    """
    code = "from benchmarks.items import lines; print(*lines(), sep='\\n')"
    one_core = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], env=one_core, capture_output=True, text=True, check=True
    )
    return done.stdout.splitlines()


if __name__ == "__main__":
    print("\n".join(run()))
