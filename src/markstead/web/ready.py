"""Readiness in the words that every page uses."""

from collections import OrderedDict
from dataclasses import dataclass

from markstead.measure.passing import of_children
from markstead.measure.readings import CopyReading


@dataclass(frozen=True, slots=True)
class ReadinessWords:
    """Readiness as it is shown everywhere: of ten children, the range of answers right, how much the marks tell."""

    chance: str
    """about 8 of 10 pass"""
    range: str
    """27 to 39 of 40 right"""
    evidence: str
    advice: str
    """'sit', 'hold 2 days', 'more than review is needed', or empty before a practice test."""
    sentence: str
    """The advice with its numbers."""
    percent: str
    percent_range: str


def of_ten(chance: float) -> str:
    """A probability as a parent says it: about 8 of 10 pass."""
    number, _, verb = of_children(chance, 10).rpartition(" ")
    return f"{number} of 10 {verb}"


_SAID: OrderedDict[int, tuple[CopyReading, ReadinessWords]] = OrderedDict()
_MOST = 1024


def readiness_words(reading: CopyReading) -> ReadinessWords:
    """Put a reading into words; a reading that is remembered is the same object, and so are its words."""
    kept = _SAID.get(id(reading))
    if kept is not None and kept[0] is reading:
        return kept[1]
    words = _words(reading)
    _SAID[id(reading)] = (reading, words)
    if len(_SAID) > _MOST:
        _SAID.popitem(last=False)
    return words


def _words(reading: CopyReading) -> ReadinessWords:
    r, advice = reading.readiness, reading.advice
    low, high = r.shown_range
    told = ""
    if advice is not None:
        days = "1 day" if advice.days == 1 else f"{advice.days} days"
        told = f"hold {days}" if advice.days else str(advice.advice)
    return ReadinessWords(
        chance=of_ten(r.chance),
        range=f"{r.score_low} to {r.score_high} of {r.asked} right",
        evidence=str(r.evidence),
        advice=told,
        sentence=advice.sentence if advice is not None else r.sentence,
        percent=f"{r.shown_percent} %",
        percent_range=f"{low} to {high} %",
    )
