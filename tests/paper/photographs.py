"""Photographs of filled-in sheets that nobody took: hands that mark, paper that bends, light, lens, sensor and file.

Every number stands in `SEVERITIES` and in the mixes. `apart` is never used to choose a threshold. The rules of the
reader are not used here: marks are drawn as pencil strokes in millimetres, then seen by a pinhole camera.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any

import cv2
import numpy as np

from markstead.paper.draw import draw_png
from markstead.paper.layout import Box, Sheet
from tests.paper.cast import KEY

PER_MM = 10.0
MARKED = ("fill", "cross", "tick", "light", "half")
EMPTY = ("clean", "stray", "erased", "dot", "smudge", "touched")
KINDS = (*MARKED, *EMPTY)
Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Severity:
    """How badly a picture is taken; ranges are drawn from evenly."""

    name: str
    tilt: Range
    """Degrees between the camera's axis and the sheet's normal."""
    turn: float
    """Degrees about the axis, beside any quarter turn."""
    share: Range
    """Share of the frame's height or width that the sheet takes."""
    print_scale: Range
    curl: Range
    """Millimetres by which a bent sheet rises from the table."""
    crumple: Range
    """Standard deviation, in millimetres, of displacements with a wavelength of some 60 mm."""
    light: float
    """Brightest over darkest spot of the light, at most."""
    shadow: Range
    """Level within a shadow; every other picture has one."""
    penumbra: Range
    """Millimetres over which a shadow begins."""
    blur: Range
    motion: float
    noise: Range
    """Standard deviation in levels of 255."""
    jpeg: Range
    white: Range
    """Level of the paper in the best light."""
    lens: float = 0.0
    """Radial distortion at the frame's corner, at most, as a share of the radius."""


MILD = Severity(
    "mild",
    (0, 8),
    4,
    (0.84, 0.94),
    (0.97, 1.0),
    (0, 2),
    (0, 0.3),
    1.3,
    (0.75, 0.9),
    (20, 50),
    (0.4, 1.0),
    2,
    (1, 4),
    (80, 95),
    (190, 240),
)
MODERATE = Severity(
    "moderate",
    (0, 18),
    8,
    (0.78, 0.92),
    (0.94, 1.0),
    (0, 6),
    (0, 0.9),
    2.0,
    (0.55, 0.85),
    (8, 40),
    (0.5, 1.7),
    5,
    (2, 7),
    (62, 92),
    (160, 235),
)
HARD = Severity(
    "hard",
    (8, 30),
    15,
    (0.6, 0.88),
    (0.92, 1.0),
    (2, 9),
    (0.4, 1.3),
    3.0,
    (0.4, 0.75),
    (4, 20),
    (1.0, 2.4),
    8,
    (5, 11),
    (40, 75),
    (120, 210),
)
APART = Severity(
    "apart",
    (4, 24),
    12,
    (0.70, 0.90),
    (0.93, 1.01),
    (1, 8),
    (0.2, 1.2),
    2.4,
    (0.45, 0.8),
    (5, 30),
    (0.7, 2.1),
    7,
    (3, 9),
    (50, 88),
    (140, 225),
    0.012,
)
SEVERITIES = (MILD, MODERATE, HARD, APART)


@dataclass(frozen=True, slots=True)
class Mix:
    """How often each kind of mark stands in a box."""

    name: str
    marked: float
    """Share of boxes that are marked."""
    marks: Mapping[str, float]
    dirty: float
    """Share of the empty boxes that are not clean."""
    dirt: Mapping[str, float]
    oversize: Range = (1.0, 1.0)
    consistent: float = 0.86
    """Share of hands that keep to one kind of mark."""


NATURAL = Mix(
    "natural",
    0.196,
    {"fill": 0.595, "cross": 0.192, "tick": 0.115, "light": 0.058, "half": 0.04},
    0.027,
    {"stray": 0.25, "erased": 0.35, "dot": 0.2, "smudge": 0.2},
)
STRESS = Mix("stress", 0.5, dict.fromkeys(MARKED, 0.2), 0.8, dict.fromkeys(EMPTY[1:5], 0.25), consistent=0.0)
OVERSIZE = replace(NATURAL, name="oversize", oversize=(1.1, 1.6))


@dataclass(frozen=True, slots=True)
class Hand:
    """Who holds the pencil."""

    ink: float
    """Reflectance of a full stroke."""
    width: float
    """Millimetres of a stroke."""
    wobble: float
    """Millimetres by which a stroke strays."""
    dense: float
    """Share of a filled box that the strokes aim to cover."""
    kind: str
    """The mark it keeps to; empty for none."""


@dataclass(frozen=True, slots=True)
class Photograph:
    """A picture, what truly stands in each box, and where each box's middle truly lies."""

    content: bytes
    grey: Any
    truth: Mapping[str, str]
    """Kind of mark by the box's id."""
    middles: Mapping[str, tuple[float, float]]
    """Pixel of each box's middle, by the box's id."""
    severity: str


# --- hands ------------------------------------------------------------------------------------------------


def some_hand(rng: np.random.Generator, mix: Mix) -> Hand:
    """Draw a hand: pencils from soft and dark to hard and grey, pens, small children and careful writers."""
    names = list(mix.marks)
    kind = str(rng.choice(names, p=_shares(mix.marks))) if rng.random() < mix.consistent else ""
    return Hand(
        rng.uniform(0.05, 0.28), rng.uniform(0.35, 0.8), rng.uniform(0.05, 0.35), rng.uniform(0.75, 1.0), kind
    )


def _shares(weights: Mapping[str, float]) -> Any:
    values = np.array(list(weights.values()))
    return values / values.sum()


def some_kind(rng: np.random.Generator, mix: Mix, hand: Hand) -> str:
    """Draw what happens to one box."""
    if rng.random() < mix.marked:
        if hand.kind and rng.random() < 0.9:
            return hand.kind
        return str(rng.choice(list(mix.marks), p=_shares(mix.marks)))
    if rng.random() < mix.dirty:
        return str(rng.choice(list(mix.dirt), p=_shares(mix.dirt)))
    return "clean"


_REACH = 12.0
"""Millimetres around a box's middle in which its mark is drawn."""


def mark(paper: Any, box: Box, kind: str, hand: Hand, rng: np.random.Generator, size: float = 1.0) -> None:
    """Draw a mark on the paper, a picture of reflectances from 0 to 1, in place."""
    if kind == "clean":
        return
    side = box.side * size
    layer = np.zeros((round(2 * _REACH * PER_MM),) * 2, np.float32)
    level = _DRAW[kind](layer, side, hand, rng)
    x, y = (round((value - _REACH) * PER_MM) for value in box.centre)
    window = (slice(max(0, y), max(0, y + layer.shape[0])), slice(max(0, x), max(0, x + layer.shape[1])))
    part = paper[window]
    layer = layer[: part.shape[0], : part.shape[1]]
    grain = rng.normal(1.0, 0.12, layer.shape).astype(np.float32)
    part *= 1.0 - np.clip(layer * level * grain, 0, 1) * (1.0 - hand.ink)


def _stroke(layer: Any, points: Any, width: float, value: float = 1.0) -> None:
    pixels = np.round((np.asarray(points) + _REACH) * PER_MM * 16).astype(np.int32)
    cv2.polylines(
        layer, [pixels.reshape(-1, 1, 2)], False, value, max(1, round(width * PER_MM)), cv2.LINE_AA, 4
    )


def _wavy(rng: np.random.Generator, start: Any, end: Any, wobble: float) -> Any:
    t = np.linspace(0, 1, 9)[:, None]
    sway = np.cumsum(rng.normal(0, wobble / 3, (9, 2)), axis=0)
    return np.asarray(start) * (1 - t) + np.asarray(end) * t + sway - sway.mean(axis=0)


def _hatch(layer: Any, side: float, hand: Hand, rng: np.random.Generator, part: float = 1.0) -> None:
    """Parallel strokes to and fro, clipped to a rough square; `part` of it where it is not finished."""
    angle = rng.uniform(0, np.pi)
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    half = side / 2 * rng.uniform(0.88, 1.05)
    distance = hand.width / hand.dense * rng.uniform(0.75, 1.0)
    low, high = -half * 1.41, half * 1.41 * (2 * part - 1)
    path = []
    for n, offset in enumerate(np.arange(low, high, distance)):
        ends = _chord(offset, along, across, half)
        if ends is not None:
            path += ends if n % 2 else ends[::-1]
    if len(path) > 1:
        points = np.array(path) + rng.normal(0, hand.wobble / 2, (len(path), 2))
        _stroke(layer, points + rng.normal(0, 0.2, 2), hand.width)


def _chord(offset: float, along: Any, across: Any, half: float) -> list[Any] | None:
    """Both ends of a line within a square."""
    t = np.linspace(-1.5 * half, 1.5 * half, 61)
    points = across * offset + t[:, None] * along
    inside = points[(np.abs(points) <= half).all(axis=1)]
    return [inside[0], inside[-1]] if len(inside) > 1 else None


def _fill(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    _hatch(layer, side, hand, rng)
    if rng.random() < 0.5:
        _hatch(layer, side, hand, rng)
    return rng.uniform(0.75, 1.0)


def _light(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    _hatch(layer, side, hand, rng)
    layer[:] = cv2.GaussianBlur(layer, (0, 0), 0.08 * PER_MM)
    return rng.uniform(0.28, 0.5)


def _half(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    _hatch(layer, side, hand, rng, rng.uniform(0.4, 0.7))
    return rng.uniform(0.7, 1.0)


def _cross(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    reach = side / 2 * rng.uniform(0.75, 1.2)
    for turn in (np.pi / 4, 3 * np.pi / 4):
        angle = turn + rng.normal(0, 0.15)
        end = reach * 1.3 * np.array([np.cos(angle), np.sin(angle)])
        _stroke(layer, _wavy(rng, -end, end, hand.wobble) + rng.normal(0, 0.25, 2), hand.width)
    return rng.uniform(0.75, 1.0)


def _tick(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    size = side * rng.uniform(0.8, 1.25)
    corners = np.array([[-0.42, 0.02], [-0.12, 0.38], [0.5, -0.45]]) * size + rng.normal(
        0, 0.06 * size, (3, 2)
    )
    for start, end in pairwise(corners):
        _stroke(layer, _wavy(rng, start, end, hand.wobble * 0.6), hand.width)
    return rng.uniform(0.75, 1.0)


def _stray(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    angle, away = rng.uniform(0, np.pi), rng.uniform(-0.3, 0.3) * side
    along = np.array([np.cos(angle), np.sin(angle)])
    middle = away * np.array([-along[1], along[0]])
    _stroke(
        layer,
        _wavy(rng, middle - along * rng.uniform(3, 9), middle + along * rng.uniform(3, 9), 0.3),
        hand.width * 0.8,
    )
    return rng.uniform(0.4, 0.95)


def _erased(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    _hatch(layer, side, hand, rng)
    smeared = cv2.GaussianBlur(layer, (0, 0), rng.uniform(0.1, 0.5) * PER_MM)
    patchy = cv2.resize(
        rng.uniform(0.3, 1.0, (9, 9)).astype(np.float32), layer.shape, interpolation=cv2.INTER_CUBIC
    )
    layer[:] = smeared * patchy
    return rng.uniform(0.03, 0.16)


def _dot(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    at = rng.uniform(-0.35, 0.35, 2) * side
    _stroke(layer, np.array([at, at + rng.normal(0, 0.15, 2)]), rng.uniform(0.4, 1.1))
    return rng.uniform(0.5, 1.0)


def _smudge(layer: Any, side: float, hand: Hand, rng: np.random.Generator) -> float:
    at = rng.uniform(-0.6, 0.6, 2) * side
    _stroke(
        layer, _wavy(rng, at - rng.uniform(1, 3, 2), at + rng.uniform(1, 3, 2), 0.5), rng.uniform(1.5, 4.0)
    )
    layer[:] = cv2.GaussianBlur(layer, (0, 0), rng.uniform(0.6, 1.5) * PER_MM)
    return rng.uniform(0.05, 0.22)


_DRAW = {
    "fill": _fill, "light": _light, "half": _half, "cross": _cross, "tick": _tick,
    "stray": _stray, "erased": _erased, "dot": _dot, "smudge": _smudge,
}  # fmt: skip


def ring(paper: Any, box: Box, hand: Hand, rng: np.random.Generator) -> None:
    """Draw a ring around a box: the convention for a box that does not count."""
    t = np.linspace(0, 2.2 * np.pi, 40)
    radius = box.side * rng.uniform(0.72, 0.85)
    layer = np.zeros((round(2 * _REACH * PER_MM),) * 2, np.float32)
    _stroke(layer, np.stack([np.cos(t), np.sin(t)], 1) * radius * rng.normal(1, 0.02, (40, 1)), hand.width)
    x, y = (round((value - _REACH) * PER_MM) for value in box.centre)
    part = paper[max(0, y) : y + layer.shape[0], max(0, x) : x + layer.shape[1]]
    part *= 1.0 - layer[: part.shape[0], : part.shape[1]] * 0.9 * (1.0 - hand.ink)


# --- paper ------------------------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def _printed(sheet: Sheet, page: int, key: bytes) -> Any:
    drawn = cv2.imdecode(np.frombuffer(draw_png(sheet, key, page, PER_MM), np.uint8), cv2.IMREAD_GRAYSCALE)
    size = (round(sheet.paper.width * PER_MM), round(sheet.paper.height * PER_MM))
    return cv2.resize(drawn, size, interpolation=cv2.INTER_AREA)


def printed(sheet: Sheet, page: int, rng: np.random.Generator, key: bytes = KEY) -> Any:
    """The page as a printer leaves it: reflectances from 0 to 1, with a toner that is not quite black."""
    toner = rng.uniform(0.04, 0.14)
    return toner + (1.0 - toner) * _printed(sheet, page, key).astype(np.float32) / 255.0


def filled(sheet: Sheet, page: int, mix: Mix, rng: np.random.Generator) -> tuple[Any, dict[str, str]]:
    """A page that a hand has worked on, and what stands in each box.

    A clean box into which a neighbour's mark or dirt reaches is `touched`: empty, but not clean.
    """
    paper, hand = printed(sheet, page, rng), some_hand(rng, mix)
    blank, truth = paper.copy(), {}
    for box in sheet.page(page).boxes:
        truth[box.id] = kind = some_kind(rng, mix, hand)
        size = rng.uniform(*mix.oversize) if kind in MARKED else 1.0
        mark(paper, box, kind, hand, rng, size)
    for box in sheet.page(page).boxes:
        if truth[box.id] == "clean" and np.abs(_inside(paper, box) - _inside(blank, box)).mean() > 0.003:
            truth[box.id] = "touched"
    return paper, truth


def with_marks(
    sheet: Sheet, page: int, marks: Mapping[str, str], rng: np.random.Generator, key: bytes = KEY
) -> tuple[Any, dict[str, str]]:
    """A page on which these boxes, and only these, have a mark of a firm hand; `ring` is a filled box with a ring."""
    paper, hand = printed(sheet, page, rng, key), Hand(0.15, 0.5, 0.1, 0.95, "")
    truth = {box.id: marks.get(box.id, "clean") for box in sheet.page(page).boxes}
    for box in sheet.page(page).boxes:
        mark(paper, box, "fill" if truth[box.id] == "ring" else truth[box.id], hand, rng)
        if truth[box.id] == "ring":
            ring(paper, box, hand, rng)
    return paper, truth


def _inside(paper: Any, box: Box) -> Any:
    x, y, side = (round(value * PER_MM) for value in (box.x, box.y, box.side))
    return paper[y + 2 : y + side - 2, x + 2 : x + side - 2]


# --- camera -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _View:
    """A camera over a sheet: the plane's homography, and how far a raised point is shifted."""

    matrix: Any
    """Sheet's millimetres to pixels."""
    size: tuple[int, int]
    centre: Any
    slope: Any
    distance: float
    curl: float
    curl_axis: float
    waves: Any
    lens: float
    extent: tuple[float, float]


def _view(
    width: float, height: float, how: Severity, rng: np.random.Generator, megapixels: float, quarter: int
) -> _View:
    long = np.sqrt(megapixels * 1e6 * 4 / 3)
    frame = np.array([long * 0.75, long] if quarter % 2 == 0 else [long, long * 0.75])
    tilt, towards = np.radians(rng.uniform(*how.tilt)), rng.uniform(0, 2 * np.pi)
    turn = np.radians(rng.uniform(-how.turn, how.turn) + 90 * quarter)
    distance = rng.uniform(330, 480)
    axis = np.array([np.cos(towards), np.sin(towards), 0.0])
    rotate = cv2.Rodrigues(axis * tilt)[0] @ cv2.Rodrigues(np.array([0, 0, turn]))[0]
    scale = rng.uniform(*how.print_scale)
    centre = np.array([width / 2, height / 2])
    to_camera = np.column_stack(
        [
            rotate[:, 0] * scale,
            rotate[:, 1] * scale,
            -rotate[:, :2] @ centre * scale + np.array([0, 0, distance]),
        ]
    )
    rim = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
    seen = cv2.perspectiveTransform(rim[None], to_camera)[0]
    extent = np.ptp(seen, axis=0)
    zoom = rng.uniform(*how.share) * (frame / extent).min()
    room = (frame - extent * zoom) / 2
    shift = frame / 2 - zoom * (seen.min(axis=0) + seen.max(axis=0)) / 2 + rng.uniform(-0.8, 0.8, 2) * room
    matrix = np.array([[zoom, 0, shift[0]], [0, zoom, shift[1]], [0, 0, 1]]) @ to_camera
    # A point raised by z moves on the sheet's plane along the ray to the camera.
    eye = -rotate.T @ np.array([0, 0, distance])
    sd = rng.uniform(*how.crumple)
    waves = rng.normal(0, 1, (2, int(height / 30) + 3, int(width / 30) + 3)).astype(np.float32) * sd
    return _View(
        matrix, (int(frame[0]), int(frame[1])), centre, -eye[:2] / abs(eye[2]), distance,
        rng.uniform(*how.curl), rng.uniform(0, np.pi), waves, rng.uniform(-how.lens, how.lens), (width, height),
    )  # fmt: skip


def _shift(view: _View, points: Any) -> Any:
    """How far, in millimetres on the plane, what is seen at these points of the plane really lies aside."""
    x, y = points[..., 0], points[..., 1]
    width, height = view.extent
    u = ((x - view.centre[0]) * np.cos(view.curl_axis) + (y - view.centre[1]) * np.sin(view.curl_axis)) / (
        height / 2
    )
    rise = view.curl * np.clip(1 - u**2, 0, 1)
    slope = view.slope + (points - view.centre) / view.distance
    columns, rows = (x / width * (view.waves.shape[2] - 1)), (y / height * (view.waves.shape[1] - 1))
    grid = (columns.astype(np.float32), rows.astype(np.float32))
    sway = [cv2.remap(wave, *grid, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT) for wave in view.waves]
    return rise[..., None] * slope + np.stack(sway, axis=-1).reshape(points.shape)


def _undistorted(view: _View, pixels: Any) -> Any:
    """Pixels of a lens without distortion, for pixels of this one."""
    middle = np.array(view.size) / 2
    radius = np.linalg.norm(middle)
    away = (pixels - middle) / radius
    return middle + away * radius * (1 + view.lens * (away**2).sum(axis=-1, keepdims=True))


def _to_sheet(view: _View, pixels: Any) -> Any:
    """Millimetres of the printed sheet that each pixel shows."""
    flat = _undistorted(view, pixels).reshape(-1, 1, 2)
    plane = cv2.perspectiveTransform(flat, np.linalg.inv(view.matrix)).reshape(pixels.shape)
    return plane - _shift(view, plane)


def _to_pixels(view: _View, points: Any) -> Any:
    """The pixel that shows each point of the sheet, by iterating the way back."""
    pixels = cv2.perspectiveTransform(points[None], view.matrix)[0]
    for _ in range(60):
        wrong = points - _to_sheet(view, pixels[:, None, :])[:, 0]
        # Central differences over two pixels, for Newton's step.
        ahead, below = (
            _to_sheet(view, (pixels + one)[:, None, :])[:, 0]
            - _to_sheet(view, (pixels - one)[:, None, :])[:, 0]
            for one in np.eye(2)
        )
        turned = np.stack([ahead, below], axis=-1) / 2
        step = np.linalg.solve(turned, wrong[..., None])[..., 0]
        pixels = pixels + step
        if np.abs(step).max() < 1e-3:
            break
    return pixels


_STEP = 8
"""Pixels from one node to the next where what changes slowly is worked out."""


def _grid(view: _View) -> Any:
    """Sheet coordinates at nodes every eighth pixel and beyond the rim."""
    x, y = np.meshgrid(*((np.arange(-1, -(-count // _STEP) + 1) + 0.5) * _STEP - 0.5 for count in view.size))
    return _to_sheet(view, np.stack([x, y], axis=-1))


def _upsampled(nodes: Any, size: tuple[int, int]) -> Any:
    """Every pixel from the nodes: resizing puts node n at (n + 0.5) * 8 - 0.5, and the first lies outside."""
    whole = cv2.resize(nodes.astype(np.float32), None, fx=_STEP, fy=_STEP, interpolation=cv2.INTER_LINEAR)
    return whole[_STEP : _STEP + size[1], _STEP : _STEP + size[0]]


def photograph(
    sheet: Sheet, page: int, paper: Any, truth: Mapping[str, str], how: Severity, rng: np.random.Generator,
    *, megapixels: float = 12.0, quarter: int | None = None, finger: bool = False, covered: Sequence[Any] = (),
) -> Photograph:  # fmt: skip
    """Take a picture of a page.

    `finger` lays a narrow shadow over it; `covered` are rectangles of the sheet (left, top, width, height in
    millimetres) on which something lies.
    """
    quarter = int(rng.integers(4)) if quarter is None else quarter
    view = _view(sheet.paper.width, sheet.paper.height, how, rng, megapixels, quarter)
    content, grey = _taken(view, _covered(paper, covered, rng), how, rng, finger)
    boxes = sheet.page(page).boxes
    pixels = _to_pixels(view, np.array([box.centre for box in boxes]))
    middles = {box.id: (float(x), float(y)) for box, (x, y) in zip(boxes, pixels, strict=True)}
    return Photograph(content, grey, truth, middles, how.name)


def _covered(paper: Any, rectangles: Sequence[Any], rng: np.random.Generator) -> Any:
    for x, y, width, height in rectangles:
        rows, columns = (
            slice(round(y * PER_MM), round((y + height) * PER_MM)),
            slice(round(x * PER_MM), round((x + width) * PER_MM)),
        )
        paper = paper.copy()
        paper[rows, columns] = rng.uniform(0.1, 1.0) * rng.normal(1, 0.03, paper[rows, columns].shape)
    return paper


def _taken(
    view: _View, paper: Any, how: Severity, rng: np.random.Generator, finger: bool
) -> tuple[bytes, Any]:
    coarse = _grid(view)
    x, y = (_upsampled(coarse[..., n] * PER_MM - 0.5, view.size) for n in (0, 1))
    seen = cv2.remap(
        paper.astype(np.float32), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=-1.0
    )
    table = rng.uniform(0.12, 0.6) + 0.04 * np.sin(
        np.linspace(0, rng.uniform(20, 200), view.size[0], dtype=np.float32)
    )
    seen = np.where(seen < 0, table[None, :], seen)
    seen *= _upsampled(_light_on(coarse, view, how, rng, finger), view.size)
    return _developed(seen * rng.uniform(*how.white), how, rng)


def _light_on(coarse: Any, view: _View, how: Severity, rng: np.random.Generator, finger: bool) -> Any:
    """Light at each point: a gradient, waves of the paper, and in every other picture the shadow of a straight edge."""
    width, height = view.extent
    angle = rng.uniform(0, 2 * np.pi)
    along = (coarse[..., 0] / width - 0.5) * np.cos(angle) + (coarse[..., 1] / height - 0.5) * np.sin(angle)
    ratio = rng.uniform(1.0, how.light)
    light = np.exp(-np.log(ratio) * np.clip(along + 0.5, -0.3, 1.3))
    rough = cv2.resize(
        rng.normal(0, 0.02, (9, 7)).astype(np.float32), coarse.shape[1::-1], interpolation=cv2.INTER_CUBIC
    )
    light *= 1 + rough
    if rng.random() < 0.5:
        light *= _edge_shadow(coarse, view, rng, rng.uniform(*how.shadow), rng.uniform(*how.penumbra))
    if finger:
        light *= _finger_shadow(coarse, view, rng)
    return light


def _edge_shadow(coarse: Any, view: _View, rng: np.random.Generator, level: float, penumbra: float) -> Any:
    angle = rng.uniform(0, 2 * np.pi)
    through = np.array(view.extent) * rng.uniform(0.2, 0.8, 2)
    away = (coarse[..., 0] - through[0]) * np.cos(angle) + (coarse[..., 1] - through[1]) * np.sin(angle)
    return level + (1 - level) / (1 + np.exp(-np.clip(away / penumbra * 4, -40, 40)))


def _finger_shadow(coarse: Any, view: _View, rng: np.random.Generator) -> Any:
    """A band of shadow 6 to 14 mm wide with edges of 1.5 to 4 mm, level 0.4 to 0.75."""
    angle = rng.uniform(0, np.pi)
    through = np.array(view.extent) * rng.uniform(0.3, 0.7, 2)
    away = np.abs(
        (coarse[..., 0] - through[0]) * np.cos(angle) + (coarse[..., 1] - through[1]) * np.sin(angle)
    )
    half, edge, level = rng.uniform(3, 7), rng.uniform(1.5, 4), rng.uniform(0.4, 0.75)
    return level + (1 - level) / (1 + np.exp(-np.clip((away - half) / edge * 4, -40, 40)))


def _developed(seen: Any, how: Severity, rng: np.random.Generator) -> tuple[bytes, Any]:
    seen = cv2.GaussianBlur(seen, (0, 0), rng.uniform(*how.blur))
    length = rng.uniform(0, how.motion)
    if length > 1:
        seen = cv2.filter2D(seen, -1, _motion(length, rng.uniform(0, np.pi)))
    seen += rng.standard_normal(seen.shape, dtype=np.float32) * np.float32(rng.uniform(*how.noise))
    levels = np.clip(seen, 0, 255).astype(np.uint8)
    if rng.random() < 0.5:
        smooth = cv2.medianBlur(levels, 3)
        strength = rng.uniform(0.3, 1.0)
        levels = cv2.addWeighted(smooth, 1 + strength, cv2.GaussianBlur(smooth, (0, 0), 1.5), -strength, 0)
    content = cv2.imencode(".jpg", levels, [cv2.IMWRITE_JPEG_QUALITY, round(rng.uniform(*how.jpeg))])[
        1
    ].tobytes()
    return content, levels


def _motion(length: float, angle: float) -> Any:
    size = int(length) * 2 + 3
    kernel = np.zeros((size, size), np.float32)
    middle, half = size // 2, length / 2 * np.array([np.cos(angle), np.sin(angle)])
    ends = [tuple(int(v) for v in np.round((middle + sign * half) * 16)) for sign in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 1.0, 1, cv2.LINE_AA, 4)
    return kernel / kernel.sum()


def side_by_side(first: Photograph, second: Photograph) -> bytes:
    """Two photographs as one picture."""
    height = max(first.grey.shape[0], second.grey.shape[0])
    parts = [
        cv2.copyMakeBorder(one.grey, 0, height - one.grey.shape[0], 0, 0, cv2.BORDER_CONSTANT, value=90)
        for one in (first, second)
    ]
    return cv2.imencode(".jpg", np.hstack(parts), [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes()
