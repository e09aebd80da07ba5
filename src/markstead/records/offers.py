"""Suppliers and prices of workbooks, entered from inside the house: kept as a new version of the programme's file."""

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from markstead.errors import InputError, Problem
from markstead.records.desk import household_row
from markstead.records.home import Home, latest_documents, load_home
from markstead.records.house_rules import check_stamp
from markstead.records.setup import add_document, new_stamp
from markstead.rules.prices import plain_price, read_price
from markstead.speech import say

MOST_LETTERS = 80
"""Of the name of a supplier."""


@dataclass(frozen=True, slots=True)
class NewOffer:
    """From whom a workbook is had, and at what price."""

    supplier: str
    price: int
    """In the smallest unit of the currency."""


def price_of(text: str, workbook: str) -> int:
    """The price of a workbook as it is typed, in the smallest unit.

    Raises:
        InputError: it is no such price; the key is `price`.
    """
    amount = read_price(text)
    if amount is None:
        allowed = say("a price such as 6 or 6.50")
        raise InputError(
            [Problem(say("price of {workbook}", workbook=workbook), repr(text), allowed, key="price")]
        )
    return amount


def read_supplier(text: str) -> str:
    """The name of a supplier as it is typed.

    Raises:
        InputError: nothing is typed, or too much; the key is `supplier`.
    """
    name = " ".join(text.split())
    if not name or len(name) > MOST_LETTERS:
        allowed = say("a name of at most {most} letters", most=MOST_LETTERS)
        raise InputError(
            [Problem(say("supplier"), repr(name) if name else say("nothing"), allowed, key="supplier")]
        )
    return name


def set_offers(household: str, offers: Mapping[str, NewOffer], *, stamp: str, at: datetime) -> Home:
    """Enter suppliers and prices, by the code of the workbook; all else in the file of workbooks stays as it is.

    Raises:
        InputError: the programme has no such workbook, or the file would not be one any more; nothing is written then.
        StaleError: the home was changed since.
    """
    # Reading files needs pydantic; pages that need none of it do not load it.
    from markstead.rules.load import read_programme

    with transaction.atomic():
        row = household_row(household, lock=True)
        check_stamp(row.stamp, stamp)
        kept = latest_documents(household)
        text = _with_offers(kept["workbooks"].text, offers)
        read_programme(kept["programme"].text, text)
        if add_document(row, "workbooks", text, at):
            row.stamp = new_stamp()
            row.save(update_fields=["stamp"])
    return load_home(household_row(household))


def _with_offers(text: str, offers: Mapping[str, NewOffer]) -> str:
    rows = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    head = list(rows.fieldnames or ())
    head += [name for name in ("price", "supplier") if name not in head]
    left, written = dict(offers), io.StringIO()
    sheet = csv.DictWriter(written, head, lineterminator="\n", restval="")
    sheet.writeheader()
    for line in rows:
        offer = left.pop(f"{line['course'].strip()}-{int(line['level'])}-{int(line['number']):02d}", None)
        if offer is not None:
            line |= {"price": plain_price(offer.price), "supplier": offer.supplier}
        sheet.writerow(line)
    if left:
        allowed = say("a workbook of the programme")
        raise InputError([Problem(say("workbook"), ", ".join(sorted(left)), allowed, key="workbook")])
    return written.getvalue()
