"""Why a target is at risk, and ways out that were each solved before they are named."""

from dataclasses import dataclass, replace
from enum import StrEnum

from markstead.plan.answer import Answer, Outcome, TargetDay, steps_taken, write_out
from markstead.plan.check import check
from markstead.plan.moves import HALF
from markstead.plan.polish import stand
from markstead.plan.problem import Problem, Stream, Target
from markstead.plan.reach import keeping_cost, number_of, soonest
from markstead.plan.respond import Household, NoWayError, forbid, search, trade
from markstead.plan.speech import Speech
from markstead.plan.stream import Path, load_cost
from markstead.plan.ways import Try, tries
from markstead.plan.whatif import Change, TargetDropped, apply
from markstead.speech import and_words, counted, plural, say

WAYS = 3


class Binding(StrEnum):
    """What keeps a target from being met."""

    COPY = "copy"
    PACE = "pages a day"
    MINUTES = "minutes"
    MORNINGS = "mornings"
    WEIGHED = "weighed"


@dataclass(frozen=True, slots=True)
class Reason:
    """The binding reason of one target at risk, as a sentence with its numbers."""

    target: Target
    binding: Binding
    sentence: str


@dataclass(frozen=True, slots=True)
class WayOut:
    """A change under which a target is met: solved, not guessed."""

    target: Target
    change: Change
    sentence: str
    answer: Answer
    points: float
    """What the whole plan costs more (below nothing: less) than the plan that is explained."""


def at_risk(answer: Answer) -> tuple[TargetDay, ...]:
    """Targets that a plan misses."""
    return tuple(found for found in answer.targets if found.late > 0)


def reasons(problem: Problem, answer: Answer, speech: Speech | None = None) -> tuple[Reason, ...]:
    """Say of every target at risk what binds, by solving its stream again with one thing made free at a time."""
    if not at_risk(answer):
        return ()
    home = Household(problem)
    stand(home, answer.places)
    return tuple(_reason(home, found.target, speech or Speech()) for found in at_risk(answer))


def _reason(home: Household, target: Target, speech: Speech) -> Reason:
    problem = home.problem
    stream = problem.streams[number_of(problem, target.learner, target.course)]
    alone = soonest(problem, stream, problem.goal_place(stream, target))
    if alone is None or alone > target.day:
        binding, because = _alone(problem, stream, target, alone, speech)
    else:
        binding, because = _beside(home, target, speech)
    who, due = speech.who(target.learner, target.course), speech.on(problem, target.day)
    return Reason(
        target,
        binding,
        say(
            "{who}: {title} is to be done by {day}. {because}.",
            who=who,
            title=speech.workbook(target.workbook),
            day=due,
            because=because,
        ),
    )


def _alone(
    problem: Problem, stream: Stream, target: Target, alone: int | None, speech: Speech
) -> tuple[Binding, str]:
    """What binds where the target is out of reach even if the learner did nothing else."""
    goal = problem.goal_place(stream, target)
    books = stream.workbooks[: (stream.index(target.workbook) or 0) + 1]
    here = replace(stream, workbooks=tuple(replace(book, ready_from=0) for book in stream.workbooks))
    with_copies = soonest(problem, here, goal)
    if with_copies is not None and with_copies <= target.day:
        last = max(books, key=lambda book: book.ready_from)
        there = speech.on(problem, last.ready_from)
        if last.code == target.workbook:
            return Binding.COPY, say("Its copy is not in the house before {day}", day=there)
        title = speech.workbook(last.code)
        return Binding.COPY, say(
            "The copy of {title} is not in the house before {day}", title=title, day=there
        )
    return Binding.PACE, _too_much(stream, goal, None if alone is None else speech.on(problem, alone))


def _too_much(stream: Stream, goal: int, soonest: str | None) -> str:
    """How much is left, and when it can be done; None: not within the days that are planned."""
    pages, tests = _left(stream, goal)
    work = [
        *([plural(pages, "page")] if pages else []),
        *([plural(tests, "test")] if tests else []),
    ]
    values = {"work": and_words(work), "most": plural(stream.most, "page"), "day": soonest}
    if pages and soonest is not None:
        return counted(
            pages + tests,
            "{work} is left, with at most {most} a day, and can be done on {day} at the soonest, "
            "even without other courses",
            "{work} are left, with at most {most} a day, and can be done on {day} at the soonest, "
            "even without other courses",
            **values,
        )
    if pages:
        return counted(
            pages + tests,
            "{work} is left, with at most {most} a day, and can be done not within the days that are planned, "
            "even without other courses",
            "{work} are left, with at most {most} a day, and can be done not within the days that are planned, "
            "even without other courses",
            **values,
        )
    if soonest is not None:
        return counted(
            tests,
            "{work} is left and can be done on {day} at the soonest, even without other courses",
            "{work} are left and can be done on {day} at the soonest, even without other courses",
            **values,
        )
    return counted(
        tests,
        "{work} is left and can be done not within the days that are planned, even without other courses",
        "{work} are left and can be done not within the days that are planned, even without other courses",
        **values,
    )


def _left(stream: Stream, goal: int) -> tuple[int, int]:
    """Pages and tests between where a stream stands and a place."""
    pages = tests = 0
    for index, book in enumerate(stream.workbooks):
        start = stream.start(index)
        if start >= goal:
            break
        pages += max(0, start + book.pages - max(start, stream.done))
        tests += (stream.done <= start + book.pages) + (stream.done < start + book.steps)
    return pages, tests


def _beside(home: Household, target: Target, speech: Speech) -> tuple[Binding, str]:
    """What binds where the target is in reach of its course alone, but not beside the others as they are."""
    problem = home.problem
    n = number_of(problem, target.learner, target.course)
    stream = problem.streams[n]
    goal = problem.goal_place(stream, target)
    path = home.take(n)
    assert path is not None
    other, full = home.load[home.learner[n]].copy(), home.full(n)
    home.put(n, path)
    beside = soonest(problem, stream, goal, other, full)
    if beside is not None and beside <= target.day:
        kept = keeping_cost(problem, stream, target, other, full)
        now = path.own + load_cost(problem, problem.limits(stream.learner).soft, path.halves + other)
        points = plural(max(0, kept - now) / HALF, "point")
        return (
            Binding.WEIGHED,
            say(
                "That can be done, but would cost the rest of the plan {points} more than it saves",
                points=points,
            ),
        )
    roomy = soonest(problem, stream, goal, other)
    if roomy is not None and roomy <= target.day:
        count, until = int(full[: target.day + 1].sum()), target.day + 1
        said = say(
            "No sitting is free in time: {taken} of {mornings} mornings are taken, or nobody is there to watch",
            taken=count,
            mornings=until,
        )
        return Binding.MORNINGS, said
    worked, hard = (
        sum(row[: target.day + 1]) / HALF / (target.day + 1)
        for row in (other.tolist(), problem.limits(stream.learner).hard)
    )
    return Binding.MINUTES, (
        say(
            "The other courses of {learner} take {minutes:.0f} minutes a day until then, "
            "of {most:.0f} at most, and too little is left",
            learner=speech.learner(stream.learner),
            minutes=worked,
            most=hard,
        )
    )


def ways_out(
    problem: Problem, answer: Answer, *, seed: int = 0, speech: Speech | None = None
) -> tuple[WayOut, ...]:
    """Find up to three ways out for every target at risk, the cheapest plan first.

    Of each kind (pages a day, minutes a day, Saturdays, a later day for the target or for another workbook of the
    learner, one more sitting a morning) the smallest that works is kept: the plan solved under it meets the target and
    makes no other target late that was not.

    Args:
        problem: what was planned.
        answer: its plan.
        seed: of the plans that are solved.
        speech: names in the sentences.
    """
    speech = speech or Speech()
    found: list[WayOut] = []
    for risk, reason in zip(at_risk(answer), reasons(problem, answer), strict=True):
        search_ = _Search(problem, answer, risk, seed)
        crowded = reason.binding not in (Binding.COPY, Binding.PACE)
        mine = [
            way
            for kind in tries(problem, risk, speech, crowded=crowded, later=search_.later)
            if (way := search_.smallest(kind)) is not None
        ]
        found += sorted(mine, key=lambda way: way.points)[:WAYS]
    return tuple(found)


class _Search:
    """The ways out of one target."""

    def __init__(self, problem: Problem, answer: Answer, risk: TargetDay, seed: int) -> None:
        self.problem, self.answer, self.risk, self.seed = problem, answer, risk, seed
        self.standing = [answer]
        """Plans to begin from."""
        self.late_before = {found.target.key for found in at_risk(answer)}

    def smallest(self, kind: Try) -> WayOut | None:
        """The first change of a kind under which the target is met."""
        for change, sentence in kind:
            changed = apply(self.problem, change)
            if not self._in_reach(changed):
                continue
            solved = self._solved(changed)
            if solved is not None:
                points = solved.cost.points - self.answer.cost.points
                return WayOut(self.risk.target, change, sentence, solved, points)
        return None

    def later(self, other: Target) -> int | None:
        """The first day on which another target fits if it waits for this one; None where that does not help."""
        dropped = apply(self.problem, TargetDropped(other))
        solved = self._solved(dropped)
        if solved is None:
            return None
        home = Household(dropped)
        stand(home, solved.places)
        n = number_of(dropped, other.learner, other.course)
        home.take(n)
        stream = dropped.streams[n]
        goal = dropped.goal_place(stream, other)
        day = soonest(dropped, stream, goal, home.load[home.learner[n]], home.full(n))
        if day is None or day <= other.day:
            return None
        self.standing.insert(0, solved)
        return day

    def _in_reach(self, changed: Problem) -> bool:
        """Whether the target is in reach of its course alone: if not, nothing needs to be solved."""
        target = next(t for t in changed.targets if t.key == self.risk.target.key)
        stream = changed.streams[number_of(changed, target.learner, target.course)]
        day = soonest(changed, stream, changed.goal_place(stream, target))
        return day is not None and day <= target.day

    def _solved(self, changed: Problem) -> Answer | None:
        """A plan that meets the target and makes no other late: from the plan that stands, or else made anew."""
        check(changed)
        home = Household(changed)
        begins: list[list[Path] | None] = []
        for standing in self.standing:
            carried = _carried(self.problem, changed, standing)
            if carried is not None:
                home.clear()
                stand(home, carried)
                begins.append([path for path in home.paths if path is not None])
        begins.append(None)
        for begin in begins:
            try:
                search(home, self.seed, begin)
                for traded in (False, True):
                    if traded and trade(home, self.seed):
                        forbid(home, self.seed)
                    solved = write_out(changed, home.places(), Outcome.GOOD, self.seed)
                    if self._meets(solved):
                        return solved
            except NoWayError:  # beside goals fixed by hand
                continue
        return None

    def _meets(self, solved: Answer) -> bool:
        late = {found.target.key for found in at_risk(solved)}
        return self.risk.target.key not in late and late <= self.late_before


def _carried(problem: Problem, changed: Problem, answer: Answer) -> list[tuple[int, ...]] | None:
    """The plan as it stands on the days of a changed problem; None where a rule of its streams forbids that."""
    number = {day: n for n, day in enumerate(problem.days)}
    found = []
    for stream, path in zip(changed.streams, answer.places, strict=True):
        places, now = [], stream.done
        for day in changed.days:
            if day in number:
                now = path[number[day]]
            places.append(now)
        found.append(tuple(places))
    try:
        for stream, places_ in zip(changed.streams, found, strict=True):
            for _ in steps_taken(changed, stream, places_):
                pass
    except ValueError:
        return None
    return found
