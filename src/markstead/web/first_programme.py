"""The fourth step of the set-up: the programme. An invented sample, files of one's own, or titles typed in a grid."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from markstead.calendar import places
from markstead.errors import InputError, Problem
from markstead.records.first_evening import Fields
from markstead.records.sheets import PROGRAMME, WORKBOOKS
from markstead.rules import typed_books
from markstead.rules.programme import Programme
from markstead.rules.samples import sample_texts
from markstead.rules.typed_books import LAYOUT_BOUNDS, MOST_ROWS, PASTED_CELLS, Layout, TypedBook
from markstead.rules.typed_books import LAYOUT_CELLS as CUT_CELLS
from markstead.speech import counted, language, later, plural, say
from markstead.web.first_fields import Field, Tick, Typed

KINDS = {
    "sample": (
        later("An invented sample"),
        later(
            "The Harbour Programme of the demonstration: six subjects, twelve workbooks a "
            "course. Good for trying."
        ),
    ),
    "typed": (
        later("My own workbooks, typed or pasted"),
        later(
            "Titles and page counts, as in a spreadsheet. The rest has sensible numbers, which "
            "can be changed."
        ),
    ),
    "files": (
        later("My own workbooks, as a CSV file"),
        later("The file of workbooks that an import takes, with the file of rules beside it or without."),
    ),
}
MAIN_CELLS = PASTED_CELLS
GRID_LABELS = {
    "subject": later("Subject"),
    "level": later("Level"),
    "title": later("Title"),
    "pages": later("Pages"),
    "price": later("Price"),
    "section_ends": later("Sections end on pages"),
    "section_questions": later("Questions of each section"),
    "check_pages": later("Checks on pages"),
    "check_questions": later("Questions of each check"),
    "practice_questions": later("Questions, practice test"),
    "unit_questions": later("Questions, unit test"),
}
LAYOUT_LABELS = {
    "section_pages": later("Pages of a section, about"),
    "sections_a_check": later("Sections before each check (0: no checks)"),
    "section_questions": later("Questions of a section"),
    "check_questions": later("Questions of a check"),
    "practice_questions": later("Questions of the practice test"),
    "unit_questions": later("Questions of the unit test"),
}


@dataclass(frozen=True, slots=True)
class Read:
    """A programme as its two files and as what they say; or what is wrong with it."""

    rules: str = ""
    books: str = ""
    programme: Programme | None = None
    problems: tuple[Problem, ...] = ()


def read_texts(rules: str, books: str) -> Read:
    """Read two files as an import does; every problem of both, row by row, in the language that is spoken."""
    return _read_texts(rules, books, language().code)


@lru_cache(maxsize=8)
def _read_texts(rules: str, books: str, _language: str) -> Read:
    from markstead.rules.load import read_programme

    try:
        return Read(rules, books, read_programme(rules, books))
    except InputError as error:
        return Read(rules, books, None, error.problems)


def kind_of(typed: Typed) -> str:
    """Which of the three ways is chosen; empty: none yet."""
    kind = typed.text("kind")
    return kind if kind in KINDS else ""


def kind_ticks(typed: Typed) -> tuple[Tick, ...]:
    """The three ways, one of them chosen."""
    chosen = kind_of(typed)
    return tuple(
        Tick("kind", kind, say(words), kind == chosen, say(hint)) for kind, (words, hint) in KINDS.items()
    )


def sample() -> Read:
    """The sample programme."""
    return read_texts(*sample_texts())


# --- files -----------------------------------------------------------------------------------------------------


def read_files(typed: Typed) -> Read:
    """Read the files of one's own, uploaded or pasted."""
    books, rules = (
        typed.lines(name).replace("\r\n", "\n").replace("\r", "\n") for name in ("books", "rules")
    )
    if not books.strip():
        typed.fail(
            "books",
            say("The text of {file} is wanted here: choose the file, or paste it.", file=WORKBOOKS),
        )
        return Read()
    if not rules.strip():
        title = typed.text("title") or say("Our programme")
        subjects = typed_books.subject_titles(books)
        rules = typed_books.rules_text(title, currency_of(typed), subjects or {say("Subject"): "subject"})
    found = read_texts(rules, books)
    for problem in found.problems:
        typed.fail(
            "books" if problem.where.startswith(WORKBOOKS) else "rules",
            say("What is wrong stands in the list above."),
        )
    if typed.wrong:
        return Read(found.rules, found.books, None, found.problems)
    return found


def file_fields(typed: Typed) -> tuple[Field, ...]:
    """The fields of the page for files."""
    return (
        Field(
            "books",
            say("The text of {file}", file=WORKBOOKS),
            typed.lines("books"),
            "lines",
            typed.wrong.get("books", ""),
        ),
        Field(
            "rules",
            say("The text of {file}", file=PROGRAMME),
            typed.lines("rules"),
            "lines",
            typed.wrong.get("rules", ""),
            say(
                "May be left empty: then the usual rules of the trade hold, and the subjects are "
                "those of the other file."
            ),
        ),
    )


def name_fields(typed: Typed, country: str = "") -> tuple[Field, ...]:
    """What the programme is called and what its prices are in: before it is said, what a country pays with."""
    return (
        Field(
            "title",
            say("What the programme is called"),
            typed.text("title") or say("Our programme"),
            wrong=typed.wrong.get("title", ""),
        ),
        Field(
            "currency",
            say("Currency of prices"),
            typed.text("currency") or places.currency(country) or "EUR",
            wrong=typed.wrong.get("currency", ""),
            hint=say("Three letters, such as EUR."),
        ),
    )


def currency_of(typed: Typed) -> str:
    """The currency, in capital letters."""
    text = (typed.text("currency") or "EUR").upper()
    if not re.fullmatch(r"[A-Z]{3}", text):
        typed.fail("currency", say("Three letters (ISO 4217) are wanted here, such as EUR."))
        return "EUR"
    return text


# --- titles in a grid --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class GridRow:
    """One workbook of the grid."""

    number: int
    cells: tuple[Field, ...]


@dataclass(frozen=True, slots=True)
class CutRow:
    """How one workbook is laid out: what was typed, and what holds where nothing was."""

    what: str
    cells: tuple[Field, ...]


def layout_of(typed: Typed) -> Layout:
    """The numbers by which workbooks are laid out."""
    plain = Layout()
    values = {
        name: typed.whole(name, *bounds, otherwise=getattr(plain, name))
        for name, bounds in LAYOUT_BOUNDS.items()
    }
    return Layout(**values)


def layout_fields(typed: Typed) -> tuple[Field, ...]:
    """The fields of those numbers."""
    plain = Layout()
    return tuple(
        Field(
            name,
            say(LAYOUT_LABELS[name]),
            typed.text(name) or str(getattr(plain, name)),
            "whole",
            typed.wrong.get(name, ""),
        )
        for name in LAYOUT_BOUNDS
    )


def books_of(typed: Typed, cut: Typed) -> list[TypedBook]:
    """The rows of the grid, and what was typed of the layout of each."""
    count = typed.rows("title", least=0, most=MOST_ROWS)
    return [
        TypedBook(
            **{name: typed.text(f"{name}-{n}") for name in MAIN_CELLS},
            **{name: cut.text(f"{name}-{n}") for name in CUT_CELLS if typed.text(f"title-{n}")},
        )
        for n in range(count)
    ]


def read_typed(typed: Typed, cut: Typed) -> Read:
    """Read the grid into a programme; what is wrong stands at its cell, in the grid or in the layout."""
    title, currency = typed.text("title") or say("Our programme"), currency_of(typed)
    layout = layout_of(typed)
    books = books_of(typed, cut)
    files, wrong = typed_books.write_files(books, layout, title=title, currency=currency)
    for (n, name), says in wrong.items():
        typed.fail(f"{name}-{n}", says)
    if all(book.empty for book in books):
        typed.fail("title-0", say("At least one workbook is wanted here: a subject, a title and its pages."))
    if files is None or typed.wrong:
        return Read()
    found = read_texts(files.programme, files.workbooks)
    kept = [_to_cell(problem, files.rows, typed, cut) for problem in found.problems]
    return Read(found.rules, found.books, found.programme, tuple(problem for problem in kept if problem))


_CELL = re.compile(rf"{re.escape(WORKBOOKS)}, \w+ (\d+), \w+ (\w+)")
"""Where a problem of a cell is, in any language: workbooks.csv, row 14, column pages."""


def _to_cell(problem: Problem, rows: Mapping[int, int], typed: Typed, cut: Typed) -> Problem | None:
    """Put a problem of the written file to the cell that it came from; give it back where there is none."""
    found = _CELL.fullmatch(problem.where)
    if found is None or int(found[1]) not in rows:
        typed.fail("title-0", str(problem))
        return problem
    n, name = rows[int(found[1])], found[2]
    says = say("Found {found}; wanted is {allowed}.", found=problem.found, allowed=problem.allowed)
    says = f"{says} {problem.do}" if problem.do else says
    if name in CUT_CELLS:
        cut.fail(f"{name}-{n}", says)
    else:
        typed.fail(f"{name if name in MAIN_CELLS else 'title'}-{n}", says)
    return None


def grid_rows(typed: Typed, *, more: bool = False) -> tuple[GridRow, ...]:
    """The grid with some empty rows at its end."""
    count = max(
        typed.rows("title", least=6, most=MOST_ROWS, more=more),
        typed.rows("pages", least=6, most=MOST_ROWS),
    )
    return tuple(
        GridRow(
            n + 1,
            tuple(
                Field(
                    f"{name}-{n}",
                    say("{column}, row {n}", column=say(GRID_LABELS[name]), n=n + 1),
                    typed.text(f"{name}-{n}"),
                    "whole" if name in ("level", "pages") else "text",
                    typed.wrong.get(f"{name}-{n}", ""),
                )
                for name in MAIN_CELLS
            ),
        )
        for n in range(count)
    )


def with_paste(fields: Fields) -> tuple[dict[str, list[str]], str]:
    """Take the paste into the grid, and say what was read.

    A row of a workbook that stands there already takes its place; all others come behind the rows that are there.
    """
    typed = Typed(fields)
    pasted = typed_books.read_paste(typed.lines("paste"))
    kept = {name: list(values) for name, values in fields.items()}
    if not pasted.books:
        return kept, say("The paste is empty: nothing was read.")
    used = [n for n in range(MOST_ROWS) if any(typed.text(f"{name}-{n}") for name in MAIN_CELLS)]
    there = {tuple(typed.text(f"{name}-{n}") for name in MAIN_CELLS[:3]): n for n in reversed(used)}
    free, taken = max(used, default=-1) + 1, 0
    for book in pasted.books:
        n = there.pop((book.subject, book.level, book.title), None)
        if n is None:
            n, free = free, free + 1
        if n >= MOST_ROWS:
            continue
        taken += 1
        for name in MAIN_CELLS:
            kept[f"{name}-{n}"] = [getattr(book, name) or typed.text(f"{name}-{n}")]
    kept["paste"] = [""]
    return kept, _paste_words(pasted, taken)


def _paste_words(pasted: typed_books.Pasted, taken: int) -> str:
    how = (
        say("by their headings")
        if pasted.by_heading
        else say("by their place, for there is no row of headings")
    )
    said = [
        counted(
            taken,
            "Read {n} row; columns known {how}: {columns}. Look them over below.",
            "Read {n} rows; columns known {how}: {columns}. Look them over below.",
            how=how,
            columns=", ".join(say(typed_books.NAMES[name]) for name in pasted.columns),
        )
    ]
    if "pages" not in pasted.columns:
        said.append(
            say(
                "No column of pages was found: give it the heading {pages}, and paste the rows again.",
                pages=say("pages"),
            )
        )
    if pasted.left_out:
        said.append(say("Left out: {columns}.", columns=", ".join(pasted.left_out)))
    if taken < len(pasted.books):
        without = len(pasted.books) - taken
        said.append(
            say(
                "There is room for {most} rows; {without} found none. More come as a file.",
                most=MOST_ROWS,
                without=without,
            )
        )
    return " ".join(said)


def cut_rows(typed: Typed, cut: Typed) -> tuple[CutRow, ...]:
    """Each workbook with its layout: what holds where nothing was typed stands in the hint of each cell."""
    layout, found = layout_of(Typed(typed.data)), []
    for n, book in enumerate(books_of(typed, cut)):
        if not book.title:
            continue
        pages = book.pages.strip()
        plain = TypedBook()
        if pages.isascii() and pages.isdecimal() and 1 <= int(pages[:6]) <= typed_books.MOST_PAGES:
            plain = typed_books.filled(book, layout, int(pages))
        cells = tuple(
            Field(
                f"{name}-{n}",
                f"{say(GRID_LABELS[name])}, {book.title}",
                cut.text(f"{name}-{n}") or getattr(plain, name),
                wrong=cut.wrong.get(f"{name}-{n}", ""),
            )
            for name in CUT_CELLS
        )
        found.append(CutRow(say("{title}, {pages} pages", title=book.title, pages=pages or "?"), cells))
    return tuple(found)


def only_what_differs(typed: Typed, fields: Fields) -> dict[str, list[str]]:
    """What was typed of the layout, without what holds anyway: the layout's numbers may still be changed."""
    layout = layout_of(Typed(typed.data))
    kept: dict[str, list[str]] = {}
    for n, book in enumerate(books_of(typed, Typed({}))):
        pages = book.pages.strip()
        if not (pages.isascii() and pages.isdecimal() and 1 <= int(pages[:6]) <= typed_books.MOST_PAGES):
            continue
        plain = typed_books.filled(book, layout, int(pages))
        typed_cells = {name: Typed(fields).text(f"{name}-{n}") for name in CUT_CELLS}
        differing = {name for name, value in typed_cells.items() if value and value != getattr(plain, name)}
        if differing & {"section_ends", "check_pages"}:  # sections and checks hang together
            differing |= {"section_ends", "check_pages"}
        kept |= {f"{name}-{n}": [typed_cells[name]] for name in sorted(differing)}
    return kept or {"seen": ["yes"]}


def programme_words(programme: Programme) -> Sequence[str]:
    """What the programme holds, in sentences."""
    books, courses = len(programme.workbooks), len(programme.courses)
    practice, unit = programme.marks.practice_test_percent, programme.marks.unit_test_percent
    marks = say(
        "Pass marks: {practice} of 100 in the practice test, {unit} of 100 in the unit test.",
        practice=practice,
        unit=unit,
    )
    size = say(
        "{programme}: {workbooks} in {courses}.",
        programme=programme.title,
        workbooks=plural(books, "workbook"),
        courses=plural(courses, "course"),
    )
    return (size, marks)
