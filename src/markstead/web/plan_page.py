"""A plan that was worked out, in words: what moved and why, targets before and after, ways out."""

from dataclasses import dataclass
from datetime import date

from markstead.plan.answer import TargetDay
from markstead.records.home import Home
from markstead.records.plan_asks import Ask
from markstead.records.plans import KeptPlan, State, Way
from markstead.rules.ruling import day_short

Key = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class MovedRow:
    """One announced goal that is another now."""

    day: str
    who: str
    was: str
    now: str
    why: str


@dataclass(frozen=True, slots=True)
class TargetRow:
    """One target under the plan in force and under this one."""

    who: str
    what: str
    due: str
    before: str
    after: str
    late: bool


@dataclass(frozen=True, slots=True)
class PlanView:
    """Everything that the template of a plan may use."""

    number: int
    state: str
    proposed: bool
    in_force: bool
    broken: str
    first: str
    moved: tuple[MovedRow, ...]
    announced: int
    targets: tuple[TargetRow, ...]
    at_risk: tuple[str, ...]
    ways: tuple[str, ...]
    asks: tuple[str, ...]


def plan_view(home: Home, kept: KeptPlan, standing: KeptPlan | None) -> PlanView:
    """Put a plan into words, beside the plan in force."""
    earlier = _targets(standing) if standing is not None else {}
    rows = []
    for key, found in _targets(kept).items():
        before = earlier.get(key)
        rows.append(
            TargetRow(
                _who(home, key[0], key[1]),
                home.programme.workbook(key[2]).title,
                day_short(kept.problem.days[found.target.day]),
                _met(standing, before) if standing is not None and before is not None else "",
                _met(kept, found),
                found.late > 0,
            )
        )
    return PlanView(
        number=kept.number,
        state=str(kept.state),
        proposed=kept.state is State.PROPOSED,
        in_force=kept.state is State.IN_FORCE,
        broken=kept.says.broken,
        first=day_short(kept.first),
        moved=tuple(
            MovedRow(day_short(m.day), _who(home, m.learner, m.course), m.was, m.now, m.because)
            for m in kept.says.moved
        ),
        announced=kept.says.announced,
        targets=tuple(rows),
        at_risk=tuple(_risk(home, r.learner, r.course, r.workbook, r.due, r.met) for r in kept.says.at_risk),
        ways=tuple(_way(home, way) for way in kept.says.ways),
        asks=tuple(ask_words(home, ask) for ask in kept.asks),
    )


def _targets(plan: KeptPlan) -> dict[Key, TargetDay]:
    if plan.answer is None:
        return {}
    return {(t.target.learner, t.target.course, t.target.workbook): t for t in plan.answer.targets}


def _who(home: Home, learner: str, course: str) -> str:
    return f"{home.people[learner].name}, {home.programme.course(course).title}"


def _met(plan: KeptPlan, found: TargetDay) -> str:
    if found.day is None:
        return "not within the days entered"
    if found.day < 0:
        return "done"
    late = f", {found.late} school day{'s' * (found.late != 1)} late" if found.late else ""
    return f"{day_short(plan.problem.days[found.day])}{late}"


def _risk(home: Home, learner: str, course: str, workbook: str, due: date, met: date | None) -> str:
    title = home.programme.workbook(workbook).title
    when = f"planned for {day_short(met)}" if met is not None else "not within the days entered"
    return f"{_who(home, learner, course)}: {title} by {day_short(due)} cannot be met; it is {when}."


def _way(home: Home, way: Way) -> str:
    others = "no other target is late" if not way.others_late else f"{way.others_late} targets are late"
    return f"{ask_words(home, way.ask)} Tried: the target is met and {others}."


def ask_words(home: Home, ask: Ask) -> str:
    """A change that a plan was tried with, in words."""
    from markstead.records import plan_asks as a

    match ask:
        case a.LearnerAway():
            return f"{home.person(ask.learner).name} is away from {day_short(ask.first)} to {day_short(ask.last)}."
        case a.NoSchool():
            return f"No school from {day_short(ask.first)} to {day_short(ask.last)}."
        case a.EducatorAway():
            return f"Nobody watches a unit test from {day_short(ask.first)} to {day_short(ask.last)}."
        case a.SchoolToo():
            return f"School also on {', '.join(map(day_short, ask.days))}."
        case a.TargetBy():
            who = _who(home, home.person(ask.learner).id, ask.course)
            title = home.programme.workbook(ask.workbook).title
            return f"{who}: {title} {'by ' + day_short(ask.by) if ask.by else 'without a target'}."
        case a.MinutesADay():
            return f"{home.person(ask.learner).name}: {ask.soft} minutes a day, at most {ask.hard}."
        case a.PagesADay():
            who = _who(home, home.person(ask.learner).id, ask.course)
            return f"{who}: {ask.comfortable} pages a day, at most {ask.most}."
        case a.CourseTaken():
            return f"{_who(home, home.person(ask.learner).id, ask.course)} is started."
        case a.CourseDropped():
            return f"{_who(home, home.person(ask.learner).id, ask.course)} is given up."
        case a.MoreSittings():
            return f"{ask.more} more watched sitting{'s' * (ask.more != 1)} every morning."
