"""Credits, results and mean: the example of docs/reference/transcript-rules.md, reckoned by hand."""

from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import pytest

from markstead.rules.load import read_programme
from markstead.rules.programme import Grade, Programme, ResultOf, TranscriptRules, WeighBy
from markstead.rules.transcript import CourseResult, SatOnce, course_result, credits_of, totals
from tests.tools.homes import RULES, WORKBOOKS

SMALL = read_programme(RULES, WORKBOOKS)
A, B = SMALL.courses["sums-5"], SMALL.courses["words-5"]
RULE = TranscriptRules(3, Fraction(1, 4), grades=(Grade(90, "high"), Grade(80, "fair")))
SAT = {
    "sums-5-01": [SatOnce(date(2026, 1, 12), 17, 20, 16)],
    "sums-5-02": [SatOnce(date(2026, 2, 3), 19, 20, 16)],
    "words-5-01": [SatOnce(date(2026, 1, 20), 20, 30, 24), SatOnce(date(2026, 2, 24), 27, 30, 24)],
}


def programme(rules: TranscriptRules) -> Programme:
    return replace(SMALL, transcript=rules)


def results(rules: TranscriptRules, sat: Any = SAT) -> list[CourseResult]:
    return [course_result(course, sat, rules) for course in (A, B)]


@pytest.mark.parametrize(
    ("rule", "percent", "mean"),
    [
        (ResultOf.PASSED, Fraction(90), Fraction(90)),
        (ResultOf.FIRST, Fraction(200, 3), Fraction(740, 9)),  # (0.5 x 90 + 0.25 x 66.667) / 0.75
        (ResultOf.ALL, Fraction(235, 3), Fraction(775, 9)),  # 47 of 60; (45 + 0.25 x 78.333) / 0.75
    ],
)
def test_the_result_follows_the_rule(rule: ResultOf, percent: Fraction, mean: Fraction) -> None:
    found = results(replace(RULE, result_of=rule))

    assert [c.percent for c in found] == [90, percent]
    assert totals(found, programme(replace(RULE, result_of=rule))).mean == mean


def test_credits_are_rounded_down_to_whole_parts() -> None:
    assert [c.credits for c in results(RULE)] == [Fraction(1, 2), Fraction(1, 4)]
    assert totals(results(RULE), programme(RULE)).credits == Fraction(3, 4)
    assert [credits_of(n, RULE) for n in (0, 3, 4, 7)] == [0, 1, Fraction(5, 4), Fraction(9, 4)]


@pytest.mark.parametrize(
    ("weigh", "mean"),
    [
        (WeighBy.CREDITS, Fraction(775, 9)),
        (WeighBy.WORKBOOKS, Fraction(775, 9)),  # (2 x 90 + 78.333) / 3
        (WeighBy.COURSES, Fraction(505, 6)),  # (90 + 78.333) / 2
    ],
)
def test_the_mean_weighs_by_the_rule(weigh: WeighBy, mean: Fraction) -> None:
    rule = replace(RULE, result_of=ResultOf.ALL, weigh_by=weigh)

    assert totals(results(rule), programme(rule)).mean == mean


def test_before_the_first_part_of_a_credit_the_mean_counts_workbooks() -> None:
    rule = replace(RULE, workbooks_a_credit=99, smallest_credit=Fraction(1))

    found = totals(results(rule), programme(rule))

    assert (found.credits, found.mean) == (0, 90)


def test_a_failed_test_is_on_no_transcript_until_it_is_passed() -> None:
    (found, _) = results(RULE, {"sums-5-01": [SatOnce(date(2026, 1, 12), 15, 20, 16)]})

    assert (found.books, found.percent, found.credits) == ((), None, 0)


def test_of_two_passed_sittings_the_later_one_counts() -> None:
    twice = [SatOnce(date(2026, 1, 12), 16, 20, 16), SatOnce(date(2026, 2, 3), 19, 20, 16)]

    (found, _) = results(RULE, {"sums-5-01": twice})

    assert [(b.right, b.passed_on, b.sittings) for b in found.books] == [(19, date(2026, 2, 3), 2)]


def test_a_grade_goes_by_the_exact_percentage() -> None:
    assert RULE.grade(Fraction(90)) == "high"
    assert RULE.grade(Fraction(8999, 100)) == "fair"
    assert RULE.grade(Fraction(79)) == ""


def test_without_the_table_there_are_no_credits() -> None:
    bare = TranscriptRules()
    found = totals(results(bare), programme(bare))

    assert (found.credits, found.mean) == (None, 90)


def test_the_file_gives_the_rules() -> None:
    text = RULES + (
        '\n[transcript]\nworkbooks_a_credit = 3\nsmallest_credit = 0.5\nresult_of = "all sittings"\n'
        'weigh_by = "courses"\n[[grade]]\nfrom_percent = 80\nname = "fair"\n[[grade]]\nfrom_percent = 90\nname = "high"\n'
    )

    found = read_programme(text, WORKBOOKS).transcript

    assert found == TranscriptRules(
        3, Fraction(1, 2), ResultOf.ALL, WeighBy.COURSES, (Grade(90, "high"), Grade(80, "fair"))
    )


def test_a_course_with_every_workbook_passed_is_whole() -> None:
    assert [c.whole for c in results(RULE)] == [True, True]
    assert not results(RULE, {"sums-5-01": SAT["sums-5-01"]})[0].whole
