"""Commands of orders: what to order when, the order sheet, an order in one act, and a parcel in one act."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from markstead.cli import acts, files, typed
from markstead.cli.estimate import marks_up_to_now
from markstead.cli.house import House, open_house
from markstead.cli.options import ACT, CLOCK, JSON, PAPER, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.forecast.orders import Order
    from markstead.records.ordering import OrderReading


def read(house: House) -> "OrderReading":
    """The order plan of a home; days are counted from the present one.

    Raises:
        InputError: the present day was put before the latest mark.
    """
    from markstead.records import ordering

    for learner in house.home.learners:
        marks_up_to_now(house, learner)
    return ordering.reading_now(house.home, house.home.calendar.day_of(house.now))


def first_order(house: House, supplier: str) -> "Order":
    """The next order at a supplier.

    Raises:
        InputError: nothing is to be ordered there.
    """
    orders = [line.order for line in read(house).orders]
    found = next((order for order in orders if order.supplier == supplier), None)
    if found is None:
        names = ", ".join(sorted({order.supplier for order in orders}))
        allowed = (
            say("a supplier with something to order: {names}", names=names)
            if names
            else say("nothing is to be ordered now")
        )
        raise InputError([Problem(say("supplier"), repr(supplier), allowed)])
    return found


def check_sheet(file: Path | None, supplier: str | None, paper: str | None, *, force: bool) -> None:
    """Whether a sheet can be written as it is asked for, before anything is planned.

    Raises:
        InputError: what is asked does not go together, or the file is there already.
    """
    if file is None:
        given = {"--supplier": supplier is not None, "--paper": paper is not None, "--force": force}
        if any(given.values()):
            option = next(option for option, is_there in given.items() if is_there)
            raise InputError(
                [Problem(option, say("given without --sheet"), say("nothing, where no sheet is written"))]
            )
        return
    if file.suffix.lower() not in (".csv", ".pdf"):
        raise InputError([Problem("--sheet", repr(file.name), say("a file whose name ends in .pdf or .csv"))])
    if paper is not None and file.suffix.lower() == ".csv":
        raise InputError([Problem("--paper", repr(paper), say("nothing, where the sheet is a CSV file"))])
    files.check_free("--sheet", file, force=force)


def write_sheet(
    house: House, found: "OrderReading", file: Path, supplier: str | None, paper: str | None, *, own: bool
) -> None:
    """Write the sheet of the next order at a supplier; where all orders are at one, it need not be named.

    Raises:
        InputError: nothing is to be ordered there, several suppliers could be meant, or the file cannot be written.
    """
    from markstead.records import order_papers, typeset

    names = list(dict.fromkeys(line.order.supplier for line in found.orders))
    if supplier is None and len(names) > 1:
        raise InputError(
            [Problem("--supplier", say("nothing"), say("one of {names}", names=", ".join(names)))]
        )
    sheet = order_papers.sheet_of(found, house.home, supplier or (names[0] if names else ""))
    if file.suffix.lower() == ".csv":
        content = order_papers.as_csv(sheet)
    else:
        size = paper or typeset.usual_paper(house.home)
        content = order_papers.as_pdf(sheet, size, for_whom=own)
    files.write("--sheet", file, content)


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @command(app, "orders", CLOCK)
    def orders(
        asked: Asked,
        *,
        sheet: Annotated[
            Path | None,
            typer.Option(
                "--sheet",
                metavar="FILE",
                help="Write the next order at a supplier as a sheet: a .pdf to print, or a .csv.",
            ),
        ] = None,
        supplier: Annotated[
            str | None,
            typer.Option("--supplier", metavar="NAME", help="The supplier, as the programme names it."),
        ] = None,
        paper: PAPER = None,
        own: Annotated[
            bool, typer.Option("--own", help="A page more, not for the supplier: for whom each copy is.")
        ] = False,
        force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
        as_json: JSON = False,
    ) -> None:
        """Plan what to order when, so that the next workbooks are in the house in time; with the budget by month."""
        check_sheet(sheet, supplier, paper, force=force)
        house = open_house(asked)
        from markstead.cli import render, render_outlook, show_outlook
        from markstead.records import ordering

        found = read(house)
        if asked.now is None and asked.today is None:
            # What is asked of another day must not stand on today's page.
            ordering.keep_calls(house.home, found)
        if sheet is not None:
            write_sheet(house, found, sheet, supplier, paper, own=own)
        if as_json:
            print(render.text(render_outlook.orders(found, house.home)))
        elif sheet is not None:
            print(say("The order sheet stands in {sheet}.", sheet=sheet))
        else:
            show_outlook.orders(found)

    @command(acts.app, "place-order", CLOCK, ACT)
    def place_order(
        asked: Asked,
        *,
        supplier: Annotated[
            str, typer.Argument(metavar="SUPPLIER", help="The supplier, as the programme names it.")
        ],
        expected: Annotated[
            str | None,
            typer.Option("--expected", metavar="DAY", help="The day on which the copies should come."),
        ] = None,
        as_json: JSON = False,
    ) -> None:
        """Order everything that the order plan has in its next order at a supplier."""
        comes = typed.day(expected, "--expected") if expected else None
        house = acts.begin(asked, as_json=as_json)
        from functools import partial

        from markstead.records import ordering

        place = partial(ordering.place, order=first_order(house, supplier))
        acts.record(asked, house, place, expected=comes, as_json=as_json)

    @command(acts.app, "receive-parcel", CLOCK, ACT)
    def receive_parcel(
        asked: Asked,
        *,
        copies: Annotated[
            list[str], typer.Argument(metavar="COPIES", help="Copies that came, as for other acts.")
        ],
        as_json: JSON = False,
    ) -> None:
        """Book in several copies that came in one parcel."""
        house = acts.begin(asked, as_json=as_json)
        from markstead.records import ordering

        found = [acts.find(house, copy) for copy in copies]
        acts.record(asked, house, ordering.receive_all, copies=found, as_json=as_json)
