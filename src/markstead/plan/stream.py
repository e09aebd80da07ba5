"""The best path of one stream when all others stand still: dynamic programming over (day, steps done), backwards.

Bellman, *Dynamic Programming* (1957). A day offers a few moves (`plan.moves`); the value of a place is the least of move
cost plus value of the place reached, taken for all places of a day at once. Exact for its stream, whatever the prices
of minutes and mornings are. All costs are whole half points, so that every machine finds the same path.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from markstead.plan.moves import HALF, moves, told, told_test
from markstead.plan.problem import Problem, Stream

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEVER = 1 << 40
"""The price of what is forbidden: above any cost, and a thousand of them still fit in 64 bits."""


@dataclass(frozen=True, slots=True)
class Path:
    """One way of a stream through the days."""

    places: tuple[int, ...]
    halves: Ints
    """(H,) half-minutes of each day."""
    units: Flags
    """(H,) whether a unit test is sat."""
    own: int
    """What the stream costs by itself: comfort, targets, the year's line, what was announced."""
    value: int
    """`own` and the prices paid; at least `NEVER` where there is no way."""


class Tables:
    """What stays the same of a stream from one solution to the next."""

    def __init__(self, problem: Problem, stream: Stream) -> None:
        self.problem, self.stream = problem, stream
        self.limits = problem.limits(stream.learner)
        self.days, self.places = problem.horizon, stream.steps + 1
        self.most = stream.most
        self.books = len(stream.workbooks)
        self.open = np.array(
            [here and watched > 0 for here, watched in zip(self.limits.here, problem.watched, strict=True)]
        )
        self.reach = self._reach()
        self._minutes()
        self._page_moves()
        self._test_moves()
        self.end = self._ends_of_days()
        self._announced_tests()

    # --- what is built once --------------------------------------------------------------------------------------

    def _reach(self) -> list[int]:
        """The furthest place at the beginning of every day, and at the end of the last."""
        found = [self.stream.done]
        fixed = {fixed.day: fixed.place for fixed in self.stream.fixed}
        for day in range(self.days):
            far = max(m.to for m in moves(self.problem, self.stream, self.limits, day, found[-1]))
            found.append(max(self.stream.done, min(far, fixed.get(day, far))))
        return found

    def _minutes(self) -> None:
        """Half-minutes of every move that a workbook knows: pages, pages and practice test, unit test and pages."""
        books = self.stream.workbooks
        pages = np.arange(self.most + 1, dtype=np.int64)
        each = np.array([book.halves_a_page for book in books], dtype=np.int64)
        following = np.append(each[1:], 0)
        after_unit = pages if self.problem.next_same_day else pages[:1]
        self.page_halves = pages[:, None] * each[None, :]
        self.practice_halves = self.page_halves + np.array([b.practice_halves for b in books])
        self.unit_halves = after_unit[:, None] * following + np.array([b.unit_halves for b in books])
        self.rows = (len(pages), len(pages), len(after_unit))
        self.halves = np.concatenate(
            [self.page_halves.ravel(), self.practice_halves.ravel(), self.unit_halves.ravel()]
        )

    def _page_moves(self) -> None:
        """Cost of moving 0..most pages from every place on a day taught, `NEVER` across a workbook's end."""
        points, stream = self.problem.points, self.stream
        cost = np.full((self.most + 1, self.places), NEVER, dtype=np.int64)
        cost[0] = 0
        book_of = np.zeros(self.places, dtype=np.int64)
        over = HALF * points.above_comfortable * np.maximum(0, np.arange(self.most + 1) - stream.comfortable)
        for index, book in enumerate(stream.workbooks):
            start = stream.start(index)
            book_of[start : start + book.steps] = index
            stop = np.full(book.pages + 1, HALF * points.no_stop, dtype=np.int64)
            stop[list(book.half_sections())] = HALF * points.half_section
            stop[list(book.section_ends)] = 0
            done = np.arange(book.pages)
            wished = np.minimum(stream.least, book.pages - done)
            for pages in range(self.most + 1):
                fits = done[done + pages <= book.pages]
                short = HALF * points.below_least * np.maximum(0, wished[: len(fits)] - pages)
                stops = stop[fits + pages] if pages else 0
                cost[pages, start : start + len(fits)] = short + over[pages] + stops
        book_of[-1] = self.books - 1
        self.page_cost, self.book_of, self.over_comfortable = cost, book_of, over

    def _test_moves(self) -> None:
        """Where practice tests and unit tests begin and lead."""
        stream = self.stream
        starts = np.array([stream.start(i) for i in range(self.books)], dtype=np.int64)
        pages = np.array([book.pages for book in stream.workbooks], dtype=np.int64)
        left = np.arange(self.most + 1)[:, None]
        self.ready_from = np.array([book.ready_from for book in stream.workbooks])
        source = starts + pages - left
        allowed = (left <= pages) & (source >= stream.done)
        self.practice_from, self.practice_k = source[allowed], np.flatnonzero(allowed.ravel())
        self.practice_to = np.broadcast_to(starts + pages + 1, allowed.shape)[allowed]
        self.practice_cost = np.broadcast_to(self.over_comfortable[:, None], allowed.shape)[allowed]
        waits = np.array([book.waits for book in stream.workbooks], dtype=np.int64)
        self.unit_from = starts + pages + 1 + waits
        # Where a day of waiting passes by itself.
        ranges = [np.arange(s + p + 1, s + p + 1 + w) for s, p, w in zip(starts, pages, waits, strict=True)]
        self.wait_places = np.concatenate(ranges)
        self.unit_books = np.flatnonzero(self.unit_from >= stream.done)
        # Pages of the next workbook on the same day: its comfort is that of pages done from its beginning.
        after = np.arange(self.rows[2])[:, None]
        to = np.minimum(self.unit_from + 1 + after, self.places - 1)
        cost = np.zeros(to.shape, dtype=np.int64)
        for x in range(1, self.rows[2]):
            for index in range(self.books):
                cost[x, index] = self._after_unit(index, x)
        self.unit_to, self.unit_cost = to, cost

    def _after_unit(self, index: int, pages: int) -> int:
        """The comfort of so many pages of the workbook after this one, on the day of this one's unit test."""
        if index + 1 >= self.books or pages > self.stream.workbooks[index + 1].pages:
            return NEVER
        start = self.stream.start(index + 1)
        # A day that starts anew carries no wish for the least pages.
        short = min(self.stream.least, self.stream.workbooks[index + 1].pages) - pages
        return int(self.page_cost[pages, start]) - HALF * self.problem.points.below_least * max(0, short)

    def _ends_of_days(self) -> Ints:
        """(H, places) what it costs to stand at a place at the end of a day."""
        problem, stream, points = self.problem, self.stream, self.problem.points
        end = np.zeros((self.days, self.places), dtype=np.int64)
        for index, book in enumerate(stream.workbooks):
            pages_done = stream.start(index) + book.pages
            end[:, pages_done : pages_done + 2 + book.waits] += HALF * points.test_waits
        for target in problem.targets_of(stream):
            goal = problem.goal_place(stream, target)
            first = max(0, target.day - problem.reserve)
            end[first : target.day, :goal] += HALF * points.close * stream.weight
            end[target.day :, :goal] += HALF * points.day_late * stream.weight
            end[target.day, :goal] += HALF * points.missed * stream.weight
        if stream.line is not None and self.days:
            behind = np.maximum(0, stream.line - np.arange(self.places))
            end[-1] += HALF * points.behind * stream.weight * behind
        for day in range(min(len(stream.announced), self.days)):
            away = np.abs(np.arange(self.places) - (told(stream, day) or 0))
            end[day] += HALF * (points.moved_goal * (away > 0) + points.moved_page * away)
        for fixed in stream.fixed:
            kept = end[fixed.day, fixed.place]
            end[fixed.day] = NEVER
            end[fixed.day, fixed.place] = kept
        return end

    def _announced_tests(self) -> None:
        """What holding, or not holding, a unit test costs on a day that was announced."""
        price = HALF * self.problem.points.moved_test
        self.without_unit = np.zeros(self.days, dtype=np.int64)
        self.with_unit = np.zeros((self.days, self.books), dtype=np.int64)
        for day in range(min(len(self.stream.announced), self.days)):
            test = told_test(self.stream, day)
            self.without_unit[day] = price * (test is not None)
            self.with_unit[day] = price * (1 + (test is not None))
            if test is not None:
                self.with_unit[day, self.unit_from + 1 == test] = 0

    # --- one solution --------------------------------------------------------------------------------------------

    def best(self, minutes: Ints, sitting: Ints) -> Path:
        """Find the cheapest path.

        Args:
            minutes: (H, moves) the price of each kind of move's half-minutes, in the order of `halves`.
            sitting: (H,) the price of a unit test on each morning; `NEVER` where there is no room.
        """
        first = self.stream.done
        prices = self._split(minutes)
        width = self.places + self.most
        ahead = np.full((self.days, width), NEVER, dtype=np.int64)
        value = np.zeros(self.reach[-1] + 1, dtype=np.int64)
        for day in range(self.days - 1, -1, -1):
            known = self.reach[day + 1] + 1
            ahead[day, first:known] = value[first:known] + self.end[day, first:known]
            value = self._day(day, ahead[day], prices, sitting)
        return self._walk(ahead, prices, sitting, int(value[first]))

    def _split(self, minutes: Ints) -> tuple[Ints, Ints, Ints]:
        one, two, _ = (rows * self.books for rows in self.rows)
        pages = minutes[:, :one].reshape(self.days, -1, self.books)
        practice = minutes[:, one : one + two]
        units = minutes[:, one + two :].reshape(self.days, -1, self.books)
        return pages, practice, units

    def _day(self, day: int, ahead: Ints, prices: tuple[Ints, Ints, Ints], sitting: Ints) -> Ints:
        """The value of every place at the beginning of a day."""
        first, last = self.stream.done, self.reach[day]
        value = ahead[: last + 1].copy()
        if not self.limits.here[day]:
            value += self.without_unit[day]
            return value
        if self.stream.taught[day] and not self._waits(day, first):
            window = np.lib.stride_tricks.sliding_window_view(ahead, last - first + 1)[
                first : first + self.most + 1
            ]
            block = prices[0][day][:, self.book_of[first : last + 1]]
            block += self.page_cost[:, first : last + 1]
            block += window
            block.min(axis=0, out=value[first:])
            if self._waits(day, last):
                value[last] = ahead[last]
            near = self.practice_from <= last
            source, k = self.practice_from[near], self.practice_k[near]
            tested = prices[1][day][k] + self.practice_cost[near] + ahead[self.practice_to[near]]
            value[source] = np.minimum(value[source], tested)
        if len(self.wait_places):
            passing = self.wait_places[self.wait_places <= last]
            value[passing] = ahead[passing + 1]
        if self.without_unit[day]:
            value += self.without_unit[day]
        if sitting[day] < NEVER and self.open[day]:
            self._units(day, value, ahead, prices[2][day], int(sitting[day]))
        return value

    def _waits(self, day: int, place: int) -> bool:
        """Whether the stream stands before a workbook whose copy is not in the house.

        Only the furthest place of a day can: beyond it nothing is reached before the copy comes. A copy that came late to
        a workbook begun already is as bad.
        """
        return day < self.ready_from[self.book_of[place]] and place < self.places - 1

    def _units(self, day: int, value: Ints, ahead: Ints, prices: Ints, sitting: int) -> None:
        books = self.unit_books[self.unit_from[self.unit_books] < len(value)]
        if len(books) and self.unit_from[books[0]] == self.stream.done and day < self.stream.unit_from:
            books = books[1:]
        if not len(books):
            return
        rows = self.rows[2] if self.stream.taught[day] else 1
        cost = prices[:rows, books] + self.unit_cost[:rows, books] + ahead[self.unit_to[:rows, books]]
        best = cost.min(axis=0) + sitting + self.with_unit[day, books]
        source = self.unit_from[books]
        value[source] = np.minimum(value[source], best)

    def _walk(self, ahead: Ints, prices: tuple[Ints, Ints, Ints], sitting: Ints, value: int) -> Path:
        """Go forwards and take the cheapest move of every day; of equals, the first."""
        halves = np.zeros(self.days, dtype=np.int64)
        units = np.zeros(self.days, dtype=np.bool_)
        places, place, own = [], self.stream.done, 0
        if value >= NEVER:
            return Path((), halves, units, NEVER, value)
        for day in range(self.days):
            to, worked, unit, cost = self._step(day, place, ahead[day], prices, int(sitting[day]))
            own += cost + int(self.end[day, to])
            halves[day], units[day] = worked, unit
            places.append(to)
            place = to
        return Path(tuple(places), halves, units, own, value)

    def _step(
        self, day: int, place: int, ahead: Ints, prices: tuple[Ints, Ints, Ints], sitting: int
    ) -> tuple[int, int, bool, int]:
        """The best move from one place: where to, half-minutes, whether a unit test, own cost."""
        book = int(self.book_of[place])
        done = place - self.stream.start(book)
        total = self.stream.workbooks[book].pages
        without = int(self.without_unit[day])
        best = (int(ahead[place]) + without, place, 0, False, without)
        if not self.limits.here[day] or place == self.places - 1:
            return best[1:]
        if self.stream.workbooks[book].passes(done):
            return place + 1, 0, False, without
        if done <= total and self.stream.taught[day] and not self._waits(day, place):
            costs = prices[0][day, :, book] + self.page_cost[:, place]
            x = int((costs + ahead[place : place + self.most + 1]).argmin())
            own = int(self.page_cost[x, place]) + without
            best = (
                int(costs[x] + ahead[place + x]) + without,
                place + x,
                int(self.page_halves[x, book]),
                False,
                own,
            )
            left = total - done
            if left <= self.most:
                own = int(self.over_comfortable[left]) + without
                price = int(prices[1][day, left * self.books + book])
                tested = own + price + int(ahead[place + left + 1])
                if tested < best[0]:
                    best = (tested, place + left + 1, int(self.practice_halves[left, book]), False, own)
        elif place == self.unit_from[book] and self.open[day] and sitting < NEVER:
            if place == self.stream.done and day < self.stream.unit_from:
                return best[1:]
            for x in range(self.rows[2] if self.stream.taught[day] else 1):
                to = int(self.unit_to[x, book])
                own = int(self.unit_cost[x, book] + self.with_unit[day, book])
                cost = own + int(prices[2][day, x, book]) + sitting + int(ahead[to])
                if cost < best[0]:
                    best = (cost, to, int(self.unit_halves[x, book]), True, own)
        return best[1:]


def minute_prices(tables: Tables, other: Ints, *, hard_price: int | None = None, crowding: int = 0) -> Ints:
    """Price the half-minutes of every move of a stream on top of what the learner does already.

    Args:
        tables: the stream.
        other: (H,) half-minutes of the learner's other streams.
        hard_price: half points a half-minute beyond the hard limit; None forbids it.
        crowding: hundredths of a half point, times load squared over the soft limit; spreads work before limits bind.

    Returns:
        (H, moves) whole half points.
    """
    points, limits = tables.problem.points, tables.limits
    soft = np.array(limits.soft, dtype=np.int64)[:, None]
    hard = np.array(limits.hard, dtype=np.int64)[:, None]
    near = soft * points.near_percent // 100

    def price(load: Ints) -> Ints:
        over = np.maximum(0, load - soft)
        cost: Ints = points.over * over + (points.far_over - points.over) * np.maximum(0, over - near)
        if crowding:
            cost += crowding * load * load // (100 * np.maximum(soft, 1))
        if hard_price is not None:
            cost += hard_price * np.maximum(0, load - hard)
        return cost

    before = other[:, None]
    load = before + tables.halves
    found: Ints = price(load) - price(before)
    if hard_price is None:
        found[(load > hard) & (tables.halves > 0)] = NEVER
    return found


def load_cost(problem: Problem, soft: Sequence[int], load: Ints) -> int:
    """What a learner's days cost over the soft limit, in half points."""
    points = problem.points
    limit = np.array(soft, dtype=np.int64)
    near = limit * points.near_percent // 100
    over = np.maximum(0, load - limit)
    return int((points.over * over + (points.far_over - points.over) * np.maximum(0, over - near)).sum())
