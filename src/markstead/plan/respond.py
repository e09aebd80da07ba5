"""Streams meet only in a learner's minutes and in the household's mornings: best response, sweep after sweep.

Each stream in turn is taken out, solved exactly against the load of the others and put back, until nothing changes (a
potential game: Monderer and Shapley, *Potential Games*, Games and Economic Behavior 14, 1996: every such step lowers
the same sum, so the sweeps end). The first sweeps add prices for crowding and let limits be passed at a price; the
later ones forbid what is forbidden. One forbidding sweep over all streams leaves no limit passed and no morning with
too many sittings: whichever stream comes last to a full morning or day finds it closed.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import blake2s

import numpy as np

from markstead.plan.moves import HALF
from markstead.plan.problem import Problem
from markstead.plan.stream import NEVER, Flags, Path, Tables, load_cost, minute_prices

CROWDING = (30, 20, 10, 5)
"""Hundredths of load over the soft limit, one for each of the first sweeps."""
SLOT_PRICE = 4
"""Half points for any morning with another sitting, in the first sweeps."""
CLASH_PRICES = (50, 50, 50, 50, 100, 200, 400)
"""Percent of a missed target for a morning that is full, in the sweeps before it is closed."""
HARD_PRICE = 40
"""Half points a half-minute over the hard limit, in the first sweeps."""
SWEEPS = 12


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is."""

    start: int
    starts: int
    cost: int
    """The least cost so far, in half points."""


class Household:
    """All streams with their paths, and what they add up to."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.tables = [Tables(problem, stream) for stream in problem.streams]
        self.row = {limits.learner: n for n, limits in enumerate(problem.learners)}
        self.learner = [self.row[stream.learner] for stream in problem.streams]
        self.watched = np.array(problem.watched, dtype=np.int64)
        self.clear()

    def clear(self) -> None:
        """Take every stream out."""
        shape = (len(self.problem.learners), self.problem.horizon)
        self.load = np.zeros(shape, dtype=np.int64)
        self.sat = np.zeros(shape, dtype=np.int64)
        self.sittings = np.zeros(self.problem.horizon, dtype=np.int64)
        self.paths: list[Path | None] = [None] * len(self.tables)

    def put(self, n: int, path: Path) -> None:
        """Put a path in place of what the stream had."""
        self.take(n)
        self._add(n, path, 1)
        self.paths[n] = path

    def take(self, n: int) -> Path | None:
        """Take a stream out and return its path."""
        path = self.paths[n]
        if path is not None:
            self._add(n, path, -1)
            self.paths[n] = None
        return path

    def _add(self, n: int, path: Path, sign: int) -> None:
        row = self.learner[n]
        self.load[row] += sign * path.halves
        self.sat[row] += sign * path.units
        self.sittings += sign * path.units

    def full(self, n: int) -> Flags:
        """(H,) mornings without room for one more sitting of this stream."""
        most = self.problem.sittings_a_learner
        closed: Flags = (self.sittings >= self.watched) | (self.sat[self.learner[n]] >= most)
        return closed

    def respond(
        self, n: int, *, crowding: int = 0, clash: int | None = None, over_hard: int = HARD_PRICE
    ) -> Path:
        """The best path of a stream that is taken out, against what is there.

        Args:
            n: the stream.
            crowding: see `minute_prices`.
            clash: the price of a morning that is full; None closes it, and closes days at the hard limit.
            over_hard: where nothing is closed, the price of a half-minute over the hard limit.
        """
        full = self.full(n)
        sitting = np.where(full, NEVER if clash is None else clash, 0).astype(np.int64)
        if crowding:
            sitting += SLOT_PRICE * (self.sittings > 0)
        tables = self.tables[n]
        other = self.load[self.learner[n]]
        prices = minute_prices(
            tables, other, hard_price=None if clash is None else over_hard, crowding=crowding
        )
        return tables.best(prices, sitting)

    def cost(self) -> int:
        """The cost of all paths together, in half points."""
        own = sum(path.own for path in self.paths if path is not None)
        return own + sum(
            load_cost(self.problem, limits.soft, self.load[n])
            for n, limits in enumerate(self.problem.learners)
        )

    def places(self) -> tuple[tuple[int, ...], ...]:
        """The places of all streams, day by day.

        Raises:
            ValueError: a stream is out.
        """
        found = []
        for path in self.paths:
            if path is None:
                raise ValueError("a stream has no path")
            found.append(path.places)
        return tuple(found)


class NoWayError(Exception):
    """A stream has no path beside those that were placed before it; `proved` where no order of placing helps."""

    def __init__(self, stream: int, *, proved: bool = False) -> None:
        super().__init__(stream)
        self.stream, self.proved = stream, proved


def order(problem: Problem, seed: int, sweep: int) -> list[int]:
    """The order of streams in a sweep: by weight at first, then as a seed shuffles them, alike on every machine."""

    def key(n: int) -> tuple[bool, int, bytes]:
        stream = problem.streams[n]
        dice = blake2s(f"{seed}/{sweep}/{n}".encode()).digest()
        return (not stream.fixed, -stream.weight if sweep < len(CROWDING) else 0, dice)

    return sorted(range(len(problem.streams)), key=key)


def search(home: Household, seed: int, begin: Sequence[Path] | None = None) -> tuple[int, tuple[Path, ...]]:
    """One start: crowded sweeps, then forbidding sweeps until nothing changes.

    Raises:
        NoWayError: goals fixed by hand leave a stream no path beside the others.
    """
    home.clear()
    if begin is None:
        for sweep, clash in enumerate(CLASH_PRICES):
            crowding = CROWDING[sweep] if sweep < len(CROWDING) else 0
            for n in order(home.problem, seed, sweep):
                home.take(n)
                path = home.respond(
                    n, crowding=crowding, clash=clash * home.problem.points.missed * HALF // 100
                )
                if path.value >= NEVER:
                    raise NoWayError(n)
                home.put(n, path)
    else:
        for n, path in enumerate(begin):
            home.put(n, path)
    forbid(home, seed)
    return home.cost(), tuple(path for path in home.paths if path is not None)


def forbid(home: Household, seed: int) -> None:
    """Sweep with limits and mornings closed where they are full, until nothing changes.

    Raises:
        NoWayError: see `search`.
    """
    met: dict[int, bytes] = {}
    for sweep in range(len(CLASH_PRICES), len(CLASH_PRICES) + SWEEPS):
        changed = False
        for n in order(home.problem, seed, sweep):
            row = home.learner[n]
            before = home.paths[n]
            home.take(n)
            # What a stream sees: its learner's other minutes, and where it may sit.
            sees = home.load[row].tobytes() + home.full(n).tobytes()
            if before is not None and met.get(n) == sees:
                home.put(n, before)
                continue
            path = home.respond(n)
            if path.value >= NEVER:
                raise NoWayError(n)
            home.put(n, path)
            met[n] = sees
            changed = changed or before is None or before.places != path.places
        if not changed:
            return


def trade(home: Household, seed: int) -> bool:
    """Let each stream in turn have what others hold; they make room, and it stays where all together gain.

    Sweeps alone end where no single stream gains, though two could by changing mornings.

    Returns:
        Whether anything changed.
    """
    changed = False
    least = home.cost()
    for n in order(home.problem, seed, len(CLASH_PRICES) + SWEEPS):
        before = list(home.paths)
        home.take(n)
        home.put(n, home.respond(n, clash=0, over_hard=0))
        held = home.paths[n]
        others = [m for m in _in_the_way(home, n) if m != n]
        if held is None or held.value >= NEVER or not others:
            _put_back(home, before)
            continue
        for m in others:
            home.take(m)
        cost = least + 1
        if _keeps_to_limits(home, n) and _again(home, others):
            cost = home.cost()
        if cost < least:
            least, changed = cost, True
        else:
            _put_back(home, before)
    return changed


def _in_the_way(home: Household, n: int) -> list[int]:
    """Streams on mornings with too many sittings, and of this learner on days over the hard limit; heaviest first."""
    row = home.learner[n]
    crowded = home.sittings > home.watched
    own = home.sat[row] > home.problem.sittings_a_learner
    long = home.load[row] > np.array(home.problem.learners[row].hard)
    found = []
    for m, path in enumerate(home.paths):
        if path is None:
            continue
        mine = home.learner[m] == row
        if (path.units & crowded).any() or (
            mine and ((path.units & own).any() or ((path.halves > 0) & long).any())
        ):
            found.append(m)
    return sorted(found, key=lambda m: -home.problem.streams[m].weight)


def _keeps_to_limits(home: Household, n: int) -> bool:
    row = home.learner[n]
    return bool(
        (home.sittings <= home.watched).all()
        and (home.sat[row] <= home.problem.sittings_a_learner).all()
        and (home.load[row] <= np.array(home.problem.learners[row].hard)).all()
    )


def _again(home: Household, streams: Sequence[int]) -> bool:
    """Put streams back one after the other, within limits; False where one has no way."""
    for m in streams:
        path = home.respond(m)
        if path.value >= NEVER:
            return False
        home.put(m, path)
    return True


def _put_back(home: Household, paths: Sequence[Path | None]) -> None:
    for n, path in enumerate(paths):
        if path is not None and home.paths[n] is not path:
            home.put(n, path)


Listener = Callable[[Progress], bool]
"""Called between pieces of work; False ends the search."""
