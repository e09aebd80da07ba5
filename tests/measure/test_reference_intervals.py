"""Binomial figures of pass marks that a reader can look up or work out, as the forecast of a unit test uses them.

What a test of n questions with the pass mark at 80 % makes of a child whose ability is known is the design of Millman
1973, Passing scores and test lengths for domain-referenced measures, Rev. Educ. Res. 43, 205-216 (from memory). His cells
could not be seen: the figures here are kept ones of our own, each worked out with SciPy 1.17's `binom`, not his.
(The interval of a share right is held against Newcombe's published table in `test_reference_items`.)
"""

import math
from fractions import Fraction

import numpy as np
import pytest

from markstead.measure.items import read_items
from markstead.measure.passing import pass_chance, score_range


def logit(share: float) -> float:
    return math.log(share / (1 - share))


class TestPassMarks:
    @pytest.mark.parametrize(
        ("ability", "percent"),
        [
            (0.60, (33.696, 16.729, 5.0952)),
            (0.70, (52.822, 38.2783, 23.7508)),
            (0.75, (63.2812, 52.5593, 41.4842)),
        ],
    )
    def test_how_often_too_low_an_ability_passes(self, ability: float, percent: tuple[float, ...]) -> None:
        """Tests of 5, 10 and 20 questions; rounded to four digits behind the point."""
        found = [100 * pass_chance(logit(ability), n, -(-n * 4 // 5)) for n in (5, 10, 20)]

        assert found == pytest.approx(percent, abs=5.1e-5)

    @pytest.mark.parametrize(
        ("ability", "percent"), [(0.85, (16.479, 17.9804, 17.0153)), (0.90, (8.146, 7.0191, 4.3174))]
    )
    def test_how_often_a_sufficient_ability_fails(self, ability: float, percent: tuple[float, ...]) -> None:
        found = [100 - 100 * pass_chance(logit(ability), n, -(-n * 4 // 5)) for n in (5, 10, 20)]

        assert found == pytest.approx(percent, abs=5.1e-5)

    @pytest.mark.parametrize(
        ("asked", "needed", "chances"),
        [
            (25, 20, (0.1935, 0.3783, 0.6167, 0.8385, 0.9666, 0.9988)),
            (20, 16, (0.2375, 0.4148, 0.6296, 0.8298, 0.9568, 0.9974)),
        ],
    )
    def test_twenty_of_twenty_five_and_sixteen_of_twenty(
        self, asked: int, needed: int, chances: tuple[float, ...]
    ) -> None:
        found = [pass_chance(logit(p), asked, needed) for p in (0.70, 0.75, 0.80, 0.85, 0.90, 0.95)]

        assert found == pytest.approx(chances, abs=5.1e-5)

    def test_four_of_five_by_hand(self) -> None:
        """At .80: 5 x .8^4 x .2 + .8^5 = 2304/3125, worked in fractions."""
        by_hand = 5 * Fraction(4, 5) ** 4 * Fraction(1, 5) + Fraction(4, 5) ** 5

        assert by_hand == Fraction(2304, 3125)
        assert pass_chance(logit(0.80), 5, 4) == pytest.approx(float(by_hand), abs=1e-12)


def test_the_range_of_scores_of_a_known_ability_is_that_of_the_binomial() -> None:
    """20 answers at .50: P(X <= 5) = .0207 and P(X <= 6) = .0577, as in printed tables of the binomial (from memory)."""
    assert score_range(0.0, 0.0, 20) == (6, 14)


@pytest.mark.parametrize(("right", "low", "high"), [(10, 0.722467, 1.0), (0, 0.0, 0.277533)])
def test_the_interval_of_ten_alike_answers_is_wilsons_by_hand(right: int, low: float, high: float) -> None:
    """Wilson 1927, J. Am. Stat. Assoc. 22, 209-212: with none right the upper end is z^2 / (n + z^2) = 3.8415 / 13.8415."""
    answers = np.full((10, 1), right // 10)

    [item] = read_items(answers).items

    assert (item.share_low, item.share_high) == pytest.approx((low, high), abs=5.1e-7)
