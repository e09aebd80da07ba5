"""Open live pages and acts at the same time, against the real server.

    python -m benchmarks.live              print the tables; some two minutes
    python -m benchmarks.live --write      and write them into docs/reference/benchmarks.md

A page holds its stream of news and, told of something new, asks for its part once, as a browser does. Acts are sent at their
times whether or not the ones before are answered, and are timed from the moment at which they were due.
"""

import asyncio
import json
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from statistics import median, quantiles
from urllib.parse import urlencode

from benchmarks.house import SETTINGS, machine
from benchmarks.kept_tables import put

PAGES, ACTS_A_SECOND, SECONDS, WARM = 100, 40, 30, 5
AT_ONCE, EACH = 8, 6
STAMP = re.compile(rb'data-stamp="(\d+)\.')
SEEN = re.compile(rb'data-stamp="([\d.]+)"')


# --- a home and its server ------------------------------------------------------------------------------------


def prepare(folder: str) -> None:
    """In a process of its own: the demonstration home, signed in; what the callers need is printed as JSON."""
    from markstead.cli import house, serving

    house.make_folder(Path(folder))
    house.wake(Path(folder))
    house.migrate()
    from markstead.errors import MarksteadError
    from markstead.records import actions, demo, queries

    demo.build(serving.DEMO, real_now=house.real_now())
    home = queries.home_of(serving.DEMO)
    now = house.real_now()
    copies = []
    from datetime import timedelta

    at = now - timedelta(seconds=home.demo_shift or 0)
    for learner in queries.today(serving.DEMO, now=at).learners:
        for view in learner.copies:
            with suppress(MarksteadError):
                actions.set_goal(serving.DEMO, copy=view.id, first=1, last=2, by="ruth", at=at)
                copies.append(view.id)
    from benchmarks.asking import sign_in

    cookie = sign_in(demo.USERNAME, demo.PASSWORD)
    print(json.dumps({"cookie": cookie, "copies": copies}))


def look(folder: str) -> None:
    """In a process of its own: whether the record holds, how many facts and how many acts it has."""
    from markstead.cli import house, serving

    house.wake(Path(folder))
    from markstead.records.models import Entry
    from markstead.records.upkeep import verify

    acts = Entry.objects.values("act").distinct().count()
    told = {"problem": verify(serving.DEMO).problem, "acts": acts, "facts": Entry.objects.count()}
    print(json.dumps(told))


def serve(kind: str, port: str) -> None:
    """In a process of its own: another way of serving the same pages, to compare with."""
    from granian import Granian
    from granian.constants import Interfaces
    from granian.log import LogLevels

    os.environ["DJANGO_SETTINGS_MODULE"] = SETTINGS
    plain = kind == "wsgi"
    Granian(
        "markstead.web.wsgi:application" if plain else "django.core.asgi:get_asgi_application",
        factory=not plain,
        address="127.0.0.1",
        port=int(port),
        interface=Interfaces.WSGI if plain else Interfaces.ASGI,
        workers=1,
        blocking_threads=2 if plain else 1,
        websockets=False,
        log_level=LogLevels.critical,
    ).serve()


def _run(environment: dict[str, str], *words: str) -> dict[str, object]:
    command = [sys.executable, "-m", "benchmarks.live", *words]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(done.stderr)
    found: dict[str, object] = json.loads(done.stdout.splitlines()[-1])
    return found


@contextmanager
def _serving(environment: dict[str, str], kind: str, cookie: str) -> Iterator[tuple[int, int]]:
    """A server that answers; its port and the id of its process."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        port = int(trial.getsockname()[1])
    ours = ["-m", "markstead.cli.main", "serve", "--port", str(port)]
    words = ours if kind == "ours" else ["-m", "benchmarks.live", "serve", kind, str(port)]
    process = subprocess.Popen(
        [sys.executable, *words], env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        asyncio.run(_first_answer(port, cookie))
        yield port, process.pid
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(timeout=30)


async def _first_answer(port: int, cookie: str) -> None:
    until = time.monotonic() + 60
    while True:
        try:
            caller = await Caller.come(port, cookie)
            await caller.ask("GET", "/")
            caller.leave()
        except OSError:
            if time.monotonic() > until:
                raise
            await asyncio.sleep(0.1)
        else:
            return


def _spent(server: int) -> tuple[float, int]:
    """Megabytes and seconds of the processor that the server and its worker have taken, as the system counts them."""
    asked = ["ps", "-A", "-o", "pid=,ppid=,rss=,cputimes="]
    rows = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    each = [tuple(map(int, row.split())) for row in rows.splitlines()]
    own = [(rss, cpu) for pid, parent, rss, cpu in each if server in (pid, parent)]
    return sum(rss for rss, _ in own) / 1024, sum(cpu for _, cpu in own)


# --- callers --------------------------------------------------------------------------------------------------


@dataclass
class Caller:
    """A connection that stays open."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    cookie: str

    @classmethod
    async def come(cls, port: int, cookie: str) -> "Caller":
        return cls(*await asyncio.open_connection("127.0.0.1", port, limit=2**20), cookie)

    def leave(self) -> None:
        self.writer.close()

    async def send(self, method: str, path: str, body: bytes = b"") -> int:
        """Send a request; the status of its answer."""
        kept = (part.split("=", 1) for part in self.cookie.split("; "))
        token = next(value for name, value in kept if name.endswith("markstead_forgery"))
        head = (
            f"{method} {path} HTTP/1.1\r\nHost: localhost\r\nCookie: {self.cookie}\r\nHX-Request: true\r\n"
            f"X-CSRFToken: {token}\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(body)}\r\n\r\n"
        )
        self.writer.write(head.encode() + body)
        return int((await self.reader.readline()).split()[1])

    async def ask(self, method: str, path: str, body: bytes = b"") -> tuple[int, bytes]:
        """A request and its whole answer."""
        status, length = await self.send(method, path, body), 0
        while (line := await self.reader.readline()).strip():
            name, _, value = line.partition(b":")
            if name.lower() == b"content-length":
                length = int(value)
        return status, await self.reader.readexactly(length)


@dataclass
class LivePage:
    """One open page: the head that it shows, and when it came to show it."""

    shown: list[tuple[float, int]] = field(default_factory=list)
    errors: int = 0

    async def stay(self, port: int, cookie: str, ready: asyncio.Event) -> None:
        desk = await Caller.come(port, cookie)
        _, html = await desk.ask("GET", "/")
        seen = SEEN.findall(html)[0].decode()
        stream = await Caller.come(port, cookie)
        self.errors += await stream.send("GET", "/news") != 200
        ready.set()
        while line := await stream.reader.readline():
            if not line.startswith(b"event: news"):
                continue
            status, html = await desk.ask("GET", f"/today/refresh?seen={seen}")
            self.errors += status not in (200, 204)
            if status == 200:
                seen = SEEN.findall(html)[0].decode()
                self.shown.append((time.perf_counter(), int(seen.split(".")[0])))


@dataclass(frozen=True, slots=True)
class Act:
    """One act that was answered: when it was due, when its answer was there, and the head of the record then."""

    due: float
    answered: float
    head: int


@dataclass(frozen=True, slots=True)
class Load:
    """What became of one run."""

    acts: list[Act]
    pages: list[LivePage]
    refused: int
    sent: set[str]
    before: float
    after: float
    seconds: float
    """Of the processor, that the server took."""


async def _load(port: int, server: int, cookie: str, copies: Sequence[str]) -> Load:
    pages = [LivePage() for _ in range(PAGES)]
    ready = [asyncio.Event() for _ in pages]
    before, early = _spent(server)
    stays = []
    for page, event in zip(pages, ready, strict=True):
        stays.append(asyncio.create_task(page.stay(port, cookie, event)))
        await event.wait()
    idle = [await Caller.come(port, cookie) for _ in range(ACTS_A_SECOND)]
    acts: list[Act] = []
    sent: set[str] = set()
    refused = 0

    async def act(turn: int, due: float) -> None:
        nonlocal refused
        caller = idle.pop() if idle else await Caller.come(port, cookie)
        token = f"load-{turn}"
        body = urlencode(
            {
                "act": "goal",
                "copy": copies[turn % len(copies)],
                "first": 1,
                "last": 2 + turn % 2,
                "token": token,
                "from": "today",
            }
        )
        status, html = await caller.ask("POST", "/act", body.encode())
        if status == 200 and b'class="said done"' in html:
            sent.add(token)
            if turn >= 0:
                acts.append(Act(due, time.perf_counter(), int(STAMP.findall(html)[0])))
        else:
            refused += 1
        idle.append(caller)

    begun = time.perf_counter()
    doing = []
    for turn in range(-WARM * ACTS_A_SECOND, SECONDS * ACTS_A_SECOND):
        due = begun + (turn + WARM * ACTS_A_SECOND) / ACTS_A_SECOND
        await asyncio.sleep(max(0.0, due - time.perf_counter()))
        doing.append(asyncio.create_task(act(turn, due)))
    await asyncio.gather(*doing)
    await asyncio.sleep(5)
    after, late = _spent(server)
    for stay in stays:
        stay.cancel()
    await asyncio.gather(*stays, return_exceptions=True)
    return Load(acts, pages, refused, sent, before, after, late - early)


async def _asked(port: int, cookie: str, path: str) -> list[float]:
    """Milliseconds of each answer, from some callers at once."""
    until = time.perf_counter() + EACH
    taken: list[float] = []

    async def go() -> None:
        caller = await Caller.come(port, cookie)
        while (begun := time.perf_counter()) < until:
            status, _ = await caller.ask("GET", path)
            if status != 200:
                raise RuntimeError(f"{path} answered {status}")
            taken.append((time.perf_counter() - begun) * 1000)
        caller.leave()

    await asyncio.gather(*(go() for _ in range(AT_ONCE)))
    return taken


# --- tables ---------------------------------------------------------------------------------------------------


def _cuts(values: Sequence[float]) -> tuple[float, float, float]:
    cuts = quantiles(values, n=100)
    return cuts[49], cuts[94], cuts[98]


def _delays(load: Load) -> list[float]:
    """For every act and every page, the seconds until the page showed it."""
    found = []
    for page in load.pages:
        shown = iter(page.shown)
        at, head = next(shown, (0.0, -1))
        for act in sorted(load.acts, key=lambda act: act.head):
            while head < act.head:
                at, head = next(shown, (float("inf"), 2**62))
            found.append(max(at - act.due, 0.0))
    return found


SERVERS = {
    "wsgi": "granian, WSGI, two threads",
    "django": "granian, ASGI, Django's own handler",
    "ours": "granian, ASGI, pages in two threads",
}


def lines() -> list[str]:
    """Both tables."""
    with tempfile.TemporaryDirectory(prefix="markstead-bench-", ignore_cleanup_errors=True) as folder:
        home = str(Path(folder, "home"))
        kept = {k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "MARKSTEAD_NOW")}
        environment = kept | {"MARKSTEAD_HOME": home, "DJANGO_SETTINGS_MODULE": SETTINGS}
        made = _run(environment, "prepare", home)
        first = _run(environment, "look", home)
        cookie, copies = str(made["cookie"]), made["copies"]
        if not isinstance(copies, list):
            raise TypeError(copies)
        busy = os.getloadavg()[0]
        with _serving(environment, "ours", cookie) as (port, server):
            load = asyncio.run(_load(port, server, cookie, copies))
        told = _run(environment, "look", home)
        if told["problem"]:
            raise RuntimeError(told["problem"])
        asked: dict[str, list[list[float]]] = {kind: [] for kind in SERVERS}
        for _ in range(2):
            for kind in SERVERS:
                with _serving(environment, kind, cookie) as (port, _server):
                    asked[kind].append(asyncio.run(_asked(port, cookie, "/")))
    due = SECONDS * ACTS_A_SECOND
    p50, p95, p99 = _cuts([(act.answered - act.due) * 1000 for act in load.acts])
    d50, d95, d99 = _cuts([min(delay, 3600) for delay in _delays(load)])
    acts, facts = (int(str(told[what])) - int(str(first[what])) for what in ("acts", "facts"))
    lost, twice = len(load.sent) - acts, facts - acts
    drawn = sum(len(page.shown) for page in load.pages)
    errors = load.refused + sum(page.errors for page in load.pages)
    return [
        f"Taken on {datetime.now(UTC):%Y-%m-%d} on {machine()}; the callers run on the same cores, on which",
        f"{busy:.0f} other programs were at work when it began, so that the times are those of a crowded machine.",
        f"The home is the demonstration's, of {first['facts']:,} facts; {PAGES} pages of today are open, {ACTS_A_SECOND} acts a second",
        f"are sent for {SECONDS} s, of which each is answered with a whole page.",
        "",
        "| what | figure |",
        "| --- | --- |",
        f"| acts sent, answered, refused or failed | {due:,}, {len(load.acts):,}, {errors} |",
        f"| facts lost, facts written twice | {lost}, {twice} |",
        f"| an act is answered, ms: p50, p95, p99 | {p50:.0f}, {p95:.0f}, {p99:.0f} |",
        f"| and stands on every other page, s: p50, p95, p99 | {d50:.2f}, {d95:.2f}, {d99:.2f} |",
        f"| pages drawn anew, a second | {drawn / (SECONDS + WARM):.0f} |",
        f"| seconds of the processor that the server took for all this | {load.seconds:.0f} |",
        f"| memory of the server, MB: without a page open, after all | {load.before:.0f}, {load.after:.0f} |",
        "",
        f"Today's page, asked for by {AT_ONCE} callers at once as fast as it comes, by turns on each server, twice:",
        "",
        "| server | pages a second | p50, ms | p95, ms |",
        "| --- | --- | --- | --- |",
        *(
            f"| {SERVERS[kind]} | {median(len(run) / EACH for run in runs):.0f} "
            f"| {median(_cuts(run)[0] for run in runs):.0f} | {median(_cuts(run)[1] for run in runs):.0f} |"
            for kind, runs in asked.items()
        ),
    ]


def main(words: Sequence[str]) -> None:
    """Take the tables, print them, and write them where that is asked for."""
    table = "\n".join(lines())
    sys.stdout.write(table + "\n")
    if "--write" in words:
        put("live", table)


if __name__ == "__main__":
    asked_for = {"prepare": prepare, "look": look, "serve": serve}.get((sys.argv[1:] or [""])[0])
    if asked_for is not None:
        asked_for(*sys.argv[2:])
    else:
        main(sys.argv[1:])
