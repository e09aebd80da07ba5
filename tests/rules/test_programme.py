"""The numbers of a programme: what passes, what calls for a quiz, which aids, which pages, what comes next.

Judges are written out here: exact fractions for the shares, a plain walk over the stops for the pages.
"""

import subprocess
import sys
from collections.abc import Callable
from dataclasses import FrozenInstanceError, replace
from fractions import Fraction
from operator import ge, gt

import pytest

from markstead.errors import UnknownError
from markstead.rules.programme import AidRule, MarkingRules, Marks, Stop, Workbook
from tests.rules.small_home import PLANTS_1, PLANTS_2, PROGRAMME, STARS_1


class TestMarks:
    """The least number of right answers that passes, at any pass mark; DESIGN 4.6: exactly 80 passes."""

    @pytest.mark.parametrize(("exact", "passes"), [(True, ge), (False, gt)])
    def test_the_needed_number_passes_and_one_fewer_does_not(
        self, exact: bool, passes: Callable[[Fraction, Fraction], bool]
    ) -> None:
        marks = Marks(practice_test_percent=1, unit_test_percent=1, exact_mark_passes=exact)

        wrong = [
            (asked, percent, needed)
            for percent in range(1, 101)
            for asked in range(1, 201)
            for needed in [marks.needed(asked, percent)]
            if not passes(Fraction(needed, asked), Fraction(percent, 100))
            or passes(Fraction(needed - 1, asked), Fraction(percent, 100))
        ]

        assert wrong == []

    def test_sixteen_of_twenty_pass_at_eighty_percent_where_floats_refuse_them(self) -> None:
        marks = Marks(practice_test_percent=80, unit_test_percent=80)

        assert not 4 / 20 <= 1 - 0.8, "the trap: in floats four wrong of twenty are more than a fifth"
        assert marks.practice_needed(20) == 16

    def test_seventeen_of_twenty_are_needed_where_exactly_the_mark_does_not_pass(self) -> None:
        marks = Marks(practice_test_percent=80, unit_test_percent=80, exact_mark_passes=False)

        assert marks.practice_needed(20) == 17

    def test_each_kind_of_test_has_its_own_mark(self) -> None:
        marks = Marks(practice_test_percent=70, unit_test_percent=90)

        assert (marks.practice_needed(30), marks.unit_needed(30)) == (21, 27)


class TestQuizzes:
    """From a share wrong on, an oral quiz or teaching comes before re-marking."""

    def test_the_share_is_exact_for_every_number_of_questions(self) -> None:
        odd = [
            (wrong, asked, percent)
            for percent in range(1, 101)
            for asked in range(1, 31)
            for wrong in range(asked + 1)
            if MarkingRules(percent, 0).calls_for_quiz(wrong, asked)
            != (Fraction(wrong, asked) >= Fraction(percent, 100))
        ]

        assert odd == []

    def test_three_of_ten_wrong_call_for_a_quiz_at_thirty_percent(self) -> None:
        rules = MarkingRules(quiz_when_wrong_percent=30, sections_ahead=0)

        assert [rules.calls_for_quiz(wrong, 10) for wrong in (2, 3, 4)] == [False, True, True]

    def test_no_question_asked_calls_for_nothing(self) -> None:
        assert not MarkingRules(quiz_when_wrong_percent=30, sections_ahead=0).calls_for_quiz(0, 0)


class TestAids:
    """The latest rule that has begun counts, in whatever order the file has them."""

    AIDS = (AidRule(7, ("pencil", "calculator")), AidRule(2, ("pencil",)), AidRule(11, ("pencil", "tables")))

    @pytest.mark.parametrize(
        ("year", "allowed"),
        [
            (1, ()),
            (2, ("pencil",)),
            (6, ("pencil",)),
            (7, ("pencil", "calculator")),
            (10, ("pencil", "calculator")),
            (11, ("pencil", "tables")),
            (13, ("pencil", "tables")),
        ],
    )
    def test_a_learner_has_the_aids_of_the_year(self, year: int, allowed: tuple[str, ...]) -> None:
        assert replace(PROGRAMME, aids=self.AIDS).aids_for(year) == allowed


class TestPages:
    """Every page lies in one section or check."""

    def test_each_page_has_its_stop(self) -> None:
        found = [PLANTS_1.stop_of_page(page).id for page in range(1, 6)]

        assert found == ["section-1", "section-1", "check-1", "section-2", "section-2"]

    @pytest.mark.parametrize("page", [-1, 0, 6, 400])
    def test_a_page_that_is_not_there_is_refused_with_those_that_are(self, page: int) -> None:
        with pytest.raises(UnknownError) as refused:
            PLANTS_1.stop_of_page(page)

        assert str(refused.value) == f"workbook P1, page: found {page}; allowed is a page from 1 to 5."

    def test_sections_and_checks_keep_the_order_of_the_pages(self) -> None:
        assert [stop.id for stop in PLANTS_1.sections] == ["section-1", "section-2"]
        assert [stop.id for stop in PLANTS_1.checks] == ["check-1"]

    def test_a_stop_is_found_by_its_id(self) -> None:
        assert PLANTS_1.stop("check-1") == Stop("check", 1, "check-1", 3, 3, 4)

    def test_an_unknown_stop_is_refused_with_those_that_are_there(self) -> None:
        with pytest.raises(UnknownError) as refused:
            PLANTS_1.stop("section-3")

        [problem] = refused.value.problems
        assert (problem.where, problem.found) == ("workbook P1, stop", "'section-3'")
        assert problem.allowed == "one of section-1, check-1, section-2"

    def test_a_workbook_made_from_another_looks_up_its_own_stops(self) -> None:
        longer = replace(PLANTS_2, pages=4, stops=(Stop("section", 1, "section-1", 1, 4, 9),))

        assert longer.stop_of_page(4).questions == 9
        assert longer.stop("section-1").last == 4
        assert longer.sections[0].last == 4


class TestCourses:
    """A course is walked workbook by workbook."""

    @pytest.mark.parametrize(
        ("book", "before", "after"),
        [(PLANTS_1, None, PLANTS_2), (PLANTS_2, PLANTS_1, None), (STARS_1, None, None)],
    )
    def test_a_workbook_has_neighbours_in_its_own_course_only(
        self, book: Workbook, before: Workbook | None, after: Workbook | None
    ) -> None:
        assert PROGRAMME.previous_in_course(book) == before
        assert PROGRAMME.next_in_course(book) == after

    def test_workbooks_and_courses_are_found_by_code_and_id(self) -> None:
        assert PROGRAMME.workbook("P2") is PLANTS_2
        assert PROGRAMME.course("stars").workbooks == (STARS_1,)
        assert set(PROGRAMME.workbooks) == {"P1", "P2", "S1"}

    def test_an_unknown_workbook_is_refused(self) -> None:
        with pytest.raises(
            UnknownError, match=r"found 'P9'; allowed is the code of a workbook .* such as P1"
        ):
            PROGRAMME.workbook("P9")

    def test_an_unknown_course_is_refused_with_those_that_are_there(self) -> None:
        with pytest.raises(UnknownError, match=r"found 'moss'; allowed is one of plants, stars"):
            PROGRAMME.course("moss")


def test_a_programme_stays_as_it_was_read() -> None:
    with pytest.raises(FrozenInstanceError):
        PROGRAMME.marks.unit_test_percent = 50  # type: ignore[misc]


def test_the_plain_values_load_without_the_library_that_checks_files() -> None:
    """A page needs the values at once; only reading files needs pydantic."""
    asks = "import sys, markstead.rules.programme; sys.exit('pydantic' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", asks], check=False).returncode == 0


@pytest.mark.parametrize(
    ("wrong", "quiz", "teach"), [(5, False, False), (6, True, False), (11, True, False), (12, True, True)]
)
def test_twice_the_share_that_calls_for_a_quiz_calls_for_teaching(
    wrong: int, quiz: bool, teach: bool
) -> None:
    """With 30 percent: 6 of 20 want a quiz, 12 of 20 want teaching first."""
    rules = MarkingRules(30, 0)
    assert (rules.calls_for_quiz(wrong, 20), rules.calls_for_teaching(wrong, 20)) == (quiz, teach)
