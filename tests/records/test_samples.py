"""Samples: judged by what is in the file, drawn anew without what a camera writes beside it, kept once, taken away for good."""

import io
import struct
import zlib
from collections.abc import Iterator
from datetime import date
from hashlib import sha256
from pathlib import Path

import pillow_heif
import pypdfium2
import pytest
from django.conf import LazySettings
from PIL import Image, ImageDraw

from markstead.errors import InputError, UnknownError
from markstead.records import people, portfolio, samples
from markstead.records.home import Home
from markstead.records.models import Sample
from markstead.records.samples import Kept, keep_sample
from markstead.rules.spans import Span
from tests.records.paper_home import AS_OF, at, pages_of, paper_home

SECRET = b"Behind the harbour, 53.4808 N"
"""What the camera wrote beside the picture; invented."""
GPS, LATITUDE = 0x8825, 2


@pytest.fixture
def home(db: None, settings: LazySettings, tmp_path: Path) -> Iterator[Home]:
    settings.HOME = tmp_path
    return paper_home()[0]


def picture(width: int = 60, height: int = 90) -> Image.Image:
    """White, with a black bar along its top."""
    found = Image.new("RGB", (width, height), "white")
    ImageDraw.Draw(found).rectangle((0, 0, width, height // 5), fill="black")
    return found


def as_file(form: str, turned: int = 1) -> bytes:
    """A picture as a camera saves it: with its place, its maker, and how it was held."""
    exif = Image.Exif()
    exif[0x010F] = SECRET.decode()
    exif[0x0112] = turned
    exif.get_ifd(GPS)[LATITUDE] = (53.0, 28.0, 50.9)
    file = io.BytesIO()
    if form == "HEIF":
        pillow_heif.from_pillow(picture()).save(file, exif=exif.tobytes(), quality=90)
    else:
        picture().save(file, form, exif=exif, comment=SECRET) if form == "JPEG" else picture().save(
            file, form, exif=exif
        )
    return file.getvalue()


def as_pdf(pages: int = 2, title: str = SECRET.decode()) -> bytes:
    document = pypdfium2.PdfDocument.new()
    for _ in range(pages):
        document.new_page(300, 400)
    file = io.BytesIO()
    document.save(file)
    document.close()
    return file.getvalue() + b"\n% " + title.encode()


def png_that_says(width: int, height: int) -> bytes:
    """A PNG whose header says a size, with hardly anything behind it (PNG specification, 3rd ed., 11.2.2 IHDR)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 99))
        + chunk(b"IEND", b"")
    )


def keep(home: Home, content: bytes, **given: object) -> Kept:
    values = {"learner": "asa", "day": date(2026, 1, 14), "by": "ruth", "at": at(20), **given}
    return keep_sample(home, content, **values)  # type: ignore[arg-type]


class TestWhatIsKept:
    @pytest.mark.parametrize(
        ("form", "kind"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("HEIF", "image/jpeg")]
    )
    def test_nothing_that_the_camera_wrote_is_kept(self, home: Home, form: str, kind: str) -> None:
        content = as_file(form)
        assert SECRET in content

        kept = keep(home, content)

        stored = samples.read_sample(kept)
        with Image.open(io.BytesIO(stored)) as found:
            assert dict(found.getexif()) == {}
            assert "comment" not in found.info
        assert SECRET not in stored
        assert SECRET not in samples.read_sample(kept, small=True)
        assert (kept.kind, kept.width, kept.height) == (kind, 60, 90)

    def test_a_pdf_becomes_pictures_and_leaves_the_rest_behind(self, home: Home) -> None:
        kept = keep(home, as_pdf())

        stored = samples.read_sample(kept)
        assert (kept.kind, kept.pages) == ("application/pdf", 2)
        assert SECRET not in stored
        assert len(pages_of(stored)) == 2
        assert len(samples.pictures_of(kept)) == 2

    def test_a_picture_that_was_taken_lying_stands_upright(self, home: Home) -> None:
        """Orientation 6 (Exif 2.3, tag 0x0112): the picture is turned a quarter to the right to be seen."""
        kept = keep(home, as_file("JPEG", turned=6))

        with Image.open(io.BytesIO(samples.read_sample(kept))) as found:
            assert found.size == (90, 60)
            right, left = found.convert("L").getpixel((85, 30)), found.convert("L").getpixel((10, 30))
        assert right < 60  # type: ignore[operator]
        assert left > 200  # type: ignore[operator]

    def test_it_lies_under_its_digest_in_the_homes_folder(self, home: Home, tmp_path: Path) -> None:
        kept = keep(home, as_file("JPEG"))

        path = tmp_path / "samples" / kept.digest[:2] / f"{kept.digest}.jpg"
        assert sha256(path.read_bytes()).hexdigest() == kept.digest
        assert path.stat().st_mode & 0o777 == 0o600

    def test_the_same_picture_again_is_the_same_sample(self, home: Home, tmp_path: Path) -> None:
        assert keep(home, as_file("JPEG")).id == keep(home, as_file("JPEG")).id
        assert len(list((tmp_path / "samples").rglob("*.jpg"))) == 2  # the picture and its small one

    def test_a_large_picture_is_made_smaller(self, home: Home) -> None:
        file = io.BytesIO()
        picture(3000, 4200).save(file, "JPEG")

        kept = keep(home, file.getvalue())

        assert (kept.width, kept.height) == (1857, 2600)

    def test_of_a_fact_it_takes_the_copy(self, home: Home) -> None:
        entry = next(e for e in _entries(home) if e.kind == "unit test scored")

        kept = keep(home, as_file("PNG"), entry=entry.seq)

        assert (kept.copy, kept.entry) == (entry.copy, entry.seq)


def _entries(home: Home) -> list[object]:
    from markstead.records.models import Entry

    return list(Entry.objects.filter(household=home.id))


class TestWhatIsRefused:
    @pytest.mark.parametrize(
        ("content", "found"),
        [
            (b"", "an empty file"),
            (b"Dear diary,\nthis is no photograph.", "found text"),
            (b"PK\x03\x04" + b"\0" * 60, "a packed archive or an office file"),
            (b"GIF89a" + b"\0" * 60, "a GIF"),
            (b"\x00\x01\x02\xff" * 30, "a file of another kind"),
            (b"\xff\xd8\xff\xe0" + b"\0" * 40, "a damaged picture"),
            (as_file("JPEG")[:300], "a damaged picture"),
            (as_file("PNG")[:120], "a damaged picture"),
            (as_file("HEIF")[:200], "a damaged picture"),
            (b"%PDF-1.7\nnothing", "a damaged PDF"),
            (as_pdf(13), "a PDF of 13 pages"),
        ],
        ids=lambda value: value if isinstance(value, str) else "",
    )
    def test_what_is_no_photograph_says_what_it_is(self, home: Home, content: bytes, found: str) -> None:
        with pytest.raises(InputError) as refused:
            keep(home, content)

        assert found in str(refused.value)
        assert "allowed is a photograph or a scan: JPEG, PNG, HEIC or PDF" in str(refused.value)
        assert not Sample.objects.exists()

    @pytest.mark.parametrize(
        ("width", "height", "found"),
        [
            (9000, 9000, "a picture of 81 million pixels"),
            (60_000, 60_000, "a picture of far too many pixels"),
            (2**31 - 1, 2**31 - 1, "a picture of far too many pixels"),
        ],
    )
    def test_a_bomb_is_refused_from_its_header(self, home: Home, width: int, height: int, found: str) -> None:
        """There is hardly anything behind the header: had it been decoded, it would be called damaged."""
        with pytest.raises(InputError, match=found):
            keep(home, png_that_says(width, height))

    def test_a_file_that_is_too_large_is_refused_unread(self, home: Home) -> None:
        with pytest.raises(InputError, match=r"found a file of 30 MiB; .*Up to 30 MiB are taken"):
            keep(home, b"\xff\xd8\xff" + bytes(30 * 2**20))

    def test_a_day_to_come_a_strangers_copy_and_a_fact_that_is_not_there(self, home: Home) -> None:
        content = as_file("JPEG")
        with pytest.raises(InputError, match="a day that is not to come"):
            keep(home, content, day=date(2026, 1, 21))
        with pytest.raises(UnknownError, match="the id of a copy of this home"):
            keep(home, content, copy="c0")
        with pytest.raises(UnknownError, match="the place of a fact"):
            keep(home, content, entry=9999)
        copy = next(e.copy for e in _entries(home) if e.copy)  # type: ignore[attr-defined]
        with pytest.raises(InputError, match="a copy that this learner has or had"):
            keep(home, content, learner="noa", copy=copy)


class TestTakingAway:
    def test_the_file_goes_with_the_last_sample_of_it(self, home: Home, tmp_path: Path) -> None:
        one, other = keep(home, as_file("JPEG")), keep(home, as_file("JPEG"), day=date(2026, 1, 15))
        assert one.digest == other.digest

        samples.take_away(home, one.id)
        assert samples.read_sample(other)

        samples.take_away(home, other.id)
        assert list((tmp_path / "samples").rglob("*.jpg")) == []

    def test_a_file_that_is_gone_is_said_so(self, home: Home) -> None:
        kept = keep(home, as_file("JPEG"))
        samples.path_of(kept.digest, kept.kind).unlink()

        with pytest.raises(UnknownError, match="Copy the folder of samples back from a backup"):
            samples.read_sample(kept)

    def test_a_folder_that_cannot_be_written_says_so(
        self, home: Home, settings: LazySettings, tmp_path: Path
    ) -> None:
        (tmp_path / "file").write_text("in the way")
        settings.HOME = tmp_path / "file"

        with pytest.raises(InputError, match="a folder with room that can be written"):
            keep(home, as_file("JPEG"))
        assert not Sample.objects.exists()


def test_the_samples_of_somebody_who_left_are_told_as_before(home: Home) -> None:
    keep(home, as_file("JPEG"), words="The harbour in sums")
    span = Span("January", date(2026, 1, 12), AS_OF)
    before = portfolio.as_pdf(home, home.person("asa"), span, day=AS_OF, paper="a4")

    gone = people.let_go("home", person="asa", by="ruth", at=at(26, 9))

    (kept,) = samples.samples_of(gone, learner="asa")
    assert kept.words == "The harbour in sums"
    assert pages_of(portfolio.as_pdf(gone, gone.person("asa"), span, day=AS_OF, paper="a4")) == pages_of(
        before
    )


def test_the_portfolio_shows_the_samples_of_its_days(home: Home) -> None:
    entry = next(e for e in _entries(home) if e.kind == "unit test scored")  # type: ignore[attr-defined]
    keep(home, as_file("JPEG"), entry=entry.seq, words="The harbour in sums")  # type: ignore[attr-defined]
    keep(home, as_pdf(), day=date(2026, 1, 20))
    span = Span("January", date(2026, 1, 12), date(2026, 1, 15))

    content = portfolio.as_pdf(home, home.person("asa"), span, day=AS_OF, paper="us-letter")

    (text,) = pages_of(content)
    for words in (
        "Portfolio",
        "Asa, year 5",
        "1 sample",
        "Sums 5, Counting Boats",
        "The harbour in sums",
        "18 of 20",
    ):
        assert words in text, words
    document = pypdfium2.PdfDocument(content)
    assert sum(isinstance(one, pypdfium2.PdfImage) for one in document[0].get_objects()) == 1
    document.close()
    assert content == portfolio.as_pdf(home, home.person("asa"), span, day=AS_OF, paper="us-letter")
