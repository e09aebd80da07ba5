"""Judge a plan by the rules alone: a solver's, one edited by hand, one typed in from paper.

This file knows no solver and none of the tables that solvers use. It reads the goals of an answer in the order of days
and says every rule that they break.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from markstead.plan.answer import Answer, Goal
from markstead.plan.problem import Problem, Stream, WorkbookToDo
from markstead.plan.speech import Speech
from markstead.speech import and_words, say


class Rule(StrEnum):
    """What a goal can break."""

    UNKNOWN = "unknown"
    PAGES = "pages that the workbook has not"
    ORDER = "out of order"
    TOO_MANY = "too many pages"
    TWO_WORKBOOKS = "two workbooks on one day"
    NOT_TAUGHT = "not taught"
    AWAY = "learner away"
    NO_COPY = "no copy in the house"
    PRACTICE = "practice test before the last page"
    UNIT_EARLY = "unit test before the practice test"
    UNIT_SAME_DAY = "unit test on the day of the practice test"
    NOT_WATCHED = "nobody to watch"
    MORNING_FULL = "too many sittings on a morning"
    LEARNER_FULL = "too many sittings of a learner"
    OVER_HARD = "over the hard limit"
    UNIT_DAY_PAGES = "pages on the day of the unit test"
    FIXED = "not as fixed by hand"


@dataclass(frozen=True, slots=True)
class Breach:
    """One broken rule, on one day."""

    rule: Rule
    day: int
    where: str
    sentence: str


def breaches(problem: Problem, answer: Answer, speech: Speech | None = None) -> tuple[Breach, ...]:
    """Find every rule that the goals of an answer break; nothing for a plan that may be used."""
    speech = speech or Speech()
    by_stream: dict[tuple[str, str], list[Goal]] = defaultdict(list)
    found: list[Breach] = []
    known = {(stream.learner, stream.course) for stream in problem.streams}
    for goal in sorted(answer.goals, key=lambda goal: goal.day):
        if (goal.learner, goal.course) not in known or not 0 <= goal.day < problem.horizon:
            where = f"{goal.learner}, {goal.course}"
            said = say(
                "{who}: no such course or day {day}.", who=speech.who(goal.learner, goal.course), day=goal.day
            )
            found.append(Breach(Rule.UNKNOWN, goal.day, where, said))
        else:
            by_stream[goal.learner, goal.course].append(goal)
    for stream in problem.streams:
        found += _Walk(problem, stream, speech).judge(by_stream[stream.learner, stream.course])
    found += _mornings(problem, by_stream, speech)
    found += _minutes(problem, by_stream, speech)
    return tuple(sorted(found, key=lambda b: (b.day, b.where, b.rule)))


class _Walk:
    """A stream walked day by day along its goals."""

    def __init__(self, problem: Problem, stream: Stream, speech: Speech) -> None:
        self.problem, self.stream, self.speech = problem, stream, speech
        self.here = problem.limits(stream.learner).here
        self.place = stream.done
        self.opens = stream.unit_from
        """The first day for the unit test after the latest practice test."""
        self.found: list[Breach] = []

    def judge(self, goals: Sequence[Goal]) -> list[Breach]:
        by_day: dict[int, list[Goal]] = defaultdict(list)
        for goal in goals:
            by_day[goal.day].append(goal)
        fixed = {fixed.day: fixed.place for fixed in self.stream.fixed}
        for day in range(self.problem.horizon):
            self.one_day(day, by_day[day])
            if day in fixed and self.place != fixed[day]:
                wanted = self.speech.place(self.stream, fixed[day])
                now = self.speech.place(self.stream, self.place)
                said = say("{place} where {wanted} is set by hand", place=now, wanted=wanted)
                self.breach(Rule.FIXED, day, said)
        return self.found

    def one_day(self, day: int, goals: Sequence[Goal]) -> None:
        before = self.place
        for goal in sorted(goals, key=lambda goal: self.stream.index(goal.workbook) or 0):
            index = self.stream.index(goal.workbook)
            if index is None:
                self.breach(
                    Rule.UNKNOWN,
                    day,
                    say("the course has no workbook {title}", title=self.speech.workbook(goal.workbook)),
                )
                continue
            self.one_goal(day, goal, index, self.stream.workbooks[index])
        index, done = self.stream.at(before)
        if self.place == before and self.here[day] and self.stream.workbooks[index].passes(done):
            self.place += 1
        self.day_as_a_whole(day, goals)

    def one_goal(self, day: int, goal: Goal, index: int, book: WorkbookToDo) -> None:
        start, title = self.stream.start(index), self.speech.workbook(book.code)
        if not self.here[day]:
            self.breach(
                Rule.AWAY,
                day,
                say("{learner} does no school", learner=self.speech.learner(self.stream.learner)),
            )
        if goal.pages or goal.practice:
            if not self.stream.taught[day]:
                self.breach(Rule.NOT_TAUGHT, day, say("the course is not taught"))
            if day < book.ready_from:
                there = self.speech.on(self.problem, book.ready_from)
                self.breach(
                    Rule.NO_COPY,
                    day,
                    say("the copy of {title} is not in the house before {day}", title=title, day=there),
                )
        if goal.first is not None and goal.last is not None:
            self.pages(day, goal.first, goal.last, start, book)
        if goal.practice:
            if self.place != start + book.pages:
                self.breach(
                    Rule.PRACTICE,
                    day,
                    say("the practice test of {title} comes with or after its last page", title=title),
                )
            self.place = max(self.place, start + book.pages + 1)
            later = [d for d in range(day + 1, self.problem.horizon) if self.here[d]]
            self.opens = later[book.waits] if book.waits < len(later) else self.problem.horizon
        if goal.unit:
            self.unit(day, start, book)

    def pages(self, day: int, first: int, last: int, start: int, book: WorkbookToDo) -> None:
        title = self.speech.workbook(book.code)
        if not 1 <= first <= last <= book.pages:
            self.breach(
                Rule.PAGES,
                day,
                say(
                    "{title} has pages 1 to {pages}, not {first} to {last}",
                    title=title,
                    pages=book.pages,
                    first=first,
                    last=last,
                ),
            )
            return
        if start + first - 1 != self.place:
            now = self.speech.place(self.stream, self.place)
            self.breach(
                Rule.ORDER,
                day,
                say("page {number} of {title} does not follow {place}", number=first, title=title, place=now),
            )
        if last - first + 1 > self.stream.most:
            said = say("{n} pages are more than {most}", n=last - first + 1, most=self.stream.most)
            self.breach(Rule.TOO_MANY, day, said)
        self.place = max(self.place, start + last)

    def unit(self, day: int, start: int, book: WorkbookToDo) -> None:
        title = self.speech.workbook(book.code)
        if not start + book.pages < self.place < start + book.steps:
            self.breach(
                Rule.UNIT_EARLY,
                day,
                say("the unit test of {title} comes after its practice test", title=title),
            )
        elif day < self.opens:
            opens = self.speech.on(self.problem, self.opens)
            said = say(
                "the unit test of {title} opens on {day}, on a later school day than its practice test",
                title=title,
                day=opens,
            )
            self.breach(Rule.UNIT_SAME_DAY, day, said)
        if self.problem.watched[day] < 1:
            self.breach(Rule.NOT_WATCHED, day, say("nobody can watch the unit test of {title}", title=title))
        self.place = max(self.place, start + book.steps)

    def day_as_a_whole(self, day: int, goals: Sequence[Goal]) -> None:
        working = {goal.workbook for goal in goals if goal.pages or goal.practice}
        units = {goal.workbook for goal in goals if goal.unit}
        if len(working) > 1:
            self.breach(
                Rule.TWO_WORKBOOKS,
                day,
                say("pages in {workbooks}", workbooks=and_words(map(self.speech.workbook, sorted(working)))),
            )
        if len(goals) > 1 and sum(goal.pages for goal in goals) > self.stream.most:
            self.breach(Rule.TOO_MANY, day, say("more than {most} pages", most=self.stream.most))
        tested = any(goal.practice for goal in goals)
        if units and working and (not self.problem.next_same_day or tested):
            self.breach(Rule.UNIT_DAY_PAGES, day, say("a unit test and other work of the course"))

    def breach(self, rule: Rule, day: int, what: str) -> None:
        who = self.speech.who(self.stream.learner, self.stream.course)
        sentence = f"{who}, {self.speech.on(self.problem, day)}: {what}."
        self.found.append(Breach(rule, day, self.stream.name, sentence))


def _mornings(
    problem: Problem, by_stream: dict[tuple[str, str], list[Goal]], speech: Speech
) -> Iterator[Breach]:
    sittings: dict[int, list[str]] = defaultdict(list)
    for goals in by_stream.values():
        for goal in goals:
            if goal.unit:
                sittings[goal.day].append(goal.learner)
    for day, sitting in sorted(sittings.items()):
        most, on = problem.watched[day], speech.on(problem, day)
        if most and len(sitting) > most:
            said = say("{n} sittings where {most} can be watched", n=len(sitting), most=most)
            yield Breach(Rule.MORNING_FULL, day, "morning", f"{on}: {said}.")
        for learner in sorted(set(sitting)):
            if sitting.count(learner) > problem.sittings_a_learner:
                who = f"{speech.learner(learner)}, {on}"
                said = say(
                    "{n} unit tests; {most} a day may be sat",
                    n=sitting.count(learner),
                    most=problem.sittings_a_learner,
                )
                yield Breach(Rule.LEARNER_FULL, day, learner, f"{who}: {said}.")


def _minutes(
    problem: Problem, by_stream: dict[tuple[str, str], list[Goal]], speech: Speech
) -> Iterator[Breach]:
    halves: dict[tuple[str, int], int] = defaultdict(int)
    for stream in problem.streams:
        books = {book.code: book for book in stream.workbooks}
        for goal in by_stream[stream.learner, stream.course]:
            book = books.get(goal.workbook)
            if book is not None:
                halves[stream.learner, goal.day] += (
                    goal.pages * book.halves_a_page
                    + goal.practice * book.practice_halves
                    + goal.unit * book.unit_halves
                )
    for (learner, day), worked in sorted(halves.items()):
        hard = problem.limits(learner).hard[day]
        if worked > hard:
            who = f"{speech.learner(learner)}, {speech.on(problem, day)}"
            said = say(
                "{minutes:g} minutes, over the hard limit of {hard:g}", minutes=worked / 2, hard=hard / 2
            )
            yield Breach(Rule.OVER_HARD, day, learner, f"{who}: {said}.")
