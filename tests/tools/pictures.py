"""Every page of the demo as a picture: both widths, both themes, into a folder; with what a browser sees wrong in them.

    python -m tests.tools.pictures FOLDER              the pictures
    python -m tests.tools.pictures FOLDER --pages      beside them what the server sent, as files for a validator
    python -m tests.tools.pictures FOLDER --only copy  pages whose name begins so
    python -m tests.tools.pictures FOLDER --language es in another language
    python -m tests.tools.pictures FOLDER --mirrored   as a language written from right to left has them

The demo is built in a folder of its own and served on a free port; nobody's home is touched. Said at the end: pages that are
wider than their screen, complaints of the console, and rules of a room's sheet that a page wants and does not load.
"""

import argparse
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from shutil import which
from time import monotonic, sleep
from urllib.request import urlopen

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.conftest import CHROMIUM_NAMES, CHROMIUM_SWITCHES
from tests.web.doors import For

ROOT = Path(__file__).resolve().parents[2]
SHEETS = ROOT / "src" / "markstead" / "web" / "static" / "markstead"
PASSWORD = "a-lamp-in-the-window"
WIDTHS = {1280: 850, 390: 844}
SCHEMES = ("light", "dark")
WANTED = """sheets => Object.entries(sheets).filter(([name]) => !document.querySelector(`link[href*="/${name}"]`)).flatMap(
  ([name, text]) => { const found = new CSSStyleSheet(); found.replaceSync(text);
    const rules = list => Array.from(list).flatMap(r => r.selectorText ? [r.selectorText] : rules(r.cssRules || []));
    return rules(found.cssRules).filter(s => { try { return document.querySelector(s.replace(/::?[a-z-]+/g, m =>
      m.startsWith("::") || [":hover", ":focus-visible", ":before", ":after"].includes(m) ? "" : m)); } catch (_) { return false; } })
      .map(s => `${name}: ${s}`); })"""


@dataclass
class Album:
    """Pictures in a folder, and what was seen wrong while they were taken."""

    folder: Path
    pictures: bool = True
    pages: bool = False
    only: str = ""
    language: str = ""
    """Code of the language that every browser chose; empty: English."""
    mirrored: bool = False
    taken: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def take(self, page: Page, name: str) -> None:
        """The page that is open, in both widths and themes."""
        if not name.startswith(self.only):
            return
        self.taken.append(name)
        if not self.pictures:
            return
        if self.mirrored:
            page.evaluate("document.documentElement.dir = 'rtl'")
        rooms = {p.name: p.read_text() for p in SHEETS.glob("*.css") if p.name != "sheet.css"}
        self.wrong += [f"{name} wants {rule}" for rule in page.evaluate(WANTED, rooms)]
        for width, height in WIDTHS.items():
            page.set_viewport_size({"width": width, "height": height})
            wide = page.evaluate("document.documentElement.scrollWidth")
            if wide > width:
                self.wrong.append(f"{name} is {wide} pixels wide on a screen of {width}")
            for scheme in SCHEMES:
                page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
                page.screenshot(path=self.folder / f"{name}-{width}-{scheme}.png", full_page=True)

    def speak(self, context: BrowserContext, base: str) -> None:
        """Let a browser choose the language of the pictures."""
        if self.language:
            context.add_cookies([{"name": "markstead_language", "value": self.language, "url": base}])

    def keep(self, name: str, html: bytes) -> None:
        """What the server sent."""
        if self.pages and name.startswith(self.only):
            (self.folder / f"{name}.html").write_bytes(html)


def free_port() -> int:
    """A port that nobody serves on."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


@contextmanager
def served(home: Path, port: int | None = None) -> Iterator[str]:
    """Serve a home; the address with the path that was printed."""
    port = port or free_port()
    command = [sys.executable, "-m", "markstead.cli.main", "--home", str(home), "serve", "--port", str(port)]
    environment = {k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "MARKSTEAD_HOME")}
    server = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        said = next((line for line in server.stdout if line.startswith("Open http")), "")
        address = re.findall(r"http\S+", said)
        if not address:
            raise RuntimeError("the server did not say where it serves")
        until = monotonic() + 20
        while monotonic() < until:
            try:
                urlopen(f"http://127.0.0.1:{port}/tablet/left/").close()
                break
            except OSError:
                sleep(0.1)
        yield address[0]
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(20)


def build_demo(home: Path) -> None:
    """The demo, in a process of its own: made, or found there and brought up to date."""
    command = [sys.executable, "-m", "markstead.cli.main", "demo", "--home", str(home), "--no-serve"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


@contextmanager
def chromium() -> Iterator[Browser]:
    """The system's Chromium."""
    found = next((path for name in CHROMIUM_NAMES if (path := which(name))), None)
    if found is None:
        raise SystemExit("No Chromium on this machine: install the package 'chromium'.")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=CHROMIUM_SWITCHES)
        yield browser
        browser.close()


def signed_in(browser: Browser, base: str, name: str, password: str) -> BrowserContext:
    """A browser in which somebody has signed in."""
    context = browser.new_context(locale="en-GB")
    page = context.new_page()
    page.goto(base + "/sign-in/")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(base + "/")
    page.close()
    return context


def at_a_tablet(
    browser: Browser, base: str, name: str, password: str, learner: str, pin: str
) -> BrowserContext:
    """A browser that an educator opened for the learners, and on which one has entered."""
    context = signed_in(browser, base, name, password)
    page = context.new_page()
    page.goto(base + "/settings/tablets/")
    page.locator("form[action$='/open'] input[name=name]").fill("Kitchen tablet")
    page.locator("form[action$='/open'] input[name=minutes]").fill("60")
    page.locator("form[action$='/open'] button").first.click()
    page.wait_for_url(base + "/tablet/")
    page.goto(f"{base}/tablet/who/{learner}/")
    page.locator("input[name=pin]").fill(pin)
    page.locator("input[name=pin]").press("Enter")
    page.wait_for_url(base + "/tablet/me/")
    page.close()
    return context


def _look(album: Album, context: BrowserContext, base: str, name: str, address: str) -> None:
    if not name.startswith(album.only):
        return
    page = context.new_page()
    page.on(
        "console",
        lambda m: album.wrong.append(f"{name}: {m.text}") if m.type in ("error", "warning") else None,
    )
    page.on("pageerror", lambda error: album.wrong.append(f"{name}: {error}"))
    try:
        answer = page.goto(base + address)
        if answer is not None:
            album.keep(name, answer.body())
        album.take(page, name)
    finally:
        page.close()


def take_the_demo(album: Album, browser: Browser, home: Path) -> None:
    """Every page of the demo, as its educator, as a learner at the tablet and as nobody."""
    build_demo(home)
    os.environ["MARKSTEAD_HOME"] = str(home)
    os.environ["DJANGO_SETTINGS_MODULE"] = "markstead.web.settings"
    import django

    django.setup()
    # Playwright keeps an event loop running, in which Django would refuse to open the database.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    from django.db import connections

    from markstead.records import demo, queries
    from markstead.web import clock
    from tests.tools.every_page import more_copies, values_for, visits

    household = queries.the_household()
    at = clock.now(queries.home_of(household))
    values = values_for(household, at=at)
    looks = [*visits(values), *more_copies(household, at=at)]
    connections.close_all()
    with served(home) as address:
        base = address.rstrip("/")
        nobody = browser.new_context(locale="en-GB")
        ruth = signed_in(browser, base, demo.USERNAME, demo.PASSWORD)
        asa = at_a_tablet(browser, base, demo.USERNAME, demo.PASSWORD, str(values["learner"]), demo.PIN)
        for browser_of in (nobody, ruth, asa):
            album.speak(browser_of, base)
        for visit in looks:
            who = {For.ANYBODY: nobody, For.LEARNER: asa, For.HOUSE: asa}.get(visit.who, ruth)
            _look(album, who, base, visit.name, visit.address)
        _look(album, asa, base, "tablet-names", "/tablet/")
        _look(album, ruth, base, "not-found", "/copies/none/")
        _look(album, ruth, base, "people-leaves", f"/settings/people/?leaves={values['learner']}")
        _look(album, ruth, base, "whatif-away", f"/plan/what-if/?away={values['learner']}")


def take_a_first_evening(album: Album, browser: Browser, home: Path) -> None:
    """The set-up of an empty home, from its door to the home that was made."""
    with served(home) as address:
        base = address.split("/first/")[0]
        page = browser.new_context(locale="en-GB").new_page()

        def shown(name: str) -> None:
            page.wait_for_load_state("load")
            album.keep(f"first-{name}", page.content().encode())
            if album.language:  # beside it: what is filled in next is found by its English label
                album.speak(page.context, base)
                beside = page.context.new_page()
                beside.goto(page.url)
                album.take(beside, f"first-{name}")
                beside.close()
                page.context.clear_cookies(name="markstead_language")
            else:
                album.take(page, f"first-{name}")
                page.set_viewport_size({"width": 1280, "height": 850})

        def go_on(button: str = "Save and go on") -> None:
            with page.expect_navigation():
                page.get_by_role("button", name=button, exact=True).last.click()

        page.goto(base + "/first/")
        shown("door")
        page.goto(address)  # the word behind the # is sent by the page itself
        page.get_by_label("What your home is called").wait_for()
        go_on()
        shown("you-wrong")
        for label, words in (
            ("What your home is called", "Tarn End"),
            ("Your name", "Ruth Tarn"),
            ("Name to sign in with", "ruth"),
        ):
            page.get_by_label(label).fill(words)
        page.get_by_label("Password", exact=True).fill(PASSWORD)
        page.get_by_label("The same password again").fill(PASSWORD)
        go_on()
        page.get_by_label("Name of learner 1").fill("Asa")
        page.get_by_label("School year of learner 1").fill("5")
        shown("learners")
        go_on()
        page.get_by_label("Country", exact=True).select_option("GB")
        page.get_by_role("button", name="Show its regions").click()
        page.get_by_label("Part of the country").select_option("ENG")
        page.get_by_label("First day of term 1").fill("2026-09-01")
        page.get_by_label("Last day of term 1").fill("2027-07-17")
        shown("school")
        go_on()
        shown("programme")
        page.get_by_label("My own workbooks, typed").check()
        go_on()
        page.get_by_label("Rows from a spreadsheet").fill(
            "Subject\tLevel\tTitle\tPages\nSums\t5\tCounting Boats\t24\n\t\tCounting Gulls\t26\nWords\t5\tNames of Winds\t18\n"
        )
        page.get_by_role("button", name="Read the paste").click()
        page.get_by_label("Pages, row 3").fill("many")
        go_on()
        shown("typed-wrong")
        page.get_by_label("Pages, row 3").fill("18")
        with page.expect_navigation():
            page.get_by_role("button", name="Save, and look at").click()
        shown("cut")
        go_on()
        shown("courses")
        go_on()
        page.get_by_label("Asa, Sums 5: how it stands").select_option("find out")
        shown("standing")
        go_on()
        shown("look")
        page.goto(base + "/first/")
        shown("start")
        page.goto(base + "/first/files/".replace("/files", "/programme/files"))
        shown("files")
        page.goto(base + "/first/look/")
        go_on("Make the home")
        shown("made")
        page.get_by_role("link", name="Find out where Asa begins in Sums 5").click()
        shown("placement")
        page.goto(base + "/")
        shown("today")


def take(album: Album, demo: Path | None = None) -> None:
    """Go through every page. `demo` is a folder with the demo, or for it; without one it is built and taken away."""
    with tempfile.TemporaryDirectory(prefix="markstead-pictures-") as scratch, chromium() as browser:
        if not album.only.startswith("first"):
            take_the_demo(album, browser, demo or Path(scratch, "demo"))
        if not album.only or album.only.startswith("first"):
            take_a_first_evening(album, browser, Path(scratch, "empty"))


def main() -> None:
    """Read the arguments, take the pictures, and say what is wrong."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.tools.pictures",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--pages", action="store_true", help="keep what the server sent, too")
    parser.add_argument("--only", default="", help="pages whose name begins so")
    parser.add_argument("--language", default="", metavar="CODE", help="in another language")
    parser.add_argument("--mirrored", action="store_true", help="written from right to left")
    parser.add_argument(
        "--home", type=Path, help="a folder with the demo, or for it (default: one that is taken away)"
    )
    asked = parser.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    album = Album(
        asked.folder, pages=asked.pages, only=asked.only, language=asked.language, mirrored=asked.mirrored
    )
    take(album, asked.home)
    print(f"{len(album.taken)} pages in {asked.folder}.")
    for line in dict.fromkeys(album.wrong):
        print(line)


if __name__ == "__main__":
    main()
