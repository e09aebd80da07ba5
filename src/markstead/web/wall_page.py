"""The wall: names, today's goals, who waits for whom, the next test morning; large, and nothing that judges."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils.safestring import SafeString

from markstead.calendar import NoSchoolDayError
from markstead.ledger.facts import UnitTestSat
from markstead.records.home import Home
from markstead.records.plans import DayGoal
from markstead.records.queries import Call, CopyView, LearnerDay, Today
from markstead.rules.ruling import Role, goal_words
from markstead.speech import day_words, or_words, say
from markstead.web.pages import drawn, is_to_set, waiting_words

WAITS = 1
"""The urgency of a learner who waits for somebody."""
LOOK_AHEAD = 40
"""Days in which the next test morning is looked for."""


@dataclass(frozen=True, slots=True)
class WallGoal:
    """One goal of today."""

    subject: str
    title: str
    words: str
    ruler: SafeString
    done: bool


@dataclass(frozen=True, slots=True)
class WallLearner:
    """One learner's day."""

    name: str
    goals: tuple[WallGoal, ...]
    none: str
    """Said where no goal is set."""


@dataclass(frozen=True, slots=True)
class WallPage:
    """Everything that the template of the wall may use."""

    home: str
    day: str
    time: str
    closed: str | None
    learners: tuple[WallLearner, ...]
    waits: tuple[str, ...]
    morning: str
    sitters: tuple[str, ...]
    stamp: str


def wall_page(answer: Today, planned: Mapping[str, DayGoal]) -> WallPage:
    """Put today into what can be read across a room."""
    home, today = answer.home, answer.now.date()
    morning, sitters = _next_morning(answer)
    return WallPage(
        home=home.name,
        day=day_words(today),
        time=f"{answer.now:%H:%M}",
        closed=answer.day_is,
        learners=tuple(_learner(day, home, today, planned) for day in answer.learners),
        waits=tuple(
            _waits(call, home, answer.now) for call in answer.calls if call.urgency == WAITS and call.learner
        ),
        morning=morning,
        sitters=sitters,
        stamp=f"{answer.head}.{answer.now:%Y%m%d%H%M}",
    )


def _learner(day: LearnerDay, home: Home, today: date, planned: Mapping[str, DayGoal]) -> WallLearner:
    goals = tuple(
        goal for view in day.copies if (goal := _goal(view, home, today, planned.get(view.id))) is not None
    )
    return WallLearner(day.learner.name, goals, "" if goals else say("No goal is set for today."))


def _goal(view: CopyView, home: Home, today: date, planned: DayGoal | None) -> WallGoal | None:
    own = view.standing.goal
    ahead = planned.goal if planned is not None and is_to_set(view, planned, today) else None
    goal = own if own is not None and own.day == today else ahead
    if goal is None:
        return None
    pages = range(goal.first, goal.last + 1) if goal.first is not None and goal.last is not None else ()
    done = bool(pages) and goal.step is None and all(page in view.standing.pages for page in pages)
    return WallGoal(
        subject=home.programme.course(view.workbook.course).title,
        title=view.workbook.title,
        words=goal_words(goal),
        ruler=drawn(view, home, today, planned=ahead if goal is ahead else None),
        done=done,
    )


def _waits(call: Call, home: Home, now: datetime) -> str:
    """Who waits for whom, and for what."""
    who = call.learner.name if call.learner is not None else ""
    grown = [p.name for p in home.people.values() if p.role is Role.EDUCATOR]
    # What is asked for is said without who asks: "Asks leave to mark section 2" leaves "to mark section 2".
    what = call.what.removeprefix(say("Asks for ")).removeprefix(say("Asks leave "))
    since = waiting_words(call.since, now)
    asked = f"{what} ({since})" if since and since != say("just now") else what
    whom = or_words(grown) if grown else say("a grown-up")
    return say("{learner} waits for {educator}: {what}", learner=who, educator=whom, what=asked)


def _next_morning(answer: Today) -> tuple[str, tuple[str, ...]]:
    """The next morning on which a unit test may be begun, and who is to sit then."""
    home, now = answer.home, answer.now
    calendar, rules = home.calendar, home.programme.unit_test
    ready = [v for d in answer.learners for v in d.copies if isinstance(v.next.act, UnitTestSat)]
    earliest = {view.id: _earliest(view, home, now.date()) for view in ready}
    over = now.time() >= rules.morning_until
    for n in range(int(over), LOOK_AHEAD):
        day = now.date() + timedelta(days=n)
        if not calendar.is_school_day(day) or calendar.educator_is_away(day):
            continue
        sitters = tuple(
            f"{view.learner.name}: {home.programme.course(view.workbook.course).title}"
            for view in ready
            if view.learner is not None and (first := earliest[view.id]) is not None and first <= day
        )
        when = say("This morning") if n == 0 else say("Tomorrow") if n == 1 else day_words(day)
        hours = say(
            "{when}, {begin:%H:%M} to {end:%H:%M}",
            when=when,
            begin=rules.morning_from,
            end=rules.morning_until,
        )
        return hours, sitters
    return "", ()


def _earliest(view: CopyView, home: Home, today: date) -> date | None:
    """The first day on which a test that is decided on may be sat."""
    attempt, rules = view.standing.attempt, home.programme.unit_test
    if attempt is None:
        return today
    practice = home.calendar.day_of(attempt.scored or attempt.opened)
    distance = rules.school_days_after_practice
    try:
        return (
            home.calendar.next_school_day(practice, view.standing.learner, distance) if distance else practice
        )
    except NoSchoolDayError:
        return None
