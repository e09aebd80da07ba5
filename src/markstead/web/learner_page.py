"""A learner's own page, for the educator: readiness, what to mark again, pace and review in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from markstead.measure.pace import DaysToFinish, Pace
from markstead.measure.readings import CoursePace
from markstead.records.estimates import LearnerPage, ReviewLine, SpotLine
from markstead.records.home import Home
from markstead.records.queries import CopyView
from markstead.speech import counted, day_of_month, day_words, say
from markstead.web.kept import piece
from markstead.web.pages import drawn, new_token
from markstead.web.plots import PacePlot, pace_plot
from markstead.web.quiz_page import where_words
from markstead.web.ready import ReadinessWords, readiness_words


@dataclass(frozen=True, slots=True)
class BookLine:
    """A workbook in hand."""

    id: str
    title: str
    course: str
    ruler: SafeString
    ready: ReadinessWords | None
    finish: str


@dataclass(frozen=True, slots=True)
class PaceLine:
    """The pace of one course."""

    course: str
    pages: str
    minutes: str
    finish: str
    rests_on: str
    plot: PacePlot
    svg: SafeString


@dataclass(frozen=True, slots=True)
class ReviewRow:
    """One question to go back to."""

    what: str
    where: str
    workbook: str
    copy: str
    stop: str
    question: int
    last: str
    recall: str


@dataclass(frozen=True, slots=True)
class LearnerView:
    """Everything that the template of a learner's page may use."""

    id: str
    name: str
    year: str
    day: str
    books: tuple[BookLine, ...]
    spot: "SpotView"
    paces: tuple[PaceLine, ...]
    review: tuple[ReviewRow, ...]
    review_sentence: str
    minutes: int
    choices: tuple[int, ...]
    notes: tuple[str, ...]
    token: str


@dataclass(frozen=True, slots=True)
class SpotRow:
    """One tick to mark again."""

    copy: str
    stop: str
    question: int
    where: str
    book: str
    name: str
    chosen: str = ""
    """What was chosen before and could not be taken."""


@dataclass(frozen=True, slots=True)
class SpotView:
    """What to mark again of a learner's latest ticks."""

    rows: tuple[SpotRow, ...]
    sentence: str
    looked: str
    day: str


def days_words(found: DaysToFinish | None) -> str:
    """Days to the last page, with their range."""
    if found is None:
        return say("no workbook in hand")
    if found.expected == 0:
        return say("all pages are worked")
    return counted(
        found.expected,
        "about {n} school day ({low} to {high})",
        "about {n} school days ({low} to {high})",
        low=found.low90,
        high=found.high90,
    )


def pages_words(pace: Pace) -> str:
    return say(
        "{pages:.1f} a day ({low:.1f} to {high:.1f})", pages=pace.pages_a_day, low=pace.low, high=pace.high
    )


def minutes_words(pace: Pace) -> str:
    if pace.minutes_a_page is None or pace.minutes_low is None or pace.minutes_high is None:
        return say("no minutes noted")
    return say(
        "{minutes:.0f} min a page ({low:.0f} to {high:.0f})",
        minutes=pace.minutes_a_page,
        low=pace.minutes_low,
        high=pace.minutes_high,
    )


def _pace_line(course: CoursePace, home: Home) -> PaceLine:
    plot = pace_plot(course)
    days = course.pace.days
    return PaceLine(
        course=home.programme.course(course.course).title,
        pages=pages_words(course.pace),
        minutes=minutes_words(course.pace),
        finish=days_words(course.finish),
        rests_on=(say("{n} days with a goal", n=days) if course.by_goals else say("{n} school days", n=days)),
        plot=plot,
        svg=piece("parts/pace_plot.html", plot),
    )


def spot_view(spot: SpotLine, posted: Mapping[str, str]) -> SpotView:
    """Put a spot check into words; `posted` is what was chosen before."""
    return SpotView(
        rows=tuple(
            SpotRow(
                t.copy,
                t.stop,
                t.question,
                where_words(t.stop, t.question),
                spot.titles[t.copy],
                f"t{n}",
                posted.get(f"t{n}", ""),
            )
            for n, t in enumerate(spot.ticks)
        ),
        sentence=spot.sentence,
        looked=spot.looked,
        day=day_words(spot.day) if spot.day else "",
    )


def _review_row(line: ReviewLine) -> ReviewRow:
    return ReviewRow(
        what=line.topic,
        where=where_words(line.stop, line.question),
        workbook=line.workbook,
        copy=line.copy,
        stop=line.stop,
        question=line.question,
        last=day_of_month(line.last),
        recall=say("{low:.0f} to {high:.0f} of 10", low=10 * line.low, high=10 * line.high),
    )


def learner_view(
    page: LearnerPage,
    copies: Sequence[CopyView],
    home: Home,
    minutes: int,
    posted: Mapping[str, str],
) -> LearnerView:
    """Put a learner's page into words; `posted` is what was entered and could not be taken."""
    finish = {course.copy: days_words(course.finish) for course in page.paces if course.copy}
    order = {course: place for place, course in enumerate(page.learner.courses)}
    books = tuple(
        BookLine(
            id=view.id,
            title=view.workbook.title,
            course=home.programme.course(view.workbook.course).title,
            ruler=drawn(view, home, page.today),
            ready=readiness_words(page.readings[view.id])
            if view.id in page.readings and view.standing.unit is None
            else None,
            finish=finish.get(view.id, ""),
        )
        for view in sorted(copies, key=lambda v: order.get(v.workbook.course, len(order)))
    )
    return LearnerView(
        id=page.learner.id,
        name=page.learner.name,
        year=say("year {year}", year=page.learner.year) if page.learner.year is not None else "",
        day=day_words(page.today),
        books=books,
        spot=spot_view(page.spot, posted),
        paces=tuple(_pace_line(course, home) for course in page.paces),
        review=tuple(_review_row(line) for line in page.review),
        review_sentence=page.review_sentence,
        minutes=minutes,
        choices=(2, 5, 10, 15),
        notes=page.notes,
        token=new_token(),
    )
