"""Windows of a plan solved exactly: the paths of some streams between two days, as flows through days and places.

Every move of every stream in the window is a column; a stream's columns form one path from where it stands at the
beginning to where it stands at the end (a unit flow: Ahuja, Magnanti and Orlin, *Network Flows*, 1993, chapter 16, on
flows with common limits). Streams outside the window stand still. Flows alone have whole solutions, so that few
branchings are left; those are counted, and no clock decides.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from markstead.plan.answer import steps_taken
from markstead.plan.moves import comfort, moved_test, moves
from markstead.plan.program import Ending, Program
from markstead.plan.respond import Household
from markstead.plan.stream import NEVER, Path, Tables

NODES = 200
"""Branchings of one window."""


@dataclass(frozen=True, slots=True)
class Arc:
    """One move of one stream on one day, with its own cost."""

    day: int
    place: int
    to: int
    halves: int
    unit: bool
    cost: int


@dataclass(frozen=True, slots=True)
class Window:
    """Days [begin, end) of some streams."""

    begin: int
    end: int
    streams: tuple[int, ...]


def arcs(tables: Tables, begin: int, end: int, place: int, goal: int | None) -> list[Arc]:
    """Every move that lies on some path from a place to a goal; to any place where no goal is given."""
    problem, stream = tables.problem, tables.stream
    found: list[list[Arc]] = []
    reached = {place}
    for day in range(begin, end):
        rows = []
        for here in sorted(reached):
            for move in moves(problem, stream, tables.limits, day, here):
                cost = int(tables.end[day, move.to])
                if cost >= NEVER or (goal is not None and move.to > goal):
                    continue
                if tables.limits.here[day]:
                    cost += sum(comfort(stream, problem.points, day, here, move).values())
                cost += moved_test(stream, problem.points, day, here, move)
                rows.append(Arc(day, here, move.to, move.halves, move.unit, cost))
        found.append(rows)
        reached = {arc.to for arc in rows}
    wanted = reached if goal is None else {goal}
    kept: list[Arc] = []
    for rows in reversed(found):
        alive = [arc for arc in rows if arc.to in wanted]
        kept += alive
        wanted = {arc.place for arc in alive}
    return kept[::-1]


class Model:
    """The columns and rows of one window."""

    def __init__(self, home: Household, window: Window, paths: Sequence[Path | None]) -> None:
        self.home, self.window = home, window
        self.program = Program()
        self.arcs: dict[int, list[Arc]] = {}
        self.columns: dict[int, range] = {}
        last = window.end == home.problem.horizon
        for n in window.streams:
            path = paths[n]
            before = window.begin - 1
            place = home.tables[n].stream.done if before < 0 or path is None else path.places[before]
            goal = None if last or path is None else path.places[window.end - 1]
            self._stream(n, arcs(home.tables[n], window.begin, window.end, place, goal), place)
        self._minutes()
        self._sittings()

    def _stream(self, n: int, found: list[Arc], place: int) -> None:
        """One path: what comes to a place leaves it."""
        first = len(self.program.cost)
        self.arcs[n], self.columns[n] = found, range(first, first + len(found))
        nodes: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
        for column, arc in zip(self.columns[n], found, strict=True):
            self.program.column(arc.cost, 1, whole=True)
            nodes[arc.day, arc.place].append((column, 1))
            nodes[arc.day + 1, arc.to].append((column, -1))
        for (day, where), entries in nodes.items():
            source = int((day, where) == (self.window.begin, place))
            if day < self.window.end:
                self.program.row(entries, source, source)
        if not found and self.window.end > self.window.begin:
            self.program.row([], 1, 1)

    def _minutes(self) -> None:
        """Hard limits, and minutes over the soft ones near and far."""
        problem = self.home.problem
        points = problem.points
        work = defaultdict(list)
        for n, found in self.arcs.items():
            for arc, column in zip(found, self.columns[n], strict=True):
                if arc.halves:
                    work[self.home.learner[n], arc.day].append((column, arc.halves))
        for (row, day), halves in sorted(work.items(), key=lambda item: item[0]):
            limits, other = problem.learners[row], int(self.home.load[row, day])
            soft, hard = limits.soft[day], limits.hard[day]
            near = soft * points.near_percent // 100
            self.program.row(halves, None, max(0, hard - other))
            # What the others are over by themselves is paid already.
            room, taken = max(0, soft - other), max(0, other - soft)
            close = self.program.column(points.over, max(0, near - taken))
            far = self.program.column(points.far_over, max(0, hard))
            self.program.row([*halves, (close, -1), (far, -1)], None, room)

    def _sittings(self) -> None:
        problem = self.home.problem
        mornings, own = defaultdict(list), defaultdict(list)
        for n, found in self.arcs.items():
            for arc, column in zip(found, self.columns[n], strict=True):
                if arc.unit:
                    mornings[arc.day].append((column, 1))
                    own[self.home.learner[n], arc.day].append((column, 1))
        for day, entries in mornings.items():
            self.program.row(entries, None, problem.watched[day] - int(self.home.sittings[day]))
        for (row, day), entries in own.items():
            self.program.row(entries, None, problem.sittings_a_learner - int(self.home.sat[row, day]))

    def solve(self, nodes: int) -> tuple[Ending, dict[int, list[Arc]], float]:
        """How the solver ended, the moves chosen for every stream, and the lower bound."""
        ending, values, bound = self.program.solve(nodes)
        if not values:
            return ending, {}, 0.0
        chosen = {
            n: [arc for column, arc in zip(self.columns[n], found, strict=True) if values[column] > 0.5]
            for n, found in self.arcs.items()
        }
        return ending, chosen, bound


def spliced(tables: Tables, path: Path | None, chosen: Sequence[Arc]) -> Path:
    """A path with some days replaced by the moves chosen."""
    days = tables.days
    places = list(path.places) if path is not None else [tables.stream.done] * days
    halves = path.halves.copy() if path is not None else np.zeros(days, dtype=np.int64)
    units = path.units.copy() if path is not None else np.zeros(days, dtype=np.bool_)
    for arc in chosen:
        places[arc.day], halves[arc.day], units[arc.day] = arc.to, arc.halves, arc.unit
    return Path(tuple(places), halves, units, own_cost(tables, places), 0)


def own_cost(tables: Tables, places: Sequence[int]) -> int:
    """What a path costs by itself, in half points."""
    problem, stream, cost, before = tables.problem, tables.stream, 0, tables.stream.done
    for day, to in enumerate(places):
        move = next(m for m in moves(problem, stream, tables.limits, day, before) if m.to == to)
        if tables.limits.here[day]:
            cost += sum(comfort(stream, problem.points, day, before, move).values())
        cost += moved_test(stream, problem.points, day, before, move) + int(tables.end[day, to])
        before = to
    return cost


def polish(home: Household, window: Window, nodes: int = NODES) -> tuple[Ending, float]:
    """Solve a window and take what is found where it is better.

    Returns:
        How the solver ended and its lower bound on the window's cost in half points.
    """
    paths = list(home.paths)
    whole = [path for path in paths if path is not None]
    before = home.cost() if len(whole) == len(paths) else None
    for n in window.streams:
        path = paths[n]
        if path is not None:
            home.put(n, _without(path, window))
    model = Model(home, window, paths)
    ending, chosen, bound = model.solve(nodes)
    for n in window.streams:
        if n in chosen:
            home.put(n, spliced(home.tables[n], paths[n], chosen[n]))
        elif before is not None:
            home.put(n, whole[n])
    if before is not None and home.cost() > before:
        for n in window.streams:
            home.put(n, whole[n])
    return ending, bound


def _without(path: Path, window: Window) -> Path:
    """The path with nothing done in the window: what the window's sums start from."""
    halves, units = path.halves.copy(), path.units.copy()
    halves[window.begin : window.end] = 0
    units[window.begin : window.end] = False
    return Path(path.places, halves, units, path.own, path.value)


def windows(home: Household, length: int = 5) -> list[Window]:
    """Windows of one learner each over all days, half overlapping."""
    found = []
    for row in range(len(home.problem.learners)):
        mine = tuple(n for n, own in enumerate(home.learner) if own == row)
        begins = range(0, max(1, home.problem.horizon - length // 2), -(-length // 2))
        found += [Window(begin, min(begin + length, home.problem.horizon), mine) for begin in begins]
    return found


def path_of(tables: Tables, places: Sequence[int]) -> Path:
    """The path of a stream that stands at these places in the evenings.

    Raises:
        ValueError: a day's step is no move of the stream.
    """
    halves = np.zeros(tables.days, dtype=np.int64)
    units = np.zeros(tables.days, dtype=np.bool_)
    for day, _, move in steps_taken(tables.problem, tables.stream, places):
        halves[day], units[day] = move.halves, move.unit
    return Path(tuple(places), halves, units, own_cost(tables, places), 0)


def stand(home: Household, places: Sequence[Sequence[int]]) -> None:
    """Put a plan's paths into a household.

    Raises:
        ValueError: a day's step is no move of its stream.
    """
    for n, (tables, path) in enumerate(zip(home.tables, places, strict=True)):
        home.put(n, path_of(tables, path))
