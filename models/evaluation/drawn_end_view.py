"""Air cells of drawn trays seen from above: the disc's diameter, and how well its intervals hold.

The eggs' silhouettes are the drawn ones, so that the disc alone is scored; the seed is used nowhere else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from models.evaluation.eye_rows import about_ninety
from models.evaluation.row_text import mean_text, share_text
from models.evaluation.target_row import TargetRow
from vision.egg_mask import cut_window
from vision.end_view_air_cell import measure_end_view_air_cell
from vision.find_eggs import in_window
from vision.read_photo import WORK_LENGTH_PX, WORK_OVER_LENGTH
from vision.reading import Interval, Outline

SEED = 61733
TRAYS = 8
SIZE = (900, 1200)


@dataclass(frozen=True)
class DrawnDisc:
    """One egg: whether a person could see the rim, the diameter's error in mm, and what the intervals hold.

    ``None`` where nothing was measured or no interval was given.
    """

    visible: bool
    error_mm: float | None
    diameter_held: bool | None
    depth_held: bool | None


def drawn_discs(index: int) -> list[DrawnDisc]:
    """Draw one tray of some day and measure the air cell of each of its eggs."""
    from sample_images.simulator import random_tray

    rng = np.random.default_rng([SEED, index])
    photo = random_tray(rng, size=SIZE, day=float(rng.uniform(4, 16)))
    discs = []
    for egg in photo.eggs:
        polygon = np.asarray(egg.outline_px, dtype=np.float64)
        (x, y), axes, _ = cv2.fitEllipse(polygon.astype(np.float32))
        outline = Outline((x, y), max(axes), min(axes), None, 0.0, polygon)
        side = WORK_OVER_LENGTH * outline.length_px
        window, origin, scale = cut_window(
            photo.rgb,
            centre_px=outline.centre_px,
            side_px=side,
            size=int(min(side, WORK_LENGTH_PX * WORK_OVER_LENGTH)),
        )
        local = in_window(outline, origin_px=origin, scale=scale)
        cell, _ = measure_end_view_air_cell(window, local, origin_px=origin, scale=scale)
        truth = egg.air_cell
        if cell is None or cell.diameter_fraction is None:
            discs.append(DrawnDisc(truth.line_visible, None, None, None))
            continue
        breadth = egg.profile.breadth
        discs.append(
            DrawnDisc(
                truth.line_visible,
                cell.diameter_fraction * breadth - truth.rim_diameter_mm,
                _held(cell.intervals.diameter_fraction, truth.rim_diameter_mm / breadth),
                _held(cell.intervals.depth_fraction, truth.depth_fraction),
            )
        )
    return discs


def end_view_rows(discs: Sequence[DrawnDisc]) -> list[TargetRow]:
    """Rows of the table of targets."""
    visible = [d for d in discs if d.visible]
    errors = [d.error_mm for d in visible if d.error_mm is not None]
    size = abs(np.array(errors)).tolist()
    bias = f"bias {np.mean(errors):+.2f}" if errors else "no bias"
    rows = [
        TargetRow(
            "end view: diameter, mean absolute error",
            "<= 1.0 mm",
            f"{mean_text(size, 'mm')}; {bias}; found {share_text(len(errors), len(visible))}",
            f"{len(visible)} drawn eggs whose rim shows, {TRAYS} trays",
            bool(errors) and float(np.mean(size)) <= 1.0,
        )
    ]
    for name in ("diameter", "depth"):
        held = [h for d in visible if (h := getattr(d, f"{name}_held")) is not None]
        rows.append(
            TargetRow(
                f"end view: {name} in its 90 % interval",
                "about 90%",
                share_text(sum(held), len(held)),
                f"{len(held)} drawn eggs with one",
                about_ninety(sum(held), len(held)),
            )
        )
    return rows


def _held(interval: Interval | None, truth: float) -> bool | None:
    return None if interval is None else interval.low <= truth <= interval.high
