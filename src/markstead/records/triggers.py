"""Triggers by which the database itself refuses to change or remove what was written.

A guard in `save` is not enough: a bulk update never calls it, and other programs never call us.
"""

from typing import Any

TABLES = ("records_entry", "records_document")

_SQLITE = """
CREATE TRIGGER {table}_keeps_{verb} BEFORE {verb} ON {table}
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


def create(connection: Any) -> None:
    """Make the triggers on both tables."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_POSTGRES_FUNCTION)
            for table in TABLES:
                for verb, each in (("UPDATE", "ROW"), ("DELETE", "ROW"), ("TRUNCATE", "STATEMENT")):
                    cursor.execute(_POSTGRES.format(table=table, verb=verb, each=each))
        else:
            for table in TABLES:
                for verb in ("UPDATE", "DELETE"):
                    cursor.execute(_SQLITE.format(table=table, verb=verb))


def drop(connection: Any) -> None:
    """Take the triggers away: for tests that empty the tables, and for nobody else."""
    with connection.cursor() as cursor:
        for table in TABLES:
            for verb in ("UPDATE", "DELETE", "TRUNCATE"):
                on = f" ON {table}" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TRIGGER IF EXISTS {table}_keeps_{verb}{on}")
