"""What comes out of the printer, measured and read by other libraries than those that made it."""

from collections.abc import Iterator

import cv2
import numpy as np
import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from markstead.paper.codes import marker_modules, page_code, qr_modules, second_modules
from markstead.paper.day import day_sheet
from markstead.paper.draw import draw_pdf, draw_png, draw_together, placed_boxes
from markstead.paper.layout import Paper, Sheet, marker_corners
from markstead.paper.matrix import matrix_rows
from tests.paper.cast import KEY, asa, day, marking, noa, road, sitting, week

READ = {
    f"{name} on {paper}": make(paper)
    for name, make in {"asa": asa, "noa": noa, "sitting": sitting, "marking": marking}.items()
    for paper in Paper
}


def rendered(sheet: Sheet, per_mm: float) -> Iterator[np.ndarray]:
    """Each page of the PDF in grey, by PDFium."""
    document = pypdfium2.PdfDocument(draw_pdf(sheet, KEY))
    for page in document:
        grey = page.render(scale=per_mm * 25.4 / 72, grayscale=True).to_numpy()
        yield grey.reshape(grey.shape[:2]).copy()
    document.close()


@pytest.mark.parametrize("sheet", READ.values(), ids=READ.keys())
class TestEverySheetThatIsRead:
    def test_the_typesetter_puts_every_box_where_the_layout_says(self, sheet: Sheet) -> None:
        """0.01 mm is the bar; Typst writes points with two decimals or more, 0.0035 mm."""
        placed = placed_boxes(sheet)
        boxes = {(page.number, box.id): (box.x, box.y) for page in sheet.pages for box in page.boxes}

        assert placed.keys() == boxes.keys()
        assert max(abs(a - b) for key in boxes for a, b in zip(placed[key], boxes[key], strict=True)) <= 0.01

    def test_frames_lie_on_the_rendered_page_where_the_layout_says(self, sheet: Sheet) -> None:
        """PDFium renders, OpenCV measures. At 20 pixels a millimetre a frame's middle is known to .05 mm; 0.1 mm is the bar."""
        for page, grey in zip(sheet.pages, rendered(sheet, 20.0), strict=True):
            scale = (grey.shape[1] / sheet.paper.width, grey.shape[0] / sheet.paper.height)
            away = [
                _beside(grey, box.x * scale[0], box.y * scale[1], box.side * scale[0]) for box in page.boxes
            ]
            assert max(away) / 20.0 <= 0.1

    def test_opencv_finds_the_corner_markers_where_the_layout_says(self, sheet: Sheet) -> None:
        """The markers are drawn here from their words and read by OpenCV's own dictionary."""
        grey = next(rendered(sheet, 8.0))
        finder = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12))
        corners, ids, _ = finder.detectMarkers(grey)
        found = {int(one): four.reshape(4, 2) / 8.0 for one, four in zip(np.ravel(ids), corners, strict=True)}

        assert sorted(found) == sorted(sheet.paper.markers)
        for one, four in marker_corners(sheet.paper).items():
            # One pixel is .125 mm; corners are found to the pixel.
            assert np.abs(found[one] - np.array(four)).max() < 0.2

    def test_both_codes_are_read_by_a_library_that_did_not_draw_them(self, sheet: Sheet) -> None:
        """segno and our own Data Matrix draw, zxing-cpp reads; a grey print at 150 dots an inch."""
        for page, grey in zip(sheet.pages, rendered(sheet, 150 / 25.4), strict=True):
            codes = zxingcpp.read_barcodes(grey)

            assert {code.format for code in codes} == {
                zxingcpp.BarcodeFormat.QRCode,
                zxingcpp.BarcodeFormat.DataMatrix,
            }
            assert {code.text for code in codes} == {page_code(sheet, page.number, KEY)}


def _beside(grey: np.ndarray, x: float, y: float, side: float) -> float:
    """Pixels between a box's middle and the middle of the four darkest lines around it."""
    reach = 12
    ends = []
    for start, along_rows in ((x, False), (x + side, False), (y, True), (y + side, True)):
        low = round(start) - reach
        middle = (x if along_rows else y) + side / 2
        across = slice(round(middle - side / 5), round(middle + side / 5))
        area = (
            grey[low : low + 2 * reach + 1, across]
            if along_rows
            else grey[across, low : low + 2 * reach + 1].T
        )
        dark = 255.0 - area.mean(axis=1)
        dark[dark < 40] = 0
        ends.append(low + float((dark * np.arange(len(dark))).sum() / dark.sum()) + 0.5 - start)
    return max(abs(ends[0] + ends[1]), abs(ends[2] + ends[3])) / 2


@pytest.mark.parametrize(
    "sheet", [asa(), noa(Paper.LETTER), week(), road()], ids=["asa", "noa", "week", "road"]
)
def test_the_same_sheet_is_the_same_file_byte_for_byte(sheet: Sheet) -> None:
    assert draw_pdf(sheet, KEY) == draw_pdf(sheet, KEY)


@pytest.mark.parametrize("paper", list(Paper))
def test_a_page_of_the_file_has_the_size_of_its_paper(paper: Paper) -> None:
    document = pypdfium2.PdfDocument(draw_pdf(asa(paper), KEY))
    width, height = document[0].get_size()

    # PDF sizes are points of 1/72 inch; the typesetter rounds to thousandths.
    assert (width * 25.4 / 72, height * 25.4 / 72) == pytest.approx((paper.width, paper.height), abs=0.001)


def test_words_of_a_learner_cannot_become_commands_of_the_typesetter() -> None:
    odd = 'Asa #panic("no") $x$ \\ <box> "quoted" *bold*'
    document = pypdfium2.PdfDocument(draw_pdf(week_of(odd), KEY))

    assert odd in document[0].get_textpage().get_text_bounded().replace("\r\n", " ")


def test_a_long_name_stands_in_two_lines_above_the_day() -> None:
    """What would shrink below half its size is set in two lines of half the size; PDFium says where letters stand."""
    name = "Maximiliana Theodora Anna-Katharina von Hohenfels-Windischgraetz"
    long = day(1, name=name)
    text = pypdfium2.PdfDocument(draw_pdf(day_sheet(long, sheet_id="00" * 8), KEY))[0].get_textpage()
    places = {
        word: text.get_charbox(text.get_text_range().replace("\r\n", "  ").index(word))
        for word in ("Maximiliana", "Hohenfels", long.day)
    }
    (left, first, _, _), (_, second, _, top), (_, _, _, below) = places.values()

    assert left == pytest.approx(places[long.day][0], abs=1.0)
    assert first > top  # higher on the page is more
    assert second > below


def week_of(name: str) -> Sheet:
    """A week of one learner."""
    from markstead.paper.wall import WeekRow, week_sheet

    return week_sheet(
        "This week", "March", ("Monday",), (WeekRow(name, ((("Sums", "1 to 4"),),)),), sheet_id="00" * 8
    )


def test_the_second_code_is_as_small_as_another_library_makes_it() -> None:
    """zxing-cpp too needs 24 x 24 modules for the same letters."""
    code = page_code(asa(), 1, KEY)
    other = zxingcpp.create_barcode(code, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    drawn = np.array(other.to_image(scale=1, add_quiet_zones=False)) < 128

    assert drawn.shape == (24, 24)
    assert np.array(second_modules(code)).shape == drawn.shape


@settings(max_examples=60, deadline=None)
@given(code=st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", min_size=30, max_size=51))
def test_any_letters_and_digits_in_a_second_code_are_read_by_another_library(code: str) -> None:
    modules = np.pad(np.array(matrix_rows(code)), 2)
    picture = np.kron(np.where(modules, 0, 255).astype(np.uint8), np.ones((4, 4), np.uint8))

    assert [one.text for one in zxingcpp.read_barcodes(picture)] == [code]


def test_a_second_code_survives_five_damaged_words() -> None:
    """24 words of check mend 12 damaged ones (Reed and Solomon 1960); 40 modules are at most 40 words, here 5 by 8."""
    code = page_code(asa(), 1, KEY)
    modules = np.array(matrix_rows(code))
    modules[8:16, 8:13] ^= True
    picture = np.kron(np.where(np.pad(modules, 2), 0, 255).astype(np.uint8), np.ones((4, 4), np.uint8))

    assert [one.text for one in zxingcpp.read_barcodes(picture)] == [code]


@pytest.mark.parametrize("code", ["A" * 52, "small", "A-B"])
def test_what_has_no_room_in_a_second_code_is_our_mistake(code: str) -> None:
    with pytest.raises(ValueError, match=r"room for 51|more than capital"):
        matrix_rows(code)


def test_a_qr_code_has_the_size_of_its_version() -> None:
    """Version 3 has 29 modules a side: 17 + 4 x 3 (ISO/IEC 18004)."""
    assert len(qr_modules(page_code(asa(), 1, KEY))) == 29


@pytest.mark.parametrize("marker", range(8))
def test_markers_are_those_of_opencv(marker: int) -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)

    assert np.array_equal(np.array(marker_modules(marker)), dictionary.generateImageMarker(marker, 8) < 128)


def test_the_qr_code_is_read_by_a_second_reader_too() -> None:
    """OpenCV's own detector, which shares nothing with segno or zxing-cpp."""
    grey = next(rendered(asa(), 8.0))
    text, *_ = cv2.QRCodeDetector().detectAndDecode(grey[: 40 * 8, 150 * 8 :])

    assert text == page_code(asa(), 1, KEY)


def test_several_sheets_are_one_file_and_two_sizes_of_paper_are_not() -> None:
    document = pypdfium2.PdfDocument(draw_together((asa(), noa()), KEY))
    assert len(document) == 3
    with pytest.raises(ValueError, match="one size"):
        draw_together((asa(), asa(Paper.LETTER)), KEY)


def test_a_sheet_for_the_wall_carries_no_code() -> None:
    grey = next(rendered(week(), 8.0))

    assert zxingcpp.read_barcodes(grey) == []


def test_a_page_can_be_looked_at_as_a_picture() -> None:
    picture = cv2.imdecode(np.frombuffer(draw_png(asa(), KEY, 1, 4.0), np.uint8), cv2.IMREAD_GRAYSCALE)

    assert abs(picture.shape[0] - 297 * 4) <= 1
    assert abs(picture.shape[1] - 210 * 4) <= 1
