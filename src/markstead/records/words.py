"""Facts in words, the same on screens and in commands. Names come from the home; the record has only ids."""

from markstead.ledger.facts import (
    KINDS,
    AnyFact,
    AttendanceTaken,
    CopyIssued,
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
    OralQuizHeld,
    PagesWorked,
    PracticeTestOpened,
    PracticeTestScored,
    ReadinessDecided,
    ReMarked,
    SpotCheckHeld,
    UnitTestSat,
    UnitTestScored,
    WorkTakenOver,
)
from markstead.records.home import Home
from markstead.rules.ruling import page_words, ranges, stop_words
from markstead.speech import begun, counted, day_short, later, say

_KINDS = (
    later("copy ordered"),
    later("copy received"),
    later("copy spoiled"),
    later("copy issued"),
    later("opening talk held"),
    later("work taken over"),
    later("goal set"),
    later("pages worked"),
    later("help asked"),
    later("help given"),
    later("leave asked"),
    later("leave given"),
    later("leave refused"),
    later("first marking"),
    later("corrected"),
    later("re-marked"),
    later("oral quiz held"),
    later("spot check held"),
    later("check opened"),
    later("practice test opened"),
    later("practice test scored"),
    later("readiness decided"),
    later("unit test sat"),
    later("unit test scored"),
    later("workbook re-ordered"),
    later("test paper sent"),
    later("dispatch sent"),
    later("attendance taken"),
    later("gate overridden"),
    later("fact reversed"),
)
"""Every kind of fact: ``say(fact.KIND)`` names it."""
if set(_KINDS) != set(KINDS):
    raise TypeError("every kind of fact needs its name here")


def mark_words(right: int, asked: int, needed: int) -> str:
    if right >= needed:
        return say("{right} of {asked}, passed", right=right, asked=asked)
    return say(
        "{right} of {asked}, below the pass mark, {needed} needed", right=right, asked=asked, needed=needed
    )


def name_of(who: str, home: Home) -> str:
    found = home.people.get(who)
    return found.name if found is not None else say("somebody")


def fact_words(fact: AnyFact, home: Home) -> str:
    """One fact in a sentence without its full stop."""
    kind = begun(say(fact.KIND))
    stop = getattr(fact, "stop", None)
    where = f", {stop_words(stop)}" if stop else ""
    match fact:
        case CopyIssued():
            return say("Copy issued to {learner}", learner=name_of(fact.learner, home))
        case PagesWorked():
            pages = page_words(fact.first, fact.last)
            if fact.minutes is None:
                return begun(say("{pages} worked", pages=pages))
            return begun(say("{pages} worked in {minutes} min", pages=pages, minutes=fact.minutes))
        case WorkTakenOver():
            return say(
                "Work taken over: {pages} worked before this record began", pages=page_words(1, fact.last)
            )
        case GoalSet():
            return _goal_words(fact)
        case FirstMarking():
            first = kind + where
            if not fact.wrong:
                return say("{marking}: all right, of {asked}", marking=first, asked=fact.asked)
            return say(
                "{marking}: wrong {numbers}, of {asked}",
                marking=first,
                numbers=ranges(fact.wrong),
                asked=fact.asked,
            )
        case ReMarked():
            if not fact.wrong:
                return say("{marking}: cleared", marking=kind + where)
            return say("{marking}: still wrong {numbers}", marking=kind + where, numbers=ranges(fact.wrong))
        case OralQuizHeld():
            return say(
                "{quiz}: {right} of {asked} right",
                quiz=kind + where,
                right=sum(good for _, good in fact.answers),
                asked=len(fact.answers),
            )
        case SpotCheckHeld():
            return say(
                "{check}: {right} of {ticks} ticks are right",
                check=kind + where,
                right=sum(right for _, right in fact.answers),
                ticks=len(fact.answers),
            )
        case PracticeTestOpened():
            return _attempt(kind, fact.attempt)
        case PracticeTestScored() | UnitTestScored():
            return f"{kind}: {mark_words(fact.right, fact.asked, fact.needed)}"
        case ReadinessDecided():
            return say("Decided: ready for the unit test") if fact.ready else say("Decided: not ready yet")
        case UnitTestSat():
            aids = ", ".join(fact.aids) or say("no aids")
            return say(
                "{sitting}, watched by {name}; {aids}",
                sitting=_attempt(kind, fact.attempt),
                name=name_of(fact.watcher, home),
                aids=aids,
            )
        case LeaveAsked() | LeaveGiven() | LeaveRefused():
            return say(_LEAVES[fact.KIND], step=say(fact.step)) + where
        case GateOverridden():
            return f"{kind} ({say(fact.act)}): {', '.join(map(say, fact.bars))}"
        case HelpAsked():
            return say("{fact}, page {number}", fact=kind, number=fact.page) if fact.page else kind
        case HelpGiven():
            return say("{fact}, {minutes} min", fact=kind, minutes=fact.minutes) if fact.minutes else kind
        case FactReversed():
            return say("Taken back: fact {number}", number=fact.entry)
        case DispatchSent():
            return counted(fact.papers, "{fact}: {n} test paper", "{fact}: {n} test papers", fact=kind)
        case AttendanceTaken():
            told = f"{kind}: {name_of(fact.learner, home)}, {day_short(fact.day)}, {say(fact.presence)}"
            return (
                say("{fact}, {minutes} min", fact=told, minutes=fact.minutes)
                if fact.minutes is not None
                else told
            )
        case _:
            return f"{kind}{where}"


_LEAVES = {
    LeaveAsked.KIND: later("Leave {step} asked"),
    LeaveGiven.KIND: later("Leave {step} given"),
    LeaveRefused.KIND: later("Leave {step} refused"),
}


def _attempt(fact: str, number: int) -> str:
    return fact if number == 1 else say("{fact}, attempt {number}", fact=fact, number=number)


def _goal_words(fact: GoalSet) -> str:
    day = day_short(fact.day)
    if fact.first is None and fact.step is None:
        return say("Goal for {day} taken away", day=day)
    pages = fact.first is not None and fact.last is not None
    what = page_words(fact.first or 0, fact.last or 0) if pages else say(str(fact.step))
    return say("Goal for {day}: {goal}", day=day, goal=what)
