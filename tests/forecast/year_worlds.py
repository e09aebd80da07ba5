"""Years lived day by day, to judge the forecast by, and the figures of docs/explanation/forecast.md:

    python -m tests.forecast.year_worlds            print the tables
    python -m tests.forecast.year_worlds --write    and write them into the page

`live` takes nothing from the room that is judged, save the frozen values that it reads. It asks on every school day of
every path: well today? pages, a test, a copy to wait for?
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from markstead.forecast.year import CourseAhead, LearnerYear, WorkbookAhead, YearSettings, draw_years
from markstead.measure.pace import Pace, read_pace
from tests.measure.pace_worlds import SCHOOL_DAYS, SHOWN, Course, World, draw_home

Whole = NDArray[np.int64]

FIRST = date(2026, 9, 1)
STEADY = YearSettings(workbook_spread=0, drift=0)
"""Days are alike: nothing but the chance of the days themselves."""


def every_day(count: int) -> tuple[date, ...]:
    """So many school days, one after the other."""
    return tuple(FIRST + timedelta(days=n) for n in range(count))


def weekdays(count: int) -> tuple[date, ...]:
    """So many school days, five a week."""
    return tuple(FIRST + timedelta(days=7 * (n // 5) + n % 5 - 1) for n in range(count))


def pace(share: float = 0.9, spread: float = 0.12, weight: float = 14.0, zero: float = 0.08) -> Pace:
    """A pace of which the forecast reads four numbers."""
    return Pace(share, spread, weight, zero, 1.0, 1.0, 1.0, 40)


def course(
    name: str,
    pages: Sequence[int],
    goal: float = 4.0,
    chance: float = 0.85,
    practice: float = 0.75,
    lead: int = 8,
    how: Pace | None = None,
    in_hand: bool = True,
) -> CourseAhead:
    """A course whose workbooks have these pages left."""
    books = tuple(WorkbookAhead(f"{name}-{n}", p, chance, practice, lead) for n, p in enumerate(pages))
    return CourseAhead(name, how or pace(), goal, books, in_hand)


# --- day by day -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Lived:
    """[workbooks, paths]: the school day (1 is the first) on which each was finished, one more than there are if never."""

    finished: Whole
    failures: Whole


class _Desk:
    """One course of all paths, on the morning of some day."""

    def __init__(
        self, ahead: CourseAhead, paths: int, settings: YearSettings, rng: np.random.Generator
    ) -> None:
        self.ahead, self.settings, self.rng, self.paths = ahead, settings, rng, paths
        p = ahead.pace
        self.level = np.log(p.median_share) + np.sqrt(p.spread / p.weight) * rng.standard_normal(paths)
        self.book = np.zeros(paths, int)
        self.hardness = settings.workbook_spread * rng.standard_normal((len(ahead.workbooks) + 1, paths))
        self.left = np.full(paths, float(ahead.workbooks[0].pages))
        self.todo = np.full(paths, "pages", "U8")
        self.wait = np.zeros(paths, int)
        self.pages = np.array([b.pages for b in ahead.workbooks] + [1e9])
        self.chance = np.array([b.chance for b in ahead.workbooks] + [0.0])
        self.practice = np.array([b.practice_chance for b in ahead.workbooks] + [0.0])
        self.lead = np.array([b.lead_days for b in ahead.workbooks] + [0])
        self.back = np.zeros(paths)
        if ahead.practice_passed:
            self.todo[:] = "unit"
        self.todo[(self.left == 0) & (self.todo == "pages")] = "practice"

    def live(self, place: int, today: date, well: NDArray[np.bool_], lived: Lived, first: int) -> None:
        """Let one school day pass."""
        rng, n = self.rng, len(self.ahead.workbooks)
        self.level += self.settings.drift * rng.standard_normal(self.paths)
        here = well & (self.book < n) & (self.back < today.toordinal())
        todo = self.todo.copy()
        self._pages(here & (todo == "pages"), place)
        resting = here & np.isin(todo, ["review", "redo", "between"])
        self.wait[resting] -= 1
        for what, then in (("review", "practice"), ("redo", "unit"), ("between", "unit")):
            self.todo[resting & (todo == what) & (self.wait == 0)] = then
        trying = here & (todo == "practice")
        passed = rng.random(self.paths) < self.practice[self.book]
        self._send(trying & passed, "between", self.settings.days_between - 1, "unit")
        self._send(trying & ~passed, "review", self.settings.review_days, "practice")
        sitting = here & (todo == "unit")
        passed = rng.random(self.paths) < self.chance[self.book]
        self._pass(sitting & passed, place, lived, first)
        fails = sitting & ~passed
        np.add.at(lived.failures, (first + self.book[fails], np.flatnonzero(fails)), 1)
        self.back[fails] = today.toordinal() + self.lead[self.book[fails]]
        self._send(fails, "redo", self.settings.redo_days, "unit")

    def _pages(self, working: NDArray[np.bool_], place: int) -> None:
        rng, p = self.rng, self.ahead.pace
        goal = self.ahead.goal
        if self.ahead.planned is not None and place <= len(self.ahead.planned):
            goal = self.ahead.planned[place - 1]
        hard = self.hardness[self.book, np.arange(self.paths)]
        x = self.level - hard + np.sqrt(p.spread) * rng.standard_normal(self.paths)
        done = np.rint(goal * np.exp(x)) * (rng.random(self.paths) >= p.zero_share)
        self.left = np.where(working, self.left - done, self.left)
        self.todo[working & (self.left <= 0)] = "practice"

    def _send(self, who: NDArray[np.bool_], to: str, days: int, without: str) -> None:
        self.todo[who] = to if days else without
        self.wait[who] = days

    def _pass(self, who: NDArray[np.bool_], place: int, lived: Lived, first: int) -> None:
        lived.finished[first + self.book[who], np.flatnonzero(who)] = place
        self.book[who] += 1
        self.left[who] = self.pages[self.book[who]]
        self.todo[who] = np.where(self.left[who] > 0, "pages", "practice")


def live(year: LearnerYear, paths: int, rng: np.random.Generator, settings: YearSettings) -> Lived:
    """Live a year day by day, many times."""
    rows = sum(len(c.workbooks) for c in year.courses)
    lived = Lived(np.full((rows, paths), len(year.days) + 1), np.zeros((rows, paths), int))
    desks = [_Desk(c, paths, settings, rng) for c in year.courses]
    for place, today in enumerate(year.days, start=1):
        well, first = rng.random(paths) >= year.illness, 0
        for desk in desks:
            desk.live(place, today, well, lived, first)
            first += len(desk.ahead.workbooks)
    return lived


# --- rough years ------------------------------------------------------------------------------------------------

MOMENTS = (20, 60, 100)
"""School days behind a course when it is asked."""
AHEAD = 5


@dataclass(frozen=True)
class Asked:
    """When the n-th workbook ahead was finished, and where the forecast had put that: its quantiles."""

    home: int
    ahead: int
    took: int
    low90: int
    low80: int
    middle: int
    high80: int
    high90: int


def ask_world(
    world: World, settings: YearSettings, homes: int = 20, seed: int = 77, paths: int = 400
) -> list[Asked]:
    """Ask, in homes whose days were drawn by other rules than the forecast's, when the workbooks ahead are finished.

    Those homes have no tests; two test days are put after every workbook, in the truth as in the forecast.
    """
    rng, found = np.random.default_rng(seed), []
    for home in range(homes):
        courses = draw_home(rng, world)
        for moment in MOMENTS:
            found += [
                asked for c in courses for asked in _ask_course(home, c, courses, moment, settings, paths)
            ]
    return found


def _ask_course(
    home: int, mine: Course, courses: Sequence[Course], moment: int, settings: YearSettings, paths: int
) -> list[Asked]:
    others = [read_pace(other.days[:moment], other.goal) for other in courses if other is not mine]
    how = read_pace(mine.days[:moment], mine.goal, others)
    ahead = [book for book in mine.books if book[2] >= moment]
    begun = ahead[0][1] if ahead else (mine.books[-1][2] + 1 if mine.books else 0)
    done = sum(day.done for day in mine.days[begun:moment])
    # Of a workbook that the year does not end only a usual size is known.
    sizes = ([book[0] for book in ahead] + [36] * AHEAD)[:AHEAD]
    sizes[0] = max(sizes[0] - done, 1)
    left = SCHOOL_DAYS - moment
    year = LearnerYear(
        "asa", every_day(left + 2 * AHEAD), (course("c", sizes, mine.goal, 1, 1, how=how),), illness=0
    )
    years = draw_years(year, np.random.default_rng(home), paths, settings)
    found = []
    for n in range(AHEAD):
        # What ends after the year of the home ends "later", for both.
        later = left + 2 * (n + 1) + 1
        took = ahead[n][2] + 1 - moment + 2 * (n + 1) if n < len(ahead) else later
        said = np.minimum(years.finished[n], later)
        ends = np.quantile(said, [0.05, 0.1, 0.5, 0.9, 0.95], method="inverted_cdf")
        found.append(Asked(home, n + 1, took, *(int(q) for q in ends)))
    return found


def cover(asked: Sequence[Asked], level: int = 90) -> tuple[float, float]:
    """Share inside the range, and its standard error over homes."""
    home = np.array([a.home for a in asked])
    inside = np.array(
        [getattr(a, f"low{level}") <= a.took <= getattr(a, f"high{level}") for a in asked], dtype=float
    )
    share, counts = float(inside.mean()), np.bincount(home)
    off = np.bincount(home, inside - share)
    return share, float(np.sqrt(np.square(off).sum() * off.size / (off.size - 1)) / counts.sum())


# --- the tables of the page -------------------------------------------------------------------------------------

PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "forecast.md"


def rough_lines() -> Iterator[str]:
    """How often the ranges hold in years drawn by other rules, with the wandering pace and without."""
    yield "| world | cover 90 (se) | cover 80 | next workbook: cover 90 | fourth and fifth: cover 90 | the pace never changes: cover 90 |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for world in SHOWN:
        asked = ask_world(world, YearSettings(), homes=40, seed=2027)
        plain = ask_world(world, YearSettings(drift=0), homes=40, seed=2027)
        share, error = cover(asked)
        yield (
            f"| {world.name} | {share:.3f} ({error:.3f}) | {cover(asked, 80)[0]:.3f} "
            f"| {cover([a for a in asked if a.ahead == 1])[0]:.3f} | {cover([a for a in asked if a.ahead >= 4])[0]:.3f} "
            f"| {cover(plain)[0]:.3f} |"
        )


def lived_lines(paths: int = 100_000) -> Iterator[str]:
    """How far the drawn years are from those lived day by day."""
    yield "| course and workbook | mean day, drawn | lived | largest difference of a share | the pace wanders: mean day, drawn | lived | difference |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    year = LearnerYear(
        "asa",
        weekdays(260),
        (
            course("usual", [36] * 7),
            course("certain", [36] * 10, chance=1, practice=1, how=pace(weight=1e9)),
        ),
        illness=0.05,
    )
    columns = [
        (
            draw_years(year, np.random.default_rng(2), paths, how).finished,
            live(year, paths, np.random.default_rng(3), how).finished,
        )
        for how in (STEADY, YearSettings())
    ]
    names = [book.code.replace("-", ", ") for c in year.courses for book in c.workbooks]
    for row in (0, 3, 6, 7, 11, 16):
        cells = [names[row].rsplit(" ", 1)[0] + f" {int(names[row].rsplit(' ', 1)[1]) + 1}"]
        for drawn, lived in columns:
            days = np.arange(1, len(year.days) + 1)[:, None]
            gap = np.abs((drawn[row] <= days).mean(axis=1) - (lived[row] <= days).mean(axis=1)).max()
            cells += [f"{drawn[row].mean():.2f}", f"{lived[row].mean():.2f}", f"{gap:.4f}"]
        yield "| " + " | ".join(cells) + " |"


def luck_lines() -> Iterator[str]:
    """What the same luck is worth: variance of a difference of chances, from 300 pairs of 1,000 paths."""
    yield "| change | difference of the chance | its variance, same luck | luck of their own | ratio |"
    yield "| --- | --- | --- | --- | --- |"
    base = LearnerYear("asa", weekdays(200), (course("maths", [36] * 8),), illness=0.06)
    done = replace(base.courses[0], workbooks=base.courses[0].workbooks[:-1])
    faster = replace(base.courses[0], goal=4.4)
    for name, other in (
        ("half the illness", replace(base, illness=0.03)),
        ("a goal one tenth higher", replace(base, courses=(faster,))),
        ("one workbook less", replace(base, courses=(done,))),
    ):
        one, two, three = (
            np.array(
                [
                    (draw_years(y, np.random.default_rng(seed + k), 1000).finished[-1] <= 170).mean()
                    for k in range(300)
                ]
            )
            for y, seed in ((base, 0), (other, 0), (other, 5000))
        )
        same, own = float(np.var(two - one)), float(np.var(three - one))
        yield f"| {name} | {np.mean(two - one):+.3f} | {same:.2e} | {own:.2e} | {own / same:.1f} |"


def tell(part: str, table: str, *, write: bool) -> None:
    """Print a table, or write it into its part of the page, between two comments."""
    if not write:
        sys.stdout.write(table + "\n\n")
        return
    begin, end = f"<!-- {part}: begin -->\n", f"<!-- {part}: end -->\n"
    before, rest = PAGE.read_text(encoding="utf-8").split(begin)
    after = rest.split(end)[1]
    PAGE.write_text(f"{before}{begin}\n{table}\n\n{end}{after}", encoding="utf-8")


if __name__ == "__main__":
    for part, table in (("lived", lived_lines), ("rough", rough_lines), ("luck", luck_lines)):
        tell(part, "\n".join(table()), write="--write" in sys.argv[1:])
