"""Settings: what the authority or the school asks, as a profile of figures. For educators."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from markstead.errors import InputError, MarksteadError, Problem
from markstead.records import required
from markstead.speech import say
from markstead.web.required_page import required_page
from markstead.web.seat import Seat
from markstead.web.views.doors import taught


def _shown(
    request: HttpRequest, seat: Seat, problems: tuple[str, ...] = (), *, saved: bool = False
) -> HttpResponse:
    context = {
        "page": required_page(seat.home, problems=problems, saved=saved),
        "person": seat.person,
        "home": seat.home,
        "here": "settings",
        "sheet": "requirements",
    }
    return render(request, "requirements.html", context, status=409 if problems else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@taught
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The profiles; a POST chooses one of them, or a file of the home's own."""
    if request.method != "POST":
        return _shown(request, seat, saved=request.GET.get("saved") == "yes")
    stamp = request.POST.get("stamp", "")
    file = request.FILES.get("file")
    wanted = request.POST.get("profile", "")
    try:
        if file is not None and file.size:
            if file.size > _MOST:
                raise InputError(
                    [
                        Problem(
                            say("profile"),
                            say("a file of {size} bytes", size=file.size),
                            say("up to {most} bytes", most=_MOST),
                        )
                    ]
                )
            required.choose(seat.household, _text(file.read()), at=seat.now, stamp=stamp)
        elif wanted != "own":  # the home's own stays as it is
            required.choose_shipped(seat.household, wanted, at=seat.now, stamp=stamp)
    except MarksteadError as error:
        return _shown(request, seat, tuple(str(error).splitlines()))
    return redirect(f"{reverse('requirements')}?saved=yes")


_MOST = 64 * 1024


def _text(content: bytes) -> str:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            [Problem(say("profile"), say("a file in another encoding"), say("text in UTF-8"))]
        ) from error
    if not text.strip() or "\0" in text:
        raise InputError(
            [
                Problem(
                    say("profile"),
                    say("no text"),
                    say("the file of a profile, as the reference page shows it"),
                )
            ]
        )
    return text
