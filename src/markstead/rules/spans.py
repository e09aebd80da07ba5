"""Spans of days that papers are made for: the school year, its reporting periods, and the day on which papers are sent."""

from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from markstead.calendar import SchoolCalendar, Term
from markstead.speech import later, say

SUMMER = timedelta(days=35)
"""Terms with so many days between them belong to two school years; between two terms of one year there are fewer."""
WAITS = 7
"""Where the dispatch day is no school day, papers wait so many days at most for the next one."""


@dataclass(frozen=True, slots=True)
class Span:
    """Days from `first` to `last`, both included, under a name."""

    name: str
    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError(f"{self.name} runs from {self.first} to {self.last}; it runs forwards")

    def holds(self, day: date) -> bool:
        return self.first <= day <= self.last


class Periods(StrEnum):
    """Into which parts a school year is cut for reports."""

    YEAR = "year"
    HALVES = "halves"
    THIRDS = "thirds"
    QUARTERS = "quarters"
    TERMS = "terms"


_PARTS = {Periods.YEAR: 1, Periods.HALVES: 2, Periods.THIRDS: 3, Periods.QUARTERS: 4}
_NAMES = {
    Periods.HALVES: (later("first half"), later("second half")),
    Periods.THIRDS: (later("first third"), later("second third"), later("third third")),
    Periods.QUARTERS: (
        later("first quarter"),
        later("second quarter"),
        later("third quarter"),
        later("fourth quarter"),
    ),
}


def _years(terms: tuple[Term, ...]) -> list[list[Term]]:
    years: list[list[Term]] = []
    for term in sorted(terms, key=lambda t: (t.first, t.last)):
        if years and term.first - max(t.last for t in years[-1]) < SUMMER:
            years[-1].append(term)
        else:
            years.append([term])
    return years


def _titled(first: date, last: date) -> str:
    return f"{first.year}" if first.year == last.year else f"{first.year}/{last.year % 100:02d}"


def school_year(calendar: SchoolCalendar, day: date, begins: tuple[int, int] | None = None) -> Span:
    """The school year that holds a day.

    With `begins` (month, day) it runs from that day of the year to the day before it in the next; else from the first day of
    the calendar's terms that lie close together to the day before the next such terms, and at most for a year. A day before
    all terms is counted to the first school year.
    """
    if begins is not None:
        first = date(day.year, *begins)
        if first > day:
            first = date(day.year - 1, *begins)
        last = date(first.year + 1, *begins) - timedelta(days=1)
        return Span(say("school year {years}", years=_titled(first, last)), first, last)
    years = _years(calendar.terms)
    if not years:
        return Span(
            say("year {calendar_year}", calendar_year=day.year), date(day.year, 1, 1), date(day.year, 12, 31)
        )
    place = max((n for n, terms in enumerate(years) if terms[0].first <= day), default=0)
    first, end = years[place][0].first, max(term.last for term in years[place])
    last = max(end, first + timedelta(days=364))
    if place + 1 < len(years):
        last = min(last, years[place + 1][0].first - timedelta(days=1))
    return Span(say("school year {years}", years=_titled(first, end)), first, last)


def taught_span(calendar: SchoolCalendar, year: Span) -> Span:
    """From the first to the last school day of a year; the year itself where none is entered."""
    days = calendar.school_days(year.first, year.last)
    return Span(year.name, days[0], days[-1]) if days else year


def periods_of(calendar: SchoolCalendar, year: Span, periods: Periods) -> tuple[Span, ...]:
    """The reporting periods of a school year.

    Halves, thirds and quarters have equal numbers of school days, the earlier ones one more where it does not come out even;
    days between them belong to the period before, so that no day of the year is left out.
    """
    if periods is Periods.TERMS:
        inside = [t for t in sorted(calendar.terms, key=lambda t: t.first) if year.holds(t.first)]
        return tuple(
            Span(t.name or say("term {number}", number=n), t.first, t.last) for n, t in enumerate(inside, 1)
        ) or (year,)
    parts = _PARTS[periods]
    days = calendar.school_days(year.first, year.last)
    if parts == 1 or len(days) < parts:
        return (year,)
    starts = [year.first, *(days[-(-n * len(days) // parts)] for n in range(1, parts))]
    ends = [*(start - timedelta(days=1) for start in starts[1:]), year.last]
    return tuple(
        Span(say(_NAMES[periods][n]), first, last)
        for n, (first, last) in enumerate(zip(starts, ends, strict=True))
    )


def next_month(month: date) -> date:
    """The first day of the month after."""
    return (month.replace(day=1) + timedelta(days=31)).replace(day=1)


def month_before(month: date) -> date:
    """The first day of the month before."""
    return (month.replace(day=1) - timedelta(days=1)).replace(day=1)


def send_day(calendar: SchoolCalendar, dispatch_day: int, month: date) -> date:
    """The day of a month on which test papers go to the school.

    The programme's day where it is a school day; else the next school day, if one comes within a week; else, in the holidays,
    the next day from Monday to Friday.
    """
    nominal = month.replace(day=dispatch_day)
    week = [nominal + timedelta(days=n) for n in range(WAITS + 1)]
    school = next((day for day in week if calendar.is_school_day(day)), None)
    return school or next(day for day in week if day.weekday() < 5)


def latest_dispatch(calendar: SchoolCalendar, dispatch_day: int, today: date) -> tuple[date, date]:
    """The programme's latest dispatch day up to today, and the day on which papers really went or go."""
    month = today if today.day >= dispatch_day else month_before(today)
    return month.replace(day=dispatch_day), send_day(calendar, dispatch_day, month)
