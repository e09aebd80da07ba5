"""Tables that stand in the documentation between two comments, and are written anew by the command that takes them."""

from pathlib import Path

DOCS = Path(__file__).resolve().parent.parent / "docs"
BARS = DOCS / "reference" / "benchmarks.md"


def marks(part: str) -> tuple[str, str]:
    """The comments before and after a table."""
    return f"<!-- {part}: begin -->", f"<!-- {part}: end -->"


def between(text: str, part: str) -> str:
    """What stands between the marks of a table."""
    begin, end = marks(part)
    return text.split(begin)[1].split(end)[0]


def written(text: str, part: str, table: str) -> str:
    """A page's text with a table between its marks, whatever stood there."""
    begin, end = marks(part)
    before, rest = text.split(begin)
    return f"{before}{begin}\n\n{table.strip()}\n\n{end}{rest.split(end)[1]}"


def put(part: str, table: str, page: Path = BARS) -> None:
    """Write a table into its page."""
    page.write_text(written(page.read_text(encoding="utf-8"), part, table), encoding="utf-8")
