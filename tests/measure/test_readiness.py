"""The filter of readiness: against SciPy's optimiser, exact integrals and simulation, and what must hold for any marks."""

import math
from collections.abc import Sequence
from functools import cache, reduce

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray
from scipy import optimize, stats

from markstead.measure.passing import pass_chance, score_range
from markstead.measure.readiness import (
    DEFAULTS,
    BookEvidence,
    Counts,
    Evidence,
    Kind,
    Readiness,
    State,
    before_unit,
    begin_book,
    chance,
    follow,
    hold,
    learnt_prior,
    objectives,
    observe,
    predict,
    start,
    work_through,
)

Floats = NDArray[np.float64]

SUBJECTS = ("arithmetic", "grammar", "science")
FORTY = {"asked": 40, "needed": 32}
ASKED = {Kind.SECTIONS: 72, Kind.CHECKS: 27, Kind.ORAL: 8, Kind.PRACTICE: 32, Kind.UNIT: 40}
PRACTICE = Counts(32, 27)
BOOK = BookEvidence("grammar", Counts(72, 66), Counts(27, 24), Counts(8, 7), (PRACTICE,), Counts(40, 30))

# A fine grid for the mean over a standard normal: the sum over it is exact to more digits than are asked for here.
POINTS = np.linspace(-8, 8, 3201)
WEIGHTS = stats.norm.pdf(POINTS) * 0.005


def integral(mean: float, total: float, asked: int, needed: int) -> float:
    """The chance to pass for ability N(mean, total^2), by SciPy's binomial tail on the grid."""
    answers = 1 / (1 + np.exp(-(mean + total * POINTS)))
    return float(stats.binom.sf(needed - 1, asked, answers) @ WEIGHTS)


def counts(most: int = 100, least: int = 0) -> st.SearchStrategy[Counts]:
    return st.integers(least, most).flatmap(
        lambda asked: st.integers(0, asked).map(lambda right: Counts(asked, right))
    )


kinds = st.sampled_from(Kind)
steps = st.tuples(st.sampled_from(SUBJECTS), st.sampled_from([*Kind, "new", "again", "hold"]), counts())


def live(history: Sequence[tuple[str, str, Counts]]) -> State:
    state = start(SUBJECTS)
    for subject, what, count in history:
        match what:
            case "new" | "again":
                state = begin_book(state, subject, again=what == "again")
            case "hold":
                state = hold(state, subject, 1)
            case _:
                state = observe(state, subject, Kind(what), count)
    return state


histories = st.lists(steps, max_size=12)


class TestOneSubjectStepByStep:
    """Kept figures of one learner with one subject: a change of the model must be meant.

    Ability, its spread and the chance for 40 questions and 32 needed after each mark; the chances are judged by the
    exact integral in `TestChance`.
    """

    STEPS = (
        (None, None, 2.0000, 0.8714, 0.7522, 0.7516, 24, 40),
        (Kind.SECTIONS, Counts(72, 66), 1.9989, 0.5996, 0.8078, 0.8070, 27, 39),
        (Kind.CHECKS, Counts(27, 24), 1.8771, 0.5015, 0.7846, 0.7835, 27, 39),
        (Kind.ORAL, Counts(8, 7), 1.8884, 0.4579, 0.7988, 0.7977, 27, 39),
        (Kind.PRACTICE, PRACTICE, 1.7699, 0.3944, 0.7609, 0.7591, 27, 39),
        (Kind.UNIT, Counts(40, 30), 1.5210, 0.3148, 0.6392, 0.6355, 26, 38),
    )

    @staticmethod
    def after(number: int) -> State:
        state = begin_book(start(("arithmetic",)), "arithmetic")
        for kind, count, *_ in TestOneSubjectStepByStep.STEPS[1 : number + 1]:
            state = observe(state, "arithmetic", kind, count)
        return state

    @pytest.mark.parametrize("number", range(6))
    def test_the_forecast_after_each_mark(self, number: int) -> None:
        _, _, mean, spread, exact, closed, low, high = self.STEPS[number]

        found = predict(self.after(number), "arithmetic", **FORTY)

        assert_allclose([found.mean, found.spread, found.chance], [mean, spread, closed], rtol=0, atol=1e-4)
        assert (found.score_low, found.score_high) == (low, high)
        total = math.hypot(found.spread, DEFAULTS.unit.noise)
        assert integral(found.mean, total, 40, 32) == pytest.approx(exact, abs=1e-4)

    def test_the_next_book_is_less_sure(self) -> None:
        found = predict(begin_book(self.after(5), "arithmetic"), "arithmetic", **FORTY)

        assert_allclose([found.mean, found.spread, found.chance], [1.6219, 0.6041, 0.6521], rtol=0, atol=1e-4)
        assert (found.score_low, found.score_high) == (24, 39)

    def test_what_the_practice_test_taught_of_each_part(self) -> None:
        """Level, subject, workbook, open-book advantage, practice-test advantage."""
        assert_allclose(self.after(4).mean, [1.872, -0.0536, -0.0485, 0.0633, -0.1419], rtol=0, atol=5.1e-4)


class TestUpdate:
    """One result: the normal distribution at the top of the posterior, found here by SciPy from all coordinates."""

    @pytest.mark.parametrize("kind", Kind)
    @pytest.mark.parametrize("count", [Counts(1, 0), Counts(8, 7), Counts(72, 72), Counts(40, 3)])
    def test_mean_and_covariance_are_those_at_the_posteriors_top(self, kind: Kind, count: Counts) -> None:
        prior = live([("science", "unit test", Counts(30, 22)), ("arithmetic", "sections", Counts(60, 41))])
        of_kind = DEFAULTS.of(kind)
        # Coordinates (A, S1..S3, W1..W3, I_o, I_p, e): e is what is peculiar to this result.
        h = np.array([1, 0, 1, 0, 0, 1, 0, of_kind.open_book, of_kind.own_test, 1.0])
        mean = np.append(prior.mean, 0.0)
        precision = np.linalg.inv(
            np.diag(np.append(np.zeros(9), of_kind.noise**2)) + np.pad(prior.covariance, (0, 1))
        )

        def minus_log(x: Floats) -> float:
            eta = of_kind.offset + h @ x
            chances = count.right * np.logaddexp(0, -eta) + (count.asked - count.right) * np.logaddexp(0, eta)
            return float(0.5 * (x - mean) @ precision @ (x - mean) + chances)

        def slope(x: Floats) -> Floats:
            p = 1 / (1 + np.exp(-(of_kind.offset + h @ x)))
            return precision @ (x - mean) - (count.right - count.asked * p) * h

        top = optimize.minimize(minus_log, mean, jac=slope, method="BFGS", options={"gtol": 1e-9}).x
        p = 1 / (1 + np.exp(-(of_kind.offset + h @ top)))
        covariance = np.linalg.inv(precision + count.asked * p * (1 - p) * np.outer(h, h))

        found = observe(prior, "grammar", kind, count)

        # BFGS stops where the slope falls below 1e-9 or no longer can: the tops agree to 1e-6.
        assert_allclose(found.mean, top[:9], rtol=0, atol=1e-6)
        assert_allclose(found.covariance, covariance[:9, :9], rtol=0, atol=1e-6)

    @given(history=histories, subject=st.sampled_from(SUBJECTS), kind=kinds)
    def test_no_question_asked_changes_nothing(
        self, history: list[tuple[str, str, Counts]], subject: str, kind: Kind
    ) -> None:
        state = live(history)

        assert observe(state, subject, kind, Counts()) is state

    @given(history=histories)
    def test_the_covariance_stays_symmetric_and_positive(
        self, history: list[tuple[str, str, Counts]]
    ) -> None:
        covariance = live(history).covariance

        assert_array_equal(covariance, covariance.T)
        assert np.linalg.eigvalsh(covariance).min() > 0

    @given(history=histories, subject=st.sampled_from(SUBJECTS), kind=kinds, count=counts())
    def test_a_mark_never_makes_any_part_less_sure(
        self, history: list[tuple[str, str, Counts]], subject: str, kind: Kind, count: Counts
    ) -> None:
        before = live(history)
        after = observe(before, subject, kind, count)

        # 1e-12 allows for rounding.
        assert (np.diag(after.covariance) <= np.diag(before.covariance) + 1e-12).all()

    @given(history=histories, kind=kinds, count=counts())
    def test_one_more_answer_moves_ability_its_own_way(
        self, history: list[tuple[str, str, Counts]], kind: Kind, count: Counts
    ) -> None:
        state = live(history)
        base, right, wrong = (
            observe(state, "grammar", kind, after).ability("grammar")[0]
            for after in (count, count + Counts(1, 1), count + Counts(1, 0))
        )

        assert wrong < base < right

    @given(history=histories, kind=kinds, count=counts(), asked=st.integers(5, 80))
    def test_the_chance_goes_the_way_of_the_answer_after_any_marks(
        self, history: list[tuple[str, str, Counts]], kind: Kind, count: Counts, asked: int
    ) -> None:
        """Where marks gainsay each other wildly, Laplace's approximation of the spread outweighs the answer.

        In 60,000 random histories of any counts whatever the chance went the wrong way in 110, by at most .0025.
        """
        assert min(_gains(live(history), kind, count, asked)) > -0.005

    def test_the_chance_goes_the_way_of_the_answer_after_marks_of_learners(self) -> None:
        """2,000 learners of the filter's own model, at a random point of their book: strictly, for every one."""
        rng = np.random.default_rng(21)
        wrong_way = []
        for _ in range(2000):
            state, _, marks = drawn_learner(rng)
            kind = list(Kind)[rng.integers(5)]
            for earlier in Kind:
                if earlier is kind:
                    break
                state = observe(state, "grammar", earlier, marks[earlier])
            gains = _gains(state, kind, marks[kind], int(rng.integers(5, 81)))
            wrong_way += [gain for gain in gains if gain <= 0]

        assert wrong_way == []

    @given(parts=st.lists(counts(12), min_size=1, max_size=9), data=st.data())
    def test_sections_cut_otherwise_say_the_same(self, parts: list[Counts], data: st.DataObject) -> None:
        """The marks of a kind are one count, however many stops they come from and in whatever order."""
        cut = data.draw(st.integers(0, len(parts)))
        other = [
            reduce(Counts.__add__, parts[:cut], Counts()),
            reduce(Counts.__add__, parts[cut:], Counts()),
        ]
        one, two = (
            work_through(start(SUBJECTS), BookEvidence("grammar", sections=sum(way, Counts())))
            for way in (parts[::-1], other)
        )

        assert_array_equal(one.mean, two.mean)
        assert_array_equal(one.covariance, two.covariance)

    def test_a_good_test_in_one_subject_speaks_for_the_others(self) -> None:
        state = start(SUBJECTS)
        taught = observe(state, "grammar", Kind.UNIT, Counts(40, 39))

        gains = [predict(taught, s, **FORTY).mean - predict(state, s, **FORTY).mean for s in SUBJECTS]

        assert gains[0] == pytest.approx(gains[2])
        assert gains[1] > gains[0] > 0.1

    def test_open_book_work_that_runs_ahead_of_a_unit_test_is_trusted_less_in_the_next_book(self) -> None:
        def next_book(unit: int) -> float:
            book = BookEvidence("grammar", sections=Counts(72, 70), unit=Counts(40, unit))
            after = work_through(start(SUBJECTS), book)
            eve = work_through(after, BookEvidence("science", sections=Counts(72, 70)))
            return float(eve.mean[-2])

        assert next_book(24) > 0.2 > next_book(38)


def _gains(state: State, kind: Kind, count: Counts, asked: int) -> list[float]:
    """What a right answer more, one wrong less, and a right one in place of a wrong one add to the chance to pass."""

    def after(way: Counts) -> float:
        return predict(observe(state, "grammar", kind, way), "grammar", asked, -(-asked * 4 // 5)).chance

    base = after(count)
    gains = [after(count + Counts(1, 1)) - base, base - after(count + Counts(1, 0))]
    if count.right < count.asked:
        gains.append(after(Counts(count.asked, count.right + 1)) - base)
    return gains


LEARNERS = 2000


def drawn_learner(rng: np.random.Generator) -> tuple[State, float, dict[Kind, Counts]]:
    """Draw a learner from the filter's model: the state of a begun book, true ability, and the marks that came."""
    begun = begin_book(start(SUBJECTS), "grammar")
    truth = rng.multivariate_normal(begun.mean, begun.covariance)
    ability = truth[0] + truth[2] + truth[5]
    marks = {}
    for kind, asked in ASKED.items():
        k = DEFAULTS.of(kind)
        eta = k.offset + ability + k.open_book * truth[-2] + k.own_test * truth[-1] + rng.normal(0, k.noise)
        marks[kind] = Counts(asked, int(rng.binomial(asked, 1 / (1 + np.exp(-eta)))))
    return begun, ability, marks


def forecast(rng: np.random.Generator) -> tuple[Readiness, float, int]:
    """What was said on the eve of a drawn learner's unit test, true ability, and the score that came."""
    state, ability, marks = drawn_learner(rng)
    for kind in (Kind.SECTIONS, Kind.CHECKS, Kind.ORAL, Kind.PRACTICE):
        state = observe(state, "grammar", kind, marks[kind])
    return predict(state, "grammar", **FORTY), ability, marks[Kind.UNIT].right


@cache
def drawn_forecasts() -> list[tuple[Readiness, float, int]]:
    rng = np.random.default_rng(11)
    return [forecast(rng) for _ in range(LEARNERS)]


class TestItsOwnWorld:
    """Learners drawn from the very model that the filter assumes: then it must be right about them."""

    def test_true_ability_lies_in_its_range_nine_times_in_ten(self) -> None:
        """Four standard errors for 2,000 learners are 4 sqrt(.9 x .1 / 2000) = .027."""
        inside = [abs(ability - said.mean) < 1.645 * said.spread for said, ability, _ in drawn_forecasts()]

        assert np.mean(inside) == pytest.approx(0.90, abs=0.027)

    def test_as_many_pass_as_was_said(self) -> None:
        """Standard error of a sum of draws with these chances, four times; .015 is what the closed form may be off."""
        said = np.array([reading.chance for reading, _, _ in drawn_forecasts()])
        passed = np.array([score >= 32 for *_, score in drawn_forecasts()])
        error = math.sqrt(float((said * (1 - said)).sum())) / len(said)

        assert passed.mean() == pytest.approx(said.mean(), abs=4 * error + 0.015)

    def test_scores_lie_in_their_range_at_least_nine_times_in_ten(self) -> None:
        """Whole numbers make the range a little wider than .90; it holds at most .05 + .05 less and four errors more."""
        inside = [said.score_low <= score <= said.score_high for said, _, score in drawn_forecasts()]

        assert 0.90 - 0.027 < np.mean(inside) < 0.97

    def test_the_range_of_the_chance_holds_the_chance_of_that_very_morning(self) -> None:
        """Ability and the morning together lie in mean -+ 1.645 T in .90 of cases, four standard errors .027."""
        rng = np.random.default_rng(12)
        inside = []
        for said, ability, _ in drawn_forecasts():
            true = pass_chance(ability + rng.normal(0, DEFAULTS.unit.noise), 40, 32)
            inside.append(said.chance_low <= true <= said.chance_high)

        assert np.mean(inside) == pytest.approx(0.90, abs=0.027)


class TestChance:
    """The closed form against the exact integral, and at its edges."""

    @pytest.mark.parametrize("asked", [20, 25, 30, 40, 60, 100])
    def test_the_closed_form_is_within_fifteen_thousandths_of_the_integral(self, asked: int) -> None:
        needed = -(-asked * 4 // 5)
        off = [
            abs(
                chance(mean, math.sqrt(total**2 - 0.35**2), asked, needed)
                - integral(mean, total, asked, needed)
            )
            for mean in np.arange(0, 3.51, 0.05)
            for total in np.arange(0.36, 0.91, 0.06)
        ]

        assert max(off) < 0.015

    @given(
        means=st.lists(st.floats(-6, 8), min_size=2, max_size=2, unique=True),
        spread=st.floats(0, 1.5),
        asked=st.integers(1, 100),
        share=st.floats(0.3, 1),
    )
    def test_more_ability_never_lowers_the_chance(
        self, means: list[float], spread: float, asked: int, share: float
    ) -> None:
        low, high = sorted(means)
        needed = math.ceil(share * asked)

        assert chance(low, spread, asked, needed) <= chance(high, spread, asked, needed)

    def test_nothing_needed_is_sure_and_more_than_all_is_impossible(self) -> None:
        assert chance(-3, 0.5, 40, 0) == pass_chance(-3, 40, 0) == 1
        assert chance(9, 0.5, 40, 41) == pass_chance(9, 40, 41) == 0

    def test_a_test_without_questions_and_a_negative_spread_are_refused(self) -> None:
        with pytest.raises(ValueError, match="at least one question, got 0"):
            chance(2, 0.5, 0, 0)
        with pytest.raises(ValueError, match=r"not negative, got -0\.1"):
            chance(2, -0.1, 40, 32)

    @given(ability=st.floats(-8, 8), asked=st.integers(1, 120), data=st.data())
    def test_the_chance_for_known_ability_is_scipys_binomial_tail(
        self, ability: float, asked: int, data: st.DataObject
    ) -> None:
        needed = data.draw(st.integers(0, asked))

        exact = stats.binom.sf(needed - 1, asked, 1 / (1 + math.exp(-ability)))

        assert pass_chance(ability, asked, needed) == pytest.approx(exact, abs=1e-11)


class TestScoreRange:
    @pytest.mark.parametrize(
        ("mean", "total", "asked"), [(2.0, 0.94, 40), (1.77, 0.53, 40), (0.4, 0.6, 25), (3.4, 0.5, 20)]
    )
    def test_it_is_that_of_a_large_simulation(self, mean: float, total: float, asked: int) -> None:
        """Four standard errors of a share of .05 in 400,000 draws are .0014; the quadrature is off by less than .001."""
        rng = np.random.default_rng(5)
        answers = 1 / (1 + np.exp(-(mean + total * rng.standard_normal(400_000))))
        scores = rng.binomial(asked, answers)

        low, high = score_range(mean, total, asked)

        for at, share in ((low, 0.05), (high, 0.95)):
            assert (scores < at).mean() < share + 0.0024
            assert (scores <= at).mean() > share - 0.0024

    @given(mean=st.floats(-9, 9), total=st.floats(0.01, 2), asked=st.integers(1, 200))
    def test_it_lies_among_the_scores_that_can_be(self, mean: float, total: float, asked: int) -> None:
        low, high = score_range(mean, total, asked)

        assert 0 <= low <= high <= asked


class TestBooks:
    def test_following_books_is_working_them_one_after_the_other(self) -> None:
        other = BookEvidence("science", sections=Counts(60, 50), unit=Counts(30, 26), workbook="S1")

        followed = follow([BOOK, other, BOOK], SUBJECTS)

        folded = reduce(work_through, [BOOK, other, BOOK], start(SUBJECTS))
        assert_array_equal(followed.mean, folded.mean)
        assert_array_equal(followed.covariance, folded.covariance)

    def test_a_review_lies_between_practice_attempts(self) -> None:
        first, second = Counts(32, 20), Counts(32, 25)
        by_hand = observe(
            hold(
                observe(begin_book(start(SUBJECTS), "science"), "science", Kind.PRACTICE, first), "science", 1
            ),
            "science",
            Kind.PRACTICE,
            second,
        )

        found = work_through(start(SUBJECTS), BookEvidence("science", practice=(first, second)))

        assert_array_equal(found.mean, by_hand.mean)

    def test_each_review_wins_seven_tenths_of_the_one_before(self) -> None:
        state = start(SUBJECTS)
        gains = [hold(state, "grammar", attempt).mean[5] for attempt in (1, 2, 3)]

        assert gains == pytest.approx([0.40, 0.28, 0.196])

    def test_what_one_review_wins_is_not_known_for_sure(self) -> None:
        state = start(SUBJECTS)
        change = hold(state, "grammar", 1).covariance - state.covariance

        assert change[5, 5] == pytest.approx(0.01)
        assert np.count_nonzero(change) == 1

    def test_there_is_no_review_before_the_first_practice_test(self) -> None:
        with pytest.raises(ValueError, match="no review before practice attempt 0"):
            hold(start(SUBJECTS), "grammar", 0)

    def test_a_new_book_forgets_the_old_one_and_nothing_else(self) -> None:
        state = work_through(start(SUBJECTS), BOOK)
        begun = begin_book(state, "grammar")

        kept = np.arange(9) != 5
        assert_array_equal(begun.mean[kept], state.mean[kept])
        assert begun.mean[5] == 0
        assert_allclose(begun.covariance[5], np.where(kept, 0, 0.16))
        moved = np.diag(begun.covariance - state.covariance)[kept]
        assert_allclose(moved, [0, 0, 0.13**2, 0, 0, 0, 0.03**2 / 3, 0.03**2 / 3], atol=1e-15)

    def test_a_copy_worked_again_keeps_what_is_known_of_its_workbook(self) -> None:
        state = work_through(start(SUBJECTS), BOOK)
        begun = begin_book(state, "grammar", again=True)

        assert begun.mean[5] == pytest.approx(state.mean[5] + 0.40)
        assert begun.covariance[5, 5] == pytest.approx(state.covariance[5, 5] + 0.10)
        assert_array_equal(begun.covariance[5, :5], state.covariance[5, :5])

    def test_a_unit_test_known_to_be_harder_is_forecast_lower_and_its_score_counts_for_more(self) -> None:
        eve = before_unit(start(SUBJECTS), BOOK)
        plain, harder = predict(eve, "grammar", **FORTY), predict(eve, "grammar", **FORTY, harder=0.3)

        assert harder.mean == pytest.approx(plain.mean - 0.3)
        assert harder.chance < plain.chance
        assert follow([BOOK], SUBJECTS).mean[0] == work_through(start(SUBJECTS), BOOK).mean[0]
        known = BookEvidence("grammar", unit=Counts(40, 30), workbook="G1")
        assert follow([known], SUBJECTS, harder={"G1": 0.3}).mean[0] > follow([known], SUBJECTS).mean[0]

    @pytest.mark.parametrize("kind", [kind for kind in Kind if kind is not Kind.UNIT])
    def test_no_other_mark_heeds_that_a_unit_test_is_harder(self, kind: Kind) -> None:
        state = start(SUBJECTS)

        plain, harder = (observe(state, "grammar", kind, PRACTICE, harder=d) for d in (0.0, 0.5))

        assert_array_equal(plain.mean, harder.mean)


class TestStates:
    def test_a_state_cannot_be_changed(self) -> None:
        state = start(SUBJECTS)

        for array in (state.mean, state.covariance):
            with pytest.raises(ValueError, match="read-only"):
                array[0] = 1

    def test_a_state_keeps_its_own_copy(self) -> None:
        mean, covariance = np.zeros(5), np.eye(5)
        state = State(("arithmetic",), mean, covariance)
        mean[0] = covariance[0, 0] = 7

        assert (state.mean[0], state.covariance[0, 0]) == (0, 1)

    @pytest.mark.parametrize("subjects", [(), ("grammar", "grammar")])
    def test_subjects_have_names_of_their_own(self, subjects: tuple[str, ...]) -> None:
        with pytest.raises(ValueError, match="names of their own"):
            start(subjects)

    def test_arrays_of_another_size_are_refused(self) -> None:
        with pytest.raises(ValueError, match=r"need shapes \(5,\) and \(5, 5\), got \(4,\)"):
            State(("grammar",), np.zeros(4), np.eye(5))

    def test_an_unknown_subject_is_named_with_those_that_are_known(self) -> None:
        with pytest.raises(
            ValueError, match="no subject 'music' in this state; it has arithmetic, grammar, science"
        ):
            begin_book(start(SUBJECTS), "music")

    @pytest.mark.parametrize(("asked", "right"), [(3, 4), (3, -1), (-1, -1)])
    def test_counts_that_cannot_be_are_refused(self, asked: int, right: int) -> None:
        with pytest.raises(ValueError, match=f"{right} right of {asked}"):
            Counts(asked, right)


class TestWords:
    @staticmethod
    def reading(chance: float, spread: float = 0.5, low: float = 0.0, high: float = 1.0) -> Readiness:
        return Readiness(1.9, spread, chance, low, high, 27, 39, 40, 32)

    @pytest.mark.parametrize(
        ("spread", "evidence"),
        [(0.56, Evidence.LITTLE), (0.55, Evidence.SOME), (0.40, Evidence.SOME), (0.399, Evidence.MUCH)],
    )
    def test_evidence_in_words(self, spread: float, evidence: Evidence) -> None:
        assert self.reading(0.8, spread).evidence is evidence

    def test_nothing_is_shown_as_sure(self) -> None:
        sure, hopeless = self.reading(0.9999), self.reading(1e-6)

        assert (sure.shown_percent, hopeless.shown_percent) == (98, 2)
        assert sure.shown_range == (2, 98)
        assert self.reading(0.634).shown_percent == 63

    @pytest.mark.parametrize(
        ("chance", "words"),
        [
            (0.01, "hardly one passes"),
            (0.1, "about 1 passes"),
            (0.78, "about 8 pass"),
            (0.99, "nearly all pass"),
        ],
    )
    def test_the_sentence_for_a_parent(self, chance: float, words: str) -> None:
        assert self.reading(chance).sentence == (
            f"Out of 10 children in this position {words} tomorrow; "
            "most of them have 27 to 39 of 40 right (some evidence)."
        )


class TestObjectives:
    def test_an_objective_without_marks_is_the_learner_and_the_spread_between_objectives(self) -> None:
        eve = before_unit(start(SUBJECTS), BOOK)
        mean, spread = eve.ability("grammar")

        (found,) = objectives(eve, "grammar", {"commas": Counts()})

        assert (found.mean, found.spread) == pytest.approx((mean, math.hypot(spread, 0.55)))
        assert found.learnt_prior == pytest.approx(learnt_prior(mean, spread))

    def test_its_own_marks_move_it_to_the_posteriors_top(self) -> None:
        """SciPy's bounded search for the top of one binomial count with a normal prior."""
        eve = before_unit(start(SUBJECTS), BOOK)
        mean, spread = eve.ability("grammar")
        centre = mean + 0.40 + eve.mean[-2]

        def minus_log(shift: float) -> float:
            p = 1 / (1 + math.exp(-(centre + shift)))
            return shift**2 / (2 * 0.55**2) - stats.binom.logpmf(4, 9, p)

        shift = optimize.minimize_scalar(
            minus_log, bounds=(-5, 5), method="bounded", options={"xatol": 1e-9}
        ).x
        p = 1 / (1 + math.exp(-(centre + shift)))

        (found,) = objectives(eve, "grammar", {"commas": Counts(9, 4)})

        assert found.mean == pytest.approx(mean + shift, abs=1e-5)
        assert found.spread == pytest.approx(
            math.sqrt(spread**2 + 1 / (1 / 0.55**2 + 9 * p * (1 - p))), abs=1e-5
        )

    def test_they_come_in_the_order_given_and_the_weakest_is_least_likely_learnt(self) -> None:
        eve = before_unit(start(SUBJECTS), BOOK)
        marks = {"verbs": Counts(9, 9), "commas": Counts(9, 5), "nouns": Counts()}

        found = objectives(eve, "grammar", marks)

        assert [reading.name for reading in found] == ["verbs", "commas", "nouns"]
        verbs, commas, nouns = (reading.learnt_prior for reading in found)
        assert verbs > nouns > commas

    @given(mean=st.floats(-3, 5), spread=st.floats(0, 1.5))
    def test_where_a_quiz_starts_is_the_ratio_of_two_normal_tails(self, mean: float, spread: float) -> None:
        total = math.hypot(spread, 0.55)
        high = stats.norm.sf(math.log(0.85 / 0.15), mean, total)
        low = stats.norm.cdf(math.log(0.70 / 0.30), mean, total)

        assert learnt_prior(mean, spread) == pytest.approx(high / (high + low), abs=1e-12)

    def test_ability_known_too_well_goes_to_the_nearer_side(self) -> None:
        assert (learnt_prior(1.4, 0.001, 0), learnt_prior(1.0, 0.001, 0)) == (1.0, 0.0)

    def test_spreads_that_cannot_be_are_refused(self) -> None:
        with pytest.raises(ValueError, match="must not be negative nor both 0"):
            learnt_prior(1.0, 0.0, between=0.0)
        with pytest.raises(ValueError, match="between objectives must be positive"):
            objectives(start(SUBJECTS), "grammar", {}, between=0.0)
