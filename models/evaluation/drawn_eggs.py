"""Outlines, air cells and trays against the simulator's exact truth, on pictures drawn for the purpose.

The seeds are not those of the training pictures. The simulator is ours: how far its pictures are from
life, only the real photos can say.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.evaluation.outlines import overlap
from vision.cup_names import cup_name
from vision.egg_mask import shipped_network
from vision.find_eggs import find_eggs
from vision.read_photo import side_view_air_cell
from vision.tray_eggs import read_tray
from vision.tray_grid import NoTrayGrid

if TYPE_CHECKING:
    from sample_images.simulator import SimulatedPhoto

SEED = 90210
SINGLE_EGGS, TRAYS = 60, 8
CENTRE_LIMIT, RADIUS_LIMIT = 0.03, 0.04  # of the egg's diameter


@dataclass(frozen=True)
class DrawnEgg:
    """One egg from the side: overlap, and the depth of the air cell in mm (found minus drawn)."""

    overlap: float
    line_visible: bool
    line_found: bool
    depth_error_mm: float | None


@dataclass(frozen=True)
class DrawnTray:
    """One tray: eggs drawn, eggs in their right cup, near enough in place and size; all cups right."""

    eggs: int
    right_cup: int
    centre_near: int
    radius_near: int
    all_right: bool


def drawn_egg(index: int) -> DrawnEgg:
    """Draw one egg and read it."""
    from sample_images.simulator import random_side_view

    photo = random_side_view(np.random.default_rng([SEED, index]), size=(800, 600), bad_share=0.0)
    truth = photo.eggs[0]
    _, eggs = find_eggs(shipped_network(), photo.rgb, view="side")
    if not eggs:
        return DrawnEgg(0.0, truth.air_cell.line_visible, False, None)
    egg = max(eggs, key=lambda e: e.outline.length_px)
    cell, _ = side_view_air_cell(egg)
    error = None
    if cell is not None and cell.depth_fraction is not None:
        error = (cell.depth_fraction - truth.air_cell.depth_fraction) * truth.profile.length
    return DrawnEgg(
        overlap(egg.outline.polygon_px, truth.outline_px),
        truth.air_cell.line_visible,
        cell is not None,
        error,
    )


def drawn_tray(index: int) -> DrawnTray:
    """Draw one tray and read its cups."""
    from sample_images.simulator import random_tray

    rng = np.random.default_rng([SEED, index, 1])
    rows, columns = int(rng.integers(4, 7)), int(rng.integers(5, 9))
    photo = random_tray(
        rng,
        rows=rows,
        columns=columns,
        size=(1500, 2000),
        day=float(rng.uniform(5, 18)),
        layout="staggered" if index % 3 == 2 else "square",
    )
    return tray_score(photo, rows, columns)


def tray_score(photo: SimulatedPhoto, rows: int, columns: int) -> DrawnTray:
    """Compare a tray's cups, read without being told its size wrongly, with the drawn ones."""
    _, found = find_eggs(shipped_network(), photo.rgb, view="end")
    centres = np.array([e.outline.centre_px for e in found])
    radii = np.array([e.outline.mean_radius_px for e in found])
    cups = read_tray(photo.rgb, centres, radii, rows=rows, columns=columns)
    truth = {cup_name(e.row, e.column): e for e in photo.eggs if e.row is not None and e.column is not None}
    if isinstance(cups, NoTrayGrid):
        return DrawnTray(len(truth), 0, 0, 0, False)
    right = centre_near = radius_near = 0
    for cup, centre, radius in zip(cups.grid.cups, centres, radii, strict=True):
        egg = truth.get(cup) if cup else None
        if egg is None:
            continue
        off = float(np.hypot(*(centre - egg.centre_px))) / (2 * egg.radius_px)
        right += off < 0.25
        centre_near += off < CENTRE_LIMIT
        radius_near += abs(radius / egg.radius_px - 1) < RADIUS_LIMIT
    named = {c for c in cups.grid.cups if c}
    all_right = right == len(truth) and named == set(truth) and not set(cups.empty_cups) & set(truth)
    return DrawnTray(len(truth), right, centre_near, radius_near, all_right)


def drawn_text(eggs: Sequence[DrawnEgg], trays: Sequence[DrawnTray]) -> str:
    """Both sets as lines of text."""
    overlaps = np.array([e.overlap for e in eggs])
    errors = np.array([e.depth_error_mm for e in eggs if e.line_visible and e.depth_error_mm is not None])
    visible = sum(e.line_visible for e in eggs)
    false_lines = sum(e.line_found for e in eggs if not e.line_visible)
    total = sum(t.eggs for t in trays)
    lines = [
        f"Drawn eggs from the side ({len(eggs)}): overlap median {np.median(overlaps):.3f}, "
        f"at least 0.85 in {np.mean(overlaps >= 0.85):.0%}",
        f"  air-cell line found in {len(errors)} of {visible} where a person could see it, "
        f"claimed in {false_lines} of {len(eggs) - visible} where not",
    ]
    if len(errors):
        lines.append(
            f"  depth: mean absolute error {np.abs(errors).mean():.2f} mm, median "
            f"{np.median(np.abs(errors)):.2f}, bias {errors.mean():+.2f}, "
            f"within 1.5 mm {np.mean(np.abs(errors) <= 1.5):.0%}"
        )
    lines += [
        f"Drawn trays ({len(trays)}, {total} eggs, size given): all cups right in "
        f"{sum(t.all_right for t in trays)}; eggs in their cup {sum(t.right_cup for t in trays)}",
        f"  centre within {CENTRE_LIMIT:.0%} of the diameter "
        f"{sum(t.centre_near for t in trays) / total:.1%}, "
        f"radius within {RADIUS_LIMIT:.0%} {sum(t.radius_near for t in trays) / total:.1%}",
    ]
    return "\n".join(lines) + "\n"


def drawn_scores(pool: Executor) -> tuple[list[DrawnEgg], list[DrawnTray]]:
    """All eggs and trays, side by side."""
    return list(pool.map(drawn_egg, range(SINGLE_EGGS))), list(pool.map(drawn_tray, range(TRAYS)))
