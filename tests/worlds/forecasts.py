"""The product's own forecasts for simulated learners, book by book in time order.

History is that of a home which keeps the plain gate: review and another practice test while practice is below the pass
mark, at most three practice tests, then the unit test, which the filter sees only after it was forecast.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from markstead.measure.readiness import (
    DEFAULTS,
    BookEvidence,
    Counts,
    Kind,
    Readiness,
    Settings,
    begin_book,
    hold,
    observe,
    predict,
    start,
)
from tests.worlds.generate import (
    CHECKS_ASKED,
    ORAL_ASKED,
    PRACTICE_ASKED,
    PRACTICE_NEEDED,
    SECTIONS_ASKED,
    SUBJECTS,
    UNIT_ASKED,
    UNIT_NEEDED,
    WORKBOOKS,
    Records,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Forecasts:
    """What was said before the unit test on the evidence up to the first practice test; one entry a learner and book."""

    chance: Floats
    chance_low: Floats
    chance_high: Floats
    score_low: Floats
    score_high: Floats


def code(subject: int, workbook: int) -> str:
    """Name a workbook."""
    return f"{SUBJECTS[subject]} {workbook + 1}"


def gate_attempts(records: Records) -> NDArray[np.int64]:
    """Count the practice tests taken under the plain gate: [learner, subject, workbook], 1 to 3."""
    reached = records.practice >= PRACTICE_NEEDED
    reached[..., -1] = True
    attempts: NDArray[np.int64] = 1 + reached.argmax(axis=-1)
    return attempts


def in_time() -> Iterator[tuple[int, int]]:
    """Walk through (subject, workbook), round by round of all subjects."""
    for workbook in range(WORKBOOKS):
        for subject in range(len(SUBJECTS)):
            yield subject, workbook


def evidence(records: Records, learner: int) -> list[BookEvidence]:
    """Write down a learner's books in time order as the product takes them."""
    taken = gate_attempts(records)
    return [_book(records, (learner, *place), int(taken[(learner, *place)])) for place in in_time()]


class Follower:
    """The product's filter at one learner's side: books are begun, practised and sat, forecasts asked for in between.

    With `pooled` the learner has one filter over all subjects, otherwise one for each. `harder` holds how
    much harder unit tests are known to be than their workbooks' other marks make them look, in logits, `settings` other assumptions than the product's.
    """

    def __init__(
        self,
        records: Records,
        learner: int,
        *,
        pooled: bool = True,
        harder: Mapping[str, float] | None = None,
        settings: Settings = DEFAULTS,
    ) -> None:
        self._records, self._learner = records, learner
        self._harder, self._settings = harder or {}, settings
        self._groups = dict.fromkeys(SUBJECTS, SUBJECTS) if pooled else {name: (name,) for name in SUBJECTS}
        self._states = {group: start(group, settings) for group in self._groups.values()}

    def begin(self, subject: int, workbook: int) -> None:
        """Begin a book and see its sections, progress checks, oral quizzes and first practice test."""
        self._at = (self._learner, subject, workbook)
        self._subject = SUBJECTS[subject]
        self._extra = self._harder.get(code(subject, workbook), 0.0)
        state = self._states[self._groups[self._subject]]
        self._state = begin_book(state, self._subject, self._settings)
        self._see(Kind.SECTIONS, SECTIONS_ASKED, self._records.sections[self._at])
        self._see(Kind.CHECKS, CHECKS_ASKED, self._records.checks[self._at])
        self._see(Kind.ORAL, ORAL_ASKED, self._records.oral[self._at])
        self._see(Kind.PRACTICE, PRACTICE_ASKED, self._records.practice[self._at][0])

    def review_and_practise(self, attempt: int) -> None:
        """See a review day and practice attempt 1 (the second one) or 2."""
        self._state = hold(self._state, self._subject, attempt, self._settings)
        self._see(Kind.PRACTICE, PRACTICE_ASKED, self._records.practice[self._at][attempt])

    def forecast(self) -> Readiness:
        """Forecast the unit test of the next morning."""
        return predict(
            self._state, self._subject, UNIT_ASKED, UNIT_NEEDED, self._settings, harder=self._extra
        )

    def sit(self, attempt: int) -> None:
        """See the unit test sat the morning after a practice attempt."""
        self._see(Kind.UNIT, UNIT_ASKED, self._records.unit[self._at][attempt], harder=self._extra)
        self._states[self._groups[self._subject]] = self._state

    def _see(self, kind: Kind, asked: int, right: np.int64, harder: float = 0.0) -> None:
        counts = Counts(asked, int(right))
        self._state = observe(self._state, self._subject, kind, counts, self._settings, harder)


def forecast(
    records: Records,
    *,
    pooled: bool = True,
    harder: Mapping[str, float] | None = None,
    settings: Settings = DEFAULTS,
) -> Forecasts:
    """Forecast every learner's every book, with the arguments of `Follower`."""
    said: list[Readiness] = []
    taken = gate_attempts(records)
    for learner in range(records.learners):
        follower = Follower(records, learner, pooled=pooled, harder=harder, settings=settings)
        here = np.empty((len(SUBJECTS), WORKBOOKS), object)
        for subject, workbook in in_time():
            follower.begin(subject, workbook)
            here[subject, workbook] = follower.forecast()
            attempts = int(taken[learner, subject, workbook])
            for attempt in range(1, attempts):
                follower.review_and_practise(attempt)
            follower.sit(attempts - 1)
        said.extend(here.ravel())
    return Forecasts(
        *(
            np.array([getattr(r, field) for r in said], float)
            for field in ("chance", "chance_low", "chance_high", "score_low", "score_high")
        )
    )


def _book(records: Records, at: tuple[int, int, int], taken: int) -> BookEvidence:
    """Write down one book."""
    return BookEvidence(
        subject=SUBJECTS[at[1]],
        sections=Counts(SECTIONS_ASKED, int(records.sections[at])),
        checks=Counts(CHECKS_ASKED, int(records.checks[at])),
        oral=Counts(ORAL_ASKED, int(records.oral[at])),
        practice=tuple(Counts(PRACTICE_ASKED, int(c)) for c in records.practice[at][:taken]),
        unit=Counts(UNIT_ASKED, int(records.unit[at][taken - 1])),
        workbook=code(at[1], at[2]),
    )
