"""Today's page."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.views.decorators.http import require_POST, require_safe

from markstead.calendar import NoSchoolDayError
from markstead.records import estimates, plans, queries, setup
from markstead.rules.ruling import Role
from markstead.web import morning
from markstead.web.kept import fill
from markstead.web.pages import LEAVES, Said, today_page
from markstead.web.quick_line_page import recorded_before
from markstead.web.seat import Seat, seated


def today_response(
    request: HttpRequest, seat: Seat, said: Said | None = None, status: int = 200, *, acted: bool = True
) -> HttpResponse:
    """The page, or with htmx only its inside; where nobody acted, the record is as the seat found it."""
    answer = queries.today(seat.household, now=seat.now, opened=None if acted else seat.opened)
    found = None
    if seat.person.role is Role.EDUCATOR:
        found = _estimates(answer)
    page = today_page(answer, seat.person, found, planned_goals(answer))
    whole = not request.headers.get("HX-Request")
    context = {
        "page": page,
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "today",
        "acting": seat.person.role in ("educator", "helper"),
    }
    html = render_to_string("today.html" if whole else "parts/today_body.html", context, request)
    return HttpResponse(fill(html, request, page.token), status=status)


def planned_goals(answer: queries.Today) -> Mapping[str, plans.DayGoal]:
    """What the plan in force has for today, by copy."""
    held = [
        (day.learner.id, view.workbook.course, view.standing)
        for day in answer.learners
        for view in day.copies
    ]
    return plans.goals_of_day(answer.home, answer.link, answer.now.date(), held)


def _estimates(answer: queries.Today) -> estimates.TodayEstimates:
    """Readiness of all workbooks in hand, and the spot checks of those who wait for leave to go on."""
    held = [
        estimates.InHand(view.id, day.learner.id, view.link) for day in answer.learners for view in day.copies
    ]
    waiting = [call.learner.id for call in answer.calls if call.learner is not None and call.kind in LEAVES]
    return estimates.for_today(answer.home, answer.link, answer.settled, held, dict.fromkeys(waiting))


@require_safe
@seated
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    if seat.person.role is Role.EDUCATOR:
        morning.look_at_orders(seat.household, seat.opened.calls, seat.home.calendar.day_of(seat.now))
    return today_response(request, seat, recorded_before(request, seat), acted=False)


@require_safe
@seated
def refresh(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Asked every few seconds: the inside of the page if anything is new, else nothing."""
    here = seat.home.calendar.at_home(seat.now)
    if request.GET.get("seen") == f"{seat.opened.head}.{here:%Y%m%d%H%M}":
        return HttpResponse(status=204)
    return today_response(request, seat, acted=False)


@require_POST
@seated
def move_clock(request: HttpRequest, seat: Seat) -> HttpResponse:
    """In a demonstration only: put the clock forward."""
    if seat.home.demo_shift is None:
        return HttpResponse(status=404)
    calendar = seat.home.calendar
    if request.POST.get("to") == "next-morning":
        rules = seat.home.programme.unit_test
        try:
            day = calendar.next_school_day(calendar.day_of(seat.now))
        except NoSchoolDayError as error:
            return today_response(request, seat, Said("mistaken", "The clock stays", (str(error),)), 409)
        then = calendar.instant_of(day, rules.morning_from) + timedelta(minutes=30)
    else:
        then = seat.now + timedelta(minutes=15)
    forward: datetime = max(then, seat.now)
    setup.put_demo_clock_forward(seat.household, by=forward - seat.now)
    return redirect(request.POST.get("back") if _is_ours(request.POST.get("back")) else "today")


def _is_ours(address: str | None) -> bool:
    return bool(address) and str(address).startswith("/") and not str(address).startswith("//")
