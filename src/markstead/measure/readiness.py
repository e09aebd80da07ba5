"""How ready a learner is for a unit test: one small Gaussian filter a learner, fed with everything that was marked.

All quantities are on the logit scale: ability x gives each answer the chance 1 / (1 + exp(-x)) to be right (Rasch 1960,
Probabilistic Models for Some Intelligence and Attainment Tests). The state of a learner with subjects 1..S is

    x = (A, S_1 .. S_S, W_1 .. W_S, I_o, I_p)

general level, deviation of each subject, deviation of the workbook in hand in each subject, how far open-book
self-marked section results run ahead of the unit test, and how far self-marked practice tests do. Each kind of evidence
is one binomial count with a noise of its own; the update is the Laplace approximation of the posterior, of rank one as
in the Kalman filter (Fahrmeir 1992, Posterior mode estimation by extended Kalman filtering for multivariate dynamic
generalized linear models, J. Am. Stat. Assoc. 87, 501-509; from memory). Answers are advice with a range, no ruling.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from markstead.measure.assumptions import DEFAULTS, Kind, KindSettings, Settings
from markstead.measure.passing import (
    edge_of,
    logistic,
    normal_below,
    of_children,
    pass_chance,
    score_range,
    shown_percent,
)
from markstead.speech import later, say

Floats = NDArray[np.float64]

__all__ = [
    "DEFAULTS",
    "BookEvidence",
    "Counts",
    "Evidence",
    "Kind",
    "KindSettings",
    "ObjectiveReading",
    "Readiness",
    "Settings",
    "State",
    "before_unit",
    "begin_book",
    "chance",
    "follow",
    "hold",
    "learnt_prior",
    "objectives",
    "observe",
    "predict",
    "start",
    "work_through",
]


class Evidence(StrEnum):
    """How much the marks tell, in words."""

    LITTLE = later("little evidence")
    SOME = later("some evidence")
    MUCH = later("much evidence")

    @classmethod
    def of(cls, spread: float) -> "Evidence":
        """Put a standard deviation of ability (logits) in words: little above .55, much below .40."""
        if spread > 0.55:
            return cls.LITTLE
        return cls.SOME if spread >= 0.40 else cls.MUCH


@dataclass(frozen=True, slots=True)
class Counts:
    """Questions asked, and answers right at first marking. `Counts()` is no evidence; counts of one kind add up.

    Raises:
        ValueError: more answers are right than were asked, or a number is negative.
    """

    asked: int = 0
    right: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.right <= self.asked:
            raise ValueError(f"counts need 0 <= right <= asked, got {self.right} right of {self.asked}")

    def __add__(self, other: "Counts") -> "Counts":
        return Counts(self.asked + other.asked, self.right + other.right)


@dataclass(frozen=True, slots=True)
class BookEvidence:
    """Everything marked in one working of a workbook, up to its unit test."""

    subject: str
    sections: Counts = Counts()
    """First markings of all sections together: as observations of their own they would be trusted too far."""
    checks: Counts = Counts()
    oral: Counts = Counts()
    practice: tuple[Counts, ...] = ()
    """Each attempt in its order; a hold day with review lies before every one but the first."""
    unit: Counts | None = None
    workbook: str = ""
    again: bool = False
    """A further copy of the workbook that this learner worked just before, after a unit test not passed."""


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """What is known of one learner: a normal distribution over x = (A, S.., W.., I_o, I_p).

    Raises:
        ValueError: a subject is named twice, none is named, or the arrays have not the shapes (2S+3,) and (2S+3, 2S+3).
    """

    subjects: tuple[str, ...]
    mean: Floats
    """Shape (2S+3,), logits; read-only."""
    covariance: Floats
    """Shape (2S+3, 2S+3), logits squared; read-only."""
    _place: Mapping[str, int] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        place = {subject: number for number, subject in enumerate(self.subjects)}
        if not place or len(place) != len(self.subjects):
            raise ValueError(f"subjects need names of their own, at least one, got {self.subjects}")
        size = 2 * len(place) + 3
        mean, covariance = np.array(self.mean, float), np.array(self.covariance, float)
        if mean.shape != (size,) or covariance.shape != (size, size):
            raise ValueError(
                f"{len(place)} subjects need shapes ({size},) and ({size}, {size}), got {mean.shape} and {covariance.shape}"
            )
        mean.flags.writeable = covariance.flags.writeable = False
        for name, value in (("mean", mean), ("covariance", covariance), ("_place", place)):
            object.__setattr__(self, name, value)

    def subject_at(self, subject: str) -> int:
        """The place of a subject's deviation S in x.

        Raises:
            ValueError: the learner has no such subject.
        """
        place = self._place.get(subject)
        if place is None:
            raise ValueError(f"no subject {subject!r} in this state; it has {', '.join(self.subjects)}")
        return 1 + place

    def workbook_at(self, subject: str) -> int:
        """The place of the deviation W of the workbook in hand in x."""
        return self.subject_at(subject) + len(self.subjects)

    def ability(self, subject: str) -> tuple[float, float]:
        """Mean and standard deviation (logits) of A + S + W: ability in the workbook in hand, by unit-test measure."""
        weights = _weights(self, subject, DEFAULTS.unit)
        return float(weights @ self.mean), math.sqrt(float(weights @ self.covariance @ weights))


def start(subjects: Sequence[str], settings: Settings = DEFAULTS) -> State:
    """Begin with a learner of whom nothing is known.

    Raises:
        ValueError: a subject is named twice, or none is named.
    """
    count = len(subjects)
    mean = np.zeros(2 * count + 3)
    mean[0] = settings.level
    spread = [settings.level_sd, *[settings.subject_sd] * count, *[settings.workbook_sd] * count]
    spread += [settings.ahead_sd, settings.ahead_sd]
    return State(tuple(subjects), mean, np.diag(np.square(spread)))


def begin_book(state: State, subject: str, settings: Settings = DEFAULTS, again: bool = False) -> State:
    """Open the next workbook of a subject: nothing is known of it yet, and the learner has moved a little.

    The drift of I_o and I_p is that of a round of books, a part of it for each subject. With `again` it is a further
    copy of the workbook last begun in this subject: what is known of it is kept, raised by one review and less sure by
    `again_variance`; the subject drifts as for any book. That treatment is a judgement, nobody measured it. Where
    another workbook of the subject came between, it counts as new.

    Raises:
        ValueError: the learner has no such subject.
    """
    mean, covariance = state.mean.copy(), state.covariance.copy()
    s, w = state.subject_at(subject), state.workbook_at(subject)
    if again:
        mean[w] += settings.gain(1)
        covariance[w, w] += settings.again_variance
    else:
        mean[w] = covariance[w, :] = covariance[:, w] = 0.0
        covariance[w, w] = settings.workbook_sd**2
    covariance[s, s] += settings.subject_drift**2
    for ahead in (-2, -1):
        covariance[ahead, ahead] += settings.ahead_drift**2 / len(state.subjects)
    return State(state.subjects, mean, covariance)


def observe(
    state: State,
    subject: str,
    kind: Kind,
    counts: Counts,
    settings: Settings = DEFAULTS,
    harder: float = 0.0,
) -> State:
    """Take one more result into account; no question asked leaves everything as it is.

    Args:
        state: what was known before.
        subject: of the workbook in hand.
        kind: of evidence. All results of a kind in a workbook belong in one call, except practice tests.
        counts: asked, and right at first marking. Later rounds of re-marking are not for here.
        settings: of the filter.
        harder: how much harder this unit test is known to be than its workbook's other marks make it look (logits,
            see `difficulty`). Only a unit test heeds it.

    Raises:
        ValueError: the learner has no such subject.
    """
    weights = _weights(state, subject, settings.of(kind))
    if not counts.asked:
        return state
    of_kind = settings.of(kind)
    gain = state.covariance @ weights
    centre = of_kind.offset + float(weights @ state.mean) - (harder if kind is Kind.UNIT else 0.0)
    variance = float(weights @ gain) + of_kind.noise**2
    mode, left = _laplace(counts, centre, variance)
    mean = state.mean + gain * ((mode - centre) / variance)
    covariance = state.covariance - np.outer(gain, gain) * ((variance - left) / variance**2)
    return State(state.subjects, mean, covariance)


def _weights(state: State, subject: str, kind: KindSettings) -> Floats:
    """The weights h of x in the linear predictor of one kind of evidence."""
    weights = np.zeros(len(state.mean))
    weights[0] = weights[state.subject_at(subject)] = weights[state.workbook_at(subject)] = 1.0
    weights[-2], weights[-1] = kind.open_book, kind.own_test
    return weights


def _laplace(counts: Counts, centre: float, variance: float) -> tuple[float, float]:
    """Mode and variance of eta ~ N(centre, variance) after a binomial count with the chance 1 / (1 + exp(-eta)).

    Newton's steps are cut at 1.5 because a whole one from far off would overshoot; the posterior is log-concave, so
    that they end at its only top.
    """
    asked, right = counts.asked, counts.right
    x = centre
    for _ in range(60):
        p = logistic(x)
        step = (right - asked * p - (x - centre) / variance) / (asked * p * (1 - p) + 1 / variance)
        x += min(max(step, -1.5), 1.5)
        if abs(step) < 1e-12:
            break
    p = logistic(x)
    return x, 1 / (1 / variance + asked * p * (1 - p))


def hold(state: State, subject: str, attempt: int, settings: Settings = DEFAULTS) -> State:
    """Let a hold day with review pass before practice attempt 1 (the second one), 2, ..

    Raises:
        ValueError: the attempt is below 1, or the learner has no such subject.
    """
    mean, covariance = state.mean.copy(), state.covariance.copy()
    w = state.workbook_at(subject)
    mean[w] += settings.gain(attempt)
    covariance[w, w] += settings.review_variance
    return State(state.subjects, mean, covariance)


def work_through(
    state: State, book: BookEvidence, settings: Settings = DEFAULTS, harder: float = 0.0
) -> State:
    """Take in one working of a workbook from its beginning; nothing that is missing in it is needed.

    A book in hand is taken in anew each time, from the state before it: nothing is ever undone.

    Raises:
        ValueError: the learner has no such subject.
    """
    state = before_unit(state, book, settings)
    if book.unit is not None:
        state = observe(state, book.subject, Kind.UNIT, book.unit, settings, harder)
    return state


def before_unit(state: State, book: BookEvidence, settings: Settings = DEFAULTS) -> State:
    """Take in a book like `work_through`, up to the eve of its unit test.

    Raises:
        ValueError: the learner has no such subject.
    """
    subject = book.subject
    state = begin_book(state, subject, settings, book.again)
    for kind, counts in (
        (Kind.SECTIONS, book.sections),
        (Kind.CHECKS, book.checks),
        (Kind.ORAL, book.oral),
    ):
        state = observe(state, subject, kind, counts, settings)
    for attempt, counts in enumerate(book.practice):
        if attempt:
            state = hold(state, subject, attempt, settings)
        state = observe(state, subject, Kind.PRACTICE, counts, settings)
    return state


def follow(
    books: Iterable[BookEvidence],
    subjects: Sequence[str],
    settings: Settings = DEFAULTS,
    harder: Mapping[str, float] | None = None,
) -> State:
    """Take in all books of a learner in the order given, which must be that of time.

    `harder` holds how much harder unit tests are known to be, by workbook (logits, see `difficulty`); others count as 0.

    Raises:
        ValueError: a book is of another subject.
    """
    known = harder or {}
    state = start(subjects, settings)
    for book in books:
        state = work_through(state, book, settings, known.get(book.workbook, 0.0))
    return state


# --- the unit test to come ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Readiness:
    """The probability of passing a unit test tomorrow, with its ranges."""

    mean: float
    """Ability in this workbook, logits of an answer in the unit test."""
    spread: float
    """Standard deviation of that ability, without what is peculiar to one test."""
    chance: float
    """Probability of passing."""
    chance_low: float
    chance_high: float
    """Nominal 90 % range of the probability of passing, were ability and the day known."""
    score_low: int
    score_high: int
    """Nominal 90 % range of the answers right."""
    asked: int
    needed: int

    @property
    def evidence(self) -> Evidence:
        """How much the marks tell."""
        return Evidence.of(self.spread)

    @property
    def shown_percent(self) -> int:
        """The chance in percent as it may be shown, from 2 to 98: nobody is ever sure."""
        return shown_percent(self.chance)

    @property
    def shown_range(self) -> tuple[int, int]:
        """The range of the chance in percent as it may be shown."""
        return shown_percent(self.chance_low), shown_percent(self.chance_high)

    @property
    def sentence(self) -> str:
        """What a parent reads."""
        passing = of_children(self.chance, 10)
        return say(
            "Out of 10 children in this position {passing} tomorrow; "
            "most of them have {low} to {high} of {asked} right ({evidence}).",
            passing=passing,
            low=self.score_low,
            high=self.score_high,
            asked=self.asked,
            evidence=say(str(self.evidence)),
        )


def predict(
    state: State,
    subject: str,
    asked: int,
    needed: int,
    settings: Settings = DEFAULTS,
    harder: float = 0.0,
) -> Readiness:
    """Forecast the unit test of the workbook in hand, were it sat tomorrow.

    Where points carry part marks, `asked` is the number of answers that are marked separately. The range of the chance
    is the chance at ability -+ 1.645 T with nothing but the drawing of answers inside, T^2 = spread^2 + noise^2: without
    the noise of the day in T it covers far too rarely.

    Raises:
        ValueError: no question is asked, or the learner has no such subject.
    """
    mean, spread = state.ability(subject)
    mean -= harder
    total = math.hypot(spread, settings.unit.noise)
    score_low, score_high = score_range(mean, total, asked)
    return Readiness(
        mean,
        spread,
        chance(mean, spread, asked, needed, settings),
        pass_chance(mean - 1.645 * total, asked, needed),
        pass_chance(mean + 1.645 * total, asked, needed),
        score_low,
        score_high,
        asked,
        needed,
    )


def chance(mean: float, spread: float, asked: int, needed: int, settings: Settings = DEFAULTS) -> float:
    """Probability of at least `needed` right of `asked`, for ability N(mean, spread^2) and the noise of a unit test.

    With c = (needed - 1/2) / asked and L = ln(c / (1 - c)) it is Phi((mean - L) / sqrt(T^2 + 1 / (asked c (1 - c)))),
    T^2 = spread^2 + noise^2: the count's logit is taken as normal around ability, with the continuity correction
    (the empirical logit of Cox 1970, Analysis of Binary Data; from memory). Within .015 of the exact integral from
    20 questions on.

    Raises:
        ValueError: no question is asked, or the spread is negative.
    """
    if spread < 0:
        raise ValueError(f"a standard deviation is not negative, got {spread}")
    edge = edge_of(asked, needed, math.hypot(spread, settings.unit.noise))
    if edge is None:
        return 1.0 if needed <= 0 else 0.0
    return normal_below((mean - edge[0]) / edge[1])


# --- objectives -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ObjectiveReading:
    """What the marks tell of one objective of the workbook in hand, by unit-test measure."""

    name: str
    mean: float
    spread: float
    """Standard deviation (logits), the learner's own uncertainty and the objective's together."""
    learnt_prior: float
    """Chance that it is learnt, where learnt and not yet are the only two possibilities: where an oral quiz starts."""


def objectives(
    state: State,
    subject: str,
    counts: Mapping[str, Counts],
    settings: Settings = DEFAULTS,
    between: float = 0.55,
) -> tuple[ObjectiveReading, ...]:
    """Read each objective from its own first markings, around the learner's ability in the workbook.

    Ability at objective j is N(mean + d_j, spread^2), d_j ~ N(0, between^2); d_j is refined by the counts of j, read
    like sections. Ability and open-book advantage stay at their means meanwhile: the same marks have moved them already
    and must not count twice. `between` is a guess.

    Args:
        state: what is known, with the workbook in hand.
        subject: of the workbook.
        counts: first markings by name of objective; no question marked is allowed.
        settings: of the filter.
        between: standard deviation of objectives within a learner and workbook (logits).

    Raises:
        ValueError: the learner has no such subject, or `between` is not positive.
    """
    if between <= 0:
        raise ValueError(f"the spread between objectives must be positive, got {between}")
    mean, spread = state.ability(subject)
    at_sections = mean + settings.sections.offset + settings.sections.open_book * float(state.mean[-2])
    found = []
    for name, count in counts.items():
        mode, left = _laplace(count, at_sections, between**2)
        own, total = mean + mode - at_sections, math.sqrt(spread**2 + left)
        found.append(ObjectiveReading(name, own, total, learnt_prior(own, total, between=0.0)))
    return tuple(found)


def learnt_prior(mean: float, spread: float, between: float = 0.55) -> float:
    """Where an oral quiz starts: hi / (hi + lo) for one objective with ability N(mean, spread^2 + between^2).

    hi is the chance that answers are right with .85 or more, lo that they are with less than .70. The region between
    is no one's: whichever the quiz says there is no error.

    Raises:
        ValueError: the spreads are 0 or negative.
    """
    total = math.hypot(spread, between)
    if total <= 0 or spread < 0 or between < 0:
        raise ValueError(f"spreads must not be negative nor both 0, got {spread} and {between}")
    learnt, not_yet = math.log(0.85 / 0.15), math.log(0.70 / 0.30)
    high = normal_below((mean - learnt) / total)
    low = normal_below((not_yet - mean) / total)
    if high + low == 0.0:
        return float(learnt - mean < mean - not_yet)
    return high / (high + low)
