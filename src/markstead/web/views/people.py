"""People and their parts. For educators."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError, UnknownError
from markstead.records import people, queries
from markstead.records.home import Somebody
from markstead.speech import later, say
from markstead.web import clock, forms
from markstead.web.people_page import leaving_of, people_page
from markstead.web.seat import Seat
from markstead.web.views.doors import taught

SAID = {
    "added": later("Added"),
    "renamed": later("Changed"),
    "role": later("The part is another now"),
    "left": later("Has left. Everything done stays on the record"),
    "back": later("Is back"),
}


def _shown(request: HttpRequest, seat: Seat, status: int = 200, **more: Any) -> HttpResponse:
    home = queries.home_of(seat.household)
    page = people_page(home, seat.person.id, people.sign_in_names(home), **more)
    context = {"page": page, "person": seat.person, "home": home, "here": "settings", "sheet": "people"}
    return render(request, "people.html", context, status=status)


def _wrong(request: HttpRequest, seat: Seat, error: MarksteadError) -> HttpResponse:
    """The page again, with what was typed."""
    lines = [str(p) for p in error.problems] if isinstance(error, InputError) else [str(error)]
    typed, chosen = request.POST.dict(), request.POST.getlist("courses")
    return _shown(request, seat, 409, typed=typed, chosen=chosen, problems=lines)


def _back(said: str) -> HttpResponse:
    return redirect(f"{reverse('people')}?said={said}")


def _somebody(seat: Seat, person: str) -> Somebody:
    try:
        return seat.home.person(person)
    except UnknownError as error:
        raise Http404 from error


@require_safe
@taught
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Everybody; with `leaves`, what becomes of it when that person leaves."""
    leaving = None
    if wanted := request.GET.get("leaves", ""):
        one = _somebody(seat, wanted)
        names = people.sign_in_names(seat.home)
        leaving = leaving_of(one, people.in_hand(seat.home, one.id), one.id in names)
    return _shown(request, seat, said=say(SAID.get(request.GET.get("said", ""), "")), leaving=leaving)


@require_POST
@taught
def add(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Somebody new; a grown-up gets a password, shown once."""
    data = request.POST
    try:
        year = forms.whole(data, "year", say("school year"), needed=False)
        _, one = people.add(
            seat.household,
            name=data.get("name", ""),
            role=data.get("role", ""),
            year=year,
            courses=data.getlist("courses"),
        )
    except MarksteadError as error:
        return _wrong(request, seat, error)
    if one.role in people.GROWN_UP:
        return _once(request, seat, one.id)
    return _back("added")


@require_POST
@taught
def rename(request: HttpRequest, seat: Seat) -> HttpResponse:
    data = request.POST
    one = _somebody(seat, data.get("person", ""))
    try:
        year = forms.whole(data, "year", say("school year"), needed=False)
        name = data.get("name", "")
        people.rename(seat.household, person=one.id, name=name, year=year, at=seat.now)
    except MarksteadError as error:
        return _wrong(request, seat, error)
    return _back("renamed")


@require_POST
@taught
def role(request: HttpRequest, seat: Seat) -> HttpResponse:
    one = _somebody(seat, request.POST.get("person", ""))
    try:
        people.change_role(
            seat.household, person=one.id, role=request.POST.get("role", ""), by=seat.person.id
        )
    except MarksteadError as error:
        return _wrong(request, seat, error)
    return _back("role")


@require_POST
@taught
def leave(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Somebody leaves; the page that asks for it has said what that changes."""
    one = _somebody(seat, request.POST.get("person", ""))
    try:
        people.let_go(seat.household, person=one.id, by=seat.person.id, at=seat.now)
    except MarksteadError as error:
        return _wrong(request, seat, error)
    return _back("left")


@require_POST
@taught
def come_back(request: HttpRequest, seat: Seat) -> HttpResponse:
    one = _somebody(seat, request.POST.get("person", ""))
    try:
        people.take_back(seat.household, person=one.id, role=request.POST.get("role", ""))
    except MarksteadError as error:
        return _wrong(request, seat, error)
    return _back("back")


@require_POST
@taught
@never_cache
def password(request: HttpRequest, seat: Seat) -> HttpResponse:
    one = _somebody(seat, request.POST.get("person", ""))
    if (
        one.id == seat.person.id
    ):  # one's own is changed by whoever knows it, not by whoever finds this screen open
        return redirect("password")
    return _once(request, seat, one.id)


@never_cache
def _once(request: HttpRequest, seat: Seat, person: str) -> HttpResponse:
    """A new password on the one page that ever shows it."""
    try:
        made = people.new_password(seat.household, person=person, real_now=clock.real_now())
    except MarksteadError as error:
        return _wrong(request, seat, error)
    return _shown(request, seat, shown=made)
