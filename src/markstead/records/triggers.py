"""Triggers by which the database itself refuses to change or remove what was written.

A guard in `save` is not enough: a bulk update never calls it, and other programs never call us.
"""

from collections.abc import Sequence
from typing import Any

TABLES = ("records_entry", "records_document")

_SQLITE = """
CREATE TRIGGER {table}_keeps_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'what is written on the record stays as it is'); END
"""
# INSERT OR REPLACE removes the old row without asking the trigger on DELETE; so a row that would take the place
# of another is refused before. PostgreSQL's ON CONFLICT updates, which its trigger sees.
_SQLITE_UNIQUE = {
    "records_entry": (("id",), ("household_id", "seq"), ("household_id", "act", "part")),
    "records_document": (("id",), ("household_id", "kind", "version")),
}
_SQLITE_TAKEN = "EXISTS (SELECT 1 FROM {table} WHERE {key})"
_SQLITE_INSERT = """
CREATE TRIGGER {table}_keeps_INSERT BEFORE INSERT ON {table} WHEN {taken}
BEGIN SELECT RAISE(ABORT, 'what is written on the record stays as it is'); END
"""
_POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION markstead_keeps() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'what is written on the record stays as it is' USING ERRCODE = '23000'; END $$
"""
_POSTGRES = """
CREATE TRIGGER {table}_keeps_{verb} BEFORE {verb} ON {table}
FOR EACH {each} EXECUTE FUNCTION markstead_keeps()
"""


def _taken(table: str) -> str:
    """Whether a row with one of the new row's keys is there."""
    keys = (" AND ".join(f"{column} = NEW.{column}" for column in key) for key in _SQLITE_UNIQUE[table])
    return " OR ".join(_SQLITE_TAKEN.format(table=table, key=key) for key in keys)


def create(connection: Any, tables: Sequence[str] = TABLES) -> None:
    """Make the triggers on these tables."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
            for table in tables:
                for verb, each in (("UPDATE", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
                    cursor.execute(_POSTGRES.format(table=table, verb=verb, each=each))
        else:
            for table in tables:
                for verb in ("UPDATE", "DELETE"):
                    cursor.execute(_SQLITE.format(table=table, verb=verb))
                cursor.execute(_SQLITE_INSERT.format(table=table, taken=_taken(table)))


def drop(connection: Any, tables: Sequence[str] = TABLES) -> None:
    """Take the triggers away: for erasure, from documents alone, and for tests that empty the tables."""
    with connection.cursor() as cursor:
        for table in tables:
            for verb in ("INSERT", "UPDATE", "DELETE", "TRUNCATE"):
                on = f" ON {table}" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER IF EXISTS {table}_keeps_{verb}{on}")
