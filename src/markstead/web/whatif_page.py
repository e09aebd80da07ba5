"""The page on which changes are tried: one small form for each kind, and the changes that are collected so far."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from urllib.parse import urlencode

from django.http import QueryDict

from markstead.errors import InputError, Problem
from markstead.records import plan_asks as asked
from markstead.records.home import Home
from markstead.records.plan_asks import Ask, LearnerAway, SchoolToo, TargetBy
from markstead.records.plan_words import ask_words
from markstead.speech import later, say
from markstead.web import forms

MOST = 20
"""Changes in one try."""
LONGEST = 600
EXTRA_DAYS = 4


@dataclass(frozen=True, slots=True)
class Kept:
    """A change that is in the try already."""

    words: str
    text: str
    """As the form sends it again."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One line of a list to choose from."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Group:
    """Lines of a list that belong together."""

    words: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form, with what was typed."""

    name: str
    label: str
    type: str = "text"
    """text, number, date, tick, list or days."""
    value: str = ""
    groups: tuple[Group, ...] = ()
    values: tuple[str, ...] = ()
    """Of several fields of one name."""
    needed: bool = True


@dataclass(frozen=True, slots=True)
class KindForm:
    """The form of one kind of change."""

    kind: str
    title: str
    hint: str
    fields: tuple[Field, ...]
    open: bool
    problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WhatIfPage:
    """Everything that the template may use."""

    kept: tuple[Kept, ...]
    forms: tuple[KindForm, ...]
    problems: tuple[str, ...]
    """What is wrong with the try as a whole."""
    anew: bool
    planned: bool
    """Whether a plan is in force beside which it can be shown."""


# --- reading ------------------------------------------------------------------------------------------------------


def _pair(data: Mapping[str, str], field: str, label: str) -> tuple[str, str]:
    first, slash, second = data.get(field, "").partition("/")
    if not slash or not first or not second:
        raise InputError([Problem(label, say("nothing"), say("one of the list"))])
    return first, second


def _number(data: Mapping[str, str], field: str, label: str) -> int:
    found = forms.whole(data, field, label)
    assert found is not None
    return found


def _text(data: Mapping[str, str], field: str) -> str:
    return data.get(field, "").strip()[:200]


def _target(data: Mapping[str, str], home: Home) -> TargetBy:
    learner, code = _pair(data, "book", say("workbook"))
    by = None if data.get("strike") else forms.day(data, "by", say("day"))
    return TargetBy(learner, home.programme.workbook(code).course, code, by)


def _pages(data: Mapping[str, str], _: Home) -> asked.PagesADay:
    return asked.PagesADay(
        *_pair(data, "course", say("course")),
        forms.whole(data, "comfortable", say("comfortable pages"), needed=False),
        forms.whole(data, "most", say("most pages"), needed=False),
        forms.whole(data, "weight", say("weight"), needed=False),
    )


def _extra(data: Mapping[str, str], _: Home) -> SchoolToo:
    typed = data.getlist("days") if isinstance(data, QueryDict) else [data.get("days", "")]
    days = tuple(forms.day({"day": text}, "day", say("day")) for text in typed if text.strip())
    return SchoolToo(tuple(sorted(set(days))))


def _span(data: Mapping[str, str]) -> tuple[date, date]:
    return forms.day(data, "first", say("first day")), forms.day(data, "last", say("last day"))


_READ: dict[str, Callable[[Mapping[str, str], Home], Ask]] = {
    "away": lambda d, _: LearnerAway(d.get("learner", ""), *_span(d), _text(d, "why")),
    "no-school": lambda d, _: asked.NoSchool(*_span(d), _text(d, "name")),
    "educator-away": lambda d, _: asked.EducatorAway(*_span(d)),
    "school-too": _extra,
    "target": _target,
    "minutes": lambda d, _: asked.MinutesADay(
        d.get("learner", ""),
        _number(d, "soft", say("comfortable minutes")),
        _number(d, "hard", say("most minutes")),
    ),
    "pages": _pages,
    "start": lambda d, _: asked.CourseTaken(*_pair(d, "course", say("course"))),
    "drop": lambda d, _: asked.CourseDropped(*_pair(d, "course", say("course"))),
    "sittings": lambda d, _: asked.MoreSittings(_number(d, "more", say("sittings more"))),
}


def read_ask(data: Mapping[str, str], home: Home) -> Ask:
    """Read the change that a form sends.

    Raises:
        InputError: no kind of change, or a field that cannot be read.
        UnknownError: no such workbook.
    """
    kind = data.get("kind", "")
    if kind not in _READ:
        raise InputError(
            [Problem(say("change"), repr(kind[:40]), say("one of: {allowed}", allowed=", ".join(_READ)))]
        )
    return _READ[kind](data, home)


def read_kept(texts: Sequence[str], home: Home) -> tuple[Ask, ...]:
    """Read the changes that are in the try already.

    Raises:
        InputError: they are not as the form sent them, or too many.
    """
    if len(texts) > MOST or any(len(text) > LONGEST for text in texts):
        raise InputError(
            [
                Problem(
                    say("changes"),
                    say("{n} of them", n=len(texts)),
                    say("{n} at the most", n=MOST),
                )
            ]
        )
    return tuple(read_ask(QueryDict(text), home) for text in texts)


def ask_text(home: Home, ask: Ask) -> str:
    """Write a change as a form would send it; it reads back equal, with learners by key."""

    def key(learner: str) -> str:
        return home.person(learner).key

    fields: list[tuple[str, object]]
    match ask:
        case LearnerAway():
            fields = [
                ("kind", "away"),
                ("learner", key(ask.learner)),
                ("first", ask.first),
                ("last", ask.last),
            ]
            fields += [("why", ask.why)]
        case asked.NoSchool():
            fields = [("kind", "no-school"), ("first", ask.first), ("last", ask.last), ("name", ask.name)]
        case asked.EducatorAway():
            fields = [("kind", "educator-away"), ("first", ask.first), ("last", ask.last)]
        case SchoolToo():
            fields = [("kind", "school-too"), *(("days", day) for day in ask.days)]
        case TargetBy():
            fields = [("kind", "target"), ("book", f"{key(ask.learner)}/{ask.workbook}")]
            fields += [("by", ask.by) if ask.by is not None else ("strike", "yes")]
        case asked.MinutesADay():
            fields = [
                ("kind", "minutes"),
                ("learner", key(ask.learner)),
                ("soft", ask.soft),
                ("hard", ask.hard),
            ]
        case asked.PagesADay():
            fields = [("kind", "pages"), ("course", f"{key(ask.learner)}/{ask.course}")]
            numbers = (("comfortable", ask.comfortable), ("most", ask.most), ("weight", ask.weight))
            fields += [(name, n) for name, n in numbers if n is not None]
        case asked.CourseTaken():
            fields = [("kind", "start"), ("course", f"{key(ask.learner)}/{ask.course}")]
        case asked.CourseDropped():
            fields = [("kind", "drop"), ("course", f"{key(ask.learner)}/{ask.course}")]
        case asked.MoreSittings():
            fields = [("kind", "sittings"), ("more", ask.more)]
    return urlencode([(name, str(value)) for name, value in fields if value != ""])


# --- showing ------------------------------------------------------------------------------------------------------


def whatif_view(
    home: Home,
    asks: Sequence[Ask],
    today: date,
    *,
    typed: QueryDict | None = None,
    problems: Sequence[str] = (),
    anew: bool = False,
) -> WhatIfPage:
    """The page with the changes so far; `typed` is what the form that is open holds.

    Args:
        home: whose plan.
        asks: the changes of the try so far.
        today: the first day that the fields show.
        typed: what was typed into the form whose kind it names.
        problems: sentences on what was typed, or on the try where no form is named.
        anew: whether the whole year is to be searched.
    """
    kind = typed.get("kind", "") if typed is not None else ""
    found = tuple(_form(home, one, today, typed if one == kind else None, problems) for one in _TITLES)
    mine = kind in _TITLES
    return WhatIfPage(
        kept=tuple(Kept(ask_words(home, ask), ask_text(home, ask)) for ask in asks),
        forms=found,
        problems=() if mine else tuple(problems),
        anew=anew,
        planned=home.plan is not None,
    )


_TITLES: dict[str, tuple[str, str]] = {
    "away": (
        later("A learner is away"),
        later("Ill, or away from school. Goals of these days fall, and the others stay as they can."),
    ),
    "no-school": (later("No school for everybody"), ""),
    "educator-away": (
        later("Nobody can watch a unit test"),
        later("School goes on; no unit test is sat on these days."),
    ),
    "school-too": (
        later("School on extra days"),
        later("Days that have no school otherwise, such as Saturdays."),
    ),
    "target": (
        later("A target is set, moved or struck"),
        later("A target is the day by which a unit test is to be done."),
    ),
    "minutes": (
        later("Minutes a day"),
        later(
            "Workbook minutes on a whole school day. The plan may pass the comfortable number at "
            "a price, the most never."
        ),
    ),
    "pages": (
        later("Pages a day in a course"),
        later("Left empty, a number is worked out from the pages that are left."),
    ),
    "start": (later("A course is begun"), ""),
    "drop": (
        later("A course is given up"),
        later("Its targets fall with it. Nothing is lost from the record."),
    ),
    "sittings": (
        later("More watched sittings a morning"),
        later("This can be tried; to keep it, the programme's rules are changed."),
    ),
}


def _form(home: Home, kind: str, today: date, typed: QueryDict | None, problems: Sequence[str]) -> KindForm:
    title, hint = (say(words) for words in _TITLES[kind])
    fields = tuple(_filled(field, typed) for field in _fields(home, kind, today))
    return KindForm(
        kind, title, hint, fields, typed is not None, tuple(problems) if typed is not None else ()
    )


def _filled(field: Field, typed: QueryDict | None) -> Field:
    if typed is None or field.name not in typed:
        return field
    values = (*typed.getlist(field.name), *("",) * EXTRA_DAYS)[: len(field.values)]
    return replace(field, value=typed.get(field.name, ""), values=values)


def _fields(home: Home, kind: str, today: date) -> tuple[Field, ...]:
    learner = Field("learner", say("Learner"), "list", groups=(_learners(home),))
    span = (
        Field("first", say("From"), "date", today.isoformat()),
        Field("last", say("To"), "date", today.isoformat()),
    )
    match kind:
        case "away":
            return (learner, *span, Field("why", say("Why, if you like"), needed=False))
        case "no-school":
            return (*span, Field("name", say("What it is called"), needed=False))
        case "educator-away":
            return span
        case "school-too":
            return (Field("days", say("Day"), "days", values=("",) * EXTRA_DAYS),)
        case "target":
            return (
                Field("book", say("Workbook"), "list", groups=books_of(home)),
                Field("by", say("By"), "date", needed=False),
                Field("strike", say("No target any more"), "tick", needed=False),
            )
        case "minutes":
            return (
                learner,
                Field("soft", say("Comfortable"), "number"),
                Field("hard", say("Most"), "number"),
            )
        case "pages":
            return (
                Field("course", say("Course"), "list", groups=_courses(home, taken=True)),
                Field("comfortable", say("Comfortable"), "number", needed=False),
                Field("most", say("Most"), "number", needed=False),
                Field("weight", say("Weight, 1 to 3"), "number", needed=False),
            )
        case "start":
            return (Field("course", say("Course"), "list", groups=_courses(home, taken=False)),)
        case "drop":
            return (Field("course", say("Course"), "list", groups=_courses(home, taken=True)),)
        case _:
            return (Field("more", say("Sittings more"), "number", "1"),)


def _learners(home: Home) -> Group:
    return Group("", tuple(Choice(somebody.key, somebody.name) for somebody in home.learners))


def _courses(home: Home, *, taken: bool) -> tuple[Group, ...]:
    found = []
    for somebody in home.learners:
        codes = (
            somebody.courses if taken else [c for c in home.programme.courses if c not in somebody.courses]
        )
        lines = tuple(Choice(f"{somebody.key}/{code}", home.programme.course(code).title) for code in codes)
        if lines:
            found.append(Group(somebody.name, lines))
    return tuple(found)


def books_of(home: Home) -> tuple[Group, ...]:
    """The workbooks of every learner and course, to choose from."""
    found = []
    for somebody in home.learners:
        for code in somebody.courses:
            course = home.programme.course(code)
            lines = tuple(
                Choice(f"{somebody.key}/{book.code}", f"{book.number}. {book.title}")
                for book in course.workbooks
            )
            found.append(Group(f"{somebody.name}, {course.title}", lines))
    return tuple(found)
