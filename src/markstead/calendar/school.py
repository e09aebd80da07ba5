"""School days of a home, and its clock."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from functools import lru_cache
from zoneinfo import ZoneInfo

from markstead.errors import MarksteadError
from markstead.speech import language, later, say, weekday


class NoSchoolDayError(MarksteadError):
    """The calendar has no school day, or too few of them, within a year."""

    def __init__(self, after: date, distance: int = 1) -> None:
        super().__init__(
            say("no school day within a year after {day}; is the next term entered?", day=after)
            if distance == 1
            else say(
                "fewer than {n} school days within a year after {day}; is the next term entered?",
                n=distance,
                day=after,
            )
        )
        self.after = after


class DayKind(StrEnum):
    """What a day is for school."""

    SCHOOL = later("school day")
    HALF = later("half day")
    OUT_OF_TERM = later("out of term")
    NOT_TAUGHT_WEEKDAY = later("not a weekday taught")
    PUBLIC_HOLIDAY = later("public holiday")
    OWN_HOLIDAY = later("own holiday")
    ABSENT = later("absent")


_TAUGHT = (DayKind.SCHOOL, DayKind.HALF)


@dataclass(frozen=True, slots=True)
class Term:
    """A span of days in which school is held."""

    name: str
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class NamedSpan:
    """Days off with a name."""

    name: str
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Absence:
    """Days on which a learner is away or ill."""

    learner: str
    first: date
    last: date
    why: str = ""


@dataclass(frozen=True, slots=True)
class Away:
    """Days on which the educator is away: no unit test is watched."""

    first: date
    last: date
    educator: str | None = None


@lru_cache(maxsize=1024)
def _public_holidays(country: str, region: str | None, year: int, spoken: str = "en") -> dict[date, str]:
    """The public holidays of a year with their names: in the language spoken or in English where the library has it."""
    import holidays

    # Where no language is asked for, the library takes that of the machine: the same home would read otherwise
    # on another computer.
    named = holidays.country_holidays(country, subdiv=region)
    own, known = named.default_language, named.supported_languages
    offered = [own or "", *(["en_US"] if "en_US" in known else []), *known]
    wanted = [next((one for one in offered if one.startswith(begin)), None) for begin in (spoken, "en")]
    language = wanted[0] or wanted[1] or own
    return dict(holidays.country_holidays(country, subdiv=region, years=year, language=language))


@lru_cache(maxsize=32)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


@lru_cache(maxsize=65536)
def _day_of(zone: str, instant: datetime) -> date:
    """Estimates ask for the days of the same thousands of marks again and again."""
    return instant.astimezone(_zone(zone)).date()


@dataclass(frozen=True, slots=True)
class SchoolCalendar:
    """When school is held in one home."""

    zone: str
    country: str
    region: str | None
    terms: tuple[Term, ...]
    weekdays: frozenset[int]
    holidays_off: tuple[NamedSpan, ...] = ()
    taught_anyway: frozenset[date] = frozenset()
    half_days: frozenset[date] = frozenset()
    half_weekdays: frozenset[int] = frozenset()
    public_holidays_off: bool = True
    absences: tuple[Absence, ...] = ()
    educator_away: tuple[Away, ...] = ()
    half_day_ends: time = time(12, 0)

    def at_home(self, instant: datetime) -> datetime:
        """Read an instant off the kitchen clock.

        Raises:
            ValueError: the instant has no time zone.
        """
        if instant.tzinfo is None:
            raise ValueError(f"{instant!r} has no time zone; an instant needs one")
        return instant.astimezone(_zone(self.zone))

    def day_of(self, instant: datetime) -> date:
        """The day at home on which an instant falls."""
        if (
            instant.tzinfo is not UTC
        ):  # the same instant in another zone may say which of two equal hours it means
            return self.at_home(instant).date()
        return _day_of(self.zone, instant)

    def instant_of(self, day: date, at: time) -> datetime:
        """The instant, in UTC, of a time on the kitchen clock.

        A time that the clock shows twice (the end of daylight saving) is the first of the two, unless `at` says
        ``fold=1``; one that it skips is read by the offset in force before the skip, so that it comes out after it
        (PEP 495).

        Raises:
            ValueError: the time carries a zone of its own.
        """
        if at.tzinfo is not None:
            raise ValueError(f"{at!r} has a time zone; the kitchen clock has only that of the home")
        return datetime.combine(day, at, _zone(self.zone)).astimezone(UTC)

    def _holiday_name(self, day: date, spoken: str = "en") -> str | None:
        if not self.public_holidays_off:
            return None
        return _public_holidays(self.country, self.region, day.year, spoken[:2]).get(day)

    def kind(self, day: date, learner: str | None = None) -> DayKind:
        """What a day is for the home, or for one learner: nobody is absent where there is no school."""
        kind = self._kind_for_all(day)
        if learner is None or kind not in _TAUGHT:
            return kind
        absent = any(a.learner == learner and a.first <= day <= a.last for a in self.absences)
        return DayKind.ABSENT if absent else kind

    def _kind_for_all(self, day: date) -> DayKind:
        half = day in self.half_days or day.weekday() in self.half_weekdays
        taught = DayKind.HALF if half else DayKind.SCHOOL
        if day in self.taught_anyway:
            return taught
        if not any(term.first <= day <= term.last for term in self.terms):
            return DayKind.OUT_OF_TERM
        if day.weekday() not in self.weekdays:
            return DayKind.NOT_TAUGHT_WEEKDAY
        if any(span.first <= day <= span.last for span in self.holidays_off):
            return DayKind.OWN_HOLIDAY
        if self._holiday_name(day) is not None:
            return DayKind.PUBLIC_HOLIDAY
        return taught

    def is_school_day(self, day: date, learner: str | None = None) -> bool:
        return self.kind(day, learner) in _TAUGHT

    def why_closed(self, day: date, learner: str | None = None) -> str | None:
        """Why there is no school, as the end of a sentence; None on a school day.

        Why a learner is absent is not said: it may be an illness, and others read the page.
        """
        match self.kind(day, learner):
            case DayKind.SCHOOL | DayKind.HALF:
                return None
            case DayKind.ABSENT:
                return say("a day on which the learner is absent")
            case DayKind.OUT_OF_TERM:
                return say("outside every term")
            case DayKind.NOT_TAUGHT_WEEKDAY:
                return say("a {weekday}, on which there is no school", weekday=weekday(day))
            case DayKind.OWN_HOLIDAY:
                span = next(s for s in self.holidays_off if s.first <= day <= s.last)
                if not span.name:
                    return say("a holiday of this home")
                return say("a holiday of this home ({name})", name=span.name)
            case DayKind.PUBLIC_HOLIDAY:
                return say("a public holiday ({name})", name=self._holiday_name(day, language().code))

    def own_holiday(self, day: date) -> str:
        """The name of the home's own holiday on a day; empty on other days, and where it has none."""
        return next((s.name for s in self.holidays_off if s.first <= day <= s.last), "")

    def public_holiday(self, day: date) -> str:
        """The name of the public holiday on a day, whether or not it falls into a term; empty on other days."""
        return self._holiday_name(day, language().code) or ""

    def school_days(self, first: date, last: date, learner: str | None = None) -> list[date]:
        """Every school day from `first` to `last`, both included."""
        days = (first + timedelta(days=n) for n in range((last - first).days + 1))
        return [day for day in days if self.is_school_day(day, learner)]

    def next_school_day(self, after: date, learner: str | None = None, distance: int = 1) -> date:
        """The school day that is `distance` school days after a day.

        Raises:
            NoSchoolDayError: there are not so many within a year.
            ValueError: the distance is not at least 1.
        """
        if distance < 1:
            raise ValueError(f"a distance of {distance} school days; the next is at distance 1")
        left = distance
        for n in range(1, min(366, (date.max - after).days) + 1):
            day = after + timedelta(days=n)
            if self.is_school_day(day, learner):
                left -= 1
                if left == 0:
                    return day
        raise NoSchoolDayError(after, distance)

    def educator_is_away(self, day: date, educator: str | None = None) -> bool:
        """Whether any educator is away, or the one that is named (days without an educator are everybody's)."""
        return any(
            away.first <= day <= away.last and (educator is None or away.educator in (None, educator))
            for away in self.educator_away
        )
