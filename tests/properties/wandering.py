"""Random acts in the small home: mostly what somebody might mean, now and then what nobody should."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any

from hypothesis import strategies as st

from markstead.ledger.facts import (
    PRACTICE,
    AnyFact,
    AttendanceTaken,
    CheckOpened,
    CopyIssued,
    CopyOrdered,
    CopyReceived,
    CopySpoiled,
    Corrected,
    DispatchSent,
    FactReversed,
    FirstMarking,
    GateOverridden,
    GoalSet,
    HelpAsked,
    HelpGiven,
    LeaveAsked,
    LeaveGiven,
    LeaveRefused,
    OpeningTalkHeld,
    OralQuizHeld,
    PagesWorked,
    PaperSent,
    PracticeTestOpened,
    PracticeTestScored,
    Presence,
    ReadinessDecided,
    ReMarked,
    SpotCheckHeld,
    Step,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
    WorkTakenOver,
)
from markstead.rules.programme import MarkingRules, Marks, Programme, Rework
from markstead.rules.ruling import Actor
from tests.properties.naive import BOOKS, HOME, RULES_THAT_MAY_BE_PASSED, Naive
from tests.rules.small_home import CAST, PROGRAMME, Story

PLAIN_AIDS = ("pencil", "eraser", "ruler")
PEOPLE = ("ruth", "tobi", "asa", "noa", "ines", "mara")
QUESTIONS = {"P1": 10, "P2": 5, "S1": 5}

LATEST = date(2026, 3, 20)
"""A week after the last term; the naive home's clock knows nothing of 5 April, when Auckland's goes back."""


class Wanderer:
    """Picks the next act, by the die it is given, from what the naive home looks like."""

    def __init__(self, naive: Naive, start: datetime, passes: int) -> None:
        self.naive, self.when, self.passes = naive, start, passes
        self.copies = 0

    def next_act(self, dice: Random) -> tuple[AnyFact, str, datetime, datetime]:
        """A proposed fact, who proposes it, when, and the clock at that time."""
        copies = self.naive.copies()
        self.let_time_pass(dice)
        when = self.when
        if dice.random() < 0.02:
            when -= timedelta(minutes=dice.randrange(1, 2000))
        now = (
            when - timedelta(minutes=5)
            if dice.random() < 0.02
            else when + timedelta(minutes=dice.randrange(3))
        )
        issued = [n for n, c in copies.items() if c["is"] == "issued"]
        if not copies or dice.random() < (0.02 if len(issued) > 1 else 0.15):
            return self.order(copies, dice), self.somebody("ruth", dice), when, now
        throw = dice.random()
        coming = [n for n, c in copies.items() if c["is"] in ("on order", "in the house")]
        done = [n for n, c in copies.items() if c["is"] in ("finished", "sent")]
        if throw < 0.8 and issued:
            name = dice.choice(issued[:3])
        elif throw < 0.93 and coming:
            name = coming[-1]
        else:
            name = dice.choice(done or list(copies))
        c = copies[name]
        if dice.random() < 0.7:
            fact, who = self.sensible(name, c, dice)
            if fact.KIND == "unit test sat" and c["ready"] and dice.random() < 0.4:
                if self.today <= LATEST:
                    self.when = self.on_a_morning(dice)
                when = now = self.when
            if isinstance(fact, UnitTestSat):  # its day is that of its instant: the act of sitting sees to it
                fact = replace(fact, day=when.astimezone(HOME).date())
            return self.perhaps_override(fact, c, dice), self.somebody(who, dice), when, now
        return self.wild(name, c, dice, when), dice.choice(PEOPLE), when, now

    @property
    def today(self) -> date:
        return self.when.astimezone(HOME).date()

    def order(self, copies: dict[str, dict[str, Any]], dice: Random) -> AnyFact:
        self.copies += 1
        learner = dice.choice(["asa", "noa"])
        passed = {
            c["book"]
            for c in copies.values()
            if c["learner"] == learner and c["unit"] and c["unit"]["enough"]
        }
        books = ["P2", "S1"] if "P1" in passed and learner == "asa" else ["P2"] if "P1" in passed else ["P1"]
        book = dice.choice(books if dice.random() < 0.85 else list(BOOKS))
        return CopyOrdered(f"c{self.copies}", book, learner)

    def let_time_pass(self, dice: Random) -> None:
        throw = dice.random()
        if throw < 0.93 or self.today > LATEST:
            self.when += timedelta(minutes=dice.randrange(1, 15))
        elif throw < 0.98:
            self.when = self.on_a_morning(dice)
        else:
            self.when += timedelta(minutes=dice.randrange(60, 2000))

    def on_a_morning(self, dice: Random) -> datetime:
        next_day = self.when.astimezone(HOME) + timedelta(days=1)
        return next_day.replace(hour=dice.choice([8, 8, 9, 10]), minute=dice.choice([0, 29, 30, 31]))

    @staticmethod
    def somebody(meant: str, dice: Random) -> str:
        return meant if dice.random() < 0.93 else dice.choice(PEOPLE)

    def perhaps_override(self, fact: AnyFact, c: dict[str, Any], dice: Random) -> AnyFact:
        """Now and then an educator passes some bars before the act."""
        if c["passes"] or dice.randrange(100) >= self.passes or not hasattr(fact, "copy"):
            return fact
        kinds = dice.sample(sorted(RULES_THAT_MAY_BE_PASSED), dice.randrange(1, 18))
        # Bars of the two other weights may be named as well; it must not help.
        kinds += dice.sample(["only an educator", "another stop first", "nobody watches", "no leave"], 2)
        return GateOverridden(str(fact.copy), fact.KIND, tuple(kinds), "w")

    # --- what somebody might mean -------------------------------------------------------------------------

    def sensible(self, name: str, c: dict[str, Any], dice: Random) -> tuple[AnyFact, str]:
        learner = c["learner"] or "asa"
        match c["is"]:
            case "on order":
                return CopyReceived(name), "ruth"
            case "in the house":
                return CopyIssued(name, learner), "ruth"
            case "issued" if c["unit"]:
                return UnitTestScored(name, *self.score(c, dice)), "ruth"
            case "issued" if not c["talk"]:
                if dice.random() < 0.15:  # a learner who cannot wait
                    return PagesWorked(name, self.today, 1, 1), learner
                if dice.random() < 0.1:
                    return self.taken_over(name, c, dice), "ruth"
                return OpeningTalkHeld(name), "ruth"
            case "issued" if c["waits"]:
                return self.answer(name, c, dice), "ruth"
            case "issued":
                return self.work(name, c, dice, learner)
        if dice.random() < 0.5:
            return PaperSent(name, "d1"), "ruth"
        if self.naive.rules["same copy"]:
            return PracticeTestOpened(name, c["practices"] + 1), "ruth"
        self.copies += 1
        return WorkbookReordered(name, f"c{self.copies}"), "ruth"

    @staticmethod
    def taken_over(name: str, c: dict[str, Any], dice: Random) -> AnyFact:
        """Some of the pages, with the stops that end on them."""
        stops = BOOKS[c["book"]]["stops"]
        last = dice.randrange(1, stops[-1][2] + 1)
        return WorkTakenOver(name, last, tuple(stop for stop, _, end, _ in stops if end <= last))

    def answer(self, name: str, c: dict[str, Any], dice: Random) -> AnyFact:
        step, stop = c["waits"]
        if dice.random() < 0.15:
            return LeaveRefused(name, step, "w", stop)
        if step == "to re-mark" and self.naive.quiz(c, stop) and dice.random() < 0.6:
            return HelpGiven(name) if dice.random() < 0.4 else OralQuizHeld(name, ((1, True),), stop)
        return {
            "to open the check": lambda: CheckOpened(name, stop),
            "to sit the practice test": lambda: PracticeTestOpened(name, c["practices"] + 1),
            "to sit the unit test": lambda: ReadinessDecided(name, dice.random() < 0.8),
        }.get(step, lambda: LeaveGiven(name, step, stop))()

    def work(self, name: str, c: dict[str, Any], dice: Random, learner: str) -> tuple[AnyFact, str]:
        for stop, first, last, asked in BOOKS[c["book"]]["stops"]:
            if stop in c["cleared"]:
                if dice.random() < 0.1:
                    return SpotCheckHeld(name, stop, ((dice.randrange(1, asked + 1), True),)), "ruth"
                continue
            if stop in c["wrong"]:
                return self.cycle(name, c, stop, dice), learner
            if stop.startswith("check") and stop not in c["opened"]:
                asks = dice.random() < 0.5
                return (
                    (LeaveAsked(name, Step.CHECK, stop), learner)
                    if asks
                    else (CheckOpened(name, stop), "ruth")
                )
            left = sorted(set(range(first, last + 1)) - c["pages"])
            if left:
                to = dice.choice(left) if dice.random() < 0.8 else dice.randrange(left[0], 6)
                day = self.today
                return PagesWorked(name, day, left[0], to, dice.randrange(1, 30)), learner
            if c["leave"] != ("to mark", stop):
                return LeaveAsked(name, Step.MARK, stop), learner
            return FirstMarking(name, stop, asked, self.wrong(asked, dice)), learner
        return self.tests(name, c, dice, learner)

    def cycle(self, name: str, c: dict[str, Any], stop: str, dice: Random) -> AnyFact:
        if stop not in c["corrected"]:
            return Corrected(name, stop)
        if c["leave"] != ("to re-mark", stop):
            return LeaveAsked(name, Step.REMARK, stop)
        still = sorted(c["wrong"][stop])
        kept = [question for question in still if dice.random() < 0.3]
        if dice.random() < 0.1:
            kept = sorted({*kept, dice.randrange(1, 5)})
        return ReMarked(name, stop, tuple(kept))

    def tests(self, name: str, c: dict[str, Any], dice: Random, learner: str) -> tuple[AnyFact, str]:
        practice = c["practice"]
        if practice and practice["open"]:
            if dice.random() < 0.4 and not c["leave"]:
                return LeaveAsked(name, Step.MARK, PRACTICE), learner
            who = learner if c["leave"] else "ruth"
            return PracticeTestScored(name, c["practices"], *self.score(c, dice, practice=True)), who
        if practice and practice["enough"]:
            if not c["ready"] and dice.random() < 0.9:
                if dice.random() < 0.3:
                    return LeaveAsked(name, Step.UNIT_TEST), learner
                return ReadinessDecided(name, dice.random() < 0.8), "ruth"
            aids = (*PLAIN_AIDS, *(["calculator"] if dice.random() < 0.2 else []))
            day = self.today
            return UnitTestSat(name, 1, day, aids, dice.choice(["ruth", "ruth", "tobi", "", "asa"])), "ruth"
        if practice and not c["reviewed"] and dice.random() < 0.8:
            if PRACTICE in c["wrong"] and dice.random() < 0.6:
                return self.cycle(name, c, PRACTICE, dice), learner
            return HelpGiven(name), "tobi"
        if dice.random() < 0.3:
            return LeaveAsked(name, Step.PRACTICE_TEST), learner
        return PracticeTestOpened(name, c["practices"] + 1), "ruth"

    @staticmethod
    def wrong(asked: int, dice: Random) -> tuple[int, ...]:
        most = asked if dice.random() < 0.3 else 1
        return tuple(sorted(dice.sample(range(1, asked + 1), dice.randrange(0, most + 1))))

    def score(self, c: dict[str, Any], dice: Random, *, practice: bool = False) -> tuple[Any, ...]:
        asked = QUESTIONS[c["book"]]
        right = dice.choice([asked, asked - 1, asked * 4 // 5, asked * 4 // 5 - 1, 0])
        percent = self.naive.rules["practice percent" if practice else "unit percent"]
        needed = self.needed(asked, percent)
        wrong = tuple(sorted(dice.sample(range(1, asked + 1), asked - right))) if dice.random() < 0.7 else ()
        return right, asked, needed, wrong

    def needed(self, asked: int, percent: int) -> int:
        """The least whole number of right answers that is enough, found by trying each."""
        exactly = self.naive.rules["exactly passes"]
        return next(
            n
            for n in range(asked + 1)
            if n * 100 > percent * asked or (exactly and n * 100 == percent * asked)
        )

    # --- where a home may be already ---

    def begin_far_on(self) -> list[AnyFact]:
        """Both learners have passed P1 but for one unit test, and every copy in hand is ready for its test."""
        found: list[AnyFact] = []
        for learner, book in (("asa", "P1"), ("asa", "P2"), ("asa", "S1"), ("noa", "P1")):
            self.copies += 1
            name, asked, rules = f"c{self.copies}", QUESTIONS[book], self.naive.rules
            practice, unit = (self.needed(asked, rules[f"{test} percent"]) for test in ("practice", "unit"))
            found += [CopyOrdered(name, book, learner), CopyReceived(name), CopyIssued(name, learner)]
            found += [OpeningTalkHeld(name)]
            for stop, first, last, questions in BOOKS[book]["stops"]:
                found += [CheckOpened(name, stop)] if stop.startswith("check") else []
                found += [PagesWorked(name, self.today, first, last), LeaveGiven(name, Step.MARK, stop)]
                found += [FirstMarking(name, stop, questions)]
            found += [PracticeTestOpened(name, 1), PracticeTestScored(name, 1, asked, asked, practice)]
            found += [ReadinessDecided(name, ready=True)]
            if (learner, book) == ("asa", "P1"):
                found += [UnitTestSat(name, 1, self.today, PLAIN_AIDS, "ruth")]
                found += [UnitTestScored(name, asked, asked, unit)]
        return found

    # --- what nobody should ----------------------------------------------------------------------------------

    def wild(self, name: str, c: dict[str, Any], dice: Random, when: datetime) -> AnyFact:
        stops = [stop[0] for stop in BOOKS[c["book"]]["stops"]]
        stop = dice.choice(stops)
        any_stop = dice.choice([*stops, PRACTICE])
        checks = [s for s in stops if s.startswith("check")]
        day = when.astimezone(HOME).date() + timedelta(days=dice.choice([0, 0, 0, -1, 1]))
        number = dice.choice(
            [h[0] for h in self.naive.standing() if getattr(h[2], "copy", None) == name][-3:]
        )
        first = dice.randrange(1, 6)
        marked_at = dice.choice(["to mark", "to re-mark", "to sit the practice test", "to sit the unit test"])
        step = Step(marked_at)
        where = any_stop if step in (Step.MARK, Step.REMARK) else None
        choices: list[Callable[[], AnyFact]] = [
            lambda: CopyOrdered(name, "P1", "asa"),
            lambda: CopyReceived(name),
            lambda: CopySpoiled(name, "w"),
            lambda: CopyIssued(name, dice.choice(["asa", "noa"])),
            lambda: OpeningTalkHeld(name),
            lambda: self.taken_over(name, c, dice),
            lambda: GoalSet(name, day, first, 5),
            lambda: PagesWorked(name, day, first, dice.randrange(first, 6)),
            lambda: HelpAsked(name),
            lambda: HelpGiven(name),
            lambda: OralQuizHeld(name, ((2, False),), dice.choice([None, any_stop])),
            lambda: SpotCheckHeld(name, any_stop, ((dice.randrange(1, 7), True),)),
            lambda: LeaveAsked(name, step, where),
            lambda: LeaveGiven(name, step, where),
            lambda: LeaveRefused(name, step, "w", where),
            lambda: FirstMarking(name, stop, 5, self.wrong(5, dice)),
            lambda: Corrected(name, any_stop),
            lambda: ReMarked(name, any_stop, self.wrong(3, dice)),
            lambda: CheckOpened(name, checks[0]) if checks else HelpAsked(name),
            lambda: LeaveAsked(name, Step.CHECK, checks[0]) if checks else HelpAsked(name),
            lambda: PracticeTestOpened(name, c["practices"] + 1),
            lambda: PracticeTestScored(name, c["practices"], *self.score(c, dice, practice=True)),
            lambda: ReadinessDecided(name, dice.random() < 0.5),
            lambda: UnitTestSat(name, 1, when.astimezone(HOME).date(), PLAIN_AIDS, "ruth"),
            lambda: UnitTestScored(name, *self.score(c, dice)),
            lambda: WorkbookReordered(name, "cx"),
            lambda: PaperSent(name, "d1"),
            lambda: DispatchSent("d1", day, 1),
            lambda: AttendanceTaken(c["learner"] or "asa", day, dice.choice(list(Presence))),
            lambda: FactReversed(number, name),
            lambda: FactReversed(number, name),
        ]
        return dice.choice(choices)()


# --- whole weeks ---------------------------------------------------------------------------------------------

RULES: dict[str, list[Any]] = {
    "practice percent": [80, 80, 70, 90],
    "unit percent": [80, 80, 90],
    "exactly passes": [True, True, False],
    "quiz percent": [40, 20, 60],
    "ahead": [0, 0, 1],
    "days after": [1, 1, 2],
    "a learner a day": [1, 1, 2],
    "a morning": [2, 1],
    "educator decides": [True, True, False],
    "same copy": [True, False],
}
FIRST_STARTS = range(26)
PASSES = [0, 3, 15]


def programme_of(rules: dict[str, Any]) -> Programme:
    """The small home's programme with these numbers."""
    return replace(
        PROGRAMME,
        marks=Marks(rules["practice percent"], rules["unit percent"], rules["exactly passes"]),
        marking=MarkingRules(rules["quiz percent"], rules["ahead"]),
        unit_test=replace(
            PROGRAMME.unit_test,
            school_days_after_practice=rules["days after"],
            most_a_learner_a_day=rules["a learner a day"],
            most_watched_a_morning=rules["a morning"],
            readiness_decision=rules["educator decides"],
        ),
        rework=Rework.SAME_COPY if rules["same copy"] else Rework.NEW_COPY,
    )


@dataclass(frozen=True, slots=True)
class Weeks:
    """What is decided beforehand of some weeks in the small home; each number is the die of one act."""

    rules: dict[str, Any]
    start: int
    passes: int
    """Percent of the acts before which an educator passes some bars."""
    far_on: bool
    dice: list[int]


def weeks(least: int, most: int) -> st.SearchStrategy[Weeks]:
    """Some weeks of `least` to `most` acts, for Hypothesis to choose and to shrink."""
    dice = st.lists(st.integers(min_value=0, max_value=2**32 - 1), min_size=least, max_size=most)
    rules = st.fixed_dictionaries({name: st.sampled_from(choices) for name, choices in RULES.items()})
    return st.builds(
        Weeks, rules, st.sampled_from(FIRST_STARTS), st.sampled_from(PASSES), st.booleans(), dice
    )


def seeded_weeks(seed: int, acts: int) -> Weeks:
    """The weeks of this seed: the same on every machine and in every order of tests, so they may be counted.

    Hypothesis draws from what modules happen to be loaded, even when it is told to repeat itself.
    """
    dice = Random(seed)
    rules = {name: dice.choice(choices) for name, choices in RULES.items()}
    start, passes, far_on = dice.choice(FIRST_STARTS), dice.choice(PASSES), dice.random() < 0.5
    return Weeks(rules, start, passes, far_on, [dice.randrange(2**32) for _ in range(acts)])


@dataclass(frozen=True, slots=True)
class Proposal:
    """An act that somebody would like to do, and the home as it is before."""

    story: Story
    naive: Naive
    fact: AnyFact
    by: Actor
    when: datetime
    now: datetime

    def __str__(self) -> str:
        before = [f"{when:%d %b %H:%M} {fact}" for _, when, fact in self.naive.happened[-12:]]
        return "\n".join(
            ["", *before, f"then {self.when:%d %b %H:%M} {self.fact} by {self.by.id}", str(self.naive.rules)]
        )


def spend(some: Weeks) -> Iterator[Proposal]:
    """Propose act after act; each that the gates allow has happened when the next is proposed."""
    story, naive = Story(programme_of(some.rules)), Naive(some.rules)
    begin = datetime(2026, 1, 26, 9, 0, tzinfo=HOME).astimezone(UTC) + timedelta(days=some.start)
    wanderer = Wanderer(naive, begin, some.passes)
    for fact in wanderer.begin_far_on() if some.far_on else []:
        naive.happen(story.tell(fact, begin).seq, begin, fact)
    for place, die in enumerate(some.dice):  # the place is thrown in, for Hypothesis likes the same die often
        fact, who, when, now = wanderer.next_act(Random(f"{place} {die} {some.start}"))
        yield Proposal(story, naive, fact, CAST[who], when, now)
        if story.ask(fact, when, CAST[who], now=now).allowed:
            naive.happen(story.tell(fact, when, CAST[who]).seq, when, fact)
