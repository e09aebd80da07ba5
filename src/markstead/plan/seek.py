"""The long search for what targets must cost: the best plan that is found, beside what no plan can go below.

In a school year nearly all that is late is late in the first weeks. These are searched apart, as days of their own, and what is due
later is bounded learner by learner: every target is priced in one of the two, so that together they bound the year.

Learners meet only in the watched mornings, and these are seldom full. So each learner is solved alone first (`plan.counted`):
the sum of what each must pay alone bounds the home from below (a relaxation: Geoffrion 1974), and where the plans' mornings
go together it is reached. Where they do not, learners take turns with the mornings that others leave; then the bound of
the whole home (`plan.bound`) and, at last, one program of all learners, in which each pays at least what is proved and
no target is later than a better plan allows.

Branchings are counted, and no clock decides.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil

from markstead.plan.answer import Answer, Outcome, TargetDay, cost_of, meet, write_out
from markstead.plan.bound import lower_bound
from markstead.plan.check import check
from markstead.plan.counted import Counted
from markstead.plan.moves import HALF
from markstead.plan.parts import Places, alone, alone_cost, beginning, crowded, days_met, sittings, tied
from markstead.plan.problem import Problem, Target
from markstead.plan.prove import branched_bound, cost_step
from markstead.plan.respond import Listener, Progress
from markstead.plan.solving import only_targets, solve
from markstead.plan.stream import Tables

NODES = 2_000
"""Branchings of one program."""
ROUNDS = 60
"""Of column generation, for one learner and for the home."""
AGAIN = 3
"""How often all learners are solved together."""
MARGINS = (8, 20, 40)
"""School days after the last late one that are searched with the first weeks: few are quickly proved, more lead over more easily."""
BACK = 20
"""School days after the first weeks in which a plan of these comes back to the one that stands."""
SHARE = 0.7
"""Up to this share of all days, the first weeks are worth a search of their own."""
NEAR = 1e-6
"""Points are fractions of whole thousandths: less than this is the rounding of a division."""
TURNS = 3
"""How often learners take turns with the mornings that are left."""


@dataclass(frozen=True, slots=True)
class Sought:
    """What a long search found."""

    answer: Answer
    """A plan whose targets cost the least that was found; its cost is that of targets alone."""
    least: float
    """Points that no plan's targets can cost less than."""


def seek(
    problem: Problem, answer: Answer | None = None, *, nodes: int = NODES, on_progress: Listener | None = None
) -> Sought:
    """Find what the targets of a home must cost.

    The same problem, answer and count of branchings give the same plan. `on_progress` is called again and again; where it
    returns False, the best plan and the best bound so far are returned.

    Args:
        problem: what is to be planned; only what its targets cost is looked at.
        answer: a plan to begin with, of any prices; none: one start of `solve`.
        nodes: branchings of each program, at most.
        on_progress: is told how far the search is.

    Raises:
        InputError: as `solve`.
        ValueError: the answer has no plan.
    """
    check(problem)
    bare = only_targets(problem)
    begun = answer if answer is not None else solve(bare, starts=1)
    if not begun.places:
        if answer is None:
            return Sought(begun, 0.0)
        raise ValueError("an answer without a plan is nothing to begin with")
    search = _Search(bare, begun.places, nodes, on_progress)
    search.run()
    least = search.least
    if search.cost <= least:
        found = write_out(bare, search.places, Outcome.BEST, begun.seed, 0.0)
    else:
        within = 100 * (search.cost / least - 1) if least > 0 else None
        outcome = Outcome.OUT_OF_TIME if search.stopped else Outcome.GOOD
        found = write_out(bare, search.places, outcome, begun.seed, within)
    return Sought(found, least / HALF)


class _Search:
    """A plan and a bound that come nearer to each other. Costs are half points."""

    def __init__(self, bare: Problem, places: Places, nodes: int, on_progress: Listener | None) -> None:
        self.bare, self.places, self.nodes, self.on_progress = bare, places, nodes, on_progress
        self.step = cost_step(bare)
        self.names = [limits.learner for limits in bare.learners]
        self.tables = {
            name: [Tables(bare, s) for s in bare.streams if s.learner == name] for name in self.names
        }
        self.streams = {name: [alone_cost(t) for t in tables] for name, tables in self.tables.items()}
        """What each stream must cost if all minutes and mornings were its own."""
        self.lowest = {name: sum(costs) for name, costs in self.streams.items()}
        """What each learner's targets must cost."""
        self.whole = 0
        self.firsts: dict[int, _Search] = {}
        """The searches of first weeks, by their number of days."""
        self.cost = cost_of(bare, places).total
        self.done, self.of, self.stopped = 0, 0, False

    @property
    def least(self) -> int:
        """What no plan goes below."""
        return min(self.cost, max(self.whole, sum(self.lowest.values())))

    def run(self) -> None:
        """Go on until plan and bound meet, or nothing is left to do."""
        steps = (
            self._beginning,
            *(lambda name=name: self._alone(name) for name in self.names),
            self._turns,
            self._beginning,
            self._home,
            self._together,
        )
        self.of = len(steps)
        for step in steps:
            if self.cost <= self.least or self.stopped:
                return
            step()
            self.done += 1
            self._go_on()

    def _go_on(self) -> bool:
        """Tell how far it has come; whether to go on."""
        if self.on_progress is not None and not self.stopped:
            self.stopped = not self.on_progress(Progress(self.done, self.of, self.cost))
        return not self.stopped

    # --- the first weeks and what comes later ----------------------------------------------------------------------

    def _beginning(self) -> None:
        """Search the first weeks apart: what they must cost, and what later targets must, bound all days together.

        The best plan of the first weeks is led over into the one that stands.
        """
        for margin in MARGINS:
            end = self._first_weeks(margin)
            if end > SHARE * self.bare.horizon:
                return
            first = beginning(self.bare, end)
            before = tuple(path[:end] for path in self.places)
            if end not in self.firsts:
                self.firsts[end] = _Search(first, before, self.nodes, self._heard)
                self.firsts[end].run()
            search = self.firsts[end]
            if search.cost < cost_of(first, before).total:
                self._lead_over(first, search.places)
            self.whole = max(self.whole, search.least + self._later(end))
            if self.cost <= self.least or self.stopped:
                return

    def _heard(self, _: Progress) -> bool:
        return self._go_on()

    def _first_weeks(self, margin: int) -> int:
        """So many days beyond the first late ones, and beyond all that come before a while of as many without."""
        end = 0
        for found in self._late():
            if end and found.target.day >= end:
                break
            end = max(end, found.target.day + found.late + margin)
        return end

    def _later(self, end: int) -> int:
        """What targets due after the first weeks must cost: the sum of what each learner must pay alone for them."""
        total = 0
        for name in self.names:
            search = self._later_of(name, end)
            if search.least < search.cost and not self.stopped:
                last = max(late.target.day + late.late for late in search._late())
                self._mend(name, end, last + BACK)
                search = self._later_of(name, end)
            if search.least < search.cost and not self.stopped:
                search._alone(name)
            total += search.least
        return total

    def _later_of(self, name: str, end: int) -> "_Search":
        """A search of what one learner must pay for targets due after the first weeks."""
        mine = alone(self.bare, name)
        later = tuple(target for target in mine.targets if target.day >= end)
        return _Search(replace(mine, targets=later), self._paths(self.places, name), self.nodes, self._heard)

    def _mend(self, name: str, end: int, back: int) -> None:
        """Plan a learner's days up to one anew, with the mornings that are left and the first weeks as good as they are."""
        mine, paths = alone(self.bare, name, self._mornings_left(name)), self._paths(self.places, name)
        days = self._latest({name: cost_of(mine, paths).total})
        days |= days_met(beginning(mine, end), tuple(path[:end] for path in paths))
        found, _ = self._counted(tied(mine, paths, back), days).solve(self.nodes, paths, self._go_on)
        if found is not None:
            self._take(self._with(name, tuple(found)))

    def _late(self) -> list[TargetDay]:
        """The late targets of the plan, as they are due."""
        found = [meet(self.bare, target, self.places) for target in self.bare.targets]
        return sorted((one for one in found if one.late), key=lambda one: one.target.day)

    def _lead_over(self, first: Problem, places: Places) -> None:
        """Meet the targets of the first weeks as a plan of these does, and come back to the plan that stands.

        Learner by learner: each keeps to the mornings that the others do not need, before and after.
        """
        end, stood = first.horizon, self.places
        led = tuple((*new, *old[end:]) for new, old in zip(places, stood, strict=True))
        met = days_met(self.bare, stood) | days_met(first, places)
        for name in self.names:
            mine = alone(self.bare, name, self._mornings_left(name, led))
            held = tied(mine, self._paths(stood, name), end + BACK)
            # On the same days, which few branchings tell; else as cheap as it can be.
            found, _ = self._counted(held, met).solve(self.nodes // 20 + 1, go_on=self._go_on)
            if found is None and not self.stopped:
                found, _ = self._counted(held, {}).solve(self.nodes // 10 + 1, go_on=self._go_on)
            if found is None:
                return
            led = self._with(name, tuple(found), led)
        self._take(led)

    # --- one learner ---------------------------------------------------------------------------------------------

    def _alone(self, name: str) -> None:
        """Prove what a learner must pay, and take the learner's best plan where its mornings are free."""
        mine, paths = alone(self.bare, name), self._paths(self.places, name)
        cost = cost_of(mine, paths).total
        if cost <= self.lowest[name]:
            return
        plan = write_out(mine, paths, Outcome.GOOD, 0)
        proved = branched_bound(mine, plan, branches=1, rounds=ROUNDS).points
        self._raise(name, ceil(HALF * proved - NEAR))
        if cost <= self.lowest[name]:
            return
        found, least = self._count(mine, paths, cost)
        self._raise(name, least)
        self._take(self._with(name, found))

    def _turns(self) -> None:
        """Learners who pay more than they must are solved again with the mornings that the others leave."""
        for _ in range(TURNS):
            before = self.cost
            for name in self.names:
                mine = alone(self.bare, name, self._mornings_left(name))
                paths = self._paths(self.places, name)
                cost = cost_of(mine, paths).total
                if cost > self.lowest[name]:
                    found, _ = self._count(mine, paths, cost)
                    self._take(self._with(name, found))
            if self.cost == before or self.stopped:
                return

    def _count(self, mine: Problem, paths: Places, cost: int) -> tuple[Places, int]:
        """The best plan of one learner and what none goes below."""
        latest = self._latest({mine.learners[0].learner: cost})
        found, least = self._counted(mine, latest).solve(self.nodes, paths, self._go_on)
        return paths if found is None else tuple(found), least

    # --- all learners --------------------------------------------------------------------------------------------

    def _home(self) -> None:
        """Bound the whole home by mixtures of paths: what full mornings cost shows there first."""
        found = lower_bound(self.bare, rounds=ROUNDS, go_on=self._go_on).points
        self.whole = max(self.whole, self._stepped(ceil(HALF * found - NEAR)))

    def _together(self) -> None:
        """One program of all learners, and again as long as a better plan leaves fewer days open."""
        for _ in range(AGAIN):
            before = self.cost
            spare = self.cost - sum(self.lowest.values())
            latest = self._latest({name: lowest + spare for name, lowest in self.lowest.items()})
            program = self._counted(self.bare, latest)
            for name, lowest in self.lowest.items():
                program.at_least(name, lowest)
            found, least = program.solve(self.nodes, self.places, self._go_on)
            self.whole = max(self.whole, least)
            if found is not None:
                self._take(tuple(found))
            if self.cost == before or self.cost <= self.least or self.stopped:
                return

    # --- what they share -----------------------------------------------------------------------------------------

    def _counted(self, problem: Problem, latest: Mapping[tuple[str, str, str], int]) -> Counted:
        return Counted(problem, [Tables(problem, stream) for stream in problem.streams], self.step, latest)

    def _latest(self, most: Mapping[str, int]) -> dict[tuple[str, str, str], int]:
        """The day by which each target is met in every plan in which each learner pays at most so much."""
        found = {}
        for name, tables in self.tables.items():
            if name in most:
                for table, own in zip(tables, self.streams[name], strict=True):
                    room = most[name] - self.lowest_of_others(name, own)
                    for target in self.bare.targets_of(table.stream):
                        found[target.key] = self._day_for(target, table.stream.weight, room)
        return found

    def lowest_of_others(self, name: str, own: int) -> int:
        """What a learner's other streams must cost, each by itself."""
        return sum(self.streams[name]) - own

    def _day_for(self, target: Target, weight: int, room: int) -> int:
        points = self.bare.points
        left = room // (HALF * weight) - points.missed
        if left < 0:
            return max(0, target.day)
        late = left // points.day_late if points.day_late else self.bare.horizon
        return max(0, min(self.bare.horizon, target.day + late))

    def _raise(self, name: str, least: int) -> None:
        self.lowest[name] = max(self.lowest[name], self._stepped(least))

    def _stepped(self, least: int) -> int:
        """Costs go in steps: what lies between two is the upper."""
        return -(-least // self.step) * self.step

    def _take(self, places: Places) -> None:
        """Take a plan where it is better and its mornings are free."""
        cost = cost_of(self.bare, places).total
        if cost < self.cost and not crowded(self.bare, places):
            self.cost, self.places = cost, places

    def _paths(self, places: Places, name: str) -> Places:
        return tuple(path for s, path in zip(self.bare.streams, places, strict=True) if s.learner == name)

    def _with(self, name: str, found: Places, places: Places | None = None) -> Places:
        """A plan, the one that stands if none is given, with other paths of one learner."""
        new = iter(found)
        return tuple(
            next(new) if s.learner == name else path
            for s, path in zip(self.bare.streams, places or self.places, strict=True)
        )

    def _mornings_left(self, name: str, places: Places | None = None) -> tuple[int, ...]:
        """Sittings a morning that the others leave in a plan, the one that stands if none is given."""
        pairs = zip(self.bare.streams, places or self.places, strict=True)
        sat = sittings(self.bare, [(s, path) for s, path in pairs if s.learner != name])
        return tuple(max(0, free - n) for free, n in zip(self.bare.watched, sat, strict=True))
