"""Which pixels of a window lie inside a polygon."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_SUBPIXEL_BITS = 4  # corners are placed to a sixteenth of a pixel


def filled_polygon(shape: tuple[int, ...], polygon_px: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Pixels inside a polygon, its edge included.

    Parameters
    ----------
    shape
        Height and width of the window; further axes are ignored.
    polygon_px
        Corners (N, 2), x and y, in the window's pixels; they may lie outside it.
    """
    mask = np.zeros(shape[:2], np.uint8)
    corners = np.round(np.asarray(polygon_px, dtype=np.float64) * 2**_SUBPIXEL_BITS).astype(np.int32)
    cv2.fillPoly(mask, [corners], 1, shift=_SUBPIXEL_BITS)
    return mask > 0
