"""A whole day written from paper: what each learner did in each workbook, recorded in one act through the same gates.

Nobody looked at the clock, so the acts are put one after the other from the time at which the day is said to begin;
the record keeps beside it when it was written. Of a row that is refused nothing is recorded; the others are recorded
only where the person says so.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time

from markstead.errors import InputError, MarksteadError, Problem
from markstead.ledger.facts import AttendanceTaken, Presence
from markstead.records import actions, queries
from markstead.records.actions import Gathering
from markstead.records.desk import Desk, Done, Slip, at_the_desk, household_row
from markstead.records.home import Home, Somebody, load_home
from markstead.records.quick import Hand
from markstead.records.words import fact_words
from markstead.rules.bars import Bar
from markstead.rules.programme import Stop, Workbook
from markstead.rules.ruling import RefusedError
from markstead.rules.standing import CopyStatus, Cycle, Standing
from markstead.speech import date_words, say

AHEAD = 2
"""How many marking stops are offered beyond where a copy stands, before it is told how far was worked."""


@dataclass(frozen=True, slots=True)
class StopMarks:
    """What was wrong at one stop: at the first marking, and at the re-marking; None: it was not done."""

    stop: str
    wrong: tuple[int, ...] | None = None
    still: tuple[int, ...] | None = None
    sent_back: str = ""
    """Why leave to go on was refused there; empty: it was not."""


@dataclass(frozen=True, slots=True)
class SatTest:
    """That the unit test was sat, and what came of it, as far as that is written down."""

    watcher: str
    aids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """What was done in one copy."""

    copy: str
    first: int | None = None
    last: int | None = None
    minutes: int | None = None
    stops: tuple[StopMarks, ...] = ()
    practice_right: int | None = None
    practice_wrong: tuple[int, ...] | None = None
    helps: int = 0
    wants_help: bool = False
    sat: SatTest | None = None
    unit_right: int | None = None
    unit_wrong: tuple[int, ...] | None = None

    @property
    def empty(self) -> bool:
        """Nothing is written in it."""
        marked = any(s.wrong is not None or s.still is not None or s.sent_back for s in self.stops)
        scores = (self.practice_right, self.practice_wrong, self.unit_right, self.unit_wrong)
        scored = any(score is not None for score in scores)
        told = bool(self.helps) or self.wants_help or self.sat is not None
        return self.first is None and self.minutes is None and not (marked or scored or told)


@dataclass(frozen=True, slots=True)
class PaperDay:
    """A day as it was written down."""

    day: date
    begins: time
    rows: tuple[Row, ...]
    presences: Mapping[str, Presence] = field(default_factory=dict)
    """How much of the day a learner was there, where it is told."""


@dataclass(frozen=True, slots=True)
class Refused:
    """A row, or a learner's presence, that cannot be recorded."""

    where: str
    """The copy or the learner."""
    who: str
    what: str
    """The act that is refused, in words; empty where the row itself cannot be meant."""
    bars: tuple[Bar, ...] = ()
    says: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Try:
    """What one row would record, or why it cannot be."""

    where: str
    """The copy or the learner."""
    name: str
    facts: tuple[str, ...] = ()
    refused: Refused | None = None


@dataclass(frozen=True, slots=True)
class DayDone:
    """What was recorded of a day, and what was refused."""

    done: Done | None
    """None: nothing was recorded."""
    refused: tuple[Refused, ...] = ()


@dataclass(frozen=True, slots=True)
class Held:
    """A copy that a learner has in hand, as the day's grid needs it."""

    copy: str
    learner: Somebody
    course: str
    workbook: Workbook
    standing: Standing
    stops: tuple[Stop, ...]
    """Stops at which something can be entered: from the first that is not cleared on."""
    next_page: int | None
    """The first page that is not worked."""


def held_copies(home: Home, reached: Mapping[str, int] | None = None) -> tuple[Held, ...]:
    """The copies in hand by learner and course; `reached` tells of each how far a form says that was worked."""
    order = {p.id: n for n, p in enumerate(home.learners)}
    views = [v for v in queries.copies(home.id, status=CopyStatus.ISSUED) if v.learner is not None]
    found = []
    for view in views:
        who, book, s = view.learner, view.workbook, view.standing
        if who is None or s.unit is not None:
            continue
        ahead = [stop for stop in book.stops if s.stop(stop.id).cycle is not Cycle.CLEARED]
        last = (reached or {}).get(view.id, 0)
        passed = sum(1 for stop in ahead if stop.last <= last)
        shown = tuple(ahead[: max(AHEAD, passed)])
        left = next((page for page in range(1, book.pages + 1) if page not in s.pages), None)
        title = home.programme.course(book.course).title
        found.append(Held(view.id, who, title, book, s, shown, left))
    courses = {p.id: {c: n for n, c in enumerate(p.courses)} for p in home.learners}
    found.sort(key=lambda h: (order.get(h.learner.id, 99), courses[h.learner.id].get(h.workbook.course, 99)))
    return tuple(found)


class _NothingSavedError(MarksteadError):
    """Ends the transaction with nothing written."""

    def __init__(self, refused: tuple[Refused, ...]) -> None:
        self.refused = refused
        super().__init__("refused")


def record_day(
    household: str,
    entry: PaperDay,
    *,
    by: str,
    now: datetime,
    slip: Slip,
    partly: bool = False,
    also: Callable[[Done], None] | None = None,
) -> DayDone:
    """Record a day from paper as one act. Where a row is refused nothing is, unless `partly` says that the rest may be.

    `also` is done in the same transaction, once something is recorded.

    Raises:
        InputError: nothing is written down, or the day has not come yet.
    """

    def work(desk: Desk) -> DayDone:
        again = desk.written(slip.act) if slip.act else None
        if again is not None:
            return DayDone(again, _left_out(desk.home, again, entry))
        tries = _tries(desk.home, entry, by=by, now=now)
        refused = tuple(found.refused for found in tries if found.refused is not None)
        lost = {found.where for found in tries if found.refused is not None}
        rows = [row for row in entry.rows if not row.empty and row.copy not in lost]
        there = {who: presence for who, presence in entry.presences.items() if who not in lost}
        if (refused and not partly) or not (rows or there):
            raise _NothingSavedError(refused)
        gathering = Gathering(desk, slip)
        _write_all(gathering, rows, there, entry, by=by, now=now)
        if also is not None:
            also(gathering.done)
        return DayDone(gathering.done, refused)

    try:
        return at_the_desk(household, work)
    except _NothingSavedError as nothing:
        return DayDone(None, nothing.refused)


def _left_out(home: Home, done: Done, entry: PaperDay) -> tuple[Refused, ...]:
    """Rows that an act sent once more had left out when it was written."""
    written = {getattr(e.fact, "copy", None) or getattr(e.fact, "learner", None) for e in done.entries}
    names = {held.copy: f"{held.learner.name}, {held.workbook.title}" for held in held_copies(home)}
    rows = [(row.copy, names.get(row.copy, row.copy)) for row in entry.rows if not row.empty]
    people = [(who, home.learner(who).name) for who in entry.presences]
    says = (say("It was refused when this day was sent before."),)
    return tuple(
        Refused(where, name, "", says=says) for where, name in (*rows, *people) if where not in written
    )


def _evening(home: Home, day: date) -> datetime:
    return home.calendar.instant_of(day, time(23, 59))


def _tries(home: Home, entry: PaperDay, *, by: str, now: datetime) -> tuple[Try, ...]:
    """Try every row at a desk of which nothing is written; rows are about different copies and do not meet.

    Raises:
        InputError: nothing is written down, or the day has not come yet.
    """
    if entry.day > home.calendar.day_of(now):
        raise InputError([Problem(say("day"), date_words(entry.day), say("today or an earlier day"))])
    rows = [row for row in entry.rows if not row.empty]
    if not rows and not entry.presences:
        raise InputError(
            [Problem(say("day"), say("nothing written down"), say("at least one row with something in it"))]
        )
    desk = Desk(household_row(home.id), home, False)
    contrary = {who for who, presence in entry.presences.items() if presence is Presence.ABSENT}
    contrary &= {desk.known_copy(row.copy).learner or "" for row in rows}
    clocks: dict[str, datetime] = {}
    found = [_tried(desk, row, entry, contrary, clocks, by=by, now=now) for row in rows]
    for who, presence in entry.presences.items():
        name = home.learner(who).name
        if who in contrary:
            says = (
                say(
                    "{name} is written down as absent and as having worked: it is one of the two.", name=name
                ),
            )
            found.append(Try(who, name, refused=Refused(who, name, "", says=says)))
        else:
            fact = AttendanceTaken(who, entry.day, presence)
            found.append(Try(who, name, (fact_words(fact, home),)))
    return tuple(found)


def _tried(
    desk: Desk,
    row: Row,
    entry: PaperDay,
    contrary: set[str],
    clocks: dict[str, datetime],
    *,
    by: str,
    now: datetime,
) -> Try:
    gathering = Gathering(desk, Slip(now=now))
    standing = desk.known_copy(row.copy)
    who = desk.home.people.get(standing.learner or "")
    title = desk.home.programme.workbook(standing.workbook).title
    name = f"{who.name}, {title}" if who is not None else title
    if standing.learner in contrary and who is not None:
        says = (say("{name} is written down as absent on this day.", name=who.name),)
        return Try(row.copy, name, refused=Refused(row.copy, name, "", says=says))
    try:
        _write(gathering, row, entry, by=by, now=now, clocks=clocks)
    except RefusedError as error:
        what = fact_words(gathering.proposed[0], desk.home)
        return Try(row.copy, name, refused=Refused(row.copy, name, what, error.ruling.bars))
    except InputError as error:
        says = tuple(map(str, error.problems))
        return Try(row.copy, name, refused=Refused(row.copy, name, "", says=says))
    return Try(row.copy, name, tuple(fact_words(entry.fact, desk.home) for entry in gathering.entries))


def look_at_day(household: str, entry: PaperDay, *, by: str, now: datetime) -> tuple[Try, ...]:
    """Tell what a day would record, row by row; nothing is written.

    Raises:
        InputError: nothing is written down, or the day has not come yet.
    """
    return _tries(load_home(household_row(household)), entry, by=by, now=now)


def _write_all(
    where: Gathering,
    rows: Sequence[Row],
    there: Mapping[str, Presence],
    entry: PaperDay,
    *,
    by: str,
    now: datetime,
) -> None:
    clocks: dict[str, datetime] = {}
    for row in rows:
        _write(where, row, entry, by=by, now=now, clocks=clocks)
    at = min(_evening(where.open_desk.home, entry.day), now)
    for learner, presence in there.items():
        actions.take_attendance(where, learner=learner, day=entry.day, presence=presence, by=by, at=at)


def _write(
    where: Gathering, row: Row, entry: PaperDay, *, by: str, now: datetime, clocks: dict[str, datetime]
) -> None:
    """Write one row in the order in which it was done; a learner's rows follow one another."""
    desk = where.open_desk
    standing, home = desk.known_copy(row.copy), desk.home
    learner = standing.learner or ""
    until = min(_evening(home, entry.day), now)
    at = clocks.get(learner, home.calendar.instant_of(entry.day, entry.begins))
    at = max(at, standing.last_at or at)
    if home.calendar.day_of(at) > entry.day:  # the copy has moved on since: the bar names its latest fact
        at = until
    hand = Hand(where, by=by, at=min(at, until), until=until)
    _row(hand, row)
    clocks[learner] = hand.at


def _row(hand: Hand, row: Row) -> None:
    """Work up to each stop, mark it, correct it, go on; then the practice test."""
    copy, book = row.copy, hand.workbook(row.copy)
    told = {marks.stop: marks for marks in row.stops}
    pages = _pages(row, book)
    minutes = _shared_out(row.minutes, pages)
    helps = row.helps
    for stop in book.stops:
        for (first, last), took in zip(pages, minutes, strict=True):
            if stop.first <= first <= stop.last:
                hand.work(copy, first, last, took)
        marks = told.get(stop.id)
        if marks is None:
            continue
        if marks.sent_back:
            hand.send_back(copy, stop.id, marks.sent_back)
        if marks.wrong is not None:
            hand.wait(1)
            hand.mark(copy, stop.id, marks.wrong)
        if marks.still is not None:
            helps = _help(hand, copy, helps)  # it was for what was wrong: a quiz is not wanted then
            hand.wait(1)
            hand.mark_again(copy, stop.id, marks.still)
    helps = _help(hand, copy, helps)
    if row.practice_right is not None or row.practice_wrong is not None:
        hand.wait(1)
        hand.practice(copy, row.practice_right, row.practice_wrong)
    if row.sat is not None:
        hand.sit(copy, row.sat.watcher, row.sat.aids)
    if row.unit_right is not None or row.unit_wrong is not None:
        hand.wait(1)
        hand.unit(copy, row.unit_right, row.unit_wrong)
    if row.wants_help:
        hand.wait(1)
        hand.help_wanted(copy, None)


def _help(hand: Hand, copy: str, times: int) -> int:
    """Record that help was given so often; none is left then."""
    for _ in range(times):
        hand.wait(1)
        hand.help_had(copy, None)
    return 0


def _pages(row: Row, book: Workbook) -> list[tuple[int, int]]:
    """The run of pages, parted at the marking stops."""
    if row.first is None:
        if row.minutes is not None:
            raise InputError(
                [Problem(say("pages"), say("minutes without pages"), say("from which page to which"))]
            )
        return []
    last = row.last if row.last is not None else row.first
    if not 1 <= row.first <= last <= book.pages:
        found = say("{first} to {last}", first=row.first, last=last)
        raise InputError(
            [Problem(say("pages"), found, say("a rising run of pages from 1 to {pages}", pages=book.pages))]
        )
    parted = [(max(row.first, s.first), min(last, s.last)) for s in book.stops]
    return [(a, b) for a, b in parted if a <= b]


def _shared_out(minutes: int | None, pages: Sequence[tuple[int, int]]) -> list[int | None]:
    """Minutes of a run that passes a stop: shared out by pages, together as many as were written down."""
    if minutes is None:
        return [None] * len(pages)
    sizes = [b - a + 1 for a, b in pages]
    done, taken, found = 0, 0, []
    for size in sizes:
        done += size
        upto = minutes * done // sum(sizes)
        found.append(upto - taken)
        taken = upto
    return list(found)
