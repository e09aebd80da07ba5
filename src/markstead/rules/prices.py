"""Prices, kept in the smallest unit of a currency: as people type them, and as files and fields have them."""

import re

_TYPED = re.compile(r"[^\d.,]*(\d{1,6})(?:[.,](\d{1,2}))?[^\d.,]*")


def read_price(text: str) -> int | None:
    """A price as it is typed: 6, 6.50, 6,50, with or without a sign of a currency; None where it is no such price."""
    found = _TYPED.fullmatch(text.strip())
    return int(found[1]) * 100 + int((found[2] or "").ljust(2, "0")) if found is not None else None


def plain_price(amount: int) -> str:
    """A price with a decimal point and no sign of a currency: 6.50."""
    return f"{amount // 100}.{amount % 100:02d}"
