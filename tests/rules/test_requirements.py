"""Requirement profiles: what ships, its published figures, and what becomes of a file that cannot be."""

from fractions import Fraction

import pytest

from markstead.errors import InputError, UnknownError
from markstead.rules.requirements import HoursRule, Requirements
from markstead.rules.requirements_load import read_requirements, shipped, shipped_text
from markstead.rules.spans import Periods

GOOD = """
[profile]
id = "ours"
title = "Ours"
source = "A letter"
[days]
a_year = 171
[[hours]]
from_year = 3
until_year = 5
a_year = 640
"""


class TestTheExampleOfNewYork:
    """New York State, Codes, Rules and Regulations, title 8, section 100.10, Home instruction; figures of (f) and (g)."""

    PROFILE = next(p for p in shipped() if p.id == "new-york-100-10")

    def test_f_1_asks_180_days(self) -> None:
        assert self.PROFILE.days == 180

    @pytest.mark.parametrize(
        ("grade", "hours"), [(1, 900), (6, 900), (7, 990), (12, 990), (0, None), (13, None)]
    )
    def test_f_2_asks_900_hours_up_to_grade_6_and_990_from_grade_7(
        self, grade: int, hours: int | None
    ) -> None:
        assert self.PROFILE.hours_for(grade) == hours

    def test_g_asks_quarterly_reports(self) -> None:
        assert self.PROFILE.periods is Periods.QUARTERS

    @pytest.mark.parametrize(("done", "due"), [(79, True), (80, False), (81, False)])
    def test_g_4_asks_an_explanation_below_80_percent_of_what_was_planned(self, done: int, due: bool) -> None:
        assert self.PROFILE.explanation_due(done, Fraction(100)) is due

    def test_b_1_begins_the_year_on_july_1st(self) -> None:
        assert self.PROFILE.year_begins == (7, 1)

    def test_it_names_its_source_and_tells_to_check(self) -> None:
        assert "section 100.10" in self.PROFILE.source
        assert "ask your school district" in self.PROFILE.note


def test_exactly_the_share_needs_no_explanation() -> None:
    """7 of 8.75 pages are 80 %: what is planned need not be a whole number of pages."""
    rules = Requirements("x", "X", "X", explain_below_percent=80)

    assert not rules.explanation_due(7, Fraction(35, 4))
    assert rules.explanation_due(7, Fraction(3501, 400))


def test_three_profiles_are_invented_and_say_so() -> None:
    invented = [p for p in shipped() if p.invented]

    assert len(invented) == 3
    assert all("invented" in p.title and "invented" in p.source for p in invented)


def test_a_profile_of_ones_own_is_read() -> None:
    found = read_requirements(GOOD)

    assert (found.days, found.half_day_counts, found.periods) == (171, Fraction(1, 2), Periods.TERMS)
    assert found.hours == (HoursRule(3, 5, 640),)


@pytest.mark.parametrize(
    ("was", "will", "says"),
    [
        (
            "a_year = 171",
            "a_year = 400",
            "profile.toml, days, a_year: found 400; allowed is a whole number from 1 to 366.",
        ),
        ("a_year = 640", "a_year = 9000", "found 9000; allowed is a whole number from 1 to 8784."),
        ("until_year = 5", "until_year = 2", "found 2; allowed is a school year from 3 on, the first."),
        ("a_year = 640", 'a_year = "many"', "found 'many'; allowed is a whole number"),
        ('id = "ours"', 'id = "Our own"', "small letters, digits and hyphens"),
        ("[days]", "[dayz]", "no such key; the keys here are profile, days, hours, reports"),
        ("[days]", "half = 3\n[days]", "no such key"),
        ("[days]", '[reports]\nperiods = "weeks"\n[days]', "one of year, halves, thirds, quarters, terms"),
        ("[days]", "[reports]\nexplain_below_percent = 0\n[days]", "a whole number from 1 to 100"),
        ("a_year = 171", "a_year = 171\nhalf_day_counts = 1.5", "a number from 0 to 1, such as 0.5"),
        (
            'source = "A letter"',
            'source = "A letter"\nyear_begins = "02-30"',
            "a day of every year, written month-day: 07-01",
        ),
        ("[days]", "[days", "allowed is TOML"),
    ],
)
def test_a_profile_with_impossible_figures_says_what_and_where(was: str, will: str, says: str) -> None:
    with pytest.raises(InputError) as refused:
        read_requirements(GOOD.replace(was, will))

    assert says in str(refused.value)


def test_a_school_year_stands_in_one_table_only() -> None:
    twice = GOOD + "[[hours]]\nfrom_year = 5\nuntil_year = 8\na_year = 700\n"

    with pytest.raises(
        InputError, match="found 5, in years 3 to 5 already; allowed is a school year after 5"
    ):
        read_requirements(twice)


def test_every_problem_is_told_at_once() -> None:
    with pytest.raises(InputError) as refused:
        read_requirements(GOOD.replace("171", "0").replace("640", "0"))

    assert len(refused.value.problems) == 2


def test_an_unknown_profile_names_those_there_are() -> None:
    with pytest.raises(UnknownError, match=r"found 'atlantis'; allowed is one of .*new-york-100-10"):
        shipped_text("atlantis")
