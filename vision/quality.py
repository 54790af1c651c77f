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

from vision.egg_surroundings import NOTHING_HIDDEN, SURE_STEP, Hidden, hidden_stretches, lit_by_two, unroll
from vision.exposure import NO_LIGHT, Exposure, glare_share, measure_exposure
from vision.polygon_mask import filled_polygon
from vision.reading import Outline, Quality, View
from vision.sharpness import measure_sharpness

BLURRED, OVEREXPOSED, TOO_DARK, NOT_LIT = "blurred", "overexposed", "too dark", "not lit"
TWO_LIGHTS, GLARE, HIDDEN = "lit by two lights", "spoilt by glare", "partly hidden"
CUT_OFF, TOO_SMALL = "cut off", "too small"

ADVICE: dict[str, str] = {
    BLURRED: "hold the phone still, a hand's breadth or two away, and tap on the egg to focus",
    OVEREXPOSED: "tap on the brightest part of the egg and slide the exposure down, or dim the lamp",
    TOO_DARK: "press the lamp closer to the egg, darken the room, and tap on the egg to set the exposure",
    NOT_LIT: "switch the lamp on and put it right against the shell, so that light comes through the egg; "
    "darken the room",
    TWO_LIGHTS: "use one lamp only, at one end: light from the other end washes out the air cell's line",
    GLARE: "switch off the flash and lights in the room, or turn the egg until no light mirrors in the shell",
    HIDDEN: "take fingers and whatever else is in front of the egg out of the picture",
    CUT_OFF: "step back so that the whole egg is in the picture",
    TOO_SMALL: "go closer, so that the egg is at least a quarter of the picture's height",
}

# With these, measurements may stand, but they are no ground for a decision that nobody looks at.
DOUBTFUL = frozenset(ADVICE) - {TWO_LIGHTS}

WORK_LENGTH_PX = 400
AROUND = 0.35  # egg lengths looked at beyond the outline
SMALLEST_EGG_PX = 80  # below, a vein is thinner than half a pixel
CUT_OFF_FROM, CUT_OFF_UNUSABLE = 0.01, 0.15  # share of the silhouette beyond the picture's border
# Spread of the blur, of egg length. Blurred by 0.010, depths of air cells are off by 0.02 of the length on
# average and veins begin to be lost; a shake leaves what it runs along.
BLURRED_FROM, BLURRED_UNUSABLE, SHAKEN_UNUSABLE = 0.0062, 0.010, 0.015
SHARPEST_PX = 1.5  # a picture's own pixels blur so much: a small egg is small, not blurred
CLIPPED_FROM, CLIPPED_UNUSABLE = 0.12, 0.35  # share of the egg without detail in red and green
WASHED_FROM = 0.42
TOO_DARK_FROM, TOO_DARK_UNUSABLE = 80.0, 40.0  # grey levels of the brightest tenth
NOT_LIT_LEVEL = 15.0
NOT_LIT_OVER_SURROUNDINGS = 0.87
# Room light on a shell: without colour, nowhere bright, and little brighter than what lies round it.
ROOM_LIGHT = ((0.55, 185.0, 3.0), (0.35, 215.0, 4.0))
# All over the shell the same hue and much the same brightness, nowhere burnt out.
ONE_HUE, ONE_BRIGHTNESS, BURNT_OUT = 0.09, 0.35, 235.0
GLARE_FROM = 0.003  # share of the egg
HIDDEN_FROM, HIDDEN_UNUSABLE = SURE_STEP, 0.12  # step of colour (logarithm); share of the outline


@dataclass(frozen=True)
class QualityMeasures:
    """What the answer rests on.

    Attributes
    ----------
    length_px
        Egg length in the photo.
    outside_share
        Share of the silhouette that lies beyond the picture's border, 0 to 1.
    blur_fraction, focus_fraction
        Spread (sigma) of the blur of the sharpest edges there are, in egg lengths, in the softest
        direction and in the sharpest; ``None`` where no edge stands out.
    pixel_fraction
        A pixel of the photo, as it was looked at, in egg lengths.
    exposure
        See :class:`vision.exposure.Exposure`.
    glare_share
        Share of the egg under a spot of glare.
    two_lights
        Two lamps touch the egg.
    hidden
        Stretches of the outline that something hides.
    """

    length_px: float
    outside_share: float
    blur_fraction: float | None = None
    focus_fraction: float | None = None
    pixel_fraction: float = 0.0
    exposure: Exposure = NO_LIGHT
    glare_share: float = 0.0
    two_lights: bool = False
    hidden: Hidden = NOTHING_HIDDEN


def judge_quality(image_rgb: NDArray[np.uint8], outline: Outline, *, view: View = "side") -> Quality:
    """Name what is wrong with the picture of one egg.

    Parameters
    ----------
    image_rgb
        The photo, (H, W, 3), ``uint8``.
    outline
        The egg's outline in the photo's pixels; it may reach beyond the photo.
    view
        In end view neighbours and empty cups surround the egg, so what is seen round it is no sign of
        a lamp that is off, of a second one or of a hand.

    Returns
    -------
    Quality
        Problems in the order of :data:`ADVICE`.
    """
    return answer(measure_quality(image_rgb, outline), view=view)


def answer(measures: QualityMeasures, *, view: View = "side") -> Quality:
    """The problems that measures amount to, and whether the picture is still usable."""
    light = measures.exposure
    found: dict[str, bool] = {}  # problem -> still usable
    if measures.blur_fraction is not None:
        sharp_enough = max(BLURRED_FROM, SHARPEST_PX * measures.pixel_fraction)
        if measures.blur_fraction > sharp_enough:
            one_way = (measures.focus_fraction or 0.0) <= sharp_enough
            limit = SHAKEN_UNUSABLE if one_way else BLURRED_UNUSABLE
            found[BLURRED] = measures.blur_fraction <= max(limit, 1.6 * sharp_enough)
    if light.clipped_share > CLIPPED_FROM or light.washed_share > WASHED_FROM:
        found[OVEREXPOSED] = light.clipped_share <= CLIPPED_UNUSABLE
    if light.bright_level < NOT_LIT_LEVEL or (view == "side" and _room_light_only(light)):
        found[NOT_LIT] = False
    elif light.bright_level < TOO_DARK_FROM:
        found[TOO_DARK] = light.bright_level >= TOO_DARK_UNUSABLE
    if measures.glare_share > GLARE_FROM:
        found[GLARE] = True
    if view == "side" and NOT_LIT not in found:
        if measures.two_lights:
            found[TWO_LIGHTS] = True
        if measures.hidden.step > HIDDEN_FROM:
            found[HIDDEN] = measures.hidden.share <= HIDDEN_UNUSABLE
    if measures.outside_share > CUT_OFF_FROM:
        found[CUT_OFF] = measures.outside_share <= CUT_OFF_UNUSABLE
    if measures.length_px < SMALLEST_EGG_PX:
        found[TOO_SMALL] = False
    return Quality(all(found.values()), tuple(sorted(found, key=list(ADVICE).index)))


def _room_light_only(light: Exposure) -> bool:
    """Light from the room on a shell that none comes through."""
    if light.over_surroundings < NOT_LIT_OVER_SURROUNDINGS:
        return True
    if light.hue_range < ONE_HUE and light.light_range < ONE_BRIGHTNESS and light.peak_level < BURNT_OUT:
        return True
    return any(
        light.colour < colour and light.peak_level < level and light.over_surroundings < over
        for colour, level, over in ROOM_LIGHT
    )


def measure_quality(image_rgb: NDArray[np.uint8], outline: Outline) -> QualityMeasures:
    """Measure sharpness, light and surroundings of one egg; arguments as for :func:`judge_quality`."""
    if image_rgb.dtype != np.uint8 or image_rgb.ndim != 3 or image_rgb.shape[2] != 3:
        raise ValueError(
            f"image_rgb must be uint8 of shape (H, W, 3), not {image_rgb.dtype} of shape {image_rgb.shape}"
        )
    points = np.asarray(outline.polygon_px, dtype=np.float64)
    height, width = image_rgb.shape[:2]
    outside = _outside_share(points, width, height)
    margin = AROUND * outline.length_px
    left, top = (int(max(0, v)) for v in np.floor(points.min(0) - margin))
    right, bottom = (int(v) for v in np.ceil(points.max(0) + margin) + 1)
    window = image_rgb[top : max(min(bottom, height), 0), left : max(min(right, width), 0)]
    if window.size == 0:
        return QualityMeasures(outline.length_px, outside)
    shrink = min(1.0, WORK_LENGTH_PX / outline.length_px)
    if shrink < 1:
        size = (max(1, round(window.shape[1] * shrink)), max(1, round(window.shape[0] * shrink)))
        window = cv2.resize(window, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    polygon = (points - (left, top)) * shrink
    egg = filled_polygon(window.shape, polygon)
    if not egg.any():
        return QualityMeasures(outline.length_px, outside)
    length = outline.length_px * shrink
    kernel = np.ones((3, 3), np.uint8)
    reach = cv2.dilate(egg.astype(np.uint8), kernel, iterations=max(1, round(0.04 * length))) > 0
    sharpness = measure_sharpness(window, reach)
    unrolled = unroll(window, polygon)
    return QualityMeasures(
        length_px=outline.length_px,
        outside_share=outside,
        blur_fraction=None if sharpness.most_px is None else sharpness.most_px / length,
        focus_fraction=None if sharpness.least_px is None else sharpness.least_px / length,
        pixel_fraction=1 / length,
        exposure=measure_exposure(window, egg, length_px=length),
        glare_share=glare_share(window, egg, length_px=length),
        two_lights=lit_by_two(unrolled),
        hidden=hidden_stretches(unrolled),
    )


def _outside_share(points: NDArray[np.floating], width: int, height: int) -> float:
    whole = abs(cv2.contourArea(points.astype(np.float32)))
    if whole <= 0:
        return 0.0
    frame = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float32)
    common, _ = cv2.intersectConvexConvex(cv2.convexHull(points.astype(np.float32)), frame)
    hull = cv2.contourArea(cv2.convexHull(points.astype(np.float32)))
    return float(np.clip(1 - common / hull, 0, 1))
