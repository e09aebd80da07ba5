"""Facts in words, the same on screens and in commands. Names come from the home; the record has only ids."""

from markstead.ledger.facts import (
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
from markstead.speech import day_short


def mark_words(right: int, asked: int, needed: int) -> str:
    how = "passed" if right >= needed else f"below the pass mark, {needed} needed"
    return f"{right} of {asked}, {how}"


def name_of(who: str, home: Home) -> str:
    found = home.people.get(who)
    return found.name if found is not None else "somebody"


def fact_words(fact: AnyFact, home: Home) -> str:
    """One fact in a sentence without its full stop."""
    kind = fact.KIND.capitalize()
    stop = getattr(fact, "stop", None)
    where = f", {stop_words(stop)}" if stop else ""
    match fact:
        case CopyIssued():
            return f"{kind} to {name_of(fact.learner, home)}"
        case PagesWorked():
            pages = page_words(fact.first, fact.last).capitalize()
            minutes = f" in {fact.minutes} min" if fact.minutes is not None else ""
            return f"{pages} worked{minutes}"
        case WorkTakenOver():
            return f"{kind}: {page_words(1, fact.last)} worked before this record began"
        case GoalSet():
            if fact.first is None and fact.step is None:
                return f"Goal for {day_short(fact.day)} taken away"
            pages = fact.first is not None and fact.last is not None
            what = page_words(fact.first or 0, fact.last or 0) if pages else str(fact.step)
            return f"Goal for {day_short(fact.day)}: {what}"
        case FirstMarking():
            return f"{kind}{where}: {f'wrong {ranges(fact.wrong)}' if fact.wrong else 'all right'}, of {fact.asked}"
        case ReMarked():
            return f"{kind}{where}: {f'still wrong {ranges(fact.wrong)}' if fact.wrong else 'cleared'}"
        case OralQuizHeld():
            return f"{kind}{where}: {sum(good for _, good in fact.answers)} of {len(fact.answers)} right"
        case SpotCheckHeld():
            good = sum(right for _, right in fact.answers)
            return f"{kind}{where}: {good} of {len(fact.answers)} ticks are right"
        case PracticeTestOpened():
            return kind if fact.attempt == 1 else f"{kind}, attempt {fact.attempt}"
        case PracticeTestScored() | UnitTestScored():
            return f"{kind}: {mark_words(fact.right, fact.asked, fact.needed)}"
        case ReadinessDecided():
            return "Decided: ready for the unit test" if fact.ready else "Decided: not ready yet"
        case UnitTestSat():
            attempt = "" if fact.attempt == 1 else f", attempt {fact.attempt}"
            aids = ", ".join(fact.aids) or "no aids"
            return f"{kind}{attempt}, watched by {name_of(fact.watcher, home)}; {aids}"
        case LeaveAsked() | LeaveGiven() | LeaveRefused():
            return f"Leave {fact.step} {kind.removeprefix('Leave ')}{where}"
        case GateOverridden():
            return f"{kind} ({fact.act}): {', '.join(fact.bars)}"
        case HelpAsked():
            return f"{kind}, page {fact.page}" if fact.page else kind
        case HelpGiven():
            return f"{kind}, {fact.minutes} min" if fact.minutes else kind
        case FactReversed():
            return f"Taken back: fact {fact.entry}"
        case DispatchSent():
            return f"{kind}: {fact.papers} test paper{'' if fact.papers == 1 else 's'}"
        case AttendanceTaken():
            minutes = f", {fact.minutes} min" if fact.minutes is not None else ""
            who = name_of(fact.learner, home)
            return f"{kind}: {who}, {day_short(fact.day)}, {fact.presence}{minutes}"
        case _:
            return f"{kind}{where}"
