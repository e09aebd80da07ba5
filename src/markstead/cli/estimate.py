"""Commands that estimate: readiness, spot, pace, review, and the costs that advice goes by. None writes a fact."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

import typer

from markstead.cli.house import House, open_house
from markstead.cli.options import CLOCK, JSON, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.measure.marks import CopyMarks
    from markstead.records.home import Somebody

LEARNER = Annotated[str, typer.Argument(metavar="LEARNER", help="The learner, by key.")]
A_COPY = "its id, its label, or the code of a workbook with one copy that is not done with."


def learner_of(house: House, wanted: str) -> "Somebody":
    """A learner of the home, by key or id.

    Raises:
        InputError: nobody has that key, or somebody who is no learner.
    """
    found = house.home.person(wanted)
    if found not in house.home.learners:
        keys = ", ".join(p.key for p in house.home.learners) or say("nobody yet")
        raise InputError(
            [
                Problem(
                    say("learner"),
                    say("{key}, who is no learner", key=found.key),
                    say("one of {keys}", keys=keys),
                )
            ]
        )
    return found


def labels_of(house: House, copies: Iterable[str]) -> dict[str, str]:
    from markstead.records import queries

    return queries.copy_labels(house.household, set(copies))


def marks_up_to_now(house: House, learner: "Somebody") -> "tuple[CopyMarks, ...]":
    """The marks of a learner, where none is of a day that is still to come: days are counted from the present one.

    Raises:
        InputError: the present day was put before the latest mark.
    """
    from markstead.records import estimates

    marks = estimates.marks_of_learner(house.household, learner.id)
    day_of = house.home.calendar.day_of
    days = [day_of(kept.last) for kept in marks if kept.last is not None]
    days += [row.day for kept in marks for row in kept.worked]
    today, latest = day_of(house.now), max(days, default=None)
    if latest is not None and latest > today:
        allowed = say("a day from {day} on, that of the latest mark or work", day=latest.isoformat())
        raise InputError([Problem(say("today"), today.isoformat(), allowed)])
    return marks


def one_copy(house: House, learner: str | None, copy: str, *, as_json: bool) -> None:
    """Tell everything estimated about one workbook in hand."""
    from markstead.cli import render, render_estimates, show_estimates
    from markstead.records import estimates, queries

    who = learner_of(house, learner) if learner is not None else None
    id_ = queries.find_copy(house.household, copy)
    found = estimates.close(house.home, id_)
    label = labels_of(house, [id_])[id_]
    if found is None:
        allowed = say("a copy that a learner has in hand, with its unit test still to come")
        raise InputError([Problem(say("copy"), label, allowed)])
    holder = house.home.person(found.learner)
    if who is not None and who.id != holder.id:
        raise InputError(
            [
                Problem(
                    say("copy"),
                    say("{label}, which {key} has", label=label, key=holder.key),
                    say("a copy that {key} has", key=who.key),
                )
            ]
        )
    if as_json:
        print(render.text(render_estimates.close(found, label, house.home)))
    else:
        show_estimates.close(found, label, house.home)


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "readiness", CLOCK)
    def readiness(
        asked: Asked,
        *,
        learner: Annotated[
            str | None, typer.Argument(metavar="LEARNER", help="The learner, by key. Default: all learners.")
        ] = None,
        copy: Annotated[
            str | None,
            typer.Option(
                "--copy", metavar="COPY", help=f"One copy, with its history and objectives: {A_COPY}"
            ),
        ] = None,
        as_json: JSON = False,
    ) -> None:
        """Estimate how likely each workbook in hand passes its unit test tomorrow, and whether a hold pays."""
        house = open_house(asked)
        if copy is not None:
            one_copy(house, learner, copy, as_json=as_json)
            return
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import estimates

        who = (learner_of(house, learner),) if learner is not None else house.home.learners
        everybody = [(person, estimates.readings_of_learner(house.home, person.id)) for person in who]
        labels = labels_of(house, (copy for _, readings in everybody for copy in readings))
        if as_json:
            plain = [render_estimates.learner_readiness(p, r, labels, house.home) for p, r in everybody]
            print(render.text({"learners": plain, "costs": render_estimates.costs(house.home)}))
        else:
            show_estimates.readiness(everybody, labels, house.home)

    @command(app, "spot", CLOCK)
    def spot(asked: Asked, *, learner: LEARNER, as_json: JSON = False) -> None:
        """Draw by lot which of a learner's latest ticks to mark again, and say what that rests on."""
        house = open_house(asked)
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import estimates

        who = learner_of(house, learner)
        found = estimates.spot(house.home, who.id)
        told = estimates.spot_line(house.home, estimates.marks_of_learner(house.household, who.id), found)
        labels = labels_of(house, (tick.copy for tick in found.ticks))
        notes = estimates.private_notes(found)
        if as_json:
            print(render.text(render_estimates.spot(who, found, labels, told.titles, notes)))
        else:
            show_estimates.spot(who, found, labels, told.titles, notes)

    @command(app, "pace", CLOCK)
    def pace(asked: Asked, *, learner: LEARNER, as_json: JSON = False) -> None:
        """Estimate the pace of a learner in each course, and the school days to the last page in hand."""
        house = open_house(asked)
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import estimates

        who = learner_of(house, learner)
        marks_up_to_now(house, who)
        found = estimates.pace(house.home, who, house.now)
        labels = labels_of(house, (course.copy for course in found if course.copy is not None))
        if as_json:
            courses = [render_estimates.course_pace(course, labels, house.home) for course in found]
            print(render.text({"learner": render.person(who), "courses": courses}))
        else:
            show_estimates.pace(who, found, labels, house.home)

    @command(app, "review", CLOCK)
    def review(
        asked: Asked,
        *,
        learner: LEARNER,
        minutes: Annotated[
            int,
            typer.Option(
                "--minutes",
                metavar="NUMBER",
                min=0,
                max=240,
                help="Minutes to spend on it, 0 to 240.",
            ),
        ] = 5,
        as_json: JSON = False,
    ) -> None:
        """Choose what to ask a learner today of what was learnt before: what is most likely forgotten first."""
        house = open_house(asked)
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import estimates

        who = learner_of(house, learner)
        marks = marks_up_to_now(house, who)
        found = estimates.review(house.home, who.id, house.now, minutes)
        lines, _ = estimates.review_lines(house.home, marks, found)
        if as_json:
            labels = labels_of(house, (line.copy for line in lines))
            print(render.text(render_estimates.review(who, found, lines, labels)))
        else:
            show_estimates.review(who, found, lines)

    @command(app, "costs")
    def costs(
        asked: Asked,
        *,
        failed_test: Annotated[
            float | None,
            typer.Option(
                "--failed-test",
                metavar="DAYS",
                help="School days that a failed unit test costs: above 0, at most 60.",
            ),
        ] = None,
        hold_day: Annotated[
            float | None,
            typer.Option(
                "--hold-day",
                metavar="DAYS",
                help="School days that one day of review before a test costs: above 0, at most 5.",
            ),
        ] = None,
        as_json: JSON = False,
    ) -> None:
        """Show or set what a failed unit test and a hold day cost this home; the advice to sit or hold goes by it."""
        house = open_house(asked)
        from markstead.cli import render, render_estimates, show_estimates
        from markstead.records import setup

        home = house.home
        if failed_test is not None or hold_day is not None:
            home = setup.set_costs(house.household, failed_test_costs=failed_test, hold_day_costs=hold_day)
        if as_json:
            print(render.text(render_estimates.costs(home)))
        else:
            show_estimates.costs(home)
