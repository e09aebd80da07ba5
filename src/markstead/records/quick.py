"""What a quick line would record, told before it is recorded: the same acts, the same gates, one act to take back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markstead.errors import InputError, Problem
from markstead.ledger.facts import PRACTICE, Step
from markstead.records import actions, queries
from markstead.records.actions import Gathering
from markstead.records.desk import Desk, Done, Slip, at_the_desk, household_row
from markstead.records.home import Home, load_home
from markstead.records.words import fact_words
from markstead.rules.bars import Bar
from markstead.rules.programme import Workbook
from markstead.rules.quick_line import (
    CorrectionsDone,
    Deed,
    HelpHad,
    HelpWanted,
    Marked,
    MarkedAgain,
    QuickLine,
    Scored,
    TalkHeld,
    WasThere,
    Worked,
    completions,
    read,
)
from markstead.rules.quick_names import Book, Known, NotRead, Pupil
from markstead.rules.ruling import RefusedError, Role, first_uncleared, stop_words
from markstead.rules.standing import CopyStatus, Cycle, Standing
from markstead.speech import say


@dataclass(frozen=True, slots=True)
class Look:
    """What would be recorded now, or what stands in the way of it. Nothing is written."""

    text: str
    who: str = ""
    book: str = ""
    copy: str = ""
    facts: tuple[str, ...] = ()
    """What would be recorded, in words and in order; up to the shut gate, where there is one."""
    shut: str = ""
    """What the gate is shut to."""
    bars: tuple[Bar, ...] = ()
    overridable: bool = False
    problems: tuple[Problem, ...] = ()
    choices: tuple[str, ...] = ()
    """What the word that is named could mean, where it could mean several things."""
    candidates: tuple[str, ...] = ()
    """With which the last word could be completed."""

    @property
    def goes(self) -> bool:
        """It could be recorded now."""
        return bool(self.facts) and not self.bars and not self.problems


def known_of(home: Home, *, learner: str | None = None, copy: str | None = None) -> Known:
    """Whom and what a line may be about; of one learner or copy alone, where a page has settled it."""
    held = queries.copies(home.id, status=CopyStatus.ISSUED, learner=learner)
    books = tuple(
        Book(
            view.id,
            view.learner.id,
            view.label,
            view.workbook.course,
            home.programme.course(view.workbook.course).title,
            home.programme.course(view.workbook.course).subject,
            view.workbook,
        )
        for view in held
        if view.learner is not None
    )
    known = Known(tuple(Pupil(p.id, p.key, p.name) for p in home.learners), books)
    if copy is not None:
        owner = next((book.learner for book in books if book.copy == copy), "")
        return known.only(owner, copy)
    return known.only(home.learner(learner).id) if learner is not None else known


def look(
    household: str,
    text: str,
    *,
    by: str,
    at: datetime,
    now: datetime | None = None,
    override: str | None = None,
    learner: str | None = None,
    copy: str | None = None,
) -> Look:
    """Tell what a line would record at a moment: tried at a desk of its own, of which nothing is written."""
    row = household_row(household)
    home = load_home(row)
    known = known_of(home, learner=learner, copy=copy)
    offered = completions(text, known)
    line = read(text, known)
    if isinstance(line, NotRead):
        return Look(text, problems=(line.problem,), choices=line.choices, candidates=offered)
    desk = Desk(row, home, False)
    gathering = Gathering(desk, Slip(now=now or at, override=override))
    shut, bars, overridable, problems = "", (), False, ()
    try:
        perform(line, Hand(gathering, by=by, at=at))
    except RefusedError as error:
        shut = fact_words(gathering.proposed[0], home)
        bars, overridable = error.ruling.bars, error.ruling.overridable
    except InputError as error:
        problems = error.problems
    book = next((b for b in known.books if b.copy == line.copy), None)
    return Look(
        text,
        home.people[line.learner].name,
        book.workbook.title if book is not None else "",
        line.copy or "",
        tuple(fact_words(entry.fact, home) for entry in gathering.entries),
        shut,
        bars,
        overridable,
        problems,
        candidates=offered,
    )


def record(
    household: str,
    text: str,
    *,
    by: str,
    at: datetime,
    slip: Slip = actions.PLAIN,
    learner: str | None = None,
    copy: str | None = None,
) -> Done:
    """Record what a line says: all of it in one act, or nothing.

    Raises:
        InputError: the line is not understood; the word and its place are named.
        RefusedError: a gate is shut.
    """

    def work(desk: Desk) -> Done:
        again = desk.written(slip.act) if slip.act else None
        if again is not None:  # sent twice: what it would be read as by now does not matter
            return again
        line = read(text, known_of(desk.home, learner=learner, copy=copy))
        if isinstance(line, NotRead):
            raise InputError([line.problem])
        gathering = Gathering(desk, slip)
        perform(line, Hand(gathering, by=by, at=at))
        return gathering.done

    return at_the_desk(household, work)


# --- doing it ---------------------------------------------------------------------------------------------


class Hand:
    """Does things in copies at one desk, with the steps that each rests on and that are not on the record yet.

    Who tells as an educator that a section was marked has given leave to mark it; who tells that it was re-marked tells
    that it was corrected. Such a step is recorded by name and ruled on like every other. What only time or a
    conversation can bring (a quiz, a sitting, another school day) is never taken as done.
    """

    def __init__(self, where: Gathering, *, by: str, at: datetime, until: datetime | None = None) -> None:
        self.where, self.by, self.at = where, by, at
        self.until = until or at
        """The hand's own clock does not go on beyond this."""
        self.desk = where.open_desk
        self.grants = self.desk.home.person(by).role is Role.EDUCATOR

    def wait(self, minutes: int) -> None:
        """Let time pass before the next step."""
        self.at = max(self.at, min(self.at + timedelta(minutes=minutes), self.until))

    def standing(self, copy: str) -> Standing:
        return self.desk.known_copy(copy)

    def workbook(self, copy: str) -> Workbook:
        return self.desk.home.programme.workbook(self.standing(copy).workbook)

    def stop_of(self, copy: str, named: str | None) -> str:
        """The stop that is meant: the one named, or the one that the copy has come to."""
        if named is not None:
            return named
        found = first_uncleared(self.standing(copy), self.workbook(copy))
        return found.id if found is not None else PRACTICE

    def talk(self, copy: str) -> None:
        actions.hold_opening_talk(self.where, copy=copy, by=self.by, at=self.at)

    def work(self, copy: str, first: int, last: int, minutes: int | None) -> None:
        """Work pages; a check that the copy has come to, and that lies on them, was opened."""
        standing = self.standing(copy)
        come_to = first_uncleared(standing, self.workbook(copy))
        check = come_to if come_to is not None and come_to.kind == "check" else None
        touched = check is not None and first <= check.last and last >= check.first
        if check is not None and touched and self.grants and not standing.stop(check.id).opened:
            actions.open_check(self.where, copy=copy, stop=check.id, by=self.by, at=self.at)
        self.wait(minutes or 0)
        day = self.desk.home.calendar.day_of(self.at)
        actions.work_pages(
            self.where, copy=copy, first=first, last=last, minutes=minutes, day=day, by=self.by, at=self.at
        )

    def mark(self, copy: str, named: str | None, wrong: Sequence[int]) -> str:
        """Mark a stop for the first time."""
        stop = self.stop_of(copy, named)
        if stop == PRACTICE:
            found = say("right or wrong, but every section and check of this copy is cleared")
            raise InputError([Problem(say("marking"), found, say("practice with its score"))])
        if self.standing(copy).stop(stop).cycle is not Cycle.UNMARKED:
            found = say("a first marking, but {stop} was marked already", stop=stop_words(stop))
            raise InputError(
                [Problem(say("marking"), found, say("re-mark right, or re-mark wrong with the numbers"))]
            )
        self._leave(copy, Step.MARK, stop)
        actions.mark(self.where, copy=copy, stop=stop, wrong=wrong, by=self.by, at=self.at)
        return stop

    def correct(self, copy: str, named: str | None) -> None:
        stop = self.stop_of(copy, named)
        actions.correct(self.where, copy=copy, stop=stop, by=self.by, at=self.at)

    def mark_again(self, copy: str, named: str | None, wrong: Sequence[int]) -> None:
        """Mark corrected answers again; what was to be corrected was."""
        stop = self.stop_of(copy, named)
        if self.standing(copy).stop(stop).cycle is Cycle.TO_CORRECT:
            actions.correct(self.where, copy=copy, stop=stop, by=self.by, at=self.at)
        self._leave(copy, Step.REMARK, stop)
        actions.re_mark(self.where, copy=copy, stop=stop, wrong=wrong, by=self.by, at=self.at)

    def _leave(self, copy: str, step: Step, stop: str) -> None:
        if self.grants and self.standing(copy).leave != (step, stop):
            actions.give_leave(self.where, copy=copy, step=step, stop=stop, by=self.by, at=self.at)

    def send_back(self, copy: str, stop: str, reason: str) -> None:
        """Refuse the leave that is asked for at a stop; where it was asked on paper only, that is recorded first."""
        standing = self.standing(copy)
        waiting = standing.waiting
        if waiting is not None and waiting.step is not None and waiting.stop == stop:
            step = waiting.step
        else:
            step = Step.MARK if standing.stop(stop).cycle is Cycle.UNMARKED else Step.REMARK
            actions.ask_leave(self.where, copy=copy, step=step, stop=stop, by=self.by, at=self.at)
        actions.refuse_leave(
            self.where, copy=copy, step=step, stop=stop, reason=reason, by=self.by, at=self.at
        )

    def sit(self, copy: str, watcher: str, aids: Sequence[str]) -> None:
        """The unit test was sat, watched."""
        actions.sit_unit_test(self.where, copy=copy, watcher=watcher, aids=aids, by=self.by, at=self.at)

    def practice(self, copy: str, right: int | None, wrong: Sequence[int] | None) -> None:
        """Score the practice test; what was scored was open."""
        if self.grants and not self.standing(copy).practice_open:
            actions.open_practice_test(self.where, copy=copy, by=self.by, at=self.at)
        actions.score_practice_test(self.where, copy=copy, right=right, wrong=wrong, by=self.by, at=self.at)

    def unit(self, copy: str, right: int | None, wrong: Sequence[int] | None) -> None:
        """Score the unit test; that it was sat, watched, is told on its own."""
        actions.score_unit_test(self.where, copy=copy, right=right, wrong=wrong, by=self.by, at=self.at)

    def help_wanted(self, copy: str, page: int | None) -> None:
        actions.ask_help(self.where, copy=copy, page=page, by=self.by, at=self.at)

    def help_had(self, copy: str, minutes: int | None) -> None:
        actions.give_help(self.where, copy=copy, minutes=minutes, by=self.by, at=self.at)


def perform(line: QuickLine, hand: Hand) -> None:
    """Do everything that a line says, one after the other."""
    for deed in line.deeds:
        _do(deed, line, hand)


def _do(deed: Deed, line: QuickLine, hand: Hand) -> None:
    copy = line.copy or ""
    match deed:
        case TalkHeld():
            hand.talk(copy)
        case Worked():
            hand.work(copy, deed.first, deed.last, deed.minutes)
        case HelpWanted():
            hand.help_wanted(copy, deed.page)
        case Marked():
            hand.mark(copy, deed.stop, deed.wrong)
        case Scored():
            score = hand.practice if deed.test == "practice" else hand.unit
            score(copy, deed.right, deed.wrong)
        case HelpHad():
            hand.help_had(copy, deed.minutes)
        case CorrectionsDone():
            hand.correct(copy, deed.stop)
        case MarkedAgain():
            hand.mark_again(copy, deed.stop, deed.wrong)
        case WasThere():
            day = hand.desk.home.calendar.day_of(hand.at)
            actions.take_attendance(
                hand.where, learner=line.learner, day=day, presence=deed.presence, by=hand.by, at=hand.at
            )
