"""Reads that estimate: rows in, readings out. What is known of finished workbooks is remembered until one more is marked."""

import hashlib
import hmac
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

import numpy as np
from django.conf import settings
from django.db import connection
from django.db.models import Q

from markstead.errors import InputError, Problem, UnknownError
from markstead.ledger.facts import PRACTICE, StopId
from markstead.measure.evidence import Tick, books
from markstead.measure.marks import CopyMarks, read_marks
from markstead.measure.oral import (
    DEFAULT_RULE,
    HARDER_RULE,
    Candidate,
    LiveQuiz,
    QuizCard,
    QuizRule,
    card,
    harder_mix,
    live,
    next_questions,
)
from markstead.measure.readiness import State
from markstead.measure.readings import (
    CopyReading,
    Costs,
    CoursePace,
    Past,
    Point,
    ReviewReading,
    SpotReading,
    finished_state,
    history,
    quiz_candidates,
    quiz_prior,
    read_copies,
    read_courses,
    read_objectives,
    read_review,
    read_spot,
    state_now,
)
from markstead.records.desk import MARKS, remember_marks
from markstead.records.home import Home, Somebody
from markstead.records.models import Copy as CopyRow
from markstead.records.quizzes import UnderWay
from markstead.rules.programme import Workbook
from markstead.rules.standing import CopyStatus
from markstead.speech import language, say

_MOST = 4096
_STATES: OrderedDict[tuple[str, str, int, int], Past] = OrderedDict()


def _trim(kept: OrderedDict[Any, Any]) -> None:
    while len(kept) > _MOST:
        kept.popitem(last=False)


class _Held(NamedTuple):
    """What readings need of a copy's row."""

    id: str
    workbook: str
    learner: str | None
    status: str
    last_link: str
    marks: str


def marks_of_row(row: Any) -> CopyMarks:
    """The gathered marks of a row of the cache; remembered by the link of its latest fact."""
    found = MARKS.get(row.last_link)
    if found is None:
        found = remember_marks(row.last_link, read_marks(row.id, row.workbook, row.learner, row.marks))
    return found


def _ask(sql: str, *values: object) -> list[tuple[Any, ...]]:
    """Plain SQL, the same for both databases: these are asked all day long."""
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return list(cursor.fetchall())


_LINKS = (
    "SELECT id, last_link FROM records_copy WHERE household_id = %s AND learner = %s AND marks <> '' "
    "ORDER BY last_seq DESC"
)
_FRESH = "SELECT id, workbook, learner, status, last_link, marks FROM records_copy WHERE id IN "


def _known(rows: Iterable[tuple[str, str]]) -> list[CopyMarks]:
    """The marks of copies by id and link; only those that are not remembered are read."""
    kept = list(rows)
    missing = [copy for copy, link in kept if link not in MARKS]
    found = {link: MARKS[link] for _, link in kept if link in MARKS}
    for first in range(0, len(missing), 500):
        some = missing[first : first + 500]
        for row in _ask(f"{_FRESH}({', '.join(['%s'] * len(some))})", *some):
            held = _Held(*row)
            found[held.last_link] = marks_of_row(held)
    return [found[link] for _, link in kept if link in found]


def marks_of_learner(household: str, learner: str, *, latest: int | None = None) -> tuple[CopyMarks, ...]:
    """The marks of every copy that a learner has or had, in the order of issue, or of the latest ones."""
    sql, values = _LINKS, [household, learner]
    found = _known(_ask(sql if latest is None else f"{sql} LIMIT {int(latest)}", *values))
    return tuple(sorted(found, key=lambda m: (m.issued is None, m.issued, m.copy)))


def costs_of(home: Home) -> Costs:
    return Costs(home.failed_test_costs, home.hold_day_costs)


# --- readiness ------------------------------------------------------------------------------------------------


_MARKED = (
    "SELECT learner, COUNT(*), SUM(COALESCE(scored_seq, last_seq)) FROM records_copy "
    "WHERE household_id = %s AND learner IS NOT NULL AND (scored_seq IS NOT NULL OR status = %s) GROUP BY learner"
)
Marked = tuple[int, int]
"""How many workbooks of a learner have ended, and the sum of the places of their unit tests (or ends) on the record."""


_SETTLED: OrderedDict[tuple[str, int], dict[str, Marked]] = OrderedDict()


def _marked(home: Home, settled: int | None = None) -> dict[str, Marked]:
    """What tells, by learner, whether anything was finished since a state was remembered.

    With the place of the latest fact that settles anything, the database is asked once for each such place.
    """
    found = _SETTLED.get((home.stamp, settled)) if settled is not None else None
    if found is None:
        found = _ask_marked(home)
        if settled is not None:
            _SETTLED[home.stamp, settled] = found
            _trim(_SETTLED)
    return found


def _ask_marked(home: Home) -> dict[str, Marked]:
    with connection.cursor() as cursor:
        cursor.execute(_MARKED, [home.id, str(CopyStatus.SPOILED)])
        return {learner: (int(books), int(places)) for learner, books, places in cursor.fetchall()}


def _finished(home: Home, learner: str, marked: Marked) -> Past:
    """What is known of a learner from the workbooks whose unit test is marked, and from spoiled copies."""
    key = (home.stamp, learner, *marked)
    found = _STATES.get(key)
    if found is None:
        ended = Q(scored_seq__isnull=False) | Q(status=CopyStatus.SPOILED)
        rows = CopyRow.objects.filter(ended, household=home.id, learner=learner)
        found = _STATES[key] = finished_state([marks_of_row(row) for row in rows], home.programme)
        _trim(_STATES)
    return found


Print = tuple[str, bool, tuple[tuple[int, int], ...]]


def _print_of(marks: CopyMarks) -> Print:
    """What tells one state of the evidence of a copy from another: how much there is of each kind, and the latest place.

    Most acts leave it as it is: pages, leave and help say nothing of what was right.
    """
    kinds = (marks.marked, marks.practice, marks.spoken, marks.units, marks.looked)
    return marks.copy, marks.ended, tuple((len(rows), rows[-1].seq if rows else 0) for rows in kinds)


_READ: OrderedDict[tuple[str, str, Marked, tuple[Print, ...]], dict[str, CopyReading]] = OrderedDict()


def readings_of(home: Home, in_hand: Sequence[Any], settled: int | None = None) -> dict[str, CopyReading]:
    """Readiness for the unit test of each of these workbooks in hand, by copy.

    All that a learner has in hand must be there. Of a row its `id`, `learner` and `last_link` are looked at.
    """
    held: dict[str, list[tuple[str, str]]] = {}
    for row in in_hand:
        held.setdefault(row.learner, []).append((row.id, row.last_link))
    marked = _marked(home, settled) if held else {}
    found: dict[str, CopyReading] = {}
    for learner, rows in held.items():
        finished = marked.get(learner, (0, 0))
        marks = _known(rows)
        key = (home.stamp, learner, finished, tuple(_print_of(m) for m in marks))
        read = _READ.get(key)
        if read is None:
            state = _finished(home, learner, finished)
            read = _READ[key] = read_copies(state, marks, home.programme, costs_of(home))
            _trim(_READ)
        found |= read
    return found


@dataclass(frozen=True, slots=True)
class SpotLine:
    """Which ticks to mark again now."""

    day: date | None
    ticks: tuple[Tick, ...]
    titles: Mapping[str, str]
    """Title of the workbook of each copy."""
    sentence: str
    looked: str


@dataclass(frozen=True, slots=True)
class TodayEstimates:
    """What today's page says to the educator beside the record."""

    readings: Mapping[str, CopyReading]
    """Readiness of every workbook in hand, by copy."""
    spots: Mapping[str, SpotLine]
    """What to mark again of each learner who waits for leave; those with nothing to mark again are not there."""


class InHand(NamedTuple):
    """A copy in a learner's hands, as far as it tells whether its reading is still the remembered one."""

    id: str
    learner: str
    last_link: str


_SPOTS: OrderedDict[tuple[str, str, str, int, tuple[Print, ...]], SpotLine] = OrderedDict()
_SPOT_COPIES = 120
"""Copies that a spot check looks back on: more than a year of them."""


def _spot_of(home: Home, learner: str, held: Sequence[InHand], settled: int) -> SpotLine:
    """What to mark again of a learner; remembered until something more is marked."""
    in_hand = _known((row.id, row.last_link) for row in held if row.learner == learner)
    key = (language().code, home.stamp, learner, settled, tuple(_print_of(marks) for marks in in_hand))
    found = _SPOTS.get(key)
    if found is None:
        marks = marks_of_learner(home.id, learner, latest=_SPOT_COPIES)
        found = spot_line(home, marks, read_spot(marks, home.calendar, learner, _seed))
        _SPOTS[key] = found
        _trim(_SPOTS)
    return found


_TODAY: OrderedDict[tuple[str, str, str, tuple[str, ...]], TodayEstimates] = OrderedDict()


def for_today(
    home: Home, link: str, settled: int, in_hand: Sequence[InHand], waiting: Iterable[str] = ()
) -> TodayEstimates:
    """Readiness of these workbooks in hand, and the spot checks of the learners who wait for leave.

    Nothing is asked of the database while `link` is the record's end and the same learners wait; after an act, only
    the marks of its copy, and the older ones where something was marked or finished.
    """
    waiting = tuple(waiting)
    key = (language().code, home.stamp, link, waiting)
    found = _TODAY.get(key)
    if found is None:
        readings = readings_of(home, in_hand, settled)
        spots = {learner: _spot_of(home, learner, in_hand, settled) for learner in waiting}
        asked = {learner: line for learner, line in spots.items() if line.ticks}
        found = _TODAY[key] = TodayEstimates(readings, asked)
        _trim(_TODAY)
    return found


def _in_hand(home: Home, learner: str) -> list[CopyRow]:
    return list(CopyRow.objects.filter(household=home.id, learner=learner, status=CopyStatus.ISSUED))


def readings_of_learner(home: Home, learner: str) -> dict[str, CopyReading]:
    """Readiness for the unit test of every workbook that a learner has in hand, by copy."""
    return readings_of(home, _in_hand(home, learner))


@dataclass(frozen=True, slots=True)
class ObjectiveLine:
    """One objective of a workbook in hand: how it was marked at first, and what that tells."""

    name: str
    asked: int
    right: int
    mean: float
    spread: float
    learnt: float
    """Chance that it is learnt, where an oral quiz would start."""


@dataclass(frozen=True, slots=True)
class Close:
    """Everything estimated about one workbook in hand whose unit test is still to come."""

    learner: str
    reading: CopyReading
    history: tuple[Point, ...]
    objectives: tuple[ObjectiveLine, ...]
    spot: SpotReading


def close(home: Home, copy: str) -> Close | None:
    """Estimates of one copy with their history; None for a copy that is in nobody's hands."""
    row = CopyRow.objects.filter(household=home.id, id=copy).first()
    if row is None or row.learner is None or row.status != CopyStatus.ISSUED:
        return None
    reading = readings_of(home, _in_hand(home, row.learner)).get(copy)
    if reading is None:
        return None
    every = marks_of_learner(home.id, row.learner)
    own = marks_of_row(row)
    state = _state_now(home, row.learner, copy)
    lines = tuple(
        ObjectiveLine(r.name, asked, right, r.mean, r.spread, r.learnt_prior)
        for r, asked, right in read_objectives(state, own, home.programme)
    )
    points = history(every, copy, home.programme, home.calendar)
    return Close(row.learner, reading, points, lines, spot(home, row.learner))


def _state_now(home: Home, learner: str, copy: str) -> State:
    past = _finished(home, learner, _marked(home).get(learner, (0, 0)))
    marks = [marks_of_row(row) for row in _in_hand(home, learner)]
    return state_now(past, [book for book in books(marks, home.programme) if not book.finished], copy)


# --- what a learner's own page says -----------------------------------------------------------------------------


def spot(home: Home, learner: str) -> SpotReading:
    """Which of the latest ticks of a learner to mark again."""
    return read_spot(marks_of_learner(home.id, learner), home.calendar, learner, _seed)


def _seed(what: str) -> bytes:
    """Nobody who does not hold this installation's key can foresee it, and everybody who asks again gets the same."""
    return hmac.new(settings.SECRET_KEY.encode(), what.encode(), hashlib.sha256).digest()


def _dice(what: str) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(int.from_bytes(_seed(what)[:16], "big")))


def pace(home: Home, learner: Somebody, now: datetime) -> tuple[CoursePace, ...]:
    """The pace of each course of a learner."""
    marks = marks_of_learner(home.id, learner.id)
    today = home.calendar.day_of(now)
    return read_courses(marks, learner.courses, home.programme, home.calendar, learner.id, today)


def review(home: Home, learner: str, now: datetime, minutes: float) -> ReviewReading:
    """What to ask a learner today of what was learnt before."""
    today = home.calendar.day_of(now)
    marks = marks_of_learner(home.id, learner)
    dice = _dice(f"review {learner} {today}")
    return read_review(marks, home.programme, home.calendar, today, minutes, dice)


# --- oral quiz --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class QuizDesk:
    """A quiz under way with its card, its verdict up to now, and the question to ask next."""

    quiz: UnderWay
    learner: Somebody
    workbook: Workbook
    prior: float
    """Chance, before the first question, that what is asked about is learnt."""
    card: QuizCard
    live: LiveQuiz
    next: Candidate | None
    tagged: Mapping[tuple[StopId, int], str]
    """Objectives of the questions that the programme tags."""
    others: int
    """Questions that could be asked instead."""
    skip: int
    rule: QuizRule
    ahead: tuple[Candidate, ...]
    """Questions planned and not asked yet, in their order; those beyond the most that a quiz asks are in reserve."""


def quiz_scope(home: Home, copy: str, stop: StopId | None) -> tuple[CopyRow, Workbook]:
    """The copy and the workbook of a quiz.

    Raises:
        UnknownError: no such copy in anybody's hands, or no such stop.
    """
    row = CopyRow.objects.filter(household=home.id, id=copy, learner__isnull=False).first()
    if row is None:
        raise UnknownError([Problem(say("copy"), repr(copy), say("a copy that a learner has or had"))])
    workbook = home.programme.workbook(row.workbook)
    if stop not in (None, PRACTICE):
        workbook.stop(stop)
    return row, workbook


def check_question(home: Home, copy: str, stop: StopId, question: int) -> None:
    """Refuse a question that the workbook does not have.

    Raises:
        InputError: its number is beyond the stop's last.
        UnknownError: no such copy or stop.
    """
    _, workbook = quiz_scope(home, copy, stop)
    most = workbook.practice_questions if stop == PRACTICE else workbook.stop(stop).questions
    if not 1 <= question <= most:
        raise InputError(
            [Problem(say("question"), str(question), say("a number from 1 to {most}", most=most))]
        )


MOST_PLANNED = 24
"""Questions put in order when a quiz begins: as many as it may ask, and as many to ask instead."""


def quiz_desk(home: Home, quiz: UnderWay, *, skip: int = 0) -> QuizDesk:
    """Everything about a quiz under way. The same quiz asks the same questions in the same order on every screen."""
    row, workbook = quiz_scope(home, quiz.copy, quiz.stop)
    marks = marks_of_row(row)
    prior = 0.5
    if row.status == CopyStatus.ISSUED:
        prior = quiz_prior(_state_now(home, str(row.learner), row.id), marks, home.programme, quiz.stop)
    today = home.calendar.day_of(quiz.begun)
    candidates = quiz_candidates(marks, workbook, quiz.stop, home.calendar.day_of)
    asked = [(a.stop, a.question) for a in quiz.answers]
    plan = next_questions(candidates, today, (), _dice(f"quiz {quiz.id}"), most=MOST_PLANNED)
    rule = HARDER_RULE if harder_mix(plan[: DEFAULT_RULE.most]) else DEFAULT_RULE
    ahead = [c for c in plan if (c.stop, c.question) not in asked]
    verdicts = [a.right for a in quiz.answers]
    return QuizDesk(
        quiz,
        home.person(str(row.learner)),
        workbook,
        prior,
        card(prior, rule),
        live(verdicts, prior, rule),
        ahead[skip % len(ahead)] if ahead else None,
        {(o.stop, o.question): o.text for o in workbook.objectives},
        max(len(ahead) - 1, 0),
        skip,
        rule,
        tuple(ahead),
    )


# --- a learner's page -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ReviewLine:
    """One question to go back to, with the copy in which its answer is written down."""

    topic: str
    workbook: str
    copy: str
    stop: StopId
    question: int
    last: date
    predicted: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LearnerPage:
    """Everything estimated about a learner."""

    learner: Somebody
    today: date
    readings: Mapping[str, CopyReading]
    paces: tuple[CoursePace, ...]
    spot: SpotLine
    review: tuple[ReviewLine, ...]
    review_sentence: str
    notes: tuple[str, ...]
    """For the educator alone: what self-marking and practice tests suggest to do together."""


def learner_page(home: Home, learner: Somebody, now: datetime, minutes: float) -> LearnerPage:
    """Everything about one learner."""
    marks = marks_of_learner(home.id, learner.id)
    spotted = spot(home, learner.id)
    return LearnerPage(
        learner,
        home.calendar.day_of(now),
        readings_of(home, _in_hand(home, learner.id)),
        pace(home, learner, now),
        spot_line(home, marks, spotted),
        *review_lines(home, marks, review(home, learner.id, now, minutes)),
        private_notes(spotted),
    )


def spot_line(home: Home, marks: Sequence[CopyMarks], found: SpotReading) -> SpotLine:
    """The ticks to mark again, with what is needed to name them."""
    titles = {m.copy: home.programme.workbook(m.workbook).title for m in marks}
    looked = len(found.batch.looked) if found.batch is not None else 0
    words = (
        say("{n} looked at, {wrong} wrong", n=looked, wrong=found.batch.slips)
        if found.batch is not None and looked
        else ""
    )
    day = found.batch.day if found.batch is not None else None
    # The draw settles which; to find them in the workbooks they are told in the order of the pages.
    places = {(t.copy, t.stop): n for n, t in enumerate(found.batch.ticks)} if found.batch is not None else {}
    ticks = tuple(sorted(found.ticks, key=lambda t: (places[t.copy, t.stop], t.question)))
    return SpotLine(day, ticks, titles, found.sentence, words)


def review_lines(
    home: Home, marks: Sequence[CopyMarks], found: ReviewReading
) -> tuple[tuple[ReviewLine, ...], str]:
    """The questions to go back to, and the sentence about them."""
    holder = {m.workbook: m.copy for m in marks if m.marked}
    lines = []
    for item in found.chosen.items:
        place = found.questions.get(item.objective)
        if place is None:
            continue
        code, stop, question = place
        title = home.programme.workbook(code).title
        name = found.topics[item.objective].name
        lines.append(
            ReviewLine(
                name, title, holder[code], stop, question, item.last, item.predicted, item.low, item.high
            )
        )
    return tuple(lines), found.chosen.sentence


def private_notes(found: SpotReading) -> tuple[str, ...]:
    """What the educator alone may read."""
    notes = []
    if found.together.show:
        notes.append(found.together.sentence)
    if found.gap.sentence:
        notes.append(found.gap.sentence)
    return tuple(notes)
