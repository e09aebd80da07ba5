"""`markstead note`: the quick line at the keyboard."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from markstead.cli.options import ACT, CLOCK, JSON, Asked, command
from markstead.errors import InputError
from markstead.speech import say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.records.quick import Look

LINE = Annotated[
    str,
    typer.Argument(
        metavar="LINE", help='What was done, in one line and in quotes: "asa maths 14-19 35 min wrong 3 7".'
    ),
]
DRY_RUN = Annotated[
    bool, typer.Option("--dry-run", help="Tell what would be recorded, and write nothing at all.")
]


def add_to(app: typer.Typer) -> None:
    """Register the command."""

    @command(app, "note", CLOCK, ACT)
    def note(asked: Asked, *, line: LINE, dry_run: DRY_RUN = False, as_json: JSON = False) -> None:
        """Record one quick line: all that it says in one act, or nothing.

        Every word and part of a line is told in the reference of the quick line.
        """
        from markstead.cli.acts import begin, tell

        house = begin(asked, as_json=as_json)
        from markstead.records import quick
        from markstead.records.desk import Slip
        from markstead.rules.ruling import RefusedError, Ruling

        by, at = house.actor(asked).id, house.at(asked)
        if dry_run:
            found = quick.look(house.household, line, by=by, at=at, now=house.now, override=asked.override)
            if found.problems:
                raise InputError(found.problems)
            _print(found, as_json=as_json)
            if found.bars:
                raise RefusedError(Ruling(found.bars))
            return
        slip = Slip(act=asked.slip, now=house.now, override=asked.override)
        tell(house, quick.record(house.household, line, by=by, at=at, slip=slip), as_json)


def _print(found: "Look", *, as_json: bool) -> None:
    """Print what would be recorded."""
    from markstead.cli import render, show

    whose = f"{found.who}, {found.book}" if found.book else found.who
    if as_json:
        told: dict[str, Any] = {
            "dry_run": True,
            "learner": found.who,
            "workbook": found.book or None,
            "copy": found.copy or None,
            "would_record": list(found.facts),
            "shut": found.shut or None,
            "bars": render.bars(found.bars),
        }
        print(render.text(told))
        return
    out = show.console()
    for says in found.facts:
        out.print(say("Would be recorded: {says} ({whose}).", says=says, whose=whose), soft_wrap=True)
    if found.shut:
        out.print(say("Shut: {shut} ({whose}).", shut=found.shut, whose=whose), soft_wrap=True)
