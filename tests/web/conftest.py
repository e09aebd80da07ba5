"""The small home, open in a browser or in Django's test client. Monday 12 January 2026 is a school day."""

from datetime import UTC, datetime

import pytest
from django.conf import LazySettings
from django.test import Client

from markstead.records import actions
from markstead.records.home import Home
from markstead.web import kept
from tests.tools.homes import PASSWORD, small_home

MONDAY = datetime(2026, 1, 12, 9, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def quick_passwords(settings: LazySettings) -> None:
    """Argon2 takes a third of a second on purpose; only the test of the hasher itself wants that."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def plans_at_once(settings: LazySettings) -> None:
    """A process of its own would look for its home in another database than that of the tests."""
    settings.PLANS_IN_A_PROCESS = False


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    """A home that was rolled back and made again has the same stamps: pages of the one are not those of the other."""
    kept.forget()


@pytest.fixture
def monday(monkeypatch: pytest.MonkeyPatch) -> datetime:
    """Hold the web's clock still on a school morning."""
    monkeypatch.setenv("MARKSTEAD_NOW", MONDAY.isoformat())
    return MONDAY


@pytest.fixture
def home(db: None) -> Home:
    return small_home(sign_in=True)


@pytest.fixture
def ruth(home: Home, monday: datetime) -> Client:
    """Ruth's browser, signed in."""
    client = Client()
    answer = client.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
    assert answer.status_code == 302
    return client


@pytest.fixture
def boats(home: Home) -> str:
    """A copy in the house for Asa."""
    at = datetime(2026, 1, 9, 9, 0, tzinfo=UTC)
    done = actions.order_copy("home", workbook="sums-5-01", learner="asa", by="ruth", at=at)
    copy = str(getattr(done.entries[0].fact, "copy", ""))
    actions.receive_copy("home", copy=copy, by="ruth", at=at)
    return copy
