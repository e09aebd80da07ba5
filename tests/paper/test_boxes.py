"""What is seen in a box and around it. All boxes are looked at at once; box by box, by the definition, it has to be the same."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from markstead.paper.bend import _NODE, _smoothed_on_nodes, smoothed
from markstead.paper.boxes import MOST_RING, BoxReading, Outside, State, _outsides, _sides, read_boxes
from markstead.paper.draw import blank_page
from markstead.paper.layout import Box, Sheet
from markstead.paper.rectify import PER_MM, Flat
from markstead.paper.register import Registered
from tests.paper.cast import asa, marking, noa, sitting

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
    """By loops and means: 24 directions, 5 circles; four sides, 7 points each, or 19 for what leaves."""
    angles = (np.arange(24) + 0.5) * 2 * np.pi / 24
    inked = []
    for angle in angles:
        radii = np.linspace(box.side * 0.71, box.side * 0.71 + 1.0, 5)
        found = [seen(dark, blank, box, middle, r * np.cos(angle), r * np.sin(angle)) for r in radii]
        if np.isfinite(found).mean() > 0.5:
            inked.append(np.nanmax(found) > 0.25)
    ring = float(np.mean(inked)) if len(inked) >= 6 else 0.0

    def sides(away: tuple[float, ...], reach: float = 0.3, points: int = 7) -> list[list[float]]:
        turns = (lambda f, n: (f, n)), (lambda f, n: (-f, n)), (lambda f, n: (n, f)), (lambda f, n: (n, -f))
        pairs = [(a + box.side / 2, n * box.side) for n in np.linspace(-reach, reach, points) for a in away]
        found = [[seen(dark, blank, box, middle, *turn(f, n)) for f, n in pairs] for turn in turns]
        return [[one for one in side if np.isfinite(one)] for side in found]

    rim = [one > 0.25 for side in sides((0.6, 0.75, 0.9)) for one in side]
    if ring > MOST_RING and rim and np.mean(rim) > 0.5:
        ring = MOST_RING
    broad = sides((0.9, 1.1, 1.3, 1.5, 1.7), 0.45)
    medians = sorted(float(np.median(side)) for side in broad if len(side) >= 7)
    lines = zip(*(sides((away,), 0.45, 19) for away in (0.6, 0.75, 0.9, 1.1, 1.3, 1.5, 1.7)), strict=True)
    leaving = max(min(max(line, default=0.0) for line in side) for side in lines)
    return Outside(ring, medians[-2] if len(medians) > 1 else 0.0, leaving)


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
    assert [one.leaving for one in found] == pytest.approx([one.leaving for one in expected], abs=1e-6)
    assert len({round(one.ring, 2) for one in found}) > 5
    assert min(one.leaving for one in found) < 0.1 < 0.6 < max(one.leaving for one in found)


@pytest.mark.parametrize("sheet", [asa(courses=3, questions=24), noa(), sitting(), marking()])
def test_print_hides_no_side_of_any_box(sheet: Sheet) -> None:
    """Along a side that cannot be seen a shadow would go on unnoticed."""
    for page in (page for page in sheet.pages if page.boxes):
        printed = blank_page(sheet, page.number, PER_MM)
        middles = np.array([box.centre for box in page.boxes])

        _, free = _sides(printed, printed, page.boxes, middles, (0.9, 1.1, 1.3, 1.5, 1.7), reach=0.45)

        assert free.sum(axis=2).min() >= 35 / 5


Line = tuple[float, float, float, float]


def read_alone(box: Box, blank: np.ndarray, *lines: Line, width: float, soft: float = 0.1) -> BoxReading:
    """Read a box on which lines lie.

    Args:
        box: the box.
        blank: its page as printed.
        lines: from and to, in millimetres beside the middle of the box; of darkness 0.55.
        width: how broad they are, in millimetres.
        soft: standard deviation, in millimetres, of how their edges are blurred.
    """
    # Some millimetres around it are enough.
    left, top = (int(middle) - 15 for middle in box.centre)
    rows, columns = (slice(int(at * PER_MM), int((at + 30) * PER_MM)) for at in (top, left))
    printed, moved = blank[rows, columns], replace(box, x=box.x - left, y=box.y - top)
    ink = np.zeros(printed.shape, np.float32)
    for line in lines:
        ends = ((np.array(line).reshape(2, 2) + moved.centre) * PER_MM).round().astype(int)
        cv2.line(ink, *map(tuple, ends.tolist()), 0.55, round(width * PER_MM), cv2.LINE_AA)
    ink = cv2.GaussianBlur(ink, (0, 0), soft * PER_MM)
    dark = 1 - printed.astype(np.float32) / 255 * (1 - ink)
    where = Registered(np.array([moved.centre]), np.ones(1), np.zeros(1, bool))
    (read,) = read_boxes(Flat(printed, dark, dark, 0.1, 0.01), printed, [moved], where)
    return read


def test_a_shadow_as_broad_as_a_box_is_no_mark(blank: np.ndarray) -> None:
    """It goes on above and below, or left and right, whatever is printed there; what is coloured in ends at its frame."""
    larger = [box for box in SHEET.page(1).boxes if not box.label]
    for box in (*BOXES, *larger):
        shadows = [
            read_alone(box, blank, line, width=box.side, soft=0.4)
            for line in ((0.0, -40.0, 0.0, 40.0), (-40.0, 0.0, 40.0, 0.0))
        ]
        reach = box.side / 2 - 1.3
        rows = ((-reach, y, reach, y) for y in np.linspace(-reach, reach, 9))
        coloured = read_alone(box, blank, *rows, width=2.0)

        assert [one.state for one in shadows] == [State.UNSURE] * 2, box
        assert coloured.state is State.MARKED, box


def test_two_lines_that_meet_in_a_box_are_no_cross(blank: np.ndarray) -> None:
    """Each runs on beyond the frame; a cross ends at its corners."""
    box = BOXES[3]

    cross = read_alone(box, blank, (-2.7, -2.7, 2.7, 2.7), (-2.7, 2.7, 2.7, -2.7), width=0.6)
    met = read_alone(box, blank, (-7.0, -2.0, 2.4, 1.6), (-1.5, 6.0, 2.2, -3.0), width=0.6)

    assert cross.state is State.MARKED
    assert (met.state, met.reason) == (State.UNSURE, "a stroke that runs through it")


@pytest.mark.parametrize("count", [0, 1, 40])
def test_a_field_on_the_nodes_is_the_field_at_their_places(count: int) -> None:
    rng = np.random.default_rng(12)
    places, moves = rng.uniform(10, 200, (count, 2)), rng.normal(0, 0.4, (count, 2))
    scores = rng.uniform(0.2, 1.0, count)
    x, y = np.meshgrid(np.arange(9) * _NODE, np.arange(13) * _NODE)

    on_nodes = _smoothed_on_nodes(places, moves, scores, (13, 9))

    at_places = smoothed(places, moves, scores, np.stack([x.ravel(), y.ravel()], axis=1))
    assert on_nodes.reshape(-1, 2) == pytest.approx(at_places, abs=1e-9)
