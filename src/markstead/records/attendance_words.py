"""A school year's attendance in words: one frozen page that the screen and the paper both show."""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from markstead.ledger.facts import Presence
from markstead.records.attendance import AttendanceYear
from markstead.records.figures import all_of, day_count, hours, hours_short, number, percent
from markstead.records.report_words import Told, hours_name
from markstead.records.typeset import file_name, make_pdf
from markstead.rules.attendance import SchoolDay, Seen, Sum
from markstead.rules.requirements import LOCAL_LAW
from markstead.speech import date_words, day_short, month_words, plural, span_words

SIGNS = {
    Seen.FULL: "full",
    Seen.HALF: "half",
    Seen.ABSENT: "absent",
    Seen.NOTHING: "none",
    Seen.CLOSED: "closed",
}
"""What the register draws for a day; the words beside it say the same."""


@dataclass(frozen=True, slots=True)
class DayCell:
    """One day of the register."""

    number: str
    sign: str
    words: str


@dataclass(frozen=True, slots=True)
class MonthLine:
    """One month of the register."""

    name: str
    cells: tuple[DayCell, ...]
    pad: str
    """As many letters as the month lacks days: a table wants its empty cells."""
    days: str
    hours: str


@dataclass(frozen=True, slots=True)
class PeriodLine:
    """A reporting period."""

    name: str
    span: str
    first: str
    last: str
    days: str
    hours: str
    half: int
    absent: int
    begun: bool


@dataclass(frozen=True, slots=True)
class AskedLine:
    """One thing that the profile asks, against what the record has."""

    name: str
    asked: str
    there: str
    share: float
    """Of what is asked, at most 1."""
    gone: float
    """Share of the school days that is over."""
    verdict: str


@dataclass(frozen=True, slots=True)
class DayLine:
    """A day that the educator may want to mend."""

    day: str
    iso: str
    what: str
    minutes: str
    how: str


@dataclass(frozen=True, slots=True)
class AttendanceView:
    """Everything that the page and the paper of a year's attendance may use."""

    title: str
    household: str
    learner: str
    key: str
    year: str
    span_name: str
    span: str
    as_of: str
    figures: tuple[Told, ...]
    asked: tuple[AskedLine, ...]
    months: tuple[MonthLine, ...]
    periods: tuple[PeriodLine, ...]
    total_days: str
    total_hours: str
    profile: str
    source: str
    note: str
    notes: tuple[str, ...]
    latest: tuple[DayLine, ...]
    nothing: tuple[DayLine, ...]
    law: str
    file: str


def attendance_view(found: AttendanceYear) -> AttendanceView:
    """Put a year into words."""
    rules, who = found.requirements, found.learner
    half = rules.half_day_counts
    name = found.year.name
    return AttendanceView(
        title="Attendance and hours",
        household=found.home.name,
        learner=who.name,
        key=who.key,
        year=f"year {who.year}" if who.year is not None else "",
        span_name=name[:1].upper() + name[1:],
        span=span_words(found.year.first, found.year.last),
        as_of=date_words(found.as_of),
        figures=_figures(found),
        asked=tuple(_asked(found)),
        months=tuple(
            MonthLine(
                month_words(row.first),
                tuple(_cell(n, seen) for n, seen in enumerate(row.days, 1)),
                " " * (31 - len(row.days)),
                number(row.sum.days(half)) if row.first <= found.as_of else "",
                _hours(row.sum) if row.first <= found.as_of else "",
            )
            for row in found.months
        ),
        periods=tuple(
            PeriodLine(
                row.span.name[:1].upper() + row.span.name[1:],
                span_words(row.span.first, row.span.last),
                row.span.first.isoformat(),
                row.span.last.isoformat(),
                number(row.sum.days(half)) if row.begun else "",
                _hours(row.sum) if row.begun else "",
                row.sum.half,
                row.sum.absent,
                row.begun,
            )
            for row in found.periods
        ),
        total_days=number(found.counted),
        total_hours=_hours(found.sum),
        profile=rules.title,
        source=rules.source.rstrip(".") + ".",
        note=rules.note,
        notes=_notes(found),
        latest=tuple(_line(day) for day in reversed(found.days[-10:])),
        nothing=tuple(
            DayLine(day_short(day), day.isoformat(), "nothing on the record", "", "") for day in found.nothing
        ),
        law=LOCAL_LAW,
        file=file_name("attendance", who.key, str(found.year.first.year), str(found.as_of)),
    )


def _hours(found: Sum) -> str:
    return hours_short(found.minutes, at_least=found.at_least)


def _figures(found: AttendanceYear) -> tuple[Told, ...]:
    total = found.sum
    mean = Fraction(total.minutes, total.full + total.half) if total.full + total.half else None
    halves = f"{plural(total.half, 'half day')} among them" if total.half else ""
    return (
        Told("Days of school", day_count(found.counted), halves),
        Told(
            hours_name(total),
            hours(total.minutes),
            f"{hours(round(mean))} a day on average" if mean is not None else "",
        ),
        Told("Absent", plural(total.absent + _absent_by_calendar(found), "day"), ""),
        Told(
            "School days so far",
            f"{found.school_days_gone} of {found.school_days}",
            f"{percent(found.gone)} of the calendar's year",
        ),
    )


def _absent_by_calendar(found: AttendanceYear) -> int:
    """Days on which the calendar has the learner absent and no attendance was taken."""
    seen = sum(s is Seen.ABSENT for row in found.months for s in row.days)
    return seen - sum(d.presence is Presence.ABSENT for d in found.days)


def _asked(found: AttendanceYear) -> list[AskedLine]:
    rules = found.requirements
    gone = float(found.gone)
    lines = []
    if rules.days is not None:
        share = found.counted / rules.days
        lines.append(
            AskedLine(
                "Days",
                str(rules.days),
                number(found.counted),
                float(min(share, Fraction(1))),
                gone,
                _verdict(found, found.counted, Fraction(rules.days), "days"),
            )
        )
    asked = found.hours_asked
    if asked is not None:
        there = Fraction(found.sum.minutes, 60)
        lines.append(
            AskedLine(
                f"Hours (year {found.learner.year})",
                str(asked),
                number(there, 1),
                float(min(there / asked, Fraction(1))),
                gone,
                _verdict(found, there, Fraction(asked), "hours"),
            )
        )
    return lines


def _verdict(found: AttendanceYear, there: Fraction, asked: Fraction, what: str) -> str:
    """How far it has come, and what the rest of the year has to bring; a count, no forecast."""
    left = asked - there
    if left <= 0:
        return f"Reached: {percent(there / asked)} of what is asked."
    days = found.school_days - found.school_days_gone
    text = f"{percent(there / asked)} of what is asked, {percent(found.gone)} of the school days gone; "
    if days <= 0:
        return f"{text}{number(left, 1)} {what} short at the end of the calendar."
    if what == "days":
        short = left - days
        rest = f"{number(left)} more are needed, {plural(days, 'school day')} are left"
        return f"{text}{rest}." if short <= 0 else f"{text}{rest}: {number(short)} too few in the calendar."
    each = left / days
    return (
        f"{text}{number(left, 1)} hours are left for {plural(days, 'school day')}, {number(each, 1)} a day."
    )


def _cell(day: int, seen: Seen | None) -> DayCell:
    if seen is None:
        return DayCell(str(day), "", "")
    return DayCell(str(day), SIGNS[seen], str(seen))


def _notes(found: AttendanceYear) -> tuple[str, ...]:
    rules = found.requirements
    notes = []
    by_word, all_days = found.sum.by_word, len(found.days)
    if all_days:
        notes.append(
            f"Of {plural(all_days, 'day')}, {by_word} stand by the attendance that was taken and "
            f"{all_days - by_word} by the work on the record. A half day counts as {number(rules.half_day_counts)} of a day."
        )
    if found.sum.at_least:
        pieces = plural(found.sum.unclocked, "piece")
        notes.append(f"≥: at least. Of {pieces} of work nobody wrote down the minutes.")
    if found.nothing:
        days = plural(len(found.nothing), "school day")
        notes.append(f"Of {days} nothing is on the record.")
    if rules.hours and found.hours_asked is None:
        year = "no school year" if found.learner.year is None else f"year {found.learner.year}"
        notes.append(f"The profile asks no hours of {found.learner.name} ({year}).")
    return tuple(notes)


def _line(day: SchoolDay) -> DayLine:
    minutes = hours(day.minutes, at_least=day.at_least) if day.minutes or day.at_least else ""
    work = all_of(
        [
            f"{plural(day.pages, 'page')}" if day.pages else "",
            f"{plural(day.sittings, 'unit test')}" if day.sittings else "",
        ],
        ", ",
    )
    how = "attendance taken" if day.by_word else "by the record"
    return DayLine(
        day_short(day.day), day.day.isoformat(), str(day.presence), minutes, all_of([how, work], ": ")
    )


def as_pdf(view: AttendanceView, *, day: date, paper: str) -> bytes:
    """The register on paper.

    Raises:
        InputError: there is no such paper.
    """
    return make_pdf("attendance", view, day=day, paper=paper)


def as_values(found: AttendanceYear) -> dict[str, Any]:
    """The year as plain values, for JSON."""
    rules = found.requirements
    half = rules.half_day_counts
    return {
        "learner": found.learner.key,
        "first": found.year.first.isoformat(),
        "last": found.year.last.isoformat(),
        "as_of": found.as_of.isoformat(),
        "profile": rules.id,
        "days": float(found.counted),
        "full_days": found.sum.full,
        "half_days": found.sum.half,
        "absent_days": found.sum.absent,
        "minutes": found.sum.minutes,
        "minutes_are_a_least": found.sum.at_least,
        "days_asked": rules.days,
        "hours_asked": found.hours_asked,
        "school_days": found.school_days,
        "school_days_gone": found.school_days_gone,
        "nothing_on": [day.isoformat() for day in found.nothing],
        "periods": [
            {
                "name": row.span.name,
                "first": row.span.first.isoformat(),
                "last": row.span.last.isoformat(),
                "days": float(row.sum.days(half)),
                "minutes": row.sum.minutes,
            }
            for row in found.periods
        ],
        "by_day": [
            {
                "day": d.day.isoformat(),
                "presence": str(d.presence),
                "minutes": d.minutes,
                "minutes_are_a_least": d.at_least,
                "taken": d.by_word,
            }
            for d in found.days
        ],
    }
