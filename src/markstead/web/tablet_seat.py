"""Who sits at a shared tablet: a device that an educator opened, and the learner who entered on it.

On such a device every address but those of the tablet is shut, whoever might be signed in besides, until an educator ends
it there or takes it back from afar.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import wraps
from typing import Any

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from markstead.records import devices, pins, queries
from markstead.records.devices import Tablet
from markstead.records.home import Home, Somebody
from markstead.rules.ruling import Role
from markstead.web import clock, tongue
from markstead.web.seat import refuse_nul

COOKIE = settings.TABLET_COOKIE_NAME
ADDRESS = "/tablet/"
_SALT = "markstead.tablet"
_YEARS = 400 * 24 * 60 * 60
"""As long as a browser keeps a cookie at all."""
_KEY = "tablet"
"""Under this the session says who entered, on which tablet, and when it was touched last."""
_ACT = "tablet_act"
WARNED = timedelta(seconds=30)
"""So long before the page closes it asks whether somebody is still there."""
_TOUCHED_EVERY = timedelta(seconds=5)


@dataclass(frozen=True, slots=True)
class LearnerSeat:
    """A learner who entered at a tablet of the house, and the instant."""

    tablet: Tablet
    learner: Somebody
    home: Home
    now: datetime
    """By the clock of the home."""
    real: datetime
    """By the clock of the machine."""

    @property
    def household(self) -> str:
        return self.home.id


View = Callable[..., HttpResponse]


def tablet_of(request: HttpRequest) -> Tablet | None:
    """The tablet that this browser is, if it is opened for learners; asked once for each request."""
    if not hasattr(request, "_markstead_tablet"):
        request._markstead_tablet = _read(request.COOKIES.get(COOKIE))  # type: ignore[attr-defined]
    found: Tablet | None = request._markstead_tablet  # type: ignore[attr-defined]
    return found


def _read(cookie: str | None) -> Tablet | None:
    if not cookie:
        return None
    try:
        name = signing.loads(cookie, salt=_SALT)
    except signing.BadSignature:
        return None
    return devices.find(name) if isinstance(name, str) else None


def give_cookie(response: HttpResponse, tablet: Tablet) -> None:
    """Let the browser know that it is this tablet."""
    response.set_cookie(
        COOKIE,
        signing.dumps(tablet.id, salt=_SALT),
        max_age=_YEARS,
        httponly=True,
        samesite="Lax",
        secure=settings.SECURE,
    )


def take_cookie(response: HttpResponse) -> None:
    response.delete_cookie(COOKIE, samesite="Lax")
    response.cookies[COOKIE]["secure"] = settings.SECURE


class TabletOnly:
    """Middleware: on a tablet of the learners every other address leads back to the tablet, or nowhere."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if COOKIE not in request.COOKIES:
            return self.get_response(request)
        if tablet_of(request) is None:
            response = self.get_response(request)
            if COOKIE not in response.cookies:  # it may have become a tablet with this very answer
                take_cookie(response)
            return response
        if request.path.startswith((ADDRESS, settings.STATIC_URL)):
            return self.get_response(request)
        if request.method in ("GET", "HEAD") and not request.headers.get("HX-Request"):
            return redirect("tablet")
        return render(request, "tablet/shut.html", status=403)


def at_tablet(view: View) -> View:
    """Let in tablets of the house only; hand the view the tablet and its home."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_nul(request)
        tablet = tablet_of(request)
        if tablet is None:
            return _kept_by_nobody(render(request, "tablet/no_tablet.html", status=403))
        devices.seen(tablet, clock.real_now())
        home = queries.home_of(tablet.household)
        tongue.of_home(request, home)
        return _kept_by_nobody(view(request, tablet, home, *args, **kwargs))

    return inner


def as_learner(view: View) -> View:
    """Let in a learner who entered and has not been away too long; hand the view their seat."""
    return _as_learner(view, touches=True)


def as_learner_unseen(view: View) -> View:
    """The same for what a page asks by itself: it is no touch."""
    return _as_learner(view, touches=False)


def _as_learner(view: View, *, touches: bool) -> View:
    @at_tablet
    @wraps(view)
    def inner(request: HttpRequest, tablet: Tablet, home: Home, *args: Any, **kwargs: Any) -> HttpResponse:
        real = clock.real_now()
        learner, left = _entered(request, tablet, home, real)
        if learner is None:
            leave(request)
            return _to_the_door(request, left=left)
        if touches:
            touch(request, real)
        seat = LearnerSeat(tablet, learner, home, clock.now(home), real)
        return view(request, seat, *args, **kwargs)

    return inner


def _entered(
    request: HttpRequest, tablet: Tablet, home: Home, real: datetime
) -> tuple[Somebody | None, bool]:
    """Who has entered; and, where nobody has, whether somebody was there and stayed away too long."""
    kept = request.session.get(_KEY)
    if not isinstance(kept, dict) or kept.get("device") != tablet.id:
        return None, False
    learner = home.people.get(kept.get("learner", ""))
    if learner is None or learner.role is not Role.LEARNER:
        return None, False
    # Another PIN, or none, ends what was entered with the old one.
    pin = pins.pins_set(home, [learner.id]).get(learner.id)
    if pin is None or pin.isoformat() != kept.get("pin"):
        return None, False
    if real - datetime.fromisoformat(kept["touched"]) > tablet.idle:
        return None, True
    return learner, False


def _to_the_door(request: HttpRequest, *, left: bool) -> HttpResponse:
    address = f"{ADDRESS}left/" if left else ADDRESS
    if request.headers.get("HX-Request"):
        response = HttpResponse(status=204)
        response["HX-Redirect"] = address
        return response
    return redirect(address)


def _kept_by_nobody(response: HttpResponse) -> HttpResponse:
    """The next child must not find the page by going back."""
    response["Cache-Control"] = "no-store, private"
    return response


def enter(request: HttpRequest, tablet: Tablet, learner: Somebody, pin: datetime, real: datetime) -> None:
    """A learner enters: whoever was there before is out."""
    request.session.flush()
    request.session[_KEY] = {
        "device": tablet.id,
        "learner": learner.id,
        "pin": pin.isoformat(),
        "touched": real.isoformat(),
    }
    request.session.set_expiry(0)


def touch(request: HttpRequest, real: datetime) -> None:
    """Somebody is there."""
    kept = request.session[_KEY]
    if real - datetime.fromisoformat(kept["touched"]) >= _TOUCHED_EVERY:
        request.session[_KEY] = {**kept, "touched": real.isoformat()}


def leave(request: HttpRequest) -> None:
    """Nobody is there any more. What an educator has open in this browser is another thing and stays."""
    if _KEY in request.session:
        request.session.flush()


def remember_act(
    request: HttpRequest, act: str, says: str, real: datetime, *, copy: str = "", seq: int = 0
) -> None:
    """Keep the learner's latest act, which can be taken back for a short while; `seq` is that of its last fact."""
    request.session[_ACT] = {"act": act, "says": says, "at": real.isoformat(), "copy": copy, "seq": seq}


def latest_act(request: HttpRequest) -> tuple[str, str, datetime] | None:
    """The learner's latest act: its id (empty where it cannot be taken back), what to say of it, and when it was."""
    kept = request.session.get(_ACT)
    if not kept:
        return None
    return kept["act"], kept["says"], datetime.fromisoformat(kept["at"])


def went_on(request: HttpRequest, latest: Mapping[str, int]) -> bool:
    """Whether something came upon the learner's latest act, from the number of each copy's latest fact."""
    kept = request.session.get(_ACT) or {}
    return bool(kept.get("seq")) and latest.get(kept.get("copy", ""), 0) > kept["seq"]
