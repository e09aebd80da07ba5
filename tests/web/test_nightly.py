"""The running server looks whether a backup is due, and begins one beside itself."""

import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from markstead.records import backups
from markstead.records.home import Home
from markstead.web import beside, nightly
from tests.tools.homes import small_home
from tests.web.conftest import MONDAY


class Beside:
    """Stands where processes are begun, and notes what for."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.asked: list[tuple[str, ...]] = []
        monkeypatch.setattr(beside, "run", self.run)
        monkeypatch.setattr(nightly, "_AT_WORK", [])

    def run(self, household: str, *words: str) -> subprocess.Popen[bytes]:
        self.asked.append((household, *words))
        return subprocess.Popen([sys.executable, "-c", ""])


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, monday: object) -> Beside:
    monkeypatch.setenv(backups.ENV_FOLDER, str(tmp_path))
    return Beside(monkeypatch)


def keep_one(folder: Path, days: int) -> None:
    (folder / "b").write_bytes(b"xy")
    made = MONDAY - timedelta(days=days)
    backups._write_card(
        folder, backups.Backup("b", made, 2, "", 1, ("home",), encrypted=False, by_itself=True)
    )


def test_on_a_new_day_one_is_begun_and_no_second_beside_it(begun: Beside, boats: str, tmp_path: Path) -> None:
    keep_one(tmp_path, days=1)

    assert nightly.look()
    nightly._AT_WORK[0].wait()
    keep_one(tmp_path, days=0)

    assert not nightly.look()
    assert begun.asked == [("home", "backup", "--by-itself")]


def test_a_home_without_a_fact_has_nothing_to_lose(begun: Beside, home: Home) -> None:
    assert not nightly.look()


def test_a_demonstration_is_left_alone(begun: Beside, db: None) -> None:
    small_home(demo_shift=0)

    assert not nightly.look()
