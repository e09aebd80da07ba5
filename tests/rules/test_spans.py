"""School years, periods and the dispatch day, against calendars that can be counted on the fingers."""

from datetime import date
from itertools import pairwise

import pytest

from markstead.calendar import SchoolCalendar, Term
from markstead.rules.spans import Periods, Span, latest_dispatch, periods_of, school_year, send_day

YEAR = (
    Term("autumn", date(2025, 9, 1), date(2025, 12, 19)),
    Term("spring", date(2026, 1, 5), date(2026, 3, 27)),
    Term("summer", date(2026, 4, 20), date(2026, 7, 17)),
)
NEXT = (Term("autumn", date(2026, 9, 7), date(2026, 12, 18)),)


def calendar(*terms: Term) -> SchoolCalendar:
    return SchoolCalendar("Europe/London", "GB", "ENG", terms or (*YEAR, *NEXT), frozenset(range(5)))


class TestSchoolYear:
    def test_terms_that_lie_close_together_are_one_year(self) -> None:
        found = school_year(calendar(), date(2026, 1, 12))

        assert found == Span("school year 2025/26", date(2025, 9, 1), date(2026, 8, 31))

    def test_the_summer_belongs_to_the_year_before_it(self) -> None:
        assert school_year(calendar(), date(2026, 8, 15)).first == date(2025, 9, 1)
        assert school_year(calendar(), date(2026, 9, 7)).first == date(2026, 9, 7)

    def test_a_year_that_begins_on_a_day_of_the_law(self) -> None:
        """8 NYCRR 100.10(b)(1): the school year begins July 1st and ends June 30th."""
        found = school_year(calendar(), date(2026, 6, 30), (7, 1))

        assert (found.first, found.last) == (date(2025, 7, 1), date(2026, 6, 30))
        assert school_year(calendar(), date(2026, 7, 1), (7, 1)).first == date(2026, 7, 1)


class TestPeriods:
    def test_quarters_have_equal_numbers_of_school_days(self) -> None:
        there = calendar()
        year = school_year(there, date(2026, 1, 12))

        quarters = periods_of(there, year, Periods.QUARTERS)

        counts = [len(there.school_days(q.first, q.last)) for q in quarters]
        assert [q.name for q in quarters] == [
            "first quarter",
            "second quarter",
            "third quarter",
            "fourth quarter",
        ]
        assert max(counts) - min(counts) <= 1
        assert counts == sorted(counts, reverse=True)
        assert sum(counts) == len(there.school_days(year.first, year.last))

    @pytest.mark.parametrize("periods", [Periods.YEAR, Periods.HALVES, Periods.THIRDS, Periods.QUARTERS])
    def test_no_day_of_the_year_is_left_out_or_told_twice(self, periods: Periods) -> None:
        year = school_year(calendar(), date(2026, 1, 12))

        found = periods_of(calendar(), year, periods)

        assert (found[0].first, found[-1].last) == (year.first, year.last)
        assert all((b.first - a.last).days == 1 for a, b in pairwise(found))

    def test_terms_are_those_of_the_calendar(self) -> None:
        year = school_year(calendar(), date(2026, 1, 12))

        assert [s.name for s in periods_of(calendar(), year, Periods.TERMS)] == ["autumn", "spring", "summer"]


class TestDispatchDay:
    @pytest.mark.parametrize(
        ("month", "goes"),
        [
            (date(2025, 12, 1), date(2025, 12, 1)),  # a Monday in term
            (date(2026, 2, 1), date(2026, 2, 2)),  # a Sunday
            (date(2026, 1, 1), date(2026, 1, 5)),  # New Year; school begins on the 5th
            (date(2026, 8, 1), date(2026, 8, 3)),  # a Saturday in the summer: no school within a week
            (date(2026, 4, 1), date(2026, 4, 1)),  # a Wednesday in the holidays
        ],
    )
    def test_it_goes_on_a_day_on_which_somebody_is_there(self, month: date, goes: date) -> None:
        assert send_day(calendar(), 1, month) == goes

    def test_the_latest_one_is_that_of_this_month_once_its_day_has_come(self) -> None:
        assert latest_dispatch(calendar(), 15, date(2026, 2, 14))[0] == date(2026, 1, 15)
        assert latest_dispatch(calendar(), 15, date(2026, 2, 15)) == (date(2026, 2, 15), date(2026, 2, 16))
