"""Lot sizes and stock beside published values."""

import numpy as np
import pytest
from scipy.stats import norm, poisson

from markstead.forecast.lots import critical_ratio, least_stock, lot_sizes, newsvendor

DEMAND = [69, 29, 36, 61, 61, 26, 34, 67, 45, 67, 79, 56]
ORDER_COST = [85, 102, 102, 101, 98, 114, 105, 86, 119, 110, 98, 114]


class TestTwelveMonths:
    """Wagner & Whitin 1958, Management Science 5, 89-96, tables 1 and 2; holding 1 per piece and month."""

    def test_the_least_cost_of_the_year(self) -> None:
        """864: seen in the tests of a public implementation that cites the paper."""
        assert lot_sizes(DEMAND, ORDER_COST, 1).cost == 864

    def test_the_plan(self) -> None:
        """Paper from memory; the library stockpyl 1.0.2 gave the same plan."""
        lots = [(lot.first + 1, lot.quantity) for lot in lot_sizes(DEMAND, ORDER_COST, 1).lots]

        assert lots == [(1, 98), (3, 97), (5, 121), (8, 112), (10, 67), (11, 135)]

    def test_the_running_least_costs(self) -> None:
        """Table 2, from memory."""
        running = lot_sizes(DEMAND, ORDER_COST, 1).running

        assert running == (85, 114, 186, 277, 348, 400, 469, 555, 600, 710, 789, 864)

    def test_an_order_every_month_costs_the_sum_of_the_order_costs(self) -> None:
        """Own value: 1,234, where holding is too dear to keep anything."""
        assert lot_sizes(DEMAND, ORDER_COST, 1000).cost == 1234


def test_even_demand_comes_to_the_economic_order_quantity() -> None:
    """Snyder & Shen, Fundamentals of Supply Chain Theory, example 3.1 (run with stockpyl): order cost 8, holding .225 a
    year, demand 1,300 a year: lots of 304.05, cost 68.4105 a year.

    Here demand falls in 1,300 pieces, over four years so that the lots can come near; a piece leaves at the start of its period, so
    half a piece is kept less than with even flow: .225 / 2 = .1125 less a year. Whole lots cost at most .01 more.
    """
    years = 4
    plan = lot_sizes([1.0] * (1300 * years), [8.0] * (1300 * years), 0.225 / 1300)

    assert plan.cost / years == pytest.approx(68.41052550594829 - 0.1125, abs=0.01)
    assert np.mean([lot.quantity for lot in plan.lots]) == pytest.approx(304.0467800264368, rel=0.01)


class TestNewsvendor:
    """Snyder & Shen, example 4.3 (seen in the documentation and tests of stockpyl): one left over costs .18, one short .70;
    demand normal with mean 50 and deviation 8. The normal is cut into steps of 1/200 here."""

    STEP = 1 / 200

    def normal(self, mean: float, deviation: float) -> np.ndarray:
        edges = (np.arange(int((mean + 9 * deviation) / self.STEP) + 1) + 0.5) * self.STEP
        met = norm.cdf(edges, mean, deviation)
        return np.diff(met, prepend=0.0) / met[-1]

    def test_the_critical_ratio(self) -> None:
        assert critical_ratio(0.70, 0.18) == pytest.approx(0.795, abs=5e-4)

    def test_the_stock(self) -> None:
        stock = newsvendor(self.normal(50, 8), 0.70, 0.18)

        assert stock.quantity * self.STEP == pytest.approx(56.60395592743389, abs=self.STEP)

    def test_the_expected_cost(self) -> None:
        """The steps move cost by their square: 1e-5 at most."""
        stock = newsvendor(self.normal(50, 8), 0.70, 0.18)

        assert stock.cost * self.STEP == pytest.approx(1.9976051931766445, abs=1e-5)

    def test_the_stock_for_poisson_demand(self) -> None:
        """stockpyl 1.0.2, `newsvendor_poisson`, mean 50 and the same costs: 56."""
        assert newsvendor(poisson.pmf(np.arange(200), 50), 0.70, 0.18).quantity == 56

    @pytest.mark.parametrize(
        ("mean", "deviation", "level", "point"),
        [
            (350, 10, 0.95, 366.44854),
            (30, 5 * 2**0.5, 0.90, 39.06194),
            (750, (5 * 16**2 + 150**2) ** 0.5, 0.95, 1003.64902),
        ],
    )
    def test_reorder_points_of_normal_demand_in_the_lead_time(
        self, mean: float, deviation: float, level: float, point: float
    ) -> None:
        """Own values: mean + z x deviation. The third is demand of 150 (16) a day over 5 days (1)."""
        assert least_stock(self.normal(mean, deviation), level) * self.STEP == pytest.approx(
            point, abs=self.STEP
        )

    def test_the_reorder_point_of_poisson_demand_in_the_lead_time(self) -> None:
        """Own value: mean 4 in the lead time, 95 in 100: 8, for 7 is met in 94.9 of 100 only."""
        assert least_stock(poisson.pmf(np.arange(60), 4), 0.95) == 8
