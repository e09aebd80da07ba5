"""Files that are no pictures, and pictures that are too large: a sentence, before anything large is unpacked."""

import io
import struct
import tracemalloc
import zlib

import cv2
import numpy as np
import pypdfium2
import pytest

from markstead.errors import InputError
from markstead.paper.draw import draw_pdf
from markstead.paper.pictures import MOST_BYTES, open_pictures
from tests.paper.cast import KEY, noa


def png(width: int, height: int, content: bytes = b"") -> bytes:
    """A PNG file as its standard builds it (W3C PNG, 5 and 11.2), with any pixels or none."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", content) + chunk(b"IEND", b"")


def picture(form: str = ".jpg") -> bytes:
    return cv2.imencode(form, np.full((400, 300, 3), 200, np.uint8))[1].tobytes()


REFUSED = {
    "nothing": (b"", "empty file"),
    "text": (b"dear diary, " * 99, "not an image we know"),
    "a web page": (b"<!doctype html><html></html>", "not an image we know"),
    "a GIF": (b"GIF89a" + bytes(99), "not an image we know"),
    "a JPEG that breaks off in its header": (picture()[:30], "not an image we know"),
    "a PNG without pixels": (png(300, 400), "damaged"),
    "100 megapixels": (png(10_000, 10_000), "100 megapixels"),
    "a bomb of 4 gigapixels": (png(65_000, 65_000, zlib.compress(bytes(1000))), "4225 megapixels"),
    "a very long picture": (png(25_000, 300), "25000 x 300"),
    "a stamp": (png(64, 64), "64 x 64"),
    "a damaged PDF": (b"%PDF-1.7\n" + bytes(99), "damaged"),
    "a damaged HEIC": (b"\0\0\0\x18ftypheic" + bytes(99), "damaged"),
}


@pytest.mark.parametrize(("content", "found"), REFUSED.values(), ids=REFUSED.keys())
def test_what_is_no_picture_gets_a_sentence(content: bytes, found: str) -> None:
    with pytest.raises(InputError, match=found) as caught:
        list(open_pictures("photo.jpg", content))

    assert caught.value.problems[0].where == "photo.jpg"


def test_a_file_of_too_many_megabytes_is_refused() -> None:
    with pytest.raises(InputError, match="61 megabytes"):
        list(open_pictures("photo.jpg", bytes(MOST_BYTES + 1_000_000)))


def test_a_bomb_is_refused_before_it_is_unpacked() -> None:
    """Unpacked it would take 4 GB; a refusal takes less than 5 MB."""
    bomb = png(65_000, 65_000, zlib.compress(bytes(10_000_000)))
    tracemalloc.start()
    with pytest.raises(InputError):
        list(open_pictures("photo.png", bomb))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert most < 5_000_000


def test_a_jpeg_whose_header_lies_about_its_size_is_refused() -> None:
    content = bytearray(picture())
    at = content.index(b"\xff\xc0") + 5
    content[at : at + 4] = struct.pack(">HH", 20_000, 20_000)

    with pytest.raises(InputError, match="400 megapixels"):
        list(open_pictures("photo.jpg", bytes(content)))


@pytest.mark.parametrize("form", [".jpg", ".png"])
def test_a_picture_comes_out_in_grey_in_its_own_size(form: str) -> None:
    (one,) = open_pictures("photo", picture(form))

    assert one.grey.shape == (400, 300)
    assert abs(int(one.grey.mean()) - 200) <= 1


def test_a_jpeg_that_breaks_off_in_its_pixels_is_refused_or_grey() -> None:
    """OpenCV fills the rest of a broken JPEG with grey; then there is no sheet in it. Nothing else may happen."""
    noise = np.random.default_rng(1).integers(0, 255, (400, 300), np.uint8)
    content = cv2.imencode(".jpg", noise)[1].tobytes()

    try:
        (one,) = open_pictures("photo", content[: len(content) // 2])
    except InputError:
        return
    assert one.grey.shape == (400, 300)


def test_a_telephone_that_was_held_sideways_is_believed() -> None:
    """Exif orientation 6 (Exif 2.32, tag 0x0112): the first row is the picture's right side."""
    exif = b"Exif\0\0II*\0\x08\0\0\0\x01\0" + struct.pack("<HHII", 0x0112, 3, 1, 6) + b"\0\0\0\0"
    content = picture()
    turned = content[:2] + b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif + content[2:]

    (one,) = open_pictures("photo", turned)

    assert one.grey.shape == (300, 400)


def test_a_heic_picture_is_opened() -> None:
    """Written by pillow-heif with its own encoder, read by the decoder that ships."""
    from PIL import Image
    from pillow_heif import from_pillow

    grey = np.tile(np.linspace(0, 255, 320, dtype=np.uint8), (400, 1))
    file = io.BytesIO()
    from_pillow(Image.fromarray(np.dstack([grey] * 3))).save(file, quality=90)

    (one,) = open_pictures("photo.heic", file.getvalue())

    assert one.grey.shape == (400, 320)
    # Lossy: a few levels of 255 on average.
    assert np.abs(one.grey.astype(int) - grey).mean() < 4


def test_a_pdf_gives_a_picture_for_each_page() -> None:
    pictures = list(open_pictures("scan.pdf", draw_pdf(noa(), KEY)))

    assert [one.name for one in pictures] == ["scan.pdf, page 1", "scan.pdf, page 2"]


def test_a_pdf_of_a_hundred_pages_is_refused() -> None:
    document = pypdfium2.PdfDocument.new()
    for _ in range(100):
        document.new_page(595, 842)
    file = io.BytesIO()
    document.save(file)

    with pytest.raises(InputError, match="100 pages"):
        list(open_pictures("scan.pdf", file.getvalue()))


def test_a_pdf_with_a_page_of_a_hundred_metres_is_refused() -> None:
    document = pypdfium2.PdfDocument.new()
    document.new_page(14_400, 14_400)
    file = io.BytesIO()
    document.save(file)

    with pytest.raises(InputError, match="megapixels"):
        list(open_pictures("scan.pdf", file.getvalue()))
