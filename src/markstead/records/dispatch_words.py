"""The month's dispatch in words: one frozen page that the screen and the cover sheet both show."""

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from markstead.records.dispatches import Held, Pack, Paper, Sent
from markstead.records.figures import percent
from markstead.records.typeset import file_name, make_pdf
from markstead.rules.requirements import LOCAL_LAW
from markstead.rules.spans import month_before, next_month
from markstead.speech import (
    and_words,
    counted,
    date_words,
    day_words,
    later,
    month_words,
    ordinal,
    plural,
    say,
    short_day_of_month,
)

CHECKS = (
    later("Every paper in the list lies in the parcel, and no other."),
    later("Each paper bears the learner's name, the workbook and the day on which it was sat."),
    later("Each paper is marked with the test key, and its result is the one in the list."),
    later("A copy or a photograph of each paper stays in the house."),
    later("This sheet lies on top; the tracking number is noted once the parcel has gone."),
)
"""What is looked at before the parcel is closed. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class PaperLine:
    """One paper in the list."""

    copy: str
    course: str
    number: str
    title: str
    label: str
    sat: str
    result: str
    share: str
    verdict: str
    attempt: str
    note: str


@dataclass(frozen=True, slots=True)
class LearnerPapers:
    """The papers of one learner."""

    name: str
    year: str
    count: str
    papers: tuple[PaperLine, ...]


@dataclass(frozen=True, slots=True)
class HeldLine:
    """A paper that does not go."""

    learner: str
    title: str
    why: str
    blocks: bool


@dataclass(frozen=True, slots=True)
class SentLine:
    """A dispatch that went, and whose papers were in it."""

    day: str
    papers: str
    learners: str
    tracking: str
    act: str


@dataclass(frozen=True, slots=True)
class DispatchView:
    """Everything that the page and the cover sheet of a dispatch may use."""

    title: str
    household: str
    month: str
    month_name: str
    day: str
    day_name: str
    """What that day is: when it goes, was to go, or went."""
    why_day: str
    """Why it is not the programme's own day."""
    headline: str
    late: bool
    going: int
    learners: tuple[LearnerPapers, ...]
    total: str
    missing: tuple[HeldLine, ...]
    """Sat before the programme's day, and not in the parcel."""
    newer: tuple[HeldLine, ...]
    """Sat since: they are no part of it."""
    newer_note: str
    nothing_from: str
    sent: tuple[SentLine, ...]
    before: tuple[SentLine, ...]
    before_name: str
    checks: tuple[str, ...]
    earlier: str
    later: str
    law: str
    file: str


def dispatch_view(pack: Pack) -> DispatchView:
    """Put a dispatch into words."""
    home = pack.home
    papers = pack.papers
    return DispatchView(
        title=say("Test papers for the school"),
        household=home.name,
        month=f"{pack.month:%Y-%m}",
        month_name=month_words(pack.month),
        day=day_words(pack.day),
        day_name=say("Was to go on") if pack.is_late else say("Goes on"),
        why_day=_why_day(pack),
        headline=_headline(pack),
        late=pack.is_late,
        going=len(pack.going),
        learners=_by_learner(pack, papers),
        total=plural(len(papers), "paper"),
        missing=tuple(_held(one) for one in pack.held if one.blocks),
        newer=tuple(_held(one) for one in pack.held if not one.blocks),
        newer_note=_newer(pack),
        nothing_from=_nothing_from(pack),
        sent=tuple(_sent(one) for one in pack.sent),
        before=tuple(_sent(one) for one in pack.before),
        before_name=month_words(month_before(pack.month)),
        checks=tuple(say(one) for one in CHECKS),
        earlier=f"{month_before(pack.month):%Y-%m}",
        later=f"{next_month(pack.month):%Y-%m}",
        law=say(LOCAL_LAW),
        file=file_name("dispatch", f"{pack.month:%Y-%m}"),
    )


def _why_day(pack: Pack) -> str:
    if pack.day == pack.nominal:
        return ""
    why = pack.home.calendar.why_closed(pack.nominal)
    return say("The {day} is {why}.", day=ordinal(pack.nominal.day), why=why) if why else ""


def _headline(pack: Pack) -> str:
    count = len(pack.going)
    if not count:
        if pack.sent:
            return say("Every paper of this month has gone.")
        return say("No marked paper waits.") if pack.today < pack.day else say("There is no paper to send.")
    if pack.today > pack.day:
        return counted(
            count,
            "{n} paper is late: it was to go on {day}.",
            "{n} papers are late: they were to go on {day}.",
            day=day_words(pack.day),
        )
    if pack.today == pack.day:
        return counted(count, "{n} paper goes today.", "{n} papers go today.")
    return counted(
        count,
        "{n} paper goes on {day}, as it stands now.",
        "{n} papers go on {day}, as it stands now.",
        day=day_words(pack.day),
    )


def _by_learner(pack: Pack, papers: tuple[Paper, ...]) -> tuple[LearnerPapers, ...]:
    order = {course: n for n, course in enumerate(pack.home.programme.courses)}
    found = []
    groups = [*pack.home.people.values(), None]
    for who in groups:
        own = [p for p in papers if (p.learner.id if p.learner else None) == (who.id if who else None)]
        if own:
            own.sort(key=lambda p: (order.get(p.book.course, 0), p.sat, p.label))
            name = who.name if who is not None else say("somebody who is no longer named")
            year = ""
            if who is not None and who.year is not None:
                year = say("year {year}", year=who.year)
            found.append(LearnerPapers(name, year, plural(len(own), "paper"), tuple(_paper(p) for p in own)))
    return tuple(found)


def _paper(paper: Paper) -> PaperLine:
    return PaperLine(
        paper.copy,
        paper.course,
        str(paper.book.number),
        paper.book.title,
        paper.label,
        short_day_of_month(paper.sat),
        say("{part} of {whole}", part=paper.right, whole=paper.asked),
        percent(Fraction(paper.right, paper.asked)),
        say("passed") if paper.passed else say("not passed"),
        ordinal(paper.attempt) if paper.attempt > 1 else "",
        say("late, of an earlier month") if paper.late else "",
    )


def _newer(pack: Pack) -> str:
    count = sum(not one.blocks for one in pack.held)
    if not count:
        return ""
    return counted(
        count,
        "{n} newer paper of unit tests since {day}. It goes with the next dispatch.",
        "{n} newer papers of unit tests since {day}. They go with the next dispatch.",
        day=date_words(pack.nominal),
    )


def _held(held: Held) -> HeldLine:
    name = held.learner.name if held.learner is not None else say("somebody")
    return HeldLine(name, f"{held.course}, {held.book.title}", held.why, held.blocks)


def _nothing_from(pack: Pack) -> str:
    if not pack.nothing_from or not pack.papers:
        return ""
    names = and_words(p.name for p in pack.nothing_from)
    return say("No paper from {learners}: no unit test was marked.", learners=names)


def _sent(sent: Sent) -> SentLine:
    names: dict[str, int] = {}
    for paper in sent.papers:
        name = paper.learner.name if paper.learner is not None else say("somebody")
        names[name] = names.get(name, 0) + 1
    whose = ", ".join(f"{name} {count}" for name, count in names.items())
    return SentLine(date_words(sent.day), plural(len(sent.papers), "paper"), whose, sent.tracking, sent.act)


def as_pdf(view: DispatchView, *, day: date, paper: str) -> bytes:
    """The cover sheet.

    Raises:
        InputError: there is no such paper.
    """
    return make_pdf("dispatch", view, day=day, paper=paper)


def as_values(pack: Pack) -> dict[str, Any]:
    """The dispatch as plain values, for JSON."""
    return {
        "month": f"{pack.month:%Y-%m}",
        "day": pack.day.isoformat(),
        "programme_day": pack.nominal.isoformat(),
        "late": pack.is_late,
        "going": [_paper_values(p) for p in pack.going],
        "held": [
            {
                "copy": h.copy,
                "workbook": h.book.code,
                "learner": h.learner.key if h.learner else None,
                "why": h.why,
                "missing": h.blocks,
            }
            for h in pack.held
        ],
        "nothing_from": [p.key for p in pack.nothing_from],
        "sent": [_sent_values(s) for s in pack.sent],
        "sent_before": [_sent_values(s) for s in pack.before],
    }


def _paper_values(paper: Paper) -> dict[str, Any]:
    return {
        "copy": paper.copy,
        "workbook": paper.book.code,
        "learner": paper.learner.key if paper.learner else None,
        "attempt": paper.attempt,
        "sat": paper.sat.isoformat(),
        "marked": paper.marked.isoformat(),
        "right": paper.right,
        "asked": paper.asked,
        "passed": paper.passed,
        "late": paper.late,
    }


def _sent_values(sent: Sent) -> dict[str, Any]:
    return {
        "dispatch": sent.dispatch,
        "day": sent.day.isoformat(),
        "tracking": sent.tracking,
        "papers": [_paper_values(p) for p in sent.papers],
    }
