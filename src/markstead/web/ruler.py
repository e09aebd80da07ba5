"""The page ruler: numbers into plain geometry. The template draws it and thinks nothing.

A horizontal rule to scale: a short stroke at the end of each page, a long one at each marking stop, a notch for a
progress check, a double end for the two tests. Worked pages are inked; a cleared stop or check is filled, one that is
being corrected is ringed; today's goal is a bracket under the rule, and where the learner stands is a small flag.
"""

from dataclasses import dataclass
from datetime import date

from markstead.ledger.facts import GoalSet
from markstead.rules.programme import Workbook
from markstead.rules.ruling import goal_words, stop_words
from markstead.rules.standing import Cycle, Standing
from markstead.speech import say

UNIT = 11.0
"""Width of one page."""
LEFT = 8.0
BASE = 26.0
"""Where the rule lies."""


@dataclass(frozen=True, slots=True)
class StopMark:
    """A marking stop on the ruler."""

    x: str
    page: str
    state: str
    """cleared, begun where it is being corrected, or empty."""
    notch: str
    """Outline of a check's notch; empty for a section."""
    words: str


@dataclass(frozen=True, slots=True)
class Ruler:
    """Everything that the template may use; lengths in the units of its view box, written as SVG wants them."""

    width: str
    height: str
    left: str
    base: str
    strokes: str
    long_strokes: str
    worked: str
    stops: tuple[StopMark, ...]
    goal: str
    goal_set: bool
    """It is set, and not only planned."""
    goal_words: str
    flag: str
    practice_x: str
    unit_x: str
    practice: str
    unit: str
    title: str
    words: str


def _x(page: int) -> float:
    """The right-hand edge of a page."""
    return LEFT + UNIT * page


def _runs(pages: frozenset[int]) -> list[tuple[int, int]]:
    runs: list[list[int]] = []
    for page in sorted(pages):
        if runs and page == runs[-1][1] + 1:
            runs[-1][1] = page
        else:
            runs.append([page, page])
    return [(a, b) for a, b in runs]


def _n(value: float) -> str:
    return f"{value:g}"


def _test_state(passed: bool, begun: bool) -> str:
    return "passed" if passed else "begun" if begun else "ahead"


def ruler_of(standing: Standing, book: Workbook, today: date, planned: GoalSet | None = None) -> Ruler:
    """Lay out the ruler of one copy; `planned` is the plan's goal, shown where none is set."""
    pages = book.pages
    ends = {stop.last for stop in book.sections}
    end = _x(pages)
    # One line, dashed by the sheet in steps of a page: a stroke a page would be a tenth of today's page.
    short = f"M{_n(_x(1) - 0.5)} {_n(BASE - 2.5)}H{_n(end + 0.5)}"
    long = "".join(f"M{_n(_x(p))} {_n(BASE)}v-12" for p in sorted(ends))
    worked = "".join(f"M{_n(_x(a - 1))} {_n(BASE)}H{_n(_x(b))}" for a, b in _runs(standing.pages))
    stops = []
    for stop in book.stops:
        kept = standing.stop(stop.id)
        name = say(
            "{stop}, to page {page}: {state}",
            stop=stop_words(stop.id).capitalize(),
            page=stop.last,
            state=say(kept.cycle),
        )
        begun = kept.cycle in (Cycle.TO_CORRECT, Cycle.CORRECTED)
        state = "cleared" if kept.cycle is Cycle.CLEARED else "begun" if begun else ""
        notch = ""
        if stop.kind == "check":
            middle = (_x(stop.first - 1) + _x(stop.last)) / 2
            notch = f"M{_n(middle - 4)} {_n(BASE)}l4 6 4-6z"
        stops.append(StopMark(_n(_x(stop.last)), str(stop.last), state, notch, name))
    is_set = standing.goal is not None and standing.goal.day == today
    mark = standing.goal if is_set else planned
    goal, words_of_goal = _goal(mark) if mark is not None else ("", "")
    reached = _reached(standing, pages)
    flag = f"M{_n(reached)} {_n(BASE)}V2l8 3.5-8 3.5"
    attempt, unit = standing.attempt, standing.unit
    words = say("{worked} of {pages} pages worked", worked=len(standing.pages), pages=pages)
    if words_of_goal and is_set:
        words = say("{worked}; goal today: {goal}", worked=words, goal=words_of_goal)
    elif words_of_goal:
        words = say("{worked}; planned today: {goal}", worked=words, goal=words_of_goal)
    return Ruler(
        width=_n(end + 26),
        height="48",
        left=_n(LEFT),
        base=_n(BASE),
        strokes=short,
        long_strokes=long,
        worked=worked,
        stops=tuple(stops),
        goal=goal,
        goal_set=is_set,
        goal_words=words_of_goal,
        flag=flag,
        practice_x=_n(end + 10),
        unit_x=_n(end + 16),
        practice=_test_state(standing.practice_passed, attempt is not None),
        unit=_test_state(standing.passed, unit is not None),
        title=book.title,
        words=words,
    )


def _goal(goal: GoalSet) -> tuple[str, str]:
    if goal.first is None or goal.last is None:
        return "", goal_words(goal)
    path = f"M{_n(_x(goal.first - 1) + 1)} {_n(BASE + 6)}v4H{_n(_x(goal.last) - 1)}v-4"
    return path, goal_words(goal)


def _reached(standing: Standing, pages: int) -> float:
    """Where the learner stands: behind the last page worked, or at a test."""
    if standing.unit is not None:
        return _x(pages) + 16
    if standing.practice:
        return _x(pages) + 10
    return _x(max(standing.pages, default=0))
