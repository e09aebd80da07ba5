"""The key that signs a home's sheets, and the folder of its pictures. Both lie beside the record and never in it."""

import hashlib
import hmac
import os
import secrets
from pathlib import Path

from markstead.errors import InputError, Problem
from markstead.records.place import home_folder
from markstead.records.whole import whole_file
from markstead.speech import say

FILE, PICTURES = "sheets.key", "pictures"


def key_of(household: str) -> bytes:
    """The key of a household: drawn from that of the home's folder, which is made at the first need.

    Raises:
        InputError: the key cannot be read or made, or is damaged.
    """
    return hmac.new(_master(home_folder()), b"household\0" + household.encode(), hashlib.sha256).digest()


def _master(folder: Path) -> bytes:
    path = folder / FILE
    try:
        if not path.exists():
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            _make(path)
        kept = bytes.fromhex(path.read_text(encoding="ascii").strip())
    except (ValueError, OSError) as error:
        found = f"{path} ({getattr(error, 'strerror', None) or say('not a key')})"
        do = say(
            "Restore it from a backup, or remove it: sheets that were printed before cannot be read then."
        )
        raise InputError(
            [Problem(say("key of the sheets"), found, say("a file of 64 hexadecimal digits"), do)]
        ) from error
    if len(kept) != 32:
        found = say("{path}, {n} bytes", path=path, n=len(kept))
        raise InputError([Problem(say("key of the sheets"), found, say("a file of 64 hexadecimal digits"))])
    return kept


def _make(path: Path) -> None:
    """Write the key whole or not at all: of two that are made at the same moment the first one stays."""
    draft = path.with_name(f"{FILE}.{secrets.token_hex(4)}")
    with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        file.write(secrets.token_hex(32) + "\n")
    try:
        os.link(draft, path)
    except OSError:
        if not path.exists():  # a disk that knows no second name for a file
            draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


# --- pictures ---------------------------------------------------------------------------------------------

_ENDS = {b"\xff\xd8\xff": "jpg", b"\x89PNG": "png", b"%PDF": "pdf"}


def put_picture(content: bytes) -> str:
    """Lay a picture into the home's folder; its name is its SHA-256.

    Raises:
        InputError: the folder cannot be written.
    """
    end = next((end for start, end in _ENDS.items() if content.startswith(start)), "heic")
    name = f"{hashlib.sha256(content).hexdigest()}.{end}"
    path = _folder() / name
    try:
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            with whole_file(path) as file:
                file.write(content)
    except OSError as error:
        found = f"{path.parent} ({error.strerror})"
        raise InputError([Problem(say("picture"), found, say("a folder that can be written"))]) from error
    return name


def picture(name: str) -> bytes | None:
    """A picture that lies in the home's folder; None: it does not."""
    try:
        return (_folder() / Path(name).name).read_bytes()
    except OSError:
        return None


def remove_picture(name: str) -> None:
    """Take a picture out of the home's folder; that it is gone already is as good."""
    (_folder() / Path(name).name).unlink(missing_ok=True)


def _folder() -> Path:
    return home_folder() / PICTURES
