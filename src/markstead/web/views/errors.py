"""Pages for what went wrong: a sentence, and a way on."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from markstead.speech import say


def _page(title: str, sentence: str, status: int) -> HttpResponse:
    text = render_to_string("error.html", {"title": title, "sentence": sentence})
    return HttpResponse(text, status=status)


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _page(say("Not here"), say("There is no such page, or it belongs to another home."), 404)


def sorry(request: HttpRequest) -> HttpResponse:
    sentence = say(
        "Markstead made a mistake of its own. What was recorded before is safe; what you "
        "sent just now may not be: look at the copy before you send it again."
    )
    return _page(say("Sorry"), sentence, 500)


def not_allowed(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _page(say("Not for you"), say("This is for another person of the home."), 403)


def not_understood(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _page(say("Not understood"), say("What came could not be read as a request."), 400)


def too_much(request: HttpRequest) -> HttpResponse:
    return _page(
        say("Too much at once"),
        say("What was sent is larger than Markstead takes. Nothing was recorded."),
        413,
    )


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    sentence = say(
        "This form was opened too long ago, or in another session. Nothing was recorded: go "
        "back, reload the page and send it again."
    )
    return _page(say("An old form"), sentence, 403)


def too_long() -> HttpResponse:
    return _page(say("Too long"), say("More was sent than any page takes. Nothing was recorded."), 413)
