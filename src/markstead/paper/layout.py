"""One description of a sheet in millimetres, from which the printing and the reading take every coordinate.

The origin is the top left corner of the paper, x runs to the right and y down. A box is given by the middle of its frame's
line. The layout is kept as text under the sheet's id; its hash stands in the printed code and proves that
the kept layout is the printed one.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any

from markstead.speech import later

VERSION = 1

BOX, FLAG_BOX = 5.5, 6.5
PITCH, FIVE_GAP, ROW_PITCH, ROW = 7.6, 3.0, 10.4, 20
"""Distance of boxes in a row, more after every five, distance of rows, and boxes a row. The reader's thresholds
were fitted to these sizes: fit them again (`python -m benchmarks.reading`) when one changes."""
MARKER, MARKER_EDGE = 11.0, 9.0
QR, SECOND_CODE = 20.0, 16.0


class Paper(StrEnum):
    """Sizes of paper; the value is the word people use."""

    A4 = "A4"
    LETTER = later("US Letter")

    @property
    def width(self) -> float:
        """Width in millimetres (ISO 216; ANSI/ASME Y14.1)."""
        return 210.0 if self is Paper.A4 else 215.9

    @property
    def height(self) -> float:
        """Height in millimetres."""
        return 297.0 if self is Paper.A4 else 279.4

    @property
    def markers(self) -> tuple[int, int, int, int]:
        """Ids of the corner markers: top left, top right, bottom right, bottom left.

        They differ between the sizes, so that a corner tells the size before any code is read.
        """
        return (0, 1, 2, 3) if self is Paper.A4 else (4, 5, 6, 7)


class Kind(StrEnum):
    """What a sheet is for."""

    DAY = later("day sheet")
    SITTING = later("sitting sheet")
    MARKING = later("marking sheet")
    WEEK = later("week sheet")
    ROAD = later("road")


class Asks(StrEnum):
    """What a group of boxes asks."""

    ALL_DONE = "all done"
    PAGES = "pages done"
    MINUTES = "minutes"
    HELPED = "had help"
    WANTS_HELP = "wants help"
    ALL_RIGHT = "all right"
    WRONG = "wrong questions"
    CLEARED = "re-marked, all right"
    STILL_WRONG = "still wrong questions"
    TENS = "score, tens"
    ONES = "score, ones"
    SENT_BACK = "sent back"
    QUIZ_FIRST = "quiz first"
    ONE_OF = "one of these"
    ANY_OF = "any of these"
    CHANGED = "changed by hand"


@dataclass(frozen=True, slots=True)
class Box:
    """A small square to be coloured in. `value` is what a marked box means within its group."""

    id: str
    group: str
    value: str
    x: float
    y: float
    side: float = BOX
    label: str = ""
    """Stands above the box."""

    @property
    def centre(self) -> tuple[float, float]:
        """The middle of the box."""
        return self.x + self.side / 2, self.y + self.side / 2


@dataclass(frozen=True, slots=True)
class Group:
    """Boxes that together answer one question."""

    id: str
    asks: Asks
    words: str
    """The question in words, for the page where a reading is confirmed."""
    learner: str = ""
    copy: str = ""
    step: str = ""
    """Marking stop or test that is asked about, as the record calls it."""
    asked: int = 0
    """Questions of a test whose score is asked for."""


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text; shrunk to fit where it would be wider than `width`. `y` is its top."""

    x: float
    y: float
    width: float
    text: str
    size: float
    """In points."""
    weight: int = 400
    align: str = "left"
    shade: int = 0
    """Grey of the ink in percent: 0 is black."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight stroke."""

    x: float
    y: float
    to_x: float
    to_y: float
    width: float = 0.2
    shade: int = 0
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle, filled with a grey, outlined, or both."""

    x: float
    y: float
    width: float
    height: float
    fill: int | None = None
    """Grey in percent: 0 is black; None leaves the paper."""
    stroke: float = 0.0
    radius: float = 0.0


@dataclass(frozen=True, slots=True)
class Page:
    """One side of paper."""

    number: int
    boxes: tuple[Box, ...] = ()
    texts: tuple[Text, ...] = ()
    lines: tuple[Line, ...] = ()
    areas: tuple[Area, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is printed for one purpose: one page or several under one id."""

    id: str
    """Eight bytes, written as 16 hexadecimal digits. The caller draws it: this room has no dice."""
    kind: Kind
    paper: Paper
    pages: tuple[Page, ...]
    groups: tuple[Group, ...] = ()

    @property
    def is_read(self) -> bool:
        """Whether a photograph of it can be read: it then carries markers and codes."""
        return any(page.boxes for page in self.pages)

    def page(self, number: int) -> Page:
        """Find a page.

        Raises:
            KeyError: the sheet has no such page.
        """
        for page in self.pages:
            if page.number == number:
                return page
        raise KeyError(number)

    def group(self, group: str) -> Group:
        """Find a group.

        Raises:
            KeyError: the sheet has no such group.
        """
        for one in self.groups:
            if one.id == group:
                return one
        raise KeyError(group)


# --- markers and codes ------------------------------------------------------------------------------------


def marker_places(paper: Paper) -> dict[int, tuple[float, float]]:
    """The top left corner of each marker, by its id."""
    right = paper.width - MARKER_EDGE - MARKER
    bottom = paper.height - MARKER_EDGE - MARKER
    corners = ((MARKER_EDGE, MARKER_EDGE), (right, MARKER_EDGE), (right, bottom), (MARKER_EDGE, bottom))
    return dict(zip(paper.markers, corners, strict=True))


def marker_corners(paper: Paper) -> dict[int, tuple[tuple[float, float], ...]]:
    """The four corners of each marker's black square, clockwise from its top left, by its id."""
    return {
        marker: ((x, y), (x + MARKER, y), (x + MARKER, y + MARKER), (x, y + MARKER))
        for marker, (x, y) in marker_places(paper).items()
    }


def qr_place(paper: Paper) -> tuple[float, float, float]:
    """Left, top and side of the QR code's modules; four modules of white lie around it."""
    return paper.width - MARKER_EDGE - MARKER - 4.0 - QR, MARKER_EDGE, QR


def second_place(paper: Paper) -> tuple[float, float, float]:
    """Left, top and side of the Data Matrix's modules."""
    return MARKER_EDGE + MARKER + 4.0, paper.height - MARKER_EDGE - SECOND_CODE, SECOND_CODE


# --- rows of boxes ----------------------------------------------------------------------------------------


def slot(column: int) -> float:
    """How far right of the row's left edge a box of this column stands, from 0."""
    return column * PITCH + column // 5 * FIVE_GAP


# --- as text ----------------------------------------------------------------------------------------------


def write_sheet(sheet: Sheet) -> str:
    """Write a sheet so that it reads back equal."""
    return json.dumps(
        {"version": VERSION, **plain(sheet)}, ensure_ascii=False, sort_keys=True, separators=(",", ":")
    )


def plain(one: Sheet | Page | Group | Box | Text | Line | Area) -> dict[str, Any]:
    """What a description holds, by name. Nothing in it can change, so nothing is copied deeply: a sheet has some thousand
    values."""
    held = {field.name: getattr(one, field.name) for field in fields(one)}
    return {
        name: [plain(each) for each in value] if isinstance(value, tuple) else value
        for name, value in held.items()
    }


def read_sheet(text: str) -> Sheet:
    """Read a sheet that was written.

    Raises:
        ValueError: the text was written by another version, or is no sheet.
    """
    kept: Mapping[str, Any] = json.loads(text)
    if kept.get("version") != VERSION:
        raise ValueError(f"a layout of version {kept.get('version')}; wanted is {VERSION}")
    return Sheet(
        id=kept["id"],
        kind=Kind(kept["kind"]),
        paper=Paper(kept["paper"]),
        pages=tuple(_page(page) for page in kept["pages"]),
        groups=tuple(Group(**{**group, "asks": Asks(group["asks"])}) for group in kept["groups"]),
    )


def _page(kept: Mapping[str, Any]) -> Page:
    return Page(
        number=kept["number"],
        boxes=tuple(Box(**box) for box in kept["boxes"]),
        texts=tuple(Text(**text) for text in kept["texts"]),
        lines=tuple(Line(**line) for line in kept["lines"]),
        areas=tuple(Area(**area) for area in kept["areas"]),
    )


def layout_hash(sheet: Sheet) -> bytes:
    """Four bytes that change when anything of the layout changes: the start of its text's SHA-256."""
    return hashlib.sha256(write_sheet(sheet).encode()).digest()[:4]


def overlaps(page: Page) -> Iterator[tuple[str, str]]:
    """Pairs of boxes that touch one another; a sound page has none."""
    for n, one in enumerate(page.boxes):
        for other in page.boxes[n + 1 :]:
            reach = (one.side + other.side) / 2 + 0.5
            (ax, ay), (bx, by) = one.centre, other.centre
            if abs(ax - bx) < reach and abs(ay - by) < reach:
                yield one.id, other.id
