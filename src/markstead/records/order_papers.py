"""The order sheet: what a supplier is asked for, as a table for a spreadsheet and as a sheet of paper.

A supplier is told workbooks, copies and prices, and no child's name. The educator's own copy may say for whom each copy is.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from markstead.errors import InputError, Problem
from markstead.forecast.order_words import Speech
from markstead.forecast.orders import Order
from markstead.records.ahead import home_ahead
from markstead.records.home import Home
from markstead.records.ordering import OrderReading
from markstead.records.spreadsheets import guarded
from markstead.records.typeset import make_pdf, plain_name
from markstead.rules.prices import plain_price
from markstead.speech import date_words, figure, say

KINDS: Mapping[str, str] = {"csv": "text/csv; charset=utf-8", "pdf": "application/pdf"}
"""What a sheet can be made into, with its media type."""
COLUMNS = ("code", "workbook", "copies", "price each", "sum")


@dataclass(frozen=True, slots=True)
class SheetLine:
    """All copies of one workbook."""

    workbook: str
    title: str
    course: str
    quantity: int
    price: int | None
    """Of one copy, in minor units; None where none is entered."""

    @property
    def sum(self) -> int:
        """Of all copies."""
        return self.quantity * (self.price or 0)


@dataclass(frozen=True, slots=True)
class Whose:
    """Copies of one workbook for one learner, or to spare."""

    workbook: str
    title: str
    who: str
    quantity: int
    needed: date | None


@dataclass(frozen=True, slots=True)
class OrderSheet:
    """One order at one supplier; sums in minor units of the currency."""

    household: str
    supplier: str
    day: date
    lines: tuple[SheetLine, ...]
    postage: int
    currency: str
    expected: date | None
    """19 of 20 such orders have come by then, or the day that was named."""
    whose: tuple[Whose, ...]
    """For the educator alone: this is no part of what a supplier gets."""

    @property
    def value(self) -> int:
        """Of all copies."""
        return sum(line.sum for line in self.lines)

    @property
    def total(self) -> int:
        """With postage."""
        return self.value + self.postage


# --- making one ---------------------------------------------------------------------------------------------------


def sheet_of(reading: OrderReading, home: Home, supplier: str, *, by: date | None = None) -> OrderSheet:
    """The sheet of the next order that is planned at a supplier, or of the one with that last day; dated today.

    Raises:
        InputError: nothing is to be ordered there.
    """
    orders = [line.order for line in reading.orders]
    found = next((o for o in orders if o.supplier == supplier and by in (None, o.by)), None)
    if found is None:
        names = ", ".join(dict.fromkeys(order.supplier for order in orders))
        if supplier in names.split(", ") and by is not None:
            what = say("{supplier}, by {day}", supplier=supplier, day=by)
            raise InputError([Problem(say("order"), what, say("an order of the plan as it is now"))])
        allowed = (
            say("a supplier with something to order: {suppliers}", suppliers=names)
            if names
            else say("nothing is to be ordered now")
        )
        raise InputError([Problem(say("supplier"), repr(supplier), allowed)])
    return sheet_of_order(found, home, reading.today, reading.speech)


def sheet_of_order(order: Order, home: Home, today: date, speech: Speech) -> OrderSheet:
    """The sheet of an order of the plan, were it placed today."""
    whose = tuple(
        Whose(
            line.workbook,
            speech.name(line.workbook),
            speech.name(line.learner) if line.learner else say("to spare"),
            line.quantity,
            line.needed,
        )
        for line in order.lines
    )
    prices = {line.workbook: line.price for line in order.lines}
    return OrderSheet(
        home.name,
        order.supplier,
        today,
        _merged(home, [(line.workbook, line.quantity) for line in order.lines], prices),
        order.postage,
        home.programme.currency,
        today + (order.at_the_latest - order.by),
        whose,
    )


def sheet_of_parcel(home: Home, supplier: str, ordered: date, today: date) -> OrderSheet:
    """The sheet of what is on the way from a supplier and was ordered on a day; prices and postage are the programme's.

    Raises:
        InputError: nothing that was ordered there on that day is on the way.
    """
    ahead = home_ahead(home, today)
    awaited = {
        o.copy: o for o in ahead.orders if (o.supplier, o.day, o.received) == (supplier, ordered, None)
    }
    copies = [s for s in ahead.unbegun if s.copy in awaited]
    if not copies:
        found = f"{supplier or say('no supplier')}, {ordered}"
        raise InputError([Problem(say("order"), found, say("a supplier and a day with copies on the way"))])
    books = home.programme.workbooks
    prices = {s.workbook: books[s.workbook].price for s in copies}
    lines = _merged(home, [(s.workbook, 1) for s in copies], prices)
    terms = home.wishes.supplier(supplier).terms
    counts: dict[tuple[str, str], int] = {}
    for s in copies:
        who = home.people[s.learner].name if s.learner in home.people else say("to spare")
        counts[s.workbook, who] = counts.get((s.workbook, who), 0) + 1
    return OrderSheet(
        home.name,
        supplier,
        ordered,
        lines,
        round(terms.postage_of(sum(line.sum for line in lines))),
        home.programme.currency,
        max((s.expected for s in copies if s.expected is not None), default=None),
        tuple(
            Whose(code, books[code].title, who, count, None) for (code, who), count in sorted(counts.items())
        ),
    )


def _merged(
    home: Home, copies: Sequence[tuple[str, int]], prices: Mapping[str, int | None]
) -> tuple[SheetLine, ...]:
    """One line for each workbook, in the order of their codes."""
    counts: dict[str, int] = {}
    for code, count in copies:
        counts[code] = counts.get(code, 0) + count
    programme = home.programme
    return tuple(
        SheetLine(
            code,
            programme.workbook(code).title,
            programme.course(programme.workbook(code).course).title,
            counts[code],
            prices[code],
        )
        for code in sorted(counts)
    )


# --- as a file ----------------------------------------------------------------------------------------------------


def file_name(sheet: OrderSheet, kind: str) -> str:
    """A name for the sheet's file, of letters that every system takes."""
    return f"order-{plain_name(sheet.supplier) or 'supplier'}-{sheet.day}.{kind}"


def as_csv(sheet: OrderSheet) -> bytes:
    """The sheet as a table (RFC 4180, UTF-8): a row for each workbook, then postage and total; sums with a decimal point.

    A cell that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    text = io.StringIO(newline="")
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(COLUMNS)
    for line in sheet.lines:
        price = "" if line.price is None else plain_price(line.price)
        rows.writerow(
            [guarded(line.workbook), guarded(line.title), line.quantity, price, plain_price(line.sum)]
        )
    rows.writerow(
        ["", say("postage, {currency}", currency=sheet.currency), "", "", plain_price(sheet.postage)]
    )
    rows.writerow(["", say("total, {currency}", currency=sheet.currency), "", "", plain_price(sheet.total)])
    return text.getvalue().encode()


def as_pdf(sheet: OrderSheet, paper: str = "a4", *, for_whom: bool = False) -> bytes:
    """The sheet on paper; with `for_whom`, a second page for the educator says for whom each copy is.

    The same sheet gives the same bytes: the file says the day of the sheet, not the moment at which it was made.

    Raises:
        InputError: there is no such paper.
    """
    return make_pdf("order_sheet", _page(sheet, for_whom=for_whom), day=sheet.day, paper=paper)


@dataclass(frozen=True, slots=True)
class _Ordered:
    code: str
    title: str
    course: str
    quantity: str
    price: str
    sum: str


@dataclass(frozen=True, slots=True)
class _ForWhom:
    code: str
    title: str
    who: str
    quantity: str
    needed: str


@dataclass(frozen=True, slots=True)
class _Page:
    """Everything that the sheet says, as its template takes it."""

    title: str
    household: str
    supplier: str
    date: str
    expected: str | None
    currency: str
    lines: tuple[_Ordered, ...]
    sums: tuple[tuple[str, str], ...]
    total: str
    whose: tuple[_ForWhom, ...]


def _page(sheet: OrderSheet, *, for_whom: bool) -> _Page:
    day = date_words(sheet.day)
    return _Page(
        title=say("Order sheet, {day}", day=day),
        household=sheet.household,
        supplier=sheet.supplier or "________________",
        date=day,
        expected=None if sheet.expected is None else date_words(sheet.expected),
        currency=sheet.currency,
        lines=tuple(
            _Ordered(
                code=line.workbook,
                title=line.title,
                course=line.course,
                quantity=str(line.quantity),
                price="" if line.price is None else _grouped(line.price),
                sum="" if line.price is None else _grouped(line.sum),
            )
            for line in sheet.lines
        ),
        sums=((say("Copies"), _grouped(sheet.value)), (say("Postage"), _grouped(sheet.postage))),
        total=_grouped(sheet.total),
        whose=tuple(
            _ForWhom(
                code=row.workbook,
                title=row.title,
                who=row.who,
                quantity=str(row.quantity),
                needed="" if row.needed is None else date_words(row.needed),
            )
            for row in (sheet.whose if for_whom else ())
        ),
    )


def _grouped(amount: int) -> str:
    return figure(f"{amount / 100:,.2f}")
