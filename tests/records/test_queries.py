"""What the pages are told: who needs the educator, where every copy stands, and what happened."""

from collections.abc import Callable
from dataclasses import FrozenInstanceError
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from markstead.errors import UnknownError
from markstead.ledger.facts import (
    CopyIssued,
    FirstMarking,
    GoalSet,
    LeaveGiven,
    LeaveRefused,
    Presence,
    Step,
    UnitTestSat,
)
from markstead.records import actions as a
from markstead.records import desk, queries
from markstead.records.desk import Desk, Slip, at_the_desk
from markstead.records.models import Entry, Household
from markstead.records.setup import Papers, set_up
from markstead.rules.bars import BarKind
from markstead.rules.ruling import RefusedError
from markstead.rules.standing import CopyStatus
from markstead.rules.steps import BLOCKS, URGENCY, CallKind
from tests.records.house import BOOK, CAST, MOVED_IN, PAPERS, PLACES, House, at, entries

SECTION = {"stop": "section-1"}


# --- today's page: the calls ------------------------------------------------------------------------------


def _help(house: House) -> str:
    copy = house.bring("begun")
    house.do(a.ask_help, copy=copy, by="asa", page=2)
    return copy


def _quiz(house: House) -> str:
    copy = house.bring("may mark")
    house.do(a.mark, copy=copy, wrong=range(1, 9), by="asa", **SECTION)
    return copy


def _ask(place: str, step: Step, stop: str | None = None) -> Callable[[House], str]:
    def ask(house: House) -> str:
        copy = house.bring(place)
        house.do(a.ask_leave, copy=copy, step=step, stop=stop, by="asa")
        return copy

    return ask


def _review(house: House) -> str:
    copy = house.bring("practice open")
    house.do(a.score_practice_test, copy=copy, right=23)
    return copy


def _sitting(house: House) -> str:
    copy = house.bring("ready")
    house.until_next_morning()
    return copy


def _late(house: House) -> str:
    house.do(a.order_copy, workbook=BOOK, copy="late", expected=date(2026, 1, 14))
    house.until("2026-01-15 10:00")
    return "late"


def _papers(house: House) -> str:
    copy = house.bring("passed")
    house.until("2026-02-02 08:30")
    return copy


def _at(place: str) -> Callable[[House], str]:
    return lambda house: house.bring(place)


# Each call: how it comes about, what it says, how long its learner has waited (minutes before the page is read).
CALLS: list[tuple[CallKind, Callable[[House], str], str]] = [
    (CallKind.SITTING, _sitting, "Sit the unit test, watched"),
    (CallKind.LEAVE_TO_MARK, _at("asked"), "Asks leave to mark section 1"),
    (CallKind.LEAVE_TO_REMARK, _at("asked again"), "Asks leave to re-mark section 1"),
    (CallKind.LEAVE_TO_OPEN, _ask("check ahead", Step.CHECK, "check-1"), "Asks leave to open check 1"),
    (CallKind.LEAVE_TO_SIT, _ask("stops cleared", Step.PRACTICE_TEST), "Asks leave to sit the practice test"),
    (CallKind.LEAVE_TO_SIT, _ask("practice passed", Step.UNIT_TEST), "Asks leave to sit the unit test"),
    (CallKind.HELP, _help, "Asks for help, page 2"),
    (CallKind.QUIZ, _quiz, "Quiz on section 1: 8 of 24 wrong"),
    (CallKind.CHECK, _at("check ahead"), "Open check 1"),
    (CallKind.PRACTICE_TEST, _at("stops cleared"), "Open the practice test"),
    (CallKind.REVIEW, _review, "Go over the practice test: 23 of 30, 24 needed"),
    (CallKind.READINESS, _at("practice passed"), "Decide on readiness: 27 of 30 in the practice test"),
    (CallKind.OPENING_TALK, _at("issued"), "Hold the opening talk"),
    (CallKind.ISSUE, _at("in the house"), "Issue Large Numbers"),
    (CallKind.MARK_UNIT_TEST, _at("sat"), "Mark the unit test"),
    (CallKind.ORDER_AGAIN, lambda house: house.fail(), "Go over the test and order a new copy"),
    (CallKind.LATE_COPY, _late, "The copy was expected on 14 January"),
    (CallKind.ORDER, lambda house: "", "Order Large Numbers"),
    (CallKind.DISPATCH, _papers, "Send 1 test paper of before 1 February"),
]


def calls_of(house: House, kind: CallKind) -> list[queries.Call]:
    return [call for call in house.page().calls if call.kind is kind]


@pytest.mark.parametrize(("kind", "happens", "says"), CALLS, ids=[f"{k.value}: {w}" for k, _, w in CALLS])
def test_a_call_says_who_needs_what(
    house: House, kind: CallKind, happens: Callable[[House], str], says: str
) -> None:
    copy = happens(house)

    (call,) = [c for c in calls_of(house, kind) if c.what == says]

    assert (call.urgency, call.blocks) == (URGENCY[kind], BLOCKS[kind])
    if kind is CallKind.DISPATCH:
        assert call.copies == (copy,)
    elif kind is CallKind.LATE_COPY:
        assert (call.copy and call.copy.id, call.learner) == (copy, None)
    else:
        assert call.learner is not None
        assert call.learner.key == "asa"
        assert call.workbook is not None
        assert call.workbook.code == BOOK
        assert (call.copy.id if call.copy else "") == copy


def test_every_kind_of_call_is_tried() -> None:
    # When backups are old is not told by the record: test_backups tries that one.
    assert {kind for kind, _, _ in CALLS} == set(CallKind) - {CallKind.BACKUP}


def test_a_call_tells_since_when_it_has_been_open(house: House) -> None:
    house.bring("asked")
    asked = house.clock
    house.until("2026-01-12 09:30")

    (call,) = calls_of(house, CallKind.LEAVE_TO_MARK)

    assert call.since == asked


def test_what_holds_up_more_comes_first_and_among_equals_who_waits_longer(house: House) -> None:
    house.bring("passed")
    house.until("2026-02-02 08:30")
    house.bring("issued", workbook="maths-5-02")  # waits longest, and holds up less
    house.bring("asked", learner="noa", workbook="maths-9-01")
    noa_asked = house.clock
    copy = house.bring("asked", workbook="reading-5-01")
    asa_asked = house.clock
    house.do(a.ask_help, copy=copy, by="asa")

    calls = house.page().calls

    order = [(c.kind, c.learner.key if c.learner else None) for c in calls]
    assert order == [
        (CallKind.LEAVE_TO_MARK, "noa"),
        (CallKind.LEAVE_TO_MARK, "asa"),
        (CallKind.HELP, "asa"),
        (CallKind.OPENING_TALK, "asa"),
        (CallKind.DISPATCH, None),
    ]
    assert [c.since for c in calls[:2]] == [noa_asked, asa_asked]
    assert [c.urgency for c in calls] == [1, 1, 1, 2, 4]


def test_a_learner_who_works_calls_nobody(house: House) -> None:
    for place in ("begun", "worked", "may mark", "marked", "corrected", "may re-mark"):
        with_copy = house.bring(place, learner="noa", workbook="maths-9-01")
        assert [c.kind for c in house.page().calls if c.learner and c.learner.key == "noa"] == [], place
        house.do(a.spoil_copy, copy=with_copy, reason="for the next")


def test_a_sitting_that_is_barred_is_no_call(house: House) -> None:
    house.bring("ready")
    assert calls_of(house, CallKind.SITTING) == []

    house.until("2026-01-13 07:58")
    assert calls_of(house, CallKind.SITTING) == []
    house.until("2026-01-13 08:00")
    assert len(calls_of(house, CallKind.SITTING)) == 1
    house.until("2026-01-13 11:58")
    assert len(calls_of(house, CallKind.SITTING)) == 1
    house.until("2026-01-13 12:00")
    assert calls_of(house, CallKind.SITTING) == []


def wanted(house: House) -> list[str]:
    """Codes of the workbooks that are to be ordered for Asa's mathematics."""
    books = [call.workbook.code for call in calls_of(house, CallKind.ORDER) if call.workbook]
    return [code for code in books if code.startswith("maths-5")]


def test_the_next_workbook_is_wanted_from_half_the_pages_on(house: House) -> None:
    copy = house.bring("check open")
    house.finish(copy, house.home.programme.workbook(BOOK).stop("check-1"), "asa")
    house.do(a.work_pages, copy=copy, first=11, last=13, by="asa")
    assert wanted(house) == []

    house.do(a.work_pages, copy=copy, first=14, last=14, by="asa")
    assert wanted(house) == ["maths-5-02"]

    house.bring("on order", workbook="maths-5-02")
    assert wanted(house) == []


def test_a_copy_for_one_learner_is_not_offered_to_another(house: House) -> None:
    house.do(a.order_copy, workbook="maths-9-01", learner="asa", copy="hers")
    house.do(a.receive_copy, copy="hers")

    assert [c.learner.key for c in calls_of(house, CallKind.ISSUE) if c.learner] == []
    noa = [c for c in calls_of(house, CallKind.ORDER) if c.learner and c.learner.key == "noa"]
    assert [c.workbook.code for c in noa if c.workbook] == ["maths-9-01"]


def test_papers_go_on_the_day_of_the_programme_and_not_before(house: House) -> None:
    copy = house.bring("passed")
    house.until("2026-01-31 23:50")
    assert calls_of(house, CallKind.DISPATCH) == []

    house.until("2026-02-01 23:50")  # a Sunday: papers go on the next school day
    assert calls_of(house, CallKind.DISPATCH) == []

    house.until("2026-02-02 00:00")
    (call,) = calls_of(house, CallKind.DISPATCH)
    assert call.what == "Send 1 test paper of before 1 February"

    house.do(a.send_dispatch, copies=call.copies)
    assert calls_of(house, CallKind.DISPATCH) == []
    assert queries.papers_to_send("home") == ()
    assert queries.copies("home", status=CopyStatus.SENT)[0].id == copy


def test_papers_wait_in_the_order_of_their_marking(house: House) -> None:
    first = house.bring("passed")
    second = house.bring("passed", workbook="reading-5-01")

    assert [view.id for view in queries.papers_to_send("home")] == [first, second]


# --- today's page: the learners ---------------------------------------------------------------------------


def test_a_learner_s_workbooks_stand_in_the_order_of_the_courses(house: House) -> None:
    house.bring("begun", workbook="reading-5-01")
    house.bring("worked")

    asa, noa = house.page().learners

    assert (asa.learner.key, [v.workbook.course for v in asa.copies], asa.idle) == (
        "asa",
        ["maths-5", "reading-5"],
        (),
    )
    assert (noa.learner.key, noa.copies, noa.idle) == ("noa", (), ("Mathematics 9",))


def test_a_copy_in_hand_shows_its_next_step_and_what_bars_it(house: House) -> None:
    house.bring("ready")

    (view,) = house.page().learners[0].copies

    assert view.next.what == "Sit the unit test, watched"
    assert [bar.kind for bar in view.ruling.bars] == [BarKind.TOO_SOON]
    assert view.ruling.bars[0].lifts == "Wait until Tuesday 13 January 2026."


def test_a_day_without_school_says_why(house: House) -> None:
    house.until("2026-01-17 10:00")
    assert house.page().day_is == "a Saturday, on which there is no school"
    house.until("2026-01-19 10:00")
    assert house.page().day_is is None


def test_the_page_shows_the_kitchen_clock_and_the_head(house: House) -> None:
    house.bring("worked")

    page = queries.today("home", now=at("2026-01-12 09:00"))

    assert (page.now.isoformat(), page.now.tzinfo is not UTC, page.head) == (
        "2026-01-12T09:00:00+00:00",
        True,
        5,
    )
    assert queries.head("home") == 5


def test_the_page_is_in_the_zone_of_the_home(db: None) -> None:
    there = Papers(
        PAPERS.programme, PAPERS.workbooks, PAPERS.calendar.replace("Europe/London", "Pacific/Auckland")
    )
    set_up("home", name="Tarn End", papers=there, people=CAST, at=MOVED_IN)

    page = queries.today("home", now=datetime(2026, 1, 16, 20, tzinfo=UTC))

    assert page.now.isoformat() == "2026-01-17T09:00:00+13:00"
    assert page.day_is == "a Saturday, on which there is no school"


def test_a_page_cannot_be_changed(house: House) -> None:
    with pytest.raises(FrozenInstanceError):
        house.page().head = 9  # type: ignore[misc]


def test_a_neighbour_s_copies_are_on_no_page_of_ours(house: House, next_door: House) -> None:
    theirs = next_door.bring("asked", learner="trent")

    assert [c.kind for c in house.page().calls] == [CallKind.ORDER] * 3
    assert queries.copies("home") == ()
    with pytest.raises(UnknownError, match="copy"):
        queries.copy_page("home", theirs, now=house.clock)
    with pytest.raises(UnknownError, match="no copies that could be meant"):
        queries.find_copy("home", theirs)
    assert queries.history("home") == ()
    assert queries.copy_labels("home", [theirs]) == {}
    assert not queries.act_exists("home", entries("away")[0].act)


# --- queries to the database ------------------------------------------------------------------------------


def forget() -> None:
    """As in a process that has just begun: what earlier pages have read is not at hand."""
    desk._MEMO.clear()
    queries._SIGHTS.clear()


def cold(work: Callable[[], Any]) -> int:
    """How often the database is asked, when nothing is remembered but the home itself."""
    queries.home_of("home")
    forget()
    with CaptureQueriesContext(connection) as asked:
        work()
    return len(asked)


def a_long_history(house: House) -> None:
    """Some hundreds of facts more, in copies that are done with and in one that is in hand."""

    def work(open_desk: Desk) -> None:
        house.where = a.Acting("home", open_desk)
        house.bring("passed", learner="noa", workbook="maths-9-01")
        house.bring("passed", workbook="reading-5-02")
        last = house.bring("begun", learner="noa", workbook="maths-9-02")
        for _ in range(120):
            house.do(a.ask_help, copy=last, by="noa")
            house.do(a.give_help, copy=last)

    at_the_desk("home", work, whole=True)
    house.where = "home"


PAGES: dict[str, Callable[[House], Any]] = {
    "today": lambda house: house.page(),
    "copy page": lambda house: queries.copy_page("home", "home-1", now=house.clock),
    "history of a copy": lambda house: queries.history("home", copy="home-1"),
    "history": lambda house: queries.history("home"),
    "papers": lambda house: queries.papers_to_send("home"),
    "copies": lambda house: queries.copies("home"),
}


@pytest.mark.parametrize("name", PAGES)
def test_a_page_asks_no_more_of_the_database_when_the_record_has_grown(
    house: House, name: str, django_assert_num_queries: Any
) -> None:
    house.bring("asked")
    house.bring("begun", learner="noa", workbook="maths-9-01")
    house.do(a.spoil_copy, copy="home-2", reason="Tea")
    house.bring("passed", workbook="reading-5-01")
    short = cold(lambda: PAGES[name](house))
    before = len(entries())

    a_long_history(house)

    assert len(entries()) > before + 300
    queries.home_of("home")
    forget()
    with django_assert_num_queries(short):
        PAGES[name](house)


def test_a_remembered_page_reads_no_fact_again(house: House) -> None:
    house.bring("asked")
    house.page()

    with CaptureQueriesContext(connection) as asked:
        page = house.page()

    assert not [q["sql"] for q in asked if "records_entry" in q["sql"]]
    assert page.learners[0].copies[0].standing.waiting is not None


# --- the copy page ----------------------------------------------------------------------------------------


def acts_of(house: House, copy: str) -> dict[type, bool]:
    page = queries.copy_page("home", copy, now=house.clock + timedelta(minutes=1))
    return {type(act.fact): act.ruling.allowed for act in page.acts}


def test_a_copy_page_offers_what_may_be_done_now(house: House) -> None:
    copy = house.bring("asked")

    allowed = acts_of(house, copy)

    assert allowed[LeaveGiven]
    assert allowed[LeaveRefused]
    assert FirstMarking not in allowed


def test_the_next_step_of_every_place_but_the_sitting_is_open(house: House) -> None:
    barred = {}
    for reached in house.road("on-the-road", "asa", BOOK):
        page = queries.copy_page("home", "on-the-road", now=house.clock + timedelta(minutes=1))
        barred[reached] = {bar.kind for bar in page.copy.ruling.bars}
    assert {place: bars for place, bars in barred.items() if bars} == {"ready": {BarKind.TOO_SOON}}
    assert list(barred) == list(PLACES)


def test_a_copy_of_nobody_can_be_issued_to_who_takes_the_course(house: House) -> None:
    copy = house.bring("in the house")
    assert acts_of(house, copy)[CopyIssued]

    second = house.bring("in the house", workbook="maths-5-02")
    page = queries.copy_page("home", second, now=house.clock + timedelta(minutes=1))
    (issue,) = [act for act in page.acts if isinstance(act.fact, CopyIssued)]
    assert [bar.kind for bar in issue.ruling.bars] == [BarKind.EARLIER_WORKBOOK]


def test_a_copy_of_a_course_that_nobody_takes_is_not_issued(house: House) -> None:
    copy = house.bring("in the house", workbook="history-9-01")
    assert CopyIssued not in acts_of(house, copy)


def test_a_copy_whose_order_was_taken_back_still_has_its_page(house: House) -> None:
    copy = house.bring("on order")
    house.do(a.undo, act=entries()[-1].act)

    page = queries.copy_page("home", copy, now=house.clock)

    assert page.copy.standing.status is CopyStatus.UNKNOWN
    assert page.copy.workbook.code == BOOK
    assert [note.reversed for note in page.history] == [False, True]
    assert [type(act.fact).KIND for act in page.acts if act.ruling.allowed] == []


def test_a_unit_test_that_is_barred_is_shown_with_its_bars(house: House) -> None:
    copy = house.bring("ready")

    page = queries.copy_page("home", copy, now=house.clock)
    (sitting,) = [act for act in page.acts if isinstance(act.fact, UnitTestSat)]

    assert [bar.kind for bar in sitting.ruling.bars] == [BarKind.TOO_SOON]
    assert sitting.ruling.overridable


def test_a_copy_in_the_house_can_be_issued_to_its_learner(house: House) -> None:
    house.do(a.order_copy, workbook=BOOK, learner="asa", copy="hers")
    house.do(a.receive_copy, copy="hers")
    assert acts_of(house, "hers")[CopyIssued]


def test_a_learner_sees_only_what_a_learner_may_do(house: House) -> None:
    copy = house.bring("asked")

    page = queries.copy_page("home", copy, now=house.clock, by="asa")

    kinds = {type(act.fact) for act in page.acts if act.ruling.allowed}
    assert GoalSet in kinds
    assert LeaveGiven not in kinds


def test_the_history_of_a_copy_is_told_newest_first_with_names_and_words(house: House) -> None:
    copy = house.bring("asked")
    house.do(a.refuse_leave, copy=copy, step=Step.MARK, reason="Two blanks", **SECTION)
    house.do(a.ask_leave, copy=copy, step=Step.MARK, by="asa", **SECTION)
    house.do(a.undo, act=entries()[-1].act)

    notes = queries.copy_page("home", copy, now=house.clock).history

    told = [(n.entry.fact.KIND, n.by, n.words, n.reversed) for n in notes[:4]]
    assert told == [
        ("fact reversed", "Ruth", None, False),
        ("leave asked", "Asa", None, True),
        ("leave refused", "Ruth", "Two blanks", False),
        ("leave asked", "Asa", None, False),
    ]
    assert notes == queries.history("home", copy=copy)
    assert queries.words("home", notes[2].entry.fact.reason) == "Two blanks"  # type: ignore[union-attr]


def test_a_person_who_is_no_longer_named_is_nobody(house: House) -> None:
    from markstead.records.models import Person

    copy = house.bring("worked")
    Person.objects.filter(key="asa").delete()
    Household.objects.update(stamp="changed")

    note = queries.copy_page("home", copy, now=house.clock).history[0]

    assert note.by == "somebody who is no longer named"


# --- history, copies, names -------------------------------------------------------------------------------


def test_the_history_of_a_day_is_that_of_the_day_at_home(house: House) -> None:
    house.clock = at("2026-01-12 23:58")
    house.bring("begun")

    assert [n.entry.at.isoformat()[:16] for n in queries.history("home", day=date(2026, 1, 12))] == [
        "2026-01-12T23:59"
    ]
    assert len(queries.history("home", day=date(2026, 1, 13))) == 3
    assert len(queries.history("home", limit=2)) == 2
    assert [n.entry.seq for n in queries.history("home")] == [4, 3, 2, 1]


def test_history_tells_of_facts_that_are_of_no_copy(house: House) -> None:
    house.do(a.take_attendance, learner="noa", day=date(2026, 1, 12), presence=Presence.FULL)
    (note,) = queries.history("home")
    assert (note.entry.fact.KIND, note.copy) == ("attendance taken", None)


def test_copies_are_listed_by_status_and_by_learner(house: House) -> None:
    ordered, begun = house.bring("on order", workbook="maths-5-02"), house.bring("begun")
    hers = house.bring("begun", learner="noa", workbook="maths-9-01")
    house.do(a.undo, act=house.do(a.order_copy, workbook=BOOK, copy="by-mistake").act)

    assert [view.id for view in queries.copies("home")] == [begun, ordered, hers]
    assert [view.id for view in queries.copies("home", status=CopyStatus.ON_ORDER)] == [ordered]
    assert [view.id for view in queries.copies("home", learner="noa")] == [hers]
    assert queries.copies("home", status=CopyStatus.SPOILED) == ()
    with pytest.raises(UnknownError):
        queries.copies("home", learner="mallory")


def test_a_second_copy_of_a_workbook_has_its_number_on_the_cover(house: House) -> None:
    first = house.fail()
    house.do(a.reorder_workbook, copy=first, new_copy="second")

    labels = queries.copy_labels("home", [first, "second"])

    assert labels == {first: BOOK, "second": f"{BOOK} (2)"}
    assert {view.id: view.label for view in queries.copies("home")} == labels


def test_a_copy_is_found_by_its_id_its_label_or_its_workbook(house: House) -> None:
    first = house.fail()
    house.do(a.reorder_workbook, copy=first, new_copy="second")

    found = {
        wanted: queries.find_copy("home", wanted) for wanted in (first, f" {BOOK} (2) ", f"{BOOK} (1)", BOOK)
    }

    assert found == {first: first, f" {BOOK} (2) ": "second", f"{BOOK} (1)": first, BOOK: "second"}


@pytest.mark.parametrize("wanted", ["", "nothing", "maths-5-02", f"{BOOK} (3)", f"{BOOK} (", f"{BOOK} (²)"])
def test_a_copy_that_is_not_there_is_not_found(house: House, wanted: str) -> None:
    house.bring("begun")
    with pytest.raises(UnknownError, match="no copies that could be meant by"):
        queries.find_copy("home", wanted)


def test_a_workbook_of_which_two_copies_are_live_is_not_enough(house: House) -> None:
    house.bring("begun")
    house.bring("on order")
    with pytest.raises(UnknownError, match="2 copies that could be meant"):
        queries.find_copy("home", BOOK)


def test_the_only_home_need_not_be_named(house: House) -> None:
    assert queries.the_household() == "home"
    assert queries.the_household("home") == "home"
    with pytest.raises(UnknownError, match="found 'away'; allowed is one of home"):
        queries.the_household("away")


def test_of_two_homes_one_must_be_named(house: House, next_door: House) -> None:
    with pytest.raises(UnknownError, match="found 2 homes; allowed is one of away, home"):
        queries.the_household()
    assert queries.the_household("away") == "away"


def test_where_no_home_is_set_up_it_says_how(db: None) -> None:
    with pytest.raises(UnknownError, match=r"no home yet.*markstead init"):
        queries.the_household()
    assert queries.head("home") == 0


def test_the_latest_act_is_the_one_that_undo_would_take(house: House) -> None:
    copy = house.bring("begun")
    worked = house.do(a.work_pages, copy=copy, first=1, last=1, by="asa").act
    helped = house.do(a.give_help, copy=copy, by="tobi").act

    assert queries.latest_act("home") == helped
    assert queries.latest_act("home", by=house.person("asa")) == worked
    house.do(a.undo, act=helped)
    assert queries.latest_act("home") == worked
    house.do(a.undo, act=worked)
    assert queries.latest_act("home", by=house.person("asa")) is None
    assert queries.act_exists("home", worked)
    assert not queries.act_exists("home", "never")


def test_the_facts_are_counted(house: House) -> None:
    assert queries.count_facts("home") == 0
    house.bring("worked")
    assert queries.count_facts("home") == Entry.objects.count() == 5


@pytest.mark.parametrize("place", PLACES)
def test_every_place_of_the_road_has_a_next_step_in_words(house: House, place: str) -> None:
    copy = house.bring(place)
    view = queries.copy_page("home", copy, now=house.clock).copy
    assert view.next.what[0].isupper()
    assert "{" not in view.next.what


def test_a_ruling_on_a_page_is_the_ruling_at_the_desk(house: House) -> None:
    copy = house.bring("ready")
    page = queries.copy_page("home", copy, now=house.clock + timedelta(minutes=1))

    with pytest.raises(RefusedError) as refused:
        house.do(a.sit_unit_test, copy=copy, watcher="ruth", aids=())

    assert refused.value.ruling.bars == page.copy.ruling.bars
    house.do(a.sit_unit_test, copy=copy, watcher="ruth", aids=(), slip=Slip(override="We travel"))
