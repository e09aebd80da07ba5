"""What OWASP ASVS 5.0.0 asks at level 1 and no other test shows: docs/reference/security.md names each number with its test."""

import os
import re
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import LazySettings, settings
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from markstead.records import actions, people
from markstead.records.home import Home
from markstead.records.passwords import LASTS, problems_of
from tests.tools.every_page import values_for, visits
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY
from tests.web.doors import DOORS, For
from tests.web.test_doors import VISITORS, addresses
from tests.web.test_estimates import opened
from tests.web.test_first_evening import KEY, YOU
from tests.web.test_tablet import house  # noqa: F401  # a fixture

SOURCE = Path(__file__).parents[2] / "src" / "markstead"
OWN = "seven green boats at noon"


def text(answer: HttpResponse) -> str:
    return str(answer.content.decode())


# --- answers ------------------------------------------------------------------------------------------------------


@pytest.fixture
def begun(house: Home, boats: str, monday: object) -> Home:  # noqa: F811
    opened(boats, MONDAY - timedelta(hours=1))
    return house


def test_every_answer_says_what_it_is_and_what_a_browser_may_do_with_it(begun: Home) -> None:
    ruth, stranger, learner = (VISITORS[kind](begun) for kind in ("educator", "stranger", "learner"))
    who = {For.ANYBODY: stranger, For.LEARNER: learner, For.HOUSE: learner}
    addresses_ = [(v.address, who.get(v.who, ruth)) for v in visits(values_for("home", at=MONDAY))]
    addresses_ += [("/nowhere/", ruth), ("/today/refresh", ruth), ("/sign-in/", stranger), ("/act", ruth)]
    for address, client in addresses_:
        answer = client.get(address)
        assert answer["Content-Type"] == "text/html; charset=utf-8" or not answer.content, address
        assert "no-store" in answer["Cache-Control"], address
        assert answer["X-Content-Type-Options"] == "nosniff", address
        assert answer["Referrer-Policy"] == "same-origin", address
        assert answer["Cross-Origin-Opener-Policy"] == "same-origin", address
        assert "Access-Control-Allow-Origin" not in answer, address
        policy = answer["Content-Security-Policy"]
        for part in ("default-src 'self'", "object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"):
            assert part in policy, address
        assert "unsafe" not in policy, address
        for cookie in filter(
            lambda one: one.value, answer.cookies.values()
        ):  # one that is taken back is empty
            assert cookie["samesite"] == "Lax", address
            assert cookie["httponly"], address


def test_style_scripts_and_pictures_say_what_they_are(client: Client, db: None) -> None:
    for name, kind in (
        ("sheet.css", "text/css"),
        ("page.js", "text/javascript"),
        ("mark.svg", "image/svg+xml"),
    ):
        answer = client.get(f"/static/markstead/{name}")
        assert answer["Content-Type"].startswith(kind)
        assert 'charset="utf-8"' in answer["Content-Type"] or kind.startswith("image/")
        assert answer["X-Content-Type-Options"] == "nosniff"
        answer.close()


@pytest.mark.parametrize(
    ("kind", "says", "how"),
    [("csv", "text/csv; charset=utf-8", "attachment"), ("pdf", "application/pdf", "inline")],
)
def test_a_file_says_what_it_is_and_how_it_is_called(ruth: Client, kind: str, says: str, how: str) -> None:
    answer = ruth.get("/orders/sheet", {"supplier": "Quayside Books", "kind": kind})
    assert answer.status_code == 200
    assert answer["Content-Type"] == says
    assert answer["Content-Disposition"].startswith(f'{how}; filename="order-quayside-books-')
    assert answer["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    "path",
    ["/.git/config", "/static/../settings.py", "/static/%2e%2e/settings.py", "/secret.key", "/static/"],
)
def test_nothing_of_the_house_itself_is_served(client: Client, path: str, db: None) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert "SECRET" not in text(answer)


def test_no_pages_are_shown_by_unsafe_ways() -> None:
    """No template switches escaping off, no script writes HTML from text, nothing is evaluated, no command has a shell."""
    for template in SOURCE.glob("**/*.html"):
        assert not re.search(r"\|\s*safe\b|autoescape off|javascript:|\bon[a-z]+=", template.read_text()), (
            template
        )
    for script in SOURCE.glob("**/static/markstead/*.js"):
        assert not re.search(
            r"innerHTML|outerHTML|document\.write|insertAdjacentHTML|\beval\(", script.read_text()
        )
    for module in SOURCE.rglob("*.py"):
        code = module.read_text()
        unsafe = r"(?<![\w.])(eval|exec)\(|shell=True|os\.system|pickle|yaml\.load\(|\bmd5\b|\bsha1\b|\.raw\(|\.extra\("
        assert not re.search(unsafe, code), module


def test_words_that_are_html_and_sql_stay_words(ruth: Client, home: Home) -> None:
    nasty = "<script>alert(1)</script>'; DROP TABLE records_entry; --"
    answer = ruth.post("/settings/people/add", {"name": nasty, "role": "helper"})
    assert "<script>alert" not in text(answer)
    assert "&lt;script&gt;alert" in text(answer)
    assert User.objects.count() == 3


def test_only_ways_within_the_house_are_led_to(home: Home, monday: object) -> None:
    for other in ("https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"):
        answer = Client().post(
            f"/sign-in/?next={other}", {"username": "ruth-home", "password": PASSWORD, "next": other}
        )
        assert answer["Location"] == "/"


def test_what_changes_something_is_sent_with_a_token_of_the_house(begun: Home) -> None:
    """Every address that takes a POST refuses one without the token, whoever sends it."""
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(User.objects.get(username="ruth-home"))
    values = {
        "act_id": "none", "copy": "none", "learner": "none", "number": 1, "quiz": "none", "stop": "x", "course": "y",
        "sample": "none", "sheet": "none", "word": "none",
    }  # fmt: skip
    for name, address in addresses(values).items():
        if "POST" in DOORS[name][1]:
            assert strict.post(address).status_code == 403, name


def test_more_than_the_house_takes_is_refused_before_it_is_read(ruth: Client, settings: LazySettings) -> None:
    settings.MOST_SENT = 2000
    client = Client()
    answer = client.post("/sign-in/", {"username": "x" * 3000})
    assert answer.status_code == 413
    assert "Nothing was recorded" in text(answer)


def test_a_file_is_judged_by_its_size_and_what_is_in_it(
    settings: LazySettings, tmp_path: Path, db: None, monday: object
) -> None:
    settings.HOME, settings.FIRST_KEY = tmp_path, KEY
    client = Client()
    client.post("/first/", {"key": KEY})
    client.post("/first/you/", {"do": "on", **YOU})
    for content, says in ((b"a" * 1_000_001, "at most 1000000"), (b"\x89PNG\r\n\x1a\n\x00", "found")):
        sent = {"do": "on", "books-file": SimpleUploadedFile("../../workbooks.csv", content)}
        answer = client.post("/first/programme/files/", sent)
        assert answer.status_code == 409
        assert says in text(answer)
    assert not list(tmp_path.parent.glob("workbooks.csv"))


# --- passwords ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "weak",
    [
        "short-one", "password1234", "Password1234!", "1234567890", "9876543210", "qwertyuiop", "drowssap1234",
        "sunshinesunshine", "aaaaaaaaaaaa", "abababababab", "markstead2026", "tarn end 2026", "ruth-home-1", "x" * 201,
    ],
)  # fmt: skip
def test_a_password_that_is_easily_found_is_refused(weak: str) -> None:
    assert problems_of(weak, username="ruth-home", name="Ruth", home="Tarn End")


@pytest.mark.parametrize(
    "good", [OWN, PASSWORD, "harbour-lamp-42", "ёжик в тумане 7", "kzwqvbnhtr", "7" * 5 + " boats, gulls"]
)
def test_any_signs_make_a_password(good: str) -> None:
    assert problems_of(good, username="ruth-home", name="Ruth", home="Tarn End") == []


def test_a_long_password_counts_to_its_last_letter(home: Home, monday: object) -> None:
    user = User.objects.get(username="tobi-home")
    user.set_password(OWN * 4)
    user.save()
    for typed, status in ((OWN * 4, 302), (OWN * 3, 200), ((OWN * 4).upper(), 200), (OWN * 4 + " ", 200)):
        assert Client().post("/sign-in/", {"username": "tobi-home", "password": typed}).status_code == status


def test_somebody_changes_their_own_password_by_the_one_that_holds(ruth: Client, home: Home) -> None:
    elsewhere = Client()
    elsewhere.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
    wrong = ruth.post("/password/", {"now": "not it at all", "new": OWN, "again": OWN})
    assert wrong.status_code == 409
    assert "the one by which you signed in" in text(wrong)
    assert ruth.post("/password/", {"now": PASSWORD, "new": OWN, "again": OWN + "x"}).status_code == 409
    assert (
        ruth.post("/password/", {"now": PASSWORD, "new": "password1234", "again": "password1234"}).status_code
        == 409
    )
    assert elsewhere.get("/").status_code == 200

    assert ruth.post("/password/", {"now": PASSWORD, "new": OWN, "again": OWN}).status_code == 302

    assert ruth.get("/").status_code == 200  # here one stays
    assert elsewhere.get("/").status_code == 302  # elsewhere not
    assert Client().post("/sign-in/", {"username": "ruth-home", "password": PASSWORD}).status_code == 200
    assert Client().post("/sign-in/", {"username": "ruth-home", "password": OWN}).status_code == 302


def test_wrong_tries_at_changing_it_shut_the_door_too(ruth: Client) -> None:
    for _ in range(6):
        last = ruth.post("/password/", {"now": "not it at all", "new": OWN, "again": OWN})
    assert last.status_code == 429
    assert Client().post("/sign-in/", {"username": "ruth-home", "password": PASSWORD}).status_code == 429


def test_a_password_that_was_made_here_is_replaced_at_once_and_ends(
    ruth: Client, home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = people.new_password("home", person="tobi", real_now=MONDAY).password
    assert len(made.replace("-", "")) == 16
    tobi = Client()
    assert tobi.post("/sign-in/", {"username": "tobi-home", "password": made}).status_code == 302
    for address in ("/", "/copies/", "/record/"):
        assert tobi.get(address)["Location"] == "/password/"
    assert "was made for you" in text(tobi.get("/password/"))
    assert tobi.post("/password/", {"now": made, "new": made, "again": made}).status_code == 409
    tobi.post("/password/", {"now": made, "new": OWN, "again": OWN})
    assert tobi.get("/").status_code == 200

    later = people.new_password("home", person="tobi", real_now=MONDAY).password
    monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + LASTS + timedelta(minutes=1)).isoformat())
    over = Client().post("/sign-in/", {"username": "tobi-home", "password": later})
    assert over.status_code == 409
    assert "has ended" in text(over)


def test_a_new_home_has_no_account_but_the_one_that_is_made(db: None) -> None:
    assert not User.objects.exists()


def test_password_fields_hide_what_is_typed_and_let_it_be_pasted(begun: Home) -> None:
    ruth = VISITORS["educator"](begun)
    for page in (text(Client().get("/sign-in/")), text(ruth.get("/password/"))):
        fields = re.findall(r"<input[^>]*(?:password|now|new|again)\"[^>]*>", page)
        secret = [f for f in fields if 'name="username"' not in f]
        assert secret
        for field in secret:
            assert 'type="password"' in field
            assert 'autocomplete="current-password"' in field or 'autocomplete="new-password"' in field
            assert "onpaste" not in field


# --- sessions -----------------------------------------------------------------------------------------------------


def test_a_sign_in_makes_a_session_of_its_own_and_the_sign_out_ends_it(home: Home, monday: object) -> None:
    client = Client()
    client.get("/sign-in/")
    before = client.session.session_key
    client.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
    key = client.cookies[settings.SESSION_COOKIE_NAME].value
    assert key not in (before, None)
    assert re.fullmatch(r"[a-z0-9]{32}", key)  # 165 bits, from Python's secrets
    again = Client()
    again.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
    assert again.cookies[settings.SESSION_COOKIE_NAME].value != key

    left = client.post("/sign-out/")

    assert left["Clear-Site-Data"] == '"cache", "storage"'
    assert not Session.objects.filter(session_key=key).exists()
    thief = Client()
    thief.cookies[settings.SESSION_COOKIE_NAME] = key
    assert thief.get("/")["Location"].startswith("/sign-in/")


def test_a_session_that_nobody_made_opens_nothing(home: Home, monday: object) -> None:
    client = Client()
    client.cookies[settings.SESSION_COOKIE_NAME] = "a" * 32
    assert client.get("/")["Location"].startswith("/sign-in/")
    client.cookies[settings.TABLET_COOKIE_NAME] = "made:up:cookie"
    assert client.get("/tablet/me/").status_code == 403


def test_a_part_of_a_page_asked_for_after_the_end_leads_to_the_whole_door(home: Home, monday: object) -> None:
    answer = Client().get(
        "/today/refresh?seen=x", headers={"HX-Request": "true", "HX-Current-URL": "http://testserver/copies/"}
    )
    assert answer.status_code == 204
    assert answer["HX-Redirect"] == "/sign-in/?next=/copies/"


def test_an_item_of_another_home_is_not_found(ruth: Client, boats: str) -> None:
    from tests.tools.homes import small_home

    small_home("other", sign_in=True)
    mallory = Client()
    mallory.post("/sign-in/", {"username": "ruth-other", "password": PASSWORD})
    assert ruth.get(f"/copies/{boats}/").status_code == 200
    assert mallory.get(f"/copies/{boats}/").status_code == 404
    assert mallory.get(f"/sittings/{boats}/").status_code == 404
    seen = mallory.post("/act", {"act": "received", "copy": boats, "token": "0123456789"})
    assert seen.status_code in (404, 409)
    assert "Asa" not in text(seen)


def test_help_is_recorded_only_in_ones_own_home(ruth: Client, boats: str) -> None:
    from markstead.errors import MarksteadError
    from tests.tools.homes import small_home

    small_home("other")
    with pytest.raises(MarksteadError):
        actions.give_help("other", copy=boats, minutes=3, by="ruth", at=MONDAY)


# --- https --------------------------------------------------------------------------------------------------------


def test_by_https_cookies_are_bound_to_the_host_and_nothing_else_is_spoken(tmp_path: Path) -> None:
    code = (
        "import django; django.setup()\n"
        "from django.conf import settings as s\n"
        "print(s.SESSION_COOKIE_NAME, s.CSRF_COOKIE_NAME, s.TABLET_COOKIE_NAME, s.SESSION_COOKIE_SECURE,"
        " s.CSRF_COOKIE_SECURE, s.SECURE_HSTS_SECONDS, s.SESSION_COOKIE_DOMAIN, s.SESSION_COOKIE_PATH)\n"
        "from django.test import RequestFactory\n"
        "from django.core.handlers.wsgi import WSGIHandler\n"
        "a = WSGIHandler().get_response(RequestFactory().get('/tablet/left/', secure=True, SERVER_NAME='localhost'))\n"
        "print(a['Strict-Transport-Security'])\n"
    )
    environment = {
        **os.environ,
        "MARKSTEAD_TLS": "yes",
        "MARKSTEAD_HOME": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "markstead.web.settings",
    }
    environment.pop("DATABASE_URL", None)
    said = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    names = "__Host-markstead_session __Host-markstead_forgery __Host-markstead_tablet"
    assert said == [f"{names} True True 31622400 None /", "max-age=31622400"]
