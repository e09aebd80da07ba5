"""The documentation holds together: links lead somewhere, decisions have one shape."""

import re
from pathlib import Path

import pytest

from tests.repository import ROOT, kept_files

DECISIONS = ROOT / "docs" / "decisions"
LINK = re.compile(r"\]\((?!https?:|mailto:|#)([^)#\s]+)(?:#[^)]*)?\)")


def decisions() -> list[Path]:
    return sorted(DECISIONS.glob("[0-9]*.md"))


def test_every_link_between_our_pages_leads_to_a_file() -> None:
    broken = [
        f"{page.relative_to(ROOT)}: {target}"
        for page in kept_files()
        if page.suffix == ".md"
        for target in LINK.findall(page.read_text(encoding="utf-8"))
        if not (page.parent / target).exists()
    ]
    assert not broken, "\n".join(broken)


def test_every_page_is_reached_from_the_index() -> None:
    reached: set[Path] = set()
    to_read = [ROOT / "docs" / "index.md"]
    while to_read:
        page = to_read.pop()
        if page in reached or page.suffix != ".md" or not page.is_file():
            continue
        reached.add(page)
        to_read += [
            (page.parent / target).resolve() for target in LINK.findall(page.read_text(encoding="utf-8"))
        ]
    lost = {page for page in (ROOT / "docs").rglob("*.md") if page not in reached}
    assert not lost, sorted(str(page.relative_to(ROOT)) for page in lost)


def test_decisions_are_numbered_without_a_gap() -> None:
    numbers = [int(path.name[:4]) for path in decisions()]
    assert numbers == list(range(1, len(numbers) + 1))
    assert numbers


@pytest.mark.parametrize("path", decisions(), ids=lambda path: path.stem)
def test_a_decision_tells_context_decision_and_consequences(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert re.match(rf"# {path.name[:4]} .+\n", text)
    assert re.findall(r"^## (.+)$", text, flags=re.MULTILINE) == ["Context", "Decision", "Consequences"]
    # About twenty lines: what needs more is an explanation, and belongs to docs/explanation.
    assert len(text.splitlines()) <= 30
