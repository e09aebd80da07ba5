"""Line 1: today's page against a bare page with one indexed query, in the same run."""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median
from typing import TYPE_CHECKING

from benchmarks.asking import Visitor, sign_in
from benchmarks.house import HOUSEHOLD, SIGN_IN, both, seconds

if TYPE_CHECKING:  # models can be loaded only when Django is set up
    from benchmarks.big_home import BigHome

ROUNDS = 150
FRESH = 7


@dataclass(frozen=True, slots=True)
class Case:
    """Medians in milliseconds of one case: by the wall clock, and by the processor's count."""

    name: str
    page: float
    bare: float
    page_cpu: float
    bare_cpu: float

    @property
    def ratio(self) -> float:
        return self.page / self.bare

    @property
    def ratio_cpu(self) -> float:
        return self.page_cpu / self.bare_cpu


@dataclass(frozen=True, slots=True)
class Size:
    """One length of the record: how many queries each page made, and how long today's took."""

    facts: int
    copies: int
    queries: int
    queries_after_an_act: int
    bare_queries: int
    page: float


def hold_the_clock(now: datetime) -> None:
    """Let the page's clock stand at an instant of the home's own time."""
    os.environ["MARKSTEAD_NOW"] = now.isoformat()


def visitor() -> Visitor:
    """The educator, signed in."""
    return Visitor(sign_in(*SIGN_IN))


def _queries(visit: Callable[[], object]) -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as caught:
        visit()
    return len(caught)


def _issued() -> list[str]:
    from markstead.records.models import Copy

    return list(Copy.objects.filter(status="issued").order_by("id").values_list("id", flat=True))


def _act(copy: str, at: datetime) -> None:
    from markstead.records import actions

    hold_the_clock(at)
    actions.give_help(HOUSEHOLD, copy=copy, minutes=3, by="ruth", at=at)


def size(home: "BigHome", asks: Visitor) -> Size:
    """Count queries at the present length of the record."""
    from markstead.records.models import Copy

    hold_the_clock(home.now)
    asks.get("/")
    plain = _queries(lambda: asks.get("/"))
    page = median(seconds(lambda: asks.get("/")) for _ in range(20)) * 1000
    home.now += timedelta(seconds=30)
    _act(_issued()[0], home.now)
    after = _queries(lambda: asks.get("/"))
    bare = _queries(lambda: asks.get("/bare"))
    return Size(home.facts, Copy.objects.count(), plain, after, bare, page)


def _interleaved(name: str, before: Callable[[int], None], asks: Visitor) -> Case:
    pages, bares = [], []
    for turn in range(ROUNDS):
        before(turn)
        pages.append(both(lambda: asks.get("/")))
        bares.append(both(lambda: asks.get("/bare")))
    return _case(name, pages, bares)


def _case(name: str, pages: list[tuple[float, float]], bares: list[tuple[float, float]]) -> Case:
    wall, cpu = ([1000 * median(taken[n] for taken in of) for of in (pages, bares)] for n in (0, 1))
    return Case(name, *wall, *cpu)


def cases(home: "BigHome", asks: Visitor) -> list[Case]:
    """The cases (a) nothing new, (b) after an act, here and in another process, and (c) a fresh process."""
    from markstead.records import desk
    from markstead.records.models import Copy

    copies = _issued()
    hold_the_clock(home.now)
    for _ in range(10):
        asks.get("/")
        asks.get("/bare")

    def act(turn: int) -> None:
        home.now += timedelta(seconds=1)
        _act(copies[turn % len(copies)], home.now)

    def act_elsewhere(turn: int) -> None:
        act(turn)
        # What another process wrote is not in this one's memory: the facts of that copy are read again.
        link = Copy.objects.values_list("last_link", flat=True).get(id=copies[turn % len(copies)])
        desk._MEMO.pop(link)

    def a_second_later(_: int) -> None:
        home.now += timedelta(seconds=1)
        hold_the_clock(home.now)

    return [
        _interleaved("(a) nothing new since the last view", a_second_later, asks),
        _interleaved("(b) right after an act on one copy", act, asks),
        _interleaved("(b') the same, as if another process had acted", act_elsewhere, asks),
        _fresh(asks),
    ]


def _fresh(asks: Visitor) -> Case:
    environment = {**os.environ, "MARKSTEAD_BENCH_COOKIE": asks.cookie}

    def first(path: str) -> tuple[float, float]:
        command = [sys.executable, "-m", "benchmarks.first_view", path]
        said = subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout
        wall, cpu = said.split()
        return float(wall), float(cpu)

    pages, bares = [], []
    for _ in range(FRESH):
        pages.append(first("/"))
        bares.append(first("/bare"))
    return _case("(c) first view of a fresh process", pages, bares)
