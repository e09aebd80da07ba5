"""Two houses on one record-keeper: Ruth's, and the one next door."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from markstead.records import backups
from tests.records.house import STRANGERS, House


@pytest.fixture
def house(db: None) -> House:
    """Ruth's house, on Monday 12 January 2026 at eight in the morning."""
    return House()


@pytest.fixture
def next_door(db: None) -> House:
    """Mallory's house, kept in the same database."""
    return House("away", STRANGERS)


@pytest.fixture(scope="session")
def empty_home(tmp_path_factory: pytest.TempPathFactory, django_db_blocker: Any) -> Path:
    """A SQLite file with every table and no household, beside the database of the other tests."""
    file = tmp_path_factory.mktemp("empty") / "markstead.sqlite3"
    with django_db_blocker.unblock():
        backups.at_another(file, lambda: call_command("migrate", verbosity=0))
    return file


@pytest.fixture(scope="module")
def new_home(
    empty_home: Path, tmp_path_factory: pytest.TempPathFactory, django_db_blocker: Any
) -> Iterator[Path]:
    """A copy of the empty home for the tests of a file, which may open databases."""
    with django_db_blocker.unblock():
        yield Path(shutil.copy(empty_home, tmp_path_factory.mktemp("new")))


@pytest.fixture
def empty(new_home: Path, tmp_path: Path) -> Path:
    """A copy of the empty home for one test."""
    return Path(shutil.copy(new_home, tmp_path / "empty.sqlite3"))
