"""The embryo's shadow: the soft dark mass in a lit egg.

Two shapes of darkness are looked for, at one twohundredth of the egg's length a pixel:

* a **spot**: darker than its surroundings over 4 to 30 % of the egg's length (an embryo of the first
  half of incubation, or a dead one); its area, within the half-depth line, is good to a factor of two;
* a **dark part**: more than :data:`DARK_PART` of what is seen is much darker, in red light too, than the
  brightest part (an embryo that fills most of the egg; the yolk's shadow darkens green, hardly red).
  Its area is then that of all that does not glow, a large share of the silhouette.

Whether there is an embryo at all is answered by a logistic regression on ten contrasts, fitted on real
photos by ``models/training/fit_contents_answer.py``; between no and yes it is "cannot tell".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.fitted_answer import fitted_answer
from vision.oriented_filters import blur_inside, fill_outside
from vision.reading import Embryo, Outline

Float32 = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

WORK_LENGTH_PX = 200.0
SPOT_SIGMAS_PX = (4.0, 5.5, 8.0, 12.0, 18.0, 27.0)
WIDTH_PRICE = 0.35  # chosen on simulated eggs of days 4 to 13: centres and areas together
CONTRAST_SIGMAS_PX = (3.0, 5.0, 8.0, 12.0, 18.0)
RIM_PX = 9  # the limb darkens by itself; nothing is measured in it
DARK_BY = 0.6  # natural logarithm of grey level, red light: nearly two times darker
DARK_PART = 0.25
GAMMA = 2.2  # photos are coded so: grey levels' logarithms times this are light's
SMALLEST_AREA = 0.001
MIN_SEEN_PX = 1500

NOT_ENOUGH_SEEN = "too little of the egg's inside is seen to look for an embryo"
CANNOT_TELL = "whether there is an embryo's shadow cannot be told here"


@dataclass(frozen=True)
class _Seen:
    """The egg turned into logarithms at the working size."""

    logs: Float32  # (H, W, 3)
    core: BoolArray
    scale: float  # working pixels per picture pixel


def measure_embryo(
    image_rgb: NDArray[np.uint8], region: NDArray[np.bool_], *, outline: Outline
) -> tuple[Embryo, str | None]:
    """Find the embryo's shadow.

    Parameters
    ----------
    image_rgb
        (H, W, 3), ``uint8``.
    region
        (H, W), ``bool``: the egg's contents, without air cell.
    outline
        The egg's outline in the same pixels.

    Returns
    -------
    Embryo
        ``area_fraction`` is of the whole silhouette, ``centre_px`` the middle of the shadow,
        ``darkness`` the share of light missing in its darkest half, against what lies around it; all
        ``None`` where no embryo is seen.
    str or None
        Why it could not be told, where ``visible`` is ``None``.
    """
    seen = _working_view(image_rgb, region, outline.length_px)
    if seen is None:
        return Embryo(visible=None, area_fraction=None, centre_px=None), NOT_ENOUGH_SEEN
    visible = fitted_answer("embryo").told(embryo_probability(_contrasts(seen)))
    if visible is False:
        return Embryo(visible=False, area_fraction=None, centre_px=None), None
    shadow, around = _shadow(seen)
    silhouette = abs(float(cv2.contourArea(np.asarray(outline.polygon_px, np.float32)))) * seen.scale**2
    area = float(shadow.sum()) / max(silhouette, 1.0)
    if area < SMALLEST_AREA or visible is None:
        return Embryo(visible=None, area_fraction=None, centre_px=None), CANNOT_TELL
    y, x = np.nonzero(shadow)
    centre = ((float(x.mean()) + 0.5) / seen.scale - 0.5, (float(y.mean()) + 0.5) / seen.scale - 0.5)
    levels = _grey(seen)[shadow]
    missing = GAMMA * (around - float(levels[levels <= np.median(levels)].mean()))
    darkness = 1 - math.exp(-max(missing, 0.0))
    return Embryo(visible=True, area_fraction=min(area, 1.0), centre_px=centre, darkness=darkness), None


def embryo_contrasts(
    image_rgb: NDArray[np.uint8], region: NDArray[np.bool_], *, length_px: float
) -> NDArray[np.float64] | None:
    """The contrasts the answer rests on (see :func:`embryo_probability`); ``None`` if too little is seen."""
    seen = _working_view(image_rgb, region, length_px)
    return None if seen is None else _contrasts(seen)


def embryo_probability(contrasts: NDArray[np.float64]) -> float:
    """Probability that the eye sees an embryo's shadow, from :func:`embryo_contrasts`."""
    return fitted_answer("embryo").probability(contrasts)


def _working_view(image_rgb: NDArray[np.uint8], region: NDArray[np.bool_], length_px: float) -> _Seen | None:
    if not region.any() or length_px <= 0:
        return None
    scale = WORK_LENGTH_PX / length_px
    h, w = region.shape
    size = (max(1, round(w * scale)), max(1, round(h * scale)))
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    picture = cv2.resize(image_rgb, size, interpolation=way)
    inside = cv2.resize(region.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * RIM_PX + 1, 2 * RIM_PX + 1))
    blown = cv2.dilate((picture.min(axis=2) > 235).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    core = (cv2.erode(inside, disc, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0) & ~blown
    if core.sum() < MIN_SEEN_PX:
        return None
    weight = inside.astype(np.float32)
    logs = np.stack(
        [blur_inside(np.log(picture[..., c].astype(np.float32) + 8), weight, 2.0) for c in range(3)], axis=-1
    )
    return _Seen(fill_outside(logs, core), core, scale)


def _spot(values: Float32, sigma: float) -> Float32:
    """How much darker each place is than a ring around it, for a spot of this spread."""
    wide = cv2.GaussianBlur(values, (0, 0), 1.8 * sigma)
    return np.asarray(wide - cv2.GaussianBlur(values, (0, 0), sigma), dtype=np.float32)


def _contrasts(seen: _Seen) -> NDArray[np.float64]:
    """Logarithms of: spots in green by size, spots in red, red's depth and dark share, colour shift."""
    red, green = (np.ascontiguousarray(seen.logs[..., c]) for c in (0, 1))
    inner = cv2.erode(seen.core.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=6) > 0
    look = inner if inner.any() else seen.core
    found = [float(_spot(green, s)[look].max()) for s in CONTRAST_SIGMAS_PX]
    found += [float(_spot(red, s)[look].max()) for s in (5.0, 12.0)]
    levels = red[seen.core]
    bright = float(np.percentile(levels, 95))
    found += [bright - float(np.percentile(levels, 2)), float((levels < bright - DARK_BY).mean())]
    grey = _grey(seen)[seen.core]
    ratio = (red - green)[seen.core]
    darkest, lightest = grey < np.percentile(grey, 15), grey > np.percentile(grey, 70)
    shift = float(ratio[darkest].mean() - ratio[lightest].mean()) if darkest.any() and lightest.any() else 0.0
    return np.append(np.log(np.maximum(np.array(found), 0) + 0.02), shift)


def _grey(seen: _Seen) -> Float32:
    """Logarithm of red and green light together."""
    return np.asarray(0.4 * seen.logs[..., 0] + 0.6 * seen.logs[..., 1], dtype=np.float32)


def _shadow(seen: _Seen) -> tuple[BoolArray, float]:
    """The pixels of the shadow in the working picture, and the level (as :func:`_grey`) around them."""
    red = seen.logs[..., 0]
    bright = float(np.percentile(red[seen.core], 95))
    dark = (red < bright - DARK_BY) & seen.core
    grey = _grey(seen)
    if dark.sum() >= DARK_PART * seen.core.sum():
        lit = seen.core & ~dark
        return _largest(dark), float(np.median(grey[lit if lit.any() else seen.core]))
    inner = cv2.erode(seen.core.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=6) > 0
    look = inner if inner.any() else seen.core
    found = _darkest_spot(grey, look)
    if found is None:
        return np.zeros_like(seen.core), 0.0
    y, x, sigma = found
    # Half way down from the level of a ring around it, as far as that hangs together.
    yy, xx = np.mgrid[: grey.shape[0], : grey.shape[1]]
    distance = np.hypot(xx - x, yy - y) / sigma
    ring = (distance > 2.4) & (distance < 3.2) & seen.core
    around = float(np.median(grey[ring])) if ring.sum() >= 20 else float(np.median(grey[seen.core]))
    near = distance < 3
    deep = (grey < (around + float(grey[y, x])) / 2) & near & seen.core
    labels = cv2.connectedComponents(deep.astype(np.uint8))[1]
    hanging: BoolArray = (labels == labels[y, x]) & deep
    return hanging, around


def _darkest_spot(grey: Float32, look: BoolArray) -> tuple[int, int, float] | None:
    """Row, column and spread of the spot that stands out most.

    Shading that only grows toward the rim of
    what is looked at is none. Wider spots must be darker: light falls off smoothly over an egg.
    """
    best: tuple[float, int, int, float] | None = None
    whole = cv2.erode(look.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    for sigma in SPOT_SIGMAS_PX:
        answer = np.where(look, _spot(grey, sigma), -np.inf).astype(np.float32)
        peaks = (answer >= cv2.dilate(answer, np.ones((5, 5), np.uint8))) & whole
        if not peaks.any():
            continue
        y, x = np.unravel_index(int(np.where(peaks, answer, -np.inf).argmax()), grey.shape)
        merit = float(answer[y, x]) * sigma**-WIDTH_PRICE
        if best is None or merit > best[0]:
            best = merit, int(y), int(x), sigma
    return best[1:] if best is not None else None


def _largest(mask: BoolArray) -> BoolArray:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    if count < 2:
        return mask
    return np.asarray(labels == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax()))
