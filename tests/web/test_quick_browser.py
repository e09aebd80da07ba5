"""The quick line, the day from paper and the wall in a real Chromium: by keyboard alone, and through what goes wrong."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.records import actions, queries
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD, small_home

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)


@pytest.fixture
def complaints() -> list[str]:
    """What the browser's console complains of; a test that provokes it empties the list."""
    return []


@pytest.fixture
def copy() -> list[str]:
    """The copy in Asa's hands, once the home stands."""
    return []


@pytest.fixture
def desk(live_server: LiveServer, page: Page, complaints: list[str], copy: list[str]) -> Iterator[Page]:
    """Ruth at her screen; Asa has begun a workbook."""
    small_home(demo_shift=int((datetime.now(UTC) - OPENING).total_seconds()), sign_in=True)
    at = OPENING - timedelta(hours=1)
    done = actions.order_copy("home", workbook="sums-5-01", learner="asa", by="ruth", at=at)
    copy.append(str(getattr(done.entries[0].fact, "copy", "")))
    actions.receive_copy("home", copy=copy[0], by="ruth", at=at)
    actions.issue_copy("home", copy=copy[0], learner="asa", by="ruth", at=at)
    actions.hold_opening_talk("home", copy=copy[0], by="ruth", at=at)
    actions.set_goal("home", copy=copy[0], first=1, last=4, by="ruth", at=at)
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.set_default_timeout(30_000)
    page.goto(live_server.url + "/")
    page.get_by_label("Name").fill("ruth-home")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("12 January 2026")
    page.wait_for_load_state("load")
    yield page
    assert complaints == []


def forgive(complaints: list[str]) -> None:
    """A page that is refused comes with the status 409, of which the browser complains; nothing else may be there."""
    assert all("409" in text for text in complaints)
    complaints.clear()


def looked(page: Page, says: str) -> None:
    expect(page.locator("#quick-look")).to_contain_text(says)


def test_a_line_goes_in_by_the_keyboard_alone_and_the_next_one_can_be_typed_at_once(
    desk: Page, copy: list[str]
) -> None:
    desk.keyboard.press("/")
    desk.keyboard.type("asa sums 1-4 20 min wrong 2")
    looked(desk, "Asa, Counting Boats: Enter records")
    looked(desk, "First marking, section 1: wrong 2, of 10")
    desk.keyboard.press("Enter")
    expect(desk.locator(".said.done")).to_contain_text("Pages 1-4 worked in 20 min")
    expect(desk.locator("#quick-text")).to_have_value("")
    expect(desk.locator("#quick-text")).to_be_focused()
    desk.keyboard.type("asa re-mark right")
    looked(desk, "Re-marked, section 1: cleared")
    desk.keyboard.press("Enter")
    expect(desk.locator(".said.done")).to_contain_text("Re-marked, section 1: cleared")
    desk.locator(".said").get_by_role("button", name="Undo").press("Enter")
    expect(desk.locator(".said")).to_contain_text("Taken back")
    standing = queries.copy_page("home", copy[0], now=datetime.now(UTC)).copy.standing
    assert str(standing.stop("section-1").cycle) == "to be corrected"


def test_the_last_word_is_completed_from_a_list_that_has_a_role(desk: Page) -> None:
    field = desk.get_by_role("combobox", name="Quick line")
    field.fill("asa sums 1-4 wr")
    expect(desk.locator("#quick-words option").first).to_have_attribute("value", "asa sums 1-4 wrong")


def test_what_was_typed_survives_a_refusal_a_reload_and_a_lost_connection(
    desk: Page, complaints: list[str]
) -> None:
    field = desk.locator("#quick-text")
    field.fill("asa sums right")
    looked(desk, "Pages 1-4 are not worked yet.")
    field.press("Enter")
    expect(desk.locator(".said.refused")).to_contain_text("Pages 1-4 are not worked yet.")
    expect(field).to_have_value("asa sums right")

    field.fill("asa sums 1-2")
    desk.reload()
    expect(field).to_have_value("asa sums 1-2")
    looked(desk, "Pages 1-2 worked")

    desk.route("**/quick*", lambda route: route.abort())
    field.press("Enter")
    expect(desk.locator(".lost").first).to_be_visible()
    expect(field).to_have_value("asa sums 1-2")
    desk.unroute("**/quick*")
    field.press("Enter")
    expect(desk.locator(".said.done")).to_contain_text("Pages 1-2 worked")
    desk.reload()
    expect(field).to_have_value("")
    assert all("ERR_FAILED" in text or "htmx" in text for text in complaints)
    complaints.clear()


def test_what_was_typed_survives_the_pages_own_refreshing(desk: Page, copy: list[str]) -> None:
    desk.locator("#quick-text").fill("asa sums 1-2")
    desk.locator("h1").click()
    actions.ask_help("home", copy=copy[0], by="asa", at=OPENING)
    expect(desk.locator(".calls")).to_contain_text("asks for help")
    expect(desk.locator("#quick-text")).to_have_value("asa sums 1-2")


def test_the_key_can_be_switched_off_and_stays_off(desk: Page) -> None:
    desk.get_by_text("How a line is written").click()
    desk.get_by_label("brings me to the quick line").uncheck()
    desk.reload()
    desk.keyboard.press("/")
    expect(desk.locator("#quick-text")).not_to_be_focused()
    desk.get_by_text("How a line is written").click()
    desk.get_by_label("brings me to the quick line").check()
    desk.locator("h1").click()
    desk.keyboard.press("/")
    expect(desk.locator("#quick-text")).to_be_focused()


def test_a_learners_page_and_a_copys_page_take_a_line_without_names(
    desk: Page, live_server: LiveServer, copy: list[str]
) -> None:
    asa = queries.home_of("home").person("asa").id
    for address, line, says in (
        (f"/copies/{copy[0]}/", "1-2", "Pages 1-2 worked"),
        (f"/learners/{asa}/", "sums 3-4 right", "First marking, section 1: all right"),
    ):
        desk.goto(live_server.url + address)
        desk.keyboard.press("/")
        desk.keyboard.type(line)
        looked(desk, says)
        desk.keyboard.press("Enter")
        expect(desk.locator(".said.done")).to_contain_text(says)
        expect(desk.locator("#quick-text")).to_have_value("")


def test_a_gate_is_passed_with_a_reason_from_the_line(
    desk: Page, live_server: LiveServer, complaints: list[str]
) -> None:
    asa = queries.home_of("home").person("asa").id
    for address, line in (("/", "asa sums 1-8"), (f"/learners/{asa}/", "sums 5-8")):
        desk.goto(live_server.url + address)
        desk.locator("#quick-text").fill(line)
        desk.locator("#quick-text").press("Enter")
        desk.get_by_label("Pass").fill("worked at her grandmother's")
        desk.get_by_role("button", name="Pass with this reason").click()
        expect(desk.locator(".said.done")).to_contain_text("Pages")
    forgive(complaints)


def test_a_day_is_filled_in_by_tab_alone_and_survives_a_reload(
    desk: Page, live_server: LiveServer, copy: list[str]
) -> None:
    desk.goto(live_server.url + "/day/")
    desk.get_by_label("Asa, Counting Boats: from page").focus()
    for typed in ("1", "4", "20", "2", "right"):
        desk.keyboard.type(typed)
        desk.keyboard.press("Tab")
    desk.reload()
    expect(desk.get_by_label("Asa, Counting Boats: minutes")).to_have_value("20")
    expect(desk.get_by_label("section 1, wrong at re-marking")).to_have_value("right")
    desk.get_by_label("Asa, Counting Boats: from page").press("Enter")
    expect(desk.locator(".said.done")).to_contain_text("Re-marked, section 1: cleared")
    desk.wait_for_load_state("load")  # the script of the answer forgets what was typed
    desk.goto(live_server.url + "/day/")
    expect(desk.get_by_label("Asa, Counting Boats: minutes")).to_have_value("")
    assert len(queries.copy_page("home", copy[0], now=datetime.now(UTC)).copy.standing.pages) == 4


def test_the_wall_shows_what_is_new_by_itself(desk: Page, live_server: LiveServer, copy: list[str]) -> None:
    desk.goto(live_server.url + "/wall/")
    expect(desk.get_by_role("heading", name="Nobody waits")).to_be_visible()
    desk.evaluate("window.kept = true")
    actions.ask_help("home", copy=copy[0], page=3, by="asa", at=OPENING)
    expect(desk.locator(".wallwaits")).to_contain_text("Asa waits for Ruth: help, page 3")
    assert desk.evaluate("window.kept") is True


def test_the_pages_fit_their_width_and_can_be_read_by_everybody(
    desk: Page, live_server: LiveServer, copy: list[str], complaints: list[str]
) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, with everything folded out; no page is wider than its screen."""
    asa = queries.home_of("home").person("asa").id

    def judge(what: str) -> None:
        assert faults(desk, what, folded_out=True) == []

    for address in ("/", f"/copies/{copy[0]}/", f"/learners/{asa}/", "/day/", "/wall/"):
        desk.goto(live_server.url + address)
        judge(address)
    desk.goto(live_server.url + "/")
    for line, says in (
        ("asa sums 1-4 right", "Enter records"),
        ("asa sums right", "The gate is shut"),
        ("asa sumz 1", "sumz"),
    ):
        desk.locator("#quick-text").fill(line)
        looked(desk, says)
        judge(line)
    desk.goto(live_server.url + "/day/")
    desk.get_by_label("Asa, Counting Boats: from page").fill("1")
    desk.get_by_label("Asa, Counting Boats: to page").fill("8")
    desk.get_by_role("button", name="Record the day").click()
    expect(desk.locator(".said.refused")).to_contain_text("1 row cannot be recorded")
    judge("a refused day")
    desk.get_by_label("Asa, Counting Boats: to page").fill("80")
    desk.get_by_role("button", name="Record the day").click()
    expect(desk.locator(".said.mistaken")).to_contain_text("from 1 to 9")
    judge("a mistaken day")
    forgive(complaints)


def test_the_wall_fits_a_kiosk(desk: Page, live_server: LiveServer) -> None:
    desk.set_viewport_size({"width": 1280, "height": 720})
    desk.goto(live_server.url + "/wall/")
    assert desk.evaluate("document.documentElement.scrollHeight") <= 720
    assert desk.evaluate("parseFloat(getComputedStyle(document.querySelector('.wallgoal')).fontSize)") >= 18
