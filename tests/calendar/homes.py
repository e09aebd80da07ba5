"""Random homes for the laws of the calendar; everything is invented."""

from datetime import date, time, timedelta
from typing import Any

from hypothesis import strategies as st

from markstead.calendar import Absence, Away, NamedSpan, SchoolCalendar, Term

FIRST, LAST = date(2025, 8, 1), date(2027, 8, 31)
LEARNERS = ("asa", "bo")
ZONES = (
    "Europe/London",
    "Pacific/Auckland",
    "America/New_York",
    "Australia/Lord_Howe",
    "Africa/Cairo",
    "America/Havana",
    "America/Santiago",
    "Asia/Kathmandu",
    "Pacific/Kiritimati",
    "UTC",
)
PLACES = (("US", None), ("GB", "ENG"), ("DE", "BY"), ("NZ", None), ("CA", "QC"))

days = st.dates(FIRST, LAST)
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
weekday_sets = st.frozensets(st.integers(0, 6))


@st.composite
def spans(draw: st.DrawFn, longest: int = 20) -> tuple[date, date]:
    first = draw(days)
    return first, first + timedelta(days=draw(st.integers(0, longest)))


@st.composite
def term_spans(draw: st.DrawFn) -> list[tuple[date, date]]:
    """One to three terms that do not overlap, in any order."""
    count = draw(st.integers(1, 3))
    cuts = sorted(draw(st.lists(days, min_size=2 * count, max_size=2 * count, unique=True)))
    return draw(st.permutations(list(zip(cuts[::2], cuts[1::2], strict=True))))


@st.composite
def calendars(draw: st.DrawFn, **fixed: Any) -> SchoolCalendar:
    """Any home that the file can say."""
    country, region = draw(st.sampled_from(PLACES))
    few = st.lists(spans(), max_size=3)
    drawn = {
        "zone": draw(st.sampled_from(ZONES)),
        "country": country,
        "region": region,
        "terms": tuple(Term(draw(words), first, last) for first, last in draw(term_spans())),
        "weekdays": draw(st.frozensets(st.integers(0, 6), min_size=1)),
        "holidays_off": tuple(NamedSpan(draw(words), *span) for span in draw(few)),
        "taught_anyway": draw(st.frozensets(days, max_size=4)),
        "half_days": draw(st.frozensets(days, max_size=4)),
        "half_weekdays": draw(weekday_sets),
        "public_holidays_off": draw(st.booleans()),
        "absences": tuple(Absence(draw(st.sampled_from(LEARNERS)), *span, draw(words)) for span in draw(few)),
        "educator_away": tuple(Away(*span, draw(st.none() | words)) for span in draw(few)),
        "half_day_ends": draw(st.times() | st.just(time(12))),
    }
    return SchoolCalendar(**(drawn | fixed))
