"""Waiting times and a chain of activities beside the textbook formulas, through the forecast's own sittings.

Feller, An Introduction to Probability Theory and Its Applications, vol. I, 3rd ed. 1968, ch. VI.8 (from memory): of
independent trials with the chance p of success the r-th success is the trial N with P(N = n) = C(n - 1, r - 1) p^r
(1 - p)^(n - r), mean r / p and variance r (1 - p) / p^2. Below, every sitting of a unit test is a trial and every
workbook one success, so that a course of r workbooks takes N sittings. The probabilities are computed from the formula
with whole-number binomials and held against it in exact fractions; nothing of them is said to be a published figure.
"""

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from markstead.forecast.year import LearnerYear, PossibleYears, draw_years
from tests.forecast.year_worlds import STEADY, course, every_day, pace

PATHS = 40_000
SURE = pace(share=1.0, spread=0.0, weight=1e12, zero=0.0)


def sittings(workbooks: int, chance: float, days: int = 400) -> tuple[PossibleYears, NDArray[np.int64]]:
    """[paths]: sittings until the last workbook is passed. A calendar so long that nothing ends after it."""
    ahead = course("maths", [1] * workbooks, chance=chance, practice=1, lead=0, how=SURE)
    year = LearnerYear("asa", every_day(days), (ahead,), illness=0)
    years = draw_years(year, np.random.default_rng(11), PATHS, replace(STEADY, redo_days=0))
    assert (years.finished < years.later).all()
    return years, workbooks + np.bincount(years.failed_path, minlength=PATHS)


def probability(n: int, r: int, p: Fraction) -> Fraction:
    return math.comb(n - 1, r - 1) * p**r * (1 - p) ** (n - r)


@pytest.mark.parametrize(
    ("r", "p", "trials", "printed"),
    [
        (1, Fraction(3, 5), (1, 2, 3, 4), (0.6, 0.24, 0.096, 0.0384)),
        (3, Fraction(7, 10), (3, 4, 5, 6), (0.343, 0.3087, 0.18522, 0.09261)),
        (1, Fraction(1, 5), (3,), (0.128,)),
        (3, Fraction(1, 5), (7,), (0.04915,)),
    ],
)
def test_the_number_of_sittings_has_the_textbook_distribution(
    r: int, p: Fraction, trials: tuple[int, ...], printed: tuple[float, ...]
) -> None:
    """Three standard errors of a share from 40,000 paths each."""
    _, found = sittings(r, float(p))

    for n, value in zip(trials, printed, strict=True):
        exact = float(probability(n, r, p))
        assert exact == pytest.approx(value, abs=5e-6)
        assert np.mean(found == n) == pytest.approx(exact, abs=3 * math.sqrt(exact * (1 - exact) / PATHS))


@pytest.mark.parametrize(("r", "p"), [(3, 0.2), (3, 0.7), (1, 0.6)])
def test_the_number_of_sittings_has_the_textbook_mean_and_variance(r: int, p: float) -> None:
    """Three standard errors; that of the variance is from the fourth moment, whose excess is 6 / r + p^2 / (r (1 - p))."""
    mean, variance = r / p, r * (1 - p) / p**2
    excess = 6 / r + p**2 / (r * (1 - p))

    _, found = sittings(r, p)

    assert found.mean() == pytest.approx(mean, abs=3 * math.sqrt(variance / PATHS))
    assert found.var() == pytest.approx(variance, rel=3 * math.sqrt((excess + 2) / PATHS))


def test_a_sitting_more_is_a_day_more() -> None:
    """Without parcel and work in between: 3 workbooks of a page day, a practice day, and N unit-test days."""
    years, found = sittings(3, 0.7)

    assert (years.finished[-1] == 3 * 2 + found).all()


def test_along_a_chain_means_and_variances_add() -> None:
    """A chain of activities ends after the sum of their days (the rule behind PERT; Malcolm et al. 1959, Application of a
    technique for research and development program evaluation, Oper. Res. 7, from memory). Two kinds of workbooks alone,
    and in one chain: means and variances within three standard errors.
    """
    short = course("maths", [12], chance=1, practice=0.7, how=pace(weight=1e12))
    long = course("latin", [36], chance=1, practice=0.7, how=pace(weight=1e12))
    chain = replace(short, course="both", workbooks=short.workbooks + long.workbooks)

    def ends(ahead: object, seed: int) -> NDArray[np.float64]:
        year = LearnerYear("asa", every_day(300), (ahead,), illness=0)  # type: ignore[arg-type]
        return draw_years(year, np.random.default_rng(seed), PATHS, STEADY).finished[-1].astype(float)

    one, other, both = ends(short, 1), ends(long, 2), ends(chain, 3)

    mean_error = math.sqrt((one.var() + other.var() + both.var()) / PATHS)
    assert both.mean() == pytest.approx(one.mean() + other.mean(), abs=3 * mean_error)
    # Relative standard error of a variance: sqrt((excess + 2) / n); of these days the excess is below 3.
    assert both.var() == pytest.approx(one.var() + other.var(), rel=3 * math.sqrt(2 * 5 / PATHS))
