"""Days and hours of school, from the record: a pure fold of facts, with the educator's own word over it.

The record tells a day by pages worked, a practice test or a unit test; its minutes are those written down with pages and
unit tests. Attendance that an educator took stands instead, day by day.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from fractions import Fraction

from markstead.calendar import DayKind, SchoolCalendar
from markstead.ledger.facts import (
    AttendanceTaken,
    FactReversed,
    PagesWorked,
    PersonId,
    PracticeTestOpened,
    Presence,
    UnitTestSat,
    UnitTestScored,
)
from markstead.ledger.serial import Entry
from markstead.speech import later


@dataclass(frozen=True, slots=True)
class SchoolDay:
    """One day of a learner of which the record knows."""

    day: date
    presence: Presence
    minutes: int
    """Those that are known."""
    by_word: bool
    """An educator took the attendance of this day; else it is read from the work."""
    minutes_by_word: bool
    """The minutes are the educator's, too."""
    pages: int
    """Pages that were written down; of a page worked twice, both."""
    unclocked: int
    """Pieces of work of which nobody wrote the minutes: the minutes are a least."""
    sittings: int

    @property
    def at_least(self) -> bool:
        """Whether there were more minutes than are known."""
        return not self.minutes_by_word and self.unclocked > 0 and self.presence is not Presence.ABSENT


@dataclass(slots=True)
class _Work:
    pages: int = 0
    minutes: int = 0
    unclocked: int = 0
    sittings: int = 0


TELLING = (
    PagesWorked.KIND,
    PracticeTestOpened.KIND,
    UnitTestSat.KIND,
    UnitTestScored.KIND,
    AttendanceTaken.KIND,
    FactReversed.KIND,
)
"""Facts that tell a school day; others may be left out."""


def school_days_of(
    entries: Iterable[Entry], learner: PersonId, calendar: SchoolCalendar
) -> tuple[SchoolDay, ...]:
    """Every day of a learner of which the record knows, the earliest first.

    Args:
        entries: the facts of the learner's copies, and attendance; in the order of the record, with their reversals.
        learner: whose days.
        calendar: tells half days, and on which day an instant falls.
    """
    kept = list(entries)
    gone = {e.fact.entry for e in kept if isinstance(e.fact, FactReversed)}
    work: dict[date, _Work] = {}
    taken: dict[date, AttendanceTaken] = {}
    sat: dict[str, date] = {}

    def on(day: date) -> _Work:
        return work.setdefault(day, _Work())

    for entry in kept:
        if entry.seq in gone:
            continue
        fact = entry.fact
        match fact:
            case PagesWorked():
                row = on(fact.day)
                row.pages += fact.last - fact.first + 1
                row.minutes += fact.minutes or 0
                row.unclocked += fact.minutes is None
            case PracticeTestOpened():
                on(calendar.day_of(entry.at)).unclocked += 1
            case UnitTestSat():
                on(fact.day).sittings += 1
                sat[fact.copy] = fact.day
            case UnitTestScored():
                row = on(sat.get(fact.copy, calendar.day_of(entry.at)))
                row.minutes += fact.minutes or 0
                row.unclocked += fact.minutes is None
            case AttendanceTaken() if fact.learner == learner:
                taken[fact.day] = fact
            case _:
                pass
    return tuple(
        _day(day, work.get(day, _Work()), taken.get(day), calendar)
        for day in sorted(work.keys() | taken.keys())
    )


def _day(day: date, work: _Work, word: AttendanceTaken | None, calendar: SchoolCalendar) -> SchoolDay:
    usual = Presence.HALF if calendar.kind(day) is DayKind.HALF else Presence.FULL
    presence = word.presence if word is not None else usual
    told = word.minutes if word is not None else None
    minutes = work.minutes if told is None else told
    return SchoolDay(
        day,
        presence,
        0 if presence is Presence.ABSENT and told is None else minutes,
        word is not None,
        told is not None,
        work.pages,
        work.unclocked,
        work.sittings,
    )


@dataclass(frozen=True, slots=True)
class Sum:
    """Days and minutes of a span."""

    full: int
    half: int
    absent: int
    minutes: int
    at_least: bool
    """On some day there were more minutes than are written down."""
    unclocked: int
    """Pieces of work without minutes, on days whose minutes the educator did not give."""
    by_word: int
    """Days of which the educator took the attendance."""

    def days(self, half_counts: Fraction = Fraction(1, 2)) -> Fraction:
        """Days of school; a half day counts for so much."""
        return self.full + self.half * half_counts


def sum_of(days: Iterable[SchoolDay], first: date, last: date) -> Sum:
    """Add up the days from `first` to `last`, both included."""
    kept = [d for d in days if first <= d.day <= last]
    there = [d for d in kept if d.presence is not Presence.ABSENT]
    return Sum(
        sum(d.presence is Presence.FULL for d in kept),
        sum(d.presence is Presence.HALF for d in kept),
        len(kept) - len(there),
        sum(d.minutes for d in kept),
        any(d.at_least for d in there),
        sum(d.unclocked for d in there if d.at_least),
        sum(d.by_word for d in kept),
    )


class Seen(StrEnum):
    """What the register shows for a day."""

    FULL = later("full day")
    HALF = later("half day")
    ABSENT = later("absent")
    NOTHING = later("a school day with nothing on the record")
    CLOSED = later("no school")


def register(
    days: Sequence[SchoolDay], first: date, last: date, calendar: SchoolCalendar, learner: PersonId
) -> tuple[tuple[date, Seen], ...]:
    """What is known of every day from `first` to `last`: the record's word, and where it has none, the calendar's."""
    known = {d.day: d.presence for d in days}
    found = []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        if day in known:
            found.append((day, Seen(known[day].value)))
        else:
            kind = calendar.kind(day, learner)
            found.append((day, _UNKNOWN.get(kind, Seen.CLOSED)))
    return tuple(found)


_UNKNOWN = {DayKind.SCHOOL: Seen.NOTHING, DayKind.HALF: Seen.NOTHING, DayKind.ABSENT: Seen.ABSENT}
