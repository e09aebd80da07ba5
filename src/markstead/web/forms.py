"""What a person types for an act, read into the values that an action takes."""

import re
from collections.abc import Mapping, Sequence
from datetime import date, time
from hashlib import blake2s
from typing import Any

from django.http import QueryDict

from markstead.errors import InputError, Problem
from markstead.speech import say

_SEPARATORS = str.maketrans({",": " ", ";": " ", "–": "-", "—": "-"})


def _is_number(text: str) -> bool:
    """Plain digits, and no more of them than anything here has."""
    return text.isascii() and text.isdecimal() and len(text) <= 9


def whole(data: Mapping[str, str], field: str, label: str, *, needed: bool = True) -> int | None:
    """Read a whole number."""
    text = data.get(field, "").strip()
    if not text:
        if needed:
            raise InputError([Problem(label, say("nothing"), say("a whole number"))])
        return None
    if not _is_number(text):
        raise InputError([Problem(label, repr(text[:40]), say("a whole number, such as 14"))])
    return int(text)


def day(data: Mapping[str, str], field: str, label: str) -> date:
    """Read a day."""
    text = data.get(field, "").strip()
    try:
        if len(text) == 10:
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise InputError(
        [Problem(label, repr(text[:40]) if text else say("nothing"), say("a day, such as 2026-03-27"))]
    )


def clock_time(data: Mapping[str, str], field: str, label: str) -> time | None:
    """Read a time of day, ``8:30``; None: nothing is typed."""
    text = data.get(field, "").strip()
    if not text:
        return None
    found = re.fullmatch(r"([0-9]{1,2})[:.]([0-9]{2})", text)
    if found is None or int(found[1]) > 23 or int(found[2]) > 59:
        raise InputError([Problem(label, repr(text[:20]), say("a time of day such as 8:30"))])
    return time(int(found[1]), int(found[2]))


def numbers(text: str, label: str) -> tuple[int, ...]:
    """Read question numbers: ``3, 7 9-11``."""
    found: set[int] = set()
    for word in text.translate(_SEPARATORS).split():
        first, dash, last = word.partition("-")
        if not _is_number(first) or (dash and not _is_number(last)):
            raise InputError([Problem(label, repr(word[:40]), say("numbers such as 3, 7 or 9-11"))])
        a, b = int(first), int(last) if dash else int(first)
        if not 1 <= a <= b <= 999:
            raise InputError([Problem(label, repr(word), say("numbers from 1 on, each run rising"))])
        found.update(range(a, b + 1))
    return tuple(sorted(found))


def wrong_numbers(data: Mapping[str, str]) -> tuple[int, ...]:
    """Read the numbers of the wrong answers; that none is wrong has to be said, not left empty."""
    if data.get("verdict") == "all right":
        typed = data.get("wrong", "").strip()
        if typed:  # Enter in the field presses the first button: what was typed must not be passed over
            found = say("both 'All right' and {typed!r}", typed=typed[:40])
            raise InputError(
                [Problem(say("wrong questions"), found, say("one of the two: empty the field, or record it"))]
            )
        return ()
    found = numbers(data.get("wrong", ""), say("wrong questions"))
    if not found:
        raise InputError(
            [
                Problem(
                    say("wrong questions"),
                    say("nothing"),
                    say("the numbers of the wrong answers, or the button 'All right'"),
                )
            ]
        )
    return found


def score(data: Mapping[str, str]) -> dict[str, Any]:
    """Read a score: a total of right answers, or the numbers of the wrong ones, or both."""
    right = whole(data, "right", say("right answers"), needed=False)
    text = data.get("wrong", "").strip()
    wrong = numbers(text, say("wrong questions")) if text else None
    if right is None and wrong is None:
        raise InputError(
            [
                Problem(
                    say("right answers"),
                    say("nothing"),
                    say("how many were right, or the numbers of the wrong ones"),
                )
            ]
        )
    return {"right": right, "wrong": wrong}


def answers(questions: Sequence[str], verdicts: Sequence[str]) -> tuple[tuple[int, bool], ...]:
    """Read the rows of an oral quiz, in the order asked."""
    found = []
    for question, verdict in zip(questions, verdicts, strict=False):
        if not question.strip() and not verdict:
            continue
        if not _is_number(question.strip()) or verdict not in {"right", "wrong"}:
            said = say(
                "question {question}, {verdict}",
                question=question.strip()[:40] or say("(none)"),
                verdict=verdict[:40] or say("neither right nor wrong"),
            )
            raise InputError([Problem(say("oral quiz"), said, say("a question number with right or wrong"))])
        found.append((int(question), verdict == "right"))
    if not found:
        raise InputError(
            [Problem(say("oral quiz"), say("no answers"), say("at least one question with right or wrong"))]
        )
    return tuple(found)


def ticks(data: QueryDict) -> tuple[tuple[str, str, int, bool], ...]:
    """Read a spot check: copy, stop, question, and whether its tick is right, for every answer that was drawn."""
    found = []
    for n, text in enumerate(data.getlist("tick")):
        parts = text.split("/")
        verdict = data.get(f"t{n}", "")
        if len(parts) != 3 or not _is_number(parts[2]):
            raise InputError([Problem(say("spot check"), repr(text[:60]), say("the form as it was shown"))])
        if verdict not in {"right", "wrong"}:
            found_words = verdict[:40] or say("neither right nor wrong")
            raise InputError(
                [
                    Problem(
                        say("spot check, question {question}", question=parts[2]),
                        found_words,
                        say("right or wrong"),
                    )
                ]
            )
        found.append((parts[0], parts[1], int(parts[2]), verdict == "right"))
    if not found:
        raise InputError(
            [Problem(say("spot check"), say("no answers"), say("at least one answer that was looked at"))]
        )
    return tuple(found)


def token(data: Mapping[str, str]) -> str | None:
    """The id of the act that a form sends, so that sending it twice writes once; None: it sent none."""
    text = data.get("token", "")
    if len(text) > 40 or not all(c.isascii() and (c.isalnum() or c == "-") for c in text):
        raise InputError(
            [Problem(say("form"), say("a token that is not ours"), say("the form as it was shown"))]
        )
    if not text:
        return None
    # Bound to what is sent: the browser's Back brings an old token with new content, and that is another act.
    sent = sorted((name, value) for name, value in _all_values(data) if name not in _NOT_CONTENT)
    return blake2s(repr((text, sent)).encode(errors="replace"), digest_size=16).hexdigest()


_NOT_CONTENT = {"csrfmiddlewaretoken", "token", "seen"}


def _all_values(data: Mapping[str, str]) -> list[tuple[str, str]]:
    if isinstance(data, QueryDict):
        return [(name, value) for name, values in data.lists() for value in values]
    return list(data.items())
