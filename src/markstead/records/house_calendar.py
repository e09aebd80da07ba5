"""The calendar of a home, changed from inside the house: what a change does is told first, then it is kept as a new version."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from typing import Any, TypeVar

from django.db import transaction

from markstead.calendar import Absence, Away, DayKind, NamedSpan, SchoolCalendar
from markstead.errors import InputError, Problem
from markstead.records.desk import household_row
from markstead.records.home import Home, latest_documents, load_home
from markstead.records.house_rules import check_stamp
from markstead.records.plans import KeptPlan, goal_words, in_force
from markstead.records.setup import add_document, new_stamp
from markstead.rules.ruling import Role
from markstead.speech import date_words, day_short, later, plural, say

LONGEST = 366
"""Days that are painted at once."""
MOST_LINES = 12
"""Lines of goals that are told one by one: a line has those of one learner on one day."""
Span = TypeVar("Span", NamedSpan, Absence, Away)


class Colour(StrEnum):
    """What days may be painted as."""

    HOLIDAY = "holiday"
    HALF = "half day"
    ABSENCE = "absence"
    SCHOOL_TOO = "school too"
    AWAY = "educator away"
    PLAIN = "as the week has it"


@dataclass(frozen=True, slots=True)
class Paint:
    """Some days, and what they are to be."""

    colour: Colour
    first: date
    last: date
    who: str = ""
    """Id of the learner who is absent, or of the educator who is away (empty: every educator)."""
    words: str = ""
    """The name of a holiday, or why a learner is absent."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A calendar as it would be."""

    calendar: SchoolCalendar
    """People stand in it by id."""
    text: str
    """The file that says so; people stand in it by key."""
    changed: bool


def calendar_of(household: str) -> SchoolCalendar:
    """The calendar as its file has it: people by key."""
    from markstead.calendar.load import read_calendar

    return read_calendar(latest_documents(household)["calendar"].text)


def _by_id(calendar: SchoolCalendar, home: Home) -> SchoolCalendar:
    ids = {p.key: p.id for p in home.people.values()}
    return replace(
        calendar,
        absences=tuple(replace(a, learner=ids.get(a.learner, a.learner)) for a in calendar.absences),
        educator_away=tuple(
            replace(a, educator=ids.get(a.educator, a.educator) if a.educator else None)
            for a in calendar.educator_away
        ),
    )


def _tried(home: Home, before: SchoolCalendar, after: SchoolCalendar) -> Tried:
    from markstead.calendar.load import read_calendar, write_calendar

    text = write_calendar(after)
    return Tried(_by_id(read_calendar(text), home), text, changed=after != before)


# --- painting days --------------------------------------------------------------------------------------------


def try_paint(home: Home, paint: Paint) -> Tried:
    """See what the calendar would be with some days painted; nothing is written.

    Raises:
        InputError: days out of order or too many, nobody named, or nothing to paint.
    """
    from markstead.calendar.load import read_calendar, write_calendar

    if paint.last < paint.first:
        said = _from_to(paint.first, paint.last)
        raise InputError([Problem(say("days"), said, say("a last day that is not before the first"))])
    if (paint.last - paint.first).days >= LONGEST:
        found = plural((paint.last - paint.first).days + 1, "day")
        raise InputError([Problem(say("days"), found, say("a year at most"))])
    before = calendar_of(home.id)
    after = _painted(home, before, paint)
    # The loader judges what was typed in words, too: a name with a line in it does not get into the file.
    return _tried(home, before, read_calendar(write_calendar(after)))


def _days(paint: Paint) -> list[date]:
    return [paint.first + timedelta(days=n) for n in range((paint.last - paint.first).days + 1)]


def _words(text: str) -> str:
    words = " ".join(text.split())
    if len(words) > 80 or not words.isprintable():
        raise InputError([Problem(say("name"), repr(words[:40]), say("at most 80 letters"))])
    return words


def _from_to(first: date, last: date) -> str:
    return say("{first} to {last}", first=date_words(first), last=date_words(last))


def _painted(home: Home, calendar: SchoolCalendar, paint: Paint) -> SchoolCalendar:
    days = _days(paint)
    first, last = paint.first, paint.last
    match paint.colour:
        case Colour.HOLIDAY:
            span = NamedSpan(_words(paint.words), first, last)
            spans = (*_without(calendar.holidays_off, first, last), span)
            kept = frozenset(calendar.taught_anyway - set(days))
            return replace(calendar, holidays_off=_in_order(spans), taught_anyway=kept)
        case Colour.HALF:
            school = [day for day in days if calendar.is_school_day(day)]
            if not school:
                found = say("{days}, without a school day", days=_from_to(first, last))
                raise InputError([Problem(say("half days"), found, say("at least one school day"))])
            return replace(calendar, half_days=calendar.half_days | set(school))
        case Colour.ABSENCE:
            key = home.learner(paint.who).key
            others = tuple(a for a in calendar.absences if a.learner != key)
            own = _without([a for a in calendar.absences if a.learner == key], first, last)
            span_of = Absence(key, first, last, _words(paint.words))
            return replace(calendar, absences=_in_order((*others, *own, span_of)))
        case Colour.SCHOOL_TOO:
            return replace(calendar, taught_anyway=calendar.taught_anyway | _school_too(calendar, days))
        case Colour.AWAY:
            key_or_all = home.person(paint.who).key if paint.who else None
            if paint.who and home.person(paint.who).role is not Role.EDUCATOR:
                allowed = say("an educator of this home")
                raise InputError([Problem(say("who is away"), home.person(paint.who).name, allowed)])
            same = [a for a in calendar.educator_away if a.educator == key_or_all]
            rest = tuple(a for a in calendar.educator_away if a.educator != key_or_all)
            away = Away(first, last, key_or_all)
            return replace(calendar, educator_away=_in_order((*rest, *_without(same, first, last), away)))
        case Colour.PLAIN:
            return replace(
                calendar,
                holidays_off=_in_order(_without(calendar.holidays_off, first, last)),
                absences=_in_order(_without(calendar.absences, first, last)),
                educator_away=_in_order(_without(calendar.educator_away, first, last)),
                half_days=calendar.half_days - set(days),
                taught_anyway=calendar.taught_anyway - set(days),
            )


def _school_too(calendar: SchoolCalendar, days: Sequence[date]) -> set[date]:
    """Days without school that get it: one day whatever it is, of a run only those on weekdays that are taught."""
    free = [day for day in days if not calendar.is_school_day(day)]
    found = set(free) if len(days) == 1 else {day for day in free if day.weekday() in calendar.weekdays}
    if not found:
        said = _from_to(days[0], days[-1]) if len(days) > 1 else date_words(days[0])
        do = say("A day on which there is never school, such as a Saturday, is chosen alone.")
        raise InputError(
            [Problem(say("school too"), said, say("at least one day that has no school yet"), do)]
        )
    return found


def _without(spans: Iterable[Span], first: date, last: date) -> tuple[Span, ...]:
    """Spans without the days from one to another: what lies before and behind is left of each."""
    day = timedelta(days=1)
    found: list[Span] = []
    for span in spans:
        if span.last < first or last < span.first:
            found.append(span)
            continue
        if span.first < first:
            found.append(replace(span, last=first - day))
        if span.last > last:
            found.append(replace(span, first=last + day))
    return tuple(found)


def _in_order(spans: Iterable[Span]) -> tuple[Span, ...]:
    return tuple(sorted(spans, key=lambda span: (span.first, span.last)))


# --- terms, and the week --------------------------------------------------------------------------------------


def try_file(home: Home, **values: object) -> Tried:
    """See what the calendar would be with other values in its file, as they were typed; nothing is written.

    Args:
        home: whose calendar.
        values: keys of the file with their new values: ``term`` as rows, ``weekdays``, ``country`` and so on; None takes a
            key out.

    Raises:
        InputError: every value that the loader cannot take.
    """
    from markstead.calendar.load import parse_toml, read_calendar, write_calendar

    before = calendar_of(home.id)
    data: dict[str, Any] = parse_toml(write_calendar(before), "calendar.toml")
    data.update(values)
    text = _dump({key: value for key, value in data.items() if value is not None})
    return _tried(home, before, read_calendar(text))


def _dump(data: Mapping[str, Any]) -> str:
    def is_tables(value: object) -> bool:
        return isinstance(value, list) and any(isinstance(one, dict) for one in value)

    lines = [f"{key} = {_value(value)}" for key, value in data.items() if not is_tables(value)]
    for key, rows in data.items():
        if is_tables(rows):
            for row in rows:
                lines += ["", f"[[{key}]]", *(f"{name} = {_value(value)}" for name, value in row.items())]
    return "\n".join(lines) + "\n"


def _value(value: object) -> str:
    from markstead.calendar.load import quoted

    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, list):
        return f"[{', '.join(_value(one) for one in value)}]"
    return quoted(str(value))


# --- keeping it -----------------------------------------------------------------------------------------------


def set_calendar(household: str, tried: Tried, *, stamp: str, at: datetime) -> Home:
    """Keep a calendar as a new version; the old ones stay.

    Raises:
        StaleError: the home was changed since the change was looked at.
    """
    with transaction.atomic():
        row = household_row(household, lock=True)
        check_stamp(row.stamp, stamp)
        if tried.changed and add_document(row, "calendar", tried.text, at):
            row.stamp = new_stamp()
            row.save(update_fields=["stamp"])
    return load_home(household_row(household))


# --- what it changes ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Count:
    """School days of somebody, before a change and after it."""

    who: str
    before: int
    after: int
    ahead_before: int
    ahead_after: int
    """Of them, those from today on."""


@dataclass(frozen=True, slots=True)
class Effect:
    """What a change of the calendar does."""

    counts: tuple[Count, ...]
    """Of the house, and of each learner who has other days than the house."""
    days: tuple[str, ...]
    """Days that become something else."""
    goals: tuple[str, ...]
    """Planned goals that no longer fit: a line for each learner and day."""
    more_days: int
    """Such lines that are not told one by one."""
    many: int
    """How many goals that are."""
    planned: bool
    """There is a plan in force."""


def effect(home: Home, calendar: SchoolCalendar, today: date) -> Effect:
    """Tell what another calendar changes: school days before and after, and goals that no longer fit."""
    after = replace(home, calendar=calendar)
    plan = in_force(home)
    goals = list(_goals(home, after, plan, today)) if plan is not None else []
    told: dict[tuple[str, str], list[str]] = {}
    for who, why, what in goals:
        told.setdefault((who, why), []).append(what)
    lines = tuple(f"{who}: {'; '.join(what)} ({why})" for (who, why), what in told.items())
    return Effect(
        counts=tuple(_counts(home, after, today)),
        days=tuple(_changed_days(home, after)),
        goals=lines[:MOST_LINES],
        more_days=max(0, len(lines) - MOST_LINES),
        many=len(goals),
        planned=plan is not None,
    )


def _span(*calendars: SchoolCalendar) -> tuple[date, date]:
    terms = [term for calendar in calendars for term in calendar.terms]
    return min(term.first for term in terms), max(term.last for term in terms)


def school_year(calendar: SchoolCalendar, day: date) -> tuple[date, date]:
    """The year of twelve whole months that a day is shown in: it begins with the month in which a school year does.

    A school year begins with a term that comes after at least four weeks without one, or with the first term.
    """
    terms = sorted(calendar.terms, key=lambda term: term.first)
    begins = terms[0].first
    latest = terms[0].last
    for term in terms[1:]:
        if (term.first - latest).days > 28 and term.first <= day + timedelta(days=60):
            begins = term.first
        latest = max(latest, term.last)
    start = begins.replace(day=1)
    while day < start:
        start = start.replace(year=start.year - 1)
    while day >= start.replace(year=start.year + 1):
        start = start.replace(year=start.year + 1)
    return start, start.replace(year=start.year + 1) - timedelta(days=1)


def _counts(home: Home, after: Home, today: date) -> Iterator[Count]:
    first, last = _span(home.calendar, after.calendar)
    house = _count(say("The house"), home, after, (first, last), today, None)
    yield house
    for learner in home.learners:
        own = _count(learner.name, home, after, (first, last), today, learner.id)
        if (own.before, own.after, own.ahead_before, own.ahead_after) != (
            house.before,
            house.after,
            house.ahead_before,
            house.ahead_after,
        ):
            yield own


def _count(
    who: str, home: Home, after: Home, span: tuple[date, date], today: date, learner: str | None
) -> Count:
    was, will = (one.calendar.school_days(*span, learner) for one in (home, after))
    return Count(
        who, len(was), len(will), sum(day >= today for day in was), sum(day >= today for day in will)
    )


def _changed_days(home: Home, after: Home) -> Iterator[str]:
    """Runs of days that become something else, in words."""
    first, last = _span(home.calendar, after.calendar)
    first, last = min(first, *_marks(after)), max(last, *_marks(after))
    run: list[date] = []
    words = ""
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        was, will = _kinds(home, day), _kinds(after, day)
        said = "" if was == will else _difference(was, will)
        if run and (said != words):
            yield f"{_run(run)}: {words}"
            run = []
        words = said
        if said:
            run.append(day)
    if run:
        yield f"{_run(run)}: {words}"


def _marks(home: Home) -> tuple[date, ...]:
    """The outermost days that the calendar's own marks touch."""
    calendar = home.calendar
    days = [*calendar.taught_anyway, *calendar.half_days]
    days += [day for span in calendar.holidays_off for day in (span.first, span.last)]
    first, last = _span(calendar)
    return (min([first, *days]), max([last, *days]))


def _run(days: Sequence[date]) -> str:
    if len(days) == 1:
        return day_short(days[0])
    return say("{first} to {last}", first=day_short(days[0]), last=day_short(days[-1]))


def _kinds(home: Home, day: date) -> tuple[tuple[str, str], ...]:
    """What a day is for the house, for each learner for whom it is something else, and who is away."""
    kind = _kind_words(home, day, None)
    found = [("", kind)]
    for learner in home.learners:
        own = _kind_words(home, day, learner.id)
        if own != kind:
            found.append((learner.name, own))
    if home.calendar.is_school_day(day):
        educators = [p for p in home.people.values() if p.role is Role.EDUCATOR]
        found += [(p.name, later("away")) for p in educators if home.calendar.educator_is_away(day, p.id)]
    return tuple(found)


def _kind_words(home: Home, day: date, learner: str | None) -> str:
    kind = home.calendar.kind(day, learner)
    if kind in (DayKind.OUT_OF_TERM, DayKind.NOT_TAUGHT_WEEKDAY):
        return later("no school")
    if kind is DayKind.OWN_HOLIDAY:
        return later("holiday")
    return str(kind)


def _difference(was: Sequence[tuple[str, str]], will: Sequence[tuple[str, str]]) -> str:
    before, then = dict(was), dict(will)
    parts = []
    for who in dict.fromkeys([*then, *before]):
        old, new = before.get(who, before[""] if who else ""), then.get(who, then[""] if who else "")
        if who and who not in then and new == "school day":
            new = later("here")
        if old != new:
            parts.append(
                say("{person} {kind}", person=who, kind=say(new))
                if who
                else say("{new} instead of {old}", new=say(new), old=say(old))
            )
    return ", ".join(parts)


def _goals(home: Home, after: Home, plan: KeptPlan, today: date) -> Iterator[tuple[str, str, str]]:
    """Goals of the plan in force that the new calendar has no room for, though the old one had: whose, why, what."""
    if plan.answer is None:
        return
    days = plan.problem.days
    educators = [p.id for p in home.people.values() if p.role is Role.EDUCATOR]
    for goal in plan.answer.goals:
        day = days[goal.day]
        if day < today or goal.learner not in home.people or goal.workbook not in home.programme.workbooks:
            continue
        title = home.programme.workbook(goal.workbook).title
        who, what = f"{day_short(day)}, {home.people[goal.learner].name}", goal_words(goal, title)
        if not after.calendar.is_school_day(day, goal.learner):
            if home.calendar.is_school_day(day, goal.learner):
                yield (
                    who,
                    say("it is {why}", why=after.calendar.why_closed(day, goal.learner)),
                    what,
                )
        elif goal.unit and _unwatched(after, educators, day) and not _unwatched(home, educators, day):
            yield who, say("no educator is there to watch"), what
    yield from _too_long(home, after, plan, today)


def _unwatched(home: Home, educators: Sequence[str], day: date) -> bool:
    return all(home.calendar.educator_is_away(day, educator) for educator in educators)


def _too_long(home: Home, after: Home, plan: KeptPlan, today: date) -> Iterator[tuple[str, str, str]]:
    """Days that become half days and have more planned than half of the longest day."""
    days = plan.problem.days
    halved = [
        n
        for n, day in enumerate(days)
        if day >= today
        and after.calendar.kind(day) is DayKind.HALF
        and home.calendar.kind(day) is DayKind.SCHOOL
    ]
    if not halved or plan.answer is None or not plan.answer.places:
        return
    planned = plan.loads()
    for limits in plan.problem.learners:
        learner = home.people.get(limits.learner)
        for n in halved:
            minutes, most = planned[limits.learner][n] // 2, limits.hard[n] // 4
            if learner is not None and after.calendar.is_school_day(days[n], learner.id) and minutes > most:
                who = f"{day_short(days[n])}, {learner.name}"
                yield (
                    who,
                    say("a half day has {most} at most", most=most),
                    say("{minutes} minutes are planned", minutes=minutes),
                )
