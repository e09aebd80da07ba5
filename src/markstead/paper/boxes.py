"""Whether a box is marked, empty, or for a person to look at.

Thresholds were fitted on synthetic photographs to boxes of 5.5 mm with a frame of 0.3 mm; `python -m benchmarks.reading`
shows what they are worth. The rule prefers asking: between clearly empty and clearly marked lies a wide band of doubt.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from markstead.paper.layout import BOX, Box
from markstead.paper.rectify import PER_MM, Flat
from markstead.paper.register import Registered
from markstead.speech import later

if TYPE_CHECKING:
    from markstead.paper.arrays import Flags, Floats, Grey, Points

INSET = 0.6
"""Millimetres from the frame's middle line to what is looked at inside."""
INK = 0.16
"""Darkness from which a point counts as inked."""


class State(StrEnum):
    """What stands in a box."""

    EMPTY = "empty"
    MARKED = "marked"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True)
class Look:
    """What is measured inside a box, for one estimate of the paper's white."""

    mean: float
    """Mean darkness."""
    high: float
    """92nd percentile of the smoothed darkness."""
    cover: float
    """Share that is inked."""
    thin: float
    """Standard deviation of the ink along its narrower direction, in millimetres of a box of 5.5 mm: a line has
    little, a cross or a filled box much."""


@dataclass(frozen=True, slots=True)
class Outside:
    """What lies around a box where the printed page is white."""

    ring: float
    """Share of directions with ink just outside."""
    shade: float
    """Darkness 0.9 to 1.7 mm outside the frame, at the side that is second darkest of four."""
    leaving: float
    """Darkness of a stroke that leaves by a side and runs on for 1.7 mm, where it is palest; of four sides the darkest."""


@dataclass(frozen=True, slots=True)
class BoxReading:
    """What one box says."""

    id: str
    state: State
    confidence: float
    """From 0 at the edge of doubt to 1; how clear the picture is, not a probability."""
    x: float
    """Middle of the box on the flattened sheet, in millimetres."""
    y: float
    own: float
    """How well the box's own frame and number were found, a correlation."""
    reason: str = ""
    """Why it is unsure, in English: it is said where it is shown."""


def read_boxes(flat: Flat, blank: "Grey", boxes: Sequence[Box], where: Registered) -> tuple[BoxReading, ...]:
    """Read every box of a page, in the page's order.

    Args:
        flat: the flattened sheet.
        blank: the page as printed, for what stands around a box.
        boxes: the page's boxes.
        where: where they lie.
    """
    import cv2

    smooth = [cv2.GaussianBlur(dark, (0, 0), 0.15 * PER_MM) for dark in (flat.dark_narrow, flat.dark_wide)]
    darks = (flat.dark_narrow, flat.dark_wide)
    outsides = _outsides(smooth[1], blank, boxes, where.middles)
    readings = []
    for n, box in enumerate(boxes):
        x, y = (float(value) for value in where.middles[n])
        looks = tuple(_look(dark, soft, box, x, y) for dark, soft in zip(darks, smooth, strict=True))
        state, confidence, reason = judge(
            looks[0], looks[1], outsides[n], float(where.own[n]), bool(where.doubtful[n])
        )
        readings.append(BoxReading(box.id, state, confidence, x, y, float(where.own[n]), reason))
    return tuple(readings)


# --- the rule ---------------------------------------------------------------------------------------------


def judge(narrow: Look, wide: Look, outside: Outside, own: float, doubtful: bool) -> tuple[State, float, str]:
    """Judge a box from both looks, what lies outside it and how well it was found.

    Returns:
        the state, the confidence, and the reason of a doubt in English.
    """
    answers = (_answer(narrow), _answer(wide))
    if answers[0] is not answers[1]:
        return State.UNSURE, 0.0, later("shadow or pale mark")
    state = answers[0]
    if state is State.UNSURE:
        return state, 0.0, later("neither clearly empty nor clearly marked")
    if doubtful:
        return State.UNSURE, 0.0, later("its place is doubtful")
    if outside.ring > MOST_RING:
        return State.UNSURE, 0.0, later("a ring around it")
    if state is State.EMPTY and wide.cover > 0.03 and outside.ring > LEAST_STROKE:
        return State.UNSURE, 0.0, later("a stroke that runs through it")
    if state is State.MARKED and outside.shade > SHADE * wide.mean:
        return State.UNSURE, 0.0, later("shadow or pale mark")
    if state is State.MARKED and wide.high < 0.6 and abs(narrow.mean - wide.mean) > 0.10:
        return State.UNSURE, 0.0, later("shadow or pale mark")
    if state is State.MARKED and wide.cover < COLOURED and outside.leaving > STROKE:
        return State.UNSURE, 0.0, later("a stroke that runs through it")
    if own < (LEAST_OWN_EMPTY if state is State.EMPTY else LEAST_OWN_MARKED):
        return State.UNSURE, 0.0, later("the box itself is hard to see")
    return state, min(_clearness(narrow, state), _clearness(wide, state)), ""


MOST_RING, LEAST_STROKE = 0.55, 0.10
"""Share of directions with ink outside from which there is a ring; and from which a little ink inside may belong to a
large mark that missed the box."""
SHADE = 0.4
"""A mark may be a narrow shadow, if the paper beside the box has this share of its darkness."""
COLOURED = 0.5
"""Share from which a box is coloured in. What covers less is strokes: a cross ends at the corners, and two lines that meet
in a box by chance run on."""
STROKE = 0.25
"""Darkness from which a point outside a box belongs to a stroke."""
LEAST_OWN_EMPTY, LEAST_OWN_MARKED = 0.5, 0.15


def _answer(look: Look) -> State:
    m, q, cover, thin = look.mean, look.high, look.cover, look.thin
    if (q < 0.07 and m < 0.035) or (q < 0.115 and m < 0.075 and cover < 0.03):
        return State.EMPTY
    if cover < 0.11 and thin < 0.24 and m < 0.05:
        return State.EMPTY
    # A tick is bent, a line is not; two lines that meet by chance cover less of a box than a cross from corner to corner.
    enough = 0.36 if thin > 0.65 else 0.28
    if thin > 0.42 and q > 0.45 and m > 0.13 and cover > enough:
        return State.MARKED
    # What is paler has to cover more.
    if thin > 0.42 and q > 0.2 and m > 0.19 and cover > max(enough, 0.31):
        return State.MARKED
    return State.UNSURE


def _clearness(look: Look, state: State) -> float:
    """Distance from the band of doubt, scaled so that a blank box and a full one have 1."""
    if state is State.EMPTY:
        return max(0.0, min(1.0, 1.0 - max(look.high, 0.0) / 0.115, 1.0 - max(look.mean, 0.0) / 0.075))
    return max(0.0, min(1.0, (look.cover - 0.28) / 0.4, (look.mean - 0.13) / 0.25))


# --- what is measured -------------------------------------------------------------------------------------


def _look(dark: "Floats", smooth: "Floats", box: Box, x: float, y: float) -> Look:
    import cv2
    import numpy as np

    inner = box.side - 2 * INSET
    side = round(inner * PER_MM)
    # Millimetres to pixels: pixel i covers i / 8 to (i + 1) / 8.
    at = (x * PER_MM - 0.5, y * PER_MM - 0.5)
    raw = cv2.getRectSubPix(dark, (side, side), at)
    soft = cv2.getRectSubPix(smooth, (side, side), at)
    inked = soft > INK
    return Look(
        float(raw.mean()),
        float(np.partition(soft.ravel(), int(0.92 * soft.size))[int(0.92 * soft.size)]),
        float(inked.mean()),
        _narrow_spread(np.maximum(soft - 0.08, 0.0) * (soft > 0.10), inner),
    )


def _narrow_spread(ink: "Floats", inner: float) -> float:
    """Smaller standard deviation of the ink's place, scaled as if the inside measured 4.3 mm."""
    import numpy as np

    total = float(ink.sum())
    if total <= 1e-6:
        return 0.0
    side = ink.shape[0]
    at = np.arange(side, dtype=np.float32)
    rows, columns = ink.sum(axis=1), ink.sum(axis=0)
    my, mx = float(rows @ at) / total, float(columns @ at) / total
    vy, vx = float(rows @ (at - my) ** 2) / total, float(columns @ (at - mx) ** 2) / total
    vxy = float((at - my) @ ink @ (at - mx)) / total
    smaller = (vx + vy) / 2 - float(np.hypot((vx - vy) / 2, vxy))
    return float(np.sqrt(max(smaller, 0.0))) / PER_MM * (BOX - 2 * INSET) / inner


_SECTORS = 24


def _outsides(
    smooth: "Floats", blank: "Grey", boxes: Sequence[Box], middles: "Points"
) -> tuple[Outside, ...]:
    """Look around every box; all at once, for a page has some two hundred."""
    around = zip(*(look(smooth, blank, boxes, middles) for look in (_rings, _shades, _leaving)), strict=True)
    return tuple(Outside(*map(float, one)) for one in around)


def _rings(smooth: "Floats", blank: "Grey", boxes: Sequence[Box], middles: "Points") -> "Floats":
    """Share of directions in which ink lies just outside each box where the printed page has none.

    A box coloured over its rim is no ring: between a ring and the frame lies white, so where half of the rim's
    outside is inked the share is cut to what a stroke would have.
    """
    import numpy as np

    angles = (np.arange(_SECTORS) + 0.5) * 2 * np.pi / _SECTORS
    inner = 0.71 * np.array([box.side for box in boxes])
    radii = np.linspace(inner, inner + 1.0, 5, axis=1)[:, :, None]
    seen, free = _around(smooth, blank, boxes, middles, radii * np.cos(angles), radii * np.sin(angles))
    open_to_see = free.mean(axis=1) > 0.5
    inked = ((seen > STROKE) & free).any(axis=1) & open_to_see
    directions = open_to_see.sum(axis=1)
    share: Floats = np.where(directions < 6, 0.0, inked.sum(axis=1) / np.maximum(directions, 1))
    return np.where(_over_the_rim(smooth, blank, boxes, middles), np.minimum(share, MOST_RING), share)


def _over_the_rim(smooth: "Floats", blank: "Grey", boxes: Sequence[Box], middles: "Points") -> "Flags":
    """Whether half of the strip between 0.6 and 0.9 mm outside each frame is inked."""
    seen, free = _sides(smooth, blank, boxes, middles, (0.6, 0.75, 0.9))
    over: Flags = ((seen > STROKE) & free).sum(axis=(1, 2)) > 0.5 * free.sum(axis=(1, 2))
    return over


def _shades(smooth: "Floats", blank: "Grey", boxes: Sequence[Box], middles: "Points") -> "Floats":
    """Darkness beside each box. A mark ends at the frame or at most on one side; a shadow goes on at two or more.

    A shadow along a side that print hides would pass for a mark. So a side is looked at from 0.9 to 1.7 mm and nearly from
    corner to corner: beside a number, and on this side of the next box's rim, there is room.
    """
    import numpy as np

    seen, free = _sides(smooth, blank, boxes, middles, (0.9, 1.1, 1.3, 1.5, 1.7), reach=0.45)
    ranked, count = np.sort(np.where(free, seen, np.inf), axis=2), free.sum(axis=2, keepdims=True)
    lower, upper = (
        np.take_along_axis(ranked, np.maximum(at, 0), axis=2)[..., 0] for at in ((count - 1) // 2, count // 2)
    )
    # A side counts of which a fifth can be seen: one of the five distances.
    medians = np.where(count[..., 0] >= seen.shape[2] / 5, (lower + upper) / 2, -np.inf)
    second: Floats = np.sort(medians, axis=1)[:, -2]
    return np.where(np.isfinite(second), second, 0.0)


def _leaving(smooth: "Floats", blank: "Grey", boxes: Sequence[Box], middles: "Points") -> "Floats":
    """Darkness of a stroke that leaves each box by a side: there is ink at every distance from 0.6 to 1.7 mm."""
    away = (0.6, 0.75, 0.9, 1.1, 1.3, 1.5, 1.7)
    # Some 0.3 mm apart, so that no thin line slips through.
    seen, free = _sides(smooth, blank, boxes, middles, away, reach=0.45, points=19)
    lines = (seen * free).reshape(len(boxes), 4, 19, len(away)).max(axis=2)
    darkest: Floats = lines.min(axis=2).max(axis=1)
    return darkest


def _sides(
    smooth: "Floats",
    blank: "Grey",
    boxes: Sequence[Box],
    middles: "Points",
    away: tuple[float, ...],
    *,
    reach: float = 0.3,
    points: int = 7,
) -> "tuple[Floats, Flags]":
    """Darkness along the four sides of each box at distances outside the frame, and whether the page is white there.

    Args:
        smooth: darkness.
        blank: the page as printed.
        boxes: boxes of the page.
        middles: where they lie.
        away: millimetres outside the frame.
        reach: how far from the middle of a side, as a share of it.
        points: how many a distance.
    """
    import numpy as np

    side = np.array([box.side for box in boxes])[:, None]
    far = np.tile(np.array(away) + side / 2, points)
    near = np.repeat(np.linspace(-reach, reach, points) * side, len(away), axis=1)
    dx, dy = np.stack([far, -far, near, near], axis=1), np.stack([near, near, far, -far], axis=1)
    return _around(smooth, blank, boxes, middles, dx, dy)


def _around(
    smooth: "Floats",
    blank: "Grey",
    boxes: Sequence[Box],
    middles: "Points",
    dx: "Floats",
    dy: "Floats",
) -> "tuple[Floats, Flags]":
    """Darkness at points around each box, and whether the printed page is white there; shaped as `dx` and `dy`."""
    import cv2
    import numpy as np

    def sample(picture: "Grey", at: "Points") -> "Floats":
        columns, rows = (
            ((one[:, None] + away.reshape(len(boxes), -1)) * PER_MM - 0.5).astype(np.float32)
            for one, away in zip(at.T, (dx, dy), strict=True)
        )
        return cv2.remap(picture, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).reshape(
            dx.shape
        )

    return sample(smooth, middles), sample(blank, np.array([box.centre for box in boxes])) > 235
