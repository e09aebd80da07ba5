"""The command that looks ahead: the rest of each learner's school year, drawn many times over. It writes nothing."""

from typing import Annotated

import typer

from markstead.cli.estimate import learner_of, marks_up_to_now
from markstead.cli.house import open_house
from markstead.cli.options import CLOCK, JSON, Asked, command

MOST_PATHS = 100_000


def add_to(app: typer.Typer) -> None:
    """Register the command."""

    @command(app, "forecast", CLOCK)
    def forecast(
        asked: Asked,
        *,
        learner: Annotated[
            str | None,
            typer.Option("--learner", metavar="LEARNER", help="One learner, by key. Default: all learners."),
        ] = None,
        paths: Annotated[
            int,
            typer.Option(
                "--paths",
                metavar="NUMBER",
                min=100,
                max=MOST_PATHS,
                help="How many possible years to draw, 100 to 100000: ten times as many are three times as exact.",
            ),
        ] = 1_000,
        as_json: JSON = False,
    ) -> None:
        """Forecast the rest of the school year: chances of the targets, dates of finish, and when copies are needed."""
        house = open_house(asked)
        from markstead.cli import render, render_outlook, show_outlook
        from markstead.records import outlooks

        who = (learner_of(house, learner),) if learner is not None else house.home.learners
        today = house.home.calendar.day_of(house.now)
        for somebody in who:
            marks_up_to_now(house, somebody)
        found = [outlooks.year_of(house.home, somebody, today, paths=paths) for somebody in who]
        if as_json:
            print(render.text(render_outlook.years(found, today, paths, house.home)))
        else:
            show_outlook.years(found, house.home)
