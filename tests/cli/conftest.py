"""A real home in a folder, and the real program over it, at the keyboard of a test."""

import json
import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

# Starting the program anew takes most of a command's time. One process loads what knows nothing of any home, and for each
# kitchen it splits off a seat, which is a process of its own with an environment of its own, and runs one command after the other.
HALL = """
import contextlib, importlib, io, json, os, signal, socket, sys
for name in sys.argv[2:]:
    importlib.import_module(name)
assert "markstead.web.settings" not in sys.modules, "settings are read from the environment of the seat"
hall = socket.socket(fileno=int(sys.argv[1]))
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
while True:
    word, places, _, _ = socket.recv_fds(hall, 1, 1)
    if not word:
        hall.close()
        sys.exit()
    if os.fork() == 0:
        break
    os.close(places[0])
signal.signal(signal.SIGCHLD, signal.SIG_DFL)
hall.close()
with (
    open(os.devnull) as sys.stdin,
    socket.socket(fileno=places[0]) as line,
    line.makefile("rw", encoding="utf-8") as seat,
):
    surroundings, folder = json.loads(seat.readline())
    os.environ.clear()
    os.environ.update(surroundings)
    os.chdir(folder)
    from markstead.cli.main import main
    for words in seat:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                status = main(json.loads(words))
            except SystemExit as left:
                status = left.code
        print(json.dumps([status, out.getvalue(), err.getvalue()]), file=seat, flush=True)
"""
KNOWS_NO_HOME = (
    "django.contrib.staticfiles",
    "django.core.management.commands.migrate",
    "django.db.models.functions",
    "django.forms",
    "django.template.loader",
    "django.test.utils",
    "holidays.countries",
    "markstead.calendar.load",
    "markstead.cli.main",
    "markstead.forecast.orders",
    "markstead.rules.load",
    "rich.console",
    "rich.table",
)
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


@cache
def hall() -> tuple[subprocess.Popen[bytes], socket.socket]:
    """The process from which all seats are split off, and the line on which they are asked for."""
    ours, theirs = socket.socketpair()
    with theirs:
        process = subprocess.Popen(
            [sys.executable, "-W", "error", "-c", HALL, str(theirs.fileno()), *KNOWS_NO_HOME],
            pass_fds=[theirs.fileno()],
        )
    return process, ours


@pytest.fixture(scope="session", autouse=True)
def hall_is_closed() -> Iterator[None]:
    yield
    if hall.cache_info().currsize:
        process, line = hall()
        line.close()
        process.wait(timeout=120)
        hall.cache_clear()


class Kitchen:
    """A home, and somebody at its keyboard."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.now = "2026-02-09T09:00"
        self.line, theirs = socket.socketpair()
        with theirs:
            socket.send_fds(hall()[1], [b"."], [theirs.fileno()])
        self.seat = self.line.makefile("rw", encoding="utf-8")
        self._say([environment(home), str(home.parent)])

    def _say(self, what: object) -> None:
        self.seat.write(json.dumps(what) + "\n")
        self.seat.flush()

    def run(self, *words: object) -> Answer:
        """One command at the moment that `now` says."""
        self._say(["--now", self.now, *map(str, words)])
        return Answer(*json.loads(self.seat.readline()))

    def done(self, *words: object) -> Answer:
        """One command that has to succeed."""
        answer = self.run(*words)
        assert answer.status == 0, answer.err
        return answer

    def act(self, *words: object) -> Answer:
        return self.done("act", *words)

    def close(self) -> None:
        """Get up, and wait until the process has ended: nothing of the home is open then."""
        if self.line.fileno() == -1:
            return  # it was left before
        self.line.shutdown(socket.SHUT_WR)
        assert self.seat.read() == ""
        self.seat.close()
        self.line.close()

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
