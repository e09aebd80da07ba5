"""The record, newest first."""

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from markstead.records import queries
from markstead.web.kept import kept_page
from markstead.web.pages import history_line, shown_notes
from markstead.web.seat import Seat, seated


def _day(text: str, today: date) -> date:
    """The day that is asked for: one that the record can have, else today."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return today
    return day if date(1970, 1, 2) <= day <= today else today


@require_safe
@seated
@kept_page()
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    today = seat.home.calendar.day_of(seat.now)
    day = _day(request.GET.get("day", ""), today)
    notes = shown_notes(queries.history(seat.household, day=day, limit=1000), seat.person)
    context = {
        "lines": [history_line(note, seat.home) for note in notes],
        "labels": queries.copy_labels(seat.household, {n.copy for n in notes if n.copy}),
        "day": day,
        "before": day - timedelta(days=1),
        "after": day + timedelta(days=1) if day < today else None,
        "closed": seat.home.calendar.why_closed(day),
        "person": seat.person,
        "here": "record",
        "facts": queries.head(seat.household),
    }
    return render(request, "record.html", context)
