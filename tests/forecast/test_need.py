"""Days of need and failures, beside counting the paths one by one, and as an order plan takes them."""

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from markstead.forecast.lead import LeadSettings, learn_lead
from markstead.forecast.need import extra_copies, failures, need_dates, needs
from markstead.forecast.orders import Offer, OrderProblem, Supplier, plan_orders
from markstead.forecast.outlook import QUANTILES
from markstead.forecast.year import LearnerYear, PossibleYears, draw_years
from tests.forecast.year_worlds import STEADY, course, every_day, pace, weekdays

DAYS = weekdays(120)
TODAY = DAYS[0] - timedelta(days=3)
EXACT = pace(share=1.0, spread=0.0, weight=1e12, zero=0.0)


def drawn(learner: str = "asa", paths: int = 600, in_hand: bool = True) -> PossibleYears:
    courses = (course("maths", [30, 36, 28], chance=0.7, in_hand=in_hand), course("latin", [40, 20]))
    return draw_years(LearnerYear(learner, DAYS, courses), np.random.default_rng(4), paths)


YEARS = drawn()


def calendar_days(place: int) -> float:
    """From today to the school day with this place in the list."""
    return float((DAYS[place] - TODAY).days) if place < len(DAYS) else math.inf


class TestNeeds:
    """A copy is needed on the school day after the workbook before it was passed."""

    def test_the_workbook_in_hand_needs_no_copy(self) -> None:
        assert [need.workbook for need in needs(YEARS, TODAY)] == ["maths-1", "maths-2", "latin-1"]

    def test_a_first_workbook_that_is_not_begun_is_needed_at_once(self) -> None:
        need = needs(drawn(in_hand=False), TODAY)[0]

        assert (need.workbook, set(need.days)) == ("maths-0", {calendar_days(0)})

    def test_days_are_counted_on_the_calendar_from_today(self) -> None:
        need = needs(YEARS, TODAY)[1]

        assert need.days.tolist() == [calendar_days(int(day)) for day in YEARS.finished[1]]

    def test_by_hand(self) -> None:
        """8 pages at 4 a day and two tests: the next is begun on the fifth day, four days after the first."""
        ahead = course("maths", [8, 8], chance=1, practice=1, how=EXACT)
        year = LearnerYear("asa", every_day(30), (ahead,), illness=0)
        years = draw_years(year, np.random.default_rng(1), 3, STEADY)

        assert needs(years, year.days[0])[0].days.tolist() == [4.0, 4.0, 4.0]

    def test_dates_are_quantiles_of_the_years(self) -> None:
        told = need_dates(YEARS)[1]

        days = [int(np.quantile(YEARS.finished[1], q, method="inverted_cdf")) for q in QUANTILES]
        assert told.dates == tuple(DAYS[d] if d < len(DAYS) else None for d in days)

    def test_a_workbook_that_may_not_be_needed_says_so(self) -> None:
        told = need_dates(YEARS)[1]

        assert told.workbook == "maths-2"
        assert told.within.share == np.mean(np.isfinite(needs(YEARS, TODAY)[1].days))
        assert 0 < told.within.share < 1


class TestFailures:
    """Each failed unit test wants another copy."""

    def test_every_failure_stands_in_its_path(self) -> None:
        table = {f.workbook: f.days for f in failures([YEARS], TODAY)}["maths-0"]

        expected: list[list[float]] = [[] for _ in range(600)]
        for row, path, day in zip(YEARS.failed_book, YEARS.failed_path, YEARS.failed_day, strict=True):
            if row == 0:
                expected[path].append(calendar_days(int(day) - 1))
        assert [[d for d in row if math.isfinite(d)] for row in table] == [sorted(days) for days in expected]

    def test_learners_share_the_failures_of_a_workbook(self) -> None:
        two = [YEARS, drawn("noa")]

        table = {f.workbook: f.days for f in failures(two, TODAY)}["maths-0"]

        assert np.isfinite(table).sum() == sum((years.failed_book == 0).sum() for years in two)

    def test_two_learners_have_luck_of_their_own(self) -> None:
        """Even with generators of the same state: the correlation of independent days has the standard error .041."""
        noa = drawn("noa")

        together = np.corrcoef(YEARS.finished[0], noa.finished[0])[0, 1]
        assert abs(together) < 4 * 0.041

    def test_a_workbook_that_is_always_passed_has_an_empty_table(self) -> None:
        ahead = course("maths", [8], chance=1)
        years = draw_years(LearnerYear("asa", DAYS, (ahead,)), np.random.default_rng(1), 50)

        assert np.isinf(failures([years], TODAY)[0].days).all()

    def test_extra_copies_are_the_mean_of_the_failures(self) -> None:
        counts = np.isfinite({f.workbook: f.days for f in failures([YEARS], TODAY)}["maths-0"]).sum(axis=1)

        told = extra_copies([YEARS])[0]

        assert told.workbook == "maths-0"
        assert told.expected == pytest.approx(counts.mean())
        assert told.se == pytest.approx(counts.std() / math.sqrt(600))
        assert told.any.share == pytest.approx(np.mean(counts > 0))
        assert told.enough_90 == sorted(counts)[539]

    def test_learners_with_another_number_of_years_are_refused(self) -> None:
        with pytest.raises(ValueError, match="same number"):
            failures([YEARS, drawn("noa", 300)], TODAY)
        with pytest.raises(ValueError, match="at least one learner"):
            extra_copies([])


def test_an_order_plan_takes_the_needs_and_failures_as_they_are() -> None:
    """The workbook of the middle of the term is ordered at least the lead time before its middle day of need."""
    codes = [book.code for book in YEARS.books]
    supplier = Supplier("north", learn_lead((), TODAY, LeadSettings(days=8)))
    problem = OrderProblem(
        needs(YEARS, TODAY),
        tuple(Offer(code, "north", 900) for code in codes),
        (supplier,),
        failures([YEARS], TODAY),
    )

    plan = plan_orders(problem, TODAY)

    ordered = {
        line.workbook: (order.by, line) for order in plan.orders for line in order.lines if line.learner
    }
    assert set(ordered) == {"maths-1", "maths-2", "latin-1"}
    by, line = ordered["maths-1"]
    middle = need_dates(YEARS)[0].dates[2]
    assert isinstance(middle, date)
    assert line.needed == middle
    assert (middle - by).days >= 8


def test_needs_keep_a_copy_on_order_in_mind() -> None:
    ahead = course("maths", [8], in_hand=False)
    ahead = replace(ahead, workbooks=(replace(ahead.workbooks[0], not_before=DAYS[7]),))
    years = draw_years(LearnerYear("asa", DAYS, (ahead,)), np.random.default_rng(1), 20)

    assert set(needs(years, TODAY)[0].days) == {calendar_days(7)}
