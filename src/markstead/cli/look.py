"""Commands that only read: today, history, copies."""

from enum import StrEnum
from typing import Annotated

import typer

from markstead.cli import typed
from markstead.cli.house import open_house
from markstead.cli.options import CLOCK, JSON, Asked, command


class Status(StrEnum):
    """What a copy is, as it is typed."""

    ON_ORDER = "on-order"
    IN_THE_HOUSE = "in-the-house"
    ISSUED = "issued"
    FINISHED = "finished"
    SPOILED = "spoiled"
    SENT = "sent"


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "today", CLOCK)
    def today(asked: Asked, *, as_json: JSON = False) -> None:
        """Show who needs you now, and where every learner stands."""
        house = open_house(asked)
        from markstead.cli import render, show
        from markstead.records import queries

        answer = queries.today(house.household, now=house.now)
        if as_json:
            print(render.text(render.today(answer)))
        else:
            show.today(answer)

    @command(app, "history")
    def history(
        asked: Asked,
        *,
        copy: Annotated[
            str | None, typer.Option("--copy", metavar="COPY", help="Only the facts of this copy.")
        ] = None,
        day: Annotated[
            str | None, typer.Option("--day", metavar="DAY", help="Only what happened on this day at home.")
        ] = None,
        limit: Annotated[int, typer.Option("--limit", min=1, help="How many facts at most.")] = 50,
        as_json: JSON = False,
    ) -> None:
        """Show the latest facts on the record, newest first."""
        house = open_house(asked)
        from markstead.cli import render, show
        from markstead.records import queries

        notes = queries.history(
            house.household,
            copy=queries.find_copy(house.household, copy) if copy else None,
            day=typed.day(day, "--day") if day else None,
            limit=limit,
        )
        if as_json:
            print(render.text(render.history(notes, house.home)))
        else:
            show.history(notes, house.home)

    @command(app, "copies")
    def copies(
        asked: Asked,
        *,
        status: Annotated[
            Status | None,
            typer.Option(
                "--status",
                help="Only the copies that are on-order, in-the-house, issued, finished, spoiled or sent.",
            ),
        ] = None,
        learner: Annotated[
            str | None, typer.Option("--learner", metavar="LEARNER", help="Only the copies of this learner.")
        ] = None,
        as_json: JSON = False,
    ) -> None:
        """List the copies of the home."""
        house = open_house(asked)
        from markstead.cli import render, show
        from markstead.records import queries
        from markstead.rules.standing import CopyStatus

        wanted = CopyStatus(status.value.replace("-", " ")) if status is not None else None
        views = queries.copies(house.household, status=wanted, learner=learner)
        if as_json:
            print(render.text({"copies": [render.listed(view) for view in views]}))
        else:
            show.copies(views)
