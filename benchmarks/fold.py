"""Line 2: how many facts a second are folded, and what `verify` costs beside hashing and parsing the same bytes."""

import gc
import json
import resource
from dataclasses import dataclass
from hashlib import sha256

from benchmarks.house import HOUSEHOLD, both


@dataclass(frozen=True, slots=True)
class Reading:
    """Seconds of the processor for one pass over the record, and of `verify` by the wall clock too."""

    facts: int
    fold: float
    hash_and_parse: float
    verify: float
    verify_wall: float
    verify_megabytes: float

    @property
    def facts_a_second(self) -> float:
        return self.facts / self.fold

    @property
    def ratio(self) -> float:
        return self.verify / self.hash_and_parse


def _hash_and_parse(bodies: list[bytes]) -> None:
    link = "0" * 64
    for body in bodies:
        link = sha256(link.encode() + body).hexdigest()
        json.loads(body)


def _peak() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def reading() -> Reading:
    """Fold, verify, and hash and parse the whole record of the home.

    Raises:
        RuntimeError: the record does not hold, so that its figures would mean nothing.
    """
    from markstead.ledger.serial import read_body
    from markstead.records.models import Entry
    from markstead.records.upkeep import verify
    from markstead.rules.standing import standings_of

    before = _peak()
    verdicts = []
    wall, cpu = both(lambda: verdicts.append(verify(HOUSEHOLD)))
    if not verdicts[0].holds:
        raise RuntimeError(verdicts[0].problem)
    grown = _peak() - before
    rows = Entry.objects.filter(household=HOUSEHOLD).order_by("seq").values_list("body", flat=True)
    bodies = [body.encode() for body in rows.iterator(chunk_size=5000)]
    _, plain = both(lambda: _hash_and_parse(bodies))
    entries = [read_body(body) for body in bodies]
    gc.collect()
    _, fold = both(lambda: standings_of(entries))
    return Reading(len(bodies), fold, plain, cpu, wall, grown)
