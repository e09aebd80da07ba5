"""Files by content beside the backups: what a home needs and its database does not hold, each of them once.

A plain file lies under its SHA-256. Those of encrypted backups lie in a folder with a key of their own, which the
passphrase opens: a passphrase costs a second, and there may be a thousand photographs.
"""

import secrets
from collections.abc import Collection, Iterable, Iterator
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

from markstead.errors import DamagedRecordError, InputError
from markstead.records.locked import AGE, KEY, key_of, new_key
from markstead.records.whole import written_whole
from markstead.speech import later, say

FOLDER = "files"
WHAT = later("backup")


class Store:
    """The files of backups of one passphrase, or of none, in the folder of the backups."""

    def __init__(self, backups: Path, under: str = "", key: Any = None) -> None:
        self.root, self.under, self.key = backups / FOLDER, under, key

    def card_name(self, name: str) -> str:
        """How the card of a backup names a file of this store."""
        return f"{self.under}/{name}{AGE}" if self.under else name

    def get(self, name: str) -> bytes | None:
        """A file whose name begins with its SHA-256; None where it is not there, or not as it was."""
        try:
            content = (self.root / self.card_name(name)).read_bytes()
        except OSError:
            return None
        if self.key is not None:
            import pyrage

            try:
                content = bytes(pyrage.decrypt(content, [self.key]))
            except pyrage.DecryptError:
                return None
        return content if is_whole(name, content) else None

    def put(self, name: str, content: bytes) -> None:
        """Write a file, whole or not at all.

        Raises:
            MarksteadError: the disk is full, or cannot be written.
        """
        path = self.root / self.card_name(name)
        if self.key is not None:
            import pyrage

            content = bytes(pyrage.encrypt(content, [self.key.to_public()]))
        _write(path, content)

    def fill(self, wanted: Iterable[tuple[str, Path]]) -> tuple[tuple[str, ...], int]:
        """Hold every file that is wanted, read back and compared; names for the card, and how many are nowhere.

        Raises:
            MarksteadError: the disk is full, or cannot be written.
            DamagedRecordError: what was written does not read back.
        """
        held, missing = [], 0
        for name, path in wanted:
            if self.get(name) is None:
                content = _read(path)
                if not is_whole(name, content):
                    missing += 1
                    continue
                self.put(name, content)
                if self.get(name) is None:
                    raise not_read_back(self.card_name(name), self.root)
            held.append(self.card_name(name))
        return tuple(held), missing


def not_read_back(name: str, folder: Path) -> DamagedRecordError:
    """The sentence for a file that does not come out as it went in."""
    return DamagedRecordError(
        say(
            "The file {file} does not read back as it was written to {folder}: that disk may fail.",
            file=name,
            folder=folder,
        )
    )


def is_whole(name: str, content: bytes) -> bool:
    """Whether these are the bytes that a name stands for."""
    return sha256(content).hexdigest() == name[:64]


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError:
        return b""


def _write(path: Path, content: bytes) -> None:
    with suppress(OSError):  # what the folder lacks, writing says
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    with written_whole(path, say(WHAT), replace=True) as file:
        file.write(content)


def opened(
    backups: Path,
    secret: str | None,
    *,
    first: Collection[str] = (),
    make: bool = False,
) -> Store | None:
    """The store that a passphrase opens, or the plain one; where there is none, None, or with `make` a new one.

    Args:
        backups: the folder of the backups.
        secret: the passphrase; None: the plain one.
        first: names on a card, of which the key is tried first: each try costs a second.
        make: make a key where none is opened.

    Raises:
        MarksteadError: a new key could not be written.
    """
    if secret is None:
        return Store(backups)
    likely = {name.split("/")[0] for name in first}
    keys = sorted((backups / FOLDER).glob(f"*/{KEY}"), key=lambda path: path.parent.name not in likely)
    for path in keys:
        with suppress(InputError, OSError):
            return Store(backups, path.parent.name, key_of(path.read_bytes(), secret))
    if not make:
        return None
    (key, content), under = new_key(secret), secrets.token_hex(4)
    _write(backups / FOLDER / under / KEY, content)
    return Store(backups, under, key)


def sweep(backups: Path, wanted: Collection[str]) -> None:
    """Delete every file that no card names, and keys that open nothing any more."""
    folders = {name.split("/")[0] for name in wanted if "/" in name}
    for path in list(_files(backups / FOLDER)):
        name = path.relative_to(backups / FOLDER).as_posix()
        if name not in wanted and not (path.name == KEY and path.parent.name in folders):
            with suppress(OSError):
                path.unlink(missing_ok=True)
    for folder in (backups / FOLDER).glob("*/"):
        with suppress(OSError):  # not empty
            folder.rmdir()


def _files(folder: Path) -> Iterator[Path]:
    return (path for path in folder.rglob("*") if path.is_file())
