"""What a home chooses its place from: countries, the parts of one with holidays of their own, and its time zones."""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from unicodedata import combining, normalize

from babel import Locale

from markstead.speech import language


@dataclass(frozen=True, slots=True)
class Place:
    """A country or a part of one, by its code and as people call it."""

    code: str
    name: str


_CALLED = {"GB": "United Kingdom"}
"""Where the zone tables' own word is one that nobody looks for."""


def _table(name: str) -> list[list[str]]:
    """A table of the time zone database: its rows, without comments."""
    text = (files("tzdata") / "zoneinfo" / name).read_text(encoding="utf-8")
    return [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]


def countries() -> tuple[Place, ...]:
    """The countries whose public holidays are known, by name."""
    return _countries(language().code.split("-")[0])


@lru_cache(maxsize=8)
def _countries(spoken: str) -> tuple[Place, ...]:
    from holidays.registry import COUNTRIES

    names = {code: name for code, name, *_ in _table("iso3166.tab")} | _CALLED
    if spoken != "en":
        names |= dict(Locale.parse(spoken).territories)
    found = {
        names[1]: key.replace("_", " ").title() for key, names in COUNTRIES.items() if len(names[1]) == 2
    }
    places = (Place(code, names.get(code, called)) for code, called in found.items())
    return tuple(sorted(places, key=lambda place: _plain(place.name) if spoken != "en" else place.name))


def _plain(name: str) -> str:
    """A name without its accents, by which a person looks for it: Á stands with A."""
    return "".join(c for c in normalize("NFKD", name) if not combining(c)).casefold()


@lru_cache(maxsize=64)
def regions(country: str) -> tuple[Place, ...]:
    """The parts of a country that have holidays of their own, by name; none for a country that is not known."""
    import holidays

    if country not in {place.code for place in countries()}:
        return ()
    known = holidays.country_holidays(country)
    aliases = known.get_subdivision_aliases()
    places = (Place(code, next(iter(aliases.get(code, ())), code)) for code in known.subdivisions)
    return tuple(sorted(places, key=lambda place: place.name))


@lru_cache(maxsize=1)
def _zones() -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for code, _, zone, *_ in _table("zone.tab"):
        found.setdefault(code, []).append(zone)
    return {code: tuple(zones) for code, zones in found.items()}


def zones(country: str) -> tuple[str, ...]:
    """The time zones of a country, in the order of the zone database; none for one that it does not know."""
    return _zones().get(country, ())


def currency(country: str) -> str:
    """The currency that is paid with in a country, in three letters; nothing where none is known."""
    from babel.numbers import get_territory_currencies

    found = get_territory_currencies(country) if country else []
    return str(found[0]) if found else ""
