"""Processes that write and write until they are killed: ``python -m tests.tools.write_loop COPY``.

For each line on its input, the name of a run, it forks a child and tells the child's process id. The child writes acts
of this run: by turns one of one fact (a goal) and one of two facts with words (pages passed over a shut gate with a
reason). The id of an act, RUN-1, RUN-2 and so on, is told only after the act was acknowledged. When somebody has
ended the child, ``ended`` and its status are told. (A fork costs a hundredth of a fresh start of Django.)
"""

import itertools
import os
import sys
from datetime import UTC, datetime

import django


def tell(line: str) -> None:
    """Tell a line in one write, so that a kill leaves no half of it."""
    os.write(sys.stdout.fileno(), f"{line}\n".encode())


def write_for_ever(copy: str, run: str) -> None:
    """Write act after act on the copy."""
    from markstead.records import actions
    from markstead.records.desk import Slip

    tell(f"process {os.getpid()}")
    at = datetime(2025, 9, 8, 9, tzinfo=UTC)
    for number in itertools.count(1):
        act = f"{run}-{number}"
        if number % 2:
            slip = Slip(act=act)
            actions.set_goal("home", copy=copy, first=1, last=3, by="asa", at=at, slip=slip)
        else:
            slip = Slip(act=act, override=f"the power was out, {act}")
            actions.work_pages("home", copy=copy, first=1, last=8, by="ruth", at=at, slip=slip)
        tell(act)


def main(copy: str) -> None:
    """Start a child for each run that is asked for, one after the other."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "markstead.web.settings")
    django.setup()
    from django.db import connections

    from markstead.records import queries

    queries.home_of("home")
    connections.close_all()  # no connection may be shared with a child
    while run := sys.stdin.readline().strip():
        child = os.fork()
        if child == 0:
            try:
                write_for_ever(copy, run)
            finally:
                os._exit(1)
        tell(f"ended {os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])}")


if __name__ == "__main__":
    main(*sys.argv[1:])
