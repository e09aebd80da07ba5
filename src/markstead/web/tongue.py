"""Which language a page is in: what this browser chose, what the home chose, what the browser asks for, English."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers
from django.utils.translation.trans_real import parse_accept_lang_header

from markstead import speech
from markstead.records.home import Home
from markstead.speech import Language

COOKIE = settings.LANGUAGE_COOKIE_NAME
A_YEAR = 366 * 24 * 60 * 60


class Speaks:
    """Middleware: speaks one language while a request is answered."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        now = chosen(request) or _asked_for(request) or speech.ENGLISH
        with speech.spoken(now.code), translation.override(now.code):
            response = self.get_response(request)
            response.headers.setdefault("Content-Language", speech.language().tag)
        patch_vary_headers(response, ("Accept-Language", "Cookie"))
        return response


def chosen(request: HttpRequest) -> Language | None:
    """The language that was chosen in this browser."""
    return speech.LANGUAGES.get(request.COOKIES.get(COOKIE, ""))


def of_home(request: HttpRequest, home: Home) -> None:
    """Go on in the language that the home chose, unless this browser chose another."""
    if home.language and chosen(request) is None:
        speech.speak(home.language)
        translation.activate(speech.language().code)


def choose(response: HttpResponse, code: str) -> None:
    """Let this browser be spoken to in a language; nothing: as the home chose, or as the browser asks."""
    if not code:
        response.delete_cookie(COOKIE, samesite="Lax")
        response.cookies[COOKIE]["secure"] = settings.SECURE
        return
    response.set_cookie(COOKIE, code, max_age=A_YEAR, httponly=True, samesite="Lax", secure=settings.SECURE)


def spoken_here(_: HttpRequest) -> dict[str, object]:
    """For every template: the language it is in, and those that may be chosen."""
    return {"tongue": speech.language(), "tongues": tuple(speech.LANGUAGES.values())}


def _asked_for(request: HttpRequest) -> Language | None:
    header = request.headers.get("Accept-Language", "")[:400]
    for code, _ in parse_accept_lang_header(header):
        found = speech.known(code)
        if found is not None:
            return found
    return None
