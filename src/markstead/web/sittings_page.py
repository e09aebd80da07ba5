"""Unit tests in words: who may sit this morning and why others may not, the sitting, its marking, and its record."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markstead.records.home import Home
from markstead.records.sittings import Candidate, Morning, Sat, SittingOf
from markstead.records.words import mark_words, name_of
from markstead.rules.bars import Bar, BarKind
from markstead.rules.programme import Rework
from markstead.rules.ruling import Role
from markstead.rules.standing import CopyStatus
from markstead.speech import and_words, begun, counted, date_words, day_words, later, say
from markstead.web.pages import Choice, new_token, waiting_words

ROOM = (
    later("On the table: the test paper, and of the aids only those that are named above."),
    later("The workbook and the answer key are out of the room; so is every telephone."),
    later(
        "Whoever watches stays in the room and gives no help: a question about the paper is "
        "answered, one about the matter is not."
    ),
    later("Work is in pencil. What is written when time is called stays: a unit test is never corrected."),
)
"""What is asked of the room while a unit test is sat."""


@dataclass(frozen=True, slots=True)
class BarWords:
    """One bar in words: what is the matter, and what lifts it."""

    says: str
    lifts: str


@dataclass(frozen=True, slots=True)
class CandidateLine:
    """A copy that may be sat, or is near it."""

    copy: str
    label: str
    title: str
    learner: str
    year: str
    attempt: int
    allowed: bool
    practice: str
    """How the latest practice test went."""
    bars: tuple[BarWords, ...]
    overridable: bool
    aids: tuple[str, ...]
    people: tuple[Choice, ...]
    needed: int
    asked: int
    seen: int
    open: bool = False
    """Its form is folded out: something was sent with it and could not be taken."""
    aids_ticked: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SatLine:
    """A copy whose unit test was sat."""

    copy: str
    label: str
    title: str
    learner: str
    began: str
    since: str
    watcher: str
    result: str
    passed: bool


@dataclass(frozen=True, slots=True)
class AidsLine:
    """The aids of some school years."""

    years: str
    aids: str
    who: str


@dataclass(frozen=True, slots=True)
class SittingsPage:
    """Everything that the template of the test-day page may use."""

    day: str
    time: str
    headline: str
    """Whether anybody may sit now, in one sentence."""
    fits: str
    hours: str
    watchers: tuple[str, ...]
    away: tuple[str, ...]
    may: tuple[CandidateLine, ...]
    barred: tuple[CandidateLine, ...]
    everybody: tuple[BarWords, ...]
    """What bars every one of them alike: the day, the hour, a full morning."""
    running: tuple[SatLine, ...]
    to_mark: tuple[SatLine, ...]
    marked: tuple[SatLine, ...]
    failed: tuple[SatLine, ...]
    aids: tuple[AidsLine, ...]
    token: str
    demo: bool


def bar_words(bar: Bar, one: Candidate) -> BarWords:
    """A bar as it is told of this copy: how the practice test went, rather than the rule alone."""
    if bar.kind is BarKind.PRACTICE_NOT_PASSED:
        attempt = one.standing.attempt
        if attempt is None:
            return BarWords(say("The practice test has not been taken."), bar.lifts)
        if attempt.scored is None:
            return BarWords(say("The practice test is open and not scored."), bar.lifts)
        return BarWords(
            say(
                "The practice test has {right} of {asked} right, {needed} are needed.",
                right=attempt.right,
                asked=attempt.asked,
                needed=attempt.needed,
            ),
            bar.lifts,
        )
    return BarWords(bar.says, bar.lifts)


def _practice(one: Candidate) -> str:
    attempt = one.standing.attempt
    if attempt is None or attempt.scored is None:
        return ""
    return say("practice test {mark}", mark=mark_words(attempt.right, attempt.asked, attempt.needed))


def candidate_line(
    one: Candidate,
    morning_home: Home,
    by: str,
    posted: Sequence[tuple[str, str]] = (),
    *,
    everything: bool = False,
) -> CandidateLine:
    """A candidate in words; with `posted`, what was ticked and chosen in its form stands there again."""
    sent = dict(posted)
    mine = sent.get("copy") == one.copy
    watchers = one.watchers or ()
    chosen = sent.get("watcher") if mine else (by if by in {w.id for w in watchers} else None)
    asked = one.workbook.unit_questions
    bars = one.ruling.bars if everything else one.own_bars
    return CandidateLine(
        copy=one.copy,
        label=one.label,
        title=one.workbook.title,
        learner=one.learner.name,
        year=say("year {year}", year=one.learner.year) if one.learner.year is not None else "",
        attempt=one.attempt,
        allowed=one.allowed,
        practice=_practice(one),
        bars=tuple(bar_words(bar, one) for bar in bars),
        # A reason passes the day, the hour or the number; nobody sits a test whose practice test is not passed.
        overridable=one.ruling.overridable and one.standing.practice_passed,
        aids=one.aids,
        people=tuple(Choice(w.id, w.name, w.id == chosen) for w in watchers),
        needed=morning_home.programme.marks.unit_needed(asked),
        asked=asked,
        seen=one.standing.last_seq,
        open=mine,
        aids_ticked=tuple(value for name, value in posted if name == "aids") if mine else one.aids,
    )


def _since(at: datetime, now: datetime) -> str:
    return waiting_words(at, now)


def _sat_line(sat: Sat, home: Home, now: datetime) -> SatLine:
    unit = sat.standing.unit
    if unit is None:
        raise ValueError(f"copy {sat.copy} has not been sat")
    began = home.calendar.at_home(unit.at)
    today = began.date() == now.date()
    return SatLine(
        sat.copy,
        sat.label,
        sat.workbook.title,
        sat.learner.name if sat.learner is not None else "",
        f"{began:%H:%M}" if today else date_words(began.date()),
        _since(unit.at, now) if today else "",
        name_of(unit.watcher, home),
        mark_words(unit.right, unit.asked, unit.needed) if unit.scored is not None else "",
        unit.passed,
    )


def _headline(found: Morning) -> str:
    may = [one for one in found.candidates if one.allowed]
    if found.closed is not None:
        return say("No unit test today: it is {closed}.", closed=found.closed)
    if not found.opened:
        rules = found.home.programme.unit_test
        if found.now.time() < rules.morning_from:
            return say("Unit tests begin from {time:%H:%M} on.", time=rules.morning_from)
        return say("This morning is over for unit tests.")
    if may and found.fits:
        names = and_words(dict.fromkeys(one.learner.name for one in may))
        return say("{names} may sit now.", names=names)
    if not found.fits:
        return say("The morning is full: no more unit tests are begun.")
    return say("Nobody may sit now.")


def _fits(found: Morning) -> str:
    if not found.opened:
        today = say("{n} begun today.", n=found.sat) if found.sat else ""
        when = ""
        if found.following:
            when = say("The next school morning is {day}.", day=day_words(found.following))
        return f"{today} {when}".strip()
    if not found.fits:
        return say("{n} of {most} begun, no more fits this morning.", n=found.sat, most=found.most)
    return counted(
        found.fits,
        "{sat} of {most} begun, {n} more fits this morning.",
        "{sat} of {most} begun, {n} more fit this morning.",
        sat=found.sat,
        most=found.most,
    )


def _aids_lines(home: Home) -> tuple[AidsLine, ...]:
    rules = sorted(home.programme.aids, key=lambda rule: rule.from_year)
    lines = []
    for n, rule in enumerate(rules):
        until = rules[n + 1].from_year - 1 if n + 1 < len(rules) else None
        if until is None:
            years = say("from year {year} on", year=rule.from_year)
        elif until == rule.from_year:
            years = say("year {year}", year=until)
        else:
            years = say("years {first} to {last}", first=rule.from_year, last=until)
        who = [
            p.name
            for p in home.learners
            if rule.from_year <= (p.year or 0) and (until is None or (p.year or 0) <= until)
        ]
        aids = ", ".join(rule.allowed) or say("no aids")
        lines.append(AidsLine(begun(years), aids, and_words(who) if who else ""))
    return tuple(lines)


def sittings_page(found: Morning, by: str, posted: Sequence[tuple[str, str]] = ()) -> SittingsPage:
    """Put a morning into words."""
    home, now = found.home, found.now
    rules = home.programme.unit_test
    lines = {one.copy: candidate_line(one, home, by, posted) for one in found.candidates}
    may = tuple(lines[one.copy] for one in found.candidates if one.allowed)
    barred = tuple(lines[one.copy] for one in found.candidates if not one.allowed)
    shared = [b for one in found.candidates for b in one.ruling.bars if b not in one.own_bars]
    everybody = {b.kind: BarWords(b.says, b.lifts) for b in shared}
    return SittingsPage(
        day=day_words(now.date()),
        time=f"{now:%H:%M}",
        headline=_headline(found),
        fits=_fits(found),
        hours=say(
            "{begin:%H:%M} to {end:%H:%M}",
            begin=rules.morning_from,
            end=rules.morning_until,
        ),
        watchers=tuple(w.person.name for w in found.watchers if not w.away),
        away=tuple(w.person.name for w in found.watchers if w.away),
        may=may,
        barred=barred,
        everybody=tuple(everybody.values()),
        running=tuple(_sat_line(sat, home, now) for sat in found.running),
        to_mark=tuple(_sat_line(sat, home, now) for sat in found.to_mark),
        marked=tuple(_sat_line(sat, home, now) for sat in found.marked),
        failed=tuple(_sat_line(sat, home, now) for sat in found.failed),
        aids=_aids_lines(home),
        token=new_token(),
        demo=home.demo_shift is not None,
    )


# --- one sitting ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RecordRow:
    """One line of the printed record; an empty value is a line to write on."""

    what: str
    value: str


@dataclass(frozen=True, slots=True)
class NextAct:
    """What follows a marked test, as a button."""

    slug: str
    copy: str
    button: str


@dataclass(frozen=True, slots=True)
class SittingPage:
    """Everything that the template of one sitting may use."""

    copy: str
    label: str
    title: str
    learner: str
    state: str
    """near, running, ended, marked, or ahead."""
    line: CandidateLine | None
    began: str
    since: str
    ended: str
    took: str
    """Minutes that the sitting took, for the field."""
    watcher: str
    aids: str
    room: tuple[str, ...]
    asked: int
    needed: int
    questions: tuple[int, ...]
    ticked: frozenset[int]
    right_typed: str
    result: str
    passed: bool
    follows: tuple[str, ...]
    acts: tuple[NextAct, ...]
    record: tuple[RecordRow, ...]
    household: str
    day: str
    seen: int
    token: str
    copy_says: str
    """Where the copy stands, while its test is still far."""


def _ends(began: datetime, minutes: int | None, ended: datetime | None) -> datetime | None:
    if minutes is not None:
        return began + timedelta(minutes=minutes)
    return ended


def minutes_between(began: datetime, ended: datetime) -> int:
    """Whole minutes of a sitting; a begun minute counts."""
    return max(1, -int((began - ended).total_seconds() // 60))


def sitting_page(
    found: SittingOf,
    by: str,
    *,
    ended: datetime | None = None,
    posted: Sequence[tuple[str, str]] = (),
) -> SittingPage:
    """Put one sitting into words; `ended` is when the paper was taken in, as long as the test is not marked."""
    home, sat, now = found.home, found.sat, found.now
    unit, book = sat.standing.unit, sat.workbook
    sent = dict(posted)
    learner = sat.learner
    asked = unit.asked if unit is not None and unit.scored is not None else book.unit_questions
    needed = (
        unit.needed
        if unit is not None and unit.scored is not None
        else home.programme.marks.unit_needed(book.unit_questions)
    )
    line = (
        candidate_line(found.candidate, home, by, posted, everything=True)
        if found.candidate is not None
        else None
    )
    began = home.calendar.at_home(unit.at) if unit is not None else None
    end = _ends(began, unit.minutes, ended) if unit is not None and began is not None else None
    end_home = home.calendar.at_home(end) if end is not None else None
    took = sent.get("minutes", "")
    if not sent and began is not None and ended is not None:
        took = str(minutes_between(began, ended))
    return SittingPage(
        copy=sat.copy,
        label=sat.label,
        title=book.title,
        learner=learner.name if learner is not None else "",
        state=_state(found, ended, marking="how" in sent),
        line=line,
        began=f"{began:%H:%M}" if began is not None else "",
        since=_since(began, now) if began is not None and began.date() == now.date() else "",
        ended=f"{end_home:%H:%M}" if end_home is not None else "",
        took=took,
        watcher=name_of(unit.watcher, home) if unit is not None else "",
        aids=(", ".join(unit.aids) or say("no aids")) if unit is not None else "",
        room=tuple(say(line) for line in ROOM),
        asked=asked,
        needed=needed,
        questions=tuple(range(1, asked + 1)),
        ticked=frozenset(int(v) for name, v in posted if name == "q" and v.isdecimal() and len(v) < 5),
        right_typed=sent.get("right", ""),
        result=mark_words(unit.right, unit.asked, unit.needed)
        if unit is not None and unit.scored is not None
        else "",
        passed=unit is not None and unit.passed,
        follows=_follows(found),
        acts=_acts(found),
        record=_record(found, end_home),
        household=home.name,
        day=day_words(began.date()) if began is not None else day_words(now.date()),
        seen=sat.standing.last_seq,
        token=new_token(),
        copy_says=""
        if unit is not None or line is not None
        else say("This copy is {status}.", status=say(sat.standing.status)),
    )


def _state(found: SittingOf, ended: datetime | None, *, marking: bool) -> str:
    unit = found.sat.standing.unit
    if unit is None:
        return "near" if found.candidate is not None else "ahead"
    if unit.scored is not None:
        return "marked"
    over = ended is not None or marking or unit.day != found.now.date()
    return "ended" if over else "running"


def _follows(found: SittingOf) -> tuple[str, ...]:
    """What comes after a marked test, in sentences."""
    unit = found.sat.standing.unit
    if unit is None or unit.scored is None:
        return ()
    home, who = found.home, found.sat.learner.name if found.sat.learner is not None else say("The learner")
    day = home.programme.dispatch_day
    paper = say("The paper goes to the school with the next dispatch, on day {day} of the month.", day=day)
    if found.sat.standing.status is CopyStatus.SENT:
        paper = say("The paper has gone to the school.")
    if unit.passed:
        return (*_next_workbook(found, who), paper)
    missed = say("Go over what was missed with {learner}: the test itself is not corrected.", learner=who)
    if home.programme.rework is Rework.SAME_COPY:
        again = say(
            "Then the practice test of the same copy is opened again, and the unit test comes after it."
        )
    elif found.sat.standing.replaced_by is not None:
        again = say(
            "A new copy is ordered. It is worked again from the first page, and the test is sat again."
        )
    else:
        again = say(
            "A new copy is ordered. It is worked again from the first page, and then the test is sat again."
        )
    return (missed, again, paper)


def _next_workbook(found: SittingOf, who: str) -> tuple[str, ...]:
    if found.following is None:
        course = found.home.programme.course(found.sat.workbook.course).title
        return (say("That was the last workbook of {course}.", course=course),)
    title = found.following.title
    for _, status, expected in found.next_copies:
        if status is CopyStatus.IN_THE_HOUSE:
            return (
                say(
                    "Next for {learner}: {title}. A copy is in the house and may be issued.",
                    learner=who,
                    title=title,
                ),
            )
        if status is CopyStatus.ON_ORDER:
            if expected is None:
                return (say("Next for {learner}: {title}. A copy is on order.", learner=who, title=title),)
            return (
                say(
                    "Next for {learner}: {title}. A copy is on order, expected on {day}.",
                    learner=who,
                    title=title,
                    day=date_words(expected),
                ),
            )
    return (
        say("Next for {learner}: {title}. No copy is in the house or on order.", learner=who, title=title),
    )


def _acts(found: SittingOf) -> tuple[NextAct, ...]:
    standing = found.sat.standing
    unit = standing.unit
    if unit is None or unit.scored is None:
        return ()
    if standing.failed:
        if found.home.programme.rework is Rework.SAME_COPY:
            return (NextAct("open-practice", found.sat.copy, say("Open the practice test again")),)
        if standing.replaced_by is None:
            return (NextAct("reorder", found.sat.copy, say("Order a new copy")),)
        return ()
    there = next((copy for copy, status, _ in found.next_copies if status is CopyStatus.IN_THE_HOUSE), None)
    if there is not None and found.following is not None:
        return (NextAct("issue", there, say("Issue {title}", title=found.following.title)),)
    if found.following is not None and not found.next_copies:
        return (NextAct("order", found.following.code, say("Order {title}", title=found.following.title)),)
    return ()


def _record(found: SittingOf, ended: datetime | None) -> tuple[RecordRow, ...]:
    """The record of a sitting as it is printed: what happened, and nothing that was reckoned before it."""
    unit = found.sat.standing.unit
    if unit is None:
        return ()
    home, book = found.home, found.sat.workbook
    began = home.calendar.at_home(unit.at)
    learner = found.sat.learner
    who = learner.name if learner is not None else ""
    if learner is not None and learner.year is not None:
        who = say("{learner}, year {year}", learner=who, year=learner.year)
    course = home.programme.course(book.course).title
    scored = unit.scored is not None
    wrong = ", ".join(map(str, unit.wrong))
    if scored and not wrong:
        wrong = say("none") if unit.right == unit.asked else ""
    when = home.calendar.at_home(unit.scored) if unit.scored is not None else None
    return (
        RecordRow(say("Learner"), who),
        RecordRow(say("Workbook"), f"{book.title} ({found.sat.label}), {course}"),
        RecordRow(say("Attempt"), str(unit.attempt)),
        RecordRow(say("Day"), day_words(began.date())),
        RecordRow(say("Began"), f"{began:%H:%M}"),
        RecordRow(say("Ended"), f"{ended:%H:%M}" if ended is not None else ""),
        RecordRow(say("Watched by"), name_of(unit.watcher, home)),
        RecordRow(say("Aids on the table"), ", ".join(unit.aids) or say("none")),
        RecordRow(say("Questions wrong"), wrong),
        RecordRow(
            say("Right answers"),
            say("{right} of {asked}", right=unit.right, asked=unit.asked) if scored else "",
        ),
        RecordRow(
            say("Score needed"),
            say("{needed} of {asked}", needed=unit.needed, asked=unit.asked)
            if scored
            else say(
                "{needed} of {asked}",
                needed=home.programme.marks.unit_needed(book.unit_questions),
                asked=book.unit_questions,
            ),
        ),
        RecordRow(say("Result"), (say("passed") if unit.passed else say("not passed")) if scored else ""),
        RecordRow(
            say("Marked by"), f"{found.marked_by}, {date_words(when.date())}" if when is not None else ""
        ),
    )


def may_act(role: Role) -> bool:
    """Whether somebody begins and marks sittings."""
    return role is Role.EDUCATOR
