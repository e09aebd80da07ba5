"""What a person reads in the terminal."""

import sys
from collections.abc import Iterable
from datetime import datetime

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from markstead.cli import render
from markstead.records.desk import Done
from markstead.records.home import Home
from markstead.records.queries import CopyView, Note, Today
from markstead.records.words import fact_words
from markstead.rules.programme import Workbook
from markstead.rules.ruling import Ruling
from markstead.rules.standing import Standing
from markstead.speech import day_words, meant, say, short_date, weekday_short

RULER = 34
"""Columns of a ruler in the terminal, its two ends apart."""


WIDTH = 160
"""Columns of a line where it goes to no terminal."""


def console() -> Console:
    """Write to stdout as it is at this moment; a pipe gets lines of a fixed width."""
    wide = None if sys.stdout.isatty() else WIDTH
    return Console(file=sys.stdout, highlight=False, markup=False, width=wide)


def ruler(standing: Standing, book: Workbook, width: int = RULER) -> str:
    """A workbook as a rule: worked pages are heavy, a bar is a marking stop, v a check, the double end the tests.

    `>` is where the learner stands.
    """
    columns = min(width, book.pages)
    marks = []
    for column in range(columns):
        first, last = column * book.pages // columns + 1, (column + 1) * book.pages // columns
        stop = next((s for s in book.stops if first <= s.last <= last), None)
        if stop is not None:
            marks.append("v" if stop.kind == "check" else "|")
        else:
            marks.append("=" if all(p in standing.pages for p in range(first, last + 1)) else "-")
    reached = max(standing.pages, default=0)
    ended = standing.unit is not None or bool(standing.practice)
    at = columns if ended else min(reached * columns // book.pages, columns - 1)
    tests = "||" if not ended else ">|"
    if not ended:
        marks[at] = ">"
    return "[" + "".join(marks) + tests


def waited(minutes: int | None) -> str:
    if minutes is None:
        return ""
    if minutes < 60:
        return say("{minutes} min", minutes=minutes)
    if minutes < 60 * 24:
        return say("{hours} h", hours=minutes // 60)
    return say("{days} d", days=minutes // 1440)


def table(*headings: str) -> Table:
    made = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for heading in headings:
        made.add_column(heading, overflow="fold")
    return made


def bars(ruling: Ruling) -> Iterable[str]:
    return (f"{b.says} {b.lifts}" for b in ruling.bars)


def next_words(view: CopyView) -> str:
    """The next step and whose turn it is."""
    whose = {"learner": view.learner.name if view.learner else say("the learner"), "educator": say("you")}
    turn = whose.get(str(view.next.turn))
    return f"{view.next.what} ({turn})" if turn else view.next.what


def today(answer: Today) -> None:
    """Print today's page."""
    out = console()
    out.print(f"{answer.home.name}: {day_words(answer.now.date())}, {answer.now:%H:%M}", style="bold")
    if answer.day_is:
        out.print(say("No school: the day is {day_is}.", day_is=answer.day_is))
    if answer.home.demo_shift is not None:
        out.print(say("A demonstration: everybody in it is invented."))
    out.print()
    if answer.calls:
        calls = table(say("who needs you now"), say("what"), say("copy"), say("waiting"))
        for call in answer.calls:
            who = call.learner.name if call.learner else ""
            where = call.copy.label if call.copy else call.workbook.code if call.workbook else ""
            calls.add_row(who, call.what, where, waited(render.waiting_minutes(call.since, answer.now)))
        out.print(calls)
    else:
        out.print(say("Nobody needs you now."))
    for day in answer.learners:
        out.print()
        year = say(", year {year}", year=day.learner.year) if day.learner.year is not None else ""
        out.print(f"{day.learner.name}{year}", style="bold")
        copies = table(say("copy"), say("ruler"), say("pages"), say("next step"))
        for view in day.copies:
            step = Text(next_words(view))
            for line in bars(view.ruling):
                step.append(say("\nshut: {line}", line=line), style="italic")
            worked = f"{len(view.standing.pages)}/{view.workbook.pages}"
            copies.add_row(view.label, Text(ruler(view.standing, view.workbook)), worked, step)
        if day.copies:
            out.print(copies)
        if day.idle:
            out.print(say("No workbook in hand: {idle}.", idle=", ".join(day.idle)))


def done(found: Done, home: Home, view: CopyView | None) -> None:
    """Print what an act wrote, and the next step."""
    out = console()
    if found.again:
        out.print(say("Was recorded before; nothing was added."))
    for entry in found.entries:
        copy = getattr(entry.fact, "copy", None)
        where = f" [{copy}]" if copy else ""
        out.print(
            say("Recorded: {fact}.{where}", fact=fact_words(entry.fact, home), where=where), soft_wrap=True
        )
    if view is not None:
        out.print(say("Next for {label}: {next}.", label=view.label, next=next_words(view)), soft_wrap=True)
        for line in bars(view.ruling):
            out.print(say("  Shut: {line}", line=line), soft_wrap=True)


def history(notes: tuple[Note, ...], home: Home) -> None:
    """Print the latest facts, newest first."""
    out = console()
    if not notes:
        out.print(say("Nothing is on the record there."))
        return
    lines = table(say("fact"), say("when"), say("what"), say("copy"), meant("by", "somebody"), say("act"))
    for note in notes:
        at: datetime = home.calendar.at_home(note.entry.at)
        what = Text(fact_words(note.entry.fact, home))
        if note.words:
            what.append(f": {note.words}")
        if note.reversed:
            what.append(say(" (taken back)"), style="italic")
        lines.add_row(
            str(note.entry.seq),
            f"{weekday_short(at)} {short_date(at)} {at:%H:%M}",
            what,
            note.copy or "",
            note.by,
            note.entry.act,
        )
    out.print(lines)


def copies(views: tuple[CopyView, ...]) -> None:
    """Print a list of copies."""
    out = console()
    if not views:
        out.print(say("No copies."))
        return
    lines = table(say("copy"), say("title"), say("status"), say("learner"), say("next step"), say("id"))
    for view in views:
        who = view.learner.name if view.learner else ""
        lines.add_row(
            view.label, view.workbook.title, say(view.standing.status), who, view.next.what, view.id
        )
    out.print(lines)
