"""The term, the year and the educator's load under a plan in force, against counts made by hand from its goals."""

from datetime import UTC, date, datetime, time, timedelta

import pytest

from markstead.calendar import DayKind
from markstead.plan.wishes import TargetWish
from markstead.records import actions as a
from markstead.records import plan_asks, plan_sheets, plans, queries
from markstead.records.home import Home
from markstead.records.plan_sheets import MarkKind
from markstead.records.plans import Effort, KeptPlan
from markstead.records.setup import Papers, set_up
from tests.tools.homes import CALENDAR, CAST, RULES, WORKBOOKS, small_home

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 1, 12, 7, 30, tzinfo=UTC)
TODAY = NOW.date()


def planned(home: Home, now: datetime = NOW) -> KeptPlan:
    kept = plans.plan_now(home.id, by=home.person("ruth").id, now=now, clock=lambda: now, effort=Effort.ANEW)
    return plans.take(home.id, kept.number, now=now)


def begun(workbook: str = "sums-5-01", learner: str = "asa") -> str:
    """A copy in a learner's hands."""
    at = NOW - timedelta(days=3)
    done = a.order_copy("home", workbook=workbook, learner=learner, by="ruth", at=at)
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    a.receive_copy("home", copy=copy, by="ruth", at=at)
    a.issue_copy("home", copy=copy, learner=learner, by="ruth", at=at)
    a.hold_opening_talk("home", copy=copy, by="ruth", at=at)
    return copy


@pytest.fixture
def home() -> Home:
    return small_home()


@pytest.fixture
def plan(home: Home) -> KeptPlan:
    begun()
    return planned(home)


def now_home() -> Home:
    return queries.home_of("home")


def minutes_of(plan: KeptPlan, learner: str, day: date) -> float:
    """Minutes of a day, added up from the goals alone: 8 a page (no pace is known), 30 and 40 for the tests."""
    pages = practice = unit = 0
    for goal in plan.answer.goals if plan.answer else ():
        if goal.learner == learner and plan.problem.days[goal.day] == day:
            pages, practice, unit = pages + goal.pages, practice + goal.practice, unit + goal.unit
    return 8 * pages + 30 * practice + 40 * unit


def test_a_week_is_as_full_as_its_goals_add_up_to(home: Home, plan: KeptPlan) -> None:
    sheet = plan_sheets.term_sheet(now_home(), plan, TODAY)
    assert sheet is not None
    asa = home.person("asa").id
    soft = plan.problem.limits(asa).soft[0] / 2
    week = sheet.learners[0].weeks[0]
    shares = [minutes_of(plan, asa, date(2026, 1, 12 + n)) / soft for n in range(5)]
    assert max(shares) > 0
    assert week.monday == date(2026, 1, 12)
    # Floats: half-minutes are exact, only the division and the sum of five round.
    assert week.mean == pytest.approx(sum(shares) / 5, abs=1e-12)
    assert week.fullest == pytest.approx(max(shares), abs=1e-12)


def test_every_planned_test_and_new_workbook_is_marked_once(home: Home, plan: KeptPlan) -> None:
    sheet = plan_sheets.term_sheet(now_home(), plan, TODAY)
    assert sheet is not None
    assert plan.answer is not None
    marks = [m for term in sheet.learners for week in term.weeks for m in week.marks]

    def count(kind: MarkKind) -> int:
        return sum(m.kind is kind for m in marks)

    goals = plan.answer.goals
    assert count(MarkKind.UNIT) == sum(g.unit for g in goals) > 0
    assert count(MarkKind.PRACTICE) == sum(g.practice for g in goals)
    assert count(MarkKind.BEGUN) == sum(g.first == 1 for g in goals)


def test_the_progress_check_is_marked_on_the_day_whose_pages_pass_it(home: Home, plan: KeptPlan) -> None:
    sheet = plan_sheets.term_sheet(now_home(), plan, TODAY)
    assert sheet is not None
    asa = home.person("asa").id
    # The check of Counting Boats is page 9.
    passing = [
        plan.problem.days[g.day]
        for g in (plan.answer.goals if plan.answer else ())
        if (g.learner, g.workbook) == (asa, "sums-5-01") and (g.first or 0) <= 9 <= (g.last or 0)
    ]
    marked = [
        m.day
        for week in sheet.learners[0].weeks
        for m in week.marks
        if (m.learner, m.workbook, m.kind) == (asa, "sums-5-01", MarkKind.CHECK)
    ]
    assert marked == passing
    assert len(marked) == 1


def test_a_week_that_ends_with_a_unit_test_says_that_its_workbook_is_done(home: Home, plan: KeptPlan) -> None:
    sheet = plan_sheets.term_sheet(now_home(), plan, TODAY)
    assert sheet is not None
    sums = next(c for c in sheet.learners[0].courses if c.course == "sums-5")
    assert sums.places[-1] is not None
    assert (sums.places[-1].workbook, sums.places[-1].tests) == ("sums-5-02", 2)


def test_a_bank_holiday_is_told_as_one(db: None) -> None:
    """The early May bank holiday of England in 2026 is Monday 4 May (gov.uk/bank-holidays, from memory)."""
    long = CALENDAR.replace("last = 2026-03-27", "last = 2026-05-15")
    at = datetime(2025, 9, 1, 7, tzinfo=UTC)
    set_up("home", name="Tarn End", papers=Papers(RULES, WORKBOOKS, long), people=CAST, at=at)
    kept = planned(now_home(), datetime(2026, 4, 27, 7, 30, tzinfo=UTC))
    sheet = plan_sheets.term_sheet(now_home(), kept, date(2026, 4, 27))
    assert sheet is not None
    off = [(o.day, o.kind) for o in sheet.learners[0].weeks[1].off]
    assert off == [(date(2026, 5, 4), DayKind.PUBLIC_HOLIDAY)]
    assert sheet.learners[0].weeks[1].days == 4


def test_a_target_stands_with_its_planned_day_and_its_chance(home: Home) -> None:
    begun()
    asa = home.person("asa").id
    wish = TargetWish(asa, "sums-5", "sums-5-01", date(2026, 3, 6))
    plan_asks.set_wishes("home", lambda wishes: wishes.with_target(wish), at=NOW)
    kept = planned(now_home())
    (target,) = plan_sheets.target_sights(now_home(), kept, TODAY)
    assert kept.answer is not None
    unit = next(g for g in kept.answer.goals if g.unit and (g.learner, g.workbook) == (asa, "sums-5-01"))
    assert target.planned == kept.problem.days[unit.day]
    assert (target.due, target.late, target.done) == (date(2026, 3, 6), 0, False)
    assert target.chance is not None
    assert 0 <= target.chance.share <= 1


def test_a_term_that_the_plan_does_not_reach_has_no_sheet(home: Home, plan: KeptPlan) -> None:
    assert plan_sheets.term_sheet(now_home(), plan, date(2026, 3, 28)) is None


def test_a_term_sheet_asked_in_the_holidays_tells_the_next_term(home: Home) -> None:
    term = plan_sheets.term_of(home, date(2025, 12, 24))
    assert term is not None
    assert term.name == "spring"


def test_the_year_has_a_run_for_each_workbook_up_to_its_unit_test(home: Home, plan: KeptPlan) -> None:
    sheet = plan_sheets.year_sheet(now_home(), plan, TODAY)
    assert sheet is not None
    sums = next(c for c in sheet.learners[0].courses if c.course == "sums-5")
    assert [run.workbook for run in sums.runs] == ["sums-5-01", "sums-5-02"]
    first, second = sums.runs
    assert first.practice is not None
    assert first.unit is not None
    assert first.begins <= first.practice < first.unit < second.begins
    assert sums.short == 0


def test_no_morning_has_more_sittings_than_can_be_watched(home: Home, plan: KeptPlan) -> None:
    load = plan_sheets.load(now_home(), plan, TODAY, days=50)
    assert (
        sum(len(m.sittings) for m in load.mornings) == sum(g.unit for g in plan.answer.goals)
        if plan.answer
        else 0
    )
    assert all(len(m.sittings) + m.room == m.can_watch for m in load.mornings)


def test_every_marking_stop_that_the_goals_reach_is_expected_once(home: Home, plan: KeptPlan) -> None:
    load = plan_sheets.load(home, plan, TODAY, days=50)
    reached = sum(
        (g.first or 0) <= stop.last <= (g.last or 0)
        for g in (plan.answer.goals if plan.answer else ())
        for stop in home.programme.workbook(g.workbook).stops
    )
    assert sum(m.stops for m in load.mornings) == reached > 0


def test_a_stop_is_expected_in_the_hour_to_which_its_pages_lead(home: Home, plan: KeptPlan) -> None:
    """School begins at 7:30, sums come first, and a page takes 8 minutes while no pace is known."""
    asa = home.person("asa").id
    goal = next(
        g
        for g in (plan.answer.goals if plan.answer else ())
        if (g.learner, g.workbook) == (asa, "sums-5-01") and (g.first or 0) <= 4 <= (g.last or 0)
    )
    assert goal.first is not None
    hour = (7 * 60 + 30 + 8 * (4 - goal.first + 1)) // 60
    morning = plan_sheets.load(home, plan, TODAY, days=50).mornings[goal.day]
    assert hour in {expected.hour for expected in morning.hours}


def test_school_begins_when_the_first_acts_of_a_day_usually_are(home: Home, plan: KeptPlan) -> None:
    """Acts of the Friday before stand at 7:30; nothing is known of other days."""
    load = plan_sheets.load(now_home(), plan, TODAY)
    assert (load.begins, load.learnt) == (time(7, 30), 1)


def test_without_a_record_school_is_taken_to_begin_at_nine(home: Home) -> None:
    load = plan_sheets.load(home, planned(home), TODAY)
    assert (load.begins, load.learnt) == (time(9), 0)


def test_a_plan_fits_until_a_planned_day_is_over(home: Home, plan: KeptPlan) -> None:
    assert plan_sheets.slips(now_home(), plan, TODAY) == ()


def test_a_course_whose_pages_were_not_done_is_behind_by_the_planned_pages(
    home: Home, plan: KeptPlan
) -> None:
    asa = home.person("asa").id
    goal = plan.goals(TODAY)[asa, "sums-5"]
    found = plan_sheets.slips(now_home(), plan, TODAY + timedelta(days=1))
    mine = next(s for s in found if (s.learner, s.course) == (asa, "sums-5"))
    assert mine.steps == -(goal.pages + goal.practice)


def test_a_course_whose_planned_pages_were_done_is_not_told(home: Home) -> None:
    copy = begun()
    plan = planned(home)
    asa = home.person("asa").id
    goal = plan.goals(TODAY)[asa, "sums-5"]
    assert goal.last is not None
    assert not goal.practice
    a.work_pages(
        "home", copy=copy, first=1, last=goal.last, minutes=20, by="asa", at=NOW + timedelta(hours=2)
    )
    found = plan_sheets.slips(now_home(), plan, TODAY + timedelta(days=1))
    assert (asa, "sums-5") not in {(s.learner, s.course) for s in found}
