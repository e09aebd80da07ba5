"""Practice tests that run ahead of unit tests: a reason to mark one again together, and nothing more.

Gaps between two tests have many usual reasons (nerves, forgetting overnight, the corrections done in between), so the
null is wide: it holds a typical gap and its spread between learners. The e-value is a ratio of two normal mixtures of
the weighted mean gap (Ville's inequality; Ramdas, Gruenwald, Vovk & Shafer 2023, Stat. Sci. 38(4), 576-601). All it
does is raise the least number of ticks of a spot check for some days.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import log, pi

from markstead.speech import later, say

USUAL_GAP = 0.30
"""Logits by which practice tests usually run ahead."""
WITHIN = 0.15
"""Variance of a gap within a learner, beyond that of drawing the answers."""
BETWEEN = 0.40**2
"""Variance of the mean gap between learners."""
RAISED, RAISED_SPREAD = 0.8, 0.3**2
"""The alternative: gaps larger by so much, and how much that differs between learners."""
SHOW_AT = 20.0
FLOOR, RAISED_FLOOR = 2, 5
FLOOR_DAYS = 10
"""Marking days for which the raised floor holds."""
SPAN = 72
"""Sittings after which the count begins anew: twelve workbooks in each of six courses, about a year."""
SENTENCE = later(
    "Practice tests have run ahead of watched tests. Usual reasons are nerves, forgetting overnight, open notes or "
    "slips in marking: mark one practice test again together."
)


@dataclass(frozen=True, slots=True)
class TestPair:
    """A unit test, marked on `day`, and the learner's own latest practice test before it."""

    __test__ = False

    day: date
    practice_right: int
    practice_asked: int
    unit_right: int
    unit_asked: int

    def __post_init__(self) -> None:
        for right, asked in ((self.practice_right, self.practice_asked), (self.unit_right, self.unit_asked)):
            if not 0 <= right <= asked or not asked:
                raise ValueError(f"a test needs 0 <= right <= asked and asked > 0, got {right} of {asked}")

    @property
    def gap(self) -> float:
        """Difference of the two empirical logits."""
        p, n = self.practice_right, self.practice_asked
        u, m = self.unit_right, self.unit_asked
        return log((p + 0.5) / (n - p + 0.5)) - log((u + 0.5) / (m - u + 0.5))

    @property
    def variance(self) -> float:
        """Variance of the gap by the drawing of answers alone, at the share of both tests together."""
        n, m = self.practice_asked, self.unit_asked
        share = (self.practice_right + self.unit_right + 1) / (n + m + 2)
        return (1 / n + 1 / m) / (share * (1 - share))


@dataclass(frozen=True, slots=True)
class Gap:
    """What the gaps up to now say; for the educator alone, never for the learner."""

    log_e: float
    """Natural logarithm of the e-value at the latest sitting; a sign at ln 20."""
    mean_gap: float
    """Weighted mean, in logits, beyond the usual gap."""
    pairs: int
    """Sittings that the two rest on."""
    floor: int
    """The least number of ticks that a spot check looks at now."""
    days_left: int
    """Marking days for which a raised floor still holds; 0 where it is not raised."""
    sentence: str
    """What to do, while the floor is raised; else empty."""


def practice_ahead(pairs: Sequence[TestPair], marking_days: Sequence[date]) -> Gap:
    """Weigh the gaps sitting by sitting, oldest first; a sign raises the floor for the ten marking days after it.

    The count starts anew after a sign, and after `SPAN` sittings, about a year's: a learner who has changed is judged by
    what came since. Within one count the e-value is a martingale where mean gaps are N(.30, .40^2) between learners and
    gaps vary by `WITHIN` beyond the drawing of answers; it then reaches 20 in at most one count of twenty (Ville 1939).

    Args:
        pairs: unit tests, each with the practice test before it, in the order of the sittings.
        marking_days: the days on which the learner marked, in any order.
    """
    count, weight, weighted, log_e, mean = 0, 0.0, 0.0, 0.0, 0.0
    sign: date | None = None
    afresh = False
    for pair in pairs:
        if afresh or count == SPAN:
            count, weight, weighted = 0, 0.0, 0.0
        w = 1 / (pair.variance + WITHIN)
        count, weight, weighted = count + 1, weight + w, weighted + w * (pair.gap - USUAL_GAP)
        mean = weighted / weight
        log_e = log_e_value(mean, 1 / weight)
        afresh = mean > 0 and log_e >= log(SHOW_AT)
        sign = pair.day if afresh else sign
    since = sum(day > sign for day in set(marking_days)) if sign else FLOOR_DAYS
    left = max(0, FLOOR_DAYS - since)
    return Gap(log_e, mean, count, RAISED_FLOOR if left else FLOOR, left, say(SENTENCE) if left else "")


def log_e_value(mean: float, variance: float) -> float:
    """Logarithm of the ratio of two normal mixtures at a weighted mean gap beyond the usual one (logits).

    ln N(mean; .8, .40^2 + .3^2 + variance) - ln N(mean; 0, .40^2 + variance), `variance` that of the mean itself.
    """
    return _log_normal(mean, RAISED, BETWEEN + RAISED_SPREAD + variance) - _log_normal(
        mean, 0.0, BETWEEN + variance
    )


def _log_normal(x: float, mean: float, variance: float) -> float:
    return -0.5 * (log(2 * pi * variance) + (x - mean) ** 2 / variance)
