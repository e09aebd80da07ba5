"""Two houses on one record-keeper: Ruth's, and the one next door."""

import pytest

from tests.records.house import STRANGERS, House


@pytest.fixture
def house(db: None) -> House:
    """Ruth's house, on Monday 12 January 2026 at eight in the morning."""
    return House()


@pytest.fixture
def next_door(db: None) -> House:
    """Mallory's house, kept in the same database."""
    return House("away", STRANGERS)
