"""Reading a home's calendar file, with everything that is wrong in one report; and writing it back."""

import re
import tomllib
from datetime import date, time
from functools import cache
from typing import Annotated, Any, get_args
from zoneinfo import available_timezones

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
)

from markstead.calendar.school import Absence, Away, NamedSpan, SchoolCalendar, Term
from markstead.errors import InputError, Problem
from markstead.speech import later, say

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def _day(value: object) -> date:
    if type(value) is date:
        return value
    if isinstance(value, str) and _DAY.fullmatch(value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise ValueError(say("a day that exists, written 2026-09-01"))


def _time(value: object) -> time:
    if type(value) is time:
        return value
    if isinstance(value, str) and re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", value):
        return time.fromisoformat(value)
    raise ValueError(say("a time of day, written 12:00"))


def _weekday(value: object) -> int:
    if value in WEEKDAYS:
        return WEEKDAYS.index(str(value))
    raise ValueError(say("a day of the week: {days}", days=", ".join(WEEKDAYS)))


@cache
def _zones() -> frozenset[str]:
    """Every zone there is, found once: the folder of all zones is walked through for it."""
    # Some systems list `localtime`, the zone of the machine: the home's own is meant, wherever the file is read.
    return frozenset(available_timezones() - {"localtime", "Factory"})


def _zone(value: object) -> str:
    if isinstance(value, str) and value in _zones():
        return value
    raise ValueError(say("an IANA time zone, such as Europe/London"))


def _country(value: object) -> str:
    import holidays

    if isinstance(value, str) and value in holidays.list_supported_countries(include_aliases=False):
        return value
    raise ValueError(
        say("a country by its two letters (ISO 3166-1), such as GB, whose public holidays are known")
    )


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

    @field_validator("last")
    @classmethod
    def _not_before_first(cls, last: date, info: ValidationInfo) -> date:
        first = info.data.get("first")
        if first is not None and last < first:
            raise ValueError(say("a day from {first} on, the first", first=first))
        return last


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

    @field_validator("region")
    @classmethod
    def _region_of_the_country(cls, region: str | None, info: ValidationInfo) -> str | None:
        import holidays

        country = info.data.get("country")
        if country is None or region is None:
            return region
        if region in holidays.list_supported_countries(include_aliases=True)[country]:
            return region
        known = ", ".join(holidays.list_supported_countries(include_aliases=False)[country])
        if not known:
            raise ValueError(say("a region of {country}: none is known, leave the key out", country=country))
        raise ValueError(say("a region of {country}: {regions}", country=country, regions=known))


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
    "extra_forbidden": later("no such key; look for a slip of the pen"),
    "missing": later("this key, which is needed"),
    "string_type": later("text in quotation marks"),
    "bool_type": later("true or false"),
    "int_type": later("a whole number"),
    "list_type": later("a list in [brackets]"),
    "too_short": later("at least one of them"),
    "model_type": later("a table of its own"),
}


def _shown(value: object) -> str:
    """A value as it stands in the file, so far as it can be said."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, list):
        return f"[{', '.join(map(_shown, value))}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{key} = {_shown(one)}' for key, one in value.items())}}}"
    return repr(value)


def _table_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(_table_in, get_args(annotation))), None)


def _table_at(model: type[BaseModel] | None, path: tuple[int | str, ...]) -> type[BaseModel] | None:
    """The table at a path of a file, if the path leads to one."""
    for part in path:
        if isinstance(part, str):
            model = (
                _table_in(model.model_fields[part].annotation)
                if model and part in model.model_fields
                else None
            )
    return model


def problems_of(file: str, error: ValidationError, model: type[BaseModel] | None = None) -> list[Problem]:
    """Turn what pydantic found into sentences of ours; with the model, an unknown key is shown the known ones."""
    found = []
    for one in error.errors():
        path, kind = one["loc"], one["type"]
        value = say("nothing") if kind == "missing" else _shown(one["input"])
        value = value if len(value) <= 80 else f"{value[:79]}…"
        message = str(one.get("ctx", {}).get("error", "")) if kind == "value_error" else ""
        allowed = message or say(_ALLOWED.get(kind, one["msg"].removeprefix("Input should be ")))
        if kind == "extra_forbidden" and (table := _table_at(model, path[:-1])):
            allowed = say("no such key; the keys here are {keys}", keys=", ".join(table.model_fields))
        elif kind == "list_type" and _table_at(model, path):
            allowed = say("tables, each below its own line [[{key}]]", key=path[-1])
        found.append(Problem(where_in(file, path), value, allowed))
    return found


_PLACE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """Read TOML, or say on which line it breaks.

    Raises:
        InputError: the text is not TOML.
    """
    text = text.removeprefix("\ufeff")
    allowed = say('TOML: key = value on a line of its own, text in "quotation marks", days as 2026-09-01')
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        lines = text.rstrip().split("\n")
        place = _PLACE.search(str(error))
        number = int(place[1]) if place and place[1] else len(lines)
        line = lines[min(number, len(lines)) - 1].strip()
        reason = _PLACE.sub("", str(error))
        found = f"{line[:80]!r} ({reason[:1].lower()}{reason[1:]})"
        raise InputError(
            [Problem(say("{file}, line {number}", file=file, number=number), found, allowed)]
        ) from error
    except (RecursionError, ValueError) as error:
        # Brackets in brackets a thousand deep, or a number of thousands of digits: tomllib gives no place.
        raise InputError(
            [Problem(file, say("something far too deep or too long to read"), allowed)]
        ) from error


def _overlap_problems(terms: object, file: str) -> list[Problem]:
    """Terms that begin before an earlier one has ended, among those whose days can be read."""
    spans: list[tuple[date, date, int]] = []
    for n, term in enumerate(terms if isinstance(terms, list) else [], 1):
        try:
            first, last = _day(term["first"]), _day(term["last"])
        except (KeyError, TypeError, ValueError):
            continue  # the models report it
        if first <= last:
            spans.append((first, last, n))
    problems = []
    latest: tuple[date, int] | None = None
    for first, last, n in sorted(spans):
        if latest is not None and first <= latest[0]:
            allowed = say("a day after {day}, the last of term {number}", day=latest[0], number=latest[1])
            problems.append(Problem(where_in(file, ("term", n - 1, "first")), str(first), allowed))
        latest = max(latest or (last, n), (last, n))
    return problems


def read_calendar(text: str, file: str = "calendar.toml") -> SchoolCalendar:
    """Read a calendar.

    Raises:
        InputError: every problem of the file, each with its place, what was found and what is allowed.
    """
    data = parse_toml(text, file)
    problems = _overlap_problems(data.get("term"), file)
    try:
        kept = _File.model_validate(data)
    except ValidationError as error:
        raise InputError([*problems_of(file, error, _File), *problems]) from error
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


def quoted(value: str) -> str:
    """Text as TOML writes it."""
    escaped = "".join(
        f"\\u{ord(c):04x}" if ord(c) < 32 or ord(c) == 127 else f"\\{c}" if c in '"\\' else c for c in value
    )
    return f'"{escaped}"'


def write_calendar(calendar: SchoolCalendar) -> str:
    """Write a calendar so that it reads back equal."""
    lines = [f"zone = {quoted(calendar.zone)}", f"country = {quoted(calendar.country)}"]
    if calendar.region is not None:
        lines.append(f"region = {quoted(calendar.region)}")
    lines.append(f"weekdays = [{', '.join(quoted(WEEKDAYS[d]) for d in sorted(calendar.weekdays))}]")
    lines.append(
        f"half_weekdays = [{', '.join(quoted(WEEKDAYS[d]) for d in sorted(calendar.half_weekdays))}]"
    )
    lines.append(f"public_holidays = {'true' if calendar.public_holidays_off else 'false'}")
    ends = calendar.half_day_ends
    # Whole minutes as a person writes them; TOML's own time of day wants the seconds.
    whole = ends == time(ends.hour, ends.minute)
    lines.append(f'half_day_ends = "{ends:%H:%M}"' if whole else f"half_day_ends = {ends.isoformat()}")
    lines.append(f"taught_anyway = [{', '.join(map(str, sorted(calendar.taught_anyway)))}]")
    lines.append(f"half_days = [{', '.join(map(str, sorted(calendar.half_days)))}]")
    for term in calendar.terms:
        lines += [
            "",
            "[[term]]",
            f"name = {quoted(term.name)}",
            f"first = {term.first}",
            f"last = {term.last}",
        ]
    for span in calendar.holidays_off:
        lines += [
            "",
            "[[holiday]]",
            f"name = {quoted(span.name)}",
            f"first = {span.first}",
            f"last = {span.last}",
        ]
    for absence in calendar.absences:
        lines += ["", "[[absence]]", f"learner = {quoted(absence.learner)}", f"first = {absence.first}"]
        lines += [f"last = {absence.last}", f"why = {quoted(absence.why)}"]
    for away in calendar.educator_away:
        lines += ["", "[[educator_away]]", f"first = {away.first}", f"last = {away.last}"]
        lines += [f"educator = {quoted(away.educator)}"] if away.educator is not None else []
    return "\n".join(lines) + "\n"
