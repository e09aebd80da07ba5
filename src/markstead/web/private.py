"""What holds for every answer: nothing of it is kept by the browser, none is larger to send than the house can take, and
whoever is no longer signed in gets the whole door and not a piece of it."""

from collections.abc import Callable
from urllib.parse import urlsplit

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from markstead.web.views.errors import too_much


class Private:
    """Middleware, put around every view; what is the same for everybody is answered before it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if _length(request) > settings.MOST_SENT:
            return too_much(request)
        response = self.get_response(request)
        # Not kept: the next person at this screen must not find a child's marks by going back.
        if "no-store" not in response.get("Cache-Control", ""):
            response["Cache-Control"] = "no-store, private"
        return _whole_door(request, response)


def _length(request: HttpRequest) -> int:
    text = request.META.get("CONTENT_LENGTH") or "0"
    return int(text) if text.isascii() and text.isdecimal() else 0


def _whole_door(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """A part of a page that was asked for after the sign-in had ended leads the whole page to the door."""
    to = response.get("Location", "")
    if not request.headers.get("HX-Request") or not to.startswith("/sign-in/"):
        return response
    page = urlsplit(request.headers.get("HX-Current-URL", "")).path or "/"
    away = HttpResponse(status=204)
    away["Cache-Control"] = "no-store, private"
    away["HX-Redirect"] = (
        f"/sign-in/?next={page}" if page.startswith("/") and "//" not in page else "/sign-in/"
    )
    return away
