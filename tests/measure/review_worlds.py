"""Simulated remembering, and the figures of docs/explanation/pace-and-review.md:

    python -m tests.measure.review_worlds            print the tables
    python -m tests.measure.review_worlds --write    and write them into the page

Three ways in which memory may work, none of them the one that the product reckons with: traces on many time scales
(after Mozer et al. 2009, Adv. Neural Inf. Process. Syst. 22), activation from power-law traces (after Pavlik and
Anderson 2005, Cogn. Sci. 29, 559-586), and a single trace whose resistance grows with each success. All from memory and
with parameters of our own: nobody's real remembering is in here, the figures are about these worlds.

A learner meets 96 objectives in 200 school days. Every policy gets the same minutes a day on one account: what a sitting
runs over is taken off the next one. Replicates (learners) run side by side in arrays, and the same dice serve every
policy.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from markstead.measure import review
from tests.measure.pace_worlds import tell

OBJECTIVES, SCHOOL_DAYS, PAUSE = 96, 200, 60
CHECK_AFTER, TEST_AFTER = 3, 8
"""School days from meeting an objective to the progress check that asks about it, and to its tests (untagged)."""
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def calendar_day(school_day: int) -> int:
    """Five school days, two days off."""
    return 7 * (school_day // 5) + school_day % 5


class Memory(Protocol):
    """How a world remembers: arrays (learners, objectives)."""

    def recall(self, day: int) -> Floats:
        """How likely each objective is remembered on a calendar day; 0 where it was never met."""

    def contact(self, day: int, touched: Flags, right: Flags, answered: Flags) -> None:
        """Let a contact leave its trace; where nothing was answered, the pages were worked."""


class Multiscale:
    """Leaky traces on many time scales; the slow ones learn only what the fast ones do not hold already."""

    def __init__(self, rng: np.random.Generator, learners: int) -> None:
        shape = (learners, OBJECTIVES)
        self.scales = 0.7 * 3.2 ** np.arange(8)
        self.weights = np.full(8, 1 / 8)
        self.speed = np.exp(rng.normal(0, 0.3, (learners, 1)) + rng.normal(0, 0.3, shape))[..., None]
        self.traces = np.zeros((*shape, 8))
        self.last = np.zeros(shape)

    def _faded(self, day: int) -> Floats:
        gone = (day - self.last)[..., None] * self.speed
        return np.asarray(self.traces * np.exp(-gone / self.scales))

    def recall(self, day: int) -> Floats:
        held = (self._faded(day) * self.weights).sum(axis=-1) / 0.8
        return np.asarray(np.clip(held, 0, 1) * 0.97)

    def contact(self, day: int, touched: Flags, right: Flags, answered: Flags) -> None:
        faded = self._faded(day)
        held = (faded * self.weights).cumsum(axis=-1) / self.weights.cumsum()
        step = np.where(answered & ~right, 0.45, 0.75)[..., None]
        learnt = faded + step * np.clip(1 - held, 0, 1) * (1 - faded)
        self.traces = np.where(touched[..., None], learnt, self.traces)
        self.last = np.where(touched, day, self.last)


class Activation:
    """Each contact leaves a trace that fades as a power of its age, the faster the more was active then."""

    MOST = 40

    def __init__(self, rng: np.random.Generator, learners: int) -> None:
        shape = (learners, OBJECTIVES)
        self.base = rng.normal(-0.45, 0.35, (learners, 1)) + rng.normal(0, 0.35, shape)
        self.days = np.full((*shape, self.MOST), np.inf)
        self.decay = np.zeros((*shape, self.MOST))
        self.count = np.zeros(shape, dtype=int)

    def _sum(self, day: int) -> Floats:
        used = max(1, int(self.count.max()))
        age = day - self.days[..., :used]
        with np.errstate(invalid="ignore"):
            fade = np.where(np.isfinite(age), np.maximum(age, 0) + 0.5, 1.0) ** -self.decay[..., :used]
        return np.asarray(np.where(np.isfinite(age), fade, 0.0).sum(axis=-1))

    def recall(self, day: int) -> Floats:
        strength = np.log(np.maximum(self._sum(day), 1e-9)) + self.base
        return np.asarray(np.where(self.count > 0, 0.97 / (1 + np.exp(-(strength + 0.75) / 0.35)), 0.0))

    def contact(self, day: int, touched: Flags, right: Flags, answered: Flags) -> None:
        decay = np.minimum(0.22 + 0.16 * self._sum(day), 0.9)
        rows, columns = np.nonzero(touched)
        places = self.count[rows, columns] % self.MOST
        self.days[rows, columns, places] = day
        self.decay[rows, columns, places] = decay[rows, columns]
        self.count[rows, columns] = np.minimum(self.count[rows, columns] + 1, self.MOST)


class SingleTrace:
    """One trace that fades exponentially; each success slows it, the more the nearer it was to being gone."""

    DAYS = 120.0
    """What the first contact holds, on the middle one."""

    def __init__(self, rng: np.random.Generator, learners: int) -> None:
        shape = (learners, OBJECTIVES)
        self.first = self.DAYS * np.exp(rng.normal(0, 0.35, (learners, 1)) + rng.normal(0, 0.5, shape))
        self.holds = self.first.copy()
        self.last = np.full(shape, -np.inf)

    def recall(self, day: int) -> Floats:
        return np.asarray(0.96 * np.exp(-(day - self.last) / self.holds))

    def contact(self, day: int, touched: Flags, right: Flags, answered: Flags) -> None:
        lost = 1 - self.recall(day) / 0.96
        grown = np.where(right, self.holds * (1 + 2.0 * lost), np.maximum(0.8 * self.holds, 0.7 * self.first))
        grown = np.where(answered, grown, self.holds * (1 + 0.4 * lost))
        met = np.isfinite(self.last)
        self.holds = np.where(touched & met, grown, self.holds)
        self.last = np.where(touched, day, self.last)


class FleetingTrace(SingleTrace):
    """So fast a forgetting that the minutes cannot hold most of it: kept in the tables to show a limit."""

    DAYS = 14.0


GENERATORS = {"many time scales": Multiscale, "activation": Activation, "single trace": SingleTrace}
SHOWN = GENERATORS | {"fleeting trace (no bar)": FleetingTrace}


class Policy(Enum):
    """What is asked, and when."""

    NOTHING = "no review"
    RECENT_WEEKLY = "most recent first, weekly"
    ROTATION_WEEKLY = "rotation, weekly"
    ROTATION = "rotation, daily (longest untouched first)"
    WEAKEST = "weakest predicted first, daily (the product)"


@dataclass(slots=True)
class Watcher:
    """The product's belief about each objective of each learner, fed as a house would feed it."""

    belief: review.Belief
    last: Floats
    met: Flags

    def predicted(self, day: int) -> Floats:
        return review.predicted(self.belief, np.where(self.met, day - self.last, 0))

    def contact(self, day: int, touched: Flags, right: Flags, answered: Flags) -> None:
        told = touched & answered & self.met
        gone = np.where(self.met, day - self.last, 0)[told]
        after = review.after_answer(
            review.Belief(self.belief.holds[told], self.belief.weights[told]), gone, right[told]
        )
        self.belief.holds[told], self.belief.weights[told] = after.holds, after.weights
        self.last[touched] = day
        self.met |= touched


def watcher(learners: int) -> Watcher:
    """Begin with nothing met."""
    fresh = review.first_belief(learners, OBJECTIVES)
    shape = (learners, OBJECTIVES)
    return Watcher(
        review.Belief(fresh.holds.copy(), fresh.weights.copy()), np.zeros(shape), np.zeros(shape, dtype=bool)
    )


def chosen(policy: Policy, day: int, watch: Watcher, met_on: NDArray[np.int_], minutes: Floats) -> Flags:
    """Which objectives are asked, (learners, objectives); for the product its own two functions choose."""
    chance = np.where(watch.met, watch.predicted(day), 1.0)
    untouched = np.where(watch.met, day - watch.last, -1)
    if policy is Policy.WEAKEST:
        order = review.weakest_first(chance, untouched)
        picked = review.within_minutes(np.take_along_axis(chance, order, axis=-1), minutes)
    else:
        key = -np.broadcast_to(met_on, chance.shape) if policy is Policy.RECENT_WEEKLY else -untouched
        order = np.argsort(key, axis=-1, kind="stable")
        # The others ask whatever comes next, however well it may be remembered, but nothing touched on that day.
        may = np.take_along_axis(watch.met & (untouched > 0), order, axis=-1)
        cost = np.where(may, review.minutes_for(np.take_along_axis(chance, order, axis=-1)), 0.0)
        picked = may & (np.cumsum(cost, axis=-1) - cost < minutes[:, None])
    asked = np.zeros_like(watch.met)
    np.put_along_axis(asked, order, picked, axis=-1)
    return asked


@dataclass(slots=True)
class Year:
    """What came of a year, for each learner."""

    over_the_year: Floats
    at_the_end: Floats
    after_the_pause: Floats
    minutes: Floats
    contacts: list[tuple[int, Flags, Flags, Flags]] = field(default_factory=list)
    """Calendar day, touched, right, answered: kept on demand, to be read again by other means."""
    sittings: list[tuple[int, Flags, Floats]] = field(default_factory=list)
    """Calendar day, what was asked, minutes that there were; kept on demand."""


def run(
    generator: str,
    policy: Policy,
    learners: int = 60,
    minutes: float = 2.0,
    seed: int = 3,
    *,
    keep: bool = False,
) -> Year:
    """Live through one year under a policy."""
    rng = np.random.default_rng(seed)
    memory: Memory = SHOWN[generator](rng, learners)
    luck = np.random.default_rng(seed + 1)
    met_on = np.arange(OBJECTIVES) * SCHOOL_DAYS // OBJECTIVES
    watch, shape = watcher(learners), (learners, OBJECTIVES)
    account, used = np.zeros(learners), np.zeros(learners)
    recalled: list[Floats] = []
    contacts: list[tuple[int, Flags, Flags, Flags]] = []
    sittings: list[tuple[int, Flags, Floats]] = []

    def touch(day: int, touched: Flags, answered: Flags, dice: Floats) -> Flags:
        right = dice < memory.recall(day)
        memory.contact(day, touched, right & answered, answered)
        watch.contact(day, touched, right, answered)
        if keep:
            contacts.append((day, touched.copy(), right, answered.copy()))
        return right

    for school_day in range(SCHOOL_DAYS):
        day = calendar_day(school_day)
        # Two rolls an objective a day, whatever the policy: the lessons' and the review's.
        lesson_dice, review_dice = luck.random(shape), luck.random(shape)
        check = np.broadcast_to(met_on == school_day - CHECK_AFTER, shape)
        lesson = np.broadcast_to((met_on == school_day) | (met_on == school_day - TEST_AFTER), shape) | check
        if lesson.any():
            touch(day, lesson, check, lesson_dice)
        account += minutes
        weekly = policy in (Policy.RECENT_WEEKLY, Policy.ROTATION_WEEKLY)
        if policy is not Policy.NOTHING and (not weekly or school_day % 5 == 4):
            asked = chosen(policy, day, watch, met_on, account)
            if keep:
                sittings.append((day, asked, account.copy()))
            right = touch(day, asked, asked, review_dice)
            took = asked.sum(axis=-1) * review.MINUTES
            took = took + review.MINUTES_MORE_IF_WRONG * (asked & ~right).sum(axis=-1)
            account -= took
            used += took
            # Minutes not wanted are not saved up without end: at most a week's.
            account = np.minimum(account, 5 * minutes)
        met = met_on <= school_day
        recalled.append(memory.recall(day)[:, met].mean(axis=-1))
    end = calendar_day(SCHOOL_DAYS - 1) + 1
    return Year(
        np.mean(recalled, axis=0),
        memory.recall(end).mean(axis=-1),
        memory.recall(end + PAUSE).mean(axis=-1),
        used,
        contacts,
        sittings,
    )


def mean_and_error(values: Floats) -> tuple[float, float]:
    """Mean over learners and its standard error."""
    return float(values.mean()), float(values.std(ddof=1) / np.sqrt(values.size))


def lines(learners: int = 60) -> Iterator[str]:
    """The tables: mean share remembered over the year, on its last day, and after 60 days without school."""
    for minutes in (2.0, 1.0):
        yield f"{minutes:g} min a day:"
        yield ""
        yield "| | " + " | ".join(SHOWN) + " | minutes used |"
        yield "| --- |" + " --- |" * (len(SHOWN) + 1)
        years = {(policy, name): run(name, policy, learners, minutes) for policy in Policy for name in SHOWN}
        for policy in Policy:
            row, took = [], []
            for name in SHOWN:
                year = years[policy, name]
                of = (year.over_the_year, year.at_the_end, year.after_the_pause)
                row.append(" ".join(f"{float(values.mean()):.3f}" for values in of))
                took.append(float(year.minutes.mean()))
            yield f"| {policy.value} | {' | '.join(row)} | {min(took):.0f}-{max(took):.0f} |"
        for words, other in (
            ("weekly, recent first", Policy.RECENT_WEEKLY),
            ("daily rotation", Policy.ROTATION),
        ):
            row = []
            for name in SHOWN:
                mine, theirs = years[Policy.WEAKEST, name], years[other, name]
                off = mean_and_error(mine.over_the_year - theirs.over_the_year)
                row.append(f"{off[0]:+.3f} ({off[1]:.3f})")
            yield f"| product minus {words}, over the year (se) | {' | '.join(row)} | |"
        yield ""


if __name__ == "__main__":
    tell("review", "\n".join(lines()).rstrip(), write="--write" in sys.argv[1:])
