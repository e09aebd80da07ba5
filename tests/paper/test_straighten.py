"""Codes on crumpled paper: drawn by one library, bent, straightened, and read by another."""

from typing import Any

import cv2
import numpy as np
import pytest
import zxingcpp

from markstead.paper.codes import page_code, qr_modules
from markstead.paper.matrix import matrix_rows
from markstead.paper.straighten import Pattern, matrix_pattern, qr_pattern, straightened
from tests.paper.cast import KEY, OTHER_KEY, asa, noa

CODES = [page_code(sheet, page, key) for sheet, page in ((asa(), 1), (noa(), 2)) for key in (KEY, OTHER_KEY)]
RIM = 3
PLACE = (30.0, 30.0, 20.0)
"""Where the code lies on the paper of these tests: left, top and side in millimetres."""
PER_MM = 9.0
KINDS = {"QRCode": qr_pattern(), "DataMatrix": matrix_pattern()}


def other_librarys(kind: str, code: str) -> Any:
    """The modules as zxing-cpp draws them, true is black."""
    form = getattr(zxingcpp.BarcodeFormat, kind)
    options = {"ec_level": "Q", "version": 3} if kind == "QRCode" else {"force_square": True}
    drawn = zxingcpp.create_barcode(code, form, **options).to_image(scale=1, add_quiet_zones=False)
    return np.array(drawn) < 128


def on_paper(kind: str, code: str, waves: float, rng: np.random.Generator) -> Any:
    """The code on paper that shifts it by waves of 60 mm with this amplitude in millimetres, somewhat blurred."""
    modules = np.array(qr_modules(code) if kind == "QRCode" else matrix_rows(code))
    x0, y0, side = PLACE
    y, x = np.mgrid[0 : 80 * PER_MM, 0 : 80 * PER_MM].astype(np.float32) / np.float32(PER_MM)
    turns = rng.uniform(0, 2 * np.pi, 4)
    dx = waves * (np.sin(y * 2 * np.pi / 60 + turns[0]) + 0.5 * np.sin(x * 2 * np.pi / 60 + turns[1]))
    dy = waves * (np.sin(x * 2 * np.pi / 60 + turns[2]) + 0.5 * np.sin(y * 2 * np.pi / 60 + turns[3]))
    columns, rows = (
        ((each - low) / side * len(modules) * 8 - 0.5).astype(np.float32)
        for each, low in ((x + dx, x0), (y + dy, y0))
    )
    levels = np.kron(np.where(modules, 40, 200).astype(np.uint8), np.ones((8, 8), np.uint8))
    seen = cv2.remap(levels, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=200)
    seen = cv2.GaussianBlur(seen, (0, 0), 0.12 * PER_MM).astype(np.float32)
    return np.clip(seen + rng.normal(0, 4, seen.shape), 0, 255).astype(np.uint8)


def read_straightened(picture: Any, pattern: Pattern) -> set[str]:
    """Everything that another library reads in what is drawn anew."""
    to_picture = np.diag([PER_MM, PER_MM, 1.0])
    drawn = straightened(picture, to_picture, PLACE, pattern)
    return {code.text for one in drawn for code in zxingcpp.read_barcodes(one, try_invert=False)}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("code", CODES)
def test_what_is_said_to_be_in_every_code_is_in_those_of_two_libraries(kind: str, code: str) -> None:
    """segno's QR code, our own Data Matrix, and both of zxing-cpp."""
    pattern = KINDS[kind]
    ours = np.array(qr_modules(code) if kind == "QRCode" else matrix_rows(code))
    same = pattern.known != 0

    for modules in (ours, other_librarys(kind, code)):
        assert modules.shape == (pattern.side, pattern.side)
        drawn = np.pad(np.where(modules, 1, -1), RIM, constant_values=-1)
        assert (drawn == pattern.known)[same].all()


@pytest.mark.parametrize("kind", KINDS)
def test_a_bent_code_is_read_that_is_not_read_as_it_lies(kind: str) -> None:
    """Most of twelve are too bent for the library, and all are read once they were straightened."""
    form = getattr(zxingcpp.BarcodeFormat, kind)
    as_it_lies = straight = 0
    for n in range(12):
        rng = np.random.default_rng([7, n])
        code = CODES[n % len(CODES)]
        picture = on_paper(kind, code, 1.3, rng)
        as_it_lies += any(one.text == code for one in zxingcpp.read_barcodes(picture, formats=form))
        straight += read_straightened(picture, KINDS[kind]) == {code}

    assert as_it_lies <= 6
    assert straight == 12


@pytest.mark.parametrize("pattern", KINDS.values(), ids=KINDS)
def test_nothing_is_read_where_there_is_no_code(pattern: Pattern) -> None:
    rng = np.random.default_rng(5)
    empty = np.full((720, 720), 190, np.uint8)
    grain = rng.integers(0, 255, (720, 720)).astype(np.uint8)

    assert read_straightened(empty, pattern) == set()
    assert read_straightened(grain, pattern) == set()
