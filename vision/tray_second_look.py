"""A second look at single places of a tray: is there an egg, and where is its edge?

Once the tray's grid is known, so is where an egg must lie and how large it is, and a dark, late egg that no
search of the whole photo finds can be looked for there. An egg over a light passes some of it, most in red:
its disc is brighter, or redder, than the tray round it, or at least does not look like the tray. An
unlit empty cup is a hole: as dark as the tray or darker, and of its colour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.cup_names import cup_position
from vision.tray_grid import TrayGrid
from vision.tray_plane import nearness_at, plane_of_cups

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]

# The place is brought to a size where an egg's radius is so many pixels.
_RADIUS = 36.0
_REACH = 1.75  # of the radius, that the work picture reaches from its middle
_ANGLES = 64
# Grey levels (of 255) added before logarithms: what noise and compression leave unsure near black.
_BLACK, _BLACK_COLOUR = 10.0, 16.0
_LARGEST_OFF, _SMALLEST, _LARGEST = 0.34, 0.78, 1.22  # of the radius expected
# What an edge all the way round weighs against place and size (in logarithms of likelihood); and the spread
# of a circle found by the whole search about the true one, over the radius, with how often it is wrong.
_EDGE_WEIGHT, _FOUND_OFF, _FOUND_WRONG = 25.0, 0.02, 0.01


@dataclass(frozen=True)
class PlaceLook:
    """What a place looks like.

    Attributes
    ----------
    brighter
        Logarithm of the disc's brightest colour over that of the tray beside it.
    redder
        The same of red over green: how much redder the disc is than the tray beside it.
    texture
        Spread of the disc's brightness, in logarithms.
    edge
        0 to 1: over how much of the way round an edge shows where the circle runs.
    centre_px, radius_px
        The circle that fits the edge best.
    """

    brighter: float
    redder: float
    texture: float
    edge: float
    centre_px: tuple[float, float]
    radius_px: float

    @property
    def unlike_tray(self) -> float:
        """Brighter and redder together: about 0 and less for a hole, 0.5 and more for most eggs.

        Colour counts double: a tray in dim light may be as bright as a dark egg, but not as red.
        """
        return self.brighter + 2.0 * max(self.redder, -0.05)


def look_at_place(
    rgb: ImageArray, centre: ArrayLike, radius: float, *, others: ArrayLike, search: bool = True
) -> PlaceLook | None:
    """Look at one place; ``None`` where too little of it lies in the photo.

    Parameters
    ----------
    rgb
        The photo, uint8, shape (H, W, 3).
    centre, radius
        Where an egg would lie and how large it would be, pixels.
    others
        Circles of all other eggs and lit cups, shape (N, 3): x, y, radius. What lies in them is not the
        tray beside this place.
    search
        Whether the circle is looked for; else it is taken to be the one given, and ``edge`` is 0.
    """
    picture, visible, origin, scale = _work_picture(rgb, np.asarray(centre, float), radius)
    side = picture.shape[0]
    middle = (side - 1) / 2
    y, x = np.mgrid[:side, :side].astype(float)
    if visible[np.hypot(x - middle, y - middle) < _RADIUS].mean() < 0.8:
        return None
    free = _free(visible, others, origin, scale)
    dx, dy, r, edge = _circle(np.log(picture + _BLACK), free) if search else (0.0, 0.0, _RADIUS, 0.0)
    away = np.hypot(x - middle - dx, y - middle - dy)
    inside, beside = visible & (away < 0.82 * r), free & (away > 1.1 * r) & (away < 1.5 * r)
    if beside.sum() < 40:
        beside = visible & (away > 1.1 * r) & (away < 1.4 * r)
    disc, tray = picture[inside], picture[beside]
    if len(disc) < 40 or len(tray) < 20:
        return None
    # The darker part of what lies beside: the tray without the glow that leaks round eggs.
    tray = tray[tray.max(axis=1) <= np.percentile(tray.max(axis=1), 60)]
    inner, outer = np.median(disc, axis=0), np.median(tray, axis=0)
    colour = [float(np.log((c[0] + _BLACK_COLOUR) / (c[1] + _BLACK_COLOUR))) for c in (inner, outer)]
    return PlaceLook(
        brighter=float(np.log((inner.max() + _BLACK) / (outer.max() + _BLACK))),
        redder=colour[0] - colour[1],
        texture=float(np.std(np.log(disc.max(axis=1) + _BLACK))),
        edge=edge,
        centre_px=(origin[0] + (middle + dx) * scale, origin[1] + (middle + dy) * scale),
        radius_px=r * scale,
    )


def _work_picture(
    rgb: ImageArray, centre: FloatArray, radius: float
) -> tuple[FloatArray, NDArray[np.bool_], tuple[float, float], float]:
    """The place at a fixed size, which pixels lie in the photo, and the way back: origin and scale."""
    side = 2 * int(_REACH * _RADIUS) + 1
    scale = radius / _RADIUS
    x0, y0 = np.floor(centre - _REACH * radius - 2).astype(int)
    x1, y1 = np.ceil(centre + _REACH * radius + 3).astype(int)
    height, width = rgb.shape[:2]
    left, top = min(max(x0, 0), width), min(max(y0, 0), height)
    part: NDArray[np.float32] = rgb[top : max(y1, top), left : max(x1, left)].astype(np.float32)
    if part.size == 0:
        nothing = np.zeros((side, side, 3))
        return nothing, np.zeros((side, side), bool), (0.0, 0.0), scale
    if scale > 1.0:
        part = cv2.blur(part, (round(scale), round(scale))).astype(np.float32)
    origin = centre - (side - 1) / 2 * scale
    matrix = np.array([[scale, 0, origin[0] - left], [0, scale, origin[1] - top]])
    picture = cv2.warpAffine(
        part,
        matrix,
        (side, side),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    along = np.arange(side) * scale
    columns, rows = along + origin[0], along + origin[1]
    visible = ((rows >= 0) & (rows <= height - 1))[:, None] & ((columns >= 0) & (columns <= width - 1))[None]
    return picture.astype(float), visible, (float(origin[0]), float(origin[1])), scale


def _circle(log_picture: FloatArray, free: NDArray[np.bool_]) -> tuple[float, float, float, float]:
    """Offset from the middle, radius and strength of the circle with an edge all the way round."""
    side = log_picture.shape[0]
    middle = (side - 1) / 2
    planes = _planes(log_picture)
    angle = np.linspace(0, 2 * np.pi, _ANGLES, endpoint=False)
    ring = np.arange(_SMALLEST * _RADIUS - 4, _LARGEST * _RADIUS + 4.5, 1.0)
    reach = _LARGEST_OFF * _RADIUS
    steps = np.arange(-reach, reach + 0.1, 3.0)
    cx, cy = (a.ravel() for a in np.meshgrid(steps, steps))
    keep = np.hypot(cx, cy) <= reach
    best = _best_circle(planes, free, cx[keep], cy[keep], ring, angle, middle)
    fine = np.array([-1.5, 0.0, 1.5])
    fx, fy = (a.ravel() for a in np.meshgrid(fine, fine))
    best = _best_circle(planes, free, best[0] + fx, best[1] + fy, ring, angle, middle)
    return _refined(planes, free, best, angle, middle)


def _jumps(
    planes: list[FloatArray],
    free: NDArray[np.bool_],
    cx: FloatArray,
    cy: FloatArray,
    ring: FloatArray,
    angle: FloatArray,
    middle: float,
) -> FloatArray:
    """Edge strength, (circles, angles, rings - 4), 0 to 1: the jump across each ring, either way."""
    px = middle + cx[:, None, None] + ring[None, None] * np.cos(angle)[None, :, None]
    py = middle + cy[:, None, None] + ring[None, None] * np.sin(angle)[None, :, None]
    shape = px.shape
    flat = (px.reshape(shape[0], -1).astype(np.float32), py.reshape(shape[0], -1).astype(np.float32))
    total = np.zeros((shape[0], shape[1], shape[2] - 4))
    for plane in planes:
        values = cv2.remap(
            np.asarray(plane, np.float32), *flat, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        values = values.reshape(shape).astype(float)
        # Neighbours along the circle say the same thing: their mean quietens the noise.
        values = (
            values
            + np.roll(values, 1, 1)
            + np.roll(values, -1, 1)
            + np.roll(values, 2, 1)
            + np.roll(values, -2, 1)
        ) / 5
        jump = np.abs((values[..., 3:-1] + values[..., 4:]) - (values[..., :-4] + values[..., 1:-3])) / 2
        noise = max(float(np.median(jump)), 0.01)
        total += np.clip(jump / (4 * noise), 0, 1) / len(planes)
    seen = cv2.remap(free.astype(np.float32), *flat, cv2.INTER_NEAREST, borderValue=0.0).reshape(shape)
    return np.asarray(total * (seen[..., 2:-2] > 0.5), np.float64)


def _best_circle(
    planes: list[FloatArray],
    free: NDArray[np.bool_],
    cx: FloatArray,
    cy: FloatArray,
    ring: FloatArray,
    angle: FloatArray,
    middle: float,
) -> tuple[float, float, float]:
    strength = _jumps(planes, free, cx, cy, ring, angle, middle).mean(axis=1)
    radius = ring[2:-2]
    off = np.hypot(cx, cy)[:, None] / _RADIUS
    cost = 0.5 * (off / 0.2) ** 2 + 0.5 * ((radius[None] / _RADIUS - 1) / 0.1) ** 2
    strength = strength - 0.03 * cost
    k, j = np.unravel_index(int(np.argmax(strength)), strength.shape)
    return float(cx[k]), float(cy[k]), float(radius[j])


def _refined(
    planes: list[FloatArray],
    free: NDArray[np.bool_],
    best: tuple[float, float, float],
    angle: FloatArray,
    middle: float,
) -> tuple[float, float, float, float]:
    """Least squares on the edge's place at every angle; and the share of the way round it shows."""
    x, y, r = best
    edge = 0.0
    for reach in (4.0, 3.0, 3.0):
        ring = r + np.arange(-reach - 2, reach + 2.1, 0.5)
        jump = _jumps(planes, free, np.array([x]), np.array([y]), ring, angle, middle)[0]
        offset = ring[2:-2] - r
        power = jump**2
        total = power.sum(axis=1)
        edge = float((jump[:, np.abs(offset) <= 1.5].max(axis=1) > 0.5).mean())
        if np.count_nonzero(total > 0.3) < _ANGLES // 4:
            break
        shift = (power @ offset) / np.maximum(total, 1e-9)
        basis = np.column_stack([np.cos(angle), np.sin(angle), np.ones(_ANGLES)])
        change = np.zeros(3)
        for _ in range(4):
            misfit = np.abs(shift - basis @ change)
            weight = np.sqrt(total) / np.maximum(misfit, 0.5)
            pull = np.diag([2.0, 2.0, 1.0])
            change = np.linalg.solve(basis.T @ (weight[:, None] * basis) + pull, basis.T @ (weight * shift))
        x, y, r = x + change[0], y + change[1], r + change[2]
    return float(x), float(y), float(r), edge


def dim_egg(
    rgb: ImageArray,
    place: ArrayLike,
    radius: float,
    *,
    others: ArrayLike,
    found: tuple[float, float, float] | None = None,
    off_place: float = 0.08,
    off_size: float = 0.04,
) -> tuple[float, float, float]:
    """The likeliest circle of an egg that hardly stands out of its tray: x, y and radius, pixels.

    A late egg is black but for its air cell, whose edge is far clearer than the shell's. What all eggs
    of the tray have in common tells them apart: the shell is as large as the others and lies about where
    the lattice has its cup. Each circle is weighed by the edge along it, by both of these, and by how near
    it is to the circle found before.

    Parameters
    ----------
    rgb
        The photo, uint8, shape (H, W, 3).
    place, radius
        The cup's centre, and how large an egg there would be, pixels.
    others
        As in :func:`look_at_place`.
    found
        The circle found before: x, y, radius.
    off_place, off_size
        Standard deviations of the tray's eggs from place (along x or y) and size, over the radius.
    """
    centre = np.asarray(place, float)
    picture, visible, origin, scale = _work_picture(rgb, centre, radius)
    middle = (picture.shape[0] - 1) / 2
    free = _free(visible, others, origin, scale)
    planes = _planes(np.log(picture + _BLACK))
    angle = np.linspace(0, 2 * np.pi, _ANGLES, endpoint=False)
    before = None
    if found is not None:
        before = tuple((v - o) / scale - middle for v, o in zip(found[:2], origin, strict=True))
        before = (*before, found[2] / scale)

    def best(cx: FloatArray, cy: FloatArray, rings: list[FloatArray]) -> tuple[float, float, float]:
        top, most = (0.0, 0.0, _RADIUS), -np.inf
        for ring in rings:
            size = ring[2:-2]
            value = _EDGE_WEIGHT * _jumps(planes, free, cx, cy, ring, angle, middle).mean(axis=1)
            value -= 0.5 * ((cx**2 + cy**2) / (off_place * _RADIUS) ** 2)[:, None]
            value -= 0.5 * ((size / _RADIUS - 1) / off_size) ** 2
            if before is not None:
                away = np.hypot(cx - before[0], cy - before[1])[:, None] / (_FOUND_OFF * _RADIUS)
                larger = (size - before[2]) / (_FOUND_OFF * _RADIUS)
                value += 0.5 * np.log(_FOUND_WRONG + np.exp(-0.5 * (away**2 + larger**2)))
            k, j = np.unravel_index(int(np.argmax(value)), value.shape)
            if value[k, j] > most:
                top, most = (float(cx[k]), float(cy[k]), float(size[j])), float(value[k, j])
        return top

    reach = _LARGEST_OFF * _RADIUS
    x, y = _grid(reach, 3.0)
    keep = np.hypot(x, y) <= reach
    wide = np.arange(_SMALLEST * _RADIUS - 2, _LARGEST * _RADIUS + 2.5)
    first = best(x[keep], y[keep], [wide])
    x, y = _grid(2.0, 1.0)
    near = first[2] + np.arange(-4.0, 4.1)
    dx, dy, size = best(first[0] + x, first[1] + y, [near, near + 0.5])
    return origin[0] + (middle + dx) * scale, origin[1] + (middle + dy) * scale, size * scale


def _grid(reach: float, step: float) -> tuple[FloatArray, FloatArray]:
    along = np.arange(-reach, reach + 0.01, step)
    x, y = np.meshgrid(along, along)
    return x.ravel(), y.ravel()


def _free(
    visible: NDArray[np.bool_], others: ArrayLike, origin: tuple[float, float], scale: float
) -> NDArray[np.bool_]:
    """Which pixels of a work picture lie in the photo and in none of the other circles."""
    y, x = np.mgrid[: visible.shape[0], : visible.shape[1]].astype(float)
    free = visible.copy()
    for ox, oy, other in np.asarray(others, float).reshape(-1, 3):
        u, v = (ox - origin[0]) / scale, (oy - origin[1]) / scale
        free &= np.hypot(x - u, y - v) > 1.12 * other / scale
    return free


def _planes(log_picture: FloatArray) -> list[FloatArray]:
    """Brightness and colour; edges in each are taken in units of its own noise."""
    smooth = cv2.GaussianBlur(log_picture.astype(np.float32), (0, 0), 1.3)
    return [smooth.max(axis=2), smooth[..., 0] - smooth[..., 1]]


def expected_radii(
    grid: TrayGrid, in_cup: Mapping[str, int], centres: FloatArray, radii: FloatArray
) -> dict[str, float]:
    """The radius an egg would have in each cup: the usual one, larger where the tray is nearer."""
    usual = float(np.median(radii))
    plane = plane_of_cups(grid.cup_centres_px, staggered=grid.layout == "staggered")
    cups = (*grid.empty_cups, *in_cup)
    if plane is None or not in_cup:
        return dict.fromkeys(cups, usual)
    eggs = list(in_cup.values())
    share = float(np.median(radii[eggs] / nearness_at(plane, centres[eggs])))
    near = nearness_at(plane, np.array([grid.cup_centres_px[cup_position(cup)] for cup in cups]))
    sizes = share * near
    return {
        cup: float(size) if 0.5 * usual < size < 2.0 * usual else usual
        for cup, size in zip(cups, sizes, strict=True)
    }
