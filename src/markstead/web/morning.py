"""On a new day the orders are planned anew beside the server, so that today's page calls for what is due today."""

import subprocess
from contextlib import suppress
from datetime import date

from django.conf import settings

from markstead.records.order_calls import read_kept
from markstead.web import beside

_LOOKED: dict[str, date] = {}
"""The day on which each home's orders were last looked at from here."""
_AT_WORK: list[subprocess.Popen[bytes]] = []


def look_at_orders(household: str, kept: str | None, today: date) -> None:
    """Plan the orders once on a new day, for a home of which an order plan is kept.

    Where no process can be begun the calls stay those of the latest look, and say their age after a week.
    """
    found = read_kept(kept)
    if not settings.PLANS_IN_A_PROCESS or found is None or found.made_on >= today:
        return
    if _LOOKED.get(household) == today:
        return
    _LOOKED[household] = today
    # Asking whether a process has ended also takes leave of it; until then it stays in the list of the system.
    _AT_WORK[:] = [worker for worker in _AT_WORK if worker.poll() is None]
    with suppress(OSError):
        _AT_WORK.append(beside.run(household, "orders"))
