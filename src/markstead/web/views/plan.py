"""Plans on screen: made, mended, looked at, taken or put aside. For educators."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from markstead.errors import MarksteadError, UnknownError
from markstead.records import plans
from markstead.records.plan_asks import LearnerAway
from markstead.records.plans import Effort
from markstead.rules.ruling import Role
from markstead.web import clock, forms
from markstead.web.pages import Said
from markstead.web.plan_page import plan_view
from markstead.web.seat import Seat, seated
from markstead.web.views.acts import said_of
from markstead.web.views.errors import not_allowed


def _shown(
    request: HttpRequest, seat: Seat, number: int | None, said: Said | None = None, status: int = 200
) -> HttpResponse:
    standing = plans.in_force(seat.home)
    page = None
    if number is not None:
        try:
            page = plan_view(seat.home, plans.kept_plan(seat.household, number), standing)
        except UnknownError as error:
            raise Http404 from error
    context = {
        "page": page,
        "said": said,
        "person": seat.person,
        "here": "plan",
        "learners": seat.home.learners,
        "today": seat.home.calendar.day_of(seat.now).isoformat(),
        "posted": dict(said.posted) if said is not None else {},
        "latest": plans.plans(seat.household, limit=8),
    }
    return render(request, "plan.html", context, status=status)


def _plan(request: HttpRequest, seat: Seat, effort: Effort, asks: tuple[plans.Ask, ...] = ()) -> HttpResponse:
    try:
        kept = plans.plan_now(
            seat.household,
            by=seat.person.id,
            now=seat.now,
            clock=clock.real_now,
            effort=effort,
            asks=asks,
        )
    except MarksteadError as error:
        return _shown(request, seat, seat.home.plan, said_of(error, request.POST), 409)
    return redirect("plan-one", number=kept.number)


@require_GET
@seated
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The plan in force."""
    if seat.person.role is not Role.EDUCATOR:
        return not_allowed(request)
    return _shown(request, seat, seat.home.plan)


@require_GET
@seated
def one(request: HttpRequest, seat: Seat, number: int) -> HttpResponse:
    if seat.person.role is not Role.EDUCATOR:
        return not_allowed(request)
    return _shown(request, seat, number)


@require_POST
@seated
def make(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Plan the year from the beginning: some seconds."""
    if seat.person.role is not Role.EDUCATOR:
        return not_allowed(request)
    return _plan(request, seat, Effort.ANEW)


@require_POST
@seated
def again(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Mend the plan from today on."""
    if seat.person.role is not Role.EDUCATOR:
        return not_allowed(request)
    return _plan(request, seat, Effort.MEND)


@require_POST
@seated
def away(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Mend the plan around days on which a learner is away."""
    if seat.person.role is not Role.EDUCATOR:
        return not_allowed(request)
    data = request.POST
    try:
        absent = LearnerAway(
            data.get("learner", ""),
            forms.day(data, "first", "first day"),
            forms.day(data, "last", "last day"),
        )
    except MarksteadError as error:
        return _shown(request, seat, seat.home.plan, said_of(error, data), 409)
    return _plan(request, seat, Effort.MEND, (absent,))


@require_POST
@seated
def take(request: HttpRequest, seat: Seat, number: int) -> HttpResponse:
    """Put a proposed plan in force, with the changes that it was tried with."""
    if seat.person.role is not Role.EDUCATOR:
        return not_allowed(request)
    try:
        plans.take(seat.household, number, now=seat.now)
    except MarksteadError as error:
        return _shown(request, seat, number, said_of(error, request.POST), 409)
    return redirect("today")


@require_POST
@seated
def aside(request: HttpRequest, seat: Seat, number: int) -> HttpResponse:
    """Put a plan aside that is not in force."""
    if seat.person.role is not Role.EDUCATOR:
        return not_allowed(request)
    plans.put_aside(seat.household, number)
    return redirect("plan")
