"""Mending a plan that stands: what still holds stays, what is forced changes, and no rule is broken."""

from dataclasses import replace

import numpy as np
import pytest

from markstead.plan.again import mend
from markstead.plan.answer import Answer, Outcome
from markstead.plan.breaches import breaches
from markstead.plan.problem import Fixed, Problem
from markstead.plan.solving import solve
from tests.plan.homes import home, small
from tests.plan.slips import announce, sick, slip, under_way
from tests.plan.trying_everything import least_cost


@pytest.fixture(scope="module")
def told() -> tuple[Problem, Answer]:
    """Four learners' fifty days, the next three of them announced."""
    problem = under_way(home(2, 0.88, 4, horizon=50), 2)
    answer = solve(problem, starts=2)
    return announce(problem, answer), answer


def test_a_plan_to_which_nothing_happened_costs_no_more_after_mending(told: tuple[Problem, Answer]) -> None:
    problem, answer = told
    assert mend(problem, answer.places).cost.total <= answer.cost.total


def test_a_sick_learner_changes_the_days_of_that_learner_first_of_all(told: tuple[Problem, Answer]) -> None:
    problem, answer = told
    ill = sick(problem, "L1", 2)
    mended = mend(ill, answer.places)
    assert breaches(ill, mended) == ()
    announced = {
        stream.learner
        for stream, before, after in zip(ill.streams, answer.places, mended.places, strict=True)
        if before[:3] != after[:3]
    }
    assert announced == {"L1"}


@pytest.mark.parametrize("seed", range(4))
def test_mending_after_a_slip_breaks_no_rule(told: tuple[Problem, Answer], seed: int) -> None:
    problem, answer = told
    slipped = slip(problem, seed)
    assert breaches(slipped, mend(slipped, answer.places)) == ()


def test_the_same_mending_gives_the_same_plan(told: tuple[Problem, Answer]) -> None:
    problem, answer = told
    slipped = slip(problem, 5)
    assert mend(slipped, answer.places) == mend(slipped, answer.places)


def test_small_homes_mended_from_any_plan_keep_every_rule_and_cost_at_least_the_least() -> None:
    solved = 0
    for seed in range(120):
        rng = np.random.default_rng(seed)
        problem = small(rng)
        standing: list[tuple[int, ...] | None] = [
            tuple(np.minimum(np.cumsum(rng.integers(0, 4, problem.horizon)) + s.done, s.steps).tolist())
            if rng.random() < 0.7
            else None
            for s in problem.streams
        ]
        answer = mend(problem, standing, seed=seed)
        least = least_cost(problem)
        if answer.outcome is Outcome.GOOD:
            assert least is not None
            assert answer.cost.total >= least, seed
            assert breaches(problem, answer) == (), seed
            solved += 1
    assert solved >= 100, "the others have no plan at all"


def test_a_goal_set_by_hand_is_kept_and_planned_around(told: tuple[Problem, Answer]) -> None:
    problem, answer = told
    stream = problem.streams[0]
    place = answer.places[0][1]
    by_hand = replace(stream, fixed=(Fixed(1, place + 1),))
    changed = replace(problem, streams=(by_hand, *problem.streams[1:]))
    mended = mend(changed, answer.places)
    assert mended.places[0][1] == place + 1
    assert breaches(changed, mended) == ()
