"""The words that are printed on papers, apart from what a paper is about: its template asks for each by its English."""

from collections.abc import Mapping
from typing import Any

from markstead.speech import language, later, meant, say

_EVERY = (later("Page {page} of {pages}"), later("Learner"), later("Place and date"), later("Educator"))
_WORDS: Mapping[str, tuple[str, ...]] = {
    "attendance": (
        "School year",
        later("Record as of"),
        later("The register"),
        later("Days"),
        later("Hours"),
        later("Whole year"),
        later("full day"),
        later("half day"),
        later("absent"),
        later("a school day with nothing on the record"),
        later("no school"),
        later("Reporting periods"),
        later("Period"),
        later("From, to"),
        later("Half days"),
        later("Absent"),
        later("Against the chosen profile"),
        later("{name}: {there} of {asked}"),
        later("The upright stroke shows how much of the year's school days is over."),
        later("Profile: {profile}. Source: {source} {note}"),
    ),
    "dispatch": (
        later("Test papers, {month}"),
        "From",
        later("Dispatch of"),
        later("Enclosed"),
        later("Tracking"),
        later("none"),
        later("To the school (name and address)"),
        later("Course"),
        later("No."),
        later("Workbook"),
        later("Sat"),
        later("Right"),
        later("Result"),
        later("{verdict}, {ordinal} sitting"),
        later("No paper goes with this dispatch."),
        later("Missing from this parcel, and why"),
        later("Unit test"),
        later("Why"),
        later("Before the parcel is closed"),
        later("Gone already with this month's dispatch"),
        later("Sent on"),
        "Papers",
        later("Whose"),
        later("What went before: {month}"),
        later("Nothing was sent."),
        later("Closed on, by"),
        later("Handed in on, by"),
    ),
    "order_sheet": (
        later("Order sheet"),
        "To",
        "From",
        later("Date"),
        later("Expected by"),
        later("Send to (name and address)"),
        later("Code"),
        later("Workbook"),
        later("Course"),
        later("Copies"),
        later("Each"),
        later("Sum"),
        later("Total, {currency}"),
        later("Notes"),
        later("Ordered on, by"),
        later("Arrived on"),
        later("Your own copy"),
        later("For whom"),
        later(
            "Ordered from {supplier} on {day}. For your own folder: this page does not go to the supplier."
        ),
        later("For"),
        later("Needed about"),
    ),
    "portfolio": (
        later("Days"),
        later("Samples"),
        later("No sample of these days is kept."),
    ),
    "term_report": (
        later("Days"),
        later("Programme"),
        later("Record as of"),
        later(
            "In the drawings each workbook is a rule to scale: a long stroke is a marking stop, a notch a progress "
            "check, the double end its two tests. Black: pages worked in these days; grey: before. The bracket "
            "underneath runs over the pages that were planned. A heavy double end is a passed unit test."
        ),
        later("No."),
        later("Workbook"),
        later("Pages"),
        later("Practice test"),
        later("Unit test"),
        later("State"),
        later("To be explained:"),
        later("What the profile asks a report to say:"),
        later("{asked}. Profile: {profile}."),
    ),
    "transcript": (
        later("Programme"),
        later("Unit tests passed"),
        later("Record as of"),
        later("Workbooks passed"),
        later("Credits"),
        later("Mean"),
        later("none yet"),
        later("Course"),
        later("Result"),
        later("Grade"),
        later("Nothing is passed yet."),
        later("No."),
        later("Workbook"),
        later("Passed on"),
        later("Right"),
        later("How it is counted"),
    ),
}
"""By template, of the folder `papers`."""


def _in_a_sense() -> dict[str, str]:
    """Those of them that other languages have several words for."""
    return {
        "School year": meant("School year", "in time"),
        "From": meant("From", "sender"),
        "To": meant("To", "recipient"),
        "Papers": meant("Papers", "of tests"),
    }


def lettering(template: str) -> dict[str, Any]:
    """The words of a template by their English, and the language they are in as Typst knows it."""
    lang, _, region = language().code.partition("-")
    senses = _in_a_sense()
    words = {text: senses.get(text) or say(text) for text in (*_EVERY, *_WORDS[template])}
    return {
        # Typst sets a curved apostrophe in its own text alone.
        "words": {text: said.replace("'", "’") for text, said in words.items()},
        "tongue": {"lang": lang, "region": region or None},
    }
