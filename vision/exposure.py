"""How much light a picture of an egg got, whether it came through the shell, and glare on the shell."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

BoolArray = NDArray[np.bool_]

_FULL = 248  # grey levels from which a channel shows no detail
_WASHED_LEVEL = 180  # mean of the channels from which a lit shell has lost its colour
_GLARE_OVER_SHELL, _GLARE_LEVEL = 60, 130  # grey levels of the least channel: glare is white
_GLARE_LARGEST, _GLARE_FROM_RIM = 0.22, 0.05  # egg lengths
_GLARE_WORK_LENGTH_PX = 160
_FAINT = 4.0  # grey levels added before logarithms are taken


@dataclass(frozen=True)
class Exposure:
    """Levels are grey levels, 0 to 255, of a pixel's brightest channel.

    Attributes
    ----------
    clipped_share
        Share of the egg where red and green are both at the top of their range.
    washed_share
        Share of the egg that is so bright in all channels together that colour and detail fade.
    bright_level, peak_level
        What the brightest tenth and hundredth of the egg exceed, the rim left out.
    colour
        Saturation of the egg's bright quarter, 0 grey to 1: light through a shell is coloured.
    over_surroundings
        ``peak_level`` over the level of the brightest twentieth of what lies round the egg.
    hue_range, light_range
        How far the ratio of red to green, and the brightness, range over the egg (3rd to 97th
        percentile of the logarithm): light through an egg changes both on its way, so they differ from
        place to place; light from the room takes on the one colour of the shell.
    """

    clipped_share: float
    washed_share: float
    bright_level: float
    peak_level: float
    colour: float
    over_surroundings: float
    hue_range: float = 0.0
    light_range: float = 0.0


NO_LIGHT = Exposure(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def measure_exposure(window: NDArray[np.uint8], egg: BoolArray, *, length_px: float) -> Exposure:
    """Measure the light of one egg.

    Parameters
    ----------
    window
        The egg with something of what lies round it, (H, W, 3).
    egg
        Its silhouette in the window, (H, W).
    length_px
        Its length there.
    """
    core = _shrunk(egg, 0.03 * length_px)
    if not core.any():
        core = egg
    if not core.any():
        return NO_LIGHT
    red, green, blue = cv2.split(window)
    most, least = cv2.max(cv2.max(red, green), blue), cv2.min(cv2.min(red, green), blue)
    brightest = most[core]
    quarter, bright, peak = np.percentile(brightest, (75, 90, 99))
    upper = core & (most >= quarter)
    top = most[upper].astype(np.float32)
    around = most[~_grown(egg, 0.04 * length_px)]
    outside = float(np.percentile(around, 95)) if len(around) else 0.0
    mean = cv2.transform(window, np.full((1, 3), 1 / 3, np.float32))
    hue_range, light_range = _ranges(window, egg, length_px)
    return Exposure(
        clipped_share=float((cv2.min(red, green)[egg] >= _FULL).mean()),
        washed_share=float((mean[egg] > _WASHED_LEVEL).mean()),
        bright_level=float(bright),
        peak_level=float(peak),
        colour=float(np.median((top - least[upper]) / np.maximum(top, 1))),
        over_surroundings=float(peak) / max(outside, 1.0),
        hue_range=hue_range,
        light_range=light_range,
    )


def _ranges(window: NDArray[np.uint8], egg: BoolArray, length_px: float) -> tuple[float, float]:
    """Range of hue and of brightness over the egg, away from its edge; speckles and noise smoothed."""
    inner = _shrunk(egg, 0.07 * length_px)
    if not inner.any():
        return 0.0, 0.0
    smooth = cv2.GaussianBlur(window.astype(np.float32), (0, 0), max(0.02 * length_px, 0.5))
    logs = np.log(smooth[inner] + _FAINT)
    hue = np.percentile(logs[:, 0] - logs[:, 1], (3, 97))
    light = np.percentile(logs.mean(axis=1), (3, 97))
    return float(np.ptp(hue)), float(np.ptp(light))


def glare_share(window: NDArray[np.uint8], egg: BoolArray, *, length_px: float) -> float:
    """Share of the egg under its largest spot of glare, 0 where there is none.

    Glare is the image of a light in the shiny shell: white, bounded, and away from the outline, where
    a lamp may touch the egg. Arguments as for :func:`measure_exposure`.
    """
    shrink = min(1.0, _GLARE_WORK_LENGTH_PX / length_px)
    size = (max(1, round(egg.shape[1] * shrink)), max(1, round(egg.shape[0] * shrink)))
    window = cv2.resize(window, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    egg = cv2.resize(egg.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    length_px *= shrink
    if not egg.any():
        return 0.0
    red, green, blue = cv2.split(cv2.GaussianBlur(window, (0, 0), 0.6))
    white = np.asarray(cv2.min(cv2.min(red, green), blue), np.uint8)
    across = int(_GLARE_LARGEST * length_px) | 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    shell = cv2.morphologyEx(white, cv2.MORPH_OPEN, disc, borderType=cv2.BORDER_REPLICATE)
    spots = ((white.astype(np.int16) - shell > _GLARE_OVER_SHELL) & egg).astype(np.uint8)
    core = _shrunk(egg, _GLARE_FROM_RIM * length_px)
    count, labels = cv2.connectedComponents(spots)
    largest = 0
    for label in range(1, count):
        spot = labels == label
        area = int(spot.sum())
        if area > largest and white[spot].max() >= _GLARE_LEVEL and (spot & core).sum() >= 0.9 * area:
            largest = area
    return largest / int(egg.sum())


def _shrunk(mask: BoolArray, by_px: float) -> BoolArray:
    padded = np.pad(mask, 1).astype(np.uint8)
    inner = cv2.erode(padded, np.ones((3, 3), np.uint8), iterations=max(1, round(by_px)))
    return np.asarray(inner[1:-1, 1:-1] > 0)


def _grown(mask: BoolArray, by_px: float) -> BoolArray:
    grown = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=max(1, round(by_px)))
    return np.asarray(grown > 0)
