"""The year sheet in words: what is done, what is planned when, and how sure the end of each course is."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from markstead.forecast.outlook import DoneBy, FinishDates
from markstead.records.home import Home
from markstead.records.plan_sheets import CourseYear, LearnerYearSheet, Run, TargetSight, YearSheet
from markstead.speech import day_short, say
from markstead.web.sheet_plots import FanPlot, Scale, YearPlot, fan_plot, year_plot
from markstead.web.term_page import TargetLine, on_time, target_lines


@dataclass(frozen=True, slots=True)
class BookRow:
    """A workbook of the year."""

    course: str
    title: str
    begins: str
    test: str
    done: bool


@dataclass(frozen=True, slots=True)
class FinishRow:
    """The end of a course."""

    course: str
    done: int
    planned: int
    end: str
    """The last unit test of the plan."""
    early: str
    middle: str
    late: str


@dataclass(frozen=True, slots=True)
class MonthRow:
    """Workbooks still to come that are done by the end of a month."""

    day: str
    low: int
    middle: int
    high: int


@dataclass(frozen=True, slots=True)
class LearnerYearView:
    """A learner's year."""

    key: str
    name: str
    plot: YearPlot
    fan: FanPlot | None
    finishes: tuple[FinishRow, ...]
    books: tuple[BookRow, ...]
    months: tuple[MonthRow, ...]
    needs: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class YearView:
    """Everything that the template of a year may use."""

    span: str
    verdicts: tuple[str, ...]
    learners: tuple[LearnerYearView, ...]
    targets: tuple[TargetLine, ...]


def year_view(home: Home, sheet: YearSheet, today: date) -> YearView:
    """Put a year into words."""
    scale = Scale(sheet.first, sheet.last)
    return YearView(
        say(
            "{first} {first_year} to {last} {last_year}",
            first=day_short(sheet.first),
            first_year=sheet.first.year,
            last=day_short(sheet.last),
            last_year=sheet.last.year,
        ),
        tuple(filter(None, (on_time(home, sheet.targets), _short(home, sheet)))),
        tuple(_learner(home, scale, learner, sheet.targets, today) for learner in sheet.learners),
        target_lines(home, sheet.targets),
    )


def _short(home: Home, sheet: YearSheet) -> str:
    """Which courses the plan does not bring to their end."""
    short = [
        f"{who.learner.name}, {home.programme.course(course.course).title}"
        for who in sheet.learners
        for course in who.courses
        if course.short > 0
    ]
    if short:
        return say("The plan does not come to the end of {courses}.", courses="; ".join(short))
    return say("The plan comes to the end of every course within the days entered.")


def _learner(
    home: Home, scale: Scale, who: LearnerYearSheet, targets: Sequence[TargetSight], today: date
) -> LearnerYearView:
    titled = [(home.programme.course(course.course).title, course) for course in who.courses]
    passed = sum(len(course.passed) for _, course in titled)
    planned = sum(run.unit is not None for _, course in titled for run in course.runs)
    words = say(
        "{learner}: {passed} workbooks passed this school year, {planned} more planned. "
        "The same dates stand in the tables below.",
        learner=who.learner.name,
        passed=passed,
        planned=planned,
    )
    own = [target for target in targets if target.learner == who.learner.id]
    units = [run.unit for _, course in titled for run in course.runs if run.unit is not None]
    return LearnerYearView(
        who.learner.key,
        who.learner.name,
        year_plot(scale, today, titled, own, words),
        fan_plot(who.by_week, units, _fan_words(who.by_week, len(units))),
        tuple(_finish(title, course, scale.last) for title, course in titled),
        tuple(row for title, course in titled for row in _books(home, title, course, scale.last)),
        tuple(_month(row) for row in who.by_month),
        tuple(need.sentence for need in who.needs[:6]),
        who.notes,
    )


def _fan_words(weeks: Sequence[DoneBy], planned: int) -> str:
    if not weeks:
        return ""
    _, low, middle, high, _ = weeks[-1].done
    return say(
        "Workbooks finished from now on, week by week: {planned} by the plan; by {day} {low} to {high} "
        "in 8 of 10 possible years, {middle} in the middle. The same numbers, by month, stand below.",
        planned=planned,
        day=day_short(weeks[-1].day),
        low=low,
        high=high,
        middle=middle,
    )


def _finish(title: str, course: CourseYear, last: date) -> FinishRow:
    units = [run.unit for run in course.runs if run.unit is not None]
    end = _after(last) if course.short > 0 or not units else day_short(units[-1])
    return FinishRow(title, len(course.passed), len(units), end, *_range(course.finish, last))


def _after(last: date) -> str:
    """Of a day beyond those that are entered."""
    return say("after {day}", day=day_short(last))


def _range(finish: FinishDates | None, last: date) -> tuple[str, str, str]:
    if finish is None:
        return "", "", ""
    early, middle, late = (
        day_short(day) if day is not None else _after(last)
        for day in (finish.early, finish.middle, finish.late)
    )
    return early, middle, late


def _books(home: Home, title: str, course: CourseYear, last: date) -> list[BookRow]:
    done = [
        BookRow(
            title,
            home.programme.workbook(p.workbook).title,
            "",
            say("passed {day}", day=day_short(p.day)),
            done=True,
        )
        for p in course.passed
    ]
    return done + [_ahead(home, title, run, last) for run in course.runs]


def _ahead(home: Home, title: str, run: Run, last: date) -> BookRow:
    test = day_short(run.unit) if run.unit is not None else _after(last)
    begins = say("in hand") if run.goes_on else day_short(run.begins)
    return BookRow(title, home.programme.workbook(run.workbook).title, begins, test, done=False)


def _month(row: DoneBy) -> MonthRow:
    return MonthRow(day_short(row.day), row.done[1], row.done[2], row.done[3])
