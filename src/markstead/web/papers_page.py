"""The page of all papers: what is to be sent, and for each learner what can be printed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from markstead.errors import InputError, Problem
from markstead.records import dispatches
from markstead.records.home import Home, Somebody
from markstead.records.required import chosen
from markstead.records.samples import counts as sample_counts
from markstead.records.term_reports import spans_of, written_counts
from markstead.rules.requirements import LOCAL_LAW, NONE
from markstead.rules.ruling import Role
from markstead.rules.spans import Span
from markstead.speech import begun, plural, say, span_words


@dataclass(frozen=True, slots=True)
class SpanChoice:
    """Days that a paper may be about."""

    value: str
    name: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class LearnerPapers:
    """What can be printed of a learner."""

    key: str
    name: str
    year: str
    written: str
    samples: str


@dataclass(frozen=True, slots=True)
class PapersPage:
    """Everything that the template of all papers may use."""

    dispatch: str
    late: bool
    month: str
    span: str
    span_value: str
    span_words: str
    learners: tuple[LearnerPapers, ...]
    left: tuple[LearnerPapers, ...]
    profile: str
    has_profile: bool
    law: str


def value_of(span: Span) -> str:
    """Days as a form and an address write them."""
    return f"{span.first}_{span.last}"


def days_of(text: str) -> tuple[date | None, date | None]:
    """Days as a form and an address write them; nothing: none are named.

    Raises:
        InputError: they are not written so.
    """
    if not text:
        return None, None
    first, _, last = text.partition("_")
    try:
        if len(first) == len(last) == 10:
            return date.fromisoformat(first), date.fromisoformat(last)
    except ValueError:
        pass
    allowed = say("two days, such as 2025-11-03_2025-12-19")
    raise InputError([Problem(say("days"), repr(text[:40]), allowed)])


def span_choices(home: Home, today: date, chosen_span: Span) -> tuple[SpanChoice, ...]:
    """The spans that a paper is usually asked for, and the one that is shown."""
    spans = list(spans_of(home, today))
    if all((s.first, s.last) != (chosen_span.first, chosen_span.last) for s in spans):
        spans.append(chosen_span)
    return tuple(
        SpanChoice(
            value_of(s),
            f"{begun(s.name)}: {span_words(s.first, s.last)}" if s.name else span_words(s.first, s.last),
            (s.first, s.last) == (chosen_span.first, chosen_span.last),
        )
        for s in spans
    )


def papers_page(home: Home, today: date, span: Span, headline: str, *, late: bool) -> PapersPage:
    """Look at what is to be sent and written; `span` is the term or period whose reports are due or come next."""
    rules = chosen(home.id)
    pack_month = dispatches.month_of(home, today)
    name = begun(span.name)
    once = [p for p in home.people.values() if p.role is Role.LEFT and p.year is not None]
    return PapersPage(
        headline,
        late,
        f"{pack_month:%Y-%m}",
        name,
        value_of(span),
        span_words(span.first, span.last),
        _learners(home, home.learners, span),
        _learners(home, once, span),
        say(rules.title),
        rules.id != NONE.id,
        say(LOCAL_LAW),
    )


def _learners(home: Home, people: Sequence[Somebody], span: Span) -> tuple[LearnerPapers, ...]:
    written, samples = written_counts(home, span), sample_counts(home)
    return tuple(
        LearnerPapers(
            p.key,
            p.name,
            say("year {year}", year=p.year) if p.year is not None else "",
            say("words for {written} of {courses}", written=written.get(p.id, 0), courses=len(p.courses))
            if p.courses
            else "",
            plural(samples.get(p.id, 0), "sample"),
        )
        for p in people
    )
