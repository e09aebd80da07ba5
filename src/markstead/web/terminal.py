"""What the server says in the terminal, which is the family's: one line, and the rest in a file."""

import logging
from contextlib import suppress
from logging.handlers import RotatingFileHandler
from pathlib import Path

from markstead.speech import say


class OneLine(logging.Formatter):
    """A message without the lines of code that led to it."""

    def format(self, record: logging.LogRecord) -> str:
        said = record.getMessage().splitlines()
        first = said[0] if said else record.name
        if record.exc_info and record.exc_info[0] is not None:
            return say(
                "Markstead made a mistake of its own ({what}); what it was stands in markstead.log in the home folder.",
                what=first,
            )
        return first


class MistakesFile(RotatingFileHandler):
    """A file beside the record; where there is no home yet, or its folder cannot be written, nothing is kept."""

    def emit(self, record: logging.LogRecord) -> None:
        if Path(self.baseFilename).parent.is_dir():
            with suppress(OSError):
                super().emit(record)

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802  # the name is Python's
        """A full disk is told by whatever else fails on it."""
