"""How well eggs are found on evenings left out: overlap with the outlines marked by eye."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from models.evaluation.left_out_readings import LeftOutReading
from models.training.segmentation_targets import ellipse_points
from vision.polygon_mask import filled_polygon

GOOD_OVERLAP = 0.85
_FINE = 4  # pixels are quartered so that a small egg's edge does not cost what it should not


@dataclass(frozen=True)
class OverlapRow:
    """Overlap (intersection over union) on one evening."""

    evening: str
    photos: int
    median: float
    share_good: float
    lowest: float


def overlap(first: NDArray[np.floating], second: NDArray[np.floating]) -> float:
    """Intersection over union of two polygons (N, 2) in pixels, 0 to 1."""
    both = np.vstack([first, second])
    corner = np.floor(both.min(axis=0)) - 1
    size = np.ceil((both.max(axis=0) - corner + 2) * _FINE).astype(int)
    masks = [filled_polygon((size[1], size[0]), (polygon - corner) * _FINE) for polygon in (first, second)]
    union = int((masks[0] | masks[1]).sum())
    return float((masks[0] & masks[1]).sum() / union) if union else 0.0


def overlaps(readings: Sequence[LeftOutReading]) -> list[tuple[LeftOutReading, float]]:
    """The overlap of each photo whose outline was marked; 0 where no egg was found."""
    return [
        (r, overlap(r.outline.polygon_px, ellipse_points(r.photo.row)) if r.outline is not None else 0.0)
        for r in readings
        if r.photo.outline_known
    ]


def overlap_table(readings: Sequence[LeftOutReading]) -> list[OverlapRow]:
    """One row an evening, then one for all photos (evening ``all``)."""
    scored = overlaps(readings)
    rows = []
    for evening in sorted({r.photo.evening for r, _ in scored}):
        values = np.array([value for r, value in scored if r.photo.evening == evening])
        rows.append(_row(evening, values))
    return [*rows, _row("all", np.array([value for _, value in scored]))]


def _row(evening: str, values: NDArray[np.floating]) -> OverlapRow:
    return OverlapRow(
        evening,
        len(values),
        float(np.median(values)),
        float(np.mean(values >= GOOD_OVERLAP)),
        float(values.min()),
    )
