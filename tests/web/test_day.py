"""A whole day from paper on screen: everything that was typed comes back until it is recorded."""

import re
from datetime import date, datetime, timedelta
from types import SimpleNamespace

import pytest
from django.test import Client

from markstead.ledger.facts import (
    AttendanceTaken,
    CheckOpened,
    FirstMarking,
    HelpGiven,
    LeaveGiven,
    PagesWorked,
)
from markstead.records import actions as a
from markstead.records import queries
from markstead.records.home import Home
from markstead.records.models import Entry
from markstead.speech import spoken
from markstead.web.day_page import _practice
from tests.web.conftest import MONDAY
from tests.web.test_estimates import seat

FRIDAY = date(2026, 1, 9)


@pytest.fixture
def at_work(boats: str) -> str:
    """Asa has begun the workbook, early on Friday."""
    early = MONDAY.replace(day=9, hour=9)
    a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=early)
    a.hold_opening_talk("home", copy=boats, by="ruth", at=early)
    return boats


@pytest.fixture
def two(home: Home, at_work: str) -> tuple[str, str]:
    """Noa has begun another copy of it."""
    early = MONDAY.replace(day=9, hour=9)
    done = a.order_copy("home", workbook="sums-5-01", learner="noa", by="ruth", at=early)
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    a.receive_copy("home", copy=copy, by="ruth", at=early)
    a.issue_copy("home", copy=copy, learner="noa", by="ruth", at=early)
    a.hold_opening_talk("home", copy=copy, by="ruth", at=early)
    return at_work, copy


def kinds() -> list[str]:
    return list(Entry.objects.order_by("seq").values_list("kind", flat=True))


def form(day: date = FRIDAY, **typed: str) -> dict[str, str]:
    return {"day": day.isoformat(), "begins": "9:00", "token": "t-1"} | typed


def typed_in(page: str, name: str) -> str:
    found = re.search(rf'<input name="{re.escape(name)}"[^>]* value="([^"]*)"', page)
    assert found is not None, name
    return found[1]


def test_the_grid_has_a_row_for_every_copy_in_hand_and_says_where_it_stands(
    ruth: Client, at_work: str
) -> None:
    page = ruth.get(f"/day/?day={FRIDAY}").content.decode()
    assert "Friday 9 January 2026" in page
    assert page.count('<th scope="row">') == 1
    assert "next page 1" in page
    assert f'name="w-{at_work}-section-1"' in page
    assert "No workbook in hand." in page


def test_a_day_is_recorded_in_one_act_and_offered_to_be_taken_back(
    ruth: Client, at_work: str, home: Home
) -> None:
    before = len(kinds())
    answer = ruth.post(
        "/day/save",
        form(
            **{
                f"f-{at_work}": "1",
                f"t-{at_work}": "6",
                f"m-{at_work}": "30",
                f"w-{at_work}-section-1": "right",
                f"h-{at_work}": "2",
                f"there-{home.person('noa').id}": "absent",
            }
        ),
        follow=True,
    )
    page = answer.content.decode()
    assert kinds()[before:] == [
        PagesWorked.KIND,
        LeaveGiven.KIND,
        FirstMarking.KIND,
        PagesWorked.KIND,
        HelpGiven.KIND,
        HelpGiven.KIND,
        AttendanceTaken.KIND,
    ]
    assert len(set(Entry.objects.order_by("-seq").values_list("act", flat=True)[:7])) == 1
    assert "Recorded" in page
    assert typed_in(page, f"f-{at_work}") == ""
    undo = re.search(r'action="(/acts/[^"]+/undo)"', page)
    assert undo is not None
    ruth.post(undo[1], {"from": "today"})
    assert queries.copy_page("home", at_work, now=MONDAY).copy.standing.pages == frozenset()


def test_a_refused_row_is_named_with_its_bars_and_stays_in_the_form(
    ruth: Client, two: tuple[str, str]
) -> None:
    asas, noas = two
    before = kinds()
    typed = form(**{f"f-{asas}": "1", f"t-{asas}": "8", f"f-{noas}": "1", f"t-{noas}": "2"})
    answer = ruth.post("/day/save", typed)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert kinds() == before
    assert "1 row cannot be recorded: nothing was recorded" in page
    assert "Section 1 is not cleared." in page
    assert [typed_in(page, f"t-{copy}") for copy in two] == ["8", "2"]
    assert "Save what can be saved" in page


def test_what_can_be_saved_is_saved_where_it_is_said_so_and_the_rest_stays(
    ruth: Client, two: tuple[str, str]
) -> None:
    asas, noas = two
    before = len(kinds())
    typed = form(**{f"f-{asas}": "1", f"t-{asas}": "8", f"f-{noas}": "1", f"t-{noas}": "2", "do": "partly"})
    for _ in range(2):  # sent twice, it is written once, and what was refused is in the form both times
        page = ruth.post("/day/save", typed, follow=True).content.decode()
        assert typed_in(page, f"t-{asas}") == "8"
    assert len(kinds()) == before + 1
    first = ruth.post(
        "/day/save", typed | {"token": "t-9", f"f-{noas}": "3", f"t-{noas}": "3"}
    ).content.decode()
    assert typed_in(first, f"t-{asas}") == "8"
    assert typed_in(first, f"t-{noas}") == ""
    assert "These rows are still in the form below." in first
    assert "Recorded" in page


def test_a_look_tells_what_each_row_would_record(ruth: Client, at_work: str) -> None:
    before = kinds()
    typed = form(**{f"f-{at_work}": "1", f"t-{at_work}": "3", f"m-{at_work}": "15", "do": "look"})
    page = ruth.post("/day/save", typed).content.decode()
    assert "Pages 1-3 worked in 15 min" in page
    assert typed_in(page, f"t-{at_work}") == "3"
    assert kinds() == before


def test_as_many_stops_are_offered_as_are_passed(ruth: Client, at_work: str) -> None:
    typed = form(**{f"f-{at_work}": "1", f"t-{at_work}": "9", "do": "look"})
    page = ruth.post("/day/save", typed).content.decode()
    assert f'name="w-{at_work}-check-1"' in page


def test_a_whole_workbook_in_a_day_goes_through_its_check_to_the_practice_test(
    ruth: Client, at_work: str
) -> None:
    typed = form(
        **{
            f"f-{at_work}": "1",
            f"t-{at_work}": "9",
            f"w-{at_work}-section-1": "2, 3",
            f"r-{at_work}-section-1": "right",
            f"w-{at_work}-section-2": "right",
            f"w-{at_work}-check-1": "0",
            f"p-{at_work}": "18/20",
        }
    )
    assert ruth.post("/day/save", typed).status_code == 302
    standing = queries.copy_page("home", at_work, now=MONDAY).copy.standing
    assert CheckOpened.KIND in kinds()
    assert standing.practice_passed
    assert [attempt.right for attempt in standing.practice] == [18]


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("f", "many", "a whole number"),
        ("t", "10", "from 1 to 9"),
        ("m", "2000", "from 0 to 1440"),
        ("h", "99", "from 0 to 20"),
        ("p", "lots", "a score such as 27"),
        ("p", "18/30", "the test has 20 questions"),
    ],
)
def test_what_cannot_be_read_is_told_at_its_field_and_kept(
    ruth: Client, at_work: str, field: str, value: str, says: str
) -> None:
    before = kinds()
    reach = {f"f-{at_work}": "1", f"t-{at_work}": "9"}
    answer = ruth.post("/day/save", form(**(reach | {f"{field}-{at_work}": value})))
    page = answer.content.decode()
    assert answer.status_code == 409
    assert says in page
    assert typed_in(page, f"{field}-{at_work}") == value
    assert re.search(rf'name="{field}-{re.escape(at_work)}"[^>]* aria-invalid="true"', page)
    assert kinds() == before


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"day": "soon"}, "a day, such as"),
        ({"day": "2026-01-13"}, "today or an earlier day"),
        ({}, "nothing written down"),
        ({"begins": "early"}, "a time of day such as 8:30"),
    ],
)
def test_a_day_that_cannot_be_recorded_says_why(
    ruth: Client, at_work: str, typed: dict[str, str], says: str
) -> None:
    answer = ruth.post("/day/save", form() | typed)
    assert answer.status_code == 409
    assert says in answer.content.decode()


def test_a_day_to_come_is_shown_as_today(ruth: Client, at_work: str) -> None:
    assert "Monday 12 January 2026" in ruth.get("/day/?day=2027-01-01").content.decode()
    assert "That is no day" in ruth.get("/day/?day=soon").content.decode()


def test_pages_before_the_workbook_was_issued_are_refused(ruth: Client, at_work: str) -> None:
    typed = form(date(2026, 1, 8), **{f"f-{at_work}": "1"})
    page = ruth.post("/day/save", typed).content.decode()
    assert "this would come before it" in page


def test_a_day_of_yesterday_is_dated_by_it_and_written_today(ruth: Client, at_work: str) -> None:
    ruth.post("/day/save", form(**{f"f-{at_work}": "1", f"m-{at_work}": "10"}))
    (note, *_) = queries.history("home", copy=at_work, limit=1)
    assert note.entry.at == MONDAY.replace(day=9, hour=9, minute=10)
    assert note.entry.written == MONDAY
    assert note.entry.written - note.entry.at > timedelta(days=2)


@pytest.mark.parametrize("who", ["ines", "asa"])
def test_it_is_for_the_grown_ups_of_the_home(who: str, home: Home, monday: datetime, at_work: str) -> None:
    client, before = seat(who, home), kinds()
    assert client.get("/day/").status_code == 403
    assert client.post("/day/save", form(**{f"f-{at_work}": "1"})).status_code == 403
    assert kinds() == before


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("27 de 30", (27, None)),
        ("27 of 30 mal 4 9 22", (27, (4, 9, 22))),
        ("mal 4 9", (None, (4, 9))),
        ("bien", (None, ())),
    ],
)
def test_a_score_is_read_in_the_language_of_the_page_too(text: str, found: object) -> None:
    one = SimpleNamespace(copy="c1", workbook=SimpleNamespace(practice_questions=30))
    faults: dict[str, str] = {}
    with spoken("es"):
        assert (_practice({"p-c1": text}, one, faults), faults) == (found, {})  # type: ignore[arg-type]
