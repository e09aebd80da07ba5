"""What a home asks of its plan: minutes a day, pages a day, targets, and how its suppliers deliver. Plain values.

Where a home says nothing, the defaults here hold, or are worked out from the workbooks and the pace.
"""

from dataclasses import dataclass, field, replace
from datetime import date

from markstead.forecast.lead import LeadSettings
from markstead.forecast.lots import Terms
from markstead.forecast.orders import OrderSettings
from markstead.plan.problem import Points

YOUNG, GROWN = (135, 165), (240, 285)
"""Soft and hard minutes a day of Year 1 and of Year 9 and above; years between lie on the line between them."""

USUAL_POINTS = Points(close=3, test_waits=3)
"""A test that waits costs something: without it, a plan puts tests off for as long as every target still holds. And so does a
target that is met with less than the reserve left: without it, the first test that is not passed costs the target."""


@dataclass(frozen=True, slots=True)
class LearnerWish:
    """Minutes of workbooks that a learner should not pass (soft) and may not pass (hard) on a whole school day."""

    learner: str
    soft: int
    hard: int


@dataclass(frozen=True, slots=True)
class CourseWish:
    """How one learner takes one course; None where it is to be worked out."""

    learner: str
    course: str
    weight: int = 1
    """How much its targets count, from 1 to 3."""
    least: int | None = None
    comfortable: int | None = None
    most: int | None = None
    weekdays: frozenset[int] | None = None
    """Days of the week on which it is taught; None: every school day."""
    minutes_a_page: float | None = None
    """Until the learner's own pace is known."""


@dataclass(frozen=True, slots=True)
class TargetWish:
    """A workbook whose unit test is to be passed by a day."""

    learner: str
    course: str
    workbook: str
    by: date


@dataclass(frozen=True, slots=True)
class SupplierWish:
    """How a supplier delivers; sums in minor units of the currency."""

    name: str
    days: float = 8.0
    """Days that half of its parcels take, as it says itself; its own parcels soon count for more."""
    postage: int = 0
    free_from: int | None = None
    least: int = 0

    @property
    def terms(self) -> Terms:
        """What an order costs beside its copies."""
        return Terms(
            float(self.postage), None if self.free_from is None else float(self.free_from), self.least
        )

    @property
    def lead(self) -> LeadSettings:
        """What is believed before the first parcel."""
        return LeadSettings(days=self.days)


@dataclass(frozen=True, slots=True)
class Wishes:
    """Everything that a home asks of its plan."""

    learners: tuple[LearnerWish, ...] = ()
    courses: tuple[CourseWish, ...] = ()
    targets: tuple[TargetWish, ...] = ()
    suppliers: tuple[SupplierWish, ...] = ()
    announced_days: int = 3
    """School days whose goals the learners know already: they move as little as possible."""
    reserve_days: int = 10
    """School days before each target by which the plan rather meets it."""
    next_same_day: bool = False
    """Whether the next workbook may be begun on the day of a unit test."""
    practice_minutes: int = 30
    unit_minutes: int = 40
    minutes_a_page: float = 8.0
    """Of a learner and course without any pace."""
    illness: float = 0.03
    """Share of school days on which a learner is ill."""
    service: float = 0.95
    """Chance with which each workbook is to be in the house when it is needed."""
    points: Points = field(default_factory=lambda: USUAL_POINTS)

    def learner(self, learner: str, year: int | None) -> LearnerWish:
        """Minutes a day of a learner: those wished for, or those of the school year."""
        found = next((wish for wish in self.learners if wish.learner == learner), None)
        return found or LearnerWish(learner, *usual_minutes(year))

    def course(self, learner: str, course: str) -> CourseWish:
        """How a learner takes a course."""
        found = next((w for w in self.courses if (w.learner, w.course) == (learner, course)), None)
        return found or CourseWish(learner, course)

    def targets_of(self, learner: str, course: str) -> tuple[TargetWish, ...]:
        """The targets of a learner in a course."""
        return tuple(w for w in self.targets if (w.learner, w.course) == (learner, course))

    def supplier(self, name: str) -> SupplierWish:
        """How a supplier delivers."""
        return next((wish for wish in self.suppliers if wish.name == name), None) or SupplierWish(name)

    @property
    def orders(self) -> OrderSettings:
        """What the home wants of its orders."""
        return OrderSettings(service=self.service)

    def with_learner(self, wish: LearnerWish) -> "Wishes":
        """These wishes with a learner's minutes set anew."""
        return replace(self, learners=(*(w for w in self.learners if w.learner != wish.learner), wish))

    def with_course(self, wish: CourseWish) -> "Wishes":
        """These wishes with a course set anew."""
        key = (wish.learner, wish.course)
        return replace(self, courses=(*(w for w in self.courses if (w.learner, w.course) != key), wish))

    def with_target(self, wish: TargetWish) -> "Wishes":
        """These wishes with one target set anew; a workbook has one."""
        return replace(self.without_target(wish), targets=(*self.without_target(wish).targets, wish))

    def without_target(self, wish: TargetWish) -> "Wishes":
        """These wishes without a target."""
        key = (wish.learner, wish.course, wish.workbook)
        return replace(
            self, targets=tuple(w for w in self.targets if (w.learner, w.course, w.workbook) != key)
        )

    def without_course(self, learner: str, course: str) -> "Wishes":
        """These wishes without those of a course that is given up, its targets among them."""
        key = (learner, course)
        return replace(
            self,
            courses=tuple(w for w in self.courses if (w.learner, w.course) != key),
            targets=tuple(w for w in self.targets if (w.learner, w.course) != key),
        )

    def with_supplier(self, wish: SupplierWish) -> "Wishes":
        """These wishes with a supplier set anew."""
        return replace(self, suppliers=(*(w for w in self.suppliers if w.name != wish.name), wish))


def usual_minutes(year: int | None) -> tuple[int, int]:
    """Soft and hard minutes a day of a school year: common practice, no source."""
    share = (min(max(5 if year is None else year, 1), 9) - 1) / 8
    soft, hard = (round((low + share * (high - low)) / 5) * 5 for low, high in zip(YOUNG, GROWN, strict=True))
    return soft, hard
