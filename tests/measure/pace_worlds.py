"""Simulated days of work, and the figures of docs/explanation/pace-and-review.md:

    python -m tests.measure.pace_worlds            print the tables
    python -m tests.measure.pace_worlds --write    and write them into the page

A learner has a level, a deviation a course, a course drifts, a workbook is easier or harder, some weekdays are slow,
illness comes in runs, and the days' noise has heavy tails and a memory. Half of the courses are left as soon as the
day's goal is reached, the others run on. Nobody's real days are in here: the figures are about these worlds.
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from markstead.measure.pace import DaysToFinish, Pace, WorkDay, days_to_finish, read_pace

PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "pace-and-review.md"
SCHOOL_DAYS = 180
COURSES = 5
FIRST = date(2025, 9, 1)
MOMENTS = (0.0, 0.3, 0.6)
"""Shares of a workbook done at which it is asked how long the rest takes."""


@dataclass(frozen=True, slots=True)
class World:
    """How days of work come about."""

    name: str
    noise: float = 0.40
    """Scale of the noise, Student's t with 3 degrees of freedom."""
    memory: float = 0.4
    drift: float = 0.012
    """Step of a random walk, a day."""
    illness: float = 0.015
    """Chance a day to fall ill; then the learner stays ill with .65."""
    idle: float = 0.04
    """Chance of a day without work for any other reason."""
    book: float = 0.10


WORLDS = (
    World("base"),
    World("heavy noise", noise=0.40 * 1.7),
    World("much illness", illness=0.03),
    World("strong drift and memory", drift=0.03, memory=0.7),
    World("steady", noise=0.36, drift=0.006, illness=0.005, book=0.05),
)
RUNAWAY = World("runaway drift (no bar)", drift=0.05, memory=0.7)
"""Where .93 a day forgets too slowly: kept in the table to show a limit."""
DRAFT = World("first draft of base (no bar)", noise=0.22, drift=0.012, illness=0.006, book=0.08)
CALM = World("first draft of steady (no bar)", noise=0.15, drift=0.004, illness=0.003, book=0.04)
"""Where the ranges are too wide: kept in the table, because the worlds with a bar were made rougher after these."""
SHOWN = (*WORLDS, RUNAWAY, DRAFT, CALM)


@dataclass(frozen=True, slots=True)
class Question:
    """How many school days the rest of a workbook took, and what was said before."""

    home: int
    moment: float
    first_book: bool
    took: int
    said: DaysToFinish
    naive: tuple[float, float, float]
    """Days, low and high by the mean of the latest ten days and a normal 90 % interval."""
    plan: float
    ten_days: float | None
    """Pages a day of the next ten school days (None: the year or the workbook ends before)."""
    pace: Pace


@dataclass(frozen=True, slots=True)
class Course:
    """What one learner would do and did in one course."""

    goal: int
    days: tuple[WorkDay, ...]
    books: tuple[tuple[int, int, int], ...]
    """Pages, first and last day (places in `days`) of each workbook that was finished."""


def _noise(rng: np.random.Generator, world: World) -> NDArray[np.float64]:
    steps = world.noise * np.sqrt(1 - world.memory**2) * rng.standard_t(3, SCHOOL_DAYS) / np.sqrt(3)
    found, before = np.empty(SCHOOL_DAYS), 0.0
    for place, step in enumerate(steps):
        found[place] = before = world.memory * before + step
    return found


def _ill(rng: np.random.Generator, world: World) -> NDArray[np.bool_]:
    found, ill = np.zeros(SCHOOL_DAYS, dtype=bool), False
    for place in range(SCHOOL_DAYS):
        ill = bool(rng.random() < (0.65 if ill else world.illness))
        found[place] = ill
    return found


def _day(place: int) -> date:
    return FIRST + timedelta(days=7 * (place // 5) + place % 5)


def draw_course(rng: np.random.Generator, world: World, level: float, ill: NDArray[np.bool_]) -> Course:
    """One course of one learner over a school year."""
    goal, capped = int(rng.integers(3, 6)), bool(rng.random() < 0.5)
    usual = level + rng.normal(0, 0.15)
    x = usual + rng.normal(0, world.drift, SCHOOL_DAYS).cumsum() + _noise(rng, world)
    x += rng.normal(0, 0.06, 5)[np.arange(SCHOOL_DAYS) % 5]
    off = ill | (rng.random(SCHOOL_DAYS) < world.idle)
    days: list[WorkDay] = []
    books: list[tuple[int, int, int]] = []
    place = 0
    while place < SCHOOL_DAYS:
        size, hardness, first, left = int(rng.integers(28, 45)), rng.normal(0, world.book), place, 0
        left = size
        while left and place < SCHOOL_DAYS:
            could = 0 if off[place] else max(1, round(goal * float(np.exp(x[place] + hardness))))
            could = min(could, goal) if capped else could
            days.append(WorkDay(_day(place), min(could, left), goal, cut_short=could >= left))
            left -= min(could, left)
            place += 1
        if not left:
            books.append((size, first, place - 1))
    return Course(goal, tuple(days), tuple(books))


def draw_home(rng: np.random.Generator, world: World) -> tuple[Course, ...]:
    """All courses of one learner; illness strikes them together."""
    level, ill = rng.normal(-0.10, 0.15), _ill(rng, world)
    return tuple(draw_course(rng, world, level, ill) for _ in range(COURSES))


def naive_days(days: Sequence[WorkDay], pages: int, goal: int) -> tuple[float, float, float]:
    """By the mean of the latest ten days and a normal 90 % interval; by the goal where there are fewer than two.

    Its interval knows that the mean itself is uncertain, and its mean is no less than half a page.
    """
    latest = np.array([day.done for day in days][-10:], dtype=float)
    if latest.size < 2:
        latest = np.array([goal, goal], dtype=float)
    mean, sd = max(float(latest.mean()), 0.5), float(latest.std(ddof=1))
    middle = pages / mean
    off = 1.645 * sd / mean * np.sqrt(middle + middle**2 / latest.size)
    return middle, middle - off, middle + off


def ask(number: int, home: Sequence[Course]) -> Iterator[Question]:
    """Ask, at each moment of each finished workbook, how long the rest takes."""
    for course in home:
        others = [other for other in home if other is not course]
        for book, (size, first, last) in enumerate(course.books):
            for moment in MOMENTS:
                place = first + next(
                    i
                    for i in range(last - first + 2)
                    if sum(d.done for d in course.days[first : first + i]) >= moment * size
                )
                left = size - sum(day.done for day in course.days[first:place])
                if left == 0:
                    continue
                known = course.days[:place]
                pace = read_pace(known, course.goal, [read_pace(o.days[:place], o.goal) for o in others])
                coming = [day for day in course.days[place:] if not day.cut_short][:10]
                yield Question(
                    number,
                    moment,
                    book == 0,
                    last + 1 - place,
                    days_to_finish(pace, left, left < size, course.goal),
                    naive_days(known, left, course.goal),
                    left / course.goal,
                    sum(day.done for day in coming) / 10 if len(coming) == 10 else None,
                    pace,
                )


def questions(world: World, homes: int = 20, seed: int = 101) -> list[Question]:
    """All questions of some homes, from fixed dice."""
    rng = np.random.default_rng(seed)
    return [question for home in range(homes) for question in ask(home, draw_home(rng, world))]


@dataclass(frozen=True, slots=True)
class Score:
    """How well some questions were answered."""

    questions: int
    days: float
    cover80: float
    cover90: float
    cover90_se: float
    error: float
    bias: float
    naive_cover90: float
    naive_error: float
    ratio: float
    """Of the mean absolute error to the naive one's."""
    ratio_se: float
    plan_error: float
    ten_days_cover: float


def _ratio(
    above: NDArray[np.float64], below: NDArray[np.float64], home: NDArray[np.int_]
) -> tuple[float, float]:
    """Ratio of two sums and its standard error, homes being what was drawn (Taylor series, Cochran 1977)."""
    ratio = float(above.sum() / below.sum())
    off = np.bincount(home, above - ratio * below)
    return ratio, float(np.sqrt(np.square(off).sum() * off.size / (off.size - 1)) / below.sum())


def score(asked: Sequence[Question]) -> Score:
    """Coverage and mean absolute error in days."""
    home = np.unique([q.home for q in asked], return_inverse=True)[1]
    took = np.array([q.took for q in asked])
    said = np.array([q.said.expected for q in asked])
    naive = np.array([q.naive for q in asked])
    held = np.array([q.said.low90 <= q.took <= q.said.high90 for q in asked], dtype=float)
    cover90, cover90_se = _ratio(held, np.ones_like(held), home)
    ratio, ratio_se = _ratio(np.abs(said - took), np.abs(naive[:, 0] - took), home)
    ten = [(q.pace.low, q.ten_days, q.pace.high) for q in asked if q.ten_days is not None]
    return Score(
        questions=len(asked),
        days=float(took.mean()),
        cover80=float(np.mean([q.said.low80 <= q.took <= q.said.high80 for q in asked])),
        cover90=cover90,
        cover90_se=cover90_se,
        error=float(np.abs(said - took).mean()),
        bias=float((said - took).mean()),
        naive_cover90=float(((naive[:, 1] <= took) & (took <= naive[:, 2])).mean()),
        naive_error=float(np.abs(naive[:, 0] - took).mean()),
        ratio=ratio,
        ratio_se=ratio_se,
        plan_error=float(np.abs([q.plan - q.took for q in asked]).mean()),
        ten_days_cover=float(np.mean([low <= pages <= high for low, pages, high in ten])),
    )


def lines() -> Iterator[str]:
    """The tables."""
    yield (
        "| world | questions | days left | cover 80 | cover 90 (se) | days off | bias "
        "| last ten: cover 90 | days off | ratio (se) | goal alone: days off |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    of = {world.name: questions(world) for world in SHOWN}
    scores = {name: score(asked) for name, asked in of.items()}
    for name, s in scores.items():
        yield (
            f"| {name} | {s.questions:,} | {s.days:.1f} | {s.cover80:.3f} | {s.cover90:.3f} ({s.cover90_se:.3f}) "
            f"| {s.error:.2f} | {s.bias:+.2f} | {s.naive_cover90:.3f} | {s.naive_error:.2f} "
            f"| {s.ratio:.2f} ({s.ratio_se:.2f}) | {s.plan_error:.2f} |"
        )
    yield ""
    yield "| moment, base world | questions | cover 80 | cover 90 | days off | last ten: days off |"
    yield "| --- | --- | --- | --- | --- | --- |"
    asked = of["base"]
    for words, part in (
        ("first workbook, nothing done", [q for q in asked if q.first_book and q.moment == 0]),
        ("later workbook, nothing done", [q for q in asked if not q.first_book and q.moment == 0]),
        ("30 % done", [q for q in asked if q.moment == 0.3]),
        ("60 % done", [q for q in asked if q.moment == 0.6]),
    ):
        s = score(part)
        yield (
            f"| {words} | {s.questions:,} | {s.cover80:.3f} | {s.cover90:.3f} | {s.error:.2f} | {s.naive_error:.2f} |"
        )
    yield ""
    yield "| five other seeds | cover 90 | ratio to the last ten |"
    yield "| --- | --- | --- |"
    for world in SHOWN:
        again = [score(questions(world, seed=seed)) for seed in range(102, 107)]
        covers, ratios = sorted(s.cover90 for s in again), sorted(s.ratio for s in again)
        yield f"| {world.name} | {covers[0]:.3f}-{covers[-1]:.3f} | {ratios[0]:.2f}-{ratios[-1]:.2f} |"
    yield ""
    held = ", ".join(f"{name} {s.ten_days_cover:.3f}" for name, s in scores.items())
    yield f"The 90 % range of pages a day holds the mean of the next ten school days: {held}."


def tell(part: str, table: str, *, write: bool) -> None:
    """Print a table, or write it into its part of the page, between two comments."""
    if not write:
        sys.stdout.write(table + "\n")
        return
    begin, end = f"<!-- {part}: begin -->\n", f"<!-- {part}: end -->\n"
    before, rest = PAGE.read_text(encoding="utf-8").split(begin)
    after = rest.split(end)[1]
    PAGE.write_text(f"{before}{begin}\n{table}\n\n{end}{after}", encoding="utf-8")


if __name__ == "__main__":
    tell("pace", "\n".join(lines()), write="--write" in sys.argv[1:])
