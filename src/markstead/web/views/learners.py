"""A learner's page: for the educator, with the spot check and the review that are recorded from it."""

from datetime import datetime
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem, UnknownError
from markstead.records import actions, estimates, pins, plan_effect, plans, queries
from markstead.records.desk import Slip
from markstead.records.home import Somebody
from markstead.rules.ruling import Role
from markstead.rules.standing import CopyStatus
from markstead.speech import say
from markstead.web import clock, forms
from markstead.web.goal_table import goal_table
from markstead.web.kept import kept_page
from markstead.web.learner_page import learner_view
from markstead.web.pages import Said
from markstead.web.quick_line_page import recorded_before
from markstead.web.seat import Seat
from markstead.web.views.acts import recorded, said_of
from markstead.web.views.doors import taught

MINUTES = 5


def _learner(seat: Seat, learner: str) -> Somebody:
    try:
        found = seat.home.person(learner)
    except UnknownError as error:
        raise Http404 from error
    if found.role is not Role.LEARNER:
        raise Http404
    return found


def _minutes(text: str) -> int:
    """Minutes of review that were asked for: 1 to 60, else the usual ones."""
    plain = text.isascii() and text.isdecimal() and len(text) <= 2
    return int(text) if plain and 1 <= int(text) <= 60 else MINUTES


def _shown(
    request: HttpRequest, seat: Seat, learner: str, minutes: int, said: Said | None = None, status: int = 200
) -> HttpResponse:
    somebody = _learner(seat, learner)
    page = estimates.learner_page(seat.home, somebody, seat.now, minutes)
    copies = queries.copies(seat.household, status=CopyStatus.ISSUED, learner=somebody.id)
    posted = dict(said.posted) if said is not None else {}
    today = seat.home.calendar.day_of(seat.now)
    context = {
        "page": learner_view(page, copies, seat.home, minutes, posted),
        "goals": goal_table(seat.home, plans.in_force(seat.home), somebody, today),
        "typed": posted if "course" in posted else None,
        "said": said,
        "pin": pins.pins_set(seat.home, [somebody.id]).get(somebody.id),
        "person": seat.person,
        "home": seat.home,
        "here": "learner",
    }
    return render(request, "learner.html", context, status=status)


def _pin(seat: Seat, learner: str) -> datetime | str:
    """When the PIN was set: it is not on the record."""
    return pins.pins_set(seat.home, [learner]).get(learner, "none")


@require_safe
@taught
@kept_page(_pin)
def page(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    minutes = _minutes(request.GET.get("minutes", ""))
    return _shown(request, seat, learner, minutes, recorded_before(request, seat))


def learner_response(
    request: HttpRequest, seat: Seat, learner: str, said: Said | None = None, status: int = 200
) -> HttpResponse:
    """The learner's page as the answer to something that was entered on it."""
    return _shown(request, seat, learner, MINUTES, said, status)


@require_POST
@taught
def spot_check(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Record which of the drawn ticks are right; where some are not, the page asks for more."""
    data = request.POST
    _learner(seat, learner)
    try:
        looked = forms.ticks(data)
        done = actions.hold_spot_checks(
            seat.household,
            looked=looked,
            by=seat.person.id,
            at=seat.now,
            slip=Slip(act=forms.token(data), now=seat.now),
        )
    except MarksteadError as error:
        return _shown(request, seat, learner, MINUTES, said_of(error, data), 409)
    return _shown(request, seat, learner, MINUTES, recorded(done, seat))


@require_POST
@taught
def reviewed(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Record one answer of the review as a short oral quiz."""
    data = request.POST
    _learner(seat, learner)
    minutes = _minutes(data.get("minutes", ""))
    try:
        verdict = data.get("do", "")
        if verdict not in ("right", "wrong"):
            raise InputError([Problem(say("answer"), repr(verdict[:40]), say("right or wrong"))])
        question = forms.whole(data, "question", say("question")) or 0
        copy, stop = data.get("copy", ""), data.get("stop", "")
        estimates.check_question(seat.home, copy, stop, question)
        actions.hold_oral_quiz(
            seat.household,
            copy=copy,
            answers=[(question, verdict == "right")],
            stop=stop,
            by=seat.person.id,
            at=seat.now,
            slip=Slip(act=forms.token(data), now=seat.now),
        )
    except MarksteadError as error:
        return _shown(request, seat, learner, minutes, said_of(error, data), 409)
    return redirect(f"{request.path.removesuffix('review')}?minutes={minutes}")


def _typed_goal(data: QueryDict) -> dict[str, Any]:
    """A goal as it was typed: of which course, for which day, up to which page, with which test.

    Raises:
        InputError: a day or a page that is none.
    """
    return {
        "course": data.get("course", ""),
        "day": forms.day(data, "day", say("day")),
        "last": forms.whole(data, "last", say("last page"), needed=False),
        "tests": data.get("tests", ""),
    }


@require_POST
@taught
def goal_effect(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Tell what a goal set by hand would change, while it is typed; nothing is written."""
    data = request.POST
    somebody = _learner(seat, learner)
    try:
        lines = plan_effect.effect(
            seat.home,
            learner=somebody.id,
            **_typed_goal(data),
        )
    except InputError as error:
        lines = tuple(map(str, error.problems))
    return render(request, "parts/goal_effect.html", {"lines": lines})


@require_POST
@taught
def goal_by_hand(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Plan around a goal that is set by hand; what follows is shown before it is taken."""
    data = request.POST
    somebody = _learner(seat, learner)
    try:
        goals = plans.by_hand(
            seat.home,
            learner=somebody.id,
            **_typed_goal(data),
        )
        kept = plans.plan_now(
            seat.household, by=seat.person.id, now=seat.now, clock=clock.real_now, by_hand=goals
        )
    except MarksteadError as error:
        return _shown(request, seat, learner, MINUTES, said_of(error, data), 409)
    return redirect("plan-one", number=kept.number)


@require_POST
@taught
def set_pin(request: HttpRequest, seat: Seat, learner: str) -> HttpResponse:
    """Give a learner a PIN for the tablet, or take it away."""
    data = request.POST
    somebody = _learner(seat, learner)
    try:
        if data.get("do") == "take away":
            pins.take_pin_away(seat.home, learner=somebody.id, by=seat.person.id)
            said = Said("done", say("{learner} has no PIN any more and cannot enter.", learner=somebody.name))
        else:
            pins.set_pin(
                seat.home,
                learner=somebody.id,
                pin=data.get("pin", "").strip(),
                by=seat.person.id,
                now=clock.real_now(),
            )
            said = Said("done", say("{learner} enters with the new PIN from now on.", learner=somebody.name))
    except MarksteadError as error:
        return _shown(request, seat, learner, MINUTES, said_of(error, data), 409)
    return _shown(request, seat, learner, MINUTES, said)
