"""Reading a requirement profile (TOML), with everything that is wrong in one report; and the profiles that are shipped."""

import re
from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError, ValidationInfo, field_validator

from markstead.calendar.load import parse_toml, problems_of
from markstead.errors import InputError, Problem, UnknownError
from markstead.rules.load import Words, whole_number
from markstead.rules.requirements import HoursRule, Requirements
from markstead.rules.spans import Periods
from markstead.speech import say

_HOURS_A_YEAR = 24 * 366


def _month_day(value: object) -> tuple[int, int]:
    found = re.fullmatch(r"([0-9]{2})-([0-9]{2})", value) if isinstance(value, str) else None
    try:
        if found is not None:
            date(2001, int(found[1]), int(found[2]))  # no leap year: a year cannot begin on 29 February
            return int(found[1]), int(found[2])
    except ValueError:
        pass
    raise ValueError(say("a day of every year, written month-day: 07-01"))


def _id(value: object) -> str:
    if isinstance(value, str) and re.fullmatch(r"[a-z][a-z0-9-]{0,39}", value):
        return value
    raise ValueError(say("small letters, digits and hyphens, a letter first, at most 40: four-quarters"))


def _share(value: object) -> Fraction:
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1:
        return Fraction(str(value))
    raise ValueError(say("a number from 0 to 1, such as 0.5"))


def _periods(value: object) -> Periods:
    if value in list(Periods):
        return Periods(str(value))
    raise ValueError(say("one of {words}", words=", ".join(Periods)))


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, arbitrary_types_allowed=True)


class _Profile(_Table):
    id: Annotated[str, BeforeValidator(_id)]
    title: Words
    source: Words
    note: str = ""
    invented: bool = False
    year_begins: Annotated[tuple[int, int] | None, BeforeValidator(_month_day)] = None


class _Days(_Table):
    a_year: Annotated[int | None, whole_number(1, 366)] = None
    half_day_counts: Annotated[Fraction, BeforeValidator(_share)] = Fraction(1, 2)


class _Hours(_Table):
    from_year: Annotated[int, whole_number(0, 20)]
    until_year: Annotated[int, whole_number(0, 20)]
    a_year: Annotated[int, whole_number(1, _HOURS_A_YEAR)]

    @field_validator("until_year")
    @classmethod
    def _not_before_the_first(cls, until: int, info: ValidationInfo) -> int:
        first = info.data.get("from_year")
        if first is not None and until < first:
            raise ValueError(say("a school year from {first} on, the first", first=first))
        return until


class _Reports(_Table):
    periods: Annotated[Periods, BeforeValidator(_periods)] = Periods.TERMS
    explain_below_percent: Annotated[int | None, whole_number(1, 100)] = None
    asks: list[Words] = []


class _File(_Table):
    profile: _Profile
    days: _Days = _Days()
    hours: list[_Hours] = []
    reports: _Reports = _Reports()


def read_requirements(text: str, file: str = "profile.toml") -> Requirements:
    """Read a profile.

    Raises:
        InputError: every problem of the file, each with its place, what was found and what is allowed.
    """
    data = parse_toml(text, file)
    try:
        kept = _File.model_validate(data)
    except ValidationError as error:
        raise InputError(problems_of(file, error, _File)) from error
    hours = sorted(kept.hours, key=lambda rule: rule.from_year)
    problems = [
        Problem(
            f"{file}, hours, from_year",
            say(
                "{year}, in years {first} to {last} already",
                year=then.from_year,
                first=before.from_year,
                last=before.until_year,
            ),
            say("a school year after {year}: every year stands in one table", year=before.until_year),
        )
        for before, then in pairwise(hours)
        if then.from_year <= before.until_year
    ]
    if problems:
        raise InputError(problems)
    return Requirements(
        kept.profile.id,
        kept.profile.title,
        kept.profile.source,
        kept.profile.note.strip(),
        kept.profile.invented,
        kept.profile.year_begins,
        kept.days.a_year,
        kept.days.half_day_counts,
        tuple(HoursRule(h.from_year, h.until_year, h.a_year) for h in hours),
        kept.reports.periods,
        kept.reports.explain_below_percent,
        tuple(kept.reports.asks),
    )


@cache
def _texts() -> Mapping[str, str]:
    folder = resources.files("markstead.rules") / "profiles"
    found = sorted((entry.name, entry) for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return {name.removesuffix(".toml"): entry.read_text(encoding="utf-8") for name, entry in found}


@cache
def shipped() -> tuple[Requirements, ...]:
    """The profiles that come with Markstead, by their names."""
    return tuple(read_requirements(text, f"{name}.toml") for name, text in _texts().items())


def shipped_text(profile: str) -> str:
    """The file of a profile that comes with Markstead.

    Raises:
        UnknownError: there is none of this id.
    """
    found = _texts().get(profile)
    if found is None:
        allowed = say("one of {profiles}", profiles=", ".join(_texts()))
        raise UnknownError([Problem(say("profile"), repr(profile[:60]), allowed)])
    return found
