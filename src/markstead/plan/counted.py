"""What targets alone must cost, as a program that counts: pages, practice tests and unit tests done by each evening.

With targets alone priced it does not matter where in a section a day ends. A workbook then needs three rising counts
instead of a path through places: pages (whole), practice test and unit test (0 or 1). What a day adds to them takes its
minutes; an evening without the unit test costs. This is the multi-period form of production planning with progressive
orders (Pochet and Wolsey, *Production Planning by Mixed Integer Programming*, 2006, chapters 4 and 9), and HiGHS closes it
by its own cuts where mixtures of whole paths (`plan.bound`) leave a gap.

Only plans that cost less than a known one are looked for. What a target can be late at most in these, and what a stream
can reach at all, leaves few days open to each workbook.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, isfinite

from markstead.plan.moves import HALF, moves
from markstead.plan.problem import Problem, Stream, WorkbookToDo
from markstead.plan.program import Ending, GoOn, Program
from markstead.plan.stream import Tables

Places = Sequence[Sequence[int]]


@dataclass(frozen=True, slots=True)
class Count:
    """A count in an evening: a column of the program, or a number that is known."""

    column: int | None
    known: int = 0


@dataclass(frozen=True, slots=True)
class _Span:
    """The least and the furthest place of a stream in every evening."""

    least: tuple[int, ...]
    furthest: tuple[int, ...]
    open: bool
    """Whether the stream stands where it must before the first day."""


class _Book:
    """The counts of one workbook, evening by evening; index 0 is the evening before the first day."""

    def __init__(self, stream: Stream, index: int) -> None:
        self.stream, self.index = stream, index
        self.book: WorkbookToDo = stream.workbooks[index]
        self.start = stream.start(index)
        begun = min(max(0, stream.done - self.start), self.book.steps)
        self.pages = [Count(None, min(begun, self.book.pages))]
        self.practice = [Count(None, int(begun > self.book.pages))]
        self.unit = [Count(None, int(begun == self.book.steps))]
        self.waited = max(0, begun - self.book.pages - 1)


class Counted:
    """The program of some learners' days with targets alone priced, and what its columns mean."""

    def __init__(
        self,
        problem: Problem,
        tables: Sequence[Tables],
        step: int,
        latest: Mapping[tuple[str, str, str], int],
    ) -> None:
        """Build the program.

        Args:
            problem: days with targets alone priced; the learners in it are planned together.
            tables: of each of its streams.
            step: half points of which every cost is a multiple.
            latest: the day by which each target is met in every plan that is looked for; the horizon, where it need not be.
        """
        self.problem, self.step = problem, step
        self.program = Program()
        self.possible = True
        """False where it shows already that no plan is left."""
        self.constant = 0
        self.books: list[list[_Book]] = []
        self.minutes: dict[tuple[str, int], list[tuple[Count, Count, int]]] = defaultdict(list)
        self.sittings: dict[tuple[str, int], list[tuple[Count, Count]]] = defaultdict(list)
        self.learner_cost: dict[str, list[tuple[int, float]]] = defaultdict(list)
        self.learner_constant: dict[str, int] = defaultdict(int)
        for stream, table in zip(problem.streams, tables, strict=True):
            span = _span(problem, table, latest)
            self.possible = self.possible and span.open
            found: list[_Book] = []
            for index in range(len(stream.workbooks)):
                book = _Book(stream, index)
                self._counts(book, span)
                self._order(book, found[-1] if found else None)
                found.append(book)
            self.books.append(found)
            self._lateness(stream, found)
        self._limits()

    # --- columns -------------------------------------------------------------------------------------------------

    def _counts(self, book: _Book, span: _Span) -> None:
        """A new column for each evening on which a count can have risen, as far as it is not known."""
        problem, stream, todo = self.problem, book.stream, book.book
        limits = problem.limits(stream.learner)
        held_back = _practice_too_early(problem, stream, book.index)
        for day in range(problem.horizon):
            low, far = span.least[day] - book.start, span.furthest[day] - book.start
            works = limits.here[day] and stream.taught[day] and day >= todo.ready_from
            sits = limits.here[day] and problem.watched[day] > 0 and self._may_sit(book, day)
            book.pages.append(
                self._next(book.pages[-1], works, min(low, todo.pages), max(0, min(far, todo.pages)))
            )
            tested = int(far > todo.pages and day not in held_back)
            book.practice.append(self._next(book.practice[-1], works, int(low > todo.pages), tested))
            book.unit.append(self._next(book.unit[-1], sits, int(low >= todo.steps), int(far >= todo.steps)))
            if works:
                self._worked(stream, day, book.pages, todo.halves_a_page)
                self._worked(stream, day, book.practice, todo.practice_halves)
            if sits:
                self._worked(stream, day, book.unit, todo.unit_halves)
                if book.unit[-1] != book.unit[-2]:
                    self.sittings[stream.learner, day].append((book.unit[-1], book.unit[-2]))

    def _may_sit(self, book: _Book, day: int) -> bool:
        """Whether a unit test whose practice test was passed before the plan begins is open on a day."""
        if not book.practice[0].known or book.waited < book.book.waits:
            return True
        return day >= book.stream.unit_from

    def _next(self, before: Count, opens: bool, least: int, most: int) -> Count:
        """The count of the next evening, which lies between two numbers; the same as before where nothing can rise."""
        if before.column is None:
            least = max(least, before.known)
            if not opens:
                most = min(most, before.known)
        if least > most:
            self.possible = False
        if opens and least < most:
            return Count(self.program.column(0, most, whole=True, lower=max(0, least)))
        if opens or before.column is None:
            return Count(None, least)
        self.program.lower[before.column] = max(self.program.lower[before.column], least)
        self.program.upper[before.column] = min(self.program.upper[before.column], most)
        return before

    def _worked(self, stream: Stream, day: int, counts: Sequence[Count], halves: int) -> None:
        if halves and counts[-1] != counts[-2]:
            self.minutes[stream.learner, day].append((counts[-1], counts[-2], halves))

    # --- rows ----------------------------------------------------------------------------------------------------

    def _row(self, parts: Sequence[tuple[Count, float]], most: float) -> None:
        """The sum of value times count is at most so much."""
        sums: dict[int, float] = defaultdict(float)
        for count, value in parts:
            if count.column is None:
                most -= value * count.known
            else:
                sums[count.column] += value
        entries = [(column, value) for column, value in sums.items() if value]
        if entries and sum(self._highest(column, value) for column, value in entries) > most:
            self.program.row(entries, None, most)
        elif not entries and most < 0:
            self.possible = False

    def _highest(self, column: int, value: float) -> float:
        return value * (self.program.upper[column] if value > 0 else self.program.lower[column])

    def _order(self, book: _Book, before: _Book | None) -> None:
        """Counts rise; pages before the practice test, that before the unit test, and the workbook before all of them."""
        stream, todo = book.stream, book.book
        same_day = self.problem.next_same_day
        for day in range(self.problem.horizon):
            now, then = day + 1, day
            for counts in (book.pages, book.practice, book.unit):
                if counts[now] != counts[then]:
                    self._row([(counts[then], 1), (counts[now], -1)], 0)
            if book.practice[now] != book.practice[then]:
                self._row([(book.practice[now], todo.pages), (book.pages[now], -1)], 0)
                # So many days of pages at the least lie between: true of every part of a mixture.
                for back, rest in self._days_back(book, day):
                    self._row([(book.practice[now], rest), (book.pages[back], -1)], 0)
            if book.unit[now] != book.unit[then]:
                passed = self._passed_by(stream, book, day)
                self._row(
                    [(book.unit[now], 1), (Count(None, 0) if passed is None else book.practice[passed], -1)],
                    0,
                )
            if book.pages[now] == book.pages[then]:
                continue
            rises: list[tuple[Count, float]] = [(book.pages[now], 1), (book.pages[then], -1)]
            if before is None:
                self._row(rises, stream.most)
                continue
            opened = before.unit[now if same_day else then]
            self._row([*rises, (opened, -stream.most)], 0)
            self._row([(book.pages[now], 1), (opened, -todo.pages)], 0)
            if book.practice[now] != book.practice[then]:
                self._row([(book.practice[now], 1), (before.unit[then], -1)], 0)
                first = self._first_day(book, day)
                self._row([(book.practice[now], 1), (before.unit[first + same_day], -1)], 0)

    def _days_back(self, book: _Book, day: int) -> list[tuple[int, int]]:
        """Evenings before a practice test, and the pages that must be done by them if it is on that day."""
        rest, found = book.book.pages, []
        for back in range(day, 0, -1):
            if book.pages[back + 1] != book.pages[back]:
                rest -= book.stream.most
                if rest <= 0:
                    break
                found.append((back, rest))
        return found

    def _first_day(self, book: _Book, day: int) -> int:
        """The last day on which a workbook can be begun for its practice test to be on a day, or before its first."""
        rest = book.book.pages
        for back in range(day, -1, -1):
            if book.pages[back + 1] != book.pages[back]:
                rest -= book.stream.most
                if rest <= 0:
                    return back
        return 0

    def _passed_by(self, stream: Stream, book: _Book, day: int) -> int | None:
        """The evening by which the practice test is done for a unit test on a day; None where it cannot be held."""
        here = self.problem.limits(stream.learner).here
        waits = book.book.waits
        for evening in range(day, -1, -1):
            passed = sum(here[evening:day])
            if evening == 0 and book.practice[0].known:
                passed += book.waited
            if passed >= waits:
                return evening
        return None

    def _lateness(self, stream: Stream, books: Sequence[_Book]) -> None:
        points, horizon = self.problem.points, self.problem.horizon
        for target in self.problem.targets_of(stream):
            index = stream.index(target.workbook)
            assert index is not None
            for day in range(target.day, horizon):
                price = HALF * stream.weight * (points.day_late + points.missed * (day == target.day))
                count = books[index].unit[day + 1]
                self.learner_constant[stream.learner] += price
                if count.column is None:
                    self.learner_constant[stream.learner] -= price * count.known
                else:
                    self.program.cost[count.column] -= price / self.step
                    self.learner_cost[stream.learner].append((count.column, -price / self.step))
        self.constant = sum(self.learner_constant.values())

    def _limits(self) -> None:
        problem = self.problem
        for (learner, day), worked in self.minutes.items():
            parts = [
                (count, float(sign * halves))
                for now, then, halves in worked
                for count, sign in ((now, 1), (then, -1))
            ]
            self._row(parts, problem.limits(learner).hard[day])
        mornings: dict[int, list[tuple[Count, float]]] = defaultdict(list)
        for (_, day), sat in self.sittings.items():
            parts = [(count, sign) for now, then in sat for count, sign in ((now, 1.0), (then, -1.0))]
            self._row(parts, problem.sittings_a_learner)
            mornings[day] += parts
        for day, parts in mornings.items():
            self._row(parts, problem.watched[day])

    def at_least(self, learner: str, cost: int) -> None:
        """Say what a learner's targets are known to cost at the least, in half points."""
        sums: dict[int, float] = defaultdict(float)
        for column, value in self.learner_cost[learner]:
            sums[column] -= value
        if sums:
            self.program.row(list(sums.items()), None, (self.learner_constant[learner] - cost) / self.step)

    # --- solutions -----------------------------------------------------------------------------------------------

    def values(self, places: Places) -> list[float]:
        """What the columns are in a plan."""
        found = [0.0] * len(self.program.cost)
        for books, path in zip(self.books, places, strict=True):
            for book in books:
                todo = book.book
                for day, place in enumerate(path):
                    done = place - book.start
                    for counts, value in (
                        (book.pages, min(max(done, 0), todo.pages)),
                        (book.practice, int(done > todo.pages)),
                        (book.unit, int(done >= todo.steps)),
                    ):
                        column = counts[day + 1].column
                        if column is not None:
                            found[column] = value
        return found

    def places(self, values: Sequence[float]) -> list[tuple[int, ...]]:
        """The plan that columns mean: the steps done in every evening."""
        return [tuple(self._path(books, values)) for books in self.books]

    def _path(self, books: Sequence[_Book], values: Sequence[float]) -> list[int]:
        def of(count: Count) -> int:
            return count.known if count.column is None else round(values[count.column])

        stream, found = books[0].stream, []
        here = self.problem.limits(stream.learner).here
        place = stream.done
        for day in range(self.problem.horizon):
            index, done = stream.at(place)
            if done == stream.workbooks[index].steps:
                found.append(place)
                continue
            book = books[index]
            if here[day] and book.book.passes(done):
                place += 1
            elif of(book.unit[day + 1]):
                place = book.start + book.book.steps
                if index + 1 < len(books):
                    place += of(books[index + 1].pages[day + 1])
            elif done <= book.book.pages:
                place = book.start + of(book.pages[day + 1]) + of(book.practice[day + 1])
            found.append(place)
        return found

    def solve(
        self, nodes: int, begin: Places | None = None, go_on: GoOn | None = None
    ) -> tuple[list[tuple[int, ...]] | None, int]:
        """Look for the cheapest plan.

        Args:
            nodes: branchings at most.
            begin: a plan that is known, where it lies within what is looked for.
            go_on: asked while it searches.

        Returns:
            The best plan found, and what no plan that is looked for goes below, in half points.
        """
        if not self.possible:
            return None, 0
        if not self.program.cost:
            return self.places(()), self.constant
        known = self.values(begin) if begin is not None else None
        ending, values, bound = self.program.solve(nodes, known, go_on)
        if ending is Ending.IMPOSSIBLE:
            return None, 0
        # Costs are whole steps; the solver's decimals are off by less than a thousandth of one.
        least = self.constant + self.step * ceil(bound - 1e-3) if isfinite(bound) else 0
        return self.places(values) if len(values) else None, max(0, least)


def _span(problem: Problem, tables: Tables, latest: Mapping[tuple[str, str, str], int]) -> _Span:
    """Where a stream can be in each evening if every target is met by its latest day."""
    stream = tables.stream
    horizon = problem.horizon
    needed = [stream.done] * horizon
    for fixed in stream.fixed:
        needed[fixed.day] = max(needed[fixed.day], fixed.place)
    for target in problem.targets_of(stream):
        day = latest.get(target.key, horizon)
        if day < horizon:
            needed[day] = max(needed[day], problem.goal_place(stream, target))
    for day in range(horizon - 1, 0, -1):
        needed[day - 1] = max(needed[day - 1], _before(problem, tables, day, needed[day]))
    begins = not horizon or _before(problem, tables, 0, needed[0]) <= stream.done
    return _Span(tuple(needed), tuple(tables.reach[1:]), begins)


def _before(problem: Problem, tables: Tables, day: int, needed: int) -> int:
    """The least place in the morning of a day from which a place can be reached by its evening."""
    stream = tables.stream
    for place in range(max(stream.done, needed - stream.most - 2), needed):
        if max(move.to for move in moves(problem, stream, tables.limits, day, place)) >= needed:
            return place
    return needed


def _practice_too_early(problem: Problem, stream: Stream, index: int) -> set[int]:
    """Days on which a practice test would leave too many days of waiting behind it for a goal fixed by hand."""
    found: set[int] = set()
    here = problem.limits(stream.learner).here
    book, start = stream.workbooks[index], stream.start(index)
    for fixed in stream.fixed:
        waited = fixed.place - start - book.pages - 1
        if 0 <= waited < book.waits:
            found |= {day for day in range(fixed.day) if sum(here[day + 1 : fixed.day + 1]) > waited}
    return found
