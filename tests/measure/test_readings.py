"""From gathered marks to what a page says: readiness, spot check, pace and review of one learner."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import chain

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.ledger.facts import (
    PRACTICE,
    AnyFact,
    CopyIssued,
    CopyOrdered,
    FirstMarking,
    OralQuizHeld,
    PagesWorked,
    PracticeTestScored,
    SpotCheckHeld,
    UnitTestScored,
)
from markstead.ledger.serial import Entry
from markstead.measure.evidence import Book, books
from markstead.measure.marks import (
    CopyMarks,
    Looked,
    Marked,
    Spoken,
    UnitMark,
    marks_of,
    read_marks,
    write_marks,
)
from markstead.measure.readiness import Readiness, follow, predict, work_through
from markstead.measure.readings import (
    Costs,
    SpotReading,
    finished_state,
    history,
    quiz_candidates,
    quiz_prior,
    read_copies,
    read_courses,
    read_objectives,
    read_review,
    read_spot,
    state_now,
    subjects_of,
)
from markstead.rules.programme import Course, Workbook
from tests.rules.small_home import CALENDAR, PLANTS_1, PROGRAMME, at

COSTS = Costs()


# --- a learner's record -----------------------------------------------------------------------------------------


def one_working(copy: str, book: Workbook, dice: "Dice") -> Iterator[AnyFact]:
    """The facts of one copy, in an order in which a home writes them down."""
    yield CopyOrdered(copy, book.code, "asa")
    yield CopyIssued(copy, "asa")
    for stop in book.stops:
        yield PagesWorked(copy, dice.day, stop.first, stop.last, 20)
        yield FirstMarking(copy, stop.id, stop.questions, dice.wrong(stop.questions))
        if dice.yes():
            yield OralQuizHeld(copy, ((1, dice.yes()), (2, dice.yes())), stop.id)
        if dice.yes():
            yield SpotCheckHeld(copy, stop.id, ((1, dice.yes()),))
    wrong = dice.wrong(book.practice_questions)
    asked = book.practice_questions
    yield PracticeTestScored(copy, 1, asked - len(wrong), asked, asked - 1, wrong)
    right = book.unit_questions - len(dice.wrong(book.unit_questions))
    yield UnitTestScored(copy, right, book.unit_questions, book.unit_questions - 1)
    yield OralQuizHeld(copy, ((1, dice.yes()),), book.stops[0].id)


class Dice:
    """What is drawn for a record, and the day it has come to."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.draw, self.day = draw, date(2026, 2, 2)

    def yes(self) -> bool:
        return self.draw(st.booleans())

    def wrong(self, asked: int) -> tuple[int, ...]:
        return tuple(sorted(self.draw(st.sets(st.integers(1, asked), max_size=3))))


@st.composite
def years(draw: st.DrawFn) -> list[Entry]:
    """Two courses beside each other, in each one copy after the other, left off anywhere."""
    dice = Dice(draw)
    plants = draw(st.sampled_from([["P1"], ["P1", "P1"], ["P1", "P2"], ["P1", "P1", "P2"]]))
    roads = [
        chain(*(one_working(f"p{n}", PROGRAMME.workbook(code), dice) for n, code in enumerate(plants))),
        chain(*(one_working(f"s{n}", PROGRAMME.workbook("S1"), dice) for n in range(2))),
    ]
    entries: list[Entry] = []
    when = at(2)
    for seq in range(1, draw(st.integers(2, 40))):
        first, second = roads if dice.yes() else reversed(roads)
        fact = next(first, None) or next(second, None)
        if fact is None:
            break
        when += timedelta(hours=draw(st.integers(0, 30)))
        dice.day = CALENDAR.day_of(when)
        entries.append(Entry(seq, f"act-{seq}", when, when, "ruth", fact))
    return entries


def gathered(entries: Sequence[Entry]) -> list[CopyMarks]:
    names = sorted({getattr(entry.fact, "copy", "") for entry in entries})
    return [marks_of(name, [e for e in entries if getattr(e.fact, "copy", "") == name]) for name in names]


def in_hand(copies: Sequence[CopyMarks]) -> list[CopyMarks]:
    return [marks for marks in copies if marks.issued is not None and not marks.units]


def ready_for(copies: Sequence[CopyMarks], copy: str) -> Readiness:
    """Readiness by the filter alone, workbook by workbook in the order of time."""
    known = books(copies, PROGRAMME)
    state = follow([b.evidence for b in known if b.finished], subjects_of(PROGRAMME))
    for book in (b for b in known if not b.finished):
        state = work_through(state, book.evidence)
    own = next(b for b in known if b.copy == copy)
    workbook = PROGRAMME.workbook(own.evidence.workbook)
    needed = PROGRAMME.marks.unit_needed(workbook.unit_questions)
    return predict(state, workbook.subject, workbook.unit_questions, needed)


# --- readiness --------------------------------------------------------------------------------------------------


def marked(seq: int, stop: str, asked: int, *wrong: int, day: int = 2, hour: int = 9) -> Marked:
    return Marked(seq, at(day, hour, seq), stop, asked, asked - len(wrong), wrong)


def copy(name: str, workbook: str = "P1", *, day: int = 2, **rows: object) -> CopyMarks:
    return CopyMarks(name, workbook, "asa", issued=at(day, 8), **rows)  # type: ignore[arg-type]


FAILED = copy(
    "c1",
    marked=(marked(1, "section-1", 5, 1, 2), marked(2, "check-1", 4, 1, 2), marked(3, "section-2", 5, 1)),
    practice=(marked(4, PRACTICE, 10, 1, 2),),
    units=(UnitMark(5, at(4, 10), 6, 10, 8),),
)


@settings(deadline=None, max_examples=60)
@given(record=years())
def test_kept_states_and_workbooks_in_hand_give_what_the_whole_record_gives(record: list[Entry]) -> None:
    copies = gathered(record)
    past = finished_state([marks for marks in copies if marks.units], PROGRAMME)

    found = read_copies(past, in_hand(copies), PROGRAMME, COSTS)

    assert {c: r.readiness for c, r in found.items()} == {c: ready_for(copies, c) for c in found}
    assert set(found) == {marks.copy for marks in in_hand(copies)}


@settings(deadline=None, max_examples=60)
@given(record=years())
def test_the_history_of_readiness_is_what_was_read_after_each_days_marks(record: list[Entry]) -> None:
    """Every point, worked out anew from the facts that were on the record then."""
    for marks in in_hand(gathered(record)):
        for point in history(gathered(record), marks.copy, PROGRAMME, CALENDAR):
            own = [row for row in (*marks.marked, *marks.practice) if row.at == point.at]
            until = max(row.seq for row in own)
            then = gathered([entry for entry in record if entry.seq <= until])

            assert point.readiness == ready_for(then, marks.copy)


@settings(deadline=None, max_examples=40)
@given(record=years())
def test_readings_from_rows_kept_as_text_are_those_from_the_facts(record: list[Entry]) -> None:
    copies = [marks for marks in gathered(record) if write_marks(marks)]
    again = [read_marks(m.copy, m.workbook, m.learner, write_marks(m)) for m in copies]

    def everything(marks: list[CopyMarks]) -> tuple[object, ...]:
        past = finished_state([m for m in marks if m.units], PROGRAMME)
        today = date(2026, 3, 12)
        return (
            read_copies(past, in_hand(marks), PROGRAMME, COSTS),
            read_spot(marks, CALENDAR, "asa", str.encode),
            read_courses(marks, ["plants", "stars"], PROGRAMME, CALENDAR, "asa", today),
            read_review(marks, PROGRAMME, CALENDAR, today, 10, np.random.default_rng(3)),
            [history(marks, m.copy, PROGRAMME, CALENDAR) for m in in_hand(marks)],
        )

    assert everything(again) == everything(copies)


def test_what_was_learnt_in_a_failed_copy_is_kept_for_the_next_one() -> None:
    """A further working begins where the last one left off: it is surer than a new workbook would be."""
    past = finished_state([FAILED], PROGRAMME)

    again = read_copies(past, [copy("c2", day=5)], PROGRAMME, COSTS)["c2"]
    new = read_copies(past, [copy("c2", "P2", day=5)], PROGRAMME, COSTS)["c2"]

    assert (
        again.book.evidence.again is False
    )  # of these copies alone it is the first: the past says otherwise
    assert again.readiness.spread < new.readiness.spread
    assert again.readiness == ready_for([FAILED, copy("c2", day=5)], "c2")


def test_two_workbooks_of_one_subject_in_hand_keep_their_own_marks() -> None:
    """A learner may take two courses of one subject: a weak workbook must not be read off a strong one."""
    other = Course(
        "plants-2", "Plants", "Plants, level 2", 2, (replace(PLANTS_1, code="Q1", course="plants-2"),)
    )
    programme = replace(PROGRAMME, courses={**PROGRAMME.courses, "plants-2": other})
    weak = copy("c1", "P1", marked=(marked(1, "section-1", 5, 1, 2, 3, 4),))
    strong = copy("c2", "Q1", day=3, marked=(marked(2, "section-1", 5),))

    found = read_copies(finished_state([], programme), [weak, strong], programme, COSTS)

    assert found["c1"].readiness.chance < found["c2"].readiness.chance


def test_before_a_practice_test_nothing_is_advised() -> None:
    found = read_copies(finished_state([], PROGRAMME), [copy("c1", marked=FAILED.marked)], PROGRAMME, COSTS)

    assert (found["c1"].advice, found["c1"].begun) == (None, True)


def test_what_a_home_pays_for_a_failed_test_moves_the_advice() -> None:
    marks = replace(FAILED, units=())
    past = finished_state([], PROGRAMME)

    dear, cheap = (
        read_copies(past, [marks], PROGRAMME, Costs(failed_test=days))["c1"].advice for days in (40, 0.1)
    )

    assert dear is not None
    assert cheap is not None
    assert (str(dear.advice), str(cheap.advice)) == ("hold", "sit")


def test_a_day_has_one_point_named_after_its_latest_mark() -> None:
    rows = (marked(1, "section-1", 5), marked(2, "check-1", 4), marked(3, "section-2", 5, day=3))

    points = history([copy("c1", marked=rows)], "c1", PROGRAMME, CALENDAR)

    assert [point.what for point in points] == ["check 1", "section 2"]


def test_a_copy_that_is_not_among_the_marks_has_no_history() -> None:
    assert history([FAILED], "c9", PROGRAMME, CALENDAR) == ()


def test_a_copy_worked_again_is_read_on_from_its_first_unit_test() -> None:
    again = replace(FAILED, practice=(*FAILED.practice, marked(6, PRACTICE, 10, day=5)))

    points = history([again], "c1", PROGRAMME, CALENDAR)

    assert points[-1].readiness == ready_in_hand(again)


def ready_in_hand(marks: CopyMarks) -> Readiness:
    found = read_copies(finished_state([marks], PROGRAMME), [marks], PROGRAMME, COSTS)
    return found[marks.copy].readiness


# --- spot check -------------------------------------------------------------------------------------------------

SECTION = Marked(1, at(2, 9), "section-1", 20, 20)


def spotted(
    *looked: tuple[tuple[int, bool], ...], seed: bytes = b"a", rows: Sequence[Marked] = (SECTION,)
) -> SpotReading:
    checks = tuple(Looked(20 + n, at(2, 11), "section-1", answers) for n, answers in enumerate(looked))
    marks = copy("c1", marked=tuple(rows), looked=checks)
    return read_spot([marks], CALENDAR, "asa", lambda what: seed + what.encode())


def drawn(reading: SpotReading, slips: int = 0) -> tuple[tuple[int, bool], ...]:
    """The ticks that are drawn, the first ones of them slips."""
    return tuple((tick.question, n >= slips) for n, tick in enumerate(reading.ticks))


def test_of_twenty_first_ticks_nine_are_looked_at() -> None:
    """Beta-binomial prior of one slip in twenty, worth twelve ticks: P(at least 2 slips, none of 9 shown) <= .05.

    By hand: SciPy's betabinom(20, .6, 11.4) and hypergeom(20, slips, 9) give .0437 at 9 and .0548 at 8.
    """
    reading = spotted()

    assert (len(reading.ticks), reading.look) == (9, 9)


def test_asked_again_the_same_ticks_are_drawn_in_the_same_order() -> None:
    assert spotted().ticks == spotted().ticks


def test_another_secret_draws_other_ticks() -> None:
    assert spotted(seed=b"a").ticks != spotted(seed=b"b").ticks


def test_a_check_without_a_slip_is_done() -> None:
    reading = spotted(drawn(spotted()))

    assert (reading.ticks, reading.sentence) == ((), "The spot check is done: nothing more to mark again.")


def test_two_slips_ask_for_more_ticks_that_were_not_looked_at() -> None:
    first = spotted()

    reading = spotted(drawn(first, slips=2))

    assert len(reading.ticks) > 0
    assert not set(reading.ticks) & set(first.ticks)
    assert reading.sentence.startswith("2 ticks were slips: mark ")


def test_what_was_looked_at_half_way_goes_on_in_the_same_draw() -> None:
    first = spotted()

    reading = spotted(drawn(first)[:4])

    assert reading.ticks == first.ticks[4:]


def test_a_check_held_twice_counts_each_tick_once() -> None:
    """Sent from two screens, or held once more by hand: a tick looked at again is still one tick."""
    rows = (Marked(1, at(2, 9), "section-1", 2, 2),)
    both = ((1, True), (2, True))

    assert spotted(both, both, rows=rows).ticks == ()


def test_an_answer_that_was_not_ticked_is_no_tick_to_look_at() -> None:
    rows = (Marked(1, at(2, 9), "section-1", 3, 1, (2, 3)),)

    reading = spotted(rows=rows)

    assert [tick.question for tick in reading.ticks] == [1]


def test_nothing_marked_wants_no_check() -> None:
    reading = read_spot([], CALENDAR, "asa", str.encode)

    assert (reading.batch, reading.ticks) == (None, ())
    assert reading.sentence == "Nothing was marked that wants a spot check."


def test_a_slip_of_this_morning_is_not_forgotten_by_the_afternoons_batch() -> None:
    """The second batch of a day is looked at in the light of the first."""
    later = Marked(30, at(2, 12), "section-2", 20, 20)

    clean = spotted(tuple((n, True) for n in range(1, 10)), rows=(SECTION, later))
    slipped = spotted(tuple((n, n > 2) for n in range(1, 10)), rows=(SECTION, later))

    assert {tick.stop for tick in slipped.ticks} == {"section-2"}
    assert len(slipped.ticks) > len(clean.ticks)


# --- oral quiz --------------------------------------------------------------------------------------------------


def test_a_quiz_over_the_workbook_asks_of_marked_stops_only() -> None:
    marks = copy("c1", marked=(marked(1, "section-1", 5, 2),))

    found = quiz_candidates(marks, PLANTS_1, None, CALENDAR.day_of)

    assert [(c.stop, c.question) for c in found] == [("section-1", n) for n in range(1, 6)]
    assert [c.question for c in found if c.wrong_at_first] == [2]


def test_a_quiz_on_the_practice_test_asks_its_questions() -> None:
    marks = copy("c1", practice=(marked(1, PRACTICE, 10, 1), marked(2, PRACTICE, 10, 4)))

    found = quiz_candidates(marks, PLANTS_1, PRACTICE, CALENDAR.day_of)

    assert [(c.stop, c.question) for c in found] == [(PRACTICE, n) for n in range(1, 11)]
    assert [c.question for c in found if c.wrong_at_first] == [4]  # of the latest attempt


def test_a_question_remembers_the_day_on_which_it_was_last_asked() -> None:
    spoken = tuple(Spoken(n, at(day), "section-1", 3, True) for n, day in ((2, 2), (3, 4)))
    marks = copy("c1", marked=(marked(1, "section-1", 5),), spoken=spoken)

    found = quiz_candidates(marks, PLANTS_1, "section-1", CALENDAR.day_of)

    assert {c.question: c.last_asked for c in found}[3] == date(2026, 2, 4)


@pytest.mark.parametrize("stop", ["section-1", PRACTICE, None])
def test_a_quiz_starts_lower_where_more_was_wrong(stop: str | None) -> None:
    good = copy("c1", marked=(marked(1, "section-1", 5),))
    bad = copy("c1", marked=(marked(1, "section-1", 5, 1, 2, 3, 4),))

    priors = []
    for marks in (good, bad):
        state = state_now(finished_state([], PROGRAMME), books([marks], PROGRAMME))
        priors.append(quiz_prior(state, marks, PROGRAMME, stop))

    assert 0 < priors[1] < priors[0] < 1


def test_objectives_come_in_the_order_of_the_pages_with_their_counts() -> None:
    marks = copy("c1", marked=(marked(1, "section-2", 5, 2),))
    state = state_now(finished_state([], PROGRAMME), books([marks], PROGRAMME))

    found = read_objectives(state, marks, PROGRAMME)

    assert [(r.name, asked, right) for r, asked, right in found] == [
        ("Seeds, section 1", 0, 0),
        ("Seeds, check 1", 0, 0),
        ("Seeds, section 2", 5, 4),
    ]


# --- pace and review --------------------------------------------------------------------------------------------


def test_a_course_reads_the_days_left_of_the_workbook_in_hand() -> None:
    facts = [
        CopyOrdered("c1", "P1", "asa"),
        CopyIssued("c1", "asa"),
        PagesWorked("c1", date(2026, 2, 2), 1, 2, 20),
        PagesWorked("c1", date(2026, 2, 3), 2, 3, 20),
    ]
    entries = [Entry(n, f"a{n}", at(2, 8 + n), at(2, 8 + n), "ruth", f) for n, f in enumerate(facts, 1)]

    (found,) = read_courses(
        gathered(entries), ["plants", "stars"], PROGRAMME, CALENDAR, "asa", date(2026, 2, 4)
    )

    assert (found.course, found.copy, found.pages_left) == ("plants", "c1", 2)
    assert found.finish is not None
    assert 1 <= found.finish.low90 <= found.finish.expected <= found.finish.high90


REVIEWED = copy("c1", marked=(marked(1, "section-1", 5),), units=(UnitMark(5, at(4), 10, 10, 8),))


def test_what_is_long_ago_is_gone_back_to_with_a_question_that_stands_in_the_workbook() -> None:
    rng = np.random.default_rng(1)

    found = read_review([REVIEWED], PROGRAMME, CALENDAR, date(2026, 6, 1), 5, rng)

    assert [item.objective for item in found.chosen.items] == ["Plants: Seeds, section 1"]
    code, stop, question = found.questions["Plants: Seeds, section 1"]
    assert (code, stop) == ("P1", "section-1")
    assert 1 <= question <= 5


def test_a_question_asked_yesterday_is_not_gone_back_to() -> None:
    """Four of five were asked yesterday: whatever the dice say, the fifth is asked."""
    asked = tuple(Spoken(9, at(10), "section-1", n, False) for n in range(1, 5))
    marks = replace(REVIEWED, spoken=asked)

    found = {
        read_review([marks], PROGRAMME, CALENDAR, date(2026, 2, 11), 5, np.random.default_rng(n)).questions[
            "Plants: Seeds, section 1"
        ][2]
        for n in range(20)
    }

    assert found == {5}


def test_the_books_of_a_reading_say_what_it_rests_on() -> None:
    reading = read_copies(finished_state([], PROGRAMME), [copy("c1")], PROGRAMME, COSTS)["c1"]

    assert isinstance(reading.book, Book)
    assert reading.begun is False
