"""Corner markers and codes as squares of black modules, ready to be drawn."""

from markstead.paper.identity import Identity, write_code
from markstead.paper.layout import MARKER, Paper, Sheet, layout_hash, marker_places, qr_place, second_place
from markstead.paper.matrix import matrix_rows

Modules = tuple[tuple[bool, ...], ...]
"""Rows from the top; true is black."""

_MARKER_WORDS = {
    0: 0xD2B63A09D,
    1: 0x6001134E5,
    2: 0x1206FBE72,
    3: 0xFF8AD6CB4,
    4: 0x85DA9BC49,
    5: 0xB461AFE9C,
    6: 0x6DB51FE13,
    7: 0x5248C541F,
}
"""The first eight words of OpenCV's dictionary DICT_ARUCO_MIP_36h12, six rows of six, white is 1. Kept here so that
printing needs no OpenCV. Words differ in at least 12 modules, in every turn (Garrido-Jurado et al. 2016,
Pattern Recognition 51, 481-491)."""


def marker_modules(marker: int) -> Modules:
    """Draw a marker: six by six modules of its word within a black border.

    Raises:
        KeyError: no sheet carries this marker.
    """
    word = f"{_MARKER_WORDS[marker]:036b}"
    border = (True,) * 8
    rows = tuple((True, *(bit == "0" for bit in word[n : n + 6]), True) for n in range(0, 36, 6))
    return (border, *rows, border)


def qr_modules(code: str) -> Modules:
    """Draw a code as a QR code (ISO/IEC 18004) of version 3, level Q, without its white rim."""
    import segno

    drawn = segno.make_qr(code, version=3, error="q", mode="alphanumeric", boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in drawn.matrix)


def second_modules(code: str) -> Modules:
    """Draw a code as a square Data Matrix (ISO/IEC 16022, ECC 200), without its white rim."""
    return matrix_rows(code)


def page_code(sheet: Sheet, page: int, key: bytes) -> str:
    """Write the signed code of a page."""
    return write_code(Identity(sheet.id, page, layout_hash(sheet)), key)


def modules_of(paper: Paper, code: str) -> list[tuple[float, float, float, Modules]]:
    """List everything of a page that is made of modules: left, top, side in millimetres, and the modules."""
    markers = [(x, y, MARKER, marker_modules(one)) for one, (x, y) in marker_places(paper).items()]
    return [
        *markers,
        (*qr_place(paper), qr_modules(code)),
        (*second_place(paper), second_modules(code)),
    ]


def outline(modules: Modules) -> str:
    """Draw modules as one SVG picture, a run of black modules as one rectangle."""
    count = len(modules)
    runs = []
    for y, row in enumerate(modules):
        x = 0
        while x < count:
            start = x
            while x < count and row[x]:
                x += 1
            if x > start:
                runs.append(f"M{start} {y}h{x - start}v1h-{x - start}z")
            x += 1
    path = "".join(runs)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {count} {count}" '
        f'shape-rendering="crispEdges"><path d="{path}"/></svg>'
    )
