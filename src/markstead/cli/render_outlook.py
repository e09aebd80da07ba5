"""Forecasts and orders as plain values for JSON. The names of the keys are kept stable; sums are in minor units."""

from collections.abc import Sequence
from datetime import date

from markstead.cli.render import Plain, person
from markstead.cli.render_estimates import day
from markstead.forecast.orders import Coming, Costs, Order
from markstead.forecast.outlook import QUANTILES, Chance, DoneBy, FinishDates
from markstead.records.home import Home
from markstead.records.ordering import OrderReading
from markstead.records.outlooks import NeedLine, TargetLine, YearReading


def chance(found: Chance | None) -> Plain | None:
    """A chance with its standard error; None where there is none."""
    return None if found is None else {"chance": found.share, "standard_error": found.se}


def quantiles(days: Sequence[date | None]) -> list[Plain]:
    """The days by which shares of the possible years are there; null for later than the calendar."""
    return [{"share": share, "day": day(on)} for share, on in zip(QUANTILES, days, strict=True)]


def finish(found: FinishDates) -> Plain:
    return {"by": quantiles(found.dates), "within_calendar": chance(found.within)}


def done_by(rows: Sequence[DoneBy]) -> list[Plain]:
    return [
        {
            "day": day(row.day),
            "mean": row.mean,
            "standard_error": row.se,
            "done": [{"share": share, "workbooks": n} for share, n in zip(QUANTILES, row.done, strict=True)],
        }
        for row in rows
    ]


def years(found: Sequence[YearReading], today: date, paths: int, home: Home) -> Plain:
    """The rest of the year of each learner."""
    return {"today": day(today), "paths": paths, "learners": [_year(reading, home) for reading in found]}


def _year(found: YearReading, home: Home) -> Plain:
    workbooks = found.outlook.workbooks if found.outlook is not None else ()
    return {
        **(person(found.learner) or {}),
        "last_school_day": day(found.last_day),
        "targets": [_target(line, home) for line in found.targets],
        "all_targets": chance(found.all_targets),
        "courses": [
            {
                "course": line.course,
                "title": line.title,
                "workbooks": line.workbooks,
                "days_known": line.told.days_known,
                "by_the_last_day": chance(line.told.chance),
                "finished": finish(line.finish),
                "sentence": line.sentence,
            }
            for line in found.courses
        ],
        "workbooks": [{"workbook": f.workbook, "course": f.course, "finished": finish(f)} for f in workbooks],
        "needs": [_need(line) for line in found.needs],
        "by_week": done_by(found.by_week),
        "by_month": done_by(found.by_month),
        "notes": list(found.notes),
    }


def _target(line: TargetLine, home: Home) -> Plain:
    code = line.target.workbook
    return {
        "course": line.target.course,
        "workbook": code,
        "title": home.programme.workbook(code).title if code is not None else None,
        "by": day(line.target.by),
        "met": line.met,
        "chance": chance(line.told.chance) if line.told is not None else None,
        "finished": finish(line.told.finish) if line.told is not None else None,
        "sentence": line.sentence,
    }


def _need(line: NeedLine) -> Plain:
    there = "in the house"
    if line.ready.not_before is not None:
        there = "on order" if line.ready.on_order else "not ordered"
    return {
        "course": line.course,
        "workbook": line.workbook,
        "title": line.title,
        "copy": there,
        "copy_from": day(line.ready.not_before),
        "needed": quantiles(line.dates.dates),
        "within_calendar": chance(line.dates.within),
        "sentence": line.sentence,
    }


# --- orders -------------------------------------------------------------------------------------------------------


def orders(found: OrderReading, home: Home) -> Plain:
    """What to order when, the budget, and what that rests on."""
    plan = found.plan
    return {
        "today": day(found.today),
        "currency": home.programme.currency,
        "service_level": plan.level,
        "orders": [{**_order(line.order, found, home), "sentence": line.sentence} for line in found.orders],
        "months": [{"year": m.year, "month": m.month, "amount": m.amount} for m in found.months],
        "spares": [
            {
                "workbook": line.spare.workbook,
                "title": line.title,
                "keep": line.spare.keep,
                "there": line.spare.there,
                "to_order": line.spare.to_order,
                "any_failure": line.spare.any_failure,
                "sentence": line.sentence,
            }
            for line in found.spares
        ],
        "coming": [_coming(coming, home) for coming in plan.coming],
        "without_offer": [
            {
                "workbook": w.workbook,
                "title": home.programme.workbook(w.workbook).title,
                "learner": _learner(w.learner, home),
                "by": day(w.by),
                "needed": day(w.needed),
                "lacks": w.lacks,
                "sentence": w.sentence,
            }
            for w in found.without_offer
        ],
        "hardly_needed": [
            {"workbook": w.workbook, "learner": _learner(w.learner, home), "chance": w.chance}
            for w in plan.left_out
        ],
        "suppliers": [
            {
                "name": line.name,
                "half_within_days": line.lead.median_days,
                "nine_of_ten_within_days": line.lead.days_for(0.9),
                "parcels_received": line.lead.received,
                "parcels_waiting": line.lead.waiting,
                "sentence": line.sentence,
            }
            for line in found.suppliers
        ],
        "in_time": {"chance": plan.promised, "standard_error": plan.promised_se},
        "costs": {
            "planned": _costs(plan.costs),
            "one_by_one": _costs(plan.one_by_one),
            "all_today": _costs(plan.all_today),
        },
        "sentences": list(found.sentences),
    }


def _learner(who: str | None, home: Home) -> Plain | None:
    return person(home.people.get(who or ""))


def _order(order: Order, found: OrderReading, home: Home) -> Plain:
    return {
        "supplier": order.supplier,
        "by": day(order.by),
        "due": order.by <= found.today,
        "value": order.value,
        "postage": order.postage,
        "missing": order.missing,
        "total": order.total,
        "expected": day(order.expected),
        "at_the_latest": day(order.at_the_latest),
        "lines": [
            {
                "workbook": line.workbook,
                "title": home.programme.workbook(line.workbook).title,
                "learner": _learner(line.learner, home),
                "quantity": line.quantity,
                "price": line.price,
                "needed": day(line.needed),
                "in_time": {"chance": line.chance, "standard_error": line.chance_se},
                "short_of_level": line.short_of_level,
            }
            for line in order.lines
        ],
    }


def _coming(found: Coming, home: Home) -> Plain:
    order = found.order
    return {
        "workbook": order.workbook,
        "title": home.programme.workbook(order.workbook).title,
        "learner": _learner(order.learner, home),
        "supplier": order.supplier,
        "ordered": day(order.ordered),
        "due": day(found.due),
        "late": found.late,
        "in_time": found.chance,
    }


def _costs(found: Costs) -> Plain:
    return {
        "orders": found.orders,
        "goods": found.goods,
        "postage": found.postage,
        "filled_up": found.filled_up,
        "tied_up": found.tied_up,
        "total": found.total,
    }
