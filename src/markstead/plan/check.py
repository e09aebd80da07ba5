"""Find what contradicts itself in a problem that a person gave, with its numbers, before any search."""

from collections.abc import Iterator

from markstead.errors import InputError
from markstead.errors import Problem as Wrong
from markstead.plan.moves import moves
from markstead.plan.problem import LearnerLimits, Problem, Stream
from markstead.plan.speech import Speech
from markstead.speech import say


def check(problem: Problem, speech: Speech | None = None) -> None:
    """Refuse a problem that contradicts itself; `speech` names the people and workbooks of goals set by hand.

    Raises:
        InputError: with one entry for every contradiction.
    """
    found = list(_wrong(problem, speech or Speech()))
    if found:
        raise InputError(found)


def _wrong(problem: Problem, speech: Speech) -> Iterator[Wrong]:
    if not problem.days:
        yield Wrong(
            say("the calendar"),
            say("0 school days"),
            say("at least one school day to plan"),
            say("Enter the next term."),
        )
        return
    if list(problem.days) != sorted(set(problem.days)):
        yield Wrong(say("the calendar"), say("days out of order"), say("school days one after the other"))
    if problem.sittings_a_learner < 1:
        yield Wrong(say("unit tests of a learner a day"), str(problem.sittings_a_learner), say("1 or more"))
    for day, watched in zip(problem.days, problem.watched, strict=True):
        if watched < 0:
            yield Wrong(say("sittings watched on {day}", day=day), str(watched), say("0 or more"))
    known = [limits.learner for limits in problem.learners]
    yield from _twice(problem, known)
    for limits in problem.learners:
        yield from _limits(problem, limits)
    for stream in problem.streams:
        if stream.learner not in known:
            yield Wrong(
                say("{stream}, learner", stream=stream.name),
                stream.learner,
                say("one of {learners}", learners=", ".join(known) or say("no learners")),
            )
        else:
            yield from _stream(problem, stream, speech)
    yield from _targets(problem)


def _twice(problem: Problem, known: list[str]) -> Iterator[Wrong]:
    for learner in sorted({name for name in known if known.count(name) > 1}):
        yield Wrong(
            say("{learner}, limits", learner=learner),
            say("{n} of them", n=known.count(learner)),
            say("one for each learner"),
        )
    names = [stream.name for stream in problem.streams]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield Wrong(name, say("{n} streams", n=names.count(name)), say("one for each learner and course"))


def _limits(problem: Problem, limits: LearnerLimits) -> Iterator[Wrong]:
    for day, soft, hard in zip(problem.days, limits.soft, limits.hard, strict=True):
        if not 0 <= soft <= hard:
            yield Wrong(
                say("{learner}, minutes on {day}", learner=limits.learner, day=day),
                say("a soft limit of {soft:g} and a hard limit of {hard:g}", soft=soft / 2, hard=hard / 2),
                say("a soft limit from 0 up to the hard limit"),
            )
            return


def _stream(problem: Problem, stream: Stream, speech: Speech) -> Iterator[Wrong]:
    name = stream.name
    if not stream.workbooks:
        yield Wrong(
            say("{stream}, workbooks", stream=name),
            say("none"),
            say("at least one"),
            say("Add its workbooks or drop the course."),
        )
        return
    codes = [book.code for book in stream.workbooks]
    for code in sorted({code for code in codes if codes.count(code) > 1}):
        yield Wrong(
            say("{stream}, workbook {workbook}", stream=name, workbook=code),
            say("{n} times", n=codes.count(code)),
            say("once in a course"),
        )
    if not 0 <= stream.least <= stream.comfortable <= stream.most or stream.most < 1:
        yield Wrong(
            say("{stream}, pages a day", stream=name),
            say(
                "least {least}, comfortable {comfortable}, most {most}",
                least=stream.least,
                comfortable=stream.comfortable,
                most=stream.most,
            ),
            say("numbers that rise from least to most, the last at least 1"),
        )
    if stream.weight < 1:
        yield Wrong(say("{stream}, weight", stream=name), str(stream.weight), say("1 or more"))
    if not 0 <= stream.done <= stream.steps:
        yield Wrong(
            say("{stream}, steps done", stream=name),
            str(stream.done),
            say("from 0 to {most}", most=stream.steps),
        )
        return
    if stream.line is not None and not 0 <= stream.line <= stream.steps:
        yield Wrong(
            say("{stream}, the year's line", stream=name),
            str(stream.line),
            say("from 0 to {most}", most=stream.steps),
        )
    if len(stream.announced) > problem.horizon:
        yield Wrong(
            say("{stream}, announced days", stream=name),
            str(len(stream.announced)),
            say("at most {most}, the days planned", most=problem.horizon),
        )
    if any(not 0 <= place <= stream.steps for place in stream.announced):
        yield Wrong(
            say("{stream}, announced steps", stream=name),
            str(stream.announced),
            say("each from 0 to {most}", most=stream.steps),
        )
    yield from _fixed(problem, stream, speech)


def _fixed(problem: Problem, stream: Stream, speech: Speech) -> Iterator[Wrong]:
    """Fixed goals must lie in reach of each other, whatever other streams do."""
    seen: dict[int, int] = {}
    for fixed in stream.fixed:
        where = say("{stream}, goal fixed on day {number}", stream=stream.name, number=fixed.day)
        if not 0 <= fixed.day < problem.horizon:
            yield Wrong(where, str(fixed.day), say("a day from 0 to {last}", last=problem.horizon - 1))
            return
        if seen.setdefault(fixed.day, fixed.place) != fixed.place:
            found = say("{one} and {other} steps", one=seen[fixed.day], other=fixed.place)
            yield Wrong(where, found, say("one goal for a day"), say("Keep one of the two."))
            return
    reached = {stream.done}
    limits = problem.limits(stream.learner)
    if not seen:
        return
    for day in range(max(seen) + 1):
        reached = {m.to for p in reached for m in moves(problem, stream, limits, day, p)}
        if day in seen:
            if seen[day] not in reached:
                least, most = (speech.place(stream, place) for place in (min(reached), max(reached)))
                yield Wrong(
                    say(
                        "{who}, goal set by hand for {day}",
                        who=speech.who(stream.learner, stream.course),
                        day=speech.on(problem, day),
                    ),
                    speech.place(stream, seen[day]),
                    say("from {least} to {most}, which can be reached by then", least=least, most=most),
                    say("Move the goal, or those set by hand before it."),
                )
                return
            reached = {seen[day]}


def _targets(problem: Problem) -> Iterator[Wrong]:
    streams = {(stream.learner, stream.course): stream for stream in problem.streams}
    seen: set[tuple[str, str, str]] = set()
    for target in problem.targets:
        where = say("target {workbook} of {learner}", workbook=target.workbook, learner=target.learner)
        stream = streams.get((target.learner, target.course))
        if stream is None:
            yield Wrong(
                where,
                say("course {course}", course=target.course),
                say("a course of this learner that is planned"),
            )
        elif stream.index(target.workbook) is None:
            codes = ", ".join(book.code for book in stream.workbooks)
            yield Wrong(
                where, target.workbook, say("one of {workbooks}", workbooks=codes or say("no workbooks"))
            )
        if not problem.days or target.day >= problem.horizon:
            yield Wrong(
                where,
                say("day {number}", number=target.day),
                say("a day from 0 to {last}", last=problem.horizon - 1),
            )
        elif target.day < 0:
            found = say("{n} school days before the first day, {day}", n=-target.day, day=problem.days[0])
            yield Wrong(
                where, found, say("{day} or later", day=problem.days[0]), say("Move the target or strike it.")
            )
        if target.key in seen:
            yield Wrong(where, say("two targets"), say("one for each workbook"))
        seen.add(target.key)
