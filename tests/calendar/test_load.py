"""A home's calendar file: what it says, what it may not say, and that it comes back as it was written."""

from dataclasses import replace
from datetime import date, time

import pytest
from hypothesis import example, given, settings

from markstead.calendar import Absence, Away, NamedSpan, SchoolCalendar, Term
from markstead.calendar.load import read_calendar, write_calendar
from markstead.errors import InputError
from tests.calendar.homes import calendars

TOP = """\
zone = "Europe/London"
country = "GB"
region = "ENG"
weekdays = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday"]
"""
TERM = """
[[term]]
name = "Autumn"
first = 2026-09-01
last = 2026-12-18
"""
TERM_DAYS = (date(2026, 9, 1), date(2026, 12, 18))
WHOLE = (
    TOP
    + """\
half_weekdays = ["Friday"]
public_holidays = false
half_day_ends = "12:30"
taught_anyway = [2026-09-05, "2026-09-12"]
half_days = ["2026-12-17"]
"""
    + TERM
    + """
[[holiday]]
name = "apple week"
first = "2026-10-05"
last = "2026-10-09"

[[absence]]
learner = "asa"
first = 2026-09-07
last = 2026-09-08
why = "ill"

[[educator_away]]
first = 2026-11-02
last = 2026-11-02
educator = "una"
"""
)


def said(text: str) -> list[str]:
    with pytest.raises(InputError) as refused:
        read_calendar(text)
    return str(refused.value).splitlines()


def test_a_whole_file_says_what_it_says() -> None:
    assert read_calendar(WHOLE) == SchoolCalendar(
        zone="Europe/London",
        country="GB",
        region="ENG",
        terms=(Term("Autumn", date(2026, 9, 1), date(2026, 12, 18)),),
        weekdays=frozenset({0, 1, 2, 3, 4}),
        holidays_off=(NamedSpan("apple week", date(2026, 10, 5), date(2026, 10, 9)),),
        taught_anyway=frozenset({date(2026, 9, 5), date(2026, 9, 12)}),
        half_days=frozenset({date(2026, 12, 17)}),
        half_weekdays=frozenset({4}),
        public_holidays_off=False,
        absences=(Absence("asa", date(2026, 9, 7), date(2026, 9, 8), "ill"),),
        educator_away=(Away(date(2026, 11, 2), date(2026, 11, 2), "una"),),
        half_day_ends=time(12, 30),
    )


def test_a_short_file_has_public_holidays_off_and_half_days_till_noon() -> None:
    home = read_calendar(TOP + TERM)
    assert (home.public_holidays_off, home.half_day_ends, home.absences) == (True, time(12), ())


def test_a_file_from_an_editor_that_writes_a_byte_order_mark_is_read() -> None:
    assert read_calendar("\ufeff" + TOP + TERM) == read_calendar(TOP + TERM)


# what is planted: the text in place of what, and the sentence that answers it
FAULTS = {
    "an unknown zone": (
        '"Europe/London"',
        '"Europe/Atlantis"',
        "calendar.toml, zone: found 'Europe/Atlantis'; allowed is an IANA time zone, such as Europe/London.",
    ),
    "the zone of the computer": (
        '"Europe/London"',
        '"localtime"',
        "calendar.toml, zone: found 'localtime'; ",
    ),
    "an unknown country": (
        '"GB"',
        '"XX"',
        "calendar.toml, country: found 'XX'; allowed is a country by its two ",
    ),
    "a country by three letters": ('"GB"', '"GBR"', "calendar.toml, country: found 'GBR'; "),
    "an unknown region": (
        '"ENG"',
        '"Mercia"',
        "calendar.toml, region: found 'Mercia'; allowed is a region of GB: ENG, NIR, SCT, WLS.",
    ),
    "a misspelt weekday": (
        '"Tuesday"',
        '"Tusday"',
        (
            "calendar.toml, weekdays 2: found 'Tusday'; allowed is a day of the week: Monday, Tuesday, Wednesday, "
            "Thursday, Friday, Saturday, Sunday."
        ),
    ),
    "no weekday": (
        '["Monday", "Tuesday", "Wednesday", "Thursday", "Friday"]',
        "[]",
        "calendar.toml, weekdays: found []; allowed is at least one of them.",
    ),
    "a weekday by its number": ('"Tuesday"', "1", "calendar.toml, weekdays 2: found 1; "),
    "a term that ends before it starts": (
        "last = 2026-12-18",
        "last = 2026-08-18",
        "calendar.toml, term 1, last: found 2026-08-18; allowed is a day from 2026-09-01 on, the first.",
    ),
    "a holiday that ends before it starts": (
        '"2026-10-09"',
        '"2026-10-04"',
        "calendar.toml, holiday 1, last: found '2026-10-04'; allowed is a day from 2026-10-05 on, the first.",
    ),
    "a day that does not exist": (
        '"2026-09-12"',
        '"2026-09-31"',
        "calendar.toml, taught_anyway 2: found '2026-09-31'; allowed is a day that exists, written 2026-09-01.",
    ),
    "a day without its strokes": (
        '"2026-12-17"',
        '"20261126"',
        "calendar.toml, half_days 1: found '20261126'; ",
    ),
    "a number for a day": ('"2026-12-17"', "20261126", "calendar.toml, half_days 1: found 20261126; "),
    "a day of a week": ('"2026-12-17"', '"2026-W48-4"', "calendar.toml, half_days 1: found '2026-W48-4'; "),
    "a day in other digits": (
        '"2026-12-17"',
        '"２０２６-12-17"',
        "calendar.toml, half_days 1: found '２０２６-12-17'; ",
    ),
    "an instant for a day": (
        "first = 2026-09-01",
        "first = 2026-09-01T09:00:00",
        "calendar.toml, term 1, first: found 2026-09-01T09:00:00; ",
    ),
    "a time that does not exist": (
        '"12:30"',
        '"24:30"',
        "calendar.toml, half_day_ends: found '24:30'; allowed is a time of day, written 12:00.",
    ),
    "words for yes": (
        "= false",
        '= "no"',
        "calendar.toml, public_holidays: found 'no'; allowed is true or false.",
    ),
    "an unknown key": (
        'why = "ill"',
        'wyh = "ill"',
        (
            "calendar.toml, absence 1, wyh: found 'ill'; allowed is no such key; the keys here are first, last, "
            "learner, why."
        ),
    ),
    "an unknown key at the top": (
        "half_weekdays",
        "half_weekday",
        "calendar.toml, half_weekday: found ['Friday']; ",
    ),
    "a key that is missing": (
        'learner = "asa"\n',
        "",
        "calendar.toml, absence 1, learner: found nothing; allowed is this key, which is needed.",
    ),
    "a table that stands alone": (
        "[[absence]]",
        "[absence]",
        (
            "calendar.toml, absence: found {learner = 'asa', first = 2026-09-07, last = 2026-09-08, why = 'ill'}; "
            "allowed is tables, each below its own line [[absence]]."
        ),
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_one_fault_gets_one_sentence(fault: str) -> None:
    sound, planted, sentence = FAULTS[fault]
    assert WHOLE.count(sound) == 1
    report = said(WHOLE.replace(sound, planted))
    assert len(report) == 1
    assert report[0].startswith(sentence)


def test_every_fault_of_a_file_is_in_one_report() -> None:
    apart = [
        "an unknown zone",
        "an unknown region",
        "a misspelt weekday",
        "a term that ends before it starts",
        "a holiday that ends before it starts",
        "a day that does not exist",
        "a day of a week",
        "a time that does not exist",
        "words for yes",
        "an unknown key",
        "a key that is missing",
    ]
    text = WHOLE + TERM + TERM
    for fault in apart:
        sound, planted, _ = FAULTS[fault]
        text = text.replace(sound, planted, 1)
    report = said(text)
    for fault in apart:
        assert [line for line in report if line.startswith(FAULTS[fault][2])], fault
    assert [line for line in report if line.startswith("calendar.toml, term 3, first: found 2026-09-01; ")]
    assert len(report) == len(apart) + 1


def term(first: str, last: str) -> str:
    return f'[[term]]\nname = "{first}"\nfirst = {first}\nlast = {last}\n'


def test_terms_that_overlap_are_named_in_whatever_order_they_stand() -> None:
    # The second and the third begin within the first, though the third begins after the second has ended.
    long, early, late = (
        ("2026-09-01", "2026-12-18"),
        ("2026-09-07", "2026-09-11"),
        ("2026-12-18", "2026-12-20"),
    )
    assert said(TOP + term(*late) + term(*long) + term(*early)) == [
        "calendar.toml, term 3, first: found 2026-09-07; allowed is a day after 2026-12-18, the last of term 2.",
        "calendar.toml, term 1, first: found 2026-12-18; allowed is a day after 2026-12-18, the last of term 2.",
    ]


def test_a_term_may_begin_on_the_day_after_another() -> None:
    home = read_calendar(TOP + term("2026-12-19", "2026-12-20") + term("2026-09-01", "2026-12-18"))
    assert [t.first for t in home.terms] == [date(2026, 12, 19), date(2026, 9, 1)]


def test_an_empty_file_lacks_everything_it_needs() -> None:
    assert [line.split(":")[0] for line in said("")] == [
        f"calendar.toml, {key}" for key in ("zone", "country", "weekdays", "term")
    ]


def test_the_name_of_the_file_is_the_one_it_came_with() -> None:
    with pytest.raises(InputError) as refused:
        read_calendar(TOP, "kitchen.toml")
    assert [problem.where for problem in refused.value.problems] == ["kitchen.toml, term"]


@pytest.mark.parametrize(
    ("sound", "planted", "line", "found"),
    [
        ('"Europe/London"', "Europe/London", 1, "'zone = Europe/London' (invalid value)"),
        ("last = 2026-12-18", "last = 2026-11-31", 14, "'last = 2026-11-31' (invalid date or datetime)"),
        ('name = "apple week"', 'name = "apple week', 17, "'name = \"apple week' "),
        ('region = "ENG"', 'zone = "UTC"', 3, "'zone = \"UTC\"' (cannot overwrite a value)"),
        ('educator = "una"\n', 'educator = """una', 30, '\'educator = """una\' '),
    ],
)
def test_broken_toml_is_refused_with_its_line(sound: str, planted: str, line: int, found: str) -> None:
    assert WHOLE.count(sound) == 1
    report = said(WHOLE.replace(sound, planted))
    assert len(report) == 1
    assert report[0].startswith(f"calendar.toml, line {line}: found {found}")


@pytest.mark.parametrize("text", ["zone = " + "[" * 5000, "zone = " + "1" * 5000])
def test_what_cannot_be_read_at_all_is_refused_like_the_rest(text: str) -> None:
    assert said(text)[0].startswith("calendar.toml: found something far too deep or too long to read; ")


def test_a_long_value_is_cut_where_it_is_shown() -> None:
    assert "zzz…; allowed is an IANA" in said(WHOLE.replace("Europe/London", "z" * 500))[0]


@settings(max_examples=150, deadline=None)
@given(calendars())
@example(
    replace(read_calendar(TOP + TERM), terms=(Term('"\\\n\t\r\x00\x7f\x85 \u2028 \U0001f33e', *TERM_DAYS),))
)
@example(replace(read_calendar(TOP + TERM), half_day_ends=time(12, 30, 15, 20)))
def test_a_calendar_reads_back_as_it_was_written(home: SchoolCalendar) -> None:
    assert read_calendar(write_calendar(home)) == home


def test_a_written_calendar_is_a_file_that_a_person_would_write() -> None:
    text = write_calendar(read_calendar(WHOLE))
    assert text.splitlines()[:9] == [
        'zone = "Europe/London"',
        'country = "GB"',
        'region = "ENG"',
        'weekdays = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday"]',
        'half_weekdays = ["Friday"]',
        "public_holidays = false",
        'half_day_ends = "12:30"',
        "taught_anyway = [2026-09-05, 2026-09-12]",
        "half_days = [2026-12-17]",
    ]
