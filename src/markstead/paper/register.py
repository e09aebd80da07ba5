"""Where each box really lies on a flattened sheet: its own frame and number are found within 1.6 mm.

A box that is not found well by itself takes its neighbours' word; where both are strong and differ, its place is
doubtful.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markstead.paper.bend import left_out, match, smoothed, strokes
from markstead.paper.layout import Box
from markstead.paper.rectify import PER_MM

if TYPE_CHECKING:
    from markstead.paper.arrays import Flags, Floats, Grey

REACH = 1.6
SECOND_REACH, CLOSE = 0.7, 0.35
DOUBTFUL = 0.8
"""Millimetres between its own finding and its neighbours' word from which a box's place is doubtful."""
OWN_MATCH = 0.55
"""Correlation from which a box's own finding overrides its neighbours'."""


@dataclass(frozen=True, slots=True)
class Registered:
    """Where boxes lie, in the order of the page's boxes."""

    middles: "Floats"
    """Middles in millimetres of the flattened sheet, one row a box."""
    own: "Floats"
    """Correlation of each box's own frame and number."""
    doubtful: "Flags"
    """Own finding and neighbours disagree."""


def register(flat: "Grey", drawn: "Grey", boxes: Sequence[Box]) -> Registered:
    """Find every box of a page on its flattened picture.

    Args:
        flat: the flattened picture, 8 pixels a millimetre.
        drawn: strokes of the page as printed, of the same size.
        boxes: the page's boxes, at least one.
    """
    import numpy as np

    seen = strokes(flat, PER_MM)
    planned = np.array([box.centre for box in boxes])
    found = [_find(seen, drawn, box) for box in boxes]
    moves, own = np.array([move for move, _ in found]), np.array([score for _, score in found])
    near = smoothed(planned, moves, own, planned)
    lost = (own < OWN_MATCH) & (np.linalg.norm(moves - near, axis=1) >= CLOSE)
    for n in map(int, np.flatnonzero(lost)):
        # The best match may be a scribble; a lesser one where the neighbours say is the frame.
        moves[n], own[n] = _find(seen, drawn, boxes[n], near[n], SECOND_REACH)
    away = np.linalg.norm(moves - near, axis=1)
    strong = (own >= OWN_MATCH) | ((own >= 0.3) & (away < CLOSE))
    chosen = np.where(strong[:, None], moves, near)
    doubtful = strong & (away > DOUBTFUL)
    if doubtful.any():
        # What all others say without the box itself takes long to work out, and is seldom asked for.
        doubtful &= left_out(planned, moves, own) > DOUBTFUL
    return Registered(planned + chosen, own, doubtful)


def _find(
    seen: "Grey", drawn: "Grey", box: Box, near: "Floats | None" = None, reach: float = REACH
) -> "tuple[Floats, float]":
    """Match a box's frame with its number, or with what stands beside a larger box without one."""
    import numpy as np

    half = box.side / 2 + (0.9 if box.label else 2.6)
    above = 2.7 if box.label else 0.0
    return match(seen, drawn, np.array(box.centre), (half, half), reach, PER_MM, near, above)
