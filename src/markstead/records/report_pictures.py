"""Drawings for reports: the page rulers of a course in one row, and a register of days. Plain SVG, the same on screen and paper.

Numbers and our own words only stand in them; lines take the colour of the text around them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from markstead.records.term_reports import BookState, BookWork
from markstead.speech import later, say

WIDTH = 720.0
GAP = 16.0
"""Between two rulers; the double end stands in it."""
BASE = 22.0
MOST_SCALE = 9.0
"""Units a page, where few pages leave room for more."""
FINE = 2.4
"""From so many units a page on, each page has its stroke."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """An SVG and what it shows, in words."""

    svg: str
    words: str


def _n(value: float) -> str:
    return f"{round(value, 2):g}"


def _runs(pages: Sequence[int]) -> list[tuple[int, int]]:
    runs: list[list[int]] = []
    for page in pages:
        if runs and page == runs[-1][1] + 1:
            runs[-1][1] = page
        else:
            runs.append([page, page])
    return [(a, b) for a, b in runs]


def course_rulers(books: Sequence[BookWork], planned: int | None) -> Drawing | None:
    """The workbooks of a course side by side as page rulers; under them a bracket over the pages that were planned."""
    if not books:
        return None
    pages = sum(work.book.pages for work in books)
    scale = min(MOST_SCALE, (WIDTH - GAP * len(books)) / pages)
    parts: list[str] = []
    starts = []
    x = 0.5
    for work in books:
        starts.append(x)
        parts += _ruler(work, x, scale)
        x += work.book.pages * scale + GAP
    if planned:
        parts += _bracket(books, starts, scale, planned)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(WIDTH)} 46" width="{_n(WIDTH)}" height="46">'
        f'<g fill="none" stroke="currentColor">{"".join(parts)}</g></svg>'
    )
    return Drawing(svg, _words(books, planned))


def _ruler(work: BookWork, x: float, scale: float) -> list[str]:
    book = work.book
    end = x + book.pages * scale
    parts = []
    for inked, opacity in ((work.before, ".28"), (work.pages, "1")):
        for first, last in _runs(sorted(inked)):
            a, b = x + (first - 1) * scale, x + last * scale
            parts.append(
                f'<path d="M{_n(a)} {_n(BASE - 3)}H{_n(b)}" stroke-width="6" stroke-opacity="{opacity}"/>'
            )
    parts.append(f'<path d="M{_n(x)} {_n(BASE)}H{_n(end + 7)}" stroke-width="1"/>')
    if scale >= FINE:
        ends = {stop.last for stop in book.sections}
        short = "".join(f"M{_n(x + p * scale)} {_n(BASE)}v-4" for p in range(1, book.pages) if p not in ends)
        parts.append(f'<path d="{short}" stroke-width=".5"/>')
    long = "".join(f"M{_n(x + stop.last * scale)} {_n(BASE)}v-11" for stop in book.sections)
    parts.append(f'<path d="{long}" stroke-width="1"/>')
    for stop in book.checks:
        middle = x + (stop.first - 1 + stop.last) / 2 * scale
        parts.append(f'<path d="M{_n(middle - 2.5)} {_n(BASE)}l2.5 4 2.5-4z" stroke-width=".8"/>')
    passed = work.state is BookState.FINISHED
    heavy = 'stroke-width="2"' if passed else 'stroke-width="1" stroke-dasharray="2 1.6"'
    parts.append(f'<path d="M{_n(end + 3.5)} {_n(BASE)}v-15M{_n(end + 7)} {_n(BASE)}v-15" {heavy}/>')
    if work.state is BookState.NOT_PASSED:
        parts.append(f'<path d="M{_n(end + 1)} 4l8 0" stroke-width="1.4"/>')
    if work.state is BookState.IN_HAND and work.done:
        at = x + max(work.done) * scale
        parts.append(
            f'<path d="M{_n(at)} {_n(BASE)}V4l6 2.5-6 2.5" stroke-width="1" fill="currentColor" stroke-linejoin="round"/>'
        )
    middle = (x + end) / 2
    label = say("{number} again", number=book.number) if work.again else str(book.number)
    parts.append(
        f'<text x="{_n(middle)}" y="43" font-size="12" font-family="Libertinus Serif, serif" text-anchor="middle" '
        f'fill="currentColor" stroke="none">{label}</text>'
    )
    return parts


def _bracket(books: Sequence[BookWork], starts: Sequence[float], scale: float, planned: int) -> list[str]:
    """From the first page that was not done before the span, over so many pages of new material."""
    left = planned
    begin = end = None
    open_end = True
    for work, x in zip(books, starts, strict=True):
        if work.again:
            continue
        for page in range(1, work.book.pages + 1):
            if page in work.before:
                continue
            begin = x + (page - 1) * scale if begin is None else begin
            end = x + page * scale
            left -= 1
            if left == 0:
                open_end = False
                break
        if not open_end:
            break
    if begin is None or end is None:
        return []
    y = BASE + 7
    close = "l-4-2.5m4 2.5l-4 2.5" if open_end else "v-4"
    end = min(end + (GAP - 6 if open_end else 0), WIDTH - 1)
    return [f'<path d="M{_n(begin + 0.7)} {_n(y - 4)}v4H{_n(end - 0.7)}{close}" stroke-width="1.2"/>']


def _words(books: Sequence[BookWork], planned: int | None) -> str:
    told = "; ".join(
        say(
            _AGAIN if work.again else _FIRST,
            number=work.book.number,
            done=len(work.done),
            pages=work.book.pages,
            state=say(work.state),
        )
        for work in books
    )
    return say("{told}. {n} pages were planned.", told=told, n=planned) if planned is not None else f"{told}."


_FIRST = later("workbook {number}: {done} of {pages} pages, {state}")
_AGAIN = later("workbook {number} again: {done} of {pages} pages, {state}")
