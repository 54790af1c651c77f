"""Small bubbles under an air cell's membrane, as rough handling leaves them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from sample_images.biology import EggSpec
from sample_images.projection import Solid, View

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]

# A bubble swallows no light, but turns away what meets its side: a bright disc with a dark edge. Hand-chosen.
RADII_MM = (0.6, 2.0)
BENEATH_MM = (1.0, 7.0)  # from the rim into the contents
BRIGHTER = (0.08, 0.35)  # natural logarithm of light
DARKER = (0.15, 0.5)
EDGE = 0.35  # of the radius


def bubbles_under(
    rng: np.random.Generator,
    spec: EggSpec,
    solid: Solid,
    view: View,
    shape: tuple[int, int],
    corner: tuple[int, int],
    scatter_mm: float,
) -> Float32Array:
    """Factor on the light of a patch (H, W) with the egg's bubbles on the camera's side."""
    rim = spec.rim_plane.rim(solid)
    toward = view.toward_camera(np.zeros(3))
    facing = rim[(solid.normals(rim) @ toward) > 0.35]
    if not len(facing):
        return np.ones(shape, np.float32)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    log_gain = np.zeros(shape, np.float32)
    for _ in range(spec.bubbles):
        radius = math.exp(rng.uniform(*np.log(RADII_MM)))
        place = facing[int(rng.integers(len(facing)))].copy()
        place[0] += rng.uniform(*BENEATH_MM)
        at = view.project(solid.on_surface(place)) - np.asarray(corner)
        distance = np.hypot(x - at[0], y - at[1]) / (radius * view.px_per_mm)
        disc = np.clip((1 - EDGE - distance) / 0.1, 0, 1)
        edge = np.exp(-(((distance - 1 + EDGE / 2) / (EDGE / 2)) ** 2))
        log_gain += rng.uniform(*BRIGHTER) * disc - rng.uniform(*DARKER) * edge
    soft = gaussian_filter(log_gain, max(0.5 * scatter_mm * view.px_per_mm, 0.3), truncate=3)
    return np.asarray(np.exp(soft), dtype=np.float32)
