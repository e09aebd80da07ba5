"""The desk: one act is one transaction, written once, on a page that is not stale, at a time that can be."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from itertools import count
from typing import Any

import pytest
from django.db import transaction

from markstead.errors import InputError, StaleError, UnknownError
from markstead.ledger import facts as f
from markstead.ledger.facts import Presence, Step
from markstead.ledger.serial import ROOT
from markstead.records import actions as a
from markstead.records.desk import Desk, Slip, at_the_desk
from markstead.records.models import Copy, Household, Person, Words
from markstead.records.models import Entry as EntryRow
from markstead.records.upkeep import verify
from markstead.rules.bars import BarKind as B
from markstead.rules.ruling import RefusedError, Role
from tests.records.house import BOOK, CAST, MONDAY, TUESDAY, House, at, cache_rows, entries, standing

SECTION = {"stop": "section-1"}


def bars_of(act: Callable[[], Any]) -> set[B]:
    with pytest.raises(RefusedError) as refused:
        act()
    return {bar.kind for bar in refused.value.ruling.bars}


def everything() -> list[Any]:
    heads = list(Household.objects.order_by("id").values())
    words = list(Words.objects.order_by("id").values())
    return [
        heads,
        words,
        list(EntryRow.objects.order_by("id").values()),
        list(Copy.objects.order_by("id").values()),
    ]


# --- one act, one transaction -----------------------------------------------------------------------------


def test_the_facts_of_one_act_stand_together_and_in_order(house: House) -> None:
    copy = house.fail()

    done = house.do(a.reorder_workbook, copy=copy, new_copy="fresh")

    rows = EntryRow.objects.filter(act=done.act).order_by("seq").values_list("seq", "part", "kind", "copy")
    last = Household.objects.get().head_seq
    assert list(rows) == [
        (last - 1, 0, "workbook re-ordered", copy),
        (last, 1, "copy ordered", "fresh"),
    ]


def test_when_the_second_fact_is_refused_the_first_is_not_written(house: House) -> None:
    copy, taken = house.fail(), house.bring("begun", learner="noa", workbook="maths-9-01")
    before = everything()

    assert bars_of(lambda: house.do(a.reorder_workbook, copy=copy, new_copy=taken)) == {B.ALREADY}

    assert everything() == before


def test_each_link_is_the_hash_of_the_link_before_and_the_body(house: House) -> None:
    house.bring("marked")

    previous = ROOT
    for body, link in EntryRow.objects.order_by("seq").values_list("body", "link"):
        previous = sha256(previous.encode() + body.encode()).hexdigest()
        assert link == previous
    assert Household.objects.get().head_link == previous


def test_two_homes_have_two_chains(house: House, next_door: House) -> None:
    house.bring("begun")
    next_door.bring("worked", learner="trent")

    assert [entry.seq for entry in entries("home")] == [1, 2, 3, 4]
    assert [entry.seq for entry in entries("away")] == [1, 2, 3, 4, 5]
    assert verify("home").holds
    assert verify("away").holds


def test_two_homes_may_use_the_same_id_for_an_act(house: House, next_door: House) -> None:
    for home in (house, next_door):
        home.do(a.order_copy, workbook=BOOK, slip=Slip(act="the-first"))

    assert [entry.act for home in ("home", "away") for entry in entries(home)] == ["the-first"] * 2


# --- many acts at one open desk ---------------------------------------------------------------------------


def tell(house: House) -> None:
    """A story of three copies, whose acts have ids of their own."""
    house.acts = (f"act-{n}" for n in count(1))
    house.bring("passed")
    house.bring("marked", workbook="maths-5-02")
    house.bring("sat", learner="noa", workbook="maths-9-01")


def test_a_story_told_at_one_open_desk_is_the_same_record_to_the_byte(house: House) -> None:
    with transaction.atomic():
        tell(house)
        one_by_one = [list(EntryRow.objects.order_by("seq").values_list("body", "link")), cache_rows()]
        transaction.set_rollback(True)
    assert entries() == []
    again = House()

    def work(desk: Desk) -> None:
        again.where = a.Acting("home", desk)
        tell(again)

    at_the_desk("home", work, whole=True)

    assert list(EntryRow.objects.order_by("seq").values_list("body", "link")) == one_by_one[0]
    assert cache_rows() == one_by_one[1]
    assert verify("home").holds


@pytest.mark.parametrize("whole", [True, False])
def test_an_open_desk_that_fails_in_the_end_has_written_nothing(house: House, whole: bool) -> None:
    house.bring("begun")
    before = everything()

    def work(desk: Desk) -> None:
        house.where = a.Acting("home", desk)
        copy = house.bring("worked", learner="noa", workbook="maths-9-01")
        house.do(a.spoil_copy, copy=copy, reason="Tea")
        house.do(a.receive_copy, copy=copy)

    with pytest.raises(RefusedError):
        at_the_desk("home", work, whole=whole)

    assert everything() == before


def test_an_open_desk_knows_the_record_that_is_there(house: House) -> None:
    first = house.bring("passed")

    def work(desk: Desk) -> None:
        house.where = a.Acting("home", desk)
        house.bring("begun", workbook="maths-5-02")
        assert bars_of(lambda: house.do(a.score_unit_test, copy=first, right=30)) == {B.ALREADY}

    at_the_desk("home", work, whole=True)

    assert [row["status"] for row in cache_rows()] == ["finished", "issued"]


def test_an_open_desk_writes_an_act_once(house: House) -> None:
    def work(desk: Desk) -> None:
        house.where = a.Acting("home", desk)
        for _ in range(2):
            house.do(a.order_copy, workbook=BOOK, slip=Slip(act="once"))

    at_the_desk("home", work, whole=True)
    at_the_desk("home", work, whole=True)

    assert [entry.act for entry in entries()] == ["once"]


# --- overrides --------------------------------------------------------------------------------------------


REASON = "The aims were read the day before, at Grandmother's"


def test_an_override_writes_the_passed_bars_and_then_the_act(house: House) -> None:
    copy = house.bring("issued")

    done = house.do(a.work_pages, copy=copy, first=1, last=5, slip=Slip(override=REASON))

    passing, worked = done.entries
    digest = Words.objects.get().digest
    bars = tuple(sorted({B.NO_OPENING_TALK, B.STOP_NOT_CLEARED}))
    assert passing.fact == f.GateOverridden(copy, "pages worked", bars, digest)
    assert worked.fact == f.PagesWorked(copy, house.clock.date(), 1, 5)
    assert passing.act == worked.act
    assert entries()[-2:] == [passing, worked]


def test_the_reason_of_an_override_is_kept_apart_and_salted(house: House) -> None:
    house.do(a.work_pages, copy=house.bring("issued"), first=1, last=2, slip=Slip(override=REASON))
    house.do(
        a.work_pages,
        copy=house.bring("issued", learner="noa", workbook="maths-9-01"),
        first=1,
        last=2,
        slip=Slip(override=REASON),
    )

    one, two = Words.objects.all()
    assert one.text == two.text == REASON
    assert one.digest != two.digest
    assert one.digest == sha256(f"{one.salt}\n{REASON}".encode()).hexdigest()
    assert not any("Grandmother" in body for body in EntryRow.objects.values_list("body", flat=True))


def test_an_override_passes_one_act_only(house: House) -> None:
    copy = house.bring("issued")
    house.do(a.work_pages, copy=copy, first=1, last=2, slip=Slip(override=REASON))

    assert bars_of(lambda: house.do(a.work_pages, copy=copy, first=3, last=3)) == {B.NO_OPENING_TALK}


def test_a_reason_where_no_gate_is_shut_is_not_written(house: House) -> None:
    done = house.do(a.work_pages, copy=house.bring("begun"), first=1, last=2, slip=Slip(override=REASON))

    assert [type(entry.fact) for entry in done.entries] == [f.PagesWorked]
    assert not Words.objects.exists()


def test_a_whole_morning_rule_can_be_passed_with_a_reason(house: House) -> None:
    copy = house.bring("ready")
    sitting = {"copy": copy, "watcher": "ruth", "aids": ()}
    assert bars_of(lambda: house.do(a.sit_unit_test, **sitting)) == {B.TOO_SOON}

    house.do(a.sit_unit_test, slip=Slip(override="We travel tomorrow"), **sitting)

    assert standing(copy).unit is not None


@pytest.mark.parametrize("somebody", ["tobi", "asa"])
def test_only_an_educator_overrides(house: House, somebody: str) -> None:
    copy = house.bring("issued")
    before = everything()

    act = lambda: house.do(a.work_pages, copy=copy, first=1, last=2, by=somebody, slip=Slip(override=REASON))  # noqa: E731

    assert bars_of(act) == {B.ONLY_EDUCATOR}
    assert everything() == before


def test_who_may_act_is_never_overridden(house: House) -> None:
    """Each pair: an act that a rule bars too, by somebody who may not do it at all."""
    copy = house.bring("ready")
    before = everything()
    slip = Slip(override=REASON)

    tried = [
        bars_of(lambda: house.do(a.sit_unit_test, copy=copy, watcher=None, aids=(), slip=slip)),
        bars_of(lambda: house.do(a.sit_unit_test, copy=copy, watcher="asa", aids=(), slip=slip)),
        bars_of(lambda: house.do(a.sit_unit_test, copy=copy, watcher="tobi", aids=(), by="tobi", slip=slip)),
        bars_of(lambda: house.do(a.work_pages, copy=copy, first=1, last=1, by="noa", slip=slip)),
    ]

    assert tried == [
        {B.NO_WATCHER, B.TOO_SOON},
        {B.NO_WATCHER, B.TOO_SOON},
        {B.ONLY_EDUCATOR, B.TOO_SOON},
        {B.NOT_THIS_LEARNER},
    ]
    assert everything() == before


def test_what_is_not_there_is_never_overridden(house: House) -> None:
    copy = house.bring("on order")

    act = lambda: house.do(a.issue_copy, copy=copy, learner="asa", slip=Slip(override=REASON))  # noqa: E731

    assert bars_of(act) == {B.NOT_IN_THE_HOUSE}
    assert not Words.objects.exists()


def test_a_coordinator_looks_and_does_not_write(db: None) -> None:
    visitor = replace(CAST[1], key="ines", name="Ines", role=Role.COORDINATOR)
    house = House(people=(*CAST, visitor))
    copy = house.bring("begun")

    act = lambda: house.do(a.work_pages, copy=copy, first=1, last=1, by="ines", slip=Slip(override=REASON))  # noqa: E731

    assert bars_of(act) == {B.MAY_NOT_LOG}


# --- double submit, stale page ----------------------------------------------------------------------------


def test_an_act_that_is_sent_twice_is_written_once(house: House) -> None:
    copy = house.bring("begun")
    slip = Slip(act="pressed-twice")
    first = house.do(a.work_pages, copy=copy, first=1, last=2, minutes=10, slip=slip)
    before = everything()

    second = house.do(a.work_pages, copy=copy, first=1, last=2, minutes=10, slip=slip)

    assert (first.again, second.again) == (False, True)
    assert second.entries == first.entries
    assert everything() == before


def test_an_act_of_two_facts_that_is_sent_twice_is_written_once(house: House) -> None:
    copy = house.fail()
    slip = Slip(act="pressed-twice")
    first = house.do(a.reorder_workbook, copy=copy, slip=slip)
    before = everything()

    second = house.do(a.reorder_workbook, copy=copy, slip=slip)

    assert second.again
    assert second.entries == first.entries
    assert everything() == before


def test_an_act_that_was_refused_can_be_sent_again(house: House) -> None:
    copy = house.bring("issued")
    slip = Slip(act="tried")
    assert bars_of(lambda: house.do(a.work_pages, copy=copy, first=1, last=2, slip=slip)) == {
        B.NO_OPENING_TALK
    }

    house.do(a.hold_opening_talk, copy=copy)
    done = house.do(a.work_pages, copy=copy, first=1, last=2, slip=slip)

    assert not done.again
    assert entries()[-1].act == "tried"


def test_a_stale_page_is_refused_with_a_sentence(house: House) -> None:
    copy = house.bring("worked")
    seen = entries(copy=copy)[-1].seq
    house.do(a.ask_leave, copy=copy, step=Step.MARK, by="asa", **SECTION)
    before = everything()

    with pytest.raises(StaleError) as refused:
        house.do(a.spoil_copy, copy=copy, reason="Tea", slip=Slip(seen=seen))

    assert str(refused.value) == (
        "This page is older than the record: since then 'leave asked' was written (08:06). "
        "Nothing of yours was recorded; look again and repeat it if it still holds."
    )
    assert everything() == before


def test_a_page_that_has_seen_the_latest_fact_may_act(house: House) -> None:
    copy = house.bring("worked")
    seen = entries(copy=copy)[-1].seq
    house.bring("begun", learner="noa", workbook="maths-9-01")

    house.do(a.ask_leave, copy=copy, step=Step.MARK, by="asa", slip=Slip(seen=seen), **SECTION)

    assert standing(copy).waiting is not None


def test_an_act_sent_twice_from_a_stale_page_is_still_the_first_one(house: House) -> None:
    copy = house.bring("begun")
    slip = Slip(act="pressed-twice", seen=entries(copy=copy)[-1].seq)
    house.do(a.work_pages, copy=copy, first=1, last=2, slip=slip)

    assert house.do(a.work_pages, copy=copy, first=1, last=2, slip=slip).again


# --- time -------------------------------------------------------------------------------------------------


def test_an_act_may_be_written_down_later_than_it_happened(house: House) -> None:
    copy = house.bring("begun")
    now = house.clock + timedelta(hours=5)

    house.do(a.work_pages, copy=copy, first=1, last=2, slip=Slip(now=now))

    entry = entries()[-1]
    assert (entry.at, entry.written) == (house.clock, now)


def test_an_act_in_the_future_is_refused(house: House) -> None:
    copy = house.bring("begun")
    now = house.clock

    act = lambda: house.do(a.work_pages, copy=copy, first=1, last=2, slip=Slip(now=now))  # noqa: E731

    assert bars_of(act) == {B.IN_THE_FUTURE}
    assert len(entries()) == 4


def test_an_act_before_the_latest_fact_of_its_copy_is_refused(house: House) -> None:
    copy = house.bring("begun")
    house.clock = at("2026-01-12 08:02")

    with pytest.raises(RefusedError, match="latest fact of this copy is of Monday 12 January 2026, 08:04"):
        house.do(a.work_pages, copy=copy, first=1, last=2, slip=Slip(now=at(TUESDAY)))

    assert len(entries()) == 4


def test_another_copy_may_be_told_of_an_earlier_time(house: House) -> None:
    house.bring("begun")
    house.clock = at("2026-01-09 14:00")

    copy = house.bring("begun", learner="noa", workbook="maths-9-01")

    assert standing(copy).opening_talk == at("2026-01-09 14:04")
    assert [entry.seq for entry in entries()] == list(range(1, 9))


def test_an_instant_of_no_zone_is_nobody_s_time(house: House) -> None:
    with pytest.raises(ValueError, match="no time zone"):
        a.order_copy("home", workbook=BOOK, by="ruth", at=at(MONDAY).replace(tzinfo=None))
    assert entries() == []


# --- what the record does not know ------------------------------------------------------------------------


def test_no_name_and_no_word_of_anybody_is_ever_in_a_body(house: House, next_door: House) -> None:
    """Every kind of act, told with names, keys and reasons; then every body is searched for them."""
    first = house.fail()
    house.do(a.hold_spot_check, copy=first, answers=[(9, True)], **SECTION)
    house.do(a.reorder_workbook, copy=first)
    house.do(a.send_dispatch, copies=[first], tracking="Parcel of Tarn End")
    second = house.bring("asked", learner="noa", workbook="maths-9-01")
    house.do(a.refuse_leave, copy=second, step=Step.MARK, reason="Noa, look at picture 3", **SECTION)
    house.do(a.ask_help, copy=second, by="noa", page=3)
    house.do(a.give_help, copy=second, by="tobi")
    house.do(a.hold_oral_quiz, copy=second, answers=[(1, False)])
    house.do(a.set_goal, copy=second, first=1, last=2, by="noa")
    house.do(a.work_pages, copy=second, first=9, last=9, by="ruth", slip=Slip(override="Ruth said so"))
    house.do(a.take_attendance, learner="asa", day=house.clock.date(), presence=Presence.FULL, by="tobi")
    house.do(a.spoil_copy, copy=second, reason="Asa spilt tea on it")
    begun = house.bring("issued", learner="asa", workbook="reading-5-01")
    house.do(a.take_over, copy=begun, last=7)
    house.do(a.undo, act=entries()[-1].act)
    next_door.bring("passed", learner="trent")

    assert set(EntryRow.objects.values_list("kind", flat=True)) == set(f.KINDS)
    bodies = " ".join(EntryRow.objects.values_list("body", flat=True)).lower()
    secret = {value for row in Person.objects.values_list("name", "key") for value in row}
    secret |= set(Household.objects.values_list("name", flat=True))
    secret |= {
        word
        for text in Words.objects.values_list("text", flat=True)
        for word in (text, *text.split())
        if len(word) > 3
    }
    assert len(secret) > 20
    assert {"Ruth", "tobi", "Tarn End", "Parcel", "spilt"} <= secret
    assert [word for word in secret if word.lower() in bodies] == []


def test_a_household_of_nobody_is_unknown(db: None) -> None:
    with pytest.raises(UnknownError, match="none yet"):
        a.order_copy("home", workbook=BOOK, by="ruth", at=at(MONDAY))


def test_what_a_fact_refuses_is_an_input_error(house: House) -> None:
    with pytest.raises(InputError, match="what was entered: found pages run forwards"):
        house.do(a.work_pages, copy=house.bring("begun"), first=0, last=0)
