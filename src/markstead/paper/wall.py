"""Sheets that are not read again: the week on the wall, and the order of workbooks as a road to colour in."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from markstead.paper.compose import Composer, text_size
from markstead.paper.layout import Kind, Paper, Sheet

STONES, STONE, STONE_PITCH, ROAD_PITCH = 8, 14.0, 21.0, 21.0


@dataclass(frozen=True, slots=True)
class WeekRow:
    """One learner's week: for each day the goals in words, line by line."""

    name: str
    goals: tuple[tuple[str, ...], ...]


def week_sheet(
    title: str,
    under: str,
    days: tuple[str, ...],
    rows: tuple[WeekRow, ...],
    *,
    sheet_id: str,
    paper: Paper = Paper.A4,
) -> Sheet:
    """Lay out the goals of a week, a row a learner and a column a day, with a small square beside each goal to tick.

    Raises:
        ValueError: no day, or a row with another number of days.
    """
    if not days or any(len(row.goals) != len(days) for row in rows):
        raise ValueError("each row of a week needs its goals for every day")
    on = Composer(paper)
    on.y -= 6.0
    column = on.width / len(days)
    _day_heads(on, days, column)
    for row in rows:
        lines = max((len(goals) for goals in row.goals), default=0)
        height = 9.0 + 5.2 * max(lines, 3)
        if on.need(height):
            _day_heads(on, days, column)
        _week_row(on, row, column, height)
    return on.sheet(sheet_id, Kind.WEEK, title, under)


def _day_heads(on: Composer, days: Sequence[str], column: float) -> None:
    for n, day in enumerate(days):
        on.text(on.left + n * column + 1.5, on.y, column - 3.0, day, 11.0, 700)
    on.y += 7.0


def _week_row(on: Composer, row: WeekRow, column: float, height: float) -> None:
    on.line(on.left, on.y, on.right, on.y, 0.4)
    on.text(on.left + 1.5, on.y + 1.2, on.width - 3.0, row.name, 13.0, 700)
    for n, goals in enumerate(row.goals):
        x = on.left + n * column
        if n:
            on.line(x, on.y + 8.0, x, on.y + height - 1.5, 0.15, 50)
        for at, goal in enumerate(goals):
            y = on.y + 8.6 + at * 5.2
            on.area(x + 1.5, y + 0.3, 3.0, 3.0, None, 0.25)
            on.text(x + 6.0, y, column - 7.5, goal, 8.5)
    on.y += height


@dataclass(frozen=True, slots=True)
class Stone:
    """One workbook on the road."""

    label: str
    title: str
    passed: bool = False
    is_here: bool = False
    """The learner works on it now."""


@dataclass(frozen=True, slots=True)
class Road:
    """One course: its workbooks in order."""

    subject: str
    stones: tuple[Stone, ...]


def road_sheet(
    name: str, age: int, under: str, roads: tuple[Road, ...], *, sheet_id: str, paper: Paper = Paper.A4
) -> Sheet:
    """Lay out the workbooks of each course as stones of a winding road: the learner colours one in for each that is passed."""
    on = Composer(paper, text_size(age))
    on.y -= 6.0
    for road in roads:
        turns = -(-len(road.stones) // STONES)
        on.need(8.0 + min(turns, 2) * ROAD_PITCH)
        on.text(on.left, on.y, on.width, road.subject, on.size + 3.0, 700)
        on.y += 8.0
        _road(on, road.stones)
        on.y += 3.0
    return on.sheet(sheet_id, Kind.ROAD, f"{name}'s road", under)


def _road(on: Composer, stones: tuple[Stone, ...]) -> None:
    """Rows run to the right and back again in turn, each joined to the next at its end."""
    joined = False
    for start in range(0, len(stones), STONES):
        joined = not on.need(ROAD_PITCH) and joined
        row = stones[start : start + STONES]
        back = start // STONES % 2 == 1
        xs = [on.left + (STONES - 1 - n if back else n) * STONE_PITCH for n in range(len(row))]
        middle = on.y + STONE / 2
        for a, b in pairwise(xs):
            low = min(a, b) + STONE
            on.line(low, middle, low + STONE_PITCH - STONE, middle, 0.8, 60, dashed=True)
        if joined:
            x = xs[0] + STONE / 2
            on.line(x, on.y - ROAD_PITCH + STONE + 4.2, x, on.y, 0.8, 60, dashed=True)
        for x, stone in zip(xs, row, strict=True):
            _stone(on, x, stone)
        on.y += ROAD_PITCH
        joined = True


def _stone(on: Composer, x: float, stone: Stone) -> None:
    # A passed stone is grey and has a double rim, so that the two are told apart in any print.
    on.area(x, on.y, STONE, STONE, 82 if stone.passed else None, 0.5, 4.0)
    if stone.passed:
        on.area(x + 1.1, on.y + 1.1, STONE - 2.2, STONE - 2.2, None, 0.25, 3.0)
    on.text(x + 1.5, on.y + 4.0, STONE - 3.0, stone.label, 14.0, 700, "center")
    on.text(x - 2.5, on.y + STONE + 0.6, STONE + 5.0, stone.title, 6.5, 400, "center")
    if stone.is_here:
        on.line(x + STONE, on.y + 3.0, x + STONE, on.y - 4.0, 0.4)
        on.area(x + STONE, on.y - 4.0, 5.0, 3.2, 0)
