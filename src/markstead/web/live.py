"""News for open pages: that something is new, and no more; the page asks for its own part itself.

One look a second at the heads of the records serves every page that waits, whoever wrote: this server, a command, an import
in another process. While nobody waits nothing is asked. A page that waits holds no thread, connection or transaction.
"""

import asyncio
from collections.abc import AsyncIterator, Callable, Collection, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress

from django.http import HttpResponse

from markstead.records import news
from markstead.records.news import Head

EVERY = 1.0
"""Seconds from look to look."""
BEAT = 10.0
"""Seconds after which a page hears that the house is still there; its script gives up after two and a half of them."""
LONGEST = 600.0
"""Seconds after which a stream ends; the browser comes back at once, and is asked anew who it is."""
MOST = 500
"""Streams at the same time; whoever comes later asks from time to time."""
_STEPS = 4
"""So often between two looks it is asked whether the server is stopping."""


class NewsResponse(HttpResponse):
    """The way to the news of a home, or of one learner alone, for whoever was let in.

    `asgi` keeps it open and tells the news. Any other server sends it as it is: it says that the page is to ask by itself.
    """

    def __init__(self, household: str, head: Head, learner: str | None = None) -> None:
        super().__init__(b"event: ask\ndata: 2\n\n", content_type="text/event-stream; charset=utf-8")
        self["Cache-Control"] = "no-store, private"
        self["X-Accel-Buffering"] = "no"
        self.household, self.head, self.learner = household, head, learner


class Waiter:
    """One page that waits."""

    def __init__(self, household: str, learner: str | None, head: Head) -> None:
        self.household, self.learner, self.head = household, learner, head
        self.ended = False
        self.woken = asyncio.Event()

    async def news(self, within: float) -> bool:
        """Wait for news for so many seconds; whether there are any."""
        with suppress(TimeoutError):
            async with asyncio.timeout(within):
                await self.woken.wait()
        new = self.woken.is_set()
        self.woken.clear()
        return new


class Watch:
    """Looks at the homes of all pages that wait, and wakes those whom something new concerns."""

    def __init__(
        self,
        heads: Callable[[Collection[str]], Mapping[str, Head]] = news.heads,
        concerned: Callable[[str, int, int], frozenset[str] | None] = news.concerned,
        every: float = EVERY,
        stopping: Callable[[], bool] = lambda: False,
    ) -> None:
        self._heads, self._concerned, self._every = heads, concerned, every
        self.stopping = stopping
        self._waiting: set[Waiter] = set()
        self._looks: asyncio.Task[None] | None = None
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="news")

    @property
    def full(self) -> bool:
        """Whether no more pages are to wait here."""
        return len(self._waiting) >= MOST or self.stopping()

    @contextmanager
    def waiter(self, household: str, learner: str | None, head: Head) -> Iterator[Waiter]:
        """A page waits from this head on."""
        waiter = Waiter(household, learner, head)
        self._waiting.add(waiter)
        if self._looks is None or self._looks.done():
            self._looks = asyncio.get_running_loop().create_task(self._look_on())
        try:
            yield waiter
        finally:
            self._waiting.discard(waiter)

    def end(self) -> None:
        """End every stream."""
        for waiter in self._waiting:
            waiter.ended = True
            waiter.woken.set()

    async def _look_on(self) -> None:
        loop = asyncio.get_running_loop()
        while self._waiting:
            for _ in range(_STEPS):
                await asyncio.sleep(self._every / _STEPS)
                if self.stopping():
                    self.end()
                    return
            waiting = tuple(self._waiting)
            for waiter in await loop.run_in_executor(self._thread, self._whom_to_wake, waiting):
                waiter.woken.set()
        # Nobody waits any more: the connection is not kept for its own sake.
        await loop.run_in_executor(self._thread, news.look_anew)

    def _whom_to_wake(self, waiting: Collection[Waiter]) -> list[Waiter]:
        """Look once, in the thread that asks the database."""
        try:
            heads = self._heads(sorted({waiter.household for waiter in waiting}))
            told: dict[tuple[str, int], frozenset[str] | None] = {}
            found = []
            for waiter in waiting:
                head = heads.get(waiter.household)
                if head is None or head == waiter.head:
                    continue
                if self._concerns(waiter, head, told):
                    found.append(waiter)
                waiter.head = head
        except news.Unreachable:
            news.look_anew()  # the pages find out by themselves when they ask
            return []
        return found

    def _concerns(
        self, waiter: Waiter, head: Head, told: dict[tuple[str, int], frozenset[str] | None]
    ) -> bool:
        if waiter.learner is None or head.beside != waiter.head.beside:
            return True
        key = (waiter.household, waiter.head.seq)
        if key not in told:
            told[key] = self._concerned(waiter.household, waiter.head.seq, head.seq)
        whom = told[key]
        return whom is None or waiter.learner in whom


async def stream(
    watch: Watch, response: NewsResponse, *, beat: float = BEAT, longest: float = LONGEST
) -> AsyncIterator[bytes]:
    """The news for one page, as Server-Sent Events: the number of the latest fact of the home, whenever something is new."""
    if watch.full:
        yield response.content
        return
    loop = asyncio.get_running_loop()
    until = loop.time() + longest
    with watch.waiter(response.household, response.learner, response.head) as waiter:
        yield b"retry: 1000\nevent: beat\ndata: 0\n\n"
        while (left := until - loop.time()) > 0:
            new = await waiter.news(min(beat, left))
            if waiter.ended:
                return
            yield b"event: news\ndata: %d\n\n" % waiter.head.seq if new else b"event: beat\ndata: 0\n\n"
