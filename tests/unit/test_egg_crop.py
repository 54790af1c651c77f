"""The crop that the backbone sees: upright, of one size, nothing but the egg."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from incubation.egg_geometry import EggProfile
from models.egg_crop import CROP_SIDE, EGG_SHARE, GREY, egg_crop
from vision.egg_outline import profile_polygon
from vision.reading import Outline

LENGTH, BREADTH = 300.0, 230.0


def lit_egg(axis_deg: float, *, known_end: bool = True) -> tuple[np.ndarray, Outline]:
    """A red egg on green whose blunt third is blue."""
    profile = EggProfile.from_length_breadth(LENGTH, BREADTH)
    angle = math.radians(axis_deg)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    polygon = profile_polygon(profile) @ turn + np.array([260.0, 240.0])
    rgb = np.zeros((480, 540, 3), np.uint8)
    rgb[:] = (0, 200, 0)
    cv2.fillPoly(rgb, [np.round(polygon).astype(np.int32)], (200, 0, 0))
    rows, columns = np.mgrid[:480, :540]
    along = (columns - 260) * math.cos(angle) + (rows - 240) * math.sin(angle)
    egg = rgb[:, :, 0] > 100
    rgb[egg & (along > LENGTH / 6)] = (0, 0, 200)
    outline = Outline(
        (260.0, 240.0), LENGTH, BREADTH, axis_deg if known_end else None, axis_deg % 180, polygon, profile
    )
    return rgb, outline


@pytest.mark.parametrize("axis_deg", [0, 37, 90, 181, 270, 333])
def test_the_blunt_end_comes_down(axis_deg: float) -> None:
    rgb, outline = lit_egg(axis_deg)
    crop = egg_crop(rgb, outline)
    assert crop.shape == (CROP_SIDE, CROP_SIDE, 3)
    blue = np.argwhere((crop[:, :, 2] > 150) & (crop[:, :, 0] < 50))
    red = np.argwhere((crop[:, :, 0] > 150) & (crop[:, :, 2] < 50))
    assert blue[:, 0].mean() > red[:, 0].mean() + 50
    assert blue[:, 1].mean() == pytest.approx(CROP_SIDE / 2, abs=3)


def test_nothing_of_the_surroundings_is_seen() -> None:
    rgb, outline = lit_egg(20)
    crop = egg_crop(rgb, outline)
    other = rgb.copy()
    outside = rgb[:, :, 1] > 150
    other[outside] = (255, 255, 255)
    # The outermost pixel of the egg is a mixture; inside it the surroundings must not matter.
    mask = (crop != GREY).any(axis=2).astype(np.uint8)
    core = cv2.erode(mask, np.ones((5, 5), np.uint8)) > 0
    assert np.array_equal(crop[core], egg_crop(other, outline)[core])
    assert (crop[0] == GREY).all()
    assert (crop[:, 0] == GREY).all()


def test_the_egg_has_one_size_whatever_the_photo() -> None:
    rgb, outline = lit_egg(90)
    crop = egg_crop(rgb, outline)
    rows = np.flatnonzero((crop != GREY).any(axis=(1, 2)))
    assert np.ptp(rows) + 1 == pytest.approx(CROP_SIDE * EGG_SHARE, abs=3)


def test_an_unknown_end_takes_the_smaller_turn() -> None:
    rgb, outline = lit_egg(80, known_end=False)
    crop = egg_crop(rgb, outline)
    blue = np.argwhere((crop[:, :, 2] > 150) & (crop[:, :, 0] < 50))
    assert blue[:, 0].mean() > CROP_SIDE / 2
