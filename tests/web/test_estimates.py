"""Estimates on pages: shown to the educator with their ranges, to nobody else at all; quizzes and spot checks."""

import ast
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import get_resolver

import markstead
from markstead.ledger.facts import OralQuizHeld, SpotCheckHeld, Step
from markstead.records import actions as a
from markstead.records import estimates, queries, quizzes
from markstead.records.home import Home
from markstead.records.models import Entry, Person
from markstead.records.setup import Newcomer, set_up
from markstead.rules.ruling import Role
from tests.tools.homes import CAST, PAPERS, small_home
from tests.web.conftest import MONDAY

SOURCE = Path(markstead.__file__).parent
FRIDAY = MONDAY - timedelta(days=3)


# --- what happened ----------------------------------------------------------------------------------------------


def section(copy: str, stop: str, pages: tuple[int, int], wrong: tuple[int, ...], at: datetime) -> None:
    """Asa works a stop, waits for leave and marks it; what was wrong is corrected and marked again."""
    a.work_pages("home", copy=copy, first=pages[0], last=pages[1], minutes=30, by="asa", at=at)
    for step, then in ((Step.MARK, a.mark), (Step.REMARK, a.re_mark)):
        a.ask_leave("home", copy=copy, step=step, stop=stop, by="asa", at=at)
        a.give_leave("home", copy=copy, step=step, stop=stop, by="ruth", at=at)
        then("home", copy=copy, stop=stop, wrong=wrong if step is Step.MARK else (), by="asa", at=at)
        if not wrong:
            return
        if step is Step.MARK:
            a.correct("home", copy=copy, stop=stop, by="asa", at=at)


def opened(copy: str, at: datetime) -> None:
    a.issue_copy("home", copy=copy, learner="asa", by="ruth", at=at)
    a.hold_opening_talk("home", copy=copy, by="ruth", at=at)


@pytest.fixture
def marked(boats: str) -> str:
    """Asa has marked section 1 of a workbook this morning: two of ten were wrong, eight were ticked."""
    opened(boats, MONDAY - timedelta(hours=1))
    section(boats, "section-1", (1, 4), (3, 7), MONDAY - timedelta(minutes=30))
    return boats


@pytest.fixture
def before_the_test(boats: str) -> str:
    """Everything is marked, many ticks were slips on two days, and readiness is to be decided."""
    opened(boats, FRIDAY)
    section(boats, "section-1", (1, 4), (), FRIDAY)
    slips = [(boats, "section-1", n, n > 4) for n in range(1, 8)]
    a.hold_spot_checks("home", looked=slips, by="ruth", at=FRIDAY)
    at = MONDAY - timedelta(minutes=50)
    section(boats, "section-2", (5, 8), (2, 4), at)
    a.hold_spot_checks(
        "home", looked=[(boats, "section-2", n, n > 5) for n in (1, 3, 5, 6)], by="ruth", at=at
    )
    a.open_check("home", copy=boats, stop="check-1", by="ruth", at=at)
    section(boats, "check-1", (9, 9), (), at)
    a.open_practice_test("home", copy=boats, by="ruth", at=at)
    a.score_practice_test("home", copy=boats, wrong=(1, 2, 3, 4), by="ruth", at=at)
    return boats


@pytest.fixture
def asa(home: Home) -> str:
    return home.person("asa").id


def seat(key: str, home: Home) -> Client:
    """Somebody's browser. A learner or a coordinator cannot sign in by any screen: the seat is made by hand."""
    if key == "ines":
        set_up(
            "home",
            name="Tarn End",
            papers=PAPERS,
            people=(*CAST, Newcomer("ines", "Ines", Role.COORDINATOR)),
            at=FRIDAY,
        )
    user, _ = User.objects.get_or_create(username=f"{key}-by-hand")
    Person.objects.filter(household=home.id, key=key).update(user=user)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


OTHERS = ["tobi", "ines", "asa"]
"""A helper, a coordinator, and a learner."""


NO_PAGES = {"feed", "take-archive", "take-tables", "take-oneroster"}
"""Files, which hold what happened and what is meant, and no estimate."""


def addresses(home: Home, quiz: str) -> Iterator[str]:
    """Every address of the house that can be looked at, with everything that can stand in it."""
    copies = [row.id for status in ("issued", "finished") for row in queries.copies("home", status=status)]  # type: ignore[arg-type]
    values = {
        "copy": copies,
        "learner": [p.id for p in home.learners],
        "quiz": [quiz],
        "act_id": ["act"],
        "number": ["1"],
        "sample": ["none"],
        "sheet": ["none"],
    }
    for pattern in get_resolver().url_patterns:
        route = str(pattern.pattern)
        if route == "sign-in/" or pattern.name in NO_PAGES:
            continue
        name = re.search(r"<(?:slug|int):(\w+)>", route)
        for value in values[name[1]] if name else [""]:
            yield "/" + re.sub(r"<(?:slug|int):\w+>", value, route)
    for status in ("issued", "finished", "on%20order"):
        yield f"/copies/?status={status}"
    yield f"/record/?day={FRIDAY.date()}"


def words(page: str) -> str:
    """What a person reads of a page, and what is read aloud to them; a line for each block."""
    page = re.sub(r"<(script|style).*?</\1>", " ", page, flags=re.DOTALL)
    aloud = " ".join(re.findall(r'(?:aria-label|title|placeholder|alt)="([^"]*)"', page))
    page = re.sub(
        r"</?(p|li|h\d|td|th|tr|div|section|summary|details|figure|text|title|dt|dd|form|ul|ol)\b[^>]*>",
        "\n",
        page,
    )
    return re.sub(r"<[^>]+>", " ", page) + "\n" + aloud


OF_ESTIMATES = re.compile(
    r"evidence|of 10 (pass|children)|most of them|estimate|spot check|slip|mark one section together|"
    r"run ahead|remembered by|most likely|\bhold \d|looks learnt|in doubt|objective by objective|to the last page",
    re.IGNORECASE,
)
NEVER_BEFORE_A_LEARNER = re.compile(
    r"honest|cheat|suspicious|\brisk|\bprobab|\bchances?\b|percent", re.IGNORECASE
)
RULE_WITH_A_PERCENTAGE = re.compile(r"Reach \d+ % in a practice test\.|From \d+ % wrong on, a quiz comes")
"""The pass mark and the rule of the quiz are the programme's own percentages; no estimate."""


# --- who sees what ----------------------------------------------------------------------------------------------


class TestTheEducatorSees:
    def test_readiness_on_todays_page(self, ruth: Client, marked: str) -> None:
        page = words(ruth.get("/").content.decode())

        assert re.search(r"(about \d|nearly all|hardly one)[^\n]*of 10 pass", page)
        assert re.search(r"\d+ to \d+ of 20 right", page)
        assert "little evidence" in page

    def test_advice_where_readiness_is_decided(self, ruth: Client, before_the_test: str) -> None:
        page = ruth.get("/").content.decode()

        (advice,) = re.findall(r'<p class="advice">([^<]*children[^<]*)</p>', page)
        assert re.search(r"evidence", advice)

    def test_a_spot_check_where_leave_is_asked(self, ruth: Client, marked: str) -> None:
        at = MONDAY - timedelta(minutes=5)
        a.work_pages("home", copy=marked, first=5, last=8, by="asa", at=at)
        a.ask_leave("home", copy=marked, step=Step.MARK, stop="section-2", by="asa", at=at)

        page = words(ruth.get("/").content.decode())

        assert re.search(r"Spot check first\s*: mark these ticks again: .+, section 1: \d", page)

    def test_readiness_day_by_day_on_the_copy_page(self, ruth: Client, before_the_test: str) -> None:
        page = ruth.get(f"/copies/{before_the_test}/").content.decode()

        assert "Readiness for the unit test" in page
        assert len(re.findall(r'<g class="p-range', page)) == 2  # Friday and Monday
        assert "Objective by objective" in page

    def test_a_learners_page_with_everything(self, ruth: Client, before_the_test: str, asa: str) -> None:
        page = words(ruth.get(f"/learners/{asa}/").content.decode())

        for part in ("Workbooks in hand", "Spot check", "Go back to", "Pace", "Counting Boats"):
            assert part in page
        assert "Mark one section together" in page
        assert re.search(r"\d\.\d a day \(\d\.\d to \d\.\d\)", page)

    def test_nothing_of_readiness_once_the_unit_test_is_sat(self, ruth: Client, before_the_test: str) -> None:
        a.decide_readiness("home", copy=before_the_test, ready=True, by="ruth", at=MONDAY)
        tuesday = MONDAY + timedelta(days=1)
        a.sit_unit_test("home", copy=before_the_test, watcher="ruth", aids=["pencil"], by="ruth", at=tuesday)

        assert b"Readiness for the unit test" not in ruth.get(f"/copies/{before_the_test}/").content

    def test_a_learner_of_whom_nothing_is_known(self, ruth: Client, home: Home) -> None:
        page = words(ruth.get(f"/learners/{home.person('noa').id}/").content.decode())

        assert "No workbook in hand." in page
        assert "No pages are noted yet." in page


class TestOthersSeeNothingOfIt:
    @pytest.mark.parametrize("who", OTHERS)
    def test_no_estimate_on_any_page(
        self, who: str, home: Home, monday: datetime, before_the_test: str
    ) -> None:
        quiz = quizzes.begin("home", copy=before_the_test, by=home.person("ruth").id, at=MONDAY)
        at = MONDAY - timedelta(minutes=3)
        a.ask_help("home", copy=before_the_test, by="asa", at=at)
        client = seat(who, home)
        seen = 0

        for address in addresses(home, quiz.id):
            answer = client.get(address)
            no_such_sheet = answer.status_code == 404 and address == "/on-paper/none/"
            assert answer.status_code in (200, 204, 403, 405) or no_such_sheet, address
            page = words(answer.content.decode())
            assert [m[0] for m in OF_ESTIMATES.finditer(page)] == [], address
            assert [m[0] for m in NEVER_BEFORE_A_LEARNER.finditer(page)] == [], address
            assert "%" not in RULE_WITH_A_PERCENTAGE.sub("", page), address
            seen += answer.status_code == 200
        assert seen >= 7  # today, copies in three states, the copy, papers and the record of two days

    @pytest.mark.parametrize("who", OTHERS)
    def test_the_pages_of_estimates_are_shut(
        self, who: str, home: Home, monday: datetime, marked: str, asa: str
    ) -> None:
        quiz = quizzes.begin("home", copy=marked, by=home.person("ruth").id, at=MONDAY).id
        client = seat(who, home)
        before = Entry.objects.count()

        shut = [
            client.get(f"/learners/{asa}/"),
            client.post(f"/learners/{asa}/spot-check", {"tick": f"{marked}/section-1/1", "t0": "right"}),
            client.post(
                f"/learners/{asa}/review",
                {"copy": marked, "stop": "section-1", "question": "1", "do": "right"},
            ),
            client.get(f"/quiz/{quiz}/"),
            client.post(f"/quiz/{quiz}/answer", {"do": "put away"}),
            client.post("/quiz/begin", {"copy": marked}),
        ]

        assert [answer.status_code for answer in shut] == [403] * 6
        assert Entry.objects.count() == before
        assert quizzes.find("home", quiz).answers == ()

    @pytest.mark.parametrize("who", OTHERS)
    def test_no_link_leads_to_a_page_that_is_shut(
        self, who: str, home: Home, monday: datetime, before_the_test: str
    ) -> None:
        quizzes.begin("home", copy=before_the_test, by=home.person("ruth").id, at=MONDAY)
        client = seat(who, home)

        for address in ("/", f"/copies/{before_the_test}/"):
            page = client.get(address).content.decode()
            assert re.findall(r'(?:href|action)="(/(?:learners|quiz)/[^"]*)"', page) == [], address

    def test_an_answer_to_an_act_shows_a_helper_no_estimate(
        self, home: Home, monday: datetime, marked: str
    ) -> None:
        """An act is answered with the page's inside: the same holds of it."""
        client = seat("tobi", home)

        for back in ("", "today"):
            form = {"act": "work", "copy": marked, "first": "5", "last": "5", "from": back}
            answer = client.post("/act", form, headers={"HX-Request": "true"})
            assert b"Recorded" in answer.content
            assert OF_ESTIMATES.search(words(answer.content.decode())) is None


EDUCATORS_ALONE = {
    "attendance.html",
    "dispatch.html",
    "learner.html",
    "orders.html",
    "papers.html",
    "parts/draft_kept.html",
    "report.html",
    "requirements.html",
    "samples.html",
    "transcript.html",
    "calendar.html",
    "people.html",
    "settings.html",
    "parts/order_form.html",
    "parts/orders_body.html",
    "plan.html",
    "proposal.html",
    "quiz.html",
    "whatif.html",
    "wishes.html",
    "parts/estimates.html",
    "parts/ready_line.html",
    "parts/readiness_plot.html",
    "parts/pace_plot.html",
    "parts/proposal_body.html",
    "parts/quiz_body.html",
    "parts/spot_form.html",
    "parts/targets_beside.html",
    "parts/wish_cell.html",
}
"""Templates that no view fills for anybody but an educator."""


class TestWords:
    def test_what_the_house_never_says_stands_nowhere_in_its_source(self) -> None:
        """No string, no name, no comment, no template, no style sheet."""
        word = re.compile("che" + "at|hon" + "est|susp" + "icious", re.IGNORECASE)

        found = [
            (str(path.relative_to(SOURCE)), line)
            for path in sorted(SOURCE.rglob("*"))
            if path.is_file() and path.suffix not in {".pyc", ".png", ".woff2", ".mo"}
            for line in path.read_text(encoding="utf-8").splitlines()
            if word.search(line)
        ]

        assert found == []

    def test_templates_that_others_see_speak_of_no_odds(self) -> None:
        folder = SOURCE / "web" / "templates"
        templates = [p for p in folder.rglob("*.html") if str(p.relative_to(folder)) not in EDUCATORS_ALONE]

        found = {
            str(path.relative_to(folder)): NEVER_BEFORE_A_LEARNER.findall(text) + re.findall("%", text)
            for path in templates
            for source in [
                re.sub(r"""\{% translate (["'])(.*?)\1""", r"\2{%", path.read_text(encoding="utf-8"))
            ]
            for text in [re.sub(r"\{[%{#].*?[%}#]\}", "", source)]
        }

        assert {name: kept for name, kept in found.items() if kept} == {}
        assert len(templates) >= 15

    def test_strings_of_the_web_that_others_see_speak_of_no_odds(self) -> None:
        """Modules that put words on pages of everybody; docstrings are nobody's page."""
        apart = {
            "ready.py",
            "plots.py",
            "learner_page.py",
            "quiz_page.py",
            "copy_estimates.py",
            "orders_page.py",
            "settings_page.py",
        }
        modules = [p for p in (SOURCE / "web").rglob("*.py") if p.name not in apart]

        found = {
            path.name: [text for text in strings(path) if NEVER_BEFORE_A_LEARNER.search(text)]
            for path in modules
        }

        assert {name: kept for name, kept in found.items() if kept} == {}

    def test_every_percentage_stands_with_its_range_or_with_how_much_the_marks_tell(
        self, ruth: Client, home: Home, before_the_test: str, asa: str
    ) -> None:
        quiz = quizzes.begin("home", copy=before_the_test, by=home.person("ruth").id, at=MONDAY)
        found = 0

        for address in addresses(home, quiz.id):
            if address.startswith(("/papers/", "/settings/requirements/")):
                continue  # their percentages are counted: results, and shares of what was planned or is asked
            answer = ruth.get(address)
            page = RULE_WITH_A_PERCENTAGE.sub("", words(answer.content.decode()))
            for sentence in re.split(r"[.]\s|\n", page):
                if "%" in sentence:
                    found += 1
                    assert re.search(r"\d+ to \d+|evidence", sentence), f"{address}: {sentence.strip()}"
        assert found > 0


def strings(path: Path) -> list[str]:
    """Every string of a module but its docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    documents = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documents
    ]


# --- oral quiz --------------------------------------------------------------------------------------------------


@pytest.fixture
def quiz(ruth: Client, marked: str) -> str:
    """A quiz on section 1, begun by a click."""
    answer = ruth.post("/quiz/begin", {"copy": marked, "stop": "section-1"})
    assert answer.status_code == 302
    return str(answer["Location"]).strip("/").split("/")[-1]


def question(ruth: Client, quiz: str, **get: str) -> dict[str, str]:
    """The hidden fields of the two large buttons."""
    page = ruth.get(f"/quiz/{quiz}/", get).content.decode()
    form = re.search(r'<form class="thumbs".*?</form>', page, re.DOTALL)
    assert form is not None
    found = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form[0]))
    return {name: found[name] for name in ("place", "stop", "question", "token") if name in found}


def say(ruth: Client, quiz: str, do: str) -> None:
    answer = ruth.post(f"/quiz/{quiz}/answer", {**question(ruth, quiz), "do": do})
    assert answer.status_code == 302


class TestQuiz:
    def test_beginning_it_again_takes_it_up(self, ruth: Client, quiz: str, marked: str) -> None:
        say(ruth, quiz, "right")

        again = ruth.post("/quiz/begin", {"copy": marked, "stop": "section-1"})

        assert again["Location"] == f"/quiz/{quiz}/"
        assert len(quizzes.find("home", quiz).answers) == 1

    def test_an_answer_brings_the_next_question(self, ruth: Client, quiz: str) -> None:
        first = question(ruth, quiz)

        say(ruth, quiz, "right")

        second = question(ruth, quiz)
        assert (first["place"], second["place"]) == ("0", "1")
        assert first["question"] != second["question"]

    def test_the_same_answer_sent_twice_is_noted_once(self, ruth: Client, quiz: str) -> None:
        form = {**question(ruth, quiz), "do": "right"}

        for _ in range(2):
            assert ruth.post(f"/quiz/{quiz}/answer", form).status_code == 302

        assert len(quizzes.find("home", quiz).answers) == 1

    def test_an_older_screen_overwrites_nothing(self, ruth: Client, quiz: str) -> None:
        form = question(ruth, quiz)
        ruth.post(f"/quiz/{quiz}/answer", {**form, "do": "right"})

        answer = ruth.post(f"/quiz/{quiz}/answer", {**form, "do": "wrong"})

        assert answer.status_code == 409
        assert b"1 answers are noted already" in answer.content
        assert [kept.right for kept in quizzes.find("home", quiz).answers] == [True]

    def test_the_latest_answer_is_taken_back(self, ruth: Client, quiz: str) -> None:
        first = question(ruth, quiz)
        say(ruth, quiz, "wrong")

        ruth.post(f"/quiz/{quiz}/answer", {"do": "take back", "place": "0"})

        assert question(ruth, quiz)["question"] == first["question"]
        assert quizzes.find("home", quiz).answers == ()

    def test_another_question_can_be_asked_instead(self, ruth: Client, quiz: str) -> None:
        other = question(ruth, quiz, other="1")

        assert other["question"] != question(ruth, quiz)["question"]
        ruth.post(f"/quiz/{quiz}/answer", {**other, "do": "right"})
        assert str(quizzes.find("home", quiz).answers[0].question) == other["question"]

    @pytest.mark.parametrize("other", ["-1", "x", "9" * 5000, "\u0663", "999"])
    def test_a_strange_wish_for_another_question_is_no_mistake_of_ours(
        self, ruth: Client, quiz: str, other: str
    ) -> None:
        assert ruth.get(f"/quiz/{quiz}/", {"other": other}).status_code == 200

    @pytest.mark.parametrize(("do", "end"), [("right", "Learnt"), ("wrong", "Not yet")])
    def test_it_ends_by_its_rule_and_is_recorded_once(
        self, ruth: Client, quiz: str, marked: str, do: str, end: str
    ) -> None:
        """Wald's test, cut off at twelve questions: answers all alike end it before."""
        asked = 0
        while "question" in question(ruth, quiz):
            say(ruth, quiz, do)
            asked += 1
            assert asked < 12
        page = ruth.get(f"/quiz/{quiz}/").content.decode()
        assert "The quiz may end" in page
        assert re.search(rf"</span>\s*{end}</h2>", page)
        form = {**question(ruth, quiz), "do": "record"}

        first, again = (ruth.post(f"/quiz/{quiz}/answer", form) for _ in range(2))

        assert first["Location"] == f"/copies/{marked}/"
        assert again.status_code == 302
        held = [
            n.entry.fact
            for n in queries.history("home", copy=marked)
            if isinstance(n.entry.fact, OralQuizHeld)
        ]
        assert [len(fact.answers) for fact in held] == [asked]
        assert quizzes.under_way("home") == ()

    def test_put_away_it_leaves_nothing(self, ruth: Client, quiz: str, marked: str) -> None:
        say(ruth, quiz, "right")
        before = Entry.objects.count()

        answer = ruth.post(f"/quiz/{quiz}/answer", {"do": "put away"})

        assert answer["Location"] == f"/copies/{marked}/"
        assert (Entry.objects.count(), quizzes.under_way("home")) == (before, ())

    def test_laid_aside_it_is_taken_up_from_the_copy(self, ruth: Client, quiz: str, marked: str) -> None:
        say(ruth, quiz, "right")

        page = ruth.get(f"/copies/{marked}/").content.decode()

        assert f'href="/quiz/{quiz}/"' in page
        assert "laid aside after 1 answer." in page

    @pytest.mark.parametrize(
        ("form", "status"),
        [
            ({"do": "dance"}, 409),
            ({"do": "right", "place": "x"}, 409),
            ({"do": "right", "place": "0", "stop": "section-1", "question": "99"}, 409),
            ({"do": "right", "place": "0", "stop": "section-9", "question": "1"}, 404),
            ({"do": "right", "place": "9" * 5000, "stop": "section-1", "question": "1"}, 409),
            ({"do": "take back", "place": "7"}, 302),
            ({"do": "record"}, 409),
        ],
    )
    def test_what_cannot_be_meant_notes_nothing(
        self, ruth: Client, quiz: str, form: dict[str, str], status: int
    ) -> None:
        answer = ruth.post(f"/quiz/{quiz}/answer", form)

        assert answer.status_code == status
        assert quizzes.find("home", quiz).answers == ()

    def test_another_houses_quiz_and_copy_are_not_here(self, ruth: Client) -> None:
        small_home("other")
        done = a.order_copy("other", workbook="sums-5-01", by="ruth", at=FRIDAY)
        copy = getattr(done.entries[0].fact, "copy", "")
        theirs = quizzes.begin("other", copy=copy, by="ruth", at=MONDAY).id

        answers = [
            ruth.get(f"/quiz/{theirs}/"),
            ruth.post(f"/quiz/{theirs}/answer", {"do": "put away"}),
            ruth.post(
                f"/quiz/{theirs}/answer", {"do": "right", "place": "0", "stop": "section-1", "question": "1"}
            ),
            ruth.post("/quiz/begin", {"copy": copy}),
        ]

        assert [answer.status_code for answer in answers] == [404] * 4
        assert len(quizzes.under_way("other")) == 1

    @pytest.mark.parametrize("who", ["nobody", "ruth", "p0"])
    def test_who_is_no_learner_has_no_page(self, ruth: Client, home: Home, who: str) -> None:
        known = {"ruth": home.person("ruth").id}

        assert ruth.get(f"/learners/{known.get(who, who)}/").status_code == 404


# --- spot check and review --------------------------------------------------------------------------------------


def drawn(page: str) -> list[str]:
    return re.findall(r'name="tick" value="([^"]+)"', page)


def looked(ticks: list[str], slips: int = 0) -> dict[str, object]:
    """The form as it is sent, the first ticks slips."""
    verdicts = {f"t{n}": "wrong" if n < slips else "right" for n in range(len(ticks))}
    return {"tick": ticks, **verdicts}


class TestSpotCheck:
    def test_the_same_ticks_are_drawn_until_they_are_looked_at(
        self, ruth: Client, marked: str, asa: str
    ) -> None:
        pages = [ruth.get(f"/learners/{asa}/").content.decode() for _ in range(2)]

        assert drawn(pages[0]) == drawn(pages[1]) != []
        assert not {f"{marked}/section-1/{n}" for n in (3, 7)} & set(drawn(pages[0]))

    def test_without_a_slip_it_is_done(self, ruth: Client, marked: str, asa: str) -> None:
        ticks = drawn(ruth.get(f"/learners/{asa}/").content.decode())

        page = ruth.post(f"/learners/{asa}/spot-check", looked(ticks)).content.decode()

        assert drawn(page) == []
        assert "The spot check is done" in page
        assert f"{len(ticks)} looked at, 0 wrong" in page

    def test_two_slips_ask_for_more(self, ruth: Client, boats: str, asa: str) -> None:
        opened(boats, MONDAY - timedelta(hours=1))
        for stop, pages in (("section-1", (1, 4)), ("section-2", (5, 8))):
            section(boats, stop, pages, (), MONDAY - timedelta(minutes=30))
        ticks = drawn(ruth.get(f"/learners/{asa}/").content.decode())

        page = ruth.post(f"/learners/{asa}/spot-check", looked(ticks, slips=2)).content.decode()

        assert "2 ticks were slips: mark " in page
        assert drawn(page) != []
        assert not set(drawn(page)) & set(ticks)

    def test_a_check_sent_twice_is_recorded_once(self, ruth: Client, marked: str, asa: str) -> None:
        page = ruth.get(f"/learners/{asa}/").content.decode()
        token = re.search(r'name="token" value="([^"]+-spot)"', page)
        assert token is not None
        form = {**looked(drawn(page)), "token": token[1]}

        for _ in range(2):
            answer = ruth.post(f"/learners/{asa}/spot-check", form)
            assert answer.status_code == 200

        kinds = [n.entry.fact for n in queries.history("home", copy=marked)]
        assert sum(isinstance(fact, SpotCheckHeld) for fact in kinds) == 1

    @pytest.mark.parametrize(
        "form",
        [
            {},
            {"tick": ["nonsense"]},
            {"tick": ["COPY/section-1/1"], "t0": "perhaps"},
            {"tick": ["COPY/section-1/1", "COPY/section-1/2"], "t0": "right"},
            {"tick": ["COPY/section-1/3"], "t0": "right"},
            {"tick": ["COPY/section-1/99"], "t0": "right"},
            {"tick": ["COPY/section-9/1"], "t0": "right"},
            {"tick": ["elsewhere/section-1/1"], "t0": "right"},
            {"tick": ["COPY/section-1/" + "9" * 5000], "t0": "right"},
        ],
    )
    def test_a_wrong_entry_records_nothing_and_loses_no_tick(
        self, ruth: Client, marked: str, asa: str, form: dict[str, object]
    ) -> None:
        before, ticks = Entry.objects.count(), drawn(ruth.get(f"/learners/{asa}/").content.decode())
        sent = {
            name: [v.replace("COPY", marked) for v in value] if isinstance(value, list) else value
            for name, value in form.items()
        }

        answer = ruth.post(f"/learners/{asa}/spot-check", sent)

        assert answer.status_code == 409
        assert Entry.objects.count() == before
        assert drawn(answer.content.decode()) == ticks

    def test_what_was_chosen_stands_in_the_form_again(self, ruth: Client, marked: str, asa: str) -> None:
        ticks = drawn(ruth.get(f"/learners/{asa}/").content.decode())
        form = looked(ticks, slips=1)
        form.pop(f"t{len(ticks) - 1}")  # the last one was passed over

        page = ruth.post(f"/learners/{asa}/spot-check", form).content.decode()

        chosen = re.findall(r'name="(t\d+)" value="(\w+)"[^>]*\bchecked', page)
        assert dict(chosen) == {name: value for name, value in form.items() if name != "tick"}


class TestReview:
    @pytest.fixture
    def later(self, marked: str, monkeypatch: pytest.MonkeyPatch) -> str:
        """Two months on, what was marked then is worth going back to."""
        monkeypatch.setenv("MARKSTEAD_NOW", (MONDAY + timedelta(days=60)).isoformat())
        return marked

    def form(self, page: str) -> dict[str, str]:
        found = re.search(r'<ol class="asked">.*?</ol>', page, re.DOTALL)
        assert found is not None
        fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', found[0]))
        fields.pop("csrfmiddlewaretoken", None)
        return fields

    def test_an_answer_is_a_short_quiz_on_the_record(self, ruth: Client, later: str, asa: str) -> None:
        form = self.form(ruth.get(f"/learners/{asa}/?minutes=10").content.decode())

        answer = ruth.post(f"/learners/{asa}/review", {**form, "do": "right"})

        assert answer["Location"] == f"/learners/{asa}/?minutes=10"
        fact = queries.history("home", copy=later, limit=1)[0].entry.fact
        assert fact == OralQuizHeld(later, ((int(form["question"]), True),), form["stop"])

    def test_what_was_just_right_is_not_asked_again(self, ruth: Client, later: str, asa: str) -> None:
        page = ruth.get(f"/learners/{asa}/").content.decode()
        ruth.post(f"/learners/{asa}/review", {**self.form(page), "do": "right"})

        assert re.search(r'<ol class="asked">\s*</ol>', ruth.get(f"/learners/{asa}/").content.decode())

    @pytest.mark.parametrize(
        "wrong",
        [
            {"do": "perhaps"},
            {"question": "99"},
            {"question": "x"},
            {"stop": "section-9"},
            {"copy": "elsewhere"},
        ],
    )
    def test_what_cannot_be_meant_records_nothing(
        self, ruth: Client, later: str, asa: str, wrong: dict[str, str]
    ) -> None:
        form = {**self.form(ruth.get(f"/learners/{asa}/").content.decode()), "do": "right"}
        before = Entry.objects.count()

        assert ruth.post(f"/learners/{asa}/review", {**form, **wrong}).status_code == 409
        assert Entry.objects.count() == before

    @pytest.mark.parametrize("minutes", ["0", "61", "-1", "x", "\u0663", "0001" + "9" * 5000, "000999"])
    def test_minutes_that_cannot_be_are_the_usual_ones(
        self, ruth: Client, later: str, asa: str, minutes: str
    ) -> None:
        page = ruth.get(f"/learners/{asa}/", {"minutes": minutes}).content.decode()

        assert '<option value="5" selected>' in page


def test_estimates_do_not_wait_for_a_slow_library(ruth: Client, marked: str, asa: str) -> None:
    """A page of estimates asks the database a fixed number of times, whatever is on the record."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    ruth.get(f"/learners/{asa}/")
    with CaptureQueriesContext(connection) as few:
        ruth.get(f"/learners/{asa}/")
    for n in range(3):
        a.give_help("home", copy=marked, minutes=n + 1, by="ruth", at=MONDAY)
    ruth.get(f"/learners/{asa}/")
    with CaptureQueriesContext(connection) as many:
        ruth.get(f"/learners/{asa}/")

    assert len(many) <= len(few)
    assert estimates.marks_of_learner("home", asa)[0].copy == marked


class TestAQuizOnThePracticeTest:
    """Quizzing on what was missed in the practice test is the usual help with readiness: common practice, no source."""

    def test_it_is_not_offered_before_the_test_is_marked(self, ruth: Client, marked: str) -> None:
        assert "Quiz on the practice test" not in ruth.get(f"/copies/{marked}/").content.decode()

    def test_it_asks_one_of_its_wrong_answers_first(self, ruth: Client, before_the_test: str) -> None:
        """Questions 1 to 4 were wrong."""
        assert "Quiz on the practice test" in ruth.get(f"/copies/{before_the_test}/").content.decode()

        begun = ruth.post("/quiz/begin", {"copy": before_the_test, "stop": "practice-test"}, follow=True)

        page = begun.content.decode()
        assert re.search(r"The practice test, question [1-4]<", page)
        assert "was wrong at first marking" in page
