"""The copy page, the list of copies, and ordering."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError, UnknownError
from markstead.records import actions, estimates, queries, quizzes
from markstead.records.desk import Slip
from markstead.rules.ruling import Role, stop_words
from markstead.rules.standing import CopyStatus
from markstead.speech import say
from markstead.web import forms
from markstead.web.copy_estimates import copy_estimates
from markstead.web.kept import kept_page
from markstead.web.pages import Said, copy_page_view, copy_rows, new_token
from markstead.web.quick_line_page import recorded_before
from markstead.web.seat import Seat, seated


def copy_response(
    request: HttpRequest, seat: Seat, copy: str, said: Said | None = None, status: int = 200
) -> HttpResponse:
    """The copy page, or with htmx only its inside."""
    try:
        answer = queries.copy_page(seat.household, copy, now=seat.now, by=seat.person.id)
    except UnknownError as error:
        raise Http404 from error
    refusal = answer.copy.standing.refusal
    words = queries.words(seat.household, refusal.reason) if refusal is not None else None
    whole = not request.headers.get("HX-Request")
    found = None
    if seat.person.role is Role.EDUCATOR and answer.copy.standing.unit is None:
        found = estimates.close(answer.home, copy)
    context = {
        "page": copy_page_view(answer, seat.person, words, said),
        "est": copy_estimates(found, answer.home, found.learner) if found is not None else None,
        "under_way": [
            (q.id, stop_words(q.stop) if q.stop else say("the whole workbook"), len(q.answers))
            for q in (
                quizzes.under_way(seat.household, copy=copy) if seat.person.role is Role.EDUCATOR else ()
            )
        ],
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "copies",
    }
    return render(request, "copy.html" if whole else "parts/copy_body.html", context, status=status)


def _under_way(seat: Seat, copy: str) -> tuple[quizzes.UnderWay, ...]:
    return quizzes.under_way(seat.household, copy=copy)


@require_safe
@seated
@kept_page(_under_way)
def page(request: HttpRequest, seat: Seat, copy: str) -> HttpResponse:
    return copy_response(request, seat, copy, recorded_before(request, seat))


def _listing(request: HttpRequest, seat: Seat, said: Said | None = None, status: int = 200) -> HttpResponse:
    wanted = request.GET.get("status", CopyStatus.ISSUED)
    chosen = wanted if wanted in {s.value for s in CopyStatus} else CopyStatus.ISSUED
    found = queries.copies(seat.household, status=CopyStatus(chosen))
    learners = [(p, [(c, seat.home.programme.course(c)) for c in p.courses]) for p in seat.home.learners]
    context = {
        "rows": copy_rows(found, seat.home, seat.home.calendar.day_of(seat.now)),
        "chosen": chosen,
        "statuses": [s.value for s in CopyStatus if s is not CopyStatus.UNKNOWN],
        "learners": learners,
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "copies",
        "token": new_token(),
    }
    return render(request, "copies.html", context, status=status)


@require_safe
@seated
@kept_page()
def listing(request: HttpRequest, seat: Seat) -> HttpResponse:
    return _listing(request, seat)


@require_POST
@seated
def order(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Order a copy of a workbook for a learner."""
    try:
        workbook = request.POST.get("workbook", "").strip()
        slip = Slip(act=forms.token(request.POST), now=seat.now)
        learner = request.POST.get("learner") or None
        done = actions.order_copy(
            seat.household, workbook=workbook, learner=learner, by=seat.person.id, at=seat.now, slip=slip
        )
    except MarksteadError as error:
        lines = tuple(str(p) for p in error.problems) if isinstance(error, InputError) else (str(error),)
        said = Said("mistaken", say("Nothing was ordered"), lines)
        return _listing(request, seat, said, 409)
    ordered = next((getattr(e.fact, "copy", None) for e in done.entries), None)
    if request.POST.get("from") == "today":
        return redirect("today")
    return redirect("copy", copy=ordered) if ordered else redirect("copies")
