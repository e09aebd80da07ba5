"""Flatten a sheet to eight pixels a millimetre, and turn grey levels into darkness beside the paper's own white."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from markstead.paper.bend import Bend
from markstead.paper.find import Found
from markstead.paper.layout import MARKER, marker_places

if TYPE_CHECKING:
    from markstead.paper.arrays import Floats, Grey, Points

PER_MM = 8.0
_COARSE = 2.0
"""Pixels a millimetre in which the paper's white is estimated."""


@dataclass(frozen=True, slots=True)
class Flat:
    """A flattened sheet. All arrays have eight pixels a millimetre; pixel (0, 0) covers the top left corner."""

    grey: "Grey"
    dark_narrow: "Floats"
    """Darkness, paper estimated within 9 mm: 0 is paper, 1 is as black as the markers."""
    dark_wide: "Floats"
    """The same, paper estimated within 25 mm."""
    black: float
    """The markers' black, as a share of the paper's white."""
    noise: float
    """Standard deviation of the darkness of blank paper."""


def flatten_roughly(grey: "Grey", sheet: Found, per_mm: float) -> "Grey":
    """Flatten a sheet by the plane through its markers."""
    import cv2
    import numpy as np

    size = (round(sheet.paper.width * per_mm), round(sheet.paper.height * per_mm))
    to_mm = np.array([[1 / per_mm, 0, 0.5 / per_mm], [0, 1 / per_mm, 0.5 / per_mm], [0, 0, 1]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    to_picture = sheet.to_picture() @ to_mm
    return cv2.warpPerspective(
        _averaged(grey, sheet, per_mm), to_picture, size, flags=flags, borderMode=cv2.BORDER_REPLICATE
    )


def flatten(grey: "Grey", sheet: Found, bend: Bend) -> Flat:
    """Flatten a sheet by the plane through its markers and the bend that was found."""
    import cv2
    import numpy as np

    size = (round(sheet.paper.width * PER_MM), round(sheet.paper.height * PER_MM))
    # The way from the plan to the picture is smooth: every eighth pixel is worked out, the rest interpolated.
    step = 8
    x, y = np.meshgrid(*((np.arange(-1, -(-count // step) + 1) + 0.5) * step / PER_MM for count in size))
    plan = np.stack([x.ravel(), y.ravel()], axis=1)
    seen = to_picture(sheet, bend, plan).astype(np.float32)
    # Resizing puts node n at pixel (n + 0.5) * step - 0.5; the first node lies outside.
    inside = slice(step, step + size[1]), slice(step, step + size[0])
    columns, rows = (
        cv2.resize(nodes.reshape(x.shape), None, fx=step, fy=step, interpolation=cv2.INTER_LINEAR)[inside]
        for nodes in (seen[:, 0].copy(), seen[:, 1].copy())
    )
    averaged = _averaged(grey, sheet, PER_MM)
    flat = cv2.remap(averaged, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    coarse = _without_grain(flat)
    narrow, wide = (_paper_white(coarse, size, mm) for mm in (9.0, 25.0))
    black = _black(flat, wide, sheet)
    dark = [_darkness(flat, white, black) for white in (narrow, wide)]
    return Flat(flat, dark[0], dark[1], black, _noise(dark[1]))


def to_picture(sheet: Found, bend: Bend, points: "Points") -> "Points":
    """Pixels of the picture that show points of the flattened sheet, in millimetres."""
    import cv2

    seen: Points = cv2.perspectiveTransform((points + bend.at(points))[None], sheet.to_picture())[0]
    return seen


def _averaged(grey: "Grey", sheet: Found, per_mm: float) -> "Grey":
    """Average where the picture is much finer than what is made of it, or its noise would be kept."""
    import cv2

    side = round(_pixels_a_mm(sheet) / per_mm)
    return cv2.blur(grey, (side, side)) if side > 1 else grey


def _pixels_a_mm(sheet: Found) -> float:
    import numpy as np

    edges = [np.linalg.norm(m.corners - np.roll(m.corners, 1, axis=0), axis=1).mean() for m in sheet.markers]
    return float(np.mean(edges)) / MARKER


def _without_grain(flat: "Grey") -> "Grey":
    """A flattened sheet, two pixels to the millimetre."""
    import cv2

    scale = _COARSE / PER_MM
    return cv2.medianBlur(cv2.resize(flat, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), 3)


def _paper_white(small: "Grey", size: tuple[int, int], millimetres: float) -> "Floats":
    """Grey closing: what is darker than its surroundings within so many millimetres is taken for ink."""
    import cv2
    import numpy as np

    side = round(millimetres * _COARSE) | 1
    closed = cv2.morphologyEx(small, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_RECT, (side, side)))
    smooth = cv2.GaussianBlur(closed.astype(np.float32), (0, 0), millimetres * _COARSE / 6)
    return cv2.resize(np.maximum(smooth, 1.0), size, interpolation=cv2.INTER_LINEAR)


def _black(flat: "Grey", white: "Floats", sheet: Found) -> float:
    """The black of the markers' rims beside the paper, the median over all that were seen."""
    import numpy as np

    levels = []
    seen = {marker.id for marker in sheet.markers}
    for marker, (x, y) in marker_places(sheet.paper).items():
        if marker in seen:
            module = MARKER / 8
            # The middle of the left and upper rim, clear of blurred edges.
            rows = slice(round((y + 0.35 * module) * PER_MM), round((y + 0.65 * module) * PER_MM) + 1)
            columns = slice(round((x + module) * PER_MM), round((x + MARKER - module) * PER_MM))
            levels.append(float(np.median(flat[rows, columns] / white[rows, columns])))
    return min(float(np.median(levels)), 0.8)


def _darkness(flat: "Grey", white: "Floats", black: float) -> "Floats":
    """Turn the paper's white into the darkness beside it; `white` is given up for it."""
    import cv2
    import numpy as np

    # In place: four million pixels, and no second array of them.
    cv2.divide(flat, white, white, -1.0 / (1.0 - black), cv2.CV_32F)
    white += np.float32(1.0 / (1.0 - black))
    return white


def _noise(dark: "Floats") -> float:
    """Noise from neighbouring pixels' differences, by the median, which ink does not move.

    For normal noise the median of |difference| is 0.6745 sqrt(2) standard deviations.
    """
    import numpy as np

    steps = np.abs(dark[::7, 4::4][:, 1:] - dark[::7, 4::4][:, :-1])
    return float(np.median(steps) / (0.6745 * np.sqrt(2.0)))
