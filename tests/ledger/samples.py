"""Facts and entries of every kind, built from the fields that their classes declare."""

import types
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any, Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st

from markstead.ledger.facts import KINDS, AnyFact, Presence, SpotCheckHeld, Step
from markstead.ledger.serial import Entry

# RFC 8785 takes its numbers from IEEE 754 doubles: beyond 2**53 - 1 an integer has no canonical form there.
WHOLE = st.integers(min_value=1, max_value=2**53 - 1)
DAYS = st.dates(min_value=date(1950, 1, 1), max_value=date(2150, 12, 31))
ZONES = st.integers(min_value=-14 * 60, max_value=14 * 60).map(lambda m: timezone(timedelta(minutes=m)))
INSTANTS = st.datetimes(
    min_value=datetime(1950, 1, 1),  # noqa: DTZ001  the zone comes from the next argument
    max_value=datetime(2150, 12, 31),  # noqa: DTZ001
    timezones=ZONES,
).map(lambda instant: instant.replace(microsecond=0))
IDS = st.text(min_size=1, max_size=12)


def _values(declared: Any) -> st.SearchStrategy[Any]:
    """Whatever the declared type of a field allows."""
    if get_origin(declared) in (Union, types.UnionType):
        return st.one_of([st.none() if part is type(None) else _values(part) for part in get_args(declared)])
    if declared is str:
        return IDS
    if declared is bool:
        return st.booleans()
    if declared is int:
        return WHOLE
    if declared is date:
        return DAYS
    if declared in (Step, Presence):
        return st.sampled_from(list(declared))
    if declared == tuple[int, ...]:
        return st.sets(WHOLE, max_size=6).map(lambda numbers: tuple(sorted(numbers)))
    if declared == tuple[str, ...]:
        return st.lists(IDS, min_size=1, max_size=4).map(tuple)
    if declared == tuple[tuple[int, bool], ...]:
        return st.lists(st.tuples(WHOLE, st.booleans()), min_size=1, max_size=4).map(tuple)
    raise TypeError(f"no values for {declared}: tell here what such a field may hold")


@st.composite
def _sensible(draw: st.DrawFn, kind: type[AnyFact]) -> AnyFact:
    hints = get_type_hints(kind)
    values = {field.name: draw(_values(hints[field.name])) for field in fields(kind)}
    if values.get("first") is not None and values.get("last") is not None:
        values["first"], values["last"] = sorted((values["first"], values["last"]))
    elif "first" in values:
        values["first"] = values["last"] = None
    if "minutes" in values and values["minutes"] is not None:
        values["minutes"] = values["minutes"] % 1441
    if kind is SpotCheckHeld:  # a tick is looked at once
        values["answers"] = tuple(dict(values["answers"]).items())
    if "asked" in values:
        values["asked"] = draw(st.integers(min_value=8, max_value=200))
        most = values["asked"]
        wrong = draw(st.sets(st.integers(min_value=1, max_value=most), max_size=8))
        values["wrong"] = tuple(sorted(wrong))
        if "right" in values:
            values["right"] = most - len(wrong) if wrong else draw(st.integers(min_value=0, max_value=most))
    return kind(**values)


FACTS = {kind: _sensible(kind) for kind in KINDS.values()}
ANY_FACT: st.SearchStrategy[AnyFact] = st.one_of(list(FACTS.values()))


@st.composite
def entries(draw: st.DrawFn, fact: st.SearchStrategy[AnyFact] = ANY_FACT) -> Entry:
    """An entry with a fact; every value of it is drawn on its own."""
    return Entry(draw(WHOLE), draw(IDS), draw(INSTANTS), draw(INSTANTS), draw(IDS), draw(fact))


def counted(kind: type[AnyFact]) -> AnyFact:
    """One fact of a kind in which no two fields share a value, so that mixing two up shows."""
    number = iter(range(11, 99))

    def value(declared: Any) -> Any:
        if get_origin(declared) in (Union, types.UnionType):
            declared = next(part for part in get_args(declared) if part is not type(None))
        n = next(number)
        if declared is str:
            return f"word-{n}"
        if declared is bool:
            return True
        if declared is int:
            return n
        if declared is date:
            return date(2026, 3, n - 10)
        if declared is Step:
            return list(Step)[n % len(Step)]
        if declared is Presence:
            return Presence.HALF
        if declared == tuple[int, ...]:
            return (n, next(number))
        if declared == tuple[str, ...]:
            return (f"word-{n}", f"word-{next(number)}")
        return ((n, True), (next(number), False))  # no number twice, as a spot check wants it

    hints = get_type_hints(kind)
    values = {field.name: value(hints[field.name]) for field in fields(kind)}
    if "asked" in values:  # right + wrong must make up asked
        values |= {"asked": 40, "wrong": (7, 23)}
        if "right" in values:
            values["right"] = 38
    return kind(**values)


MONDAY = datetime(2026, 1, 26, 9, 15, 30, tzinfo=UTC)


def entry_of(fact: AnyFact, seq: int = 1) -> Entry:
    """A plain entry: written down an hour after it happened."""
    return Entry(
        seq, f"act-{seq}", MONDAY + timedelta(minutes=seq), MONDAY + timedelta(minutes=seq + 60), "ruth", fact
    )
