"""What a place in a picture shows of a vein: filter answers, each over the noise that is there.

One flattened logarithmic picture is made of the three channels, each weighted by how much blood
darkens it over its own local noise; oriented line filters of four widths look at it
(:mod:`vision.oriented_filters`). Each answer is divided by what *bright* lines show nearby: veins are
never bright, so this is what chance gives, and grain and a speckled shell raise the bar by themselves.
"""

from __future__ import annotations

import math

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
# How much blood darkens red, green and blue light, relative to green: haemoglobin absorbs green and
# blue some ten times as strongly as red (Prahl's tabulated spectra, from memory), but the broad
# channels of a camera see a third.
BLOOD = (0.3, 1.0, 0.85)
LOG_OFFSET = 8.0  # grey levels: keeps the noise of black pixels from being blown up by the logarithm


def region_length(region: NDArray[np.bool_]) -> float:
    """Length of the ellipse with the region's second moments, pixels."""
    moments = cv2.moments(region.astype(np.uint8), binaryImage=True)
    if moments["m00"] == 0:
        return 0.0
    a, b, c = (moments[k] / moments["m00"] for k in ("mu20", "mu02", "mu11"))
    return 4 * math.sqrt(max((a + b) / 2 + math.hypot((a - b) / 2, c), 0.0))


def vein_features(picture: NDArray[np.uint8], inside: NDArray[np.bool_]) -> Float32:
    """What the mapping looks at, (H, W, features): filter answers over their noise, compressed.

    Arguments as those of :func:`vein_probability`, at the working size.
    """
    length = region_length(inside)
    shape = inside.shape
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    core = cv2.erode(inside.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0) > 0
    if core.sum() < 0.3 * inside.sum():
        core = inside  # nothing but rim
    weight = core.astype(np.float32)
    logs = fill_outside(np.log(picture.astype(np.float32) + LOG_OFFSET), core)
    ground = fill_outside(_best_ground(picture, logs, weight, length), core)

    features: list[Float32] = []
    near, far = max(2, round(length / 300)), max(4, round(length / 100))
    near_size, far_size = (_shrunk(shape, k) for k in (near, far))
    lines = np.zeros((ORIENTATIONS, near_size[1], near_size[0]), np.float32)
    widest = max(WIDTHS[-1] * length, 2.5 * SMALLEST_SIGMA_PX)
    narrowest = max(WIDTHS[0] * length, SMALLEST_SIGMA_PX)
    noise: Float32 | None = None
    for sigma in np.geomspace(narrowest, widest, len(WIDTHS)):
        factor = max(1, int(sigma / 1.25))
        small, small_weight = _resized(ground, factor), _resized(weight, factor)
        answers = line_answers(small, float(sigma) / factor)
        noise = _noise(answers.bright, small_weight, 0.07 * length / factor)
        for part in (answers.even, answers.odd, answers.bright):
            features.append(_grown(part / noise, shape))
        scores = np.minimum(answers.by_orientation / noise, 8.0) * small_weight
        for k in range(len(lines)):
            np.maximum(lines[k], _fit(scores[k], near_size), out=lines[k])
    scale = near_size[0] / shape[1]
    for part in support_along(lines, reach=0.022 * length * scale, width=max(0.6, 0.002 * length * scale)):
        features.append(_grown(part, shape))
    coarse = np.stack([_fit(line, far_size) for line in lines])
    scale = far_size[0] / shape[1]
    width = max(0.6, 0.005 * length * scale)
    for part in support_along(coarse, reach=0.05 * length * scale, width=width)[:2]:
        features.append(_grown(part, shape))
    for reach in (0.006, 0.015, 0.03):
        darker = blur_inside(ground, weight, reach * length) - ground
        spread = np.sqrt(blur_inside(darker * darker, weight, 0.1 * length)) + 0.003
        features.append(np.asarray(darker / spread, dtype=np.float32))
    assert noise is not None
    compressed = [np.asarray(np.sign(f) * np.log1p(np.abs(f)), dtype=np.float32) for f in features]
    for channel in (0, 1):  # a vein is red: ink and hair darken red as much as green
        values = np.ascontiguousarray(logs[..., channel])
        fine = cv2.GaussianBlur(values, (0, 0), max(0.7, 0.002 * length))
        line = blur_inside(values, weight, 0.012 * length) - fine
        spread = np.sqrt(blur_inside(line * line, weight, 0.1 * length))
        compressed.append(np.asarray(np.arcsinh(line / (spread + 0.01)), dtype=np.float32))
    colour = float(np.clip(np.mean(logs[..., 0][core] - logs[..., 1][core]), -2, 2))
    to_rim = cv2.distanceTransform(np.pad(inside, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    compressed.append(np.minimum(to_rim / (0.05 * length), 1).astype(np.float32))
    compressed.append(_grown(np.log(noise / 0.01), shape))
    compressed.append(np.full(shape, colour, np.float32))
    compressed.append(np.full(shape, math.log(length / 400), np.float32))
    return np.stack(compressed, axis=-1)


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


def _shrunk(shape: tuple[int, ...], factor: int) -> tuple[int, int]:
    return max(1, round(shape[1] / factor)), max(1, round(shape[0] / factor))


def _resized(values: Float32, factor: int) -> Float32:
    return values if factor == 1 else _fit(values, _shrunk(values.shape, factor))


def _fit(values: Float32, size: tuple[int, int]) -> Float32:
    if values.shape == (size[1], size[0]):
        return values
    smaller = values.shape[1] > size[0]
    return np.asarray(
        cv2.resize(values, size, interpolation=cv2.INTER_AREA if smaller else cv2.INTER_LINEAR), np.float32
    )


def _grown(values: Float32, shape: tuple[int, ...]) -> Float32:
    return _fit(np.asarray(values, dtype=np.float32), (shape[1], shape[0]))
