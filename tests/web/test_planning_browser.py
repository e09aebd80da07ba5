"""Planning in a real Chromium: a plan is made, a sick day tried and taken, a target set; read by everybody on every screen."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.records import actions, plan_asks, plans, queries
from markstead.records.models import Plan as PlanRow
from markstead.records.plan_asks import LearnerAway, TargetBy
from markstead.records.plans import Effort, KeptPlan
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD, small_home

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)
MONDAY = OPENING.date()


@pytest.fixture
def desk(live_server: LiveServer, page: Page) -> Iterator[Page]:
    """Ruth at her screen, with a copy in the house and no plan yet."""
    complaints: list[str] = []
    small_home(demo_shift=int((datetime.now(UTC) - OPENING).total_seconds()), sign_in=True)
    early = OPENING - timedelta(days=3)
    actions.order_copy("home", copy="boats", workbook="sums-5-01", learner="asa", by="ruth", at=early)
    actions.receive_copy("home", copy="boats", by="ruth", at=early)
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


def made(*asks: plan_asks.Ask, effort: Effort = Effort.MEND) -> KeptPlan:
    by = queries.home_of("home").person("ruth").id
    return plans.plan_now(
        "home", by=by, now=OPENING, clock=lambda: datetime.now(UTC), effort=effort, asks=asks
    )


def test_from_a_target_to_a_plan_and_around_a_sick_day(desk: Page) -> None:
    desk.get_by_role("link", name="Plan", exact=True).click()
    desk.get_by_role("link", name="Targets and limits").click()
    desk.locator("#new-target").get_by_label("Workbook").select_option("asa/sums-5-01")
    desk.get_by_label("Unit test done by").fill("2026-03-27")
    desk.get_by_role("button", name="Set the target").click()
    expect(desk.get_by_role("status")).to_contain_text("Saved")
    desk.get_by_role("button", name="Make a plan").click()
    expect(desk.locator(".proposal")).to_contain_text("1 target in time")
    desk.get_by_role("button", name="Take this plan").click()
    expect(desk.get_by_role("heading", level=1)).to_contain_text("12 January 2026")

    desk.get_by_role("link", name="Plan", exact=True).click()
    desk.get_by_role("link", name="What if").click()
    desk.get_by_text("A learner is away").click()
    sick = desk.locator("#away")
    sick.get_by_label("Learner").select_option("asa")
    sick.get_by_label("From").fill("2026-01-13")
    sick.get_by_label("To").fill("2026-01-13")
    sick.get_by_role("button", name="Try it").click()
    expect(desk.locator(".tried")).to_contain_text("Asa is away on Tue 13 Jan.")
    expect(desk.locator(".moves").first).to_contain_text("because the learner is away")
    desk.get_by_role("button", name="Take this plan").click()

    expect(desk.get_by_role("heading", level=1)).to_contain_text("12 January 2026")
    home = queries.home_of("home")
    assert (home.plan, len(home.calendar.absences)) == (2, 1)


def test_the_page_of_a_search_follows_it_by_itself_and_keeps_the_focus(
    desk: Page, live_server: LiveServer
) -> None:
    by = queries.home_of("home").person("ruth").id
    number = plans.ask("home", by=by, now=OPENING, real_now=datetime.now(UTC), effort=Effort.ANEW)
    desk.goto(f"{live_server.url}/plan/{number}/")
    expect(desk.locator("progress")).to_have_attribute("max", "1")
    desk.get_by_role("button", name="Stop, and show the best so far").focus()
    PlanRow.objects.filter(number=number).update(says='{"done":2,"of":7,"doing":"Searching","points":40.0}')
    expect(desk.locator("progress")).to_have_attribute("value", "2")
    expect(desk.get_by_role("button", name="Stop, and show the best so far")).to_be_focused()
    plans.work_out("home", number, lambda: datetime.now(UTC))
    expect(desk.get_by_role("button", name="Take this plan")).to_be_visible()


def test_planning_pages_fit_their_width_and_can_be_read_by_everybody(
    desk: Page, live_server: LiveServer
) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, everything folded out; nothing is wider than its screen."""
    late = TargetBy("asa", "sums-5", "sums-5-02", MONDAY + timedelta(days=4))
    plan_asks.write_down(
        "home",
        [TargetBy("asa", "sums-5", "sums-5-01", MONDAY + timedelta(days=60))],
        today=MONDAY,
        at=OPENING,
    )
    plans.take("home", made(effort=Effort.ANEW).number, now=OPENING)
    proposed = made(late, LearnerAway("asa", MONDAY, MONDAY, "fever"), effort=Effort.ANEW)
    assert proposed.says.at_risk
    assert proposed.says.moved
    by = queries.home_of("home").person("ruth").id
    broken = plans.ask("home", by=by, now=OPENING, real_now=datetime.now(UTC), effort=Effort.ANEW)
    plans.break_off("home", broken, "Working it out broke off: its process was ended before it was done.")
    working = plans.ask("home", by=by, now=OPENING, real_now=datetime.now(UTC), effort=Effort.ANEW)
    found = []
    pages = ("/plan/", "/plan/targets/", "/plan/what-if/?kept=kind%3Dsittings%26more%3D1")
    for address in (*pages, *(f"/plan/{number}/" for number in (1, proposed.number, broken, working))):
        desk.goto(live_server.url + address)
        found += faults(desk, address, folded_out=True)
    assert found == []
