"""Spot checks of self-marking: how many ticks to mark again, which, and when to mark a section together.

How many: the fewest of which a batch with too many slips would be missed with probability at most five in a hundred,
by a beta-binomial count of the slips and hypergeometric drawing (attribute sampling without replacement, as in audit:
Arens & Loebbecke 1981, *Applications of Statistical Sampling to Auditing*, from memory). When to mark together: an
e-value, so that looking every day costs nothing (Ramdas, Gruenwald, Vovk & Shafer 2023, Stat. Sci. 38(4), 576-601;
arXiv 2210.01948). A slip is a tick on a wrong answer; a spot check is a routine and says nothing about a child.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from math import exp, log
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from markstead.speech import counted, say

Floats = NDArray[np.float64]
T = TypeVar("T")

PRIOR_SLIPS, PRIOR_RIGHT = 0.6, 11.4
"""Before the first spot check: one tick in twenty wrong, worth twelve ticks."""
FADE = 0.97
"""What a marking day leaves of the days before it: a memory of some 33 marking days."""
RISK = 0.05
LEAST = 2


@dataclass(frozen=True, slots=True)
class MarkingDay:
    """A day on which the learner marked: how many ticks were marked again, and how many of them were slips."""

    day: date
    seen: int = 0
    slips: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.slips <= self.seen:
            raise ValueError(f"a day needs 0 <= slips <= seen, got {self.slips} slips of {self.seen} ticks")


@dataclass(frozen=True, slots=True)
class SpotRecord:
    """Ticks marked again and slips among them, older days fading."""

    seen: float = 0.0
    slips: float = 0.0

    @property
    def beta(self) -> tuple[float, float]:
        """The two parameters of the belief in the share of slips."""
        return PRIOR_SLIPS + self.slips, PRIOR_RIGHT + self.seen - self.slips

    def with_more(self, seen: int, slips: int) -> "SpotRecord":
        """The same with ticks of today."""
        return SpotRecord(self.seen + seen, self.slips + slips)


def record_of(days: Sequence[MarkingDay]) -> SpotRecord:
    """Gather the days before today, each fading by every marking day after it."""
    seen = slips = 0.0
    for day in days:
        seen, slips = FADE * (seen + day.seen), FADE * (slips + day.slips)
    return SpotRecord(seen, slips)


def too_many(ticks: int) -> int:
    """How many slips make a batch one that should not slip through: a tenth of the ticks, at least two."""
    return max(2, -(-ticks // 10))


def slip_through(look: int, ticks: int, a: float, b: float) -> float:
    """Probability that a batch has too many slips and `look` ticks drawn by chance show none of them.

    Slips are beta-binomial with parameters `a` and `b`; drawing is without replacement.

    Raises:
        ValueError: fewer than 0 or more than all ticks are looked at, or a parameter is not positive.
    """
    if not 0 <= look <= ticks:
        raise ValueError(f"of {ticks} ticks 0 to {ticks} can be looked at, got {look}")
    return float(_slip_table(ticks, np.array([a]), np.array([b]))[0, look])


def need(ticks: int, a: float, b: float, risk: float = RISK, least: int = LEAST) -> int:
    """The fewest ticks to mark again, so that a batch with too many slips slips through at most with `risk`.

    Raises:
        ValueError: there are fewer than 0 ticks, or a parameter is not positive.
    """
    return int(needs(ticks, np.array([a]), np.array([b]), risk, least)[0])


def needs(ticks: int, a: Floats, b: Floats, risk: float = RISK, least: int = LEAST) -> NDArray[np.int64]:
    """`need` for many records at once: `a` and `b` are arrays of one shape [records].

    Raises:
        ValueError: there are fewer than 0 ticks, or a parameter is not positive.
    """
    enough = _slip_table(ticks, a, b) <= risk
    enough[:, : min(max(least, 0), ticks)] = False
    enough[:, ticks] = True
    first: NDArray[np.int64] = enough.argmax(axis=1)
    return first


def _slip_table(ticks: int, a: Floats, b: Floats) -> Floats:
    """Chance to slip through: [records, looks], looks from 0 to `ticks`."""
    if ticks < 0 or not (np.all(a > 0) and np.all(b > 0)):
        raise ValueError(f"ticks must not be negative, nor a or b 0 or less; got {ticks} ticks, {a} and {b}")
    bad = range(too_many(ticks), ticks + 1)
    table: Floats = _beta_binomial(ticks, a, b)[:, bad.start :] @ unseen(ticks)[bad.start :]
    return table


def _beta_binomial(ticks: int, a: Floats, b: Floats) -> Floats:
    """Probabilities of 0 to `ticks` slips: [records, ticks + 1], each from the one before."""
    a, b = a[:, None], b[:, None]
    k = np.arange(ticks)
    none = np.log((b + k) / (a + b + k)).sum(axis=1, keepdims=True)
    steps = np.log((ticks - k) / (k + 1) * (a + k) / (b + ticks - 1 - k))
    table: Floats = np.exp(np.cumsum(np.hstack([none, steps]), axis=1))
    return table


@lru_cache(maxsize=256)
def unseen(ticks: int) -> Floats:
    """Hypergeometric chance C(ticks - slips, looks) / C(ticks, looks) that a draw shows no slip: [slips, looks]."""
    slips = np.arange(ticks + 1)
    table = np.ones((ticks + 1, ticks + 1))
    for look in range(ticks):
        table[:, look + 1] = table[:, look] * np.maximum(ticks - slips - look, 0) / (ticks - look)
    table.flags.writeable = False  # it is kept and handed to everybody
    return table


def draw(ticked: Sequence[T], seed: bytes) -> tuple[T, ...]:
    """Put all ticks into an order drawn by chance from a secret seed: the first ones are looked at, then the next.

    The seed is that of one batch and is known to nobody who marks; the order is settled once the batch is handed over.

    Raises:
        ValueError: the seed is empty.
    """
    if not seed:
        raise ValueError("a draw needs a seed of at least one byte")
    generator = np.random.Generator(np.random.PCG64(int.from_bytes(seed, "big")))
    return tuple(ticked[i] for i in generator.permutation(len(ticked)))


def more(ticks: int, seen: int, slips: int, record: SpotRecord, least: int = LEAST) -> int:
    """How many more ticks of a batch to mark again, after `seen` of them with so many slips.

    Without a slip, as many as the record asked for at the start: ticks that were right do not shorten the draw that
    they are part of. After a slip the belief is brought up to date by what was seen, and the draw goes on until it is
    long enough under that. 0: it is enough, or all were looked at.

    Raises:
        ValueError: more ticks were seen than there are, or more slips than were seen.
    """
    if not 0 <= slips <= seen <= ticks:
        raise ValueError(f"a batch needs 0 <= slips <= seen <= ticks, got {slips}, {seen} and {ticks}")
    wanted = need(ticks, *record.beta, least=least)
    if slips:
        wanted = max(wanted, need(ticks, *record.with_more(seen, slips).beta, least=least))
    return max(0, wanted - seen)


def sentence(more_now: int, seen: int, slips: int) -> str:
    """What to do, in words for the educator."""
    if not more_now:
        if seen:
            return say("The spot check is done: nothing more to mark again.")
        return say("Nothing was marked that wants a spot check.")
    if not seen:
        return counted(
            more_now,
            "Mark {n} answer again that the learner ticked: a routine, drawn by lot.",
            "Mark {n} answers again that the learner ticked: a routine, drawn by lot.",
        )
    if slips:
        return counted(
            more_now,
            "{slips}: mark {n} more answer of the same batch again.",
            "{slips}: mark {n} more answers of the same batch again.",
            slips=counted(slips, "One tick was a slip", "{n} ticks were slips"),
        )
    return counted(more_now, "Mark {n} more answer again.", "Mark {n} more answers again.")


# --- mark one section together ----------------------------------------------------------------------------------

TOLERATED = 0.02
ALTERNATIVES = (0.06, 0.12, 0.25)
"""Only rates above the tolerated one: a mixture that reaches below it would point at everybody in the end."""
SHOW_AT = 60.0
SPAN = 60
"""School days after which the count begins anew."""


@dataclass(frozen=True, slots=True)
class Together:
    """Whether to propose that one section be marked together; for the educator alone."""

    show: bool
    e_value: float
    seen: int
    slips: int
    sentence: str


def e_value(slips: int, seen: int) -> float:
    """Evidence against 'at most 2 in 100 ticks are slips': the mean of three likelihood ratios.

    By Ville's inequality it reaches 60 at any time with probability at most 1/60, however the ticks were chosen.
    """
    logs = [
        slips * log(rate / TOLERATED) + (seen - slips) * log((1 - rate) / (1 - TOLERATED))
        for rate in ALTERNATIVES
    ]
    top = max(logs)
    return exp(top) * sum(exp(x - top) for x in logs) / len(logs)


def mark_together(days: Sequence[MarkingDay], school_day: Sequence[int]) -> Together:
    """Weigh the days of the current span of sixty school days; `school_day` numbers each of `days` from 0.

    Once shown, the proposal stands until the span ends. Three slips on two days are wanted besides: a single bad day has
    reasons of its own.

    Raises:
        ValueError: not every day has its number.
    """
    if len(days) != len(school_day):
        raise ValueError(f"{len(days)} days have {len(school_day)} numbers; each has one")
    span = school_day[-1] // SPAN if school_day else 0
    evidence, seen, slips, with_slips, show = 1.0, 0, 0, 0, False
    for day, number in zip(days, school_day, strict=True):
        if number // SPAN != span:
            continue
        seen, slips, with_slips = seen + day.seen, slips + day.slips, with_slips + (day.slips > 0)
        evidence = e_value(slips, seen)
        show = show or (evidence >= SHOW_AT and slips >= 3 and with_slips >= 2)
    words = say(
        "{slips} of {seen} ticks that were marked again were slips. Mark one section together: read the key aloud, "
        "let the learner compare, and go through what counts as right. Slips in marking are common and are learnt away.",
        slips=slips,
        seen=seen,
    )
    return Together(show, evidence, seen, slips, words if show else "")
