"""Workbooks as a person types them: titles and page counts, the rest laid out by a few numbers told in words.

What is pasted from a spreadsheet becomes rows of text; rows of text become a programme's two files. The reader of
those files judges them as it judges every other programme.
"""

import csv
import io
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace

from markstead.rules.prices import plain_price, read_price
from markstead.rules.samples import sample_texts
from markstead.speech import later, say

MOST_ROWS = 150
"""Workbooks that can be typed; more of them come as a file."""
MOST_PAGES = 999
LONGEST = 120

HEADINGS: Mapping[str, tuple[str, ...]] = {
    "subject": ("subject", "course", "materia", "asignatura", "curso", "area"),
    "level": ("level", "year", "school year", "grade", "nivel", "grado", "ano"),
    "number": ("number", "no", "nr", "#", "numero", "num", "n", "n.o"),
    "title": ("title", "workbook", "book", "name", "titulo", "cuaderno", "libro", "nombre"),
    "pages": ("pages", "paginas", "pags", "pag"),
    "price": ("price", "cost", "precio", "coste"),
}
"""Headings by which a column is known, in either language, in small letters without accents and stops."""
NAMES: Mapping[str, str] = {
    "subject": later("subject"),
    "level": later("level"),
    "number": later("number"),
    "title": later("title"),
    "pages": later("pages"),
    "price": later("price"),
}
"""What each is called when it is told."""
_BY_POSITION = {
    1: ("title",),
    2: ("title", "pages"),
    3: ("subject", "title", "pages"),
    4: ("subject", "level", "title", "pages"),
    5: ("subject", "level", "number", "title", "pages"),
}


@dataclass(frozen=True, slots=True)
class TypedBook:
    """One workbook, every cell as it was typed. Where a cell of the second half is empty, the layout's number holds."""

    subject: str = ""
    level: str = ""
    title: str = ""
    pages: str = ""
    section_ends: str = ""
    section_questions: str = ""
    check_pages: str = ""
    check_questions: str = ""
    practice_questions: str = ""
    unit_questions: str = ""
    price: str = ""

    @property
    def empty(self) -> bool:
        """Whether nothing at all was typed."""
        return not any(getattr(self, f.name).strip() for f in fields(self))


TYPED_CELLS = tuple(f.name for f in fields(TypedBook))
LAYOUT_CELLS = TYPED_CELLS[4:10]
"""Those of sections, checks and tests, in the order of the file."""
PASTED_CELLS = (*TYPED_CELLS[:4], "price")


@dataclass(frozen=True, slots=True)
class Layout:
    """How a workbook of which only the pages are known is laid out. Common practice, no source."""

    section_pages: int = 6
    """About so many pages a section."""
    sections_a_check: int = 2
    """After so many sections comes a progress check of one page; 0: there are none."""
    section_questions: int = 12
    check_questions: int = 10
    practice_questions: int = 20
    unit_questions: int = 20


LAYOUT_BOUNDS: Mapping[str, tuple[int, int]] = {
    "section_pages": (1, 99),
    "sections_a_check": (0, 99),
    "section_questions": (1, 200),
    "check_questions": (1, 200),
    "practice_questions": (1, 200),
    "unit_questions": (1, 200),
}


def layout_words(layout: Layout) -> str:
    """The layout in a sentence or two."""
    checks = say("no progress checks")
    if layout.sections_a_check == 1:
        checks = say(
            "behind each section a progress check of one page with {questions} questions",
            questions=layout.check_questions,
        )
    elif layout.sections_a_check:
        checks = say(
            "behind every {sections} sections a progress check of one page with {questions} questions",
            sections=layout.sections_a_check,
            questions=layout.check_questions,
        )
    return say(
        "Sections of about {pages} pages with {questions} questions each; {checks}; "
        "{practice} questions in the practice test and {unit} in the unit test.",
        pages=layout.section_pages,
        questions=layout.section_questions,
        checks=checks,
        practice=layout.practice_questions,
        unit=layout.unit_questions,
    )


# --- a paste --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pasted:
    """What was read of a paste."""

    books: tuple[TypedBook, ...]
    by_heading: bool
    left_out: tuple[str, ...] = ()
    """Columns for which there is no place here, and rows beyond the most."""
    columns: tuple[str, ...] = ()


def read_paste(text: str) -> Pasted:
    """Read rows that were copied from a spreadsheet, or typed with tabs, semicolons or commas between cells.

    Columns are known by their headings, in any order; without a row of headings by their place: title, pages; or
    subject, title, pages; or subject, level, title, pages; or with the number before the title. A subject or a level
    that is left empty is that of the row above. Nothing is refused here: what cannot be meant is shown in its cell.
    """
    rows = [row for row in _cells(text) if any(row)]
    if not rows:
        return Pasted((), by_heading=False)
    header = _header(rows[0])
    left_out: list[str] = []
    if header is not None:
        columns = header
        left_out += [cell for cell, name in zip(rows[0], header, strict=True) if cell and not name]
        rows = rows[1:]
    else:
        wide = max(len(row) for row in rows)
        columns = _BY_POSITION[min(wide, 5)]
        if wide > 5:
            left_out.append(say("columns 6 to {last}", last=wide) if wide > 6 else say("column 6"))
    named = _in_order(_filled([_named(row, columns) for row in rows]))
    books = [TypedBook(**{name: row.get(name, "") for name in PASTED_CELLS}) for row in named]
    if len(books) > MOST_ROWS:
        left_out.append(say("{n} rows beyond the first {most}", n=len(books) - MOST_ROWS, most=MOST_ROWS))
        books = books[:MOST_ROWS]
    known = tuple(name for name in columns if name)
    return Pasted(tuple(books), header is not None, tuple(left_out), known)


def _cells(text: str) -> list[list[str]]:
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    first = next((line for line in text.split("\n") if line.strip()), "")
    mark = next((mark for mark in "\t;," if mark in first), "\t")
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=mark))
    except csv.Error:  # a lone carriage return or a cell of enormous length
        rows = [line.split(mark) for line in text.split("\n")]
    clean = [[" ".join(cell.split())[:LONGEST] for cell in row] for row in rows]
    return [_trimmed(row) for row in clean]


def _trimmed(row: list[str]) -> list[str]:
    while row and not row[-1]:
        row = row[:-1]
    return row


def _header(row: Sequence[str]) -> tuple[str, ...] | None:
    """The names of the columns, '' for one that has no place here; None where this is no row of headings."""
    by_word = {word: name for name, words in HEADINGS.items() for word in words}
    found = [by_word.get(_plain(cell), "") or _of_pages(cell) for cell in row]
    named = [name for name in found if name]
    if "title" not in named or (len(row) > 1 and len(named) < 2) or len(named) != len(set(named)):
        return None
    return tuple(found)


def _plain(heading: str) -> str:
    """A heading in small letters, without accents and stops."""
    letters = unicodedata.normalize("NFKD", heading.casefold())
    return "".join(c for c in letters if not unicodedata.combining(c)).strip(" .:º°")


def _of_pages(heading: str) -> str:
    """`pages` where one word of several says so, as in: number of pages."""
    words = re.findall(r"[a-z]+", _plain(heading))
    return "pages" if len(words) > 1 and {"pages", "page", "paginas"} & set(words) else ""


def _named(row: Sequence[str], columns: Sequence[str]) -> dict[str, str]:
    return {name: cell for name, cell in zip(columns, row, strict=False) if name}


def _in_order(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Rows in the order of their numbers where every row has one, course by course; else as they stand."""
    numbers = [row.get("number", "") for row in rows]
    if not all(number.isascii() and number.isdecimal() and len(number) <= 6 for number in numbers):
        return rows
    courses = list(dict.fromkeys((row.get("subject", ""), row.get("level", "")) for row in rows))
    place = {course: n for n, course in enumerate(courses)}
    return sorted(
        rows, key=lambda row: (place[row.get("subject", ""), row.get("level", "")], int(row["number"]))
    )


def _filled(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    above: dict[str, str] = {}
    found = []
    for row in rows:
        kept = dict(row)
        for name in ("subject", "level"):
            if kept.get(name):
                above[name] = kept[name]
            elif name in above:
                kept[name] = above[name]
        found.append(kept)
    return found


# --- from rows to files ------------------------------------------------------------------------------------------


def laid_out(pages: int, layout: Layout) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The last page of each section, and the page of each check, of a workbook of so many pages."""
    every = layout.sections_a_check
    size = layout.section_pages + (1 / every if every else 0)
    sections = max(1, round(pages / size))
    while sections > 1 and pages - (sections // every if every else 0) < sections:
        sections -= 1
    checks = sections // every if every else 0
    if pages <= checks:
        checks = 0
    worked = pages - checks
    ends: list[int] = []
    looked: list[int] = []
    before = 0
    for n in range(1, sections + 1):
        upto = round(worked * n / sections)
        ends.append(upto + len(looked))
        before = ends[-1]
        if every and n % every == 0 and len(looked) < checks:
            looked.append(before + 1)
    return tuple(ends), tuple(looked)


Wrong = dict[tuple[int, str], str]
"""What is wrong with a cell, by the place of its row (from 0) and its name."""


@dataclass(frozen=True, slots=True)
class Files:
    """The two files that typed workbooks make, and which row of the second each typed row has become."""

    programme: str
    workbooks: str
    rows: Mapping[int, int] = field(default_factory=dict)
    """The place of a typed row (from 0) by the row of the file, as a spreadsheet numbers it."""


_WANTED = {
    "subject": later("A subject is wanted here."),
    "title": later("A title is wanted here."),
}

CSV_COLUMNS = (
    "course",
    "level",
    "number",
    "title",
    "pages",
    "section_ends",
    "section_questions",
    "check_pages",
    "check_questions",
    "practice_questions",
    "unit_questions",
    "price",
)


def write_files(
    books: Sequence[TypedBook], layout: Layout, *, title: str, currency: str
) -> tuple[Files | None, Wrong]:
    """Write what was typed as a programme's two files; None and what is wrong where a cell cannot be meant.

    Rows in which nothing was typed are passed over. The order of the rows of a course is the order of its workbooks.
    """
    wrong: Wrong = {}
    kept = [(n, book) for n, book in enumerate(_above(books)) if not books[n].empty]
    subjects = _ids(book.subject for _, book in kept if book.subject)
    numbers: dict[tuple[str, str], int] = {}
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    rows: dict[int, int] = {}
    for line, (n, book) in enumerate(kept, 2):
        rows[line] = n
        pages = _whole(book.pages, 1, MOST_PAGES, wrong, (n, "pages"))
        level = _whole(book.level or "0", 0, 20, wrong, (n, "level"))
        for name in _WANTED:
            if not getattr(book, name):
                wrong[n, name] = say(_WANTED[name])
            elif not getattr(book, name).isprintable():
                wrong[n, name] = say("Letters, digits and signs that can be printed are wanted here.")
        price = _price(book.price, wrong, (n, "price"))
        if pages is None or level is None or not book.subject:
            continue
        course = subjects[book.subject]
        numbers[course, str(level)] = number = numbers.get((course, str(level)), 0) + 1
        full = filled(book, layout, pages)
        cells = [getattr(full, name) for name in LAYOUT_CELLS]
        writer.writerow([course, level, number, book.title, pages, *cells, price])
    if wrong or not kept:
        return None, wrong
    return Files(rules_text(title, currency, subjects), out.getvalue(), rows), wrong


def _price(text: str, wrong: Wrong, cell: tuple[int, str]) -> str:
    """A price as the file has it, from 6, 6.50, 6,50, with or without a sign of a currency; empty where none is typed."""
    amount = read_price(text)
    if amount is not None:
        return plain_price(amount)
    if text.strip():
        wrong[cell] = say("A price such as 6 or 6.50 is wanted here.")
    return ""


def filled(book: TypedBook, layout: Layout, pages: int) -> TypedBook:
    """A workbook with the layout's numbers in the cells that were left empty."""
    ends, checks = laid_out(pages, layout)
    if book.section_ends.strip() or book.check_pages.strip():
        # Sections and checks hang together: who gives one of them gives both.
        section_ends, check_pages = book.section_ends, book.check_pages
        sections, looked = (len(_members(text)) for text in (section_ends, check_pages))
    else:
        section_ends, check_pages = _joined(ends), _joined(checks)
        sections, looked = len(ends), len(checks)
    return replace(
        book,
        section_ends=section_ends,
        check_pages=check_pages,
        section_questions=book.section_questions or _joined([layout.section_questions] * sections),
        check_questions=book.check_questions or _joined([layout.check_questions] * looked),
        practice_questions=book.practice_questions or str(layout.practice_questions),
        unit_questions=book.unit_questions or str(layout.unit_questions),
    )


def _members(text: str) -> list[str]:
    return [member for member in re.split(r"[;,\s]+", text) if member]


def _joined(numbers: Iterable[int]) -> str:
    return ";".join(map(str, numbers))


def _above(books: Sequence[TypedBook]) -> list[TypedBook]:
    """Every cell without blanks around it; a subject or a level that is left empty is that of the row above."""
    found: list[TypedBook] = []
    subject = level = ""
    for book in books:
        clean = TypedBook(*(" ".join(getattr(book, name).split()) for name in TYPED_CELLS))
        if clean.empty:
            found.append(clean)
            continue
        subject, level = clean.subject or subject, clean.level or level
        lists = {name: _semicolons(getattr(clean, name)) for name in TYPED_CELLS[4:8]}
        found.append(replace(clean, subject=subject, level=level, **lists))
    return found


def _semicolons(text: str) -> str:
    """People part numbers by commas and blanks; the file wants semicolons."""
    return ";".join(_members(re.sub(r"\s*[-–—]\s*", "-", text)))


def _whole(text: str, least: int, most: int, wrong: Wrong, where: tuple[int, str]) -> int | None:
    if re.fullmatch(r"[0-9]{1,4}", text) and least <= int(text) <= most:
        return int(text)
    wrong[where] = say("A whole number from {least} to {most} is wanted here.", least=least, most=most)
    return None


def _ids(titles: Iterable[str]) -> dict[str, str]:
    """A short id for each subject: its letters, small and plain."""
    found: dict[str, str] = {}
    for title in titles:
        if title in found:
            continue
        plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
        stem = re.sub(r"[^a-z0-9]", "", plain)[:17]
        stem = stem if stem[:1].isalpha() else f"s{stem}"
        name, n = stem, 1
        while name in found.values():
            n += 1
            name = f"{stem}{n}"
        found[title] = name
    return found


def subject_titles(workbooks_csv: str) -> dict[str, str]:
    """The subjects that a file of workbooks names, each called by its own id: for a file that comes without rules."""
    try:
        rows = list(csv.DictReader(io.StringIO(workbooks_csv.removeprefix("\ufeff"))))
    except csv.Error:
        return {}
    ids = [str(row.get("course") or "").strip() for row in rows]
    return {
        name.capitalize(): name for name in dict.fromkeys(ids) if re.fullmatch(r"[a-z][a-z0-9]{0,19}", name)
    }


_AIDS = (later("pencil"), later("eraser"), later("ruler"), later("calculator"))
"""What may lie on the table in a unit test: words of the home's own rules from then on, in the language of its first evening."""


def rules_text(title: str, currency: str, subjects: Mapping[str, str]) -> str:
    """The rules of the sample programme under another title, with these subjects: id by title."""
    sample, _ = sample_texts()
    rules = sample[sample.index("[marks]") : sample.index("[[subject]]")]
    for word in _AIDS:
        rules = rules.replace(f'"{word}"', _quoted(say(word)))
    head = [
        "# The usual rules of the trade. Change any number: the gates follow.",
        "",
        "[programme]",
        'id = "own"',
        f"title = {_quoted(title)}",
        f"currency = {_quoted(currency)}",
        "",
    ]
    tables = [
        f"[[subject]]\nid = {_quoted(name)}\ntitle = {_quoted(called)}\n" for called, name in subjects.items()
    ]
    return "\n".join(head) + "\n" + rules + "\n".join(tables)


def _quoted(text: str) -> str:
    from markstead.calendar.load import quoted

    return quoted(text)
