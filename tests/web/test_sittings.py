"""Unit tests on screen: who may sit, the sitting, its marking, what follows, and the record that is printed."""

import re
from datetime import UTC, date, datetime, timedelta
from html import unescape
from typing import Any

import pytest
from django.test import Client

from markstead.ledger.facts import GateOverridden, Step, UnitTestSat, UnitTestScored
from markstead.records import actions as a
from markstead.records import queries, sittings
from markstead.records.home import Home
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY

FRIDAY = MONDAY - timedelta(days=3)


def words(page: bytes | str) -> str:
    text = page.decode() if isinstance(page, bytes) else page
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text)))


def bring(
    copy: str, learner: str, at: datetime, *, wrong: tuple[int, ...] = (2, 5), ready: bool = True
) -> None:
    """Bring a copy up to the morning of its unit test; nothing is wrong at any stop."""
    a.issue_copy("home", copy=copy, learner=learner, by="ruth", at=at)
    a.hold_opening_talk("home", copy=copy, by="ruth", at=at)
    book = queries.copies("home", learner=learner)[0].workbook
    for stop in book.stops:
        if stop.kind == "check":
            a.open_check("home", copy=copy, stop=stop.id, by="ruth", at=at)
        a.work_pages("home", copy=copy, first=stop.first, last=stop.last, by=learner, at=at)
        a.ask_leave("home", copy=copy, step=Step.MARK, stop=stop.id, by=learner, at=at)
        a.give_leave("home", copy=copy, step=Step.MARK, stop=stop.id, by="ruth", at=at)
        a.mark("home", copy=copy, stop=stop.id, wrong=(), by=learner, at=at)
    a.open_practice_test("home", copy=copy, by="ruth", at=at)
    a.score_practice_test("home", copy=copy, wrong=wrong, by="ruth", at=at)
    if ready:
        a.decide_readiness("home", copy=copy, ready=True, by="ruth", at=at)


@pytest.fixture
def ready(boats: str) -> str:
    """Asa passed the practice test on Friday and is ready: this Monday morning the unit test may be sat."""
    bring(boats, "asa", FRIDAY)
    return boats


def begin(client: Client, copy: str, **more: object) -> Any:
    watcher = queries.home_of("home").person("tobi").id
    form = {"copy": copy, "aids": ["pencil", "ruler"], "watcher": watcher, "token": "abc"} | more
    return client.post("/sittings/begin", form)


@pytest.fixture
def sat(ruth: Client, ready: str) -> str:
    """Asa sits, watched by Tobi, since nine."""
    assert begin(ruth, ready).status_code == 302
    return ready


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is a quarter to ten."""
    monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + timedelta(minutes=45)).isoformat())


def facts(copy: str) -> list[object]:
    notes = queries.history("home", copy=copy, limit=200)
    return [note.entry.fact for note in reversed(notes)]


# --- who may sit ----------------------------------------------------------------------------------------------------


class TestTheMorning:
    def test_who_may_sit_is_named_with_a_form(self, ruth: Client, ready: str) -> None:
        page = ruth.get("/sittings/").content.decode()
        assert "Asa may sit now." in page
        assert "0 of 2 begun, 2 more fit this morning." in page
        assert re.findall(r'name="aids" value="(\w+)" checked', page) == ["pencil", "eraser", "ruler"]
        assert "16 of 20 right answers pass." in page

    def test_why_another_may_not_is_said_in_words_with_what_lifts_it(self, ruth: Client, boats: str) -> None:
        bring(boats, "asa", MONDAY - timedelta(minutes=20), ready=False)
        page = words(ruth.get("/sittings/").content)
        assert "Nobody may sit now." in page
        assert "The latest practice test was on Monday 12 January 2026" in page
        assert "Wait until Tuesday 13 January 2026." in page
        assert "No educator has decided that the learner is ready." in page

    def test_a_copy_whose_practice_test_is_not_passed_tells_its_score(self, ruth: Client, boats: str) -> None:
        bring(boats, "asa", FRIDAY, wrong=(1, 2, 3, 4, 5), ready=False)
        page = words(ruth.get("/sittings/").content)
        assert "The practice test has 15 of 20 right, 16 are needed. Reach 80 % in a practice test." in page
        assert "Sit it all the same" not in page

    def test_aids_are_told_by_year_with_who_they_are_for(self, ruth: Client, home: Home) -> None:
        page = words(ruth.get("/sittings/").content)
        assert "Years 0 to 6 Asa pencil, eraser, ruler" in page
        assert "From year 7 on Noa pencil, eraser, ruler, calculator" in page

    def test_after_the_morning_the_next_one_is_named(
        self, ruth: Client, ready: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-16T14:00:00+00:00")
        page = words(ruth.get("/sittings/").content)
        assert (
            "This morning is over for unit tests. The next school morning is Monday 19 January 2026." in page
        )
        assert "It is 14:00; unit tests begin between 08:00 and 12:00." in page

    def test_a_day_without_school_says_why(
        self, ruth: Client, ready: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-17T09:00:00+00:00")
        page = words(ruth.get("/sittings/").content)
        assert "No unit test today: it is a Saturday, on which there is no school." in page

    def test_a_full_morning_is_said(self, ruth: Client, sat: str, home: Home) -> None:
        at = FRIDAY
        a.order_copy("home", copy="other", workbook="sums-5-01", learner="noa", by="ruth", at=at)
        a.receive_copy("home", copy="other", by="ruth", at=at)
        bring("other", "noa", at)
        assert "Noa may sit now. 1 of 2 begun, 1 more fits this morning." in words(
            ruth.get("/sittings/").content
        )
        assert begin(ruth, "other").status_code == 302
        page = words(ruth.get("/sittings/").content)
        assert "The morning is full: no more unit tests are begun. 2 of 2 begun, no more fits" in page

    def test_the_page_and_the_act_judge_alike(self, ruth: Client, ready: str) -> None:
        """Whom the page names as free to sit, the act lets sit; whom it does not, the act refuses with the same bars."""
        found = sittings.morning("home", now=MONDAY)
        (one,) = found.candidates
        assert one.allowed
        early = sittings.morning("home", now=FRIDAY + timedelta(hours=2))
        (barred,) = early.candidates
        watcher = barred.watchers[0].id
        with pytest.raises(Exception, match="latest practice test") as refused:
            a.sit_unit_test(
                "home", copy=ready, watcher=watcher, aids=(), by="ruth", at=FRIDAY + timedelta(hours=2)
            )
        assert refused.value.ruling.bars == barred.ruling.bars  # type: ignore[attr-defined]


# --- the sitting ----------------------------------------------------------------------------------------------------


class TestTheSitting:
    def test_it_begins_with_aids_and_watcher(self, ruth: Client, sat: str) -> None:
        home = queries.home_of("home")
        tobi = home.person("tobi").id
        assert facts(sat)[-1] == UnitTestSat(sat, 1, date(2026, 1, 12), ("pencil", "ruler"), tobi)

    def test_sent_twice_it_is_begun_once(self, ruth: Client, sat: str) -> None:
        assert begin(ruth, sat).status_code == 302
        assert sum(isinstance(fact, UnitTestSat) for fact in facts(sat)) == 1

    def test_the_time_runs_and_the_room_is_told(self, ruth: Client, sat: str, later: None) -> None:
        page = words(ruth.get(f"/sittings/{sat}/").content)
        assert "The test is being sat since 09:00 45 min" in page
        assert "Watched by Tobi . Aids on the table: pencil, ruler ." in page
        assert "gives no help" in page

    def test_a_refused_beginning_keeps_what_was_chosen(self, ruth: Client, ready: str) -> None:
        answer = begin(ruth, ready, aids=["pencil", "calculator"])
        page = answer.content.decode()
        assert answer.status_code == 409
        assert "Calculator may not be used in year 5." in page
        assert re.findall(r'type="checkbox" name="aids" value="(\w+)"( checked)?>', page) == [
            ("pencil", " checked"),
            ("eraser", ""),
            ("ruler", ""),
        ]
        assert re.search(r'<option value="\w+" selected>Tobi', page)
        assert not any(isinstance(fact, UnitTestSat) for fact in facts(ready))

    def test_a_rule_is_passed_with_a_reason(
        self, ruth: Client, ready: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-12T13:30:00+00:00")
        answer = begin(ruth, ready)
        assert 'name="override"' in answer.content.decode()
        assert begin(ruth, ready, override="A journey tomorrow.").status_code == 302
        passed, began = facts(ready)[-2:]
        assert isinstance(passed, GateOverridden)
        assert passed.bars == ("not in the morning",)
        assert isinstance(began, UnitTestSat)

    def test_the_end_is_kept_and_gives_the_minutes(self, ruth: Client, sat: str, later: None) -> None:
        assert ruth.post(f"/sittings/{sat}/end").status_code == 302
        page = ruth.get(f"/sittings/{sat}/").content.decode()
        assert "from 09:00 to 09:45" in page
        assert re.search(r'name="minutes"[^>]*value="45"', page)
        ruth.post(f"/sittings/{sat}/end", {"do": "go on"})
        assert "The test is being sat" in ruth.get(f"/sittings/{sat}/").content.decode()


# --- marking --------------------------------------------------------------------------------------------------------


class TestMarking:
    def test_question_by_question(self, ruth: Client, sat: str) -> None:
        answer = ruth.post(f"/sittings/{sat}/mark", {"q": ["3", "7"], "how": "tapped", "minutes": "41"})
        assert answer.status_code == 302
        assert facts(sat)[-1] == UnitTestScored(sat, 18, 20, 16, (3, 7), 41)

    def test_as_a_total(self, ruth: Client, sat: str) -> None:
        ruth.post(f"/sittings/{sat}/mark", {"right": "16", "how": "total"})
        assert facts(sat)[-1] == UnitTestScored(sat, 16, 20, 16)

    def test_all_right(self, ruth: Client, sat: str) -> None:
        ruth.post(f"/sittings/{sat}/mark", {"how": "all right"})
        assert facts(sat)[-1] == UnitTestScored(sat, 20, 20, 16)

    @pytest.mark.parametrize(
        ("form", "says"),
        [
            ({"how": "tapped"}, "found nothing; allowed is the numbers of the wrong answers tapped"),
            ({"how": "all right", "q": ["4"]}, "both 'All right' and 1 tapped"),
            ({"how": "total", "q": ["4"], "right": "19"}, "a total and 1 tapped"),
            ({"how": "total"}, "right answers: found nothing"),
            (
                {"how": "total", "right": "21"},
                "right answers: found 21; allowed is a whole number from 0 to 20",
            ),
            ({"how": "tapped", "q": ["21"]}, "wrong questions: found 21; allowed is numbers from 1 to 20"),
            ({"how": "tapped", "q": ["2"], "minutes": "1441"}, "minutes are 1441"),
            ({"how": "guess"}, "marking: found 'guess'"),
        ],
    )
    def test_what_cannot_be_meant_is_said_and_kept(
        self, ruth: Client, sat: str, form: dict[str, object], says: str
    ) -> None:
        answer = ruth.post(f"/sittings/{sat}/mark", form)
        page = answer.content.decode()
        assert answer.status_code == 409
        assert says in words(page)
        kept = re.findall(r'name="q" value="(\d+)" checked', page)
        assert kept == [n for n in form.get("q", []) if int(n) <= 20]  # type: ignore[attr-defined]
        assert not any(isinstance(fact, UnitTestScored) for fact in facts(sat))

    def test_a_passed_test_leads_on(self, ruth: Client, sat: str) -> None:
        done = ruth.post(f"/sittings/{sat}/mark", {"how": "all right"}, follow=True)
        page = words(done.content)
        assert "Recorded" in page
        assert "Undo" in page
        assert "20 of 20, passed" in page
        assert "Next for Asa: Counting Gulls. No copy is in the house or on order." in page
        ruth.post(f"/sittings/{sat}/next", {"do": "order", "other": "sums-5-02", "token": "t1"})
        page = words(ruth.get(f"/sittings/{sat}/").content)
        assert "Next for Asa: Counting Gulls. A copy is on order." in page

    def test_the_next_workbook_is_issued_from_here(self, ruth: Client, sat: str) -> None:
        at = MONDAY - timedelta(minutes=1)
        a.order_copy("home", copy="gulls", workbook="sums-5-02", learner="asa", by="ruth", at=at)
        a.receive_copy("home", copy="gulls", by="ruth", at=at)
        ruth.post(f"/sittings/{sat}/mark", {"how": "all right"})
        assert "Issue Counting Gulls" in ruth.get(f"/sittings/{sat}/").content.decode()
        ruth.post(f"/sittings/{sat}/next", {"do": "issue", "other": "gulls"})
        (issued,) = queries.copies("home", learner="asa", status="issued")  # type: ignore[arg-type]
        assert issued.id == "gulls"

    def test_a_failed_test_is_gone_over_and_a_new_copy_ordered(self, ruth: Client, sat: str) -> None:
        ruth.post(f"/sittings/{sat}/mark", {"right": "15", "how": "total"})
        page = words(ruth.get(f"/sittings/{sat}/").content)
        assert "15 of 20, below the pass mark, 16 needed" in page
        assert "Go over what was missed with Asa" in page
        assert "Not passed, and no new copy ordered" in words(ruth.get("/sittings/").content)
        ruth.post(f"/sittings/{sat}/next", {"do": "reorder"})
        assert len(queries.copies("home", status="on order")) == 1  # type: ignore[arg-type]
        page = words(ruth.get(f"/sittings/{sat}/").content)
        assert (
            "A new copy is ordered. It is worked again from the first page, and the test is sat again."
            in page
        )

    def test_a_test_of_yesterday_waits_to_be_marked(
        self, ruth: Client, sat: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("MARKSTEAD_NOW", "2026-01-13T09:00:00+00:00")
        assert "Sat on 12 January 2026, watched by Tobi." in words(ruth.get("/sittings/").content)
        ruth.post(f"/sittings/{sat}/mark", {"how": "all right"})
        assert "20 of 20, passed" in words(ruth.get(f"/sittings/{sat}/").content)

    def test_it_is_taken_back_to_the_sitting(self, ruth: Client, sat: str) -> None:
        page = ruth.post(f"/sittings/{sat}/mark", {"how": "all right"}, follow=True).content.decode()
        undo = re.search(r'action="(/acts/[^"]+/undo)"', page)
        assert undo is not None
        answer = ruth.post(undo[1], {"from": "sittings", "copy": sat})
        assert answer["Location"].split("?")[0] == f"/sittings/{sat}/"
        assert "The test is being sat" in ruth.get(f"/sittings/{sat}/").content.decode()


# --- the printed record ---------------------------------------------------------------------------------------------


def record(page: str) -> dict[str, str]:
    part = page[page.index('class="testpaper"') :]
    rows = re.findall(r'<th scope="row">(.*?)</th><td>(.*?)</td>', part)
    return {name: words(value).strip() for name, value in rows}


class TestThePrintedRecord:
    def test_it_says_what_happened(self, ruth: Client, sat: str) -> None:
        ruth.post(f"/sittings/{sat}/mark", {"q": ["3", "7"], "how": "tapped", "minutes": "41"})
        page = ruth.get(f"/sittings/{sat}/").content.decode()
        assert "Tarn End" in page[page.index('class="testpaper"') :]
        assert record(page) == {
            "Learner": "Asa, year 5",
            "Workbook": "Counting Boats (sums-5-01), Sums 5",
            "Attempt": "1",
            "Day": "Monday 12 January 2026",
            "Began": "09:00",
            "Ended": "09:41",
            "Watched by": "Tobi",
            "Aids on the table": "pencil, ruler",
            "Questions wrong": "3, 7",
            "Right answers": "18 of 20",
            "Score needed": "16 of 20",
            "Result": "passed",
            "Marked by": "Ruth, 12 January 2026",
        }

    def test_what_is_not_known_is_a_line_to_write_on(self, ruth: Client, sat: str) -> None:
        found = record(ruth.get(f"/sittings/{sat}/").content.decode())
        assert found["Ended"] == found["Result"] == "to be filled in by hand"
        assert found["Score needed"] == "16 of 20"

    def test_estimates_do_not_stand_on_it(self, ruth: Client, sat: str) -> None:
        ruth.post(f"/sittings/{sat}/mark", {"how": "all right"})
        page = words(ruth.get(f"/sittings/{sat}/").content)
        assert re.search(r"evidence|of 10 pass|children|chance|%", page) is None


# --- who may --------------------------------------------------------------------------------------------------------


def test_a_helper_looks_on_and_begins_nothing(home: Home, monday: datetime, ready: str) -> None:
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    page = tobi.get("/sittings/").content.decode()
    assert "Asa may sit now." in page
    assert "/sittings/begin" not in page
    answer = begin(tobi, ready)
    assert answer.status_code == 409
    assert "Only an educator may do this." in answer.content.decode()
    assert not any(isinstance(fact, UnitTestSat) for fact in facts(ready))


def test_a_helper_marks_nothing(home: Home, ruth: Client, sat: str) -> None:
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    assert "sitting-mark" not in tobi.get(f"/sittings/{sat}/").content.decode()
    answer = tobi.post(f"/sittings/{sat}/mark", {"how": "all right"})
    assert answer.status_code == 409
    assert not any(isinstance(fact, UnitTestScored) for fact in facts(sat))


def test_a_copy_that_is_not_there_is_not_found(ruth: Client) -> None:
    assert ruth.get("/sittings/nothing/").status_code == 404
    assert ruth.post("/sittings/nothing/mark", {"how": "all right"}).status_code == 404
    assert ruth.post("/sittings/nothing/next", {"do": "reorder"}).status_code == 404


def test_a_copy_far_from_its_test_says_so(ruth: Client, boats: str) -> None:
    assert "Its unit test is still ahead." in ruth.get(f"/sittings/{boats}/").content.decode()


def test_an_old_record_without_minutes_reads(ruth: Client, sat: str) -> None:
    """Sittings marked before their length was kept have no such value in their body."""
    from markstead.ledger.serial import read_body

    body = (
        '{"act":"a","at":"2026-01-12T10:00:00Z","by":"p","fact":{"asked":20,"copy":"c","needed":16,"right":18,'
        '"wrong":[3,7]},"kind":"unit test scored","seq":1,"v":1,"written":"2026-01-12T10:00:00Z"}'
    )
    assert read_body(body).fact == UnitTestScored("c", 18, 20, 16, (3, 7))
    assert read_body(body).at == datetime(2026, 1, 12, 10, tzinfo=UTC)
