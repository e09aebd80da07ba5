"""Who and which workbook a quick line is about: names by any beginning that can mean one thing only."""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from markstead.errors import Problem
from markstead.rules.programme import Workbook
from markstead.speech import say


@dataclass(frozen=True, slots=True)
class Pupil:
    """A learner, and what a line may call them."""

    id: str
    key: str
    name: str

    @property
    def names(self) -> tuple[str, ...]:
        return (self.name, self.key, self.id)


@dataclass(frozen=True, slots=True)
class Book:
    """A copy in a learner's hands, and what a line may call it."""

    copy: str
    learner: str
    label: str
    course: str
    """Id of the course."""
    title: str
    """Title of the course."""
    subject: str
    workbook: Workbook

    @property
    def names(self) -> tuple[str, ...]:
        book = self.workbook
        return (self.title, self.course, self.subject, book.title, self.label, book.code, self.copy)


@dataclass(frozen=True, slots=True)
class Known:
    """Whom and what a line may be about. A page of one learner or copy knows that one alone."""

    pupils: tuple[Pupil, ...]
    books: tuple[Book, ...]

    def of(self, learner: str) -> tuple[Book, ...]:
        """What a learner has in hand."""
        return tuple(book for book in self.books if book.learner == learner)

    def only(self, learner: str, copy: str | None = None) -> "Known":
        """The same, for a page whose learner, or copy, is settled."""
        return Known(
            tuple(p for p in self.pupils if p.id == learner),
            tuple(b for b in self.books if b.learner == learner and copy in (None, b.copy)),
        )


@dataclass(frozen=True, slots=True)
class Chunk:
    """A word as it stands in the line."""

    text: str
    start: int
    number: int
    quoted: bool = False

    @property
    def folded(self) -> str:
        return fold(self.text)


@dataclass(frozen=True, slots=True)
class NotRead:
    """The line, or a word of it, is not understood; nothing is proposed."""

    word: str
    """As it stands there; empty: something is missing at this place."""
    number: int
    """Which word it is, counted from 1."""
    place: int
    """The letter of the line at which it begins, counted from 1."""
    says: str
    allowed: str
    choices: tuple[str, ...] = ()
    """What the word could mean, where it could mean several things."""
    candidates: tuple[str, ...] = ()
    """Words with which the last word of the line could be completed."""

    @property
    def problem(self) -> Problem:
        found = f"{self.word!r}: {self.says}" if self.word else self.says
        where = say("quick line, word {number} (letter {place})", number=self.number, place=self.place)
        return Problem(where, found, self.allowed)

    def __str__(self) -> str:
        return str(self.problem)


class Unread(Exception):  # noqa: N818  # never leaves the reader, which turns it into its answer
    """Carries what is not understood out of the middle of a line."""

    def __init__(self, answer: NotRead) -> None:
        self.answer = answer
        super().__init__(str(answer))


def unread(chunk: Chunk, says: str, allowed: str, choices: Sequence[str] = ()) -> Unread:
    """A word that is not understood."""
    return Unread(NotRead(chunk.text, chunk.number, chunk.start + 1, says, allowed, tuple(choices)))


def fold(text: str) -> str:
    """Case and accents do not count."""
    apart = unicodedata.normalize("NFKD", text)
    plain = "".join(c for c in apart if not unicodedata.combining(c)).casefold()
    return " ".join(re.sub("[–—−]", "-", plain).split())


def _fits(chunk: Chunk, names: Sequence[str], *, whole: bool) -> bool:
    wanted = chunk.folded
    if not wanted:
        return False
    for name in names:
        folded = fold(name)
        if folded == wanted:
            return True
        if not whole and any(w.startswith(wanted) for w in (folded, *folded.split())):
            return True
    return False


@dataclass(frozen=True, slots=True)
class _Meant:
    """What one word may name."""

    pupils: frozenset[str]
    copies: frozenset[str]


def _meant(chunk: Chunk, known: Known) -> _Meant:
    """A whole name before beginnings: who is called Ann can be named beside an Anna."""
    for whole in (True, False):
        if chunk.quoted and not whole:
            break
        found = _Meant(
            frozenset(p.id for p in known.pupils if _fits(chunk, p.names, whole=whole)),
            frozenset(b.copy for b in known.books if _fits(chunk, b.names, whole=whole)),
        )
        if found.pupils or found.copies:
            return found
    return _Meant(frozenset(), frozenset())


def names_word(chunk: Chunk, known: Known) -> bool:
    """Whether a word names anybody or anything at all."""
    found = _meant(chunk, known)
    return bool(found.pupils or found.copies)


def who_words(known: Known) -> str:
    """Whom a line may name, as the end of a sentence."""
    names = [pupil.name for pupil in known.pupils]
    if not names:
        return say("nobody: no learner is here")
    return say("the name of a learner: {names}", names=", ".join(names))


def books_words(books: Sequence[Book]) -> str:
    if not books:
        return say("nothing: no workbook is in hand")
    one = len({book.learner for book in books}) == 1
    courses = ", ".join(dict.fromkeys(b.title if one else b.subject for b in books))
    return say("a course in hand: {courses}", courses=courses)


Pair = tuple[Pupil, Book | None]


def _pairs(known: Known, meant: Sequence[_Meant], *, book: bool) -> list[Pair]:
    """Every learner, with a workbook where one is wanted, of whom each word can be said."""

    def fits(pupil: Pupil, held: Book | None) -> bool:
        return all(pupil.id in m.pupils or (held is not None and held.copy in m.copies) for m in meant)

    every = ((p, held) for p in known.pupils for held in (known.of(p.id) if book else (None,)))
    return [(pupil, held) for pupil, held in every if fits(pupil, held)]


def _pair_words(pair: Pair) -> str:
    pupil, book = pair
    return f"{pupil.name}: {book.title}, {book.workbook.title}" if book is not None else pupil.name


def the_pair(names: Sequence[Chunk], known: Known, end: Chunk, *, book: bool) -> Pair:
    """The one learner, and workbook, that all these words name together.

    Raises:
        Unread: nobody, or several, could be meant; the word is named.
    """
    meant: list[_Meant] = []
    for chunk in names:
        here = _meant(chunk, known)
        if not here.pupils and not here.copies:
            said = say("names nobody and no workbook in hand")
            raise unread(chunk, said, f"{who_words(known)}; {books_words(known.books)}")
        if not book and not here.pupils:
            raise unread(chunk, say("is said of a learner alone, not of a workbook"), who_words(known))
        if book and not here.copies and not any(known.of(pupil) for pupil in here.pupils):
            held = {held.learner for held in known.books}
            others = [pupil.name for pupil in known.pupils if pupil.id in held]
            allowed = say("nobody: none is issued to anybody")
            if others:
                allowed = say("who has one: {names}", names=", ".join(others))
            raise unread(chunk, say("has no workbook in hand"), allowed)
        meant.append(here)
        if not _pairs(known, meant, book=book):
            said = say("does not go with the words before it")
            raise unread(chunk, said, _allowed_after(known, meant[:-1], book))
    pairs = _pairs(known, meant, book=book)
    if len(pairs) == 1:
        return pairs[0]
    last = names[-1] if names else end
    if not pairs:
        raise unread(last, say("names nobody who has a workbook in hand"), books_words(known.books))
    pupils = list(dict.fromkeys(pupil for pupil, _ in pairs))
    if not names:
        said = say("whose it is, is not said")
        if len(pupils) == 1:
            raise unread(end, say("no workbook is named"), books_words(known.of(pupils[0].id)))
        raise unread(end, said, who_words(known), [p.name for p in pupils])
    choices = [_pair_words(pair) for pair in pairs]
    if len(pupils) == 1:
        said = say("{learner} has {n} workbooks that could be meant", learner=pupils[0].name, n=len(pairs))
        books = [b for _, b in pairs if b is not None]
        raise unread(last, said, say("one more word: {courses}", courses=books_words(books)), choices)
    raise unread(last, say("could be said of several"), say("one more word, or more letters of it"), choices)


def _allowed_after(known: Known, meant: Sequence[_Meant], book: bool) -> str:
    pairs = _pairs(known, meant, book=book)
    pupils = list(dict.fromkeys(pupil.name for pupil, _ in pairs))
    books = [b for _, b in pairs if b is not None]
    if not pairs:
        return who_words(known)
    if len(pupils) == 1 and book:
        return say("{courses} (of {learner})", courses=books_words(books), learner=pupils[0])
    return f"{', '.join(pupils)}; {books_words(books)}" if book else ", ".join(pupils)


def still_open(names: Sequence[Chunk], known: Known) -> tuple[str, ...]:
    """Names that may still be said beside these: learners while nobody is settled, then that one's courses."""
    meant = [_meant(chunk, known) for chunk in names]
    pairs = [*_pairs(known, meant, book=True), *_pairs(known, meant, book=False)]
    pupils = list(dict.fromkeys(pupil.id for pupil, _ in pairs))
    found: list[str] = []
    if len(pupils) > 1:
        found += [p.name for p in known.pupils if p.id in pupils]
    books = [b for _, b in pairs if b is not None]
    if len(books) > 1:
        found += [b.title for b in books]
    return tuple(dict.fromkeys(found))
