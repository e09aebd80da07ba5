"""Plans from asking to taking: what becomes of the one in force when another is stopped, killed, or cannot be."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from markstead.errors import InputError, UnknownError
from markstead.errors import Problem as Wrong
from markstead.ledger.facts import Presence
from markstead.plan.answer import Answer, Outcome, empty
from markstead.plan.breaches import breaches
from markstead.plan.problem import Problem
from markstead.records import actions, plan_asks, plan_words, plans, queries
from markstead.records.home import Home
from markstead.records.models import Person
from markstead.records.models import Plan as PlanRow
from markstead.records.plan_asks import (
    Ask,
    CourseDropped,
    CourseTaken,
    EducatorAway,
    LearnerAway,
    MinutesADay,
    MoreSittings,
    NoSchool,
    PagesADay,
    SchoolToo,
    TargetBy,
)
from markstead.records.plan_problem import ByHand
from markstead.records.plans import Effort, KeptPlan, State
from markstead.records.setup import set_costs, set_courses
from markstead.speech import say, spoken
from tests.tools.homes import small_home

MONDAY = datetime(2026, 1, 12, 9, tzinfo=UTC)
REAL = datetime(2026, 11, 25, 12, tzinfo=UTC)
TUESDAY, WEDNESDAY = date(2026, 1, 13), date(2026, 1, 14)
LAST = date(2026, 3, 27)
pytestmark = pytest.mark.django_db


def clock() -> datetime:
    return REAL


class Planned:
    """The small home with a plan in force, made on Monday morning."""

    def __init__(self) -> None:
        small_home()
        early = datetime(2026, 1, 9, 9, tzinfo=UTC)
        for learner, book in (("asa", "sums-5-01"), ("asa", "words-5-01"), ("noa", "sums-5-01")):
            actions.order_copy(
                "home", copy=f"{learner}-{book}", workbook=book, learner=learner, by="ruth", at=early
            )
            actions.receive_copy("home", copy=f"{learner}-{book}", by="ruth", at=early)
        plan_asks.write_down(
            "home", [TargetBy("asa", "sums-5", "sums-5-02", LAST)], today=MONDAY.date(), at=MONDAY
        )
        self.first = plans.take("home", self.worked(Effort.ANEW).number, now=MONDAY)

    @property
    def home(self) -> Home:
        return queries.home_of("home")

    @property
    def ruth(self) -> str:
        return self.home.person("ruth").id

    def learner(self, key: str) -> str:
        return self.home.person(key).id

    def ask(self, *asks: Ask, effort: Effort = Effort.MEND, now: datetime = MONDAY) -> int:
        return plans.ask("home", by=self.ruth, now=now, real_now=REAL, effort=effort, asks=asks)

    def worked(self, effort: Effort = Effort.MEND, *asks: Ask) -> KeptPlan:
        return plans.work_out("home", self.ask(*asks, effort=effort), clock)


@pytest.fixture(scope="module")
def once(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Planned]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield Planned()
        transaction.set_rollback(True)


@pytest.fixture
def planned(once: Planned, db: None) -> Planned:
    return once


def in_force() -> int | None:
    return queries.home_of("home").plan


def refused(planned: Planned, *asks: Ask, now: datetime = MONDAY) -> str:
    """What is said of a plan that cannot be asked for; nothing is kept of it, and the old one stays."""
    before = PlanRow.objects.count()
    with pytest.raises(InputError) as caught:
        planned.ask(*asks, now=now)
    assert (PlanRow.objects.count(), in_force()) == (before, planned.first.number)
    return str(caught.value)


# --- from asking to taking ------------------------------------------------------------------------------------------


def test_a_plan_is_asked_for_then_worked_out_then_taken(planned: Planned) -> None:
    number = planned.ask(effort=Effort.ANEW)
    assert plans.kept_plan("home", number).state is State.WORKING
    assert plans.work_out("home", number, clock).state is State.PROPOSED
    assert in_force() == planned.first.number

    plans.take("home", number, now=MONDAY)

    assert in_force() == number
    assert plans.kept_plan("home", planned.first.number).state is State.EARLIER


def test_a_plan_that_was_worked_out_keeps_every_rule(planned: Planned) -> None:
    kept = planned.worked(Effort.ANEW)
    assert kept.answer is not None
    assert kept.answer.outcome in (Outcome.GOOD, Outcome.BEST)
    assert breaches(kept.problem, kept.answer) == ()


def test_working_it_out_a_second_time_changes_nothing(planned: Planned) -> None:
    kept = planned.worked()
    assert plans.work_out("home", kept.number, clock) == kept


@pytest.mark.parametrize(
    "state", [State.WORKING, State.BROKEN, State.IN_FORCE, State.EARLIER], ids=lambda state: state.name
)
def test_only_a_plan_that_is_proposed_can_be_taken(planned: Planned, state: State) -> None:
    number = planned.worked().number
    PlanRow.objects.filter(number=number).update(state=state)
    with pytest.raises(InputError, match=f"found a plan that is {state};"):
        plans.take("home", number, now=MONDAY)
    assert in_force() == planned.first.number


def test_a_plan_put_aside_can_be_taken_after_all(planned: Planned) -> None:
    number = planned.worked().number
    plans.put_aside("home", number)
    assert plans.take("home", number, now=MONDAY).state is State.IN_FORCE


def test_a_plan_put_aside_before_it_was_worked_out_cannot_be_taken(planned: Planned) -> None:
    number = planned.ask()
    plans.put_aside("home", number)
    with pytest.raises(InputError, match="found a plan that is put aside"):
        plans.take("home", number, now=MONDAY)
    assert in_force() == planned.first.number


def test_what_is_worked_out_of_a_plan_put_aside_meanwhile_is_left(planned: Planned) -> None:
    number = planned.ask(effort=Effort.ANEW)

    def aside() -> datetime:
        plans.put_aside("home", number)
        return REAL

    assert plans.work_out("home", number, aside).state is State.ASIDE


def test_a_plan_whose_first_day_is_over_is_made_again(planned: Planned) -> None:
    number = planned.worked().number
    with pytest.raises(InputError, match="found goals from 12 January 2026 on, a day that is over"):
        plans.take("home", number, now=MONDAY + timedelta(days=1))


def test_a_plan_of_another_home_is_not_there(planned: Planned) -> None:
    with pytest.raises(UnknownError, match="plan: found 999"):
        plans.take("home", 999, now=MONDAY)


@pytest.mark.parametrize("what", ["a target", "a course", "another plan"])
def test_a_plan_made_before_the_home_changed_cannot_be_taken(planned: Planned, what: str) -> None:
    number, other = planned.worked().number, planned.worked().number
    match what:
        case "a target":
            ask = TargetBy("noa", "sums-5", "sums-5-01", LAST)
            plan_asks.write_down("home", [ask], today=MONDAY.date(), at=MONDAY)
        case "a course":
            set_courses(Person.objects.get(id=planned.learner("noa")), ("sums-5", "words-5"))
            set_costs("home", failed_test_costs=9)  # so that the home is read again
        case _:
            plans.take("home", other, now=MONDAY)
    with pytest.raises(
        InputError, match="found made before another plan was taken, or people, calendar or wishes"
    ):
        plans.take("home", number, now=MONDAY)


def test_what_a_plan_does_not_rest_on_may_change_before_it_is_taken(planned: Planned) -> None:
    number = planned.worked().number
    set_costs("home", failed_test_costs=9)
    assert plans.take("home", number, now=MONDAY).state is State.IN_FORCE


def test_the_plan_in_force_knows_what_it_was_taken_with_and_not_what_came_after(planned: Planned) -> None:
    assert plans.knows(planned.home, planned.first)
    plan_asks.write_down("home", [MinutesADay("asa", 100, 140)], today=MONDAY.date(), at=MONDAY)
    assert not plans.knows(planned.home, planned.first)
    kept = plans.take(
        "home", planned.worked(Effort.MEND, LearnerAway("asa", TUESDAY, TUESDAY)).number, now=MONDAY
    )
    assert plans.knows(planned.home, kept)


# --- stopped, killed, broken off --------------------------------------------------------------------------------------


def test_a_search_that_is_stopped_proposes_its_best_so_far(planned: Planned) -> None:
    number = planned.ask(effort=Effort.ANEW)
    plans.stop("home", number)
    kept = plans.work_out("home", number, clock)
    assert (kept.state, kept.says.stopped) == (State.PROPOSED, True)
    assert kept.answer is not None
    assert kept.answer.outcome is Outcome.OUT_OF_TIME
    assert breaches(kept.problem, kept.answer) == ()


def test_how_far_it_has_come_is_written_down_on_the_way(planned: Planned) -> None:
    number = planned.ask(effort=Effort.ANEW)
    seen = []

    def look() -> datetime:
        says = plans.kept_plan("home", number).says
        seen.append((says.doing, says.done, says.points is not None))
        return REAL

    plans.work_out("home", number, look)

    assert [done for _, done, _ in seen] == sorted(done for _, done, _ in seen)
    assert ("Searching", 1, True) in seen
    assert plans.kept_plan("home", number).says.done == plans.kept_plan("home", number).says.of


def test_a_mistake_of_our_own_leaves_the_old_plan_and_is_told(
    planned: Planned, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = planned.ask(effort=Effort.ANEW)
    monkeypatch.setattr("markstead.plan.solving.solve", None)
    with pytest.raises(TypeError):
        plans.work_out("home", number, clock)
    kept = plans.kept_plan("home", number)
    assert (kept.state, kept.says.broken) == (State.BROKEN, "It broke off by a mistake of Markstead's own.")
    assert in_force() == planned.first.number


@pytest.mark.parametrize(("seconds", "state"), [(119, State.WORKING), (121, State.BROKEN)])
def test_a_plan_of_which_nothing_is_heard_any_more_is_broken_off(
    planned: Planned, seconds: int, state: State
) -> None:
    number = planned.ask()
    plans.break_off_silent("home", REAL + timedelta(seconds=seconds))
    kept = plans.kept_plan("home", number)
    assert (kept.state, in_force()) == (state, planned.first.number)
    assert ("nothing was heard of it for 2 minutes" in kept.says.broken) is (state is State.BROKEN)


def test_why_nothing_came_of_a_plan_is_told_to_each_in_their_language(
    planned: Planned, monkeypatch: pytest.MonkeyPatch
) -> None:
    silent, stuck = planned.ask(), planned.ask(effort=Effort.ANEW)

    def solve(problem: Problem, **_: object) -> Answer:
        place = plans.speech_of(planned.home).place(problem.streams[0], 2)
        return empty(
            Outcome.IMPOSSIBLE, 0, say("{stream}: the goals fixed by hand leave no way.", stream=place)
        )

    monkeypatch.setattr("markstead.plan.solving.solve", solve)
    with spoken("es"):
        plans.work_out("home", stuck, clock)
        plans.break_off_silent("home", REAL + timedelta(seconds=121))
    wrong, quiet = (plans.kept_plan("home", number) for number in (stuck, silent))
    assert wrong.says.broken == "page 2 of Counting Boats: the goals fixed by hand leave no way."
    assert "nothing was heard of it for 2 minutes" in quiet.says.broken
    with spoken("es"):
        assert wrong.says.broken.startswith("la página 2 de Counting Boats: las metas")
        assert quiet.says.broken == say(
            "Working it out broke off: nothing was heard of it for {n} minutes.", n=2
        )


def test_what_is_wrong_with_a_plan_is_told_to_each_in_their_language(
    planned: Planned, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> Answer:
        do = say("Enter the next term.")
        raise InputError(
            [Wrong(say("the calendar"), say("none"), say("at least one to plan"), do) for _ in "12"]
        )

    monkeypatch.setattr("markstead.plan.solving.solve", refuse)
    kept = planned.worked(Effort.ANEW)
    for code in ("en", "es"):
        with spoken(code), pytest.raises(InputError) as caught:
            refuse()
        with spoken(code):
            assert kept.says.broken == str(caught.value)


def test_a_plan_that_was_kept_with_mere_words_is_told_in_these(planned: Planned) -> None:
    """As plans were kept before their sentences were remembered."""
    number = planned.worked(Effort.ANEW, TargetBy("asa", "sums-5", "sums-5-02", date(2026, 1, 15))).number
    row = PlanRow.objects.get(number=number)
    says = json.loads(row.says)
    says["at_risk"][0]["reason"] = "Asa is late {because} 100 %."
    row.says = json.dumps(says)
    row.save()
    with spoken("es"):
        assert plans.kept_plan("home", number).says.at_risk[0].reason == "Asa is late {because} 100 %."


def test_whoever_gives_signs_of_work_is_not_broken_off(planned: Planned) -> None:
    number = planned.ask()
    plans.beat("home", number, REAL + timedelta(seconds=100))
    plans.break_off_silent("home", REAL + timedelta(seconds=200))
    assert plans.kept_plan("home", number).state is State.WORKING


def test_what_comes_after_a_plan_was_broken_off_is_left(planned: Planned) -> None:
    """A machine that slept wakes up again, and its process goes on."""
    number = planned.ask(effort=Effort.ANEW)

    def asleep() -> datetime:
        plans.break_off_silent("home", REAL + timedelta(hours=1))
        return REAL

    assert plans.work_out("home", number, asleep).state is State.BROKEN


# --- a process that is killed, over a home in a file ----------------------------------------------------------------

SET_UP = """
import django
django.setup()
from datetime import UTC, datetime
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.records import test_plans
print(test_plans.Planned().first.number)
"""
LOOK = """
import django
django.setup()
from datetime import UTC, datetime, timedelta
from markstead.records import plans, queries
for seconds in (0, 150):
    plans.break_off_silent("home", datetime.now(UTC) + timedelta(seconds=seconds))
    print(plans.kept_plan("home", 2).state, queries.home_of("home").plan, sep="|")
"""
WORK = """
import os, signal, django
django.setup()
from datetime import UTC, datetime
from markstead.records import plans
from tests.records.test_plans import MONDAY
from markstead.records import queries
by = queries.home_of("home").person("ruth").id
number = plans.ask("home", by=by, now=MONDAY, real_now=datetime.now(UTC))
def killed():
    if plans.kept_plan("home", number).says.done >= 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return datetime.now(UTC)
plans.work_out("home", number, killed)
"""


def _run(code: str, folder: Path) -> subprocess.CompletedProcess[str]:
    kept = {key: value for key, value in os.environ.items() if key != "DATABASE_URL"}
    env = kept | {"DJANGO_SETTINGS_MODULE": "markstead.web.settings", "MARKSTEAD_HOME": str(folder)}
    return subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=False)


def test_a_process_killed_in_the_middle_of_the_search_leaves_the_old_plan_in_force(tmp_path: Path) -> None:
    assert _run(SET_UP, tmp_path).stdout == "1\n"

    died = _run(WORK, tmp_path)

    assert died.returncode == -signal.SIGKILL, died.stderr
    assert _run(LOOK, tmp_path).stdout == "being worked out|1\nbroken off|1\n"


# --- what cannot be, in a sentence with its numbers -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (
            TargetBy("asa", "sums-5", "sums-5-01", date(2026, 1, 9)),
            "target of Asa: found 9 January 2026; allowed is a day from 12 January 2026 to 27 March 2026",
        ),
        (
            TargetBy("asa", "sums-5", "sums-5-01", date(2026, 3, 28)),
            "found 28 March 2026; allowed is a day from",
        ),
        (
            TargetBy("asa", "sums-5", "words-5-01", LAST),
            "workbook words-5-01; allowed is one of sums-5-01, sums",
        ),
        (
            TargetBy("noa", "words-5", "words-5-01", LAST),
            "course of Noa: found words-5; allowed is one of sums-5",
        ),
        (
            TargetBy("asa", "sums-5", "sums-5-01", None),
            "to strike: found sums-5-01; allowed is a workbook of the",
        ),
        (MinutesADay("asa", 200, 100), "minutes a day: found 200 and 100"),
        (MinutesADay("asa", 5, 100), "two numbers from 10 to 900"),
        (
            MinutesADay("asa", 20, 39),
            "minutes a day of Asa: found 39 at the most; allowed is 40 or more, which a unit",
        ),
        (PagesADay("asa", "sums-5", 6, 4), "pages a day: found 6, 4"),
        (PagesADay("asa", "sums-5", 0, 0), "pages a day: found 0, 0"),
        (PagesADay("asa", "sums-5", 2, 4, 7), "weight of the course: found 7; allowed is 1, 2 or 3"),
        (LearnerAway("asa", WEDNESDAY, TUESDAY), "14 January 2026 to 13 January 2026"),
        (LearnerAway("asa", date(2026, 1, 5), date(2026, 1, 6)), "not before today, 12 January 2026"),
        (LearnerAway("zoe", TUESDAY, TUESDAY), "person: found 'zoe'; allowed is one of"),
        (LearnerAway("ruth", TUESDAY, TUESDAY), "ruth, who is no learner"),
        (NoSchool(TUESDAY, date(2027, 3, 1)), "413 days; allowed is a year at most"),
        (
            NoSchool(MONDAY.date(), LAST),
            "no school day after 12 January 2026; allowed is at least one to plan",
        ),
        (EducatorAway(WEDNESDAY, TUESDAY), "a last day that is not before the first"),
        (SchoolToo(()), "school days too: found none"),
        (
            SchoolToo((TUESDAY,)),
            "found 13 January 2026; allowed is a day from 12 January 2026 on that has no school",
        ),
        (SchoolToo((date(2026, 1, 10),)), "found 10 January 2026; allowed is a day from 12 January 2026 on"),
        (CourseTaken("asa", "sums-5"), "allowed is one that Asa does not take yet"),
        (CourseTaken("asa", "rocks-5"), "rocks-5"),
        (CourseDropped("noa", "words-5"), "course of Noa: found words-5; allowed is one of sums-5"),
        (MoreSittings(0), "sittings more a morning: found 0; allowed is a number from 1 to 9"),
    ],
)
def test_a_change_that_cannot_be_is_said_with_its_numbers(planned: Planned, ask: Ask, said: str) -> None:
    assert said in refused(planned, ask)


def test_without_a_school_day_to_come_the_next_term_is_asked_for(planned: Planned) -> None:
    later = datetime(2026, 4, 10, 9, tzinfo=UTC)
    assert (
        "the calendar: found no school day after 10 April 2026; allowed is at least one to plan. Enter the next term."
        in refused(planned, now=later)
    )


def test_without_a_workbook_to_do_there_is_nothing_to_plan(planned: Planned) -> None:
    asks = [CourseDropped("asa", "sums-5"), CourseDropped("asa", "words-5"), CourseDropped("noa", "sums-5")]
    assert "courses: found none with a workbook still to do; allowed is at least one" in refused(
        planned, *asks
    )


@pytest.mark.parametrize(
    ("goals", "said"),
    [
        (
            [("sums-5-01", TUESDAY, 4), ("sums-5-01", WEDNESDAY, 2)],
            "Asa, Sums 5, goal set by hand for 14 January 2026: found page 2 of Counting Boats; allowed is from page 4 of",
        ),
        (
            [("sums-5-02", TUESDAY, 9)],
            "found page 9 of Counting Gulls; allowed is from the beginning of Counting Boats to",
        ),
    ],
)
def test_goals_by_hand_that_contradict_are_said_in_pages(
    planned: Planned, goals: list[tuple[str, date, int]], said: str
) -> None:
    by_hand = tuple(ByHand(planned.learner("asa"), "sums-5", book, day, steps) for book, day, steps in goals)
    with pytest.raises(InputError) as caught:
        plans.ask("home", by=planned.ruth, now=MONDAY, real_now=REAL, by_hand=by_hand)
    assert said in str(caught.value)
    assert in_force() == planned.first.number


def test_paces_that_are_not_known_are_told_with_what_was_taken_instead(planned: Planned) -> None:
    kept = planned.worked()
    assert plan_words.guess_words(planned.home, kept) == (
        "How fast Asa goes in Sums 5 and Words 5 is not known yet: 8 minutes a page are taken.",
        "How fast Noa goes in Sums 5 is not known yet: 8 minutes a page are taken.",
    )


def test_a_target_out_of_reach_is_told_with_its_numbers_and_a_proof(planned: Planned) -> None:
    ask = TargetBy("asa", "sums-5", "sums-5-02", date(2026, 1, 15))
    kept = planned.worked(Effort.ANEW, ask)
    (risk,) = kept.says.at_risk
    assert risk.reason.startswith("Asa, Sums 5: Counting Gulls is to be done by 15 January 2026.")
    assert risk.met is not None
    assert risk.met > risk.due
    assert "It is proved that no" in plan_words.gap_words(kept)


def test_the_long_search_pays_no_more_and_tells_the_least(planned: Planned) -> None:
    ask = TargetBy("asa", "sums-5", "sums-5-02", date(2026, 1, 15))
    short, long = planned.worked(Effort.ANEW, ask), planned.worked(Effort.LONG, ask)
    assert short.answer is not None
    assert long.answer is not None
    assert breaches(long.problem, long.answer) == ()
    assert long.answer.cost.total <= short.answer.cost.total
    assert long.says.gap is not None
    assert long.says.at_risk
    assert long.says.done == long.says.of


# --- changes that can be -----------------------------------------------------------------------------------------------


def test_more_sittings_can_be_tried_and_not_taken(planned: Planned) -> None:
    kept = planned.worked(Effort.MEND, MoreSittings(1))
    assert max(kept.problem.watched) == max(planned.first.problem.watched) + 1
    with pytest.raises(InputError, match="sittings more a morning: found 1 to be kept"):
        plans.take("home", kept.number, now=MONDAY)
    assert in_force() == planned.first.number


@pytest.mark.parametrize(
    "ask",
    [
        LearnerAway("asa", TUESDAY, WEDNESDAY, "fever"),
        NoSchool(TUESDAY, TUESDAY, "the boiler"),
        EducatorAway(TUESDAY, WEDNESDAY),
        SchoolToo((date(2026, 1, 17),)),
        TargetBy("noa", "sums-5", "sums-5-01", LAST),
        TargetBy("asa", "sums-5", "sums-5-02", None),
        MinutesADay("asa", 90, 120),
        PagesADay("asa", "sums-5", 3, 5, 2),
        CourseTaken("noa", "words-5"),
        CourseDropped("asa", "words-5"),
    ],
    ids=lambda ask: str(type(ask).__name__),
)
def test_each_change_is_tried_on_values_and_written_down_when_its_plan_is_taken(
    planned: Planned, ask: Ask
) -> None:
    before = planned.home
    asks: list[Ask] = [ask]
    wanted = plan_asks.changed(before, asks, MONDAY.date())
    kept = planned.worked(Effort.MEND, ask)
    assert kept.answer is not None
    assert breaches(kept.problem, kept.answer) == ()
    assert kept.asks == (ask,)
    assert planned.home == before

    plans.take("home", kept.number, now=MONDAY)

    after = planned.home
    assert after.calendar == wanted.calendar
    assert after.people == wanted.people
    assert set(after.wishes.targets) == set(wanted.wishes.targets)
    assert set(after.wishes.learners) == set(wanted.wishes.learners)
    assert set(after.wishes.courses) == set(wanted.wishes.courses)
    assert after != before


def test_of_who_is_absent_by_the_attendance_taken_today_nothing_is_asked_today(planned: Planned) -> None:
    def goals_today() -> set[str]:
        kept = planned.worked(Effort.MEND)
        assert kept.answer is not None
        assert breaches(kept.problem, kept.answer) == ()
        return {goal.learner for goal in kept.answer.goals if goal.day == 0 and goal.pages}

    asa, noa = planned.learner("asa"), planned.learner("noa")
    assert goals_today() == {asa, noa}
    taken = actions.take_attendance(
        "home", learner="asa", day=MONDAY.date(), presence=Presence.ABSENT, by="ruth", at=MONDAY
    )
    assert goals_today() == {noa}
    actions.undo("home", act=taken.act, by="ruth", at=MONDAY)
    assert goals_today() == {asa, noa}


def test_a_course_given_up_takes_its_targets_and_pages_with_it(planned: Planned) -> None:
    asks: list[Ask] = [PagesADay("asa", "sums-5", 3, 5), CourseDropped("asa", "sums-5")]
    wishes = plan_asks.changed(planned.home, asks, MONDAY.date()).wishes
    assert (wishes.courses, wishes.targets) == ((), ())


def test_a_wish_that_is_sent_twice_is_begun_once(planned: Planned) -> None:
    ask = LearnerAway("asa", TUESDAY, TUESDAY)
    number = planned.ask(ask, effort=Effort.ANEW)
    assert plans.at_work("home", Effort.ANEW, [ask]) == number
    assert plans.at_work("home", Effort.MEND, [ask]) is None
    assert plans.at_work("home", Effort.ANEW) is None
    plans.put_aside("home", number)
    assert plans.at_work("home", Effort.ANEW, [ask]) is None
