"""The fold for readers of whole records ends where the ordinary one does."""

from hypothesis import given, settings

from markstead.ledger.facts import FactReversed
from markstead.ledger.serial import Entry
from markstead.rules.standing import Fold, LeanFold
from tests.properties.test_laws import about, records


@settings(deadline=None)
@given(record=records())
def test_a_fold_that_keeps_no_fact_stands_as_one_that_keeps_them_all(record: list[Entry]) -> None:
    mine = about("c1", record)
    reversed_facts = {entry.fact.entry for entry in mine if isinstance(entry.fact, FactReversed)}
    lean = LeanFold("c1", reversed_facts)
    for entry in mine:
        lean.take(entry)

    assert lean.standing == Fold("c1", mine).standing
    assert lean.workbook == (getattr(mine[0].fact, "workbook", "") if mine else "")
