"""The order plan in sentences, as a parent reads it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from markstead.forecast.orders import Coming, Order, OrderPlan, Spare
from markstead.speech import date_words


@dataclass(frozen=True, slots=True)
class Speech:
    """How sums and names are written."""

    currency: str = "EUR"
    digits: int = 2
    """Decimals of the currency."""
    names: Mapping[str, str] = field(default_factory=dict)
    """Names of learners, workbooks and suppliers by their codes; a code without a name is written itself."""

    def money(self, amount: float) -> str:
        """Write a sum of minor units."""
        return f"{self.currency} {amount / 10**self.digits:,.{self.digits}f}"

    def name(self, code: str) -> str:
        """Write the name of a code."""
        return self.names.get(code, code)


def sentences(plan: OrderPlan, speech: Speech | None = None) -> tuple[str, ...]:
    """Tell the plan as a parent reads it, the most urgent first: late orders, orders by day, spares, what it comes to."""
    speech = speech or Speech()
    told = [_tell_late(coming, speech) for coming in plan.late]
    told += [_tell_order(order, plan, speech) for order in plan.orders]
    told += [spare_reason(spare, speech) for spare in plan.spares if spare.keep]
    if plan.promised is not None:
        told.append(_tell_promise(plan, plan.promised, speech))
    if not told:
        told.append("Nothing is to be ordered.")
    return tuple(told)


def _in_100(chance: float) -> str:
    """Never certain and never impossible: it is a forecast."""
    if chance > 0.995:
        return "more than 99 in 100"
    return f"about {round(chance * 100)} in 100" if chance >= 0.005 else "less than 1 in 100"


def _at_least(chance: float) -> str:
    said = _in_100(chance)
    return f"at least {said.removeprefix('about ')}" if said.startswith("about ") else said


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def _tell_late(coming: Coming, speech: Speech) -> str:
    order = coming.order
    whose = f" for {speech.name(order.learner)}" if order.learner else ""
    text = (
        f"Call {speech.name(order.supplier)}: {speech.name(order.workbook)}{whose}, ordered on {date_words(order.ordered)}, "
        f"should have come by {date_words(coming.due)} and has taken {_days(coming.waited)}."
    )
    if coming.chance is not None:
        text += f" The chance that it is there when it is needed is {_in_100(coming.chance)}."
    return text


def _tell_copies(order: Order, speech: Speech) -> list[str]:
    """Tell the copies title by title: ``Fractions for Asa and Noa``."""
    whose: dict[str, list[str]] = {}
    for line in order.lines:
        times = f"{line.quantity} " if line.quantity > 1 else ""
        who = f"{times}for {speech.name(line.learner)}" if line.learner else f"{line.quantity} to spare"
        whose.setdefault(line.workbook, []).append(who)
    return [
        f"{speech.name(workbook)} {' and '.join(who).replace(' and for ', ' and ')}"
        for workbook, who in whose.items()
    ]


def _tell_order(order: Order, plan: OrderPlan, speech: Speech) -> str:
    when = "today" if order.by <= plan.today else f"by {date_words(order.by)}"
    postage = f"{speech.money(order.postage)} postage" if order.postage else "no postage"
    cost = f"{speech.money(order.value)} and {postage}"
    least = min(order.lines, key=lambda line: line.chance)
    text = (
        f"Order {when} from {speech.name(order.supplier)}: {'; '.join(_tell_copies(order, speech))}. {cost}. "
        f"It should come about {date_words(order.expected)}, and 19 of 20 such orders come by {date_words(order.at_the_latest)}."
    )
    if order.missing:
        text += f" {speech.money(order.missing)} are missing to the least order; fill it up with something useful."
    if least.short_of_level:
        text += (
            f" {speech.name(least.workbook)} may come too late: the chance that it is there in time is "
            f"{_in_100(least.chance)}."
        )
    else:
        text += f" Each is there in time with a chance of {_at_least(least.chance)}."
    return text


def spare_reason(spare: Spare, speech: Speech | None = None) -> str:
    """Tell why so many spares of a workbook are kept, or none."""
    speech = speech or Speech()
    name = speech.name(spare.workbook)
    wait = f"{_days(spare.wait)} of waiting for a new copy ({speech.money(spare.wait_cost)})"
    chance = f"a unit test is failed with a chance of {_in_100(spare.any_failure)}"
    if spare.keep == 0 and spare.stock.quantity:
        return (
            f"No spare of {name}: {chance}, but mostly so soon that a spare ordered today would hardly come before a "
            "copy ordered after the test."
        )
    if spare.keep == 0:
        return (
            f"No spare of {name}: {chance}; a copy that nobody needs ({speech.money(spare.unused_cost)}) "
            f"would cost more, on the whole, than {wait}."
        )
    there = f", {spare.there} of them there already" if spare.there else ""
    copies = "1 spare" if spare.keep == 1 else f"{spare.keep} spares"
    return (
        f"Keep {copies} of {name}{there}: {chance}, and {wait} would cost more, on the whole, than a copy "
        f"that nobody needs ({speech.money(spare.unused_cost)})."
    )


def _tell_promise(plan: OrderPlan, promised: float, speech: Speech) -> str:
    count = "1 order" if plan.costs.orders == 1 else f"{plan.costs.orders} orders"
    text = (
        f"So ordered, {_in_100(promised)} needed workbooks are in the house in time; "
        f"{count} for {speech.money(plan.costs.goods + plan.costs.postage + plan.costs.filled_up)}."
    )
    others = (("each copy alone", plan.one_by_one), ("everything today", plan.all_today))
    dearer = [
        f"{how} {speech.money(costs.total - plan.costs.total)} more"
        for how, costs in others
        if round(costs.total - plan.costs.total) > 0
    ]
    if dearer:
        text += f" Ordering {', '.join(dearer)}, the money tied up among it."
    return text
