"""One evening in a real Chromium: a distorted photograph of a filled day sheet ends with the day on the record."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from django.conf import LazySettings
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.ledger.facts import AttendanceTaken, FirstMarking, LeaveGiven, PagesWorked
from markstead.paper.layout import read_sheet
from markstead.records import actions as a
from markstead.records import paper_key, printing
from markstead.records.models import Entry, PaperSheet
from tests.paper import photographs as p
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD, small_home

EVENING = datetime(2026, 1, 12, 17, 30, tzinfo=UTC)


@pytest.fixture
def phone(live_server: LiveServer, page: Page, tmp_path: Path, settings: LazySettings) -> Iterator[Page]:
    """Ruth with her telephone on a Monday evening; Asa has begun a workbook."""
    settings.HOME = tmp_path
    complaints: list[str] = []
    small_home(demo_shift=int((datetime.now(UTC) - EVENING).total_seconds()), sign_in=True)
    early = EVENING - timedelta(days=3)
    done = a.order_copy("home", workbook="sums-5-01", learner="asa", by="ruth", at=early, copy="boats")
    assert done.entries
    a.receive_copy("home", copy="boats", by="ruth", at=early)
    a.issue_copy("home", copy="boats", learner="asa", by="ruth", at=early)
    a.hold_opening_talk("home", copy="boats", by="ruth", at=early)
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.set_default_timeout(30_000)
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(live_server.url + "/")
    page.get_by_label("Name").fill("ruth-home")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    yield page
    # A page that says what stands in the way comes with 409, which Chromium notes.
    assert [text for text in complaints if "409" not in text] == []


def kinds() -> list[str]:
    return list(Entry.objects.order_by("seq").values_list("kind", flat=True))


def test_a_distorted_photograph_ends_with_the_day_on_the_record(
    phone: Page, live_server: LiveServer, tmp_path: Path
) -> None:
    morning = EVENING.replace(hour=8)
    printing.print_sheets("home", day=EVENING.date(), by="ruth", now=morning, learner="asa", paper="a4")
    sheet = read_sheet(PaperSheet.objects.get().layout)
    marks = {f"boats/pages/{n}": "fill" for n in range(1, 5)} | {
        "day/presence/full day": "cross", "boats/minutes/25": "fill", "boats/section-1/wrong/3": "fill",
        "boats/section-1/wrong/6": "stray",
    }  # fmt: skip
    rng = np.random.default_rng(4)
    paper, truth = p.with_marks(sheet, 1, marks, rng, paper_key.key_of("home"))
    taken = p.photograph(sheet, 1, paper, truth, p.MODERATE, rng, megapixels=6.0)
    file = tmp_path / "IMG 0412.jpg"
    file.write_bytes(taken.content)
    before = len(kinds())

    phone.get_by_role("link", name="On paper").click()
    phone.set_input_files("#camera", file)  # it is sent as soon as it is taken
    expect(phone.get_by_role("heading", name="Asa: day sheet")).to_be_visible()
    phone.wait_for_load_state("load")
    unsure = phone.locator(".unsure fieldset")
    assert unsure.count() >= 1  # the stray stroke at least
    expect(phone.locator("#would")).to_contain_text("wait")
    assert faults(phone, "a reading", widths=(390,), themes=("light",)) == []
    for n in range(unsure.count()):
        words = unsure.nth(n).locator("legend").inner_text()
        box = "question 6" not in words
        unsure.nth(n).get_by_role("radio", name="Marked" if box and _is_marked(words) else "Empty").check(
            force=True
        )
    expect(phone.locator("#would")).not_to_contain_text("still wait")
    expect(phone.locator("#would")).to_contain_text("First marking, section 1: wrong 3, of 10")
    phone.get_by_role("button", name="Record it").first.click()

    expect(phone.locator(".said.done")).to_contain_text("Pages 1-4 worked in 25 min")
    assert kinds()[before:] == [PagesWorked.KIND, LeaveGiven.KIND, FirstMarking.KIND, AttendanceTaken.KIND]

    phone.set_input_files("#camera", file)
    expect(phone.locator(".said")).to_contain_text("on the record already")
    assert len(kinds()) == before + 4


def _is_marked(words: str) -> bool:
    """Whether the hand marked the box of this question."""
    marked = (
        "pages done, page 1",
        "page 2",
        "page 3",
        "page 4",
        "At school, full day",
        "minutes, 25",
        "question 3",
    )
    return any(words.endswith(end) for end in marked)
