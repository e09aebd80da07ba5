"""Every page of the demo: bytes over the wire, the server's median beside a bare page, first paint, and what moves when news comes.

    python -m benchmarks.screens             some three minutes; prints the table
    python -m benchmarks.screens --write     and writes it into docs/reference/benchmarks.md

The demo is built in a folder of its own. Bytes are those of the page with its sheets, scripts and pictures, uncompressed, to a
browser that keeps nothing. The server's times are taken inside the process, page and bare page by turns, of the processor's own
count for the thread; "drawn anew" is right after an act of somebody. First paint is Chromium's own entry, of a page that the
server has kept, the browser keeping nothing. Layout shift is summed while the page looks for news after acts, by Chromium's
observer (W3C Layout Instability).
"""

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from typing import Any

from benchmarks.house import both, machine, wake
from benchmarks.kept_tables import BARS, put

ROUNDS, ANEW, PAINTS = 25, 7, 5
MOST_BYTES, MOST_RATIO, MOST_PAINT = 150_000, 4.0, 500.0
FIRST_PAINT = """() => new Promise(told => new PerformanceObserver(list => {
  const found = list.getEntriesByName("first-paint")[0]; if (found) told(found.startTime); }).observe({ type: "paint", buffered: true }))"""
SHIFTS = """() => { window.shifts = 0; new PerformanceObserver(list => {
  for (const entry of list.getEntries()) window.shifts += entry.value; }).observe({ type: "layout-shift", buffered: true }); }"""


@dataclass(frozen=True, slots=True)
class Screen:
    """What was measured of one page; milliseconds, and None where it was not asked."""

    name: str
    bytes: int
    ratio: float
    anew: float | None
    paint: float
    shift: float | None = None

    @property
    def keeps(self) -> bool:
        """Whether it keeps every bar."""
        slow = (
            self.ratio > MOST_RATIO or self.paint >= MOST_PAINT
        )  # nothing is slower than a bare page that is not there
        return self.bytes <= MOST_BYTES and not slow and not self.shift


def _looks(home: Path) -> tuple[list[Any], str, Any]:
    """The pages, the household, and its clock."""
    os.environ["MARKSTEAD_HOME"] = str(home)
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    wake()
    from django.conf import settings
    from django.urls import clear_url_caches

    from markstead.records import queries
    from markstead.web import clock
    from tests.tools.every_page import values_for, visits

    settings.ROOT_URLCONF = "markstead.web.urls"
    household = queries.the_household()
    now = clock.now(queries.home_of(household))
    found = list(visits(values_for(household, at=now)))
    settings.ROOT_URLCONF = "benchmarks.bare"
    clear_url_caches()
    return found, household, now


def _acts(household: str) -> Iterator[None]:
    """Somebody does something small in one workbook after the other, without end."""
    from markstead.errors import MarksteadError
    from markstead.records import actions, queries
    from markstead.web import clock

    while True:
        now = clock.now(queries.home_of(household))
        for day in queries.today(household, now=now).learners:
            for view in day.copies:
                with suppress(MarksteadError):
                    actions.give_help(household, copy=view.id, minutes=2, by="ruth", at=now)
                    yield


def server_times(looks: list[Any], household: str) -> dict[str, tuple[float, float]]:
    """For every page of the educator: the ratio to the bare page with nothing new, and right after an act."""
    from benchmarks.asking import Visitor, sign_in
    from markstead.records import demo
    from markstead.web import memory
    from tests.web.doors import For

    memory.settle()
    asks = Visitor(sign_in(demo.USERNAME, demo.PASSWORD))
    acts = _acts(household)
    found = {}
    for look in looks:
        if look.who not in (For.EDUCATOR, For.SIGNED_IN):
            continue
        asks.get(look.address)
        pages, bares, anew = [], [], []
        for _ in range(ROUNDS):
            pages.append(both(lambda address=look.address: asks.get(address))[1])
            bares.append(both(lambda: asks.get("/bare"))[1])
        for _ in range(ANEW):
            next(acts)
            asks.get("/bare")
            anew.append(both(lambda address=look.address: asks.get(address))[1])
        found[look.name] = (median(pages) / median(bares), median(anew) / median(bares))
    return found


def _paint(context: Any, address: str) -> tuple[int, float]:
    """Bytes and first paint of a page, in a browser that keeps nothing."""
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})
    taken: list[int] = []
    session.on("Network.dataReceived", lambda part: taken.append(part["dataLength"]))
    paints = []
    for _ in range(PAINTS):
        taken.clear()
        page.goto(address)
        page.wait_for_load_state("load")
        paints.append(page.evaluate(FIRST_PAINT))
    size = sum(taken)  # of the last time
    page.close()
    return size, median(paints)


def _shift(context: Any, address: str, acts: Iterator[None]) -> float:
    """How far anything moved while the page took up news three times."""
    page = context.new_page()
    page.goto(address)
    page.evaluate(SHIFTS)
    for _ in range(3):
        next(acts)
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        page.wait_for_timeout(900)
    moved = float(page.evaluate("window.shifts"))
    page.close()
    return moved


def measure() -> list[Screen]:
    """Measure every page."""
    from tests.tools.pictures import at_a_tablet, build_demo, chromium, served, signed_in

    with tempfile.TemporaryDirectory(prefix="markstead-screens-") as folder, chromium() as browser:
        home = Path(folder, "demo")
        build_demo(home)
        looks, household, _ = _looks(home)
        times = server_times(looks, household)
        from markstead.records import demo
        from tests.web.doors import For

        with served(home) as printed:
            base = printed.rstrip("/")
            learner = next(look.address for look in looks if look.name == "learner").split("/")[2]
            ruth = signed_in(browser, base, demo.USERNAME, demo.PASSWORD)
            nobody = browser.new_context(locale="en-GB")
            asa = at_a_tablet(browser, base, demo.USERNAME, demo.PASSWORD, learner, demo.PIN)
            who = {For.ANYBODY: nobody, For.LEARNER: asa, For.HOUSE: asa}
            found = []
            for look in looks:
                size, paint = _paint(who.get(look.who, ruth), base + look.address)
                ratio, anew = times.get(look.name, (float("nan"), None))
                found.append(Screen(look.name, size, ratio, anew, paint))
            acts = _acts(household)
            for n, look in enumerate(looks):
                if look.name in ("today", "wall", "tablet-me"):
                    moved = _shift(who.get(look.who, ruth), base + look.address, acts)
                    found[n] = replace(found[n], shift=moved)
    return found


def table(screens: list[Screen]) -> str:
    """The table, the heaviest pages first."""

    def cell(value: float | None, form: str) -> str:
        return "" if value is None or value != value else format(value, form)

    lines = [
        "",
        f"Taken on {datetime.now(UTC):%Y-%m-%d} on {machine()}. A page of a learner or of nobody has no bare page beside it.",
        "",
        "| page | kB | server, of a bare page | drawn anew | first paint, ms | moved by news |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for s in sorted(screens, key=lambda screen: -screen.bytes):
        mark = "" if s.keeps else " **over**"
        lines.append(
            f"| `{s.name}`{mark} | {s.bytes / 1000:.0f} | {cell(s.ratio, '.1f')} | {cell(s.anew, '.0f')} | {s.paint:.0f} "
            f"| {cell(s.shift, '.3f')} |"
        )
    bars = f"| at most | {MOST_BYTES // 1000} | {MOST_RATIO:.0f} | | {MOST_PAINT:.0f} | 0 |"
    return "\n".join([*lines, bars, ""])


def main() -> None:
    """Read the arguments, measure, print, and write where that is asked for."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.screens",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--write", action="store_true", help=f"write it into {BARS.name}")
    asked = parser.parse_args()
    found = table(measure())
    print(found)
    if asked.write:
        put("screens", found)


if __name__ == "__main__":
    sys.exit(main())
