"""The oral quiz as a sequential test: when it may end, with what errors, and which question comes next.

Sequential probability ratio test of 'learnt' (each answer right with probability .90) against 'not yet' (.60), after
Wald 1947, *Sequential Analysis* (from memory), truncated at a most number of questions and curtailed as soon as the
outcome is certain (related: Finkelman 2008, J. Educ. Behav. Stat. 33(4), 442-463). Wald's approximate errors and mean
lengths do not hold for so short a test; `operating` gives the exact ones by dynamic programming.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import lru_cache
from math import inf, log

import numpy as np

from markstead.speech import begun, counted, later, say


class Verdict(StrEnum):
    """What the answers say up to now."""

    LEARNT = later("learnt")
    NOT_YET = later("not yet")
    GO_ON = later("go on")


@dataclass(frozen=True, slots=True)
class QuizRule:
    """The two hypotheses, the odds at which the quiz ends, and its least and greatest length."""

    learnt: float = 0.90
    """Probability of a right answer where the material is learnt."""
    not_yet: float = 0.60
    """Probability of a right answer where it is not."""
    stop_learnt: float = log(0.90 / 0.10)
    """Log odds of 'learnt' at which the quiz ends with it."""
    stop_not_yet: float = log(0.12 / 0.88)
    """Log odds at which it ends with 'not yet'."""
    at_the_end: float = log(0.60 / 0.40)
    """Log odds that are enough when the last question is asked."""
    least: int = 3
    most: int = 12
    clamp: float = 0.7
    """The prior moves the start by at most so much: otherwise it would decide alone."""

    def __post_init__(self) -> None:
        if not 0 < self.not_yet < self.learnt < 1:
            raise ValueError(f"a rule needs 0 < not_yet < learnt < 1, got {self.not_yet} and {self.learnt}")
        if not self.stop_not_yet < self.at_the_end < self.stop_learnt:
            raise ValueError(
                f"the last bound must lie between the other two, got {self.stop_not_yet}, {self.at_the_end}, "
                f"{self.stop_learnt}"
            )
        if not 1 <= self.least <= self.most:
            raise ValueError(f"a quiz needs 1 <= least <= most, got {self.least} and {self.most}")

    @property
    def right_adds(self) -> float:
        """Log odds that a right answer adds."""
        return log(self.learnt / self.not_yet)

    @property
    def wrong_adds(self) -> float:
        """Log odds that a wrong answer adds; negative."""
        return log((1 - self.learnt) / (1 - self.not_yet))


DEFAULT_RULE = QuizRule()
HARDER_RULE = QuizRule(learnt=0.87, not_yet=0.53)
"""Where more than half of the questions were wrong at first marking: such questions are harder later, too."""


@dataclass(frozen=True, slots=True)
class CardLine:
    """After `asked` questions: so many right end it as learnt, so many wrong as not yet; None: not at this point."""

    asked: int
    right_needed: int | None
    wrong_ends: int | None


@dataclass(frozen=True, slots=True)
class QuizCard:
    """The whole rule as a card that can lie beside the workbook."""

    prior: float
    lines: tuple[CardLine, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class LiveQuiz:
    """A quiz under way. Answers after its end change nothing: the verdict at the first end stands."""

    verdict: Verdict
    asked: int
    right: int
    wrong: int
    at_most_more: int
    """Questions that can still come before it ends; 0 once it has ended."""
    right_to_go: int | None
    """Right answers in a row that would end it as learnt; None once it has ended, or where none can any more."""
    wrong_to_go: int | None
    """Wrong answers in a row that would end it as not yet; None once it has ended, or where none can any more."""
    sentence: str


@dataclass(frozen=True, slots=True)
class Operating:
    """What the rule does with a learner who answers each question rightly with probability `p`."""

    p: float
    learnt: float
    """Probability that the quiz ends with 'learnt'."""
    mean_questions: float


def _start(prior: float, rule: QuizRule) -> float:
    if not 0 <= prior <= 1:
        raise ValueError(f"a prior is a probability from 0 to 1, got {prior}")
    odds = -inf if prior == 0 else inf if prior == 1 else log(prior / (1 - prior))
    return max(-rule.clamp, min(rule.clamp, odds))


@lru_cache(maxsize=512)
def _verdicts(start: float, rule: QuizRule) -> dict[tuple[int, int], Verdict]:
    """The verdict after so many asked and right, also where an earlier end keeps it from being reached."""

    def odds(asked: int, right: int) -> float:
        return start + right * rule.right_adds + (asked - right) * rule.wrong_adds

    # Backwards: what is still possible from each point, were nothing but the bounds to end it.
    possible: dict[tuple[int, int], frozenset[Verdict]] = {}
    for asked in range(rule.most, -1, -1):
        for right in range(asked + 1):
            at = odds(asked, right)
            if asked == rule.most:
                end = Verdict.LEARNT if at >= rule.at_the_end else Verdict.NOT_YET
                possible[asked, right] = frozenset([end])
            elif at >= rule.stop_learnt:
                possible[asked, right] = frozenset([Verdict.LEARNT])
            elif at <= rule.stop_not_yet:
                possible[asked, right] = frozenset([Verdict.NOT_YET])
            else:
                possible[asked, right] = possible[asked + 1, right] | possible[asked + 1, right + 1]
    return {
        (asked, right): next(iter(ends)) if len(ends) == 1 and asked >= rule.least else Verdict.GO_ON
        for (asked, right), ends in possible.items()
    }


def _most_more(verdicts: Mapping[tuple[int, int], Verdict], asked: int, right: int) -> int:
    """Questions until every way on from here has ended."""
    ahead, more = {right}, 0
    while ahead := {r for r in ahead if verdicts[asked + more, r] is Verdict.GO_ON}:
        ahead |= {r + 1 for r in ahead}
        more += 1
    return more


def card(prior: float = 0.5, rule: QuizRule = DEFAULT_RULE) -> QuizCard:
    """Write the rule as a card; `prior` is the probability that the material is learnt, before the first question.

    Raises:
        ValueError: the prior is no probability.
    """
    verdicts = _verdicts(_start(prior, rule), rule)
    lines = []
    for asked in range(rule.least, rule.most + 1):
        at = {right: v for (n, right), v in verdicts.items() if n == asked}
        learnt = [right for right, v in at.items() if v is Verdict.LEARNT]
        not_yet = [asked - right for right, v in at.items() if v is Verdict.NOT_YET]
        lines.append(CardLine(asked, min(learnt, default=None), min(not_yet, default=None)))
    return QuizCard(prior, tuple(lines), _card_sentence(lines, verdicts, rule))


def _card_sentence(
    lines: Sequence[CardLine], verdicts: Mapping[tuple[int, int], Verdict], rule: QuizRule
) -> str:
    in_a_row = next(n for n in range(rule.least, rule.most + 1) if verdicts[n, n] is Verdict.LEARNT)
    ends = [(line.asked, line.wrong_ends) for line in lines if line.wrong_ends is not None]
    wrong = max(count for _, count in ends)
    fewer = [asked for asked, count in ends if count < wrong]
    values = {
        "right": begun(_number(in_a_row)),
        "wrong": _number(wrong),
        "least": _number(rule.least),
        "most": _number(rule.most),
    }
    if not fewer:
        return say(
            "{right} right in a row and you may stop; {wrong} wrong and it is not learnt yet. "
            "At least {least} questions, at most {most}.",
            **values,
        )
    return say(
        "{right} right in a row and you may stop; {wrong} wrong, or {early} of the first {first}, and it is not "
        "learnt yet. At least {least} questions, at most {most}.",
        early=_number(min(count for _, count in ends)),
        first=_number(max(fewer)),
        **values,
    )


def live(answers: Sequence[bool], prior: float = 0.5, rule: QuizRule = DEFAULT_RULE) -> LiveQuiz:
    """Tell where a quiz stands after these answers, in the order in which they were given.

    Raises:
        ValueError: the prior is no probability.
    """
    verdicts = _verdicts(_start(prior, rule), rule)
    asked = right = 0
    for answer in answers:
        if verdicts[asked, right] is not Verdict.GO_ON:
            break
        asked, right = asked + 1, right + answer
    verdict = verdicts[asked, right]
    total = len(answers)
    good = sum(map(bool, answers))
    if verdict is not Verdict.GO_ON:
        words = (
            say("{right} of {asked} right: this is learnt.", right=right, asked=asked)
            if verdict is Verdict.LEARNT
            else say("{right} of {asked} right: this is not learnt yet.", right=right, asked=asked)
        )
        return LiveQuiz(verdict, total, good, total - good, 0, None, None, words)
    more = _most_more(verdicts, asked, right)
    to_learnt = _run(verdicts, asked, right, 1, Verdict.LEARNT)
    to_not_yet = _run(verdicts, asked, right, 0, Verdict.NOT_YET)
    words = _live_sentence(to_learnt, to_not_yet)
    return LiveQuiz(verdict, total, good, total - good, more, to_learnt, to_not_yet, words)


def _run(
    verdicts: Mapping[tuple[int, int], Verdict], asked: int, right: int, step: int, end: Verdict
) -> int | None:
    """How many answers of one sort in a row end a quiz under way as wanted; None where they end it otherwise."""
    run = 0
    while verdicts[asked, right] is Verdict.GO_ON:
        asked, right, run = asked + 1, right + step, run + 1
    return run if verdicts[asked, right] is end else None


def _live_sentence(to_learnt: int | None, to_not_yet: int | None) -> str:
    said = []
    if to_learnt:
        said.append(
            counted(
                to_learnt,
                "{number} more right in a row and it is learnt",
                "{number} more right in a row and it is learnt",
                number=_number(to_learnt),
            )
        )
    if to_not_yet:
        said.append(
            counted(
                to_not_yet,
                "{number} more wrong and it is not yet",
                "{number} more wrong and it is not yet",
                number=_number(to_not_yet),
            )
        )
    return f"{begun('; '.join(said))}."


_NUMBERS = [
    "no",
    later("one"),
    later("two"),
    later("three"),
    later("four"),
    later("five"),
    later("six"),
    later("seven"),
    later("eight"),
    later("nine"),
    later("ten"),
    later("eleven"),
    later("twelve"),
]


def _number(n: int) -> str:
    return say(_NUMBERS[n]) if n < len(_NUMBERS) else str(n)


def operating(p: float, prior: float = 0.5, rule: QuizRule = DEFAULT_RULE) -> Operating:
    """The exact operating characteristic and mean length at a true probability `p` of a right answer.

    Raises:
        ValueError: `p` or the prior is no probability.
    """
    if not 0 <= p <= 1:
        raise ValueError(f"a probability lies from 0 to 1, got {p}")
    verdicts = _verdicts(_start(prior, rule), rule)
    reach = {(0, 0): 1.0}
    learnt = mean = 0.0
    for asked in range(rule.most + 1):
        for right in range(asked + 1):
            weight = reach.pop((asked, right), 0.0)
            if not weight:
                continue
            verdict = verdicts[asked, right]
            if verdict is Verdict.GO_ON:
                mean += weight
                for step, chance in ((1, p), (0, 1 - p)):
                    place = (asked + 1, right + step)
                    reach[place] = reach.get(place, 0.0) + weight * chance
            elif verdict is Verdict.LEARNT:
                learnt += weight
    return Operating(p, learnt, mean)


# --- which question next ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Candidate:
    """A question that could be asked."""

    stop: str
    question: int
    objective: str | None
    wrong_at_first: bool
    last_asked: date | None


REST_DAYS = 2
"""The same question is not asked again within so many days."""


def next_questions(
    candidates: Sequence[Candidate],
    today: date,
    asked_already: Sequence[tuple[str, int]],
    rng: np.random.Generator,
    most: int = 12,
) -> tuple[Candidate, ...]:
    """Put the questions of a quiz in order, most important first; the same dice give the same order.

    First up to half of a quiz comes from the objectives with most wrong answers at first marking: of each, one question
    that was wrong. Then comes one from every objective not yet touched, then further ones, weakest objective first.
    Which question of an objective, and which of equally weak objectives, is drawn by lot. Where nothing is tagged, the
    section is the objective. A question asked within `REST_DAYS` days, or in this quiz, is left out.

    Args:
        candidates: questions that may be asked.
        today: the day at home.
        asked_already: stop and number of the questions of this quiz up to now.
        rng: the dice.
        most: questions wanted, those asked already included.
    """
    done = set(asked_already)
    rested = [c for c in candidates if c.last_asked is None or (today - c.last_asked).days >= REST_DAYS]
    free = [c for c in rested if (c.stop, c.question) not in done]
    groups: dict[str, list[Candidate]] = {}
    for place in rng.permutation(len(free)):
        groups.setdefault(_objective(free[place]), []).append(free[place])
    touched = {_objective(c) for c in candidates if (c.stop, c.question) in done}
    wrong = Counter(_objective(c) for c in candidates if c.wrong_at_first)
    by_weakness = sorted(groups, key=lambda name: -wrong[name])  # stable: by lot among equals
    fresh = [name for name in by_weakness if name not in touched]
    half = max(0, min(most, DEFAULT_RULE.most) // 2 - len(done))
    weak = [name for name in fresh if wrong[name]][:half]
    found = [_take_wrong(groups[name]) for name in weak]
    found += [groups[name].pop() for name in groups if name in fresh and name not in weak]
    while left := [name for name in by_weakness if groups[name]]:
        found += [groups[name].pop() for name in left]
    return tuple(found[: max(0, most - len(done))])


def _take_wrong(group: list[Candidate]) -> Candidate:
    """Take out a question that was wrong at first marking, or any where those have been asked of late."""
    return group.pop(next((i for i, c in enumerate(group) if c.wrong_at_first), -1))


def _objective(candidate: Candidate) -> str:
    return candidate.objective or candidate.stop


def harder_mix(chosen: Sequence[Candidate]) -> bool:
    """Whether more than half of the questions were wrong at first marking: then `HARDER_RULE` is the one to use."""
    return 2 * sum(c.wrong_at_first for c in chosen) > len(chosen)
