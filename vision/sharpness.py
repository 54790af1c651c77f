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
_FEWEST = 12
_STRONG_PERCENTILE, _SHARP_PERCENTILE = 60, 25
# A lens and a shake blur light, not the grey levels of the file, in which a lit egg's edge on black
# looks half as wide.
_GAMMA = 2.2


@dataclass(frozen=True)
class _Look:
    """One scale to look for edges at, in pixels.

    ``before`` keeps single noisy pixels from being the sharpest edges; ``again``, the further blur, says
    most where the blur looked for is about as large; a crest is the steepest place within ``reach``;
    ``faintest`` is a slope a pixel, of 255 for white in linear light; edges stand out of the region's
    usual slope (shading, noise) ``over_usual`` times.
    """

    before: float
    again: float
    reach: int
    faintest: float
    over_usual: float


_FINE = _Look(before=0.7, again=2.0, reach=3, faintest=1.0, over_usual=3.0)
_COARSE = _Look(before=2.5, again=6.0, reach=6, faintest=0.4, over_usual=1.5)
_FINE_UP_TO_PX = 3.0


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
        An even movement over ``d`` pixels counts as between ``d / sqrt(12)``, its standard deviation, and
        ``d / sqrt(2 pi)``, the Gaussian as steep.
    """
    if not region.any():
        return Sharpness(np.full(DIRECTIONS, np.nan))
    light = (255 * (np.arange(256) / 255) ** _GAMMA).astype(np.float32)[picture]
    grey = np.asarray(cv2.transform(light, np.full((1, 3), 1 / 3, np.float32)), np.float32)
    fine, coarse = _spreads(grey, region, _FINE), _spreads(grey, region, _COARSE)
    # Long shakes leave no edge that stands out at the fine scale.
    sees_more = (np.isnan(fine) | (fine > _FINE_UP_TO_PX)) & ~np.isnan(coarse)
    return Sharpness(np.where(sees_more, coarse, fine))


def _spreads(grey: NDArray[np.float32], region: NDArray[np.bool_], look: _Look) -> NDArray[np.float64]:
    """Spread of the blur by direction, seen at one scale."""
    smooth = np.asarray(cv2.GaussianBlur(grey, (0, 0), look.before), np.float32)
    slope_x, slope_y = _slopes(smooth)
    slope = np.hypot(slope_x, slope_y)
    least = max(look.faintest, look.over_usual * float(np.median(slope[region])))
    y, x = np.nonzero(region & (slope > least))
    steep = slope[y, x]
    normal_x, normal_y = slope_x[y, x] / steep, slope_y[y, x] / steep
    crest = np.ones(len(steep), bool)
    for step in (*range(-look.reach, 0), *range(1, look.reach + 1)):
        places = [y + step * normal_y, x + step * normal_x]
        crest &= steep >= map_coordinates(slope, places, order=1, mode="nearest")
    at = (y[crest], x[crest])
    steep, normal_x, normal_y = steep[crest], normal_x[crest], normal_y[crest]
    after_x, after_y = _slopes(np.asarray(cv2.GaussianBlur(smooth, (0, 0), look.again), np.float32))
    after = after_x[at] * normal_x + after_y[at] * normal_y
    ratio = np.maximum(steep / np.maximum(after, 1e-3), 1.001)
    spread = np.sqrt(np.maximum(look.again**2 / (ratio**2 - 1) - look.before**2, 0))
    facing = np.degrees(np.arctan2(normal_y, normal_x))
    spreads = np.full(DIRECTIONS, np.nan)
    for i in range(DIRECTIONS):
        near = np.abs((facing - i * 180 / DIRECTIONS + 90) % 180 - 90) < _HALF_WIDTH_DEG
        if near.sum() < _FEWEST:
            continue
        strong = near & (steep >= np.percentile(steep[near], _STRONG_PERCENTILE))
        spreads[i] = np.percentile(spread[strong], _SHARP_PERCENTILE)
    return spreads


def _slopes(grey: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Change along x and along y, a pixel."""
    along_x = cv2.Sobel(grey, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    along_y = cv2.Sobel(grey, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    return np.asarray(along_x, np.float32), np.asarray(along_y, np.float32)
