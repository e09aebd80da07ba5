"""Proving the record, and making its caches anew. The triggers are lifted here to do what a stranger would do."""

import json
from collections.abc import Callable
from datetime import date
from hashlib import sha256
from typing import Any

import pytest
from django.db import connection

from markstead.errors import DamagedRecordError, UnknownError
from markstead.ledger.facts import Presence, Step
from markstead.ledger.serial import ROOT
from markstead.records import actions as a
from markstead.records import queries, triggers, upkeep
from markstead.records.desk import Slip
from markstead.records.models import Copy, Entry, Household, Words
from markstead.records.upkeep import rebuild, verify
from tests.records.house import House, cache_rows, entries, standing


@pytest.fixture
def told(house: House) -> House:
    """Ruth's house with something of everything: 18 facts of three copies and of none."""
    house.bring("marked")
    house.do(a.take_attendance, learner="asa", day=date(2026, 1, 12), presence=Presence.FULL)
    copy = house.bring("asked", learner="noa", workbook="maths-9-01")
    house.do(a.refuse_leave, copy=copy, step=Step.MARK, stop="section-1", reason="Two blanks")
    house.do(a.undo, act=entries()[-1].act)
    house.bring("on order", workbook="maths-5-02")
    return house


def behind_the_back(**columns: Any) -> Callable[[int], None]:
    """A change of one row that the database was made to accept."""

    def change(seq: int) -> None:
        connection.check_constraints()
        triggers.drop(connection)
        assert Entry.objects.filter(household="home", seq=seq).update(**columns) == 1

    return change


def remove(*seqs: int) -> None:
    connection.check_constraints()
    triggers.drop(connection)
    assert Entry.objects.filter(household="home", seq__in=seqs).delete()[0] == len(seqs)


def body_of(seq: int) -> str:
    return str(Entry.objects.get(household="home", seq=seq).body)


def head() -> tuple[int, str]:
    """Where the record is said to end."""
    row = Household.objects.get(id="home")
    return row.head_seq, row.head_link


def problem() -> str:
    found = verify("home")
    assert not found.holds
    return found.problem or ""


def test_a_sound_record_holds_and_is_counted(told: House, next_door: House) -> None:
    next_door.bring("worked", learner="trent")

    found = verify("home")

    assert found.holds
    assert found.problem is None
    assert (found.facts, found.copies, found.words) == (18, 3, 1)
    assert found.head == Household.objects.get(id="home").head_link


def test_a_home_without_a_fact_holds(house: House) -> None:
    found = verify("home")
    assert (found.holds, found.facts, found.head) == (True, 0, ROOT)


def test_a_whole_workbook_and_a_second_copy_hold(house: House) -> None:
    copy = house.fail()
    house.do(a.reorder_workbook, copy=copy)
    house.do(a.send_dispatch, copies=[copy], tracking="RX 12")
    house.bring("passed")
    assert verify("home").problem is None


def test_a_home_that_is_not_there_is_unknown(house: House) -> None:
    for work in (verify, rebuild):
        with pytest.raises(UnknownError, match="household"):
            work("nowhere")


# --- the record -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seq", [1, 7, 18])
def test_a_changed_body_is_found(told: House, seq: int) -> None:
    body = json.loads(body_of(seq))
    body["by"] = told.person("tobi")
    text = json.dumps(body, sort_keys=True, separators=(",", ":"))
    assert text != body_of(seq)

    behind_the_back(body=text)(seq)

    assert problem().startswith(f"fact {seq} (")
    assert "its link in the chain does not hold" in problem()


def test_a_blank_more_in_a_body_is_found(told: House) -> None:
    behind_the_back(body=body_of(5).replace(",", ", ", 1))(5)
    assert problem().startswith("fact 5 (pages worked) was changed")


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"v":2}', "null", "{", '{"v":1,"kind":"copy eaten"}'])
def test_a_body_that_is_none_is_found(told: House, text: str) -> None:
    behind_the_back(body=text)(4)
    assert problem().startswith("fact 4: an entry ")


@pytest.mark.parametrize("seq", [1, 9, 18])
def test_a_changed_link_is_found(told: House, seq: int) -> None:
    behind_the_back(link="f" * 64)(seq)
    assert problem().startswith(f"fact {seq} (")


def test_a_body_with_a_link_that_fits_is_found_at_the_next_fact(told: House) -> None:
    """Who reckons the link anew as well is found out by the fact behind it."""
    text = body_of(5).replace('"minutes":41', '"minutes":14')
    before = Entry.objects.get(seq=4).link
    behind_the_back(body=text, link=sha256(before.encode() + text.encode()).hexdigest())(5)

    assert problem().startswith("fact 6 (leave asked) was changed")


def test_a_last_body_with_a_link_that_fits_is_found_at_the_head(told: House) -> None:
    text = body_of(18).replace('"price":450', '"price":1')
    assert text != body_of(18)
    before = Entry.objects.get(seq=17).link
    behind_the_back(body=text, link=sha256(before.encode() + text.encode()).hexdigest())(18)

    assert problem() == "fact 18 was changed: the head of the record has another link"
    with pytest.raises(DamagedRecordError, match="fact 18 was changed"):
        rebuild("home")


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("kind", "copy issued"),
        ("copy", "home-2"),
        ("copy", None),
        ("act", "another"),
        ("part", 1),
        ("at", "2026-01-12T08:00:00Z"),
    ],
)
def test_a_changed_column_is_found(told: House, column: str, value: Any) -> None:
    behind_the_back(**{column: value})(5)
    assert problem() == "fact 5: its columns and its body do not say the same"


def test_a_changed_place_is_found(told: House) -> None:
    behind_the_back(seq=90)(5)
    assert problem() == "fact 5 is missing: the next one on the record is 6"


def test_a_removed_fact_in_the_middle_is_found(told: House) -> None:
    remove(7)
    assert problem() == "fact 7 is missing: the next one on the record is 8"


def test_a_removed_first_fact_is_found(told: House) -> None:
    remove(1)
    assert problem() == "fact 1 is missing: the next one on the record is 2"


def test_removed_last_facts_are_found(told: House) -> None:
    remove(17, 18)
    assert problem() == "fact 17 is missing: the record ends at 16, its head says 18"


def test_a_removed_record_is_found(told: House) -> None:
    remove(*range(1, 19))
    assert problem() == "fact 1 is missing: the record ends at 0, its head says 18"


def test_a_head_beyond_the_record_is_found_and_not_mended(told: House) -> None:
    Household.objects.update(head_seq=20)

    assert problem() == "fact 19 is missing: the record ends at 18, its head says 20"
    with pytest.raises(DamagedRecordError, match="fact 19 is missing"):
        rebuild("home")


def test_a_fact_that_was_slipped_in_is_found(told: House) -> None:
    last = Entry.objects.get(seq=18)
    body = last.body.replace('"seq":18', '"seq":19')
    Entry.objects.create(
        household_id="home",
        seq=19,
        act=last.act,
        part=1,
        at=last.at,
        kind=last.kind,
        copy=last.copy,
        body=body,
        link=sha256(last.link.encode() + body.encode()).hexdigest(),
    )
    assert "the head says fact 18, the record ends at 19" in problem()


def test_two_facts_that_changed_places_are_found(told: House) -> None:
    one, two = body_of(5), body_of(6)
    behind_the_back(body=two)(5)
    Entry.objects.filter(seq=6).update(body=one)
    assert problem().startswith("fact 5 (leave asked) was changed")


def test_the_first_bad_fact_is_named_and_not_a_later_one(told: House) -> None:
    behind_the_back(link="0" * 64)(11)
    behind_the_back(kind="copy issued")(4)
    assert problem().startswith("fact 4:")


def test_a_record_of_one_home_is_proved_apart_from_the_other(told: House, next_door: House) -> None:
    next_door.bring("worked", learner="trent")
    behind_the_back(link="0" * 64)(3)

    assert verify("away").holds
    assert not verify("home").holds


# --- caches -----------------------------------------------------------------------------------------------


CACHE = [
    ("workbook", "maths-5-02"),
    ("learner", None),
    ("status", "finished"),
    ("live", False),
    ("passed", True),
    ("sat_on", date(2026, 1, 12)),
    ("scored_on", date(2026, 1, 12)),
    ("last_seq", 2),
    ("last_link", "f" * 64),
]


@pytest.mark.parametrize(("column", "value"), CACHE, ids=[column for column, _ in CACHE])
def test_a_wrong_cache_is_found_and_mended(told: House, column: str, value: Any) -> None:
    before = cache_rows()
    Copy.objects.filter(id="home-1").update(**{column: value})
    assert cache_rows() != before

    assert (
        problem()
        == "copy home-1 stands otherwise in the cache than fact 8 left it; `rebuild` mends the cache"
    )
    assert rebuild("home") == 3

    assert cache_rows() == before
    assert verify("home").holds


def test_a_wrong_number_of_a_copy_is_found_and_mended(told: House) -> None:
    """It stands on the cover: two copies of a workbook may not both be the second."""
    told.bring("on order")
    before = cache_rows()
    Copy.objects.filter(id="home-4").update(ordinal=1)

    assert problem().startswith("copy home-4 stands otherwise in the cache")
    rebuild("home")

    assert cache_rows() == before
    assert [row["ordinal"] for row in before if row["workbook"] == "maths-5-01"] == [1, 2]


def test_a_missing_copy_in_the_cache_is_found_and_mended(told: House) -> None:
    before = cache_rows()
    Copy.objects.filter(id="home-2").delete()

    assert problem().startswith("copy home-2 stands otherwise in the cache than fact ")
    rebuild("home")

    assert cache_rows() == before


def test_a_copy_that_is_only_in_the_cache_is_found_and_mended(told: House) -> None:
    before = cache_rows()
    ghost = Copy.objects.get(id="home-2")
    ghost.id = "ghost"
    ghost.save(force_insert=True)

    assert problem() == "copy ghost stands in the cache but not on the record; `rebuild` mends the cache"
    rebuild("home")

    assert cache_rows() == before


@pytest.mark.parametrize("seq", [17, 3])
def test_a_head_that_has_stayed_behind_is_found_and_mended(told: House, seq: int) -> None:
    before = head()
    Household.objects.update(head_seq=seq, head_link=Entry.objects.get(seq=seq).link)

    assert problem() == f"the head says fact {seq}, the record ends at 18; `rebuild` mends the head"
    rebuild("home")

    assert head() == before
    assert verify("home").holds


def test_a_head_that_was_never_there_is_not_mended(told: House) -> None:
    """Either the head or the record was changed: who knows which? Neither is taken for the truth."""
    Household.objects.update(head_link="f" * 64)

    assert problem() == "fact 18 was changed: the head of the record has another link"
    with pytest.raises(DamagedRecordError, match="restore a backup"):
        rebuild("home")


def test_a_rebuilt_cache_is_the_same_as_the_kept_one(house: House) -> None:
    copy = house.fail()
    house.do(a.reorder_workbook, copy=copy)
    house.do(a.undo, act=entries()[-1].act)
    house.do(a.reorder_workbook, copy=copy)
    house.do(a.send_dispatch, copies=[copy])
    house.bring("passed")
    house.bring("ready", learner="noa", workbook="maths-9-01")
    before, end, stamp = cache_rows(), head(), Household.objects.get().stamp

    assert rebuild("home") == len(before) == 5

    assert cache_rows() == before
    assert head() == end
    assert Household.objects.get().stamp != stamp  # nobody goes on with what the old cache said


def test_rebuilding_one_home_leaves_the_other_alone(told: House, next_door: House) -> None:
    next_door.bring("worked", learner="trent")
    theirs = cache_rows("away")

    rebuild("home")

    assert cache_rows("away") == theirs


def test_a_damaged_chain_is_not_built_upon(told: House) -> None:
    Copy.objects.filter(id="home-1").update(status="sent")
    before = cache_rows()
    behind_the_back(link="f" * 64)(9)

    with pytest.raises(DamagedRecordError, match="fact 9 does not hold in the chain"):
        rebuild("home")

    assert cache_rows() == before


def test_a_record_with_a_hole_is_not_built_upon(told: House) -> None:
    before = cache_rows()
    remove(18)

    with pytest.raises(DamagedRecordError, match="fact 18 is missing"):
        rebuild("home")

    assert cache_rows() == before
    assert problem().startswith("fact 18 is missing")


# --- words ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("change", [{"text": "No blanks"}, {"salt": "0" * 32}])
def test_changed_words_are_found(told: House, change: dict[str, str]) -> None:
    digest = Words.objects.get().digest
    Words.objects.update(**change)
    assert problem() == f"words {digest[:12]} were changed: they do not have their digest any more"


def test_erased_words_leave_a_record_that_holds(told: House) -> None:
    """The right to be forgotten: the digest stays, the words go."""
    copy = "home-2"
    Words.objects.all().delete()

    assert verify("home").holds
    page = queries.copy_page("home", copy, now=told.clock)
    refused = next(n for n in page.history if n.entry.fact.KIND == "leave refused")
    assert refused.words == "(erased)"
    assert standing(copy).waiting is not None


def test_an_override_holds(told: House) -> None:
    told.do(a.work_pages, copy="home-2", first=9, last=9, slip=Slip(override="Page 9 goes with the trip"))
    assert verify("home").words == 2


def test_a_fact_that_is_written_meanwhile_is_no_fault(told: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between the reading of the head and that of the facts, somebody writes one more."""
    plain, times = upkeep._reversals, []

    def with_a_writer(household: str) -> dict[str, set[int]]:
        if not times:
            told.do(a.take_attendance, learner="noa", day=date(2026, 1, 12), presence=Presence.HALF)
        times.append(household)
        return plain(household)

    monkeypatch.setattr(upkeep, "_reversals", with_a_writer)

    assert verify("home").holds
    assert len(times) == 2
