"""Orders of a home: what to order when, what is to be ordered now, and the acts of ordering and receiving many copies.

The plan is made anew from the record each time; what is kept for today's page are its calls, a cache of the latest one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Protocol

from markstead.errors import InputError, Problem
from markstead.forecast.lead import LeadBelief
from markstead.forecast.need import failures, needs
from markstead.forecast.order_words import Speech, sentences, spare_reason
from markstead.forecast.orders import (
    Coming,
    InHouse,
    MonthTotal,
    Offer,
    OnOrder,
    Order,
    OrderPlan,
    OrderProblem,
    Spare,
    Supplier,
    plan_orders,
)
from markstead.ledger.facts import AnyFact, CopyOrdered, CopyReceived, WorkbookReordered
from markstead.records import order_calls
from markstead.records.actions import PLAIN, Acting, new_copy_id
from markstead.records.ahead import NOBODY_KNOWN, HomeAhead, home_ahead
from markstead.records.desk import Desk, Done, Slip, facts_and_standings
from markstead.records.home import Home
from markstead.records.models import Copy as CopyRow
from markstead.records.order_calls import UNBEGUN, Awaited, DueCall
from markstead.records.outlooks import Planned, book_words, home_years, plan_key
from markstead.records.planned import planned_of
from markstead.rules.programme import Rework, Workbook
from markstead.rules.standing import CopyStatus, Standing
from markstead.speech import counted, date_words, language, plural, say


@dataclass(frozen=True, slots=True)
class OrderLineInWords:
    """An order of the plan with its sentence."""

    order: Order
    sentence: str


@dataclass(frozen=True, slots=True)
class SpareLine:
    """How many spares of a workbook to keep, with the reason."""

    spare: Spare
    title: str
    sentence: str


@dataclass(frozen=True, slots=True)
class OnTheWay:
    """A copy that was ordered and has not come."""

    copy: str
    workbook: str
    learner: str | None
    supplier: str
    ordered: date
    due: date
    """The day that the supplier named, or by which 9 of 10 of its parcels have come."""
    named: bool
    """Whether the supplier named it."""
    late: bool
    chance: float | None
    """Chance that it is there when it is needed; None for a copy that nobody needs soon."""


@dataclass(frozen=True, slots=True)
class WithoutOffer:
    """A copy that is wanted and cannot be planned, for want of a supplier or a price."""

    workbook: str
    learner: str | None
    by: date
    """The last day for ordering it, were it from a supplier without any parcel yet."""
    needed: date
    lacks: str
    sentence: str


@dataclass(frozen=True, slots=True)
class SupplierLine:
    """What is believed of a supplier, and what that rests on."""

    name: str
    lead: LeadBelief
    sentence: str


@dataclass(frozen=True, slots=True)
class OrderReading:
    """What to order when, in numbers and in words."""

    today: date
    plan: OrderPlan
    orders: tuple[OrderLineInWords, ...]
    """By their last day."""
    months: tuple[MonthTotal, ...]
    """What is paid for the orders of each month: the budget."""
    spares: tuple[SpareLine, ...]
    late: tuple[Coming, ...]
    on_the_way: tuple[OnTheWay, ...]
    """Every copy on order, the late ones first."""
    without_offer: tuple[WithoutOffer, ...]
    suppliers: tuple[SupplierLine, ...]
    sentences: tuple[str, ...]
    """All of it, the most urgent first."""
    unbegun: tuple[str, ...]
    """Ids of the copies that nobody has begun and that the plan has counted on."""
    speech: Speech
    """How sums and names are written."""
    promise: str
    """How much of what is needed comes in time if it is so ordered, and what that costs; empty where nothing is needed."""

    @property
    def due(self) -> tuple[OrderLineInWords, ...]:
        """Orders to place today."""
        return tuple(line for line in self.orders if line.order.by <= self.today)


# --- reading ------------------------------------------------------------------------------------------------------


def order_reading(home: Home, today: date, *, planned: Mapping[str, Planned] | None = None) -> OrderReading:
    """Plan the orders of a home; remembered until its record, its settings or the plan changes.

    `planned` has the pages planned by learner and course, where there is a plan.
    """
    ahead = home_ahead(home, today)
    key = (
        "orders",
        language().code,
        *((learner, plan_key(of)) for learner, of in sorted((planned or {}).items())),
    )
    return ahead.remember(key, lambda: _read(ahead, planned))


def order_problems(
    home: Home, today: date, *, planned: Mapping[str, Planned] | None = None
) -> tuple[OrderProblem, OrderProblem]:
    """Everything that the orders of a home are planned from: of workbooks with an offer, and of the others.

    The others have a price of nothing and, where none is entered, a supplier of whom nothing is known: so it can be told
    when they are needed, and which of them have a copy already.
    """
    return _problems(home_ahead(home, today), planned)


def _problems(ahead: HomeAhead, planned: Mapping[str, Planned] | None) -> tuple[OrderProblem, OrderProblem]:
    home, today = ahead.home, ahead.today
    years = home_years(home, today, planned=planned)
    wanted = [need for learner in years for need in needs(learner, today)]
    # Where the same copy is worked again, a unit test that is not passed wants none.
    failed = failures(years, today) if years and home.programme.rework is Rework.NEW_COPY else ()
    codes = {n.workbook for n in wanted} | {f.workbook for f in failed}
    complete = {code for code in codes if not _lacks(home.programme.workbook(code))}
    suppliers = tuple(
        Supplier(name, lead, home.wishes.supplier(name).terms) for name, lead in ahead.leads.items()
    )
    in_house = [InHouse(s.workbook, s.learner) for s in ahead.unbegun if s.status is CopyStatus.IN_THE_HOUSE]
    on_order = [_on_order(ahead, s) for s in ahead.unbegun if s.status is CopyStatus.ON_ORDER]

    def part(of: set[str], *, rest: bool) -> OrderProblem:
        def here(code: str) -> bool:
            return (code in complete) is not rest

        return OrderProblem(
            needs=tuple(n for n in wanted if n.workbook in of),
            offers=tuple(_offer(home.programme.workbook(code)) for code in sorted(of)),
            suppliers=suppliers,
            failures=() if rest else tuple(f for f in failed if f.workbook in of),
            in_house=tuple(c for c in in_house if here(c.workbook)),
            on_order=tuple(o for o in on_order if here(o.workbook)),
            settings=home.wishes.orders,
        )

    return part(complete, rest=False), part(codes - complete, rest=True)


def _lacks(book: Workbook) -> str:
    """What an offer of a workbook lacks, in words; nothing where it lacks nothing."""
    if book.price is not None:
        return "" if book.supplier else say("supplier")
    return say("price") if book.supplier else say("supplier and no price")


def _offer(book: Workbook) -> Offer:
    return Offer(book.code, book.supplier or NOBODY_KNOWN, book.price or 0)


def _read(ahead: HomeAhead, planned: Mapping[str, Planned] | None) -> OrderReading:
    home, today = ahead.home, ahead.today
    problem, others = _problems(ahead, planned)
    plan, beside = plan_orders(problem, today), plan_orders(others, today)
    speech = speech_of(home)
    coming = tuple(sorted((*plan.coming, *beside.coming), key=_when_ordered))
    plan = replace(plan, coming=coming)
    without = tuple(
        _without(home, line.workbook, line.learner, order.by, line.needed, today)
        for order in beside.orders
        for line in order.lines
    )
    return OrderReading(
        today,
        plan,
        tuple(OrderLineInWords(order, order_sentence(plan, order, speech)) for order in plan.orders),
        plan.months,
        tuple(
            SpareLine(s, home.programme.workbook(s.workbook).title, spare_reason(s, speech))
            for s in plan.spares
        ),
        plan.late,
        _on_the_way(ahead, coming),
        without,
        tuple(
            _supplier_line(home, name, lead) for name, lead in ahead.leads.items() if _matters(ahead, name)
        ),
        (*sentences(plan, speech), *(line.sentence for line in without)),
        tuple(s.copy for s in ahead.unbegun),
        speech,
        _promise(plan, speech),
    )


def _on_the_way(ahead: HomeAhead, coming: Sequence[Coming]) -> tuple[OnTheWay, ...]:
    """Tell the copies on order one by one; those that the plan cannot tell apart stand for each other."""
    open_ = list(coming)
    found = []
    for s in ahead.unbegun:
        if s.status is not CopyStatus.ON_ORDER:
            continue
        asked = _on_order(ahead, s)
        of = next(c for c in open_ if c.order == asked)
        open_.remove(of)
        found.append(
            OnTheWay(
                s.copy,
                s.workbook,
                s.learner,
                asked.supplier,
                asked.ordered,
                of.due,
                asked.expected is not None,
                of.late,
                of.chance,
            )
        )
    return tuple(sorted(found, key=lambda w: (not w.late, w.due, w.supplier, w.ordered, w.workbook, w.copy)))


def _on_order(ahead: HomeAhead, s: Standing) -> OnOrder:
    day = min(ahead.home.calendar.day_of(s.ordered), ahead.today) if s.ordered is not None else ahead.today
    return OnOrder(s.workbook, ahead.supplier_of(s), day, s.learner, s.expected)


def _when_ordered(coming: Coming) -> tuple[date, str, str, str]:
    order = coming.order
    return order.ordered, order.supplier, order.workbook, order.learner or ""


def _matters(ahead: HomeAhead, supplier: str) -> bool:
    return bool(supplier) or ahead.leads[supplier].received + ahead.leads[supplier].waiting > 0


# --- in words -----------------------------------------------------------------------------------------------------


def speech_of(home: Home) -> Speech:
    """How the sums and names of a home are written."""
    names = {book.code: book.title for book in home.programme.workbooks.values()}
    names |= {learner.id: learner.name for learner in home.learners}
    names[NOBODY_KNOWN] = say("the supplier")
    return Speech(home.programme.currency, 2, names)


def order_sentence(plan: OrderPlan, order: Order, speech: Speech) -> str:
    """One order of a plan as a parent reads it."""
    alone = replace(plan, orders=(order,), spares=(), coming=(), promised=None)
    return sentences(alone, speech)[0]


def _promise(plan: OrderPlan, speech: Speech) -> str:
    if plan.promised is None:
        return ""
    return sentences(replace(plan, orders=(), spares=(), coming=()), speech)[0]


def _without(
    home: Home, workbook: str, learner: str | None, by: date, needed: date, today: date
) -> WithoutOffer:
    lacks = _lacks(home.programme.workbook(workbook))
    title = book_words(home, workbook)
    if learner in home.people and learner:
        title = say("{title} for {learner}", title=title, learner=home.person(learner).name)
    sentence = (
        say(
            "{title} is needed now and cannot be planned: no {lacks} is entered. Enter it under Orders.",
            title=title,
            lacks=lacks,
        )
        if needed <= today
        else say(
            "{title} is needed about {day} and cannot be planned: no {lacks} is entered. "
            "Enter it under Orders.",
            title=title,
            day=date_words(needed),
            lacks=lacks,
        )
    )
    return WithoutOffer(workbook, learner, by, needed, lacks, sentence)


def _supplier_line(home: Home, name: str, lead: LeadBelief) -> SupplierLine:
    told = say(
        "{supplier}: half of its parcels come within {half}, 9 of 10 within {most}.",
        supplier=name or say("Suppliers that are not named"),
        half=plural(lead.median_days, "day"),
        most=plural(lead.days_for(0.9), "day"),
    )
    usual = home.wishes.supplier(name).days
    came = counted(lead.received, "{n} parcel that came", "{n} parcels that came")
    waiting = counted(lead.waiting, "{n} that has not come yet", "{n} that have not come yet")
    if lead.received and lead.waiting:
        rests = say("It rests on {parcels}, and on {waiting}.", parcels=came, waiting=waiting)
    elif lead.received:
        rests = say("It rests on {parcels}.", parcels=came)
    elif lead.waiting:
        rests = say(
            "No parcel has come yet: it rests on the {days:g} days that are entered or usual, and on {waiting}.",
            days=usual,
            waiting=waiting,
        )
    else:
        rests = say(
            "No parcel has come yet: it rests on the {days:g} days that are entered or usual.", days=usual
        )
    return SupplierLine(name, lead, f"{told} {rests}")


# --- for today's page ---------------------------------------------------------------------------------------------


def keep_calls(home: Home, reading: OrderReading) -> None:
    """Keep what an order plan wants ordered by when, and what should have come, in place of what was kept before."""
    lines = [
        DueCall(line.workbook, line.learner, order.supplier, order.by, line.needed, reading.today)
        for order in reading.plan.orders
        for line in order.lines
        for _ in range(line.quantity)
    ]
    awaited = {way.copy: Awaited(way.supplier, way.ordered, way.due) for way in reading.on_the_way}
    order_calls.keep(home.id, reading.today, reading.unbegun, lines, awaited)


def due_calls(home: Home, today: date) -> tuple[DueCall, ...]:
    """What is to be ordered within three days by the latest order plan that was kept.

    A copy that was ordered or came since then takes the call for it away.
    """
    return order_calls.due_calls(home.id, today)


def reading_now(home: Home, today: date) -> OrderReading:
    """Plan the orders of a home that works by its plan in force, where it has one."""
    return order_reading(home, today, planned=planned_of(home, today))


def look(home: Home, today: date) -> OrderReading:
    """Plan the orders of a home, and keep what they call for on today's page."""
    reading = reading_now(home, today)
    keep_calls(home, reading)
    return reading


# --- acts ---------------------------------------------------------------------------------------------------------


class Copies(Protocol):
    """Copies of one workbook to order, for a learner or to spare: a line of an order."""

    @property
    def workbook(self) -> str: ...
    @property
    def learner(self) -> str | None: ...
    @property
    def quantity(self) -> int: ...


@dataclass(frozen=True, slots=True)
class Wanted:
    """Copies that somebody asks for by hand."""

    workbook: str
    learner: str | None
    quantity: int


def place(
    household: str,
    order: Order,
    *,
    by: str,
    at: datetime,
    expected: date | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """Order all copies of an order of the plan in one act: see `place_copies`."""
    return place_copies(household, order.lines, by=by, at=at, expected=expected, slip=slip)


def place_copies(
    household: str,
    lines: Sequence[Copies],
    *,
    by: str,
    at: datetime,
    expected: date | None = None,
    slip: Slip = PLAIN,
) -> Done:
    """Order copies in one act; price and supplier are the programme's.

    Where the unit test of a workbook was not passed, its copy is told that the new one was ordered.

    Raises:
        InputError: there is nothing to order, they should come before they are ordered, or a copy for one of the learners
            is there or on order by now.
        RefusedError: who asks may not order.
        UnknownError: the programme has no such workbook, or the home no such learner.
    """

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        if slip.act is not None and desk.written(slip.act) is not None:
            return ()
        if not any(line.quantity for line in lines):
            raise InputError([Problem(say("order"), say("no copies"), say("at least one"))])
        today = desk.home.calendar.day_of(at)
        if expected is not None and expected < today:
            allowed = say("a day from {day} on, or nothing", day=today)
            raise InputError([Problem(say("expected"), str(expected), allowed)])
        _still_to_order(desk, lines)
        waiting = _waiting_for_new(desk, {line.workbook for line in lines})
        facts: list[AnyFact] = []
        for line in lines:
            book = desk.home.programme.workbook(line.workbook)
            for _ in range(line.quantity):
                fresh = new_copy_id()
                failed = waiting.pop((line.workbook, line.learner), None)
                if failed is not None:
                    facts.append(WorkbookReordered(failed, fresh))
                facts.append(CopyOrdered(fresh, book.code, line.learner, book.supplier, book.price, expected))
        return facts

    return Acting(household).write(proposal, by=by, at=at, slip=slip)


def _still_to_order(desk: Desk, lines: Sequence[Copies]) -> None:
    """Refuse what somebody else has ordered since the plan was made.

    Raises:
        InputError: a copy for a learner of the order is there or on order.
        UnknownError: the home has no such learner.
    """
    wanted = {(line.workbook, desk.home.person(line.learner).id) for line in lines if line.learner}
    rows = CopyRow.objects.filter(
        household=desk.row, status__in=UNBEGUN, workbook__in={workbook for workbook, _ in wanted}
    )
    there = wanted & set(rows.values_list("workbook", "learner"))
    if there:
        do = say("Look at the orders again, and order what is still open.")
        raise InputError(
            [
                Problem(
                    say(
                        "{title} for {learner}",
                        title=book_words(desk.home, workbook),
                        learner=desk.home.person(learner).name,
                    ),
                    say("a copy that is in the house or on order already"),
                    say("a copy that is still to be ordered"),
                    do,
                )
                for workbook, learner in sorted(there)
            ]
        )


def _waiting_for_new(desk: Desk, workbooks: set[str]) -> dict[tuple[str, str | None], str]:
    """Copies whose unit test was not passed and for which no new one was ordered, by workbook and learner."""
    rows = list(
        CopyRow.objects.filter(
            household=desk.row,
            live=True,
            status__in=(CopyStatus.FINISHED, CopyStatus.SENT),
            workbook__in=workbooks,
        )
    )
    known = facts_and_standings(desk.home.id, rows)
    standings = [known[row.id][1] for row in rows]
    return {(s.workbook, s.learner): s.copy for s in standings if s.failed and s.replaced_by is None}


def receive_all(household: str, copies: Sequence[str], *, by: str, at: datetime, slip: Slip = PLAIN) -> Done:
    """Book in all copies of a parcel in one act.

    Raises:
        InputError: there are none.
        RefusedError: one of them is not on order.
        UnknownError: the home has no such copy.
    """

    def proposal(desk: Desk) -> Sequence[AnyFact]:
        if not copies:
            raise InputError([Problem(say("copies"), say("none"), say("at least one copy that is on order"))])
        for copy in copies:
            desk.known_copy(copy)
        return [CopyReceived(copy) for copy in dict.fromkeys(copies)]

    return Acting(household).write(proposal, by=by, at=at, slip=slip)
