"""Changes of a home that a plan may be asked with: tried on values first, written down only when they are taken."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from typing import Any, get_args, get_type_hints

from django.db import transaction

from markstead.calendar import Absence, Away, SchoolCalendar
from markstead.errors import InputError
from markstead.errors import Problem as Wrong
from markstead.plan.wishes import CourseWish, LearnerWish, SupplierWish, TargetWish, Wishes
from markstead.records.desk import household_row
from markstead.records.home import Home, Somebody, latest_documents, load_home
from markstead.records.models import Household, Person
from markstead.records.plan_problem import ByHand, check_target
from markstead.records.setup import add_document, new_stamp, set_courses
from markstead.speech import and_words, date_words, figure, plural, say

FEWEST, MOST_MINUTES = 10, 900


@dataclass(frozen=True, slots=True)
class LearnerAway:
    """A learner does no school from one day to another: ill, or away."""

    learner: str
    first: date
    last: date
    why: str = ""


@dataclass(frozen=True, slots=True)
class NoSchool:
    """Nobody does school from one day to another."""

    first: date
    last: date
    name: str = ""


@dataclass(frozen=True, slots=True)
class EducatorAway:
    """No sitting is watched from one day to another."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class SchoolToo:
    """School on days that had none, such as Saturdays."""

    days: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class TargetBy:
    """A target set, moved, or (without a day) struck."""

    learner: str
    course: str
    workbook: str
    by: date | None


@dataclass(frozen=True, slots=True)
class MinutesADay:
    """How long a learner works on a whole school day."""

    learner: str
    soft: int
    hard: int


@dataclass(frozen=True, slots=True)
class PagesADay:
    """How many pages of a course a learner does on a day; None: as it is worked out."""

    learner: str
    course: str
    comfortable: int | None
    most: int | None
    weight: int | None = None
    """None: as it stands."""


@dataclass(frozen=True, slots=True)
class CourseTaken:
    """A learner starts a course."""

    learner: str
    course: str


@dataclass(frozen=True, slots=True)
class CourseDropped:
    """A learner gives a course up, with its targets."""

    learner: str
    course: str


@dataclass(frozen=True, slots=True)
class MoreSittings:
    """So many watched sittings more on every morning. It can be tried; to keep it, the programme's rules are changed."""

    more: int


Ask = (
    LearnerAway
    | NoSchool
    | EducatorAway
    | SchoolToo
    | TargetBy
    | MinutesADay
    | PagesADay
    | CourseTaken
    | CourseDropped
    | MoreSittings
)
_KINDS: dict[str, type[Any]] = {kind.__name__: kind for kind in get_args(Ask)}


# --- as text --------------------------------------------------------------------------------------------------


def write_asks(asks: Sequence[Ask]) -> list[dict[str, Any]]:
    """Asks as JSON values."""

    def plain(value: object) -> object:
        if isinstance(value, date):
            return value.isoformat()
        return [plain(one) for one in value] if isinstance(value, tuple) else value

    return [
        {"ask": type(ask).__name__, **{f.name: plain(getattr(ask, f.name)) for f in fields(ask)}}
        for ask in asks
    ]


def read_asks(kept: Iterable[Mapping[str, Any]]) -> tuple[Ask, ...]:
    """Asks that were written."""
    found = []
    for row in kept:
        kind = _KINDS[row["ask"]]
        hints = get_type_hints(kind)
        values = {name: _value(hints[name], value) for name, value in row.items() if name != "ask"}
        found.append(kind(**values))
    return tuple(found)


def _value(hint: object, value: Any) -> Any:
    if value is None:
        return None
    if hint in (date, date | None):
        return date.fromisoformat(value)
    if hint == tuple[date, ...]:
        return tuple(date.fromisoformat(one) for one in value)
    return value


def write_by_hand(goals: Sequence[ByHand]) -> list[list[Any]]:
    """Goals set by hand as JSON values."""
    return [[g.learner, g.course, g.workbook, g.day.isoformat(), g.steps] for g in goals]


def read_by_hand(kept: Iterable[Sequence[Any]]) -> tuple[ByHand, ...]:
    """Goals set by hand that were written."""
    return tuple(
        ByHand(who, course, book, date.fromisoformat(day), int(n)) for who, course, book, day, n in kept
    )


def dump(value: object) -> str:
    """JSON as it is kept."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


# --- what they change -----------------------------------------------------------------------------------------


def more_sittings(asks: Iterable[Ask]) -> int:
    """Sittings a morning beyond those of the programme."""
    return sum(ask.more for ask in asks if isinstance(ask, MoreSittings))


def changed(home: Home, asks: Iterable[Ask], today: date) -> Home:
    """The home as it would be with these changes; the home itself stays as it is.

    Raises:
        InputError: a change that cannot be: an unknown learner or course, days out of order, a target before today.
        UnknownError: nobody has that name.
    """
    for ask in asks:
        home = _one(home, ask, today)
    return home


def _one(home: Home, ask: Ask, today: date) -> Home:
    wishes = home.wishes
    match ask:
        case LearnerAway() | NoSchool() | EducatorAway() | SchoolToo():
            _check_days(home, ask, today)
            who = home.learner(ask.learner).id if isinstance(ask, LearnerAway) else ""
            return replace(home, calendar=_in_calendar(home.calendar, ask, who))
        case TargetBy():
            wish = _target(home, ask)
            if ask.by is None:
                _check_struck(home, wish)
                return replace(home, wishes=wishes.without_target(wish))
            check_target(home, wish, today)
            return replace(home, wishes=wishes.with_target(wish))
        case MinutesADay():
            if not FEWEST <= ask.soft <= ask.hard <= MOST_MINUTES:
                allowed = say(
                    "two numbers from {fewest} to {most}, the second not below the first",
                    fewest=FEWEST,
                    most=MOST_MINUTES,
                )
                raise InputError(
                    [Wrong(say("minutes a day"), and_words([str(ask.soft), str(ask.hard)]), allowed)]
                )
            who = home.learner(ask.learner).id
            return replace(home, wishes=wishes.with_learner(LearnerWish(who, ask.soft, ask.hard)))
        case PagesADay():
            return replace(home, wishes=wishes.with_course(_pages(home, ask)))
        case CourseTaken():
            learner = home.learner(ask.learner)
            home.programme.course(ask.course)
            if ask.course in learner.courses:
                raise InputError(
                    [
                        Wrong(
                            say("course"),
                            ask.course,
                            say("one that {learner} does not take yet", learner=learner.name),
                        )
                    ]
                )
            return _with_courses(home, learner, (*learner.courses, ask.course))
        case CourseDropped():
            learner = _course_of(home, ask.learner, ask.course)
            home = replace(home, wishes=wishes.without_course(learner.id, ask.course))
            return _with_courses(home, learner, tuple(c for c in learner.courses if c != ask.course))
        case MoreSittings():
            if not 1 <= ask.more <= 9:
                raise InputError(
                    [Wrong(say("sittings more a morning"), str(ask.more), say("a number from 1 to 9"))]
                )
            return home


def _check_days(home: Home, ask: LearnerAway | NoSchool | EducatorAway | SchoolToo, today: date) -> None:
    if isinstance(ask, SchoolToo):
        if not ask.days:
            raise InputError([Wrong(say("school days too"), say("none"), say("at least one day"))])
        allowed = say("a day from {day} on that has no school yet", day=date_words(today))
        wrong = [day for day in ask.days if day < today or home.calendar.is_school_day(day)]
        if wrong:
            raise InputError([Wrong(say("school days too"), date_words(day), allowed) for day in wrong])
        return
    said = say("{first} to {last}", first=date_words(ask.first), last=date_words(ask.last))
    if ask.last < ask.first:
        raise InputError([Wrong(say("days"), said, say("a last day that is not before the first"))])
    if (ask.last - ask.first).days > 366:
        raise InputError(
            [Wrong(say("days"), plural((ask.last - ask.first).days + 1, "day"), say("a year at most"))]
        )
    if ask.last < today:
        raise InputError(
            [
                Wrong(
                    say("days"),
                    said,
                    say("a last day that is not before today, {day}", day=date_words(today)),
                )
            ]
        )


def _in_calendar(
    calendar: SchoolCalendar, ask: LearnerAway | NoSchool | EducatorAway | SchoolToo, who: str
) -> SchoolCalendar:
    from markstead.calendar import NamedSpan

    match ask:
        case LearnerAway():
            span = Absence(who, ask.first, ask.last, ask.why)
            return replace(calendar, absences=(*calendar.absences, span))
        case NoSchool():
            return replace(
                calendar, holidays_off=(*calendar.holidays_off, NamedSpan(ask.name, ask.first, ask.last))
            )
        case EducatorAway():
            return replace(calendar, educator_away=(*calendar.educator_away, Away(ask.first, ask.last)))
        case SchoolToo():
            return replace(calendar, taught_anyway=calendar.taught_anyway | set(ask.days))


def _course_of(home: Home, wanted: str, course: str) -> Somebody:
    learner = home.learner(wanted)
    if course not in learner.courses:
        taken = ", ".join(learner.courses) or say("none")
        raise InputError(
            [
                Wrong(
                    say("course of {learner}", learner=learner.name),
                    course,
                    say("one of {courses}", courses=taken),
                )
            ]
        )
    return learner


def _target(home: Home, ask: TargetBy) -> TargetWish:
    learner = _course_of(home, ask.learner, ask.course)
    return TargetWish(learner.id, ask.course, ask.workbook, ask.by or date.max)


def _check_struck(home: Home, wish: TargetWish) -> None:
    codes = [w.workbook for w in home.wishes.targets_of(wish.learner, wish.course)]
    if wish.workbook not in codes:
        where = say("target of {learner} to strike", learner=home.person(wish.learner).name)
        allowed = say(
            "a workbook of the course with a target: {workbooks}",
            workbooks=", ".join(codes) or say("there is none"),
        )
        raise InputError([Wrong(where, wish.workbook, allowed)])


def _pages(home: Home, ask: PagesADay) -> CourseWish:
    learner = _course_of(home, ask.learner, ask.course)
    wish = home.wishes.course(learner.id, ask.course)
    pages = [n for n in (wish.least, ask.comfortable, ask.most) if n is not None]
    if pages != sorted(pages) or any(not 0 <= n <= 99 for n in pages) or ask.most == 0:
        said = ", ".join(map(str, pages))
        raise InputError(
            [Wrong(say("pages a day"), said, say("least, comfortable and most, rising, at most 99"))]
        )
    weight = wish.weight if ask.weight is None else ask.weight
    if not 1 <= weight <= 3:
        raise InputError([Wrong(say("weight of the course"), str(weight), say("1, 2 or 3"))])
    return replace(wish, comfortable=ask.comfortable, most=ask.most, weight=weight)


def _with_courses(home: Home, learner: Somebody, courses: tuple[str, ...]) -> Home:
    return replace(home, people=home.people | {learner.id: replace(learner, courses=courses)})


# --- writing them down ----------------------------------------------------------------------------------------


def check_takeable(asks: Sequence[Ask]) -> None:
    """Refuse changes that can be tried and not be taken.

    Raises:
        InputError: a rule of the programme is among them.
    """
    more = more_sittings(asks)
    if more:
        do = say("Change `most_watched_a_morning` in the programme's file, then plan again.")
        allowed = say("a change that the home may make; how many are watched is a rule of the programme")
        raise InputError(
            [Wrong(say("sittings more a morning"), say("{more} to be kept", more=more), allowed, do)]
        )


def write_down(household: str, asks: Sequence[Ask], *, today: date, at: datetime) -> Home:
    """Change the home's calendar, wishes and courses for good: new versions of its documents, the old ones kept.

    Raises:
        InputError: as `changed`; nothing is written then.
    """
    with transaction.atomic():
        row = household_row(household, lock=True)
        home = load_home(row)
        after = changed(home, asks, today)
        check_takeable(asks)
        calendar_asks = [a for a in asks if isinstance(a, LearnerAway | NoSchool | EducatorAway | SchoolToo)]
        if calendar_asks:
            _write_calendar(row, home, calendar_asks, at)
        if after.wishes != home.wishes:
            _write_wishes(row, after, after.wishes, at)
        for learner in after.learners:
            if learner.courses != home.people[learner.id].courses:
                set_courses(Person.objects.get(id=learner.id), learner.courses)
        row.stamp = new_stamp()
        row.save(update_fields=["stamp"])
    return load_home(household_row(household))


def _write_calendar(
    row: Household,
    home: Home,
    asks: Sequence[LearnerAway | NoSchool | EducatorAway | SchoolToo],
    at: datetime,
) -> None:
    from markstead.calendar.load import read_calendar, write_calendar

    kept = latest_documents(row.id)["calendar"]
    # The file names learners by their keys.
    calendar = read_calendar(kept.text)
    for ask in asks:
        key = home.learner(ask.learner).key if isinstance(ask, LearnerAway) else ""
        calendar = _in_calendar(calendar, ask, key)
    add_document(row, "calendar", write_calendar(calendar), at)


def _write_wishes(row: Household, home: Home, wishes: Wishes, at: datetime) -> None:
    # Reading and writing files needs pydantic, which no page that only shows a plan loads.
    from markstead.plan.load import write_wishes

    key_of = {p.id: p.key for p in home.people.values()}
    by_key = replace(
        wishes,
        learners=tuple(replace(w, learner=key_of[w.learner]) for w in wishes.learners),
        courses=tuple(replace(w, learner=key_of[w.learner]) for w in wishes.courses),
        targets=tuple(replace(w, learner=key_of[w.learner]) for w in wishes.targets),
    )
    add_document(row, "plan", write_wishes(by_key), at)


def set_wishes(household: str, change: Callable[[Wishes], Wishes], *, at: datetime) -> Home:
    """Change what a home asks of its plan."""
    with transaction.atomic():
        row = household_row(household, lock=True)
        home = load_home(row)
        wishes = change(home.wishes)
        if wishes != home.wishes:
            _write_wishes(row, home, wishes, at)
            row.stamp = new_stamp()
            row.save(update_fields=["stamp"])
    return load_home(household_row(household))


def set_supplier(household: str, wish: SupplierWish, *, at: datetime) -> Home:
    """Say how a supplier delivers.

    Raises:
        InputError: the programme has no workbook of that supplier, or a sum or a number of days cannot be.
    """
    home = load_home(household_row(household))
    known = sorted({book.supplier for book in home.programme.workbooks.values() if book.supplier})
    problems = []
    if wish.name not in known:
        allowed = say("one of {suppliers}", suppliers=", ".join(known))
        problems.append(
            Wrong(say("supplier"), wish.name, allowed if known else say("one of none in the programme"))
        )
    if not 0.5 <= wish.days <= 200:
        problems.append(
            Wrong(say("days of a parcel"), figure(f"{wish.days:g}"), say("a number from 0.5 to 200"))
        )
    for where, value in (
        (say("postage"), wish.postage),
        (say("least order"), wish.least),
        (say("free from"), wish.free_from),
    ):
        if value is not None and not 0 <= value <= 100_000_000:
            problems.append(Wrong(where, str(value), say("an amount from 0 up")))
    if problems:
        raise InputError(problems)
    return set_wishes(household, lambda wishes: wishes.with_supplier(wish), at=at)


def take_wishes(household: str, text: str, *, at: datetime) -> Home:
    """Take a whole file of what the home asks of its plan; learners stand in it by key.

    Raises:
        InputError: every problem of the file.
    """
    from markstead.plan.load import Known, read_wishes

    home = load_home(household_row(household))
    known = Known(
        {p.key: frozenset(p.courses) for p in home.learners},
        {
            course.id: frozenset(b.code for b in course.workbooks)
            for course in home.programme.courses.values()
        },
    )
    read_wishes(text, known)
    with transaction.atomic():
        row = household_row(household, lock=True)
        add_document(row, "plan", text, at)
        row.stamp = new_stamp()
        row.save(update_fields=["stamp"])
    return load_home(household_row(household))


def wishes_text(household: str) -> str:
    """The file of what the home asks of its plan, learners by key."""
    from markstead.plan.load import write_wishes

    kept = latest_documents(household).get("plan")
    return kept.text if kept is not None else write_wishes(Wishes())
