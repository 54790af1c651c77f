"""Where the line of an air cell's rim runs in a map of probabilities, strip by strip.

The map gives, for each pixel, the probability that it lies beyond the near rim toward the blunt end. It
is read in narrow strips along the egg's axis. In each, the probability falls from one to nothing: where
it passes one half is the line, and the distance over which it falls says how sure the map is of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile
from vision.reading import Outline

FloatArray = NDArray[np.float64]

MIN_AREA_SHARE = 0.0015  # of the silhouette; the segment at a depth of 0.01
MIN_AREA_PX = 12

_WORK_LENGTH_PX = 256.0  # larger eggs are shrunk to this length first, which averages noise
_SEARCH_TO = 0.62  # of the length, from the blunt pole
_POLE_SLACK = 0.03  # of the length, that the outline's blunt pole may be off
_SIDE_BAND = 0.03  # of the length, on each side of the line, where contrast is read ...
_LINE_GAP = 0.01  # ... leaving this much out next to the line
_MIN_CONTRAST = 0.15
_QUARTERS = 1.349  # standard deviations between the quarters of a normal distribution
_WIDEST_FALL = 0.15  # of the length; a fall not over by then is given this width


@dataclass(frozen=True)
class EggFrame:
    """The egg's own axes in a map: depth from the blunt pole, offset across.

    ``pole`` is the blunt pole, ``inward`` and ``across`` unit vectors, ``profile`` in map pixels.
    """

    pole: FloatArray
    inward: FloatArray
    across: FloatArray
    profile: EggProfile

    def to_map(self, depth: FloatArray, offset: FloatArray) -> FloatArray:
        """Map positions (..., 2) of depths and offsets (...)."""
        placed: FloatArray = self.pole + depth[..., None] * self.inward + offset[..., None] * self.across
        return placed

    def shell_depth(self, offset: FloatArray) -> FloatArray:
        """Depth at which a strip at this offset enters the silhouette on the blunt side."""
        depth = np.linspace(0, 0.5, 200) * self.profile.length
        radius = np.maximum.accumulate(self.profile.radius(depth - self.profile.length / 2))
        return np.interp(np.abs(offset), radius, depth, right=np.inf)


@dataclass(frozen=True)
class Strips:
    """The line as found strip by strip; arrays of one length, in pixels of the map.

    ``contrast`` is by how much the probability falls at the line, ``doubt`` the standard deviation
    of the line's depth as far as the map tells.
    """

    offset: FloatArray
    depth: FloatArray
    contrast: FloatArray
    doubt: FloatArray

    def only(self, chosen: NDArray[np.bool_]) -> Strips:
        """The chosen strips."""
        return Strips(self.offset[chosen], self.depth[chosen], self.contrast[chosen], self.doubt[chosen])


@dataclass(frozen=True)
class WorkMap:
    """A map at work scale: ``factor`` photo pixels for each of its own, from photo place ``corner_px``."""

    values: NDArray[np.float32]
    factor: float
    corner_px: tuple[int, int]

    def to_photo(self, points: FloatArray) -> FloatArray:
        """Positions in the map (..., 2) as photo positions."""
        return (points + 0.5) * self.factor - 0.5 + np.asarray(self.corner_px, dtype=np.float64)

    def from_photo(self, points_px: FloatArray) -> FloatArray:
        """Photo positions (..., 2) as positions in the map."""
        return (points_px - np.asarray(self.corner_px, dtype=np.float64) + 0.5) / self.factor - 0.5


def work_map(probability: NDArray[np.float32], length_px: float, corner_px: tuple[int, int]) -> WorkMap:
    """The map shrunk so that an egg of this length is about 256 pixels long; small ones stay."""
    factor = length_px / _WORK_LENGTH_PX
    if factor <= 1.25:
        return WorkMap(probability, 1.0, corner_px)
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
    return WorkMap(np.asarray(small, dtype=np.float32), factor, corner_px)


def egg_frame(work: WorkMap, outline: Outline) -> tuple[EggFrame | None, str | None]:
    """The egg's frame in the map, or why no air cell can be sought.

    Where the outline's blunt end is not known, the end on which the map's mass lies is taken.
    """
    assert outline.profile is not None
    probability = work.values
    profile = outline.profile.scaled(1 / work.factor)
    centre = work.from_photo(np.asarray(outline.centre_px, dtype=np.float64))
    rows, columns = np.nonzero(probability > 0.5)
    angle = math.radians(outline.long_axis_deg if outline.axis_deg is None else outline.axis_deg)
    blunt = np.array([math.cos(angle), math.sin(angle)])
    along = (columns - centre[0]) * blunt[0] + (rows - centre[1]) * blunt[1]
    off = -(columns - centre[0]) * blunt[1] + (rows - centre[1]) * blunt[0]
    inside = np.abs(off) < profile.radius(-along)
    area = int(inside.sum())
    silhouette = 0.75 * profile.length * profile.breadth
    if area < max(MIN_AREA_PX / work.factor**2, MIN_AREA_SHARE * silhouette, 4):
        return None, "no air cell shows"
    on_blunt_side = float(np.mean(along[inside] > 0))
    if outline.axis_deg is None and on_blunt_side < 0.5:
        blunt, on_blunt_side = -blunt, 1 - on_blunt_side
    if on_blunt_side < 0.5:
        return None, "what looks like an air cell lies at the pointed end; check which end is the blunt one"
    if area > 0.6 * silhouette:
        return None, "what looks like an air cell fills most of the egg"
    pole = centre + blunt * profile.length / 2
    return EggFrame(pole, -blunt, np.array([-blunt[1], blunt[0]]), profile), None


def find_line(probability: NDArray[np.float32], frame: EggFrame) -> Strips:
    """Where the map falls through one half, strip by strip."""
    length, breadth = frame.profile.length, frame.profile.breadth
    count = int(np.clip(round(breadth), 24, 128))
    offset = (np.arange(count) + 0.5) / count * breadth - breadth / 2
    step = max(length / 512, 0.25)
    depth = np.arange(-_POLE_SLACK * length, _SEARCH_TO * length, step)
    points = frame.to_map(*np.broadcast_arrays(depth[:, None], offset[None, :])).astype(np.float32)
    read = cv2.remap(
        probability,
        points[..., 0],
        points[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=-10.0,
    )
    values: NDArray[np.float32] = np.asarray(read, dtype=np.float32)
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
        place = depth[j] + step * (high - 0.5) / (high - low)
        found.append((offset[i], place, contrast, step * _fall(values[:, i], j, entry) / _QUARTERS))
    table = np.array(found, dtype=np.float64).reshape(-1, 4)
    widest = _WIDEST_FALL * length
    return Strips(table[:, 0], table[:, 1], table[:, 2], np.minimum(table[:, 3], widest))


def _fall(values: NDArray[np.float32], j: int, entry: int) -> float:
    """Steps over which the probability falls from 0.75 to 0.25 about place ``j``."""
    above = np.flatnonzero(values[: j + 1] >= 0.75)
    below = np.flatnonzero(values[j + 1 :] <= 0.25)
    start = float(above[-1]) if len(above) else float(min(entry, j))
    if len(above) and start < j:
        high, low = values[above[-1]], values[above[-1] + 1]
        start += float((high - 0.75) / max(high - low, 1e-6))
    if not len(below):
        return float(len(values))
    k = j + 1 + int(below[0])
    high, low = values[k - 1], values[k]
    end = k - 1 + float((high - 0.25) / max(high - low, 1e-6))
    return max(end - start, 0.0)
