"""Term reports: figures by hand arithmetic on the home of `paper_home`, and the same report again from a past day."""

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest

from markstead.errors import InputError
from markstead.ledger.serial import Entry
from markstead.records import actions as a
from markstead.records import past, people, plans, queries, report_words, required, term_reports
from markstead.records.home import Home
from markstead.records.openings import Opening, Where, write_openings
from markstead.records.setup import Papers, set_up
from markstead.records.term_reports import BookState, CourseReport, PlannedBy, TermReport
from markstead.rules.spans import Span
from tests.records.paper_home import AS_OF, at, copy_of, made_on, pages_of, paper_home, work, write_late
from tests.tools.homes import CALENDAR, CAST, RULES, WORKBOOKS

FORTNIGHT = Span("the fortnight", date(2026, 1, 12), date(2026, 1, 23))


@pytest.fixture
def home(db: None) -> Home:
    return paper_home()[0]


def report(home: Home, span: Span = FORTNIGHT, as_of: date = AS_OF) -> TermReport:
    return term_reports.term_report(home, "asa", span, as_of=as_of)


def course(home: Home, name: str, span: Span = FORTNIGHT, as_of: date = AS_OF) -> CourseReport:
    return next(c for c in report(home, span, as_of).courses if c.course == name)


class TestFigures:
    def test_days_and_hours_of_the_fortnight(self, home: Home) -> None:
        """Mon 41, Tue half 125 by word, Wed 29, Thu 23, Fri 200 by word, Mon 19 absent: 418 minutes."""
        found = report(home).attendance

        assert (found.full, found.half, found.absent, found.minutes) == (4, 1, 1, 418)
        assert found.days() == Fraction(9, 2)

    def test_pages_and_the_test_of_a_course(self, home: Home) -> None:
        (book,) = course(home, "sums-5").books

        assert (sorted(book.before), sorted(book.pages)) == ([1, 2, 3, 4], [5, 6, 7, 8, 9])
        assert [(t.kind.value, t.attempt, t.day.day, t.right, t.passed) for t in book.tests] == [
            ("practice test", 1, 13, 17, True),
            ("unit test", 1, 14, 18, True),
        ]
        assert (book.state, book.finished) == (BookState.FINISHED, date(2026, 1, 14))

    def test_minutes_of_a_course_are_those_written_down_with_it(self, home: Home) -> None:
        found = course(home, "sums-5")

        assert (found.days, found.minutes) == (3, 41 + 29)
        assert found.unclocked == 2  # the check's page and the practice test

    def test_planned_without_a_plan_is_an_even_share_of_the_year(self, home: Home) -> None:
        """18 pages of Sums were left on 1 September; 10 of the year's 140 school days lie in the fortnight."""
        covered = course(home, "sums-5").covered

        assert covered is not None
        assert (covered.by, covered.done, covered.planned) == (PlannedBy.SHARE, 5, Fraction(180, 140))
        assert course(home, "words-5").covered == replace(covered, done=2, planned=Fraction(60, 140))

    def test_of_a_record_that_began_within_the_year_the_share_counts_from_then_on(self, home: Home) -> None:
        """4 of 18 pages were taken over on 12 January; the fortnight has 10 of the 55 school days from then on."""
        here = Opening("noa", "sums-5", Where.HAND, "sums-5-01", 4)
        (copy,) = write_openings("home", [here], by="ruth", at=at(12, 8))
        work(copy, (5, 6), 10, at(12, 9))

        (found,) = term_reports.term_report(home, "noa", FORTNIGHT, as_of=AS_OF).courses
        assert found.covered is not None
        assert (found.covered.done, found.covered.planned) == (2, Fraction(140, 55))

    def test_pages_of_a_new_copy_are_no_new_material(self, home: Home) -> None:
        second = copy_of("sums-5-02", at(15, 8))
        work(second, (1, 4), 19, at(15, 13))
        a.spoil_copy("home", copy=second, reason="rain", by="ruth", at=at(15, 14))
        third = copy_of("sums-5-02", at(16, 8))
        work(third, (1, 3), 17, at(16, 13))

        found = course(home, "sums-5")

        assert [(b.book.number, len(b.pages), b.again, b.state.value) for b in found.books] == [
            (1, 5, False, "finished"),
            (2, 4, False, "spoiled"),
            (2, 3, True, "in hand"),
        ]
        assert found.covered is not None
        assert found.covered.done == 9

    def test_pace_stands_with_its_range(self, home: Home) -> None:
        pace = course(home, "sums-5").pace

        assert pace is not None
        assert pace.low < pace.pages_a_day < pace.high

    def test_below_the_share_of_the_profile_an_explanation_is_due(self, home: Home) -> None:
        """60 of 140 days: 18 x 60 / 140 = 7.7 pages of Sums, 9 done; 6 x 60 / 140 = 2.6 of Words, 2 done: 77.8 %."""
        required.choose_shipped("home", "new-york-100-10", at=at(5, 8))
        span = Span("", date(2026, 1, 5), date(2026, 3, 27))

        found = report(queries.home_of("home"), span, as_of=date(2026, 3, 27))

        assert [(c.course, c.explanation_due) for c in found.courses] == [
            ("sums-5", False),
            ("words-5", True),
        ]


class TestThePlan:
    def test_planned_pages_are_those_of_the_plan_in_force_at_the_beginning(self, home: Home) -> None:
        """Counted a second time from the plan's own goals."""
        early = at(5, 7)
        kept = plans.plan_now("home", by=home.person("ruth").id, now=at(23, 17), clock=lambda: early)
        plan = plans.take("home", kept.number, now=at(23, 17))
        span = Span("", date(2026, 1, 26), date(2026, 2, 6))
        assert plan.answer is not None

        found = course(queries.home_of("home"), "words-5", span, as_of=date(2026, 2, 6)).covered

        asa = home.person("asa").id
        goals = [g for g in plan.answer.goals if (g.learner, g.course) == (asa, "words-5")]
        by_hand = sum(g.pages for g in goals if span.holds(plan.problem.days[g.day]))
        assert found is not None
        assert (found.by, found.planned, found.plan_taken) == (PlannedBy.PLAN, by_hand, AS_OF)
        assert by_hand > 0


class TestTheSameAgain:
    def test_what_is_written_down_later_changes_no_earlier_report(self, home: Home) -> None:
        words = next(c.id for c in queries.copies("home") if c.workbook.code == "words-5-01")
        before = report_words.as_pdf(report_words.report_view(report(home)), day=AS_OF, paper="a4")

        write_late(words)
        a.undo("home", act=queries.latest_act("home") or "", by="ruth", at=at(27))
        a.work_pages("home", copy=words, first=3, last=3, by="ruth", at=at(28), day=date(2026, 1, 16))

        home = queries.home_of("home")
        assert report_words.as_pdf(report_words.report_view(report(home)), day=AS_OF, paper="a4") == before
        later = course(home, "words-5", as_of=date(2026, 1, 28))
        assert sorted(later.books[0].pages) == [1, 2, 3]

    def test_a_late_page_counts_from_the_day_it_was_written_down(self, home: Home) -> None:
        words = next(c.id for c in queries.copies("home") if c.workbook.code == "words-5-01")
        write_late(words)

        assert [len(course(home, "words-5", as_of=d).books[0].pages) for d in (AS_OF, date(2026, 1, 26))] == [
            2,
            3,
        ]

    def test_calendar_programme_and_school_year_are_those_of_then(self, home: Home) -> None:
        before = report_words.report_view(report(home))

        asa = home.person("asa").id
        people.rename("home", person=asa, name="Asa", year=6, at=at(25))
        text = CALENDAR.replace("2026-03-27", "2026-02-27")
        set_up("home", name="Tarn End", papers=Papers(RULES, WORKBOOKS, text), people=CAST[:2], at=at(25))
        required.choose_shipped("home", "hours-by-age", at=at(25))
        home = queries.home_of("home")

        assert report_words.report_view(report(home)) == before
        assert report(home, as_of=date(2026, 1, 25)).learner.year == 6

    def test_a_report_up_to_a_day_within_the_span_knows_no_later_day(self, home: Home) -> None:
        found = report(home, as_of=date(2026, 1, 13))

        assert found.until == date(2026, 1, 13)
        assert [c.course for c in found.courses] == ["sums-5"]
        assert found.courses[0].books[0].state is BookState.IN_HAND
        assert "are not over or not on the record yet" in report_words.report_view(found).missing[-1]

    def test_as_of_a_day_before_the_span_is_refused(self, home: Home) -> None:
        with pytest.raises(InputError, match="as of: found 2026-01-11; allowed is a day from 2026-01-12 on"):
            report(home, as_of=date(2026, 1, 11))


class TestCoursesThatWereOver:
    def test_they_stay_unread_and_the_report_of_every_later_week_is_the_same(
        self, home: Home, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Sums ends with the unit test of Wednesday 14 January; its copy is handed in, and nothing is written of it later."""
        weeks = [Span("a week", date(2026, 1, day), date(2026, 1, day + 4)) for day in (12, 19)]
        sparing = [report(home, week) for week in weeks]
        read: list[int] = []
        whole = past.entries_of

        def all_of_them(then: past.Past, learner: str, **since: object) -> tuple[Entry, ...]:
            read.append(len(whole(then, learner)) - len(whole(then, learner, **since)))  # type: ignore[arg-type]
            return whole(then, learner)

        monkeypatch.setattr(term_reports, "entries_of", all_of_them)

        assert [report(home, week) for week in weeks] == sparing
        assert read[0] == 0
        assert read[1] > 5

    def test_a_report_stays_as_it_was_when_such_a_course_goes_on_later(self, home: Home) -> None:
        week = Span("a week", date(2026, 1, 19), date(2026, 1, 23))
        before = report(home, week)

        copy_of("sums-5-02", at(26, 8))

        assert report(home, week) == before


class TestNarratives:
    def test_a_draft_stands_in_the_report_and_can_be_taken_away(self, home: Home) -> None:
        kept = {"learner": "asa", "course": "sums-5", "span": FORTNIGHT, "at": at(23)}
        term_reports.keep_narrative(home, text="  Asa counts\r\ngladly. ", **kept)  # type: ignore[arg-type]
        assert course(home, "sums-5").narrative == "Asa counts\ngladly."

        term_reports.keep_narrative(home, text=" ", **kept)  # type: ignore[arg-type]
        assert course(home, "sums-5").narrative == ""

    def test_one_that_is_too_long_is_refused_and_the_one_before_stands(self, home: Home) -> None:
        kept = {"learner": "asa", "course": "sums-5", "span": FORTNIGHT, "at": at(23)}
        term_reports.keep_narrative(home, text="Before.", **kept)  # type: ignore[arg-type]

        with pytest.raises(InputError, match="found 6001 letters; allowed is up to 6000 letters"):
            term_reports.keep_narrative(home, text="a" * 6001, **kept)  # type: ignore[arg-type]

        assert course(home, "sums-5").narrative == "Before."


class TestSpans:
    def test_without_days_it_is_the_present_term_or_the_latest(self, home: Home) -> None:
        assert term_reports.span_for(home, date(2026, 1, 20), None, None).name == "spring"
        assert term_reports.span_for(home, date(2025, 12, 28), None, None).name == "autumn"

    @pytest.mark.parametrize(
        ("first", "last"),
        [(None, AS_OF), (AS_OF, None), (AS_OF, date(2026, 1, 1)), (date(1999, 1, 1), AS_OF)],
    )
    def test_days_that_make_no_span_are_refused(
        self, home: Home, first: date | None, last: date | None
    ) -> None:
        with pytest.raises(InputError, match="days of the report"):
            term_reports.span_for(home, AS_OF, first, last)


def test_the_paper_says_what_the_report_says(home: Home) -> None:
    content = report_words.as_pdf(report_words.report_view(report(home)), day=AS_OF, paper="a4")

    (text,) = pages_of(content)
    assert made_on(content) == "20260123"
    for words in (
        "Progress report",
        "Asa, year 5",
        "The fortnight: 12 January to 23 January 2026",
        "4.5 days",
        "6 h 58 min",
        "5 pages of new material done, 1 planned: 389 % of it.",
        "18 of 20, 90 % 14 Jan",
        "5-9 of 9",
        "local law and the school decide",
    ):
        assert words in text, words
