"""A rim that leans along the line of sight: it shows as an open ellipse, not as a line across the egg.

The curve of ``vision.rim_fit`` takes the bow of the line for a camera that looks down on a level rim: both
ends then lie on the silhouette, at the depth of the plane. A loose air cell that leans toward or away from
the camera is another thing. Its plane cuts the shell deep on one side and near the pole on the other, and
the near half of that cut is what one sees::

    x = d + tan(t) r(x) cos(psi),   v = r(x) sin(psi)

with ``r`` the egg's profile, ``psi`` the angle about the axis from the camera's side, ``d`` the plane's depth
on the axis and ``t`` its lean toward the camera. Seen across, a lean of 30 degrees closes a shallow cell's
rim to an ellipse that touches the silhouette nowhere. This curve is fitted beside the other one; where it
fits better, the lean is taken as the rim's own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vision.rim_fit import Rim
from vision.rim_line import EggFrame, Strips

FloatArray = NDArray[np.float64]

STRIP_SCATTER = 0.006  # of the length, beyond what the map itself doubts
_OUTLIER = 3.0  # spreads; a strip that the rim does not reach counts as so far off
_POINTS = 61
_MOST_TANGENT = 1.2  # of either part of the lean: 50 degrees
_START = 0.5  # tangent of the lean to begin from


@dataclass(frozen=True)
class OpenRim:
    """The leaning plane: depth on the axis in map pixels, slope in the picture, tangent of the lean.

    ``toward`` is positive where the side toward the camera lies deeper. ``misfit`` is the robust mean
    of squared distances, in spreads, and ``level_misfit`` that of the other curve on the same strips.
    """

    depth: float
    slope: float
    toward: float
    misfit: float
    level_misfit: float


def near_half(depth: float, slope: float, toward: float, frame: EggFrame) -> tuple[FloatArray, FloatArray]:
    """Offsets, growing, and depths of the rim's half toward the camera, as far as it does not turn back."""
    psi = np.linspace(-math.pi / 2, math.pi / 2, _POINTS)
    lean = toward * np.cos(psi) + slope * np.sin(psi)
    length = frame.profile.length
    along = np.linspace(0.0, 1.0, 257) * length
    radius = frame.profile.radius(along - length / 2)
    # Along each meridian, the first place on the shell that lies beyond the plane.
    beyond = along[None, :] - depth - lean[:, None] * radius[None, :]
    k = np.clip(np.argmax(beyond > 0, axis=1), 1, len(along) - 1)
    rows = np.arange(len(psi))
    low, high = beyond[rows, k - 1], beyond[rows, k]
    share = np.clip(-low / np.maximum(high - low, 1e-9), 0.0, 1.0)
    place = along[k - 1] + share * (along[k] - along[k - 1])
    offset = np.interp(place, along, radius) * np.sin(psi)
    first, last = int(np.argmin(offset)), int(np.argmax(offset))
    return offset[first : last + 1], place[first : last + 1]


def fit_open_rim(strips: Strips, frame: EggFrame, level: Rim) -> OpenRim | None:
    """Robust least squares of a plane whose near side lies deeper; ``None`` where too few strips tell.

    The other way round (near side toward the pole) the same line may be had from a camera that looks down
    on the egg, as most do, so that the two cannot be told apart.
    """
    used = strips.depth - frame.shell_depth(strips.offset) > 0.015 * frame.profile.length
    if used.sum() < 6:
        return None
    strips = strips.only(used)
    length = frame.profile.length
    level_off = (strips.depth - level.line(strips.offset)) / length
    spread = np.hypot(strips.doubt / length, STRIP_SCATTER)

    def off(p: FloatArray) -> FloatArray:
        offset, depth = near_half(p[0] * length, p[1], p[2], frame)
        drawn = np.interp(strips.offset, offset, depth)
        outside = np.maximum(np.maximum(offset[0] - strips.offset, strips.offset - offset[-1]), 0.0)
        distance = np.abs((drawn - strips.depth) / length) + outside / length
        return np.asarray(distance / spread, dtype=np.float64)

    middle = float(np.median(strips.depth)) / length
    found = least_squares(
        off, [float(np.clip(middle - 0.25 * _START, 0.0, 0.45)), 0.0, _START],
        bounds=([-0.05, -_MOST_TANGENT, 0.0], [0.5, _MOST_TANGENT, _MOST_TANGENT]),
        loss="cauchy", f_scale=_OUTLIER, diff_step=1e-3, max_nfev=25,
    )  # fmt: skip
    depth, slope, toward = (float(value) for value in found.x)
    return OpenRim(depth * length, slope, toward, misfit(off(found.x)), misfit(level_off / spread))


def misfit(off: FloatArray) -> float:
    """Robust mean of squared distances in spreads, each counted up to the outlier's bound."""
    return float(np.mean(np.minimum(off**2, _OUTLIER**2)))
