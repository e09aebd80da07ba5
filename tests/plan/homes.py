"""Invented homes: a school year of some learners, and small random problems. Seeds make them; nobody lives there."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from markstead.plan.problem import Fixed, LearnerLimits, Points, Problem, Stream, Target, WorkbookToDo

FIRST = date(2026, 9, 1)


def school_days(count: int) -> tuple[date, ...]:
    """Weekdays in a row."""
    days, day = [], FIRST
    while len(days) < count:
        if day.weekday() < 5:
            days.append(day)
        day += timedelta(days=1)
    return tuple(days)


def workbook(rng: np.random.Generator, code: str, minutes: float, ready: int) -> WorkbookToDo:
    """25 to 45 pages in sections of 4 to 8."""
    pages = int(rng.integers(25, 46))
    ends, last = [], 0
    while pages - last > 8:
        last += int(rng.integers(4, 9))
        if pages - last < 4:
            last = pages - 4
        ends.append(last)
    ends.append(pages)
    each = max(2, round(2 * minutes * rng.uniform(0.9, 1.1)))
    return WorkbookToDo(
        code,
        pages,
        tuple(sorted(set(ends))),
        each,
        2 * int(rng.integers(20, 41)),
        2 * int(rng.integers(30, 51)),
        ready,
    )


def home(
    seed: int, load: float, learners: int, courses: int = 6, horizon: int = 191, books: int = 12
) -> Problem:
    """A school year: every workbook but the last has a target, spread evenly over the year.

    The soft limit of a learner is what the year's work asks for a day, divided by `load`.
    """
    rng = np.random.default_rng([2026, seed, learners, courses, horizon, round(100 * load)])
    year = 191
    # A short horizon is the beginning of a year: only the workbooks of that part are planned, and the next.
    sittings = max(2, round(0.75 * learners))
    watched = tuple(0 if rng.random() < 1 / 7 else sittings for _ in range(horizon))
    streams: list[Stream] = []
    limits: list[LearnerLimits] = []
    targets: list[Target] = []
    for n in range(learners):
        learner = f"L{n + 1}"
        work = 0.0
        for c in range(courses):
            minutes = rng.uniform(5, 12)
            due = np.round(np.linspace(0, year, books + 1)[1:]).astype(int) - 1
            due = due - rng.integers(0, 12, books)
            todo = []
            for b in range(books):
                late = rng.random() < 0.05
                ready = max(0, int(due[b - 1]) - 10) if b and not late else 0
                if late and b:
                    ready = int(due[b - 1]) + int(rng.integers(0, 4))
                todo.append(workbook(rng, f"c{c + 1}-{b + 1:02}", minutes, ready))
            work += sum(b.pages * b.halves_a_page + b.practice_halves + b.unit_halves for b in todo)
            needed = [b for b in range(books) if due[b] < horizon]
            kept = todo[: len(needed) + 1]
            taught = tuple(bool(rng.random() < 0.95) for _ in range(horizon))
            pages = sum(b.pages for b in todo)
            usual = pages / (year - 2 * books)
            shape = {"least": max(1, int(usual) - 1), "comfortable": int(usual) + 2, "most": int(usual) + 5}
            done = 0
            stream = Stream(
                learner, f"c{c + 1}", tuple(kept), taught, weight=int(rng.integers(1, 4)), done=done, **shape
            )
            if horizon < year or len(kept) < books + 1:
                at = horizon / year * books
                line = stream.start(min(int(at), len(kept) - 1)) + int(
                    (at - int(at)) * kept[min(int(at), len(kept) - 1)].steps
                )
                stream = replace(stream, line=min(line, stream.steps))
            streams.append(stream)
            targets += [Target(learner, stream.course, todo[b].code, int(due[b])) for b in needed]
        soft = round(work / year / load)
        limits.append(
            LearnerLimits(learner, (soft,) * horizon, (round(1.3 * soft),) * horizon, (True,) * horizon)
        )
    return Problem(school_days(horizon), tuple(limits), tuple(streams), watched, tuple(targets))


def small(
    rng: np.random.Generator, *, streams: int = 2, days: int = 8, fixed: bool = False, exact: bool = False
) -> Problem:
    """A problem of a few days in which everything binds now and then."""
    horizon = days if exact else int(rng.integers(2, days + 1))
    count = streams if exact else int(rng.integers(1, streams + 1))
    names = [f"L{n + 1}" for n in range(int(rng.integers(1, count + 1)))]
    found = [_small_stream(rng, names[n % len(names)], f"c{n + 1}", horizon) for n in range(count)]
    limits = []
    for name in names:
        soft = [int(rng.integers(20, 90)) for _ in range(horizon)]
        limits.append(
            LearnerLimits(
                name,
                tuple(soft),
                tuple(s + int(rng.integers(0, 60)) for s in soft),
                tuple(bool(rng.random() < 0.9) for _ in range(horizon)),
            )
        )
    targets = [
        Target(s.learner, s.course, book.code, int(rng.integers(0, horizon)))
        for s in found
        for book in s.workbooks
        if rng.random() < 0.7
    ]
    problem = Problem(
        school_days(horizon),
        tuple(limits),
        tuple(found),
        tuple(int(rng.choice([0, 1, 1, 2])) for _ in range(horizon)),
        tuple(targets),
        int(rng.integers(1, 3)),
        bool(rng.random() < 0.5),
        Points(test_waits=int(rng.choice([0, 3])), close=int(rng.choice([0, 2]))),
        int(rng.integers(0, 5)),
    )
    return _with_fixed(rng, problem) if fixed else problem


def _small_stream(rng: np.random.Generator, learner: str, course: str, horizon: int) -> Stream:
    books = []
    waits = int(rng.choice([0, 0, 0, 1, 2]))
    for b in range(int(rng.integers(1, 4))):
        pages = int(rng.integers(1, 9))
        cuts = sorted({*rng.integers(1, pages + 1, 2).tolist(), pages})
        books.append(
            WorkbookToDo(
                f"{course}-{b + 1}",
                pages,
                tuple(cuts),
                int(rng.integers(4, 30)),
                int(rng.integers(10, 60)),
                int(rng.integers(10, 60)),
                int(rng.choice([0, 0, 1, 3])) if b else 0,
                waits,
            )
        )
    most, least = int(rng.integers(2, 7)), int(rng.integers(0, 3))
    stream = Stream(
        learner,
        course,
        tuple(books),
        tuple(bool(rng.random() < 0.85) for _ in range(horizon)),
        least=least,
        comfortable=int(rng.integers(max(1, least), most + 1)),
        most=most,
        weight=int(rng.integers(1, 4)),
    )
    done = int(rng.integers(0, books[0].pages + 2))
    told = np.cumsum(rng.integers(0, 4, int(rng.integers(0, 4)))) + done
    at_test = done == books[0].pages + 1
    done += waits * at_test
    return replace(
        stream,
        done=done,
        unit_from=int(rng.integers(0, 2)) if at_test else 0,
        announced=tuple(min(int(t), stream.steps) for t in told)[:horizon],
        line=int(rng.integers(0, stream.steps + 1)) if rng.random() < 0.7 else None,
    )


def _with_fixed(rng: np.random.Generator, problem: Problem) -> Problem:
    stream = problem.streams[0]
    day = int(rng.integers(0, problem.horizon))
    place = min(stream.steps, stream.done + int(rng.integers(0, 6)))
    return replace(problem, streams=(replace(stream, fixed=(Fixed(day, place),)), *problem.streams[1:]))
