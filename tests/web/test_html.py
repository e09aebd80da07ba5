"""Every page is valid HTML, as far as html5lib and our own rules see it; `tests.tools.valid_html` asks the whole validator."""

from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.template import engines
from django.test import Client
from django.utils import translation

from markstead import speech
from markstead.records import actions as a
from markstead.records import plans, queries
from markstead.records.home import Home
from tests.tools.every_page import NO_PAGES
from tests.tools.html_rules import faults
from tests.web.conftest import MONDAY
from tests.web.doors import DOORS, For
from tests.web.test_estimates import opened, section
from tests.web.test_first_evening import KEY, STEPS
from tests.web.test_tablet import house  # noqa: F401  # a fixture
from tests.web.walks import every_page, first_evening, mistakes


@pytest.fixture
def busy(house: Home, boats: str, monday: object) -> Home:  # noqa: F811
    """A home in the middle of its morning: pages worked and marked, a plan in force, somebody who waits."""
    opened(boats, MONDAY - timedelta(hours=2))
    section(boats, "section-1", (1, 4), (3, 7), MONDAY - timedelta(minutes=50))
    a.work_pages("home", copy=boats, first=5, last=6, minutes=9, by="asa", at=MONDAY - timedelta(minutes=9))
    a.ask_help("home", copy=boats, page=7, by="asa", at=MONDAY - timedelta(minutes=5))
    kept = plans.plan_now("home", by=house.person("ruth").id, now=MONDAY, clock=lambda: MONDAY)
    plans.take("home", kept.number, now=MONDAY)
    return queries.home_of("home")


def test_every_page_of_a_home_is_valid(busy: Home) -> None:
    wrong, seen = [], set()
    for visit, answer in every_page(busy):
        seen.add(visit.name)
        wrong += [f"{visit.name}: {fault}" for fault in faults(answer.content.decode())]
    assert not wrong, "\n".join(wrong)
    pages = {name for name, (who, methods) in DOORS.items() if "GET" in methods and who is not For.FIRST}
    assert seen == pages - NO_PAGES


def test_parts_and_pages_that_say_what_is_wrong_are_valid(busy: Home, boats: str) -> None:
    wrong = []
    for answer in mistakes(busy, boats):
        html = answer.content.decode()
        whole = html.lstrip().startswith("<!doctype")
        wrong += [f"{answer.request['PATH_INFO']}: {fault}" for fault in faults(html, whole=whole)]
    assert not wrong, "\n".join(wrong)


def test_every_page_of_the_first_evening_is_valid(
    settings: LazySettings, tmp_path: Path, db: None, monday: object
) -> None:
    settings.HOME, settings.FIRST_KEY = tmp_path, KEY
    wrong: list[str] = []
    seen: set[str] = set()
    for step, answer in first_evening(Client()):
        seen.add(step)
        wrong += [f"{step}: {fault}" for fault in faults(answer.content.decode())]
    assert not wrong, "\n".join(wrong)
    assert seen >= {"", *(step for step in STEPS if step != "programme/cut")}, seen


PAGE = '<!doctype html><html lang="en"><head><title>T</title></head><body><main><h1>T</h1>{}</main></body></html>'


@pytest.mark.parametrize(
    ("inside", "says"),
    [
        ('<p id="a"></p><p id="a"></p>', "id 'a' stands 2 times"),
        ('<label for="b">B</label>', "a label is for 'b'"),
        ("<label>B</label>", "a label is for nothing"),
        ('<label>B <input id="x"> <input></label>', "a label holds a field that is not its own"),
        ('<a href="/"><button>B</button></a>', "button stands inside a"),
        ("<button><span tabindex=0>B</span></button>", "span with tabindex stands inside button"),
        ("<h3>H</h3>", "of level 3 comes after one of level 1"),
        ("<h1>H</h1>", "2 headings of the first level"),
        ("<h2> </h2>", "an empty heading"),
        ('<p aria-describedby="gone"></p>', "aria-describedby names 'gone'"),
        ('<a href="#gone">B</a>', "leads to '#gone'"),
        ('<p hx-get="/"></p>', "hx-get is no attribute of HTML"),
        ("<p><div></div></p>", "ParseError"),
        ("<main></main>", "not one main part"),
        ('<img src="x">', "an image without alt"),
        ('<meta http-equiv="refresh" content="30;url=/">', "a refresh is written as"),
        ("<table><div></div></table>", "ParseError"),
        ("<form><form></form></form>", "ParseError"),
    ],
)
def test_each_rule_sees_what_it_is_for(inside: str, says: str) -> None:
    assert faults(PAGE.format("")) == []
    assert any(says in fault for fault in faults(PAGE.format(inside))), faults(PAGE.format(inside))


@pytest.mark.parametrize("code", speech.LANGUAGES)
def test_a_drawing_has_the_same_numbers_in_every_language(code: str) -> None:
    # A decimal comma would cut a coordinate of an SVG in two (SVG 2, 9.3.9: a comma parts numbers).
    with translation.override(code):
        assert (
            engines["django"].from_string("{{ x }} {{ n }}").render({"x": 12.5, "n": 12345}) == "12.5 12345"
        )
