"""The month's dispatch: which test papers go to the school, which do not and why, and what went before."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Q

from markstead.errors import InputError, Problem
from markstead.ledger.facts import DispatchSent, FactReversed, PaperSent, UnitTestSat, UnitTestScored
from markstead.ledger.serial import Entry
from markstead.records.desk import facts_and_standings
from markstead.records.home import Home, Somebody
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Words
from markstead.records.past import entries_of_copies, facts_of_kinds, past_of
from markstead.rules.programme import Workbook
from markstead.rules.spans import latest_dispatch, month_before, next_month, send_day
from markstead.rules.standing import CopyStatus
from markstead.speech import day_of_month, say


@dataclass(frozen=True, slots=True)
class Paper:
    """The paper of one marked unit test."""

    copy: str
    label: str
    book: Workbook
    course: str
    learner: Somebody | None
    attempt: int
    sat: date
    marked: date
    right: int
    asked: int
    needed: int
    late: bool = False
    """It was to go with an earlier dispatch."""

    @property
    def passed(self) -> bool:
        return self.right >= self.needed


@dataclass(frozen=True, slots=True)
class Held:
    """A test whose paper does not go this time."""

    copy: str
    label: str
    book: Workbook
    course: str
    learner: Somebody | None
    why: str
    blocks: bool
    """It was sat before the day and is missing; else it is simply too new."""


@dataclass(frozen=True, slots=True)
class Sent:
    """A dispatch that went."""

    dispatch: str
    day: date
    papers: tuple[Paper, ...]
    tracking: str
    act: str


@dataclass(frozen=True, slots=True)
class Pack:
    """A month's dispatch."""

    home: Home
    month: date
    nominal: date
    """The programme's day."""
    day: date
    """The day on which it goes: the programme's day, or the next school day."""
    today: date
    going: tuple[Paper, ...]
    """To go with it: marked before `nominal` and not sent."""
    held: tuple[Held, ...]
    nothing_from: tuple[Somebody, ...]
    """Learners of whom no paper goes and none has gone with this month's dispatch."""
    sent: tuple[Sent, ...]
    """What has gone from this month's day on, up to the next one."""
    before: tuple[Sent, ...]
    """What went in the month before."""

    @property
    def is_late(self) -> bool:
        """Its day is over and papers are still here."""
        return bool(self.going) and self.today > self.day

    @property
    def papers(self) -> tuple[Paper, ...]:
        """What lies in the parcel: the papers that are to go; where none is left, those that went."""
        return self.going or tuple(p for one in self.sent for p in one.papers)


def month_of(home: Home, today: date) -> date:
    """The month whose dispatch is meant on a day, by its first day: the latest whose day has come."""
    nominal, _ = latest_dispatch(home.calendar, home.programme.dispatch_day, today)
    return nominal.replace(day=1)


def pack(home: Home, month: date, today: date) -> Pack:
    """The dispatch of a month, as it stands today.

    Raises:
        InputError: the month lies far from every day that the home knows.
    """
    if not 1990 <= month.year <= 2190:
        raise InputError([Problem(say("month"), f"{month:%Y-%m}", say("a month from 1990-01 to 2190-12"))])
    first = month.replace(day=1)
    rule = home.programme.dispatch_day
    nominal = first.replace(day=rule)
    following = next_month(first).replace(day=rule)
    earlier = month_before(first).replace(day=rule)
    history = sent_between(home, earlier, following, today)
    sent = tuple(s for s in history if s.day >= nominal)
    going = tuple(p for p in waiting(home, earlier) if p.marked < nominal)
    held = tuple(_held(home, nominal, following, today))
    here = {p.learner.id for p in (*going, *(q for s in sent for q in s.papers)) if p.learner is not None}
    return Pack(
        home,
        first,
        nominal,
        send_day(home.calendar, rule, first),
        today,
        going,
        held,
        tuple(p for p in home.learners if p.id not in here),
        sent,
        tuple(s for s in history if s.day < nominal),
    )


def waiting(home: Home, late_before: date) -> tuple[Paper, ...]:
    """Every paper that is marked and not sent, the oldest first; late where it was marked before a day."""
    rows = list(
        CopyRow.objects.filter(household=home.id, status=CopyStatus.FINISHED).order_by("scored_on", "id")
    )
    known = facts_and_standings(home.id, rows)
    found = []
    for row in rows:
        unit = known[row.id][1].unit
        book = home.programme.workbooks.get(row.workbook)
        if unit is None or unit.scored is None or book is None:
            continue
        marked = home.calendar.day_of(unit.scored)
        found.append(
            Paper(
                row.id,
                row.label,
                book,
                home.programme.course(book.course).title,
                home.people.get(row.learner or ""),
                unit.attempt,
                unit.day,
                marked,
                unit.right,
                unit.asked,
                unit.needed,
                late=marked < late_before,
            )
        )
    return tuple(found)


def _held(home: Home, nominal: date, following: date, today: date) -> Iterable[Held]:
    """Papers that do not go with the dispatch of a day, and why."""
    rows = list(
        CopyRow.objects.filter(
            Q(live=True, sat_on__isnull=False) | Q(status=CopyStatus.FINISHED, scored_on__gte=nominal),
            household=home.id,
        ).order_by("sat_on", "id")
    )
    known = facts_and_standings(home.id, rows)
    goes = send_day(home.calendar, home.programme.dispatch_day, following)
    for row in rows:
        unit = known[row.id][1].unit
        book = home.programme.workbooks.get(row.workbook)
        if unit is None or book is None or unit.day >= following:
            continue
        title = home.programme.course(book.course).title
        learner = home.people.get(row.learner or "")
        if unit.scored is None:
            blocks = unit.day < nominal
            sat = day_of_month(unit.day)
            if blocks and unit.day < nominal <= today:
                why = say("sat on {day} and not marked yet: mark it, and it goes along", day=sat)
            elif nominal <= today and not blocks:
                why = say(
                    "sat on {day} and not marked yet: it goes on {goes}", day=sat, goes=day_of_month(goes)
                )
            else:
                why = say("sat on {day} and not marked yet", day=sat)
            yield Held(row.id, row.label, book, title, learner, why, blocks)
        elif home.calendar.day_of(unit.scored) < following and today >= nominal:
            marked = day_of_month(home.calendar.day_of(unit.scored))
            blocks = unit.day < nominal
            why = (
                say(
                    "sat on {sat}, but marked on {marked}: it goes on {goes}",
                    sat=day_of_month(unit.day),
                    marked=marked,
                    goes=day_of_month(goes),
                )
                if blocks
                else say("marked on {marked}: it goes on {goes}", marked=marked, goes=day_of_month(goes))
            )
            yield Held(row.id, row.label, book, title, learner, why, blocks)


def sent_between(home: Home, first: date, until: date, today: date) -> tuple[Sent, ...]:
    """The dispatches that went from a day on and before another, with their papers."""
    past = past_of(home, max(today, until))
    facts = facts_of_kinds(past, [DispatchSent.KIND, PaperSent.KIND])
    heads = [(e, e.fact) for e in facts if isinstance(e.fact, DispatchSent) and first <= e.fact.day < until]
    if not heads:
        return ()
    papers: dict[str, list[Entry]] = {fact.dispatch: [] for _, fact in heads}
    for entry in facts:
        if isinstance(entry.fact, PaperSent) and entry.fact.dispatch in papers:
            papers[entry.fact.dispatch].append(entry)
    copies = {str(getattr(e.fact, "copy", "")) for rows in papers.values() for e in rows}
    rows = {row.id: row for row in CopyRow.objects.filter(household=home.id, id__in=copies)}
    known = entries_of_copies(past, copies, [UnitTestSat.KIND, UnitTestScored.KIND, FactReversed.KIND])
    tracking = _tracking(home, [fact.tracking for _, fact in heads if fact.tracking])
    return tuple(
        Sent(
            fact.dispatch,
            fact.day,
            tuple(p for p in (_paper(home, rows, known, e) for e in papers[fact.dispatch]) if p is not None),
            tracking.get(fact.tracking, say("(erased)")) if fact.tracking else "",
            entry.act,
        )
        for entry, fact in heads
    )


def _tracking(home: Home, digests: Sequence[str]) -> dict[str, str]:
    rows = Words.objects.filter(household=home.id, digest__in=digests)
    return dict(rows.values_list("digest", "text"))


def _paper(
    home: Home, rows: dict[str, CopyRow], known: dict[str, tuple[Entry, ...]], sent: Entry
) -> Paper | None:
    """The paper that went by a fact: of the latest marking before it, for a copy may be sat again."""
    copy = str(getattr(sent.fact, "copy", ""))
    row = rows.get(copy)
    book = home.programme.workbooks.get(row.workbook) if row is not None else None
    if row is None or book is None:
        return None
    entries = [e for e in known.get(copy, ()) if e.seq < sent.seq]
    gone = {e.fact.entry for e in known.get(copy, ()) if isinstance(e.fact, FactReversed)}
    sat: tuple[int, date] | None = None
    found: Paper | None = None
    for entry in entries:
        fact = entry.fact
        if entry.seq in gone:
            continue
        if isinstance(fact, UnitTestSat):
            sat = fact.attempt, fact.day
        elif isinstance(fact, UnitTestScored):
            marked = home.calendar.day_of(entry.at)
            attempt, day = sat or (1, marked)
            found = Paper(
                copy,
                row.label,
                book,
                home.programme.course(book.course).title,
                home.people.get(row.learner or ""),
                attempt,
                day,
                marked,
                fact.right,
                fact.asked,
                fact.needed,
            )
    return found


def late_words(home: Home, today: date) -> str:
    """When the papers that wait now were to go, where that day is over; else nothing."""
    _, day = latest_dispatch(home.calendar, home.programme.dispatch_day, today)
    return say("; they were to go on {day}", day=day_of_month(day)) if today > day else ""


def due_now(home: Home, today: date) -> date:
    """Papers marked before this day are called for today: the programme's day, once the day on which papers go has come."""
    nominal, day = latest_dispatch(home.calendar, home.programme.dispatch_day, today)
    if today >= day:
        return nominal
    # The programme's day has come and is no school day: what the dispatch before it left behind is still late.
    return month_before(nominal).replace(day=home.programme.dispatch_day)
