"""Sheets out and scans in at the keyboard."""

import hmac
import sqlite3
from pathlib import Path

import pytest

from markstead.paper.layout import Sheet, read_sheet
from tests.cli.conftest import Kitchen
from tests.paper.scans import scan


@pytest.fixture
def copy(kitchen: Kitchen) -> str:
    """Tui has begun a workbook on Friday."""
    kitchen.now = "2026-02-06T09:00"
    copy = str(
        kitchen.act("order", "maths-5-01", "--learner", "tui", "--json").json["facts"][0]["fact"]["copy"]
    )
    for words in (("receive", copy), ("issue", copy, "--learner", "tui"), ("opening-talk", copy)):
        kitchen.act(*words)
    kitchen.now = "2026-02-09T18:00"
    return copy


def layout(kitchen: Kitchen) -> tuple[Sheet, bytes]:
    """The sheet that was printed last and the key that signs it, from the folder alone."""
    connection = sqlite3.connect(kitchen.database)
    text, household = connection.execute(
        "SELECT layout, household_id FROM records_papersheet ORDER BY printed DESC LIMIT 1"
    ).fetchone()
    connection.close()
    master = bytes.fromhex((kitchen.home / "sheets.key").read_text().strip())
    return read_sheet(text), hmac.digest(master, b"household\0" + household.encode(), "sha256")


def test_a_sheet_is_printed_read_and_recorded_and_read_again_it_changes_nothing(
    kitchen: Kitchen, copy: str, tmp_path: Path
) -> None:
    pdf, picture = tmp_path / "sheets.pdf", tmp_path / "tui.png"
    kitchen.now = "2026-02-09T08:00"
    told = kitchen.done(
        "sheets", "--kind", "day", "--learner", "tui", "--paper", "us-letter", "--out", pdf, "--json"
    ).json
    assert told["sheets"] == [{"kind": "day sheet", "whose": "Tui"}]
    assert pdf.read_bytes().startswith(b"%PDF-")
    again = kitchen.run("sheets", "--out", pdf)
    assert again.status == 2
    assert "there already" in again.err

    sheet, key = layout(kitchen)
    marks = (f"{copy}/pages/1", f"{copy}/pages/2", f"{copy}/minutes/20")
    picture.write_bytes(scan(sheet, key, marks))
    kitchen.now = "2026-02-09T18:00"
    waits = kitchen.done("read", picture).out
    assert "3 of" in waits
    assert "Would be recorded: Pages 1-2 worked in 20 min" in waits
    assert "waits to be confirmed" in waits

    done = kitchen.done("read", picture, "--accept-sure", "--json").json
    assert [one["recorded"] for one in done["sheets"]] == [f"sheet-{sheet.id}-1"]
    facts = kitchen.done("history", "--copy", copy, "--json").out
    assert facts.count('"pages worked"') == 1

    once_more = kitchen.done("read", picture, "--accept-sure")
    assert "on the record already" in once_more.out
    assert kitchen.done("history", "--copy", copy, "--json").out == facts


def test_what_is_not_sure_waits_and_what_is_no_sheet_is_refused(
    kitchen: Kitchen, copy: str, tmp_path: Path
) -> None:
    kitchen.done("sheets", "--kind", "day", "--learner", "tui", "--out", tmp_path / "sheets.pdf")
    sheet, key = layout(kitchen)
    box = next(box.id for page in sheet.pages for box in page.boxes if box.label)
    picture, diary = tmp_path / "half.png", tmp_path / "diary.txt"
    picture.write_bytes(scan(sheet, key, half=[box]))
    diary.write_text("dear diary")

    (told,) = kitchen.done("read", picture, "--accept-sure", "--json").json["sheets"]
    assert told["recorded"] is None
    assert "1 box unsure" in told["waits_for"]
    for words, found in ((diary, "not an image"), (tmp_path / "none.jpg", "No such file")):
        answer = kitchen.run("read", words)
        assert answer.status == 2
        assert found in answer.err
    forged = tmp_path / "forged.png"
    forged.write_bytes(scan(sheet, bytes(32)))
    answer = kitchen.run("read", forged)
    assert answer.status == 2
    assert "not signed with this home's key" in answer.err
