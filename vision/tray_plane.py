"""How large things look in different parts of a tray, from its own lattice of cups.

Perspective makes near cups look larger. The lattice of cups lies in a plane, so it tells the perspective of
that plane; and what lies at one height above it is scaled alike.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_FEWEST_CUPS = 6


def plane_of_cups(cup_centres_px: FloatArray, *, staggered: bool) -> FloatArray | None:
    """From pixels to the tray's plane, in pitches of a row, (3, 3); ``None`` with too few cups.

    Parameters
    ----------
    cup_centres_px
        Centres of the tray's cups, shape (rows, columns, 2); NaN where there is none.
    staggered
        Whether every other row is shifted by half a column.
    """
    row, column = np.nonzero(np.isfinite(cup_centres_px[:, :, 0]))
    if len(row) < _FEWEST_CUPS or len(np.unique(row)) < 2 or len(np.unique(column)) < 2:
        return None
    across = column.astype(float)
    if staggered:
        first, second = cup_centres_px[0, 0], cup_centres_px[1, 0]
        along = np.nanmean(np.diff(cup_centres_px, axis=1).reshape(-1, 2), axis=0)
        way = 0.5 if float((second - first) @ along) > 0 else -0.5
        across = across + way * (row % 2)
    tray = np.stack([across, row.astype(float)], axis=1)
    matrix, _ = cv2.findHomography(cup_centres_px[row, column], tray, 0)
    return None if matrix is None else np.asarray(matrix, np.float64)


def scale_at(plane: FloatArray, place: FloatArray) -> float:
    """Units of the plane a pixel at a place in the photo: the root of the area's change."""
    p = plane @ np.array([place[0], place[1], 1.0])
    jacobian = (plane[:2, :2] - np.outer(p[:2] / p[2], plane[2, :2])) / p[2]
    return math.sqrt(abs(float(np.linalg.det(jacobian))))


def nearness_at(plane: FloatArray, places: FloatArray) -> FloatArray:
    """How near the camera the tray is at places (N, 2) of the photo, in any unit.

    One over the distance is linear in the picture for anything flat, and is the last coordinate of the map
    to its plane. The diameter of a round thing, such as an egg from above, goes with it (the plane's own
    area is foreshortened beside).
    """
    last: FloatArray = np.asarray(places, float).reshape(-1, 2) @ plane[2, :2] + plane[2, 2]
    return last
