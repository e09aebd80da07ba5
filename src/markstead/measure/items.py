"""Item analysis of one test: how hard each question was, whether it goes with the rest, whether its key looks wrong.

Everything here is a prompt for the coordinator to look at a question, never a verdict on the question or on a learner.
"""

from dataclasses import dataclass
from math import sqrt, tanh
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from markstead.measure.answers import Answers, Floats, answers_of
from markstead.speech import say

LEAST_LEARNERS = 20
"""With fewer learners a correlation or a reliability is mostly noise, and none is told."""
LEAST_FOR_KEY = 30
"""With fewer learners no question is said to look mis-keyed."""
_BELOW_ZERO = NormalDist().inv_cdf(0.95)
_Z95 = NormalDist().inv_cdf(0.975)


@dataclass(frozen=True, slots=True)
class ItemReading:
    """One question.

    `share_low` and `share_high` are the 95 % interval of the share right by Wilson (1927, J. Am. Stat. Assoc. 22,
    209-212). `rest_correlation` is the correlation of the question with the score on the other questions;
    `alpha_without` the reliability of the test without it. Both are None where the answers do not give them.
    """

    question: int
    asked: int
    right: int
    right_share: float | None
    share_low: float
    share_high: float
    rest_correlation: float | None
    alpha_without: float | None
    mis_keyed: bool
    words: str


@dataclass(frozen=True, slots=True)
class TestReading:
    """One test of many learners.

    `mean`, `sd`, `kr20` and `sem` rest on the `complete` learners who were asked every question. `sd` is that of
    these learners (divided by their number, not by one fewer), as `kr20` needs it; `kr20` has its 95 % interval;
    `sem` is the standard error of measurement of the number right, sd * sqrt(1 - kr20).
    """

    learners: int
    questions: int
    complete: int
    mean: float | None
    sd: float | None
    kr20: float | None
    kr20_low: float | None
    kr20_high: float | None
    sem: float | None
    items: tuple[ItemReading, ...]
    words: str


def read_items(responses: ArrayLike) -> TestReading:
    """Read what many learners' answers to one test say about its questions.

    KR-20 is formula 20 of Kuder and Richardson (1937, Psychometrika 2, 151-160), with both the questions' and the
    scores' variance divided by the number of learners, so that it equals coefficient alpha; its interval is that of
    Feldt (1965, Psychometrika 30, 357-370).

    A question looks mis-keyed if its rest correlation is negative beyond chance (one-sided, 5 %, by Fisher's z) and
    most of the strongest third were marked wrong.

    Args:
        responses: answers (learners, questions) of 1 (right), 0 (wrong), -1 (not asked); a blank is wrong.

    Raises:
        ValueError: see `answers_of`.
    """
    answers = answers_of(responses)
    complete = answers[(answers >= 0).all(axis=1)]
    learners, questions = answers.shape
    kr20, without = _reliability(complete)
    low, high = _feldt(kr20, len(complete), questions)
    mean = sd = sem = None
    if len(complete) > 0:
        score = complete.sum(axis=1)
        mean, sd = float(score.mean()), float(score.std())
        # A reliability below zero is an estimate of one near zero; the error of a score is never above its spread.
        sem = None if kr20 is None else sd * sqrt(1 - max(kr20, 0.0))
    correlations = _rest_correlations(answers)
    items = tuple(
        _read_item(j, answers, correlations[j], None if without is None else float(without[j]))
        for j in range(questions)
    )
    words = _test_words(len(complete), questions, kr20, low, high, sem)
    return TestReading(learners, questions, len(complete), mean, sd, kr20, low, high, sem, items, words)


def _reliability(complete: Answers) -> tuple[float | None, Floats | None]:
    """KR-20, and the same without each question; None where there are too few learners or no spread."""
    n, k = complete.shape
    if n < LEAST_LEARNERS or k < 2:
        return None, None
    share = complete.mean(axis=0)
    each = share * (1 - share)
    score = complete.sum(axis=1)
    total = score.var()
    # No test is more than wholly reliable, except by rounding.
    kr20 = None if total == 0 else min(float(k / (k - 1) * (1 - each.sum() / total)), 1.0)
    with_score = (complete * (score - score.mean())[:, None]).mean(axis=0)
    rest = total - 2 * with_score + each
    if k < 3 or np.any(rest <= 1e-12):
        return kr20, None
    return kr20, np.minimum((k - 1) / (k - 2) * (1 - (each.sum() - each) / rest), 1.0)


def _feldt(kr20: float | None, learners: int, questions: int) -> tuple[float | None, float | None]:
    """The 95 % interval by Feldt (1965): (1 - reliability) / (1 - kr20) is nearly F with n - 1, (n - 1)(k - 1)."""
    if kr20 is None:
        return None, None
    from scipy.special import fdtri

    n, m = learners - 1, (learners - 1) * (questions - 1)
    return float(1 - (1 - kr20) * fdtri(n, m, 0.975)), float(1 - (1 - kr20) * fdtri(n, m, 0.025))


def _rest_shares(answers: Answers) -> Floats:
    """The share right of the other questions that each learner was asked (learners, questions); nan if none."""
    asked, right = answers >= 0, answers == 1
    others = asked.sum(axis=1)[:, None] - asked
    others_right = right.sum(axis=1)[:, None] - right
    return np.where(asked & (others > 0), others_right / np.maximum(others, 1), np.nan)


def _rest_correlations(answers: Answers) -> list[float | None]:
    """The correlation of each question with the rest; None with too few learners or no spread."""
    rest = _rest_shares(answers)
    used = np.isfinite(rest)
    n = used.sum(axis=0)
    least = np.maximum(n, 1)
    x = np.where(used, answers == 1, 0.0)
    y = np.where(used, rest, 0.0)
    x = np.where(used, x - x.sum(axis=0) / least, 0.0)
    y = np.where(used, y - y.sum(axis=0) / least, 0.0)
    spread = np.sqrt((x**2).sum(axis=0) * (y**2).sum(axis=0))
    told = (n >= LEAST_LEARNERS) & (spread > 1e-9)
    r = np.clip((x * y).sum(axis=0) / np.where(told, spread, 1.0), -1, 1)
    return [float(one) if there else None for one, there in zip(r, told, strict=True)]


def _wilson(right: int, asked: int) -> tuple[float, float]:
    """The 95 % interval of a share; all of [0, 1] if nobody was asked."""
    if asked == 0:
        return 0.0, 1.0
    z2 = _Z95**2
    centre = (right + z2 / 2) / (asked + z2)
    half = _Z95 / (asked + z2) * sqrt(right * (asked - right) / asked + z2 / 4)
    # At the ends the formula gives 0 and 1 but for rounding.
    return 0.0 if right == 0 else centre - half, 1.0 if right == asked else centre + half


def _read_item(
    j: int, answers: Answers, rest_correlation: float | None, alpha_without: float | None
) -> ItemReading:
    column = answers[:, j]
    asked, right = int((column >= 0).sum()), int((column == 1).sum())
    low, high = _wilson(right, asked)
    mis_keyed, missed, strongest = False, 0, 0
    if rest_correlation is not None and asked >= LEAST_FOR_KEY and _below_zero(rest_correlation, asked):
        missed, strongest = _strongest_third(answers, j)
        mis_keyed = 2 * missed > strongest
    return ItemReading(
        question=j + 1,
        asked=asked,
        right=right,
        right_share=right / asked if asked else None,
        share_low=low,
        share_high=high,
        rest_correlation=rest_correlation,
        alpha_without=alpha_without,
        mis_keyed=mis_keyed,
        words=_item_words(
            right, asked, low, high, rest_correlation, (missed, strongest) if mis_keyed else None
        ),
    )


def _below_zero(correlation: float, learners: int) -> bool:
    """Whether a correlation is negative beyond chance, by the transformation of Fisher (1921, Metron 1, 3-32)."""
    return correlation < -tanh(_BELOW_ZERO / sqrt(learners - 3))


def _strongest_third(answers: Answers, j: int) -> tuple[int, int]:
    """How many of the strongest third on the other questions were wrong on question j, and how many they are."""
    rest = _rest_shares(answers)[:, j]
    known = np.flatnonzero(np.isfinite(rest))
    third = -(-known.size // 3)
    bar = np.sort(rest[known])[-third]
    strongest = known[rest[known] >= bar]
    return int((answers[strongest, j] == 0).sum()), int(strongest.size)


def _percent(share: float) -> str:
    return say("{percent:.0f} %", percent=100 * share)


def _item_words(
    right: int, asked: int, low: float, high: float, correlation: float | None, missed: tuple[int, int] | None
) -> str:
    if asked == 0:
        return say("Nobody was asked.")
    count = say(
        "{right} of {asked} right (between {low} and {high}).",
        right=right,
        asked=asked,
        low=_percent(low),
        high=_percent(high),
    )
    if missed is not None:
        more = say(
            "Look at the key: {wrong} of the {best} who did best on the rest were marked wrong, and those who did "
            "worse on the rest did better here. A slip in the key is one reason, an unclear question another.",
            wrong=missed[0],
            best=missed[1],
        )
    elif asked < LEAST_LEARNERS:
        more = say("Too few learners to say more: it takes {least}.", least=LEAST_LEARNERS)
    elif right == asked:
        more = say("Everyone right: it tells no learners apart, which may be as it should.")
    elif right == 0:
        more = say("Everyone wrong: look at the key first, then at how it was taught.")
    elif correlation is None:
        more = say("There is no rest of the test to set it against.")
    else:
        return count
    return f"{count} {more}"


def _test_words(
    complete: int,
    questions: int,
    kr20: float | None,
    low: float | None,
    high: float | None,
    sem: float | None,
) -> str:
    if complete < LEAST_LEARNERS:
        return say(
            "Too few learners ({n}) were asked every question to say how steady the scores are: it takes {least}.",
            n=complete,
            least=LEAST_LEARNERS,
        )
    if questions < 2:
        return say("One question is too few to say how steady the scores are.")
    if kr20 is None or low is None or high is None or sem is None:
        return say("Everyone has the same score, so that nothing can be said of how steady the scores are.")
    return say(
        "The reliability is {reliability:.2f} (between {low:.2f} and {high:.2f}); a learner's score would vary by some "
        "{error:.1f} of {questions} questions either way from one such test to another.",
        reliability=kr20,
        low=low,
        high=high,
        error=sem,
        questions=questions,
    )
