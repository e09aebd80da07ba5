"""From a learner's marks to what each estimate takes: counts, days of work, contacts, batches of ticks, pairs of tests.

Every function takes the gathered marks of all copies of one learner; nothing here estimates anything.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from operator import itemgetter
from statistics import median

from markstead.calendar import SchoolCalendar
from markstead.ledger.facts import PRACTICE, CopyId, StopId
from markstead.measure.gap import TestPair
from markstead.measure.marks import CopyMarks, Looked, Marked, Spoken, UnitMark
from markstead.measure.pace import WorkDay
from markstead.measure.readiness import BookEvidence, Counts
from markstead.measure.review import Contact
from markstead.measure.spot import MarkingDay
from markstead.rules.programme import Programme, Workbook
from markstead.rules.ruling import stop_words
from markstead.speech import language

DayOf = Callable[[datetime], date]
"""The day at home of an instant."""


# --- readiness ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Book:
    """One working of a workbook, up to its unit test where that was marked."""

    copy: CopyId
    evidence: BookEvidence
    at: datetime | None
    """When its latest mark was made."""
    finished: bool
    passed: bool = False


def _counts(rows: Iterable[Marked]) -> Counts:
    kept = tuple(rows)
    return Counts(sum(row.asked for row in kept), sum(row.right for row in kept))


def _spoken(rows: Iterable[Spoken]) -> Counts:
    kept = tuple(rows)
    return Counts(len(kept), sum(row.right for row in kept))


def _one_book(marks: CopyMarks, subject: str, unit: UnitMark | None, since: int) -> Book:
    """The working between two unit tests of one copy; `since` is the place of the one before, or 0."""
    until = unit.seq if unit is not None else None

    def within(seq: int) -> bool:
        return seq > since and (until is None or seq < until)

    stops = [row for row in marks.marked if within(row.seq)]
    practice = [row for row in marks.practice if within(row.seq)]
    spoken = [row for row in marks.spoken if within(row.seq)]
    evidence = BookEvidence(
        subject,
        sections=_counts(row for row in stops if not row.stop.startswith("check")),
        checks=_counts(row for row in stops if row.stop.startswith("check")),
        oral=_spoken(spoken),
        practice=tuple(Counts(row.asked, row.right) for row in practice),
        unit=Counts(unit.asked, unit.right) if unit is not None else None,
        workbook=marks.workbook,
    )
    passed = unit is not None and unit.passed
    at = unit.at if unit is not None else marks.last
    return Book(marks.copy, evidence, at, finished=unit is not None or marks.ended, passed=passed)


def books(copies: Sequence[CopyMarks], programme: Programme) -> tuple[Book, ...]:
    """Every working of every workbook: the finished ones in the order in which they ended, then those in hand.

    A copy that is worked again after a unit test that was not passed is a further working of the same workbook.
    """
    found: list[Book] = []
    for marks in sorted(copies, key=_when_issued):
        if marks.workbook not in programme.workbooks:
            continue
        subject = programme.workbook(marks.workbook).subject
        since = 0
        for unit in marks.units:
            found.append(_one_book(marks, subject, unit, since))
            since = unit.seq
        later = any(row.seq > since for row in marks.practice)
        if (not marks.units and marks.issued is not None) or later:
            found.append(_one_book(marks, subject, None, since))
    done = sorted((b for b in found if b.finished), key=lambda b: (b.at is None, b.at))
    return worked_again([*done, *(b for b in found if not b.finished)])


def _when_issued(marks: CopyMarks) -> tuple[bool, bool, datetime | None]:
    at = marks.issued or marks.last
    return marks.issued is None, at is None, at


def worked_again(found: Iterable[Book], before: Mapping[str, str] | None = None) -> tuple[Book, ...]:
    """Mark, in the order given, every further working of the workbook that its subject had just before.

    `before` names the latest workbook of each subject before these.
    """
    latest = dict(before or {})
    kept = []
    for book in found:
        of = book.evidence
        again = latest.get(of.subject) == of.workbook
        kept.append(book if of.again == again else replace(book, evidence=replace(of, again=again)))
        latest[of.subject] = of.workbook
    return tuple(kept)


# --- objectives -----------------------------------------------------------------------------------------------


def topics(workbook: Workbook) -> Mapping[tuple[StopId, int], str]:
    """What each question is about: its objective where the programme tags it, else its section in words."""
    return _about(workbook).names


@dataclass(frozen=True, slots=True)
class _About:
    """What the questions of a workbook are about, laid out for the questions that are asked of it."""

    names: Mapping[tuple[StopId, int], str]
    keys: Mapping[tuple[StopId, int], str]
    keys_of_stop: Mapping[StopId, tuple[str, ...]]
    """Every topic of a stop once, by its key."""
    places: Mapping[str, tuple[tuple[StopId, int], ...]]
    """Where the questions of a topic stand."""


_ABOUT: dict[tuple[int, str], tuple[Workbook, _About]] = {}
"""By identity and language: a workbook of a hundred tags is hashed no quicker than it is laid out. It is kept, so the id holds."""
_MOST = 4096


def _about(workbook: Workbook) -> _About:
    now = (id(workbook), language().code)
    kept = _ABOUT.get(now)
    if kept is not None:
        return kept[1]
    asked = [(stop.id, question) for stop in workbook.stops for question in range(1, stop.questions + 1)]
    objectives = {(o.stop, o.question): o.text for o in workbook.objectives}
    names = {place: f"{workbook.title}, {stop_words(place[0])}" for place in asked} | objectives
    # What a question is about is the same in every language, whatever the place is called in it.
    plain = {place: f"{workbook.title}, {place[0].replace('-', ' ')}" for place in asked} | objectives
    keys = {place: topic_key(workbook.subject, name) for place, name in plain.items()}
    of_stop: dict[StopId, dict[str, None]] = {}
    places: dict[str, tuple[tuple[StopId, int], ...]] = {}
    for place, key in keys.items():
        of_stop.setdefault(place[0], {})[key] = None
        places[key] = (*places.get(key, ()), place)
    found = _About(names, keys, {stop: tuple(kept) for stop, kept in of_stop.items()}, places)
    if len(_ABOUT) >= _MOST:
        _ABOUT.clear()
    _ABOUT[now] = (workbook, found)
    return found


def topic_counts(marks: CopyMarks, workbook: Workbook) -> dict[str, Counts]:
    """First markings of one copy by objective (or section), in the order of the pages; unmarked ones count 0."""
    about = topics(workbook)
    asked: dict[str, int] = dict.fromkeys(about.values(), 0)
    right = dict(asked)
    for row in marks.marked:
        wrong = set(row.wrong)
        for question in range(1, row.asked + 1):
            topic = about.get((row.stop, question))
            if topic is not None:
                asked[topic] += 1
                right[topic] += question not in wrong
    return {topic: Counts(asked[topic], right[topic]) for topic in asked}


# --- review ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Topic:
    """An objective (or section) that a learner has met, and where its questions stand."""

    name: str
    subject: str
    places: tuple[tuple[str, StopId, int], ...]
    """Workbook, stop and number of each question, the latest workbook last."""


def topic_key(subject: str, name: str) -> str:
    """The same objective in several workbooks of a subject is one objective."""
    return f"{subject}: {name}"


def met_topics(
    copies: Sequence[CopyMarks], programme: Programme, only: Collection[str] | None = None
) -> dict[str, Topic]:
    """Every objective of every stop that was marked, by its key; of some only, where their keys are given."""
    places: dict[str, list[tuple[str, StopId, int]]] = {}
    names: dict[str, tuple[str, str]] = {}
    seen: set[tuple[str, StopId]] = set()
    for marks in copies:
        book = programme.workbooks.get(marks.workbook)
        if book is None:
            continue
        met = {row.stop for row in marks.marked if (book.code, row.stop) not in seen}
        seen |= {(book.code, stop) for stop in met}
        about = _about(book)
        for key in about.places if only is None else [key for key in only if key in about.places]:
            here = [place for place in about.places[key] if place[0] in met]
            if here:
                names[key] = (about.names[here[0]], book.subject)
                places.setdefault(key, []).extend((book.code, *place) for place in here)
    return {key: Topic(*names[key], tuple(kept)) for key, kept in places.items()}


def contacts(copies: Sequence[CopyMarks], programme: Programme, day_of: DayOf) -> tuple[Contact, ...]:
    """Every touch of every objective, in the order of days.

    Working a section is the learning itself and tells nothing of remembering; nor does a test, whose questions are
    not tagged. A progress check and an oral quiz are answers: an objective of which more answers of that day were
    wrong than right was not remembered.
    """
    touched: set[tuple[date, str]] = set()
    balance: dict[tuple[date, str], int] = {}
    for marks in copies:
        book = programme.workbooks.get(marks.workbook)
        if book is None:
            continue
        about = _about(book)
        met: set[str] = set()
        for row in marks.marked:
            day, of_stop = day_of(row.at), about.keys_of_stop.get(row.stop, ())
            met.update(of_stop)
            touched.update([(day, key) for key in of_stop])
            if row.stop.startswith("check"):
                for question in range(1, row.asked + 1):
                    found = about.keys.get((row.stop, question))
                    if found is not None:  # an older edition may have asked more
                        place = (day, found)
                        balance[place] = balance.get(place, 0) + (-1 if question in row.wrong else 1)
        tests = [row.at for row in marks.practice] + [row.at for row in marks.units]
        for day in {day_of(at) for at in tests}:
            touched.update([(day, key) for key in met])
        for answer in marks.spoken:
            found = about.keys.get((answer.stop or "", answer.question))
            if found is not None:
                place = (day_of(answer.at), found)
                balance[place] = balance.get(place, 0) + (1 if answer.right else -1)
    return tuple(
        Contact(key, day, balance[day, key] > 0 if (day, key) in balance else None)
        for day, key in sorted(touched | balance.keys())
    )


# --- pace -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CourseDays:
    """The days of one course of a learner."""

    days: tuple[WorkDay, ...]
    usual: float
    """Pages of a usual day: the median of the latest twenty days with work, or the latest goals where they are set."""
    by_goals: bool
    """The home sets goals in this course, and only days with a goal or with work count; else every school day does."""


def course_days(
    copies: Sequence[CopyMarks],
    programme: Programme,
    calendar: SchoolCalendar,
    learner: str,
    today: date,
    school: Sequence[date] | None = None,
) -> CourseDays:
    """The days of work in one course, from its copies; days on which it stood still waiting for a test are left out.

    `school` holds the learner's school days over all of that time, where the caller knows them already.
    """
    done: dict[date, int] = {}
    minutes: dict[date, int | None] = {}
    ends: set[date] = set()
    spans: list[tuple[date, date]] = []
    goals: dict[date, int] = {}
    for marks in copies:
        book = programme.workbooks.get(marks.workbook)
        if book is None or marks.issued is None:
            continue
        goals.update(marks.goals)
        total, last = 0, None
        for row in marks.worked:
            done[row.day] = done.get(row.day, 0) + row.new
            known = minutes.get(row.day, 0)
            whole = row.minutes is not None and row.new == row.pages and known is not None
            minutes[row.day] = (known or 0) + (row.minutes or 0) if whole else None
            total += row.new
            last = row.day
        if total >= book.pages and last is not None:
            ends.add(last)
        ended = last if total >= book.pages or marks.ended or marks.units else None
        spans.append((calendar.day_of(marks.issued), ended or today))
    worked = sorted(day for day, pages in done.items() if pages)
    by_goals = bool(worked) and 2 * sum(day in goals for day in worked) >= len(worked)
    latest = [goals[d] for d in sorted(goals)[-20:]] if by_goals else [done[d] for d in worked[-20:]]
    usual = float(median(latest)) if latest else 0.0
    days = set(worked)
    for first, last in spans:
        if school is None:
            open_days: Sequence[date] = calendar.school_days(first, last, learner)
        else:
            open_days = school[bisect_left(school, first) : bisect_right(school, last)]
        days |= {d for d in open_days if (d in goals or not by_goals) and (d < today or done.get(d))}
    return CourseDays(
        tuple(
            WorkDay(
                day, done.get(day, 0), goals.get(day, usual), minutes.get(day) or None, cut_short=day in ends
            )
            for day in sorted(days)
            if usual
        ),
        usual,
        by_goals,
    )


# --- self-marking ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Tick:
    """One answer that a learner marked right."""

    copy: CopyId
    stop: StopId
    question: int


Answers = tuple[tuple[int, bool], ...]
"""Numbers of questions, each with whether its tick was right."""


@dataclass(slots=True)
class _Open:
    day: date
    first: int
    last: int
    marked: list[tuple[CopyId, Marked]] = field(default_factory=list)
    looks: dict[tuple[CopyId, StopId], Answers] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Batch:
    """The ticks that a learner handed over on one day, up to the first spot check on them."""

    day: date
    first: int
    last: int
    """Places on the record of the first and the latest marking: with them the draw is settled."""
    marked: tuple[tuple[CopyId, Marked], ...]
    looks: tuple[tuple[tuple[CopyId, StopId], Answers], ...] = ()
    """What was marked again of each stop; a tick stands there once."""

    @property
    def ticks(self) -> tuple[Tick, ...]:
        """Every answer that was marked right, in the order of the marking."""
        return tuple(Tick(copy, row.stop, number) for copy, row in self.marked for number in row.ticks)

    @property
    def looked(self) -> tuple[tuple[Tick, bool], ...]:
        """Every tick that was marked again, and whether it was right."""
        return tuple(
            (Tick(*place, number), right) for place, answers in self.looks for number, right in answers
        )

    @property
    def seen(self) -> int:
        """How many ticks were marked again."""
        return sum(len(answers) for _, answers in self.looks)

    @property
    def slips(self) -> int:
        """Ticks that were found wrong."""
        return sum(not right for _, answers in self.looks for _, right in answers)


def batches(copies: Sequence[CopyMarks], day_of: DayOf) -> tuple[Batch, ...]:
    """All batches of a learner, in the order of the record.

    A practice test that the educator marked herself is none of the learner's marking.
    """
    rows: list[tuple[int, CopyId, Marked | Looked]] = []
    for marks in copies:
        rows += [(row.seq, marks.copy, row) for row in marks.marked]
        rows += [(row.seq, marks.copy, row) for row in marks.practice if row.own]
        rows += [(row.seq, marks.copy, row) for row in marks.looked]
    rows.sort(key=itemgetter(0))
    found: list[_Open] = []
    of: dict[tuple[CopyId, StopId], tuple[_Open, Marked]] = {}
    for seq, copy, row in rows:
        if isinstance(row, Marked):
            if not row.right or not row.numbered:
                continue
            day = day_of(row.at)
            if not found or found[-1].day != day or found[-1].looks:
                found.append(_Open(day, seq, seq))
            found[-1].last = seq
            found[-1].marked.append((copy, row))
            of[copy, row.stop] = found[-1], row
        elif (copy, row.stop) in of:
            batch, own = of[copy, row.stop]
            ticks = tuple([a for a in row.answers if a[0] <= own.asked and a[0] not in own.wrong])
            before = batch.looks.get((copy, row.stop))
            if before is not None:  # looked at twice, a tick is still one tick; what was seen last holds
                ticks = tuple((dict(before) | dict(ticks)).items())
            if ticks:
                batch.looks[copy, row.stop] = ticks
    return tuple(Batch(b.day, b.first, b.last, tuple(b.marked), tuple(b.looks.items())) for b in found)


def marking_days(found: Sequence[Batch]) -> tuple[MarkingDay, ...]:
    """What was looked at on each marking day, and how many slips were found."""
    seen: dict[date, tuple[int, int]] = {}
    for batch in found:
        looked, slips = seen.get(batch.day, (0, 0))
        seen[batch.day] = (looked + batch.seen, slips + batch.slips)
    return tuple(MarkingDay(day, looked, slips) for day, (looked, slips) in sorted(seen.items()))


def pairs_of_tests(copies: Sequence[CopyMarks], day_of: DayOf) -> tuple[TestPair, ...]:
    """Each unit test with the learner's latest practice test before it, in the order of the sittings."""
    found = []
    for marks in copies:
        places = [row.seq for row in marks.practice]
        for unit in marks.units:
            before = bisect_right(places, unit.seq)
            if before and marks.practice[before - 1].own:
                practice = marks.practice[before - 1]
                found.append(
                    (
                        unit.seq,
                        TestPair(day_of(unit.at), practice.right, practice.asked, unit.right, unit.asked),
                    )
                )
    return tuple(pair for _, pair in sorted(found, key=lambda row: row[0]))


# --- items ----------------------------------------------------------------------------------------------------


def answers_to(marks: CopyMarks, test: str) -> tuple[bool, ...] | None:
    """Each answer of the first attempt at a test (or of a stop): right or wrong; None where it is not known.

    `test` is 'unit test', 'practice test' or the id of a stop.
    """
    row: Marked | UnitMark | None
    if test == "unit test":
        row = marks.units[0] if marks.units else None
    elif test in ("practice test", PRACTICE):
        row = marks.practice[0] if marks.practice else None
    else:
        row = next((m for m in marks.marked if m.stop == test), None)
    if row is None or len(row.wrong) != row.asked - row.right:
        return None
    return tuple(number not in row.wrong for number in range(1, row.asked + 1))
