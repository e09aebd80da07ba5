"""The oral quiz: its card, its exact errors, where a quiz stands, and which question comes next."""

from collections.abc import Sequence
from datetime import date, timedelta
from functools import cache
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from markstead.measure.oral import (
    DEFAULT_RULE,
    HARDER_RULE,
    Candidate,
    QuizRule,
    Verdict,
    card,
    harder_mix,
    live,
    next_questions,
    operating,
)
from tests.measure.marking_worlds import (
    SETTINGS,
    Objectives,
    by_lot,
    by_the_product,
    fixed_errors,
    one_of_each,
    quiz_errors,
    run_quizzes,
    weak_caught,
)

TODAY = date(2026, 11, 23)
PRIORS = (0.2, 0.5, 0.8)
RULES = (DEFAULT_RULE, HARDER_RULE)
answer_lists = st.lists(st.booleans(), max_size=16)
priors = st.floats(0, 1)
rules = st.sampled_from(RULES)


def cells(prior: float) -> list[tuple[int | None, int | None]]:
    lines = card(prior).lines
    assert [line.asked for line in lines] == list(range(3, 13))
    return [(line.right_needed, line.wrong_ends) for line in lines]


class TestCard:
    """Worked by hand from the log odds: right adds ln(.9/.6) = .405, wrong ln(.1/.4) = -1.386."""

    def test_where_nothing_is_known_six_in_a_row_or_three_wrong_end_it(self) -> None:
        right = [None, None, None, 6, 7, 8, 9, 9, 10, 10]
        wrong = [2, 3, 3, 3, 3, 3, 3, 3, 3, 3]

        assert cells(0.5) == list(zip(right, wrong, strict=True))

    def test_where_the_work_looks_weak_it_takes_eight_in_a_row(self) -> None:
        right = [None, None, None, None, None, 8, 9, 10, 10, 10]
        wrong = [2, 2, 2, 3, 3, 3, 3, 3, 3, 3]

        assert cells(0.2) == list(zip(right, wrong, strict=True))

    def test_where_the_work_looks_strong_four_in_a_row_are_enough(self) -> None:
        right = [None, 4, 5, 6, 7, 8, 8, 9, 10, 10]

        assert cells(0.8) == [(r, 3) for r in right]

    def test_harder_questions_want_five_in_a_row_and_allow_a_third_wrong_one(self) -> None:
        """ln(.87/.53) = .4956, ln(.13/.47) = -1.285: 9 right of 12 have .605 and are enough; 8 have -1.175."""
        right = [None, None, 5, 6, 7, 8, 8, 9, 9, 9]
        wrong = [2, 3, 3, 3, 4, 4, 4, 4, 4, 4]

        found = [(line.right_needed, line.wrong_ends) for line in card(0.5, HARDER_RULE).lines]

        assert found == list(zip(right, wrong, strict=True))

    @given(low=st.floats(0, 0.33), high=st.floats(0.67, 1))
    def test_beyond_the_clamp_a_prior_changes_nothing_more(self, low: float, high: float) -> None:
        """ln(2) = .69 is all but the clamp of .7; between .33 and .3318 no line of the card moves."""
        assert cells(low) == cells(0.0)
        assert cells(high) == cells(1.0)

    @pytest.mark.parametrize(
        ("prior", "words"),
        [
            (0.2, "Eight right in a row and you may stop; three wrong, or two of the first five,"),
            (0.5, "Six right in a row and you may stop; three wrong, or two of the first three,"),
            (0.8, "Four right in a row and you may stop; three wrong"),
        ],
    )
    def test_says_itself_in_a_sentence(self, prior: float, words: str) -> None:
        rest = " and it is not learnt yet. At least three questions, at most twelve."

        assert card(prior).sentence == words + rest

    @given(answers=answer_lists, prior=priors, rule=rules)
    def test_rules_as_the_live_quiz_does(self, answers: list[bool], prior: float, rule: QuizRule) -> None:
        by_card = Verdict.GO_ON
        for line in card(prior, rule).lines:
            if line.asked > len(answers) or by_card is not Verdict.GO_ON:
                break
            right = sum(answers[: line.asked])
            if line.right_needed is not None and right >= line.right_needed:
                by_card = Verdict.LEARNT
            elif line.wrong_ends is not None and line.asked - right >= line.wrong_ends:
                by_card = Verdict.NOT_YET

        assert live(answers, prior, rule).verdict is by_card


@cache
def by_all_paths(p: float, prior: float, rule: QuizRule) -> tuple[float, float]:
    """Every one of the 4,096 ways to answer twelve questions, each to its end: chance of learnt, mean length."""
    learnt = length = 0.0
    for path in product((True, False), repeat=rule.most):
        weight = p ** sum(path) * (1 - p) ** (rule.most - sum(path))
        ends = next(
            n for n in range(rule.most + 1) if live(path[:n], prior, rule).verdict is not Verdict.GO_ON
        )
        learnt += weight * (live(path[:ends], prior, rule).verdict is Verdict.LEARNT)
        length += weight * ends
    return learnt, length


class TestOperating:
    """The exact chance to end as learnt, and the exact mean length."""

    @pytest.mark.parametrize("rule", RULES)
    @pytest.mark.parametrize("prior", PRIORS)
    @pytest.mark.parametrize("p", [0.9, 0.62])
    def test_equals_the_sum_over_all_paths(self, p: float, prior: float, rule: QuizRule) -> None:
        found = operating(p, prior, rule)

        assert (found.learnt, found.mean_questions) == pytest.approx(by_all_paths(p, prior, rule), abs=1e-12)

    @pytest.mark.parametrize(
        ("prior", "learnt", "questions"),
        [
            (0.2, (0.856, 0.695, 0.520, 0.232, 0.139, 0.077), (9.2, 8.6, 5.7)),
            (0.5, (0.889, 0.745, 0.578, 0.282, 0.178, 0.106), (7.9, 8.2, 6.2)),
            (0.8, (0.919, 0.801, 0.655, 0.375, 0.266, 0.182), (6.0, 7.0, 6.3)),
        ],
    )
    def test_stays_what_the_page_says(
        self, prior: float, learnt: tuple[float, ...], questions: tuple[float, ...]
    ) -> None:
        """Own values, printed in quizzes-and-spot-checks.md: half a unit of the last digit."""
        shares = (0.90, 0.85, 0.80, 0.70, 0.65, 0.60)

        assert [operating(p, prior).learnt for p in shares] == pytest.approx(learnt, abs=5.01e-4)
        means = [operating(p, prior).mean_questions for p in (0.9, 0.8, 0.6)]
        assert means == pytest.approx(questions, abs=0.0501)

    @pytest.mark.parametrize("prior", PRIORS)
    @pytest.mark.parametrize("p", [0.9, 0.75, 0.6])
    def test_agrees_with_quizzes_held_by_the_card(self, p: float, prior: float) -> None:
        learnt, asked = run_quizzes(np.random.default_rng(2), p, prior, 100_000)

        found = operating(p, prior)

        # Standard errors at 100,000 runs: at most .0016 of a share; lengths vary by at most 3.2, so .010.
        assert learnt == pytest.approx(found.learnt, abs=0.005)
        assert asked == pytest.approx(found.mean_questions, abs=0.04)

    @given(prior=priors, low=st.floats(0, 1), high=st.floats(0, 1), rule=rules)
    def test_who_knows_more_is_sooner_found_to_have_learnt(
        self, prior: float, low: float, high: float, rule: QuizRule
    ) -> None:
        low, high = sorted((low, high))

        assert operating(low, prior, rule).learnt <= operating(high, prior, rule).learnt + 1e-12

    @given(p=st.floats(0, 1), low=priors, high=priors)
    def test_a_better_record_never_makes_it_harder(self, p: float, low: float, high: float) -> None:
        low, high = sorted((low, high))

        assert operating(p, low).learnt <= operating(p, high).learnt + 1e-12

    @pytest.mark.parametrize("about", SETTINGS, ids=lambda s: s.name)
    @pytest.mark.parametrize("shift", [0.0, -0.5])
    def test_ends_in_seven_and_a_half_questions_where_abilities_vary(
        self, about: Objectives, shift: float
    ) -> None:
        assert quiz_errors(about, shift).questions <= 7.5

    @pytest.mark.parametrize("about", SETTINGS, ids=lambda s: s.name)
    @pytest.mark.parametrize("shift", [0.0, -0.5])
    def test_errs_hardly_more_often_than_ten_questions_do(self, about: Objectives, shift: float) -> None:
        """An exact integral: .01 is the price that was agreed for a third fewer questions."""
        assert quiz_errors(about, shift).total <= fixed_errors(about, shift).total + 0.01

    def test_a_doubtful_objective_never_takes_more_than_eight_questions_whatever_the_prior(self) -> None:
        """Near .43 the card asks for seven in a row where .45 asks for six: then it is 7.6, above the bar of 7.5."""
        doubtful = next(s for s in SETTINGS if s.name == "doubtful")

        lengths = [quiz_errors(doubtful, prior=prior).questions for prior in np.linspace(0.30, 0.70, 21)]

        assert 7.5 < max(lengths) <= 8

    @pytest.mark.parametrize("p", [-0.01, 1.01, float("nan")])
    def test_refuses_what_is_no_probability(self, p: float) -> None:
        with pytest.raises(ValueError, match="from 0 to 1"):
            operating(p)


class TestLiveQuiz:
    """Where a quiz stands after some answers."""

    @given(answers=answer_lists, prior=priors, rule=rules)
    def test_never_ends_before_three_and_always_by_twelve(
        self, answers: list[bool], prior: float, rule: QuizRule
    ) -> None:
        goes_on = live(answers, prior, rule).verdict is Verdict.GO_ON

        assert goes_on if len(answers) < 3 else True
        assert not goes_on if len(answers) >= 12 else True

    @given(answers=answer_lists, more=answer_lists, prior=priors)
    def test_the_verdict_at_the_first_end_stands(
        self, answers: list[bool], more: list[bool], prior: float
    ) -> None:
        verdict = live(answers, prior).verdict

        after = live([*answers, *more], prior).verdict

        assert verdict in (Verdict.GO_ON, after)

    @given(answers=answer_lists, prior=priors, rule=rules)
    def test_the_run_that_ends_it_ends_it_and_a_shorter_one_does_not(
        self, answers: list[bool], prior: float, rule: QuizRule
    ) -> None:
        now = live(answers, prior, rule)
        if now.verdict is not Verdict.GO_ON:
            assert now.right_to_go is None
            assert now.wrong_to_go is None
            return
        for answer, run, end in (
            (True, now.right_to_go, Verdict.LEARNT),
            (False, now.wrong_to_go, Verdict.NOT_YET),
        ):
            ends = [live([*answers, *[answer] * n], prior, rule).verdict for n in range(1, 13)]
            first = next(v for v in ends if v is not Verdict.GO_ON)
            assert run == (ends.index(first) + 1 if first is end else None)

    def test_where_two_wrong_have_all_but_ended_it_no_run_of_right_ones_helps(self) -> None:
        found = live([False, False], prior=0.2)

        assert (found.right_to_go, found.wrong_to_go) == (None, 1)
        assert found.sentence == "One more wrong and it is not yet."

    @pytest.mark.parametrize("prior", PRIORS)
    def test_says_how_many_more_can_come(self, prior: float) -> None:
        def longest(answers: Sequence[bool]) -> int:
            if live(answers, prior).verdict is not Verdict.GO_ON:
                return 0
            return 1 + max(longest([*answers, True]), longest([*answers, False]))

        for answers in product((True, False), repeat=5):
            assert live(answers, prior).at_most_more == longest(answers)

    @given(answers=answer_lists, prior=priors)
    def test_a_wrong_answer_turned_right_never_takes_a_verdict_of_learnt_away(
        self, answers: list[bool], prior: float
    ) -> None:
        if live(answers, prior).verdict is Verdict.LEARNT:
            for place in range(len(answers)):
                better = [*answers[:place], True, *answers[place + 1 :]]
                assert live(better, prior).verdict is Verdict.LEARNT

    def test_counts_every_answer_but_tells_of_those_that_decided(self) -> None:
        found = live([True] * 6 + [False])

        assert (found.verdict, found.asked, found.right, found.wrong) == (Verdict.LEARNT, 7, 6, 1)
        assert found.sentence == "6 of 6 right: this is learnt."

    def test_says_under_way_what_would_end_it(self) -> None:
        assert (
            live([True, True]).sentence
            == "Four more right in a row and it is learnt; three more wrong and it is not yet."
        )

    @given(answers=answer_lists, prior=priors)
    def test_harder_questions_are_judged_more_mildly(self, answers: list[bool], prior: float) -> None:
        """Each wrong answer costs less and each right one gains more, so that the quiz may end earlier, not lower."""
        if live(answers, prior, HARDER_RULE).verdict is Verdict.NOT_YET:
            assert live(answers, prior).verdict is Verdict.NOT_YET


class TestRule:
    """A rule that contradicts itself is refused."""

    @pytest.mark.parametrize(
        "wrong",
        [
            {"learnt": 0.6, "not_yet": 0.6},
            {"learnt": 1.0},
            {"not_yet": 0.0},
            {"at_the_end": 3.0},
            {"stop_not_yet": 1.0},
            {"least": 0},
            {"least": 13},
        ],
        ids=lambda w: ", ".join(w),
    )
    def test_is_refused(self, wrong: dict[str, float]) -> None:
        with pytest.raises(ValueError, match=r"must lie|needs"):
            QuizRule(**wrong)  # type: ignore[arg-type]


@st.composite
def shelves(draw: st.DrawFn) -> list[Candidate]:
    """Questions of some sections, some tagged, some wrong at first, some asked of late."""
    last = st.one_of(st.none(), st.integers(0, 5).map(lambda ago: TODAY - timedelta(days=ago)))
    found = []
    for stop in range(draw(st.integers(1, 4))):
        for question in range(1, draw(st.integers(1, 8)) + 1):
            objective = draw(st.sampled_from([None, "add", "carry", "borrow"]))
            found.append(Candidate(f"s{stop}", question, objective, draw(st.booleans()), draw(last)))
    return found


def about(candidate: Candidate) -> str:
    return candidate.objective or candidate.stop


def section(stop: str, wrong: int, questions: int = 9) -> list[Candidate]:
    return [Candidate(stop, q, None, q <= wrong, None) for q in range(1, questions + 1)]


class TestNextQuestions:
    """Weak objectives first, then every one that was not touched, then weak again."""

    @given(
        shelf=shelves(), seed=st.integers(0, 99), most=st.integers(1, 24), places=st.sets(st.integers(0, 31))
    )
    def test_asks_nothing_twice_nor_what_was_asked_yesterday(
        self, shelf: list[Candidate], seed: int, most: int, places: set[int]
    ) -> None:
        asked = [(c.stop, c.question) for i, c in enumerate(shelf) if i in places]

        found = next_questions(shelf, TODAY, asked, np.random.default_rng(seed), most)

        numbers = [(c.stop, c.question) for c in found]
        free = [
            c
            for c in shelf
            if (c.stop, c.question) not in asked
            and (c.last_asked is None or c.last_asked <= TODAY - timedelta(days=2))
        ]
        assert len(set(numbers)) == len(numbers)
        assert set(found) <= set(free)
        assert len(found) == max(0, min(most - len(asked), len(free)))

    @given(shelf=shelves(), seed=st.integers(0, 99))
    def test_the_same_dice_give_the_same_questions(self, shelf: list[Candidate], seed: int) -> None:
        first, second = (next_questions(shelf, TODAY, (), np.random.default_rng(seed)) for _ in range(2))

        assert first == second

    @given(shelf=shelves(), seed=st.integers(0, 99))
    def test_touches_every_objective_before_any_comes_again(self, shelf: list[Candidate], seed: int) -> None:
        found = [about(c) for c in next_questions(shelf, TODAY, (), np.random.default_rng(seed))]

        free = {about(c) for c in shelf if c.last_asked is None or (TODAY - c.last_asked).days >= 2}
        assert set(found[: len(free)]) == free if len(free) <= 12 else True

    @pytest.mark.parametrize("most", [12, 24])
    def test_up_to_half_of_a_quiz_asks_the_weakest_what_was_wrong_there(self, most: int) -> None:
        """However long the list that is wanted, a quiz has twelve questions at most."""
        shelf = [c for n in range(10) for c in section(f"s{n}", wrong=n)]

        found = next_questions(shelf, TODAY, (), np.random.default_rng(4), most)

        assert [c.stop for c in found[:6]] == ["s9", "s8", "s7", "s6", "s5", "s4"]
        assert all(c.wrong_at_first for c in found[:6])
        assert {c.stop for c in found[6:10]} == {"s0", "s1", "s2", "s3"}
        assert [c.stop for c in found[10:12]] == ["s9", "s8"]

    @pytest.mark.parametrize("most", [12, 24])
    def test_the_other_half_asks_by_lot_whether_it_was_wrong_or_not(self, most: int) -> None:
        """Section 1 is none of the six weakest; its one wrong question of nine comes up in about 22 of 200 lists."""
        shelf = [c for n in range(10) for c in section(f"s{n}", wrong=n)]

        lists = [next_questions(shelf, TODAY, (), np.random.default_rng(n), most) for n in range(200)]

        first = [next(c for c in found if c.stop == "s1") for found in lists]
        # Four standard errors of 200 draws at one in nine are 18.
        assert sum(c.wrong_at_first for c in first) == pytest.approx(200 / 9, abs=18)

    def test_objectives_already_asked_about_wait_until_the_others_had_theirs(self) -> None:
        shelf = [*section("s1", 5), *section("s2", 3), *section("s3", 0)]

        found = next_questions(shelf, TODAY, [("s1", 1)], np.random.default_rng(4))

        assert [c.stop for c in found[:3]] == ["s2", "s3", "s1"]

    def test_equally_weak_objectives_take_turns_by_lot(self) -> None:
        shelf = [*section("s1", 2), *section("s2", 2)]

        first = [next_questions(shelf, TODAY, (), np.random.default_rng(n))[0].stop for n in range(200)]

        # Half of 200 by lot; four standard errors are 28.
        assert first.count("s1") == pytest.approx(100, abs=28)

    def test_a_section_where_nothing_was_wrong_is_asked_by_lot(self) -> None:
        shelf = section("s1", wrong=0, questions=4)

        first = [next_questions(shelf, TODAY, (), np.random.default_rng(n))[0].question for n in range(400)]

        # A quarter of 400 each by lot; four standard errors are 35.
        assert [first.count(q) for q in (1, 2, 3, 4)] == pytest.approx([100] * 4, abs=35)

    @pytest.mark.slow
    def test_finds_more_weak_objectives_than_questions_by_lot_or_one_of_each(self) -> None:
        """4,000 quizzes have some 6,400 weak objectives: the standard error of a difference is below .009."""
        lot, each, ours = (
            weak_caught(np.random.default_rng(3), 4000, choose)
            for choose in (by_lot, one_of_each, by_the_product)
        )

        assert ours > each + 0.03
        assert each > lot + 0.03


class TestHarderMix:
    """More than half of the questions were wrong at first marking."""

    @pytest.mark.parametrize(("wrong", "harder"), [(0, False), (3, False), (4, True), (6, True)])
    def test_wants_more_than_half(self, wrong: int, harder: bool) -> None:
        assert harder_mix(section("s1", wrong, questions=6)) is harder

    def test_no_question_is_no_harder_mix(self) -> None:
        assert harder_mix(()) is False
