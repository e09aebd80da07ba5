"""`markstead act …`: one command for each thing a person does, each calling the action of that name."""

from collections.abc import Callable
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from markstead.cli import typed
from markstead.cli.house import House, open_house
from markstead.cli.options import ACT, CLOCK, JSON, Asked, command
from markstead.errors import InputError, Problem
from markstead.speech import say

if TYPE_CHECKING:  # loaded when a home is opened, not for --help
    from markstead.ledger.facts import Step
    from markstead.records.desk import Done
    from markstead.rules.standing import Standing


class StepWord(StrEnum):
    """A step for which leave is asked, as it is typed."""

    MARK = "mark"
    RE_MARK = "re-mark"
    CHECK = "check"
    PRACTICE_TEST = "practice-test"
    UNIT_TEST = "unit-test"


class Decision(StrEnum):
    """What an educator decides on readiness."""

    READY = "ready"
    NOT_YET = "not-yet"


class PresenceWord(StrEnum):
    """How much of a school day a learner was there, as it is typed."""

    FULL = "full"
    HALF = "half"
    ABSENT = "absent"


COPY = Annotated[
    str,
    typer.Argument(
        metavar="COPY",
        help="A copy: its id, its label, or the code of a workbook with one copy that is not done with.",
    ),
]
STOP = Annotated[
    str | None,
    typer.Option(
        "--stop",
        metavar="STOP",
        help="A marking stop: section-3, check-1 or practice-test. Default: the one the copy has come to.",
    ),
]
WRONG = Annotated[
    str | None,
    typer.Option("--wrong", metavar="NUMBERS", help="The numbers of the wrong answers: 3,7 or 9-11."),
]
ALL_RIGHT = Annotated[bool, typer.Option("--all-right", help="Nothing was wrong.")]
RIGHT = Annotated[int | None, typer.Option("--right", metavar="NUMBER", help="How many answers were right.")]
REASON = Annotated[str, typer.Option("--reason", metavar="WORDS", help="Why, in a few words.")]
EXPECTED = Annotated[
    str | None, typer.Option("--expected", metavar="DAY", help="The day on which the copy should come.")
]
DAY = Annotated[str | None, typer.Option("--day", metavar="DAY", help="The day. Default: that of the act.")]
MINUTES = Annotated[int | None, typer.Option("--minutes", metavar="NUMBER", help="How many minutes it took.")]

app = typer.Typer(no_args_is_help=True, help="Record one thing that happened, and be told the next step.")


def find(house: House, wanted: str) -> str:
    from markstead.records import queries

    return queries.find_copy(house.household, wanted)


def standing_of(house: House, copy: str) -> "Standing":
    from markstead.records import queries

    return queries.copy_page(house.household, copy, now=house.now).copy.standing


def step_of(word: StepWord) -> "Step":
    from markstead.ledger.facts import Step

    return Step[word.name.replace("RE_MARK", "REMARK")]


def waiting_for(house: House, copy: str, word: StepWord | None) -> "Step":
    """The step that is meant: the one named, or the one that somebody waits for."""
    if word is not None:
        return step_of(word)
    waiting = standing_of(house, copy).waiting
    if waiting is None or waiting.step is None:
        words = ", ".join(StepWord)
        found = say("nothing, and nobody waits at this copy")
        raise InputError([Problem(say("step"), found, say("one of {words}", words=words))])
    return waiting.step


def current_stop(house: House, copy: str, step: "Step") -> str | None:
    """The stop that the copy has come to, for a step; None: every stop is cleared."""
    from markstead.ledger.facts import PRACTICE, Step
    from markstead.rules.ruling import first_uncleared

    s = standing_of(house, copy)
    if s.waiting is not None and s.waiting.step is step:
        return s.waiting.stop
    practice = s.stops.get(PRACTICE)
    if step is not Step.CHECK and (s.practice_open or (practice is not None and practice.cycle != "cleared")):
        return PRACTICE
    found = first_uncleared(s, house.home.programme.workbook(s.workbook)) if s.workbook else None
    return found.id if found is not None else None


def stop_for(house: House, copy: str, step: "Step", named: str | None) -> str | None:
    """The stop that is meant: the one named, or the one that the copy has come to."""
    from markstead.ledger.facts import Step

    if named is not None or step in (Step.PRACTICE_TEST, Step.UNIT_TEST):
        return named
    found = current_stop(house, copy, step)
    if found is None:
        allowed = say("a stop named by --stop: every section and check of this copy is cleared")
        raise InputError([Problem(say("stop"), say("nothing"), allowed)])
    return found


def wrong_of(wrong: str | None, *, all_right: bool) -> tuple[int, ...]:
    """The wrong answers; that nothing was wrong has to be said."""
    if (wrong is None) == (not all_right):
        found = "neither" if wrong is None else "both"
        raise InputError([Problem(say("--wrong and --all-right"), found, say("one of the two"))])
    return typed.numbers(wrong, "--wrong") if wrong is not None else ()


def score_of(right: int | None, wrong: str | None, *, all_right: bool) -> dict[str, Any]:
    """A score as the action takes it."""
    if all_right:
        if right is not None or wrong is not None:
            raise InputError([Problem("--all-right", say("a score beside it"), say("one of the two"))])
        return {"right": None, "wrong": ()}
    if right is None and wrong is None:
        allowed = say("--right, --wrong or --all-right")
        raise InputError([Problem(say("score"), say("nothing"), allowed)])
    return {"right": right, "wrong": typed.numbers(wrong, "--wrong") if wrong is not None else None}


def begin(asked: Asked, *, as_json: bool) -> House:
    """Open the home for an act; an act that was written before is told again, and that is all."""
    house = open_house(asked)
    if asked.slip is not None:
        from markstead.records import queries
        from markstead.records.desk import Done, at_the_desk

        slip = asked.slip
        if queries.act_exists(house.household, slip):
            tell(
                house,
                at_the_desk(house.household, lambda desk: Done(slip, desk.entries_of(slip), again=True)),
                as_json,
            )
            raise typer.Exit(0)
    return house


def tell(house: House, done: "Done", as_json: bool) -> None:
    """Print what was written and what comes next."""
    from markstead.cli import render, show
    from markstead.records import queries

    copies = [copy for entry in done.entries if (copy := getattr(entry.fact, "copy", None)) is not None]
    view = queries.copy_page(house.household, copies[0], now=house.now).copy if copies else None
    if as_json:
        print(render.text(render.done(done, house.home, view)))
    else:
        show.done(done, house.home, view)


def record(
    asked: Asked, house: House, action: Callable[..., "Done"], *, as_json: bool, **values: Any
) -> None:
    """Do the act, and tell it."""
    from markstead.records.desk import Slip

    slip = Slip(act=asked.slip, now=house.now, override=asked.override)
    done = action(house.household, by=house.actor(asked).id, at=house.at(asked), slip=slip, **values)
    tell(house, done, as_json)


def act(name: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    return command(app, name, CLOCK, ACT)


# --- copies -----------------------------------------------------------------------------------------------


@act("order")
def order(
    asked: Asked,
    *,
    workbook: Annotated[str, typer.Argument(metavar="WORKBOOK", help="The code of a workbook.")],
    learner: Annotated[
        str | None, typer.Option("--learner", metavar="LEARNER", help="For whom it is ordered.")
    ] = None,
    expected: EXPECTED = None,
    as_json: JSON = False,
) -> None:
    """Order a copy of a workbook; price and supplier are the programme's."""
    day = typed.day(expected, "--expected") if expected else None
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    record(
        asked, house, actions.order_copy, workbook=workbook, learner=learner, expected=day, as_json=as_json
    )


def about_a_copy(name: str, action: str, says: str) -> None:
    """Register an act that needs nothing but the copy."""

    def function(asked: Asked, *, copy: COPY, as_json: JSON = False) -> None:
        house = begin(asked, as_json=as_json)
        from markstead.records import actions

        record(asked, house, getattr(actions, action), copy=find(house, copy), as_json=as_json)

    function.__doc__ = says
    act(name)(function)


about_a_copy("receive", "receive_copy", "Book in a copy that came into the house.")


@act("spoil")
def spoil(asked: Asked, *, copy: COPY, reason: REASON, as_json: JSON = False) -> None:
    """Write off a copy that can no longer be worked."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    record(asked, house, actions.spoil_copy, copy=find(house, copy), reason=reason, as_json=as_json)


@act("issue")
def issue(
    asked: Asked,
    *,
    copy: COPY,
    learner: Annotated[
        str | None,
        typer.Option(
            "--learner", metavar="LEARNER", help="To whom. Default: the learner for whom it was ordered."
        ),
    ] = None,
    as_json: JSON = False,
) -> None:
    """Give a copy to a learner."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    found = find(house, copy)
    who = learner or standing_of(house, found).learner
    if who is None:
        keys = ", ".join(p.key for p in house.home.learners) or say("nobody yet")
        allowed = say("the key of a learner: {keys}", keys=keys)
        raise InputError([Problem("--learner", say("nothing, and it was ordered for nobody"), allowed)])
    record(asked, house, actions.issue_copy, copy=found, learner=who, as_json=as_json)


# --- work -------------------------------------------------------------------------------------------------

about_a_copy(
    "opening-talk", "hold_opening_talk", "Record that the learner read the aims and the word list aloud."
)


@act("goal")
def goal(
    asked: Asked,
    *,
    copy: COPY,
    pages: Annotated[
        str | None, typer.Argument(metavar="PAGES", help="A run of pages such as 14-19, or one page.")
    ] = None,
    day: Annotated[
        str | None, typer.Option("--day", metavar="DAY", help="For which day. Default: that of the act.")
    ] = None,
    step: Annotated[
        StepWord | None,
        typer.Option(
            "--step", help="A step instead of pages: mark, re-mark, check, practice-test, unit-test."
        ),
    ] = None,
    nothing: Annotated[bool, typer.Option("--nothing", help="Take the goal of that day away.")] = False,
    as_json: JSON = False,
) -> None:
    """Set what the learner means to do on a day: pages, or a step such as a test."""
    if sum((pages is not None, step is not None, nothing)) != 1:
        raise InputError(
            [Problem(say("goal"), say("none or several"), say("one of: pages, --step, --nothing"))]
        )
    first, last = typed.pages(pages) if pages is not None else (None, None)
    wanted = typed.day(day, "--day") if day else None
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    record(
        asked,
        house,
        actions.set_goal,
        copy=find(house, copy),
        day=wanted or house.home.calendar.day_of(house.at(asked)),
        first=first,
        last=last,
        step=step_of(step) if step is not None else None,
        as_json=as_json,
    )


@act("take-over")
def take_over(
    asked: Asked,
    *,
    copy: COPY,
    page: Annotated[int, typer.Argument(metavar="PAGE", min=1, help="The last page worked before.")],
    as_json: JSON = False,
) -> None:
    """Record how far a copy was worked before this record began; no marks are made up for it."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    record(asked, house, actions.take_over, copy=find(house, copy), last=page, as_json=as_json)


@act("work")
def work(
    asked: Asked,
    *,
    copy: COPY,
    pages: Annotated[str, typer.Argument(metavar="PAGES", help="A run of pages such as 14-19, or one page.")],
    minutes: MINUTES = None,
    day: DAY = None,
    as_json: JSON = False,
) -> None:
    """Record pages worked."""
    first, last = typed.pages(pages)
    worked = typed.day(day, "--day") if day else None
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    values = {"first": first, "last": last, "minutes": minutes, "day": worked}
    record(asked, house, actions.work_pages, copy=find(house, copy), **values, as_json=as_json)


@act("ask-help")
def ask_help(
    asked: Asked,
    *,
    copy: COPY,
    page: Annotated[
        int | None, typer.Option("--page", metavar="NUMBER", min=1, help="The page at which it is wanted.")
    ] = None,
    as_json: JSON = False,
) -> None:
    """Record that the learner is stuck and asks for help."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    record(asked, house, actions.ask_help, copy=find(house, copy), page=page, as_json=as_json)


@act("give-help")
def give_help(asked: Asked, *, copy: COPY, minutes: MINUTES = None, as_json: JSON = False) -> None:
    """Record that somebody taught the learner something in this workbook."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    record(asked, house, actions.give_help, copy=find(house, copy), minutes=minutes, as_json=as_json)


# --- leave and marking ------------------------------------------------------------------------------------


@act("ask-leave")
def ask_leave(
    asked: Asked,
    *,
    copy: COPY,
    step: Annotated[
        StepWord, typer.Argument(metavar="STEP", help="mark, re-mark, check, practice-test, unit-test.")
    ],
    stop: STOP = None,
    as_json: JSON = False,
) -> None:
    """Record that the learner asks leave for a step."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    found, wanted = find(house, copy), step_of(step)
    where = stop_for(house, found, wanted, stop)
    record(asked, house, actions.ask_leave, copy=found, step=wanted, stop=where, as_json=as_json)


@act("give-leave")
def give_leave(
    asked: Asked,
    *,
    copy: COPY,
    step: Annotated[
        StepWord | None,
        typer.Argument(metavar="STEP", help="mark or re-mark. Default: the one that is waited for."),
    ] = None,
    stop: STOP = None,
    as_json: JSON = False,
) -> None:
    """Give leave to mark or to re-mark; checks and tests are opened instead."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    found = find(house, copy)
    wanted = waiting_for(house, found, step)
    where = stop_for(house, found, wanted, stop)
    record(asked, house, actions.give_leave, copy=found, step=wanted, stop=where, as_json=as_json)


@act("refuse-leave")
def refuse_leave(
    asked: Asked,
    *,
    copy: COPY,
    step: Annotated[
        StepWord | None,
        typer.Argument(
            metavar="STEP", help="The step, as for ask-leave. Default: the one that is waited for."
        ),
    ] = None,
    reason: REASON,
    stop: STOP = None,
    as_json: JSON = False,
) -> None:
    """Send the learner back, and say why."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    found = find(house, copy)
    wanted = waiting_for(house, found, step)
    where = stop_for(house, found, wanted, stop)
    values = {"step": wanted, "stop": where, "reason": reason}
    record(asked, house, actions.refuse_leave, copy=found, **values, as_json=as_json)


@act("mark")
def mark(
    asked: Asked,
    *,
    copy: COPY,
    wrong: WRONG = None,
    all_right: ALL_RIGHT = False,
    stop: STOP = None,
    as_json: JSON = False,
) -> None:
    """Record the first marking of a section or a check: the numbers of the wrong answers."""
    numbers = wrong_of(wrong, all_right=all_right)
    house = begin(asked, as_json=as_json)
    from markstead.ledger.facts import PRACTICE, Step
    from markstead.records import actions

    found = find(house, copy)
    where = stop_for(house, found, Step.MARK, stop)
    if where == PRACTICE:
        allowed = say("a section or a check")
        raise InputError(
            [
                Problem(
                    say("stop"),
                    say("the practice test"),
                    allowed,
                    say("Its score: `markstead act score-practice`."),
                )
            ]
        )
    record(asked, house, actions.mark, copy=found, stop=where, wrong=numbers, as_json=as_json)


@act("correct")
def correct(asked: Asked, *, copy: COPY, stop: STOP = None, as_json: JSON = False) -> None:
    """Record that the wrong answers of a stop were corrected."""
    house = begin(asked, as_json=as_json)
    from markstead.ledger.facts import Step
    from markstead.records import actions

    found = find(house, copy)
    where = stop_for(house, found, Step.REMARK, stop)
    record(asked, house, actions.correct, copy=found, stop=where, as_json=as_json)


@act("re-mark")
def re_mark(
    asked: Asked,
    *,
    copy: COPY,
    wrong: WRONG = None,
    all_right: ALL_RIGHT = False,
    stop: STOP = None,
    as_json: JSON = False,
) -> None:
    """Record the re-marking of a stop: what is still wrong."""
    numbers = wrong_of(wrong, all_right=all_right)
    house = begin(asked, as_json=as_json)
    from markstead.ledger.facts import Step
    from markstead.records import actions

    found = find(house, copy)
    where = stop_for(house, found, Step.REMARK, stop)
    record(asked, house, actions.re_mark, copy=found, stop=where, wrong=numbers, as_json=as_json)


@act("quiz")
def quiz(
    asked: Asked,
    *,
    copy: COPY,
    answers: Annotated[
        list[str],
        typer.Argument(
            metavar="ANSWERS...", help="Each question and how it went, in the order asked: 3:right 7:wrong."
        ),
    ],
    stop: STOP = None,
    as_json: JSON = False,
) -> None:
    """Record an oral quiz: a few questions asked aloud by the educator."""
    kept = typed.answers(answers)
    house = begin(asked, as_json=as_json)
    from markstead.ledger.facts import Step
    from markstead.records import actions

    found = find(house, copy)
    where = stop or current_stop(house, found, Step.REMARK)
    record(asked, house, actions.hold_oral_quiz, copy=found, answers=kept, stop=where, as_json=as_json)


@act("spot-check")
def spot_check(
    asked: Asked,
    *,
    copy: COPY,
    answers: Annotated[
        list[str],
        typer.Argument(
            metavar="ANSWERS...",
            help="Each ticked question that was marked again, and whether its tick is right: 3:right 7:wrong.",
        ),
    ],
    stop: Annotated[
        str,
        typer.Option("--stop", metavar="STOP", help="Where they stand: section-3, check-1 or practice-test."),
    ],
    as_json: JSON = False,
) -> None:
    """Record a spot check: ticked answers of one stop that the educator marked again."""
    kept = typed.answers(answers)
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    found = find(house, copy)
    record(asked, house, actions.hold_spot_check, copy=found, answers=kept, stop=stop, as_json=as_json)


# --- checks and tests -------------------------------------------------------------------------------------


@act("open-check")
def open_check(asked: Asked, *, copy: COPY, stop: STOP = None, as_json: JSON = False) -> None:
    """Open a progress check."""
    house = begin(asked, as_json=as_json)
    from markstead.ledger.facts import Step
    from markstead.records import actions

    found = find(house, copy)
    where = stop_for(house, found, Step.CHECK, stop)
    record(asked, house, actions.open_check, copy=found, stop=where, as_json=as_json)


about_a_copy(
    "open-practice", "open_practice_test", "Open the practice test; the rest of the workbook is closed then."
)


@act("score-practice")
def score_practice(
    asked: Asked,
    *,
    copy: COPY,
    right: RIGHT = None,
    wrong: WRONG = None,
    all_right: ALL_RIGHT = False,
    as_json: JSON = False,
) -> None:
    """Record the score of the practice test, before corrections."""
    score = score_of(right, wrong, all_right=all_right)
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    record(asked, house, actions.score_practice_test, copy=find(house, copy), **score, as_json=as_json)


@act("readiness")
def readiness(
    asked: Asked,
    *,
    copy: COPY,
    decision: Annotated[Decision, typer.Argument(metavar="DECISION", help="ready or not-yet.")],
    as_json: JSON = False,
) -> None:
    """Decide whether the learner is ready for the unit test."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    ready = decision is Decision.READY
    record(asked, house, actions.decide_readiness, copy=find(house, copy), ready=ready, as_json=as_json)


@act("sit")
def sit(
    asked: Asked,
    *,
    copy: COPY,
    watcher: Annotated[
        str | None,
        typer.Option("--watcher", metavar="PERSON", help="Who watches, by key. Default: who acts."),
    ] = None,
    aid: Annotated[
        list[str] | None,
        typer.Option(
            "--aid",
            metavar="AID",
            help="An aid on the table; again for each. Default: those the programme allows in the learner's year.",
        ),
    ] = None,
    no_aids: Annotated[
        bool, typer.Option("--no-aids", help="Nothing but the paper is on the table.")
    ] = False,
    as_json: JSON = False,
) -> None:
    """Record that the learner sits down to the unit test, watched."""
    if aid and no_aids:
        raise InputError([Problem(say("--aid and --no-aids"), say("both"), say("one of the two"))])
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    found = find(house, copy)
    learner = house.home.people.get(standing_of(house, found).learner or "")
    usual = house.home.programme.aids_for((learner.year or 0) if learner is not None else 0)
    aids = () if no_aids else tuple(aid) if aid else usual
    watching = watcher or house.actor(asked).id
    record(asked, house, actions.sit_unit_test, copy=found, watcher=watching, aids=aids, as_json=as_json)


@act("score-unit")
def score_unit(
    asked: Asked,
    *,
    copy: COPY,
    right: RIGHT = None,
    wrong: WRONG = None,
    all_right: ALL_RIGHT = False,
    minutes: MINUTES = None,
    as_json: JSON = False,
) -> None:
    """Record the score of the unit test, marked by the educator with the test key, and how long it took."""
    score = score_of(right, wrong, all_right=all_right)
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    copy = find(house, copy)
    record(asked, house, actions.score_unit_test, copy=copy, **score, minutes=minutes, as_json=as_json)


@act("reorder")
def reorder(asked: Asked, *, copy: COPY, expected: EXPECTED = None, as_json: JSON = False) -> None:
    """Order a new copy for the same learner after a failed unit test."""
    day = typed.day(expected, "--expected") if expected else None
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    record(asked, house, actions.reorder_workbook, copy=find(house, copy), expected=day, as_json=as_json)


# --- the month and the day --------------------------------------------------------------------------------


@act("send")
def send(
    asked: Asked,
    *,
    copies: Annotated[
        list[str],
        typer.Argument(metavar="COPIES...", help="The copies whose test papers go, each as for COPY."),
    ],
    tracking: Annotated[
        str, typer.Option("--tracking", metavar="WORDS", help="What the carrier calls the parcel.")
    ] = "",
    as_json: JSON = False,
) -> None:
    """Record that the test papers of these copies went to the school."""
    house = begin(asked, as_json=as_json)
    from markstead.records import actions

    found = [find(house, copy) for copy in copies]
    record(asked, house, actions.send_dispatch, copies=found, tracking=tracking, as_json=as_json)


@act("attendance")
def attendance(
    asked: Asked,
    *,
    learner: Annotated[str, typer.Argument(metavar="LEARNER", help="The learner, by key.")],
    presence: Annotated[PresenceWord, typer.Argument(metavar="PRESENCE", help="full, half or absent.")],
    day: DAY = None,
    minutes: MINUTES = None,
    as_json: JSON = False,
) -> None:
    """Record how long a learner was at school on a day."""
    wanted = typed.day(day, "--day") if day else None
    house = begin(asked, as_json=as_json)
    from markstead.ledger.facts import Presence
    from markstead.records import actions

    values = {
        "learner": learner,
        "presence": Presence[presence.name],
        "day": wanted or house.home.calendar.day_of(house.at(asked)),
        "minutes": minutes,
    }
    record(asked, house, actions.take_attendance, **values, as_json=as_json)
