"""Plans against everything tried, against HiGHS on a model written a second time, and against themselves."""

import subprocess
import sys
from dataclasses import replace
from hashlib import sha256
from itertools import product
from statistics import median

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from markstead.errors import InputError
from markstead.plan.answer import Answer, Outcome, cost_of, write_out
from markstead.plan.breaches import breaches
from markstead.plan.problem import Fixed, Problem, Target
from markstead.plan.respond import Household, Progress, order, search
from markstead.plan.solving import replan, solve
from markstead.plan.stream import NEVER, Tables, minute_prices
from tests.plan.homes import home, small
from tests.plan.paper import paper_plan
from tests.plan.trying_everything import least_cost
from tests.plan.whole_model import proved_least

seeds = st.integers(0, 1 << 32)


def tiny(seed: int, *, fixed: bool = False) -> Problem:
    """At most two streams and eight days."""
    return small(np.random.default_rng(seed), fixed=fixed)


class TestAgainstEverythingTried:
    """The other side is `tests.plan.trying_everything`, which has rules, costs and search of its own."""

    @settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(seed=seeds)
    def test_a_small_plan_costs_what_the_best_of_all_plans_costs(self, seed: int) -> None:
        problem = tiny(seed)
        answer = solve(problem)
        assert answer.cost.total == least_cost(problem)
        assert answer.outcome is Outcome.BEST
        assert breaches(problem, answer) == ()

    @settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(seed=seeds)
    def test_with_goals_fixed_by_hand_it_is_the_best_of_those_that_keep_them_or_impossible(
        self, seed: int
    ) -> None:
        problem = tiny(seed, fixed=True)
        best = least_cost(problem)
        try:
            answer = solve(problem)
        except InputError:
            assert best is None
            return
        if best is None:
            assert answer.outcome is Outcome.IMPOSSIBLE
            assert answer.reason
        else:
            assert answer.cost.total == best
            assert breaches(problem, answer) == ()

    @settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(seed=seeds)
    def test_one_stream_alone_is_solved_exactly_by_its_tables(self, seed: int) -> None:
        problem = small(np.random.default_rng(seed), streams=1)
        tables = Tables(problem, problem.streams[0])
        closed = np.where(np.array(problem.watched) > 0, 0, NEVER)
        path = tables.best(minute_prices(tables, np.zeros(problem.horizon, dtype=np.int64)), closed)
        assert path.value == least_cost(problem)
        assert path.value == cost_of(problem, [path.places]).total


class TestAgainstTheWholeModel:
    """The other side is one mixed-integer program of all days, solved by SciPy's HiGHS to a gap of nothing."""

    @pytest.mark.slow
    def test_fifty_households_of_middle_size_cost_at_most_two_percent_over_the_proved_least(self) -> None:
        ratios = []
        for seed in range(50):
            problem = small(np.random.default_rng([7, seed]), streams=5, days=12, exact=True)
            proved = proved_least(problem)
            assert proved is not None
            answer = solve(problem)
            # A thousandth of a half point is far above the rounding of HiGHS and far below one half point.
            assert answer.cost.total >= proved - 1e-3
            assert breaches(problem, answer) == ()
            ratios.append(answer.cost.total / proved)
        assert max(ratios) <= 1.02


@pytest.fixture(scope="module")
def years() -> list[tuple[Problem, Answer]]:
    """School years of four learners, three seeds at every load; `benchmarks.planning` has those of one and eight."""
    homes = [home(seed, load, 4) for seed, load in product((1, 2, 3), (0.80, 0.88, 0.95))]
    return [(problem, solve(problem, starts=1)) for problem in homes]


class TestTheRules:
    @pytest.mark.slow
    def test_ten_thousand_random_plans_break_no_rule(self) -> None:
        rng = np.random.default_rng(2026)
        for _ in range(10_000):
            problem = small(rng, streams=3, days=6)
            found = Household(problem)
            cost, paths = search(found, 0)
            plan = _said(problem, [path.places for path in paths])
            assert breaches(problem, plan) == ()
            assert plan.cost.total == cost

    @pytest.mark.slow
    def test_nine_school_years_of_four_learners_break_no_rule(
        self, years: list[tuple[Problem, Answer]]
    ) -> None:
        for problem, answer in years:
            assert breaches(problem, answer) == ()

    @pytest.mark.slow
    @pytest.mark.parametrize(("learners", "load"), [(1, 0.80), (1, 0.88), (1, 0.95), (8, 0.95)])
    def test_a_school_year_of_one_or_eight_learners_breaks_no_rule(self, learners: int, load: float) -> None:
        problem = home(1, load, learners)
        assert breaches(problem, solve(problem, starts=1)) == ()

    @pytest.mark.slow
    def test_a_school_year_costs_at_most_a_fifth_of_the_same_year_on_paper_in_the_median(
        self, years: list[tuple[Problem, Answer]]
    ) -> None:
        """Though paper passes limits that a plan keeps (`tests.plan.paper`)."""
        shares = [answer.cost.total / cost_of(p, paper_plan(p)).total for p, answer in years]
        assert median(shares) <= 1 / 5

    def test_no_rule_is_broken_where_many_streams_want_few_mornings(self) -> None:
        problem = home(1, 0.88, 4, horizon=50)
        narrow = replace(problem, watched=tuple(min(1, n) for n in problem.watched))
        assert breaches(narrow, solve(narrow, starts=1)) == ()


def _said(problem: Problem, places: list[tuple[int, ...]]) -> Answer:
    return write_out(problem, places, Outcome.GOOD, 0)


class TestSameSeedSamePlan:
    def test_the_same_seed_gives_the_same_bytes_in_another_process(self) -> None:
        code = (
            "from tests.plan.homes import home; from markstead.plan.solving import solve; "
            "print(repr(solve(home(1, .88, 2, horizon=30), seed=5, starts=2)))"
        )
        outs = [
            subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, text=True).stdout
            for _ in range(2)
        ]
        assert outs[0] == outs[1]

    def test_the_same_seed_gives_the_plan_that_another_machine_found(self) -> None:
        """Written down on Linux, x86-64, Python 3.11, NumPy 2.4. This home is too large for a window, so no solver took part.

        Whoever changes the method on purpose writes the new digest here.
        """
        problem = home(1, 0.88, 2, horizon=30)
        plan = solve(problem, seed=5, starts=2)
        assert sha256(repr(problem.streams).encode()).hexdigest()[:16] == "c282d9cf4d9a864e"
        assert sha256(repr(plan.places).encode()).hexdigest()[:16] == "cecc68b2fd22569c"

    def test_the_order_of_turns_follows_from_seed_and_sweep_alone(self) -> None:
        problem = home(1, 0.88, 2, horizon=20)
        assert order(problem, 3, 9) == order(problem, 3, 9)
        assert order(problem, 3, 9) != order(problem, 4, 9)

    def test_the_heaviest_courses_come_first_in_the_first_sweeps(self) -> None:
        problem = home(1, 0.88, 2, horizon=20)
        weights = [problem.streams[n].weight for n in order(problem, 3, 0)]
        assert weights == sorted(weights, reverse=True)


class TestProgress:
    def test_a_listener_is_told_every_start_with_a_cost_that_never_rises(self) -> None:
        told: list[Progress] = []
        solve(
            home(1, 0.88, 2, horizon=40), starts=3, on_progress=lambda progress: told.append(progress) or True
        )
        assert [progress.start for progress in told] == [1, 2, 3]
        assert [p.cost for p in told] == sorted((p.cost for p in told), reverse=True)

    def test_a_listener_who_says_no_gets_a_whole_plan_that_says_it_ran_out_of_time(self) -> None:
        problem = home(1, 0.88, 2, horizon=40)
        answer = solve(problem, starts=4, on_progress=lambda _: False)
        assert answer.outcome is Outcome.OUT_OF_TIME
        assert breaches(problem, answer) == ()
        assert answer.goals

    def test_polishing_never_makes_a_plan_dearer(self) -> None:
        problem = home(1, 0.88, 1, courses=3, horizon=30)
        plain, polished = solve(problem, starts=1), solve(problem, starts=1, polishing=1)
        assert polished.cost.total <= plain.cost.total
        assert breaches(problem, polished) == ()


class TestWhatIsRefused:
    """Every refusal names where, what was found, and what is allowed."""

    @pytest.mark.parametrize(
        ("change", "where", "found"),
        [
            (lambda p: replace(p, days=(), learners=(), streams=(), watched=()), "calendar", "0 school days"),
            (lambda p: _first(p, workbooks=()), "workbooks", "none"),
            (lambda p: _first(p, least=9, comfortable=4, most=8), "pages a day", "least 9"),
            (lambda p: _first(p, done=100_000), "steps done", "100000"),
            (lambda p: _first(p, weight=0), "weight", "0"),
            (lambda p: _first(p, learner="nobody"), "learner", "nobody"),
            (lambda p: _first(p, line=-1), "line", "-1"),
            (lambda p: _first(p, fixed=(Fixed(3, 1_000),)), "goal set by hand", "the unit test of c1-02"),
            (lambda p: _first(p, fixed=(Fixed(3, 5), Fixed(3, 6))), "goal fixed", "5 and 6"),
            (lambda p: _first(p, fixed=(Fixed(3, 5), Fixed(4, 2))), "goal set by hand", "page 2"),
            (lambda p: _first(p, fixed=(Fixed(99, 5),)), "goal fixed", "99"),
            (lambda p: replace(p, targets=(_target(p, -3),)), "target", "3 school days before"),
            (lambda p: replace(p, targets=(_target(p, 500),)), "target", "day 500"),
            (lambda p: replace(p, targets=(_target(p, 5), _target(p, 6))), "target", "two targets"),
            (lambda p: _limits(p, soft=120, hard=100), "minutes", "60"),
            (lambda p: replace(p, sittings_a_learner=0), "unit tests", "0"),
        ],
    )
    def test_a_contradiction_is_refused_with_its_numbers(self, change, where, found) -> None:  # type: ignore[no-untyped-def]
        with pytest.raises(InputError) as caught:
            solve(change(home(1, 0.88, 1, courses=2, horizon=20)))
        problems = caught.value.problems
        assert any(where in problem.where and found in problem.found for problem in problems), problems

    def test_every_contradiction_is_named_at_once(self) -> None:
        problem = home(1, 0.88, 1, courses=2, horizon=20)
        wrong = replace(_first(problem, weight=0), targets=(_target(problem, -1),))
        with pytest.raises(InputError) as caught:
            solve(wrong)
        assert len(caught.value.problems) == 2

    def test_a_replan_without_announced_goals_is_a_mistake_of_the_caller(self) -> None:
        with pytest.raises(ValueError, match="announced"):
            replan(home(1, 0.88, 1, courses=2, horizon=20))


def _first(problem: Problem, **change: object) -> Problem:
    return replace(problem, streams=(replace(problem.streams[0], **change), *problem.streams[1:]))  # type: ignore[arg-type]


def _target(problem: Problem, day: int) -> Target:
    stream = problem.streams[0]
    return Target(stream.learner, stream.course, stream.workbooks[0].code, day)


def _limits(problem: Problem, *, soft: int, hard: int) -> Problem:
    days = problem.horizon
    return replace(
        problem, learners=(replace(problem.learners[0], soft=(soft,) * days, hard=(hard,) * days),)
    )
