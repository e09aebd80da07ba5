"""A process that is killed in the middle of writing loses nothing that it had acknowledged, and leaves nothing half."""

import os
import secrets
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from random import Random
from urllib.parse import urlsplit, urlunsplit

import pytest

KILLS = 50

SET_UP = """
import django
django.setup()
from datetime import UTC, datetime
from django.core.management import call_command
from markstead.records import actions
from tests.tools.homes import small_home
call_command("migrate", verbosity=0)
small_home()
at = datetime(2025, 9, 8, 8, tzinfo=UTC)
actions.order_copy("home", workbook="sums-5-01", copy="boats", by="ruth", at=at)
actions.receive_copy("home", copy="boats", by="ruth", at=at)
actions.issue_copy("home", copy="boats", learner="asa", by="ruth", at=at)
actions.hold_opening_talk("home", copy="boats", by="ruth", at=at)
"""

LOOK = """
import django
django.setup()
from markstead.records.models import Entry, Words
from markstead.records.upkeep import verify
verdict = verify("home")
print(verdict.problem or "holds", verdict.facts, Words.objects.count(), sep="\\t")
for act, part, kind in Entry.objects.order_by("seq").values_list("act", "part", "kind"):
    print(act, part, kind, sep="\\t")
"""

GOAL = [(0, "goal set")]
OVERRIDDEN = [(0, "gate overridden"), (1, "pages worked")]


@pytest.fixture
def database_of_their_own(tmp_path: Path) -> Iterator[dict[str, str]]:
    """The environment of processes that share a database of their own: a file, or one on the tests' server."""
    settings = {"DJANGO_SETTINGS_MODULE": "markstead.web.settings", "MARKSTEAD_HOME": str(tmp_path)}
    url = os.environ.get("DATABASE_URL")
    if not url:
        yield {**os.environ, **settings}
        return
    import psycopg

    name = f"killed_{secrets.token_hex(4)}"
    with psycopg.connect(url, autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name}")
    try:
        yield {**os.environ, **settings, "DATABASE_URL": urlunsplit(urlsplit(url)._replace(path=f"/{name}"))}
    finally:
        with psycopg.connect(url, autocommit=True) as server:
            server.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _run(code: str, database_of_their_own: dict[str, str]) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], env=database_of_their_own, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def _killed(run: str, acts: int, moment: float, writer: subprocess.Popen[str]) -> list[str]:
    """Let a process write until some moment after so many acts; give the acts that it had acknowledged."""
    assert writer.stdin is not None
    assert writer.stdout is not None
    writer.stdin.write(f"{run}\n")
    writer.stdin.flush()
    word, number = writer.stdout.readline().split()
    assert word == "process"
    told = [writer.stdout.readline().strip() for _ in range(acts)]
    time.sleep(moment)
    os.kill(int(number), signal.SIGKILL)
    while not (line := writer.stdout.readline().strip()).startswith("ended"):
        told.append(line)
    assert line == "ended -9"  # it was still writing
    return told


@pytest.mark.slow
def test_no_acknowledged_act_is_lost_and_none_is_halved_by_fifty_kills(
    database_of_their_own: dict[str, str],
) -> None:
    dice = Random(20)
    _run(SET_UP, database_of_their_own)

    with subprocess.Popen(
        [sys.executable, "-m", "tests.tools.write_loop", "boats"],
        env=database_of_their_own,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as writer:
        acknowledged = [
            _killed(f"run{n}", dice.randint(1, 8), dice.uniform(0, 0.03), writer) for n in range(KILLS)
        ]

    verdict, *lines = _run(LOOK, database_of_their_own).splitlines()
    problem, facts, words = verdict.split("\t")
    assert problem == "holds"
    assert int(facts) == len(lines)
    written: dict[str, list[tuple[int, str]]] = {}
    for line in lines:
        act, part, kind = line.split("\t")
        written.setdefault(act, []).append((int(part), kind))
    told = {act for run in acknowledged for act in run}
    assert len(told) > 3 * KILLS
    assert told <= written.keys()
    ours = {act: parts for act, parts in written.items() if act.startswith("run")}
    for act, parts in ours.items():
        assert parts == (GOAL if int(act.rpartition("-")[2]) % 2 else OVERRIDDEN), act
    assert int(words) == sum(1 for parts in ours.values() if parts == OVERRIDDEN)
    # At most the one act under way at each kill was written without being told.
    assert all(sum(act.startswith(f"run{n}-") for act in ours.keys() - told) <= 1 for n in range(KILLS))
