"""Answers, question by question, of whole homes over twelve workbooks in each of six subjects.

Everything is an array over learners; the loop goes over workbooks. What would have happened is drawn for every learner
after each of three practice attempts, passed or not, so that any rule for when to sit can be tried on the same learners.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.worlds.world import World

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

SUBJECTS = ("arithmetic", "grammar", "science", "history", "spelling", "geography")
WORKBOOKS, OBJECTIVES, ATTEMPTS = 12, 8, 3
SECTIONS_ASKED, CHECKS_ASKED, ORAL_ASKED, PRACTICE_ASKED, UNIT_ASKED = 72, 27, 8, 32, 40
PRACTICE_NEEDED, UNIT_NEEDED = 26, 32
"""Eighty percent, rounded up."""

SECTION_DAYS = 2.0
SECTION_ENDS = SECTION_DAYS * np.arange(1, OBJECTIVES + 1)
CHECK_AFTER = (2, 5, 7)
"""Sections (counted from 0) after which a check asks nine questions about what came so far."""
BOOK_ENDS = float(SECTION_ENDS[-1])
DAY_POINTS = 7
"""Points of the Gauss-Hermite average over days."""


@dataclass(frozen=True, slots=True)
class Questions:
    """The questions of one form: slope, difficulty, chance of a guess, and the objective that each asks for."""

    slope: Floats
    difficulty: Floats
    guess: Floats
    objective: Whole

    def chance(self, ability: Floats) -> Floats:
        """Chance of a right answer: [learners, questions] for abilities of the same shape."""
        known = 1 / (1 + np.exp(-self.slope * (ability - self.difficulty)))
        return self.guess + (1 - self.guess) * known


@dataclass(frozen=True, slots=True)
class Book:
    """One workbook as every home has it."""

    difficulty: float
    sections: Questions
    checks: Questions
    practice: tuple[Questions, ...]
    unit: Questions


@dataclass(frozen=True, slots=True)
class Records:
    """What the homes of a world wrote down, and what they could not know.

    Arrays are [learner, subject, workbook], tests [learner, subject, workbook, attempt]: `unit_right[..., a]` is the
    unit test that would have been sat the morning after practice attempt a, `unit_chance` the chance to pass it, given
    the learner and the questions, but before it is known whether that morning is a good or a bad one, and
    `morning_chance` the same once that is known.
    """

    home: Whole
    sections: Whole
    checks: Whole
    oral: Whole
    practice: Whole
    unit: Whole
    unit_chance: Floats
    morning_chance: Floats

    @property
    def learners(self) -> int:
        """How many learners."""
        return len(self.home)


@dataclass(frozen=True, slots=True)
class _People:
    """What a learner brings to every workbook; arrays over learners."""

    home: Whole
    subject: Floats
    boost: Floats
    ticked: Floats
    peeks: Floats
    forget: Floats
    overnight: Floats
    review: Floats
    nerves: Floats
    severity: Floats


def books(world: World, seed: int) -> list[list[Book]]:
    """Print the workbooks of a world, [subject][workbook]; all homes that share them pass the same seed."""
    rng = np.random.default_rng([seed, 1])
    return [[_book(world, rng) for _ in range(WORKBOOKS)] for _ in SUBJECTS]


def live(world: World, shelf: list[list[Book]], homes: int, seed: int) -> Records:
    """Let homes work through the shelf, round by round of all subjects."""
    rng = np.random.default_rng([seed, 2])
    people = _people(world, homes, rng)
    size = (len(people.home), len(SUBJECTS), WORKBOOKS)
    sections, checks, oral = (np.zeros(size, np.int64) for _ in range(3))
    practice, unit = (np.zeros((*size, ATTEMPTS), np.int64) for _ in range(2))
    unit_chance, morning_chance = (np.zeros((*size, ATTEMPTS)) for _ in range(2))
    standing = people.subject.copy()
    for workbook in range(WORKBOOKS):
        for subject in range(len(SUBJECTS)):
            at = (slice(None), subject, workbook)
            book = shelf[subject][workbook]
            ability = _abilities(world, book, standing[:, subject], rng)
            by_section, unnoticed = _work_sections(world, people, book, ability, rng)
            ability -= world.unnoticed_cost * unnoticed
            sections[at] = by_section.sum(axis=1)
            checks[at] = _take_checks(world, people, book, ability, rng)
            ability -= people.forget[:, None] * np.log1p(BOOK_ENDS - SECTION_ENDS)
            oral[at] = _ask(people, by_section, ability, rng)
            practice[at], unit[at], unit_chance[at], morning_chance[at] = _test(
                world, people, book, ability, rng
            )
        standing += _drift(world, size[:2], rng)
    return Records(people.home, sections, checks, oral, practice, unit, unit_chance, morning_chance)


def passes(right_chance: Floats, needed: int) -> Floats:
    """Chance of at least `needed` right answers to independent questions, [..., questions] -> [...].

    The exact distribution of the count, built one question at a time (the Poisson-binomial distribution).
    """
    *shape, asked = right_chance.shape
    count = np.zeros((*shape, asked + 1))
    count[..., 0] = 1
    for k in range(asked):
        p = right_chance[..., k, None]
        count[..., 1 : k + 2] = count[..., 1 : k + 2] * (1 - p) + count[..., : k + 1] * p
        count[..., 0] *= 1 - p[..., 0]
    enough: Floats = np.clip(count[..., needed:].sum(axis=-1), 0, 1)
    return enough


def _questions(world: World, objectives: Whole, form: float, rng: Generator) -> Questions:
    """Write one form, asking for these objectives."""
    n = len(objectives)
    return Questions(
        slope=np.exp(rng.normal(0, world.slope_sd, n)),
        difficulty=form + rng.normal(0, world.question_sd, n),
        guess=np.where(rng.random(n) < world.guessable, 0.25, 0.0),
        objective=objectives,
    )


def _book(world: World, rng: Generator) -> Book:
    """Write one workbook."""
    difficulty = rng.normal(0, world.workbook_sd)
    evenly = np.arange(max(SECTIONS_ASKED, UNIT_ASKED)) % OBJECTIVES
    sofar = np.concatenate([np.arange(9) % (after + 1) for after in CHECK_AFTER])
    forms = rng.normal(0, world.form_sd, ATTEMPTS + 1)
    return Book(
        difficulty=float(difficulty),
        sections=_questions(world, evenly[:SECTIONS_ASKED], 0, rng),
        checks=_questions(world, sofar, 0, rng),
        practice=tuple(_questions(world, evenly[:PRACTICE_ASKED], forms[a], rng) for a in range(ATTEMPTS)),
        unit=_questions(world, evenly[:UNIT_ASKED], forms[-1], rng),
    )


def _people(world: World, homes: int, rng: Generator) -> _People:
    """Draw homes of one to four learners."""
    sizes = rng.choice([1, 2, 3, 4], size=homes, p=[0.2, 0.4, 0.3, 0.1])
    home = np.repeat(np.arange(homes), sizes)
    n = len(home)
    general = world.level + rng.normal(0, world.home_sd, homes)[home] + rng.normal(0, world.learner_sd, n)
    lenient = rng.random(n) < world.lenient_share
    peeker = rng.random(n) < world.peeker_share
    return _People(
        home=home,
        subject=general[:, None] + rng.normal(0, world.subject_sd, (n, len(SUBJECTS))),
        boost=world.open_book_median * np.exp(rng.normal(0, world.open_book_spread, n)),
        ticked=np.where(lenient, rng.beta(2, 5, n), rng.beta(1, 30, n)),
        peeks=np.where(peeker, world.peek_rate, 0.0),
        forget=world.forget * _around_one(0.4, n, rng),
        overnight=world.overnight * _around_one(0.4, n, rng),
        review=world.review_gain * _around_one(0.4, n, rng),
        nerves=rng.normal(world.nerves_mean, world.nerves_sd, n),
        severity=rng.normal(-world.oral_prompt, world.severity_sd, homes)[home],
    )


def _around_one(spread: float, n: int, rng: Generator) -> Floats:
    """Positive factors with mean one: log-normal."""
    return np.exp(rng.normal(-(spread**2) / 2, spread, n))


def _abilities(world: World, book: Book, standing: Floats, rng: Generator) -> Floats:
    """Ability at each objective of a workbook when its section has just been worked: [learners, objectives]."""
    n = len(standing)
    fit = world.fit_scale * rng.standard_t(5, n)
    return (standing - book.difficulty + fit)[:, None] + rng.normal(0, world.objective_sd, (n, OBJECTIVES))


def _drift(world: World, size: tuple[int, int], rng: Generator) -> Floats:
    """How a learner's subjects move until the next round: small steps, and rarely a fall."""
    falls = rng.random(size) < world.drop_chance
    return rng.normal(0, world.drift_sd, size) - world.drop_size * falls


def _mark(right: NDArray[np.bool_], ticked: Floats, rng: Generator) -> NDArray[np.bool_]:
    """Mark one's own answers: some wrong ones are ticked right."""
    return right | (rng.random(right.shape) < ticked[:, None])


def _by_objective(answers: NDArray[np.bool_], questions: Questions) -> Whole:
    """Count answers by objective: [learners, objectives]."""
    return np.stack([answers[:, questions.objective == j].sum(axis=1) for j in range(OBJECTIVES)], axis=1)


def _work_sections(
    world: World, people: _People, book: Book, ability: Floats, rng: Generator
) -> tuple[Whole, Whole]:
    """Work the sections with the book open and mark them: ticks at first marking, and errors ticked right."""
    asked = book.sections
    boost = people.boost + rng.normal(0, world.open_book_week_sd, len(people.boost))
    right = rng.random((len(ability), SECTIONS_ASKED)) < asked.chance(
        ability[:, asked.objective] + boost[:, None]
    )
    marked = _mark(right, people.ticked, rng)
    return _by_objective(marked, asked), _by_objective(marked & ~right, asked)


def _take_checks(world: World, people: _People, book: Book, ability: Floats, rng: Generator) -> Whole:
    """Take the progress checks, each some days after the sections that it asks about."""
    asked = book.checks
    taken = np.repeat(SECTION_ENDS[list(CHECK_AFTER)], 9)
    faded = people.forget[:, None] * np.log1p(taken - SECTION_ENDS[asked.objective])
    boost = world.open_book_in_checks * people.boost
    chance = asked.chance(ability[:, asked.objective] - faded + boost[:, None])
    marked = _mark(rng.random(chance.shape) < chance, people.ticked, rng)
    count: Whole = marked.sum(axis=1)
    return count


def _ask(people: _People, by_section: Whole, ability: Floats, rng: Generator) -> Whole:
    """Ask eight questions aloud: two for each of the three weakest sections, one for each of the next two."""
    weakest = np.argsort(by_section + rng.random(by_section.shape), axis=1)
    objective = np.concatenate([weakest[:, :3], weakest[:, :5]], axis=1)
    difficulty = rng.normal(0, 0.9, objective.shape) + people.severity[:, None]
    at = np.take_along_axis(ability, objective, axis=1)
    right = rng.random(objective.shape) < 1 / (1 + np.exp(-(at - difficulty)))
    count: Whole = right.sum(axis=1)
    return count


def _test(
    world: World, people: _People, book: Book, ability: Floats, rng: Generator
) -> tuple[Whole, Whole, Floats, Floats]:
    """Take up to three practice tests, with a review day between, and after each the unit test that would follow."""
    n = len(ability)
    practice, unit = (np.zeros((n, ATTEMPTS), np.int64) for _ in range(2))
    unit_chance, morning_chance = (np.zeros((n, ATTEMPTS)) for _ in range(2))
    for attempt, form in enumerate(book.practice):
        chance = form.chance((ability + rng.normal(0, world.day_sd, (n, 1)))[:, form.objective])
        right = rng.random(chance.shape) < chance
        right |= rng.random(chance.shape) < people.peeks[:, None]
        marked = _mark(right, people.ticked, rng)
        practice[:, attempt] = marked.sum(axis=1)
        found = PRACTICE_ASKED // OBJECTIVES - _by_objective(marked, form)
        ability = ability + world.correction_gain * found + world.form_gain

        morning = (ability - (people.overnight + people.nerves)[:, None])[:, book.unit.objective]
        chance = book.unit.chance(morning + rng.normal(0, world.day_sd, (n, 1)))
        unit[:, attempt] = (rng.random(chance.shape) < chance).sum(axis=1)
        morning_chance[:, attempt] = passes(chance, UNIT_NEEDED)
        unit_chance[:, attempt] = _eve_chance(world, book.unit, morning)

        # A review day goes to what was found wrong first; its gain is shared out so that its mean stays what it is.
        share = (1.0 + found) / (1.0 + found).mean(axis=1, keepdims=True)
        ability = ability + (people.review * 0.7**attempt)[:, None] * share
    return practice, unit, unit_chance, morning_chance


def _eve_chance(world: World, unit: Questions, morning: Floats) -> Floats:
    """Chance to pass the unit test for abilities [learners, questions], averaged over good and bad days."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(DAY_POINTS)
    days = morning[:, None, :] + world.day_sd * nodes[:, None]
    mean: Floats = passes(unit.chance(days), UNIT_NEEDED) @ (weights / weights.sum())
    return mean
