"""The sheets in a real Chromium: read by everybody, on a phone as on a screen, in both themes."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.records import plans, queries
from markstead.records.plans import Effort
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD, small_home

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)


@pytest.fixture
def desk(live_server: LiveServer, page: Page) -> Iterator[Page]:
    """Ruth at her screen, with a plan in force."""
    complaints: list[str] = []
    small_home(demo_shift=int((datetime.now(UTC) - OPENING).total_seconds()), sign_in=True)
    by = queries.home_of("home").person("ruth").id
    kept = plans.plan_now("home", by=by, now=OPENING, clock=lambda: OPENING, effort=Effort.ANEW)
    plans.take("home", kept.number, now=OPENING)
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.set_default_timeout(30_000)
    page.goto(live_server.url + "/")
    page.get_by_label("Name").fill("ruth-home")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("12 January 2026")
    yield page
    assert complaints == []


def test_sheets_fit_their_width_and_can_be_read_by_everybody(desk: Page, live_server: LiveServer) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, everything folded out; nothing is wider than its screen."""
    found = []
    for address in ("/plan/term/", "/plan/year/", "/plan/load/"):
        desk.goto(live_server.url + address)
        found += faults(desk, address, folded_out=True)
    assert found == []
