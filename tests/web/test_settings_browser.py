"""Sittings and settings in a real Chromium: read by everybody in both themes and widths, worked by keyboard, and printed."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.records import actions, queries
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD, small_home
from tests.web.test_sittings import bring

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)


@pytest.fixture
def desk(live_server: LiveServer, page: Page) -> Iterator[Page]:
    """Ruth at her screen; Asa may sit this morning, Noa sat on Friday, and is not marked."""
    complaints: list[str] = []
    small_home(demo_shift=int((datetime.now(UTC) - OPENING).total_seconds()), sign_in=True)
    early = OPENING - timedelta(days=4)
    for copy, learner in (("boats", "asa"), ("gulls", "noa")):
        actions.order_copy("home", copy=copy, workbook="sums-5-01", learner=learner, by="ruth", at=early)
        actions.receive_copy("home", copy=copy, by="ruth", at=early)
        bring(copy, learner, early)
    watched = {"watcher": "tobi", "aids": ("pencil",), "by": "ruth"}
    actions.sit_unit_test("home", copy="gulls", at=OPENING - timedelta(days=3), **watched)  # type: ignore[arg-type]
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.set_default_timeout(30_000)
    page.goto(live_server.url + "/")
    page.get_by_label("Name").fill("ruth-home")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("12 January 2026")
    yield page
    assert complaints == []


def test_nothing_is_in_the_way_of_anybody(desk: Page, live_server: LiveServer) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, everything folded out; nothing is wider than its screen."""
    asa = queries.home_of("home").person("asa").id
    addresses = (
        "/sittings/",
        "/sittings/boats/",
        "/sittings/gulls/",
        "/settings/",
        "/settings/people/",
        f"/settings/people/?leaves={asa}",
        "/settings/calendar/?first=2026-01-14&last=2026-01-16",
    )
    found = []
    for address in addresses:
        desk.goto(live_server.url + address)
        found += faults(desk, address, folded_out=True)
    assert found == []


def test_what_a_change_would_do_is_read_by_everybody(desk: Page, live_server: LiveServer) -> None:
    desk.set_viewport_size({"width": 390, "height": 844})
    desk.goto(live_server.url + "/settings/")
    desk.get_by_label("Pass mark of the unit test").fill("90")
    desk.get_by_role("button", name="See what it changes").click()
    expect(desk.get_by_role("heading", name="What this would change")).to_be_visible()
    found = faults(desk, "rules", widths=(390,), folded_out=True)
    desk.goto(live_server.url + "/settings/calendar/?first=2026-01-14")
    desk.get_by_role("button", name="See what it changes").first.click()
    expect(desk.get_by_role("heading", name="What this would change")).to_be_visible()
    found += faults(desk, "calendar", widths=(390,), folded_out=True)
    desk.goto(live_server.url + "/settings/people/")
    desk.locator("summary", has_text="Change Tobi").click()
    desk.get_by_role("button", name="Make a new password").last.click()
    expect(desk.get_by_role("status")).to_contain_text("Tobi signs in like this")
    assert found + faults(desk, "password", widths=(390,), folded_out=True) == []


def test_a_morning_from_beginning_to_record_by_keyboard_alone(desk: Page, live_server: LiveServer) -> None:
    desk.goto(live_server.url + "/sittings/")
    desk.get_by_label("Watched by").first.focus()
    desk.keyboard.type("Tobi")
    desk.keyboard.press("Tab")
    desk.keyboard.press("Enter")
    expect(desk.get_by_role("heading", name="The test is being sat")).to_be_visible()
    desk.get_by_role("button", name="The paper is handed in").focus()
    desk.keyboard.press("Enter")
    expect(desk.get_by_role("heading", name="Mark it with the test key")).to_be_visible()
    desk.get_by_role("checkbox", name="3", exact=True).focus()
    desk.keyboard.press("Space")
    desk.keyboard.press("Tab")
    desk.keyboard.press("Space")
    desk.get_by_role("button", name="Record the tapped ones as wrong").focus()
    desk.keyboard.press("Enter")
    expect(desk.get_by_role("status")).to_contain_text("18 of 20, passed")
    expect(desk.get_by_role("heading", name="18 of 20, passed")).to_be_visible()
    row = desk.get_by_role("row", name="Questions wrong")
    expect(row).to_contain_text("3, 4")
    desk.emulate_media(media="print")
    expect(desk.get_by_role("heading", name="Record of a unit test")).to_be_visible()
    for name in ("Undo", "Order Counting Gulls", "Sign out"):
        expect(desk.get_by_role("button", name=name)).to_have_count(0)
    expect(desk.get_by_text("Watched: signature and date")).to_be_visible()


def test_questions_are_large_enough_for_a_finger(desk: Page, live_server: LiveServer) -> None:
    desk.set_viewport_size({"width": 390, "height": 844})
    desk.goto(live_server.url + "/sittings/gulls/")
    for number in ("1", "20"):
        box = desk.get_by_role("checkbox", name=number, exact=True).bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44
    desk.get_by_role("checkbox", name="7", exact=True).check()
    cell = desk.locator(".keys label").nth(6)
    assert "wrong" in cell.evaluate("e => getComputedStyle(e.querySelector('span'), '::after').content")


def test_days_are_tapped_on_the_sheet(desk: Page, live_server: LiveServer) -> None:
    desk.goto(live_server.url + "/settings/calendar/")
    desk.get_by_role("link", name="14 January, school day").click()
    expect(desk.get_by_label("From", exact=True)).to_have_value("2026-01-14")
    desk.get_by_role("link", name="16 January, school day").click()
    expect(desk.get_by_label("From", exact=True)).to_have_value("2026-01-14")
    expect(desk.get_by_label("to", exact=True)).to_have_value("2026-01-16")
    desk.get_by_label("Name, or why").fill("tide fair")
    desk.get_by_role("button", name="See what it changes").first.click()
    expect(desk.get_by_role("region", name="What this would change")).to_contain_text(
        "Wed 14 Jan to Fri 16 Jan"
    )
    desk.get_by_role("button", name="Save this").click()
    expect(desk.get_by_role("status")).to_contain_text("Saved")
    expect(desk.get_by_role("link", name="15 January, holiday of this home (tide fair)")).to_be_visible()
