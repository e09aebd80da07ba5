"""The year's forecast of a home: what is ahead of each learner, told as the forecast itself tells it."""

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from markstead.forecast.year import CourseAhead, draw_years
from markstead.measure.assumptions import DEFAULTS
from markstead.measure.pace import prior_mean
from markstead.measure.readiness import begin_book, start
from markstead.plan.wishes import CourseWish, TargetWish
from markstead.records import actions as a
from markstead.records import ahead, estimates, outlooks, queries
from markstead.records.home import Home
from markstead.records.outlooks import NeedLine, YearReading
from markstead.records.plan_asks import set_wishes
from markstead.records.setup import Newcomer, Papers, set_up
from markstead.rules.ruling import Role
from markstead.rules.standing import CopyStatus, Sitting, Standing
from tests.records.house import BOOK, MOVED_IN, PAPERS, House

pytestmark = pytest.mark.django_db
NEXT = "maths-5-02"
LAST_DAY = date(2026, 3, 27)
"""The end of the term in Ruth's calendar, a Friday."""


@pytest.fixture(autouse=True)
def forgetful() -> None:
    """Nothing is remembered from the test before."""
    ahead._AHEAD.clear()


def home_now(house: House) -> Home:
    return queries.home_of(house.id)


def today(house: House) -> date:
    return house.clock.date()


def read(house: House, key: str = "asa", **given: object) -> YearReading:
    home = home_now(house)
    return outlooks.year_of(home, home.person(key), today(house), **given)  # type: ignore[arg-type]


def course_ahead(house: House, course: str = "maths-5", key: str = "asa") -> CourseAhead:
    home = home_now(house)
    year = outlooks.year_ahead(home, home.person(key), today(house))
    assert year is not None
    return next(c for c in year.courses if c.course == course)


def need(house: House, workbook: str = NEXT, key: str = "asa") -> NeedLine:
    return next(line for line in read(house, key).needs if line.workbook == workbook)


def asks_for(house: House, *targets: TargetWish) -> None:
    def with_targets(wishes):  # type: ignore[no-untyped-def]
        return replace(wishes, targets=targets)

    set_wishes(house.id, with_targets, at=house.clock)


def target(house: House, workbook: str = BOOK, by: date = date(2026, 2, 20)) -> TargetWish:
    return TargetWish(house.person("asa"), "maths-5", workbook, by)


_TEACHER = (Newcomer("ruth", "Ruth", Role.EDUCATOR),)


def _learner(key: str, *courses: str) -> Newcomer:
    return Newcomer(key, key.capitalize(), Role.LEARNER, 5, courses or ("maths-5",))


def house_with(papers: Papers, people: tuple[Newcomer, ...]) -> House:
    """A house that goes by other files."""
    house = House(people=people)
    house.home = set_up("home", name="Tarn End", papers=papers, people=people, at=MOVED_IN)
    return house


# --- agreement with the forecast itself ---------------------------------------------------------------------------


def test_a_chance_is_the_share_of_the_years_that_the_forecast_draws(house: House) -> None:
    house.bring("section cleared")
    asks_for(house, target(house))
    (line,) = read(house).targets

    home = home_now(house)
    year = outlooks.year_ahead(home, home.person("asa"), today(house))
    assert year is not None
    dice = np.random.Generator(np.random.PCG64(outlooks.seed_of(home.id, home.person("asa").id)))
    drawn = draw_years(year, dice, 1_000)
    # Counted by hand: day n is the n-th school day, and the first workbook of the first course is row 0.
    by = sum(day <= date(2026, 2, 20) for day in year.days)
    assert line.told is not None
    assert line.told.chance.share == (drawn.finished[0] <= by).sum() / 1_000


def test_the_year_has_the_school_days_of_the_learner_with_today_to_the_end_of_the_last_term(
    house: House,
) -> None:
    reading = read(house)
    # From Monday 12 January to Friday 27 March 2026 are eleven weeks of five days (any calendar of the year).
    assert reading.years is not None
    assert len(reading.years.year.days) == 55
    assert (reading.years.year.days[0], reading.last_day) == (date(2026, 1, 12), LAST_DAY)


def test_workbooks_are_done_by_the_last_school_day_of_each_week_and_month(house: House) -> None:
    reading = read(house)
    assert [row.day.weekday() for row in reading.by_week] == [4] * 11
    assert [row.day for row in reading.by_month] == [date(2026, 1, 30), date(2026, 2, 27), LAST_DAY]


def test_the_fan_of_all_courses_is_the_sum_of_those_of_each(house: House) -> None:
    house.bring("worked")
    reading = read(house)
    each = [outlooks.fan(reading, line.course) for line in reading.courses]
    total = [sum(rows) for rows in zip(*([row.mean for row in fan] for fan in each), strict=True)]
    # Means of the same paths, added up in another order: only rounding is between them.
    assert [row.mean for row in reading.by_week] == pytest.approx(total, abs=1e-9)


def test_the_same_home_gives_the_same_chances_after_everything_is_forgotten(house: House) -> None:
    house.bring("section cleared")
    before = read(house).outlook
    ahead._AHEAD.clear()
    assert read(house).outlook == before


def test_two_homes_have_luck_of_their_own() -> None:
    assert len({outlooks.seed_of(home, who) for home in ("home", "away") for who in ("pa", "pb")}) == 4


# --- chances ------------------------------------------------------------------------------------------------------


class TestChances:
    """The unit test is sat once the practice test is passed."""

    def simulated(self, mean: float, spread: float, tests: int = 100_000) -> tuple[float, float]:
        """Shares of practice tests passed, and of unit tests passed after it, answer by answer."""
        dice = np.random.default_rng(5)
        ability = mean + spread * dice.standard_normal(tests)
        practice = ability + DEFAULTS.practice.offset + DEFAULTS.ahead_sd * dice.standard_normal(tests)
        unit = ability + DEFAULTS.unit.noise * dice.standard_normal(tests)
        # The noise of a day is taken to be that of a unit test in both.
        practice += DEFAULTS.unit.noise * dice.standard_normal(tests)
        tried = dice.binomial(30, 1 / (1 + np.exp(-practice))) >= 24
        sat = dice.binomial(30, 1 / (1 + np.exp(-unit))) >= 24
        return float(tried.mean()), float(sat[tried].mean())

    @pytest.mark.parametrize(("mean", "spread"), [(0.9, 0.5), (1.6, 0.5), (2.3, 0.7)])
    def test_they_are_the_shares_of_tests_that_are_drawn_answer_by_answer(
        self, house: House, mean: float, spread: float
    ) -> None:
        programme = house.home.programme
        book = programme.workbook(BOOK)
        assert (book.practice_questions, book.unit_questions) == (30, 30)
        found = ahead.chances(start(["maths"]), (mean, spread), book, programme)
        # .015: what the formula of a chance may be off by its own account; the shares' own error is below .003.
        assert (found.practice, found.unit) == pytest.approx(self.simulated(mean, spread), abs=0.015)

    def test_a_passed_practice_test_speaks_for_the_unit_test(self, house: House) -> None:
        programme, state = house.home.programme, start(["maths"])
        book = programme.workbook(BOOK)
        known = ahead.chances(state, (1.5, 0.6), book, programme)
        alone = ahead.chances(state, (1.5, 0.6), book, programme, passed=True)
        assert known.unit > alone.unit

    def test_of_a_passed_practice_test_in_hand_the_chance_is_the_readiness(self, house: House) -> None:
        copy = house.bring("practice passed")
        home = home_now(house)
        wanted = estimates.readings_of_learner(home, house.person("asa"))[copy].readiness.chance
        assert course_ahead(house).workbooks[0].chance == wanted

    def test_later_workbooks_of_one_length_have_one_chance(self, house: House) -> None:
        house.bring("section cleared")
        programme = house.home.programme
        later = course_ahead(house).workbooks[1:]
        by_length: dict[tuple[int, int], set[float]] = {}
        for found in later:
            book = programme.workbook(found.code)
            by_length.setdefault((book.practice_questions, book.unit_questions), set()).add(found.chance)
        assert {len(chances) for chances in by_length.values()} == {1}

    def test_a_workbook_to_be_worked_again_keeps_what_is_known_of_it(self, house: House) -> None:
        house.fail()
        first, second = course_ahead(house).workbooks[:2]
        home = home_now(house)
        state = ahead._Abilities(home, estimates.marks_of_learner(home.id, house.person("asa")), {}).now
        again = begin_book(state, "maths", again=True)
        book = home.programme.workbook(BOOK)
        wanted = ahead.chances(again, again.ability("maths"), book, home.programme)
        assert first.chance == pytest.approx(wanted.unit, abs=1e-12)
        assert first.chance != second.chance


# --- workbooks ahead ----------------------------------------------------------------------------------------------


def codes(course: CourseAhead) -> list[str]:
    return [book.code for book in course.workbooks]


class TestWorkbooksAhead:
    def test_before_the_first_copy_the_whole_course_is_ahead(self, house: House) -> None:
        found = course_ahead(house)
        assert codes(found) == [f"maths-5-{n:02}" for n in range(1, 13)]
        assert not found.in_hand

    def test_of_the_workbook_in_hand_the_pages_left_are(self, house: House) -> None:
        house.bring("worked")
        book = house.home.programme.workbook(BOOK)
        found = course_ahead(house)
        assert (found.in_hand, found.workbooks[0].pages) == (True, book.pages - book.stops[0].last)

    def test_a_passed_practice_test_leaves_the_unit_test_only(self, house: House) -> None:
        house.bring("practice passed")
        found = course_ahead(house)
        assert (found.practice_passed, found.workbooks[0].pages) == (True, 0)

    def test_a_unit_test_that_waits_for_its_mark_is_not_counted_as_passed(self, house: House) -> None:
        house.bring("sat")
        found = course_ahead(house)
        assert (codes(found)[0], found.practice_passed) == (BOOK, True)

    def test_a_passed_workbook_is_behind(self, house: House) -> None:
        house.bring("passed")
        assert codes(course_ahead(house))[0] == NEXT

    def test_a_workbook_that_was_not_passed_is_ahead_again_with_all_its_pages(self, house: House) -> None:
        house.fail()
        found = course_ahead(house)
        assert (codes(found)[0], found.in_hand) == (BOOK, False)
        assert found.workbooks[0].pages == house.home.programme.workbook(BOOK).pages

    def test_a_workbook_further_on_that_was_not_passed_is_ahead_again(self, house: House) -> None:
        asa = house.home.person("asa")
        sat = Sitting(1, house.clock, today(house), (), "ruth", house.clock, right=20, asked=30, needed=24)
        failed = Standing("c4", "maths-5-04", asa.id, CopyStatus.FINISHED, unit=sat)
        found = ahead.road(asa, "maths-5", house.home.programme, [failed], frozenset())
        assert (found.workbooks[0].code, found.in_hand) == ("maths-5-04", None)

    def test_whoever_joins_further_on_begins_with_the_workbook_that_lies_ready(self, house: House) -> None:
        house.do(a.order_copy, workbook="maths-5-04", learner="asa", copy="c4")
        house.do(a.receive_copy, copy="c4")
        assert codes(course_ahead(house))[0] == "maths-5-04"

    def test_where_the_same_copy_is_worked_again_it_stays_in_hand(self, db: None) -> None:
        rules = PAPERS.programme.replace(
            'after_failed_unit_test = "new copy"', 'after_failed_unit_test = "same copy"'
        )
        house = house_with(replace(PAPERS, programme=rules), (*_TEACHER, _learner("asa")))
        house.fail()
        found = course_ahead(house)
        assert (found.in_hand, found.practice_passed) == (True, False)
        assert (found.workbooks[0].pages, found.workbooks[0].lead_days) == (0, 0)


# --- pace and goal ------------------------------------------------------------------------------------------------


class TestPace:
    def test_the_usual_pages_are_those_that_the_pace_was_read_with(self, house: House) -> None:
        house.bring("stops cleared")
        home = home_now(house)
        (course,) = estimates.pace(home, home.person("asa"), house.clock)
        found = course_ahead(house)
        assert found.pace == course.pace
        # One day on which the whole workbook was worked: its pages are the median of the days with work.
        assert found.goal == pytest.approx(home.programme.workbook(BOOK).pages, rel=1e-12)

    def test_without_any_day_the_course_is_spread_over_a_usual_year(self, house: House) -> None:
        pages = sum(book.pages for book in house.home.programme.course("reading-5").workbooks)
        found = course_ahead(house, "reading-5")
        assert found.goal == pytest.approx(pages / 180, rel=1e-12)
        assert found.pace.days == 0

    def test_a_guess_goes_by_the_pace_of_the_learner_s_other_courses(self, house: House) -> None:
        house.bring("worked")
        home = home_now(house)
        (maths,) = estimates.pace(home, home.person("asa"), house.clock)
        wanted = math.exp(prior_mean([maths.pace]))
        assert wanted != math.exp(prior_mean([]))
        assert course_ahead(house, "reading-5").pace.median_share == pytest.approx(wanted, rel=1e-12)

    def test_pages_that_are_wished_for_come_before_the_guess(self, house: House) -> None:
        wish = CourseWish(house.person("asa"), "reading-5", comfortable=7)
        set_wishes(house.id, lambda wishes: wishes.with_course(wish), at=house.clock)
        assert course_ahead(house, "reading-5").goal == 7

    def test_a_guess_is_said_to_be_one(self, house: House) -> None:
        line = next(line for line in read(house).courses if line.course == "reading-5")
        assert line.sentence.endswith(
            "No school day of this course is known yet: it is a guess from the usual pace."
        )


# --- copies -------------------------------------------------------------------------------------------------------


class TestCopies:
    def test_a_workbook_in_the_house_waits_for_nothing(self, house: House) -> None:
        house.bring("in the house")
        assert course_ahead(house).workbooks[0].not_before is None

    def test_a_copy_on_order_is_counted_on_from_the_day_that_was_named(self, house: House) -> None:
        house.do(a.order_copy, workbook=BOOK, learner="asa", expected=date(2026, 1, 21))
        assert course_ahead(house).workbooks[0].not_before == date(2026, 1, 21)

    def test_without_a_day_it_is_counted_on_by_the_supplier_s_median(self, house: House) -> None:
        house.do(a.order_copy, workbook=BOOK, learner="asa")
        # No parcel has come yet: half of them come within the usual eight days.
        assert course_ahead(house).workbooks[0].not_before == date(2026, 1, 12) + timedelta(8)

    def test_what_should_have_come_is_counted_on_for_tomorrow(self, house: House) -> None:
        house.do(a.order_copy, workbook=BOOK, learner="asa", expected=date(2026, 1, 14))
        house.until("2026-01-22 08:00")
        assert course_ahead(house).workbooks[0].not_before == date(2026, 1, 23)

    def test_a_copy_that_nobody_ordered_could_come_as_if_ordered_today(self, house: House) -> None:
        assert course_ahead(house).workbooks[0].not_before == date(2026, 1, 12) + timedelta(8)

    def test_a_copy_kept_for_another_learner_is_not_counted_on(self, db: None) -> None:
        house = House(people=(*_TEACHER, _learner("asa"), _learner("ben")))
        house.do(a.order_copy, workbook=BOOK, learner="ben", copy="c1")
        house.do(a.receive_copy, copy="c1")
        assert course_ahead(house, key="ben").workbooks[0].not_before is None
        assert course_ahead(house, key="asa").workbooks[0].not_before is not None

    def test_one_copy_is_counted_on_by_one_learner_only(self, db: None) -> None:
        house = House(people=(*_TEACHER, _learner("asa"), _learner("ben")))
        house.bring("in the house")
        waits = [course_ahead(house, key=key).workbooks[0].not_before for key in ("asa", "ben")]
        assert waits.count(None) == 1

    def test_another_copy_that_lies_ready_saves_the_wait_after_a_failed_test(self, house: House) -> None:
        house.bring("begun")
        assert course_ahead(house).workbooks[0].lead_days > 0
        house.bring("in the house")
        assert course_ahead(house).workbooks[0].lead_days == 0

    def test_need_dates_do_not_wait_for_the_copy_itself(self, house: House) -> None:
        house.bring("practice passed")
        late = date(2026, 3, 20)
        house.do(a.order_copy, workbook=NEXT, learner="asa", expected=late)
        line = need(house)
        assert line.dates.dates[1] is not None
        assert line.dates.dates[1] < late
        finish = next(f for f in read(house).outlook.workbooks if f.workbook == NEXT)  # type: ignore[union-attr]
        assert all(day is None or day > late for day in finish.dates)

    def test_a_need_says_where_its_copy_is(self, house: House) -> None:
        house.bring("begun")
        assert need(house).sentence.endswith("; no copy is there or on order.")
        house.do(a.order_copy, workbook=NEXT, learner="asa", copy="n1", expected=date(2026, 1, 21))
        assert need(house).sentence.endswith("; a copy is on order and counted on from 21 January 2026.")
        house.do(a.receive_copy, copy="n1")
        assert need(house).sentence.endswith("; a copy is in the house.")


# --- plans --------------------------------------------------------------------------------------------------------


class TestPlannedPages:
    def test_more_planned_pages_finish_earlier(self, house: House) -> None:
        house.bring("worked")
        asks_for(house, target(house, "maths-5-03", LAST_DAY))
        chances = [
            line.told.chance.share
            for pages in (2.0, 6.0)
            for line in read(house, planned={"maths-5": outlooks.PlannedCourse((pages,) * 55)}).targets
            if line.told is not None
        ]
        # The same luck in both, so that not one path is later with more pages.
        assert chances[0] < chances[1]

    def test_courses_that_are_not_planned_go_by_their_usual_pages(self, house: House) -> None:
        reading = read(house, planned={"maths-5": outlooks.PlannedCourse((4.0, 4.0))})
        assert reading.years is not None
        assert [c.planned for c in reading.years.year.courses] == [(4.0, 4.0), None]


# --- what is remembered -------------------------------------------------------------------------------------------


def queries_of(house: House) -> int:
    with CaptureQueriesContext(connection) as caught:
        home = house.home
        outlooks.year_of(home, home.person("asa"), today(house))
    return len(caught)


class TestWhatIsRemembered:
    def test_asked_again_only_the_end_of_the_record_is_looked_up(self, house: House) -> None:
        house.bring("worked")
        queries_of(house)
        assert queries_of(house) == 1

    def test_a_reading_follows_every_act(self, house: House) -> None:
        copy = house.bring("begun")
        before = read(house)
        house.do(a.work_pages, copy=copy, first=1, last=3, minutes=20, by="asa")
        assert read(house).years != before.years
        assert course_ahead(house).workbooks[0].pages == house.home.programme.workbook(BOOK).pages - 3

    def test_a_home_that_was_changed_to_try_something_is_read_on_its_own(self, house: House) -> None:
        home = home_now(house)
        asa = home.person("asa")
        plain = outlooks.year_of(home, asa, today(house))
        tried = replace(home, wishes=replace(home.wishes, illness=0.4))
        other = outlooks.year_of(tried, asa, today(house))
        assert other.years is not None
        assert other.years.year.illness == 0.4
        assert outlooks.year_of(home, asa, today(house)).outlook == plain.outlook


# --- targets ------------------------------------------------------------------------------------------------------


class TestTargets:
    def test_a_target_is_told_by_the_names_of_workbook_and_course(self, house: House) -> None:
        asks_for(house, target(house))
        (line,) = read(house).targets
        assert " possible years Large Numbers (Mathematics 5) is done by 20 February 2026; " in line.sentence

    def test_a_passed_target_is_said_to_be_met(self, house: House) -> None:
        house.bring("passed")
        asks_for(house, target(house))
        (line,) = read(house).targets
        assert (line.met, line.told) == (True, None)
        assert line.sentence.endswith(": it is passed.")

    def test_a_target_whose_day_is_over_is_told_with_the_day_on_which_it_may_be_met(
        self, house: House
    ) -> None:
        asks_for(house, target(house, by=date(2026, 1, 9)))
        (line,) = read(house).targets
        assert (
            "was to be done by 9 January 2026 and is not passed yet; half of the possible years"
            in line.sentence
        )

    def test_all_targets_in_one_year_are_counted_path_by_path(self, house: House) -> None:
        asks_for(house, target(house), target(house, "maths-5-03", LAST_DAY))
        reading = read(house)
        assert reading.all_targets is not None
        assert reading.years is not None
        finished, days = reading.years.finished, reading.years.year.days
        by = sum(day <= date(2026, 2, 20) for day in days)
        met = (finished[0] <= by, finished[2] <= len(days))
        assert [line.told.chance.share for line in reading.targets if line.told] == [m.mean() for m in met]
        assert reading.all_targets.share == (met[0] & met[1]).mean()

    def test_the_targets_of_another_learner_are_left_out(self, house: House) -> None:
        asks_for(house, target(house))
        assert read(house, "noa").targets == ()


# --- nothing to forecast ------------------------------------------------------------------------------------------


class TestNothingToForecast:
    def test_after_the_last_term_a_sentence_asks_for_the_next_one(self, house: House) -> None:
        asks_for(house, target(house))
        house.until("2026-04-13 08:00")
        reading = read(house)
        assert reading.years is None
        assert reading.notes == (
            "No school day of Asa is entered from 13 April 2026 on: enter the next term first.",
        )
        assert "no school day to come is entered" in reading.targets[0].sentence

    def test_a_course_without_any_workbook_left_has_a_sentence(self, db: None) -> None:
        head, *rows = PAPERS.workbooks.splitlines()
        kept = "\n".join([head, *(row for row in rows if row.startswith(("maths,5,1,", "reading,5,"))), ""])
        people = (*_TEACHER, _learner("asa", "maths-5", "reading-5"))
        house = house_with(replace(PAPERS, workbooks=kept), people)
        house.bring("passed")
        reading = read(house)
        assert [line.course for line in reading.courses] == ["reading-5"]
        assert reading.notes == ("No workbook of Mathematics 5 is left to do for Asa.",)

    def test_a_learner_without_a_course_has_a_sentence(self, db: None) -> None:
        house = House(people=(*_TEACHER, Newcomer("asa", "Asa", Role.LEARNER, 5, ())))
        reading = read(house)
        assert (reading.years, reading.notes) == (None, ("Asa takes no course yet.",))

    def test_a_home_after_its_last_term_has_no_years_for_orders(self, house: House) -> None:
        assert outlooks.home_years(home_now(house), date(2026, 4, 13)) == ()
