"""Long plans are worked out beside the server, in a process of their own, so that no page waits for them."""

import subprocess

from django.conf import settings

from markstead.records import plans
from markstead.speech import remembering, say
from markstead.web import beside, clock

_AT_WORK: dict[tuple[str, int], subprocess.Popen[bytes]] = {}
"""Processes begun by this server, by household and number of the plan."""


def begin(household: str, number: int) -> None:
    """Begin working out a plan that was asked for; at once and to its end where the settings want no process for it."""
    if not settings.PLANS_IN_A_PROCESS:
        plans.work_out(household, number, clock.real_now)
        return
    try:
        worker = beside.run(household, "plan", "--work", str(number))
    except OSError as error:
        with remembering():
            why = say("The machine could not begin it: {why}.", why=error.strerror)
        plans.break_off(household, number, why)
        return
    _AT_WORK[household, number] = worker


def look_after(household: str) -> None:
    """Break off the plans of a home whose process has ended without a result, or is not heard of any more."""
    for (whose, number), worker in tuple(_AT_WORK.items()):
        # Asking whether it has ended also takes leave of it; until then it stays in the list of the system.
        if worker.poll() is not None:
            del _AT_WORK[whose, number]
            with remembering():
                why = say("Working it out broke off: its process was ended before it was done.")
            plans.break_off(whose, number, why)
    plans.break_off_silent(household, clock.real_now())
