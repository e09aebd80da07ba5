"""Homes that order workbooks: possible years, parcels, and what a way of ordering comes to in them.

Nothing here is taken from the room that is judged, save the frozen values that it reads and gives. `python -m
tests.forecast.order_worlds` prints the tables of `docs/explanation/orders.md`; with `--write` it puts them there.
"""

import sys
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from markstead.forecast.lead import LeadBelief, Parcel, learn_lead
from markstead.forecast.lots import Terms
from markstead.forecast.orders import (
    Failures,
    Need,
    Offer,
    OrderPlan,
    OrderProblem,
    OrderSettings,
    Supplier,
    plan_orders,
)

Floats = NDArray[np.float64]

TODAY = date(2026, 9, 1)
HORIZON = 300
SETTINGS = OrderSettings(horizon=HORIZON)
BOOKS = 7
LEARNERS = (("ruth", 4), ("asa", 6), ("noa", 6))
"""A learner and the level; asa and noa work from the same titles."""
COURSES = ("maths", "grammar", "science", "history")
TERMS = {"north": Terms(postage=450, free_from=6000), "south": Terms(postage=700, least=2500)}
SUPPLIER = {"maths": "north", "grammar": "north", "science": "north", "history": "south"}
PRICE = {"maths": 950, "grammar": 780, "science": 1120, "history": 860}


def offers() -> tuple[Offer, ...]:
    return tuple(
        Offer(f"{course}-{level}-{book}", SUPPLIER[course], PRICE[course])
        for course in COURSES
        for level in sorted({level for _, level in LEARNERS})
        for book in range(BOOKS)
    )


@dataclass(frozen=True)
class Years:
    """Possible years: when each copy is needed, and when unit tests are failed; calendar days, infinity for never."""

    needs: dict[tuple[str, str], Floats]
    failures: dict[str, Floats]

    @property
    def count(self) -> int:
        return len(next(iter(self.needs.values())))


def draw_years(count: int, rng: np.random.Generator, fail: float = 0.15) -> Years:
    """Each workbook takes log-normal school days, a failed unit test sends a learner through it once more.

    A learner's pace is off by the same factor in all courses of a year; the first workbook is in the house.
    """
    needs, failed = {}, {}
    for learner, level in LEARNERS:
        own = np.exp(0.12 * rng.standard_normal(count))
        for course in COURSES:
            at = np.zeros(count)
            for book in range(BOOKS):
                code = f"{course}-{level}-{book}"
                if book:
                    needs[code, learner] = np.where(at <= HORIZON, np.floor(at), np.inf)
                days = 24 * own * np.exp(0.25 * rng.standard_normal(count))
                at = at + days * 7 / 5
                fails = (rng.random(count) < fail) & (at <= HORIZON)
                failed.setdefault(code, []).append(np.where(fails, np.floor(at), np.inf))
                at = at + np.where(fails, 0.6 * days * 7 / 5, 0)
    return Years(needs, {code: np.stack(days, axis=1) for code, days in failed.items()})


@dataclass(frozen=True)
class Lead:
    """The true lead time of a supplier: whole days, log-normal or gamma."""

    middle: float
    spread: float
    shape: str = "log-normal"

    def draw(self, size: int | tuple[int, ...], rng: np.random.Generator) -> Floats:
        if self.shape == "gamma":
            k = 1 / self.spread**2
            return np.round(rng.gamma(k, self.middle / k, size))
        days = np.round(np.exp(np.log(self.middle) + self.spread * rng.standard_normal(size)))
        if self.shape == "sometimes slow":
            days = np.where(rng.random(size) < 0.1, np.round(2.5 * days), days)
        return days

    def known(self) -> LeadBelief:
        """The belief of somebody who has seen a million parcels of it."""
        many = 1e6
        return LeadBelief(float(np.log(self.middle)), many, many, self.spread**2 * many)


def problem(years: Years, beliefs: dict[str, LeadBelief], settings: OrderSettings = SETTINGS) -> OrderProblem:
    return OrderProblem(
        needs=tuple(Need(code, learner, days) for (code, learner), days in years.needs.items()),
        offers=offers(),
        suppliers=tuple(Supplier(name, beliefs[name], TERMS[name]) for name in sorted(TERMS)),
        failures=tuple(Failures(code, days) for code, days in years.failures.items()),
        settings=settings,
    )


@dataclass(frozen=True)
class Placed:
    """An order as it is placed: a day, a supplier, and the copies (workbook, learner); learner None for a spare."""

    supplier: str
    day: int
    copies: tuple[tuple[str, str | None], ...]


def placed_by(plan: OrderPlan) -> list[Placed]:
    return [
        Placed(
            order.supplier,
            (order.by - plan.today).days,
            tuple((line.workbook, line.learner) for line in order.lines for _ in range(line.quantity)),
        )
        for order in plan.orders
    ]


def copies_of(placed: list[Placed]) -> list[tuple[str, tuple[str, str | None]]]:
    return [(order.supplier, copy) for order in placed for copy in order.copies]


def days_of(copy: tuple[str, str | None], spare: int, years: Years) -> Floats:
    code, learner = copy
    if learner is not None:
        return years.needs[code, learner]
    return np.sort(years.failures[code], axis=1)[:, spare]


def one_by_one(
    placed: list[Placed], years: Years, leads: dict[str, Lead], rng: np.random.Generator
) -> list[Placed]:
    """Each copy alone, on the last day on which it comes in time in 95 of 100 drawn years; found by trying days."""
    alone, spares = [], {}
    for supplier, copy in copies_of(placed):
        days = days_of(copy, _next_spare(copy, spares), years)
        days = days[np.isfinite(days)]
        # In time if day + lead + 1 <= need: the last day is a quantile of need - lead - 1 over the drawn years.
        slack = np.sort(days - leads[supplier].draw(len(days), rng) - 1)
        day = slack[int(np.floor((1 - SETTINGS.service) * len(slack)))]
        alone.append(Placed(supplier, max(int(day), 0), (copy,)))
    return alone


def by_the_middle(placed: list[Placed], years: Years, leads: dict[str, Lead]) -> list[Placed]:
    """As with pencil and paper: each copy alone, the usual lead time before the middle day of need."""
    alone, spares = [], {}
    for supplier, copy in copies_of(placed):
        days = days_of(copy, _next_spare(copy, spares), years)
        middle = float(np.median(days[np.isfinite(days)]))
        alone.append(Placed(supplier, max(int(middle - leads[supplier].middle - 1), 0), (copy,)))
    return alone


def all_today(placed: list[Placed]) -> list[Placed]:
    return [
        Placed(name, 0, tuple(copy for supplier, copy in copies_of(placed) if supplier == name))
        for name in sorted({order.supplier for order in placed})
    ]


def _next_spare(copy: tuple[str, str | None], spares: dict[str, int]) -> int:
    if copy[1] is not None:
        return 0
    spares[copy[0]] = spares.get(copy[0], -1) + 1
    return spares[copy[0]]


@dataclass(frozen=True)
class Outcome:
    """What became of a way of ordering, year by year; spares are paid but are not among the needed workbooks."""

    needed: Floats
    in_time: Floats
    cost: Floats
    orders: int
    postage: float
    filled_up: float
    tied_up: float

    @property
    def share(self) -> float:
        return float(self.in_time.sum() / self.needed.sum())

    @property
    def share_se(self) -> float:
        rest = self.in_time - self.share * self.needed
        return float(rest.std(ddof=1) / (self.needed.mean() * np.sqrt(len(rest))))


def live(placed: list[Placed], years: Years, leads: dict[str, Lead], rng: np.random.Generator) -> Outcome:
    """Place the orders in every year: a parcel has one lead time, all of its copies come with it."""
    price = {offer.workbook: offer.price for offer in offers()}
    needed = sum(np.isfinite(days) for days in years.needs.values()).astype(float)
    in_time, tied = np.zeros(years.count), np.zeros(years.count)
    goods, postage, filled, spares = 0.0, 0.0, 0.0, {}
    for order in placed:
        value = sum(price[code] for code, _ in order.copies)
        terms = TERMS[order.supplier]
        goods += value
        postage += 0 if terms.free_from is not None and value >= terms.free_from else terms.postage
        filled += max(terms.least - value, 0)
        there = order.day + leads[order.supplier].draw(years.count, rng)
        for copy in order.copies:
            days = days_of(copy, _next_spare(copy, spares), years)
            tied += price[copy[0]] * 0.20 / 365 * np.maximum(np.minimum(days, HORIZON) - order.day, 0)
            if copy[1] is not None:
                in_time += np.isfinite(days) & (there + 1 <= days)
    cost = goods + postage + filled + tied
    return Outcome(needed, in_time, cost, len(placed), postage, filled, float(tied.mean()))


LEADS = {"north": Lead(6, 0.30), "south": Lead(11, 0.40)}


def known_world(paths: int, years: int, seed: int) -> tuple[OrderPlan, dict[str, Outcome]]:
    """A home that knows its suppliers: the plan and the other ways, on the same years."""
    rng = np.random.default_rng(seed)
    forecast = draw_years(paths, rng)
    plan = plan_orders(problem(forecast, {name: lead.known() for name, lead in LEADS.items()}), TODAY)
    placed = placed_by(plan)
    ways = {
        "the plan": placed,
        "one by one, as late as 95 in 100 allow": one_by_one(placed, forecast, LEADS, rng),
        "everything at once, today": all_today(placed),
        "one by one, by the middle day of need": by_the_middle(placed, forecast, LEADS),
    }
    to_come = draw_years(years, rng)
    return plan, {name: live(way, to_come, LEADS, rng) for name, way in ways.items()}


def learnt_world(shape: str, homes: int, years: int, parcels: int, seed: int) -> tuple[Floats, Floats]:
    """Homes that learn their suppliers from a few parcels, two of them still out: promised and true share, [homes].

    Suppliers differ as the prior has it: their variance is inverse gamma (3, .37), their middle is drawn around 8 days.
    """
    rng = np.random.default_rng(seed)
    forecast = draw_years(400, rng)
    promised, true = np.empty(homes), np.empty(homes)
    for home in range(homes):
        leads, beliefs = {}, {}
        for name in sorted(TERMS):
            variance = 0.37 / rng.gamma(3)
            lead = Lead(
                float(8 * np.exp(np.sqrt(variance / 2) * rng.standard_normal())),
                float(np.sqrt(variance)),
                shape,
            )
            leads[name], beliefs[name] = lead, learn_lead(history(lead, parcels, rng), TODAY)
        plan = plan_orders(problem(forecast, beliefs), TODAY)
        outcome = live(placed_by(plan), draw_years(years, rng), leads, rng)
        promised[home], true[home] = plan.promised or np.nan, outcome.share
    return promised, true


def history(lead: Lead, parcels: int, rng: np.random.Generator) -> list[Parcel]:
    """Orders of the last year, the newest two of the last days; what has not come by today is still out."""
    ago = np.concatenate([rng.integers(30, 365, max(parcels - 2, 0)), rng.integers(1, 15, min(parcels, 2))])
    days = lead.draw(len(ago), rng)
    return [
        Parcel(TODAY - timedelta(days=int(a)), TODAY - timedelta(days=int(a - d)) if d <= a else None)
        for a, d in zip(ago, days, strict=True)
    ]


def tables() -> str:
    plan, ways = known_world(paths=10_000, years=10_000, seed=20261125)
    lines = [
        f"Promised {plan.promised:.4f} (se {plan.promised_se:.4f}).",
        "",
        "| way of ordering | in time (se) | orders | postage | filling up | money tied up | total |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    lines += [
        f"| {name} | {o.share:.4f} ({o.share_se:.4f}) | {o.orders} | {o.postage / 100:.2f} | {o.filled_up / 100:.2f} | {o.tied_up / 100:.2f} "
        f"| {o.cost.mean() / 100:.2f} |"
        for name, o in ways.items()
    ]
    lines += [
        "",
        "| suppliers | parcels seen | promised | in time (se) | homes below .95 | worst tenth of homes |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for shape in ("log-normal", "gamma", "sometimes slow"):
        for parcels in (0, 3, 12):
            promised, true = learnt_world(shape, 100, 100, parcels, seed=7)
            lines.append(
                f"| {shape} | {parcels} | {promised.mean():.4f} | {true.mean():.4f} "
                f"({true.std(ddof=1) / 10:.4f}) | {int((true < 0.95).sum())} of 100 | {np.quantile(true, 0.1):.3f} |"
            )
    return "\n".join(lines)


def main() -> None:
    text = tables()
    if "--write" in sys.argv:
        page = Path("docs/explanation/orders.md")
        head, _, rest = page.read_text(encoding="utf-8").partition("<!-- orders: begin -->")
        tail = rest.partition("<!-- orders: end -->")[2]
        page.write_text(
            f"{head}<!-- orders: begin -->\n\n{text}\n\n<!-- orders: end -->{tail}", encoding="utf-8"
        )
    else:
        print(text)  # noqa: T201


if __name__ == "__main__":
    main()
