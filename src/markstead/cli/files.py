"""Files that a command writes where its user asks for them."""

from pathlib import Path

from markstead.errors import InputError, Problem
from markstead.speech import say


def check_free(option: str, file: Path, *, force: bool) -> None:
    """See that nothing is written over unasked.

    Raises:
        InputError: the file is there already.
    """
    if file.exists() and not force:
        do = say("Name another one, or write over it with --force.")
        found = say("{file}, which is there already", file=file)
        raise InputError([Problem(option, found, say("a new file"), do)])


def write(option: str, file: Path, content: bytes) -> None:
    """Write a file, which may be a device such as the printer's.

    Raises:
        InputError: it cannot be written.
    """
    try:
        file.write_bytes(content)
    except OSError as error:
        found = f"{file} ({error.strerror})"
        raise InputError([Problem(option, found, say("a file that can be written"))]) from error
