"""The one small family of errors that a person may meet.

Each says what was found, where, what is allowed and what to do. Anything outside this family is our own
mistake: it is logged with its traceback and the person sees a plain sentence.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from markstead.speech import joined, say


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong with what a person gave."""

    where: str
    """File, row and column, or the field of a form: ``workbooks.csv, row 14, column pages``."""
    found: str
    """What stands there, as it stands there."""
    allowed: str
    """What may stand there, as a noun phrase: ``a whole number from 1 to 400``."""
    do: str = ""
    """What to do, where `allowed` does not already say it."""
    key: str = field(default="", compare=False, kw_only=True)
    """What code knows the place by; `where` is said, and differs from language to language."""
    row: int = field(default=0, compare=False, kw_only=True)
    """The row of a table that `where` names, as a sheet numbers it."""

    def __str__(self) -> str:
        return self.sentence

    @property
    def sentence(self) -> str:
        """All of it as one text."""
        sentence = say(
            "{where}: found {found}; allowed is {allowed}.",
            where=self.where,
            found=self.found,
            allowed=self.allowed,
        )
        return joined([sentence, self.do]) if self.do else sentence


class MarksteadError(Exception):
    """Root of the family; the text is a sentence for the person."""

    @property
    def sentence(self) -> str:
        """The text as it was said: `str` gives mere text where a sentence is remembered (`markstead.speech`)."""
        return self.args[0] if self.args and isinstance(self.args[0], str) else str(self)


class InputError(MarksteadError):
    """What came in cannot be taken; nothing was written."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(joined([problem.sentence for problem in self.problems], "\n"))


class UnknownError(InputError):
    """An id or a name that this home does not know."""


class StaleError(MarksteadError):
    """The page is older than the record; look again before acting."""


class DamagedRecordError(MarksteadError):
    """The record does not agree with itself; names the first bad fact."""
