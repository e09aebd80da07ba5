"""Figures as people write them on papers: hours, days, shares, pages."""

from collections.abc import Sequence
from datetime import date
from fractions import Fraction

from markstead.rules.ruling import date_words


def hours(minutes: int, *, at_least: bool = False) -> str:
    """Hours and minutes: 112 h 40 min."""
    whole, rest = divmod(minutes, 60)
    text = f"{whole} h {rest:02d} min" if whole else f"{rest} min"
    return f"at least {text}" if at_least else text


def number(value: Fraction, places: int = 2) -> str:
    """A number with as many decimals as it has, at most so many; halves are rounded up."""
    scale = 10**places
    rounded = Fraction(int(value * scale + Fraction(1, 2)), scale)
    whole, rest = divmod(rounded, 1)
    if rest == 0:
        return str(whole)
    decimals = f"{int(rest * scale):0{places}d}".rstrip("0")
    return f"{whole}.{decimals}"


def percent(share: Fraction, places: int = 0) -> str:
    """A share in percent; halves are rounded up."""
    return f"{number(share * 100, places)} %"


def tenths(value: Fraction) -> str:
    """A number with exactly one decimal; halves are rounded up."""
    rounded = int(value * 10 + Fraction(1, 2))
    return f"{rounded // 10}.{rounded % 10}"


def plural(count: int, one: str, many: str = "") -> str:
    """A count and what is counted: 1 page, 2 pages."""
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def day_count(days: Fraction) -> str:
    """Days of which some may be halves."""
    return f"{number(days)} {'day' if days == 1 else 'days'}"


def span_words(first: date, last: date) -> str:
    """Two days: 3 November to 19 December 2025."""
    if first.year == last.year:
        return f"{first.day} {first:%B} to {date_words(last)}"
    return f"{date_words(first)} to {date_words(last)}"


def ordinal(place: int) -> str:
    """1st, 2nd, 3rd, 4th, 11th, 21st."""
    ending = "th" if 10 <= place % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(place % 10, "th")
    return f"{place}{ending}"


def all_of(parts: Sequence[str], between: str = "; ") -> str:
    """Those parts that say something."""
    return between.join(part for part in parts if part)
