"""The pages of a shared tablet: the door, and what a learner sees and does behind it."""

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from django.contrib.auth import authenticate, login
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem, StaleError, UnknownError
from markstead.ledger.facts import Step
from markstead.records import actions, devices, passwords, pins, queries
from markstead.records.desk import Done, Slip
from markstead.records.devices import Tablet
from markstead.records.home import Home, Somebody
from markstead.records.queries import CopyView, Today
from markstead.rules.bars import BarKind
from markstead.rules.ruling import RefusedError, Role
from markstead.speech import counted, day_words, say
from markstead.web import clock, forms, tablet_seat
from markstead.web.pages import new_token
from markstead.web.tablet_page import MyPage, age_class, marking_form, my_page, pages_form, road_of
from markstead.web.tablet_seat import LearnerSeat, as_learner, as_learner_unseen, at_tablet
from markstead.web.tablet_words import bar_words, done_words, problem_words, teacher_words
from markstead.web.views.today import planned_goals

# --- the door -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Name:
    """A learner at the door."""

    id: str
    name: str
    has_pin: bool


@require_safe
def door(request: HttpRequest) -> HttpResponse:
    """The names of the learners; a browser that is no tablet of the house is told how it becomes one."""
    tablet = tablet_seat.tablet_of(request)
    if tablet is None:
        return render(request, "tablet/no_tablet.html")
    tablet_seat.leave(request)
    return _door(request, tablet)


def _door(request: HttpRequest, tablet: Tablet, *, left: bool = False) -> HttpResponse:
    home = queries.home_of(tablet.household)
    now = clock.now(home)
    devices.seen(tablet, clock.real_now())
    with_pin = pins.pins_set(home)
    names = [Name(p.id, p.name, p.id in with_pin) for p in home.learners]
    context = {
        "home": home.name,
        "names": names,
        "day": day_words(home.calendar.day_of(now)),
        "teacher": teacher_words(home),
        "left": left,
    }
    response = render(request, "tablet/door.html", context)
    response["Cache-Control"] = "no-store, private"
    tablet_seat.give_cookie(response, tablet)  # a browser keeps no cookie for ever: it is given anew
    return response


@require_safe
def left(request: HttpRequest) -> HttpResponse:
    """Nobody touched the page for long: it is closed, and the door says so."""
    tablet = tablet_seat.tablet_of(request)
    if tablet is None:
        return render(request, "tablet/no_tablet.html")
    tablet_seat.leave(request)
    return _door(request, tablet, left=True)


def _learner(home: Home, learner: str) -> Somebody:
    found = home.people.get(learner)
    if found is None or found.role is not Role.LEARNER:
        raise Http404
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@at_tablet
def pin(request: HttpRequest, tablet: Tablet, home: Home, learner: str) -> HttpResponse:
    """Type the PIN of the name that was tapped."""
    who = _learner(home, learner)
    tablet_seat.leave(request)
    teacher = teacher_words(home)
    says, status = "", 200
    real = clock.real_now()
    when = pins.pins_set(home, [who.id]).get(who.id)
    if request.method == "POST":
        found = pins.try_pin(home, learner=who.id, pin=request.POST.get("pin", "").strip(), now=real)
        if found.right and when is not None:
            tablet_seat.enter(request, tablet, who, when, real)
            return redirect("tablet-me")
        says, status = _not_in(found, who, teacher, clock.real_now())
    context = {
        "name": who.name,
        "learner": who.id,
        "age": age_class(who.year),
        "says": says,
        "teacher": teacher,
        "has_pin": when is not None,
        "longest": pins.LONGEST,
        "shortest": pins.SHORTEST,
    }
    return render(request, "tablet/pin.html", context, status=status)


def _not_in(found: pins.Try, who: Somebody, teacher: str, real: Any) -> tuple[str, int]:
    """Why somebody does not get in, and the status of the answer."""
    if found.until is not None:
        minutes = max(1, -int(-(found.until - real).total_seconds() // 60))
        says = counted(
            minutes,
            "The PIN was wrong {tries} times. Wait {n} minute, or ask {teacher}.",
            "The PIN was wrong {tries} times. Wait {n} minutes, or ask {teacher}.",
            tries=pins.MOST_TRIES,
            teacher=teacher,
        )
        return says, 429
    if found.no_pin:
        return say(
            "There is no PIN for {learner} yet. {teacher} sets one.", learner=who.name, teacher=teacher
        ), 403
    says = counted(
        found.left,
        "That is not {learner}'s PIN. Look, and type it again: {n} try is left.",
        "That is not {learner}'s PIN. Look, and type it again: {n} tries are left.",
        learner=who.name,
    )
    return says, 403


@require_http_methods(["GET", "HEAD", "POST"])
@at_tablet
def end(request: HttpRequest, tablet: Tablet, home: Home) -> HttpResponse:
    """An educator ends the learners' tablet on this browser, by name and password, and is signed in here."""
    tablet_seat.leave(request)
    says, status = "", 200
    if request.method == "POST":
        user = authenticate(
            request, username=request.POST.get("username", ""), password=request.POST.get("password", "")
        )
        if user is None or passwords.is_over(passwords.made_at(user.pk), clock.real_now()):
            says, status = say("That name and password do not belong together. Try once more."), 403
        else:
            opened = queries.opened_by(user.pk)
            if opened is not None and opened[0].home.id == home.id and opened[1].role is Role.EDUCATOR:
                devices.take_back(home, tablet=tablet.id, by=opened[1].id, now=clock.real_now())
                login(request, user)
                response = redirect("today")
                tablet_seat.take_cookie(response)
                return response
            says, status = say("Only an educator of this home ends it."), 403
    return render(request, "tablet/end.html", {"says": says, "tablet": tablet.name}, status=status)


# --- a learner's own page -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why something was not written down: what shuts the gate and what opens it, or what cannot be read."""

    bars: tuple[tuple[str, str], ...] = ()
    lines: tuple[str, ...] = ()


def _today(seat: LearnerSeat) -> Today:
    return queries.today(seat.household, now=seat.now)


def _my_page(request: HttpRequest, seat: LearnerSeat, wanted: str) -> MyPage:
    answer = _today(seat)
    # Once somebody has answered it, an act is neither news nor to be taken back.
    latest = {view.id: view.standing.last_seq for day in answer.learners for view in day.copies}
    done = None if tablet_seat.went_on(request, latest) else tablet_seat.latest_act(request)
    page = my_page(
        answer,
        seat.learner,
        planned_goals(answer),
        wanted=wanted,
        done=done,
        real=seat.real,
    )
    if page.step is None or not page.step.sent_back:
        return page
    words = queries.words(seat.household, page.step.sent_back) or ""
    return replace(page, step=replace(page.step, sent_back=words))


def _stamp(page: MyPage) -> str:
    """Changes with everything that the page shows."""
    return f"{zlib.crc32(repr(page).encode()):x}"


def _show(
    request: HttpRequest, seat: LearnerSeat, body: str, context: dict[str, Any], status: int = 200
) -> HttpResponse:
    """A page of the learner; for htmx its inside alone, which is shown whatever the status would have been."""
    partial = bool(request.headers.get("HX-Request"))
    idle = seat.tablet.idle
    given = {
        "body": f"tablet/{body}.html",
        "partial": partial,
        "name": seat.learner.name,
        "who": seat.learner.key,
        "age": age_class(seat.learner.year),
        "teacher": teacher_words(seat.home),
        "idle": int(idle.total_seconds()),
        "warn": int((idle - tablet_seat.WARNED).total_seconds()),
        "token": new_token(),
        **context,
    }
    if partial:
        return HttpResponse(render_to_string("tablet/part.html", given, request))
    return render(request, "tablet/page.html", given, status=status)


def _me(
    request: HttpRequest,
    seat: LearnerSeat,
    *,
    wanted: str = "",
    trouble: Trouble | None = None,
    news: str = "",
    status: int = 200,
) -> HttpResponse:
    page = _my_page(request, seat, wanted)
    context = {
        "page": page,
        "wanted": wanted if page.step is not None and page.step.copy == wanted else "",
        "stamp": _stamp(page),
        "trouble": trouble,
        "news": news,
        "title": seat.learner.name,
    }
    return _show(request, seat, "me_body", context, status)


@require_safe
@as_learner
def me(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:
    return _me(request, seat, wanted=request.GET.get("copy", ""))


@require_safe
@as_learner_unseen
def look(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:
    """Asked every few seconds: the inside of the page where anything on it has changed, else nothing."""
    wanted = request.GET.get("copy", "")
    page = _my_page(request, seat, wanted)
    if request.GET.get("seen") == _stamp(page):
        return HttpResponse(status=204)
    return _me(request, seat, wanted=wanted, news=page.step.says if page.step is not None else "")


@require_POST
@as_learner
def here(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:  # noqa: ARG001  # that it came is all
    """Somebody has touched the page."""
    return HttpResponse(status=204)


@require_safe
@as_learner_unseen
def still(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:
    """Where the browser runs no script: is somebody still there?"""
    return render(
        request,
        "tablet/still.html",
        {"age": age_class(seat.learner.year), "seconds": int(tablet_seat.WARNED.total_seconds())},
    )


@require_POST
def done(request: HttpRequest) -> HttpResponse:
    """The learner is done and goes."""
    tablet_seat.leave(request)
    return redirect("tablet")


@require_safe
@as_learner
def road(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:
    """Where the learner is in the workbooks and in the year."""
    passed = queries.passed_by(seat.home, [seat.learner.id]).get(seat.learner.id, set())
    found = road_of(_today(seat), seat.learner, passed)
    return _show(request, seat, "road_body", {"road": found, "title": say("My road")})


# --- what is entered ------------------------------------------------------------------------------------------


def _own(seat: LearnerSeat, copy: str) -> tuple[CopyView, tuple[CopyView, ...]]:
    """A copy that the learner has in hand, and all of these."""
    mine = next(day.copies for day in _today(seat).learners if day.learner.id == seat.learner.id)
    found = next((view for view in mine if view.id == copy), None)
    if found is None:
        raise Http404
    return found, mine


def _day(seat: LearnerSeat) -> Any:
    return seat.home.calendar.day_of(seat.now)


@require_safe
@as_learner
def pages(request: HttpRequest, seat: LearnerSeat, copy: str) -> HttpResponse:
    return _pages(request, seat, copy)


def _pages(
    request: HttpRequest, seat: LearnerSeat, copy: str, trouble: Trouble | None = None, status: int = 200
) -> HttpResponse:
    view, _ = _own(seat, copy)
    context = {
        "form": pages_form(view, seat.home, _day(seat)),
        "typed": request.POST if trouble is not None else None,
        "trouble": trouble,
        "title": say("Pages"),
    }
    return _show(request, seat, "pages_body", context, status)


@require_safe
@as_learner
def ask_help(request: HttpRequest, seat: LearnerSeat, copy: str) -> HttpResponse:
    return _ask_help(request, seat, copy)


def _ask_help(
    request: HttpRequest, seat: LearnerSeat, copy: str, trouble: Trouble | None = None, status: int = 200
) -> HttpResponse:
    view, mine = _own(seat, copy)
    context = {
        "copy": view.id,
        "books": [
            (v.id, v.workbook.title, seat.home.programme.course(v.workbook.course).title) for v in mine
        ],
        "page_number": request.POST.get("page", "")
        if trouble is not None
        else pages_form(view, seat.home, _day(seat)).first,
        "trouble": trouble,
        "title": say("Help"),
    }
    return _show(request, seat, "help_body", context, status)


@require_safe
@as_learner
def marking(request: HttpRequest, seat: LearnerSeat, copy: str, stop: str) -> HttpResponse:
    return _marking(request, seat, copy, stop)


def _marking(
    request: HttpRequest,
    seat: LearnerSeat,
    copy: str,
    stop: str,
    trouble: Trouble | None = None,
    status: int = 200,
) -> HttpResponse:
    view, _ = _own(seat, copy)
    form = marking_form(view, seat.home, _day(seat), stop)
    if form is None:  # the leave is used up, or was never given: the learner's page says what comes next
        return _me(request, seat, wanted=copy, trouble=trouble, status=status)
    context = {
        "form": form,
        "ticked": {int(n) for n in request.POST.getlist("wrong") if n.isascii() and n.isdecimal()},
        "trouble": trouble,
        "title": form.says,
    }
    return _show(request, seat, "marking_body", context, status)


def _wrong(data: QueryDict) -> tuple[int, ...]:
    """The questions that were tapped; that none is wrong has to be said, not left open."""
    found = forms.numbers(" ".join(data.getlist("wrong")), say("wrong questions"))
    if data.get("verdict") == "all right":
        if found:
            raise InputError(
                [Problem(say("wrong questions"), say("some tapped, and 'All right'"), say("one of the two"))]
            )
        return ()
    if not found:
        allowed = say("the questions that are wrong; or tap 'All right'")
        raise InputError([Problem(say("wrong questions"), say("nothing tapped"), allowed)])
    return found


def _step(data: QueryDict) -> Step:
    try:
        return Step(data.get("step", ""))
    except ValueError as error:
        allowed = say("a step that the page offers")
        raise InputError([Problem(say("step"), repr(data.get("step", "")[:40]), allowed)]) from error


def _asked(data: QueryDict) -> dict[str, Any]:
    return {"step": _step(data), "stop": data.get("stop") or None}


def _worked(data: QueryDict) -> dict[str, Any]:
    first = forms.whole(data, "first", say("from page"))
    last = forms.whole(data, "last", say("to page"), needed=False)
    minutes = forms.whole(data, "minutes", say("minutes"), needed=False)
    return {"first": first, "last": last if last is not None else first, "minutes": minutes}


def _marked(data: QueryDict) -> dict[str, Any]:
    return {"stop": data.get("stop", ""), "wrong": _wrong(data)}


_ACTS: dict[str, tuple[Callable[..., Done], Callable[[QueryDict], dict[str, Any]]]] = {
    "work": (actions.work_pages, _worked),
    "ask-help": (actions.ask_help, lambda d: {"page": forms.whole(d, "page", say("page"), needed=False)}),
    "ask": (actions.ask_leave, _asked),
    "mark": (actions.mark, _marked),
    "correct": (actions.correct, lambda d: {"stop": d.get("stop", "")}),
    "re-mark": (actions.re_mark, _marked),
    "score": (actions.score_practice_test, lambda d: {"wrong": _wrong(d)}),
}
"""Everything that a learner does at a tablet."""


@require_POST
@as_learner
def act(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:
    """Do one act as the learner."""
    data = request.POST
    slug, copy = data.get("act", ""), data.get("copy", "")
    try:
        if slug not in _ACTS:
            raise InputError([Problem(say("act"), repr(slug[:40]), say("something that the page offers"))])
        do, read = _ACTS[slug]
        seen = forms.whole(data, "seen", say("page"), needed=False)
        slip = Slip(act=forms.token(data), now=seat.now, seen=seen or None)
        written = do(seat.household, copy=copy, by=seat.learner.id, at=seat.now, slip=slip, **read(data))
    except MarksteadError as error:
        return _refused(request, seat, _trouble(error, seat))
    says = (
        done_words(written.entries[-1].fact, teacher_words(seat.home))
        if written.entries
        else say("Written down.")
    )
    if not written.again:
        seq = written.entries[-1].seq if written.entries else 0
        tablet_seat.remember_act(request, written.act, says, seat.real, copy=copy, seq=seq)
    return _after(request, seat)


def _after(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:
    """After something was written down: the learner's page."""
    if not request.headers.get("HX-Request"):
        return redirect("tablet-me")
    response = _me(request, seat)
    response["HX-Push-Url"] = reverse("tablet-me")
    return response


def _trouble(error: MarksteadError, seat: LearnerSeat) -> Trouble:
    teacher = teacher_words(seat.home)
    if isinstance(error, RefusedError):
        theirs = [bar for bar in error.ruling.bars if bar.kind is BarKind.NOT_THIS_LEARNER]
        # What else bars it tells how far another learner is.
        return Trouble(bars=tuple(bar_words(bar, teacher) for bar in theirs or error.ruling.bars))
    if isinstance(error, InputError):
        return Trouble(lines=problem_words(error))
    if isinstance(error, StaleError):
        return Trouble(lines=(say("Something new came in just now. Look, then tap once more."),))
    return Trouble(lines=(say("It did not work. Ask {teacher}.", teacher=teacher),))


def _refused(request: HttpRequest, seat: LearnerSeat, trouble: Trouble) -> HttpResponse:
    """Show the form again with what was typed; where it is not the learner's, the learner's own page."""
    data = request.POST
    copy, back = data.get("copy", ""), data.get("from", "")
    try:
        if back == "pages":
            return _pages(request, seat, copy, trouble, 409)
        if back == "help":
            return _ask_help(request, seat, copy, trouble, 409)
        if back == "marking":
            return _marking(request, seat, copy, data.get("stop", ""), trouble, 409)
    except (Http404, UnknownError):
        pass
    return _me(request, seat, wanted=copy, trouble=trouble, status=409)


@require_POST
@as_learner
def undo(request: HttpRequest, seat: LearnerSeat) -> HttpResponse:
    """Take back the learner's own latest act, for a short while."""
    kept = tablet_seat.latest_act(request)
    act_id = kept[0] if kept is not None else ""
    if not act_id:
        return _after(request, seat)
    try:
        actions.undo(
            seat.household,
            act=act_id,
            by=seat.learner.id,
            at=seat.now,
            slip=Slip(act=f"undo-{act_id}"[:40], now=seat.now),
        )
    except MarksteadError as error:
        trouble = _trouble(error, seat)
        if isinstance(error, RefusedError) and any(
            bar.kind is BarKind.ONLY_EDUCATOR for bar in error.ruling.bars
        ):
            teacher = teacher_words(seat.home)
            trouble = Trouble(
                bars=((say("It is too late to take it back here."), say("Ask {teacher}.", teacher=teacher)),)
            )
        return _me(request, seat, trouble=trouble, status=409)
    tablet_seat.remember_act(request, "", say("Taken back."), seat.real)
    return _after(request, seat)
