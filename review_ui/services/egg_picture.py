"""The picture of one egg, cut from its photo, with what was measured drawn on it.

A stored reading has lines and numbers but no masks: those of the air cell and of the veins are made
anew from the photo, by the functions that measured them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.air_cell import air_cell_mask
from vision.overlay import LAYERS, draw_overlay
from vision.photo import open_photo
from vision.read_photo import WORK_LENGTH_PX
from vision.reading import (
    AirCell,
    AirCellIntervals,
    BloodRing,
    EggMasks,
    Embryo,
    FloatArray,
    Interval,
    LookHere,
    Outline,
    PhotoReading,
    Quality,
    Reading,
    Shell,
    Veins,
    View,
)
from vision.veins import vein_probability

# The cup's name stands beside the picture.
EGG_LAYERS = tuple(layer for layer in LAYERS if layer != "cup")

_MARGIN = 0.12  # of the egg's length, all round
_VEIN_AT = 0.5
_PX_PER_LINE_PX = 330  # lines that are seen at arm's length on a phone

Picture = NDArray[np.uint8]


def reading_from_record(measured: Mapping[str, Any]) -> Reading:
    """The egg's entry of the examine JSON (schema 1) as a reading again, without masks.

    Raises
    ------
    KeyError, TypeError, ValueError
        If the entry does not follow the schema.
    """
    outline, cell = measured["outline"], measured["air_cell"]
    veins, embryo, quality = measured["veins"], measured["embryo"], measured["quality"]
    centre = embryo["centre_px"]
    return Reading(
        outline=Outline(
            centre_px=(float(outline["centre_px"][0]), float(outline["centre_px"][1])),
            length_px=float(outline["length_px"]),
            breadth_px=float(outline["breadth_px"]),
            axis_deg=outline["axis_deg"],
            long_axis_deg=float(outline["long_axis_deg"]),
            polygon_px=_points(outline["polygon_px"]),
        ),
        quality=Quality(bool(quality["usable"]), tuple(quality["problems"])),
        air_cell=None
        if cell is None
        else AirCell(
            depth_fraction=cell["depth_fraction"],
            diameter_fraction=cell["diameter_fraction"],
            volume_fraction=cell["volume_fraction"],
            tilt_deg=cell["tilt_deg"],
            boundary_px=_points(cell["boundary_px"]),
            confidence=float(cell["confidence"]),
            line_depth_fraction=cell.get("line_depth_fraction"),
            intervals=_intervals(cell.get("intervals") or {}),
            unusual=tuple(cell.get("unusual", ())),
        ),
        veins=Veins(
            veins["visible"],
            veins["length_per_area"],
            veins["area_fraction"],
            veins.get("branch_points"),
            veins.get("reach_fraction"),
        ),
        embryo=Embryo(
            embryo["visible"],
            embryo["area_fraction"],
            None if centre is None else (float(centre[0]), float(centre[1])),
            embryo.get("darkness"),
        ),
        cup=measured["cup"],
        missing=dict(measured.get("missing", {})),
        ring=_ring(measured.get("ring")),
        shell=_shell(measured.get("shell") or {}),
        size_mm=_size(measured.get("size_mm")),
    )


# Readings stored by earlier versions lack the keys that came later.
def _intervals(record: Mapping[str, Any]) -> AirCellIntervals:
    return AirCellIntervals(
        **{
            name: None if pair is None else Interval(float(pair[0]), float(pair[1]))
            for name, pair in record.items()
        }
    )


def _ring(record: Mapping[str, Any] | None) -> BloodRing | None:
    if record is None:
        return None
    x, y = record["centre_px"]
    return BloodRing(
        (float(x), float(y)),
        float(record["radius_fraction"]),
        float(record["completeness"]),
        float(record["confidence"]),
    )


def _shell(record: Mapping[str, Any]) -> Shell:
    places = tuple(LookHere(p["what"], _points(p["boundary_px"])) for p in record.get("look_here", ()))
    return Shell(record.get("shape_index"), places)


def _size(record: Mapping[str, Any] | None) -> tuple[float, float] | None:
    return None if record is None else (float(record["length"]), float(record["breadth"]))


def egg_picture(
    rgb: Picture,
    measured: Mapping[str, Any],
    *,
    view: View | None,
    layers: Sequence[str] = EGG_LAYERS,
    side_px: int = 1000,
) -> Picture:
    """One egg, cut out with a margin and drawn on.

    Parameters
    ----------
    rgb
        The upright photo, uint8, shape (H, W, 3).
    measured
        The egg's entry of the examine JSON, in that photo's pixels.
    view
        ``side`` or ``end``; veins are drawn in side view only, where they were measured.
    layers
        Of :data:`EGG_LAYERS`; none for the bare photo.
    side_px
        Longer side of the answer.

    Returns
    -------
    uint8, shape (h, w, 3); where the egg lies wholly beyond the photo, 1 x 1 and black.
    """
    reading = reading_from_record(measured)
    cut, corner = _window(rgb, reading.outline)
    if cut.size == 0:
        return np.zeros((1, 1, 3), np.uint8)
    scale = side_px / max(cut.shape[:2])
    size = (max(1, round(cut.shape[1] * scale)), max(1, round(cut.shape[0] * scale)))
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    picture = np.asarray(cv2.resize(cut, size, interpolation=how), dtype=np.uint8)
    local = _moved(reading, corner, (size[0] / cut.shape[1], size[1] / cut.shape[0]))
    if {"air cell", "veins"} & set(layers):
        local = _with_masks(picture, local, veins=view == "side" and "veins" in layers)
    whole = PhotoReading("", None, size[0], size[1], None, view, (local,))
    return draw_overlay(picture, whole, layers=layers, line_px=max(1, side_px // _PX_PER_LINE_PX))


def egg_jpeg(
    photo: Path,
    measured: Mapping[str, Any],
    *,
    view: View | None,
    layers: Sequence[str] = EGG_LAYERS,
    side_px: int = 1000,
) -> bytes:
    """:func:`egg_picture` of a photo's file, as a JPEG.

    Raises
    ------
    vision.photo.PhotoError
        If the photo cannot be opened; one sentence for the person.
    """
    return jpeg(egg_picture(_opened(photo), measured, view=view, layers=layers, side_px=side_px))


def photo_jpeg(photo: Path, *, reading: PhotoReading | None = None, side_px: int = 1200) -> bytes:
    """The whole photo, made smaller, with outlines and cups where a reading is given.

    Raises as :func:`egg_jpeg`.
    """
    rgb = _opened(photo)
    picture = Image.fromarray(
        rgb if reading is None else draw_overlay(rgb, reading, layers=("outline", "cup"))
    )
    picture.thumbnail((side_px, side_px))
    return jpeg(np.asarray(picture, dtype=np.uint8))


def jpeg(picture: Picture) -> bytes:
    """The picture as a JPEG file's bytes."""
    file = BytesIO()
    Image.fromarray(picture).save(file, "JPEG", quality=85)
    return file.getvalue()


@lru_cache(maxsize=2)  # a contact sheet cuts many eggs from one photo; a decoded one takes up to 360 MB
def _opened(photo: Path) -> Picture:
    return open_photo(photo).rgb


def _window(rgb: Picture, outline: Outline) -> tuple[Picture, tuple[int, int]]:
    """The egg's surroundings and their top left pixel (x, y)."""
    low, high = outline.polygon_px.min(axis=0), outline.polygon_px.max(axis=0)
    margin = _MARGIN * outline.length_px
    x0, y0 = (max(0, math.floor(v - margin)) for v in low)
    x1, y1 = (max(0, math.ceil(v + margin) + 1) for v in high)
    return np.ascontiguousarray(rgb[y0:y1, x0:x1]), (x0, y0)


def _moved(reading: Reading, corner: tuple[int, int], scale: tuple[float, float]) -> Reading:
    """The reading in the pixels of a window that was cut at ``corner`` and then scaled (x, y)."""
    shift, factor = np.array(corner, dtype=np.float64), np.array(scale)

    def point(xy: tuple[float, float]) -> tuple[float, float]:
        x, y = (np.array(xy) - shift + 0.5) * factor - 0.5
        return float(x), float(y)

    def points(many: FloatArray) -> FloatArray:
        return np.asarray((many - shift + 0.5) * factor - 0.5)

    outline, cell, embryo = reading.outline, reading.air_cell, reading.embryo
    mean = float(factor.mean())
    return replace(
        reading,
        outline=replace(
            outline,
            centre_px=point(outline.centre_px),
            length_px=outline.length_px * mean,
            breadth_px=outline.breadth_px * mean,
            polygon_px=points(outline.polygon_px),
        ),
        air_cell=None if cell is None else replace(cell, boundary_px=points(cell.boundary_px)),
        embryo=embryo if embryo.centre_px is None else replace(embryo, centre_px=point(embryo.centre_px)),
        ring=None if reading.ring is None else replace(reading.ring, centre_px=point(reading.ring.centre_px)),
        shell=replace(
            reading.shell,
            look_here=tuple(
                replace(place, boundary_px=points(place.boundary_px)) for place in reading.shell.look_here
            ),
        ),
    )


def _with_masks(picture: Picture, reading: Reading, *, veins: bool) -> Reading:
    shape = (picture.shape[0], picture.shape[1])
    egg = np.zeros(shape, np.uint8)
    cv2.fillPoly(egg, [np.rint(reading.outline.polygon_px).astype(np.int32)], 1)
    inside = egg > 0
    air = np.zeros(shape, dtype=bool)
    if reading.air_cell is not None:
        air = air_cell_mask(reading.air_cell, reading.outline, shape)
    found = np.zeros(shape, dtype=bool)
    if veins and reading.quality.usable:
        found = _veins(picture, inside & ~air, reading.outline.length_px)
    return replace(reading, masks=EggMasks((0, 0), inside, found, air))


def _veins(picture: Picture, contents: NDArray[np.bool_], length_px: float) -> NDArray[np.bool_]:
    """The vessels, looked for at the scale at which they were measured."""
    height, width = contents.shape
    shrink = min(1.0, WORK_LENGTH_PX / max(length_px, 1.0))
    size = (max(1, round(width * shrink)), max(1, round(height * shrink)))
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    region = cv2.resize(contents.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    chance = vein_probability(small, region)
    return np.asarray(cv2.resize(chance, (width, height), interpolation=cv2.INTER_LINEAR) > _VEIN_AT)


def _points(points: Sequence[Sequence[float]]) -> NDArray[np.float64]:
    return np.asarray(points, dtype=np.float64).reshape(-1, 2)
