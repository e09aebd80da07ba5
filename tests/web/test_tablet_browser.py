"""The tablet in a real Chromium: by finger, by keyboard alone, without scripts; it closes when it is left."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.ledger.facts import Step
from markstead.records import actions as a
from markstead.records import pins, queries
from markstead.records.home import Home
from markstead.records.setup import Newcomer, set_up
from markstead.rules.ruling import Role
from tests.tools.everybody import faults
from tests.tools.homes import CAST, PAPERS, PASSWORD, small_home

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)
PIN = "2746"
FINGER = 56
"""The least height of what is tapped, in pixels."""


@pytest.fixture
def home(live_server: LiveServer) -> Home:
    """Pip is seven and Lene seventeen; both have a PIN."""
    small_home(demo_shift=int((datetime.now(UTC) - OPENING).total_seconds()), sign_in=True)
    people = (
        *CAST,
        Newcomer("pip", "Pip", Role.LEARNER, 2, ("sums-5", "words-5")),
        Newcomer("lene", "Lene", Role.LEARNER, 12, ("sums-5", "words-5")),
    )
    made = set_up("home", name="Tarn End", papers=PAPERS, people=people, at=OPENING)
    for learner in ("pip", "lene"):
        pins.set_pin(made, learner=learner, pin=PIN, by="ruth", now=datetime.now(UTC))
    return made


@pytest.fixture
def complaints() -> list[str]:
    """What the browser's console complains of; a test that provokes it empties the list."""
    return []


@pytest.fixture
def tablet(live_server: LiveServer, home: Home, page: Page, complaints: list[str]) -> Iterator[Page]:
    """A tablet that Ruth has just opened for the learners by clicks."""
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.set_default_timeout(30_000)
    page.goto(live_server.url + "/settings/tablets/")
    page.get_by_label("Name").fill("ruth-home")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="This tablet is for learners").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Who are you?")
    yield page
    assert complaints == []


def in_hand(learner: str, workbook: str = "sums-5-01") -> str:
    at = OPENING - timedelta(hours=1)
    done = a.order_copy("home", workbook=workbook, learner=learner, by="ruth", at=at)
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    a.receive_copy("home", copy=copy, by="ruth", at=at)
    a.issue_copy("home", copy=copy, learner=learner, by="ruth", at=at)
    a.hold_opening_talk("home", copy=copy, by="ruth", at=at)
    return copy


def enter(page: Page, name: str) -> None:
    page.get_by_role("link", name=name, exact=True).click()
    for digit in PIN:
        page.get_by_role("button", name=digit, exact=True).click()
    page.get_by_role("button", name="Go").click()
    expect(page.get_by_role("button", name="I am done")).to_be_visible()
    page.wait_for_load_state()  # with its scripts: before them a form leads to another page


def give(copy: str, step: Step, stop: str) -> None:
    """Leave, at this moment on the clock of the home."""
    shift = queries.home_of("home").demo_shift or 0
    at = datetime.now(UTC).replace(microsecond=0) - timedelta(seconds=shift)
    a.give_leave("home", copy=copy, step=step, stop=stop, by="ruth", at=at)


SMALL = """() => [...document.querySelectorAll('a, button, input, select, .askq label, .choose label')]
  .filter(e => e.checkVisibility() && !e.classList.contains('skip') && !e.closest('.askq label, .choose label') ||
    e.matches('.askq label, .choose label'))
  .map(e => [e.getBoundingClientRect().height, e.outerHTML.slice(0, 90)]).filter(([h]) => h < 55.5)"""


class TestEverybody:
    @pytest.mark.parametrize("who", ["Pip", "Lene"])
    def test_every_page_in_both_themes_and_widths(
        self, tablet: Page, live_server: LiveServer, home: Home, who: str
    ) -> None:
        """WCAG 2.2 AA as far as axe-core sees it; nothing wider than the screen; everything large enough for a finger."""
        key = who.lower()
        copy, other = in_hand(key), in_hand(key, "words-5-01")
        at = OPENING - timedelta(minutes=20)
        a.set_goal("home", copy=copy, first=1, last=3, by="ruth", at=at)
        a.set_goal("home", copy=other, first=1, last=2, by="ruth", at=at)
        a.work_pages("home", copy=other, first=1, last=3, by=key, at=at)
        a.ask_leave("home", copy=other, step=Step.MARK, stop="section-1", by=key, at=at)
        a.ask_help("home", copy=copy, page=2, by=key, at=at)
        base = f"{live_server.url}/tablet/"
        learner = home.person(key).id
        doors = ("", "left/", f"who/{learner}/", f"who/{home.person('asa').id}/")
        inside = (
            "me/",
            f"me/?copy={other}",
            "me/road/",
            f"me/help/{copy}/",
            f"me/pages/{copy}/",
            f"me/marking/{other}/section-1/",
            "me/still/",
        )
        broken = []
        for pages, entered in ((doors, False), (inside, True)):
            if entered:
                tablet.goto(base)
                enter(tablet, who)
                give(other, Step.MARK, "section-1")
            for address in pages:
                tablet.goto(base + address)
                if "marking" in address:
                    tablet.get_by_role("checkbox", name="3", exact=True).check()
                for width in (1280, 390):
                    broken += faults(tablet, address, widths=(width,))
                    broken += [f"{address}, {width} px: small: {one}" for one in tablet.evaluate(SMALL)]
        assert broken == []

    def test_the_educators_pages_for_it(self, live_server: LiveServer, home: Home, page: Page) -> None:
        page.goto(f"{live_server.url}/settings/tablets/")
        page.get_by_label("Name").fill("ruth-home")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_role("button", name="This tablet is for learners")).to_be_visible()
        from markstead.records import devices

        devices.open_tablet(home, name="Another tablet", by="ruth", now=datetime.now(UTC))
        for address in ("/settings/tablets/", f"/learners/{home.person('pip').id}/"):
            page.goto(live_server.url + address)
            assert faults(page, address) == []

    def test_the_youngest_read_larger_letters_and_fewer_words(
        self, tablet: Page, live_server: LiveServer
    ) -> None:
        for key in ("pip", "lene"):
            in_hand(key)
            in_hand(key, "words-5-01")
        sizes, lengths = {}, {}
        for who in ("Pip", "Lene"):
            tablet.goto(f"{live_server.url}/tablet/")
            enter(tablet, who)
            look = "() => parseFloat(getComputedStyle(document.querySelector('.mine')).fontSize)"
            sizes[who] = tablet.evaluate(look)
            lengths[who] = len(tablet.locator(".mine").inner_text())
            tablet.get_by_role("button", name="I am done").click()
            expect(tablet.get_by_role("heading", level=1)).to_have_text("Who are you?")

        assert sizes["Pip"] >= 1.3 * sizes["Lene"]
        assert lengths["Pip"] < lengths["Lene"]

    def test_a_reading_voice_hears_what_stands_there(self, tablet: Page) -> None:
        copy = in_hand("pip")
        a.set_goal("home", copy=copy, first=1, last=3, by="ruth", at=OPENING - timedelta(minutes=20))
        enter(tablet, "Pip")

        step = tablet.get_by_role("region", name="Work pages 1-3")
        expect(step.get_by_role("heading", level=1)).to_have_text("Work pages 1-3")
        ruler = step.get_by_role("img")
        expect(ruler).to_have_accessible_name("Counting Boats: 0 of 9 pages worked; goal today: pages 1-3")
        expect(step.get_by_role("button", name="Done: pages 1-3")).to_be_visible()
        expect(tablet.get_by_role("navigation", name="More").get_by_role("link")).to_have_count(3)
        expect(tablet.get_by_role("status").first).to_be_attached()
        tablet.get_by_role("link", name="Help").click()
        expect(tablet.get_by_label("At which page?")).to_have_value("1")
        tablet.get_by_role("link", name="Back").click()
        tablet.get_by_role("link", name="My road").click()
        stones = tablet.get_by_role("list", name="Workbooks of Sums 5").get_by_role("listitem")
        expect(stones.first).to_contain_text("Counting Boats")
        expect(stones.first).to_contain_text("in hand")


class TestHands:
    def test_a_section_by_finger_with_the_educator_elsewhere(self, tablet: Page) -> None:
        copy = in_hand("pip")
        enter(tablet, "Pip")
        tablet.evaluate("window.kept = true")

        tablet.get_by_role("button", name="Done: pages 1-4").click()
        expect(tablet.locator("#step-h")).to_have_text("Ask leave to mark section 1")
        tablet.get_by_role("button", name="Ask Ruth").click()
        expect(tablet.locator("#step-h")).to_have_text("Wait: Ruth decides")
        give(copy, Step.MARK, "section-1")
        expect(tablet.locator("#step-h")).to_have_text("Mark section 1")
        expect(tablet.locator("#news")).to_have_text("Mark section 1")
        assert tablet.evaluate("window.kept") is True

        tablet.get_by_role("link", name="Write down what is wrong").click()
        for question in ("4", "7"):
            tablet.locator(".askq label", has_text=question).click()
        tablet.get_by_role("button", name="These are wrong").click()
        expect(tablet.locator("#step-h")).to_have_text("Correct questions 4 and 7")
        expect(tablet.get_by_role("status").nth(1)).to_contain_text("questions 4 and 7 to correct")
        tablet.get_by_role("button", name="Take it back").click()
        expect(tablet.locator("#step-h")).to_have_text("Mark section 1")

    def test_with_the_keyboard_alone(self, tablet: Page) -> None:
        in_hand("lene")

        def tab_to(name: str) -> None:
            for _ in range(40):
                tablet.keyboard.press("Tab")
                at = tablet.evaluate(
                    "() => (document.activeElement.textContent || document.activeElement.name || '').trim()"
                )
                if at == name:
                    shown = tablet.evaluate(
                        "() => getComputedStyle(document.activeElement).outlineStyle !== 'none'"
                    )
                    assert shown, f"no outline at {name}"
                    return
            raise AssertionError(f"the keyboard does not reach {name!r}")

        tab_to("Lene")
        tablet.keyboard.press("Enter")
        expect(tablet.get_by_label("Your PIN")).to_be_focused()
        tablet.keyboard.type(PIN)
        tablet.keyboard.press("Enter")
        expect(tablet.locator("#step-h")).to_have_text("Work pages 1-4")
        tablet.wait_for_load_state()
        tab_to("Other pages, or minutes")
        tablet.keyboard.press("Enter")
        expect(tablet.locator("#step-h")).to_have_text("Which pages are done?")
        tablet.wait_for_load_state()
        tab_to("last")
        tablet.keyboard.press("Control+A")
        tablet.keyboard.type("2")
        tab_to("minutes")
        tablet.keyboard.type("15")
        tablet.keyboard.press("Enter")
        expect(tablet.locator("#step-h")).to_have_text("Work pages 3-4")
        expect(tablet.locator("#step-h")).to_be_focused()
        tab_to("Done: pages 3-4")
        tablet.keyboard.press("Space")
        expect(tablet.locator("#step-h")).to_have_text("Ask leave to mark section 1")
        for _ in range(20):
            tablet.keyboard.press("Shift+Tab")
            if tablet.evaluate("() => document.activeElement.textContent.trim()") == "I am done":
                break
        tablet.keyboard.press("Enter")
        expect(tablet.get_by_role("heading", level=1)).to_have_text("Who are you?")

    def test_without_scripts(self, tablet: Page, live_server: LiveServer, browser: Browser) -> None:
        in_hand("pip")
        state = tablet.context.storage_state()
        plain = browser.new_context(java_script_enabled=False, storage_state=state, locale="en-GB").new_page()
        plain.goto(f"{live_server.url}/tablet/")
        plain.get_by_role("link", name="Pip", exact=True).click()
        plain.get_by_label("Your PIN").fill(PIN)
        plain.get_by_role("button", name="Go").click()
        plain.get_by_role("button", name="Done: pages 1-4").click()
        expect(plain.locator(".said")).to_contain_text("Written down: pages 1-4.")
        plain.get_by_role("button", name="Ask Ruth").click()
        expect(plain.locator("#step-h")).to_have_text("Wait: Ruth decides")
        plain.get_by_role("link", name="Help").click()
        plain.get_by_role("button", name="Ask Ruth").click()
        expect(plain.locator(".bigstep")).to_contain_text("You asked for help")
        plain.goto(f"{live_server.url}/tablet/me/still/")
        plain.get_by_role("link", name="I am still here").click()
        expect(plain.locator("#step-h")).to_have_text("Wait: Ruth decides")
        plain.get_by_role("button", name="I am done").click()
        expect(plain.get_by_role("heading", level=1)).to_have_text("Who are you?")
        plain.context.close()

    def test_digits_are_rubbed_out_and_counted_aloud(self, tablet: Page) -> None:
        tablet.get_by_role("link", name="Pip", exact=True).click()
        for name in ("1", "2", "Rub out", "7"):
            tablet.get_by_role("button", name=name, exact=True).click()

        expect(tablet.get_by_label("Your PIN")).to_have_value("17")
        expect(tablet.get_by_role("status")).to_have_text("2 digits")


class TestItIsLeft:
    def test_it_asks_and_then_it_closes(self, tablet: Page, live_server: LiveServer) -> None:
        in_hand("pip")
        tablet.clock.install()
        enter(tablet, "Pip")
        dialog = tablet.get_by_role("dialog", name="Are you still there?")
        tablet.clock.fast_forward(145_000)
        expect(dialog).to_be_hidden()
        tablet.clock.fast_forward(6_000)
        expect(dialog).to_be_visible()
        tablet.get_by_role("button", name="I am still here").click()
        expect(dialog).to_be_hidden()
        tablet.clock.fast_forward(145_000)
        expect(dialog).to_be_hidden()
        tablet.clock.fast_forward(36_000)

        expect(tablet.get_by_text("Nobody was here for a while")).to_be_visible()
        tablet.go_back()
        tablet.goto(f"{live_server.url}/tablet/me/")
        expect(tablet.get_by_role("heading", level=1)).to_have_text("Who are you?")

    def test_going_back_after_i_am_done_shows_nothing_of_the_one_before(self, tablet: Page) -> None:
        in_hand("pip")
        enter(tablet, "Pip")
        tablet.get_by_role("button", name="I am done").click()
        expect(tablet.get_by_role("heading", level=1)).to_have_text("Who are you?")

        tablet.go_back()

        expect(tablet.get_by_role("heading", level=1)).to_have_text("Who are you?")
        assert "Counting Boats" not in tablet.content()

    def test_an_educator_ends_it_by_hand(self, tablet: Page, live_server: LiveServer) -> None:
        tablet.goto(live_server.url + "/copies/")
        expect(tablet.get_by_role("heading", level=1)).to_have_text("Who are you?")
        tablet.get_by_role("link", name="For grown-ups").click()
        tablet.get_by_label("Name").fill("ruth-home")
        tablet.get_by_label("Password").fill(PASSWORD)
        tablet.get_by_role("button", name="End it and sign in").click()

        expect(tablet.get_by_role("heading", level=1)).to_contain_text("12 January 2026")
        tablet.goto(live_server.url + "/tablet/")
        expect(tablet.get_by_role("heading", level=1)).to_have_text("No tablet of the learners")
