"""A goal changed by hand: the days after it solved again around it, what that breaks, and what it costs.

Only the course whose goal was changed moves; others stand still, so that the effect can be shown while somebody types.
On the day itself limits may be passed, and then the rules that are broken are named: the educator decides, knowingly.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from markstead.errors import InputError
from markstead.errors import Problem as Wrong
from markstead.plan.answer import Answer, Goal, Outcome, steps_taken, write_out
from markstead.plan.breaches import Breach, breaches
from markstead.plan.moves import moves
from markstead.plan.problem import Fixed, Problem, Stream
from markstead.plan.reach import number_of
from markstead.plan.speech import Speech
from markstead.plan.stream import NEVER, Flags, Ints, Path, Tables, minute_prices
from markstead.plan.whatif import TargetChange, difference
from markstead.speech import say


@dataclass(frozen=True, slots=True)
class DayGoals:
    """The goals of a course on one day, before and after."""

    day: int
    before: tuple[Goal, ...]
    after: tuple[Goal, ...]


@dataclass(frozen=True, slots=True)
class Edited:
    """What becomes of a plan when one goal is changed by hand."""

    problem: Problem
    """With the goal fixed; as it was where the goal cannot be at all."""
    answer: Answer
    """The plan around the goal. Where the goal cannot be at all: the plan as it stands with the goal put in, as goals alone."""
    breaches: tuple[Breach, ...]
    """Rules that the plan now breaks and did not before."""
    points: float | None
    """What the plan costs more; None where the goal cannot be at all."""
    days: tuple[DayGoals, ...]
    """Days of the course whose goals differ, the changed day among them."""
    targets: tuple[TargetChange, ...]
    """Targets whose day differs."""


def edit(
    problem: Problem,
    answer: Answer,
    learner: str,
    course: str,
    day: int,
    *,
    last: int | None = None,
    practice: bool = False,
    unit: bool = False,
    speech: Speech | None = None,
) -> Edited:
    """Change what a learner means to do in a course on one day.

    Args:
        problem: what was planned.
        answer: its plan, with places.
        learner: whose goal it is.
        course: of the learner.
        day: the day whose goal is changed; days before it stay as they are.
        last: the last page of that day, in the workbook in hand (beside a unit test: in the next); None: no pages.
        practice: the practice test, with all pages that are left before it.
        unit: the unit test.
        speech: names in the sentences.

    Returns:
        The plan around the goal and what differs.

    Raises:
        InputError: no such course or day, or the workbook in hand has no such page.
        ValueError: the answer has no plan.
    """
    if not answer.places:
        raise ValueError("an answer without a plan cannot be changed")
    speech = speech or Speech()
    n = _stream_number(problem, learner, course, day, speech)
    stream, path = problem.streams[n], answer.places[n]
    before = path[day - 1] if day else stream.done
    goals = tuple(_goals(stream, day, before, last, practice=practice, unit=unit, speech=speech))
    to = _place(problem, stream, day, before, goals)
    if to is None:
        shown = replace(answer, goals=_in_place(answer, learner, course, day, goals), places=())
        broken = tuple(b for b in _new(problem, answer, problem, shown, speech) if b.day == day)
        changed = DayGoals(day, _of(answer, learner, course, day), goals)
        return Edited(problem, shown, broken, None, (changed,), ())
    fixed = replace(stream, fixed=(*(f for f in stream.fixed if f.day != day), Fixed(day, to)))
    after = _with(problem, n, fixed)
    places = list(answer.places)
    places[n] = _around(after, n, path, places, day)
    solved = write_out(after, places, Outcome.GOOD, answer.seed)
    differs = difference(answer, solved)
    broken = _new(problem, answer, after, solved, speech)
    return Edited(after, solved, broken, differs.points, _days(stream, answer, solved), differs.targets)


def _stream_number(problem: Problem, learner: str, course: str, day: int, speech: Speech) -> int:
    if not 0 <= day < problem.horizon:
        raise InputError(
            [Wrong(say("day"), str(day), say("a planned day, from 0 to {last}", last=problem.horizon - 1))]
        )
    try:
        return number_of(problem, learner, course)
    except KeyError:
        names = ", ".join(speech.course(s.course) for s in problem.streams if s.learner == learner)
        where = say("course of {learner}", learner=speech.learner(learner))
        allowed = say("one of {courses}", courses=names or say("no courses"))
        raise InputError([Wrong(where, speech.course(course), allowed)]) from None


def _goals(
    stream: Stream,
    day: int,
    before: int,
    last: int | None,
    *,
    practice: bool,
    unit: bool,
    speech: Speech,
) -> Iterator[Goal]:
    """The goals that were asked for, whether they can be or not."""
    index, done = stream.at(before)
    who = (day, stream.learner, stream.course)
    if unit:
        yield Goal(*who, stream.workbooks[index].code, unit=True)
        index, done = min(index + 1, len(stream.workbooks) - 1), 0
    book = stream.workbooks[index]
    if practice:
        last = book.pages
    if last is not None and not min(done, book.pages) <= last <= book.pages:
        allowed = say(
            "a page of {title} from {first} to {last}",
            title=speech.workbook(book.code),
            first=min(done + 1, book.pages),
            last=book.pages,
        )
        raise InputError([Wrong(say("last page"), str(last), allowed)])
    if last is not None and last > done:
        yield Goal(*who, book.code, done + 1, last, practice)
    elif practice:
        yield Goal(*who, book.code, practice=True)


def _place(problem: Problem, stream: Stream, day: int, before: int, goals: tuple[Goal, ...]) -> int | None:
    """Where the goals lead, if any move of the day is what they say; whether others leave room is seen later."""
    pages = sum(goal.pages for goal in goals)
    practice, unit = any(goal.practice for goal in goals), any(goal.unit for goal in goals)
    for move in moves(problem, stream, problem.limits(stream.learner), day, before):
        if (move.pages, move.practice, move.unit) == (pages, practice, unit):
            return move.to
    return None


def _with(problem: Problem, n: int, stream: Stream) -> Problem:
    return replace(problem, streams=(*problem.streams[:n], stream, *problem.streams[n + 1 :]))


def _around(
    problem: Problem, n: int, path: tuple[int, ...], places: list[tuple[int, ...]], day: int
) -> tuple[int, ...]:
    """The best path of a stream through its fixed goals, the days before the changed one as they were."""
    stream = problem.streams[n]
    other, full = _beside(problem, n, places)
    kept = tuple(Fixed(d, path[d]) for d in range(day))
    later = tuple(f for f in stream.fixed if f.day >= day)
    # Goals fixed further on give way where they are out of reach now; the breach of them is then named.
    for fixed in (later, tuple(f for f in later if f.day == day)):
        found = _solved(problem, replace(stream, fixed=(*kept, *fixed)), other, full, day)
        if found.value < NEVER:
            return found.places
    raise AssertionError("after a goal that can be, a stream can stay where it is")


def _solved(problem: Problem, stream: Stream, other: Ints, full: Flags, day: int) -> Path:
    tables = Tables(problem, stream)
    minutes = minute_prices(tables, other)
    minutes[day] = minute_prices(tables, other, hard_price=0)[day]
    closed = full.copy()
    closed[day] = False
    # The days before it stand as they are, whatever limits they pass.
    minutes[:day], closed[:day] = 0, False
    return tables.best(minutes, np.where(closed | ~tables.open, NEVER, 0).astype(np.int64))


def _beside(problem: Problem, n: int, places: list[tuple[int, ...]]) -> tuple[Ints, Flags]:
    """(H,) half-minutes of the learner's other streams, and (H,) mornings without room for one more sitting."""
    mine = problem.streams[n].learner
    halves = np.zeros(problem.horizon, dtype=np.int64)
    sittings, own = np.zeros_like(halves), np.zeros_like(halves)
    for m, (stream, path) in enumerate(zip(problem.streams, places, strict=True)):
        if m == n:
            continue
        for day, _, move in steps_taken(problem, stream, path):
            sittings[day] += move.unit
            if stream.learner == mine:
                own[day] += move.unit
                halves[day] += move.halves
    full: Flags = (sittings >= np.array(problem.watched)) | (own >= problem.sittings_a_learner)
    return halves, full


def _new(
    problem: Problem, answer: Answer, after: Problem, solved: Answer, speech: Speech
) -> tuple[Breach, ...]:
    known = {(b.rule, b.day, b.where) for b in breaches(problem, answer)}
    return tuple(b for b in breaches(after, solved, speech) if (b.rule, b.day, b.where) not in known)


def _of(answer: Answer, learner: str, course: str, day: int) -> tuple[Goal, ...]:
    key = (learner, course, day)
    return tuple(goal for goal in answer.goals if (goal.learner, goal.course, goal.day) == key)


def _in_place(
    answer: Answer, learner: str, course: str, day: int, goals: tuple[Goal, ...]
) -> tuple[Goal, ...]:
    old = _of(answer, learner, course, day)
    kept = [goal for goal in answer.goals if goal not in old]
    return tuple(sorted((*kept, *goals), key=lambda goal: goal.day))


def _days(stream: Stream, answer: Answer, solved: Answer) -> tuple[DayGoals, ...]:
    horizon = len(answer.places[0])
    found = (
        DayGoals(day, *(_of(a, stream.learner, stream.course, day) for a in (answer, solved)))
        for day in range(horizon)
    )
    return tuple(day for day in found if day.before != day.after)
