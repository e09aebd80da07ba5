"""A whole workbook driven by clicks in a real Chromium, and today's page in both widths."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.ledger.facts import Step
from markstead.records import actions, queries, upkeep
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD, small_home

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)


@pytest.fixture
def complaints() -> list[str]:
    """What the browser's console complains of; a test that provokes it empties the list."""
    return []


@pytest.fixture
def desk(live_server: LiveServer, page: Page, complaints: list[str]) -> Iterator[Page]:
    """Ruth at her screen in a demonstration home, whose clock she can put forward."""
    real = datetime.now(UTC)
    small_home(demo_shift=int((real - OPENING).total_seconds()), sign_in=True)
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.set_default_timeout(30_000)
    page.goto(live_server.url + "/")
    page.get_by_label("Name").fill("ruth-home")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("12 January 2026")
    yield page
    assert complaints == []


class Clicks:
    """What Ruth's hand does on the copy page."""

    def __init__(self, page: Page, base: str) -> None:
        self.page, self.base = page, base

    @property
    def next(self) -> Locator:
        """What the page says is to be done next."""
        return self.page.locator("#next-h")

    def press(self, name: str) -> None:
        """Press a button of the next step, and see that it was recorded."""
        self.page.wait_for_load_state()  # a form that the browser sends by itself leads to another page
        seen = self.page.locator(".copy").get_attribute("data-seen") or ""
        self.page.locator(".nextbox").get_by_role("button", name=name, exact=True).click()
        expect(self.page.locator(".copy")).not_to_have_attribute("data-seen", seen)
        expect(self.page.locator(".said")).to_contain_text("Recorded")

    def next_morning(self) -> None:
        address = self.page.url
        self.page.goto(self.base + "/")
        day = self.page.get_by_role("heading", level=1)
        today = day.inner_text()
        self.page.get_by_role("button", name="To the next school morning").click()
        expect(day).not_to_have_text(today)
        self.page.goto(address)

    def fill(self, label: str | re.Pattern[str], value: str) -> None:
        self.page.locator(".nextbox").get_by_label(label).fill(value)

    def section(self, name: str, *, wrong: str = "") -> None:
        """Work, ask, mark, and correct what is wrong."""
        expect(self.next).to_contain_text("page")
        self.press("Record the pages")
        self.press("Ask leave")
        self.press("Give leave")
        expect(self.next).to_have_text(f"Mark {name} against the key")
        if not wrong:
            self.press("All right")
            return
        self.fill(re.compile("wrong questions"), wrong)
        self.press("Record the wrong ones")
        if self.next.inner_text().startswith("Quiz"):
            self.page.locator(".nextbox").get_by_label("Question").first.fill("3")
            self.page.locator(".nextbox").get_by_role("combobox").first.select_option("right")
            self.press("Record the quiz")
        self.press("The corrections are done")
        self.press("Ask leave")
        self.press("Give leave")
        self.press("All right")

    def up_to_the_practice_test(self) -> None:
        self.press("Issue it")
        self.press("The talk was held")
        self.section("section 1", wrong="2, 5")
        self.section("section 2", wrong="1-4")
        expect(self.next).to_have_text("Open check 1")
        self.press("Open it")
        self.section("check 1")
        self.press("Open the practice test")

    def practice(self, right: str) -> None:
        self.fill(re.compile("Right answers"), right)
        self.press("Record the score")

    def unit(self, right: str) -> None:
        self.press("The sitting begins")
        self.fill(re.compile("Right answers"), right)
        self.press("Record the result")


def test_a_whole_workbook_by_clicks_with_a_failed_test_and_a_second_pass(
    desk: Page, live_server: LiveServer
) -> None:
    clicks = Clicks(desk, live_server.url)
    desk.get_by_role("link", name="Copies").click()
    desk.get_by_label("Workbook").select_option("sums-5-01")
    desk.get_by_label("For").select_option(label="Asa")
    desk.get_by_role("button", name="Order it").click()
    expect(desk.get_by_role("heading", level=1)).to_contain_text("Counting Boats")
    clicks.press("It is in the house")

    clicks.up_to_the_practice_test()
    clicks.practice("15")
    expect(clicks.next).to_contain_text("Go over the practice test: 15 of 20, 16 needed")
    clicks.press("Help was given")
    clicks.press("Open the practice test")
    clicks.practice("16")
    clicks.press("Ready")

    # Too early: the practice test was passed today. The gate names its bar, and trying it changes nothing.
    expect(desk.locator(".nextbox .bars")).to_contain_text("the unit test comes on a later school day")
    expect(desk.locator(".nextbox .bars")).to_contain_text("Wait until Tuesday 13 January 2026")
    desk.locator(".nextbox summary").click()
    desk.locator(".nextbox").get_by_role("button", name="The sitting begins").click()
    expect(desk.locator(".said.refused")).to_contain_text("nothing was recorded")
    expect(desk.locator(".said.refused")).to_contain_text("later school day")

    clicks.next_morning()
    clicks.unit("12")
    expect(clicks.next).to_have_text("Go over the test and order a new copy")
    clicks.press("Order a new copy")

    desk.goto(live_server.url + "/copies/?status=on+order")
    desk.get_by_role("link", name="Counting Boats").click()
    expect(desk.locator(".crumb")).to_contain_text("sums-5-01 (2)")
    clicks.press("It is in the house")
    clicks.up_to_the_practice_test()
    clicks.practice("19")
    clicks.press("Ready")
    clicks.next_morning()
    clicks.unit("18")

    expect(desk.locator(".facts")).to_contain_text("Unit test, attempt 2")
    expect(desk.locator(".facts")).to_contain_text("18 of 20, passed")
    assert upkeep.verify("home").holds
    asa = queries.home_of("home").person("asa").id
    done = queries.copies("home", learner=asa)
    assert [(c.label, c.standing.passed) for c in done] == [("sums-5-01", False), ("sums-5-01 (2)", True)]


def _a_morning() -> str:
    at = OPENING - timedelta(hours=1)
    done = actions.order_copy("home", workbook="sums-5-01", learner="asa", by="ruth", at=at)
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    actions.receive_copy("home", copy=copy, by="ruth", at=at)
    actions.issue_copy("home", copy=copy, learner="asa", by="ruth", at=at)
    actions.hold_opening_talk("home", copy=copy, by="ruth", at=at)
    actions.set_goal("home", copy=copy, day=at.date(), first=1, last=8, by="asa", at=at)
    actions.work_pages(
        "home", copy=copy, first=1, last=4, minutes=25, by="asa", at=at + timedelta(minutes=30)
    )
    return copy


def test_the_pages_fit_their_width_and_can_be_read_by_everybody(desk: Page, live_server: LiveServer) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, in both themes; no page is wider than its screen."""
    copy = _a_morning()
    stop = "section-1"
    actions.ask_leave("home", copy=copy, step=Step.MARK, stop=stop, by="asa", at=OPENING)
    found = []
    for address in ("/", f"/copies/{copy}/", "/copies/", "/papers/", "/record/"):
        desk.goto(live_server.url + address)
        found += faults(desk, address)
    assert found == []


def test_a_call_raised_elsewhere_appears_without_a_reload_and_is_answered_in_place(
    desk: Page, live_server: LiveServer
) -> None:
    copy = _a_morning()
    desk.goto(live_server.url + "/")
    expect(desk.locator("svg.ruler")).to_have_count(1)
    desk.evaluate("window.kept = true")

    actions.ask_leave("home", copy=copy, step=Step.MARK, stop="section-1", by="asa", at=OPENING)
    expect(desk.locator(".calls")).to_contain_text("asks leave to mark section 1")
    desk.get_by_role("button", name="Give leave").click()

    expect(desk.locator(".said")).to_contain_text("Recorded")
    assert desk.evaluate("window.kept") is True
    assert queries.history("home", copy=copy, limit=1)[0].entry.fact.KIND == "leave given"
    desk.locator(".said").get_by_role("button", name="Undo").click()
    expect(desk.locator(".said")).to_contain_text("Taken back")


def test_a_page_that_looks_for_news_keeps_its_buttons_as_they_are(
    desk: Page, live_server: LiveServer
) -> None:
    """While the page asks for its own part nothing was pressed, so that no button may look as if it had been."""
    copy = _a_morning()
    actions.ask_leave("home", copy=copy, step=Step.MARK, stop="section-1", by="asa", at=OPENING)
    asked = []
    desk.route("**/today/refresh*", lambda route: asked.append(route))  # held back: never answered
    with desk.expect_request("**/today/refresh*"):
        desk.goto(live_server.url + "/")

    expect(desk.locator(".today.htmx-request")).to_have_count(1)
    paler = "buttons => buttons.filter(b => getComputedStyle(b).opacity !== '1' && !b.disabled).map(b => b.textContent)"
    assert desk.locator(".today button").count() > 0
    assert desk.locator(".today button").evaluate_all(paler) == []
    for route in asked:
        route.continue_()


def test_sending_back_asks_for_the_reason_and_shows_it(desk: Page, live_server: LiveServer) -> None:
    copy = _a_morning()
    actions.ask_leave("home", copy=copy, step=Step.MARK, stop="section-1", by="asa", at=OPENING)
    desk.goto(live_server.url + "/")

    desk.get_by_text("Send back…").click()
    desk.get_by_label("Why").fill("question 4 is blank")
    desk.get_by_role("button", name="Send back").click()

    expect(desk.locator(".said")).to_contain_text("Recorded")
    desk.goto(f"{live_server.url}/copies/{copy}/")
    expect(desk.locator(".nextbox")).to_contain_text("Sent back: question 4 is blank")


def test_a_lost_connection_is_said_and_what_was_typed_stays(
    desk: Page, live_server: LiveServer, complaints: list[str]
) -> None:
    _a_morning()
    desk.goto(live_server.url + "/")
    expect(desk.locator(".lost")).to_be_hidden()
    desk.route("**/today/refresh*", lambda route: route.abort())

    expect(desk.locator(".lost")).to_be_visible(timeout=15_000)
    desk.unroute("**/today/refresh*")
    expect(desk.locator(".lost")).to_be_hidden(timeout=15_000)
    assert all("ERR_FAILED" in text or "htmx" in text for text in complaints)
    complaints.clear()


def test_the_demonstration_opens_on_a_morning_with_calls_and_rulers(
    live_server: LiveServer, page: Page
) -> None:
    """Three learners at work, somebody waiting for every kind of leave, and nothing wider than the screen."""
    from markstead.records import demo

    demo.build("home", real_now=datetime.now(UTC))
    page.goto(live_server.url + "/")
    page.get_by_label("Name").fill(demo.USERNAME)
    page.get_by_label("Password").fill(demo.PASSWORD)
    page.get_by_role("button", name="Sign in").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Tuesday 27 January 2026")
    page.wait_for_load_state("load")
    assert page.locator(".call").count() >= 8
    for kind in (
        "unit test this morning",
        "help",
        "leave to mark",
        "leave to re-mark",
        "quiz first",
        "decide on",
    ):
        expect(page.locator(".calls")).to_contain_text(kind)
    assert page.locator(".learner").count() == 3
    assert page.locator("svg.ruler").count() >= 15
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 850})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    first = page.locator(".learner svg.ruler").first
    assert "pages worked" in (first.get_attribute("aria-label") or "")
