"""From a file to grey pictures: what is not an image is told from what is, before anything large is unpacked."""

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from markstead.errors import InputError, Problem
from markstead.speech import later, say

if TYPE_CHECKING:
    from markstead.paper.arrays import Grey

MOST_BYTES = 60_000_000
MOST_PIXELS = 64_000_000
"""A telephone's picture has 8 to 50 million; 100 million would need more memory than a small computer has."""
MOST_PAGES = 40
SCAN_PER_INCH = 200
ALLOWED = later("a photograph or scan as JPEG, PNG, HEIC or PDF, of up to 64 megapixels and 60 megabytes")


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture of a file: a PDF holds one for each of its pages."""

    name: str
    grey: "Grey"


def open_pictures(name: str, content: bytes) -> Iterator[Picture]:
    """Open a file as grey pictures, one at a time.

    Size is taken from the file's header before its pixels are unpacked, so that a small file cannot fill the memory.

    Raises:
        InputError: the file is no image, is damaged, or is too large.
    """
    if not content:
        raise _refusal(name, say("an empty file"), say("Take the picture again."))
    if len(content) > MOST_BYTES:
        raise _refusal(
            name,
            say("{megabytes:.0f} megabytes", megabytes=len(content) / 1e6),
            say("Take it with a lower resolution."),
        )
    if content.startswith(b"%PDF-"):
        yield from _pdf(name, content)
    elif content[4:8] == b"ftyp":
        yield Picture(name, _heic(name, content))
    else:
        yield Picture(name, _raster(name, content))


def _refusal(name: str, found: str, do: str = "") -> InputError:
    return InputError([Problem(name, found, say(ALLOWED), do)])


def _damaged(name: str) -> InputError:
    return _refusal(
        name, say("a picture that breaks off or is damaged"), say("Send it again, or take it again.")
    )


def _check_size(name: str, width: int, height: int) -> None:
    if width * height > MOST_PIXELS or max(width, height) > 20_000:
        found = say(
            "a picture of {width} x {height} = {megapixels:.0f} megapixels",
            width=width,
            height=height,
            megapixels=width * height / 1e6,
        )
        raise _refusal(name, found, say("Take it with a lower resolution."))
    if min(width, height) < 200:
        raise _refusal(
            name,
            say("a picture of only {width} x {height} points", width=width, height=height),
            say("Take it with a higher resolution."),
        )


def _raster(name: str, content: bytes) -> "Grey":
    import cv2
    import numpy as np

    size = _jpeg_size(content) if content.startswith(b"\xff\xd8\xff") else _png_size(content)
    if size is None:
        raise _refusal(
            name, say("a file that is not an image we know"), say("Save it as JPEG, PNG, HEIC or PDF.")
        )
    _check_size(name, *size)
    try:
        grey = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    except cv2.error:
        grey = None
    if grey is None:
        raise _damaged(name)
    return grey


def _png_size(content: bytes) -> tuple[int, int] | None:
    if not content.startswith(b"\x89PNG\r\n\x1a\n") or content[12:16] != b"IHDR" or len(content) < 24:
        return None
    width, height = struct.unpack(">II", content[16:24])
    return int(width), int(height)


def _jpeg_size(content: bytes) -> tuple[int, int] | None:
    """Find the frame header (ISO/IEC 10918-1, B.2.2): markers SOF0 to SOF15 without DHT, JPG and DAC."""
    at = 2
    while at + 9 < len(content):
        if content[at] != 0xFF:
            return None
        marker = content[at + 1]
        if marker == 0xFF:
            at += 1
        elif 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack(">HH", content[at + 5 : at + 9])
            return int(width), int(height)
        elif marker == 0x01 or 0xD0 <= marker <= 0xD8:
            at += 2
        else:
            at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    return None


def _heic(name: str, content: bytes) -> "Grey":
    import numpy as np
    import pillow_heif

    try:
        opened = pillow_heif.open_heif(io.BytesIO(content), convert_hdr_to_8bit=True)
    except (ValueError, SyntaxError, EOFError, RuntimeError):
        raise _damaged(name) from None
    _check_size(name, *opened.size)
    try:
        colours = np.asarray(opened)
    except (ValueError, SyntaxError, EOFError, RuntimeError):
        raise _damaged(name) from None
    return _to_grey(colours)


def _to_grey(colours: Any) -> "Grey":
    import cv2

    grey: Grey = colours if colours.ndim == 2 else cv2.cvtColor(colours[..., :3], cv2.COLOR_RGB2GRAY)
    return grey


def _pdf(name: str, content: bytes) -> Iterator[Picture]:
    import numpy as np
    import pypdfium2  # type: ignore[import-untyped]

    try:
        document = pypdfium2.PdfDocument(content)
    except pypdfium2.PdfiumError:
        raise _damaged(name) from None
    try:
        if len(document) > MOST_PAGES:
            raise _refusal(
                name,
                say("a PDF of {n} pages", n=len(document)),
                say("Send at most {most} pages at a time.", most=MOST_PAGES),
            )
        for number in range(len(document)):
            page = document[number]
            scale = SCAN_PER_INCH / 72
            _check_size(name, round(page.get_width() * scale), round(page.get_height() * scale))
            drawn = page.render(scale=scale, grayscale=True)
            yield Picture(
                say("{name}, page {number}", name=name, number=number + 1),
                np.array(drawn.to_numpy()).reshape(drawn.height, drawn.width),
            )
    finally:
        document.close()
