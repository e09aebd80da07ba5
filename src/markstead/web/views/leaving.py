"""Backups, packages to take away, calendars that others read, and erasure. For educators; a calendar for its address."""

import shutil
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from markstead.errors import InputError, MarksteadError, Problem, UnknownError
from markstead.records import archive, backups, erasing, feeds, queries, rosters, tables
from markstead.speech import say
from markstead.web import beside, clock, tongue
from markstead.web.leaving_page import EVERYBODY, away_page, backups_page, erase_page, erased_lines
from markstead.web.pages import Said
from markstead.web.seat import Seat
from markstead.web.views.acts import said_of
from markstead.web.views.doors import taught

_AT_WORK: dict[str, "subprocess.Popen[bytes]"] = {}
"""The backup that is being made from here, by household."""

# --- backups -------------------------------------------------------------------------------------------------------


def _backups(request: HttpRequest, seat: Seat, said: Said | None = None, status: int = 200) -> HttpResponse:
    worker = _AT_WORK.get(seat.household)
    if worker is not None and worker.poll() is not None:
        _AT_WORK.pop(seat.household, None)
        worker = None
    found = backups.state()
    real = clock.real_now()
    old = seat.home.demo_shift is None and backups.is_old(found, real, queries.first_written(seat.household))
    page = backups_page(
        seat.home,
        found,
        old=old,
        at_work=worker is not None,
        by_itself=settings.BACKUPS_BY_THE_SERVER,
        encrypted=backups.encrypts(),
    )
    context = {
        "page": page,
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "settings",
        "sheet": "backups",
    }
    return render(request, "leaving/backups.html", context, status=status)


@require_safe
@taught
def backups_sheet(request: HttpRequest, seat: Seat) -> HttpResponse:
    return _backups(request, seat)


@require_POST
@taught
def make_backup(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Begin a backup beside the server; the page watches it."""
    if backups.folder() is None:
        error = InputError(
            [Problem(say("backup"), say("a database that is no file of this home"), say("a home of its own"))]
        )
        return _backups(request, seat, said_of(error, request.POST), 409)
    if not settings.PLANS_IN_A_PROCESS:
        try:
            backups.make(clock.real_now(), day_of=seat.home.calendar.day_of)
        except MarksteadError as error:
            return _backups(request, seat, said_of(error, request.POST), 409)
    elif seat.household not in _AT_WORK:
        try:
            _AT_WORK[seat.household] = beside.run(seat.household, "backup")
        except OSError as error:
            said = Said(
                "mistaken",
                say("No backup was begun"),
                (say("The machine could not begin it: {why}.", why=error.strerror),),
            )
            return _backups(request, seat, said, 409)
    return redirect("backups")


@require_POST
@taught
def drop_backup(request: HttpRequest, seat: Seat) -> HttpResponse:
    where = backups.folder()
    name = request.POST.get("file", "")
    try:
        if where is None:
            raise UnknownError(
                [Problem(say("backup"), repr(name[:80]), say("the name of a backup that is kept here"))]
            )
        backups.drop(where, name)
    except MarksteadError as error:
        return _backups(request, seat, said_of(error, request.POST), 409)
    return _backups(request, seat, Said("done", say("That backup is deleted.")))


# --- packages ------------------------------------------------------------------------------------------------------


def _away(
    request: HttpRequest,
    seat: Seat,
    said: Said | None = None,
    typed: dict[str, list[str]] | None = None,
    status: int = 200,
) -> HttpResponse:
    origin = request.build_absolute_uri("/").rstrip("/")
    context = {
        "page": away_page(seat.home, feeds.feeds(seat.home), origin, typed),
        "said": said,
        "person": seat.person,
        "home": seat.home,
        "here": "settings",
        "sheet": "away",
    }
    return render(request, "leaving/away.html", context, status=status)


@require_safe
@taught
def away(request: HttpRequest, seat: Seat) -> HttpResponse:
    return _away(request, seat)


def _download(request: HttpRequest, seat: Seat, name: str, write: Callable[[str, Path], Any]) -> HttpResponse:
    """Write a package into a passing folder and send it; whoever cannot have it sees the page with the reason."""
    passing = Path(tempfile.mkdtemp(prefix="markstead-"))
    try:
        write(seat.household, passing / name)
        file = (passing / name).open("rb")
    except MarksteadError as error:
        return _away(request, seat, said_of(error, request.POST), status=409)
    finally:
        # The open file is read to its end although its name is gone; a system that does not allow that keeps it till
        # its own folder for passing files is emptied.
        shutil.rmtree(passing, ignore_errors=True)
    return FileResponse(file, as_attachment=True, filename=name, content_type="application/zip")


@require_safe
@taught
@never_cache
def take_archive(request: HttpRequest, seat: Seat) -> HttpResponse:
    day = seat.home.calendar.day_of(seat.now)
    return _download(request, seat, f"markstead-archive-{day}.zip", archive.write_archive)


@require_safe
@taught
@never_cache
def take_tables(request: HttpRequest, seat: Seat) -> HttpResponse:
    day = seat.home.calendar.day_of(seat.now)
    names = request.GET.get("names") != "no"

    def write(household: str, path: Path) -> tables.Written:
        return tables.write_tables(household, path, names=names)

    return _download(request, seat, f"markstead-tables-{day}.zip", write)


@require_safe
@taught
@never_cache
def take_oneroster(request: HttpRequest, seat: Seat) -> HttpResponse:
    day = seat.home.calendar.day_of(seat.now)
    return _download(request, seat, f"markstead-oneroster-{day}.zip", rosters.write_roster)


# --- calendars -----------------------------------------------------------------------------------------------------


@require_POST
@taught
def make_feed(request: HttpRequest, seat: Seat) -> HttpResponse:
    data = request.POST
    try:
        made = feeds.make(
            seat.home,
            name=data.get("name", ""),
            naming=data.get("naming", ""),
            parts=data.getlist("parts"),
            by=seat.person.id,
            now=clock.real_now(),
            learner=data.get("learner", ""),
        )
    except MarksteadError as error:
        typed = {name: data.getlist(name) for name in data} | {"parts": data.getlist("parts")}
        return _away(request, seat, said_of(error, data), typed, 409)
    return redirect(f"{reverse('away')}#feed-{made.id[:8]}")


@require_POST
@taught
def take_feed_back(request: HttpRequest, seat: Seat) -> HttpResponse:
    try:
        name = feeds.take_back(seat.home, feed=request.POST.get("feed", ""), by=seat.person.id)
    except MarksteadError as error:
        return _away(request, seat, said_of(error, request.POST), status=409)
    return _away(
        request,
        seat,
        Said(
            "done", say("{calendar} is taken back: nothing is read at its address any more.", calendar=name)
        ),
    )


@require_safe
def feed(request: HttpRequest, word: str) -> HttpResponse:
    """What a calendar program reads. Whoever has the address is let in; it says nothing of who else has one."""
    real = clock.real_now()
    found = feeds.find(word, real)
    if found is None:
        raise Http404
    home = queries.home_of(found.household)
    tongue.of_home(request, home)
    today = home.calendar.day_of(clock.now(home))
    response = HttpResponse(
        feeds.feed_bytes(home, found, today=today, now=real), content_type="text/calendar; charset=utf-8"
    )
    response["X-Robots-Tag"] = "noindex, nofollow"
    response["Content-Disposition"] = 'inline; filename="markstead.ics"'
    return response


# --- erasure -------------------------------------------------------------------------------------------------------


def _erase(
    request: HttpRequest, seat: Seat, said: Said | None = None, status: int = 200, **more: Any
) -> HttpResponse:
    home = queries.home_of(seat.household)
    context = {
        "page": erase_page(home, seat.person, **more),
        "said": said,
        "person": seat.person,
        "home": home,
        "here": "settings",
        "sheet": "away",
    }
    return render(request, "leaving/erase.html", context, status=status)


def _looked(
    request: HttpRequest, seat: Seat, who: str, said: Said | None = None, status: int = 200
) -> HttpResponse:
    try:
        will = erasing.preview(seat.home, None if who == EVERYBODY else who)
    except MarksteadError as error:
        return _erase(request, seat, said or said_of(error, request.POST), 409)
    return _erase(request, seat, said, status, who=who, will=will)


@require_http_methods(["GET", "HEAD", "POST"])
@taught
@never_cache
def erase(request: HttpRequest, seat: Seat) -> HttpResponse:
    """Choose somebody; see what goes; type the name. The archive is offered before."""
    if request.method != "POST":
        who = request.GET.get("who", "")
        return _looked(request, seat, who) if who else _erase(request, seat)
    data = request.POST
    who = data.get("who", "")
    try:
        will = erasing.preview(seat.home, None if who == EVERYBODY else who)
        erasing.check_confirmed(will.who, data.get("name", ""))
        if data.get("archived") != "yes":
            allowed = say("a tick: that you have the archive, or want none")
            raise InputError([Problem(say("archive"), say("no tick"), allowed)])
        if who == EVERYBODY:
            gone = erasing.erase_household(seat.household, by=seat.person.id)
        else:
            gone = erasing.erase_person(seat.household, person=who, by=seat.person.id, at=seat.now)
    except MarksteadError as error:
        return _looked(request, seat, who, said_of(error, data), 409)
    left = _drop_old(gone.backups, chosen=data.get("backups") == "delete")
    if who == EVERYBODY:
        logout(request)
        return render(
            request,
            "leaving/erased.html",
            {"lines": erased_lines(gone), "left": left, "here": "", "person": None},
        )
    return _erase(request, seat, done=erased_lines(gone), left=left)


def _drop_old(names: Sequence[str], *, chosen: bool) -> tuple[str, ...]:
    where = backups.folder()
    if not chosen or where is None:
        return tuple(names)
    for name in names:
        backups.drop(where, name)
    return ()
