"""How much vein there is: lengths and areas of drawn networks by closed forms, and the yes/no answer."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.veins import measure_veins

SHAPE = (300, 260)
REGION = np.ones(SHAPE, bool)


def lines(*ends, width=3):
    probability = np.zeros(SHAPE, np.uint8)
    for a, b in ends:
        cv2.line(probability, a, b, 1, width)
    return probability.astype(np.float32)


@pytest.mark.parametrize(
    ("a", "b"),
    [((40, 50), (40, 250)), ((30, 150), (230, 150)), ((40, 60), (200, 220)), ((30, 60), (230, 160))],
)
def test_length_of_a_straight_line(a, b):
    veins = measure_veins(lines((a, b)), REGION, egg_length_px=300)
    length = np.hypot(b[0] - a[0], b[1] - a[1])
    expected = length * 300 / (SHAPE[0] * SHAPE[1])
    # Steps along and across pixels overrate a line at 26 degrees by up to 8 %.
    assert veins.length_per_area == pytest.approx(expected, rel=0.09)


def test_length_of_a_circle():
    ring = np.zeros(SHAPE, np.uint8)
    cv2.circle(ring, (130, 150), 80, 1, 3)
    veins = measure_veins(ring.astype(np.float32), REGION, egg_length_px=300)
    # Chain codes of steps 1 and root 2 overrate a circle by 5.5 % (Proffitt & Rosen 1979).
    assert veins.length_per_area == pytest.approx(2 * np.pi * 80 * 300 / REGION.sum(), rel=0.07)


def test_area_fraction_is_the_marked_share():
    probability = lines(((40, 50), (40, 250)), width=5)
    veins = measure_veins(probability, REGION, egg_length_px=300)
    assert veins.area_fraction == pytest.approx((probability > 0).sum() / REGION.sum())


def test_length_per_area_does_not_know_the_scale():
    probability = lines(((40, 50), (40, 250)), ((40, 120), (200, 200)), width=3)
    large = np.kron(probability, np.ones((2, 2), np.float32))
    once = measure_veins(probability, REGION, egg_length_px=300)
    twice = measure_veins(large, np.kron(REGION, np.ones((2, 2), bool)), egg_length_px=600)
    # Centre lines end a part of the line's width short, and where pixels lie differs.
    assert twice.length_per_area == pytest.approx(once.length_per_area, rel=0.06)
    assert twice.area_fraction == pytest.approx(once.area_fraction, rel=0.01)


def test_specks_count_for_nothing():
    specks = np.zeros(SHAPE, np.float32)
    specks[20:280:25, 20:240:25] = 1.0
    veins = measure_veins(specks, REGION, egg_length_px=300)
    assert veins.length_per_area == 0
    assert veins.area_fraction == 0
    assert veins.visible is False


def test_what_lies_outside_the_region_does_not_count():
    probability = lines(((40, 50), (40, 250)), ((200, 50), (200, 250)))
    half = REGION.copy()
    half[:, 130:] = False
    one = measure_veins(probability, half, egg_length_px=300)
    both = measure_veins(probability, REGION, egg_length_px=300)
    assert one.length_per_area == pytest.approx(both.length_per_area, rel=0.01)


def test_a_branching_network_is_veins_and_an_empty_picture_is_none():
    network = lines(
        ((130, 40), (130, 260)), ((130, 80), (50, 190)), ((130, 100), (220, 200)), ((90, 135), (45, 110)),
        ((180, 156), (225, 120)), ((130, 180), (70, 250)), ((130, 200), (190, 260)), ((90, 135), (100, 220)),
    )  # fmt: skip
    assert measure_veins(network, REGION, egg_length_px=300).visible is True
    empty = measure_veins(np.zeros(SHAPE, np.float32), REGION, egg_length_px=300)
    assert empty.visible is False
    assert empty.length_per_area == 0


def test_where_the_whole_egg_shows_none_what_is_marked_is_no_vein():
    cross = lines(((60, 60), (200, 240)), ((200, 60), (60, 240)))
    none = measure_veins(cross, REGION, egg_length_px=300, presence=0.1)
    assert (none.visible, none.length_per_area, none.area_fraction, none.branch_points) == (False, 0, 0, 0)
    some = measure_veins(cross, REGION, egg_length_px=300, presence=0.9)
    assert some.visible is True
    assert some.length_per_area > 0
    assert measure_veins(cross, REGION, egg_length_px=300, presence=0.55).visible is None


def test_too_small_a_region_gives_no_numbers():
    speck = np.zeros(SHAPE, bool)
    speck[100:110, 100:110] = True
    veins = measure_veins(np.ones(SHAPE, np.float32), speck, egg_length_px=300)
    assert (veins.visible, veins.length_per_area, veins.area_fraction) == (None, None, None)


def test_input_left_alone():
    probability = lines(((40, 50), (40, 250)))
    before = probability.copy()
    measure_veins(probability, REGION, egg_length_px=300)
    assert np.array_equal(probability, before)
