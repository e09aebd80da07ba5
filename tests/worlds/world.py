"""What a world is made of: the sizes of every effect, and the five worlds.

Abilities and difficulties are logits of the two-parameter logistic model (Birnbaum 1968, in Lord and Novick,
Statistical Theories of Mental Test Scores). Sizes are chosen for plausibility, and some so that the marks of the base
world look as they should: the spread of the open-book boost (from learner to learner and week to week) until first
markings of sections correlate about .48 with unit tests (coursework and written paper of the GCSE science data `Gcsemv`
in the R package mlmRev: .47; online exercises and examination in `MathExam14W` of the R package psychotools: .52);
spreads of ability, days and nerves until practice and unit tests correlate about .53; the level until .70 to .75 of the
unit tests pass; nerves, the prompt in oral quizzes and the boost in checks until practice tests, quizzes and checks run
ahead of unit tests on average about as the product's defaults assume. docs/explanation/readiness.md tells what was seen
before the last of these was set.
"""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """The sizes of all effects in one world; logits unless said otherwise."""

    name: str
    level: float = 2.50
    """Mean ability above the mean question."""

    home_sd: float = 0.25
    learner_sd: float = 0.50
    subject_sd: float = 0.35
    drift_sd: float = 0.13
    """Step of a learner's subject from one workbook to the next."""
    drop_chance: float = 0.01
    """Share of workbooks at which a subject falls back for good."""
    drop_size: float = 0.80

    workbook_sd: float = 0.25
    """Spread of the difficulty of workbooks, the same for every home."""
    form_sd: float = 0.0
    """Spread of the difficulty of test forms beyond what their questions bring, the same for every home."""
    fit_scale: float = 0.25
    """Scale of how a workbook suits a learner: Student's t with 5 degrees of freedom."""
    objective_sd: float = 0.55
    """Spread of the eight objectives of a workbook within a learner."""

    question_sd: float = 0.90
    slope_sd: float = 0.25
    """Spread of the logarithm of the discrimination of questions."""
    guessable: float = 0.25
    """Share of questions that are guessed right by one in four (three-parameter logistic model)."""

    open_book_median: float = 0.10
    open_book_spread: float = 1.40
    """Spread of the logarithm of a learner's usual open-book boost."""
    open_book_week_sd: float = 0.75
    """Spread of the boost from workbook to workbook."""
    open_book_in_checks: float = 0.80
    """Share of the boost that is left in progress checks."""

    lenient_share: float = 0.25
    """Share of learners who tick Beta(2, 5) of their wrong answers right; the others tick Beta(1, 30)."""
    peek_rate: float = 0.25
    """Share of practice-test questions that a peeker looks up."""
    peeker_share: float = 0.25

    unnoticed_cost: float = 0.25
    """Ability at an objective not won for each of its errors ticked right and so never corrected."""
    forget: float = 0.07
    """Mean loss of ability for each unit of ln(1 + school days) since a section."""
    overnight: float = 0.06
    """Mean loss from the evening of a practice test to the morning of a unit test."""
    correction_gain: float = 0.06
    """Ability at an objective won by each of its errors noticed in a practice test."""
    form_gain: float = 0.05
    """Ability won by having met the form of the test once more."""
    review_gain: float = 0.40
    """Mean ability won in the first review day; each further one wins .7 of the one before."""

    day_sd: float = 0.35
    """Spread of good and bad days, one for each test."""
    nerves_mean: float = 0.15
    nerves_sd: float = 0.35
    """A learner's usual loss when watched in a unit test."""
    oral_prompt: float = 0.30
    """What it helps that a spoken question can be put again in other words."""
    severity_sd: float = 0.35
    """Spread of how strictly educators ask and judge in oral quizzes."""


BASE = World(name="A base")
LENIENT = replace(BASE, name="B lenient markers", lenient_share=0.60)
FORGETFUL = replace(BASE, name="C forgetful", forget=0.15, overnight=0.15)
EASY = replace(BASE, name="D easier books, little leniency", level=BASE.level + 0.45, lenient_share=0.05)
NOISY = replace(
    BASE, name="E noisy", day_sd=0.55, form_sd=0.25, nerves_sd=0.50, fit_scale=0.40, open_book_week_sd=1.00
)

FIVE = (BASE, LENIENT, FORGETFUL, EASY, NOISY)
