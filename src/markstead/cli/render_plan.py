"""Plans as plain values for JSON. The names of the keys are kept stable."""

from markstead.cli.render import Plain
from markstead.plan.answer import Goal
from markstead.records.home import Home
from markstead.records.plan_asks import write_asks
from markstead.records.plan_words import DayOfGoals, ask_words, figures, targets_beside
from markstead.records.plans import KeptPlan


def plan(home: Home, kept: KeptPlan, standing: KeptPlan | None, goals: tuple[DayOfGoals, ...]) -> Plain:
    """A plan that was worked out, beside the plan in force."""
    beside = standing if standing is not None and standing.number != kept.number else None
    says = kept.says
    return {
        "number": kept.number,
        "state": str(kept.state),
        "first": kept.first.isoformat(),
        "last": kept.problem.days[-1].isoformat(),
        "in_force": home.plan,
        "broken": says.broken,
        "stopped": says.stopped,
        "asks": [
            {"words": ask_words(home, ask), **written}
            for ask, written in zip(kept.asks, write_asks(kept.asks), strict=True)
        ],
        "gap_percent": says.gap,
        "announced": says.announced,
        "moved": [
            {
                "day": m.day.isoformat(),
                "learner": home.people[m.learner].key,
                "course": m.course,
                "was": m.was,
                "now": m.now,
                "why": m.why,
            }
            for m in says.moved
        ],
        "targets": [
            {
                "learner": home.people[row.learner].key,
                "course": row.course,
                "workbook": row.workbook,
                "by": row.due.isoformat(),
                "before": _met(row.before),
                "after": _met(row.after),
            }
            for row in targets_beside(home, kept, beside)
        ],
        "figures": [
            {"what": f.what, "before": f.before, "after": f.after} for f in figures(home, kept, beside)
        ],
        "guessed_paces": [
            {"learner": home.people[learner].key, "course": course, "minutes_a_page": minutes}
            for learner, course, minutes in says.guessed
        ],
        "at_risk": [_risk(home, kept, n) for n in range(len(says.at_risk))],
        "goals": day_goals(home, goals),
    }


def _met(met: object) -> Plain | None:
    if met is None:
        return None
    day = getattr(met, "day", None)
    return {"day": day.isoformat() if day is not None else None, "late": getattr(met, "late", 0)}


def _risk(home: Home, kept: KeptPlan, n: int) -> Plain:
    risk = kept.says.at_risk[n]
    key = (risk.learner, risk.course, risk.workbook)
    return {
        "learner": home.people[risk.learner].key,
        "course": risk.course,
        "workbook": risk.workbook,
        "by": risk.due.isoformat(),
        "planned": risk.met.isoformat() if risk.met is not None else None,
        "reason": risk.reason,
        "ways": [
            {"sentence": way.sentence, "points": way.points, "others_late": way.others_late}
            for way in kept.says.ways
            if way.target == key
        ],
    }


def day_goals(home: Home, goals: tuple[DayOfGoals, ...]) -> list[Plain]:
    """Goals day by day and learner by learner."""
    return [
        {
            "day": row.day.isoformat(),
            "learner": home.people[row.learner].key,
            "goals": [_goal(course, goal) for course, _, goal in row.goals],
        }
        for row in goals
    ]


def _goal(course: str, goal: Goal) -> Plain:
    step = "unit test" if goal.unit else "practice test" if goal.practice else None
    return {
        "course": course,
        "workbook": goal.workbook,
        "first": goal.first,
        "last": goal.last,
        "test": step,
    }
