"""Small problems solved by trying every combination of moves: rules and costs written a second time, from the words.

Shares no line with `markstead.plan` but the frozen problem. All streams move together, day by day; for every set of
places the best rest is remembered, nothing is left out.
"""

from functools import cache
from itertools import product

from markstead.plan.problem import Problem, Stream, Target

Option = tuple[int, int, bool, int]
"""Steps done afterwards, half-minutes, whether a unit test, cost in half points."""


def least_cost(problem: Problem, *, targets_alone: bool = False) -> int | None:
    """The least cost of any plan in half points, or of its late targets; None where no plan keeps the rules."""
    streams = problem.streams
    limits = {found.learner: found for found in problem.learners}

    @cache
    def rest(day: int, done: tuple[int, ...]) -> int | None:
        if day == problem.horizon:
            return (
                0
                if targets_alone
                else sum(
                    10 * s.weight * max(0, s.line - d)
                    for s, d in zip(streams, done, strict=True)
                    if s.line is not None
                )
            )
        best = None
        choices = [options(problem, s, day, d) for s, d in zip(streams, done, strict=True)]
        if targets_alone:
            choices = [
                [(to, halves, unit, late(problem, s, day, to)) for to, halves, unit, _ in found]
                for s, found in zip(streams, choices, strict=True)
            ]
        for chosen in product(*choices):
            cost = one_day(problem, day, chosen)
            if cost is None:
                continue
            after = rest(day + 1, tuple(option[0] for option in chosen))
            if after is not None and (best is None or cost + after < best):
                best = cost + after
        return best

    def one_day(problem: Problem, day: int, chosen: tuple[Option, ...]) -> int | None:
        if sum(option[2] for option in chosen) > problem.watched[day]:
            return None
        cost = sum(option[3] for option in chosen)
        for name, found in limits.items():
            mine = [o for s, o in zip(streams, chosen, strict=True) if s.learner == name]
            worked = sum(option[1] for option in mine)
            if worked > found.hard[day] or sum(option[2] for option in mine) > problem.sittings_a_learner:
                return None
            if targets_alone:
                continue
            soft = found.soft[day]
            over = max(0, worked - soft)
            near = soft * 12 // 100
            cost += min(over, near) + 4 * max(0, over - near)
        return cost

    return rest(0, tuple(s.done for s in streams))


def options(problem: Problem, stream: Stream, day: int, done: int) -> list[Option]:
    """What a stream can do on a day."""
    here = next(found.here[day] for found in problem.learners if found.learner == stream.learner)
    books = [
        (book, sum(b.pages + 2 + b.waits for b in stream.workbooks[:n]))
        for n, book in enumerate(stream.workbooks)
    ]
    found: list[Option] = []

    def add(to: int, halves: int, unit: bool, comfort: int, test: int | None = None) -> None:
        if any(fixed.day == day and fixed.place != to for fixed in stream.fixed):
            return
        found.append((to, halves, unit, comfort + standing(problem, stream, day, done, to, test)))

    current = next(((b, at) for b, at in books if done < at + b.pages + 2 + b.waits), None)
    if current is None or not here:
        add(done, 0, False, 0)
        return found
    book, at = current
    local = done - at
    works = stream.taught[day] and day >= book.ready_from
    if local <= book.pages:
        left = book.pages - local
        wish = min(stream.least, left) if works else 0
        add(done, 0, False, 6 * wish)
        if works:
            for pages in range(1, min(left, stream.most) + 1):
                comfort = 6 * max(0, wish - pages) + 4 * max(0, pages - stream.comfortable)
                add(done + pages, pages * book.halves_a_page, False, comfort + ending(book, local + pages))
            if left <= stream.most:
                comfort = 4 * max(0, left - stream.comfortable)
                add(at + book.pages + 1, left * book.halves_a_page + book.practice_halves, False, comfort)
        return found
    if local <= book.pages + book.waits:
        add(done + 1, 0, False, 0)
        return found
    add(done, 0, False, 0)
    too_early = done == stream.done and day < stream.unit_from
    if problem.watched[day] and not too_early:
        to = at + book.pages + 2 + book.waits
        add(to, book.unit_halves, True, 0, to)
        following = next((b for b, start in books if start == to), None)
        if problem.next_same_day and following and stream.taught[day] and day >= following.ready_from:
            for pages in range(1, min(following.pages, stream.most) + 1):
                comfort = 4 * max(0, pages - stream.comfortable) + ending(following, pages)
                add(to + pages, book.unit_halves + pages * following.halves_a_page, True, comfort, to)
    return found


def ending(book: object, page: int) -> int:
    """Half points for where the day's last page lies."""
    ends = book.section_ends  # type: ignore[attr-defined]
    if page in ends:
        return 0
    before = max((e for e in ends if e < page), default=0)
    after = min(e for e in ends if e > page)
    return 2 if abs((page - before) - (after - page)) <= 1 else 6


def standing(problem: Problem, stream: Stream, day: int, done: int, to: int, test: int | None) -> int:
    """Half points for where a stream stands in the evening: tests that wait, targets, and what was announced."""
    cost, last = 0, 0
    for book in stream.workbooks:
        last += book.pages + 2 + book.waits
        cost += 2 * problem.points.test_waits * (last - 2 - book.waits <= to < last)
    for target in problem.targets:
        if (target.learner, target.course) != (stream.learner, stream.course):
            continue
        if to < _goal(stream, target) and target.day - problem.reserve <= day < target.day:
            cost += 2 * problem.points.close * stream.weight
    cost += late(problem, stream, day, to)
    if day < len(stream.announced):
        goal = max(stream.announced[day], stream.done)
        if to != goal:
            cost += 10 + 10 * abs(to - goal)
        before = max(stream.announced[day - 1] if day else 0, stream.done)
        ends, total = [], 0
        for book in stream.workbooks:
            total += book.pages + 2 + book.waits
            ends.append(total)
        told = next((end for end in ends if before < end <= stream.announced[day]), None)
        if told != test:
            cost += 80 * ((told is not None) + (test is not None))
    return cost


def late(problem: Problem, stream: Stream, day: int, to: int) -> int:
    """Half points for targets that are not met by an evening."""
    mine = [t for t in problem.targets if (t.learner, t.course) == (stream.learner, stream.course)]
    missed = [t for t in mine if to < _goal(stream, t) and day >= t.day]
    return sum(80 * stream.weight + (400 * stream.weight if day == t.day else 0) for t in missed)


def _goal(stream: Stream, target: Target) -> int:
    goal = 0
    for book in stream.workbooks:
        goal += book.pages + 2 + book.waits
        if book.code == target.workbook:
            break
    return goal
