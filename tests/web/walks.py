"""Walks through the house for whoever judges each page of it: all pages, answers to what cannot be taken, the set-up."""

from collections.abc import Iterator

from django.http import HttpResponse
from django.test import Client

from markstead.records.home import Home
from tests.tools.every_page import Visit, values_for, visits
from tests.web.conftest import MONDAY
from tests.web.doors import For
from tests.web.test_doors import VISITORS
from tests.web.test_first_evening import KEY, LEARNERS, SCHOOL, YOU

AS = {For.ANYBODY: "stranger", For.LEARNER: "learner", For.HOUSE: "tablet"}
FIRST_EVENING = (
    ("you", {"name": ""}, YOU),
    ("learners", {"name-0": "Asa", "year-0": "many"}, LEARNERS),
    ("school", {"country": "GB"}, SCHOOL),
    ("programme", {}, {"kind": "typed"}),
    ("programme/typed", {"title-0": "Boats", "pages-0": "many"}, {}),
    ("programme/files", {"workbooks": "course,level\nsums,5\n"}, {}),
    ("programme", {}, {"kind": "sample"}),
    ("courses", {}, {"asked-0": "yes", "asked-1": "yes", "take-0": ["maths-5"], "take-1": ["maths-9"]}),
    ("standing", {"where-0-maths-5": "nothing", "page-0-maths-5": "4"}, {"where-0-maths-5": "find out"}),
    ("look", {}, {}),
)
"""Each step of the set-up, with an entry that cannot be taken and one that can."""


def every_page(home: Home, **headers: str) -> Iterator[tuple[Visit, HttpResponse]]:
    """Every page of a home on its Monday, each as a visitor who may come in."""
    clients: dict[str, Client] = {}
    for visit in list(visits(values_for(home.id, at=MONDAY))):
        kind = AS.get(visit.who, "educator")
        client = clients[kind] if kind in clients else clients.setdefault(kind, VISITORS[kind](home))
        answer = client.get(visit.address, headers=headers)
        assert answer.status_code == 200, f"{visit}: {answer.status_code}"
        yield visit, answer


def mistakes(home: Home, copy: str, **headers: str) -> Iterator[HttpResponse]:
    """Parts of pages, and answers to what cannot be taken."""
    ruth, asa = VISITORS["educator"](home), home.person("asa").id
    for address, sent in (
        ("/today/refresh", None),
        ("/copies/none/", None),
        ("/nowhere/", None),
        ("/act", {"act": "marked", "copy": copy}),
        ("/act", {"act": "leave given", "copy": copy, "step": "unit test"}),
        ("/copies/order", {"workbook": "none"}),
        ("/quick", {"line": "asa sums wrong 99", "back": "today"}),
        ("/quick/look", {"line": "asa sums 5-6 20 min", "back": "today"}),
        ("/settings/", {"practice_test_percent": "many"}),
        ("/settings/people/add", {"name": "", "role": "helper"}),
        ("/plan/what-if/", {"kind": "away", "learner": "asa", "first": "never"}),
        ("/settings/calendar/paint", {"colour": "none"}),
        (f"/learners/{asa}/pin", {"pin": "1"}),
        (f"/settings/people/?leaves={asa}", None),
    ):
        yield (
            ruth.get(address, headers=headers) if sent is None else ruth.post(address, sent, headers=headers)
        )


def first_evening(client: Client) -> Iterator[tuple[str, HttpResponse]]:
    """Every page of the set-up as it comes and after a wrong entry, with the name of its step; redirections are passed over."""

    def look(step: str, **sent: object) -> Iterator[tuple[str, HttpResponse]]:
        address = f"/first/{step}/" if step else "/first/"
        answer = client.post(address, {"do": "on", **sent}) if sent else client.get(address)
        if answer.status_code != 302:
            yield step, answer

    yield from look("")
    client.post("/first/", {"key": KEY})
    for step, bad, good in FIRST_EVENING:
        for sent in ({}, bad, good):
            yield from look(step, **sent)
    yield from look("")
    yield from look("programme/cut")
