"""A learner's page on a tablet as frozen values: today's goals, one big next step, and the road of the workbooks.

What is not here cannot be shown: no estimate, no spot check, no quiz, nobody else's copy comes into these values.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.utils.safestring import SafeString

from markstead.ledger.facts import (
    PRACTICE,
    CheckOpened,
    Corrected,
    FirstMarking,
    GoalSet,
    HelpGiven,
    LeaveAsked,
    OpeningTalkHeld,
    OralQuizHeld,
    PagesWorked,
    PracticeTestOpened,
    PracticeTestScored,
    ReadinessDecided,
    ReMarked,
    Step,
    StopId,
    UnitTestSat,
)
from markstead.records.home import Home, Somebody
from markstead.records.plans import DayGoal
from markstead.records.queries import CopyView, Today
from markstead.rules.ruling import OWN_SLIP, goal_words, page_words, stop_words
from markstead.rules.standing import Cycle
from markstead.speech import day_words, later, say
from markstead.web.pages import drawn, reached
from markstead.web.tablet_words import questions_words, step_words, teacher_words

_MARK, _TEST, _SIT, _CORRECT, _ASK, _GOAL, _MORE, _WAIT = range(8)
"""What is shown largest comes first: what leave was given for, a test that is open, corrections, what is to be asked, the
pages of today's goal, pages beyond it, and last what somebody else does."""
YOUNG_UNTIL, MIDDLE_UNTIL = 3, 7
"""Last school years of the largest letters with the fewest words, and of those between."""


def age_class(year: int | None) -> str:
    """How large and how dense a learner's pages are, by school year; without one they are between."""
    if year is None:
        return "y-middle"
    return "y-young" if year <= YOUNG_UNTIL else "y-middle" if year <= MIDDLE_UNTIL else "y-old"


@dataclass(frozen=True, slots=True)
class Tap:
    """One thing to tap: an act of one tap, or a page where something is entered."""

    label: str
    slug: str = ""
    hidden: tuple[tuple[str, str], ...] = ()
    page: str = ""
    """Which page it opens, where it is no act: pages, marking or help."""


@dataclass(frozen=True, slots=True)
class BigStep:
    """The next step in one workbook, as the learner can take it."""

    rank: int
    """The lowest is shown largest."""
    says: str
    copy: str = ""
    seen: int = 0
    title: str = ""
    course: str = ""
    hint: str = ""
    sent_back: str = ""
    """Digest of the words with which the educator sent the learner back; then those words."""
    taps: tuple[Tap, ...] = ()
    waits: bool = False


@dataclass(frozen=True, slots=True)
class GoalRow:
    """One workbook in hand, with today's goal."""

    copy: str
    title: str
    course: str
    ruler: SafeString
    goal: str
    reached: bool
    says: str
    chosen: bool
    waits: bool
    helps: str
    """What was said when help was asked that has not come yet."""


@dataclass(frozen=True, slots=True)
class Undoable:
    """What was just done."""

    says: str
    act: str
    """Empty where it cannot be taken back."""


@dataclass(frozen=True, slots=True)
class MyPage:
    """Everything that the template of a learner's page may use."""

    name: str
    age: str
    day: str
    closed: bool
    teacher: str
    step: BigStep | None
    ruler: SafeString
    goals: tuple[GoalRow, ...]
    others: tuple[GoalRow, ...]
    helps: str
    """That help was asked in the workbook shown large, and has not come yet."""
    work: str
    """The copy in which pages come next: the one shown large, where it has any."""
    all_reached: bool
    idle: tuple[str, ...]
    done: Undoable | None


@dataclass(frozen=True, slots=True)
class _Looking:
    """What a step is worked out from."""

    view: CopyView
    home: Home
    today: date
    goal: GoalSet | None
    teacher: str
    finished: bool
    """Today's goal is reached."""


def goal_of(view: CopyView, today: date, planned: DayGoal | None) -> tuple[GoalSet | None, bool]:
    """Today's goal of a copy, and whether it is set and not only planned."""
    own = view.standing.goal
    if own is not None and own.day == today:
        return own, True
    if planned is not None and planned.holds:
        return planned.goal, False
    return None, False


def _ask(step: Step, stop: StopId | None) -> tuple[tuple[str, str], ...]:
    return (("step", str(step)), *((("stop", stop),) if stop else ()))


def _marking(looking: _Looking, stop: StopId, says: str, hint: str) -> BigStep:
    tap = Tap(say("Write down what is wrong"), page=f"marking/{looking.view.id}/{stop}")
    return BigStep(_MARK, says, hint=hint, taps=(tap,))


def _correct(looking: _Looking, stop: StopId, rank: int = _CORRECT) -> BigStep:
    wrong = looking.view.standing.stop(stop).still_wrong
    return BigStep(
        rank,
        say("Correct {questions}", questions=questions_words(wrong))
        if wrong
        else say("Correct what was wrong"),
        hint=say("In {stop}: rub the old answers out and do them again.", stop=stop_words(stop)),
        taps=(Tap(say("All corrected"), "correct", (("stop", stop),)),),
    )


def _work(looking: _Looking, act: PagesWorked) -> BigStep:
    standing, goal = looking.view.standing, looking.goal
    first, last = act.first, act.last
    if goal is not None and goal.last is not None and first <= goal.last < last:
        last = goal.last
    left = [page for page in range(first, last + 1) if page not in standing.pages]
    # One tap writes down one run of pages: no page stands in it that is written down already.
    while left and left[-1] - left[0] >= len(left):
        left.pop()
    last = left[-1] if left else last
    says = say("Work {pages}", pages=page_words(first, last))
    check = looking.view.workbook.stop_of_page(first)
    if check.kind == "check":
        says = say("Do {stop}: {pages}", stop=stop_words(check.id), pages=page_words(first, last))
    done = Tap(
        say("Done: {pages}", pages=page_words(first, last)),
        "work",
        (("first", str(first)), ("last", str(last)), ("seen", str(standing.last_seq))),
    )
    hint = say("Do not look back while you do it.") if check.kind == "check" else ""
    return BigStep(
        _GOAL if goal is not None and not looking.finished else _MORE,
        says,
        hint=hint,
        taps=(done, Tap(say("Other pages, or minutes"), page=f"pages/{looking.view.id}")),
    )


def _practice(looking: _Looking) -> BigStep:
    if looking.view.standing.leave == (Step.MARK, PRACTICE):
        hint = say("{teacher} has given you leave.", teacher=looking.teacher)
        return _marking(looking, PRACTICE, say("Mark the practice test"), hint)
    return BigStep(
        _TEST,
        say("The practice test is open"),
        hint=say("Close the workbook and do the test alone."),
        taps=(Tap(say("I have finished"), "ask", _ask(Step.MARK, PRACTICE)),),
    )


def _with_corrections(looking: _Looking, step: BigStep) -> BigStep:
    """While an educator has the turn, what was wrong in the practice test is corrected and marked again."""
    standing = looking.view.standing
    kept = standing.stop(PRACTICE)
    if standing.leave == (Step.REMARK, PRACTICE):
        hint = say("{teacher} has given you leave.", teacher=looking.teacher)
        return _marking(looking, PRACTICE, say("Re-mark the practice test"), hint)
    if kept.cycle is Cycle.TO_CORRECT:
        correcting = _correct(looking, PRACTICE, rank=_ASK)
        return replace(correcting, taps=(*correcting.taps, *step.taps))
    if kept.cycle is Cycle.CORRECTED:
        asking = Tap(say("Ask leave to re-mark it"), "ask", _ask(Step.REMARK, PRACTICE))
        return replace(step, taps=(*step.taps, asking))
    return step


def _asking(looking: _Looking, step: Step, stop: StopId | None, says: str, hint: str = "") -> BigStep:
    return BigStep(
        _ASK,
        says,
        hint=hint,
        taps=(Tap(say("Ask {teacher}", teacher=looking.teacher), "ask", _ask(step, stop)),),
    )


def _wait(says: str, hint: str) -> BigStep:
    return BigStep(_WAIT, says, hint=hint, waits=True)


def _bare_step(looking: _Looking) -> BigStep:
    """The next step in words and taps; title and place are added outside."""
    view, teacher = looking.view, looking.teacher
    standing, act = view.standing, view.next.act
    if standing.unit is not None:
        return _wait(
            say("Wait: {teacher} marks your test", teacher=teacher), say("You have sat the unit test.")
        )
    if standing.waiting is not None and standing.waiting.step is not None:
        asked = step_words(standing.waiting.step, standing.waiting.stop)
        at = looking.home.calendar.at_home(standing.waiting.at)
        return _wait(
            say("Wait: {teacher} decides", teacher=teacher),
            say("You asked leave {asked} at {at:%H:%M}.", asked=asked, at=at),
        )
    match act:
        case OpeningTalkHeld():
            return _wait(
                say("Begin it with {teacher}", teacher=teacher),
                say("Read the aims and the words aloud together."),
            )
        case CheckOpened():
            says = say("Ask leave to open {stop}", stop=stop_words(act.stop))
            return _asking(looking, Step.CHECK, act.stop, says)
        case PagesWorked():
            return _work(looking, act)
        case LeaveAsked():
            where = stop_words(act.stop)
            says = (
                say("Ask leave to re-mark {stop}", stop=where)
                if act.step is Step.REMARK
                else say("Ask leave to mark {stop}", stop=where)
            )
            return _asking(looking, act.step, act.stop, says)
        case FirstMarking():
            return _marking(
                looking,
                act.stop,
                say("Mark {stop}", stop=stop_words(act.stop)),
                say("{teacher} has given you leave.", teacher=teacher),
            )
        case ReMarked():
            wrong = standing.stop(act.stop).still_wrong
            says = say("Re-mark {stop}", stop=stop_words(act.stop))
            if wrong:
                says = f"{says}: {questions_words(wrong)}"
            return _marking(looking, act.stop, says, say("{teacher} has given you leave.", teacher=teacher))
        case Corrected():
            return _correct(looking, act.stop)
        case OralQuizHeld():
            where = stop_words(act.stop)
            return _wait(
                say("Go through {stop} with {teacher}", stop=where, teacher=teacher),
                say("{teacher} comes to you for it.", teacher=teacher),
            )
        case PracticeTestScored():
            return _practice(looking)
        case PracticeTestOpened():
            return _asking(looking, Step.PRACTICE_TEST, None, say("Ask leave for the practice test"))
        case HelpGiven():
            step = _wait(
                say("Go over the practice test with {teacher}", teacher=teacher),
                say("{teacher} comes to you for it.", teacher=teacher),
            )
            return _with_corrections(looking, step)
        case ReadinessDecided() if standing.ready is None:
            hint = say(
                "The practice test is passed. {teacher} says when the unit test comes.", teacher=teacher
            )
            step = replace(
                _wait(say("Wait: {teacher} decides", teacher=teacher), hint),
                taps=(Tap(say("Ask for the unit test"), "ask", _ask(Step.UNIT_TEST, None)),),
            )
            return _with_corrections(looking, step)
        case ReadinessDecided():
            return _wait(
                say("Go over it again with {teacher}", teacher=teacher), say("Then the unit test comes.")
            )
        case UnitTestSat():
            if view.ruling.allowed:
                says = say("The unit test is this morning")
                return BigStep(
                    _SIT, says, hint=say("Tell {teacher} that you are here.", teacher=teacher), waits=True
                )
            return _wait(
                say("The unit test comes next"), say("{teacher} says on which morning.", teacher=teacher)
            )
        case _:
            return _wait(say("Wait: {teacher} decides", teacher=teacher), "")


def _big_step(looking: _Looking) -> BigStep:
    view = looking.view
    step = _bare_step(looking)
    refusal = view.standing.refusal
    return replace(
        step,
        copy=view.id,
        seen=view.standing.last_seq,
        title=view.workbook.title,
        course=looking.home.programme.course(view.workbook.course).title,
        sent_back=refusal.reason if refusal is not None else "",
    )


def _row(looking: _Looking, step: BigStep, *, is_set: bool, chosen: bool) -> GoalRow:
    view, goal = looking.view, looking.goal
    planned = goal if goal is not None and not is_set else None
    return GoalRow(
        copy=view.id,
        title=step.title,
        course=step.course,
        ruler=drawn(view, looking.home, looking.today, "own", planned=planned),
        goal=goal_words(goal) if goal is not None else "",
        reached=looking.finished,
        says=step.says,
        chosen=chosen,
        waits=step.waits,
        helps=_helps(looking),
    )


def _helps(looking: _Looking) -> str:
    asked = looking.view.standing.help
    if asked is None:
        return ""
    at = looking.home.calendar.at_home(asked.at)
    if not asked.page:
        return say("You asked for help at {at:%H:%M}. {teacher} comes.", at=at, teacher=looking.teacher)
    return say(
        "You asked for help at {at:%H:%M}, page {page}. {teacher} comes.",
        at=at,
        page=asked.page,
        teacher=looking.teacher,
    )


def my_page(
    answer: Today,
    learner: Somebody,
    planned: Mapping[str, DayGoal],
    *,
    wanted: str = "",
    done: tuple[str, str, datetime] | None = None,
    real: datetime,
) -> MyPage:
    """Put a learner's day into words.

    Args:
        answer: today at the home.
        learner: whose page it is.
        planned: what the plan in force has for today, by copy.
        wanted: the copy that was chosen; else the step that should be taken first is shown.
        done: the latest act, what to say of it, and when it was.
        real: by the clock of the machine.
    """
    home, today = answer.home, answer.now.date()
    teacher = teacher_words(home)
    mine = next((day for day in answer.learners if day.learner.id == learner.id), None)
    views = mine.copies if mine is not None else ()
    lookings = []
    for view in views:
        goal, is_set = goal_of(view, today, planned.get(view.id))
        finished = goal is not None and reached(view, goal)
        lookings.append((_Looking(view, home, today, goal, teacher, finished), is_set))
    steps = [_big_step(looking) for looking, _ in lookings]
    first = _first(steps, wanted)
    rows = [
        _row(looking, step, is_set=is_set, chosen=step is first)
        for (looking, is_set), step in zip(lookings, steps, strict=True)
    ]
    goals = tuple(row for row in rows if row.goal)
    all_reached = bool(goals) and all(row.reached for row in goals)
    return MyPage(
        name=learner.name,
        age=age_class(learner.year),
        day=day_words(today),
        closed=answer.day_is is not None,
        teacher=teacher,
        step=first,
        ruler=next((row.ruler for row in rows if row.chosen), SafeString("")),
        goals=goals,
        others=tuple(row for row in rows if not row.goal),
        helps=next((row.helps for row in rows if row.chosen), ""),
        work=_work_copy(steps, first),
        all_reached=all_reached and first is not None and first.rank >= _MORE and not wanted,
        idle=mine.idle if mine is not None else (),
        done=_undoable(done, real),
    )


def _first(steps: Sequence[BigStep], wanted: str) -> BigStep | None:
    chosen = next((step for step in steps if step.copy == wanted), None)
    return chosen or min(steps, key=lambda step: step.rank, default=None)


def _work_copy(steps: Sequence[BigStep], first: BigStep | None) -> str:
    """Where "pages done" leads: to the workbook shown large if pages come next in it, else to one where they do."""
    working = [step for step in steps if any(tap.slug == "work" for tap in step.taps)]
    if first is None or first in working or not working:
        return first.copy if first is not None else ""
    return min(working, key=lambda step: step.rank).copy


def _undoable(done: tuple[str, str, datetime] | None, real: datetime) -> Undoable | None:
    if done is None:
        return None
    act, says, at = done
    return Undoable(says, act) if timedelta(0) <= real - at <= OWN_SLIP else None


# --- what is entered ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MarkingForm:
    """The questions of a stop, to tap those that are wrong."""

    copy: str
    stop: StopId
    slug: str
    says: str
    title: str
    questions: tuple[int, ...]
    again: bool
    """Only what was wrong is looked at again."""
    ruler: SafeString


def marking_form(view: CopyView, home: Home, today: date, stop: StopId) -> MarkingForm | None:
    """The form for a marking that the learner has leave for; None where there is no such leave."""
    standing, book = view.standing, view.workbook
    where = stop_words(stop)
    ruler = drawn(view, home, today, "own")
    if standing.leave == (Step.REMARK, stop):
        kept = standing.stop(stop)
        numbers = kept.still_wrong or tuple(range(1, kept.asked + 1))
        return MarkingForm(
            view.id, stop, "re-mark", say("Re-mark {stop}", stop=where), book.title, numbers, True, ruler
        )
    if standing.leave != (Step.MARK, stop):
        return None
    if stop == PRACTICE:
        asked, slug = book.practice_questions, "score"
    else:
        asked, slug = book.stop(stop).questions, "mark"
    numbers = tuple(range(1, asked + 1))
    return MarkingForm(view.id, stop, slug, say("Mark {stop}", stop=where), book.title, numbers, False, ruler)


@dataclass(frozen=True, slots=True)
class PagesForm:
    """Pages to write down."""

    copy: str
    title: str
    seen: int
    first: int | None
    last: int | None
    pages: int
    ruler: SafeString


def pages_form(view: CopyView, home: Home, today: date) -> PagesForm:
    """The form for pages worked, filled with those that come next."""
    act = view.next.act
    first = last = None
    if isinstance(act, PagesWorked):
        first, last = act.first, act.last
        goal = view.standing.goal
        if goal is not None and goal.day == today and goal.last is not None and first <= goal.last < last:
            last = goal.last
    return PagesForm(
        view.id,
        view.workbook.title,
        view.standing.last_seq,
        first,
        last,
        view.workbook.pages,
        drawn(view, home, today, "own"),
    )


DONE, IN_HAND, TO_COME = later("done"), later("in hand"), later("to come")
OVER, NOW = later("over"), later("now")
"""States of a workbook and of a term on the road, which name their look too: they are said where they are shown."""


# --- the road -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RoadStone:
    """One workbook of a course."""

    number: int
    title: str
    state: str
    """done, in hand or to come."""

    @property
    def slug(self) -> str:
        return self.state.replace(" ", "-")


@dataclass(frozen=True, slots=True)
class CourseRoad:
    """The workbooks of a course in their order."""

    title: str
    says: str
    book: str
    stones: tuple[RoadStone, ...]
    ruler: SafeString
    pages: str


@dataclass(frozen=True, slots=True)
class TermStone:
    """One term of the school year."""

    name: str
    state: str
    """over, now or to come."""


@dataclass(frozen=True, slots=True)
class Road:
    """Where a learner is in the workbooks and in the year."""

    courses: tuple[CourseRoad, ...]
    day: int
    days: int
    terms: tuple[TermStone, ...]


def road_of(answer: Today, learner: Somebody, passed: set[str]) -> Road:
    """Put the road of a learner's courses and of the year together."""
    home, today = answer.home, answer.now.date()
    mine = next((day for day in answer.learners if day.learner.id == learner.id), None)
    views = {view.workbook.course: view for view in (mine.copies if mine is not None else ())}
    courses = tuple(
        _course_road(home, today, course, views.get(course), passed) for course in learner.courses
    )
    day, days, terms = _year(home, today)
    return Road(courses, day, days, terms)


def _course_road(
    home: Home, today: date, course_id: str, view: CopyView | None, passed: set[str]
) -> CourseRoad:
    course = home.programme.course(course_id)
    stones = tuple(
        RoadStone(
            number,
            book.title,
            IN_HAND
            if view is not None and book.code == view.workbook.code
            else DONE
            if book.code in passed
            else TO_COME,
        )
        for number, book in enumerate(course.workbooks, start=1)
    )
    done = sum(stone.state == DONE for stone in stones)
    pages = ""
    if view is not None:
        pages = say("{done} of {pages} pages", done=len(view.standing.pages), pages=view.workbook.pages)
    return CourseRoad(
        course.title,
        say("{done} of {workbooks} workbooks done", done=done, workbooks=len(stones)),
        view.workbook.title if view is not None else "",
        stones,
        drawn(view, home, today, "own") if view is not None else SafeString(""),
        pages,
    )


_SUMMER = timedelta(days=35)
"""Terms that are further apart belong to two school years."""


def _year(home: Home, today: date) -> tuple[int, int, tuple[TermStone, ...]]:
    """Which school day of how many it is, and the terms of the school year."""
    years: list[list[tuple[str, date, date]]] = []
    for term in sorted(home.calendar.terms, key=lambda t: t.first):
        if years and term.first - years[-1][-1][2] <= _SUMMER:
            years[-1].append((term.name, term.first, term.last))
        else:
            years.append([(term.name, term.first, term.last)])
    # The year that runs, or the next one; after the last it is that one.
    year = next((y for y in years if today <= y[-1][2]), years[-1] if years else [])
    if not year:
        return 0, 0, ()
    first, last = year[0][1], year[-1][2]
    days = home.calendar.school_days(first, last)
    stones = tuple(
        TermStone(name, OVER if end < today else NOW if begin <= today else TO_COME)
        for name, begin, end in year
    )
    return sum(day <= today for day in days), len(days), stones
