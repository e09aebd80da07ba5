"""The marking sheet: everything that waits to be marked in the home, for the educator's clipboard."""

from dataclasses import dataclass

from markstead.paper.compose import FLAG_SIZE, FLAG_TEXT, ROW_WIDTH, Composer, ascent
from markstead.paper.day import CAPTION_HEIGHT
from markstead.paper.layout import FLAG_BOX, ROW_PITCH, Asks, Group, Kind, Paper, Sheet
from markstead.speech import say


@dataclass(frozen=True, slots=True)
class ToMark:
    """One marking stop or test that waits for a pencil."""

    learner: str
    name: str
    copy: str
    workbook: str
    step: str
    """Marking stop or test, as the record calls it."""
    words: str
    questions: tuple[int, ...]
    again: bool = False
    """It is a re-marking: only the questions that were wrong are asked about."""
    asks_leave: bool = False
    """The learner asks leave to mark: the educator gives it, refuses it, or quizzes first."""


def marking_sheet(
    waiting: tuple[ToMark, ...], *, title: str, day: str, sheet_id: str, paper: Paper = Paper.A4
) -> Sheet:
    """Lay out what waits to be marked, each with boxes for what is wrong.

    Raises:
        ValueError: nothing waits, or one thing waits twice.
    """
    if not waiting:
        raise ValueError("nothing waits to be marked")
    on = Composer(paper)
    for one in waiting:
        _block(on, one)
    return on.sheet(sheet_id, Kind.MARKING, title, day)


def _block(on: Composer, one: ToMark) -> None:
    on.need(FLAG_BOX + CAPTION_HEIGHT + 2.0 + ROW_PITCH)
    on.line(on.left, on.y, on.left + ROW_WIDTH, on.y, 0.35)
    on.y += 1.2
    key, right = f"{one.copy}/{one.step}", on.left + ROW_WIDTH
    words = f"{one.name}, {one.workbook}, {one.words}"
    asks = Asks.CLEARED if one.again else Asks.ALL_RIGHT
    flags = [("right", asks, say("all right"), 15.0)]
    if one.asks_leave:
        flags += [
            ("refused", Asks.SENT_BACK, say("sent back"), 17.0),
            ("quiz", Asks.QUIZ_FIRST, say("quiz first"), 16.0),
        ]
    for name, asks, said, width in flags:
        group = on.group(Group(f"{key}/{name}", asks, f"{words}: {said}", one.learner, one.copy, one.step))
        right = on.flag(group, "yes", said, right, on.y, width) - 2.0
    level = on.y + FLAG_TEXT + ascent(FLAG_SIZE) - ascent(12.0)
    on.text(on.left, level, right - on.left, one.name, 12.0, 700)
    on.y += FLAG_BOX + 0.2
    on.caption(f"{one.workbook}, {one.words}")
    on.y += CAPTION_HEIGHT
    at = f"{one.name}, {one.words}"
    if one.again:
        asks, said = Asks.STILL_WRONG, say("still wrong")
        more = say("{stop}, continued: colour what is still wrong", stop=at)
    else:
        asks, said = Asks.WRONG, say("wrong")
        more = say("{stop}, continued: colour what is wrong", stop=at)
    group = on.group(Group(f"{key}/wrong", asks, f"{words}: {said}", one.learner, one.copy, one.step))
    on.rows(group, [(str(q), str(q)) for q in one.questions], more)
    on.y += 2.0
