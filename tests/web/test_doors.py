"""Every address, every kind of visitor, every method: against the table of `doors.py` (OWASP ASVS 5, 8.2: from memory)."""

from collections.abc import Callable, Mapping

import pytest
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse

from markstead.records import people
from markstead.records.home import Home
from tests.tools.homes import PASSWORD
from tests.web.conftest import MONDAY
from tests.web.doors import DOORS, PAGE, For, page
from tests.web.test_tablet import enter, house  # noqa: F401  # a fixture

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
ENDS = {
    "tablet",
    "tablet-left",
    "sign-out",
    "tablets-open",
    "tablet-done",
    "tablet-end",
    "tablet-pin",
    "people-leave",
}
"""After these the visitor is somebody else: each visit to them is made by a new one."""
NAY = {
    "stranger": (For.FIRST, For.SIGNED_IN, For.EDUCATOR, For.HOUSE, For.LEARNER),
    "helper": (For.FIRST, For.EDUCATOR, For.HOUSE, For.LEARNER),
    "educator": (For.FIRST, For.HOUSE, For.LEARNER),
    "tablet": (For.FIRST, For.SIGNED_IN, For.EDUCATOR, For.LEARNER),
    "learner": (For.FIRST, For.SIGNED_IN, For.EDUCATOR),
}
"""Whose doors are shut to each kind of visitor; a home that is begun has no word any more."""


def addresses(values: Mapping[str, object]) -> dict[str, str]:
    """The address of every name, with values for its parts."""
    found = {}
    for pattern in get_resolver().url_patterns:
        assert isinstance(pattern, URLPattern), f"a nest of addresses: {pattern}; walk it too"
        assert pattern.name, f"an address without a name: {pattern.pattern}"
        found[pattern.name] = reverse(
            pattern.name, kwargs={part: values[part] for part in pattern.pattern.converters}
        )
    return found


def outcome(client: Client, method: str, address: str) -> str:
    """What came of a visit: open, shut, or no such method."""
    answer = client.generic(method, address)
    assert answer.status_code < 500, f"{method} {address}: {answer.status_code}"
    if answer.streaming:
        list(answer.streaming_content)  # read to its end, it closes its file
    to = answer.headers.get("Location", "")
    if answer.status_code == 405:
        return "no such method"
    led_away = to.startswith("/sign-in/") or (to == "/tablet/" != address)
    return "shut" if answer.status_code == 403 or led_away else "open"


def signed_in(name: str) -> Client:
    client = Client()
    assert client.post("/sign-in/", {"username": name, "password": PASSWORD}).status_code == 302
    return client


def a_tablet() -> Client:
    client = signed_in("ruth-home")
    client.post("/settings/tablets/open", {"name": "Kitchen", "minutes": "3"})
    return client


VISITORS: dict[str, Callable[[Home], Client]] = {
    "stranger": lambda _: Client(),
    "helper": lambda _: signed_in("tobi-home"),
    "educator": lambda _: signed_in("ruth-home"),
    "tablet": lambda _: a_tablet(),
    "learner": lambda home: enter(a_tablet(), home),
}


def expected(kind: str, name: str, method: str) -> set[str]:
    who, methods = DOORS[name]
    at_the_tablet = kind in ("tablet", "learner")
    tablets_own = name == "tablet" or name.startswith("tablet-")
    if at_the_tablet and not tablets_own:
        return {"shut"}
    if ("GET" if method == "HEAD" else method) not in methods:
        return {"no such method", "shut"}
    if name == "sign-out":
        return {"shut"}  # it leads to the sign-in
    if who in NAY[kind]:
        return {"shut"}
    if name in ("tablet-end", "tablet-pin", "tablet-done") and method == "POST":
        return {
            "open",
            "shut",
        }  # without the password or PIN it stays shut; whoever is done stands at the door
    return {"open"}


def test_every_address_stands_in_the_table() -> None:
    names = {p.name for p in get_resolver().url_patterns}
    assert names == set(DOORS)


@pytest.mark.parametrize("kind", VISITORS)
def test_every_door_is_as_the_table_says(
    kind: str,
    house: Home,  # noqa: F811
    boats: str,
    monday: object,
) -> None:
    values = {
        "act_id": "none",
        "copy": boats,
        "learner": house.person("asa").id,
        "number": 1,
        "quiz": "none",
        "stop": "section-1",
        "course": "sums-5",
        "sample": "none",
        "word": "none",
        "sheet": "none",
    }
    client = VISITORS[kind](house)
    wrong = []
    for name, address in addresses(values).items():
        for method in METHODS:
            visitor = VISITORS[kind](house) if name in ENDS else client
            found = outcome(visitor, method, address)
            if found not in expected(kind, name, method):
                wrong.append(f"{method} {address} ({name}): {found}, not {expected(kind, name, method)}")
    assert not wrong, "\n".join(wrong)


def test_whoever_has_left_is_a_stranger(home: Home, monday: object) -> None:
    tobi = signed_in("tobi-home")
    assert tobi.get("/").status_code == 200
    people.let_go("home", person="tobi", by="ruth", at=MONDAY)
    assert outcome(tobi, "GET", "/") == "shut"
    assert Client().post("/sign-in/", {"username": "tobi-home", "password": PASSWORD}).status_code == 200


def test_the_page_shows_the_table() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()
