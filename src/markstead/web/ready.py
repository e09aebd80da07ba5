"""Readiness in the words that every page uses."""

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


def readiness_words(reading: CopyReading) -> ReadinessWords:
    """Put a reading into words."""
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
