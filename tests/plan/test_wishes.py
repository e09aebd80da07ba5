"""What a home asks of its plan: read from a file, judged as a whole, written back."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from markstead.errors import InputError
from markstead.plan.load import Known, read_wishes, write_wishes
from markstead.plan.wishes import (
    CourseWish,
    LearnerWish,
    SupplierWish,
    TargetWish,
    Wishes,
    usual_minutes,
)

KNOWN = Known(
    {"asa": frozenset({"sums-5", "words-5"}), "noa": frozenset({"sums-5"})},
    {"sums-5": frozenset({"sums-5-01", "sums-5-02"}), "words-5": frozenset({"words-5-01"})},
)
NAMES = st.text(min_size=1, max_size=12).filter(lambda s: s.strip() == s and "\ufeff" not in s)
CENTS = st.integers(0, 100_000)


@st.composite
def wishes(draw: st.DrawFn) -> Wishes:
    learners = draw(st.lists(NAMES, unique=True, max_size=3))
    minutes = st.tuples(st.integers(0, 900), st.integers(0, 900)).map(sorted)
    pages = st.lists(st.integers(1, 99), min_size=3, max_size=3).map(sorted)
    courses = []
    for learner in learners:
        least, comfortable, most = draw(pages)
        courses.append(
            CourseWish(
                learner,
                draw(NAMES),
                draw(st.integers(1, 3)),
                draw(st.sampled_from([None, least])),
                draw(st.sampled_from([None, comfortable])),
                draw(st.sampled_from([None, most])),
                draw(st.none() | st.frozensets(st.integers(0, 6), min_size=1)),
                draw(st.none() | st.floats(0.5, 120)),
            )
        )
    return Wishes(
        learners=tuple(LearnerWish(who, *draw(minutes)) for who in learners),
        courses=tuple(courses),
        targets=tuple(
            TargetWish(c.learner, c.course, draw(NAMES), draw(st.dates(date(2000, 1, 1), date(2100, 1, 1))))
            for c in courses
        ),
        suppliers=tuple(
            SupplierWish(
                name, draw(st.floats(0.5, 200)), draw(CENTS), draw(st.none() | st.integers(1, 9)), draw(CENTS)
            )
            for name in draw(st.lists(NAMES, unique=True, max_size=3))
        ),
        announced_days=draw(st.integers(0, 20)),
        next_same_day=draw(st.booleans()),
        illness=draw(st.floats(0, 0.5)),
        service=draw(st.floats(0.5, 0.999)),
    )


@given(wishes())
def test_wishes_that_were_written_read_back_equal(kept: Wishes) -> None:
    assert read_wishes(write_wishes(kept)) == kept


def test_an_empty_file_asks_for_nothing_of_its_own() -> None:
    assert read_wishes("") == Wishes()


@pytest.mark.parametrize(
    ("text", "where", "says"),
    [
        ("illness = 2.0", "illness", "a number from 0 to 0.5"),
        ("announced_days = 3.5", "announced_days", "a whole number from 0 to 20"),
        ("snow_days = 4", "snow_days", "no such key"),
        ('[[learner]]\nlearner = "asa"\nsoft = 200\nhard = 100', "learner 1, hard", "at least soft, 200"),
        ('[[learner]]\nlearner = "zoe"\nsoft = 1\nhard = 2', "learner 1, learner", "one of asa, noa"),
        ('[[course]]\nlearner = "noa"\ncourse = "words-5"', "course 1, course", "noa takes: sums-5"),
        (
            '[[course]]\nlearner = "noa"\ncourse = "sums-5"\ncomfortable = 9\nmost = 4',
            "course 1, pages a day",
            "rising",
        ),
        (
            '[[target]]\nlearner = "noa"\ncourse = "sums-5"\nworkbook = "sums-5-09"\nby = 2026-03-27',
            "target 1, workbook",
            "sums-5-01 to sums-5-02",
        ),
        (
            '[[target]]\nlearner = "noa"\ncourse = "sums-5"\nworkbook = "sums-5-01"\nby = "soon"',
            "target 1, by",
            "a day that exists",
        ),
        ('[[supplier]]\nname = "Quayside Books"\npostage = 3.999', "postage", "at most two places"),
        ('[[supplier]]\nname = "A"\n[[supplier]]\nname = "A"', "supplier 2", "each of them once"),
        ("[points]\nmissed_bus = 4", "points", "one of above_comfortable"),
        ("[points]\nover = 9", "far_over", "at least over, 9"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(text: str, where: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        read_wishes(text, KNOWN)
    assert any(where in p.where and says in p.allowed for p in caught.value.problems), caught.value


def test_everything_that_is_wrong_is_named_at_once() -> None:
    text = '[[learner]]\nlearner = "zoe"\nsoft = 3\nhard = 2\n[[course]]\nlearner = "noa"\ncourse = "tides"'
    with pytest.raises(InputError) as caught:
        read_wishes(text, KNOWN)
    assert len(caught.value.problems) == 3


def test_minutes_a_day_grow_with_the_school_year_and_stay_within_their_ends() -> None:
    found = [usual_minutes(year) for year in range(14)]
    assert found == sorted(found)
    assert (found[0], found[1], found[9], found[13]) == ((135, 165), (135, 165), (240, 285), (240, 285))


def test_a_target_set_anew_takes_the_place_of_the_one_before() -> None:
    first, later = (TargetWish("noa", "sums-5", "sums-5-01", date(2026, m, 1)) for m in (3, 4))
    kept = Wishes().with_target(first).with_target(later)
    assert kept.targets == (later,)
    assert kept.without_target(first).targets == ()
