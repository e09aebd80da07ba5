"""A goal changed by hand: what follows is planned around it, what it breaks is named, and nothing else moves."""

from dataclasses import replace
from time import process_time

import numpy as np
import pytest

from markstead.errors import InputError
from markstead.plan.answer import Answer, Outcome
from markstead.plan.breaches import Rule, breaches
from markstead.plan.edit import Edited, edit
from markstead.plan.moves import moves
from markstead.plan.problem import Fixed, Problem
from markstead.plan.solving import solve
from markstead.plan.speech import Speech
from tests.plan.homes import home, small
from tests.plan.slips import under_way
from tests.plan.test_breaches import two_learners
from tests.plan.trying_everything import least_cost


@pytest.fixture(scope="module")
def planned() -> tuple[Problem, Answer]:
    """Four learners with six courses each, twenty days."""
    problem = under_way(home(1, 0.88, 4, horizon=20), 1)
    return problem, solve(problem, starts=1)


def two_days_of_pages() -> tuple[Problem, Answer]:
    """Ann and Ben with workbooks of four pages, at most two a day (`tests.plan.test_breaches`)."""
    problem = two_learners()
    return problem, solve(problem)


def fewer_pages(planned: tuple[Problem, Answer]) -> tuple[int, Edited]:
    """The first course of the home, with one page less on its first day of pages."""
    problem, answer = planned
    stream = problem.streams[0]
    goal = next(g for g in answer.goals if (g.learner, g.course) == ("L1", stream.course) and g.pages > 1)
    assert goal.last is not None
    return goal.day, edit(problem, answer, "L1", stream.course, goal.day, last=goal.last - 1)


def test_the_goal_is_as_it_was_set(planned: tuple[Problem, Answer]) -> None:
    day, edited = fewer_pages(planned)
    before, after = next((d.before, d.after) for d in edited.days if d.day == day)
    assert after[0].pages == before[0].pages - 1


def test_a_goal_that_fits_breaks_no_rule(planned: tuple[Problem, Answer]) -> None:
    _, edited = fewer_pages(planned)
    assert edited.breaches == breaches(edited.problem, edited.answer) == ()


def test_no_other_course_and_no_day_before_it_moves(planned: tuple[Problem, Answer]) -> None:
    day, edited = fewer_pages(planned)
    assert edited.answer.places[1:] == planned[1].places[1:]
    assert edited.answer.places[0][:day] == planned[1].places[0][:day]


def test_the_difference_is_that_of_the_two_plans(planned: tuple[Problem, Answer]) -> None:
    _, edited = fewer_pages(planned)
    assert edited.points == edited.answer.cost.points - planned[1].cost.points


def test_setting_a_goal_as_it_stands_changes_nothing_and_costs_nothing(
    planned: tuple[Problem, Answer],
) -> None:
    problem, answer = planned
    goal = next(g for g in answer.goals if g.pages and not g.practice)
    edited = edit(problem, answer, goal.learner, goal.course, goal.day, last=goal.last)
    assert (edited.days, edited.targets) == ((), ())
    assert edited.points == 0


def test_a_day_without_a_goal_can_be_set(planned: tuple[Problem, Answer]) -> None:
    problem, answer = planned
    goal = next(g for g in answer.goals if g.pages)
    edited = edit(problem, answer, goal.learner, goal.course, goal.day)
    assert edited.breaches == ()
    assert next(d.after for d in edited.days if d.day == goal.day) == ()


def test_one_stream_edited_on_its_first_day_costs_the_least_of_all_plans_that_keep_the_goal() -> None:
    """Held against trying everything, limits wide so that the goal passes none."""
    tried = 0
    for seed in range(80):
        problem = small(np.random.default_rng(seed), streams=1)
        wide = [replace(f, hard=(9_000,) * problem.horizon) for f in problem.learners]
        problem = replace(problem, learners=tuple(wide))
        stream, answer = problem.streams[0], solve(problem)
        found = [m for m in moves(problem, stream, wide[0], 0, stream.done) if m.pages and not m.unit]
        if not found:
            continue
        move = found[len(found) // 2]
        edited = edit(
            problem,
            answer,
            stream.learner,
            stream.course,
            0,
            last=stream.at(stream.done)[1] + move.pages,
            practice=move.practice,
        )
        kept = replace(problem, streams=(replace(stream, fixed=(Fixed(0, move.to),)),))
        assert edited.answer.cost.total == least_cost(kept), seed
        tried += 1
    assert tried >= 20


class TestWhatItBreaks:
    def test_two_sittings_on_a_morning_for_one_are_named(self) -> None:
        problem = replace(two_learners(), watched=(0, 0, 0, 0, 1, 0, 1, 0))
        streams = tuple(replace(s, workbooks=s.workbooks[:1], done=5, line=6) for s in problem.streams)
        problem = replace(problem, streams=(streams[0], streams[2]))
        answer = solve(problem)
        first = next(goal for goal in answer.goals if goal.unit and goal.day == 4)
        other = "Ben" if first.learner == "Ann" else "Ann"
        edited = edit(problem, answer, other, "c" if other == "Ben" else "a", 4, unit=True)
        assert [breach.rule for breach in edited.breaches] == [Rule.MORNING_FULL]

    def test_minutes_over_the_hard_limit_are_named(self) -> None:
        problem, answer = two_days_of_pages()
        limits = tuple(replace(f, soft=(20,) * 8, hard=(40,) * 8) for f in problem.learners)
        problem = replace(problem, learners=limits)
        answer = solve(problem)
        edited = edit(problem, answer, "Ann", "a", 0, last=2)
        other = edit(edited.problem, edited.answer, "Ann", "b", 0, last=2)
        assert edited.breaches == ()
        assert [(breach.rule, breach.day) for breach in other.breaches] == [(Rule.OVER_HARD, 0)]

    @pytest.mark.parametrize(
        ("day", "asked", "rule"),
        [
            (0, {"last": 4}, Rule.TOO_MANY),
            (2, {"last": 4}, Rule.NOT_TAUGHT),
            (0, {"unit": True}, Rule.UNIT_EARLY),
            (7, {"last": 2}, Rule.AWAY),
        ],
    )
    def test_a_goal_that_cannot_be_is_shown_with_the_rule_that_it_breaks(
        self, day: int, asked: dict[str, int], rule: Rule
    ) -> None:
        problem, _ = two_days_of_pages()
        edited = edit(problem, _nothing_planned(problem), "Ann", "a", day, **asked)  # type: ignore[arg-type]
        assert rule in {breach.rule for breach in edited.breaches}
        assert edited.points is None
        assert edited.problem == problem

    def test_a_goal_set_by_hand_later_that_is_out_of_reach_now_is_named(self) -> None:
        problem, _ = two_days_of_pages()
        first = replace(problem.streams[0], fixed=(Fixed(1, 4),))
        problem = replace(problem, streams=(first, *problem.streams[1:]))
        edited = edit(problem, solve(problem), "Ann", "a", 0)
        assert [(breach.rule, breach.day) for breach in edited.breaches] == [(Rule.FIXED, 1)]

    def test_sentences_name_people_as_the_home_does(self) -> None:
        problem, _ = two_days_of_pages()
        speech = Speech({"Ann": "Asa"}, {"a": "Sums"}, {"a1": "Halves"})
        edited = edit(problem, _nothing_planned(problem), "Ann", "a", 0, unit=True, speech=speech)
        assert [breach.sentence for breach in edited.breaches] == [
            "Asa, Sums, 1 September 2026: the unit test of Halves comes after its practice test."
        ]


def _nothing_planned(problem: Problem) -> Answer:
    return Answer(Outcome.GOOD, places=tuple((0,) * problem.horizon for _ in problem.streams))


class TestWhatIsRefused:
    @pytest.mark.parametrize(
        ("learner", "course", "day", "last", "where"),
        [
            ("Ann", "z", 0, 1, "course of Ann"),
            ("Cy", "a", 0, 1, "course of Cy"),
            ("Ann", "a", 8, 1, "day"),
            ("Ann", "a", 0, 9, "last page"),
        ],
    )
    def test_what_is_not_there_is_named(
        self, learner: str, course: str, day: int, last: int, where: str
    ) -> None:
        problem, answer = two_days_of_pages()
        with pytest.raises(InputError) as caught:
            edit(problem, answer, learner, course, day, last=last)
        assert [wrong.where for wrong in caught.value.problems] == [where]

    def test_an_answer_without_a_plan_is_a_mistake_of_the_caller(self) -> None:
        with pytest.raises(ValueError, match="without a plan"):
            edit(two_learners(), Answer(Outcome.IMPOSSIBLE), "Ann", "a", 0, last=1)


def test_the_effect_is_there_within_a_tenth_of_a_second(planned: tuple[Problem, Answer]) -> None:
    """CPU seconds, the least of five, so that what else runs on the machine counts little."""
    taken = []
    for _ in range(5):
        begun = process_time()
        fewer_pages(planned)
        taken.append(process_time() - begun)
    assert min(taken) <= 0.1
