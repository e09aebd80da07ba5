"""Orders on screen: what to order when, an order or a parcel recorded in one act, and the order sheet. For educators."""

from dataclasses import replace
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem
from markstead.records import order_papers, ordering, queries
from markstead.records.desk import Done, Slip
from markstead.records.offers import set_offers
from markstead.records.order_papers import OrderSheet
from markstead.records.typeset import usual_paper
from markstead.speech import say
from markstead.web import forms
from markstead.web.kept import kept_page
from markstead.web.orders_page import Typed, done_words, orders_view, read_lines, read_offers
from markstead.web.pages import Said
from markstead.web.seat import Seat
from markstead.web.views.acts import said_of
from markstead.web.views.doors import taught


def _today(seat: Seat) -> date:
    return seat.home.calendar.day_of(seat.now)


def _shown(
    request: HttpRequest,
    seat: Seat,
    said: Said | None = None,
    *,
    typed: Typed | None = None,
    status: int = 200,
) -> HttpResponse:
    # A look at the orders is also what keeps the calls of today's page.
    reading = ordering.look(seat.home, _today(seat))
    context = {
        "page": orders_view(seat.home, reading, typed),
        "said": said,
        "person": seat.person,
        "here": "orders",
    }
    whole = not request.headers.get("HX-Request")
    return render(request, "orders.html" if whole else "parts/orders_body.html", context, status=status)


@require_safe
@taught
@kept_page()
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """What to order when; after an act, what it wrote and the way back."""
    return _shown(request, seat, _said_of_act(request, seat))


def _said_of_act(request: HttpRequest, seat: Seat) -> Said | None:
    act = request.GET.get("act", "")
    entries = queries.act_entries(seat.household, act) if act else ()
    if not entries:
        return None
    if queries.act_exists(seat.household, undo_of(act)):
        return Said("done", say("Taken back; both stay on the record"))
    copies = {copy for entry in entries if (copy := getattr(entry.fact, "copy", None))}
    lines = done_words(seat.home, entries, queries.workbooks_of(seat.household, copies))
    return Said("done", say("Recorded"), lines, undo=act)


def undo_of(act: str) -> str:
    """The id of the act that takes another back."""
    return f"undo-{act}"[:40]


def _done(done: Done) -> HttpResponse:
    return redirect(f"{reverse('orders')}?act={done.act}")


def _refused(request: HttpRequest, seat: Seat, error: MarksteadError) -> HttpResponse:
    """Say what stands in the way; what was typed stands in the form again."""
    said = replace(said_of(error, request.POST), overridable=False)
    return _shown(request, seat, said, typed=Typed.of(request.POST), status=409)


@require_POST
@taught
def place(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Record the ticked lines of an order as ordered, in one act."""
    data = request.POST
    try:
        lines = read_lines(data.getlist("line"))
        expected = forms.day(data, "expected", say("expected")) if data.get("expected", "").strip() else None
        slip = Slip(act=forms.token(data), now=seat.now)
        by = seat.person.id
        done = ordering.place_copies(seat.household, lines, by=by, at=seat.now, expected=expected, slip=slip)
    except MarksteadError as error:
        return _refused(request, seat, error)
    return _done(done)


@require_POST
@taught
def offers(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Enter supplier and price of the workbooks that could not be planned."""
    try:
        given = read_offers(request.POST, seat.home)
        set_offers(seat.household, given, stamp=seat.home.stamp, at=seat.now)
    except MarksteadError as error:
        return _refused(request, seat, error)
    return redirect("orders")


@require_POST
@taught
def receive(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Book in the ticked copies of a parcel, in one act."""
    try:
        slip = Slip(act=forms.token(request.POST), now=seat.now)
        copies = request.POST.getlist("copies")
        done = ordering.receive_all(seat.household, copies, by=seat.person.id, at=seat.now, slip=slip)
    except MarksteadError as error:
        return _refused(request, seat, error)
    return _done(done)


# --- the order sheet ----------------------------------------------------------------------------------------------


@require_safe
@taught
def sheet(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The sheet of a planned order, or of what was ordered on a day, as PDF or CSV."""
    kind = request.GET.get("kind", "pdf")
    try:
        if kind not in order_papers.KINDS:
            raise InputError(
                [
                    Problem(
                        say("sheet"),
                        repr(kind[:20]),
                        say("one of {allowed}", allowed=", ".join(order_papers.KINDS)),
                    )
                ]
            )
        found = _sheet(request, seat)
        paper = request.GET.get("paper") or usual_paper(seat.home)
        if kind == "csv":
            content = order_papers.as_csv(found)
        else:
            content = order_papers.as_pdf(found, paper, for_whom=request.GET.get("whose") == "yes")
    except MarksteadError as error:
        return _shown(request, seat, said_of(error, request.GET), status=409)
    answer = HttpResponse(content, content_type=order_papers.KINDS[kind])
    how = "attachment" if kind == "csv" else "inline"
    answer["Content-Disposition"] = f'{how}; filename="{order_papers.file_name(found, kind)}"'
    return answer


def _sheet(request: HttpRequest, seat: Seat) -> OrderSheet:
    supplier, today = request.GET.get("supplier", ""), _today(seat)
    if request.GET.get("ordered"):
        ordered = forms.day(request.GET, "ordered", say("day of the order"))
        return order_papers.sheet_of_parcel(seat.home, supplier, ordered, today)
    by = forms.day(request.GET, "by", say("day of the order")) if request.GET.get("by") else None
    return order_papers.sheet_of(ordering.reading_now(seat.home, today), seat.home, supplier, by=by)
