"""What was found in a window lies where it is in the photo."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.polygon_mask import filled_polygon
from vision.reading import Outline, Veins
from vision.ring_and_shell import ring_and_shell
from vision.shell_faults import CRACK

SIDE = 540
CENTRE, LENGTH, BREADTH = (269.5, 269.5), 480.0, 360.0


def outline():
    t = np.linspace(0, 2 * np.pi, 96, endpoint=False)
    points = np.c_[CENTRE[0] + BREADTH / 2 * np.cos(t), CENTRE[1] + LENGTH / 2 * np.sin(t)]
    return Outline(CENTRE, LENGTH, BREADTH, None, 90.0, points)


def test_ring_and_crack_are_given_in_photo_pixels_and_the_shape_index_has_no_unit():
    region = filled_polygon((SIDE, SIDE), outline().polygon_px)
    ring, crack = np.zeros((SIDE, SIDE), np.uint8), np.zeros((SIDE, SIDE), np.uint8)
    cv2.circle(ring, (270, 220), 75, 255, 7, cv2.LINE_AA)
    path = np.array([(200, 370), (240, 390), (270, 375), (320, 400), (350, 380)])
    cv2.polylines(crack, [path], False, 255, 1, cv2.LINE_AA)
    light = np.array([200.0, 110.0, 50.0]) * np.where(region, 1.0, 0.04)[..., None]
    dark = cv2.GaussianBlur(ring / 255.0, (0, 0), 1.5)
    light = light * (1 - 0.4 * dark[..., None] * (0.4, 1.0, 0.9)) * (1 + 0.8 * crack / 255.0)[..., None]
    light = cv2.GaussianBlur(light, (0, 0), 0.7) + np.random.default_rng(1).normal(0, 2, light.shape)
    rgb = np.clip(light, 0, 255).astype(np.uint8)

    found, shell = ring_and_shell(
        rgb,
        region,
        np.zeros(region.shape, np.float32),
        outline=outline(),
        veins=Veins(visible=True, length_per_area=1.0, area_fraction=0.01),
        origin_px=(1000.0, 500.0),
        scale=2.0,
    )
    assert shell.shape_index == pytest.approx(75.0)
    # Photo pixel = window pixel x 2 + (1000, 500); a ring's centre is good to a fiftieth of the length.
    assert found is not None
    assert np.hypot(found.centre_px[0] - 1540, found.centre_px[1] - 940) < 0.02 * 2 * LENGTH
    assert found.radius_fraction == pytest.approx(75 / LENGTH, rel=0.1)
    (place,) = shell.look_here
    assert place.what == CRACK
    assert place.boundary_px[:, 0].min() == pytest.approx(1400, abs=24)
    assert place.boundary_px[:, 0].max() == pytest.approx(1700, abs=24)
