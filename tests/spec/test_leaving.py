"""What papers and packages say, row by row against the rules; and the page that shows them."""

import pytest

from tests.spec.leaving import ROWS, Row
from tests.spec.leaving_page import PAGE, rendering


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.given}: {row.asked}")
def test_the_rules_answer_as_the_table_says(row: Row) -> None:
    assert str(row.found()) == row.answer


def test_the_page_shows_exactly_the_tables() -> None:
    """Should this fail: python -m tests.spec.leaving_page."""
    assert PAGE.read_text(encoding="utf-8") == rendering()
