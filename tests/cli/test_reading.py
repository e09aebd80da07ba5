"""Commands that read: their words, and JSON of which programs may be sure."""

import json

from tests.cli.conftest import Kitchen, program
from tests.cli.test_a_workbook import BOOK, into_the_house, ready  # noqa: F401  # a fixture

COPY_KEYS = {
    *("id", "label", "workbook", "title", "course", "status", "learner", "next", "bars", "pages_worked"),
    *("pages", "goal", "practice_test", "unit_test"),
}


def waiting(kitchen: Kitchen) -> str:
    """Tui asks leave to mark at 9:00; it is 9:25."""
    copy = into_the_house(kitchen)
    kitchen.act("issue", copy, "--learner", "tui")
    kitchen.act("opening-talk", copy)
    kitchen.act("goal", copy, "1-4")
    kitchen.act("work", copy, "1-3")
    kitchen.act("ask-leave", copy, "mark")
    kitchen.now = "2026-02-09T09:25"
    return copy


def test_today_as_json_says_who_waits_how_long_and_for_what(kitchen: Kitchen) -> None:
    copy = waiting(kitchen)
    answer = kitchen.done("today", "--json").json
    assert set(answer) == {"household", "date", "time", "closed", "facts", "calls", "learners"}
    assert (answer["date"], answer["time"], answer["closed"]) == ("2026-02-09", "09:25", None)
    call = answer["calls"][0]
    tui = {"id": call["learner"]["id"], "key": "tui", "name": "Tui"}
    assert call == {
        "kind": "leave to mark",
        "urgency": 1,
        "what": "Asks leave to mark section 1",
        "blocks": "is waiting at the marking stop",
        "since": "2026-02-08T20:00:00+00:00",
        "waiting_minutes": 25,
        "learner": tui,
        "copy": {"id": copy, "label": BOOK},
        "workbook": {"code": BOOK, "title": "Wholes and Parts", "course": "maths-5"},
        "copies": [],
    }
    learner = next(person for person in answer["learners"] if person["key"] == "tui")
    (held,) = learner["copies"]
    assert set(held) == COPY_KEYS
    assert (held["pages_worked"], held["pages"]) == (3, 8)
    assert held["goal"] == {"day": "2026-02-09", "first": 1, "last": 4, "step": None}
    assert held["next"] == {"turn": "educator", "what": "Asks leave to mark section 1"}


def test_today_as_json_names_the_bars_of_the_next_step(kitchen: Kitchen, ready: str) -> None:  # noqa: F811
    answer = kitchen.done("today", "--json").json
    learner = next(person for person in answer["learners"] if person["key"] == "tui")
    (bar,) = learner["copies"][0]["bars"]
    assert set(bar) == {"kind", "says", "lifts"}
    assert bar["kind"] == "too soon"
    assert bar["says"].endswith("Monday 9 February 2026; the unit test comes on a later school day.")
    assert bar["lifts"] == "Wait until Tuesday 10 February 2026."


def test_today_in_words_shows_the_calls_first_and_a_ruler_for_each_copy(kitchen: Kitchen) -> None:
    waiting(kitchen)
    lines = kitchen.done("today").out.splitlines()
    assert lines[0] == "The Quays: Monday 9 February 2026, 09:25"
    call = next(number for number, line in enumerate(lines) if "Asks leave to mark section 1" in line)
    assert "25 min" in lines[call]
    ruler = next(number for number, line in enumerate(lines) if "[==|>--|v||" in line)
    assert call < ruler
    assert "3/8" in lines[ruler]


def test_a_day_without_school_says_why(kitchen: Kitchen) -> None:
    # Waitangi Day: Public holiday of New Zealand on 6 February (Holidays Act 2003, s 44).
    kitchen.now = "2026-02-06T09:00"
    assert "public holiday" in kitchen.done("today", "--json").json["closed"]
    kitchen.now = "2026-02-07T09:00"
    assert "No school: the day is a Saturday, on which there is no school." in kitchen.done("today").out


def test_another_day_is_looked_at_with_today(kitchen: Kitchen) -> None:
    answer = program(kitchen.home, "--today", "2026-03-02", "today", "--json")
    assert answer.status == 0, answer.err
    assert json.loads(answer.out)["date"] == "2026-03-02"


def test_an_instant_with_its_offset_is_read_off_the_kitchen_clock(kitchen: Kitchen) -> None:
    # 23:30 in UTC is 12:30 of the next day in Auckland in February (IANA, UTC+13).
    answer = kitchen.done("today", "--json", "--now", "2026-02-08T23:30Z").json
    assert (answer["date"], answer["time"]) == ("2026-02-09", "12:30")


def test_the_shared_options_stand_before_the_command_or_after_it(kitchen: Kitchen) -> None:
    after = kitchen.done("today", "--json", "--now", "2026-02-10T10:00").out
    kitchen.now = "2026-02-10T10:00"
    assert kitchen.done("today", "--json").out == after


def test_history_is_newest_first_and_can_be_narrowed(kitchen: Kitchen) -> None:
    copy = waiting(kitchen)
    kitchen.now = "2026-02-10T09:00"
    kitchen.act("refuse-leave", copy, "--reason", "Page 2 has blanks.")
    facts = kitchen.done("history", "--json").json["facts"]
    assert [fact["place"] for fact in facts] == [8, 7, 6, 5, 4, 3, 2, 1]
    assert facts[0]["words"] == "Page 2 has blanks."
    assert facts[0]["by"]["key"] == "mira"
    assert set(facts[0]) == {
        *("place", "act", "kind", "at", "written", "fact", "by", "copy", "says", "words", "reversed"),
    }
    (only,) = kitchen.done("history", "--day", "2026-02-10", "--json").json["facts"]
    assert only["kind"] == "leave refused"
    assert len(kitchen.done("history", "--copy", BOOK, "--limit", "3", "--json").json["facts"]) == 3
    assert "Leave to mark refused, section 1: Page 2 has blanks." in kitchen.done("history").out


def test_copies_are_listed_by_status_and_by_learner(kitchen: Kitchen) -> None:
    copy = waiting(kitchen)
    other = kitchen.act("order", "maths-5-02", "--learner", "rewi", "--expected", "2026-02-20", "--json").json
    rows = kitchen.done("copies", "--json").json["copies"]
    assert [(row["label"], row["status"]) for row in rows] == [(BOOK, "issued"), ("maths-5-02", "on order")]
    assert rows[1]["expected"] == "2026-02-20"
    (issued,) = kitchen.done("copies", "--status", "issued", "--json").json["copies"]
    assert issued["id"] == copy
    (rewis,) = kitchen.done("copies", "--learner", "rewi", "--json").json["copies"]
    assert rewis["id"] == other["copy"]["id"]
    assert "Parts of Parts" in kitchen.done("copies").out
    assert kitchen.done("copies", "--status", "sent").out == "No copies.\n"
