"""Sheets that are not read again: the week on the wall, and the order of workbooks as a road to colour in."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from markstead.paper.compose import Composer, ascent, text_size
from markstead.paper.layout import Kind, Paper, Sheet
from markstead.speech import say

STONES, STONE, STONE_PITCH, ROAD_PITCH = 8, 14.0, 21.0, 22.0
BEND = 4.2
"""How far a road goes out beside its last stone before it comes back."""
GOAL_HEIGHT = 8.4
MOST_LETTERS = 15
"""Letters of a title that fit under a stone in one line."""


@dataclass(frozen=True, slots=True)
class WeekRow:
    """One learner's week: for each day the goals, each a course and what is meant to be done in it."""

    name: str
    goals: tuple[tuple[tuple[str, str], ...], ...]


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
    on = Composer(paper, wall=True)
    column = on.width / len(days)
    _day_heads(on, days, column)
    for row in rows:
        lines = max((len(goals) for goals in row.goals), default=0)
        height = 10.5 + GOAL_HEIGHT * max(lines, 2)
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
        for at, (course, words) in enumerate(goals):
            y = on.y + 8.6 + at * GOAL_HEIGHT
            on.area(x + 1.5, y + 1.0, 4.2, 4.2, None, 0.25)
            on.text(x + 7.0, y, column - 8.5, course, 7.0, 400, "left", 15)
            on.text(x + 7.0, y + 2.9, column - 8.5, words, 9.5, 600)
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
    on = Composer(paper, text_size(age), wall=True)
    for road in roads:
        turns = -(-len(road.stones) // STONES)
        head = 1.25 * ascent(on.size + 3.0) + 2.4
        on.need(head + min(turns, 2) * ROAD_PITCH)
        on.text(on.left, on.y, on.width, road.subject, on.size + 3.0, 700)
        on.y += head
        _road(on, road.stones)
        on.y += 3.0
    return on.sheet(sheet_id, Kind.ROAD, say("{name}’s road", name=name), under)


def _road(on: Composer, stones: tuple[Stone, ...]) -> None:
    """Rows run to the right and back again in turn, each joined to the next at its end."""
    joined = False
    for start in range(0, len(stones), STONES):
        joined = not on.need(ROAD_PITCH) and joined
        row = stones[start : start + STONES]
        back = start // STONES % 2 == 1
        first = on.left + (on.width - (STONES - 1) * STONE_PITCH - STONE) / 2
        xs = [first + (STONES - 1 - n if back else n) * STONE_PITCH for n in range(len(row))]
        middle = on.y + STONE / 2
        for a, b in pairwise(xs):
            low = min(a, b) + STONE
            on.line(low, middle, low + STONE_PITCH - STONE, middle, 0.8, 60, dashed=True)
        if joined:
            # Around the outside, clear of the title under the stone above.
            rim, turn = (xs[0] + STONE, xs[0] + STONE + BEND) if back else (xs[0], xs[0] - BEND)
            corners = (
                (rim, middle - ROAD_PITCH),
                (turn, middle - ROAD_PITCH),
                (turn, middle),
                (rim, middle),
            )
            for begin, end in pairwise(corners):
                on.line(*begin, *end, 0.8, 60, dashed=True)
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
    for n, line in enumerate(_lines(stone.title)):
        on.text(x - 3.2, on.y + STONE + 0.6 + 2.5 * n, STONE + 6.4, line, 6.5, 400, "center")
    if stone.is_here:
        on.line(x + STONE, on.y + 3.0, x + STONE, on.y - 4.0, 0.4)
        on.area(x + STONE, on.y - 4.0, 5.0, 3.2, 0)


def _lines(title: str) -> tuple[str, ...]:
    """A title in one line or, parted at a blank near its middle, in two."""
    blanks = [n for n, letter in enumerate(title) if letter == " "]
    if len(title) <= MOST_LETTERS or not blanks:
        return (title,)
    at = min(blanks, key=lambda n: abs(n - len(title) / 2))
    return title[:at], title[at + 1 :]
