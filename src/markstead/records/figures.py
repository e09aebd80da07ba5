"""Figures as people write them on papers: hours, days, shares, pages."""

from collections.abc import Sequence
from fractions import Fraction

from markstead.speech import figure, plural, say


def hours(minutes: int, *, at_least: bool = False) -> str:
    """Hours and minutes: 112 h 40 min."""
    whole, rest = divmod(minutes, 60)
    text = (
        say("{hours} h {minutes:02d} min", hours=whole, minutes=rest)
        if whole
        else say("{minutes} min", minutes=rest)
    )
    return say("at least {hours}", hours=text) if at_least else text


def hours_short(minutes: int, *, at_least: bool = False) -> str:
    """Hours and minutes for the column of a table, where words would not fit: ≥ 112 h 40 min."""
    return f"≥\u00a0{hours(minutes)}" if at_least else hours(minutes)


def number(value: Fraction, places: int = 2) -> str:
    """A number with as many decimals as it has, at most so many; halves are rounded up."""
    scale = 10**places
    rounded = Fraction(int(value * scale + Fraction(1, 2)), scale)
    whole, rest = divmod(rounded, 1)
    if rest == 0:
        return str(whole)
    decimals = f"{int(rest * scale):0{places}d}".rstrip("0")
    return figure(f"{whole}.{decimals}")


def percent(share: Fraction, places: int = 0) -> str:
    """A share in percent; halves are rounded up."""
    return f"{number(share * 100, places)} %"


def tenths(value: Fraction) -> str:
    """A number with exactly one decimal; halves are rounded up."""
    rounded = int(value * 10 + Fraction(1, 2))
    return figure(f"{rounded // 10}.{rounded % 10}")


def day_count(days: Fraction) -> str:
    """Days of which some may be halves."""
    if days.denominator == 1:
        return plural(int(days), "day")
    return say("{number} days", number=number(days))


def all_of(parts: Sequence[str], between: str = "; ") -> str:
    """Those parts that say something."""
    return between.join(part for part in parts if part)
