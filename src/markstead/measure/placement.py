"""Where a learner stands in a course: a few short tests up or down its workbooks, and what they say together.

The place is the number of workbooks that are behind the learner: those from the first on, gaps apart, of which at least
the share `known` is known. The next test is put where its answers are expected to tell most: with one known noise that is where
as much is believed to lie below as above. This is probabilistic bisection, Horstein 1963, IEEE Trans. Inf. Theory 9,
136-143; Waeber, Frazier and Henderson 2013, SIAM J. Control Optim. 51, 2261-2279 (both from memory). There an answer is
right with one known probability; here a short test of several questions is scored, and how the share known falls along
the course, how many answers are slips, and which earlier workbooks are gaps are all believed about, too.

Everything is worked out anew from the results, so the order in which they came changes nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from math import ceil, comb, log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from markstead.errors import InputError, Problem
from markstead.speech import begun, counted, say

Floats = NDArray[np.float64]
MOST_WORKBOOKS = 200
MOST_QUESTIONS = 200


@dataclass(frozen=True, slots=True)
class Answering:
    """How learners answer, as far as it is known before the first test. All judgements, none measured in homes."""

    known: float = 0.80
    """Share of a workbook that is known at the edge: what is behind the learner is known so well or better."""
    rises: tuple[float, ...] = (0.3, 1.0, 2.0, 4.0)
    """Workbooks over which the odds of knowing fall by a factor e; 0: all is known up to the place, nothing after."""
    slips: tuple[float, ...] = (0.04, 0.15)
    """Shares of wrong answers to what is known: the careful and the careless, equally likely at first."""
    beyond: tuple[float, ...] = (0.0, 3.0)
    """Workbooks by which somebody before the first workbook, or behind the last, may stand further off; equally likely."""
    guess: float = 0.08
    """Share of right answers to what is not known."""
    gap: float = 0.08
    """Probability that a workbook behind the learner is a gap."""
    gap_known: float = 0.35
    """Share of it that is known then."""
    clump: float = 0.05
    """Correlation of two answers of one test beyond what the share known explains; 0: none."""

    def __post_init__(self) -> None:
        if not 0 < self.known < 1:
            raise ValueError(f"the share known at the edge lies between 0 and 1, got {self.known}")
        if not self.rises or min(self.rises) < 0:
            raise ValueError(f"at least one rise of 0 workbooks or more is needed, got {self.rises}")
        if not self.beyond or min(self.beyond) < 0:
            raise ValueError(f"at least one distance of 0 workbooks or more is needed, got {self.beyond}")
        if not self.slips or min(self.slips) < 0 or max(self.slips) + self.guess >= 1 or self.guess < 0:
            raise ValueError(
                f"slips {self.slips} and guess {self.guess} must be shares that leave room between"
            )
        if not (0 <= self.gap < 1 and 0 <= self.gap_known <= 1 and 0 <= self.clump < 1):
            raise ValueError(
                f"gap {self.gap}, gap_known {self.gap_known} and clump {self.clump} must be shares"
            )


@dataclass(frozen=True, slots=True)
class Stopping:
    """When enough has been asked."""

    sure: float = 0.90
    """Probability that the place is at most one workbook from the one advised."""
    least: int = 2
    most: int = 8
    each: int = 2
    """Short tests of one workbook at most: it does not have more fresh questions than that."""
    questions: int = 6
    """How many a short test has, as far as planned."""

    def __post_init__(self) -> None:
        if not (
            0 < self.sure < 1 and 1 <= self.least <= self.most and self.each >= 1 and self.questions >= 1
        ):
            raise ValueError(f"this stop rule cannot be followed: {self}")


DEFAULT_ANSWERING = Answering()
DEFAULT_STOPPING = Stopping()


@dataclass(frozen=True, slots=True)
class Result:
    """One short test: `right` of `asked` questions from a workbook, counted from 1 along the course."""

    workbook: int
    right: int
    asked: int


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of a learner in a course of so many workbooks."""

    workbooks: int
    start: tuple[float, ...]
    """Probability of each place from 0 to `workbooks`, before the first test."""
    results: tuple[Result, ...] = ()
    answering: Answering = DEFAULT_ANSWERING


@dataclass(frozen=True, slots=True)
class NextTest:
    """The short test to take next."""

    workbook: int
    questions: int
    passes: float
    """Probability that at least the share `known` of the answers is right."""
    bits: float
    """What it is expected to tell of the place."""

    @property
    def sentence(self) -> str:
        """Why this test, in words."""
        tenths = min(9, max(1, round(self.passes * 10)))
        return counted(
            self.questions,
            "Take one question from workbook {workbook}: that tells most now. "
            "Of 10 such learners about {tenths} do well in it.",
            "Take {n} questions from workbook {workbook}: that tells most now. "
            "Of 10 such learners about {tenths} do well in it.",
            workbook=self.workbook,
            tenths=tenths,
        )


@dataclass(frozen=True, slots=True)
class Gap:
    """An earlier workbook that went badly although the learner stands beyond it."""

    workbook: int
    probability: float
    """That it lies behind the learner and is not known."""
    right: int
    asked: int


@dataclass(frozen=True, slots=True)
class Advice:
    """Where to begin, how far that may be off, and what is not known. The educator decides."""

    begin: int
    """The workbook to begin with; one beyond the last: the whole course is behind the learner."""
    low: int
    high: int
    """In 9 of 10 such cases the right workbook is one of these."""
    within_one: float
    """Probability that the right workbook is at most one away from `begin`."""
    settled: bool
    """`within_one` is as high as the stop rule wants."""
    gaps: tuple[Gap, ...]
    untried: tuple[int, ...]
    """Workbooks behind the learner of which nothing was asked: a gap there has not been looked for."""
    tests: int
    questions: int
    sentences: tuple[str, ...]

    @property
    def words(self) -> str:
        """All of it in plain sentences."""
        return " ".join(self.sentences)


# --- the belief -------------------------------------------------------------------------------------------------


def begin(workbooks: int, guess: int | None = None, answering: Answering = DEFAULT_ANSWERING) -> Belief:
    """Start from a course of so many workbooks.

    Args:
        workbooks: their number.
        guess: the workbook at which the educator would begin today, 1 to `workbooks` + 1; None: no idea. A guess is
            taken for what it is: half of the belief stays even over the course.
        answering: how learners answer.

    Raises:
        InputError: there is no such workbook.
        ValueError: a course of so many workbooks cannot be.
    """
    if not 1 <= workbooks <= MOST_WORKBOOKS:
        raise ValueError(f"a course has 1 to {MOST_WORKBOOKS} workbooks, got {workbooks}")
    start = np.full(workbooks + 1, 1 / (workbooks + 1))
    if guess is not None:
        if not 1 <= guess <= workbooks + 1:
            allowed = say(
                "a workbook from 1 to {last}, or {done} where all are done",
                last=workbooks,
                done=workbooks + 1,
            )
            raise InputError([Problem(say("where the learner stands"), str(guess), allowed)])
        away = np.abs(np.arange(workbooks + 1) - (guess - 1))
        near = np.exp(-away / max(1.0, workbooks / 8))
        start = start / 2 + near / near.sum() / 2
    return Belief(workbooks, tuple(float(p) for p in start), (), answering)


def answered(belief: Belief, workbook: int, right: int, asked: int) -> Belief:
    """Take in one short test.

    Raises:
        InputError: the course has no such workbook, or the score cannot be.
    """
    problems = []
    if not 1 <= workbook <= belief.workbooks:
        allowed = say("a workbook from 1 to {last}", last=belief.workbooks)
        problems.append(Problem(say("workbook"), str(workbook), allowed))
    if not 1 <= asked <= MOST_QUESTIONS:
        allowed = say("a whole number from {least} to {most}", least=1, most=MOST_QUESTIONS)
        problems.append(Problem(say("questions"), str(asked), allowed))
    elif not 0 <= right <= asked:
        allowed = say("a whole number from {least} to {most}", least=0, most=asked)
        problems.append(Problem(say("right answers"), str(right), allowed))
    if problems:
        raise InputError(problems)
    return replace(belief, results=(*belief.results, Result(workbook, right, asked)))


def chance_right(
    belief: Belief, place: int, workbook: int, rise: float, slip: float, beyond: float = 0.0
) -> float:
    """Probability of a right answer to one question of a workbook that is no gap, at this place."""
    shares = _share_known(belief.workbooks, rise, beyond, belief.answering.known)
    return float(_right(shares[place, workbook - 1], slip, belief.answering.guess))


def spread(belief: Belief) -> Floats:
    """The probability of each place from 0 to `workbooks`, after all results: shape (workbooks + 1,)."""
    return np.asarray(_joint(belief).sum(axis=0))


def median(belief: Belief) -> float:
    """The median of the place as a share of the course, its probability lying evenly over each step of it.

    With a step of known noise this is the point that Horstein 1963 asks at.
    """
    edges = np.concatenate([[0.0], np.cumsum(spread(belief))])
    return float(np.interp(0.5, edges, np.arange(edges.size) / (edges.size - 1)))


def _right(known: Floats, slip: float | Floats, guess: float) -> Floats:
    return np.asarray(guess + (1 - slip - guess) * known)


@lru_cache(maxsize=256)
def _share_known(workbooks: int, rise: float, beyond: float, known: float) -> Floats:
    """Share known of each workbook at each place: shape (workbooks + 1, workbooks)."""
    edges = np.arange(workbooks + 1) + 0.5
    # Without this, nobody at the first workbook could know as little of it as of a gap, and all wrong would mean a gap.
    edges[0] -= beyond
    edges[-1] += beyond
    ahead = edges[:, None] - np.arange(1, workbooks + 1)[None, :]
    if rise == 0:
        return np.asarray(ahead > 0, dtype=np.float64)
    # The edge lies half way between the last workbook behind the learner and the first one before.
    odds = np.clip(ahead / rise + log(known / (1 - known)), -700, 700)
    return np.asarray(1 / (1 + np.exp(-odds)))


class _Both(NamedTuple):
    """The same of workbooks that are no gap, and of workbooks that are one."""

    plain: Floats
    gap: Floats


@lru_cache(maxsize=64)
def _chances(workbooks: int, answering: Answering) -> _Both:
    """Probability of a right answer: shape (workbooks, ways, places) each."""
    ways = list(product(answering.rises, answering.beyond, answering.slips))
    by_way = [
        _right(_share_known(workbooks, rise, beyond, answering.known), slip, answering.guess)
        for rise, beyond, slip in ways
    ]
    plain = np.stack(by_way).transpose(2, 0, 1)
    in_a_gap = (
        answering.guess
        + (1 - np.array([slip for _, _, slip in ways]) - answering.guess) * answering.gap_known
    )
    # What lies ahead of the learner is not a gap, only not known yet; nor can a gap be better known than the rest.
    behind = np.arange(workbooks + 1) >= np.arange(1, workbooks + 1)[:, None]
    low = np.where(behind[:, None, :], np.minimum(in_a_gap[None, :, None], plain), plain)
    return _Both(plain, low)


@lru_cache(maxsize=4)
def _scores(workbooks: int, answering: Answering, questions: int) -> _Both:
    """Probability of each score: shape (questions + 1, workbooks, ways, places) each."""
    p = _chances(workbooks, answering)
    rows = [[_score(each, right, questions, answering.clump) for right in range(questions + 1)] for each in p]
    return _Both(np.stack(rows[0]), np.stack(rows[1]))


def _score(p: Floats, right: int, asked: int, clump: float) -> Floats:
    """Probability of a score: beta-binomial with mean p and correlation `clump` of two answers (binomial at 0)."""
    step = clump / (1 - clump)
    found = np.full_like(p, float(comb(asked, right)))
    for i in range(right):
        found = found * (p + i * step)
    for i in range(asked - right):
        found = found * (1 - p + i * step)
    for i in range(asked):
        found = found / (1 + i * step)
    return found


def _of_workbook(belief: Belief, workbook: int) -> _Both:
    """Likelihood of all results of one workbook: shape (ways, places) each."""
    p = _chances(belief.workbooks, belief.answering)
    mine = [result for result in belief.results if result.workbook == workbook]
    found = []
    for each in p:
        likelihood = np.ones_like(each[workbook - 1])
        for result in mine:
            likelihood = likelihood * _score(
                each[workbook - 1], result.right, result.asked, belief.answering.clump
            )
        found.append(likelihood)
    return _Both(*found)


def _tried(belief: Belief) -> list[int]:
    return sorted({result.workbook for result in belief.results})


def _scaled(weights: Floats) -> Floats:
    """Weights that sum to 1."""
    total = weights.sum()
    if not total > 0:
        # Only where slips, guesses and gaps are all ruled out can answers contradict each other outright.
        raise ValueError("these results cannot come together under so strict an answering model")
    return np.asarray(weights / total)


def _joint(belief: Belief, leave_out: int | None = None) -> Floats:
    """Probability of each way of answering and place: shape (ways, places). Results of one workbook may be left out."""
    model = belief.answering
    ways = len(model.rises) * len(model.beyond) * len(model.slips)
    found = _scaled(np.tile(np.array(belief.start), (ways, 1)))
    for workbook in _tried(belief):
        if workbook != leave_out:
            both, gap = _of_workbook(belief, workbook), model.gap
            found = _scaled(found * ((1 - gap) * both.plain + gap * both.gap))
    return found


# --- the next test ----------------------------------------------------------------------------------------------


def next_test(belief: Belief, stopping: Stopping = DEFAULT_STOPPING) -> NextTest | None:
    """The workbook to take a short test from next; None: enough has been asked.

    It is the one that is expected to tell most of the place, among those that still have fresh questions. Where every
    answer is right with one known probability that is the median of the place (Jedynak, Frazier and Sznitman 2012,
    J. Appl. Probab. 49, 114-136, from memory); where noise differs along the course it lies beside it.
    """
    taken = len(belief.results)
    at = spread(belief)
    if taken >= stopping.most or (taken >= stopping.least and _within_one(at)[_best(at)] >= stopping.sure):
        return None
    free = [
        workbook
        for workbook in range(1, belief.workbooks + 1)
        if sum(result.workbook == workbook for result in belief.results) < stopping.each
    ]
    if not free:
        return None
    outcomes = _outcomes(belief, stopping.questions)
    tells = _bits(at[None, :])[0] - (outcomes.sum(axis=2) * _bits(outcomes)).sum(axis=1)
    # Of equals the earlier one: a test that goes well is the better beginning.
    workbook = min(free, key=lambda j: (-round(float(tells[j - 1]), 9), j))
    enough = ceil(stopping.questions * belief.answering.known - 1e-9)
    passes = float(outcomes[workbook - 1, enough:].sum())
    return NextTest(
        workbook,
        stopping.questions,
        passes,
        max(0.0, float(tells[workbook - 1])),
    )


def _outcomes(belief: Belief, questions: int) -> Floats:
    """Probability of each score in a test of each workbook, with each place: shape (workbooks, questions + 1, places)."""
    gap = belief.answering.gap
    whole = _joint(belief)
    plain = np.repeat((1 - gap) * whole[None], belief.workbooks, axis=0)
    low = np.repeat(gap * whole[None], belief.workbooks, axis=0)
    for workbook in _tried(belief):
        before, kept = _joint(belief, leave_out=workbook), _of_workbook(belief, workbook)
        plain[workbook - 1], low[workbook - 1] = (1 - gap) * before * kept.plain, gap * before * kept.gap
    scores = _scores(belief.workbooks, belief.answering, questions)
    found = np.einsum("jwp,cjwp->jcp", plain, scores.plain) + np.einsum("jwp,cjwp->jcp", low, scores.gap)
    return np.asarray(found / found.sum(axis=(1, 2), keepdims=True))


def _bits(weights: Floats) -> Floats:
    """Entropy in bits of weights along the last axis, whatever they sum to."""
    total = weights.sum(axis=-1, keepdims=True)
    p = weights / np.where(total > 0, total, 1)
    return np.asarray(-(p * np.log2(np.where(p > 0, p, 1))).sum(axis=-1))


# --- what to advise ---------------------------------------------------------------------------------------------


def _within_one(at: Floats) -> Floats:
    """Probability that the place is at most one from each place: shape as given."""
    padded = np.pad(at, 1)
    return np.asarray(padded[:-2] + padded[1:-1] + padded[2:])


def _best(at: Floats) -> int:
    """The median place: as likely too low as too high."""
    return int(np.searchsorted(np.cumsum(at), 0.5 - 1e-12))


GAP_SHOWN = 0.35
"""A gap is told from this probability on."""


def _gaps(belief: Belief, place: int) -> tuple[Gap, ...]:
    found, share = [], belief.answering.gap
    for workbook in _tried(belief):
        if workbook > place:
            continue
        before = _joint(belief, leave_out=workbook)
        both = _of_workbook(belief, workbook)
        gap = share * before * both.gap
        total = float((gap + (1 - share) * before * both.plain).sum())
        probability = float(gap[:, workbook:].sum()) / total if total > 0 else 0.0
        if probability >= GAP_SHOWN:
            mine = [result for result in belief.results if result.workbook == workbook]
            right, asked = sum(r.right for r in mine), sum(r.asked for r in mine)
            found.append(Gap(workbook, probability, right, asked))
    return tuple(found)


def advice(
    belief: Belief, stopping: Stopping = DEFAULT_STOPPING, names: Sequence[str] | None = None
) -> Advice:
    """Tell where to begin, as far as the results carry.

    Args:
        belief: what is believed.
        stopping: how sure is sure enough.
        names: what to call each workbook in the sentences; None: by number.

    Raises:
        ValueError: there are more or fewer names than workbooks.
    """
    if names is not None and len(names) != belief.workbooks:
        raise ValueError(f"{belief.workbooks} workbooks need as many names, got {len(names)}")
    at = spread(belief)
    place = _best(at)
    sums = np.cumsum(at)
    low, high = (int(np.searchsorted(sums, share)) + 1 for share in (0.05, 0.95))
    within = min(1.0, float(_within_one(at)[place]))
    gaps = _gaps(belief, place)
    tried = set(_tried(belief))
    untried = tuple(j for j in range(1, place + 1) if j not in tried)
    found = Advice(
        place + 1,
        low,
        min(high, belief.workbooks + 1),
        within,
        bool(belief.results) and within >= stopping.sure,
        gaps,
        untried,
        len(belief.results),
        sum(result.asked for result in belief.results),
        (),
    )
    return replace(found, sentences=tuple(_sentences(found, belief.workbooks, names)))


def _sentences(found: Advice, workbooks: int, names: Sequence[str] | None) -> list[str]:
    def name(workbook: int) -> str:
        if workbook > workbooks:
            return say("the end of the course")
        return names[workbook - 1] if names is not None else say("workbook {number}", number=workbook)

    if not found.tests:
        return [
            say(
                "Nothing was asked yet. Without any test, {workbook} is only the middle of what is likely.",
                workbook=name(found.begin),
            )
        ]
    if found.begin > workbooks:
        first = counted(
            found.tests,
            "The whole course seems to be behind the learner, after {questions} questions in {n} short test.",
            "The whole course seems to be behind the learner, after {questions} questions in {n} short tests.",
            questions=found.questions,
        )
    else:
        first = counted(
            found.tests,
            "Begin with {workbook}, after {questions} questions in {n} short test.",
            "Begin with {workbook}, after {questions} questions in {n} short tests.",
            workbook=name(found.begin),
            questions=found.questions,
        )
    said = [first]
    tenths = min(9.5, max(0.5, round(found.within_one * 20) / 2))
    said.append(
        say(
            "Of 10 learners who answer like this, about {tenths:g} belong there or one workbook away.",
            tenths=tenths,
        )
    )
    if found.high > found.low:
        said.append(
            say("The likely range is from {first} to {last}.", first=name(found.low), last=name(found.high))
        )
    if not found.settled:
        said.append(
            say("That is not sure enough yet: another short test, or a week's work in it, will tell more.")
        )
    said += [
        say(
            "{workbook} may be a gap ({right} of {asked} right): work it, or ask again about it.",
            workbook=begun(name(gap.workbook)),
            right=gap.right,
            asked=gap.asked,
        )
        for gap in found.gaps
    ]
    if found.untried:
        said.append(
            counted(
                len(found.untried),
                "Of {n} earlier workbook nothing was asked, so a gap there would not be seen.",
                "Of {n} earlier workbooks nothing was asked, so a gap there would not be seen.",
            )
        )
    said.append(say("You decide; a few questions are little evidence."))
    return said
