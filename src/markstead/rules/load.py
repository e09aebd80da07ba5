"""Reading a programme: its rules (TOML) and its workbooks (CSV), with everything that is wrong in one report."""

import csv
import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import time
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
)

from markstead.calendar.load import TimeOfDay, parse_toml, problems_of
from markstead.errors import InputError, Problem
from markstead.rules.programme import (
    AidRule,
    Course,
    Grade,
    MarkingRules,
    Marks,
    Objective,
    Programme,
    ResultOf,
    Rework,
    Stop,
    TranscriptRules,
    UnitTestRules,
    WeighBy,
    Workbook,
)
from markstead.speech import counted, plural, say

MOST_PAGES = 999
_T = TypeVar("_T")
_Kind = Literal["section", "check"]
_ID = re.compile(r"[a-z][a-z0-9]{0,19}")


# --- the rules --------------------------------------------------------------------------------------------


def whole_number(least: int, most: int) -> BeforeValidator:
    """A whole number within bounds, and nothing that merely looks like one."""

    def check(value: object) -> object:
        if type(value) is int and least <= value <= most:
            return value
        raise ValueError(say("a whole number from {least} to {most}", least=least, most=most))

    return BeforeValidator(check)


def _id(value: str) -> str:
    if not _ID.fullmatch(value):
        raise ValueError(say("small letters and digits, a letter first, at most 20: maths, grammar2"))
    return value


def _words(value: str) -> str:
    if not value.strip():
        raise ValueError(say("text that is not blank"))
    return value.strip()


def _currency(value: str) -> str:
    if not re.fullmatch(r"[A-Z]{3}", value):
        raise ValueError(say("three capital letters (ISO 4217), such as EUR"))
    return value


Id = Annotated[str, AfterValidator(_id)]
Words = Annotated[str, AfterValidator(_words)]
Percent = Annotated[int, whole_number(1, 100)]
Few = Annotated[int, whole_number(1, 99)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, arbitrary_types_allowed=True)


class _Programme(_Table):
    id: Id
    title: Words
    currency: Annotated[str, AfterValidator(_currency)] = "EUR"


class _Marks(_Table):
    practice_test_percent: Percent
    unit_test_percent: Percent
    exact_mark_passes: bool

    @field_validator("exact_mark_passes")
    @classmethod
    def _somebody_can_pass(cls, exact: bool, info: ValidationInfo) -> bool:
        if not exact and 100 in (info.data.get("practice_test_percent"), info.data.get("unit_test_percent")):
            raise ValueError(say("true where a pass mark is 100: nobody has more than everything right"))
        return exact


class _UnitTest(_Table):
    school_days_after_practice: Annotated[int, whole_number(1, 30)]
    morning_from: TimeOfDay
    morning_until: TimeOfDay
    most_a_learner_a_day: Few
    most_watched_a_morning: Few
    readiness_decision: bool

    @field_validator("morning_until")
    @classmethod
    def _after_it_begins(cls, until: time, info: ValidationInfo) -> time:
        begins = info.data.get("morning_from")
        if begins is not None and until <= begins:
            raise ValueError(say("a time after {time}, when the morning begins", time=f"{begins:%H:%M}"))
        return until


class _Marking(_Table):
    quiz_when_wrong_percent: Percent
    sections_ahead: Annotated[int, whole_number(0, 99)]


class _Dispatch(_Table):
    day: Annotated[int, whole_number(1, 28)]


class _Rework(_Table):
    after_failed_unit_test: Literal["new copy", "same copy"]


class _Aids(_Table):
    from_year: Annotated[int, whole_number(0, 20)]
    allowed: list[Words]


class _Subject(_Table):
    id: Id
    title: Words


def _decimal(least: Fraction, most: int) -> BeforeValidator:
    def check(value: object) -> object:
        if isinstance(value, int | float) and not isinstance(value, bool) and least <= value <= most:
            return Fraction(str(value))
        raise ValueError(say("a number from {least:g} to {most}", least=float(least), most=most))

    return BeforeValidator(check)


def _one_of(choices: type[StrEnum]) -> BeforeValidator:
    def check(value: object) -> object:
        if value in list(choices):
            return choices(str(value))
        raise ValueError(say("one of {words}", words=", ".join(choices)))

    return BeforeValidator(check)


class _Transcript(_Table):
    workbooks_a_credit: Annotated[int, whole_number(1, 99)]
    smallest_credit: Annotated[Fraction, _decimal(Fraction(1, 100), 1)] = Fraction(1, 4)
    result_of: Annotated[ResultOf, _one_of(ResultOf)] = ResultOf.PASSED
    weigh_by: Annotated[WeighBy, _one_of(WeighBy)] = WeighBy.CREDITS


class _Grade(_Table):
    from_percent: Annotated[int, whole_number(0, 100)]
    name: Words


class _File(_Table):
    programme: _Programme
    marks: _Marks
    unit_test: _UnitTest
    marking: _Marking
    dispatch: _Dispatch
    rework: _Rework
    aids: list[_Aids] = Field(min_length=1)
    subject: list[_Subject] = Field(min_length=1)
    transcript: _Transcript | None = None
    grade: list[_Grade] = []


def _values(data: Mapping[str, Any], kind: str, key: str) -> list[Any]:
    """What the tables of a kind give for a key, as it stands; None for a table that does not give it."""
    tables = data.get(kind)
    return [t.get(key) if isinstance(t, dict) else None for t in tables] if isinstance(tables, list) else []


def _rules(text: str, file: str, problems: list[Problem]) -> tuple[_File | None, dict[str, str] | None]:
    """The rules, if all is well with them; and the titles of the subjects by id, if they can be read at all."""
    try:
        data = parse_toml(text, file)
    except InputError as error:
        problems += error.problems
        return None, None
    kept = None
    try:
        kept = _File.model_validate(data)
    except ValidationError as error:
        problems += problems_of(file, error, _File)
    for kind, key in (("aids", "from_year"), ("subject", "id"), ("grade", "from_percent")):
        values = _values(data, kind, key)
        for n, value in enumerate(values, 1):
            if value is not None and value in values[: n - 1]:
                where = f"{file}, {kind} {n}, {key}"
                problems.append(Problem(where, repr(value), say("one that does not stand there already")))
    if kept is not None:
        return kept, {s.id: s.title for s in kept.subject}
    named = {str(name): str(name) for name in _values(data, "subject", "id") if isinstance(name, str)}
    return None, named or None


# --- one row of the workbooks -----------------------------------------------------------------------------


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


_MONTH = re.compile(
    r"\d{1,2}[-. ]?(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*[-. ]?\d*", re.IGNORECASE
)
_DATE = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}")


def _shown(text: str) -> str:
    """A cell as it stands there; a very long one is cut."""
    if not text:
        return say("nothing")
    return repr(text if len(text) <= 80 else f"{text[:79]}…")


def _hint(text: str, *, listed: bool) -> str:
    """What to do about a cell that a sheet has made something else of."""
    if whole := re.fullmatch(r"([0-9]{1,9})[.,]0+", text):
        return say("A sheet has made a decimal number of it: write {number}.", number=whole[1])
    if _MONTH.fullmatch(text) or _DATE.fullmatch(text):
        return say("A sheet has made a date of it: format the column as text and write it again.")
    if listed and re.fullmatch(r"[0-9]+([., ]+[0-9]+)+", text):
        return say("Numbers are parted by semicolons.")
    if re.fullmatch(r"[0-9]+[.,][0-9]+", text):
        return say("Write it without a point or a comma.")
    return ""


@dataclass(slots=True)
class _Row:
    """One row of the workbooks' file, and where its problems go."""

    file: str
    number: int
    cells: dict[str, str]
    unread: frozenset[str]
    """Columns that the header lacks or has twice: already reported, so a row is not blamed for them."""
    problems: list[Problem]
    faulty: bool = False

    def wrong(self, column: str, found: str, allowed: str, do: str = "") -> None:
        self.faulty = True
        if column not in self.unread:
            where = say(
                "{file}, row {number}, column {column}", file=self.file, number=self.number, column=column
            )
            self.problems.append(Problem(where, found, allowed, do, row=self.number))

    def text(self, column: str) -> str:
        return "" if column in self.unread else self.cells.get(column, "").strip()

    def whole(self, column: str, least: int, most: int) -> int | None:
        """A whole number; None if it is none or out of bounds."""
        text = self.text(column)
        if re.fullmatch(r"[0-9]{1,9}", text) and least <= int(text) <= most:
            return int(text)
        allowed = say("a whole number from {least} to {most}", least=least, most=most)
        self.wrong(column, _shown(text), allowed, _hint(text, listed=False))
        return None

    def members(self, column: str) -> list[str]:
        """What stands between semicolons; one at the end does no harm."""
        text = self.text(column).removesuffix(";")
        return [member.strip() for member in text.split(";")] if text else []


def _list(row: _Row, column: str, read: Callable[[str], _T | None], allowed: str) -> list[_T] | None:
    """Members of a cell; None when one of them cannot be read, each such one is reported."""
    found: list[_T] = []
    well = column not in row.unread
    for member in row.members(column):
        value = read(member)
        if value is None:
            shown = _shown(member) if member else say("nothing between two semicolons")
            row.wrong(column, shown, allowed, _hint(member, listed=True))
            well = False
        else:
            found.append(value)
    return found if well else None


def _number(text: str) -> int | None:
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) and 1 <= int(text) <= MOST_PAGES else None


def _page_run(text: str) -> tuple[int, int] | None:
    first, dash, last = (part.strip() for part in text.partition("-"))
    a, b = _number(first), _number(last) if dash else _number(first)
    return (a, b) if a is not None and b is not None and a <= b else None


def _price(row: _Row) -> int | None:
    """A price in the smallest unit of the currency."""
    text = row.text("price")
    if not text:
        return None
    match = re.fullmatch(r"([0-9]{1,6})(?:\.([0-9]{1,2}))?", text)
    if match is None:
        comma = re.fullmatch(r"([0-9]+),([0-9]{1,2})", text)
        do = say("Write it with a point: {price}.", price=f"{comma[1]}.{comma[2]}") if comma else ""
        row.wrong(
            "price",
            _shown(text),
            say("a price with a point and without a sign, such as 4.20, or nothing"),
            do,
        )
        return None
    return int(match[1]) * 100 + int((match[2] or "").ljust(2, "0"))


def _in_order(row: _Row, ends: list[int], runs: list[tuple[int, int]]) -> bool:
    """Whether section ends rise, and checks too."""
    before = len(row.problems)
    if not ends:
        row.wrong("section_ends", say("nothing"), say("the last page of each section, such as 6;12;19"))
    if any(a >= b for a, b in pairwise(ends)):
        row.wrong("section_ends", _shown(row.text("section_ends")), say("page numbers that rise"))
    if any(a[1] >= b[0] for a, b in pairwise(runs)):
        row.wrong("check_pages", _shown(row.text("check_pages")), say("pages that rise, no page twice"))
    return len(row.problems) == before


def _run(first: int, last: int) -> str:
    return str(first) if first == last else f"{first}-{last}"


def _spans(
    row: _Row, ends: list[int], runs: list[tuple[int, int]], pages: int
) -> list[tuple[_Kind, int, int, int]] | None:
    """Kind, number, first and last page of each stop; None unless they cover every page once."""
    lasts: list[tuple[int, _Kind, int, int]] = [(end, "section", n, 0) for n, end in enumerate(ends, 1)]
    lasts += [(last, "check", n, first) for n, (first, last) in enumerate(runs, 1)]
    for last, kind, _, _ in lasts:
        if last > pages:
            column = "section_ends" if kind == "section" else "check_pages"
            row.wrong(column, str(last), say("a page from 1 to {pages}, the last page", pages=pages))
    if any(last > pages for last, *_ in lasts):
        return None
    # On one last page the section comes first, so that the check is the one that is in the way.
    lasts.sort(key=lambda one: one[0])
    found: list[tuple[_Kind, int, int, int]] = []
    before, page = len(row.problems), 0
    for last, kind, n, given in lasts:
        first = page + 1 if kind == "section" else given
        if first != page + 1:
            allowed = say(
                "a check that begins right behind the section or check before it, on page {page}",
                page=page + 1,
            )
            do = say("A section ends on the page before a check.")
            row.wrong("check_pages", _run(first, last), allowed, do)
        found.append((kind, n, first, last))
        page = last
    if page != pages:
        row.wrong("pages", str(pages), say("{page}, where the last section or check ends", page=page))
    return found if len(row.problems) == before else None


def _stops(row: _Row, pages: int | None) -> tuple[Stop, ...]:
    """Sections and checks in page order; none when anything about them is wrong."""
    ends = _list(row, "section_ends", _number, say("page numbers such as 6;12;19"))
    questions = _list(row, "section_questions", _number, say("numbers of questions such as 20;18;22"))
    runs = _list(row, "check_pages", _page_run, say("pages such as 13-14;26"))
    asked = _list(row, "check_questions", _number, say("numbers of questions such as 10;12"))
    for stops, counts, column in ((ends, questions, "section_questions"), (runs, asked, "check_questions")):
        if stops is not None and counts is not None and len(stops) != len(counts) and ends != []:
            allowed = counted(len(stops), "{n} number, one for each", "{n} numbers, one for each")
            row.wrong(column, plural(len(counts), "number"), allowed)
    if ends is None or runs is None or not _in_order(row, ends, runs) or pages is None:
        return ()
    spans = _spans(row, ends, runs, pages)
    if spans is None or row.faulty or questions is None or asked is None:
        return ()
    counts_of = {"section": questions, "check": asked}
    return tuple(
        Stop(kind, n, f"{kind}-{n}", first, last, counts_of[kind][n - 1]) for kind, n, first, last in spans
    )


_OBJECTIVE = re.compile(
    r"((?:section|check)-[0-9]{1,3})\s*:\s*([0-9]{1,3})\s*(?:-\s*([0-9]{1,3})\s*)?=\s*(.+)", re.DOTALL
)


def _objectives(row: _Row, stops: tuple[Stop, ...]) -> tuple[Objective, ...]:
    found: list[Objective] = []
    questions = {stop.id: stop.questions for stop in stops}
    for member in filter(None, row.members("objectives")):
        match = _OBJECTIVE.fullmatch(member)
        if match is None:
            row.wrong("objectives", _shown(member), say("objectives such as section-1:1-4=adds to twenty"))
            continue
        stop, first, last = match[1], int(match[2]), int(match[3] or match[2])
        if not stops:
            continue  # which questions there are is not known
        if stop not in questions:
            allowed = say("a stop of this workbook: {stops}", stops=", ".join(questions))
            row.wrong("objectives", _shown(member), allowed)
        elif not 1 <= first <= last <= questions[stop]:
            allowed = say("questions from 1 to {last}, those of {stop}", last=questions[stop], stop=stop)
            row.wrong("objectives", _shown(member), allowed)
        else:
            found += [Objective(stop, n, match[4]) for n in range(first, last + 1)]
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a row stands in the programme, so far as it can be read."""

    subject: str | None
    level: int | None
    number: int | None

    @property
    def course(self) -> str:
        return f"{self.subject}-{self.level}"

    @property
    def code(self) -> str:
        return f"{self.course}-{self.number:02d}"

    @property
    def known(self) -> bool:
        return None not in (self.subject, self.level, self.number)

    def may_be(self, code: str) -> bool:
        """Whether a row that is read in part only could be this workbook."""
        match = re.fullmatch(r"([a-z0-9]+)-([0-9]+)-([0-9]+)", code)
        if match is None:
            return False
        return (
            self.subject in (None, match[1])
            and (self.level is None or str(self.level) == match[2])
            and (self.number is None or f"{self.number:02d}" == match[3])
        )


@dataclass(frozen=True, slots=True)
class _Read:
    """What came of a row; `book` only when all is well with it."""

    row: _Row
    place: _Place
    prerequisites: tuple[str, ...]
    book: Workbook | None


def _read_row(row: _Row, subjects: Mapping[str, str] | None) -> _Read:
    subject: str | None = row.text("course") or None
    if subject is None or (subjects is not None and subject not in subjects):
        allowed = say("a subject of the programme")
        if subjects:
            allowed = say("a subject of the programme: {subjects}", subjects=", ".join(subjects))
        row.wrong("course", _shown(row.text("course")), allowed)
        subject = None
    title = row.text("title")
    if not title:
        row.wrong("title", say("nothing"), say("the title on the cover"))
    place = _Place(subject, row.whole("level", 0, 20), row.whole("number", 1, 99))
    prerequisites = tuple(filter(None, row.members("prerequisites")))
    pages = row.whole("pages", 1, MOST_PAGES)
    practice, unit = row.whole("practice_questions", 1, 500), row.whole("unit_questions", 1, 500)
    stops = _stops(row, pages)
    objectives, price = _objectives(row, stops), _price(row)
    if (
        row.faulty
        or place.subject is None
        or place.level is None
        or place.number is None
        or pages is None
        or practice is None
        or unit is None
    ):
        return _Read(row, place, prerequisites, None)
    book = Workbook(
        code=place.code,
        course=place.course,
        subject=place.subject,
        level=place.level,
        number=place.number,
        title=title,
        pages=pages,
        stops=stops,
        practice_questions=practice,
        unit_questions=unit,
        price=price,
        supplier=row.text("supplier") or None,
        prerequisites=prerequisites,
        objectives=objectives,
    )
    return _Read(row, place, prerequisites, book)


# --- the sheet --------------------------------------------------------------------------------------------


def _header(names: list[str], where: str, row: int, problems: list[Problem]) -> frozenset[str] | None:
    """Columns that cannot be read; None when these are no columns at all."""
    if len(names) == 1 and re.search(r"[;\t]", names[0]):
        do = say("Save the sheet as CSV, UTF-8, with commas between the cells.")
        problems.append(
            Problem(where, _shown(names[0]), say("names of columns parted by commas"), do, row=row)
        )
        return None
    missing = [name for name in NEEDED if name not in names]
    needed = say("the columns {columns}", columns=", ".join(NEEDED))
    problems.extend(
        Problem(where, say("no column {column}", column=name), needed, row=row) for name in missing
    )
    for name in dict.fromkeys(names):
        if name not in COLUMNS or names.count(name) > 1:
            found = say("column {column}", column=_shown(name))
            if names.count(name) > 1:
                found = say("column {column} twice", column=_shown(name))
            allowed = say("each once, of: {columns}", columns=", ".join(COLUMNS))
            problems.append(Problem(where, found, allowed, row=row))
    return frozenset(missing) | {name for name in names if names.count(name) > 1}


def _rows(text: str, file: str, problems: list[Problem]) -> list[_Row]:
    """The rows below the header, numbered as a sheet shows them: a cell may run over several lines."""
    if "\0" in text:
        problems.append(
            Problem(file, say("a NUL byte"), say("plain text"), say("Save the sheet as CSV, UTF-8."))
        )
        return []
    rows: list[_Row] = []
    header: list[str] | None = None
    unread: frozenset[str] = frozenset()
    number = width = 0
    try:
        reader = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
        for number, cells in enumerate(reader, 1):
            if not any(cell.strip() for cell in cells):
                continue
            where = say("{file}, row {number}", file=file, number=number)
            if header is None:
                # A sheet may add empty columns on the right, to the header and to every row alike.
                width, header = len(cells), [name.strip() for name in cells]
                while not header[-1]:
                    header.pop()
                known = _header(header, where, number, problems)
                if known is None:
                    return []
                unread = known
                continue
            if len(cells) != width or any(cell.strip() for cell in cells[len(header) :]):
                allowed = say("{n} cells, one for each column", n=len(header))
                do = say("A cell with a comma in it stands in quotation marks.")
                found = say("{n} cells", n=len(cells))
                problems.append(Problem(where, found, allowed, do, row=number))
                rows.append(_Row(file, number, {}, frozenset(COLUMNS), problems))
            else:
                rows.append(_Row(file, number, dict(zip(header, cells, strict=False)), unread, problems))
    except csv.Error as error:
        where = say("{file}, row {number}", file=file, number=number + 1)
        problems.append(Problem(where, str(error), say("a CSV file as a sheet saves it"), row=number + 1))
        rows.append(_Row(file, number + 1, {}, frozenset(COLUMNS), problems))
    if header is None and not rows:
        problems.append(
            Problem(
                file,
                say("an empty file"),
                say("a header row with the columns {columns}", columns=", ".join(COLUMNS)),
            )
        )
    elif not rows:
        problems.append(Problem(file, say("no workbook"), say("at least one row below the header")))
    return rows


def _circle(code: str, placed: Mapping[str, _Read]) -> list[str]:
    """The way on which a workbook needs itself: by prerequisites, or by places in a course; or nothing."""
    came_from: dict[str, str] = {}
    ahead = [(code, needed) for needed in placed[code].prerequisites]
    while ahead:
        before, name = ahead.pop()
        if name == code:
            way = [code, before]
            while way[-1] != code:
                way.append(came_from[way[-1]])
            return way[::-1]
        if name in came_from or name not in placed:
            continue
        came_from[name] = before
        one = placed[name]
        ahead += [(name, needed) for needed in one.prerequisites]
        if one.place.number is not None and one.place.number > 1:
            ahead.append((name, f"{one.place.course}-{one.place.number - 1:02d}"))
    return []


def _check_numbers(placed: Mapping[str, _Read], lost: list[_Place]) -> None:
    """Numbers run from 1 without a gap; a gap that an unreadable row may fill is not reported."""
    by_course: dict[str, dict[int, _Read]] = {}
    for read in placed.values():
        by_course.setdefault(read.place.course, {})[read.place.number or 0] = read
    for course, found in by_course.items():
        before = 0
        for number in sorted(found):
            gap = [
                n for n in range(before + 1, number) if not any(p.may_be(f"{course}-{n:02d}") for p in lost)
            ]
            if gap:
                allowed = say(
                    "{number}: the workbooks of {course} leave no gap", number=gap[0], course=course
                )
                found[number].row.wrong("number", str(number), allowed)
            before = number


def _check_order(reads: list[_Read]) -> None:
    """No workbook twice, no gap; prerequisites are there and lead nowhere in a circle."""
    placed: dict[str, _Read] = {}
    lost: list[_Place] = []
    for read in reads:
        if not read.place.known:
            lost.append(read.place)
        elif read.place.code in placed:
            first = placed[read.place.code].row.number
            allowed = say(
                "a number that {course} has not had (row {row} has it)", course=read.place.course, row=first
            )
            read.row.wrong("number", str(read.place.number), allowed)
        else:
            placed[read.place.code] = read
    _check_numbers(placed, lost)
    for code, read in placed.items():
        for needed in read.prerequisites:
            if needed not in placed and not any(place.may_be(needed) for place in lost):
                read.row.wrong(
                    "prerequisites", _shown(needed), say("the code of a workbook, such as maths-5-03")
                )
        if way := _circle(code, placed):
            allowed = say("workbooks that do not need {workbook} themselves", workbook=code)
            do = say("The circle is {workbooks}: each needs the next.", workbooks=", ".join(way))
            read.row.wrong("prerequisites", _shown(";".join(read.prerequisites)), allowed, do)


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
    rules, subjects = _rules(rules_toml, rules_file, problems)
    of_rows: list[Problem] = []
    reads = [_read_row(row, subjects) for row in _rows(workbooks_csv, workbooks_file, of_rows)]
    _check_order(reads)
    problems += sorted(of_rows, key=lambda problem: problem.row)
    if problems or rules is None:
        raise InputError(problems)
    books = [read.book for read in reads if read.book is not None]
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
        courses=_courses(books, {s.id: s.title for s in rules.subject}),
        transcript=_transcript(rules),
    )


def _transcript(rules: _File) -> TranscriptRules:
    grades = sorted(rules.grade, key=lambda grade: -grade.from_percent)
    scale = tuple(Grade(grade.from_percent, grade.name) for grade in grades)
    kept = rules.transcript
    if kept is None:
        return TranscriptRules(grades=scale)
    return TranscriptRules(
        kept.workbooks_a_credit, kept.smallest_credit, kept.result_of, kept.weigh_by, scale
    )
