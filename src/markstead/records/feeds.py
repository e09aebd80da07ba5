"""A calendar that other programs read: goals by day, sittings, orders, and the day of the dispatch (RFC 5545).

Whoever has the address reads it, so nobody can guess it, an educator can take it back, and it names learners only as far
as the educator chose.
"""

import secrets
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from hashlib import sha256

from markstead import __version__
from markstead.errors import InputError, Problem, UnknownError
from markstead.ledger.facts import GoalSet, Step
from markstead.plan.answer import Goal
from markstead.records.exporting import KnownCopy, copies_of, entries_of
from markstead.records.home import Home, Somebody
from markstead.records.models import Feed as FeedRow
from markstead.records.order_calls import SOON, DueCall, due_calls
from markstead.records.plans import goal_words, in_force
from markstead.rules.ruling import Role, page_words
from markstead.speech import and_words, begun, plural, say

BACK, AHEAD = timedelta(days=14), timedelta(days=120)
"""What is told: so many days before today and after it."""
DISPATCHES = 12
SEEN_EVERY = timedelta(minutes=10)
LONGEST = 60


class Naming(StrEnum):
    """How learners are named."""

    NONE = "none"
    INITIALS = "initials"
    NAMES = "names"


class Part(StrEnum):
    """What can be in a calendar."""

    GOALS = "goals"
    SITTINGS = "sittings"
    ORDERS = "orders"
    DISPATCH = "dispatch"


@dataclass(frozen=True, slots=True)
class Feed:
    """An address, and what is read there."""

    id: str
    household: str
    name: str
    naming: Naming
    parts: tuple[Part, ...]
    learner: str
    """Id; empty: everybody."""
    made: datetime
    last_read: datetime | None


@dataclass(frozen=True, slots=True)
class Event:
    """Something on a day, or from one instant to another."""

    key: str
    """What it is, among all of this home; it stays the same while only its words change."""
    says: str
    first: date | datetime
    end: date | datetime
    """Exclusive."""
    lines: tuple[str, ...] = ()


# --- addresses ----------------------------------------------------------------------------------------------------


def _feed(row: FeedRow) -> Feed:
    parts = tuple(Part(part) for part in row.parts.split())
    return Feed(
        row.id, row.household_id, row.name, Naming(row.names), parts, row.learner, row.made, row.last_read
    )


def make(
    home: Home,
    *,
    name: str,
    naming: str,
    parts: Sequence[str],
    by: str,
    now: datetime,
    learner: str = "",
) -> Feed:
    """Make an address. `now` is the clock of the machine.

    Raises:
        UnknownError: nobody of this home has that id or key.
        InputError: no name, no part, or somebody asks who is no educator.
    """
    problems = []
    kept = " ".join(name.split())
    if not kept or not kept.isprintable() or len(kept) > LONGEST:
        problems.append(
            Problem(
                say("name"),
                repr(kept[:40]) if kept else say("nothing"),
                say("a name of 1 to {most} letters", most=LONGEST),
            )
        )
    if naming not in set(Naming):
        problems.append(
            Problem(
                say("how learners are named"),
                repr(naming[:20]),
                say("one of {words}", words=", ".join(Naming)),
            )
        )
    wanted = [part for part in Part if part in parts]
    if not wanted or set(parts) - set(Part):
        found = ", ".join(parts)[:60] or say("nothing")
        problems.append(
            Problem(say("what is in it"), found, say("one or more of {words}", words=", ".join(Part)))
        )
    if home.person(by).role is not Role.EDUCATOR:
        problems.append(Problem(say("calendar"), _who(home.person(by)), say("an educator")))
    if problems:
        raise InputError(problems)
    row = FeedRow.objects.create(
        id=secrets.token_urlsafe(32),
        household_id=home.id,
        name=kept,
        names=naming,
        parts=" ".join(wanted),
        learner=home.learner(learner).id if learner else "",
        made=now,
        made_by=home.person(by).id,
    )
    return _feed(row)


def feeds(home: Home) -> tuple[Feed, ...]:
    """Every address of a home, the oldest first."""
    return tuple(_feed(row) for row in FeedRow.objects.filter(household=home.id).order_by("made", "id"))


def find(word: str, now: datetime) -> Feed | None:
    """What is read at an address; that it was read is written down once in a while."""
    row = FeedRow.objects.filter(id=word).first()
    if row is None:
        return None
    if row.last_read is None or now - row.last_read >= SEEN_EVERY:
        FeedRow.objects.filter(id=row.id).update(last_read=now)
    return _feed(row)


def _who(somebody: Somebody) -> str:
    return f"{somebody.name}, {say(str(somebody.role))}"


def take_back(home: Home, *, feed: str, by: str) -> str:
    """Take an address back: nothing is read there any more. Its name.

    Raises:
        UnknownError: this home has no such address.
        InputError: somebody asks who is no educator.
    """
    if home.person(by).role is not Role.EDUCATOR:
        raise InputError([Problem(say("calendar"), _who(home.person(by)), say("an educator"))])
    row = FeedRow.objects.filter(household=home.id, id=feed).first()
    if row is None:
        raise UnknownError(
            [Problem(say("calendar"), say("an address that is not there"), say("one of this home"))]
        )
    row.delete()
    return row.name


# --- what is coming -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Names:
    """Names as far as they are chosen."""

    home: Home
    naming: Naming

    def of(self, learner: str | None) -> str:
        people = [p.id for p in self.home.learners]
        if learner not in people:
            return ""
        if self.naming is Naming.NAMES:
            return self.home.people[learner].name
        if self.naming is Naming.INITIALS:
            return f"{self.home.people[learner].name[:1]}."
        return "" if len(people) == 1 else say("Learner {number}", number=people.index(learner) + 1)


def _led(name: str, words: str) -> str:
    return f"{name}: {words}" if name else begun(words)


def events(
    home: Home, today: date, *, parts: Sequence[Part], naming: Naming, learner: str = ""
) -> list[Event]:
    """What is coming and what has just been, in the order of days."""
    names = _Names(home, naming)
    found: list[Event] = []
    if Part.GOALS in parts or Part.SITTINGS in parts:
        goals = _goals(home, today, learner)
        if Part.GOALS in parts:
            found += _goal_events(home, goals, names)
        if Part.SITTINGS in parts:
            found += _sitting_events(home, goals, names)
    if Part.ORDERS in parts:
        found += _order_events(home, today, names)
    if Part.DISPATCH in parts:
        found += _dispatch_events(home, today)
    return sorted(found, key=lambda event: (str(event.first), event.key))


@dataclass(frozen=True, slots=True)
class _DayGoal:
    """A goal of one learner on one day: its words, and whether it is a unit test."""

    workbook: str
    words: str
    unit: bool


_Goals = Mapping[tuple[date, str], Mapping[str, _DayGoal]]


def _goals(home: Home, today: date, learner: str) -> _Goals:
    """Goals by day and learner, by course: those that were set, else those of the plan in force."""
    first, last = today - BACK, today + AHEAD
    found: dict[tuple[date, str], dict[str, _DayGoal]] = {}
    plan = in_force(home)
    if plan is not None and plan.answer is not None:
        for goal in plan.answer.goals:
            day = plan.problem.days[goal.day]
            # Of days that are gone, what was meant is what was set.
            if max(first, today) <= day <= last and learner in ("", goal.learner):
                found.setdefault((day, goal.learner), {})[goal.course] = _planned(home, goal)
    copies = copies_of(home.id)
    for entry in entries_of(home.id, GoalSet):
        fact = entry.fact
        if isinstance(fact, GoalSet) and first <= fact.day <= last:
            _set(home, found, copies[fact.copy], fact, learner)
    return found


def _planned(home: Home, goal: Goal) -> _DayGoal:
    return _DayGoal(goal.workbook, goal_words(goal, home.programme.workbook(goal.workbook).title), goal.unit)


def _set(
    home: Home,
    found: dict[tuple[date, str], dict[str, _DayGoal]],
    copy: KnownCopy,
    fact: GoalSet,
    learner: str,
) -> None:
    if copy.learner is None or learner not in ("", copy.learner):
        return
    book = home.programme.workbook(copy.workbook)
    day = found.setdefault((fact.day, copy.learner), {})
    if fact.first is not None and fact.last is not None:
        day[book.course] = _DayGoal(
            book.code,
            say("{pages} of {title}", pages=page_words(fact.first, fact.last), title=book.title),
            unit=False,
        )
    elif fact.step is not None:
        if fact.step is Step.UNIT_TEST:
            words = say("the unit test of {title}", title=book.title)
        elif fact.step is Step.PRACTICE_TEST:
            words = say("the practice test of {title}", title=book.title)
        else:
            words = say("{step} of {title}", step=say(str(fact.step)), title=book.title)
        day[book.course] = _DayGoal(book.code, words, unit=fact.step is Step.UNIT_TEST)
    else:
        day.pop(book.course, None)


def _goal_events(home: Home, goals: _Goals, names: _Names) -> Iterator[Event]:
    for (day, learner), of_day in goals.items():
        who = home.people.get(learner)
        if not of_day or who is None or who.role is not Role.LEARNER:
            continue
        order = {course: place for place, course in enumerate(who.courses)}
        lines = tuple(
            begun(goal.words)
            for _, goal in sorted(of_day.items(), key=lambda kept: (order.get(kept[0], len(order)), kept[0]))
        )
        count = plural(len(lines), "goal")
        yield Event(
            f"goals {learner} {day}", _led(names.of(learner), count), day, day + timedelta(days=1), lines
        )


def _sitting_events(home: Home, goals: _Goals, names: _Names) -> Iterator[Event]:
    rules = home.programme.unit_test
    for (day, learner), of_day in goals.items():
        for goal in of_day.values():
            if goal.unit:
                title = home.programme.workbook(goal.workbook).title
                yield Event(
                    f"sitting {learner} {goal.workbook} {day}",
                    _led(names.of(learner), say("unit test of {title}", title=title)),
                    home.calendar.instant_of(day, rules.morning_from),
                    home.calendar.instant_of(day, rules.morning_until),
                )


def _order_events(home: Home, today: date, names: _Names) -> Iterator[Event]:
    due: dict[tuple[date, str], list[DueCall]] = {}
    for line in due_calls(home.id, today + AHEAD - SOON):
        due.setdefault((line.by, line.supplier), []).append(line)
    for (by, supplier), lines in due.items():
        count = plural(len(lines), "copy", "copies")
        books = tuple(
            f"{home.programme.workbook(line.workbook).title}{_for(names.of(line.learner))}"
            for line in lines
            if line.workbook in home.programme.workbooks
        )
        yield Event(
            f"order {supplier} {by}",
            say("Order from {supplier}: {copies}", supplier=supplier, copies=count),
            by,
            by + timedelta(days=1),
            books,
        )


def _for(name: str) -> str:
    return say(", for {learner}", learner=name) if name else ""


def _dispatch_events(home: Home, today: date) -> Iterator[Event]:
    month = today.replace(day=1)
    for _ in range(DISPATCHES + 1):
        day = month.replace(day=home.programme.dispatch_day)
        yield Event(
            f"dispatch {day}", say("Send the test papers to the school"), day, day + timedelta(days=1)
        )
        month = (month + timedelta(days=32)).replace(day=1)


# --- as iCalendar ---------------------------------------------------------------------------------------------------


def calendar_bytes(found: Sequence[Event], *, name: str, salt: str, now: datetime) -> bytes:
    """Events as an iCalendar object: folded at 75 octets, each line ended by CR LF, days without an hour.

    `salt` keeps the ids of one calendar apart from those of another; it cannot be read from them.
    """
    from icalendar import Calendar
    from icalendar import Event as Entry

    calendar = Calendar()
    calendar.add("prodid", f"-//Markstead//Markstead {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", name)
    for event in found:
        entry = Entry()
        digest = sha256(f"{salt}\n{event.key}".encode()).hexdigest()[:32]
        entry.add("uid", f"{digest}@markstead.invalid")
        entry.add("dtstamp", now)
        entry.add("dtstart", event.first)
        entry.add("dtend", event.end)
        entry.add("summary", event.says)
        if event.lines:
            entry.add("description", "\n".join(event.lines))
        entry.add("transp", "TRANSPARENT")
        calendar.add_component(entry)
    return calendar.to_ical(sorted=False)


def feed_bytes(home: Home, feed: Feed, *, today: date, now: datetime) -> bytes:
    """What is read at an address."""
    found = events(home, today, parts=feed.parts, naming=feed.naming, learner=feed.learner)
    return calendar_bytes(found, name=feed.name, salt=feed.id, now=now)


def names_words(naming: Naming) -> str:
    """How a calendar names learners, in words."""
    return {
        Naming.NONE: say("learners by number"),
        Naming.INITIALS: say("learners by their first letter"),
        Naming.NAMES: say("learners by name"),
    }[naming]


def parts_words(parts: Sequence[Part]) -> str:
    """What is in a calendar, in words."""
    said = {
        Part.GOALS: say("goals"),
        Part.SITTINGS: say("unit tests"),
        Part.ORDERS: say("orders due"),
        Part.DISPATCH: say("dispatch"),
    }
    return and_words([said[part] for part in parts])
