"""What the estimate of readiness assumes: how each kind of evidence reads ability, and how learners differ."""

from dataclasses import dataclass
from enum import StrEnum

from markstead.speech import later


class Kind(StrEnum):
    """Kinds of evidence, from the least watched to the most."""

    SECTIONS = later("sections")
    CHECKS = later("progress checks")
    ORAL = later("oral quizzes")
    PRACTICE = later("practice test")
    UNIT = later("unit test")


@dataclass(frozen=True, slots=True)
class KindSettings:
    """How one kind of evidence reads ability."""

    offset: float
    """How much easier than the unit test it is for everybody (logits)."""
    noise: float
    """Standard deviation of what is peculiar to one such result beyond chance (logits)."""
    open_book: float = 0.0
    """Share of the learner's open-book advantage I_o that is in it."""
    own_test: float = 0.0
    """Share of the learner's advantage in self-marked practice tests I_p that is in it."""


@dataclass(frozen=True, slots=True)
class Settings:
    """The assumptions of the filter, in logits: rounded values of a fit to simulated homes, no property of real ones.

    Simulations in other worlds than that of the fit show that they need not be right: see docs/explanation/readiness.md.
    """

    level: float = 2.0
    """Mean of the general level of learners."""
    level_sd: float = 0.65
    """Spread of the general level between learners."""
    subject_sd: float = 0.40
    """Spread of subjects within a learner."""
    workbook_sd: float = 0.40
    """Spread of workbooks within a subject of a learner: fit, difficulty, the week."""
    subject_drift: float = 0.13
    """Standard deviation of a subject's step from one workbook to the next."""
    ahead_sd: float = 0.50
    """Spread between learners of how far open-book work, and practice tests, run ahead of the unit test."""
    ahead_drift: float = 0.03
    """Standard deviation of their step in a round of one workbook in every subject."""
    review_gain: float = 0.40
    """What the first hold day with review adds to the workbook in hand."""
    review_fading: float = 0.7
    """What each further hold day adds, as a share of the day before."""
    review_variance: float = 0.01
    """What is not known of the gain of one review, as a variance."""
    again_variance: float = 0.10
    """What is not known of a workbook that is worked again, as a variance."""
    difficulty_sd: float = 0.20
    """Spread of how much harder unit tests are than the other marks of their workbooks make them look."""
    sections: KindSettings = KindSettings(offset=0.40, noise=0.50, open_book=1.0)
    checks: KindSettings = KindSettings(offset=0.40, noise=0.30, open_book=0.5)
    oral: KindSettings = KindSettings(offset=0.0, noise=0.40)
    practice: KindSettings = KindSettings(offset=0.25, noise=0.30, own_test=1.0)
    unit: KindSettings = KindSettings(offset=0.0, noise=0.35)

    def of(self, kind: Kind) -> KindSettings:
        """The settings of one kind of evidence."""
        match kind:
            case Kind.SECTIONS:
                return self.sections
            case Kind.CHECKS:
                return self.checks
            case Kind.ORAL:
                return self.oral
            case Kind.PRACTICE:
                return self.practice
            case Kind.UNIT:
                return self.unit

    def gain(self, attempt: int) -> float:
        """What the review before practice attempt 1, 2, .. (counted from 0) adds to the workbook in hand, in logits."""
        if attempt < 1:
            raise ValueError(
                f"there is no review before practice attempt {attempt}; the first has none before it"
            )
        return self.review_gain * self.review_fading ** (attempt - 1)


DEFAULTS = Settings()
