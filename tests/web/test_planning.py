"""Planning on screen: changes tried and refused, targets and limits filled in, a long search watched, stopped and lost."""

import json
import re
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from html import unescape
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from django.conf import LazySettings
from django.db import transaction
from django.http import QueryDict
from django.test import Client, override_settings
from pytest_django import DjangoDbBlocker

from markstead.plan.wishes import Wishes
from markstead.records import actions, plan_asks, plans, queries, setup
from markstead.records.home import Home
from markstead.records.models import Household
from markstead.records.models import Plan as PlanRow
from markstead.records.plan_asks import Ask, LearnerAway, MinutesADay, MoreSittings, PagesADay, TargetBy
from markstead.records.plans import Effort, State
from markstead.records.setup import new_stamp
from markstead.speech import spoken
from markstead.web import clock, kept, working
from markstead.web.whatif_page import ask_text, read_ask
from tests.tools.homes import PASSWORD, small_home
from tests.web.conftest import MONDAY

TUESDAY, LAST = date(2026, 1, 13), date(2026, 3, 27)
AWAY = {"kind": "away", "learner": "asa", "first": "2026-01-13", "last": "2026-01-14"}
TARGET = {"kind": "target", "book": "asa/sums-5-02", "by": "2026-03-27"}


def kept_home() -> Home:
    return queries.home_of("home")


def words(page: str) -> str:
    """What a person reads on a page."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page)))


def number_in(address: str) -> int:
    return int(address.strip("/").rsplit("/", 1)[-1])


def tried(ruth: Client, posted: Mapping[str, object]) -> int:
    """Try changes; the number of the plan that comes out."""
    answer = ruth.post("/plan/what-if/", posted)
    assert answer.status_code == 302, words(answer.content.decode())
    return number_in(answer["Location"])


@pytest.fixture(scope="module")
def once(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The small home with a copy, one target, and a plan in force; made once, and given back to every test."""
    quick = override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"])
    with django_db_blocker.unblock(), transaction.atomic(), quick:
        small_home(sign_in=True)
        early = MONDAY - timedelta(days=3)
        actions.order_copy("home", copy="boats", workbook="sums-5-01", learner="asa", by="ruth", at=early)
        actions.receive_copy("home", copy="boats", by="ruth", at=early)
        asked = [TargetBy("asa", "sums-5", "sums-5-01", LAST)]
        plan_asks.write_down("home", asked, today=early.date(), at=early)
        by = kept_home().person("ruth").id
        kept = plans.plan_now("home", by=by, now=MONDAY, clock=lambda: MONDAY, effort=Effort.ANEW)
        plans.take("home", kept.number, now=MONDAY)
        yield
        transaction.set_rollback(True)


@pytest.fixture
def home(once: None, db: None) -> Home:
    """The home that Ruth signs in to."""
    return kept_home()


@pytest.fixture
def planned(home: Home) -> int:
    """The number of the plan in force."""
    assert home.plan is not None
    return home.plan


def kept_on(page: str) -> list[str]:
    """The changes that the first form of a page sends again."""
    form = re.search(r"<form.*?</form>", page[page.index("This try so far") :], re.DOTALL)
    assert form is not None
    return [unescape(text) for text in re.findall(r'name="kept" value="([^"]*)"', form[0])]


# --- who may --------------------------------------------------------------------------------------------------------

GETS = ("/plan/", "/plan/1/", "/plan/what-if/", "/plan/targets/")
POSTS = (
    "/plan/make",
    "/plan/again",
    "/plan/away",
    "/plan/what-if/",
    "/plan/targets/",
    *(f"/plan/1/{do}" for do in ("stop", "take", "aside")),
)


def test_planning_is_for_educators_alone(ruth: Client, planned: int) -> None:
    before = PlanRow.objects.count(), kept_home().stamp
    tobi, stranger = Client(), Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    assert {tobi.get(path).status_code for path in GETS} == {403}
    assert {tobi.post(path, AWAY).status_code for path in POSTS} == {403}
    assert {stranger.get(path)["Location"].split("?")[0] for path in GETS} == {"/sign-in/"}
    assert {stranger.post(path, AWAY)["Location"].split("?")[0] for path in POSTS} == {"/sign-in/"}
    assert (PlanRow.objects.count(), kept_home().stamp) == before


@pytest.mark.parametrize("path", ["/plan/99/stop", "/plan/99/take", "/plan/99/aside"])
def test_a_plan_that_is_not_there_cannot_be_handled(ruth: Client, planned: int, path: str) -> None:
    assert ruth.post(path).status_code == 404


@pytest.mark.parametrize(
    "path", ["/plan/make", "/plan/again", "/plan/1/take", "/plan/1/stop", "/plan/1/aside"]
)
def test_what_changes_something_is_sent_and_not_fetched(ruth: Client, planned: int, path: str) -> None:
    assert ruth.get(path).status_code == 405


# --- what if ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("posted", "said"),
    [
        (AWAY | {"why": "fever"}, "Asa is away from Tue 13 Jan to Wed 14 Jan (fever)."),
        (AWAY | {"last": "2026-01-13"}, "Asa is away on Tue 13 Jan."),
        (
            {"kind": "no-school", "first": "2026-01-13", "last": "2026-01-13", "name": "boiler"},
            "No school on Tue 13 Jan (boiler).",
        ),
        (
            {"kind": "educator-away", "first": "2026-01-13", "last": "2026-01-14"},
            "No unit test is watched from Tue 13 Jan to Wed 14 Jan.",
        ),
        (
            {"kind": "school-too", "days": ["2026-01-17", "", "2026-01-24"]},
            "School also on Sat 17 Jan, Sat 24 Jan.",
        ),
        (TARGET, "Asa, Sums 5: Counting Gulls by Fri 27 Mar."),
        (
            {"kind": "target", "book": "asa/sums-5-01", "strike": "yes", "by": ""},
            "Asa, Sums 5: Counting Boats without a target.",
        ),
        (
            {"kind": "minutes", "learner": "asa", "soft": "90", "hard": "120"},
            "Asa: 90 minutes a day, 120 at the most.",
        ),
        (
            {"kind": "pages", "course": "asa/sums-5", "comfortable": "3", "most": "5", "weight": "2"},
            "Asa, Sums 5: 3 pages a day, 5 at the most, weight 2.",
        ),
        (
            {"kind": "pages", "course": "asa/sums-5", "comfortable": "", "most": ""},
            "Asa, Sums 5: usual pages a day, the usual most.",
        ),
        ({"kind": "start", "course": "noa/words-5"}, "Noa, Words 5: the course is begun."),
        ({"kind": "drop", "course": "asa/words-5"}, "Asa, Words 5: the course is given up."),
        ({"kind": "sittings", "more": "1"}, "1 more watched sitting every morning."),
    ],
)
def test_every_kind_of_change_is_tried_beside_the_plan_in_force(
    ruth: Client, planned: int, posted: dict[str, object], said: str
) -> None:
    before = kept_home()
    number = tried(ruth, posted)
    page = words(ruth.get(f"/plan/{number}/").content.decode())
    assert said in page
    assert "Beside the plan in force" in page
    assert "Its first goals" in page
    assert kept_home() == before
    assert plans.kept_plan("home", number).state is State.PROPOSED


@pytest.mark.parametrize(
    ("posted", "said"),
    [
        (
            {"kind": "school-too", "days": ["", ""]},
            "school days too: found none; allowed is at least one day.",
        ),
        (
            {"kind": "school-too", "days": ["2026-01-13"]},
            "found 13 January 2026; allowed is a day from 12 January 2026 on",
        ),
        (TARGET | {"by": ""}, "day: found nothing; allowed is a day, such as 2026-03-27."),
        (
            TARGET | {"by": "2026-01-05"},
            "target of Asa: found 5 January 2026; allowed is a day from 12 January 2026 to",
        ),
        (TARGET | {"book": "asa"}, "workbook: found nothing; allowed is one of the list."),
        (TARGET | {"book": "asa/rocks-1"}, "rocks-1"),
        (
            {"kind": "minutes", "learner": "asa", "soft": "many", "hard": "120"},
            "comfortable minutes: found 'many'",
        ),
        (
            {"kind": "minutes", "learner": "asa", "soft": "130", "hard": "120"},
            "minutes a day: found 130 and 120",
        ),
        (
            {"kind": "minutes", "learner": "asa", "soft": "10", "hard": "30"},
            "found 30 at the most; allowed is 40 or more",
        ),
        (
            {"kind": "pages", "course": "asa/sums-5", "comfortable": "9", "most": "2"},
            "pages a day: found 9, 2",
        ),
        ({"kind": "start", "course": "asa/sums-5"}, "one that Asa does not take yet"),
        ({"kind": "drop", "course": ""}, "course: found nothing; allowed is one of the list."),
        (
            {"kind": "sittings", "more": "12"},
            "sittings more a morning: found 12; allowed is a number from 1 to 9.",
        ),
        ({"kind": "party"}, "change: found 'party'; allowed is one of: away, no-school"),
        ({"do": "try"}, "changes: found none; allowed is at least one to try."),
        ({"kept": "kind=away&learner=asa"}, "first day: found nothing"),
        ({"kept": ["kind=sittings&more=1"] * 21}, "changes: found 21 of them; allowed is 20 at the most."),
    ],
)
def test_a_change_that_cannot_be_is_said_and_nothing_is_tried(
    ruth: Client, planned: int, posted: dict[str, object], said: str
) -> None:
    answer = ruth.post("/plan/what-if/", posted)
    assert answer.status_code == 409
    assert said in words(answer.content.decode())
    assert PlanRow.objects.count() == 1


def test_what_was_typed_stays_in_the_form_beside_what_is_wrong_with_it(ruth: Client, planned: int) -> None:
    posted = {
        "kind": "minutes",
        "learner": "noa",
        "soft": "ninety",
        "hard": "120",
        "kept": "kind=sittings&more=1",
    }
    page = ruth.post("/plan/what-if/", posted).content.decode()
    form = page[page.index('id="minutes"') :]
    form = form[: form.index("</details>")]
    assert form.startswith('id="minutes" open')
    assert 'value="ninety"' in form
    assert 'value="120"' in form
    assert '<option value="noa" selected>' in form
    assert kept_on(page) == ["kind=sittings&more=1"]


def test_changes_are_collected_left_out_and_tried_together(ruth: Client, planned: int) -> None:
    one = ruth.post("/plan/what-if/", AWAY | {"do": "add"})
    kept = kept_on(one.content.decode())
    two = ruth.post("/plan/what-if/", {"kind": "sittings", "more": "1", "do": "add", "kept": kept})
    kept = kept_on(two.content.decode())
    assert (len(kept), PlanRow.objects.count()) == (2, 1)
    left = kept_on(ruth.post("/plan/what-if/", {"do": "drop-1", "kept": kept}).content.decode())
    assert left == kept[:1]

    number = tried(ruth, TARGET | {"do": "try", "kept": left})

    kinds = [type(ask) for ask in plans.kept_plan("home", number).asks]
    assert kinds == [LearnerAway, TargetBy]


def test_a_try_can_be_taken_up_again_and_changed(ruth: Client, planned: int) -> None:
    number = tried(ruth, AWAY)
    page = ruth.get(f"/plan/{number}/").content.decode()
    texts = [unescape(text) for text in re.findall(r'name="kept" value="([^"]*)"', page)]
    again = ruth.get("/plan/what-if/", {"kept": texts[0]})
    assert "Asa is away from Tue 13 Jan to Wed 14 Jan." in words(again.content.decode())


def test_a_sick_learner_is_met_with_an_open_form(ruth: Client, planned: int) -> None:
    page = ruth.get("/plan/what-if/", {"away": "noa"}).content.decode()
    assert 'id="away" open' in page
    assert '<option value="noa" selected>' in page


@pytest.mark.parametrize(
    "ask",
    [
        LearnerAway("asa", TUESDAY, LAST, "a cold & a cough"),
        plan_asks.NoSchool(TUESDAY, TUESDAY, "boiler"),
        plan_asks.EducatorAway(TUESDAY, LAST),
        plan_asks.SchoolToo((date(2026, 1, 17), date(2026, 1, 24))),
        TargetBy("asa", "sums-5", "sums-5-02", LAST),
        TargetBy("asa", "sums-5", "sums-5-02", None),
        MinutesADay("asa", 90, 120),
        PagesADay("asa", "sums-5", None, 5, None),
        plan_asks.CourseTaken("noa", "words-5"),
        plan_asks.CourseDropped("asa", "words-5"),
        MoreSittings(2),
    ],
    ids=lambda ask: type(ask).__name__,
)
def test_a_change_reads_back_as_it_was_written(home: Home, ask: Ask) -> None:
    assert read_ask(QueryDict(ask_text(home, ask)), home) == ask


def test_what_can_only_be_tried_offers_no_taking_and_refuses_it(ruth: Client, planned: int) -> None:
    number = tried(ruth, {"kind": "sittings", "more": "1"})
    page = ruth.get(f"/plan/{number}/").content.decode()
    assert "This can be tried and not taken" in page
    assert f"/plan/{number}/take" not in page
    assert ruth.post(f"/plan/{number}/take").status_code == 409
    assert kept_home().plan == planned


def test_ways_out_of_a_target_that_cannot_be_met_are_tried_with_one_press(ruth: Client, planned: int) -> None:
    number = tried(ruth, {**TARGET, "by": "2026-01-16", "kept": ["kind=sittings&more=1"], "anew": "yes"})
    page = ruth.get(f"/plan/{number}/").content.decode()
    assert "1 target cannot be met" in words(page)
    way = re.search(r'<ul class="ways"><li>.*?</li>', page, re.DOTALL)
    assert way is not None
    texts = [unescape(text) for text in re.findall(r'name="kept" value="([^"]*)"', way[0])]
    assert 'name="anew" value="yes"' in way[0]
    met = plans.kept_plan("home", tried(ruth, {"kept": texts, "do": "try", "anew": "yes"}))
    assert met.effort is Effort.ANEW
    assert not met.says.at_risk
    assert len(met.asks) == 3


def sentences_of(number: int, code: str) -> set[str]:
    """All that is told of a plan in a language, and kept with it."""
    with spoken(code):
        says = plans.kept_plan("home", number).says
        assert (bool(says.moved), bool(says.at_risk), bool(says.ways)) == (True, True, True)
        moved = {words for one in says.moved for words in (one.was, one.now, one.because)}
        return moved | {one.reason for one in says.at_risk} | {one.sentence for one in says.ways}


SHEETS = ("/plan/term/", "/plan/year/", "/plan/load/")


@pytest.mark.parametrize(("writer", "reader"), [("en-gb", "es"), ("es", "en-gb")])
def test_a_plan_that_was_made_in_one_language_is_read_in_another(
    ruth: Client, planned: int, writer: str, reader: str
) -> None:
    def posted(code: str) -> int:
        late = {**TARGET, "by": "2026-01-16", "kept": [urlencode(AWAY)], "anew": "yes"}
        answer = ruth.post("/plan/what-if/", late, headers={"accept-language": code})
        assert answer.status_code == 302
        return number_in(answer["Location"])

    made, there = posted(writer), posted(reader)
    told, foreign = sentences_of(made, reader), sentences_of(made, writer)
    assert told == sentences_of(there, reader)
    assert foreign == sentences_of(there, writer)
    assert not told & foreign
    setup.set_language("home", reader)
    page = words(ruth.get(f"/plan/{made}/").content.decode())
    assert [sentence for sentence in told if sentence not in page] == []
    assert ruth.post(f"/plan/{made}/take").status_code == 302
    for address in (f"/plan/{made}/", "/plan/", "/plan/what-if/", *SHEETS, "/"):
        answer = ruth.get(address, headers={"accept-language": writer})
        assert answer.headers["Content-Language"].lower() == reader
        page = words(answer.content.decode())
        assert [sentence for sentence in foreign if sentence in page] == [], address


def test_a_late_plan_that_need_not_be_is_offered_a_longer_search(ruth: Client, planned: int) -> None:
    number = tried(ruth, {**TARGET, "by": "2026-01-16", "kept": ["kind=sittings&more=1"], "anew": "yes"})
    row = PlanRow.objects.get(number=number)
    bare, says = {**json.loads(row.asks), "asks": []}, json.loads(row.says)
    offered = []
    for gap in (0.0, 25.0):
        PlanRow.objects.filter(number=number).update(
            asks=json.dumps(bare), says=json.dumps({**says, "gap": gap})
        )
        kept.forget()  # the row was changed behind the house's back
        offered.append("Search longer" in words(ruth.get(f"/plan/{number}/").content.decode()))
    assert offered == [False, True]
    begun = ruth.post("/plan/make", {"long": "yes"})["Location"]
    assert plans.kept_plan("home", int(begun.split("/")[-2])).effort is Effort.LONG


# --- taken or put aside ---------------------------------------------------------------------------------------------


def test_taking_a_plan_twice_takes_it_once(ruth: Client, planned: int) -> None:
    number = tried(ruth, AWAY)
    assert [ruth.post(f"/plan/{number}/take")["Location"] for _ in range(2)] == ["/", "/"]
    assert len(kept_home().calendar.absences) == 1
    assert kept_home().plan == number


def test_putting_aside_twice_does_no_harm_and_can_be_thought_over(ruth: Client, planned: int) -> None:
    number = tried(ruth, AWAY)
    assert [ruth.post(f"/plan/{number}/aside")["Location"] for _ in range(2)] == ["/plan/", "/plan/"]
    assert "Take this plan" in ruth.get(f"/plan/{number}/").content.decode()


def test_the_plan_in_force_cannot_be_put_aside(ruth: Client, planned: int) -> None:
    ruth.post(f"/plan/{planned}/aside")
    assert (kept_home().plan, plans.kept_plan("home", planned).state) == (planned, State.IN_FORCE)


def test_a_plan_of_yesterday_is_refused_and_says_what_to_do(
    ruth: Client, planned: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = tried(ruth, AWAY)
    monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + timedelta(days=1)).isoformat())
    answer = ruth.post(f"/plan/{number}/take")
    assert answer.status_code == 409
    assert "Plan again, and take the new plan." in answer.content.decode()
    assert kept_home().plan == planned


def test_a_year_without_school_days_is_refused_on_the_page(
    ruth: Client, planned: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MARKSTEAD_NOW", "2026-04-20T09:00:00+00:00")
    for path in ("/plan/make", "/plan/again"):
        answer = ruth.post(path)
        assert answer.status_code == 409
        assert "no school day after 20 April 2026" in answer.content.decode()
    assert kept_home().plan == planned


# --- a long search --------------------------------------------------------------------------------------------------


@pytest.fixture
def searching(ruth: Client, planned: int) -> int:
    """A plan that was asked for, at which nobody is yet."""
    by = kept_home().person("ruth").id
    return plans.ask("home", by=by, now=MONDAY, real_now=clock.real_now(), effort=Effort.ANEW)


def test_while_it_is_worked_out_the_page_shows_how_far_it_is_and_asks_again(
    ruth: Client, searching: int
) -> None:
    PlanRow.objects.filter(number=searching).update(
        says='{"done":2,"of":7,"doing":"Searching","points":1234.5}'
    )
    page = ruth.get(f"/plan/{searching}/").content.decode()
    assert '<progress id="how-far" value="2" max="7">' in page
    assert "The best plan so far costs 1,234 points" in page
    assert 'data-hx-trigger="every 1s"' in page
    assert f'href="/plan/{searching}/">Look again' in page
    assert "The old plan stays in force meanwhile" in page
    assert "Take this plan" not in page


def test_the_page_that_asks_again_gets_its_middle_part_alone(ruth: Client, searching: int) -> None:
    part = ruth.get(f"/plan/{searching}/", headers={"HX-Request": "true"}).content.decode()
    assert part.startswith('<div id="page"')
    plans.work_out("home", searching, clock.real_now)
    part = ruth.get(f"/plan/{searching}/", headers={"HX-Request": "true"}).content.decode()
    assert "Take this plan" in part
    assert "data-hx-trigger" not in part


def test_a_search_that_is_stopped_shows_its_best(ruth: Client, searching: int) -> None:
    assert ruth.post(f"/plan/{searching}/stop")["Location"] == f"/plan/{searching}/"
    plans.work_out("home", searching, clock.real_now)
    page = words(ruth.get(f"/plan/{searching}/").content.decode())
    assert "The search was stopped: this is the best plan so far." in page
    assert "Take this plan" in page


def test_a_plan_of_which_nothing_is_heard_is_told_broken_off(
    ruth: Client, planned: int, searching: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + timedelta(minutes=3)).isoformat())
    page = words(ruth.get(f"/plan/{searching}/").content.decode())
    assert "nothing was heard of it for 2 minutes. The old plan is still in force." in page
    assert "Try again" in page
    assert plans.kept_plan("home", searching).state is State.BROKEN
    assert kept_home().plan == planned


def test_a_plan_whose_process_was_killed_is_told_broken_off_at_once(
    ruth: Client, planned: int, searching: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    sleeper = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
    monkeypatch.setitem(working._AT_WORK, ("home", searching), sleeper)
    assert "How near" not in ruth.get(f"/plan/{searching}/").content.decode()
    assert plans.kept_plan("home", searching).state is State.WORKING
    sleeper.send_signal(signal.SIGKILL)
    sleeper.wait(timeout=120)
    page = words(ruth.get("/plan/").content.decode())
    assert "broken off" in page
    page = words(ruth.get(f"/plan/{searching}/").content.decode())
    assert "its process was ended before it was done. The old plan is still in force." in page
    assert kept_home().plan == planned


def test_a_machine_that_cannot_begin_a_process_says_so(
    ruth: Client, planned: int, settings: LazySettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.PLANS_IN_A_PROCESS = True
    monkeypatch.setattr("markstead.web.beside.sys.executable", "/nowhere/python")
    answer = ruth.post("/plan/make", follow=True)
    assert "The machine could not begin it: No such file or directory." in answer.content.decode()
    assert kept_home().plan == planned


def test_a_search_asked_for_twice_is_begun_once(ruth: Client, planned: int, searching: int) -> None:
    assert ruth.post("/plan/make")["Location"] == f"/plan/{searching}/"
    assert PlanRow.objects.filter(state=State.WORKING).count() == 1


def test_a_plan_put_aside_while_it_is_worked_out_has_nothing_to_take(ruth: Client, searching: int) -> None:
    ruth.post(f"/plan/{searching}/aside")
    page = ruth.get(f"/plan/{searching}/").content.decode()
    assert "There is nothing to take." in page
    assert "Take this plan" not in page
    assert ruth.post(f"/plan/{searching}/take").status_code == 409


# --- targets and limits -----------------------------------------------------------------------------------------------

SUPPLIER = {"days/0": "9", "postage/0": "4.50", "free/0": "40,00", "least/0": "0"}
HOUSE = {"illness": "4", "service": "90", "announced": "2", "reserve": "7", "practice": "25", "unit": "35"}


def saved(ruth: Client, section: str, posted: dict[str, str]) -> Wishes:
    """Save a section; what the home asks of its plan then."""
    answer = ruth.post("/plan/targets/", {"section": section, "stamp": kept_home().stamp, **posted})
    assert answer.status_code == 302, words(answer.content.decode())
    address = urlsplit(answer["Location"])
    assert (parse_qs(address.query)["saved"], address.fragment) == ([section], section)
    assert "Saved" in words(ruth.get(answer["Location"]).content.decode())
    return kept_home().wishes


def test_a_target_is_set_moved_and_struck(ruth: Client, planned: int) -> None:
    asa = kept_home().person("asa").id
    found = saved(ruth, "new-target", {"book": "asa/sums-5-02", "book-by": "2026-03-20"}).targets_of(
        asa, "sums-5"
    )
    assert [(t.workbook, t.by) for t in found] == [("sums-5-01", LAST), ("sums-5-02", date(2026, 3, 20))]
    both = {"by/asa/sums-5-01": "2026-02-27", "by/asa/sums-5-02": "2026-03-20", "strike/asa/sums-5-02": "yes"}
    found = saved(ruth, "targets", both).targets_of(asa, "sums-5")
    assert [(t.workbook, t.by) for t in found] == [("sums-5-01", date(2026, 2, 27))]


def test_minutes_and_pages_are_saved_line_by_line(ruth: Client, planned: int) -> None:
    minutes = {"soft/asa": "100", "hard/asa": "130", "soft/noa": "150", "hard/noa": "200"}
    found = saved(ruth, "minutes", minutes)
    assert {(w.soft, w.hard) for w in found.learners} == {(100, 130), (150, 200)}
    pages = {
        f"{name}/{own}": value
        for own, values in (
            ("asa/sums-5", ("3", "5", "2")),
            ("asa/words-5", ("", "", "1")),
            ("noa/sums-5", ("", "7", "1")),
        )
        for name, value in zip(("comfortable", "most", "weight"), values, strict=True)
    }
    found = saved(ruth, "pages", pages)
    assert {(w.course, w.comfortable, w.most, w.weight) for w in found.courses} == {
        ("sums-5", 3, 5, 2),
        ("sums-5", None, 7, 1),
    }


def test_suppliers_and_the_house_are_saved(ruth: Client, planned: int) -> None:
    supplier = saved(ruth, "suppliers", SUPPLIER).supplier("Quayside Books")
    assert (supplier.days, supplier.postage, supplier.free_from, supplier.least) == (9.0, 450, 4000, 0)
    found = saved(ruth, "house", HOUSE)
    assert (found.illness, found.service) == (0.04, 0.9)
    assert (found.announced_days, found.reserve_days) == (2, 7)
    assert (found.practice_minutes, found.unit_minutes) == (25, 35)


def test_saving_what_stands_there_already_writes_nothing(ruth: Client, planned: int) -> None:
    before = kept_home()
    saved(ruth, "targets", {"by/asa/sums-5-01": "2026-03-27"})
    assert kept_home().wishes == before.wishes


@pytest.mark.parametrize(
    ("section", "posted", "field", "said"),
    [
        (
            "targets",
            {"by/asa/sums-5-01": "2026-01-09"},
            "by/asa/sums-5-01",
            "found 9 January 2026; allowed is a day from",
        ),
        ("targets", {"by/asa/sums-5-01": "soon"}, "by/asa/sums-5-01", "A day is wanted here."),
        (
            "new-target",
            {"book": "asa/sums-5-02", "book-by": "2026-07-01"},
            "book-by",
            "found 1 July 2026; allowed is a day",
        ),
        (
            "new-target",
            {"book": "zoe/sums-5-02", "book-by": "2026-03-20"},
            "book-by",
            "A workbook of the list is wanted",
        ),
        (
            "minutes",
            {"soft/asa": "200", "hard/asa": "100"},
            "hard/asa",
            "minutes a day: found 200 and 100; allowed is two",
        ),
        (
            "minutes",
            {"soft/asa": "9", "hard/asa": "100"},
            "soft/asa",
            "A whole number from 10 to 900 is wanted here.",
        ),
        (
            "pages",
            {"comfortable/asa/sums-5": "7", "most/asa/sums-5": "3", "weight/asa/sums-5": "1"},
            "most/asa/sums-5",
            "pages a day: found 7, 3",
        ),
        (
            "pages",
            {"comfortable/asa/sums-5": "x", "most/asa/sums-5": "3", "weight/asa/sums-5": "1"},
            "comfortable/asa/sums-5",
            "A whole number from 1 to 99 is wanted here.",
        ),
        (
            "suppliers",
            SUPPLIER | {"postage/0": "4.555"},
            "postage/0",
            "An amount such as 4.50 is wanted here.",
        ),
        ("suppliers", SUPPLIER | {"days/0": "0"}, "days/0", "A number from 0.5 to 200 is wanted here."),
        (
            "suppliers",
            SUPPLIER | {"free/0": "0"},
            "free/0",
            "where postage is always free, write 0 for the postage",
        ),
        ("house", HOUSE | {"illness": "60"}, "illness", "A number from 0 to 50 is wanted here."),
    ],
)
def test_what_cannot_be_taken_is_said_beside_its_field_and_stays_there(
    ruth: Client, planned: int, section: str, posted: dict[str, str], field: str, said: str
) -> None:
    before = kept_home().wishes
    answer = ruth.post("/plan/targets/", {"section": section, "stamp": kept_home().stamp, **posted})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert said in unescape(page)
    written = re.search(rf'<input name="{re.escape(field)}"[^>]*>', page)
    assert written is not None
    assert f'value="{posted[field]}"' in written[0]
    assert kept_home().wishes == before


def test_a_page_opened_before_somebody_else_saved_undoes_nothing_and_keeps_what_was_typed(
    ruth: Client, planned: int
) -> None:
    old = kept_home().stamp
    saved(ruth, "minutes", {"soft/asa": "100", "hard/asa": "130", "soft/noa": "150", "hard/noa": "200"})
    before = kept_home().wishes
    posted = {
        "section": "minutes",
        "stamp": old,
        "soft/asa": "140",
        "hard/asa": "175",
        "soft/noa": "111",
        "hard/noa": "222",
    }
    answer = ruth.post("/plan/targets/", posted)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "changed since this page was opened" in page
    assert 'value="111"' in page
    assert kept_home().wishes == before
    assert saved(ruth, "minutes", {k: v for k, v in posted.items() if "/" in k}) != before


def test_after_a_change_the_plan_is_said_not_to_know_it_until_it_is_made_again(
    ruth: Client, planned: int
) -> None:
    assert "does not know" not in ruth.get("/plan/").content.decode()
    saved(ruth, "house", HOUSE)
    assert "does not know" in ruth.get("/plan/").content.decode()
    assert "does not know" in ruth.get("/plan/targets/").content.decode()
    number = number_in(ruth.post("/plan/again")["Location"])
    ruth.post(f"/plan/{number}/take")
    assert "does not know" not in ruth.get("/plan/").content.decode()


def test_a_section_that_is_not_there_is_not_understood(ruth: Client, planned: int) -> None:
    assert ruth.post("/plan/targets/", {"section": "curtains"}).status_code == 400


def test_without_a_plan_the_page_of_targets_offers_to_make_one(ruth: Client, planned: int) -> None:
    plan_asks.write_down(
        "home", [TargetBy("asa", "sums-5", "sums-5-01", None)], today=MONDAY.date(), at=MONDAY
    )
    Household.objects.update(plan_in_force=None, stamp=new_stamp())
    page = ruth.get("/plan/targets/").content.decode()
    assert "There is no plan yet." in page
    assert "No target is set." in page


def test_a_target_that_the_plan_does_not_meet_stands_out_among_the_targets(
    ruth: Client, planned: int
) -> None:
    number = tried(ruth, TARGET | {"by": "2026-01-16"})
    ruth.post(f"/plan/{number}/take")
    page = ruth.get("/plan/targets/").content.decode()
    assert len(re.findall(r"planned: <strong>[^<]*school days? late</strong>", page)) == 1
