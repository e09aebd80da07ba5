"""Difficulty of unit tests learnt from all learners: on learners drawn from the filter's own model with known difficulties."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from markstead.measure.difficulty import WorkbookDifficulty, shared_difficulties
from markstead.measure.readiness import DEFAULTS, BookEvidence, Counts, Kind, begin_book, observe, start

Floats = NDArray[np.float64]

SUBJECTS = ("arithmetic", "grammar", "science")
WORKBOOKS = 6
ASKED = {Kind.SECTIONS: 72, Kind.CHECKS: 27, Kind.ORAL: 8, Kind.PRACTICE: 32, Kind.UNIT: 40}


def codes() -> Iterator[tuple[str, str]]:
    """Subject and code of each workbook, in the order in which every learner works them."""
    for number in range(WORKBOOKS):
        for subject in SUBJECTS:
            yield subject, f"{subject} {number}"


def draw_learner(harder: dict[str, float], rng: np.random.Generator) -> list[BookEvidence]:
    """Let one learner of the filter's model work all books; `harder` is added to the difficulty of the unit tests."""
    s = DEFAULTS
    level, ahead = rng.normal(s.level, s.level_sd), rng.normal(0, s.ahead_sd, 2)
    deviation = dict(zip(SUBJECTS, rng.normal(0, s.subject_sd, 3), strict=True))
    books = []
    for subject, code in codes():
        deviation[subject] += rng.normal(0, s.subject_drift)
        ability = level + deviation[subject] + rng.normal(0, s.workbook_sd)
        marks = {}
        for kind, asked in ASKED.items():
            k = s.of(kind)
            eta = ability + k.offset + k.open_book * ahead[0] + k.own_test * ahead[1] + rng.normal(0, k.noise)
            eta -= harder[code] if kind is Kind.UNIT else 0.0
            marks[kind] = Counts(asked, int(rng.binomial(asked, 1 / (1 + math.exp(-eta)))))
        books.append(
            BookEvidence(
                subject,
                marks[Kind.SECTIONS],
                marks[Kind.CHECKS],
                marks[Kind.ORAL],
                (marks[Kind.PRACTICE],),
                marks[Kind.UNIT],
                code,
            )
        )
    return books


@dataclass(frozen=True, slots=True)
class Trial:
    truth: Floats
    found: list[WorkbookDifficulty]

    @property
    def estimates(self) -> Floats:
        return np.array([difficulty.logits for difficulty in self.found])

    @property
    def error(self) -> Floats:
        return self.estimates - self.truth


def trial(learners: int, shelves: int, seed: int) -> Trial:
    """Draw the difficulties of some shelves of workbooks, each worked by its own learners, and estimate them."""
    rng = np.random.default_rng(seed)
    truth, found = [], []
    for _ in range(shelves):
        harder = {code: float(rng.normal(0, DEFAULTS.difficulty_sd)) for _, code in codes()}
        known = shared_difficulties([draw_learner(harder, rng) for _ in range(learners)], SUBJECTS)
        truth += harder.values()
        found += [known[code] for code in harder]
    return Trial(np.array(truth), found)


class TestInTheModelsOwnWorld:
    @pytest.mark.parametrize(("learners", "shelves"), [(3, 20), (12, 10), (40, 5)])
    def test_the_truth_lies_in_the_range_nine_times_in_ten(self, learners: int, shelves: int) -> None:
        """18 workbooks a shelf; four standard errors of a share of .90 are 1.2 over the root of their number.

        Workbooks of one shelf share their learners, and so a little of their errors; nine in ten is met all the same.
        """
        tried = trial(learners, shelves, seed=learners)
        inside = [d.low <= true <= d.high for d, true in zip(tried.found, tried.truth, strict=True)]

        assert np.mean(inside) == pytest.approx(0.90, abs=1.2 / math.sqrt(len(inside)))

    def test_more_learners_tell_more(self) -> None:
        """Root mean square error against the spread of .20 that not knowing leaves: about .19, .15, .10."""
        few, some, many = (trial(n, shelves, seed=50 + n) for n, shelves in ((3, 20), (12, 10), (40, 5)))

        rms = [math.sqrt(np.mean(t.error**2)) for t in (few, some, many)]

        assert rms[2] < 0.13 < rms[1] < 0.17 < rms[0] < 0.21

    def test_estimates_are_drawn_towards_nought_by_what_is_not_known(self) -> None:
        """Truth on estimate has slope 1 if the shrinkage is right; standard error below .06, four times .24."""
        tried = trial(12, 12, seed=77)

        slope = float(tried.estimates @ tried.truth / (tried.estimates @ tried.estimates))

        assert slope == pytest.approx(1.0, abs=0.24)


class TestOneWorkbook:
    BOOK = BookEvidence("grammar", unit=Counts(40, 30), workbook="G1")

    def test_one_learner_by_hand(self) -> None:
        """ln(30.5/10.5) against the forecast of a fresh learner, weighed against a spread of .20.

        The three passes change only p in the variance of the logit; the last uses what the second found.
        """
        mean, variance = 2.0, 0.65**2 + 0.40**2 + 0.13**2 + 0.40**2 + 0.35**2
        expected = 0.0
        for _ in range(3):
            p = 1 / (1 + math.exp(-(mean - expected)))
            v = variance + 1 / (40 * p * (1 - p))
            expected = (mean - math.log(30.5 / 10.5)) / v / (1 / v + 1 / 0.20**2)
        spread = 1 / math.sqrt(1 / v + 1 / 0.20**2)

        found = shared_difficulties([[self.BOOK]], SUBJECTS)

        assert list(found) == ["G1"]
        one = found["G1"]
        assert (one.workbook, one.learners) == ("G1", 1)
        assert one.logits == pytest.approx(expected, abs=1e-12)
        assert (one.low, one.high) == pytest.approx((expected - 1.645 * spread, expected + 1.645 * spread))

    def test_a_harder_test_is_positive_and_an_easier_one_negative(self) -> None:
        weak, strong = (replace(self.BOOK, unit=Counts(40, right)) for right in (24, 40))

        found = [shared_difficulties([[book]] * 5, SUBJECTS)["G1"] for book in (weak, strong)]

        assert found[0].logits > 0 > found[1].logits
        assert [difficulty.learners for difficulty in found] == [5, 5]

    def test_what_is_known_of_a_test_spares_its_learners(self) -> None:
        """With the difficulty known, the same poor score in a second subject is laid to fewer doubts on the learner."""
        learner = [self.BOOK, replace(self.BOOK, subject="science", workbook="S1")]
        crowd = [[replace(self.BOOK, unit=Counts(40, 24))]] * 30

        alone, informed = (shared_difficulties([learner, *others], SUBJECTS)["S1"] for others in ([], crowd))

        assert informed.logits > alone.logits

    @pytest.mark.parametrize(
        "book",
        [
            replace(BOOK, unit=None),
            replace(BOOK, unit=Counts()),
            replace(BOOK, workbook=""),
            replace(BOOK, again=True),
        ],
        ids=["no unit test", "empty unit test", "no name", "worked again"],
    )
    def test_books_that_tell_nothing_of_a_difficulty_are_left_out(self, book: BookEvidence) -> None:
        assert shared_difficulties([[book]], SUBJECTS) == {}

    def test_a_copy_worked_again_still_tells_of_its_learner(self) -> None:
        strong = replace(self.BOOK, unit=Counts(40, 40), again=True)
        next_book = replace(self.BOOK, workbook="G2")

        plain, after = (
            shared_difficulties([books], SUBJECTS)["G2"] for books in ([next_book], [strong, next_book])
        )

        assert after.logits > plain.logits

    def test_no_learner_teaches_nothing(self) -> None:
        assert shared_difficulties([], SUBJECTS) == {}

    def test_an_unknown_subject_is_refused(self) -> None:
        with pytest.raises(ValueError, match="no subject 'music'"):
            shared_difficulties([[replace(self.BOOK, subject="music")]], SUBJECTS)


def test_the_forecast_of_a_fresh_learner_is_that_of_the_filter() -> None:
    """Guards the by-hand figure above: its variance is that of A + S + W of a begun book, and the day's noise."""
    state = begin_book(start(SUBJECTS), "grammar")

    mean, spread = observe(state, "grammar", Kind.ORAL, Counts()).ability("grammar")

    assert (mean, spread**2) == pytest.approx((2.0, 0.65**2 + 0.40**2 + 0.13**2 + 0.40**2))
