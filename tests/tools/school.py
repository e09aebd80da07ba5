"""A home on a school morning in a folder of its own, for the real server: ``python -m tests.tools.school``.

Asa, Noa and Pip each have a workbook in hand and a PIN; a plan is in force. The clock of the home stands at OPENING.
"""

import os
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

OPENING = datetime(2026, 1, 12, 8, 30, tzinfo=UTC)
PIN = "2746"
LEARNERS = ("asa", "noa", "pip")


def make(folder: Path) -> None:
    """Make the home."""
    from markstead.cli import house

    os.environ.pop("DATABASE_URL", None)
    house.make_folder(folder)
    house.wake(folder)
    house.migrate()
    from markstead.records import actions, pins, plans
    from markstead.records.setup import Newcomer, give_password, set_up
    from markstead.rules.ruling import Role
    from tests.tools.homes import CAST, PAPERS, PASSWORD

    real = datetime.now(UTC).replace(microsecond=0)
    early = OPENING - timedelta(hours=1)
    people = (*CAST, Newcomer("pip", "Pip", Role.LEARNER, 2, ("sums-5",)))
    shift = int((real - OPENING).total_seconds())
    home = set_up("home", name="Tarn End", papers=PAPERS, people=people, at=early, demo_shift=shift)
    give_password("home", person="ruth", username="ruth-home", password=PASSWORD)
    for learner in LEARNERS:
        pins.set_pin(home, learner=learner, pin=PIN, by="ruth", now=real)
        for workbook, given in (("sums-5-01", True), ("sums-5-02", False)):
            copy = f"{learner}-{workbook[-2:]}"
            actions.order_copy("home", copy=copy, workbook=workbook, learner=learner, by="ruth", at=early)
            actions.receive_copy("home", copy=copy, by="ruth", at=early)
            if given:
                actions.issue_copy("home", copy=copy, learner=learner, by="ruth", at=early)
                actions.hold_opening_talk("home", copy=copy, by="ruth", at=early)
    by = home.person("ruth").id
    clock = lambda: datetime.now(UTC)  # noqa: E731
    kept = plans.plan_now("home", by=by, now=OPENING, clock=clock, effort=plans.Effort.MEND)
    plans.take("home", kept.number, now=OPENING)


if __name__ == "__main__":
    make(Path(sys.argv[1]))
