"""The wall view, and what refreshes it."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from markstead.records import queries
from markstead.web.quick_line_page import may_write
from markstead.web.seat import Seat, seated
from markstead.web.views.errors import not_allowed
from markstead.web.views.today import planned_goals
from markstead.web.wall_page import wall_page


@require_safe
@seated
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The whole page; asked again by htmx, its inside where anything is new."""
    if not may_write(seat.person):
        return not_allowed(request)
    again = bool(request.headers.get("HX-Request"))
    here = seat.home.calendar.at_home(seat.now)
    if again and request.GET.get("seen") == f"{seat.opened.head}.{here:%Y%m%d%H%M}":
        return HttpResponse(status=204)
    answer = queries.today(seat.household, now=seat.now, opened=seat.opened)
    found = wall_page(answer, planned_goals(answer))
    return render(request, "parts/wall_body.html" if again else "wall.html", {"page": found})
