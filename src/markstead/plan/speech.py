"""How the planner names people, workbooks, days and places in a sentence."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from markstead.plan.problem import Problem, Stream, WorkbookToDo
from markstead.speech import date_words


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
        return f"a day after {self.day(problem.days[-1])}"

    def place(self, stream: Stream, place: int) -> str:
        """Say where a learner stands: 'page 14 of Fractions'."""
        index, done = stream.at(place)
        if done == 0 and index:
            before = stream.workbooks[index - 1]
            return f"the unit test of {self.workbook(before.code)}"
        return self.within(stream.workbooks[index], done)

    def within(self, book: WorkbookToDo, done: int) -> str:
        """Say how far a workbook is after so many steps."""
        title = self.workbook(book.code)
        if done >= book.steps:
            return f"the unit test of {title}"
        if done > book.pages:
            return f"the practice test of {title}"
        return f"page {done} of {title}" if done else f"the beginning of {title}"
