"""Readiness in the words that every page uses."""

from collections import OrderedDict
from dataclasses import dataclass

from markstead.measure.readings import CopyReading
from markstead.speech import counted, language, say


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
    passing = round(10 * chance)
    if passing < 1:
        return say("hardly one of 10 passes")
    if passing >= 10:
        return say("nearly all of 10 pass")
    return counted(passing, "about {n} of 10 passes", "about {n} of 10 pass")


_SAID: OrderedDict[tuple[int, str], tuple[CopyReading, ReadinessWords]] = OrderedDict()
_MOST = 1024


def readiness_words(reading: CopyReading) -> ReadinessWords:
    """Put a reading into words; a reading that is remembered is the same object, and so are its words."""
    key = id(reading), language().code
    kept = _SAID.get(key)
    if kept is not None and kept[0] is reading:
        return kept[1]
    words = _words(reading)
    _SAID[key] = (reading, words)
    if len(_SAID) > _MOST:
        _SAID.popitem(last=False)
    return words


def _words(reading: CopyReading) -> ReadinessWords:
    r, advice = reading.readiness, reading.advice
    low, high = r.shown_range
    told = ""
    if advice is not None:
        told = counted(advice.days, "hold {n} day", "hold {n} days") if advice.days else say(advice.advice)
    return ReadinessWords(
        chance=of_ten(r.chance),
        range=say("{low} to {high} of {asked} right", low=r.score_low, high=r.score_high, asked=r.asked),
        evidence=say(r.evidence),
        advice=told,
        sentence=advice.sentence if advice is not None else r.sentence,
        percent=f"{r.shown_percent} %",
        percent_range=say("{low} to {high} %", low=low, high=high),
    )
