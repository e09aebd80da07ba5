"""What a person types, read into plain values; every refusal says what may stand there."""

import re
from datetime import date, datetime, time
from pathlib import Path

from markstead.errors import InputError, Problem
from markstead.speech import later, say

MOMENTS = later("a minute on the kitchen clock such as 2026-01-27T10:15, or an instant with its offset")
_SEPARATORS = str.maketrans({",": " ", ";": " ", "–": "-", "—": "-"})  # dashes as people type them


def day(text: str, where: str) -> date:
    """Read a day: ``2026-01-27``."""
    try:
        if re.fullmatch(r"\d{4}-\d\d-\d\d", text.strip()):
            return date.fromisoformat(text.strip())
    except ValueError:
        pass
    raise InputError([Problem(where, repr(text), say("a day of the calendar such as 2026-01-27"))])


def moment(text: str, where: str) -> datetime:
    """Read a minute on the kitchen clock (naive) or an instant (with its zone)."""
    try:
        if re.match(r"\d{4}-\d\d-\d\d[T ]\d", text.strip()):
            return datetime.fromisoformat(text.strip())
    except ValueError:
        pass
    raise InputError([Problem(where, repr(text), say(MOMENTS))])


def clock_time(text: str) -> time | None:
    """Read a time of day, ``9:40``; None: it is something else."""
    found = re.fullmatch(r"(\d{1,2}):(\d\d)", text.strip())
    if found is None or int(found[1]) > 23 or int(found[2]) > 59:
        return None
    return time(int(found[1]), int(found[2]))


def pages(text: str) -> tuple[int, int]:
    """Read a run of pages: ``14-19``, or one page."""
    found = re.fullmatch(r"(\d{1,4})(?:-(\d{1,4}))?", text.translate(_SEPARATORS).strip())
    if found is not None:
        first, last = int(found[1]), int(found[2] or found[1])
        if 1 <= first <= last:
            return first, last
    raise InputError(
        [Problem(say("pages"), repr(text), say("a page such as 14, or a rising run such as 14-19"))]
    )


def numbers(text: str, where: str) -> tuple[int, ...]:
    """Read question numbers: ``3,7,9-11``."""
    found: set[int] = set()
    for word in text.translate(_SEPARATORS).split():
        run = re.fullmatch(r"(\d{1,3})(?:-(\d{1,3}))?", word)
        first, last = (int(run[1]), int(run[2] or run[1])) if run else (0, 0)
        if not 1 <= first <= last:
            raise InputError([Problem(where, repr(word), say("numbers from 1 on, such as 3,7 or 9-11"))])
        found.update(range(first, last + 1))
    if not found:
        raise InputError(
            [Problem(where, say("nothing"), say("numbers such as 3,7; where all is right, --all-right"))]
        )
    return tuple(sorted(found))


def answers(words: list[str]) -> tuple[tuple[int, bool], ...]:
    """Read the answers of an oral quiz in the order asked: ``3:right 7:wrong``."""
    found, problems = [], []
    for word in words:
        answer = re.fullmatch(r"(\d{1,3}):(right|wrong)", word.strip().lower())
        if answer is None or int(answer[1]) == 0:
            problems.append(
                Problem(say("answers"), repr(word), say("a question's number and how it went, as 3:right"))
            )
        else:
            found.append((int(answer[1]), answer[2] == "right"))
    if problems:
        raise InputError(problems)
    return tuple(found)


def text_of(path: Path, where: str) -> str:
    """Read a text file that a person named."""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        what = getattr(error, "strerror", None) or say("not UTF-8")
        problem = Problem(where, f"{path} ({what})", say("a text file in UTF-8 that can be read"))
        raise InputError([problem]) from error


def first_line(path: Path, where: str) -> str:
    """Read the first line of a file: a password, which is better not typed on a command line."""
    lines = text_of(path, where).splitlines()
    if not lines or not lines[0]:
        raise InputError(
            [
                Problem(
                    where,
                    say("nothing in {path}", path=path),
                    say("the password on the first line of the file"),
                )
            ]
        )
    return lines[0]
