"""Pages and acts through Django's test client: the real database, the real middleware."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from axes.utils import reset as forget_tries  # type: ignore[import-untyped]
from django.test import Client

from markstead.ledger.facts import Presence, Step
from markstead.ledger.serial import read_body
from markstead.records import actions, queries
from markstead.records.home import Home
from markstead.records.models import Entry
from markstead.records.openings import REASON, Opening, Where, write_openings
from markstead.web.pages import waiting_words
from tests.tools.homes import PASSWORD, small_home
from tests.web.conftest import MONDAY


def in_hand(copy: str) -> None:
    actions.issue_copy("home", copy=copy, learner="asa", by="ruth", at=MONDAY - timedelta(hours=1))
    actions.hold_opening_talk("home", copy=copy, by="ruth", at=MONDAY - timedelta(minutes=55))


def waiting(copy: str, minutes: int = 12) -> None:
    """Asa has worked the first section and waits for leave to mark."""
    in_hand(copy)
    at = MONDAY - timedelta(minutes=minutes)
    actions.work_pages("home", copy=copy, first=1, last=4, minutes=20, by="asa", at=at)
    actions.ask_leave("home", copy=copy, step=Step.MARK, stop="section-1", by="asa", at=at)


def fields(page: str, slug: str) -> dict[str, str]:
    """The hidden fields of the form of an act, as the browser would send them."""
    for form in re.findall(r"<form.*?</form>", page, re.DOTALL):
        found = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form))
        if found.get("act") == slug:
            found.pop("csrfmiddlewaretoken", None)
            return found
    raise AssertionError(f"no form for {slug}")


def test_one_tap_issues_the_copy_with_which_somebody_joins_a_course_further_on(ruth: Client) -> None:
    here = Opening("noa", "sums-5", Where.HERE, "sums-5-02")
    (copy,) = write_openings("home", [here], by="ruth", at=MONDAY)
    page = ruth.get("/").content.decode()
    sent = fields(page, "issue")
    assert (sent["copy"], sent["override"]) == (copy, REASON)

    assert ruth.post("/act", sent).status_code == 302
    kinds = [
        read_body(body).fact.KIND for body in Entry.objects.order_by("seq").values_list("body", flat=True)
    ]
    assert kinds[-2:] == ["gate overridden", "copy issued"]


@pytest.mark.parametrize(
    ("since", "says"),
    [
        (datetime(2026, 1, 12, 8, 59, 40, tzinfo=UTC), "just now"),
        (datetime(2026, 1, 12, 8, 15, tzinfo=UTC), "45 min"),
        (datetime(2026, 1, 12, 6, 55, tzinfo=UTC), "2 h 05"),
        (datetime(2026, 1, 11, 20, 0, tzinfo=UTC), "1 day"),
        (datetime(2026, 1, 9, 12, 0, tzinfo=UTC), "3 days"),
        (None, ""),
    ],
)
def test_how_long_somebody_waits_is_told_in_hours_of_today_or_in_days(
    since: datetime | None, says: str
) -> None:
    assert waiting_words(since, MONDAY) == says


class TestTheDoor:
    @pytest.mark.parametrize("address", ["/", "/copies/", "/record/", "/papers/", "/today/refresh"])
    def test_nobody_gets_in_without_signing_in(self, home: Home, address: str) -> None:
        answer = Client().get(address)

        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in/")

    def test_a_name_is_known_in_small_and_capital_letters(self, home: Home) -> None:
        client = Client()
        for name in ("Ruth-Home", "RUTH-home", "ruth-HOME", "Ruth-home", "rUth-home"):
            client.post("/sign-in/", {"username": name, "password": "wrong"})
        shut = client.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
        assert shut.status_code == 429  # the tries of one person are counted together
        forget_tries()
        assert client.post("/sign-in/", {"username": "Ruth-Home", "password": PASSWORD}).status_code == 302

    def test_the_door_stays_shut_after_five_wrong_passwords(self, home: Home) -> None:
        client = Client()
        for _ in range(5):
            client.post("/sign-in/", {"username": "ruth-home", "password": "wrong"})

        answer = client.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})

        assert answer.status_code == 429
        assert b"Wait a little" in answer.content

    def test_passwords_are_kept_with_argon2id(self) -> None:
        from django.contrib.auth.hashers import Argon2PasswordHasher

        assert Argon2PasswordHasher().encode("a", "somesalt").startswith("argon2$argon2id$")

    def test_a_page_may_load_nothing_from_elsewhere_and_runs_no_inline_script(self, ruth: Client) -> None:
        answer = ruth.get("/")

        policy = answer["Content-Security-Policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        page = answer.content.decode()
        assert re.findall(r"<script(?![^>]*\bsrc=)", page) == []
        assert " style=" not in page
        assert re.findall(r"\bon\w+=", page) == []
        assert re.findall(r'(?:src|href)="(?:https?:)?//', page) == []


class TestToday:
    def test_a_learner_who_waits_is_the_first_call(self, ruth: Client, boats: str) -> None:
        waiting(boats)

        page = ruth.get("/").content.decode()

        assert "12 min" in page
        assert "asks leave to mark section 1" in page
        assert (
            page.index("asks leave") < page.index("Order Names of Winds") if "Order Names" in page else True
        )

    def test_leave_is_given_with_one_tap(self, ruth: Client, boats: str) -> None:
        waiting(boats)
        form = fields(ruth.get("/").content.decode(), "give-leave")

        answer = ruth.post("/act", form, headers={"HX-Request": "true"})

        assert b"Recorded" in answer.content
        assert queries.history("home", copy=boats, limit=1)[0].entry.fact.KIND == "leave given"

    def test_nothing_new_is_answered_with_nothing(self, ruth: Client, boats: str) -> None:
        page = ruth.get("/").content.decode()
        stamp = re.search(r'data-stamp="([^"]+)"', page)
        assert stamp is not None

        assert ruth.get(f"/today/refresh?seen={stamp[1]}").status_code == 204
        in_hand(boats)
        assert ruth.get(f"/today/refresh?seen={stamp[1]}").status_code == 200

    def test_a_day_without_school_says_why(self, ruth: Client, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("MARKSTEAD_NOW", "2025-12-25T09:00:00+00:00")

        assert b"No school" in ruth.get("/").content


class TestActs:
    def test_a_refusal_names_every_bar_and_what_lifts_it(self, ruth: Client, boats: str) -> None:
        in_hand(boats)
        form = {"act": "sit", "copy": boats, "watcher": "", "aids": "calculator"}

        answer = ruth.post("/act", form)

        page = answer.content.decode()
        assert answer.status_code == 409
        for words in (
            "Section 1 is not cleared.",
            "Reach 80 % in a practice test.",
            "Decide on readiness.",
            "Nobody who may watch is named.",
            "Calculator may not be used in year 5.",
        ):
            assert words in page

    def test_the_same_form_sent_twice_writes_once(self, ruth: Client, boats: str) -> None:
        waiting(boats)
        form = fields(ruth.get(f"/copies/{boats}/").content.decode(), "give-leave")

        ruth.post("/act", form)
        before = Entry.objects.count()
        answer = ruth.post("/act", form, headers={"HX-Request": "true"})

        assert Entry.objects.count() == before
        assert b"nothing was written twice" in answer.content

    def test_an_old_page_is_told_what_happened_since(self, ruth: Client, boats: str) -> None:
        waiting(boats)
        form = fields(ruth.get(f"/copies/{boats}/").content.decode(), "give-leave")
        actions.give_help("home", copy=boats, by="tobi", at=MONDAY)

        answer = ruth.post("/act", form)

        assert answer.status_code == 409
        assert b"help given" in answer.content
        assert b"older than the record" in answer.content

    @pytest.mark.parametrize(
        ("act", "values", "sentence"),
        [
            ("work", {"first": "three", "last": "4"}, "&#x27;three&#x27;; allowed is a whole number"),
            ("work", {"first": "1", "last": "99"}, "a page from 1 to 9"),
            ("work", {"first": "4", "last": "2"}, "pages run forwards"),
            ("work", {"first": "1", "last": "2", "minutes": "9999"}, "a day has 0 to 1440"),
            ("mark", {"stop": "section-1", "wrong": ""}, "the button"),
            ("mark", {"stop": "section-1", "wrong": "3, x"}, "numbers such as 3, 7 or 9-11"),
            ("mark", {"stop": "section-9", "wrong": "3"}, "one of section-1, section-2, check-1"),
            ("score-practice", {}, "how many were right"),
            ("score-practice", {"right": "21"}, "a whole number from 0 to 20"),
            ("quiz", {"question": "3", "answer": ""}, "a question number with right or wrong"),
            ("dance", {}, "one of: receive"),
            ("refuse-leave", {"step": "to mark", "stop": "section-1", "reason": " "}, "a few words"),
            ("give-leave", {"step": "to fly", "stop": "section-1"}, "one of: to mark"),
        ],
    )
    def test_what_cannot_be_meant_gets_a_sentence_and_writes_nothing(
        self, ruth: Client, boats: str, act: str, values: dict[str, str], sentence: str
    ) -> None:
        in_hand(boats)
        before = Entry.objects.count()

        answer = ruth.post("/act", {"act": act, "copy": boats, **values})

        assert answer.status_code == 409
        assert sentence in answer.content.decode()
        assert Entry.objects.count() == before

    @pytest.mark.parametrize(
        "form",
        [
            {"act": "work", "first": "1", "last": "2", "seen": "9" * 5000},
            {"act": "work", "first": "1", "last": "2", "minutes": "9" * 400},
            {"act": "work", "first": "\u0663", "last": "4"},
            {"act": "mark", "stop": "section-1", "wrong": "1-999999999"},
            {"act": "quiz", "question": "9" * 5000, "answer": "right"},
            {"act": "spoil", "reason": "wet", "token": "x" * 300},
            {"act": "spoil", "reason": "wet\0"},
            {"act": "issue", "learner": "\0"},
        ],
    )
    def test_no_request_however_odd_is_our_mistake(
        self, ruth: Client, boats: str, form: dict[str, str]
    ) -> None:
        in_hand(boats)
        before = Entry.objects.count()

        answer = ruth.post("/act", {"copy": boats, **form})

        assert answer.status_code in (400, 409)
        assert Entry.objects.count() == before

    @pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", "yesterday", "20260112x"])
    def test_a_day_that_cannot_be_shown_is_today(self, ruth: Client, day: str) -> None:
        assert b"Monday 12 January 2026" in ruth.get("/record/", {"day": day}).content

    def test_all_right_and_numbers_together_are_not_taken(self, ruth: Client, boats: str) -> None:
        """Enter in the field presses the first button of the form."""
        waiting(boats)
        actions.give_leave("home", copy=boats, step=Step.MARK, stop="section-1", by="ruth", at=MONDAY)
        form = {"act": "mark", "copy": boats, "stop": "section-1", "wrong": "3, 7", "verdict": "all right"}

        answer = ruth.post("/act", form)

        assert answer.status_code == 409
        assert "section-1" not in queries.copy_page("home", boats, now=MONDAY).copy.standing.stops

    def test_an_old_token_with_new_content_is_another_act(self, ruth: Client, boats: str) -> None:
        in_hand(boats)
        form = {"act": "work", "copy": boats, "token": "abc"}

        ruth.post("/act", {**form, "first": "1", "last": "2"})
        ruth.post("/act", {**form, "first": "3", "last": "4"})

        assert queries.copy_page("home", boats, now=MONDAY).copy.standing.pages == {1, 2, 3, 4}

    def test_what_was_typed_stands_in_the_form_again(self, ruth: Client, boats: str) -> None:
        waiting(boats)
        actions.give_leave("home", copy=boats, step=Step.MARK, stop="section-1", by="ruth", at=MONDAY)
        marks = {"act": "mark", "copy": boats, "stop": "section-1", "wrong": "3, 7 and 44"}
        quiz = {
            "act": "quiz",
            "copy": boats,
            "stop": "section-1",
            "question": ["12", "x"],
            "answer": ["wrong", ""],
        }

        page_after_marks = ruth.post("/act", marks).content.decode()
        page_after_quiz = ruth.post("/act", quiz).content.decode()

        assert 'value="3, 7 and 44"' in page_after_marks
        assert 'size="3" value="12"' in page_after_quiz
        assert '<option value="wrong" selected>' in page_after_quiz

    def test_a_rule_is_passed_with_a_reason_that_stays(self, ruth: Client, boats: str) -> None:
        actions.issue_copy("home", copy=boats, learner="asa", by="ruth", at=MONDAY - timedelta(hours=1))
        form = {"act": "work", "copy": boats, "first": "1", "last": "4"}

        refused = ruth.post("/act", form)
        passed = ruth.post("/act", {**form, "override": "read the aims in the car"})

        assert b"Pass with this reason" in refused.content
        assert passed.status_code == 302
        page = ruth.get(f"/copies/{boats}/").content.decode()
        assert "read the aims in the car" in page
        assert "Pages 1-4 worked" in page

    def test_work_from_before_is_taken_over_on_the_page_of_a_copy(self, ruth: Client, boats: str) -> None:
        actions.issue_copy("home", copy=boats, learner="asa", by="ruth", at=MONDAY)
        assert "Worked before this record began" in ruth.get(f"/copies/{boats}/").content.decode()
        ruth.post("/act", {"act": "take-over", "copy": boats, "last": "4"})
        page = ruth.get(f"/copies/{boats}/").content.decode()
        assert "4 of 9 worked" in page
        assert "1 of 3 cleared" in page
        assert "Worked before this record began" not in page

    def test_an_act_is_taken_back_and_both_stay(self, ruth: Client, boats: str) -> None:
        waiting(boats)
        act = queries.latest_act("home")

        answer = ruth.post(f"/acts/{act}/undo", {"copy": boats}, follow=True)

        page = answer.content.decode()
        assert "taken back" in page
        assert "Leave to mark asked, section 1" in page
        assert queries.copy_page("home", boats, now=MONDAY).copy.standing.waiting is None

    def test_a_form_that_the_browser_sends_by_itself_comes_back_to_what_was_done_and_to_its_undo(
        self, ruth: Client, boats: str
    ) -> None:
        waiting(boats)
        given = ruth.post("/act", fields(ruth.get("/").content.decode(), "give-leave"), follow=True)
        page = given.content.decode()
        undo = re.search(r'action="(/acts/[^"]+/undo)"', page)
        assert "Recorded" in page
        assert undo is not None

        taken = ruth.post(undo[1], {"from": "today"}, follow=True).content.decode()

        assert "Taken back; both stay on the record" in taken
        assert undo[1] not in taken

    def test_the_same_undo_sent_twice_is_told_that_it_is_done(self, ruth: Client, boats: str) -> None:
        waiting(boats)
        address = f"/acts/{queries.latest_act('home')}/undo"
        ruth.post(address, {"copy": boats})
        before = Entry.objects.count()

        answer = ruth.post(address, {"copy": boats})

        assert b"nothing was written twice" in answer.content
        assert Entry.objects.count() == before

    def test_a_helper_may_log_but_not_judge(self, home: Home, monday: datetime, boats: str) -> None:
        waiting(boats)
        tobi = Client()
        tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})

        form = {"act": "give-leave", "copy": boats, "step": "to mark", "stop": "section-1"}
        answer = tobi.post("/act", form)

        assert answer.status_code == 409
        assert b"Only an educator may do this." in answer.content
        assert b"Pass with this reason" not in answer.content


class TestOtherHouses:
    def test_another_houses_copy_is_not_here(self, ruth: Client) -> None:
        small_home("other")
        done = actions.order_copy("other", workbook="sums-5-01", by="ruth", at=MONDAY)
        copy = getattr(done.entries[0].fact, "copy", "")

        assert ruth.get(f"/copies/{copy}/").status_code == 404
        assert ruth.post("/act", {"act": "receive", "copy": copy}).status_code == 404
        assert queries.copy_page("other", copy, now=MONDAY).copy.standing.received is None


class TestPapersOrdersAndRecord:
    def test_ordering_opens_the_new_copy(self, ruth: Client) -> None:
        asa = queries.home_of("home").person("asa").id

        answer = ruth.post("/copies/order", {"workbook": "words-5-01", "learner": asa}, follow=True)

        page = answer.content.decode()
        assert "Names of Winds" in page
        assert "on order" in page

    def test_ordering_what_is_not_there_says_so(self, ruth: Client) -> None:
        answer = ruth.post("/copies/order", {"workbook": "sums-9-99"})

        assert answer.status_code == 409
        assert b"the code of a workbook of the programme" in answer.content

    def test_sending_no_paper_says_so(self, ruth: Client) -> None:
        answer = ruth.post("/papers/dispatch/", {"tracking": "X"})

        assert answer.status_code == 409
        assert b"at least one copy with a marked unit test" in answer.content

    def test_the_record_shows_the_day(self, ruth: Client, boats: str) -> None:
        waiting(boats)

        page = ruth.get("/record/").content.decode()

        assert "Pages 1-4 worked in 20 min" in page
        assert "sums-5-01" in page

    def test_every_list_of_copies_opens(self, ruth: Client, boats: str) -> None:
        for status in ("on order", "in the house", "issued", "finished", "spoiled", "sent", "nonsense"):
            assert ruth.get("/copies/", {"status": status}).status_code == 200

    def test_a_real_homes_clock_cannot_be_moved(self, ruth: Client) -> None:
        assert ruth.post("/clock", {"to": "next-morning"}).status_code == 404


def test_what_went_wrong_on_our_side_gets_a_sorry_page(
    ruth: Client, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def breaks(*args: object, **kwargs: object) -> None:
        raise RuntimeError("a mistake of ours")

    monkeypatch.setattr(queries, "today", breaks)
    ruth.raise_request_exception = False

    answer = ruth.get("/")

    assert answer.status_code == 500
    assert b"a mistake of its own" in answer.content
    assert b"RuntimeError" not in answer.content


def test_today_says_who_is_absent_until_somebody_notes_otherwise(ruth: Client, boats: str) -> None:
    def asa_is(presence: Presence, minute: int) -> str:
        at = MONDAY + timedelta(minutes=minute)
        actions.take_attendance("home", learner="asa", day=MONDAY.date(), presence=presence, by="ruth", at=at)
        return ruth.get("/").content.decode()

    assert "absent today" not in ruth.get("/").content.decode()
    assert asa_is(Presence.ABSENT, -5).count("absent today") == 1
    assert "absent today" not in asa_is(Presence.HALF, -4)
