"""Simulated quizzes, ticks and pairs of tests: `python -m tests.measure.marking_worlds` prints the tables of
docs/explanation/quizzes-and-spot-checks.md, with --write it puts them there.

Nobody's real answers are in here: the figures are about these worlds. The sizes of the five worlds are those of
`tests.worlds.world`; the pairs of tests are drawn anew here, in short.
"""

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.stats import binom, norm

from markstead.measure.gap import TestPair, practice_ahead
from markstead.measure.oral import DEFAULT_RULE, Candidate, card, next_questions, operating
from markstead.measure.readiness import learnt_prior
from markstead.measure.spot import (
    ALTERNATIVES,
    FADE,
    PRIOR_RIGHT,
    PRIOR_SLIPS,
    SHOW_AT,
    SPAN,
    TOLERATED,
    need,
    needs,
    too_many,
    unseen,
)
from tests.worlds.world import FIVE, World

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Bools = NDArray[np.bool_]

PAGE = Path(__file__).parents[2] / "docs" / "explanation" / "quizzes-and-spot-checks.md"
FROM = "<!-- tables: python -m tests.measure.marking_worlds --write -->"
TO = "<!-- end of the tables -->"
START = date(2026, 9, 7)


# --- oral quizzes -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Objectives:
    """What is known of an objective before its quiz, and what is true: abilities in logits."""

    name: str
    mean: float
    spread: float


SETTINGS = (
    Objectives("strong", 2.6, 0.7),
    Objectives("typical", 1.9, 0.8),
    Objectives("doubtful", 1.2, 0.8),
    Objectives("weak", 0.5, 0.8),
)
LEARNT_FROM, NOT_YET_BELOW = 0.85, 0.70
"""A share of right answers from which 'not yet' is an error, and one below which 'learnt' is."""


@dataclass(frozen=True, slots=True)
class Errors:
    """Joint probabilities of both errors, and the mean number of questions."""

    false_learnt: float
    false_not_yet: float
    questions: float

    @property
    def total(self) -> float:
        return self.false_learnt + self.false_not_yet


def _over_truth(about: Objectives, shift: float, decide: Callable[[float], tuple[float, float]]) -> Errors:
    """Average over abilities N(mean + shift, spread^2): a fine grid of midpoints, good to four digits."""
    z = np.linspace(-6, 6, 1202)
    weight = norm.pdf(z) / norm.pdf(z).sum()
    p = 1 / (1 + np.exp(-(about.mean + shift + about.spread * z)))
    learnt, questions = np.array([decide(float(x)) for x in p]).T
    return Errors(
        float((weight * learnt)[p < NOT_YET_BELOW].sum()),
        float((weight * (1 - learnt))[p >= LEARNT_FROM].sum()),
        float((weight * questions).sum()),
    )


def quiz_errors(about: Objectives, shift: float = 0.0, prior: float | None = None) -> Errors:
    """The product's rule; truth differs from what is known by `shift` logits.

    The prior is the product's for an objective of which nothing is known beside the learner's ability, or the one given.
    """
    start = learnt_prior(about.mean, about.spread) if prior is None else prior

    def decide(p: float) -> tuple[float, float]:
        found = operating(p, start)
        return found.learnt, found.mean_questions

    return _over_truth(about, shift, decide)


def fixed_errors(about: Objectives, shift: float = 0.0, asked: int = 10, needed: int = 8) -> Errors:
    """Ten questions always; eight right are enough."""
    return _over_truth(about, shift, lambda p: (float(binom.sf(needed - 1, asked, p)), float(asked)))


def run_quizzes(rng: Generator, p: float, prior: float, runs: int) -> tuple[float, float]:
    """Hold quizzes by the printed card alone; gives the share that ended as learnt, and the mean length."""
    answers = rng.random((runs, DEFAULT_RULE.most)) < p
    right = answers.cumsum(axis=1)
    going, learnt, asked = np.ones(runs, bool), np.zeros(runs, bool), np.zeros(runs, int)
    for line in card(prior).lines:
        good = right[:, line.asked - 1]
        passed = going & (good >= line.right_needed if line.right_needed is not None else False)
        failed = going & (line.asked - good >= line.wrong_ends if line.wrong_ends is not None else False)
        learnt |= passed
        asked[passed | failed] = line.asked
        going &= ~(passed | failed)
    assert not going.any()
    return float(learnt.mean()), float(asked.mean())


Chooser = Callable[[Sequence[Candidate], Generator], Sequence[Candidate]]


def by_the_product(candidates: Sequence[Candidate], rng: Generator) -> Sequence[Candidate]:
    return next_questions(candidates, START, (), rng, most=8)


def by_lot(candidates: Sequence[Candidate], rng: Generator) -> Sequence[Candidate]:
    return [candidates[i] for i in rng.permutation(len(candidates))[:8]]


def one_of_each(candidates: Sequence[Candidate], rng: Generator) -> Sequence[Candidate]:
    found: dict[str, Candidate] = {}
    for i in rng.permutation(len(candidates)):
        found.setdefault(candidates[i].stop, candidates[i])
    return list(found.values())


def weak_caught(rng: Generator, quizzes: int, choose: Chooser) -> float:
    """The share of weak objectives of which an answer is wrong in a quiz of eight questions.

    Eight objectives of nine questions, one in five weak (ability .2 against 2.2); half a logit was won by the
    correction, and questions that were wrong at first are half a logit harder later.
    """
    caught = weak_ones = 0
    for _ in range(quizzes):
        weak = rng.random(8) < 0.2
        chance = 1 / (1 + np.exp(-np.where(weak, 0.2, 2.2)))
        wrong = rng.random((8, 9)) > chance[:, None]
        candidates = [
            Candidate(f"s{j}", q, None, bool(wrong[j, q]), None) for j in range(8) for q in range(9)
        ]
        missed = set()
        for asked in choose(candidates, rng):
            j = int(asked.stop[1:])
            ability = (0.2 if weak[j] else 2.2) + 0.5 - 0.5 * asked.wrong_at_first
            if rng.random() > 1 / (1 + np.exp(-ability)):
                missed.add(j)
        caught += sum(bool(weak[j]) for j in missed)
        weak_ones += int(weak.sum())
    return caught / weak_ones


# --- spot checks ------------------------------------------------------------------------------------------------

DAYS, TICKS = 180, 20


@dataclass(frozen=True, slots=True)
class Marker:
    """How often a learner ticks a wrong answer, day by day."""

    name: str
    rate: float
    turns_at: int | None = None
    then: float = 0.0

    def rates(self) -> Floats:
        day = np.arange(DAYS)
        if self.turns_at is None:
            return np.full(DAYS, self.rate)
        return np.where(day < self.turns_at, self.rate, self.then)


CAREFUL = Marker(".4 % of ticks wrong", 0.004)
TOLERATED_LIMIT = Marker("2 % (the tolerated limit)", 0.02)
LENIENT = Marker("6 %", 0.06)
TURNED_LENIENT = Marker(".4 % until day 80, then 10 %", 0.004, 80, 0.10)
TURNED_CAREFUL = Marker("10 % until day 60, then .4 %", 0.10, 60, 0.004)
MARKERS = (
    CAREFUL,
    Marker("1.5 %", 0.015),
    TOLERATED_LIMIT,
    Marker("4 %", 0.04),
    LENIENT,
    Marker("10 %", 0.10),
    TURNED_LENIENT,
    Marker(".4 % until day 80, then 6 %", 0.004, 80, 0.06),
    TURNED_CAREFUL,
)


@dataclass(frozen=True, slots=True)
class Year:
    """A year of spot checks: arrays [learners, days]."""

    looked: Whole
    slips: Whole
    wrong: Whole
    fixed: dict[int, Whole]
    """Slips that a fixed number of looks would have shown on the same day."""
    shown: Bools
    """The proposal to mark a section together stands, were it not for its lasting until the span ends."""

    def unseen_a_year(self, fixed: int | None = None) -> float:
        """Days a year with too many slips of which none was seen."""
        slips = self.slips if fixed is None else self.fixed[fixed]
        return float(((self.wrong >= too_many(TICKS)) & (slips == 0)).sum(axis=1).mean())

    def ever_shown(self, since: int = 0) -> Bools:
        return self.shown[:, since:].any(axis=1)

    def median_day(self, since: int = 0) -> float:
        """The median day, counted from 1 at `since`, on which it is first shown; those never shown come last."""
        shown = self.shown[:, since:]
        first = np.where(shown.any(axis=1), shown.argmax(axis=1) + 1.0, np.inf)
        return float(np.median(first))


def look(wrong: Bools, seen: Floats, slips: Floats) -> tuple[Whole, Whole]:
    """Look at a day's ticks, `wrong` [learners, ticks] in the order drawn, until the rule is met."""
    ticks = wrong.shape[1]
    so_far = np.hstack([np.zeros((len(wrong), 1), np.int64), wrong.cumsum(axis=1)])
    looked = needs(ticks, PRIOR_SLIPS + slips, PRIOR_RIGHT + seen - slips)
    while True:
        found = so_far[np.arange(len(wrong)), looked]
        a, b = PRIOR_SLIPS + slips + found, PRIOR_RIGHT + seen + looked - slips - found
        wanted = np.where(found > 0, np.maximum(looked, needs(ticks, a, b)), looked)
        if np.array_equal(wanted, looked):
            return looked, found
        looked = wanted


def log_e(slips: Whole, seen: Whole) -> Floats:
    """The logarithm of the e-value, written for arrays."""
    r = np.array(ALTERNATIVES)[:, None]
    logs = slips * np.log(r / TOLERATED) + (seen - slips) * np.log((1 - r) / (1 - TOLERATED))
    return np.logaddexp.reduce(logs, axis=0) - np.log(len(r))


def spot_year(rng: Generator, marker: Marker, learners: int) -> Year:
    """Let learners mark for a year, and look at their ticks every day."""
    size = (learners, DAYS)
    looked, slips, wrong = (np.zeros(size, np.int64) for _ in range(3))
    fixed = {n: np.zeros(size, np.int64) for n in (2, 5)}
    shown = np.zeros(size, bool)
    x, y = np.zeros(learners), np.zeros(learners)
    for day, rate in enumerate(marker.rates()):
        # Ticks are wrong each by itself, so that any order is one drawn by lot.
        ticks = rng.random((learners, TICKS)) < rate
        looked[:, day], slips[:, day] = look(ticks, x, y)
        wrong[:, day] = ticks.sum(axis=1)
        for n, kept in fixed.items():
            kept[:, day] = ticks[:, :n].sum(axis=1)
        x, y = FADE * (x + looked[:, day]), FADE * (y + slips[:, day])
        span = slice(day - day % SPAN, day + 1)
        found, days_with = slips[:, span].sum(axis=1), (slips[:, span] > 0).sum(axis=1)
        evidence = log_e(found, looked[:, span].sum(axis=1))
        shown[:, day] = (evidence >= np.log(SHOW_AT)) & (found >= 3) & (days_with >= 2)
    return Year(looked, slips, wrong, fixed, shown)


# --- practice and unit tests ------------------------------------------------------------------------------------

SITTINGS, OBJECTIVES, SECTION_ASKED, PRACTICE_ASKED, UNIT_ASKED = 72, 8, 9, 32, 40
NERVOUS = tuple(replace(world, nerves_mean=0.30, nerves_sd=0.8 * world.nerves_sd) for world in FIVE)
"""The five worlds with nerves of .30 on average instead of .15: then practice tests of learners who mark with care run
ahead by about .30 logits, the middle of what the rule takes for usual."""
BANDS = ((0.0, 0.06), (0.2, 0.4), (0.4, 0.6), (0.6, 1.0))
"""Shares of wrong answers of a practice test that a learner ticks right."""


def sittings(rng: Generator, world: World, learners: int, band: tuple[float, float]) -> tuple[Whole, Whole]:
    """A year of practice and unit tests, right answers [learners, sittings].

    What makes practice run ahead: ticks on wrong answers, answers looked up by some, forgetting overnight, nerves when
    watched. What makes both vary: subject, workbook, objective, errors of the sections that were never corrected, good
    and bad days, the questions of each form.
    """
    size = (learners, SITTINGS)
    level = world.level + rng.normal(0, np.hypot(world.home_sd, world.learner_sd), (learners, 1))
    subject = np.tile(rng.normal(0, world.subject_sd, (learners, 6)), SITTINGS // 6)
    book = world.fit_scale * rng.standard_t(5, size) - rng.normal(0, world.workbook_sd, SITTINGS)
    evening = (level + subject + book)[..., None] + rng.normal(0, world.objective_sd, (*size, OBJECTIVES))
    ticked = _ticked(rng, world, learners, band)[:, None, None]
    evening -= world.unnoticed_cost * rng.binomial(SECTION_ASKED, ticked / (1 + np.exp(evening)))
    practice = _answers(rng, world, evening, PRACTICE_ASKED)
    practice |= rng.random(practice.shape) < world.peek_rate * (
        rng.random((learners, 1, 1)) < world.peeker_share
    )
    practice |= rng.random(practice.shape) < ticked
    found = (~practice).reshape(*size, OBJECTIVES, -1).sum(axis=3)
    overnight = world.overnight * np.exp(rng.normal(-0.08, 0.4, (learners, 1, 1)))
    nerves = rng.normal(world.nerves_mean, world.nerves_sd, (learners, 1, 1))
    morning = evening + world.correction_gain * found + world.form_gain - overnight - nerves
    unit = _answers(rng, world, morning, UNIT_ASKED)
    return practice.sum(axis=2), unit.sum(axis=2)


def _answers(rng: Generator, world: World, ability: Floats, asked: int) -> Bools:
    """Answers by objective, [learners, sittings, questions]; every learner has forms of his own.

    Forms that all share would let the luck of one set of questions colour a whole world.
    """
    size = (*ability.shape[:2], asked)
    day = rng.normal(0, world.day_sd, (*size[:2], 1))
    form = rng.normal(0, world.form_sd, (*size[:2], 1)) + rng.normal(0, world.question_sd, size)
    slope = np.exp(rng.normal(0, world.slope_sd, size))
    guess = 0.25 * (rng.random(size) < world.guessable)
    known = 1 / (1 + np.exp(-slope * (np.repeat(ability, asked // OBJECTIVES, axis=2) + day - form)))
    right: Bools = rng.random(known.shape) < guess + (1 - guess) * known
    return right


def _ticked(rng: Generator, world: World, learners: int, band: tuple[float, float]) -> Floats:
    """Shares of wrong answers ticked right, as they are in the world, but of one band only."""
    kept = np.zeros(0)
    while len(kept) < learners:
        lenient = rng.random(4000) < world.lenient_share
        share = np.where(lenient, rng.beta(2, 5, 4000), rng.beta(1, 30, 4000))
        kept = np.append(kept, share[(share >= band[0]) & (share < band[1])])
    return kept[:learners]


def pairs_of(practice: Whole, unit: Whole) -> list[TestPair]:
    """The sittings of one learner as the product takes them."""
    return [
        TestPair(START + timedelta(days=2 * k), int(p), PRACTICE_ASKED, int(u), UNIT_ASKED)
        for k, (p, u) in enumerate(zip(practice, unit, strict=True))
    ]


def signs(rng: Generator, world: World, learners: int, band: tuple[float, float]) -> float:
    """The share of learners for whom the floor of the spot check is raised at least once in a year."""
    practice, unit = sittings(rng, world, learners, band)
    # Without a marking day to count, a sign lasts: raised at the end means raised at some time.
    raised = [practice_ahead(pairs_of(p, u), ()).days_left > 0 for p, u in zip(practice, unit, strict=True)]
    return float(np.mean(raised))


def gap_rules(rng: Generator, world: World, learners: int) -> tuple[float, float]:
    """Two simple rules, among learners who mark carefully: any gap above 10 points; mean above 5 points after 12."""
    practice, unit = sittings(rng, world, learners, BANDS[0])
    points = 100 * (practice / PRACTICE_ASKED - unit / UNIT_ASKED)
    means = points.cumsum(axis=1) / np.arange(1, SITTINGS + 1)
    return float((points > 10).any(axis=1).mean()), float((means[:, 11:] > 5).any(axis=1).mean())


# --- tables -----------------------------------------------------------------------------------------------------


def quiz_tables(rng: Generator) -> Iterator[str]:
    yield "### Oral quizzes"
    yield ""
    yield "The card: right answers that end it as learnt / wrong answers that end it as not yet, by questions asked."
    yield ""
    lines = {prior: card(prior).lines for prior in (0.2, 0.5, 0.8)}
    asked = [line.asked for line in lines[0.5]]
    yield "| chance that it is learnt | " + " | ".join(map(str, asked)) + " |"
    yield "| --- " * (len(asked) + 1) + "|"
    names = {0.2: ".33 or less", 0.5: ".50, nothing known", 0.8: ".67 or more"}
    for prior, kept in lines.items():
        cells = (f"{_or_dash(line.right_needed)}/{_or_dash(line.wrong_ends)}" for line in kept)
        yield f"| {names[prior]} | " + " | ".join(cells) + " |"
    yield ""
    yield "What it does, exactly: the chance to end as learnt, and the mean number of questions."
    yield ""
    shares = (0.90, 0.85, 0.80, 0.70, 0.65, 0.60)
    yield (
        "| truth: share right | " + " | ".join(f"{p:.2f}" for p in shares) + " | questions at .9 / .8 / .6 |"
    )
    yield "| --- " * (len(shares) + 2) + "|"
    for prior, name in names.items():
        learnt = " | ".join(f"{operating(p, prior).learnt:.3f}" for p in shares)
        length = " / ".join(f"{operating(p, prior).mean_questions:.1f}" for p in (0.9, 0.8, 0.6))
        yield f"| {name} | {learnt} | {length} |"
    fixed = " | ".join(f"{binom.sf(7, 10, p):.3f}" for p in shares)
    yield f"| ten questions, eight right are enough | {fixed} | 10 |"
    yield ""
    yield (
        "Errors where ability varies: chance of a false 'learnt' (truth below .70) + of a false 'not yet' (truth .85 or "
        "more), and mean number of questions. Too rosy: truth is half a logit lower than the quiz was told."
    )
    yield ""
    yield "| objective | ten questions | the rule | ten, too rosy | the rule, too rosy |"
    yield "| --- | --- | --- | --- | --- |"
    for about in SETTINGS:
        cells = (
            fixed_errors(about),
            quiz_errors(about),
            fixed_errors(about, -0.5),
            quiz_errors(about, -0.5),
        )
        row = " | ".join(f"{e.false_learnt:.3f} + {e.false_not_yet:.3f}; {e.questions:.1f}" for e in cells)
        yield f"| {about.name} N({about.mean}, {about.spread}) | {row} |"
    yield ""
    found = {
        choose.__name__: weak_caught(rng, 4000, choose) for choose in (by_lot, one_of_each, by_the_product)
    }
    yield (
        f"Weak objectives caught by a quiz of eight questions (4,000 quizzes, standard error .01): by lot "
        f"{found['by_lot']:.2f}, one of each {found['one_of_each']:.2f}, the product's order "
        f"{found['by_the_product']:.2f}."
    )


def _or_dash(count: int | None) -> str:
    return "–" if count is None else str(count)


def spot_tables(rng: Generator) -> Iterator[str]:
    yield "### Spot checks"
    yield ""
    batches = (8, 12, 16, 20, 30, 40)
    yield "Ticks to mark again of one batch, by its number of ticks."
    yield ""
    yield "| record | " + " | ".join(map(str, batches)) + " |"
    yield "| --- " * (len(batches) + 1) + "|"
    for name, a, b in (
        ("none yet", 0.6, 11.4),
        ("60 looked at, none a slip", 0.6, 71.4),
        ("30 looked at, 3 slips", 3.6, 38.4),
    ):
        yield f"| {name} | " + " | ".join(str(need(n, a, b)) for n in batches) + " |"
    yield ""
    met = unseen(TICKS)
    for slips in (2, 4):
        shares = ", ".join(f"{1 - met[slips, r]:.2f}" for r in (2, 5, 10, 15))
        yield f"Of 20 ticks {slips} are slips: 2, 5, 10, 15 looks meet at least one with {shares}."
    yield ""
    yield f"A year of {DAYS} days with {TICKS} ticks, 2,000 learners a line. Unseen: days a year with two slips or more, none seen."
    yield ""
    yield "| learner | looks a day: year; first 20; last 40 | unseen: the rule / always 2 / always 5 | proposal ever | median day |"
    yield "| --- | --- | --- | --- | --- |"
    for marker in MARKERS:
        year = spot_year(rng, marker, 2000)
        days = (year.looked.mean(), year.looked[:, :20].mean(), year.looked[:, -40:].mean())
        unseen_days = (year.unseen_a_year(), year.unseen_a_year(2), year.unseen_a_year(5))
        day = year.median_day()
        yield (
            f"| {marker.name} | {'; '.join(f'{d:.1f}' for d in days)} "
            f"| {' / '.join(f'{d:.1f}' for d in unseen_days)} | {year.ever_shown().mean():.3f} "
            f"| {f'{day:.0f}' if np.isfinite(day) else '–'} |"
        )


def gap_tables(rng: Generator) -> Iterator[str]:
    yield "### Practice tests ahead of unit tests"
    yield ""
    yield (
        f"The share of learners for whom the floor is raised at least once in a year of {SITTINGS} sittings, by the share "
        "of their wrong answers that they tick right. 1,500 learners below 6 %, 500 in the other bands."
    )
    for title, worlds in (
        ("Practice runs ahead by about .30 logits without any slip (nerves .30)", NERVOUS),
        ("By about .20 logits (nerves .15, as in the worlds of readiness.md)", FIVE),
    ):
        yield ""
        yield f"{title}:"
        yield ""
        yield "| world | below 6 % | 20 to 40 % | 40 to 60 % | above 60 % |"
        yield "| --- | --- | --- | --- | --- |"
        for world in worlds:
            found = [signs(rng, world, 500 if k else 1500, band) for k, band in enumerate(BANDS)]
            yield (
                f"| {world.name} | {found[0]:.3f} | "
                + " | ".join(f"{share:.2f}" for share in found[1:])
                + " |"
            )
    yield ""
    simple = [gap_rules(rng, world, 500) for world in NERVOUS]
    single, mean = np.array(simple).T
    yield (
        "Two simple rules, for learners below 6 %, worlds A to E: any gap above 10 points would point at "
        f"{', '.join(f'{x:.2f}' for x in single)} of them in a year; a mean gap above 5 points from the twelfth sitting at "
        f"{', '.join(f'{x:.2f}' for x in mean)}."
    )


def tables() -> str:
    rng = np.random.default_rng(11)
    parts = (quiz_tables(rng), spot_tables(rng), gap_tables(rng))
    return "\n\n".join("\n".join(part) for part in parts)


def main() -> None:
    """Print the tables, or write them into the page."""
    parser = argparse.ArgumentParser(prog="python -m tests.measure.marking_worlds", description=__doc__)
    parser.add_argument("--write", action="store_true", help="write the tables into the page")
    write = parser.parse_args().write
    text = tables()
    if not write:
        sys.stdout.write(text + "\n")
        return
    before, rest = PAGE.read_text(encoding="utf-8").split(FROM)
    _, after = rest.split(TO)
    PAGE.write_text(f"{before}{FROM}\n\n{text}\n\n{TO}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
