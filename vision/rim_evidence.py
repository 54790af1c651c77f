"""Where a rim may run in an egg seen from above: gradients and dark lines, by the local noise.

The egg is brought to one size, its smooth shading and the silhouette's own edge are taken out, and
what is left is bounded, so that a glare or a vessel counts no more at a pixel than a faint rim.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.polygon_mask import filled_polygon
from vision.reading import Outline

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]

RADIUS = 80.0  # of the silhouette in the work picture, pixels
SIDE = 176
BORDER = 0.965  # of the silhouette; beyond, its own edge drowns any rim


@dataclass(frozen=True)
class Evidence:
    """Gradient (x, y) and line strength, each bounded to -1..1 in units of the local noise."""

    step_x: Float32Array
    step_y: Float32Array
    line: Float32Array
    weight: Float32Array


def work_picture(
    rgb: NDArray[np.uint8], outline: Outline
) -> tuple[Float32Array, NDArray[np.bool_], FloatArray]:
    """The egg with its silhouette's middle and breadth brought to fixed ones; and the way back."""
    polygon = np.asarray(outline.polygon_px, dtype=float)
    step = outline.breadth_px / 2 / RADIUS  # window pixels a work pixel
    if step > 1.5:  # averaged first, so that the resampling below skips no pixel
        size = (max(1, round(rgb.shape[1] / step)), max(1, round(rgb.shape[0] / step)))
        shrunk = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    else:
        shrunk = rgb
    ratio = np.array([rgb.shape[1] / shrunk.shape[1], rgb.shape[0] / shrunk.shape[0]])
    centre = np.asarray(outline.centre_px)
    middle = SIDE / 2 - 0.5
    to_window = np.array([[step, 0, centre[0] - step * middle], [0, step, centre[1] - step * middle]])
    to_shrunk = to_window / ratio[:, None]
    to_shrunk[:, 2] += (1 / ratio - 1) / 2
    picture = cv2.warpAffine(
        np.asarray(shrunk), to_shrunk, (SIDE, SIDE),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    centred = (polygon - centre) / step * BORDER + middle
    inside = filled_polygon((SIDE, SIDE), centred)
    # Red passes shell and contents best and green shows detail best: their geometric mean, so that
    # a burnt-out red does not hide what green still shows. The offset keeps dark noise small.
    light = picture.astype(np.float32)
    grey = np.log(light[..., 0] + 6) + np.log(light[..., 1] + 6) + 0.5 * np.log(light[..., 2] + 6)
    return _without_shading(grey.astype(np.float32), inside), inside, to_window


@cache
def _shading_terms() -> Float32Array:
    """Smooth surfaces, (side, side, 11): a slope, a bowl, and a darker or brighter limb."""
    y, x = (np.mgrid[0:SIDE, 0:SIDE] - (SIDE / 2 - 0.5)) / RADIUS
    r = x**2 + y**2
    terms = (np.ones_like(x), x, y, r, x * y, x**2 - y**2, r * x, r * y, r**2, r**4, r**8)
    return np.dstack(terms).astype(np.float32)


def _without_shading(grey: Float32Array, inside: NDArray[np.bool_]) -> Float32Array:
    """The picture less the smooth surface that fits it best: a limb is no rim."""
    terms = _shading_terms()
    some = np.zeros_like(inside)
    some[::3, ::3] = inside[::3, ::3]
    basis, values = terms[some].astype(float), grey[some].astype(float)
    if len(values) < 4 * basis.shape[1]:
        return grey
    factors = np.linalg.lstsq(basis, values, rcond=None)[0]
    return np.asarray(grey - terms @ factors.astype(np.float32), dtype=np.float32)


def evidence_at(grey: Float32Array, inside: NDArray[np.bool_], blur: float) -> Evidence | None:
    """Normalised gradient and line strength inside the silhouette."""
    weight = inside.astype(np.float32)
    if weight.sum() < 1000:
        return None
    # Extended beyond the silhouette by what lies inside, so that its own edge raises no gradient.
    wide, reach = _average(grey, weight, 7.0)
    far, _ = _average(grey, weight, 30.0)
    filled = np.where(inside, grey, np.where(reach > 1e-3, wide, far))
    smooth = cv2.GaussianBlur(filled, (0, 0), blur)
    dx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3) / 8
    dy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3) / 8
    # What changes slowly is shading, not an edge.
    dx = (dx - _average(dx.astype(np.float32), weight, 9.0)[0]).astype(np.float32)
    dy = (dy - _average(dy.astype(np.float32), weight, 9.0)[0]).astype(np.float32)
    line = cv2.Laplacian(smooth, cv2.CV_32F, ksize=3) / 4
    core = weight > 0
    strength = np.hypot(dx, dy).astype(np.float32)
    typical = float(np.median(strength[core])) + 1e-4
    local = np.sqrt(_average(strength**2, weight, 14.0)[0]) * 0.7 + 0.5 * typical
    bend = np.abs(line).astype(np.float32)
    local_bend = np.sqrt(_average(bend**2, weight, 14.0)[0]) + 0.5 * float(np.median(bend[core])) + 1e-4
    shrink = np.tanh(strength / local) / (strength + 1e-9)
    parts = (dx * shrink, dy * shrink, np.tanh(line / local_bend))
    step_x, step_y, lines = ((part * weight).astype(np.float32) for part in parts)
    return Evidence(step_x, step_y, lines, weight)


def _average(values: Float32Array, weight: Float32Array, sigma: float) -> tuple[Float32Array, Float32Array]:
    """Gaussian mean over the silhouette only, on a picture of half the size; and the weight's own blur."""
    half = (values.shape[1] // 2, values.shape[0] // 2)
    both = np.dstack([values * weight, weight])
    small = cv2.resize(both, half, interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(small, (0, 0), sigma / 2)
    mean = blurred[..., 0] / np.maximum(blurred[..., 1], 1e-4)
    size = (values.shape[1], values.shape[0])
    big: Float32Array = cv2.resize(mean, size, interpolation=cv2.INTER_LINEAR).astype(np.float32)
    reach: Float32Array = cv2.resize(blurred[..., 1], size, interpolation=cv2.INTER_LINEAR).astype(np.float32)
    return big, reach
