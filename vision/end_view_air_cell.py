"""The air cell of an egg seen from above: a disc inside the nearly round silhouette.

With the camera over the blunt end and light from below, the membrane's rim is seen as a circle, a
little flattened and moved off the middle where the camera or the egg leans: the rim lies nearer
the camera than the silhouette does. Its edge may be a step (the disc brighter, or darker over an
embryo), a thin dark line, or both, so both are summed along every ellipse that the lean allows.
An ellipse counts by sectors, each of which has one bounded vote with the sign of its step: a vessel,
a reflection or the embryo's shadow fills few sectors, or many with signs that disagree.

Depth and volume follow from the diameter through a common egg's profile. Near full breadth a small
error of the diameter is a large one of the depth, and the two are left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile, air_cell_volume_fraction, rim_diameter, widest_place
from vision.reading import AirCell, AirCellIntervals, Interval, Outline
from vision.rim_evidence import RADIUS, SIDE, Evidence, evidence_at, work_picture

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]

# Length over breadth of hens' eggs (shape index 76; common practice).
LENGTH_OVER_BREADTH = 1.32
# The rim lies about 0.45 breadths nearer the camera than the silhouette's widest circle. A tray is
# photographed from about 9 breadths (some 40 cm for hens' eggs), so the rim looks so much larger.
RIM_MAGNIFICATION = 1.05
# Standard error of the diameter over the breadth, the magnification's included: of a clear rim, and of one
# that is not. From 139 rims on ten drawn trays, others than those it is reported on.
DIAMETER_SPREAD, UNCLEAR_SPREAD, CLEAR_FROM = 0.014, 0.028, 0.95
# Half of the 90 % interval of an egg's depth over that of the common egg with the same rim (same trays).
SHAPE_SHARE = 0.075
# A rim whose middle is so many radii off the silhouette's: more than eggs lean in a tray.
OFF_THE_MIDDLE = 0.45
WIDEST_DEPTH_INTERVAL = 0.06  # of egg length: a wider 90 % interval is not given as a depth
LEAST_CONFIDENCE = 0.55

_RIM_HEIGHT = 0.95  # of the silhouette's radius, from its plane to the rim's
_ANGLES = 72
_SECTORS = 18
_FARTHEST = 0.55  # of the radius, that the disc's middle may be off the silhouette's
_LARGEST = 0.97  # rim over silhouette: beyond, it is the silhouette itself that is found
# A circle that follows the silhouette is more often its own glowing edge: it must score more.
_LIMB_FROM, _LIMB_COST, _LIMB_DOUBT = 0.87, 1.0, 2.5
_OFF_THE_LIMB = 0.7  # a circle off the middle by so much of its offset does not follow the silhouette
_EVEN_SCORE, _SCORE_SPREAD = 0.74, 0.07  # of both scales together, at which half are air cells
_COARSE_BLUR, _FINE_BLUR = 2.2, 1.1


@dataclass(frozen=True)
class DepthInterval:
    """Depth over egg length that goes with a diameter, and its 90 % interval."""

    depth: float
    low: float
    high: float


@dataclass(frozen=True)
class _Ellipses:
    """Candidates in the work picture: (N,) arrays, and the pixel and normal of each of their points."""

    x: FloatArray
    y: FloatArray
    radius: FloatArray
    pixel: NDArray[np.int32]
    normal_x: Float32Array
    normal_y: Float32Array


def measure_end_view_air_cell(
    rgb_window: NDArray[np.uint8],
    outline: Outline,
    *,
    origin_px: tuple[float, float] = (0.0, 0.0),
    scale: float = 1.0,
    rim_magnification: float = RIM_MAGNIFICATION,
) -> tuple[AirCell | None, str | None]:
    """Measure the air cell of one egg seen from above, blunt end up, lit from below.

    Parameters
    ----------
    rgb_window
        Window of the photo with the whole egg, shape (H, W, 3), uint8.
    outline
        The egg's silhouette in the window's pixels.
    origin_px, scale
        Photo position of the window's first pixel and photo pixels a window pixel, for ``boundary_px``.
    rim_magnification
        How much larger the rim looks than it would in the plane of the silhouette, being nearer the
        camera: 1 + (rim's height over the silhouette) / (camera's distance). The default suits a
        phone about 40 cm over hens' eggs; at 25 cm it is 1.08, from far off 1.

    Returns
    -------
    AirCell or None
        ``diameter_fraction`` of the breadth; ``depth_fraction`` and ``volume_fraction`` through a
        common hen's egg of this breadth, ``None`` where its 90 % interval would be wider than
        0.06 of the length (see :func:`depth_from_diameter`). ``intervals`` are of 90 %. ``unusual`` says
        where the rim's middle lies far off the silhouette's. ``tilt_deg`` is always ``None``:
        the disc leaves the middle where the egg or the camera leans as well as where the membrane tilts.
    str or None
        Why there is no air cell, or why one was measured without its depth.

    Raises
    ------
    ValueError
        Where the window is no 8-bit colour picture or the magnification is not at least 1.
    """
    if rgb_window.ndim != 3 or rgb_window.shape[2] != 3 or rgb_window.dtype != np.uint8:
        raise ValueError(f"rgb_window must be uint8 of shape (H, W, 3), not {rgb_window.dtype}")
    if not (math.isfinite(rim_magnification) and rim_magnification >= 1):
        raise ValueError(f"rim_magnification must be at least 1, not {rim_magnification}")
    if outline.breadth_px < 40:
        return None, "the egg is too small in the picture for its air cell to be seen"
    grey, inside, to_window = work_picture(rgb_window, outline)
    coarse = evidence_at(grey, inside, _COARSE_BLUR)
    fine = evidence_at(grey, inside, _FINE_BLUR)
    if coarse is None or fine is None:
        return None, "the egg is too dark for its air cell to be seen"
    found = _search(coarse, fine)
    ring = _refined(fine, *found)
    confidence = _confidence(coarse, fine, ring)
    if confidence < LEAST_CONFIDENCE:
        return None, "no rim of an air cell shows"
    x, y, radius = ring
    points = _ellipse(x, y, radius, np.linspace(0, 2 * math.pi, _ANGLES, endpoint=False))
    points = points @ to_window[:, :2].T + to_window[:, 2]
    boundary = points * scale + np.asarray(origin_px)
    share = min(radius / RADIUS / rim_magnification, 1.0)
    spread = DIAMETER_SPREAD if confidence >= CLEAR_FROM else UNCLEAR_SPREAD
    interval = depth_from_diameter(share, spread=spread)
    depth, volume, reason = None, None, None
    intervals = AirCellIntervals(
        diameter_fraction=Interval(max(share - 1.645 * spread, 0.0), min(share + 1.645 * spread, 1.0))
    )
    if interval is None:
        reason = "the air cell is nearly as wide as the egg, where its width no longer tells its depth"
    else:
        depth = interval.depth
        egg = _common_egg(LENGTH_OVER_BREADTH)
        volume = air_cell_volume_fraction(depth, egg)
        intervals = replace(
            intervals,
            depth_fraction=Interval(interval.low, interval.high),
            volume_fraction=Interval(
                air_cell_volume_fraction(interval.low, egg), air_cell_volume_fraction(interval.high, egg)
            ),
        )
    off = math.hypot(x, y) / RADIUS
    unusual = ("off the middle: the egg leans, or the cell is loose",) if off > OFF_THE_MIDDLE else ()
    return (
        AirCell(depth, share, volume, None, boundary, confidence, intervals=intervals, unusual=unusual),
        reason,
    )


def depth_from_diameter(diameter_fraction: float, *, spread: float = DIAMETER_SPREAD) -> DepthInterval | None:
    """Air-cell depth of a common egg whose rim has this diameter over the breadth.

    The interval carries the diameter's error and the spread of hens' eggs' length over breadth;
    ``None`` where it is wider than 0.06 of the length (near full breadth).
    """
    depth = _depth_of(diameter_fraction, LENGTH_OVER_BREADTH)
    reach = 1.645 * spread
    low = _depth_of(max(diameter_fraction - reach, 0.0), LENGTH_OVER_BREADTH)
    high = _depth_of(diameter_fraction + reach, LENGTH_OVER_BREADTH)
    if depth is None or low is None or high is None:
        return None
    # The shell's curve over the depth's share is nearly the same in long and short eggs: what is left
    # is the shift of the widest place.
    shape = SHAPE_SHARE * depth
    low, high = depth - math.hypot(depth - low, shape), depth + math.hypot(high - depth, shape)
    return None if high - low > WIDEST_DEPTH_INTERVAL else DepthInterval(depth, max(low, 0.0), high)


@cache
def _common_egg(length_over_breadth: float) -> EggProfile:
    return EggProfile.from_length_breadth(length_over_breadth, 1.0)


@cache
def _depth_table(length_over_breadth: float) -> tuple[FloatArray, FloatArray]:
    egg = _common_egg(length_over_breadth)
    widest = widest_place(egg)[0] / egg.length + 0.5
    depth = widest * np.linspace(0, 1, 400) ** 2
    return np.array([rim_diameter(d, egg) for d in depth]), depth


def _depth_of(diameter: float, length_over_breadth: float) -> float | None:
    diameters, depths = _depth_table(length_over_breadth)
    return None if diameter >= diameters[-1] else float(np.interp(diameter, diameters, depths))


def _flattening(x: FloatArray | float, y: FloatArray | float) -> FloatArray:
    """Minor over major axis of the rim's ellipse where its middle is off by (x, y): cosine of the lean."""
    sine = np.hypot(x, y) / (_RIM_HEIGHT * RADIUS)
    return np.asarray(np.sqrt(1 - np.minimum(sine, 0.8) ** 2), dtype=np.float64)


def _ellipse(x: float, y: float, radius: float, angle: FloatArray) -> FloatArray:
    """Points of one rim in the work picture, (N, 2); it is flattened toward the silhouette's middle."""
    way = math.atan2(y, x)
    along, across = radius * float(_flattening(x, y)) * np.cos(angle - way), radius * np.sin(angle - way)
    middle = SIDE / 2 - 0.5
    return np.column_stack(
        [
            middle + x + along * math.cos(way) - across * math.sin(way),
            middle + y + along * math.sin(way) + across * math.cos(way),
        ]
    )


def _ellipses(x: FloatArray, y: FloatArray, radius: FloatArray, count: int = _ANGLES) -> _Ellipses:
    angle = np.linspace(0, 2 * math.pi, count, endpoint=False)
    way = np.arctan2(y, x)[:, None]
    flat = _flattening(x, y)[:, None]
    t = angle[None, :] - way
    u, v = flat * np.cos(t), np.sin(t)
    nu, nv = np.cos(t), flat * np.sin(t)
    length = np.hypot(nu, nv)
    nu, nv = nu / length, nv / length
    cos, sin = np.cos(way), np.sin(way)
    middle = SIDE / 2 - 0.5
    px = middle + x[:, None] + radius[:, None] * (u * cos - v * sin)
    py = middle + y[:, None] + radius[:, None] * (u * sin + v * cos)
    column = np.clip(np.rint(px), 0, SIDE - 1).astype(np.int32)
    row = np.clip(np.rint(py), 0, SIDE - 1).astype(np.int32)
    return _Ellipses(
        x, y, radius, row * SIDE + column,
        (nu * cos - nv * sin).astype(np.float32), (nu * sin + nv * cos).astype(np.float32),
    )  # fmt: skip


def _one(x: float, y: float, radius: float) -> _Ellipses:
    return _ellipses(np.array([x]), np.array([y]), np.array([radius]))


@cache
def _coarse_grid() -> _Ellipses:
    """Every rim that may be: 4 pixels apart across, 3 in radius, none far beyond the silhouette."""
    steps = np.arange(-_FARTHEST, _FARTHEST + 1e-6, 0.05) * RADIUS
    radii = np.arange(0.25, _LARGEST + 1e-6, 0.0375) * RADIUS
    x, y, radius = (a.ravel() for a in np.meshgrid(steps, steps, radii, indexing="ij"))
    away = np.hypot(x, y)
    keep = (away <= _FARTHEST * RADIUS) & (away + radius * _flattening(x, y) <= 1.08 * RADIUS)
    return _ellipses(x[keep], y[keep], radius[keep], 36)


def _score(evidence: Evidence, rims: _Ellipses) -> tuple[FloatArray, FloatArray, FloatArray]:
    """How well each rim is borne out, its step (+ brighter inside) and its share within the silhouette."""
    count = rims.pixel.shape[1]
    sectors = min(_SECTORS, count // 2)
    shape = (len(rims.x), sectors, count // sectors)

    def by_sector(values: Float32Array) -> Float32Array:
        parts = values.reshape(shape)  # summed one by one: far faster than a mean over so short an axis
        total = parts[..., 0].copy()
        for k in range(1, shape[2]):
            total += parts[..., k]
        return np.asarray(total / shape[2], dtype=np.float32)

    take = rims.pixel
    step = by_sector(
        evidence.step_x.ravel()[take] * rims.normal_x + evidence.step_y.ravel()[take] * rims.normal_y
    )
    line = by_sector(evidence.line.ravel()[take])
    within = by_sector(evidence.weight.ravel()[take]).sum(axis=1)
    # Bounded votes; a fixed number of silent sectors is added so that a short arc cannot win.
    total = within + 0.2 * sectors
    steps = -np.clip(step, -0.6, 0.6).sum(axis=1) / total
    lines = np.clip(line, -0.4, 0.5).sum(axis=1) / total
    # Where the step's sign disagrees round the circle it cancels; a thin dark line adds to either.
    score = np.abs(steps) * np.where(steps < 0, 0.85, 1.0) + 0.6 * np.maximum(lines, 0)
    # Chance agreement falls with the square root of the length of edge that must agree.
    score = score * np.sqrt(np.minimum(rims.radius / (0.8 * RADIUS), 1.0))
    score = score - _LIMB_COST * _follows_limb(rims)
    score = np.where(within < 0.45 * sectors, 0.0, score)
    return np.asarray(score, float), np.asarray(steps, float), np.asarray(within / sectors, float)


def _follows_limb(rims: _Ellipses) -> FloatArray:
    follows = (rims.radius - _OFF_THE_LIMB * np.hypot(rims.x, rims.y)) / RADIUS
    return np.maximum(follows - _LIMB_FROM, 0.0)


def _search(coarse: Evidence, fine: Evidence) -> tuple[float, float, float]:
    grid = _coarse_grid()
    score, _, _ = _score(coarse, grid)
    order = np.argsort(score)[::-1]
    place = np.column_stack([grid.x, grid.y, grid.radius])
    best: list[int] = []
    for k in order[:200]:
        if all(float(np.abs(place[k] - place[b]).sum()) >= 12 for b in best):
            best.append(int(k))
        if len(best) == 4:
            break
    step = np.array([-2.7, -1.35, 0.0, 1.35, 2.7])
    dx, dy, dr = (a.ravel() for a in np.meshgrid(step, step, step, indexing="ij"))
    x = np.concatenate([grid.x[b] + dx for b in best])
    y = np.concatenate([grid.y[b] + dy for b in best])
    radius = np.concatenate([grid.radius[b] + dr for b in best])
    rims = _ellipses(x, y, radius)
    both = _score(fine, rims)[0] + _score(coarse, rims)[0]
    top = int(np.argmax(both))
    return float(x[top]), float(y[top]), float(radius[top])


def _refined(fine: Evidence, x: float, y: float, radius: float) -> tuple[float, float, float]:
    """Least squares on the edge's place, found along normals to the pixel's fraction."""
    for reach in (4.0, 3.0, 2.5):
        rims = _one(x, y, radius)
        steps = float(_score(fine, rims)[1][0])
        offset = np.arange(-reach, reach + 0.01, 0.5)
        normal = np.column_stack([rims.normal_x[0], rims.normal_y[0]]).astype(float)
        points = _ellipse(x, y, radius, np.linspace(0, 2 * math.pi, _ANGLES, endpoint=False))
        place = (points[:, None] + offset[None, :, None] * normal[:, None]).astype(np.float32)
        sx, sy, line, weight = (
            cv2.remap(m, place[..., 0], place[..., 1], cv2.INTER_LINEAR)
            for m in (fine.step_x, fine.step_y, fine.line, fine.weight)
        )
        sign = 1.0 if steps >= 0 else -1.0
        edge = -sign * (sx * normal[:, :1] + sy * normal[:, 1:]) + 0.6 * line
        # Neighbours along the rim say the same thing; a mean of three quietens grain.
        edge = (np.roll(edge, 1, 0) + edge + np.roll(edge, -1, 0)) / 3
        power = np.maximum(edge, 0.0) ** 2 * (weight > 0.5)
        total = power.sum(axis=1)
        if np.count_nonzero(total > 1e-3) < _ANGLES // 4:
            return x, y, radius
        shift = (power @ offset) / np.maximum(total, 1e-9)
        trust = np.minimum(np.sqrt(total), 1.5) * (total > 1e-3)
        basis = np.column_stack([normal, np.ones(_ANGLES)])
        change = np.zeros(3)
        for _ in range(4):
            off = np.abs(shift - basis @ change)
            w = trust / np.maximum(off, 0.5)
            change = np.linalg.solve(basis.T @ (w[:, None] * basis) + 0.5 * np.eye(3), basis.T @ (w * shift))
        x, y, radius = x + change[0], y + change[1], radius + change[2]
    return float(x), float(y), float(radius)


def _confidence(coarse: Evidence, fine: Evidence, ring: tuple[float, float, float]) -> float:
    """Probability that there is a rim, from how clear it is at both scales."""
    if not 0.25 <= ring[2] / RADIUS <= _LARGEST + 0.015:
        return 0.0
    rim = _one(*ring)
    score = float(_score(coarse, rim)[0][0] + _score(fine, rim)[0][0])
    score -= _LIMB_DOUBT * float(_follows_limb(rim)[0])
    return float(1 / (1 + math.exp(-(score - _EVEN_SCORE) / _SCORE_SPREAD)))
