"""Sheets for the printer: what stands on them comes from the plan and the record; what was printed is kept for the reader.

A sheet that is read again is kept under its id with every box and what it means. Printed once more without any change it
is the same sheet. Sheets for the wall are not kept.
"""

import hashlib
import json
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from typing import Any

from django.db import transaction

from markstead.errors import InputError, Problem
from markstead.ledger.facts import PRACTICE, GoalSet, Presence, Step
from markstead.paper.day import Course, Day, Score, StopToMark, day_sheet
from markstead.paper.layout import Kind, Paper, Sheet, write_sheet
from markstead.paper.marking import ToMark, marking_sheet
from markstead.paper.ruler import Workbook as Ruled
from markstead.paper.sitting import Sitting, sitting_sheet
from markstead.paper.wall import Road, Stone, WeekRow, road_sheet, week_sheet
from markstead.records import paper_key, plans, queries, sittings
from markstead.records.desk import household_row
from markstead.records.home import Home, Somebody, load_home
from markstead.records.models import PaperPage, PaperSheet
from markstead.records.paper_day import Held, held_copies
from markstead.records.typeset import check_paper, usual_paper
from markstead.rules.programme import Stop, Workbook
from markstead.rules.ruling import Role, stop_words
from markstead.rules.standing import Cycle, Standing
from markstead.speech import date_words, day_of_month, day_words, language, later, say, weekday

SIZES: Mapping[str, Paper] = {"a4": Paper.A4, "us-letter": Paper.LETTER}
"""Sizes of paper as they are asked for, the same words as for every other paper."""
KINDS: Mapping[str, Kind] = {
    "day": Kind.DAY,
    "sitting": Kind.SITTING,
    "marking": Kind.MARKING,
    "week": Kind.WEEK,
    "road": Kind.ROAD,
}
MORE_PAGES, PAGES_WITHOUT_GOAL, MOST_PAGES = 3, 6, 30
"""Pages that get a box: so many beyond the goal, so many where there is none, and at most."""
MOST_STOPS = 4
KEPT_DAYS = 60
"""A sheet can be read for so many days; after that it is forgotten, for it holds names."""
NOTHING = "0" * 16
PRESENCES = (
    (Presence.FULL, later("all day")),
    (Presence.HALF, later("half the day")),
    (Presence.ABSENT, later("not at school")),
)


class WhyEmpty(StrEnum):
    """Why a kind of sheet has nothing to say."""

    SITTING = later("nobody may sit a unit test on that day")
    MARKING = later("nothing waits to be marked")
    WEEK = later("no plan is in force for that week")


@dataclass(frozen=True, slots=True)
class Printed:
    """A file for the printer."""

    name: str
    content: bytes
    sheets: tuple[tuple[str, str], ...]
    """Of each sheet what it is and whose: ``day sheet``, ``Asa``."""


def age_of(somebody: Somebody) -> int:
    """About how old a learner is: five years more than the school year (common practice, no source)."""
    return (somebody.year if somebody.year is not None else 5) + 5


# --- printing ---------------------------------------------------------------------------------------------


def print_sheets(
    household: str,
    *,
    day: date,
    by: str,
    now: datetime,
    kinds: Sequence[str] = ("day", "sitting"),
    learner: str | None = None,
    paper: str | None = None,
) -> Printed:
    """Lay out sheets of a day, keep those that will be read, and draw all of them as one PDF.

    Args:
        household: whose sheets.
        day: the day that they are for; of the week and the road any day of it.
        by: who prints, an educator or a helper.
        now: the present instant.
        kinds: what is printed, see `KINDS`; what has nothing to say is left out, unless nothing is left then.
        learner: id or key; None: of all learners.
        paper: see `SIZES`; None: as is usual where the home is.

    Raises:
        InputError: no such kind or paper, nobody to print for, or nothing to print.
        UnknownError: nobody has that id or key.
    """
    home = load_home(household_row(household))
    size = SIZES[check_paper(paper or usual_paper(home))]
    for kind in kinds:
        if kind not in KINDS:
            raise InputError(
                [
                    Problem(
                        say("kind of sheet"), repr(kind[:40]), say("one of {words}", words=", ".join(KINDS))
                    )
                ]
            )
    if home.person(by).role not in (Role.EDUCATOR, Role.HELPER):
        raise InputError(
            [Problem(say("sheets"), home.person(by).name, say("an educator or a helper, who prints them"))]
        )
    who = (home.learner(learner),) if learner else home.learners
    if not who:
        raise InputError([Problem(say("learners"), say("nobody yet"), say("at least one learner"))])
    made = [one for kind in kinds for one in _MAKERS[kind](_Desk(home, day, now, size), who)]
    if not made:
        empty = "; ".join(
            say(WhyEmpty[kind.upper()]) for kind in kinds if kind.upper() in WhyEmpty.__members__
        )
        raise InputError(
            [Problem(say("sheets"), empty or say("nothing to print"), say("a day with something to print"))]
        )
    with transaction.atomic():
        _forget(household, day)
        sheets = tuple(_kept(home, one, day, now) for one in made)
    from markstead.paper.draw import draw_together

    content = draw_together(sheets, paper_key.key_of(household))
    told = tuple(
        (str(sheet.kind), home.people[one.learner].name if one.learner else say("everybody"))
        for sheet, one in zip(sheets, made, strict=True)
    )
    return Printed(_file_name(kinds, who if learner else (), day), content, told)


def _file_name(kinds: Sequence[str], who: Sequence[Somebody], day: date) -> str:
    plain = [p.key for p in who if p.key.isascii() and p.key.isalnum()]
    return "-".join(["sheets", *kinds, *plain, day.isoformat()]) + ".pdf"


@dataclass(frozen=True, slots=True)
class _Made:
    """A sheet without its id."""

    sheet: Sheet
    learner: str = ""
    planned: str = "{}"


@dataclass(frozen=True, slots=True)
class _Desk:
    """What every maker of sheets needs."""

    home: Home
    day: date
    now: datetime
    paper: Paper


def _kept(home: Home, made: _Made, day: date, now: datetime) -> Sheet:
    """Give a sheet its id: that of the same sheet printed before and not recorded, or a new one."""
    sheet = made.sheet
    if not sheet.is_read:
        return sheet
    content = hashlib.sha256(f"{home.id}\n{day}\n{write_sheet(sheet)}".encode()).hexdigest()
    row = PaperSheet.objects.filter(household=home.id, day=day, content=content, act="").first()
    if row is None:
        sheet = replace(sheet, id=secrets.token_hex(8))
        PaperSheet.objects.create(
            id=sheet.id,
            household_id=home.id,
            kind=sheet.kind,
            learner=made.learner,
            day=day,
            layout=write_sheet(sheet),
            content=content,
            printed=now,
            head_seq=household_row(home.id).head_seq,
            planned=made.planned,
        )
        return sheet
    return replace(sheet, id=row.id)


def _forget(household: str, day: date) -> None:
    """Forget sheets that are too old to be read, with the pictures that still wait."""
    old = PaperSheet.objects.filter(household=household, day__lt=day - timedelta(days=KEPT_DAYS))
    names = set(PaperPage.objects.filter(sheet__in=old).values_list("picture", flat=True))
    old.delete()
    for name in names - set(PaperPage.objects.values_list("picture", flat=True)):
        paper_key.remove_picture(name)


# --- the day ----------------------------------------------------------------------------------------------


def _days(at: _Desk, who: Iterable[Somebody]) -> Iterable[_Made]:
    held = held_copies(at.home)
    goals = _goals(at, held)
    for learner in who:
        own = [one for one in held if one.learner.id == learner.id]
        free = not any(one.copy in goals for one in own)
        courses = tuple(_course(one, goals.get(one.copy), free=free) for one in own)
        day = Day(
            learner.id,
            learner.name,
            age_of(learner),
            day_words(at.day),
            courses,
            presence=tuple((str(value), say(words)) for value, words in PRESENCES),
            notes=tuple(_notes(at.home, learner, own, goals)),
        )
        planned = json.dumps(planned_of_day(at.home, learner.id, at.day))
        yield _Made(day_sheet(day, sheet_id=NOTHING, paper=at.paper), learner.id, planned)


def planned_of_day(home: Home, learner: str, day: date) -> dict[str, list[Any]] | None:
    """What the plan in force has for a learner's day, by course; None where it does not know the day."""
    plan = plans.in_force(home)
    if plan is None or day not in plan.problem.days:
        return None
    return {
        course: [goal.workbook, goal.first, goal.last, goal.practice, goal.unit]
        for (who, course), goal in sorted(plan.goals(day).items())
        if who == learner
    }


def _goals(at: _Desk, held: Sequence[Held]) -> dict[str, GoalSet]:
    """The goal of each copy: the one that is set for the day, else the one that is planned."""
    link = household_row(at.home.id).head_link
    asked = [(one.learner.id, one.workbook.course, one.standing) for one in held]
    found = {copy: goal.goal for copy, goal in plans.goals_of_day(at.home, link, at.day, asked).items()}
    for one in held:
        own = one.standing.goal
        if own is not None and own.day == at.day and (own.first is not None or own.step is not None):
            found[one.copy] = own
    passed = {one.copy for one in held if one.standing.practice_passed}
    return {
        copy: goal
        for copy, goal in found.items()
        if not (goal.step is Step.PRACTICE_TEST and goal.first is None and copy in passed)
    }


def _notes(home: Home, learner: Somebody, own: Sequence[Held], goals: Mapping[str, GoalSet]) -> Iterable[str]:
    tests = [one.course for one in own if one.copy in goals and goals[one.copy].step is Step.UNIT_TEST]
    if tests:
        yield say("Unit test in the morning: {courses}.", courses=", ".join(tests))
    in_hand = {one.workbook.course for one in own}
    idle = [home.programme.course(course).title for course in learner.courses if course not in in_hand]
    if idle:
        yield say("No workbook in hand: {courses}.", courses=", ".join(idle))


def _course(held: Held, goal: GoalSet | None, *, free: bool) -> Course:
    """One workbook on a learner's day; `free`: the learner has no goal at all, and works as far as it goes."""
    s, book = held.standing, held.workbook
    todo: tuple[int, int] | None = None
    if goal is not None and goal.first is not None and goal.last is not None:
        left = [page for page in range(goal.first, goal.last + 1) if page not in s.pages]
        todo = (left[0], goal.last) if left else None
    pages = _pages(held, todo, goal)
    # Where others have a goal and this one none, only what is worked already comes to its marking.
    reach = max(pages[-1] if pages and (todo or free) else 0, max(s.pages, default=0))
    stops = [_stop(s, stop) for stop in book.stops if stop.last <= reach and _is_to_mark(s, stop)]
    scores: tuple[Score, ...] = ()
    if _is_near_practice(held, reach if todo else 0, goal):
        questions = tuple(range(1, book.practice_questions + 1))
        stops.append(StopToMark(PRACTICE, say("the practice test"), questions))
        if book.practice_questions <= 99:
            scores = (Score(PRACTICE, say("the practice test"), book.practice_questions),)
    return Course(
        held.copy,
        held.course,
        _ruled(book, s),
        todo,
        _goal_words(goal, todo),
        pages,
        tuple(stops[:MOST_STOPS]),
        scores if len(stops) <= MOST_STOPS else (),
    )


def _pages(held: Held, todo: tuple[int, int] | None, goal: GoalSet | None) -> tuple[int, ...]:
    """Pages that get a box: those of the goal and a few more, for whoever comes further."""
    if held.next_page is None or (goal is not None and todo is None and goal.step is not None):
        return ()
    first, last = todo or (held.next_page, held.next_page + PAGES_WITHOUT_GOAL - 1)
    upto = min(last + (MORE_PAGES if todo else 0), held.workbook.pages, first + MOST_PAGES - 1)
    return tuple(range(first, upto + 1))


def _goal_words(goal: GoalSet | None, todo: tuple[int, int] | None) -> str:
    """The goal in words where it is more than pages."""
    if goal is None or goal.step is None:
        return ""
    test = say("the unit test") if goal.step is Step.UNIT_TEST else say("the practice test")
    if todo is None:
        return test
    return (
        say("pages {first} to {last}, {test}", first=todo[0], last=todo[1], test=test)
        if todo[1] > todo[0]
        else say("page {number}, {test}", number=todo[0], test=test)
    )


def _is_to_mark(s: Standing, stop: Stop) -> bool:
    return s.stop(stop.id).cycle is not Cycle.CLEARED


def _stop(s: Standing, stop: Stop) -> StopToMark:
    kept = s.stop(stop.id)
    words = f"{stop_words(stop.id)}, {_run(stop)}"
    if kept.cycle is Cycle.UNMARKED:
        return StopToMark(stop.id, words, tuple(range(1, stop.questions + 1)), re_marked=True)
    return StopToMark(stop.id, words, kept.still_wrong or kept.first_wrong, again=True)


def _run(stop: Stop) -> str:
    return (
        say("pages {first} to {last}", first=stop.first, last=stop.last)
        if stop.last > stop.first
        else say("page {number}", number=stop.first)
    )


def _is_near_practice(held: Held, reach: int, goal: GoalSet | None) -> bool:
    """Whether the practice test may be marked on that day."""
    s = held.standing
    if s.practice_passed or s.unit is not None:
        return False
    if s.practice_open or (goal is not None and goal.step is Step.PRACTICE_TEST):
        return True
    return reach >= held.workbook.pages


def _ruled(book: Workbook, s: Standing) -> Ruled:
    return Ruled(
        book.title,
        book.pages,
        tuple(stop.last for stop in book.sections),
        tuple(stop.last for stop in book.checks),
        tuple(_runs(sorted(s.pages))),
    )


def _runs(pages: Sequence[int]) -> Iterable[tuple[int, int]]:
    start = None
    for n, page in enumerate(pages):
        start = page if start is None else start
        if n + 1 == len(pages) or pages[n + 1] != page + 1:
            yield start, page
            start = None


# --- sittings and marking ---------------------------------------------------------------------------------


def _sittings(at: _Desk, who: Iterable[Somebody]) -> Iterable[_Made]:
    """A sheet for each unit test that may be sat on that morning, as far as the day and the hour do not matter."""
    home, rules = at.home, at.home.programme.unit_test
    begins = home.calendar.instant_of(at.day, rules.morning_from)
    # What was decided this morning counts, too.
    now = max(begins, at.now) if home.calendar.day_of(at.now) == at.day else begins
    morning = sittings.morning(home.id, now=now, home=home)
    wanted = {p.id for p in who}
    watchers = tuple((p.id, p.name) for p in home.people.values() if p.id in home.watchers)
    hours = say("from {first} to {last}", first=_clock(rules.morning_from), last=_clock(rules.morning_until))
    for one in morning.candidates:
        if one.learner.id not in wanted or one.own_bars or not one.standing.practice_passed:
            continue
        book = one.workbook
        sitting = Sitting(
            one.learner.id,
            one.learner.name,
            age_of(one.learner),
            day_words(at.day),
            home.programme.course(book.course).title,
            book.title,
            one.copy,
            one.attempt,
            book.unit_questions,
            home.programme.marks.unit_needed(book.unit_questions),
            hours,
            one.aids,
            watchers,
        )
        yield _Made(sitting_sheet(sitting, sheet_id=NOTHING, paper=at.paper), one.learner.id)


def _clock(at: time) -> str:
    return f"{at.hour}:{at.minute:02d}"


def _markings(at: _Desk, who: Iterable[Somebody]) -> Iterable[_Made]:
    """One sheet for everything of these learners that waits to be marked."""
    wanted = {p.id for p in who}
    waiting = [
        one for held in held_copies(at.home) if held.learner.id in wanted for one in _to_mark(at.home, held)
    ]
    if waiting:
        under = say("{day}: colour the numbers that are wrong", day=day_words(at.day))
        sheet = marking_sheet(
            tuple(waiting), title=say("To be marked"), day=under, sheet_id=NOTHING, paper=at.paper
        )
        yield _Made(sheet, next(iter(wanted)) if len(wanted) == 1 else "")


def _to_mark(home: Home, held: Held) -> Iterable[ToMark]:
    s, book = held.standing, held.workbook
    asked = s.waiting.stop if s.waiting is not None else None
    name = f"{home.programme.course(book.course).title}, {book.title}"
    for stop in book.stops:
        kept = s.stop(stop.id)
        worked = all(page in s.pages for page in range(stop.first, stop.last + 1))
        if kept.cycle is Cycle.CLEARED or not worked:
            continue
        words, again = f"{stop_words(stop.id)}, {_run(stop)}", kept.cycle is not Cycle.UNMARKED
        questions = (kept.still_wrong or kept.first_wrong) if again else tuple(range(1, stop.questions + 1))
        yield ToMark(
            held.learner.id,
            held.learner.name,
            held.copy,
            name,
            stop.id,
            words,
            questions,
            again,
            asked == stop.id or s.leave is None,
        )
    if s.practice_open:
        questions = tuple(range(1, book.practice_questions + 1))
        yield ToMark(
            held.learner.id, held.learner.name, held.copy, name, PRACTICE, say("the practice test"), questions
        )


# --- for the wall -----------------------------------------------------------------------------------------


def _weeks(at: _Desk, who: Iterable[Somebody]) -> Iterable[_Made]:
    """The goals of the week in which the day lies, as the plan in force has them."""
    plan = plans.in_force(at.home)
    monday = at.day - timedelta(days=at.day.weekday())
    week = [monday + timedelta(days=n) for n in range(7)]
    days = [day for day in week if plan is not None and day in plan.problem.days]
    if plan is None or not days:
        return
    rows = []
    for learner in who:
        goals = []
        for day in days:
            own = {course: goal for (one, course), goal in plan.goals(day).items() if one == learner.id}
            lines = [
                (at.home.programme.course(c).title, _planned_words(own[c]))
                for c in learner.courses
                if c in own
            ]
            goals.append(tuple(lines))
        rows.append(WeekRow(learner.name, tuple(goals)))
    heads = tuple(f"{weekday(day)} {day.day}" for day in days)
    same = days[0].month == days[-1].month and language().short_day_of_month.startswith("d")
    begins = str(days[0].day) if same else day_of_month(days[0])
    under = say("{first} to {last}; the numbers are pages", first=begins, last=date_words(days[-1]))
    yield _Made(week_sheet(say("The week"), under, heads, tuple(rows), sheet_id=NOTHING, paper=at.paper))


def _planned_words(goal: Any) -> str:
    parts = []
    if goal.first is not None and goal.last is not None:
        parts.append(
            say("{first} to {last}", first=goal.first, last=goal.last)
            if goal.last > goal.first
            else str(goal.first)
        )
    parts += [say("practice test")] if goal.practice else []
    parts += [say("unit test")] if goal.unit else []
    return ", ".join(parts)


def _roads(at: _Desk, who: Iterable[Somebody]) -> Iterable[_Made]:
    """Each learner's courses as roads of workbooks."""
    learners = list(who)
    passed = queries.passed_by(at.home, [p.id for p in learners])
    held = held_copies(at.home)
    for learner in learners:
        done = passed.get(learner.id, set())
        here = {one.workbook.code for one in held if one.learner.id == learner.id}
        roads = tuple(
            Road(
                at.home.programme.course(course).title,
                tuple(
                    Stone(str(book.number), book.title, book.code in done, book.code in here)
                    for book in at.home.programme.course(course).workbooks
                ),
            )
            for course in learner.courses
        )
        if roads:
            under = say("Colour a stone for each workbook that is passed.")
            made = road_sheet(learner.name, age_of(learner), under, roads, sheet_id=NOTHING, paper=at.paper)
            yield _Made(made, learner.id)


_MAKERS: Mapping[str, Callable[[_Desk, Sequence[Somebody]], Iterable[_Made]]] = {
    "day": _days,
    "sitting": _sittings,
    "marking": _markings,
    "week": _weeks,
    "road": _roads,
}
