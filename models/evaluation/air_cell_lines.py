"""Air-cell lines against those marked by eye, on evenings left out.

What the eye marked is the line one sees: the near half of the rim, which bows away from the rim's
mean plane where the camera looks down on the egg. So three things are compared: where the line lies in
the picture; its depth, counted in either answer from its own outline's blunt pole; and the depth of the
mean plane, for which the same curve is fitted to the eye's line.

The two poles differ by method. The eye's outlines are ellipses, and an ellipse laid over an egg
reaches beyond the blunt pole: by 0.010 of the length where the whole outline shows, by 0.03 where a lamp
hides the last 4 mm (200 random egg profiles, ellipse by least squares). Outlines found here are egg
profiles.
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
from vision.side_air_cell import CAMERA_LENGTHS

ALWAYS_GUESS = 0.125  # about the mean of all marked lines: the score of not looking at all
PHOTO_SHAPE = (903, 416)


@dataclass(frozen=True)
class LineScore:
    """How the lines found compare with the eye's.

    Attributes
    ----------
    marked, found
        Photos in which the eye marked a line, and in how many of them one was found.
    place_difference, place_bias
        Mean absolute and mean difference, found minus marked, of the seen line's place in the picture
        along the axis, over egg length: whatever the outlines, is it the same line?
    line_difference, line_bias
        The same of the line's depth, each counted from its own outline's blunt pole.
    depth_difference, depth_bias
        The same for the depth of the rim's mean plane.
    plane_from_line
        Mean absolute difference between the plane's depth found and the eye's line.
    plane_held, planes
        In how many of the readings the 90 % interval of the depth holds the eye's plane.
    same_frame_difference, same_frame_held, same_frame_planes
        The same where the eye's line is fitted in the outline found, so that the poles do not differ.
    guess_difference
        Mean absolute difference between the seen line's place and :data:`ALWAYS_GUESS`.
    without, claimed
        Photos in which the eye saw no line, and in how many of them one was claimed.
    """

    marked: int
    found: int
    place_difference: float
    place_bias: float
    line_difference: float
    line_bias: float
    depth_difference: float
    depth_bias: float
    plane_from_line: float
    plane_held: int
    planes: int
    same_frame_difference: float
    same_frame_held: int
    same_frame_planes: int
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


def found_line_depths(reading: LeftOutReading) -> tuple[float, float] | None:
    """The found line's mean place, read where the eye marked its points, over egg length.

    First from the blunt pole of the outline found, then from that of the eye's.
    """
    row = reading.photo.row
    points, cell, outline = marked_points(row), reading.air_cell, reading.outline
    if points is None or cell is None or outline is None:
        return None
    toward = np.array(axis_toward(row, row["blunt_end"]))
    across = np.array([-toward[1], toward[0]])
    order = np.argsort(cell.boundary_px @ across)
    line = cell.boundary_px[order]
    along = float(np.interp(points @ across, line @ across, line @ toward).mean())
    own = 0.5 - (along - np.array(outline.centre_px) @ toward) / outline.length_px
    eye = np.array([float(row["cx"]), float(row["cy"])])
    return float(own), float(0.5 - (along - eye @ toward) / extent_toward(row, row["blunt_end"]))


def marked_plane_depth(row: dict[str, str], outline: Outline | None = None) -> float | None:
    """Depth of the rim's mean plane, by the same fit to the eye's own line.

    Counted in the eye's ellipse, or in ``outline`` where one is given.
    """
    if marked_points(row) is None:
        return None
    target = (real_targets(row, PHOTO_SHAPE)[AIR_CELL] == 1).astype(np.float32)
    blurred = cv2.GaussianBlur(target, (0, 0), 1.0)
    cell, _ = measure_air_cell(blurred, outline or _eye_s_outline(row), camera_lengths=CAMERA_LENGTHS)
    return None if cell is None else cell.depth_fraction


def _eye_s_outline(row: dict[str, str]) -> Outline:
    toward = axis_toward(row, row["blunt_end"])
    length = extent_toward(row, row["blunt_end"])
    breadth = float(row["major_px"]) * float(row["minor_px"]) / length
    degrees = math.degrees(math.atan2(toward[1], toward[0]))
    return Outline(
        (float(row["cx"]), float(row["cy"])),
        length,
        breadth,
        degrees % 360,
        degrees % 180,
        ellipse_points(row),
        EggProfile.from_length_breadth(length, breadth, shift=0.0),
    )


def line_score(readings: Sequence[LeftOutReading]) -> LineScore:
    """Compare all readings whose photo was looked at for a line."""
    lines: list[tuple[float, float, float, float]] = []
    planes: list[float] = []
    same_frame: list[tuple[float, bool]] = []
    marked = without = claimed = held = 0
    for reading in readings:
        row = reading.photo.row
        depth = marked_depth(row)
        if depth is not None:
            marked += 1
            seen, cell = found_line_depths(reading), reading.air_cell
            if seen is None or cell is None or cell.depth_fraction is None:
                continue
            lines.append((*seen, depth, cell.depth_fraction))
            stated = cell.intervals.depth_fraction
            plane = marked_plane_depth(row)
            if plane is not None:
                planes.append(cell.depth_fraction - plane)
                held += stated is not None and stated.low <= plane <= stated.high
            plane = marked_plane_depth(row, reading.outline)
            if plane is not None:
                within = stated is not None and stated.low <= plane <= stated.high
                same_frame.append((cell.depth_fraction - plane, within))
        elif row["air_cell_visible"] == "0" and reading.outline is not None:
            without += 1
            claimed += reading.air_cell is not None
    table = np.array(lines, dtype=float).reshape(-1, 4)
    own, place, eye, found_plane = table.T
    plane_error = np.array(planes)

    def mean(values: NDArray[np.float64]) -> float:
        return float(values.mean()) if len(values) else math.nan

    return LineScore(
        marked=marked,
        found=len(table),
        place_difference=mean(np.abs(place - eye)),
        place_bias=mean(place - eye),
        line_difference=mean(np.abs(own - eye)),
        line_bias=mean(own - eye),
        depth_difference=mean(np.abs(plane_error)),
        depth_bias=mean(plane_error),
        plane_from_line=mean(np.abs(found_plane - eye)),
        plane_held=held,
        planes=len(planes),
        same_frame_difference=mean(np.abs(np.array([d for d, _ in same_frame]))),
        same_frame_held=sum(within for _, within in same_frame),
        same_frame_planes=len(same_frame),
        guess_difference=mean(np.abs(eye - ALWAYS_GUESS)),
        without=without,
        claimed=claimed,
    )
