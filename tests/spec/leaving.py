"""What papers and packages say, as a table: what is so, what is asked, what is answered, and the rule that answers it.

The table is run by `test_leaving.py` and printed as `docs/reference/what-leaves-the-house.md`. Rules of the trade are common
practice, no source; New York's figures are those of 8 NYCRR 100.10 as the profile that is shipped names it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

from markstead.calendar import SchoolCalendar, Term
from markstead.errors import InputError
from markstead.records import samples
from markstead.records.backups import Backups, Trouble, is_due, is_old, to_drop
from markstead.records.figures import number
from markstead.records.spreadsheets import guarded, plain
from markstead.rules.programme import ResultOf
from markstead.rules.requirements import NONE, Requirements
from markstead.rules.requirements_load import shipped
from markstead.rules.spans import latest_dispatch, send_day
from markstead.rules.transcript import credits_of, totals
from tests.records.test_backups import NOON, day_of, made
from tests.rules.test_attendance import CALENDAR, WORK, jan
from tests.rules.test_transcript import RULE, programme, results

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
HERE = Path()
SPRING = SchoolCalendar(
    zone="Europe/London",
    country="GB",
    region="ENG",
    terms=(Term("spring", date(2026, 1, 5), date(2026, 3, 27)),),
    weekdays=frozenset(range(5)),
)
NEW_YORK = next(profile for profile in shipped() if profile.id == "new-york-100-10")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table; `found` asks the rule itself."""

    given: str
    asked: str
    answer: str
    found: Callable[[], object]


def _goes(month: date) -> str:
    return str(send_day(SPRING, 1, month))


def _due(profile: Requirements, done: int, planned: int) -> str:
    return "yes" if profile.explanation_due(done, Fraction(planned)) else "no"


def _days() -> tuple[Fraction, int]:
    from markstead.rules.attendance import school_days_of, sum_of

    found = sum_of(school_days_of(WORK, "asa", CALENDAR), jan(12), jan(17))
    return found.days(), found.minutes


def _mean(rule: ResultOf) -> str:
    rules = replace(RULE, result_of=rule)
    mean = totals(results(rules), programme(rules)).mean
    return "none" if mean is None else number(mean)


def _refusal(content: bytes) -> str:
    try:
        samples.draw_anew(content)
    except InputError as error:
        return f"refused: found {error.problems[0].found}"
    return "kept"


def _yes(answer: bool) -> str:  # the answer is all that it is given
    return "yes" if answer else "no"


def _left(days: int) -> int:
    kept = [made(NOON - n * DAY) for n in range(days)]
    return days - len(to_drop(kept, day_of))


PARTS: dict[str, tuple[Row, ...]] = {
    "The report": (
        Row("New York's profile, 100 pages planned", "is 80 to be explained", "no", lambda: _due(NEW_YORK, 80, 100)),
        Row("New York's profile, 100 pages planned", "is 79 to be explained", "yes", lambda: _due(NEW_YORK, 79, 100)),
        Row("New York's profile, 5 pages planned", "is 4 to be explained", "no", lambda: _due(NEW_YORK, 4, 5)),
        Row("New York's profile, nothing planned", "is 0 to be explained", "no", lambda: _due(NEW_YORK, 0, 0)),
        Row("no profile, 100 pages planned", "is 1 to be explained", "no", lambda: _due(NONE, 1, 100)),
    ),
    "Dispatch": (
        Row("terms from 5 January to 27 March, the 1st of the programme", "when do papers of February go", "2026-02-02", lambda: _goes(date(2026, 2, 1))),
        Row("the 1st is in the holidays, term begins within a week", "when do papers of January go", "2026-01-05", lambda: _goes(date(2026, 1, 1))),
        Row("the 1st is in the holidays, no school day within a week", "when do papers of August go", "2026-08-03", lambda: _goes(date(2026, 8, 1))),
        Row("today is 20 February", "which dispatch is the latest", "2026-02-02", lambda: latest_dispatch(SPRING, 1, date(2026, 2, 20))[1]),
        Row("today is 4 January, before the day", "which dispatch is the latest", "2026-01-05", lambda: latest_dispatch(SPRING, 1, date(2026, 1, 4))[1]),
    ),
    "Attendance": (
        Row("New York's profile", "days a year", "180", lambda: NEW_YORK.days),
        Row("New York's profile", "hours of year 6", "900", lambda: NEW_YORK.hours_for(6)),
        Row("New York's profile", "hours of year 7", "990", lambda: NEW_YORK.hours_for(7)),
        Row("New York's profile", "hours of a learner without a year", "None", lambda: NEW_YORK.hours_for(None)),
        Row("work on five school days, one of them half by the calendar, and on a Saturday", "days", "5.5", lambda: number(_days()[0])),
        Row("pages of 37, 23, 11 and 13 minutes, a unit test of 29", "minutes", "113", lambda: _days()[1]),
    ),
    "Transcript": (
        Row("17 of 20 and 19 of 20; 20 of 30, then 27 of 30; results of what passed", "mean", "90", lambda: _mean(ResultOf.PASSED)),
        Row("the same, results of the first sitting", "mean", "82.22", lambda: _mean(ResultOf.FIRST)),
        Row("the same, results of all sittings", "mean", "86.11", lambda: _mean(ResultOf.ALL)),
        Row("three workbooks a credit, in parts of a quarter", "credits of 4", "1.25", lambda: number(credits_of(4, RULE) or Fraction(0))),
    ),
    "Samples and portfolio": (
        Row("an empty file", "keep it", "refused: found an empty file", lambda: _refusal(b"")),
        Row("a letter that is called page.jpg", "keep it", "refused: found text", lambda: _refusal(b"Dear diary")),
        Row("a photograph that was cut off", "keep it", "refused: found a damaged picture", lambda: _refusal(b"\xff\xd8\xff\xe0" + b"\0" * 40)),
    ),
    "Tables (CSV on the Web)": (
        Row("a text that a spreadsheet would reckon with", "=1+1", "'=1+1", lambda: guarded("=1+1")),
        Row("a text like any other", "a pencil", "a pencil", lambda: guarded("a pencil")),
        Row("a guarded text, read again", "'=1+1", "=1+1", lambda: plain("'=1+1")),
    ),
    "Backup": (
        Row("none yet", "make one now", "yes", lambda: _yes(is_due(Backups(HERE), NOON, day_of))),
        Row("one of this morning", "make one now", "no", lambda: _yes(is_due(Backups(HERE, (made(NOON - 2 * HOUR),)), NOON, day_of))),
        Row("one of yesterday", "make one now", "yes", lambda: _yes(is_due(Backups(HERE, (made(NOON - DAY),)), NOON, day_of))),
        Row("a try that failed ten minutes ago", "make one now", "no", lambda: _yes(is_due(Backups(HERE, (), Trouble(NOON - HOUR / 6, "full")), NOON, day_of))),
        Row("the last good one is of two days ago", "call for one on today's page", "no", lambda: _yes(is_old(Backups(HERE, (made(NOON - 2 * DAY),)), NOON, NOON - 9 * DAY))),
        Row("the last good one is of four days ago", "call for one on today's page", "yes", lambda: _yes(is_old(Backups(HERE, (made(NOON - 4 * DAY),)), NOON, NOON - 9 * DAY))),
        Row("one on each of 500 days", "how many are left", "20", lambda: _left(500)),
    ),
}  # fmt: skip
ROWS = tuple(row for rows in PARTS.values() for row in rows)
