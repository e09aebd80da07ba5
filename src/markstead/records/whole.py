"""Files that are written whole or not at all, and zip packages whose bytes depend on nothing but what is in them."""

import os
import secrets
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path
from typing import IO, BinaryIO

from markstead.errors import InputError, MarksteadError, Problem
from markstead.speech import say

EARLIEST = (1980, 1, 1, 0, 0, 0)
"""The date of everything in a package: the zip format knows no earlier one."""
PART = ".part-"
"""How the name of a file begins that is not whole yet."""
SQLITE = b"SQLite format 3\0"
"""How every database of SQLite begins (Database File Format, 1.3)."""


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """Give a file to write into; it gets its name once all is written and on the disk. For its owner's eyes only.

    Raises:
        OSError: it could not be written; nothing is left of it, and what was there before is there still.
    """
    part = path.with_name(f"{PART}{secrets.token_hex(6)}")
    try:
        with os.fdopen(os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


@contextmanager
def written_whole(path: Path, what: str, *, replace: bool = False) -> Iterator[BinaryIO]:
    """Give a file as `whole_file` does, and say what went wrong.

    Raises:
        InputError: a file of that name is there and may not be replaced, or there is no such folder.
        MarksteadError: it could not be written, because the disk is full or for another reason; nothing is left of it.
    """
    if not replace and path.exists():
        raise InputError(
            [Problem(what, say("a file at {path} already", path=path), say("a name that no file has"))]
        )
    if not path.parent.is_dir():
        raise InputError(
            [Problem(what, say("no folder at {folder}", folder=path.parent), say("a folder that is there"))]
        )
    try:
        with whole_file(path) as file:
            yield file
    except OSError as error:
        raise not_written(what, path, error) from error


def not_written(what: str, path: Path, error: Exception) -> MarksteadError:
    """The sentence for a file that could not be written."""
    why = getattr(error, "strerror", None) or str(error)
    return MarksteadError(
        say(
            "The {what} could not be written to {folder} ({why}). Nothing was changed and "
            "nothing half-written is left. Make room on that disk, or name another folder.",
            what=what,
            folder=path.parent,
            why=why,
        )
    )


def no_room(error: Exception) -> bool:
    """Whether SQLite found no room: without any it cannot even open what it keeps beside its file, and calls that I/O."""
    text = str(error).lower()
    return "disk is full" in text or "disk i/o error" in text


def nothing_noted(error: Exception) -> MarksteadError:
    """The sentence for an act for which the disk had no room."""
    return MarksteadError(
        say(
            "The disk of the home has no room left, or fails ({error}). Nothing was written, and "
            "the record is as it was. Make room on that disk, then do the same again.",
            error=error,
        )
    )


class _Counted:
    """A member of a package, counted and digested as it is written."""

    def __init__(self, raw: IO[bytes]) -> None:
        self.raw, self.size, self.digest = raw, 0, sha256()

    def write(self, data: bytes) -> None:
        self.raw.write(data)
        self.size += len(data)
        self.digest.update(data)


class Package:
    """A zip package: members in the order in which they are written, each with the same date and the same rights."""

    def __init__(self, file: BinaryIO) -> None:
        self.zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=6)
        self.contents: list[tuple[str, int, str]] = []
        """Name, bytes and SHA-256 of every member so far."""

    @contextmanager
    def member(self, name: str) -> Iterator[_Counted]:
        """Give a member to write into; one at a time."""
        info = zipfile.ZipInfo(name, EARLIEST)
        info.compress_type = zipfile.ZIP_DEFLATED
        info.create_system, info.external_attr = 3, 0o600 << 16  # the same on every system
        with self.zip.open(info, "w") as raw:
            counted = _Counted(raw)
            yield counted
        self.contents.append((name, counted.size, counted.digest.hexdigest()))

    def put(self, name: str, data: bytes) -> None:
        """Write a small member at once."""
        with self.member(name) as into:
            into.write(data)


@contextmanager
def package(path: Path, what: str, *, replace: bool = False) -> Iterator[Package]:
    """Give a package to write into, whole or not at all.

    Raises:
        InputError: see `written_whole`.
        MarksteadError: see `written_whole`.
    """
    with written_whole(path, what, replace=replace) as file:
        packed = Package(file)
        try:
            yield packed
            packed.zip.close()
        except BaseException:
            packed.zip.fp = None  # closing it would write its list of contents where there is no room for it
            raise


@contextmanager
def opened_package(path: Path, what: str) -> Iterator[zipfile.ZipFile]:
    """Open a package to read it.

    Raises:
        InputError: no file, no zip package, or one that was cut off or changed.
    """
    damaged = Problem(
        what,
        say("{file}, which is no whole zip package", file=path.name),
        say("a package as it was written"),
        say("Fetch it again."),
    )
    try:
        with zipfile.ZipFile(path) as found:
            yield found
    except FileNotFoundError as error:
        raise InputError([Problem(what, say("no file at {path}", path=path), say("a file"))]) from error
    except (zipfile.BadZipFile, EOFError, NotImplementedError) as error:
        raise InputError([damaged]) from error
    except OSError as error:
        raise InputError(
            [Problem(what, f"{path} ({error.strerror})", say("a file that can be read"))]
        ) from error
