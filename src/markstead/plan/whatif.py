"""What would be if: a change applied to a problem, both solved, and the difference as values."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TypeVar

from markstead.errors import InputError
from markstead.errors import Problem as Wrong
from markstead.plan.answer import Answer, TargetDay
from markstead.plan.problem import Fixed, LearnerLimits, Problem, Stream, Target
from markstead.plan.solving import solve
from markstead.speech import say


@dataclass(frozen=True, slots=True)
class DaysOff:
    """No school from one day to another, for a learner or for all."""

    first: int
    last: int
    learner: str | None = None


@dataclass(frozen=True, slots=True)
class EducatorAway:
    """No sitting is watched from one day to another."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class ExtraDays:
    """School on days that had none, such as Saturdays."""

    days: tuple[date, ...]
    watched: int = 0


@dataclass(frozen=True, slots=True)
class TargetSet:
    """A target that is new or has another day."""

    target: Target


@dataclass(frozen=True, slots=True)
class TargetDropped:
    """A target that is struck."""

    target: Target


@dataclass(frozen=True, slots=True)
class Minutes:
    """So many half-minutes more (or less) a day for a learner, soft and hard."""

    learner: str
    halves: int


@dataclass(frozen=True, slots=True)
class Pages:
    """So many pages more (or less) a day in a course: comfortable and most."""

    learner: str
    course: str
    pages: int


@dataclass(frozen=True, slots=True)
class Sittings:
    """So many sittings more on every morning that is watched."""

    more: int


@dataclass(frozen=True, slots=True)
class CourseStarted:
    """A course that is added."""

    stream: Stream


@dataclass(frozen=True, slots=True)
class CourseDropped:
    """A course that is given up, with its targets."""

    learner: str
    course: str


Kind = TypeVar("Kind", int, bool)

Change = (
    DaysOff
    | EducatorAway
    | ExtraDays
    | TargetSet
    | TargetDropped
    | Minutes
    | Pages
    | Sittings
    | CourseStarted
    | CourseDropped
)


@dataclass(frozen=True, slots=True)
class TargetChange:
    """One target before and after; None where there is none on that side."""

    before: TargetDay | None
    after: TargetDay | None


@dataclass(frozen=True, slots=True)
class Difference:
    """Two plans and what differs between them."""

    before: Answer
    after: Answer
    targets: tuple[TargetChange, ...]
    """Only those whose day, lateness or being there differs."""
    points: float
    """What the plan after costs more."""


def apply(problem: Problem, change: Change) -> Problem:
    """The problem with one change.

    Raises:
        InputError: the change names a learner, course, target or day that the problem has not.
    """
    match change:
        case DaysOff():
            return _days_off(problem, change)
        case EducatorAway():
            _span(problem, change.first, change.last)
            watched = [
                0 if change.first <= day <= change.last else n for day, n in enumerate(problem.watched)
            ]
            return replace(problem, watched=tuple(watched))
        case ExtraDays():
            return _extra_days(problem, change)
        case TargetSet():
            others = [target for target in problem.targets if target.key != change.target.key]
            return replace(problem, targets=(*others, change.target))
        case TargetDropped():
            others = [target for target in problem.targets if target.key != change.target.key]
            if len(others) == len(problem.targets):
                allowed, do = say("a target that is set"), say("Look at the targets.")
                raise InputError([Wrong(say("target"), change.target.workbook, allowed, do)])
            return replace(problem, targets=tuple(others))
        case Minutes():
            return _limits(problem, change.learner, lambda found: _longer(found, change.halves))
        case Pages():
            return _stream(problem, change.learner, change.course, lambda found: _faster(found, change.pages))
        case Sittings():
            return replace(
                problem, watched=tuple(max(0, n + change.more) if n else 0 for n in problem.watched)
            )
        case CourseStarted():
            return replace(problem, streams=(*problem.streams, change.stream))
        case CourseDropped():
            _stream(problem, change.learner, change.course, lambda found: found)
            key = (change.learner, change.course)
            return replace(
                problem,
                streams=tuple(s for s in problem.streams if (s.learner, s.course) != key),
                targets=tuple(t for t in problem.targets if (t.learner, t.course) != key),
            )


def compare(problem: Problem, changes: Sequence[Change], *, seed: int = 0, starts: int = 4) -> Difference:
    """Solve a problem as it is and with changes.

    Raises:
        InputError: as `apply` and `solve`.
    """
    changed = problem
    for change in changes:
        changed = apply(changed, change)
    return difference(solve(problem, seed=seed, starts=starts), solve(changed, seed=seed, starts=starts))


def difference(before: Answer, after: Answer) -> Difference:
    """What differs between two plans."""
    one = {found.target.key: found for found in before.targets}
    two = {found.target.key: found for found in after.targets}
    changes = [
        TargetChange(one.get(key), two.get(key))
        for key in sorted(one.keys() | two.keys())
        if one.get(key) != two.get(key)
    ]
    return Difference(before, after, tuple(changes), after.cost.points - before.cost.points)


def _span(problem: Problem, first: int, last: int) -> None:
    if not 0 <= first <= last < problem.horizon:
        allowed = say("days from 0 to {last}, the first not after the last", last=problem.horizon - 1)
        raise InputError([Wrong(say("days"), say("{first} to {last}", first=first, last=last), allowed)])


def _days_off(problem: Problem, change: DaysOff) -> Problem:
    _span(problem, change.first, change.last)

    def stay(found: LearnerLimits) -> LearnerLimits:
        here = [on and not change.first <= day <= change.last for day, on in enumerate(found.here)]
        return replace(found, here=tuple(here))

    if change.learner is not None:
        return _limits(problem, change.learner, stay)
    return replace(problem, learners=tuple(stay(found) for found in problem.learners))


def _limits(problem: Problem, learner: str, edit: Callable[[LearnerLimits], LearnerLimits]) -> Problem:
    known = [found.learner for found in problem.learners]
    if learner not in known:
        raise InputError(
            [Wrong(say("learner"), learner, say("one of {learners}", learners=", ".join(known)))]
        )
    edited = [edit(found) if found.learner == learner else found for found in problem.learners]
    return replace(problem, learners=tuple(edited))


def _stream(problem: Problem, learner: str, course: str, edit: Callable[[Stream], Stream]) -> Problem:
    key = (learner, course)
    if all((s.learner, s.course) != key for s in problem.streams):
        names = ", ".join(stream.course for stream in problem.streams if stream.learner == learner)
        allowed = say("one of {courses}", courses=names or say("no courses"))
        raise InputError([Wrong(say("course of {learner}", learner=learner), course, allowed)])
    edited = [edit(s) if (s.learner, s.course) == key else s for s in problem.streams]
    return replace(problem, streams=tuple(edited))


def _longer(found: LearnerLimits, halves: int) -> LearnerLimits:
    """Half days stay in proportion: nothing is added where a day has no minutes."""
    return replace(
        found,
        soft=tuple(max(0, n + halves) if n else 0 for n in found.soft),
        hard=tuple(max(0, n + halves) if n else 0 for n in found.hard),
    )


def _faster(found: Stream, pages: int) -> Stream:
    return replace(found, comfortable=found.comfortable + pages, most=found.most + pages)


def _extra_days(problem: Problem, change: ExtraDays) -> Problem:
    """Days are numbers, so all that is told by day is written anew; a new day has the minutes of the one before it."""
    new = sorted(set(change.days) - set(problem.days))
    if not new or new[0] <= problem.days[0]:
        found = ", ".join(map(str, change.days)) or say("none")
        allowed = say("days after {day} without school", day=problem.days[0])
        raise InputError([Wrong(say("extra days"), found, allowed)])
    days = sorted({*problem.days, *new})
    # The old day that each new number stands for, or, for a day that is new, the one before it.
    old: list[int] = []
    for day in days:
        old.append(old[-1] if day in new else problem.days.index(day))
    place = {problem.days.index(day): n for n, day in enumerate(days) if day not in new}

    def rows(values: tuple[Kind, ...]) -> tuple[Kind, ...]:
        return tuple(values[n] for n in old)

    def stream(found: Stream) -> Stream:
        told = [found.announced[n] for n in old if n < len(found.announced)]
        books = tuple(
            replace(b, ready_from=place.get(b.ready_from, b.ready_from + len(new))) for b in found.workbooks
        )
        return replace(
            found,
            workbooks=books,
            taught=tuple(True if day in new else found.taught[n] for day, n in zip(days, old, strict=True)),
            announced=tuple(told),
            fixed=tuple(Fixed(place[fixed.day], fixed.place) for fixed in found.fixed),
            unit_from=place.get(found.unit_from, found.unit_from),
        )

    return replace(
        problem,
        days=tuple(days),
        learners=tuple(
            replace(f, soft=rows(f.soft), hard=rows(f.hard), here=rows(f.here)) for f in problem.learners
        ),
        streams=tuple(stream(found) for found in problem.streams),
        watched=tuple(
            change.watched if day in new else problem.watched[n] for day, n in zip(days, old, strict=True)
        ),
        targets=tuple(replace(t, day=place[t.day]) for t in problem.targets),
    )
