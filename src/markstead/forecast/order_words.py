"""The order plan in sentences, as a parent reads it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import reduce

from markstead.forecast.orders import Coming, Order, OrderPlan, Spare
from markstead.speech import and_words, date_words, figure, plural, say


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
        return f"{self.currency} {figure(f'{amount / 10**self.digits:,.{self.digits}f}')}"

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
        told.append(say("Nothing is to be ordered."))
    return tuple(told)


def _in_100(chance: float) -> str:
    """Never certain and never impossible: it is a forecast."""
    if chance > 0.995:
        return say("more than 99 in 100")
    return say("about {n} in 100", n=round(chance * 100)) if chance >= 0.005 else say("less than 1 in 100")


def _at_least(chance: float) -> str:
    if 0.005 <= chance <= 0.995:
        return say("at least {n} in 100", n=round(chance * 100))
    return _in_100(chance)


def _tell_late(coming: Coming, speech: Speech) -> str:
    order = coming.order
    values = {
        "supplier": speech.name(order.supplier),
        "title": speech.name(order.workbook),
        "ordered": date_words(order.ordered),
        "due": date_words(coming.due),
        "taken": plural(coming.waited, "day"),
    }
    if order.learner:
        text = say(
            "Call {supplier}: {title} for {learner}, ordered on {ordered}, should have come by {due} "
            "and has taken {taken}.",
            learner=speech.name(order.learner),
            **values,
        )
    else:
        text = say(
            "Call {supplier}: {title}, ordered on {ordered}, should have come by {due} and has taken {taken}.",
            **values,
        )
    if coming.chance is None:
        return text
    chance = _in_100(coming.chance)
    return f"{text} {say('The chance that it is there when it is needed is {chance}.', chance=chance)}"


def _tell_copies(order: Order, speech: Speech) -> list[str]:
    """Tell the copies title by title: ``Fractions for Asa and Noa``."""
    whose: dict[str, list[str]] = {}
    for line in order.lines:
        told = whose.setdefault(line.workbook, [])
        if not line.learner:
            told.append(say("{n} to spare", n=line.quantity))
        elif line.quantity > 1:
            told.append(say("{n} for {learner}", n=line.quantity, learner=speech.name(line.learner)))
        elif told:
            told.append(speech.name(line.learner))
        else:
            told.append(say("for {learner}", learner=speech.name(line.learner)))
    return [
        f"{speech.name(workbook)} {reduce(lambda before, last: and_words((before, last)), who)}"
        for workbook, who in whose.items()
    ]


def _tell_order(order: Order, plan: OrderPlan, speech: Speech) -> str:
    values = {
        "supplier": speech.name(order.supplier),
        "copies": "; ".join(_tell_copies(order, speech)),
        "value": speech.money(order.value),
        "postage": (
            say("{money} postage", money=speech.money(order.postage)) if order.postage else say("no postage")
        ),
    }
    if order.by <= plan.today:
        told = [say("Order today from {supplier}: {copies}. {value} and {postage}.", **values)]
    else:
        told = [
            say(
                "Order by {day} from {supplier}: {copies}. {value} and {postage}.",
                day=date_words(order.by),
                **values,
            )
        ]
    told.append(
        say(
            "It should come about {expected}, and 19 of 20 such orders come by {latest}.",
            expected=date_words(order.expected),
            latest=date_words(order.at_the_latest),
        )
    )
    if order.missing:
        told.append(
            say(
                "{money} are missing to the least order; fill it up with something useful.",
                money=speech.money(order.missing),
            )
        )
    least = min(order.lines, key=lambda line: line.chance)
    if least.short_of_level:
        told.append(
            say(
                "{title} may come too late: the chance that it is there in time is {chance}.",
                title=speech.name(least.workbook),
                chance=_in_100(least.chance),
            )
        )
    else:
        told.append(say("Each is there in time with a chance of {chance}.", chance=_at_least(least.chance)))
    return " ".join(told)


def spare_reason(spare: Spare, speech: Speech | None = None) -> str:
    """Tell why so many spares of a workbook are kept, or none."""
    speech = speech or Speech()
    values = {
        "title": speech.name(spare.workbook),
        "chance": _in_100(spare.any_failure),
        "days": plural(spare.wait, "day"),
        "waiting": speech.money(spare.wait_cost),
        "unused": speech.money(spare.unused_cost),
    }
    if spare.keep == 0 and spare.stock.quantity:
        return say(
            "No spare of {title}: a unit test is failed with a chance of {chance}, but mostly so soon that a spare "
            "ordered today would hardly come before a copy ordered after the test.",
            **values,
        )
    if spare.keep == 0:
        return say(
            "No spare of {title}: a unit test is failed with a chance of {chance}; a copy that nobody needs ({unused}) "
            "would cost more, on the whole, than {days} of waiting for a new copy ({waiting}).",
            **values,
        )
    copies = plural(spare.keep, "spare")
    if spare.there:
        return say(
            "Keep {copies} of {title}, {there} of them there already: a unit test is failed with a chance of {chance}, "
            "and {days} of waiting for a new copy ({waiting}) would cost more, on the whole, than a copy that nobody "
            "needs ({unused}).",
            copies=copies,
            there=spare.there,
            **values,
        )
    return say(
        "Keep {copies} of {title}: a unit test is failed with a chance of {chance}, and {days} of waiting for a new "
        "copy ({waiting}) would cost more, on the whole, than a copy that nobody needs ({unused}).",
        copies=copies,
        **values,
    )


def _tell_promise(plan: OrderPlan, promised: float, speech: Speech) -> str:
    text = say(
        "So ordered, {chance} needed workbooks are in the house in time; {orders} for {money}.",
        chance=_in_100(promised),
        orders=plural(plan.costs.orders, "order"),
        money=speech.money(plan.costs.goods + plan.costs.postage + plan.costs.filled_up),
    )
    alone, today = (
        round(costs.total - plan.costs.total) > 0 and speech.money(costs.total - plan.costs.total)
        for costs in (plan.one_by_one, plan.all_today)
    )
    dearer = [
        *([say("each copy alone {money} more", money=alone)] if alone else []),
        *([say("everything today {money} more", money=today)] if today else []),
    ]
    if not dearer:
        return text
    return f"{text} {say('Ordering {ways}, the money tied up among it.', ways=', '.join(dearer))}"
