"""The sheets in a real Chromium: read by everybody, on a phone as on a screen, in both themes."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.records import plans, queries
from markstead.records.plans import Effort
from tests.tools.homes import PASSWORD, small_home

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)
AXE = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}


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


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_sheets_fit_their_width_and_can_be_read_by_everybody(
    desk: Page, live_server: LiveServer, width: int, scheme: str
) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, everything folded out; nothing is wider than its screen."""
    desk.set_viewport_size({"width": width, "height": 844})
    desk.emulate_media(color_scheme="light" if scheme == "light" else "dark")
    for address in ("/plan/term/", "/plan/year/", "/plan/load/"):
        desk.goto(live_server.url + address)
        desk.evaluate("document.querySelectorAll('main details').forEach(d => { d.open = true })")
        wide = desk.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{address} is {wide} px wide"
        found = Axe().run(desk, options=AXE)
        broken = [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found.response["violations"]]
        assert broken == [], address
