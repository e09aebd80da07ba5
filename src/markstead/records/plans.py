"""Plans of a home: asked for, worked out, looked at, taken or put aside. The plan in force stays until another is taken.

Working one out may last: it writes how far it has come into its own row and looks there whether it is to stop, so that
any process can do it. Whatever becomes of it, the plan in force is not touched before somebody takes the new one.
"""

import json
from collections import OrderedDict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from hashlib import blake2s
from typing import Any

from django.db import transaction
from django.db.models import Max, Q

from markstead.calendar.school import Absence
from markstead.errors import InputError, MarksteadError, UnknownError
from markstead.errors import Problem as Wrong
from markstead.ledger.facts import GoalSet, Step
from markstead.plan.answer import Answer, Goal, Outcome, loads
from markstead.plan.moves import HALF
from markstead.plan.problem import Problem
from markstead.plan.serial import read_answer, read_problem, write_answer, write_problem
from markstead.plan.speech import Speech
from markstead.records import estimates
from markstead.records.desk import facts_and_standings, household_row
from markstead.records.home import Home, load_home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Document, Household
from markstead.records.models import Plan as PlanRow
from markstead.records.past import absent_on
from markstead.records.plan_asks import (
    Ask,
    MinutesADay,
    MoreSittings,
    PagesADay,
    SchoolToo,
    TargetBy,
    changed,
    dump,
    more_sittings,
    read_asks,
    read_by_hand,
    write_asks,
    write_by_hand,
    write_down,
)
from markstead.records.plan_problem import (
    ByHand,
    Scene,
    Told,
    check_room,
    first_day,
    guessed_paces,
    problem_of,
)
from markstead.records.queries import passed_by
from markstead.records.setup import new_stamp
from markstead.rules.ruling import page_words
from markstead.rules.standing import Standing
from markstead.speech import (
    and_words,
    date_words,
    language,
    later,
    read_sentence,
    remembering,
    say,
    tell,
    write_sentence,
)

SILENT = timedelta(seconds=120)
"""Whoever works a plan out and says nothing for so long is taken to have broken off."""
STARTS, AFTER = 4, 3
"""Pieces of work of a search anew: its starts, and what follows them."""
PROOF = 5
"""Rounds of the proof that targets cannot be met better."""
BECAUSE = {
    "learner away": later("the learner is away"),
    "out of reach": later("it can no longer be reached by then"),
    "morning full": later("the mornings before it have no room for the unit test"),
    "minutes": later("it does not fit into the minutes of the day"),
    "weighed against the rest": later("another day suits the rest of the plan better"),
}
"""Reasons of `plan.moved.Why`, as the end of a sentence."""


class State(StrEnum):
    """What a plan is."""

    WORKING = later("being worked out")
    PROPOSED = later("proposed")
    IN_FORCE = later("in force")
    EARLIER = later("earlier")
    ASIDE = later("put aside")
    BROKEN = later("broken off")


class Effort(StrEnum):
    """How long to search."""

    MEND = "mend"
    """Keep what stands, and change what must: under a second."""
    ANEW = "anew"
    """Search the whole year four times from the beginning, explain what is at risk and look for ways out."""
    LONG = "long"
    """The same, and between them the long search for the least that late targets must cost: minutes."""


@dataclass(frozen=True, slots=True)
class MovedLine:
    """An announced goal that is another now."""

    day: date
    learner: str
    course: str
    was: str
    now: str
    why: str
    """The reason as one of `plan.moved.Why`."""

    @property
    def because(self) -> str:
        """The reason in words."""
        return say(BECAUSE[self.why])


@dataclass(frozen=True, slots=True)
class AtRisk:
    """A target that the plan does not meet."""

    learner: str
    course: str
    workbook: str
    due: date
    met: date | None
    """None: not within the days that are planned."""
    reason: str


@dataclass(frozen=True, slots=True)
class Way:
    """A way out for a target at risk, solved before it is named."""

    target: tuple[str, str, str]
    ask: Ask
    sentence: str
    points: float
    """What the whole plan costs more; below nothing: less."""
    others_late: int
    """Targets that are late under it."""


@dataclass(frozen=True, slots=True)
class Says:
    """What goes with a plan."""

    done: int = 0
    of: int = 1
    step: str = ""
    """What is being done, in English: who looks is told in the language spoken then."""
    points: float | None = None
    """The cost of the best plan so far."""
    stopped: bool = False
    broken: str = ""
    moved: tuple[MovedLine, ...] = ()
    announced: int = 0
    """How many goals were announced."""
    at_risk: tuple[AtRisk, ...] = ()
    ways: tuple[Way, ...] = ()
    gap: float | None = None
    """How far its late targets cost more than the proved least, in percent at most; None: nothing was proved."""
    guessed: tuple[tuple[str, str, float], ...] = ()
    """Learner, course and minutes a page, where the learner's own pace is not known yet."""
    took: float = 0.0
    """Seconds."""

    def told(self) -> "Says":
        """The same, its sentences in the language that is spoken now."""
        return replace(
            self,
            broken=tell(self.broken),
            moved=tuple(replace(one, was=tell(one.was), now=tell(one.now)) for one in self.moved),
            at_risk=tuple(replace(one, reason=tell(one.reason)) for one in self.at_risk),
            ways=tuple(replace(one, sentence=tell(one.sentence)) for one in self.ways),
        )

    @property
    def doing(self) -> str:
        """What is being done, in words."""
        return say(self.step)


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A plan with everything about it."""

    number: int
    state: State
    begun: datetime
    by: str
    first: date
    stamp: str
    head: int
    effort: Effort
    asks: tuple[Ask, ...]
    by_hand: tuple[ByHand, ...]
    problem: Problem
    answer: Answer | None
    kept_says: Says
    """What goes with it, as it was kept."""
    taken: datetime | None
    _goals: dict[date, dict[tuple[str, str], Goal]] = field(default_factory=dict, repr=False, compare=False)
    _every: dict[date, tuple[Goal, ...]] = field(default_factory=dict, repr=False, compare=False)
    _told: dict[tuple[str, str], Told] = field(default_factory=dict, repr=False, compare=False)
    _loads: dict[str, tuple[int, ...]] = field(default_factory=dict, repr=False, compare=False)
    _says: dict[str, Says] = field(default_factory=dict, repr=False, compare=False)

    @property
    def says(self) -> Says:
        """What goes with it, in the language that is spoken now; put into words once in each."""
        code = language().code
        if code not in self._says:
            self._says[code] = self.kept_says.told()
        return self._says[code]

    def goals(self, day: date) -> Mapping[tuple[str, str], Goal]:
        """The goals of a day, by learner and course."""
        if not self._goals and self.answer is not None:
            found: dict[date, dict[tuple[str, str], Goal]] = {}
            for goal in self.answer.goals:
                at = self.problem.days[goal.day]
                found.setdefault(at, {})[goal.learner, goal.course] = goal
            self._goals.update(found)  # at once: another thread may be reading
        return self._goals.get(day, {})

    def every_goal(self, day: date) -> tuple[Goal, ...]:
        """Every goal of a day; where a workbook is begun on the day of a unit test, a course has two."""
        if not self._every and self.answer is not None:
            found: dict[date, list[Goal]] = {}
            for goal in self.answer.goals:
                found.setdefault(self.problem.days[goal.day], []).append(goal)
            self._every.update({at: tuple(goals) for at, goals in found.items()})
        return self._every.get(day, ())

    def told(self) -> dict[tuple[str, str], Told]:
        """What it announces, by learner and course; worked out once, for a plan does not change."""
        if self._told or self.answer is None or not self.answer.places:
            return self._told
        found: dict[tuple[str, str], Told] = {}
        for stream, path in zip(self.problem.streams, self.answer.places, strict=True):
            days = {}
            for day, place in zip(self.problem.days, path, strict=True):
                index, steps = stream.at(place)
                days[day] = (stream.workbooks[index].code, steps)
            found[stream.learner, stream.course] = days
        self._told.update(found)  # at once: another thread may be reading
        return self._told

    def loads(self) -> Mapping[str, tuple[int, ...]]:
        """Half-minutes of every learner on every day of the plan; worked out once."""
        if not self._loads and self.answer is not None and self.answer.places:
            self._loads.update(loads(self.problem, self.answer.places))
        return self._loads


# --- reading ------------------------------------------------------------------------------------------------------


def _says(kept: Mapping[str, Any]) -> Says:
    values = dict(kept)
    values["step"] = values.pop("doing", "")
    values["broken"] = read_sentence(kept.get("broken", ""))
    values["guessed"] = tuple((row[0], row[1], float(row[2])) for row in kept.get("guessed", ()))
    values["moved"] = tuple(
        MovedLine(
            date.fromisoformat(row["day"]),
            row["learner"],
            row["course"],
            read_sentence(row["was"]),
            read_sentence(row["now"]),
            row["why"],
        )
        for row in kept.get("moved", ())
    )
    values["at_risk"] = tuple(
        AtRisk(
            row["learner"],
            row["course"],
            row["workbook"],
            date.fromisoformat(row["due"]),
            date.fromisoformat(row["met"]) if row["met"] else None,
            read_sentence(row["reason"]),
        )
        for row in kept.get("at_risk", ())
    )
    values["ways"] = tuple(
        Way(
            tuple(row["target"]),
            read_asks([row["ask"]])[0],
            read_sentence(row["sentence"]),
            row["points"],
            row["others_late"],
        )
        for row in kept.get("ways", ())
    )
    return Says(**values)


def _written(says: Says) -> str:
    return dump(
        {
            "done": says.done,
            "of": says.of,
            "doing": says.step,
            "points": says.points,
            "stopped": says.stopped,
            "broken": write_sentence(says.broken),
            "announced": says.announced,
            "gap": says.gap,
            "guessed": says.guessed,
            "took": says.took,
            "moved": [
                {
                    "day": m.day.isoformat(),
                    "learner": m.learner,
                    "course": m.course,
                    "was": write_sentence(m.was),
                    "now": write_sentence(m.now),
                    "why": m.why,
                    "because": BECAUSE[m.why],
                }
                for m in says.moved
            ],
            "at_risk": [
                {
                    "learner": r.learner,
                    "course": r.course,
                    "workbook": r.workbook,
                    "due": r.due.isoformat(),
                    "met": r.met.isoformat() if r.met else None,
                    "reason": write_sentence(r.reason),
                }
                for r in says.at_risk
            ],
            "ways": [
                {
                    "target": list(w.target),
                    "ask": write_asks([w.ask])[0],
                    "sentence": write_sentence(w.sentence),
                    "points": w.points,
                    "others_late": w.others_late,
                }
                for w in says.ways
            ],
        }
    )


def _read(row: PlanRow) -> KeptPlan:
    problem = read_problem(row.problem)
    asks = json.loads(row.asks)
    return KeptPlan(
        row.number,
        State(row.state),
        row.begun,
        row.by,
        row.first,
        row.stamp,
        row.head_seq,
        Effort(asks["effort"]),
        read_asks(asks["asks"]),
        read_by_hand(asks["by_hand"]),
        problem,
        read_answer(row.answer, problem) if row.answer else None,
        _says(json.loads(row.says)),
        row.taken,
    )


_KEPT: OrderedDict[tuple[str, int], KeptPlan] = OrderedDict()
"""Plans in force, by the stamp of their home and by number."""


def kept_plan(household: str, number: int) -> KeptPlan:
    """A plan of a home.

    Raises:
        UnknownError: the home has no plan of that number.
    """
    row = PlanRow.objects.filter(household=household, number=number).first()
    if row is None:
        raise UnknownError([Wrong(say("plan"), str(number), say("the number of a plan of this home"))])
    return _read(row)


def knows(home: Home, plan: KeptPlan) -> bool:
    """Whether people, calendar, wishes and programme are still those that the plan in force was taken with."""
    return plan.stamp == _footing(home)


def _footing(home: Home) -> str:
    """What a plan rests on beside the record, as a digest: the home's files, its learners, and the plan in force."""
    kinds = Document.objects.filter(household=home.id).exclude(kind="requirements")
    versions = kinds.values_list("kind").annotate(n=Max("version"))
    learners = [(learner.id, learner.year, learner.courses) for learner in home.learners]
    text = repr((sorted(versions), learners, home.plan))
    return blake2s(text.encode(), digest_size=16).hexdigest()


def in_force(home: Home) -> KeptPlan | None:
    """The plan in force; remembered, for it does not change."""
    if home.plan is None:
        return None
    found = _KEPT.get((home.stamp, home.plan))
    if found is None:
        found = _KEPT[home.stamp, home.plan] = kept_plan(home.id, home.plan)
        while len(_KEPT) > 64:
            _KEPT.popitem(last=False)
    return found


@dataclass(frozen=True, slots=True)
class PlanLine:
    """A plan in a list."""

    number: int
    state: State
    begun: datetime
    by: str
    first: date
    effort: Effort
    asks: tuple[Ask, ...]


def states(household: str) -> tuple[tuple[int, State], ...]:
    """How every plan of a home stands, by number: what changes of a plan without the record or the settings changing."""
    rows = PlanRow.objects.filter(household=household).order_by("number").values_list("number", "state")
    return tuple((number, State(state)) for number, state in rows)


def plans(household: str, *, limit: int = 30) -> tuple[PlanLine, ...]:
    """The latest plans of a home, newest first."""
    rows = PlanRow.objects.filter(household=household).order_by("-number")
    found = []
    for row in rows.values("number", "state", "begun", "by", "first", "asks")[:limit]:
        asks = json.loads(row["asks"])
        found.append(
            PlanLine(
                row["number"],
                State(row["state"]),
                row["begun"],
                row["by"],
                row["first"],
                Effort(asks["effort"]),
                read_asks(asks["asks"]),
            )
        )
    return tuple(found)


# --- what there is to plan ----------------------------------------------------------------------------------------


def _leads(home: Home, today: date) -> Callable[[str | None], int]:
    """Days after which a parcel of a supplier is there in nine of ten cases."""
    from markstead.forecast.lead import learn_lead

    def days(supplier: str | None) -> int:
        return learn_lead((), today, home.wishes.supplier(supplier or "").lead).days_for(0.9)

    return days


def scene_of(
    home: Home,
    now: datetime,
    *,
    told: KeptPlan | None = None,
    by_hand: tuple[ByHand, ...] = (),
    more: int = 0,
) -> Scene:
    """Everything that a problem is made from, read from the record."""
    rows = list(CopyRow.objects.filter(household=home.id, live=True).order_by("id"))
    known = facts_and_standings(home.id, rows)
    standings: list[Standing] = [known[row.id][1] for row in rows]
    passed = passed_by(home, [learner.id for learner in home.learners])
    today = home.calendar.day_of(now)
    return Scene(
        home,
        now,
        standings,
        passed,
        {learner.id: estimates.pace(home, learner, now) for learner in home.learners},
        _leads(home, today),
        sat_today=CopyRow.objects.filter(household=home.id, sat_on=today).count(),
        told=told.told() if told is not None else {},
        by_hand=by_hand,
        more_sittings=more,
    )


# --- asking for a plan --------------------------------------------------------------------------------------------


def ask(
    household: str,
    *,
    by: str,
    now: datetime,
    real_now: datetime,
    effort: Effort = Effort.ANEW,
    asks: Sequence[Ask] = (),
    by_hand: tuple[ByHand, ...] | None = None,
) -> int:
    """Ask for a plan; gives its number. Nothing is worked out yet.

    Args:
        household: whose plan.
        by: who asks.
        now: the home's clock.
        real_now: the machine's clock.
        effort: how long to search.
        asks: changes to try it with.
        by_hand: goals set by hand; None: those of the plan in force.

    Raises:
        InputError: a change that cannot be, no school days, nothing to plan, or goals by hand that contradict each other.
    """
    from markstead.plan.check import check

    home = load_home(household_row(household))
    footing = _footing(home)
    today = home.calendar.day_of(now)
    after = _as_attended(changed(home, asks, today), today)
    standing = in_force(home)
    if by_hand is None:
        by_hand = standing.by_hand if standing is not None else ()
    begins = first_day(after, now)
    by_hand = tuple(
        goal
        for goal in by_hand
        if goal.day >= begins and after.calendar.is_school_day(goal.day, goal.learner)
    )
    scene = scene_of(after, now, told=standing, by_hand=by_hand, more=more_sittings(asks))
    problem = problem_of(scene, begins)
    check_room(after, problem)
    check(problem, speech_of(after))
    with transaction.atomic():
        row = household_row(household, lock=True)
        number = int(PlanRow.objects.filter(household=row).aggregate(n=Max("number"))["n"] or 0) + 1
        PlanRow.objects.create(
            household=row,
            number=number,
            state=State.WORKING,
            begun=real_now,
            by=by,
            first=begins,
            head_seq=row.head_seq,
            stamp=footing,
            asks=dump({"effort": effort, "asks": write_asks(asks), "by_hand": write_by_hand(by_hand)}),
            problem=write_problem(problem),
            says=_written(Says(guessed=guessed_paces(scene, problem))),
        )
    return number


def _as_attended(home: Home, today: date) -> Home:
    """The home in whose calendar those are absent today of whom that is on the record: of them nothing more is asked."""
    ill = tuple(Absence(learner, today, today) for learner in sorted(absent_on(home, today)))
    if not ill:
        return home
    return replace(home, calendar=replace(home.calendar, absences=(*home.calendar.absences, *ill)))


def at_work(household: str, effort: Effort, asks: Sequence[Ask] = ()) -> int | None:
    """The number of a plan that is being worked out for the same wish: what is sent twice is begun once."""
    wanted = write_asks(asks)
    rows = PlanRow.objects.filter(household=household, state=State.WORKING).order_by("-number")
    for number, text in rows.values_list("number", "asks"):
        kept = json.loads(text)
        if (kept["effort"], kept["asks"]) == (effort, wanted):
            return int(number)
    return None


# --- working it out -----------------------------------------------------------------------------------------------


def work_out(household: str, number: int, clock: Callable[[], datetime]) -> KeptPlan:
    """Work a plan out that was asked for, and keep it as proposed; the plan in force stays.

    `clock` is the machine's. Whatever goes wrong is kept with the plan as a sentence. All that is said of the plan can be
    told in every language: whoever looks at it need not read the one of whoever worked it out.
    """
    kept = kept_plan(household, number)
    if kept.state is not State.WORKING:
        return kept
    with remembering():
        _worked_out(kept, _Worker(household, number, clock), clock)
    return kept_plan(household, number)


def _worked_out(kept: KeptPlan, worker: "_Worker", clock: Callable[[], datetime]) -> None:
    begun = clock()
    try:
        says, answer = worker.work(kept)
    except MarksteadError as error:
        worker.end(State.BROKEN, None, Says(broken=error.sentence))
    except Exception:
        worker.end(State.BROKEN, None, Says(broken=say("It broke off by a mistake of Markstead's own.")))
        raise
    else:
        took = (clock() - begun).total_seconds()
        worker.end(State.PROPOSED if answer.places else State.BROKEN, answer, replace(says, took=took))


class _Worker:
    """Works out one plan and says how far it has come."""

    def __init__(self, household: str, number: int, clock: Callable[[], datetime]) -> None:
        self.household, self.number, self.clock = household, number, clock
        self.says = Says()
        self.least: float | None = None
        """What late targets must cost, where the long search looked for it, in points."""
        self.home = load_home(household_row(household))

    def rows(self) -> Any:
        return PlanRow.objects.filter(household=self.household, number=self.number)

    def tell(self, **news: Any) -> bool:
        """Write how far it has come; whether to go on."""
        self.says = replace(self.says, **news)
        self.rows().filter(state=State.WORKING).update(says=_written(self.says), beat=self.clock())
        wanted = self.rows().values_list("stop_asked", "state").first()
        return wanted is not None and not wanted[0] and wanted[1] == State.WORKING

    def end(self, state: State, answer: Answer | None, says: Says) -> None:
        """Write what came of it, unless somebody has put it aside meanwhile."""
        self.rows().filter(state=State.WORKING).update(
            state=state,
            answer=write_answer(answer) if answer is not None else "",
            says=_written(says),
            beat=self.clock(),
        )

    def work(self, kept: KeptPlan) -> tuple[Says, Answer]:
        self.says = kept.kept_says
        answer = self._search(kept)
        if not answer.places:
            return replace(self.says, broken=answer.reason), answer
        stopped = answer.outcome is Outcome.OUT_OF_TIME
        self.says = replace(self.says, stopped=stopped, points=answer.cost.points)
        return replace(self._explain(kept, answer), step=""), answer

    def _search(self, kept: KeptPlan) -> Answer:
        from markstead.plan.again import mend
        from markstead.plan.respond import Progress
        from markstead.plan.solving import solve

        standing = in_force(self.home)
        if kept.effort is Effort.MEND and standing is not None and standing.answer is not None:
            return mend(kept.problem, places_of(kept.problem, standing), speech=speech_of(self.home))
        self.tell(of=STARTS + AFTER, step=later("Searching"))

        def heard(progress: Progress) -> bool:
            return self.tell(done=progress.start, of=progress.starts + AFTER, points=progress.cost / HALF)

        answer = solve(kept.problem, starts=STARTS, on_progress=heard, speech=speech_of(self.home))
        if kept.effort is Effort.LONG and answer.cost.targets and answer.outcome is Outcome.GOOD:
            return self._sought(kept.problem, answer)
        return answer

    def _sought(self, problem: Problem, answer: Answer) -> Answer:
        """A plan whose late targets cost less, where the long search finds one that is better as a whole."""
        from markstead.plan.respond import Progress
        from markstead.plan.seek import seek
        from markstead.plan.solving import settled

        said, of = later("Looking for the least that late targets must cost"), self.says.of

        def heard(progress: Progress) -> bool:
            return self.tell(done=STARTS + progress.start, of=of + progress.starts, step=said)

        sought = seek(problem, answer, on_progress=heard)
        self.least = sought.least
        if sought.answer.cost.total < answer.cost.targets:
            other = settled(problem, sought.answer.places, seed=answer.seed)
            answer = min(answer, other, key=lambda found: found.cost.total)
        self.tell(points=answer.cost.points)
        return answer

    def _explain(self, kept: KeptPlan, answer: Answer) -> Says:
        from markstead.plan.explain import at_risk, reasons, ways_out
        from markstead.plan.moved import announced_count, moved_goals

        says, problem = self.says, kept.problem
        self.tell(done=says.of - AFTER, step=later("Naming what moved"))
        moved = self._dropped(kept) + [self._moved(kept, found) for found in moved_goals(problem, answer)]
        place = {learner.id: n for n, learner in enumerate(self.home.learners)}
        moved.sort(key=lambda line: (line.day, place[line.learner], line.course))
        risky = at_risk(answer)
        speech = speech_of(self.home)
        why = {r.target.key: r for r in reasons(problem, answer, speech)}
        lines = tuple(
            AtRisk(
                found.target.learner,
                found.target.course,
                found.target.workbook,
                problem.days[found.target.day],
                problem.days[found.day] if found.day is not None else None,
                why[found.target.key].sentence,
            )
            for found in risky
        )
        says = replace(says, moved=tuple(moved), announced=announced_count(problem), at_risk=lines)
        if kept.effort is not Effort.MEND and risky:
            if not self.tell(done=says.of - 2, step=later("Proving how good it is")):
                return replace(says, stopped=True)
            says = replace(says, gap=_gap(problem, answer, self.least))
            if not self.tell(done=says.of - 1, step=later("Looking for ways out")):
                return replace(says, stopped=True)
            ways = tuple(
                Way(
                    way.target.key,
                    found_ask,
                    way.sentence,
                    way.points,
                    len(at_risk(way.answer)),
                )
                for way in ways_out(problem, answer, speech=speech)
                if (found_ask := self._ask_of(kept, way.change)) is not None
            )
            says = replace(says, ways=ways)
        return replace(says, done=says.of)

    def _ask_of(self, kept: KeptPlan, change: object) -> Ask | None:
        """A change of the planner as one of the home, on top of the changes that the plan was asked with."""
        from markstead.plan import whatif

        problem = kept.problem
        match change:
            case whatif.Pages():
                stream = problem.stream(change.learner, change.course)
                pages = (stream.comfortable + change.pages, stream.most + change.pages)
                return PagesADay(change.learner, change.course, *pages)
            case whatif.ExtraDays():
                return SchoolToo(change.days)
            case whatif.TargetSet():
                target = change.target
                by = problem.days[target.day]
                return TargetBy(target.learner, target.course, target.workbook, by)
            case whatif.Sittings():
                return MoreSittings(change.more)
            case whatif.Minutes():
                learner = self.home.people[change.learner]
                wish = self.home.wishes.learner(learner.id, learner.year)
                soft, hard = wish.soft, wish.hard
                for asked in kept.asks:
                    if isinstance(asked, MinutesADay) and self.home.person(asked.learner).id == learner.id:
                        soft, hard = asked.soft, asked.hard
                more = change.halves // HALF
                return MinutesADay(learner.id, soft + more, hard + more)
        return None

    def _dropped(self, kept: KeptPlan) -> list[MovedLine]:
        """Goals that were announced for a day on which the learner is now away."""
        standing = in_force(self.home)
        if standing is None:
            return []
        found = []
        for day, here in self._away(kept.problem):
            for (learner, course), goal in standing.goals(day).items():
                if learner == here:
                    was = goal_words(goal, self.home.programme.workbook(goal.workbook).title)
                    found.append(MovedLine(day, learner, course, was, say("nothing"), "learner away"))
        return found

    def _away(self, problem: Problem) -> list[tuple[date, str]]:
        announced = range(min(self.home.wishes.announced_days, problem.horizon))
        return [
            (problem.days[n], limits.learner)
            for limits in problem.learners
            for n in announced
            if not limits.here[n]
        ]

    def _moved(self, kept: KeptPlan, found: Any) -> MovedLine:
        problem = kept.problem
        stream = problem.stream(found.learner, found.course)
        day = problem.days[found.day]
        speech = speech_of(self.home)
        return MovedLine(
            day,
            found.learner,
            found.course,
            speech.place(stream, found.told),
            speech.place(stream, found.now),
            str(found.why),
        )


def _gap(problem: Problem, answer: Answer, least: float | None) -> float | None:
    """How far the late targets of a plan cost more than the least that any plan pays for them, in percent at most."""
    from markstead.plan.bound import lower_bound
    from markstead.plan.solving import only_targets

    if least is None:
        least = lower_bound(only_targets(problem), rounds=PROOF).points
    return max(0.0, 100 * (answer.cost.targets / HALF / least - 1)) if least > 0 else None


def goal_words(goal: Goal, title: str) -> str:
    """A goal as it is said: 'pages 14-17 of Fractions'."""
    parts = []
    if goal.first is not None and goal.last is not None:
        parts.append(page_words(goal.first, goal.last))
    if goal.practice:
        parts.append(say("the practice test"))
    if goal.unit:
        parts.append(say("the unit test"))
    return say("{goal} of {title}", goal=and_words(parts) if parts else "", title=title)


def places_of(problem: Problem, plan: KeptPlan) -> list[list[int] | None]:
    """A plan's paths in the steps of another problem, as far as its days go; then they stay where they are."""
    told = plan.told()
    found: list[list[int] | None] = []
    for stream in problem.streams:
        days = told.get((stream.learner, stream.course))
        if days is None:
            found.append(None)
            continue
        places, now = [], stream.done
        for day in problem.days:
            if day in days:
                now = max(now, stream.place(*days[day]) or now)
            places.append(now)
        found.append(places)
    return found


def speech_of(home: Home) -> Speech:
    """How the planner names the people, courses and workbooks of a home."""
    programme = home.programme
    return Speech(
        {learner.id: learner.name for learner in home.learners},
        {course.id: course.title for course in programme.courses.values()},
        {code: book.title for code, book in programme.workbooks.items()},
    )


# --- what becomes of it -------------------------------------------------------------------------------------------


def stop(household: str, number: int) -> None:
    """Ask whoever works a plan out to stop; the best plan so far is then proposed."""
    PlanRow.objects.filter(household=household, number=number, state=State.WORKING).update(stop_asked=True)


def break_off(household: str, number: int, why: str) -> None:
    """Say of a plan being worked out that nothing comes of it; `why` is kept as it was remembered (`markstead.speech`)."""
    PlanRow.objects.filter(household=household, number=number, state=State.WORKING).update(
        state=State.BROKEN, says=_written(Says(broken=why))
    )


def beat(household: str, number: int, real_now: datetime) -> None:
    """Say of a plan being worked out that somebody still is at it."""
    PlanRow.objects.filter(household=household, number=number, state=State.WORKING).update(beat=real_now)


def break_off_silent(household: str, real_now: datetime) -> None:
    """Break off every plan of which nothing was heard for long: whoever worked it out is gone."""
    silent = Q(beat__lt=real_now - SILENT) | Q(beat=None, begun__lt=real_now - SILENT)
    rows = PlanRow.objects.filter(silent, household=household, state=State.WORKING)
    for number in rows.values_list("number", flat=True):
        minutes = SILENT // timedelta(minutes=1)
        with remembering():
            why = say("Working it out broke off: nothing was heard of it for {n} minutes.", n=minutes)
        break_off(household, number, why)


def put_aside(household: str, number: int) -> None:
    """Put a plan aside that is not in force."""
    open_states = (State.PROPOSED, State.WORKING, State.BROKEN)
    PlanRow.objects.filter(household=household, number=number, state__in=open_states).update(
        state=State.ASIDE
    )


def take(household: str, number: int, *, now: datetime) -> KeptPlan:
    """Put a proposed plan in force, and write down the changes it was asked with.

    Raises:
        InputError: it is not proposed, the home has changed since, its first day is over, or one of its changes can
            only be tried.
    """
    with transaction.atomic():
        row = household_row(household, lock=True)
        found = PlanRow.objects.select_for_update().filter(household=household, number=number).first()
        if found is None:
            raise UnknownError([Wrong(say("plan"), str(number), say("the number of a plan of this home"))])
        if found.state not in (State.PROPOSED, State.ASIDE) or not found.answer:
            said = say("a plan that is {state}", state=say(found.state))
            raise InputError(
                [
                    Wrong(
                        say("plan {number}", number=number),
                        said,
                        say("a plan that was worked out and is proposed"),
                    )
                ]
            )
        home = load_home(row)
        kept = _read(found)
        today = home.calendar.day_of(now)
        do = say("Plan again, and take the new plan.")
        if kept.first < today:
            said = say("goals from {day} on, a day that is over", day=date_words(kept.first))
            raise InputError(
                [
                    Wrong(
                        say("plan {number}", number=number),
                        said,
                        say("a plan from {day} on", day=date_words(today)),
                        do,
                    )
                ]
            )
        if found.stamp != _footing(home):
            said = say(
                "made before another plan was taken, or people, calendar or wishes of the home were changed"
            )
            raise InputError([Wrong(say("plan {number}", number=number), said, say("a plan made since"), do)])
        if kept.asks:
            home = write_down(household, kept.asks, today=today, at=now)
        PlanRow.objects.filter(household=household, state=State.IN_FORCE).update(state=State.EARLIER)
        found.state, found.taken, found.stamp = State.IN_FORCE, now, _footing(replace(home, plan=number))
        found.save(update_fields=["state", "taken", "stamp"])
        Household.objects.filter(id=household).update(plan_in_force=number, stamp=new_stamp())
    return kept_plan(household, number)


def plan_now(
    household: str,
    *,
    by: str,
    now: datetime,
    clock: Callable[[], datetime],
    effort: Effort = Effort.MEND,
    asks: Sequence[Ask] = (),
    by_hand: tuple[ByHand, ...] | None = None,
) -> KeptPlan:
    """Ask for a plan and work it out on the spot.

    Raises:
        InputError: as `ask`.
    """
    number = ask(household, by=by, now=now, real_now=clock(), effort=effort, asks=asks, by_hand=by_hand)
    return work_out(household, number, clock)


# --- goals of a day -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DayGoal:
    """What the plan means a learner to do in one workbook on a day, from where the learner stands now."""

    goal: GoalSet
    behind: int = 0
    """Pages of it that should have been done before that day and are not done yet."""
    holds: bool = True
    """It can still be done: the test that is planned may be held, and the pages are not more than a day's most."""


def by_hand(
    home: Home, *, learner: str, course: str, day: date, last: int | None, tests: str = ""
) -> tuple[ByHand, ...]:
    """The goals set by hand of the plan in force, with one more.

    Args:
        home: whose plan.
        learner: id of the learner.
        course: of the learner.
        day: a day that is planned.
        last: the last page of the day; None: no pages.
        tests: 'practice' where all pages and the practice test are meant, 'unit' for the unit test, else nothing.

    Raises:
        InputError: there is no plan, it does not plan that day or course, or the workbook has no such page.
    """
    plan = in_force(home)
    told = plan.told().get((learner, course), {}) if plan is not None else {}
    if plan is None or day not in told:
        raise InputError([Wrong(say("goal"), date_words(day), say("a day and a course that are planned"))])
    stream = plan.problem.stream(learner, course)
    index, done = stream.at(stream.done)
    begun = stream.workbooks[index].code, done
    before = max(((d, place) for d, place in told.items() if d < day), default=(day, begun))[1]
    goal = plan.goals(day).get((learner, course))
    code = goal.workbook if goal is not None else before[0]
    book = home.programme.workbook(code)
    done = before[1] if before[0] == code else 0
    if tests not in ("", "practice", "unit"):
        raise InputError([Wrong(say("goal"), tests, say("pages, the practice test or the unit test"))])
    if last is not None and not tests and not done <= last <= book.pages:
        allowed = say(
            "a page of {title} from {first} to {last}", title=book.title, first=max(1, done), last=book.pages
        )
        raise InputError([Wrong(say("last page"), str(last), allowed)])
    todo = stream.workbooks[stream.index(code) or 0]
    steps = {"practice": todo.pages + 1, "unit": todo.steps}.get(tests, done if last is None else last)
    key = (learner, course, day)
    kept = tuple(g for g in plan.by_hand if (g.learner, g.course, g.day) != key)
    return (*kept, ByHand(learner, course, code, day, steps))


_DAY_GOALS: OrderedDict[tuple[str, str, date], dict[str, DayGoal]] = OrderedDict()


def goals_of_day(
    home: Home, link: str, day: date, held: Iterable[tuple[str, str, Standing]]
) -> Mapping[str, DayGoal]:
    """The goals that the plan in force has for a day, by copy: from learner, course and standing of the copies in hand.

    A goal is a place to reach by the end of the day; what should have been done before is part of it and told apart.
    Remembered until the record, whose end is at `link`, or the plan changes.
    """
    plan = in_force(home)
    if plan is None:
        return {}
    key = (home.stamp, link, day)
    found = _DAY_GOALS.get(key)
    if found is None:
        goals = plan.goals(day)
        most = {(stream.learner, stream.course): stream.most for stream in plan.problem.streams}
        found = {}
        for learner, course, standing in held:
            goal = goals.get((learner, course))
            if goal is not None and goal.workbook == standing.workbook:
                found[standing.copy] = _day_goal(goal, day, standing, most[learner, course])
        _DAY_GOALS[key] = found
        while len(_DAY_GOALS) > 64:
            _DAY_GOALS.popitem(last=False)
    return found


def _day_goal(goal: Goal, day: date, standing: Standing, most: int) -> DayGoal:
    copy = standing.copy
    if goal.unit:
        open_ = standing.practice_passed or standing.unit is not None
        return DayGoal(GoalSet(copy, day, step=Step.UNIT_TEST), holds=open_)
    step = Step.PRACTICE_TEST if goal.practice else None
    if goal.first is None or goal.last is None:
        pages_left = any(page not in standing.pages for page in range(1, max(standing.pages, default=0) + 1))
        return DayGoal(GoalSet(copy, day, step=step), holds=bool(standing.pages) and not pages_left)
    today = standing.latest_day_pages if standing.latest_day == day else frozenset()
    before = standing.pages - today
    first = min((page for page in range(1, goal.last + 1) if page not in before), default=goal.first)
    left = sum(page not in before for page in range(first, goal.last + 1))
    behind = sum(page not in standing.pages for page in range(first, goal.first))
    return DayGoal(GoalSet(copy, day, first, goal.last, step), behind, holds=left <= most)
