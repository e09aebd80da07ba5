"""When to sit: whether days of review before a unit test save more days than they cost.

A look-ahead of one to three hold days (Howard 1966, Information value theory, IEEE Trans. Syst. Sci. Cybern. 2, 22-26,
for weighing a step by what it changes in the expected loss; from memory). It is advice for the educator on top of the
gate; the gate stays a rule of the programme.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from markstead.errors import InputError, Problem
from markstead.measure.passing import edge_of, how_many, normal_below, of_children
from markstead.measure.readiness import DEFAULTS, Counts, Evidence, Settings, chance
from markstead.speech import counted, later, plural, say

LONGEST_HOLD = 3
"""Hold days that are weighed at most."""


class Advice(StrEnum):
    """What is advised before a unit test."""

    SIT = later("sit")
    HOLD = later("hold")
    MORE = later("more than review is needed")


@dataclass(frozen=True, slots=True)
class SittingAdvice:
    """Whether to sit the unit test tomorrow, with the numbers that say so."""

    advice: Advice
    days: int
    """Hold days advised; 0 unless the advice is to hold."""
    chance_now: float
    chance_after: tuple[float, ...]
    """Chance to pass after 1, 2, 3 hold days with review."""
    days_saved: float
    """Expected school days that the hold saves against sitting now; 0 unless the advice is to hold."""
    evidence: Evidence
    failed_test_costs: float
    """School days that a failed unit test costs this home."""
    practice: Counts | None = None
    """The latest practice test."""
    practice_needed: int | None = None
    """Right answers that pass it."""

    @property
    def below_gate(self) -> bool:
        """The latest practice test is below the pass mark: the gate is shut, whatever the look-ahead says."""
        if self.practice is None or self.practice_needed is None:
            return False
        return self.practice.right < self.practice_needed

    @property
    def sentence(self) -> str:
        """The whole for the educator."""
        said = _sentence(
            self.advice, self.days, self.chance_now, self.chance_after, self.evidence, self.failed_test_costs
        )
        if self.practice is None or not self.below_gate:
            return said
        first = say(
            "The practice test has {right} of {asked} right where {needed} pass: "
            "first comes another practice test.",
            right=self.practice.right,
            asked=self.practice.asked,
            needed=self.practice_needed,
        )
        return f"{first} {said}"


def when_to_sit(
    readiness_mean: float,
    spread: float,
    asked: int,
    needed: int,
    *,
    failed_test_costs: float,
    hold_day_costs: float = 1,
    practice: Counts | None = None,
    practice_needed: int | None = None,
    settings: Settings = DEFAULTS,
) -> SittingAdvice:
    """Advise to sit, to hold some days, or to do more than review.

    Holding k days pays if (P(mean + G_k) - P(mean)) failed_test_costs > k hold_day_costs, G_k the gain of k reviews; the
    k that saves most is advised. Below the least chance at which a hold pays, review cannot lift it far enough: more
    than review is needed. Where failing is so cheap that no hold ever pays, sitting loses least; but where even three
    reviews leave a pass less likely than not, more than review is needed all the same (a judgement).

    Args:
        readiness_mean: ability in the workbook, logits.
        spread: its standard deviation.
        asked: questions of the unit test.
        needed: right answers that pass it.
        failed_test_costs: school days that a failed unit test costs this home.
        hold_day_costs: school days that a hold day costs it.
        practice: the latest practice test.
        practice_needed: right answers that pass it.
        settings: of the filter.

    Raises:
        InputError: the days that a failed test costs are negative, or those of a hold day not positive.
        ValueError: no question is asked, or the spread is negative.
    """
    _check(failed_test_costs, hold_day_costs)
    gains = _gains(settings)
    now = chance(readiness_mean, spread, asked, needed, settings)
    after = tuple(chance(readiness_mean + gain, spread, asked, needed, settings) for gain in gains)
    saved = [
        (later - now) * failed_test_costs - days * hold_day_costs for days, later in enumerate(after, start=1)
    ]
    best = max(saved)
    if best > 0:
        advice, days = Advice.HOLD, 1 + saved.index(best)
    else:
        bounds = pass_bounds(spread, asked, needed, failed_test_costs / hold_day_costs, settings)
        low = now < bounds[0] if bounds is not None else after[-1] < 0.5
        advice, days, best = (Advice.MORE if low else Advice.SIT), 0, 0.0
    evidence = Evidence.of(spread)
    return SittingAdvice(
        advice, days, now, after, best, evidence, failed_test_costs, practice, practice_needed
    )


def pass_bounds(
    spread: float, asked: int, needed: int, cost_ratio: float, settings: Settings = DEFAULTS
) -> tuple[float, float] | None:
    """The chances to pass between which a hold of one to three days pays; None where it never does.

    Args:
        spread: standard deviation of ability, logits.
        asked: questions of the unit test.
        needed: right answers that pass it.
        cost_ratio: what a failed unit test costs, in hold days.
        settings: of the filter.

    Raises:
        ValueError: no question is asked, or the spread is negative.
    """
    if spread < 0:
        raise ValueError(f"a standard deviation is not negative, got {spread}")
    edge = edge_of(asked, needed, math.hypot(spread, settings.unit.noise))
    if edge is None or cost_ratio <= 0:
        return None
    scale = edge[1]
    # In standard deviations from the edge, a gain g lifts the chance most from -g/2 to g/2, and the less the farther off.
    spans = []
    for days, gain in enumerate(_gains(settings), start=1):
        reach = _reach(gain / scale, days / cost_ratio)
        if reach is not None:
            spans.append((-gain / scale / 2 - reach, -gain / scale / 2 + reach))
    if not spans:
        return None
    return normal_below(min(low for low, _ in spans)), normal_below(max(high for _, high in spans))


def _gains(settings: Settings) -> tuple[float, ...]:
    """What 1, 2, 3 hold days add together, in logits."""
    found = [0.0]
    for attempt in range(1, LONGEST_HOLD + 1):
        found.append(found[-1] + settings.gain(attempt))
    return tuple(found[1:])


def _reach(gain: float, least: float) -> float | None:
    """How far from the best place a gain still lifts the normal chance by `least`, by bisection; None if nowhere."""

    def lift(off: float) -> float:
        return normal_below(off + gain / 2) - normal_below(off - gain / 2)

    if lift(0.0) <= least:
        return None
    near, far = 0.0, 1.0
    while lift(far) > least:
        far *= 2
    for _ in range(50):
        middle = (near + far) / 2
        near, far = (middle, far) if lift(middle) > least else (near, middle)
    return near


def _check(failed_test_costs: float, hold_day_costs: float) -> None:
    problems = []
    if not (math.isfinite(failed_test_costs) and failed_test_costs >= 0):
        where, allowed = say("days that a failed unit test costs"), say("a number of days, 0 or more")
        problems.append(Problem(where, str(failed_test_costs), allowed, key="failed test"))
    if not (math.isfinite(hold_day_costs) and hold_day_costs > 0):
        where, allowed = say("days that a hold day costs"), say("a number of days above 0")
        problems.append(Problem(where, str(hold_day_costs), allowed, key="hold day"))
    if problems:
        raise InputError(problems)


# --- in words -------------------------------------------------------------------------------------------------


def _sentence(
    advice: Advice, days: int, now: float, after: tuple[float, ...], evidence: Evidence, cost: float
) -> str:
    """Say the advice and its numbers in one sentence."""
    later = after[(days or (LONGEST_HOLD if advice is Advice.MORE else 1)) - 1]
    children = _children(now, later)
    values = {
        "children": children,
        "passing": of_children(now, children),
        "evidence": say(str(evidence)),
        "failed": plural(cost, "day"),
    }
    match advice:
        case Advice.HOLD:
            return say(
                "Out of {children} children in this position {passing} tomorrow ({evidence}); {review}, "
                "and a failed test costs {failed}: hold {days}.",
                review=_lifted(days, now, later, children),
                days=plural(days, "day"),
                **values,
            )
        case Advice.MORE:
            return say(
                "Out of {children} children in this position {passing} tomorrow ({evidence}); even {review}, "
                "and a failed test costs {failed}: more than review is needed.",
                review=_lifted(LONGEST_HOLD, now, later, children),
                **values,
            )
        case Advice.SIT:
            return say(
                "Out of {children} children in this position {passing} tomorrow ({evidence}); {review}, "
                "and a failed test costs {failed}: review does not save the days it takes, so sit.",
                review=_lifted(1, now, later, children),
                **values,
            )


def _children(now: float, later: float) -> int:
    """The least number of children, 10, 20, 50 or 100, of whom later a whole one more passes than now; else 10."""
    return next(
        (n for n in (10, 20, 50, 100) if round(n * later) > round(n * now) and n * (later - now) >= 1), 10
    )


def _lifted(days: int, now: float, later: float, children: int) -> str:
    """What days of review would do, as a part of the sentence."""
    many = how_many(later, children)
    if many == how_many(now, children):
        return counted(
            days, "a day of review would hardly change that", "{n} days of review would hardly change that"
        )
    return counted(
        days,
        "a day of review would make it {passing}",
        "{n} days of review would make it {passing}",
        passing=many,
    )
