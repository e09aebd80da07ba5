"""The fifth and sixth steps of the set-up: which courses each learner takes, and where each stands today."""

from collections.abc import Sequence
from dataclasses import dataclass

from markstead.records.openings import Opening, Where, opening_problems
from markstead.records.setup import Newcomer
from markstead.rules.programme import Course, Programme
from markstead.speech import later, say
from markstead.web.first_fields import Choice, Field, Tick, Typed
from markstead.web.first_people import Pupil

WHERE_WORDS = {
    Where.NOTHING: later("Not begun, and no copy here"),
    Where.HAND: later("In hand: being worked"),
    Where.HERE: later("Lies here, not begun"),
    Where.ORDERED: later("Ordered, on its way"),
    Where.FIND: later("Help me find out"),
}


@dataclass(frozen=True, slots=True)
class Level:
    """The courses of one level."""

    words: str
    ticks: tuple[Tick, ...]


@dataclass(frozen=True, slots=True)
class Takes:
    """One learner's courses to tick."""

    name: str
    year: int
    levels: tuple[Level, ...]
    wrong: str
    field: str


def _level_of(learner: Pupil, programme: Programme) -> int | None:
    """The level whose courses are ticked at first: that of the year, else the highest below it."""
    year = learner.newcomer.year or 0
    levels = sorted({course.level for course in programme.courses.values()})
    return max((level for level in levels if level <= year), default=levels[0] if levels else None)


def taken(typed: Typed, learner: Pupil, programme: Programme) -> tuple[str, ...]:
    """The courses that are ticked for a learner, in the order of the programme."""
    name = f"take-{learner.row}"
    asked = f"asked-{learner.row}"  # a learner who was added later was never asked about
    if not typed.text(asked):
        level = _level_of(learner, programme)
        return tuple(c.id for c in programme.courses.values() if c.level == level)
    return tuple(course for course in programme.courses if course in typed.all(name))


def read_courses(
    typed: Typed, learners: Sequence[Pupil], programme: Programme
) -> tuple[tuple[Pupil, Newcomer], ...]:
    """Read which courses each learner takes: each learner, and the newcomer with the courses."""
    found = []
    for learner in learners:
        courses = taken(typed, learner, programme)
        if not courses:
            typed.fail(
                f"take-{learner.row}",
                say("At least one course is wanted here for {learner}.", learner=learner.newcomer.name),
            )
        who = learner.newcomer
        found.append((learner, Newcomer(who.key, who.name, who.role, who.year, courses)))
    return tuple(found) if not typed.wrong else ()


def course_ticks(typed: Typed, learners: Sequence[Pupil], programme: Programme) -> tuple[Takes, ...]:
    """The boxes of the step."""
    levels = sorted({course.level for course in programme.courses.values()})
    found = []
    for learner in learners:
        on, name = set(taken(typed, learner, programme)), f"take-{learner.row}"
        rows = tuple(
            Level(
                say("Level {level}", level=level) if len(levels) > 1 else say("Courses"),
                tuple(
                    Tick(name, course.id, course.title, course.id in on)
                    for course in programme.courses.values()
                    if course.level == level
                ),
            )
            for level in levels
        )
        wrong = typed.wrong.get(name, "")
        who = learner.newcomer
        found.append(Takes(who.name, who.year or 0, rows, wrong, f"asked-{learner.row}"))
    return tuple(found)


# --- where each stands ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StandRow:
    """One course of one learner."""

    course: str
    where: Field
    book: Field
    page: Field


@dataclass(frozen=True, slots=True)
class Stands:
    """Where one learner stands."""

    name: str
    rows: tuple[StandRow, ...]


def _names(learner: Pupil, course: str) -> tuple[str, str, str]:
    return tuple(f"{part}-{learner.row}-{course}" for part in ("where", "book", "page"))  # type: ignore[return-value]


def where_of(typed: Typed, name: str) -> Where:
    """What was chosen; nothing at first."""
    text = typed.text(name)
    return Where(text) if text in set(Where) else Where.NOTHING


def read_openings(
    typed: Typed, takes: Sequence[tuple[Pupil, Newcomer]], programme: Programme
) -> tuple[Opening, ...]:
    """Read where each learner stands in each course."""
    found = []
    for learner, who in takes:
        for course in who.courses:
            where_name, book_name, page_name = _names(learner, course)
            where = where_of(typed, where_name)
            book = typed.text(book_name)
            page = 0
            if where is Where.HAND and book in programme.workbooks:
                pages = programme.workbooks[book].pages
                page = typed.whole(page_name, 0, pages, otherwise=0)
            elif where is not Where.HAND and typed.text(page_name) not in ("", "0"):
                typed.fail(
                    page_name,
                    say("A page counts for a workbook in hand only: choose that, or leave this empty."),
                )
            keeps = where in (Where.HAND, Where.HERE, Where.ORDERED)
            opening = Opening(who.key, course, where, book if keeps else "", page)
            if page_name not in typed.wrong:
                for problem in opening_problems(opening, programme):
                    name = book_name if problem.key == "workbook" else page_name
                    typed.fail(name, say("Wanted is {allowed}.", allowed=problem.allowed))
            found.append(opening)
    return tuple(found) if not typed.wrong else ()


def book_choices(course: Course) -> tuple[Choice, ...]:
    """The workbooks of a course, by number and title."""
    return tuple(
        Choice(
            book.code,
            say("{number}. {title}, {pages} pages", number=book.number, title=book.title, pages=book.pages),
        )
        for book in course.workbooks
    )


def stand_rows(
    typed: Typed, takes: Sequence[tuple[Pupil, Newcomer]], programme: Programme
) -> tuple[Stands, ...]:
    """The fields of the step."""
    ways = tuple(Choice(str(where), say(words)) for where, words in WHERE_WORDS.items())
    found = []
    for learner, who in takes:
        rows = []
        for course_id in who.courses:
            course = programme.courses[course_id]
            where, book, page = _names(learner, course_id)
            said = f"{who.name}, {course.title}"
            rows.append(
                StandRow(
                    course.title,
                    Field(
                        where,
                        say("{course_of}: how it stands", course_of=said),
                        str(where_of(typed, where)),
                        "list",
                        choices=ways,
                    ),
                    Field(
                        book,
                        say("{course_of}: workbook", course_of=said),
                        typed.text(book),
                        "list",
                        typed.wrong.get(book, ""),
                        choices=book_choices(course),
                    ),
                    Field(
                        page,
                        say("{course_of}: last page done", course_of=said),
                        typed.text(page),
                        "whole",
                        typed.wrong.get(page, ""),
                    ),
                )
            )
        found.append(Stands(who.name, tuple(rows)))
    return tuple(found)


def opening_words(opening: Opening, programme: Programme) -> str:
    """Where somebody stands, in words."""
    course = programme.courses[opening.course].title
    if not opening.writes:
        if opening.where is Where.FIND:
            return say("{course}: to be found out by short tests", course=course)
        return say("{course}: not begun", course=course)
    book = programme.workbooks[opening.workbook]
    title = f"{book.number}. {book.title}"
    match opening.where:
        case Where.HERE:
            return say("{course}: {title}, lies here, not begun", course=course, title=title)
        case Where.ORDERED:
            return say("{course}: {title}, is ordered", course=course, title=title)
        case _:
            return say(
                "{course}: {title}, in hand, {page} of {pages} pages done",
                course=course,
                title=title,
                page=opening.page,
                pages=book.pages,
            )
