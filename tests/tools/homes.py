"""Small homes for tests. Everybody here is invented.

The standing cast: Ruth teaches, Tobi helps, Asa and Noa learn; Mallory belongs to another house.
"""

from datetime import UTC, datetime

from markstead.records.home import Home
from markstead.records.setup import Newcomer, Papers, give_password, set_up
from markstead.rules.ruling import Role

PASSWORD = "a-lamp-in-the-window"

RULES = """
[programme]
id = "small"
title = "A small programme (invented)"
currency = "EUR"
[marks]
practice_test_percent = 80
unit_test_percent = 80
exact_mark_passes = true
[unit_test]
school_days_after_practice = 1
morning_from = "08:00"
morning_until = "12:00"
most_a_learner_a_day = 1
most_watched_a_morning = 2
readiness_decision = true
[marking]
quiz_when_wrong_percent = 30
sections_ahead = 0
[dispatch]
day = 1
[rework]
after_failed_unit_test = "new copy"
[[aids]]
from_year = 0
allowed = ["pencil", "eraser", "ruler"]
[[aids]]
from_year = 7
allowed = ["pencil", "eraser", "ruler", "calculator"]
[[subject]]
id = "sums"
title = "Sums"
[[subject]]
id = "words"
title = "Words"
"""

WORKBOOKS = (
    "course,level,number,title,pages,section_ends,section_questions,check_pages,check_questions,"
    "practice_questions,unit_questions,price,supplier\n"
    "sums,5,1,Counting Boats,9,4;8,10;10,9,5,20,20,4.20,Quayside Books\n"
    "sums,5,2,Counting Gulls,9,4;8,10;10,9,5,20,20,4.20,Quayside Books\n"
    "words,5,1,Names of Winds,6,3;5,10;10,6,5,10,10,3.90,Quayside Books\n"
)

CALENDAR = """
zone = "Europe/London"
country = "GB"
region = "ENG"
weekdays = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday"]
[[term]]
name = "autumn"
first = 2025-09-01
last = 2025-12-19
[[term]]
name = "spring"
first = 2026-01-05
last = 2026-03-27
"""

PAPERS = Papers(RULES, WORKBOOKS, CALENDAR)
CAST = (
    Newcomer("ruth", "Ruth", Role.EDUCATOR),
    Newcomer("tobi", "Tobi", Role.HELPER),
    Newcomer("asa", "Asa", Role.LEARNER, 5, ("sums-5", "words-5")),
    Newcomer("noa", "Noa", Role.LEARNER, 9, ("sums-5",)),
)


def small_home(household: str = "home", *, demo_shift: int | None = None, sign_in: bool = False) -> Home:
    """Make the small home; with `sign_in`, Ruth and Tobi can sign in."""
    at = datetime(2025, 9, 1, 7, tzinfo=UTC)
    home = set_up(household, name="Tarn End", papers=PAPERS, people=CAST, at=at, demo_shift=demo_shift)
    if sign_in:
        for key in ("ruth", "tobi"):
            give_password(household, person=key, username=f"{key}-{household}", password=PASSWORD)
    return home
