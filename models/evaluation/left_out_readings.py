"""Every real photo read by the network that never saw its evening."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from models.backbone import embed
from models.egg_crop import egg_crop
from models.folds import fold_of
from models.shared_data import RealPhoto
from vision.egg_mask import EggMaskNetwork
from vision.find_eggs import find_eggs
from vision.photo import open_photo
from vision.reading import AirCell, Outline
from vision.side_air_cell import side_view_air_cell
from vision.vein_presence import VeinPresenceNetwork

LEFT_OUT_FOLDER = Path(__file__).resolve().parents[1] / "left_out"


@dataclass(frozen=True)
class LeftOutReading:
    """What a network that never saw this photo's evening found in it.

    ``outline`` is that of the largest egg, ``None`` where none was found; ``embedding`` has shape
    (1280,).
    """

    photo: RealPhoto
    outline: Outline | None
    air_cell: AirCell | None
    embedding: NDArray[np.float32] | None


@cache
def left_out_network(fold: str) -> EggMaskNetwork:
    """The egg-mask network trained without one group of evenings."""
    return EggMaskNetwork(LEFT_OUT_FOLDER / f"egg_mask_{fold}.onnx")


@cache
def left_out_presence(fold: str) -> VeinPresenceNetwork:
    """The vein-presence network trained without one group of evenings (:data:`models.folds.VEIN_GROUPS`)."""
    return VeinPresenceNetwork(LEFT_OUT_FOLDER / f"vein_presence_{fold}.onnx")


def read_left_out(photo: RealPhoto) -> LeftOutReading:
    """Read one real photo as if its evening had never been seen."""
    rgb = open_photo(photo.path).rgb
    _, eggs = find_eggs(left_out_network(fold_of(photo.evening)), rgb, view="side")
    if not eggs:
        return LeftOutReading(photo, None, None, None)
    egg = max(eggs, key=lambda e: e.outline.length_px * e.outline.breadth_px)
    air_cell, _ = side_view_air_cell(egg, rgb=rgb)
    return LeftOutReading(photo, egg.outline, air_cell, embed([egg_crop(rgb, egg.outline)])[0])


def read_all_left_out(photos: tuple[RealPhoto, ...]) -> tuple[LeftOutReading, ...]:
    """All photos, in their order, side by side on the processors there are."""
    with ProcessPoolExecutor(os.cpu_count() or 1) as pool:
        return tuple(pool.map(read_left_out, photos, chunksize=8))
