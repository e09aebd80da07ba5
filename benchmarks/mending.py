"""What mending a plan that stands takes and changes, beside planning the same days anew: ``python -m benchmarks.mending``."""

from statistics import median
from time import process_time

from markstead.plan.again import mend
from markstead.plan.moved import moved_goals
from markstead.plan.solving import replan, solve
from tests.plan.homes import home
from tests.plan.slips import announce, sick, slip, under_way

SEEDS = (1, 2, 3)


def mended() -> list[str]:
    """Plans that stand, mended: beside the same days planned anew."""
    lines = [
        "| learners, days | what happened | announced goals moved: mended, anew | goals changed in all: mended, anew | points: mended, anew | s: mended, anew |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for learners, days in ((4, 20), (4, 50), (4, 191)):
        for kind in ("slip", "sick two days"):
            rows = [_mended(learners, days, kind, seed) for seed in SEEDS]
            one, two, far, wide, cheap, dear, soon, late = (
                median(column) for column in zip(*rows, strict=True)
            )
            lines.append(
                f"| {learners}, {days} | {kind} | {one:g}, {two:g} | {far:g}, {wide:g} | {cheap:,.0f}, {dear:,.0f} "
                f"| {soon:.2f}, {late:.2f} |"
            )
    return lines


def _mended(learners: int, days: int, kind: str, seed: int) -> tuple[float, ...]:
    problem = under_way(home(seed, 0.88, learners, horizon=days), seed)
    stood = solve(problem, starts=2)
    told = announce(problem, stood)
    changed = slip(told, seed) if kind == "slip" else sick(told, "L1", 2)
    begun = process_time()
    kept = mend(changed, stood.places)
    middle = process_time()
    anew = replan(changed, starts=1)
    taken = process_time() - middle
    other = [_other_days(stood.places, answer.places) for answer in (kept, anew)]
    moved = [len(moved_goals(changed, answer)) for answer in (kept, anew)]
    return (*moved, *other, kept.cost.points, anew.cost.points, middle - begun, taken)


def _other_days(one: tuple[tuple[int, ...], ...], two: tuple[tuple[int, ...], ...]) -> int:
    return sum(a != b for x, y in zip(one, two, strict=True) for a, b in zip(x, y, strict=True))


if __name__ == "__main__":
    print("\n".join(mended()))
