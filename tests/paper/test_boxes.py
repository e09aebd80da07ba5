"""What lies around boxes is looked at all at once; box by box, by the definition, it has to be the same."""

import cv2
import numpy as np
import pytest

from markstead.paper.bend import _NODE, _smoothed_on_nodes, smoothed
from markstead.paper.boxes import MOST_RING, Outside, _outsides
from markstead.paper.draw import blank_page
from markstead.paper.layout import Box
from markstead.paper.rectify import PER_MM
from tests.paper.cast import asa

SHEET = asa()
BOXES = SHEET.page(1).boxes[::5]


@pytest.fixture(scope="module")
def blank() -> np.ndarray:
    return blank_page(SHEET, 1, PER_MM)


def at(picture: np.ndarray, x: float, y: float) -> float:
    """A level between four pixels; pixel i covers i / 8 to (i + 1) / 8 mm."""
    point = np.float32([[x * PER_MM - 0.5]]), np.float32([[y * PER_MM - 0.5]])
    return float(cv2.remap(picture, *point, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0, 0])


def seen(dark: np.ndarray, blank: np.ndarray, box: Box, middle: np.ndarray, dx: float, dy: float) -> float:
    """Darkness beside a box, nothing where something is printed."""
    x, y = box.centre
    return at(dark, middle[0] + dx, middle[1] + dy) if at(blank, x + dx, y + dy) > 235 else np.nan


def one_by_one(dark: np.ndarray, blank: np.ndarray, box: Box, middle: np.ndarray) -> Outside:
    """By loops and means: 24 directions, 5 circles; four sides, 7 points each."""
    angles = (np.arange(24) + 0.5) * 2 * np.pi / 24
    inked = []
    for angle in angles:
        radii = np.linspace(box.side * 0.71, box.side * 0.71 + 1.0, 5)
        found = [seen(dark, blank, box, middle, r * np.cos(angle), r * np.sin(angle)) for r in radii]
        if np.isfinite(found).mean() > 0.5:
            inked.append(np.nanmax(found) > 0.25)
    ring = float(np.mean(inked)) if len(inked) >= 6 else 0.0

    def sides(away: tuple[float, ...]) -> list[list[float]]:
        turns = (lambda f, n: (f, n)), (lambda f, n: (-f, n)), (lambda f, n: (n, f)), (lambda f, n: (n, -f))
        pairs = [(a + box.side / 2, n * box.side) for n in np.linspace(-0.3, 0.3, 7) for a in away]
        found = [[seen(dark, blank, box, middle, *turn(f, n)) for f, n in pairs] for turn in turns]
        return [[one for one in side if np.isfinite(one)] for side in found]

    rim = [one > 0.25 for side in sides((0.6, 0.75, 0.9)) for one in side]
    if ring > MOST_RING and rim and np.mean(rim) > 0.5:
        ring = MOST_RING
    medians = sorted(float(np.median(side)) for side in sides((0.9, 1.1, 1.3)) if len(side) > 6)
    return Outside(ring, medians[-2] if len(medians) > 1 else 0.0)


def test_all_boxes_at_once_are_seen_as_box_by_box(blank: np.ndarray) -> None:
    """On blots of every size, so that rings, strokes, shadows and clean boxes are all among them."""
    rng = np.random.default_rng(11)
    blots = rng.normal(0.0, 1.0, (blank.shape[0] // 24, blank.shape[1] // 24)).astype(np.float32)
    dark = np.clip(cv2.resize(blots, blank.shape[::-1], interpolation=cv2.INTER_CUBIC) * 0.5, 0, 1)
    middles = np.array([box.centre for box in BOXES]) + rng.normal(0, 0.3, (len(BOXES), 2))

    found = _outsides(dark, blank, BOXES, middles)

    expected = [one_by_one(dark, blank, box, middle) for box, middle in zip(BOXES, middles, strict=True)]
    assert [one.ring for one in found] == pytest.approx([one.ring for one in expected], abs=1e-6)
    assert [one.shade for one in found] == pytest.approx([one.shade for one in expected], abs=1e-6)
    assert len({round(one.ring, 2) for one in found}) > 5


@pytest.mark.parametrize("count", [0, 1, 40])
def test_a_field_on_the_nodes_is_the_field_at_their_places(count: int) -> None:
    rng = np.random.default_rng(12)
    places, moves = rng.uniform(10, 200, (count, 2)), rng.normal(0, 0.4, (count, 2))
    scores = rng.uniform(0.2, 1.0, count)
    x, y = np.meshgrid(np.arange(9) * _NODE, np.arange(13) * _NODE)

    on_nodes = _smoothed_on_nodes(places, moves, scores, (13, 9))

    at_places = smoothed(places, moves, scores, np.stack([x.ravel(), y.ravel()], axis=1))
    assert on_nodes.reshape(-1, 2) == pytest.approx(at_places, abs=1e-9)
