"""Find the sheets in a picture by their corner markers, and which page each is by its codes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import TYPE_CHECKING, Any

from markstead.paper.layout import Paper, marker_corners, qr_place, second_place
from markstead.paper.straighten import matrix_pattern, qr_pattern, straightened

if TYPE_CHECKING:
    from markstead.paper.arrays import Grey, Points

LOOK = 1600
"""Longer side, in pixels, of the picture in which markers are looked for first."""
MOST_RESIDUAL = 7.0
"""Millimetres by which a marker's corner may miss the plane through all corners: a bent sheet stays below, markers of two
sheets do not."""
_OF_A_SHEET, _SCALES = 0.065, 1.4
"""Rim of a marker, as a share of the picture's longer side, from which it is looked for first; and how much larger the
markers that were found must be, so that no second sheet lies there with smaller ones."""
MOST_OF_A_KIND = 8
"""Markers of one id in a picture, beyond which it is no picture of sheets."""


@dataclass(frozen=True, slots=True)
class Marker:
    """A corner marker in the picture: its four corners in pixels, clockwise from its own top left."""

    id: int
    corners: "Points"


@dataclass(frozen=True, slots=True)
class Found:
    """A sheet in the picture."""

    paper: Paper
    markers: tuple[Marker, ...]
    residual: float
    """Root mean square of the corners' distances from the plane, in millimetres."""

    def to_picture(self) -> "Points":
        """The homography from millimetres of the sheet to pixels of the picture, 3 x 3."""
        return _homography(self.paper, self.markers)[0]


def find_markers(grey: "Grey") -> list[Marker]:
    """Find every corner marker: first in a small picture, then with evened light, then in a larger one."""
    import cv2

    scale = min(1.0, LOOK / max(grey.shape))
    small = _smaller(grey, scale)
    # Most squares on a sheet are its boxes, each half as large as a marker or a little more. Where the sheet fills the
    # picture they are too small to be looked at, and nothing that is much smaller than this sheet is another.
    found = _detected(small, scale, windows=(25, 45), smallest=_OF_A_SHEET)
    if _is_complete(found) and min(map(_rim, found)) > _SCALES * _OF_A_SHEET * max(grey.shape):
        return found
    # The narrowest window finds a contour around every grain of noise, and is seldom needed.
    found = _joined(found, _detected(small, scale, windows=(25, 45)))
    if _is_complete(found):
        return found
    found = _joined(found, _detected(small, scale))
    if _is_complete(found):
        return found
    evened = cv2.createCLAHE(3.0, (8, 8)).apply(small)
    found = _joined(found, _detected(evened, scale))
    if _is_complete(found) or scale == 1:
        return found
    scale = min(1.0, scale * 1.75)
    return _joined(found, _detected(_smaller(grey, scale), scale))


def _smaller(grey: "Grey", scale: float) -> "Grey":
    """Averages of pixels; halves first, which is much the quickest."""
    import cv2

    while scale <= 0.5 and grey.shape[0] % 2 == grey.shape[1] % 2 == 0:
        grey, scale = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), 2 * scale
    return cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey


def _rim(marker: Marker) -> float:
    """Pixels around a marker."""
    import numpy as np

    return float(np.linalg.norm(marker.corners - np.roll(marker.corners, 1, axis=0), axis=1).sum())


def _is_complete(found: Sequence[Marker]) -> bool:
    counts = [sum(marker.id == one for marker in found) for paper in Paper for one in paper.markers]
    return any(counts) and all(len(set(counts[n : n + 4])) == 1 for n in (0, 4))


def _detected(
    grey: "Grey",
    scale: float,
    offset: tuple[float, float] = (0.0, 0.0),
    windows: tuple[int, int] = (5, 45),
    smallest: float = 0.02,
) -> list[Marker]:
    """Markers whose rim is at least so large a share of the picture's longer side."""
    import numpy as np

    corners, ids, _ = _detector(*windows, smallest).detectMarkers(grey)
    if ids is None:
        return []
    known = {one for paper in Paper for one in paper.markers}
    # Pixel middles: resizing maps the middle of pixel x to (x + 0.5) / scale - 0.5.
    return [
        Marker(
            int(one), (np.asarray(four, np.float64).reshape(4, 2) + 0.5) / scale - 0.5 + np.asarray(offset)
        )
        for four, one in zip(corners, np.asarray(ids).ravel(), strict=True)
        if int(one) in known
    ]


def _detector(narrowest: int, widest: int, smallest: float) -> Any:
    """A detector that tells black from white within windows of so many pixels."""
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.adaptiveThreshWinSizeMin = narrowest
    settings.adaptiveThreshWinSizeMax = widest
    settings.adaptiveThreshWinSizeStep = 20
    settings.minMarkerPerimeterRate = smallest
    return cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12), settings
    )


def _joined(found: list[Marker], more: list[Marker]) -> list[Marker]:
    import numpy as np

    def is_new(marker: Marker) -> bool:
        size = np.linalg.norm(marker.corners[0] - marker.corners[2])
        middle = marker.corners.mean(axis=0)
        return all(np.linalg.norm(one.corners.mean(axis=0) - middle) > size / 2 for one in found)

    return found + [marker for marker in more if is_new(marker)]


# --- from markers to sheets -------------------------------------------------------------------------------


def find_sheets(grey: "Grey") -> list[Found]:
    """Group the markers of a picture into sheets of three or four corners, the best fitting first.

    A fourth corner that was not seen is looked for once more where the other three say it lies.
    """
    markers = find_markers(grey)
    sheets: list[Found] = []
    for paper in Paper:
        free = [marker for marker in markers if marker.id in paper.markers]
        if any(sum(marker.id == one for marker in free) > MOST_OF_A_KIND for one in paper.markers):
            continue
        for corners in (4, 3):
            sheets += _take_best(paper, free, corners)
    return [_completed(grey, sheet) for sheet in sheets]


def loose_corners(grey: "Grey", sheets: Sequence[Found]) -> int:
    """Count the markers that belong to none of the sheets: a sheet that is half in the picture leaves some."""
    used = [marker.corners.mean(axis=0) for sheet in sheets for marker in sheet.markers]
    return sum(
        all(abs(marker.corners.mean(axis=0) - one).max() > 8 for one in used) for marker in find_markers(grey)
    )


def _take_best(paper: Paper, free: list[Marker], corners: int) -> Iterator[Found]:
    """Take groups of so many corners out of `free`, the best fitting first."""
    candidates = []
    for ids in combinations(paper.markers, corners):
        for group in product(*([m for m in free if m.id == one] for one in ids)):
            fit = _fitted(paper, group)
            if fit is not None:
                candidates.append(fit)
    candidates.sort(key=lambda one: one.residual)
    for one in candidates:
        if all(any(marker is other for other in free) for marker in one.markers):
            for marker in one.markers:
                free[:] = [other for other in free if other is not marker]
            yield one


def _fitted(paper: Paper, group: tuple[Marker, ...]) -> Found | None:
    if not _same_turn(group):
        return None
    _, residual, worst = _homography(paper, group)
    return Found(paper, group, residual) if worst < MOST_RESIDUAL else None


def _same_turn(group: tuple[Marker, ...]) -> bool:
    """Whether the top edges of all markers point much the same way, within 40 degrees."""
    import numpy as np

    edges = [marker.corners[1] - marker.corners[0] for marker in group]
    angles = [float(np.arctan2(edge[1], edge[0])) for edge in edges]
    turned = [(angle - angles[0] + np.pi) % (2 * np.pi) - np.pi for angle in angles]
    return bool(max(turned) - min(turned) < np.radians(40))


def _homography(paper: Paper, group: Sequence[Marker]) -> tuple["Points", float, float]:
    """Fit millimetres to pixels; the root mean square and the largest distance, in millimetres, at the corners."""
    import cv2
    import numpy as np

    places = marker_corners(paper)
    sheet = np.array([corner for marker in group for corner in places[marker.id]], np.float64)
    seen = np.concatenate([marker.corners for marker in group])
    matrix, _ = cv2.findHomography(sheet, seen, 0)
    if matrix is None or abs(np.linalg.det(matrix)) < 1e-9:
        return np.eye(3), np.inf, np.inf
    back = cv2.perspectiveTransform(seen[None], np.linalg.inv(matrix))[0]
    away = np.linalg.norm(back - sheet, axis=1)
    return matrix, float(np.sqrt((away**2).mean())), float(away.max())


def _completed(grey: "Grey", sheet: Found) -> Found:
    """Look for a corner that is missing, close by where it must lie."""
    import cv2
    import numpy as np

    if len(sheet.markers) == 4:
        return sheet
    missing = next(one for one in sheet.paper.markers if all(m.id != one for m in sheet.markers))
    corners = np.array(marker_corners(sheet.paper)[missing], np.float64)
    middle = corners.mean(axis=0)
    around = cv2.perspectiveTransform((middle + (corners - middle) * 4.5)[None], sheet.to_picture())[0]
    low = np.maximum(np.floor(around.min(axis=0)), 0).astype(int)
    high = np.minimum(np.ceil(around.max(axis=0)), np.array(grey.shape[::-1])).astype(int)
    if (high - low).min() < 24 or (high - low).max() > 3000:
        return sheet
    crop = grey[low[1] : high[1], low[0] : high[0]]
    scale = float(np.clip(450 / max(crop.shape), 0.2, 3.0))
    crop = cv2.resize(
        crop, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    )
    for looked in (crop, cv2.createCLAHE(4.0, (3, 3)).apply(crop)):
        for marker in _detected(looked, scale, (float(low[0]), float(low[1]))):
            if marker.id == missing:
                whole = _fitted(sheet.paper, tuple(sorted((*sheet.markers, marker), key=lambda m: m.id)))
                if whole is not None:
                    return whole
    return sheet


# --- codes ------------------------------------------------------------------------------------------------


def read_codes(grey: "Grey", sheet: Found) -> Iterator[str]:
    """Read the codes of a sheet in order of effort: each flattened by itself as a plane, then with its bend."""
    import cv2
    import numpy as np

    to_picture = sheet.to_picture()
    for place, name in ((qr_place(sheet.paper), "QRCode"), (second_place(sheet.paper), "DataMatrix")):
        for per_mm, margin in ((10.0, 4.5), (14.0, 7.0)):
            x, y, side = place
            low, size = np.array([x - margin, y - margin]), round((side + 2 * margin) * per_mm)
            flat = np.array([[1 / per_mm, 0, low[0]], [0, 1 / per_mm, low[1]], [0, 0, 1]])
            patch = cv2.warpPerspective(
                grey,
                to_picture @ flat,
                (size, size),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                borderValue=255,
            )
            yield from _decoded(patch, name)
            yield from _decoded(cv2.createCLAHE(3.0, (4, 4)).apply(patch), name)
    for place, name, pattern in (
        (qr_place(sheet.paper), "QRCode", qr_pattern()),
        (second_place(sheet.paper), "DataMatrix", matrix_pattern()),
    ):
        for drawn in straightened(grey, to_picture, place, pattern):
            yield from _decoded(drawn, name)


def read_all_codes(grey: "Grey", sheet: Found) -> Iterator[str]:
    """Read codes in the whole picture, and keep those that lie within the sheet; the last and slowest resort."""
    import cv2
    import numpy as np

    width, height = sheet.paper.width, sheet.paper.height
    rim = np.array([[[0, 0], [width, 0], [width, height], [0, height]]], np.float64)
    hull = cv2.perspectiveTransform(rim, sheet.to_picture())[0].astype(np.float32)
    for text, x, y in _located(grey):
        if cv2.pointPolygonTest(hull, (x, y), measureDist=False) >= 0:
            yield text


def _decoded(patch: "Grey", name: str) -> Iterator[str]:
    import zxingcpp

    form = getattr(zxingcpp.BarcodeFormat, name)
    for code in zxingcpp.read_barcodes(patch, formats=form, try_invert=False):
        yield code.text


def _located(grey: "Grey") -> Iterator[tuple[str, float, float]]:
    import zxingcpp

    form = zxingcpp.BarcodeFormat
    formats = zxingcpp.BarcodeFormats([form.QRCode, form.DataMatrix])
    for code in zxingcpp.read_barcodes(grey, formats=formats, try_invert=False):
        corners = (code.position.top_left, code.position.bottom_right)
        yield code.text, sum(c.x for c in corners) / 2, sum(c.y for c in corners) / 2
