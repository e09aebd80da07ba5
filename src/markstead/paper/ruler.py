"""The page ruler in print: a workbook as a horizontal rule to scale.

A short stroke at the end of each page, a long one at each marking stop, a notch for a progress check, a double end
for the two tests. Worked pages are inked, today's goal is a bracket under the rule, and where the learner stands is
a small flag.
"""

from dataclasses import dataclass

from markstead.paper.compose import Composer


@dataclass(frozen=True, slots=True)
class Workbook:
    """What the ruler of a workbook shows."""

    title: str
    pages: int
    stops: tuple[int, ...] = ()
    """Last page of each section."""
    checks: tuple[int, ...] = ()
    """Last page of each progress check."""
    worked: tuple[tuple[int, int], ...] = ()
    """Runs of pages that are done: first and last."""


def draw_ruler(
    on: Composer, book: Workbook, x: float, y: float, width: float, goal: tuple[int, int] | None = None
) -> None:
    """Draw the ruler into 8 mm of height from `y` on; its rule lies 4 mm below."""
    base = y + 4.0
    step = (width - 4.0) / book.pages

    def at(page: float) -> float:
        return x + step * page

    end = at(book.pages)
    on.line(x, base, x + width, base, 0.25)
    for first, last in book.worked:
        on.area(at(first - 1), base - 1.0, at(last) - at(first - 1), 1.0, 0)
    for page in range(1, book.pages + 1):
        tall = 3.0 if page in book.stops else 1.2
        on.line(at(page), base, at(page), base - tall, 0.2 if tall > 2 else 0.12)
    for page in book.checks:
        on.area(at(page) - 0.7, base - 3.6, 1.4, 1.4, None, 0.2)
        on.line(at(page), base, at(page), base - 2.2, 0.2)
    for x_end in (end + 2.2, x + width):
        on.line(x_end, base - 3.0, x_end, base + 1.0, 0.4)
    if goal is not None:
        low, high = at(goal[0] - 1), at(goal[1])
        on.line(low, base + 1.4, high, base + 1.4, 0.45)
        on.line(low, base + 0.5, low, base + 1.6, 0.3)
        on.line(high, base + 0.5, high, base + 1.6, 0.3)
    stands = at(max((last for _, last in book.worked), default=0))
    on.line(stands, base, stands, base - 4.0, 0.2)
    on.area(stands, base - 4.0, 1.6, 1.1, 0)
