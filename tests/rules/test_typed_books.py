"""Workbooks typed or pasted: read by heading or place, laid out by a few numbers, judged by the same reader."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from markstead.rules.load import read_programme
from markstead.rules.typed_books import (
    HEADINGS,
    MOST_ROWS,
    Layout,
    TypedBook,
    laid_out,
    layout_words,
    read_paste,
    rules_text,
    subject_titles,
    write_files,
)
from markstead.speech import spoken

LAYOUTS = st.builds(
    Layout,
    st.integers(1, 30),
    st.integers(0, 6),
    st.integers(1, 40),
    st.integers(1, 40),
    st.integers(1, 40),
    st.integers(1, 40),
)


def rows(text: str) -> list[tuple[str, str, str, str]]:
    return [(b.subject, b.level, b.title, b.pages) for b in read_paste(text).books]


def files(*books: TypedBook, layout: Layout | None = None) -> tuple[str, str]:
    found, wrong = write_files(books, layout or Layout(), title="Ours", currency="EUR")
    assert wrong == {}
    assert found is not None
    return found.programme, found.workbooks


# --- a paste --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mark", ["\t", ";", ","])
def test_columns_are_known_by_their_headings_in_any_order(mark: str) -> None:
    text = mark.join(["Pages", "Title", "Year", "Subject"]) + "\n" + mark.join(["24", "Boats", "5", "Sums"])

    assert rows(text) == [("Sums", "5", "Boats", "24")]
    assert read_paste(text).by_heading


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("Boats\t24", ("", "", "Boats", "24")),
        ("Sums\tBoats\t24", ("Sums", "", "Boats", "24")),
        ("Sums\t5\tBoats\t24", ("Sums", "5", "Boats", "24")),
        ("Sums\t5\t1\tBoats\t24", ("Sums", "5", "Boats", "24")),
        ("Boats", ("", "", "Boats", "")),
    ],
)
def test_without_headings_columns_are_known_by_their_place(text: str, read: tuple[str, ...]) -> None:
    assert rows(text) == [read]
    assert not read_paste(text).by_heading


def test_a_subject_left_empty_is_that_of_the_row_above() -> None:
    assert rows("Sums\t5\tBoats\t24\n\t\tGulls\t26\nWords\t\tWinds\t18") == [
        ("Sums", "5", "Boats", "24"),
        ("Sums", "5", "Gulls", "26"),
        ("Words", "5", "Winds", "18"),
    ]


def test_numbered_rows_come_in_the_order_of_their_numbers() -> None:
    text = "subject,no,title,pages\nSums,2,Gulls,26\nWords,1,Winds,18\nSums,1,Boats,24"

    assert [title for _, _, title, _ in rows(text)] == ["Boats", "Gulls", "Winds"]


def test_a_quoted_cell_keeps_its_comma_and_loses_its_line_break() -> None:
    assert rows('title,pages\n"Boats, Gulls\nand Nets",24') == [("", "", "Boats, Gulls and Nets", "24")]


def test_what_has_no_place_is_told() -> None:
    assert read_paste("title\tpages\tshelf\nBoats\t24\tleft").left_out == ("shelf",)
    assert read_paste("a\tb\tc\td\te\tf\tg").left_out == ("columns 6 to 7",)
    many = read_paste("\n".join(f"Book {n}\t24" for n in range(MOST_ROWS + 3)))
    assert len(many.books) == MOST_ROWS
    assert many.left_out == (f"3 rows beyond the first {MOST_ROWS}",)


@given(st.text(max_size=300))
def test_any_text_at_all_is_read_without_a_word(text: str) -> None:
    found = read_paste(text)

    assert all("\n" not in book.title and "\t" not in book.title for book in found.books)
    assert len(found.books) <= MOST_ROWS


@given(
    st.lists(st.tuples(*[st.from_regex(r"[A-Za-z][a-z]{0,8}", fullmatch=True)] * 2), min_size=1, max_size=6)
)
def test_what_a_spreadsheet_copies_reads_back(pairs: list[tuple[str, str]]) -> None:
    text = "Subject\tTitle\tPages\n" + "\n".join(f"{a}\t{b}\t12" for a, b in pairs)

    assert [(s, t, p) for s, _, t, p in rows(text)] == [(a, b, "12") for a, b in pairs]


@pytest.mark.parametrize(
    "heads",
    [
        "Materia;Grado;Título;Páginas",
        "ASIGNATURA;Año;Cuaderno;N.º de páginas",
        "Course;School year;Workbook;Page count",
        "Subject;Grade;Book;Number of pages",
    ],
)
def test_headings_are_known_in_both_languages_and_in_several_words(heads: str) -> None:
    read = read_paste(f"{heads}\nSums;5;Boats;24")
    assert read.columns == ("subject", "level", "title", "pages")
    assert [(book.title, book.pages) for book in read.books] == [("Boats", "24")]


def test_prices_are_read_as_people_write_them_and_may_be_missing() -> None:
    rows = "Subject;Level;Title;Pages;Price\nSums;5;Boats;24;£6.50\nSums;5;Gulls;26;7\nSums;5;Terns;26;6,5 €\nSums;5;Eels;26;"
    files, wrong = write_files(read_paste(rows).books, Layout(), title="Ours", currency="GBP")
    assert files is not None
    assert not wrong
    books = read_programme(files.programme, files.workbooks).course("sums-5").workbooks
    assert [book.price for book in books] == [650, 700, 650, None]
    none, wrong = write_files(
        [TypedBook("Sums", "5", "Boats", "24", price="dear")], Layout(), title="Ours", currency="GBP"
    )
    assert none is None
    assert list(wrong) == [(0, "price")]


def test_no_heading_stands_for_two_columns() -> None:
    words = [word for heading in HEADINGS.values() for word in heading]

    assert len(words) == len(set(words))


# --- laid out ---------------------------------------------------------------------------------------------------


@given(st.integers(1, 999), LAYOUTS)
def test_every_layout_of_every_workbook_is_one_that_the_reader_takes(pages: int, layout: Layout) -> None:
    programme = read_programme(*files(TypedBook("Sums", "5", "Boats", str(pages)), layout=layout))

    (book,) = programme.workbooks.values()
    assert book.pages == pages
    assert [page for stop in book.stops for page in range(stop.first, stop.last + 1)] == [
        *range(1, pages + 1)
    ]
    assert {stop.questions for stop in book.sections} == {layout.section_questions}
    assert {stop.questions for stop in book.checks} <= {layout.check_questions}
    if not layout.sections_a_check:
        assert book.checks == ()


@given(st.integers(20, 400), st.integers(2, 12))
def test_sections_are_about_as_long_as_was_said(pages: int, size: int) -> None:
    ends, _ = laid_out(pages, Layout(section_pages=size, sections_a_check=0))
    lengths = [b - a for a, b in zip((0, *ends), ends, strict=False)]

    assert max(lengths) - min(lengths) <= 1
    assert abs(sum(lengths) / len(lengths) - size) <= size / 2


def test_a_usual_workbook_has_a_check_behind_every_two_sections() -> None:
    assert laid_out(26, Layout()) == ((6, 12, 19, 25), (13, 26))


def test_the_layout_is_told_in_words() -> None:
    assert layout_words(Layout()) == (
        "Sections of about 6 pages with 12 questions each; behind every 2 sections a progress check of one page "
        "with 10 questions; 20 questions in the practice test and 20 in the unit test."
    )
    assert "no progress checks" in layout_words(Layout(sections_a_check=0))
    assert "behind each section" in layout_words(Layout(sections_a_check=1))


# --- files --------------------------------------------------------------------------------------------------------


def test_workbooks_of_a_course_are_numbered_in_their_order() -> None:
    programme = read_programme(
        *files(
            TypedBook("Sums", "5", "Boats", "24"),
            TypedBook("Words", "5", "Winds", "18"),
            TypedBook("Sums", "", "Gulls", "26"),
            TypedBook(),
            TypedBook("", "6", "Nets", "20"),
        )
    )

    assert sorted((b.code, b.title) for b in programme.workbooks.values()) == [
        ("sums-5-01", "Boats"),
        ("sums-5-02", "Gulls"),
        ("sums-6-01", "Nets"),
        ("words-5-01", "Winds"),
    ]


def test_subjects_that_look_alike_in_plain_letters_stay_apart() -> None:
    programme = read_programme(
        *files(
            TypedBook("Écriture", "1", "Lettres", "12"),
            TypedBook("Ecriture", "1", "Letters", "12"),
            TypedBook("算数", "1", "数", "12"),
            TypedBook("3 D", "1", "Blocks", "12"),
        )
    )

    assert sorted(programme.courses) == ["ecriture-1", "ecriture2-1", "s-1", "s3d-1"]
    assert programme.courses["s-1"].title == "算数 1"


def test_numbers_are_parted_as_people_part_them() -> None:
    programme = read_programme(
        *files(TypedBook("Sums", "5", "Boats", "10", "4, 9", "7 8", "5 ; 10", "3,3", "15", "16"))
    )

    book = programme.workbook("sums-5-01")
    assert [(s.id, s.first, s.last, s.questions) for s in book.stops] == [
        ("section-1", 1, 4, 7),
        ("check-1", 5, 5, 3),
        ("section-2", 6, 9, 8),
        ("check-2", 10, 10, 3),
    ]
    assert (book.practice_questions, book.unit_questions) == (15, 16)


def test_own_sections_without_checks_have_none() -> None:
    programme = read_programme(*files(TypedBook("Sums", "5", "Boats", "10", "4;10")))

    assert [s.id for s in programme.workbook("sums-5-01").stops] == ["section-1", "section-2"]


@pytest.mark.parametrize(
    ("book", "cell"),
    [
        (TypedBook("Sums", "5", "Boats", "many"), "pages"),
        (TypedBook("Sums", "5", "Boats", "0"), "pages"),
        (TypedBook("Sums", "5", "Boats", "1000"), "pages"),
        (TypedBook("Sums", "five", "Boats", "24"), "level"),
        (TypedBook("Sums", "21", "Boats", "24"), "level"),
        (TypedBook("", "5", "Boats", "24"), "subject"),
        (TypedBook("Sums", "5", "", "24"), "title"),
    ],
)
def test_what_cannot_be_meant_is_said_at_its_cell(book: TypedBook, cell: str) -> None:
    found, wrong = write_files(
        [TypedBook("Words", "5", "Winds", "12"), TypedBook(), book] if book.subject else [book],
        Layout(),
        title="Ours",
        currency="EUR",
    )

    assert found is None
    assert set(wrong) == {(2 if book.subject else 0, cell)}


def test_each_row_of_the_file_is_known_by_the_row_that_was_typed() -> None:
    found, _ = write_files(
        [
            TypedBook(),
            TypedBook("Sums", "5", "Boats", "12"),
            TypedBook(),
            TypedBook("Sums", "5", "Gulls", "12"),
        ],
        Layout(),
        title="Ours",
        currency="EUR",
    )

    assert found is not None
    assert found.rows == {2: 1, 3: 3}


def test_the_rules_are_the_usual_ones_under_the_homes_own_title() -> None:
    programme = read_programme(*files(TypedBook("Sums", "5", 'Boats "and" Gulls', "12")))

    assert (programme.title, programme.currency) == ("Ours", "EUR")
    assert programme.marks.practice_needed(20) == 16
    assert programme.workbook("sums-5-01").title == 'Boats "and" Gulls'


def test_the_aids_of_the_rules_are_called_in_the_language_that_is_spoken() -> None:
    with spoken("es"):
        text = rules_text("Casa", "EUR", {"Sumas": "sumas"})
    assert 'allowed = ["lápiz", "goma", "regla", "calculadora"]' in text
    assert "pencil" not in text


def test_a_file_without_rules_names_its_own_subjects() -> None:
    assert subject_titles("course,level\nsums,5\nwords,5\nsums,6\nNo Id,7\n") == {
        "Sums": "sums",
        "Words": "words",
    }
    assert subject_titles("") == {}
