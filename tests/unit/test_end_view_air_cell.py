"""The air cell seen from above, on drawn discs whose place and diameter are known exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from incubation.egg_geometry import EggProfile, rim_diameter
from vision.end_view_air_cell import RIM_MAGNIFICATION, depth_from_diameter, measure_end_view_air_cell
from vision.reading import AirCell, Outline

# 1 mm of a hen's egg 43 mm broad: the error allowed on average.
ONE_MM = 1 / 43


@dataclass(frozen=True)
class DrawnEgg:
    """A round egg with a disc; ``offset`` and ``disc`` are over the silhouette's radius."""

    radius: float = 110.0
    disc: float = 0.70
    offset: float = 0.0
    way_deg: float = 30.0
    step: float = 0.08  # how much brighter the disc is, as a share
    line: float = 0.0  # how much darker the rim's thin line is
    glare: bool = False
    vessels: bool = False
    shadow: bool = False
    level: float = 150.0
    seed: int = 1

    @property
    def centre(self) -> NDArray[np.float64]:
        return np.array([self.radius * 1.1 + 0.3, self.radius * 1.1 - 0.4])

    @property
    def disc_centre(self) -> NDArray[np.float64]:
        way = math.radians(self.way_deg)
        return self.centre + self.offset * self.radius * np.array([math.cos(way), math.sin(way)])

    @property
    def outline(self) -> Outline:
        t = np.linspace(0, 2 * math.pi, 90, endpoint=False)
        polygon = self.centre + self.radius * np.column_stack([np.cos(t), np.sin(t)])
        x, y = (float(v) for v in self.centre)
        return Outline((x, y), 2 * self.radius, 2 * self.radius, None, 0.0, polygon)

    def picture(self) -> NDArray[np.uint8]:
        rng = np.random.default_rng(self.seed)
        side = round(self.radius * 2.2)
        y, x = np.mgrid[0:side, 0:side].astype(float)
        away = np.hypot(x - self.centre[0], y - self.centre[1])
        # The rim of a leaning egg is foreshortened toward the middle by the lean's cosine; the
        # rim stands about as high over the silhouette as the egg is wide from its middle.
        way = math.radians(self.way_deg)
        dx, dy = x - self.disc_centre[0], y - self.disc_centre[1]
        along, across = dx * math.cos(way) + dy * math.sin(way), dy * math.cos(way) - dx * math.sin(way)
        flat = math.sqrt(1 - self.offset**2)
        rim = self.disc * self.radius - np.hypot(along / flat, across)
        light = self.level * (1 - 0.25 * (away / self.radius) ** 2) * (1 + 0.1 * dx / self.radius)
        light *= 1 + self.step * 0.5 * (1 + np.tanh(rim / 1.2))
        light *= 1 - self.line * np.exp(-((rim / 1.5) ** 2))
        if self.shadow:
            light *= 1 - 0.5 * np.exp(-(((x - side * 0.6) ** 2 + (y - side * 0.4) ** 2) / (0.2 * side) ** 2))
        grain = cv2.GaussianBlur(rng.normal(size=(side, side)), (0, 0), 2.5)
        light *= 1 + 0.015 * grain / grain.std()
        if self.vessels:
            lines = np.zeros((side, side), np.uint8)
            for _ in range(5):
                turns = np.cumsum(rng.normal(0, 0.25, 40)) + rng.uniform(0, 6.28)
                path = self.centre + np.cumsum(np.column_stack([np.cos(turns), np.sin(turns)]), 0) * 3
                cv2.polylines(lines, [np.round(path * 8).astype(np.int32)], False, 255, 2, cv2.LINE_AA, 3)
            light *= 1 - 0.25 * lines / 255
        if self.glare:
            light += 90 * np.exp(-(((x - side * 0.25) ** 2 + (y - side * 0.3) ** 2) / (0.12 * side) ** 2))
        light *= np.clip(self.radius - away + 0.5, 0, 1)
        rgb = light[..., None] * np.array([1.3, 0.75, 0.3]) + rng.normal(0, 1.5, (side, side, 3)) + 3
        return np.clip(np.rint(rgb), 0, 255).astype(np.uint8)


def measured(egg: DrawnEgg) -> AirCell:
    found, _ = measure_end_view_air_cell(egg.picture(), egg.outline, rim_magnification=1.0)
    assert found is not None
    return found


CASES = {
    "concentric": DrawnEgg(),
    "eccentric": DrawnEgg(offset=0.3, disc=0.66),
    "small": DrawnEgg(disc=0.45, offset=0.1),
    "wide": DrawnEgg(disc=0.86, offset=0.1),
    "faint": DrawnEgg(step=0.035, offset=0.15),
    "darker": DrawnEgg(step=-0.08, offset=0.2),
    "thin line only": DrawnEgg(step=0.0, line=0.12, offset=0.2),
    "glare": DrawnEgg(glare=True, offset=0.25, way_deg=200),
    "vessels": DrawnEgg(vessels=True, offset=0.2),
    "embryo's shadow": DrawnEgg(shadow=True, offset=0.15, way_deg=120),
    "dark": DrawnEgg(level=45, step=0.12, offset=0.2),
    "large picture": DrawnEgg(radius=240, offset=0.2),
    "small picture": DrawnEgg(radius=50, offset=0.2),
}


@pytest.mark.parametrize("egg", CASES.values(), ids=CASES.keys())
def test_the_disc_is_measured(egg: DrawnEgg) -> None:
    found = measured(egg)
    assert found.diameter_fraction == pytest.approx(egg.disc, abs=ONE_MM)
    # The circle itself lies where it was drawn: within a fortieth of the egg's breadth.
    middle = (found.boundary_px.min(0) + found.boundary_px.max(0)) / 2
    assert np.hypot(*(middle - egg.disc_centre)) < 0.05 * egg.radius


@pytest.mark.parametrize("seed", range(6))
def test_no_disc_no_air_cell(seed: int) -> None:
    egg = DrawnEgg(step=0, vessels=seed % 2 == 0, glare=seed % 3 == 0, shadow=seed > 2, seed=seed)
    found, reason = measure_end_view_air_cell(egg.picture(), egg.outline)
    assert found is None
    assert reason == "no rim of an air cell shows"


@pytest.mark.parametrize("way_deg", [0.0, 77.0, 160.0, 251.0])
def test_turning_the_egg_changes_nothing(way_deg: float) -> None:
    found = measured(DrawnEgg(offset=0.3, way_deg=way_deg, disc=0.62))
    assert found.diameter_fraction == pytest.approx(0.62, abs=ONE_MM)


def test_the_nearness_of_the_rim_is_taken_out() -> None:
    egg = DrawnEgg(offset=0.15)
    plain = measured(egg)
    near, _ = measure_end_view_air_cell(egg.picture(), egg.outline)
    assert near is not None
    assert near.diameter_fraction == pytest.approx(plain.diameter_fraction / RIM_MAGNIFICATION)


def test_the_boundary_is_in_photo_pixels() -> None:
    egg = DrawnEgg(offset=0.2)
    here, _ = measure_end_view_air_cell(egg.picture(), egg.outline)
    there, _ = measure_end_view_air_cell(egg.picture(), egg.outline, origin_px=(1000.0, 500.0), scale=2.0)
    assert here is not None
    assert there is not None
    assert there.boundary_px == pytest.approx(here.boundary_px * 2 + (1000, 500))


def test_depth_goes_with_the_diameter_of_eggs_of_every_common_shape() -> None:
    # Truth from the profile itself; shape indices 70 to 80 hold nearly all hens' eggs.
    for index in (0.70, 0.76, 0.80):
        egg = EggProfile.from_length_breadth(1 / index, 1.0)
        for depth in (0.05, 0.10, 0.15):
            interval = depth_from_diameter(rim_diameter(depth, egg))
            assert interval is not None
            assert interval.low <= depth <= interval.high
            assert interval.depth == pytest.approx(depth, abs=0.01)


def test_near_full_breadth_no_depth_is_given() -> None:
    assert depth_from_diameter(0.97) is None
    wide = DrawnEgg(disc=0.93, offset=0.04, step=0.15)
    found, reason = measure_end_view_air_cell(wide.picture(), wide.outline, rim_magnification=1.0)
    assert found is not None
    assert (found.depth_fraction, found.volume_fraction, found.tilt_deg) == (None, None, None)
    assert "no longer tells its depth" in (reason or "")
    assert measured(replace(wide, disc=0.7)).depth_fraction is not None


def test_what_cannot_be_measured_is_said() -> None:
    tiny = DrawnEgg(radius=15)
    assert "too small" in (measure_end_view_air_cell(tiny.picture(), tiny.outline)[1] or "")
    with pytest.raises(ValueError, match="uint8"):
        measure_end_view_air_cell(tiny.picture()[..., 0], tiny.outline)
    with pytest.raises(ValueError, match="magnification"):
        measure_end_view_air_cell(tiny.picture(), tiny.outline, rim_magnification=0.5)


def test_the_interval_holds_the_truth_and_widens_where_the_rim_is_unclear() -> None:
    clear, faint = measured(DrawnEgg(offset=0.15)), measured(DrawnEgg(step=0.03, offset=0.15))
    for found in (clear, faint):
        interval = found.intervals.diameter_fraction
        assert interval is not None
        assert interval.low <= 0.70 <= interval.high
        depth, volume = found.intervals.depth_fraction, found.intervals.volume_fraction
        assert depth is not None
        assert volume is not None
        # The depth of a common egg with that rim, by its own profile.
        egg = EggProfile.from_length_breadth(1 / 0.76, 1.0)
        truth = min(np.linspace(0.02, 0.3, 600), key=lambda d: abs(rim_diameter(float(d), egg) - 0.70))
        assert depth.low <= truth <= depth.high
        assert volume.low < volume.high


def test_a_rim_far_off_the_middle_is_pointed_out() -> None:
    assert measured(DrawnEgg(offset=0.1)).unusual == ()
    far = measured(DrawnEgg(offset=0.5, disc=0.45))
    assert far.unusual == ("off the middle: the egg leans, or the cell is loose",)
