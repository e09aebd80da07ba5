"""Scans of sheets without any camera: the printed page with boxes coloured in. Where reading itself is not the matter."""

from collections.abc import Iterable

import cv2
import numpy as np

from markstead.paper.draw import draw_png
from markstead.paper.layout import Sheet

PER_MM = 6.0


def scan(
    sheet: Sheet,
    key: bytes,
    marked: Iterable[str] = (),
    *,
    page: int = 1,
    half: Iterable[str] = (),
    per_mm: float = PER_MM,
) -> bytes:
    """A page as PNG in which these boxes are coloured in, and others by half only, which no reader can be sure of."""
    grey = cv2.imdecode(np.frombuffer(draw_png(sheet, key, page, per_mm), np.uint8), cv2.IMREAD_GRAYSCALE)
    boxes = {box.id: box for box in sheet.page(page).boxes}
    for name, share in (*((name, 1.0) for name in marked), *((name, 0.22) for name in half)):
        box = boxes[name]
        x, y, side = box.x + 0.4, box.y + 0.4, box.side - 0.8
        rows = slice(round(y * per_mm), round((y + side) * per_mm))
        grey[rows, round(x * per_mm) : round((x + side * share) * per_mm)] = 50
    return cv2.imencode(".png", grey)[1].tobytes()
