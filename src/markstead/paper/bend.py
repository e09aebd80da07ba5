"""How a sheet bends: a smooth field of displacements between the plan and the plane through the corner markers.

Patches of the page as printed are found on the picture, first within 5.5 mm for a cubic field, fitted by iteratively
reweighted least squares (Tukey's biweight: Beaton and Tukey 1974, Technometrics 16, 147-185) with the markers as
anchors, then within 3 mm of it for what is left, smoothed by a Gaussian process (Rasmussen and Williams 2006, Gaussian
Processes for Machine Learning, eq. 2.23; leaving one out: eq. 5.12). Pictures are turned into thin strokes first (a grey
closing less the picture), so that frames and numbers speak and the insides of coloured boxes stay silent.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markstead.paper.find import Found
from markstead.paper.layout import Box, Paper, marker_corners

if TYPE_CHECKING:
    from markstead.paper.arrays import Floats, Grey

ROUGH_PER_MM = 4.0
STROKE = 1.1
"""Millimetres: what is thinner counts as a stroke."""
_MOST_COARSE = 70
"""Patches looked for before anything is known."""
_ROUNDS = (((9.0, 6.0), 3.0, 250), ((5.5, 5.5), 1.5, 400))
"""Half the size of patches, how far they are looked for once the cubic field is known, and how many at most."""
_LARGE = 2.0
"""Residual in millimetres from the cubic field at which a patch has no vote left."""
LENGTH, SPREAD = 16.0, 1.0
"""Distance in millimetres over which crumples change, and their standard deviation beside the cubic field."""
_NODE = 4.0
_FIRM = 0.25
"""How firm a patch without a box has to be beside those with one, the median, to be looked for."""


@dataclass(frozen=True, slots=True)
class Bend:
    """Displacements on a grid of nodes, 4 mm apart from the top left corner of the paper."""

    nodes: "Floats"
    """Rows x columns x (x, y), millimetres."""

    def at(self, points: "Floats") -> "Floats":
        """Displacement at points of the plan, in millimetres, by linear interpolation."""
        import numpy as np

        rows, columns = self.nodes.shape[:2]
        x, y = np.clip(np.asarray(points).T / _NODE, 0, [[columns - 1.001], [rows - 1.001]])
        left, top = x.astype(int), y.astype(int)
        dx, dy = (x - left)[:, None], (y - top)[:, None]
        upper = self.nodes[top, left] * (1 - dx) + self.nodes[top, left + 1] * dx
        lower = self.nodes[top + 1, left] * (1 - dx) + self.nodes[top + 1, left + 1] * dx
        moved: Floats = upper * (1 - dy) + lower * dy
        return moved


def no_bend(paper: Paper) -> Bend:
    """A sheet that lies flat."""
    import numpy as np

    return Bend(np.zeros((*_node_shape(paper), 2), np.float32))


def find_bend(rough: "Grey", blank: "Grey", sheet: Found, boxes: Sequence[Box]) -> Bend:
    """Find how a sheet bends.

    Args:
        rough: the sheet flattened by its markers alone, 4 pixels a millimetre.
        blank: the page as printed, of the same size.
        sheet: the markers.
        boxes: the page's boxes, at least one.
    """
    import numpy as np

    seen, drawn = strokes(rough, ROUGH_PER_MM), strokes(blank, ROUGH_PER_MM)
    planned = np.array([box.centre for box in boxes])
    planned = np.concatenate([planned, _printed_places(drawn, sheet.paper, planned)])
    cubic = _coarse(seen, drawn, sheet, planned)
    places, moves, scores = np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0)
    for half, reach, most in _ROUNDS:
        asked = _thinned(planned, most)
        base = _terms(asked) @ cubic
        expected = base + smoothed(places, moves, scores, asked)
        found = [
            match(seen, drawn, place, half, reach, ROUGH_PER_MM, move)
            for place, move in zip(asked, expected, strict=True)
        ]
        places = asked
        moves, scores = np.array([move for move, _ in found]) - base, np.array([score for _, score in found])
    shape = _node_shape(sheet.paper)
    field = (_terms(_node_places(sheet.paper)) @ cubic).reshape(*shape, 2)
    return Bend((field + _smoothed_on_nodes(places, moves, scores, shape)).astype(np.float32))


def _printed_places(drawn: "Grey", paper: Paper, planned: "Floats") -> "Floats":
    """Places away from all boxes where enough is printed to be found again: titles, captions, lines to write on.

    Without them a sheet's head and foot would hang on what is found far away.
    """
    import cv2
    import numpy as np

    # The smaller eigenvalue of the gradients' covariance: along a mere line it is nothing, for a patch could slide there
    # (Shi and Tomasi 1994, Good features to track).
    firm = cv2.cornerMinEigenVal(drawn, round(11.0 * ROUGH_PER_MM))
    at_boxes = (np.clip(planned, 0, [paper.width - 1, paper.height - 1]) * ROUGH_PER_MM).astype(int)
    enough = _FIRM * float(np.median(firm[at_boxes[:, 1], at_boxes[:, 0]]))
    x, y = np.meshgrid(np.arange(26.0, paper.width - 26.0, 11.0), np.arange(12.0, paper.height - 12.0, 7.0))
    places = np.stack([x.ravel(), y.ravel()], axis=1)
    rows, columns = (places[:, ::-1] * ROUGH_PER_MM).astype(int).T
    away = np.linalg.norm(places[:, None] - planned[None], axis=2).min(axis=1)
    found: Floats = places[(firm[rows, columns] > enough) & (away > 9.0)]
    return found


def _node_shape(paper: Paper) -> tuple[int, int]:
    return int(paper.height / _NODE) + 2, int(paper.width / _NODE) + 2


def _node_places(paper: Paper) -> "Floats":
    import numpy as np

    rows, columns = _node_shape(paper)
    x, y = np.meshgrid(np.arange(columns) * _NODE, np.arange(rows) * _NODE)
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _thinned(planned: "Floats", most: int) -> "Floats":
    return planned[:: max(1, -(-len(planned) // most))]


# --- patches ----------------------------------------------------------------------------------------------


def strokes(grey: "Grey", per_mm: float) -> "Grey":
    """Keep what is thin and dark."""
    import cv2

    side = round(STROKE * per_mm) | 1
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (side, side))
    return cv2.morphologyEx(cv2.GaussianBlur(grey, (0, 0), 0.1 * per_mm), cv2.MORPH_BLACKHAT, kernel)


def match(
    seen: "Grey",
    drawn: "Grey",
    middle: "Floats",
    half: tuple[float, float],
    reach: float,
    per_mm: float,
    near: "Floats | None" = None,
    above: float = 0.0,
) -> "tuple[Floats, float]":
    """Find a patch of the drawn page in the seen one, by normalised cross-correlation.

    Args:
        seen: strokes of the picture.
        drawn: strokes of the page as printed, of the same size.
        middle: middle of the patch on the plan, in millimetres.
        half: half its width and height.
        reach: how far from `near` it is looked for.
        per_mm: pixels a millimetre.
        near: the displacement that is expected.
        above: millimetres more at the patch's top.

    Returns:
        the displacement in millimetres and the correlation, 0 where the patch leaves the paper.
    """
    import cv2
    import numpy as np

    expected = np.zeros(2) if near is None else near
    sx, sy = (int(value) for value in (expected * per_mm).round())
    r = round(reach * per_mm)
    height, width = drawn.shape
    left, right = round((middle[0] - half[0]) * per_mm), round((middle[0] + half[0]) * per_mm)
    top, bottom = round((middle[1] - half[1] - above) * per_mm), round((middle[1] + half[1]) * per_mm)
    left, top = max(left, r - sx, 0), max(top, r - sy, 0)
    right, bottom = min(right, width - r - sx, width), min(bottom, height - r - sy, height)
    if right - left < 3 * per_mm or bottom - top < 3 * per_mm:
        return expected, 0.0
    area = seen[top + sy - r : bottom + sy + r, left + sx - r : right + sx + r]
    # With a fraction: on whole numbers OpenCV correlates in double precision, which takes half as long again.
    area, part = area.astype(np.float32), drawn[top:bottom, left:right].astype(np.float32)
    scores = cv2.matchTemplate(area, part, cv2.TM_CCOEFF_NORMED)
    _, best, _, (px, py) = cv2.minMaxLoc(scores)
    sub = np.array([_peak(scores[py, :], px), _peak(scores[:, px], py)])
    return (np.array([px - r + sx, py - r + sy]) + sub) / per_mm, float(best)


def _peak(line: "Floats", at: int) -> float:
    """Offset of a parabola's top from the largest of three neighbours."""
    if not 0 < at < len(line) - 1:
        return 0.0
    left, middle, right = (float(line[n]) for n in (at - 1, at, at + 1))
    bend = left - 2 * middle + right
    return 0.5 * (left - right) / bend if bend < 0 else 0.0


# --- the cubic field --------------------------------------------------------------------------------------


def _coarse(seen: "Grey", drawn: "Grey", sheet: Found, planned: "Floats") -> "Floats":
    """Fit a cubic field; its ten coefficients for x and for y."""
    import numpy as np

    places, moves = _anchors(sheet)
    weights = [6.0] * len(places)
    for middle in _thinned(planned, _MOST_COARSE):
        move, score = match(seen, drawn, middle, (12.0, 6.0), 5.5, ROUGH_PER_MM)
        if score > 0.25:
            places.append(middle)
            moves.append(move)
            weights.append(score**2)
    return _fit_cubic(np.array(places), np.array(moves), np.array(weights))


def _anchors(sheet: Found) -> "tuple[list[Floats], list[Floats]]":
    """Middles of the markers and how far each lies beside the plane through all."""
    import cv2
    import numpy as np

    back = np.linalg.inv(sheet.to_picture())
    corners = marker_corners(sheet.paper)
    places, moves = [], []
    for marker in sheet.markers:
        planned = np.array(corners[marker.id])
        seen = cv2.perspectiveTransform(marker.corners[None], back)[0]
        places.append(planned.mean(axis=0))
        moves.append((seen - planned).mean(axis=0))
    return places, moves


def _terms(points: "Floats") -> "Floats":
    import numpy as np

    x, y = ((points - np.array([105.0, 145.0])) / 120.0).T
    return np.stack([x**a * y**b for a in range(4) for b in range(4 - a)], axis=1)


def _fit_cubic(places: "Floats", moves: "Floats", weights: "Floats") -> "Floats":
    import numpy as np

    known, kept = _terms(places), weights.copy()
    # A little ridge on all but the constant: where few patches were found the field stays flat.
    ridge = np.diag([0.0] + [0.02] * (known.shape[1] - 1))
    solved = np.zeros((known.shape[1], 2))
    for limit in (np.inf, 3 * _LARGE, 1.5 * _LARGE, _LARGE, _LARGE, _LARGE):
        weighted = known * kept[:, None]
        solved = np.linalg.solve(known.T @ weighted + ridge, weighted.T @ moves)
        away = np.linalg.norm(known @ solved - moves, axis=1)
        kept = weights * (np.clip(1 - (away / limit) ** 2, 0, 1) ** 2 if np.isfinite(limit) else 1)
    return solved


# --- what is left -----------------------------------------------------------------------------------------


def smoothed(places: "Floats", moves: "Floats", scores: "Floats", asked: "Floats") -> "Floats":
    """Smooth displacements over neighbours and give them where they are asked for.

    Findings that the others contradict by more than 1 mm are left out in a second round.
    """
    sound, weights = _sound(places, moves, scores)
    even: Floats = _kernel(asked, sound) @ weights
    return even


def _smoothed_on_nodes(
    places: "Floats", moves: "Floats", scores: "Floats", shape: tuple[int, int]
) -> "Floats":
    """The same on the grid of nodes, rows x columns x (x, y): there the kernel is a product of one for x and one for y."""
    import cv2
    import numpy as np

    sound, weights = _sound(places, moves, scores)
    down, across = (
        np.exp(-((np.arange(count)[:, None] * _NODE - at) ** 2) / (2 * LENGTH**2))
        for count, at in zip(shape, (sound[:, 1], sound[:, 0]), strict=True)
    )
    # OpenCV's product: on matrices of this size BLAS wakes a thread on each core, which costs more than it gains.
    fields = [
        cv2.gemm(down * weight, across, SPREAD**2, None, 0.0, flags=cv2.GEMM_2_T)  # type: ignore[call-overload]
        for weight in weights.T
    ]
    return np.stack(fields, axis=2)


def _sound(places: "Floats", moves: "Floats", scores: "Floats") -> "tuple[Floats, Floats]":
    """Places whose findings the others do not contradict, and each one's weight in the smoothed field; perhaps none."""
    import cv2
    import numpy as np

    first = np.flatnonzero(scores > 0.3)
    if len(first):
        away = left_out(places[first], moves[first], scores[first])
        first = first[away < np.maximum(1.0, 2.5 * np.median(away))]
    if len(first) == 0:
        return np.zeros((0, 2)), np.zeros((0, 2))
    # OpenCV's Cholesky: on matrices of this size it took a hundredth of the time of the LAPACK beside it.
    covariance = _covariance(places[first], scores[first])
    return places[first], cv2.solve(covariance, moves[first], flags=cv2.DECOMP_CHOLESKY)[1]


def left_out(places: "Floats", moves: "Floats", scores: "Floats") -> "Floats":
    """Distance of each finding from what all others say of its place, in millimetres."""
    import cv2
    import numpy as np

    inverse = cv2.invert(_covariance(places, scores), flags=cv2.DECOMP_CHOLESKY)[1]
    away: Floats = np.linalg.norm(inverse @ moves / np.diag(inverse)[:, None], axis=1)
    return away


def _kernel(a: "Floats", b: "Floats") -> "Floats":
    import numpy as np

    distance = (a**2).sum(axis=1)[:, None] + (b**2).sum(axis=1)[None] - 2.0 * (a @ b.T)
    near: Floats = SPREAD**2 * np.exp(-distance / (2 * LENGTH**2))
    return near


def _covariance(places: "Floats", scores: "Floats") -> "Floats":
    """Covariance of findings: the kernel, and each finding's own error, .06 mm at a correlation of 1."""
    import numpy as np

    own = (0.06 / np.maximum(scores, 0.1) ** 2) ** 2
    both: Floats = _kernel(places, places) + np.diag(own)
    return both
