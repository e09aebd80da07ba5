"""A square Data Matrix (ISO/IEC 16022, ECC 200) of 24 by 24 modules for the 44 characters of a page's code.

Written out here because no library that the home installs draws one of a size that is known beforehand.
"""

from collections.abc import Sequence

SIDE = 24
_INNER = SIDE - 2
_DATA, _CHECK = 36, 24
_LATCH, _UNLATCH, _PAD = 230, 254, 129
_LETTERS = " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""The basic set of C40: the value of a character is its place here and 3 more."""
_FIELD = 0x12D
"""x^8 + x^5 + x^3 + x^2 + 1."""


def matrix_rows(code: str) -> tuple[tuple[bool, ...], ...]:
    """Draw capital letters and digits, up to 51 of them; rows from the top, true is black.

    Raises:
        ValueError: a character has no place in the set, or there are too many.
    """
    data = _data_words(code)
    bits = _placed([*data, *_check_words(data)])
    # A solid edge left and below, one of alternating modules above (beginning black) and to the right (ending black).
    top = tuple(x % 2 == 0 for x in range(SIDE))
    middle = [(True, *row, y % 2 == 0) for y, row in enumerate(bits)]
    return (top, *middle, (True,) * SIDE)


def _data_words(code: str) -> list[int]:
    if any(letter not in _LETTERS for letter in code):
        raise ValueError(f"{code!r} holds more than capital letters and digits")
    whole = len(code) - len(code) % 3
    words = [_LATCH]
    for n in range(0, whole, 3):
        a, b, c = (_LETTERS.index(letter) + 3 for letter in code[n : n + 3])
        words += divmod(1600 * a + 40 * b + c + 1, 256)
    words += [_UNLATCH, *(ord(letter) + 1 for letter in code[whole:])]
    if len(words) > _DATA:
        raise ValueError(f"{len(code)} characters; there is room for 51")
    if len(words) < _DATA:
        words.append(_PAD)
    while len(words) < _DATA:
        # Filling is scattered, so that it draws no pattern (ISO/IEC 16022, 253-state algorithm).
        scattered = _PAD + 149 * (len(words) + 1) % 253 + 1
        words.append(scattered if scattered <= 254 else scattered - 254)
    return words


def _times(a: int, b: int) -> int:
    product = 0
    while b:
        product ^= a * (b & 1)
        a = a << 1 ^ (_FIELD if a & 0x80 else 0)
        b >>= 1
    return product


def _check_words(data: list[int]) -> list[int]:
    """The remainder of a division by the polynomial whose roots are 2, 4, 8 ... (Reed and Solomon 1960)."""
    generator, root = [1], 1
    for _ in range(_CHECK):
        root = _times(root, 2)
        shifted = [*generator, 0]
        generator = [high ^ _times(low, root) for high, low in zip(shifted, [0, *generator], strict=True)]
    rest = [0] * _CHECK
    for word in data:
        first = word ^ rest[0]
        rest = [left ^ _times(first, by) for left, by in zip([*rest[1:], 0], generator[1:], strict=True)]
    return rest


_UTAH = ((-2, -2), (-2, -1), (-1, -2), (-1, -1), (-1, 0), (0, -2), (0, -1), (0, 0))
"""Rows and columns of a word's eight modules beside its last one, the highest bit first."""
_CORNER = ((-3, 0), (-2, 0), (-1, 0), (0, -4), (0, -3), (0, -2), (0, -1), (1, -1))
"""The one word that is cut by a corner in this size (annex F, its second case); -1 is the last row or column."""

Bits = list[list[bool | None]]


def _placed(words: list[int]) -> list[list[bool]]:
    """Lay words along diagonals, up to the right and down to the left in turn (ISO/IEC 16022, annex F)."""
    bits: Bits = [[None] * _INNER for _ in range(_INNER)]
    left = iter(words)
    row, column, up = 4, 0, True
    while row < _INNER or column < _INNER:
        if up and (row, column) == (_INNER - 2, 0):
            _lay(bits, _CORNER, next(left))
        if 0 <= row < _INNER and 0 <= column < _INNER and bits[row][column] is None:
            _lay(bits, [_wrapped(row + down, column + right) for down, right in _UTAH], next(left))
        row, column = (row - 2, column + 2) if up else (row + 2, column - 2)
        if up and not (row >= 0 and column < _INNER):
            row, column, up = row + 1, column + 3, False
        elif not up and not (row < _INNER and column >= 0):
            row, column, up = row + 3, column + 1, True
    # The four modules that are left over in the last corner: black, white, white, black.
    bits[-1][-1] = bits[-2][-2] = True
    return [[bool(bit) for bit in line] for line in bits]


def _wrapped(row: int, column: int) -> tuple[int, int]:
    """Where a module lies that would leave the square above or to the left."""
    shift = 4 - (_INNER + 4) % 8
    if row < 0:
        row, column = row + _INNER, column + shift
    if column < 0:
        row, column = row + shift, column + _INNER
    return row, column


def _lay(bits: Bits, places: Sequence[tuple[int, int]], word: int) -> None:
    for n, (row, column) in enumerate(places):
        bits[row][column] = bool(word >> (7 - n) & 1)
