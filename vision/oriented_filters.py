"""Line detectors at many orientations, for dark lines on a brighter ground.

The filter is a Gaussian much longer than wide, compared with two of its kind laid beside it: the
mean of both sides less the middle is the *even* answer, half the difference between the sides the
*odd* one. A line gives an even answer only; a step edge gives as much of the odd one, so that
``even - EDGE_WEIGHT * |odd|`` keeps lines and drops edges. This is a discrete relative of the even
and odd pairs of Gabor filters used for vessels (Soares et al. 2006, IEEE Trans. Med. Imaging
25:1214) and of the symmetric alignment of B-COSFIRE (Azzopardi et al. 2015, Med. Image Anal. 19:46).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

Float32 = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

ORIENTATIONS = 12
ELONGATION = 3.0  # length of the filter over its width, in sigmas
SIDE_OFFSET = 2.0  # where the sides are taken, in sigmas across
EDGE_WEIGHT = 0.7


@dataclass(frozen=True)
class LineAnswers:
    """Answers of one width of filter, in the units of the picture.

    Attributes
    ----------
    even, odd
        Even answer of the orientation that answers most, and the size of its odd answer, (H, W).
    bright
        How strongly a bright line shows, >= 0, (H, W): what chance alone gives, vessels being dark.
    by_orientation
        Line less edge answer, >= 0, (orientations, H, W).
    """

    even: Float32
    odd: Float32
    bright: Float32
    by_orientation: Float32


def fill_outside(values: Float32, inside: BoolArray) -> Float32:
    """Copy to every pixel outside the value of the nearest inside pixel, so that the rim is no edge.

    ``values`` is (H, W) or (H, W, C); ``inside`` must not be empty.
    """
    labels = cv2.distanceTransformWithLabels(
        (~inside).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )[1]
    nearest = np.zeros(int(labels.max()) + 1, np.int64)
    nearest[labels[inside]] = np.flatnonzero(inside)
    flat = values.reshape(inside.size, -1)
    return np.asarray(flat[nearest[labels]].reshape(values.shape), dtype=np.float32)


def blur_inside(values: Float32, weight: Float32, sigma: float) -> Float32:
    """Gaussian mean of ``values`` over the pixels with weight; 0 where none is near.

    Wide blurs are made on a shrunk picture: they have no detail to lose.
    """
    shrink = max(1, int(sigma / 4))
    h, w = values.shape
    layers = np.dstack([values * weight, weight])
    if shrink > 1:
        size = (max(1, round(w / shrink)), max(1, round(h / shrink)))
        layers = np.asarray(cv2.resize(layers, size, interpolation=cv2.INTER_AREA))
    layers = np.asarray(cv2.GaussianBlur(layers, (0, 0), sigma / shrink))
    mean = layers[..., 0] / np.maximum(layers[..., 1], 1e-4)
    if shrink > 1:
        mean = np.asarray(cv2.resize(mean, (w, h), interpolation=cv2.INTER_LINEAR))
    return np.asarray(mean, dtype=np.float32)


class _Spectrum:
    """A picture's Fourier transform, padded so that what wraps round does not reach it."""

    def __init__(self, picture: Float32, margin: int) -> None:
        h, w = picture.shape
        self.window = (slice(margin, margin + h), slice(margin, margin + w))
        size = (fft.next_fast_len(h + 2 * margin, True), fft.next_fast_len(w + 2 * margin, True))
        self.size = (int(size[0]), int(size[1]))
        below, right = self.size[0] - h - margin, self.size[1] - w - margin
        padded = cv2.copyMakeBorder(picture, margin, below, margin, right, cv2.BORDER_REPLICATE)
        self.values = fft.rfft2(padded)
        self.fy = (fft.fftfreq(self.size[0])[:, None] * 2 * math.pi).astype(np.float32)
        self.fx = (fft.rfftfreq(self.size[1])[None] * 2 * math.pi).astype(np.float32)

    def along_and_across(self, angle: float) -> tuple[Float32, Float32]:
        """Frequencies along and across a line at ``angle`` (radians, clockwise from +x)."""
        c, s = np.float32(math.cos(angle)), np.float32(math.sin(angle))
        return self.fx * c + self.fy * s, self.fy * c - self.fx * s

    def back(self, values: NDArray[np.complex64]) -> Float32:
        """The filtered picture."""
        return np.asarray(fft.irfft2(values, s=self.size)[self.window], dtype=np.float32)

    def back_shifted(self, values: NDArray[np.inexact], dx: float, dy: float) -> tuple[Float32, Float32]:
        """The filtered picture seen ``(dx, dy)`` pixels ahead of each place, and as much behind it."""
        whole = np.asarray(fft.irfft2(values, s=self.size), dtype=np.float32)
        rows, columns = self.window
        size = (columns.stop - columns.start, rows.stop - rows.start)

        def moved(x: float, y: float) -> Float32:
            shift = np.array([[1, 0, columns.start + x], [0, 1, rows.start + y]])
            way = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
            return np.asarray(cv2.warpAffine(whole, shift, size, flags=way), dtype=np.float32)

        return moved(dx, dy), moved(-dx, -dy)


def line_answers(picture: Float32, sigma: float) -> LineAnswers:
    """Filter with lines about ``2 sigma`` wide at :data:`ORIENTATIONS` orientations.

    Parameters
    ----------
    picture
        (H, W); lengths in its pixels.
    sigma
        Spread of the filter across the line, pixels.
    """
    spectrum = _Spectrum(picture, math.ceil(2.5 * ELONGATION * sigma) + 2)
    shape = picture.shape
    even = np.full(shape, -np.inf, np.float32)
    odd = np.zeros(shape, np.float32)
    bright = np.zeros(shape, np.float32)
    lines = np.empty((ORIENTATIONS, *shape), np.float32)
    for k in range(ORIENTATIONS):
        along, across = spectrum.along_and_across(math.pi * k / ORIENTATIONS)
        smooth = spectrum.values * np.exp(-0.5 * sigma**2 * (across**2 + (ELONGATION * along) ** 2))
        shift = np.float32(SIDE_OFFSET * sigma) * across
        middle = spectrum.back(smooth * (np.cos(shift) - 1))
        sides = np.abs(spectrum.back(smooth * (1j * np.sin(shift))))
        better = middle > even
        np.copyto(even, middle, where=better)
        np.copyto(odd, sides, where=better)
        sides *= EDGE_WEIGHT
        np.maximum(middle - sides, 0, out=lines[k])
        np.maximum(bright, -middle - sides, out=bright)
    return LineAnswers(even, odd, bright, lines)


def support_along(lines: Float32, *, reach: float, width: float) -> tuple[Float32, Float32, Float32]:
    """How far lines go on in their own direction.

    Parameters
    ----------
    lines
        Answers by orientation, (orientations, H, W), orientation k at ``180 k / orientations``
        degrees.
    reach
        How far ahead and behind to look, pixels.
    width
        Smoothing across, pixels.

    Returns
    -------
    tuple of ndarray
        The strongest over all orientations of: the weaker of ahead and behind (no line's end, no
        speck gives it), the mean of both, the stronger of both.
    """
    shape = lines.shape[1:]
    both, mean, either = (np.zeros(shape, np.float32) for _ in range(3))
    spread = 0.55 * reach
    for k in range(len(lines)):
        spectrum = _Spectrum(lines[k], math.ceil(2.5 * reach) + 2)
        angle = math.pi * k / len(lines)
        along, across = spectrum.along_and_across(angle)
        smooth = spectrum.values * np.exp(-0.5 * ((spread * along) ** 2 + (width * across) ** 2))
        ahead, behind = spectrum.back_shifted(smooth, reach * math.cos(angle), reach * math.sin(angle))
        np.maximum(both, np.minimum(ahead, behind), out=both)
        np.maximum(mean, (ahead + behind) / 2, out=mean)
        np.maximum(either, np.maximum(ahead, behind), out=either)
    return both, mean, either
