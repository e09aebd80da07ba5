"""Problems and plans as text read back equal."""

import json

import numpy as np
import pytest

from markstead.plan.answer import Outcome, empty
from markstead.plan.serial import read_answer, read_problem, write_answer, write_problem
from markstead.plan.solving import solve
from tests.plan.homes import small


def test_small_problems_and_their_plans_read_back_equal() -> None:
    for seed in range(150):
        problem = small(np.random.default_rng(seed), fixed=seed % 3 == 0)
        assert read_problem(write_problem(problem)) == problem, seed
        if seed % 3:
            answer = solve(problem, starts=1)
            assert read_answer(write_answer(answer), problem) == answer, seed


def test_no_plan_reads_back_with_its_reason() -> None:
    problem = small(np.random.default_rng(1))
    answer = empty(Outcome.IMPOSSIBLE, 3, "Noa, Sums: the goals fixed by hand leave no way.")
    assert read_answer(write_answer(answer), problem) == answer


def test_a_problem_of_another_version_is_refused() -> None:
    text = write_problem(small(np.random.default_rng(2)))
    other = json.dumps(json.loads(text) | {"version": 9})
    with pytest.raises(ValueError, match="version 9"):
        read_problem(other)


def test_a_plan_of_another_version_is_refused() -> None:
    problem = small(np.random.default_rng(2))
    other = json.dumps(json.loads(write_answer(solve(problem, starts=1))) | {"version": 9})
    with pytest.raises(ValueError, match="version 9"):
        read_answer(other, problem)
