"""Air cells on either side of the published egg-grading limits are told apart.

Limits, all measured from the top of the air cell at the large end to its bottom rim: USDA grade AA
1/8 inch, grade A 3/16 inch (mirrored in Washington WAC 16-104-130); EU "extra" 4 mm and class A 6 mm
(Reg. (EC) 557/2007 Art. 2, kept in Reg. (EU) 2023/2465).
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sample_images.biology import random_profile
from sample_images.projection import RimPlane, Solid, rim_in_picture, side_view, silhouette
from vision.air_cell import measure_air_cell
from vision.reading import Outline

INCH_MM = 25.4
LIMITS_MM = {
    "USDA AA, 1/8 inch": INCH_MM / 8,
    "USDA A, 3/16 inch": 3 * INCH_MM / 16,
    "EU extra, 4 mm": 4.0,
    "EU class A, 6 mm": 6.0,
}
EGGS = 12
SHAPE = (760, 640)


def filled(polygon: NDArray[np.float64]) -> NDArray[np.float32]:
    picture = np.zeros(SHAPE, dtype=np.uint8)
    cv2.fillPoly(picture, [np.round(polygon * 16).astype(np.int32)], 1, shift=4)
    return picture.astype(np.float32)


def perfect_map(seed: int, depth_mm: float) -> tuple[NDArray[np.float32], Outline, float]:
    """What a perfect network would answer to a simulated egg; also the egg's length in mm."""
    rng = np.random.default_rng([seed, 7])
    profile = random_profile(rng)
    solid, scale = Solid(profile), rng.uniform(3.5, 8.5)
    axis_deg = float(rng.uniform(0, 360))
    view = side_view(
        centre_px=(SHAPE[1] / 2, SHAPE[0] / 2),
        px_per_mm=scale,
        axis_deg=axis_deg,
        lean_deg=float(rng.uniform(-8, 8)),
        camera_mm=float(rng.uniform(180, 500)),
    )
    rim = RimPlane(depth_mm - profile.length / 2, float(abs(rng.normal(0, 2))), float(rng.uniform(0, 360)))
    outline_px, on_egg = silhouette(solid, view)
    _, region = rim_in_picture(solid, view, rim, outline_px, on_egg)
    drawn = cv2.GaussianBlur(filled(region), (0, 0), 0.006 * profile.length * scale)
    noisy = np.clip(drawn + rng.normal(0, 0.05, SHAPE), 0, 1).astype(np.float32)
    return noisy, outline_of(outline_px, axis_deg, profile.shift / profile.length), profile.length


def outline_of(polygon: NDArray[np.float64], axis_deg: float, shift_share: float) -> Outline:
    angle = np.radians(axis_deg)
    axes = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    extent = polygon @ axes.T
    low, high = extent.min(axis=0), extent.max(axis=0)
    length, breadth = (float(size) for size in high - low)
    centre = (low + high) / 2 @ axes
    from incubation.egg_geometry import EggProfile

    return Outline(
        centre_px=(float(centre[0]), float(centre[1])),
        length_px=length,
        breadth_px=breadth,
        axis_deg=axis_deg,
        long_axis_deg=axis_deg % 180,
        polygon_px=polygon,
        profile=EggProfile.from_length_breadth(length, breadth, shift=shift_share * length),
        blunt_confidence=1.0,
    )


@pytest.mark.parametrize("limit_mm", LIMITS_MM.values(), ids=LIMITS_MM)
@pytest.mark.parametrize("side", ["within", "beyond"])
def test_a_perfect_map_puts_every_egg_on_the_right_side(limit_mm: float, side: str) -> None:
    # Clearly on one side: 0.8 mm, twice what a camera leaning by 8 degrees can do to a shallow rim.
    depth_mm = limit_mm + (0.8 if side == "beyond" else -0.8)
    for seed in range(EGGS):
        drawn, outline, length_mm = perfect_map(seed, depth_mm)
        cell, reason = measure_air_cell(drawn, outline)
        assert cell is not None, f"egg {seed}: {reason}"
        assert cell.depth_fraction is not None
        measured_mm = cell.depth_fraction * length_mm
        assert (measured_mm > limit_mm) == (side == "beyond"), f"egg {seed}: {measured_mm:.2f} mm"
