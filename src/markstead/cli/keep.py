"""Commands that keep the record and its doors: undo, verify, rebuild, password, pin."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from markstead.cli import typed
from markstead.cli.house import House, open_house, real_now
from markstead.cli.options import BY, CLOCK, JSON, Asked, command
from markstead.errors import DamagedRecordError, InputError, Problem
from markstead.speech import counted, say, short_day_of_month

PASSWORD_FILE = Annotated[
    Path | None,
    typer.Option(
        "--password-file", metavar="FILE", help="A file with the password on its first line. Default: ask."
    ),
]

PIN_FILE = Annotated[
    Path | None,
    typer.Option("--pin-file", metavar="FILE", help="A file with the PIN on its first line. Default: ask."),
]


def ask_password(file: Path | None) -> str:
    """A password: from a file, or typed twice at the keyboard, never on the command line."""
    if file is not None:
        return typed.first_line(file, "--password-file")
    if not sys.stdin.isatty():
        allowed = say("a file with the password on its first line: nobody is here to type it")
        raise InputError([Problem("--password-file", say("nothing"), allowed)])
    return str(typer.prompt(say("Password"), hide_input=True, confirmation_prompt=True, err=True))


def ask_pin(file: Path | None) -> str:
    """A PIN: from a file, or typed twice at the keyboard, never on the command line."""
    if file is not None:
        return typed.first_line(file, "--pin-file")
    if not sys.stdin.isatty():
        allowed = say("a file with the PIN on its first line: nobody is here to type it")
        raise InputError([Problem("--pin-file", say("nothing"), allowed)])
    return str(typer.prompt(say("PIN, 4 to 6 digits"), hide_input=True, confirmation_prompt=True, err=True))


def told(house: House, act: str) -> list[str]:
    """What an act wrote, as lines, for the question whether to take it back."""
    from markstead.records.desk import at_the_desk
    from markstead.records.words import fact_words

    entries = at_the_desk(house.household, lambda desk: desk.entries_of(act))
    at_home = house.home.calendar.at_home
    return [
        say(
            "fact {seq}, {day} {time}: {fact}",
            seq=e.seq,
            day=short_day_of_month(at_home(e.at)),
            time=f"{at_home(e.at):%H:%M}",
            fact=fact_words(e.fact, house.home),
        )
        for e in entries
    ]


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "undo", CLOCK, {"by": BY})
    def undo(
        asked: Asked,
        *,
        act: Annotated[
            str | None,
            typer.Argument(
                metavar="ACT", help="The id of an act, as `history` shows it. Default: the latest."
            ),
        ] = None,
        yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
        as_json: JSON = False,
    ) -> None:
        """Take back everything that an act wrote; the act and its reversal both stay on the record."""
        house = open_house(asked)
        from markstead.cli.acts import tell
        from markstead.records import actions, queries
        from markstead.records.desk import Slip

        wanted = act or queries.latest_act(house.household)
        if wanted is None:
            allowed = say("an act that is not taken back yet; `markstead history` shows them")
            raise InputError([Problem(say("act"), say("nothing to take back"), allowed)])
        lines = told(house, wanted)
        if not yes:
            if not sys.stdin.isatty():
                raise InputError([Problem("--yes", say("nothing"), say("--yes: nobody is here to be asked"))])
            for line in lines:
                print(line, file=sys.stderr)
            if not typer.confirm(say("Take this back?"), err=True):
                print(say("Nothing was taken back."), file=sys.stderr)
                return
        by = house.actor(asked).id
        done = actions.undo(house.household, act=wanted, by=by, at=house.now, slip=Slip(now=house.now))
        tell(house, done, as_json)

    @command(app, "verify")
    def verify(asked: Asked, *, as_json: JSON = False) -> None:
        """Prove the whole record: every fact, the chain, what is stored for speed, and the words kept apart."""
        house = open_house(asked)
        from django.db import DatabaseError

        from markstead.cli import render
        from markstead.records import upkeep

        try:
            found = upkeep.verify(house.household)
        except DatabaseError as error:
            raise DamagedRecordError(
                say("The database itself cannot be read ({error}); restore a backup.", error=error)
            ) from error
        if as_json:
            print(render.text(render.verdict(found)))
        elif found.holds:
            print(
                say(
                    "The record holds. Facts: {facts}; copies: {copies}; texts kept apart: {words}.",
                    facts=found.facts,
                    copies=found.copies,
                    words=found.words,
                )
            )
        if not found.holds:
            print(say("The record does not hold: {problem}.", problem=found.problem), file=sys.stderr)
            raise typer.Exit(1)

    @command(app, "rebuild")
    def rebuild(asked: Asked) -> None:
        """Make anew what is stored for speed, from the facts; nothing that happened changes."""
        house = open_house(asked)
        from markstead.records import upkeep

        count = upkeep.rebuild(house.household)
        print(counted(count, "Made anew: where {n} copy stands.", "Made anew: where {n} copies stand."))

    @command(app, "password")
    def password(
        asked: Asked,
        *,
        person: Annotated[str, typer.Argument(metavar="PERSON", help="An educator or a helper, by key.")],
        sign_in: Annotated[
            str | None,
            typer.Option(
                "--sign-in",
                metavar="NAME",
                help="The name to sign in with. Default: the one there is, else the key.",
            ),
        ] = None,
        password_file: PASSWORD_FILE = None,
    ) -> None:
        """Let a grown-up of the home sign in, or give them a new password."""
        house = open_house(asked)
        from markstead.records import queries, setup

        somebody = house.home.person(person)
        name = sign_in or queries.sign_in_name(somebody.id) or somebody.key
        setup.give_password(
            house.household, person=somebody.id, username=name, password=ask_password(password_file)
        )
        print(say("{person} signs in as {name}.", person=somebody.name, name=name))

    @command(app, "pin", {"by": BY})
    def pin(
        asked: Asked,
        *,
        learner: Annotated[str, typer.Argument(metavar="LEARNER", help="A learner, by key.")],
        pin_file: PIN_FILE = None,
        take_away: Annotated[
            bool, typer.Option("--take-away", help="Take the PIN away: the learner enters no more.")
        ] = False,
    ) -> None:
        """Give a learner the PIN by which they enter at a tablet of the house, or take it away."""
        house = open_house(asked)
        from markstead.records import pins

        if take_away and pin_file is not None:
            raise InputError([Problem(say("--take-away and --pin-file"), say("both"), say("one of the two"))])
        somebody, by = house.home.learner(learner), house.actor(asked).id
        if take_away:
            had = pins.take_pin_away(house.home, learner=somebody.id, by=by)
            print(
                say("{name} has no PIN any more and cannot enter.", name=somebody.name)
                if had
                else say("{name} had no PIN.", name=somebody.name)
            )
            return
        pins.set_pin(house.home, learner=somebody.id, pin=ask_pin(pin_file), by=by, now=real_now())
        print(say("{name} enters at a tablet with the new PIN from now on.", name=somebody.name))
