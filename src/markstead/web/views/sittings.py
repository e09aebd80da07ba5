"""The test-day page, and one sitting from its beginning to what follows."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem, UnknownError
from markstead.records import actions, sittings
from markstead.records.desk import Done, Slip
from markstead.speech import say
from markstead.web import forms
from markstead.web.kept import kept_page
from markstead.web.pages import Said
from markstead.web.quick_line_page import recorded_before
from markstead.web.seat import Seat, seated
from markstead.web.sittings_page import may_act, sitting_page, sittings_page
from markstead.web.views.acts import recorded, said_of

SAID = "sittings-said"
"""What was recorded last, told once on the page that follows."""
ENDED = "sittings-ended"
"""Of this sitting at the screen: when papers were taken in that are not marked yet, by copy."""


def _context(seat: Seat, said: Said | None) -> dict[str, Any]:
    return {
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "sittings",
        "acting": may_act(seat.person.role),
    }


def _day(
    request: HttpRequest,
    seat: Seat,
    said: Said | None = None,
    posted: Sequence[tuple[str, str]] = (),
    status: int = 200,
) -> HttpResponse:
    found = sittings.morning(seat.household, now=seat.now)
    context = {"page": sittings_page(found, seat.person.id, posted), **_context(seat, said)}
    return render(request, "sittings.html", context, status=status)


@require_safe
@seated
@kept_page()
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    return _day(request, seat)


def _ended(request: HttpRequest, copy: str) -> datetime | None:
    kept = request.session.get(ENDED, {}).get(copy)
    return datetime.fromisoformat(kept) if isinstance(kept, str) else None


def _one(
    request: HttpRequest,
    seat: Seat,
    copy: str,
    said: Said | None = None,
    posted: Sequence[tuple[str, str]] = (),
    status: int = 200,
) -> HttpResponse:
    try:
        found = sittings.sitting_of(seat.household, copy, now=seat.now)
    except UnknownError as error:
        raise Http404 from error
    page = sitting_page(found, seat.person.id, ended=_ended(request, copy), posted=posted)
    return render(request, "sitting.html", {"page": page, **_context(seat, said)}, status=status)


@require_safe
@seated
def one(request: HttpRequest, seat: Seat, copy: str) -> HttpResponse:
    kept = request.session.pop(SAID, None)
    said = recorded_before(request, seat)
    if isinstance(kept, list) and kept[0] == copy:
        said = Said("done", kept[1], tuple(kept[2]), undo=kept[3])
    return _one(request, seat, copy, said)


def _slip(request: HttpRequest, seat: Seat) -> Slip:
    seen = forms.whole(request.POST, "seen", say("page"), needed=False)
    return Slip(
        act=forms.token(request.POST),
        now=seat.now,
        seen=seen or None,
        override=request.POST.get("override", "").strip() or None,
    )


def _posted(data: QueryDict) -> tuple[tuple[str, str], ...]:
    return tuple((name, value) for name in data for value in data.getlist(name))


@require_POST
@seated
def begin(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The learner sits down: aids, watcher, now."""
    data = request.POST
    copy = data.get("copy", "")
    try:
        actions.sit_unit_test(
            seat.household,
            copy=copy,
            watcher=data.get("watcher"),
            aids=data.getlist("aids"),
            by=seat.person.id,
            at=seat.now,
            slip=_slip(request, seat),
        )
    except MarksteadError as error:
        return _day(request, seat, said_of(error, data), _posted(data), 409)
    return redirect("sitting", copy=copy)


@require_POST
@seated
def end(request: HttpRequest, seat: Seat, copy: str) -> HttpResponse:
    """The paper is taken in. That is kept at this screen, and goes on the record with the marking."""
    ends = dict(request.session.get(ENDED, {}))
    if request.POST.get("do") == "go on":
        ends.pop(copy, None)
    else:
        ends.setdefault(copy, seat.now.isoformat())
    request.session[ENDED] = ends
    return redirect("sitting", copy=copy)


def _score(data: QueryDict) -> dict[str, Any]:
    """What was marked: the numbers that were tapped, everything right, or a total."""
    how = data.get("how", "")
    tapped = forms.numbers(" ".join(data.getlist("q")), say("questions wrong")) if data.getlist("q") else ()
    minutes = forms.whole(data, "minutes", say("minutes"), needed=False)
    if how == "all right":
        if tapped:
            found = say("both 'All right' and {n} tapped", n=len(tapped))
            raise InputError(
                [
                    Problem(
                        say("questions wrong"),
                        found,
                        say("one of the two: take the taps back, or record them"),
                    )
                ]
            )
        return {"wrong": (), "minutes": minutes}
    if how == "tapped":
        if not tapped:
            allowed = say("the numbers of the wrong answers tapped, or the button 'All right'")
            raise InputError([Problem(say("questions wrong"), say("nothing"), allowed)])
        return {"wrong": tapped, "minutes": minutes}
    if how == "total":
        if tapped:
            found = say("a total and {n} tapped", n=len(tapped))
            raise InputError(
                [
                    Problem(
                        say("right answers"), found, say("one of the two: take the taps back, or record them")
                    )
                ]
            )
        return {"right": forms.whole(data, "right", say("right answers")), "minutes": minutes}
    raise InputError([Problem(say("marking"), repr(how[:40]), say("the form as it was shown"))])


@require_POST
@seated
def mark(request: HttpRequest, seat: Seat, copy: str) -> HttpResponse:
    """The educator marks the test."""
    data = request.POST
    try:
        values = _score(data)
        done = actions.score_unit_test(
            seat.household, copy=copy, by=seat.person.id, at=seat.now, slip=_slip(request, seat), **values
        )
    except UnknownError as error:
        raise Http404 from error
    except MarksteadError as error:
        return _one(request, seat, copy, said_of(error, data), _posted(data), 409)
    return _done(request, seat, copy, done)


def _done(request: HttpRequest, seat: Seat, copy: str, done: Done) -> HttpResponse:
    ends = dict(request.session.get(ENDED, {}))
    if ends.pop(copy, None) is not None:
        request.session[ENDED] = ends
    said = recorded(done, seat)
    # The one-way door of a marked test is shown with its way back, and a reload does not send it again.
    request.session[SAID] = [copy, said.title, list(said.lines), done.act]
    return redirect("sitting", copy=copy)


@require_POST
@seated
def follow(request: HttpRequest, seat: Seat, copy: str) -> HttpResponse:
    """What follows a marked test: the next workbook, or a new copy."""
    data = request.POST
    slip, by, at = _slip(request, seat), seat.person.id, seat.now
    try:
        learner = sittings.sitting_of(seat.household, copy, now=at).sat.standing.learner or ""
        other = data.get("other", "")
        do = data.get("do", "")
        if do == "reorder":
            done = actions.reorder_workbook(seat.household, copy=copy, by=by, at=at, slip=slip)
        elif do == "issue":
            done = actions.issue_copy(seat.household, copy=other, learner=learner, by=by, at=at, slip=slip)
        elif do == "order":
            done = actions.order_copy(
                seat.household, workbook=other, learner=learner, by=by, at=at, slip=slip
            )
        elif do == "open-practice":
            done = actions.open_practice_test(seat.household, copy=copy, by=by, at=at, slip=slip)
        else:
            allowed = say("one of: reorder, issue, order, open-practice")
            raise InputError([Problem(say("what follows"), repr(do[:40]), allowed)])
    except UnknownError as error:
        raise Http404 from error
    except MarksteadError as error:
        return _one(request, seat, copy, said_of(error, QueryDict()), status=409)
    return _done(request, seat, copy, done)
