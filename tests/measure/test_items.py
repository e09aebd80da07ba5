"""Item analysis of a test: figures against NumPy's, few learners, answers not asked for, keys that look wrong."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.testing import assert_allclose

from markstead.measure import items
from tests.measure.item_worlds import (
    Slip,
    Table,
    World,
    draw,
    power,
    prompts_on_sound_questions,
    reliability_coverage,
)


def tables(low: int = -1, least: int = 1, most: int = 45) -> st.SearchStrategy[Table]:
    shapes = st.tuples(st.integers(least, most), st.integers(1, 6))
    return shapes.flatmap(lambda shape: arrays(np.int8, shape, elements=st.integers(low, 1)))


class TestFigures:
    """What NumPy and a slow telling of the definitions say, on any table."""

    @settings(deadline=None)
    @given(table=tables(low=0, least=20))
    def test_the_rest_correlation_is_that_of_numpy(self, table: Table) -> None:
        rest = table.sum(axis=1)[:, None] - table
        for item in items.read_items(table).items:
            x, y = table[:, item.question - 1], rest[:, item.question - 1]

            if x.std() == 0 or y.std() == 0:
                assert item.rest_correlation is None
            else:
                assert item.rest_correlation == pytest.approx(np.corrcoef(x, y)[0, 1], abs=1e-9)

    @settings(deadline=None)
    @given(table=tables(low=0, least=20))
    def test_the_reliability_is_coefficient_alpha_of_the_covariances(self, table: Table) -> None:
        """Cronbach 1951, Psychometrika 16, 297-334: k / (k - 1) times the share of the off-diagonal."""
        k = table.shape[1]
        covariance = np.cov(table.T).reshape(k, k)
        total = covariance.sum()

        found = items.read_items(table).kr20

        if k == 1 or total < 1e-9:
            assert found is None
        else:
            assert found == pytest.approx(k / (k - 1) * (1 - np.trace(covariance) / total), abs=1e-8)

    @settings(deadline=None)
    @given(table=tables(low=0, least=20))
    def test_the_reliability_without_a_question_is_that_of_the_test_without_it(self, table: Table) -> None:
        for item in items.read_items(table).items:
            if item.alpha_without is not None:
                shorter = items.read_items(np.delete(table, item.question - 1, axis=1))
                assert item.alpha_without == pytest.approx(shorter.kr20, abs=1e-8)

    @settings(deadline=None)
    @given(table=tables())
    def test_every_reading_is_finite_and_inside_its_bounds(self, table: Table) -> None:
        reading = items.read_items(table)

        for item in reading.items:
            assert 0 <= item.share_low <= item.share_high <= 1
            assert item.right_share is None or item.share_low <= item.right_share <= item.share_high
            assert item.rest_correlation is None or -1 <= item.rest_correlation <= 1
        told = [reading.mean, reading.sd, reading.kr20, reading.kr20_low, reading.kr20_high, reading.sem]
        assert all(np.isfinite(one) for one in told if one is not None)

    @settings(deadline=None)
    @given(table=tables(), seed=st.integers(0, 2**32 - 1))
    def test_the_order_of_learners_does_not_matter(self, table: Table, seed: int) -> None:
        turned = np.random.default_rng(seed).permutation(table)
        before, after = items.read_items(table), items.read_items(turned)

        assert [(i.right, i.asked, i.mis_keyed) for i in before.items] == [
            (i.right, i.asked, i.mis_keyed) for i in after.items
        ]
        assert (before.kr20 is None) == (after.kr20 is None)

    def test_the_error_of_a_score_is_its_spread_times_the_root_of_what_is_not_reliable(self) -> None:
        """Scores of a test of two halves that always agree are told without error."""
        half = np.tile([[1, 0, 1], [0, 1, 1], [0, 0, 0], [1, 1, 0]], (10, 1))
        reading = items.read_items(np.hstack([half, half]))
        assert reading.kr20 is not None
        assert reading.sem == pytest.approx(reading.sd * (1 - reading.kr20) ** 0.5)  # type: ignore[operator]

    @pytest.mark.parametrize("right", range(1, 33))
    def test_questions_that_always_agree_are_told_without_error(self, right: int) -> None:
        """Some of these shares give a reliability above 1 by rounding, if nothing is done about it."""
        column = np.repeat([1, 0], [right, 33 - right])
        reading = items.read_items(np.column_stack([column, column]))

        assert reading.kr20 == pytest.approx(1)
        assert reading.sem == pytest.approx(0, abs=1e-6)

    def test_a_reliability_below_zero_gives_an_error_no_larger_than_the_spread(self) -> None:
        """Two questions of which everyone has just one right, but for a few: they go against each other."""
        table = np.array([[1, 0], [0, 1]] * 12 + [[1, 1]])
        reading = items.read_items(table)
        assert reading.kr20 is not None
        assert reading.kr20 < 0
        assert reading.sem == reading.sd


class TestFewLearners:
    """Below 20 learners no correlation and no reliability; below 30 no word about a key."""

    def test_nineteen_learners_get_no_correlation(self) -> None:
        table = draw(np.random.default_rng(1), 19, 10, World.MIDDLING)
        reading = items.read_items(table)

        assert reading.kr20 is None
        assert {item.rest_correlation for item in reading.items} == {None}

    def test_twenty_learners_get_one(self) -> None:
        reading = items.read_items(draw(np.random.default_rng(1), 20, 10, World.MIDDLING))

        assert reading.kr20 is not None

    def test_it_is_said_in_words(self) -> None:
        reading = items.read_items([[1, 0], [0, 1], [1, 1]])

        assert reading.words.startswith("Too few learners (3)")
        assert reading.items[0].words == (
            "2 of 3 right (between 21 % and 94 %). Too few learners to say more: it takes 20."
        )

    @pytest.mark.parametrize(("learners", "flagged"), [(29, False), (30, True)])
    def test_a_key_is_asked_about_from_thirty_learners_on(self, learners: int, flagged: bool) -> None:
        """The weaker half, who miss all the rest, have question 1 right, and the stronger half wrong."""
        strong = np.arange(learners) % 2
        table = np.column_stack([1 - strong, strong, strong])

        assert items.read_items(table).items[0].mis_keyed is flagged

    def test_a_paper_that_nobody_got_right_says_to_look_at_the_key(self) -> None:
        table = draw(np.random.default_rng(1), 40, 5, World.MASTERY)
        table[:, 2] = 0
        assert "look at the key first" in items.read_items(table).items[2].words


class TestNotAsked:
    """-1 is left out; a blank is wrong."""

    def test_a_question_is_judged_by_those_who_were_asked(self) -> None:
        table = np.array([[1, 1], [0, 1], [-1, 0], [1, 0]])
        item = items.read_items(table).items[0]

        assert (item.right, item.asked) == (2, 3)

    def test_scores_come_of_learners_who_were_asked_everything(self) -> None:
        table = np.array([[1, 1], [0, 1], [-1, 0], [1, 0]])
        reading = items.read_items(table)

        assert (reading.complete, reading.mean) == (3, pytest.approx(4 / 3))

    def test_learners_asked_one_question_only_add_nothing_to_a_correlation(self) -> None:
        table = draw(np.random.default_rng(2), 60, 5, World.MIDDLING)
        alone = np.full((10, 5), -1, dtype=np.int8)
        alone[:, 0] = 1

        both = items.read_items(np.vstack([table, alone])).items[0].rest_correlation

        assert both == pytest.approx(items.read_items(table).items[0].rest_correlation)

    def test_a_question_that_nobody_was_asked_is_said_to_be_so(self) -> None:
        item = items.read_items([[-1, 1], [-1, 0]]).items[0]

        assert (item.words, item.right_share, item.share_low, item.share_high) == (
            "Nobody was asked.",
            None,
            0,
            1,
        )


@pytest.mark.parametrize(
    "wrong", [[[2, 0]], [[0.5, 1]], [[float("nan"), 1]], [1, 0, 1], np.zeros((0, 4)), np.zeros((4, 0))]
)
def test_anything_but_a_table_of_answers_is_refused(wrong: object) -> None:
    with pytest.raises(ValueError, match=r"an answer is|the shape"):
        items.read_items(wrong)  # type: ignore[arg-type]


class TestKeys:
    """A negative rest correlation beyond chance, and most of the strongest third wrong."""

    def test_a_turned_key_is_noticed_and_the_rest_left_alone(self) -> None:
        table = draw(np.random.default_rng(4), 300, 20, World.MASTERY, Slip.TURNED)

        assert [item.question for item in items.read_items(table).items if item.mis_keyed] == [1]

    def test_a_question_that_goes_wholly_with_the_rest_is_left_alone(self) -> None:
        strong = np.repeat([1, 0], 20)
        item = items.read_items(np.column_stack([strong, strong, strong])).items[0]

        assert item.rest_correlation == pytest.approx(1)
        assert not item.mis_keyed

    def test_the_words_count_the_strongest_who_were_marked_wrong(self) -> None:
        """30 learners; the 10 who have the rest right miss question 1, the 20 others have it."""
        strong = np.repeat([1, 0], [10, 20])
        item = items.read_items(np.column_stack([1 - strong, strong, strong])).items[0]

        assert "Look at the key: 10 of the 10 who did best on the rest were marked wrong" in item.words

    def test_a_question_that_the_strongest_mostly_have_right_is_left_alone(self) -> None:
        """Negative, -.35, but seven of the ten strongest have it right."""
        strong = np.repeat([1, 0], [10, 20])
        first = np.array([1] * 7 + [0] * 3 + [1] * 20)
        item = items.read_items(np.column_stack([first, strong, strong])).items[0]

        assert item.rest_correlation is not None
        assert item.rest_correlation < -0.3
        assert not item.mis_keyed

    @pytest.mark.slow
    @pytest.mark.parametrize("world", list(World))
    @pytest.mark.parametrize("questions", [10, 40])
    @pytest.mark.parametrize("learners", [30, 100])
    def test_at_most_one_sound_question_in_a_hundred_is_prompted(
        self, world: World, questions: int, learners: int
    ) -> None:
        """Measured .2 % at most.

        Four standard errors of 4,000 questions at 1 % are .63 points: so far below the bar no luck can have helped.
        """
        wrong, of = prompts_on_sound_questions(
            np.random.default_rng(7), learners, questions, world, 4000 // questions
        )

        assert wrong / of <= 0.01 - 4 * (0.01 * 0.99 / of) ** 0.5

    @pytest.mark.slow
    def test_a_hard_question_that_goes_with_nothing_is_prompted_at_most_one_time_in_twenty(self) -> None:
        """The worst that chance can do: one side of 5 %, four standard errors of 1,500 draws are 2.3 points."""
        rng = np.random.default_rng(8)
        found = 0
        for _ in range(1500):
            table = draw(rng, 40, 10, World.MASTERY)
            table[:, 0] = rng.random(40) < 0.25
            found += items.read_items(table).items[0].mis_keyed

        assert found / 1500 <= 0.05 + 0.023

    @pytest.mark.slow
    @pytest.mark.parametrize(("learners", "least"), [(30, 0.40), (100, 0.75), (300, 0.90)])
    def test_a_turned_key_is_noticed_ever_more_surely(self, learners: int, least: float) -> None:
        """Measured .54, .87, .98 with 40 questions of the mastery world; four standard errors of 400 draws are at
        most .10."""
        assert power(np.random.default_rng(9), learners, 40, World.MASTERY, Slip.TURNED, 400) >= least


@pytest.mark.slow
@pytest.mark.parametrize("learners", [20, 100])
def test_the_interval_of_the_reliability_holds_it_as_often_as_it_says(learners: int) -> None:
    """Feldt's theory wants normal scores; right and wrong answers to easy questions cost it a point or two.

    95 % nominal; four standard errors of 1,500 tests are 2.3 points.
    """
    assert abs(reliability_coverage(np.random.default_rng(10), learners, 1500) - 0.95) <= 0.02 + 0.023


@settings(max_examples=25, deadline=None)
@given(learners=st.integers(1, 400), share=st.floats(0, 1))
def test_the_interval_of_a_share_solves_the_score_equation(learners: int, share: float) -> None:
    """Wilson 1927: both ends p satisfy (right/n - p)^2 = z^2 p (1 - p) / n."""
    right = round(share * learners)
    table = np.zeros((learners, 1), dtype=int)
    table[:right] = 1
    item = items.read_items(table).items[0]

    for p in (item.share_low, item.share_high):
        assert_allclose(
            (right / learners - p) ** 2, 1.959963984540054**2 * p * (1 - p) / learners, atol=1e-12
        )
