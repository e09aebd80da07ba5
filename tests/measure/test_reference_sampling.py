"""Attribute sampling beside published values and SciPy's distributions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import betabinom, hypergeom

from markstead.measure.spot import need, slip_through, too_many, unseen

shapes = st.floats(0.2, 60)


class TestAgainstScipy:
    """SciPy 1.17: `betabinom` and `hypergeom`."""

    @given(ticks=st.integers(2, 60), a=shapes, b=shapes, share=st.floats(0, 1))
    def test_the_chance_to_slip_through_is_that_of_the_two_distributions(
        self, ticks: int, a: float, b: float, share: float
    ) -> None:
        look = round(share * ticks)
        slips = np.arange(too_many(ticks), ticks + 1)

        expected = betabinom.pmf(slips, ticks, a, b) @ hypergeom.pmf(0, ticks, slips, look)

        assert slip_through(look, ticks, a, b) == pytest.approx(float(expected), rel=1e-8, abs=1e-12)

    @given(ticks=st.integers(1, 60))
    def test_the_chance_to_see_none_is_hypergeometric(self, ticks: int) -> None:
        count = np.arange(ticks + 1)

        expected = hypergeom.pmf(0, ticks, count[:, None], count)

        np.testing.assert_allclose(unseen(ticks), expected, rtol=1e-9, atol=1e-15)


class TestPublished:
    """Values of the literature."""

    def test_the_lady_tasting_tea(self) -> None:
        """Fisher 1935, The Design of Experiments (from memory): of 8 cups, 4 and 4, none of four is right 1 time in 70."""
        assert unseen(8)[4, 4] == pytest.approx(1 / 70)

    @pytest.mark.parametrize(("percent", "looks"), [(15, 19), (20, 14)])
    def test_samples_of_discovery_of_an_audit_table(self, percent: int, looks: int) -> None:
        """AICPA Audit Guide, Audit Sampling, table A-1 (seen in a transcription of the 2014 guide): 5 % risk, no
        deviation expected, tolerable rates of 15 and 20 %.

        They are samples from a lot without end whose rate is the tolerable one: here 4,000 ticks and a belief that
        rests on ten million. Tolerable rates up to 10 % have no counterpart, as a tenth of the ticks is what is too
        many here.
        """
        rate = percent / 100

        assert need(4000, 1e7 * rate, 1e7 * (1 - rate)) == looks

    @pytest.mark.parametrize(
        ("percent", "looks"),
        [
            (2, 149),
            (3, 99),
            (4, 74),
            (5, 59),
            (6, 49),
            (7, 42),
            (8, 36),
            (9, 32),
            (10, 29),
            (15, 19),
            (20, 14),
        ],
    )
    def test_the_whole_row_of_the_audit_table_is_reached_from_below(self, percent: int, looks: int) -> None:
        """The same row at all its rates, from the chance to see none alone: without replacement it takes no more looks
        than the table says, and with 3,000 ticks no more than one in twenty fewer (the share that is drawn)."""
        slips = 3000 * percent // 100

        found = int((unseen(3000)[slips] <= 0.05).argmax())

        assert 0.95 * looks - 1 <= found <= looks

    def test_a_risk_that_is_met_exactly_is_kept(self) -> None:
        """One slip among twenty, nineteen looked at: the chance to miss it is 1 in 20, neither more nor less."""
        assert unseen(20)[1, 19] == pytest.approx(0.05)
        assert hypergeom.pmf(0, 20, 1, 19) == pytest.approx(0.05)


class TestOwnValues:
    """Kept from our own reckoning."""

    @pytest.mark.parametrize(
        ("ticks", "slips", "looks"),
        [(20, 2, 16), (20, 4, 10), (40, 2, 31), (40, 4, 21), (50, 5, 22), (100, 10, 25)],
    )
    def test_looks_that_find_one_of_a_known_number_with_ninety_five_percent(
        self, ticks: int, slips: int, looks: int
    ) -> None:
        assert int((unseen(ticks)[slips] <= 0.05).argmax()) == looks

    @pytest.mark.parametrize(("slips", "met"), [(2, (0.19, 0.45, 0.76, 0.95)), (4, (0.37, 0.72, 0.96, 1.00))])
    def test_two_and_four_slips_of_twenty_are_met_as_the_page_says(
        self, slips: int, met: tuple[float, ...]
    ) -> None:
        assert [1 - unseen(20)[slips, look] for look in (2, 5, 10, 15)] == pytest.approx(met, abs=0.00501)
