"""Which days are school days, why the others are not, and which is the next."""

import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from dateutil.rrule import DAILY, FR, MO, TH, YEARLY, rrule, rruleset
from hypothesis import example, given, settings
from hypothesis import strategies as st

from markstead.calendar import Absence, Away, DayKind, NamedSpan, NoSchoolDayError, SchoolCalendar, Term
from markstead.errors import MarksteadError
from tests.calendar.homes import LEARNERS, calendars, days

HOME = SchoolCalendar(
    zone="Europe/London",
    country="GB",
    region="ENG",
    terms=(
        Term("Spring", date(2026, 4, 1), date(2026, 5, 22)),
        Term("Summer", date(2026, 6, 1), date(2026, 6, 30)),
    ),
    weekdays=frozenset(range(5)),
    holidays_off=(
        NamedSpan("lambing", date(2026, 4, 13), date(2026, 4, 15)),
        NamedSpan("", date(2026, 4, 20), date(2026, 4, 20)),
    ),
    taught_anyway=frozenset({date(2026, 4, 11), date(2026, 5, 4), date(2026, 4, 14), date(2026, 5, 27)}),
    half_days=frozenset({date(2026, 4, 8), date(2026, 4, 11), date(2026, 4, 12)}),
    half_weekdays=frozenset({2}),
    absences=(Absence("asa", date(2026, 5, 1), date(2026, 5, 6), "ill"),),
    educator_away=(
        Away(date(2026, 5, 12), date(2026, 5, 13)),
        Away(date(2026, 5, 14), date(2026, 5, 14), "una"),
    ),
)

# day, learner, kind, why there is no school
DAYS = [
    (date(2026, 4, 2), None, DayKind.SCHOOL, None),
    (date(2026, 4, 8), None, DayKind.HALF, None),  # a Wednesday, and one of the half days
    (date(2026, 4, 22), None, DayKind.HALF, None),  # a Wednesday
    (date(2026, 3, 31), None, DayKind.OUT_OF_TERM, "outside every term"),
    (date(2026, 4, 1), None, DayKind.HALF, None),
    (date(2026, 5, 22), None, DayKind.SCHOOL, None),
    (date(2026, 5, 26), None, DayKind.OUT_OF_TERM, "outside every term"),
    (date(2026, 5, 25), None, DayKind.OUT_OF_TERM, "outside every term"),  # a bank holiday, between the terms
    (date(2026, 5, 27), None, DayKind.HALF, None),  # taught although between the terms, on a Wednesday
    (date(2026, 4, 18), None, DayKind.NOT_TAUGHT_WEEKDAY, "a Saturday, on which there is no school"),
    (
        date(2026, 4, 12),
        None,
        DayKind.NOT_TAUGHT_WEEKDAY,
        "a Sunday, on which there is no school",
    ),  # no half either
    (date(2026, 4, 11), None, DayKind.HALF, None),  # a Saturday, taught in the morning
    (date(2026, 4, 6), None, DayKind.PUBLIC_HOLIDAY, "a public holiday (Easter Monday)"),
    (date(2026, 5, 4), None, DayKind.SCHOOL, None),  # a bank holiday, taught anyway
    (date(2026, 4, 13), None, DayKind.OWN_HOLIDAY, "a holiday of this home (lambing)"),
    (date(2026, 4, 14), None, DayKind.SCHOOL, None),  # taught in the middle of the own holiday
    (date(2026, 4, 15), None, DayKind.OWN_HOLIDAY, "a holiday of this home (lambing)"),
    (date(2026, 4, 20), None, DayKind.OWN_HOLIDAY, "a holiday of this home"),
    (date(2026, 5, 1), "asa", DayKind.ABSENT, "a day on which the learner is absent"),
    (date(2026, 5, 6), "asa", DayKind.ABSENT, "a day on which the learner is absent"),
    (
        date(2026, 5, 4),
        "asa",
        DayKind.ABSENT,
        "a day on which the learner is absent",
    ),  # taught anyway, without Asa
    (date(2026, 5, 2), "asa", DayKind.NOT_TAUGHT_WEEKDAY, "a Saturday, on which there is no school"),
    (date(2026, 4, 30), "asa", DayKind.SCHOOL, None),
    (date(2026, 5, 7), "asa", DayKind.SCHOOL, None),
    (date(2026, 5, 1), "bo", DayKind.SCHOOL, None),
    (date(2026, 5, 1), None, DayKind.SCHOOL, None),
]


@pytest.mark.parametrize(("day", "learner", "kind", "why"), DAYS)
def test_each_day_has_its_kind_and_a_closed_one_its_reason(
    day: date, learner: str | None, kind: DayKind, why: str | None
) -> None:
    assert HOME.kind(day, learner) is kind
    assert HOME.why_closed(day, learner) == why
    assert HOME.is_school_day(day, learner) is (why is None)


def test_a_home_may_teach_on_every_public_holiday() -> None:
    easter_monday = date(2026, 4, 6)
    assert replace(HOME, public_holidays_off=False).is_school_day(easter_monday)
    assert not HOME.is_school_day(easter_monday)


def test_why_a_learner_is_absent_is_not_said() -> None:
    assert "ill" not in str(HOME.why_closed(date(2026, 5, 1), "asa")).split()


def test_the_educator_is_away_on_the_days_entered() -> None:
    away = [day for day in range(1, 32) if HOME.educator_is_away(date(2026, 5, day))]
    assert away == [12, 13, 14]
    assert not HOME.educator_is_away(date(2026, 5, 14), "mira")
    assert HOME.educator_is_away(date(2026, 5, 14), "una")
    assert HOME.educator_is_away(date(2026, 5, 12), "mira")


def test_the_next_school_day_passes_over_easter() -> None:
    assert HOME.next_school_day(date(2026, 4, 2)) == date(2026, 4, 7)
    assert HOME.next_school_day(date(2026, 4, 2), distance=2) == date(2026, 4, 8)
    assert HOME.next_school_day(date(2026, 4, 30), "asa") == date(2026, 5, 7)


def test_after_the_last_term_it_asks_for_the_next_term() -> None:
    with pytest.raises(NoSchoolDayError) as raised:
        HOME.next_school_day(date(2026, 7, 1))
    assert str(raised.value) == "no school day within a year after 2026-07-01; is the next term entered?"
    assert isinstance(raised.value, MarksteadError)
    assert raised.value.after == date(2026, 7, 1)


def test_too_few_days_are_not_said_to_be_none() -> None:
    with pytest.raises(NoSchoolDayError, match=r"^fewer than 9 school days within a year after 2026-06-20"):
        HOME.next_school_day(date(2026, 6, 20), distance=9)


def test_a_year_is_looked_through_to_its_last_day() -> None:
    only = date(2027, 9, 1)
    home = replace(HOME, terms=(), taught_anyway=frozenset({only}))
    assert home.next_school_day(only - timedelta(days=366)) == only
    with pytest.raises(NoSchoolDayError):
        home.next_school_day(only - timedelta(days=367))


def test_the_end_of_all_dates_is_an_ordinary_answer() -> None:
    with pytest.raises(NoSchoolDayError):
        HOME.next_school_day(date.max)
    assert HOME.kind(date.max) is DayKind.OUT_OF_TERM


@pytest.mark.parametrize("distance", [0, -1])
def test_a_distance_below_one_is_refused(distance: int) -> None:
    with pytest.raises(ValueError, match="the next is at distance 1"):
        HOME.next_school_day(date(2026, 4, 2), distance=distance)


def test_days_that_run_backwards_are_no_days() -> None:
    assert HOME.school_days(date(2026, 5, 2), date(2026, 5, 1)) == []


def test_a_calendar_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError):
        HOME.zone = "UTC"  # type: ignore[misc]
    assert not hasattr(HOME, "__dict__")


def test_a_half_day_ends_at_moment_where_nothing_else_is_said() -> None:
    assert HOME.half_day_ends == time(12)


def test_to_import_the_calendar_brings_in_neither_holidays_nor_pydantic() -> None:
    code = "import markstead.calendar, sys; print(sorted({'holidays', 'pydantic'} & set(sys.modules)))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


# ---- The same count by dateutil's recurrence rules, with the federal holidays written as rules of our own.


def _moment(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _each_day(first: date, last: date, weekdays: frozenset[int] = frozenset(range(7))) -> rrule:
    return rrule(DAILY, dtstart=_moment(first), until=_moment(last), byweekday=sorted(weekdays))


def _federal_rules() -> list[rrule]:
    """5 U.S.C. 6103(a), and Executive Order 11582: Saturday's is kept on Friday, Sunday's on Monday."""
    start, until = datetime(2025, 1, 1, tzinfo=UTC), datetime(2029, 12, 31, tzinfo=UTC)

    def yearly(**by: object) -> rrule:
        return rrule(YEARLY, dtstart=start, until=until, **by)

    moving = [(1, MO(3)), (2, MO(3)), (5, MO(-1)), (9, MO(1)), (10, MO(2)), (11, TH(4))]
    rules = [yearly(bymonth=month, byweekday=day) for month, day in moving]
    for month, day in ((1, 1), (6, 19), (7, 4), (11, 11), (12, 25)):
        rules.append(yearly(bymonth=month, bymonthday=day))
        rules.append(yearly(bymonth=month, bymonthday=day + 1, byweekday=MO))
        if day > 1:
            rules.append(yearly(bymonth=month, bymonthday=day - 1, byweekday=FR))
    rules.append(yearly(bymonth=12, bymonthday=31, byweekday=FR))
    return rules


FEDERAL = _federal_rules()


def counted(home: SchoolCalendar, learner: str | None) -> list[date]:
    """Every school day of a home, by recurrence rules."""
    planned = rruleset()
    for term in home.terms:
        planned.rrule(_each_day(term.first, term.last, home.weekdays))
    for span in home.holidays_off:
        planned.exrule(_each_day(span.first, span.last))
    for rule in FEDERAL if home.public_holidays_off else []:
        planned.exrule(rule)
    held = rruleset()
    for day in [*planned, *map(_moment, home.taught_anyway)]:
        held.rdate(day)
    for absence in home.absences:
        if absence.learner == learner:
            held.exrule(_each_day(absence.first, absence.last))
    return [moment.date() for moment in held]


american = calendars(country="US", region=None)
learners = st.sampled_from([None, *LEARNERS])


@settings(max_examples=120, deadline=None)
@given(american, learners, days, st.integers(1, 30))
def test_the_next_school_day_is_the_one_that_recurrence_rules_count(
    home: SchoolCalendar, learner: str | None, after: date, distance: int
) -> None:
    year = [day for day in counted(home, learner) if after < day <= after + timedelta(days=366)]
    if len(year) < distance:
        with pytest.raises(NoSchoolDayError):
            home.next_school_day(after, learner, distance)
    else:
        assert home.next_school_day(after, learner, distance) == year[distance - 1]


@settings(max_examples=60, deadline=None)
@given(american, learners)
def test_the_school_days_are_those_that_recurrence_rules_count(
    home: SchoolCalendar, learner: str | None
) -> None:
    assert home.school_days(date(2025, 7, 1), date(2027, 10, 1), learner) == counted(home, learner)


# ---- Laws of every home.


@settings(deadline=None)
@given(calendars(), learners, days)
@example(HOME, None, date(2026, 4, 2))
def test_the_next_school_day_is_later_and_none_lies_between(
    home: SchoolCalendar, learner: str | None, after: date
) -> None:
    try:
        found = home.next_school_day(after, learner)
    except NoSchoolDayError:
        assert home.school_days(after + timedelta(days=1), after + timedelta(days=366), learner) == []
        return
    assert found > after
    assert home.school_days(after + timedelta(days=1), found, learner) == [found]


@settings(deadline=None)
@given(calendars(), learners, days, st.integers(1, 15), st.integers(1, 15))
@example(HOME, "asa", date(2026, 4, 2), 9, 12)
def test_distances_add_up(home: SchoolCalendar, learner: str | None, after: date, one: int, two: int) -> None:
    try:
        whole = home.next_school_day(after, learner, one + two)
    except NoSchoolDayError:
        return
    assert home.next_school_day(home.next_school_day(after, learner, one), learner, two) == whole


@settings(deadline=None)
@given(calendars(), days, st.integers(0, 120))
@example(HOME, date(2026, 4, 1), 90)
def test_an_absence_only_ever_takes_days_away_and_only_from_its_learner(
    home: SchoolCalendar, first: date, length: int
) -> None:
    last = first + timedelta(days=length)
    always = replace(home, absences=())
    everybody = always.school_days(first, last)
    assert home.school_days(first, last) == everybody
    for learner in LEARNERS:
        theirs = set(home.school_days(first, last, learner))
        assert theirs <= set(everybody)
        taken = {day for day in everybody if home.kind(day, learner) is DayKind.ABSENT}
        assert theirs | taken == set(everybody)
        assert theirs.isdisjoint(taken)


@settings(deadline=None)
@given(calendars(), learners, days)
def test_a_day_is_a_school_day_or_has_a_reason(home: SchoolCalendar, learner: str | None, day: date) -> None:
    assert home.is_school_day(day, learner) is (home.why_closed(day, learner) is None)
    assert home.is_school_day(day, learner) is (day in home.school_days(day, day, learner))
