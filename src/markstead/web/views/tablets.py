"""Tablets of the house, for an educator: open one, say when it closes, take it back."""

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import MarksteadError
from markstead.records import devices, pins
from markstead.speech import counted, say
from markstead.web import clock, forms, tablet_seat
from markstead.web.pages import Said, waiting_words
from markstead.web.seat import Seat
from markstead.web.views.acts import said_of
from markstead.web.views.doors import taught
from markstead.web.way_in import way_in


def _shown(request: HttpRequest, seat: Seat, said: Said | None = None, status: int = 200) -> HttpResponse:
    home = seat.home
    real = clock.real_now()
    with_pin = pins.pins_set(home)
    rows = [
        {
            "id": tablet.id,
            "name": tablet.name,
            "opened": home.calendar.at_home(tablet.opened),
            "by": home.people[tablet.opened_by].name if tablet.opened_by in home.people else say("somebody"),
            "seen": waiting_words(tablet.last_seen, real),
            "minutes": tablet.idle_minutes,
        }
        for tablet in devices.tablets(home)
    ]
    context = {
        "rows": rows,
        "learners": [(p.id, p.name, p.id in with_pin) for p in home.learners],
        "typed": dict(said.posted) if said is not None else {},
        "said": said,
        "person": seat.person,
        "home": home,
        "here": "settings",
        "way": way_in(request),
        "least": devices.LEAST_IDLE,
        "most": devices.MOST_IDLE,
    }
    return render(request, "tablet/tablets.html", context, status=status)


@require_safe
@taught
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    return _shown(request, seat)


@require_POST
@taught
def open_here(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Make this browser a tablet of the learners: whoever is signed in here is signed out."""
    data = request.POST
    try:
        tablet = devices.open_tablet(
            seat.home,
            name=data.get("name", ""),
            by=seat.person.id,
            now=clock.real_now(),
            idle_minutes=forms.whole(data, "minutes", say("minutes")) or 0,
        )
    except MarksteadError as error:
        return _shown(request, seat, said_of(error, data), 409)
    logout(request)
    response = redirect("tablet")
    tablet_seat.give_cookie(response, tablet)
    return response


@require_POST
@taught
def take_back(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Take a tablet back from afar: whoever is on it is out at the next touch."""
    data = request.POST
    try:
        tablet = devices.take_back(
            seat.home, tablet=data.get("tablet", ""), by=seat.person.id, now=clock.real_now()
        )
    except MarksteadError as error:
        return _shown(request, seat, said_of(error, data), 409)
    return _shown(
        request,
        seat,
        Said("done", say("{tablet} is taken back: nobody enters on it any more.", tablet=tablet.name)),
    )


@require_POST
@taught
def set_idle(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Say after how many minutes without a touch a learner's page closes."""
    data = request.POST
    try:
        tablet = devices.set_idle(
            seat.home,
            tablet=data.get("tablet", ""),
            minutes=forms.whole(data, "minutes", say("minutes")) or 0,
            by=seat.person.id,
        )
    except MarksteadError as error:
        return _shown(request, seat, said_of(error, data), 409)
    says = counted(
        tablet.idle_minutes,
        "{tablet} closes after {n} minute.",
        "{tablet} closes after {n} minutes.",
        tablet=tablet.name,
    )
    return _shown(request, seat, Said("done", says))
