"""What is told of possible years, beside counting the paths one by one."""

import itertools
import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from markstead.errors import InputError
from markstead.forecast.outlook import (
    QUANTILES,
    Chance,
    Target,
    chance_of,
    compare,
    done_by,
    outlook,
)
from markstead.forecast.year import LearnerYear, PossibleYears, YearSettings, draw_years
from tests.forecast.year_worlds import course, every_day, pace, weekdays

MATHS = course("maths", [30, 36, 28])
LATIN = course("latin", [40, 20], chance=0.95)
DAYS = weekdays(90)


def drawn(paths: int = 1000, illness: float = 0.05, seed: int = 5, chance: float = 0.85) -> PossibleYears:
    books = tuple(replace(book, chance=chance) for book in MATHS.workbooks)
    year = LearnerYear("asa", DAYS, (replace(MATHS, workbooks=books), LATIN), illness)
    return draw_years(year, np.random.default_rng(seed), paths)


YEARS = drawn()
BY = DAYS[59]


def test_the_chance_of_a_target_is_the_share_of_the_years_that_meet_it() -> None:
    told = outlook(YEARS, [Target("maths", BY)]).targets[0]

    assert told.chance.share == sum(day <= 60 for day in YEARS.finished[2]) / 1000


def test_a_target_may_be_a_workbook_within_a_course() -> None:
    told = outlook(YEARS, [Target("maths", BY, "maths-1")]).targets[0]

    assert told.chance.share == sum(day <= 60 for day in YEARS.finished[1]) / 1000


def test_a_target_on_a_day_without_school_counts_the_school_days_before_it() -> None:
    friday = next(day for day in DAYS[40:] if day.weekday() == 4)

    on_friday, on_sunday = outlook(
        YEARS, [Target("maths", friday), Target("maths", friday + timedelta(days=2))]
    ).targets

    assert on_friday.chance == on_sunday.chance


def test_a_target_before_the_first_school_day_is_met_in_no_year() -> None:
    assert outlook(YEARS, [Target("maths", DAYS[0] - timedelta(days=1))]).targets[0].chance.share == 0


def test_all_targets_are_asked_of_one_and_the_same_year() -> None:
    """Illness strikes both courses, but what is counted is the paths that meet both."""
    told = outlook(YEARS, [Target("maths", BY), Target("latin", DAYS[29])])

    assert told.all_targets is not None
    met = [m <= 60 and latin <= 30 for m, latin in zip(YEARS.finished[2], YEARS.finished[4], strict=True)]
    assert told.all_targets.share == sum(met) / 1000


def test_without_targets_there_is_no_chance_of_all_of_them() -> None:
    assert outlook(YEARS).all_targets is None


@pytest.mark.parametrize("paths", [1, 7, 1000])
def test_dates_of_finish_are_the_least_days_with_so_many_years(paths: int) -> None:
    years = drawn(paths)
    for row, told in enumerate(outlook(years).workbooks):
        for date_told, share in zip(told.dates, QUANTILES, strict=True):
            day = np.quantile(years.finished[row], share, method="inverted_cdf")
            assert date_told == (DAYS[day - 1] if day < years.later else None)


def test_a_course_is_finished_with_its_last_workbook() -> None:
    told = outlook(YEARS)

    assert [(c.course, c.workbook) for c in told.courses] == [("maths", "maths-2"), ("latin", "latin-1")]
    assert told.courses[0] == told.workbooks[2]


def test_what_may_end_after_the_calendar_has_no_late_date() -> None:
    year = replace(YEARS.year, days=DAYS[:60])
    years = draw_years(year, np.random.default_rng(5))

    last = outlook(years).courses[0]

    assert last.early is not None
    assert last.late is None
    assert last.within.share == np.mean(years.finished[2] < years.later)


def test_workbooks_done_by_a_day_are_counted_path_by_path() -> None:
    row = done_by(YEARS, [BY])[0]

    counts = sorted(sum(days <= 60) for days in YEARS.finished.T)
    assert row.mean == pytest.approx(np.mean(counts))
    assert row.se == pytest.approx(np.std(counts) / math.sqrt(1000))
    assert row.done == tuple(counts[round(share * 1000) - 1] for share in QUANTILES)


def test_workbooks_done_may_be_asked_of_one_course() -> None:
    assert done_by(YEARS, [BY], "latin")[0].mean == pytest.approx((YEARS.finished[3:] <= 60).sum() / 1000)


def test_the_fan_never_falls() -> None:
    rows = done_by(YEARS, DAYS)

    assert all(
        a <= b for one, other in itertools.pairwise(rows) for a, b in zip(one.done, other.done, strict=True)
    )


class TestStandardErrors:
    """What the dice alone may do."""

    def test_shares_of_many_answers_are_spread_by_the_standard_error(self) -> None:
        """400 answers of 200 paths: the relative standard error of a standard deviation is .035, allowed are four."""
        target = [Target("maths", BY)]
        told = [outlook(drawn(200, seed=seed), target).targets[0].chance for seed in range(400)]

        said = math.sqrt(float(np.mean([chance.se**2 for chance in told])))
        assert np.std([chance.share for chance in told]) == pytest.approx(said, rel=0.14)

    @pytest.mark.parametrize("share", [0.0, 1.0])
    def test_it_is_not_nothing_where_all_years_agree(self, share: float) -> None:
        """Agresti and Coull 1998 (from memory): two more of either kind, here 2 of 1,004."""
        p = 2 / 1004

        assert chance_of(share, 1000).se == pytest.approx(math.sqrt(p * (1 - p) / 1004))


class TestComparing:
    """The same luck before and after."""

    TARGET = (Target("maths", BY),)

    def test_a_change_that_changes_nothing_makes_no_difference(self) -> None:
        change = compare(YEARS, drawn(), self.TARGET)

        assert change.difference == 0
        assert change.sentence.startswith("It makes hardly any difference")

    def test_the_difference_is_counted_path_by_path(self) -> None:
        better = drawn(chance=0.99)
        change = compare(YEARS, better, self.TARGET)

        gained = (better.finished[2] <= 60).astype(int) - (YEARS.finished[2] <= 60)
        assert change.difference == pytest.approx(gained.mean())
        assert change.se == pytest.approx(gained.std() / math.sqrt(1000), rel=0.02)

    def test_with_the_same_luck_the_difference_is_known_better(self) -> None:
        """Half the illness: 200 differences of 300 paths with common and with separate luck. The ratio of two variances from
        200 each has the relative standard error .14; the bar of one half is far from what is found (below .2).
        """
        seeds = range(200)
        shared = [compare(drawn(300, 0.06, s), drawn(300, 0.03, s), self.TARGET).difference for s in seeds]
        apart = [
            float(
                np.mean(drawn(300, 0.03, s + 1000).finished[2] <= 60)
                - np.mean(drawn(300, 0.06, s).finished[2] <= 60)
            )
            for s in seeds
        ]

        assert np.var(shared) < 0.5 * np.var(apart)

    def test_years_with_other_luck_are_refused(self) -> None:
        with pytest.raises(ValueError, match="same luck"):
            compare(YEARS, drawn(seed=6), self.TARGET)
        with pytest.raises(ValueError, match="no target"):
            compare(YEARS, YEARS, ())


class TestWords:
    """What a parent reads."""

    @pytest.mark.parametrize(
        ("share", "said"),
        [
            (0.0, "hardly any of 10"),
            (0.04, "hardly any of 10"),
            (0.06, "about 1 of 10"),
            (0.72, "about 7 of 10"),
            (0.94, "about 9 of 10"),
            (0.96, "nearly all of 10"),
            (1.0, "nearly all of 10"),
        ],
    )
    def test_a_chance_is_never_certain(self, share: float, said: str) -> None:
        assert Chance(share, 0.01, 1000).of_ten == said

    def test_a_target_is_told_with_its_dates_and_what_it_rests_on(self) -> None:
        year = LearnerYear(
            "asa",
            every_day(40),
            (course("maths", [8], chance=1, practice=1, how=pace(1.0, 0.0, 1e12, 0.0)),),
            illness=0,
        )
        years = draw_years(year, np.random.default_rng(1), 10, YearSettings(drift=0, workbook_spread=0))

        told = outlook(years, [Target("maths", date(2026, 9, 5))]).targets[0]

        assert told.sentence == (
            "In nearly all of 10 possible years maths is done by 5 September 2026; half of them are there by "
            "4 September 2026, 9 of 10 by 4 September 2026. It rests on 40 school days of this course."
        )

    def test_a_calendar_that_is_too_short_is_named(self) -> None:
        year = LearnerYear("asa", every_day(5), (course("maths", [80]),))

        told = outlook(draw_years(year, np.random.default_rng(1)), [Target("maths", BY)]).targets[0]

        assert "half of them need longer than the calendar that is entered" in told.sentence

    def test_a_course_without_days_is_called_a_guess(self) -> None:
        year = LearnerYear("asa", DAYS, (course("maths", [30], how=replace(pace(), days=0)),))

        told = outlook(draw_years(year, np.random.default_rng(1)), [Target("maths", BY)]).targets[0]

        assert told.sentence.endswith("it is a guess from the usual pace.")

    def test_a_gain_is_told_in_years_of_ten(self) -> None:
        years = drawn(4000), drawn(4000, chance=0.99)

        told = compare(*years, (Target("maths", BY),)).sentence

        assert told.startswith("The target is met in about ")
        assert "possible years more" in told


@pytest.mark.parametrize("target", [Target("greek", BY), Target("maths", BY, "maths-9")])
def test_a_target_that_the_learner_does_not_have_is_named(target: Target) -> None:
    with pytest.raises(InputError, match=r"greek|maths-9"):
        outlook(YEARS, [target])
