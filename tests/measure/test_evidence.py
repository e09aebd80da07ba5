"""What each estimate takes from a learner's marks: counts, days, contacts, batches of ticks, pairs of tests.

Everything expected here was counted by hand from the marks told; the weekdays and the holiday are those of New
Zealand's calendar of 2026 (6 February: Waitangi Day Act 1976).
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from markstead.ledger.facts import PRACTICE
from markstead.measure.evidence import (
    Book,
    Tick,
    answers_to,
    batches,
    books,
    contacts,
    course_days,
    marking_days,
    met_topics,
    pairs_of_tests,
    topic_counts,
    topics,
)
from markstead.measure.gap import TestPair
from markstead.measure.marks import CopyMarks, Looked, Marked, Spoken, UnitMark, Worked
from markstead.measure.readiness import Counts
from markstead.measure.review import Contact
from markstead.measure.spot import MarkingDay
from markstead.rules.programme import Course, Objective, Programme
from tests.rules.small_home import CALENDAR, PLANTS_1, PROGRAMME, at

DAY_OF = CALENDAR.day_of
MONDAY, TUESDAY, WEDNESDAY, THURSDAY = (date(2026, 2, day) for day in (2, 3, 4, 5))


def tagged() -> Programme:
    """The small programme, with two objectives that both sections of P1 and its check share."""
    about = (
        *(Objective("section-1", n, "names a seed" if n < 4 else "sows") for n in range(1, 6)),
        *(Objective("section-2", n, "sows") for n in range(1, 6)),
        *(Objective("check-1", n, "names a seed" if n < 3 else "sows") for n in range(1, 5)),
    )
    plants = PROGRAMME.courses["plants"]
    course = Course(
        "plants",
        "Plants",
        "Plants, level 1",
        1,
        (replace(PLANTS_1, objectives=about), *plants.workbooks[1:]),
    )
    return replace(PROGRAMME, courses={**PROGRAMME.courses, "plants": course})


TAGGED = tagged()
P1 = TAGGED.workbook("P1")


def marked(seq: int, stop: str, asked: int, *wrong: int, day: int = 2, own: bool = True) -> Marked:
    return Marked(seq, at(day, 9, seq), stop, asked, asked - len(wrong), wrong, own)


def unit(seq: int, right: int, asked: int = 10, *, day: int = 4, needed: int = 8) -> UnitMark:
    return UnitMark(seq, at(day, 10, seq), right, asked, needed)


def copy(name: str, workbook: str = "P1", *, day: int = 2, **rows: object) -> CopyMarks:
    return CopyMarks(name, workbook, "asa", issued=at(day, 8), **rows)  # type: ignore[arg-type]


class TestBooks:
    def test_finished_workbooks_come_in_the_order_in_which_they_ended(self) -> None:
        early = copy("c1", "P1", day=2, units=(unit(9, 9, day=12),))
        late = copy("c2", "S1", day=3, units=(unit(5, 5, 5, day=5, needed=4),))
        in_hand = copy("c3", "P2", day=1)

        found = books([in_hand, early, late], PROGRAMME)

        assert [(book.copy, book.finished) for book in found] == [("c2", True), ("c1", True), ("c3", False)]

    def test_sections_and_checks_are_counted_apart_and_each_kind_together(self) -> None:
        marks = copy(
            "c1",
            marked=(marked(1, "section-1", 5, 2), marked(2, "check-1", 4, 1, 3), marked(3, "section-2", 5)),
            practice=(marked(4, PRACTICE, 10, 1, 2, 3), marked(6, PRACTICE, 10)),
            spoken=(Spoken(5, at(3), "section-1", 2, True), Spoken(5, at(3), "section-1", 4, False)),
        )

        (book,) = books([marks], PROGRAMME)

        assert book.evidence.sections == Counts(10, 9)
        assert book.evidence.checks == Counts(4, 2)
        assert book.evidence.oral == Counts(2, 1)
        assert book.evidence.practice == (Counts(10, 7), Counts(10, 10))

    def test_a_new_copy_after_a_failed_unit_test_is_a_further_working(self) -> None:
        failed = copy("c1", units=(unit(5, 7),))
        again = copy("c2", day=5)

        found = books([failed, again], PROGRAMME)

        assert [(book.copy, book.evidence.again) for book in found] == [("c1", False), ("c2", True)]

    def test_a_workbook_after_another_of_its_subject_is_no_further_working_of_an_earlier_one(self) -> None:
        """What is known of a workbook is kept only until the next one of the subject begins."""
        first = copy("c1", "P1", units=(unit(5, 7, day=3),))
        other = copy("c2", "P2", units=(unit(6, 5, 5, day=4, needed=4),))
        back = copy("c3", "P1", day=5)

        assert [book.evidence.again for book in books([first, other, back], PROGRAMME)] == [False] * 3

    def test_the_same_copy_worked_again_is_parted_at_its_unit_test(self) -> None:
        marks = copy(
            "c1",
            marked=(marked(1, "section-1", 5, 1),),
            practice=(marked(2, PRACTICE, 10, 1, 2), marked(5, PRACTICE, 10, 1)),
            units=(unit(3, 7, day=4), unit(7, 9, day=11)),
        )

        found = books([marks], PROGRAMME)

        assert [b.evidence.practice for b in found] == [(Counts(10, 8),), (Counts(10, 9),)]
        assert [b.evidence.sections for b in found] == [Counts(5, 4), Counts()]
        assert [(b.evidence.unit, b.passed, b.evidence.again) for b in found] == [
            (Counts(10, 7), False, False),
            (Counts(10, 9), True, True),
        ]

    def test_the_same_copy_is_in_hand_again_from_its_next_practice_test_on(self) -> None:
        failed = copy("c1", units=(unit(3, 7),))
        reworked = replace(failed, practice=(marked(5, PRACTICE, 10, 1),))

        assert [book.finished for book in books([failed], PROGRAMME)] == [True]
        assert [book.finished for book in books([reworked], PROGRAMME)] == [True, False]

    def test_what_is_asked_aloud_after_the_unit_test_is_review_and_no_evidence_of_it(self) -> None:
        before, after = Spoken(2, at(3), "section-1", 1, True), Spoken(9, at(12), "section-1", 2, False)
        marks = copy("c1", spoken=(before, after), units=(unit(5, 9),))

        (book,) = books([marks], PROGRAMME)

        assert book.evidence.oral == Counts(1, 1)

    def test_a_copy_that_was_never_issued_is_no_working(self) -> None:
        assert books([CopyMarks("c1", "P1", "asa")], PROGRAMME) == ()

    def test_copies_whose_issue_was_taken_back_can_stand_beside_each_other(self) -> None:
        lost = CopyMarks("c1", "P1", "asa", marked=(marked(1, "section-1", 5),))
        empty = CopyMarks("c2", "P2", "asa")

        assert books([lost, empty, copy("c3", "S1")], PROGRAMME)[-1].copy == "c3"

    def test_a_spoiled_copy_has_ended_and_the_next_one_goes_on_from_it(self) -> None:
        wet = copy("c1", marked=(marked(1, "section-1", 5),), ended=True)

        found = books([wet, copy("c2", day=5)], PROGRAMME)

        assert [(b.copy, b.finished, b.evidence.again) for b in found] == [
            ("c1", True, False),
            ("c2", False, True),
        ]

    def test_a_workbook_that_the_programme_does_not_have_is_left_out(self) -> None:
        assert books([copy("c1", "X9")], PROGRAMME) == ()


class TestTopics:
    def test_a_question_without_a_tag_is_about_its_section(self) -> None:
        found = topics(PLANTS_1)

        assert found["section-2", 5] == "Seeds, section 2"
        assert len(found) == 5 + 4 + 5

    def test_a_tag_says_what_a_question_is_about(self) -> None:
        assert topics(P1)["section-1", 3] == "names a seed"

    def test_an_objective_gathers_its_questions_from_all_stops(self) -> None:
        marks = copy("c1", marked=(marked(1, "section-1", 5, 1, 5), marked(2, "check-1", 4, 2)))

        assert topic_counts(marks, P1) == {"names a seed": Counts(5, 3), "sows": Counts(4, 3)}

    def test_an_objective_that_is_not_marked_yet_counts_nothing(self) -> None:
        assert topic_counts(copy("c1"), P1) == {"names a seed": Counts(), "sows": Counts()}

    def test_an_older_edition_with_more_questions_does_not_hinder(self) -> None:
        marks = copy("c1", marked=(marked(1, "check-1", 6, 5, 6),))

        assert topic_counts(marks, P1) == {"names a seed": Counts(2, 2), "sows": Counts(2, 2)}
        assert {c.right for c in contacts([marks], TAGGED, DAY_OF)} == {True}

    def test_what_was_met_is_what_was_marked_and_where_it_can_be_asked(self) -> None:
        marks = copy("c1", marked=(marked(1, "check-1", 4),))

        found = met_topics([marks, marks], TAGGED)

        assert {key: topic.places for key, topic in found.items()} == {
            "Plants: names a seed": (("P1", "check-1", 1), ("P1", "check-1", 2)),
            "Plants: sows": (("P1", "check-1", 3), ("P1", "check-1", 4)),
        }


def told(marks: CopyMarks) -> list[tuple[str, date, bool | None]]:
    return [(c.objective.removeprefix("Plants: "), c.day, c.right) for c in contacts([marks], TAGGED, DAY_OF)]


class TestContacts:
    def test_a_section_is_a_contact_that_answers_nothing(self) -> None:
        marks = copy("c1", marked=(marked(1, "section-2", 5, 1, 2, 3, 4, 5),))

        assert told(marks) == [("sows", MONDAY, None)]

    @pytest.mark.parametrize(("wrong", "remembered"), [((), True), ((1,), False), ((1, 2), False)])
    def test_of_a_check_more_right_than_wrong_answers_are_remembered(
        self, wrong: tuple[int, ...], remembered: bool
    ) -> None:
        """One of two is no majority."""
        marks = copy("c1", marked=(marked(1, "check-1", 4, *wrong),))

        assert ("names a seed", MONDAY, remembered) in told(marks)

    def test_a_quiz_and_a_check_of_one_day_are_counted_together(self) -> None:
        quiz = tuple(Spoken(5, at(2, 11), "section-1", n, True) for n in (1, 2))
        marks = copy("c1", marked=(marked(1, "check-1", 4, 1),), spoken=quiz)

        assert ("names a seed", MONDAY, True) in told(marks)

    def test_a_test_touches_everything_met_and_answers_nothing(self) -> None:
        marks = copy("c1", marked=(marked(1, "section-2", 5),), units=(unit(5, 2, day=4),))

        assert told(marks) == [("sows", MONDAY, None), ("sows", WEDNESDAY, None)]

    def test_a_quiz_over_no_stop_tells_of_no_objective(self) -> None:
        assert contacts([copy("c1", spoken=(Spoken(1, at(2), None, 1, True),))], TAGGED, DAY_OF) == ()

    def test_the_same_objective_in_two_copies_is_one_contact_a_day(self) -> None:
        marks = copy("c1", marked=(marked(1, "section-2", 5),))

        assert contacts([marks, replace(marks, copy="c2")], TAGGED, DAY_OF) == (
            Contact("Plants: sows", MONDAY, None),
        )

    def test_the_day_is_the_day_at_home(self) -> None:
        """Nine in the evening in London is the next morning in Auckland."""
        late = Marked(1, datetime(2026, 2, 2, 21, tzinfo=UTC), "section-2", 5, 5)

        assert told(copy("c1", marked=(late,))) == [("sows", TUESDAY, None)]


def worked(day: date, new: int, minutes: int | None = None, *, again: int = 0) -> Worked:
    return Worked(day, new, new + again, minutes)


def days_of(
    *copies: CopyMarks, today: date = date(2026, 2, 11), learner: str = "noa"
) -> dict[int, tuple[int, float]]:
    found = course_days(copies, PROGRAMME, CALENDAR, learner, today)
    return {row.day.day: (row.done, row.planned) for row in found.days}


class TestCourseDays:
    def test_without_goals_every_school_day_counts_and_days_off_do_not(self) -> None:
        """Friday the 6th is Waitangi Day, Monday the 9th the home's own holiday."""
        marks = copy("c1", worked=(worked(MONDAY, 1), worked(THURSDAY, 1)))

        assert list(days_of(marks)) == [2, 3, 4, 5, 10]

    def test_with_goals_only_days_with_a_goal_or_with_work_count(self) -> None:
        marks = copy(
            "c1",
            worked=(worked(MONDAY, 1), worked(WEDNESDAY, 2)),
            goals=((MONDAY, 2), (TUESDAY, 2)),
        )

        assert days_of(marks) == {2: (1, 2.0), 3: (0, 2.0), 4: (2, 2.0)}

    def test_a_learner_who_is_ill_misses_no_day(self) -> None:
        marks = copy("c1", worked=(worked(MONDAY, 1), worked(date(2026, 2, 16), 1)))
        today = date(2026, 2, 20)

        kept = [set(days_of(marks, today=today, learner=who)) for who in ("noa", "asa")]

        assert kept[0] - kept[1] == {17, 18}

    def test_today_counts_only_once_something_is_done(self) -> None:
        first = copy("c1", worked=(worked(MONDAY, 1),))
        both = copy("c1", worked=(worked(MONDAY, 1), worked(TUESDAY, 1)))

        assert [list(days_of(m, today=TUESDAY)) for m in (first, both)] == [[2], [2, 3]]

    def test_waiting_for_the_test_after_the_last_page_is_no_day(self) -> None:
        done = copy("c1", worked=(worked(MONDAY, 2), worked(TUESDAY, 3)))
        following = copy("c2", "P2", day=10, worked=(worked(date(2026, 2, 10), 1),))

        assert list(days_of(done, following)) == [2, 3, 10]

    def test_the_day_of_the_last_page_is_cut_short(self) -> None:
        marks = copy("c1", worked=(worked(MONDAY, 4), worked(TUESDAY, 1)))

        found = course_days([marks], PROGRAMME, CALENDAR, "noa", WEDNESDAY)

        assert [(row.day, row.cut_short) for row in found.days] == [(MONDAY, False), (TUESDAY, True)]

    def test_minutes_count_only_where_all_of_a_day_are_known(self) -> None:
        rows = (worked(MONDAY, 1, 20), worked(MONDAY, 1, 15), worked(TUESDAY, 1, 20), worked(TUESDAY, 1))
        marks = copy("c1", worked=rows)

        found = course_days([marks], PROGRAMME, CALENDAR, "noa", WEDNESDAY)

        assert [row.minutes for row in found.days] == [35, None]

    @pytest.mark.parametrize("rows", [((1, None), (1, 20)), ((1, 20), (1, None)), ((0, 9), (1, 20))])
    def test_minutes_stay_unknown_in_whatever_order_they_were_noted(
        self, rows: tuple[tuple[int, int | None], ...]
    ) -> None:
        """Pages done once more take minutes, too, and are no new pages: such a day tells no pace."""
        marks = copy("c1", worked=tuple(worked(MONDAY, new, minutes, again=1 - new) for new, minutes in rows))

        found = course_days([marks], PROGRAMME, CALENDAR, "noa", TUESDAY)

        assert [row.minutes for row in found.days] == [None]

    def test_the_usual_day_is_the_middle_one_of_days_with_work(self) -> None:
        rows = tuple(worked(date(2026, 2, 1) + timedelta(n), p) for n, p in ((1, 1), (2, 1), (3, 3)))

        assert course_days([copy("c1", worked=rows)], PROGRAMME, CALENDAR, "noa", THURSDAY).usual == 1.0

    def test_a_course_without_a_page_has_no_day(self) -> None:
        assert course_days([copy("c1")], PROGRAMME, CALENDAR, "noa", THURSDAY).days == ()


class TestBatches:
    def test_the_ticks_of_one_day_are_one_batch_over_all_copies(self) -> None:
        first = copy("c1", marked=(marked(1, "section-1", 5, 2, 4),))
        second = copy("c2", "S1", marked=(marked(2, "section-1", 3),))

        (batch,) = batches([first, second], DAY_OF)

        assert batch.ticks == (
            *(Tick("c1", "section-1", n) for n in (1, 3, 5)),
            *(Tick("c2", "section-1", n) for n in (1, 2, 3)),
        )
        assert (batch.first, batch.last) == (1, 2)

    def test_what_is_marked_after_a_spot_check_is_a_batch_of_its_own(self) -> None:
        marks = copy(
            "c1",
            marked=(marked(1, "section-1", 5), marked(3, "check-1", 4)),
            looked=(Looked(2, at(2, 10), "section-1", ((1, True),)),),
        )

        assert [len(batch.ticks) for batch in batches([marks], DAY_OF)] == [5, 4]

    def test_a_new_day_begins_a_new_batch(self) -> None:
        marks = copy("c1", marked=(marked(1, "section-1", 5), marked(2, "check-1", 4, day=3)))

        assert [batch.day for batch in batches([marks], DAY_OF)] == [MONDAY, TUESDAY]

    def test_a_practice_test_counts_only_if_the_learner_marked_it(self) -> None:
        tests = (marked(1, PRACTICE, 10, 3), marked(2, PRACTICE, 10, own=False))

        (batch,) = batches([copy("c1", practice=tests)], DAY_OF)

        assert len(batch.ticks) == 9

    def test_a_total_without_numbers_has_no_ticks_to_look_at(self) -> None:
        assert batches([copy("c1", practice=(Marked(1, at(2), PRACTICE, 10, 8),))], DAY_OF) == ()

    def test_slips_are_counted_where_the_ticks_were_made(self) -> None:
        """A check on Tuesday of what was marked on Monday belongs to Monday's marking."""
        marks = copy(
            "c1",
            marked=(marked(1, "section-1", 5), marked(2, "check-1", 4, day=3)),
            looked=(
                Looked(3, at(3, 11), "section-1", ((1, True), (2, False))),
                Looked(4, at(3, 11), "check-1", ((1, True),)),
            ),
        )

        assert marking_days(batches([marks], DAY_OF)) == (MarkingDay(MONDAY, 2, 1), MarkingDay(TUESDAY, 1, 0))

    def test_two_batches_of_a_day_are_one_marking_day(self) -> None:
        marks = copy(
            "c1",
            marked=(marked(1, "section-1", 5), marked(3, "check-1", 4)),
            looked=(
                Looked(2, at(2, 10), "section-1", ((1, False),)),
                Looked(4, at(2, 11), "check-1", ((1, True), (2, True))),
            ),
        )

        assert marking_days(batches([marks], DAY_OF)) == (MarkingDay(MONDAY, 3, 1),)


class TestPairsOfTests:
    def test_each_unit_test_stands_with_the_latest_practice_test_before_it(self) -> None:
        tests = (marked(1, PRACTICE, 10, 1, 2), marked(2, PRACTICE, 10, 1))
        marks = copy("c1", practice=tests, units=(unit(3, 8),))

        assert pairs_of_tests([marks], DAY_OF) == (TestPair(WEDNESDAY, 9, 10, 8, 10),)

    def test_a_practice_test_that_the_educator_marked_says_nothing_of_self_marking(self) -> None:
        marks = copy("c1", practice=(marked(1, PRACTICE, 10, own=False),), units=(unit(3, 8),))

        assert pairs_of_tests([marks], DAY_OF) == ()

    def test_pairs_come_in_the_order_of_the_sittings(self) -> None:
        late = copy("c1", practice=(marked(1, PRACTICE, 10),), units=(unit(8, 8, day=11),))
        early = copy("c2", "P2", practice=(marked(2, PRACTICE, 5),), units=(unit(5, 5, 5, day=4),))

        assert [pair.day for pair in pairs_of_tests([late, early], DAY_OF)] == [WEDNESDAY, date(2026, 2, 11)]

    def test_a_unit_test_without_practice_before_it_has_no_pair(self) -> None:
        marks = copy("c1", practice=(marked(5, PRACTICE, 10),), units=(unit(3, 7),))

        assert pairs_of_tests([marks], DAY_OF) == ()


class TestAnswers:
    MARKS = copy(
        "c1",
        marked=(marked(1, "section-1", 5, 2),),
        practice=(marked(2, PRACTICE, 10, 1, 10), marked(4, PRACTICE, 10)),
        units=(UnitMark(5, at(4), 9, 10, 8, (3,)), UnitMark(9, at(11), 10, 10, 8)),
    )

    @pytest.mark.parametrize(
        ("test", "wrong"),
        [("section-1", {2}), ("practice test", {1, 10}), (PRACTICE, {1, 10}), ("unit test", {3})],
    )
    def test_each_answer_of_the_first_attempt_is_right_or_wrong(self, test: str, wrong: set[int]) -> None:
        found = answers_to(self.MARKS, test)

        assert found is not None
        assert {n for n, right in enumerate(found, start=1) if not right} == wrong

    @pytest.mark.parametrize("test", ["unit test", "practice test", "section-2"])
    def test_what_is_not_marked_has_no_answers(self, test: str) -> None:
        assert answers_to(copy("c1"), test) is None

    def test_a_total_alone_does_not_tell_which_answers_were_right(self) -> None:
        assert answers_to(copy("c1", units=(unit(5, 7),)), "unit test") is None


def test_a_book_says_when_its_latest_mark_was_made() -> None:
    marks = copy("c1", marked=(marked(1, "section-1", 5), marked(2, "check-1", 4, day=3)))

    (book,) = books([marks], PROGRAMME)

    assert isinstance(book, Book)
    assert book.at == at(3, 9, 2)
