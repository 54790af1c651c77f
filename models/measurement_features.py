"""The measurements of one egg as a row of numbers, for a small model to weigh.

Veins, embryo and ring come from the reading; how the egg glows comes from its crop, in which nothing
but the egg is left. Whether an air cell shows is not among them: in the real photos the dead show no
sharp air-cell line and the living of late days do, so a model would learn that instead. Nor is
anything of the surroundings, nor the day.

A measurement that could not be made takes its neutral value, and a mark says so: one number the more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.reading import Reading

FloatArray = NDArray[np.float64]
GREY_FLOOR = 8.0  # grey levels added before a logarithm, about a phone's noise in the dark
EDGE_SHARE = 0.03  # of the crop's side: the rim of the silhouette is dimmer by itself


@dataclass(frozen=True)
class Feature:
    """One measurement's name and the value that stands in where it could not be made."""

    name: str
    neutral: float


FROM_READING: tuple[Feature, ...] = (
    Feature("vein length per area", 2.0),
    Feature("vein area", 0.03),
    Feature("vein branch points", 10.0),
    Feature("vein reach", 0.5),
    Feature("veins visible", 0.5),
    Feature("embryo visible", 0.5),
    Feature("embryo area", 0.1),
    Feature("embryo darkness", 0.3),
)
FROM_RING: tuple[str, ...] = ("ring confidence",)
FROM_GLOW: tuple[str, ...] = (
    "glow level", "glow of the brightest tenth", "redness", "greenness", "saturation", "unevenness",
    "dark share",
)  # fmt: skip
FEATURE_NAMES: tuple[str, ...] = (
    *(f.name for f in FROM_READING),
    *(f"no {f.name}" for f in FROM_READING),
    *FROM_RING,
    *FROM_GLOW,
)


def measurement_features(reading: Reading, crop: NDArray[np.uint8], inside: NDArray[np.bool_]) -> FloatArray:
    """The measurements in the order of :data:`FEATURE_NAMES`, none of them NaN.

    Parameters
    ----------
    reading
        What was measured on the egg.
    crop
        Its picture from :func:`models.egg_crop.egg_crop`, (S, S, 3).
    inside
        Which pixels of the crop are the egg, (S, S).
    """
    measured = _from_reading(reading)
    filled = [
        feature.neutral if value is None else value
        for feature, value in zip(FROM_READING, measured, strict=True)
    ]
    marks = [float(value is None) for value in measured]
    ring = 0.0 if reading.ring is None else reading.ring.confidence
    return np.array([*filled, *marks, ring, *_glow(crop, inside)], dtype=np.float64)


def _from_reading(reading: Reading) -> tuple[float | None, ...]:
    veins, embryo = reading.veins, reading.embryo
    values = (
        veins.length_per_area, veins.area_fraction, veins.branch_points, veins.reach_fraction, veins.visible,
        embryo.visible, embryo.area_fraction, embryo.darkness,
    )  # fmt: skip
    return tuple(None if v is None or not math.isfinite(v) else float(v) for v in values)


def glow_level(crop: NDArray[np.uint8], inside: NDArray[np.bool_]) -> float:
    """Grey level, 0 to 255, that the brightest tenth of an egg's crop exceeds in its brightest channel."""
    pixels = crop[inside]
    return float(np.percentile(pixels.max(axis=1), 90)) if len(pixels) else 0.0


def _glow(crop: NDArray[np.uint8], inside: NDArray[np.bool_]) -> tuple[float, ...]:
    """Brightness, colour and evenness of the light that comes through the egg."""
    reach = max(1, round(EDGE_SHARE * crop.shape[0]))
    kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    core = cv2.erode(inside.astype(np.uint8), kernel) > 0
    pixels = crop[core if core.any() else inside].astype(np.float64)
    if not len(pixels):
        return (0.0,) * len(FROM_GLOW)
    brightest, sums = pixels.max(axis=1), pixels.sum(axis=1) + 1
    low, middle, high = np.percentile(brightest, (10, 50, 90))
    return (
        float(np.log2(middle + GREY_FLOOR)),
        float(np.log2(high + GREY_FLOOR)),
        float(np.median(pixels[:, 0] / sums)),
        float(np.median(pixels[:, 1] / sums)),
        float(np.median(1 - pixels.min(axis=1) / (brightest + 1))),
        float(np.log2((high + GREY_FLOOR) / (low + GREY_FLOOR))),
        float(np.mean(brightest < 0.4 * high)),
    )
