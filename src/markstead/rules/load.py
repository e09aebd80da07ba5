"""Reading a programme: its rules (TOML) and its workbooks (CSV), with everything that is wrong in one report."""

import csv
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from markstead.calendar.load import TimeOfDay, parse_toml, problems_of
from markstead.errors import InputError, Problem
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

MOST_PAGES = 999
_ID = re.compile(r"[a-z][a-z0-9]{0,19}")


def _id(value: str) -> str:
    if not _ID.fullmatch(value):
        raise ValueError("small letters and digits, a letter first, at most 20: maths, grammar2")
    return value


Id = Annotated[str, AfterValidator(_id)]
Percent = Annotated[int, Field(ge=1, le=100)]
Few = Annotated[int, Field(ge=1, le=99)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Programme(_Table):
    id: Id
    title: str
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] = "EUR"


class _Marks(_Table):
    practice_test_percent: Percent
    unit_test_percent: Percent
    exact_mark_passes: bool


class _UnitTest(_Table):
    school_days_after_practice: Annotated[int, Field(ge=1, le=30)]
    morning_from: TimeOfDay
    morning_until: TimeOfDay
    most_a_learner_a_day: Few
    most_watched_a_morning: Few
    readiness_decision: bool


class _Marking(_Table):
    quiz_when_wrong_percent: Percent
    sections_ahead: Annotated[int, Field(ge=0, le=99)]


class _Dispatch(_Table):
    day: Annotated[int, Field(ge=1, le=28)]


class _Rework(_Table):
    after_failed_unit_test: Literal["new copy", "same copy"]


class _Aids(_Table):
    from_year: Annotated[int, Field(ge=0, le=20)]
    allowed: list[str]


class _Subject(_Table):
    id: Id
    title: str


class _File(_Table):
    programme: _Programme
    marks: _Marks
    unit_test: _UnitTest
    marking: _Marking
    dispatch: _Dispatch
    rework: _Rework
    aids: list[_Aids] = Field(min_length=1)
    subject: list[_Subject] = Field(min_length=1)


NEEDED = (
    "course",
    "level",
    "number",
    "title",
    "pages",
    "section_ends",
    "section_questions",
    "practice_questions",
    "unit_questions",
)
OPTIONAL = ("check_pages", "check_questions", "price", "supplier", "prerequisites", "objectives")
COLUMNS = (*NEEDED, *OPTIONAL)


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of the workbooks' file, and where its problems go."""

    file: str
    number: int
    cells: dict[str, str]
    problems: list[Problem]

    def wrong(self, column: str, found: str, allowed: str, do: str = "") -> None:
        self.problems.append(Problem(f"{self.file}, row {self.number}, column {column}", found, allowed, do))

    def text(self, column: str) -> str:
        return self.cells.get(column, "").strip()

    def whole(self, column: str, least: int, most: int) -> int | None:
        text = self.text(column)
        if text.isascii() and text.isdecimal() and least <= int(text) <= most:
            return int(text)
        do = "A sheet may have turned it into a decimal number." if re.fullmatch(r"\d+[.,]\d+", text) else ""
        self.wrong(column, repr(text) if text else "nothing", f"a whole number from {least} to {most}", do)
        return None

    def list(self, column: str, read: Callable[[str], Any], allowed: str) -> list[Any] | None:
        """Members parted by semicolons; None when one of them cannot be read."""
        found = []
        for member in (m.strip() for m in self.text(column).split(";") if m.strip()):
            value = read(member)
            if value is None:
                do = "Members are parted by semicolons." if "," in member else ""
                self.wrong(column, repr(member), allowed, do)
                return None
            found.append(value)
        return found


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and 1 <= int(text) <= MOST_PAGES else None


def _page_run(text: str) -> tuple[int, int] | None:
    first, dash, last = text.partition("-")
    a, b = _number(first), _number(last) if dash else _number(first)
    return (a, b) if a is not None and b is not None and a <= b else None


def _price(row: _Row) -> int | None:
    text = row.text("price")
    if not text:
        return None
    try:
        value = Decimal(text)
    except InvalidOperation:
        value = Decimal(-1)
    if not value.is_finite() or value < 0 or value != round(value, 2) or value > 100_000:
        row.wrong("price", repr(text), "a price with a point, such as 4.20, or nothing")
        return None
    return int(value * 100)


def _stops(row: _Row, pages: int | None) -> tuple[Stop, ...]:
    """Sections and checks in page order; they cover every page once."""
    ends = row.list("section_ends", _number, "page numbers such as 6;12;19")
    questions = row.list("section_questions", _number, "numbers of questions such as 20;18;22")
    runs = row.list("check_pages", _page_run, "pages such as 13-14;26")
    asked = row.list("check_questions", _number, "numbers of questions such as 10;12")
    if ends is None or questions is None or runs is None or asked is None or pages is None:
        return ()
    before = len(row.problems)
    if not ends:
        row.wrong("section_ends", "nothing", "the last page of each section, such as 6;12;19")
    if any(a >= b for a, b in zip(ends, ends[1:], strict=False)):  # noqa: RUF007  # as in the file
        row.wrong("section_ends", row.text("section_ends"), "page numbers that rise")
    for ours, theirs, column in (
        (ends, questions, "section_questions"),
        (runs, asked, "check_questions"),
    ):
        if len(ours) != len(theirs):
            row.wrong(column, f"{len(theirs)} numbers", f"{len(ours)} numbers, one for each")
    spans = [(end, end, "section", n) for n, end in enumerate(ends, 1)]
    spans += [(first, last, "check", n) for n, (first, last) in enumerate(sorted(runs), 1)]
    spans.sort(key=lambda span: span[1])
    if len(row.problems) > before:
        return ()
    stops: list[Stop] = []
    page = 0
    for first, last, kind, n in spans:
        if last > pages:
            column = "section_ends" if kind == "section" else "check_pages"
            row.wrong(column, str(last), f"a page from 1 to {pages}, the last page")
            return ()
        start = page + 1 if kind == "section" else first
        if start != page + 1 or last < start:
            allowed = f"a check that begins right behind a section, on page {page + 1}"
            row.wrong("check_pages", f"{first}-{last}", allowed, "A section ends on the page before a check.")
            return ()
        asked_here = questions[n - 1] if kind == "section" else asked[n - 1]
        stops.append(Stop(kind, n, f"{kind}-{n}", start, last, asked_here))
        page = last
    if page != pages:
        row.wrong("pages", str(pages), f"{page}, where the last section or check ends")
        return ()
    return tuple(stops)


_OBJECTIVE = re.compile(r"((?:section|check)-\d+):(\d+)(?:-(\d+))?=(.+)")


def _objectives(row: _Row, stops: tuple[Stop, ...]) -> tuple[Objective, ...]:
    found: list[Objective] = []
    questions = {stop.id: stop.questions for stop in stops}
    for member in (m.strip() for m in row.text("objectives").split(";") if m.strip()):
        match = _OBJECTIVE.fullmatch(member)
        if match is None:
            row.wrong("objectives", repr(member), "objectives such as section-1:1-4=adds to twenty")
            continue
        stop, first, last = match[1], int(match[2]), int(match[3] or match[2])
        if stops and not 1 <= first <= last <= questions.get(stop, 0):
            row.wrong("objectives", repr(member), f"questions of the row's stops: {', '.join(questions)}")
            continue
        found += [Objective(stop, n, match[4].strip()) for n in range(first, last + 1)]
    return tuple(found)


def _workbook(row: _Row, subjects: dict[str, str]) -> Workbook | None:
    """Read one row; None when anything in it is wrong."""
    before = len(row.problems)
    subject = row.text("course")
    if subject not in subjects:
        allowed = (
            f"a subject of the programme: {', '.join(subjects)}" if subjects else "a subject of the programme"
        )
        row.wrong("course", repr(subject), allowed)
    title = row.text("title")
    if not title:
        row.wrong("title", "nothing", "the title on the cover")
    level, number = row.whole("level", 0, 20), row.whole("number", 1, 99)
    pages = row.whole("pages", 1, MOST_PAGES)
    practice, unit = row.whole("practice_questions", 1, 500), row.whole("unit_questions", 1, 500)
    stops = _stops(row, pages)
    objectives, price = _objectives(row, stops), _price(row)
    prerequisites = tuple(m.strip() for m in row.text("prerequisites").split(";") if m.strip())
    if len(row.problems) > before or None in (level, number, pages, practice, unit):
        return None
    course = f"{subject}-{level}"
    return Workbook(
        code=f"{course}-{number:02d}",
        course=course,
        subject=subject,
        level=level or 0,
        number=number or 0,
        title=title,
        pages=pages or 0,
        stops=stops,
        practice_questions=practice or 0,
        unit_questions=unit or 0,
        price=price,
        supplier=row.text("supplier") or None,
        prerequisites=prerequisites,
        objectives=objectives,
    )


def _rows(text: str, file: str, problems: list[Problem]) -> Iterator[_Row]:
    """The rows below the header, numbered as a sheet shows them."""
    if "\0" in text:
        problems.append(Problem(file, "a NUL byte", "plain text: save the sheet as CSV, UTF-8"))
        return
    reader = csv.reader(text.removeprefix("\ufeff").splitlines(keepends=True), strict=True)
    try:
        header = [name.strip() for name in next(reader, [])]
        needed = f"the columns {', '.join(NEEDED)}"
        problems.extend(
            Problem(f"{file}, row 1", f"no column {name}", needed) for name in NEEDED if name not in header
        )
        for name in header:
            if name not in COLUMNS or header.count(name) > 1:
                twice = " twice" if header.count(name) > 1 else ""
                allowed = f"each once, of: {', '.join(COLUMNS)}"
                problems.append(Problem(f"{file}, row 1", f"column {name!r}{twice}", allowed))
        if problems:
            return
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) != len(header):
                where = f"{file}, row {reader.line_num}"
                problems.append(
                    Problem(where, f"{len(cells)} cells", f"{len(header)} cells, one for each column")
                )
                continue
            yield _Row(file, reader.line_num, dict(zip(header, cells, strict=True)), problems)
    except csv.Error as error:
        problems.append(
            Problem(f"{file}, row {reader.line_num}", str(error), "a CSV file as a sheet saves it")
        )


def _check_order(books: dict[str, tuple[_Row, Workbook]]) -> None:
    """Numbers run from 1 without a gap; prerequisites are there and lead nowhere in a circle."""
    by_course: dict[str, list[tuple[_Row, Workbook]]] = {}
    for row, book in books.values():
        by_course.setdefault(book.course, []).append((row, book))
    for found in by_course.values():
        for place, (row, book) in enumerate(sorted(found, key=lambda pair: pair[1].number), 1):
            if book.number != place:
                row.wrong("number", str(book.number), f"{place}: the workbooks of {book.course} leave no gap")
                break
    for row, book in books.values():
        for code in book.prerequisites:
            if code not in books:
                row.wrong("prerequisites", repr(code), "the code of a workbook, such as maths-5-03")
    for row, book in books.values():
        if _leads_back(book.code, books):
            found_codes = ";".join(book.prerequisites)
            row.wrong("prerequisites", found_codes, "workbooks that do not need this one themselves")


def _leads_back(code: str, books: dict[str, tuple[_Row, Workbook]]) -> bool:
    """Whether a workbook needs itself: by prerequisites, or by its place in the course."""
    if not books[code][1].prerequisites:
        return False
    seen: set[str] = set()
    ahead = list(books[code][1].prerequisites)
    while ahead:
        name = ahead.pop()
        if name == code:
            return True
        if name in seen or name not in books:
            continue
        seen.add(name)
        book = books[name][1]
        ahead += book.prerequisites
        if book.number > 1:
            ahead.append(f"{book.course}-{book.number - 1:02d}")
    return False


def _courses(books: list[Workbook], subjects: dict[str, str]) -> dict[str, Course]:
    courses: dict[str, list[Workbook]] = {}
    for book in books:
        courses.setdefault(book.course, []).append(book)
    return {
        course: Course(
            course,
            found[0].subject,
            f"{subjects[found[0].subject]} {found[0].level}",
            found[0].level,
            tuple(sorted(found, key=lambda book: book.number)),
        )
        for course, found in courses.items()
    }


def _rules(text: str, file: str, problems: list[Problem]) -> _File | None:
    try:
        kept = _File.model_validate(parse_toml(text, file))
    except InputError as error:
        problems += error.problems
        return None
    except ValidationError as error:
        problems += problems_of(file, error)
        return None
    if kept.unit_test.morning_from >= kept.unit_test.morning_until:
        allowed = f"a time after {kept.unit_test.morning_from:%H:%M}, when the morning begins"
        until = f"{kept.unit_test.morning_until:%H:%M}"
        problems.append(Problem(f"{file}, unit_test, morning_until", until, allowed))
    named: dict[str, list[str]] = {
        "subject": [s.id for s in kept.subject],
        "aids": [str(a.from_year) for a in kept.aids],
    }
    for kind, names in named.items():
        for n, name in enumerate(names, 1):
            if names.index(name) != n - 1:
                problems.append(
                    Problem(f"{file}, {kind} {n}", repr(name), "one that does not stand there already")
                )
    return kept


def read_programme(
    rules_toml: str,
    workbooks_csv: str,
    *,
    rules_file: str = "programme.toml",
    workbooks_file: str = "workbooks.csv",
) -> Programme:
    """Read a programme from its two files.

    Raises:
        InputError: every problem of both files, each with file, row, column, what was found and what is allowed.
    """
    problems: list[Problem] = []
    rules = _rules(rules_toml, rules_file, problems)
    subjects = {s.id: s.title for s in rules.subject} if rules is not None else _named_subjects(rules_toml)
    of_rows: list[Problem] = []
    books: dict[str, tuple[_Row, Workbook]] = {}
    for row in _rows(workbooks_csv, workbooks_file, of_rows):
        book = _workbook(row, subjects)
        if book is None:
            continue
        if book.code in books:
            first = books[book.code][0].number
            row.wrong(
                "number", str(book.number), f"a number that {book.course} has not had (row {first} has it)"
            )
            continue
        books[book.code] = (row, book)
    if not of_rows:
        _check_order(books)
    if not books and not of_rows:
        of_rows.append(Problem(workbooks_file, "no workbook", "at least one row below the header"))
    problems += of_rows
    if problems or rules is None:
        raise InputError(problems)
    unit = rules.unit_test
    return Programme(
        id=rules.programme.id,
        title=rules.programme.title,
        currency=rules.programme.currency,
        marks=Marks(
            rules.marks.practice_test_percent, rules.marks.unit_test_percent, rules.marks.exact_mark_passes
        ),
        unit_test=UnitTestRules(
            unit.school_days_after_practice,
            unit.morning_from,
            unit.morning_until,
            unit.most_a_learner_a_day,
            unit.most_watched_a_morning,
            unit.readiness_decision,
        ),
        marking=MarkingRules(rules.marking.quiz_when_wrong_percent, rules.marking.sections_ahead),
        dispatch_day=rules.dispatch.day,
        rework=Rework(rules.rework.after_failed_unit_test),
        aids=tuple(AidRule(a.from_year, tuple(a.allowed)) for a in rules.aids),
        courses=_courses([book for _, book in books.values()], subjects),
    )


def _named_subjects(rules_toml: str) -> dict[str, str]:
    """Subjects of a rules file that has faults elsewhere, so that its rows are not blamed for them."""
    found = re.findall(r'^\s*id\s*=\s*"([a-z][a-z0-9]*)"', rules_toml, re.MULTILINE)
    return {name: name for name in found}
