"""Pages as frozen values: what a query answered, put into the words and shapes that a template shows."""

import zlib
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.utils.safestring import SafeString

from markstead.ledger.facts import (
    AnyFact,
    CheckOpened,
    CopyIssued,
    CopyReceived,
    CopySpoiled,
    Corrected,
    FirstMarking,
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
    ReadinessDecided,
    ReMarked,
    SpotCheckHeld,
    Step,
    UnitTestSat,
    UnitTestScored,
    WorkbookReordered,
    WorkTakenOver,
)
from markstead.measure.readings import CopyReading
from markstead.records.estimates import SpotLine, TodayEstimates
from markstead.records.home import Home, Somebody
from markstead.records.openings import REASON
from markstead.records.plans import DayGoal
from markstead.records.queries import Call, CopyPage, CopyView, LearnerDay, Note, Today
from markstead.records.words import fact_words, mark_words
from markstead.rules.bars import Bar, Weight
from markstead.rules.ruling import Role, Ruling, goal_words, ranges, stop_words
from markstead.rules.standing import CopyStatus
from markstead.rules.steps import CallKind
from markstead.speech import (
    day_of_month,
    day_words,
    language,
    later,
    plural,
    say,
    short_date,
    short_day_of_month,
    weekday_short,
)
from markstead.web.kept import new_token, piece
from markstead.web.ready import ReadinessWords, readiness_words
from markstead.web.ruler import Ruler, ruler_of


@dataclass(frozen=True, slots=True)
class Choice:
    """Something to choose from in a form."""

    value: str
    label: str
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class ActForm:
    """One act as a form: its words, its fields, and what shuts it."""

    kind: str
    slug: str
    copy: str
    title: str
    button: str
    fields: str
    """Which block of fields the template draws."""
    stop: str = ""
    step: str = ""
    hint: str = ""
    bars: tuple[Bar, ...] = ()
    overridable: bool = False
    first: int | None = None
    last: int | None = None
    asked: int | None = None
    needed: int | None = None
    people: tuple[Choice, ...] = ()
    aids: tuple[Choice, ...] = ()
    entered: tuple[tuple[str, str], ...] = ()
    """What was typed into it before and could not be taken: it is shown again, nothing is lost."""
    override: str = ""
    """The reason with which a shut gate is passed without asking for one."""

    @property
    def typed(self) -> dict[str, str]:
        """What was typed, by field."""
        return dict(self.entered)

    @property
    def rows(self) -> list[tuple[str, str]]:
        """The rows of an oral quiz as they were typed; six are drawn."""
        questions, answers = ([v for name, v in self.entered if name == n] for n in ("question", "answer"))
        typed = list(zip(questions, answers, strict=False))
        return typed + [("", "")] * (6 - len(typed))


@dataclass(frozen=True, slots=True)
class Said:
    """What the page says back about an act: recorded, refused, or not understood."""

    tone: str
    """done, refused or mistaken."""
    title: str
    lines: tuple[str, ...] = ()
    bars: tuple[Bar, ...] = ()
    undo: str = ""
    overridable: bool = False
    posted: tuple[tuple[str, str], ...] = ()
    """What was entered, so that nothing is lost and a reason can be added."""
    token: str = ""
    action: str = ""
    """Where a reason to pass the bars is sent, where that is not the address of every act."""
    back: str = ""
    """The page of papers to come back to after an undo."""


@dataclass(frozen=True, slots=True)
class CopyLine:
    """A workbook in hand on today's page."""

    id: str
    title: str
    subject: str
    label: str
    ruler: SafeString
    turn: str
    what: str
    bars: tuple[Bar, ...]
    waits: bool
    goal: str
    planned: str = ""
    """The plan's goal for today, where none is set."""
    ready: ReadinessWords | None = None
    goal_done: bool = False


@dataclass(frozen=True, slots=True)
class LearnerBlock:
    """A learner on today's page."""

    id: str
    name: str
    key: str
    year: str
    lines: tuple[CopyLine, ...]
    idle: tuple[str, ...]
    minutes: int
    opens: bool
    """The viewer may open the learner's own page."""
    to_set: int = 0
    """Goals that are planned for today and not set."""
    absent: bool = False


@dataclass(frozen=True, slots=True)
class CallLine:
    """A call on today's page, with the acts that answer it."""

    kind: str
    mark: str
    urgency: int
    who: str
    what: str
    book: str
    blocks: str
    waiting: str
    name: str
    copy: str
    seen: int
    answers: tuple[ActForm, ...]
    order: str = ""
    learner: str = ""
    dispatch: bool = False
    backup: bool = False
    advice: str = ""
    """Sit or hold, with its numbers, where the educator decides on readiness."""
    quiz: str = ""
    """The stop on which an oral quiz can be begun from here."""
    spot: str = ""
    """Ticks to mark again before leave is given."""
    orders: str = ""
    """The part of the orders' page that answers it; empty where none does."""

    @property
    def ref(self) -> str:
        """Sets the forms of one call apart from those of another on the page, wherever it stands."""
        return f"{zlib.crc32(f'{self.kind} {self.copy} {self.order} {self.learner}'.encode()):x}"


@dataclass(frozen=True, slots=True)
class GoalsLine:
    """What the plan has for today, above the learners."""

    to_set: int
    """Goals that are planned and not set."""
    slipped: tuple[str, ...]
    """Planned goals that no longer hold, in words."""
    none: bool
    """There is no plan in force."""


@dataclass(frozen=True, slots=True)
class TodayPage:
    """Everything that the template of today's page may use."""

    home: str
    day: str
    time: str
    closed: str | None
    stamp: str
    calls: tuple[CallLine, ...]
    learners: tuple[LearnerBlock, ...]
    goals: GoalsLine
    demo: bool
    token: str


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One line of the record."""

    day: str
    time: str
    what: str
    by: str
    words: str | None
    reversed: bool
    act: str
    seq: int
    copy: str | None
    late: str


@dataclass(frozen=True, slots=True)
class CopyPageView:
    """Everything that the template of the copy page may use."""

    id: str
    label: str
    title: str
    course: str
    learner: str
    status: str
    ruler: SafeString
    turn: str
    what: str
    facts: tuple[tuple[str, str], ...]
    main: ActForm | None
    others: tuple[ActForm, ...]
    history: tuple[HistoryLine, ...]
    seen: int
    day: str
    time: str
    demo: bool
    token: str
    refusal: str
    learner_key: str


# A ruler is a pure picture of a standing on a day: laid out once, and drawn once for each layout.
_LAID: OrderedDict[tuple[str, int, str, date, GoalSet | None, str], Ruler] = OrderedDict()
_MOST = 2048


def drawn(
    view: CopyView, home: Home, today: date, size: str = "", planned: GoalSet | None = None
) -> SafeString:
    """The ruler of a copy as SVG."""
    key = (view.id, view.standing.last_seq, home.stamp, today, planned, language().code)
    ruler = _LAID.get(key)
    if ruler is None:
        ruler = _LAID[key] = ruler_of(view.standing, view.workbook, today, planned)
        if len(_LAID) > _MOST:
            _LAID.popitem(last=False)
    return piece("parts/ruler.html", ruler, size)


ASKS = frozenset(
    {
        CallKind.LEAVE_TO_MARK,
        CallKind.LEAVE_TO_REMARK,
        CallKind.LEAVE_TO_OPEN,
        CallKind.LEAVE_TO_SIT,
        CallKind.HELP,
    }
)
"""Calls in which a learner asks for something."""


def _small(text: str) -> str:
    """The same words inside a sentence: Asks leave becomes asks leave."""
    return text[:1].lower() + text[1:]


def _what(view: CopyView) -> str:
    """The next step in words; a learner who asks is named."""
    what = view.next.what
    if view.learner is not None and view.next.call in ASKS:
        return f"{view.learner.name} {_small(what)}"
    return what


def waiting_words(since: datetime | None, now: datetime) -> str:
    """How long somebody has waited, as people say it."""
    if since is None:
        return ""
    minutes = int((now - since).total_seconds() // 60)
    if minutes < 1:
        return say("just now")
    if minutes < 60:
        return say("{minutes} min", minutes=minutes)
    # A night between is told as a day: hours in which everybody slept say nothing.
    days = (now.date() - since.astimezone(now.tzinfo).date()).days
    if days == 0:
        hours, rest = divmod(minutes, 60)
        return say("{hours} h {minutes:02d}", hours=hours, minutes=rest)
    return plural(days, "day")


_MARKS = {
    CallKind.SITTING: "sitting",
    CallKind.LEAVE_TO_MARK: "leave",
    CallKind.LEAVE_TO_REMARK: "leave",
    CallKind.LEAVE_TO_OPEN: "leave",
    CallKind.LEAVE_TO_SIT: "leave",
    CallKind.HELP: "help",
    CallKind.QUIZ: "quiz",
    CallKind.CHECK: "check",
    CallKind.PRACTICE_TEST: "test",
    CallKind.REVIEW: "quiz",
    CallKind.READINESS: "decide",
    CallKind.OPENING_TALK: "talk",
    CallKind.ISSUE: "issue",
    CallKind.MARK_UNIT_TEST: "test",
    CallKind.ORDER_AGAIN: "order",
    CallKind.LATE_COPY: "order",
    CallKind.ORDER: "order",
    CallKind.DISPATCH: "send",
    CallKind.BACKUP: "keep",
}

_SLUGS: dict[type, str] = {
    CopyReceived: "receive",
    CopyIssued: "issue",
    OpeningTalkHeld: "opening-talk",
    WorkTakenOver: "take-over",
    GoalSet: "goal",
    PagesWorked: "work",
    HelpAsked: "ask-help",
    HelpGiven: "help",
    LeaveAsked: "ask-leave",
    LeaveGiven: "give-leave",
    LeaveRefused: "refuse-leave",
    FirstMarking: "mark",
    Corrected: "correct",
    ReMarked: "re-mark",
    OralQuizHeld: "quiz",
    CheckOpened: "open-check",
    PracticeTestOpened: "open-practice",
    PracticeTestScored: "score-practice",
    ReadinessDecided: "readiness",
    UnitTestSat: "sit",
    UnitTestScored: "score-unit",
    WorkbookReordered: "reorder",
    CopySpoiled: "spoil",
    PaperSent: "send",
}
SLUG_OF_KIND = {fact.KIND: slug for fact, slug in _SLUGS.items()}

_BARE = {
    "receive": (later("Book in this copy"), later("It is in the house")),
    "opening-talk": (later("Opening talk"), later("The talk was held")),
    "correct": (later("Corrections"), later("The corrections are done")),
    "open-check": (later("Progress check"), later("Open it")),
    "reorder": (later("New copy"), later("Order a new copy")),
}


_ASKING = {
    Step.MARK: later("Ask leave to mark {stop}"),
    Step.REMARK: later("Ask leave to re-mark {stop}"),
    Step.CHECK: later("Ask leave to open the check {stop}"),
    Step.PRACTICE_TEST: later("Ask leave to sit the practice test {stop}"),
    Step.UNIT_TEST: later("Ask leave to sit the unit test {stop}"),
}
_GIVING = {
    Step.MARK: later("Leave to mark {stop}"),
    Step.REMARK: later("Leave to re-mark {stop}"),
    Step.CHECK: later("Leave to open the check {stop}"),
    Step.PRACTICE_TEST: later("Leave to sit the practice test {stop}"),
    Step.UNIT_TEST: later("Leave to sit the unit test {stop}"),
}
"""Titles of asking and of giving leave; a test has no stop, and what is left blank falls away."""


def form_of(fact: AnyFact, view: CopyView, home: Home, ruling: Ruling, by: Somebody) -> ActForm | None:
    """The form for an act; None for acts that have no form of their own."""
    slug = _SLUGS.get(type(fact))
    if slug is None or slug == "send":
        return None
    stop = getattr(fact, "stop", None) or ""
    step = str(getattr(fact, "step", None) or "")
    where = stop_words(stop) if stop else ""
    book = view.workbook
    title, button, fields, extra = "", "", "none", {}
    if slug in _BARE:
        title, button = (say(words) for words in _BARE[slug])
        title = f"{title}: {where}" if where else title
    elif slug == "issue":
        title, button, fields = say("Issue this copy"), say("Issue it"), "learner"
        chosen = view.standing.learner
        takers = [p for p in home.learners if book.course in p.courses]
        extra["people"] = tuple(Choice(p.id, p.name, p.id == chosen) for p in takers)
    elif slug == "take-over":
        title, button, fields = say("Worked before this record began"), say("Take it over"), "over"
        extra = {
            "hint": say(
                "Every stop up to there counts as cleared; no marks are made up. It has {pages} pages.",
                pages=book.pages,
            )
        }
    elif slug == "work":
        title, button, fields = say("Pages worked"), say("Record the pages"), "pages"
        extra = {"first": fact.first, "last": fact.last}
    elif slug == "goal":
        title, button, fields = say("Goal for today"), say("Set the goal"), "goal"
    elif slug == "ask-help":
        title, button, fields = say("Ask for help"), say("Ask"), "page"
    elif slug == "help":
        title, button, fields = say("Help or teaching"), say("Help was given"), "minutes"
    elif slug == "ask-leave":
        title, button = say(_ASKING[fact.step], stop=where), say("Ask leave")
    elif slug == "give-leave":
        title, button = say(_GIVING[fact.step], stop=where), say("Give leave")
    elif slug == "refuse-leave":
        title, button, fields = say("Send back: {what}", what=where or say(step)), say("Send back"), "reason"
    elif slug == "mark":
        title, button, fields = (
            say("Mark {stop} against the key", stop=where),
            say("Record the wrong ones"),
            "wrong",
        )
        extra = {"asked": fact.asked}
    elif slug == "re-mark":
        still = view.standing.stop(stop).still_wrong
        title, button, fields = say("Re-mark {stop}", stop=where), say("Record the wrong ones"), "wrong"
        extra = {"hint": say("Was wrong: {questions}", questions=ranges(still)) if still else ""}
    elif slug == "quiz":
        title = say("Oral quiz: {stop}", stop=where) if where else say("Oral quiz")
        button, fields = say("Record the quiz"), "quiz"
    elif slug == "open-practice":
        number = fact.attempt
        title = say("Practice test") if number == 1 else say("Practice test, attempt {number}", number=number)
        button = say("Open the practice test")
        extra = {"hint": say("The rest of the workbook is closed until it is marked.")}
    elif slug == "score-practice":
        asked = book.practice_questions
        title, button, fields = say("Score of the practice test"), say("Record the score"), "score"
        needed = home.programme.marks.practice_needed(asked)
        extra = {"asked": asked, "needed": needed, "hint": say("Before corrections.")}
    elif slug == "readiness":
        title, button, fields = say("Ready for the unit test?"), say("Ready"), "ready"
    elif slug == "sit":
        title, button, fields = say("Unit test"), say("The sitting begins"), "sit"
        year = (view.learner.year or 0) if view.learner else 0
        grown = [p for p in home.people.values() if p.id in home.watchers]
        extra["people"] = tuple(Choice(p.id, p.name, p.id == by.id) for p in grown)
        extra["aids"] = tuple(Choice(a, a, chosen=True) for a in home.programme.aids_for(year))
    elif slug == "score-unit":
        asked = book.unit_questions
        title, button, fields = say("Mark the unit test"), say("Record the result"), "score"
        needed = home.programme.marks.unit_needed(asked)
        extra = {"asked": asked, "needed": needed, "hint": say("It is not corrected.")}
    elif slug == "spoil":
        title, button, fields = say("Copy spoiled"), say("Write the copy off"), "reason"
    return ActForm(
        kind=fact.KIND,
        slug=slug,
        copy=view.id,
        title=title.strip(),
        button=button,
        fields=fields,
        stop=stop,
        step=step,
        bars=ruling.bars,
        overridable=ruling.overridable,
        **extra,
    )


def _answers(call: Call, home: Home, by: Somebody) -> tuple[ActForm, ...]:
    """The acts that answer a call in one or two taps."""
    view = call.copy
    if view is None:
        return ()
    found: list[ActForm | None] = []
    if call.kind is CallKind.HELP:
        found.append(form_of(HelpGiven(view.id), view, home, Ruling(), by))
    elif call.kind is CallKind.ISSUE and call.learner is not None:
        form = form_of(CopyIssued(view.id, call.learner.id), view, home, Ruling(), by)
        if form is not None and view.begins_here:
            form = replace(form, override=say(REASON))
        found.append(form)
    elif call.kind in (CallKind.QUIZ, CallKind.MARK_UNIT_TEST, CallKind.SITTING, CallKind.LATE_COPY):
        return ()  # these want the copy page: there is something to enter
    elif view.next.act is not None:
        found.append(form_of(view.next.act, view, home, view.ruling, by))
    waiting = view.standing.waiting
    if waiting is not None and waiting.step is not None and call.since == waiting.at:
        refuse = LeaveRefused(view.id, waiting.step, "", waiting.stop)
        found.append(form_of(refuse, view, home, Ruling(), by))
    return tuple(form for form in found if form is not None)


def _call_line(
    call: Call,
    home: Home,
    now: datetime,
    by: Somebody,
    readings: Mapping[str, CopyReading],
    spots: Mapping[str, SpotLine],
) -> CallLine:
    view = call.copy
    who = call.learner.name if call.learner else ""
    book = call.workbook.title if call.workbook else ""
    asks = bool(who) and call.kind in ASKS
    return CallLine(
        kind=str(call.kind),
        mark=_MARKS[call.kind],
        urgency=call.urgency,
        who=who if asks or not who else f"{who}:",
        what=_small(call.what) if asks else call.what,
        book=book if book and book not in call.what else "",
        blocks=call.blocks,
        waiting=waiting_words(call.since, now),
        name=who,
        copy=view.id if view else "",
        seen=view.standing.last_seq if view else 0,
        answers=_answers(call, home, by),
        order=call.workbook.code if call.kind is CallKind.ORDER and call.workbook else "",
        learner=call.learner.id if call.learner else "",
        dispatch=call.kind is CallKind.DISPATCH and by.role is Role.EDUCATOR,
        backup=call.kind is CallKind.BACKUP and by.role is Role.EDUCATOR,
        orders=_part_of_orders(call) if by.role is Role.EDUCATOR else "",
        advice=_advice(call, readings, home) if by.role is Role.EDUCATOR else "",
        quiz=_quiz_stop(call) if by.role is Role.EDUCATOR else "",
        spot=spot_words(spots[call.learner.id])
        if call.learner and call.learner.id in spots and call.kind in LEAVES
        else "",
    )


def _part_of_orders(call: Call) -> str:
    if call.supplier is None:
        return ""
    return "way-h" if call.kind is CallKind.LATE_COPY else "now-h"


LEAVES = (
    CallKind.LEAVE_TO_MARK,
    CallKind.LEAVE_TO_REMARK,
    CallKind.LEAVE_TO_OPEN,
    CallKind.LEAVE_TO_SIT,
    CallKind.CHECK,
    CallKind.PRACTICE_TEST,
)


def spot_words(spot: SpotLine) -> str:
    """What to mark again, with the numbers of the questions."""
    places: dict[tuple[str, str], list[int]] = {}
    for tick in spot.ticks:
        places.setdefault((spot.titles[tick.copy], stop_words(tick.stop)), []).append(tick.question)
    where = "; ".join(f"{title}, {stop}: {ranges(numbers)}" for (title, stop), numbers in places.items())
    return say("mark these ticks again: {where}.", where=where)


def triage_words(wrong: int, asked: int, home: Home) -> str:
    """What many wrong answers ask for first."""
    rules = home.programme.marking
    if rules.calls_for_teaching(wrong, asked):
        return say("{wrong} of {asked} wrong: teach it first, then quiz on it.", wrong=wrong, asked=asked)
    return say(
        "From {share} % wrong on, a quiz comes before re-marking; with fewer wrong, leave is enough.",
        share=rules.quiz_when_wrong_percent,
    )


def _advice(call: Call, readings: Mapping[str, CopyReading], home: Home) -> str:
    if call.kind is CallKind.QUIZ and call.copy is not None and call.copy.next.act is not None:
        kept = call.copy.standing.stop(getattr(call.copy.next.act, "stop", None) or "")
        return triage_words(len(kept.still_wrong), kept.asked, home)
    reading = readings.get(call.copy.id) if call.copy is not None else None
    if call.kind not in (CallKind.READINESS, CallKind.LEAVE_TO_SIT) or reading is None:
        return ""
    return readiness_words(reading).sentence


def _quiz_stop(call: Call) -> str:
    act = call.copy.next.act if call.copy is not None else None
    return (act.stop or "") if call.kind is CallKind.QUIZ and isinstance(act, OralQuizHeld) else ""


def is_to_set(view: CopyView, planned: DayGoal | None, today: date) -> bool:
    """Whether a planned goal can be set: it holds, it is not reached, and no other is set for the day."""
    standing = view.standing
    if planned is None or not planned.holds or (standing.goal is not None and standing.goal.day == today):
        return False
    goal = planned.goal
    if goal.step is Step.UNIT_TEST:
        return standing.unit is None
    if goal.step is Step.PRACTICE_TEST:
        return not standing.practice_passed
    return goal.last is not None and any(
        page not in standing.pages for page in range(goal.first or 1, goal.last + 1)
    )


def _planned_words(planned: DayGoal) -> str:
    words = goal_words(planned.goal)
    return (
        say("{goal} ({behind} from before)", goal=words, behind=planned.behind) if planned.behind else words
    )


def reached(view: CopyView, goal: GoalSet) -> bool:
    """Whether everything that a goal names is done."""
    standing = view.standing
    if goal.step is Step.UNIT_TEST and standing.unit is None:
        return False
    if goal.step is Step.PRACTICE_TEST and not (standing.attempt and standing.attempt.scored):
        return False
    if goal.first is None or goal.last is None:
        return True
    return all(page in standing.pages for page in range(goal.first, goal.last + 1))


def _copy_line(
    view: CopyView, home: Home, today: date, reading: CopyReading | None, planned: DayGoal | None
) -> CopyLine:
    own = view.standing.goal
    own = own if own is not None and own.day == today else None
    to_set = is_to_set(view, planned, today)
    rules = tuple(b for b in view.ruling.bars if b.weight is Weight.RULE)
    return CopyLine(
        id=view.id,
        title=view.workbook.title,
        subject=home.programme.course(view.workbook.course).title,
        label=view.label,
        ruler=drawn(view, home, today, planned=planned.goal if planned is not None and to_set else None),
        turn=str(view.next.turn),
        what=_what(view),
        bars=rules,
        waits=view.standing.waiting is not None or view.standing.help is not None,
        goal=goal_words(own) if own is not None else "",
        goal_done=own is not None and reached(view, own),
        planned=_planned_words(planned) if planned is not None and to_set else "",
        ready=readiness_words(reading)
        if reading is not None and reading.begun and view.standing.unit is None
        else None,
    )


def _learner_block(
    day: LearnerDay,
    home: Home,
    today: date,
    readings: Mapping[str, CopyReading],
    goals: Mapping[str, DayGoal],
    *,
    opens: bool,
) -> LearnerBlock:
    minutes = sum(v.standing.latest_day_minutes for v in day.copies if v.standing.latest_day == today)
    return LearnerBlock(
        id=day.learner.id,
        name=day.learner.name,
        key=day.learner.key,
        year=say("year {year}", year=day.learner.year) if day.learner.year is not None else "",
        lines=tuple(_copy_line(v, home, today, readings.get(v.id), goals.get(v.id)) for v in day.copies),
        idle=day.idle,
        minutes=minutes,
        opens=opens,
        to_set=sum(is_to_set(v, goals.get(v.id), today) for v in day.copies),
        absent=day.absent,
    )


def _slipped(day: LearnerDay, goals: Mapping[str, DayGoal]) -> list[str]:
    return [
        f"{day.learner.name}, {view.workbook.title}: {goal_words(goals[view.id].goal)}"
        for view in day.copies
        if view.id in goals and not goals[view.id].holds
    ]


def today_page(
    answer: Today,
    by: Somebody,
    estimates: TodayEstimates | None = None,
    goals: Mapping[str, DayGoal] | None = None,
) -> TodayPage:
    """Put today into words; estimates are for educators alone."""
    goals = goals or {}
    day = answer.now.date()
    home = answer.home
    readings = estimates.readings if estimates is not None else {}
    spots = estimates.spots if estimates is not None else {}
    opens = by.role is Role.EDUCATOR
    # A spot check is asked for once, at the learner's first call.
    waiting = {c.learner.id: id(c) for c in reversed(answer.calls) if c.learner and c.kind in LEAVES}
    first = set(waiting.values())
    blocks = tuple(_learner_block(d, home, day, readings, goals, opens=opens) for d in answer.learners)
    return TodayPage(
        home=home.name,
        day=day_words(day),
        time=f"{answer.now:%H:%M}",
        closed=answer.day_is,
        stamp=f"{answer.head}.{answer.now:%Y%m%d%H%M}",
        calls=tuple(
            _call_line(c, home, answer.now, by, readings, spots if id(c) in first else {})
            for c in answer.calls
        ),
        learners=blocks,
        goals=GoalsLine(
            sum(block.to_set for block in blocks),
            tuple(line for d in answer.learners for line in _slipped(d, goals)) if opens else (),
            none=home.plan is None,
        ),
        demo=home.demo_shift is not None,
        token=new_token(),
    )


def shown_notes(notes: Iterable[Note], by: Somebody) -> list[Note]:
    """What of the record a person is shown: spot checks are for educators alone."""
    return [n for n in notes if by.role is Role.EDUCATOR or not isinstance(n.entry.fact, SpotCheckHeld)]


def history_line(note: Note, home: Home) -> HistoryLine:
    """One line of the record in words."""
    at = home.calendar.at_home(note.entry.at)
    written = note.entry.written
    late = ""
    if written - note.entry.at > timedelta(minutes=30):
        when = home.calendar.at_home(written)
        late = say(
            "written {day}, {at:%H:%M}",
            day=short_day_of_month(when),
            at=when,
        )
    fact = note.entry.fact
    what = fact_words(fact, home)
    return HistoryLine(
        day=f"{weekday_short(at)} {short_date(at)}",
        time=f"{at:%H:%M}",
        what=what,
        by=note.by,
        words=note.words,
        reversed=note.reversed,
        act=note.entry.act,
        seq=note.entry.seq,
        copy=note.copy,
        late=late,
    )


def _standing_facts(view: CopyView) -> tuple[tuple[str, str], ...]:
    s = view.standing
    found = [
        (
            say("Pages"),
            say("{worked} of {pages} worked", worked=len(s.pages), pages=view.workbook.pages),
        )
    ]
    if s.minutes:
        found.append(
            (
                say("Time"),
                say("{hours} h {minutes:02d} min", hours=s.minutes // 60, minutes=s.minutes % 60),
            )
        )
    cleared = sum(1 for stop in view.workbook.stops if s.stop(stop.id).cycle == "cleared")
    stops = len(view.workbook.stops)
    found.append((say("Marking stops"), say("{cleared} of {stops} cleared", cleared=cleared, stops=stops)))
    for attempt in s.practice:
        name = (
            say("Practice test")
            if attempt.number == 1
            else say("Practice test {number}", number=attempt.number)
        )
        words = (
            mark_words(attempt.right, attempt.asked, attempt.needed)
            if attempt.scored is not None
            else say("open now")
        )
        found.append((name, words))
    if s.unit is not None:
        words = (
            mark_words(s.unit.right, s.unit.asked, s.unit.needed)
            if s.unit.scored is not None
            else say("sat, to be marked")
        )
        found.append((say("Unit test, attempt {attempt}", attempt=s.unit.attempt), words))
    if s.expected is not None and s.status is CopyStatus.ON_ORDER:
        found.append((say("Expected"), day_words(s.expected)))
    return tuple(found)


def _with_what_was_typed(form: ActForm, said: Said | None) -> ActForm:
    posted = dict(said.posted) if said is not None else {}
    if (posted.get("act"), posted.get("stop", "")) != (form.slug, form.stop):
        return form
    return replace(form, entered=said.posted if said is not None else ())


def copy_page_view(
    page: CopyPage, by: Somebody, refusal: str | None, said: Said | None = None
) -> CopyPageView:
    """Put the copy page into words; `said` is what the page says back about an act."""
    view, home = page.copy, page.home
    main: ActForm | None = None
    others: list[ActForm] = []
    for possible in page.acts:
        form = form_of(possible.fact, view, home, possible.ruling, by)
        if form is None:
            continue
        form = _with_what_was_typed(form, said)
        if main is None and possible.fact == view.next.act:
            main = form
        else:
            others.append(form)
    if main is None:
        main = _main_by_kind(others, view)
        if main is not None:
            others.remove(main)
    others.sort(key=lambda f: (bool(f.bars), _ORDER.index(f.slug)))
    return CopyPageView(
        id=view.id,
        label=view.label,
        title=view.workbook.title,
        course=home.programme.course(view.workbook.course).title,
        learner=view.learner.name if view.learner else "",
        status=str(view.standing.status),
        ruler=drawn(view, home, page.now.date(), "large"),
        turn=str(view.next.turn),
        what=_what(view),
        facts=_standing_facts(view),
        main=main,
        others=tuple(others),
        history=tuple(history_line(n, home) for n in shown_notes(page.history, by)),
        seen=view.standing.last_seq,
        day=day_words(page.now.date()),
        time=f"{page.now:%H:%M}",
        demo=home.demo_shift is not None,
        token=new_token(),
        refusal=refusal or "",
        learner_key=view.learner.key if view.learner is not None else "",
    )


def _main_by_kind(forms: list[ActForm], view: CopyView) -> ActForm | None:
    """The next step with other placeholders, such as a sitting whose watcher is not named yet."""
    if view.next.act is None:
        return None
    return next((f for f in forms if f.kind == view.next.act.KIND), None)


_ORDER = [
    "sit",
    "score-unit",
    "give-leave",
    "refuse-leave",
    "work",
    "mark",
    "correct",
    "re-mark",
    "ask-leave",
    "open-check",
    "open-practice",
    "score-practice",
    "readiness",
    "opening-talk",
    "issue",
    "receive",
    "reorder",
    "goal",
    "quiz",
    "help",
    "ask-help",
    "take-over",
    "spoil",
]


@dataclass(frozen=True, slots=True)
class CopyRow:
    """A copy in a list."""

    id: str
    label: str
    title: str
    course: str
    learner: str
    status: str
    what: str
    ruler: SafeString
    result: str
    scored: str


def copy_rows(views: tuple[CopyView, ...], home: Home, today: date) -> tuple[CopyRow, ...]:
    """Put a list of copies into words."""
    rows = []
    for view in views:
        unit = view.standing.unit
        result, scored = "", ""
        if unit is not None and unit.scored is not None:
            result = mark_words(unit.right, unit.asked, unit.needed)
            day = home.calendar.day_of(unit.scored)
            scored = day_of_month(day)
        course = home.programme.course(view.workbook.course).title
        rows.append(
            CopyRow(
                view.id,
                view.label,
                view.workbook.title,
                course,
                view.learner.name if view.learner else "",
                str(view.standing.status),
                _what(view),
                drawn(view, home, today),
                result,
                scored,
            )
        )
    return tuple(rows)
