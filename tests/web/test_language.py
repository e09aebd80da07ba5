"""Every page can be said in another language: none shows a word that was not handed to the language it is in."""

import shlex
from collections.abc import Set
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.test import Client
from holidays import country_holidays

from markstead import speech
from markstead.calendar import places
from markstead.cli import show
from markstead.cli.main import main
from markstead.records import queries, setup
from markstead.records.home import Home
from markstead.web import tongue
from tests.tools.pseudo import CODE, pseudo, unsaid, unsaid_text
from tests.web.test_doors import VISITORS
from tests.web.test_first_evening import KEY
from tests.web.test_html import busy  # noqa: F401  # a fixture
from tests.web.test_tablet import house  # noqa: F401  # a fixture
from tests.web.walks import every_page, first_evening, mistakes

OWN = {
    *(
        "Markstead",
        "Tarn End",
        "http",
        "testserver",
        "tablet",
        "14-19 35 min wrong 3 7",
        "Ruth",
        "Tobi",
        "Asa",
        "Noa",
        "Mallory",
        "Tarn End",
        "Sums",
        "Words",
        "Counting Boats",
        "Counting Gulls",
    ),
    *("Names of Winds", "Quayside Books", "autumn", "spring", "pencil", "eraser", "ruler", "calculator"),
    *(
        "A small programme (invented)",
        "Europe/London",
        "ABCD-EFGH-IJKL-MNOP",
        "sums-5",
        "words-5",
        "sums-5-01",
        "sums-5-02",
        "words-5-01",
        "EUR",
    ),
}
SAMPLE = {
    f"{subject} {year}".strip()
    for subject in (
        "Reading",
        "Natural Science",
        "Mathematics",
        "History",
        "Grammar and Writing",
        "Geography",
    )
    for year in ("", 2, 5, 9)
}
HOLIDAYS = set(country_holidays("GB", subdiv="ENG", years=range(2025, 2028)).values())
LANDS = {place.name for place in places.countries()} | {place.name for place in places.regions("GB")}
PROFILES = {"none:", "days-and-terms", "hours-by-age", "new-york-100-10", "yearly-account"}
BACKUP = {"sqlite3", "12T09", "00Z"}
IN_IT = {"accept-language": CODE}
SIGNS = {
    "min",
    "kB",
    "MB",
    "PIN",
    "CSV",
    "PDF",
    "A4",
    "OneRoster",
}


def _told_of(name: str, html: str, own: Set[str] = frozenset()) -> list[str]:
    return [f"{name}: {piece!r}" for piece in unsaid(html, OWN | SIGNS | own)]


def test_every_page_says_all_its_words(busy: Home, tmp_path: Path) -> None:  # noqa: F811
    with pseudo(tmp_path):
        setup.set_language("home", CODE)
        wrong = []
        for visit, answer in every_page(busy, **IN_IT):
            assert answer.headers["Content-Language"] == speech.LANGUAGES[CODE].tag
            wrong += _told_of(visit.name, answer.content.decode(), HOLIDAYS)
    assert not wrong, f"{len(wrong)} pieces:\n" + "\n".join(wrong)


def test_answers_to_what_cannot_be_taken_say_all_their_words(busy: Home, boats: str, tmp_path: Path) -> None:  # noqa: F811
    with pseudo(tmp_path):
        setup.set_language("home", CODE)
        wrong = [
            line
            for answer in mistakes(busy, boats, **IN_IT)
            for line in _told_of(answer.request["PATH_INFO"], answer.content.decode(), HOLIDAYS)
        ]
    assert not wrong, f"{len(wrong)} pieces:\n" + "\n".join(wrong)


def test_the_first_evening_says_all_its_words(
    settings: LazySettings, tmp_path: Path, db: None, monday: object
) -> None:
    settings.HOME, settings.FIRST_KEY = tmp_path / "home", KEY
    settings.HOME.mkdir()
    with pseudo(tmp_path / "words"):
        wrong = [
            line
            for step, answer in first_evening(Client(headers=IN_IT))
            for line in _told_of(f"/first/{step}", answer.content.decode(), SAMPLE | LANDS | {"Boats"})
        ]
    assert not wrong, f"{len(wrong)} pieces:\n" + "\n".join(wrong)


COMMANDS = (
    "today", "history", "copies", "readiness", "quiz card", "spot asa", "pace asa", "review asa", "costs", "forecast", "orders",
    "whatif --away asa:2026-01-14", "items --difficulties", "verify", "note 'asa sums 5-6'",
    "report asa", "attendance asa", "transcript asa", "dispatch", "pace nobody", "act work nothing 1-2",
    "costs --hold-day 0.5", "requirements", "samples asa", "backups", "erase asa --no-archive", "check oneroster nothing", "read nothing",
    "sheets --kind road", "whatif --away asa", "today --nonsense", "plan --goals", "orders --sheet nothing",
)  # fmt: skip


def test_commands_say_all_their_words(
    busy: Home,  # noqa: F811
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("MARKSTEAD_LANGUAGE", CODE)
    monkeypatch.setattr(show, "WIDTH", 4000)
    monkeypatch.chdir(tmp_path)  # sheets are written there
    wrong = []
    with pseudo(tmp_path):
        for line in COMMANDS:
            main(["--home", str(tmp_path), *shlex.split(line)])
            said = capsys.readouterr()
            wrong += [
                f"{line}: {piece!r}"
                for text in said
                for piece in unsaid_text(text, OWN | SIGNS | PROFILES | BACKUP)
            ]
    assert not wrong, f"{len(wrong)} pieces:\n" + "\n".join(wrong)


@pytest.mark.parametrize(
    ("cookie", "home_has", "asked", "tag"),
    [
        ("", "", "", "en-GB"),
        ("", "", "de-DE, es-MX;q=0.8, en;q=0.5", "es"),
        ("", "en-us", "es", "en-US"),
        ("es", "en-us", "en-GB", "es"),
        ("de", "", "", "en-GB"),
        ("../es", "", "x" * 5000, "en-GB"),
    ],
)
def test_a_page_is_in_the_language_of_the_browser_or_the_home(
    home: Home, monday: object, cookie: str, home_has: str, asked: str, tag: str
) -> None:
    """RFC 9110, 12.5.4: languages are asked for by weight; RFC 5646: a language holds for its lands."""
    setup.set_language("home", home_has)
    ruth = VISITORS["educator"](home)
    ruth.cookies[tongue.COOKIE] = cookie
    answer = ruth.get("/", headers={"accept-language": asked})
    assert answer.headers["Content-Language"] == tag
    assert f'<html lang="{tag}" dir="ltr">' in answer.content.decode()
    day = {
        "es": "lunes 12 de enero de 2026",
        "en-GB": "Monday 12 January 2026",
        "en-US": "Monday, January 12, 2026",
    }
    assert day[tag].lower() in answer.content.decode().lower()


def test_a_browser_chooses_and_goes_back_to_where_it_was(home: Home, monday: object) -> None:
    stranger = Client()
    answer = stranger.post("/language", {"language": "es", "next": "/sign-in/"})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/sign-in/")
    assert stranger.get("/sign-in/").headers["Content-Language"] == "es"
    stranger.post("/language", {"language": "tlh", "next": "/sign-in/"})
    assert stranger.get("/sign-in/").headers["Content-Language"] == "es"
    assert (
        stranger.post("/language", {"language": "", "next": "https://elsewhere.example/"}).headers["Location"]
        == "/"
    )
    assert stranger.get("/sign-in/").headers["Content-Language"] == "en-GB"


def test_an_educator_chooses_for_the_home(home: Home, monday: object) -> None:
    ruth = VISITORS["educator"](home)
    assert ruth.post("/settings/language", {"language": "es"}).status_code == 302
    assert ruth.get("/settings/").headers["Content-Language"] == "es"
    ruth.post("/settings/language", {"language": "none of ours"})
    assert queries.home_of("home").language == "es"
