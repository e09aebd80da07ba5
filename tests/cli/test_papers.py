"""The commands of papers: figures by hand as JSON, files as asked, and what cannot be asked."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image

from tests.cli.conftest import Kitchen
from tests.cli.test_estimate import mark_a_workbook


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory, new_home: Path) -> Iterator[Kitchen]:
    """Tui worked eight pages from Monday 9 to Wednesday 11 February; Tuesday's attendance was taken."""
    home = tmp_path_factory.mktemp("papers") / "home"
    shutil.copytree(new_home, home)
    here = Kitchen(home)
    mark_a_workbook(here)
    here.act("attendance", "tui", "half", "--day", "2026-02-10", "--minutes", "77")
    yield here
    here.close()


def text_of(file: Path) -> str:
    document = pypdfium2.PdfDocument(file)
    try:
        return " ".join(" ".join(p.get_textpage().get_text_range().split()) for p in document)
    finally:
        document.close()


def test_the_report_as_json(worked: Kitchen) -> None:
    """Of 16 pages 7 of the term's 43 school days (Waitangi Day is none) plan 112 / 43 = 2.60."""
    found = worked.done("report", "tui", "--json").json

    (course,) = found["courses"]
    assert (found["full_days"], found["half_days"], found["days"]) == (2, 1, 2.5)
    assert (course["pages_done"], round(course["pages_planned"], 4)) == (8, 2.6047)
    assert course["planned_by"] == "even share"
    low, middle, high = course["pages_a_day"]
    assert low < middle < high
    (book,) = course["workbooks"]
    assert [(t["test"], t["right"], t["passed"]) for t in book["tests"]] == [("practice test", 9, True)]


def test_a_report_in_words_says_that_law_is_local(worked: Kitchen) -> None:
    said = worked.done("report", "tui").out

    assert "8 pages of new material done, 3 planned: 307 % of it" in said
    assert "local law and the school decide" in said


def test_attendance_against_a_profile_of_ones_own(worked: Kitchen, tmp_path: Path) -> None:
    profile = tmp_path / "ours.toml"
    profile.write_text('[profile]\nid = "ours"\ntitle = "Ours"\nsource = "A letter"\n[days]\na_year = 40\n')
    worked.done("requirements", "--take-file", profile)
    assert worked.done("requirements", "--json").json["chosen"] == "ours"

    found = worked.done("attendance", "tui", "--json").json

    assert (found["days"], found["days_asked"], found["school_days"], found["school_days_gone"]) == (
        2.5,
        40,
        43,
        7,
    )
    assert found["nothing_on"] == ["2026-02-02", "2026-02-03", "2026-02-04", "2026-02-05"]
    assert [d["minutes"] for d in found["by_day"] if d["taken"]] == [77]


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (("report", "tui"), "Progress report"),
        (("attendance", "tui"), "Attendance and hours"),
        (("transcript", "tui"), "Nothing is passed yet."),
        (("dispatch",), "Test papers for the school"),
        (("samples", "tui"), "No sample of these days is kept."),
    ],
)
def test_every_paper_is_written_once(
    worked: Kitchen, tmp_path: Path, command: tuple[str, ...], words: str
) -> None:
    file = tmp_path / "paper.pdf"

    assert f"stands in {file}" in worked.done(*command, "--out", file, "--paper", "us-letter").out

    assert words in text_of(file)
    again = worked.run(*command, "--out", file)
    assert (again.status, "which is there already" in again.err) == (2, True)
    worked.done(*command, "--out", file, "--force")


def test_a_transcript_as_csv_and_the_dispatch_as_json(worked: Kitchen, tmp_path: Path) -> None:
    worked.done("transcript", "tui", "--out", tmp_path / "t.csv")
    found = worked.done("dispatch", "--month", "2026-03", "--json").json

    assert (tmp_path / "t.csv").read_bytes().count(b"\r\n") == 1
    assert (found["programme_day"], found["day"], found["going"]) == ("2026-03-01", "2026-03-02", [])


def test_a_sample_is_kept_listed_and_taken_away(worked: Kitchen, tmp_path: Path) -> None:
    file = tmp_path / "page.jpg"
    Image.new("RGB", (30, 40), "navy").save(file)
    worked.done("samples", "tui", "--keep", file, "--copy", "maths-5-01", "--words", "Parts of a whole")

    (kept,) = worked.done("samples", "tui", "--json").json["samples"]

    assert (kept["type"], kept["words"], kept["day"]) == ("image/jpeg", "Parts of a whole", "2026-02-11")
    assert list((worked.home / "samples").rglob(f"{kept['sha256']}.jpg"))
    assert worked.done("samples", "tui", "--take-away", kept["id"], "--json").json["samples"] == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("report", "nobody"), "person: found 'nobody'"),
        (("report", "tui", "--as-of", "2026-02-12"), "allowed is a day up to 2026-02-11, which is today"),
        (("report", "tui", "--from", "2026-02-09"), "a first day and a last day, not before it"),
        (("report", "tui", "--paper", "a4"), "nothing, where no paper is written"),
        (("report", "tui", "--out", "paper.txt"), "a file whose name ends in .pdf"),
        (("transcript", "tui", "--out", "t.csv", "--paper", "a4"), "nothing, where the paper is no PDF"),
        (("report", "tui", "--out", "paper.pdf", "--paper", "a3"), "one of a4, us-letter"),
        (("report", "tui", "--out", "/nowhere/paper.pdf"), "a file that can be written"),
        (("dispatch", "--month", "soon"), "--month"),
        (("requirements", "--take", "atlantis"), "profile: found 'atlantis'"),
        (
            ("requirements", "--take", "none", "--take-file", "x.toml"),
            "found both; allowed is one of the two",
        ),
        (("requirements", "--take-file", "x.toml"), "a file that is there"),
        (("samples", "tui", "--keep", "no.jpg"), "a file that is there"),
        (("samples", "tui", "--take-away", "s0"), "the id of a sample of this home"),
    ],
)
def test_what_cannot_be_asked_says_what_may(worked: Kitchen, words: tuple[str, ...], says: str) -> None:
    answer = worked.run(*words)

    assert answer.status == 2
    assert says in answer.err
    assert "Sorry" not in answer.err
