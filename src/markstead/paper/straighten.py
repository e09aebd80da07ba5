"""Straighten a code that lies on crumpled paper: what is printed in every code of its kind tells how it bends.

A decoder looks for a code on a plane, and misses one whose edges bend by more than half a module. Three corners of the code
are found first, each by itself; then polynomials of both coordinates are fitted to the modules that are the same in every
code, and again to all that were read by it (Lucas and Kanade 1981, An iterative image registration technique with an
application to stereo vision; Baker and Matthews 2004, Int. J. Computer Vision 56, 221-255). The code is drawn anew with
square modules; whether it says anything is for its own check words and for the signature to tell.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from markstead.paper.matrix import SIDE

if TYPE_CHECKING:
    from markstead.paper.arrays import Floats, Grey, Points

QR_SIDE = 29
"""Modules of a QR code of version 3."""
_RIM = 3
"""Modules of white around a code that are looked at with it."""
_REACH = 8
"""Modules beside its place within which a corner is looked for."""
_MARGIN = _RIM + _REACH
_PER_MODULE = 6
"""Pixels a module of the patch that is worked on."""
_POINTS = 3
"""Points a module, each way, that are compared."""
_CORNER = 9
"""Modules of a corner that is looked for by itself, its white rim among them."""
_LEAST = 0.3
"""Correlation below which a corner was not found."""
_STEPS = 10
_STIFF = 0.003
"""How much a bend counts against itself: stiffer, it does not follow a crumple; softer, it runs away where little is known."""
_ROUNDS = 2
"""How often the bend is fitted to all that was read by it."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """What every code of a kind has in common."""

    side: int
    """Modules a side."""
    known: "Floats"
    """Rows from the top, with the white rim: 1 is black, -1 white, 0 differs from code to code."""
    corners: tuple[tuple[int, int], ...]
    """Column and row, counted from the rim, where three squares begin that are found by themselves."""


@cache
def qr_pattern() -> Pattern:
    """Finders, timing and alignment of version 3 (ISO/IEC 18004, 6.3)."""
    import numpy as np

    known = np.zeros((QR_SIDE, QR_SIDE), np.float32)
    known[6, :] = known[:, 6] = 1 - 2 * (np.arange(QR_SIDE) % 2)
    for rows, columns in ((slice(8), slice(8)), (slice(8), slice(-8, None)), (slice(-8, None), slice(8))):
        known[rows, columns] = -1
    for x, y in ((0, 0), (QR_SIDE - 7, 0), (0, QR_SIDE - 7)):
        _put_squares(known, x, y, 7, (1, -1, 1, 1))
    _put_squares(known, QR_SIDE - 9, QR_SIDE - 9, 5, (1, -1, 1))
    known[QR_SIDE - 8, 8] = 1
    far = QR_SIDE + _RIM - 8
    return Pattern(QR_SIDE, _in_white(known), ((_RIM - 1, _RIM - 1), (far, _RIM - 1), (_RIM - 1, far)))


@cache
def matrix_pattern() -> Pattern:
    """The rim of a square Data Matrix: a solid edge left and below, an alternating one above and to the right."""
    import numpy as np

    known = np.zeros((SIDE, SIDE), np.float32)
    even = 1 - 2 * (np.arange(SIDE) % 2)
    known[0, :], known[:, -1] = even, -even
    known[:, 0] = known[-1, :] = 1
    far = SIDE + 2 * _RIM - _CORNER
    return Pattern(SIDE, _in_white(known), ((0, 0), (0, far), (far, far)))


def _put_squares(known: "Floats", x: int, y: int, side: int, levels: tuple[int, ...]) -> None:
    """Squares one within the other, the largest first."""
    for n, level in enumerate(levels):
        known[y + n : y + side - n, x + n : x + side - n] = level


def _in_white(known: "Floats") -> "Floats":
    import numpy as np

    whole: Floats = np.pad(known, _RIM, constant_values=-1)
    return whole


def straightened(
    grey: "Grey", to_picture: "Points", place: tuple[float, float, float], pattern: Pattern
) -> Iterator["Grey"]:
    """Draw the code at a place anew, better each time; nothing where its corners are not found.

    Args:
        grey: the picture.
        to_picture: the homography from millimetres of the sheet to pixels of the picture.
        place: left, top and side of the code's modules on the sheet, in millimetres.
        pattern: the kind of code.
    """
    import numpy as np

    dark = _darkness(_patch(grey, to_picture, place, pattern.side))
    bend = _from_corners(dark, pattern)
    if bend is None:
        return
    known = pattern.known
    for blur, degree in ((1.0, 1), (0.7, 2), (0.7, 3), (0.4, 3)):
        bend = _fitted(dark, known, bend, blur, degree)
    for n in range(_ROUNDS + 1):
        read = np.where(pattern.known != 0, pattern.known, _sampled(dark, pattern.side, bend))
        yield _drawn(read)
        if n < _ROUNDS:
            bend = _fitted(dark, read, bend, 0.4, 3)


def _patch(grey: "Grey", to_picture: "Points", place: tuple[float, float, float], side: int) -> "Grey":
    import cv2
    import numpy as np

    left, top, millimetres = place
    module = millimetres / side
    step, size = module / _PER_MODULE, (side + 2 * _MARGIN) * _PER_MODULE
    begin = 0.5 * step - _MARGIN * module
    to_mm = np.array([[step, 0, left + begin], [0, step, top + begin], [0, 0, 1]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpPerspective(grey, to_picture @ to_mm, (size, size), flags=flags, borderValue=255)


def _darkness(patch: "Grey") -> "Floats":
    """From -1, the palest within four modules, to 1, the darkest."""
    import cv2
    import numpy as np

    smooth = cv2.GaussianBlur(patch.astype(np.float32), (0, 0), 0.2 * _PER_MODULE)
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (8 * _PER_MODULE + 1,) * 2)
    low, high = (
        cv2.GaussianBlur(each(smooth, kernel), (0, 0), 2.0 * _PER_MODULE) for each in (cv2.erode, cv2.dilate)
    )
    dark: Floats = ((high + low) - 2 * smooth) / np.maximum(high - low, 12.0)
    return dark


def _from_corners(dark: "Floats", pattern: Pattern) -> "Floats | None":
    """Find the three corners by correlation; the plane through them, as coefficients."""
    import cv2
    import numpy as np

    planned, moves = [], []
    for column, row in pattern.corners:
        part = pattern.known[row : row + _CORNER, column : column + _CORNER]
        drawn = np.kron(part, np.ones((_PER_MODULE, _PER_MODULE), np.float32)).astype(np.float32)
        # The corner's own place is in the middle of what is searched.
        x, y, size = (value * _PER_MODULE for value in (column, row, _CORNER + 2 * _REACH))
        area = np.ascontiguousarray(dark[y : y + size, x : x + size])
        scores = cv2.matchTemplate(area, drawn, cv2.TM_CCOEFF_NORMED, mask=(drawn != 0).astype(np.float32))
        scores[~np.isfinite(scores)] = -1
        _, best, _, at = cv2.minMaxLoc(scores)
        if best < _LEAST:
            return None
        planned.append(np.array([column, row]) + _CORNER / 2 - _RIM)
        moves.append(np.array(at) / _PER_MODULE - _REACH)
    bend = np.zeros((10, 2))
    bend[:3] = np.linalg.solve(_terms(np.array(planned), pattern.side, 1), np.array(moves))
    return bend


def _terms(points: "Floats", side: int, degree: int) -> "Floats":
    """Products of powers of both coordinates, the lower first; -1 and 1 lie at the code's edges."""
    import numpy as np

    x, y = (2.0 * points / side - 1.0).T
    return np.stack(
        [x ** (whole - b) * y**b for whole in range(degree + 1) for b in range(whole + 1)], axis=1
    )


def _fitted(dark: "Floats", known: "Floats", bend: "Floats", blur: float, degree: int) -> "Floats":
    """Fit the bend anew, so that the picture looks most like what is known.

    Args:
        dark: the patch.
        known: modules with the rim; near 0 counts for little.
        bend: where to begin.
        blur: how much both are smoothed first, in modules.
        degree: of the polynomials.
    """
    import cv2
    import numpy as np

    side = len(known) - 2 * _RIM
    drawn = np.kron(known, np.ones((_PER_MODULE, _PER_MODULE), np.float32)).astype(np.float32)
    wanted, seen = (cv2.GaussianBlur(one, (0, 0), blur * _PER_MODULE) for one in (drawn, dark))
    slopes = [cv2.Scharr(seen, cv2.CV_32F, *way, scale=_PER_MODULE / 32) for way in ((1, 0), (0, 1))]
    line = (np.arange(len(known) * _POINTS) + 0.5) / _POINTS - _RIM
    points = np.stack([one.ravel() for one in np.meshgrid(line, line)], axis=1)
    weights, levels = (_at(one, points + _RIM) for one in (np.abs(drawn), wanted))
    kept = weights > 0.1
    points, weights, levels = points[kept], weights[kept], levels[kept]
    terms, every = _terms(points, side, degree), _terms(points, side, 3)
    bend, count = bend.copy(), terms.shape[1]
    ridge = np.diag(np.tile([0.0, 0.0, 0.0, *[_STIFF] * (count - 3)], 2)) * weights.sum()
    for _ in range(_STEPS):
        moved = points + every @ bend + _MARGIN
        here = _at(seen, moved)
        scale, shift = _line_through(here, levels, weights)
        missing = levels - (scale * here + shift)
        change = np.concatenate([scale * _at(slope, moved)[:, None] * terms for slope in slopes], axis=1)
        weighted = change * weights[:, None]
        pulled = weighted.T @ missing - ridge @ np.concatenate([*bend[:count].T])
        step = np.linalg.solve(weighted.T @ change + ridge + 1e-6 * np.eye(2 * count), pulled)
        step = step.reshape(2, count).T
        bend[:count] += step
        if np.abs(step).max() < 0.01:
            break
    return bend


def _line_through(seen: "Floats", wanted: "Floats", weights: "Floats") -> tuple[float, float]:
    """Contrast and level by which the picture comes closest to what is wanted, by weighted least squares."""
    import numpy as np

    a, b = (float(np.average(one, weights=weights)) for one in (seen, wanted))
    spread = float(np.average((seen - a) ** 2, weights=weights))
    scale = float(np.average((seen - a) * (wanted - b), weights=weights)) / max(spread, 1e-6)
    scale = max(scale, 0.2)
    return scale, b - scale * a


def _at(picture: "Floats", points: "Points") -> "Floats":
    """Values at points in modules, counted from the picture's corner."""
    import cv2
    import numpy as np

    x, y = (points.T * _PER_MODULE - 0.5).astype(np.float32)
    values: Floats = cv2.remap(picture, x[None], y[None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[
        0
    ]
    return values


def _sampled(dark: "Floats", side: int, bend: "Floats") -> "Floats":
    """Darkness at the middle of each module, from -1 to 1, with the rim."""
    import cv2
    import numpy as np

    line = np.arange(side + 2 * _RIM) + 0.5 - _RIM
    points = np.stack([one.ravel() for one in np.meshgrid(line, line)], axis=1)
    # Sharpened: in a blurred picture a single module is as grey as its neighbours.
    seen = 2 * dark - cv2.GaussianBlur(dark, (0, 0), 0.8 * _PER_MODULE)
    levels = _at(seen, points + _terms(points, side, 3) @ bend + _MARGIN)
    sampled: Floats = np.clip(levels * 2, -1, 1).reshape(side + 2 * _RIM, -1)
    return sampled


def _drawn(read: "Floats") -> "Grey":
    """Square modules, black on white."""
    import numpy as np

    levels = np.where(read > 0, 0, 255).astype(np.uint8)
    drawn: Grey = np.kron(levels, np.ones((_PER_MODULE, _PER_MODULE), np.uint8))
    return drawn
