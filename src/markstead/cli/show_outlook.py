"""Forecasts and orders as a person reads them in the terminal."""

from collections.abc import Sequence
from datetime import date, timedelta

from markstead.cli.show import console, table
from markstead.forecast.orders import MonthTotal
from markstead.forecast.outlook import Chance, FinishDates
from markstead.records.home import Home
from markstead.records.ordering import OrderReading
from markstead.records.outlooks import NeedLine, YearReading
from markstead.speech import date_words, meant, month_words, plural, say, short_date

SHOWN = timedelta(days=60)
"""Copies that may be needed within so many calendar days are listed; `--json` has them all."""


def short(day: date | None) -> str:
    """A day as it stands in a table; none lies beyond the calendar."""
    return short_date(day) if day is not None else say("later")


def _of_ten(found: Chance) -> str:
    return found.of_ten


def _span(found: FinishDates) -> tuple[str, str, str]:
    return short(found.early), short(found.middle), short(found.late)


def years(found: Sequence[YearReading], home: Home) -> None:
    """Print the rest of the year of each learner."""
    out = console()
    if not found:
        out.print(say("This home has no learner yet."))
    for place, reading in enumerate(found):
        if place:
            out.print()
        out.print(reading.learner.name, style="bold")
        if reading.years is not None and reading.last_day is not None:
            last = date_words(reading.last_day)
            out.print(
                say(
                    "From {paths} possible years up to {last}, the last school day that is entered.",
                    paths=reading.paths,
                    last=last,
                )
            )
        for target in reading.targets:
            out.print(target.sentence, soft_wrap=True)
        if reading.all_targets is not None and len(reading.targets) > 1:
            out.print(
                say("All targets in one and the same year: {of_ten}.", of_ten=reading.all_targets.of_ten)
            )
        _courses(reading)
        _needs([line for line in reading.needs if _soon(line, reading.today)], home)
        for note in reading.notes:
            out.print(note, soft_wrap=True)


def _courses(reading: YearReading) -> None:
    if not reading.courses:
        return
    lines = table(
        say("course"),
        meant("left", "still to do"),
        say("all done by the last day"),
        say("1 year of 10 by"),
        say("half by"),
        say("9 of 10 by"),
        say("rests on"),
    )
    for line in reading.courses:
        days = plural(line.told.days_known, "school day")
        lines.add_row(
            line.title,
            str(line.workbooks),
            _of_ten(line.told.chance),
            *_span(line.finish),
            days if line.told.days_known else say("a guess"),
        )
    console().print(lines)


def _soon(line: NeedLine, today: date) -> bool:
    early = line.dates.dates[1]
    return early is not None and early <= today + SHOWN


def _needs(needs: Sequence[NeedLine], home: Home) -> None:
    if not needs:
        return
    lines = table(
        say("needed next"),
        say("course"),
        say("1 year of 10 by"),
        say("half by"),
        say("9 of 10 by"),
        say("copy"),
    )
    for line in needs:
        _, early, middle, late, _ = line.dates.dates
        copy = say("in the house")
        if line.ready.not_before is not None:
            copy = (
                say("on order, from {short}", short=short(line.ready.not_before))
                if line.ready.on_order
                else say("not ordered")
            )
        course = home.programme.course(line.course).title
        lines.add_row(line.title, course, short(early), short(middle), short(late), copy)
    console().print(lines)


def orders(found: OrderReading) -> None:
    """Print what to order when, the budget by month, and what is believed of the suppliers."""
    out = console()
    for sentence in found.sentences:
        out.print(sentence, soft_wrap=True)
    if found.months:
        out.print()
        months = table(say("month"), say("to pay"))
        for month in found.months:
            months.add_row(_month(month), found.speech.money(month.amount))
        out.print(months)
    if found.suppliers:
        out.print()
    for line in found.suppliers:
        out.print(line.sentence, soft_wrap=True)


def _month(found: MonthTotal) -> str:
    return month_words(date(found.year, found.month, 1))
