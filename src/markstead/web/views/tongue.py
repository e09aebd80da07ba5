"""Choosing the language of this browser, and of the home."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from markstead.records import setup
from markstead.speech import LANGUAGES
from markstead.web import tongue
from markstead.web.seat import Seat, refuse_nul
from markstead.web.views.doors import taught


@require_POST
def here(request: HttpRequest) -> HttpResponse:
    """The language of this browser; back to the page on which it was chosen."""
    refuse_nul(request)
    code = request.POST.get("language", "")
    back = request.POST.get("next", "")
    safe = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=settings.SECURE)
    response = redirect(back if safe and back.startswith("/") else reverse("today"))
    if code == "" or code in LANGUAGES:
        tongue.choose(response, code)
    return response


@require_POST
@taught
def home(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The language of the home, which holds wherever a browser chose none of its own."""
    code = request.POST.get("language", "")
    if code == "" or code in LANGUAGES:
        setup.set_language(seat.household, code)
    return redirect(f"{reverse('settings')}?saved=language#language")
