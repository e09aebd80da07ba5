"""What is ahead of each learner of a home: workbooks still to do, copies that are there, paces and chances.

From rows to the values that a forecast is made from. Copies that nobody has begun are given out workbook by workbook,
first to whoever needs them next, so that no copy is counted on by two learners.
"""

import math
from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from markstead.forecast.lead import LeadBelief, Parcel, learn_lead
from markstead.forecast.year import MOST_DAYS, CourseAhead, LearnerYear, WorkbookAhead, YearSettings
from markstead.ledger.facts import CopyOrdered, CopyReceived, FactReversed
from markstead.ledger.serial import read_body
from markstead.measure.assumptions import DEFAULTS as ASSUMED
from markstead.measure.evidence import books
from markstead.measure.marks import CopyMarks
from markstead.measure.pace import Pace, read_pace
from markstead.measure.readiness import State, begin_book, chance, predict
from markstead.measure.readings import CopyReading, CoursePace, Past, finished_state, read_courses, state_now
from markstead.records import estimates
from markstead.records.desk import facts_and_standings
from markstead.records.home import Home, Somebody
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Entry as EntryRow
from markstead.records.models import Household
from markstead.rules.programme import Programme, Rework, Workbook
from markstead.rules.standing import CopyStatus, Standing

T = TypeVar("T")
DAY = timedelta(days=1)
LOOK_AHEAD = timedelta(days=800)
"""Terms that begin later are not looked at: two school years are more than any order or target needs."""
USUAL_YEAR = 180
"""School days over which a course without any day of work is spread: a usual school year, common practice, no source."""
NOBODY_KNOWN = ""
"""Stands for the supplier of a workbook for which none is entered."""


def record_end(home: Home) -> str:
    """The link at which the record of a home ends: what is remembered by it is up to date."""
    return str(Household.objects.values_list("head_link", flat=True).get(id=home.id))


def school_days(home: Home, today: date, learner: str | None = None) -> tuple[date, ...]:
    """School days from today on, as far as the terms are entered; none where the last term is over."""
    ends = [term.last for term in home.calendar.terms if term.first <= today + LOOK_AHEAD]
    last = min(max(ends, default=today - DAY), today + LOOK_AHEAD)
    return tuple(home.calendar.school_days(today, last, learner)[:MOST_DAYS])


# --- suppliers ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Ordered:
    """The order of one copy, as it stands on the record."""

    copy: str
    day: date
    supplier: str
    received: date | None


def ordered_copies(home: Home, today: date) -> tuple[Ordered, ...]:
    """Every copy that was ordered up to today, without the orders that were taken back or whose copy is no more awaited."""
    kinds = (CopyOrdered.KIND, CopyReceived.KIND, FactReversed.KIND)
    bodies = EntryRow.objects.filter(household=home.id, kind__in=kinds).order_by("seq")
    entries = [read_body(body) for body in bodies.values_list("body", flat=True)]
    undone = {entry.fact.entry for entry in entries if isinstance(entry.fact, FactReversed)}
    awaited = set(
        CopyRow.objects.filter(household=home.id, status=CopyStatus.ON_ORDER).values_list("id", flat=True)
    )
    day_of = home.calendar.day_of
    came = {
        entry.fact.copy: day_of(entry.at)
        for entry in entries
        if isinstance(entry.fact, CopyReceived) and entry.seq not in undone
    }
    found = []
    for entry in entries:
        fact, day = entry.fact, day_of(entry.at)
        if not isinstance(fact, CopyOrdered) or entry.seq in undone or day > today:
            continue
        received = came.get(fact.copy)
        if received is not None or fact.copy in awaited:
            still = received if received is not None and received <= today else None
            found.append(Ordered(fact.copy, day, fact.supplier or NOBODY_KNOWN, still))
    return tuple(found)


def learnt_leads(home: Home, orders: Iterable[Ordered], today: date) -> dict[str, LeadBelief]:
    """What is believed of the days of every supplier of the home, from its own parcels and what it says itself."""
    names = {book.supplier or NOBODY_KNOWN for book in home.programme.workbooks.values()}
    parcels: dict[str, set[Parcel]] = {name: set() for name in names | {NOBODY_KNOWN}}
    for order in orders:
        # A copy that came before it was ordered was written down later than it was ordered: it tells nothing.
        if order.received is None or order.received >= order.day:
            parcels.setdefault(order.supplier, set()).add(Parcel(order.day, order.received))
    return {
        name: learn_lead(parcels[name], today, home.wishes.supplier(name).lead) for name in sorted(parcels)
    }


# --- workbooks still to do ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Road:
    """The workbooks that a learner still has to do in a course, in their order."""

    learner: str
    course: str
    workbooks: tuple[Workbook, ...]
    in_hand: Standing | None = None
    """The copy of the first one, where it is begun."""


@dataclass(frozen=True, slots=True)
class Ready:
    """When a copy can be begun that a learner is going to need."""

    not_before: date | None
    """None: it is in the house."""
    on_order: bool = False


def road(
    learner: Somebody,
    course: str,
    programme: Programme,
    standings: Sequence[Standing],
    passed: frozenset[str],
) -> Road:
    """What a learner still has to do in a course: the workbook in hand or waiting for its new copy, and all later ones.

    Somebody who joined further on begins with the workbook that lies ready; workbooks left out before one that is
    passed are not made up for.
    """
    all_books = programme.course(course).workbooks
    mine = [s for s in standings if s.learner == learner.id and _course(programme, s) == course]
    in_hand = next((s for s in mine if _goes_on(s, programme)), None)
    failed = next((s for s in mine if s.failed and s.replaced_by is None), None)
    begun = in_hand or failed
    ended = [book.number for book in all_books if book.code in passed]
    if begun is not None:
        first = programme.workbook(begun.workbook).number
    elif ended:
        first = max(ended) + 1
    else:
        waiting = [s for s in mine if s.status in (CopyStatus.IN_THE_HOUSE, CopyStatus.ON_ORDER)]
        first = min((programme.workbook(s.workbook).number for s in waiting), default=1)
    ahead = tuple(b for b in all_books if b.number >= first and b.code not in passed)
    if in_hand is not None and (not ahead or ahead[0].code != in_hand.workbook):
        in_hand = None  # the workbook was passed in another copy
    return Road(learner.id, course, ahead, in_hand)


def _course(programme: Programme, standing: Standing) -> str | None:
    book = programme.workbooks.get(standing.workbook)
    return book.course if book is not None else None


def _goes_on(standing: Standing, programme: Programme) -> bool:
    """A copy in which its learner goes on: in hand, or to be sat again where the programme keeps the same copy."""
    again = programme.rework is Rework.SAME_COPY and standing.failed and standing.replaced_by is None
    return standing.in_hand or again


# --- chances ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Chances:
    """Chances of a workbook, each of one sitting."""

    unit: float
    """Of the unit test, which is sat once the practice test is passed."""
    practice: float


def chances(
    state: State, ability: tuple[float, float], book: Workbook, programme: Programme, *, passed: bool = False
) -> Chances:
    """Chances of the practice and the unit test of a workbook, for an ability N(mean, spread^2) in it.

    The unit test is sat only after the practice test is passed, which tells something of the ability: its chance is
    E[P(a) U(a)] / E[P(a)] over the ability a, P and U the chances of the two tests, by the 15 points of Gauss-Hermite
    quadrature. With `passed` the practice test is among the marks already, and the chance is that of the readiness.
    """
    mean, spread = ability
    asked, needed = book.unit_questions, programme.marks.unit_needed(book.unit_questions)
    unit = chance(mean, spread, asked, needed)
    if passed:
        return Chances(unit, 1.0)
    own = ASSUMED.practice
    shift = own.offset + own.own_test * float(state.mean[-1])
    unknown = own.own_test * math.sqrt(float(state.covariance[-1, -1]))
    trial = book.practice_questions
    enough = programme.marks.practice_needed(trial)
    points, weights = np.polynomial.hermite_e.hermegauss(15)
    at = [mean + spread * float(x) for x in points]
    practice = np.array([chance(a + shift, unknown, trial, enough) for a in at])
    after = np.array([chance(a, 0.0, asked, needed) for a in at])
    pass_both, pass_first = float(weights @ (practice * after)), float(weights @ practice)
    return Chances(pass_both / pass_first if pass_first > 0 else unit, pass_first / float(weights.sum()))


class _Abilities:
    """What is known of a learner's ability in workbooks that are in hand, to be worked again, or not begun."""

    def __init__(self, home: Home, marks: Sequence[CopyMarks], readings: Mapping[str, CopyReading]) -> None:
        self.programme, self.readings = home.programme, readings
        self.past: Past = finished_state(marks, home.programme)
        self.now = state_now(self.past, [b for b in books(marks, home.programme) if not b.finished])
        self._next: dict[tuple[str, bool], State] = {}

    def of(self, book: Workbook, in_hand: Standing | None) -> Chances:
        reading = self.readings.get(in_hand.copy) if in_hand is not None else None
        if in_hand is not None and reading is not None:
            known = reading.readiness.mean, reading.readiness.spread
            return chances(self.now, known, book, self.programme, passed=in_hand.practice_passed)
        again = self.past.latest.get(book.subject) == book.code
        key = (book.subject, again)
        if key not in self._next:
            self._next[key] = begin_book(self.now, book.subject, again=again)
        state = self._next[key]
        found = predict(
            state, book.subject, book.unit_questions, self.programme.marks.unit_needed(book.unit_questions)
        )
        return chances(state, (found.mean, found.spread), book, self.programme)


# --- a home -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class HomeAhead:
    """What is ahead of all learners of a home on one day, and the copies that nobody has begun."""

    home: Home
    today: date
    link: str
    """Where the record ended."""
    roads: Mapping[str, tuple[Road, ...]]
    """By learner; courses of which every workbook is passed have none."""
    passed: Mapping[str, frozenset[str]]
    unbegun: tuple[Standing, ...]
    orders: tuple[Ordered, ...]
    leads: Mapping[str, LeadBelief]
    """By supplier."""
    _kept: OrderedDict[tuple[object, ...], Any] = field(default_factory=OrderedDict, repr=False)

    def remember(self, key: tuple[object, ...], make: Callable[[], T]) -> T:
        """What was made from all of this under a key, or make it; forgotten together with it."""
        if key not in self._kept:
            self._kept[key] = make()
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        found: T = self._kept[key]
        return found

    def lead(self, supplier: str | None) -> LeadBelief:
        """What is believed of a supplier; of none that is entered, the same as of one without any parcel."""
        return self.leads.get(supplier or NOBODY_KNOWN, self.leads[NOBODY_KNOWN])

    @cached_property
    def medians(self) -> dict[str, int]:
        """Days that half of each supplier's parcels take."""
        return {name: belief.median_days for name, belief in self.leads.items()}

    def median(self, supplier: str | None) -> int:
        """Days that half of a supplier's parcels take."""
        return self.medians.get(supplier or NOBODY_KNOWN, self.medians[NOBODY_KNOWN])

    @cached_property
    def ready(self) -> dict[tuple[str, str], Ready]:
        """When each workbook that is not in hand can be begun, by learner and workbook."""
        return self._given_out[0]

    @cached_property
    def spare(self) -> frozenset[tuple[str, str]]:
        """Learner and workbook of which another copy lies ready, should the unit test not be passed."""
        return self._given_out[1]

    @cached_property
    def _given_out(self) -> tuple[dict[tuple[str, str], Ready], frozenset[tuple[str, str]]]:
        free = list(self._free())
        ready: dict[tuple[str, str], Ready] = {}
        everybody = [road for roads in self.roads.values() for road in roads]
        for place in range(max((len(road.workbooks) for road in everybody), default=0)):
            for road in everybody:
                if place < len(road.workbooks) and (place or road.in_hand is None):
                    book = road.workbooks[place]
                    ready[road.learner, book.code] = self._take(free, road.learner, book)
        left = frozenset(
            (road.learner, code)
            for there, owner, code in free
            if there is None
            for road in everybody
            if owner in (None, road.learner) and any(b.code == code for b in road.workbooks)
        )
        return ready, left

    def _free(self) -> list[tuple[date | None, str | None, str]]:
        """Copies that nobody has begun: the day on which each is there (None: it is), whose it is, and its workbook.

        Those in the house first, and of these what is kept for somebody before what is anybody's.
        """
        found = []
        for s in self.unbegun:
            there = None
            if s.status is CopyStatus.ON_ORDER:
                # What should have come is counted on for tomorrow: today's post may be over.
                there = max(self.expected(s), self.today + DAY)
            found.append((there, s.learner, s.workbook))
        return sorted(found, key=lambda c: (c[0] or date.min, c[1] is None, c[2]))

    def expected(self, standing: Standing) -> date:
        """When a copy on order should come: the day that was named, or by the supplier's median."""
        if standing.expected is not None:
            return standing.expected
        ordered = self.home.calendar.day_of(standing.ordered) if standing.ordered is not None else self.today
        return ordered + self.median(self.supplier_of(standing)) * DAY

    def supplier_of(self, standing: Standing) -> str:
        """The supplier at which a copy was ordered."""
        return next((o.supplier for o in self.orders if o.copy == standing.copy), NOBODY_KNOWN)

    def _take(self, free: list[tuple[date | None, str | None, str]], learner: str, book: Workbook) -> Ready:
        for n, (there, owner, code) in enumerate(free):
            if code == book.code and owner in (None, learner):
                free.pop(n)
                return Ready(there, on_order=there is not None)
        return Ready(self.today + self.median(book.supplier) * DAY)

    def settings(self) -> YearSettings:
        """What the programme says of the days of tests."""
        return YearSettings(days_between=self.home.programme.unit_test.school_days_after_practice)

    def year(self, learner: Somebody) -> LearnerYear | None:
        """What is ahead of a learner; None without a school day or a workbook to come."""
        days = school_days(self.home, self.today, learner.id)
        roads = self.roads[learner.id]
        if not days or not roads:
            return None
        marks = estimates.marks_of_learner(self.home.id, learner.id)
        abilities = _Abilities(self.home, marks, estimates.readings_of_learner(self.home, learner.id))
        paces = _Paces(self.home, learner, marks, self.today)
        courses = tuple(self._course(road, abilities, paces) for road in roads)
        return LearnerYear(learner.id, days, courses, self.home.wishes.illness)

    def _course(self, road: Road, abilities: _Abilities, paces: "_Paces") -> CourseAhead:
        pace, goal = paces.of(road)
        practice_passed = (
            road.in_hand is not None and road.in_hand.practice_passed and not road.in_hand.failed
        )
        return CourseAhead(
            road.course,
            pace,
            goal,
            tuple(self._workbook(road, book, abilities) for book in road.workbooks),
            in_hand=road.in_hand is not None,
            practice_passed=practice_passed,
        )

    def _workbook(self, road: Road, book: Workbook, abilities: _Abilities) -> WorkbookAhead:
        in_hand = road.in_hand if book == road.workbooks[0] else None
        found = abilities.of(book, in_hand)
        pages = book.pages
        if in_hand is not None:
            over = in_hand.practice_passed or in_hand.unit is not None
            pages = 0 if over else max(book.pages - len(in_hand.pages), 0)
        here = (road.learner, book.code) in self.spare or self.home.programme.rework is Rework.SAME_COPY
        return WorkbookAhead(
            book.code,
            pages,
            found.unit,
            found.practice,
            lead_days=0 if here else self.median(book.supplier),
            not_before=None if in_hand is not None else self.ready[road.learner, book.code].not_before,
        )


class _Paces:
    """The pace of a learner in each course, and the pages of a usual day."""

    def __init__(self, home: Home, learner: Somebody, marks: Sequence[CopyMarks], today: date) -> None:
        self.home, self.learner = home, learner
        found = read_courses(marks, learner.courses, home.programme, home.calendar, learner.id, today)
        self.known: dict[str, CoursePace] = {pace.course: pace for pace in found}

    def of(self, road: Road) -> tuple[Pace, float]:
        """Pace, and pages of a usual day; of a course without any day a guess from the learner's other courses."""
        found = self.known.get(road.course)
        if found is not None:
            return found.pace, _usual(found.pace)
        others = [read_pace(kept.days, _usual(kept.pace)) for kept in self.known.values()]
        goal = self._guess(road.course)
        return read_pace((), goal, others), goal

    def _guess(self, course: str) -> float:
        wish = self.home.wishes.course(self.learner.id, course)
        if wish.comfortable is not None and wish.comfortable > 0:
            return float(wish.comfortable)
        pages = sum(book.pages for book in self.home.programme.course(course).workbooks)
        return max(1.0, pages / USUAL_YEAR)


def _usual(pace: Pace) -> float:
    """Pages of a usual day, which a pace in pages a day was made from."""
    return pace.pages_a_day / pace.share_a_day


_AHEAD: OrderedDict[tuple[str, str, date], HomeAhead] = OrderedDict()
_MOST, _MOST_KEPT = 8, 128
"""Homes, and what is made from each: possible years of a learner have some 200 kB."""


def home_ahead(home: Home, today: date) -> HomeAhead:
    """What is ahead of a home's learners; remembered until its record or its settings change.

    A home that was changed to try something has the stamp of the real one, and is told from it by being another object.
    """
    link = record_end(home)
    key = (home.stamp, link, today)
    found = _AHEAD.get(key)
    if found is None or found.home is not home:
        found = _AHEAD[key] = _read(home, today, link)
        while len(_AHEAD) > _MOST:
            _AHEAD.popitem(last=False)
    return found


def _read(home: Home, today: date, link: str) -> HomeAhead:
    rows = list(CopyRow.objects.filter(household=home.id, live=True).order_by("id"))
    known = facts_and_standings(home.id, rows)
    standings = [known[row.id][1] for row in rows]
    passed: dict[str, set[str]] = {}
    over = CopyRow.objects.filter(household=home.id, passed=True).values_list("learner", "workbook")
    for learner, workbook in over:
        passed.setdefault(learner or "", set()).add(workbook)
    of = {person.id: frozenset(passed.get(person.id, ())) for person in home.learners}
    roads = {
        person.id: tuple(
            found
            for course in person.courses
            if course in home.programme.courses
            and (found := road(person, course, home.programme, standings, of[person.id])).workbooks
        )
        for person in home.learners
    }
    unbegun = tuple(
        s
        for s in standings
        if s.status in (CopyStatus.IN_THE_HOUSE, CopyStatus.ON_ORDER)
        and s.workbook in home.programme.workbooks
    )
    orders = ordered_copies(home, today)
    return HomeAhead(home, today, link, roads, of, unbegun, orders, learnt_leads(home, orders, today))
