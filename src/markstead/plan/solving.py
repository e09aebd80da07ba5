"""Solve a household's days: several starts, then what is small enough exactly."""

from collections.abc import Sequence
from dataclasses import replace

from markstead.plan.answer import Answer, Outcome, empty, write_out
from markstead.plan.bound import recombine
from markstead.plan.check import check
from markstead.plan.polish import NODES, Window, arcs, polish, stand, windows
from markstead.plan.problem import Points, Problem
from markstead.plan.program import Ending
from markstead.plan.respond import Household, Listener, NoWayError, Progress, forbid, search, trade
from markstead.plan.speech import Speech
from markstead.plan.stream import NEVER, Path
from markstead.speech import say

HEAVIER = 10
"""A draft with targets so much heavier settles who has which morning; comfort is then found beside it."""
MIXED = 1_500
"""Streams times days up to which polishing mixes paths of the whole household."""
MIX_ROUNDS = 120
SMALL, SMALL_POLISHED = 2_500, 6_000
"""Moves up to which all streams and days are solved exactly in one piece."""
SMALL_NODES = 1_000
"""Branchings for that."""


def solve(
    problem: Problem,
    *,
    seed: int = 0,
    starts: int = 4,
    polishing: int = 0,
    on_progress: Listener | None = None,
    speech: Speech | None = None,
) -> Answer:
    """Plan all days.

    The same problem, seed and counts give the same answer, byte for byte: nothing depends on time. `on_progress` is
    called between pieces of work; where it returns False, the best plan so far is returned as `OUT_OF_TIME`.

    Args:
        problem: what is to be planned.
        seed: of the order in which streams take turns.
        starts: how many times to begin anew, keeping the best.
        polishing: how many rounds of exact windows follow.
        on_progress: is told how far the search is.
        speech: names in the reason that there is no plan.

    Raises:
        InputError: the problem contradicts itself; every contradiction is named.
    """
    check(problem)
    if starts < 1:
        raise ValueError(f"{starts} starts")
    home = Household(problem)
    drafts = [Household(draft) for draft in (heavier_targets(problem), only_targets(problem))[:starts]]
    best: tuple[int, tuple[Path, ...]] | None = None
    stopped = False
    for n in range(starts):
        try:
            draft = (0, None, 0, 1)[n % 4]
            found = _one_start(home, seed * 1000 + n, None if draft is None else drafts[draft])
        except NoWayError as no_way:
            stream = problem.streams[no_way.stream]
            name = (speech or Speech()).who(stream.learner, stream.course)
            if no_way.proved:
                return empty(
                    Outcome.IMPOSSIBLE,
                    seed,
                    say("{stream}: the goals fixed by hand leave no way.", stream=name),
                )
            return empty(
                Outcome.OUT_OF_TIME,
                seed,
                say("{stream}: no way was found beside the goals fixed by hand.", stream=name),
            )
        if best is None or found[0] < best[0]:
            best = found
        if on_progress is not None and not on_progress(Progress(n + 1, starts, best[0])):
            stopped = True
            break
    assert best is not None
    home.clear()
    for n, path in enumerate(best[1]):
        home.put(n, path)
    outcome, within = Outcome.OUT_OF_TIME if stopped else Outcome.GOOD, None
    if not stopped:
        outcome, within = _exactly(home, SMALL_POLISHED if polishing else SMALL)
        if outcome is not Outcome.BEST and not _polished(home, polishing, starts, on_progress):
            outcome = Outcome.OUT_OF_TIME
    return write_out(problem, home.places(), outcome, seed, within)


def settled(problem: Problem, places: Sequence[Sequence[int]], *, seed: int = 0) -> Answer:
    """Where a plan that keeps every rule leads to by sweeps and trades, at the prices of the problem; never dearer.

    Raises:
        ValueError: a day's step is no move of its stream.
    """
    home = Household(problem)
    stand(home, places)
    _traded(home, seed, search(home, seed, [path for path in home.paths if path is not None]))
    return write_out(problem, home.places(), Outcome.GOOD, seed)


def replan(
    problem: Problem, *, seed: int = 0, starts: int = 4, on_progress: Listener | None = None
) -> Answer:
    """Plan again where goals are announced already: moving them costs points, so that few move.

    Raises:
        InputError: as `solve`; also where no stream has an announced goal.
    """
    if not any(stream.announced for stream in problem.streams):
        raise ValueError("no stream has an announced goal; use solve")
    return solve(problem, seed=seed, starts=starts, on_progress=on_progress)


def heavier_targets(problem: Problem) -> Problem:
    """The same days where targets weigh ten times as much."""
    points = problem.points
    heavy = replace(points, missed=HEAVIER * points.missed, day_late=HEAVIER * points.day_late)
    return replace(problem, points=heavy)


def only_targets(problem: Problem) -> Problem:
    """The same days where nothing costs but targets missed and days late."""
    points = problem.points
    kept = {"missed", "day_late", "near_percent"}
    nothing = {name: 0 for name in Points.__dataclass_fields__ if name not in kept}
    return replace(problem, points=replace(points, **nothing))


def _one_start(home: Household, seed: int, draft: Household | None) -> tuple[int, tuple[Path, ...]]:
    """One start, from nothing or from a plan drafted with other weights.

    Where streams with fixed goals stand in each other's way, those are first placed together.
    """
    try:
        if draft is None:
            return _traded(home, seed, search(home, seed))
        _, drafted = _traded(draft, seed, search(draft, seed))
        home.clear()
        stand(home, [path.places for path in drafted])
        return _traded(home, seed, search(home, seed, [path for path in home.paths if path is not None]))
    except NoWayError as no_way:
        fixed = tuple(n for n, stream in enumerate(home.problem.streams) if stream.fixed)
        home.clear()
        ending, _ = polish(home, Window(0, home.problem.horizon, fixed), SMALL_NODES)
        if any(home.paths[n] is None for n in fixed):
            raise NoWayError(no_way.stream, proved=ending is Ending.IMPOSSIBLE) from no_way
        for n in range(len(home.tables)):
            if n not in fixed:
                path = home.respond(n)
                assert path.value < NEVER  # staying where one is passes no limit
                home.put(n, path)
        return search(home, seed, [path for path in home.paths if path is not None])


def _traded(home: Household, seed: int, found: tuple[int, tuple[Path, ...]]) -> tuple[int, tuple[Path, ...]]:
    """The plan that a household stands in, after trades."""
    if not trade(home, seed):
        return found
    forbid(home, seed)
    return home.cost(), tuple(path for path in home.paths if path is not None)


def size(home: Household, most: int) -> int:
    """The number of moves of all streams on all days; stops counting beyond `most`."""
    total = 0
    for tables in home.tables:
        stream = tables.stream
        span = sum(far - stream.done + 1 for far in tables.reach)
        if total + span > most:
            return total + span
        total += len(arcs(tables, 0, tables.days, stream.done, None))
    return total


def _exactly(home: Household, most: int) -> tuple[Outcome, float | None]:
    """Solve everything in one piece where that is small."""
    if size(home, most) > most:
        return Outcome.GOOD, None
    streams = tuple(range(len(home.tables)))
    ending, bound = polish(home, Window(0, home.problem.horizon, streams), SMALL_NODES)
    if ending is Ending.BEST:
        return Outcome.BEST, 0.0
    cost = home.cost()
    return Outcome.GOOD, 100.0 * (cost - bound) / bound if bound > 0 else None


def _mix(home: Household) -> None:
    """Choose among the plan's paths and those that its bound calls for; kept where it is better."""
    before, paths = home.cost(), [path for path in home.paths if path is not None]
    mixed = recombine(home.problem, home.places(), rounds=MIX_ROUNDS, nodes=NODES)
    if mixed is not None:
        stand(home, mixed)
        forbid(home, 0)
        trade(home, 0)
    if home.cost() > before:
        home.clear()
        for n, path in enumerate(paths):
            home.put(n, path)


def _polished(home: Household, rounds: int, starts: int, on_progress: Listener | None) -> bool:
    """Go through windows; False where the listener ended it."""
    if rounds and len(home.tables) * home.problem.horizon <= MIXED:
        _mix(home)
    for _ in range(rounds):
        before = home.cost()
        for window in windows(home):
            polish(home, window)
            if on_progress is not None and not on_progress(Progress(starts, starts, home.cost())):
                return False
        if home.cost() == before:
            break
    return True
