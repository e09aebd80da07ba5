"""A backup each day, made beside the running server in a process of its own, so that no page waits for it."""

import subprocess
from contextlib import suppress
from threading import Event, Thread

from django.conf import settings
from django.db import DatabaseError, close_old_connections

from markstead.errors import MarksteadError
from markstead.records import backups, queries
from markstead.records.home import Home
from markstead.speech import spoken
from markstead.web import beside, clock

FIRST, EVERY = 60.0, 600.0
"""Seconds after the start, and between two looks."""
_STOP = Event()
_AT_WORK: list[subprocess.Popen[bytes]] = []


def begin() -> None:
    """Look from time to time, as long as the server runs, whether a backup is due."""
    file = backups.database()
    if settings.BACKUPS_BY_THE_SERVER and file is not None and file.name == backups.FILE:
        Thread(target=_watch, name="nightly", daemon=True).start()


def _watch() -> None:
    wait = FIRST
    while not _STOP.wait(wait):
        wait = EVERY
        with suppress(
            OSError, DatabaseError, MarksteadError
        ):  # the next look is soon; the page says what is old
            look()
        close_old_connections()


def look() -> bool:
    """Begin a backup where one is due; whether one was begun."""
    _AT_WORK[:] = [worker for worker in _AT_WORK if worker.poll() is None]
    home = _a_home()
    if home is None or _AT_WORK:
        return False
    if not backups.is_due(backups.state(), clock.real_now(), home.calendar.day_of):
        return False
    with spoken(home.language):  # in which an encrypted package says how it is opened
        _AT_WORK.append(beside.run(home.id, "backup", "--by-itself"))
    return True


def _a_home() -> Home | None:
    """A home of this database that is no demonstration and has something on its record: one backup holds them all."""
    for household in queries.households():
        home = queries.home_of(household)
        if home.demo_shift is None and queries.head(household):
            return home
    return None
