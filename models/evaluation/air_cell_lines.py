"""Air-cell lines against those marked by eye, on evenings left out.

What the eye marked is the line one sees: the near half of the rim, which bows away from the rim's
mean plane where the camera looks down on the egg. So two things are compared: where the line itself
lies, and the depth of the mean plane, for which the same curve is fitted to the eye's line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile
from models.evaluation.left_out_readings import LeftOutReading
from models.training.segmentation_targets import (
    AIR_CELL,
    BLUNT_DIRECTIONS,
    axis_toward,
    ellipse_points,
    extent_toward,
    real_targets,
)
from vision.air_cell import measure_air_cell
from vision.reading import Outline

ALWAYS_GUESS = 0.125  # about the mean of all marked lines: the score of not looking at all
PHOTO_SHAPE = (903, 416)


@dataclass(frozen=True)
class LineScore:
    """How the lines found compare with the eye's.

    Attributes
    ----------
    marked, found
        Photos in which the eye marked a line, and in how many of them one was found.
    line_difference, line_bias
        Mean absolute and mean difference, found minus marked, of the seen line's place along the
        axis, from the blunt pole, over egg length.
    depth_difference, depth_bias
        The same for the depth of the rim's mean plane.
    guess_difference
        Mean absolute difference between the seen line's place and :data:`ALWAYS_GUESS`.
    without, claimed
        Photos in which the eye saw no line, and in how many of them one was claimed.
    """

    marked: int
    found: int
    line_difference: float
    line_bias: float
    depth_difference: float
    depth_bias: float
    guess_difference: float
    without: int
    claimed: int


def marked_points(row: dict[str, str]) -> NDArray[np.float64] | None:
    """The eye's line, (N, 2) in pixels, where one was marked on an egg whose outline is known."""
    known = row["outline_ok"] == "1" and row["blunt_end"] in BLUNT_DIRECTIONS
    if row["air_cell_visible"] != "1" or not known:
        return None
    points = np.array([p.split(":") for p in row["air_cell_points"].split(";") if p], dtype=float)
    return points if len(points) >= 2 else None


def marked_depth(row: dict[str, str]) -> float | None:
    """Mean place of the eye's line along the axis, from the blunt pole, over egg length."""
    points = marked_points(row)
    if points is None:
        return None
    centre = np.array([float(row["cx"]), float(row["cy"])])
    toward = np.array(axis_toward(row, row["blunt_end"]))
    return float(0.5 - ((points - centre) @ toward).mean() / extent_toward(row, row["blunt_end"]))


def found_line_depth(reading: LeftOutReading) -> float | None:
    """The found line's mean place, read where the eye marked its points."""
    points, cell, outline = marked_points(reading.photo.row), reading.air_cell, reading.outline
    if points is None or cell is None or outline is None:
        return None
    toward = np.array(axis_toward(reading.photo.row, reading.photo.row["blunt_end"]))
    across = np.array([-toward[1], toward[0]])
    centre = np.array(outline.centre_px)
    order = np.argsort(cell.boundary_px @ across)
    line = cell.boundary_px[order] - centre
    along = np.interp((points - centre) @ across, line @ across, line @ toward)
    return float(0.5 - along.mean() / outline.length_px)


def marked_plane_depth(row: dict[str, str]) -> float | None:
    """Depth of the rim's mean plane, by the same fit to the eye's own line and outline."""
    if marked_points(row) is None:
        return None
    toward = axis_toward(row, row["blunt_end"])
    length = extent_toward(row, row["blunt_end"])
    breadth = float(row["major_px"]) * float(row["minor_px"]) / length
    degrees = math.degrees(math.atan2(toward[1], toward[0]))
    outline = Outline(
        (float(row["cx"]), float(row["cy"])),
        length,
        breadth,
        degrees % 360,
        degrees % 180,
        ellipse_points(row),
        EggProfile.from_length_breadth(length, breadth, shift=0.0),
    )
    target = (real_targets(row, PHOTO_SHAPE)[AIR_CELL] == 1).astype(np.float32)
    cell, _ = measure_air_cell(cv2.GaussianBlur(target, (0, 0), 1.0), outline)
    return None if cell is None else cell.depth_fraction


def line_score(readings: Sequence[LeftOutReading]) -> LineScore:
    """Compare all readings whose photo was looked at for a line."""
    lines: list[tuple[float, float]] = []
    planes: list[float] = []
    marked = without = claimed = 0
    for reading in readings:
        row = reading.photo.row
        depth = marked_depth(row)
        if depth is not None:
            marked += 1
            seen = found_line_depth(reading)
            if seen is None or reading.air_cell is None or reading.air_cell.depth_fraction is None:
                continue
            lines.append((seen, depth))
            plane = marked_plane_depth(row)
            if plane is not None:
                planes.append(reading.air_cell.depth_fraction - plane)
        elif row["air_cell_visible"] == "0" and reading.outline is not None:
            without += 1
            claimed += reading.air_cell is not None
    table = np.array(lines, dtype=float).reshape(-1, 2)
    error, plane_error = table[:, 0] - table[:, 1], np.array(planes)

    def mean(values: NDArray[np.float64]) -> float:
        return float(values.mean()) if len(values) else math.nan

    return LineScore(
        marked,
        len(table),
        mean(np.abs(error)),
        mean(error),
        mean(np.abs(plane_error)),
        mean(plane_error),
        mean(np.abs(table[:, 1] - ALWAYS_GUESS)),
        without,
        claimed,
    )
