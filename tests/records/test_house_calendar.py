"""The calendar painted from inside the house: what each colour does to a day, and what is told of it beforehand."""

from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from markstead.calendar import DayKind
from markstead.calendar.load import read_calendar, write_calendar
from markstead.errors import InputError, StaleError, UnknownError
from markstead.records import house_calendar as hc
from markstead.records import queries
from markstead.records.home import Home
from markstead.records.house_calendar import Colour, Paint, Tried, effect, set_calendar, try_paint
from markstead.records.models import Document
from tests.records.house import House, at

MON = date(2026, 1, 12)
NOW = at("2026-01-12 08:00")
SAT = date(2026, 1, 17)


def home() -> Home:
    return queries.home_of("home")


def painted(colour: Colour, first: date, last: date | None = None, who: str = "", words: str = "") -> Tried:
    return try_paint(home(), Paint(colour, first, last or first, who, words))


def keep(tried: Tried) -> Home:
    return set_calendar("home", tried, stamp=home().stamp, at=NOW)


def asa() -> str:
    return home().person("asa").id


# --- colours --------------------------------------------------------------------------------------------------


def test_a_holiday_closes_the_house(house: House) -> None:
    after = keep(painted(Colour.HOLIDAY, MON, MON + timedelta(days=2), words="the tide fair"))
    assert after.calendar.why_closed(MON) == "a holiday of this home (the tide fair)"
    assert after.calendar.is_school_day(MON + timedelta(days=3))


def test_half_days_are_school_days_alone(house: House) -> None:
    after = keep(painted(Colour.HALF, MON, MON + timedelta(days=6)))
    kinds = [after.calendar.kind(MON + timedelta(days=n)) for n in range(7)]
    assert kinds == [DayKind.HALF] * 5 + [DayKind.NOT_TAUGHT_WEEKDAY] * 2
    with pytest.raises(InputError, match="at least one school day"):
        painted(Colour.HALF, SAT)


def test_an_absence_is_of_one_learner(house: House) -> None:
    after = keep(painted(Colour.ABSENCE, MON, who=asa(), words="a cold"))
    assert after.calendar.kind(MON, asa()) is DayKind.ABSENT
    assert after.calendar.is_school_day(MON, after.person("noa").id)
    assert 'learner = "asa"' in Document.objects.filter(kind="calendar").order_by("-version")[0].text


def test_an_educator_who_is_away_watches_nothing(house: House) -> None:
    after = keep(painted(Colour.AWAY, MON))
    assert after.calendar.educator_is_away(MON, after.person("ruth").id)
    with pytest.raises(InputError, match="an educator of this home"):
        painted(Colour.AWAY, MON, who=home().person("tobi").id)


def test_school_on_a_saturday_is_chosen_alone(house: House) -> None:
    assert keep(painted(Colour.SCHOOL_TOO, SAT)).calendar.is_school_day(SAT)
    with pytest.raises(InputError, match="A day on which there is never school, such as a Saturday"):
        painted(Colour.SCHOOL_TOO, SAT, SAT + timedelta(days=1))


def test_school_in_a_holiday_is_held_on_its_weekdays(house: House) -> None:
    keep(painted(Colour.HOLIDAY, MON, MON + timedelta(days=11)))
    after = keep(painted(Colour.SCHOOL_TOO, MON, MON + timedelta(days=6)))
    school = after.calendar.school_days(MON, MON + timedelta(days=11))
    assert school == [MON + timedelta(days=n) for n in range(5)]


def test_plain_takes_own_marks_away_and_leaves_the_rest_of_each_span(house: House) -> None:
    keep(painted(Colour.HOLIDAY, MON, MON + timedelta(days=4), words="fair"))
    keep(painted(Colour.ABSENCE, MON, MON + timedelta(days=4), who=asa()))
    after = keep(painted(Colour.PLAIN, MON + timedelta(days=2)))
    open_days = [n for n in range(5) if after.calendar.is_school_day(MON + timedelta(days=n), asa())]
    assert open_days == [2]
    assert [(s.first, s.last) for s in after.calendar.holidays_off] == [
        (MON, MON + timedelta(days=1)),
        (MON + timedelta(days=3), MON + timedelta(days=4)),
    ]


def test_painting_the_same_again_changes_nothing(house: House) -> None:
    keep(painted(Colour.ABSENCE, MON, who=asa(), words="a cold"))
    again = painted(Colour.ABSENCE, MON, who=asa(), words="a cold")
    assert not again.changed
    before = home().stamp
    assert keep(again).stamp == before


DAYS = st.integers(0, 60).map(lambda n: MON + timedelta(days=n))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    colour=st.sampled_from(list(Colour)), first=DAYS, length=st.integers(0, 20), words=st.text(max_size=20)
)
def test_whatever_is_painted_reads_back_and_plain_undoes_it(
    house: House, colour: Colour, first: date, length: int, words: str
) -> None:
    """The loader is the judge: what is kept is what reads back; painting plain over it gives the old days again."""
    last = first + timedelta(days=length)
    try:
        tried = painted(colour, first, last, asa() if colour is Colour.ABSENCE else "", words)
    except InputError:
        return
    assert write_calendar(read_calendar(tried.text)) == tried.text
    by_key = read_calendar(tried.text)
    plain = hc._painted(home(), by_key, Paint(Colour.PLAIN, first, last))
    before = hc.calendar_of("home")
    span = (date(2026, 1, 5), date(2026, 3, 27))
    for learner in (None, "asa", "noa"):
        assert plain.school_days(*span, learner) == before.school_days(*span, learner)


@pytest.mark.parametrize(
    ("paint", "says"),
    [
        (Paint(Colour.HOLIDAY, MON, MON - timedelta(days=1)), "a last day that is not before the first"),
        (Paint(Colour.HOLIDAY, MON, MON + timedelta(days=400)), "401 days; allowed is a year at most"),
        (Paint(Colour.HOLIDAY, MON, MON, words="x" * 81), "at most 80 letters"),
        (Paint(Colour.ABSENCE, MON, MON, who="ruth"), "who is no learner"),
    ],
)
def test_what_cannot_be_is_said(house: House, paint: Paint, says: str) -> None:
    with pytest.raises(InputError) as refused:
        try_paint(home(), paint)
    assert says in str(refused.value)


def test_somebody_unknown_is_not_absent(house: House) -> None:
    with pytest.raises(UnknownError):
        painted(Colour.ABSENCE, MON, who="mallory")


# --- terms and week -------------------------------------------------------------------------------------------


def test_terms_are_typed_anew(house: House) -> None:
    rows = [{"name": "spring", "first": "2026-01-05", "last": "2026-03-20"}]
    after = keep(hc.try_file(home(), term=rows))
    assert after.calendar.why_closed(date(2026, 3, 23)) == "outside every term"


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"term": []}, "term: found []; allowed is at least one of them"),
        (
            {"term": [{"name": "x", "first": "2026-02-30", "last": "2026-03-01"}]},
            "term 1, first: found '2026-02-30'; allowed is a day that exists",
        ),
        (
            {
                "term": [
                    {"name": "a", "first": "2026-01-05", "last": "2026-02-13"},
                    {"name": "b", "first": "2026-02-01", "last": "2026-03-01"},
                ]
            },
            "term 2, first: found 2026-02-01; allowed is a day after 2026-02-13",
        ),
        ({"weekdays": []}, "weekdays: found []"),
        ({"half_day_ends": "noon"}, "a time of day, written 12:00"),
        ({"country": "XX"}, "a country by its two letters"),
        ({"region": "NOWHERE"}, "a region of GB"),
    ],
)
def test_the_loader_judges_terms_and_week(house: House, values: dict[str, object], says: str) -> None:
    with pytest.raises(InputError) as refused:
        hc.try_file(home(), **values)
    assert says in str(refused.value)


def test_the_week_is_changed_and_own_days_stay(house: House) -> None:
    keep(painted(Colour.HOLIDAY, MON, words="fair"))
    after = keep(
        hc.try_file(home(), weekdays=["Monday", "Saturday"], half_weekdays=["Saturday"], region=None)
    )
    assert after.calendar.kind(SAT) is DayKind.HALF
    assert not after.calendar.is_school_day(MON)
    assert after.calendar.region is None


# --- what it changes ------------------------------------------------------------------------------------------


def test_school_days_before_and_after_are_counted(house: House) -> None:
    tried = painted(Colour.HOLIDAY, date(2026, 1, 7), date(2026, 1, 13))
    found = effect(home(), tried.calendar, MON)
    (count,) = found.counts
    assert (count.who, count.before - count.after, count.ahead_before - count.ahead_after) == (
        "The house",
        5,
        2,
    )
    assert count.before == len(house.home.calendar.school_days(date(2026, 1, 5), date(2026, 3, 27)))
    assert found.days == (
        "Wed 7 Jan to Fri 9 Jan: holiday instead of school day",
        "Mon 12 Jan to Tue 13 Jan: holiday instead of school day",
    )
    assert (found.goals, found.many, found.planned) == ((), 0, False)


def test_an_absence_is_counted_for_its_learner(house: House) -> None:
    found = effect(home(), painted(Colour.ABSENCE, MON, who=asa()).calendar, MON)
    house_count, own = found.counts
    assert house_count.before == house_count.after
    assert (own.who, own.before - own.after) == ("Asa", 1)
    assert found.days == ("Mon 12 Jan: Asa absent",)


def test_a_change_that_was_looked_at_before_another_is_not_saved(house: House) -> None:
    old, tried = home().stamp, painted(Colour.HOLIDAY, MON)
    keep(painted(Colour.HOLIDAY, SAT + timedelta(days=2)))
    with pytest.raises(StaleError):
        set_calendar("home", tried, stamp=old, at=NOW)
    assert home().calendar.is_school_day(MON)


def test_the_old_versions_stay(house: House) -> None:
    keep(painted(Colour.HOLIDAY, MON))
    kept = Document.objects.filter(kind="calendar").order_by("version").values_list("version", "text")
    assert [version for version, _ in kept] == [1, 2]
    assert "holiday" not in kept[0][1]


def test_the_year_that_is_shown_begins_with_its_school_year(house: House) -> None:
    calendar = home().calendar
    assert hc.school_year(calendar, MON) == (date(2026, 1, 1), date(2026, 12, 31))
    assert hc.school_year(calendar, date(2027, 2, 1)) == (date(2027, 1, 1), date(2027, 12, 31))
    assert hc.school_year(calendar, date(2025, 2, 1)) == (date(2025, 1, 1), date(2025, 12, 31))
