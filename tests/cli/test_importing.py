"""`import` at the keyboard; what the files may hold is proved with the importer itself."""

import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import program
from tests.repository import ROOT

EXAMPLE = ROOT / "docs" / "reference" / "import-example"
COUNTS = {"written", "unchanged", "people", "copies", "facts", "dry_run"}


def test_the_example_is_imported_and_the_second_time_changes_nothing(tmp_path: Path) -> None:
    home = tmp_path / "home"
    first = program(home, "import", EXAMPLE, "--json")
    assert first.status == 0, first.err
    assert set(first.json) == COUNTS
    assert first.json["written"] > 0
    record = program(home, "history", "--limit", "1000", "--json").out
    again = program(home, "import", EXAMPLE, "--json")
    assert (again.status, again.json["written"]) == (0, 0)
    assert again.json["unchanged"] == first.json["written"]
    assert program(home, "history", "--limit", "1000", "--json").out == record
    assert program(home, "verify").status == 0


def test_a_dry_run_says_what_would_be_and_makes_no_home(tmp_path: Path) -> None:
    home = tmp_path / "home"
    answer = program(home, "import", EXAMPLE, "--dry-run")
    assert answer.status == 0, answer.err
    assert answer.out.startswith("All is well: ")
    assert not home.exists()


def test_problems_are_named_and_nothing_is_written(tmp_path: Path) -> None:
    home, folder = tmp_path / "home", tmp_path / "folder"
    shutil.copytree(EXAMPLE, folder)
    log = folder / "log.csv"
    log.write_text(
        log.read_text().replace("2026-01-07 09:00", "2026-02-30 09:00").replace("parts-1", "gone-1", 1)
    )
    for words in (["--dry-run"], []):
        answer = program(home, "import", folder, *words)
        assert answer.status == 2
        assert answer.out == ""
        assert "log.csv, row 2" in answer.err
    assert program(home, "today").status == 2


@pytest.mark.parametrize("words", [[], ["--dry-run"]])
def test_a_folder_that_is_not_there_is_named(tmp_path: Path, words: list[str]) -> None:
    answer = program(tmp_path / "home", "import", tmp_path / "nowhere", *words)
    assert answer.status == 2
    assert f"FROM: found nothing at {tmp_path / 'nowhere'}" in answer.err
    assert not (tmp_path / "home").exists()
