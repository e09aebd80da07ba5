"""Reading a home's calendar file, with everything that is wrong in one report; and writing it back."""

import re
import tomllib
from datetime import date, time
from typing import Annotated, Any
from zoneinfo import available_timezones

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from markstead.calendar.school import Absence, Away, NamedSpan, SchoolCalendar, Term
from markstead.errors import InputError, Problem

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def _day(value: object) -> date:
    if type(value) is date:
        return value
    if isinstance(value, str) and _DAY.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise ValueError("a day that exists, written 2026-09-01")


def _time(value: object) -> time:
    if type(value) is time:
        return value
    if isinstance(value, str) and re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", value):
        return time.fromisoformat(value)
    raise ValueError("a time of day, written 12:00")


def _weekday(value: object) -> int:
    if value in WEEKDAYS:
        return WEEKDAYS.index(str(value))
    raise ValueError(f"a day of the week: {', '.join(WEEKDAYS)}")


def _zone(value: object) -> str:
    if isinstance(value, str) and value in available_timezones():
        return value
    raise ValueError("an IANA time zone, such as Europe/London")


def _country(value: object) -> str:
    import holidays

    if isinstance(value, str) and value in holidays.list_supported_countries(include_aliases=True):
        return value
    raise ValueError("a country by its two letters (ISO 3166-1), such as GB")


Zone = Annotated[str, BeforeValidator(_zone)]
Country = Annotated[str, BeforeValidator(_country)]
Day = Annotated[date, BeforeValidator(_day)]
TimeOfDay = Annotated[time, BeforeValidator(_time)]
Weekday = Annotated[int, BeforeValidator(_weekday)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Span(_Table):
    first: Day
    last: Day


class _NamedSpan(_Span):
    name: str = ""


class _Absence(_Span):
    learner: str
    why: str = ""


class _Away(_Span):
    educator: str | None = None


class _File(_Table):
    zone: Zone
    country: Country
    region: str | None = None
    weekdays: list[Weekday] = Field(min_length=1)
    half_weekdays: list[Weekday] = []
    public_holidays: bool = True
    half_day_ends: TimeOfDay = time(12, 0)
    taught_anyway: list[Day] = []
    half_days: list[Day] = []
    term: list[_NamedSpan] = Field(min_length=1)
    holiday: list[_NamedSpan] = []
    absence: list[_Absence] = []
    educator_away: list[_Away] = []


def where_in(file: str, path: tuple[int | str, ...]) -> str:
    """A place in a TOML file as people say it: calendar.toml, term 2, last."""
    words: list[str] = []
    for part in path:
        if isinstance(part, int) and words:
            words[-1] += f" {part + 1}"
        else:
            words.append(str(part))
    return ", ".join([file, *words])


_ALLOWED = {
    "extra_forbidden": "no such key; look for a slip of the pen",
    "missing": "this key, which is needed",
    "string_type": "text in quotation marks",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "list_type": "a list in [brackets]",
    "too_short": "at least one of them",
    "model_type": "a table of its own",
}


def problems_of(file: str, error: ValidationError) -> list[Problem]:
    """Turn what pydantic found into sentences of ours."""
    found = []
    for one in error.errors():
        value = "nothing" if one["type"] == "missing" else repr(one["input"])[:80]
        message = str(one.get("ctx", {}).get("error", "")) if one["type"] == "value_error" else ""
        allowed = message or _ALLOWED.get(one["type"], one["msg"].removeprefix("Input should be "))
        found.append(Problem(where_in(file, one["loc"]), value, allowed))
    return found


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """Read TOML, or say on which line it breaks.

    Raises:
        InputError: the text is not TOML.
    """
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise InputError([Problem(file, str(error), "a TOML file (see the reference page)")]) from error


def _region_problems(country: str, region: str | None, file: str) -> list[Problem]:
    import holidays

    regions = holidays.list_supported_countries(include_aliases=True)[country]
    if region is None or region in regions:
        return []
    known = ", ".join(regions) or "none: leave the region out"
    return [Problem(f"{file}, region", repr(region), f"a region of {country}: {known}")]


def _span_problems(file: str, kind: str, spans: list[Any]) -> list[Problem]:
    return [
        Problem(f"{file}, {kind} {n}, last", str(span.last), f"a day from {span.first} on, the first")
        for n, span in enumerate(spans, 1)
        if span.last < span.first
    ]


def read_calendar(text: str, file: str = "calendar.toml") -> SchoolCalendar:
    """Read a calendar.

    Raises:
        InputError: every problem of the file, each with its place, what was found and what is allowed.
    """
    try:
        kept = _File.model_validate(parse_toml(text, file))
    except ValidationError as error:
        raise InputError(problems_of(file, error)) from error
    problems = _region_problems(kept.country, kept.region, file)
    for kind in ("term", "holiday", "absence", "educator_away"):
        problems += _span_problems(file, kind, getattr(kept, kind))
    terms = sorted(enumerate(kept.term, 1), key=lambda pair: pair[1].first)
    for (_, before), (n, after) in zip(terms, terms[1:], strict=False):  # noqa: RUF007  # numbered as in the file
        if after.first <= before.last:
            allowed = f"a day after {before.last}, the last of {before.name or 'the term before'}"
            problems.append(Problem(f"{file}, term {n}, first", str(after.first), allowed))
    if problems:
        raise InputError(problems)
    return SchoolCalendar(
        zone=kept.zone,
        country=kept.country,
        region=kept.region,
        terms=tuple(Term(t.name, t.first, t.last) for t in kept.term),
        weekdays=frozenset(kept.weekdays),
        holidays_off=tuple(NamedSpan(h.name, h.first, h.last) for h in kept.holiday),
        taught_anyway=frozenset(kept.taught_anyway),
        half_days=frozenset(kept.half_days),
        half_weekdays=frozenset(kept.half_weekdays),
        public_holidays_off=kept.public_holidays,
        absences=tuple(Absence(a.learner, a.first, a.last, a.why) for a in kept.absence),
        educator_away=tuple(Away(a.first, a.last, a.educator) for a in kept.educator_away),
        half_day_ends=kept.half_day_ends,
    )


def _text(value: str) -> str:
    escaped = "".join(
        f"\\u{ord(c):04x}" if ord(c) < 32 or ord(c) == 127 else f"\\{c}" if c in '"\\' else c for c in value
    )
    return f'"{escaped}"'


def write_calendar(calendar: SchoolCalendar) -> str:
    """Write a calendar so that it reads back equal."""
    lines = [f"zone = {_text(calendar.zone)}", f"country = {_text(calendar.country)}"]
    if calendar.region is not None:
        lines.append(f"region = {_text(calendar.region)}")
    lines.append(f"weekdays = [{', '.join(_text(WEEKDAYS[d]) for d in sorted(calendar.weekdays))}]")
    lines.append(f"half_weekdays = [{', '.join(_text(WEEKDAYS[d]) for d in sorted(calendar.half_weekdays))}]")
    lines.append(f"public_holidays = {'true' if calendar.public_holidays_off else 'false'}")
    lines.append(f'half_day_ends = "{calendar.half_day_ends:%H:%M}"')
    lines.append(f"taught_anyway = [{', '.join(map(str, sorted(calendar.taught_anyway)))}]")
    lines.append(f"half_days = [{', '.join(map(str, sorted(calendar.half_days)))}]")
    for term in calendar.terms:
        lines += ["", "[[term]]", f"name = {_text(term.name)}", f"first = {term.first}", f"last = {term.last}"]
    for span in calendar.holidays_off:
        lines += ["", "[[holiday]]", f"name = {_text(span.name)}", f"first = {span.first}", f"last = {span.last}"]
    for absence in calendar.absences:
        lines += ["", "[[absence]]", f"learner = {_text(absence.learner)}", f"first = {absence.first}"]
        lines += [f"last = {absence.last}", f"why = {_text(absence.why)}"]
    for away in calendar.educator_away:
        lines += ["", "[[educator_away]]", f"first = {away.first}", f"last = {away.last}"]
        lines += [f"educator = {_text(away.educator)}"] if away.educator is not None else []
    return "\n".join(lines) + "\n"
