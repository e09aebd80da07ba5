"""Text in a table that somebody opens in a spreadsheet: what begins like a formula would be reckoned with
(OWASP, CSV Injection)."""

import re

_FORMULA = re.compile(r"'* *[=+\-@\t\r\n]")
_GUARDED = re.compile(r"'+ *[=+\-@\t\r\n]")


def guarded(text: str) -> str:
    """Text as it may stand in a cell: an apostrophe stands before what begins like a formula."""
    return f"'{text}" if _FORMULA.match(text) else text


def plain(text: str) -> str:
    """Text out of a cell, without the apostrophe that guards it."""
    return text[1:] if _GUARDED.match(text) else text
