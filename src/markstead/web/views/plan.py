"""Plans on screen: made, mended, tried with changes, looked at, taken or put aside. For educators."""

from collections.abc import Callable, Sequence

from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem, UnknownError
from markstead.records import plan_asks, plans
from markstead.records.plan_asks import Ask
from markstead.records.plans import Effort, KeptPlan, State
from markstead.speech import say
from markstead.web import clock, working
from markstead.web.kept import kept_page
from markstead.web.pages import Said
from markstead.web.plan_page import plan_row, plan_view
from markstead.web.seat import Seat
from markstead.web.views.acts import said_of
from markstead.web.views.doors import taught
from markstead.web.whatif_page import read_ask, read_kept, whatif_view

View = Callable[..., HttpResponse]


# --- looking at plans ---------------------------------------------------------------------------------------------


def _kept(seat: Seat, number: int) -> KeptPlan:
    working.look_after(seat.household)
    try:
        return plans.kept_plan(seat.household, number)
    except UnknownError as error:
        raise Http404 from error


def _one(
    request: HttpRequest, seat: Seat, number: int, said: Said | None = None, status: int = 200
) -> HttpResponse:
    kept = _kept(seat, number)
    context = {
        "page": plan_view(seat.home, kept, plans.in_force(seat.home)),
        "planned": seat.home.plan is not None,
        "said": said,
        "person": seat.person,
        "here": "plan",
        "sheet": "one",
    }
    # While it is being worked out the page asks again for its middle part only.
    part = bool(request.headers.get("HX-Request")) and request.method == "GET"
    return render(request, "parts/proposal_body.html" if part else "proposal.html", context, status=status)


def _listing(request: HttpRequest, seat: Seat, said: Said | None = None, status: int = 200) -> HttpResponse:
    working.look_after(seat.household)
    standing = plans.in_force(seat.home)
    context = {
        "page": plan_view(seat.home, standing, standing) if standing is not None else None,
        "known": standing is None or plans.knows(seat.home, standing),
        "latest": [plan_row(seat.home, line) for line in plans.plans(seat.household, limit=12)],
        "said": said,
        "person": seat.person,
        "here": "plan",
    }
    return render(request, "plan.html", context, status=status)


def _settled(seat: Seat, **_: object) -> tuple[tuple[int, State], ...] | None:
    """How every plan stands; None while one is being worked out, for then its page tells how far it is."""
    working.look_after(seat.household)
    found = plans.states(seat.household)
    return None if any(state is State.WORKING for _, state in found) else found


@require_safe
@taught
@kept_page(_settled)
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The plan in force, and the latest plans."""
    return _listing(request, seat)


@require_safe
@taught
@kept_page(_settled)
def one(request: HttpRequest, seat: Seat, number: int) -> HttpResponse:
    """One plan: being worked out, proposed, in force, or what became of it."""
    return _one(request, seat, number)


# --- making them --------------------------------------------------------------------------------------------------


def _ask(seat: Seat, effort: Effort, asks: Sequence[Ask] = ()) -> int:
    """Ask for a plan and have it worked out: at once where a plan is mended, else beside the server.

    A plan that is being worked out for the same wish already is not asked for again.
    """
    working.look_after(seat.household)
    begun = plans.at_work(seat.household, effort, asks)
    if begun is not None:
        return begun
    number = plans.ask(
        seat.household,
        by=seat.person.id,
        now=seat.now,
        real_now=clock.real_now(),
        effort=effort,
        asks=asks,
    )
    if effort is Effort.MEND and seat.home.plan is not None:
        plans.work_out(seat.household, number, clock.real_now)
    else:
        working.begin(seat.household, number)
    return number


def _make(request: HttpRequest, seat: Seat, effort: Effort) -> HttpResponse:
    try:
        number = _ask(seat, effort)
    except MarksteadError as error:
        return _listing(request, seat, said_of(error, request.POST), 409)
    return redirect("plan-one", number=number)


@require_POST
@taught
def make(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Plan the year from the beginning, in a process of its own: some seconds, or minutes where that is asked for."""
    return _make(request, seat, Effort.LONG if "long" in request.POST else Effort.ANEW)


@require_POST
@taught
def again(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Mend the plan from today on."""
    return _make(request, seat, Effort.MEND if seat.home.plan is not None else Effort.ANEW)


@require_POST
@taught
def stop(_: HttpRequest, seat: Seat, number: int) -> HttpResponse:
    """Stop working a plan out; the best plan so far is then proposed."""
    _kept(seat, number)
    plans.stop(seat.household, number)
    return redirect("plan-one", number=number)


@require_POST
@taught
def take(request: HttpRequest, seat: Seat, number: int) -> HttpResponse:
    """Put a proposed plan in force, with the changes that it was tried with."""
    kept = _kept(seat, number)
    # Today's page shows the goals of today; where the first are of a later day, the sheet of the term shows them.
    there = "today" if kept.problem.days[0] <= seat.home.calendar.day_of(seat.now) else "term"
    if kept.state is State.IN_FORCE:  # sent twice
        return redirect(there)
    try:
        plans.take(seat.household, number, now=seat.now)
    except MarksteadError as error:
        return _one(request, seat, number, said_of(error, request.POST), 409)
    return redirect(there)


@require_POST
@taught
def aside(_: HttpRequest, seat: Seat, number: int) -> HttpResponse:
    """Put a plan aside that is not in force."""
    _kept(seat, number)
    plans.put_aside(seat.household, number)
    return redirect("plan")


# --- what if ------------------------------------------------------------------------------------------------------


def problems_of(error: MarksteadError) -> tuple[str, ...]:
    """What is wrong, a sentence for each problem."""
    return tuple(map(str, error.problems)) if isinstance(error, InputError) else (str(error),)


def _whatif(
    request: HttpRequest,
    seat: Seat,
    asks: Sequence[Ask],
    typed: QueryDict | None = None,
    error: MarksteadError | None = None,
    *,
    anew: bool = False,
) -> HttpResponse:
    problems = problems_of(error) if error is not None else ()
    today = seat.home.calendar.day_of(seat.now)
    context = {
        "page": whatif_view(seat.home, asks, today, typed=typed, problems=problems, anew=anew),
        "person": seat.person,
        "here": "plan",
        "sheet": "whatif",
    }
    return render(request, "whatif.html", context, status=409 if error is not None else 200)


def _sent(seat: Seat, texts: Sequence[str]) -> tuple[Ask, ...]:
    """The changes of the try so far, each of which can be."""
    asks = read_kept(texts, seat.home)
    plan_asks.changed(seat.home, asks, seat.home.calendar.day_of(seat.now))
    return asks


@require_http_methods(["GET", "HEAD", "POST"])
@taught
@kept_page(_settled)
def whatif(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Collect changes and try them; the plan in force stays."""
    if request.method == "POST":
        return _tried(request, seat, request.POST)
    typed = None
    away = request.GET.get("away", "")
    if away:
        typed = QueryDict(mutable=True)
        found = next((p for p in seat.home.learners if away in (p.id, p.key)), None)
        typed.update({"kind": "away", "learner": found.key if found is not None else ""})
    try:
        return _whatif(request, seat, _sent(seat, request.GET.getlist("kept")), typed)
    except MarksteadError as error:
        return _whatif(request, seat, (), None, error)


def _tried(request: HttpRequest, seat: Seat, data: QueryDict) -> HttpResponse:
    do, anew = data.get("do", "try"), data.get("anew") == "yes"
    try:
        asks = _sent(seat, data.getlist("kept"))
    except MarksteadError as error:
        return _whatif(request, seat, (), None, error, anew=anew)
    if do.startswith("drop-"):
        place = do.removeprefix("drop-")
        left = [ask for n, ask in enumerate(asks) if str(n) != place]
        return _whatif(request, seat, left, anew=anew)
    typed = data if data.get("kind") else None
    try:
        both = asks if typed is None else (*asks, read_ask(data, seat.home))
        if not both:
            raise InputError([Problem(say("changes"), say("none"), say("at least one to try"))])
        plan_asks.changed(seat.home, both, seat.home.calendar.day_of(seat.now))
        if do == "add":
            return _whatif(request, seat, both, anew=anew)
        number = _ask(seat, Effort.ANEW if anew else Effort.MEND, both)
    except MarksteadError as error:
        return _whatif(request, seat, asks, typed, error, anew=anew)
    return redirect("plan-one", number=number)


@require_POST
@taught
def away(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Mend the plan around days on which a learner is away."""
    data = request.POST.copy()
    data.update({"kind": "away", "do": "try"})
    return _tried(request, seat, data)
