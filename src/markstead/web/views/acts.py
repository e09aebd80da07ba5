"""One address for every act: read the form, call the action, show what follows."""

import re
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from markstead.errors import InputError, MarksteadError, Problem, StaleError
from markstead.ledger.facts import Step
from markstead.records import actions, queries
from markstead.records.desk import Done, Slip
from markstead.records.words import fact_words
from markstead.rules.ruling import RefusedError, Role
from markstead.speech import counted, say
from markstead.web import forms
from markstead.web.pages import Said, is_to_set, new_token
from markstead.web.seat import Seat, seated
from markstead.web.views.copies import copy_response
from markstead.web.views.errors import not_allowed
from markstead.web.views.today import planned_goals, today_response

Doer = Callable[..., Done]


def _step(data: QueryDict) -> Step:
    text = data.get("step", "")
    try:
        return Step(text)
    except ValueError as error:
        allowed = ", ".join(step.value for step in Step)
        raise InputError(
            [Problem(say("step"), repr(text), say("one of: {allowed}", allowed=allowed))]
        ) from error


def _where(data: QueryDict) -> dict[str, Any]:
    return {"step": _step(data), "stop": data.get("stop") or None}


def _none(_: QueryDict) -> dict[str, Any]:
    return {}


def _goal(data: QueryDict) -> dict[str, Any]:
    first = forms.whole(data, "first", say("first page"), needed=False)
    last = forms.whole(data, "last", say("last page"), needed=False)
    return {"first": first, "last": last if last is not None else first}


def _ready(data: QueryDict) -> bool:
    verdict = data.get("verdict", "")
    if verdict not in {"ready", "not yet"}:
        raise InputError([Problem(say("readiness"), repr(verdict[:40]), say("ready, or not yet"))])
    return verdict == "ready"


def _pages(data: QueryDict) -> dict[str, Any]:
    first = forms.whole(data, "first", say("first page"))
    last = forms.whole(data, "last", say("last page"), needed=False)
    minutes = forms.whole(data, "minutes", say("minutes"), needed=False)
    return {"first": first, "last": last if last is not None else first, "minutes": minutes}


def _quiz(data: QueryDict) -> dict[str, Any]:
    kept = forms.answers(data.getlist("question"), data.getlist("answer"))
    return {"answers": kept, "stop": data.get("stop") or None}


def _unit_score(data: QueryDict) -> dict[str, Any]:
    return {**forms.score(data), "minutes": forms.whole(data, "minutes", say("minutes"), needed=False)}


_ACTS: dict[str, tuple[Doer, Callable[[QueryDict], dict[str, Any]]]] = {
    "receive": (actions.receive_copy, _none),
    "issue": (actions.issue_copy, lambda d: {"learner": d.get("learner", "")}),
    "opening-talk": (actions.hold_opening_talk, _none),
    "goal": (actions.set_goal, _goal),
    "take-over": (actions.take_over, lambda d: {"last": forms.whole(d, "last", say("last page"))}),
    "work": (actions.work_pages, _pages),
    "ask-help": (actions.ask_help, lambda d: {"page": forms.whole(d, "page", say("page"), needed=False)}),
    "help": (
        actions.give_help,
        lambda d: {"minutes": forms.whole(d, "minutes", say("minutes"), needed=False)},
    ),
    "ask-leave": (actions.ask_leave, _where),
    "give-leave": (actions.give_leave, _where),
    "refuse-leave": (actions.refuse_leave, lambda d: {**_where(d), "reason": d.get("reason", "")}),
    "mark": (actions.mark, lambda d: {"stop": d.get("stop", ""), "wrong": forms.wrong_numbers(d)}),
    "correct": (actions.correct, lambda d: {"stop": d.get("stop", "")}),
    "re-mark": (actions.re_mark, lambda d: {"stop": d.get("stop", ""), "wrong": forms.wrong_numbers(d)}),
    "quiz": (actions.hold_oral_quiz, _quiz),
    "open-check": (actions.open_check, lambda d: {"stop": d.get("stop", "")}),
    "open-practice": (actions.open_practice_test, _none),
    "score-practice": (actions.score_practice_test, forms.score),
    "readiness": (actions.decide_readiness, lambda d: {"ready": _ready(d)}),
    "sit": (actions.sit_unit_test, lambda d: {"watcher": d.get("watcher"), "aids": d.getlist("aids")}),
    "score-unit": (actions.score_unit_test, _unit_score),
    "reorder": (actions.reorder_workbook, _none),
    "spoil": (actions.spoil_copy, lambda d: {"reason": d.get("reason", "")}),
}


@require_POST
@seated
def act(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Do one act on a copy."""
    data = request.POST
    slug, copy = data.get("act", ""), data.get("copy", "")
    try:
        if slug not in _ACTS:
            raise InputError(
                [Problem(say("act"), repr(slug), say("one of: {allowed}", allowed=", ".join(_ACTS)))]
            )
        do, read = _ACTS[slug]
        values = read(data)
        seen = forms.whole(data, "seen", say("page"), needed=False)
        slip = Slip(
            act=forms.token(data),
            now=seat.now,
            seen=seen or None,
            override=data.get("override", "").strip() or None,
        )
        done = do(seat.household, copy=copy, by=seat.person.id, at=seat.now, slip=slip, **values)
    except MarksteadError as error:
        return _answer(request, seat, copy, said_of(error, data))
    if not request.headers.get("HX-Request"):
        return _back(done.act, "" if data.get("from") == "today" else copy)
    return _answer(request, seat, copy, recorded(done, seat))


def recorded(done: Done, seat: Seat) -> Said:
    """Tell what was written, with the way back."""
    lines = tuple(fact_words(entry.fact, seat.home) for entry in done.entries)
    title = say("Recorded before; nothing was written twice") if done.again else say("Recorded")
    return Said("done", title, lines, undo=done.act)


def said_of(error: MarksteadError, data: QueryDict) -> Said:
    """Tell what stands in the way, and keep what was entered."""
    posted = tuple((name, value) for name in data for value in data.getlist(name) if name not in _NOT_KEPT)
    if isinstance(error, RefusedError):
        return Said(
            "refused",
            say("Not yet: nothing was recorded"),
            bars=error.ruling.bars,
            overridable=error.ruling.overridable,
            posted=posted,
            token=new_token(),
        )
    if isinstance(error, InputError):
        lines = tuple(str(p) for p in error.problems)
        return Said("mistaken", say("Not understood: nothing was recorded"), lines, posted=posted)
    if isinstance(error, StaleError):
        return Said("mistaken", say("The record has moved on"), (str(error),), posted=posted)
    return Said("mistaken", say("Nothing was recorded"), (str(error),))


_NOT_KEPT = {"csrfmiddlewaretoken", "override", "token"}


def _answer(request: HttpRequest, seat: Seat, copy: str, said: Said) -> HttpResponse:
    # htmx shows answers of 2xx only, and a refusal is an answer; without it the status tells the browser.
    status = 200 if said.tone == "done" or request.headers.get("HX-Request") else 409
    if request.POST.get("from") == "today" or not copy:
        return today_response(request, seat, said, status)
    return copy_response(request, seat, copy, said, status)


@require_POST
@seated
def set_goals(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Set the goals that are planned for today, of one learner or of all."""
    if seat.person.role not in (Role.EDUCATOR, Role.HELPER):
        return not_allowed(request)
    answer = queries.today(seat.household, now=seat.now)
    planned, day = planned_goals(answer), answer.now.date()
    wanted = request.POST.get("learner", "")
    goals = [
        planned[view.id].goal
        for learner in answer.learners
        for view in learner.copies
        if wanted in ("", learner.learner.id) and is_to_set(view, planned.get(view.id), day)
    ]
    if not goals:
        said = Said("done", say("All goals of today are set"))
        return today_response(request, seat, said)
    slip = Slip(act=forms.token(request.POST), now=seat.now)
    try:
        done = actions.set_goals(seat.household, goals=goals, by=seat.person.id, at=seat.now, slip=slip)
    except MarksteadError as error:
        status = 200 if request.headers.get("HX-Request") else 409
        return today_response(request, seat, said_of(error, request.POST), status)
    if not request.headers.get("HX-Request"):
        return _back(done.act, "")
    return today_response(request, seat, recorded(done, seat))


def _back(act: str, copy: str, page: str = "copy") -> HttpResponse:
    """Where a form that the browser sent by itself leads back to; that page tells what was recorded, or taken back."""
    where = reverse(page, args=[copy]) if copy else reverse("today")
    return redirect(f"{where}?act={act}")


def _back_to_papers(request: HttpRequest, act: str) -> HttpResponse | None:
    """Where the undo of a page of papers leads back to; that page tells that the act is taken back."""
    back = request.POST.get("back", "")
    if not re.fullmatch(r"/papers/[\w/-]*", back):
        return None
    if request.headers.get("HX-Request"):
        return HttpResponse(headers={"HX-Redirect": f"{back}?act={act}"})
    return redirect(f"{back}?act={act}")


@require_POST
@seated
def undo(request: HttpRequest, seat: Seat, act_id: str) -> HttpResponse:
    """Take an act back. It can be taken back once, so the same undo sent again finds it done."""
    copy = request.POST.get("copy", "")
    undone = f"undo-{act_id}"[:40]
    back_to_orders = (
        redirect(f"{reverse('orders')}?act={act_id}") if request.POST.get("from") == "orders" else None
    )
    back_to_papers = _back_to_papers(request, act_id)
    if queries.act_exists(seat.household, undone):
        if back_to_papers is not None:
            return back_to_papers
        if back_to_orders is not None:
            return back_to_orders
        return _answer(request, seat, "", Said("done", say("Taken back before; nothing was written twice")))
    try:
        done = actions.undo(
            seat.household,
            act=act_id,
            by=seat.person.id,
            at=seat.now,
            slip=Slip(act=undone, now=seat.now),
        )
    except MarksteadError as error:
        return _answer(request, seat, copy, said_of(error, request.POST))
    if back_to_papers is not None:
        return back_to_papers
    if back_to_orders is not None:
        return back_to_orders  # it tells that the act is taken back
    if copy not in {getattr(entry.fact, "copy", None) for entry in done.entries}:
        copy = ""
    if not request.headers.get("HX-Request"):
        return _back(act_id, copy, "sitting" if request.POST.get("from") == "sittings" else "copy")
    said = Said(
        "done",
        say("Taken back; both stay on the record"),
        (counted(len(done.entries), "{n} fact taken back", "{n} facts taken back"),),
    )
    return _answer(request, seat, copy, said)
