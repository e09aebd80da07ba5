"""What an authority asks of a home in a year, as data: days, hours by school year, reports. Advice: law is local.

A profile is a file that somebody wrote down from a rule they read. It is held against the record in words and figures, and
closes no gate.
"""

from dataclasses import dataclass, field
from fractions import Fraction

from markstead.rules.spans import Periods
from markstead.speech import later

LOCAL_LAW = later(
    "Law differs by place and changes. These figures are kept for you and prove nothing by themselves: "
    "what is asked of your home, and in which form, local law and the school decide."
)
"""Stands, said, on every page and paper that holds a profile against the record."""


@dataclass(frozen=True, slots=True)
class HoursRule:
    """Hours a year in these school years, both included."""

    from_year: int
    until_year: int
    hours: int


@dataclass(frozen=True, slots=True)
class Requirements:
    """What is asked of a home in a year. What a profile does not ask is None."""

    id: str
    title: str
    source: str
    """Where the figures come from; of an invented profile, that it is invented."""
    note: str = ""
    invented: bool = False
    year_begins: tuple[int, int] | None = None
    """Month and day; None: with the first term of the home's calendar."""
    days: int | None = None
    half_day_counts: Fraction = Fraction(1, 2)
    hours: tuple[HoursRule, ...] = ()
    periods: Periods = Periods.TERMS
    explain_below_percent: int | None = None
    """A written explanation is due where less than this share of what was planned for a period is covered."""
    asks: tuple[str, ...] = field(default=())
    """What a report has to say, in the profile's own words."""

    def hours_for(self, year: int | None) -> int | None:
        """Hours a year in a school year; None where none are asked."""
        if year is None:
            return None
        return next((rule.hours for rule in self.hours if rule.from_year <= year <= rule.until_year), None)

    def explanation_due(self, done: int, planned: Fraction) -> bool:
        """Whether so little of what was planned is covered that it is to be explained."""
        if self.explain_below_percent is None or planned <= 0:
            return False
        # Whole numbers: in floats, 4 of 5 may fall below 80 %.
        return done * 100 < self.explain_below_percent * planned


NONE = Requirements("none", later("No profile chosen"), later("Nothing is asked by a profile."))
"""Of a home that has chosen none."""
