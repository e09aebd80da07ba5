"""Changes as they are typed after `markstead whatif`, read into the values that a plan is asked with."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date

from markstead.cli import typed
from markstead.errors import InputError, Problem
from markstead.records import plan_asks as asked
from markstead.records.home import Home
from markstead.records.plan_asks import Ask
from markstead.speech import later, meant, say

Reader = Callable[[Home, str, list[str]], Ask]


def _day(text: str, option: str) -> date:
    return typed.day(text, option)


def _number(text: str, option: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) <= 6):
        raise InputError([Problem(option, repr(text), say("a whole number"))])
    return int(text)


def _pages(text: str, option: str) -> int | None:
    return None if text == "usual" else _number(text, option)


def _target(home: Home, option: str, parts: list[str]) -> Ask:
    learner, code, day = parts
    by = None if day == "none" else _day(day, option)
    return asked.TargetBy(learner, home.programme.workbook(code).course, code, by)


_READ: dict[str, tuple[str, Reader]] = {
    "--away": (
        later("LEARNER:FIRST:LAST, such as asa:2026-01-28:2026-01-30"),
        lambda _, o, p: asked.LearnerAway(p[0], _day(p[1], o), _day(p[2], o)),
    ),
    "--no-school": (
        later("FIRST:LAST, such as 2026-02-16:2026-02-20"),
        lambda _, o, p: asked.NoSchool(_day(p[0], o), _day(p[1], o)),
    ),
    "--educator-away": (
        later("FIRST:LAST, such as 2026-02-16:2026-02-20"),
        lambda _, o, p: asked.EducatorAway(_day(p[0], o), _day(p[1], o)),
    ),
    "--target": (later("LEARNER:WORKBOOK:DAY, such as asa:maths-5-03:2026-03-27"), _target),
    "--minutes": (
        later("LEARNER:COMFORTABLE:MOST, such as asa:150:180"),
        lambda _, o, p: asked.MinutesADay(p[0], _number(p[1], o), _number(p[2], o)),
    ),
    "--pages": (
        later("LEARNER:COURSE:COMFORTABLE:MOST, such as asa:maths-5:4:6, or `usual` for a number"),
        lambda _, o, p: asked.PagesADay(p[0], p[1], _pages(p[2], o), _pages(p[3], o)),
    ),
    "--start": (later("LEARNER:COURSE, such as asa:maths-5"), lambda _, __, p: asked.CourseTaken(p[0], p[1])),
    "--drop": (
        later("LEARNER:COURSE, such as asa:maths-5"),
        lambda _, __, p: asked.CourseDropped(p[0], p[1]),
    ),
    "--more-sittings": (later("a number from 1 to 9"), lambda _, o, p: asked.MoreSittings(_number(p[0], o))),
}


def read(home: Home, given: Mapping[str, Sequence[str]]) -> tuple[Ask, ...]:
    """Read every change that was typed.

    Raises:
        InputError: none was, or one has not the parts that it needs.
        UnknownError: no such workbook.
    """
    found: list[Ask] = []
    for option, words in given.items():
        if option == "--school-too":
            found += [asked.SchoolToo(tuple(_day(word, option) for word in words))] if words else []
            continue
        allowed, reader = _READ[option]
        wanted = allowed.split(",")[0].count(":")
        for word in words:
            parts = word.split(":")
            if len(parts) != wanted + 1 or not all(parts):
                raise InputError([Problem(option, repr(word), say(allowed))])
            found.append(reader(home, option, parts))
    if not found:
        raise InputError(
            [
                Problem(
                    say("changes"),
                    meant("none", "changes"),
                    say("at least one of: {given}", given=", ".join(given)),
                )
            ]
        )
    return tuple(found)
