"""Air-cell lines against those marked by eye, on evenings left out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.evaluation.left_out_readings import LeftOutReading
from models.training.segmentation_targets import BLUNT_DIRECTIONS, axis_toward, extent_toward

ALWAYS_GUESS = 0.125  # about the mean of all marked lines: the score of not looking at all


@dataclass(frozen=True)
class LineScore:
    """How the lines found compare with the eye's.

    Attributes
    ----------
    marked, found
        Photos in which the eye marked a line, and in how many of them one was found.
    mean_absolute, bias
        Of the depth as a share of egg length, found minus marked, where both are there.
    guess_mean_absolute
        The same for always answering :data:`ALWAYS_GUESS`.
    without, claimed
        Photos in which the eye saw no line, and in how many of them one was claimed.
    """

    marked: int
    found: int
    mean_absolute: float
    bias: float
    guess_mean_absolute: float
    without: int
    claimed: int


def marked_depth(row: dict[str, str]) -> float | None:
    """Depth of the marked line's mean from the labelled ellipse's blunt pole, over its length."""
    known = row["outline_ok"] == "1" and row["blunt_end"] in BLUNT_DIRECTIONS
    if row["air_cell_visible"] != "1" or not known:
        return None
    points = np.array([p.split(":") for p in row["air_cell_points"].split(";") if p], dtype=float)
    if len(points) < 2:
        return None
    toward = np.array(axis_toward(row, row["blunt_end"]))
    centre = np.array([float(row["cx"]), float(row["cy"])])
    length = extent_toward(row, row["blunt_end"])
    along = (points - centre) @ toward
    across = (points - centre) @ np.array([-toward[1], toward[0]])
    # The line's place on the axis: a straight line through the marks, read at the axis.
    slope, crossing = np.polyfit(across, along, 1) if np.ptp(across) > 0.05 * length else (0.0, along.mean())
    return float(0.5 - crossing / length) if math.isfinite(slope) else None


def line_score(readings: Sequence[LeftOutReading]) -> LineScore:
    """Compare all readings whose photo was looked at for a line."""
    pairs: list[tuple[float, float]] = []
    marked = without = claimed = 0
    for reading in readings:
        row = reading.photo.row
        depth = marked_depth(row)
        cell = reading.air_cell
        if depth is not None:
            marked += 1
            if cell is not None and cell.depth_fraction is not None:
                pairs.append((cell.depth_fraction, depth))
        elif row["air_cell_visible"] == "0" and reading.outline is not None:
            without += 1
            claimed += cell is not None
    values: NDArray[np.float64] = np.array(pairs, dtype=float).reshape(-1, 2)
    error = values[:, 0] - values[:, 1]
    return LineScore(
        marked,
        len(pairs),
        float(np.abs(error).mean()) if len(pairs) else float("nan"),
        float(error.mean()) if len(pairs) else float("nan"),
        float(np.abs(values[:, 1] - ALWAYS_GUESS).mean()) if len(pairs) else float("nan"),
        without,
        claimed,
    )
