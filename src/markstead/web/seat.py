"""Who sits at the screen: the one place where access is asked for."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from markstead.records import first_evening, queries
from markstead.records.home import Home, Somebody
from markstead.web import clock, tongue


@dataclass(frozen=True, slots=True)
class Seat:
    """A signed-in person of a home, and the instant."""

    household: str
    person: Somebody
    opened: queries.Opened
    """The home and the end of its record, as they were when the request came in."""
    now: datetime
    made: bool = False
    """The password was made by the house, and is to be replaced before anything else is done."""

    @property
    def home(self) -> Home:
        return self.opened.home


View = Callable[..., HttpResponse]


def refuse_nul(request: HttpRequest) -> None:
    """No name and no number has a NUL byte, and PostgreSQL takes none.

    Raises:
        BadRequest: there is one in what was sent.
    """
    sent = [value for data in (request.GET, request.POST) for _, values in data.lists() for value in values]
    if any("\0" in value for value in sent):
        raise BadRequest("a NUL byte in what was sent")


def seated(view: View) -> View:
    """Let in people of a home only, with a password of their own; hand the view their seat."""

    @seated_with_any_password
    @wraps(view)
    def inner(request: HttpRequest, seat: Seat, *args: Any, **kwargs: Any) -> HttpResponse:
        if seat.made:
            return redirect("password")
        return view(request, seat, *args, **kwargs)

    return inner


def seated_with_any_password(view: View) -> View:
    """The same, also with a password that was made by the house: for the page on which one's own is chosen."""

    @login_required
    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_nul(request)
        found = queries.opened_by(request.user.pk)
        if found is None:
            if first_evening.state() is first_evening.State.BEGUN:
                return redirect("first")
            return render(request, "no_home.html", status=403)
        opened, person, made = found
        tongue.of_home(request, opened.home)
        seat = Seat(opened.home.id, person, opened, clock.now(opened.home), made)
        return view(request, seat, *args, **kwargs)

    return inner
