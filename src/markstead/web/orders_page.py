"""The orders' page in words: what to order now and later, what is on the way, spares, the budget, and what all of it rests on."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from urllib.parse import urlencode

from django.http import QueryDict

from markstead.errors import InputError, Problem
from markstead.forecast.order_words import Speech
from markstead.forecast.orders import MonthTotal, Order, OrderLine
from markstead.ledger.facts import CopyOrdered, CopyReceived
from markstead.ledger.serial import Entry
from markstead.records.home import Home
from markstead.records.offers import NewOffer, price_of, read_supplier
from markstead.records.order_calls import SOON
from markstead.records.ordering import OnTheWay, OrderReading, SpareLine, SupplierLine, Wanted, WithoutOffer
from markstead.records.outlooks import book_words
from markstead.rules.prices import plain_price
from markstead.speech import and_words, counted, date_words, day_short, month_words, plural, say
from markstead.web.pages import new_token

BAR = 120
"""Width of the longest bar of the budget; the sum stands beside it."""
PRICE = "price-"
"""Begins the name of the field for the price of a workbook."""
MOST_COPIES = 99
"""Of one line of an order."""


@dataclass(frozen=True, slots=True)
class LineView:
    """Copies of one workbook for one learner, or to spare."""

    value: str
    """What the form sends for it."""
    title: str
    course: str
    whom: str
    price: str
    needed: str
    in_time: str
    late: bool
    """Even ordered today it may come too late."""
    ticked: bool


@dataclass(frozen=True, slots=True)
class BareView:
    """A workbook of which no supplier or no price is entered."""

    code: str
    title: str
    course: str
    whom: str
    needed: str
    price: str
    """What stands in its field."""


@dataclass(frozen=True, slots=True)
class OrderView:
    """One order at one supplier."""

    supplier: str
    by: str
    """The day as the form sends it."""
    when: str
    copies: str
    lines: tuple[LineView, ...]
    value: str
    postage: str
    total: str
    missing: str
    """What is missing to the supplier's least order; empty where nothing is."""
    comes: str
    late: str
    """Which of its workbooks may come too late; empty where none does."""
    expected: str
    """The expected day, as it was typed."""
    csv: str
    pdf: str
    own: str
    token: str


@dataclass(frozen=True, slots=True)
class MonthView:
    """The orders of a month that are not due yet."""

    name: str
    total: str
    orders: tuple[OrderView, ...]


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """What the orders of a month come to."""

    month: str
    amount: str
    width: int


@dataclass(frozen=True, slots=True)
class CopyOnTheWay:
    """One copy of a parcel."""

    id: str
    title: str
    whom: str
    in_time: str
    ticked: bool


@dataclass(frozen=True, slots=True)
class ParcelView:
    """Copies that were ordered from one supplier on one day."""

    supplier: str
    ordered: str
    due: str
    named: bool
    """Whether the supplier named the day."""
    late: bool
    copies: tuple[CopyOnTheWay, ...]
    csv: str
    pdf: str
    token: str


@dataclass(frozen=True, slots=True)
class SupplierView:
    """What is known of a supplier's days, and what an order there costs beside its copies."""

    days: str
    terms: str


@dataclass(frozen=True, slots=True)
class OrdersView:
    """Everything that the template may use."""

    day: str
    headline: str
    now: tuple[OrderView, ...]
    later: tuple[MonthView, ...]
    parcels: tuple[ParcelView, ...]
    late: int
    """Parcels that should have come."""
    without: tuple["BareView", ...]
    """Workbooks that are wanted and cannot be planned, for want of a supplier or a price."""
    sign: str
    """The currency of their prices."""
    supplier: str
    """What stands in the field for the supplier of all of them."""
    spare_names: str
    spares: tuple[str, ...]
    no_spares: tuple[str, ...]
    budget: tuple[BudgetRow, ...]
    all_months: str
    suppliers: tuple[SupplierView, ...]
    promise: str
    level: str
    planned: bool
    """Whether there is a plan in force that the learners are held to work by."""


@dataclass(frozen=True, slots=True)
class Typed:
    """What was sent and not taken: it stands in the form again."""

    supplier: str
    by: str
    lines: frozenset[str]
    expected: str
    copies: frozenset[str]
    offered: Mapping[str, str]
    """Prices by code of the workbook, and under nothing the supplier of all of them."""

    @classmethod
    def of(cls, data: QueryDict) -> "Typed":
        """Read it as it was typed."""
        return cls(
            data.get("supplier", ""),
            data.get("by", ""),
            frozenset(data.getlist("line")),
            data.get("expected", "")[:40],
            frozenset(data.getlist("copies")),
            {name.removeprefix(PRICE): data.get(name, "")[:40] for name in data if name.startswith(PRICE)}
            | {"": data.get("from", "")[:100]},
        )


# --- what is sent -------------------------------------------------------------------------------------------------


def read_lines(sent: Sequence[str]) -> tuple[Wanted, ...]:
    """Read the ticked lines of an order.

    Raises:
        InputError: none is ticked, or one is not as the page showed it.
    """
    if not sent:
        raise InputError(
            [Problem(say("order"), say("no ticked line"), say("at least one line with its tick"))]
        )
    found = []
    for text in sent:
        workbook, _, rest = text.partition("/")
        learner, _, count = rest.partition("/")
        known = workbook and count.isascii() and count.isdecimal() and len(count) <= 2 and int(count) > 0
        if not known:
            raise InputError([Problem(say("order"), repr(text[:60]), say("the form as it was shown"))])
        found.append(Wanted(workbook, learner or None, int(count)))
    return tuple(found)


def _sent(line: OrderLine) -> str:
    return f"{line.workbook}/{line.learner or ''}/{min(line.quantity, MOST_COPIES)}"


# --- the page -----------------------------------------------------------------------------------------------------


def orders_view(home: Home, reading: OrderReading, typed: Typed | None = None) -> OrdersView:
    """Put the order plan into words."""
    today = reading.today
    orders = [line.order for line in reading.orders]
    now = [order for order in orders if order.by <= today + SOON]
    later = [order for order in orders if order.by > today + SOON]
    parcels = _parcels(home, reading, typed)
    most = max((month.amount for month in reading.months), default=0)
    spares = [line for line in reading.spares if line.spare.keep]
    speech = reading.speech
    return OrdersView(
        day=date_words(today),
        headline=_headline(reading, now, later),
        now=tuple(_order(home, reading, order, typed) for order in now),
        later=tuple(
            _month(home, reading, name, tuple(of), typed)
            for name, of in groupby(later, key=lambda order: month_words(order.by))
        ),
        parcels=parcels,
        late=sum(parcel.late for parcel in parcels),
        without=_bare(home, reading, typed),
        sign=home.programme.currency,
        supplier=typed.offered[""] if typed is not None else _usual_supplier(home),
        spare_names=", ".join(_spare_words(line) for line in spares),
        spares=tuple(line.sentence for line in spares),
        no_spares=tuple(line.sentence for line in reading.spares if not line.spare.keep),
        budget=tuple(_budget_row(month, most, speech) for month in reading.months),
        all_months=speech.money(sum(month.amount for month in reading.months)),
        suppliers=tuple(_supplier(home, line, speech) for line in reading.suppliers),
        promise=reading.promise,
        level=say("{n} in 100", n=round(100 * reading.plan.level)),
        planned=home.plan is not None,
    )


def _month(
    home: Home, reading: OrderReading, name: str, orders: Sequence[Order], typed: Typed | None
) -> MonthView:
    total = reading.speech.money(sum(order.total for order in orders))
    return MonthView(name, total, tuple(_order(home, reading, order, typed) for order in orders))


def _headline(reading: OrderReading, now: Sequence[Order], later: Sequence[Order]) -> str:
    if now:
        names = and_words(dict.fromkeys(order.supplier for order in now))
        total = reading.speech.money(sum(order.total for order in now))
        return say("Order now from {suppliers}: {total} with postage.", suppliers=names, total=total)
    needed = len({line.workbook for line in reading.without_offer if line.needed <= reading.today})
    if needed:
        return counted(
            needed,
            "{n} workbook is needed now, and no supplier or no price of it is entered.",
            "{n} workbooks are needed now, and no supplier or no price of them is entered.",
        )
    if later:
        first = later[0]
        return say(
            "Nothing is to be ordered now. Next: {supplier}, by {day}.",
            supplier=first.supplier,
            day=date_words(first.by),
        )
    if reading.without_offer:
        return counted(
            len({line.workbook for line in reading.without_offer}),
            "{n} workbook has no supplier or no price yet: when to order it cannot be told.",
            "{n} workbooks have no supplier or no price yet: when to order them cannot be told.",
        )
    return say("Nothing is to be ordered.")


def read_offers(data: QueryDict, home: Home) -> dict[str, NewOffer]:
    """Read the prices that were typed, and from whom all of these workbooks are had.

    Raises:
        InputError: every price that is none, a supplier that is none, or no price at all.
    """
    found: dict[str, NewOffer] = {}
    problems: list[Problem] = []
    supplier = ""
    try:
        supplier = read_supplier(data.get("from", ""))
    except InputError as error:
        problems += error.problems
    for name in data:
        if not name.startswith(PRICE) or not data[name].strip():
            continue
        try:
            book = home.programme.workbook(name.removeprefix(PRICE))
            found[book.code] = NewOffer(supplier, price_of(data[name], book.title))
        except InputError as error:
            problems += error.problems
    if not found and not problems:
        problems.append(Problem(say("price"), say("nothing"), say("a price for at least one workbook")))
    if problems:
        raise InputError(problems)
    return found


def _usual_supplier(home: Home) -> str:
    """From whom most workbooks of the programme are had; nothing where none has a supplier."""
    names = Counter(book.supplier for book in home.programme.workbooks.values() if book.supplier)
    return next((name for name, _ in names.most_common(1)), "")


def _bare(home: Home, reading: OrderReading, typed: Typed | None) -> tuple[BareView, ...]:
    """Every workbook once, with all who need it, by the earliest day on which it is needed."""
    found: dict[str, list[WithoutOffer]] = {}
    for line in sorted(reading.without_offer, key=lambda line: (line.needed, line.workbook)):
        found.setdefault(line.workbook, []).append(line)
    rows = []
    for code, lines in found.items():
        book, needed = home.programme.workbook(code), lines[0].needed
        whose = {line.learner for line in lines}
        names = [learner.name for learner in home.learners if learner.id in whose]
        price = plain_price(book.price) if book.price is not None else ""
        rows.append(
            BareView(
                code,
                book.title,
                home.programme.course(book.course).title,
                say("for {learner}", learner=and_words(names)) if names else say("to spare"),
                say("now") if needed <= reading.today else date_words(needed),
                typed.offered.get(code, price) if typed is not None else price,
            )
        )
    return tuple(rows)


def _order(home: Home, reading: OrderReading, order: Order, typed: Typed | None) -> OrderView:
    speech = reading.speech
    by = order.by.isoformat()
    mine = typed is not None and (typed.supplier, typed.by) == (order.supplier, by)
    ticks = typed.lines if typed is not None and mine else None
    asked = {"supplier": order.supplier, "by": by}
    lines = sorted(order.lines, key=lambda line: (line.learner is None, line.needed, line.workbook))
    count = sum(line.quantity for line in order.lines)
    late = [speech.name(line.workbook) for line in lines if line.short_of_level]
    return OrderView(
        supplier=order.supplier,
        by=by,
        when=say("today") if order.by <= reading.today else say("by {day}", day=day_short(order.by)),
        copies=plural(count, "copy", "copies"),
        lines=tuple(_line(home, line, speech, ticks) for line in lines),
        value=speech.money(order.value),
        postage=speech.money(order.postage) if order.postage else say("none"),
        total=speech.money(order.total),
        missing=speech.money(order.missing) if order.missing else "",
        comes=say(
            "It should come about {day}; 19 of 20 such orders come by {latest}.",
            day=date_words(order.expected),
            latest=date_words(order.at_the_latest),
        ),
        late=and_words(dict.fromkeys(late)) if late else "",
        expected=typed.expected if typed is not None and mine else "",
        csv=urlencode({**asked, "kind": "csv"}),
        pdf=urlencode({**asked, "kind": "pdf"}),
        own=urlencode({**asked, "kind": "pdf", "whose": "yes"}),
        token=new_token(),
    )


def _line(home: Home, line: OrderLine, speech: Speech, ticks: Collection[str] | None) -> LineView:
    value = _sent(line)
    whom = _whom(line.learner, speech)
    return LineView(
        value=value,
        title=speech.name(line.workbook),
        course=_course(home, line.workbook),
        whom=say("{n} copies {whom}", n=line.quantity, whom=whom) if line.quantity > 1 else whom,
        price=speech.money(line.price * line.quantity),
        needed=day_short(line.needed),
        in_time=chance_words(line.chance, line.chance_se),
        late=line.short_of_level,
        ticked=ticks is None or value in ticks,
    )


def _whom(learner: str | None, speech: Speech) -> str:
    """For whom a copy is; without a learner it is a spare."""
    return say("for {learner}", learner=speech.name(learner)) if learner else say("to spare")


def _course(home: Home, workbook: str) -> str:
    return home.programme.course(home.programme.workbook(workbook).course).title


def chance_words(share: float, se: float | None = None) -> str:
    """A chance out of a hundred, never certain and never impossible, with the range that the number of years leaves open."""
    if share > 0.995:
        return say("more than 99 in 100")
    if share < 0.005:
        return say("less than 1 in 100")
    about = round(100 * share)
    low, high = (min(99, max(1, round(100 * (share + side * (se or 0.0))))) for side in (-2, 2))
    if low < high:
        return say("about {n} in 100 ({low} to {high})", n=about, low=low, high=high)
    return say("about {n} in 100", n=about)


# --- on the way ---------------------------------------------------------------------------------------------------


def _parcels(home: Home, reading: OrderReading, typed: Typed | None) -> tuple[ParcelView, ...]:
    """The copies on order by supplier and day; late parcels first, then by the day on which they should come."""
    found: dict[tuple[str, date], list[OnTheWay]] = {}
    for way in reading.on_the_way:
        found.setdefault((way.supplier, way.ordered), []).append(way)
    return tuple(_parcel(home, reading.speech, ways, typed) for ways in found.values())


def _parcel(home: Home, speech: Speech, ways: Sequence[OnTheWay], typed: Typed | None) -> ParcelView:
    first = ways[0]
    late = any(way.late for way in ways)
    due = max(way.due for way in ways if way.late == late)
    ids = {way.copy for way in ways}
    ticks = typed.copies if typed is not None and typed.copies & ids else ids
    asked = {"supplier": first.supplier, "ordered": first.ordered.isoformat()}
    return ParcelView(
        supplier=first.supplier or say("A supplier that is not named"),
        ordered=date_words(first.ordered),
        due=_due_words(date_words(due), late=late, named=first.named),
        named=first.named,
        late=late,
        copies=tuple(
            CopyOnTheWay(
                way.copy,
                book_words(home, way.workbook),
                _whom(way.learner, speech),
                "" if way.chance is None else chance_words(way.chance),
                way.copy in ticks,
            )
            for way in ways
        ),
        csv=urlencode({**asked, "kind": "csv"}),
        pdf=urlencode({**asked, "kind": "pdf"}),
        token=new_token(),
    )


def _due_words(day: str, *, late: bool, named: bool) -> str:
    if late:
        return say("should have come by {day}", day=day)
    return say("Expected on {day}", day=day) if named else say("9 of 10 come by {day}", day=day)


# --- budget and suppliers -----------------------------------------------------------------------------------------


def _spare_words(line: SpareLine) -> str:
    keep, there = line.spare.keep, line.spare.there
    words = line.title if keep == 1 else say("{n} of {title}", n=keep, title=line.title)
    return say("{title} (there)", title=words) if there >= keep else words


def _budget_row(month: MonthTotal, most: int, speech: Speech) -> BudgetRow:
    width = round(BAR * month.amount / most) if most else 0
    return BudgetRow(month_words(date(month.year, month.month, 1)), speech.money(month.amount), width)


def _supplier(home: Home, line: SupplierLine, speech: Speech) -> SupplierView:
    if not line.name:
        return SupplierView(line.sentence, "")
    known = any(wish.name == line.name for wish in home.wishes.suppliers)
    if not known:
        return SupplierView(
            line.sentence, say("No terms are entered: it is planned as if an order cost no postage.")
        )
    wish = home.wishes.supplier(line.name)
    if not wish.postage:
        terms = say("No postage")
    elif wish.free_from is None:
        terms = say("Postage {postage}", postage=speech.money(wish.postage))
    else:
        postage, free = speech.money(wish.postage), speech.money(wish.free_from)
        terms = say("Postage {postage}, none from {amount} on", postage=postage, amount=free)
    if wish.least:
        terms = say("{terms}; least order {amount}", terms=terms, amount=speech.money(wish.least))
    return SupplierView(line.sentence, f"{terms}.")


# --- what was done ------------------------------------------------------------------------------------------------


def done_words(home: Home, entries: Iterable[Entry], workbooks: dict[str, str]) -> tuple[str, ...]:
    """Tell what an act of ordering or receiving wrote; `workbooks` has the workbook of each copy."""
    ordered: dict[str, list[str]] = {}
    came = []
    for entry in entries:
        if isinstance(entry.fact, CopyOrdered):
            who = home.people.get(entry.fact.learner or "")
            title = home.programme.workbook(entry.fact.workbook).title
            whom = (
                say("{title} for {learner}", title=title, learner=who.name)
                if who is not None
                else say("{title} to spare", title=title)
            )
            ordered.setdefault(entry.fact.supplier or say("a supplier that is not named"), []).append(whom)
        elif isinstance(entry.fact, CopyReceived) and entry.fact.copy in workbooks:
            came.append(home.programme.workbook(workbooks[entry.fact.copy]).title)
    lines = [
        counted(
            len(what),
            "{n} copy ordered from {supplier}: {books}.",
            "{n} copies ordered from {supplier}: {books}.",
            supplier=supplier,
            books="; ".join(what),
        )
        for supplier, what in ordered.items()
    ]
    if came:
        lines.append(
            counted(
                len(came),
                "{n} copy in the house now: {books}.",
                "{n} copies in the house now: {books}.",
                books="; ".join(came),
            )
        )
    return tuple(lines)
