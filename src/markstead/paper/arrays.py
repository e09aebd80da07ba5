"""Arrays as the reader names them. OpenCV promises its callers numbers of some kind and no more, and so do these names."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Grey = NDArray[Any]
    """A picture of levels from 0 to 255, rows by columns."""
    Floats = NDArray[Any]
    """Darkness, or other figures with a fraction."""
    Points = NDArray[Any]
    """One row a point: x and y."""
    Flags = NDArray[Any]
    """Yes or no."""
