"""What to order when: which copies, at which supplier, by which day, so that the next workbooks are in the house in time.

A copy may be ordered as late as it still comes in time with the chance that the home asked for: chance in time on day t is
the mean over the paths of the forecast of P(lead time <= need day - t - days to spare), among the paths that need it at
all. Copies of one supplier are then joined into orders (`forecast.lots.join_orders`): each later than it must be is a
parcel more, each earlier ties money up. Spares for failed unit tests are those of the newsvendor, less those that would hardly
come before the test: how many of the next failures are worth a copy that lies ready.

All chances are advice: they hold if needs fall as forecast and the supplier goes on as before. Plan again when something
has changed, and order only what is due.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from markstead.errors import InputError, Problem
from markstead.forecast.lead import LeadBelief
from markstead.forecast.lots import JointOrder, Stock, Terms, cost_of_orders, join_orders, newsvendor
from markstead.speech import say

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Need:
    """A learner will need one copy of a workbook."""

    workbook: str
    learner: str
    days: Floats
    """[paths]: calendar days from today until the copy is needed; infinity on a path that does not need it. Path k is
    the same possible year in all needs and failures."""


@dataclass(frozen=True, slots=True, eq=False)
class Failures:
    """Failed unit tests of a workbook, of all learners together; each wants another copy."""

    workbook: str
    days: Floats
    """[paths, most failures]: calendar days from today, in any order; infinity where there is no more failure."""


@dataclass(frozen=True, slots=True)
class Offer:
    """Where a workbook comes from, and for how much in minor units of the currency."""

    workbook: str
    supplier: str
    price: int


@dataclass(frozen=True, slots=True)
class Supplier:
    """A supplier: how long it takes, and what an order costs beside its copies."""

    id: str
    lead: LeadBelief
    terms: Terms = field(default_factory=Terms)


@dataclass(frozen=True, slots=True)
class InHouse:
    """Copies that nobody has begun; without a learner they serve whoever needs one first."""

    workbook: str
    learner: str | None = None
    quantity: int = 1


@dataclass(frozen=True, slots=True)
class OnOrder:
    """One copy that was ordered and has not come."""

    workbook: str
    supplier: str
    ordered: date
    learner: str | None = None
    expected: date | None = None
    """The day that the supplier named; None where it named none."""


@dataclass(frozen=True, slots=True)
class OrderSettings:
    """What the home wants of its orders."""

    service: float = 0.95
    """Chance with which each workbook is to be in the house when it is needed."""
    days_to_spare: int = 1
    """A copy counts as in time if it came at least so many days before: 1 because the post comes after school begins."""
    tied_up_a_year: float = 0.20
    """What money in copies that lie ready costs a year, as a share of their price: the money, the shelf, and plans that change."""
    day_lost: int = 150
    """What a day without the workbook after a failed unit test is worth to the home; minor units."""
    left_over: float = 0.0
    """Share of its price that a spare nobody needed is still worth."""
    least_chance: float = 0.05
    """Copies needed within the horizon with less chance are left out."""
    late_from: float = 0.90
    """An order is late when it takes longer than this share of the supplier's parcels."""
    horizon: int = 365
    """Calendar days that are planned."""

    def __post_init__(self) -> None:
        problems = [
            Problem(where, str(value), say("a number above 0 and below 1"))
            for where, value in ((say("service level"), self.service), (say("late from"), self.late_from))
            if not 0 < value < 1
        ]
        if not 0 <= self.left_over < 1:
            problems.append(
                Problem(say("worth of a left spare"), str(self.left_over), say("a share from 0 up, below 1"))
            )
        for where, value in (
            (say("days to spare"), self.days_to_spare),
            (say("cost of money tied up"), self.tied_up_a_year),
            (say("worth of a day"), self.day_lost),
            (say("least chance"), self.least_chance),
            (say("horizon"), self.horizon - 1),
        ):
            if not (value >= 0 and math.isfinite(value)):
                problems.append(Problem(where, str(value), say("a number from 0 up")))
        if problems:
            raise InputError(problems)


DEFAULTS = OrderSettings()


@dataclass(frozen=True, slots=True, eq=False)
class OrderProblem:
    """Everything that an order plan is made from."""

    needs: tuple[Need, ...]
    offers: tuple[Offer, ...]
    suppliers: tuple[Supplier, ...]
    failures: tuple[Failures, ...] = ()
    in_house: tuple[InHouse, ...] = ()
    on_order: tuple[OnOrder, ...] = ()
    settings: OrderSettings = DEFAULTS

    def __post_init__(self) -> None:
        paths = {len(n.days) for n in self.needs} | {len(f.days) for f in self.failures}
        if len(paths) > 1 or 0 in paths:
            raise ValueError(f"needs and failures want the same paths, at least one; got {sorted(paths)}")
        if any(n.days.ndim != 1 for n in self.needs) or any(f.days.ndim != 2 for f in self.failures):
            raise ValueError("days of a need are [paths], of failures [paths, most failures]")


@dataclass(frozen=True, slots=True)
class OrderLine:
    """Copies of one workbook for one learner in an order; without a learner they are spares."""

    workbook: str
    learner: str | None
    quantity: int
    price: int
    """Of one copy."""
    needed: date
    """Middle day of need, among the years that need it."""
    chance: float
    """Chance that the copy is there in time, among the years that need it; of several the mean."""
    chance_se: float
    """Standard error of that chance, from the number of paths alone."""
    short_of_level: bool = False
    """Even ordered today, the chance stays below the level that the home asked for."""


@dataclass(frozen=True, slots=True)
class Order:
    """One order at one supplier."""

    supplier: str
    by: date
    """The last day on which it suits all of its copies."""
    lines: tuple[OrderLine, ...]
    value: int
    postage: int
    missing: int
    """What is missing to the supplier's least order; it is counted as paid."""
    expected: date
    """Half of the supplier's parcels have come by then."""
    at_the_latest: date
    """19 of 20 have come by then."""

    @property
    def total(self) -> int:
        """What is paid."""
        return self.value + self.postage + self.missing


@dataclass(frozen=True, slots=True)
class Spare:
    """How many copies of a workbook to keep for failed unit tests, and why."""

    workbook: str
    keep: int
    there: int
    """Left over in the house or on order."""
    to_order: int
    any_failure: float
    """Chance of at least one failure within the horizon."""
    stock: Stock
    """What would be kept were every spare there before the test; of tests to be sat soon fewer are."""
    wait: int
    """Days that a learner waits for a copy that is ordered after the failure."""
    wait_cost: int
    unused_cost: int


@dataclass(frozen=True, slots=True)
class Coming:
    """A copy on order, and how likely it is in time."""

    order: OnOrder
    waited: int
    """Days since the order."""
    due: date
    """The day that the supplier named, or by which 9 of 10 of its parcels have come (`late_from`)."""
    late: bool
    chance: float | None
    """Chance that it is there when it is needed; None for a copy that nobody needs within the horizon."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A copy that is hardly needed within the horizon and is not ordered yet."""

    workbook: str
    learner: str
    chance: float


@dataclass(frozen=True, slots=True)
class MonthTotal:
    """What the orders of a month cost."""

    year: int
    month: int
    amount: int


@dataclass(frozen=True, slots=True)
class Costs:
    """What a way of ordering costs within the horizon; minor units."""

    orders: int
    goods: float
    postage: float
    filled_up: float
    tied_up: float
    """Expected cost of copies that lie ready before they are needed."""

    @property
    def total(self) -> float:
        """All of it."""
        return self.goods + self.postage + self.filled_up + self.tied_up


@dataclass(frozen=True, slots=True)
class OrderPlan:
    """What to order when."""

    today: date
    orders: tuple[Order, ...]
    spares: tuple[Spare, ...]
    coming: tuple[Coming, ...]
    left_out: tuple[LeftOut, ...]
    months: tuple[MonthTotal, ...]
    level: float
    promised: float | None
    """Share of the needed workbooks that are there in time, of those that are not in the house or on order yet and of
    those left out; None where there are none."""
    promised_se: float | None
    costs: Costs
    one_by_one: Costs
    """Each copy ordered alone, on its own last day."""
    all_today: Costs
    """Everything ordered today."""

    @property
    def late(self) -> tuple[Coming, ...]:
        """Orders that should have come: call the supplier."""
        return tuple(coming for coming in self.coming if coming.late)

    @property
    def due(self) -> tuple[Order, ...]:
        """Orders to place today."""
        return tuple(order for order in self.orders if order.by <= self.today)


@dataclass(frozen=True, slots=True, eq=False)
class _Wanted:
    """One copy that has to be ordered; `learner` is None for a spare."""

    workbook: str
    learner: str | None
    days: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Basket:
    """The copies wanted of one supplier, with all that its orders are made from; n copies, days 0 .. horizon."""

    supplier: Supplier
    wanted: tuple[_Wanted, ...]
    price: Floats
    in_time: Floats
    """[n, days]: chance that a copy ordered on that day is there in time, if it is needed."""
    latest: Whole
    tied: Floats
    orders: tuple[JointOrder, ...]


def plan_orders(problem: OrderProblem, today: date) -> OrderPlan:
    """Plan what to order when; the same problem gives the same plan.

    Raises:
        InputError: a workbook that is wanted has no offer, a supplier is not known, or an order lies after today.
    """
    settings, offers = problem.settings, {offer.workbook: offer for offer in problem.offers}
    suppliers = {supplier.id: supplier for supplier in problem.suppliers}
    _judge(problem, offers, suppliers, today)
    uncovered, left, coming = _covered(problem, suppliers, today)
    spares, spare_copies = _spares(problem, offers, suppliers, left)
    wanted: list[_Wanted] = []
    left_out = []
    for need in uncovered:
        chance = float(np.isfinite(need.days).mean())
        if chance < settings.least_chance or chance == 0:
            left_out.append(LeftOut(need.workbook, str(need.learner), chance))
        else:
            wanted.append(need)
    by_supplier: dict[str, list[_Wanted]] = {}
    for copy in [*wanted, *spare_copies]:
        by_supplier.setdefault(offers[copy.workbook].supplier, []).append(copy)
    baskets = [_basket(suppliers[s], by_supplier[s], offers, settings) for s in sorted(by_supplier)]
    orders = sorted(
        (_order(basket, order, settings, today) for basket in baskets for order in basket.orders),
        key=lambda order: (order.by, order.supplier),
    )
    promised, promised_se = _promise(baskets, uncovered, settings)
    return OrderPlan(
        today=today,
        orders=tuple(orders),
        spares=tuple(spares),
        coming=tuple(coming),
        left_out=tuple(left_out),
        months=_by_month(orders),
        level=settings.service,
        promised=promised,
        promised_se=promised_se,
        costs=_costs([(b, b.orders) for b in baskets]),
        one_by_one=_costs([(b, _alone(b)) for b in baskets]),
        all_today=_costs([(b, (JointOrder(0, tuple(range(len(b.wanted)))),)) for b in baskets]),
    )


def _judge(
    problem: OrderProblem, offers: Mapping[str, Offer], suppliers: Mapping[str, Supplier], today: date
) -> None:
    problems = []
    known = ", ".join(sorted(suppliers)) or say("none yet")
    for workbook in sorted({n.workbook for n in problem.needs} | {f.workbook for f in problem.failures}):
        offer = offers.get(workbook)
        if offer is None:
            do = say("Enter its supplier and its price.")
            problems.append(
                Problem(
                    say("workbook {workbook}", workbook=workbook),
                    say("no supplier or no price"),
                    say("both"),
                    do,
                )
            )
        elif offer.price < 0:
            problems.append(
                Problem(
                    say("workbook {workbook}, price", workbook=workbook),
                    str(offer.price),
                    say("a number from 0 up"),
                )
            )
    named = [(say("workbook {workbook}, supplier", workbook=o.workbook), o.supplier) for o in problem.offers]
    named += [(say("order of {day}, supplier", day=o.ordered), o.supplier) for o in problem.on_order]
    problems += [
        Problem(w, repr(s), say("one of {suppliers}", suppliers=known))
        for w, s in named
        if s not in suppliers
    ]
    problems += [
        Problem(
            say("order of {workbook}", workbook=o.workbook),
            f"{o.ordered}",
            say("a day up to {day}", day=today),
        )
        for o in problem.on_order
        if o.ordered > today
    ]
    problems += [
        Problem(
            say("copies of {workbook} in the house", workbook=c.workbook),
            str(c.quantity),
            say("a whole number from 0 up"),
        )
        for c in problem.in_house
        if c.quantity < 0
    ]
    if problems:
        raise InputError(problems)


def _within(days: Floats, horizon: int) -> Floats:
    """Whole days from 0; infinity beyond the horizon."""
    whole = np.maximum(np.floor(days), 0.0)
    return np.asarray(np.where(whole <= horizon, whole, np.inf), dtype=np.float64)


def _covered(
    problem: OrderProblem, suppliers: Mapping[str, Supplier], today: date
) -> tuple[list[_Wanted], dict[str, int], list[Coming]]:
    """Give copies in the house and on order to needs, earliest mean need first.

    Gives the needs without a copy, how many copies of each workbook are left over, and the copies on order. Learners'
    own copies go first, then those in the house, then those on order, the oldest order first.
    """
    settings = problem.settings
    horizon = settings.horizon
    open_needs = [_Wanted(n.workbook, n.learner, _within(n.days, horizon)) for n in problem.needs]
    open_needs.sort(key=lambda w: (float(np.minimum(w.days, horizon + 1).mean()), w.workbook, str(w.learner)))

    def take(workbook: str, learner: str | None) -> _Wanted | None:
        for k, need in enumerate(open_needs):
            if need.workbook == workbook and learner in (None, need.learner):
                return open_needs.pop(k)
        return None

    left: dict[str, int] = {}
    for copies in sorted(problem.in_house, key=lambda c: c.learner is None):
        for _ in range(copies.quantity):
            if take(copies.workbook, copies.learner) is None:
                left[copies.workbook] = left.get(copies.workbook, 0) + 1
    coming = []
    for order in sorted(problem.on_order, key=lambda o: (o.learner is None, o.ordered, o.workbook)):
        need = take(order.workbook, order.learner)
        if need is None:
            left[order.workbook] = left.get(order.workbook, 0) + 1
        coming.append(_coming(order, need, suppliers[order.supplier], settings, today))
    coming.sort(key=lambda c: (c.order.ordered, c.order.supplier, c.order.workbook, c.order.learner or ""))
    return open_needs, left, coming


def _coming(
    order: OnOrder, need: _Wanted | None, supplier: Supplier, settings: OrderSettings, today: date
) -> Coming:
    waited = (today - order.ordered).days
    usual = order.ordered + timedelta(days=supplier.lead.days_for(settings.late_from))
    due = order.expected or usual
    chance = None
    if need is not None and np.isfinite(need.days).any():
        days = need.days[np.isfinite(need.days)] - settings.days_to_spare + waited
        chance = float(supplier.lead.chance_within_after(days, waited).mean())
    return Coming(order, waited, due, today > due, chance)


def _spares(
    problem: OrderProblem,
    offers: Mapping[str, Offer],
    suppliers: Mapping[str, Supplier],
    left: Mapping[str, int],
) -> tuple[list[Spare], list[_Wanted]]:
    """Find how many copies to keep for failures: too few cost days of waiting, too many their price."""
    settings = problem.settings
    spares, copies = [], []
    for failures in sorted(problem.failures, key=lambda f: f.workbook):
        offer = offers[failures.workbook]
        days = np.sort(_within(failures.days, settings.horizon), axis=1)
        counts = np.isfinite(days).sum(axis=1)
        wait = suppliers[offer.supplier].lead.median_days + settings.days_to_spare
        wait_cost, unused_cost = wait * settings.day_lost, round(offer.price * (1 - settings.left_over))
        if not counts.any() or wait_cost + unused_cost == 0:
            continue
        chances = np.bincount(counts) / len(counts)
        stock = newsvendor(chances, wait_cost, unused_cost)
        there = left.get(failures.workbook, 0)
        keep = _worth_keeping(days[:, : stock.quantity], there, wait, wait_cost, unused_cost)
        order = max(keep - there, 0)
        copies += [_Wanted(failures.workbook, None, days[:, there + k]) for k in range(order)]
        any_failure = float((counts > 0).mean())
        spares.append(
            Spare(
                failures.workbook,
                keep,
                there,
                order,
                any_failure,
                stock,
                wait,
                wait_cost,
                unused_cost,
            )
        )
    return spares, copies


def _worth_keeping(days: Floats, there: int, wait: int, wait_cost: int, unused_cost: int) -> int:
    """Find how many spares, up to one for each column of `days`, save more waiting than they cost.

    A spare that is ordered today saves no more than t days after a test that is failed on day t: of a test that is sat
    today it saves nothing, for a copy ordered after that comes as soon.
    """
    failed = np.isfinite(days)
    saved = np.where(failed, np.minimum(days / max(wait, 1), 1.0), 0.0)
    saved[:, :there] = failed[:, :there]
    gains = wait_cost * saved.mean(axis=0) - unused_cost * (1 - failed.mean(axis=0))
    return int(np.argmax(np.concatenate([[0.0], np.cumsum(gains)])))


def _basket(
    supplier: Supplier, wanted: Sequence[_Wanted], offers: Mapping[str, Offer], settings: OrderSettings
) -> _Basket:
    horizon = settings.horizon
    price = np.array([offers[w.workbook].price for w in wanted], dtype=np.float64)
    counts = np.array(
        [np.bincount(w.days[np.isfinite(w.days)].astype(np.int64), minlength=horizon + 1) for w in wanted],
        dtype=np.float64,
    )
    within = supplier.lead.chance_within(np.arange(-horizon - settings.days_to_spare, horizon + 1))
    day = np.arange(horizon + 1)
    # [need day, order day]: the lead time may take what lies between them, less the days to spare.
    chance = within[day[:, None] - day[None, :] + horizon]
    in_time = counts @ chance / counts.sum(axis=1, keepdims=True)
    # Falls with the day; of a copy that is late already, the last day is today.
    latest = np.maximum((in_time >= settings.service).sum(axis=1) - 1, 0)
    tied = price[:, None] * settings.tied_up_a_year / 365 * _days_ahead(wanted, horizon)
    orders = join_orders(latest, price, tied, supplier.terms)
    return _Basket(supplier, tuple(wanted), price, in_time, latest, tied, orders)


def _days_ahead(wanted: Sequence[_Wanted], horizon: int) -> Floats:
    """Expected days from an order to the need, [n, days]; a copy not needed lies until the end of the horizon."""
    ahead = np.empty((len(wanted), horizon + 1))
    for k, copy in enumerate(wanted):
        until = np.minimum(copy.days, horizon).astype(np.int64)
        needed_by = np.cumsum(np.bincount(until, minlength=horizon + 1)) / len(until)
        # E max(N - t, 0) = sum over s >= t of P(N > s).
        ahead[k] = np.cumsum((1 - needed_by)[::-1])[::-1]
    return ahead


def _alone(basket: _Basket) -> tuple[JointOrder, ...]:
    return tuple(JointOrder(int(day), (k,)) for k, day in enumerate(basket.latest))


def _costs(parts: Iterable[tuple[_Basket, Sequence[JointOrder]]]) -> Costs:
    count, goods, postage, filled, tied = 0, 0.0, 0.0, 0.0, 0.0
    for basket, orders in parts:
        terms = basket.supplier.terms
        values = [float(basket.price[list(o.copies)].sum()) for o in orders]
        here = math.fsum(terms.postage_of(v) for v in values)
        fill = math.fsum(terms.short_of(v) for v in values)
        count += len(orders)
        goods += math.fsum(values)
        postage += here
        filled += fill
        tied += cost_of_orders(orders, basket.price, basket.tied, terms) - here - fill
    return Costs(count, goods, postage, filled, tied)


def _order(basket: _Basket, order: JointOrder, settings: OrderSettings, today: date) -> Order:
    lines: dict[tuple[str, bool, str], list[int]] = {}
    for k in order.copies:
        copy = basket.wanted[k]
        lines.setdefault((copy.workbook, copy.learner is None, copy.learner or ""), []).append(k)
    value = int(basket.price[list(order.copies)].sum())
    terms, lead = basket.supplier.terms, basket.supplier.lead
    by = today + timedelta(days=order.day)
    return Order(
        supplier=basket.supplier.id,
        by=by,
        lines=tuple(_line(basket, lines[key], order.day, settings, today) for key in sorted(lines)),
        value=value,
        postage=round(terms.postage_of(value)),
        missing=round(terms.short_of(value)),
        expected=by + timedelta(days=lead.median_days),
        at_the_latest=by + timedelta(days=lead.days_for(0.95)),
    )


def _line(
    basket: _Basket, places: Sequence[int], day: int, settings: OrderSettings, today: date
) -> OrderLine:
    copies = [basket.wanted[k] for k in places]
    chance = float(basket.in_time[list(places), day].mean())
    days = np.concatenate([c.days for c in copies])
    needed = days[np.isfinite(days)]
    parts = basket.supplier.lead.chance_within(needed - settings.days_to_spare - day)
    # A second copy of the same learner is no independent path.
    spread = float(parts.std()) / math.sqrt(max(len(needed) / len(copies), 1.0))
    return OrderLine(
        workbook=copies[0].workbook,
        learner=copies[0].learner,
        quantity=len(copies),
        price=int(basket.price[places[0]]),
        needed=today + timedelta(days=int(np.median(needed))),
        chance=chance,
        chance_se=spread,
        short_of_level=chance < settings.service - 1e-12,
    )


def _promise(
    baskets: Sequence[_Basket], needs: Sequence[_Wanted], settings: OrderSettings
) -> tuple[float | None, float | None]:
    """Share in time of all uncovered needs of learners, a ratio of means over the paths, and its standard error."""
    if not needs:
        return None, None
    needed = np.sum([np.isfinite(n.days) for n in needs], axis=0).astype(np.float64)
    if not needed.any():
        return None, None
    in_time = np.zeros(len(needed))
    for basket in baskets:
        for order in basket.orders:
            for k in order.copies:
                copy = basket.wanted[k]
                if copy.learner is not None:
                    here = np.isfinite(copy.days)
                    days = copy.days[here] - settings.days_to_spare - order.day
                    in_time[here] += basket.supplier.lead.chance_within(days)
    share = float(in_time.sum() / needed.sum())
    rest = in_time - share * needed
    return share, float(rest.std() / (needed.mean() * math.sqrt(len(needed))))


def _by_month(orders: Iterable[Order]) -> tuple[MonthTotal, ...]:
    totals: dict[tuple[int, int], int] = {}
    for order in orders:
        month = (order.by.year, order.by.month)
        totals[month] = totals.get(month, 0) + order.total
    return tuple(MonthTotal(year, month, totals[year, month]) for year, month in sorted(totals))
