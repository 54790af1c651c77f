"""The picture while it is drawn, and shapes on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

from sample_images.optics import Float32Array

FloatArray = NDArray[np.float64]
Window = tuple[slice, slice]


@dataclass
class Canvas:
    """Linear light H x W x 3, and how much of each pixel is in front of the eggs."""

    light: Float32Array
    hidden: Float32Array

    @property
    def shape(self) -> tuple[int, int]:
        return self.light.shape[0], self.light.shape[1]

    def cover(self, window: Window, alpha: Float32Array, light: Float32Array, *, front: bool = True) -> None:
        """Put something opaque into a window of the picture."""
        part = self.light[window]
        part += alpha[..., None] * (light - part)
        if front:
            np.maximum(self.hidden[window], alpha, out=self.hidden[window])


def window_of(points: FloatArray, margin: float, shape: tuple[int, int]) -> Window | None:
    """Rows and columns that hold these points with a margin, or None outside the picture."""
    low = np.floor(points.min(0) - margin).astype(int)
    high = np.ceil(points.max(0) + margin).astype(int) + 1
    x0, y0 = max(low[0], 0), max(low[1], 0)
    x1, y1 = min(high[0], shape[1]), min(high[1], shape[0])
    if x1 - x0 < 2 or y1 - y0 < 2:
        return None
    return slice(y0, y1), slice(x0, x1)


def grid(window: Window) -> tuple[Float32Array, Float32Array]:
    """Pixel x as a row and y as a column, for a window."""
    y = np.arange(window[0].start, window[0].stop, dtype=np.float32)[:, None]
    x = np.arange(window[1].start, window[1].stop, dtype=np.float32)[None]
    return x, y


def polygon_mask(window: Window, points: FloatArray, blur: float) -> Float32Array:
    """Cover of a polygon within a window, softened by ``blur`` pixels."""
    height, width = window[0].stop - window[0].start, window[1].stop - window[1].start
    canvas = Image.new("L", (width, height))
    moved = points - (window[1].start, window[0].start)
    ImageDraw.Draw(canvas).polygon([tuple(p) for p in moved], fill=255)
    alpha = np.asarray(canvas, np.float32) / np.float32(255)
    return gaussian_filter(alpha, blur, truncate=2.5) if blur > 0.2 else alpha


def quad(middle: FloatArray, half: FloatArray, turn: float, taper: float = 0.0) -> FloatArray:
    """Corners of a rectangle turned by ``turn`` radians, its far side narrowed by ``taper``."""
    cos, sin = np.cos(turn), np.sin(turn)
    corners = np.array([(-1 + taper, -1), (1 - taper, -1), (1, 1), (-1, 1)]) * half
    x, y = corners[:, 0], corners[:, 1]
    result: FloatArray = middle + np.stack([cos * x - sin * y, sin * x + cos * y], -1)
    return result


def enlarged(field: Float32Array, shape: tuple[int, int]) -> Float32Array:
    """A coarse field (h, w, channels) brought to the size of the picture, linearly."""
    if field.shape[:2] == shape:
        return field
    result = np.empty((*shape, field.shape[2]), np.float32)
    for channel in range(field.shape[2]):
        plane = Image.fromarray(np.ascontiguousarray(field[..., channel], np.float32))
        result[..., channel] = np.asarray(plane.resize((shape[1], shape[0]), Image.Resampling.BILINEAR))
    return result
