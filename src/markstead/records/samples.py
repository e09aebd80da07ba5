"""Samples of a learner's work: photographs and scans, attached to a fact, a copy, or a day alone.

What comes in is judged by what it is, never by its name. Nothing of it is kept as it came: pictures are drawn anew, so that
places, times and whatever else a camera writes beside them are gone. Files lie in the home's folder under their SHA-256.
"""

import io
import os
import re
import secrets
import tempfile
import warnings
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Count

from markstead.errors import InputError, Problem, UnknownError
from markstead.ledger.facts import CopyIssued
from markstead.records.home import Home
from markstead.records.models import Copy as CopyRow
from markstead.records.models import Entry as EntryRow
from markstead.records.models import Household, Person, Sample
from markstead.records.place import home_folder
from markstead.records.whole import whole_file
from markstead.speech import later, say

if TYPE_CHECKING:
    from PIL import Image

FOLDER = "samples"
MOST_BYTES = 30 * 2**20
"""Of a file that comes in."""
MOST_PIXELS = 60_000_000
"""Of a picture, as its header says: a telephone's has 12 to 50 million."""
LONGEST_EDGE = 2600
"""Of a picture as it is kept: a page fills A4 at 220 dots to the inch."""
SMALL_EDGE = 420
"""Of the small picture that lists show."""
QUALITY = 86
MOST_PAGES = 12
"""Of a PDF."""
MOST_POINTS = 1700
"""Of an edge of a PDF's page: A2 has 1684."""
MOST_WORDS = 400
ALLOWED = later("a photograph or a scan: JPEG, PNG, HEIC or PDF, judged by what is in the file")


@dataclass(frozen=True, slots=True)
class Kept:
    """A sample as it is kept."""

    id: str
    learner: str
    copy: str | None
    entry: int | None
    day: date
    digest: str
    kind: str
    """Its media type."""
    size: int
    width: int
    height: int
    pages: int
    words: str


def keep_sample(
    home: Home,
    content: bytes,
    *,
    learner: str,
    day: date,
    by: str,
    at: datetime,
    copy: str | None = None,
    entry: int | None = None,
    words: str = "",
) -> Kept:
    """Keep a photograph or a scan.

    Args:
        home: whose folder it goes into.
        content: the file as it came.
        learner: whose work it shows, by id or key.
        day: the day it is from.
        by: who keeps it, by id or key.
        at: when it is kept.
        copy: the copy that it shows, if any.
        entry: the place of the fact that it belongs to, if any; the copy and the day may be left to it.
        words: a line about it; it can be erased.

    Raises:
        InputError: the file is none of the kinds that are kept, or too large; or the day is to come.
        UnknownError: there is no such learner, copy or fact.
    """
    who = home.learner(learner)
    copy = _of_fact(home, entry, copy)
    _check_copy(home, copy, who.id)
    if day > home.calendar.day_of(at):
        raise InputError([Problem(say("day of the sample"), str(day), say("a day that is not to come"))])
    line = " ".join(words.split())
    if len(line) > MOST_WORDS:
        raise InputError(
            [
                Problem(
                    say("words of the sample"),
                    say("{n} letters", n=len(line)),
                    say("up to {most}", most=MOST_WORDS),
                )
            ]
        )
    drawn = draw_anew(content)
    digest = sha256(drawn.content).hexdigest()
    _write(digest, drawn.kind, drawn.content, drawn.small)
    with transaction.atomic():
        row, _ = Sample.objects.get_or_create(
            household=Household.objects.get(id=home.id),
            learner=Person.objects.get(id=who.id),
            digest=digest,
            copy=copy,
            entry=entry,
            day=day,
            defaults={
                "id": "s" + secrets.token_hex(8),
                "kind": drawn.kind,
                "size": len(drawn.content),
                "width": drawn.width,
                "height": drawn.height,
                "pages": drawn.pages,
                "words": line,
                "kept": at,
                "kept_by": home.person(by).id,
            },
        )
    return _kept(row)


def _of_fact(home: Home, entry: int | None, copy: str | None) -> str | None:
    if entry is None:
        return copy
    row = EntryRow.objects.filter(household=home.id, seq=entry).first()
    if row is None:
        raise UnknownError(
            [Problem(say("fact"), str(entry), say("the place of a fact on the record of this home"))]
        )
    if copy is not None and row.copy != copy:
        raise InputError(
            [
                Problem(
                    say("fact"),
                    say("{number}, of another copy", number=entry),
                    say("a fact of the copy {copy}", copy=copy),
                )
            ]
        )
    return row.copy


def _check_copy(home: Home, copy: str | None, learner: str) -> None:
    """A copy of this home that the learner has or had."""
    if copy is None:
        return
    row = CopyRow.objects.filter(household=home.id, id=copy).first()
    if row is None:
        raise UnknownError([Problem(say("copy"), repr(copy), say("the id of a copy of this home"))])
    had = EntryRow.objects.filter(
        household=home.id, copy=copy, kind=CopyIssued.KIND, body__contains=learner
    ).exists()
    if row.learner != learner and not had:
        raise InputError([Problem(say("copy"), row.workbook, say("a copy that this learner has or had"))])


# --- files --------------------------------------------------------------------------------------------------------

_ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "application/pdf": "pdf"}
_AN_HOUR = 3600
_DIGEST = re.compile(r"[0-9a-f]{64}")


def _folder() -> Path:
    return home_folder() / FOLDER


def file_name(digest: str, kind: str) -> str:
    """The name of a sample's file, here and wherever it is taken to.

    Raises:
        InputError: no digest, or a kind that is not kept.
    """
    if kind not in _ENDINGS or not _DIGEST.fullmatch(digest):
        raise InputError(
            [
                Problem(
                    say("sample"), f"{digest[:70]!r}, {kind[:40]!r}", say("a SHA-256 and a kind that is kept")
                )
            ]
        )
    return f"{digest}.{_ENDINGS[kind]}"


def path_of(digest: str, kind: str, *, small: bool = False) -> Path:
    """Where a sample lies."""
    name = file_name(digest, kind)
    return _folder() / digest[:2] / (f"{digest}.small.jpg" if small else name)


def put_back(digest: str, kind: str, content: bytes) -> list[Path]:
    """Put the file of a sample into the folder again, with its small picture drawn anew; the files that were not there.

    Raises:
        InputError: it is not what its row says, or the folder cannot be written.
    """
    name = file_name(digest, kind)
    if sha256(content).hexdigest() != digest:
        raise InputError(
            [
                Problem(
                    say("sample {name}", name=name),
                    say("other bytes"),
                    say("the bytes that its name is the SHA-256 of"),
                )
            ]
        )
    if content.startswith(b"%PDF-"):
        found, first = "application/pdf", pictures_of_pdf(content)[0]
    else:
        opened = _opened(content)
        found = f"image/{str(opened.format).lower()}"
        try:
            opened.draft("RGB", (LONGEST_EDGE, LONGEST_EDGE))
            first = _on_white(opened)
        except (OSError, ValueError, SyntaxError, EOFError) as error:
            raise _refused(say("a damaged picture")) from error
    if found != kind:
        raise InputError([Problem(say("sample {name}", name=name), found, kind)])
    return _write(digest, kind, content, _small(first))


def _write(digest: str, kind: str, content: bytes, small: bytes) -> list[Path]:
    """Write both files whole or not at all; the same content is there once. The files that were not there before."""
    new: list[Path] = []
    try:
        for path, data in ((path_of(digest, kind), content), (path_of(digest, kind, small=True), small)):
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            if not path.exists():
                with whole_file(path) as file:
                    file.write(data)
                new.append(path)
    except OSError as error:
        remove(new)
        where = f"{_folder()} ({error.strerror})"
        raise InputError(
            [Problem(say("folder of samples"), where, say("a folder with room that can be written"))]
        ) from error
    return new


def remove(files: Iterable[Path]) -> None:
    """Remove files; that one is gone already is as good."""
    for file in files:
        with suppress(OSError):
            file.unlink(missing_ok=True)


def read_sample(kept: Kept, *, small: bool = False) -> bytes:
    """The file of a sample.

    Raises:
        UnknownError: it is not in the folder any more.
    """
    try:
        return path_of(kept.digest, kept.kind, small=small).read_bytes()
    except OSError as error:
        do = say("Copy the folder of samples back from a backup.")
        raise UnknownError(
            [
                Problem(
                    say("sample"),
                    say("no file for {sample}", sample=kept.id),
                    say("a file in the home's folder"),
                    do,
                )
            ]
        ) from error


# --- drawing anew -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drawn:
    """A picture or a scan, drawn anew."""

    content: bytes
    kind: str
    small: bytes
    width: int
    height: int
    pages: int


def _refused(found: str, do: str = "") -> InputError:
    return InputError([Problem(say("file"), found, say(ALLOWED), do)])


def draw_anew(content: bytes) -> Drawn:
    """Judge a file by what it is and draw it anew, without anything that was written beside the picture.

    Raises:
        InputError: it is none of the kinds that are kept, damaged, or too large.
    """
    if not content:
        raise _refused(say("an empty file"))
    if len(content) > MOST_BYTES:
        raise _refused(
            say("a file of {size} MiB", size=len(content) // 2**20),
            say("Up to {most} MiB are taken.", most=MOST_BYTES // 2**20),
        )
    if content.startswith(b"%PDF-"):
        return _draw_pdf(content)
    return _draw_picture(content)


def _is_heif(content: bytes) -> bool:
    brands = {b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1"}
    return content[4:8] == b"ftyp" and content[8:12] in brands


def _opened(content: bytes) -> "Image.Image":
    """Open a picture: its header alone is read, and it is refused there if it says that it is too large."""
    from PIL import Image, UnidentifiedImageError

    if _is_heif(content):
        import pillow_heif

        pillow_heif.register_heif_opener(thumbnails=False)
        formats = ["HEIF"]
    elif content.startswith(b"\xff\xd8\xff"):
        formats = ["JPEG"]
    elif content.startswith(b"\x89PNG\r\n\x1a\n"):
        formats = ["PNG"]
    else:
        raise _refused(_looks_like(content))
    try:
        with warnings.catch_warnings():
            # Pillow warns of large pictures first; ours are judged below, by one number.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(content), formats=formats)
    except Image.DecompressionBombError as error:
        raise _too_many(None) from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, EOFError) as error:
        raise _refused(say("a damaged picture")) from error
    if picture.width * picture.height > MOST_PIXELS:
        raise _too_many(picture.width * picture.height)
    return picture


def _too_many(pixels: int | None) -> InputError:
    found = (
        say("a picture of far too many pixels")
        if pixels is None
        else say("a picture of {n} million pixels", n=pixels // 10**6)
    )
    return _refused(
        found,
        say("Up to {most} million are taken: make it smaller first.", most=MOST_PIXELS // 10**6),
    )


def _looks_like(content: bytes) -> str:
    if content[:2] == b"PK":
        return say("a packed archive or an office file")
    if content[:6] in (b"GIF87a", b"GIF89a"):
        return say("a GIF")
    try:
        text = content[:200].decode("utf-8")
    except UnicodeDecodeError:
        return say("a file of another kind")
    return say("text") if text.isprintable() or "\n" in text else say("a file of another kind")


def _draw_picture(content: bytes) -> Drawn:
    from PIL import Image, ImageOps

    picture = _opened(content)
    is_png = picture.format == "PNG"
    try:
        if picture.format == "JPEG":
            picture.draft(
                "RGB", (LONGEST_EDGE, LONGEST_EDGE)
            )  # a large photograph is decoded at a fraction of its size
        drawn = ImageOps.exif_transpose(picture)
        drawn = _on_white(drawn)
    except (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError, MemoryError) as error:
        raise _refused(say("a damaged picture")) from error
    drawn.thumbnail((LONGEST_EDGE, LONGEST_EDGE), Image.Resampling.LANCZOS)
    form, kind = ("PNG", "image/png") if is_png else ("JPEG", "image/jpeg")
    return Drawn(_saved(drawn, form), kind, _small(drawn), drawn.width, drawn.height, 1)


def _on_white(picture: "Image.Image") -> "Image.Image":
    """The picture in plain colours or greys; what can be seen through becomes white. It carries nothing beside its pixels."""
    from PIL import Image

    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        seen = picture.convert("RGBA")
        ground = Image.new("RGBA", seen.size, "white")
        picture = Image.alpha_composite(ground, seen)
    mode = "L" if picture.mode in ("1", "L") else "RGB"
    if picture.mode.startswith("I"):  # sixteen bits of grey: Pillow would cut them off, not scale them
        picture = picture.point(lambda value: value / 256).convert("L")
        mode = "L"
    bare = Image.new(mode, picture.size)
    bare.paste(picture.convert(mode))
    return bare


def _saved(picture: "Image.Image", form: str) -> bytes:
    file = io.BytesIO()
    if form == "PNG":
        picture.save(file, "PNG", optimize=False, compress_level=6)
    else:
        picture.save(file, "JPEG", quality=QUALITY, progressive=True)
    return file.getvalue()


def _small(picture: "Image.Image") -> bytes:
    from PIL import Image

    small = picture.copy()
    small.thumbnail((SMALL_EDGE, SMALL_EDGE), Image.Resampling.LANCZOS)
    return _saved(small, "JPEG")


def _draw_pdf(content: bytes) -> Drawn:
    """A PDF becomes a PDF of pictures: scripts, forms, attachments and descriptions stay behind."""
    pages = pictures_of_pdf(content)
    file = io.BytesIO()
    first, *rest = pages
    nothing: dict[str, Any] = {"creationDate": None, "modDate": None, "producer": None, "creator": None}
    first.save(file, "PDF", save_all=True, append_images=rest, resolution=_DOTS, quality=QUALITY, **nothing)
    return Drawn(file.getvalue(), "application/pdf", _small(first), first.width, first.height, len(pages))


_DOTS = 170
"""Dots to the inch of a page of a PDF."""


def pictures_of_pdf(content: bytes) -> "list[Image.Image]":
    """The pages of a PDF as pictures.

    Raises:
        InputError: it cannot be read, is locked, has no page, too many or too large ones.
    """
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(content)
    except pypdfium2.PdfiumError as error:
        locked = "password" in str(error).lower()
        raise _refused(
            say("a PDF that is locked with a password") if locked else say("a damaged PDF")
        ) from error
    try:
        count = len(document)
        if not 1 <= count <= MOST_PAGES:
            raise _refused(
                say("a PDF of {n} pages", n=count),
                say("1 to {most} pages are taken.", most=MOST_PAGES),
            )
        sizes = [page.get_size() for page in document]
        if any(not 0 < edge <= MOST_POINTS for size in sizes for edge in size):
            raise _refused(
                say("a PDF with a page that is too large"), say("Pages up to the size of A2 are taken.")
            )
        scales = [min(_DOTS / 72, LONGEST_EDGE / max(size)) for size in sizes]
        return [
            _on_white(page.render(scale=scale).to_pil()) for page, scale in zip(document, scales, strict=True)
        ]
    except pypdfium2.PdfiumError as error:
        raise _refused(say("a damaged PDF")) from error
    finally:
        document.close()


def pictures_of(kept: Kept) -> tuple[bytes, ...]:
    """The pictures of a sample, page by page, for a portfolio.

    Raises:
        UnknownError: as `read_sample`.
    """
    content = read_sample(kept)
    if kept.kind != "application/pdf":
        return (content,)
    return tuple(_saved(page, "JPEG") for page in pictures_of_pdf(content))


# --- reading and taking away --------------------------------------------------------------------------------------


def _kept(row: Sample) -> Kept:
    return Kept(
        row.id,
        row.learner_id,
        row.copy,
        row.entry,
        row.day,
        row.digest,
        row.kind,
        row.size,
        row.width,
        row.height,
        row.pages,
        row.words,
    )


def samples_of(
    home: Home,
    *,
    learner: str | None = None,
    first: date | None = None,
    last: date | None = None,
    copy: str | None = None,
) -> tuple[Kept, ...]:
    """The samples of a home, a learner, some days or a copy, the oldest first."""
    rows = Sample.objects.filter(household=home.id).order_by("day", "kept", "id")
    if learner is not None:
        rows = rows.filter(learner=home.person(learner).id)  # papers of somebody who left are told too
    if first is not None:
        rows = rows.filter(day__gte=first)
    if last is not None:
        rows = rows.filter(day__lte=last)
    if copy is not None:
        rows = rows.filter(copy=copy)
    return tuple(_kept(row) for row in rows)


def lines_of(home: Home, learner: str) -> tuple[tuple[str, str], ...]:
    """The samples of a learner, by id or key: which they are, and the line about each."""
    found = home.find(learner)
    rows = Sample.objects.filter(household=home.id, learner=found.id if found else None).order_by("id")
    return tuple(rows.values_list("id", "words"))


def counts(home: Home) -> dict[str, int]:
    """How many samples of each learner are kept."""
    rows = Sample.objects.filter(household=home.id).values_list("learner").annotate(n=Count("id"))
    return dict(rows)


def sample(home: Home, wanted: str) -> Kept:
    """One sample.

    Raises:
        UnknownError: this home has no such sample.
    """
    row = Sample.objects.filter(household=home.id, id=wanted).first()
    if row is None:
        raise UnknownError(
            [Problem(say("sample"), repr(wanted[:40]), say("the id of a sample of this home"))]
        )
    return _kept(row)


def describe(home: Home, wanted: str, words: str) -> Kept:
    """Write another line about a sample.

    Raises:
        InputError: it is too long.
        UnknownError: this home has no such sample.
    """
    found = sample(home, wanted)
    line = " ".join(words.split())
    if len(line) > MOST_WORDS:
        raise InputError(
            [
                Problem(
                    say("words of the sample"),
                    say("{n} letters", n=len(line)),
                    say("up to {most}", most=MOST_WORDS),
                )
            ]
        )
    Sample.objects.filter(id=found.id).update(words=line)
    return sample(home, wanted)


def take_away(home: Home, wanted: str) -> None:
    """Delete a sample for good; its file goes too, unless another sample is the same picture.

    Raises:
        UnknownError: this home has no such sample.
    """
    found = sample(home, wanted)
    with transaction.atomic():
        Sample.objects.filter(id=found.id).delete()
    drop_unused([(found.digest, found.kind)])


def drop_unused(files: Iterable[tuple[str, str]]) -> None:
    """Delete files, by digest and kind, of which no sample is left."""
    for digest, kind in files:
        if not Sample.objects.filter(digest=digest).exists():
            remove(path_of(digest, kind, small=small) for small in (False, True))


def sweep() -> None:
    """Delete the files in the folder of samples that no sample names, as a restore or a crash leaves them.

    What is younger than an hour stays: it may just be kept.
    """
    named = set(Sample.objects.values_list("digest", flat=True))
    remove(path for path in _old_files() if path.name.split(".")[0] not in named)


def _old_files() -> Iterator[Path]:
    """By the clock of the disk, which dates its files."""
    if not _folder().is_dir():
        return
    with tempfile.TemporaryFile(dir=_folder()) as file:
        before = os.fstat(file.fileno()).st_mtime - _AN_HOUR
    for path in _folder().rglob("*"):
        with suppress(OSError):
            if path.is_file() and path.stat().st_mtime < before:
                yield path
