"""A language of which every sentence is the English one between ⟦ and ⟧, so that what was never handed to it can be seen."""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from django.utils.translation import trans_real

from markstead import speech
from tests.tools.catalogue import in_sense, sentences

CODE = "en-xa"
"""The code that CLDR gives to such a language."""
OPEN, CLOSE = "⟦", "⟧"
PSEUDO = replace(speech.ENGLISH, code=CODE, name=f"{OPEN}Pseudo{CLOSE}")
_ID = re.compile(r"\b(?=\w*\d)\w{8,}\b")
_WORD = re.compile(r"[^\W\d_]{2,}")


def _marked(text: str) -> str:
    return f"{OPEN}{text}{CLOSE}"


def _catalogue() -> bytes:
    made = Catalog(locale="en", charset="utf-8")
    for key in sentences():
        sense, words = in_sense(key)
        made.add(
            words, _marked(words) if isinstance(words, str) else tuple(map(_marked, words)), context=sense
        )
    out = BytesIO()
    write_mo(out, made)
    return out.getvalue()


@contextmanager
def pseudo(folder: Path) -> Iterator[None]:
    """Let the pseudo-language be known, with its catalogue in a folder."""
    path = folder / "en_XA" / "LC_MESSAGES" / f"{speech.DOMAIN}.mo"
    path.parent.mkdir(parents=True)
    path.write_bytes(_catalogue())
    languages = speech.LANGUAGES
    assert isinstance(languages, dict)
    languages[CODE] = PSEUDO
    speech.CATALOGUES.insert(0, folder)
    _forget()
    written = speech._written

    def marked(day: date, pattern: str) -> str:
        text = written(day, pattern)
        return _marked(text) if speech.language().code == CODE else text

    speech._written = marked
    try:
        yield
    finally:
        speech._written = written
        del languages[CODE]
        speech.CATALOGUES.remove(folder)
        _forget()


def _forget() -> None:
    speech._catalogue.cache_clear()
    trans_real._translations.pop(CODE, None)


class _Reader(HTMLParser):
    """Collects the words of a page that stand outside every ⟦ ⟧; what is said inside the elements of `SILENT` is code."""

    SILENT = frozenset({"script", "style", "code", "kbd", "pre"})
    SAID = frozenset(
        {"aria-label", "title", "placeholder", "alt", "aria-roledescription", "data-says", "content"}
    )

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.depth = 0
        self.bare: list[str] = []
        self.silent: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if self.silent:
            self.silent += [tag] if tag == self.silent[0] else []
        elif tag in self.SILENT or ("lang" in given and tag != "html"):
            self.silent.append(tag)
        for name, value in given.items():
            button = (
                name == "value" and tag in {"button", "input"} and given.get("type") in {"submit", "button"}
            )
            if value and (button or (name in self.SAID and tag != "meta")):
                self._take(value, 0)

    def handle_endtag(self, tag: str) -> None:
        if self.silent and tag == self.silent[0]:
            self.silent.pop()

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.depth = self._take(data, self.depth)

    def _take(self, text: str, depth: int) -> int:
        bare = ""
        for sign in text:
            depth += (sign == OPEN) - (sign == CLOSE)
            bare += sign if depth == 0 and sign != CLOSE else "\0" if sign == OPEN else ""
        self.bare += [piece for piece in bare.split("\0") if piece.strip()]
        return depth


def unsaid(html: str, data: Iterable[str]) -> list[str]:
    """Pieces of a page with words that are neither said nor the home's own data."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    cut = [f"what is said is cut off somewhere ({reader.depth})"] if reader.depth else []
    return cut + [piece.strip() for piece in reader.bare if has_words(piece, data)]


def unsaid_text(text: str, data: Iterable[str]) -> list[str]:
    """The same of plain text."""
    reader = _Reader()
    depth = reader._take(text, 0)
    cut = [f"what is said is cut off somewhere ({depth})"] if depth else []
    return cut + [piece.strip() for piece in reader.bare if has_words(piece, data)]


def has_words(piece: str, data: Iterable[str]) -> bool:
    """Whether words are left when ids and the home's own words are taken out."""
    piece = _ID.sub(" ", piece)
    for own in sorted(data, key=len, reverse=True):
        piece = re.sub(rf"(?<!\w){re.escape(own)}(?!\w)", " ", piece, flags=re.IGNORECASE)
    return bool(_WORD.search(piece))
