"""The garbage collector of a server that remembers much: what stays is not gone through again and again."""

import gc

YOUNG = 50_000
"""New objects after which the youngest are looked through; a page with its estimates makes some ten thousand."""


def settle() -> None:
    """Set aside what start-up made for good, and look for garbage less often. Reference counts free most of it at once."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(YOUNG, 20, 50)
