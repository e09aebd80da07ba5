"""The pages of papers as a browser asks for them: what stands there, what is kept, what is refused."""

import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from markstead.ledger.facts import AttendanceTaken, Presence, UnitTestScored
from markstead.records import people, queries, required
from markstead.records.models import Entry, Narrative, Sample
from markstead.web import kept
from tests.records.paper_home import pages_of, paper_home
from tests.tools.homes import PASSWORD

DAYS = "2026-01-12_2026-01-23"
REPORT = f"/papers/report/asa/?days={DAYS}"


@pytest.fixture
def ruth(
    db: None, settings: LazySettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Client]:
    """Ruth's browser on Friday 23 January 2026."""
    settings.HOME = tmp_path
    monkeypatch.setenv("MARKSTEAD_NOW", datetime(2026, 1, 23, 9, tzinfo=UTC).isoformat())
    paper_home(sign_in=True)
    client = Client()
    assert client.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD}).status_code == 302
    return client


def text_of(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, address
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def pdf_of(client: Client, address: str) -> str:
    answer = client.get(address)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf"), address
    return " ".join(pages_of(answer.content))


def photograph() -> SimpleUploadedFile:
    file = io.BytesIO()
    Image.new("RGB", (40, 50), "navy").save(file, "JPEG")
    return SimpleUploadedFile("page.exe", file.getvalue(), "text/plain")


def test_one_page_leads_to_every_paper(ruth: Client) -> None:
    page = ruth.get("/papers/").content.decode()

    for address in (
        "/papers/dispatch/",
        "/papers/report/asa/",
        "/papers/attendance/asa/",
        "/papers/transcript/asa/",
        "/papers/samples/noa/",
        "/settings/requirements/",
    ):
        assert address in page, address
    assert "local law and the school decide" in page


class TestTheSameOnScreenAndPaper:
    @pytest.mark.parametrize(
        ("screen", "sheet", "words"),
        [
            (
                REPORT,
                f"/papers/report/asa/sheet?days={DAYS}",
                ["4.5 days", "6 h 58 min", "5 pages of new material done, 1 planned: 389 % of it."],
            ),
            ("/papers/attendance/asa/", "/papers/attendance/asa/sheet", ["7 h 35 min", "Spring", "5.5 days"]),
            ("/papers/transcript/asa/", "/papers/transcript/asa/sheet", ["Counting Boats", "90.0 %"]),
            (
                "/papers/dispatch/?month=2026-02",
                "/papers/dispatch/sheet?month=2026-02",
                ["Counting Boats", "18 of 20", "90 %"],
            ),
        ],
    )
    def test_what_the_page_says_the_paper_says(
        self, ruth: Client, screen: str, sheet: str, words: list[str]
    ) -> None:
        shown, paper = text_of(ruth, screen), pdf_of(ruth, sheet)

        for said in words:
            assert said in shown, said
            assert said in paper, said

    def test_the_transcript_is_a_table_for_a_spreadsheet_too(self, ruth: Client) -> None:
        answer = ruth.get("/papers/transcript/asa/sheet?kind=csv")

        assert answer["Content-Disposition"].startswith('attachment; filename="transcript-asa-')
        assert answer.content.startswith(b"course,course title,workbook,")


class TestTheDraft:
    def test_it_is_kept_while_it_is_typed_and_stands_on_the_paper(self, ruth: Client) -> None:
        form = {"course": "sums-5", "days": DAYS, "text": "Counts gladly."}

        answer = ruth.post("/papers/report/asa/words", form, headers={"HX-Request": "true"})

        assert answer.content.decode().strip() == "Kept 09:00"
        assert "Counts gladly." in text_of(ruth, REPORT)
        assert "Counts gladly." in pdf_of(ruth, f"/papers/report/asa/sheet?days={DAYS}")
        assert "Counts gladly." not in "".join(Entry.objects.values_list("body", flat=True))

    def test_without_a_script_the_button_keeps_it(self, ruth: Client) -> None:
        form = {"course": "sums-5", "days": DAYS, "on": "2026-01-23", "text": "Counts."}

        answer = ruth.post("/papers/report/asa/words", form)

        assert answer.status_code == 302
        assert answer["Location"].endswith("saved=sums-5#sums-5")

    def test_one_that_cannot_be_kept_says_so_beside_the_field(self, ruth: Client) -> None:
        form = {"course": "sums-5", "days": DAYS, "text": "a" * 6001}

        answer = ruth.post("/papers/report/asa/words", form, headers={"HX-Request": "true"})

        assert b"up to 6000 letters" in answer.content
        assert not Narrative.objects.exists()


class TestAttendance:
    def test_a_day_is_mended_and_can_be_taken_back(self, ruth: Client) -> None:
        form = {"day": "2026-01-20", "presence": "half day", "minutes": "77"}

        page = ruth.post("/papers/attendance/asa/take", form, follow=True).content.decode()

        assert "Tue 20 Jan, half day, 77 min" in page
        asa = queries.home_of("home").person("asa").id
        latest = queries.history("home", limit=1)[0].entry
        assert latest.fact == AttendanceTaken(asa, datetime(2026, 1, 20).date(), Presence.HALF, 77)  # noqa: DTZ001
        undo = ruth.post(f"/acts/{latest.act}/undo", {"from": "papers", "back": "/papers/attendance/asa/"})
        assert undo["Location"] == f"/papers/attendance/asa/?act={latest.act}"
        assert "Taken back" in text_of(ruth, undo["Location"])

    @pytest.mark.parametrize(
        ("form", "says"),
        [
            (
                {"day": "2026-01-20"},
                "attendance: found nothing; allowed is one of full day, half day, absent",
            ),
            ({"day": "soon", "presence": "absent"}, "allowed is a day, such as"),
            (
                {"day": "2026-01-20", "presence": "full day", "minutes": "9999"},
                "a whole number from 0 to 1440, the minutes of a day",
            ),
            ({"day": "2026-01-30", "presence": "full day"}, "Not yet: nothing was recorded"),
        ],
    )
    def test_what_cannot_be_meant_is_refused(self, ruth: Client, form: dict[str, str], says: str) -> None:
        answer = ruth.post("/papers/attendance/asa/take", form)

        assert answer.status_code == 409
        assert says in " ".join(
            re.sub(r"<[^>]+>", " ", answer.content.decode()).replace("&#x27;", "'").split()
        )

    def test_an_undo_leads_nowhere_but_to_papers(self, ruth: Client) -> None:
        ruth.post("/papers/attendance/asa/take", {"day": "2026-01-20", "presence": "absent"})
        act = queries.history("home", limit=1)[0].entry.act

        answer = ruth.post(f"/acts/{act}/undo", {"back": "https://elsewhere.example/papers/"})

        assert "elsewhere" not in answer.get("Location", "")


class TestSending:
    def test_the_parcel_is_marked_sent_with_its_tracking(
        self, ruth: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv("MARKSTEAD_NOW", datetime(2026, 2, 2, 9, tzinfo=UTC).isoformat())
        page = ruth.get("/papers/dispatch/").content.decode()
        (copy,) = re.findall(r'name="copies" value="(\w+)" checked', page)

        answer = ruth.post("/papers/dispatch/", {"copies": copy, "tracking": "QX 4711"}, follow=True)

        said = answer.content.decode()
        assert "Every paper of this month has gone." in said
        assert "QX 4711" in said
        assert "Undo" in said


class TestSamples:
    def test_a_photograph_is_judged_by_its_content_and_shown(self, ruth: Client) -> None:
        """Its name and the type that the browser says are wrong, and nobody looks at them."""
        form = {"files": photograph(), "day": "2026-01-15", "words": "<b>Winds</b>"}

        page = ruth.post("/papers/samples/asa/keep", form, follow=True).content.decode()

        row = Sample.objects.get()
        assert "&lt;b&gt;Winds&lt;/b&gt;" in page
        shown = ruth.get(f"/papers/sample/{row.id}/picture")
        assert (shown["Content-Type"], shown["Cache-Control"]) == ("image/jpeg", "private, no-store")
        assert Image.open(io.BytesIO(shown.content)).size == (40, 50)
        assert "Winds" in pdf_of(ruth, f"/papers/samples/asa/sheet?days={DAYS}")

    def test_it_is_attached_to_a_fact_of_a_copy(self, ruth: Client) -> None:
        copy = next(c.id for c in queries.copies("home") if c.workbook.code == "words-5-01")
        assert f"/papers/samples/asa/?copy={copy}" in ruth.get(f"/copies/{copy}/").content.decode()
        page = ruth.get(f"/papers/samples/asa/?copy={copy}").content.decode()
        ((seq, _),) = re.findall(r'<option value="(\d+)">(Thu 15 Jan: Pages 1-2 worked)', page)

        form = {"files": photograph(), "day": "2026-01-15", "copy": copy, "fact": seq}
        assert (
            "Pages 1-2 worked in 23 min"
            in ruth.post("/papers/samples/asa/keep", form, follow=True).content.decode()
        )

        assert (Sample.objects.get().entry, Sample.objects.get().copy) == (int(seq), copy)

    def test_what_is_no_photograph_is_refused_and_what_was_typed_stands_there(self, ruth: Client) -> None:
        file = SimpleUploadedFile("page.jpg", b"Dear diary", "image/jpeg")

        answer = ruth.post(
            "/papers/samples/asa/keep", {"files": file, "day": "2026-01-15", "words": "My page"}
        )

        assert answer.status_code == 409
        assert b"file: found text; allowed is a photograph or a scan" in answer.content
        assert b'value="My page"' in answer.content

    def test_it_is_taken_away_for_good(self, ruth: Client, tmp_path: Path) -> None:
        ruth.post("/papers/samples/asa/keep", {"files": photograph(), "day": "2026-01-15"})
        sample = Sample.objects.get().id

        ruth.post(f"/papers/sample/{sample}/change", {"do": "take away"})

        assert not Sample.objects.exists()
        assert list((tmp_path / "samples").rglob("*.jpg")) == []
        assert ruth.get(f"/papers/sample/{sample}/picture").status_code == 404


PAPERS = (
    REPORT,
    "/papers/attendance/asa/",
    "/papers/transcript/asa/",
    "/papers/dispatch/?month=2026-02",
    "/papers/",
    "/papers/samples/asa/",
    "/sittings/",
)


def looked(client: Client, **headers: str) -> dict[str, str]:
    """What each of the kept pages says, each looked at twice: the second time it comes from what is kept."""
    first = {address: client.get(address, headers=headers) for address in PAPERS}
    before = len(kept._PAGES)
    again = {address: client.get(address, headers=headers) for address in PAPERS}
    assert len(kept._PAGES) == before >= len(PAPERS)
    plain = re.compile(r'(name="(token|csrfmiddlewaretoken)" value=|"X-CSRFToken": )"\w+')
    pages = [{a: plain.sub("", r.content.decode()) for a, r in answers.items()} for answers in (first, again)]
    assert pages[0] == pages[1]
    return pages[1]


class TestWhatIsKept:
    """A paper is worked out once for what it rests on: never an old one, nor another's."""

    def test_a_new_fact_and_a_changed_home_are_on_every_page_at_once(self, ruth: Client) -> None:
        old = looked(ruth)
        marked = next(n.entry for n in queries.history("home") if isinstance(n.entry.fact, UnitTestScored))
        assert ruth.post(f"/acts/{marked.act}/undo", {"from": "papers"}).status_code in (200, 302)
        new = looked(ruth)
        # The list of samples shows no fact, and that of all papers no mark of a month whose day is still to come.
        assert {a for a in PAPERS if new[a] == old[a]} == {"/papers/", "/papers/samples/asa/"}

        people.rename("home", person="asa", name="Asya", year=5)
        for address, page in looked(ruth).items():
            assert "Asya" in page, address

    def test_another_language_is_another_page(self, ruth: Client) -> None:
        english = looked(ruth)
        spanish = looked(ruth, **{"Accept-Language": "es"})
        assert all('<html lang="es' in page for page in spanish.values())
        assert looked(ruth) == english

    def test_another_learner_another_day_and_another_profile_are_other_pages(
        self, ruth: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        asas = looked(ruth)
        for paper in ("report", "attendance", "transcript", "samples"):
            page = text_of(ruth, f"/papers/{paper}/noa/")
            assert "Noa" in page, paper
            assert "Asa" not in page, paper
        assert "7 h 35 min" not in text_of(ruth, "/papers/attendance/asa/?on=2026-01-12")
        monkeypatch.setenv("MARKSTEAD_NOW", datetime(2026, 2, 3, 9, tzinfo=UTC).isoformat())
        later = looked(ruth)
        for address in (
            "/papers/attendance/asa/",
            "/papers/dispatch/?month=2026-02",
            "/papers/",
            "/sittings/",
        ):
            assert later[address] != asas[address], address

        required.choose_shipped("home", "new-york-100-10", at=datetime(2026, 2, 3, 9, tzinfo=UTC))
        chosen = looked(ruth)
        for address in (REPORT, "/papers/attendance/asa/", "/papers/"):
            assert chosen[address] != later[address], address

    def test_words_and_samples_that_are_not_on_the_record_are_seen_at_once(self, ruth: Client) -> None:
        looked(ruth)
        form = {"course": "sums-5", "days": DAYS}
        ruth.post("/papers/report/asa/words", {**form, "text": "Counts gladly."})
        assert "Counts gladly." in looked(ruth)[REPORT]
        ruth.post("/papers/report/asa/words", {**form, "text": "Counts slowly."})
        assert "Counts slowly." in looked(ruth)[REPORT]
        ruth.post("/papers/report/asa/words", {**form, "text": ""})
        assert "Counts" not in looked(ruth)[REPORT].replace("Counting", "")

        ruth.post("/papers/samples/asa/keep", {"files": photograph(), "day": "2026-01-15", "words": "Winds"})
        pages = looked(ruth)
        assert "1 sample" in pages["/papers/"]
        assert 'value="Winds"' in pages["/papers/samples/asa/"]
        sample = Sample.objects.get().id
        ruth.post(f"/papers/sample/{sample}/change", {"words": "Gales"})
        assert 'value="Gales"' in looked(ruth)["/papers/samples/asa/"]
        ruth.post(f"/papers/sample/{sample}/change", {"do": "take away"})
        pages = looked(ruth)
        assert "1 sample" not in pages["/papers/"]
        assert sample not in pages["/papers/samples/asa/"]

    def test_whoever_may_not_come_in_gets_no_kept_page(self, ruth: Client) -> None:
        looked(ruth)
        tobi = Client()
        tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
        for address in PAPERS[:-1]:
            assert tobi.get(address).status_code == 403, address
        assert "Begin the sitting" not in tobi.get("/sittings/").content.decode()
        assert Client().get(REPORT).status_code == 302

    def test_a_form_of_a_kept_page_is_taken_once_a_look(self, ruth: Client) -> None:
        day = {"day": "2026-01-20", "presence": "absent"}
        tokens = []
        for _ in range(2):
            page = ruth.get("/papers/attendance/asa/").content.decode()
            tokens += set(re.findall(r'name="token" value="(\w+)"', page))
        assert len(set(tokens)) == 2
        assert ruth.post("/papers/attendance/asa/take", {**day, "token": tokens[0]}).status_code == 302


class TestWhatIsAsked:
    def test_a_profile_is_chosen_and_papers_go_by_it(self, ruth: Client) -> None:
        stamp = queries.home_of("home").stamp

        page = ruth.post(
            "/settings/requirements/", {"stamp": stamp, "profile": "new-york-100-10"}, follow=True
        )

        assert "section 100.10" in page.content.decode()
        assert required.chosen("home").days == 180
        assert "of 180" in text_of(ruth, "/papers/attendance/asa/")

    @pytest.mark.parametrize(
        ("file", "says"),
        [
            (b"\xff\xfe", "a file in another encoding"),
            (b"   ", "the file of a profile"),
            (
                b"[profile]\nid = 'x'\ntitle = 'X'\nsource = 'X'\n[days]\na_year = 999\n",
                "a whole number from 1 to 366",
            ),
        ],
    )
    def test_a_file_that_cannot_be_read_changes_nothing(self, ruth: Client, file: bytes, says: str) -> None:
        form = {"stamp": queries.home_of("home").stamp, "file": SimpleUploadedFile("p.toml", file)}

        answer = ruth.post("/settings/requirements/", form)

        assert answer.status_code == 409
        assert says in answer.content.decode()
        assert required.chosen("home").id == "none"


@pytest.mark.parametrize(
    ("address", "says"),
    [
        (f"{REPORT}&on=2026-01-30", "a day up to 2026-01-23, which is today"),
        (f"{REPORT}&on=2026-01-02", "a day from 2026-01-12 on"),
        ("/papers/report/asa/?days=then_now", "two days, such as"),
        ("/papers/report/asa/?days=2026-02-01_2026-01-01", "a first day and a last day"),
        ("/papers/dispatch/?month=2026-13", "a month, such as 2026-01"),
        ("/papers/attendance/asa/sheet?paper=foolscap", "one of a4, us-letter"),
        ("/papers/transcript/asa/sheet?kind=docx", "pdf or csv"),
    ],
)
def test_an_address_that_asks_for_nonsense_is_told_what_may_be_asked(
    ruth: Client, address: str, says: str
) -> None:
    answer = ruth.get(address)

    assert answer.status_code == 409
    assert says in answer.content.decode()


def test_nobodys_report_is_not_found(ruth: Client) -> None:
    assert ruth.get("/papers/report/nobody/").status_code == 404
    assert ruth.get("/papers/report/ruth/").status_code == 404
