"""Every page of the demo and of a first evening through the Nu HTML checker of the W3C, in one go.

    python -m tests.tools.valid_html             what it says
    python -m tests.tools.valid_html --write     and write docs/reference/html.md

Wants a Java runtime (Debian: default-jre-headless) and the checker: a file vnu.jar named by VNU_JAR, or npm, which fetches
the package vnu-jar into a folder that is taken away again.
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from shutil import which
from time import perf_counter

from tests.tools.pictures import ROOT, Album, take

PAGE = ROOT / "docs" / "reference" / "html.md"


def checker(scratch: Path) -> Path:
    """The checker's file."""
    if kept := os.environ.get("VNU_JAR"):
        return Path(kept)
    if which("npm") is None:
        raise SystemExit("No vnu.jar: name one by VNU_JAR, or install npm, which fetches it.")
    subprocess.run(
        [
            "npm",
            "install",
            "--prefix",
            str(scratch),
            "--no-audit",
            "--no-fund",
            "--ignore-scripts",
            "vnu-jar",
        ],
        check=True,
        capture_output=True,
    )
    return next(scratch.glob("node_modules/vnu-jar/**/vnu.jar"))


def messages(jar: Path, folder: Path) -> Iterator[str]:
    """What the checker says, errors and warnings."""
    files = sorted(map(str, folder.glob("*.html")))
    said = subprocess.run(
        ["java", "-jar", str(jar), "--format", "json", "--exit-zero-always", *files],
        capture_output=True,
        text=True,
        check=True,
    ).stderr
    for message in json.loads(said)["messages"]:
        place = f"{Path(message['url']).name}:{message.get('lastLine', 0)}"
        yield f"{place}: {message.get('subType') or message['type']}: {message['message']}"


def main() -> None:
    """Take the pages, ask the checker, say and write what it found."""
    if which("java") is None:
        raise SystemExit("No Java runtime: install the package 'default-jre-headless'.")
    with tempfile.TemporaryDirectory(prefix="markstead-html-") as scratch:
        folder = Path(scratch, "pages")
        folder.mkdir()
        album = Album(folder, pictures=False, pages=True)
        take(album)
        jar = checker(Path(scratch))
        version = subprocess.run(
            ["java", "-jar", str(jar), "--version"], capture_output=True, text=True, check=True
        )
        begun = perf_counter()
        found = list(messages(jar, folder))
        seconds = perf_counter() - begun
        count = len(list(folder.glob("*.html")))
    told = [f"- {line}" for line in found] or ["Nothing: no error and no warning."]
    lines = [
        "# Validity of the pages",
        "",
        f"Taken on {datetime.now(UTC):%Y-%m-%d} with the Nu HTML checker {version.stdout.split()[0]}: {count} pages, all that",
        "[the table of doors](doors.md) lists, copies in every state, and the set-up of an empty home with wrong entries,",
        f"in one run of {seconds:.0f} s. Again: `python -m tests.tools.valid_html --write`.",
        "",
        *told,
        "",
        "In every run of the tests html5lib's strict parser and [rules of our own](../../tests/tools/html_rules.py) look at the same",
        "addresses in a small home (`tests/web/test_html.py`).",
    ]
    print("\n".join(found) or f"{count} pages are valid.")
    if "--write" in sys.argv[1:]:
        PAGE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    raise SystemExit(bool(found))


if __name__ == "__main__":
    main()
