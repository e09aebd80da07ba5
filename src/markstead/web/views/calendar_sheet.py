"""The calendar painted on a year sheet. For educators. What a change does is shown first, then it is saved."""

from collections.abc import Callable
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem, StaleError
from markstead.records import house_calendar, house_rules
from markstead.records.house_calendar import Colour, Paint, Tried
from markstead.speech import say
from markstead.web import forms
from markstead.web.calendar_page import what_words, year_sheet
from markstead.web.kept import kept_page
from markstead.web.seat import Seat
from markstead.web.views.doors import taught

Reader = Callable[[Seat, QueryDict], tuple[Tried, str]]


def _shown(request: HttpRequest, seat: Seat, status: int = 200, **more: Any) -> HttpResponse:
    page = year_sheet(
        seat.home,
        seat.home.calendar.day_of(seat.now),
        versions=house_rules.versions(seat.household, "calendar"),
        **more,
    )
    context = {
        "page": page,
        "person": seat.person,
        "home": seat.home,
        "here": "settings",
        "sheet": "calendar",
    }
    return render(request, "calendar.html", context, status=status)


def _asked_day(text: str) -> date | None:
    try:
        found = date.fromisoformat(text) if len(text) == 10 else None
    except ValueError:
        return None
    return found if found is not None and 1971 <= found.year <= 2200 else None


def _chosen(first: date | None, last: date | None) -> tuple[date, date] | None:
    if first is None:
        return None
    return (first, last) if last is not None and last >= first else (first, first)


@require_safe
@taught
@kept_page()
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The sheet; `first` and `last` are days that were tapped."""
    first, last = (_asked_day(request.GET.get(name, "")) for name in ("first", "last"))
    start = _asked_day(request.GET.get("from", ""))
    if start is None and first is not None:
        start = house_calendar.school_year(seat.home.calendar, first)[0]
    saved = request.GET.get("saved") == "yes"
    return _shown(request, seat, start=start, chosen=_chosen(first, last), saved=saved)


def _start(data: QueryDict) -> date | None:
    return _asked_day(data.get("from", ""))


def _change(request: HttpRequest, seat: Seat, read: Reader) -> HttpResponse:
    """Look at a change, or save it where it was looked at."""
    data = request.POST
    first, last = (_asked_day(data.get(name, "")) for name in ("first", "last"))
    kept: dict[str, Any] = {
        "start": _start(data),
        "chosen": _chosen(first, last),
        "typed": data.dict(),
        "lists": {name: data.getlist(name) for name in ("weekdays", "half_weekdays") if "week" in data},
    }
    try:
        tried, what = read(seat, data)
    except InputError as error:
        return _shown(request, seat, 409, problems=[str(p) for p in error.problems], **kept)
    except MarksteadError as error:
        return _shown(request, seat, 409, problems=[str(error)], **kept)
    if not tried.changed:
        return _shown(request, seat, problems=[say("Nothing is different from what holds already.")], **kept)
    problems: list[str] = []
    if data.get("sure") == "yes":
        try:
            house_calendar.set_calendar(seat.household, tried, stamp=data.get("stamp", ""), at=seat.now)
        except StaleError as error:
            problems = [str(error)]
        else:
            start = f"&from={kept['start'].isoformat()}" if kept["start"] else ""
            return redirect(f"{reverse('calendar')}?saved=yes{start}")
    effect = house_calendar.effect(seat.home, tried.calendar, seat.home.calendar.day_of(seat.now))
    sent = [
        (name, value)
        for name in data
        for value in data.getlist(name)
        if name not in ("csrfmiddlewaretoken", "sure", "stamp")
    ]
    status = 409 if problems else 200
    return _shown(request, seat, status, effect=effect, what=what, sent=sent, problems=problems, **kept)


def _read_paint(seat: Seat, data: QueryDict) -> tuple[Tried, str]:
    text = data.get("colour", "")
    if text not in list(Colour):
        raise InputError(
            [
                Problem(
                    say("what the days are"),
                    repr(text[:40]),
                    say("one of: {allowed}", allowed=", ".join(Colour)),
                )
            ]
        )
    colour = Colour(text)
    first = forms.day(data, "first", say("first day"))
    last = forms.day(data, "last", say("last day")) if data.get("last", "").strip() else first
    who = ""
    if colour is Colour.ABSENCE:
        who = data.get("learner", "")
    elif colour is Colour.AWAY:
        who = data.get("educator", "")
    words = data.get("words", "") if colour in (Colour.HOLIDAY, Colour.ABSENCE) else ""
    tried = house_calendar.try_paint(seat.home, Paint(colour, first, last, who, words))
    name = seat.home.person(who).name if who else ""
    return tried, what_words(colour, first, last, name, " ".join(words.split()))


@require_POST
@taught
def paint(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Some days are to be something else."""
    return _change(request, seat, _read_paint)


def _read_terms(seat: Seat, data: QueryDict) -> tuple[Tried, str]:
    rows = []
    for n in range(40):
        parts = [data.get(f"term.{n}.{part}", "").strip() for part in ("name", "first", "last")]
        if any(parts):
            rows.append(dict(zip(("name", "first", "last"), parts, strict=True)))
    return house_calendar.try_file(seat.home, term=rows), say("Other terms")


@require_POST
@taught
def terms(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The terms anew."""
    return _change(request, seat, _read_terms)


def _read_week(seat: Seat, data: QueryDict) -> tuple[Tried, str]:
    tried = house_calendar.try_file(
        seat.home,
        weekdays=data.getlist("weekdays"),
        half_weekdays=data.getlist("half_weekdays"),
        public_holidays=data.get("public") == "yes",
        half_day_ends=data.get("half_day_ends", "").strip(),
        country=data.get("country", "").strip().upper(),
        region=data.get("region", "").strip() or None,
    )
    return tried, say("Another week")


@require_POST
@taught
def week(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Weekdays, half days of the week, and public holidays."""
    return _change(request, seat, _read_week)
