"""The plane of an air cell's rim from the line one sees, with what the picture leaves open.

In the egg's own frame (depth from the blunt pole along the axis, offset ``v`` across it) one curve is
fitted to the line found strip by strip::

    depth(v) = a + b v + c sqrt(1 - ((v - m) / h)^2)

A rim that lies across the line of sight is seen edge-on, a straight line: ``a`` is its depth on the
axis and ``b`` the tangent of its tilt. Seen a little from above or below, the near half of the rim's
circle bows by ``c`` to one side; its ends at the silhouette (``m - h`` and ``m + h``) stay in the
rim's plane. A sagging membrane bows in the same way. So ``a`` is the depth of the mean plane of the
rim in either case.

How much the line bows is often told only by a few uncertain points near the silhouette. Then the prior
(no bow, with a spread of the camera's usual height over the rim) holds ``c`` near zero, the plane stays
near the line one sees, and the covariance says how far off it may be.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.rim_line import EggFrame, Strips

FloatArray = NDArray[np.float64]

# Fitted on drawn eggs of seeds apart from those reported on. Over egg length: scatter of one strip's
# line beyond what the map itself doubts; bow and tilt as expected before looking.
STRIP_SCATTER = 0.004
DOUBT_FACTOR = 1.0
BOW_SPREAD = 0.045
TILT_SPREAD = 0.27  # tangent of 15 degrees
INDEPENDENT_STRIPS = 8  # neighbouring strips of a smooth map say the same thing
# In the sharp corners at the ends a map is blurred with the ground beyond the shell.
USED_WIDTH = 0.95  # of the rim's half width
MIN_THICKNESS = 0.015  # of the length, between shell and line
_ROUNDS = 8
_OUTLIER = 3.0  # spreads, from which on a strip counts less and less


@dataclass(frozen=True)
class Rim:
    """The curve of the module's head, in map pixels; ``covariance`` (3, 3) is that of a, b and c.

    ``residual`` holds each strip's distance from the curve, infinite beyond the rim's ends.
    """

    depth: float
    slope: float
    bow: float
    middle: float
    half_width: float
    residual: FloatArray
    covariance: FloatArray

    def line(self, offset: FloatArray) -> FloatArray:
        """Depth of the curve at these offsets."""
        return self.depth + self.slope * offset + self.bow * arc(offset, self.middle, self.half_width)


def fit_rim(strips: Strips, frame: EggFrame, *, bow_spread: float | None = None) -> Rim:
    """Robust least squares of the curve, with priors on tilt and bow (see the module).

    ``bow_spread`` is that of the bow's prior, over egg length; :data:`BOW_SPREAD` if not given.
    """
    length = frame.profile.length
    doubt = np.hypot(DOUBT_FACTOR * strips.doubt / length, STRIP_SCATTER)
    thickness = strips.depth - frame.shell_depth(strips.offset)
    central = np.abs(strips.offset - np.median(strips.offset)) < 0.25 * frame.profile.breadth
    p = np.array([float(np.median(strips.depth[central])) / length, 0.0, 0.0])
    robust = np.ones_like(doubt)
    prior = np.diag([0.0, TILT_SPREAD**-2, (BOW_SPREAD if bow_spread is None else bow_spread) ** -2])
    for _ in range(_ROUNDS):  # the rim's ends depend on its depth and slope
        low, high = rim_ends(p[0] * length, p[1], frame)
        middle, half_width = (low + high) / 2, max((high - low) / 2, 1.0)
        used = (np.abs(strips.offset - middle) < USED_WIDTH * half_width) & (
            thickness > MIN_THICKNESS * length
        )
        if used.sum() < 5:
            used = np.ones_like(used)
        terms = np.stack(
            [
                np.ones_like(strips.offset),
                strips.offset / length,
                arc(strips.offset, middle, half_width),
            ],
            axis=1,
        )
        share = min(INDEPENDENT_STRIPS / int(used.sum()), 1.0)
        weight = np.where(used, share * robust / doubt**2, 0.0)
        normal = terms.T @ (weight[:, None] * terms) + prior
        p = np.linalg.solve(normal, terms.T @ (weight * strips.depth / length))
        off = np.abs(terms @ p - strips.depth / length) / doubt
        robust = 1 / np.sqrt(1 + (off / _OUTLIER) ** 2)
    scale = np.array([length, 1.0, length])
    depth, slope, bow = p * scale
    rim = Rim(
        float(depth),
        float(slope),
        float(bow),
        middle,
        half_width,
        np.empty(0),
        np.asarray(np.linalg.inv(normal) * np.outer(scale, scale), dtype=np.float64),
    )
    beyond = np.abs(strips.offset - middle) > 1.1 * half_width
    residual = np.where(beyond, np.inf, strips.depth - rim.line(strips.offset))
    return Rim(rim.depth, rim.slope, rim.bow, middle, half_width, residual, rim.covariance)


def rim_ends(depth: float, slope: float, frame: EggFrame) -> tuple[float, float]:
    """Offsets at which the straight rim line meets the silhouette."""
    length = frame.profile.length
    along = np.linspace(0, 0.75, 400) * length
    radius = frame.profile.radius(along - length / 2)
    ends = []
    for side in (-1.0, 1.0):
        # Going down the shell on one side, the first place that lies beyond the line.
        beyond = along - (depth + slope * side * radius)
        k = int(np.argmax(beyond > 0))
        ends.append(side * (radius[k] if beyond[k] > 0 else frame.profile.breadth / 2))
    return ends[0], ends[1]


def arc(offset: FloatArray, middle: float, half_width: float) -> FloatArray:
    """The near half of a circle seen from the side, 1 in the middle and 0 at the ends."""
    return np.sqrt(np.maximum(1 - ((offset - middle) / half_width) ** 2, 0.0))
