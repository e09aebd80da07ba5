"""Sheets for the printer, photographs of them from a telephone or a scanner, and confirming what was read."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem
from markstead.paper.pictures import ALLOWED, MOST_BYTES
from markstead.records import photographs, printing
from markstead.records.paper_day import DayDone, Refused
from markstead.records.photographs import Outlook, SheetRead, Taken
from markstead.records.typeset import usual_paper
from markstead.speech import counted, say
from markstead.web import forms
from markstead.web.pages import Said
from markstead.web.paper_page import Settled, as_read, confirm_page, paper_page, settled, taken_lines
from markstead.web.quick_line_page import may_write, recorded_before
from markstead.web.seat import Seat, View, seated
from markstead.web.views.acts import recorded, said_of
from markstead.web.views.errors import not_allowed

MOST_FILES = 12
"""Pictures sent at a time: what a family photographs in one evening, and no more than some seconds of reading."""


def _writing(view: View) -> View:
    """Let in the grown-ups of a home only; hand the view their seat."""

    @seated
    @wraps(view)
    def inner(request: HttpRequest, seat: Seat, *args: Any, **kwargs: Any) -> HttpResponse:
        return view(request, seat, *args, **kwargs) if may_write(seat.person) else not_allowed(request)

    return inner


def _shown(
    request: HttpRequest,
    seat: Seat,
    said: Said | None = None,
    status: int = 200,
    refused: tuple[Refused, ...] = (),
) -> HttpResponse:
    context = {
        "page": paper_page(
            seat.home,
            seat.home.calendar.day_of(seat.now),
            photographs.waiting(seat.household),
            photographs.printed(seat.household),
            learner=request.GET.get("learner", ""),
            paper=usual_paper(seat.home),
        ),
        "said": said,
        "refused": refused,
        "person": seat.person,
        "home": seat.home,
        "here": "today",
    }
    return render(request, "paper.html", context, status=status)


@require_safe
@_writing
def page(request: HttpRequest, seat: Seat) -> HttpResponse:
    """What is printed, what waits, and where a picture is sent."""
    return _shown(request, seat, recorded_before(request, seat))


@require_POST
@_writing
def print_out(request: HttpRequest, seat: Seat) -> HttpResponse:
    """The sheets that are asked for, as a PDF to be printed."""
    data = request.POST
    try:
        day = forms.day(data, "day", say("day")) if data.get("day") else seat.home.calendar.day_of(seat.now)
        done = printing.print_sheets(
            seat.household,
            day=day,
            by=seat.person.id,
            now=seat.now,
            kinds=data.getlist("kind") or ("day", "sitting"),
            learner=data.get("learner") or None,
            paper=data.get("paper") or None,
        )
    except MarksteadError as error:
        return _shown(request, seat, said_of(error, data), 409)
    answer = HttpResponse(done.content, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{done.name}"'
    return answer


# --- pictures -------------------------------------------------------------------------------------------------


@require_POST
@_writing
def take(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Read the pictures that were sent; what was read waits to be confirmed."""
    taken: list[Taken] = []
    faults: list[str] = []
    try:
        files = request.FILES.getlist("picture")
        if not 1 <= len(files) <= MOST_FILES:
            found = say("{n} pictures", n=len(files)) if files else say("no picture")
            raise InputError(
                [
                    Problem(
                        say("pictures"),
                        found,
                        say(
                            "1 to {most} at a time, each {allowed}",
                            most=MOST_FILES,
                            allowed=say(ALLOWED),
                        ),
                    )
                ]
            )
        for file in files:
            try:
                taken.append(_take(seat, file, request.POST.get("typed", "")))
            except InputError as error:
                faults += [str(problem) for problem in error.problems]
    except MarksteadError as error:
        return _shown(request, seat, said_of(error, request.POST), 409)
    sheets = list(dict.fromkeys(page.sheet for one in taken for page in one.pages))
    refused = any(one.refusals for one in taken) or bool(faults)
    if len(sheets) == 1 and not refused:
        return redirect("paper-sheet", sheet=sheets[0])
    lines = (*taken_lines(taken), *faults)
    if sheets:
        return _shown(request, seat, Said("done", say("Read; look at what waits below"), lines))
    return _shown(request, seat, Said("mistaken", say("No sheet was read: nothing was recorded"), lines), 409)


def _take(seat: Seat, file: Any, typed: str) -> Taken:
    name = "".join(c for c in (file.name or "picture") if c.isprintable())[-60:] or "picture"
    if file.size > MOST_BYTES:
        found = say("{size:.0f} megabytes", size=file.size / 1e6)
        raise InputError([Problem(name, found, say(ALLOWED), say("Take it with a lower resolution."))])
    return photographs.take_in(
        seat.household, name, file.read(), by=seat.person.id, now=seat.now, typed=typed[:40]
    )


# --- one sheet ------------------------------------------------------------------------------------------------

Looker = Callable[[HttpRequest, Seat, SheetRead], HttpResponse]


def _waiting(view: Looker) -> View:
    """Find the sheet that waits; where none does, say so on the page of sheets."""

    @_writing
    @wraps(view)
    def inner(request: HttpRequest, seat: Seat, sheet: str) -> HttpResponse:
        try:
            read = photographs.sheet_read(seat.household, sheet)
        except InputError as error:
            return _shown(request, seat, said_of(error, request.POST), 404)
        return view(request, seat, read)

    return inner


def _look(seat: Seat, read: SheetRead, said: Settled) -> Outlook:
    return photographs.look(
        seat.household, read.id, said.marked, by=seat.person.id, now=seat.now, begins=said.begins
    )


def _confirm(
    request: HttpRequest,
    seat: Seat,
    read: SheetRead,
    settling: Settled,
    said: Said | None = None,
    status: int = 200,
    template: str = "paper_sheet.html",
) -> HttpResponse:
    try:
        outlook = _look(seat, read, settling)
    except InputError as error:
        outlook = Outlook((), (), (), empty=False)
        said = said or said_of(error, request.POST)
    context = {
        "page": confirm_page(read, settling, outlook),
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "today",
    }
    return render(request, template, context, status=status)


@require_safe
@_waiting
def one(request: HttpRequest, seat: Seat, read: SheetRead) -> HttpResponse:
    """A sheet that waits: the picture's strips beside what was understood."""
    return _confirm(request, seat, read, as_read(read))


@require_POST
@_waiting
def look(request: HttpRequest, seat: Seat, read: SheetRead) -> HttpResponse:
    """Tell what would be recorded, while boxes are answered; nothing is written."""
    try:
        said = settled(read, request.POST)
    except InputError as error:
        return _confirm(
            request,
            seat,
            read,
            as_read(read),
            said_of(error, request.POST),
            template="parts/paper_would.html",
        )
    return _confirm(request, seat, read, said, template="parts/paper_would.html")


@require_POST
@_writing
def record(request: HttpRequest, seat: Seat, sheet: str) -> HttpResponse:
    """Record the sheet as it was confirmed, or show it again with every answer kept."""
    try:
        read = photographs.sheet_read(seat.household, sheet)
    except InputError:
        return _again(request, seat, sheet)
    try:
        said = settled(read, request.POST)
    except InputError as error:
        return _confirm(request, seat, read, as_read(read), said_of(error, request.POST), 409)
    if said.open or said.missing:
        lines = (
            *(
                [counted(said.open, "{n} box waits for your answer.", "{n} boxes wait for your answer.")]
                if said.open
                else ()
            ),
            *(
                say("Page {page} is missing: send its picture, or say that nothing stands on it.", page=page)
                for page in said.missing
            ),
        )
        return _confirm(
            request, seat, read, said, Said("mistaken", say("Not yet: nothing was recorded"), lines), 409
        )
    try:
        done = photographs.record(
            seat.household,
            sheet,
            said.marked,
            by=seat.person.id,
            now=seat.now,
            begins=said.begins,
            partly=request.POST.get("do") == "partly",
            keep=said.keep,
        )
    except MarksteadError as error:
        return _confirm(request, seat, read, said, said_of(error, request.POST), 409)
    return _answer(request, seat, read, said, done)


def _again(request: HttpRequest, seat: Seat, sheet: str) -> HttpResponse:
    """The same form sent once more, after the sheet was recorded: nothing is written, and what was written is shown."""
    try:
        done = photographs.record(seat.household, sheet, frozenset(), by=seat.person.id, now=seat.now)
    except InputError as error:
        return _shown(request, seat, said_of(error, request.POST), 404)
    return _shown(request, seat, recorded(done.done, seat) if done.done is not None else None)


def _answer(request: HttpRequest, seat: Seat, read: SheetRead, said: Settled, done: DayDone) -> HttpResponse:
    if done.done is None:
        return _confirm(request, seat, read, said, status=409)
    if done.refused:
        return _shown(request, seat, recorded(done.done, seat), refused=done.refused)
    return redirect(f"{reverse('paper')}?quick={done.done.act}")


@require_POST
@_writing
def aside(_: HttpRequest, seat: Seat, sheet: str) -> HttpResponse:
    """Forget what was read of a sheet, and its picture."""
    photographs.put_aside(seat.household, sheet)
    return redirect("paper")
