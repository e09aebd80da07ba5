"""The table of what leaves the house as a page of the documentation: PYTHONPATH=. python -m tests.spec.leaving_page."""

from pathlib import Path

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference" / "what-leaves-the-house.md"

HEAD = """# What leaves the house

Every row is asked of the rule itself by a test; the faults of packages are those that the tests plant. This page is printed from
the tables that the tests run (`tests/spec/leaving.py` and those that it names); do not edit it by hand, but write it anew with
`python -m tests.spec.leaving_page`. Dispatch, credits and results follow common practice of the trade, no source; New York's
figures are an example from 8 NYCRR 100.10. Law is local.
"""


def _cell(text: object) -> str:
    return str(text).replace("\\", "").replace("|", "\\|").replace("\n", " ")


def _part(title: str, head: tuple[str, ...], rows: list[tuple[object, ...]]) -> list[str]:
    lines = [f"## {title}", "", f"| {' | '.join(head)} |", f"|{' --- |' * len(head)}"]
    return [*lines, *(f"| {' | '.join(map(_cell, row))} |" for row in rows), ""]


def rendering() -> str:
    """The whole page."""
    from markstead.records.erasing import COVERED
    from tests.ledger.test_oneroster import FAULTS
    from tests.records.test_archive import DAMAGED
    from tests.spec.leaving import PARTS

    lines = [HEAD]
    for part, rows in PARTS.items():
        lines += _part(part, ("given", "asked", "answer"), [(r.given, r.asked, r.answer) for r in rows])
    damaged = [(name, "refused, nothing changed", says) for name, _, _, says in DAMAGED]
    lines += _part("An archive that is not as it was written", ("given", "answer", "says"), damaged)
    lines += _part(
        "A OneRoster package with a fault",
        ("where", "found", "allowed"),
        [(w, f, a) for _, w, f, a in FAULTS],
    )
    covered = [(f"`{model.__name__}`", how) for model, how in COVERED.items()]
    lines += _part("What erasure does with every table", ("table", "what becomes of it"), covered)
    return "\n".join(lines).rstrip("\n") + "\n"


if __name__ == "__main__":
    from benchmarks.house import scratch_home

    with scratch_home():
        PAGE.write_text(rendering(), encoding="utf-8")
