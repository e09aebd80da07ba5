"""A school year's attendance against a profile, by hand on the home of `paper_home`; and the transcript's papers."""

import csv
import io
from datetime import date
from fractions import Fraction

import pytest

from markstead.errors import InputError, StaleError, UnknownError
from markstead.ledger.facts import Presence
from markstead.records import actions as a
from markstead.records import attendance, attendance_words, queries, required, transcripts
from markstead.records.attendance import AttendanceYear
from markstead.records.home import Home
from markstead.rules.requirements import NONE
from tests.records.paper_home import AS_OF, at, pages_of, paper_home, sizes_of

OWN = """
[profile]
id = "ours"
title = "Our own"
source = "A letter"
[days]
a_year = 90
half_day_counts = 0.25
[[hours]]
from_year = 5
until_year = 5
a_year = 120
[reports]
periods = "halves"
"""


@pytest.fixture
def home(db: None) -> Home:
    return paper_home()[0]


def year(as_of: date = AS_OF) -> AttendanceYear:
    home = queries.home_of("home")
    return attendance.attendance_year(home, "asa", as_of, as_of=as_of)


class TestTheYear:
    def test_days_hours_and_what_is_asked(self, home: Home) -> None:
        """Fri 9 (37 min), Mon 41, half Tue 125, Wed 29, Thu 23, Fri 200: 5 days and a half one, 455 minutes."""
        required.choose("home", OWN, at=at(5))

        found = year()

        assert (found.sum.full, found.sum.half, found.sum.absent, found.sum.minutes) == (5, 1, 1, 455)
        assert found.counted == Fraction(21, 4)
        assert (found.school_days, found.school_days_gone) == (140, 95)
        assert found.hours_asked == 120
        days, hours = attendance_words.attendance_view(found).asked
        assert (days.asked, days.there, hours.there) == ("90", "5.25", "7.6")
        assert "84.75 more are needed, 45 school days are left: 39.75 too few" in days.verdict
        assert "112.4 hours are left for 45 school days, 2.5 a day" in hours.verdict

    def test_school_days_with_nothing_on_the_record_are_named(self, home: Home) -> None:
        """80 of the autumn, four of the first week, and Tue 20 to Thu 22 January; today is not over."""
        nothing = year().nothing

        assert len(nothing) == 80 + 4 + 3
        assert nothing[-3:] == (date(2026, 1, 20), date(2026, 1, 21), date(2026, 1, 22))

    def test_halves_have_seventy_school_days_each(self, home: Home) -> None:
        required.choose("home", OWN, at=at(5))

        first, second = year().periods

        assert (first.span.first, second.sum.minutes, first.sum.minutes) == (date(2025, 9, 1), 455, 0)
        calendar = home.calendar
        assert len(calendar.school_days(first.span.first, first.span.last)) == 70

    def test_a_word_of_the_educator_mends_a_day_and_an_earlier_paper_stays(self, home: Home) -> None:
        before = attendance_words.attendance_view(year())

        a.take_attendance(
            "home",
            learner="asa",
            day=date(2026, 1, 20),
            presence=Presence.FULL,
            minutes=61,
            by="ruth",
            at=at(26),
        )

        assert year(date(2026, 1, 26)).sum.minutes == 455 + 61
        assert attendance_words.attendance_view(year()) == before


class TestChoosing:
    def test_a_home_begins_with_none(self, home: Home) -> None:
        assert required.chosen("home") == NONE
        assert attendance_words.attendance_view(year()).asked == ()

    def test_a_shipped_one_and_none_again(self, home: Home) -> None:
        required.choose_shipped("home", "new-york-100-10", at=at(20))
        assert required.chosen("home").days == 180

        required.choose_shipped("home", "none", at=at(21))
        assert required.chosen("home") == NONE
        assert required.chosen("home", at(21)).days == 180

    def test_an_unknown_one_is_refused(self, home: Home) -> None:
        with pytest.raises(UnknownError, match="profile: found 'atlantis'"):
            required.choose_shipped("home", "atlantis", at=at(20))

    def test_impossible_figures_are_refused_and_nothing_is_written(self, home: Home) -> None:
        with pytest.raises(InputError, match="found 367; allowed is a whole number from 1 to 366"):
            required.choose("home", OWN.replace("a_year = 90", "a_year = 367"), at=at(20))
        assert required.chosen("home") == NONE

    def test_an_old_page_undoes_nothing(self, home: Home) -> None:
        required.choose_shipped("home", "days-and-terms", at=at(20))

        with pytest.raises(StaleError):
            required.choose_shipped("home", "none", at=at(21), stamp=home.stamp)

    def test_it_puts_no_plan_out_of_date(self, home: Home) -> None:
        from markstead.records import plans

        kept = plans.plan_now("home", by="ruth", now=at(23, 17), clock=lambda: at(23, 17))
        required.choose_shipped("home", "days-and-terms", at=at(23, 18))

        assert plans.take("home", kept.number, now=at(23, 18)).number == kept.number


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("us-letter", (215.9, 279.4))])
def test_the_register_on_paper(home: Home, paper: str, size: tuple[float, float]) -> None:
    required.choose("home", OWN, at=at(5))
    view = attendance_words.attendance_view(year())

    content = attendance_words.as_pdf(view, day=AS_OF, paper=paper)

    text = " ".join(pages_of(content))
    assert sizes_of(content) == {size}
    assert content == attendance_words.as_pdf(view, day=AS_OF, paper=paper)
    for words in (
        "Attendance and hours",
        "January 2026",
        "7 h 35 min",
        "First half",
        "A letter",
        "local law and the school decide",
    ):
        assert words in text, words


def test_an_unknown_paper_is_refused(home: Home) -> None:
    with pytest.raises(InputError, match="paper: found 'foolscap'; allowed is one of a4, us-letter"):
        attendance_words.as_pdf(attendance_words.attendance_view(year()), day=AS_OF, paper="foolscap")


class TestTranscript:
    def test_csv_reads_back(self, home: Home) -> None:
        found = transcripts.transcript(home, "asa", as_of=AS_OF)

        head, row = csv.reader(io.StringIO(transcripts.as_csv(found).decode(), newline=""))

        assert dict(zip(head, row, strict=True)) == {
            "course": "sums-5",
            "course title": "Sums 5",
            "workbook": "sums-5-01",
            "title": "Counting Boats",
            "passed on": "2026-01-14",
            "sittings": "1",
            "right": "18",
            "asked": "20",
            "percent": "90",
            "grade": "",
            "course percent": "90",
            "course credits": "",
        }

    def test_before_the_test_was_marked_nothing_is_passed(self, home: Home) -> None:
        assert transcripts.transcript(home, "asa", as_of=date(2026, 1, 13)).courses == ()

    def test_on_paper(self, home: Home) -> None:
        view = transcripts.transcript_view(transcripts.transcript(home, "asa", as_of=AS_OF))

        (text,) = pages_of(transcripts.as_pdf(view, day=AS_OF, paper="a4"))

        for words in ("Transcript", "Asa, year 5", "1 of 2", "90.0 %", "14 January 2026", "18 of 20"):
            assert words in text, words


def test_what_a_person_typed_is_set_as_text_never_as_markup(home: Home) -> None:
    tricky = "#let x = [*Sums* _in_ $a_1$] @ \\ `raw` ~ -- 'quoted' \"too\""
    required.choose("home", OWN.replace('"Our own"', f"'''{tricky}'''"), at=at(5))
    view = attendance_words.attendance_view(year())

    (text,) = pages_of(attendance_words.as_pdf(view, day=AS_OF, paper="a4"))

    assert "#let x = [*Sums* _in_ $a_1$]" in text
