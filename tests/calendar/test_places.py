"""Countries, parts and clocks to choose from: whatever is offered can be taken."""

from datetime import date

import holidays

from markstead.calendar import SchoolCalendar, Term
from markstead.calendar.load import read_calendar, write_calendar
from markstead.calendar.places import countries, regions, zones

DAY = date(2026, 9, 1)


def test_every_country_whose_holidays_are_known_is_offered_once() -> None:
    offered = [place.code for place in countries()]

    assert sorted(offered) == sorted(holidays.list_supported_countries(include_aliases=False))


def test_countries_stand_in_the_order_of_their_names() -> None:
    names = [place.name for place in countries()]

    assert names == sorted(names)
    assert {"Germany", "New Zealand", "United Kingdom"} <= set(names)


def test_the_parts_of_a_country_have_names() -> None:
    assert [(p.code, p.name) for p in regions("GB")] == [
        ("ENG", "England"),
        ("NIR", "Northern Ireland"),
        ("SCT", "Scotland"),
        ("WLS", "Wales"),
    ]


def test_a_country_that_is_not_known_has_no_parts_and_no_clock() -> None:
    assert regions("ZZ") == ()
    assert regions("../x") == ()
    assert zones("ZZ") == ()


def test_whatever_is_offered_is_taken_by_the_reader_of_calendars() -> None:
    """A few countries with their first and last part and zone: far apart, with one clock, with many."""
    for code in ("GB", "NZ", "US", "DE", "NO", "IN", "AU", "BR", "SG"):
        parts = [None, *(p.code for p in regions(code))]
        for part in {parts[0], parts[-1]}:
            for zone in {zones(code)[0], zones(code)[-1]}:
                calendar = SchoolCalendar(zone, code, part, (Term("t", DAY, DAY),), frozenset({0}))
                assert read_calendar(write_calendar(calendar)) == calendar
