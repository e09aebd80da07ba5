"""The table of answers of many learners to the questions of one test, and what it can tell at all.

An answer is 1 (right), 0 (wrong) or -1 (not asked, or not known). A question that was asked and left blank is wrong,
as on paper.
"""

from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from markstead.speech import later

Floats = NDArray[np.float64]
Answers = NDArray[np.int8]


class Told(StrEnum):
    """What the answers tell of one question."""

    ESTIMATED = later("estimated")
    ALL_RIGHT = later("everyone right")
    ALL_WRONG = later("everyone wrong")
    NOT_ASKED = later("nobody was asked")
    NO_LIMIT = later("the slope has no limit")


def answers_of(responses: ArrayLike) -> Answers:
    """Take answers as a table (learners, questions) of 1, 0 and -1.

    Raises:
        ValueError: the table has not two dimensions, has no learner or no question, or holds anything else.
    """
    table = np.asarray(responses)
    if table.ndim != 2 or 0 in table.shape:
        raise ValueError(
            f"the answers have the shape {table.shape}; wanted is (learners, questions), neither of them 0"
        )
    if not np.isin(table, (-1, 0, 1)).all():
        raise ValueError("an answer is 1 (right), 0 (wrong) or -1 (not asked)")
    return table.astype(np.int8)


def told_of(answers: Answers) -> tuple[Told, ...]:
    """Say of each question whether its answers differ (Told.ESTIMATED) or why nothing can be estimated."""
    by = {
        (True, True): Told.ESTIMATED,
        (True, False): Told.ALL_RIGHT,
        (False, True): Told.ALL_WRONG,
        (False, False): Told.NOT_ASKED,
    }
    right, wrong = (answers == 1).any(axis=0), (answers == 0).any(axis=0)
    return tuple(by[bool(r), bool(w)] for r, w in zip(right, wrong, strict=True))
