"""Placements on screen: which short test next, its score, and the result taken or not. For educators."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from markstead.errors import InputError, MarksteadError, Problem, UnknownError
from markstead.records import placements
from markstead.records.openings import Opening, Where
from markstead.records.placements import PlacementNow
from markstead.speech import say
from markstead.web import forms
from markstead.web.pages import Said
from markstead.web.placement_page import courses_to_place, placement_view
from markstead.web.seat import Seat
from markstead.web.views.acts import said_of
from markstead.web.views.doors import taught


@require_safe
@taught
def listing(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Every course in which a learner has not begun."""
    context = {"to_place": courses_to_place(seat.home), "person": seat.person, "here": "placement"}
    return render(request, "placements.html", context)


def _find(seat: Seat, learner: str, course: str) -> PlacementNow:
    try:
        return placements.find(seat.home, learner, course)
    except (UnknownError, InputError) as error:
        raise Http404 from error


@require_http_methods(["GET", "HEAD", "POST"])
@taught
def page(request: HttpRequest, seat: Seat, learner: str, course: str) -> HttpResponse:
    """The placement of a learner in a course; a POST enters a test, strikes one, says a guess, or takes the result."""
    now = _find(seat, learner, course)
    said: Said | None = None
    status = 200
    if request.method == "POST":
        try:
            _act(request, seat, now)
            return redirect(request.path)
        except MarksteadError as error:
            said, status = said_of(error, request.POST), 409
            now = _find(seat, learner, course)
    context = {
        "page": placement_view(now),
        "typed": request.POST if said is not None else {},
        "said": said,
        "ways": [
            (str(Where.HAND), say("In hand: being worked")),
            (str(Where.HERE), say("Lies here, not begun")),
            (str(Where.ORDERED), say("Ordered, on its way")),
        ],
        "person": seat.person,
        "here": "placement",
    }
    return render(request, "placement.html", context, status=status)


def _act(request: HttpRequest, seat: Seat, now: PlacementNow) -> None:
    data, at = request.POST, seat.now
    seen = forms.whole(data, "seen", say("form")) or 0
    match data.get("do"):
        case "enter":
            book = _need(forms.whole(data, "workbook", say("workbook")))
            right = _need(forms.whole(data, "right", say("right answers")))
            asked = _need(forms.whole(data, "asked", say("questions asked")))
            placements.answer(now, workbook=book, right=right, asked=asked, seen=seen, at=at)
        case "strike":
            placements.take_back(now, seen=seen, at=at)
        case "guess":
            placements.guess(now, forms.whole(data, "guess", say("workbook"), needed=False), at=at)
        case "take":
            where = data.get("where", "")
            if where not in (Where.HAND, Where.HERE, Where.ORDERED):
                raise InputError([Problem(say("how it stands"), repr(where[:40]), say("one of the three"))])
            page = forms.whole(data, "page", say("last page done"), needed=False) or 0
            opening = Opening(now.learner.id, now.course.id, Where(where), data.get("book", ""), page)
            placements.take(now, opening, by=seat.person.id, at=at)
        case other:
            raise InputError(
                [Problem(say("form"), repr((other or "")[:40]), say("the form as it was shown"))]
            )


def _need(number: int | None) -> int:
    return -1 if number is None else number
