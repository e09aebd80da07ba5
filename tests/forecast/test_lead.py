"""Lead times learnt from parcels, beside numerical integration and beside drawn suppliers."""

import math
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import stats

from markstead.errors import InputError
from markstead.forecast.lead import DEFAULTS, LeadBelief, LeadSettings, Parcel, learn_lead

TODAY = date(2026, 11, 25)


def came(ordered: int, took: int) -> Parcel:
    """Ordered so many days ago, there after so many days."""
    day = TODAY - timedelta(days=ordered)
    return Parcel(day, day + timedelta(days=took))


def out(ordered: int) -> Parcel:
    return Parcel(TODAY - timedelta(days=ordered))


class Grid:
    """The posterior of the mean and the variance of ln(days) by plain sums over a fine grid, densities from SciPy."""

    def __init__(self, days: list[int], waiting: list[int], prior: LeadSettings = DEFAULTS) -> None:
        self.mean = np.linspace(-2, 6, 1201)[:, None]
        # Steps even in ln variance: the density of ln v is that of v times v.
        self.variance = np.exp(np.linspace(-6, 4, 1201))[None, :]
        self.sd = np.sqrt(self.variance)
        log = stats.invgamma.logpdf(self.variance, prior.shape, scale=prior.rate) + np.log(self.variance)
        log = log + stats.norm.logpdf(self.mean, math.log(prior.days), self.sd / math.sqrt(prior.weight))
        for d in days:
            log = log + stats.norm.logpdf(math.log(max(d, 0.5)), self.mean, self.sd)
        for d in waiting:
            log = log + stats.norm.logsf(math.log(d - 0.5), self.mean, self.sd)
        self.weight = np.exp(log - log.max())
        self.weight /= self.weight.sum()

    def within(self, days: int) -> float:
        return float((self.weight * stats.norm.cdf(math.log(days + 0.5), self.mean, self.sd)).sum())

    def of(self, value: np.ndarray) -> float:
        return float((self.weight * value).sum())


class TestParcelsThatCame:
    """Normal-inverse-gamma: Gelman et al. 2013, section 3.3, from memory; here beside sums over a grid."""

    @pytest.mark.parametrize("days", [[], [5], [7, 9, 6, 14, 8], [0, 1, 30]])
    def test_the_chance_to_come_in_time_is_that_of_the_integral(self, days: list[int]) -> None:
        """The grid's steps, .0067 and .0083, leave an error below 1e-4."""
        belief = learn_lead([came(100 + 7 * k, d) for k, d in enumerate(days)], TODAY)
        grid = Grid(days, [])

        found = belief.chance_within(np.array([2, 7, 12, 30]))

        np.testing.assert_allclose(found, [grid.within(d) for d in (2, 7, 12, 30)], atol=1e-4)

    def test_the_next_parcel_follows_a_log_t(self) -> None:
        """Without a parcel: 2 x 3 degrees of freedom, scale sqrt(.37 / 3 x 1.5), by SciPy's t."""
        within = stats.t.cdf(math.log(19.5 / 8) / math.sqrt(0.37 / 3 * 1.5), 6)

        assert learn_lead([], TODAY).chance_within(np.array([19]))[0] == pytest.approx(within)

    def test_many_parcels_leave_little_of_the_prior(self) -> None:
        rng = np.random.default_rng(5)
        days = np.round(np.exp(np.log(20) + 0.2 * rng.standard_normal(300))).astype(int)

        belief = learn_lead([came(900 - k, int(d)) for k, d in enumerate(days)], TODAY)

        # The quantile of 300 days has a standard error of .2 x sqrt(.05 x .95 / 300) / .103 x 20 = .5 days.
        assert abs(belief.days_for(0.95) - np.quantile(days, 0.95)) <= 2

    def test_copies_of_one_parcel_are_one_parcel(self) -> None:
        assert learn_lead([came(50, 9)] * 6, TODAY) == learn_lead([came(50, 9)], TODAY)

    def test_the_order_of_parcels_does_not_matter(self) -> None:
        parcels = [came(50, 9), out(12), came(70, 4), came(90, 17)]

        assert learn_lead(parcels, TODAY) == learn_lead(parcels[::-1], TODAY)


class TestParcelsThatAreOut:
    """What has not come takes at least as long as it has taken."""

    CAME, OUT = [7, 9, 6, 14], [12, 5]

    def belief(self) -> LeadBelief:
        parcels = [came(100 + 7 * k, d) for k, d in enumerate(self.CAME)] + [out(d) for d in self.OUT]
        return learn_lead(parcels, TODAY)

    def test_the_means_that_are_kept_are_those_of_the_posterior(self) -> None:
        belief, grid = self.belief(), Grid(self.CAME, self.OUT)

        precision = belief.shape / belief.rate
        kept = [precision, belief.mean * precision, 1 / belief.weight + belief.mean**2 * precision]
        posterior = [grid.of(m / grid.variance) for m in (1.0, grid.mean, grid.mean**2)]

        np.testing.assert_allclose(kept, posterior, rtol=1e-3)

    def test_the_mean_logarithm_of_the_variance_is_kept(self) -> None:
        """Inverse gamma: E ln v = ln(rate) - digamma(shape)."""
        from scipy.special import digamma

        belief, grid = self.belief(), Grid(self.CAME, self.OUT)

        kept = math.log(belief.rate) - float(digamma(belief.shape))

        assert kept == pytest.approx(grid.of(np.log(grid.variance) + 0 * grid.mean), abs=2e-3)

    @pytest.mark.parametrize(("days", "waiting"), [([7, 9, 6, 14], [12, 5]), ([], [10]), ([4, 5], [9, 9, 8])])
    def test_the_chance_to_come_in_time_is_near_that_of_the_integral(
        self, days: list[int], waiting: list[int]
    ) -> None:
        """The posterior is not of the family any more; what is lost is below two in a hundred."""
        parcels = [came(100 + 7 * k, d) for k, d in enumerate(days)]
        parcels += [out(d) for d in set(waiting)]
        grid = Grid(days, sorted(set(waiting)))

        found = learn_lead(parcels, TODAY).chance_within(np.array([5, 10, 20, 40]))

        np.testing.assert_allclose(found, [grid.within(d) for d in (5, 10, 20, 40)], atol=0.02)

    @given(st.lists(st.integers(0, 30), max_size=5), st.integers(1, 60))
    @settings(max_examples=60, deadline=None)
    def test_a_parcel_that_is_out_makes_the_middle_no_shorter(self, days: list[int], waited: int) -> None:
        parcels = [came(100 + k, d) for k, d in enumerate(days)]

        before = learn_lead(parcels, TODAY).mean
        after = learn_lead([*parcels, out(waited)], TODAY).mean

        assert after >= before - 1e-9

    def test_an_order_of_today_tells_nothing_yet(self) -> None:
        belief = learn_lead([came(50, 9), out(0)], TODAY)

        assert (belief.mean, belief.waiting) == (learn_lead([came(50, 9)], TODAY).mean, 1)

    def test_a_parcel_that_is_lost_says_no_more_than_a_very_slow_one(self) -> None:
        parcels = [came(400 + k, 7 + k % 3) for k in range(8)]

        assert learn_lead([*parcels, out(60)], TODAY) == learn_lead([*parcels, out(300)], TODAY)


class TestDays:
    """Whole days for a chance, and back."""

    @given(st.floats(0, 4), st.floats(0.5, 30), st.floats(1, 30), st.floats(0.01, 5), st.floats(0.02, 0.98))
    @example(0.0, 1.0, 1.0, 3.0, 0.9765625)
    def test_the_days_are_the_least_that_reach_the_chance(
        self, mean: float, weight: float, shape: float, rate: float, chance: float
    ) -> None:
        belief = LeadBelief(mean, weight, shape, rate)
        days = belief.days_for(chance)

        less, enough = belief.chance_within(np.array([days - 1, days]))

        assert less < chance + 1e-9
        # Longer than a century is cut off.
        assert enough >= chance - 1e-9 or days > 36500

    def test_no_parcel_comes_before_it_is_ordered(self) -> None:
        assert learn_lead([], TODAY).chance_within(np.array([-1.0, -40.0])).tolist() == [0, 0]

    def test_a_parcel_that_has_waited_comes_within_more_days_by_bayes(self) -> None:
        """P(D <= 12 | D >= 9) = (F(12) - F(8)) / (1 - F(8))."""
        belief = learn_lead([came(60, 8), came(80, 11)], TODAY)
        eight, twelve = belief.chance_within(np.array([8, 12]))

        found = belief.chance_within_after(np.array([12, 8]), 9)

        np.testing.assert_allclose(found, [(twelve - eight) / (1 - eight), 0])

    @pytest.mark.parametrize("chance", [0, 1, -0.1, 1.5])
    def test_a_chance_that_cannot_be_is_refused(self, chance: float) -> None:
        with pytest.raises(ValueError, match="between 0 and 1"):
            learn_lead([], TODAY).days_for(chance)


@pytest.mark.parametrize(
    ("parcel", "text"),
    [
        (Parcel(date(2026, 11, 26)), "found a day after 2026-11-25"),
        (Parcel(date(2026, 11, 5), date(2026, 11, 4)), "received: found 2026-11-04"),
        (Parcel(date(2026, 11, 5), date(2026, 11, 27)), "allowed is a day from 2026-11-05 to 2026-11-25"),
    ],
)
def test_dates_that_cannot_be_are_named(parcel: Parcel, text: str) -> None:
    with pytest.raises(InputError, match=text):
        learn_lead([parcel], TODAY)


def test_a_prior_without_spread_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        LeadSettings(rate=0)


def next_parcels(homes: int, seed: int, *, leave_out: bool) -> tuple[np.ndarray, np.ndarray]:
    """Homes with eight parcels, four of them of the last two weeks: is the next one within the days for 95 in 100, and
    the chance that was promised; suppliers are drawn from the prior."""
    rng = np.random.default_rng(seed)
    within, promised = np.empty(homes), np.empty(homes)
    for home in range(homes):
        variance = DEFAULTS.rate / rng.gamma(DEFAULTS.shape)
        mean = math.log(DEFAULTS.days) + math.sqrt(variance / DEFAULTS.weight) * rng.standard_normal()
        ago = np.concatenate([rng.integers(60, 360, 4), rng.choice(np.arange(1, 15), 4, replace=False)])
        days = np.round(np.exp(mean + math.sqrt(variance) * rng.standard_normal(9)))
        parcels = [
            came(int(a), int(d)) if d <= a else out(int(a))
            for a, d in zip(ago, days, strict=False)
            if d <= a or not leave_out
        ]
        belief = learn_lead(parcels, TODAY)
        most = belief.days_for(0.95)
        within[home], promised[home] = days[8] <= most, belief.chance_within(np.array([most]))[0]
    return within, promised


@pytest.mark.slow
def test_the_promised_share_of_parcels_comes_within_the_days() -> None:
    within, promised = next_parcels(1500, seed=11, leave_out=False)

    assert abs(np.mean(within - promised)) < 4 * np.std(within - promised) / math.sqrt(1500)


@pytest.mark.slow
def test_leaving_out_what_has_not_come_would_promise_too_much() -> None:
    """Why parcels that are out are counted: the newest that came are the quick ones."""
    with_out, promised = next_parcels(3000, seed=11, leave_out=True)

    assert np.mean(promised - with_out) > 2 * np.std(promised - with_out) / math.sqrt(3000)
