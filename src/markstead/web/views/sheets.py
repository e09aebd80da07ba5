"""The term, the year and the educator's load under the plan in force. For educators."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from markstead.records import plan_sheets, plans
from markstead.records.plans import KeptPlan
from markstead.web.kept import kept_page
from markstead.web.seat import Seat
from markstead.web.term_page import load_view, term_view
from markstead.web.views.doors import taught
from markstead.web.year_page import year_view


def _standing(seat: Seat) -> tuple[KeptPlan | None, date]:
    return plans.in_force(seat.home), seat.home.calendar.day_of(seat.now)


def _shown(request: HttpRequest, seat: Seat, template: str, sheet: str, page: object) -> HttpResponse:
    context = {
        "page": page,
        "sheet": sheet,
        "planned": seat.home.plan is not None,
        "person": seat.person,
        "here": "plan",
    }
    return render(request, template, context)


def _day(text: str) -> date | None:
    """The day that an address names; none where it names none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


@require_safe
@taught
@kept_page()
def term(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Are we on time, which weeks are too full, which mornings are taken."""
    plan, today = _standing(seat)
    on = _day(request.GET.get("on", ""))
    found = plan_sheets.term_sheet(seat.home, plan, today, on) if plan is not None else None
    page = None
    if plan is not None and found is not None:
        load = plan_sheets.load(seat.home, plan, today)
        slips = plan_sheets.slips(seat.home, plan, today)
        page = term_view(seat.home, found, load, slips, plan_sheets.terms_planned(seat.home, plan))
    return _shown(request, seat, "term.html", "term", page)


@require_safe
@taught
@kept_page()
def year(request: HttpRequest, seat: Seat) -> HttpResponse:
    """What is done, what is planned when, and how sure each end is."""
    plan, today = _standing(seat)
    found = plan_sheets.year_sheet(seat.home, plan, today) if plan is not None else None
    page = year_view(seat.home, found, today) if found is not None else None
    return _shown(request, seat, "year.html", "year", page)


@require_safe
@taught
@kept_page()
def load(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Which mornings are taken, and when somebody will ask for marking."""
    plan, today = _standing(seat)
    page = load_view(seat.home, plan_sheets.load(seat.home, plan, today)) if plan is not None else None
    return _shown(request, seat, "load.html", "load", page)
