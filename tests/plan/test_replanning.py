"""After a slip or with a learner sick: few announced goals move, and each that does is named with its reason."""

import re
from dataclasses import replace
from statistics import median

import pytest

from markstead.plan.breaches import breaches
from markstead.plan.moved import MovedGoal, Why, announced_count, moved_goals
from markstead.plan.problem import Problem
from markstead.plan.solving import replan, solve
from markstead.plan.speech import Speech
from tests.plan.homes import home
from tests.plan.slips import announce, sick, slip, under_way

CASES = [(learners, seed) for learners in (1, 4, 8) for seed in (1, 2, 3)]


def morning(learners: int, seed: int) -> Problem:
    """Twenty days with three of them announced."""
    problem = under_way(home(seed, 0.88, learners, horizon=20), seed)
    return announce(problem, solve(problem, starts=2))


def places_moved(problem: Problem, places: tuple[tuple[int, ...], ...]) -> set[tuple[str, str, int]]:
    """Counted from the places alone, beside `moved_goals`."""
    return {
        (s.learner, s.course, day)
        for s, path in zip(problem.streams, places, strict=True)
        for day, told in enumerate(s.announced)
        if path[day] != max(told, s.done)
    }


def keys(moved: tuple[MovedGoal, ...]) -> set[tuple[str, str, int]]:
    return {(goal.learner, goal.course, goal.day) for goal in moved}


@pytest.fixture(scope="module")
def mornings() -> dict[tuple[int, int], Problem]:
    return {case: morning(*case) for case in CASES}


def test_nothing_moves_where_nothing_happened(mornings: dict[tuple[int, int], Problem]) -> None:
    problem = mornings[4, 1]
    assert moved_goals(problem, replan(problem, starts=2)) == ()


@pytest.mark.slow
def test_after_a_slip_at_most_eight_percent_of_announced_goals_move_in_the_median(
    mornings: dict[tuple[int, int], Problem],
) -> None:
    shares = []
    for (_, seed), problem in mornings.items():
        slipped = slip(problem, seed)
        answer = replan(slipped, starts=2)
        assert breaches(slipped, answer) == ()
        moved = moved_goals(slipped, answer)
        assert keys(moved) == places_moved(slipped, answer.places)
        shares.append(len(moved) / announced_count(slipped))
    assert median(shares) <= 0.08


@pytest.mark.slow
def test_with_a_learner_sick_for_two_days_at_most_a_fifth_of_announced_goals_move_in_the_median(
    mornings: dict[tuple[int, int], Problem],
) -> None:
    """Homes of four and eight: where one learner is all there is, every goal of those days falls."""
    shares = []
    for (learners, _), problem in mornings.items():
        if learners == 1:
            continue
        away = sick(problem, "L1", 2)
        answer = replan(away, starts=2)
        assert breaches(away, answer) == ()
        moved = moved_goals(away, answer)
        assert keys(moved) == places_moved(away, answer.places)
        shares.append(len(moved) / announced_count(away))
    assert median(shares) <= 0.20


@pytest.mark.slow
def test_without_a_price_on_moving_many_more_goals_move(mornings: dict[tuple[int, int], Problem]) -> None:
    """So that the bars above are seen to come from the price: at least three times as many without it."""
    kept = freely = 0
    for case in ((4, 2), (8, 1), (8, 3)):
        slipped = slip(mornings[case], case[1])
        kept += len(moved_goals(slipped, replan(slipped, starts=1)))
        bare = replace(slipped, streams=tuple(replace(s, announced=()) for s in slipped.streams))
        freely += len(moved_goals(slipped, solve(bare, starts=1)))
    assert freely >= 3 * max(1, kept)


def test_a_sick_learners_goals_are_said_to_have_moved_for_being_away(
    mornings: dict[tuple[int, int], Problem],
) -> None:
    away = sick(mornings[4, 1], "L2", 3)
    moved = moved_goals(away, replan(away, starts=1))
    assert {goal.why for goal in moved if goal.learner == "L2"} == {Why.AWAY}
    assert any("L2 is away on" in goal.sentence for goal in moved)


def test_a_goal_that_can_no_longer_be_reached_is_said_to_be_out_of_reach(
    mornings: dict[tuple[int, int], Problem],
) -> None:
    problem = mornings[1, 1]
    first = problem.streams[0]
    behind = replace(first, done=0, announced=(first.done + 2, *first.announced[1:]))
    moved = moved_goals(
        changed := replace(problem, streams=(behind, *problem.streams[1:])), replan(changed, starts=1)
    )
    mine = [goal for goal in moved if goal.course == first.course and goal.day == 0]
    assert [goal.why for goal in mine] == [Why.OUT_OF_REACH]
    assert "cannot be reached by then from the beginning of c1-01" in mine[0].sentence


def test_a_moved_goal_is_told_by_the_names_of_the_home(mornings: dict[tuple[int, int], Problem]) -> None:
    away = sick(mornings[4, 1], "L1", 1)
    speech = Speech({"L1": "Noa"}, {"c1": "Sums"}, {"c1-01": "Halves"})
    first = moved_goals(away, replan(away, starts=1), speech)[0]
    assert re.fullmatch(
        r"Noa, Sums, 1 September 2026: page \d+ of Halves, not page \d+ as announced; Noa is away on 1 September 2026\.",
        first.sentence,
    )


def test_pages_done_early_move_no_goal(mornings: dict[tuple[int, int], Problem]) -> None:
    problem = mornings[1, 1]
    first = problem.streams[0]
    early = replace(first, done=first.announced[0])
    changed = replace(problem, streams=(early, *problem.streams[1:]))
    moved = moved_goals(changed, replan(changed, starts=1))
    assert not [goal for goal in moved if goal.course == first.course and goal.day == 0]
