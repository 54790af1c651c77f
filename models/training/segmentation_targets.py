"""What the segmentation network should answer for a labelled or simulated photo.

Five maps of the photo's size, ``uint8``: 0 no, 1 yes, 255 not known (left out of the loss).

0. **egg**: inside the whole silhouette, hidden parts included;
1. **core**: inside the silhouette shrunk to :data:`CORE_SCALE`, which keeps touching eggs apart;
2. **blunt half**: on the blunt side of the egg's middle (unknown in end view);
3. **air cell**: in the silhouette, beyond the near rim's line toward the blunt end; unknown where that
   line's place is not known. Whether the line can be seen is kept apart, in the next map: were unseen
   lines drawn as no air cell, a network in doubt whether a line shows would put it nearer to the pole.
4. **line shows**: in the silhouette of an egg whose rim a person can see.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from models.shared_data import labelled_photos

if TYPE_CHECKING:
    from sample_images.simulator import SimulatedPhoto

EGG, CORE, BLUNT_HALF, AIR_CELL, LINE_SHOWS = range(5)
MAPS = 5
UNKNOWN = 255
CORE_SCALE = 0.6
BLUNT_DIRECTIONS = {"right": (1.0, 0.0), "down": (0.0, 1.0), "left": (-1.0, 0.0), "up": (0.0, -1.0)}


@dataclass(frozen=True)
class LabelledPhoto:
    """A picture with its five target maps and the group (evening) it must be left out with."""

    name: str
    group: str
    rgb: NDArray[np.uint8]
    targets: NDArray[np.uint8]


def fill_polygon(shape: tuple[int, int], points: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Pixels inside a polygon; ``points`` is (N, 2), x and y, pixel centres at whole numbers."""
    picture = Image.new("1", (shape[1], shape[0]))
    if len(points) >= 3:
        ImageDraw.Draw(picture).polygon([(float(x), float(y)) for x, y in points], fill=1)
    return np.array(picture, dtype=bool)


def half_plane(
    shape: tuple[int, int], point: tuple[float, float], direction: tuple[float, float]
) -> NDArray[np.bool_]:
    """Pixels on the side of ``point`` that ``direction`` points to."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    return (x - point[0]) * direction[0] + (y - point[1]) * direction[1] > 0


def ellipse_points(row: dict[str, str], count: int = 96) -> NDArray[np.float64]:
    """The labelled outline as a polygon; columns as OpenCV's rotated rectangle."""
    angle = math.radians(float(row["angle"]))
    t = np.linspace(0, 2 * math.pi, count, endpoint=False)
    a = float(row["minor_px"]) / 2 * np.cos(t)
    b = float(row["major_px"]) / 2 * np.sin(t)
    x = float(row["cx"]) + a * math.cos(angle) - b * math.sin(angle)
    y = float(row["cy"]) + a * math.sin(angle) + b * math.cos(angle)
    return np.stack([x, y], axis=1)


def axis_toward(row: dict[str, str], end: str) -> tuple[float, float]:
    """Unit vector along the egg's axis in the picture, toward the side that ``end`` names.

    The axis is the labelled ellipse's longer one, unless that lies more than 45 degrees off the
    side named: an egg leaning toward the camera can look broader than long.
    """
    angle = math.radians(float(row["angle"]) + 90)
    axis = (math.cos(angle), math.sin(angle))
    side = BLUNT_DIRECTIONS[end]
    along = axis[0] * side[0] + axis[1] * side[1]
    if abs(along) < math.sqrt(0.5):
        axis = (-axis[1], axis[0])
        along = axis[0] * side[0] + axis[1] * side[1]
    sign = 1.0 if along >= 0 else -1.0
    return (sign * axis[0], sign * axis[1])


def extent_toward(row: dict[str, str], end: str) -> float:
    """The labelled ellipse's diameter along :func:`axis_toward`, in pixels."""
    angle = math.radians(float(row["angle"]) + 90)
    axis = axis_toward(row, end)
    major = abs(axis[0] * math.cos(angle) + axis[1] * math.sin(angle)) > 0.5
    return float(row["major_px"] if major else row["minor_px"])


def beyond_line(
    shape: tuple[int, int], line: NDArray[np.floating], toward: tuple[float, float]
) -> NDArray[np.bool_]:
    """Pixels beyond a drawn line, which is carried on straight at both ends, on the side ``toward``."""
    across = (-toward[1], toward[0])
    order = np.argsort(line @ np.array(across))
    line = line[order]
    far = float(sum(shape)) * 2
    slope = line[-1] - line[0]
    slope = slope / max(float(np.hypot(*slope)), 1e-6)
    start, end = line[0] - slope * far, line[-1] + slope * far
    shift = np.array(toward) * far
    return fill_polygon(shape, np.vstack([start, line, end, end + shift, start + shift]))


def real_photos(folder: Path) -> Iterator[LabelledPhoto]:
    """The labelled photos whose outline is good, with their targets."""
    for photo in labelled_photos(folder):
        if photo.outline_known:
            rgb = np.array(Image.open(photo.path).convert("RGB"))
            yield LabelledPhoto(photo.name, photo.evening, rgb, real_targets(photo.row, rgb.shape[:2]))


def real_targets(row: dict[str, str], shape: tuple[int, int]) -> NDArray[np.uint8]:
    """Target maps of one labelled photo, shape (5, H, W)."""
    targets = np.zeros((MAPS, *shape), dtype=np.uint8)
    outline = ellipse_points(row)
    centre = outline.mean(axis=0)
    egg = fill_polygon(shape, outline)
    targets[EGG] = egg
    targets[CORE] = fill_polygon(shape, centre + CORE_SCALE * (outline - centre))
    known_end = row["blunt_end"] in BLUNT_DIRECTIONS
    if known_end:
        toward = axis_toward(row, row["blunt_end"])
        targets[BLUNT_HALF] = egg & half_plane(shape, (centre[0], centre[1]), toward)
    else:
        targets[BLUNT_HALF][egg] = UNKNOWN
    line = np.array([p.split(":") for p in row["air_cell_points"].split(";") if p], dtype=float)
    if len(line) >= 2 and known_end:
        targets[AIR_CELL] = egg & beyond_line(shape, line, toward)
        targets[LINE_SHOWS] = egg
    else:
        targets[AIR_CELL][egg] = UNKNOWN
        if row["air_cell_visible"] != "0":
            targets[LINE_SHOWS][egg] = UNKNOWN
    return targets


def simulated_targets(photo: SimulatedPhoto) -> NDArray[np.uint8]:
    """Target maps of one simulated photo, shape (5, H, W), from its exact truth."""
    shape = photo.rgb.shape[:2]
    targets = np.zeros((MAPS, *shape), dtype=np.uint8)
    for egg in photo.eggs:
        outline = np.asarray(egg.outline_px, dtype=float)
        centre = np.asarray(egg.centre_px, dtype=float)
        inside = fill_polygon(shape, outline)
        targets[EGG] |= inside
        targets[CORE] |= fill_polygon(shape, centre + CORE_SCALE * (outline - centre))
        if photo.view == "end" or egg.axis_deg is None:
            targets[BLUNT_HALF][inside] = UNKNOWN
            targets[AIR_CELL][inside] = UNKNOWN
            targets[LINE_SHOWS][inside] = UNKNOWN
            continue
        angle = math.radians(egg.axis_deg)
        blunt = half_plane(shape, (centre[0], centre[1]), (math.cos(angle), math.sin(angle)))
        targets[BLUNT_HALF][inside] = blunt[inside]
        region = fill_polygon(shape, np.asarray(egg.air_cell.region_px, dtype=float))
        targets[AIR_CELL][inside] = region[inside]
        if egg.air_cell.line_visible:
            targets[LINE_SHOWS][inside] = 1
        elif not egg.air_cell.line_hidden:
            targets[LINE_SHOWS][inside] = UNKNOWN
    return targets
