"""The orders' page in a real Chromium: read by everybody, on a phone as on a screen, in both themes; and an order by hand."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.records import actions, ahead
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD, small_home

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)


@pytest.fixture
def desk(live_server: LiveServer, page: Page) -> Iterator[Page]:
    """Ruth at the orders; a copy of last week is late."""
    complaints: list[str] = []
    ahead._AHEAD.clear()
    small_home(demo_shift=int((datetime.now(UTC) - OPENING).total_seconds()), sign_in=True)
    actions.order_copy(
        "home",
        workbook="words-5-01",
        learner="asa",
        expected=datetime(2026, 1, 9, tzinfo=UTC).date(),
        by="ruth",
        at=datetime(2026, 1, 5, 9, tzinfo=UTC),
    )
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.set_default_timeout(30_000)
    page.goto(live_server.url + "/")
    page.get_by_label("Name").fill("ruth-home")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="Orders", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Orders")
    yield page
    assert complaints == []


def test_the_page_fits_its_width_and_can_be_read_by_everybody(desk: Page) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, everything folded out; nothing is wider than its screen."""
    assert faults(desk, "/orders/", folded_out=True) == []


def test_an_order_is_recorded_booked_in_and_taken_back_by_hand(desk: Page) -> None:
    now = desk.get_by_role("region", name="To order now")
    now.get_by_role("checkbox", name="Counting Boats").first.uncheck()
    now.get_by_role("button", name="Record as ordered").first.click()
    status = desk.get_by_role("status")
    expect(status).to_contain_text("ordered from Quayside Books")
    late = desk.locator(".parcel.late")
    expect(late).to_contain_text("should have come by 9 January 2026")
    late.get_by_role("button").click()
    expect(status).to_contain_text("1 copy in the house now: Names of Winds.")
    desk.get_by_role("button", name="Undo").click()
    expect(status).to_contain_text("Taken back; both stay on the record")
    expect(late).to_contain_text("Names of Winds")
