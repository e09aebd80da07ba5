"""Views that are for educators alone."""

from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse

from markstead.rules.ruling import Role
from markstead.web.seat import Seat, View, seated
from markstead.web.views.errors import not_allowed


def taught(view: View) -> View:
    """Let in educators of a home only; hand the view their seat."""

    @seated
    @wraps(view)
    def inner(request: HttpRequest, seat: Seat, *args: Any, **kwargs: Any) -> HttpResponse:
        if seat.person.role is not Role.EDUCATOR:
            return not_allowed(request)
        return view(request, seat, *args, **kwargs)

    return inner
