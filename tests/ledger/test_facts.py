"""What can be a fact at all, and what cannot."""

import dataclasses
from collections.abc import Callable
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from markstead.ledger import facts
from markstead.ledger.facts import (
    KINDS,
    AnyFact,
    FirstMarking,
    GateOverridden,
    GoalSet,
    OralQuizHeld,
    PagesWorked,
    PracticeTestScored,
    ReMarked,
    SpotCheckHeld,
    UnitTestScored,
    WorkTakenOver,
)
from tests.ledger.samples import counted

DAY = date(2026, 1, 26)


def test_every_fact_of_the_module_is_a_kind_on_the_record() -> None:
    declared = {
        value
        for value in vars(facts).values()
        if isinstance(value, type) and dataclasses.is_dataclass(value) and value.__module__ == facts.__name__
    }
    assert set(KINDS.values()) == declared


def test_no_two_kinds_share_a_word() -> None:
    assert len({kind.KIND for kind in KINDS.values()}) == len(KINDS)


def test_the_record_knows_every_happening_of_the_trade() -> None:
    """The list is DESIGN's, section 4 and the ledger's task, in its order; common practice, no source."""
    assert set(KINDS) == {
        "copy ordered",
        "copy received",
        "copy spoiled",
        "copy issued",
        "opening talk held",
        "work taken over",
        "goal set",
        "pages worked",
        "help asked",
        "help given",
        "leave asked",
        "leave given",
        "leave refused",
        "first marking",
        "corrected",
        "re-marked",
        "oral quiz held",
        "spot check held",
        "check opened",
        "practice test opened",
        "practice test scored",
        "readiness decided",
        "unit test sat",
        "unit test scored",
        "workbook re-ordered",
        "test paper sent",
        "dispatch sent",
        "attendance taken",
        "gate overridden",
        "fact reversed",
    }


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_a_fact_cannot_be_changed_once_it_is_made(kind: type[AnyFact]) -> None:
    fact = counted(kind)
    name = dataclasses.fields(fact)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(fact, name, "other")


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_no_fact_has_a_place_for_a_name_or_free_words(kind: type[AnyFact]) -> None:
    """Words are kept apart: a field is an id, a digest, a number, a day or one of a fixed set."""
    names = {field.name for field in dataclasses.fields(kind)}
    assert not names & {"name", "title", "text", "note", "comment", "words", "born", "birthday"}


@pytest.mark.parametrize(
    ("nonsense", "says"),
    [
        (lambda: PagesWorked("c", DAY, 9, 8), "pages run forwards from page 1 on, got 9 to 8"),
        (lambda: PagesWorked("c", DAY, 0, 8), "pages run forwards from page 1 on, got 0 to 8"),
        (lambda: PagesWorked("c", DAY, 1, 8, 1441), "minutes are 1441"),
        (lambda: PagesWorked("c", DAY, 1, 8, -1), "minutes are -1"),
        (lambda: WorkTakenOver("c", 0), "the last page is 0; it is at least 1"),
        (lambda: GoalSet("c", DAY, first=3), "both its pages or none"),
        (lambda: GoalSet("c", DAY, last=3), "both its pages or none"),
        (lambda: GoalSet("c", DAY, 4, 3), "runs forwards"),
        (lambda: GoalSet("c", DAY, 0, 3), "runs forwards"),
        (lambda: FirstMarking("c", "section-1", 0), "asked is 0; it is at least 1"),
        (lambda: FirstMarking("c", "section-1", 12, (13,)), "name question 13; there are 12"),
        (lambda: FirstMarking("c", "section-1", 12, (0, 4)), "wrong is 0; it is at least 1"),
        (lambda: FirstMarking("c", "section-1", 12, (4, 4)), "none stands twice"),
        (lambda: FirstMarking("c", "section-1", 12, (5, 4)), "they rise"),
        (lambda: ReMarked("c", "section-1", (5, 4)), "they rise"),
        (lambda: OralQuizHeld("c", ()), "at least one answer"),
        (lambda: SpotCheckHeld("c", "section-1", ()), "looks at one answer or more"),
        (lambda: SpotCheckHeld("c", "section-1", ((3, True), (3, False))), "none stands twice"),
        (lambda: SpotCheckHeld("c", "section-1", ((0, True),)), "looked at is 0; it is at least 1"),
        (lambda: GateOverridden("c", "pages worked", (), "w"), "names the bars it passes"),
        (lambda: PracticeTestScored("c", 1, 21, 20, 16), "got 21 of 20"),
        (lambda: PracticeTestScored("c", 1, -1, 20, 16), "got -1 of 20"),
        (lambda: PracticeTestScored("c", 1, 0, 0, 0), "got 0 of 0"),
        (lambda: PracticeTestScored("c", 1, 18, 20, 16, (3,)), "1 wrong answers are named, but 18 of 20"),
        (lambda: PracticeTestScored("c", 1, 18, 20, -1), "needed is -1"),
        (lambda: UnitTestScored("c", 21, 20, 16), "got 21 of 20"),
        (lambda: UnitTestScored("c", 19, 20, 16, (21,)), "name question 21; there are 20"),
    ],
)
def test_what_cannot_be_a_fact_is_refused_with_what_was_given(
    nonsense: Callable[[], AnyFact], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        nonsense()


@given(asked=st.integers(min_value=1, max_value=120), right=st.integers(min_value=0, max_value=120))
def test_a_mark_stands_exactly_when_the_right_fit_in_the_asked(asked: int, right: int) -> None:
    if right <= asked:
        assert UnitTestScored("c", right, asked, 1).right == right
    else:
        with pytest.raises(ValueError, match=f"got {right} of {asked}"):
            UnitTestScored("c", right, asked, 1)


@pytest.mark.parametrize("minutes", [None, 0, 1440])
def test_minutes_may_be_unknown_none_or_a_whole_day(minutes: int | None) -> None:
    assert PagesWorked("c", DAY, 1, 1, minutes).minutes == minutes
