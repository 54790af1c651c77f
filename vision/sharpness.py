"""How blurred the edges of a picture are, direction by direction.

A picture out of focus is soft in every direction, one that was shaken only along the shake. So the
spread of the blur is taken apart by the direction that edges face; an egg's outline has edges that face
every way.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

DIRECTIONS = 12
_HALF_WIDTH_DEG = 20.0
_PRESMOOTH = 0.7  # pixels; keeps single noisy pixels from being the sharpest edges
_AGAIN = (2.0, 6.0)  # further blurs; each says most where the blur looked for is about as large
_FAINTEST_SLOPE = 1.0  # a pixel, of 255 for white in linear light
# A lens and a shake blur light, not the grey levels of the file, in which a lit egg's edge on black
# looks half as wide.
_GAMMA = 2.2
_ABOVE_USUAL_SLOPE = 3.0  # an edge stands out of the region's usual slope (shading, noise) so many times
_REACH = 3  # a crest is the steepest place within so many pixels across the edge
_FEWEST = 12
_STRONG_PERCENTILE, _SHARP_PERCENTILE = 60, 25


@dataclass(frozen=True)
class Sharpness:
    """Spread (sigma, pixels) of the blur by the direction that edges face.

    Attributes
    ----------
    spreads_px
        Shape (12,): edges whose normal lies at 0, 15, ... 165 degrees; NaN where none stands out.
    """

    spreads_px: NDArray[np.float64]

    @property
    def least_px(self) -> float | None:
        """In the sharpest direction: what focus alone would leave."""
        return None if np.isnan(self.spreads_px).all() else float(np.nanmin(self.spreads_px))

    @property
    def most_px(self) -> float | None:
        """In the softest direction: along a shake."""
        return None if np.isnan(self.spreads_px).all() else float(np.nanmax(self.spreads_px))


def measure_sharpness(picture: NDArray[np.uint8], region: NDArray[np.bool_]) -> Sharpness:
    """Spread of the blur of the sharpest strong edges inside ``region``, in each direction.

    An ideal step blurred by ``s`` and once more by ``t`` loses slope by ``s / sqrt(s^2 + t^2)``,
    which gives ``s`` from the ratio of slopes before and after (Zhuo & Sim 2011, Pattern
    Recognition 44:1852). Among the edges of one direction the sharper quarter of the strongest counts:
    soft things like an embryo's shadow are no sign of blur.

    Parameters
    ----------
    picture
        (H, W, 3), ``uint8``.
    region
        (H, W): where edges are looked for.

    Returns
    -------
    Sharpness
        Blur by movement over ``d`` pixels counts as its standard deviation, ``d / sqrt(12)``.
    """
    light = (255 * (np.arange(256) / 255) ** _GAMMA).astype(np.float32)[picture]
    mean = cv2.transform(light, np.full((1, 3), 1 / 3, np.float32))
    grey = np.asarray(cv2.GaussianBlur(mean, (0, 0), _PRESMOOTH), np.float32)
    slope_x, slope_y = _slopes(grey)
    slope = np.hypot(slope_x, slope_y)
    spreads = np.full(DIRECTIONS, np.nan)
    if not region.any():
        return Sharpness(spreads)
    least = max(_FAINTEST_SLOPE, _ABOVE_USUAL_SLOPE * float(np.median(slope[region])))
    y, x = np.nonzero(region & (slope > least))
    steep = slope[y, x]
    normal_x, normal_y = slope_x[y, x] / steep, slope_y[y, x] / steep
    crest = np.ones(len(steep), bool)
    for step in (*range(-_REACH, 0), *range(1, _REACH + 1)):
        places = [y + step * normal_y, x + step * normal_x]
        crest &= steep >= map_coordinates(slope, places, order=1, mode="nearest")
    at = (y[crest], x[crest])
    steep, normal_x, normal_y = steep[crest], normal_x[crest], normal_y[crest]
    found = []
    for again in _AGAIN:
        after_x, after_y = _slopes(np.asarray(cv2.GaussianBlur(grey, (0, 0), again), np.float32))
        after = after_x[at] * normal_x + after_y[at] * normal_y
        ratio = np.maximum(steep / np.maximum(after, 1e-3), 1.001)
        found.append(np.sqrt(np.maximum(again**2 / (ratio**2 - 1) - _PRESMOOTH**2, 0)))
    spread = np.where(found[0] < 1.5 * _AGAIN[0], found[0], found[1])
    facing = np.degrees(np.arctan2(normal_y, normal_x))
    for i in range(DIRECTIONS):
        near = np.abs((facing - i * 180 / DIRECTIONS + 90) % 180 - 90) < _HALF_WIDTH_DEG
        if near.sum() < _FEWEST:
            continue
        strong = near & (steep >= np.percentile(steep[near], _STRONG_PERCENTILE))
        spreads[i] = np.percentile(spread[strong], _SHARP_PERCENTILE)
    return Sharpness(spreads)


def _slopes(grey: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Change along x and along y, a pixel."""
    along_x = cv2.Sobel(grey, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    along_y = cv2.Sobel(grey, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    return np.asarray(along_x, np.float32), np.asarray(along_y, np.float32)
