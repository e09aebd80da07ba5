"""The rules of the programme, changed from inside the house: judged by the loader, kept as versions, told beforehand."""

from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from markstead.calendar.load import parse_toml
from markstead.errors import InputError, StaleError
from markstead.records import house_rules, queries
from markstead.records import setup as setting_up
from markstead.records.house_rules import effects, rules_of, set_rules, try_rules, versions, write_rules
from markstead.records.models import Document
from markstead.rules.load import read_programme
from markstead.rules.samples import sample_texts
from tests.records.house import House, at

MORNING = at("2026-01-13 09:00")
MARK = ("marks", "unit_test_percent")


def programme(house: House) -> str:
    kept = Document.objects.filter(household=house.id, kind="programme").order_by("-version")
    return str(kept[0].text)


def test_rules_written_read_back_equal() -> None:
    rules, workbooks = sample_texts()
    kept = parse_toml(rules, "programme.toml")
    assert parse_toml(write_rules(kept), "programme.toml") == kept
    assert read_programme(write_rules(kept), workbooks) == read_programme(rules, workbooks)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    title=st.text(min_size=1, max_size=30).filter(lambda t: t.strip() and t.isprintable()),
    aids=st.lists(st.text(min_size=1, max_size=12).filter(lambda t: t.strip()), max_size=4),
    share=st.integers(1, 100),
)
def test_any_words_and_numbers_read_back(title: str, aids: list[str], share: int) -> None:
    kept = parse_toml(sample_texts()[0], "programme.toml")
    kept["programme"]["title"], kept["aids"][0]["allowed"] = title, aids
    kept["marking"]["quiz_when_wrong_percent"] = share
    assert parse_toml(write_rules(kept), "programme.toml") == kept


def test_a_changed_rule_is_a_new_version_and_holds(house: House) -> None:
    home = set_rules("home", {MARK: 90}, stamp=house.home.stamp, at=MORNING)
    assert home.programme.marks.unit_test_percent == 90
    assert home.programme.marks.practice_test_percent == 80
    assert [v.number for v in versions("home", "programme")] == [2, 1]
    assert versions("home", "programme")[0].taken == MORNING
    assert home.programme.workbooks == house.home.programme.workbooks


def test_a_rule_set_to_what_it_is_writes_nothing_and_keeps_the_file_as_it_is(house: House) -> None:
    before = programme(house)
    home = set_rules("home", {MARK: 80}, stamp=house.home.stamp, at=MORNING)
    assert home.stamp == house.home.stamp
    assert programme(house) == before
    assert "# exactly 80 % passes" in before


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        (
            MARK,
            101,
            "programme.toml, marks, unit_test_percent: found 101; allowed is a whole number from 1 to 100",
        ),
        (MARK, "eighty", "found 'eighty'; allowed is a whole number from 1 to 100"),
        (("unit_test", "morning_until"), "07:00", "a time after 08:00, when the morning begins"),
        (("unit_test", "morning_from"), "8 o'clock", "a time of day, written 12:00"),
        (("dispatch", "day"), 29, "a whole number from 1 to 28"),
        (("rework", "after_failed_unit_test"), "nothing", "'new copy' or 'same copy'"),
        (("programme", "id"), "other", "one that can be changed here"),
    ],
)
def test_the_loader_judges_what_is_typed(
    house: House, key: tuple[str, str], value: object, says: str
) -> None:
    with pytest.raises(InputError) as refused:
        set_rules("home", {key: value}, stamp=house.home.stamp, at=MORNING)
    assert says in str(refused.value)
    assert len(versions("home", "programme")) == 1


def test_every_problem_is_told_at_once(house: House) -> None:
    values = {MARK: 0, ("dispatch", "day"): 0, ("unit_test", "most_a_learner_a_day"): 0}
    with pytest.raises(InputError) as refused:
        try_rules("home", values, aids=[("x", ["pencil"])])
    assert len(refused.value.problems) == 4


def test_aids_are_changed_as_a_whole(house: House) -> None:
    tried = try_rules("home", {}, aids=[(0, ["pencil"]), (9, ["pencil", "calculator"])])
    assert tried.programme.aids_for(5) == ("pencil",)
    assert tried.programme.aids_for(9) == ("pencil", "calculator")
    with pytest.raises(InputError, match="aids 2, from_year"):
        try_rules("home", {}, aids=[(0, ["pencil"]), (0, ["ruler"])])


def test_a_change_that_was_looked_at_before_another_is_not_saved(house: House) -> None:
    old = house.home.stamp
    setting_up.set_costs("home", hold_day_costs=2)
    with pytest.raises(StaleError, match="Nothing was saved"):
        set_rules("home", {MARK: 90}, stamp=old, at=MORNING)
    assert rules_of("home")["marks"]["unit_test_percent"] == 80


# --- what it changes ------------------------------------------------------------------------------------------


def said(house: House, values: dict[tuple[str, str], object], hours: float = 0) -> str:
    home = queries.home_of("home")
    tried = try_rules("home", values)
    return " ".join(effects(home, tried.programme, MORNING + timedelta(hours=hours)))


def test_it_says_who_may_no_longer_sit_this_morning(house: House) -> None:
    house.bring("ready")
    assert "may no longer sit" not in said(house, {("unit_test", "morning_until"): "12:30"})
    told = said(house, {("unit_test", "school_days_after_practice"): 2})
    assert "Asa (" in told
    assert "may no longer sit this morning." in told


def test_it_says_who_may_sit_that_might_not(house: House) -> None:
    house.bring("practice passed")
    told = said(house, {("unit_test", "readiness_decision"): False})
    assert "may sit this morning." in told


def test_it_gives_an_example_of_a_pass_mark_and_says_that_marked_tests_stay(house: House) -> None:
    told = said(house, {MARK: 90})
    book = next(iter(house.home.programme.workbooks.values()))
    assert f"needs {-(-book.unit_questions * 90 // 100)} of {book.unit_questions} right answers" in told
    assert "keep the mark that was needed on their day" in told


def test_a_test_marked_before_keeps_its_mark(house: House) -> None:
    copy = house.bring("passed")
    home = set_rules("home", {MARK: 100}, stamp=queries.home_of("home").stamp, at=MORNING)
    assert home.programme.marks.unit_test_percent == 100
    (kept,) = queries.copies("home", status="finished")  # type: ignore[arg-type]
    assert (kept.id, kept.standing.passed) == (copy, True)


def test_nothing_is_written_by_looking(house: House) -> None:
    before = programme(house), house.home.stamp
    said(house, {MARK: 90})
    assert (programme(house), queries.home_of("home").stamp) == before
    assert house_rules.RULES.count(MARK) == 1
