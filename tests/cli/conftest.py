"""A real home in a folder, and the real program over it, at the keyboard of a test."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

# One process that runs one command after the other: starting the program anew for each would take most of the time.
SEAT = """
import contextlib, io, json, sys
from markstead.cli.main import main
for line in sys.stdin:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            status = main(json.loads(line))
        except SystemExit as left:
            status = left.code
    print(json.dumps([status, out.getvalue(), err.getvalue()]), flush=True)
"""
PROGRAM = (sys.executable, "-W", "error", "-m", "markstead.cli.main")

PROGRAMME = """
[programme]
id = "quay"
title = "Quay Programme (invented)"
currency = "EUR"
[marks]
practice_test_percent = 80
unit_test_percent = 80
exact_mark_passes = true
[unit_test]
school_days_after_practice = 1
morning_from = "08:00"
morning_until = "12:00"
most_a_learner_a_day = 1
most_watched_a_morning = 2
readiness_decision = true
[marking]
quiz_when_wrong_percent = 30
sections_ahead = 0
[dispatch]
day = 1
[rework]
after_failed_unit_test = "new copy"
[[aids]]
from_year = 0
allowed = ["pencil", "eraser", "ruler"]
[[subject]]
id = "maths"
title = "Mathematics"
"""
WORKBOOKS = """\
course,level,number,title,pages,section_ends,section_questions,check_pages,check_questions,practice_questions,unit_questions,price,supplier,prerequisites
maths,5,1,Wholes and Parts,8,3;7,10;10,4;8,5;5,10,20,4.00,Quayside Books,
maths,5,2,Parts of Parts,8,3;7,10;10,4;8,5;5,10,20,4.00,Quayside Books,
"""
CALENDAR = """
zone = "Pacific/Auckland"
country = "NZ"
weekdays = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday"]
[[term]]
name = "term 1"
first = 2026-02-02
last = 2026-04-02
"""
PASSWORD = "harbour-lamp-42"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command gave back."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def environment(home: Path) -> dict[str, str]:
    """The home is in the folder, whatever database the other tests use."""
    kept = {
        k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "MARKSTEAD_HOME", "MARKSTEAD_NOW"}
    }
    return kept | {"MARKSTEAD_HOME": str(home), "PYTHONIOENCODING": "utf-8"}


def program(home: Path, *words: object, stdin: str = "") -> Answer:
    """Run one command as a process of its own."""
    done = subprocess.run(
        [*PROGRAM, *map(str, words)],
        env=environment(home),
        cwd=home.parent,
        input=stdin,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    return Answer(done.returncode, done.stdout, done.stderr)


class Kitchen:
    """A home, and somebody at its keyboard."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.now = "2026-02-09T09:00"
        self.seat = subprocess.Popen(
            [sys.executable, "-W", "error", "-c", SEAT],
            env=environment(home),
            cwd=home.parent,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, *words: object) -> Answer:
        """One command at the moment that `now` says."""
        assert self.seat.stdin is not None
        assert self.seat.stdout is not None
        self.seat.stdin.write(json.dumps(["--now", self.now, *map(str, words)]) + "\n")
        self.seat.stdin.flush()
        return Answer(*json.loads(self.seat.stdout.readline()))

    def done(self, *words: object) -> Answer:
        """One command that has to succeed."""
        answer = self.run(*words)
        assert answer.status == 0, answer.err
        return answer

    def act(self, *words: object) -> Answer:
        return self.done("act", *words)

    def close(self) -> None:
        assert self.seat.stdin is not None
        assert self.seat.stdout is not None
        self.seat.stdin.close()
        self.seat.wait(timeout=120)
        self.seat.stdout.close()

    @property
    def database(self) -> Path:
        return self.home / "markstead.sqlite3"


@pytest.fixture(scope="session")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files that a home goes by."""
    folder = tmp_path_factory.mktemp("files")
    (folder / "programme.toml").write_text(PROGRAMME)
    (folder / "workbooks.csv").write_text(WORKBOOKS)
    (folder / "calendar.toml").write_text(CALENDAR)
    (folder / "password").write_text(PASSWORD + "\n")
    return folder


def begin(files: Path) -> list[object]:
    """The words that make the home of the tests: Tui in year 5, Rewi in year 4."""
    return [
        *("init", "--name", "The Quays", "--educator", "Mira Quay"),
        *("--password-file", files / "password", "--calendar", files / "calendar.toml"),
        *("--programme", files / "programme.toml", "--workbooks", files / "workbooks.csv"),
        *("--learner", "tui:Tui:5:maths-5", "--learner", "rewi:Rewi:4:maths-5"),
    ]


@pytest.fixture(scope="session")
def new_home(tmp_path_factory: pytest.TempPathFactory, files: Path) -> Path:
    """The home of the tests, just made; every test works on a copy of it."""
    home = tmp_path_factory.mktemp("new") / "home"
    made = program(home, *begin(files), "--now", "2026-02-09T08:00")
    assert made.status == 0, made.err
    return home


@pytest.fixture
def kitchen(tmp_path: Path, new_home: Path) -> Iterator[Kitchen]:
    """The home of the tests, on Monday 9 February 2026 at nine in the morning, in Auckland."""
    shutil.copytree(new_home, tmp_path / "home")
    here = Kitchen(tmp_path / "home")
    yield here
    here.close()
