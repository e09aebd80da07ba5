"""Print the tables of docs/explanation/readiness.md, or with --write put them into it."""

import argparse
import sys
from pathlib import Path

from tests.worlds.report import tables

PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "readiness.md"
FROM, TO = "<!-- tables: python -m tests.worlds --write -->", "<!-- end of the tables -->"


def main() -> None:
    """Read the arguments, run the trials, print or write."""
    parser = argparse.ArgumentParser(prog="python -m tests.worlds", description=__doc__)
    parser.add_argument("--write", action="store_true", help="write the tables into the page")
    text = tables()
    if not parser.parse_args().write:
        sys.stdout.write(text + "\n")
        return
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(FROM)
    _, after = rest.split(TO)
    PAGE.write_text(f"{before}{FROM}\n\n{text}\n\n{TO}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
