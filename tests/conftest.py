"""What every test of the house stands on: the browser, both databases, and a record that may be emptied.

The tests run on SQLite unless ``DATABASE_URL`` names another database; `make test` runs those that open the
database once more on PostgreSQL (which files, the Makefile says).
"""

import os
import shutil
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import pytest
from playwright.sync_api import expect

# Playwright's plain interface keeps an event loop running, in which Django would refuse to open the database.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")
CHROMIUM_SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]

OPEN_THE_DATABASE = {"db", "transactional_db", "live_server", "django_db_setup", "database_of_their_own"}
"""The fixtures by which a test says that it has to do with the database that `DATABASE_URL` names."""


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark whatever opens a browser, so that no such test can forget the mark; and begin with the long files.

    A worker takes one file after the other: were a long one the last, the other workers would wait for it. Where another
    database is named, what does not open it says the same as without it, and is left out.
    """
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.browser)
    if os.environ.get("DATABASE_URL"):
        kept = [
            item
            for item in items
            if OPEN_THE_DATABASE.intersection(getattr(item, "fixturenames", ()))
            or item.get_closest_marker("django_db")
        ]
        config.hook.pytest_deselected(items=[item for item in items if item not in set(kept)])
        items[:] = kept
    if hasattr(config, "workerinput"):
        long = {item.path for item in items for mark in ("slow", "browser") if item.get_closest_marker(mark)}
        items.sort(key=lambda item: item.path not in long)


@pytest.fixture(scope="session", autouse=True)
def home_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep away from the home of whoever runs the tests, also where a test forgets to name one."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MARKSTEAD_HOME", str(tmp_path_factory.mktemp("nobodys-home")))
        yield


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Drive the Chromium of the system: none is downloaded, and it calls nobody."""
    found = next((path for name in CHROMIUM_NAMES if (path := shutil.which(name))), None)
    if found is None:
        message = f"No Chromium on this machine (looked for {', '.join(CHROMIUM_NAMES)})."
        if os.environ.get("CI"):
            pytest.fail(message)  # a skipped proof must not look like a passed one
        pytest.skip(message)
    expect.set_options(
        timeout=30_000
    )  # a page that does not come fails all the same; one that comes slowly does not
    return {**browser_type_launch_args, "executable_path": found, "args": CHROMIUM_SWITCHES}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    """Ask for the English that the tests read; without this Chromium asks for that of the United States."""
    return {**browser_context_args, "locale": "en-GB"}


@pytest.fixture(scope="session")
def base_url() -> str | None:
    """Tests give whole addresses. (The plugin's own fixture is a method, of which pytest warns.)"""
    return None


@pytest.fixture(scope="session")
def django_db_modify_db_settings(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Keep the SQLite test database in a file: WAL and several threads mean nothing in memory."""
    from django.db import connections

    connection = connections["default"]
    if connection.vendor == "sqlite":
        connection.settings_dict["TEST"]["NAME"] = str(tmp_path_factory.mktemp("home") / "test.sqlite3")


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None) -> Iterator[None]:
    """Lift the triggers while Django empties the tables after a test that really committed.

    The database refuses to delete from the record, and that is right; only here is it asked to.
    """
    from django.db import connection
    from django.test import TransactionTestCase

    from markstead.records import triggers

    empty_the_tables = TransactionTestCase._fixture_teardown

    def without_triggers(test_case: TransactionTestCase) -> None:
        triggers.drop(connection)
        try:
            empty_the_tables(test_case)
        finally:
            triggers.create(connection)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", without_triggers)
        yield


@pytest.fixture(scope="session", autouse=True)
def files_read_once() -> Iterator[None]:
    """Read the same programme and calendar once, for some two thousand tests make their home by the same three texts.

    What a home is read from is a value, and nobody can change what comes of it. Where reading itself is tested the
    readers are imported by name, and read each time.
    """
    from markstead.calendar import load as calendars
    from markstead.rules import load as programmes

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(calendars, "read_calendar", lru_cache(maxsize=64)(calendars.read_calendar))
        patch.setattr(programmes, "read_programme", lru_cache(maxsize=64)(programmes.read_programme))
        yield
