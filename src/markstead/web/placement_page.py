"""A placement on screen: what to ask next, and what is believed drawn as a ruled line over the sequence."""

from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from markstead.measure.placement import DEFAULT_STOPPING
from markstead.records.home import Home
from markstead.records.placements import PlacementNow, begun_courses, kept_placements
from markstead.speech import say
from markstead.web.first_courses import book_choices
from markstead.web.first_fields import Choice

BASE, HIGH = 74.0, 56.0
"""Where the rule lies, and how high the likeliest place stands above it."""
FLAT = 0.2
"""Where nothing is likelier than this, bars stay lower: an even belief shall look even."""
LEFT, WIDE = 12.0, 640.0
KNOWN_WELL = 0.8


@dataclass(frozen=True, slots=True)
class Bar:
    """What is believed of one place to begin."""

    x: str
    top: str
    words: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A short test that was taken, on the line."""

    x: str
    y: str
    well: bool
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """Everything that the drawing uses; lengths in the units of its view box."""

    width: str
    base: str
    rule: str
    strokes: str
    bars: tuple[Bar, ...]
    width_of_bar: str
    span: str
    flag: str
    marks: tuple[Mark, ...]
    numbers: tuple[tuple[str, str], ...]
    words: str


@dataclass(frozen=True, slots=True)
class TestRow:
    """One short test in the list."""

    book: str
    score: str
    well: bool


@dataclass(frozen=True, slots=True)
class PlacementPage:
    """Everything that the template may use."""

    learner: str
    name: str
    course: str
    course_title: str
    seen: int
    workbooks: tuple[Choice, ...]
    """By their place in the course."""
    books: tuple[Choice, ...]
    """By their code."""
    next_workbook: str
    next_questions: str
    next_words: str
    why_done: str
    guess: str
    rows: tuple[TestRow, ...]
    """The latest first."""
    svg: SafeString
    table: tuple[tuple[str, str], ...]
    sentences: tuple[str, ...]
    gaps: tuple[str, ...]
    advised: str
    """Code of the workbook that is advised; empty where the whole course is behind the learner."""
    taken: str
    taken_words: str
    begun: bool
    """A copy of the course is on the record: there is nothing to take any more."""


@dataclass(frozen=True, slots=True)
class ToPlace:
    """A course of a learner in which nothing is begun."""

    learner: str
    name: str
    course: str
    title: str
    tests: int
    wanted: bool
    """Somebody asked for help with it."""


def courses_to_place(home: Home) -> tuple[ToPlace, ...]:
    """Every course in which a learner has no copy yet, and how many short tests were taken in it."""
    begun = begun_courses(home)
    tests = {(p.learner, p.course): len(p.results) for p in kept_placements(home.id)}
    found = tuple(
        ToPlace(
            learner.id,
            learner.name,
            course,
            home.programme.course(course).title,
            tests.get((learner.id, course), 0),
            (learner.id, course) in tests,
        )
        for learner in home.learners
        for course in learner.courses
        if (learner.id, course) not in begun
    )
    return tuple(sorted(found, key=lambda one: not one.wanted))


def placement_view(now: PlacementNow) -> PlacementPage:
    """Put the page together."""
    course, advice = now.course, now.advice
    names = [f"{book.number}. {book.title}" for book in course.workbooks]
    ends = advice.begin > len(names)
    upcoming, next_words = now.next, ""
    if upcoming is not None:
        tenths = min(9, max(1, round(upcoming.passes * 10)))
        next_words = say(
            "Take {questions} questions from {title}: that tells most now. "
            "Of 10 such learners about {n} do well in it.",
            questions=upcoming.questions,
            title=names[upcoming.workbook - 1],
            n=tenths,
        )
    taken = next(
        (n for n, book in zip(names, course.workbooks, strict=True) if book.code == now.kept.taken), ""
    )
    line = line_of(now)
    return PlacementPage(
        now.learner.id,
        now.learner.name,
        course.id,
        course.title,
        len(now.kept.results),
        tuple(Choice(str(n), words) for n, words in enumerate(names, 1)),
        book_choices(course),
        str(upcoming.workbook) if upcoming is not None else "",
        str(upcoming.questions if upcoming is not None else DEFAULT_STOPPING.questions),
        next_words,
        _why_done(now),
        str(now.kept.guess or ""),
        tuple(
            TestRow(
                names[r.workbook - 1],
                say("{right} of {asked}", right=r.right, asked=r.asked),
                r.right >= KNOWN_WELL * r.asked,
            )
            for r in reversed(now.belief.results)
        ),
        SafeString(render_to_string("parts/placement_line.html", {"it": line}).strip()),
        tuple((bar.words, _of_hundred(p)) for bar, p in zip(line.bars, now.spread, strict=True)),
        advice.sentences,
        tuple(
            say(
                "{title}: {right} of {asked} right. Work it, or ask again about it.",
                title=names[gap.workbook - 1],
                right=gap.right,
                asked=gap.asked,
            )
            for gap in advice.gaps
        ),
        "" if ends else course.workbooks[advice.begin - 1].code,
        now.kept.taken,
        taken,
        (now.learner.id, course.id) in begun_courses(now.home),
    )


def _why_done(now: PlacementNow) -> str:
    if now.next is not None:
        return ""
    if now.advice.settled:
        return say(
            "Enough was asked: the place is at most one workbook from the advice in 9 of 10 such cases."
        )
    most = DEFAULT_STOPPING.most
    if now.advice.tests >= most:
        return say(
            "{most} short tests were taken, and more of them would tell little. A week of work tells more.",
            most=most,
        )
    return say("No workbook has fresh questions left. A week of work tells more.")


def _of_hundred(share: float) -> str:
    hundredths = round(share * 100)
    return say("{n} of 100", n=hundredths) if hundredths else say("hardly one of 100")


def _place_words(number: int, count: int) -> str:
    return say("workbook {number}", number=number) if number <= count else say("the end of the course")


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def line_of(now: PlacementNow) -> Line:
    """What is believed, drawn: a rule with a stroke for each workbook, a bar for each place to begin."""
    count, advice = len(now.course.workbooks), now.advice
    step = WIDE / (count + 1)

    def x(begin: int) -> float:
        """The middle of a place to begin, counted from 1; the last is the end of the course."""
        return LEFT + (begin - 0.5) * step

    most, bars = max(FLAT, *now.spread), []
    for begin, share in enumerate(now.spread, 1):
        where = say("begin with {number}", number=begin) if begin <= count else say("all are done")
        bars.append(Bar(_n(x(begin)), _n(BASE - HIGH * share / most), where))
    strokes = " ".join(f"M{_n(LEFT + n * step)} {_n(BASE)}v-7" for n in range(count + 2))
    low, high = LEFT + (advice.low - 1) * step + 2, LEFT + advice.high * step - 2
    span = f"M{_n(low)} {_n(BASE + 6)}v6H{_n(high)}v-6"
    above = BASE - HIGH * now.spread[advice.begin - 1] / most
    flag = f"M{_n(x(advice.begin))} {_n(above - 3)}v-13l9 4l-9 4"
    every = max(1, -(-count // 24))
    numbers = tuple((_n(x(n)), str(n)) for n in range(1, count + 1) if (n - 1) % every == 0)
    numbers += ((_n(x(count + 1)), "✓"),)
    marks, asked = [], dict.fromkeys(range(1, count + 1), 0)
    for result in now.belief.results:
        y = BASE + 36 + 13 * asked[result.workbook]
        asked[result.workbook] += 1
        well = result.right >= KNOWN_WELL * result.asked
        marks.append(
            Mark(
                _n(x(result.workbook)),
                _n(y),
                well,
                say(
                    "workbook {number}: {right} of {asked}",
                    number=result.workbook,
                    right=result.right,
                    asked=result.asked,
                ),
            )
        )
    words = say(
        "What is believed of {count} workbooks: begin with {begin}; "
        "likely from workbook {low} to {high}; {tests} short tests taken",
        count=count,
        begin=_place_words(advice.begin, count),
        low=min(advice.low, count),
        high=_place_words(advice.high, count),
        tests=advice.tests,
    )
    return Line(
        _n(LEFT * 2 + WIDE),
        _n(BASE),
        f"M{_n(LEFT)} {_n(BASE)}H{_n(LEFT + WIDE)}",
        strokes,
        tuple(bars),
        _n(max(3.0, step * 0.5)),
        span,
        flag,
        tuple(marks),
        numbers,
        words,
    )
