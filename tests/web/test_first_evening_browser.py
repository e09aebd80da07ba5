"""From an empty folder to a first day's goals, in a real Chromium; every page read by everybody, in both widths."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import LazySettings
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.records import queries, upkeep
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY

KEY = "abcd-efgh-jkmn-pqrs"
WIDTHS = (1280, 390)
PASTE = "Subject\tLevel\tTitle\tPages\nSums\t5\tCounting Boats\t24\n\t\tCounting Gulls\t26\nWords\t5\tNames of Winds\t18\n"


class Evening:
    """Ruth at her screen, with nothing but an empty folder."""

    def __init__(self, page: Page, base: str) -> None:
        self.page, self.base = page, base
        self.looked: list[str] = []

    def go_on(self) -> None:
        with self.page.expect_navigation():
            self.page.get_by_role("button", name="Save and go on", exact=True).last.click()

    def on_step(self, title: str) -> None:
        expect(self.page.get_by_role("heading", level=1)).to_have_text(title)

    def look_everywhere(self, name: str) -> None:
        """WCAG 2.2 AA as far as axe-core can see it, in both themes and widths; nothing wider than its screen."""
        self.page.wait_for_load_state("load")
        for width in WIDTHS:
            assert faults(self.page, name, widths=(width,)) == []
            small = self.page.evaluate(
                "[...document.querySelectorAll('main button:not(.vh), main select, main input:not([type=checkbox],"
                "[type=radio], [type=hidden]), main label.tick')].filter(e => e.getBoundingClientRect().height < 43.5)"
                ".map(e => e.outerHTML.slice(0, 90))"
            )
            assert small == [], f"{name} at {width}"
        self.page.set_viewport_size({"width": 1280, "height": 844})
        self.looked.append(name)

    def claim(self) -> None:
        self.page.goto(f"{self.base}/first/#{KEY}")
        for label, words in (
            ("What your home is called", "Tarn End"),
            ("Your name", "Ruth Tarn"),
            ("Name to sign in with", "ruth"),
        ):
            self.page.get_by_label(label).fill(words)
        self.page.get_by_label("Password", exact=True).fill(PASSWORD)
        self.page.get_by_label("The same password again").fill(PASSWORD)
        self.go_on()
        self.on_step("Learners")

    def learners(self) -> None:
        self.page.get_by_label("Name of learner 1").fill("Asa")
        self.page.get_by_label("School year of learner 1").fill("5")
        self.go_on()
        self.on_step("School")

    def school(self) -> None:
        self.page.get_by_label("Country", exact=True).select_option("GB")
        self.page.get_by_role("button", name="Show its regions").click()
        self.page.get_by_label("Part of the country").select_option("ENG")
        self.page.get_by_label("First day of term 1").fill("2026-01-05")
        self.page.get_by_label("Last day of term 1").fill("2026-07-17")
        self.go_on()
        self.on_step("Programme")

    def own_workbooks(self) -> None:
        self.page.get_by_label("My own workbooks, typed").check()
        self.go_on()
        self.page.get_by_label("Rows from a spreadsheet").fill(PASTE)
        self.page.get_by_role("button", name="Read the paste").click()
        expect(self.page.get_by_label("Title, row 2")).to_have_value("Counting Gulls")


@pytest.fixture
def evening(
    live_server: LiveServer,
    page: Page,
    settings: LazySettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Evening]:
    settings.HOME, settings.FIRST_KEY = tmp_path, KEY
    monkeypatch.setenv("MARKSTEAD_NOW", MONDAY.isoformat())
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    # A page that says what is wrong, or asks for the word, answers with its own status; that is no complaint.
    page.on(
        "console",
        lambda m: (
            complaints.append(m.text)
            if m.type in ("error", "warning") and "status of 4" not in m.text
            else None
        ),
    )
    page.set_default_timeout(30_000)
    yield Evening(page, live_server.url)
    assert complaints == []


def test_from_an_empty_home_to_the_goals_of_the_first_day(evening: Evening) -> None:
    page = evening.page
    page.goto(evening.base + "/")
    page.get_by_label("The word on the terminal").fill(KEY)
    page.get_by_role("button", name="Begin").click()
    evening.claim()
    evening.learners()
    evening.school()
    evening.own_workbooks()
    evening.go_on()
    evening.on_step("Courses")
    expect(page.get_by_label("Sums 5")).to_be_checked()
    evening.go_on()
    evening.on_step("Where each stands")
    page.get_by_label("Asa, Sums 5: how it stands").select_option("in hand")
    page.get_by_label("Asa, Sums 5: workbook").select_option("sums-5-02")
    page.get_by_label("Asa, Sums 5: last page done").fill("99")
    evening.go_on()
    expect(page.locator("#w-page-0-sums-5")).to_contain_text("from 0 to 26")
    page.get_by_label("Asa, Sums 5: last page done").fill("6")
    page.get_by_label("Asa, Words 5: how it stands").select_option("here")
    evening.go_on()
    evening.on_step("Look over")
    expect(page.locator(".over")).to_contain_text("2. Counting Gulls, in hand, 6 of 26 pages done")
    page.get_by_role("button", name="Make the home").click()
    evening.on_step("Tarn End is made")

    page.get_by_role("button", name="Make a plan").click()
    page.get_by_role("button", name="Take this plan").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("12 January 2026")
    page.goto(evening.base + "/")
    page.get_by_role("button", name="Set", exact=False).first.click()
    expect(page.locator(".said")).to_contain_text("Recorded")

    expect(page.locator(".learner")).to_contain_text("Counting Gulls")
    asa = queries.home_of("home").person("asa").id
    (view,) = [c for c in queries.copies("home", learner=asa) if c.label == "sums-5-02"]
    assert view.standing.goal is not None
    assert (view.standing.goal.day, view.standing.goal.first) == (MONDAY.date(), 7)
    assert upkeep.verify("home").holds


def test_the_set_up_is_left_in_the_middle_and_taken_up_in_another_browser(evening: Evening) -> None:
    page = evening.page
    evening.claim()
    evening.learners()
    page.get_by_label("Country", exact=True).select_option("NZ")
    page.get_by_role("button", name="Save, and go on later").click()
    evening.on_step("The first evening")
    page.get_by_role("button", name="Sign out").click()

    page.get_by_label("Name").fill("ruth")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    evening.on_step("The first evening")
    page.get_by_role("link", name="Go on").click()
    evening.on_step("School")
    expect(page.get_by_label("Country", exact=True)).to_have_value("NZ")


def test_the_set_up_is_gone_through_with_the_keyboard_alone(evening: Evening) -> None:
    page = evening.page
    evening.claim()
    page.get_by_label("Name of learner 1").focus()
    page.keyboard.type("Asa")
    page.keyboard.press("Tab")
    page.keyboard.type("5")
    page.keyboard.press("Enter")  # the first button of the form is the one that goes on
    evening.on_step("School")


def test_every_page_fits_its_width_and_can_be_read_by_everybody(evening: Evening) -> None:
    page = evening.page
    page.goto(evening.base + "/first/")
    evening.look_everywhere("door")
    page.goto(f"{evening.base}/first/#{KEY}")
    evening.go_on()
    evening.look_everywhere("you, with what is wrong")
    evening.claim()
    evening.go_on()
    evening.look_everywhere("learners, with what is wrong")
    evening.learners()
    evening.go_on()
    evening.look_everywhere("school, with what is wrong")
    evening.school()
    evening.look_everywhere("programme")
    page.get_by_label("My own workbooks, as a CSV").check()
    evening.go_on()
    page.get_by_label("The text of workbooks.csv").fill("course,level\nsums,5\n")
    evening.go_on()
    evening.look_everywhere("files, with what is wrong")
    page.get_by_role("button", name="Back").click()
    evening.own_workbooks()
    page.get_by_label("Pages, row 3").fill("many")
    evening.go_on()
    evening.look_everywhere("typed, with what is wrong")
    page.get_by_label("Pages, row 3").fill("18")
    with page.expect_navigation():
        page.get_by_role("button", name="Save, and look at").click()
    evening.look_everywhere("cut")
    evening.go_on()
    evening.look_everywhere("courses")
    evening.go_on()
    page.get_by_label("Asa, Sums 5: how it stands").select_option("in hand")
    page.get_by_label("Asa, Sums 5: last page done").fill("99")
    evening.go_on()
    evening.look_everywhere("standing, with what is wrong")
    page.get_by_label("Asa, Sums 5: how it stands").select_option("find out")
    page.get_by_label("Asa, Sums 5: last page done").fill("")
    evening.go_on()
    evening.look_everywhere("look")
    page.goto(evening.base + "/first/")
    evening.look_everywhere("start")
    page.goto(evening.base + "/first/look/")
    with page.expect_navigation():
        page.get_by_role("button", name="Make the home").click()
    evening.look_everywhere("made")
    page.get_by_role("link", name="Find out where Asa begins in Sums 5").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sums 5")
    evening.look_everywhere("placement")
    for right in ("6", "1"):
        page.get_by_label("Right", exact=True).fill(right)
        with page.expect_navigation():
            page.get_by_role("button", name="Enter").click()
        expect(page.get_by_role("heading", name="Tests taken")).to_be_visible()
    page.get_by_label("Right", exact=True).fill("9")
    with page.expect_navigation():
        page.get_by_role("button", name="Enter").click()
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    evening.look_everywhere("placement, with what is wrong")
    page.goto(evening.base + "/placement/")
    evening.look_everywhere("placements")
    page.goto(evening.base + "/first/you/")
    evening.look_everywhere("made already")
    assert len(evening.looked) == 17
