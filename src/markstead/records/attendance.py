"""Days and hours of a learner's school year, held against the profile that the home has chosen."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from markstead.records.home import Home, Somebody
from markstead.records.past import entries_of, past_of
from markstead.records.required import chosen
from markstead.rules.attendance import TELLING, SchoolDay, Seen, Sum, register, school_days_of, sum_of
from markstead.rules.requirements import Requirements
from markstead.rules.spans import Span, periods_of, school_year, taught_span


@dataclass(frozen=True, slots=True)
class MonthRow:
    """One month of a year."""

    first: date
    days: tuple[Seen | None, ...]
    """For each day of the month; None where it is not in the year, or still to come."""
    sum: Sum


@dataclass(frozen=True, slots=True)
class PeriodRow:
    """A reporting period of the profile."""

    span: Span
    sum: Sum
    begun: bool


@dataclass(frozen=True, slots=True)
class AttendanceYear:
    """A learner's school year, as the record had it at the end of a day."""

    home: Home
    learner: Somebody
    year: Span
    as_of: date
    requirements: Requirements
    months: tuple[MonthRow, ...]
    periods: tuple[PeriodRow, ...]
    sum: Sum
    days: tuple[SchoolDay, ...]
    """Those that the record knows, the earliest first."""
    school_days: int
    """Of the home's calendar in the whole year."""
    school_days_gone: int
    """Of those, up to `as_of`."""
    nothing: tuple[date, ...]
    """School days up to `as_of` of which nothing is on the record."""

    @property
    def counted(self) -> Fraction:
        """Days of school, half days as the profile counts them."""
        return self.sum.days(self.requirements.half_day_counts)

    @property
    def hours_asked(self) -> int | None:
        return self.requirements.hours_for(self.learner.year)

    @property
    def gone(self) -> Fraction:
        """Share of the year's school days that is over."""
        return Fraction(self.school_days_gone, self.school_days) if self.school_days else Fraction(1)


def attendance_year(home: Home, learner: str, day: date, *, as_of: date) -> AttendanceYear:
    """Read the school year that holds a day, as the record stood at the end of `as_of`.

    Raises:
        UnknownError: there is no such learner.
    """
    past = past_of(home, as_of)
    who = past.learner(learner)
    rules = chosen(home.id, past.end)
    calendar = past.home.calendar
    year = school_year(calendar, day, rules.year_begins)
    known = school_days_of(entries_of(past, who.id, since=year.first, kinds=TELLING), who.id, calendar)
    until = min(year.last, as_of)
    inside = [d for d in known if year.first <= d.day <= until]
    seen = dict(register(known, year.first, until, calendar, who.id)) if until >= year.first else {}
    whole = calendar.school_days(year.first, year.last)
    return AttendanceYear(
        past.home,
        who,
        year,
        as_of,
        rules,
        tuple(_months(taught_span(calendar, year), year, inside, seen)),
        tuple(
            PeriodRow(span, sum_of(inside, span.first, span.last), span.first <= as_of)
            for span in periods_of(calendar, year, rules.periods)
        ),
        sum_of(inside, year.first, until),
        tuple(inside),
        len(whole),
        sum(d <= as_of for d in whole),
        tuple(d for d, s in seen.items() if s is Seen.NOTHING and d < as_of),
    )


def _months(taught: Span, year: Span, known: Sequence[SchoolDay], seen: dict[date, Seen]) -> list[MonthRow]:
    """The months from the first to the last school day, and those outside in which something was done."""
    first = min([taught.first, *(d.day for d in known)]).replace(day=1)
    last = max([taught.last, *(d.day for d in known)])
    rows = []
    while first <= last:
        following = (first + timedelta(days=31)).replace(day=1)
        days = [first + timedelta(days=n) for n in range((following - first).days)]
        rows.append(
            MonthRow(
                first,
                tuple(seen.get(day) if year.holds(day) else None for day in days),
                sum_of(known, first, following - timedelta(days=1)),
            )
        )
        first = following
    return rows
