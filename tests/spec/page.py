"""The table of the trade rules as a page of the documentation."""

from datetime import datetime
from pathlib import Path

from markstead.rules.bars import SENTENCES, Bar, BarKind, Weight
from markstead.rules.ruling import Role
from tests.spec.table import PARTS, Row

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "trade-rules.md"

HEAD = """# The rules of the trade

What may be done with a workbook, when, and by whom. These rules are common practice in the trade, no source; every
number in them is a rule of the programme that a home follows, here of a small invented one: 80 % passes both tests
(exactly 80 passes), from 40 % wrong on a quiz comes first, unit tests begin between 08:30 and 12:00, one a day for a
learner and two a morning in all, a calculator from year 7.

This page is printed from the table that the gates are tested with (`tests/spec/table.py`); do not edit it by hand,
but write it anew with `python -m tests.spec.write`. The workbook has section 1 (pages 1-2), check 1 (page 3) and
section 2 (pages 4-5); Asa, year 5, has the copy. *Given* names what happened last; all before it went by the rules.
Each act stands on its own.
"""

WEIGHTS = {
    Weight.WHO: "nobody: it says who may act",
    Weight.ORDER: "nobody: there is nothing to do it to",
    Weight.RULE: "an educator, with a reason that stays on the record",
}
ROLES = {
    Role.EDUCATOR: "educator",
    Role.HELPER: "helper",
    Role.LEARNER: "learner",
    Role.COORDINATOR: "coordinator",
    Role.LEFT: "somebody who has left",
}


def _who(row: Row) -> str:
    return "another learner" if row.by.id == "noa" else ROLES[row.by.role]


def _when(when: datetime) -> str:
    return f"{when:%a} {when.day} {when:%b %H:%M}"


def _verdict(row: Row) -> str:
    return "**refused**: " + "; ".join(row.bars) if row.bars else "allowed"


def _line(row: Row) -> str:
    given = f"{row.given.words}; {row.also}" if row.also else row.given.words
    return f"| {given} | {row.act} | {_who(row)} | {_when(row.when)} | {_verdict(row)} |"


def _bar_line(kind: BarKind) -> str:
    says, lifts = (text.replace("{", "*").replace("}", "*") for text in SENTENCES[kind])
    return f"| {kind} | {says} | {lifts} | {WEIGHTS[Bar(kind).weight]} |"


def rendering() -> str:
    """The whole page."""
    lines = [HEAD]
    for part, rows in PARTS.items():
        lines += [f"## {part}", "", "| given | act | by | when | answer |", "| --- | --- | --- | --- | --- |"]
        lines += [*(_line(row) for row in rows), ""]
    lines += [
        "## Every bar",
        "",
        "A shut gate names every bar, what lifts it, and whether it can be passed. Words in *slanted* letters are",
        "filled in by the case.",
        "",
        "| bar | says | what lifts it | who may pass it |",
        "| --- | --- | --- | --- |",
        *(_bar_line(kind) for kind in BarKind),
    ]
    return "\n".join(lines) + "\n"
