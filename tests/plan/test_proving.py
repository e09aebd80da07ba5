"""The bound that branches, beside trying everything and beside the bound that does not."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.plan.answer import Answer, Outcome
from markstead.plan.bound import lower_bound
from markstead.plan.problem import Problem
from markstead.plan.prove import branched_bound, cost_step
from markstead.plan.solving import only_targets, solve
from tests.plan.homes import home, small
from tests.plan.trying_everything import least_cost


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 1 << 32))
def test_with_branches_enough_it_meets_the_least_of_all_plans(seed: int) -> None:
    """`tests.plan.trying_everything` is the other side; costs are whole half points, so that they are equal."""
    problem = small(np.random.default_rng(seed))
    bound = branched_bound(problem, solve(problem), branches=200)
    least = least_cost(problem)
    assert least is not None
    assert bound.closed
    assert bound.points == least / 2


def test_from_a_poor_plan_it_still_never_passes_the_least() -> None:
    """Nothing is done all year; the proof must not lean on the plan that it begins with."""
    tried = 0
    for seed in range(60):
        problem = small(np.random.default_rng(seed))
        if any(stream.workbooks[0].waits for stream in problem.streams):
            continue  # doing nothing is no plan there: days of waiting pass by themselves
        idle = _stay(problem)
        least = least_cost(problem)
        assert least is not None
        assert branched_bound(problem, idle, branches=200).points <= least / 2
        tried += 1
    assert tried >= 20


def _stay(problem: Problem) -> Answer:
    from markstead.plan.answer import write_out

    places = [(stream.done,) * problem.horizon for stream in problem.streams]
    return write_out(problem, places, Outcome.GOOD, 0)


def test_branching_raises_the_bound_of_a_home_whose_limits_bind() -> None:
    problem = only_targets(home(4, 0.95, 1, horizon=50))
    answer = solve(problem)
    assert branched_bound(problem, answer, branches=40).points > lower_bound(problem).points


def _proved(problem: Problem, starts: int) -> bool:
    answer = solve(problem, starts=starts)
    bound = branched_bound(problem, answer, branches=20, within=0.01)
    assert answer.cost.points >= bound.points
    return answer.cost.points <= 1.01 * bound.points


@pytest.mark.slow
def test_the_targets_of_nine_homes_in_ten_are_proved_to_one_percent() -> None:
    """Four homes at each load, fifty days; with targets alone priced, beside what no plan can go below."""
    proved = []
    for load, seed in product((0.80, 0.88, 0.95), (1, 2, 3, 4)):
        problem = only_targets(home(seed, load, 1, horizon=50))
        proved.append(any(_proved(problem, starts) for starts in (4, 16)))
    assert sum(proved) >= 0.9 * len(proved)


def test_a_proof_stops_where_it_is_near_enough() -> None:
    problem = only_targets(home(4, 0.88, 1, horizon=50))
    answer = solve(problem)
    wide = branched_bound(problem, answer, branches=40, within=1.0)
    assert answer.cost.points <= 2 * wide.points
    assert wide.rounds == 1


def test_the_steps_of_costs_are_those_of_targets_alone_or_half_points() -> None:
    problem = home(1, 0.88, 1, courses=1, horizon=20)
    weighed = replace(problem, streams=(replace(problem.streams[0], weight=3),))
    assert cost_step(weighed) == 1
    assert cost_step(only_targets(weighed)) == 2 * 3 * 40


def test_an_answer_without_a_plan_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="without a plan"):
        branched_bound(home(1, 0.88, 1, courses=1, horizon=20), Answer(Outcome.IMPOSSIBLE), branches=1)
