"""Public holidays as governments publish them, and Easter as astronomers reckon it."""

import os
import subprocess
import sys
from datetime import date, timedelta

import pytest
from dateutil.easter import easter

from markstead.calendar import DayKind, SchoolCalendar, Term

# 'UK bank holidays', England and Wales, as published on gov.uk; typed from memory. The name is a word of ours by which
# the library's own name is known (it says May Day where the page says early May).
ENGLAND_AND_WALES = {
    date(2025, 1, 1): "New Year",
    date(2025, 4, 18): "Good Friday",
    date(2025, 4, 21): "Easter Monday",
    date(2025, 5, 5): "May Day",
    date(2025, 5, 26): "Spring",
    date(2025, 8, 25): "Summer",
    date(2025, 12, 25): "Christmas",
    date(2025, 12, 26): "Boxing Day",
    date(2026, 1, 1): "New Year",
    date(2026, 4, 3): "Good Friday",
    date(2026, 4, 6): "Easter Monday",
    date(2026, 5, 4): "May Day",
    date(2026, 5, 25): "Spring",
    date(2026, 8, 31): "Summer",
    date(2026, 12, 25): "Christmas",
    date(2026, 12, 28): "Boxing Day",  # the 26th is a Saturday: substitute day
}
# 'Federal Holidays' 2026, as published by the US Office of Personnel Management; typed from memory.
UNITED_STATES = {
    date(2026, 1, 1): "New Year",
    date(2026, 1, 19): "Martin Luther King",
    date(2026, 2, 16): "Washington",
    date(2026, 5, 25): "Memorial Day",
    date(2026, 6, 19): "Juneteenth",
    date(2026, 7, 3): "Independence Day",  # the 4th is a Saturday: kept on the Friday
    date(2026, 9, 7): "Labor Day",
    date(2026, 10, 12): "Columbus",
    date(2026, 11, 11): "Veterans",
    date(2026, 11, 26): "Thanksgiving",
    date(2026, 12, 25): "Christmas",
}


def always_in_term(country: str, region: str | None = None) -> SchoolCalendar:
    term = Term("all the years", date(1999, 1, 1), date(2041, 12, 31))
    return SchoolCalendar("UTC", country, region, (term,), frozenset(range(5)))


def closed_weekdays(calendar: SchoolCalendar, year: int) -> list[date]:
    every = (date(year, 1, 1) + timedelta(days=n) for n in range(365))
    return [day for day in every if calendar.kind(day) is DayKind.PUBLIC_HOLIDAY]


@pytest.mark.parametrize("region", ["ENG", "WLS"])
@pytest.mark.parametrize("year", [2025, 2026])
def test_england_and_wales_close_on_the_published_bank_holidays(region: str, year: int) -> None:
    calendar = always_in_term("GB", region)
    published = {day: name for day, name in ENGLAND_AND_WALES.items() if day.year == year}
    assert closed_weekdays(calendar, year) == list(published)
    for day, name in published.items():
        assert name in str(calendar.why_closed(day))


def test_the_united_states_close_on_the_published_federal_holidays_of_2026() -> None:
    calendar = always_in_term("US")
    assert closed_weekdays(calendar, 2026) == list(UNITED_STATES)
    for day, name in UNITED_STATES.items():
        assert name in str(calendar.why_closed(day))


def test_a_new_years_day_on_a_saturday_is_kept_in_the_year_before() -> None:
    # 1 January 2022: OPM, Federal Holidays 2022 ('Friday, December 31, 2021'); from memory.
    assert always_in_term("US").kind(date(2021, 12, 31)) is DayKind.PUBLIC_HOLIDAY


def test_regions_of_one_country_differ() -> None:
    # Scotland keeps 2 January and not Easter Monday; gov.uk 'UK bank holidays', Scotland, 2025, from memory.
    scotland, england = always_in_term("GB", "SCT"), always_in_term("GB", "ENG")
    second, monday = date(2025, 1, 2), date(2025, 4, 21)
    assert (scotland.is_school_day(second), england.is_school_day(second)) == (False, True)
    assert (scotland.is_school_day(monday), england.is_school_day(monday)) == (True, False)


def nature_easter(year: int) -> date:
    """The anonymous Gregorian reckoning (Nature, 20 April 1876; Meeus, Astronomical Algorithms, 1991, ch. 8)."""
    a, (b, c) = year % 19, divmod(year, 100)
    (d, e), g = divmod(b, 4), (8 * b + 13) // 25
    h = (19 * a + b - d - g + 15) % 30
    i, k = divmod(c, 4)
    m = (32 + 2 * e + 2 * i - h - k) % 7
    n = (a + 11 * h + 22 * m) // 451
    month, day = divmod(h + m - 7 * n + 114, 31)
    return date(year, month, day + 1)


@pytest.mark.parametrize("year", range(2000, 2041))
def test_england_closes_on_the_friday_before_and_the_monday_after_easter(year: int) -> None:
    # The library itself stands on dateutil; the reckoning of 1876 does not.
    sunday = easter(year)
    assert sunday == nature_easter(year)
    england = always_in_term("GB", "ENG")
    assert england.why_closed(sunday - timedelta(days=2)) == "a public holiday (Good Friday)"
    assert england.why_closed(sunday + timedelta(days=1)) == "a public holiday (Easter Monday)"


@pytest.mark.parametrize("language", ["th", "de", None])
def test_the_name_of_a_holiday_does_not_depend_on_the_language_of_the_computer(language: str | None) -> None:
    code = (
        "from datetime import date; from markstead.calendar import SchoolCalendar, Term;"
        "term = Term('', date(2026, 1, 1), date(2026, 12, 31));"
        "print([SchoolCalendar('UTC', land, None, (term,), frozenset(range(5))).why_closed(date(2026, 4, 6))"
        " for land in ('GB', 'DE', 'NZ', 'PL')])"
    )
    kept = {name: value for name, value in os.environ.items() if name not in ("LANGUAGE", "LC_ALL", "LANG")}
    spoken = {"LANGUAGE": language} if language else {}
    said = subprocess.run(
        [sys.executable, "-c", code], env=kept | spoken, capture_output=True, text=True, check=True
    )
    # The United Kingdom as a whole does not keep Easter Monday: Scotland does not.
    assert said.stdout.strip() == str([None, *["a public holiday (Easter Monday)"] * 3])
