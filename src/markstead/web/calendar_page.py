"""The year sheet: twelve months of ruled day cells, what each day is, and what a change of it would do."""

import calendar as months
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from markstead.calendar import DayKind, SchoolCalendar
from markstead.records.home import Home
from markstead.records.house_calendar import Colour, Effect, school_year
from markstead.records.house_rules import Version
from markstead.rules.ruling import Role
from markstead.speech import (
    date_words,
    day_of_month,
    day_short,
    later,
    month_words,
    say,
    weekday,
    weekday_least,
)
from markstead.web.pages import Choice

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
"""As the calendar's file names them; its loader is loaded only where a file is read."""
_MONDAY = date(2024, 1, 1)
"""Any Monday: the language has the names of its weekdays."""
_SHAPES = {
    DayKind.SCHOOL: ("s", "", later("school day")),
    DayKind.HALF: ("h", "½", later("half day")),
    DayKind.OUT_OF_TERM: ("o", "", later("outside every term")),
    DayKind.NOT_TAUGHT_WEEKDAY: ("w", "", later("no school on this weekday")),
    DayKind.PUBLIC_HOLIDAY: ("p", "∗", later("public holiday")),
    DayKind.OWN_HOLIDAY: ("f", "–", later("holiday")),
}
"""Class, sign and words of each kind of day."""
COLOURS: Mapping[Colour, str] = {
    Colour.HOLIDAY: later("Holiday of this home"),
    Colour.HALF: later("Half day"),
    Colour.ABSENCE: later("A learner is absent"),
    Colour.AWAY: later("An educator is away: no unit test is watched"),
    Colour.SCHOOL_TOO: later("School on that day too"),
    Colour.PLAIN: later("As the week has it: take own marks away"),
}


@dataclass(frozen=True, slots=True)
class Cell:
    """One day."""

    day: str
    number: int
    shape: str
    sign: str
    words: str
    """What is read aloud."""
    chosen: bool
    today: bool


@dataclass(frozen=True, slots=True)
class Month:
    """One month: weeks of cells, and its days with a name."""

    title: str
    weeks: tuple[tuple[Cell | None, ...], ...]
    named: tuple[str, ...]
    school: int
    """School days of the house."""


@dataclass(frozen=True, slots=True)
class TermRow:
    """One row of the terms."""

    n: int
    name: str
    first: str
    last: str
    wrong: str = ""


@dataclass(frozen=True, slots=True)
class CalendarPage:
    """Everything that the template of the year sheet may use."""

    months: tuple[Month, ...]
    weekdays: tuple[str, ...]
    title: str
    total: int
    ahead: int
    before: str
    after: str
    """First days of the years beside this one, as links."""
    start: str
    first: str
    last: str
    colours: tuple[Choice, ...]
    learners: tuple[Choice, ...]
    educators: tuple[Choice, ...]
    words: str
    terms: tuple[TermRow, ...]
    week: tuple[Choice, ...]
    half_week: tuple[Choice, ...]
    half_day_ends: str
    country: str
    region: str
    public: bool
    stamp: str
    saved: bool
    problems: tuple[str, ...]
    effect: Effect | None
    what: str
    """The change that is being looked at, in words."""
    sent: tuple[tuple[str, str], ...]
    versions: tuple[str, ...]


def year_sheet(
    home: Home,
    today: date,
    *,
    start: date | None = None,
    chosen: tuple[date, date] | None = None,
    typed: Mapping[str, str] | None = None,
    lists: Mapping[str, Sequence[str]] | None = None,
    saved: bool = False,
    problems: Sequence[str] = (),
    effect: Effect | None = None,
    what: str = "",
    sent: Sequence[tuple[str, str]] = (),
    versions: Sequence[Version] = (),
) -> CalendarPage:
    """Lay out the twelve months that begin with a day's."""
    calendar = home.calendar
    begins = (start or school_year(calendar, today)[0]).replace(day=1)
    ends = begins.replace(year=begins.year + 1) - timedelta(days=1)
    school = calendar.school_days(begins, ends)
    data, many = typed or {}, lists or {}
    first, last = chosen if chosen is not None else (None, None)
    return CalendarPage(
        months=tuple(_month(home, _nth(begins, n), today, chosen) for n in range(12)),
        weekdays=tuple(weekday_least(_MONDAY + timedelta(days=n)) for n in range(7)),
        title=say("{first} to {last}", first=month_words(begins), last=month_words(ends)),
        total=len(school),
        ahead=sum(day >= today for day in school),
        before=begins.replace(year=begins.year - 1).isoformat() if begins.year > 1971 else "",
        after=begins.replace(year=begins.year + 1).isoformat() if begins.year < 2200 else "",
        start=begins.isoformat(),
        first=data.get("first", first.isoformat() if first else "")[:20],
        last=data.get("last", last.isoformat() if last else "")[:20],
        colours=tuple(
            Choice(str(c), say(words), data.get("colour", Colour.HOLIDAY) == c)
            for c, words in COLOURS.items()
        ),
        learners=tuple(Choice(p.id, p.name, data.get("learner") == p.id) for p in home.learners),
        educators=tuple(
            Choice(p.id, p.name, data.get("educator") == p.id)
            for p in home.people.values()
            if p.role is Role.EDUCATOR
        ),
        words=data.get("words", "")[:200],
        terms=_terms(calendar, data),
        week=_week(many.get("weekdays"), calendar.weekdays),
        half_week=_week(many.get("half_weekdays"), calendar.half_weekdays),
        half_day_ends=data.get("half_day_ends", f"{calendar.half_day_ends:%H:%M}")[:20],
        country=data.get("country", calendar.country)[:20],
        region=data.get("region", calendar.region or "")[:20],
        public=data.get("public", "yes" if calendar.public_holidays_off else "no") == "yes",
        stamp=home.stamp,
        saved=saved,
        problems=tuple(problems),
        effect=effect,
        what=what,
        sent=tuple(sent),
        versions=tuple(
            say("{number}, of {day}", number=v.number, day=date_words(calendar.day_of(v.taken)))
            for v in versions
        ),
    )


def weekday_words(n: int) -> str:
    """Name a weekday by its number, Monday being 0."""
    return weekday(_MONDAY + timedelta(days=n))


def _nth(begins: date, n: int) -> date:
    year, month = divmod(begins.month - 1 + n, 12)
    return date(begins.year + year, month + 1, 1)


def _week(sent: Sequence[str] | None, kept: frozenset[int]) -> tuple[Choice, ...]:
    return tuple(
        Choice(day, weekday_words(n), day in sent if sent is not None else n in kept)
        for n, day in enumerate(WEEKDAYS)
    )


def _terms(calendar: SchoolCalendar, data: Mapping[str, str]) -> tuple[TermRow, ...]:
    kept = [(t.name, t.first.isoformat(), t.last.isoformat()) for t in calendar.terms]
    if "term.0.first" in data:
        rows = []
        for n in range(40):
            if f"term.{n}.first" not in data:
                break
            rows.append(tuple(data.get(f"term.{n}.{part}", "")[:80] for part in ("name", "first", "last")))
        return tuple(TermRow(n, *row) for n, row in enumerate(rows))
    return tuple(TermRow(n, *row) for n, row in enumerate([*kept, ("", "", "")]))


def _month(home: Home, first: date, today: date, chosen: tuple[date, date] | None) -> Month:
    weeks = [
        tuple(_cell(home, day, today, chosen) if day.month == first.month else None for day in week)
        for week in months.Calendar().monthdatescalendar(first.year, first.month)
    ]
    last = first.replace(day=months.monthrange(first.year, first.month)[1])
    return Month(
        month_words(first),
        tuple(weeks),
        tuple(_named(home, first, last)),
        len(home.calendar.school_days(first, last)),
    )


def _cell(home: Home, day: date, today: date, chosen: tuple[date, date] | None) -> Cell:
    calendar = home.calendar
    shape, sign, kind = _SHAPES[calendar.kind(day)]
    words = say(kind)
    name = calendar.public_holiday(day)
    if shape in "pf":
        words = _holiday_words(shape, name if shape == "p" else calendar.own_holiday(day))
    elif not calendar.is_school_day(day) and name:
        sign, words = "∗", f"{words}, {name}"
    absent = [p.name for p in home.learners if calendar.kind(day, p.id) is DayKind.ABSENT]
    away = calendar.is_school_day(day) and any(
        calendar.educator_is_away(day, p.id) for p in home.people.values() if p.role is Role.EDUCATOR
    )
    if absent:
        sign = f"{sign}{''.join(name[0] for name in absent)}"
        words = say("{day_is}, absent: {names}", day_is=words, names=", ".join(absent))
    if away:
        sign, words = f"{sign}◊", say("{day_is}, an educator is away", day_is=words)
    if day in calendar.taught_anyway:
        sign, words = f"{sign}+", say("{day_is}, school that day too", day_is=words)
    inside = chosen is not None and chosen[0] <= day <= chosen[1]
    return Cell(day.isoformat(), day.day, shape, sign, f"{day_of_month(day)}, {words}", inside, day == today)


def _holiday_words(shape: str, name: str) -> str:
    if shape == "p":
        return say("public holiday ({name})", name=name)
    return say("holiday of this home ({name})", name=name) if name else say("holiday of this home")


def _named(home: Home, first: date, last: date) -> list[str]:
    """The days of a month that have a name, and who is absent or away, in their order."""
    calendar = home.calendar
    found: list[tuple[date, str]] = []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        if name := calendar.public_holiday(day):
            found.append((day, f"{day.day} {name}"))
    spans = [(s.first, s.last, s.name or say("holiday")) for s in calendar.holidays_off]
    names = {p.id: p.name for p in home.people.values()}
    spans += [
        (a.first, a.last, say("{learner} absent", learner=names.get(a.learner, a.learner)))
        for a in calendar.absences
    ]
    spans += [
        (
            a.first,
            a.last,
            say("{educator} away", educator=names.get(a.educator, a.educator))
            if a.educator
            else say("Every educator away"),
        )
        for a in calendar.educator_away
    ]
    for one, other, words in spans:
        if one <= last and other >= first:
            a, b = max(one, first), min(other, last)
            found.append((a, f"{a.day}{f'-{b.day}' if b != a else ''} {words}"))
    found += [(d, say("{day} school too", day=d.day)) for d in calendar.taught_anyway if first <= d <= last]
    return [words for _, words in sorted(found)]


def what_words(colour: Colour, first: date, last: date, who: str, words: str) -> str:
    """A change of days in one sentence."""
    days = (
        day_short(first)
        if first == last
        else say("{first} to {last}", first=day_short(first), last=day_short(last))
    )
    name = f" ({words})" if words else ""
    match colour:
        case Colour.HOLIDAY:
            return say("{days}: holiday of this home{name}", days=days, name=name)
        case Colour.HALF:
            return (
                say("{days}: half days", days=days) if first != last else say("{days}: a half day", days=days)
            )
        case Colour.ABSENCE:
            return say("{days}: {learner} is absent{name}", days=days, learner=who, name=name)
        case Colour.AWAY:
            if not who:
                return say("{days}: every educator is away", days=days)
            return say("{days}: {educator} is away", days=days, educator=who)
        case Colour.SCHOOL_TOO:
            return say("{days}: school too", days=days)
        case Colour.PLAIN:
            return say("{days}: as the week has it", days=days)
