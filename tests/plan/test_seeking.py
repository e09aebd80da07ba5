"""The long search for what targets must cost, beside trying everything."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import markstead.plan.seek as seek_module
from markstead.plan.answer import Answer, Outcome, write_out
from markstead.plan.breaches import breaches
from markstead.plan.counted import Counted
from markstead.plan.parts import alone, beginning
from markstead.plan.problem import LearnerLimits, Problem, Stream, Target, WorkbookToDo
from markstead.plan.prove import cost_step
from markstead.plan.respond import Progress
from markstead.plan.seek import seek
from markstead.plan.solving import only_targets, solve
from markstead.plan.stream import Tables
from tests.plan.homes import home, school_days, small
from tests.plan.trying_everything import least_cost


def _planned_for_later_targets(problem: Problem) -> Answer:
    """A plan that is later than it must be."""
    easy = tuple(replace(t, day=min(t.day + 2, problem.horizon - 1)) for t in problem.targets)
    begun = solve(replace(problem, targets=easy), starts=1)
    return write_out(problem, begun.places, Outcome.GOOD, 0)


def _counted(problem: Problem) -> tuple[list[tuple[int, ...]] | None, int]:
    """The program of all learners, that knows no plan to begin with."""
    tables = [Tables(problem, stream) for stream in problem.streams]
    return Counted(problem, tables, cost_step(problem), {}).solve(2_000)


@settings(max_examples=120, deadline=None)
@given(seed=st.integers(0, 1 << 32), streams=st.sampled_from((2, 2, 3)), fixed=st.booleans())
def test_plan_and_bound_are_the_least_of_all_plans(seed: int, streams: int, fixed: bool) -> None:
    """`tests.plan.trying_everything` is the other side; without a plan to begin with, and by the whole search."""
    problem = only_targets(small(np.random.default_rng(seed), streams=streams, days=7, fixed=fixed))
    least = least_cost(problem, targets_alone=True)
    found, bound = _counted(problem)
    if least is None:
        assert found is None
        return
    assert found is not None
    plan = write_out(problem, found, Outcome.GOOD, 0)
    assert (plan.cost.total, bound, breaches(problem, plan)) == (least, least, ())
    begun = solve(problem, starts=1)
    if begun.places:
        sought = seek(problem, begun)
        assert breaches(problem, sought.answer) == ()
        assert (sought.answer.cost.total, 2 * sought.least) == (least, least)
        assert sought.answer.outcome is Outcome.BEST


def test_first_weeks_searched_apart_and_what_is_due_later_bound_all_days(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Days so few are parted only where that is asked for; the search begins from plans that were made for later targets."""
    monkeypatch.setattr(seek_module, "MARGINS", (0, 1, 2))
    monkeypatch.setattr(seek_module, "BACK", 1)
    monkeypatch.setattr(seek_module, "SHARE", 0.9)
    parted: list[tuple[int, int]] = []

    def heard(problem: Problem, end: int) -> Problem:
        parted.append((end, sum(target.day >= end for target in problem.targets)))
        return beginning(problem, end)

    monkeypatch.setattr(seek_module, "beginning", heard)
    for seed in range(80):
        problem = only_targets(small(np.random.default_rng(seed), streams=2, days=7, exact=True))
        least = least_cost(problem, targets_alone=True)
        sought = seek(problem, _planned_for_later_targets(problem))
        assert breaches(problem, sought.answer) == ()
        assert (sought.answer.cost.total, 2 * sought.least) == (least, least)
    assert sum(later > 0 for _, later in parted) >= 10


@pytest.mark.parametrize("seed", [4, 8])
def test_a_plan_is_found_where_the_solver_hands_back_the_beginning(seed: int) -> None:
    """HiGHS 1.16 tells the right cost beside the plan that it was given, where making the program smaller solves it already."""
    problem = only_targets(small(np.random.default_rng(seed), streams=3, days=7, exact=True))
    begun = _planned_for_later_targets(problem)
    sought = seek(problem, begun)
    assert breaches(problem, sought.answer) == ()
    assert begun.cost.points > sought.answer.cost.points == sought.least


def test_with_hardly_a_branching_the_bound_is_never_above_the_least() -> None:
    """Begun from a plan in which nothing is done, and whatever the prices of comfort are."""
    tried = 0
    for seed in range(80):
        problem = small(np.random.default_rng(seed), streams=3, days=6)
        if any(stream.workbooks[0].waits for stream in problem.streams):
            continue  # doing nothing is no plan there: days of waiting pass by themselves
        idle = write_out(problem, [(s.done,) * problem.horizon for s in problem.streams], Outcome.GOOD, 0)
        least = least_cost(problem, targets_alone=True)
        assert least is not None
        sought = seek(problem, idle, nodes=1)
        assert 2 * sought.least <= least <= sought.answer.cost.total
        assert breaches(problem, sought.answer) == ()
        tried += 1
    assert tried >= 30


@pytest.mark.parametrize(("seed", "streams"), [(1165, 3), (1737, 2)])
def test_programs_that_the_solver_simplifies_wrongly(seed: int, streams: int) -> None:
    """HiGHS 1.16, left to make them smaller first, calls a dearer plan the best of one and finds no plan of the other."""
    problem = only_targets(small(np.random.default_rng(seed), streams=streams, days=7))
    found, bound = _counted(problem)
    assert found is not None
    least = least_cost(problem, targets_alone=True)
    assert (write_out(problem, found, Outcome.GOOD, 0).cost.total, bound) == (least, least)


def _one_morning(sittings: int) -> Problem:
    """Two learners who each have all done but the unit test, due on the one morning that is watched by then."""
    book = WorkbookToDo("c-1", 4, (4,), 10, 20, 30)
    names = ("L1", "L2")
    return only_targets(
        Problem(
            school_days(3),
            tuple(LearnerLimits(name, (200,) * 3, (300,) * 3, (True,) * 3) for name in names),
            tuple(Stream(name, "c", (book,), (True,) * 3, done=5) for name in names),
            (sittings, 0, 2),
            tuple(Target(name, "c", "c-1", 0) for name in names),
        )
    )


def test_learners_who_want_the_same_morning_are_solved_together() -> None:
    """Each alone is in time; one of the two must wait for the next watched morning, two days late."""
    problem = _one_morning(1)
    assert [seek(alone(problem, name)).least for name in ("L1", "L2")] == [0, 0]
    sought = seek(problem)
    assert (sought.answer.cost.points, sought.least) == (280, 280)
    assert seek(_one_morning(2)).answer.cost.points == 0


def test_a_home_of_two_learners_is_proved_and_found_again_the_same() -> None:
    problem = only_targets(home(1, 0.95, 2, courses=4, horizon=30))
    begun = solve(problem, starts=1)
    sought = seek(problem, begun, nodes=200)
    assert sought.answer.outcome is Outcome.BEST
    assert begun.cost.points > sought.answer.cost.points == sought.least
    assert seek(problem, begun, nodes=200) == sought


def test_it_can_be_ended_and_keeps_what_it_has() -> None:
    problem = only_targets(home(1, 0.95, 2, courses=4, horizon=30))
    begun = solve(problem, starts=1)
    heard: list[Progress] = []

    def end(progress: Progress) -> bool:
        heard.append(progress)
        return False

    sought = seek(problem, begun, on_progress=end)
    assert len(heard) == 1
    assert sought.answer.outcome is Outcome.OUT_OF_TIME
    assert sought.least < sought.answer.cost.points <= begun.cost.points
    assert breaches(problem, sought.answer) == ()


def test_a_plan_of_all_prices_is_a_beginning_too() -> None:
    problem = home(2, 0.88, 1, courses=3, horizon=25)
    sought = seek(problem, solve(problem, starts=1))
    assert sought.answer.cost.total == sought.answer.cost.targets == 2 * sought.least


def test_an_answer_without_a_plan_is_a_mistake_of_the_caller() -> None:
    problem = replace(_one_morning(1), targets=())
    with pytest.raises(ValueError, match="without a plan"):
        seek(problem, Answer(Outcome.IMPOSSIBLE))
