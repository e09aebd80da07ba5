"""School days: terms, holidays, half days, absences and the clock of the home."""

from markstead.calendar.school import (
    Absence,
    Away,
    DayKind,
    NamedSpan,
    NoSchoolDayError,
    SchoolCalendar,
    Term,
)

__all__ = ["Absence", "Away", "DayKind", "NamedSpan", "NoSchoolDayError", "SchoolCalendar", "Term"]
