"""Sentences, days and figures for people, in the language that is spoken now.

Every sentence stands in the code in English and is said by `say` or `counted`; the same sentence in another language is
in that language's catalogue (gettext, `locale/`), which the templates read too. Who answers a person says in
which language, by `spoken`; until then it is English. Codes, keys and what goes to other programs are no sentences.

What is said now and read later, perhaps in another language, is said while `remembering`: it is then a `Sentence`, which is
kept as what it was said from and told again to whoever reads it.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache, wraps
from gettext import GNUTranslations, NullTranslations
from numbers import Integral, Real
from pathlib import Path
from string import Formatter
from typing import Any, ParamSpec

CATALOGUES = [Path(__file__).resolve().parent / "locale"]
"""Folders in which a language's catalogue is looked for; the first that has it is taken."""
DOMAIN = "django"
"""The templates' machinery asks for this name, so that all sentences are in one file."""


@dataclass(frozen=True, slots=True)
class Language:
    """A language as a home may choose it. Days are written by CLDR patterns (Unicode TS 35, part 4, 8)."""

    code: str
    """As Django and HTML write it (RFC 5646), in small letters."""
    name: str
    """In the language itself."""
    whole_day: str
    day: str
    short_day: str
    month: str
    day_of_month: str
    short_day_of_month: str
    short_date: str
    decimal: str = "."
    thousands: str = ","
    to_left: bool = False
    """Written from right to left."""

    @property
    def direction(self) -> str:
        return "rtl" if self.to_left else "ltr"

    @property
    def tag(self) -> str:
        """What a page writes at its root: en-GB."""
        first, *rest = self.code.split("-")
        return "-".join([first, *(part.upper() for part in rest)])


ENGLISH = Language(
    "en-gb", "English", "EEEE d MMMM y", "d MMMM y", "EEE d MMM", "MMMM y", "d MMMM", "d MMM", "d MMM y"
)  # fmt: skip
LANGUAGES: Mapping[str, Language] = {
    one.code: one
    for one in (
        ENGLISH,
        Language(
            "en-us", "English (United States)", "EEEE, MMMM d, y", "MMMM d, y", "EEE, MMM d", "MMMM y", "MMMM d",
            "MMM d", "MMM d, y",
        ),
        Language(
            "es", "Español", "EEEE d 'de' MMMM 'de' y", "d 'de' MMMM 'de' y", "EEE d MMM", "MMMM 'de' y",
            "d 'de' MMMM", "d MMM", "d MMM y", decimal=",", thousands=".",
        ),
    )
}  # fmt: skip

_SPOKEN: ContextVar[Language] = ContextVar("the language spoken", default=ENGLISH)
_REMEMBERING: ContextVar[bool] = ContextVar("what is said is remembered", default=False)
_NUMBERS = (int, float, Decimal, Fraction)


def language() -> Language:
    """The language that is spoken now."""
    return _SPOKEN.get()


def known(code: str | None) -> Language | None:
    """The language of a code as people and browsers write it: es, es-MX, EN_us; None where we speak none of it."""
    plain = (code or "").strip().lower().replace("_", "-")
    first = plain.split("-")[0]
    return LANGUAGES.get(plain) or LANGUAGES.get(first) or (ENGLISH if first == "en" else None)


def speak(code: str | None) -> None:
    """Speak a language from now on, in this thread or task; what is not known is English."""
    _SPOKEN.set(known(code) or ENGLISH)


@contextmanager
def spoken(code: str | None) -> Iterator[Language]:
    """Speak a language for a while; what is not known is English."""
    before = _SPOKEN.set(known(code) or ENGLISH)
    try:
        yield _SPOKEN.get()
    finally:
        _SPOKEN.reset(before)


# --- said now, told later ---------------------------------------------------------------------------------------

_P = ParamSpec("_P")
_SPEAKERS: dict[str, Callable[..., str]] = {}
"""The functions that say something, by name. The names stand in what is kept: one that goes is no longer understood."""
_FILLED = "with"
_KINDS: Mapping[str, Callable[[str], object]] = {
    "date": date.fromisoformat,
    "datetime": datetime.fromisoformat,
    "time": time.fromisoformat,
    "decimal": Decimal,
    "fraction": Fraction,
}
"""Values that JSON has no form for, and how each is read."""


class Sentence(str):
    """What was said while `remembering`: its words, and what they were said from."""

    __slots__ = ("given", "speaker", "values")
    speaker: str
    """The name of the function that said it."""
    given: tuple[Any, ...]
    """Its arguments: texts, sentences, numbers, days, None, or rows of these as tuples."""
    values: Mapping[str, Any]
    """Its arguments by name."""

    def __new__(
        cls,
        words: str,
        speaker: str = "",
        given: tuple[Any, ...] = (),
        values: Mapping[str, Any] | None = None,
    ) -> "Sentence":
        """Put words and their origin together."""
        new = super().__new__(cls, words)
        new.speaker, new.given, new.values = speaker, given, values or {}
        return new


@contextmanager
def remembering() -> Iterator[None]:
    """For a while, whatever is said is a `Sentence`. What is cut from one or added to it elsewhere is mere text."""
    before = _REMEMBERING.set(True)
    try:
        yield
    finally:
        _REMEMBERING.reset(before)


def tell(text: str) -> str:
    """A sentence that was remembered, in the language that is spoken now; any other text as it is."""
    if not isinstance(text, Sentence):
        return text
    try:
        return _SPEAKERS[text.speaker](*_told(text.given), **{k: _told(v) for k, v in text.values.items()})
    except Exception:  # noqa: BLE001  # kept by another version, or changed by hand: a page is not lost for a sentence
        return str.__str__(text)


def write_sentence(text: str) -> Any:
    """A text as plain values for JSON: mere text as it is, a sentence as an object.

    The object holds the arguments by the name of the function, and under `with` those that have names.
    """
    return _written_out(text)


def read_sentence(kept: Any) -> str:
    """A text that was written. What cannot be told again is given as the English that stands in it."""
    found = _read(kept)
    return found if isinstance(found, str) else ""


def _speaks(speaker: Callable[_P, str]) -> Callable[_P, str]:
    """Let what a function says be remembered where that is wanted."""
    name, spoken_by = speaker.__name__, speaker

    @wraps(speaker)
    def said(*args: Any, **values: Any) -> str:
        if not _REMEMBERING.get():
            return spoken_by(*args, **values)
        given = tuple(_row(one) for one in args)
        words = spoken_by(*given, **values)  # type: ignore[arg-type]
        return Sentence(words, name, given, {key: _plain(value) for key, value in values.items()})

    _SPEAKERS[name] = said
    return said


def _row(value: object) -> object:
    """An argument as it is kept; what can be gone through once only is a tuple from then on."""
    if isinstance(value, Iterable) and not isinstance(value, str):
        return tuple(map(_plain, value))
    return _plain(value)


def _plain(value: object) -> object:
    """A value as it is kept: what is neither text, number nor day is its text."""
    match value:
        case Sentence() | None | bool() | date() | time() | Decimal() | Fraction():
            return value
        case str():
            return str.__str__(value)
        case Integral():
            return int(value)
        case Real():
            return float(value)
        case BaseException(args=(Sentence() as said,)):
            return said
    return str(value)


def _told(value: Any) -> Any:
    if isinstance(value, tuple):
        return tuple(map(_told, value))
    return tell(value) if isinstance(value, Sentence) else value


def _written_out(value: object) -> object:
    match value:
        case Sentence():
            named = {key: _written_out(one) for key, one in value.values.items()}
            given = [_written_out(one) for one in value.given]
            return {value.speaker: given} | ({_FILLED: named} if named else {})
        case str():
            return str.__str__(value)
        case tuple():
            return [_written_out(one) for one in value]
        case datetime() | date() | time():
            return {type(value).__name__.lower(): value.isoformat()}
        case Decimal() | Fraction():
            return {type(value).__name__.lower(): str(value)}
    return value


def _read(kept: Any) -> Any:
    if isinstance(kept, list):
        return tuple(map(_read, kept))
    if not isinstance(kept, dict):
        return kept
    named = kept.get(_FILLED)
    name = next((str(key) for key in kept if key != _FILLED), "")
    given = kept.get(name)
    if name in _KINDS:
        try:
            return _KINDS[name](str(given))
        except (TypeError, ValueError, ArithmeticError):
            return str(given)
    values = {str(key): _read(value) for key, value in named.items()} if isinstance(named, dict) else {}
    arguments = tuple(map(_read, given)) if isinstance(given, list) else ()
    english = next((one for one in arguments if isinstance(one, str)), "")
    found = Sentence(english, name, arguments, values)
    return Sentence(tell(found), name, arguments, values)


# --- saying it --------------------------------------------------------------------------------------------------


@_speaks
def say(text: str, /, **values: object) -> str:
    """A sentence in the language that is spoken, with its values filled in (as `str.format` does).

    A text that is handed no values may hold braces. Numbers are written with the language's own marks.
    """
    now = _SPOKEN.get()
    said = _catalogue(now.code).gettext(text) if text else text
    return _filled(now, said, values) if values else said


@_speaks
def meant(word: str, sense: str, /) -> str:
    """A word that other languages have several of, in the sense in which it is meant: ``meant("by", "a day")``."""
    return _catalogue(_SPOKEN.get().code).pgettext(sense, word)


@_speaks
def counted(n: int, one: str, many: str, /, **values: object) -> str:
    """A sentence about so many: ``counted(3, "{n} page", "{n} pages")``; both may hold further values."""
    now = _SPOKEN.get()
    return _filled(now, _catalogue(now.code).ngettext(one, many, n), {"n": n, **values})


def later(text: str) -> str:
    """A sentence in a table, which is said only when it is shown: ``say(TABLE[key])``. Gives it as it is."""
    return text


@_speaks
def plural(count: float, one: str, many: str = "") -> str:
    """A count and what is counted: 1 page, 2 pages, 2.5 points. Both nouns must be written out where this is called."""
    form = 1 if count == 1 else 2
    said = _catalogue(_SPOKEN.get().code).ngettext(f"{{n}} {one}", f"{{n}} {many or f'{one}s'}", form)
    return said.format(n=_marked(str(count) if isinstance(count, int) else f"{count:g}"))


@_speaks
def figure(text: str) -> str:
    """A number written in English, with the marks of the language that is spoken: 1,234.5."""
    return _marked(text)


def _marked(text: str) -> str:
    now = _SPOKEN.get()
    if now.decimal == ".":
        return text
    return text.translate({ord(","): now.thousands, ord("."): now.decimal})


class _Filler(Formatter):
    """Fills values in; numbers get the language's own marks."""

    def format_field(self, value: object, format_spec: str) -> str:
        text = format(value, format_spec)
        return _marked(text) if isinstance(value, _NUMBERS) and not isinstance(value, bool) else text


_FILLER = _Filler()


def _filled(now: Language, text: str, values: Mapping[str, object]) -> str:
    if now.decimal == "." or not any(isinstance(v, _NUMBERS) for v in values.values()):
        return text.format(**values)
    return _FILLER.vformat(text, (), values)


@lru_cache
def _catalogue(code: str) -> NullTranslations:
    """The sentences of a language; English needs none."""
    for folder in CATALOGUES:
        path = folder / LANGUAGES[code].tag.replace("-", "_") / "LC_MESSAGES" / f"{DOMAIN}.mo"
        if path.is_file():
            with path.open("rb") as file:
                return GNUTranslations(file)
    return NullTranslations()


# --- days -------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=8192)
def _written_once(day: date, pattern: str, code: str) -> str:
    # Loading it takes a tenth of what a command takes to start, and most write no day.
    from babel.dates import format_date

    return format_date(day, pattern, locale=code)


def _written(day: date, pattern: str) -> str:
    """Write a day by a CLDR pattern in the language that is spoken."""
    # Where a language has lands, the names of its days and months are those of the language.
    code = _SPOKEN.get().code.split("-")[0]
    return _written_once(day.date() if isinstance(day, datetime) else day, pattern, code)


@_speaks
def day_words(day: date) -> str:
    """Write a day as people say it: Tuesday 27 January 2026."""
    return _written(day, _SPOKEN.get().whole_day)


@_speaks
def date_words(day: date) -> str:
    """Write a day without its weekday: 27 January 2026."""
    return _written(day, _SPOKEN.get().day)


@_speaks
def day_short(day: date) -> str:
    """Write a day shortly, where its year is plain: Tue 27 Jan."""
    return _written(day, _SPOKEN.get().short_day)


@_speaks
def day_of_month(day: date) -> str:
    """Write a day whose year is plain: 27 January."""
    return _written(day, _SPOKEN.get().day_of_month)


@_speaks
def short_day_of_month(day: date) -> str:
    """Write a day shortly, where its weekday and its year are plain: 27 Jan."""
    return _written(day, _SPOKEN.get().short_day_of_month)


@_speaks
def short_date(day: date) -> str:
    """Write a day shortly, with its year: 27 Jan 2026."""
    return _written(day, _SPOKEN.get().short_date)


@_speaks
def month_words(day: date) -> str:
    """Write the month of a day: January 2026."""
    return _written(day, _SPOKEN.get().month)


@_speaks
def month_name(day: date) -> str:
    """Name the month of a day: January."""
    return _written(day, "LLLL")


@_speaks
def month_short(day: date) -> str:
    """Name the month of a day shortly: Jan."""
    return _written(day, "LLL")


@_speaks
def weekday(day: date) -> str:
    """Name the weekday of a day: Tuesday."""
    return _written(day, "EEEE")


@_speaks
def weekday_short(day: date) -> str:
    """Name the weekday of a day shortly: Tue."""
    return _written(day, "EEE")


@_speaks
def weekday_least(day: date) -> str:
    """Name the weekday of a day by its least sign, for the head of a narrow column: Tu."""
    return _written(day, "EEEEEE")


@_speaks
def span_words(first: date, last: date) -> str:
    """Two days: 3 November to 19 December 2025."""
    begins = day_of_month(first) if first.year == last.year else date_words(first)
    return say("{first} to {last}", first=begins, last=date_words(last))


# --- rows of names ----------------------------------------------------------------------------------------------


@_speaks
def and_words(names: Iterable[str]) -> str:
    """Write names in a row: Asa; Asa and Noa; Asa, Ilse and Noa."""
    *rest, last = names
    if not rest:
        return last
    if _SPOKEN.get().code == "es" and _sounds_like_i(last):
        return f"{', '.join(rest)} e {last}"  # Real Academia Española, Ortografía: y before the sound i is e
    return say("{names} and {last}", names=", ".join(rest), last=last)


@_speaks
def or_words(names: Iterable[str]) -> str:
    """Write names of which any will do: Asa; Asa or Noa; Asa, Ilse or Noa."""
    *rest, last = names
    if not rest:
        return last
    if _SPOKEN.get().code == "es" and last.lower().startswith(("o", "ó", "ho", "hó")):
        return f"{', '.join(rest)} u {last}"  # Real Academia Española, Ortografía: o before the sound o is u
    return say("{names} or {last}", names=", ".join(rest), last=last)


def _sounds_like_i(word: str) -> bool:
    plain = word.lower()
    return plain.startswith(("i", "í", "hi", "hí")) and not plain.startswith(
        ("ia", "ie", "io", "hia", "hie", "hio")
    )


@_speaks
def ordinal(place: int) -> str:
    """1st, 2nd, 3rd, 4th, 11th, 21st."""
    if _SPOKEN.get().code == "es":
        return f"{place}.º"
    ending = "th" if 10 <= place % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(place % 10, "th")
    return f"{place}{ending}"


@_speaks
def begun(text: str) -> str:
    """A text as a sentence begins with it: its first letter a capital."""
    return text[:1].upper() + text[1:]


@_speaks
def joined(sentences: Iterable[str], between: str = " ") -> str:
    """Sentences one after the other."""
    return between.join(sentences)
