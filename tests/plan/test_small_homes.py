"""The planner beside trying everything, and judged by rules that never saw it."""

import numpy as np
import pytest

from markstead.errors import InputError
from markstead.plan.answer import Outcome
from markstead.plan.breaches import breaches
from markstead.plan.solving import solve
from tests.plan.homes import home, small
from tests.plan.trying_everything import least_cost


@pytest.mark.parametrize("first", range(0, 240, 40))
def test_at_most_two_streams_and_eight_days_cost_what_trying_everything_finds(first: int) -> None:
    for seed in range(first, first + 40):
        problem = small(np.random.default_rng(seed))

        answer = solve(problem)

        assert breaches(problem, answer) == (), seed
        assert (answer.outcome, answer.cost.total) == (Outcome.BEST, least_cost(problem)), seed


def test_goals_fixed_by_hand_are_kept_or_said_to_contradict_each_other() -> None:
    kept = 0
    for seed in range(120):
        problem = small(np.random.default_rng(seed), fixed=True)
        try:
            answer = solve(problem)
        except InputError:  # they contradict each other
            continue
        if answer.outcome is not Outcome.IMPOSSIBLE:
            kept += 1
            assert breaches(problem, answer) == (), seed
        assert (answer.cost.total if answer.outcome is Outcome.BEST else None) == least_cost(problem), seed
    assert kept > 20


@pytest.mark.slow
@pytest.mark.parametrize("learners", [1, 4])
def test_a_whole_home_keeps_every_rule(learners: int) -> None:
    """Six courses a learner, fifty days, one morning in seven without the educator."""
    problem = home(1, 0.88, learners, 6, 50)

    answer = solve(problem, starts=1)

    assert answer.outcome is Outcome.GOOD
    assert breaches(problem, answer) == ()


def test_the_same_seed_gives_the_same_plan() -> None:
    problem = home(8, 0.88, 2, 4, 20)

    assert solve(problem, seed=3, starts=2) == solve(problem, seed=3, starts=2)
