"""Draws on the photo what was measured, so that a person can see whether to believe it."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.reading import EggMasks, Outline, PhotoReading, Reading

LAYERS = ("outline", "axis", "air cell", "veins", "embryo", "ring", "look here", "cup")

Picture = NDArray[np.uint8]
Colour = tuple[int, int, int]

# Told apart by colour-blind eyes too (after Okabe & Ito 2008), lightened for the dark ground.
_OUTLINE: Colour = (86, 180, 233)
_UNUSABLE: Colour = (170, 170, 170)
_AXIS: Colour = (255, 255, 255)
_AIR_CELL: Colour = (240, 228, 66)
_VEINS: Colour = (0, 220, 150)
_EMBRYO: Colour = (235, 130, 220)
_RING: Colour = (213, 94, 0)
_LOOK_HERE: Colour = (230, 159, 0)
_TEXT: Colour = (255, 255, 255)
_EDGE: Colour = (0, 0, 0)

_PX_PER_LINE_WIDTH = 800  # a 12-megapixel photo gets lines 5 px wide, a small one 1 px


def draw_overlay(
    rgb: Picture,
    photo_reading: PhotoReading,
    *,
    layers: Sequence[str] = LAYERS,
    line_px: int | None = None,
) -> Picture:
    """A copy of the photo with its eggs' measurements drawn on it.

    Parameters
    ----------
    rgb
        The upright photo that was measured, shape (H, W, 3).
    photo_reading
        What was measured on it.
    layers
        Which of these to draw:

        ``outline``
            The silhouette; grey instead of blue where the egg's picture is not usable.
        ``axis``
            The long axis, with an arrow head at the blunt end where that is known. Not in end
            view, where the axis points at the camera.
        ``air cell``
            The visible line of the membrane, and the air cell's mask as a tint.
        ``veins``
            The vessels' mask.
        ``embryo``
            A cross at its centre in a circle of its measured area.
        ``ring``
            The blood ring's circle, dashed.
        ``look here``
            The line or border of each place where the shell may have a fault.
        ``cup``
            The cup's name, or the egg's number in the order of ``photo_reading.eggs``, from 1.
    line_px
        Width of the lines, 1 or more; by default it goes with the picture's size.

    Returns
    -------
    uint8, shape (H, W, 3). ``rgb`` is not changed.

    Raises
    ------
    ValueError
        For an unknown layer, or a picture that is not 8-bit RGB of the reading's size.
    """
    unknown = [layer for layer in layers if layer not in LAYERS]
    if unknown:
        raise ValueError(f"unknown layer {unknown[0]!r}; known are {', '.join(LAYERS)}")
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        raise ValueError(f"rgb must be uint8 of shape (H, W, 3), not {rgb.dtype} {rgb.shape}")
    size = (photo_reading.width_px, photo_reading.height_px)
    if None not in size and size != (rgb.shape[1], rgb.shape[0]):
        raise ValueError(
            f"the reading is of a picture of {size} pixels and rgb has {rgb.shape[1]} x {rgb.shape[0]}"
        )
    drawn = np.array(rgb, order="C")
    width = max(1, round(max(rgb.shape[:2]) / _PX_PER_LINE_WIDTH) if line_px is None else line_px)
    # Layer by layer, so that one egg's tint never lies over its neighbour's lines.
    for egg in photo_reading.eggs:
        _tint_masks(drawn, egg, layers)
    for number, egg in enumerate(photo_reading.eggs, start=1):
        if "outline" in layers:
            colour = _OUTLINE if egg.quality.usable else _UNUSABLE
            _line(drawn, egg.outline.polygon_px, colour, width, closed=True)
        if "axis" in layers and photo_reading.view != "end":
            _axis(drawn, egg.outline, width)
        if "air cell" in layers and egg.air_cell is not None:
            _line(drawn, egg.air_cell.boundary_px, _AIR_CELL, width)
        if "embryo" in layers:
            _embryo(drawn, egg, width)
        if "ring" in layers and egg.ring is not None:
            _dashed_circle(drawn, egg.ring.centre_px, egg.ring.radius_fraction * egg.outline.length_px, width)
        if "look here" in layers:
            for place in egg.shell.look_here:
                _line(drawn, place.boundary_px, _LOOK_HERE, width)
        if "cup" in layers:
            _label(drawn, egg.cup or str(number), egg.outline, width)
    return drawn


def _tint_masks(drawn: Picture, egg: Reading, layers: Sequence[str]) -> None:
    if egg.masks is None:
        return
    if "air cell" in layers:
        _tint(drawn, egg.masks, egg.masks.air_cell, _AIR_CELL, 0.2)
    if "veins" in layers:
        _tint(drawn, egg.masks, egg.masks.veins, _VEINS, 0.65)


def _tint(drawn: Picture, masks: EggMasks, mask: NDArray[np.bool_], colour: Colour, strength: float) -> None:
    """Mix the colour into the masked pixels, in place; a window may reach beyond the picture."""
    left, top = masks.corner_px
    rows, columns = np.nonzero(mask)
    rows, columns = rows + top, columns + left
    inside = (rows >= 0) & (rows < drawn.shape[0]) & (columns >= 0) & (columns < drawn.shape[1])
    rows, columns = rows[inside], columns[inside]
    mixed = (1 - strength) * drawn[rows, columns] + strength * np.asarray(colour, dtype=np.float64)
    drawn[rows, columns] = mixed.round().astype(np.uint8)


def _line(
    drawn: Picture,
    points: ArrayLike,
    colour: Colour,
    width: int,
    *,
    closed: bool = False,
    edge: bool = True,
) -> None:
    """A polyline, with a dark edge where it must show on bright ground too."""
    whole = np.rint(np.asarray(points, dtype=np.float64)).astype(np.int32).reshape(-1, 1, 2)
    if len(whole) == 0:
        return
    if edge:
        cv2.polylines(drawn, [whole], closed, _EDGE, width + 2, cv2.LINE_AA)
    cv2.polylines(drawn, [whole], closed, colour, width, cv2.LINE_AA)


def _axis(drawn: Picture, outline: Outline, width: int) -> None:
    angle = np.deg2rad(outline.long_axis_deg if outline.axis_deg is None else outline.axis_deg)
    toward = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-toward[1], toward[0]])
    centre = np.asarray(outline.centre_px, dtype=np.float64)
    blunt, other = centre + toward * outline.length_px / 2, centre - toward * outline.length_px / 2
    _line(drawn, [other, blunt], _AXIS, width, edge=False)  # it crosses what a person looks for
    if outline.axis_deg is not None:
        barb = 0.05 * outline.length_px
        wings = [blunt - barb * toward + side * 0.6 * barb * across for side in (1, -1)]
        _line(drawn, [wings[0], blunt, wings[1]], _AXIS, width)


def _embryo(drawn: Picture, egg: Reading, width: int) -> None:
    embryo = egg.embryo
    if not embryo.visible or embryo.centre_px is None:
        return
    centre = np.asarray(embryo.centre_px, dtype=np.float64)
    arm = 0.02 * egg.outline.length_px
    for step in ((arm, 0.0), (0.0, arm)):
        _line(drawn, [centre - step, centre + step], _EMBRYO, width)
    if embryo.area_fraction:
        silhouette = cv2.contourArea(np.asarray(egg.outline.polygon_px, dtype=np.float32))
        radius = np.sqrt(embryo.area_fraction * silhouette / np.pi)
        turn = np.linspace(0, 2 * np.pi, 64, endpoint=False)
        circle = centre + radius * np.column_stack([np.cos(turn), np.sin(turn)])
        _line(drawn, circle, _EMBRYO, width, closed=True)


def _dashed_circle(drawn: Picture, centre_px: tuple[float, float], radius: float, width: int) -> None:
    """Dashed, so that it is told from the embryo's circle without its colour."""
    for start in np.linspace(0, 2 * np.pi, 12, endpoint=False):
        turn = np.linspace(start, start + np.pi / 10, 8)
        arc = np.asarray(centre_px) + radius * np.column_stack([np.cos(turn), np.sin(turn)])
        _line(drawn, arc, _RING, width)


def _label(drawn: Picture, text: str, outline: Outline, width: int) -> None:
    """The text inside the silhouette, near its top, beside the axis."""
    scale = 0.5 * width if width > 1 else 0.6
    font, thick = cv2.FONT_HERSHEY_SIMPLEX, max(1, width)
    (wide, high), _ = cv2.getTextSize(text, font, scale, thick)
    top = float(np.min(np.asarray(outline.polygon_px)[:, 1]))
    x = int(np.clip(round(outline.centre_px[0] - wide - 4 * width), 0, max(0, drawn.shape[1] - wide)))
    y = int(np.clip(round(top + 2 * high), high, drawn.shape[0]))
    cv2.putText(drawn, text, (x, y), font, scale, _EDGE, thick + 2, cv2.LINE_AA)
    cv2.putText(drawn, text, (x, y), font, scale, _TEXT, thick, cv2.LINE_AA)
