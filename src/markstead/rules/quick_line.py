"""The quick line: one line that says what was done, such as ``asa maths 14-19 35 min wrong 3 7``.

A line is a handful of parts in any order: names, pages, minutes, a marking, a score, help. It is read to a frozen
value, or to a message that names the word which is not understood. What could mean two things is told, not guessed.
The grammar is told to people in docs/reference/quick-line.md.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from markstead.ledger.facts import PRACTICE, Presence
from markstead.rules.programme import Workbook
from markstead.rules.quick_names import (
    Book,
    Chunk,
    Known,
    NotRead,
    Unread,
    books_words,
    fold,
    names_word,
    still_open,
    the_pair,
    unread,
    who_words,
)
from markstead.rules.ruling import page_words, ranges
from markstead.speech import language, later, say

MOST_LETTERS = 400
"""A line is a line; what is longer was pasted by mistake."""


@dataclass(frozen=True, slots=True)
class TalkHeld:
    """The opening talk was held."""


@dataclass(frozen=True, slots=True)
class Worked:
    """Pages were worked."""

    first: int
    last: int
    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class HelpWanted:
    """The learner asked for help."""

    page: int | None = None


@dataclass(frozen=True, slots=True)
class Marked:
    """A first marking; without a stop it is of the one that the copy has come to."""

    wrong: tuple[int, ...]
    stop: str | None = None


@dataclass(frozen=True, slots=True)
class Scored:
    """A test was marked: a total, the wrong numbers, or both."""

    test: str
    """practice or unit."""
    right: int | None
    wrong: tuple[int, ...] | None


@dataclass(frozen=True, slots=True)
class HelpHad:
    """Help was given."""

    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class CorrectionsDone:
    """The wrong answers of a stop were corrected."""

    stop: str | None = None


@dataclass(frozen=True, slots=True)
class MarkedAgain:
    """Corrected answers were marked again; these are still wrong."""

    wrong: tuple[int, ...]
    stop: str | None = None


@dataclass(frozen=True, slots=True)
class WasThere:
    """How much of the day the learner was at school."""

    presence: Presence


Deed = TalkHeld | Worked | HelpWanted | Marked | Scored | HelpHad | CorrectionsDone | MarkedAgain | WasThere


@dataclass(frozen=True, slots=True)
class QuickLine:
    """What a line says: of whom, of which copy, and what was done, in the order in which it is recorded."""

    learner: str
    copy: str | None
    """None: nothing in it is about a workbook."""
    deeds: tuple[Deed, ...]


# --- the words --------------------------------------------------------------------------------------------

_PAGE = ("p", "pp", "page", "pages")
_MINUTE = ("min", "m", "mins", "minute", "minutes")
_REMARK = ("re-mark", "remark", "re-marked", "remarked", "re-marking")
_PRESENCE = {
    "absent": Presence.ABSENT,
    "sick": Presence.ABSENT,
    "ill": Presence.ABSENT,
    "half": Presence.HALF,
    "full": Presence.FULL,
}
_FILLERS = ("and", "in", "at", "all", "test", "day", "&", "+", "-")
_OFFERED = (
    *("pages", "min", "wrong", "right", "re-mark", "corrected", "section", "check", "practice", "unit"),
    *("help", "helped", "talk", "absent", "half day", "full day"),
)
"""Words that completion offers; the others are shorter ways to say one of these."""
_ALSO: Mapping[str, Mapping[str, str]] = {
    "es": {
        **dict.fromkeys(("pag", "pags", "pagina", "paginas"), "pages"),
        **dict.fromkeys(("minuto", "minutos"), "min"),
        **dict.fromkeys(("mal", "fallo", "fallos"), "wrong"),
        "bien": "right",
        **dict.fromkeys(("recorregido", "recorregida", "recorregir"), "re-mark"),
        **dict.fromkeys(("rehecho", "rehechos"), "corrected"),
        "seccion": "section",
        "control": "check",
        "ensayo": "practice",
        "unidad": "unit",
        "ayuda": "help",
        **dict.fromkeys(("ayudado", "explicado"), "helped"),
        "charla": "talk",
        **dict.fromkeys(("ausente", "enfermo", "enferma"), "absent"),
        **dict.fromkeys(("medio", "media"), "half"),
        **dict.fromkeys(("entero", "entera"), "full"),
        **dict.fromkeys(("dia", "jornada"), "day"),
        "y": "and",
        "en": "in",
        **dict.fromkeys(("todo", "todas"), "all"),
        "prueba": "test",
        "de": "of",
        "a": "to",
    }
}
"""Words of the line in another language, folded, by what they are in English, which is always understood."""
_ALSO_OFFERED = {
    "es": (
        *(
            "páginas",
            "min",
            "mal",
            "bien",
            "recorregido",
            "rehecho",
            "sección",
            "control",
            "ensayo",
            "unidad",
        ),
        *("ayuda", "ayudado", "charla", "ausente", "medio día", "día entero"),
    )
}
_RUN = re.compile(r"([0-9]{1,4})(?:-([0-9]{1,4}))?")
_GLUED = (
    re.compile(r"(pages|page|pp|p)\.?([0-9].*)"),
    re.compile(r"(x)([0-9].*)"),
    re.compile(r"(section|check)-?([0-9].*)"),
)
"""A word of the line and a number, written together."""
_ALSO_GLUED = {
    "es": (
        re.compile(r"(paginas|pagina|pags|pag)\.?([0-9].*)"),
        re.compile(r"(seccion|control)-?([0-9].*)"),
    )
}
_WITH_UNIT = re.compile(r"([0-9]{1,4})(m|min|mins|minutes?)")
_SHARE = re.compile(r"([0-9]{1,4})/([0-9]{1,4})")
PARTS = later(
    "a name, pages such as 14-19, minutes such as 35 min, wrong 3 7, right, re-mark, practice 27 of 30, help"
)
A_RUN = later("a page such as 14, or a rising run such as 14-19")


def _also() -> Mapping[str, str]:
    return _ALSO.get(language().code, {})


def _english(word: str) -> str:
    """A folded word as the line has it in English; what is no word of the line stays."""
    return _also().get(word.rstrip("."), word)


def _offered() -> Sequence[str]:
    return _ALSO_OFFERED.get(language().code, _OFFERED)


def _glued() -> Sequence[re.Pattern[str]]:
    return (*_GLUED, *_ALSO_GLUED.get(language().code, ()))


def _first(words: str) -> str:
    """By which word it is known whether these were said: half day, medio día."""
    return next(w for w in map(_english, fold(words).split()) if w != "day")


def chunks_of(text: str) -> list[Chunk]:
    """The words of a line with their places; a name in quotes is one word."""
    found: list[Chunk] = []
    for match in re.finditer(r'"([^"]*)"?|[^\s,;"]+', text):
        quoted = match[0].startswith('"')
        inside = match[1] if quoted else match[0]
        if inside.strip():
            found.append(Chunk(inside.strip(), match.start(), len(found) + 1, quoted))
    return found


# --- from words to parts ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Numbers:
    """A number or run as it stands in the line."""

    first: int
    last: int
    chunk: Chunk
    run: bool
    marked: bool = False
    """A word for pages stands before it."""


@dataclass(frozen=True, slots=True)
class _Verdict:
    wrong: tuple[int, ...]
    chunk: Chunk
    of_remark: bool


@dataclass(slots=True)
class _Parts:
    """What the words of one line come to, before it is known how they go together."""

    names: list[Chunk] = field(default_factory=list)
    pages: list[_Numbers] = field(default_factory=list)
    minutes: list[tuple[int, Chunk]] = field(default_factory=list)
    verdicts: list[_Verdict] = field(default_factory=list)
    scores: list[tuple[int, int, Chunk]] = field(default_factory=list)
    stops: list[tuple[str, Chunk]] = field(default_factory=list)
    said: dict[str, Chunk] = field(default_factory=dict)
    """Single words, by what they mean: practice, unit, help, helped, corrected, talk, re-mark, and a presence."""


class _Reader:
    """Goes over the words of a line once, from left to right."""

    def __init__(self, chunks: Sequence[Chunk], known: Known) -> None:
        self.chunks, self.known, self.at = list(chunks), known, 0
        self.parts = _Parts()

    def read(self) -> _Parts:
        while self.at < len(self.chunks):
            self._part()
        return self.parts

    def _peek(self, ahead: int = 0) -> Chunk | None:
        place = self.at + ahead
        return self.chunks[place] if place < len(self.chunks) else None

    def _word(self, ahead: int = 0) -> str:
        """The folded word ahead, in English; empty where there is none, or where it is a name in quotes."""
        chunk = self._peek(ahead)
        return _english(chunk.folded) if chunk is not None and not chunk.quoted else ""

    def _unglue(self) -> None:
        """Part a word from the number that it is written together with: p14-19, x3, check-1."""
        word = self._word()
        for pattern in _glued():
            match = pattern.fullmatch(word)
            if match is not None and _is_numeric(match[2]):
                chunk = self.chunks[self.at]
                start = chunk.start + len(chunk.text) - len(match[2])
                self.chunks[self.at : self.at + 1] = [
                    replace(chunk, text=chunk.text[: -len(match[2])].rstrip("-.")),
                    replace(chunk, text=match[2], start=max(start, chunk.start)),
                ]
                return

    def _part(self) -> None:
        self._unglue()
        chunk, word = self.chunks[self.at], self._word()
        if chunk.quoted:
            self.parts.names.append(chunk)
            self.at += 1
        elif _is_numeric(word):
            self._number(marked=False)
        elif word in _PAGE and _is_numeric(self._word(1)):
            self.at += 1
            self._number(marked=True)
        elif word in ("wrong", "x"):
            self._wrong(of_remark=False)
        elif word == "right":
            self.at += 1
            self.parts.verdicts.append(_Verdict((), chunk, of_remark=False))
        elif word in _REMARK:
            self._remark(chunk)
        elif word in ("section", "check") and (number := self._word(1)).isdecimal() and number.isascii():
            if len(number) > 4:
                raise unread(
                    self.chunks[self.at + 1], say("is too high"), say("the number of a {word}", word=word)
                )
            self.at += 2
            self.parts.stops.append((f"{word}-{int(number)}", chunk))
        elif word in _MEANS:
            self._say(_MEANS[word], chunk)
        elif word in _FILLERS or (word == "of" and chunk.folded != "of"):  # prueba de ensayo
            self.at += 1
        else:
            self.parts.names.append(chunk)
            self.at += 1

    def _say(self, what: str, chunk: Chunk) -> None:
        if what in self.parts.said:
            raise unread(chunk, say("is said twice"), say("each part once"))
        self.parts.said[what] = chunk
        self.at += 1

    def _remark(self, chunk: Chunk) -> None:
        self._say("re-mark", chunk)
        while self._word() == "all":
            self.at += 1
        self._unglue_here()
        if self._word() in ("wrong", "x"):
            self._wrong(of_remark=True)
        elif self._word() == "right":
            self.parts.verdicts.append(_Verdict((), self.chunks[self.at], of_remark=True))
            self.at += 1

    def _unglue_here(self) -> None:
        if self.at < len(self.chunks):
            self._unglue()

    def _wrong(self, *, of_remark: bool) -> None:
        """The numbers after 'wrong', up to the first word that is none of them."""
        head = self.chunks[self.at]
        self.at += 1
        numbers: set[int] = set()
        while True:
            while self._word() in ("and", "&", "+") and _is_numeric(self._word(1)):
                self.at += 1
            if (
                not _is_numeric(self._word())
                or _SHARE.fullmatch(self._word())
                or _WITH_UNIT.fullmatch(self._word())
            ):
                break
            if self._word(1) in ("of", *_MINUTE):
                break
            found = self._run()
            if found.first == 0:
                raise unread(
                    found.chunk, say("is no question"), say("numbers from 1 on, such as 3 7 or 9-11")
                )
            numbers.update(range(found.first, found.last + 1))
        if not numbers:
            after = self._peek()
            if after is not None:
                said = say("stands where numbers are wanted")
                raise unread(after, said, say("the numbers of the wrong questions"))
            allowed = say("the numbers of the wrong questions, such as wrong 3 7")
            raise unread(head, say("has no numbers after it"), allowed)
        self.parts.verdicts.append(_Verdict(tuple(sorted(numbers)), head, of_remark))

    def _run(self) -> _Numbers:
        """A number, or a run of them, also with blanks or 'to' in it."""
        chunk = self.chunks[self.at]
        match = _RUN.fullmatch(self._word())
        if match is None:
            raise unread(chunk, say("is no number that can stand here"), say(A_RUN))
        first, last = int(match[1]), int(match[2] or match[1])
        self.at += 1
        run = match[2] is not None
        if (
            not run
            and self._word() in ("-", "to")
            and self._word(1).isdecimal()
            and _is_numeric(self._word(1))
        ):
            end = _RUN.fullmatch(self._word(1))
            if end is None:
                raise unread(self.chunks[self.at + 1], say("is too high"), say(A_RUN))
            last, run = int(end[1]), True
            self.at += 2
        if last < first:
            raise unread(chunk, say("runs backwards"), say(A_RUN))
        return _Numbers(first, last, chunk, run)

    def _number(self, *, marked: bool) -> None:
        """What a number is, is told by what follows it: a unit, 'of', or nothing."""
        chunk, word = self.chunks[self.at], self._word()
        share, timed = _SHARE.fullmatch(word), _WITH_UNIT.fullmatch(word)
        plain = _RUN.fullmatch(word)
        if share is not None and not marked:
            self.at += 1
            self.parts.scores.append((int(share[1]), int(share[2]), chunk))
        elif timed is not None and not marked:
            self.at += 1
            self.parts.minutes.append((int(timed[1]), chunk))
        elif plain is not None and plain[2] is None and not marked and self._word(1) in _MINUTE:
            self.at += 2
            self.parts.minutes.append((int(plain[1]), chunk))
        elif plain is not None and plain[2] is None and not marked and self._word(1) == "of":
            asked = _RUN.fullmatch(self._word(2))
            if asked is None or asked[2] is not None:
                missing = self._peek(2) or self.chunks[self.at + 1]
                said = say("stands where a number is wanted")
                raise unread(missing, said, say("how many questions there were"))
            self.at += 3
            self.parts.scores.append((int(plain[1]), int(asked[1]), chunk))
        else:
            self.parts.pages.append(replace(self._run(), marked=marked))


_MEANS = {
    "practice": "practice",
    "unit": "unit",
    "help": "help",
    "helped": "helped",
    "taught": "helped",
    "corrected": "corrected",
    "corrections": "corrected",
    "talk": "talk",
    **{word: word for word in _PRESENCE},
}


def _is_numeric(word: str) -> bool:
    """A word that begins with a digit and is no name: 14, 14-19, 27/30, 35min."""
    return bool(re.fullmatch(r"[0-9]+(?:[-/][0-9]+)*(?:m|min|mins|minutes?)?", word))


# --- from parts to what was done ---------------------------------------------------------------------------


def read(text: str, known: Known) -> QuickLine | NotRead:
    """Read a line; whatever it holds, the answer is a value or a message."""
    try:
        return _read(text, known)
    except Unread as stopped:
        return replace(stopped.answer, candidates=completions(text, known))


def _read(text: str, known: Known) -> QuickLine:
    chunks = chunks_of(text)
    end = Chunk("", len(text.rstrip()), len(chunks) + 1)
    if len(text) > MOST_LETTERS:
        allowed = say("a line of up to {most} letters", most=MOST_LETTERS)
        raise unread(Chunk("", MOST_LETTERS, 0), say("the line is too long"), allowed)
    if not chunks:
        allowed = say("{names}, then what was done: {parts}", names=who_words(known), parts=say(PARTS))
        raise unread(end, say("nothing is written"), allowed)
    parts = _Reader(chunks, known).read()
    for name in parts.names:  # a word that is nothing at all is named before what it leaves open
        if not names_word(name, known):
            said = say("is no word of the line, and names nobody and no workbook in hand")
            words = say("or a word such as wrong, right, help")
            raise unread(name, said, f"{who_words(known)}; {books_words(known.books)}; {words}")
    deeds = _deeds(parts, end)
    book = any(not isinstance(deed, WasThere) for deed in deeds)
    pupil, held = the_pair(parts.names, known, end, book=book)
    if held is not None:
        _check(parts, deeds, held)
    return QuickLine(pupil.id, held.copy if held is not None else None, deeds)


def _deeds(parts: _Parts, end: Chunk) -> tuple[Deed, ...]:
    """How the parts go together."""
    said = parts.said
    for several in (parts.minutes, parts.scores, parts.stops):
        if len(several) > 1:
            allowed = say("one of them in a line; write a second line")
            raise unread(several[1][-1], say("is a second one"), allowed)
    if "practice" in said and "unit" in said:
        raise unread(said["unit"], say("stands beside {word}", word="practice"), say("one test in a line"))
    stop = _stop(parts)
    page, worked = _work(parts)
    test = "practice" if "practice" in said else "unit" if "unit" in said else None
    remark, verdict = _verdicts(parts)
    found: list[Deed] = []
    if "talk" in said:
        found.append(TalkHeld())
    if worked is not None:
        found.append(worked)
    if "help" in said:
        found.append(HelpWanted(page))
    if verdict is not None and test is None:
        found.append(Marked(verdict.wrong, stop))
    scored = _score(parts, test, verdict, again=remark is not None or "corrected" in said)
    if scored is not None:
        found.append(scored)
    if "helped" in said:
        found.append(HelpHad(_help_minutes(parts)))
    again = PRACTICE if test == "practice" else stop
    if test == "unit" and (remark is not None or "corrected" in said):
        allowed = say("corrections of a section, a check or practice")
        raise unread(said["unit"], say("is never corrected"), allowed)
    if "corrected" in said:
        found.append(CorrectionsDone(again))
    if remark is not None:
        found.append(MarkedAgain(remark.wrong, again))
    found += _presence(parts, found)
    _needless(parts, found)
    if not found:
        last = parts.names[-1] if parts.names else end
        missing = say("after {word!r} it is not said what was done", word=last.text)
        raise unread(replace(end, text=""), missing, say(PARTS))
    return tuple(found)


def _stop(parts: _Parts) -> str | None:
    if not parts.stops:
        return None
    stop, chunk = parts.stops[0]
    for test in ("practice", "unit"):
        if test in parts.said:
            allowed = say("a section, a check or a test: one in a line")
            raise unread(chunk, say("stands beside {word}", word=test), allowed)
    return stop


def _work(parts: _Parts) -> tuple[int | None, Worked | None]:
    """The page of the help, and the pages worked."""
    runs = [p for p in parts.pages if p.run]
    singles = [p for p in parts.pages if not p.run]
    page: int | None = None
    if "help" in parts.said and singles:
        if not runs and parts.minutes:
            n = singles[0].first
            choices = (
                say("{typed} for the page worked", typed=f"{n}-{n}"),
                say("the minutes left out for help at page {number}", number=n),
            )
            said = say("may be the page worked or the page of the help")
            raise unread(singles[0].chunk, said, say("one of both"), choices)
        page = singles.pop(0).first
    left = [*runs, *singles]
    tests = [test for test in ("practice", "unit") if test in parts.said]
    bare = [p for p in left if not p.run and not p.marked]
    if tests and bare:
        n = bare[0].first
        choices = (
            say("{typed}, with the number of questions", typed=f"{n} of 30"),
            say("{typed} for a page", typed=f"p{n}"),
        )
        said = say("may be right answers or a page")
        raise unread(bare[0].chunk, said, say("which of both it is"), choices)
    if len(left) > 1:
        allowed = say("one run of pages in a line; write a second line")
        raise unread(left[1].chunk, say("are pages once more"), allowed)
    if not left:
        return page, None
    minutes = parts.minutes[0][0] if parts.minutes else None
    if minutes is not None and "helped" in parts.said:
        two = say("two lines, one for the pages and one for the help")
        raise unread(parts.minutes[0][1], say("may be the time of the pages or of the help"), two)
    return page, Worked(left[0].first, left[0].last, minutes)


def _help_minutes(parts: _Parts) -> int | None:
    return parts.minutes[0][0] if parts.minutes else None


def _verdicts(parts: _Parts) -> tuple[_Verdict | None, _Verdict | None]:
    """The verdict of the re-marking, and the other one."""
    bound = [v for v in parts.verdicts if v.of_remark]
    free = [v for v in parts.verdicts if not v.of_remark]
    if "re-mark" in parts.said and not bound:
        if len(free) != 1:
            said = say("does not say how it went") if not free else say("may go with either")
            raise unread(
                parts.said["re-mark"],
                said,
                say("re-mark right, or re-mark wrong 3 7"),
            )
        bound, free = free, []
    if len(free) > 1:
        allowed = say("right, or wrong with its numbers: one of both")
        raise unread(free[1].chunk, say("is a second result"), allowed)
    return (bound[0] if bound else None), (free[0] if free else None)


def _score(parts: _Parts, test: str | None, verdict: _Verdict | None, *, again: bool) -> Scored | None:
    if test is None:
        if parts.scores:
            allowed = say("practice or unit beside it; a marking is told by right, or wrong with its numbers")
            raise unread(parts.scores[0][2], say("is a score, but of which test is not said"), allowed)
        return None
    if not parts.scores and verdict is None:
        if again and test == "practice":
            return None
        allowed = say("a score such as 27 of 30, wrong with its numbers, or right")
        raise unread(parts.said[test], say("has no score"), allowed)
    right, asked, chunk = parts.scores[0] if parts.scores else (None, 0, None)
    if right is not None and chunk is not None and right > asked:
        allowed = say("0 to {asked} of {asked}", asked=asked)
        raise unread(chunk, say("is more than there are questions"), allowed)
    return Scored(test, right, verdict.wrong if verdict is not None else None)


def _presence(parts: _Parts, found: Sequence[Deed]) -> list[Deed]:
    words = [word for word in _PRESENCE if word in parts.said]
    if not words:
        return []
    chunks = sorted((parts.said[word] for word in words), key=lambda c: c.number)
    if len(words) > 1:
        allowed = say("one of {words}", words="absent, half day, full day")
        raise unread(chunks[1], say("is a second word for the day"), allowed)
    presence = _PRESENCE[words[0]]
    if presence is Presence.ABSENT and found:
        raise unread(chunks[0], say("stands beside work"), say("absent alone, or what was done"))
    return [WasThere(presence)]


def _needless(parts: _Parts, found: Sequence[Deed]) -> None:
    """Parts that go with nothing: told, so that nothing typed is passed over."""
    timed = any(isinstance(deed, Worked | HelpHad) for deed in found)
    if parts.minutes and not timed:
        chunk = parts.minutes[0][1]
        allowed = say("pages before them, such as p14-19; after 'wrong' every number is a question")
        raise unread(chunk, say("are minutes of nothing"), allowed)
    if parts.minutes and parts.minutes[0][0] > 1440:
        raise unread(parts.minutes[0][1], say("is longer than a day"), say("minutes from 0 to 1440"))
    marks = any(isinstance(deed, Marked | CorrectionsDone | MarkedAgain) for deed in found)
    if parts.stops and not marks:
        said, allowed = say("does not say what was done there"), say("right, wrong 3 7, corrected or re-mark")
        raise unread(parts.stops[0][1], said, allowed)


def _check(parts: _Parts, deeds: Sequence[Deed], book: Book) -> None:
    """What the workbook itself knows: its pages, its stops, the questions of its tests."""
    workbook = book.workbook
    for found in parts.pages:
        if found.last > workbook.pages or found.first < 1:
            allowed = say(
                "a page from 1 to {pages}, the last of {title}", pages=workbook.pages, title=workbook.title
            )
            raise unread(found.chunk, say("is no page of this workbook"), allowed)
    asked: int | None = None
    if parts.stops:
        stop, chunk = parts.stops[0]
        known = {s.id: s.questions for s in workbook.stops}
        if stop not in known:
            missing = say("{stop} is not in this workbook", stop=_typed(stop))
            allowed = say("one of {stops}", stops=", ".join(_typed(s.id) for s in workbook.stops))
            raise unread(chunk, missing, allowed, [])
        asked = known[stop]
    scored = next((deed for deed in deeds if isinstance(deed, Scored)), None)
    if scored is not None or "practice" in parts.said:
        asked = questions_of(workbook, "unit" if "unit" in parts.said else "practice")
    for right, of, chunk in parts.scores:
        if of != asked:
            allowed = say("a score of {asked}, the questions of that test", asked=asked)
            raise unread(chunk, say("has {n} questions", n=of), allowed)
        wrong = scored.wrong if scored is not None else None
        if wrong and right + len(wrong) != asked:
            said = say("does not go with {n} wrong", n=len(wrong))
            raise unread(chunk, said, say("together {asked}, the questions of the test", asked=asked))
        if wrong == () and right != asked:
            allowed = say("{asked} of {asked}, or the score alone", asked=asked)
            raise unread(chunk, say("does not go with all right"), allowed)
    for verdict in parts.verdicts:
        if asked is not None and verdict.wrong and verdict.wrong[-1] > asked:
            last = verdict.wrong[-1]
            allowed = say("numbers from 1 to {asked}; pages are written p{number}", asked=asked, number=last)
            raise unread(verdict.chunk, say("names question {number}", number=last), allowed)


def questions_of(workbook: Workbook, test: str) -> int:
    """How many questions a test of a workbook has."""
    return workbook.unit_questions if test == "unit" else workbook.practice_questions


# --- back to words ----------------------------------------------------------------------------------------


def parts_of(line: QuickLine, known: Known) -> tuple[str, ...]:
    """The parts that say a line, names first; in any order they are read as the same line."""
    found = list(_names_of(line, known))
    helps = any(isinstance(deed, HelpWanted) for deed in line.deeds)
    tests = any(isinstance(deed, Scored) for deed in line.deeds)
    stops: set[str] = set()
    for deed in line.deeds:
        found += _SAYS[type(deed)](deed, line, known, helps)
        stop = getattr(deed, "stop", None)
        if stop == PRACTICE and not tests:
            stops.add("practice")
        elif stop is not None and stop != PRACTICE:
            stops.add(_typed(stop))
    return (*found, *sorted(stops))


def written(line: QuickLine, known: Known) -> str:
    """The line in its plain form: read again it is equal."""
    return " ".join(parts_of(line, known))


def _typed(stop: str) -> str:
    """A stop as a line has it, in whatever language the page is: section 3."""
    return stop.replace("-", " ")


def _list(wrong: Sequence[int]) -> str:
    return "wrong " + ranges(tuple(wrong)).replace(",", "") if wrong else "right"


def _say_work(deed: Worked, _: QuickLine, __: Known, helps: bool) -> list[str]:
    run = f"p{deed.first}-{deed.last}" if deed.last > deed.first or helps else f"p{deed.first}"
    return [run, *([f"{deed.minutes} min"] if deed.minutes is not None else [])]


def _say_score(deed: Scored, line: QuickLine, known: Known, _: bool) -> list[str]:
    book = next(b for b in known.books if b.copy == line.copy)
    total = f"{deed.right} of {questions_of(book.workbook, deed.test)}" if deed.right is not None else ""
    wrong = _list(deed.wrong) if deed.wrong is not None else ""
    return [deed.test, *([total] if total else []), *([wrong] if wrong else [])]


_SAYS: dict[type, Callable[..., list[str]]] = {
    TalkHeld: lambda *_: ["talk"],
    Worked: _say_work,
    HelpWanted: lambda d, *_: [f"help p{d.page}" if d.page is not None else "help"],
    Marked: lambda d, *_: [_list(d.wrong)],
    Scored: _say_score,
    HelpHad: lambda d, *_: ["helped", *([f"{d.minutes} min"] if d.minutes is not None else [])],
    CorrectionsDone: lambda *_: ["corrected"],
    MarkedAgain: lambda d, *_: [f"re-mark {_list(d.wrong)}"],
    WasThere: lambda d, *_: ["absent" if d.presence is Presence.ABSENT else str(d.presence)],
}


def _spelt(name: str) -> str:
    """A name as it may stand in a line: in quotes where it could be read as something else."""
    word = fold(name)
    plain = re.fullmatch(r"[^\s,;\"0-9][^\s,;\"]*", name) and word not in _TRADE and word not in _also()
    glued = any(pattern.fullmatch(word) for pattern in _glued()) or _is_numeric(word)
    return name if plain and not glued else '"' + name.replace('"', "") + '"'


_TRADE = {
    *_PAGE, *_MINUTE, *_REMARK, *_FILLERS, *_MEANS, "wrong", "x", "right", "section", "check", "of", "to",
}  # fmt: skip


def _names_of(line: QuickLine, known: Known) -> tuple[str, ...]:
    """The shortest of a few ways to name the learner and the copy that names nobody else."""
    pupil = next(p for p in known.pupils if p.id == line.learner)
    held = next((b for b in known.books if b.copy == line.copy), None)
    ways = [(who, what) for what in _ways(held.names if held else ()) for who in _ways(pupil.names)]
    for who, what in ways:
        said = tuple(_spelt(name) for name in (who, what) if name)
        try:
            found = the_pair(chunks_of(" ".join(said)), known, Chunk("", 0, 0), book=held is not None)
        except Unread:
            continue
        if found == (pupil, held):
            return said
    return (_spelt(pupil.id), *((_spelt(held.copy),) if held else ()))


def _ways(names: Sequence[str]) -> Sequence[str]:
    return list(dict.fromkeys(names)) or [""]


def words_of(deed: Deed) -> str:
    """What a deed is, in a few words."""
    match deed:
        case Worked():
            return page_words(deed.first, deed.last)
        case Marked():
            return say("marking")
        case MarkedAgain():
            return say("re-marking")
        case Scored():
            return say("unit test") if deed.test == "unit" else say("practice test")
        case HelpWanted() | HelpHad():
            return say("help")
        case CorrectionsDone():
            return say("corrections")
        case TalkHeld():
            return say("opening talk")
        case WasThere():
            return say("attendance")


# --- completion -------------------------------------------------------------------------------------------


def completions(text: str, known: Known) -> tuple[str, ...]:
    """Words with which the last word of a line could go on; after a blank, those that could come next."""
    chunks = chunks_of(text)
    fresh = not text or text[-1] in " \t,;"
    last = None if fresh or not chunks else chunks[-1]
    before = chunks if last is None else chunks[:-1]
    try:
        parts = _Reader(before, known).read()
    except Unread:
        return ()
    names = [name for name in parts.names if names_word(name, known)]
    words = [
        *still_open(names, known),
        *(w for w in _offered() if _first(w) not in {_english(c.folded) for c in before}),
    ]
    if last is None:
        return tuple(words)
    begun = last.folded
    return tuple(
        w for w in words if any(p.startswith(begun) for p in (fold(w), *fold(w).split())) and fold(w) != begun
    )
