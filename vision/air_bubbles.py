"""Small bubbles beside an air cell, as rough handling in the post leaves them: bright discs with a dark edge.

A bubble under the membrane swallows no light, so its middle is as bright as what lies round it or
brighter; light that meets its side is turned away, so its edge is dark all round. A pore is bright without
a dark edge, a speck dark without a bright middle, and a vein dark on two sides only. So the edge must be
darker than both the middle and the ground in nearly every direction. Tried on drawn bubbles only.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reading import Outline

Float32Array = NDArray[np.float32]

# Over egg length: 0.6 to 2.3 mm on a hen's egg, in steps; and how far from the line bubbles are sought,
# into the air cell and into the contents.
RADII = (0.011, 0.014, 0.018, 0.022, 0.028, 0.035, 0.04)
SOUGHT = (-0.03, 0.16)
LEAST_RADIUS_PX = 3.0
EDGE_INSET = 0.06  # of the length: the shell's limb and its lamp
DIRECTIONS = 16
CLOSED = 14  # so many of the directions in which the edge must be dark
LEAST_DEPTH = 0.035  # natural logarithm: the edge against middle and ground
LEAST_OVER_GRAIN = 3.0
GROUND_SPREAD = 0.8  # the ground may differ round about by so many times the edge's depth
OVER_MOTTLES = 1.7  # the edge's depth over the shell's own mottling, in standard deviations


@dataclass(frozen=True)
class Bubble:
    """Middle (x, y) and radius in pixels of the picture; ``depth`` of its edge in logarithms of light."""

    centre_px: tuple[float, float]
    radius_px: float
    depth: float


def bubbles_by_line(
    rgb: NDArray[np.uint8], outline: Outline, line_px: NDArray[np.floating]
) -> tuple[Bubble, ...]:
    """Bubbles near an air cell's line, strongest first.

    Parameters
    ----------
    rgb
        A window round the egg, shape (H, W, 3).
    outline, line_px
        The egg and the line found, (N, 2) x and y, in the window's pixels. The blunt end must be known.
    """
    if outline.axis_deg is None or len(line_px) < 2:
        return ()
    length = outline.length_px
    light: Float32Array = np.asarray(cv2.GaussianBlur(rgb.astype(np.float32), (0, 0), 0.7), dtype=np.float32)
    dim = np.log(light[..., 0] + 8) + np.log(light[..., 1] + 8) + 0.5 * np.log(light[..., 2] + 8)
    grey: Float32Array = np.asarray(dim / 2.5, dtype=np.float32)
    sought = _region(rgb.shape[:2], outline, line_px)
    found: list[Bubble] = []
    for share in RADII:
        radius = share * length
        if radius >= LEAST_RADIUS_PX and sought.any():
            found += _of_radius(grey, sought, radius)
    kept: list[Bubble] = []
    for bubble in sorted(found, key=lambda b: -b.depth):
        if all(
            np.hypot(*np.subtract(bubble.centre_px, other.centre_px)) > bubble.radius_px + other.radius_px
            for other in kept
        ):
            kept.append(bubble)
    return tuple(kept)


def _region(shape: tuple[int, int], outline: Outline, line_px: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Where bubbles are sought: a band along the line, away from the shell's limb."""
    assert outline.axis_deg is not None
    angle = np.radians(outline.axis_deg)
    blunt = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-blunt[1], blunt[0]])
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    inward = -(x * blunt[0] + y * blunt[1])
    aside = x * across[0] + y * across[1]
    order = np.argsort(line_px @ across)
    line = np.interp(aside, (line_px @ across)[order], -(line_px @ blunt)[order])
    beyond = (inward - line) / outline.length_px
    polygon = np.asarray(outline.polygon_px, dtype=np.float64)
    centre = np.asarray(outline.centre_px)
    inset = centre + (polygon - centre) * (1 - 2 * EDGE_INSET)
    inside = np.zeros(shape, dtype=np.uint8)
    cv2.fillPoly(inside, [np.round(inset).astype(np.int32)], 1)
    region: NDArray[np.bool_] = (inside > 0) & (beyond > SOUGHT[0]) & (beyond < SOUGHT[1])
    return region


def _of_radius(grey: Float32Array, sought: NDArray[np.bool_], radius: float) -> list[Bubble]:
    """Bubbles of one radius: a matched filter proposes, the look in every direction decides."""
    reach = int(np.ceil(1.6 * radius))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    distance = np.hypot(x, y) / radius
    disc, edge = distance < 0.6, np.abs(distance - 0.85) < 0.2
    ground = (distance > 1.2) & (distance < 1.6)
    kernel = (
        0.5 * disc / disc.sum() + 0.5 * ground / max(ground.sum(), 1) - edge / max(edge.sum(), 1)
    ).astype(np.float32)
    rows, columns = np.nonzero(sought)
    pad = reach + 2
    top, left = max(rows.min() - pad, 0), max(columns.min() - pad, 0)
    part = grey[top : rows.max() + pad + 1, left : columns.max() + pad + 1]
    answer: Float32Array = np.asarray(
        cv2.filter2D(part, cv2.CV_32F, kernel, borderType=cv2.BORDER_REPLICATE), dtype=np.float32
    )
    within = sought[top : rows.max() + pad + 1, left : columns.max() + pad + 1]
    spread = _spread(answer[within])
    mottles = _spread(np.asarray(part - cv2.GaussianBlur(part, (0, 0), radius), dtype=np.float32)[within])
    size = int(radius) | 1
    peak = (answer >= cv2.dilate(answer, np.ones((size, size)))) & within
    peak &= answer > max(0.4 * LEAST_DEPTH, LEAST_OVER_GRAIN * spread)
    places = np.argwhere(peak)
    places = places[np.argsort(-answer[peak])][:12]
    found = []
    for row, column in places:
        depth = _edge_depth(part, float(column), float(row), radius)
        if depth is not None and depth > OVER_MOTTLES * mottles:
            found.append(Bubble((float(column + left), float(row + top)), radius, depth))
    return found


def _spread(values: Float32Array) -> float:
    """Standard deviation by the median, which a few bubbles do not raise."""
    return 1.483 * float(np.median(np.abs(values - np.median(values)))) + 1e-6


def _edge_depth(grey: Float32Array, x: float, y: float, radius: float) -> float | None:
    """How much darker the edge is than middle and ground, ``None`` where it is not dark all round."""
    turn = np.arange(DIRECTIONS) * 2 * np.pi / DIRECTIONS
    out = np.array([0.0, 0.2, 0.4, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.4, 1.55]) * radius
    at_x = (x + out[:, None] * np.cos(turn)).astype(np.float32)
    at_y = (y + out[:, None] * np.sin(turn)).astype(np.float32)
    if at_x.min() < 0 or at_y.min() < 0 or at_x.max() > grey.shape[1] - 1 or at_y.max() > grey.shape[0] - 1:
        return None
    seen = cv2.remap(grey, at_x, at_y, cv2.INTER_LINEAR)
    middle = float(seen[:3].mean())
    edge = seen[3:8].min(axis=0)
    ground = seen[8:].mean(axis=0)
    below = np.minimum(middle, ground) - edge
    depth = float(np.median(below))
    if depth < LEAST_DEPTH or (below > 0.3 * depth).sum() < CLOSED:
        return None
    if float(np.ptp(np.quantile(ground, (0.1, 0.9)))) > GROUND_SPREAD * depth + 0.1:
        return None
    return depth
