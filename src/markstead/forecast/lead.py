"""How many calendar days a supplier takes, with its spread, learnt from the parcels that came.

The logarithm of the days is held to be normal with unknown mean and variance, for which the normal-inverse-gamma prior
is conjugate: the days of the next parcel then follow a log-t distribution (Gelman et al., Bayesian Data Analysis, 3rd ed.
2013, section 3.3, from memory). Dates are whole days: k days on paper stand for any time from k - 1/2 to k + 1/2.

A parcel that has not come yet tells that it takes at least as long as it has taken: it is counted with the chance of that
(right-censoring), not left out, for of the newest orders only the quick ones have come. The posterior is then no longer
normal-inverse-gamma; the nearest of that family, in the sense of Kullback and Leibler, is taken in its place: the one whose
means of 1/v, m/v, m^2/v and ln v are those of the posterior (moment matching of an exponential family: Minka 2001,
Expectation propagation for approximate Bayesian inference, UAI 17, from memory).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from markstead.errors import InputError, Problem
from markstead.speech import say

Floats = NDArray[np.float64]

NODES = 64
"""Points in either direction of the quadrature."""
LOST = 0.99
"""A parcel is believed slow up to this quantile of the parcels that came. Beyond it, it is more likely lost, and that
says nothing of the next one."""
CENTURY = 36_525
"""Days; a longer wait is no date any more."""


@dataclass(frozen=True, slots=True, order=True)
class Parcel:
    """One order at a supplier, however many copies it held; `received` is None while it has not come."""

    ordered: date
    received: date | None = None


@dataclass(frozen=True, slots=True)
class LeadSettings:
    """What is believed of a supplier before the first parcel."""

    days: float = 8.0
    """Median days; better is what the supplier itself states."""
    weight: float = 2.0
    """Parcels that this median is worth."""
    shape: float = 3.0
    rate: float = 0.37
    """Inverse-gamma prior of the variance of ln(days); rate / shape is its scale: some 35 % up or down."""

    def __post_init__(self) -> None:
        if not all(x > 0 and math.isfinite(x) for x in (self.days, self.weight, self.shape, self.rate)):
            raise ValueError(f"days, weight, shape and rate above 0 are wanted, got {self}")


DEFAULTS = LeadSettings()


@dataclass(frozen=True, slots=True)
class LeadBelief:
    """What is believed of a supplier's days: ln(days) is normal, its mean and variance normal-inverse-gamma."""

    mean: float
    """Middle of ln(days)."""
    weight: float
    shape: float
    rate: float
    received: int = 0
    """Parcels that came."""
    waiting: int = 0
    """Parcels that have not come yet."""

    @property
    def scale(self) -> float:
        """Scale of ln(days) of the next parcel, Student's t with 2 x shape degrees of freedom."""
        return math.sqrt(self.rate / self.shape * (1 + 1 / self.weight))

    @property
    def median_days(self) -> int:
        """Whole days within which half of the parcels come."""
        return self.days_for(0.5)

    def chance_within(self, days: Floats | NDArray[np.int64]) -> Floats:
        """Find the chance that the next parcel takes at most so many whole days; any shape, negative days give 0."""
        from scipy.special import stdtr

        whole = np.floor(np.asarray(days, dtype=np.float64))
        # Below no day at all, ln has no value; the entry is put to 0 in the end.
        x = np.log(np.maximum(whole, 0.0) + 0.5)
        chance = stdtr(2 * self.shape, (x - self.mean) / self.scale)
        return np.asarray(np.where(whole < 0, 0.0, chance), dtype=np.float64)

    def chance_within_after(self, days: Floats | NDArray[np.int64], waited: int) -> Floats:
        """Find the same chance for a parcel that has taken `waited` days and has not come before today."""
        before = self.chance_within(np.array([waited - 1.0]))[0]
        chance = (self.chance_within(days) - before) / max(1 - before, 1e-12)
        return np.asarray(np.clip(chance, 0.0, 1.0), dtype=np.float64)

    def days_for(self, chance: float) -> int:
        """Find the least whole days within which the next parcel comes with at least this chance.

        Raises:
            ValueError: the chance does not lie between 0 and 1.
        """
        from scipy.special import stdtrit

        if not 0 < chance < 1:
            raise ValueError(f"a chance of {chance}; wanted is a number between 0 and 1")
        x = self.mean + self.scale * float(stdtrit(2 * self.shape, chance))
        return max(math.ceil(math.exp(min(x, math.log(CENTURY))) - 0.5), 0)


def learn_lead(parcels: Iterable[Parcel], today: date, settings: LeadSettings = DEFAULTS) -> LeadBelief:
    """Learn the days of one supplier from its parcels.

    Orders of one day that came on one day are one parcel: their copies say the same thing once. A parcel that came on the
    day of its order counts as half a day.

    Raises:
        InputError: an order or its coming lies after today, or it came before it was ordered.
    """
    once = sorted(set(parcels), key=lambda p: (p.ordered, p.received or date.max))
    _judge(once, today)
    came = np.array([(p.received - p.ordered).days for p in once if p.received is not None], dtype=np.float64)
    prior = LeadBelief(math.log(settings.days), settings.weight, settings.shape, settings.rate)
    belief = _with_received(prior, np.log(np.maximum(came, 0.5)))
    waited = [(today - p.ordered).days for p in once if p.received is None]
    least = [math.log(min(days, max(belief.days_for(LOST), 1)) - 0.5) for days in waited if days > 0]
    if least:
        belief = _with_waiting(belief, np.array(least))
    return LeadBelief(belief.mean, belief.weight, belief.shape, belief.rate, len(came), len(waited))


def _judge(parcels: list[Parcel], today: date) -> None:
    problems = []
    for parcel in parcels:
        where = say("order of {day}", day=parcel.ordered)
        if parcel.ordered > today:
            problems.append(
                Problem(where, say("a day after {day}", day=today), say("a day up to {day}", day=today))
            )
        elif parcel.received is not None and not parcel.ordered <= parcel.received <= today:
            allowed = say("a day from {first} to {last}", first=parcel.ordered, last=today)
            where = say("order of {day}, received", day=parcel.ordered)
            problems.append(Problem(where, str(parcel.received), allowed))
    if problems:
        raise InputError(problems)


def _with_received(prior: LeadBelief, x: Floats) -> LeadBelief:
    """Take the logarithms of days into a normal-inverse-gamma belief (Gelman et al. 2013, section 3.3)."""
    n = len(x)
    if n == 0:
        return prior
    middle = float(x.mean())
    weight = prior.weight + n
    mean = (prior.weight * prior.mean + n * middle) / weight
    pull = prior.weight * n / weight * (middle - prior.mean) ** 2
    rate = prior.rate + (float(((x - middle) ** 2).sum()) + pull) / 2
    return LeadBelief(mean, weight, prior.shape + n / 2, rate)


def _with_waiting(belief: LeadBelief, least: Floats) -> LeadBelief:
    """Take in logarithms of days that are known only as lower bounds; see the head of the file."""
    from scipy.optimize import brentq
    from scipy.special import digamma, gammaincinv, log_ndtr, roots_hermitenorm

    level, share = np.polynomial.legendre.leggauss(NODES)
    z, z_share = roots_hermitenorm(NODES)
    precision = gammaincinv(belief.shape, (level + 1) / 2) / belief.rate
    at = precision[:, None]
    means = belief.mean + z[None, :] / np.sqrt(belief.weight * at)
    held = log_ndtr((means[..., None] - least) * np.sqrt(at)[..., None]).sum(axis=-1)
    weights = (share[:, None] / 2) * (z_share[None, :] / z_share.sum()) * np.exp(held - held.max())
    weights /= weights.sum()

    mean_precision = float((weights * at).sum())
    first = float((weights * at * means).sum()) / mean_precision
    second = float((weights * at * (means - first) ** 2).sum())
    # The nodes miss a little of ln near 0; what they miss of the belief before is what they miss of the one after.
    known = float(digamma(belief.shape)) - math.log(belief.rate)
    mean_log = float((weights * np.log(at)).sum()) + known - float(share @ np.log(precision)) / 2
    gap = math.log(mean_precision) - mean_log
    shape = float(brentq(lambda a: math.log(a) - float(digamma(a)) - gap, 1e-3, 1e6))
    return LeadBelief(first, 1 / second, shape, shape / mean_precision)
