"""The folder of the home that is worked on: beside its record lie the samples, the pictures that wait and the key of the sheets."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

from django.conf import settings

_ANOTHER: ContextVar[Path | None] = ContextVar("the folder of another database", default=None)


def home_folder() -> Path:
    """Where the files of this home lie."""
    return _ANOTHER.get() or Path(settings.HOME)


@contextmanager
def in_folder(folder: Path) -> Iterator[None]:
    """Work on another database takes the files beside it, and never those of the home that is served."""
    token = _ANOTHER.set(folder)
    try:
        yield
    finally:
        _ANOTHER.reset(token)
