"""Outlines and air cells of single eggs against the simulator's exact truth, on eggs drawn for the purpose.

The seeds are neither those of the training pictures nor those the fit and its intervals were tuned on.
Every second egg has air cells and lamps beyond the usual ones. The simulator is ours: how far its
pictures are from life, only the real photos can say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from models.evaluation.outlines import overlap
from vision.egg_mask import shipped_network
from vision.find_eggs import find_eggs
from vision.reading import AirCell, Interval
from vision.side_air_cell import side_view_air_cell

if TYPE_CHECKING:
    from sample_images.simulator import SimulatedPhoto
    from sample_images.truth import EggTruth

SEED = 85021  # used nowhere else, and nothing was chosen on it
SINGLE_EGGS = 150

LampEnd = Literal["at the blunt end", "at the pointed end", "at the side", "behind"]


@dataclass(frozen=True)
class DrawnEgg:
    """One egg from the side, found against drawn.

    Attributes
    ----------
    overlap
        Intersection over union of the outlines.
    line_visible, line_hidden
        Whether a person could see the air cell's line, and whether nobody could; neither holds where
        only some might.
    line_found
        Whether an air cell was measured.
    depth_error_mm, tilt_error_deg
        Found minus drawn; ``None`` without an air cell.
    lamp_end
        Where the lamp touches the egg.
    usual_tilt
        The drawn rim tilts by no more than 20 degrees: no loose air cell.
    held
        For depth, diameter, volume and tilt, whether the reading's 90 % interval holds the truth.
    shape_error
        Shape index found minus drawn; ``None`` where no egg was found.
    """

    overlap: float
    line_visible: bool
    line_found: bool
    depth_error_mm: float | None
    line_hidden: bool = False
    tilt_error_deg: float | None = None
    lamp_end: LampEnd = "at the blunt end"
    usual_tilt: bool = True
    held: tuple[bool, bool, bool, bool] | None = None
    shape_error: float | None = None


def drawn_egg(index: int, *, seed: int = SEED) -> DrawnEgg:
    """Draw one egg and read it."""
    from sample_images.simulator import random_side_view

    photo = random_side_view(
        np.random.default_rng([seed, index]), size=(800, 600), bad_share=0.0, varied=index % 2 == 1
    )
    truth = photo.eggs[0]
    _, eggs = find_eggs(shipped_network(), photo.rgb, view="side")
    egg = max(eggs, key=lambda e: e.outline.length_px, default=None)
    cell = None if egg is None else side_view_air_cell(egg)[0]
    found = cell is not None and cell.depth_fraction is not None and cell.tilt_deg is not None
    depth_error = tilt_error = None
    if cell is not None and cell.depth_fraction is not None:
        depth_error = (cell.depth_fraction - truth.air_cell.depth_fraction) * truth.profile.length
    if cell is not None and cell.tilt_deg is not None:
        tilt_error = cell.tilt_deg - truth.air_cell.tilt_deg
    return DrawnEgg(
        0.0 if egg is None else overlap(egg.outline.polygon_px, truth.outline_px),
        truth.air_cell.line_visible,
        found,
        depth_error,
        line_hidden=truth.air_cell.line_hidden,
        tilt_error_deg=tilt_error,
        lamp_end=lamp_end(photo),
        usual_tilt=truth.air_cell.tilt_deg <= 20,
        held=None if cell is None else _held(cell, truth),
        shape_error=None
        if egg is None
        else 100 * egg.outline.breadth_px / egg.outline.length_px
        - 100 * truth.profile.breadth / truth.profile.length,
    )


def lamp_end(photo: SimulatedPhoto) -> LampEnd:
    """Where the lamp of a drawn side view touches its first egg."""
    axis = photo.eggs[0].axis_deg
    if photo.lamp in ("seen from above", "lamp behind") or axis is None:
        return "behind"
    lamp = {"phone above": 270.0, "lamp at the side": 0.0}.get(photo.lamp, 90.0 + photo.lamp_turn_deg)
    off = abs((lamp - axis + 180) % 360 - 180)
    if off < 45:
        return "at the blunt end"
    return "at the pointed end" if off > 135 else "at the side"


def _held(cell: AirCell, truth: EggTruth) -> tuple[bool, bool, bool, bool]:
    drawn, stated = truth.air_cell, cell.intervals

    def inside(interval: Interval | None, value: float) -> bool:
        return interval is not None and interval.low <= value <= interval.high

    return (
        inside(stated.depth_fraction, drawn.depth_fraction),
        inside(stated.diameter_fraction, drawn.rim_diameter_mm / truth.profile.breadth),
        inside(stated.volume_fraction, drawn.volume_fraction),
        inside(stated.tilt_deg, drawn.tilt_deg),
    )
