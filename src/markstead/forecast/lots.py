"""How much to order at a time, and how many to keep: lot sizes over periods, joint orders at a supplier, spares.

Lot sizes are those of Wagner & Whitin 1958, Dynamic version of the economic lot size model, Management Science 5, 89-96:
where costs of a period are a fixed sum and a price a piece, some cheapest plan orders only when nothing is left, so that each
order covers a run of periods, and the cheapest runs are a shortest path. Joint orders use the same path over copies
in the order of their last days. Spares are those of the newsvendor (Arrow, Harris & Marschak 1951, Optimal inventory
policy, Econometrica 19, 250-272, from memory): the least stock with which all needs are met with chance short / (short + over).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

SUBSETS_UP_TO = 12
"""So many copies are split into orders by trying every set: at most 3 ** 11 steps, some 50 ms."""


@dataclass(frozen=True, slots=True)
class Lot:
    """One order: periods from `first` to `last` (counted from 0) are served by what is ordered in `first`."""

    first: int
    last: int
    quantity: float


@dataclass(frozen=True, slots=True)
class LotPlan:
    """The cheapest lots."""

    cost: float
    lots: tuple[Lot, ...]
    running: tuple[float, ...]
    """Least cost of the first 1, 2, ... periods alone."""


def lot_sizes(
    demand: Sequence[float],
    order_cost: Sequence[float],
    holding: Sequence[float] | float,
    unit_price: Sequence[float] | float = 0.0,
) -> LotPlan:
    """Find the cheapest lots for known demand (Wagner & Whitin 1958), costs free to differ from period to period.

    All sequences are as long as `demand`. `order_cost` is paid in a period in which something is ordered, `holding` for a
    piece kept from that period to the next one, `unit_price` for a piece ordered in it. Nothing may come late. Among
    equally cheap plans the one with the longest last lot is taken.

    Raises:
        ValueError: lengths differ, or demand, order cost or holding is negative or not finite.
    """
    d, setup = np.asarray(demand, dtype=np.float64), np.asarray(order_cost, dtype=np.float64)
    n = len(d)
    keep = np.broadcast_to(np.asarray(holding, dtype=np.float64), (n,)) if np.ndim(holding) == 0 else holding
    price = (
        np.broadcast_to(np.asarray(unit_price, dtype=np.float64), (n,))
        if np.ndim(unit_price) == 0
        else unit_price
    )
    keep, price = np.asarray(keep, dtype=np.float64), np.asarray(price, dtype=np.float64)
    _judge_periods(n, d, setup, keep, price)

    kept = np.concatenate([[0.0], np.cumsum(keep)])[:n]
    pieces = np.concatenate([[0.0], np.cumsum(d)])
    moved = np.concatenate([[0.0], np.cumsum(d * kept)])
    # cost[j, t]: all of periods j to t ordered in j; nothing is ordered, and nothing paid, for a run without demand.
    run = pieces[None, 1:] - pieces[:-1, None]
    cost = setup[:, None] + (price - kept)[:, None] * run + moved[None, 1:] - moved[:-1, None]
    some = np.concatenate([[0], np.cumsum(d > 0)])
    cost[some[None, 1:] == some[:-1, None]] = 0.0
    total, runs = cheapest_runs(cost)
    lots = tuple(Lot(j, t, float(pieces[t + 1] - pieces[j])) for j, t in runs if some[t + 1] > some[j])
    return LotPlan(total[-1] if n else 0.0, lots, tuple(total))


def _judge_periods(n: int, d: Floats, setup: Floats, keep: Floats, price: Floats) -> None:
    if not len(setup) == len(keep) == len(price) == n:
        raise ValueError(
            f"{n} periods of demand want as many costs, got {len(setup)}, {len(keep)}, {len(price)}"
        )
    for name, values in (("demand", d), ("order cost", setup), ("holding", keep)):
        if not (np.isfinite(values).all() and (values >= 0).all()):
            raise ValueError(f"{name} {values.tolist()}; wanted are numbers from 0 up")
    if not np.isfinite(price).all():
        raise ValueError(f"unit price {price.tolist()}; wanted are numbers")


def cheapest_runs(cost: Floats) -> tuple[list[float], list[tuple[int, int]]]:
    """Cut 0 .. n-1 into runs of least total cost; `cost[j, t]` is that of the run from j to t, [n, n].

    Gives the least cost of the first 1, 2, ... places and the runs (first, last). Of equally cheap cuts, the one with the
    longest last run.
    """
    n = len(cost)
    best = np.zeros(n + 1)
    start = np.zeros(n, dtype=np.int64)
    for t in range(n):
        through = best[: t + 1] + cost[: t + 1, t]
        start[t] = int(np.argmin(through))
        best[t + 1] = through[start[t]]
    runs = []
    t = n - 1
    while t >= 0:
        runs.append((int(start[t]), t))
        t = int(start[t]) - 1
    return [float(b) for b in best[1:]], runs[::-1]


@dataclass(frozen=True, slots=True)
class Terms:
    """What an order costs beside its copies; minor units of the currency."""

    postage: float = 0.0
    free_from: float | None = None
    """From this value on, nothing is paid for postage; None where it never is free."""
    least: float = 0.0
    """Least value of an order. One that falls short is filled up with something else, which is paid for nothing."""

    def __post_init__(self) -> None:
        sums = (self.postage, self.least, self.free_from or 0.0)
        if not all(x >= 0 and math.isfinite(x) for x in sums):
            raise ValueError(f"sums from 0 up are wanted, got {self}")

    def short_of(self, value: float) -> float:
        """What is missing to the least order."""
        return max(self.least - value, 0.0)

    def postage_of(self, value: float) -> float:
        """Postage of an order of this value."""
        return 0.0 if self.free_from is not None and value >= self.free_from else self.postage

    def cost_of(self, value: float) -> float:
        """Postage and what is missing to the least order."""
        return self.postage_of(value) + self.short_of(value)


@dataclass(frozen=True, slots=True)
class JointOrder:
    """Copies, by their place in what was asked, that are ordered together on one day."""

    day: int
    copies: tuple[int, ...]


def join_orders(latest: Whole, value: Floats, tied: Floats, terms: Terms) -> tuple[JointOrder, ...]:
    """Join copies of one supplier into orders, at the least sum of postage, filling up and money tied up.

    `latest` [n]: the last day, from 0, on which each copy may be ordered. `value` [n]: its price. `tied` [n, days]: what
    it costs to order the copy on that day rather than when it is needed; may not rise with the day. An order is placed
    on the last day that suits all of its copies.

    Without a least order and without free postage, the copies of an order follow each other by their last days (an earlier
    copy joins the latest order that is not too late for it), so the cheapest runs are the cheapest orders: exact for any number
    of copies. Otherwise it may pay to fetch a copy forward past others and fill an order up with it; up to twelve copies
    every split is tried, beyond that the cheapest runs are taken, and neighbouring orders of at most twelve copies are
    split anew as long as this pays. Where all prices are equal and `tied` falls by the same every day, the runs are
    the cheapest of all again: copies can be exchanged at no cost.

    Raises:
        ValueError: shapes differ, a day lies outside `tied`, or `tied` rises.
    """
    n = len(latest)
    if n == 0:
        return ()
    if value.shape != (n,) or tied.ndim != 2 or len(tied) != n:
        raise ValueError(
            f"{n} copies want as many values and rows of costs, got {value.shape} and {tied.shape}"
        )
    if latest.min() < 0 or latest.max() >= tied.shape[1]:
        raise ValueError(f"last days from 0 to {tied.shape[1] - 1} are wanted, got {latest.tolist()}")
    if (np.diff(tied, axis=1) > 1e-9).any():
        raise ValueError("what an earlier order costs may not rise with the day")
    order = np.argsort(latest, kind="stable")
    days, worth, rows = latest[order], value[order], tied[order]
    plain = terms.least == 0 and (terms.free_from is None or terms.postage == 0)
    if not plain and n <= SUBSETS_UP_TO:
        groups = _every_split(days, worth, rows, terms)
    else:
        groups = _runs(days, worth, rows, terms)
        if not plain:
            groups = _split_anew(groups, days, worth, rows, terms)
    by_day: dict[int, list[int]] = {}
    for group in groups:
        by_day.setdefault(int(days[group[0]]), []).extend(group)
    return tuple(JointOrder(day, tuple(sorted(int(order[k]) for k in by_day[day]))) for day in sorted(by_day))


def cost_of_orders(orders: Sequence[JointOrder], value: Floats, tied: Floats, terms: Terms) -> float:
    """Add up postage, filling up and money tied up; shapes as for `join_orders`."""
    return math.fsum(
        terms.cost_of(float(value[list(o.copies)].sum())) + float(tied[list(o.copies), o.day].sum())
        for o in orders
    )


def _runs(days: Whole, worth: Floats, rows: Floats, terms: Terms) -> list[list[int]]:
    n = len(days)
    value = np.concatenate([[0.0], np.cumsum(worth)])
    cost = np.full((n, n), np.inf)
    for j in range(n):
        sums = value[j + 1 :] - value[j]
        postage = np.full(n - j, terms.postage)
        if terms.free_from is not None:
            postage[sums >= terms.free_from] = 0.0
        cost[j, j:] = postage + np.maximum(terms.least - sums, 0.0) + np.cumsum(rows[j:, days[j]])
    return [list(range(j, t + 1)) for j, t in cheapest_runs(cost)[1]]


def _every_split(days: Whole, worth: Floats, rows: Floats, terms: Terms) -> list[list[int]]:
    """Try every split: the first copy that is left takes any set of the others into its order."""
    n = len(days)
    value = [0.0] * (1 << n)
    for s in range(1, 1 << n):
        low = (s & -s).bit_length() - 1
        value[s] = value[s & (s - 1)] + float(worth[low])
    extra = [terms.cost_of(v) for v in value]
    best = [0.0] + [math.inf] * ((1 << n) - 1)
    taken = [0] * (1 << n)
    at = [[float(rows[k, days[j]]) for k in range(n)] for j in range(n)]
    # A set is solved after all sets of later copies alone, for those are smaller numbers once the first bit is the highest.
    for first in range(n - 1, -1, -1):
        later = ((1 << n) - 1) & ~((1 << (first + 1)) - 1)
        here = 1 << first
        tied = {0: 0.0}
        sub = 0
        while sub != later:
            sub = (sub - later) & later
            low = (sub & -sub).bit_length() - 1
            tied[sub] = tied[sub & (sub - 1)] + at[first][low]
        for rest in tied:
            least, choice = math.inf, 0
            group = rest
            while True:
                total = extra[group | here] + tied[group] + best[rest & ~group]
                if total < least - 1e-9:
                    least, choice = total, group | here
                if group == 0:
                    break
                group = (group - 1) & rest
            best[rest | here] = least + at[first][first]
            taken[rest | here] = choice
    groups, left = [], (1 << n) - 1
    while left:
        groups.append([k for k in range(n) if taken[left] >> k & 1])
        left &= ~taken[left]
    return groups


def _split_anew(
    groups: list[list[int]], days: Whole, worth: Floats, rows: Floats, terms: Terms
) -> list[list[int]]:
    """Split neighbouring orders of few copies anew, by every split, while the total falls."""

    def cost(group: list[int]) -> float:
        return terms.cost_of(float(worth[group].sum())) + float(rows[group, days[group[0]]].sum())

    at = 0
    while at < len(groups):
        end, copies = at, list[int]()
        while end < len(groups) and len(copies) + len(groups[end]) <= SUBSETS_UP_TO:
            copies += groups[end]
            end += 1
        at += 1
        if end <= at:
            continue
        k = np.array(sorted(copies))
        anew = [[int(k[i]) for i in group] for group in _every_split(days[k], worth[k], rows[k], terms)]
        if sum(map(cost, anew)) < sum(map(cost, groups[at - 1 : end])) - 1e-6:
            groups = sorted([*groups[: at - 1], *anew, *groups[end:]], key=lambda group: group[0])
            # Orders before these may now take a copy of them: begin where the reach of a window begins.
            at = max(at - SUBSETS_UP_TO, 0)
    return groups


@dataclass(frozen=True, slots=True)
class Stock:
    """How many to keep."""

    quantity: int
    ratio: float
    """Chance with which all needs are to be met: short / (short + over)."""
    covered: float
    """Chance with which they are met."""
    cost: float
    """Expected cost of what is short and what is left over."""


def critical_ratio(short: float, over: float) -> float:
    """Find the chance with which needs are to be met; `short` is the cost of one too few, `over` of one too many.

    Raises:
        ValueError: a cost is negative, or both are 0.
    """
    if not (short >= 0 and over >= 0 and 0 < short + over < math.inf):
        raise ValueError(f"costs from 0 up, one of them above 0, are wanted, got {short} and {over}")
    return short / (short + over)


def least_stock(chances: Floats, level: float) -> int:
    """Find the least stock that meets all needs with this chance; `chances` [k]: of needing 0, 1, 2, ... pieces.

    Raises:
        ValueError: chances are negative or do not add up to 1, or the level does not lie from 0 to 1.
    """
    if (chances < 0).any() or abs(float(chances.sum()) - 1) > 1e-6 or not 0 <= level <= 1:
        raise ValueError(
            f"chances that add up to 1 and a level from 0 to 1 are wanted, got {chances}, {level}"
        )
    met = np.cumsum(chances)
    # Sums of floats: a level that is met exactly must not fail by a last digit.
    reached = np.flatnonzero(met >= level - 1e-12)
    return int(reached[0]) if len(reached) else len(chances) - 1


def newsvendor(chances: Floats, short: float, over: float) -> Stock:
    """Find the stock of least expected cost; `chances` [k]: of needing 0, 1, 2, ... pieces.

    Raises:
        ValueError: as for `critical_ratio` and `least_stock`.
    """
    ratio = critical_ratio(short, over)
    quantity = least_stock(chances, ratio)
    pieces = np.arange(len(chances))
    missing = float(chances @ np.maximum(pieces - quantity, 0))
    unused = float(chances @ np.maximum(quantity - pieces, 0))
    return Stock(quantity, ratio, float(chances[: quantity + 1].sum()), short * missing + over * unused)
