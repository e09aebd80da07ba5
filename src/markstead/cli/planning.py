"""Commands of plans: made, mended, tried with changes, taken; and the file of what the home asks of its plan."""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING, Annotated

import typer

from markstead.cli import house as houses
from markstead.cli import typed
from markstead.cli.house import House, open_house
from markstead.cli.options import BY, CLOCK, JSON, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.records.plan_asks import Ask
    from markstead.records.plans import Effort, KeptPlan

WEEK = 5
"""School days whose goals are shown with a plan."""
BEAT = 20.0
"""Seconds between two signs that a plan is still being worked out."""
TAKE = Annotated[bool, typer.Option("--take", help="Put the plan in force at once.")]
ANEW = Annotated[
    bool,
    typer.Option("--anew", help="Search the whole year from the beginning, with ways out: some seconds."),
]


def _present(house: House, asked: Asked) -> None:
    """A plan is made for the real present: it is kept."""
    from markstead.cli.estimate import marks_up_to_now

    if asked.now is None and asked.today is None:
        return
    for learner in house.home.learners:
        marks_up_to_now(house, learner)


def make(house: House, asked: Asked, effort: "Effort", asks: "Sequence[Ask]" = ()) -> "KeptPlan":
    """Ask for a plan and work it out here.

    Raises:
        InputError: a change that cannot be, no school days, nothing to plan, or goals by hand that contradict.
    """
    from markstead.records import plans

    _present(house, asked)
    number = plans.ask(
        house.household,
        by=house.actor(asked).id,
        now=house.now,
        real_now=houses.real_now(),
        effort=effort,
        asks=asks,
    )
    if not sys.stderr.isatty():
        return plans.work_out(house.household, number, houses.real_now)

    def hear() -> datetime:
        # The worker looks at the clock each time that it says how far it is.
        says = plans.kept_plan(house.household, number).says
        best = (
            say(", best so far {points:,.0f} points", points=says.points) if says.points is not None else ""
        )
        print(
            say(
                "\r{doing}: {done} of {of}{best}    ",
                doing=says.doing or say("Beginning"),
                done=says.done,
                of=says.of,
                best=best,
            ),
            end="",
            file=sys.stderr,
        )
        return houses.real_now()

    try:
        return plans.work_out(house.household, number, hear)
    finally:
        print(file=sys.stderr)


@contextmanager
def beating(household: str, number: int) -> Iterator[None]:
    """Say all the while that somebody is at a plan: a single piece of the search may last for minutes."""
    from django.db import connection

    from markstead.records import plans

    over = Event()

    def beat() -> None:
        while not over.wait(BEAT):
            plans.beat(household, number, houses.real_now())
        connection.close()  # each thread has its own

    thread = Thread(target=beat, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def tell(house: House, kept: "KeptPlan", *, take: bool, as_json: bool, goals: bool = False) -> None:
    """Take a plan where that is wanted, and show it beside the plan that was in force."""
    from markstead.cli import render, render_plan, show_plan
    from markstead.records import plan_words, plans, queries

    home = house.home
    standing = plans.in_force(home)
    if take and not kept.says.broken:
        kept = plans.take(house.household, kept.number, now=house.now)
        home = queries.home_of(house.household)
    rows = plan_words.goals_of(home, kept, kept.first, WEEK) if goals and kept.answer is not None else ()
    if as_json:
        print(render.text(render_plan.plan(home, kept, standing, rows)))
    else:
        show_plan.plan(home, kept, standing, taken=take and not kept.says.broken)
        if rows:
            show_plan.goals(home, kept, kept.first, WEEK)
    if kept.says.broken:
        raise typer.Exit(1)


def _standing_goals(house: House, day: date, *, as_json: bool) -> None:
    """Show the goals of a day under the plan in force."""
    from markstead.cli import render, render_plan, show_plan
    from markstead.records import plan_words, plans
    from markstead.speech import day_short

    standing = plans.in_force(house.home)
    if standing is None:
        problem = Problem(
            say("plan"),
            say("none in force"),
            say("a plan that was taken"),
            say("Make one: `markstead plan --take`."),
        )
        raise InputError([problem])
    rows = plan_words.goals_of(house.home, standing, day, 1)
    rows = tuple(row for row in rows if row.day == day)
    if as_json:
        print(render.text({"day": day.isoformat(), "goals": render_plan.day_goals(house.home, rows)}))
    elif rows:
        show_plan.goals(house.home, standing, day, 1)
    else:
        print(say("Nothing is planned for {day}.", day=day_short(day)))


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "plan", CLOCK, {"by": BY})
    def plan(
        asked: Asked,
        *,
        anew: ANEW = False,
        long: Annotated[
            bool,
            typer.Option(
                "--long", help="As --anew, and look for the least that late targets must cost: minutes."
            ),
        ] = False,
        take: TAKE = False,
        file: Annotated[
            Path | None,
            typer.Option(
                "--file", metavar="FILE", help="Take this file of targets and limits first; then plan."
            ),
        ] = None,
        goals: Annotated[
            bool,
            typer.Option("--goals", help="Show the goals of today under the plan in force; make no plan."),
        ] = False,
        day: Annotated[
            str | None, typer.Option("--day", metavar="DAY", help="With --goals: of another day.")
        ] = None,
        work: Annotated[int | None, typer.Option("--work", hidden=True)] = None,
        as_json: JSON = False,
    ) -> None:
        """Plan the days to come: goals for every learner, targets, what is at risk and ways out."""
        text = typed.text_of(file, "--file") if file is not None else None
        on = typed.day(day, "--day") if day else None
        house = open_house(asked)
        from markstead.records import plan_asks, plans

        if work is not None:
            with beating(house.household, work):
                plans.work_out(house.household, work, houses.real_now)
            return
        if goals or on is not None:
            _standing_goals(house, on or house.home.calendar.day_of(house.now), as_json=as_json)
            return
        if text is not None:
            plan_asks.take_wishes(house.household, text, at=house.now)
            house = open_house(asked)
        effort = plans.Effort.ANEW if anew or house.home.plan is None else plans.Effort.MEND
        effort = plans.Effort.LONG if long else effort
        tell(house, make(house, asked, effort), take=take, as_json=as_json, goals=True)

    @command(app, "replan", CLOCK, {"by": BY})
    def replan(asked: Asked, *, take: TAKE = False, as_json: JSON = False) -> None:
        """Mend the plan from today on; what was announced moves as little as can be, and each move is named."""
        house = open_house(asked)
        from markstead.records import plans

        tell(house, make(house, asked, plans.Effort.MEND), take=take, as_json=as_json)

    @command(app, "whatif", CLOCK, {"by": BY})
    def whatif(
        asked: Asked,
        *,
        away: Annotated[
            list[str],
            typer.Option("--away", metavar="LEARNER:FIRST:LAST", help="A learner is away; again for each."),
        ] = [],  # noqa: B006  # Typer reads it, nobody changes it
        no_school: Annotated[
            list[str], typer.Option("--no-school", metavar="FIRST:LAST", help="Nobody does school.")
        ] = [],  # noqa: B006
        educator_away: Annotated[
            list[str], typer.Option("--educator-away", metavar="FIRST:LAST", help="No unit test is watched.")
        ] = [],  # noqa: B006
        school_too: Annotated[
            list[str],
            typer.Option("--school-too", metavar="DAY", help="School on this day too; again for each."),
        ] = [],  # noqa: B006
        target: Annotated[
            list[str],
            typer.Option(
                "--target", metavar="LEARNER:WORKBOOK:DAY", help="A target; `none` for the day strikes it."
            ),
        ] = [],  # noqa: B006
        minutes: Annotated[
            list[str],
            typer.Option(
                "--minutes", metavar="LEARNER:COMFORTABLE:MOST", help="Minutes of a whole school day."
            ),
        ] = [],  # noqa: B006
        pages: Annotated[
            list[str],
            typer.Option(
                "--pages",
                metavar="LEARNER:COURSE:COMFORTABLE:MOST",
                help="Pages a day in a course; `usual` for a number that is worked out.",
            ),
        ] = [],  # noqa: B006
        start: Annotated[
            list[str], typer.Option("--start", metavar="LEARNER:COURSE", help="A course is begun.")
        ] = [],  # noqa: B006
        drop: Annotated[
            list[str], typer.Option("--drop", metavar="LEARNER:COURSE", help="A course is given up.")
        ] = [],  # noqa: B006
        more_sittings: Annotated[
            int,
            typer.Option(
                "--more-sittings", metavar="NUMBER", help="More watched sittings a morning: to be tried only."
            ),
        ] = 0,
        anew: ANEW = False,
        take: TAKE = False,
        as_json: JSON = False,
    ) -> None:
        """Try changes on the plan and show it beside the plan in force; nothing is written before it is taken."""
        house = open_house(asked)
        from markstead.cli.typed_asks import read
        from markstead.records import plan_asks, plans

        given = {
            "--away": away,
            "--no-school": no_school,
            "--educator-away": educator_away,
            "--school-too": school_too,
            "--target": target,
            "--minutes": minutes,
            "--pages": pages,
            "--start": start,
            "--drop": drop,
            "--more-sittings": [str(more_sittings)] if more_sittings else [],
        }
        asks = read(house.home, given)
        if take:
            plan_asks.check_takeable(asks)
        effort = plans.Effort.ANEW if anew or house.home.plan is None else plans.Effort.MEND
        tell(house, make(house, asked, effort, asks), take=take, as_json=as_json)
