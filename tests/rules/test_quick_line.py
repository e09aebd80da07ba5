"""The quick line: what is written reads back equal, any text is answered, and nothing is guessed."""

import random
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.ledger.facts import PRACTICE, Presence
from markstead.rules import quick_line as q
from markstead.rules.programme import Stop, Workbook
from markstead.rules.quick_line import (
    CorrectionsDone,
    Deed,
    HelpHad,
    HelpWanted,
    Marked,
    MarkedAgain,
    QuickLine,
    Scored,
    TalkHeld,
    WasThere,
    Worked,
    completions,
    parts_of,
    read,
    written,
)
from markstead.rules.quick_names import Book, Known, NotRead, Pupil
from markstead.speech import spoken

STOPS = (
    Stop("section", 1, "section-1", 1, 7, 12),
    Stop("check", 1, "check-1", 8, 8, 6),
    Stop("section", 2, "section-2", 9, 30, 10),
)


def workbook(code: str, title: str, course: str) -> Workbook:
    return Workbook(
        code, course, course[:-2], 5, 1, title, 30, STOPS, practice_questions=30, unit_questions=40
    )


def book(copy: str, learner: str, course: str, title: str, name: str) -> Book:
    code = f"{course}-03"
    return Book(copy, learner, code, course, f"{name} {course[-1]}", name, workbook(code, title, course))


KNOWN = Known(
    (Pupil("l1", "asa", "Asa"), Pupil("l2", "noa", "Noa"), Pupil("l3", "ilse", "Ilsé")),
    (
        book("c1", "l1", "maths-2", "Counting Boats", "Mathematics"),
        book("c2", "l1", "music-2", "First Tunes", "Music"),
        book("c3", "l2", "maths-5", "Wholes and Parts", "Mathematics"),
        book("c4", "l2", "reading-5", "Winds", "Reading"),
        book("c5", "l3", "science-9", "Light", "Natural Science"),
    ),
)


def line(text: str, known: Known = KNOWN) -> QuickLine:
    found = read(text, known)
    assert isinstance(found, QuickLine), str(found)
    return found


def told(text: str, known: Known = KNOWN) -> NotRead:
    found = read(text, known)
    assert isinstance(found, NotRead), found
    return found


@pytest.mark.parametrize(
    ("text", "learner", "copy", "deeds"),
    [
        ("asa maths 14-19 35 min wrong 3 7", "l1", "c1", (Worked(14, 19, 35), Marked((3, 7)))),
        ("noa reading 12 help", "l2", "c4", (HelpWanted(12),)),
        ("ilse science practice 27 of 30 wrong 4 9 22", "l3", "c5", (Scored("practice", 27, (4, 9, 22)),)),
        ("asa maths right", "l1", "c1", (Marked(()),)),
        ("asa maths re-mark right", "l1", "c1", (MarkedAgain(()),)),
        ("noa reading unit 24/40", "l2", "c4", (Scored("unit", 24, None),)),
        ("asa sick", "l1", None, (WasThere(Presence.ABSENT),)),
        ("asa half day", "l1", None, (WasThere(Presence.HALF),)),
        ("ASA Mus pp14–19 35m x3,7", "l1", "c2", (Worked(14, 19, 35), Marked((3, 7)))),
        ("winds p 14 - 19, 35min", "l2", "c4", (Worked(14, 19, 35),)),
        ("winds 14 to 19 in 35 minutes", "l2", "c4", (Worked(14, 19, 35),)),
        ("ilse page 4", "l3", "c5", (Worked(4, 4),)),
        ("ilse wrong 3 and 7 re-mark all right", "l3", "c5", (Marked((3, 7)), MarkedAgain(()))),
        ("ilse check 1 wrong 2", "l3", "c5", (Marked((2,), "check-1"),)),
        ("ilse section-2 x 2-4", "l3", "c5", (Marked((2, 3, 4), "section-2"),)),
        ("ilse helped 10 min", "l3", "c5", (HelpHad(10),)),
        ("ilse talk 1-7", "l3", "c5", (TalkHeld(), Worked(1, 7))),
        ("ilse corrected", "l3", "c5", (CorrectionsDone(),)),
        ("ilse practice re-mark right", "l3", "c5", (MarkedAgain((), PRACTICE),)),
        ("ilse 9-12 help 12", "l3", "c5", (HelpWanted(12), Worked(9, 12))),
        ('"Ilse" practice test right', "l3", "c5", (Scored("practice", None, ()),)),
    ],
)
def test_a_line_is_read_as_it_is_meant(
    text: str, learner: str, copy: str | None, deeds: tuple[Deed, ...]
) -> None:
    found = line(text)
    assert (found.learner, found.copy) == (learner, copy)
    assert set(found.deeds) == set(deeds)
    assert len(found.deeds) == len(deeds)


@pytest.mark.parametrize(
    ("text", "word", "place", "says"),
    [
        ("asa mahts 14-19", "mahts", 5, "names nobody and no workbook"),
        ("asa reading 14-19", "reading", 5, "Mathematics 2, Music 2 (of Asa)"),
        ("ma 14-19", "ma", 1, "could be said of several"),
        ("asa m 14-19", "m", 5, "Asa has 2 workbooks that could be meant"),
        ("14-19 35 min", "", 13, "whose it is, is not said"),
        ("asa 14-19", "asa", 1, "a course in hand: Mathematics 2, Music 2"),
        ("asa maths", "", 10, "it is not said what was done"),
        ("asa maths 19-14", "19-14", 11, "runs backwards"),
        ("asa maths 14-31", "14-31", 11, "a page from 1 to 30"),
        ("asa maths 0-3", "0-3", 11, "a page from 1 to 30"),
        ("asa maths 14-19 20-25", "20-25", 17, "pages once more"),
        ("asa maths 35 min", "35", 11, "minutes of nothing"),
        ("asa maths wrong 3 7 14-19 35 min", "35", 27, "after 'wrong' every number is a question"),
        ("asa maths wrong", "wrong", 11, "has no numbers after it"),
        ("asa maths wrong foo", "foo", 17, "the numbers of the wrong questions"),
        ("asa maths wrong right", "right", 17, "the numbers of the wrong questions"),
        ("asa maths right wrong 3", "wrong", 17, "a second result"),
        ("asa maths 14 35 min help", "14", 11, "the page worked or the page of the help"),
        ("asa maths 14-19 helped 10 min", "10", 24, "two lines"),
        ("asa maths practice 27", "27", 20, "right answers or a page"),
        ("asa maths practice 27 of 29", "27", 20, "a score of 30"),
        ("asa maths practice 27 of 30 wrong 4 9", "27", 20, "does not go with 2 wrong"),
        ("asa maths practice 31 of 30", "31", 20, "more than there are questions"),
        ("asa maths practice", "practice", 11, "has no score"),
        ("asa maths 27 of 30", "27", 11, "of which test is not said"),
        ("asa maths unit 24/40 re-mark right", "unit", 11, "never corrected"),
        ("asa maths practice right unit right", "unit", 26, "one test in a line"),
        ("asa maths check 2 right", "check", 11, "one of section 1, check 1, section 2"),
        ("asa maths check 1 wrong 7", "wrong", 19, "numbers from 1 to 6; pages are written p7"),
        ("asa maths section 1", "section", 11, "what was done there"),
        ("asa maths re-mark", "re-mark", 11, "does not say how it went"),
        ("asa maths help help", "help", 16, "is said twice"),
        ("asa maths sick", "maths", 5, "said of a learner alone"),
        ("asa maths 14-19 sick", "sick", 17, "absent alone"),
        ("asa half day full day", "full", 14, "a second word for the day"),
        ("asa maths 14-19 99999 min", "99999", 17, "no number that can stand here"),
        ("", "", 1, "nothing is written"),
        ("x" * 401, "", 401, "too long"),
    ],
)
def test_what_is_not_understood_is_named_with_its_place_and_what_may_stand_there(
    text: str, word: str, place: int, says: str
) -> None:
    found = told(text)
    assert (found.word, found.place) == (word, place), str(found)
    assert says in str(found)
    assert f"letter {place}" in str(found)


def test_what_could_mean_several_things_is_told_with_all_of_them() -> None:
    found = told("ma 14-19")
    assert found.choices == (
        "Asa: Mathematics 2, Counting Boats",
        "Noa: Mathematics 5, Wholes and Parts",
    )
    assert told("asa m 14-19").choices == ("Asa: Mathematics 2, Counting Boats", "Asa: Music 2, First Tunes")


def test_a_whole_name_is_meant_before_the_beginning_of_another() -> None:
    both = Known(
        (Pupil("l1", "ann", "Ann"), Pupil("l2", "anna", "Anna")),
        (book("c1", "l1", "maths-2", "A", "Mathematics"), book("c2", "l2", "maths-2", "A", "Mathematics")),
    )
    assert line("ann 3-4", both).learner == "l1"
    assert told("an 3-4", both).word == "an"


def test_a_page_of_one_copy_needs_no_names() -> None:
    assert line("14-19", KNOWN.only("l1", "c2")).copy == "c2"
    assert line("sick", KNOWN.only("l1")).learner == "l1"
    assert told("noa 14-19", KNOWN.only("l1", "c2")).word == "noa"
    assert told("14-19", KNOWN.only("l1")).allowed == "a course in hand: Mathematics 2, Music 2"


def test_a_house_in_which_nothing_is_in_hand_says_so() -> None:
    empty = Known(KNOWN.pupils, ())
    assert "has no workbook in hand" in str(told("asa 14-19", empty))
    assert line("asa ill", empty).deeds == (WasThere(Presence.ABSENT),)
    assert isinstance(read("14-19", Known((), ())), NotRead)


@pytest.mark.parametrize(
    ("text", "offered"),
    [
        ("", ("Asa", "Noa", "Ilsé")),
        ("a", ("Asa", "absent")),
        ("asa ", ("Mathematics 2", "Music 2")),
        ("asa mu", ("Music 2",)),
        ("asa maths 14-19 35 min wr", ("wrong",)),
        ("asa maths 14-19 re", ("re-mark",)),
    ],
)
def test_the_last_word_is_completed_by_what_could_stand_there(text: str, offered: tuple[str, ...]) -> None:
    found = completions(text, KNOWN)
    assert found[: len(offered)] == offered
    answer = read(text, KNOWN)
    assert not isinstance(answer, NotRead) or answer.candidates == found


SPANISH = [
    ("asa maths 14-19 35 minutos mal 3 y 7", "asa maths 14-19 35 min wrong 3 7"),
    ("asa maths páginas 14 a 19 bien", "asa maths pages 14 to 19 right"),
    ("ilse prueba de ensayo 27 de 30 mal 4 9 22", "ilse practice 27 of 30 wrong 4 9 22"),
    ("ilse ensayo recorregido bien", "ilse practice re-mark right"),
    ("ilse sección-2 mal 2-4", "ilse section-2 x 2-4"),
    ("ilse control1 mal 2", "ilse check 1 wrong 2"),
    ("noa reading unidad 24/40", "noa reading unit 24/40"),
    ("noa reading 12 ayuda", "noa reading 12 help"),
    ("ilse explicado 10 min", "ilse helped 10 min"),
    ("ilse charla pág. 1-7", "ilse talk p1-7"),
    ("ilse rehecho", "ilse corrected"),
    ("asa enferma", "asa sick"),
    ("asa medio día", "asa half day"),
]


@pytest.mark.parametrize(("spanish", "english"), SPANISH)
def test_a_page_in_spanish_reads_both_languages_and_one_in_english_its_own(
    spanish: str, english: str
) -> None:
    wanted = line(english)
    with spoken("es"):
        assert line(spanish) == line(english) == wanted
        assert line(written(wanted, KNOWN)) == wanted
    assert isinstance(read(spanish, KNOWN), NotRead)


def test_in_spanish_words_are_offered_in_spanish() -> None:
    with spoken("es"):
        assert completions("asa maths 14-19 re", KNOWN) == ("recorregido", "rehecho")
        assert "mal" not in completions("asa maths wrong 3 ", KNOWN)
        assert "medio día" in completions("asa ", KNOWN)
        assert "medio día" not in completions("asa medio ", KNOWN)


def test_who_is_called_like_a_word_of_another_language_is_named_in_quotes() -> None:
    known = Known((Pupil("l1", "bien", "Bien"), Pupil("l2", "noa", "Noa")), ())
    there = QuickLine("l1", None, (WasThere(Presence.HALF),))
    assert line("bien half", known) == there
    with spoken("es"):
        assert line(written(there, known), known) == there
        assert '"Bien"' in written(there, known)


# --- laws -------------------------------------------------------------------------------------------------

ODD_NAMES = [
    "Wright",
    "right",
    "x",
    "p3",
    "Ann Lee",
    "ann",
    "check-1",
    "Zoë",
    "ß",
    "and",
    "m",
    "12",
    '"',
    "  ",
    "Asa Ó",
]
names = st.sampled_from(ODD_NAMES) | st.text(min_size=1, max_size=12)


@st.composite
def houses(draw: st.DrawFn) -> Known:
    """A house with any names, also such as are words of the line."""
    pupils = [Pupil(f"id-{n}-learner", f"k{n}", draw(names)) for n in range(draw(st.integers(1, 3)))]
    books = []
    for n in range(draw(st.integers(1, 5))):
        owner = draw(st.sampled_from(pupils))
        course = draw(st.sampled_from(["maths-2", "music-2", "check-1", "x3-5"]))
        made = workbook(f"{course}-{n}", draw(names), course)
        books.append(Book(f"id-{n}-copy", owner.id, made.code, course, draw(names), draw(names), made))
    return Known(tuple(pupils), tuple(books))


WORDS = (
    "asa noa maths mus 14 14-19 p 35 min m wrong x right re-mark practice unit 27 of 30 27/30 help "
    'helped corrected section check 1 sick half day to - , " x3 p14 35min 99999 and'
)
wrong_ones = st.frozensets(st.integers(1, 6), max_size=4).map(lambda s: tuple(sorted(s)))


@st.composite
def lines(draw: st.DrawFn, known: Known) -> QuickLine:
    """A line that a person could have meant."""
    book = draw(st.sampled_from(known.books))
    if draw(st.integers(0, 9)) == 0:
        presence = draw(st.sampled_from(list(Presence)))
        return QuickLine(book.learner, None, (WasThere(presence),))
    test = draw(st.sampled_from([None, None, "practice", "unit"]))
    stop = draw(st.sampled_from([None, "section-1", "check-1"])) if test is None else None
    helped = draw(st.booleans())
    deeds: list[Deed] = [TalkHeld()] if draw(st.booleans()) else []
    works = draw(st.booleans())
    if works:
        first = draw(st.integers(1, 30))
        minutes = None if helped else draw(st.none() | st.integers(0, 1440))
        deeds.append(Worked(first, draw(st.integers(first, 30)), minutes))
    if draw(st.booleans()):
        deeds.append(HelpWanted(draw(st.none() | st.integers(1, 30))))
    if test is not None:
        asked = q.questions_of(book.workbook, test)
        wrong = draw(st.none() | wrong_ones)
        total = asked - len(wrong) if wrong is not None else draw(st.integers(0, asked))
        deeds.append(Scored(test, total if wrong is None or draw(st.booleans()) else None, wrong))
    elif draw(st.booleans()):
        deeds.append(Marked(draw(wrong_ones), stop))
    if helped:
        wants = any(isinstance(d, HelpWanted) and d.page is not None for d in deeds)
        deeds.append(HelpHad(None if works or wants else draw(st.none() | st.integers(0, 1440))))
    again = PRACTICE if test == "practice" else stop
    if test != "unit" and draw(st.booleans()):
        deeds.append(CorrectionsDone(again))
    if test != "unit" and draw(st.booleans()):
        deeds.append(MarkedAgain(draw(wrong_ones), again))
    if not any(isinstance(d, Marked | CorrectionsDone | MarkedAgain | Scored) for d in deeds):
        deeds = deeds or [TalkHeld()]
    if draw(st.integers(0, 4)) == 0:
        deeds.append(WasThere(draw(st.sampled_from([Presence.HALF, Presence.FULL]))))
    return QuickLine(book.learner, book.copy, tuple(deeds))


class TestLaws:
    @given(data=st.data(), known=houses())
    @settings(max_examples=300, deadline=None)
    def test_what_is_written_reads_back_equal(self, data: st.DataObject, known: Known) -> None:
        meant = data.draw(lines(known))
        assert read(written(meant, known), known) == meant

    @given(data=st.data(), known=houses(), seed=st.integers(0, 2**32))
    @settings(max_examples=300, deadline=None)
    def test_the_order_of_the_parts_does_not_matter(
        self, data: st.DataObject, known: Known, seed: int
    ) -> None:
        meant = data.draw(lines(known))
        parts = list(parts_of(meant, known))
        random.Random(seed).shuffle(parts)
        assert read(" ".join(parts), known) == meant

    @given(text=st.text(max_size=60), known=houses())
    @settings(max_examples=400, deadline=None)
    def test_any_text_at_all_is_answered(self, text: str, known: Known) -> None:
        found = read(text, known)
        assert isinstance(found, QuickLine) or str(found)
        assert isinstance(completions(text, known), tuple)

    @given(
        words=st.lists(
            st.sampled_from(WORDS.split(" ")),
            max_size=10,
        )
    )
    @settings(max_examples=800, deadline=None)
    def test_any_words_of_the_line_are_read_to_a_line_that_reads_back_or_to_a_word_that_stands_there(
        self, words: list[str]
    ) -> None:
        text = " ".join(words)
        found = read(text, KNOWN)
        if isinstance(found, QuickLine):
            assert read(written(found, KNOWN), KNOWN) == found
        else:
            assert 1 <= found.place <= len(text) + 1
            assert found.word == "" or re.sub(r"\W", "", found.word) in re.sub(r"\W", "", text)
            assert found.allowed
