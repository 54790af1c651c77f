"""Air cells on either side of the published egg-grading limits are told apart.

Limits, all measured from the top of the air cell at the large end to its bottom rim: USDA grade AA
1/8 inch, grade A 3/16 inch (mirrored in Washington WAC 16-104-130); EU "extra" 4 mm and class A 6 mm
(Reg. (EC) 557/2007 Art. 2, kept in Reg. (EU) 2023/2465).
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile
from sample_images.biology import EggSpec, random_profile
from sample_images.camera import encode_jpeg
from sample_images.projection import RimPlane, Solid, rim_in_picture, side_view, silhouette
from sample_images.simulator import Pose, Scene, draw_egg
from vision.air_cell import measure_air_cell
from vision.photo import open_photo
from vision.read_photo import read_photo
from vision.reading import Outline

INCH_MM = 25.4
LIMITS_MM = {
    "USDA AA, 1/8 inch": INCH_MM / 8,
    "USDA A, 3/16 inch": 3 * INCH_MM / 16,
    "EU extra, 4 mm": 4.0,
    "EU class A, 6 mm": 6.0,
}
EGGS = 12  # each limit and side, with a perfect map
PHOTOS = 2  # the same, drawn and read from end to end
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


def simulated_photo(folder: Path, seed: int, depth_mm: float) -> tuple[Path, float]:
    """A photo of a fresh egg before a lamp that hides nothing of it; also the egg's length in mm."""
    rng = np.random.default_rng([seed, 11])
    profile = random_profile(rng)
    tilt_deg = float(rng.uniform(0, 3))
    spec = EggSpec(status="clear", day=1.0, profile=profile, air_cell_depth_mm=depth_mm, tilt_deg=tilt_deg)
    pose = Pose(
        (300.0, 390.0),
        px_per_mm=float(rng.uniform(7, 10)),
        axis_deg=float(90 + rng.normal(0, 6)),
        lean_deg=float(rng.normal(0, 3)),
    )
    scene = Scene(poses=(pose,), lamp="lamp behind", air_gain=1.2, rim_line=0.15)
    path = folder / f"egg-{seed}-{depth_mm:.2f}.jpg"
    path.write_bytes(encode_jpeg(draw_egg(spec, scene, seed).rgb, 92))
    return path, profile.length


@pytest.mark.slow
@pytest.mark.parametrize("limit_mm", LIMITS_MM.values(), ids=LIMITS_MM)
@pytest.mark.parametrize("side", ["within", "beyond"])
def test_a_photo_read_from_end_to_end_falls_on_the_right_side(
    tmp_path: Path, limit_mm: float, side: str
) -> None:
    # Clearly on one side in a photo: 1.6 mm, five pixels of the window that the network sees.
    depth_mm = limit_mm + (1.6 if side == "beyond" else -1.6)
    for seed in range(PHOTOS):
        path, length_mm = simulated_photo(tmp_path, seed, depth_mm)
        (egg,) = read_photo(open_photo(path), view="side").eggs
        if egg.air_cell is None or egg.air_cell.depth_fraction is None:
            # An air cell too shallow to show a line is within the limit; a deep one must be read.
            assert side == "within", f"{path.name}: {egg.missing['air_cell']}"
            assert "no air cell shows" in egg.missing["air_cell"]
            continue
        measured_mm = egg.air_cell.depth_fraction * length_mm
        assert (measured_mm > limit_mm) == (side == "beyond"), f"{path.name}: {measured_mm:.2f} mm"
