"""The learner's day sheet: today's goals, and boxes for what became of them."""

from dataclasses import dataclass

from markstead.paper.compose import (
    CAPTION,
    FLAG_SIZE,
    FLAG_TEXT,
    LABEL_HEIGHT,
    ROW_WIDTH,
    Composer,
    ascent,
    text_size,
)
from markstead.paper.layout import BOX, FLAG_BOX, ROW, ROW_PITCH, Asks, Group, Kind, Paper, Sheet, slot
from markstead.paper.ruler import Workbook, draw_ruler
from markstead.speech import begun, say

HALF = ROW // 2
MINUTES = (5, 10, 15, 20, 25, 30, 40, 50, 60, 90)
"""Minutes that a box may mean, where the caller wishes no others."""
TITLE_HEIGHT, CAPTION_HEIGHT, AFTER_COURSE = 8.6, 5.0, 1.6
SUBJECT_WIDTH = 49.0
CHANGE, CHANGES, AFTER_CHANGES = 10.5, 2, 3.5
"""Height of a line for a change by hand, how many there are where there is room, and what is left free below them."""


@dataclass(frozen=True, slots=True)
class StopToMark:
    """A marking stop that the learner may reach today, with the questions that may turn out wrong."""

    stop: str
    words: str
    """As people say it: ``section 3, pages 21 to 30``."""
    questions: tuple[int, ...]
    again: bool = False
    """It is a re-marking: only the questions that were wrong are asked about."""
    re_marked: bool = False
    """There is a box beside it for a re-marking on the same day at which all was right."""


@dataclass(frozen=True, slots=True)
class Score:
    """A test whose right answers are counted in two rows of digits: tens and ones."""

    step: str
    words: str
    asked: int


@dataclass(frozen=True, slots=True)
class Course:
    """One course on a learner's day."""

    copy: str
    subject: str
    book: Workbook
    goal: tuple[int, int] | None = None
    goal_words: str = ""
    """In place of pages, where the goal is a test or a marking."""
    pages: tuple[int, ...] = ()
    """Pages that get a box; the goal and a few after it."""
    stops: tuple[StopToMark, ...] = ()
    scores: tuple[Score, ...] = ()


@dataclass(frozen=True, slots=True)
class Day:
    """Everything that a day sheet says."""

    learner: str
    """The learner's id in the record; it stands in the layout and not in the code."""
    name: str
    age: int
    day: str
    """The day in words."""
    courses: tuple[Course, ...]
    minutes: tuple[int, ...] = MINUTES
    notes: tuple[str, ...] = ()
    presence: tuple[tuple[str, str], ...] = ()
    """How much of the day the learner may have been at school, one box each: a value and its words."""


def day_sheet(day: Day, *, sheet_id: str, paper: Paper = Paper.A4) -> Sheet:
    """Lay out a learner's day.

    Raises:
        ValueError: more than ten boxes for minutes, a score above 99, or one copy twice.
    """
    if not 1 <= len(day.minutes) <= HALF:
        raise ValueError(f"{len(day.minutes)} boxes for minutes; wanted are 1 to {HALF}")
    on = Composer(paper, text_size(day.age))
    for note in day.notes:
        on.text(on.left, on.y, on.width, note, on.size)
        on.y += on.size * 0.5
    on.y += 1.0 if day.notes else 0.0
    if day.presence:
        _presence(on, day)
    for course in day.courses:
        _course(on, day, course)
    _changes(on, day)
    return on.sheet(sheet_id, Kind.DAY, day.name, day.day)


def _presence(on: Composer, day: Day) -> None:
    """Boxes for how much of the day the learner was at school, from the left."""
    group = on.group(Group("day/presence", Asks.ONE_OF, say("At school"), day.learner))
    on.text(on.left, on.y + FLAG_TEXT, 20.0, say("At school"), FLAG_SIZE, 600)
    x = on.left + 22.0
    for value, words in day.presence:
        on.box(group, value, x, on.y, FLAG_BOX)
        on.text(x + FLAG_BOX + 1.8, on.y + FLAG_TEXT, 32.0, words, FLAG_SIZE, 500)
        x += 44.0
    on.y += FLAG_BOX + 2.5


def _course(on: Composer, day: Day, course: Course) -> None:
    rows = max(1, -(-len(course.pages) // HALF))
    on.need(TITLE_HEIGHT + _goal_height(on) + rows * ROW_PITCH)
    on.line(on.left, on.y - 0.6, on.left + ROW_WIDTH, on.y - 0.6, 0.35)
    _title(on, day, course)
    _pages_and_minutes(on, day, course, rows)
    for stop in course.stops:
        _stop(on, day, course, stop)
    for score in course.scores:
        _score(on, day, course, score)
    on.y += AFTER_COURSE


def _title(on: Composer, day: Day, course: Course) -> None:
    right = on.left + ROW_WIDTH
    key, y = course.copy, on.y + 0.2
    left = right
    if course.goal is not None:
        done = say("all done")
        ask = Group(f"{key}/all done", Asks.ALL_DONE, f"{course.subject}: {done}", day.learner, key)
        value = f"{course.goal[0]}-{course.goal[1]}"
        left = on.flag(on.group(ask), value, done, right, y, 14.0) - 2.0
    for name, asks, words in (
        ("helped", Asks.HELPED, say("had help")),
        ("wants", Asks.WANTS_HELP, say("wants help")),
    ):
        ask = Group(f"{key}/{name}", asks, f"{course.subject}: {words}", day.learner, key)
        left = on.flag(on.group(ask), "yes", words, left, y, 16.0 if name == "wants" else 14.0) - 2.0
    on.text(on.left, y + 0.8, SUBJECT_WIDTH - 2.0, course.subject, on.size + 1.5, 700)
    on.text(on.left + SUBJECT_WIDTH, y + 5.7, left - on.left - SUBJECT_WIDTH, course.book.title, 7.5)
    draw_ruler(on, course.book, on.left + SUBJECT_WIDTH, y, left - on.left - SUBJECT_WIDTH, course.goal)
    on.y += TITLE_HEIGHT


def _goal_height(on: Composer) -> float:
    """Room for the goal in words: more for the larger letters of the youngest."""
    return CAPTION_HEIGHT + 0.45 * (on.size - 10.0)


def _goal_words(course: Course) -> str:
    if course.goal_words or course.goal is None:
        return say("Goal: {goal}", goal=course.goal_words) if course.goal_words else say("No goal today")
    first, last = course.goal
    if last > first:
        return say("Goal: pages {first} to {last}", first=first, last=last)
    return say("Goal: page {number}", number=first)


def _pages_and_minutes(on: Composer, day: Day, course: Course, rows: int) -> None:
    # Beside it hangs the title of the workbook, under its ruler.
    on.text(on.left, on.y - 0.9, SUBJECT_WIDTH - 2.0, _goal_words(course), on.size, 600)
    level = on.y - 0.9 + ascent(on.size) - ascent(CAPTION)
    on.text(on.left + slot(HALF), level, ROW_WIDTH - slot(HALF), say("Minutes: one box"), CAPTION, 500)
    on.y += _goal_height(on)
    if course.pages:
        words = say("{subject}: pages done", subject=course.subject)
        group = on.group(Group(f"{course.copy}/pages", Asks.PAGES, words, day.learner, course.copy))
        for row in range(rows):
            for n, page in enumerate(course.pages[row * HALF : (row + 1) * HALF]):
                x, y = on.left + slot(n), on.y + LABEL_HEIGHT + row * ROW_PITCH
                on.box(group, str(page), x, y, BOX, str(page))
    words = say("{subject}: minutes", subject=course.subject)
    ask = Group(f"{course.copy}/minutes", Asks.MINUTES, words, day.learner, course.copy)
    on.row(on.group(ask), [(str(m), str(m)) for m in day.minutes], HALF)
    on.y += rows * ROW_PITCH


def _stop(on: Composer, day: Day, course: Course, stop: StopToMark) -> None:
    goes_on = on.need(CAPTION_HEIGHT + 2.0 + ROW_PITCH)
    key, what = f"{course.copy}/{stop.stop}", f"{course.subject}, {stop.words}"

    def group(name: str, asks: Asks, words: str) -> str:
        return on.group(Group(f"{key}/{name}", asks, f"{what}: {words}", day.learner, course.copy, stop.stop))

    right, y = on.left + ROW_WIDTH, on.y - 0.6
    if stop.re_marked:
        flag = say("re-marked, all right")
        right = on.flag(group("cleared", Asks.CLEARED, flag), "yes", flag, right, y, 31.0) - 2.0
    flag = say("all right")
    named = group("right", Asks.CLEARED if stop.again else Asks.ALL_RIGHT, flag)
    right = on.flag(named, "yes", flag, right, y, 14.0) - 2.0
    # At the head of a page the title of the course stands on the page before.
    at = what if goes_on else stop.words
    if stop.again:
        caption = say("Re-marking, {stop}: colour what is still wrong", stop=at)
        more = say("{stop}, continued: colour what is still wrong", stop=what)
    else:
        caption = say("Marking, {stop}: colour what is wrong", stop=at)
        more = say("{stop}, continued: colour what is wrong", stop=what)
    level = y + FLAG_TEXT + ascent(FLAG_SIZE) - ascent(CAPTION)
    on.text(on.left, level, right - on.left, caption, CAPTION, 500)
    on.y += CAPTION_HEIGHT
    asks, words = (Asks.STILL_WRONG, say("still wrong")) if stop.again else (Asks.WRONG, say("wrong"))
    questions = group("wrong", asks, words)
    # The flags reach into the first row of boxes where that is a long one.
    on.y += 1.8 if len(stop.questions) > (ROW - 10 if stop.re_marked else ROW - 4) else 0.8
    on.rows(questions, [(str(q), str(q)) for q in stop.questions], more)


def _score(on: Composer, day: Day, course: Course, score: Score) -> None:
    if not 1 <= score.asked <= 99:
        raise ValueError(f"{score.asked} questions in a test; wanted is 1 to 99")
    # At the head of a page the title of the course stands on the page before.
    said = f"{course.subject}, {score.words}" if on.need(CAPTION_HEIGHT + ROW_PITCH) else score.words
    score_rows(
        on,
        f"{course.copy}/{score.step}",
        f"{course.subject}, {score.words}",
        day.learner,
        course.copy,
        score.step,
        score.asked,
        say("{test}, right answers of {asked}: tens", test=begun(said), asked=score.asked),
    )


def score_rows(
    on: Composer,
    key: str,
    words: str,
    learner: str,
    copy: str,
    step: str,
    asked: int,
    caption: str = "",
) -> None:
    """Put the two runs of digits for a score: tens in the left half of a row, ones in the right."""
    on.caption(caption or say("Right answers of {asked}: tens", asked=asked), None, slot(HALF) - 4.0)
    on.caption(say("ones"), on.left + slot(HALF))
    on.y += CAPTION_HEIGHT
    digits = [(str(d), str(d)) for d in range(10)]
    tens = Group(f"{key}/tens", Asks.TENS, say("{test}: tens", test=words), learner, copy, step, asked)
    ones = Group(f"{key}/ones", Asks.ONES, say("{test}: ones", test=words), learner, copy, step, asked)
    on.row(on.group(tens), digits)
    on.row(on.group(ones), digits, HALF)
    on.y += ROW_PITCH


def _changes(on: Composer, day: Day) -> None:
    """Lines for what was changed by hand: two, or one where no page has more room, or one that begins with its words.

    Where not even that fits there is none: no page is printed for it alone.
    """
    words = say("Changed today? Write it here and colour the box of the line.")
    for lines in range(CHANGES, 0, -1):
        height = 2.0 + lines * CHANGE + 0.5
        if on.to_foot(height):
            on.y = max(on.y, on.bottom - height - AFTER_CHANGES) + 2.0
            on.line(on.left, on.y - 2.0, on.left + ROW_WIDTH, on.y - 2.0, 0.35)
            on.caption(words)
            for n in range(1, lines + 1):
                on.y += CHANGE
                _change(on, day, n)
            return
    if on.to_foot(FLAG_BOX + 2.0):
        on.line(on.left, on.y, on.left + ROW_WIDTH, on.y, 0.35)
        on.y += FLAG_BOX + 1.0
        on.text(on.left, on.y - 4.5, 0.6 * ROW_WIDTH, words, CAPTION, 500)
        _change(on, day, 1)


def _change(on: Composer, day: Day, n: int) -> None:
    """One line to write on and its box."""
    words = say("line {number} was changed by hand", number=n)
    group = on.group(Group(f"changed/{n}", Asks.CHANGED, words, day.learner))
    on.box(group, "yes", on.left + ROW_WIDTH - FLAG_BOX, on.y - FLAG_BOX + 0.5, FLAG_BOX)
    on.line(on.left, on.y, on.left + ROW_WIDTH - FLAG_BOX - 3.0, on.y, 0.2, 45)
