"""From a layout to paper: PDF for the printer, and the blank page that the reader compares a photograph with."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from markstead.paper.codes import modules_of, outline, page_code
from markstead.paper.identity import write_typed
from markstead.paper.layout import Page, Sheet, plain, second_place
from markstead.speech import language, say

TEMPLATE = Path(__file__).with_name("sheet.typ")
_STAMP = datetime(2000, 1, 1, tzinfo=UTC)
"""The same sheet is the same file, byte for byte: no clock is printed into it."""


def draw_pdf(sheet: Sheet, key: bytes) -> bytes:
    """Draw all pages of a sheet as a PDF; the same sheet and key give the same bytes.

    `key` signs the codes of a sheet that is to be read; a sheet for the wall carries none.
    """
    return draw_together((sheet,), key)


def draw_together(sheets: Sequence[Sheet], key: bytes) -> bytes:
    """Draw sheets of one size of paper as one PDF, one after the other.

    Raises:
        ValueError: no sheet, or two sizes of paper.
    """
    if len({sheet.paper for sheet in sheets}) != 1:
        raise ValueError(f"{len(sheets)} sheets; wanted are some, all on paper of one size")
    told = json.loads(_described(sheets[0], (), key))
    told["pages"] = [_page(sheet, page, key) for sheet in sheets for page in sheet.pages]
    return _compile({"sheet": json.dumps(told, ensure_ascii=False)}, "pdf")


def draw_png(sheet: Sheet, key: bytes, page: int = 1, per_mm: float = 8.0) -> bytes:
    """Draw one page as a PNG with so many pixels to the millimetre, to be looked at."""
    return _compile({"sheet": _described(sheet, (sheet.page(page),), key)}, "png", per_mm * 25.4)


def placed_boxes(sheet: Sheet) -> dict[tuple[int, str], tuple[float, float]]:
    """Ask the typesetter where it put each box: left and top in millimetres, by page and id."""
    compiler = _compiler({"sheet": _described(sheet, sheet.pages, None), "probe": "yes"})
    found = json.loads(compiler.eval("query(<box>).map(e => (e.value, e.location().position()))"))
    return {
        (value["page"], value["id"]): (_millimetres(place["x"]), _millimetres(place["y"]))
        for value, place in found
    }


def _millimetres(length: str) -> float:
    return float(length.removesuffix("pt")) * 25.4 / 72.0


@cache
def _fonts() -> Any:
    import fontpkg_lexend  # type: ignore[import-untyped]
    import typst

    folder = Path(fontpkg_lexend.__file__).parent / "files"
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(folder)])


def _compiler(inputs: dict[str, str]) -> Any:
    import typst

    return typst.Compiler(
        str(TEMPLATE),
        root=str(TEMPLATE.parent),
        font_paths=_fonts(),
        ignore_system_fonts=True,
        sys_inputs=inputs,
    )


def _compile(inputs: dict[str, str], form: str, ppi: float | None = None) -> bytes:
    if form == "pdf":
        return bytes(_compiler(inputs).compile(format="pdf", timestamp=_STAMP))
    return bytes(_compiler(inputs).compile(format=form, ppi=ppi))


def _described(sheet: Sheet, pages: tuple[Page, ...], key: bytes | None) -> str:
    said = {
        "title": say(sheet.kind.value),
        "lang": language().code.split("-")[0],
        "width": sheet.paper.width,
        "height": sheet.paper.height,
        "pages": [_page(sheet, page, key) for page in pages],
    }
    return json.dumps(said, ensure_ascii=False)


def _page(sheet: Sheet, page: Page, key: bytes | None) -> dict[str, Any]:
    said = plain(page)
    for box in said["boxes"]:
        box["page"] = page.number
    said["modules"] = []
    if page.boxes and key is not None:
        code = page_code(sheet, page.number, key)
        said["modules"] = [
            {"x": x, "y": y, "side": side, "svg": outline(modules)}
            for x, y, side, modules in modules_of(sheet.paper, code)
        ]
        said["texts"] = [*said["texts"], _typed_id(sheet, page.number, key)]
    return said


def _typed_id(sheet: Sheet, page: int, key: bytes) -> dict[str, Any]:
    x, y, side = second_place(sheet.paper)
    words = f"id {write_typed(sheet.id, page, key)}"
    place = {"x": x + side + 3.0, "y": y + side - 4.0, "width": 70.0}
    return {**place, "text": words, "size": 8.5, "weight": 400, "align": "left", "shade": 0}


def blank_page(sheet: Sheet, page: int, per_mm: float) -> Any:
    """Draw a page without its codes, as grey levels of a NumPy array; the reader's picture of an untouched sheet."""
    import cv2
    import pypdfium2  # type: ignore[import-untyped]

    drawn = _compile({"sheet": _described(sheet, (sheet.page(page),), None)}, "pdf")
    document = pypdfium2.PdfDocument(drawn)
    try:
        grey = document[0].render(scale=per_mm * 25.4 / 72.0, grayscale=True).to_numpy().copy()
    finally:
        document.close()
    # The renderer rounds the size up and stretches the page to it.
    size = (round(sheet.paper.width * per_mm), round(sheet.paper.height * per_mm))
    return cv2.resize(grey.reshape(grey.shape[:2]), size, interpolation=cv2.INTER_LINEAR)
