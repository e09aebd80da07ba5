"""Reading what a home asks of its plan (TOML), with everything that is wrong in one report; and writing it back."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from markstead.calendar.load import WEEKDAYS, Day, Weekday, parse_toml, problems_of, quoted
from markstead.errors import InputError, Problem
from markstead.plan.problem import Points
from markstead.plan.wishes import USUAL_POINTS, CourseWish, LearnerWish, SupplierWish, TargetWish, Wishes
from markstead.rules.prices import plain_price
from markstead.speech import say

MOST_TABLES = 2_000
"""Courses, targets or suppliers in one file."""


def _between(least: float, most: float, *, whole: bool = False) -> BeforeValidator:
    def check(value: object) -> object:
        right = type(value) is int or (type(value) is float and not whole)
        if right and least <= value <= most:  # type: ignore[operator]
            return value
        if whole:
            raise ValueError(say("a whole number from {least} to {most}", least=int(least), most=int(most)))
        raise ValueError(say("a number from {least:g} to {most:g}", least=least, most=most))

    return BeforeValidator(check)


def _sum(value: object) -> int:
    """An amount of money as people write it, in minor units."""
    if type(value) in (int, float) and 0 <= value <= 1_000_000:  # type: ignore[operator]
        cents = Decimal(str(value)) * 100
        if cents == int(cents):
            return int(cents)
    raise ValueError(say("an amount from 0 to 1000000 with at most two places, such as 4.50"))


def _named(value: str) -> str:
    if not value.strip() or len(value) > 200:
        raise ValueError(say("text that is not blank, at most 200 characters"))
    return value.strip()


Text = Annotated[str, AfterValidator(_named)]
Amount = Annotated[int, BeforeValidator(_sum)]
Pages = Annotated[int, _between(0, 99, whole=True)]
Minutes = Annotated[int, _between(0, 900, whole=True)]
Share = Annotated[float, _between(0.5, 0.999)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Learner(_Table):
    learner: Text
    soft: Minutes
    hard: Minutes


class _Course(_Table):
    learner: Text
    course: Text
    weight: Annotated[int, _between(1, 3, whole=True)] = 1
    least: Pages | None = None
    comfortable: Pages | None = None
    most: Annotated[int, _between(1, 99, whole=True)] | None = None
    weekdays: list[Weekday] | None = Field(default=None, min_length=1)
    minutes_a_page: Annotated[float, _between(0.5, 120)] | None = None


class _Target(_Table):
    learner: Text
    course: Text
    workbook: Text
    by: Day


class _Supplier(_Table):
    name: Text
    days: Annotated[float, _between(0.5, 200)] = 8.0
    postage: Amount = 0
    free_from: Amount | None = None
    least: Amount = 0


class _File(_Table):
    announced_days: Annotated[int, _between(0, 20, whole=True)] = 3
    reserve_days: Annotated[int, _between(0, 60, whole=True)] = 10
    next_same_day: bool = False
    practice_minutes: Minutes = 30
    unit_minutes: Minutes = 40
    minutes_a_page: Annotated[float, _between(0.5, 120)] = 8.0
    illness: Annotated[float, _between(0, 0.5)] = 0.03
    service: Share = 0.95
    points: dict[str, Annotated[int, _between(0, 10_000, whole=True)]] = {}
    learner: list[_Learner] = Field(default=[], max_length=MOST_TABLES)
    course: list[_Course] = Field(default=[], max_length=MOST_TABLES)
    target: list[_Target] = Field(default=[], max_length=MOST_TABLES)
    supplier: list[_Supplier] = Field(default=[], max_length=MOST_TABLES)


@dataclass(frozen=True, slots=True)
class Known:
    """What the home has, by which a file of wishes is judged."""

    courses: Mapping[str, frozenset[str]]
    """The courses of each learner, by the key that the home uses."""
    workbooks: Mapping[str, frozenset[str]]
    """The codes of the workbooks of each course."""


def read_wishes(text: str, known: Known | None = None, file: str = "plan.toml") -> Wishes:
    """Read what a home asks of its plan; learners stand in it by key.

    Raises:
        InputError: every problem of the file, each with its place, what was found and what is allowed.
    """
    data = parse_toml(text, file)
    try:
        kept = _File.model_validate(data)
    except ValidationError as error:
        raise InputError(problems_of(file, error, _File)) from error
    problems = [*_wrong(kept, file), *(_unknown(kept, known, file) if known else ())]
    if problems:
        raise InputError(problems)
    return Wishes(
        learners=tuple(LearnerWish(w.learner, w.soft, w.hard) for w in kept.learner),
        courses=tuple(
            CourseWish(
                w.learner,
                w.course,
                w.weight,
                w.least,
                w.comfortable,
                w.most,
                frozenset(w.weekdays) if w.weekdays is not None else None,
                w.minutes_a_page,
            )
            for w in kept.course
        ),
        targets=tuple(TargetWish(w.learner, w.course, w.workbook, w.by) for w in kept.target),
        suppliers=tuple(SupplierWish(w.name, w.days, w.postage, w.free_from, w.least) for w in kept.supplier),
        announced_days=kept.announced_days,
        reserve_days=kept.reserve_days,
        next_same_day=kept.next_same_day,
        practice_minutes=kept.practice_minutes,
        unit_minutes=kept.unit_minutes,
        minutes_a_page=kept.minutes_a_page,
        illness=kept.illness,
        service=kept.service,
        points=replace(USUAL_POINTS, **kept.points),
    )


def _wrong(kept: _File, file: str) -> Iterator[Problem]:
    for n, learner in enumerate(kept.learner, 1):
        if learner.hard < learner.soft:
            yield Problem(
                f"{file}, learner {n}, hard",
                str(learner.hard),
                say("at least soft, {minutes}", minutes=learner.soft),
            )
    for n, course in enumerate(kept.course, 1):
        pages = [n for n in (course.least, course.comfortable, course.most) if n is not None]
        if pages != sorted(pages):
            found = ", ".join(map(str, pages))
            where = say("{file}, course {number}, pages a day", file=file, number=n)
            yield Problem(where, found, say("least, comfortable and most, rising"))
    for n, supplier in enumerate(kept.supplier, 1):
        if supplier.free_from is not None and supplier.free_from == 0 and supplier.postage:
            yield Problem(f"{file}, supplier {n}, free_from", "0", say("an amount above 0, or postage = 0"))
    names = {field.name for field in fields(Points)}
    for name in kept.points:
        if name not in names:
            yield Problem(f"{file}, points", name, say("one of {words}", words=", ".join(sorted(names))))
    usual = USUAL_POINTS
    over, far_over = kept.points.get("over", usual.over), kept.points.get("far_over", usual.far_over)
    if far_over < over:
        yield Problem(f"{file}, points, far_over", str(far_over), say("at least over, {points}", points=over))
    yield from _twice(file, "learner", (w.learner for w in kept.learner))
    yield from _twice(file, "course", (f"{w.learner}, {w.course}" for w in kept.course))
    yield from _twice(file, "target", (f"{w.learner}, {w.course}, {w.workbook}" for w in kept.target))
    yield from _twice(file, "supplier", (w.name for w in kept.supplier))


def _twice(file: str, what: str, names: Iterable[str]) -> Iterator[Problem]:
    seen: set[str] = set()
    for n, name in enumerate(names, 1):
        if name in seen:
            yield Problem(f"{file}, {what} {n}", name, say("each of them once"))
        seen.add(name)


def _unknown(kept: _File, known: Known, file: str) -> Iterator[Problem]:
    learners = ", ".join(known.courses) or say("nobody yet")
    rows: list[tuple[str, int, Any]] = [
        *(("learner", n, w) for n, w in enumerate(kept.learner, 1)),
        *(("course", n, w) for n, w in enumerate(kept.course, 1)),
        *(("target", n, w) for n, w in enumerate(kept.target, 1)),
    ]
    for what, n, wish in rows:
        where = f"{file}, {what} {n}"
        courses = known.courses.get(wish.learner)
        course = getattr(wish, "course", None)
        if courses is None:
            yield Problem(f"{where}, learner", wish.learner, say("one of {learners}", learners=learners))
        elif course is not None and course not in courses:
            allowed = say(
                "a course that {learner} takes: {courses}",
                learner=wish.learner,
                courses=", ".join(sorted(courses)) or say("none"),
            )
            yield Problem(f"{where}, course", course, allowed)
        elif isinstance(wish, _Target) and wish.workbook not in known.workbooks.get(course or "", ()):
            codes = sorted(known.workbooks.get(course or "", ()))
            some = say("{first} to {last}", first=codes[0], last=codes[-1]) if codes else say("none")
            allowed = say("a workbook of {course}: {workbooks}", course=course, workbooks=some)
            yield Problem(f"{where}, workbook", wish.workbook, allowed)


def write_wishes(wishes: Wishes) -> str:
    """Write wishes so that they read back equal."""
    lines = [
        f"announced_days = {wishes.announced_days}",
        f"reserve_days = {wishes.reserve_days}",
        f"next_same_day = {str(wishes.next_same_day).lower()}",
        f"practice_minutes = {wishes.practice_minutes}",
        f"unit_minutes = {wishes.unit_minutes}",
        f"minutes_a_page = {wishes.minutes_a_page!r}",
        f"illness = {wishes.illness!r}",
        f"service = {wishes.service!r}",
    ]
    usual = USUAL_POINTS
    own = [(f.name, getattr(wishes.points, f.name)) for f in fields(Points)]
    changed = [f"{name} = {value}" for name, value in own if value != getattr(usual, name)]
    if changed:
        lines += ["", "[points]", *changed]
    for learner in wishes.learners:
        lines += ["", "[[learner]]", f"learner = {quoted(learner.learner)}"]
        lines += [f"soft = {learner.soft}", f"hard = {learner.hard}"]
    for course in wishes.courses:
        lines += ["", "[[course]]", *_course_lines(course)]
    for target in wishes.targets:
        lines += [
            "",
            "[[target]]",
            f"learner = {quoted(target.learner)}",
            f"course = {quoted(target.course)}",
        ]
        lines += [f"workbook = {quoted(target.workbook)}", f"by = {target.by}"]
    for supplier in wishes.suppliers:
        lines += ["", "[[supplier]]", f"name = {quoted(supplier.name)}", f"days = {supplier.days!r}"]
        lines += [f"postage = {plain_price(supplier.postage)}"]
        lines += [f"free_from = {plain_price(supplier.free_from)}"] if supplier.free_from is not None else []
        lines += [f"least = {plain_price(supplier.least)}"]
    return "\n".join(lines) + "\n"


def _course_lines(course: CourseWish) -> Iterator[str]:
    yield f"learner = {quoted(course.learner)}"
    yield f"course = {quoted(course.course)}"
    yield f"weight = {course.weight}"
    if course.least is not None:
        yield f"least = {course.least}"
    if course.comfortable is not None:
        yield f"comfortable = {course.comfortable}"
    if course.most is not None:
        yield f"most = {course.most}"
    if course.weekdays is not None:
        yield f"weekdays = [{', '.join(quoted(WEEKDAYS[day]) for day in sorted(course.weekdays))}]"
    if course.minutes_a_page is not None:
        yield f"minutes_a_page = {course.minutes_a_page!r}"
