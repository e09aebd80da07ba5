"""The sitting sheet: one unit test, what is asked of the room, who watched, and what came of it."""

from dataclasses import dataclass

from markstead.paper.compose import FLAG_TEXT, ROW_WIDTH, Composer, text_size
from markstead.paper.day import CAPTION_HEIGHT, score_rows
from markstead.paper.layout import FLAG_BOX, ROW_PITCH, Asks, Group, Kind, Paper, Sheet
from markstead.speech import later, say

ROOM = (
    later("The table is clear: the workbook is shut and out of reach, only what is allowed lies there."),
    later("The room is quiet, and nobody helps or explains a question."),
    later("The watcher stays from the first question to the last and takes the paper at the end."),
)
"""What is asked of the room, unless the caller says otherwise."""
MOST_NOTES, NOTE_PITCH = 5, 9.5


@dataclass(frozen=True, slots=True)
class Sitting:
    """Everything that a sitting sheet says."""

    learner: str
    name: str
    age: int
    day: str
    subject: str
    workbook: str
    copy: str
    attempt: int
    questions: int
    needed: int
    """Right answers that pass."""
    hours: str
    """When it may be sat: ``from 8:30 to 12:00``."""
    aids: tuple[str, ...] = ()
    watchers: tuple[tuple[str, str], ...] = ()
    """Who may watch: an id and a name."""
    room: tuple[str, ...] = ROOM


def sitting_sheet(sitting: Sitting, *, sheet_id: str, paper: Paper = Paper.A4) -> Sheet:
    """Lay out the sheet of a unit test.

    Raises:
        ValueError: the test has no questions or more than 99.
    """
    if not 1 <= sitting.questions <= 99:
        raise ValueError(f"{sitting.questions} questions in a test; wanted is 1 to 99")
    on = Composer(paper, text_size(sitting.age))
    _what(on, sitting)
    _room(on, sitting)
    _people(on, sitting)
    _result(on, sitting)
    return on.sheet(sheet_id, Kind.SITTING, say("{name}: unit test", name=sitting.name), sitting.day)


def _what(on: Composer, sitting: Sitting) -> None:
    on.text(on.left, on.y, on.width, f"{sitting.subject}: {sitting.workbook}", on.size + 3, 700)
    on.y += 8.0
    which = (
        say("First sitting")
        if sitting.attempt == 1
        else say("Sitting number {number}", number=sitting.attempt)
    )
    words = say(
        "{sitting}, {hours}. {questions} questions; {needed} right answers pass.",
        sitting=which,
        hours=sitting.hours,
        questions=sitting.questions,
        needed=sitting.needed,
    )
    on.text(on.left, on.y, on.width, words, on.size)
    on.y += 8.0


def _room(on: Composer, sitting: Sitting) -> None:
    on.line(on.left, on.y, on.left + ROW_WIDTH, on.y, 0.35)
    on.y += 2.0
    on.text(on.left, on.y, on.width, say("The room"), on.size, 700)
    on.y += 6.5
    for words in sitting.room:
        on.line(on.left, on.y + 2.6, on.left + 3.0, on.y + 2.6, 0.3)
        on.text(on.left + 5.0, on.y, on.width - 5.0, say(words), 10.0)
        on.y += 5.8
    allowed = say("Allowed: {aids}", aids=", ".join(sitting.aids) or say("nothing"))
    on.text(on.left, on.y + 1.0, on.width, allowed, on.size, 600)
    on.y += 9.0


def _people(on: Composer, sitting: Sitting) -> None:
    on.line(on.left, on.y, on.left + ROW_WIDTH, on.y, 0.35)
    on.y += 2.0
    if sitting.aids:
        on.caption(say("Lay on the table: colour each"))
        on.y += CAPTION_HEIGHT + 1.0
        group = Group(
            f"{sitting.copy}/aids",
            Asks.ANY_OF,
            say("aids on the table"),
            sitting.learner,
            sitting.copy,
            "unit",
        )
        _choices(on, on.group(group), [(aid, aid) for aid in sitting.aids])
    if sitting.watchers:
        on.caption(say("Watched by: colour one"))
        on.y += CAPTION_HEIGHT + 1.0
        group = Group(
            f"{sitting.copy}/watcher", Asks.ONE_OF, say("watched by"), sitting.learner, sitting.copy, "unit"
        )
        _choices(on, on.group(group), list(sitting.watchers))
    on.y += 8.0
    third = ROW_WIDTH / 3
    for n, words in enumerate((say("Began at"), say("Ended at"), say("Signed"))):
        on.writing_line(words, on.left + n * third, on.y, on.left + (n + 1) * third - 6.0)
    on.y += 6.0


def _choices(on: Composer, group: str, choices: list[tuple[str, str]]) -> None:
    """Put larger boxes with their words to the right, three in a row."""
    third = ROW_WIDTH / 3
    for n, (value, words) in enumerate(choices):
        if n % 3 == 0 and n:
            on.y += FLAG_BOX + 2.5
        x = on.left + n % 3 * third
        on.box(group, value, x, on.y, FLAG_BOX)
        on.text(x + FLAG_BOX + 2.0, on.y + FLAG_TEXT - 0.2, third - FLAG_BOX - 5.0, words, 10.0)
    on.y += FLAG_BOX + 4.0


def _result(on: Composer, sitting: Sitting) -> None:
    on.need(CAPTION_HEIGHT * 2 + ROW_PITCH * 2 + 4.0)
    on.line(on.left, on.y, on.left + ROW_WIDTH, on.y, 0.35)
    on.y += 2.0
    key, step = f"{sitting.copy}/unit", "unit"
    words = say("Marked by the educator alone, with the test key; colour what is wrong")
    on.caption(words)
    on.y += CAPTION_HEIGHT
    ask = Group(
        f"{key}/wrong",
        Asks.WRONG,
        say("{subject}, unit test: wrong", subject=sitting.subject),
        sitting.learner,
        sitting.copy,
        step,
    )
    group = on.group(ask)
    on.rows(
        group,
        [(str(q), str(q)) for q in range(1, sitting.questions + 1)],
        say("Unit test, continued: what is wrong"),
    )
    on.need(CAPTION_HEIGHT + ROW_PITCH)
    test = say("{subject}, unit test", subject=sitting.subject)
    score_rows(on, key, test, sitting.learner, sitting.copy, step, sitting.questions)
    _notes(on)


def _notes(on: Composer) -> None:
    """Lines for the watcher's own words, as far as the page has room; nothing of it is read."""
    count = min(MOST_NOTES, int((on.bottom - on.y - 9.0) / NOTE_PITCH))
    if count < 1:
        return
    on.y += 2.0
    on.line(on.left, on.y, on.left + ROW_WIDTH, on.y, 0.35)
    on.y += 2.0
    on.caption(say("Notes"))
    for _ in range(count):
        on.y += NOTE_PITCH
        on.line(on.left, on.y, on.left + ROW_WIDTH, on.y, 0.2, 45)
