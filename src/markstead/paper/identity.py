"""Which sheet a page belongs to: a short signed code without any name in it.

The code carries the version, the sheet's id, the page and the layout's hash, 14 bytes, and the first 12 bytes of their
HMAC-SHA-256 (RFC 2104, FIPS 180-4). A home's key signs its sheets; another home's sheet, or one that somebody made
up, is refused. Written in base32 (RFC 4648) the whole has 44 characters, which a QR code holds in its compact alphabet.
"""

import base64
import hashlib
import hmac
from dataclasses import dataclass

PREFIX = "MK"
VERSION = 1
CODE_LENGTH = 44
TYPED_LENGTH = 16
_BODY, _TAG = 14, 12
_SIGNED, _TYPED = b"markstead sheet\0", b"markstead sheet, typed\0"
"""Two domains: a signature made for one is worth nothing in the other."""


@dataclass(frozen=True, slots=True)
class Identity:
    """What a page's code says."""

    sheet: str
    """16 hexadecimal digits."""
    page: int
    layout: bytes
    """The layout's hash, four bytes."""


class ForeignCodeError(ValueError):
    """A code of ours by its looks, but not signed with this home's key."""


class NoCodeError(ValueError):
    """Not a code of ours at all."""


def write_code(identity: Identity, key: bytes) -> str:
    """Write the 44 characters of a page's code.

    Raises:
        ValueError: a value does not fit its field, or the key is shorter than 16 bytes.
    """
    body = _body(identity)
    return PREFIX + base64.b32encode(body + _tag(body, key)).decode().rstrip("=")


def read_code(code: str, key: bytes) -> Identity:
    """Read a code and verify its signature.

    Raises:
        NoCodeError: the text is no code of ours.
        ForeignCodeError: it is signed with another key, or forged.
    """
    if len(code) != CODE_LENGTH or not code.startswith(PREFIX):
        raise NoCodeError(code)
    content = _decoded(code[len(PREFIX) :])
    body, tag = content[:_BODY], content[_BODY:]
    # Base32 leaves two bits unused here; a code with other bits there is not the one that was printed.
    if body[0] != VERSION or base64.b32encode(content).decode().rstrip("=") != code[len(PREFIX) :]:
        raise NoCodeError(code)
    if not hmac.compare_digest(tag, _tag(body, key)):
        raise ForeignCodeError(code)
    return Identity(body[1:9].hex(), body[9], body[10:14])


def write_typed(sheet: str, page: int, key: bytes) -> str:
    """Write the id that stands in print, to be typed where no code can be read: four groups of four.

    It carries one byte of a signature, against slips of the finger; whoever types it has signed in.
    """
    body = _sheet_id(sheet) + _page_byte(page)
    check = hmac.new(_good(key), _TYPED + body, hashlib.sha256).digest()[:1]
    text = base64.b32encode(body + check).decode()
    return "-".join(text[n : n + 4] for n in range(0, TYPED_LENGTH, 4))


def read_typed(text: str, key: bytes) -> tuple[str, int]:
    """Read a typed id: the sheet and the page. Small letters, blanks and hyphens are as good as capitals.

    Raises:
        NoCodeError: it is no id of ours, or holds a slip.
    """
    kept = "".join(text.split()).replace("-", "").upper()
    if len(kept) != TYPED_LENGTH:
        raise NoCodeError(text)
    content = _decoded(kept)
    sheet, page = content[:8].hex(), content[8]
    if page == 0 or write_typed(sheet, page, key).replace("-", "") != kept:
        raise NoCodeError(text)
    return sheet, page


def _decoded(text: str) -> bytes:
    try:
        return base64.b32decode(text + "=" * (-len(text) % 8))
    except ValueError:
        raise NoCodeError(text) from None


def _body(identity: Identity) -> bytes:
    if len(identity.layout) != 4:
        raise ValueError(f"a layout hash of {len(identity.layout)} bytes; wanted are 4")
    return bytes([VERSION]) + _sheet_id(identity.sheet) + _page_byte(identity.page) + identity.layout


def _sheet_id(sheet: str) -> bytes:
    content = bytes.fromhex(sheet)
    if len(content) != 8:
        raise ValueError(f"a sheet's id of {len(content)} bytes; wanted are 8")
    return content


def _page_byte(page: int) -> bytes:
    if not 1 <= page <= 255:
        raise ValueError(f"page {page}; wanted is 1 to 255")
    return bytes([page])


def _tag(body: bytes, key: bytes) -> bytes:
    return hmac.new(_good(key), _SIGNED + body, hashlib.sha256).digest()[:_TAG]


def _good(key: bytes) -> bytes:
    if len(key) < 16:
        raise ValueError("a key shorter than 16 bytes")
    return key
