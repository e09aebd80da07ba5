"""How many pages a learner does a day, how many minutes a page takes, and in how many days a workbook ends.

Pages are taken as a share of what was planned: x = ln(pages done / pages planned) on days with work. The days count
less the older they are (exponential discounting) and x is held to be normal with unknown mean and variance, for which
the normal-inverse-gamma prior is conjugate (Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 3.3, from
memory). Days on which nothing was done are counted apart.

Every range is advice: it rests on the days that were written down and knows nothing of what is going to happen.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

# Quantiles .90 and .95 of Student's t with 6 degrees of freedom: heavy tails for the days to come, without SciPy.
T6_90 = 1.4397557472651481
T6_95 = 1.9431802805153022


@dataclass(frozen=True, slots=True)
class WorkDay:
    """One school day of a learner in one course; without work, `done` is 0."""

    day: date
    done: int
    """Pages done."""
    planned: float
    """Pages of that day's goal. Where a home sets no goals, the caller gives the usual pages a day of the course."""
    minutes: int | None = None
    """Minutes that the pages took; None where nobody wrote them down."""
    cut_short: bool = False
    """The workbook ended on that day: its pages say nothing of what would have been done."""

    def __post_init__(self) -> None:
        if self.done < 0:
            raise ValueError(f"{self.done} pages on {self.day}; pages cannot be negative")
        if not (self.planned > 0 and math.isfinite(self.planned)):
            raise ValueError(f"{self.planned} pages planned on {self.day}; wanted is a number above 0")
        if self.minutes is not None and self.minutes <= 0:
            raise ValueError(f"{self.minutes} minutes on {self.day}; wanted is a number above 0 or None")


@dataclass(frozen=True, slots=True)
class PaceSettings:
    """What is believed before the first day, and how fast old days fade."""

    discount: float = 0.93
    """Weight of a school day against the one after it."""
    mean: float = -0.10
    """x of a learner of whom nothing is known."""
    weight: float = 4.0
    """Days of work that the prior mean is worth."""
    shape: float = 4.0
    rate: float = 0.49
    """Inverse-gamma prior of the variance of x: rate / shape is its scale."""
    idle: float = 0.08
    """Share of school days without work."""
    idle_days: float = 20.0
    """Days that `idle` is worth."""
    reach: float = 2.5
    """An x further from the mean than so many spreads is drawn in to there: a typing error must not steer."""
    course_weight: float = 4.0
    """Weight of one other course of the learner where the prior mean is made from them."""
    mean_weight: float = 4.0
    """Weight of `mean` beside those courses."""
    minutes_shape: float = 1.0
    minutes_rate: float = 0.1
    """Inverse-gamma prior of the variance of ln(minutes a page); the prior of its mean is flat."""

    def __post_init__(self) -> None:
        if not 0 < self.discount <= 1 or not 0 <= self.idle < 1:
            raise ValueError(
                f"a discount above 0 and at most 1 and an idle share below 1 are wanted, got {self}"
            )


DEFAULTS = PaceSettings()


@dataclass(frozen=True, slots=True)
class Pace:
    """A learner's pace in one course."""

    median_share: float
    """Of the planned pages, what is done on the middle one of the days with work: exp m."""
    spread: float
    """Variance of ln(done / planned) from day to day: s2."""
    weight: float
    """Days of work that the median rests on, old ones discounted and the prior's among them: k."""
    zero_share: float
    """Share of school days on which nothing is done: z."""
    pages_a_day: float
    """Mean pages a school day, days without work among them: goal x exp(m + s2 / 2) x (1 - z)."""
    low: float
    high: float
    """90 % range of the mean pages a day of the next ten school days."""
    days: int
    """School days that all this rests on."""
    minutes_a_page: float | None = None
    """Minutes a page in the middle one of the sessions; None where no minutes were written down."""
    minutes_low: float | None = None
    minutes_high: float | None = None
    """90 % range of the minutes a page in the next session."""
    sessions: int = 0
    """Sessions with minutes that this rests on."""

    @property
    def share_a_day(self) -> float:
        """Mean share of the planned pages that is done on a school day."""
        return self.median_share * math.exp(self.spread / 2) * (1 - self.zero_share)


@dataclass(frozen=True, slots=True)
class DaysToFinish:
    """School days from tomorrow on, until the last page is done; whole days."""

    expected: int
    low80: int
    high80: int
    low90: int
    high90: int


@dataclass(slots=True)
class _Belief:
    """A discounted normal-inverse-gamma belief: weighted count, sum and sum of squares of x, and its prior."""

    mean0: float
    weight0: float
    shape0: float
    rate0: float
    count: float = 0.0
    total: float = 0.0
    squares: float = 0.0

    def fade(self, discount: float) -> None:
        self.count *= discount
        self.total *= discount
        self.squares *= discount

    def add(self, x: float, reach: float) -> None:
        if self.weight > 0:
            most, mean = reach * math.sqrt(self.variance), self.mean
            x = min(max(x, mean - most), mean + most)
        self.count += 1
        self.total += x
        self.squares += x * x

    @property
    def weight(self) -> float:
        return self.weight0 + self.count

    @property
    def mean(self) -> float:
        return (self.weight0 * self.mean0 + self.total) / self.weight

    @property
    def shape(self) -> float:
        return self.shape0 + self.count / 2

    @property
    def variance(self) -> float:
        """The scale rate / shape of the variance."""
        if self.count == 0:
            return self.rate0 / self.shape0
        own = self.total / self.count
        # Rounding can leave a sum of squares about its own mean a hair below nothing.
        within = max(self.squares - self.total * own, 0.0)
        between = self.weight0 * self.count * (own - self.mean0) ** 2 / (self.weight0 + self.count)
        return (self.rate0 + 0.5 * (within + between)) / (self.shape0 + self.count / 2)


def prior_mean(others: Sequence[Pace], settings: PaceSettings = DEFAULTS) -> float:
    """Shrink the mean x of a learner's other courses toward that of a learner of whom nothing is known.

    With n courses that have days, the weight of their plain mean is 4 n / (4 n + 4): partial pooling (Gelman et al.
    2013, section 5.4, from memory) with fixed weights.
    """
    known = [math.log(pace.median_share) for pace in others if pace.days]
    if not known:
        return settings.mean
    weight = settings.course_weight * len(known)
    share = weight / (weight + settings.mean_weight)
    return share * sum(known) / len(known) + (1 - share) * settings.mean


def read_pace(
    days: Sequence[WorkDay],
    goal: float,
    others: Sequence[Pace] = (),
    settings: PaceSettings = DEFAULTS,
    alone: Pace | None = None,
) -> Pace:
    """Read the pace of one learner in one course off the school days that were written down.

    Args:
        days: school days with a goal or with work, in any order, each day once; days off school are left out.
        goal: planned pages of a day to come, above 0.
        others: paces of the learner's other courses, read without `others` themselves.
        settings: the prior and the discount.
        alone: what was read of the same days without `others`; minutes do not depend on them and are taken over.

    A day cut short by the end of its workbook counts neither as a day with work nor as one without, but its minutes
    a page count. Minutes a page are log-normal, as van der Linden 2006 (J. Educ. Behav. Stat. 31, 181-204, from
    memory) has it for the time on a test item; their range is the Student-t interval of a next session under a flat
    prior of the mean.

    Raises:
        ValueError: the goal is not above 0, or a day comes twice.
    """
    if not (goal > 0 and math.isfinite(goal)):
        raise ValueError(f"a goal of {goal} pages; wanted is a number above 0")
    if len({day.day for day in days}) < len(days):
        raise ValueError("a school day comes twice")
    pages = _Belief(prior_mean(others, settings), settings.weight, settings.shape, settings.rate)
    idle = seen = 0.0
    in_order = sorted(days, key=lambda one: one.day)
    for day in in_order:
        if day.cut_short:
            continue
        pages.fade(settings.discount)
        idle, seen = idle * settings.discount + (day.done == 0), seen * settings.discount + 1
        if day.done:
            pages.add(math.log(day.done / day.planned), settings.reach)
    zero = (settings.idle * settings.idle_days + idle) / (settings.idle_days + seen)
    mean = goal * math.exp(pages.mean + pages.variance / 2) * (1 - zero)
    # Days in a row are alike, and here no rounding to whole days widens the range: twice the chance of the days.
    variance = _variance(pages.variance, pages.weight, zero, 10.0, started=False, chance=1.6)
    off = math.exp(T6_95 * math.sqrt(variance))
    if alone is not None:
        middle, low, high = alone.minutes_a_page, alone.minutes_low, alone.minutes_high
    else:
        middle, low, high = _minutes(in_order, settings)
    return Pace(
        median_share=math.exp(pages.mean),
        spread=pages.variance,
        weight=pages.weight,
        zero_share=zero,
        pages_a_day=mean,
        low=mean / off,
        high=mean * off,
        days=sum(not day.cut_short for day in days),
        minutes_a_page=middle,
        minutes_low=low,
        minutes_high=high,
        sessions=sum(bool(day.done and day.minutes) for day in days),
    )


def _minutes(
    in_order: Sequence[WorkDay], settings: PaceSettings
) -> tuple[float | None, float | None, float | None]:
    """Median of minutes a page, and the ends of the 90 % range of a next session."""
    times = _Belief(0.0, 0.0, settings.minutes_shape, settings.minutes_rate)
    for day in in_order:
        times.fade(settings.discount)
        if day.done and day.minutes:
            times.add(math.log(day.minutes / day.done), settings.reach)
    if times.count == 0:
        return None, None, None
    from scipy.special import stdtrit

    scale = math.sqrt(times.variance * (1 + 1 / times.weight))
    off = float(stdtrit(2 * times.shape, 0.95)) * scale
    return math.exp(times.mean), math.exp(times.mean - off), math.exp(times.mean + off)


def _variance(
    spread: float, weight: float, zero: float, days: float, *, started: bool, chance: float = 0.8
) -> float:
    """Variance of the logarithm of how many days some pages take, of which `days` are expected.

    It adds what is not known of the median (s2 / k) and of the workbook (.05 squared, less once it is begun), the
    chance of the days themselves (the share `chance` of the squared coefficient of variation of a day's pages, over
    the days), and what may change meanwhile (.03 squared a day).
    """
    workbook = 0.05**2 * (0.6 if started else 1.0)
    # Of a log-normal with a share z of zeros the squared coefficient of variation is e^s2 / (1 - z) - 1.
    of_a_day = (math.expm1(spread) + zero) / (1 - zero)
    return spread / weight + workbook + chance * of_a_day / days + 0.03**2 * days


def days_to_finish(pace: Pace, pages_left: int, started: bool, goal: float) -> DaysToFinish:
    """Tell in how many school days the pages left of a workbook are done, with ranges of 80 and 90 %.

    Args:
        pace: the learner's pace in the course.
        pages_left: pages not done yet, 0 or more.
        started: some pages of the workbook are done.
        goal: planned pages of a day to come, above 0.

    D0 = pages / pace + 1/2 (on the mean, half of the last day's pages are not needed: the first two terms of the
    renewal function without the term of the spread; Feller 1971, vol. II, ch. XI, from memory). Quantiles are
    D0 exp(sd t), t of Student's distribution with 6 degrees of freedom; low ends are rounded to the nearest day (a day is
    not over before its half: rounded down, the ranges of steady learners were too wide), high ends up, and
    none is below one day. Where days are very uneven (a spread above .25, or three days of ten idle) and few pages are
    left, the high end can be higher for one page than for two, and says little.

    Raises:
        ValueError: fewer than 0 pages are left, or the goal is not above 0.
    """
    if pages_left < 0:
        raise ValueError(f"{pages_left} pages left; pages cannot be negative")
    if not (goal > 0 and math.isfinite(goal)):
        raise ValueError(f"a goal of {goal} pages; wanted is a number above 0")
    if pages_left == 0:
        return DaysToFinish(0, 0, 0, 0, 0)
    middle = pages_left / (goal * pace.share_a_day) + 0.5
    sd = math.sqrt(_variance(pace.spread, pace.weight, pace.zero_share, middle, started=started))
    low80, high80 = middle * math.exp(-sd * T6_90), middle * math.exp(sd * T6_90)
    low90, high90 = middle * math.exp(-sd * T6_95), middle * math.exp(sd * T6_95)
    return DaysToFinish(
        max(1, round(middle)),
        max(1, round(low80)),
        math.ceil(high80),
        max(1, round(low90)),
        math.ceil(high90),
    )
