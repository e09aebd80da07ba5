"""A whole day written from paper."""

from collections.abc import Mapping
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError
from markstead.records import paper_day
from markstead.records.desk import Slip
from markstead.records.paper_day import DayDone, Try
from markstead.speech import say
from markstead.web import forms
from markstead.web.day_page import DayPage, day_page, problems, reached, read_day
from markstead.web.kept import kept_page
from markstead.web.pages import Said
from markstead.web.quick_line_page import may_write, recorded_before
from markstead.web.seat import Seat, seated
from markstead.web.views.acts import recorded
from markstead.web.views.errors import not_allowed


def _today(seat: Seat) -> date:
    return seat.home.calendar.day_of(seat.now)


def _show(
    request: HttpRequest, seat: Seat, page: DayPage, said: Said | None, status: int = 200
) -> HttpResponse:
    context = {"page": page, "said": said, "person": seat.person, "home": seat.home, "here": "today"}
    return render(request, "day.html", context, status=status)


def _wanted(seat: Seat, data: Mapping[str, str]) -> date:
    """The day that is meant, up to today.

    Raises:
        InputError: it is none, or it is to come.
    """
    return forms.day(data, "day", say("day")) if data.get("day", "").strip() else _today(seat)


@require_safe
@seated
@kept_page()
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    if not may_write(seat.person):
        return not_allowed(request)
    said = recorded_before(request, seat)
    try:
        day = min(_wanted(seat, request.GET), _today(seat))
    except InputError as error:
        day, said = _today(seat), Said("mistaken", say("That is no day"), (str(error),))
    held = paper_day.held_copies(seat.home)
    saved = request.GET.get("quick", "") if said is not None and said.tone == "done" else ""
    return _show(request, seat, day_page(seat.home, held, day, _today(seat), {}, saved=saved), said)


@require_POST
@seated
def save(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Record the day, or show it again with everything that was typed."""
    if not may_write(seat.person):
        return not_allowed(request)
    data, today = request.POST, _today(seat)
    held = paper_day.held_copies(seat.home, reached(data))
    try:
        day = _wanted(seat, data)
    except InputError as error:
        shown = day_page(seat.home, held, today, today, data)
        said = Said("mistaken", say("That is no day: nothing was recorded"), (str(error),))
        return _show(request, seat, shown, said, 409)
    entry, faults = read_day(data, held, day)
    if faults:
        shown = day_page(seat.home, held, day, today, data, faults)
        said = Said("mistaken", say("Not understood: nothing was recorded"), problems(faults, shown))
        return _show(request, seat, shown, said, 409)
    try:
        if data.get("do") == "look":
            tries = paper_day.look_at_day(seat.household, entry, by=seat.person.id, now=seat.now)
            shown = day_page(seat.home, held, day, today, data, tries=tries, looked=True)
            return _show(request, seat, shown, None)
        done = paper_day.record_day(
            seat.household,
            entry,
            by=seat.person.id,
            now=seat.now,
            slip=Slip(act=forms.token(data), now=seat.now),
            partly=data.get("do") == "partly",
        )
    except MarksteadError as error:
        shown = day_page(seat.home, held, min(day, today), today, data)
        lines = tuple(str(error).splitlines())
        return _show(request, seat, shown, Said("mistaken", say("Nothing was recorded"), lines), 409)
    return _answer(request, seat, day, done, data)


def _answer(
    request: HttpRequest, seat: Seat, day: date, done: DayDone, data: Mapping[str, str]
) -> HttpResponse:
    """The empty grid after a day that was recorded, or the rows that were refused."""
    today = _today(seat)
    held = paper_day.held_copies(seat.home, reached(data))
    if done.done is not None and not done.refused:
        return redirect(f"{reverse('day')}?day={day.isoformat()}&quick={done.done.act}")
    tries = [Try(refused.where, refused.who, refused=refused) for refused in done.refused]
    if done.done is None:
        shown = day_page(seat.home, held, day, today, data, tries=tries)
        return _show(request, seat, shown, None, 409)
    kept = {refused.where for refused in done.refused}
    gone = frozenset({one.copy for one in held} | {p.id for p in seat.home.learners}) - kept
    shown = day_page(seat.home, held, day, today, data, tries=tries, recorded=gone, saved=done.done.act)
    return _show(request, seat, shown, recorded(done.done, seat))
