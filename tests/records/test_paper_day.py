"""A whole day from paper: one act, the same gates, and nothing lost of what is refused."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

import pytest

from markstead.errors import InputError
from markstead.ledger import facts as f
from markstead.ledger.facts import PRACTICE, Presence
from markstead.records import actions as a
from markstead.records import paper_day, upkeep
from markstead.records.desk import Slip
from markstead.records.paper_day import DayDone, PaperDay, Row, StopMarks
from markstead.rules.bars import BarKind as B
from markstead.rules.standing import Cycle
from tests.records.house import House, at, entries, standing

MONDAY = date(2026, 1, 12)
EVENING = at("2026-01-13 19:30")


def save(
    house: House,
    *rows: Row,
    day: date = MONDAY,
    there: dict[str, Presence] | None = None,
    now: datetime = EVENING,
    partly: bool = False,
    act: str | None = None,
    by: str = "ruth",
) -> DayDone:
    entry = PaperDay(day, time(8, 30), rows, {house.person(key): p for key, p in (there or {}).items()})
    slip = Slip(act=act, now=now)
    return paper_day.record_day(house.id, entry, by=house.person(by), now=now, slip=slip, partly=partly)


def wrote(done: DayDone) -> Sequence[f.AnyFact]:
    assert done.done is not None, done.refused
    return [entry.fact for entry in done.done.entries]


@pytest.fixture
def begun(house: House) -> str:
    """Asa's copy, begun before half past eight on Monday."""
    return house.bring("begun")


def test_pages_that_pass_a_marking_stop_are_parted_there_and_marked_in_order(
    house: House, begun: str
) -> None:
    first, second, *_ = house.home.programme.workbook("maths-5-01").stops
    done = save(
        house,
        Row(begun, 1, second.first + 1, 40, (StopMarks(first.id, (3, 7), ()), StopMarks(second.id))),
    )
    kinds = [type(fact) for fact in wrote(done)]
    assert kinds == [
        f.PagesWorked,
        f.LeaveGiven,
        f.FirstMarking,
        f.Corrected,
        f.LeaveGiven,
        f.ReMarked,
        f.PagesWorked,
    ]
    worked = [fact for fact in wrote(done) if isinstance(fact, f.PagesWorked)]
    assert [(w.first, w.last) for w in worked] == [(1, first.last), (second.first, second.first + 1)]
    assert sum(w.minutes or 0 for w in worked) == 40
    assert standing(begun).stop(first.id).cycle is Cycle.CLEARED


def test_a_past_day_is_dated_with_its_own_times_and_written_now(house: House, begun: str) -> None:
    before = len(entries())
    save(house, Row(begun, 1, 3, 25))
    (entry,) = entries()[before:]
    assert entry.at == at("2026-01-12 08:55")
    assert entry.written == EVENING
    assert entry.fact == f.PagesWorked(begun, MONDAY, 1, 3, 25)


def test_the_workbooks_of_a_learner_follow_one_another_and_never_pass_the_present(
    house: House, begun: str
) -> None:
    reading = house.bring("begun", workbook="reading-5-01")
    before = len(entries())
    now = at("2026-01-12 09:20")
    save(house, Row(begun, 1, 3, 30), Row(reading, 1, 2, 60), now=now)
    assert [entry.at for entry in entries()[before:]] == [at("2026-01-12 09:00"), now]


def test_it_is_all_one_act_and_undone_as_one(house: House, begun: str) -> None:
    other = house.bring("begun", learner="noa", workbook="maths-9-01")
    was = standing(begun), standing(other)
    stop = house.home.programme.workbook("maths-5-01").stops[0]
    done = save(
        house,
        Row(begun, 1, stop.last, 30, (StopMarks(stop.id, (1,), ()),), helps=2),
        Row(other, 1, 2),
        there={"asa": Presence.FULL},
    )
    assert done.done is not None
    act = done.done.act
    assert {entry.act for entry in entries()[-len(done.done.entries) :]} == {act}
    a.undo(house.id, act=act, by="ruth", at=EVENING)
    for before, copy in zip(was, (begun, other), strict=True):
        after = standing(copy)
        assert (after.pages, after.stops, after.minutes) == (before.pages, before.stops, before.minutes)
    assert upkeep.verify(house.id).holds


def test_a_refused_row_is_told_with_its_bars_and_nothing_is_saved(house: House, begun: str) -> None:
    other = house.bring("begun", learner="noa", workbook="maths-9-01")
    last = house.home.programme.workbook("maths-5-01").stops[1].last
    before = entries()
    done = save(house, Row(begun, 1, last), Row(other, 1, 2))
    assert done.done is None
    (refused,) = done.refused
    assert refused.where == begun
    assert refused.who.startswith("Asa, ")
    assert B.STOP_NOT_CLEARED in {bar.kind for bar in refused.bars}
    assert entries() == before


def test_what_can_be_saved_is_saved_where_it_is_said_so(house: House, begun: str) -> None:
    other = house.bring("begun", learner="noa", workbook="maths-9-01")
    last = house.home.programme.workbook("maths-5-01").stops[1].last
    done = save(house, Row(begun, 1, last), Row(other, 1, 2), partly=True)
    assert wrote(done) == [f.PagesWorked(other, MONDAY, 1, 2)]
    assert [refused.where for refused in done.refused] == [begun]
    assert standing(begun).pages == frozenset()


def test_where_nothing_can_be_saved_nothing_is(house: House, begun: str) -> None:
    before = entries()
    done = save(house, Row(begun, 1, 28), partly=True)
    assert done.done is None
    assert done.refused
    assert entries() == before


def test_the_same_day_sent_twice_is_written_once(house: House, begun: str) -> None:
    first = save(house, Row(begun, 1, 3), act="one-evening")
    before = entries()
    second = save(house, Row(begun, 1, 3), act="one-evening")
    assert second.done is not None
    assert second.done.again
    assert wrote(second) == wrote(first)
    assert entries() == before


def test_a_day_before_the_latest_fact_of_a_copy_is_refused_by_that_bar(house: House, begun: str) -> None:
    house.until("2026-01-13 09:00")
    house.do(a.work_pages, copy=begun, first=1, last=1)
    done = save(house, Row(begun, 2, 3))
    assert [bar.kind for bar in done.refused[0].bars] == [B.EARLIER_THAN_LAST]


def test_help_on_the_day_lifts_the_bar_of_many_wrong_answers(house: House, begun: str) -> None:
    stop = house.home.programme.workbook("maths-5-01").stops[0]
    many = tuple(range(1, stop.questions + 1))
    row = Row(begun, 1, stop.last, 30, (StopMarks(stop.id, many, ()),))
    assert [bar.kind for bar in save(house, row).refused[0].bars] == [B.QUIZ_FIRST]
    with_help = Row(begun, 1, stop.last, 30, (StopMarks(stop.id, many, ()),), helps=1)
    assert sum(isinstance(fact, f.HelpGiven) for fact in wrote(save(house, with_help))) == 1


def test_a_re_marking_of_the_day_before_is_taken_up(house: House) -> None:
    copy = house.bring("marked")
    done = save(house, Row(copy, stops=(StopMarks("section-1", None, ()),)))
    assert [type(fact) for fact in wrote(done)] == [f.Corrected, f.LeaveGiven, f.ReMarked]


def test_a_practice_test_is_opened_and_scored(house: House) -> None:
    copy = house.bring("stops cleared")
    done = save(house, Row(copy, practice_right=27, practice_wrong=(4, 9, 22)))
    assert wrote(done) == [
        f.PracticeTestOpened(copy, 1),
        f.PracticeTestScored(copy, 1, 27, 30, 24, (4, 9, 22)),
    ]
    assert standing(copy).stop(PRACTICE).cycle is Cycle.TO_CORRECT


def test_who_was_absent_did_not_work(house: House, begun: str) -> None:
    before = entries()
    done = save(house, Row(begun, 1, 2), there={"asa": Presence.ABSENT})
    assert {refused.where for refused in done.refused} == {begun, house.person("asa")}
    assert entries() == before
    alone = save(house, there={"asa": Presence.ABSENT})
    assert wrote(alone) == [f.AttendanceTaken(house.person("asa"), MONDAY, Presence.ABSENT)]


def test_a_helper_writes_work_but_gives_no_leave(house: House, begun: str) -> None:
    stop = house.home.programme.workbook("maths-5-01").stops[0]
    assert wrote(save(house, Row(begun, 1, 2), by="tobi"))
    row = Row(begun, 3, stop.last, stops=(StopMarks(stop.id, ()),))
    assert [bar.kind for bar in save(house, row, by="tobi").refused[0].bars] == [B.NO_LEAVE]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (Row("", 3, 2), "a rising run of pages from 1 to 28"),
        (Row("", 3, 29), "a rising run of pages from 1 to 28"),
        (Row("", minutes=5), "from which page to which"),
        (Row("", practice_right=31), "a whole number from 0 to 30"),
    ],
)
def test_a_row_that_cannot_be_meant_is_told_in_a_sentence(house: House, row: Row, says: str) -> None:
    copy = house.bring("stops cleared")
    given = {name: getattr(row, name) for name in Row.__slots__} | {"copy": copy}
    done = save(house, Row(**given))
    assert says in done.refused[0].says[0]


def test_an_empty_day_and_a_day_to_come_are_told(house: House, begun: str) -> None:
    with pytest.raises(InputError, match="nothing written down"):
        save(house, Row(begun))
    with pytest.raises(InputError, match="today or an earlier day"):
        save(house, Row(begun, 1, 2), day=EVENING.date() + timedelta(days=1))


def test_a_look_tells_what_would_be_written_and_writes_nothing(house: House, begun: str) -> None:
    before = entries()
    entry = PaperDay(MONDAY, time(8, 30), (Row(begun, 1, 3, 25),), {house.person("noa"): Presence.HALF})
    tries = paper_day.look_at_day(house.id, entry, by=house.person("ruth"), now=EVENING)
    assert [found.facts for found in tries] == [
        ("Pages 1-3 worked in 25 min",),
        ("Attendance taken: Noa, Mon 12 Jan, half day",),
    ]
    assert entries() == before


def test_stops_are_offered_from_where_a_copy_stands_as_far_as_the_form_says(house: House, begun: str) -> None:
    (held,) = paper_day.held_copies(house.home)
    stops = house.home.programme.workbook("maths-5-01").stops
    assert [s.id for s in held.stops] == [s.id for s in stops[:2]]
    (further,) = paper_day.held_copies(house.home, {begun: stops[3].last})
    assert [s.id for s in further.stops] == [s.id for s in stops[:4]]
