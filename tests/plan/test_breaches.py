"""Planted faults: a plan that breaks no rule is edited by hand in every way that a rule forbids."""

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from markstead.plan.answer import Answer, Goal, Outcome
from markstead.plan.breaches import Rule, breaches
from markstead.plan.problem import Fixed, LearnerLimits, Problem, Stream, Target, WorkbookToDo
from markstead.plan.solving import solve
from markstead.plan.speech import Speech
from tests.plan.homes import school_days

DAYS = 8


def two_learners() -> Problem:
    """Ann has two courses and Ben one; workbooks of four pages; day 2 is not taught, nobody watches on day 3."""

    def book(code: str, ready: int = 0) -> WorkbookToDo:
        return WorkbookToDo(code, 4, (2, 4), 20, 20, 20, ready)

    def stream(learner: str, course: str) -> Stream:
        books = (book(f"{course}1"), book(f"{course}2", 6))
        taught = tuple(day != 2 for day in range(DAYS))
        return Stream(learner, course, books, taught, least=1, comfortable=2, most=2)

    def limits(name: str) -> LearnerLimits:
        here = tuple(day != 7 for day in range(DAYS))
        return LearnerLimits(name, (80,) * DAYS, (120,) * DAYS, here)

    watched = tuple(0 if day == 3 else 1 for day in range(DAYS))
    streams = (stream("Ann", "a"), stream("Ann", "b"), stream("Ben", "c"))
    return Problem(school_days(DAYS), (limits("Ann"), limits("Ben")), streams, watched)


def plan(*goals: Goal) -> Answer:
    return Answer(Outcome.GOOD, goals)


def a(day: int, first: int | None = None, last: int | None = None, **tests: bool) -> Goal:
    return Goal(day, "Ann", "a", "a1", first, last, **tests)


def done_a() -> tuple[Goal, ...]:
    """Course a as it may be: pages, practice test with the last of them, unit test on a later morning."""
    return (a(0, 1, 2), a(1, 3, 4, practice=True), a(4, unit=True))


def rules(*goals: Goal, problem: Problem | None = None) -> set[Rule]:
    return {breach.rule for breach in breaches(problem or two_learners(), plan(*goals))}


def test_a_plan_that_keeps_the_rules_is_let_through() -> None:
    assert rules(*done_a(), replace(a(6, 1, 2), workbook="a2")) == set()


def test_an_empty_plan_breaks_nothing() -> None:
    assert rules() == set()


FAULTS: dict[Rule, tuple[Goal, ...]] = {
    Rule.UNKNOWN: (replace(a(0, 1, 2), course="z"),),
    Rule.PAGES: (a(0, 1, 5),),
    Rule.ORDER: (a(0, 2, 3),),
    Rule.TOO_MANY: (a(0, 1, 3),),
    Rule.TWO_WORKBOOKS: (
        *done_a()[:2],
        a(6, unit=True),
        replace(a(6, 1, 2), workbook="a2"),
        a(6, practice=True),
    ),
    Rule.NOT_TAUGHT: (a(2, 1, 2),),
    Rule.AWAY: (a(7, 1, 2),),
    Rule.NO_COPY: (*done_a(), replace(a(5, 1, 2), workbook="a2")),
    Rule.PRACTICE: (a(0, 1, 2, practice=True),),
    Rule.UNIT_EARLY: (a(0, 1, 2), a(1, unit=True)),
    Rule.UNIT_SAME_DAY: (a(0, 1, 2), a(1, 3, 4, practice=True), a(1, unit=True)),
    Rule.NOT_WATCHED: (*done_a()[:2], a(3, unit=True)),
    Rule.UNIT_DAY_PAGES: (*done_a()[:2], a(6, unit=True), replace(a(6, 1, 2), workbook="a2")),
    Rule.OVER_HARD: (a(0, 1, 2), Goal(0, "Ann", "b", "b1", 1, 2), a(0, 3, 4, practice=True)),
}


@pytest.mark.parametrize("rule", FAULTS)
def test_a_planted_fault_is_found(rule: Rule) -> None:
    assert rule in rules(*FAULTS[rule])


def _sitting(learner: str, course: str, day: int) -> tuple[Goal, ...]:
    book = f"{course}1"
    return (
        Goal(0, learner, course, book, 1, 2),
        Goal(1, learner, course, book, 3, 4, practice=True),
        Goal(day, learner, course, book, unit=True),
    )


def test_two_sittings_where_one_can_be_watched_are_found_though_they_are_of_two_learners() -> None:
    goals = (*_sitting("Ann", "a", 4), *_sitting("Ben", "c", 4))
    assert rules(*goals) == {Rule.MORNING_FULL}


def test_two_unit_tests_of_one_learner_are_found_though_both_could_be_watched() -> None:
    problem = replace(two_learners(), watched=(2,) * DAYS)
    goals = (*_sitting("Ann", "a", 4), *_sitting("Ann", "b", 4))
    assert Rule.LEARNER_FULL in rules(*goals, problem=problem)
    assert Rule.MORNING_FULL not in rules(*goals, problem=problem)


def test_a_goal_fixed_by_hand_and_not_kept_is_found() -> None:
    problem = two_learners()
    first = replace(problem.streams[0], fixed=(Fixed(1, 4),))
    problem = replace(problem, streams=(first, *problem.streams[1:]))
    assert rules(a(0, 1, 2), problem=problem) == {Rule.FIXED}
    assert rules(a(0, 1, 2), a(1, 3, 4), problem=problem) == set()


def test_a_unit_test_on_the_day_after_todays_practice_test_waits_for_its_day() -> None:
    problem = two_learners()
    first = replace(problem.streams[0], done=5, unit_from=1)
    problem = replace(problem, streams=(first, *problem.streams[1:]))
    assert rules(a(0, unit=True), problem=problem) == {Rule.UNIT_SAME_DAY}
    assert rules(a(1, unit=True), problem=problem) == set()


def test_pages_of_the_next_workbook_on_the_day_of_a_unit_test_may_stand_where_the_programme_says_so() -> None:
    problem = replace(two_learners(), next_same_day=True)
    assert rules(*done_a()[:2], a(6, unit=True), replace(a(6, 1, 2), workbook="a2"), problem=problem) == set()


@pytest.mark.parametrize("rule", FAULTS)
def test_a_sentence_names_people_and_workbooks_as_the_home_does(rule: Rule) -> None:
    speech = Speech(
        {"Ann": "Anna"}, {"a": "Sums", "b": "Words"}, {"a1": "Halves", "a2": "Thirds", "b1": "Nouns"}
    )
    for breach in breaches(two_learners(), plan(*FAULTS[rule]), speech):
        assert not re.search(r"\b(a1|a2|b1|Ann\b|a,|2026-)", breach.sentence), breach.sentence


def test_every_rule_has_a_planted_fault() -> None:
    elsewhere = {Rule.MORNING_FULL, Rule.LEARNER_FULL, Rule.FIXED}
    assert set(FAULTS) | elsewhere == set(Rule)


def test_a_sentence_names_learner_day_and_numbers() -> None:
    (breach,) = breaches(two_learners(), plan(a(0, 1, 3)))
    assert breach.sentence == "Ann, a, 1 September 2026: 3 pages are more than 2."


MUTATIONS: dict[str, Callable[[Goal], Goal]] = {
    "a page skipped": lambda g: replace(g, first=(g.first or 0) + 1) if g.pages > 1 else g,
    "a practice test dropped": lambda g: replace(g, practice=False),
    "the other workbook": lambda g: replace(
        g, workbook=g.workbook[0] + ("2" if g.workbook[1] == "1" else "1")
    ),
    "the last day moved before the first": lambda g: replace(g, day=0) if g.unit else g,
}


@pytest.mark.parametrize("mutation", MUTATIONS)
def test_a_solved_plan_edited_by_hand_is_found_out(mutation: str) -> None:
    wanted = (Target("Ann", "a", "a1", 4),)
    problem = replace(two_learners(), targets=wanted)
    answer = solve(problem)
    assert breaches(problem, answer) == ()
    tested = [n for n, goal in enumerate(answer.goals) if MUTATIONS[mutation](goal) != goal]
    assert tested
    goals = list(answer.goals)
    goals[tested[0]] = MUTATIONS[mutation](goals[tested[0]])
    assert breaches(problem, replace(answer, goals=tuple(goals)))


def test_breaches_loads_no_solver() -> None:
    import subprocess
    import sys

    code = (
        "import sys, markstead.plan.breaches; "
        "sys.exit(any(name in sys.modules for name in ('highspy', 'ortools', 'scipy', 'markstead.plan.stream')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
