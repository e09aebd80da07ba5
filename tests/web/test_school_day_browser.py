"""A whole school day against the real server: Ruth on her phone, three learners each at a tablet, four browsers at once.

Goals are set, pages worked, leave asked and given, marked, corrected, marked again, a progress check opened and marked, help
given; a connection is lost on both sides in the middle, and an answer is lost on its way; in the evening Ruth looks back.
"""

import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect

from tests.cli.conftest import environment, program
from tests.cli.test_the_program import free_port, serving
from tests.tools.homes import PASSWORD
from tests.tools.school import PIN

SOON = 30_000  # milliseconds: that news comes at all; how soon it comes is measured by benchmarks.live
"""What one does comes to the page of the other by itself. How soon is measured (`benchmarks.live`), since this machine may be busy."""

LOOKS = "**/tablet/me/look*"
"""Where a tablet's page asks for itself anew when it hears of news."""


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """The home on a school morning, served as a family serves it: its address, and its folder."""
    folder = tmp_path_factory.mktemp("school") / "home"
    made = [sys.executable, "-m", "tests.tools.school", str(folder)]
    subprocess.run(made, env=environment(folder), check=True)
    port = free_port()
    with serving(folder, "serve", "--port", port) as process:
        until = time.monotonic() + 120
        while time.monotonic() < until:
            try:
                urllib.request.urlopen(
                    f"http://127.0.0.1:{port}/static/markstead/mark.svg", timeout=60
                ).close()
                break
            except OSError:
                time.sleep(0.1)
        yield f"http://127.0.0.1:{port}", folder
        os.killpg(process.pid, signal.SIGINT)  # with four streams still open
        out, err = process.communicate(timeout=120)
        assert (process.returncode, err) == (0, "")
        assert out.endswith("Stopped.\n")


class Device:
    """A browser of its own, as a phone or a tablet is."""

    def __init__(self, browser: Browser, base: str, width: int) -> None:
        self.context: BrowserContext = browser.new_context(
            viewport={"width": width, "height": 844}, locale="en-GB"
        )
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(30_000)
        self.complaints: list[str] = []
        self.page.on("console", lambda m: self.complaints.append(m.text) if m.type == "error" else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.base = base
        self.go("/settings/tablets/")
        self.page.get_by_label("Name").fill("ruth-home")
        self.page.get_by_label("Password").fill(PASSWORD)
        self.page.get_by_role("button", name="Sign in").click()
        expect(self.page.get_by_role("button", name="This tablet is for learners")).to_be_visible()

    def go(self, path: str) -> None:
        self.page.goto(self.base + path)

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()


class Tablet(Device):
    """A tablet at which one learner has entered."""

    def __init__(self, browser: Browser, base: str, name: str) -> None:
        super().__init__(browser, base, 820)
        self.press("This tablet is for learners")
        self.page.get_by_role("link", name=name, exact=True).click()
        self.page.get_by_label("Your PIN").fill(PIN)
        self.press("Go")

    def step(self, says: str, within: int = SOON) -> None:
        """What stands largest on the page."""
        expect(self.page.locator("#step-h")).to_have_text(says, timeout=within)

    def shown(self) -> str:
        """A stamp of what stands there."""
        return self.page.locator(".mine").get_attribute("data-hx-get") or ""

    def works(self, pages: str, stop: str) -> None:
        """Write the pages down and ask leave to mark."""
        self.press(f"Done: {pages}")
        self.step(f"Ask leave to mark {stop}")
        self.press("Ask Ruth")
        self.step("Wait: Ruth decides")

    def marks(self, *wrong: int) -> None:
        self.page.get_by_role("link", name="Write down what is wrong").click()
        for question in wrong:
            self.page.locator(".askq label", has_text=re.compile(rf"^{question}$")).click()
        self.press("These are wrong" if wrong else "All right")


class Phone(Device):
    """Ruth's phone on today's page."""

    def __init__(self, browser: Browser, base: str) -> None:
        super().__init__(browser, base, 390)
        self.go("/")
        self.page.evaluate("window.kept = true")

    def call(self, who: str, says: str) -> None:
        """A call stands there by itself, without a reload."""
        expect(self._of(who).filter(has_text=says)).to_be_visible(timeout=SOON)

    def _of(self, who: str) -> Locator:
        """What somebody calls for, leaving aside what is to be ordered for them."""
        return self.page.locator(".call", has_text=who).filter(has_not_text="order the next")

    def gives_leave(self, who: str) -> None:
        self._of(who).get_by_role("button", name="Give leave").click()
        expect(self.page.locator(".said")).to_contain_text("Recorded")


def lost(page: Page, *, on: bool) -> None:
    note = page.locator("#lost")
    (expect(note).to_be_visible if on else expect(note).to_be_hidden)(timeout=30_000)


def test_a_whole_school_day_of_three_learners_and_one_educator(
    browser: Browser, school: tuple[str, Path]
) -> None:
    base, folder = school
    ruth = Phone(browser, base)
    asa, noa, pip = (Tablet(browser, base, name) for name in ("Asa", "Noa", "Pip"))

    # The morning: one press sets what the plan has for today, and it stands on every tablet.
    before = [tablet.shown() for tablet in (asa, noa, pip)]
    ruth.press("Set them all")
    expect(ruth.page.locator(".said")).to_contain_text("Recorded")
    for tablet, old in zip((asa, noa, pip), before, strict=True):
        expect(tablet.page.locator(".mine")).not_to_have_attribute("data-hx-get", old, timeout=SOON)
        expect(tablet.page.locator(".mygoals")).to_contain_text("to do: pages 1-2")

    # Three at work. Noa's tap is recorded, its answer is lost; she taps again.
    asa.press("Done: pages 1-2")
    asa.step("Work pages 3-4")
    asa.works("pages 3-4", "section 1")
    ruth.call("Asa", "asks leave to mark section 1")
    answer_is_lost(noa.page)
    noa.page.route(
        LOOKS, lambda route: route.fulfill(status=204)
    )  # or news of her tap may come before she taps again
    noa.press("Done: pages 1-2")
    lost(noa.page, on=True)
    noa.press("Done: pages 1-2")
    noa.step("Work pages 3-4")
    noa.page.unroute(LOOKS)
    lost(noa.page, on=False)
    pip.page.get_by_role("link", name="Help", exact=True).click()
    pip.page.get_by_label("At which page?").fill("2")
    pip.press("Ask Ruth")
    ruth.call("Pip", "asks for help, page 2")

    # Leave is given: it comes to the tablet by itself, on Asa's and on no other.
    ruth.gives_leave("Asa")
    asa.step("Mark section 1", SOON)
    noa.step("Work pages 3-4")

    # The connection is lost while Asa marks and Ruth writes why Noa is to look again.
    noa.works("pages 3-4", "section 1")
    ruth.call("Noa", "asks leave to mark section 1")
    asa.page.get_by_role("link", name="Write down what is wrong").click()
    ruth.page.get_by_text("Send back…").click()
    asa.context.set_offline(True)
    ruth.context.set_offline(True)
    for question in (2, 5):
        asa.page.locator(".askq label", has_text=re.compile(rf"^{question}$")).click()
    ruth.page.get_by_label("Why").fill("questions 4 and 5 are blank")
    asa.press("These are wrong")
    ruth.press("Send back")
    lost(asa.page, on=True)
    lost(ruth.page, on=True)
    assert "nothing" not in ruth.page.locator("#lost").inner_text().lower()
    asa.context.set_offline(False)
    ruth.context.set_offline(False)
    lost(asa.page, on=False)
    lost(ruth.page, on=False)
    asa.page.reload()
    ruth.page.reload()
    for question in (2, 5):
        expect(asa.page.get_by_role("checkbox", name=f"{question} wrong", exact=True)).to_be_checked()
    expect(asa.page.get_by_role("checkbox", name="4", exact=True)).not_to_be_checked()
    expect(asa.page.locator(".typed-note")).to_be_visible()
    expect(ruth.page.get_by_label("Why")).to_have_value("questions 4 and 5 are blank")
    asa.press("These are wrong")
    asa.step("Correct questions 2 and 5")
    ruth.press("Send back")
    expect(ruth.page.locator(".said")).to_contain_text("Recorded")
    expect(noa.page.locator(".sentback")).to_contain_text("questions 4 and 5 are blank", timeout=SOON)

    # Corrections, re-marking, the rest of the section's work; what a command records elsewhere is seen as well.
    asa.press("All corrected")
    asa.press("Ask Ruth")
    ruth.call("Asa", "asks leave to re-mark section 1")
    ruth.gives_leave("Asa")
    asa.step("Re-mark section 1: questions 2 and 5", SOON)
    asa.marks()
    asa.works("pages 5-8", "section 2")
    ruth.call("Asa", "asks leave to mark section 2")
    ruth.gives_leave("Asa")
    asa.step("Mark section 2", SOON)
    asa.marks()
    told = program(folder, "act", "give-help", "pip-01", "--by", "ruth", "--minutes", "5")
    assert told.status == 0, told.err
    expect(ruth.page.get_by_text("asks for help")).to_have_count(0, timeout=SOON)

    # The progress check.
    ruth.call("Asa", "check 1")
    ruth.press("Open it")
    asa.step("Do check 1: page 9", SOON)
    asa.works("page 9", "check 1")
    ruth.gives_leave("Asa")
    asa.step("Mark check 1", SOON)
    asa.marks()
    expect(asa.page.locator(".bigstep")).to_be_visible()

    # The evening's look.
    assert ruth.page.evaluate("window.kept") is None, "the phone was reloaded once, by hand, and not again"
    ruth.go("/record/")
    told = ruth.page.locator(".history").inner_text()
    noas = [line for line in told.splitlines() if "1-2" in line and "Goal" not in line]
    assert len(noas) == 2, "Asa's and Noa's, each once"
    for what in ("Help given", "Section 1", "Check 1"):
        assert what.lower() in told.lower()
    holds = program(folder, "verify")
    assert holds.status == 0, holds.err
    for device in (ruth, asa, noa, pip):
        expected = ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "htmx:")
        assert [c for c in device.complaints if not any(word in c for word in expected)] == []
        device.context.close()


def answer_is_lost(page: Page) -> None:
    """What is sent next arrives; its answer does not."""

    def swallow(route: Route) -> None:
        route.fetch()
        route.abort()

    page.route("**/tablet/me/act", swallow, times=1)
