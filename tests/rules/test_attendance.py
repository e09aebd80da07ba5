"""Days and hours from facts, with every figure by hand; each number in it is another one."""

from dataclasses import replace
from datetime import UTC, date, datetime
from fractions import Fraction

from markstead.calendar import Absence, SchoolCalendar, Term
from markstead.ledger.facts import (
    AnyFact,
    AttendanceTaken,
    FactReversed,
    PagesWorked,
    PracticeTestOpened,
    Presence,
    UnitTestSat,
    UnitTestScored,
)
from markstead.ledger.serial import Entry
from markstead.rules.attendance import Seen, register, school_days_of, sum_of

CALENDAR = SchoolCalendar(
    zone="Europe/London",
    country="GB",
    region="ENG",
    terms=(Term("spring", date(2026, 1, 5), date(2026, 3, 27)),),
    weekdays=frozenset(range(5)),
    half_days=frozenset({date(2026, 1, 16)}),
    absences=(Absence("asa", date(2026, 1, 20), date(2026, 1, 20)),),
)


def jan(day: int) -> date:
    return date(2026, 1, day)


def record(*facts: tuple[int, AnyFact]) -> list[Entry]:
    """Facts noted at ten on a day of January."""
    return [
        Entry(n, f"act-{n}", at, at, "ruth", fact)
        for n, (day, fact) in enumerate(facts, 1)
        for at in [datetime(2026, 1, day, 10, tzinfo=UTC)]
    ]


WORK = record(
    (12, PagesWorked("c1", jan(12), 1, 4, 37)),
    (12, PagesWorked("c2", jan(12), 1, 2, 23)),
    (13, PagesWorked("c1", jan(13), 5, 9, None)),
    (14, PracticeTestOpened("c1", 1)),
    (15, UnitTestSat("c1", 1, jan(15), ("pencil",), "ruth")),
    (15, UnitTestScored("c1", 17, 20, 16, (), 29)),
    (16, PagesWorked("c2", jan(16), 3, 3, 11)),
    (17, PagesWorked("c2", jan(17), 4, 4, 13)),
)


class TestDaysFromTheWork:
    def test_minutes_of_pages_and_unit_tests_make_the_day(self) -> None:
        found = {d.day: d.minutes for d in school_days_of(WORK, "asa", CALENDAR)}

        assert found == {jan(12): 60, jan(13): 0, jan(14): 0, jan(15): 29, jan(16): 11, jan(17): 13}

    def test_work_without_minutes_makes_the_hours_a_least(self) -> None:
        days = school_days_of(WORK, "asa", CALENDAR)

        assert [d.day.day for d in days if d.at_least] == [13, 14]
        assert sum_of(days, jan(12), jan(17)).unclocked == 2

    def test_a_half_day_of_the_calendar_is_half_and_a_saturday_counts(self) -> None:
        found = sum_of(school_days_of(WORK, "asa", CALENDAR), jan(1), jan(31))

        assert (found.full, found.half, found.minutes) == (5, 1, 113)
        assert found.days() == Fraction(11, 2)
        assert found.days(Fraction(1)) == 6


class TestTheEducatorsWord:
    def test_it_stands_over_the_work(self) -> None:
        word = AttendanceTaken("asa", jan(13), Presence.HALF, 125)

        day = school_days_of([*WORK, _after(WORK, word)], "asa", CALENDAR)[1]

        assert (day.presence, day.minutes, day.by_word, day.at_least) == (Presence.HALF, 125, True, False)

    def test_without_minutes_those_of_the_work_stand(self) -> None:
        word = AttendanceTaken("asa", jan(12), Presence.HALF)

        day = school_days_of([*WORK, _after(WORK, word)], "asa", CALENDAR)[0]

        assert (day.presence, day.minutes) == (Presence.HALF, 60)

    def test_absent_counts_neither_as_a_day_nor_in_hours(self) -> None:
        word = AttendanceTaken("asa", jan(12), Presence.ABSENT)

        found = sum_of(school_days_of([*WORK, _after(WORK, word)], "asa", CALENDAR), jan(12), jan(12))

        assert (found.full, found.half, found.absent, found.minutes) == (0, 0, 1, 0)

    def test_the_latest_word_counts_and_one_taken_back_does_not(self) -> None:
        first = _after(WORK, AttendanceTaken("asa", jan(12), Presence.HALF, 90))
        second = _after([*WORK, first], AttendanceTaken("asa", jan(12), Presence.FULL, 200))
        back = _after([*WORK, first, second], FactReversed(second.seq))

        both = school_days_of([*WORK, first, second], "asa", CALENDAR)[0]
        taken_back = school_days_of([*WORK, first, second, back], "asa", CALENDAR)[0]

        assert (both.minutes, taken_back.minutes) == (200, 90)

    def test_somebody_elses_is_not_counted(self) -> None:
        word = _after(WORK, AttendanceTaken("noa", jan(19), Presence.FULL, 300))

        assert len(school_days_of([*WORK, word], "asa", CALENDAR)) == 6


def _after(entries: list[Entry], fact: AnyFact) -> Entry:
    return replace(record((18, fact))[0], seq=entries[-1].seq + 1)


def test_the_register_says_what_is_known_of_every_day() -> None:
    days = school_days_of(WORK, "asa", CALENDAR)

    found = dict(register(days, jan(12), jan(21), CALENDAR, "asa"))

    assert found[jan(12)] is Seen.FULL
    assert found[jan(16)] is Seen.HALF
    assert found[jan(17)] is Seen.FULL
    assert found[jan(18)] is Seen.CLOSED
    assert found[jan(19)] is Seen.NOTHING
    assert found[jan(20)] is Seen.ABSENT
    assert len(found) == 10
