"""The requirement profiles to choose from, in words."""

from dataclasses import dataclass

from markstead.records.figures import number, plural
from markstead.records.home import Home
from markstead.records.required import chosen
from markstead.rules.requirements import LOCAL_LAW, NONE, Requirements
from markstead.rules.requirements_load import shipped
from markstead.rules.spans import Periods

_PERIODS = {
    Periods.YEAR: "One report a year.",
    Periods.HALVES: "A report each half of the school year.",
    Periods.THIRDS: "A report each third of the school year.",
    Periods.QUARTERS: "A report each quarter of the school year.",
    Periods.TERMS: "A report each term.",
}


@dataclass(frozen=True, slots=True)
class ProfileLine:
    """One profile."""

    id: str
    title: str
    asks: tuple[str, ...]
    source: str
    note: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class RequiredPage:
    """Everything that the template of the profiles may use."""

    profiles: tuple[ProfileLine, ...]
    own: str
    """The title of the home's own profile, where it has chosen one that does not come with Markstead."""
    stamp: str
    law: str
    problems: tuple[str, ...]
    saved: bool


def profile_words(rules: Requirements) -> tuple[str, ...]:
    """What a profile asks, in sentences."""
    said = []
    if rules.days is not None:
        half = number(rules.half_day_counts)
        said.append(f"{plural(rules.days, 'day')} of school a year; a half day counts as {half}.")
    for rule in rules.hours:
        years = (
            f"year {rule.from_year}"
            if rule.from_year == rule.until_year
            else f"years {rule.from_year} to {rule.until_year}"
        )
        said.append(f"{rule.hours} hours a year in {years}.")
    said.append(_PERIODS[rules.periods])
    if rules.explain_below_percent is not None:
        said.append(
            f"A written explanation where less than {rules.explain_below_percent} % of what was planned is covered."
        )
    return tuple(said)


def required_page(home: Home, *, problems: tuple[str, ...] = (), saved: bool = False) -> RequiredPage:
    """The profiles that come with Markstead, and what the home goes by."""
    now = chosen(home.id)
    known = shipped()
    lines = [
        ProfileLine(
            NONE.id,
            "None",
            ("Days and hours are counted; nothing is held against them.",),
            "",
            "",
            now == NONE,
        )
    ]
    lines += [ProfileLine(p.id, p.title, profile_words(p), p.source, p.note, p == now) for p in known]
    own = now if now != NONE and now not in known else None
    if own is not None:
        lines.append(ProfileLine("own", own.title, profile_words(own), own.source, own.note, chosen=True))
    return RequiredPage(tuple(lines), own.title if own else "", home.stamp, LOCAL_LAW, problems, saved)
