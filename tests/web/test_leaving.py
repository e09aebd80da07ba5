"""Backups, what is taken away, calendars and erasure as an educator sees them; and who else is let in nowhere."""

import io
import re
import zipfile
from datetime import timedelta
from pathlib import Path

import icalendar
import pytest
from django.test import Client

from markstead.records import actions, backups, erasing, feeds, queries, setup
from markstead.records.home import Home
from markstead.web import tongue
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY


def text(answer: object) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))  # type: ignore[attr-defined]


def take(ruth: Client, address: str) -> zipfile.ZipFile:
    answer = ruth.get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/zip"
    assert "no-store" in answer["Cache-Control"]
    return zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))  # type: ignore[attr-defined]


class TestPackages:
    """Everything in open formats, one click each."""

    def test_the_archive_the_tables_and_the_package_are_sent_whole(self, ruth: Client, boats: str) -> None:
        archive = take(ruth, "/settings/take-away/archive")
        assert archive.testzip() is None
        assert archive.read("record.jsonl").count(b"\n") == queries.count_facts("home")
        assert b"Asa" in take(ruth, "/settings/take-away/tables").read("people.csv")
        assert b"Asa" not in take(ruth, "/settings/take-away/tables?names=no").read("people.csv")
        assert b"file.users,bulk" in take(ruth, "/settings/take-away/oneroster").read("manifest.csv")

    def test_nothing_is_left_of_them_on_the_disk(
        self, ruth: Client, boats: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

        take(ruth, "/settings/take-away/archive")

        assert list(tmp_path.iterdir()) == []


class TestCalendars:
    """An address that is made, read by whoever has it, and taken back."""

    GIVEN = {"name": "Phone", "naming": "none", "parts": ["goals", "dispatch"], "learner": ""}

    def made(self, ruth: Client, home: Home, **other: object) -> str:
        assert ruth.post("/settings/take-away/calendar", {**self.GIVEN, **other}).status_code == 302
        (found,) = feeds.feeds(home)
        return f"/feeds/{found.id}.ics"

    def test_a_stranger_with_the_address_reads_it_and_nobody_is_named(
        self, ruth: Client, home: Home, boats: str
    ) -> None:
        actions.issue_copy("home", copy=boats, learner="asa", by="ruth", at=MONDAY)
        actions.set_goal("home", copy=boats, day=MONDAY.date(), first=1, last=3, by="ruth", at=MONDAY)
        address = self.made(ruth, home)

        answer = Client().get(address)

        assert answer["Content-Type"] == "text/calendar; charset=utf-8"
        assert answer["X-Robots-Tag"] == "noindex, nofollow"
        said = [str(e["SUMMARY"]) for e in icalendar.Calendar.from_ical(answer.content).walk("VEVENT")]
        assert "Learner 1: 1 goal" in said
        assert "Send the test papers to the school" in said
        assert b"Asa" not in answer.content
        assert "http://testserver" + address in ruth.get("/settings/take-away/").content.decode()

    def test_by_name_where_the_educator_wants_it(self, ruth: Client, home: Home, boats: str) -> None:
        actions.issue_copy("home", copy=boats, learner="asa", by="ruth", at=MONDAY)
        actions.set_goal("home", copy=boats, day=MONDAY.date(), first=1, last=3, by="ruth", at=MONDAY)

        answer = Client().get(self.made(ruth, home, naming="names", learner=home.person("asa").id))

        assert b"SUMMARY:Asa: 1 goal" in answer.content

    def test_it_is_in_the_language_of_the_home(self, ruth: Client, home: Home) -> None:
        setup.set_language("home", "es")

        answer = Client().get(self.made(ruth, home), headers={"accept-language": "en"})

        assert "Enviar las pruebas a la escuela" in answer.content.decode()
        assert answer["Content-Language"] == "es"
        assert answer["Cache-Control"] == "no-store, private"

    def test_taken_back_it_is_not_there(self, ruth: Client, home: Home) -> None:
        address = self.made(ruth, home)
        word = address.removeprefix("/feeds/").removesuffix(".ics")

        said = ruth.post("/settings/take-away/calendar/back", {"feed": word})

        assert "Phone is taken back" in text(said)
        assert Client().get(address).status_code == 404

    def test_what_cannot_be_keeps_what_was_typed(self, ruth: Client) -> None:
        answer = ruth.post("/settings/take-away/calendar", {"name": "Phone of mine", "naming": "none"})

        assert answer.status_code == 409
        assert "one or more of goals, sittings, orders, dispatch" in text(answer)
        assert b'value="Phone of mine"' in answer.content


class TestBackups:
    """How the home stands, and one made by hand."""

    @pytest.fixture
    def folder(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
        monkeypatch.setenv(backups.ENV_FOLDER, str(tmp_path / "disk"))
        return tmp_path / "disk"

    def test_none_yet_is_said(self, ruth: Client, boats: str, folder: Path) -> None:
        assert "There is no backup yet." in text(ruth.get("/settings/backups/"))

    def test_what_is_kept_is_listed_and_can_be_deleted(self, ruth: Client, boats: str, folder: Path) -> None:
        folder.mkdir()
        for n, whole in ((1, True), (2, False)):
            made = MONDAY - timedelta(days=n)
            (folder / f"b{n}").write_bytes(b"xy")
            kept = backups.Backup(
                f"b{n}", made, 2 if whole else 3, "", 7, ("home",), encrypted=n == 1, by_itself=True
            )
            backups._write_card(folder, kept)
        backups._note_trouble(folder, MONDAY, "The disk is full.")

        said = text(ruth.get("/settings/backups/"))

        assert "The last good backup is of 11 January 2026, 09:00." in said
        assert "by itself · 7 facts, verified · encrypted" in said
        assert "its file is gone or was cut off" in said
        assert "The latest try failed, 12 January 2026, 09:00. The disk is full." in said
        assert "That backup is deleted." in text(ruth.post("/settings/backups/delete", {"file": "b1"}))
        assert sorted(p.name for p in folder.iterdir()) == ["b2", "b2.json", "trouble.json"]
        wrong = ruth.post("/settings/backups/delete", {"file": "../secret.key"})
        assert wrong.status_code == 409

    def test_an_old_one_is_called_for_on_todays_page(
        self, ruth: Client, boats: str, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Where the record is the home's own file; the first fact is of 9 January, three days and a minute before."""
        monkeypatch.setattr(backups, "database", lambda: tmp_path / backups.FILE)
        assert "make a backup" not in text(ruth.get("/"))
        monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + timedelta(minutes=1)).isoformat())

        said = ruth.get("/")

        assert "There is no backup yet" in text(said)
        assert b'href="/settings/backups/"' in said.content


class TestErasure:
    """Seen first, typed, and done."""

    def test_what_would_go_is_shown_and_the_archive_is_offered(self, ruth: Client, home: Home) -> None:
        page = ruth.get("/settings/erase/", {"who": home.person("asa").id})

        assert "The name, key, school year, courses and PIN go." in text(page)
        assert b'href="/settings/take-away/archive"' in page.content

    @pytest.mark.parametrize(
        ("sent", "says"),
        [
            ({"name": "asa", "archived": "yes"}, "typed as it stands here"),
            ({"name": "Asa"}, "that you have the archive, or want none"),
        ],
    )
    def test_without_the_name_or_the_tick_nothing_goes(
        self, ruth: Client, home: Home, sent: dict[str, str], says: str
    ) -> None:
        answer = ruth.post("/settings/erase/", {"who": home.person("asa").id, **sent})

        assert answer.status_code == 409
        assert says in text(answer)
        assert queries.home_of("home").person("asa").name == "Asa"

    def test_a_learner_goes(self, ruth: Client, home: Home, boats: str) -> None:
        asa = home.person("asa").id
        sent = {"who": asa, "name": "Asa", "archived": "yes"}

        answer = ruth.post("/settings/erase/", sent)

        assert answer.status_code == 200
        assert "Gone for good." in text(answer)
        assert queries.home_of("home").person(asa).erased
        assert queries.home_of("home").person(asa).name == erasing.NOBODY
        for address in (
            "/",
            "/settings/people/",
            "/settings/erase/",
            "/record/",
            "/copies/",
            f"/copies/{boats}/",
        ):
            page = ruth.get(address)
            assert page.status_code == 200, address
            assert "Asa" not in text(page), address
        # the test itself is in a transaction, which is what a server does not do
        assert "somebody is using it" in text(answer)

    def test_what_went_is_said_in_the_language_of_the_page_and_what_stays_in_that_of_the_home(
        self, ruth: Client, home: Home
    ) -> None:
        setup.set_language("home", "es")
        asa = home.person("asa").id
        ruth.cookies[tongue.COOKIE] = "en-gb"

        answer = ruth.post("/settings/erase/", {"who": asa, "name": "Asa", "archived": "yes"})

        assert "Gone for good. Texts: " in text(answer)
        assert queries.home_of("home").person(asa).name == "Alguien ya borrado"
        ruth.cookies[tongue.COOKIE] = "es"
        noa = ruth.post("/settings/erase/", {"who": home.person("noa").id, "name": "Noa", "archived": "yes"})
        assert "people:" not in text(noa)
        assert "personas: 1" in text(noa)

    def test_the_whole_household_goes_and_signs_out(self, ruth: Client, home: Home, boats: str) -> None:
        answer = ruth.post("/settings/erase/", {"who": "everybody", "name": "Tarn End", "archived": "yes"})

        assert "The household is erased" in text(answer)
        assert ruth.get("/").status_code == 302
        again = Client().post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
        assert again.status_code == 200
        assert all(p.erased for p in queries.home_of("home").people.values())
        assert queries.home_of("home").name == erasing.NO_HOME
