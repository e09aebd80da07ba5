"""Commands that look ahead and that order: their JSON against its own sums and against figures worked out by hand."""

import csv
import math
import shutil
import sqlite3
from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from tests.cli.conftest import Answer, Kitchen, program
from tests.cli.test_a_workbook import into_the_house
from tests.cli.test_estimate import mark_a_workbook

SUPPLIER = "Quayside Books"
NEXT = "maths-5-02"
QUANTILES = [0.05, 0.10, 0.50, 0.90, 0.95]


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory, new_home: Path) -> Iterator[Kitchen]:
    """A home in which Tui has passed a practice test, on Wednesday 11 February; nothing is written here any more."""
    home = tmp_path_factory.mktemp("ahead") / "home"
    shutil.copytree(new_home, home)
    here = Kitchen(home)
    mark_a_workbook(here)
    yield here
    here.close()


def learner(answer: Answer, key: str) -> Any:
    return next(row for row in answer.json["learners"] if row["key"] == key)


# --- forecast -----------------------------------------------------------------------------------------------------


def test_the_forecast_as_json_keeps_its_keys(worked: Kitchen) -> None:
    answer = worked.done("forecast", "--json").json
    assert set(answer) == {"today", "paths", "learners"}
    assert answer["today"] == "2026-02-11"
    assert set(answer["learners"][0]) == {
        *("id", "key", "name", "last_school_day", "targets", "all_targets", "courses", "workbooks"),
        *("needs", "by_week", "by_month", "notes"),
    }


def test_a_chance_has_the_standard_error_of_its_number_of_years(worked: Kitchen) -> None:
    for paths in (500, 2_000):
        answer = worked.done("forecast", "--learner", "tui", "--paths", paths, "--json")
        (course,) = learner(answer, "tui")["courses"]
        found = course["by_the_last_day"]
        # Agresti and Coull 1998 (from memory): two more of either kind, then sqrt(p (1 - p) / n).
        middle = (found["chance"] * paths + 2) / (paths + 4)
        wanted = math.sqrt(middle * (1 - middle) / (paths + 4))
        assert found["standard_error"] == pytest.approx(wanted, rel=1e-12)


def test_days_of_finish_rise_and_lie_in_the_term(worked: Kitchen) -> None:
    (course,) = learner(worked.done("forecast", "--json"), "tui")["courses"]
    by = course["finished"]["by"]
    assert [row["share"] for row in by] == QUANTILES
    days = [row["day"] for row in by if row["day"] is not None]
    assert days == sorted(days)
    # The term ends on 2 April.
    assert "2026-02-11" < days[0] <= days[-1] <= "2026-04-02"


def test_a_workbook_after_a_passed_practice_test_is_needed_soon_and_not_ordered(worked: Kitchen) -> None:
    (need,) = learner(worked.done("forecast", "--json"), "tui")["needs"]
    assert (need["workbook"], need["copy"]) == (NEXT, "not ordered")
    # The unit test is sat on the first school day of the forecast at the earliest: the next workbook follows it.
    assert need["needed"][0]["day"] in {"2026-02-12", "2026-02-13"}


def test_a_learner_without_any_day_is_told_a_guess(worked: Kitchen) -> None:
    out = worked.done("forecast", "--learner", "rewi").out
    assert "a guess" in out
    assert "Tui" not in out


def test_the_forecast_of_the_same_day_is_the_same_twice(worked: Kitchen) -> None:
    assert worked.done("forecast", "--json").out == worked.done("forecast", "--json").out


def test_after_the_last_term_the_forecast_asks_for_the_next_one(kitchen: Kitchen) -> None:
    kitchen.now = "2026-05-04T09:00"
    out = kitchen.done("forecast").out
    assert "No school day of Tui is entered from 4 May 2026 on: enter the next term first." in out


def test_a_day_before_the_latest_mark_is_refused(worked: Kitchen) -> None:
    answer = worked.run("forecast", "--now", "2026-02-09T09:00")
    assert answer.status == 2
    assert "that of the latest mark or work" in answer.err


def test_too_few_years_are_refused(worked: Kitchen) -> None:
    answer = worked.run("forecast", "--paths", "10")
    assert answer.status == 2
    assert "--paths" in answer.err


# --- orders -------------------------------------------------------------------------------------------------------


def test_orders_as_json_keep_their_keys(worked: Kitchen) -> None:
    answer = worked.done("orders", "--json").json
    assert set(answer) == {
        *("today", "currency", "service_level", "orders", "months", "spares", "coming", "without_offer"),
        *("hardly_needed", "suppliers", "in_time", "costs", "sentences"),
    }
    assert set(answer["orders"][0]) == {
        *("supplier", "by", "due", "value", "postage", "missing", "total", "expected", "at_the_latest"),
        *("lines", "sentence"),
    }


def test_an_order_comes_to_its_copies_and_the_months_to_the_orders(worked: Kitchen) -> None:
    answer = worked.done("orders", "--json").json
    for order in answer["orders"]:
        assert order["value"] == sum(line["price"] * line["quantity"] for line in order["lines"])
        assert order["total"] == order["value"] + order["postage"] + order["missing"]
    assert sum(m["amount"] for m in answer["months"]) == sum(o["total"] for o in answer["orders"])


def test_an_order_is_expected_by_the_days_that_its_supplier_takes(worked: Kitchen) -> None:
    answer = worked.done("orders", "--json").json
    (supplier,) = answer["suppliers"]
    for order in answer["orders"]:
        by, expected = date.fromisoformat(order["by"]), date.fromisoformat(order["expected"])
        assert expected - by == timedelta(supplier["half_within_days"])


def test_orders_in_words_have_the_budget_by_month(worked: Kitchen) -> None:
    out = worked.done("orders").out
    assert f"Order today from {SUPPLIER}: " in out
    assert "February 2026" in out
    assert f"{SUPPLIER}: half of its parcels come within " in out


def test_a_copy_that_lies_in_the_house_is_not_ordered(kitchen: Kitchen) -> None:
    before = kitchen.done("orders", "--json").json
    into_the_house(kitchen)
    after = kitchen.done("orders", "--json").json

    def first(answer: Any) -> int:
        lines = [line for order in answer["orders"] for line in order["lines"]]
        return sum(x["quantity"] for x in lines if x["workbook"] == "maths-5-01" and x["learner"] is not None)

    assert (first(before), first(after)) == (2, 1)


def kept_calls(kitchen: Kitchen) -> int:
    """How many order plans are kept for today's page."""
    with sqlite3.connect(kitchen.database) as database:
        return int(database.execute("SELECT COUNT(*) FROM records_ordercalls").fetchone()[0])


def test_only_the_orders_of_the_real_today_are_kept_for_today_s_page(kitchen: Kitchen) -> None:
    kitchen.done("orders")  # with --now
    assert kept_calls(kitchen) == 0
    assert program(kitchen.home, "orders").status == 0
    assert kept_calls(kitchen) == 1


def test_placing_an_order_orders_all_of_it(kitchen: Kitchen) -> None:
    order = kitchen.done("orders", "--json").json["orders"][0]
    done = kitchen.act("place-order", SUPPLIER, "--expected", "2026-02-17", "--json").json
    wanted: Counter[tuple[str, str | None]] = Counter()
    for line in order["lines"]:
        wanted[line["workbook"], (line["learner"] or {}).get("id")] += line["quantity"]
    facts = [entry["fact"] for entry in done["facts"]]
    assert Counter((f["workbook"], f.get("learner")) for f in facts) == wanted
    assert {f["expected"] for f in facts} == {"2026-02-17"}


def test_a_parcel_is_booked_in_with_one_command(kitchen: Kitchen) -> None:
    kitchen.act("place-order", SUPPLIER)
    on_order = [c["id"] for c in kitchen.done("copies", "--json").json["copies"] if c["status"] == "on order"]
    assert len(on_order) > 1
    kitchen.act("receive-parcel", *on_order)
    statuses = {c["id"]: c["status"] for c in kitchen.done("copies", "--json").json["copies"]}
    assert {statuses[copy] for copy in on_order} == {"in the house"}


def test_an_order_at_an_unknown_supplier_is_refused_with_those_that_have_one(kitchen: Kitchen) -> None:
    answer = kitchen.run("act", "place-order", "Nobody")
    assert answer.status == 2
    assert f"a supplier with something to order: {SUPPLIER}" in answer.err


def test_one_slip_given_twice_places_one_order(kitchen: Kitchen) -> None:
    kitchen.act("place-order", SUPPLIER, "--slip", "o1")
    facts = kitchen.done("today", "--json").json["facts"]
    again = kitchen.act("place-order", SUPPLIER, "--slip", "o1", "--json").json
    assert again["again"]
    assert kitchen.done("today", "--json").json["facts"] == facts


# --- the order sheet ----------------------------------------------------------------------------------------------


def test_a_sheet_as_csv_comes_to_the_next_order(worked: Kitchen, tmp_path: Path) -> None:
    order = worked.done("orders", "--json").json["orders"][0]
    file = tmp_path / "order.csv"
    answer = worked.done("orders", "--sheet", file, "--supplier", SUPPLIER)
    assert answer.out == f"The order sheet stands in {file}.\n"
    *_, total = csv.reader(file.read_text(encoding="utf-8").splitlines())
    assert total[-1] == f"{order['total'] / 100:.2f}"


@pytest.mark.parametrize(("paper", "width"), [("a4", 210.0), ("us-letter", 215.9)])
def test_a_sheet_as_pdf_is_on_the_paper_that_was_asked_for(
    worked: Kitchen, tmp_path: Path, paper: str, width: float
) -> None:
    file = tmp_path / "order.PDF"
    worked.done("orders", "--sheet", file, "--paper", paper, "--own")
    document = pypdfium2.PdfDocument(file)
    size, text = document[0].get_size(), document[len(document) - 1].get_textpage().get_text_range()
    document.close()
    assert size[0] / 72 * 25.4 == pytest.approx(width, abs=0.1)
    assert "For whom" in text


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--sheet", "order.doc"], "a file whose name ends in .pdf or .csv"),
        (["--sheet", "order"], "a file whose name ends in .pdf or .csv"),
        (["--sheet", "order.pdf", "--paper", "a5"], "one of a4, us-letter"),
        (["--sheet", "order.csv", "--paper", "a4"], "nothing, where the sheet is a CSV file"),
        (["--sheet", "order.pdf", "--supplier", "Nobody"], f"a supplier with something to order: {SUPPLIER}"),
        (["--sheet", "no-such-folder/order.pdf"], "a file that can be written"),
        (["--supplier", SUPPLIER], "given without --sheet"),
        (["--force"], "given without --sheet"),
    ],
)
def test_a_sheet_that_cannot_be_written_is_told_in_words(
    worked: Kitchen, words: list[str], says: str
) -> None:
    answer = worked.run("orders", *words)
    assert answer.status == 2
    assert says in answer.err


def test_a_file_that_is_there_is_written_over_only_when_told_so(worked: Kitchen, tmp_path: Path) -> None:
    file = tmp_path / "order.csv"
    file.write_text("a letter to grandmother")
    answer = worked.run("orders", "--sheet", file)
    assert answer.status == 2
    assert "which is there already" in answer.err
    assert file.read_text() == "a letter to grandmother"
    worked.done("orders", "--sheet", file, "--force")
    assert file.read_text().startswith("code,workbook")
