"""The morning of a unit test: who may sit now, why others may not, who sits, and what was sat."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from markstead.calendar import NoSchoolDayError
from markstead.errors import Problem, UnknownError
from markstead.ledger.facts import FactReversed, UnitTestScored
from markstead.ledger.facts import UnitTestSat as SatDown
from markstead.ledger.serial import Entry
from markstead.records.desk import facts_and_standings, household_row
from markstead.records.home import Home, Somebody, load_home
from markstead.records.models import Copy as CopyRow
from markstead.rules.bars import Bar, BarKind
from markstead.rules.programme import Workbook
from markstead.rules.ruling import Actor, Role, Ruling, Surroundings, ruling
from markstead.rules.standing import CopyStatus, Cycle, Standing
from markstead.speech import say

NEAR = 1
"""A copy is near its test when no more of its stops are left to clear."""
_EVERYBODYS = frozenset({BarKind.NO_SCHOOL, BarKind.NOT_MORNING, BarKind.MORNING_FULL})
"""Bars of the day and the hour, the same for every copy."""


@dataclass(frozen=True, slots=True)
class Watcher:
    """A grown-up of the home, and whether the calendar has them away on the day."""

    person: Somebody
    away: bool


@dataclass(frozen=True, slots=True)
class Candidate:
    """A copy that may be sat, or is near it."""

    copy: str
    label: str
    workbook: Workbook
    learner: Somebody
    standing: Standing
    attempt: int
    """Which taking of this workbook's unit test it would be for the learner."""
    aids: tuple[str, ...]
    watchers: tuple[Somebody, ...]
    """Who may watch it now; nobody where something else shuts the gate for every watcher."""
    ruling: Ruling
    """With the watcher for whom the fewest bars are left."""

    @property
    def allowed(self) -> bool:
        return self.ruling.allowed

    @property
    def own_bars(self) -> tuple[Bar, ...]:
        """Bars of this copy and learner, without those that the day and the hour put up for everybody."""
        return tuple(b for b in self.ruling.bars if b.kind not in _EVERYBODYS)


@dataclass(frozen=True, slots=True)
class Sat:
    """A copy whose unit test was sat."""

    copy: str
    label: str
    workbook: Workbook
    learner: Somebody | None
    standing: Standing


@dataclass(frozen=True, slots=True)
class Morning:
    """Everything about unit tests at one instant."""

    home: Home
    now: datetime
    """On the kitchen clock."""
    closed: str | None
    """Why there is no school today."""
    opened: bool
    """It is a school day, and within the hours in which unit tests begin."""
    following: date | None
    """The next school day, where the morning of today is over or there is none."""
    watchers: tuple[Watcher, ...]
    sat: int
    """Unit tests begun today."""
    candidates: tuple[Candidate, ...]
    running: tuple[Sat, ...]
    """Begun today and not marked."""
    to_mark: tuple[Sat, ...]
    """Begun on an earlier day and not marked."""
    marked: tuple[Sat, ...]
    """Begun today and marked."""
    failed: tuple[Sat, ...]
    """Not passed, and the new copy is not ordered."""

    @property
    def most(self) -> int:
        return self.home.programme.unit_test.most_watched_a_morning

    @property
    def fits(self) -> int:
        """How many more fit this morning."""
        return max(0, self.most - self.sat) if self.opened else 0


def morning(household: str, *, now: datetime, home: Home | None = None) -> Morning:
    """Look at the unit tests of a home at one instant; with `home`, by changed rules or another calendar."""
    home = home or load_home(household_row(household))
    day = home.calendar.day_of(now)
    local = home.calendar.at_home(now)
    rows = list(
        CopyRow.objects.filter(Q(live=True) | Q(sat_on=day), household=household).order_by(
            "workbook", "ordinal", "id"
        )
    )
    known = facts_and_standings(household, rows)
    watchers = tuple(
        Watcher(p, home.calendar.educator_is_away(day, p.id))
        for p in home.people.values()
        if p.id in home.watchers
    )
    judge = _Judge(home, now, rows, [w.person for w in watchers])
    standings = {row.id: known[row.id][1] for row in rows}
    sat = [_sat(home, row, standings[row.id]) for row in rows if standings[row.id].unit is not None]
    near = [row for row in rows if is_near(home, standings[row.id])]
    earlier = _earlier(household, near)
    candidates = [
        judge.candidate(
            row,
            standings[row.id],
            1 + _sat_before(known[row.id][0]) + earlier.get((row.workbook, row.learner or ""), 0),
        )
        for row in near
    ]
    rules = home.programme.unit_test
    closed = home.calendar.why_closed(day)
    opened = closed is None and rules.morning_from <= local.time() < rules.morning_until
    return Morning(
        home=home,
        now=local,
        closed=closed,
        opened=opened,
        following=_following(home, day) if closed or local.time() >= rules.morning_until else None,
        watchers=watchers,
        sat=len(judge.sat),
        candidates=tuple(sorted(candidates, key=_nearest)),
        running=tuple(s for s in sat if s.standing.unit and not s.standing.unit.scored and _on(s, day)),
        to_mark=tuple(s for s in sat if s.standing.unit and not s.standing.unit.scored and not _on(s, day)),
        marked=tuple(s for s in sat if s.standing.unit and s.standing.unit.scored and _on(s, day)),
        failed=tuple(s for s in sat if s.standing.failed and s.standing.replaced_by is None),
    )


def is_near(home: Home, standing: Standing) -> bool:
    """Whether the unit test of a copy is the next thing, or nearly."""
    if standing.status is not CopyStatus.ISSUED or standing.unit is not None or not standing.learner:
        return False
    stops = home.programme.workbook(standing.workbook).stops
    left = sum(standing.stop(stop.id).cycle is not Cycle.CLEARED for stop in stops)
    return left <= NEAR and standing.opening_talk is not None and bool(standing.pages)


def _on(sat: Sat, day: date) -> bool:
    return sat.standing.unit is not None and sat.standing.unit.day == day


def _following(home: Home, day: date) -> date | None:
    try:
        return home.calendar.next_school_day(day)
    except NoSchoolDayError:
        return None


def _nearest(one: Candidate) -> tuple[bool, bool, int, str, str]:
    """Who may sit first; then whoever has passed the practice test; then by the number of bars."""
    passed = one.standing.practice_passed
    return not one.allowed, not passed, len(one.own_bars), one.learner.name, one.label


def _sat(home: Home, row: CopyRow, standing: Standing) -> Sat:
    book = home.programme.workbook(row.workbook)
    return Sat(row.id, row.label, book, home.people.get(row.learner or ""), standing)


def _earlier(household: str, rows: Iterable[CopyRow]) -> Mapping[tuple[str, str], int]:
    """How often each learner has sat the unit test of each workbook, by workbook and learner."""
    kept = list(rows)
    if not kept:
        return {}
    found: dict[tuple[str, str], int] = {}
    pairs = CopyRow.objects.filter(
        household=household,
        sat_on__isnull=False,
        workbook__in={row.workbook for row in kept},
        learner__in={row.learner for row in kept},
    ).values_list("workbook", "learner")
    for workbook, learner in pairs:
        found[workbook, learner or ""] = found.get((workbook, learner or ""), 0) + 1
    return found


def _sat_before(entries: Iterable[Entry]) -> int:
    """How often this very copy was sat: where the rework rule lets it be worked again, it is sat more than once."""
    kept = list(entries)
    taken_back = {e.fact.entry for e in kept if isinstance(e.fact, FactReversed)}
    return sum(isinstance(e.fact, SatDown) and e.seq not in taken_back for e in kept)


class _Judge:
    """Rules on sittings at one instant, with every grown-up who might watch."""

    def __init__(self, home: Home, now: datetime, rows: Iterable[CopyRow], watchers: list[Somebody]) -> None:
        self.home, self.now, self.watchers = home, now, watchers
        self.day = home.calendar.day_of(now)
        self.sat = {row.id: row.learner for row in rows if row.sat_on == self.day}
        educator = next((p for p in home.people.values() if p.role is Role.EDUCATOR), None)
        self.actor = educator.actor if educator is not None else Actor("", Role.HELPER)

    def candidate(self, row: CopyRow, standing: Standing, attempt: int) -> Candidate:
        learner = self.home.people.get(row.learner or "")
        if learner is None:
            raise UnknownError([Problem(say("learner"), repr(row.learner), say("somebody of this home"))])
        rulings = [(w, self._rule(standing, attempt, learner, w)) for w in self.watchers]
        best = min((r for _, r in rulings), key=lambda r: len(r.bars), default=Ruling())
        return Candidate(
            row.id,
            row.label,
            self.home.programme.workbook(row.workbook),
            learner,
            standing,
            attempt,
            self.home.programme.aids_for(learner.year or 0),
            tuple(w for w, r in rulings if r.allowed or len(r.bars) == len(best.bars)),
            best,
        )

    def _rule(self, standing: Standing, attempt: int, learner: Somebody, watcher: Somebody) -> Ruling:
        others = [who for copy, who in self.sat.items() if copy != standing.copy]
        return ruling(
            standing,
            SatDown(standing.copy, attempt, self.day, (), watcher.id),
            at=max(self.now, standing.last_at or self.now),
            actor=self.actor,
            around=Surroundings(
                year=learner.year or 0,
                sat_by_learner=sum(who == standing.learner for who in others),
                sat_that_morning=len(others),
                watchers=self.home.watchers,
                now=self.now,
            ),
            programme=self.home.programme,
            calendar=self.home.calendar,
        )


# --- one sitting ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SittingOf:
    """One copy's unit test, whether it may be sat, is being sat, or was marked."""

    home: Home
    now: datetime
    sat: Sat
    candidate: Candidate | None
    """As long as the test is not sat and the copy is near it."""
    marked_by: str
    """Who marked it, by name."""
    next_copies: tuple[tuple[str, CopyStatus, date | None], ...]
    """Copies of the following workbook, or of this one after a failed test, that nobody has begun: id, status, expected."""
    following: Workbook | None
    """The workbook that comes next: the following one, or after a failed test the same."""


def sitting_of(household: str, copy: str, *, now: datetime) -> SittingOf:
    """One copy's unit test.

    Raises:
        UnknownError: this home has no such copy.
    """
    home = load_home(household_row(household))
    row = CopyRow.objects.filter(household=household, id=copy).exclude(workbook="").first()
    if row is None or row.workbook not in home.programme.workbooks:
        raise UnknownError([Problem(say("copy"), repr(copy), say("the id of a copy of this home"))])
    entries, standing = facts_and_standings(household, [row])[copy]
    sat = _sat(home, row, standing)
    candidate = None
    if standing.unit is None:
        found = morning(household, now=now, home=home).candidates
        candidate = next((one for one in found if one.copy == copy), None)
    book = sat.workbook
    following = home.programme.next_in_course(book) if standing.passed else book if standing.failed else None
    return SittingOf(
        home,
        home.calendar.at_home(now),
        sat,
        candidate,
        _marked_by(home, entries),
        _unbegun(household, following, row.learner) if following is not None else (),
        following,
    )


def _marked_by(home: Home, entries: Iterable[Entry]) -> str:
    by = next((e.by for e in reversed(list(entries)) if isinstance(e.fact, UnitTestScored)), "")
    found = home.people.get(by)
    return found.name if found is not None else ""


def _unbegun(
    household: str, book: Workbook, learner: str | None
) -> tuple[tuple[str, CopyStatus, date | None], ...]:
    rows = list(
        CopyRow.objects.filter(
            Q(learner=learner) | Q(learner__isnull=True),
            household=household,
            workbook=book.code,
            status__in=[CopyStatus.IN_THE_HOUSE, CopyStatus.ON_ORDER],
        ).order_by("status", "ordinal")
    )
    known = facts_and_standings(household, rows)
    return tuple((row.id, known[row.id][1].status, known[row.id][1].expected) for row in rows)
