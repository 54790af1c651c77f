"""Air cells of single eggs that a simulator not ours has drawn: a check only, never trained or tuned on."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from models.evaluation.row_text import mean_text, share_text
from models.evaluation.target_row import TargetRow
from vision.egg_mask import shipped_network
from vision.find_eggs import find_eggs
from vision.photo import open_photo
from vision.read_photo import read_egg

LEAST_SEEN = 0.25  # share of the rim that nothing stands in front of, from the geometry


@dataclass(frozen=True)
class OthersEgg:
    """One egg: whether its rim is in sight, whether one was found, and its depth error in mm."""

    line_visible: bool
    line_found: bool
    depth_error_mm: float | None


def others_eggs(folder: Path, *, pool: Executor) -> list[OthersEgg]:
    """Read all single eggs of ``folder``; none where it is not there."""
    table = folder / "single" / "truth.csv"
    if not table.is_file():
        return []
    with table.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return list(pool.map(_read, [table.parent] * len(rows), rows))


def _read(folder: Path, row: dict[str, str]) -> OthersEgg:
    cv2.setNumThreads(1)
    visible = float(row["air_rim_visible_frac"]) >= LEAST_SEEN
    rgb = open_photo(folder / row["file"]).rgb
    view, eggs = find_eggs(shipped_network(), rgb, view="side")
    if not eggs:
        return OthersEgg(visible, False, None)
    cell = read_egg(rgb, max(eggs, key=lambda e: e.outline.length_px), view=view).air_cell
    if cell is None or cell.depth_fraction is None:
        return OthersEgg(visible, cell is not None, None)
    depth = cell.depth_fraction * float(row["L_mm"])
    return OthersEgg(visible, True, depth - float(row["air_cell_rim_depth_mean_mm"]))


def others_rows(eggs: Sequence[OthersEgg]) -> list[TargetRow]:
    """Rows of the table of targets."""
    seen = [e for e in eggs if e.line_visible]
    errors = np.array([e.depth_error_mm for e in seen if e.depth_error_mm is not None], dtype=float)
    if not seen or not len(errors):
        return []
    found = sum(e.line_found for e in seen)
    return [
        TargetRow(
            "others' simulator: mean absolute error",
            "<= 0.6 mm",
            f"{mean_text(np.abs(errors).tolist(), 'mm')}; bias {errors.mean():+.2f} mm",
            f"{len(errors)} eggs, a check only",
            bool(np.abs(errors).mean() <= 0.6),
        ),
        TargetRow(
            "others' simulator: line found where its place is in sight",
            "-",
            share_text(found, len(seen)),
            f"{len(seen)} eggs, whether or not a person could see it",
            None,
        ),
    ]
