"""A process that writes and writes until it is killed: ``python -m tests.tools.write_loop COPY RUN``.

By turns an act of one fact (a goal) and an act of two with words (pages passed over a shut gate with a reason). The
id of an act is printed only after it was acknowledged: RUN-1, RUN-2 and so on.
"""

import itertools
import os
import sys
from datetime import UTC, datetime

import django


def main(copy: str, run: str) -> None:
    """Write to the copy for ever."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "markstead.web.settings")
    django.setup()
    from markstead.records import actions
    from markstead.records.desk import Slip

    at = datetime(2025, 9, 8, 9, tzinfo=UTC)
    for number in itertools.count(1):
        act = f"{run}-{number}"
        if number % 2:
            slip = Slip(act=act)
            actions.set_goal("home", copy=copy, first=1, last=3, by="asa", at=at, slip=slip)
        else:
            slip = Slip(act=act, override=f"the power was out, {act}")
            actions.work_pages("home", copy=copy, first=1, last=8, by="ruth", at=at, slip=slip)
        os.write(sys.stdout.fileno(), f"{act}\n".encode())  # one write: no half line is left by a kill


if __name__ == "__main__":
    main(*sys.argv[1:])
