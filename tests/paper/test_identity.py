"""Codes: signed, short, without names; forged and foreign ones are refused."""

import hashlib
import hmac

import pytest
from hypothesis import given
from hypothesis import strategies as st

from markstead.paper.identity import (
    CODE_LENGTH,
    ForeignCodeError,
    Identity,
    NoCodeError,
    read_code,
    read_typed,
    write_code,
    write_typed,
)
from tests.paper.cast import KEY, OTHER_KEY

ONE = Identity("00112233445566aa", 3, b"\x0a\x0b\x0c\x0d")
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
identities = st.builds(
    Identity,
    st.binary(min_size=8, max_size=8).map(bytes.hex),
    st.integers(1, 255),
    st.binary(min_size=4, max_size=4),
)


@given(identity=identities, key=st.binary(min_size=16, max_size=64))
def test_a_code_reads_back(identity: Identity, key: bytes) -> None:
    code = write_code(identity, key)

    assert len(code) == CODE_LENGTH
    assert read_code(code, key) == identity


@given(identity=identities, at=st.integers(2, CODE_LENGTH - 1), letter=st.sampled_from(ALPHABET))
def test_a_code_with_one_letter_changed_is_refused(identity: Identity, at: int, letter: str) -> None:
    code = write_code(identity, KEY)
    forged = code[:at] + letter + code[at + 1 :]
    if forged == code:
        return

    with pytest.raises((ForeignCodeError, NoCodeError)):
        read_code(forged, KEY)


@given(identity=identities)
def test_a_code_of_another_home_is_refused(identity: Identity) -> None:
    with pytest.raises(ForeignCodeError):
        read_code(write_code(identity, OTHER_KEY), KEY)


@pytest.mark.parametrize(
    "text", ["", "MK", "https://example.org/", "XX" + "A" * 42, "MK" + "1" * 42, "mk" + "a" * 42]
)
def test_a_text_that_is_no_code_is_told_apart(text: str) -> None:
    with pytest.raises(NoCodeError):
        read_code(text, KEY)


def hmac_by_hand(key: bytes, data: bytes) -> bytes:
    """RFC 2104, section 2, written out: H(K xor opad, H(K xor ipad, text)), with blocks of 64 bytes for SHA-256."""
    block = (hashlib.sha256(key).digest() if len(key) > 64 else key).ljust(64, b"\0")
    inner = hashlib.sha256(bytes(byte ^ 0x36 for byte in block) + data).digest()
    return hashlib.sha256(bytes(byte ^ 0x5C for byte in block) + inner).digest()


@pytest.mark.parametrize(
    ("key", "data", "digest"),
    [
        (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
        (
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        ),
        (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
        (
            b"\xaa" * 131,
            b"Test Using Larger Than Block-Size Key - Hash Key First",
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
        ),
    ],
    ids=["1", "2", "3", "6"],
)
def test_the_library_keeps_the_published_vectors(key: bytes, data: bytes, digest: str) -> None:
    """RFC 4231, section 4, test cases 1, 2, 3 and 6 (from memory); by the library and by hand."""
    assert hmac.new(key, data, hashlib.sha256).hexdigest() == digest
    assert hmac_by_hand(key, data).hex() == digest


def test_a_signature_is_the_truncated_hmac_of_the_body_in_its_domain() -> None:
    """By RFC 2104 and by base32 as RFC 4648 describes it, both written out here."""
    body = bytes([1]) + bytes.fromhex(ONE.sheet) + bytes([3]) + ONE.layout
    tag = hmac_by_hand(KEY, b"markstead sheet\0" + body)[:12]
    bits = "".join(f"{byte:08b}" for byte in body + tag) + "00"
    letters = "".join(ALPHABET[int(bits[n : n + 5], 2)] for n in range(0, 210, 5))

    assert write_code(ONE, KEY) == "MK" + letters


def test_no_name_stands_in_a_code() -> None:
    """The code is a function of the id, the page, the layout's hash and the key, which hold no name."""
    assert set(Identity.__slots__) == {"sheet", "page", "layout"}


@given(sheet=st.binary(min_size=8, max_size=8).map(bytes.hex), page=st.integers(1, 255))
def test_a_typed_id_reads_back_however_it_is_typed(sheet: str, page: int) -> None:
    text = write_typed(sheet, page, KEY)

    assert read_typed(f"  {text.lower().replace('-', ' ')} ", KEY) == (sheet, page)


def test_most_slips_of_the_finger_in_a_typed_id_are_seen() -> None:
    """One byte of check lets 1 of 256 through: of 496 slips 1.9 are expected, 9 are five standard deviations more."""
    text = write_typed("00112233445566aa", 1, KEY).replace("-", "")
    slips = [text[:n] + letter + text[n + 1 :] for n in range(16) for letter in ALPHABET if letter != text[n]]
    through = 0
    for slip in slips:
        try:
            read_typed(slip, KEY)
            through += 1
        except NoCodeError:
            pass

    assert len(slips) == 496
    assert through <= 9


@pytest.mark.parametrize(
    "text", ["", "AAAA-AAAA-AAAA-AAAA", "1111-1111-1111-1111", "ÄÖÜ" * 5 + "A", "A" * 200]
)
def test_a_typed_text_that_is_no_id_is_refused(text: str) -> None:
    with pytest.raises(NoCodeError):
        read_typed(text, KEY)


@pytest.mark.parametrize(
    "bad",
    [
        Identity("00", 1, b"abcd"),
        Identity("00" * 8, 0, b"abcd"),
        Identity("00" * 8, 256, b"abcd"),
        Identity("00" * 8, 1, b""),
    ],
)
def test_a_value_that_does_not_fit_its_field_is_refused(bad: Identity) -> None:
    with pytest.raises(ValueError, match="wanted"):
        write_code(bad, KEY)


def test_a_short_key_is_refused() -> None:
    with pytest.raises(ValueError, match="16 bytes"):
        write_code(ONE, b"short")
