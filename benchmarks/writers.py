"""Line 3: eight processes that write to one home at once, on either database.

Each writer is a process with its own connection (``python -m benchmarks.writers write NUMBER ACTS``); it waits for a
line, then does its acts one after the other, each in a transaction of its own, and prints how many milliseconds each
took.
"""

import json
import os
import secrets
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from statistics import quantiles
from time import perf_counter

from benchmarks.house import HOUSEHOLD, SETTINGS, seconds, wake

WRITERS = 8
ACTS = 2000
AT = datetime(2025, 9, 8, 9, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Race:
    """What became of the acts on one database, and the milliseconds that one took."""

    database: str
    acts: int
    lost: int
    errors: int
    p50: float
    p95: float
    slowest: float
    acts_a_second: float


def child(number: str, acts: str) -> None:
    """One writer: a goal, a question, an answer, and so on, each an act of its own."""
    wake()
    from markstead.records import actions
    from markstead.records.desk import Slip

    copy, learner = f"copy{number}", f"learner{number}"
    actions.set_goal(HOUSEHOLD, copy=copy, first=1, last=2, by=learner, at=AT)
    print("ready", flush=True)
    sys.stdin.readline()
    taken = []
    for turn in range(int(acts)):
        slip = Slip(act=f"writer{number}-{turn}")
        if turn % 3 == 0:
            work = partial(actions.set_goal, first=1, last=3, by=learner)
        elif turn % 3 == 1:
            work = partial(actions.ask_help, by=learner)
        else:
            work = partial(actions.give_help, by="ruth")
        act = partial(work, HOUSEHOLD, copy=copy, at=AT, slip=slip)
        taken.append(seconds(act) * 1000)
    print(json.dumps(taken))


def set_up() -> None:
    """A home with a learner and a copy in hand for each writer."""
    wake()
    from django.core.management import call_command

    from markstead.records import actions
    from markstead.records.setup import Newcomer
    from markstead.records.setup import set_up as make
    from markstead.rules.ruling import Role
    from tests.tools.homes import PAPERS

    call_command("migrate", verbosity=0)
    learners = [Newcomer(f"learner{n}", f"Learner {n}", Role.LEARNER, 5, ("sums-5",)) for n in range(WRITERS)]
    people = [Newcomer("ruth", "Ruth", Role.EDUCATOR), *learners]
    make(HOUSEHOLD, name="Tarn End", papers=PAPERS, people=people, at=AT)
    for number in range(WRITERS):
        copy = f"copy{number}"
        actions.order_copy(HOUSEHOLD, workbook="sums-5-01", copy=copy, by="ruth", at=AT)
        actions.receive_copy(HOUSEHOLD, copy=copy, by="ruth", at=AT)
        actions.issue_copy(HOUSEHOLD, copy=copy, learner=f"learner{number}", by="ruth", at=AT)


def look() -> None:
    """Whether the record holds, and which acts are on it."""
    wake()
    from markstead.records.models import Entry
    from markstead.records.upkeep import verify

    acts = list(Entry.objects.order_by("seq").values_list("act", flat=True))
    print(json.dumps({"problem": verify(HOUSEHOLD).problem, "acts": acts}))


@contextmanager
def _surroundings(url: str | None) -> Iterator[dict[str, str]]:
    with tempfile.TemporaryDirectory(prefix="markstead-bench-", ignore_cleanup_errors=True) as folder:
        key = Path(folder, "secret.key")
        key.touch(mode=0o600)
        key.write_text(secrets.token_hex(32))
        kept = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        yield {
            **kept,
            "MARKSTEAD_HOME": folder,
            "DJANGO_SETTINGS_MODULE": SETTINGS,
            **({"DATABASE_URL": url} if url else {}),
        }


def _start(surroundings: dict[str, str], *words: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "benchmarks.writers", *words]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, env=surroundings, stdin=pipe, stdout=pipe, stderr=pipe, text=True)


def _said(child: subprocess.Popen[str]) -> str:
    out, err = child.communicate()
    if child.returncode:
        raise RuntimeError(err)
    return out


def race(database: str, url: str | None = None, acts: int = ACTS) -> Race:
    """Let the eight begin together; count what is on the record afterwards.

    Raises:
        RuntimeError: the record does not hold, or the home could not be set up.
    """
    with _surroundings(url) as surroundings:
        _said(_start(surroundings, "set-up"))
        each = acts // WRITERS
        children = [_start(surroundings, "write", str(n), str(each)) for n in range(WRITERS)]
        for child in children:
            if child.stdout is None or child.stdout.readline().strip() != "ready":
                raise RuntimeError(child.communicate()[1])
        begun = perf_counter()
        for child in children:
            if child.stdin is not None:
                child.stdin.write("go\n")
                child.stdin.flush()
        answers = [child.communicate() for child in children]
        whole = perf_counter() - begun
        errors = sum(1 for child in children if child.returncode)
        taken = [took for out, _ in answers if out.strip() for took in json.loads(out)]
        found = json.loads(_said(_start(surroundings, "look")))
        if found["problem"]:
            raise RuntimeError(found["problem"])
        wanted = {f"writer{n}-{turn}" for n in range(WRITERS) for turn in range(each)}
        cuts = quantiles(taken, n=100)
        lost = len(wanted - set(found["acts"]))
        return Race(database, len(wanted), lost, errors, cuts[49], cuts[94], max(taken), len(taken) / whole)


_PARTS = {"set-up": set_up, "write": child, "look": look}

if __name__ == "__main__":
    _PARTS[sys.argv[1]](*sys.argv[2:])
