"""The year's forecast of a learner, as a home asks for it: chances of targets, dates of finish, and need dates, in words.

The same household, learner and day give the same dice, so that an answer changes only when the record or a wish does.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from hashlib import blake2s

import numpy as np

from markstead.forecast.need import NeedDates, need_dates
from markstead.forecast.outlook import (
    Chance,
    DoneBy,
    FinishDates,
    Outlook,
    Target,
    TargetOutlook,
    done_by,
    outlook,
)
from markstead.forecast.year import ON_SCREEN, CourseAhead, LearnerYear, PossibleYears, draw_years
from markstead.plan.wishes import TargetWish
from markstead.records.ahead import HomeAhead, Ready, home_ahead, school_days
from markstead.records.home import Home, Somebody
from markstead.speech import date_words, language, say


@dataclass(frozen=True, slots=True)
class PlannedCourse:
    """What a plan has for a course of a learner."""

    pages: tuple[float, ...]
    """For each of the learner's school days from today on."""
    due: Mapping[str, int] = field(default_factory=dict)
    """By which of these days, 1 the first, each workbook is to be passed; those that are not there have no such day."""


Planned = Mapping[str, PlannedCourse]
"""What a plan has for the courses of a learner, by course."""


@dataclass(frozen=True, slots=True)
class TargetLine:
    """A target with its chance; one that is met, or that nothing can be told of, has a sentence only."""

    target: Target
    told: TargetOutlook | None
    sentence: str
    met: bool = False


@dataclass(frozen=True, slots=True)
class CourseLine:
    """A course to its end."""

    course: str
    title: str
    workbooks: int
    """How many are still to do, the one in hand among them."""
    told: TargetOutlook
    """The whole course by the last school day that is entered."""
    sentence: str

    @property
    def finish(self) -> FinishDates:
        """When the last workbook is finished."""
        return self.told.finish


@dataclass(frozen=True, slots=True)
class NeedLine:
    """When a workbook is needed, and whether a copy is there."""

    course: str
    workbook: str
    title: str
    dates: NeedDates
    ready: Ready
    sentence: str


@dataclass(frozen=True, slots=True)
class YearReading:
    """The rest of a learner's year. Without a school day or a workbook to come, the notes alone say so."""

    learner: Somebody
    today: date
    last_day: date | None = None
    """The last school day that is entered."""
    paths: int = 0
    outlook: Outlook | None = None
    """By ids of courses and codes of workbooks; the lines below have the names."""
    all_targets: Chance | None = None
    """All targets that are still to be met, in one and the same year."""
    targets: tuple[TargetLine, ...] = ()
    courses: tuple[CourseLine, ...] = ()
    by_week: tuple[DoneBy, ...] = ()
    """Workbooks done by the last school day of each week, all courses together."""
    by_month: tuple[DoneBy, ...] = ()
    needs: tuple[NeedLine, ...] = ()
    """The earliest first."""
    notes: tuple[str, ...] = ()
    years: PossibleYears | None = None
    """For what-ifs and charts."""

    @property
    def sentences(self) -> tuple[str, ...]:
        """Everything in words: targets, courses, and what is to be said beside."""
        return (
            *(line.sentence for line in self.targets),
            *(line.sentence for line in self.courses),
            *self.notes,
        )


# --- drawing ------------------------------------------------------------------------------------------------------


def seed_of(household: str, learner: str) -> int:
    """The seed of a learner's dice: fixed, so that the same question has the same answer."""
    return int.from_bytes(blake2s(f"{household} {learner}".encode(), digest_size=8).digest())


def _compiled(ahead: HomeAhead, learner: Somebody) -> LearnerYear | None:
    return ahead.remember(("year", learner.id), lambda: ahead.year(learner))


def year_ahead(
    home: Home, learner: Somebody, today: date, *, planned: Planned | None = None
) -> LearnerYear | None:
    """What is ahead of a learner: a forecast's input; None without a school day or a workbook to come.

    Args:
        home: whose learner.
        learner: whose year.
        today: from this day on, itself included where it is a school day.
        planned: what a plan has for each course; courses that are not there go by their usual pages.
    """
    found = _compiled(home_ahead(home, today), learner)
    return found if found is None else _with_plan(found, planned)


def _with_plan(year: LearnerYear, planned: Planned | None) -> LearnerYear:
    if not planned:
        return year
    return replace(year, courses=tuple(_with_course(c, planned.get(c.course)) for c in year.courses))


def _with_course(course: CourseAhead, planned: PlannedCourse | None) -> CourseAhead:
    if planned is None:
        return course
    due = tuple(planned.due.get(book.code) for book in course.workbooks)
    return replace(course, planned=planned.pages, due=due)


def _as_if_all_were_there(year: LearnerYear) -> LearnerYear:
    """No workbook waits for its first copy: it is needed on the day on which it could be begun."""
    courses = tuple(
        replace(c, workbooks=tuple(replace(b, not_before=None) for b in c.workbooks)) for c in year.courses
    )
    return replace(year, courses=courses)


def _drawn(
    ahead: HomeAhead, learner: Somebody, planned: Planned | None, paths: int, *, wait: bool
) -> PossibleYears | None:
    """Possible years of a learner; without `wait`, as if a copy of every workbook were there."""
    year = _compiled(ahead, learner)
    if year is None:
        return None
    asked = _with_plan(year, planned)
    if not wait:
        asked = _as_if_all_were_there(asked)

    def draw() -> PossibleYears:
        rng = np.random.Generator(np.random.PCG64(seed_of(ahead.home.id, learner.id)))
        return draw_years(asked, rng, paths, ahead.settings())

    return ahead.remember(("drawn", learner.id, paths, wait, plan_key(planned)), draw)


def plan_key(planned: Planned | None) -> tuple[object, ...]:
    """What tells one plan from another."""
    return tuple(
        (course, of.pages, *sorted(of.due.items())) for course, of in sorted((planned or {}).items())
    )


def home_years(
    home: Home, today: date, *, planned: Mapping[str, Planned] | None = None, paths: int = ON_SCREEN
) -> tuple[PossibleYears, ...]:
    """Possible years of every learner with something ahead, the same number of each: what orders are made from.

    In them no workbook waits for its first copy, for they tell when each copy is wanted. `planned` is by learner.
    """
    ahead = home_ahead(home, today)
    found = (
        _drawn(ahead, learner, (planned or {}).get(learner.id), paths, wait=False)
        for learner in home.learners
    )
    return tuple(years for years in found if years is not None)


# --- reading ------------------------------------------------------------------------------------------------------


def year_of(
    home: Home, learner: Somebody, today: date, *, planned: Planned | None = None, paths: int = ON_SCREEN
) -> YearReading:
    """Tell the rest of a learner's year; remembered until the record, the home or the plan changes.

    Args:
        home: whose learner.
        learner: whose year.
        today: from this day on, itself included where it is a school day.
        planned: as for `year_ahead`.
        paths: how many possible years are drawn.

    Raises:
        ValueError: there is not at least one path.
    """
    ahead = home_ahead(home, today)
    key = ("reading", language().code, learner.id, paths, plan_key(planned))
    return ahead.remember(key, lambda: _read(ahead, learner, planned, paths))


def _read(ahead: HomeAhead, learner: Somebody, planned: Planned | None, paths: int) -> YearReading:
    years = _drawn(ahead, learner, planned, paths, wait=True)
    wanted = _drawn(ahead, learner, planned, paths, wait=False)
    if years is None or wanted is None:
        bare = YearReading(learner, ahead.today, notes=_notes(ahead, learner))
        days = school_days(ahead.home, ahead.today, learner.id)
        met = tuple(_line(ahead, wish, None) for wish in _wishes(ahead, learner))
        return replace(bare, last_day=days[-1] if days else None, targets=met)
    last = years.year.days[-1]
    wishes = _wishes(ahead, learner)
    asked = [_target(wish) for wish in wishes if _is_ahead(years, wish)]
    whole = [Target(course.course, last) for course in years.year.courses]
    found, ends = outlook(years, asked), outlook(years, whole)
    told = {t.target: t for t in found.targets}
    weeks, months = _ends(years.year.days)
    return YearReading(
        learner,
        ahead.today,
        last,
        paths,
        found,
        found.all_targets,
        tuple(_line(ahead, wish, told.get(_target(wish))) for wish in wishes),
        tuple(_course_line(ahead.home, years, end) for end in ends.targets),
        done_by(years, weeks),
        done_by(years, months),
        _need_lines(ahead, learner, wanted),
        _notes(ahead, learner),
        years,
    )


def _ends(days: Sequence[date]) -> tuple[list[date], list[date]]:
    """The last school day of each week, and of each month."""
    weeks = {day.isocalendar()[:2]: day for day in days}
    months = {(day.year, day.month): day for day in days}
    return list(weeks.values()), list(months.values())


def fan(reading: YearReading, course: str) -> tuple[DoneBy, ...]:
    """Workbooks of one course that are done by the last school day of each week; none without years."""
    if reading.years is None:
        return ()
    return done_by(reading.years, [row.day for row in reading.by_week], course)


# --- in words -----------------------------------------------------------------------------------------------------


def book_words(home: Home, code: str) -> str:
    """A workbook as it is named: 'Fractions (Mathematics, level 5)'."""
    book = home.programme.workbook(code)
    return f"{book.title} ({home.programme.course(book.course).title})"


def _wishes(ahead: HomeAhead, learner: Somebody) -> list[TargetWish]:
    """Targets of a learner that the programme still knows, the earliest first."""
    known = ahead.home.programme.workbooks
    mine = (w for w in ahead.home.wishes.targets if w.learner == learner.id and w.workbook in known)
    return sorted(mine, key=lambda w: (w.by, w.course, w.workbook))


def _target(wish: TargetWish) -> Target:
    return Target(wish.course, wish.by, wish.workbook)


def _is_ahead(years: PossibleYears, wish: TargetWish) -> bool:
    return any(
        course.course == wish.course and any(book.code == wish.workbook for book in course.workbooks)
        for course in years.year.courses
    )


def _line(ahead: HomeAhead, wish: TargetWish, told: TargetOutlook | None) -> TargetLine:
    name, by = book_words(ahead.home, wish.workbook), date_words(wish.by)
    target = _target(wish)
    if wish.workbook in ahead.passed[wish.learner]:
        return TargetLine(
            target, None, say("{title} was to be done by {day}: it is passed.", title=name, day=by), met=True
        )
    if told is None:
        if school_days(ahead.home, ahead.today, wish.learner):
            sentence = say(
                "Nothing can be told of {title} by {day}: it is not among the workbooks ahead.",
                title=name,
                day=by,
            )
        else:
            sentence = say(
                "Nothing can be told of {title} by {day}: no school day to come is entered.",
                title=name,
                day=by,
            )
        return TargetLine(target, None, sentence)
    if wish.by < ahead.today:
        sentence = say(
            "{title} was to be done by {day} and is not passed yet; {half}.",
            title=name,
            day=by,
            half=_finish_words(told.finish),
        )
        return TargetLine(target, told, sentence)
    return TargetLine(target, told, replace(told, target=replace(target, workbook=name)).sentence)


def _finish_words(finish: FinishDates) -> str:
    if finish.middle is None:
        return say("half of the possible years need longer than the calendar that is entered")
    return say("half of the possible years are there by {day}", day=date_words(finish.middle))


def _course_line(home: Home, years: PossibleYears, told: TargetOutlook) -> CourseLine:
    course = told.target.course
    title = home.programme.course(course).title
    named = replace(told, target=replace(told.target, course=say("all of {course}", course=title)))
    return CourseLine(course, title, len(years.rows(course)), told, named.sentence)


def _need_lines(ahead: HomeAhead, learner: Somebody, years: PossibleYears) -> tuple[NeedLine, ...]:
    lines = []
    for dates in need_dates(years):
        book = ahead.home.programme.workbook(dates.workbook)
        ready = ahead.ready[learner.id, book.code]
        sentence = _need_words(ahead, dates, ready)
        lines.append(NeedLine(book.course, book.code, book.title, dates, ready, sentence))
    lines.sort(
        key=lambda line: (line.dates.dates[2] or date.max, line.dates.dates[1] or date.max, line.workbook)
    )
    return tuple(lines)


def _need_words(ahead: HomeAhead, dates: NeedDates, ready: Ready) -> str:
    name = book_words(ahead.home, dates.workbook)
    if not ready.on_order and ready.not_before is None:
        there = say("a copy is in the house")
    elif ready.on_order and ready.not_before is not None:
        there = say("a copy is on order and counted on from {day}", day=date_words(ready.not_before))
    else:
        there = say("no copy is there or on order")
    _, early, middle, _, _ = dates.dates
    if early is None:
        return say(
            "{title} is hardly needed within the calendar that is entered; {there}.", title=name, there=there
        )
    if middle is None:
        return say(
            "{title} is needed by {early} in 1 year of 10, in most of them after the calendar that is entered; {there}.",
            title=name,
            early=date_words(early),
            there=there,
        )
    if middle <= ahead.today:
        return say("{title} is needed now; {there}.", title=name, there=there)
    if early == middle:
        return say("{title} is needed about {day}; {there}.", title=name, day=date_words(middle), there=there)
    return say(
        "{title} is needed about {day}, in 1 year of 10 by {early}; {there}.",
        title=name,
        day=date_words(middle),
        early=date_words(early),
        there=there,
    )


def _notes(ahead: HomeAhead, learner: Somebody) -> tuple[str, ...]:
    """What is to be said of courses without a forecast."""
    home, notes = ahead.home, []
    ahead_in = {road.course for road in ahead.roads[learner.id]}
    if not learner.courses:
        notes.append(say("{learner} takes no course yet.", learner=learner.name))
    for course in learner.courses:
        if course in ahead_in:
            continue
        if course not in home.programme.courses:
            notes.append(say("The programme has no course {course} any more.", course=course))
        else:
            title = home.programme.course(course).title
            notes.append(
                say(
                    "No workbook of {course} is left to do for {learner}.", course=title, learner=learner.name
                )
            )
    if ahead_in and not school_days(home, ahead.today, learner.id):
        day = date_words(ahead.today)
        notes.append(
            say(
                "No school day of {learner} is entered from {day} on: enter the next term first.",
                learner=learner.name,
                day=day,
            )
        )
    return tuple(notes)
