"""The serial form of the record: one canonical JSON object an entry, and the chain of hashes over them.

The bytes follow RFC 8785 (JSON Canonicalization Scheme): sorted keys, no white space, UTF-8. The record holds
no floating-point number, so the standard library writes exactly that form. Each link is
SHA-256(previous link, as 64 hex digits in ASCII, followed by the body's bytes); the first previous link is
64 zeros. Ten lines in any language read and check it.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime
from hashlib import sha256
from typing import Any, NoReturn

from markstead.errors import DamagedRecordError
from markstead.ledger.facts import KINDS, AnyFact, PersonId, Presence, Step
from markstead.speech import say

VERSION = 1
ROOT = "0" * 64
"""What the first entry of a record is linked to."""

_BY_KEY: dict[str, Callable[[Any], Any]] = {
    "day": date.fromisoformat,
    "expected": date.fromisoformat,
    "step": Step,
    "presence": Presence,
    "wrong": tuple,
    "aids": tuple,
    "bars": tuple,
    "stops": tuple,
    "answers": lambda pairs: tuple((question, right) for question, right in pairs),
}
_FIELDS: dict[type, tuple[str, ...]] = {fact: tuple(f.name for f in fields(fact)) for fact in KINDS.values()}
_READERS: dict[type, tuple[tuple[str, Callable[[Any], Any]], ...]] = {
    fact: tuple((name, _BY_KEY[name]) for name in names if name in _BY_KEY) for fact, names in _FIELDS.items()
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One fact on the record: its place, who noted it, when it happened and when it was written down."""

    seq: int
    act: str
    """Id of the act that wrote it; the facts of one act share it."""
    at: datetime
    written: datetime
    by: PersonId
    fact: AnyFact


def _instant(value: datetime) -> str:
    if value.tzinfo is None:
        raise ValueError(f"{value!r} has no time zone; the record keeps instants")
    return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _plain(value: object) -> NoReturn:
    raise TypeError(f"{value!r} is no plain value")


def _out(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


def body_of(entry: Entry) -> bytes:
    """Write an entry as its canonical bytes."""
    fact = entry.fact
    payload = {name: _out(getattr(fact, name)) for name in _FIELDS[type(fact)]}
    whole = {
        "act": entry.act,
        "at": _instant(entry.at),
        "by": entry.by,
        "fact": payload,
        "kind": fact.KIND,
        "seq": entry.seq,
        "v": VERSION,
        "written": _instant(entry.written),
    }
    text = json.dumps(
        whole, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False, default=_plain
    )
    return text.encode()


def read_body(body: bytes | str) -> Entry:
    """Read an entry back.

    Raises:
        DamagedRecordError: the bytes are no entry of a version that this Markstead knows.
    """
    try:
        whole = json.loads(body)
        if whole["v"] != VERSION:
            raise DamagedRecordError(
                say(
                    "an entry has version {found}; this Markstead reads version {version}: use a newer one",
                    found=whole["v"],
                    version=VERSION,
                )
            )
        kind = KINDS[whole["kind"]]
        payload = whole["fact"]
        for name, read in _READERS[kind]:
            value = payload[name]
            if value is not None:
                payload[name] = read(value)
        return Entry(
            whole["seq"],
            whole["act"],
            datetime.fromisoformat(whole["at"]),
            datetime.fromisoformat(whole["written"]),
            whole["by"],
            kind(**payload),
        )
    except (ValueError, KeyError, TypeError) as error:
        raise DamagedRecordError(
            say("an entry cannot be read ({error}): {body!r}", error=error, body=body[:120])
        ) from error


def link(previous: str, body: bytes) -> str:
    """Hash one entry onto the chain."""
    return sha256(previous.encode() + body).hexdigest()


def chain(bodies: Iterable[bytes], previous: str = ROOT) -> Iterator[str]:
    """Yield the link of each body in turn."""
    for body in bodies:
        previous = link(previous, body)
        yield previous


def words_id(salt: str, text: str) -> str:
    """Digest of words that are kept apart from the record, salted so that nobody can guess them back."""
    return sha256(f"{salt}\n{text}".encode()).hexdigest()
