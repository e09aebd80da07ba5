"""A shared tablet: opened by an educator, entered by PIN, shut against everything else, and what a learner does there."""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from django.contrib.auth.models import User
from django.core import signing
from django.test import Client
from django.urls import get_resolver

from markstead.ledger.facts import PRACTICE, Step
from markstead.records import actions as a
from markstead.records import devices, pins, queries, quizzes
from markstead.records.desk import Slip
from markstead.records.home import Home
from markstead.records.models import Device, Entry
from markstead.records.setup import give_password
from markstead.rules.bars import SENTENCES, BarKind, bar
from markstead.web.tablet_page import age_class
from markstead.web.tablet_seat import COOKIE
from markstead.web.tablet_words import bar_words, numbers_words
from tests.tools.homes import PASSWORD, small_home
from tests.web.conftest import MONDAY
from tests.web.test_estimates import NEVER_BEFORE_A_LEARNER, OF_ESTIMATES, opened, section, words

PINS = {"asa": "2746", "noa": "8135"}


@pytest.fixture
def house(home: Home) -> Home:
    """Asa and Noa have a PIN."""
    for learner, pin in PINS.items():
        pins.set_pin(home, learner=learner, pin=pin, by="ruth", now=MONDAY)
    return home


@pytest.fixture
def tablet(ruth: Client, house: Home) -> Client:
    """The kitchen tablet, just opened for learners by Ruth."""
    answer = ruth.post("/settings/tablets/open", {"name": "Kitchen tablet", "minutes": "3"})
    assert (answer.status_code, answer["Location"]) == (302, "/tablet/")
    return ruth


def enter(tablet: Client, home: Home, key: str = "asa") -> Client:
    answer = tablet.post(f"/tablet/who/{home.person(key).id}/", {"pin": PINS[key]})
    assert (answer.status_code, answer["Location"]) == (302, "/tablet/me/")
    return tablet


@pytest.fixture
def asa(tablet: Client, house: Home) -> Client:
    """Asa at the tablet."""
    return enter(tablet, house)


@pytest.fixture
def begun(boats: str) -> str:
    """A workbook in Asa's hands."""
    opened(boats, MONDAY - timedelta(hours=1))
    return boats


def later(monkeypatch: pytest.MonkeyPatch, seconds: float) -> datetime:
    then = MONDAY + timedelta(seconds=seconds)
    monkeypatch.setenv("MARKSTEAD_NOW", then.isoformat())
    return then


def step(client: Client, copy: str = "") -> str:
    """What stands largest on the learner's page."""
    page = client.get("/tablet/me/", {"copy": copy} if copy else {}).content.decode()
    (found,) = re.findall(r'<h1 id="step-h"[^>]*>([^<]*)</h1>', page)
    return str(found)


def forms_of(page: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Each form of a page: its button, and its fields as a browser would send them untouched."""
    for form in re.findall(r"<form[^>]*>.*?</form>", page, re.DOTALL):
        found = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form))
        found.pop("csrfmiddlewaretoken", None)
        for button in re.findall(r"<button[^>]*>([^<]*)</button>", form):
            yield button, found


def tap(client: Client, label: str, address: str = "/tablet/me/", **typed: object) -> str:
    """Tap a button; the page that follows."""
    page = client.get(address).content.decode()
    fields = next((f for button, f in forms_of(page) if button == label), None)
    assert fields is not None, f"no button {label!r} at {address}: {[b for b, _ in forms_of(page)]}"
    answer = client.post("/tablet/me/act", {**fields, **typed}, follow=True)
    assert answer.status_code == 200, answer.content.decode()
    return str(answer.content.decode())


class TestOpening:
    def test_it_signs_the_educator_out_and_shows_the_names(self, tablet: Client) -> None:
        page = words(tablet.get("/tablet/").content.decode())

        assert "Asa" in page
        assert "Noa" in page
        assert "_auth_user_id" not in tablet.session
        assert Device.objects.get().name == "Kitchen tablet"

    def test_its_cookie_is_signed_lasting_and_read_by_no_script(self, tablet: Client) -> None:
        cookie = tablet.cookies[COOKIE]

        assert signing.loads(cookie.value, salt="markstead.tablet") == Device.objects.get().id
        assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")
        assert int(cookie["max-age"]) > 300 * 24 * 3600

    @pytest.mark.parametrize(
        ("name", "minutes", "says"),
        [
            ("", "3", "name of the tablet"),
            ("One", "0", "1 to 60"),
            ("One", "x", "whole number"),
            ("One", "", "minutes"),
        ],
    )
    def test_what_cannot_be_opens_nothing_and_is_kept(
        self, ruth: Client, name: str, minutes: str, says: str
    ) -> None:
        answer = ruth.post("/settings/tablets/open", {"name": name, "minutes": minutes})

        assert answer.status_code == 409
        assert says in answer.content.decode()
        assert "_auth_user_id" in ruth.session
        assert COOKIE not in ruth.cookies
        assert not Device.objects.exists()

    def test_nobody_but_an_educator(self, home: Home, monday: datetime) -> None:
        tobi = Client()
        tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})

        for address in ("open", "minutes", "take-back"):
            assert (
                tobi.post(f"/settings/tablets/{address}", {"name": "One", "minutes": "3"}).status_code == 403
            )
        assert tobi.get("/settings/tablets/").status_code == 403
        assert not Device.objects.exists()

    def test_a_browser_that_is_no_tablet_is_told_how_it_becomes_one(self, home: Home) -> None:
        page = Client().get("/tablet/")

        assert page.status_code == 200
        assert b"An educator signs in on this device" in page.content
        assert Client().get("/tablet/me/").status_code == 403

    def test_minutes_are_set_and_a_tablet_is_taken_back_from_afar(self, ruth: Client, house: Home) -> None:
        kept = devices.open_tablet(house, name="Kitchen tablet", by="ruth", now=MONDAY)

        assert (
            b"closes after 10 minutes"
            in ruth.post("/settings/tablets/minutes", {"tablet": kept.id, "minutes": "10"}).content
        )
        assert devices.tablets(house)[0].idle_minutes == 10
        assert ruth.post("/settings/tablets/minutes", {"tablet": kept.id, "minutes": "99"}).status_code == 409
        assert b"is taken back" in ruth.post("/settings/tablets/take-back", {"tablet": kept.id}).content
        assert devices.tablets(house) == ()
        assert ruth.post("/settings/tablets/take-back", {"tablet": kept.id}).status_code == 409


class TestPinsOnTheLearnersPage:
    def test_an_educator_sets_it_and_takes_it_away(self, ruth: Client, home: Home) -> None:
        who = home.person("asa").id

        assert b"Without a PIN Asa cannot enter" in ruth.get(f"/learners/{who}/").content
        answer = ruth.post(f"/learners/{who}/pin", {"pin": " 2746 ", "do": "set"})
        assert b"Asa enters with the new PIN" in answer.content
        assert b"2746" not in answer.content
        assert pins.try_pin(home, learner=who, pin="2746", now=MONDAY).right
        assert b"has no PIN any more" in ruth.post(f"/learners/{who}/pin", {"do": "take away"}).content
        assert pins.pins_set(home) == {}

    def test_a_bad_one_is_said_and_not_shown(self, ruth: Client, home: Home) -> None:
        answer = ruth.post(f"/learners/{home.person('asa').id}/pin", {"pin": "99999999", "do": "set"})

        assert answer.status_code == 409
        assert b"PIN: found 8 digits" in answer.content
        assert b"99999999" not in answer.content

    def test_nobody_but_an_educator(self, home: Home, monday: datetime) -> None:
        tobi = Client()
        tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})

        assert (
            tobi.post(f"/learners/{home.person('asa').id}/pin", {"pin": "2746", "do": "set"}).status_code
            == 403
        )
        assert pins.pins_set(home) == {}


class TestTheDoor:
    def test_the_right_pin_opens_the_learners_own_page(self, asa: Client) -> None:
        page = words(asa.get("/tablet/me/").content.decode())

        assert "Asa" in page
        assert "Noa" not in page

    def test_a_learner_without_a_pin_stands_there_and_cannot_enter(self, tablet: Client, house: Home) -> None:
        pins.take_pin_away(house, learner="noa", by="ruth")
        noa = house.person("noa").id

        page = tablet.get("/tablet/").content.decode()

        assert "no PIN yet: Ruth sets one" in page
        assert f"/tablet/who/{noa}/" not in page
        answer = tablet.post(f"/tablet/who/{noa}/", {"pin": "8135"})
        assert answer.status_code == 403
        assert "There is no PIN for Noa yet" in words(answer.content.decode())
        assert tablet.get("/tablet/me/")["Location"] == "/tablet/"

    def test_a_wrong_pin_is_told_with_the_tries_that_are_left(self, tablet: Client, house: Home) -> None:
        who = house.person("asa").id

        answer = tablet.post(f"/tablet/who/{who}/", {"pin": PINS["noa"]})

        assert answer.status_code == 403
        assert "not Asa's PIN. Look, and type it again: 4 tries are left." in _plain(answer)
        assert PINS["noa"] not in answer.content.decode()

    def test_five_wrong_ones_and_the_door_rests_for_minutes_in_words(
        self, tablet: Client, house: Home, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        address = f"/tablet/who/{house.person('asa').id}/"
        answers = [tablet.post(address, {"pin": "0000"}) for _ in range(5)]

        assert [x.status_code for x in answers] == [403, 403, 403, 403, 429]
        assert "wrong 5 times. Wait 5 minutes, or ask Ruth." in _plain(answers[-1])
        later(monkeypatch, 4 * 60 + 1)
        again = tablet.post(address, {"pin": PINS["asa"]})
        assert again.status_code == 429
        assert "Wait 1 minute, or ask Ruth." in _plain(again)
        later(monkeypatch, 5 * 60)
        assert tablet.post(address, {"pin": PINS["asa"]}).status_code == 302

    @pytest.mark.parametrize("who", ["nobody", "ruth", "theirs"])
    def test_only_learners_of_this_home_stand_at_it(self, tablet: Client, house: Home, who: str) -> None:
        away = small_home("away")
        ids = {"nobody": "p000", "ruth": house.person("ruth").id, "theirs": away.person("asa").id}

        assert tablet.get(f"/tablet/who/{ids[who]}/").status_code == 404
        assert tablet.post(f"/tablet/who/{ids[who]}/", {"pin": "2746"}).status_code == 404

    def test_going_to_another_name_ends_what_was_entered(self, asa: Client, house: Home) -> None:
        asa.get(f"/tablet/who/{house.person('noa').id}/")

        assert asa.get("/tablet/me/")["Location"] == "/tablet/"

    def test_a_nul_byte_is_no_pin(self, tablet: Client, house: Home) -> None:
        assert tablet.post(f"/tablet/who/{house.person('asa').id}/", {"pin": "27\x0046"}).status_code == 400

    def test_a_new_pin_ends_what_was_entered_with_the_old_one(
        self, asa: Client, house: Home, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        pins.set_pin(house, learner="asa", pin="9753", by="ruth", now=later(monkeypatch, 10))

        assert asa.get("/tablet/me/")["Location"] == "/tablet/"


def _plain(answer: object) -> str:
    import html

    return html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode()))  # type: ignore[attr-defined]


class TestSeparation:
    def addresses(self, home: Home, copy: str) -> list[str]:
        found = []
        values = {"copy": copy, "learner": home.person("asa").id, "stop": "section-1"}
        for pattern in get_resolver().url_patterns:
            route = str(pattern.pattern)
            found.append("/" + re.sub(r"<(?:\w+:)?(\w+)>", lambda m: values.get(m[1], "1"), route))
        return found

    def test_a_learner_reaches_the_pages_of_the_tablet_and_no_other(
        self, asa: Client, house: Home, begun: str
    ) -> None:
        before, reached = Entry.objects.count(), 0

        for address in self.addresses(house, begun):
            if address.startswith("/tablet/"):
                continue
            reached += 1
            got = asa.get(address)
            assert (got.status_code, got["Location"]) == (302, "/tablet/"), address
            for method in (asa.post, asa.put, asa.delete, asa.patch):
                assert method(address, {"act": "work"}, content_type="application/json").status_code == 403, (
                    address
                )
            assert asa.post(address, {"act": "work", "copy": begun, "first": "1"}).status_code == 403, address
            asked = asa.get(address, headers={"HX-Request": "true"})
            assert asked.status_code == 403, address
        assert reached >= 30
        assert Entry.objects.count() == before
        assert asa.get("/tablet/me/").status_code == 200

    def test_signing_in_on_it_does_not_end_it(self, tablet: Client, house: Home) -> None:
        """However an educator came to be signed in on this browser, it stays a tablet until she ends it."""
        assert tablet.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD}).status_code == 403

        tablet.force_login(
            User.objects.get(username="ruth-home"), backend="django.contrib.auth.backends.ModelBackend"
        )

        assert tablet.get("/")["Location"] == "/tablet/"
        assert tablet.post("/act", {"act": "work"}).status_code == 403

    def test_an_educators_session_is_no_way_to_a_learners_page(self, ruth: Client, house: Home) -> None:
        assert ruth.get("/tablet/me/").status_code == 403
        assert ruth.post("/tablet/me/act", {"act": "work"}).status_code == 403

    def test_without_the_cookie_of_the_tablet_the_learners_session_opens_nothing(self, asa: Client) -> None:
        del asa.cookies[COOKIE]

        assert asa.get("/tablet/me/").status_code == 403
        assert asa.get("/")["Location"].startswith("/sign-in/")

    @pytest.mark.parametrize("forged", ["", "x", "plain-id", "resigned"])
    def test_a_cookie_that_is_not_ours_is_no_tablet(self, tablet: Client, forged: str) -> None:
        kept = Device.objects.get().id
        value = {"plain-id": kept, "resigned": signing.dumps(kept, salt="another")}.get(forged, forged)
        other = Client()
        other.cookies[COOKIE] = value

        answer = other.get("/tablet/")

        assert b"An educator signs in on this device" in answer.content
        assert other.get("/")["Location"].startswith("/sign-in/")

    def test_a_tablet_that_was_taken_back_is_out_at_the_next_touch_and_an_ordinary_browser_again(
        self, asa: Client, house: Home
    ) -> None:
        devices.take_back(house, tablet=Device.objects.get().id, by="ruth", now=MONDAY)

        assert asa.get("/tablet/me/").status_code == 403
        assert asa.cookies[COOKIE].value == ""
        assert asa.get("/")["Location"].startswith("/sign-in/")

    def test_what_was_entered_on_one_tablet_is_not_entered_on_another(self, asa: Client, house: Home) -> None:
        other = devices.open_tablet(house, name="Other", by="ruth", now=MONDAY)
        asa.cookies[COOKIE] = signing.dumps(other.id, salt="markstead.tablet")

        assert asa.get("/tablet/me/")["Location"] == "/tablet/"

    def test_no_page_behind_the_door_is_kept_by_the_browser(self, asa: Client, begun: str) -> None:
        for address in (
            "me/",
            "me/road/",
            f"me/help/{begun}/",
            f"me/pages/{begun}/",
            "me/still/",
            "",
            "end/",
        ):
            assert asa.get(f"/tablet/{address}")["Cache-Control"] == "no-store, private" or address == ""

    def test_a_form_without_its_token_writes_nothing(self, asa: Client, begun: str) -> None:
        strict = Client(enforce_csrf_checks=True)
        strict.cookies = asa.cookies

        answer = strict.post("/tablet/me/act", {"act": "work", "copy": begun, "first": "1"})

        assert answer.status_code == 403
        assert queries.copy_page("home", begun, now=MONDAY).copy.standing.pages == frozenset()


class TestEnding:
    def test_an_educators_password_ends_it_and_signs_in(self, asa: Client) -> None:
        answer = asa.post("/tablet/end/", {"username": "ruth-home", "password": PASSWORD})

        assert (answer.status_code, answer["Location"]) == (302, "/")
        assert asa.get("/").status_code == 200
        assert Device.objects.get().revoked is not None
        assert asa.cookies[COOKIE].value == ""

    @pytest.mark.parametrize(
        ("name", "password"),
        [("ruth-home", "wrong"), ("tobi-home", PASSWORD), ("ruth-away", PASSWORD), ("", "")],
    )
    def test_nobody_else_does(self, tablet: Client, name: str, password: str) -> None:
        small_home("away", sign_in=True)

        assert tablet.post("/tablet/end/", {"username": name, "password": password}).status_code == 403
        assert tablet.get("/")["Location"] == "/tablet/"
        assert Device.objects.get().revoked is None

    def test_the_password_cannot_be_found_by_trying(self, tablet: Client) -> None:
        for _ in range(5):
            tablet.post("/tablet/end/", {"username": "ruth-home", "password": "wrong"})

        assert tablet.post("/tablet/end/", {"username": "ruth-home", "password": PASSWORD}).status_code == 429
        assert Device.objects.get().revoked is None


class TestItClosesByItself:
    def test_after_three_minutes_without_a_touch(self, asa: Client, monkeypatch: pytest.MonkeyPatch) -> None:
        later(monkeypatch, 180)
        assert asa.get("/tablet/me/").status_code == 200
        later(monkeypatch, 361)

        answer = asa.get("/tablet/me/", follow=True)

        assert answer.redirect_chain == [("/tablet/left/", 302)]
        assert "Nobody was here for a while" in _plain(answer)
        assert asa.get("/tablet/me/")["Location"] == "/tablet/"

    def test_what_the_page_asks_by_itself_is_no_touch(
        self, asa: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        for seconds in range(20, 181, 20):
            later(monkeypatch, seconds)
            assert (
                asa.get("/tablet/me/look", {"seen": "x"}, headers={"HX-Request": "true"}).status_code == 200
            )
            assert asa.get("/tablet/me/still/").status_code == 200
        later(monkeypatch, 181)

        answer = asa.get("/tablet/me/look", headers={"HX-Request": "true"})

        assert (answer.status_code, answer["HX-Redirect"]) == (204, "/tablet/left/")

    def test_a_touch_that_the_page_tells_of_counts(
        self, asa: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        later(monkeypatch, 170)
        assert asa.post("/tablet/me/here").status_code == 204
        later(monkeypatch, 340)

        assert asa.get("/tablet/me/").status_code == 200

    def test_an_act_after_the_time_writes_nothing(
        self, asa: Client, begun: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        later(monkeypatch, 181)
        before = Entry.objects.count()

        answer = asa.post("/tablet/me/act", {"act": "work", "copy": begun, "first": "1", "last": "2"})

        assert answer["Location"] == "/tablet/left/"
        assert Entry.objects.count() == before

    def test_the_educators_minutes_are_heeded(
        self, asa: Client, house: Home, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        devices.set_idle(house, tablet=Device.objects.get().id, minutes=1, by="ruth")
        later(monkeypatch, 61)

        assert asa.get("/tablet/me/")["Location"] == "/tablet/left/"

    def test_without_scripts_the_page_asks_before_it_closes(self, asa: Client) -> None:
        page = asa.get("/tablet/me/").content.decode()
        asking = asa.get("/tablet/me/still/").content.decode()

        assert '<noscript><meta http-equiv="refresh" content="150; url=/tablet/me/still/"></noscript>' in page
        assert '<noscript><meta http-equiv="refresh" content="30; url=/tablet/left/"></noscript>' in asking
        assert "I am still here" in asking

    def test_i_am_done_closes_it_at_once(self, asa: Client) -> None:
        assert asa.post("/tablet/me/done")["Location"] == "/tablet/"
        assert asa.get("/tablet/me/")["Location"] == "/tablet/"


def give(copy: str, where: Step, stop: str) -> None:
    a.give_leave("home", copy=copy, step=where, stop=stop, by="ruth", at=MONDAY)


class TestAMorning:
    def test_a_section_from_the_first_page_to_the_last_mark(
        self, asa: Client, house: Home, begun: str
    ) -> None:
        a.set_goal("home", copy=begun, first=1, last=3, by="ruth", at=MONDAY)
        assert step(asa) == "Work pages 1-3"
        assert "Written down: pages 1-3." in tap(asa, "Done: pages 1-3")
        assert step(asa) == "Work page 4"
        tap(asa, "Done: page 4")
        assert step(asa) == "Ask leave to mark section 1"
        assert "Ruth can see now that you are waiting." in tap(asa, "Ask Ruth")
        assert step(asa) == "Wait: Ruth decides"
        give(begun, Step.MARK, "section-1")
        assert step(asa) == "Mark section 1"
        marking = f"/tablet/me/marking/{begun}/section-1/"
        assert "questions 4 and 7 to correct" in tap(
            asa, "These are wrong", marking, wrong=["4", "7"], verdict="wrong"
        )
        assert step(asa) == "Correct questions 4 and 7"
        tap(asa, "All corrected")
        assert step(asa) == "Ask leave to re-mark section 1"
        tap(asa, "Ask Ruth")
        give(begun, Step.REMARK, "section-1")
        assert step(asa) == "Re-mark section 1: questions 4 and 7"
        page = asa.get(marking).content.decode()
        assert re.findall(r'name="wrong" value="(\d+)"', page) == ["4", "7"]
        tap(asa, "These are wrong", marking, wrong=["7"], verdict="wrong")
        assert step(asa) == "Correct question 7"
        tap(asa, "All corrected")
        tap(asa, "Ask Ruth")
        give(begun, Step.REMARK, "section-1")
        assert "Section 1 is finished." in tap(asa, "All right", marking, verdict="all right")
        assert step(asa) == "Work pages 5-8"

        notes = queries.history("home", copy=begun, limit=40)
        assert {n.by for n in notes if n.entry.fact.KIND not in _EDUCATORS} == {"Asa"}

    def test_checks_and_tests_up_to_the_decision(self, asa: Client, begun: str) -> None:
        at = MONDAY - timedelta(minutes=30)
        section(begun, "section-1", (1, 4), (), at)
        section(begun, "section-2", (5, 8), (), at)
        assert step(asa) == "Ask leave to open check 1"
        tap(asa, "Ask Ruth")
        a.open_check("home", copy=begun, stop="check-1", by="ruth", at=MONDAY)
        assert step(asa) == "Do check 1: page 9"
        tap(asa, "Done: page 9")
        tap(asa, "Ask Ruth")
        give(begun, Step.MARK, "check-1")
        tap(asa, "All right", f"/tablet/me/marking/{begun}/check-1/", verdict="all right")
        assert step(asa) == "Ask leave for the practice test"
        tap(asa, "Ask Ruth")
        a.open_practice_test("home", copy=begun, by="ruth", at=MONDAY)
        assert step(asa) == "The practice test is open"
        tap(asa, "I have finished")
        give(begun, Step.MARK, PRACTICE)
        assert step(asa) == "Mark the practice test"
        marking = f"/tablet/me/marking/{begun}/{PRACTICE}/"
        said = tap(asa, "These are wrong", marking, wrong=["2", "9"], verdict="wrong")
        assert "18 of 20 right" in said
        assert step(asa) == "Correct questions 2 and 9"
        tap(asa, "All corrected")
        assert step(asa) == "Wait: Ruth decides"
        tap(asa, "Ask leave to re-mark it")
        give(begun, Step.REMARK, PRACTICE)
        assert step(asa) == "Re-mark the practice test"
        tap(asa, "All right", marking, verdict="all right")
        tap(asa, "Ask for the unit test")
        assert step(asa) == "Wait: Ruth decides"
        a.decide_readiness("home", copy=begun, ready=True, by="ruth", at=MONDAY)
        assert step(asa) == "The unit test comes next"

    def test_on_the_morning_of_the_unit_test(
        self, asa: Client, begun: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        at = MONDAY - timedelta(minutes=30)
        for stop, span in (("section-1", (1, 4)), ("section-2", (5, 8))):
            section(begun, stop, span, (), at)
        a.open_check("home", copy=begun, stop="check-1", by="ruth", at=at)
        section(begun, "check-1", (9, 9), (), at)
        a.open_practice_test("home", copy=begun, by="ruth", at=at)
        a.score_practice_test("home", copy=begun, wrong=(), by="ruth", at=at)
        a.decide_readiness("home", copy=begun, ready=True, by="ruth", at=at)
        tuesday = later(monkeypatch, 24 * 3600)
        enter(asa, queries.home_of("home"))

        assert step(asa) == "The unit test is this morning"
        a.sit_unit_test("home", copy=begun, watcher="ruth", aids=["pencil"], by="ruth", at=tuesday)
        assert step(asa) == "Wait: Ruth marks your test"

    def test_a_practice_test_below_its_mark_is_gone_over(self, asa: Client, begun: str) -> None:
        at = MONDAY - timedelta(minutes=30)
        for stop, span in (("section-1", (1, 4)), ("section-2", (5, 8))):
            section(begun, stop, span, (), at)
        a.open_check("home", copy=begun, stop="check-1", by="ruth", at=at)
        section(begun, "check-1", (9, 9), (), at)
        a.open_practice_test("home", copy=begun, by="ruth", at=at)
        a.score_practice_test("home", copy=begun, wrong=(1, 2, 3, 4, 5, 6), by="ruth", at=at)

        assert step(asa) == "Correct questions 1-6"
        tap(asa, "All corrected")
        assert step(asa) == "Ask leave for the practice test"

    def test_many_wrong_are_gone_through_with_the_educator(self, asa: Client, begun: str) -> None:
        a.work_pages("home", copy=begun, first=1, last=4, by="asa", at=MONDAY)
        a.ask_leave("home", copy=begun, step=Step.MARK, stop="section-1", by="asa", at=MONDAY)
        give(begun, Step.MARK, "section-1")
        marking = f"/tablet/me/marking/{begun}/section-1/"
        tap(asa, "These are wrong", marking, wrong=["1", "2", "3", "4"], verdict="wrong")

        assert step(asa) == "Go through section 1 with Ruth"

    def test_a_new_workbook_begins_with_the_educator(self, asa: Client, boats: str) -> None:
        assert step(asa) == "No workbook in hand"
        a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=MONDAY)

        assert step(asa) == "Begin it with Ruth"

    def test_sent_back_it_says_why(self, asa: Client, begun: str) -> None:
        a.work_pages("home", copy=begun, first=1, last=4, by="asa", at=MONDAY)
        tap(asa, "Ask Ruth")
        a.refuse_leave(
            "home",
            copy=begun,
            step=Step.MARK,
            stop="section-1",
            reason="Question 4 is blank.",
            by="ruth",
            at=MONDAY,
        )

        page = _plain(asa.get("/tablet/me/"))

        assert "Ruth says: Question 4 is blank." in re.sub(r"\s+", " ", page)

    def test_help_with_its_page(self, asa: Client, begun: str) -> None:
        said = tap(asa, "Ask Ruth", f"/tablet/me/help/{begun}/", page="3")

        assert "Ruth can see now that you need help." in said
        assert "You asked for help at 09:00, page 3. Ruth comes." in said
        calls = queries.today("home", now=MONDAY).calls
        assert [c.what for c in calls if c.learner and c.learner.key == "asa" and "help" in c.what] == [
            "Asks for help, page 3"
        ]

    def test_pages_with_minutes(self, asa: Client, begun: str) -> None:
        said = tap(asa, "These are done", f"/tablet/me/pages/{begun}/", first="1", last="2", minutes="25")

        assert "Written down: pages 1-2, 25 minutes." in said
        standing = queries.copy_page("home", begun, now=MONDAY).copy.standing
        assert (standing.pages, standing.minutes) == (frozenset({1, 2}), 25)

    def test_the_same_tap_sent_twice_is_written_once(self, asa: Client, begun: str) -> None:
        page = asa.get("/tablet/me/").content.decode()
        fields = dict(forms_of(page))["Done: pages 1-4"]
        before = Entry.objects.count()

        for _ in range(2):
            assert asa.post("/tablet/me/act", fields).status_code == 302

        assert Entry.objects.count() == before + 1

    def test_while_one_workbook_waits_another_is_offered(self, asa: Client, begun: str) -> None:
        other = second_workbook()
        a.work_pages("home", copy=begun, first=1, last=4, by="asa", at=MONDAY)
        a.ask_leave("home", copy=begun, step=Step.MARK, stop="section-1", by="asa", at=MONDAY)

        assert step(asa) == "Work pages 1-3"
        assert step(asa, begun) == "Wait: Ruth decides"
        give(begun, Step.MARK, "section-1")
        assert step(asa) == "Mark section 1"
        assert step(asa, other) == "Work pages 1-3"

    def test_a_goal_comes_before_what_has_none(self, asa: Client, begun: str) -> None:
        other = second_workbook()
        a.set_goal("home", copy=other, first=1, last=2, by="ruth", at=MONDAY)

        assert step(asa) == "Work pages 1-2"
        page = asa.get("/tablet/me/").content.decode()
        assert re.findall(r'<path class="r-goal"', page)
        tap(asa, "Done: pages 1-2")
        page = _plain(asa.get("/tablet/me/"))
        assert "Today’s goals are done. You may go on:" in page
        assert "✓ done: pages 1-2" in re.sub(r"\s+", " ", page)

    def test_one_tap_never_writes_down_a_page_that_stands_already(self, asa: Client, begun: str) -> None:
        a.work_pages("home", copy=begun, first=2, last=3, by="asa", at=MONDAY)

        assert step(asa) == "Work page 1"


_EDUCATORS = {
    "copy ordered",
    "copy received",
    "copy issued",
    "opening talk held",
    "goal set",
    "leave given",
}


def second_workbook() -> str:
    done = a.order_copy(
        "home", workbook="words-5-01", learner="asa", by="ruth", at=MONDAY - timedelta(days=3)
    )
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    a.receive_copy("home", copy=copy, by="ruth", at=MONDAY - timedelta(days=3))
    opened(copy, MONDAY - timedelta(hours=1))
    return copy


class TestRefusals:
    def test_pages_beyond_the_stop_are_told_in_plain_words_and_what_was_typed_stays(
        self, asa: Client, begun: str
    ) -> None:
        form = {"act": "work", "copy": begun, "from": "pages", "first": "3", "last": "7", "minutes": "12"}

        answer = asa.post("/tablet/me/act", form)

        page = answer.content.decode()
        assert answer.status_code == 409
        assert "Section 1 is not finished yet." in page
        assert "Finish Section 1 first." in page
        assert [
            re.search(rf'name="{n}"[^>]* value="{v}"', page) is not None for n, v in list(form.items())[3:]
        ] == [True] * 3

    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ({"first": "", "last": "2"}, "From page: nothing. It should be a whole number."),
            ({"first": "x", "last": "2"}, "From page: 'x'."),
            ({"first": "1", "last": "99"}, "Last page: 99. It should be a page from 1 to 9"),
            ({"first": "4", "last": "2"}, "pages run forwards"),
            ({"first": "1", "last": "2", "minutes": "9999"}, "minutes are 9999"),
        ],
    )
    def test_what_cannot_be_meant(self, asa: Client, begun: str, typed: dict[str, str], says: str) -> None:
        answer = asa.post("/tablet/me/act", {"act": "work", "copy": begun, "from": "pages", **typed})

        assert answer.status_code == 409
        assert says in _plain(answer)
        assert queries.copy_page("home", begun, now=MONDAY).copy.standing.pages == frozenset()

    def test_marking_without_leave(self, asa: Client, begun: str) -> None:
        a.work_pages("home", copy=begun, first=1, last=4, by="asa", at=MONDAY)
        form = {"act": "mark", "copy": begun, "stop": "section-1", "from": "marking", "verdict": "all right"}

        answer = asa.post("/tablet/me/act", form)

        assert answer.status_code == 409
        assert "Ruth has not given you leave yet. Ask for leave first." in re.sub(r"\s+", " ", _plain(answer))
        page = asa.get(f"/tablet/me/marking/{begun}/section-1/").content.decode()
        assert "Ask leave to mark section 1" in page
        assert 'name="wrong"' not in page

    @pytest.mark.parametrize(
        ("sent", "says"),
        [
            ({"verdict": "wrong"}, "nothing tapped"),
            ({"verdict": "all right", "wrong": ["2"]}, "some tapped"),
            ({"verdict": "wrong", "wrong": ["2", "77"]}, "numbers from 1 to 10"),
            ({"verdict": "wrong", "wrong": ["two"]}, "'two'"),
        ],
    )
    def test_a_marking_that_says_nothing_or_two_things(
        self, asa: Client, begun: str, sent: dict[str, object], says: str
    ) -> None:
        a.work_pages("home", copy=begun, first=1, last=4, by="asa", at=MONDAY)
        a.ask_leave("home", copy=begun, step=Step.MARK, stop="section-1", by="asa", at=MONDAY)
        give(begun, Step.MARK, "section-1")

        answer = asa.post(
            "/tablet/me/act", {"act": "mark", "copy": begun, "stop": "section-1", "from": "marking", **sent}
        )

        assert answer.status_code == 409
        assert says in _plain(answer)
        kept = "2" in sent.get("wrong", [])  # type: ignore[operator]
        assert ('value="2" checked' in answer.content.decode()) is kept
        assert step(asa) == "Mark section 1"

    def test_a_page_older_than_the_record_notes_no_pages_twice(self, asa: Client, begun: str) -> None:
        fields = dict(forms_of(asa.get("/tablet/me/").content.decode()))["Done: pages 1-4"]
        a.work_pages("home", copy=begun, first=1, last=4, minutes=20, by="ruth", at=MONDAY)

        answer = asa.post("/tablet/me/act", fields)

        assert answer.status_code == 409
        assert "Something new came in just now." in _plain(answer)

    def test_another_learners_copy_is_not_there(self, tablet: Client, house: Home, begun: str) -> None:
        noa = enter(tablet, house, "noa")
        before = Entry.objects.count()

        for page in (f"help/{begun}/", f"pages/{begun}/", f"marking/{begun}/section-1/"):
            assert noa.get(f"/tablet/me/{page}").status_code == 404
        for back in ("", "pages", "help", "marking"):
            answer = noa.post(
                "/tablet/me/act", {"act": "work", "copy": begun, "first": "1", "last": "9", "from": back}
            )
            assert answer.status_code == 409
            assert re.findall(r"<li><strong>(.*?)</strong>", answer.content.decode()) == [
                "This workbook is not yours."
            ]
        assert Entry.objects.count() == before

    @pytest.mark.parametrize(
        "act",
        [
            "",
            "give-leave",
            "issue",
            "receive",
            "readiness",
            "sit",
            "score-unit",
            "score-practice",
            "goal",
            "quiz",
            "spoil",
        ],
    )
    def test_what_is_no_act_of_a_learner_is_none_here(self, asa: Client, begun: str, act: str) -> None:
        before = Entry.objects.count()

        answer = asa.post(
            "/tablet/me/act", {"act": act, "copy": begun, "stop": "section-1", "step": "to mark"}
        )

        assert answer.status_code == 409
        assert Entry.objects.count() == before

    def test_nobody_overrides_anything_here(self, asa: Client, begun: str) -> None:
        form = {"act": "work", "copy": begun, "first": "1", "last": "8", "override": "I want to"}

        assert asa.post("/tablet/me/act", form).status_code == 409

    def test_a_copy_that_is_nowhere(self, asa: Client) -> None:
        answer = asa.post("/tablet/me/act", {"act": "work", "copy": "c0", "first": "1", "from": "pages"})

        assert answer.status_code == 409


class TestTakingBack:
    def test_within_a_minute_on_the_same_page(self, asa: Client, begun: str) -> None:
        said = tap(asa, "Done: pages 1-4")
        assert "Take it back" in said

        answer = asa.post("/tablet/me/undo", follow=True)

        assert "Taken back." in answer.content.decode()
        assert "Take it back" not in answer.content.decode()
        assert step(asa) == "Work pages 1-4"
        assert asa.post("/tablet/me/undo", follow=True).status_code == 200

    def test_once_it_was_answered_it_is_no_news_any_more(self, asa: Client, begun: str) -> None:
        tap(asa, "Done: pages 1-4")
        said = tap(asa, "Ask Ruth")
        assert "Ruth can see now that you are waiting." in said

        a.give_leave("home", copy=begun, step=Step.MARK, stop="section-1", by="ruth", at=MONDAY)

        page = asa.get("/tablet/me/").content.decode()
        assert "Ruth has given you leave." in page
        assert "you are waiting" not in page
        assert "Take it back" not in page

    def test_after_it_the_button_is_gone_and_an_old_page_is_told(
        self, asa: Client, begun: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        tap(asa, "Done: pages 1-4")
        later(monkeypatch, 61)

        assert "Take it back" not in asa.get("/tablet/me/").content.decode()
        answer = asa.post("/tablet/me/undo")
        assert answer.status_code == 409
        assert "too late to take it back here. Ask Ruth." in re.sub(r"\s+", " ", _plain(answer))
        assert step(asa) == "Ask leave to mark section 1"

    def test_not_what_was_answered_meanwhile(self, asa: Client, begun: str) -> None:
        tap(asa, "Done: pages 1-4")
        tap(asa, "Ask Ruth")
        give(begun, Step.MARK, "section-1")

        answer = asa.post("/tablet/me/undo")

        assert answer.status_code == 409
        assert step(asa) == "Mark section 1"

    def test_the_next_learner_cannot_take_back_what_the_last_one_did(
        self, asa: Client, house: Home, begun: str
    ) -> None:
        tap(asa, "Done: pages 1-4")
        before = Entry.objects.count()
        noa = enter(asa, house, "noa")

        assert noa.post("/tablet/me/undo", follow=True).status_code == 200
        assert Entry.objects.count() == before


class TestNews:
    def look(self, asa: Client, seen: str) -> object:
        return asa.get("/tablet/me/look", {"seen": seen}, headers={"HX-Request": "true"})

    def stamp(self, asa: Client) -> str:
        page = asa.get("/tablet/me/").content.decode()
        (found,) = re.findall(r"/tablet/me/look\?seen=(\w+)", page)
        return str(found)

    def test_nothing_new_is_nothing_sent(self, asa: Client, begun: str) -> None:
        assert self.look(asa, self.stamp(asa)).status_code == 204  # type: ignore[attr-defined]

    def test_an_answer_is_sent_with_what_comes_next(self, asa: Client, begun: str) -> None:
        tap(asa, "Done: pages 1-4")
        tap(asa, "Ask Ruth")
        seen = self.stamp(asa)
        give(begun, Step.MARK, "section-1")

        page = self.look(asa, seen).content.decode()  # type: ignore[attr-defined]

        assert "<html" not in page
        assert '<p id="news" data-hx-swap-oob="innerHTML">Mark section 1</p>' in page

    def test_what_others_do_is_no_news(self, asa: Client, begun: str) -> None:
        seen = self.stamp(asa)
        done = a.order_copy("home", workbook="sums-5-02", learner="noa", by="ruth", at=MONDAY)

        assert done.entries
        assert self.look(asa, seen).status_code == 204  # type: ignore[attr-defined]


class TestTheRoad:
    def test_done_in_hand_and_to_come(self, asa: Client, begun: str) -> None:
        page = _plain(asa.get("/tablet/me/road/"))
        flat = re.sub(r"\s+", " ", page)

        assert "0 of 2 workbooks done" in flat
        assert "1 Counting Boats in hand" in flat
        assert "2 Counting Gulls to come" in flat
        assert "autumn over spring now" in flat

    def test_the_school_day_is_that_of_the_calendar(self, asa: Client, house: Home) -> None:
        calendar = house.calendar
        first, last = calendar.terms[0].first, calendar.terms[-1].last
        so_far, all_days = (len(calendar.school_days(first, d)) for d in (MONDAY.date(), last))

        assert f"School day {so_far} of {all_days}" in _plain(asa.get("/tablet/me/road/"))


@pytest.fixture
def full_house(house: Home, boats: str) -> str:
    """Everything that a tablet may not show: estimates, spot checks, a quiz, an override, others' results."""
    friday = MONDAY - timedelta(days=3)
    opened(boats, friday)
    section(boats, "section-1", (1, 4), (), friday)
    a.hold_spot_checks(
        "home", looked=[(boats, "section-1", n, n > 4) for n in range(1, 8)], by="ruth", at=friday
    )
    a.work_pages("home", copy=boats, first=5, last=8, minutes=31, by="asa", at=friday)
    a.ask_leave("home", copy=boats, step=Step.MARK, stop="section-2", by="asa", at=friday)
    quizzes.begin("home", copy=boats, by=house.person("ruth").id, at=friday)
    done = a.order_copy("home", workbook="sums-5-01", learner="noa", by="ruth", at=friday)
    noas = str(getattr(done.entries[0].fact, "copy", ""))
    a.receive_copy("home", copy=noas, by="ruth", at=friday)
    a.issue_copy("home", copy=noas, learner="noa", by="ruth", at=friday)
    a.hold_opening_talk("home", copy=noas, by="ruth", at=friday)
    why = Slip(override="Noa did the rest on loose sheets", now=friday)
    a.open_practice_test("home", copy=noas, by="ruth", at=friday, slip=why)
    a.score_practice_test("home", copy=noas, wrong=(1, 2, 3, 4, 5, 6, 7), by="ruth", at=friday)
    other = second_workbook()
    a.work_pages("home", copy=other, first=1, last=3, by="asa", at=MONDAY)
    a.ask_leave("home", copy=other, step=Step.MARK, stop="section-1", by="asa", at=MONDAY)
    give(other, Step.MARK, "section-1")
    return boats


NOT_HERE = re.compile(
    r"\bkey\b|spot|\bflag|readiness|estimate|overrid|loose sheets|13 of 20|\bpace\b|Tobi|\border|\bplan\b|advice",
    re.IGNORECASE,
)


class TestNothingElseIsShown:
    def test_on_no_page_of_the_tablet(self, asa: Client, house: Home, full_house: str) -> None:
        mine = queries.today("home", now=MONDAY).learners[0].copies
        assert len(mine) == 2
        noas = next(v.id for d in queries.today("home", now=MONDAY).learners[1:] for v in d.copies)
        pages = [
            "me/",
            *(f"me/?copy={view.id}" for view in mine),
            "me/look?seen=x",
            "me/road/",
            *(f"me/{form}/{view.id}/" for view in mine for form in ("help", "pages")),
            *(f"me/marking/{view.id}/section-{n}/" for view in mine for n in (1, 2)),
            "me/still/",
        ]
        own = [asa.get(f"/tablet/{page}") for page in pages]
        acts = [
            asa.post("/tablet/me/act", {"act": act, "copy": copy, "from": back, "first": "1", "last": "9"})
            for act in ("work", "mark", "re-mark", "score", "correct", "ask", "ask-help")
            for copy in (full_house, noas)
            for back in ("", "pages", "help", "marking")
        ]
        doors = [
            asa.get(f"/tablet/{page}") for page in ("left/", "", f"who/{house.person('asa').id}/", "end/")
        ]

        assert {x.status_code for x in own} == {200}
        assert {x.status_code for x in acts} <= {302, 409}
        for answer in (*own, *acts, *doors):
            page = words(answer.content.decode())
            for never in (NOT_HERE, OF_ESTIMATES, NEVER_BEFORE_A_LEARNER):
                assert [m[0] for m in never.finditer(page)] == []
            assert "%" not in page
            assert noas not in answer.content.decode()
        for answer in (*own, *acts):
            assert "Noa" not in words(answer.content.decode())

    def test_the_same_search_finds_all_of_it_on_the_educators_pages(
        self, ruth: Client, house: Home, full_house: str
    ) -> None:
        """Else the test above would prove nothing."""
        addresses = (
            "/",
            f"/copies/{full_house}/",
            f"/learners/{house.person('asa').id}/",
            "/record/?day=2026-01-09",
        )
        found = {
            m[0].lower()
            for address in addresses
            for m in NOT_HERE.finditer(words(ruth.get(address).content.decode()))
        }

        assert {"spot", "readiness", "overrid", "loose sheets", "13 of 20", "pace"} <= found


class TestWords:
    @pytest.mark.parametrize("kind", list(BarKind))
    def test_every_bar_has_a_sentence_and_what_opens_it(self, kind: BarKind) -> None:
        text = "".join(SENTENCES[kind])
        values = dict.fromkeys(re.findall(r"\{(\w+)\}", text), "3")

        says, lifts = bar_words(bar(kind, **values), "Ruth")

        for sentence in (says, lifts):
            assert re.fullmatch(r"[A-Z0-9].*\.", sentence)
            assert "{" not in sentence

    def test_numbers_are_said(self) -> None:
        assert [numbers_words(n) for n in ((4,), (4, 7), (3, 4, 5, 8))] == ["4", "4 and 7", "3-5 and 8"]

    @pytest.mark.parametrize(
        ("year", "expected"),
        [
            (0, "y-young"),
            (3, "y-young"),
            (4, "y-middle"),
            (7, "y-middle"),
            (8, "y-old"),
            (13, "y-old"),
            (None, "y-middle"),
        ],
    )
    def test_letters_follow_the_school_year(self, year: int | None, expected: str) -> None:
        assert age_class(year) == expected

    def test_the_page_carries_the_class_of_its_learner(self, tablet: Client, house: Home) -> None:
        for key, expected in (("asa", "y-middle"), ("noa", "y-old")):
            page = enter(tablet, house, key).get("/tablet/me/").content.decode()
            assert f'class="tablet {expected} mine"' in page

    def test_two_educators_are_both_named(self, home: Home) -> None:
        from markstead.records.setup import Newcomer, set_up
        from markstead.rules.ruling import Role
        from markstead.web.tablet_words import teacher_words
        from tests.tools.homes import CAST, PAPERS

        people = (*CAST, Newcomer("ines", "Ines", Role.EDUCATOR))
        both = set_up("home", name="Tarn End", papers=PAPERS, people=people, at=MONDAY)

        assert sorted(teacher_words(both).split(" or ")) == ["Ines", "Ruth"]


def test_another_educator_of_the_home_may_end_it_too(tablet: Client, home: Home) -> None:
    from markstead.records.setup import Newcomer, set_up
    from markstead.rules.ruling import Role
    from tests.tools.homes import CAST, PAPERS

    people = (*CAST, Newcomer("ines", "Ines", Role.EDUCATOR))
    set_up("home", name="Tarn End", papers=PAPERS, people=people, at=MONDAY)
    give_password("home", person="ines", username="ines-home", password=PASSWORD)

    assert tablet.post("/tablet/end/", {"username": "ines-home", "password": PASSWORD})["Location"] == "/"
