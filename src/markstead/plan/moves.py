"""What one day can do for one stream, and what it costs beside the minutes. Plain Python, one move at a time.

The fast tables of `plan.stream` say the same in arrays; these lines are what those are held against. Costs are in half
points, so that a half-minute over the soft limit costs a whole number.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from markstead.plan.problem import LearnerLimits, Points, Problem, Stream

HALF = 2
"""Half points in a point."""


@dataclass(frozen=True, slots=True)
class Move:
    """One stream on one day."""

    to: int
    pages: int = 0
    practice: bool = False
    unit: bool = False
    halves: int = 0


def moves(problem: Problem, stream: Stream, limits: LearnerLimits, day: int, place: int) -> Iterator[Move]:
    """Every move open to a stream that stands at a place, whatever other streams do; staying comes first.

    A day of waiting between the two tests passes by itself on a day on which the learner does school.
    """
    index, done = stream.at(place)
    book = stream.workbooks[index]
    if limits.here[day] and book.passes(done):
        yield Move(place + 1)
        return
    yield Move(place)
    if not limits.here[day] or place >= stream.steps:
        return
    taught = stream.taught[day] and day >= book.ready_from
    if done <= book.pages and taught:
        left = book.pages - done
        for pages in range(1, min(left, stream.most) + 1):
            yield Move(place + pages, pages, halves=pages * book.halves_a_page)
        if left <= stream.most:
            yield Move(
                place + left + 1, left, practice=True, halves=left * book.halves_a_page + book.practice_halves
            )
    elif done == book.pages + 1 + book.waits and problem.watched[day] > 0 and _unit_open(stream, day, place):
        yield Move(place + 1, unit=True, halves=book.unit_halves)
        if problem.next_same_day and index + 1 < len(stream.workbooks) and stream.taught[day]:
            following = stream.workbooks[index + 1]
            if day >= following.ready_from:
                for pages in range(1, min(following.pages, stream.most) + 1):
                    halves = book.unit_halves + pages * following.halves_a_page
                    yield Move(place + 1 + pages, pages, unit=True, halves=halves)


def _unit_open(stream: Stream, day: int, place: int) -> bool:
    return place != stream.done or day >= stream.unit_from


def comfort(stream: Stream, points: Points, day: int, place: int, move: Move) -> dict[str, int]:
    """What a move costs in pages below the least, above the comfortable and in ending away from a stop."""
    index, done = stream.at(place)
    book = stream.workbooks[index]
    found = {}
    if not move.unit and stream.taught[day] and day >= book.ready_from and done < book.pages:
        short = min(stream.least, book.pages - done) - move.pages
        found["below_least"] = HALF * points.below_least * max(0, short)
    if move.pages:
        found["above_comfortable"] = HALF * points.above_comfortable * max(0, move.pages - stream.comfortable)
        if not move.practice:
            found |= _stop(stream, points, move.to)
    return found


def _stop(stream: Stream, points: Points, place: int) -> dict[str, int]:
    index, done = stream.at(place)
    book = stream.workbooks[index]
    if done in book.section_ends:
        return {}
    if done in book.half_sections():
        return {"half_section": HALF * points.half_section}
    return {"no_stop": HALF * points.no_stop}


def test_waits(stream: Stream, place: int) -> bool:
    """Whether all pages of the workbook in hand are done and a test of it is not."""
    index, done = stream.at(place)
    book = stream.workbooks[index]
    return book.pages <= done < book.steps


def told(stream: Stream, day: int) -> int | None:
    """The place announced for the end of a day; what is done already is no change."""
    if day >= len(stream.announced):
        return None
    return max(stream.announced[day], stream.done)


def told_test(stream: Stream, day: int) -> int | None:
    """The place reached by the unit test that was announced for a day, if one was and it is not done."""
    if day >= len(stream.announced):
        return None
    before = stream.announced[day - 1] if day else stream.done
    for index in range(len(stream.workbooks)):
        place = stream.start(index + 1)
        if max(before, stream.done) < place <= stream.announced[day]:
            return place
    return None


def moved(stream: Stream, points: Points, day: int, place: int, move: Move) -> int:
    """What a day costs that departs from what was announced for it."""
    goal = told(stream, day)
    if goal is None:
        return 0
    cost = moved_test(stream, points, day, place, move)
    if move.to != goal:
        cost += HALF * (points.moved_goal + points.moved_page * abs(move.to - goal))
    return cost


def moved_test(stream: Stream, points: Points, day: int, place: int, move: Move) -> int:
    """What it costs to hold a unit test that was not announced for a day, and not to hold the one that was."""
    if day >= len(stream.announced):
        return 0
    test = told_test(stream, day)
    held = unit_place(stream, place) if move.unit else None
    if test == held:
        return 0
    return HALF * points.moved_test * ((test is not None) + (held is not None))


def unit_place(stream: Stream, place: int) -> int:
    """The place after the unit test of the workbook in hand."""
    return stream.start(stream.at(place)[0] + 1)


def minutes(points: Points, soft: int, halves: int) -> tuple[int, int]:
    """What a learner's day costs over the soft limit: near it and far beyond it, in half points."""
    near = soft * points.near_percent // 100
    over = max(0, halves - soft)
    return points.over * min(over, near), points.far_over * max(0, over - near)
