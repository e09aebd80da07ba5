"""A scratch home for a benchmark, and how figures are taken."""

import os
import platform
import secrets
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from time import perf_counter, thread_time
from typing import Any

SETTINGS = "markstead.web.settings"
HOUSEHOLD = "home"
SIGN_IN = ("ruth", "a-lamp-in-the-window")


@contextmanager
def scratch_home() -> Iterator[Path]:
    """An empty home in a folder of its own, on SQLite, with Django set up for it."""
    os.environ.pop("DATABASE_URL", None)
    with tempfile.TemporaryDirectory(prefix="markstead-bench-", ignore_cleanup_errors=True) as folder:
        key = Path(folder, "secret.key")
        key.touch(mode=0o600)
        key.write_text(secrets.token_hex(32))
        os.environ["MARKSTEAD_HOME"] = folder
        wake()
        from django.core.management import call_command
        from django.db import connections

        call_command("migrate", verbosity=0)
        yield Path(folder)
        connections.close_all()


def wake() -> None:
    """Set Django up; the addresses are the house's and that of the bare page."""
    os.environ["DJANGO_SETTINGS_MODULE"] = SETTINGS
    import django
    from django.conf import settings

    settings.ROOT_URLCONF = "benchmarks.bare"
    django.setup()


def seconds(work: Callable[[], Any]) -> float:
    """How long this took."""
    begun = perf_counter()
    work()
    return perf_counter() - begun


def both(work: Callable[[], Any]) -> tuple[float, float]:
    """How long this took, by the clock on the wall and by the processor's own count for this thread."""
    begun, cpu = perf_counter(), thread_time()
    work()
    return perf_counter() - begun, thread_time() - cpu


def best(work: Callable[[], Any], times: int) -> float:
    """The median of several goes."""
    return median(seconds(work) for _ in range(times))


def machine() -> str:
    """What the figures were taken on: nothing that tells whose machine it is."""
    python = f"Python {platform.python_version()}"
    database = f"SQLite {sqlite3.sqlite_version}"
    import django

    return f"{os.cpu_count()} cores ({platform.machine()}), {python}, Django {django.__version__}, {database}"
