"""The serial form and the chain, judged from outside: RFC 8785 by another library, SHA-256 by hashlib."""

import hashlib
import json
import random
from dataclasses import fields
from datetime import date, datetime, timedelta, timezone
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.errors import DamagedRecordError
from markstead.ledger.facts import KINDS, AnyFact, CopyReceived, PagesWorked
from markstead.ledger.serial import ROOT, Entry, body_of, chain, link, read_body, words_id
from tests.ledger.samples import FACTS, MONDAY, counted, entries, entry_of

EVERY_KIND = pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
ONE_OF_EACH = [entry_of(counted(kind), seq) for seq, kind in enumerate(KINDS.values(), 1)]


def broken_links(lines: list[tuple[str, bytes]]) -> list[int]:
    """Read a record of (link, body) with nothing of Markstead: the places whose link does not hold."""
    previous, broken = "0" * 64, []
    for place, (written, body) in enumerate(lines, 1):
        digest = hashlib.sha256()
        digest.update(bytes(previous, "ascii"))
        digest.update(body)
        if digest.hexdigest() != written or json.loads(body)["seq"] != place:
            broken.append(place)
        previous = written
    return broken


def plain(value: Any) -> Any:
    """A fact's value as JSON has it, told a second time and without the code under test."""
    if isinstance(value, date):
        return f"{value.year:04}-{value.month:02}-{value.day:02}"
    if isinstance(value, tuple):
        return [plain(part) for part in value]
    return value


# --- read back -------------------------------------------------------------------------------------------


@EVERY_KIND
@settings(deadline=None)
@given(data=st.data())
def test_every_kind_of_fact_reads_back_equal(kind: type[AnyFact], data: st.DataObject) -> None:
    entry = data.draw(entries(FACTS[kind]))

    again = read_body(body_of(entry))

    assert again == entry
    assert type(again.fact) is kind
    assert body_of(again) == body_of(entry)


@EVERY_KIND
def test_what_reads_back_is_plain_and_frozen_all_the_way(kind: type[AnyFact]) -> None:
    again = read_body(body_of(entry_of(counted(kind)))).fact

    assert hash(again) == hash(counted(kind))
    for field in fields(again):
        assert type(getattr(again, field.name)) is type(getattr(counted(kind), field.name))


@EVERY_KIND
def test_each_value_stands_under_its_own_name(kind: type[AnyFact]) -> None:
    fact = counted(kind)

    whole = json.loads(body_of(Entry(5, "act-6", MONDAY, MONDAY + timedelta(hours=7), "ruth", fact)))

    assert whole.pop("fact") == {field.name: plain(getattr(fact, field.name)) for field in fields(fact)}
    assert whole == {
        "act": "act-6",
        "at": "2026-01-26T09:15:30Z",
        "by": "ruth",
        "kind": kind.KIND,
        "seq": 5,
        "v": 1,
        "written": "2026-01-26T16:15:30Z",
    }


@given(entry=entries())
def test_text_reads_back_as_its_bytes_do(entry: Entry) -> None:
    assert read_body(body_of(entry).decode()) == entry


def test_the_same_instant_in_any_zone_is_written_in_the_same_bytes() -> None:
    east = MONDAY.astimezone(timezone(timedelta(hours=10, minutes=30)))
    here, there = (Entry(1, "a", at, at, "ruth", CopyReceived("c")) for at in (MONDAY, east))
    assert body_of(here) == body_of(there)


def test_a_time_without_a_zone_is_not_written() -> None:
    bare = datetime(2026, 1, 26, 9, 15)  # noqa: DTZ001  that is the point
    with pytest.raises(ValueError, match="has no time zone"):
        body_of(Entry(1, "a", bare, MONDAY, "ruth", CopyReceived("c")))


# --- canonical bytes: RFC 8785 (Rundgren, Jordan, Erdtman 2020) by the library of that name -------------------


@EVERY_KIND
@settings(deadline=None)
@given(data=st.data())
def test_the_bytes_are_those_of_rfc_8785(kind: type[AnyFact], data: st.DataObject) -> None:
    body = body_of(data.draw(entries(FACTS[kind])))
    assert body == rfc8785.dumps(json.loads(body))


def test_signs_that_need_care_are_written_as_rfc_8785_has_them() -> None:
    """The string of the standard's own example, section 3.2.2; the euro sign stays, controls are escaped."""
    text = "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/"
    body = body_of(Entry(1, text, MONDAY, MONDAY, "ruth", CopyReceived("c")))
    assert b'"act":"\xe2\x82\xac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"' in body


# --- the chain ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "digest"),
    [
        # FIPS 180-4 examples by NIST ("SHA256.pdf", cryptographic toolkit: 'abc'), and the empty message
        # of NIST's validation vectors (SHA256ShortMsg.rsp, Len = 0).
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
    ],
    ids=["abc", "nothing", "two blocks"],
)
def test_hashlib_itself_gives_the_published_vectors(text: bytes, digest: str) -> None:
    assert hashlib.sha256(text).hexdigest() == digest


def test_a_link_is_the_hash_of_the_link_before_and_the_body() -> None:
    """The message of 64 zeros and 'abc', given to hashlib as one."""
    assert link(ROOT, b"abc") == hashlib.sha256(b"0" * 64 + b"abc").hexdigest()


def test_an_independent_reader_of_ten_lines_agrees_with_the_chain() -> None:
    bodies = [body_of(entry) for entry in ONE_OF_EACH]
    assert broken_links(list(zip(chain(bodies), bodies, strict=True))) == []


@settings(deadline=None)
@given(data=st.data())
def test_one_changed_byte_anywhere_breaks_the_chain_at_its_place(data: st.DataObject) -> None:
    bodies = [body_of(entry) for entry in ONE_OF_EACH]
    links = list(chain(bodies))
    place = data.draw(st.integers(min_value=0, max_value=len(bodies) - 1))
    at = data.draw(st.integers(min_value=0, max_value=len(bodies[place]) - 1))
    flip = data.draw(st.integers(min_value=1, max_value=255))
    changed = bytearray(bodies[place])
    changed[at] ^= flip

    again = list(chain([*bodies[:place], bytes(changed), *bodies[place + 1 :]]))

    assert again[:place] == links[:place]
    assert all(a != b for a, b in zip(again[place:], links[place:], strict=True))


def test_a_dropped_a_doubled_and_a_swapped_entry_break_the_chain() -> None:
    bodies = [body_of(entry) for entry in ONE_OF_EACH[:6]]
    lines = list(zip(chain(bodies), bodies, strict=True))
    swapped = [
        (line[0], body)
        for line, body in zip(lines, [*bodies[:2], bodies[3], bodies[2], *bodies[4:]], strict=True)
    ]

    assert broken_links(lines) == []
    assert broken_links([*lines[:2], *lines[3:]])[0] == 3
    assert broken_links([*lines[:2], lines[1]]) == [3]
    assert broken_links(swapped)[0] == 3


def test_a_chain_goes_on_from_the_link_it_is_given() -> None:
    bodies = [body_of(entry) for entry in ONE_OF_EACH]
    links = list(chain(bodies))
    assert list(chain(bodies[9:], links[8])) == links[9:]


def test_words_apart_are_named_by_a_salted_hash() -> None:
    assert words_id("salt", "torn") == hashlib.sha256(b"salt\ntorn").hexdigest()
    assert words_id("pepper", "torn") != words_id("salt", "torn")


# --- damage ------------------------------------------------------------------------------------------------


def changed(**parts: object) -> bytes:
    whole = json.loads(body_of(entry_of(counted(PagesWorked))))
    return json.dumps({**whole, **parts}).encode()


def changed_fact(**parts: object) -> bytes:
    return changed(fact={**json.loads(body_of(entry_of(counted(PagesWorked))))["fact"], **parts})


def test_an_entry_of_a_newer_markstead_is_refused_and_says_what_to_do() -> None:
    with pytest.raises(
        DamagedRecordError, match=r"version 2; this Markstead reads version 1: use a newer one"
    ):
        read_body(changed(v=2))


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"null",
        b"[]",
        b"17",
        b'"copy received"',
        b"{}",
        b"\xff\xfe\x00",
        b'{"v":1}',
        body_of(ONE_OF_EACH[0])[:-1],
        body_of(ONE_OF_EACH[0])[1:],
        changed(kind="copy vanished"),
        changed(kind=["copy received"]),
        changed(at="yesterday"),
        changed(at=20260126),
        changed(written=None),
        changed(fact=None),
        changed(fact=[1, 2]),
        changed_fact(day="2026-02-30"),
        changed_fact(day=20260226),
        changed_fact(first=99, last=98),
        changed_fact(first="one"),
        changed_fact(minutes=1441),
        changed_fact(colour="blue"),
    ],
)
def test_damaged_bytes_are_refused_with_a_sentence_that_shows_them(body: bytes) -> None:
    with pytest.raises(DamagedRecordError) as refused:
        read_body(body)
    text = str(refused.value)
    assert text.startswith("an entry cannot be read (")
    assert repr(body[:120]) in text


@settings(deadline=None, max_examples=500)
@given(entry=entries(), dice=st.randoms(use_true_random=False))
def test_whatever_happens_to_the_bytes_they_are_read_or_refused_but_never_crash(
    entry: Entry, dice: random.Random
) -> None:
    body = bytearray(body_of(entry))
    for _ in range(dice.randrange(1, 4)):
        at = dice.randrange(len(body))
        body[at : at + dice.randrange(3)] = bytes(dice.randrange(256) for _ in range(dice.randrange(3)))
    try:
        again: object = read_body(bytes(body))
    except DamagedRecordError as error:
        again = error
    assert isinstance(again, Entry) or len(str(again)) < 1000
