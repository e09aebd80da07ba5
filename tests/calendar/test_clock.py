"""The clock in the kitchen: instants, days and the two odd days of the year (transitions of the IANA database)."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from markstead.calendar import SchoolCalendar
from tests.calendar.homes import ZONES

SECOND = timedelta(seconds=1)
instants = st.integers(1420070400, 2145830400).map(
    lambda second: datetime.fromtimestamp(second, UTC)
)  # 2015 to 2037
homes = st.sampled_from(ZONES)


def home_in(zone: str) -> SchoolCalendar:
    return SchoolCalendar(zone, "GB", None, (), frozenset(range(5)))


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


# zone, first instant of the new offset, the clock one second before it, the clock at it
SHIFTS = [
    ("Europe/London", "2026-03-29T01:00", "2026-03-29T00:59:59", "2026-03-29T02:00:00"),
    ("Europe/London", "2026-10-25T01:00", "2026-10-25T01:59:59", "2026-10-25T01:00:00"),
    ("America/New_York", "2026-03-08T07:00", "2026-03-08T01:59:59", "2026-03-08T03:00:00"),
    ("America/New_York", "2026-11-01T06:00", "2026-11-01T01:59:59", "2026-11-01T01:00:00"),
    ("Pacific/Auckland", "2026-04-04T14:00", "2026-04-05T02:59:59", "2026-04-05T02:00:00"),
    ("Pacific/Auckland", "2026-09-26T14:00", "2026-09-27T01:59:59", "2026-09-27T03:00:00"),
    ("Australia/Lord_Howe", "2026-04-04T15:00", "2026-04-05T01:59:59", "2026-04-05T01:30:00"),
    ("Australia/Lord_Howe", "2026-10-03T15:30", "2026-10-04T01:59:59", "2026-10-04T02:30:00"),
]


@pytest.mark.parametrize(("zone", "shift", "before", "after"), SHIFTS)
def test_the_kitchen_clock_jumps_where_the_zone_says(zone: str, shift: str, before: str, after: str) -> None:
    home = home_in(zone)
    assert home.at_home(utc(shift) - SECOND).replace(tzinfo=None).isoformat() == before
    assert home.at_home(utc(shift)).replace(tzinfo=None).isoformat() == after


# zone, day, a time the clock skips or shows twice, the instant it stands for, what the clock shows then
ODD_TIMES = [
    ("Europe/London", date(2026, 3, 29), time(1, 30), "2026-03-29T01:30", time(2, 30)),
    ("Europe/London", date(2026, 10, 25), time(1, 30), "2026-10-25T00:30", time(1, 30)),
    ("America/New_York", date(2026, 3, 8), time(2, 30), "2026-03-08T07:30", time(3, 30)),
    ("America/New_York", date(2026, 11, 1), time(1, 30), "2026-11-01T05:30", time(1, 30)),
    ("Pacific/Auckland", date(2026, 9, 27), time(2, 30), "2026-09-26T14:30", time(3, 30)),
    ("Pacific/Auckland", date(2026, 4, 5), time(2, 30), "2026-04-04T13:30", time(2, 30)),
    ("Australia/Lord_Howe", date(2026, 10, 4), time(2, 15), "2026-10-03T15:45", time(2, 45)),
    ("Australia/Lord_Howe", date(2026, 4, 5), time(1, 45), "2026-04-04T14:45", time(1, 45)),
]


@pytest.mark.parametrize(("zone", "day", "at", "instant", "shown"), ODD_TIMES)
def test_a_skipped_time_comes_after_the_gap_and_a_doubled_one_is_the_first(
    zone: str, day: date, at: time, instant: str, shown: time
) -> None:
    home = home_in(zone)
    found = home.instant_of(day, at)
    assert found == utc(instant)
    assert found.tzinfo is UTC
    assert home.at_home(found).time() == shown


def test_the_second_showing_of_a_doubled_time_can_be_asked_for() -> None:
    second = home_in("Europe/London").instant_of(date(2026, 10, 25), time(1, 30, fold=1))
    assert second == utc("2026-10-25T01:30")


DAY_LENGTHS = [
    ("Europe/London", date(2026, 3, 29), 23.0),
    ("Europe/London", date(2026, 10, 25), 25.0),
    ("Pacific/Auckland", date(2026, 4, 5), 25.0),
    ("America/New_York", date(2026, 3, 8), 23.0),
    ("Australia/Lord_Howe", date(2026, 4, 5), 24.5),
    ("Australia/Lord_Howe", date(2026, 10, 4), 23.5),
    ("Europe/London", date(2026, 6, 1), 24.0),
]


@pytest.mark.parametrize(("zone", "day", "hours"), DAY_LENGTHS)
def test_a_day_is_as_long_as_its_zone_makes_it(zone: str, day: date, hours: float) -> None:
    home = home_in(zone)
    length = home.instant_of(day + timedelta(days=1), time()) - home.instant_of(day, time())
    assert length == timedelta(hours=hours)


def test_one_instant_is_another_day_in_another_home() -> None:
    instant = utc("2026-05-11T12:30")
    assert home_in("Pacific/Auckland").day_of(instant) == date(2026, 5, 12)
    assert home_in("America/New_York").day_of(instant) == date(2026, 5, 11)


def test_an_instant_without_a_zone_is_refused() -> None:
    home = home_in("Europe/London")
    for read in (home.at_home, home.day_of):
        with pytest.raises(ValueError, match="has no time zone"):
            read(datetime.fromisoformat("2026-05-11T09:00"))


def test_a_time_of_the_kitchen_clock_has_no_zone_of_its_own() -> None:
    with pytest.raises(ValueError, match="only that of the home"):
        home_in("Europe/London").instant_of(date(2026, 5, 11), time(9, tzinfo=UTC))


@given(homes, instants, homes)
@example("Pacific/Auckland", datetime(2031, 4, 5, 13, tzinfo=UTC), "Europe/London")  # within a doubled hour
def test_an_instant_falls_on_the_same_day_however_it_is_written(
    zone: str, instant: datetime, written: str
) -> None:
    home = home_in(zone)
    assert home.day_of(instant.astimezone(ZoneInfo(written))) == home.day_of(instant)
    # Compared in UTC: between zones, Python calls a time that is shown twice equal to nothing (PEP 495).
    assert home.at_home(instant.astimezone(ZoneInfo(written))).astimezone(UTC) == instant


@given(homes, instants)
def test_an_instant_read_off_the_clock_and_set_again_is_itself(zone: str, instant: datetime) -> None:
    home = home_in(zone)
    shown = home.at_home(instant)
    assert home.instant_of(shown.date(), shown.time()) == instant


@given(homes, st.dates(date(2024, 1, 1), date(2037, 12, 30)))
def test_a_day_begins_at_the_instant_of_its_midnight(zone: str, day: date) -> None:
    # Cairo and Santiago skip a midnight each year, Havana shows one twice.
    home = home_in(zone)
    begins = home.instant_of(day, time())
    assert home.day_of(begins) == day
    assert home.day_of(begins - SECOND) == day - timedelta(days=1)
