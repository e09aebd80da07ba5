"""Targets and limits on screen: one section is saved at a time. For educators."""

from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from markstead.errors import MarksteadError
from markstead.plan.wishes import Wishes
from markstead.records import plan_asks, plans
from markstead.speech import later, say
from markstead.web.kept import kept_page
from markstead.web.seat import Seat
from markstead.web.views.doors import taught
from markstead.web.views.errors import not_understood
from markstead.web.views.plan import problems_of
from markstead.web.wishes_page import SECTIONS, Typed, read_section, wishes_view

CHANGED = later(
    "Targets, limits or people were changed since this page was opened: what you typed stands below. "
    "Compare it, and save it again."
)


def _shown(
    request: HttpRequest,
    seat: Seat,
    *,
    saved: str = "",
    typed: Typed | None = None,
    problems: Sequence[str] = (),
) -> HttpResponse:
    plan = plans.in_force(seat.home)
    known = plan is None or plans.knows(seat.home, plan)
    context = {
        "page": wishes_view(seat.home, plan, known=known, saved=saved, typed=typed, problems=problems),
        "person": seat.person,
        "here": "plan",
        "sheet": "wishes",
    }
    return render(request, "wishes.html", context, status=409 if typed is not None else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@taught
@kept_page()
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """What the home asks of its plan; a POST saves one section of it, or nothing where a part of it is wrong."""
    if request.method != "POST":
        return _shown(request, seat, saved=request.GET.get("saved", ""))
    section = request.POST.get("section", "")
    if section not in SECTIONS:
        return not_understood(request)
    typed = Typed(request.POST)
    today = seat.home.calendar.day_of(seat.now)
    found = read_section(section, seat.home, typed, today)
    if typed.wrong:
        return _shown(request, seat, typed=typed)
    # Every field of a section is sent: those of an old page would undo what was saved since.
    if section != "new-target" and request.POST.get("stamp", "") != seat.home.stamp:
        return _shown(request, seat, typed=typed, problems=[say(CHANGED)])
    try:
        if isinstance(found, Wishes):
            plan_asks.set_wishes(seat.household, lambda _: found, at=seat.now)
        elif found:
            plan_asks.write_down(seat.household, found, today=today, at=seat.now)
    except MarksteadError as error:
        return _shown(request, seat, typed=typed, problems=problems_of(error))
    return redirect(f"{reverse('wishes')}?saved={section}#{section}")
