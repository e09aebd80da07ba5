"""Plans as a person reads them in the terminal."""

from datetime import date
from itertools import groupby

from markstead.cli.show import console, table
from markstead.records.home import Home
from markstead.records.plan_words import (
    Met,
    ask_words,
    effect_words,
    figures,
    gap_words,
    goals_of,
    guess_words,
    met_words,
    only_tried,
    targets_beside,
    who_words,
)
from markstead.records.plans import KeptPlan
from markstead.speech import counted, day_short, meant, say


def plan(home: Home, kept: KeptPlan, standing: KeptPlan | None, *, taken: bool) -> None:
    """Print a plan that was worked out: what it was tried with, what moves, targets, figures and ways out."""
    out = console()
    beside = standing if standing is not None and standing.number != kept.number else None
    state = say("in force now") if taken else say(kept.state)
    out.print(
        say(
            "Plan {number}, from {day} on: {state}.",
            number=kept.number,
            day=day_short(kept.first),
            state=state,
        ),
        style="bold",
    )
    if kept.says.broken:
        out.print(kept.says.broken, soft_wrap=True)
        if standing is not None:
            out.print(say("The old plan is still in force."))
        return
    for ask in kept.asks:
        out.print(f"  {ask_words(home, ask)}", soft_wrap=True)
    moved(home, kept)
    _targets(home, kept, beside)
    _figures(home, kept, beside)
    _risks(kept)
    for line in guess_words(home, kept):
        out.print(line, soft_wrap=True)
    if not taken and not only_tried(kept.asks):
        out.print(say("Nothing is changed yet. The same command with --take puts it in force."))


def moved(home: Home, kept: KeptPlan) -> None:
    """Print every announced goal that is another now, by day and learner."""
    out = console()
    count = len(kept.says.moved)
    if not kept.says.announced and not count:
        return
    if not count:
        out.print(say("No announced goal moves."))
        return
    out.print(counted(count, "{n} announced goal moves:", "{n} announced goals move:"))
    for day, rows in groupby(kept.says.moved, lambda line: line.day):
        out.print(f"  {day_short(day)}")
        for m in rows:
            who = who_words(home, m.learner, m.course)
            out.print(
                say(
                    "    {who}: {now} instead of {was}, because {because}.",
                    who=who,
                    now=m.now,
                    was=m.was,
                    because=m.because,
                ),
                soft_wrap=True,
            )


def _targets(home: Home, kept: KeptPlan, beside: KeptPlan | None) -> None:
    rows = targets_beside(home, kept, beside)
    if not rows:
        console().print(say("No target is set."))
        return
    headings = (
        [say("target"), meant("by", "a day"), say("plan in force"), say("this plan")]
        if beside
        else [say("target"), meant("by", "a day"), say("planned")]
    )
    lines = table(*headings)
    told = [row for row in rows if beside is None or row.before != row.after or _late(row.after)]
    for row in told:
        title = home.programme.workbook(row.workbook).title
        cells = [f"{who_words(home, row.learner, row.course)}: {title}", day_short(row.due)]
        if beside is not None:
            cells.append(met_words(row.before, last=beside.problem.days[-1]))
        lines.add_row(*cells, met_words(row.after, last=kept.problem.days[-1]))
    if told:
        console().print(lines)
    if len(told) < len(rows):
        left = len(rows) - len(told)
        console().print(
            counted(
                left,
                "{n} target stays in time, on the same days.",
                "{n} targets stay in time, on the same days.",
            )
        )


def _late(met: Met | None) -> bool:
    return met is not None and met.late > 0


def _figures(home: Home, kept: KeptPlan, beside: KeptPlan | None) -> None:
    headings = ["", say("plan in force"), say("this plan")] if beside else ["", say("this plan")]
    lines = table(*headings)
    for figure in figures(home, kept, beside):
        before = ["" if figure.before is None else str(figure.before)] if beside else []
        lines.add_row(figure.what, *before, str(figure.after))
    console().print(lines)


def _risks(kept: KeptPlan) -> None:
    out = console()
    if gap_words(kept):
        out.print(gap_words(kept), soft_wrap=True)
    for risk in kept.says.at_risk:
        out.print(say("Cannot be met:"), style="bold")
        out.print(f"  {risk.reason}", soft_wrap=True)
        key = (risk.learner, risk.course, risk.workbook)
        ways = [way for way in kept.says.ways if way.target == key]
        for way in ways:
            out.print(
                say("    A way out: {sentence} {effect}", sentence=way.sentence, effect=effect_words(way)),
                soft_wrap=True,
            )


def goals(home: Home, kept: KeptPlan, first: date, days: int, learner: str = "") -> None:
    """Print the goals of the school days from one on, learner by learner."""
    out = console()
    rows = goals_of(home, kept, first, days, learner)
    if not rows:
        out.print(say("No goal is planned for that day."))
    for day, found in groupby(rows, lambda row: row.day):
        out.print(day_short(day), style="bold")
        for row in found:
            words = [f"{home.programme.course(course).title}: {said}" for course, said, _ in row.goals]
            out.print(
                f"  {home.people[row.learner].name}: {'; '.join(words) or say('nothing')}", soft_wrap=True
            )
