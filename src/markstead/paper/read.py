"""From a file to what its sheets say: which sheets they are, each box, and a sentence for everything refused.

Nothing is written here and nothing is decided for good: every reading is shown to the educator before it is recorded.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import TYPE_CHECKING

from markstead.paper.bend import ROUGH_PER_MM, find_bend, strokes
from markstead.paper.boxes import BoxReading, State, read_boxes
from markstead.paper.find import Found, find_markers, find_sheets, read_all_codes, read_codes
from markstead.paper.identity import ForeignCodeError, Identity, NoCodeError, read_code, read_typed
from markstead.paper.layout import Sheet, layout_hash
from markstead.paper.pictures import Picture, open_pictures
from markstead.paper.rectify import PER_MM, Flat, flatten, flatten_roughly, to_picture
from markstead.paper.register import Registered, register
from markstead.speech import counted, later, say

if TYPE_CHECKING:
    from markstead.paper.arrays import Grey

MOST_DOUBTFUL, LEAST_OWN, MOST_NOISE = 0.03, 0.72, 0.055
"""The gate: share of boxes whose place is doubtful, the upper quarter's correlation with their frames, and noise beside the
markers' black. A picture beyond any of them is taken again; fitted like the thresholds of boxes."""
MOST_SHEETS = 6
AGAIN = later(
    "Lay the sheet flat, hold the camera straight above it in even light, and keep all four corner markers in the picture."
)


class Why(StrEnum):
    """Why a sheet in a picture is refused."""

    NO_SHEET = "no sheet"
    PART = "part of a sheet"
    TOO_MANY = "too many sheets"
    NO_CODE = "no code"
    FOREIGN = "foreign code"
    UNKNOWN = "unknown sheet"
    ALREADY_READ = "already read"
    OLDER = "older layout"
    TWICE = "twice in the picture"
    SECOND = "second print"
    UNCLEAR = "unclear picture"


@dataclass(frozen=True, slots=True)
class Refusal:
    """A sheet that cannot be read, and what to do."""

    picture: str
    why: Why
    sentence: str
    sheet: str = ""
    page: int = 0


@dataclass(frozen=True, slots=True)
class Refused:
    """The caller's answer for a sheet that it will not have read: unknown, already read, or older than the plan."""

    why: Why
    sentence: str


Known = Callable[[Identity], Sheet | Refused]
"""Finds the kept layout of a sheet. A typed id comes without a layout hash: its `layout` is empty."""


@dataclass(frozen=True, slots=True)
class Quality:
    """How good the picture of a page is."""

    markers: int
    own: float
    """Correlation with their own frames that a quarter of the boxes surpass: marked boxes have less."""
    doubtful: float
    """Share of boxes whose place is doubtful."""
    noise: float
    black: float


@dataclass(frozen=True, slots=True)
class PageReading:
    """What one page says."""

    picture: str
    sheet: Sheet
    page: int
    boxes: tuple[BoxReading, ...]
    quality: Quality
    typed: bool
    """Its id was typed: no code proves the layout."""
    in_picture: tuple[tuple[float, float], ...] = field(repr=False)
    """Pixel of each box's middle in the picture, in the order of `boxes`."""
    flat: "Grey" = field(repr=False, compare=False)
    """The flattened page, 8 pixels a millimetre, from which strips are cut."""

    def box(self, box: str) -> BoxReading:
        """Find a box's reading.

        Raises:
            KeyError: the page has no such box.
        """
        for one in self.boxes:
            if one.id == box:
                return one
        raise KeyError(box)

    @property
    def unsure(self) -> tuple[BoxReading, ...]:
        """The boxes that a person has to look at."""
        return tuple(box for box in self.boxes if box.state is State.UNSURE)


@dataclass(frozen=True, slots=True)
class Reading:
    """What a file says."""

    pages: tuple[PageReading, ...]
    refusals: tuple[Refusal, ...]


def read_file(name: str, content: bytes, *, key: bytes, known: Known, typed: str = "") -> Reading:
    """Read every sheet in a photograph or scan.

    Args:
        name: the file's name, for sentences.
        content: JPEG, PNG, HEIC or PDF.
        key: the home's key that signs codes.
        known: finds a sheet's kept layout, or refuses it.
        typed: the id in print, typed by somebody who has signed in, for a page whose codes cannot be read.

    Raises:
        InputError: the file is no image, is damaged or too large.
    """
    pages: list[PageReading] = []
    refusals: list[Refusal] = []
    for picture in open_pictures(name, content):
        for result in _sheets_of(picture, key, known, typed):
            if isinstance(result, Refusal):
                refusals.append(result)
            elif any((one.sheet.id, one.page) == (result.sheet.id, result.page) for one in pages):
                words = say(
                    "Page {number} is there twice; the first picture of it counts.", number=result.page
                )
                refusals.append(Refusal(picture.name, Why.TWICE, words, result.sheet.id, result.page))
            else:
                pages.append(result)
    return Reading(tuple(pages), tuple(refusals))


# --- one picture ------------------------------------------------------------------------------------------


def _sheets_of(picture: Picture, key: bytes, known: Known, typed: str) -> Iterator[PageReading | Refusal]:
    found = find_sheets(picture.grey)
    if not found:
        yield _nothing(picture)
    elif len(found) > MOST_SHEETS:
        words = say(
            "{n} sheets are in the picture; take at most {most} at a time.", n=len(found), most=MOST_SHEETS
        )
        yield Refusal(picture.name, Why.TOO_MANY, words)
    else:
        for sheet in found:
            yield _page_of(picture, sheet, key, known, typed if len(found) == 1 else "")


def _nothing(picture: Picture) -> Refusal:
    corners = len(find_markers(picture.grey))
    if corners:
        words = counted(
            corners,
            "Only {n} corner marker can be seen; three are needed, four are better.",
            "Only {n} corner markers can be seen; three are needed, four are better.",
        )
        return Refusal(picture.name, Why.PART, f"{words} {say(AGAIN)}")
    words = say("No sheet of ours was found in the picture.")
    return Refusal(picture.name, Why.NO_SHEET, f"{words} {say(AGAIN)}")


def _page_of(picture: Picture, found: Found, key: bytes, known: Known, typed: str) -> PageReading | Refusal:
    identity = _identify(picture, found, key, typed)
    if isinstance(identity, Refusal):
        return identity
    answer = known(identity)
    if isinstance(answer, Refused):
        return Refusal(picture.name, answer.why, answer.sentence, identity.sheet, identity.page)
    if not _is_printed_one(answer, identity, found):
        words = say(
            "This sheet was printed from an older layout; print today's sheets again, or enter the day by hand."
        )
        return Refusal(picture.name, Why.OLDER, words, identity.sheet, identity.page)
    return read_page(picture, found, answer, identity.page, typed=not identity.layout)


def _is_printed_one(sheet: Sheet, identity: Identity, found: Found) -> bool:
    pages = {page.number for page in sheet.pages if page.boxes}
    is_same = not identity.layout or layout_hash(sheet) == identity.layout
    return is_same and sheet.id == identity.sheet and identity.page in pages and sheet.paper is found.paper


def _identify(picture: Picture, found: Found, key: bytes, typed: str) -> Identity | Refusal:
    foreign = False
    for code in _codes(picture.grey, found):
        try:
            return read_code(code, key)
        except ForeignCodeError:
            foreign = True
        except NoCodeError:
            continue
    if foreign:
        words = say(
            "This sheet is not signed with this home's key: it is another home's, or was not printed by this program."
        )
        return Refusal(picture.name, Why.FOREIGN, words)
    if typed:
        return _typed_identity(picture, key, typed)
    words = say(
        "Neither code of this sheet can be read. Type the id that stands at its foot, or take the picture again."
    )
    return Refusal(picture.name, Why.NO_CODE, f"{words} {say(AGAIN)}")


def _codes(grey: "Grey", found: Found) -> Iterator[str]:
    """Every text that may be the code, each once: close looks first, the whole picture only when they gave nothing."""
    seen: set[str] = set()
    for source in (read_codes, read_all_codes):
        if seen and source is read_all_codes:
            return
        for code in source(grey, found):
            if code not in seen:
                seen.add(code)
                yield code


def _typed_identity(picture: Picture, key: bytes, typed: str) -> Identity | Refusal:
    try:
        sheet, page = read_typed(typed, key)
    except NoCodeError:
        words = say(
            "{typed!r} is not the id of a sheet of this home; compare it with what is printed.",
            typed=typed[:40],
        )
        return Refusal(picture.name, Why.NO_CODE, words)
    return Identity(sheet, page, b"")


# --- one page ---------------------------------------------------------------------------------------------


@lru_cache(maxsize=4)
def _blanks(sheet: Sheet, page: int) -> "tuple[Grey, Grey, Grey]":
    """The page as printed, at the fine and the rough resolution, and its strokes at the fine one."""
    import cv2

    from markstead.paper.draw import blank_page

    fine = blank_page(sheet, page, PER_MM)
    size = (round(sheet.paper.width * ROUGH_PER_MM), round(sheet.paper.height * ROUGH_PER_MM))
    return fine, cv2.resize(fine, size, interpolation=cv2.INTER_AREA), strokes(fine, PER_MM)


def read_page(
    picture: Picture, found: Found, sheet: Sheet, page: int, *, typed: bool = False
) -> PageReading | Refusal:
    """Read the boxes of a page whose layout is known, or say how to take the picture again."""
    boxes = sheet.page(page).boxes
    fine, rough, drawn = _blanks(sheet, page)
    bend = find_bend(flatten_roughly(picture.grey, found, ROUGH_PER_MM), rough, found, boxes)
    flat = flatten(picture.grey, found, bend)
    where = register(flat.grey, drawn, boxes)
    quality = _quality(found, flat, where)
    words = retake(quality)
    if words:
        return Refusal(picture.name, Why.UNCLEAR, words, sheet.id, page)
    read = read_boxes(flat, fine, boxes, where)
    pixels = tuple((float(x), float(y)) for x, y in to_picture(found, bend, where.middles))
    return PageReading(picture.name, sheet, page, read, quality, typed, pixels, flat.grey)


def _quality(found: Found, flat: Flat, where: Registered) -> Quality:
    import numpy as np

    return Quality(
        len(found.markers),
        float(np.quantile(where.own, 0.75)),
        float(where.doubtful.mean()),
        flat.noise,
        flat.black,
    )


def retake(quality: Quality) -> str:
    """Say how to take the picture again; nothing where it is good enough."""
    if quality.noise > MOST_NOISE:
        return say(
            "The picture is too dark or too grainy to be sure of the boxes. Take it again in better light."
        )
    if quality.own < LEAST_OWN:
        return say(
            "The picture is too blurred to be sure of the boxes. Hold still, wait until it is sharp, and take it again."
        )
    if quality.doubtful > MOST_DOUBTFUL:
        words = say("The sheet is bent too much to be sure of the boxes. Take the picture again.")
        return f"{words} {say(AGAIN)}"
    return ""


# --- strips -----------------------------------------------------------------------------------------------


def strip(page: PageReading, group: str, margin: float = 4.0) -> bytes:
    """Cut the strip of a group's boxes out of the picture, as PNG.

    Raises:
        KeyError: the page has no box of this group.
    """
    import cv2

    boxes = [box for box in page.sheet.page(page.page).boxes if box.group == group]
    if not boxes:
        raise KeyError(group)
    read = [page.box(box.id) for box in boxes]
    half = max(box.side for box in boxes) / 2
    left, right = min(r.x for r in read) - half - margin, max(r.x for r in read) + half + margin
    top, bottom = min(r.y for r in read) - half - margin, max(r.y for r in read) + half + margin / 2
    height, width = page.flat.shape
    rows = slice(max(0, round(top * PER_MM)), min(height, round(bottom * PER_MM)))
    columns = slice(max(0, round(left * PER_MM)), min(width, round(right * PER_MM)))
    return bytes(cv2.imencode(".png", page.flat[rows, columns])[1].tobytes())
