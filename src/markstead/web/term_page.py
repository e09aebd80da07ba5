"""The term sheet and the educator's load, in words: are we on time, which weeks are too full, which mornings are taken."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from markstead.calendar import DayKind, Term
from markstead.records.home import Home
from markstead.records.plan_sheets import (
    CourseWeeks,
    LearnerTerm,
    Load,
    Mark,
    MarkKind,
    Morning,
    Off,
    Place,
    Slip,
    TargetSight,
    TermSheet,
    Week,
)
from markstead.speech import day_short, language, plural, say, short_day_of_month, weekday_short
from markstead.web.sheet_plots import Strokes, strokes

FULL = 1.0
"""A week asks for more minutes than are wished for beyond this share, told after rounding to whole per cent."""


@dataclass(frozen=True, slots=True)
class HeatCell:
    """A week of a learner."""

    mean: str
    strokes: Strokes | None
    fullest: str
    pages: str
    over: bool


@dataclass(frozen=True, slots=True)
class HeatRow:
    """A week of everybody."""

    week: str
    off: tuple[str, ...]
    cells: tuple[HeatCell, ...]


@dataclass(frozen=True, slots=True)
class CourseCell:
    """A week of a course."""

    week: str
    place: str
    marks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CourseBlock:
    """A course, week by week."""

    title: str
    cells: tuple[CourseCell, ...]


@dataclass(frozen=True, slots=True)
class LearnerBlock:
    """A learner's courses."""

    key: str
    name: str
    weeks: tuple[str, ...]
    courses: tuple[CourseBlock, ...]


@dataclass(frozen=True, slots=True)
class TargetLine:
    """A target in words."""

    who: str
    what: str
    due: str
    planned: str
    chance: str
    late: bool


@dataclass(frozen=True, slots=True)
class MorningLine:
    """One school day of the educator."""

    day: str
    sittings: tuple[str, ...]
    room: str
    full: bool
    practice: tuple[str, ...]
    checks: tuple[str, ...]
    hours: str
    stops: int


@dataclass(frozen=True, slots=True)
class LoadView:
    """The educator's next school days."""

    verdict: str
    note: str
    mornings: tuple[MorningLine, ...]


@dataclass(frozen=True, slots=True)
class TermLink:
    """A term that can be looked at."""

    name: str
    on: str
    """A day of it."""
    here: bool


@dataclass(frozen=True, slots=True)
class TermView:
    """Everything that the template of a term may use."""

    name: str
    span: str
    verdicts: tuple[str, ...]
    """The three answers: on time, too full, mornings."""
    slip: str
    """Where the plan no longer fits; empty where it does."""
    terms: tuple[TermLink, ...]
    names: tuple[str, ...]
    heat: tuple[HeatRow, ...]
    learners: tuple[LearnerBlock, ...]
    targets: tuple[TargetLine, ...]


def term_view(
    home: Home, sheet: TermSheet, load: Load, slips: Sequence[Slip], terms: Sequence[Term]
) -> TermView:
    """Put a term into words; `terms` are those that can be looked at."""
    return TermView(
        term_words(sheet.term),
        f"{day_short(sheet.first)} to {day_short(sheet.last)}",
        (on_time(home, sheet.targets), _too_full(sheet), _mornings_taken(load)),
        slip_words(slips),
        tuple(TermLink(term_words(t), t.first.isoformat(), t == sheet.term) for t in terms),
        tuple(term.learner.name for term in sheet.learners),
        tuple(_heat_row(sheet, n) for n in range(len(sheet.mondays))),
        tuple(_learner_block(home, sheet, term) for term in sheet.learners),
        target_lines(home, sheet.targets),
    )


def term_words(term: Term) -> str:
    """Name a term."""
    return term.name or f"term from {day_short(term.first)}"


# --- the three answers --------------------------------------------------------------------------------------------


def on_time(home: Home, targets: Sequence[TargetSight]) -> str:
    """Say whether targets are met by the plan, and how many of them hardly."""
    ahead = [target for target in targets if not target.done]
    if not targets:
        return "On time? No target is set."
    if not ahead:
        return "On time: every target is done."
    late = [target for target in ahead if target.late > 0]
    by = day_short(ahead[-1].due)
    if late:
        names = "; ".join(f"{_who(home, t.learner)}, {_title(home, t.workbook)}" for t in late)
        said = (
            f"Not on time: {len(late)} of {plural(len(ahead), 'target')} to {by} planned too late ({names})."
        )
    else:
        said = f"On time by the plan: {plural(len(ahead), 'target')} to {by}."
    return f"{said}{_unlikely(ahead)}"


def _unlikely(ahead: Sequence[TargetSight]) -> str:
    """A plan in which all goes well is in time more often than life is."""
    few = sum(t.chance is not None and t.chance.share < 0.5 for t in ahead)
    if not few:
        return ""
    return f" {few} of them {'is' if few == 1 else 'are'} met in fewer than half of the possible years."


def _too_full(sheet: TermSheet) -> str:
    over = [
        f"{term.learner.name}, week of {day_short(week.monday)}"
        for term in sheet.learners
        for week in term.weeks
        if _is_over(week)
    ]
    if over:
        return f"Too full: {'; '.join(over)}."
    return "No week asks on the whole for more minutes than are wished for."


def _is_over(week: Week) -> bool:
    return week.mean is not None and round(100 * week.mean) > round(100 * FULL)


def _mornings_taken(load: Load) -> str:
    if not load.mornings:
        return "No planned morning lies ahead."
    taken = [m for m in load.mornings if m.sittings]
    full = [m for m in taken if not m.room]
    days = plural(len(load.mornings), "school day")
    if not taken:
        return f"No unit test on the next {days}."
    said = f"Unit tests on {len(taken)} of the next {days}"
    return f"{said}; {len(full)} of those mornings full." if full else f"{said}, each with room left."


def slip_words(slips: Sequence[Slip]) -> str:
    """Say in how many courses the learners stand elsewhere than planned; empty where the plan fits."""
    behind = sum(slip.steps < 0 for slip in slips)
    ahead = len(slips) - behind
    if not slips:
        return ""
    parts = [f"{plural(n, 'course')} {word}" for n, word in ((behind, "behind"), (ahead, "ahead")) if n]
    return f"The plan no longer fits where the learners stand: {' and '.join(parts)}."


# --- the weeks ----------------------------------------------------------------------------------------------------


def week_words(monday: date, first: date, last: date) -> str:
    """The days of a week that are planned: '26 to 30 Jan'."""
    begin, end = max(monday, first), min(monday + timedelta(days=4), last)
    if begin >= end:
        return short_day_of_month(begin)
    same = begin.month == end.month
    return say(
        "{first} to {last}",
        first=begin.day
        if same and language().short_day_of_month.startswith("d")
        else short_day_of_month(begin),
        last=short_day_of_month(end),
    )


def _heat_row(sheet: TermSheet, n: int) -> HeatRow:
    weeks = [term.weeks[n] for term in sheet.learners]
    off = _off_words([(term.learner.name, term.weeks[n].off) for term in sheet.learners])
    cells = tuple(_heat_cell(week) for week in weeks)
    return HeatRow(week_words(sheet.mondays[n], sheet.first, sheet.last), off, cells)


def _heat_cell(week: Week) -> HeatCell:
    if week.mean is None or week.fullest is None or week.fullest_day is None:
        return HeatCell("no school", None, "", "", over=False)
    over = _is_over(week)
    return HeatCell(
        f"{round(100 * week.mean)} %{', too full' if over else ''}",
        strokes(week.mean),
        f"{weekday_short(week.fullest_day)} {round(100 * week.fullest)} %",
        plural(week.pages, "page"),
        over,
    )


def _off_words(off: Sequence[tuple[str, Sequence[Off]]]) -> tuple[str, ...]:
    """Days without school, once where they are everybody's; why a learner is absent is not said."""
    found: dict[str, list[str]] = {}
    for name, days in off:
        for one in days:
            words = {
                DayKind.ABSENT: "away",
                DayKind.HALF: "half day",
                DayKind.OWN_HOLIDAY: "holiday",
                DayKind.PUBLIC_HOLIDAY: "public holiday",
            }.get(one.kind, "no school")
            found.setdefault(f"{weekday_short(one.day)} {one.day.day} {words}", []).append(name)
    return tuple(
        words if len(names) == len(off) else f"{words}: {', '.join(names)}" for words, names in found.items()
    )


def _learner_block(home: Home, sheet: TermSheet, term: LearnerTerm) -> LearnerBlock:
    weeks = tuple(week_words(monday, sheet.first, sheet.last) for monday in sheet.mondays)
    return LearnerBlock(
        term.learner.key,
        term.learner.name,
        weeks,
        tuple(_course_block(home, term, course, weeks) for course in term.courses),
    )


def _course_block(home: Home, term: LearnerTerm, course: CourseWeeks, weeks: Sequence[str]) -> CourseBlock:
    cells = []
    for n, (place, week) in enumerate(zip(course.places, term.weeks, strict=True)):
        marks = tuple(_mark_words(home, m) for m in week.marks if m.course == course.course)
        cells.append(CourseCell(weeks[n], _place_words(home, place), marks))
    return CourseBlock(home.programme.course(course.course).title, tuple(cells))


def _place_words(home: Home, place: Place | None) -> str:
    if place is None:
        return ""
    title = _title(home, place.workbook)
    if place.tests == 2:
        return f"{title} done"
    if place.tests:
        return f"{title}: practice test held"
    return f"p. {place.page} of {title}" if place.page else f"{title} not begun"


def _mark_words(home: Home, mark: Mark) -> str:
    if mark.kind is MarkKind.BEGUN:
        return f"{weekday_short(mark.day)}: begins {_title(home, mark.workbook)}"
    return f"{weekday_short(mark.day)}: {mark.kind}"


# --- targets ------------------------------------------------------------------------------------------------------


def target_lines(home: Home, targets: Sequence[TargetSight]) -> tuple[TargetLine, ...]:
    """Put targets into words."""
    return tuple(
        TargetLine(
            f"{_who(home, t.learner)}, {home.programme.course(t.course).title}",
            _title(home, t.workbook),
            day_short(t.due),
            _planned(t),
            f"in {t.chance.of_ten} possible years" if t.chance is not None and not t.done else "",
            t.late > 0,
        )
        for t in targets
    )


def _planned(target: TargetSight) -> str:
    if target.done:
        return "done"
    if target.planned is None:
        return "not within the days entered"
    late = f", {plural(target.late, 'school day')} late" if target.late else ""
    return f"{day_short(target.planned)}{late}"


# --- the load -----------------------------------------------------------------------------------------------------


def load_view(home: Home, load: Load) -> LoadView:
    """Put the educator's next school days into words."""
    begins = f"{load.begins:%H:%M}"
    rests = f"the first acts of {plural(load.learnt, 'school day')}" if load.learnt else "no record yet"
    return LoadView(
        _mornings_taken(load),
        f"The hours are a guess. They count from {begins} ({rests}), each learner's courses one after another, at the plan's minutes a page.",
        tuple(_morning_line(home, morning) for morning in load.mornings),
    )


def _morning_line(home: Home, morning: Morning) -> MorningLine:
    return MorningLine(
        day_short(morning.day),
        _named(home, morning.sittings),
        _room(morning),
        bool(morning.sittings) and not morning.room,
        _named(home, morning.practice),
        _named(home, morning.checks),
        ", ".join(f"{h.stops} from {h.hour}:00" for h in morning.hours),
        morning.stops,
    )


def _room(morning: Morning) -> str:
    if not morning.can_watch:
        return "nobody can watch"
    return f"room for {morning.room} more" if morning.room else "full"


def _named(home: Home, marks: Sequence[Mark]) -> tuple[str, ...]:
    return tuple(
        f"{_who(home, m.learner)}: {_title(home, m.workbook)} ({home.programme.course(m.course).title})"
        for m in marks
    )


def _who(home: Home, learner: str) -> str:
    return home.people[learner].name


def _title(home: Home, workbook: str) -> str:
    return home.programme.workbook(workbook).title
