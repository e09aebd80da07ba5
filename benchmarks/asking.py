"""Asking for a page inside the process, through the whole of the house's WSGI application."""

from io import BytesIO
from typing import Any
from wsgiref.util import setup_testing_defaults

from django.conf import settings
from django.core.wsgi import get_wsgi_application


class Visitor:
    """A browser that is signed in, without a network between."""

    def __init__(self, cookie: str) -> None:
        self.application = get_wsgi_application()
        self.cookie = cookie

    def get(self, path: str) -> bytes:
        """The body of a page.

        Raises:
            RuntimeError: the answer was not 200.
        """
        environ: dict[str, Any] = {"PATH_INFO": path, "HTTP_HOST": "localhost", "HTTP_COOKIE": self.cookie}
        setup_testing_defaults(environ)
        environ["wsgi.input"] = BytesIO()
        status: list[str] = []
        response = self.application(environ, lambda line, *_: status.append(line))
        try:
            body = b"".join(response)
        finally:
            response.close()
        if not status[0].startswith("200"):
            raise RuntimeError(f"{path} answered {status[0]}")
        return body


def sign_in(name: str, password: str) -> str:
    """Sign in by the house's own form; give the cookies that a browser would send."""
    from django.test import Client

    client = Client(SERVER_NAME="localhost")
    answer = client.post("/sign-in/", {"username": name, "password": password})
    if answer.status_code != 302:
        raise RuntimeError(f"signing in answered {answer.status_code}")
    client.get("/")  # the page gives its own cookie against forged forms
    kept = client.cookies
    return "; ".join(
        f"{key}={kept[key].value}"
        for key in (settings.SESSION_COOKIE_NAME, settings.CSRF_COOKIE_NAME)
        if key in kept
    )
