"""The air cell of one egg from a map of where it probably lies: the rim's line, then its plane.

The map gives, for each pixel, the probability that it lies beyond the rim's line toward the blunt
end. In the egg's own frame (depth from the blunt pole along the axis, offset across it) the line
is looked up in narrow strips parallel to the axis, and one curve is fitted to all strips::

    depth(v) = a + b v + c sqrt(1 - ((v - m) / h)^2)

A rim that lies across the line of sight is seen edge-on, a straight line: ``a`` is its depth on the
axis and ``b`` the tangent of its tilt. Seen a little from above or below, the near half of the rim's
circle bows by ``c`` to one side; its ends at the silhouette (``m - h`` and ``m + h``) stay in the
rim's plane. A sagging membrane bows in the same way. So ``a`` is the depth of the mean plane of the
rim in either case.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from incubation.egg_geometry import EggProfile, rim_diameter, tilted_air_cell_volume_fraction
from vision.polygon_mask import filled_polygon
from vision.reading import AirCell, Outline

FloatArray = NDArray[np.float64]

DEPTH_LIMITS = (0.01, 0.45)  # of egg length; beyond, whatever was found is no air cell
MIN_AREA_SHARE = 0.0015  # of the silhouette; the segment at a depth of 0.01
MIN_AREA_PX = 12
MIN_LINE_SHARE = 0.4  # of the rim's width, that must show a line
MAX_TILT_DEG = 45.0
MAX_BOW = 0.12  # of the length; a camera 25 degrees off the rim's plane

_WORK_LENGTH_PX = 256.0  # larger eggs are shrunk to this length first, which averages noise
_SEARCH_TO = 0.62  # of the length, from the blunt pole
_POLE_SLACK = 0.03  # of the length, that the outline's blunt pole may be off
_SIDE_BAND = 0.03  # of the length, on each side of the line, where contrast is read ...
_LINE_GAP = 0.01  # ... leaving this much out next to the line
_MIN_CONTRAST = 0.15
# What the fit expects, over egg length: scatter of one strip's line, and how far the rim bows
# (a camera 11 degrees off the rim's plane).
_STRIP_SCATTER = 0.006
_BOW_SPREAD = 0.05
_TILT_SPREAD = math.tan(math.radians(15))
_INDEPENDENT_STRIPS = 10  # neighbouring strips of a smooth map say the same thing


@dataclass(frozen=True)
class _Frame:
    """The egg's own axes in the picture: depth from the blunt pole, offset across."""

    pole: FloatArray
    inward: FloatArray
    across: FloatArray
    profile: EggProfile

    def to_picture(self, depth: FloatArray, offset: FloatArray) -> FloatArray:
        return self.pole + depth[..., None] * self.inward + offset[..., None] * self.across

    def shell_depth(self, offset: FloatArray) -> FloatArray:
        """Depth at which a strip at this offset enters the silhouette on the blunt side."""
        depth = np.linspace(0, 0.5, 200) * self.profile.length
        radius = np.maximum.accumulate(self.profile.radius(depth - self.profile.length / 2))
        return np.interp(np.abs(offset), radius, depth, right=np.inf)


@dataclass(frozen=True)
class _Strips:
    """The line as found strip by strip; all arrays of one length, pixels of the work map."""

    offset: FloatArray
    depth: FloatArray
    contrast: FloatArray


@dataclass(frozen=True)
class _Rim:
    depth: float
    slope: float
    bow: float
    middle: float
    half_width: float
    residual: FloatArray


def measure_air_cell(
    air_cell_map: NDArray[np.float32],
    outline: Outline,
    *,
    corner_px: tuple[int, int] = (0, 0),
) -> tuple[AirCell | None, str | None]:
    """Measure the air cell of one egg seen from the side.

    Parameters
    ----------
    air_cell_map
        Probability, 0 to 1, that the pixel lies beyond the rim's line toward the blunt end; shape
        (H, W), a window of the photo at the photo's own scale. Values outside the silhouette do
        not matter.
    outline
        The egg, in photo pixels. Where its blunt end is not known, the end on which the map's
        mass lies is taken as the blunt one.
    corner_px
        Photo position (x, y) of the window's top left pixel.

    Returns
    -------
    AirCell or None
        What was measured; ``depth_fraction`` is that of the rim's mean plane (see the module).
        ``confidence`` is worth heeding: on simulated photos apart from those reported on, depths were
        off by 0.008 of the length above 0.95, 0.02 around 0.85 and mostly wrong below 0.7.
        ``tilt_deg`` is the tilt seen in the picture, without a sign; a tilt along the line of
        sight cannot be told from the camera's own height.
    str or None
        Why nothing could be measured.

    Raises
    ------
    ValueError
        Where the map is not a picture of numbers between 0 and 1.
    """
    probability = _checked_map(air_cell_map)
    if outline.profile is None:
        return None, "the egg is seen from its end, so the air cell's depth does not show"
    probability, factor = _shrunk(probability, outline.profile.length)
    frame, reason = _frame(probability, outline, corner_px, factor)
    if frame is None:
        return None, reason
    strips = _find_line(probability, frame)
    length = frame.profile.length
    if len(strips.offset) < 6:
        return None, "no line of an air cell shows"
    rim = _fit_rim(strips, frame)
    depth_fraction = rim.depth / length
    tilt = math.degrees(math.atan(abs(rim.slope)))
    if tilt > MAX_TILT_DEG:
        return None, "the line found runs along the egg rather than across its blunt end"
    if not DEPTH_LIMITS[0] <= depth_fraction <= DEPTH_LIMITS[1]:
        return None, "the line found does not cross the egg's axis where an air cell can end"
    if abs(rim.bow) > MAX_BOW * length:
        return None, "the line found is more bowed than the rim of an air cell can be"
    fits = np.abs(rim.residual) < 0.05 * length
    seen = _share_seen(strips.offset[fits], rim)
    if seen < MIN_LINE_SHARE:
        return None, "too little of the air cell's line shows"

    boundary = _to_photo(frame.to_picture(strips.depth[fits], strips.offset[fits]), corner_px, factor)
    return (
        AirCell(
            depth_fraction=depth_fraction,
            diameter_fraction=rim_diameter(depth_fraction, frame.profile) / frame.profile.breadth,
            volume_fraction=tilted_air_cell_volume_fraction(depth_fraction, frame.profile, tilt_deg=tilt),
            tilt_deg=tilt,
            boundary_px=boundary,
            confidence=_confidence(strips, fits, rim, seen, length),
        ),
        None,
    )


def line_depth_fraction(line_px: NDArray[np.floating], outline: Outline) -> float:
    """Mean depth of a visible line along the axis, over egg length.

    What a person reads off the picture. It differs from the rim's mean plane by the bow of the line
    where the camera looks from above or below, so compare drawn lines with this, not with
    ``AirCell.depth_fraction``.

    Parameters
    ----------
    line_px
        Points of the line in the photo, shape (N, 2), x and y, evenly spaced across the egg.
    outline
        The egg; its ``axis_deg`` must be known.
    """
    if outline.axis_deg is None:
        raise ValueError("the outline's axis_deg must be known: which end is blunt?")
    angle = math.radians(outline.axis_deg)
    blunt = np.array([math.cos(angle), math.sin(angle)])
    along = (np.asarray(line_px, dtype=np.float64) - np.asarray(outline.centre_px)) @ blunt
    return float(0.5 - along.mean() / outline.length_px)


def air_cell_mask(
    air_cell: AirCell, outline: Outline, shape: tuple[int, int], *, corner_px: tuple[int, int] = (0, 0)
) -> NDArray[np.bool_]:
    """Pixels of the silhouette beyond the measured line, in a window of this shape (H, W).

    The line is carried on straight, in the direction between its ends, to the silhouette.
    """
    corner = np.asarray(corner_px)
    egg = filled_polygon(shape, outline.polygon_px - corner)
    line = np.asarray(air_cell.boundary_px, dtype=np.float64)
    if len(line) < 2:
        return np.zeros(shape, dtype=bool)
    chord = line[-1] - line[0]
    chord = chord / max(float(np.hypot(*chord)), 1e-9)
    toward = np.array([-chord[1], chord[0]])
    # The air cell is the smaller part, on the side of the line away from the egg's middle.
    if toward @ (np.asarray(outline.centre_px) - line.mean(axis=0)) > 0:
        toward = -toward
    reach = 2 * outline.length_px
    start, end = line[0] - reach * chord, line[-1] + reach * chord
    beyond = np.vstack([start, line, end, end + reach * toward, start + reach * toward])
    return egg & filled_polygon(shape, beyond - corner)


def _checked_map(air_cell_map: NDArray[np.float32]) -> NDArray[np.float32]:
    if air_cell_map.ndim != 2 or min(air_cell_map.shape) < 2:
        raise ValueError(f"air_cell_map must be a picture of shape (H, W), not {air_cell_map.shape}")
    probability = np.ascontiguousarray(air_cell_map, dtype=np.float32)
    if not (np.all(np.isfinite(probability)) and probability.min() >= -1e-4 and probability.max() <= 1.0001):
        raise ValueError("air_cell_map must hold probabilities between 0 and 1")
    return probability


def _shrunk(probability: NDArray[np.float32], length_px: float) -> tuple[NDArray[np.float32], float]:
    """The map at work scale and photo pixels per work pixel, in x and y alike."""
    factor = length_px / _WORK_LENGTH_PX
    if factor <= 1.25:
        return probability, 1.0
    height, width = probability.shape
    # Pad so that both sides shrink by exactly the same factor, then resample about pixel edges.
    size = (max(math.ceil(width / factor), 2), max(math.ceil(height / factor), 2))
    right, below = (round(size[0] * factor) - width, round(size[1] * factor) - height)
    padded = cv2.copyMakeBorder(
        probability, 0, max(below, 0), 0, max(right, 0), cv2.BORDER_CONSTANT, value=0.0
    )
    scale = np.array([[factor, 0, (factor - 1) / 2], [0, factor, (factor - 1) / 2]], dtype=np.float64)
    blurred = cv2.GaussianBlur(padded, (0, 0), 0.4 * factor)
    small = cv2.warpAffine(blurred, scale, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    return np.asarray(small, dtype=np.float32), factor


def _to_work(points_px: FloatArray, corner_px: tuple[int, int], factor: float) -> FloatArray:
    return (points_px - np.asarray(corner_px, dtype=np.float64) + 0.5) / factor - 0.5


def _to_photo(points: FloatArray, corner_px: tuple[int, int], factor: float) -> FloatArray:
    return (points + 0.5) * factor - 0.5 + np.asarray(corner_px, dtype=np.float64)


def _frame(
    probability: NDArray[np.float32], outline: Outline, corner_px: tuple[int, int], factor: float
) -> tuple[_Frame | None, str | None]:
    """The egg's frame in the work map, or why there is none."""
    assert outline.profile is not None
    profile = outline.profile.scaled(1 / factor)
    centre = _to_work(np.asarray(outline.centre_px, dtype=np.float64), corner_px, factor)
    rows, columns = np.nonzero(probability > 0.5)
    angle = math.radians(outline.long_axis_deg if outline.axis_deg is None else outline.axis_deg)
    blunt = np.array([math.cos(angle), math.sin(angle)])
    along = (columns - centre[0]) * blunt[0] + (rows - centre[1]) * blunt[1]
    off = -(columns - centre[0]) * blunt[1] + (rows - centre[1]) * blunt[0]
    inside = np.abs(off) < profile.radius(-along)
    area = int(inside.sum())
    silhouette = 0.75 * profile.length * profile.breadth
    if area < max(MIN_AREA_PX / factor**2, MIN_AREA_SHARE * silhouette, 4):
        return None, "no air cell shows"
    on_blunt_side = float(np.mean(along[inside] > 0))
    if outline.axis_deg is None and on_blunt_side < 0.5:
        blunt, on_blunt_side = -blunt, 1 - on_blunt_side
    if on_blunt_side < 0.5:
        return None, "what looks like an air cell lies at the pointed end; check which end is the blunt one"
    if area > 0.6 * silhouette:
        return None, "what looks like an air cell fills most of the egg"
    return (
        _Frame(
            pole=centre + blunt * profile.length / 2,
            inward=-blunt,
            across=np.array([-blunt[1], blunt[0]]),
            profile=profile,
        ),
        None,
    )


def _find_line(probability: NDArray[np.float32], frame: _Frame) -> _Strips:
    """Where the map falls through one half, strip by strip."""
    length, breadth = frame.profile.length, frame.profile.breadth
    count = int(np.clip(round(breadth), 24, 128))
    offset = (np.arange(count) + 0.5) / count * breadth - breadth / 2
    step = max(length / 512, 0.25)
    depth = np.arange(-_POLE_SLACK * length, _SEARCH_TO * length, step)
    points = frame.to_picture(*np.broadcast_arrays(depth[:, None], offset[None, :])).astype(np.float32)
    values = cv2.remap(
        probability,
        points[..., 0],
        points[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=-10.0,
    )
    covered = values > -0.01  # a strip is used only up to where it leaves the window
    shell = frame.shell_depth(offset)
    slack = _POLE_SLACK * length
    inside = depth[:, None] >= shell - slack
    excess = np.where(inside & covered, values - 0.5, 0.0)
    total = np.cumsum(excess, axis=0)
    # The best run of high values that starts near the shell: its end is the least-squares step.
    may_start = depth[:, None] <= shell + 2 * slack
    floor = np.minimum.accumulate(np.where(may_start, np.minimum(total, 0.0), 0.0), axis=0)
    end = np.argmax(total - floor, axis=0)

    band, gap = max(int(_SIDE_BAND * length / step), 2), int(_LINE_GAP * length / step)
    found = []
    for i in np.flatnonzero(np.isfinite(shell)):
        j = int(end[i])
        if j < 1 or j + 1 + gap + band > len(depth):
            continue  # no fall, or one too deep for an air cell
        if depth[j] - shell[i] < max(1.0, 0.008 * length):
            continue  # at the silhouette's own edge
        entry = int(np.searchsorted(depth, shell[i]))
        before = values[max(j - gap - band, min(entry, j)) : max(j - gap, min(entry, j) + 1), i]
        after = values[j + 1 + gap : j + 1 + gap + band, i]
        if min(before.min(), after.min()) < -0.01:
            continue  # the strip leaves the window before the line is past
        high, low = float(values[j, i]), float(values[j + 1, i])
        contrast = float(before.mean() - after.mean())
        if contrast < _MIN_CONTRAST or not high >= 0.5 > low:
            continue
        found.append((offset[i], depth[j] + step * (high - 0.5) / (high - low), contrast))
    table = np.array(found, dtype=np.float64).reshape(-1, 3)
    return _Strips(*table.T)


def _rim_ends(depth: float, slope: float, frame: _Frame) -> tuple[float, float]:
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


def _fit_rim(strips: _Strips, frame: _Frame) -> _Rim:
    """Robust least squares of the curve of the module's head, with mild priors on tilt and bow."""
    length = frame.profile.length
    weight = np.sqrt(strips.contrast * _INDEPENDENT_STRIPS / len(strips.offset)) / _STRIP_SCATTER
    thickness = strips.depth - frame.shell_depth(strips.offset)
    central = np.abs(strips.offset - np.median(strips.offset)) < 0.25 * frame.profile.breadth
    depth, slope, bow = float(np.median(strips.depth[central])), 0.0, 0.0
    middle, half_width = 0.0, frame.profile.breadth / 2
    for _ in range(3):  # the rim's ends depend on its depth and slope
        low, high = _rim_ends(depth, slope, frame)
        middle, half_width = (low + high) / 2, max((high - low) / 2, 1.0)
        # In the sharp corners at the ends a map is blurred with the ground beyond the shell.
        used = (np.abs(strips.offset - middle) < 0.9 * half_width) & (thickness > 0.015 * length)
        if used.sum() < 5:
            used = np.ones_like(used)
        offset = strips.offset[used]
        terms = np.stack([np.ones_like(offset), offset / length, _arc(offset, middle, half_width)], axis=1)
        p = least_squares(
            _misfit,
            np.array([depth / length, slope, bow / length]),
            loss="soft_l1",
            args=(terms, strips.depth[used] / length, weight[used]),
        ).x
        depth, slope, bow = float(p[0] * length), float(p[1]), float(p[2] * length)
    line = depth + slope * strips.offset + bow * _arc(strips.offset, middle, half_width)
    residual = np.where(np.abs(strips.offset - middle) > 1.1 * half_width, np.inf, strips.depth - line)
    return _Rim(depth, slope, bow, middle, half_width, residual)


def _misfit(p: FloatArray, terms: FloatArray, depth: FloatArray, weight: FloatArray) -> FloatArray:
    return np.concatenate([weight * (terms @ p - depth), [p[1] / _TILT_SPREAD, p[2] / _BOW_SPREAD]])


def _arc(offset: FloatArray, middle: float, half_width: float) -> FloatArray:
    return np.sqrt(np.maximum(1 - ((offset - middle) / half_width) ** 2, 0.0))


def _share_seen(offset: FloatArray, rim: _Rim) -> float:
    """Share of the rim's width in which a line was found."""
    if len(offset) == 0:
        return 0.0
    position = (offset - rim.middle) / rim.half_width
    bins = np.floor((position + 1) / 2 * 20).astype(int)
    return len(set(bins[(bins >= 0) & (bins < 20)].tolist())) / 20


def _confidence(strips: _Strips, fits: NDArray[np.bool_], rim: _Rim, seen: float, length: float) -> float:
    """Product of plain factors, each 0 to 1: contrast at the line, width seen, fit, bow, depth."""
    contrast = float(np.mean(strips.contrast[fits]))
    width = min(seen / 0.8, 1.0)
    scatter = float(np.sqrt(np.mean(rim.residual[fits] ** 2))) / length
    smooth = math.exp(-((scatter / 0.02) ** 2)) * float(fits.mean())
    straight = min((MAX_BOW - abs(rim.bow) / length) / 0.05, 1.0)
    # Air cells of sound eggs end between 0.04 and 0.35 of the length; beyond, trust fades.
    share = rim.depth / length
    plausible = min(share / 0.04, (DEPTH_LIMITS[1] - share) / 0.1, 1.0)
    return float(np.clip(contrast * width * smooth * straight * max(plausible, 0.0), 0.0, 1.0))
