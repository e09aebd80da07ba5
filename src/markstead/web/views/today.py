"""Today's page."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.views.decorators.http import require_POST, require_safe

from markstead.calendar import NoSchoolDayError
from markstead.records import estimates, plans, queries, setup
from markstead.rules.ruling import Role
from markstead.speech import say
from markstead.web import morning
from markstead.web.kept import fill, for_a_moment
from markstead.web.pages import LEAVES, Said, TodayPage, new_token, today_page
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
    context = {**_context(page, seat), "said": said}
    html = render_to_string("today.html" if whole else "parts/today_body.html", context, request)
    return HttpResponse(fill(html, request, page.token), status=status)


def _context(page: TodayPage, seat: Seat) -> dict[str, object]:
    return {
        "page": page,
        "person": seat.person,
        "home": seat.home,
        "here": "today",
        "acting": seat.person.role in (Role.EDUCATOR, Role.HELPER),
    }


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
    stamp = f"{seat.opened.head}.{here:%Y%m%d%H%M}"
    if request.GET.get("seen") == stamp:
        return HttpResponse(status=204)
    if not request.headers.get("HX-Request"):
        return today_response(request, seat, acted=False)
    home, opened = seat.home, seat.opened
    key = (
        home.id,
        home.stamp,
        home.plan,
        home.failed_test_costs,
        home.hold_day_costs,
        opened.link,
        opened.calls,
    )
    html = for_a_moment((*key, stamp, seat.person.id, seat.person.role), partial(_inside, seat))
    return HttpResponse(fill(html, request, new_token()))


def _inside(seat: Seat, forgery: str, token: str) -> str:
    """The inside of the page as anybody in this seat sees it now, with holes for what differs from answer to answer."""
    answer = queries.today(seat.household, now=seat.now, opened=seat.opened)
    found = _estimates(answer) if seat.person.role is Role.EDUCATOR else None
    page = replace(today_page(answer, seat.person, found, planned_goals(answer)), token=token)
    context = {**_context(page, seat), "csrf_token": forgery}
    return render_to_string("parts/today_body.html", context)


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
            return today_response(request, seat, Said("mistaken", say("The clock stays"), (str(error),)), 409)
        then = calendar.instant_of(day, rules.morning_from) + timedelta(minutes=30)
    else:
        then = seat.now + timedelta(minutes=15)
    forward: datetime = max(then, seat.now)
    setup.put_demo_clock_forward(seat.household, by=forward - seat.now)
    return redirect(request.POST.get("back") if _is_ours(request.POST.get("back")) else "today")


def _is_ours(address: str | None) -> bool:
    return bool(address) and str(address).startswith("/") and not str(address).startswith("//")
