"""Empty cups that no light comes through: seen by their rims, in whatever little light the tray has.

A cup is a round opening, so an edge runs round it: the rim, or the hole's own darkness. Where light is too
little nothing shows, and nothing is claimed. Only places of the tray's lattice are looked at, also
beyond its border: what shows there says where the border runs.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]

_RADIUS = 24.0  # of an egg, in the pixels that a place is brought to
_REACH = 1.6
_ANGLES = 48
_BLACK = 10.0
_SMALLEST, _LARGEST = 0.6, 1.25  # a cup's rim over an egg's radius
_SHIFTS = (-0.1, 0.0, 0.1)  # of the radius, in which the middle is looked for
# How much of a rim shows where there is no cup, and how far either scatters; and from where on a tray's
# cups show.
_NO_CUP, _SPREAD, _SHOWS, _CUPS_TO_LEARN_FROM = 0.32, 0.08, 0.42, 3
_MOST_FOR, _MOST_AGAINST = 2.0, 1.5


def rim_shows(rgb: ImageArray, place: ArrayLike, radius: float, *, others: ArrayLike) -> float:
    """How much of a round edge shows about a place, 0 to 1.

    Parameters
    ----------
    rgb
        The photo, uint8, shape (H, W, 3).
    place, radius
        The place, and how large an egg there would be, pixels.
    others
        Circles of eggs and lit cups, shape (N, 3): nothing inside them counts.
    """
    x, y = np.asarray(place, float)
    reach = _REACH * radius
    left, top = max(int(x - reach), 0), max(int(y - reach), 0)
    part = rgb[top : max(int(y + reach) + 2, top), left : max(int(x + reach) + 2, left)]
    if min(part.shape[:2]) < radius:
        return 0.0
    scale = min(1.0, _RADIUS / radius)
    small = part.astype(np.float32)
    if scale < 1.0:
        size = (max(1, round(part.shape[1] * scale)), max(1, round(part.shape[0] * scale)))
        small = cv2.resize(small, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    r = radius * scale
    light = cv2.GaussianBlur(np.log(small.max(axis=2) + _BLACK), (0, 0), 1.2)
    y_all, x_all = np.mgrid[: small.shape[0], : small.shape[1]]
    free = np.ones(small.shape[:2], np.float32)
    for ox, oy, other in np.asarray(others, float).reshape(-1, 3):
        u, v = (ox - left + 0.5) * scale - 0.5, (oy - top + 0.5) * scale - 0.5
        if abs(u - small.shape[1] / 2) < 4 * r and abs(v - small.shape[0] / 2) < 4 * r:
            free[np.hypot(x_all - u, y_all - v) <= 1.1 * other * scale] = 0
    angle = np.linspace(0, 2 * np.pi, _ANGLES, endpoint=False)[:, None]
    rings = np.arange(_SMALLEST * r - 6, _LARGEST * r + 6.5)
    middle = (x - left + 0.5) * scale - 0.5, (y - top + 0.5) * scale - 0.5
    best = 0.0
    for dx in _SHIFTS:
        for dy in _SHIFTS:
            u = (middle[0] + dx * r + rings * np.cos(angle)).astype(np.float32)
            v = (middle[1] + dy * r + rings * np.sin(angle)).astype(np.float32)
            values = cv2.remap(light, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            jump = _edges(values)
            seen = cv2.remap(free, u, v, cv2.INTER_NEAREST, borderValue=0.0)[:, 6:-6] > 0.5
            if not seen.any():
                continue
            count = seen.sum(axis=0)
            noise = max(float(np.median(np.abs(jump[seen]))), 0.01)
            total = np.where(seen, np.clip(jump / (2.5 * noise), -1, 1), 0.0).sum(axis=0)
            value = np.where(count >= 0.5 * _ANGLES, np.abs(total) / np.maximum(count, 1), 0.0)
            best = max(best, float(value.max(initial=0.0)))
    return best


def _edges(values: FloatArray) -> FloatArray:
    """Steps along the last axis over those to both sides: light that falls off evenly is no edge."""
    jump = values[:, 4:] - values[:, :-4]
    edges: FloatArray = jump[:, 4:-4] - 0.5 * (jump[:, :-8] + jump[:, 8:])
    return edges


def dark_cup_evidence(
    rgb: ImageArray, empty_px: FloatArray, radius: float, *, others: ArrayLike
) -> Callable[[FloatArray], float] | None:
    """A judge of whether there is a cup at a place, or ``None`` where the tray's cups do not show.

    How well this tray's cups show, the places tell that were taken for empty ones.

    Parameters
    ----------
    rgb, radius, others
        As in :func:`rim_shows`.
    empty_px
        Places taken for empty cups, shape (N, 2). Most of them must be so.

    Returns
    -------
    callable or None
        Takes a place, shape (2,), and gives the logarithm of how much likelier what shows there is with
        a cup than without.
    """
    shown = [rim_shows(rgb, place, radius, others=others) for place in empty_px]
    usual = float(np.percentile(shown, 60)) if len(shown) >= _CUPS_TO_LEARN_FROM else 0.0
    if usual < _SHOWS:
        return None

    def judge(place: FloatArray) -> float:
        value = rim_shows(rgb, place, radius, others=others)
        steep = (usual - _NO_CUP) / _SPREAD**2
        return float(np.clip(steep * (value - (usual + _NO_CUP) / 2), -_MOST_AGAINST, _MOST_FOR))

    return judge
