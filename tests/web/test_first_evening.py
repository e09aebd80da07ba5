"""The set-up of an empty home, page by page: who gets in, what is kept, what is said, and what is made."""

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from markstead.records import first_evening, queries
from markstead.records.first_evening import read_draft
from markstead.records.home import Home
from markstead.records.models import Entry, Household
from markstead.web.first_evening import Setup
from tests.tools.homes import PASSWORD, RULES, WORKBOOKS
from tests.web.conftest import MONDAY

KEY = "abcd-efgh-jkmn-pqrs"
YOU = {"home": "Tarn End", "name": "Ruth Tarn", "username": "ruth", "password": PASSWORD, "again": PASSWORD}
LEARNERS = {"name-0": "Asa", "year-0": "5", "name-1": "Noa", "year-1": "9"}
SCHOOL = {
    "country": "GB",
    "region": "ENG",
    "weekday": ["0", "1", "2", "3", "4"],
    "half": ["2"],
    "half-day-ends": "12:30",
    "holidays": "yes",
    "term-0": "spring",
    "first-0": "2026-01-05",
    "last-0": "2026-03-27",
}
STEPS = (
    "you",
    "learners",
    "school",
    "programme",
    "programme/files",
    "programme/typed",
    "programme/cut",
    "courses",
)
STEPS += ("standing", "look")


@pytest.fixture(autouse=True)
def empty_home(settings: LazySettings, tmp_path: Path, db: None, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder, a word on the terminal, and a Monday morning."""
    settings.HOME, settings.FIRST_KEY = tmp_path, KEY
    monkeypatch.setenv("MARKSTEAD_NOW", MONDAY.isoformat())
    return tmp_path


@pytest.fixture
def guest() -> Client:
    """A browser that was let in by the word on the terminal."""
    client = Client()
    assert client.post("/first/", {"key": KEY}).status_code == 302
    return client


def send(client: Client, step: str, **fields: object) -> int:
    return client.post(f"/first/{step}/", {"do": "on", **fields}).status_code


@pytest.fixture
def ruth(guest: Client) -> Client:
    """Ruth, who has just claimed the home."""
    assert send(guest, "you", **YOU) == 302
    return guest


@pytest.fixture
def at_the_programme(ruth: Client) -> Client:
    assert send(ruth, "learners", **LEARNERS) == 302
    assert send(ruth, "school", **SCHOOL) == 302
    return ruth


@pytest.fixture
def at_the_courses(at_the_programme: Client) -> Client:
    assert send(at_the_programme, "programme", kind="sample") == 302
    return at_the_programme


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.status_code
    return answer.content.decode()


def wrong_at(html: str) -> dict[str, str]:
    """What is said to be wrong, by field."""
    return dict(re.findall(r'<small class="wrong" id="w-([^"]+)">([^<]*)</small>', html))


def where_it_leads(client: Client, step: str, **fields: object) -> str:
    answer = client.post(f"/first/{step}/", {"do": "on", **fields})
    return str(answer.get("Location", answer.status_code))


class TestWhoGetsIn:
    def test_an_empty_home_leads_to_the_set_up(self) -> None:
        client = Client()
        assert client.get("/")["Location"].startswith("/sign-in/")
        assert client.get("/sign-in/")["Location"] == "/first/"
        assert "The word on the terminal" in client.get("/first/").content.decode()

    @pytest.mark.parametrize("step", STEPS)
    def test_nobody_gets_in_without_the_word(self, step: str) -> None:
        client = Client()
        assert client.get(f"/first/{step}/").status_code == 403
        assert client.post(f"/first/{step}/", YOU).status_code == 403
        assert not User.objects.exists()

    @pytest.mark.parametrize("word", ["", "abcd-efgh-jkmn-pqrt", "abcd", KEY * 2])
    def test_another_word_opens_nothing(self, word: str) -> None:
        client = Client()
        assert client.get("/first/", {"key": word}).status_code == 403
        assert client.post("/first/", {"key": word}).status_code == 403
        assert client.get("/first/you/").status_code == 403

    def test_without_a_word_on_the_terminal_nothing_is_let_in(self, settings: LazySettings) -> None:
        settings.FIRST_KEY = ""
        for word in ("", KEY):
            answer = Client().post("/first/", {"key": word})
            assert answer.status_code == 403
            assert "markstead serve" in answer.content.decode()

    def test_the_word_may_be_typed_with_blanks_and_capitals(self) -> None:
        client = Client()
        assert client.post("/first/", {"key": " ABCD-efgh- jkmn-pqrs "}).status_code == 302
        assert client.get("/first/you/").status_code == 200

    def test_the_word_is_not_taken_from_the_line_of_the_address(self) -> None:
        assert Client().get("/first/", {"key": KEY}).status_code == 403

    def test_the_first_account_shuts_the_door_behind_it(self, ruth: Client) -> None:
        second = Client()
        second.post("/first/", {"key": KEY})
        for step in STEPS:
            assert second.get(f"/first/{step}/")["Location"].startswith("/sign-in/"), step
        assert second.post("/first/you/", YOU | {"username": "mallory"})["Location"].startswith("/sign-in/")
        assert [user.username for user in User.objects.all()] == ["ruth"]

    def test_a_browser_let_in_before_the_first_account_is_shut_out_after_it(self) -> None:
        early, quick = Client(), Client()
        for client in (early, quick):
            client.post("/first/", {"key": KEY})
        assert send(quick, "you", **YOU) == 302
        assert early.post("/first/you/", YOU | {"username": "mallory"})["Location"].startswith("/sign-in/")
        assert User.objects.count() == 1

    def test_signing_in_again_leads_back_to_the_set_up(self, ruth: Client) -> None:
        again = Client()
        assert again.post("/sign-in/", {"username": "ruth", "password": PASSWORD})["Location"] == "/"
        assert again.get("/")["Location"] == "/first/"
        assert again.get("/first/learners/").status_code == 200

    def test_a_home_that_is_made_has_no_set_up_any_more(self, home: Home) -> None:
        stranger, ruth = Client(), Client()
        ruth.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
        for step in STEPS:
            assert stranger.get(f"/first/{step}/")["Location"].startswith("/sign-in/")
            assert ruth.get(f"/first/{step}/").status_code == 403
            assert ruth.post(f"/first/{step}/", YOU).status_code == 403
        assert Household.objects.count() == 1


class TestWhoYouAre:
    def test_the_account_is_made_and_signed_in(self, guest: Client) -> None:
        assert where_it_leads(guest, "you", **YOU) == "/first/learners/"
        assert User.objects.get().check_password(PASSWORD)
        assert "signs in" not in page(guest, "/first/learners/")

    @pytest.mark.parametrize(
        ("changed", "field"),
        [
            ({"home": " "}, "home"),
            ({"name": ""}, "name"),
            ({"username": ""}, "username"),
            ({"username": "ruth tarn"}, "username"),
            ({"password": ""}, "password"),
            ({"again": "another-lamp-in-it"}, "again"),
            ({"password": "short", "again": "short"}, "password"),
            ({"password": "1234567890", "again": "1234567890"}, "password"),
        ],
    )
    def test_what_is_wrong_is_said_at_its_field_and_the_rest_stays(
        self, guest: Client, changed: dict[str, str], field: str
    ) -> None:
        answer = guest.post("/first/you/", {"do": "on", **YOU, **changed})
        html = answer.content.decode()

        assert answer.status_code == 409
        assert list(wrong_at(html)) == [field]
        for name in ("home", "name", "username"):
            if name != field:
                assert f'value="{YOU[name]}"' in html
        assert PASSWORD not in html
        assert not User.objects.exists()

    def test_no_password_is_kept_in_the_draft(self, guest: Client, empty_home: Path) -> None:
        send(guest, "you", **YOU | {"again": "no"})
        send(guest, "you", **YOU)

        text = (empty_home / first_evening.DRAFT).read_text()
        assert "Ruth Tarn" in text
        assert PASSWORD not in text
        assert "password" not in text

    def test_names_can_be_changed_afterwards_and_the_account_stays(self, ruth: Client) -> None:
        html = page(ruth, "/first/you/")
        assert 'type="password"' not in html
        assert where_it_leads(ruth, "you", home="Tarn End", name="Ruth Fell") == "/first/learners/"
        assert User.objects.get().username == "ruth"


class TestLeavingAndResuming:
    def test_every_step_is_kept_as_it_is_left(self, ruth: Client) -> None:
        ruth.post("/first/learners/", {"do": "later", "name-0": "Asa", "year-0": "soon"})

        html = page(ruth, "/first/learners/")
        assert 'value="Asa"' in html
        assert 'value="soon"' in html
        assert wrong_at(html) == {}

    def test_going_back_keeps_what_was_typed(self, ruth: Client) -> None:
        assert (
            ruth.post("/first/school/", {"do": "back", "first-0": "2026-01"})["Location"]
            == "/first/learners/"
        )
        assert 'value="2026-01"' in page(ruth, "/first/school/")

    def test_another_browser_goes_on_where_the_first_one_stopped(self, at_the_courses: Client) -> None:
        again = Client()
        again.post("/sign-in/", {"username": "ruth", "password": PASSWORD})
        html = page(again, "/first/")
        assert re.findall(r"<strong>([^<]*)</strong>", html) == ["done"] * 4 + ["to do"] * 3
        assert 'href="/first/courses/">Go on' in html

    def test_a_step_that_rests_on_others_leads_to_the_first_that_is_missing(self, ruth: Client) -> None:
        assert ruth.get("/first/standing/")["Location"] == "/first/learners/"
        assert ruth.get("/first/look/")["Location"] == "/first/learners/"

    def test_a_folder_that_cannot_be_written_is_said_and_is_no_mistake_of_ours(
        self, ruth: Client, settings: LazySettings, tmp_path: Path
    ) -> None:
        settings.HOME = tmp_path / "gone"
        answer = ruth.post("/first/learners/", LEARNERS)
        assert answer.status_code == 507
        assert "cannot be kept" in answer.content.decode()

    def test_a_nul_byte_is_refused_and_nothing_breaks(self, ruth: Client) -> None:
        assert ruth.post("/first/learners/", {"name-0": "A\0"}).status_code == 400


class TestLearnersAndSchool:
    @pytest.mark.parametrize(
        ("changed", "fields"),
        [
            ({"name-0": ""}, ["name-0"]),
            ({"year-0": ""}, ["year-0"]),
            ({"year-1": "21"}, ["year-1"]),
            ({"year-1": "-1"}, ["year-1"]),
            ({"name-0": "A" * 201}, ["name-0"]),
            ({"name-0": "A\u200bsa"}, ["name-0"]),
            (dict.fromkeys(LEARNERS, ""), ["name-0"]),
        ],
    )
    def test_a_wrong_learner_is_said_at_the_field(
        self, ruth: Client, changed: dict[str, str], fields: list[str]
    ) -> None:
        answer = ruth.post("/first/learners/", {"do": "on", **LEARNERS, **changed})
        assert answer.status_code == 409
        assert list(wrong_at(answer.content.decode())) == fields

    def test_more_rows_keep_the_first_ones(self, ruth: Client) -> None:
        answer = ruth.post("/first/learners/", {"do": "more", **LEARNERS})
        html = answer.content.decode()
        assert 'value="Noa"' in html
        assert len(re.findall(r'name="name-\d+"', html)) == 7

    @pytest.mark.parametrize(
        ("changed", "field"),
        [
            ({"country": ""}, "country"),
            ({"country": "ZZ"}, "country"),
            ({"country": "NZ"}, "zone"),
            ({"country": "NZ", "zone": "Europe/London"}, "zone"),
            ({"first-0": ""}, "first-0"),
            ({"first-0": "5 January"}, "first-0"),
            ({"last-0": "2026-02-30"}, "last-0"),
            ({"last-0": "2026-01-04"}, "last-0"),
            ({"last-0": "2036-01-04"}, "last-0"),
            ({"first-1": "2026-03-01", "last-1": "2026-06-01"}, "first-1"),
            ({"first-0": "", "last-0": "", "term-0": ""}, "first-0"),
            ({"weekday": []}, "weekday"),
            ({"half": ["6"]}, "half"),
            ({"half-day-ends": "noon"}, "half-day-ends"),
        ],
    )
    def test_a_wrong_school_is_said_at_the_field_and_the_rest_stays(
        self, ruth: Client, changed: dict[str, object], field: str
    ) -> None:
        answer = ruth.post("/first/school/", {"do": "on", **SCHOOL, **changed})
        html = answer.content.decode()
        assert answer.status_code == 409
        assert field in wrong_at(html)
        if "last-0" not in changed:
            assert 'value="2026-03-27"' in html

    def test_parts_and_clocks_are_those_of_the_chosen_country(self, ruth: Client) -> None:
        html = ruth.post("/first/school/", {"do": "place", "country": "NZ"}).content.decode()
        assert "Chatham" in html
        assert "Otago" in html
        assert wrong_at(html) == {}
        html = ruth.post("/first/school/", {"do": "place", "country": "GB"}).content.decode()
        assert "England" in html
        assert 'name="zone"' not in html

    def test_a_part_of_another_country_is_left_out(self, ruth: Client) -> None:
        assert where_it_leads(ruth, "school", **SCHOOL | {"country": "IE"}) == "/first/programme/"

    def test_a_country_with_parts_asks_once_for_the_part(self, ruth: Client) -> None:
        bare = {name: value for name, value in SCHOOL.items() if name != "region"}
        asked = ruth.post("/first/school/", {"do": "on", **bare}).content.decode()
        assert list(wrong_at(asked)) == ["region"]
        assert 'name="parts-of" value="GB"' in asked
        answered = {**bare, "region": "", "parts-of": "GB"}
        assert where_it_leads(ruth, "school", **answered) == "/first/programme/"
        assert 'value="GBP"' in page(ruth, "/first/programme/typed/")

    @pytest.mark.parametrize("said", ["2", "Year 2", "2nd", "2nd grade", "2.º", "2º grado", "Grado 2"])
    def test_a_school_year_is_read_as_people_write_it(
        self, ruth: Client, settings: LazySettings, said: str
    ) -> None:
        assert where_it_leads(ruth, "learners", **{"name-0": "Asa", "year-0": said}) == "/first/school/"
        (asa,) = Setup(read_draft(settings.HOME), "ruth").learners
        assert asa.newcomer.year == 2

    def test_usual_days_are_ticked_until_the_step_was_saved(self, ruth: Client) -> None:
        ticked = r'name="weekday" value="(\d)" checked'
        assert re.findall(ticked, page(ruth, "/first/school/")) == list("01234")
        ruth.post("/first/school/", {"do": "later", "country": "GB"})
        assert re.findall(ticked, page(ruth, "/first/school/")) == []


class TestProgramme:
    def test_one_of_the_three_is_wanted(self, at_the_programme: Client) -> None:
        answer = at_the_programme.post("/first/programme/", {"do": "on"})
        assert answer.status_code == 409
        assert "One of the three" in answer.content.decode()

    def test_a_paste_is_read_into_the_grid(self, at_the_programme: Client) -> None:
        paste = "Subject\tLevel\tTitle\tPages\nSums\t5\tCounting Boats\t24\n\t\tCounting Gulls\t26"
        assert where_it_leads(at_the_programme, "programme", kind="typed") == "/first/programme/typed/"
        html = at_the_programme.post(
            "/first/programme/typed/", {"do": "read", "paste": paste}
        ).content.decode()

        assert "Read 2 rows; columns known by their headings" in html
        assert 'name="title-1" type="text" maxlength="200" value="Counting Gulls"' in html
        assert 'name="subject-1" type="text" maxlength="200" value="Sums"' in html
        more = at_the_programme.post(
            "/first/programme/typed/",
            {
                "do": "read",
                "title-0": "Counting Boats",
                "pages-0": "24",
                "subject-0": "Sums",
                "paste": "Gulls\t26",
            },
        ).content.decode()
        assert 'value="Counting Boats"' in more
        assert 'name="title-1" type="text" maxlength="200" value="Gulls"' in more

    def test_rows_that_are_pasted_again_take_the_place_of_those_that_stand_there(
        self, at_the_programme: Client
    ) -> None:
        send(at_the_programme, "programme", kind="typed")
        address, rows = "/first/programme/typed/", "Sums\t5\tBoats\t{}\nSums\t5\tGulls\t{}"
        first = at_the_programme.post(
            address, {"do": "read", "paste": "Subject\tYear\tWorkbook\tSheets\n" + rows.format(24, 26)}
        ).content.decode()
        assert "No column of pages was found" in first
        there = dict(re.findall(r'name="((?:subject|level|title|pages)-\d+)"[^>]*? value="([^"]*)"', first))
        again = at_the_programme.post(
            address,
            {**there, "do": "read", "paste": "Subject\tYear\tWorkbook\tNo. of pages\n" + rows.format(24, 26)},
        ).content.decode()
        assert [again.count(f'value="{title}"') for title in ("Boats", "Gulls")] == [1, 1]
        assert re.findall(r'name="pages-\d+"[^>]*? value="(\d+)"', again) == ["24", "26"]

    def test_a_paste_that_was_forgotten_is_read_before_going_on(self, at_the_programme: Client) -> None:
        send(at_the_programme, "programme", kind="typed")
        answer = at_the_programme.post("/first/programme/typed/", {"do": "on", "paste": "Sums\t5\tBoats\t24"})
        assert answer.status_code == 200
        assert "Look them over" in answer.content.decode()

    def test_a_wrong_cell_is_said_at_the_cell(self, at_the_programme: Client) -> None:
        send(at_the_programme, "programme", kind="typed")
        grid = {
            "subject-0": "Sums",
            "level-0": "5",
            "title-0": "Boats",
            "pages-0": "lots",
            "title-2": "Gulls",
        }
        answer = at_the_programme.post("/first/programme/typed/", {"do": "on", **grid})
        html = answer.content.decode()
        assert answer.status_code == 409
        assert set(wrong_at(html)) == {"pages-0", "pages-2"}
        assert 'value="lots"' in html

    def test_an_empty_grid_is_no_programme(self, at_the_programme: Client) -> None:
        send(at_the_programme, "programme", kind="typed")
        answer = at_the_programme.post("/first/programme/typed/", {"do": "on"})
        assert list(wrong_at(answer.content.decode())) == ["title-0"]

    def test_sections_are_laid_out_and_can_be_changed(self, at_the_programme: Client) -> None:
        send(at_the_programme, "programme", kind="typed")
        grid = {"subject-0": "Sums", "level-0": "5", "title-0": "Boats", "pages-0": "26"}
        assert (
            where_it_leads(at_the_programme, "programme/typed", do="cut", **grid) == "/first/programme/cut/"
        )
        assert 'value="6;12;19;25"' in page(at_the_programme, "/first/programme/cut/")

        cut = {"section_ends-0": "10;25", "check_pages-0": "26", "section_questions-0": "12;12;12;12"}
        answer = at_the_programme.post(
            "/first/programme/cut/", {"do": "on", **cut, "check_questions-0": "10;10"}
        )
        assert answer.status_code == 302, wrong_at(answer.content.decode())
        html = page(at_the_programme, "/first/programme/cut/")
        assert 'value="10;25"' in html
        assert 'value="12;12"' in html

    def test_checks_stay_where_only_the_sections_are_changed(self, at_the_programme: Client) -> None:
        send(at_the_programme, "programme", kind="typed")
        grid = {"subject-0": "Sums", "level-0": "5", "title-0": "Boats", "pages-0": "26"}
        send(at_the_programme, "programme/typed", **grid)
        shown = {"section_ends-0": "4;12;19;25", "check_pages-0": "13;26", "check_questions-0": "10;10"}
        assert where_it_leads(at_the_programme, "programme/cut", **shown) == "/first/courses/"
        html = page(at_the_programme, "/first/programme/cut/")
        assert 'value="4;12;19;25"' in html
        assert 'value="13;26"' in html

    def test_a_layout_that_cannot_be_is_said_at_its_cell(self, at_the_programme: Client) -> None:
        send(at_the_programme, "programme", kind="typed")
        grid = {"subject-0": "Sums", "level-0": "5", "title-0": "Boats", "pages-0": "26"}
        send(at_the_programme, "programme/typed", **grid)
        answer = at_the_programme.post(
            "/first/programme/cut/", {"do": "on", "section_ends-0": "12;6;26", "check_pages-0": ""}
        )
        html = answer.content.decode()
        assert answer.status_code == 409
        assert "section_ends-0" in wrong_at(html)
        assert 'value="12;6;26"' in html

    def test_a_file_of_workbooks_is_read_as_an_import_reads_it(self, at_the_programme: Client) -> None:
        send(at_the_programme, "programme", kind="files")
        sent = SimpleUploadedFile("ours.csv", WORKBOOKS.encode())
        answer = at_the_programme.post("/first/programme/files/", {"do": "read", "books-file": sent})
        assert "3 workbooks in 2 courses were read" in answer.content.decode()
        assert (
            where_it_leads(at_the_programme, "programme/files", books=WORKBOOKS, rules=RULES)
            == "/first/courses/"
        )

    def test_problems_of_a_file_are_told_row_by_row_and_the_text_stays(
        self, at_the_programme: Client
    ) -> None:
        send(at_the_programme, "programme", kind="files")
        bad = WORKBOOKS.replace("Counting Gulls,9", "Counting Gulls,nine")
        answer = at_the_programme.post("/first/programme/files/", {"do": "on", "books": bad})
        html = answer.content.decode()
        assert answer.status_code == 409
        assert "workbooks.csv, row 3, column pages: found &#x27;nine&#x27;" in html
        assert "Counting Gulls,nine" in html

    @pytest.mark.parametrize(
        ("content", "says"),
        [
            (b"course\0level", "a NUL byte"),
            (b"\xff\xfec\x00", "text in UTF-16"),
            (b"course;\xe9", "another encoding"),
            (b"", "an empty file"),
            (b"x" * 1_000_001, "at most 1000000"),
        ],
    )
    def test_an_upload_is_judged_by_what_is_in_it(
        self, at_the_programme: Client, content: bytes, says: str
    ) -> None:
        send(at_the_programme, "programme", kind="files")
        sent = SimpleUploadedFile("ours.csv", content, content_type="text/csv")
        answer = at_the_programme.post(
            "/first/programme/files/", {"do": "on", "books": "kept text", "books-file": sent}
        )
        html = answer.content.decode()
        assert answer.status_code == 409
        assert says in html
        assert "kept text" in html


class TestCoursesAndStanding:
    def test_courses_of_the_learners_year_are_ticked_at_first(self, at_the_courses: Client) -> None:
        html = page(at_the_courses, "/first/courses/")
        assert set(re.findall(r'name="take-0" value="([^"]+)" checked', html)) == {
            f"{subject}-5" for subject in ("maths", "grammar", "reading", "science", "history", "geography")
        }

    def test_a_learner_without_a_course_is_said(self, at_the_courses: Client) -> None:
        sent = {"asked-0": "yes", "asked-1": "yes", "take-1": ["maths-9"]}
        answer = at_the_courses.post("/first/courses/", {"do": "on", **sent})
        assert answer.status_code == 409
        assert "At least one course is wanted here for Asa." in answer.content.decode()

    @pytest.mark.parametrize(
        ("changed", "field"),
        [
            (
                {"where-0-maths-5": "in hand", "book-0-maths-5": "maths-5-04", "page-0-maths-5": "37"},
                "page-0-maths-5",
            ),
            (
                {"where-0-maths-5": "in hand", "book-0-maths-5": "maths-5-04", "page-0-maths-5": "x"},
                "page-0-maths-5",
            ),
            ({"where-0-maths-5": "in hand", "book-0-maths-5": "maths-9-04"}, "book-0-maths-5"),
            (
                {"where-0-maths-5": "here", "book-0-maths-5": "maths-5-04", "page-0-maths-5": "4"},
                "page-0-maths-5",
            ),
            ({"where-0-maths-5": "nothing", "page-0-maths-5": "4"}, "page-0-maths-5"),
        ],
    )
    def test_a_standing_that_cannot_be_is_said_at_its_field(
        self, at_the_courses: Client, changed: dict[str, str], field: str
    ) -> None:
        sent = {"asked-0": "yes", "asked-1": "yes", "take-0": ["maths-5"], "take-1": ["maths-9"]}
        assert send(at_the_courses, "courses", **sent) == 302
        answer = at_the_courses.post("/first/standing/", {"do": "on", **changed})
        assert answer.status_code == 409
        assert list(wrong_at(answer.content.decode())) == [field]

    def test_a_learner_taken_out_between_leaves_the_others_where_they_are(
        self, at_the_courses: Client
    ) -> None:
        sent = {"asked-0": "yes", "asked-1": "yes", "take-0": ["maths-5"], "take-1": ["maths-9"]}
        send(at_the_courses, "courses", **sent)
        send(at_the_courses, "standing", **{"where-1-maths-9": "in hand", "book-1-maths-9": "maths-9-03"})
        send(at_the_courses, "learners", **{"name-0": "", "year-0": "", "name-1": "Noa", "year-1": "9"})
        html = page(at_the_courses, "/first/look/")
        assert "Asa" not in html
        assert "Noa: Mathematics 9: 3. " in html


class TestMade:
    @pytest.fixture
    def at_the_look(self, at_the_courses: Client) -> Client:
        sent = {"asked-0": "yes", "asked-1": "yes", "take-0": ["maths-5", "reading-5"], "take-1": ["maths-9"]}
        assert send(at_the_courses, "courses", **sent) == 302
        standing = {"where-0-maths-5": "in hand", "book-0-maths-5": "maths-5-04", "page-0-maths-5": "13"}
        assert send(at_the_courses, "standing", **standing | {"where-0-reading-5": "find out"}) == 302
        return at_the_courses

    def test_everything_is_shown_once_more_before_anything_is_made(self, at_the_look: Client) -> None:
        html = page(at_the_look, "/first/look/")
        for words in (
            "Ruth Tarn, at Tarn End; signs in as ruth.",
            "Asa, school year 5",
            "60 school days in 1 span, from 5 January 2026 to 27 March 2026; 55 of them still ahead.",
            "Half days: Wednesday, until 12:30.",
            "216 workbooks in 18 courses",
            "Asa: Mathematics 5: 4. Fractions of a Whole, in hand, 13 of 36 pages done",
            "Asa: Reading 5: to be found out by short tests",
            "Noa: Mathematics 9: not begun",
        ):
            assert words in html
        assert not Household.objects.exists()

    def test_the_home_is_made_and_the_draft_is_gone(self, at_the_look: Client, empty_home: Path) -> None:
        assert where_it_leads(at_the_look, "look") == "/first/made/"

        home = queries.home_of("home")
        assert home.name == "Tarn End"
        assert home.calendar.half_weekdays == frozenset({2})
        assert not (empty_home / first_evening.DRAFT).exists()
        html = page(at_the_look, "/first/made/")
        assert "Make a plan" in html
        assert html.index("you asked for help here") > html.index("Reading 5")
        today = page(at_the_look, "/")
        assert "Fractions of a Whole" in today
        assert "Work pages 14-17" in today

    def test_a_second_press_makes_no_second_home(self, at_the_look: Client) -> None:
        at_the_look.post("/first/look/", {"do": "on"})
        facts = Entry.objects.count()
        assert at_the_look.post("/first/look/", {"do": "on"}).status_code == 403
        assert (Household.objects.count(), Entry.objects.count()) == (1, facts)

    def test_first_goals_follow_from_a_plan(self, at_the_look: Client) -> None:
        at_the_look.post("/first/look/", {"do": "on"})
        number = at_the_look.post("/plan/make")["Location"].strip("/").rsplit("/", 1)[-1]
        at_the_look.post(f"/plan/{number}/take")
        assert "not set yet" in page(at_the_look, "/")
        assert "There is a plan." in page(at_the_look, "/first/made/")

    def test_what_was_made_is_for_educators_alone(self, home: Home) -> None:
        tobi = Client()
        tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
        assert tobi.get("/first/made/").status_code == 403
        assert Client().get("/first/made/").status_code == 302


def test_the_clock_of_the_record_is_that_of_the_evening(at_the_courses: Client) -> None:
    sent = {"asked-0": "yes", "asked-1": "yes", "take-0": ["maths-5"], "take-1": ["maths-9"]}
    send(at_the_courses, "courses", **sent)
    send(at_the_courses, "standing", **{"where-0-maths-5": "in hand", "book-0-maths-5": "maths-5-04"})
    send(at_the_courses, "look")
    assert set(Entry.objects.values_list("at", flat=True)) == {datetime(2026, 1, 12, 9, 0, tzinfo=UTC)}
