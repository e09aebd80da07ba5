"""Reasons, ways out, what-if and bounds: each on a home small enough that the true reason is known beforehand."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.errors import InputError
from markstead.plan.answer import Outcome
from markstead.plan.bound import lower_bound, proved
from markstead.plan.breaches import breaches
from markstead.plan.explain import Binding, at_risk, reasons, ways_out
from markstead.plan.problem import Fixed, LearnerLimits, Problem, Stream, Target, WorkbookToDo
from markstead.plan.solving import heavier_targets, only_targets, solve
from markstead.plan.speech import Speech
from markstead.plan.whatif import (
    CourseDropped,
    CourseStarted,
    DaysOff,
    EducatorAway,
    ExtraDays,
    Minutes,
    Pages,
    Sittings,
    TargetDropped,
    TargetSet,
    apply,
    compare,
)
from tests.plan.homes import home, school_days, small
from tests.plan.trying_everything import least_cost

DAYS = 12


def book(code: str, pages: int = 8, ready: int = 0) -> WorkbookToDo:
    """Ten minutes a page, tests of ten minutes."""
    return WorkbookToDo(code, pages, (pages // 2, pages), 20, 20, 20, ready)


def house(
    *, target: int = 5, watched: int = 2, minutes: int = 120, most: int = 2, ready: int = 0, courses: int = 1
) -> Problem:
    """Ann with one or more courses of one workbook; the target is set for the first."""
    streams = tuple(
        Stream("Ann", f"c{n}", (book(f"c{n}-1", ready=ready),), (True,) * DAYS, 0, most, most, weight=1 + n)
        for n in range(courses)
    )
    limits = LearnerLimits("Ann", (2 * minutes,) * DAYS, (2 * minutes,) * DAYS, (True,) * DAYS)
    targets = tuple(Target("Ann", f"c{n}", f"c{n}-1", target) for n in range(courses))
    return Problem(school_days(DAYS), (limits,), streams, (watched,) * DAYS, targets)


class TestReasons:
    def test_nothing_is_at_risk_where_every_target_is_met(self) -> None:
        assert reasons(house(), solve(house())) == ()

    def test_a_copy_that_comes_late_binds(self) -> None:
        # Eight pages at two a day from day 3 on: pages until day 6, where day 5 was wanted.
        problem = house(ready=3)
        (reason,) = reasons(problem, solve(problem))
        assert reason.binding is Binding.COPY
        assert reason.sentence.endswith("Its copy is not in the house before 4 September 2026.")

    def test_too_few_pages_a_day_bind(self) -> None:
        # Eight pages at one a day and a unit test on the ninth day: day 8, where day 5 was wanted.
        problem = house(most=1)
        (reason,) = reasons(problem, solve(problem))
        assert reason.binding is Binding.PACE
        assert reason.sentence == (
            "Ann, c0: c0-1 is to be done by 8 September 2026. 8 pages and 2 tests are left, with at most 1 page a day, "
            "and can be done on 11 September 2026 at the soonest, even without other courses."
        )

    def test_full_mornings_bind(self) -> None:
        # Pages and practice test by day 3; the only mornings watched are the last.
        problem = replace(house(courses=2), watched=(0,) * 5 + (1,) + (0,) * 5 + (1,))
        (reason,) = reasons(problem, solve(problem))
        assert reason.binding is Binding.MORNINGS
        assert "No sitting is free in time: 6 of 6 mornings" in reason.sentence

    def test_the_minutes_of_other_courses_bind(self) -> None:
        # Twenty minutes are two pages a day; three courses of eight pages and two tests do not fit into six days.
        problem = house(courses=3, minutes=35, watched=3)
        problem = replace(problem, sittings_a_learner=3)
        found = reasons(problem, solve(problem))
        assert found
        assert {reason.binding for reason in found} <= {Binding.MINUTES, Binding.WEIGHED}
        assert any(reason.binding is Binding.MINUTES for reason in found)


class TestWaysOut:
    def test_every_way_out_is_a_plan_that_meets_the_target_and_breaks_no_rule(self) -> None:
        problem = house(most=1)
        answer = solve(problem)
        ways = ways_out(problem, answer)
        assert 1 <= len(ways) <= 3
        for way in ways:
            changed = apply(problem, way.change)
            assert breaches(changed, way.answer) == ()
            assert not at_risk(way.answer)

    def test_a_page_more_a_day_is_named_where_it_helps(self) -> None:
        problem = house(most=1)
        sentences = [way.sentence for way in ways_out(problem, solve(problem))]
        assert "Ann, c0: 1 page more a day, 2 at most." in sentences

    def test_a_page_more_a_day_is_not_named_where_the_copy_is_missing(self) -> None:
        problem = house(ready=5)
        assert not [way for way in ways_out(problem, solve(problem)) if isinstance(way.change, Pages)]

    def test_a_second_sitting_is_named_where_mornings_bind(self) -> None:
        problem = replace(house(courses=2), watched=(0,) * 5 + (1,) + (0,) * 5 + (1,), sittings_a_learner=2)
        assert any(isinstance(way.change, Sittings) for way in ways_out(problem, solve(problem)))

    def test_saturdays_are_named_where_days_are_short(self) -> None:
        # Eight pages in five days and a test on day 6; two a day want days 0 to 3 and a sitting on day 4.
        problem = house(target=3)
        ways = [way for way in ways_out(problem, solve(problem)) if isinstance(way.change, ExtraDays)]
        # School days begin on a Tuesday: one Saturday lies before day 4, none before day 3.
        assert problem.days[0].weekday() == 1
        assert ways == []
        later = replace(house(target=4, most=2, ready=1))
        ways = [way for way in ways_out(later, solve(later)) if isinstance(way.change, ExtraDays)]
        assert [way.sentence for way in ways] == ["School on Saturday 5 September 2026."]

    @pytest.mark.parametrize(("pages", "saturdays"), [(11, ["5"]), (12, ["5", "12"])])
    def test_no_more_saturdays_are_named_than_are_needed(self, pages: int, saturdays: list[str]) -> None:
        # A page a day, the practice test with the last, and the sitting on day 10: ten days of pages, and two Saturdays.
        stream = replace(house(most=1).streams[0], workbooks=(book("c0-1", pages),))
        problem = replace(house(target=10, most=1), streams=(stream,))
        (way,) = [w for w in ways_out(problem, solve(problem)) if isinstance(w.change, ExtraDays)]
        assert isinstance(way.change, ExtraDays)
        assert [str(day.day) for day in way.change.days] == saturdays

    def test_every_sentence_names_people_and_workbooks_as_the_home_does(self) -> None:
        problem = house(most=1)
        speech = Speech({"Ann": "Anna Maria"}, {"c0": "Sums"}, {"c0-1": "Halves and quarters"})
        answer = solve(problem)
        sentences = [reason.sentence for reason in reasons(problem, answer, speech)]
        sentences += [way.sentence for way in ways_out(problem, answer, speech=speech)]
        assert (
            "Anna Maria, Sums: Halves and quarters by 11 September 2026 instead of 8 September 2026."
            in sentences
        )
        assert not [said for said in sentences if "c0" in said or "2026-" in said]

    def test_another_workbook_later_is_named_where_it_makes_room(self) -> None:
        # Two workbooks are due by the only sitting in time; the next is on day 11.
        problem = replace(house(courses=2), watched=(0,) * 5 + (1,) + (0,) * 5 + (1,))
        sentences = [way.sentence for way in ways_out(problem, solve(problem))]
        assert "Ann, c1: c1-1 by 16 September 2026 instead of 8 September 2026." in sentences

    def test_goals_fixed_by_hand_are_kept_on_every_way_out(self) -> None:
        problem = house(most=1)
        problem = replace(problem, streams=(replace(problem.streams[0], fixed=(Fixed(2, 2),)),))
        ways = ways_out(problem, solve(problem))
        assert ways
        assert all(way.answer.places[0][2] == 2 for way in ways if not isinstance(way.change, ExtraDays))


class TestWhatIf:
    def test_days_off_move_the_target_by_as_many_days(self) -> None:
        before = solve(house())
        difference = compare(house(), [DaysOff(0, 1)])
        # Day 4 and day 5, the target itself, cost the same.
        day = before.targets[0].day
        assert day in (4, 5)
        assert [(c.before.day, c.after.day) for c in difference.targets if c.before and c.after] == [
            (day, day + 2)
        ] or (difference.after.targets[0].late == 1)

    def test_nobody_works_on_a_day_off(self) -> None:
        changed = apply(house(), DaysOff(2, 4, "Ann"))
        assert not [goal for goal in solve(changed).goals if 2 <= goal.day <= 4]

    def test_nobody_sits_a_test_while_the_educator_is_away(self) -> None:
        changed = apply(house(), EducatorAway(0, 8))
        assert [goal.day for goal in solve(changed).goals if goal.unit] == [9]

    def test_a_course_dropped_takes_its_targets_along(self) -> None:
        changed = apply(house(courses=2), CourseDropped("Ann", "c0"))
        assert [stream.course for stream in changed.streams] == ["c1"]
        assert [target.course for target in changed.targets] == ["c1"]

    def test_a_course_started_is_planned(self) -> None:
        new = Stream("Ann", "new", (book("new-1"),), (True,) * DAYS, 1, 2, 2, line=10)
        difference = compare(house(), [CourseStarted(new)])
        assert any(goal.course == "new" for goal in difference.after.goals)

    def test_more_minutes_never_make_a_small_plan_dearer(self) -> None:
        problem = house(courses=3, minutes=35, watched=3)
        assert compare(problem, [Minutes("Ann", 20)]).points <= 0

    def test_a_target_set_anew_replaces_the_old_one(self) -> None:
        changed = apply(house(), TargetSet(Target("Ann", "c0", "c0-1", 9)))
        assert [target.day for target in changed.targets] == [9]

    def test_a_target_struck_is_gone(self) -> None:
        assert apply(house(), TargetDropped(house().targets[0])).targets == ()

    def test_extra_days_keep_every_date_where_it_was(self) -> None:
        problem = house(ready=6)
        saturday = date(2026, 9, 5)
        changed = apply(problem, ExtraDays((saturday,)))
        assert changed.horizon == DAYS + 1
        assert changed.days[changed.targets[0].day] == problem.days[problem.targets[0].day]
        ready = changed.streams[0].workbooks[0].ready_from
        assert changed.days[ready] == problem.days[6]
        assert changed.watched[changed.days.index(saturday)] == 0

    @pytest.mark.parametrize(
        "change",
        [
            DaysOff(5, 99),
            DaysOff(0, 1, "nobody"),
            EducatorAway(4, 2),
            Minutes("nobody", 2),
            Pages("Ann", "none", 1),
            CourseDropped("Ann", "none"),
            TargetDropped(Target("Ann", "c0", "none", 3)),
            ExtraDays((date(2020, 1, 4),)),
        ],
    )
    def test_a_change_of_what_is_not_there_is_refused(self, change) -> None:  # type: ignore[no-untyped-def]
        with pytest.raises(InputError):
            apply(house(), change)


class TestBounds:
    """A bound must lie at or below what trying everything finds."""

    @settings(max_examples=100, deadline=None)
    @given(seed=st.integers(0, 1 << 32))
    def test_no_plan_goes_below_the_bound(self, seed: int) -> None:
        problem = small(np.random.default_rng(seed))
        least = least_cost(problem)
        assert least is not None
        assert lower_bound(problem).points <= least / 2

    @settings(max_examples=60, deadline=None)
    @given(seed=st.integers(0, 1 << 32))
    def test_one_stream_alone_meets_its_bound_where_no_minute_is_over(self, seed: int) -> None:
        problem = small(np.random.default_rng(seed), streams=1)
        roomy = [
            replace(found, soft=(9_000,) * problem.horizon, hard=(9_000,) * problem.horizon)
            for found in problem.learners
        ]
        problem = replace(problem, learners=tuple(roomy))
        least = least_cost(problem)
        assert least is not None
        # One path is the whole plan, so that the master has nothing to mix; prices are thousandths of half points.
        assert lower_bound(problem).points == pytest.approx(least / 2, abs=0.01)

    def test_a_plan_is_said_to_be_within_so_many_percent_of_its_bound(self) -> None:
        problem = home(2, 0.88, 1, horizon=50)
        answer = proved(problem, solve(problem))
        bound = lower_bound(problem).points
        assert answer.within_percent == pytest.approx(100 * (answer.cost.points / bound - 1))
        assert answer.outcome is Outcome.GOOD

    def test_a_plan_that_meets_its_bound_is_the_best(self) -> None:
        problem = only_targets(home(1, 0.88, 1, horizon=50))
        assert proved(problem, solve(problem)).outcome is Outcome.BEST

    def test_heavier_targets_change_nothing_but_their_price(self) -> None:
        problem = house()
        heavy = heavier_targets(problem)
        assert heavy.points.missed == 10 * problem.points.missed
        assert replace(heavy, points=problem.points) == problem


def test_the_outcome_of_a_small_plan_says_that_it_is_the_best() -> None:
    assert solve(house()).outcome is Outcome.BEST
