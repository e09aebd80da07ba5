"""The answers to LSAT sections 6 and 7 (Bock and Lieberman 1970; see data/README.md), one row a person."""

import csv
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

DATA = Path(__file__).parent / "data" / "lsat.csv"


@cache
def patterns() -> NDArray[np.int64]:
    """The 32 patterns of five answers."""
    return np.array([[int(digit) for digit in row["pattern"]] for row in _rows()])


@cache
def counts(section: int) -> NDArray[np.int64]:
    """How many persons gave each pattern."""
    return np.array([int(row[f"lsat{section}"]) for row in _rows()])


def answers(section: int) -> NDArray[np.int64]:
    """1,000 persons by five questions."""
    return np.repeat(patterns(), counts(section), axis=0)


def _rows() -> list[dict[str, str]]:
    with DATA.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))
