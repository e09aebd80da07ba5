"""What the marked boxes of a sheet mean: the day as somebody would have typed it, in the same rows."""

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, replace
from datetime import date, time

from markstead.ledger.facts import PRACTICE, Presence
from markstead.paper.boxes import State
from markstead.paper.layout import Asks, Group, Kind, Sheet
from markstead.paper.sense import Answer, answers, doubts
from markstead.records.home import Home
from markstead.records.paper_day import PaperDay, Refused, Row, SatTest, StopMarks
from markstead.records.plan_sheets import USUAL_BEGIN
from markstead.speech import later, say

UNIT = "unit"
"""What a sheet calls the unit test as a step."""
SENT_BACK = later("Sent back on the marking sheet: look through it again.")
QUIZ_FIRST = later("A quiz comes first, says the marking sheet.")


@dataclass(frozen=True, slots=True)
class Meaning:
    """A sheet, understood."""

    entry: PaperDay
    """Without the workbooks whose boxes contradict one another."""
    contrary: tuple[Refused, ...]
    """Those, with what is the matter."""
    doubts: tuple[str, ...]
    """What is odd and can be recorded all the same."""
    by_hand: tuple[str, ...]
    """Lines on which something was written by hand, which nobody but a person can read."""

    @property
    def empty(self) -> bool:
        """Nothing is marked that could be recorded."""
        return not (self.entry.rows or self.entry.presences or self.contrary)


def begins_of(home: Home, sheet: Sheet) -> time:
    """When the day of a sheet is taken to begin, unless somebody says otherwise."""
    return home.programme.unit_test.morning_from if sheet.kind is Kind.SITTING else USUAL_BEGIN


def meaning(home: Home, sheet: Sheet, day: date, marked: Set[str], begins: time | None = None) -> Meaning:
    """Understand a sheet from the ids of its marked boxes; every other box is taken as empty."""
    states = {
        box.id: State.MARKED if box.id in marked else State.EMPTY
        for page in sheet.pages
        for box in page.boxes
    }
    given = answers(sheet, states)
    found = doubts(sheet, given)
    rows: dict[str, Row] = {}
    presences: dict[str, Presence] = {}
    for copy in dict.fromkeys(answer.group.copy for answer in given if answer.group.copy):
        row = _row(copy, [answer for answer in given if answer.group.copy == copy])
        if not row.empty:
            rows[copy] = row
    for answer in given:
        if answer.group.id == "day/presence" and len(answer.marked) == 1:
            presences[answer.group.learner] = Presence(answer.marked[0])
    groups = {group.id: group for group in sheet.groups}
    against: dict[str, list[str]] = {}
    for doubt in found:
        if doubt.contrary:
            group = groups[doubt.groups[0]]
            against.setdefault(group.copy or group.learner, []).append(doubt.sentence)
    contrary = tuple(
        Refused(where, _name(home, groups.values(), where), "", says=tuple(says))
        for where, says in against.items()
    )
    kept = tuple(row for copy, row in rows.items() if copy not in against)
    there = {who: presence for who, presence in presences.items() if who not in against}
    return Meaning(
        PaperDay(day, begins or begins_of(home, sheet), kept, there),
        contrary,
        tuple(doubt.sentence for doubt in found if not doubt.contrary),
        tuple(a.group.words for a in given if a.group.asks is Asks.CHANGED and a.marked),
    )


def _name(home: Home, groups: Iterable[Group], where: str) -> str:
    """A copy as people say it: whose it is, and in which course."""
    group = next((one for one in groups if one.copy == where), None)
    learner = home.people.get(group.learner if group is not None else where)
    name = learner.name if learner is not None else ""
    if group is None:
        return name
    subject = group.words.split(":")[0].split(",")[0]
    return subject if subject == name else ", ".join(part for part in (name, subject) if part)


def _row(copy: str, given: Iterable[Answer]) -> Row:
    """One copy's row from all its groups that were read."""
    row, stops = Row(copy), dict[str, StopMarks]()
    marks: dict[Asks, Answer] = {}
    for answer in given:
        if answer.marked:
            if answer.group.step in ("", UNIT, PRACTICE):
                row = _whole(row, answer)
            else:
                stop = stops.get(answer.group.step, StopMarks(answer.group.step))
                stops[answer.group.step] = _stop(stop, answer)
            if answer.group.asks in (Asks.TENS, Asks.ONES):
                marks[answer.group.asks] = answer
    if len(marks) == 2:
        row = _scored(row, marks)
    return replace(row, stops=tuple(stops.values()))


def _numbers(answer: Answer) -> tuple[int, ...]:
    return tuple(sorted(int(value) for value in answer.marked))


def _whole(row: Row, answer: Answer) -> Row:
    """What is not about one marking stop."""
    match answer.group.asks:
        case Asks.PAGES:
            pages = _numbers(answer)
            return replace(row, first=pages[0], last=pages[-1])
        case Asks.ALL_DONE if row.first is None:
            first, last = answer.marked[0].split("-")
            return replace(row, first=int(first), last=int(last))
        case Asks.MINUTES:
            return replace(row, minutes=_numbers(answer)[0])
        case Asks.HELPED:
            return replace(row, helps=1)
        case Asks.WANTS_HELP:
            return replace(row, wants_help=True)
        case Asks.ALL_RIGHT:
            return replace(row, practice_wrong=())
        case Asks.WRONG if answer.group.step == PRACTICE:
            return replace(row, practice_wrong=_numbers(answer))
        case Asks.WRONG:
            return replace(row, unit_wrong=_numbers(answer))
        case Asks.ANY_OF:
            return replace(row, sat=SatTest(row.sat.watcher if row.sat else "", answer.marked))
        case Asks.ONE_OF:
            return replace(row, sat=SatTest(answer.marked[0], row.sat.aids if row.sat else ()))
    return row


def _stop(stop: StopMarks, answer: Answer) -> StopMarks:
    """What is about one marking stop."""
    match answer.group.asks:
        case Asks.ALL_RIGHT:
            return replace(stop, wrong=())
        case Asks.WRONG:
            return replace(stop, wrong=_numbers(answer))
        case Asks.CLEARED:
            return replace(stop, still=())
        case Asks.STILL_WRONG:
            return replace(stop, still=_numbers(answer))
        case Asks.SENT_BACK:
            return replace(stop, sent_back=say(SENT_BACK))
        case Asks.QUIZ_FIRST:
            return replace(stop, sent_back=say(QUIZ_FIRST))
    return stop


def _scored(row: Row, marks: Mapping[Asks, Answer]) -> Row:
    """A score in two digits, as the right answers of its test."""
    right = 10 * int(marks[Asks.TENS].marked[0]) + int(marks[Asks.ONES].marked[0])
    is_unit = marks[Asks.ONES].group.step == UNIT
    return replace(row, unit_right=right) if is_unit else replace(row, practice_right=right)
