"""The trade rules, row by row against the gates; and the page that shows them."""

import pytest

from markstead.ledger.facts import KINDS
from markstead.rules.bars import BarKind
from markstead.rules.ruling import Ruling
from tests.rules.small_home import Story
from tests.spec.page import PAGE, rendering
from tests.spec.table import ROWS, Row


def name(row: Row) -> str:
    return f"{row.given.words}, {row.also}: {row.act} by {row.by.id} at {row.when:%a %H:%M}"


def answer_to(row: Row) -> Ruling:
    story = Story(row.programme)
    for fact, when in row.given.facts:
        story.tell(fact, when)
    return story.ask(row.fact, row.when, row.by, **row.around)


@pytest.mark.parametrize("row", ROWS, ids=name)
def test_the_gates_answer_as_the_table_says(row: Row) -> None:
    answer = answer_to(row)

    assert [b.kind for b in answer.bars] == list(row.bars)
    assert answer.allowed == (not row.bars)
    for shut in answer.bars:
        assert shut.says.endswith(".")
        assert shut.lifts.endswith(".")


def test_no_two_rows_of_the_table_ask_the_same() -> None:
    assert len({name(row) for row in ROWS}) == len(ROWS)


def test_every_act_is_in_the_table_allowed_and_refused() -> None:
    allowed = {row.fact.KIND for row in ROWS if not row.bars}
    refused = {row.fact.KIND for row in ROWS if row.bars}
    assert allowed == set(KINDS)
    assert refused == set(KINDS)


def test_every_bar_is_in_the_table() -> None:
    """All but one: whether a fact is undone already is seen by the act of undoing, which holds the record."""
    assert {kind for row in ROWS for kind in row.bars} == set(BarKind) - {BarKind.ALREADY_REVERSED}


def test_every_bar_stands_alone_in_some_row() -> None:
    """So that no bar is only ever seen hidden behind another."""
    alone = {row.bars[0] for row in ROWS if len(row.bars) == 1}
    assert alone == set(BarKind) - {BarKind.ALREADY_REVERSED}


def test_the_page_shows_exactly_the_table() -> None:
    """Should this fail: python -m tests.spec.write."""
    assert PAGE.read_text(encoding="utf-8") == rendering()
