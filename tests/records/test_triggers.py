"""The database itself refuses to change or remove what was written, whoever asks it and however."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from markstead.records import actions as a
from markstead.records import triggers
from markstead.records.models import Document, Entry
from tests.records.house import BOOK, House

STAYS = "what is written on the record stays as it is"
TABLES = {"records_entry": (Entry, "body"), "records_document": (Document, "text")}


def sql(text: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(text)


def rows() -> list[Any]:
    return [list(model.objects.order_by("id").values()) for model, _ in TABLES.values()]


def refused(act: Callable[[], Any]) -> None:
    before = rows()
    with pytest.raises(IntegrityError, match=STAYS), transaction.atomic():
        act()
    assert rows() == before
    assert all(before)


@pytest.fixture(autouse=True)
def something_written(house: House) -> None:
    house.bring("worked")


@pytest.mark.parametrize("table", TABLES)
def test_a_change_of_many_at_once_is_refused(table: str) -> None:
    model, column = TABLES[table]
    refused(lambda: model._default_manager.update(**{column: "nothing"}))


@pytest.mark.parametrize("table", TABLES)
def test_a_change_of_one_is_refused(table: str) -> None:
    model, column = TABLES[table]
    row = model._default_manager.order_by("id").first()
    assert row is not None
    setattr(row, column, "nothing")
    refused(row.save)


@pytest.mark.parametrize("table", TABLES)
def test_a_removal_of_many_at_once_is_refused(table: str) -> None:
    refused(TABLES[table][0]._default_manager.all().delete)


@pytest.mark.parametrize("table", TABLES)
def test_a_removal_of_one_is_refused(table: str) -> None:
    row = TABLES[table][0]._default_manager.order_by("id").first()
    assert row is not None
    refused(row.delete)


@pytest.mark.parametrize(
    "text",
    [
        "UPDATE records_entry SET body = ''",
        "UPDATE records_entry SET link = 'x' WHERE seq = 1",
        "UPDATE records_entry SET seq = seq + 100",
        "UPDATE records_entry SET body = body",
        "DELETE FROM records_entry",
        "DELETE FROM records_entry WHERE seq = (SELECT max(seq) FROM records_entry)",
        "UPDATE records_document SET text = ''",
        "UPDATE records_document SET version = 9 WHERE version = 1",
        "DELETE FROM records_document",
    ],
)
def test_another_program_that_writes_sql_is_refused(text: str) -> None:
    refused(lambda: sql(text))


@pytest.mark.parametrize("table", TABLES)
def test_an_insertion_that_replaces_is_refused(table: str) -> None:
    """SQLite's INSERT OR REPLACE removes the old row; PostgreSQL's ON CONFLICT updates it."""
    column = TABLES[table][1]
    if connection.vendor == "sqlite":
        text = f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} ORDER BY id LIMIT 1"
    else:
        text = (
            f"INSERT INTO {table} SELECT * FROM {table} ORDER BY id LIMIT 1 "
            f"ON CONFLICT (id) DO UPDATE SET {column} = 'nothing'"
        )
    refused(lambda: sql(text))


KEYS = [
    ("records_entry", ("household_id", "seq")),
    ("records_entry", ("household_id", "act", "part")),
    ("records_document", ("household_id", "kind", "version")),
]


@pytest.mark.parametrize(("table", "key"), KEYS)
def test_a_new_row_does_not_take_the_place_of_an_old_one(table: str, key: tuple[str, ...]) -> None:
    """Neither by the same place nor as the same part of an act, under an id of its own."""
    model = TABLES[table][0]
    kept = model._default_manager.order_by("id").values().first()
    assert kept is not None
    fresh = {"act": "another", "seq": 900, "kind": "another", "id": 900_000}
    row = {name: value if name in key else fresh.get(name, value) for name, value in kept.items()}
    names, marks = ", ".join(row), ", ".join(["%s"] * len(row))
    sqlite = connection.vendor == "sqlite"
    place, says = ("INSERT OR REPLACE", STAYS) if sqlite else ("INSERT", "duplicate key value")
    before = rows()

    with pytest.raises(IntegrityError, match=says), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"{place} INTO {table} ({names}) VALUES ({marks})", [str(v) for v in row.values()])

    assert rows() == before


@pytest.mark.parametrize("table", TABLES)
def test_postgresql_refuses_to_empty_a_table(table: str) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no TRUNCATE; its DELETE is refused above")
    connection.check_constraints()  # pending foreign keys would refuse it before the trigger is asked
    refused(lambda: sql(f"TRUNCATE {table} CASCADE"))


def test_adding_goes_on(house: House) -> None:
    house.do(a.order_copy, workbook=BOOK)
    assert Entry.objects.count() == 6


def test_without_its_triggers_the_database_would_do_as_it_is_told() -> None:
    """Else the tests above would pass for another reason."""
    connection.check_constraints()
    triggers.drop(connection)
    sql("UPDATE records_entry SET body = ''")
    sql("DELETE FROM records_document")
    assert set(Entry.objects.values_list("body", flat=True)) == {""}
    assert not Document.objects.exists()

    triggers.create(connection)
    with pytest.raises(IntegrityError, match=STAYS), transaction.atomic():
        sql("UPDATE records_entry SET body = 'x'")
