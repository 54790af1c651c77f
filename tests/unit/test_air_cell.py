"""The air cell measured on drawn maps whose depth, tilt and volume are known exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from incubation.egg_geometry import (
    EggProfile,
    rim_diameter,
    spherical_cap_volume,
    tilted_air_cell_volume_fraction,
    volume,
)
from vision.air_cell import (
    SAG_SPREAD,
    air_cell_mask,
    line_depth_fraction,
    measure_air_cell,
    pole_to_plane,
)
from vision.reading import AirCell, Outline


@dataclass(frozen=True)
class DrawnEgg:
    """One egg in a photo.

    ``camera_deg``: how far the camera stands off the rim's plane. ``saddle``: how far the rim swings to
    and fro out of its plane, twice in a round, over egg length.
    """

    length: float = 300.0
    ratio: float = 0.76
    axis_deg: float = 100.0
    depth: float = 0.13
    tilt_deg: float = 0.0
    camera_deg: float = 0.0
    saddle: float = 0.0
    centre: tuple[float, float] = (210.3, 240.7)
    shape: tuple[int, int] = (470, 420)

    @property
    def profile(self) -> EggProfile:
        return EggProfile.from_length_breadth(self.length, self.length * self.ratio)

    @property
    def axes(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        angle = math.radians(self.axis_deg)
        return np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])

    @property
    def outline(self) -> Outline:
        blunt, across = self.axes
        x = -self.length / 2 * np.cos(np.linspace(0, math.pi, 100))
        radius = self.profile.radius(x)
        u, v = np.concatenate([-x, -x[::-1]]), np.concatenate([radius, -radius[::-1]])
        polygon = np.asarray(self.centre) + u[:, None] * blunt + v[:, None] * across
        return Outline(
            centre_px=self.centre,
            length_px=self.length,
            breadth_px=self.length * self.ratio,
            axis_deg=self.axis_deg % 360,
            long_axis_deg=self.axis_deg % 180,
            polygon_px=polygon,
            profile=self.profile,
            blunt_confidence=1.0,
        )

    def line_depth(self, offset: NDArray[np.float64]) -> NDArray[np.float64]:
        """Depth in pixels of the visible line: the near half of the rim's circle, projected."""
        rim = rim_diameter(self.depth, self.profile) / 2
        arc = np.sqrt(np.maximum(1 - (offset / rim) ** 2, 0))
        straight = self.depth * self.length + offset * math.tan(math.radians(self.tilt_deg))
        swing = 2 * np.clip(offset / rim, -1, 1) * arc  # sin(2 phi), where sin(phi) is offset / rim
        bow = rim * math.sin(math.radians(self.camera_deg)) * arc
        return straight + bow + self.saddle * self.length * swing

    def coordinates(
        self, corner: tuple[int, int] = (0, 0)
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Depth from the blunt pole and offset across the axis of every pixel's middle."""
        rows, columns = np.mgrid[: self.shape[0], : self.shape[1]].astype(float)
        blunt, across = self.axes
        x, y = columns + corner[0] - self.centre[0], rows + corner[1] - self.centre[1]
        return self.length / 2 - (x * blunt[0] + y * blunt[1]), x * across[0] + y * across[1]

    def region(self, corner: tuple[int, int] = (0, 0)) -> NDArray[np.bool_]:
        depth, offset = self.coordinates(corner)
        inside = np.abs(offset) < self.profile.radius(depth - self.length / 2)
        return inside & (depth < self.line_depth(offset))

    def map(
        self,
        *,
        blur: float = 0.006,
        noise: float = 0.0,
        levels: tuple[float, float] = (0.0, 1.0),
        corner: tuple[int, int] = (0, 0),
        seed: int = 0,
    ) -> NDArray[np.float32]:
        """A network's answer: levels off and on the air cell, blur over egg length, noise."""
        drawn = np.where(self.region(corner), levels[1], levels[0]).astype(np.float32)
        drawn = cv2.GaussianBlur(drawn, (0, 0), blur * self.length)
        drawn = drawn + np.random.default_rng(seed).normal(0, noise, drawn.shape)
        return np.clip(drawn, 0, 1).astype(np.float32)


def random_egg(rng: np.random.Generator, **fixed: float) -> DrawnEgg:
    length = fixed.get("length", rng.uniform(120, 420))
    height, width = int(length * rng.uniform(1.1, 1.5)), int(length * rng.uniform(1.1, 1.5))
    return DrawnEgg(
        length=length,
        ratio=rng.uniform(0.68, 0.82),
        axis_deg=rng.uniform(0, 360),
        depth=rng.uniform(0.05, 0.3),
        tilt_deg=rng.uniform(-12, 12),
        camera_deg=fixed.get("camera_deg", 0.0),
        centre=(width / 2 + rng.uniform(-3, 3), height / 2 + rng.uniform(-3, 3)),
        shape=(height, width),
    )


@pytest.mark.parametrize("seed", range(20))
def test_depth_tilt_and_volume_are_the_drawn_ones(seed: int) -> None:
    # Tolerances: the line is drawn on whole pixels (0.5 of 120) and blurred with the dark beyond the
    # shell in the corners; 0.005 of the length is a quarter of a millimetre on a hen's egg.
    rng = np.random.default_rng(seed)
    egg = random_egg(rng)
    cell, reason = measure_air_cell(egg.map(noise=rng.uniform(0, 0.15), seed=seed), egg.outline)
    assert reason is None
    assert cell is not None
    assert cell.depth_fraction == pytest.approx(egg.depth, abs=0.005)
    assert cell.tilt_deg == pytest.approx(abs(egg.tilt_deg), abs=1.5)
    drawn_volume = tilted_air_cell_volume_fraction(egg.depth, egg.profile, tilt_deg=egg.tilt_deg)
    assert cell.volume_fraction == pytest.approx(drawn_volume, rel=0.06)
    assert cell.diameter_fraction == pytest.approx(
        rim_diameter(egg.depth, egg.profile) / egg.profile.breadth, abs=0.02
    )
    assert cell.confidence > 0.6


@pytest.mark.parametrize("seed", range(5))
def test_boundary_lies_on_the_drawn_line(seed: int) -> None:
    egg = random_egg(np.random.default_rng(100 + seed))
    cell, _ = measure_air_cell(egg.map(), egg.outline)
    assert cell is not None
    blunt, across = egg.axes
    from_centre = cell.boundary_px - np.asarray(egg.centre)
    off_line = egg.length / 2 - from_centre @ blunt - egg.line_depth(from_centre @ across)
    # One pixel, and one per cent of the length where the map is blurred at the rim's ends.
    assert np.median(np.abs(off_line)) < 1.0
    assert np.abs(off_line).max() < 1.0 + 0.015 * egg.length


@pytest.mark.parametrize("camera_deg", [-9, -6, 6, 9])
@pytest.mark.parametrize("depth", [0.12, 0.2, 0.28])
def test_a_camera_above_or_below_does_not_move_the_rims_plane(camera_deg: float, depth: float) -> None:
    # A hand-held phone is rarely square to the egg. The near side of the rim then bows by some
    # 0.03 of the length, but its plane has not moved. 0.01: half a millimetre on a hen's egg.
    egg = DrawnEgg(depth=depth, camera_deg=camera_deg)
    cell, _ = measure_air_cell(egg.map(), egg.outline)
    assert cell is not None
    assert cell.depth_fraction == pytest.approx(depth, abs=0.01)
    # The line as a person sees it does move: the correction is worth having.
    assert abs(line_depth_fraction(cell.boundary_px, egg.outline) - depth) > 0.015


def test_large_photos_and_tiny_eggs() -> None:
    large = DrawnEgg(length=1500, centre=(980.0, 1050.0), shape=(2100, 1800))
    cell, _ = measure_air_cell(large.map(noise=0.2), large.outline)
    assert cell is not None
    assert cell.depth_fraction == pytest.approx(0.13, abs=0.003)
    tiny = DrawnEgg(length=44, centre=(31.2, 33.7), shape=(66, 60))
    cell, _ = measure_air_cell(tiny.map(blur=0.015), tiny.outline)
    assert cell is not None
    # The cell is under six pixels deep here: half a pixel is 0.011 of the length.
    assert cell.depth_fraction == pytest.approx(0.13, abs=0.012)


def test_a_window_of_the_photo_gives_the_same_as_the_whole() -> None:
    egg = DrawnEgg(axis_deg=200, tilt_deg=6)
    whole, _ = measure_air_cell(egg.map(), egg.outline)
    corner = (41, 97)
    window = replace(egg, shape=(280, 300)).map(corner=corner)
    part, _ = measure_air_cell(window, egg.outline, corner_px=corner)
    assert whole is not None
    assert part is not None
    assert part.depth_fraction == pytest.approx(whole.depth_fraction, abs=1e-3)
    assert part.boundary_px.mean(axis=0) == pytest.approx(whole.boundary_px.mean(axis=0), abs=0.5)


def test_mirrored_and_turned_pictures_give_the_same() -> None:
    egg = DrawnEgg(axis_deg=70, tilt_deg=8)
    drawn = egg.map()
    cell, _ = measure_air_cell(drawn, egg.outline)
    height, width = egg.shape
    mirrored = replace(egg, axis_deg=180 - 70, centre=(width - 1 - egg.centre[0], egg.centre[1]))
    other, _ = measure_air_cell(drawn[:, ::-1], mirrored.outline)
    turned = replace(egg, axis_deg=250, centre=(width - 1 - egg.centre[0], height - 1 - egg.centre[1]))
    third, _ = measure_air_cell(drawn[::-1, ::-1], turned.outline)
    assert cell is not None
    assert other is not None
    assert third is not None
    assert other.depth_fraction == pytest.approx(cell.depth_fraction, abs=1e-4)
    assert third.depth_fraction == pytest.approx(cell.depth_fraction, abs=1e-4)
    assert other.tilt_deg == pytest.approx(cell.tilt_deg, abs=0.05)


@pytest.mark.parametrize("axis_deg", [20, 130, 200, 310])
def test_without_a_known_blunt_end_the_map_tells_it(axis_deg: float) -> None:
    egg = DrawnEgg(axis_deg=axis_deg)
    cell, _ = measure_air_cell(egg.map(), replace(egg.outline, axis_deg=None))
    assert cell is not None
    # The profile's own blunt end is not known either, so the widest place may be on the wrong side.
    assert cell.depth_fraction == pytest.approx(egg.depth, abs=0.006)


def test_a_faint_or_broken_line_is_trusted_less() -> None:
    egg = DrawnEgg()

    def confidence(drawn: NDArray[np.float32]) -> float:
        cell, reason = measure_air_cell(drawn, egg.outline)
        assert cell is not None, reason
        return cell.confidence

    sharp = confidence(egg.map())
    _depth, offset = egg.coordinates()
    broken = egg.map()
    broken[offset > 0.05 * egg.length] = 0.0
    assert 0.9 < sharp <= 1
    assert confidence(egg.map(levels=(0.1, 0.75))) < sharp - 0.2
    assert confidence(egg.map(blur=0.03)) < sharp - 0.1
    assert confidence(broken) < sharp - 0.1


@pytest.mark.parametrize("seed", range(12))
def test_intervals_hold_what_was_drawn(seed: int) -> None:
    # Maps as good as these err by far less than the intervals, which allow for outlines and sag too.
    rng = np.random.default_rng(300 + seed)
    egg = random_egg(rng, camera_deg=rng.uniform(-8, 8))
    cell, _ = measure_air_cell(egg.map(noise=0.1, seed=seed), egg.outline)
    assert cell is not None
    drawn_volume = tilted_air_cell_volume_fraction(egg.depth, egg.profile, tilt_deg=egg.tilt_deg)
    diameter = rim_diameter(egg.depth, egg.profile) / egg.profile.breadth
    stated = cell.intervals
    for interval, reading, truth in (
        (stated.depth_fraction, cell.depth_fraction, egg.depth),
        (stated.diameter_fraction, cell.diameter_fraction, diameter),
        (stated.volume_fraction, cell.volume_fraction, drawn_volume),
        (stated.tilt_deg, cell.tilt_deg, abs(egg.tilt_deg)),
    ):
        assert interval is not None
        assert reading is not None
        assert interval.low <= truth <= interval.high
        assert interval.low <= reading <= interval.high


def width(cell: AirCell) -> float:
    assert cell.intervals.depth_fraction is not None
    return cell.intervals.depth_fraction.high - cell.intervals.depth_fraction.low


def test_doubt_widens_the_interval() -> None:
    egg = DrawnEgg()
    sharp, _ = measure_air_cell(egg.map(), egg.outline)
    blurred, _ = measure_air_cell(egg.map(blur=0.03), egg.outline)
    hidden, _ = measure_air_cell(egg.map(), egg.outline, pole_doubt=0.02)
    _, offset = egg.coordinates()
    half = egg.map()
    half[offset > 0.02 * egg.length] = 0.0
    broken, _ = measure_air_cell(half, egg.outline)
    assert sharp is not None
    for doubtful in (blurred, hidden, broken):
        assert doubtful is not None
        assert width(doubtful) > 1.2 * width(sharp)


def test_the_volume_allows_for_an_unseen_sag() -> None:
    # A membrane that sags by the stated spread adds a spherical cap, pi h (3 a^2 + h^2) / 6.
    egg = DrawnEgg()
    cell, _ = measure_air_cell(egg.map(), egg.outline)
    assert cell is not None
    assert cell.intervals.volume_fraction is not None
    cap = spherical_cap_volume(SAG_SPREAD * egg.length, rim_diameter(egg.depth, egg.profile) / 2)
    assert cell.volume_fraction is not None
    assert cell.intervals.volume_fraction.high - cell.volume_fraction > 1.6 * cap / volume(egg.profile)


def test_a_bow_that_hardly_shows_is_not_believed() -> None:
    # Only the line's middle is seen: whether it bows there cannot be told, so the plane stays near it.
    egg = DrawnEgg(depth=0.16, camera_deg=6)
    _, offset = egg.coordinates()
    drawn = egg.map(blur=0.012)
    drawn[np.abs(offset) > 0.18 * egg.length] = 0.0
    cell, _ = measure_air_cell(drawn, egg.outline)
    assert cell is not None
    assert cell.line_depth_fraction is not None
    assert cell.depth_fraction is not None
    drawn_bow = rim_diameter(egg.depth, egg.profile) / 2 * math.sin(math.radians(6)) / egg.length
    assert abs(cell.depth_fraction - cell.line_depth_fraction) < 0.6 * drawn_bow
    # ... and the interval says that it may be so far off.
    assert cell.intervals.depth_fraction is not None
    assert cell.intervals.depth_fraction.low < egg.depth < cell.intervals.depth_fraction.high


def test_a_line_that_nobody_sees_is_not_measured() -> None:
    egg = DrawnEgg()
    cell, reason = measure_air_cell(egg.map(), egg.outline, line_shows=0.05)
    assert cell is None
    assert reason is not None
    assert "too faint" in reason


def test_loose_and_saddle_shaped_air_cells_are_pointed_out() -> None:
    usual, _ = measure_air_cell(DrawnEgg(tilt_deg=8, camera_deg=5).map(), DrawnEgg().outline)
    loose, _ = measure_air_cell(DrawnEgg(tilt_deg=26, depth=0.2).map(), DrawnEgg().outline)
    saddle, _ = measure_air_cell(DrawnEgg(saddle=0.04, depth=0.2).map(), DrawnEgg().outline)
    assert usual is not None
    assert usual.unusual == ()
    assert loose is not None
    assert any("leans 2" in words and "loose" in words for words in loose.unusual)
    assert saddle is not None
    assert any("saddle" in words for words in saddle.unusual)


def leaning_map(egg: DrawnEgg, lean_deg: float) -> NDArray[np.float32]:
    """The air cell of a flat rim that leans toward the camera, cut out of the solid of revolution.

    Each pixel sees the egg's near surface, straight on: it shows the cell where that lies beyond the plane.
    """
    depth, offset = egg.coordinates()
    radius = egg.profile.radius(np.clip(depth - egg.length / 2, -egg.length / 2, egg.length / 2))
    near = np.sqrt(np.maximum(radius**2 - offset**2, 0))
    plane = egg.depth * egg.length + math.tan(math.radians(lean_deg)) * near
    shown = (np.abs(offset) < radius) & (depth > 0) & (depth < plane)
    return np.asarray(cv2.GaussianBlur(shown.astype(np.float32), (0, 0), 0.006 * egg.length))


@pytest.mark.parametrize("lean_deg", [24, 30, 36])
@pytest.mark.parametrize("depth", [0.08, 0.13, 0.18])
def test_a_rim_that_leans_toward_the_camera_is_pointed_out_and_measured(
    lean_deg: float, depth: float
) -> None:
    egg = DrawnEgg(depth=depth)
    cell, reason = measure_air_cell(leaning_map(egg, lean_deg), egg.outline)
    assert cell is not None, reason
    assert any("wide open ellipse" in words for words in cell.unusual)
    # 5 degrees: the map is blurred at the rim's ends, where a lean shows most.
    assert cell.tilt_deg == pytest.approx(lean_deg, abs=5)
    assert cell.depth_fraction == pytest.approx(depth, abs=0.025)
    assert cell.intervals.depth_fraction is not None
    assert cell.intervals.depth_fraction.low < depth < cell.intervals.depth_fraction.high


@pytest.mark.parametrize("camera_deg", [-14, -10, 0, 10, 14])
def test_a_camera_held_high_or_low_makes_no_cell_loose(camera_deg: float) -> None:
    egg = DrawnEgg(depth=0.15, camera_deg=camera_deg)
    cell, _ = measure_air_cell(egg.map(), egg.outline)
    assert cell is not None
    assert cell.unusual == ()


def test_a_tilt_that_may_lie_along_the_line_of_sight_widens_its_interval() -> None:
    level, looked_down_on = (
        measure_air_cell(DrawnEgg(depth=0.15, camera_deg=camera).map(), DrawnEgg().outline)[0]
        for camera in (0, -14)
    )
    assert level is not None
    assert looked_down_on is not None
    assert level.intervals.tilt_deg is not None
    assert looked_down_on.intervals.tilt_deg is not None
    assert looked_down_on.intervals.tilt_deg.low < 1
    assert looked_down_on.intervals.tilt_deg.high > level.intervals.tilt_deg.high + 2
    # More of such a line is put down to the camera, so the plane's depth is less sure too.
    assert level.intervals.depth_fraction is not None
    assert looked_down_on.intervals.depth_fraction is not None
    widths = [
        i.high - i.low for i in (level.intervals.depth_fraction, looked_down_on.intervals.depth_fraction)
    ]
    assert widths[1] > 1.3 * widths[0]


@pytest.mark.parametrize("distance", [2.5, 4.4, 8.0])
def test_a_near_camera_sees_the_silhouette_end_beyond_the_pole(distance: float) -> None:
    # An ellipse of length 1 in the plane of axis and camera: of all lines of sight from (0, distance) that
    # meet it the outermost crosses the axis at the silhouette's end. Found by trying points, not by formula.
    t = np.linspace(0, math.pi / 2, 200_001)
    x, z = 0.5 * np.cos(t), 0.38 * np.sin(t)
    end = float((x * distance / (distance - z)).max())
    depth = 0.13
    seen = (end - (0.5 - depth)) / (2 * end)
    assert pole_to_plane(seen, 0.76, distance) == pytest.approx(depth, abs=1e-6)
    assert seen > depth
    assert pole_to_plane(seen, 0.76, math.inf) == pytest.approx(seen)


def test_mask_is_the_silhouette_beyond_the_line() -> None:
    egg = DrawnEgg(axis_deg=250, tilt_deg=9, depth=0.2)
    cell, _ = measure_air_cell(egg.map(), egg.outline)
    assert cell is not None
    mask, truth = air_cell_mask(cell, egg.outline, egg.shape), egg.region()
    assert (mask & truth).sum() / (mask | truth).sum() > 0.95
    part = air_cell_mask(cell, egg.outline, (200, 180), corner_px=(100, 50))
    assert np.array_equal(part, mask[50:250, 100:280])


def _nothing(egg: DrawnEgg) -> NDArray[np.float32]:
    return np.zeros(egg.shape, dtype=np.float32)


def _faint(egg: DrawnEgg) -> NDArray[np.float32]:
    return egg.map(levels=(0.0, 0.45))


def _speck(egg: DrawnEgg) -> NDArray[np.float32]:
    drawn = _nothing(egg)
    blunt, _ = egg.axes
    x, y = np.round(np.asarray(egg.centre) + 0.44 * egg.length * blunt).astype(int)
    drawn[y - 1 : y + 2, x - 1 : x + 2] = 1
    return drawn


def _pointed_end(egg: DrawnEgg) -> NDArray[np.float32]:
    return replace(egg, axis_deg=egg.axis_deg + 180).map()


def _whole_egg(egg: DrawnEgg) -> NDArray[np.float32]:
    return replace(egg, depth=0.97).map()


def _beside_the_egg(egg: DrawnEgg) -> NDArray[np.float32]:
    depth, _ = egg.coordinates()
    return (depth < -3).astype(np.float32)


def _lengthwise(egg: DrawnEgg) -> NDArray[np.float32]:
    depth, offset = egg.coordinates()
    return ((offset > 0.1 * egg.length) & (depth < 0.49 * egg.length)).astype(np.float32)


def _a_sliver(egg: DrawnEgg) -> NDArray[np.float32]:
    drawn = egg.map()
    _, offset = egg.coordinates()
    drawn[np.abs(offset - 30) > 12] = 0
    return drawn


@pytest.mark.parametrize(
    ("draw", "reason"),
    [
        (_nothing, "no air cell shows"),
        (_faint, "no air cell shows"),
        (_speck, "no air cell shows"),
        (_beside_the_egg, "no air cell shows"),
        (_pointed_end, "check which end is the blunt one"),
        (_whole_egg, "fills most of the egg"),
        (_lengthwise, "line"),
        (_a_sliver, "too little of the air cell's line"),
    ],
)
def test_what_is_no_air_cell_is_named(draw: object, reason: str) -> None:
    egg = DrawnEgg()
    cell, why = measure_air_cell(draw(egg), egg.outline)  # type: ignore[operator]
    assert cell is None
    assert why is not None
    assert reason in why


def test_end_view_has_no_depth() -> None:
    egg = DrawnEgg()
    cell, why = measure_air_cell(egg.map(), replace(egg.outline, profile=None, axis_deg=None))
    assert cell is None
    assert why == "the egg is seen from its end, so the air cell's depth does not show"


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (np.zeros((4, 5, 3), np.float32), r"shape \(H, W\)"),
        (np.full((40, 50), np.nan, np.float32), "between 0 and 1"),
        (np.full((40, 50), 255, np.float32), "between 0 and 1"),
    ],
)
def test_what_is_no_map_is_refused(bad: NDArray[np.float32], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        measure_air_cell(bad, DrawnEgg().outline)


def test_the_map_is_left_as_it_was() -> None:
    egg = DrawnEgg()
    drawn = egg.map()
    before = drawn.copy()
    drawn.flags.writeable = False
    measure_air_cell(drawn, egg.outline)
    assert np.array_equal(drawn, before)


def test_line_depth_needs_a_blunt_end() -> None:
    egg = DrawnEgg()
    with pytest.raises(ValueError, match="which end is blunt"):
        line_depth_fraction(np.zeros((3, 2)), replace(egg.outline, axis_deg=None))


@pytest.mark.parametrize("seed", range(40))
def test_any_map_gives_a_plausible_measurement_or_a_reason(seed: int) -> None:
    rng = np.random.default_rng(seed)
    egg = random_egg(rng, length=float(rng.choice([12, 30, 90, 300])))
    coarse = rng.random(rng.integers(2, 9, 2)).astype(np.float32)
    drawn = np.clip(cv2.resize(coarse, egg.shape[::-1], interpolation=cv2.INTER_CUBIC), 0, 1)
    outline = egg.outline if seed % 3 else replace(egg.outline, axis_deg=None)
    corner = (int(rng.integers(-20, 20)), int(rng.integers(-20, 20)))
    cell, reason = measure_air_cell(drawn, outline, corner_px=corner)
    assert (cell is None) != (reason is None)
    if cell is not None:
        assert 0.01 <= cell.depth_fraction <= 0.45
        assert 0 <= cell.volume_fraction <= 0.7
        assert 0 < cell.diameter_fraction <= 1.01
        assert 0 <= cell.tilt_deg <= 45
        assert 0 <= cell.confidence <= 1
        assert len(cell.boundary_px) >= 5


@pytest.mark.parametrize(
    ("turn_deg", "longer", "tolerance"),
    [(4, 1.0, 0.012), (-4, 1.0, 0.012), (0, 1.04, 0.03), (0, 0.96, 0.03)],
)
def test_a_slightly_wrong_outline_costs_no_more_than_its_own_error(
    turn_deg: float, longer: float, tolerance: float
) -> None:
    # 4 % too long puts the blunt pole 2 % off, and the depth is counted from there.
    egg = DrawnEgg(depth=0.16)
    assumed = replace(
        egg, axis_deg=egg.axis_deg + turn_deg, length=egg.length * longer, ratio=egg.ratio / longer
    )
    cell, _ = measure_air_cell(egg.map(), assumed.outline)
    assert cell is not None
    assert cell.depth_fraction == pytest.approx(egg.depth, abs=tolerance)
