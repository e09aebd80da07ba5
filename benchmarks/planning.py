"""What a plan takes and how good it is: school years, fifty days with their bound, and plans made again after a slip.

``python -m benchmarks.planning`` prints the tables; some six minutes. Homes are invented from seeds (`tests.plan.homes`).
"""

from dataclasses import replace
from statistics import median
from time import process_time

from markstead.plan.answer import cost_of
from markstead.plan.bound import lower_bound
from markstead.plan.breaches import Rule, breaches
from markstead.plan.moved import announced_count, moved_goals
from markstead.plan.problem import Problem
from markstead.plan.solving import only_targets, replan, solve
from tests.plan.homes import home
from tests.plan.paper import paper_plan
from tests.plan.slips import announce, sick, slip, under_way

SEEDS, LOADS, LEARNERS = (1, 2, 3), (0.80, 0.88, 0.95), (1, 4, 8)


def _timed(problem: Problem, **options: int) -> tuple[float, float, float]:
    begun = process_time()
    answer = solve(problem, **options)  # type: ignore[arg-type]
    taken = process_time() - begun
    assert breaches(problem, answer) == ()
    return answer.cost.points, answer.cost.targets / 2, taken


def years() -> list[str]:
    """Every home of the grid beside its paper plan."""
    lines = [
        "| learners | load | paper: points; rules broken | one start: points, s | four starts: points, s | paper over four starts |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for learners in LEARNERS:
        for load in LOADS:
            rows = [_year(home(seed, load, learners)) for seed in SEEDS]
            paper, broken, one, one_s, four, four_s, ratio = (
                median(column) for column in zip(*rows, strict=True)
            )
            lines.append(
                f"| {learners} | {load:.2f} | {paper:,.0f}; {broken:,.0f} | {one:,.0f}, {one_s:.2f} "
                f"| {four:,.0f}, {four_s:.1f} | {ratio:.1f} |"
            )
    return lines


def _year(problem: Problem) -> tuple[float, ...]:
    places = paper_plan(problem)
    paper = cost_of(problem, places).points
    broken = _broken(problem, places)
    one, _, one_s = _timed(problem, starts=1)
    four, _, four_s = _timed(problem, starts=4)
    return paper, broken, one, one_s, four, four_s, paper / four


def _broken(problem: Problem, places: list[tuple[int, ...]]) -> int:
    from markstead.plan.answer import Outcome, write_out

    found = breaches(problem, write_out(problem, places, Outcome.GOOD, 0))
    return sum(breach.rule in (Rule.OVER_HARD, Rule.MORNING_FULL, Rule.LEARNER_FULL) for breach in found)


def fifty_days() -> list[str]:
    """One learner's fifty days beside the bound."""
    lines = [
        "| seed | load | bound, s | four starts: points, s | polished: points, s | polished over the bound | targets alone: points, bound |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for seed in SEEDS:
        for load in LOADS:
            problem = home(seed, load, 1, horizon=50)
            begun = process_time()
            bound = lower_bound(problem).points
            bound_s = process_time() - begun
            plain, _, plain_s = _timed(problem)
            polished, _, polished_s = _timed(problem, polishing=1)
            bare = only_targets(problem)
            lines.append(
                f"| {seed} | {load:.2f} | {bound:,.0f}, {bound_s:.1f} | {plain:,.0f}, {plain_s:.2f} "
                f"| {polished:,.0f}, {polished_s:.1f} | {100 * (polished / bound - 1):.0f} % "
                f"| {solve(bare).cost.points:,.0f}, {lower_bound(bare).points:,.0f} |"
            )
    return lines


def again() -> list[str]:
    """Plans made again with three days announced."""
    lines = [
        "| learners, days | what happened | announced | moved (median) | moved without a price | one start, s |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for learners, days in ((1, 10), (4, 20), (4, 50), (8, 20)):
        for kind in ("slip", "sick two days"):
            rows = []
            for seed in SEEDS:
                problem = under_way(home(seed, 0.88, learners, horizon=days), seed)
                told = announce(problem, solve(problem, starts=2))
                changed = slip(told, seed) if kind == "slip" else sick(told, "L1", 2)
                begun = process_time()
                answer = replan(changed, starts=1)
                taken = process_time() - begun
                bare = replace(changed, streams=tuple(replace(s, announced=()) for s in changed.streams))
                free = moved_goals(changed, solve(bare, starts=1))
                rows.append((announced_count(changed), len(moved_goals(changed, answer)), len(free), taken))
            count, moved, free_count, taken = (median(column) for column in zip(*rows, strict=True))
            lines.append(
                f"| {learners}, {days} | {kind} | {count} | {moved:g} ({100 * moved / count:.0f} %) "
                f"| {free_count:g} | {taken:.2f} |"
            )
    return lines


def lines() -> list[str]:
    """All tables, with a line between them."""
    return [*years(), "", *fifty_days(), "", *again()]


if __name__ == "__main__":
    print("\n".join(lines()))
