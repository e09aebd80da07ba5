"""A plan in words: how far it is, what moves and why, what it gives beside the plan in force, and ways out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from markstead.errors import UnknownError
from markstead.records.home import Home
from markstead.records.plan_asks import Ask
from markstead.records.plan_words import (
    PROVED,
    Figure,
    Met,
    TargetBeside,
    ask_words,
    effect_words,
    figures,
    gap_words,
    goals_of,
    guess_words,
    met_words,
    only_tried,
    targets_beside,
    who_words,
)
from markstead.records.plans import AtRisk, Effort, KeptPlan, MovedLine, PlanLine, State, Way
from markstead.speech import counted, day_short, figure, later, say
from markstead.web.whatif_page import ask_text

DAYS = 3
"""School days whose goals are shown."""
MADE = {
    Effort.MEND: later("mended"),
    Effort.ANEW: later("the whole year anew"),
    Effort.LONG: later("the whole year anew, with the long search"),
}


@dataclass(frozen=True, slots=True)
class MovedRow:
    """One announced goal that is another now."""

    who: str
    was: str
    now: str
    why: str


@dataclass(frozen=True, slots=True)
class MovedDay:
    """The announced goals of a day that are others now."""

    day: str
    rows: tuple[MovedRow, ...]


@dataclass(frozen=True, slots=True)
class WhenMet:
    """When a target is met: the day, and how that lies to the day it was due."""

    day: str
    lies: str


@dataclass(frozen=True, slots=True)
class TargetRow:
    """One target under the plan in force and under this one."""

    who: str
    what: str
    due: str
    before: WhenMet
    after: WhenMet
    late: bool
    differs: bool


@dataclass(frozen=True, slots=True)
class FigureRow:
    """A number beside that of the plan in force."""

    what: str
    before: str
    after: str
    difference: str


@dataclass(frozen=True, slots=True)
class WayRow:
    """A way out, and the changes with which it is tried."""

    words: str
    effect: str
    kept: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Risk:
    """A target that is not met: why, and what would help."""

    title: str
    reason: str
    met: str
    ways: tuple[WayRow, ...]


@dataclass(frozen=True, slots=True)
class GoalsRow:
    """The goals of a learner on one day."""

    who: str
    goals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GoalsDay:
    """The goals of a day."""

    day: str
    rows: tuple[GoalsRow, ...]


@dataclass(frozen=True, slots=True)
class PlanView:
    """Everything that the template of a plan may use."""

    number: int
    title: str
    state: str
    working: bool
    proposed: bool
    aside: bool
    """Put aside, and may still be taken."""
    shelved: bool
    """Put aside, whatever it is."""
    empty: bool
    """Put aside before there was anything to look at."""
    in_force: bool
    broken: str
    stopped: bool
    first: str
    asks: tuple[str, ...]
    kept: tuple[str, ...]
    """The changes that it was tried with, as a form sends them."""
    only_tried: bool
    done: int
    of: int
    doing: str
    best: str
    compared: bool
    """Whether it stands beside a plan in force."""
    moved: tuple[MovedDay, ...]
    moves: int
    announced: int
    targets: tuple[TargetRow, ...]
    figures: tuple[FigureRow, ...]
    risks: tuple[Risk, ...]
    guesses: tuple[str, ...]
    """Paces that are not known yet."""
    gap: str
    """How near it is to the best that there can be."""
    looked: bool
    """Whether ways out were looked for."""
    longer: bool
    """Whether the long search may find a plan that is less late."""
    goals: tuple[GoalsDay, ...]

    @property
    def changed(self) -> tuple[TargetRow, ...]:
        """Targets that are late, or met on another day than under the plan in force."""
        return tuple(row for row in self.targets if row.late or row.differs)

    @property
    def same(self) -> tuple[TargetRow, ...]:
        """The other targets."""
        return tuple(row for row in self.targets if not (row.late or row.differs))


@dataclass(frozen=True, slots=True)
class PlanRow:
    """A plan in a list."""

    number: int
    state: str
    first: str
    by: str
    what: str


def _may_gain(kept: KeptPlan) -> bool:
    """Whether targets are late and it is not proved that they must be; changes that are tried are searched as they are."""
    says = kept.says
    proved = says.gap is not None and says.gap < PROVED
    return kept.effort is Effort.ANEW and bool(says.at_risk) and not kept.asks and not proved


def plan_row(home: Home, line: PlanLine) -> PlanRow:
    """One of the latest plans."""
    by = home.people.get(line.by)
    made = say(MADE[line.effort])
    tried = " ".join(_said(home, line.asks))
    return PlanRow(
        line.number, say(line.state), day_short(line.first), by.name if by else "", f"{made}. {tried}".strip()
    )


def _said(home: Home, asks: Sequence[Ask]) -> tuple[str, ...]:
    """Changes in words; of a course or a person that is gone since, nothing can be said any more."""
    found = []
    for ask in asks:
        try:
            found.append(ask_words(home, ask))
        except UnknownError:
            found.append(say("A change of something that is no longer here."))
    return tuple(found)


def _texts(home: Home, asks: Sequence[Ask]) -> tuple[str, ...]:
    try:
        return tuple(ask_text(home, ask) for ask in asks)
    except UnknownError:
        return ()


def plan_view(home: Home, kept: KeptPlan, standing: KeptPlan | None) -> PlanView:
    """Put a plan into words, beside the plan in force."""
    beside = standing if standing is not None and standing.number != kept.number else None
    says = kept.says
    there = kept.answer is not None and bool(kept.answer.places)
    in_force = kept.state is State.IN_FORCE
    return PlanView(
        number=kept.number,
        title=say("The plan in force") if in_force else say("Plan {number}", number=kept.number),
        state=say(kept.state),
        working=kept.state is State.WORKING,
        proposed=kept.state is State.PROPOSED,
        aside=kept.state is State.ASIDE and there,
        shelved=kept.state is State.ASIDE,
        empty=kept.state is State.ASIDE and not there,
        in_force=in_force,
        broken=says.broken,
        stopped=says.stopped,
        first=day_short(kept.first),
        asks=_said(home, kept.asks),
        kept=_texts(home, () if in_force else kept.asks),
        only_tried=only_tried(kept.asks),
        done=says.done,
        of=max(1, says.of),
        doing=says.doing or say("About to begin"),
        best=_best(says.points),
        compared=beside is not None,
        moved=_moved(home, says.moved),
        moves=len(says.moved),
        announced=says.announced,
        targets=_target_rows(home, kept, beside) if there else (),
        figures=tuple(_figure(found) for found in figures(home, kept, beside)),
        risks=tuple(_risk(home, kept, risk, in_force=in_force) for risk in says.at_risk),
        guesses=guess_words(home, kept),
        gap=gap_words(kept),
        looked=kept.effort is not Effort.MEND,
        longer=_may_gain(kept),
        goals=_goals(home, kept) if there else (),
    )


def _best(points: float | None) -> str:
    if points is None:
        return say("No whole plan yet.")
    return say(
        "The best plan so far costs {points:,.0f} points; a point is a minute above the comfortable day. "
        "How near it is to the best possible is proved at the end, where a target is late.",
        points=points,
    )


def _moved(home: Home, lines: Sequence[MovedLine]) -> tuple[MovedDay, ...]:
    return tuple(
        MovedDay(
            day_short(day),
            tuple(MovedRow(who_words(home, m.learner, m.course), m.was, m.now, m.because) for m in rows),
        )
        for day, rows in groupby(lines, lambda line: line.day)
    )


def _target_rows(home: Home, kept: KeptPlan, beside: KeptPlan | None) -> tuple[TargetRow, ...]:
    return tuple(_target(home, row, kept, beside) for row in targets_beside(home, kept, beside))


def _target(home: Home, row: TargetBeside, kept: KeptPlan, beside: KeptPlan | None) -> TargetRow:
    before = met_words(row.before, last=beside.problem.days[-1]) if beside is not None else ""
    after = met_words(row.after, last=kept.problem.days[-1])

    return TargetRow(
        who_words(home, row.learner, row.course),
        home.programme.workbook(row.workbook).title,
        day_short(row.due),
        _when_met(row.before, beside.problem.days[-1]) if beside is not None else WhenMet("", ""),
        _when_met(row.after, kept.problem.days[-1]),
        row.after is not None and row.after.late > 0,
        before not in ("", after),
    )


def _when_met(met: Met | None, last: date) -> WhenMet:
    if met is None or met.day is None:
        return WhenMet(met_words(met, last=last), "")
    late = counted(met.late, "{n} school day late", "{n} school days late")
    return WhenMet(day_short(met.day), late if met.late else say("in time"))


def _figure(found: Figure) -> FigureRow:
    after = figure(f"{found.after:,}")
    if found.before is None:
        return FigureRow(found.what, "", after, "")
    more = found.after - found.before
    said = say("the same")
    if more:
        said = say("{n:,} more", n=more) if more > 0 else say("{n:,} fewer", n=-more)
    return FigureRow(found.what, figure(f"{found.before:,}"), after, said)


def _risk(home: Home, kept: KeptPlan, risk: AtRisk, *, in_force: bool) -> Risk:
    key = (risk.learner, risk.course, risk.workbook)
    asks = () if in_force else kept.asks
    title = home.programme.workbook(risk.workbook).title
    return Risk(
        say(
            "{who}: {title} by {day}",
            who=who_words(home, risk.learner, risk.course),
            title=title,
            day=day_short(risk.due),
        ),
        risk.reason,
        say("planned for {day}", day=day_short(risk.met))
        if risk.met is not None
        else say("not within the days entered"),
        tuple(_way(home, asks, way) for way in kept.says.ways if way.target == key),
    )


def _way(home: Home, asks: Sequence[Ask], way: Way) -> WayRow:
    return WayRow(way.sentence, effect_words(way), _texts(home, (*asks, way.ask)))


def _goals(home: Home, kept: KeptPlan) -> tuple[GoalsDay, ...]:
    def name(learner: str) -> str:
        return home.people[learner].name

    days: dict[date, list[GoalsRow]] = {}
    for row in goals_of(home, kept, kept.first, DAYS):
        words = tuple(f"{home.programme.course(course).title}: {goal}" for course, goal, _ in row.goals)
        days.setdefault(row.day, []).append(GoalsRow(name(row.learner), words))
    return tuple(GoalsDay(day_short(day), tuple(rows)) for day, rows in days.items())
