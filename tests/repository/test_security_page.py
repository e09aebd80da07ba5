"""The page on security against the standard: all of level 1, each number once, each test there."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "reference" / "security.md"
_LEVEL_1 = """
1.2.1 1.2.2 1.2.3 1.2.4 1.2.5 1.3.1 1.3.2 1.5.1 2.1.1 2.2.1 2.2.2 2.3.1 3.2.1 3.2.2 3.3.1 3.4.1 3.4.2 3.5.1 3.5.2 3.5.3
4.1.1 4.4.1 5.2.1 5.2.2 5.3.1 5.3.2 6.1.1 6.2.1 6.2.2 6.2.3 6.2.4 6.2.5 6.2.6 6.2.7 6.2.8 6.3.1 6.3.2 6.4.1 6.4.2
7.2.1 7.2.2 7.2.3 7.2.4 7.4.1 7.4.2 8.1.1 8.2.1 8.2.2 8.3.1 9.1.1 9.1.2 9.1.3 9.2.1 10.4.1 10.4.2 10.4.3 10.4.4 10.4.5
11.3.1 11.3.2 11.4.1 12.1.1 12.2.1 12.2.2 13.4.1 14.2.1 14.3.1 15.1.1 15.2.1 15.3.1
"""
"""OWASP Application Security Verification Standard 5.0.0 (2025), the requirements of level 1."""
LEVEL_1 = _LEVEL_1.split()


def rows() -> list[list[str]]:
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    return [
        [cell.strip() for cell in line.strip("|").split("|")] for line in lines if re.match(r"\| \d", line)
    ]


def names_in(file: Path) -> set[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_requirement_of_level_1_stands_there_once() -> None:
    assert len(LEVEL_1) == 70
    assert sorted(row[0] for row in rows()) == sorted(LEVEL_1)


def test_every_test_that_is_named_is_there() -> None:
    met = [row for row in rows() if len(row) == 4]
    assert len(met) > 50
    for number, _, how, shown in met:
        file, _, name = shown.strip("`").partition("::")
        assert how, number
        assert (ROOT / file).is_file(), f"{number}: {file}"
        assert name in names_in(ROOT / file), f"{number}: {name}"


def test_whatever_does_not_apply_says_why() -> None:
    assert all(row[2] for row in rows() if len(row) == 3)
