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
from markstead.speech import (
    and_words,
    counted,
    day_short,
    language,
    plural,
    say,
    short_day_of_month,
    weekday_short,
)
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
    quiet: str
    """From when on nothing is planned and no week is drawn; empty where something is to the end."""
    learners: tuple[LearnerBlock, ...]
    targets: tuple[TargetLine, ...]


def term_view(
    home: Home, sheet: TermSheet, load: Load, slips: Sequence[Slip], terms: Sequence[Term]
) -> TermView:
    """Put a term into words; `terms` are those that can be looked at."""
    drawn = _drawn(sheet)
    return TermView(
        term_words(sheet.term),
        say("{first} to {last}", first=day_short(sheet.first), last=day_short(sheet.last)),
        (on_time(home, sheet.targets), _too_full(sheet), _mornings_taken(load)),
        slip_words(slips),
        tuple(TermLink(term_words(t), t.first.isoformat(), t == sheet.term) for t in terms),
        tuple(term.learner.name for term in sheet.learners),
        tuple(_heat_row(sheet, n) for n in range(drawn)),
        _quiet_words(sheet, drawn),
        tuple(_learner_block(home, sheet, term, drawn) for term in sheet.learners),
        target_lines(home, sheet.targets),
    )


def term_words(term: Term) -> str:
    """Name a term."""
    return term.name or say("term from {day}", day=day_short(term.first))


# --- the three answers --------------------------------------------------------------------------------------------


def on_time(home: Home, targets: Sequence[TargetSight]) -> str:
    """Say whether targets are met by the plan, and how many of them hardly."""
    ahead = [target for target in targets if not target.done]
    if not targets:
        return say("On time? No target is set.")
    if not ahead:
        return say("On time: every target is done.")
    late = [target for target in ahead if target.late > 0]
    by = day_short(ahead[-1].due)
    if late:
        names = "; ".join(f"{_who(home, t.learner)}, {_title(home, t.workbook)}" for t in late)
        said = counted(
            len(ahead),
            "Not on time: {late} of {n} target to {day} planned too late ({names}).",
            "Not on time: {late} of {n} targets to {day} planned too late ({names}).",
            late=len(late),
            day=by,
            names=names,
        )
    else:
        said = counted(
            len(ahead),
            "On time by the plan: {n} target to {day}.",
            "On time by the plan: {n} targets to {day}.",
            day=by,
        )
    return f"{said} {_unlikely(ahead)}".rstrip()


def _unlikely(ahead: Sequence[TargetSight]) -> str:
    """A plan in which all goes well is in time more often than life is."""
    few = sum(t.chance is not None and t.chance.share < 0.5 for t in ahead)
    if not few:
        return ""
    return counted(
        few,
        "{n} of them is met in fewer than half of the possible years.",
        "{n} of them are met in fewer than half of the possible years.",
    )


def _too_full(sheet: TermSheet) -> str:
    over = [
        say("{learner}, week of {day}", learner=term.learner.name, day=day_short(week.monday))
        for term in sheet.learners
        for week in term.weeks
        if _is_over(week)
    ]
    if over:
        return say("Too full: {weeks}.", weeks="; ".join(over))
    return say("No week asks on the whole for more minutes than are wished for.")


def _is_over(week: Week) -> bool:
    return week.mean is not None and round(100 * week.mean) > round(100 * FULL)


def _mornings_taken(load: Load) -> str:
    if not load.mornings:
        return say("No planned morning lies ahead.")
    taken = [m for m in load.mornings if m.sittings]
    full = [m for m in taken if not m.room]
    days = len(load.mornings)
    if not taken:
        return counted(
            days, "No unit test on the next {n} school day.", "No unit test on the next {n} school days."
        )
    if full:
        return counted(
            days,
            "Unit tests on {taken} of the next {n} school day; {full} of those mornings full.",
            "Unit tests on {taken} of the next {n} school days; {full} of those mornings full.",
            taken=len(taken),
            full=len(full),
        )
    return counted(
        days,
        "Unit tests on {taken} of the next {n} school day, each with room left.",
        "Unit tests on {taken} of the next {n} school days, each with room left.",
        taken=len(taken),
    )


def slip_words(slips: Sequence[Slip]) -> str:
    """Say in how many courses the learners stand elsewhere than planned; empty where the plan fits."""
    behind = sum(slip.steps < 0 for slip in slips)
    ahead = len(slips) - behind
    if not slips:
        return ""
    parts = []
    if behind:
        parts.append(counted(behind, "{n} course behind", "{n} courses behind"))
    if ahead:
        parts.append(counted(ahead, "{n} course ahead", "{n} courses ahead"))
    return say("The plan no longer fits where the learners stand: {courses}.", courses=and_words(parts))


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


def _drawn(sheet: TermSheet) -> int:
    """How many weeks are drawn: up to the last in which anything is planned, and one at least."""
    at_work = [
        n
        for term in sheet.learners
        for n, week in enumerate(term.weeks)
        if week.mean or week.pages or week.marks
    ]
    return max(at_work, default=0) + 1


def _quiet_words(sheet: TermSheet, drawn: int) -> str:
    if drawn >= len(sheet.mondays):
        return ""
    return say(
        "From {day} on nothing is planned.",
        day=day_short(sheet.mondays[drawn]),
    )


def _heat_row(sheet: TermSheet, n: int) -> HeatRow:
    weeks = [term.weeks[n] for term in sheet.learners]
    off = _off_words([(term.learner.name, term.weeks[n].off) for term in sheet.learners])
    cells = tuple(_heat_cell(week) for week in weeks)
    return HeatRow(week_words(sheet.mondays[n], sheet.first, sheet.last), off, cells)


def _heat_cell(week: Week) -> HeatCell:
    if week.mean is None or week.fullest is None or week.fullest_day is None:
        return HeatCell(say("no school"), None, "", "", over=False)
    over, mean = _is_over(week), round(100 * week.mean)
    return HeatCell(
        say("{share} %, too full", share=mean) if over else say("{share} %", share=mean),
        strokes(week.mean),
        say(
            "{weekday} {share} %",
            weekday=weekday_short(week.fullest_day),
            share=round(100 * week.fullest),
        ),
        plural(week.pages, "page"),
        over,
    )


def _off_words(off: Sequence[tuple[str, Sequence[Off]]]) -> tuple[str, ...]:
    """Days without school, once where they are everybody's; why a learner is absent is not said."""
    found: dict[str, list[str]] = {}
    for name, days in off:
        for one in days:
            words = {
                DayKind.ABSENT: say("away"),
                DayKind.HALF: say("half day"),
                DayKind.OWN_HOLIDAY: say("holiday"),
                DayKind.PUBLIC_HOLIDAY: say("public holiday"),
            }.get(one.kind, say("no school"))
            found.setdefault(f"{weekday_short(one.day)} {one.day.day} {words}", []).append(name)
    return tuple(
        words if len(names) == len(off) else f"{words}: {', '.join(names)}" for words, names in found.items()
    )


def _learner_block(home: Home, sheet: TermSheet, term: LearnerTerm, drawn: int) -> LearnerBlock:
    weeks = tuple(week_words(monday, sheet.first, sheet.last) for monday in sheet.mondays[:drawn])
    return LearnerBlock(
        term.learner.key,
        term.learner.name,
        weeks,
        tuple(_course_block(home, term, course, weeks) for course in term.courses),
    )


def _course_block(home: Home, term: LearnerTerm, course: CourseWeeks, weeks: Sequence[str]) -> CourseBlock:
    cells = []
    before: Place | None = None
    for words, place, week in zip(weeks, course.places, term.weeks, strict=False):
        marks = tuple(_mark_words(home, m) for m in week.marks if m.course == course.course)
        # That the last workbook is done is said once.
        over = place is not None and place == before and place.tests == 2
        cells.append(CourseCell(words, "" if over else _place_words(home, place), marks))
        before = place
    return CourseBlock(home.programme.course(course.course).title, tuple(cells))


def _place_words(home: Home, place: Place | None) -> str:
    if place is None:
        return ""
    title = _title(home, place.workbook)
    if place.tests == 2:
        return say("{title} done", title=title)
    if place.tests:
        return say("{title}: practice test held", title=title)
    return (
        say("p. {page} of {title}", page=place.page, title=title)
        if place.page
        else say("{title} not begun", title=title)
    )


def _mark_words(home: Home, mark: Mark) -> str:
    if mark.kind is MarkKind.BEGUN:
        return say(
            "{weekday}: begins {title}", weekday=weekday_short(mark.day), title=_title(home, mark.workbook)
        )
    return f"{weekday_short(mark.day)}: {say(mark.kind)}"


# --- targets ------------------------------------------------------------------------------------------------------


def target_lines(home: Home, targets: Sequence[TargetSight]) -> tuple[TargetLine, ...]:
    """Put targets into words."""
    return tuple(
        TargetLine(
            f"{_who(home, t.learner)}, {home.programme.course(t.course).title}",
            _title(home, t.workbook),
            day_short(t.due),
            _planned(t),
            say("in {how_many} possible years", how_many=t.chance.of_ten)
            if t.chance is not None and not t.done
            else "",
            t.late > 0,
        )
        for t in targets
    )


def _planned(target: TargetSight) -> str:
    if target.done:
        return say("done")
    if target.planned is None:
        return say("not within the days entered")
    planned = day_short(target.planned)
    if not target.late:
        return planned
    return counted(target.late, "{day}, {n} school day late", "{day}, {n} school days late", day=planned)


# --- the load -----------------------------------------------------------------------------------------------------


def load_view(home: Home, load: Load) -> LoadView:
    """Put the educator's next school days into words."""
    rests = (
        counted(load.learnt, "the first acts of {n} school day", "the first acts of {n} school days")
        if load.learnt
        else say("no record yet")
    )
    return LoadView(
        _mornings_taken(load),
        say(
            "The hours are a guess. They count from {begins:%H:%M} ({rests}), each learner's courses one after another, "
            "at the plan's minutes a page.",
            begins=load.begins,
            rests=rests,
        ),
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
        ", ".join(say("{stops} from {hour}:00", stops=h.stops, hour=h.hour) for h in morning.hours),
        morning.stops,
    )


def _room(morning: Morning) -> str:
    if not morning.can_watch:
        return say("nobody can watch")
    return say("room for {n} more", n=morning.room) if morning.room else say("full")


def _named(home: Home, marks: Sequence[Mark]) -> tuple[str, ...]:
    return tuple(
        f"{_who(home, m.learner)}: {_title(home, m.workbook)} ({home.programme.course(m.course).title})"
        for m in marks
    )


def _who(home: Home, learner: str) -> str:
    return home.people[learner].name


def _title(home: Home, workbook: str) -> str:
    return home.programme.workbook(workbook).title
