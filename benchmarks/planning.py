"""What a plan takes and how good it is: school years, fifty days with their bound, plans made again, goals changed by hand.

    python -m benchmarks.planning                       print the tables; an hour, most of it for `targets`
    python -m benchmarks.planning --write               and write them into docs/explanation/planning.md, and what is wanted
                                                        beside what was found into docs/reference/benchmarks.md
    python -m benchmarks.planning --write years again   only these tables

Homes are invented from seeds (`tests.plan.homes`). Times are CPU seconds of one core. Every plan is judged by `breaches`.
"""

import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import product
from pathlib import Path
from statistics import median
from time import process_time
from typing import Any

from benchmarks.house import machine
from benchmarks.kept_tables import BARS, DOCS, put
from markstead.plan.again import mend
from markstead.plan.answer import Answer, Outcome, loads, write_out
from markstead.plan.bound import lower_bound
from markstead.plan.breaches import breaches
from markstead.plan.edit import edit
from markstead.plan.explain import at_risk, ways_out
from markstead.plan.moved import announced_count, moved_goals
from markstead.plan.moves import HALF
from markstead.plan.problem import Problem
from markstead.plan.seek import seek
from markstead.plan.solving import only_targets, replan, solve
from tests.plan.homes import home
from tests.plan.paper import paper_plan
from tests.plan.slips import announce, forced, sick, slip, under_way

PAGE = DOCS / "explanation" / "planning.md"
SEEDS, LOADS, LEARNERS = (1, 2, 3), (0.80, 0.88, 0.95), (1, 4, 8)
GRID = tuple(product(LOADS, SEEDS))
OVER_HARD, CLASH = 10, 100
"""Points a minute over a hard limit and a sitting too many: what a paper plan breaks without noticing has its price too."""


FOUND: dict[str, list[float]] = defaultdict(list)
"""What the tables found, by what is wanted."""
JUDGED: list[int] = []
"""Rules broken by each plan that was judged."""


def timed(work: Callable[..., Any], *values: Any, **options: Any) -> tuple[Any, float]:
    """What some work finds, and its CPU seconds."""
    begun = process_time()
    found = work(*values, **options)
    return found, process_time() - begun


def kept(problem: Problem, answer: Answer) -> Answer:
    """The answer, once it is seen to break no rule."""
    found = breaches(problem, answer)
    JUDGED.append(len(found))
    if found:
        raise AssertionError(found[0].sentence)
    return answer


def years() -> Iterator[str]:
    """School years beside their paper plans."""
    yield (
        "| learners | load | paper: points; targets missed; minutes over hard limits; sittings that collide; points with these | "
        "one start: points; missed; s | four starts: points; missed; s | paper over one start, over four | the same with what paper breaks |"
    )
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    ratios, broken = [], 0
    for learners in LEARNERS:
        for load in LOADS:
            rows = [_year(home(seed, load, learners)) for seed in SEEDS]
            found = [(r[0] / r[5], r[0] / r[8], r[4] / r[5], r[4] / r[8]) for r in rows]
            ratios += found
            FOUND[f"year of {learners}"] += [row[7] for row in rows]
            FOUND["paper"] += [ratio[0] for ratio in found]
            FOUND["paper with what it breaks"] += [ratio[2] for ratio in found]
            broken += len(rows)
            m = [median(column) for column in zip(*rows, strict=True)]
            yield (
                f"| {learners} | {load:.2f} | {m[0]:,.0f}; {m[1]:.0f}; {m[2]:,.0f}; {m[3]:.0f}; {m[4]:,.0f} "
                f"| {m[5]:,.0f}; {m[6]:.0f}; {m[7]:.2f} | {m[8]:,.0f}; {m[9]:.0f}; {m[10]:.1f} "
                f"| {' | '.join(_pair([median(column) for column in zip(*found, strict=True)]))} |"
            )
    yield f"| all {broken}: medians | | | | | {' | '.join(_pair([median(column) for column in zip(*ratios, strict=True)]))} |"


def _pair(m: Sequence[float]) -> tuple[str, str]:
    return f"{m[0]:.2f}, {m[1]:.2f}", f"{m[2]:.2f}, {m[3]:.2f}"


def _year(problem: Problem) -> tuple[float, ...]:
    paper = write_out(problem, paper_plan(problem), Outcome.GOOD, 0)
    over, clashes = _broken(problem, paper)
    priced = paper.cost.points + OVER_HARD * over + CLASH * clashes
    row: list[float] = [paper.cost.points, len(at_risk(paper)), over, clashes, priced]
    for starts in (1, 4):
        answer, seconds = timed(solve, problem, starts=starts)
        kept(problem, answer)
        row += [answer.cost.points, len(at_risk(answer)), seconds]
    return tuple(row)


def _broken(problem: Problem, paper: Answer) -> tuple[float, int]:
    """Minutes over hard limits, and sittings for which nobody is free to watch or that are a learner's second of a day."""
    halves = loads(problem, paper.places)
    over = sum(
        max(0, took - most)
        for limits in problem.learners
        for took, most in zip(halves[limits.learner], limits.hard, strict=True)
    )
    sat = Counter((goal.day, goal.learner) for goal in paper.goals if goal.unit)
    mornings = Counter(day for day, _ in sat.elements())
    clashes = sum(max(0, n - problem.watched[day]) for day, n in mornings.items())
    clashes += sum(max(0, n - problem.sittings_a_learner) for n in sat.values())
    return over / HALF, clashes


def targets() -> Iterator[str]:
    """What targets alone must cost: what one start finds, what the long search finds from it, and what is proved."""
    yield "| learners, days | homes | one start within 1 % of the bound; s | long search within 1 %; s: median, longest | the others: found, bound |"
    yield "| --- | --- | --- | --- | --- |"
    for learners, days in ((1, 50), (1, 191), (4, 50), (4, 191), (8, 191)):
        rows = [_targets(home(seed, load, learners, horizon=days)) for load, seed in GRID]
        quick, long = ([row[n] <= 1.01 * row[2] + 1e-9 for row in rows] for n in (0, 1))
        FOUND[f"targets of {learners} for {days}"] += long
        others = [f"{r[1]:,.0f}, {r[2]:,.0f}" for r, good in zip(rows, long, strict=True) if not good]
        yield (
            f"| {learners}, {days} | {len(rows)} | {sum(quick)}; {median(row[3] for row in rows):.1f} "
            f"| {sum(long)}; {median(row[4] for row in rows):.1f}, {max(row[4] for row in rows):.0f} | {'; '.join(others) or 'none'} |"
        )
    yield from ("", "The homes of the last row:", "")
    yield "| load | seed | one start; s | long search: found, bound; s |"
    yield "| --- | --- | --- | --- |"
    for (load, seed), r in zip(GRID, rows, strict=True):
        yield f"| {load:.2f} | {seed} | {r[0]:,.0f}; {r[3]:.0f} | {r[1]:,.0f}, {r[2]:,.0f}; {r[4]:.0f} |"


def _targets(problem: Problem) -> tuple[float, ...]:
    """Points of one start and of the long search, the bound, and the seconds of both."""
    bare = only_targets(problem)
    begun, quick_s = timed(solve, bare, starts=1)
    sought, long_s = timed(seek, bare, begun)
    return kept(bare, begun).cost.points, kept(bare, sought.answer).cost.points, sought.least, quick_s, long_s


def fifty() -> Iterator[str]:
    """One learner's fifty days beside the bound of their whole cost; four learners' time."""
    yield "| seed | load | bound, s | four starts: points, s | polished: points, s | over the bound: four starts, polished | four learners, one start: points, s |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    over, seconds = [], []
    for load, seed in GRID:
        problem, more = home(seed, load, 1, horizon=50), home(seed, load, 4, horizon=50)
        bound, bound_s = timed(lower_bound, problem)
        plain, plain_s = timed(solve, problem)
        best, best_s = timed(solve, problem, polishing=1)
        four, four_s = timed(solve, more, starts=1)
        bound = bound.points
        plain, best = (kept(problem, answer).cost.points for answer in (plain, best))
        four = kept(more, four).cost.points
        over.append((100 * (plain / bound - 1), 100 * (best / bound - 1)))
        seconds.append(four_s)
        FOUND["fifty days of 4"].append(four_s)
        FOUND["over the bound"].append(over[-1][1])
        yield (
            f"| {seed} | {load:.2f} | {bound:,.0f}, {bound_s:.1f} | {plain:,.0f}, {plain_s:.2f} | {best:,.0f}, {best_s:.1f} "
            f"| {over[-1][0]:.0f} %, {over[-1][1]:.0f} % | {four:,.0f}, {four_s:.2f} |"
        )
    plain_over, best_over = (median(column) for column in zip(*over, strict=True))
    yield f"| median | | | | | {plain_over:.0f} %, {best_over:.0f} % | {median(seconds):.2f} s |"


def again() -> Iterator[str]:
    """Plans made again with three days announced; medians of three."""
    yield "| learners, days | what happened | announced | must move | moved: again, mended | moved without a price, on paper | again, s | mended, s |"
    yield "| --- | --- | --- | --- | --- | --- | --- | --- |"
    for learners, days in ((1, 10), (4, 20), (4, 50), (8, 20)):
        mornings = [_morning(seed, learners, days) for seed in SEEDS]
        for kind in ("slip", "sick a day", "sick two days"):
            rows = [
                _again(told, standing, kind, seed)
                for seed, (told, standing) in zip(SEEDS, mornings, strict=True)
            ]
            if learners > 1:
                FOUND["slip" if kind == "slip" else "sick"] += [100 * row[2] / row[0] for row in rows]
                FOUND["mended, slip" if kind == "slip" else "mended, sick"] += [
                    100 * row[3] / row[0] for row in rows
                ]
            if (learners, days) == (4, 20):
                FOUND["again"] += [row[6] for row in rows]
            m = [median(column) for column in zip(*rows, strict=True)]
            yield (
                f"| {learners}, {days} | {kind} | {m[0]:g} | {m[1]:g} | {m[2]:g} ({100 * m[2] / m[0]:.0f} %), {m[3]:g} "
                f"| {m[4]:g}, {m[5]:g} | {m[6]:.2f} | {m[7]:.2f} |"
            )


def _morning(seed: int, learners: int, days: int) -> tuple[Problem, Answer]:
    problem = under_way(home(seed, 0.88, learners, horizon=days), seed)
    answer = solve(problem, starts=2)
    return announce(problem, answer), answer


def _again(told: Problem, standing: Answer, kind: str, seed: int) -> tuple[float, ...]:
    changed = slip(told, seed) if kind == "slip" else sick(told, "L1", 1 if kind == "sick a day" else 2)
    answer, seconds = timed(replan, changed, starts=1)
    places = [
        tuple(max(place, stream.done) for place in path)
        for stream, path in zip(changed.streams, standing.places, strict=True)
    ]
    mended, mended_s = timed(mend, changed, places)
    bare = replace(changed, streams=tuple(replace(s, announced=()) for s in changed.streams))
    free = moved_goals(changed, solve(bare, starts=1))
    paper = moved_goals(changed, write_out(changed, paper_plan(changed), Outcome.GOOD, 0))
    counts = [len(moved_goals(changed, kept(changed, found))) for found in (answer, mended)]
    return announced_count(changed), forced(changed), *counts, len(free), len(paper), seconds, mended_s


def quick() -> Iterator[str]:
    """What a person waits for: a goal changed by hand, and ways out."""
    yield "| what | learners, days | s |"
    yield "| --- | --- | --- |"
    for learners, days in ((4, 20), (4, 191)):
        problem = under_way(home(1, 0.88, learners, horizon=days), 1)
        answer = solve(problem, starts=1)
        goals = [goal for goal in answer.goals if goal.day < 3 and goal.pages > 1]
        seconds = [
            timed(edit, problem, answer, g.learner, g.course, g.day, last=(g.last or 0) - 1)[1] for g in goals
        ]
        yield f"| a goal changed by hand, the slowest of {len(goals)} | {learners}, {days} | {max(seconds):.3f} |"
    problem = home(1, 0.88, 4, horizon=50)
    answer = solve(problem, starts=1)
    ways, seconds_ = timed(ways_out, problem, answer)
    risks = len(at_risk(answer))
    told = len({(way.target.learner, way.target.course, way.target.workbook) for way in ways})
    yield f"| ways out of {risks} targets at risk: {len(ways)}, for {told} of them | 4, 50 | {seconds_:.1f} |"


def bars() -> Iterator[str]:
    """What is wanted of plans, beside what the tables of the same run found."""
    yield "| what | wanted | found |"
    yield "| --- | --- | --- |"
    yield f"| rules broken, of {len(JUDGED):,} plans judged | 0 | {sum(JUDGED)} |"
    for learners, most in ((1, 1), (4, 4), (8, 10)):
        yield f"| a school year of {learners}, one start, s | at most {most} | {_median(f'year of {learners}')} |"
    yield f"| fifty days of four, one start, s | at most 1 | {_median('fifty days of 4')} |"
    yield f"| twenty days of four made again, s | at most 0.5 | {_median('again')} |"
    with_broken, bare = (_median(name) for name in ("paper with what it breaks", "paper"))
    yield f"| points of the paper plan over one start's, what paper breaks priced (and left out) | at least 5 | {with_broken} ({bare}) |"
    for learners, days in ((1, 50), (1, 191), (4, 50), (4, 191), (8, 191)):
        met = FOUND[f"targets of {learners} for {days}"]
        yield f"| targets alone within 1 % of their bound by the long search, {learners} for {days} days | 9 of 10 homes | {sum(met):.0f} of {len(met)} |"
    yield f"| fifty days of one, polished, over the bound of all costs | at most 15 % | {_median('over the bound')} % |"
    for kind, most in (("slip", 8), ("sick", 20)):
        said = "after a slip" if kind == "slip" else "with a learner sick for one or two days"
        yield f"| announced goals moved {said}, four and eight learners; mended | at most {most} % | {_median(kind)} %; {_median(f'mended, {kind}')} % |"


def _median(what: str) -> str:
    return f"{median(FOUND[what]):.3g}"


PARTS = {"years": years, "targets": targets, "fifty": fifty, "again": again, "quick": quick}


def tell(part: str, *, write: bool) -> None:
    """Print a table, and write it into its part of the page, between two comments."""
    _put(part, "\n".join(PARTS[part]()), PAGE if write else None)


def _put(part: str, table: str, page: Path | None) -> None:
    sys.stdout.write(table + "\n\n")
    sys.stdout.flush()
    if page is not None:
        put(part, table, page)


def main(words: Sequence[str]) -> None:
    """Take the parts named, or all; what is wanted is told where all were taken."""
    named = [word for word in words if word != "--write"]
    for part in named or PARTS:
        tell(part, write="--write" in words)
    if not named:
        taken = f"Taken on {datetime.now(UTC):%Y-%m-%d} on {machine()}.\n\n"
        _put("plans", taken + "\n".join(bars()), BARS if "--write" in words else None)


if __name__ == "__main__":
    main(sys.argv[1:])
