"""Is the picture of one egg good enough to measure?

Each problem has a name in plain words that completes "the picture is ...", and a sentence that says
what to do about it. A picture is *usable* unless its measurements could not be trusted; a problem may be
named on a usable one.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.polygon_mask import filled_polygon
from vision.reading import Outline, Quality

ADVICE: dict[str, str] = {
    "blurred": "hold the phone still, a hand's breadth or two away, and tap on the egg to focus",
    "overexposed": "tap on the brightest part of the egg and slide the exposure down, or dim the lamp",
    "too dark": "press the lamp closer to the egg, darken the room, and tap on the egg to set the exposure",
    "not lit": "switch the lamp on and put it right against the shell, so that light comes through the egg",
    "cut off": "step back so that the whole egg is in the picture",
    "too small": "go closer, so that the egg is at least a quarter of the picture's height",
}

WORK_LENGTH_PX = 400
SMALLEST_EGG_PX = 80  # below, a vein is thinner than half a pixel
CUT_OFF_SHARE = 0.01  # of the silhouette beyond the picture's border
CUT_OFF_UNUSABLE = 0.15
BLURRED = 0.006  # spread of the blur, of egg length
BLURRED_UNUSABLE = 0.014
OVEREXPOSED = 0.12  # share of the egg without detail in red and green
OVEREXPOSED_UNUSABLE = 0.6
TOO_DARK = 80.0  # grey levels reached by the brightest tenth of the egg
TOO_DARK_UNUSABLE = 40.0
NOT_LIT = 15.0


@dataclass(frozen=True)
class QualityMeasures:
    """What the answer rests on.

    Attributes
    ----------
    length_px
        Egg length in the photo.
    outside_share
        Share of the silhouette that lies beyond the picture's border, 0 to 1.
    blur_fraction
        Spread (sigma) of the blur of the sharpest edges there are, in egg lengths; ``None`` where
        no edge stands out.
    clipped_share
        Share of the egg where red and green are both at the top of their range.
    bright_level
        Level that the brightest tenth of the egg exceeds, in its brightest channel, 0 to 255.
    """

    length_px: float
    outside_share: float
    blur_fraction: float | None
    clipped_share: float
    bright_level: float


def judge_quality(image_rgb: NDArray[np.uint8], outline: Outline) -> Quality:
    """Name what is wrong with the picture of one egg.

    Parameters
    ----------
    image_rgb
        The photo, (H, W, 3), ``uint8``.
    outline
        The egg's outline in the photo's pixels; it may reach beyond the photo.

    Returns
    -------
    Quality
        Problems in the order of :data:`ADVICE`.
    """
    return answer(measure_quality(image_rgb, outline))


def answer(measures: QualityMeasures) -> Quality:
    """The problems that measures amount to, and whether the picture is still usable."""
    problems: list[str] = []
    usable = True
    if measures.blur_fraction is not None and measures.blur_fraction > BLURRED:
        problems.append("blurred")
        usable &= measures.blur_fraction <= BLURRED_UNUSABLE
    if measures.clipped_share > OVEREXPOSED:
        problems.append("overexposed")
        usable &= measures.clipped_share <= OVEREXPOSED_UNUSABLE
    if measures.bright_level < NOT_LIT:
        problems.append("not lit")
        usable = False
    elif measures.bright_level < TOO_DARK:
        problems.append("too dark")
        usable &= measures.bright_level >= TOO_DARK_UNUSABLE
    if measures.outside_share > CUT_OFF_SHARE:
        problems.append("cut off")
        usable &= measures.outside_share <= CUT_OFF_UNUSABLE
    if measures.length_px < SMALLEST_EGG_PX:
        problems.append("too small")
        usable = False
    order = list(ADVICE)
    return Quality(bool(usable), tuple(sorted(problems, key=order.index)))


def measure_quality(image_rgb: NDArray[np.uint8], outline: Outline) -> QualityMeasures:
    """Measure sharpness and exposure of one egg; arguments as those of :func:`judge_quality`."""
    if image_rgb.dtype != np.uint8 or image_rgb.ndim != 3 or image_rgb.shape[2] != 3:
        raise ValueError(
            f"image_rgb must be uint8 of shape (H, W, 3), not {image_rgb.dtype} of shape {image_rgb.shape}"
        )
    points = np.asarray(outline.polygon_px, dtype=np.float64)
    height, width = image_rgb.shape[:2]
    outside = _outside_share(points, width, height)
    margin = 0.06 * outline.length_px
    left, top = (int(max(0, v)) for v in np.floor(points.min(0) - margin))
    right, bottom = (int(v) for v in np.ceil(points.max(0) + margin) + 1)
    window = image_rgb[top : min(bottom, height), left : min(right, width)]
    if window.size == 0:
        return QualityMeasures(outline.length_px, outside, None, 0.0, 0.0)
    shrink = min(1.0, WORK_LENGTH_PX / outline.length_px)
    if shrink < 1:
        size = (max(1, round(window.shape[1] * shrink)), max(1, round(window.shape[0] * shrink)))
        window = cv2.resize(window, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    inside = filled_polygon(window.shape, (points - (left, top)) * shrink)
    if not inside.any():
        return QualityMeasures(outline.length_px, outside, None, 0.0, 0.0)
    length = outline.length_px * shrink
    brightest = window.max(axis=2)[inside]
    clipped = (window[..., :2].min(axis=2) >= 248)[inside]
    kernel = np.ones((3, 3), np.uint8)
    reach = cv2.dilate(inside.astype(np.uint8), kernel, iterations=max(1, round(0.04 * length))) > 0
    blur = blur_spread(window, reach)
    return QualityMeasures(
        length_px=outline.length_px,
        outside_share=outside,
        blur_fraction=None if blur is None else blur / length,
        clipped_share=float(clipped.mean()),
        bright_level=float(np.percentile(brightest, 90)),
    )


def blur_spread(picture: NDArray[np.uint8], region: NDArray[np.bool_]) -> float | None:
    """Spread (sigma, pixels) of the blur of the sharpest strong edges inside ``region``.

    An ideal step blurred by ``s`` and once more by ``t`` loses slope by ``s / sqrt(s^2 + t^2)``,
    which gives ``s`` from the ratio of slopes before and after (Zhuo & Sim 2011, Pattern
    Recognition 44:1852). The horizontal and the vertical slope are taken apart and the sharper
    quarter of the strongest edges counts, soft things like an embryo's shadow being no sign of blur.

    Returns
    -------
    float or None
        ``None`` where no edge stands out of the noise.
    """
    grey = cv2.GaussianBlur(picture.astype(np.float32).mean(axis=2), (0, 0), _PRESMOOTH)
    spread = None
    for again in (2.0, 6.0):  # the ratio says most where the second blur is about as large as the first
        found = _spread_from_ratio(grey, region, again)
        if found is None:
            break
        spread = float(np.sqrt(max(found**2 - _PRESMOOTH**2, 0.0)))
        if spread < 1.5 * again:
            break
    return spread


_PRESMOOTH = 0.7  # pixels; keeps single noisy pixels from being the sharpest edges


def _spread_from_ratio(grey: NDArray[np.float32], region: NDArray[np.bool_], again: float) -> float | None:
    """Blur of the sharper of the horizontal and vertical edges, from one further blur of ``again``."""
    twice = cv2.GaussianBlur(grey, (0, 0), again)
    spreads = []
    for dx, dy in ((1, 0), (0, 1)):
        slope = np.abs(cv2.Sobel(grey, cv2.CV_32F, dx, dy, ksize=3, scale=1 / 8))
        after = np.abs(cv2.Sobel(twice, cv2.CV_32F, dx, dy, ksize=3, scale=1 / 8))
        line = np.ones((1, 7) if dx else (7, 1), np.uint8)
        crest = (slope >= cv2.dilate(slope, line)) & region & (slope > 1.5)
        if crest.sum() < 20:
            continue
        strong = crest & (slope >= np.percentile(slope[crest], 60))
        ratio = np.maximum(slope[strong] / np.maximum(after[strong], 1e-6), 1.001)
        spreads.append(float(np.percentile(again / np.sqrt(ratio**2 - 1), 25)))
    return min(spreads) if spreads else None


def _outside_share(points: NDArray[np.floating], width: int, height: int) -> float:
    whole = abs(cv2.contourArea(points.astype(np.float32)))
    if whole <= 0:
        return 0.0
    frame = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float32)
    common, _ = cv2.intersectConvexConvex(cv2.convexHull(points.astype(np.float32)), frame)
    hull = cv2.contourArea(cv2.convexHull(points.astype(np.float32)))
    return float(np.clip(1 - common / hull, 0, 1))
