"""The year sheet: twelve months of ruled day cells, what each day is, and what a change of it would do."""

import calendar as months
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from markstead.calendar import DayKind, SchoolCalendar, Term
from markstead.records.home import Home
from markstead.records.house_calendar import Colour, Effect, school_year
from markstead.records.house_rules import Version
from markstead.rules.ruling import Role
from markstead.speech import date_words, day_of_month, day_short, month_words
from markstead.web.pages import Choice

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
"""As the calendar's file names them; its loader is loaded only where a file is read."""
_SHAPES = {
    DayKind.SCHOOL: ("s", "", "school day"),
    DayKind.HALF: ("h", "½", "half day"),
    DayKind.OUT_OF_TERM: ("o", "", "outside every term"),
    DayKind.NOT_TAUGHT_WEEKDAY: ("w", "", "no school on this weekday"),
    DayKind.PUBLIC_HOLIDAY: ("p", "∗", "public holiday"),
    DayKind.OWN_HOLIDAY: ("f", "–", "holiday"),
}
"""Class, sign and words of each kind of day."""
COLOURS: Mapping[Colour, str] = {
    Colour.HOLIDAY: "Holiday of this home",
    Colour.HALF: "Half day",
    Colour.ABSENCE: "A learner is absent",
    Colour.AWAY: "An educator is away: no unit test is watched",
    Colour.SCHOOL_TOO: "School on that day too",
    Colour.PLAIN: "As the week has it: take own marks away",
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
        weekdays=tuple(day[:2] for day in WEEKDAYS),
        title=f"{month_words(begins)} to {month_words(ends)}",
        total=len(school),
        ahead=sum(day >= today for day in school),
        before=begins.replace(year=begins.year - 1).isoformat() if begins.year > 1971 else "",
        after=begins.replace(year=begins.year + 1).isoformat() if begins.year < 2200 else "",
        start=begins.isoformat(),
        first=data.get("first", first.isoformat() if first else "")[:20],
        last=data.get("last", last.isoformat() if last else "")[:20],
        colours=tuple(
            Choice(str(c), words, data.get("colour", Colour.HOLIDAY) == c) for c, words in COLOURS.items()
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
        versions=tuple(f"{v.number}, of {date_words(calendar.day_of(v.taken))}" for v in versions),
    )


def _nth(begins: date, n: int) -> date:
    year, month = divmod(begins.month - 1 + n, 12)
    return date(begins.year + year, month + 1, 1)


def _week(sent: Sequence[str] | None, kept: frozenset[int]) -> tuple[Choice, ...]:
    return tuple(
        Choice(day, day, day in sent if sent is not None else n in kept) for n, day in enumerate(WEEKDAYS)
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
    shape, sign, words = _SHAPES[calendar.kind(day)]
    why = calendar.why_closed(day)
    if shape in "pf" and why is not None:
        words = why.removeprefix("a ")
    elif not calendar.is_school_day(day) and (name := public_holiday(calendar, day)):
        sign, words = "∗", f"{words}, {name}"
    absent = [p.name for p in home.learners if calendar.kind(day, p.id) is DayKind.ABSENT]
    away = calendar.is_school_day(day) and any(
        calendar.educator_is_away(day, p.id) for p in home.people.values() if p.role is Role.EDUCATOR
    )
    if absent:
        sign, words = f"{sign}{''.join(name[0] for name in absent)}", f"{words}, absent: {', '.join(absent)}"
    if away:
        sign, words = f"{sign}◊", f"{words}, an educator is away"
    if day in calendar.taught_anyway:
        sign, words = f"{sign}+", f"{words}, school that day too"
    inside = chosen is not None and chosen[0] <= day <= chosen[1]
    return Cell(day.isoformat(), day.day, shape, sign, f"{day_of_month(day)}, {words}", inside, day == today)


def public_holiday(calendar: SchoolCalendar, day: date) -> str:
    """The name of a public holiday, whether or not it falls into a term; empty on other days."""
    every_day = replace(
        calendar,
        terms=(Term("", day, day),),
        weekdays=frozenset(range(7)),
        holidays_off=(),
        taught_anyway=frozenset(),
    )
    why = every_day.why_closed(day)
    return (why or "").partition("(")[2].removesuffix(")")


def _named(home: Home, first: date, last: date) -> list[str]:
    """The days of a month that have a name, and who is absent or away, in their order."""
    calendar = home.calendar
    found: list[tuple[date, str]] = []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        if name := public_holiday(calendar, day):
            found.append((day, f"{day.day} {name}"))
    spans = [(s.first, s.last, s.name or "holiday") for s in calendar.holidays_off]
    names = {p.id: p.name for p in home.people.values()}
    spans += [(a.first, a.last, f"{names.get(a.learner, a.learner)} absent") for a in calendar.absences]
    spans += [
        (a.first, a.last, f"{names.get(a.educator, a.educator) if a.educator else 'Every educator'} away")
        for a in calendar.educator_away
    ]
    for one, other, words in spans:
        if one <= last and other >= first:
            a, b = max(one, first), min(other, last)
            found.append((a, f"{a.day}{f'-{b.day}' if b != a else ''} {words}"))
    found += [(d, f"{d.day} school too") for d in calendar.taught_anyway if first <= d <= last]
    return [words for _, words in sorted(found)]


def what_words(colour: Colour, first: date, last: date, who: str, words: str) -> str:
    """A change of days in one sentence."""
    days = day_short(first) if first == last else f"{day_short(first)} to {day_short(last)}"
    name = f" ({words})" if words else ""
    match colour:
        case Colour.HOLIDAY:
            return f"{days}: holiday of this home{name}"
        case Colour.HALF:
            return f"{days}: half days" if first != last else f"{days}: a half day"
        case Colour.ABSENCE:
            return f"{days}: {who} is absent{name}"
        case Colour.AWAY:
            return f"{days}: {who or 'every educator'} is away"
        case Colour.SCHOOL_TOO:
            return f"{days}: school too"
        case Colour.PLAIN:
            return f"{days}: as the week has it"
