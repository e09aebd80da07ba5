"""Pages for what went wrong: a sentence, and a way on."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string


def _page(title: str, sentence: str, status: int) -> HttpResponse:
    text = render_to_string("error.html", {"title": title, "sentence": sentence})
    return HttpResponse(text, status=status)


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _page("Not here", "There is no such page, or it belongs to another home.", 404)


def sorry(request: HttpRequest) -> HttpResponse:
    sentence = (
        "Markstead made a mistake of its own. What was recorded before is safe; what you sent just now may not "
        "be: look at the copy before you send it again."
    )
    return _page("Sorry", sentence, 500)


def not_allowed(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _page("Not for you", "This is for another person of the home.", 403)


def not_understood(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _page("Not understood", "What came could not be read as a request.", 400)


def too_much(request: HttpRequest) -> HttpResponse:
    return _page(
        "Too much at once", "What was sent is larger than Markstead takes. Nothing was recorded.", 413
    )


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    sentence = (
        "This form was opened too long ago, or in another session. Nothing was recorded: go back, reload the "
        "page and send it again."
    )
    return _page("An old form", sentence, 403)


def too_long() -> HttpResponse:
    return _page("Too long", "More was sent than any page takes. Nothing was recorded.", 413)
