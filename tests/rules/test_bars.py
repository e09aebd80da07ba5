"""Bars: their words, their weight, and what they say."""

import pytest

from markstead.rules.bars import SENTENCES, Bar, BarKind, Weight, bar

WHO = {"only an educator", "another learner's copy", "may not write", "has left", "nobody watches"}
RULES = {
    "already passed",
    "earlier workbook not passed",
    "another copy in hand",
    "no opening talk",
    "marking stop not cleared",
    "pages left",
    "workbook closed",
    "quiz first",
    "review first",
    "practice test below the pass mark",
    "readiness not decided",
    "too soon",
    "no school",
    "not in the morning",
    "educator away",
    "aid not allowed",
    "learner has sat today",
    "morning is full",
}


@pytest.mark.parametrize("kind", BarKind)
def test_a_bar_is_about_who_or_about_order_or_a_rule_that_can_be_passed(kind: BarKind) -> None:
    expected = Weight.WHO if kind in WHO else Weight.RULE if kind in RULES else Weight.ORDER
    assert Bar(kind).weight is expected


def test_no_two_bars_say_the_same() -> None:
    assert len({says for says, _ in SENTENCES.values()}) == len(BarKind)


def test_a_bar_fills_its_values_into_both_sentences() -> None:
    shut = bar(BarKind.PAGES_LEFT, pages="3-5, 8")
    assert shut.says == "Pages 3-5, 8 are not worked yet."
    assert shut.lifts == "Work pages 3-5, 8."


def test_a_bar_without_its_values_does_not_speak_half_a_sentence() -> None:
    with pytest.raises(KeyError):
        _ = bar(BarKind.PAGES_LEFT).says


def test_two_bars_of_one_kind_with_other_values_are_two() -> None:
    assert bar(BarKind.PAGES_LEFT, pages="3") != bar(BarKind.PAGES_LEFT, pages="4")
