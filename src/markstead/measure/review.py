"""Which objectives a learner has most likely forgotten, and which of them to ask in the minutes there are.

How likely an objective is remembered t calendar days after its last contact is R(t) = .97 (1 + t / S)^-.35: a power law
of time (Wickelgren 1974, Mem. Cogn. 2, 775-780; Wixted and Ebbesen 1991, Psychol. Sci. 2, 409-415, both from memory).
How well it holds, S, is not known: a belief over ten values carries what the answers have told. The curve's two numbers
are set by judgement, so what is shown is an order and a range, never a promise.

Going back over everything in turn is what helps; a clever order adds little to that.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from markstead.speech import counted, say

Floats = NDArray[np.float64]

AT_ONCE = 0.97
"""Remembered on the day itself: even then a question may be misread."""
EXPONENT = 0.35
HOLDS = 1.5 * 2.0 ** np.arange(10)
"""The values of S, in days, at an objective's first contact."""
LEAST, MOST = 1.0, 768.0
"""No value of S, in days, falls below or grows above these."""
WELL_REMEMBERED = 0.90
"""What is remembered so well or better is not asked."""
MINUTES, MINUTES_MORE_IF_WRONG = 1.0, 1.5


@dataclass(frozen=True, slots=True)
class Contact:
    """A learner's touch of one objective on one day."""

    objective: str
    day: date
    right: bool | None
    """What was answered; None where it was touched without an answer that tells anything (a section was worked)."""


@dataclass(frozen=True, slots=True)
class Recall:
    """How likely an objective is remembered today."""

    objective: str
    predicted: float
    low: float
    high: float
    """90 % range over the belief in S."""
    last: date
    """Day of the last contact."""


@dataclass(frozen=True, slots=True)
class ReviewItem:
    """One objective to ask about today."""

    objective: str
    predicted: float
    low: float
    high: float
    last: date
    minutes: float
    """Minutes to reckon with: one, and one and a half more in so far as a wrong answer is expected."""


@dataclass(frozen=True, slots=True)
class ReviewList:
    """What to ask today, weakest first."""

    items: tuple[ReviewItem, ...]
    minutes_used: float
    minutes_given: float
    left_out: int
    """Objectives that would be worth asking and found no place."""

    @property
    def sentence(self) -> str:
        """The list in words."""
        return _sentence(len(self.items), self.minutes_used, self.minutes_given, self.left_out)


# --- arrays: the last axis runs over the values of S ------------------------------------------------------------


def remembered(
    days: ArrayLike, holds: ArrayLike, at_once: float = AT_ONCE, exponent: float = EXPONENT
) -> Floats:
    """Tell how likely something is remembered: at_once (1 + days / holds)^-exponent, in any shape that broadcasts."""
    ratio = np.asarray(days, dtype=np.float64) / np.asarray(holds, dtype=np.float64)
    return np.asarray(at_once * (1 + ratio) ** -exponent, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """For each objective the values that S may have, in days, and how likely each is; both (..., 10)."""

    holds: Floats
    weights: Floats


def first_belief(*shape: int) -> Belief:
    """Begin a belief for so many objectives: S log-normal (ln 10, .9), on the values in HOLDS."""
    # The values are equally far apart in ln S, so the normal density there is the weight.
    weights = np.exp(-0.5 * ((np.log(HOLDS) - np.log(10)) / 0.9) ** 2)
    full = (*shape, HOLDS.size)
    return Belief(np.broadcast_to(HOLDS, full), np.broadcast_to(weights / weights.sum(), full))


def predicted(belief: Belief, days: ArrayLike) -> Floats:
    """Average how likely each objective is remembered over its belief; `days` (...) since its last contact."""
    return np.asarray(
        (belief.weights * remembered(np.asarray(days)[..., None], belief.holds)).sum(axis=-1),
        dtype=np.float64,
    )


def after_answer(belief: Belief, days: ArrayLike, right: ArrayLike) -> Belief:
    """Take an answer into each belief (Bayes), and let each value of S move as the contact would move it.

    Args:
        belief: beliefs (..., 10).
        days: (...) calendar days since the contact before.
        right: (...) whether the answer was right.

    A right answer makes it hold S (1 + 1.5 (1 - R) + .15), more the nearer it was to being forgotten (spacing; Cepeda et
    al. 2008, Psychol. Sci. 19, 1095-1102, by a summary of it); after a wrong one, .7 S is left.
    """
    held = remembered(np.asarray(days)[..., None], belief.holds)
    is_right = np.asarray(right, dtype=bool)[..., None]
    weights = belief.weights * np.where(is_right, held, 1 - held)
    holds = belief.holds * np.where(is_right, 1 + 1.5 * (1 - held) + 0.15, 0.7)
    return Belief(np.clip(holds, LEAST, MOST), weights / weights.sum(axis=-1, keepdims=True))


def spread(belief: Belief, days: ArrayLike, share: float) -> Floats:
    """Find the quantile `share` of how likely each objective is remembered, over its belief."""
    chance = remembered(np.asarray(days)[..., None], belief.holds)
    order = np.argsort(chance, axis=-1)
    reached = np.take_along_axis(belief.weights, order, axis=-1).cumsum(axis=-1) >= share - 1e-12
    place = np.take_along_axis(order, reached.argmax(axis=-1)[..., None], axis=-1)
    return np.take_along_axis(chance, place, axis=-1)[..., 0]


def weakest_first(chance: Floats, untouched: ArrayLike) -> NDArray[np.intp]:
    """Order objectives (..., n) by how likely they are remembered, then the longest untouched, then as they come."""
    # The same history must count as the same chance wherever it stands in an array: vector units round the last
    # digit of a power otherwise than the loop over the remainder does.
    return np.lexsort((-np.asarray(untouched), np.round(chance, 12)), axis=-1)


def minutes_for(chance: ArrayLike) -> Floats:
    """Reckon the minutes that asking takes: one, and one and a half more if the answer is wrong."""
    return np.asarray(MINUTES + MINUTES_MORE_IF_WRONG * (1 - np.asarray(chance)), dtype=np.float64)


def within_minutes(chance: Floats, minutes: ArrayLike) -> NDArray[np.bool_]:
    """Say which of the objectives (..., n), in the order of asking, are begun before the minutes (...) are used."""
    cost = np.where(chance < WELL_REMEMBERED, minutes_for(chance), 0.0)
    begun = np.cumsum(cost, axis=-1) - cost < np.asarray(minutes)[..., None]
    return np.asarray(begun & (chance < WELL_REMEMBERED))


# --- a learner --------------------------------------------------------------------------------------------------


def recall(contacts: Iterable[Contact], today: date) -> tuple[Recall, ...]:
    """Tell how likely each objective is remembered today: weakest first, ties by longest untouched, then by name.

    The first contact of an objective starts its belief, whatever was answered: nothing could be forgotten before. A
    contact without an answer sets the days back to 0 and leaves the belief as it is (a judgement: the pages were
    open, so having got through them tells nothing). Contacts after today are left out.
    """
    by_name: dict[str, list[Contact]] = {}
    for contact in sorted(contacts, key=lambda one: one.day):
        if contact.day <= today:
            by_name.setdefault(contact.objective, []).append(contact)
    if not by_name:
        return ()
    names = sorted(by_name)
    belief = _follow([by_name[name] for name in names])
    last = [by_name[name][-1].day for name in names]
    days = np.array([(today - day).days for day in last])
    chance = predicted(belief, days)
    # A belief that all but settled on one value has its mean outside its own 5 or 95 % point.
    low = np.minimum(spread(belief, days, 0.05), chance)
    high = np.maximum(spread(belief, days, 0.95), chance)
    return tuple(
        Recall(names[i], float(chance[i]), float(low[i]), float(high[i]), last[i])
        for i in weakest_first(chance, days)
    )


def _follow(histories: Sequence[Sequence[Contact]]) -> Belief:
    """Follow all objectives at once, contact by contact: the second contact of each, the third of each, and so on."""
    belief = first_belief(len(histories))
    holds, weights = belief.holds.copy(), belief.weights.copy()
    for turn in range(1, max(len(history) for history in histories)):
        rows = [i for i, h in enumerate(histories) if len(h) > turn and h[turn].right is not None]
        if not rows:
            continue
        days = [(histories[i][turn].day - histories[i][turn - 1].day).days for i in rows]
        right = [histories[i][turn].right is True for i in rows]
        after = after_answer(Belief(holds[rows], weights[rows]), days, right)
        holds[rows], weights[rows] = after.holds, after.weights
    return Belief(holds, weights)


def choose(recalls: Sequence[Recall], minutes: float, today: date) -> ReviewList:
    """Choose what to ask today: of what is not well remembered the weakest first, until the minutes are used.

    The last one chosen may run over the minutes. Minutes are reckoned with what is expected, one and a half more
    where an answer is wrong.

    Raises:
        ValueError: the minutes are below 0 or not a number, or an objective was last touched after today.
    """
    if not 0 <= minutes < float("inf"):
        raise ValueError(f"{minutes} minutes; wanted is a number of 0 or more")
    if any(one.last > today for one in recalls):
        raise ValueError(f"an objective was last touched after {today}")
    by_name = sorted(recalls, key=lambda one: one.objective)
    chance = np.array([one.predicted for one in by_name], dtype=np.float64)
    untouched = np.array([(today - one.last).days for one in by_name], dtype=np.int64)
    order = weakest_first(chance, untouched)
    asked = order[within_minutes(chance[order], minutes)]
    items = tuple(_item(by_name[i]) for i in asked)
    used = sum(item.minutes for item in items)
    left_out = int((chance < WELL_REMEMBERED).sum()) - len(items)
    return ReviewList(items, used, minutes, left_out)


def _item(one: Recall) -> ReviewItem:
    minutes = float(minutes_for(one.predicted))
    return ReviewItem(one.objective, one.predicted, one.low, one.high, one.last, minutes)


def _sentence(items: int, used: float, given: float, left_out: int) -> str:
    if not items and not left_out:
        return say("Nothing needs going over today: all that was met was touched lately or holds well.")
    if not items:
        return counted(
            left_out,
            "No minutes are set aside for going back over old work; {n} objective waits for it.",
            "No minutes are set aside for going back over old work; {n} objectives wait for it.",
        )
    ask = counted(
        items,
        "Ask about {n} objective, the one most likely forgotten first: about {minutes} min",
        "Ask about {n} objectives, the one most likely forgotten first: about {minutes} min",
        minutes=max(1, round(used)),
    )
    if not left_out:
        return say("{ask}; that is all that needs going over.", ask=ask)
    return counted(
        left_out,
        "{ask} ({given:g} set aside); {n} more waits its turn.",
        "{ask} ({given:g} set aside); {n} more wait their turn.",
        ask=ask,
        given=given,
    )
