"""Answers requests under ASGI: pages in a few threads that stay, streams of news beside them.

Django's own handler for ASGI makes a thread, and with it a connection to the database, for every request, and changes
threads at each middleware. Here a page runs from end to end in one thread whose connection stays open, as under WSGI;
what waits for news takes no thread at all.
"""

import asyncio
import tempfile
from collections.abc import Awaitable, Callable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import aclosing
from typing import IO, Any

from django.conf import settings
from django.core import signals
from django.core.exceptions import RequestAborted
from django.core.handlers.asgi import ASGIHandler, get_script_prefix
from django.http.response import HttpResponseBase
from django.urls import set_script_prefix

from markstead.web.live import NewsResponse, Watch, stream
from markstead.web.views.errors import too_long

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]

THREADS = 2
"""More of them only wait for each other: one writer holds the database at a time."""
MOST_SENT = 64 * 2**20
"""Bytes; nothing that a home sends is longer."""


class TooLongError(Exception):
    """More was sent than anything that a page takes."""


def _by_itself(scope: Message) -> bool:
    """Whether an open page asks, and nobody has pressed anything."""
    return scope["method"] == "GET" and any(name == b"hx-request" for name, _ in scope["headers"])


class Pages(ASGIHandler):
    """Answers requests, and keeps those open that wait for news."""

    def __init__(self) -> None:
        super().__init__()
        self.watch = Watch()
        self._threads = ThreadPoolExecutor(THREADS, thread_name_prefix="page")
        # When something is new every open page asks at once: whoever presses a button does not queue behind them.
        self._looks = ThreadPoolExecutor(1, thread_name_prefix="look")

    def load_middleware(self, is_async: bool = False) -> None:  # noqa: ARG002  # never: one thread, end to end
        super().load_middleware(is_async=False)

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._live_on(receive, send)
        elif scope["type"] == "http":
            await self.handle(scope, receive, send)

    async def _live_on(self, receive: Receive, send: Send) -> None:
        """The server says that it starts, and that it has stopped."""
        kind = ""
        while kind != "lifespan.shutdown":
            kind = (await receive())["type"]
            await send({"type": f"{kind}.complete"})
        self._threads.shutdown()
        self._looks.shutdown()

    async def handle(self, scope: Message, receive: Receive, send: Send) -> None:
        try:
            body = await self._body(scope, receive)
        except RequestAborted:
            return
        except TooLongError:
            refusal = too_long()
            await self._send(refusal, refusal.content, send)
            return
        threads = self._looks if _by_itself(scope) else self._threads
        loop = asyncio.get_running_loop()
        response, content = await loop.run_in_executor(threads, self._answer, scope, body)
        if scope["method"] == "HEAD":
            await self._send(response, b"", send)
        else:
            await self._send(response, content, send, receive)

    async def _body(self, scope: Message, receive: Receive) -> IO[bytes]:
        """All that was sent, in memory or, where it is long, in a file.

        Raises:
            RequestAborted: whoever sent it is gone.
            TooLongError: there is more of it than a page takes.
        """
        told = dict(scope["headers"]).get(b"content-length", b"0")
        if told.isdigit() and int(told) > MOST_SENT:
            raise TooLongError
        # It is closed with the answer, in another thread.
        body = tempfile.SpooledTemporaryFile(max_size=settings.FILE_UPLOAD_MAX_MEMORY_SIZE)  # noqa: SIM115
        message: Message = {"more_body": True}
        while message.get("more_body"):
            message = await receive()
            if message["type"] == "http.disconnect":
                body.close()
                raise RequestAborted
            body.write(message.get("body", b""))
            if body.tell() > MOST_SENT:
                body.close()
                raise TooLongError
        body.seek(0)
        return body

    def _answer(self, scope: Message, body: IO[bytes]) -> tuple[HttpResponseBase, bytes]:
        """One request in one thread, from its first middleware to its last byte."""
        set_script_prefix(get_script_prefix(scope))
        signals.request_started.send(sender=type(self), scope=scope)
        request, mistaken = self.create_request(scope, body)
        response = mistaken if request is None else self.get_response(request)
        try:
            content = b"".join(response.streaming_content) if response.streaming else response.content
        finally:
            response.close()
            body.close()
        return response, content

    async def _send(
        self, response: HttpResponseBase, content: bytes, send: Send, receive: Receive | None = None
    ) -> None:
        """An answer, or the beginning of a stream where `receive` says when nobody listens any more."""
        headers = [(name.encode("ascii"), value.encode("latin-1")) for name, value in response.items()]
        headers += [
            (b"Set-Cookie", cookie.output(header="").strip().encode("ascii"))
            for cookie in response.cookies.values()
        ]
        start = {"type": "http.response.start", "status": response.status_code}
        if isinstance(response, NewsResponse) and receive is not None:
            kept = [(name, value) for name, value in headers if name.lower() != b"content-length"]
            await send({**start, "headers": kept})
            await self._tell(response, send, receive)
        else:
            await send({**start, "headers": headers})
            await send({"type": "http.response.body", "body": content})

    async def _tell(self, response: NewsResponse, send: Send, receive: Receive) -> None:
        """Tell the news until the page is closed, the stream has lasted long enough, or the server stops."""

        async def tell() -> None:
            async with aclosing(stream(self.watch, response)) as parts:
                async for part in parts:
                    await send({"type": "http.response.body", "body": part, "more_body": True})
            await send({"type": "http.response.body", "body": b""})

        async def gone() -> None:
            while (await receive())["type"] != "http.disconnect":
                pass

        tasks = [asyncio.create_task(tell()), asyncio.create_task(gone())]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
