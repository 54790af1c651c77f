"""Several eggs in one photo from the side: found, and numbered in reading order, on drawn photos.

Reading order: rows from the top, each row from the left. An egg belongs to a row while its middle is
less than half a breadth below that of the row's first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from models.evaluation.intervals import wilson_interval
from models.evaluation.target_row import TargetRow
from vision.egg_mask import shipped_network
from vision.find_eggs import find_eggs

SEED, PHOTOS = 60606, 20


@dataclass(frozen=True)
class SeveralEggs:
    """One photo: eggs drawn, eggs found at their place, outlines beside any, and whether all in order."""

    drawn: int
    found: int
    false: int
    in_order: bool


def several_eggs(index: int) -> SeveralEggs:
    """Draw two to six eggs and number them."""
    from sample_images.simulator import random_side_view

    cv2.setNumThreads(1)
    rng = np.random.default_rng([SEED, index])
    photo = random_side_view(rng, size=(900, 1200), eggs=2 + index % 5, bad_share=0.0)
    _, eggs = find_eggs(shipped_network(), photo.rgb, view="side")
    centres = np.array([egg.centre_px for egg in photo.eggs])
    breadth = float(np.median([egg.profile.breadth * egg.px_per_mm for egg in photo.eggs]))
    order = _reading_order(centres, breadth)
    numbered = []
    for egg in eggs:
        away = np.linalg.norm(centres - egg.outline.centre_px, axis=1)
        if away.min() < 0.25 * breadth:
            numbered.append(order.index(int(np.argmin(away))))
    found = len(set(numbered))
    return SeveralEggs(
        len(centres), found, len(eggs) - found, found == len(centres) and numbered == sorted(numbered)
    )


def several_rows(photos: Sequence[SeveralEggs]) -> list[TargetRow]:
    """The row of the table."""
    right = sum(p.in_order and not p.false for p in photos)
    low, high = wilson_interval(right, len(photos))
    return [
        TargetRow(
            "several eggs in one photo: numbered in reading order",
            "all",
            f"{right} of {len(photos)} ({low:.0%} to {high:.0%}); {sum(p.found for p in photos)} eggs found, "
            f"{sum(p.false for p in photos)} false",
            f"{len(photos)} drawn photos, {sum(p.drawn for p in photos)} eggs",
            right == len(photos),
        )
    ]


def _reading_order(centres: NDArray[np.float64], breadth: float) -> list[int]:
    """Indices of the drawn eggs in reading order."""
    rows: list[list[int]] = []
    for i in np.argsort(centres[:, 1]):
        if rows and centres[i, 1] - centres[rows[-1][0], 1] < 0.5 * breadth:
            rows[-1].append(int(i))
        else:
            rows.append([int(i)])
    return [i for row in rows for i in sorted(row, key=lambda i: float(centres[i, 0]))]
