"""The quick line: looked at while it is typed, recorded by Enter."""

from dataclasses import replace
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_POST

from markstead.errors import MarksteadError
from markstead.records import quick
from markstead.records.desk import Slip
from markstead.rules.ruling import Role
from markstead.web import forms
from markstead.web.pages import Said
from markstead.web.quick_line_page import may_write, quick_field, quick_look
from markstead.web.seat import Seat, seated
from markstead.web.views.acts import recorded, said_of
from markstead.web.views.copies import copy_response
from markstead.web.views.errors import not_allowed
from markstead.web.views.learners import learner_response
from markstead.web.views.today import today_response

_PLACES = ("today", "copy", "learner")


def _where(request: HttpRequest) -> tuple[str, str | None, str | None]:
    """The page that the line was typed on, and whom or what that page settles."""
    back = request.POST.get("back", "")
    learner, copy = request.POST.get("learner") or None, request.POST.get("copy") or None
    if back == "copy" and copy:
        return back, None, copy
    if back == "learner" and learner:
        return back, learner, None
    return "today", None, None


def _look(seat: Seat, text: str, learner: str | None, copy: str | None) -> quick.Look:
    return quick.look(seat.household, text, by=seat.person.id, at=seat.now, learner=learner, copy=copy)


@require_POST
@seated
def look(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Tell what the line would record; nothing is written."""
    if not may_write(seat.person):
        return not_allowed(request)
    _, learner, copy = _where(request)
    text = request.POST.get("line", "")
    try:
        found = quick_look(_look(seat, text, learner, copy)) if text.strip() else None
    except MarksteadError as error:
        found = None
        return render(request, "parts/quick_look.html", {"look": found, "trouble": str(error)})
    return render(request, "parts/quick_look.html", {"look": found})


@require_POST
@seated
def record(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Record the line, or show the page again with it and what stands in its way."""
    if not may_write(seat.person):
        return not_allowed(request)
    data = request.POST
    back, learner, copy = _where(request)
    text = data.get("line", "")
    by_htmx = bool(request.headers.get("HX-Request"))
    try:
        if data.get("do") == "look":
            request.quick_line = (text, _look(seat, text, learner, copy))  # type: ignore[attr-defined]
            return _page(request, seat, back, learner, copy, None, 200)
        slip = Slip(act=forms.token(data), now=seat.now, override=data.get("override", "").strip() or None)
        done = quick.record(
            seat.household,
            text,
            by=seat.person.id,
            at=seat.now,
            slip=slip,
            learner=learner,
            copy=copy,
        )
    except MarksteadError as error:
        request.quick_line = (text, None)  # type: ignore[attr-defined]
        said = replace(said_of(error, data), action=reverse("quick"))
        return _page(request, seat, back, learner, copy, said, 200 if by_htmx else 409)
    address = f"{_address(back, learner, copy)}?{urlencode({'quick': done.act})}"
    if back == "learner" and by_htmx:
        return HttpResponse(headers={"HX-Redirect": address})
    if not by_htmx:
        return redirect(address)
    request.quick_recorded = done.act  # type: ignore[attr-defined]
    return _page(request, seat, back, learner, copy, recorded(done, seat), 200)


def _address(back: str, learner: str | None, copy: str | None) -> str:
    if back == "copy":
        return reverse("copy", args=[copy])
    return reverse("learner", args=[learner]) if back == "learner" else reverse("today")


def _page(
    request: HttpRequest,
    seat: Seat,
    back: str,
    learner: str | None,
    copy: str | None,
    said: Said | None,
    status: int,
) -> HttpResponse:
    """The page that the line stands on; with htmx its inside, and the field beside it."""
    if back == "learner" and seat.person.role is Role.EDUCATOR:
        answer = learner_response(request, seat, learner or "", said, status)
        answer["HX-Reselect"], answer["HX-Reswap"] = "#page", "outerHTML"
        return answer
    if back == "copy":
        answer = copy_response(request, seat, copy or "", said, status)
    else:
        answer = today_response(request, seat, said, status)
    if request.headers.get("HX-Request"):
        field = quick_field(request, seat.home, back=back, copy=copy or "")
        context = {"field": field, "person": seat.person, "apart": True}
        answer.content += render_to_string("parts/quick_field.html", context, request).encode()
    return answer
