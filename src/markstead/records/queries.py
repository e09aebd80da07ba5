"""Reads: rows in, frozen values out. No page asks the database in any other way."""

import re
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import Max, Q

from markstead.calendar import DayKind
from markstead.errors import Problem, UnknownError
from markstead.ledger.facts import AnyFact, CopyIssued, FactReversed, UnitTestSat
from markstead.ledger.serial import Entry, read_body
from markstead.records import backups
from markstead.records.desk import facts_and_standings, household_row
from markstead.records.dispatches import due_now, late_words
from markstead.records.home import Home, Somebody, load_home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Entry as EntryRow
from markstead.records.models import Household, Person, Words, copy_label
from markstead.records.order_calls import UNBEGUN, KeptCalls, LateParcel, by_supplier, read_kept
from markstead.records.past import absent_on
from markstead.rules.bars import BarKind, Weight
from markstead.rules.programme import Course, Workbook
from markstead.rules.ruling import Ruling, Surroundings, ruling
from markstead.rules.standing import CopyStatus, Standing
from markstead.rules.steps import BLOCKS, URGENCY, CallKind, NextStep, Turn, candidates, next_step
from markstead.speech import and_words, counted, date_words, day_of_month, language, later, say

BEGINS_HERE = later(
    "begins the course with it: the workbooks before it are passed over, and the record says so"
)
"""What stands at a call to issue the first workbook of somebody who joins a course further on."""


@dataclass(frozen=True, slots=True)
class CopyView:
    """A copy with everything that a page may say of it."""

    id: str
    ordinal: int
    standing: Standing
    workbook: Workbook
    learner: Somebody | None
    next: NextStep
    ruling: Ruling
    """On the next step, were it taken now by an educator."""
    link: str = ""
    """Of the copy's latest fact in the chain."""

    @property
    def label(self) -> str:
        """What is written on the cover: the workbook's code, and which copy of it."""
        return copy_label(self.workbook.code, self.ordinal)

    @property
    def begins_here(self) -> bool:
        """Whether nothing but workbooks that were never worked here bars its issue to the learner it was got for."""
        barred = {bar.kind for bar in self.ruling.bars}
        return isinstance(self.next.act, CopyIssued) and barred == {BarKind.EARLIER_WORKBOOK}


@dataclass(frozen=True, slots=True)
class Call:
    """Somebody or something needs the educator."""

    kind: CallKind
    urgency: int
    what: str
    blocks: str
    since: datetime | None
    learner: Somebody | None = None
    copy: CopyView | None = None
    workbook: Workbook | None = None
    copies: tuple[str, ...] = ()
    supplier: str | None = None
    """From whom all of it is to be ordered, or whose parcel is late, by the order plan."""


@dataclass(frozen=True, slots=True)
class LearnerDay:
    """One learner's workbooks in hand."""

    learner: Somebody
    copies: tuple[CopyView, ...]
    idle: tuple[str, ...]
    """Titles of courses in which the learner has no workbook in hand."""
    absent: bool = False
    """Whether the learner is absent today, by the calendar or by the attendance that was taken."""


@dataclass(frozen=True, slots=True)
class Today:
    """Today's page."""

    home: Home
    head: int
    link: str
    """Of the latest fact in the chain: what is remembered by it is up to date."""
    settled: int
    now: datetime
    """On the kitchen clock."""
    day_is: str | None
    """Why there is no school today, or None."""
    calls: tuple[Call, ...]
    learners: tuple[LearnerDay, ...]


@dataclass(frozen=True, slots=True)
class PossibleAct:
    """An act that could be meant now, with the ruling on it."""

    fact: AnyFact
    ruling: Ruling


@dataclass(frozen=True, slots=True)
class Note:
    """One line of a copy's history."""

    entry: Entry
    by: str
    words: str | None
    reversed: bool
    copy: str | None = None


@dataclass(frozen=True, slots=True)
class CopyPage:
    """The copy page."""

    home: Home
    copy: CopyView
    acts: tuple[PossibleAct, ...]
    """Allowed now, or barred only by rules that an educator may pass."""
    history: tuple[Note, ...]
    now: datetime


# Today's page is asked for all day long. These are plain SQL, the same for both databases: to put them together
# anew takes Django several times as long as the database takes to answer.
# Live copies and those of today's sittings each have an index; asked with OR, SQLite would read every copy of the home.
_COLUMNS = "id, ordinal, workbook, learner, status, CASE WHEN sat_on = %s THEN 1 ELSE 0 END, last_link"
_LIVE = (
    f"SELECT {_COLUMNS} FROM records_copy WHERE household_id = %s AND live "  # noqa: S608  # constants only
    f"UNION SELECT {_COLUMNS} FROM records_copy WHERE household_id = %s AND sat_on = %s ORDER BY 1"
)
_HOUSE = "h.id, h.name, h.stamp, h.head_seq, h.head_link, h.settled_seq, h.demo_shift, o.lines "
_SEAT = (
    f"SELECT p.id, p.password_made, {_HOUSE} FROM records_person p JOIN records_household h ON h.id = p.household_id "  # noqa: S608
    "LEFT JOIN records_ordercalls o ON o.household_id = h.id WHERE p.user_id = %s"
)
_OPEN = (
    f"SELECT {_HOUSE} FROM records_household h "  # noqa: S608  # constants only
    "LEFT JOIN records_ordercalls o ON o.household_id = h.id WHERE h.id = %s"
)
_PASSED = "SELECT learner, workbook FROM records_copy WHERE household_id = %s AND passed AND learner IN "
_UNSENT = (
    "SELECT id FROM records_copy WHERE household_id = %s AND status = %s AND scored_on < %s "
    "ORDER BY scored_on, id"
)


def _ask(sql: str, *values: object) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return list(cursor.fetchall())


@dataclass(frozen=True, slots=True)
class Opened:
    """A home's settings, and where its record ended when they were read."""

    home: Home
    head: int
    link: str
    settled: int
    """Place of the latest fact that changes what finished workbooks tell."""
    calls: str | None = None
    """What is kept of the latest order plan; see `records.order_calls`."""


def _opened(columns: Sequence[Any]) -> Opened:
    home, name, stamp, seq, link, settled, shift, calls = columns
    row = Household(
        id=home,
        name=name,
        stamp=stamp,
        head_seq=seq,
        head_link=link,
        settled_seq=settled,
        demo_shift=shift,
    )
    return Opened(load_home(row), seq, link, settled, calls)


def _open(household: str) -> Opened:
    found = _ask(_OPEN, household)
    if not found:
        household_row(household)  # says which homes there are
    return _opened(found[0])


def home_of(household: str) -> Home:
    """The settings of a home."""
    return load_home(household_row(household))


def the_household(wanted: str | None = None) -> str:
    """Id of the home that is meant: the one named, or the only one there is.

    Raises:
        UnknownError: no home, several homes, or no such home.
    """
    ids = list(Household.objects.order_by("id").values_list("id", flat=True)[:20])
    if wanted is not None and wanted in ids:
        return wanted
    if wanted is None and len(ids) == 1:
        return str(ids[0])
    found = (
        repr(wanted)
        if wanted
        else (counted(len(ids), "{n} home", "{n} homes") if ids else say("no home yet"))
    )
    allowed = say("one of {words}", words=", ".join(ids)) if ids else say("a home that was set up")
    raise UnknownError(
        [Problem(say("household"), found, allowed, say("Set one up with `markstead init` or `import`."))]
    )


def person_of_user(user_id: int) -> tuple[str, str] | None:
    """Household and person of somebody who signed in."""
    return Person.objects.filter(user=user_id).values_list("household_id", "id").first()


def opened_by(user_id: int) -> tuple[Opened, Somebody, bool] | None:
    """The home of somebody who signed in, who that is, and whether their password was made by the house; one query
    where the home is remembered."""
    found = _ask(_SEAT, user_id)
    if not found:
        return None
    person, made, *columns = found[0]
    opened = _opened(columns)
    return opened, opened.home.person(person), made is not None


def sign_in_name(person: str) -> str | None:
    """The name by which a person signs in, or None."""
    return Person.objects.filter(id=person).values_list("user__username", flat=True).first()


class _Row(NamedTuple):
    """What today's page needs of a copy's row."""

    id: str
    ordinal: int
    workbook: str
    learner: str | None
    status: str
    sat_on: date | None
    """The day asked about, where the unit test was sat on it."""
    last_link: str


def _live_rows(household: str, day: date) -> list[_Row]:
    on = connection.ops.adapt_datefield_value(day)
    found = _ask(_LIVE, on, household, on, household, on)
    return [_Row(*head, day if sat else None, link) for *head, sat, link in found]


class _Scene:
    """The copies that a page looks at, and what surrounds each."""

    def __init__(
        self,
        home: Home,
        rows: Sequence[CopyRow | _Row],
        now: datetime,
        passed: Mapping[str, set[str]],
        known: Mapping[str, tuple[tuple[Entry, ...], Standing]] | None = None,
    ) -> None:
        self.home, self.now, self.passed = home, now, passed
        self.day = home.calendar.day_of(now)
        self.known = facts_and_standings(home.id, rows) if known is None else known
        self.sat = [(row.id, row.learner) for row in rows if row.sat_on == self.day]
        self.watchers = home.watchers
        self.issued: dict[str, list[tuple[str, str]]] = {}
        for row in rows:
            if row.status == CopyStatus.ISSUED:
                course = home.programme.workbook(row.workbook).course
                self.issued.setdefault(row.learner or "", []).append((row.id, course))

    def around(self, standing: Standing, proposed: AnyFact) -> Surroundings:
        home = self.home
        learner_id = proposed.learner if isinstance(proposed, CopyIssued) else standing.learner
        learner = home.people.get(learner_id or "")
        sat = [who for copy, who in self.sat if copy != standing.copy]
        in_hand = [course for copy, course in self.issued.get(learner_id or "", ()) if copy != standing.copy]
        return Surroundings(
            year=(learner.year or 0) if learner else 0,
            courses=frozenset(learner.courses) if learner else frozenset(),
            passed=frozenset(self.passed.get(learner_id or "", ())),
            courses_in_hand=frozenset(in_hand),
            sat_by_learner=sum(1 for who in sat if who == learner_id),
            sat_that_morning=len(sat),
            watchers=self.watchers,
            now=self.now,
        )

    def rule(self, standing: Standing, proposed: AnyFact, by: Somebody) -> Ruling:
        return ruling(
            standing,
            proposed,
            at=max(self.now, standing.last_at or self.now),
            actor=by.actor,
            around=self.around(standing, proposed),
            programme=self.home.programme,
            calendar=self.home.calendar,
        )

    def rule_meant(self, standing: Standing, proposed: AnyFact, by: Somebody) -> Ruling:
        """Rule on what could be done, where a reader cannot know all of it yet: who watches, who gets the copy."""
        if isinstance(proposed, UnitTestSat):
            proposed = UnitTestSat(proposed.copy, proposed.attempt, proposed.day, (), by.id)
        verdict = self.rule(standing, proposed, by)
        if isinstance(proposed, CopyIssued) and not proposed.learner and standing.workbook:
            course = self.home.programme.workbook(standing.workbook).course
            takers = [p.id for p in self.home.learners if course in p.courses]
            verdicts = [self.rule(standing, CopyIssued(proposed.copy, taker), by) for taker in takers]
            verdict = next((v for v in verdicts if v.allowed), verdicts[0] if verdicts else verdict)
        return verdict

    def view(self, row: CopyRow | _Row, by: Somebody, step: NextStep | None = None) -> CopyView:
        standing = self.known[row.id][1]
        step = step or next_step(standing, self.home.programme)
        verdict = Ruling()
        if step.act is not None:
            verdict = self.rule_meant(standing, step.act, by)
        return CopyView(
            row.id,
            row.ordinal,
            standing,
            self.home.programme.workbook(row.workbook),
            self.home.people.get(row.learner or ""),
            step,
            verdict,
            row.last_link,
        )


def _an_educator(home: Home) -> Somebody:
    found = next((p for p in home.people.values() if p.role == "educator"), None)
    if found is None:
        problem = Problem(
            say("people"),
            say("no educator"),
            say("at least one educator"),
            say("Add one with `markstead init`."),
        )
        raise UnknownError([problem])
    return found


def passed_by(home: Home, learners: Iterable[str]) -> dict[str, set[str]]:
    """Codes of the workbooks that each of these learners has passed."""
    wanted = tuple(learners)
    if not wanted:
        return {}
    found: dict[str, set[str]] = {}
    for learner, workbook in _ask(f"{_PASSED}({', '.join(['%s'] * len(wanted))})", home.id, *wanted):
        found.setdefault(learner, set()).add(workbook)
    return found


@dataclass(frozen=True, slots=True)
class _Sight:
    """What today's page rests on apart from the minute: settled by the end of the record and the day."""

    rows: tuple[_Row, ...]
    known: Mapping[str, tuple[tuple[Entry, ...], Standing]]
    steps: tuple[NextStep, ...]
    gaps: tuple[tuple[Somebody, str], ...]
    passed: Mapping[str, set[str]]
    dispatch: tuple[Call, ...] = field(default=())
    absent: frozenset[str] = frozenset()
    """Ids of learners, by the attendance that was taken of the day."""


_STEPS: OrderedDict[tuple[str, str, str], NextStep] = OrderedDict()
_MOST_STEPS = 4096


def _step(home: Home, link: str, standing: Standing) -> NextStep:
    """The next step of a copy; it stays the same until the copy's next fact, or a change of the home."""
    key = (home.stamp, link, language().code)
    kept = _STEPS.get(key)
    if kept is None:
        kept = _STEPS[key] = next_step(standing, home.programme)
        while len(_STEPS) > _MOST_STEPS:
            _STEPS.popitem(last=False)
    return kept


_SIGHTS: OrderedDict[tuple[str, str, date, str | None, str], _Sight] = OrderedDict()
_MOST_SIGHTS = 64


def _sight(opened: Opened, day: date) -> _Sight:
    """Read what today's page rests on, or remember it as long as nothing new is on the record."""
    home = opened.home
    key = (home.stamp, opened.link, day, opened.calls, language().code)
    kept = _SIGHTS.get(key)
    if kept is None:
        rows = _live_rows(home.id, day)
        known = facts_and_standings(home.id, rows)
        steps = tuple(_step(home, row.last_link, known[row.id][1]) for row in rows)
        in_hand = {
            (r.learner, home.programme.workbook(r.workbook).course) for r in rows if r.status == "issued"
        }
        gaps = tuple((p, c) for p in home.learners for c in p.courses if (p.id, c) not in in_hand)
        passed = passed_by(home, {p.id for p, _ in gaps}) if gaps else {}
        kept = _Sight(
            tuple(rows),
            known,
            steps,
            gaps,
            passed,
            tuple(_dispatch_calls(home, day, (s for _, s in known.values()))),
            absent_on(home, day),
        )
        _SIGHTS[key] = kept
        while len(_SIGHTS) > _MOST_SIGHTS:
            _SIGHTS.popitem(last=False)
    return kept


def today(household: str, *, now: datetime, opened: Opened | None = None) -> Today:
    """Everything on today's page; the number of queries does not grow with the history.

    `opened` is the home as it was just read, where a caller has it already.
    """
    opened = opened or _open(household)
    home = opened.home
    day = home.calendar.day_of(now)
    sight = _sight(opened, day)
    by = _an_educator(home)
    scene = _Scene(home, sight.rows, now, sight.passed, sight.known)
    views = [scene.view(row, by, step) for row, step in zip(sight.rows, sight.steps, strict=True)]
    kept = read_kept(opened.calls)
    if kept is not None and not kept.told_of(day):
        kept = None
    calls = [
        *_copy_calls(views, home, now, kept),
        *_supply_calls(views, home, sight.gaps, sight.passed, plain=kept is None),
        *(_order_calls(views, home, day, kept) if kept is not None else ()),
        *sight.dispatch,
        *_backup_calls(home, now),
    ]
    calls.sort(key=lambda c: (c.urgency, c.since or now, c.learner.key if c.learner else ""))
    return Today(
        home,
        opened.head,
        opened.link,
        opened.settled,
        home.calendar.at_home(now),
        home.calendar.why_closed(day),
        tuple(calls),
        tuple(_learner_day(p, views, home, day, absent=p.id in sight.absent) for p in home.learners),
    )


def _learner_day(
    learner: Somebody, views: Sequence[CopyView], home: Home, day: date, *, absent: bool
) -> LearnerDay:
    absent = absent or home.calendar.kind(day, learner.id) is DayKind.ABSENT
    mine = [v for v in views if v.learner == learner and v.standing.in_hand]
    order = {course: place for place, course in enumerate(learner.courses)}
    mine.sort(key=lambda v: order.get(v.workbook.course, len(order)))
    held = {v.workbook.course for v in mine}
    idle = [home.programme.course(c).title for c in learner.courses if c not in held]
    return LearnerDay(learner, tuple(mine), tuple(idle), absent)


def _call(kind: CallKind, what: str, since: datetime | None, view: CopyView) -> Call:
    return Call(kind, URGENCY[kind], what, say(BLOCKS[kind]), since, view.learner, view, view.workbook)


def _copy_calls(views: Sequence[CopyView], home: Home, now: datetime, kept: KeptCalls | None) -> list[Call]:
    calls: list[Call] = []
    told_by_parcel = kept.awaited if kept is not None else {}
    day = home.calendar.day_of(now)
    for view in views:
        s, step = view.standing, view.next
        if s.help is not None:
            where = (
                say("Asks for help, page {number}", number=s.help.page)
                if s.help.page
                else say("Asks for help")
            )
            calls.append(_call(CallKind.HELP, where, s.help.at, view))
        late = s.status is CopyStatus.ON_ORDER and s.expected is not None and s.expected < day
        if late and s.expected is not None and view.id not in told_by_parcel:
            what = say("The copy was expected on {day}", day=day_of_month(s.expected))
            calls.append(_call(CallKind.LATE_COPY, what, s.ordered, view))
        if step.call is None or step.turn is not Turn.EDUCATOR:
            continue
        since = step.since
        if step.call is CallKind.SITTING:
            if not view.ruling.allowed:
                continue
            # It could not be sat before this morning began, however long ago it was decided.
            opens = home.calendar.instant_of(day, home.programme.unit_test.morning_from)
            since = max(since or opens, opens)
        calls.append(_call(step.call, step.what, since, view))
    return calls


def _supply_calls(
    views: Sequence[CopyView],
    home: Home,
    gaps: Sequence[tuple[Somebody, str]],
    passed: Mapping[str, set[str]],
    *,
    plain: bool,
) -> list[Call]:
    """Workbooks to issue, and by the plain rule workbooks that are not in the house and will be wanted.

    By the plain rule the next workbook should be there once half of the pages are worked. It holds where no order plan is
    kept that knows better, and of every workbook that cannot be planned.
    """
    calls: list[Call] = []
    there: dict[str, list[CopyView]] = {}
    for view in views:
        if view.standing.status in (CopyStatus.IN_THE_HOUSE, CopyStatus.ON_ORDER):
            there.setdefault(view.workbook.code, []).append(view)

    def want(learner: Somebody, book: Workbook, *, at_once: bool) -> None:
        ready = [v for v in there.get(book.code, []) if v.standing.learner in (None, learner.id)]
        ready.sort(key=lambda v: v.standing.status is not CopyStatus.IN_THE_HOUSE)
        # Of a workbook without a supplier or a price the order plan knows nothing.
        if not ready and (plain or book.price is None or not book.supplier):
            calls.append(
                Call(
                    CallKind.ORDER,
                    URGENCY[CallKind.ORDER],
                    say("Order {title}", title=book.title),
                    say(BLOCKS[CallKind.ORDER]),
                    None,
                    learner,
                    None,
                    book,
                )
            )
        elif ready and at_once and ready[0].standing.status is CopyStatus.IN_THE_HOUSE:
            view = ready[0]
            calls.append(
                Call(
                    CallKind.ISSUE,
                    URGENCY[CallKind.ISSUE],
                    say("Issue {title}", title=book.title),
                    say(BEGINS_HERE) if view.begins_here else say(BLOCKS[CallKind.ISSUE]),
                    view.standing.received,
                    learner,
                    view,
                    book,
                )
            )
        if ready:
            there[book.code].remove(ready[0])

    for learner, course in gaps:
        ready = [v.workbook for code in there for v in there[code] if v.standing.learner == learner.id]
        book = _goes_on_with(home.programme.course(course), passed.get(learner.id, set()), ready)
        failed = any(
            v.learner == learner and v.workbook.course == course and v.standing.failed for v in views
        )
        if book is not None and not failed:
            want(learner, book, at_once=True)
    for view in views:
        if view.standing.in_hand and view.learner is not None:
            following = home.programme.next_in_course(view.workbook)
            if following is not None and 2 * len(view.standing.pages) >= view.workbook.pages:
                want(view.learner, following, at_once=False)
    return calls


def _goes_on_with(course: Course, passed: Set[str], ready: Iterable[Workbook]) -> Workbook | None:
    """The workbook after the last that is passed; for who joins a course further on, the first that was got for them."""
    ended = [book.number for book in course.workbooks if book.code in passed]
    got = [book.number for book in ready if book.course == course.id]
    start = max(ended) + 1 if ended else min(got, default=1)
    return next((book for book in course.workbooks if book.number >= start), None)


def _order_calls(views: Sequence[CopyView], home: Home, day: date, kept: KeptCalls) -> list[Call]:
    """What the order plan wants ordered now, a call for each supplier, and a call for each parcel that is late."""
    unbegun = [(v.id, v.workbook.code, v.standing.learner) for v in views if v.standing.status in UNBEGUN]
    calls = []
    for due in by_supplier(kept.due(unbegun, day)):
        names = [home.people[learner].name for learner in due.learners if learner in home.people]
        blocks = say("to spare")
        if names:
            blocks = counted(
                due.copies,
                "{learners} will need it",
                "{learners} will need them",
                learners=and_words(names),
            )
        if due.by <= day:
            what = counted(
                due.copies,
                "Order today from {supplier}: {n} copy",
                "Order today from {supplier}: {n} copies",
                supplier=due.supplier,
            )
        else:
            what = counted(
                due.copies,
                "Order by {day} from {supplier}: {n} copy",
                "Order by {day} from {supplier}: {n} copies",
                day=date_words(due.by),
                supplier=due.supplier,
            )
        if kept.aged(day):
            what = say("{order} (by the order plan of {day})", order=what, day=date_words(kept.made_on))
        calls.append(Call(CallKind.ORDER, URGENCY[CallKind.ORDER], what, blocks, None, supplier=due.supplier))
    on_order = {v.id: v for v in views if v.standing.status is CopyStatus.ON_ORDER}
    return calls + [
        _late_call(parcel, [on_order[c] for c in parcel.copies]) for parcel in kept.late(on_order, day)
    ]


def _late_call(parcel: LateParcel, views: Sequence[CopyView]) -> Call:
    """A parcel that should have come; of a single copy its learner and workbook are told as with every copy."""
    kind, first = CallKind.LATE_COPY, views[0]
    if parcel.supplier:
        what = counted(
            len(views),
            "The copy ordered on {day} from {supplier} should have come by {due}",
            "{n} copies ordered on {day} from {supplier} should have come by {due}",
            day=date_words(parcel.ordered),
            supplier=parcel.supplier,
            due=date_words(parcel.due),
        )
    else:
        what = counted(
            len(views),
            "The copy ordered on {day} should have come by {due}",
            "{n} copies ordered on {day} should have come by {due}",
            day=date_words(parcel.ordered),
            due=date_words(parcel.due),
        )
    since = first.standing.ordered
    if len(views) == 1:
        call = _call(kind, what, since, first)
        return replace(call, copies=parcel.copies, supplier=parcel.supplier)
    names = tuple(dict.fromkeys(v.learner.name for v in views if v.learner is not None))
    blocks = say("to spare")
    if names:
        blocks = counted(
            len(names), "{learners} waits for it", "{learners} wait for it", learners=and_words(names)
        )
    return Call(kind, URGENCY[kind], what, blocks, since, copies=parcel.copies, supplier=parcel.supplier)


def _dispatch_calls(home: Home, day: date, standings: Iterable[Standing]) -> list[Call]:
    """Papers of tests that were marked before the dispatch day that has come, and those that are missing from it."""
    due = due_now(home, day)
    on = connection.ops.adapt_datefield_value(due)
    unsent = [str(copy) for (copy,) in _ask(_UNSENT, home.id, str(CopyStatus.FINISHED), on)]
    missing = sum(s.unit is not None and s.unit.scored is None and s.unit.day < due for s in standings)
    when, parts = day_of_month(due), []
    if unsent:
        papers = counted(
            len(unsent),
            "Send {n} test paper of before {day}",
            "Send {n} test papers of before {day}",
            day=when,
        )
        parts.append(papers + late_words(home, day))
    if missing:
        lacks = counted(
            missing,
            "{n} paper of before it is missing: sat and not marked",
            "{n} papers of before it are missing: sat and not marked",
        )
        parts.append(lacks if unsent else say("The dispatch of {day}: {words}", day=when, words=lacks))
    if not parts:
        return []
    return [
        Call(
            CallKind.DISPATCH,
            URGENCY[CallKind.DISPATCH],
            "; ".join(parts),
            say(BLOCKS[CallKind.DISPATCH]),
            None,
            copies=tuple(unsent[:200]),
        )
    ]


def _backup_calls(home: Home, now: datetime) -> list[Call]:
    """A call where the last good backup of a home's own file is old; reads the folder of the backups, and no table."""
    file = backups.database()
    if home.demo_shift is not None or file is None or file.name != backups.FILE:
        return []  # a demonstration has nothing to lose, and a school's database is looked after by others
    found = backups.state()
    last = found.last_good
    if not backups.is_old(found, now, last.made if last is not None else first_written(home.id)):
        return []
    what = (
        say("The last good backup is of {day}", day=date_words(home.calendar.day_of(last.made)))
        if last
        else say("There is no backup yet")
    )
    kind = CallKind.BACKUP
    return [Call(kind, URGENCY[kind], what, say(BLOCKS[kind]), None)]


def papers_to_send(household: str) -> tuple[CopyView, ...]:
    """Copies with a marked unit test whose paper has not been sent, oldest first."""
    home = home_of(household)
    rows = list(
        CopyRow.objects.filter(household=household, status=CopyStatus.FINISHED).order_by("scored_on", "id")
    )
    known = facts_and_standings(household, rows)
    return tuple(_bare_view(home, row, known[row.id][1]) for row in rows)


def _bare_view(home: Home, row: CopyRow, standing: Standing) -> CopyView:
    workbook = home.programme.workbook(row.workbook)
    learner = home.people.get(row.learner or "")
    return CopyView(
        row.id, row.ordinal, standing, workbook, learner, next_step(standing, home.programme), Ruling()
    )


def copies(
    household: str, *, status: CopyStatus | None = None, learner: str | None = None
) -> tuple[CopyView, ...]:
    """All copies of a home, or those of one status or one learner, in the order of their codes."""
    home = home_of(household)
    rows = CopyRow.objects.filter(household=household).exclude(status=CopyStatus.UNKNOWN)
    rows = rows.order_by("workbook", "ordinal")
    if status is not None:
        rows = rows.filter(status=status)
    if learner is not None:
        rows = rows.filter(learner=home.person(learner).id)
    kept = list(rows)
    known = facts_and_standings(household, kept)
    return tuple(_bare_view(home, row, known[row.id][1]) for row in kept)


def find_copy(household: str, wanted: str) -> str:
    """Id of a copy by its id, its label, or the code of a workbook of which one copy is live.

    Raises:
        UnknownError: no such copy, or several that could be meant.
    """
    text = wanted.strip()
    rows = CopyRow.objects.filter(household=household)
    if rows.filter(id=text).exists():
        return text
    label = re.fullmatch(r"(.+) \(([0-9]{1,6})\)", text)
    found = (
        rows.filter(workbook=label[1], ordinal=int(label[2]))
        if label
        else rows.filter(workbook=text, live=True)
    )
    ids = [str(i) for i in found.values_list("id", flat=True)[:3]]
    if len(ids) == 1:
        return ids[0]
    what = say("no copies that could be meant by {text!r}", text=wanted)
    if ids:
        what = say("{n} copies that could be meant by {text!r}", n=len(ids), text=wanted)
    raise UnknownError(
        [Problem(say("copy"), what, say("the id or the label of one copy, such as maths-5-03 (2)"))]
    )


def copy_page(household: str, copy: str, *, now: datetime, by: str | None = None) -> CopyPage:
    """One copy: where it stands, what may be done now, and its history.

    Raises:
        UnknownError: this home has no such copy.
    """
    home = home_of(household)
    row = CopyRow.objects.filter(household=household, id=copy).first()
    if row is None:
        raise UnknownError([Problem(say("copy"), repr(copy), say("the id of a copy of this home"))])
    day = home.calendar.day_of(now)
    near = CopyRow.objects.filter(
        Q(sat_on=day) | Q(learner=row.learner, status=CopyStatus.ISSUED, learner__isnull=False),
        household=household,
    ).exclude(id=copy)
    rows = [row, *near]
    issuing = row.status == CopyStatus.IN_THE_HOUSE
    passed = passed_by(home, [p.id for p in home.learners]) if issuing else {}
    if issuing:
        rows += list(CopyRow.objects.filter(household=household, status=CopyStatus.ISSUED))
    scene = _Scene(home, list({r.id: r for r in rows}.values()), now, passed)
    somebody = home.person(by) if by else _an_educator(home)
    view = scene.view(row, somebody)
    acts = []
    for fact in candidates(view.standing, view.workbook, day):
        verdict = scene.rule_meant(view.standing, fact, somebody)
        if verdict.allowed or (fact == view.next.act and verdict.overridable) or _shown_shut(fact, verdict):
            acts.append(PossibleAct(fact, verdict))
    entries = scene.known[copy][0]
    return CopyPage(home, view, tuple(acts), _notes(home, entries), home.calendar.at_home(now))


def _shown_shut(fact: AnyFact, verdict: Ruling) -> bool:
    """A unit test that is barred by rules alone is shown with its bars: the educator will ask why."""
    return isinstance(fact, UnitTestSat | CopyIssued) and all(b.weight is Weight.RULE for b in verdict.bars)


def _notes(home: Home, entries: Sequence[Entry]) -> tuple[Note, ...]:
    taken_back = {e.fact.entry for e in entries if isinstance(e.fact, FactReversed)}
    wanted = {w for e in entries for w in (_words_of(e),) if w}
    texts = (
        dict(Words.objects.filter(household=home.id, digest__in=wanted).values_list("digest", "text"))
        if wanted
        else {}
    )
    notes = []
    for entry in reversed(entries):
        digest = _words_of(entry)
        words = texts.get(digest, say("(erased)")) if digest else None
        person = home.people.get(entry.by)
        notes.append(
            Note(
                entry,
                person.name if person else say("somebody who is no longer named"),
                words,
                entry.seq in taken_back,
                getattr(entry.fact, "copy", None),
            )
        )
    return tuple(notes)


def _words_of(entry: Entry) -> str | None:
    return getattr(entry.fact, "reason", None) or getattr(entry.fact, "tracking", None)


def words(household: str, digest: str) -> str | None:
    """The words behind a digest, or None where they were erased."""
    return Words.objects.filter(household=household, digest=digest).values_list("text", flat=True).first()


def history(
    household: str,
    *,
    copy: str | None = None,
    day: date | None = None,
    limit: int = 50,
) -> tuple[Note, ...]:
    """The latest facts on the record, newest first: all, of one copy, or of one day at home."""
    home = home_of(household)
    rows = EntryRow.objects.filter(household=household)
    if copy is not None:
        rows = rows.filter(copy=copy)
    if day is not None:
        midnight = datetime.min.time()
        first = home.calendar.instant_of(day, midnight)
        rows = rows.filter(at__gte=first, at__lt=home.calendar.instant_of(day + timedelta(days=1), midnight))
    newest = list(rows.order_by("-seq").values_list("body", flat=True)[:limit])
    entries = [read_body(body) for body in reversed(newest)]
    return _notes(home, entries)


def head(household: str) -> int:
    """Place of the latest fact; a page that shows it is up to date."""
    row = Household.objects.filter(id=household).values_list("head_seq", flat=True).first()
    return int(row or 0)


def act_exists(household: str, act: str) -> bool:
    """Whether an act of this id is on the record."""
    return EntryRow.objects.filter(household=household, act=act, part=0).exists()


def act_entries(household: str, act: str) -> tuple[Entry, ...]:
    """Everything that an act wrote."""
    bodies = EntryRow.objects.filter(household=household, act=act).order_by("seq")
    return tuple(read_body(body) for body in bodies.values_list("body", flat=True))


def workbooks_of(household: str, copies: Iterable[str]) -> dict[str, str]:
    """The workbook of each of these copies."""
    rows = CopyRow.objects.filter(household=household, id__in=list(copies))
    return dict(rows.values_list("id", "workbook"))


def latest_act(household: str, *, by: str | None = None) -> str | None:
    """Id of the latest act that is not itself an undo, for `undo`."""
    bodies = EntryRow.objects.filter(household=household).order_by("-seq").values_list("body", flat=True)[:50]
    taken_back: set[int] = set()
    for body in bodies:
        entry = read_body(body)
        if isinstance(entry.fact, FactReversed):
            taken_back.add(entry.fact.entry)
        elif entry.seq not in taken_back and by in (None, entry.by):
            return entry.act
    return None


def count_facts(household: str) -> int:
    """How many facts are on the record."""
    return int(EntryRow.objects.filter(household=household).aggregate(n=Max("seq"))["n"] or 0)


def households() -> tuple[str, ...]:
    """The id of every home of this database."""
    return tuple(Household.objects.order_by("id").values_list("id", flat=True))


def first_written(household: str) -> datetime | None:
    """When the first fact of the record happened; None: nothing is on it yet."""
    return EntryRow.objects.filter(household=household, seq=1).values_list("at", flat=True).first()


def copy_labels(household: str, ids: Iterable[str]) -> dict[str, str]:
    """What is written on the covers of these copies."""
    rows = CopyRow.objects.filter(household=household, id__in=list(ids)).values_list(
        "id", "workbook", "ordinal"
    )
    return {copy: copy_label(code, ordinal) for copy, code, ordinal in rows}
