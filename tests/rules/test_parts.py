"""What each part in the home may do: a helper looks and notes, and does not judge."""

import pytest

from markstead.ledger.facts import KINDS
from markstead.rules.bars import BarKind
from markstead.rules.ruling import Actor, Ruling
from tests.rules.small_home import ASA, INES, MARA, TOBI, Story
from tests.spec.table import ROWS, Row

JUDGED = {
    "copy issued",
    "copy ordered",
    "copy spoiled",
    "check opened",
    "dispatch sent",
    "fact reversed",
    "gate overridden",
    "leave given",
    "leave refused",
    "opening talk held",
    "oral quiz held",
    "practice test opened",
    "readiness decided",
    "spot check held",
    "test paper sent",
    "unit test sat",
    "unit test scored",
    "work taken over",
    "workbook re-ordered",
}
"""Acts by which somebody judges, decides, spends, or takes back: an educator's alone."""
NOTED = {
    "attendance taken",
    "copy received",
    "corrected",
    "first marking",
    "goal set",
    "help asked",
    "help given",
    "leave asked",
    "pages worked",
    "practice test scored",
    "re-marked",
}
"""Acts that note what happened; a first marking, a re-marking and a practice score want an educator's leave all the same."""
ALLOWED = [row for row in ROWS if not row.bars]


def asked_by(row: Row, actor: Actor) -> Ruling:
    story = Story(row.programme)
    for fact, when in row.given.facts:
        story.tell(fact, when)
    return story.ask(row.fact, row.when, actor, **row.around)


def test_every_act_is_either_judged_or_noted() -> None:
    assert set(KINDS) == JUDGED | NOTED
    assert not JUDGED & NOTED
    assert {row.fact.KIND for row in ALLOWED} == set(KINDS)


@pytest.mark.parametrize("row", ALLOWED, ids=lambda row: f"{row.given.words}: {row.act}, {row.also}")
def test_a_helper_notes_and_does_not_judge(row: Row) -> None:
    kinds = {bar.kind for bar in asked_by(row, TOBI).bars}
    assert (BarKind.ONLY_EDUCATOR in kinds) == (row.fact.KIND in JUDGED)
    if row.fact.KIND in NOTED:
        # Scoring a practice test without leave is the educator's; all other notes a helper may take.
        assert kinds <= {BarKind.NO_LEAVE}


@pytest.mark.parametrize("row", ALLOWED, ids=lambda row: f"{row.given.words}: {row.act}, {row.also}")
def test_a_learner_judges_nothing(row: Row) -> None:
    # Their own latest act they may take back for a minute: that is judged of nobody.
    if row.fact.KIND in JUDGED and "own_latest" not in row.around:
        assert BarKind.ONLY_EDUCATOR in {bar.kind for bar in asked_by(row, ASA).bars}


@pytest.mark.parametrize("row", ALLOWED, ids=lambda row: f"{row.given.words}: {row.act}, {row.also}")
def test_who_looks_on_and_who_has_left_write_nothing(row: Row) -> None:
    assert BarKind.MAY_NOT_LOG in {bar.kind for bar in asked_by(row, INES).bars}
    assert BarKind.HAS_LEFT in {bar.kind for bar in asked_by(row, MARA).bars}
