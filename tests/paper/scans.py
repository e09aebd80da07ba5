"""Scans of sheets without any camera: the printed page with boxes coloured in. Where reading itself is not the matter."""

from collections.abc import Iterable

import cv2
import numpy as np

from markstead.paper.draw import draw_png
from markstead.paper.layout import Sheet

PER_MM = 6.0


def scan(
    sheet: Sheet, key: bytes, marked: Iterable[str] = (), *, page: int = 1, half: Iterable[str] = ()
) -> bytes:
    """A page as PNG in which these boxes are coloured in, and others by half only, which no reader can be sure of."""
    grey = cv2.imdecode(np.frombuffer(draw_png(sheet, key, page, PER_MM), np.uint8), cv2.IMREAD_GRAYSCALE)
    boxes = {box.id: box for box in sheet.page(page).boxes}
    for name, share in (*((name, 1.0) for name in marked), *((name, 0.22) for name in half)):
        box = boxes[name]
        x, y, side = box.x + 0.4, box.y + 0.4, box.side - 0.8
        rows = slice(round(y * PER_MM), round((y + side) * PER_MM))
        grey[rows, round(x * PER_MM) : round((x + side * share) * PER_MM)] = 50
    return cv2.imencode(".png", grey)[1].tobytes()
