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
from markstead.speech import begun, counted, date_words, day_short, month_words, plural, say, span_words

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
        title=say("Attendance and hours"),
        household=found.home.name,
        learner=who.name,
        key=who.key,
        year=say("year {year}", year=who.year) if who.year is not None else "",
        span_name=begun(name),
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
                begun(row.span.name),
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
        profile=say(rules.title),
        source=say(rules.source).rstrip(".") + ".",
        note=say(rules.note),
        notes=_notes(found),
        latest=tuple(_line(day) for day in reversed(found.days[-10:])),
        nothing=tuple(
            DayLine(day_short(day), day.isoformat(), say("nothing on the record"), "", "")
            for day in found.nothing
        ),
        law=say(LOCAL_LAW),
        file=file_name("attendance", who.key, str(found.year.first.year), str(found.as_of)),
    )


def _hours(found: Sum) -> str:
    return hours_short(found.minutes, at_least=found.at_least)


def _figures(found: AttendanceYear) -> tuple[Told, ...]:
    total = found.sum
    mean = Fraction(total.minutes, total.full + total.half) if total.full + total.half else None
    halves = counted(total.half, "{n} half day among them", "{n} half days among them") if total.half else ""
    return (
        Told(say("Days of school"), day_count(found.counted), halves),
        Told(
            hours_name(total),
            hours(total.minutes),
            say("{hours} a day on average", hours=hours(round(mean))) if mean is not None else "",
        ),
        Told(say("Absent"), plural(total.absent + _absent_by_calendar(found), "day"), ""),
        Told(
            say("School days so far"),
            say("{part} of {whole}", part=found.school_days_gone, whole=found.school_days),
            say("{percent} of the calendar's year", percent=percent(found.gone)),
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
                say("Days"),
                str(rules.days),
                number(found.counted),
                float(min(share, Fraction(1))),
                gone,
                _verdict(found, found.counted, Fraction(rules.days), in_hours=False),
            )
        )
    asked = found.hours_asked
    if asked is not None:
        there = Fraction(found.sum.minutes, 60)
        lines.append(
            AskedLine(
                say("Hours (year {number})", number=found.learner.year),
                str(asked),
                number(there, 1),
                float(min(there / asked, Fraction(1))),
                gone,
                _verdict(found, there, Fraction(asked), in_hours=True),
            )
        )
    return lines


def _verdict(found: AttendanceYear, there: Fraction, asked: Fraction, *, in_hours: bool) -> str:
    """How far it has come, and what the rest of the year has to bring; a count, no forecast."""
    left = asked - there
    if left <= 0:
        return say("Reached: {percent} of what is asked.", percent=percent(there / asked))
    days = found.school_days - found.school_days_gone
    return say(
        "{percent} of what is asked, {gone} of the school days gone; {rest}",
        percent=percent(there / asked),
        gone=percent(found.gone),
        rest=_rest(left, days, in_hours=in_hours),
    )


def _rest(left: Fraction, days: int, *, in_hours: bool) -> str:
    """What is left, and for how many school days; it ends the sentence."""
    if days <= 0 and in_hours:
        return say("{number} hours short at the end of the calendar.", number=number(left, 1))
    if days <= 0:
        return say("{number} days short at the end of the calendar.", number=number(left, 1))
    if in_hours:
        return counted(
            days,
            "{number} hours are left for {n} school day, {each} a day.",
            "{number} hours are left for {n} school days, {each} a day.",
            number=number(left, 1),
            each=number(left / days, 1),
        )
    short = left - days
    if short <= 0:
        return counted(
            days,
            "{number} more are needed, {n} school day are left.",
            "{number} more are needed, {n} school days are left.",
            number=number(left),
        )
    return counted(
        days,
        "{number} more are needed, {n} school day are left: {short} too few in the calendar.",
        "{number} more are needed, {n} school days are left: {short} too few in the calendar.",
        number=number(left),
        short=number(short),
    )


def _cell(day: int, seen: Seen | None) -> DayCell:
    if seen is None:
        return DayCell(str(day), "", "")
    return DayCell(str(day), SIGNS[seen], say(str(seen)))


def _notes(found: AttendanceYear) -> tuple[str, ...]:
    rules = found.requirements
    notes = []
    by_word, all_days = found.sum.by_word, len(found.days)
    if all_days:
        notes.append(
            counted(
                all_days,
                "Of {n} day, {taken} stand by the attendance that was taken and {worked} by the work on the record. "
                "A half day counts as {share} of a day.",
                "Of {n} days, {taken} stand by the attendance that was taken and {worked} by the work on the record. "
                "A half day counts as {share} of a day.",
                taken=by_word,
                worked=all_days - by_word,
                share=number(rules.half_day_counts),
            )
        )
    if found.sum.at_least:
        notes.append(
            counted(
                found.sum.unclocked,
                "≥: at least. Of {n} piece of work nobody wrote down the minutes.",
                "≥: at least. Of {n} pieces of work nobody wrote down the minutes.",
            )
        )
    if found.nothing:
        notes.append(
            counted(
                len(found.nothing),
                "Of {n} school day nothing is on the record.",
                "Of {n} school days nothing is on the record.",
            )
        )
    if rules.hours and found.hours_asked is None:
        year = found.learner.year
        notes.append(
            say(
                "The profile asks no hours of {learner} ({year}).",
                learner=found.learner.name,
                year=say("no school year") if year is None else say("year {year}", year=year),
            )
        )
    return tuple(notes)


def _line(day: SchoolDay) -> DayLine:
    minutes = hours(day.minutes, at_least=day.at_least) if day.minutes or day.at_least else ""
    work = all_of(
        [
            plural(day.pages, "page") if day.pages else "",
            plural(day.sittings, "unit test") if day.sittings else "",
        ],
        ", ",
    )
    how = say("attendance taken") if day.by_word else say("by the record")
    return DayLine(
        day_short(day.day), day.day.isoformat(), say(str(day.presence)), minutes, all_of([how, work], ": ")
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
