"""What every test of the house stands on: the browser, both databases, and a record that may be emptied.

The tests run on SQLite unless ``DATABASE_URL`` names another database; `make test` runs those that open the
database once more on PostgreSQL.
"""

import os
import shutil
from collections.abc import Iterator
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


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark whatever opens a browser, so that no such test can forget the mark."""
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.browser)


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
