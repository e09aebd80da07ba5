"""Put titles, rows of boxes and writing lines one below the other, on as many pages as they need."""

from collections.abc import Sequence

from markstead.paper.layout import (
    BOX,
    FLAG_BOX,
    MARKER,
    MARKER_EDGE,
    QR,
    ROW,
    ROW_PITCH,
    Area,
    Box,
    Group,
    Kind,
    Line,
    Page,
    Paper,
    Sheet,
    Text,
    slot,
)
from markstead.speech import later, say

LEFT = MARKER_EDGE + MARKER
TOP, FOOT = MARKER_EDGE + QR + 5.5, MARKER_EDGE + 16.0 + 3.5
LABEL = 8.0
"""Size of the number above a box, in points."""
LABEL_HEIGHT = 3.2
CAPTION, FLAG_SIZE = 8.5, 9.0
"""Sizes of a caption over boxes and of the words beside a larger box, in points."""
FLAG_TEXT = 1.05
"""From a larger box's top to that of its words, so that these stand at its middle."""
ROW_WIDTH = slot(ROW - 1) + BOX
CONVENTION = later(
    "Colour the box in, or make a big cross. Rub out well, or put a ring around a box that does not count."
)


def text_size(age: int) -> float:
    """The size of running text for a reader of this age, in points: 13 up to 7, 11.5 up to 10, then 10."""
    return 13.0 if age <= 7 else 11.5 if age <= 10 else 10.0


def ascent(size: float) -> float:
    """Millimetres from the top of a line of text to what it stands on; our letters rise by their size."""
    return size * 25.4 / 72.0


class Composer:
    """Collects the pages of one sheet; a block that does not fit goes to the next page."""

    def __init__(self, paper: Paper, size: float = 10.0, *, wall: bool = False) -> None:
        """Begin a sheet whose content is as wide as a full row of boxes, or for the wall as the paper allows."""
        self.paper, self.size = paper, size
        self.left = LEFT if wall else round((paper.width - ROW_WIDTH) / 2, 2)
        self.right = paper.width - self.left
        self.width = self.right - self.left
        # Without codes in its head a sheet begins higher.
        self.top, self.bottom = TOP - 6.0 if wall else TOP, paper.height - FOOT
        self.groups: list[Group] = []
        self._pages: list[tuple[list[Box], list[Text], list[Line], list[Area]]] = []
        self._now = 0
        self._ends: list[float] = []
        self.y = 0.0
        self.new_page()

    # --- pages and space

    def new_page(self) -> None:
        """Go on at the top of the next page."""
        if self._pages:
            self._ends.append(self.y)
        self._pages.append(([], [], [], []))
        self._now, self.y = len(self._pages) - 1, self.top

    @property
    def is_fresh(self) -> bool:
        """Whether nothing stands on this page yet."""
        return self.y == self.top

    def need(self, height: float) -> bool:
        """Go to a new page unless so many millimetres are left; tell whether one was begun."""
        if self.y + height <= self.bottom + 1e-9 or self.is_fresh:
            return False
        self.new_page()
        return True

    def to_foot(self, height: float) -> bool:
        """Go to what is left at the foot of the last page that has so many millimetres; tell whether there is one.

        For what comes last on a sheet: an earlier page may have more room, and no page is begun.
        """
        ends = [*self._ends, self.y]
        for number in reversed(range(len(ends))):
            if ends[number] + height <= self.bottom + 1e-9:
                self._now, self.y = number, ends[number]
                return True
        return False

    # --- what stands on the page

    def box(self, group: str, value: str, x: float, y: float, side: float = BOX, label: str = "") -> None:
        """Put a box."""
        self._pages[self._now][0].append(
            Box(f"{group}/{value}", group, value, round(x, 3), round(y, 3), side, label)
        )

    def text(
        self,
        x: float,
        y: float,
        width: float,
        text: str,
        size: float = 0,
        weight: int = 400,
        align: str = "left",
        shade: int = 0,
    ) -> None:
        """Put a line of text whose top is at `y`."""
        placed = Text(
            round(x, 3), round(y, 3), round(width, 3), text, size or self.size, weight, align, shade
        )
        self._pages[self._now][1].append(placed)

    def line(
        self,
        x: float,
        y: float,
        to_x: float,
        to_y: float,
        width: float = 0.2,
        shade: int = 0,
        dashed: bool = False,
    ) -> None:
        """Draw a stroke."""
        ends = (round(x, 3), round(y, 3), round(to_x, 3), round(to_y, 3))
        self._pages[self._now][2].append(Line(*ends, width, shade, dashed))

    def area(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        fill: int | None = None,
        stroke: float = 0,
        radius: float = 0,
    ) -> None:
        """Draw a rectangle."""
        placed = (round(x, 3), round(y, 3), round(width, 3), round(height, 3))
        self._pages[self._now][3].append(Area(*placed, fill, stroke, radius))

    def group(self, group: Group) -> str:
        """Open a group of boxes; a second one of the same id is our own mistake.

        Raises:
            ValueError: the id is taken.
        """
        if any(one.id == group.id for one in self.groups):
            raise ValueError(f"two groups of boxes are called {group.id!r}")
        self.groups.append(group)
        return group.id

    # --- blocks

    def caption(self, words: str, x: float | None = None, width: float | None = None) -> None:
        """Put a small line of words over what follows; the caller moves on."""
        start = self.left if x is None else x
        self.text(start, self.y, width or self.width - (start - self.left), words, CAPTION, 500)

    def row(self, group: str, members: Sequence[tuple[str, str]], first: int = 0) -> None:
        """Put one row of boxes, each a value and the label above it, from a column on; the caller moves on."""
        for n, (value, label) in enumerate(members, first):
            self.box(group, value, self.left + slot(n), self.y + LABEL_HEIGHT, BOX, label)

    def rows(self, group: str, members: Sequence[tuple[str, str]], again: str) -> None:
        """Put as many full rows as the boxes need; on a new page the words `again` stand over the rest."""
        for start in range(0, len(members), ROW):
            if self.need(ROW_PITCH):
                self.caption(again)
                self.y += 4.5
            self.row(group, members[start : start + ROW])
            self.y += ROW_PITCH

    def flag(self, group: str, value: str, words: str, right: float, y: float, width: float = 22.0) -> float:
        """Put a larger box with its words to the left of it, so that its right edge is at `right`.

        Returns how far left it reaches.
        """
        self.box(group, value, right - FLAG_BOX, y, FLAG_BOX)
        self.text(right - FLAG_BOX - 1.5 - width, y + FLAG_TEXT, width, words, FLAG_SIZE, 500, "right")
        return right - FLAG_BOX - 1.5 - width

    def writing_line(self, words: str, x: float, y: float, to_x: float) -> None:
        """Put words and a line to write on after them."""
        self.text(x, y - 4.5, (to_x - x) * 0.6, words, CAPTION)
        self.line(x, y, to_x, y, 0.2, 45)

    # --- the whole

    def sheet(self, sheet_id: str, kind: Kind, title: str, under: str) -> Sheet:
        """Finish: the title, the words under it and the count of pages stand on every page."""
        pages = []
        for number, (boxes, texts, lines, areas) in enumerate(self._pages, 1):
            heads = _heads(self.paper, self.left, (title, under), (number, len(self._pages)), bool(boxes))
            pages.append(Page(number, tuple(boxes), (*heads, *texts), tuple(lines), tuple(areas)))
        return Sheet(sheet_id, kind, self.paper, tuple(pages), tuple(self.groups))


def _heads(
    paper: Paper, left: float, says: tuple[str, str], page: tuple[int, int], is_read: bool
) -> list[Text]:
    (title, under), (number, of) = says, page
    width = paper.width - LEFT - (QR + 8.0 if is_read else 0.0) - left
    heads = [
        Text(left, MARKER_EDGE, width, title, 22.0, 700),
        Text(left, MARKER_EDGE + 10.0, width, under, 11.0),
    ]
    if is_read:
        heads.append(Text(left, MARKER_EDGE + 16.0, width, say(CONVENTION), 8.0, 400, "left", 20))
    if of > 1:
        words, y = say("page {number} of {of}", number=number, of=of), paper.height - MARKER_EDGE - 4.0
        heads.append(Text(paper.width - LEFT - 44.0, y, 40.0, words, 8.5, 400, "right"))
    return heads
