"""A folder of plain files becomes a home: whole or not at all, through every gate, and only once."""

import csv
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from markstead.errors import InputError
from markstead.ledger.facts import KINDS, WorkTakenOver
from markstead.ledger.serial import read_body
from markstead.records import folder, logbook, sheets, upkeep
from markstead.records.home import load_home
from markstead.records.importing import Report, copy_id, import_folder
from markstead.records.models import Copy, Document, Enrolment, Entry, Household, Person, Words
from tests.repository import ROOT

pytestmark = pytest.mark.django_db

EXAMPLE = ROOT / "docs" / "reference" / "import-example"
FAULTY = ROOT / "tests" / "records" / "faulty-import"
PAGE = ROOT / "docs" / "reference" / "import.md"
AT = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
TABLES = (Household, Document, Person, Enrolment, Words, Entry, Copy)

PLANTED = [
    ("people.csv", 3, "role", "role"),
    ("copies.csv", 3, "received", "received"),
    ("copies.csv", 5, "workbook", "workbook"),
    ("log.csv", 8, "pages", "act"),
    ("log.csv", 18, "presence", "presence"),
    ("log.csv", 19, "when", "when"),
    ("log.csv", 26, "reason", "reason"),
    ("log.csv", 29, "wrong", "wrong"),
    ("log.csv", 39, "when", "act"),
    ("log.csv", 66, "copy", "copy"),
]
"""File, row and column of each planted fault, and the column under which it is told: a gate tells it under `act`."""


def everything() -> dict[str, list[dict[str, object]]]:
    """All rows of all tables."""
    return {
        model.__name__: sorted(model.objects.values(), key=lambda row: str(row.get("id")))  # type: ignore[attr-defined]
        for model in TABLES
    }


def table_of(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def write_table(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)


def set_cell(path: Path, row: int, column: str, text: str) -> None:
    rows = table_of(path)
    rows[row - 1][rows[0].index(column)] = text
    write_table(path, rows)


def add_row(path: Path, **cells: str) -> None:
    rows = table_of(path)
    write_table(path, [*rows, [cells.get(name, "") for name in rows[0]]])


@pytest.fixture
def papers(tmp_path: Path) -> Path:
    """A copy of the example that a test may spoil."""
    return Path(shutil.copytree(EXAMPLE, tmp_path / "papers"))


def places_of(papers: Path) -> list[str]:
    """Where the import finds faults."""
    return [problem.where for problem in refusal_of(papers).problems]


def refusal_of(papers: Path) -> InputError:
    with pytest.raises(InputError) as caught:
        import_folder("home", papers, at=AT)
    assert not Household.objects.filter(id="home").exists()
    return caught.value


# --- the example ------------------------------------------------------------------------------------------


def test_the_example_of_the_reference_page_becomes_a_home() -> None:
    report = import_folder("home", EXAMPLE, at=AT)

    # Counted by hand in the files: 4 people; 4 copies and one ordered again; 7 days in copies.csv and 65 rows.
    # Facts beyond one an act: the new copy's order, two papers of the dispatch, the override.
    assert report == Report(written=72, unchanged=0, people=4, copies=5, facts=76)
    assert upkeep.verify("home").holds
    assert upkeep.verify("home").facts == 76


def test_every_copy_of_the_example_stands_where_its_rows_left_it() -> None:
    import_folder("home", EXAMPLE, at=AT)

    standing = {copy.id: (copy.status, copy.passed) for copy in Copy.objects.all()}
    assert standing == {
        copy_id("home", "parts-1"): ("sent", False),
        copy_id("home", "parts-1b"): ("sent", True),
        copy_id("home", "parts-2"): ("issued", False),
        copy_id("home", "naming-1"): ("issued", False),
        copy_id("home", "doing-1"): ("on order", False),
    }


def test_a_log_may_begin_in_the_middle_of_a_workbook(papers: Path) -> None:
    """What was worked before the record began is taken over in one row; no marks are made up for it."""
    set_cell(papers / "copies.csv", 5, "received", "2026-02-24")
    write_table(papers / "log.csv", table_of(papers / "log.csv")[:1])
    told = {"by": "ruth", "copy": "doing-1"}
    issued = {"act": "copy issued", "learner": "asa", "override": "Asa stood here when we began."}
    add_row(papers / "log.csv", when="2026-02-25 09:00", **told, **issued)
    add_row(papers / "log.csv", when="2026-02-25 09:01", **told, act="work taken over", pages="1-3")
    import_folder("home", papers, at=AT)

    bodies = Entry.objects.filter(copy=copy_id("home", "doing-1")).order_by("seq")
    assert read_body(bodies.values_list("body", flat=True).last() or "").fact == WorkTakenOver(
        copy_id("home", "doing-1"), 3, ("section-1",)
    )
    assert import_folder("home", papers, at=AT).written == 0


def test_the_people_and_the_name_of_the_home_are_taken() -> None:
    import_folder("home", EXAMPLE, at=AT)

    home = load_home(Household.objects.get(id="home"))
    assert home.name == "The house by the mill pond"
    assert {(p.key, str(p.role), p.year, p.courses) for p in home.people.values()} == {
        ("ruth", "educator", None, ()),
        ("tobi", "helper", None, ()),
        ("asa", "learner", 4, ("words-4",)),
        ("noa", "learner", 7, ("sums-7",)),
    }


def test_a_day_of_the_copies_is_the_opening_of_that_school_morning() -> None:
    import_folder("home", EXAMPLE, at=AT)

    received = Entry.objects.get(copy=copy_id("home", "parts-2"), kind="copy received")
    # 08:30 in Dublin in January is 08:30 UTC (IANA: Europe/Dublin).
    assert received.at == datetime(2026, 1, 28, 8, 30, tzinfo=UTC)


def test_an_imported_fact_was_written_down_at_the_import() -> None:
    import_folder("home", EXAMPLE, at=AT)

    assert {read_body(body).written for body in Entry.objects.values_list("body", flat=True)} == {AT}


def test_rows_of_the_log_may_stand_in_any_order(papers: Path) -> None:
    header, *rows = table_of(papers / "log.csv")
    write_table(papers / "log.csv", [header, *reversed(rows)])
    # Two attendances share a minute; all else has a minute of its own.
    assert import_folder("home", papers, at=AT).written == 72
    assert import_folder("home", EXAMPLE, at=AT).unchanged == 72


def test_a_minute_of_the_log_is_read_off_the_kitchen_clock(papers: Path) -> None:
    calendar = papers / "calendar.toml"
    text = calendar.read_text("utf-8").replace("Europe/Dublin", "Pacific/Auckland").replace('"IE"', '"NZ"')
    calendar.write_text(text.replace("first = 2026-01-07", "first = 2026-01-05"), "utf-8")

    import_folder("home", papers, at=AT)

    # Auckland is 13 hours ahead in January (IANA: Pacific/Auckland, daylight saving).
    talk = Entry.objects.get(copy=copy_id("home", "parts-1"), kind="opening talk held")
    assert talk.at == datetime(2026, 1, 6, 20, 5, tzinfo=UTC)


# --- once more --------------------------------------------------------------------------------------------


def test_the_same_folder_again_changes_nothing_at_all() -> None:
    import_folder("home", EXAMPLE, at=AT)
    before = everything()

    report = import_folder("home", EXAMPLE, at=AT.replace(day=5))

    assert report == Report(written=0, unchanged=72, people=4, copies=5, facts=0)
    assert everything() == before


def test_the_same_rows_in_another_dress_change_nothing(papers: Path) -> None:
    """Columns in another order, dashes for hyphens, ends of line and a mark of Windows."""
    import_folder("home", papers, at=AT)
    before = everything()
    rows = table_of(papers / "log.csv")
    pages = rows[0].index("pages")
    turned = [
        [*reversed([c.replace("-", "–") if n == pages else c for n, c in enumerate(row)])] for row in rows
    ]
    write_table(papers / "log.csv", turned)
    for name in ("programme.toml", "workbooks.csv", "people.csv"):
        text = (papers / name).read_text("utf-8").replace("\n", "\r\n")
        (papers / name).write_bytes(b"\xef\xbb\xbf" + text.encode())

    report = import_folder("home", papers, at=AT)

    assert report.written == 0
    assert everything() == before


def test_rows_added_to_the_log_are_written_and_only_those(papers: Path) -> None:
    import_folder("home", papers, at=AT)
    when = "2026-02-05 09:00"
    add_row(
        papers / "log.csv",
        when=when,
        by="asa",
        copy="naming-1",
        act="leave asked",
        step="to re-mark",
        stop="section-1",
    )

    report = import_folder("home", papers, at=AT)

    assert report == Report(written=1, unchanged=72, people=4, copies=5, facts=1)
    assert upkeep.verify("home").holds


def test_a_copy_that_has_come_since_is_received(papers: Path) -> None:
    import_folder("home", papers, at=AT)
    set_cell(papers / "copies.csv", 5, "received", "2026-03-02")

    report = import_folder("home", papers, at=AT)

    assert (report.written, report.facts) == (1, 1)
    assert Copy.objects.get(id=copy_id("home", "doing-1")).status == "in the house"


def test_the_same_row_twice_is_two_acts(papers: Path) -> None:
    row = {"when": "2026-02-03 10:30", "by": "noa", "copy": "parts-2", "act": "pages worked", "pages": "3"}
    row |= {"minutes": "5", "override": ""}
    talk = {"when": "2026-02-03 10:00", "by": "ruth", "copy": "parts-2", "act": "opening talk held"}
    for cells in (talk, row, row):
        add_row(papers / "log.csv", **cells)

    first = import_folder("home", papers, at=AT)
    again = import_folder("home", papers, at=AT)

    assert (first.written, again.written, again.unchanged) == (75, 0, 75)
    assert Entry.objects.filter(kind="pages worked", at=datetime(2026, 2, 3, 10, 30, tzinfo=UTC)).count() == 2


def test_a_reason_told_in_other_words_is_the_same_act(papers: Path) -> None:
    """Words can be erased from the home; the id of an act must not let anybody guess them back."""
    import_folder("home", papers, at=AT)
    set_cell(papers / "log.csv", 26, "reason", "Look at page 2 again.")

    assert import_folder("home", papers, at=AT).written == 0


def test_a_changed_row_cannot_slip_in_before_later_facts(papers: Path) -> None:
    import_folder("home", papers, at=AT)
    before = everything()
    set_cell(papers / "log.csv", 7, "minutes", "39")

    with pytest.raises(InputError, match=r"log\.csv, row 7, column act.*The latest fact of this copy is of"):
        import_folder("home", papers, at=AT)

    assert everything() == before


def test_an_act_without_its_override_is_another_act(papers: Path) -> None:
    import_folder("home", papers, at=AT)
    set_cell(papers / "log.csv", 65, "override", "")

    with pytest.raises(InputError, match="The learner reads the aims aloud"):
        import_folder("home", papers, at=AT)


def test_two_homes_take_the_same_folder_side_by_side() -> None:
    import_folder("home", EXAMPLE, at=AT)
    report = import_folder("other", EXAMPLE, at=AT)

    assert report.written == 72
    assert Copy.objects.count() == 10
    assert upkeep.verify("home").holds
    assert upkeep.verify("other").holds


# --- a dry run --------------------------------------------------------------------------------------------


def test_a_dry_run_tells_the_same_and_writes_nothing() -> None:
    dry = import_folder("home", EXAMPLE, at=AT, dry_run=True)

    assert not any(everything().values())
    assert import_folder("home", EXAMPLE, at=AT) == dry


def test_a_dry_run_over_a_home_that_is_there_writes_nothing(papers: Path) -> None:
    import_folder("home", papers, at=AT)
    before = everything()
    set_cell(papers / "copies.csv", 5, "received", "2026-03-02")
    set_cell(papers / "people.csv", 4, "name", "Asa Maria")

    assert import_folder("home", papers, at=AT, dry_run=True).written == 1
    assert everything() == before


# --- ten planted faults -----------------------------------------------------------------------------------


def test_the_faulty_twin_differs_from_the_example_in_its_ten_cells_only() -> None:
    found = []
    for name in sheets.FILES:
        if not name.endswith(".csv"):
            assert (FAULTY / name).read_bytes() == (EXAMPLE / name).read_bytes()
            continue
        good, bad = table_of(EXAMPLE / name), table_of(FAULTY / name)
        found += [
            (name, number, good[0][n])
            for number, (row, twin) in enumerate(zip(good, bad, strict=True), 1)
            for n, (cell, other) in enumerate(zip(row, twin, strict=True))
            if cell != other
        ]
    assert sorted(found) == sorted((file, row, column) for file, row, column, _ in PLANTED)


def test_ten_planted_faults_are_ten_named_faults() -> None:
    before = everything()

    with pytest.raises(InputError) as caught:
        import_folder("home", FAULTY, at=AT)

    told = [f"{file}, row {row}, column {column}" for file, row, _, column in PLANTED]
    assert [problem.where for problem in caught.value.problems] == told
    assert everything() == before


def test_a_dry_run_tells_the_same_ten_faults() -> None:
    texts = []
    for dry_run in (False, True):
        with pytest.raises(InputError) as caught:
            import_folder("home", FAULTY, at=AT, dry_run=dry_run)
        texts.append(str(caught.value))
    assert texts[0] == texts[1]


def test_mended_the_faulty_twin_becomes_a_home(tmp_path: Path) -> None:
    papers = Path(shutil.copytree(FAULTY, tmp_path / "papers"))
    for file, row, column, _ in PLANTED:
        good = table_of(EXAMPLE / file)
        set_cell(papers / file, row, column, good[row - 1][good[0].index(column)])

    report = import_folder("home", papers, at=AT)

    assert report.written == 72
    assert import_folder("home", papers, at=AT).unchanged == 72


# --- what is said about a fault ---------------------------------------------------------------------------


def test_a_refused_row_names_every_bar_and_what_lifts_it(papers: Path) -> None:
    """Sat on the day of the practice test, in the afternoon, with an aid that the year may not have, unwatched."""
    set_cell(papers / "log.csv", 39, "when", "2026-01-09 14:00")
    set_cell(papers / "log.csv", 39, "aids", "pencil;crib")
    set_cell(papers / "log.csv", 39, "watcher", "noa")

    (problem,) = refusal_of(papers).problems

    assert problem.where == "log.csv, row 39, column act"
    assert problem.found == "'unit test sat' of parts-1, which is refused"
    for said in (
        "Wait until Monday 12 January 2026.",
        "unit tests begin between 08:30 and 12:00",
        "Crib may not be used in year 7.",
        "Name the educator or helper who watches the sitting.",
    ):
        assert said in problem.do


def test_rows_behind_a_copys_first_problem_are_counted_not_judged(papers: Path) -> None:
    """Row 9 asks leave: without it rows 10 on of the copy, of its second copy and of the next workbook hang."""
    rows = table_of(papers / "log.csv")
    asked = rows.index(next(row for row in rows if "leave asked" in row))
    write_table(papers / "log.csv", rows[:asked] + rows[asked + 2 :])

    (problem,) = refusal_of(papers).problems

    labels = {"parts-1", "parts-1b", "parts-1;parts-1b", "parts-2"}
    copy = rows[0].index("copy")
    hanging = sum(1 for row in rows[asked + 3 :] if row[copy] in labels)
    assert problem.where == f"log.csv, row {asked + 1}, column act"
    assert "An educator gives leave to mark." in problem.do
    assert f"{hanging} rows that hang on it were passed over." in problem.do


def test_two_copies_have_each_their_first_problem(papers: Path) -> None:
    set_cell(papers / "log.csv", 7, "pages", "1-5")
    set_cell(papers / "log.csv", 8, "pages", "1-5")

    assert places_of(papers) == ["log.csv, row 7, column act", "log.csv, row 8, column act"]


def test_a_name_that_nobody_has_is_told_once(papers: Path) -> None:
    text = (papers / "log.csv").read_text("utf-8").replace(",asa,naming-1", ",aza,naming-1")
    (papers / "log.csv").write_text(text, "utf-8")

    (problem,) = refusal_of(papers).problems

    assert (problem.where, problem.found) == ("log.csv, row 8, column by", "'aza'")
    assert problem.allowed == "one of ruth, tobi, asa, noa"
    assert problem.do == "10 rows that hang on it were passed over."


def test_a_person_who_cannot_be_read_is_not_told_again_in_every_row(papers: Path) -> None:
    set_cell(papers / "people.csv", 5, "year", "seven")

    (problem,) = refusal_of(papers).problems

    assert problem.where == "people.csv, row 5, column year"
    assert "rows that hang on it were passed over" in problem.do


def test_nothing_is_judged_behind_a_row_of_a_copy_that_nobody_knows(papers: Path) -> None:
    """The row may belong to any copy, so whatever is refused later may come of it."""
    set_cell(papers / "log.csv", 7, "copy", "pards-1")

    (problem,) = refusal_of(papers).problems

    assert problem.where == "log.csv, row 7, column copy"
    assert "passed over" in problem.do


def test_a_programme_that_cannot_be_read_hides_no_fault_of_form(papers: Path) -> None:
    set_cell(papers / "workbooks.csv", 2, "pages", "eight")
    set_cell(papers / "log.csv", 18, "presence", "all day")

    problems = refusal_of(papers).problems

    assert [p.where for p in problems] == [
        "workbooks.csv, row 2, column pages",
        "log.csv, row 18, column presence",
    ]
    assert problems[0].do == "The log is held against the rules once this is mended."


CELLS = [
    ("people.csv", 2, "key", "", "key"),
    ("people.csv", 3, "key", "ruth", "key"),
    ("people.csv", 3, "key", "two words", "key"),
    ("people.csv", 2, "name", "", "name"),
    ("people.csv", 2, "year", "5", "year"),
    ("people.csv", 4, "year", "", "year"),
    ("people.csv", 4, "year", "21", "year"),
    ("people.csv", 4, "courses", "words-5", "courses"),
    ("people.csv", 4, "courses", "words-4;words-4", "courses"),
    ("copies.csv", 3, "copy", "parts-1", "copy"),
    ("copies.csv", 5, "copy", "", "copy"),
    ("copies.csv", 5, "copy", "a/b", "copy"),
    ("copies.csv", 5, "learner", "ruth", "learner"),
    ("copies.csv", 5, "ordered", "", "ordered"),
    ("copies.csv", 5, "ordered", "2026-03-03", "ordered"),
    ("copies.csv", 5, "expected", "2026-02-22", "expected"),
    ("copies.csv", 5, "received", "2026-02-22", "received"),
    ("log.csv", 7, "when", "", "when"),
    ("log.csv", 7, "when", "07.01.2026 10:00", "when"),
    ("log.csv", 7, "when", "2026-01-07 24:00", "when"),
    ("log.csv", 66, "when", "2026-03-02 12:01", "when"),
    ("log.csv", 7, "by", "", "by"),
    ("log.csv", 7, "copy", "", "copy"),
    ("log.csv", 7, "act", "worked pages", "act"),
    ("log.csv", 7, "act", "copy ordered", "act"),
    ("log.csv", 7, "pages", "4-1", "pages"),
    ("log.csv", 7, "pages", "", "pages"),
    ("log.csv", 7, "pages", "8-9", "pages"),
    ("log.csv", 7, "minutes", "1441", "minutes"),
    ("log.csv", 7, "minutes", "4.5", "minutes"),
    ("log.csv", 7, "minutes", "9" * 5000, "minutes"),
    ("log.csv", 7, "minutes", "²", "minutes"),
    ("log.csv", 7, "aids", "ruler", "aids"),
    ("log.csv", 7, "day", "2026-01-08", "day"),
    ("log.csv", 9, "step", "to rest", "step"),
    ("log.csv", 9, "stop", "part 1", "stop"),
    ("log.csv", 9, "stop", "section-9", "stop"),
    ("log.csv", 9, "stop", "", "stop"),
    ("log.csv", 10, "step", "to sit the practice test", "step"),
    ("log.csv", 11, "wrong", "3;11", "wrong"),
    ("log.csv", 11, "wrong", "0", "wrong"),
    ("log.csv", 18, "learner", "tobi", "learner"),
    ("log.csv", 30, "answers", "1 right;4 perhaps", "answers"),
    ("log.csv", 30, "stop", "section-9", "stop"),
    ("log.csv", 37, "right", "7", "right"),
    ("log.csv", 38, "ready", "perhaps", "ready"),
    ("log.csv", 39, "watcher", "", "watcher"),
    ("log.csv", 39, "watcher", "mallory", "watcher"),
    ("log.csv", 41, "new_copy", "", "new_copy"),
    ("log.csv", 41, "new_copy", "parts-2", "new_copy"),
    ("log.csv", 41, "day", "2026-01-11", "day"),
    ("log.csv", 63, "copy", "parts-1;parts-1", "copy"),
]


@pytest.mark.parametrize(("file", "row", "column", "text", "told"), CELLS, ids=lambda v: str(v)[:24])
def test_a_cell_that_cannot_be_is_named(
    papers: Path, file: str, row: int, column: str, text: str, told: str
) -> None:
    set_cell(papers / file, row, column, text)

    assert f"{file}, row {row}, column {told}" in places_of(papers)


@pytest.mark.parametrize(
    ("file", "was", "becomes", "told"),
    [
        ("household.toml", "name", "nam", "household.toml"),
        ("household.toml", '"The house by the mill pond"', '""', "household.toml, name"),
        ("household.toml", "=", "", "household.toml, line 1"),
        ("household.toml", '"The house by the mill pond"', "0x" + "f" * 5000, "household.toml, name"),
        ("programme.toml", "percent = 80", "percent = 101", "programme.toml, marks, practice_test_percent"),
        ("workbooks.csv", "sums,7,2", "sums,7,4", "workbooks.csv, row 4, column number"),
        ("calendar.toml", "2026-03-27", "2026-01-06", "calendar.toml, term 1, last"),
        ("calendar.toml", 'learner = "asa"', 'learner = "aza"', "calendar.toml, absence 1, learner"),
        ("people.csv", "educator", "helper", "people.csv"),
        ("people.csv", ",year", "", "people.csv, row 1, column year"),
        ("people.csv", "year", "age", "people.csv, row 1, column age"),
        ("people.csv", "year", "name", "people.csv, row 1, column name"),
        ("people.csv", ",", ";", "people.csv, row 1"),
        ("people.csv", "Ruth", '"Ruth', "people.csv, row 2"),
        ("people.csv", "Ruth,educator,,", "Ruth,educator,,,more", "people.csv, row 2"),
    ],
    ids=lambda value: value[:24],
)
def test_a_file_that_cannot_be_taken_is_named(
    papers: Path, file: str, was: str, becomes: str, told: str
) -> None:
    text = (papers / file).read_text("utf-8")
    assert was in text
    (papers / file).write_text(text.replace(was, becomes), "utf-8")

    assert told in places_of(papers)


@pytest.mark.parametrize("file", sheets.FILES)
@pytest.mark.parametrize(
    ("content", "found"),
    [
        (None, "no such file"),
        (b"", "an empty file"),
        (b"\xef\xbb\xbf \r\n", "an empty file"),
        (b"name\n\xe4", "another encoding (byte 0xe4 in line 2)"),
        ("name".encode("utf-16"), "text in UTF-16"),
        (b"name\n\0", "a NUL byte in line 2"),
    ],
    ids=["missing", "empty", "blank", "latin-1", "utf-16", "nul"],
)
def test_a_file_that_is_no_text_is_named(papers: Path, file: str, content: bytes | None, found: str) -> None:
    (papers / file).unlink()
    if content is not None:
        (papers / file).write_bytes(content)

    problems = refusal_of(papers).problems

    assert [p.where for p in problems] == [file]
    assert problems[0].found.startswith(found)


def test_a_folder_in_the_place_of_a_file_is_named(papers: Path) -> None:
    (papers / "log.csv").unlink()
    (papers / "log.csv").mkdir()

    assert places_of(papers) == ["log.csv"]


@pytest.mark.parametrize("made", ["nothing", "a file"])
def test_a_folder_that_is_not_there_is_one_plain_problem(tmp_path: Path, made: str) -> None:
    papers = tmp_path / "papers"
    if made == "a file":
        papers.write_text("no folder")

    assert places_of(papers) == ["folder"]


def test_rows_are_numbered_as_a_spreadsheet_shows_them(papers: Path) -> None:
    """A cell of two lines and an empty row: both make lines and rows differ."""
    rows = table_of(papers / "log.csv")
    rows[25][rows[0].index("reason")] = "Two blanks,\non page 2."
    rows.insert(28, [""] * len(rows[0]))
    write_table(papers / "log.csv", rows)
    set_cell(papers / "log.csv", 38, "right", "many")

    assert places_of(papers) == ["log.csv, row 38, column right"]


def test_a_home_whose_id_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="household"):
        import_folder("x" * 41, EXAMPLE, at=AT)


# --- the reference page -----------------------------------------------------------------------------------


def test_the_reference_page_names_every_file_column_and_act() -> None:
    page = PAGE.read_text("utf-8")
    columns = [*folder.PEOPLE_COLUMNS, *folder.COPIES_COLUMNS, *logbook.LOG_COLUMNS]
    missing = [name for name in (*sheets.FILES, *columns, *KINDS) if name not in page]
    assert not missing


@pytest.mark.parametrize("act", logbook.USES)
def test_the_reference_page_tells_what_an_act_needs(act: str) -> None:
    (line,) = (ln for ln in PAGE.read_text("utf-8").splitlines() if ln.startswith(f"| `{act}` |"))
    _, _, needs, may, _ = (part.strip() for part in line.split("|"))
    use = logbook.USES[act]
    assert {word for word in use.needs if f"`{word}`" in needs} == set(use.needs)
    assert {word for word in logbook.LOG_COLUMNS if f"`{word}`" in needs} == {*use.needs, *use.one_of}
    assert {word for word in logbook.LOG_COLUMNS if f"`{word}`" in may} == set(use.may)


def test_the_rows_on_the_reference_page_are_rows_of_the_example() -> None:
    shown = [
        ln.strip() for ln in PAGE.read_text("utf-8").split("## A few rows")[1].splitlines() if ln.strip()
    ]
    assert set(shown) <= set((EXAMPLE / "log.csv").read_text("utf-8").splitlines())
    assert len(shown) > 5


# --- whatever stands there --------------------------------------------------------------------------------


@contextmanager
def spoiled(file: str, place: float, text: str) -> Iterator[Path]:
    """A copy of the example in which one cell (of a table) or one line (of another file) is another text."""
    with TemporaryDirectory() as name:
        papers = Path(shutil.copytree(EXAMPLE, Path(name) / "papers"))
        path = papers / file
        if file.endswith(".csv"):
            rows = table_of(path)
            cells = [(r, c) for r, row in enumerate(rows) for c in range(len(row))]
            r, c = cells[int(place * len(cells))]
            rows[r][c] = text
            write_table(path, rows)
        else:
            lines = path.read_text("utf-8").splitlines()
            at = int(place * len(lines))
            key, equals, _ = lines[at].partition("=")
            lines[at] = key + equals + text if equals else text
            path.write_text("\n".join(lines), "utf-8")
        yield papers


LIKELY = """||0|-1|1e30|2026-01-12|2026-01-12 09:00|0001-01-01 00:00|noa|ruth|tobi|parts-1|parts-1b|naming-1|section-2
|check-1|practice-test|4;9|1-4|8;8|yes|absent|to mark|learner|"|true|\x7f|\0|\u2028""".replace(
    "\n", ""
).split("|")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    file=st.sampled_from([*sheets.FILES, "log.csv", "log.csv", "copies.csv", "people.csv"]),
    place=st.floats(0, 1, exclude_max=True),
    text=st.sampled_from([*LIKELY, *KINDS, "9" * 4400, "[[" * 40])
    | st.text(st.characters(codec="utf-8"), max_size=40),
)
def test_one_cell_of_any_text_makes_a_whole_home_or_none(file: str, place: float, text: str) -> None:
    with spoiled(file, place, text) as papers, transaction.atomic():
        try:
            report = import_folder("home", papers, at=AT)
        except InputError:
            assert not any(everything().values())
        else:
            verdict = upkeep.verify("home")
            assert verdict.holds, verdict.problem
            assert (report.facts, report.people) == (verdict.facts, Person.objects.count())
            assert report.copies == Copy.objects.count() == verdict.copies
        transaction.set_rollback(True)
