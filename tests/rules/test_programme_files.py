"""A programme's two files: what they say is what is read, and whatever is wrong is said, all of it at once.

The writer and the strategies here are a second, plain description of the file format of
docs/reference/programme-files.md.
"""

import csv
import io
import json
from collections.abc import Callable, Iterable, Mapping
from datetime import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.errors import InputError, Problem
from markstead.rules.load import COLUMNS, NEEDED, read_programme
from markstead.rules.programme import (
    AidRule,
    Course,
    MarkingRules,
    Marks,
    Objective,
    Programme,
    Rework,
    Stop,
    UnitTestRules,
    Workbook,
)
from markstead.rules.samples import sample_texts

RULES = """\
[programme]
id = "millpond"
title = "Mill Pond"
currency = "NZD"

[marks]
practice_test_percent = 75
unit_test_percent = 85
exact_mark_passes = false

[unit_test]
school_days_after_practice = 2
morning_from = "08:30"
morning_until = "11:45"
most_a_learner_a_day = 3
most_watched_a_morning = 4
readiness_decision = true

[marking]
quiz_when_wrong_percent = 35
sections_ahead = 1

[dispatch]
day = 5

[rework]
after_failed_unit_test = "same copy"

[[aids]]
from_year = 0
allowed = ["pencil"]

[[aids]]
from_year = 7
allowed = ["pencil", "calculator"]

[[subject]]
id = "sums"
title = "Sums"

[[subject]]
id = "words"
title = "Words"
"""

Cells = dict[str, str]


def row(course: str, level: int, number: int, **other: str) -> Cells:
    """A sound row: three sections and two checks on fifteen pages."""
    return {
        "course": course,
        "level": str(level),
        "number": str(number),
        "title": f"{course} {level} {number}",
        "pages": "15",
        "section_ends": "4;8;13",
        "section_questions": "11;12;13",
        "check_pages": "9;14-15",
        "check_questions": "5;6",
        "practice_questions": "21",
        "unit_questions": "22",
        "price": "",
        "supplier": "",
        "prerequisites": "",
        "objectives": "",
    } | other


def sheet(rows: Iterable[Mapping[str, str]], columns: Iterable[str] = COLUMNS) -> str:
    """Rows as a sheet saves them."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    columns = tuple(columns)
    writer.writerow(columns)
    writer.writerows([cells.get(name, "") for name in columns] for cells in rows)
    return out.getvalue()


def sound_rows() -> list[Cells]:
    """Five sound rows of two courses; a sheet shows them as rows 2 to 6."""
    return [row("sums", 5, n) for n in (1, 2, 3)] + [row("words", 5, n) for n in (1, 2)]


def problems_with(rules: str = RULES, workbooks: str | None = None) -> tuple[Problem, ...]:
    """Everything that is wrong; nothing where the files read well."""
    try:
        read_programme(rules, sheet(sound_rows()) if workbooks is None else workbooks)
    except InputError as error:
        return error.problems
    return ()


def wheres(problems: Iterable[Problem]) -> list[str]:
    return [problem.where for problem in problems]


class TestReading:
    """What stands in the files is what the programme says."""

    def test_the_rules_are_those_of_the_file(self) -> None:
        programme = read_programme(RULES, sheet(sound_rows()))

        assert (programme.id, programme.title, programme.currency) == ("millpond", "Mill Pond", "NZD")
        assert programme.marks == Marks(75, 85, exact_mark_passes=False)
        assert programme.unit_test == UnitTestRules(
            2, time(8, 30), time(11, 45), 3, 4, readiness_decision=True
        )
        assert programme.marking == MarkingRules(35, 1)
        assert (programme.dispatch_day, programme.rework) == (5, Rework.SAME_COPY)
        assert programme.aids == (AidRule(0, ("pencil",)), AidRule(7, ("pencil", "calculator")))

    def test_a_workbook_is_the_row(self) -> None:
        full = row(
            "sums",
            5,
            2,
            title="Parts, and wholes",
            price="4.20",
            supplier="Mill Press",
            prerequisites="words-5-01;sums-5-01",
            objectives="section-1:1-2=names parts; check-2:6=compares = orders",
        )
        programme = read_programme(RULES, sheet([row("sums", 5, 1), full, row("words", 5, 1)]))

        assert programme.workbook("sums-5-02") == Workbook(
            code="sums-5-02",
            course="sums-5",
            subject="sums",
            level=5,
            number=2,
            title="Parts, and wholes",
            pages=15,
            stops=(
                Stop("section", 1, "section-1", 1, 4, 11),
                Stop("section", 2, "section-2", 5, 8, 12),
                Stop("check", 1, "check-1", 9, 9, 5),
                Stop("section", 3, "section-3", 10, 13, 13),
                Stop("check", 2, "check-2", 14, 15, 6),
            ),
            practice_questions=21,
            unit_questions=22,
            price=420,
            supplier="Mill Press",
            prerequisites=("words-5-01", "sums-5-01"),
            objectives=(
                Objective("section-1", 1, "names parts"),
                Objective("section-1", 2, "names parts"),
                Objective("check-2", 6, "compares = orders"),
            ),
        )

    def test_rows_in_any_order_make_courses_in_order(self) -> None:
        programme = read_programme(RULES, sheet(reversed(sound_rows())))

        assert [book.number for book in programme.course("sums-5").workbooks] == [1, 2, 3]
        assert programme.course("words-5").title == "Words 5"

    @pytest.mark.parametrize(
        ("text", "minor"), [("", None), ("0", 0), ("4", 400), ("4.2", 420), ("4.05", 405), ("120.99", 12099)]
    )
    def test_a_price_is_kept_in_the_smallest_unit(self, text: str, minor: int | None) -> None:
        programme = read_programme(RULES, sheet([row("sums", 5, 1, price=text)]))

        assert programme.workbook("sums-5-01").price == minor

    def test_columns_may_stand_in_any_order_and_optional_ones_be_left_out(self) -> None:
        without = [
            c for c in reversed(COLUMNS) if c not in ("price", "supplier", "prerequisites", "objectives")
        ]

        assert read_programme(RULES, sheet(sound_rows(), without)) == read_programme(
            RULES, sheet(sound_rows())
        )

    def test_a_workbook_without_checks_needs_no_columns_for_them(self) -> None:
        plain = row("sums", 5, 1, section_ends="4;8;15")

        book = read_programme(RULES, sheet([plain], NEEDED)).workbook("sums-5-01")

        assert [(s.id, s.first, s.last) for s in book.stops] == [
            ("section-1", 1, 4),
            ("section-2", 5, 8),
            ("section-3", 9, 15),
        ]

    @pytest.mark.parametrize(
        "as_saved",
        [
            pytest.param(lambda text: "\ufeff" + text, id="byte order mark"),
            pytest.param(lambda text: text.replace("\r\n", "\n"), id="line feeds"),
            pytest.param(lambda text: text.replace("\r\n", "\r"), id="carriage returns"),
            pytest.param(lambda text: text.replace("\r\n", "\r\n\r\n"), id="blank lines"),
            pytest.param(lambda text: text.replace("\r\n", f"\r\n{',' * 14}\r\n"), id="rows of empty cells"),
            pytest.param(lambda text: "\r\n" + text, id="blank line on top"),
            pytest.param(lambda text: text.replace("\r\n", ",,\r\n"), id="empty columns on the right"),
            pytest.param(lambda text: text.replace(",", " , "), id="spaces about the cells"),
            pytest.param(lambda text: text.replace("4;8;13", "4; 8;13;"), id="a semicolon at the end"),
        ],
    )
    def test_what_a_sheet_does_when_it_saves_changes_nothing(self, as_saved: Callable[[str], str]) -> None:
        text = sheet(sound_rows())

        assert as_saved(text) != text
        assert read_programme(RULES, as_saved(text)) == read_programme(RULES, text)

    def test_a_byte_order_mark_before_the_rules_changes_nothing(self) -> None:
        assert problems_with("\ufeff" + RULES) == ()


ROW_FAULTS = [
    # A name for the fault, the column that is changed, what is put there, the column that is blamed, what is
    # shown as found, and a part of the sentence that follows.
    ("an unknown subject", "course", "sum", "course", "'sum'", "sums, words"),
    ("no subject", "course", "", "course", "nothing", "sums, words"),
    ("no title", "title", " ", "title", "nothing", "the title on the cover"),
    ("a level in words", "level", "five", "level", "'five'", "a whole number from 0 to 20"),
    ("a level too high", "level", "21", "level", "'21'", "a whole number from 0 to 20"),
    ("number nought", "number", "0", "number", "'0'", "a whole number from 1 to 99"),
    ("a decimal number", "number", "2.0", "number", "'2.0'", "write 2."),
    ("a decimal comma", "pages", "12,5", "pages", "'12,5'", "without a point or a comma"),
    ("pages below nought", "pages", "-15", "pages", "'-15'", "a whole number from 1 to 999"),
    ("no pages", "pages", "", "pages", "nothing", "a whole number from 1 to 999"),
    ("a number of thousands of digits", "pages", "9" * 5000, "pages", f"'{'9' * 79}…'", "from 1 to 999"),
    ("figures of another script", "pages", "١٥", "pages", "'١٥'", "a whole number"),
    ("fewer pages than sections", "pages", "13", "check_pages", "15", "a page from 1 to 13"),
    ("more pages than sections", "pages", "16", "pages", "16", "15, where the last section or check ends"),
    ("no section", "section_ends", "", "section_ends", "nothing", "the last page of each section"),
    ("a section end in words", "section_ends", "4;x;13", "section_ends", "'x'", "page numbers such as"),
    (
        "a gap between semicolons",
        "section_ends",
        "4;;13",
        "section_ends",
        "nothing between two",
        "page numbers",
    ),
    ("commas for semicolons", "section_ends", "4,8,13", "section_ends", "'4,8,13'", "parted by semicolons"),
    (
        "section ends that fall",
        "section_ends",
        "8;4;13",
        "section_ends",
        "'8;4;13'",
        "page numbers that rise",
    ),
    ("a section end twice", "section_ends", "4;4;13", "section_ends", "'4;4;13'", "page numbers that rise"),
    ("a section past the end", "section_ends", "4;8;19", "section_ends", "19", "a page from 1 to 15"),
    ("too few counts", "section_questions", "11;12", "section_questions", "2 numbers", "3 numbers"),
    ("too many counts", "check_questions", "5;6;7", "check_questions", "3 numbers", "2 numbers"),
    ("a count of nought", "section_questions", "0;12;13", "section_questions", "'0'", "numbers of questions"),
    (
        "a check count in words",
        "check_questions",
        "5;six",
        "check_questions",
        "'six'",
        "numbers of questions",
    ),
    ("a check over a section end", "check_pages", "8-9;14-15", "check_pages", "8-9", "on page 9"),
    ("a check in a section", "check_pages", "6;14-15", "check_pages", "6", "on page 5"),
    ("checks that fall", "check_pages", "14-15;9", "check_pages", "'14-15;9'", "pages that rise"),
    ("checks that overlap", "check_pages", "9-14;14-15", "check_pages", "'9-14;14-15'", "no page twice"),
    (
        "a run of pages backwards",
        "check_pages",
        "9;15-14",
        "check_pages",
        "'15-14'",
        "pages such as 13-14;26",
    ),
    ("a check that became a date", "check_pages", "9;14-Oct", "check_pages", "'14-Oct'", "made a date of it"),
    ("a check that became a day", "check_pages", "2026-10-09", "check_pages", "'2026-10-09'", "a date of it"),
    ("no practice questions", "practice_questions", "", "practice_questions", "nothing", "from 1 to 500"),
    ("too many unit questions", "unit_questions", "501", "unit_questions", "'501'", "from 1 to 500"),
    ("a price with a comma", "price", "4,20", "price", "'4,20'", "with a point: 4.20."),
    ("a price with a sign", "price", "£4.20", "price", "'£4.20'", "such as 4.20"),
    ("a price below nought", "price", "-4.20", "price", "'-4.20'", "such as 4.20"),
    ("a price to the tenth of a penny", "price", "4.205", "price", "'4.205'", "such as 4.20"),
    ("a price as powers of ten", "price", "1e30", "price", "'1e30'", "such as 4.20"),
    ("an unknown prerequisite", "prerequisites", "words-5-09", "prerequisites", "'words-5-09'", "maths-5-03"),
    ("itself as prerequisite", "prerequisites", "sums-5-02", "prerequisites", "'sums-5-02'", "do not need"),
    (
        "a later one as prerequisite",
        "prerequisites",
        "sums-5-03",
        "prerequisites",
        "'sums-5-03'",
        "do not need",
    ),
    (
        "an objective without words",
        "objectives",
        "section-1:4",
        "objectives",
        "'section-1:4'",
        "adds to twenty",
    ),
    (
        "an objective of no stop",
        "objectives",
        "section-4:1=x",
        "objectives",
        "'section-4:1=x'",
        "section-3, check-2",
    ),
    (
        "an objective past the end",
        "objectives",
        "check-1:5-6=x",
        "objectives",
        "'check-1:5-6=x'",
        "from 1 to 5",
    ),
    ("an objective backwards", "objectives", "check-1:5-4=x", "objectives", "'check-1:5-4=x'", "from 1 to 5"),
    ("question nought", "objectives", "check-1:0=x", "objectives", "'check-1:0=x'", "from 1 to 5"),
    (
        "an endless objective",
        "objectives",
        "section-1:1-9999999999=x",
        "objectives",
        "'section-1:1-99",
        "objectives",
    ),
]


class TestFaultyRows:
    """Each fault is one problem with its row, its column, what was found, and what to do."""

    @pytest.mark.parametrize(
        ("column", "cell", "blamed", "found", "says"),
        [pytest.param(*fault, id=name) for name, *fault in ROW_FAULTS],
    )
    def test_one_fault_is_one_problem_at_its_place(
        self, column: str, cell: str, blamed: str, found: str, says: str
    ) -> None:
        rows = sound_rows()
        rows[1][column] = cell

        problems = problems_with(workbooks=sheet(rows))

        assert wheres(problems) == [f"workbooks.csv, row 3, column {blamed}"]
        assert problems[0].found.startswith(found)
        assert says in str(problems[0])

    def test_a_number_twice_names_the_row_that_has_it(self) -> None:
        rows = [*sound_rows(), row("sums", 5, 2)]

        [problem] = problems_with(workbooks=sheet(rows))

        assert problem.where == "workbooks.csv, row 7, column number"
        assert problem.allowed == "a number that sums-5 has not had (row 3 has it)"

    def test_every_gap_is_named_at_the_row_behind_it(self) -> None:
        rows = [row("sums", 5, n) for n in (2, 3, 7)] + [row("words", 5, 1)]

        problems = problems_with(workbooks=sheet(rows))

        assert [(p.where, p.allowed) for p in problems] == [
            ("workbooks.csv, row 2, column number", "1: the workbooks of sums-5 leave no gap"),
            ("workbooks.csv, row 4, column number", "4: the workbooks of sums-5 leave no gap"),
        ]

    def test_a_gap_that_an_unreadable_number_may_fill_is_not_blamed_on_the_next(self) -> None:
        rows = sound_rows()
        rows[1]["number"] = "two"

        assert wheres(problems_with(workbooks=sheet(rows))) == ["workbooks.csv, row 3, column number"]

    def test_a_gap_elsewhere_is_named_beside_an_unreadable_number(self) -> None:
        rows = sound_rows()
        rows[1]["number"] = "two"
        rows[4]["number"] = "3"

        assert wheres(problems_with(workbooks=sheet(rows))) == [
            "workbooks.csv, row 3, column number",
            "workbooks.csv, row 6, column number",
        ]

    def test_a_circle_through_two_courses_is_shown(self) -> None:
        rows = sound_rows()
        rows[0]["prerequisites"] = "words-5-02"
        rows[3]["prerequisites"] = "sums-5-03"

        problems = problems_with(workbooks=sheet(rows))

        assert wheres(problems) == [f"workbooks.csv, row {n}, column prerequisites" for n in (2, 5)]
        assert problems[0].do == (
            "The circle is sums-5-01, words-5-02, words-5-01, sums-5-03, sums-5-02, sums-5-01: "
            "each needs the next."
        )

    def test_prerequisites_across_courses_without_a_circle_are_well(self) -> None:
        rows = sound_rows()
        rows[2]["prerequisites"] = "words-5-02;words-5-01"
        rows[4]["prerequisites"] = "sums-5-02"

        assert problems_with(workbooks=sheet(rows)) == ()

    def test_an_unknown_prerequisite_is_named_though_its_row_is_faulty_elsewhere(self) -> None:
        rows = sound_rows()
        rows[1] |= {"price": "dear", "prerequisites": "words-5-07"}

        assert wheres(problems_with(workbooks=sheet(rows))) == [
            f"workbooks.csv, row 3, column {column}" for column in ("price", "prerequisites")
        ]

    def test_a_prerequisite_that_an_unreadable_number_may_be_is_not_blamed(self) -> None:
        rows = sound_rows()
        rows[1]["number"] = "two"
        rows[3]["prerequisites"] = "sums-5-02;words-5-08"

        problems = problems_with(workbooks=sheet(rows))

        assert [(p.where, p.found) for p in problems] == [
            ("workbooks.csv, row 3, column number", "'two'"),
            ("workbooks.csv, row 5, column prerequisites", "'words-5-08'"),
        ]

    def test_objectives_are_not_blamed_for_sections_that_cannot_be_read(self) -> None:
        rows = sound_rows()
        rows[1] |= {"section_ends": "8;4;13", "objectives": "section-1:1-4=names parts"}

        assert wheres(problems_with(workbooks=sheet(rows))) == ["workbooks.csv, row 3, column section_ends"]

    def test_a_row_whose_pages_are_faulty_still_counts_as_there(self) -> None:
        rows = sound_rows()
        rows[0]["pages"] = "many"
        rows[4]["prerequisites"] = "sums-5-01"

        assert wheres(problems_with(workbooks=sheet(rows))) == ["workbooks.csv, row 2, column pages"]

    def test_the_row_is_the_one_that_a_sheet_shows(self) -> None:
        """A cell of two lines is one row of a sheet; a blank line is a row too."""
        rows = sound_rows()
        rows[0]["title"] = "Parts\nand wholes"
        rows[1]["pages"] = "none"
        text = sheet(rows)

        blank_on_third = text.replace("\r\nsums,5,2", "\r\n\r\nsums,5,2")

        assert wheres(problems_with(workbooks=text)) == ["workbooks.csv, row 3, column pages"]
        assert wheres(problems_with(workbooks=blank_on_third)) == ["workbooks.csv, row 4, column pages"]

    @settings(max_examples=60, deadline=None)
    @given(
        st.sets(st.integers(0, 11), min_size=1), st.sampled_from(["title", "pages", "price", "objectives"])
    )
    def test_every_faulty_row_is_named_and_no_other(self, faulty: set[int], column: str) -> None:
        rows = [row("sums", 9, n) for n in range(1, 13)]
        for place in faulty:
            rows[place][column] = "" if column == "title" else "?"

        problems = problems_with(workbooks=sheet(rows))

        assert wheres(problems) == [f"workbooks.csv, row {n + 2}, column {column}" for n in sorted(faulty)]


class TestFaultySheets:
    """A sheet that cannot be read as one says so, and rows are not blamed for it."""

    @pytest.mark.parametrize("name", NEEDED)
    def test_a_missing_column_is_one_problem(self, name: str) -> None:
        problems = problems_with(workbooks=sheet(sound_rows(), [c for c in COLUMNS if c != name]))

        assert [(p.where, p.found) for p in problems] == [("workbooks.csv, row 1", f"no column {name}")]

    def test_an_unknown_column_is_named_and_the_rows_are_read_all_the_same(self) -> None:
        rows = sound_rows()
        rows[2]["pages"] = "?"

        problems = problems_with(workbooks=sheet(rows, [*COLUMNS[:3], "colour", *COLUMNS[3:]]))

        assert wheres(problems) == ["workbooks.csv, row 1", "workbooks.csv, row 4, column pages"]
        assert problems[0].found == "column 'colour'"

    def test_a_column_twice_is_named_once(self) -> None:
        problems = problems_with(workbooks=sheet(sound_rows(), [*COLUMNS, "pages"]))

        assert [p.found for p in problems] == ["column 'pages' twice"]

    def test_a_sheet_saved_with_semicolons_is_one_problem_that_says_how_to_save_it(self) -> None:
        text = sheet(sound_rows()).replace(";", "|").replace(",", ";")

        [problem] = problems_with(workbooks=text)

        assert problem.where == "workbooks.csv, row 1"
        assert problem.do == "Save the sheet as CSV, UTF-8, with commas between the cells."

    def test_a_row_with_a_loose_comma_is_named_and_no_gap_is_made_of_it(self) -> None:
        text = sheet(sound_rows()).replace("sums 5 2", "sums, 5, 2")

        [problem] = problems_with(workbooks=text)

        assert (problem.where, problem.found) == ("workbooks.csv, row 3", "17 cells")

    def test_a_cell_beside_the_columns_is_not_dropped_in_silence(self) -> None:
        text = sheet(sound_rows()).replace("\r\n", ",\r\n").replace("5;6,,,,,\r\n", "5;6,,,,,loose\r\n", 1)

        [problem] = problems_with(workbooks=text)

        assert (problem.where, problem.found) == ("workbooks.csv, row 2", "16 cells")

    def test_rows_are_not_blamed_for_those_behind_an_open_quotation_mark(self) -> None:
        rows = sound_rows()
        rows[0]["prerequisites"] = "words-5-01"
        text = sheet(rows).replace("sums 5 2", '"sums 5 2')

        assert wheres(problems_with(workbooks=text)) == ["workbooks.csv, row 3"]

    @pytest.mark.parametrize(
        ("text", "where", "found"),
        [
            ("", "workbooks.csv", "an empty file"),
            ("\ufeff\r\n\r\n", "workbooks.csv", "an empty file"),
            (sheet([]), "workbooks.csv", "no workbook"),
            (sheet(sound_rows()).replace("sums 5 2", "a\0b"), "workbooks.csv", "a NUL byte"),
            (
                sheet(sound_rows()).replace("sums 5 2", '"sums 5 2'),
                "workbooks.csv, row 3",
                "unexpected end of data",
            ),
        ],
    )
    def test_a_file_that_is_no_sheet_says_what_it_is(self, text: str, where: str, found: str) -> None:
        problems = problems_with(workbooks=text)

        assert [(p.where, p.found) for p in problems] == [(where, found)]


RULE_FAULTS = [
    # What stands in the file, what is put there, where the problem is, what is shown as found, what is allowed.
    ("= 75", "= 0", "marks, practice_test_percent", "0", "a whole number from 1 to 100"),
    ("= 85", "= 101", "marks, unit_test_percent", "101", "a whole number from 1 to 100"),
    ("= 85", "= 85.0", "marks, unit_test_percent", "85.0", "a whole number from 1 to 100"),
    ("= 85", '= "85"', "marks, unit_test_percent", "'85'", "a whole number from 1 to 100"),
    ("= 85", "= true", "marks, unit_test_percent", "true", "a whole number from 1 to 100"),
    ("= 85", "= 100", "marks, exact_mark_passes", "false", "true where a pass mark is 100"),
    ("= false", '= "no"', "marks, exact_mark_passes", "'no'", "true or false"),
    ("_practice = 2", "_practice = 0", "unit_test, school_days_after_practice", "0", "a whole number from 1"),
    ('"08:30"', '"8.30"', "unit_test, morning_from", "'8.30'", "a time of day"),
    ('"08:30"', '"25:00"', "unit_test, morning_from", "'25:00'", "a time of day"),
    ('"11:45"', '"08:30"', "unit_test, morning_until", "'08:30'", "a time after 08:30"),
    ('"11:45"', '"07:00"', "unit_test, morning_until", "'07:00'", "a time after 08:30"),
    ("_a_day = 3", "_a_day = 0", "unit_test, most_a_learner_a_day", "0", "a whole number from 1 to 99"),
    (
        "morning = 4",
        "morning = 100",
        "unit_test, most_watched_a_morning",
        "100",
        "a whole number from 1 to 99",
    ),
    ("decision = true", "decision = 1", "unit_test, readiness_decision", "1", "true or false"),
    ("= 35", "= 350", "marking, quiz_when_wrong_percent", "350", "a whole number from 1 to 100"),
    ("ahead = 1", "ahead = -1", "marking, sections_ahead", "-1", "a whole number from 0 to 99"),
    ("day = 5", "day = 29", "dispatch, day", "29", "a whole number from 1 to 28"),
    ('"same copy"', '"no copy"', "rework, after_failed_unit_test", "'no copy'", "'new copy' or 'same copy'"),
    ("year = 7", "year = 0", "aids 2, from_year", "0", "one that does not stand there already"),
    ("year = 7", "year = 21", "aids 2, from_year", "21", "a whole number from 0 to 20"),
    ('["pencil"]', '["pencil", " "]', "aids 1, allowed 2", "' '", "text that is not blank"),
    ('["pencil"]', '"pencil"', "aids 1, allowed", "'pencil'", ""),
    ('id = "words"', 'id = "Wörter"', "subject 2, id", "'Wörter'", "small letters and digits"),
    ('title = "Mill Pond"', 'title = ""', "programme, title", "''", "text that is not blank"),
    ('"NZD"', '"dollars"', "programme, currency", "'dollars'", "three capital letters"),
    ("day = 5", "day = 5\nhour = 9", "dispatch, hour", "9", "no such key"),
    ("sections_ahead = 1\n", "", "marking, sections_ahead", "nothing", "this key, which is needed"),
    ("[dispatch]\nday = 5\n", "", "dispatch", "nothing", "this key, which is needed"),
]


class TestFaultyRules:
    """Each fault of the rules is one problem with its table and key."""

    @pytest.mark.parametrize(("old", "new", "where", "found", "allowed"), RULE_FAULTS)
    def test_one_fault_is_one_problem_at_its_key(
        self, old: str, new: str, where: str, found: str, allowed: str
    ) -> None:
        assert RULES.count(old) == 1

        # The sheet names one subject only, so that a fault in the other cannot show there.
        problems = problems_with(RULES.replace(old, new), sheet(sound_rows()[:3]))

        assert wheres(problems) == [f"programme.toml, {where}"]
        assert problems[0].found == found
        assert allowed in problems[0].allowed

    def test_a_subject_twice_is_named(self) -> None:
        problems = problems_with(RULES.replace('id = "words"', 'id = "sums"'), sheet(sound_rows()[:3]))

        assert [(p.where, p.found) for p in problems] == [("programme.toml, subject 2, id", "'sums'")]

    def test_a_pass_mark_of_a_hundred_is_well_where_exactly_the_mark_passes(self) -> None:
        assert problems_with(RULES.replace("= 85", "= 100").replace("= false", "= true")) == ()

    def test_rules_that_are_no_toml_are_named_and_rows_are_not_blamed_for_their_subjects(self) -> None:
        rows = sound_rows()
        rows[1]["pages"] = "?"

        problems = problems_with(RULES + "\n[[[", sheet(rows))

        assert len(problems) == 2
        assert problems[0].where.startswith("programme.toml")
        assert problems[1].where == "workbooks.csv, row 3, column pages"

    def test_rows_are_judged_by_the_subjects_of_rules_that_are_faulty_elsewhere(self) -> None:
        rows = [*sound_rows(), row("moss", 5, 1)]

        problems = problems_with(RULES.replace("day = 5", "day = 50"), sheet(rows))

        assert wheres(problems) == ["programme.toml, dispatch, day", "workbooks.csv, row 7, column course"]

    @pytest.mark.parametrize("kind", ["subject", "aids"])
    def test_a_list_of_tables_written_as_something_else_is_named(self, kind: str) -> None:
        aids, subjects = RULES.index("[[aids]]"), RULES.index("[[subject]]")
        tables = {"aids": RULES[aids:subjects], "subject": RULES[subjects:]}

        problems = problems_with(f"{kind} = 3\n{RULES.replace(tables[kind], '')}")

        assert [(p.where, p.found) for p in problems] == [(f"programme.toml, {kind}", "3")]


class TestOneReport:
    """Everything that is wrong with both files comes at once, in the order of the files."""

    def test_ten_faults_in_one_sheet_are_all_named(self) -> None:
        rows = [row("sums", 5, n) for n in range(1, 7)] + [row("words", 5, n) for n in range(1, 7)]
        planted = [
            (0, "title", ""),
            (1, "pages", "1.0"),
            (2, "section_ends", "8;4;13"),
            (3, "section_questions", "11;12"),
            (4, "check_pages", "8-9;14-15"),
            (5, "unit_questions", "all"),
            (6, "course", "verses"),
            (8, "price", "4,20"),
            (9, "prerequisites", "sums-5-44"),
            (10, "objectives", "section-9:1=x"),
        ]
        for place, column, cell in planted:
            rows[place][column] = cell

        problems = problems_with(workbooks=sheet(rows))

        assert wheres(problems) == [
            f"workbooks.csv, row {place + 2}, column {column}" for place, column, _ in planted
        ]

    def test_ten_faults_in_one_row_are_all_named(self) -> None:
        rows = sound_rows()
        planted = {
            "course": "verses",
            "title": "",
            "level": "x",
            "number": "1.0",
            "pages": "12,5",
            "section_questions": "1",
            "check_pages": "14-15;9",
            "practice_questions": "0",
            "price": "free",
            "objectives": "nothing",
        }
        rows[1] |= planted

        problems = problems_with(workbooks=sheet(rows))

        assert sorted(wheres(problems)) == sorted(f"workbooks.csv, row 3, column {name}" for name in planted)

    def test_faults_of_both_files_come_together(self) -> None:
        rules = RULES.replace("= 85", "= 850").replace('"11:45"', '"07:00"').replace("year = 7", "year = 0")
        rows = sound_rows()
        rows[1]["number"], rows[4]["number"] = "3", "4"

        problems = problems_with(rules, sheet(rows))

        assert wheres(problems) == [
            "programme.toml, marks, unit_test_percent",
            "programme.toml, unit_test, morning_until",
            "programme.toml, aids 2, from_year",
            "workbooks.csv, row 3, column number",
            "workbooks.csv, row 4, column number",
            "workbooks.csv, row 6, column number",
        ]

    def test_the_report_names_the_files_as_the_person_does(self) -> None:
        with pytest.raises(InputError) as refused:
            read_programme(
                RULES.replace("= 85", "= 850"),
                sheet([]),
                rules_file="rules 2026.toml",
                workbooks_file="books.csv",
            )

        assert wheres(refused.value.problems) == ["rules 2026.toml, marks, unit_test_percent", "books.csv"]

    @settings(max_examples=150, deadline=None)
    @given(
        st.integers(0, 4), st.sampled_from(COLUMNS), st.text(max_size=30) | st.from_regex(r"[0-9;,.\-]{1,12}")
    )
    def test_whatever_stands_in_a_cell_it_is_read_or_named(self, place: int, column: str, cell: str) -> None:
        rows = sound_rows()
        rows[place][column] = cell

        assert all(p.where.startswith("workbooks.csv") for p in problems_with(workbooks=sheet(rows)))

    @settings(max_examples=100, deadline=None)
    @given(st.text(max_size=200), st.text(max_size=200))
    def test_whatever_the_files_are_they_are_refused_in_sentences(self, rules: str, workbooks: str) -> None:
        found = problems_with(rules, workbooks)

        assert {p.where.partition(",")[0] for p in found} == {"programme.toml", "workbooks.csv"}


# --- random programmes ------------------------------------------------------------------------------------

# What may be typed into a cell: also commas, quotation marks and line feeds, but no control characters.
_typed = st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.just("\n"), min_size=1, max_size=12)
texts = _typed.map(str.strip).filter(bool)
titles = (
    st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=12)
    .map(str.strip)
    .filter(bool)
)
members = texts.map(lambda text: text.replace(";", "").strip()).filter(bool)


@st.composite
def workbooks(draw: st.DrawFn, subject: str, level: int, number: int, earlier: list[str]) -> Workbook:
    """A workbook: sections and checks laid end to end, and perhaps all that is optional."""
    laid = draw(
        st.lists(
            st.tuples(st.sampled_from(["section", "check"]), st.integers(1, 7)), min_size=1, max_size=9
        ).filter(lambda runs: any(kind == "section" for kind, _ in runs))
    )
    stops: list[Stop] = []
    page, seen = 0, {"section": 0, "check": 0}
    for kind, length in laid:
        seen[kind] += 1
        questions = draw(st.integers(1, 40))
        name = f"{kind}-{seen[kind]}"
        stops.append(Stop(kind, seen[kind], name, page + 1, page + length, questions))  # type: ignore[arg-type]
        page += length
    objectives = [
        Objective(stop.id, question, draw(members))
        for stop in stops
        for question in sorted(draw(st.sets(st.integers(1, stop.questions), max_size=2)))
    ]
    return Workbook(
        code=f"{subject}-{level}-{number:02d}",
        course=f"{subject}-{level}",
        subject=subject,
        level=level,
        number=number,
        title=draw(texts),
        pages=page,
        stops=tuple(stops),
        practice_questions=draw(st.integers(1, 500)),
        unit_questions=draw(st.integers(1, 500)),
        price=draw(st.none() | st.integers(0, 99_999_999)),
        supplier=draw(st.none() | texts),
        prerequisites=tuple(
            draw(st.lists(st.sampled_from(earlier), unique=True, max_size=2)) if earlier else ()
        ),
        objectives=tuple(objectives),
    )


@st.composite
def programmes(draw: st.DrawFn) -> tuple[Programme, dict[str, str]]:
    """A programme and the titles of its subjects."""
    ids = st.from_regex(r"[a-z][a-z0-9]{0,19}", fullmatch=True)
    subjects = draw(st.dictionaries(ids, titles, min_size=1, max_size=3))
    courses: dict[str, Course] = {}
    codes: list[str] = []
    for subject, title in subjects.items():
        for level in draw(
            st.sets(st.integers(0, 20), max_size=2) if courses else st.just({draw(st.integers(0, 20))})
        ):
            books = []
            for number in range(1, draw(st.integers(1, 3)) + 1):
                books.append(draw(workbooks(subject, level, number, list(codes))))
                codes.append(books[-1].code)
            course = f"{subject}-{level}"
            courses[course] = Course(course, subject, f"{title} {level}", level, tuple(books))
    exact = draw(st.booleans())
    percents = st.integers(1, 100 if exact else 99)
    minutes = sorted(draw(st.sets(st.integers(0, 24 * 60 - 1), min_size=2, max_size=2)))
    begins, ends = (time(*divmod(minute, 60)) for minute in minutes)
    few = st.integers(1, 99)
    years = draw(st.lists(st.integers(0, 20), unique=True, min_size=1, max_size=3))
    programme = Programme(
        id=draw(ids),
        title=draw(titles),
        currency=draw(st.from_regex(r"[A-Z]{3}", fullmatch=True)),
        marks=Marks(draw(percents), draw(percents), exact),
        unit_test=UnitTestRules(
            draw(st.integers(1, 30)),
            begins,
            ends,
            draw(few),
            draw(few),
            readiness_decision=draw(st.booleans()),
        ),
        marking=MarkingRules(draw(st.integers(1, 100)), draw(st.integers(0, 99))),
        dispatch_day=draw(st.integers(1, 28)),
        rework=draw(st.sampled_from(Rework)),
        aids=tuple(AidRule(year, tuple(draw(st.lists(titles, max_size=2)))) for year in years),
        courses=courses,
    )
    return programme, subjects


def quoted(value: object) -> str:
    """A value as TOML writes it; JSON's strings, numbers and lists are written alike."""
    return json.dumps(value, ensure_ascii=False)


def written_rules(p: Programme, subjects: Mapping[str, str]) -> str:
    """The rules as a file."""
    unit = p.unit_test
    lines = [
        "[programme]",
        *(f"{key} = {quoted(getattr(p, key))}" for key in ("id", "title", "currency")),
        "[marks]",
        f"practice_test_percent = {p.marks.practice_test_percent}",
        f"unit_test_percent = {p.marks.unit_test_percent}",
        f"exact_mark_passes = {quoted(p.marks.exact_mark_passes)}",
        "[unit_test]",
        f"school_days_after_practice = {unit.school_days_after_practice}",
        f"morning_from = {quoted(f'{unit.morning_from:%H:%M}')}",
        f"morning_until = {unit.morning_until:%H:%M:%S}",  # TOML has times of its own
        f"most_a_learner_a_day = {unit.most_a_learner_a_day}",
        f"most_watched_a_morning = {unit.most_watched_a_morning}",
        f"readiness_decision = {quoted(unit.readiness_decision)}",
        "[marking]",
        f"quiz_when_wrong_percent = {p.marking.quiz_when_wrong_percent}",
        f"sections_ahead = {p.marking.sections_ahead}",
        "[dispatch]",
        f"day = {p.dispatch_day}",
        "[rework]",
        f"after_failed_unit_test = {quoted(p.rework.value)}",
    ]
    for aid in p.aids:
        lines += ["[[aids]]", f"from_year = {aid.from_year}", f"allowed = {quoted(aid.allowed)}"]
    for name, title in subjects.items():
        lines += ["[[subject]]", f"id = {quoted(name)}", f"title = {quoted(title)}"]
    return "\n".join(lines)


def written_row(book: Workbook) -> Cells:
    """A workbook as a row."""
    return {
        "course": book.subject,
        "level": str(book.level),
        "number": str(book.number),
        "title": book.title,
        "pages": str(book.pages),
        "section_ends": ";".join(str(s.last) for s in book.sections),
        "section_questions": ";".join(str(s.questions) for s in book.sections),
        "check_pages": ";".join(
            str(s.first) if s.first == s.last else f"{s.first}-{s.last}" for s in book.checks
        ),
        "check_questions": ";".join(str(s.questions) for s in book.checks),
        "practice_questions": str(book.practice_questions),
        "unit_questions": str(book.unit_questions),
        "price": "" if book.price is None else f"{book.price // 100}.{book.price % 100:02d}",
        "supplier": book.supplier or "",
        "prerequisites": ";".join(book.prerequisites),
        "objectives": ";".join(f"{o.stop}:{o.question}={o.text}" for o in book.objectives),
    }


class TestRandomProgrammes:
    """Laws that hold for every programme."""

    @settings(max_examples=100, deadline=None)
    @given(programmes(), st.randoms(use_true_random=False))
    def test_a_programme_written_out_reads_back_equal(
        self, made: tuple[Programme, dict[str, str]], dice: object
    ) -> None:
        programme, subjects = made
        rows = [written_row(book) for book in programme.workbooks.values()]
        dice.shuffle(rows)  # type: ignore[attr-defined]

        assert read_programme(written_rules(programme, subjects), sheet(rows)) == programme

    @settings(max_examples=100, deadline=None)
    @given(workbooks("sums", 5, 1, []))
    def test_stops_cover_every_page_exactly_once(self, drawn: Workbook) -> None:
        book = read_programme(RULES, sheet([written_row(drawn)])).workbook("sums-5-01")

        covered = [page for stop in book.stops for page in range(stop.first, stop.last + 1)]
        assert covered == list(range(1, book.pages + 1))
        assert sorted([*book.sections, *book.checks], key=lambda s: s.first) == list(book.stops)
        for page in covered:
            [holds] = [stop for stop in drawn.stops if stop.first <= page <= stop.last]
            assert book.stop_of_page(page) == holds == book.stop(holds.id)


class TestTheSample:
    """The invented programme that ships: common practice, no source, for its rules; everything else invented."""

    @pytest.fixture
    def harbour(self) -> Programme:
        return read_programme(*sample_texts("harbour"))

    def test_its_rules_are_those_of_the_design(self, harbour: Programme) -> None:
        """DESIGN 4.5 to 4.9."""
        p = harbour

        assert "invented" in p.title
        assert p.marks == Marks(80, 80, exact_mark_passes=True)
        assert p.unit_test == UnitTestRules(1, time(8), time(12), 1, 2, readiness_decision=True)
        assert p.marking == MarkingRules(30, 0)
        assert (p.dispatch_day, p.rework) == (1, Rework.NEW_COPY)
        assert p.aids_for(6) == ("pencil", "eraser", "ruler")
        assert p.aids_for(7) == ("pencil", "eraser", "ruler", "calculator")

    def test_it_has_six_subjects_at_three_levels_with_twelve_workbooks_each(self, harbour: Programme) -> None:
        shape = {(c.subject, c.level): len(c.workbooks) for c in harbour.courses.values()}

        subjects = ("maths", "grammar", "reading", "science", "history", "geography")
        assert shape == {(subject, level): 12 for subject in subjects for level in (2, 5, 9)}

    def test_its_workbooks_are_of_a_plausible_size(self, harbour: Programme) -> None:
        books = list(harbour.workbooks.values())

        assert all(24 <= book.pages <= 44 for book in books)
        assert all(len(book.checks) == 3 for book in books)
        assert all(
            4 <= s.last - s.first + 1 <= 8 and 12 <= s.questions <= 30 for b in books for s in b.sections
        )
        assert all(20 <= n <= 40 for b in books for n in (b.practice_questions, b.unit_questions))
        assert all(book.price and book.supplier for book in books)

    def test_no_two_of_its_workbooks_have_one_title(self, harbour: Programme) -> None:
        titles_of = [book.title for book in harbour.workbooks.values()]

        assert len(set(titles_of)) == len(titles_of)
