"""How the planner names people, workbooks, days and places in a sentence."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from markstead.plan.problem import Problem, Stream, WorkbookToDo
from markstead.speech import date_words, say


@dataclass(frozen=True, slots=True)
class Speech:
    """Names by code; a code without a name is written itself."""

    learners: Mapping[str, str] = field(default_factory=dict)
    courses: Mapping[str, str] = field(default_factory=dict)
    workbooks: Mapping[str, str] = field(default_factory=dict)

    def learner(self, code: str) -> str:
        """Name a learner."""
        return self.learners.get(code, code)

    def course(self, code: str) -> str:
        """Name a course."""
        return self.courses.get(code, code)

    def workbook(self, code: str) -> str:
        """Name a workbook."""
        return self.workbooks.get(code, code)

    def who(self, learner: str, course: str) -> str:
        """Name a learner and a course, as a sentence begins with them."""
        return f"{self.learner(learner)}, {self.course(course)}"

    def day(self, day: date) -> str:
        """Write a day: '12 October 2026'."""
        return date_words(day)

    def on(self, problem: Problem, day: int) -> str:
        """Write the day of a number; a number beyond the last planned day is after that day."""
        if day < problem.horizon:
            return self.day(problem.days[day])
        return say("a day after {day}", day=self.day(problem.days[-1]))

    def place(self, stream: Stream, place: int) -> str:
        """Say where a learner stands: 'page 14 of Fractions'."""
        return self.within(*book_at(stream, place))

    def within(self, book: WorkbookToDo, done: int) -> str:
        """Say how far a workbook is after so many steps."""
        title = self.workbook(book.code)
        if done >= book.steps:
            return say("the unit test of {title}", title=title)
        if done > book.pages:
            return say("the practice test of {title}", title=title)
        if done:
            return say("page {number} of {title}", number=done, title=title)
        return say("the beginning of {title}", title=title)


def book_at(stream: Stream, place: int) -> tuple[WorkbookToDo, int]:
    """The workbook in which a learner stands, and the steps done in it: at its end until the next is begun."""
    index, done = stream.at(place)
    if done == 0 and index:
        before = stream.workbooks[index - 1]
        return before, before.steps
    return stream.workbooks[index], done


def untitled(book: WorkbookToDo, done: int) -> str:
    """Say how far a workbook is where its title was said already: 'page 14'."""
    if done >= book.steps:
        return say("the unit test")
    if done > book.pages:
        return say("the practice test")
    return say("page {number}", number=done) if done else say("the beginning")
