"""A learner's readings: from the gathered marks to everything that a page says, in one place.

The state of the finished workbooks is worked out once and can be kept; the workbooks in hand are added to it each time.
"""

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import lru_cache

import numpy as np

from markstead.calendar import SchoolCalendar
from markstead.ledger.facts import PRACTICE, CopyId, StopId
from markstead.measure.evidence import (
    Batch,
    Book,
    DayOf,
    Tick,
    Topic,
    batches,
    books,
    contacts,
    course_days,
    marking_days,
    met_topics,
    pairs_of_tests,
    topic_counts,
    topics,
    worked_again,
)
from markstead.measure.gap import Gap, practice_ahead
from markstead.measure.marks import CopyMarks
from markstead.measure.oral import Candidate
from markstead.measure.pace import DaysToFinish, Pace, WorkDay, days_to_finish, read_pace
from markstead.measure.readiness import (
    BookEvidence,
    ObjectiveReading,
    Readiness,
    State,
    follow,
    learnt_prior,
    objectives,
    predict,
    work_through,
)
from markstead.measure.review import ReviewList, choose, recall
from markstead.measure.sitting import SittingAdvice, when_to_sit
from markstead.measure.spot import (
    SpotRecord,
    Together,
    draw,
    mark_together,
    more,
    record_of,
    sentence,
)
from markstead.rules.programme import Programme, Workbook
from markstead.rules.ruling import stop_words


def subjects_of(programme: Programme) -> tuple[str, ...]:
    """The subjects of a programme, in a fixed order."""
    return tuple(sorted({course.subject for course in programme.courses.values()}))


# --- readiness ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Past:
    """What is known of a learner from finished workbooks."""

    state: State
    latest: Mapping[str, str]
    """The workbook of each subject that ended last: a further working of it begins where that one left off."""


def finished_state(copies: Sequence[CopyMarks], programme: Programme) -> Past:
    """What is known of a learner from all workbooks whose unit test is marked, and from spoiled copies."""
    return _past([book.evidence for book in books(copies, programme) if book.finished], programme)


def _past(done: Sequence[BookEvidence], programme: Programme) -> Past:
    return Past(follow(done, subjects_of(programme)), {book.subject: book.workbook for book in done})


def state_now(past: Past, in_hand: Sequence[Book], copy: CopyId | None = None) -> State:
    """What is known with the workbooks in hand as they stand, for a look at that of `copy`.

    The state keeps a deviation for one workbook of each subject. Where another in hand is of the same subject as that
    of `copy`, it is taken in before it.
    """
    state = past.state
    for book in worked_again(_looked_at_last(in_hand, copy), past.latest):
        state = _worked(state, book.evidence)
    return state


@lru_cache(maxsize=4096)
def _worked(state: State, evidence: BookEvidence) -> State:
    """One more workbook. A state is told from another by being another object, so that one that is kept serves again:
    after an act on one copy the workbooks before it need not be worked through anew.
    """
    return work_through(state, evidence)


def _looked_at_last(in_hand: Sequence[Book], copy: CopyId | None) -> Sequence[Book]:
    own = [book for book in in_hand if book.copy == copy]
    same = [book for book in in_hand if own and book.evidence.subject == own[0].evidence.subject]
    if not same or same[-1].copy == copy:
        return in_hand
    return [*(book for book in in_hand if book.copy != copy), *own]


@dataclass(frozen=True, slots=True)
class CopyReading:
    """How ready a learner is for the unit test of a workbook in hand."""

    copy: CopyId
    readiness: Readiness
    advice: SittingAdvice | None
    """Sit or hold; None until a practice test of this working is marked."""
    book: Book

    @property
    def begun(self) -> bool:
        """Something of this workbook is marked already."""
        e = self.book.evidence
        return bool(e.sections.asked or e.checks.asked or e.oral.asked or e.practice)


@dataclass(frozen=True, slots=True)
class Costs:
    """What a failed unit test and a hold day cost a home, in school days."""

    failed_test: float = 8
    hold_day: float = 1


def read_copies(
    finished: Past, in_hand: Sequence[CopyMarks], programme: Programme, costs: Costs
) -> dict[CopyId, CopyReading]:
    """Readiness for the unit test of every workbook in hand, by copy."""
    open_books = [book for book in books(in_hand, programme) if not book.finished]
    common = state_now(finished, open_books)
    found = {}
    for book in open_books:
        alone = _looked_at_last(open_books, book.copy) is open_books
        state = common if alone else state_now(finished, open_books, book.copy)
        found[book.copy] = _read_copy(state, book, programme, costs)
    return found


def _read_copy(state: State, book: Book, programme: Programme, costs: Costs) -> CopyReading:
    workbook = programme.workbook(book.evidence.workbook)
    asked = workbook.unit_questions
    needed = programme.marks.unit_needed(asked)
    found = predict(state, workbook.subject, asked, needed)
    advice = None
    if book.evidence.practice:
        latest = book.evidence.practice[-1]
        advice = when_to_sit(
            found.mean,
            found.spread,
            asked,
            needed,
            failed_test_costs=costs.failed_test,
            hold_day_costs=costs.hold_day,
            practice=latest,
            practice_needed=programme.marks.practice_needed(latest.asked),
        )
    return CopyReading(book.copy, found, advice, book)


@dataclass(frozen=True, slots=True)
class Point:
    """Readiness as it stood after the marks of one day in this workbook."""

    at: datetime
    what: str
    """The latest mark of that day: 'section 3', 'practice test'."""
    readiness: Readiness


def history(
    copies: Sequence[CopyMarks], copy: CopyId, programme: Programme, calendar: SchoolCalendar
) -> tuple[Point, ...]:
    """How readiness for the unit test of one copy moved, mark by mark, with what was known of the learner then."""
    own = next((marks for marks in copies if marks.copy == copy), None)
    if own is None or own.workbook not in programme.workbooks:
        return ()
    rows = sorted((*own.marked, *own.practice), key=lambda row: row.seq)
    latest: dict[date, tuple[datetime, int, str]] = {}
    for row in rows:
        latest[calendar.day_of(row.at)] = (row.at, row.seq, stop_words(row.stop))
    workbook = programme.workbook(own.workbook)
    needed = programme.marks.unit_needed(workbook.unit_questions)
    past, done = finished_state((), programme), list[BookEvidence]()
    points = []
    for at, seq, what in latest.values():
        known = books([until(m, seq) for m in copies if m.issued is None or m.issued <= at], programme)
        finished = [book.evidence for book in known if book.finished]
        if finished != done:
            past, done = _past(finished, programme), finished
        now = state_now(past, [book for book in known if not book.finished], copy)
        points.append(Point(at, what, predict(now, workbook.subject, workbook.unit_questions, needed)))
    return tuple(points)


def until(marks: CopyMarks, seq: int) -> CopyMarks:
    """The marks of a copy as they stood at a place of the record."""
    return replace(
        marks,
        marked=tuple(row for row in marks.marked if row.seq <= seq),
        practice=tuple(row for row in marks.practice if row.seq <= seq),
        spoken=tuple(row for row in marks.spoken if row.seq <= seq),
        units=tuple(row for row in marks.units if row.seq <= seq),
    )


# --- oral quiz ------------------------------------------------------------------------------------------------


def read_objectives(
    state: State, marks: CopyMarks, programme: Programme
) -> tuple[tuple[ObjectiveReading, int, int], ...]:
    """Each objective of a workbook in hand with its asked and right answers, in the order of the pages."""
    workbook = programme.workbook(marks.workbook)
    counts = topic_counts(marks, workbook)
    found = {reading.name: reading for reading in objectives(state, workbook.subject, counts)}
    return tuple((found[name], kept.asked, kept.right) for name, kept in counts.items())


def quiz_prior(state: State, marks: CopyMarks, programme: Programme, stop: StopId | None) -> float:
    """How likely what a quiz goes over has been learnt, before its first question; from 0 to 1."""
    workbook = programme.workbook(marks.workbook)
    if stop is not None:
        about = topics(workbook)
        wanted = {name for (where, _), name in about.items() if where == stop}
        counts = topic_counts(marks, workbook)
        found = [r for r in objectives(state, workbook.subject, counts) if r.name in wanted]
        if found:
            return float(np.mean([reading.learnt_prior for reading in found]))
    needed = programme.marks.unit_needed(workbook.unit_questions)
    reading = predict(state, workbook.subject, workbook.unit_questions, needed)
    return learnt_prior(reading.mean, reading.spread)


def quiz_candidates(
    marks: CopyMarks, workbook: Workbook, stop: StopId | None, day_of: DayOf
) -> tuple[Candidate, ...]:
    """Every question that a quiz may ask: those of one stop, or of all stops that were marked."""
    about = dict(topics(workbook))
    rows = list(marks.marked)
    if stop == PRACTICE:  # its questions are not tagged
        about = {(PRACTICE, number): "" for number in range(1, workbook.practice_questions + 1)}
        rows = list(marks.practice[-1:])
    wrong = {(row.stop, number) for row in rows for number in row.wrong}
    met = {row.stop for row in marks.marked}
    last: dict[tuple[str, int], date] = {}
    for row in marks.spoken:
        if row.stop is not None:
            last[row.stop, row.question] = day_of(row.at)
    return tuple(
        Candidate(where, number, name or None, (where, number) in wrong, last.get((where, number)))
        for (where, number), name in about.items()
        if (where == stop if stop is not None else where in met)
    )


# --- spot check -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SpotReading:
    """What is to be marked again of a learner's latest ticks, and what the year's checks say."""

    batch: Batch | None
    ticks: tuple[Tick, ...]
    """The ticks to mark again now, in the order of the draw."""
    look: int
    """Ticks of the batch that are looked at in all, those that were looked at included."""
    record: SpotRecord
    """Of the days before the batch."""
    together: Together
    gap: Gap

    @property
    def sentence(self) -> str:
        """What to do, in words for the educator."""
        seen = len(self.batch.looked) if self.batch is not None else 0
        return sentence(self.look - seen, seen, self.batch.slips if self.batch is not None else 0)


def read_spot(
    copies: Sequence[CopyMarks],
    calendar: SchoolCalendar,
    learner: str,
    seed: Callable[[str], bytes],
) -> SpotReading:
    """Tell how many and which of the latest ticks to mark again.

    `seed` gives, for what names a batch, bytes that nobody who marks can foresee.
    """
    found = batches(copies, calendar.day_of)
    days = marking_days(found)
    school_days = calendar.school_days(days[0].day, days[-1].day, learner) if days else []
    together = mark_together(days, [bisect_left(school_days, d.day) for d in days])
    gap = practice_ahead(pairs_of_tests(copies, calendar.day_of), [d.day for d in days])
    if not found:
        return SpotReading(None, (), 0, SpotRecord(), together, gap)
    batch = found[-1]
    record = record_of([d for d in days if d.day < batch.day])
    for earlier in found[:-1]:  # what was looked at earlier today has not faded
        if earlier.day == batch.day:
            record = record.with_more(earlier.seen, earlier.slips)
    seen = [tick for tick, _ in batch.looked]
    handed_over = batch.ticks
    now = more(len(handed_over), len(seen), batch.slips, record, gap.floor)
    order = draw(handed_over, seed(f"{learner} {batch.first} {batch.last}"))
    ticks = tuple(tick for tick in order if tick not in seen)[:now]
    return SpotReading(batch, ticks, len(seen) + now, record, together, gap)


# --- pace -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CoursePace:
    """How fast a learner goes in one course, and how long the workbook in hand will take."""

    course: str
    pace: Pace
    by_goals: bool
    copy: CopyId | None = None
    pages_left: int = 0
    finish: DaysToFinish | None = None
    days: tuple[WorkDay, ...] = ()


def read_courses(
    copies: Sequence[CopyMarks],
    courses: Sequence[str],
    programme: Programme,
    calendar: SchoolCalendar,
    learner: str,
    today: date,
) -> tuple[CoursePace, ...]:
    """The pace of each course that has a day of work, and the days to the last page of its workbook in hand."""
    of_course: dict[str, list[CopyMarks]] = {course: [] for course in courses}
    for marks in copies:
        book = programme.workbooks.get(marks.workbook)
        if book is not None and book.course in of_course:
            of_course[book.course].append(marks)
    issued = [calendar.day_of(marks.issued) for marks in copies if marks.issued]
    latest = max([today, *(row.day for marks in copies for row in marks.worked)])
    school = calendar.school_days(min(issued), latest, learner) if issued else []
    days = {
        course: course_days(kept, programme, calendar, learner, today, school)
        for course, kept in of_course.items()
    }
    own = {course: read_pace(kept.days, kept.usual) for course, kept in days.items() if kept.days}
    found = []
    for course, kept in days.items():
        if not kept.days:
            continue
        others = [pace for name, pace in own.items() if name != course]
        pace = read_pace(kept.days, kept.usual, others, alone=own[course])
        in_hand = next((m for m in of_course[course] if m.issued and not m.units and not m.ended), None)
        if in_hand is None:
            found.append(CoursePace(course, pace, kept.by_goals, days=kept.days))
            continue
        pages = programme.workbook(in_hand.workbook).pages
        left = pages - sum(row.new for row in in_hand.worked)
        finish = days_to_finish(pace, left, started=left < pages, goal=kept.usual)
        found.append(CoursePace(course, pace, kept.by_goals, in_hand.copy, left, finish, kept.days))
    return tuple(found)


# --- review ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ReviewReading:
    """What to ask today, and where each question stands."""

    chosen: ReviewList
    topics: Mapping[str, Topic]
    """The objectives chosen."""
    questions: Mapping[str, tuple[str, StopId, int]]
    """For each objective chosen: workbook, stop and number of the question to ask."""


def read_review(
    copies: Sequence[CopyMarks],
    programme: Programme,
    calendar: SchoolCalendar,
    today: date,
    minutes: float,
    rng: np.random.Generator,
) -> ReviewReading:
    """Choose the objectives of finished and cleared sections that are most likely forgotten, weakest first."""
    chosen = choose(recall(contacts(copies, programme, calendar.day_of), today), minutes, today)
    met = met_topics(copies, programme, [item.objective for item in chosen.items])
    latest: dict[tuple[str, StopId, int], date] = {}
    for marks in copies:
        for row in marks.spoken:
            if row.stop is not None:
                latest[marks.workbook, row.stop, row.question] = calendar.day_of(row.at)
    questions = {}
    for item in chosen.items:
        topic = met.get(item.objective)
        if topic is not None:
            fresh = [p for p in topic.places if p not in latest or (today - latest[p]).days >= 2]
            places = fresh or list(topic.places)
            questions[item.objective] = places[int(rng.integers(len(places)))]
    return ReviewReading(chosen, met, questions)
