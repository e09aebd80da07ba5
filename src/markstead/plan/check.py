"""Find what contradicts itself in a problem that a person gave, with its numbers, before any search."""

from collections.abc import Iterator

from markstead.errors import InputError
from markstead.errors import Problem as Wrong
from markstead.plan.moves import moves
from markstead.plan.problem import LearnerLimits, Problem, Stream
from markstead.plan.speech import Speech


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
            "the calendar", "0 school days", "at least one school day to plan", "Enter the next term."
        )
        return
    if list(problem.days) != sorted(set(problem.days)):
        yield Wrong("the calendar", "days out of order", "school days one after the other")
    if problem.sittings_a_learner < 1:
        yield Wrong("unit tests of a learner a day", str(problem.sittings_a_learner), "1 or more")
    for day, watched in zip(problem.days, problem.watched, strict=True):
        if watched < 0:
            yield Wrong(f"sittings watched on {day}", str(watched), "0 or more")
    known = [limits.learner for limits in problem.learners]
    yield from _twice(problem, known)
    for limits in problem.learners:
        yield from _limits(problem, limits)
    for stream in problem.streams:
        if stream.learner not in known:
            yield Wrong(
                f"{stream.name}, learner", stream.learner, f"one of {', '.join(known) or 'no learners'}"
            )
        else:
            yield from _stream(problem, stream, speech)
    yield from _targets(problem)


def _twice(problem: Problem, known: list[str]) -> Iterator[Wrong]:
    for learner in sorted({name for name in known if known.count(name) > 1}):
        yield Wrong(f"{learner}, limits", f"{known.count(learner)} of them", "one for each learner")
    names = [stream.name for stream in problem.streams]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield Wrong(name, f"{names.count(name)} streams", "one for each learner and course")


def _limits(problem: Problem, limits: LearnerLimits) -> Iterator[Wrong]:
    for day, soft, hard in zip(problem.days, limits.soft, limits.hard, strict=True):
        if not 0 <= soft <= hard:
            yield Wrong(
                f"{limits.learner}, minutes on {day}",
                f"a soft limit of {soft / 2:g} and a hard limit of {hard / 2:g}",
                "a soft limit from 0 up to the hard limit",
            )
            return


def _stream(problem: Problem, stream: Stream, speech: Speech) -> Iterator[Wrong]:
    name = stream.name
    if not stream.workbooks:
        yield Wrong(f"{name}, workbooks", "none", "at least one", "Add its workbooks or drop the course.")
        return
    codes = [book.code for book in stream.workbooks]
    for code in sorted({code for code in codes if codes.count(code) > 1}):
        yield Wrong(f"{name}, workbook {code}", f"{codes.count(code)} times", "once in a course")
    if not 0 <= stream.least <= stream.comfortable <= stream.most or stream.most < 1:
        yield Wrong(
            f"{name}, pages a day",
            f"least {stream.least}, comfortable {stream.comfortable}, most {stream.most}",
            "numbers that rise from least to most, the last at least 1",
        )
    if stream.weight < 1:
        yield Wrong(f"{name}, weight", str(stream.weight), "1 or more")
    if not 0 <= stream.done <= stream.steps:
        yield Wrong(f"{name}, steps done", str(stream.done), f"from 0 to {stream.steps}")
        return
    if stream.line is not None and not 0 <= stream.line <= stream.steps:
        yield Wrong(f"{name}, the year's line", str(stream.line), f"from 0 to {stream.steps}")
    if len(stream.announced) > problem.horizon:
        yield Wrong(
            f"{name}, announced days",
            str(len(stream.announced)),
            f"at most {problem.horizon}, the days planned",
        )
    if any(not 0 <= place <= stream.steps for place in stream.announced):
        yield Wrong(f"{name}, announced steps", str(stream.announced), f"each from 0 to {stream.steps}")
    yield from _fixed(problem, stream, speech)


def _fixed(problem: Problem, stream: Stream, speech: Speech) -> Iterator[Wrong]:
    """Fixed goals must lie in reach of each other, whatever other streams do."""
    seen: dict[int, int] = {}
    for fixed in stream.fixed:
        where = f"{stream.name}, goal fixed on day {fixed.day}"
        if not 0 <= fixed.day < problem.horizon:
            yield Wrong(where, str(fixed.day), f"a day from 0 to {problem.horizon - 1}")
            return
        if seen.setdefault(fixed.day, fixed.place) != fixed.place:
            found = f"{seen[fixed.day]} and {fixed.place} steps"
            yield Wrong(where, found, "one goal for a day", "Keep one of the two.")
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
                    f"{speech.who(stream.learner, stream.course)}, goal set by hand for {speech.on(problem, day)}",
                    speech.place(stream, seen[day]),
                    f"from {least} to {most}, which can be reached by then",
                    "Move the goal, or those set by hand before it.",
                )
                return
            reached = {seen[day]}


def _targets(problem: Problem) -> Iterator[Wrong]:
    streams = {(stream.learner, stream.course): stream for stream in problem.streams}
    seen: set[tuple[str, str, str]] = set()
    for target in problem.targets:
        where = f"target {target.workbook} of {target.learner}"
        stream = streams.get((target.learner, target.course))
        if stream is None:
            yield Wrong(where, f"course {target.course}", "a course of this learner that is planned")
        elif stream.index(target.workbook) is None:
            codes = ", ".join(book.code for book in stream.workbooks)
            yield Wrong(where, target.workbook, f"one of {codes or 'no workbooks'}")
        if not problem.days or target.day >= problem.horizon:
            yield Wrong(where, f"day {target.day}", f"a day from 0 to {problem.horizon - 1}")
        elif target.day < 0:
            found = f"{-target.day} school days before the first day, {problem.days[0]}"
            yield Wrong(where, found, f"{problem.days[0]} or later", "Move the target or strike it.")
        if target.key in seen:
            yield Wrong(where, "two targets", "one for each workbook")
        seen.add(target.key)
