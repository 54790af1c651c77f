"""Drawn air cells and lamps beyond the usual ones: still exact, and visible only by what was drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from incubation.egg_geometry import EggProfile, tilted_air_cell_volume_fraction, volume
from models.evaluation.drawn_eggs import lamp_end
from sample_images.air_cell_variety import AIR_CELL_FAULTS, faulty_egg, varied_egg
from sample_images.biology import EggSpec, air_volume_mm3, random_egg
from sample_images.finish import drawn_contrast
from sample_images.projection import RimPlane, Solid
from sample_images.simulator import Pose, Scene, draw_egg, random_side_view

SMALL = (240, 180)


def test_the_same_seed_gives_the_same_picture():
    first, second = (
        random_side_view(np.random.default_rng([3, 1]), size=SMALL, varied=True) for _ in range(2)
    )
    assert np.array_equal(first.rgb, second.rgb)
    usual = random_side_view(np.random.default_rng([3, 1]), size=SMALL)
    assert usual.eggs[0].profile == first.eggs[0].profile
    assert not np.array_equal(usual.rgb, first.rgb)


def test_air_cells_differ_widely_and_keep_their_volume():
    depths, tilts = [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        egg = varied_egg(rng, random_egg(rng))
        depths.append(egg.air_cell_depth_mm)
        tilts.append(egg.tilt_deg)
        flat = replace(egg, sag_mm=0.0)
        share = tilted_air_cell_volume_fraction(
            egg.air_cell_depth_mm / egg.profile.length, egg.profile, tilt_deg=egg.tilt_deg
        )
        assert air_volume_mm3(flat)[0] == pytest.approx(share * volume(egg.profile), rel=1e-3)
    assert min(depths) < 4
    assert max(depths) > 13
    assert sum(tilt > 15 for tilt in tilts) >= 2


def test_what_shipping_does_is_drawn_into_the_same_scene():
    eggs = {
        fault: random_side_view(np.random.default_rng([3, 4]), size=SMALL, air_cell_fault=fault)
        for fault in AIR_CELL_FAULTS
    }
    sound = eggs["none"]
    for fault, photo in eggs.items():
        assert np.array_equal(photo.eggs[0].outline_px, sound.eggs[0].outline_px)
        assert np.array_equal(photo.rgb, sound.rgb) == (fault == "none")
    assert eggs["leans along the line of sight"].eggs[0].air_cell.tilt_deg >= 24
    # Bubbles change the light only; the rim stays where it was.
    assert np.array_equal(eggs["bubbles"].eggs[0].air_cell.boundary_px, sound.eggs[0].air_cell.boundary_px)
    with pytest.raises(ValueError, match="air_cell_fault must be one of"):
        faulty_egg(
            np.random.default_rng(1), EggSpec("clear", 5.0, EggProfile.from_length_breadth(57, 43)), "x"
        )


def test_a_saddle_s_rim_swings_twice_round_its_plane():
    solid = Solid(EggProfile.from_length_breadth(57, 43))
    rim = RimPlane(-18.0, 0.0, 90.0, saddle_mm=3.0).rim(solid, count=240)
    phi = np.arctan2(rim[:, 2], rim[:, 1])
    # Closed form: x = plane + s cos 2 (phi - azimuth), on the shell.
    assert rim[:, 0] == pytest.approx(-18.0 + 3.0 * np.cos(2 * (phi - np.pi / 2)), abs=0.01)
    assert np.hypot(rim[:, 1], rim[:, 2]) == pytest.approx(solid.radius(rim[:, 0]), abs=0.01)
    assert RimPlane(-18.0, 0.0, 90.0, saddle_mm=3.0).beyond(rim) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize(
    ("turn", "end"), [(0, "at the blunt end"), (180, "at the pointed end"), (90, "at the side")]
)
def test_a_lamp_carried_round_the_egg_lights_it_from_there(turn, end):
    spec = EggSpec("clear", 5.0, EggProfile.from_length_breadth(57, 43))
    pose = Pose((90.0, 120.0), 3.0, axis_deg=90.0)
    scene = Scene(size=SMALL, poses=(pose,), lamp="held in the hand", lamp_turn_deg=turn, lamp_near=4.0)
    photo = draw_egg(spec, scene, 1)
    assert lamp_end(photo) == end
    light = photo.rgb.astype(float).sum(2)
    below, above, left, right = light[120:].sum(), light[:120].sum(), light[:, :90].sum(), light[:, 90:].sum()
    brighter = {0: below > above, 180: above > below, 90: left > right}
    assert brighter[turn]


def test_what_is_not_the_air_cell_s_does_not_make_its_line_visible():
    grey = np.full((120, 160, 3), 60, np.float32)
    grey[70:] = 200.0  # some other edge, where the rim happens to lie
    line = np.stack([np.linspace(20, 140, 60), np.full(60, 70.0)], axis=1)
    free = np.zeros((120, 160), np.float32)
    nothing, _ = drawn_contrast(grey, free, line, np.zeros((60, 3), np.float32), 4.0)
    assert nothing == 0
    shown, share = drawn_contrast(grey, free, line, np.full((60, 3), 0.8, np.float32), 4.0)
    assert shown > 10
    assert share > 0.9
    lamp = free.copy()
    lamp[72:] = 1.0  # a lamp's edge two pixels below the rim hides what lies beside it
    hidden, share = drawn_contrast(grey, lamp, line, np.full((60, 3), 0.8, np.float32), 4.0)
    assert hidden == 0
    assert share == 0
