"""What a place in a picture shows of a vein: filter answers, each over the noise that is there.

One flattened logarithmic picture is made of the three channels, each weighted by how much blood
darkens it over its own local noise; oriented line filters of four widths look at it
(:mod:`vision.oriented_filters`). Each answer is divided by what *bright* lines show nearby: veins are
never bright, so this is what chance gives, and grain and a speckled shell raise the bar by themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.oriented_filters import (
    ORIENTATIONS,
    blur_inside,
    fill_outside,
    line_answers,
    support_along,
)

Float32 = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

# Widths of the filters (sigma) over the region's length: a candled egg's vessels are about 0.3 to
# 2 % of its length wide, and so are those of a fundus of its diameter.
WIDTHS = (0.0016, 0.0026, 0.0042, 0.0068)
SMALLEST_SIGMA_PX = 0.9
HIGHEST_SCORE = 8.0  # answer over noise: more is no surer
# How far along a line to look, and the smoothing across it, over the region's length.
NEAR = (0.022, 0.002)
FAR = (0.05, 0.005)
# How much blood darkens red, green and blue light, relative to green: haemoglobin absorbs green and
# blue some ten times as strongly as red (Prahl's tabulated spectra, from memory), but the broad
# channels of a camera see a third.
BLOOD = (0.3, 1.0, 0.85)
SHORTEST_WORK_PX, LONGEST_WORK_PX = 400.0, 720.0
MOST_ENLARGED = 2.0
LOG_OFFSET = 8.0  # grey levels: keeps the noise of black pixels from being blown up by the logarithm


def region_length(region: NDArray[np.bool_]) -> float:
    """Length of the ellipse with the region's second moments, pixels."""
    moments = cv2.moments(region.astype(np.uint8), binaryImage=True)
    if moments["m00"] == 0:
        return 0.0
    a, b, c = (moments[k] / moments["m00"] for k in ("mu20", "mu02", "mu11"))
    return 4 * math.sqrt(max((a + b) / 2 + math.hypot((a - b) / 2, c), 0.0))


def at_working_size(
    image_rgb: NDArray[np.uint8], region: NDArray[np.bool_]
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Shrink a large region, enlarge a small one (up to twice), so that filters fit its vessels."""
    length = region_length(region)
    zoom = 1.0
    if length > LONGEST_WORK_PX:
        zoom = LONGEST_WORK_PX / length
    elif 0 < length < SHORTEST_WORK_PX:
        zoom = min(SHORTEST_WORK_PX / length, MOST_ENLARGED)
    if zoom == 1:
        return image_rgb, region
    size = _scaled(region.shape, zoom)
    way = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
    picture = cv2.resize(image_rgb, size, interpolation=way).astype(np.uint8)
    return picture, cv2.resize(region.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0


@dataclass(frozen=True)
class Ground:
    """A picture made ready for the filters.

    Attributes
    ----------
    logs
        Logarithm of each channel, (H, W, 3), carried on beyond the region so that its rim is no edge.
    flat
        One flattened logarithm from all three, (H, W).
    core, inside
        Where the picture can be trusted, and the region, ``bool``, (H, W).
    length
        The region's length, pixels.
    """

    logs: Float32
    flat: Float32
    core: BoolArray
    inside: BoolArray
    length: float

    @property
    def weight(self) -> Float32:
        """1 where the picture can be trusted, 0 elsewhere."""
        return self.core.astype(np.float32)


def prepared(picture: NDArray[np.uint8], inside: NDArray[np.bool_]) -> Ground:
    """Make a picture ready; arguments as those of :func:`vision.veins.vein_probability`, from
    :func:`at_working_size`.
    """
    length = region_length(inside)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    core = cv2.erode(inside.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0
    if core.sum() < 0.3 * inside.sum():
        core = inside  # nothing but rim
    logs = fill_outside(np.log(picture.astype(np.float32) + LOG_OFFSET), core)
    flat = fill_outside(_best_ground(picture, logs, core.astype(np.float32), length), core)
    return Ground(logs, flat, core, inside, length)


def vein_features(ready: Ground) -> Float32:
    """What the mapping looks at: for each inside pixel, in reading order, a row of numbers."""
    inside, core, length, logs, ground = ready.inside, ready.core, ready.length, ready.logs, ready.flat
    shape, weight = inside.shape, ready.weight

    maps: list[Float32] = []
    near_size = _scaled(shape, 1 / max(2, round(length / 300)))
    far_size = _scaled(shape, 1 / max(4, round(length / 100)))
    lines = np.zeros((ORIENTATIONS, near_size[1], near_size[0]), np.float32)
    widest = max(WIDTHS[-1] * length, 2.5 * SMALLEST_SIGMA_PX)
    narrowest = max(WIDTHS[0] * length, SMALLEST_SIGMA_PX)
    noise = np.ones(shape, np.float32)
    for sigma in np.geomspace(narrowest, widest, len(WIDTHS)):
        factor = max(1, int(sigma / SMALLEST_SIGMA_PX))
        small, small_weight = (_fit(v, _scaled(shape, 1 / factor)) for v in (ground, weight))
        answers = line_answers(small, float(sigma) / factor)
        noise = _noise(answers.bright, small_weight, 0.07 * length / factor)
        maps += [_fit(part / noise, shape[::-1]) for part in (answers.even, answers.odd, answers.bright)]
        scale = small_weight / noise
        for k in range(ORIENTATIONS):
            score = np.minimum(answers.by_orientation[k] * scale, HIGHEST_SCORE)
            np.maximum(lines[k], _fit(score, near_size), out=lines[k])
    maps += [_fit(part, shape[::-1]) for part in _support(lines, length * near_size[0] / shape[1], NEAR)]
    coarse = np.stack([_fit(line, far_size) for line in lines])
    maps += [_fit(part, shape[::-1]) for part in _support(coarse, length * far_size[0] / shape[1], FAR)[:2]]
    for reach in (0.006, 0.015, 0.03):
        darker = blur_inside(ground, weight, reach * length) - ground
        spread = np.sqrt(blur_inside(darker * darker, weight, 0.1 * length)) + 0.003
        maps.append(np.asarray(darker / spread, dtype=np.float32))
    columns = np.stack([m[inside] for m in maps], axis=1)
    columns = np.sign(columns) * np.log1p(np.abs(columns))

    rest = []
    for channel in (0, 1):  # a vein is red: ink and hair darken red as much as green
        values = np.ascontiguousarray(logs[..., channel])
        fine = cv2.GaussianBlur(values, (0, 0), max(0.7, 0.002 * length))
        line = blur_inside(values, weight, 0.012 * length) - fine
        spread = np.sqrt(blur_inside(line * line, weight, 0.1 * length)) + 0.01
        rest.append(np.arcsinh(line / spread)[inside])
    to_rim = cv2.distanceTransform(np.pad(inside, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    rest.append(np.minimum(to_rim[inside] / (0.05 * length), 1))
    rest.append(_fit(np.log(noise / 0.01), shape[::-1])[inside])
    colour = float(np.clip(np.mean(logs[..., 0][core] - logs[..., 1][core]), -2, 2))
    whole = np.tile([colour, math.log(length / 400)], (len(columns), 1))
    return np.hstack([columns, np.stack(rest, axis=1), whole]).astype(np.float32)


def _support(lines: Float32, length: float, reach: tuple[float, float]) -> tuple[Float32, ...]:
    """:func:`support_along` with reach and width as shares of the region's length."""
    return support_along(lines, reach=reach[0] * length, width=max(0.6, reach[1] * length))


def _best_ground(picture: NDArray[np.uint8], logs: Float32, weight: Float32, length: float) -> Float32:
    """One flattened log picture from the three channels, each weighted by contrast over noise."""
    fine = max(0.8, 0.003 * length)
    total = np.zeros(weight.shape, np.float32)
    shares = np.zeros(weight.shape, np.float32)
    for channel, blood in enumerate(BLOOD):
        values = np.ascontiguousarray(logs[..., channel])
        grain = cv2.GaussianBlur(values, (0, 0), fine) - cv2.GaussianBlur(values, (0, 0), 2 * fine)
        power = np.minimum(grain * grain, 9 * float((grain * grain * weight).sum() / max(weight.sum(), 1.0)))
        level = picture[..., channel]
        ends = ((level >= 251) | (level <= 2)).astype(np.float32)
        clipped = blur_inside(ends, weight, max(0.8, 0.01 * length))
        spread = np.sqrt(np.maximum(blur_inside(power, weight, 0.08 * length), 0)) + 0.004 + 0.3 * clipped
        share = np.asarray(blood / spread**2 * np.clip(1 - clipped, 0.02, 1), dtype=np.float32)
        share = blur_inside(share, weight, 0.04 * length)
        total += share * (values - blur_inside(values, weight, 0.05 * length))
        shares += share
    return np.asarray(total / np.maximum(shares, 1e-6), dtype=np.float32)


def _noise(bright: Float32, weight: Float32, reach: float) -> Float32:
    """Local size of chance answers: r.m.s. of the bright lines', outliers capped, with a floor."""
    overall = math.sqrt(float((bright * bright * weight).sum() / max(float(weight.sum()), 1.0)))
    capped = np.minimum(bright, 3 * overall)
    local = np.sqrt(np.maximum(blur_inside(capped * capped, weight, reach), 0))
    return np.asarray(local + 0.3 * overall + 0.0015, dtype=np.float32)


def _scaled(shape: tuple[int, ...], zoom: float) -> tuple[int, int]:
    """Width and height of a picture of this shape, zoomed."""
    return max(1, round(shape[1] * zoom)), max(1, round(shape[0] * zoom))


def _fit(values: Float32, size: tuple[int, ...]) -> Float32:
    """The same picture at another width and height."""
    width, height = size
    if values.shape == (height, width):
        return values
    way = cv2.INTER_AREA if values.shape[1] > width else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(values, (width, height), interpolation=way), dtype=np.float32)
