"""What a passphrase locks: a key, and the package of a backup that is encrypted with a key of its own.

To a passphrase the library of the age format encrypts all of the bytes at once, several times as many in memory; to a key it
encrypts a stream. So the passphrase opens the key, and the key opens the rest, however much that is.
"""

import zipfile
import zlib
from errno import EINVAL
from pathlib import Path
from typing import Any, BinaryIO

from markstead.errors import DamagedRecordError, InputError, Problem
from markstead.records.whole import EARLIEST
from markstead.speech import later, say

KEY, README, AGE = "key.age", "README.txt", ".age"
_STEM = "markstead"
_AGE, _ZIP = b"age-encryption.org/v1", b"PK\x03\x04"
_NAME_AT = 30
"""Where the name of its first member stands in a zip package (APPNOTE 6.3, 4.3.7)."""
_LONGEST_KEY = 10_000
"""Bytes; a key has some 300."""
_NO_ZIP = (zipfile.BadZipFile, EOFError, RuntimeError, ValueError, zlib.error)
"""What reading a zip package raises that was cut off or changed, beside what a disk says."""
_README = later(
    """\
A backup of a Markstead home, encrypted with a passphrase.

  key.age: a key of this backup alone, encrypted with the passphrase
  {locked}: what was backed up, encrypted with that key

Markstead brings it back: markstead restore. Without Markstead it opens with any program for the age format
(https://age-encryption.org/v1). Take both files out of this package, then

  age --decrypt --identity key.age --output {plain} {locked}

which asks for the passphrase. A program that takes no encrypted key wants two steps:

  age --decrypt --output key.txt key.age
  age --decrypt --identity key.txt --output {plain} {locked}

A file that ends in .sqlite3 is a database of SQLite. The photographs of work are not in it: they lie in the folder files
beside the backups, with a key.age of their own that the same passphrase opens. A file that ends in .zip is the archive
of a household, with its photographs, and says itself how it is read.
"""
)


def new_key(secret: str) -> tuple[Any, bytes]:
    """A new X25519 identity, and the same as a file that the passphrase opens."""
    import pyrage

    key = pyrage.x25519.Identity.generate()
    return key, bytes(pyrage.passphrase.encrypt(f"{key}\n".encode(), secret))


def key_of(content: bytes, secret: str) -> Any:
    """The X25519 identity in a file that a passphrase opens.

    Raises:
        InputError: it does not open it, or there is no key in it.
    """
    import pyrage

    said = _opened(content, secret)
    try:
        return pyrage.x25519.Identity.from_str(said.decode().strip())
    except (pyrage.IdentityError, ValueError) as error:
        raise _not_the_one() from error


def _opened(content: bytes, secret: str) -> bytes:
    import pyrage

    try:
        return bytes(pyrage.passphrase.decrypt(content, secret))
    except pyrage.DecryptError as error:
        raise _not_the_one() from error


def _not_the_one() -> InputError:
    found = say("one that does not open it, or a file that was cut off or changed")
    return InputError([Problem(say("passphrase"), found, say("the one that it was encrypted with"))])


def was_changed(name: str) -> DamagedRecordError:
    """The sentence for a backup that is not as it was made."""
    return DamagedRecordError(
        say(
            "Backup: found {file}, which was changed or cut off since it was made. Nothing was changed; "
            "take another one.",
            file=name,
        )
    )


def _of_two(name: str) -> DamagedRecordError:
    return DamagedRecordError(
        say(
            "Backup: found {file}, in which the passphrase opens the key, and the key does not open the rest: one of the "
            "two was changed, cut off, or put there from another backup. Nothing was changed; take another one.",
            file=name,
        )
    )


def is_locked(file: BinaryIO) -> bool:
    """Whether a passphrase opens a file: the package of a backup, cut off or not, or an age file as older ones are."""
    start = file.read(_NAME_AT + len(KEY))
    if not start.startswith(_ZIP):
        return start.startswith(_AGE)
    if start[_NAME_AT:] == KEY.encode():
        return True
    try:
        with zipfile.ZipFile(file) as package:
            return KEY in package.namelist()  # one that somebody packed again
    except (*_NO_ZIP, OSError):
        return False


def lock(plain: Path, ending: str, into: BinaryIO, secret: str) -> None:
    """Write the package of a backup, piece by piece: a key that the passphrase opens, and what that key opens.

    Args:
        plain: the file to lock.
        ending: how its name ends in the package.
        into: an empty file.
        secret: the passphrase.

    Raises:
        OSError: it could not be written.
    """
    import pyrage

    key, content = new_key(secret)
    name = f"{_STEM}.{ending}"
    readme = say(_README, plain=name, locked=name + AGE).encode()
    package = zipfile.ZipFile(into, "w")
    try:
        # The key first: so the package is known from its beginning, also where it was cut off.
        for member, data in ((KEY, content), (README, readme)):
            package.writestr(_member(member, len(data)), data)
        with plain.open("rb") as source, package.open(_member(name + AGE, plain.stat().st_size), "w") as to:
            pyrage.encrypt_io(source, to, [key.to_public()])
        package.close()
    except BaseException as error:
        package.fp = None  # closing it would write its list of contents where there is no room for it
        if isinstance(error, pyrage.EncryptError):
            raise OSError(str(error).removeprefix("OSError: ")) from error
        raise


def _member(name: str, size: int) -> zipfile.ZipInfo:
    """A member that is stored as it is: what is encrypted cannot be made smaller."""
    info = zipfile.ZipInfo(name, EARLIEST)
    info.create_system, info.external_attr = 3, 0o600 << 16
    # Beyond 2 GB a package has longer numbers, and that is settled before a member is written.
    info.file_size = size
    return info


def unlock(kept: BinaryIO, to: Path, secret: str, name: str) -> None:
    """Write out what is in a file that a passphrase opens, piece by piece; an older one in one piece.

    Args:
        kept: the file, from its beginning.
        to: where to write it.
        secret: the passphrase.
        name: what a sentence calls the file.

    Raises:
        InputError: the passphrase is another one.
        DamagedRecordError: it was changed or cut off, or the key in it is that of another backup.
        OSError: it could not be written.
    """
    start = kept.read(len(_AGE))
    kept.seek(0)
    if start == _AGE:
        to.write_bytes(_opened(kept.read(), secret))
        return
    try:
        with zipfile.ZipFile(kept) as package:
            _unlock(package, to, secret, name)
    except _NO_ZIP as error:
        raise was_changed(name) from error
    except OSError as error:
        if error.errno != EINVAL:  # which it is where a member is said to begin before the file does
            raise
        raise was_changed(name) from error


def _unlock(package: zipfile.ZipFile, to: Path, secret: str, name: str) -> None:
    import pyrage

    found = package.infolist()
    keys = [one for one in found if one.filename == KEY]
    rest = [one for one in found if one.filename.endswith(AGE) and one.filename != KEY]
    if (len(keys), len(rest)) != (1, 1) or keys[0].file_size > _LONGEST_KEY:
        raise was_changed(name)
    key = key_of(package.read(keys[0]), secret)
    try:
        with package.open(rest[0]) as source, to.open("wb") as into:
            pyrage.decrypt_io(source, into, [key])
    except (pyrage.DecryptError, OSError) as error:
        if isinstance(error, OSError) and error.errno is not None:  # the disk, and not what is in it
            raise
        raise _of_two(name) from error
