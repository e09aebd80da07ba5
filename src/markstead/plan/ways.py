"""What may be tried so that a target is met: changes of each kind, the smallest first, each with its sentence."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta

from markstead.plan.answer import TargetDay
from markstead.plan.moves import HALF
from markstead.plan.problem import Problem, Target
from markstead.plan.reach import number_of
from markstead.plan.speech import Speech
from markstead.plan.whatif import Change, ExtraDays, Minutes, Pages, Sittings, TargetSet
from markstead.speech import and_words, plural, say

PAGES_MORE = (1, 2, 3)
MINUTES_MORE = (10, 20, 30)
SATURDAYS = (1, 2, 4)
"""Numbers of Saturdays that are tried before all of them."""
OTHERS = 3
"""Workbooks of the learner that are tried a later day."""
NAMED = 3
"""Saturdays that are named one by one; more are told from the first to the last."""

Try = Iterable[tuple[Change, str]]
"""Changes of one kind, the smallest first."""


def tries(
    problem: Problem,
    risk: TargetDay,
    speech: Speech,
    *,
    crowded: bool,
    later: Callable[[Target], int | None],
) -> Iterator[Try]:
    """Give every kind of change that may help a target.

    Args:
        problem: what was planned.
        risk: the target that is missed.
        speech: names in the sentences.
        crowded: whether other courses stand in its way, so that making room can help.
        later: is asked on which day another target is met if it waits for this one.
    """
    yield _pages(problem, risk.target, speech)
    yield _saturdays(problem, risk.target, speech)
    yield _target_later(problem, risk, speech)
    if crowded:
        yield _minutes(risk.target, speech)
        yield _others_later(problem, risk.target, speech, later)
        yield [(Sittings(1), say("One more sitting watched on every morning."))]


def _pages(problem: Problem, target: Target, speech: Speech) -> Try:
    stream = problem.streams[number_of(problem, target.learner, target.course)]
    who = speech.who(target.learner, target.course)
    for more in PAGES_MORE:
        said = say(
            "{who}: {pages} more a day, {most} at most.",
            who=who,
            pages=plural(more, "page"),
            most=stream.most + more,
        )
        yield Pages(target.learner, target.course, more), said


def _minutes(target: Target, speech: Speech) -> Try:
    for more in MINUTES_MORE:
        said = say(
            "{learner} works up to {n} minutes more a day.", learner=speech.learner(target.learner), n=more
        )
        yield Minutes(target.learner, HALF * more), said


def _target_later(problem: Problem, risk: TargetDay, speech: Speech) -> Try:
    if risk.day is not None:
        yield TargetSet(replace(risk.target, day=risk.day)), _instead(problem, risk.target, risk.day, speech)


def _others_later(
    problem: Problem, target: Target, speech: Speech, later: Callable[[Target], int | None]
) -> Try:
    """Other workbooks of the learner: those that count least first, and of these those due nearest to the target."""
    weights = {(s.learner, s.course): s.weight for s in problem.streams}
    others = [
        t for t in problem.targets if t.learner == target.learner and t.course != target.course and t.day >= 0
    ]
    others.sort(key=lambda t: (weights[t.learner, t.course], abs(t.day - target.day), t.course, t.workbook))
    for other in others[:OTHERS]:
        day = later(other)
        if day is not None:
            yield TargetSet(replace(other, day=day)), _instead(problem, other, day, speech)


def _instead(problem: Problem, target: Target, day: int, speech: Speech) -> str:
    who, title = speech.who(target.learner, target.course), speech.workbook(target.workbook)
    return say(
        "{who}: {title} by {day} instead of {before}.",
        who=who,
        title=title,
        day=speech.on(problem, day),
        before=speech.on(problem, target.day),
    )


def _saturdays(problem: Problem, target: Target, speech: Speech) -> Try:
    """The first Saturdays, then the last before the target: a copy that comes late leaves only those."""
    every = tuple(_every_saturday(problem, target.day))
    for count in (*(n for n in SATURDAYS if n < len(every)), len(every)):
        if not count:
            return
        for days in dict.fromkeys((every[:count], every[-count:])):
            yield ExtraDays(days), _school_on(days, speech)


def _school_on(days: Sequence[date], speech: Speech) -> str:
    said = [speech.day(day) for day in days]
    if len(days) == 1:
        return say("School on Saturday {day}.", day=said[0])
    if len(days) <= NAMED:
        return say("School on {n} Saturdays: {days}.", n=len(days), days=and_words(said))
    return say("School on {n} Saturdays, from {first} to {last}.", n=len(days), first=said[0], last=said[-1])


def _every_saturday(problem: Problem, until: int) -> Iterator[date]:
    day = problem.days[0] + timedelta(days=1)
    while day < problem.days[until]:
        if day.weekday() == 5 and day not in problem.days:
            yield day
        day += timedelta(days=1)
