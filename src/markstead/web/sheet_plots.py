"""Drawings of the term and year sheets as values: strokes for a full week, ruled lines for a year of workbooks, and the
fan of workbooks that may be finished by each week."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from markstead.forecast.outlook import QUANTILES, DoneBy
from markstead.records.plan_sheets import CourseYear, TargetSight
from markstead.speech import month_short

MOST_STROKES = 15
STEP = 5
WIDTH, LEFT, RIGHT, ROW, TOP = 900, 8, 886, 46, 22


@dataclass(frozen=True, slots=True)
class Strokes:
    """One short stroke for each tenth of the minutes, a long one for each tenth beyond them."""

    path: str
    over: str
    width: int = STEP * MOST_STROKES + 2


def strokes(share: float) -> Strokes:
    """Draw how full a week is: at most 15 strokes, for the number stands beside them."""
    count = min(MOST_STROKES, round(10 * share))
    within = "".join(f"M{STEP * n + 2} 14v-8" for n in range(min(count, 10)))
    return Strokes(within, "".join(f"M{STEP * n + 2} 14v-13" for n in range(10, count)))


@dataclass(frozen=True, slots=True)
class Tick:
    """A month on the line of the year."""

    x: float
    text: str


@dataclass(frozen=True, slots=True)
class YearLine:
    """One course over the school year, to scale."""

    title: str
    y: int
    done: str
    """Inked: from the first day to the latest unit test that is passed."""
    ahead: str
    tests: str
    """A long stroke at each unit test, passed or planned."""
    flags: str
    """A flag at the day of each target."""
    early: float | None
    middle: float | None
    late: float | None
    """The range of the finish; None where it lies beyond the days entered."""
    span: str
    """The bracket of that range, open where it goes beyond the days entered."""


@dataclass(frozen=True, slots=True)
class YearPlot:
    """The courses of one learner."""

    months: tuple[Tick, ...]
    today: float
    lines: tuple[YearLine, ...]
    height: int
    words: str
    width: int = WIDTH
    left: int = LEFT
    right: int = RIGHT


@dataclass(frozen=True, slots=True)
class Scale:
    """Days on a line."""

    first: date
    last: date

    def x(self, day: date) -> float:
        """The place of a day; what lies outside is drawn at the edge."""
        share = (day - self.first).days / max(1, (self.last - self.first).days)
        return round(LEFT + (RIGHT - LEFT) * min(1.0, max(0.0, share)), 1)


def year_plot(
    scale: Scale,
    today: date,
    courses: Sequence[tuple[str, CourseYear]],
    targets: Sequence[TargetSight],
    words: str,
) -> YearPlot:
    """Lay out one ruled line for each course, with the titles above the lines."""
    lines = tuple(
        _line(
            scale,
            today,
            title,
            course,
            [t for t in targets if t.course == course.course],
            TOP + ROW * (n + 1) - 8,
        )
        for n, (title, course) in enumerate(courses)
    )
    return YearPlot(_months(scale), scale.x(today), lines, TOP + ROW * len(lines) + 8, words)


def _months(scale: Scale) -> tuple[Tick, ...]:
    found = []
    day = scale.first.replace(day=1)
    while day <= scale.last:
        if day >= scale.first:
            found.append(Tick(scale.x(day), month_short(day)))
        day = (day + timedelta(days=32)).replace(day=1)
    return tuple(found)


def _line(
    scale: Scale, today: date, title: str, course: CourseYear, targets: Sequence[TargetSight], y: int
) -> YearLine:
    passed = [scale.x(p.day) for p in course.passed]
    units = [scale.x(run.unit) for run in course.runs if run.unit is not None]
    end = max((scale.x(run.ends) for run in course.runs), default=scale.x(today))
    finish = course.finish
    early, middle, late = (
        (scale.x(d) if d is not None else None for d in (finish.early, finish.middle, finish.late))
        if finish is not None
        else (None, None, None)
    )
    return YearLine(
        title,
        y,
        f"M{LEFT} {y}H{passed[-1]}" if passed else "",
        f"M{scale.x(today)} {y}H{end}",
        "".join(f"M{x} {y + 4}v-12" for x in (*passed, *units)),
        "".join(f"M{scale.x(t.due)} {y}v-16h9l-3 3.5 3 3.5h-9" for t in targets),
        early,
        middle,
        late,
        _span(early, late, y),
    )


def _span(early: float | None, late: float | None, y: int) -> str:
    if early is None:
        return ""
    return f"M{early} {y + 5}v5H{late}v-5" if late is not None else f"M{early} {y + 5}v5H{RIGHT}"


# --- the fan ------------------------------------------------------------------------------------------------------

FAN_HEIGHT, FAN_TOP, FAN_BASE = 190, 20, 172
"""Of the drawing, of the line of the last workbook, and of the line of none."""
FAN_LEFT = 30
LOW, LOW_EIGHT, MIDDLE, HIGH_EIGHT, HIGH = range(len(QUANTILES))
MOST_RULES = 6


@dataclass(frozen=True, slots=True)
class Rule:
    """A number of workbooks."""

    y: float
    text: str


@dataclass(frozen=True, slots=True)
class FanPlot:
    """Workbooks finished by the end of each week: the plan, and the spread of the possible years."""

    months: tuple[Tick, ...]
    rules: tuple[Rule, ...]
    nine: str
    """A thin stroke a week: from the fewest to the most in 9 of 10 possible years."""
    eight: str
    """A thick stroke a week: in 8 of 10."""
    middle: str
    """A cross stroke a week: half of the possible years have more."""
    plan: str
    """A stepped line."""
    words: str
    width: int = WIDTH
    height: int = FAN_HEIGHT
    left: int = FAN_LEFT
    right: int = RIGHT
    base: int = FAN_BASE


def fan_plot(weeks: Sequence[DoneBy], planned: Sequence[date], words: str) -> FanPlot | None:
    """Draw the workbooks of all courses that are still to do.

    Args:
        weeks: what possible years have done by the last school day of each week.
        planned: the days of the unit tests of the plan.
        words: the same for who does not see it.
    """
    if len(weeks) < 2:
        return None
    first, last = weeks[0].day - timedelta(days=7), weeks[-1].day
    most = max(*(row.done[HIGH] for row in weeks), len(planned), 1)

    def x(day: date) -> float:
        return round(
            FAN_LEFT + (RIGHT - FAN_LEFT) * min(1.0, max(0, (day - first).days) / (last - first).days), 1
        )

    def y(count: float) -> float:
        return round(FAN_BASE - (FAN_BASE - FAN_TOP) * count / most, 1)

    def strokes_of(low: int, high: int) -> str:
        return "".join(f"M{x(row.day)} {y(row.done[low])}V{y(row.done[high])}" for row in weeks)

    steps = "".join(f"H{x(day)}V{y(n)}" for n, day in enumerate(sorted(planned), start=1) if day <= last)
    every = -(-most // MOST_RULES)
    months = [date(first.year + (first.month + n) // 12, (first.month + n) % 12 + 1, 1) for n in range(24)]
    return FanPlot(
        tuple(Tick(x(day), month_short(day)) for day in months if day <= last),
        tuple(Rule(y(n), str(n)) for n in range(0, most + 1, every)),
        strokes_of(LOW, HIGH),
        strokes_of(LOW_EIGHT, HIGH_EIGHT),
        "".join(f"M{x(row.day) - 5} {y(row.done[MIDDLE])}h10" for row in weeks),
        f"M{x(first)} {FAN_BASE}{steps}H{RIGHT}",
        words,
    )
