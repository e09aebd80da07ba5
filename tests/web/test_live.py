"""News for open pages: who is told of what, how often it is asked, and how a stream begins and ends."""

import asyncio
import re
from collections.abc import AsyncIterator, Collection, Coroutine, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import aclosing
from datetime import timedelta
from threading import Barrier
from typing import Any

import pytest
from django.conf import settings
from django.db import OperationalError, connections
from django.test import Client

from markstead.records import actions as a
from markstead.records import devices, news
from markstead.records.home import Home
from markstead.records.news import Head
from markstead.web.handler import MOST_SENT, THREADS, Pages
from markstead.web.live import NewsResponse, Watch, stream
from tests.tools.homes import PASSWORD, small_home
from tests.web.conftest import MONDAY
from tests.web.test_tablet import asa, begun, house, tablet  # noqa: F401  # fixtures

EVERY = 0.02
OLD, NEW = Head(7, ("a",)), Head(9, ("a",))


class Records:
    """Homes as the watch asks for them; everything that it asks is counted."""

    def __init__(self) -> None:
        self.heads = {"home": OLD, "away": OLD}
        self.whom: frozenset[str] | None = frozenset({"asa"})
        self.looks: list[list[str]] = []
        self.asked_whom: list[tuple[str, int, int]] = []
        self.broken = False

    def look(self, households: Collection[str]) -> Mapping[str, Head]:
        self.looks.append(list(households))
        if self.broken:
            raise OperationalError("the database rests")
        return {home: self.heads[home] for home in households}

    def concerned(self, household: str, after: int, last: int) -> frozenset[str] | None:
        self.asked_whom.append((household, after, last))
        return self.whom

    def watch(self, **more: Any) -> Watch:
        return Watch(self.look, self.concerned, EVERY, **more)


@pytest.fixture
def records() -> Records:
    return Records()


class Listener:
    """One page that listens, and what it has heard but the beats."""

    def __init__(
        self, watch: Watch, household: str = "home", learner: str | None = None, **more: Any
    ) -> None:
        response = NewsResponse(household, OLD, learner)
        self.heard: list[str] = []
        self.task = asyncio.ensure_future(self._listen(stream(watch, response, **more)))

    async def _listen(self, parts: AsyncIterator[bytes]) -> None:
        async with aclosing(parts) as told:  # type: ignore[type-var]
            async for part in told:
                if b"event: news" in part:
                    self.heard.append(part.decode().partition("data: ")[2].strip())


def go_through(story: Coroutine[Any, Any, None]) -> None:
    """Run it in a thread of its own: in this one Playwright's loop may be running, if a browser was open before."""
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, story).result()


async def until(true: Any, seconds: float = 60) -> None:
    async with asyncio.timeout(seconds):
        while not true():
            await asyncio.sleep(EVERY / 4)


async def looks_more(records: Records, many: int = 3) -> None:
    """Let it look some more times."""
    wanted = len(records.looks) + many
    await until(lambda: len(records.looks) >= wanted)


def test_one_look_serves_all_pages_and_nobody_waiting_asks_nothing(records: Records) -> None:
    async def school() -> None:
        watch = records.watch()
        await asyncio.sleep(EVERY * 4)
        assert records.looks == []
        pages = [Listener(watch) for _ in range(20)] + [Listener(watch, "away")]
        await until(lambda: records.looks)
        assert set(map(tuple, records.looks)) == {("away", "home")}
        records.heads["home"] = NEW
        await until(lambda: all(page.heard for page in pages[:20]))
        assert {tuple(page.heard) for page in pages[:20]} == {("9",)}
        assert pages[20].heard == []
        await looks_more(records)
        assert pages[0].heard == ["9"], "the same news twice"
        for page in pages:
            page.task.cancel()
        await asyncio.gather(*(page.task for page in pages), return_exceptions=True)
        await until(lambda: watch._looks is None or watch._looks.done())
        looks = len(records.looks)
        await asyncio.sleep(EVERY * 4)
        assert len(records.looks) == looks

    go_through(school())


def test_a_learner_hears_of_their_own_only(records: Records) -> None:
    async def school() -> None:
        watch = records.watch()
        desk, asa, noa = Listener(watch), Listener(watch, learner="asa"), Listener(watch, learner="noa")  # noqa: F811
        await looks_more(records, 1)
        records.heads["home"] = NEW
        await until(lambda: desk.heard)
        await looks_more(records)
        assert (desk.heard, asa.heard, noa.heard) == (["9"], ["9"], [])
        assert records.asked_whom == [("home", 7, 9)], "asked once for both, from where they stood"

        records.whom = None  # a day without school: everybody
        records.heads["home"] = Head(10, ("a",))
        await until(lambda: noa.heard)
        records.heads["home"] = Head(10, ("b",))  # the clock of a demonstration, people, the plan in force
        await until(lambda: len(noa.heard) == 2 and len(asa.heard) == 3)
        assert records.asked_whom[1:] == [("home", 9, 10)]
        for page in (desk, asa, noa):
            page.task.cancel()
        await asyncio.gather(desk.task, asa.task, noa.task, return_exceptions=True)

    go_through(school())


def test_a_database_that_rests_ends_no_stream(records: Records) -> None:
    async def school() -> None:
        watch = records.watch()
        page = Listener(watch)
        records.broken = True
        await looks_more(records)
        records.broken, records.heads["home"] = False, NEW
        await until(lambda: page.heard)
        page.task.cancel()
        await asyncio.gather(page.task, return_exceptions=True)

    go_through(school())


def test_a_stream_ends_with_the_server_and_after_its_time(records: Records) -> None:
    async def school() -> None:
        stops: list[bool] = []
        watch = records.watch(stopping=lambda: bool(stops))
        page, short = Listener(watch), Listener(watch, longest=EVERY * 3, beat=EVERY)
        async with asyncio.timeout(5):
            await short.task
        assert not page.task.done()
        stops.append(True)
        async with asyncio.timeout(5):
            await page.task
        parts = [part async for part in stream(watch, NewsResponse("home", OLD))]
        assert parts == [b"event: ask\ndata: 2\n\n"], "whoever comes now is to ask by itself"

    go_through(school())


# --- what is asked of the record ------------------------------------------------------------------------------


def test_the_heads_of_homes_are_one_query(home: Home, boats: str, django_assert_num_queries: Any) -> None:
    small_home("away")
    with django_assert_num_queries(1):
        before = news.heads(["home", "away"])
    a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=MONDAY)
    after = news.heads(["home", "away"])

    assert after["home"].seq == before["home"].seq + 1
    assert after["away"] == before["away"]
    assert news.heads(["nowhere"]) == {}


def test_facts_concern_the_learner_of_their_copy_or_everybody(home: Home, boats: str) -> None:
    start = news.heads(["home"])["home"].seq
    a.issue_copy("home", copy=boats, learner="asa", by="ruth", at=MONDAY)
    issued = news.heads(["home"])["home"].seq

    assert news.concerned("home", start, issued) == {home.person("asa").id}
    assert news.concerned("home", issued, issued) == frozenset()
    assert news.concerned("home", issued, start) is None, "a record that was put back concerns everybody"
    assert news.concerned("home", 0, news.MOST_FACTS + 1) is None


# --- who is let in, and what a plain server says --------------------------------------------------------------


def test_a_plain_server_says_that_the_page_is_to_ask(ruth: Client) -> None:
    answer = ruth.get("/news")
    assert answer["Content-Type"].startswith("text/event-stream")
    assert answer["Cache-Control"] == "no-store, private"
    assert answer.content == b"event: ask\ndata: 2\n\n"


def test_nobody_hears_who_may_not_see_the_page(client: Client, asa: Client, home: Home) -> None:  # noqa: F811
    """(The whole table of visitors is walked in test_doors.)"""
    assert client.get("/news").status_code == 302
    assert asa.get("/news")["Location"] == "/tablet/"
    own = asa.get("/tablet/me/news")
    assert isinstance(own, NewsResponse)
    assert (own.household, own.learner) == ("home", home.person("asa").id)
    (kitchen,) = devices.tablets(home)
    devices.take_back(home, tablet=kitchen.id, by="ruth", now=MONDAY)
    assert asa.get("/tablet/me/news").status_code == 403


def test_a_page_whose_visitor_is_signed_out_goes_to_the_sign_in_by_itself(client: Client, home: Home) -> None:
    asks = {"HTTP_HX_REQUEST": "true", "HTTP_HX_CURRENT_URL": "http://testserver/wall/"}
    answer = client.get("/today/refresh", **asks)
    assert answer["HX-Redirect"] == "/sign-in/?next=/wall/"
    assert answer.content == b""


# --- under ASGI -----------------------------------------------------------------------------------------------


class Asking:
    """One request to the application, as an ASGI server makes it."""

    def __init__(
        self, path: str, cookie: str = "", method: str = "GET", body: bytes = b"", **more: Any
    ) -> None:
        headers = [(b"host", b"localhost"), (b"cookie", cookie.encode()), *more.get("headers", [])]
        self.scope = {
            "type": "http",
            "method": method,
            "path": path,
            "query_string": b"",
            "headers": headers,
            "client": ("127.0.0.1", 5),
            "server": ("localhost", 80),
            "scheme": "http",
            "http_version": "1.1",
        }
        self.body = [body]
        self.left = asyncio.Event()
        self.status = 0
        self.headers: dict[str, str] = {}
        self.told = b""

    async def receive(self) -> dict[str, Any]:
        if self.body:
            return {"type": "http.request", "body": self.body.pop(0), "more_body": bool(self.body)}
        await self.left.wait()
        return {"type": "http.disconnect"}

    async def send(self, message: Any) -> None:
        if message["type"] == "http.response.start":
            self.status = message["status"]
            self.headers = {name.decode().lower(): value.decode() for name, value in message["headers"]}
        else:
            self.told += message["body"]

    async def by(self, pages: Pages) -> "Asking":
        await pages(self.scope, self.receive, self.send)
        return self


@pytest.mark.django_db(transaction=True)
def test_a_page_and_a_stream_under_asgi(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fact that another thread writes is told; the stream holds no connection, and ends when the page is closed."""
    monkeypatch.setenv("MARKSTEAD_NOW", MONDAY.isoformat())
    small_home(sign_in=True)
    at = MONDAY - timedelta(hours=1)
    done = a.order_copy("home", workbook="sums-5-01", learner="asa", by="ruth", at=at)
    ruth = Client()
    ruth.post("/sign-in/", {"username": "ruth-home", "password": PASSWORD})
    name = settings.SESSION_COOKIE_NAME
    cookie = f"{name}={ruth.cookies[name].value}"
    page = ruth.get("/")

    async def school() -> None:
        pages = Pages()
        pages.watch = Watch(every=0.05)
        same = await Asking("/", cookie).by(pages)
        assert same.status == page.status_code == 200
        assert same.headers["content-security-policy"]
        assert b"Set-Cookie" not in same.told
        assert same.told.count(b"<") == page.content.count(b"<")
        head = await Asking("/", cookie, "HEAD").by(pages)
        assert (head.status, head.told) == (200, b"")
        static = await Asking("/static/markstead/live.js").by(pages)
        assert static.told.startswith(b"/* Live pages")
        assert (await Asking("/news").by(pages)).status == 302
        only_a_look = await Asking("/news", cookie, "HEAD").by(pages)
        assert (only_a_look.status, only_a_look.told) == (200, b"")

        asked = Asking("/news", cookie)
        runs = asyncio.ensure_future(asked.by(pages))
        await until(lambda: b"event: beat" in asked.told)
        assert "content-length" not in asked.headers
        copy = str(getattr(done.entries[0].fact, "copy", ""))
        await asyncio.to_thread(_receive, copy)
        await until(lambda: b"event: news\ndata: 2\n" in asked.told)
        asked.left.set()
        async with asyncio.timeout(60):
            await runs

        def no_transaction() -> bool:
            connection = connections["default"]
            return not connection.in_atomic_block

        loop = asyncio.get_running_loop()
        assert await loop.run_in_executor(pages._threads, no_transaction)
        for threads, many in ((pages._threads, THREADS), (pages._looks, 1), (pages.watch._thread, 1)):
            # Each waits for the others, so that no thread closes its connection twice while another keeps its own.
            together = Barrier(many)
            await asyncio.gather(*(loop.run_in_executor(threads, leave, together) for _ in range(many)))
            threads.shutdown()

    go_through(school())


def leave(together: Barrier) -> None:
    """Close the connection of this thread."""
    together.wait(timeout=60)
    connections.close_all()


def _receive(copy: str) -> None:
    a.receive_copy("home", copy=copy, by="ruth", at=MONDAY - timedelta(minutes=50))
    connections.close_all()


def test_more_than_any_page_takes_is_refused_before_it_is_read() -> None:
    async def school() -> None:
        pages = Pages()
        told = [(b"content-length", str(MOST_SENT + 1).encode())]
        much = await Asking("/act", method="POST", headers=told).by(pages)
        assert much.status == 413
        assert b"Nothing was recorded" in much.told
        untold = Asking("/act", method="POST")
        untold.body = [b"x" * (MOST_SENT // 4)] * 5
        assert (await untold.by(pages)).status == 413

    go_through(school())


def test_the_server_starts_and_stops_with_the_application() -> None:
    async def school() -> None:
        said = [{"type": "lifespan.startup"}, {"type": "lifespan.shutdown"}]
        answers: list[Any] = []

        async def receive() -> Any:
            return said.pop(0)

        async def send(message: Any) -> None:
            answers.append(message["type"])

        await Pages()({"type": "lifespan"}, receive, send)
        assert answers == ["lifespan.startup.complete", "lifespan.shutdown.complete"]

    go_through(school())


def test_what_is_drawn_for_one_page_is_given_to_the_next_with_tokens_of_its_own(
    ruth: Client,
    begun: str,  # noqa: F811
) -> None:
    """Nothing of one visitor's answer stands in another's, and what was done since is in it."""
    asks = {"HTTP_HX_REQUEST": "true"}
    tobi = Client()
    tobi.post("/sign-in/", {"username": "tobi-home", "password": PASSWORD})
    whole = ruth.get("/").content.decode()
    first, second = (ruth.get("/today/refresh", **asks).content.decode() for _ in range(2))
    a.ask_help("home", copy=begun, page=2, by="asa", at=MONDAY)
    third, helper = (one.get("/today/refresh", **asks).content.decode() for one in (ruth, tobi))

    def bare(html: str) -> str:
        return re.sub(r'name="(token|csrfmiddlewaretoken)" value="[^"]*"', "", html)

    inside = whole[whole.index('<div class="today"') : whole.index("</main>")]
    assert bare(first).strip() in bare(inside)
    assert bare(first) == bare(second)
    forms = re.findall(r'name="token" value="([^"]+)"', first + second)
    assert len(set(forms)) == len(forms)
    assert "asks for help, page 2" in third
    assert "asks for help, page 2" in helper
    assert "of 10 pass" not in helper, "an estimate, which is for educators alone"
