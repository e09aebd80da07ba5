"""Oral quizzes and a spot check by clicks in a real Chromium, on a phone as on a screen."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from markstead.ledger.facts import OralQuizHeld, SpotCheckHeld, Step
from markstead.records import actions as a
from markstead.records import queries, quizzes
from tests.tools.everybody import faults
from tests.tools.homes import PASSWORD, small_home

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)
PHONE = {"width": 390, "height": 844}
LEAST = 44
"""Pixels of a target for a thumb (WCAG 2.2, 2.5.5, level AAA; level AA asks for 24)."""


@pytest.fixture
def complaints() -> list[str]:
    """What the browser's console complains of."""
    return []


@pytest.fixture
def desk(live_server: LiveServer, page: Page, complaints: list[str]) -> Iterator[Page]:
    """Ruth at her screen in a demonstration home."""
    small_home(demo_shift=int((datetime.now(UTC) - OPENING).total_seconds()), sign_in=True)
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


@pytest.fixture
def phone(desk: Page) -> Page:
    """The same on Ruth's phone, away from the desk."""
    desk.set_viewport_size(PHONE)  # type: ignore[arg-type]
    return desk


@pytest.fixture
def marked(desk: Page) -> str:
    """Asa has marked both sections this morning, nothing wrong in the second; the day before, nothing was done."""
    at = OPENING - timedelta(hours=1)
    done = a.order_copy("home", workbook="sums-5-01", learner="asa", by="ruth", at=at)
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    a.receive_copy("home", copy=copy, by="ruth", at=at)
    a.issue_copy("home", copy=copy, learner="asa", by="ruth", at=at)
    a.hold_opening_talk("home", copy=copy, by="ruth", at=at)
    for stop, first, last in (("section-1", 1, 4), ("section-2", 5, 8)):
        a.work_pages("home", copy=copy, first=first, last=last, minutes=25, by="asa", at=at)
        a.ask_leave("home", copy=copy, step=Step.MARK, stop=stop, by="asa", at=at)
        a.give_leave("home", copy=copy, step=Step.MARK, stop=stop, by="ruth", at=at)
        a.mark("home", copy=copy, stop=stop, wrong=(), by="asa", at=at)
    return copy


@pytest.fixture
def asa(desk: Page) -> str:
    return queries.home_of("home").person("asa").id


def begin(page: Page, base: str, copy: str) -> None:
    page.goto(f"{base}/copies/{copy}/")
    page.get_by_role("button", name="Hold an oral quiz").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Oral quiz")
    page.wait_for_load_state()  # with its style sheets: sizes are measured


def say(page: Page, word: str) -> None:
    """Press one of the two large buttons, and see that the answer is noted."""
    place = page.locator(".aloud").get_attribute("data-place")
    page.locator(".thumbs").get_by_role("button", name=word).click()
    expect(page.locator(".aloud")).not_to_have_attribute("data-place", place or "")


def to_the_end(page: Page, word: str) -> int:
    """Answer alike until the quiz may end; how many answers that took."""
    asked = 0
    buttons = page.locator(".thumbs").get_by_role("button", name=word)
    page.wait_for_load_state("load")
    while buttons.count():
        say(page, word)
        asked += 1
        assert asked <= 12
    return asked


def held(copy: str) -> list[tuple[int, int]]:
    """Answers and right answers of every quiz of a copy on the record."""
    facts = [note.entry.fact for note in queries.history("home", copy=copy)]
    return [
        (len(f.answers), sum(right for _, right in f.answers)) for f in facts if isinstance(f, OralQuizHeld)
    ]


@pytest.mark.parametrize(("word", "end"), [("Right", "Learnt"), ("Wrong", "Not yet")])
def test_a_quiz_on_a_phone_is_driven_to_its_end_and_recorded(
    phone: Page, live_server: LiveServer, marked: str, word: str, end: str
) -> None:
    begin(phone, live_server.url, marked)

    asked = to_the_end(phone, word)
    expect(phone.locator(".askbox")).to_contain_text("The quiz may end")
    expect(phone.locator(".askbox h2")).to_contain_text(end)
    phone.get_by_role("button", name="Record the quiz").click()

    expect(phone.get_by_role("heading", level=1)).to_contain_text("Counting Boats")
    answers = held(marked)
    assert 3 <= asked < 12
    assert sum(n for n, _ in answers) == asked
    assert sum(right for _, right in answers) == (asked if word == "Right" else 0)


def test_a_quiz_left_in_the_middle_is_taken_up_again_without_loss(
    phone: Page, live_server: LiveServer, marked: str
) -> None:
    begin(phone, live_server.url, marked)
    for word in ("Right", "Wrong"):
        say(phone, word)
    ahead = phone.locator("h2.ask").inner_text()
    browser = phone.context
    phone.close()

    again = browser.new_page()
    again.set_default_timeout(30_000)
    again.goto(f"{live_server.url}/copies/{marked}/")
    expect(again.locator(".note")).to_contain_text("laid aside after 2 answers")
    again.get_by_role("link", name="Take it up again").click()

    expect(again.locator(".given li")).to_have_count(2)
    assert again.locator("h2.ask").inner_text() == ahead
    asked = 2 + to_the_end(again, "Right")
    again.get_by_role("button", name="Record the quiz").click()
    expect(again.get_by_role("heading", level=1)).to_contain_text("Counting Boats")
    assert sum(n for n, _ in held(marked)) == asked
    assert sum(right for _, right in held(marked)) == asked - 1
    assert quizzes.under_way("home") == ()


def test_an_answer_is_taken_back_and_another_question_asked_instead(
    phone: Page, live_server: LiveServer, marked: str
) -> None:
    begin(phone, live_server.url, marked)
    first = phone.locator("h2.ask").inner_text()
    say(phone, "Wrong")
    phone.get_by_role("button", name="Take back").click()
    expect(phone.locator("h2.ask")).to_have_text(first)

    phone.get_by_role("link", name="Ask another question instead").click()

    expect(phone.locator("h2.ask")).not_to_have_text(first)
    expect(phone.locator(".given")).to_have_count(0)


def test_a_spot_check_with_two_slips_asks_for_more(
    phone: Page, live_server: LiveServer, marked: str, asa: str
) -> None:
    phone.goto(f"{live_server.url}/learners/{asa}/")
    ticks = phone.locator("form.spot li")
    drawn = [ticks.nth(n).locator("legend").inner_text() for n in range(ticks.count())]
    for n in range(len(drawn)):
        ticks.nth(n).get_by_label("is wrong" if n < 2 else "is right").check()

    phone.get_by_role("button", name="Record the spot check").click()

    expect(phone.locator(".said")).to_contain_text("Recorded")
    expect(phone.locator("main")).to_contain_text("2 ticks were slips: mark ")
    phone.wait_for_load_state("load")
    more = [legend.inner_text() for legend in phone.locator("form.spot legend").all()]
    assert more
    assert not set(more) & set(drawn)
    facts = [note.entry.fact for note in queries.history("home", copy=marked)]
    looked = [answer for fact in facts if isinstance(fact, SpotCheckHeld) for answer in fact.answers]
    assert (len(looked), sum(not right for _, right in looked)) == (len(drawn), 2)


def test_pages_with_estimates_fit_their_width_and_can_be_read_by_everybody(
    desk: Page, live_server: LiveServer, marked: str, asa: str
) -> None:
    """WCAG 2.2 AA as far as axe-core can see it, everything folded out; nothing is wider than its screen."""
    a.hold_oral_quiz("home", copy=marked, answers=[(1, True)], stop="section-1", by="ruth", at=OPENING)
    quiz = quizzes.begin("home", copy=marked, by="ruth", at=OPENING)
    quizzes.note("home", quiz.id, place=0, stop="section-1", question=2, right=True)
    found = []
    for address in (f"/learners/{asa}/", f"/quiz/{quiz.id}/", f"/copies/{marked}/", "/"):
        desk.goto(live_server.url + address)
        found += faults(desk, address, folded_out=True)
    assert found == []


def test_what_a_thumb_presses_is_large_enough(
    phone: Page, live_server: LiveServer, marked: str, asa: str
) -> None:
    """Buttons, fields and the labels of choices; text-like buttons that take something back are apart, as on paper."""
    quiz = quizzes.begin("home", copy=marked, by="ruth", at=OPENING)
    quizzes.note("home", quiz.id, place=0, stop="section-1", question=2, right=True)
    for address in (f"/learners/{asa}/", f"/quiz/{quiz.id}/", f"/copies/{marked}/"):
        phone.goto(live_server.url + address)
        phone.evaluate("document.querySelectorAll('main details').forEach(d => { d.open = true })")

        targets = phone.locator("main :is(button:not(.plain), a.button, a.skipq, select, label.tick)")
        sizes = [(t.inner_text()[:40], t.bounding_box()) for t in targets.all() if t.is_visible()]

        assert sizes, address
        small = [(text, box["height"]) for text, box in sizes if box is not None and box["height"] < LEAST]
        assert small == [], address


def test_the_two_buttons_of_a_quiz_are_at_hand_without_scrolling(
    phone: Page, live_server: LiveServer, marked: str
) -> None:
    begin(phone, live_server.url, marked)

    for name in ("Right", "Wrong"):
        box = phone.locator(".thumbs").get_by_role("button", name=name).bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= PHONE["height"]
        assert min(box["width"], box["height"]) >= LEAST
