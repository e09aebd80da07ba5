"""Lots, joint orders and spares beside plain trying."""

import itertools
import math
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.forecast import lots
from markstead.forecast.lots import (
    JointOrder,
    Terms,
    cost_of_orders,
    join_orders,
    least_stock,
    lot_sizes,
    newsvendor,
)

DAYS = 40


@st.composite
def periods(draw: st.DrawFn) -> tuple[list[int], list[int], list[int], list[int]]:
    n = draw(st.integers(1, 7))
    amounts = st.lists(st.integers(0, 4), min_size=n, max_size=n)
    costs = st.lists(st.integers(0, 12), min_size=n, max_size=n)
    return draw(amounts), draw(costs), draw(st.lists(st.integers(0, 3), min_size=n, max_size=n)), draw(costs)


def least_cost_by_stock(demand: list[int], setup: list[int], holding: list[int], price: list[int]) -> float:
    """The least cost by any amounts at all: piece by piece, from every stock to every stock."""
    most = sum(demand)
    cost = {0: 0.0}
    for d, k, h, p in zip(demand, setup, holding, price, strict=True):
        after: dict[int, float] = {}
        for stock, so_far in cost.items():
            for bought in range(max(d - stock, 0), most - stock + 1):
                left = stock + bought - d
                total = so_far + (k if bought else 0) + p * bought + h * left
                after[left] = min(after.get(left, math.inf), total)
        cost = after
    return cost[0]


class TestLotSizes:
    """Known demand by period; order cost, holding and price may differ from period to period."""

    @given(periods())
    @settings(max_examples=300, deadline=None)
    def test_no_amounts_at_all_are_cheaper(
        self, asked: tuple[list[int], list[int], list[int], list[int]]
    ) -> None:
        assert lot_sizes(*asked).cost == pytest.approx(least_cost_by_stock(*asked))

    @given(periods())
    @settings(max_examples=100, deadline=None)
    def test_the_lots_cost_what_is_said(
        self, asked: tuple[list[int], list[int], list[int], list[int]]
    ) -> None:
        demand, setup, holding, price = asked
        plan = lot_sizes(*asked)

        cost, stock = 0.0, 0.0
        bought = {lot.first: lot.quantity for lot in plan.lots}
        for t, d in enumerate(demand):
            stock += bought.get(t, 0) - d
            assert stock >= 0
            cost += (setup[t] + price[t] * bought[t] if t in bought else 0) + holding[t] * stock

        assert cost == pytest.approx(plan.cost)

    def test_periods_without_demand_cost_nothing(self) -> None:
        assert lot_sizes([0, 0, 0], [5, 6, 7], 1).cost == 0

    def test_no_periods_cost_nothing(self) -> None:
        assert lot_sizes([], [], 1) == lots.LotPlan(0.0, (), ())

    @pytest.mark.parametrize(
        ("demand", "setup", "holding"),
        [([1, 2], [3], 1), ([-1], [3], 1), ([1], [-3], 1), ([1], [3], math.nan)],
    )
    def test_what_cannot_be_is_refused(self, demand: list[float], setup: list[float], holding: float) -> None:
        with pytest.raises(ValueError, match=r"wanted|want"):
            lot_sizes(demand, setup, holding)


def splits(things: list[int]) -> Iterator[list[list[int]]]:
    """Every way to part things into sets."""
    if not things:
        yield []
        return
    for rest in splits(things[1:]):
        yield [[things[0]], *rest]
        for k in range(len(rest)):
            yield [*rest[:k], [things[0], *rest[k]], *rest[k + 1 :]]


def least_cost_by_splits(latest: np.ndarray, value: np.ndarray, tied: np.ndarray, terms: Terms) -> float:
    """The least cost of all splits into orders, each on whichever day suits it best."""

    def cost(group: list[int]) -> float:
        worth = sum(value[k] for k in group)
        postage = 0 if terms.free_from is not None and worth >= terms.free_from else terms.postage
        days = range(min(latest[k] for k in group) + 1)
        return postage + max(terms.least - worth, 0) + min(sum(tied[k][t] for k in group) for t in days)

    known: dict[tuple[int, ...], float] = {}

    def once(group: list[int]) -> float:
        key = tuple(sorted(group))
        if key not in known:
            known[key] = cost(group)
        return known[key]

    return min(sum(once(group) for group in split) for split in splits(list(range(len(latest)))))


@st.composite
def baskets(draw: st.DrawFn, most: int = 6, alike: bool = False) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    n = draw(st.integers(1, most))
    latest = np.array(draw(st.lists(st.integers(0, DAYS - 1), min_size=n, max_size=n)))
    prices = st.integers(1, 30)
    worth = [draw(prices)] * n if alike else draw(st.lists(prices, min_size=n, max_size=n))
    value = np.array(worth, dtype=float)
    if alike:
        fall = np.full((n, DAYS), draw(st.floats(0, 2)))
    else:
        fall = np.array(draw(st.lists(st.floats(0, 2), min_size=n, max_size=n)))[:, None] * np.linspace(
            1, 0.5, DAYS
        )
    tied = np.cumsum(fall[:, ::-1], axis=1)[:, ::-1]
    return latest, value, tied


def over_the_best_split(rng: np.random.Generator, kind: int) -> float:
    """How far thirteen copies, one more than every split is tried for, are above the best split; a share of its cost."""
    latest = rng.integers(0, 300, 13)
    value = rng.integers(400, 1600, 13).astype(float)
    tied = value[:, None] * 0.2 / 365 * (latest[:, None] + 30 - np.arange(301)).clip(0)
    free_from, least = [(3000, 0), (2000, 0), (None, 1500), (None, 2500), (3000, 1500)][kind % 5]
    terms = Terms(400, free_from, least)
    cost = cost_of_orders(join_orders(latest, value, tied, terms), value, tied, terms)
    limit, lots.SUBSETS_UP_TO = lots.SUBSETS_UP_TO, 13
    try:
        best = join_orders(latest, value, tied, terms)
    finally:
        lots.SUBSETS_UP_TO = limit
    return cost / cost_of_orders(best, value, tied, terms) - 1


terms_of_all_kinds = st.builds(
    Terms,
    postage=st.integers(0, 30),
    free_from=st.none() | st.integers(1, 80),
    least=st.just(0) | st.integers(1, 60),
)
plain_terms = st.builds(Terms, postage=st.integers(0, 60))


class TestJoinOrders:
    """Copies of one supplier, each with a last day."""

    @given(baskets(), terms_of_all_kinds)
    @settings(max_examples=200, deadline=None)
    def test_no_other_split_of_a_few_copies_is_cheaper(
        self, basket: tuple[np.ndarray, np.ndarray, np.ndarray], terms: Terms
    ) -> None:
        orders = join_orders(*basket, terms)

        assert cost_of_orders(orders, *basket[1:], terms) == pytest.approx(
            least_cost_by_splits(*basket, terms)
        )

    @given(baskets(most=7), plain_terms)
    @settings(max_examples=100, deadline=None)
    def test_runs_of_last_days_are_the_cheapest_where_only_postage_counts(
        self, basket: tuple[np.ndarray, np.ndarray, np.ndarray], terms: Terms
    ) -> None:
        orders = join_orders(*basket, terms)

        assert cost_of_orders(orders, *basket[1:], terms) == pytest.approx(
            least_cost_by_splits(*basket, terms)
        )

    @given(baskets(most=7, alike=True), terms_of_all_kinds)
    @settings(max_examples=100, deadline=None)
    def test_runs_of_copies_of_one_price_are_the_cheapest_on_any_terms(
        self, basket: tuple[np.ndarray, np.ndarray, np.ndarray], terms: Terms
    ) -> None:
        """Where there are too many copies to try every split, here from the first copy on."""
        limit, lots.SUBSETS_UP_TO = lots.SUBSETS_UP_TO, 0
        try:
            orders = join_orders(*basket, terms)
        finally:
            lots.SUBSETS_UP_TO = limit

        assert cost_of_orders(orders, *basket[1:], terms) == pytest.approx(
            least_cost_by_splits(*basket, terms)
        )

    @given(baskets(most=30), terms_of_all_kinds)
    @settings(max_examples=60, deadline=None)
    def test_every_copy_is_ordered_once_and_not_too_late(
        self, basket: tuple[np.ndarray, np.ndarray, np.ndarray], terms: Terms
    ) -> None:
        latest = basket[0]
        orders = join_orders(*basket, terms)

        assert sorted(k for o in orders for k in o.copies) == list(range(len(latest)))
        assert all(o.day == min(latest[k] for k in o.copies) for o in orders)

    @given(baskets(most=30), terms_of_all_kinds)
    @settings(max_examples=60, deadline=None)
    def test_neither_one_by_one_nor_all_at_once_is_cheaper(
        self, basket: tuple[np.ndarray, np.ndarray, np.ndarray], terms: Terms
    ) -> None:
        latest, value, tied = basket
        cost = cost_of_orders(join_orders(*basket, terms), value, tied, terms)

        alone = [JointOrder(int(day), (k,)) for k, day in enumerate(latest)]
        together = [JointOrder(0, tuple(range(len(latest))))]

        assert cost <= cost_of_orders(alone, value, tied, terms) + 1e-6
        assert cost <= cost_of_orders(together, value, tied, terms) + 1e-6

    @pytest.mark.slow
    def test_more_copies_than_are_tried_come_within_a_hundredth_of_the_best_split(self) -> None:
        """Forty baskets of thirteen copies of unlike prices, with a least order or free postage or both."""
        over = [over_the_best_split(np.random.default_rng(seed), seed) for seed in range(40)]

        assert np.mean(over) < 0.01
        assert np.min(over) >= -1e-9

    def test_a_copy_is_fetched_forward_past_another_to_reach_free_postage(self) -> None:
        """20 and 10 reach 30, and 8 are tied up for it; the run (20), (30, 10) would cost a postage of 9."""
        latest, value = np.array([5, 20, 21]), np.array([20.0, 30.0, 10.0])
        tied = value[:, None] * 0.05 * (latest[:, None] - np.arange(DAYS)).clip(0)

        orders = join_orders(latest, value, tied, Terms(postage=9, free_from=30))

        assert orders == (JointOrder(5, (0, 2)), JointOrder(20, (1,)))

    def test_nothing_wanted_is_no_order(self) -> None:
        assert join_orders(np.array([], dtype=int), np.array([]), np.empty((0, DAYS)), Terms()) == ()

    @pytest.mark.parametrize("day", [-1, DAYS])
    def test_a_last_day_outside_the_plan_is_refused(self, day: int) -> None:
        with pytest.raises(ValueError, match="last days from 0 to 39"):
            join_orders(np.array([day]), np.array([1.0]), np.zeros((1, DAYS)), Terms())

    def test_money_tied_up_that_rises_with_the_day_is_refused(self) -> None:
        with pytest.raises(ValueError, match="may not rise"):
            join_orders(np.array([3]), np.array([1.0]), np.arange(DAYS, dtype=float)[None], Terms())

    def test_a_negative_postage_is_refused(self) -> None:
        with pytest.raises(ValueError, match="sums from 0 up"):
            Terms(postage=-1)


some_chances = (
    st.lists(st.integers(0, 9), min_size=1, max_size=8).filter(any).map(lambda w: np.array(w) / sum(w))
)


class TestSpares:
    """How many to keep, where one short and one left over cost something."""

    @given(some_chances, st.integers(0, 20), st.integers(1, 20))
    def test_no_other_stock_is_cheaper(self, chances: np.ndarray, short: int, over: int) -> None:
        costs = [
            sum(p * (short * max(k - s, 0) + over * max(s - k, 0)) for k, p in enumerate(chances))
            for s in range(len(chances))
        ]

        assert newsvendor(chances, short, over).cost == pytest.approx(min(costs))

    @given(some_chances, st.floats(0, 1))
    def test_the_least_stock_meets_the_level_and_one_less_does_not(
        self, chances: np.ndarray, level: float
    ) -> None:
        stock = least_stock(chances, level)

        assert chances[: stock + 1].sum() >= level - 1e-9
        assert stock == 0 or chances[:stock].sum() < level

    def test_chances_that_do_not_add_up_are_refused(self) -> None:
        with pytest.raises(ValueError, match="add up to 1"):
            least_stock(np.array([0.5, 0.4]), 0.9)

    @pytest.mark.parametrize(("short", "over"), [(-1, 2), (1, -2), (0, 0)])
    def test_costs_that_cannot_be_are_refused(self, short: float, over: float) -> None:
        with pytest.raises(ValueError, match="costs from 0 up"):
            newsvendor(np.array([1.0]), short, over)


def test_the_splits_of_the_tests_are_all_there() -> None:
    """Bell numbers: 1, 2, 5, 15, 52 ways to part 1 to 5 things (Bell 1934, from memory)."""
    counts = [sum(1 for _ in splits(list(range(n)))) for n in range(1, 6)]

    assert counts == [1, 2, 5, 15, 52]
    assert len({tuple(sorted(map(tuple, map(sorted, s)))) for s in splits([0, 1, 2, 3])}) == 15
    assert all(sorted(itertools.chain(*s)) == [0, 1, 2] for s in splits([0, 1, 2]))
