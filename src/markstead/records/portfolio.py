"""A portfolio: a learner's samples of some days, in order, with what each shows; as a page and as a PDF."""

import io
from dataclasses import dataclass
from datetime import date
from typing import Any

from markstead.ledger.serial import read_body
from markstead.records.figures import all_of
from markstead.records.home import Home, Somebody
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Entry as EntryRow
from markstead.records.samples import Kept, pictures_of, samples_of
from markstead.records.typeset import file_name, make_pdf
from markstead.records.words import fact_words
from markstead.rules.spans import Span
from markstead.speech import begun, date_words, plural, say, span_words

PRINTED_EDGE = 1500
"""Of a picture in a portfolio: half a page of A4 at 220 dots to the inch."""


@dataclass(frozen=True, slots=True)
class SampleLine:
    """A sample in words."""

    id: str
    day: str
    iso: str
    course: str
    workbook: str
    fact: str
    words: str
    pages: int
    size: str
    kind: str
    alt: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture of the portfolio's paper: a page of a sample."""

    file: str
    day: str
    title: str
    words: str
    alt: str
    upright: bool


@dataclass(frozen=True, slots=True)
class PortfolioView:
    """Everything that the page and the paper of a portfolio may use."""

    title: str
    household: str
    learner: str
    key: str
    year: str
    span_name: str
    span: str
    count: str
    samples: tuple[SampleLine, ...]
    pictures: tuple[Picture, ...]
    """For the paper; a page on screen shows the samples themselves."""
    file: str


def _course_and_book(home: Home, copy: str | None, codes: dict[str, str]) -> tuple[str, str]:
    book = home.programme.workbooks.get(codes.get(copy or "", ""))
    if book is None:
        return "", ""
    return home.programme.course(book.course).title, book.title


def sample_lines(home: Home, samples: tuple[Kept, ...]) -> tuple[SampleLine, ...]:
    """Samples in words; two questions to the database, whatever their number."""
    copies = {s.copy for s in samples if s.copy}
    codes = dict(CopyRow.objects.filter(household=home.id, id__in=copies).values_list("id", "workbook"))
    places = {s.entry for s in samples if s.entry is not None}
    rows = EntryRow.objects.filter(household=home.id, seq__in=places).values_list("seq", "body")
    facts = {seq: fact_words(read_body(body).fact, home) for seq, body in rows}
    found = []
    for one in samples:
        course, book = _course_and_book(home, one.copy, codes)
        name = home.people[one.learner].name if one.learner in home.people else say("somebody")
        what = one.words or all_of([course, book], ", ") or say("work")
        found.append(
            SampleLine(
                one.id,
                date_words(one.day),
                one.day.isoformat(),
                course,
                book,
                facts.get(one.entry or 0, ""),
                one.words,
                one.pages,
                say("{size:.1f} MiB", size=one.size / 2**20)
                if one.size >= 2**20
                else say("{size} KiB", size=max(1, one.size // 1024)),
                "PDF" if one.kind == "application/pdf" else say("picture"),
                say("Sample of {learner}, {day}: {what}", learner=name, day=date_words(one.day), what=what),
                one.width,
                one.height,
            )
        )
    return tuple(found)


def portfolio_view(home: Home, learner: Somebody, span: Span) -> PortfolioView:
    """A learner's samples of some days, in words."""
    lines = sample_lines(home, samples_of(home, learner=learner.id, first=span.first, last=span.last))
    return _view(home, learner, span, lines, ())


def _view(
    home: Home,
    learner: Somebody,
    span: Span,
    lines: tuple[SampleLine, ...],
    pictures: tuple[Picture, ...],
) -> PortfolioView:
    return PortfolioView(
        title=say("Portfolio"),
        household=home.name,
        learner=learner.name,
        key=learner.key,
        year=say("year {year}", year=learner.year) if learner.year is not None else "",
        span_name=begun(span.name),
        span=span_words(span.first, span.last),
        count=plural(len(lines), "sample"),
        samples=lines,
        pictures=pictures,
        file=file_name("portfolio", learner.key, str(span.first), str(span.last)),
    )


def as_pdf(home: Home, learner: Somebody, span: Span, *, day: date, paper: str) -> bytes:
    """The portfolio on paper: each picture with its day and what it shows.

    Raises:
        InputError: there is no such paper.
        UnknownError: a file of a sample is not in the folder any more.
    """
    kept = samples_of(home, learner=learner.id, first=span.first, last=span.last)
    lines = sample_lines(home, kept)
    files: dict[str, bytes] = {}
    pictures = []
    for one, line in zip(kept, lines, strict=True):
        drawn = pictures_of(one)
        for number, content in enumerate(drawn, 1):
            name = f"{one.id}-{number}.jpg"
            files[name], upright = _for_print(content)
            title = all_of([line.course, line.workbook], ", ")
            page = say("page {number} of {of}", number=number, of=len(drawn)) if len(drawn) > 1 else ""
            words = all_of([line.words, line.fact, page], ". ")
            pictures.append(Picture(name, line.day, title or say("Work"), words, line.alt, upright))
    view = _view(home, learner, span, lines, tuple(pictures))
    return make_pdf("portfolio", view, day=day, paper=paper, pictures=files)


def _for_print(content: bytes) -> tuple[bytes, bool]:
    """A picture at the size at which it is printed, as JPEG; and whether it stands upright."""
    from PIL import Image

    picture: Any = Image.open(io.BytesIO(content), formats=["JPEG", "PNG"])
    picture.thumbnail((PRINTED_EDGE, PRINTED_EDGE), Image.Resampling.LANCZOS)
    file = io.BytesIO()
    picture.convert("RGB").save(file, "JPEG", quality=84)
    return file.getvalue(), picture.height > picture.width
