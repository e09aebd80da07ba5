"""Ten thousand possible lives of a home with its order plan, and the figures of docs/explanation/orders.md:

    python -m tests.order_worlds            print the tables
    python -m tests.order_worlds --write    and write them into the page

A life goes day by day and course by course: ill or well, pages, tests, a copy to wait for. Parcels take days drawn from what
the home believes of its suppliers, the doubt about that among them. Nothing is taken from the room that is judged,
save the frozen values that it reads and gives, and the plan itself where it is made anew every four weeks.
"""

import argparse
import math
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from markstead.forecast.lead import LeadBelief
    from markstead.forecast.orders import InHouse, OnOrder, Order, OrderPlan, OrderProblem
    from markstead.forecast.year import CourseAhead, LearnerYear, YearSettings
    from markstead.measure.pace import Pace
    from markstead.records.home import Home

Floats = NDArray[np.float64]
Truths = NDArray[np.bool_]

SEED = 2_027_0113
WORLDS = 10_000
SLOTS = 8
"""So many spares of one workbook at most."""
FADES, PRIOR = 0.93, 4.0
"""What a day of work counts for one school day later, and the days that the belief before the first one is worth."""
WEEKS = 4
ROLLING_WORLDS, ROLLING_PATHS = 100, 400


class Todo(IntEnum):
    """What is next in a course on a school day."""

    COPY = 0
    PAGES = 1
    PRACTICE = 2
    REVIEW = 3
    BETWEEN = 4
    UNIT = 5
    NEW_COPY = 6
    REDO = 7
    OVER = 8


# --- the home as it stands ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class House:
    """What a home knows of its year, and what it is going to order."""

    today: date
    years: tuple["LearnerYear", ...]
    how: "YearSettings"
    problem: "OrderProblem"
    plan: "OrderPlan"
    names: Mapping[str, str]

    @property
    def offers(self) -> dict[str, str]:
        """Suppliers by workbook."""
        return {offer.workbook: offer.supplier for offer in self.problem.offers}

    @property
    def beliefs(self) -> dict[str, "LeadBelief"]:
        """What is believed of each supplier."""
        return {supplier.id: supplier.lead for supplier in self.problem.suppliers}

    def day(self, day: date) -> int:
        """Calendar days from today."""
        return (day - self.today).days


def demo_houses(real_now: datetime) -> tuple[House, House]:
    """Build the demonstration home in the database that is open, and read its orders on its own last day.

    Gives the home that works by its plan in force, as its pages show it, and the same home that has no plan of its pages.
    """
    from markstead.records import demo, queries
    from markstead.records.planned import planned_of

    now = demo.build(real_now=real_now).now
    home = queries.home_of("home")
    today = home.calendar.day_of(now)
    return read_house(home, today, planned_of(home, today)), read_house(home, today, {})


def read_house(home: "Home", today: date, planned: Mapping[str, Any]) -> House:
    """Ask a home, as anybody may, for what is ahead of its learners and what it is to order."""
    from markstead.records.ahead import home_ahead
    from markstead.records.ordering import order_problems, order_reading
    from markstead.records.outlooks import year_ahead

    years = [year_ahead(home, who, today, planned=planned.get(who.id)) for who in home.learners]
    problem, rest = order_problems(home, today, planned=planned)
    assert not rest.needs, "every workbook of the demonstration has a supplier and a price"
    return House(
        today,
        tuple(year for year in years if year is not None),
        home_ahead(home, today).settings(),
        problem,
        order_reading(home, today, planned=planned).plan,
        {learner.id: learner.name for learner in home.learners},
    )


# --- parcels --------------------------------------------------------------------------------------------------------


class Post:
    """Suppliers as they may really be: in each world one truth, drawn from the belief, and parcels drawn from that."""

    def __init__(
        self,
        beliefs: Mapping[str, "LeadBelief"],
        of: Mapping[str, str],
        worlds: int,
        rng: np.random.Generator,
    ) -> None:
        self.rng, self.worlds, self.of = rng, worlds, of
        self.middle, self.spread = {}, {}
        for name, belief in sorted(beliefs.items()):
            variance = belief.rate / rng.gamma(belief.shape, size=worlds)
            self.spread[name] = np.sqrt(variance)
            self.middle[name] = belief.mean + np.sqrt(variance / belief.weight) * rng.standard_normal(worlds)

    def days(self, supplier: str, who: Any = slice(None)) -> Floats:
        """Whole days of a parcel, [worlds] or those asked for."""
        middle, spread = self.middle[supplier][who], self.spread[supplier][who]
        return np.round(np.exp(middle + spread * self.rng.standard_normal(len(middle))))

    def days_after(self, supplier: str, waited: int) -> Floats:
        """Whole days of a parcel that has been on its way for so many and has not come before today."""
        from scipy.special import ndtr, ndtri

        middle, spread = self.middle[supplier], self.spread[supplier]
        least = ndtr((math.log(waited - 0.5) - middle) / spread) if waited else np.zeros(self.worlds)
        chance = least + (1 - least) * self.rng.random(self.worlds)
        return np.maximum(np.round(np.exp(middle + spread * ndtri(np.minimum(chance, 1 - 1e-12)))), waited)


@dataclass
class Shelf:
    """When each copy was ordered and when it comes, in calendar days from today, [worlds] each; infinity for never."""

    worlds: int
    placed: dict[tuple[str, str], Floats] = field(default_factory=dict)
    comes: dict[tuple[str, str], Floats] = field(default_factory=dict)
    spare_placed: dict[str, Floats] = field(default_factory=dict)
    spare_comes: dict[str, Floats] = field(default_factory=dict)
    """[slots, worlds]."""
    spare_used: dict[str, Truths] = field(default_factory=dict)

    def open(self, code: str, learner: str) -> None:
        """Make room for a workbook of a learner."""
        self.placed[code, learner] = np.full(self.worlds, np.inf)
        self.comes[code, learner] = np.full(self.worlds, np.inf)
        if code not in self.spare_used:
            self.spare_placed[code] = np.full((SLOTS, self.worlds), np.inf)
            self.spare_comes[code] = np.full((SLOTS, self.worlds), np.inf)
            self.spare_used[code] = np.zeros((SLOTS, self.worlds), bool)

    def put(
        self, code: str, learner: str | None, placed: float, comes: Floats, who: Any = slice(None)
    ) -> None:
        """Order a copy: for a learner, or to spare."""
        if learner is not None:
            self.placed[code, learner][who], self.comes[code, learner][who] = placed, comes
            return
        slots = self.spare_placed[code][:, who].reshape(SLOTS, -1)
        free = np.argmax(np.isinf(slots) & ~self.spare_used[code][:, who].reshape(SLOTS, -1), axis=0)
        places = np.arange(self.worlds)[who]
        assert np.isinf(self.spare_placed[code][free, places]).all(), "more spares than there is room for"
        self.spare_placed[code][free, places], self.spare_comes[code][free, places] = placed, comes

    def take_spare(self, code: str, now: float, who: NDArray[np.int64]) -> Floats:
        """Take the spare that is there or comes first; infinity where none is ordered."""
        may = ~self.spare_used[code][:, who] & (self.spare_placed[code][:, who] <= now)
        comes = np.where(may, self.spare_comes[code][:, who], np.inf)
        first = np.argmin(comes, axis=0)
        found = comes[first, np.arange(len(who))]
        there = np.isfinite(found)
        self.spare_used[code][first[there], who[there]] = True
        return found


def stocked(house: House, post: Post) -> Shelf:
    """The shelf with what is in the house and on order today. Whoever orders on one day at one supplier gets one parcel."""
    shelf = Shelf(post.worlds)
    needs = {(need.workbook, need.learner) for need in house.problem.needs}
    for year in house.years:
        for course in year.courses:
            for book in course.workbooks:
                shelf.open(book.code, year.learner)

    def owner(code: str, learner: str | None) -> str | None:
        wanted = [who for c, who in sorted(needs) if c == code and learner in (None, who)]
        free = [who for who in wanted if np.isinf(shelf.placed[code, who]).all()]
        return free[0] if free else None

    for copies in sorted(house.problem.in_house, key=lambda c: c.learner is None):
        for _ in range(copies.quantity):
            who = owner(copies.workbook, copies.learner)
            if copies.workbook in shelf.spare_used:
                shelf.put(copies.workbook, who, -1, np.full(post.worlds, -1.0))
    parcels: dict[tuple[str, date], Floats] = {}
    for order in sorted(house.problem.on_order, key=lambda o: (o.learner is None, o.ordered)):
        waited = -house.day(order.ordered)
        key = (order.supplier, order.ordered)
        if key not in parcels:
            parcels[key] = post.days_after(order.supplier, waited) - waited
        if order.workbook in shelf.spare_used:
            shelf.put(order.workbook, owner(order.workbook, order.learner), -waited, parcels[key])
    return shelf


def place_all(house: House, orders: Sequence["Order"], shelf: Shelf, post: Post) -> None:
    """Place every order on the day that the plan names, in all worlds; its copies come in one parcel."""
    for order in orders:
        day = house.day(order.by)
        comes = day + post.days(order.supplier)
        for line in order.lines:
            for _ in range(line.quantity):
                shelf.put(line.workbook, line.learner, day, comes)


# --- a life ---------------------------------------------------------------------------------------------------------


@dataclass
class Rules:
    """How a life differs from the forecast; both False is what the plan takes for granted."""

    wait: bool = True
    """A workbook whose copy is not there is waited for, and what comes after it is needed later."""
    spares: bool = True
    """After a failed unit test a spare is taken or a copy ordered; otherwise one comes after the usual days."""


class Course:
    """One learner in one course, in all worlds."""

    def __init__(
        self, ahead: "CourseAhead", learner: str, how: "YearSettings", worlds: int, rng: np.random.Generator
    ) -> None:
        self.ahead, self.learner, self.how, self.rng, self.worlds = ahead, learner, how, rng, worlds
        self.codes = [book.code for book in ahead.workbooks]
        pace = ahead.pace
        self.level = math.log(pace.median_share) + math.sqrt(pace.spread / pace.weight) * rng.standard_normal(
            worlds
        )
        self.hard = how.workbook_spread * rng.standard_normal((len(self.codes) + 1, worlds))
        self.pages = np.array([book.pages for book in ahead.workbooks] + [0.0])
        self.unit = np.array([book.chance for book in ahead.workbooks] + [0.0])
        self.practice = np.array([book.practice_chance for book in ahead.workbooks] + [0.0])
        self.usual_wait = [book.lead_days for book in ahead.workbooks]
        self.book = np.zeros(worlds, np.int64)
        self.left = np.full(worlds, self.pages[0])
        self.count = np.zeros(worlds, np.int64)
        self.back = np.full(worlds, -1.0)
        self.needed = np.full((len(self.codes), worlds), np.inf)
        self.failed: list[tuple[str, NDArray[np.int64], Floats, Floats]] = []
        """Workbook, worlds, day, and the day on which the copy for it is there."""
        self.seen, self.seen_x, self.fading = np.zeros(worlds), np.zeros(worlds), 1.0
        self.goal = np.full(worlds, ahead.goal)
        self.behind = np.zeros(worlds, bool)
        self.planned_so_far, self.planned_when_due = np.zeros(worlds), np.zeros((len(self.codes), worlds))
        start = Todo.PAGES if ahead.in_hand else Todo.COPY
        if ahead.in_hand and not self.left[0]:
            start = Todo.UNIT if ahead.practice_passed else Todo.PRACTICE
        self.todo = np.full(worlds, int(start))

    def go(
        self, place: int, now: int, following: float, well: Truths, shelf: Shelf, post: Post, rules: Rules
    ) -> None:
        """Let a school day pass, the n-th one; `following` is the calendar day of the next one."""
        self.level += self.how.drift * self.rng.standard_normal(self.worlds)
        self.seen, self.seen_x, self.fading = FADES * self.seen, FADES * self.seen_x, FADES * self.fading
        self._fetch(place, now, shelf, post, rules)
        self._take_new_copy(now)
        self._look_at_the_plan(place, well)
        todo = np.where(well, self.todo, -1)
        self._work(np.flatnonzero(todo == Todo.PAGES))
        self._try_practice(np.flatnonzero(todo == Todo.PRACTICE))
        for what, then in ((Todo.REVIEW, Todo.PRACTICE), (Todo.BETWEEN, Todo.UNIT), (Todo.REDO, Todo.UNIT)):
            here = np.flatnonzero(todo == what)
            self.count[here] -= 1
            self.todo[here[self.count[here] <= 0]] = then
        self._sit(np.flatnonzero(todo == Todo.UNIT), now, following, shelf, post, rules)

    def begin(self, first: int) -> None:
        """The first workbook is needed on the first school day, unless it is in hand."""
        if not self.ahead.in_hand:
            self.needed[0] = first

    def _fetch(self, place: int, now: int, shelf: Shelf, post: Post, rules: Rules) -> None:
        """Begin the workbook if its copy came on an earlier day. One that nobody has ordered nor will is ordered now."""
        waiting = self.todo == Todo.COPY
        for k, code in enumerate(self.codes):
            here = np.flatnonzero(waiting & (self.book == k))
            if not here.size:
                continue
            key = (code, self.learner)
            if rules.wait:
                none = here[np.isinf(shelf.placed[key][here])]
                if none.size:
                    shelf.put(code, self.learner, now, now + post.days(post.of[code], none), none)
                here = here[shelf.comes[key][here] < now]
            self.todo[here] = Todo.PAGES if self.pages[k] else Todo.PRACTICE
            due = self.ahead.due[k - 1] if 0 < k <= len(self.ahead.due) else None
            self.behind[here] = due is not None and place > due + 1

    def _take_new_copy(self, now: int) -> None:
        here = np.flatnonzero((self.todo == Todo.NEW_COPY) & (self.back < now))
        self.todo[here] = Todo.REDO if self.how.redo_days else Todo.UNIT
        self.count[here] = self.how.redo_days

    def _look_at_the_plan(self, place: int, well: Truths) -> None:
        """Take the pages of the day from the plan, if there is one; who is behind it does at least the usual ones."""
        if self.ahead.planned is None:
            return
        planned = self.ahead.planned[place - 1] if place <= len(self.ahead.planned) else self.ahead.goal
        book = np.minimum(self.book, len(self.codes) - 1)
        due = self.planned_when_due[np.maximum(book - 1, 0), np.arange(self.worlds)]
        done = self.pages[book] - self.left
        self.behind &= done < self.planned_so_far - due
        self.goal = np.where(self.behind, max(planned, self.ahead.goal), planned)
        self.planned_so_far = self.planned_so_far + planned * well
        for k, day in enumerate(self.ahead.due):
            if day == place:
                self.planned_when_due[k] = self.planned_so_far

    def _work(self, here: NDArray[np.int64]) -> None:
        here = here[self.goal[here] > 0]
        pace, n = self.ahead.pace, len(here)
        x = self.level[here] - self.hard[self.book[here], here]
        x += math.sqrt(pace.spread) * self.rng.standard_normal(n)
        done = np.round(self.goal[here] * np.exp(x)) * (self.rng.random(n) >= pace.zero_share)
        some = here[done > 0]
        self.seen[some] += 1
        self.seen_x[some] += np.log(done[done > 0] / self.goal[some])
        self.left[here] -= done
        self.todo[here[self.left[here] <= 0]] = Todo.PRACTICE

    def _try_practice(self, here: NDArray[np.int64]) -> None:
        passed = self.rng.random(len(here)) < self.practice[self.book[here]]
        for who, then, days in (
            (here[passed], Todo.BETWEEN, self.how.days_between - 1),
            (here[~passed], Todo.REVIEW, self.how.review_days),
        ):
            after = Todo.UNIT if then is Todo.BETWEEN else Todo.PRACTICE
            self.todo[who], self.count[who] = (then if days else after), days

    def _sit(
        self, here: NDArray[np.int64], now: int, following: float, shelf: Shelf, post: Post, rules: Rules
    ) -> None:
        passed = self.rng.random(len(here)) < self.unit[self.book[here]]
        up, again = here[passed], here[~passed]
        self.book[up] += 1
        over = self.book[up] == len(self.codes)
        self.todo[up] = np.where(over, int(Todo.OVER), int(Todo.COPY))
        goes_on = up[~over]
        self.needed[self.book[goes_on], goes_on] = following
        self.left[goes_on] = self.pages[self.book[goes_on]]
        for k in np.unique(self.book[again]):
            who = again[self.book[again] == k]
            code = self.codes[k]
            comes = np.full(len(who), now + self.usual_wait[k], float)
            if rules.spares:
                comes = shelf.take_spare(code, now, who)
                none = np.isinf(comes)
                comes[none] = now + post.days(post.of[code], who[none])
            self.failed.append((code, who, np.full(len(who), now), comes))
            self.back[who], self.todo[who] = comes, Todo.NEW_COPY


class Life:
    """All courses of a home, in all worlds."""

    def __init__(
        self, house: House, worlds: int, rng: np.random.Generator, rules: Rules | None = None
    ) -> None:
        self.house, self.rules, self.rng, self.worlds = house, rules or Rules(), rng, worlds
        self.post = Post(house.beliefs, house.offers, worlds, rng)
        self.shelf = stocked(house, self.post)
        self.there_today = {key for key, placed in self.shelf.placed.items() if np.isfinite(placed).all()}
        self.courses = {
            year.learner: [Course(c, year.learner, house.how, worlds, rng) for c in year.courses]
            for year in house.years
        }
        for year in house.years:
            for course in self.courses[year.learner]:
                course.begin(house.day(year.days[0]))
        self.now = -1

    def go_on(self, until: float = math.inf) -> None:
        """Live up to and with this day."""
        days = sorted({day for year in self.house.years for day in year.days})
        for day in days:
            now = self.house.day(day)
            if not self.now < now <= until:
                continue
            for year in self.house.years:
                if day not in year.days:
                    continue
                place = year.days.index(day) + 1
                following = self.house.day(year.days[place]) if place < len(year.days) else math.inf
                well = self.rng.random(self.worlds) >= year.illness
                for course in self.courses[year.learner]:
                    course.go(place, now, following, well, self.shelf, self.post, self.rules)
        self.now = until

    @property
    def needed(self) -> dict[tuple[str, str], Floats]:
        """[worlds] by workbook and learner: the calendar day on which its copy is needed first."""
        return {
            (code, course.learner): course.needed[k]
            for courses in self.courses.values()
            for course in courses
            for k, code in enumerate(course.codes)
            if k or not course.ahead.in_hand
        }

    def in_time(self, key: tuple[str, str]) -> Truths:
        """[worlds]: the copy came before the day on which it was needed first."""
        needed = self.needed[key]
        return np.isfinite(needed) & (self.shelf.comes[key] + 1 <= needed)

    def failures(self, code: str) -> list[tuple[Floats, Floats, Floats]]:
        """Worlds, day of the failure, and the day on which the copy for it came."""
        return [
            (who, day, comes)
            for courses in self.courses.values()
            for course in courses
            for failed, who, day, comes in course.failed
            if failed == code
        ]


# --- what came of it ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Share:
    """A share of many worlds and its standard error."""

    share: float
    se: float
    worlds: int
    """Worlds in which there was something to count."""


def share_of(good: Floats, all_of: Floats) -> Share:
    """A ratio of means over worlds; worlds are the unit of the standard error."""
    share = float(good.sum() / all_of.sum())
    rest = good - share * all_of
    error = float(rest.std(ddof=1) / (all_of.mean() * math.sqrt(len(rest))))
    return Share(share, error, int((all_of > 0).sum()))


@dataclass(frozen=True)
class Line:
    """A copy that the plan orders for a learner: what it promises, and what came of it."""

    workbook: str
    learner: str
    promised: float
    promised_se: float
    short_of_level: bool
    lived: Share


def lines(life: Life) -> list[Line]:
    """Every copy for a learner in the plan, as it is in its own order."""
    found = []
    for order in life.house.plan.orders:
        for line in order.lines:
            if line.learner is None:
                continue
            key = (line.workbook, line.learner)
            needed = np.isfinite(life.needed[key]).astype(float)
            lived = share_of(life.in_time(key).astype(float), needed)
            found.append(Line(*key, line.chance, line.chance_se, line.short_of_level, lived))
    return found


def over_all(life: Life, *, without_short: bool = False) -> Share:
    """Share in time of all needed copies that were not there or on order today: what the plan promises."""
    found = (line for order in life.house.plan.orders for line in order.lines)
    short = {(line.workbook, line.learner) for line in found if without_short and line.short_of_level}
    keys = [key for key in life.needed if key not in life.there_today and key not in short]
    needed = np.sum([np.isfinite(life.needed[key]) for key in keys], axis=0).astype(float)
    return share_of(np.sum([life.in_time(key) for key in keys], axis=0).astype(float), needed)


def spares_there(life: Life) -> Share:
    """Share of the failed unit tests after which a copy was there before the day was over."""
    failed, there = np.zeros(life.worlds), np.zeros(life.worlds)
    for code in life.shelf.spare_used:
        for who, day, comes in life.failures(code):
            failed[who] += 1
            there[who] += comes <= day
    return share_of(there, failed)


def lived(house: House, worlds: int = WORLDS, seed: int = SEED, rules: Rules | None = None) -> Life:
    """Live with the plan as it is written."""
    rng = np.random.Generator(np.random.SFC64(seed))
    life = Life(house, worlds, rng, rules)
    place_all(house, house.plan.orders, life.shelf, life.post)
    life.go_on()
    return life


# --- the plan made anew every four weeks ------------------------------------------------------------------------------


def lived_anew(
    house: House, worlds: int = ROLLING_WORLDS, seed: int = SEED + 1, paths: int = ROLLING_PATHS
) -> Life:
    """Live with a plan that is made anew every four weeks from what is known then, and order what it wants until the next.

    What is believed of the suppliers stays as it was: only pages, tests, paces and copies are looked at again.
    """
    rng = np.random.Generator(np.random.SFC64(seed))
    life = Life(house, worlds, rng)
    last = max(house.day(year.days[-1]) for year in house.years)
    for now in range(0, last, 7 * WEEKS):
        for world in range(worlds):
            who = np.array([world])
            plan = house.plan if not now else _plan_anew(life, world, now, paths)
            for order in plan.orders:
                day = house.day(order.by)
                if day >= now + 7 * WEEKS:
                    continue
                comes = day + life.post.days(order.supplier, who)
                for line in order.lines:
                    for _ in range(line.quantity):
                        life.shelf.put(line.workbook, line.learner, day, comes, who)
        life.go_on(now + 7 * WEEKS - 1)
    return life


def _plan_anew(life: Life, world: int, now: int, paths: int) -> "OrderPlan":
    """Ask the planner that is judged, from one world as it stands on the morning of a day."""
    from markstead.forecast.need import failures, needs
    from markstead.forecast.orders import plan_orders
    from markstead.forecast.year import draw_years

    house, today = life.house, life.house.today + timedelta(days=now)
    ahead = []
    for year in house.years:
        days = tuple(day for day in year.days if day >= today)
        gone = len(year.days) - len(days)
        found = [_as_it_stands(course, world, gone) for course in life.courses[year.learner]]
        courses = tuple(course for course in found if course is not None)
        if days and courses:
            ahead.append(replace(year, days=days, courses=courses))
    drawn = [draw_years(year, np.random.default_rng(world), paths, house.how) for year in ahead]
    in_house, on_order = _copies(life, world, now)
    problem = replace(
        house.problem,
        needs=tuple(need for years in drawn for need in needs(years, today)),
        failures=failures(drawn, today) if drawn else (),
        in_house=in_house,
        on_order=on_order,
    )
    return plan_orders(problem, today)


def _as_it_stands(course: Course, world: int, gone: int) -> "CourseAhead | None":
    """What is still ahead of a course in one world, so many school days later. The plan of its pages stays as it was."""
    todo, book = Todo(int(course.todo[world])), int(course.book[world])
    if todo is Todo.OVER:
        return None
    first, *later = course.ahead.workbooks[book:]
    pace = _pace_now(course, world)
    if todo in (Todo.NEW_COPY, Todo.REDO):
        days = course.how.redo_days if todo is Todo.NEW_COPY else int(course.count[world])
        pages = round(days * pace.share_a_day * course.ahead.goal)
        first = replace(first, pages=pages, practice_chance=1.0)
    elif todo is not Todo.COPY:
        first = replace(first, pages=max(int(course.left[world]), 0))
    planned = course.ahead.planned
    return replace(
        course.ahead,
        pace=pace,
        workbooks=(first, *later),
        in_hand=todo is not Todo.COPY,
        practice_passed=todo in (Todo.BETWEEN, Todo.UNIT),
        planned=planned and planned[gone:],
        due=tuple(day if day is None else max(day - gone, 0) for day in course.ahead.due[book:]),
    )


def _pace_now(course: Course, world: int) -> "Pace":
    """The pace with the days of work since then, old days fading as they do in the home's own pace."""
    pace = course.ahead.pace
    before = PRIOR + course.fading * max(pace.weight - PRIOR, 0.0)
    weight = before + float(course.seen[world])
    mean = (before * math.log(pace.median_share) + float(course.seen_x[world])) / weight
    return replace(pace, median_share=math.exp(mean), weight=weight)


def _copies(life: Life, world: int, now: int) -> "tuple[tuple[InHouse, ...], tuple[OnOrder, ...]]":
    """Copies that nobody has begun in one world: those that came before today, and those on order."""
    from markstead.forecast.orders import InHouse, OnOrder

    shelf, in_house, on_order = life.shelf, [], []

    def add(code: str, learner: str | None, placed: float, comes: float) -> None:
        if comes < now:
            in_house.append(InHouse(code, learner))
        elif placed < now:
            ordered = life.house.today + timedelta(days=int(placed))
            on_order.append(OnOrder(code, life.post.of[code], ordered, learner))

    for courses in life.courses.values():
        for course in courses:
            fetched = course.book[world] + (course.todo[world] != Todo.COPY)
            for code in course.codes[fetched:]:
                key = (code, course.learner)
                add(code, course.learner, shelf.placed[key][world], shelf.comes[key][world])
    for code, used in shelf.spare_used.items():
        for slot in np.flatnonzero(~used[:, world]):
            add(code, None, shelf.spare_placed[code][slot, world], shelf.spare_comes[code][slot, world])
    return tuple(in_house), tuple(on_order)


# --- the tables of the page -------------------------------------------------------------------------------------------

PAGE = Path(__file__).parents[1] / "docs" / "explanation" / "orders.md"
FROM, TO = "<!-- years: python -m tests.order_worlds --write -->", "<!-- end of the years -->"


def _cell(share: Share) -> str:
    return f"{share.share:.4f} ({share.se:.4f})"


def _whole_lines(lives: Mapping[str, Life]) -> Iterator[str]:
    yield "| how it was lived | worlds | promised (se) | in the house when needed | without those needed too soon for any order | failed tests whose copy was there |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for name, life in lives.items():
        plan = life.house.plan
        cells = [
            f"{life.worlds:,}",
            f"{plan.promised:.4f} ({plan.promised_se:.4f})",
            _cell(over_all(life)),
            _cell(over_all(life, without_short=True)),
            _cell(spares_there(life)) if life.rules.spares else "-",
        ]
        yield f"| {name} | {' | '.join(cells)} |"


def _copy_lines(house: House, life: Life, least: int | None) -> Iterator[str]:
    yield "| copy | for | promised (se) | in the house when needed (se) | worlds that need it | |"
    yield "| --- | --- | --- | --- | --- | --- |"
    found = sorted(lines(life), key=lambda line: line.lived.share)
    for line in found[:least]:
        note = "too soon for any order" if line.short_of_level else ""
        yield (
            f"| {line.workbook} | {house.names[line.learner]} | {line.promised:.3f} ({line.promised_se:.3f}) "
            f"| {line.lived.share:.3f} ({line.lived.se:.3f}) | {line.lived.worlds:,} | {note} |"
        )


def tables(houses: tuple[House, House], *, every_copy: bool = False) -> str:
    """The tables of the page; with `every_copy` each copy that is ordered, not only the ten that came late most often."""
    by_plan, without = houses
    granted = Rules(wait=False, spares=False)
    lives = {
        "as the order plan takes it for granted": lived(by_plan, rules=granted),
        "as it is written": lived(by_plan),
        f"made anew every {WEEKS} weeks": lived_anew(by_plan),
        "no plan of the pages, as taken for granted": lived(without, rules=granted),
        "no plan of the pages, as it is written": lived(without),
        f"no plan of the pages, made anew every {WEEKS} weeks": lived_anew(without),
    }
    least = None if every_copy else 10
    written = lives["as it is written"]
    return "\n".join([*_whole_lines(lives), "", *_copy_lines(by_plan, written, least)])


def main() -> None:
    """Read the arguments, build the home in a folder of its own, live, print or write."""
    from markstead.cli.house import make_folder, migrate, wake

    parser = argparse.ArgumentParser(prog="python -m tests.order_worlds", description="Ten thousand lives.")
    parser.add_argument("--write", action="store_true", help="write the tables into the page")
    parser.add_argument("--all", action="store_true", help="tell of every copy that is ordered")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        make_folder(Path(folder))
        wake(Path(folder))
        migrate()
        text = tables(demo_houses(datetime(2026, 11, 25, 12, tzinfo=UTC)), every_copy=asked.all)
    if not asked.write:
        sys.stdout.write(text + "\n")
        return
    before, rest = PAGE.read_text(encoding="utf-8").split(FROM)
    _, after = rest.split(TO)
    PAGE.write_text(f"{before}{FROM}\n\n{text}\n\n{TO}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
