"""Sheets on screen: printed, photographed and confirmed, with nothing recorded that nobody looked at."""

import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from markstead.ledger.facts import AttendanceTaken, FirstMarking, LeaveGiven, PagesWorked
from markstead.paper.layout import Sheet, read_sheet
from markstead.records import actions as a
from markstead.records import paper_key, queries
from markstead.records.models import Entry, PaperPage, PaperSheet
from tests.paper.scans import scan
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY

DAY = date(2026, 1, 12)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, settings: LazySettings) -> Path:
    settings.HOME = tmp_path
    return tmp_path


@pytest.fixture
def at_work(boats: str, ruth: Client, monkeypatch: pytest.MonkeyPatch) -> str:
    """Asa has begun the workbook on Friday; it is Monday evening."""
    early = MONDAY.replace(day=9, hour=9)
    a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=early)
    a.hold_opening_talk("home", copy=boats, by="ruth", at=early)
    monkeypatch.setenv("MARKSTEAD_NOW", datetime(2026, 1, 12, 18, tzinfo=UTC).isoformat())
    return boats


def printed(ruth: Client) -> Sheet:
    answer = ruth.post(
        "/on-paper/print", {"learner": queries.home_of("home").person("asa").id, "paper": "a4"}
    )
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    return read_sheet(PaperSheet.objects.order_by("-printed").first().layout)  # type: ignore[union-attr]


def send(ruth: Client, content: bytes, name: str = "photo.png", **more: str) -> object:
    picture = SimpleUploadedFile(name, content, "image/png")
    return ruth.post("/on-paper/take", {"picture": picture, **more})


def picture(sheet: Sheet, *marked: str, half: tuple[str, ...] = ()) -> bytes:
    return scan(sheet, paper_key.key_of("home"), marked, half=half)


def kinds() -> list[str]:
    return list(Entry.objects.order_by("seq").values_list("kind", flat=True))


def marked_in(page: str) -> set[str]:
    """Boxes that are ticked on the page."""
    found = re.findall(r'name="box" value="([^"]+)" checked', page)
    return {value.replace("&#x27;", "'") for value in found}


def test_what_is_unsure_stands_first_and_nothing_is_recorded_before_it_is_answered(
    ruth: Client, at_work: str
) -> None:
    sheet, before = printed(ruth), len(kinds())
    sure = {
        "day/presence/full day",
        *(f"{at_work}/pages/{n}" for n in range(1, 5)),
        f"{at_work}/section-1/wrong/3",
    }
    answer = send(ruth, picture(sheet, *sure, half=(f"{at_work}/minutes/20",)))
    assert answer.url == f"/on-paper/{sheet.id}/"  # type: ignore[attr-defined]
    page = ruth.get(f"/on-paper/{sheet.id}/").content.decode()

    assert "1 box to look at" in page
    assert (
        page.index("Sums 5: minutes, 20") < page.index("What will be recorded") < page.index("What was read")
    )
    assert marked_in(page) == sure
    assert "Pages 1-4 worked" in page
    assert "First marking, section 1: wrong 3, of 10" in page
    assert page.count("data:image/jpeg;base64,") > len(sure)

    form = {"box": sorted(sure), "begins": "8:30"}
    waits = ruth.post(f"/on-paper/{sheet.id}/record", form)
    assert waits.status_code == 409
    assert "1 box waits for your answer." in waits.content.decode()
    assert len(kinds()) == before

    told = ruth.post(f"/on-paper/{sheet.id}/look", {**form, "u-0": "yes"}).content.decode()
    assert "Pages 1-4 worked in 20 min" in told
    assert len(kinds()) == before

    done = ruth.post(f"/on-paper/{sheet.id}/record", {**form, "u-0": "yes"}, follow=True).content.decode()
    assert kinds()[before:] == [PagesWorked.KIND, LeaveGiven.KIND, FirstMarking.KIND, AttendanceTaken.KIND]
    assert "Recorded" in done
    undo = re.search(r'action="(/acts/[^"]+/undo)"', done)
    assert undo is not None

    # The same picture, and the same form once more: the record stays as it is.
    again = send(ruth, picture(sheet, *sure)).content.decode()  # type: ignore[attr-defined]
    assert "on the record already" in again
    twice = ruth.post(f"/on-paper/{sheet.id}/record", {**form, "u-0": "yes"})
    assert "nothing was written twice" in twice.content.decode()
    assert len(kinds()) == before + 4


def test_an_answer_stays_when_the_form_comes_back(ruth: Client, at_work: str) -> None:
    sheet = printed(ruth)
    send(ruth, picture(sheet, f"{at_work}/pages/1", half=(f"{at_work}/minutes/5", f"{at_work}/minutes/20")))
    form = {"box": [f"{at_work}/pages/1", f"{at_work}/pages/2"], "begins": "8.45", "u-1": "no"}
    page = ruth.post(f"/on-paper/{sheet.id}/record", form).content.decode()

    assert marked_in(page) == set(form["box"])
    assert re.search(r'name="u-1" value="no" checked', page)
    assert 'name="begins" size="5" value="8:45"' in page


def test_a_shut_gate_is_named_and_the_rest_can_be_recorded(ruth: Client, at_work: str, home: object) -> None:
    sheet, before = printed(ruth), len(kinds())
    marks = (f"{at_work}/section-1/right/yes", "day/presence/half day")
    send(ruth, picture(sheet, *marks))
    form = {"box": list(marks), "begins": "9:00"}

    shut = ruth.post(f"/on-paper/{sheet.id}/record", form)
    assert shut.status_code == 409
    assert "1 part cannot be recorded" in shut.content.decode()
    assert "pages 1-4" in shut.content.decode()
    assert len(kinds()) == before

    rest = ruth.post(f"/on-paper/{sheet.id}/record", {**form, "do": "partly"}).content.decode()
    assert kinds()[before:] == [AttendanceTaken.KIND]
    assert "1 part was not recorded" in rest
    assert 'href="/day/"' in rest


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"dear diary " * 30, "not an image we know"), (b"%PDF-1.7 broken", "damaged"), (b"", "empty")],
)
def test_what_is_no_sheet_gets_a_sentence_and_nothing_waits(
    ruth: Client, at_work: str, content: bytes, words: str
) -> None:
    answer = send(ruth, content)
    page = answer.content.decode()  # type: ignore[attr-defined]

    assert answer.status_code == 409  # type: ignore[attr-defined]
    assert "No sheet was read: nothing was recorded" in page
    assert words in page
    assert not PaperPage.objects.exists()


def test_without_a_picture_the_page_says_so(ruth: Client, at_work: str) -> None:
    answer = ruth.post("/on-paper/take", {})
    assert answer.status_code == 409
    assert "no picture" in answer.content.decode()


def test_a_reading_that_is_put_aside_is_gone_with_its_picture(
    ruth: Client, at_work: str, folder: Path
) -> None:
    sheet = printed(ruth)
    send(ruth, picture(sheet, f"{at_work}/pages/1"))
    assert list((folder / paper_key.PICTURES).iterdir())

    ruth.post(f"/on-paper/{sheet.id}/aside")

    assert list((folder / paper_key.PICTURES).iterdir()) == []
    assert ruth.get(f"/on-paper/{sheet.id}/").status_code == 404


def test_another_home_cannot_open_a_sheet_that_waits(ruth: Client, at_work: str) -> None:
    from tests.tools.homes import small_home

    sheet = printed(ruth)
    send(ruth, picture(sheet, f"{at_work}/pages/1"))
    small_home("away", sign_in=True)
    mallory = Client()
    mallory.post("/sign-in/", {"username": "ruth-away", "password": PASSWORD})

    assert mallory.get(f"/on-paper/{sheet.id}/").status_code == 404
    assert mallory.post(f"/on-paper/{sheet.id}/record", {"box": f"{at_work}/pages/1"}).status_code == 404
    mallory.post(f"/on-paper/{sheet.id}/aside")
    assert PaperPage.objects.count() == 1


def test_todays_page_and_the_learners_page_print_todays_sheets(ruth: Client, at_work: str) -> None:
    asa = queries.home_of("home").person("asa").id
    for address in ("/", f"/learners/{asa}/"):
        page = ruth.get(address).content.decode()
        assert 'action="/on-paper/print"' in page
        assert "Print today&#x27;s sheet" in page or "Print today's sheet" in page
    answer = ruth.post("/on-paper/print", {"kind": "week", "day": DAY.isoformat()})
    assert answer.status_code == 409
    assert "no plan is in force" in answer.content.decode()
