"""`demo`: an invented household in a folder of its own, which never touches a real home."""

import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Answer, program


def run(home: Path, *words: object) -> Answer:
    """The home of the environment is somebody's real one; the demo goes where it is told."""
    return program(home.parent / "real-home", "demo", "--no-serve", "--home", home, *words)


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Answer]:
    home = tmp_path_factory.mktemp("demo") / "demo"
    return home, run(home)


@pytest.mark.slow
def test_the_demo_says_how_to_sign_in_and_that_everybody_is_invented(built: tuple[Path, Answer]) -> None:
    home, answer = built
    assert answer.status == 0, answer.err
    assert "Everybody in it is invented." in answer.out
    assert "Sign in as " in answer.out
    assert "The learners' PIN at a tablet" in answer.out
    assert not (home.parent / "real-home").exists()


@pytest.mark.slow
def test_the_demo_ends_on_a_school_morning_with_calls_waiting(built: tuple[Path, Answer]) -> None:
    home, _ = built
    today = program(home, "today", "--json").json
    assert today["closed"] is None
    assert today["time"] < "12:00"
    assert today["calls"]
    assert len(today["learners"]) == 3
    assert today["facts"] >= 8000
    assert program(home, "verify").status == 0


@pytest.mark.slow
def test_a_demo_is_kept_until_it_is_asked_for_afresh(built: tuple[Path, Answer], tmp_path: Path) -> None:
    home = tmp_path / "demo"
    shutil.copytree(built[0], home)
    before = program(home, "today", "--json").json["facts"]
    assert program(home, "undo", "--yes").status == 0
    kept = run(home)
    assert kept.status == 0
    assert "is as you left it" in kept.out
    after = program(home, "today", "--json").json["facts"]
    assert after > before
    assert run(home, "--fresh").status == 0
    assert program(home, "today", "--json").json["facts"] == before


def test_a_real_home_is_never_made_a_demo(new_home: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    shutil.copytree(new_home, home)
    before = (home / "markstead.sqlite3").read_bytes()
    for words in ([], ["--fresh"]):
        answer = run(home, *words)
        assert answer.status == 2
        assert "a home that is no demo" in answer.err
    assert (home / "markstead.sqlite3").read_bytes() == before
