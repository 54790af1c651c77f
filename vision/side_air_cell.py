"""The air cell of an egg as it was found in a photo from the side: which maps to read, and their doubts."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.air_bubbles import bubbles_by_line
from vision.air_cell import measure_air_cell
from vision.egg_mask import EggMaps, RgbImage, cut_window
from vision.find_eggs import FoundEgg, in_window
from vision.reading import AirCell, Outline

CAMERA_LENGTHS = (
    4.4  # a phone held at 25 cm before a hen's egg (common practice); not to be told from a photo
)
UNTOLD_POLE_DOUBT = 0.02  # of the length, where it is not known which end is blunt
BUBBLY = "a round bright spot with a dark edge lies beside its line: it may be bubbly"
_BUBBLE_LENGTH_PX = 512.0  # of the egg in the picture in which bubbles are sought; smaller ones stay
_REACH = 0.2  # of the length, on either side of the pole, in which the egg's edge is sought


def side_view_air_cell(egg: FoundEgg, *, rgb: RgbImage | None = None) -> tuple[AirCell | None, str | None]:
    """The air cell of an egg seen from the side, from the maps it was found by, in photo pixels.

    The closer look at the blunt end is read where there is one. The second is the reason where there is
    no air cell; see :func:`vision.air_cell.measure_air_cell`. Bubbles are looked for where the photo
    itself, ``rgb``, is given.
    """
    maps = egg.blunt_end_maps or egg.maps
    local = in_window(egg.outline, origin_px=maps.origin_px, scale=maps.scale)
    air_cell, reason = measure_air_cell(
        maps.air_cell,
        local,
        line_shows=line_shows(egg),
        pole_doubt=pole_doubt(egg.maps, egg.outline),
        camera_lengths=CAMERA_LENGTHS,
    )
    if air_cell is None:
        return None, reason
    air_cell = replace(air_cell, boundary_px=maps.to_photo(air_cell.boundary_px))
    if rgb is not None and has_bubbles(rgb, egg.outline, air_cell):
        air_cell = replace(air_cell, unusual=(*air_cell.unusual, BUBBLY))
    return air_cell, None


def has_bubbles(rgb: RgbImage, outline: Outline, air_cell: AirCell) -> bool:
    """Whether a bubble shows beside the air cell's line, all in photo pixels."""
    side = 1.1 * max(outline.length_px, outline.breadth_px)
    size = int(min(side, 1.1 * _BUBBLE_LENGTH_PX))
    if size < 8:
        return False
    picture, origin, scale = cut_window(rgb, centre_px=outline.centre_px, side_px=side, size=size)
    local = in_window(outline, origin_px=origin, scale=scale)
    line = (np.asarray(air_cell.boundary_px) - np.array(origin)) / scale
    return bool(bubbles_by_line(picture, local, line))


def line_shows(egg: FoundEgg) -> float:
    """Probability that a person could see the line, by both looks alike."""
    logits = []
    for maps in (egg.maps, egg.blunt_end_maps):
        if maps is None or maps.line_shows is None:
            continue
        inside = maps.egg > 0.5
        if inside.any():
            told = float(np.clip(maps.line_shows[inside].mean(), 0.01, 0.99))
            logits.append(math.log(told / (1 - told)))
    return 1 / (1 + math.exp(-sum(logits) / len(logits))) if logits else 1.0


def pole_doubt(maps: EggMaps, outline: Outline) -> float:
    """How unsure the blunt pole's place is, over egg length: a lamp or darkness may hide it.

    From the distance over which the probability of being egg falls at the pole.
    """
    if outline.axis_deg is None:
        return UNTOLD_POLE_DOUBT
    local = in_window(outline, origin_px=maps.origin_px, scale=maps.scale)
    angle = math.radians(outline.axis_deg)
    blunt = np.array([math.cos(angle), math.sin(angle)])
    across = np.array([-blunt[1], blunt[0]])
    length = local.length_px
    outward = np.linspace(-_REACH, _REACH, 161) * length
    aside = np.linspace(-0.08, 0.08, 9) * local.breadth_px
    pole = np.asarray(local.centre_px) + blunt * length / 2
    points = pole + outward[:, None, None] * blunt + aside[None, :, None] * across
    values: NDArray[np.float32] = cv2.remap(
        np.ascontiguousarray(maps.egg, dtype=np.float32),
        points[..., 0].astype(np.float32),
        points[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).mean(axis=1)
    surely = outward[values >= 0.75]
    hardly = outward[values >= 0.25]
    inner = float(surely.max()) if len(surely) else -_REACH * length
    outer = float(hardly.max()) if len(hardly) else _REACH * length
    return max(outer - inner, 0.0) / 1.349 / length
