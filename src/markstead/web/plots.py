"""Small plots as values: where each stroke lies, and the table of the same numbers. Templates draw them as SVG."""

from collections.abc import Sequence
from dataclasses import dataclass

from markstead.calendar import SchoolCalendar
from markstead.measure.passing import logistic, of_children
from markstead.measure.readings import CoursePace, Point
from markstead.speech import day_of_month, day_short, figure, say, short_day_of_month

WIDTH, HEIGHT = 620, 190
LEFT, RIGHT, TOP, BASE = 34, 12, 12, 152


@dataclass(frozen=True, slots=True)
class Grid:
    """A horizontal line with its number."""

    y: float
    text: str


@dataclass(frozen=True, slots=True)
class Bar:
    """One range, upright, with its middle."""

    x: float
    top: float
    bottom: float
    middle: float
    text: str
    """Under the bar; empty where there is no room."""
    title: str
    last: bool


@dataclass(frozen=True, slots=True)
class ReadinessPlot:
    """The answers right that a unit test would bring, after the marks of each day."""

    bars: tuple[Bar, ...]
    grid: tuple[Grid, ...]
    gate: float
    gate_words: str
    words: str
    rows: tuple[tuple[str, str, str, str, str], ...]
    """Day, after what, how many of 10 pass, range of answers right, evidence."""
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT


def _y(value: float, low: float, high: float) -> float:
    return round(BASE - (BASE - TOP) * (value - low) / (high - low), 1)


def _places(count: int, left: int = LEFT) -> list[float]:
    step = (WIDTH - RIGHT - left) / max(count, 1)
    return [round(left + step * (n + 0.5), 1) for n in range(count)]


def readiness_plot(points: Sequence[Point], calendar: SchoolCalendar) -> ReadinessPlot | None:
    """Lay out the ranges of answers right, from none to all; None where nothing is marked yet."""
    if not points:
        return None
    last = points[-1].readiness
    low = min(p.readiness.score_low for p in points)
    low = max(0, min(low, last.needed) - 2)
    high = last.asked
    every = max(1, -(-len(points) // 8))
    bars, rows = [], []
    for n, (point, x) in enumerate(zip(points, _places(len(points)), strict=True)):
        r = point.readiness
        day = calendar.at_home(point.at)
        range_words = say(
            "{low} to {high} of {asked}",
            low=r.score_low,
            high=r.score_high,
            asked=r.asked,
        )
        bars.append(
            Bar(
                x,
                _y(r.score_high, low, high),
                _y(r.score_low, low, high),
                _y(r.asked * logistic(r.mean), low, high),
                short_day_of_month(day) if (len(points) - 1 - n) % every == 0 else "",
                f"{day_of_month(day)}, {point.what}: {range_words}, {say(r.evidence)}",
                n == len(points) - 1,
            )
        )
        passing = of_children(r.chance, 10)
        rows.append((day_of_month(day), point.what, passing, range_words, say(r.evidence)))
    step = 5 if high - low <= 30 else 10
    gate = _y(last.needed, low, high)
    # A number that would stand in that of the pass mark is left out.
    marks = [v for v in range(low, high + 1) if v % step == 0 and abs(_y(v, low, high) - gate) >= 12]
    return ReadinessPlot(
        bars=tuple(bars),
        grid=tuple(Grid(_y(v, low, high), str(v)) for v in marks),
        gate=gate,
        gate_words=str(last.needed),
        words=(
            say(
                "Answers right that a unit test of {asked} questions would bring, after each day of "
                "marks: now most likely {low} to {high}; {needed} pass.",
                asked=last.asked,
                low=last.score_low,
                high=last.score_high,
                needed=last.needed,
            )
        ),
        rows=tuple(rows),
    )


@dataclass(frozen=True, slots=True)
class Dot:
    """The pages of one day."""

    x: float
    y: float
    title: str


@dataclass(frozen=True, slots=True)
class PacePlot:
    """Pages of the latest days of one course, and the band in which the mean of the next ten lies."""

    dots: tuple[Dot, ...]
    grid: tuple[Grid, ...]
    band_top: float
    band_height: float
    mean: float
    band_left: float
    band_width: float
    words: str
    rows: tuple[tuple[str, str, str], ...]
    """Day, pages done, pages planned."""
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT


MOST_DAYS = 24


def pace_plot(course: CoursePace) -> PacePlot:
    """Lay out the pages of the latest days beside the band."""
    days = course.days[-MOST_DAYS:]
    pace = course.pace
    top = max([pace.high, 1.0, *(d.done for d in days), *(d.planned for d in days)])
    top = float(-(-int(top + 1) // 2) * 2)
    places = _places(len(days) + 3)
    dots, rows = [], []
    for day, x in zip(days, places, strict=False):
        when = day_short(day.day)
        dots.append(
            Dot(
                x,
                _y(day.done, 0, top),
                say("{day}: {done} of {planned:g} pages", day=when, done=day.done, planned=day.planned),
            )
        )
        rows.append((when, str(day.done), figure(f"{day.planned:g}")))
    step = max(1, int(top) // 4)
    left = round(places[len(days)] - 12, 1)
    band_top = _y(pace.high, 0, top)
    return PacePlot(
        dots=tuple(dots),
        grid=tuple(Grid(_y(v, 0, top), str(v)) for v in range(0, int(top) + 1, step)),
        band_top=band_top,
        band_height=round(_y(pace.low, 0, top) - band_top, 1),
        mean=_y(pace.pages_a_day, 0, top),
        band_left=left,
        band_width=round(WIDTH - RIGHT - left, 1),
        words=(
            say(
                "Pages of the latest {n} days; the mean of the next ten days lies most "
                "likely between {low:.1f} and {high:.1f} pages a day.",
                n=len(days),
                low=pace.low,
                high=pace.high,
            )
        ),
        rows=tuple(rows),
    )
